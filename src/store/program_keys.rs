//! Keys with which programs act as a person over HTTP. Each change is one
//! transaction with the entry that tells it; who may make one is decided elsewhere.

use rusqlite::{OptionalExtension as _, Row, Transaction, params};

use super::append::add;
use super::people::{PERSON, SEEN_AGAIN_MS, person};
use super::{Person, Store, StoreError};
use crate::domain::{At, Draft, Hash};

/// A key that holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ProgramKey {
    /// The row.
    pub id: i64,
    /// As whom a program acts with it.
    pub person: Person,
    /// What the office calls it.
    pub called: String,
    /// Since when, in milliseconds since 1970-01-01T00:00:00Z.
    pub since_ms: i64,
    /// When it was last used, to the minute; none before.
    pub seen_ms: Option<i64>,
}

/// The columns of a key that holds; its person's come first.
fn keys_where(more: &str) -> String {
    format!(
        "select {PERSON}, program_key_id, called, since_ms, seen_ms
         from program_key join person using (person_id)
         where ended_ms is null and left_at is null {more}"
    )
}

fn key(row: &Row<'_>) -> rusqlite::Result<ProgramKey> {
    Ok(ProgramKey {
        person: person(row)?,
        id: row.get(7)?,
        called: row.get(8)?,
        since_ms: row.get(9)?,
        seen_ms: row.get(10)?,
    })
}

impl Store {
    /// Keeps a key by its SHA-256; whether the person may still sign in.
    ///
    /// # Errors
    /// Nothing was written.
    pub fn make_key(
        &mut self,
        sha256: Hash,
        (person, called): (i64, &str),
        now: At,
        told: &Draft,
    ) -> Result<bool, StoreError> {
        self.change("keep a key", |tx| {
            let sql = "insert into program_key (key_sha256, person_id, called, since_ms)
                       select ?1, person_id, ?3, ?4 from person
                       where person_id = ?2 and left_at is null";
            if tx.execute(sql, params![sha256.to_string(), person, called, now.ms()])? == 0 {
                return Ok(None);
            }
            add(tx, told).map(Some)
        })
        .map(|made| made.is_some())
    }

    /// The key of that SHA-256, where it holds. That it was used is written down now
    /// and then.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn key(&mut self, sha256: Hash, now: At) -> Result<Option<ProgramKey>, StoreError> {
        let error = self.error("read a key");
        let sql = keys_where("and key_sha256 = ?1");
        let mut statement = self.db.prepare_cached(&sql).map_err(&error)?;
        let found = statement.query_row([sha256.to_string()], key).optional().map_err(&error)?;
        if let Some(key) = &found
            && key.seen_ms.is_none_or(|seen_ms| seen_ms + SEEN_AGAIN_MS < now.ms())
        {
            let sql = "update program_key set seen_ms = ?2 where program_key_id = ?1";
            if let Err(why) = self.db.execute(sql, params![key.id, now.ms()]) {
                // A log that cannot be written can still be read.
                tracing::debug!(%why, "not noted as used");
            }
        }
        Ok(found)
    }

    /// Keys that hold, by person and name.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn keys(&self) -> Result<Vec<ProgramKey>, StoreError> {
        let error = self.error("read the keys");
        let sql = keys_where("order by name, called, program_key_id");
        let mut statement = self.db.prepare_cached(&sql).map_err(&error)?;
        let rows = statement.query_map([], key);
        rows.and_then(Iterator::collect).map_err(&error)
    }

    /// Ends a key; whether it held.
    ///
    /// # Errors
    /// Nothing was written.
    pub fn end_key(&mut self, id: i64, now: At, told: &Draft) -> Result<bool, StoreError> {
        self.change("end a key", |tx| {
            let sql = "update program_key set ended_ms = ?2
                       where program_key_id = ?1 and ended_ms is null";
            if tx.execute(sql, params![id, now.ms()])? == 0 {
                return Ok(None);
            }
            add(tx, told).map(Some)
        })
        .map(|ended| ended.is_some())
    }
}

/// No key of a person who left holds, also where the person comes back.
pub(super) fn end_keys_of(tx: &Transaction<'_>, person: i64, now: At) -> rusqlite::Result<()> {
    let sql = "update program_key set ended_ms = ?2 where person_id = ?1 and ended_ms is null";
    tx.execute(sql, params![person, now.ms()]).map(|_| ())
}
