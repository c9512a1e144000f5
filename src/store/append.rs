//! The one way in: one entry, one transaction, durable when it returns.

use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior, params};

use super::read::Row;
use super::{Store, StoreError};
use crate::domain::entry_json::{self, NotAnEntry};
use crate::domain::{Draft, Entry, Hash, Job, Key, What, chain};

/// What became of a draft.
#[derive(Clone, Debug, PartialEq)]
pub enum Appended {
    /// It is in the log.
    New(Entry),
    /// An entry with its key was in the log already; nothing was added.
    Before(Entry),
}

impl Appended {
    /// The entry in the log.
    #[must_use]
    pub fn entry(self) -> Entry {
        match self {
            Self::New(entry) | Self::Before(entry) => entry,
        }
    }
}

impl Store {
    /// Appends one draft and returns once it is on the disk. With `known`, the
    /// last entry of the job the caller has seen, it refuses where others have
    /// written since.
    ///
    /// # Errors
    /// Nothing was added; the error says why.
    pub fn append(&mut self, draft: &Draft, known: Option<u64>) -> Result<Appended, StoreError> {
        let error = self.error("append an entry");
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate);
        let tx = tx.map_err(&error)?;
        if let Some(entry) = by_key(&tx, &draft.key.0).map_err(&error)? {
            drop(tx);
            return Ok(Appended::Before(self.parse(&entry)?));
        }
        if let Some(known) = known
            && known < last_of_job(&tx, &draft.job).map_err(&error)?
        {
            return Err(StoreError::Stale);
        }
        let entry = add(&tx, draft).map_err(&error)?;
        tx.commit().map_err(&error)?;
        Ok(Appended::New(entry))
    }

    /// The entry that was appended with that key, where there is one.
    ///
    /// # Errors
    /// The log cannot be read, or the entry was changed.
    pub fn entry_of(&self, key: &Key) -> Result<Option<Entry>, StoreError> {
        let row = by_key(&self.db, &key.0).map_err(self.error("read entries"))?;
        row.map(|row| self.parse(&row)).transpose()
    }

    /// The first entry, by its key, whose key begins so; `begin` ends with a stroke.
    ///
    /// # Errors
    /// The log cannot be read, or the entry was changed.
    pub fn entry_of_keys(&self, begin: &str) -> Result<Option<Entry>, StoreError> {
        // The character after the stroke is a zero: by the index, whatever is in it.
        let end = format!("{}0", begin.trim_end_matches('/'));
        let sql = "select * from entry where ?1 <= key and key < ?2 order by key limit 1";
        let row = self
            .db
            .prepare_cached(sql)
            .and_then(|mut statement| statement.query_row([begin, &end], Row::of).optional());
        let row = row.map_err(self.error("read entries"))?;
        row.map(|row| self.parse(&row)).transpose()
    }

    /// Opens a job: all of these drafts or none.
    ///
    /// # Errors
    /// Nothing was added; `Stale` where the job has entries already.
    pub fn open_job(&mut self, drafts: &[Draft]) -> Result<(), StoreError> {
        let error = self.error("open a job");
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate);
        let tx = tx.map_err(&error)?;
        for job in drafts.iter().take(1).map(|draft| &draft.job) {
            if 0 < last_of_job(&tx, job).map_err(&error)? {
                return Err(StoreError::Stale);
            }
        }
        for draft in drafts {
            add(&tx, draft).map_err(&error)?;
        }
        tx.commit().map_err(&error)
    }
}

pub(super) fn add(tx: &Transaction<'_>, draft: &Draft) -> rusqlite::Result<Entry> {
    let (seq, previous) = last(tx)?;
    let (entry, body) = chain::link(draft.clone(), seq + 1, previous)
        .map_err(|no_text| rusqlite::Error::ToSqlConversionFailure(no_text.into()))?;
    reads_back(&entry, &body)
        .map_err(|unreadable| rusqlite::Error::ToSqlConversionFailure(unreadable.into()))?;
    insert(tx, &entry, &body)?;
    match &draft.what {
        What::JobOpened(job) => index_job(tx, &entry, job)?,
        What::CallbackOpened(call) => index_call(tx, &entry, call.id)?,
        What::CallbackClosed(finding) => index_closed(tx, &entry, finding.id)?,
        _ => {}
    }
    Ok(entry)
}

/// An entry that could not be read again would close its job for good.
fn reads_back(entry: &Entry, body: &str) -> Result<(), NotAnEntry> {
    let other = |field: &str| NotAnEntry { seq: entry.seq, field: field.to_owned() };
    let json = super::read::json(body).ok_or_else(|| other("body"))?;
    let read = entry_json::read(&json, entry.hash)?;
    if read == *entry {
        return Ok(());
    }
    // Times finer than the text writes are cut; nothing else may differ.
    let again = entry_json::sealed(read.seq, &read.draft, read.previous).canonical();
    if again.is_ok_and(|again| again == body) { Ok(()) } else { Err(other("what")) }
}

fn last_of_job(tx: &Transaction<'_>, job: &str) -> rusqlite::Result<u64> {
    tx.prepare_cached("select coalesce(max(seq), 0) from entry where job = ?1")?
        .query_row([job], |row| row.get(0))
}

fn by_key(db: &Connection, key: &str) -> rusqlite::Result<Option<Row>> {
    db.prepare_cached("select * from entry where key = ?1")?.query_row([key], Row::of).optional()
}

fn last(tx: &Transaction<'_>) -> rusqlite::Result<(u64, Hash)> {
    let last = tx
        .prepare_cached("select seq, sha256 from entry order by seq desc limit 1")?
        .query_row([], |row| Ok((row.get::<_, u64>(0)?, row.get::<_, String>(1)?)))
        .optional()?;
    let Some((seq, hash)) = last else { return Ok((0, Hash::START)) };
    let hash = hash.parse().map_err(|_| {
        rusqlite::Error::InvalidColumnType(1, "sha256".to_owned(), rusqlite::types::Type::Text)
    })?;
    Ok((seq, hash))
}

fn insert(tx: &Transaction<'_>, entry: &Entry, body: &str) -> rusqlite::Result<()> {
    let draft = &entry.draft;
    tx.prepare_cached(
        "insert into entry (seq, job, at_ms, at_day, key, body, sha256)
         values (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
    )?
    .execute(params![
        entry.seq,
        draft.job,
        draft.at.ms(),
        draft.at.date().to_string(),
        draft.key.0,
        body,
        entry.hash.to_string()
    ])?;
    Ok(())
}

/// The first entry of a call counts, as in what stands.
fn index_call(tx: &Transaction<'_>, entry: &Entry, id: u32) -> rusqlite::Result<()> {
    let sql = "insert or ignore into callback (job, id, opened_seq) values (?1, ?2, ?3)";
    tx.execute(sql, params![entry.draft.job, id, entry.seq]).map(|_| ())
}

fn index_closed(tx: &Transaction<'_>, entry: &Entry, id: u32) -> rusqlite::Result<()> {
    let sql = "update callback set closed_seq = ?3
               where job = ?1 and id = ?2 and closed_seq is null";
    tx.execute(sql, params![entry.draft.job, id, entry.seq]).map(|_| ())
}

/// The digits of a number, and those of them that neighbours say.
pub(super) fn phone_digits(phone: &str) -> String {
    let digits: String = phone.chars().filter(char::is_ascii_digit).collect();
    // Neighbours leave the area code out.
    let local = digits.len().checked_sub(7).filter(|more| 0 < *more);
    let local = local.and_then(|more| digits.get(more..)).unwrap_or_default();
    format!("{digits} {local}")
}

fn index_job(tx: &Transaction<'_>, entry: &Entry, job: &Job) -> rusqlite::Result<()> {
    let digits = phone_digits(&job.phone);
    tx.execute(
        "insert into job_words
         (rowid, number, address, owner, phone, company, phone_digits, opened_on)
         values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        params![
            entry.seq,
            job.number,
            job.address,
            job.owner,
            job.phone,
            job.company,
            digits,
            entry.draft.at.date().to_string()
        ],
    )?;
    Ok(())
}
