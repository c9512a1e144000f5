//! Records of jobs of other devices: whole bundles as they came, in tables of
//! their own. Read, never written on; whether a bundle holds is decided before.

use jiff::civil::Date;
use rusqlite::types::Type;
use rusqlite::{OptionalExtension, Row, Transaction, TransactionBehavior, params};

use super::append::phone_digits;
use super::{Store, StoreError};
use crate::domain::{At, Hash, Job};

/// A bundle to be taken over, in which everything holds.
#[derive(Clone, Debug)]
pub struct Import {
    /// SHA-256 of the entry that opened the job.
    pub first: Hash,
    /// The job as opened.
    pub job: Job,
    /// The day it was opened, at its address.
    pub opened_on: String,
    /// How many entries there are.
    pub entries: u64,
    /// The last entry's number and SHA-256.
    pub last: (u64, Hash),
    /// The last entry's time.
    pub last_at: At,
    /// SHA-256 of the list of files.
    pub manifest_sha256: Hash,
    /// The text of the entries, one a line.
    pub text: String,
    /// Every file, with the list of files.
    pub files: Vec<ImportedFile>,
}

/// One file of an imported bundle.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ImportedFile {
    /// Its name in the bundle.
    pub path: String,
    /// SHA-256 of its bytes.
    pub sha256: Hash,
    /// Where its bytes are.
    pub lies: Lies,
}

/// Where the bytes of an imported file are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Lies {
    /// Here.
    Here(Vec<u8>),
    /// In a file of the data folder.
    Beside(String),
}

/// What became of an import.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Imported {
    /// The job is new here.
    New,
    /// The job was here, and so many entries are new.
    More(u64),
    /// All of it was here.
    Before,
    /// What is here goes on from it.
    Older,
}

/// An imported job in its newest state.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ImportedJob {
    /// Which import.
    pub id: u64,
    /// Its number.
    pub number: String,
    /// SHA-256 of the entry that opened it.
    pub first: Hash,
    /// SHA-256 of the list of files.
    pub manifest_sha256: Hash,
    /// How many entries it has.
    pub entries: u64,
    /// The last entry's time, RFC 3339 with offset.
    pub last_at: String,
    /// When it was imported, RFC 3339 with offset.
    pub imported_at: String,
}

impl ImportedJob {
    /// The name it is called by here: its number and the first digits of the
    /// hash of its first entry.
    #[must_use]
    pub fn name(&self) -> String {
        name(&self.number, &self.first.to_string())
    }
}

pub(super) fn name(number: &str, first: &str) -> String {
    format!("{number}@{}", first.get(..12).unwrap_or(first))
}

/// What [`imported`] reads, of the newest state of every imported job.
const NEWEST: &str =
    "select import_id, job, first_sha256, manifest_sha256, entries, last_at, imported_at
     from import where import_id in (select max(import_id) from import group by first_sha256)";

fn imported(row: &Row<'_>) -> rusqlite::Result<ImportedJob> {
    let hash = |at: usize, name: &str| {
        let wrong = || rusqlite::Error::InvalidColumnType(at, name.to_owned(), Type::Text);
        row.get::<_, String>(at)?.parse().map_err(|_| wrong())
    };
    Ok(ImportedJob {
        id: row.get(0)?,
        number: row.get(1)?,
        first: hash(2, "first_sha256")?,
        manifest_sha256: hash(3, "manifest_sha256")?,
        entries: row.get(4)?,
        last_at: row.get(5)?,
        imported_at: row.get(6)?,
    })
}

impl Store {
    /// Takes a bundle over: all of it or nothing.
    ///
    /// # Errors
    /// Nothing was added. `Fork` where this log or an earlier import holds the
    /// same job and goes on otherwise.
    pub fn import(&mut self, import: &Import, at: At, by: &str) -> Result<Imported, StoreError> {
        let own = self.texts(&import.job.number)?;
        let error = self.error("import a job");
        let tx = Transaction::new_unchecked(&self.db, TransactionBehavior::Immediate);
        let tx = tx.map_err(&error)?;
        let fork = || StoreError::Fork { job: import.job.number.clone() };
        if own.first().is_some_and(|text| Hash::of(text.as_bytes()) == import.first) {
            let own: String = own.iter().map(|text| format!("{text}\n")).collect();
            return if own.starts_with(&import.text) {
                Ok(if own == import.text { Imported::Before } else { Imported::Older })
            } else {
                Err(fork())
            };
        }
        let sql = "select entries, import_id from import
                   where first_sha256 = ?1 order by import_id desc limit 1";
        let newest = tx.query_row(sql, [import.first.to_string()], |row| {
            Ok((row.get::<_, u64>(0)?, row.get::<_, u64>(1)?))
        });
        let newest = newest.optional().map_err(&error)?;
        let mut done = Imported::New;
        if let Some((entries, id)) = newest {
            let sql = "select body from import_file where import_id = ?1 and path = ?2";
            let path = super::ENTRIES_FILE;
            let known: Vec<u8> =
                tx.query_row(sql, params![id, path], |row| row.get(0)).map_err(&error)?;
            let known = String::from_utf8(known).unwrap_or_default();
            if known.starts_with(&import.text) && known != import.text {
                return Ok(Imported::Older);
            }
            if !import.text.starts_with(&known) {
                return Err(fork());
            }
            done = Imported::More(import.entries.saturating_sub(entries));
        }
        let sql = "select count(*) from import where manifest_sha256 = ?1";
        let before =
            tx.query_row(sql, [import.manifest_sha256.to_string()], |row| row.get::<_, u32>(0));
        if 0 < before.map_err(&error)? {
            return Ok(Imported::Before);
        }
        insert(&tx, import, at, by).map_err(&error)?;
        tx.commit().map_err(&error)?;
        Ok(done)
    }

    /// Imported jobs in their newest states, in order of import.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn imports(&self) -> Result<Vec<ImportedJob>, StoreError> {
        self.newest_imports("1", [])
    }

    /// The number of the last import; 0 where there was none.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn last_import(&self) -> Result<u64, StoreError> {
        let sql = "select coalesce(max(import_id), 0) from import";
        self.db.query_row(sql, [], |row| row.get(0)).map_err(self.error("list imported jobs"))
    }

    /// Those with entries on that day, at their addresses.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn imports_on(&self, day: Date) -> Result<Vec<ImportedJob>, StoreError> {
        let on = "import_id in (select import_id from import_day where day = ?1)";
        self.newest_imports(on, [day.to_string()])
    }

    /// Those in which a leak call was opened.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn imports_with_callbacks(&self) -> Result<Vec<ImportedJob>, StoreError> {
        let with = "import_id in (select import_id from import_file
                    where path = ?1 and 0 < instr(body, cast('\"callback-opened\"' as blob)))";
        self.newest_imports(with, [super::ENTRIES_FILE.to_owned()])
    }

    fn newest_imports<const N: usize>(
        &self,
        which: &str,
        values: [String; N],
    ) -> Result<Vec<ImportedJob>, StoreError> {
        let error = self.error("list imported jobs");
        let sql = format!("{NEWEST} and {which} order by import_id");
        let mut statement = self.db.prepare_cached(&sql).map_err(&error)?;
        let rows = statement.query_map(rusqlite::params_from_iter(values), imported);
        rows.and_then(Iterator::collect).map_err(&error)
    }

    /// The files of an import, by name.
    ///
    /// # Errors
    /// The log cannot be read, or a file in it was changed.
    pub fn import_files(&self, id: u64) -> Result<Vec<ImportedFile>, StoreError> {
        let error = self.error("read an imported job");
        let sql = "select path, sha256, body, kept from import_file where import_id = ?1
                   order by path";
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let rows = statement.query_map([id], |row| {
            let (path, sha256): (String, String) = (row.get(0)?, row.get(1)?);
            let (body, kept): (Option<Vec<u8>>, Option<String>) = (row.get(2)?, row.get(3)?);
            Ok((path, sha256, body, kept))
        });
        let rows = rows.map_err(&error)?;
        let files = rows.map(|row| {
            let (path, sha256, body, kept) = row.map_err(&error)?;
            let changed =
                || StoreError::ImportChanged { path: self.path.clone(), file: path.clone() };
            let sha256: Hash = sha256.parse().map_err(|_| changed())?;
            let lies = match (body, kept) {
                (Some(body), None) if Hash::of(&body) == sha256 => Lies::Here(body),
                (None, Some(kept)) => Lies::Beside(kept),
                _ => return Err(changed()),
            };
            Ok(ImportedFile { path, sha256, lies })
        });
        files.collect()
    }
}

fn insert(tx: &Transaction<'_>, import: &Import, at: At, by: &str) -> rusqlite::Result<()> {
    let job = &import.job;
    tx.execute(
        "insert into import (first_sha256, job, entries, last_seq, last_sha256, last_at,
         manifest_sha256, imported_at, imported_by) values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        params![
            import.first.to_string(),
            job.number,
            import.entries,
            import.last.0,
            import.last.1.to_string(),
            import.last_at.to_string(),
            import.manifest_sha256.to_string(),
            at.to_string(),
            by
        ],
    )?;
    let id = tx.last_insert_rowid();
    for file in &import.files {
        let (body, kept) = match &file.lies {
            Lies::Here(body) => (Some(body), None),
            Lies::Beside(kept) => (None, Some(kept)),
        };
        tx.execute(
            "insert into import_file (import_id, path, sha256, body, kept)
             values (?1, ?2, ?3, ?4, ?5)",
            params![id, file.path, file.sha256.to_string(), body, kept],
        )?;
    }
    tx.execute(
        "insert into import_day (import_id, day) select distinct ?1, substr(value ->> 'at', 1, 10)
         from json_each('[' || replace(rtrim(?2, char(10)), char(10), ',') || ']')",
        params![id, import.text],
    )?;
    tx.execute(
        "insert into import_words
         (rowid, number, address, owner, phone, company, phone_digits, opened_on)
         values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        params![
            id,
            job.number,
            job.address,
            job.owner,
            job.phone,
            job.company,
            phone_digits(&job.phone),
            import.opened_on
        ],
    )?;
    Ok(())
}
