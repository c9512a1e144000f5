//! What the log says of listening: hearing checks, and when an ear was open, by
//! whatever it hears.

use crate::config::KeepSound;
use crate::domain::{At, Draft, HearingCheck, How, Keeps, Key, WalkId, What};
use crate::store::{Store, StoreError};

/// Which sound the settings keep, in the words of the log.
#[must_use]
pub fn keeps(setting: KeepSound) -> Keeps {
    match setting {
        KeepSound::Notes => Keeps::Notes,
        KeepSound::All => Keeps::All,
        KeepSound::None => Keeps::Nothing,
    }
}

/// How a walk listens, as the log says it.
#[derive(Clone, Debug)]
pub struct Listening {
    /// The device, or the files.
    pub source: String,
    /// Which sound is kept.
    pub keeps: Keeps,
    /// The entry of the hearing check; none where voice was not checked.
    pub check: Option<u64>,
}

/// Puts a check into the log of a job; gives its entry.
///
/// # Errors
/// The log refused it.
pub fn log_check(
    store: &mut Store,
    job: &str,
    by: &str,
    at: At,
    check: HearingCheck,
) -> Result<u64, StoreError> {
    let draft = Draft {
        job: job.to_owned(),
        walk: None,
        at,
        by: by.to_owned(),
        how: How::Program,
        confirmed: Vec::new(),
        what: What::HearingChecked(Box::new(check)),
        corrects: None,
        key: Key(format!("hearing/{}", uuid::Uuid::new_v4())),
    };
    Ok(store.append(&draft, None)?.entry().seq)
}

/// An ear that is open, as the log says it.
#[derive(Clone, Debug)]
pub struct OpenEar {
    job: String,
    walk: WalkId,
    by: String,
    session: String,
}

impl OpenEar {
    /// Logs that it is opened.
    ///
    /// # Errors
    /// The log refused it; then nothing may be listened to.
    pub fn open(
        store: &mut Store,
        (job, walk, by): (&str, &WalkId, &str),
        listening: &Listening,
        at: At,
    ) -> Result<Self, StoreError> {
        let ear = Self {
            job: job.to_owned(),
            walk: walk.clone(),
            by: by.to_owned(),
            session: uuid::Uuid::new_v4().to_string(),
        };
        let Listening { source, keeps, check } = listening.clone();
        store.append(&ear.draft(at, What::EarOpened { source, keeps, check }), None)?;
        Ok(ear)
    }

    /// Logs that it is closed.
    ///
    /// # Errors
    /// The log refused it.
    pub fn close(&self, store: &mut Store, at: At) -> Result<(), StoreError> {
        store.append(&self.draft(at, What::EarClosed), None).map(drop)
    }

    fn draft(&self, at: At, what: What) -> Draft {
        Draft {
            job: self.job.clone(),
            walk: Some(self.walk.clone()),
            at,
            by: self.by.clone(),
            how: How::Program,
            confirmed: Vec::new(),
            key: Key(format!("{}/{}", what.word(), self.session)),
            what,
            corrects: None,
        }
    }
}
