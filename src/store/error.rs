//! What the store refuses, as sentences that say what to do.

use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;

use crate::domain::chain::Broken;

/// What the store refused.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// Written by a newer program.
    #[error(
        "the log `{path}` is version {found} and this program knows version {known}; it was left \
         as it is: use the newer program"
    )]
    TooNew {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: u32,
        /// The newest known version.
        known: u32,
    },
    /// Another kind of file.
    #[error("`{path}` is not a chalkhand log; it was left as it is: name another folder")]
    NotALog {
        /// The file.
        path: PathBuf,
    },
    /// The folder cannot be written.
    #[error(
        "the folder of `{path}` cannot be written: make it writable or name another with --data"
    )]
    Folder {
        /// The file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// A migration failed; the log is as it was.
    #[error("the log `{path}` could not be brought up to date and is as it was")]
    Migrate {
        /// The file.
        path: PathBuf,
        /// Why.
        source: Box<refinery::Error>,
    },
    /// No room.
    #[error(
        "the disk that holds `{path}` is full: nothing more was logged; make room and try again"
    )]
    Full {
        /// The file.
        path: PathBuf,
    },
    /// Not writable.
    #[error(
        "`{path}` cannot be written (read-only disk or file): nothing was logged; make it \
         writable and try again"
    )]
    ReadOnly {
        /// The file.
        path: PathBuf,
    },
    /// Another program kept the log locked.
    #[error("another program kept `{path}` locked for more than 5 s: close it and try again")]
    Busy {
        /// The file.
        path: PathBuf,
    },
    /// The file itself is damaged.
    #[error(
        "the file `{path}` is damaged: stop, keep a copy of it, and go on with a backup in its \
         place"
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What the engine said.
        source: rusqlite::Error,
    },
    /// Anything else the engine says.
    #[error("the log `{path}` refused to {doing}")]
    Sqlite {
        /// The file.
        path: PathBuf,
        /// What was attempted.
        doing: &'static str,
        /// What the engine said.
        source: rusqlite::Error,
    },
    /// The chain does not hold.
    #[error("the log `{path}` was tampered with or damaged")]
    Broken {
        /// The file.
        path: PathBuf,
        /// Where.
        source: Broken,
    },
    /// An entry's columns, by which it is looked up, do not say what its text
    /// says.
    #[error(
        "entry {seq} of the log `{path}` was tampered with or damaged: it is filed under another \
         number, job, time or key than its text says"
    )]
    Misfiled {
        /// The file.
        path: PathBuf,
        /// The entry, by its column.
        seq: u64,
    },
    /// An adopted version is not what was adopted.
    #[error(
        "{kind} {id} {version} in the log `{path}` was tampered with or damaged: its text no \
         longer has the hash it was adopted with"
    )]
    AdoptedChanged {
        /// The file.
        path: PathBuf,
        /// Checklist or profile.
        kind: &'static str,
        /// Its identifier.
        id: String,
        /// The version.
        version: String,
    },
    /// An imported file is not what was imported.
    #[error(
        "`{file}` of an imported job in the log `{path}` was tampered with or damaged: it no \
         longer has the hash it was imported with"
    )]
    ImportChanged {
        /// The log.
        path: PathBuf,
        /// The file of the bundle.
        file: String,
    },
    /// What is here of a job and what was to be imported go apart.
    #[error(
        "nothing was imported: job {job} is here already, and its entries here and there go \
         apart; somebody wrote on a copy, or one of the two was changed"
    )]
    Fork {
        /// The job's number.
        job: String,
    },
    /// Others have written since; nothing was logged.
    #[error("somebody else logged on this job meanwhile; nothing was logged")]
    Stale,
    /// A version is adopted already with another content.
    #[error(
        "{kind} {id} {version} is adopted with another content ({adopted}) and never changes: \
         give the changed file a new version"
    )]
    Changed {
        /// Checklist or profile.
        kind: &'static str,
        /// Its identifier.
        id: String,
        /// The version.
        version: String,
        /// First digits of the adopted content's hash.
        adopted: String,
    },
}

impl StoreError {
    pub(super) fn sqlite(path: &Path, doing: &'static str, source: rusqlite::Error) -> Self {
        let path = path.to_owned();
        // No room for the shared memory beside the file is a full disk too.
        let extended = source.sqlite_error().map(|error| error.extended_code);
        if extended == Some(rusqlite::ffi::SQLITE_IOERR_SHMSIZE) {
            return Self::Full { path };
        }
        match source.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Self::Full { path },
            Some(ErrorCode::ReadOnly) => Self::ReadOnly { path },
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy { path },
            Some(ErrorCode::DatabaseCorrupt) => Self::Damaged { path, source },
            Some(ErrorCode::NotADatabase) => Self::NotALog { path },
            _ => Self::Sqlite { path, doing, source },
        }
    }

    /// A full or read-only disk is said as such, whatever was being done.
    pub(super) fn migrate(path: &Path, source: refinery::Error) -> Self {
        let mut cause: Option<&(dyn std::error::Error + 'static)> = Some(&source);
        while let Some(error) = cause {
            if let Some(rusqlite::Error::SqliteFailure(why, _)) = error.downcast_ref() {
                let again = rusqlite::Error::SqliteFailure(*why, None);
                match Self::sqlite(path, "be brought up to date", again) {
                    Self::Sqlite { .. } => break,
                    clear => return clear,
                }
            }
            cause = error.source();
        }
        Self::Migrate { path: path.to_owned(), source: Box::new(source) }
    }
}
