//! What the office keeps beside the log: jobs with everything they pin, its
//! working days, its calendars; what may be decided, and records sealed. Used by
//! the commands and by the pages; prints nothing and reads no clock.

pub mod bundled;
mod calendar;
pub mod calls;
pub mod dates;
mod day;
pub mod deeds;
mod feeds;
mod imported;
pub mod inbox;
mod known;
mod known_jobs;
pub mod library;
pub mod lists;
pub mod opening;
mod people;
pub mod photos;
mod program_keys;
mod record;
mod remembered;
mod seal;
mod settings;
mod translation;
pub mod visits;
mod walks;
mod why;

use std::fs::File;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use jiff::tz::TimeZone;

use crate::domain::{
    At, Checklist, Entry, Hash, Job, JobFile, NotSealable, Pin, PinKind, Profile, Standing, Version,
};
use crate::export::calendar::CalendarError;
use crate::export::pdf::PdfError;
use crate::files::{self, Problems};
use crate::measure::Functions;
use crate::store::{BlobError, KeyError, Store, StoreError};

pub use calendar::{
    JobDates, OfPerson, dates, feed, give_out, is_on_a_job, of_person, of_person_on_all_jobs,
    people_on_jobs,
};
pub use day::{before, day, newest_day};
pub use deeds::Deed;
pub use feeds::{Feed, Feeds};
pub use imported::{
    WithCalls, import_named, imported, imported_file, imported_job, jobs_with_calls, known_imported,
};
pub use inbox::Inbox;
pub use known_jobs::KnownJob;
pub use people::{
    Asked, Joined, NewSession, PeopleError, any_person, asked, end, invite, join, leave, pair,
    sign_in, sign_in_device,
};
pub(crate) use people::{LEAST_PASSPHRASE, MOST_NAME, MOST_PASSPHRASE};
pub(crate) use program_keys::MOST_CALLED;
pub use program_keys::{end_key, key_holder, make_key};
pub use record::{
    RecordForm, SealedRecord, dates_file, due, due_and_cancelled, record, record_and_photos,
};
pub use seal::{device_key, furthest_head, kept_head, note_key, sealed, whole};
pub use settings::{Settings, read_settings};
pub use translation::{Translations, translated, translation_path};
pub use walks::{facts_are_known, pinned};
pub use why::{Needed, Why};

/// Why something the office keeps cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum OfficeError {
    /// The log.
    #[error("the log cannot be read or written")]
    Store(#[from] StoreError),
    /// An adopted file does not read any more.
    #[error("{0}")]
    Files(#[from] Problems),
    /// There is no such job.
    #[error("no job `{0}`; see the open ones with: chalkhand job list")]
    NoJob(String),
    /// A pinned version is not in the log.
    #[error("no {kind} `{id}@{version}` is in the log, and the job pins it: the log was changed")]
    NotAdopted {
        /// Checklist or profile.
        kind: &'static str,
        /// Identifier.
        id: String,
        /// Version.
        version: Version,
    },
    /// A pinned version has another content.
    #[error("{kind} {id}@{version} is not what the job pinned: its content was changed in the log")]
    Changed {
        /// Checklist or profile.
        kind: &'static str,
        /// Identifier.
        id: String,
        /// Version.
        version: Version,
    },
    /// The job does not have that checklist.
    #[error("job {job} does not pin a checklist `{checklist}`; it pins: {pinned}")]
    NotPinned {
        /// The job's number.
        job: String,
        /// The checklist asked for.
        checklist: String,
        /// Those it has.
        pinned: String,
    },
    /// The machine lacks a time zone.
    #[error("this machine does not know the time zone `{0}`")]
    NoZone(String),
    /// The number is taken.
    #[error("job {0} is open already; give the new job another number")]
    IsOpen(String),
    /// Versions, facts and figures that do not go together.
    #[error("{0}")]
    Unfit(String),
    /// A calendar that cannot be written.
    #[error(transparent)]
    Calendar(#[from] CalendarError),
    /// What somebody wanted to do, and why it was not done.
    #[error(transparent)]
    Refused(#[from] Why),
    /// There is no key to sign with.
    #[error("{0}")]
    Key(String),
    /// The file of the key.
    #[error(transparent)]
    KeyFile(#[from] KeyError),
    /// The log is not what it was.
    #[error(transparent)]
    NotSealable(#[from] NotSealable),
    /// Entries are gone that a head was signed over, or others stand in their place.
    #[error(
        "nothing was sealed: at {made} the log had {was} entries, and the {is} it has now do not \
         begin with them; compare it with a backup, and see: chalkhand doctor"
    )]
    NotWhole {
        /// When the head was signed.
        made: At,
        /// Entries it is over.
        was: u64,
        /// Entries there are.
        is: u64,
    },
    /// Pages that cannot be laid out.
    #[error(transparent)]
    Pdf(#[from] PdfError),
    /// A photo or its preview.
    #[error(transparent)]
    Blob(#[from] BlobError),
    /// A file that somebody named.
    #[error("`{path}` cannot be read: check the name")]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        source: std::io::Error,
    },
    /// A file in the data folder.
    #[error("`{path}`: {why}")]
    File {
        /// The file.
        path: PathBuf,
        /// What is wrong and what to do.
        why: String,
    },
}

/// A file that somebody wrote, as text: a checklist, a profile, a job, a
/// translation.
///
/// # Errors
/// It cannot be read, is larger than such files are, or is no UTF-8.
pub fn read_text(path: &Path) -> Result<String, OfficeError> {
    let wrong = |why: String| OfficeError::File { path: path.to_owned(), why };
    let most = u64::try_from(files::MOST_BYTES).unwrap_or(u64::MAX);
    let mut bytes = Vec::new();
    // Not by its size: a pipe has none.
    File::open(path)
        .and_then(|file| file.take(most.saturating_add(1)).read_to_end(&mut bytes))
        .map_err(|source| OfficeError::Unreadable { path: path.to_owned(), source })?;
    if files::MOST_BYTES < bytes.len() {
        return Err(wrong(format!("it has more bytes than such files have: at most {most}")));
    }
    String::from_utf8(bytes).map_err(|_| wrong("it is not UTF-8 text: save it as UTF-8".to_owned()))
}

/// The time zone of a job's address.
///
/// # Errors
/// The machine does not know it.
pub fn zone(job: &Job) -> Result<TimeZone, OfficeError> {
    TimeZone::get(&job.time_zone).map_err(|_| OfficeError::NoZone(job.time_zone.clone()))
}

/// An adopted checklist, read again; none where that version is not adopted.
///
/// # Errors
/// The log cannot be read, or the text in it does not read any more.
pub fn checklist(
    store: &Store,
    functions: &Functions,
    id: &str,
    version: Version,
) -> Result<Option<Arc<Checklist>>, OfficeError> {
    let Some(body) = store.adopted_body(PinKind::Checklist, id, version)? else { return Ok(None) };
    Ok(Some(known::read_checklist(&body, &format!("{id}@{version}"), functions)?))
}

/// An adopted profile, read again; none where that version is not adopted.
///
/// # Errors
/// The log cannot be read, or the text in it does not read any more.
pub fn profile(
    store: &Store,
    id: &str,
    version: Version,
) -> Result<Option<Arc<Profile>>, OfficeError> {
    let Some(body) = store.adopted_body(PinKind::Profile, id, version)? else { return Ok(None) };
    Ok(Some(Arc::new(files::read_profile(&body, &format!("{id}@{version}"))?)))
}

/// A job with everything it pins and everything that was logged.
///
/// # Errors
/// There is no such job, or something it pins is missing or changed.
pub fn job(store: &Store, functions: &Functions, number: &str) -> Result<JobFile, OfficeError> {
    let entries = store.entries(number, 0)?;
    job_of(number, entries, functions, |pin| store.adopted_body(pin.kind, &pin.id, pin.version))
}

/// The same of entries and pinned texts that lie elsewhere: `body` gives the text
/// of a pin, or none.
///
/// # Errors
/// The entries open no job, or something it pins is missing or changed.
pub fn job_of(
    number: &str,
    entries: Vec<Entry>,
    functions: &Functions,
    body: impl Fn(&Pin) -> Result<Option<String>, StoreError>,
) -> Result<JobFile, OfficeError> {
    let standing = Standing::of(&entries);
    let Some(job) = standing.job.clone() else {
        return Err(OfficeError::NoJob(number.to_owned()));
    };
    let mut checklists = Vec::new();
    let mut pinned_profile = None;
    for pin in &job.pins {
        let missing = || OfficeError::NotAdopted {
            kind: pin.kind.word(),
            id: pin.id.clone(),
            version: pin.version,
        };
        let text = body(pin)?.ok_or_else(missing)?;
        let name = format!("{}@{}", pin.id, pin.version);
        match pin.kind {
            PinKind::Checklist => {
                let read = known::read_checklist(&text, &name, functions)?;
                same(pin, read.hash)?;
                checklists.push(read);
            }
            PinKind::Profile => {
                let read = files::read_profile(&text, &name)?;
                same(pin, read.hash)?;
                pinned_profile = Some(Arc::new(read));
            }
        }
    }
    Ok(JobFile { job, checklists, profile: pinned_profile, entries, standing })
}

fn same(pin: &Pin, found: Hash) -> Result<(), OfficeError> {
    if pin.hash == found {
        return Ok(());
    }
    let (kind, id, version) = (pin.kind.word(), pin.id.clone(), pin.version);
    Err(OfficeError::Changed { kind, id, version })
}
