//! Reading the log: entries of a job, the whole chain, jobs by any words.

use std::fmt::Write as _;

use jiff::civil::Date;
use rusqlite::types::ValueRef;
use rusqlite::{OptionalExtension, params, params_from_iter};

use super::{Store, StoreError};
use crate::domain::entry_json::{self, NotAnEntry};
use crate::domain::{Entry, Hash, Job, Json, What, chain};

/// A job found by words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FoundJob {
    /// Its number.
    pub number: String,
    /// Its address.
    pub address: String,
    /// Who owns the house.
    pub owner: String,
    /// How to reach the owner.
    pub phone: String,
    /// The day it was opened, at the address.
    pub opened_on: String,
    /// Leak calls that are open.
    pub open_callbacks: u32,
    /// The name it is called by where it is an imported record.
    pub imported: Option<String>,
}

/// A stored entry as it is, not yet believed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Row {
    seq: u64,
    job: String,
    at_ms: i64,
    at_day: String,
    key: String,
    body: String,
    sha256: String,
}

impl Row {
    /// Of `select * from entry`.
    pub(super) fn of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Self> {
        Ok(Self {
            seq: row.get("seq")?,
            job: row.get("job")?,
            at_ms: row.get("at_ms")?,
            at_day: row.get("at_day")?,
            key: row.get("key")?,
            body: row.get("body")?,
            sha256: row.get("sha256")?,
        })
    }

    fn json(&self) -> Result<(Json, Hash), NotAnEntry> {
        let wrong = |field: &str| NotAnEntry { seq: self.seq, field: field.to_owned() };
        let json = json(&self.body).ok_or_else(|| wrong("body"))?;
        Ok((json, self.sha256.parse().map_err(|_| wrong("sha256"))?))
    }

    /// Whether the columns say what the text says.
    fn files(&self, entry: &Entry) -> bool {
        let (at, key) = (entry.draft.at, &entry.draft.key.0);
        (self.seq, &self.job, self.at_ms, &self.key) == (entry.seq, &entry.draft.job, at.ms(), key)
            && self.at_day == at.date().to_string()
    }
}

impl Store {
    /// A job's entries after that one, in order.
    ///
    /// # Errors
    /// The log cannot be read, or an entry in it was changed.
    pub fn entries(&self, job: &str, after: u64) -> Result<Vec<Entry>, StoreError> {
        let error = self.error("read entries");
        let sql = "select * from entry where job = ?1 and ?2 < seq order by seq";
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let rows = statement.query_map(params![job, after], Row::of).map_err(&error)?;
        rows.map(|row| self.parse(&row.map_err(&error)?)).collect()
    }

    /// The texts of a job's entries, in order, to the letter.
    ///
    /// # Errors
    /// The log cannot be read, or an entry in it was changed.
    pub fn texts(&self, job: &str) -> Result<Vec<String>, StoreError> {
        let error = self.error("read entries");
        let sql = "select * from entry where job = ?1 order by seq";
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let rows = statement.query_map([job], Row::of).map_err(&error)?;
        let texts = rows.map(|row| {
            let row = row.map_err(&error)?;
            self.parse(&row)?;
            Ok(row.body)
        });
        texts.collect()
    }

    /// One hash over a job's entries, column by column: while it stays the same, what
    /// is read of them does.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn entries_sha256(&self, job: &str) -> Result<Hash, StoreError> {
        self.rows_sha256("select * from entry where job = ?1 order by seq", &[job])
    }

    /// The same over every adopted text.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn adopted_sha256(&self) -> Result<Hash, StoreError> {
        self.rows_sha256("select * from adopted order by kind, id, version", &[])
    }

    fn rows_sha256(&self, sql: &str, of: &[&str]) -> Result<Hash, StoreError> {
        let mut all = String::new();
        let error = self.error("read entries");
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let columns = statement.column_count();
        let mut rows = statement.query(params_from_iter(of)).map_err(&error)?;
        while let Some(row) = rows.next().map_err(&error)? {
            for at in 0..columns {
                // With its kind and its length: no two lists of values read alike.
                let added = match row.get_ref(at).map_err(&error)? {
                    ValueRef::Text(text) => {
                        let text = String::from_utf8_lossy(text);
                        write!(all, "t{}:{text}", text.len())
                    }
                    ValueRef::Blob(bytes) => write!(all, "b{}", Hash::of(bytes)),
                    other => write!(all, "{other:?};"),
                };
                // Writing to a text cannot fail.
                let _ = added;
            }
        }
        Ok(Hash::of(all.as_bytes()))
    }

    /// The last entry of a job; 0 where it has none.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn last_seq(&self, job: &str) -> Result<u64, StoreError> {
        let sql = "select coalesce(max(seq), 0) from entry where job = ?1";
        let mut statement = self.db.prepare_cached(sql).map_err(self.error("read entries"))?;
        statement.query_row([job], |row| row.get(0)).map_err(self.error("read entries"))
    }

    /// The job as opened, where there is one of that number.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn job(&self, number: &str) -> Result<Option<Job>, StoreError> {
        Ok(self.entries(number, 0)?.into_iter().find_map(|entry| match entry.draft.what {
            What::JobOpened(job) => Some(job),
            _ => None,
        }))
    }

    /// Numbers of the jobs with entries on that day, at their addresses.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn jobs_on(&self, day: Date) -> Result<Vec<String>, StoreError> {
        let error = self.error("read a day");
        let sql = "select distinct job from entry where at_day = ?1 and job <> '' order by job";
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let rows = statement.query_map([day.to_string()], |row| row.get(0));
        rows.and_then(Iterator::collect).map_err(&error)
    }

    /// The nearest days before and after that one with entries of jobs, of this device
    /// or imported.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn days_beside(&self, day: Date) -> Result<(Option<Date>, Option<Date>), StoreError> {
        let error = self.error("read a day");
        let look = |sql: &str| {
            let found = self.db.query_row(sql, [day.to_string()], |row| row.get(0));
            found.map(|day: Option<String>| day?.parse().ok()).map_err(&error)
        };
        Ok((
            look(
                "select max(day) from (select max(at_day) as day from entry
                 where at_day < ?1 and job <> ''
                 union all select max(day) from import_day where day < ?1)",
            )?,
            look(
                "select min(day) from (select min(at_day) as day from entry
                 where ?1 < at_day and job <> ''
                 union all select min(day) from import_day where ?1 < day)",
            )?,
        ))
    }

    /// Numbers of this device's own jobs, the newest first.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn own_jobs(&self) -> Result<Vec<String>, StoreError> {
        let error = self.error("list the jobs");
        let sql = "select number from job_words order by rowid desc";
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let rows = statement.query_map([], |row| row.get(0));
        rows.and_then(Iterator::collect).map_err(&error)
    }

    /// Jobs that have every one of these words, or a word that begins so, in
    /// number, address, owner, phone, company or opening day. No words: all.
    /// At most `most`, this device's own before imported ones, the newest first.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn find(&self, words: &[String], most: u32) -> Result<Vec<FoundJob>, StoreError> {
        let error = self.error("look for a job");
        let query = query(words);
        let asked = !words.is_empty();
        if asked && query.is_empty() {
            return Ok(Vec::new());
        }
        let like = |table: &str| match asked {
            true => format!("{table} match ?1"),
            false => "?1 = ''".to_owned(),
        };
        let sql = format!(
            "select * from (select number, address, owner, phone, opened_on,
             (select count(*) from callback where job = number and closed_seq is null), null
             from job_words where {} order by rowid desc limit ?2)
             union all
             select * from (select number, address, owner, phone, opened_on, 0, first_sha256
             from import_words join import on import_id = import_words.rowid where {}
             and import_id in (select max(import_id) from import group by first_sha256)
             order by import_id desc limit ?2) limit ?2",
            like("job_words"),
            like("import_words")
        );
        let mut statement = self.db.prepare_cached(&sql).map_err(&error)?;
        let rows = statement.query_map(params![query, most], |row| {
            let (number, first): (String, Option<String>) = (row.get(0)?, row.get(6)?);
            Ok(FoundJob {
                imported: first.map(|first| super::imported::name(&number, &first)),
                number,
                address: row.get(1)?,
                owner: row.get(2)?,
                phone: row.get(3)?,
                opened_on: row.get(4)?,
                open_callbacks: row.get(5)?,
            })
        });
        rows.and_then(Iterator::collect).map_err(&error)
    }

    /// Numbers of the jobs with leak calls, or with open ones.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn jobs_with_callbacks(&self, open: bool) -> Result<Vec<String>, StoreError> {
        let error = self.error("look for leak calls");
        let sql = "select distinct job from callback
                   where closed_seq is null or not ?1 order by job";
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let rows = statement.query_map([open], |row| row.get(0));
        rows.and_then(Iterator::collect).map_err(&error)
    }

    /// How many entries there are, and the hash of the last.
    ///
    /// # Errors
    /// The log cannot be read, or its last entry was changed.
    pub fn head(&self) -> Result<(u64, Hash), StoreError> {
        let sql = "select * from entry order by seq desc limit 1";
        let last = self.db.query_row(sql, [], Row::of).optional();
        match last.map_err(self.error("read its last entry"))? {
            Some(row) => self.parse(&row).map(|entry| (entry.seq, entry.hash)),
            None => Ok((0, Hash::START)),
        }
    }

    /// The newest day with entries, at their address.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn last_day(&self) -> Result<Option<Date>, StoreError> {
        let sql = "select at_day from entry order by seq desc limit 1";
        let day = self.db.query_row(sql, [], |row| row.get::<_, String>(0)).optional();
        let day = day.map_err(self.error("read its last entry"))?;
        Ok(day.and_then(|day| day.parse().ok()))
    }

    /// The time of the last entry, in milliseconds since 1970-01-01T00:00:00Z.
    ///
    /// # Errors
    /// The log cannot be read.
    pub fn last_at_ms(&self) -> Result<Option<i64>, StoreError> {
        let sql = "select max(at_ms) from (select at_ms from entry order by seq desc limit 1)";
        self.db.query_row(sql, [], |row| row.get(0)).map_err(self.error("read its last entry"))
    }

    /// Every entry that holds the hash of a sound, of all jobs, in order.
    ///
    /// # Errors
    /// The log cannot be read, or such an entry was changed.
    pub fn with_sound(&self) -> Result<Vec<Entry>, StoreError> {
        self.saying("\"sound_sha256\"")
    }

    /// Every entry that keeps a photo, of all jobs, in order.
    ///
    /// # Errors
    /// The log cannot be read, or such an entry was changed.
    pub fn with_photo(&self) -> Result<Vec<Entry>, StoreError> {
        self.saying("\"preview_sha256\"")
    }

    /// Every entry whose text has these letters.
    fn saying(&self, letters: &str) -> Result<Vec<Entry>, StoreError> {
        let error = self.error("read entries");
        let sql = "select * from entry where body like '%' || ?1 || '%' order by seq";
        let mut statement = self.db.prepare_cached(sql).map_err(&error)?;
        let rows = statement.query_map([letters], Row::of).map_err(&error)?;
        rows.map(|row| self.parse(&row.map_err(&error)?)).collect()
    }

    /// Checks the whole chain and returns its head: how many entries, and the
    /// hash of the last.
    ///
    /// # Errors
    /// Says which entry was changed, is missing or does not follow.
    pub fn check_chain(&self) -> Result<(u64, Hash), StoreError> {
        let error = self.error("check the chain");
        let mut statement = self.db.prepare("select * from entry order by seq").map_err(&error)?;
        let mut before: Option<Entry> = None;
        for row in statement.query_map([], Row::of).map_err(&error)? {
            let row = row.map_err(&error)?;
            let follows = row
                .json()
                .map_err(chain::Broken::from)
                .and_then(|(json, hash)| chain::follow(before.as_ref(), &json, &row.body, hash));
            before = Some(self.filed(&row, follows)?);
        }
        Ok(before.map_or((0, Hash::START), |last| (last.seq, last.hash)))
    }

    pub(super) fn parse(&self, row: &Row) -> Result<Entry, StoreError> {
        let read = row.json().and_then(|(json, hash)| entry_json::read(&json, hash));
        let read = read.map_err(chain::Broken::from).and_then(|entry| {
            let whole = Hash::of(row.body.as_bytes()) == entry.hash;
            if whole { Ok(entry) } else { Err(chain::Broken::Changed { seq: row.seq }) }
        });
        self.filed(row, read)
    }

    fn filed(&self, row: &Row, read: Result<Entry, chain::Broken>) -> Result<Entry, StoreError> {
        let path = || self.path.clone();
        let entry = read.map_err(|source| {
            let source = match source {
                // The text does not say its number, the column does.
                chain::Broken::Unreadable(NotAnEntry { seq: 0, field }) => {
                    chain::Broken::Unreadable(NotAnEntry { seq: row.seq, field })
                }
                source => source,
            };
            StoreError::Broken { path: path(), source }
        })?;
        if row.files(&entry) {
            Ok(entry)
        } else {
            Err(StoreError::Misfiled { path: path(), seq: row.seq })
        }
    }
}

/// Every word as a quoted prefix, so that nothing a person types is syntax. The
/// index splits quoted words as it split what it holds. Where all of it could
/// be a phone number, its digits are also looked for together.
fn query(words: &[String]) -> String {
    let cut = |c: char| c.is_whitespace() || c == '"' || c == '\0';
    let parts = words.iter().flat_map(|word| word.split(cut)).filter(|part| !part.is_empty());
    let parts: Vec<String> = parts.map(str::to_owned).collect();
    let terms: Vec<String> = parts.iter().map(|part| format!("\"{part}\"*")).collect();
    let terms = terms.join(" ");
    let typed = parts.concat();
    let digits: String = typed.chars().filter(char::is_ascii_digit).collect();
    if !digits.is_empty() && typed.chars().all(|c| c.is_ascii_digit() || "+-./()".contains(c)) {
        format!("({terms}) OR phone_digits : \"{digits}\"*")
    } else {
        terms
    }
}

/// The tree of a JSON text; none where it is no JSON.
#[must_use]
pub fn json(text: &str) -> Option<Json> {
    serde_json::from_str(text).ok().map(tree)
}

fn tree(value: serde_json::Value) -> Json {
    match value {
        serde_json::Value::Null => Json::Null,
        serde_json::Value::Bool(yes) => Json::Bool(yes),
        serde_json::Value::Number(n) => n.as_f64().map_or(Json::Null, Json::Number),
        serde_json::Value::String(text) => Json::from(text),
        serde_json::Value::Array(items) => Json::List(items.into_iter().map(tree).collect()),
        serde_json::Value::Object(members) => {
            Json::Object(members.into_iter().map(|(key, value)| (key, tree(value))).collect())
        }
    }
}
