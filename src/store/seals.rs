//! What seals need of the log: the leaves of its tree, the keys it was sealed
//! with, the signed heads of its days. Signs nothing.

use jiff::civil::Date;
use rusqlite::{OptionalExtension as _, TransactionBehavior, params};

use super::{Store, StoreError};
use crate::domain::{Fingerprint, Hash, chain::Broken, merkle};

/// A key the log was sealed with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KnownKey {
    /// Its fingerprint.
    pub fingerprint: Fingerprint,
    /// Since when, as RFC 3339.
    pub since: String,
    /// The announcement that it takes another one's place, as JSON; none for the
    /// first.
    pub announced: Option<String>,
}

impl Store {
    /// Whether nothing can be written.
    #[must_use]
    pub fn is_read_only(&self) -> bool {
        self.db.is_readonly("main").unwrap_or(true)
    }

    /// The leaf of every entry, in order, each compared with the hash it was
    /// logged with and linked to the one before.
    ///
    /// # Errors
    /// Says which entry was changed, is missing or does not follow.
    pub fn leaves(&self) -> Result<Vec<Hash>, StoreError> {
        let error = self.error("read entries");
        let sql = "select seq, body, sha256 from entry order by seq";
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let mut rows = statement.query([]).map_err(&error)?;
        let (mut leaves, mut previous, mut expected) = (Vec::new(), Hash::START, 1);
        while let Some(row) = rows.next().map_err(&error)? {
            let seq: u64 = row.get(0).map_err(&error)?;
            let column = row.get_ref(1).map_err(&error)?;
            let body = column.as_str().map_err(|e| error(e.into()))?;
            let stored = row.get_ref(2).map_err(&error)?;
            let stored = stored.as_str().map_err(|e| error(e.into()))?;
            let hash = Hash::of(body.as_bytes());
            // Canonical text: no such quotes stand inside a string.
            let linked = body.contains(&format!("\"previous\":\"{previous}\""));
            let broken = if seq != expected {
                Some(Broken::Gap { expected, found: seq })
            } else if hash.to_string() != stored {
                Some(Broken::Changed { seq })
            } else if !linked {
                Some(Broken::Unlinked { seq })
            } else {
                None
            };
            if let Some(source) = broken {
                return Err(StoreError::Broken { path: self.path.clone(), source });
            }
            leaves.push(merkle::leaf(body.as_bytes()));
            (previous, expected) = (hash, expected + 1);
        }
        Ok(leaves)
    }

    /// The last entry with that day at its address; none where it has none.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn last_on(&self, day: Date) -> Result<Option<u64>, StoreError> {
        let error = self.error("read a day");
        let sql = "select max(seq) from entry where at_day = ?1";
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        statement.query_row([day.to_string()], |row| row.get(0)).map_err(&error)
    }

    /// The keys this log was sealed with, the one in use last.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn device_keys(&self) -> Result<Vec<KnownKey>, StoreError> {
        let error = self.error("read its keys");
        let sql = "select fingerprint, since_at, announced from device_key order by number";
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let keys = statement.query_map([], |row| {
            let text: String = row.get(0)?;
            let fingerprint = text.parse().map_err(|wrong: String| {
                rusqlite::Error::FromSqlConversionFailure(
                    0,
                    rusqlite::types::Type::Text,
                    wrong.into(),
                )
            })?;
            Ok(KnownKey { fingerprint, since: row.get(1)?, announced: row.get(2)? })
        });
        keys.and_then(Iterator::collect).map_err(&error)
    }

    /// Notes the key that seals from now on. `after` is how many there were when it
    /// was decided; where another program noted one meanwhile, nothing is noted.
    ///
    /// # Errors
    /// Nothing was noted.
    pub fn note_key(&mut self, key: &KnownKey, x: &str, after: usize) -> Result<(), StoreError> {
        let error = self.error("note its key");
        let tx = self.db.transaction_with_behavior(TransactionBehavior::Immediate);
        let tx = tx.map_err(&error)?;
        let count: usize = tx
            .query_row("select count(*) from device_key", [], |row| row.get(0))
            .map_err(&error)?;
        if count != after {
            return Err(StoreError::Stale);
        }
        tx.execute(
            "insert into device_key (number, fingerprint, x, since_at, announced)
             values (?1, ?2, ?3, ?4, ?5)",
            params![after + 1, key.fingerprint.to_string(), x, key.since, key.announced],
        )
        .map_err(&error)?;
        tx.commit().map_err(&error)
    }

    /// The head of that day that covers most, on one line; none where none was made.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn day_head(&self, day: Date) -> Result<Option<(u64, String)>, StoreError> {
        let sql = "select tree_size, jws from day_head where day = ?1
                   order by tree_size desc limit 1";
        let head = self.db.query_row(sql, [day.to_string()], |row| Ok((row.get(0)?, row.get(1)?)));
        head.optional().map_err(self.error("read a head"))
    }

    /// The head that covers most of all days, on one line; none where there is none.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn furthest_head(&self) -> Result<Option<String>, StoreError> {
        let sql = "select jws from day_head order by tree_size desc, day desc limit 1";
        let head = self.db.query_row(sql, [], |row| row.get(0));
        head.optional().map_err(self.error("read a head"))
    }

    /// Keeps the signed head of a day.
    ///
    /// # Errors
    /// Nothing was kept.
    pub fn keep_head(&self, day: Date, size: u64, root: Hash, jws: &str) -> Result<(), StoreError> {
        let sql = "insert into day_head (day, tree_size, root_sha256, jws)
                   values (?1, ?2, ?3, ?4)";
        let kept = self.db.execute(sql, params![day.to_string(), size, root.to_string(), jws]);
        kept.map(|_| ()).map_err(self.error("keep a head"))
    }
}
