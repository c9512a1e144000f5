//! A walk by voice from the outside: the hearing check before it, and when the
//! ear was open in the log around it.

use std::path::PathBuf;

use super::super::home::{Home, zone};
use super::Terms;
use super::check::{holding, log_check};
use super::sound::SoundCrew;
use crate::config::{Config, KeepSound};
use crate::daemon::{Crew, Left};
use crate::domain::walk::{Hearing, Prompt};
use crate::domain::{At, Draft, How, JobFile, Keeps, Key, WalkId, What};
use crate::voice::FrameSource;

/// How a walk listens, as the log says it.
pub(in crate::cli) struct Listening {
    /// The device, or the files.
    pub(in crate::cli) source: String,
    /// Which sound is kept.
    pub(in crate::cli) keeps: Keeps,
    /// The entry of the hearing check; none where voice was not checked.
    pub(in crate::cli) check: Option<u64>,
}

/// Which sound the settings keep, in the words of the log.
pub(in crate::cli) fn keeps(setting: KeepSound) -> Keeps {
    match setting {
        KeepSound::Notes => Keeps::Notes,
        KeepSound::All => Keeps::All,
        KeepSound::None => Keeps::Nothing,
    }
}

/// Recordings as a source is named.
pub(in crate::cli) fn name_of(files: &[PathBuf]) -> String {
    let name = |file: &PathBuf| {
        file.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned())
    };
    match files {
        [] => "no recording".to_owned(),
        [file] => format!("the recording {}", name(file)),
        [first, more @ ..] => format!("the recordings {} and {} more", name(first), more.len()),
    }
}

/// What a walk by voice begins with: a check that still holds, a new one, or,
/// where it is not wanted, the sentence that there is none. A verdict that holds
/// counts even where no new check is wanted.
#[expect(clippy::too_many_arguments, reason = "a walk and a crew, each whole")]
pub(super) fn before<S: FrameSource>(
    config: &Config,
    home: &mut Home,
    file: &JobFile,
    by: &str,
    source: &str,
    wanted: bool,
    crew: &mut SoundCrew<'_, S>,
    clock: impl Fn() -> At,
) -> anyhow::Result<Listening> {
    let number = &file.job.number;
    let (source, keeps) = (source.to_owned(), keeps(config.keep_sound));
    let mut check = holding(home, number, by, config.hearing_check_h, &zone(&file.job)?)?;
    match check {
        Some(_) => {}
        None if wanted => {
            let found = crew.check_hearing(&source)?;
            check = Some(log_check(home, number, by, clock(), found)?);
        }
        None => crew.say(&Prompt::NotChecked)?,
    }
    Ok(Listening { source, keeps, check })
}

/// Walks, and logs when the ear was opened and closed.
#[expect(clippy::too_many_arguments, reason = "a walk and a crew, each whole")]
pub(in crate::cli) fn listened<C>(
    config: &Config,
    home: &mut Home,
    file: &JobFile,
    id: &WalkId,
    by: &str,
    listening: &Listening,
    crew: &mut C,
    clock: impl Fn() -> At,
) -> anyhow::Result<Left>
where
    C: Crew,
    C::Error: std::error::Error + Send + Sync + 'static,
{
    super::ready(home, file, &id.checklist)?;
    let session = uuid::Uuid::new_v4();
    let number = file.job.number.as_str();
    let draft = |at: At, what: What| Draft {
        job: number.to_owned(),
        walk: Some(id.clone()),
        at,
        by: by.to_owned(),
        how: How::Program,
        key: Key(format!("{}/{session}", what.word())),
        what,
        corrects: None,
    };
    let Listening { source, keeps, check } = listening;
    let (source, keeps, check) = (source.clone(), *keeps, *check);
    let opened = draft(clock(), What::EarOpened { source, keeps, check });
    home.store.append(&opened, None)?;
    let hearing = if check.is_some() { Hearing::Checked } else { Hearing::NotChecked };
    // With the check and the opening in what stands.
    let file = home.job(number)?;
    let terms = Terms { translated: None, hearing };
    let left = super::walk(config, home, &file, id, by, terms, crew, &clock);
    // However it was left, the ear is closed.
    let closed = home.store.append(&draft(clock(), What::EarClosed), None);
    let left = left?;
    closed?;
    Ok(left)
}
