//! Adopted versions of checklists and profiles, and files seen in the watched
//! folders.

use rusqlite::{OptionalExtension, Transaction, TransactionBehavior, params};

use super::{Store, StoreError};
use crate::domain::adopt::{self, Verdict};
use crate::domain::{At, Hash, PinKind, Version};

/// An adopted version.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AdoptedVersion {
    /// Checklist or profile.
    pub kind: PinKind,
    /// Identifier.
    pub id: String,
    /// Version.
    pub version: Version,
    /// SHA-256 of the file.
    pub hash: Hash,
    /// When, RFC 3339 with offset.
    pub adopted_at: String,
    /// By whom.
    pub adopted_by: String,
}

/// A file seen in a watched folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SeenFile {
    /// Where.
    pub path: String,
    /// Checklist or profile.
    pub kind: String,
    /// Identifier, where it could be read.
    pub id: Option<String>,
    /// Version, where it could be read.
    pub version: Option<String>,
    /// `offered`, `known`, `refused` or `broken`.
    pub verdict: String,
    /// For refused and broken: what is wrong and what to do.
    pub why: String,
}

impl Store {
    /// Adopts a version; the same content again changes nothing.
    ///
    /// # Errors
    /// The version is adopted with another content.
    pub fn adopt(&mut self, version: &AdoptedVersion, body: &str) -> Result<(), StoreError> {
        let (kind, id) = (version.kind.word(), &version.id);
        let error = self.error("adopt a version");
        // Nobody else adopts between the judgement and the row.
        let tx = Transaction::new_unchecked(&self.db, TransactionBehavior::Immediate);
        let tx = tx.map_err(&error)?;
        let versions = self.versions(version.kind, id)?;
        match adopt::judge(&versions, version.version, version.hash) {
            Verdict::Known => return Ok(()),
            Verdict::Changed { adopted } => {
                return Err(StoreError::Changed {
                    kind,
                    id: id.clone(),
                    version: version.version.to_string(),
                    adopted: adopted.short(),
                });
            }
            Verdict::Offer | Verdict::Older { .. } => {}
        }
        let sql = "insert into adopted (kind, id, version, sha256, body, adopted_at, adopted_by)
                   values (?1, ?2, ?3, ?4, ?5, ?6, ?7)";
        let row = params![
            kind,
            id,
            version.version.to_string(),
            version.hash.to_string(),
            body,
            version.adopted_at,
            version.adopted_by
        ];
        tx.execute(sql, row).map_err(&error)?;
        tx.commit().map_err(&error)
    }

    /// The adopted versions of one checklist or profile.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn versions(&self, kind: PinKind, id: &str) -> Result<Vec<(Version, Hash)>, StoreError> {
        let all = self.adopted(kind)?.into_iter().filter(|adopted| adopted.id == id);
        Ok(all.map(|adopted| (adopted.version, adopted.hash)).collect())
    }

    /// All adopted versions, by identifier and version.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn adopted(&self, kind: PinKind) -> Result<Vec<AdoptedVersion>, StoreError> {
        let error = self.error("list adopted versions");
        let sql = "select id, version, sha256, adopted_at, adopted_by from adopted where kind = ?1";
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let rows = statement.query_map([kind.word()], |row| {
            let version: String = row.get(1)?;
            let hash: String = row.get(2)?;
            let wrong = |at| {
                rusqlite::Error::InvalidColumnType(
                    at,
                    "adopted".to_owned(),
                    rusqlite::types::Type::Text,
                )
            };
            Ok(AdoptedVersion {
                kind,
                id: row.get(0)?,
                version: version.parse().map_err(|_| wrong(1))?,
                hash: hash.parse().map_err(|_| wrong(2))?,
                adopted_at: row.get(3)?,
                adopted_by: row.get(4)?,
            })
        });
        let rows: Result<Vec<_>, _> = rows.and_then(Iterator::collect).map_err(&error);
        let mut all = rows?;
        all.sort_by(|a, b| (&a.id, a.version).cmp(&(&b.id, b.version)));
        Ok(all)
    }

    /// The file of an adopted version, to the letter.
    ///
    /// # Errors
    /// The log cannot be read, or the file in it was changed.
    pub fn adopted_body(
        &self,
        kind: PinKind,
        id: &str,
        version: Version,
    ) -> Result<Option<String>, StoreError> {
        let sql = "select body, sha256 from adopted where kind = ?1 and id = ?2 and version = ?3";
        let key = params![kind.word(), id, version.to_string()];
        let error = self.error("read an adopted version");
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let row = statement.query_row(key, |row| Ok((row.get(0)?, row.get(1)?))).optional();
        let row: Option<(String, String)> = row.map_err(&error)?;
        match row {
            Some((body, hash)) if Hash::of(body.as_bytes()).to_string() != hash => {
                Err(StoreError::AdoptedChanged {
                    path: self.path.clone(),
                    kind: kind.word(),
                    id: id.to_owned(),
                    version: version.to_string(),
                })
            }
            row => Ok(row.map(|(body, _)| body)),
        }
    }

    /// Remembers what was seen of a file in a watched folder.
    ///
    /// # Errors
    /// The log cannot be written.
    pub fn saw(&mut self, file: &SeenFile, at: At) -> Result<(), StoreError> {
        let sql = "insert into seen (path, kind, id, version, verdict, why, seen_at)
                   values (?1, ?2, ?3, ?4, ?5, ?6, ?7)
                   on conflict (path) do update set kind = excluded.kind, id = excluded.id,
                   version = excluded.version, verdict = excluded.verdict, why = excluded.why,
                   seen_at = excluded.seen_at";
        let row = params![
            file.path,
            file.kind,
            file.id,
            file.version,
            file.verdict,
            file.why,
            at.to_string()
        ];
        self.db.execute(sql, row).map_err(self.error("remember a file"))?;
        Ok(())
    }

    /// Forgets a file that is gone.
    ///
    /// # Errors
    /// The log cannot be written.
    pub fn forget(&mut self, path: &str) -> Result<(), StoreError> {
        let forgotten = self.db.execute("delete from seen where path = ?1", [path]);
        forgotten.map_err(self.error("forget a file"))?;
        Ok(())
    }

    /// Files seen in the watched folders.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn seen(&self) -> Result<Vec<SeenFile>, StoreError> {
        let error = self.error("list seen files");
        let sql = "select path, kind, id, version, verdict, why from seen order by path";
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let rows = statement.query_map([], |row| {
            Ok(SeenFile {
                path: row.get(0)?,
                kind: row.get(1)?,
                id: row.get(2)?,
                version: row.get(3)?,
                verdict: row.get(4)?,
                why: row.get(5)?,
            })
        });
        rows.and_then(Iterator::collect).map_err(&error)
    }
}
