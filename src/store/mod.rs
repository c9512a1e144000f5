//! The only SQL; clips, photos and the device's key beside it. One file, one writer at a time,
//! entries added only. Nothing here decides what an entry means.

mod adopted;
mod append;
mod blobs;
mod clips;
mod error;
mod imported;
mod key_file;
mod people;
mod photos;
mod program_keys;
mod read;
mod seals;

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, ErrorCode, OpenFlags};

pub use adopted::{AdoptedVersion, SeenFile};
pub use append::Appended;
pub use blobs::BlobError;
pub use clips::{ClipError, Clips};
pub use error::StoreError;
pub use imported::{Import, Imported, ImportedFile, ImportedJob, Lies};
pub use key_file::{KeyError, KeyFile};
pub use people::{Invitation, Person, Session, SignIn};
pub use photos::Photos;
pub use program_keys::ProgramKey;
pub use read::{FoundJob, json as read_json};
pub use seals::KnownKey;

/// The file of an imported bundle that holds its entries.
const ENTRIES_FILE: &str = "entries.jsonl";

mod embedded {
    refinery::embed_migrations!("migrations");
}

/// How long a writer waits for another one.
const BUSY: Duration = Duration::from_secs(5);

/// The log of one device.
#[derive(Debug)]
pub struct Store {
    db: Connection,
    path: PathBuf,
}

impl Store {
    /// Opens the log, making it where there is none. A log that cannot be
    /// written is opened for reading.
    ///
    /// # Errors
    /// A file of a newer version is refused and left as it is; so is anything
    /// that is not a log.
    pub fn open(path: &Path) -> Result<Self, StoreError> {
        if path.is_dir() {
            return Err(StoreError::NotALog { path: path.to_owned() });
        }
        let lock = lock(path)?;
        let known = newest_known();
        let found = if path.exists() { found_version(path)? } else { 0 };
        if known < found {
            return Err(StoreError::TooNew { path: path.to_owned(), found, known });
        }
        let db = match writable(path, known) {
            // Nothing is left to migrate, so it can at least be read.
            Err(StoreError::ReadOnly { .. }) if found == known => read_only(path)?,
            opened => opened?,
        };
        drop(lock);
        Ok(Self { db, path: path.to_owned() })
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The connection, for tests that make the engine fail.
    #[must_use]
    pub fn raw(&self) -> &Connection {
        &self.db
    }

    fn error(&self, doing: &'static str) -> impl Fn(rusqlite::Error) -> StoreError + use<> {
        let path = self.path.clone();
        move |source| StoreError::sqlite(&path, doing, source)
    }
}

/// The newest version of the log this program knows.
#[must_use]
pub fn newest_known() -> u32 {
    let migrations = embedded::migrations::runner();
    let versions = migrations.get_migrations().iter().map(refinery::Migration::version);
    versions.max().and_then(|version| u32::try_from(version).ok()).unwrap_or(0)
}

/// Two programs that start at once on a new folder migrate one after the other.
fn lock(path: &Path) -> Result<Option<File>, StoreError> {
    let file = path.with_extension("lock");
    let failed = |source| StoreError::Folder { path: path.to_owned(), source };
    match fs::OpenOptions::new().create(true).truncate(false).write(true).open(&file) {
        Ok(file) => {
            file.lock().map_err(failed)?;
            Ok(Some(file))
        }
        // A log on a read-only disk can still be read.
        Err(_) if path.exists() => Ok(None),
        Err(source) => Err(failed(source)),
    }
}

fn writable(path: &Path, known: u32) -> Result<Connection, StoreError> {
    let at = |doing| {
        move |source: rusqlite::Error| match source.sqlite_error_code() {
            // It could be read a moment ago: the folder takes no new file.
            Some(ErrorCode::CannotOpen) => StoreError::ReadOnly { path: path.to_owned() },
            _ => StoreError::sqlite(path, doing, source),
        }
    };
    let mut db = Connection::open(path).map_err(at("be opened"))?;
    db.busy_timeout(BUSY).map_err(at("be opened"))?;
    db.pragma_update(None, "journal_mode", "wal").map_err(at("switch to WAL"))?;
    db.pragma_update(None, "synchronous", "full").map_err(at("be opened"))?;
    if version(&db).map_err(at("be read"))? != known {
        // One transaction, or a kill leaves the tables without their history.
        let migrated = embedded::migrations::runner().set_grouped(true).run(&mut db);
        migrated.map_err(|source| StoreError::migrate(path, source))?;
    }
    Ok(db)
}

/// Opens without leaving anything beside the file. Where no `-wal` lies beside
/// it nobody has it open, or it is on a read-only disk, so it stays as it is.
fn read_only(path: &Path) -> Result<Connection, StoreError> {
    let mut wal = path.as_os_str().to_owned();
    wal.push("-wal");
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let db = if Path::new(&wal).exists() {
        Connection::open_with_flags(path, flags)
    } else {
        Connection::open_with_flags(immutable(path), flags | OpenFlags::SQLITE_OPEN_URI)
    };
    let failed = |source| StoreError::sqlite(path, "be opened", source);
    let db = db.map_err(failed)?;
    db.busy_timeout(BUSY).map_err(failed)?;
    Ok(db)
}

fn immutable(path: &Path) -> String {
    let letters = path.as_os_str().as_encoded_bytes().iter().map(|byte| match byte {
        b'/' | b'-' | b'.' | b'_' => char::from(*byte).to_string(),
        byte if byte.is_ascii_alphanumeric() => char::from(*byte).to_string(),
        byte => format!("%{byte:02X}"),
    });
    format!("file:{}?immutable=1", letters.collect::<String>())
}

/// The version of a file, which is not touched; 0 where it is empty.
fn found_version(path: &Path) -> Result<u32, StoreError> {
    let failed = |source| StoreError::sqlite(path, "be read", source);
    let db = read_only(path)?;
    // Another program's tables come with another history of migrations or none.
    let ours = match version(&db).map_err(failed)? {
        0 => "select count(*) = 0 from sqlite_schema where tbl_name <> 'refinery_schema_history'",
        _ => "select count(*) = 1 from refinery_schema_history where version = 1 and name = 'log'",
    };
    if db.query_row(ours, [], |row| row.get(0)).map_err(failed)? {
        version(&db).map_err(failed)
    } else {
        Err(StoreError::NotALog { path: path.to_owned() })
    }
}

/// The newest migration that was applied; 0 where none was.
fn version(db: &Connection) -> rusqlite::Result<u32> {
    let any = "select count(*) from sqlite_schema where name = 'refinery_schema_history'";
    if db.query_row(any, [], |row| row.get::<_, u32>(0))? == 0 {
        return Ok(0);
    }
    let newest = "select coalesce(max(version), 0) from refinery_schema_history";
    db.query_row(newest, [], |row| row.get(0))
}
