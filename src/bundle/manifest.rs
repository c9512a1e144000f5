//! The list of a bundle's files, `chalkhand-bundle/1`: a documented, stable
//! shape. Within a version members are only added.
//!
//! - `job`, `invented`; `entries`: how many there are.
//! - `first_entry_sha256`: of the entry that opened the job; it tells this job
//!   from any other of the same number.
//! - `last_entry`: `entry_seq` and `entry_sha256`, as `chain_head` in the record.
//! - `missing`: what entries name and the device had no file of any more.
//! - `files`: every file but this one, by name, with `sha256` and `size_bytes`.

use std::collections::BTreeMap;

use crate::domain::{Hash, Json};

use super::{MANIFEST, MOST_FILES};

const FORMAT: &str = "chalkhand-bundle/1";

/// What a bundle says it holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Manifest {
    /// The job's number.
    pub job: String,
    /// Whether the job is an example.
    pub invented: bool,
    /// How many entries it has.
    pub entries: u64,
    /// SHA-256 of the entry that opened the job.
    pub first: Hash,
    /// The last entry's number in its device's log, and its SHA-256.
    pub last: (u64, Hash),
    /// What is named and has no file.
    pub missing: Vec<String>,
    /// Every other file, by name.
    pub files: BTreeMap<String, Listed>,
}

/// One file as it is listed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Listed {
    /// SHA-256 of its bytes.
    pub sha256: Hash,
    /// Its size, in bytes.
    pub size_bytes: u64,
}

impl Listed {
    /// Of these bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        let size_bytes = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
        Self { sha256: Hash::of(bytes), size_bytes }
    }
}

impl Manifest {
    /// As it is written.
    #[must_use]
    pub fn json(&self) -> Json {
        let files = self.files.iter().map(|(path, listed)| {
            Json::object([
                ("path", Json::text(path)),
                ("sha256", Json::text(listed.sha256)),
                ("size_bytes", Json::whole(listed.size_bytes)),
            ])
        });
        Json::object([
            ("format", FORMAT.into()),
            ("job", Json::text(&self.job)),
            ("invented", Json::Bool(self.invented)),
            ("entries", Json::whole(self.entries)),
            ("first_entry_sha256", Json::text(self.first)),
            (
                "last_entry",
                Json::object([
                    ("entry_seq", Json::whole(self.last.0)),
                    ("entry_sha256", Json::text(self.last.1)),
                ]),
            ),
            ("missing", Json::List(self.missing.iter().map(Json::text).collect())),
            ("files", Json::List(files.collect())),
        ])
    }

    /// Reads what was written.
    ///
    /// # Errors
    /// Says which member is missing or of another shape.
    pub fn read(json: &Json) -> Result<Self, String> {
        let format = json.get("format").and_then(Json::as_text);
        if format != Some(FORMAT) {
            return Err(format!(
                "`{MANIFEST}` says format `{}` and this program reads `{FORMAT}`",
                format.unwrap_or("nothing").chars().take(40).collect::<String>()
            ));
        }
        let wrong = |member: &str| format!("`{MANIFEST}` has no proper `{member}`");
        let last = json.get("last_entry").ok_or_else(|| wrong("last_entry"))?;
        let mut files = BTreeMap::new();
        for file in list(json, "files").ok_or_else(|| wrong("files"))? {
            let path = file.get("path").and_then(Json::as_text).ok_or_else(|| wrong("path"))?;
            let listed = Listed {
                sha256: hash(file, "sha256").ok_or_else(|| wrong("sha256"))?,
                size_bytes: number(file, "size_bytes").ok_or_else(|| wrong("size_bytes"))?,
            };
            if path == MANIFEST || files.insert(path.to_owned(), listed).is_some() {
                return Err(format!("`{MANIFEST}` lists `{}` wrongly", path.escape_debug()));
            }
        }
        if MOST_FILES < files.len() {
            return Err(format!("`{MANIFEST}` lists more than {MOST_FILES} files"));
        }
        let missing = list(json, "missing").ok_or_else(|| wrong("missing"))?;
        let missing = missing.iter().map(|name| name.as_text().map(str::to_owned));
        Ok(Self {
            job: json.get("job").and_then(Json::as_text).ok_or_else(|| wrong("job"))?.to_owned(),
            invented: json.get("invented") == Some(&Json::Bool(true)),
            entries: number(json, "entries").ok_or_else(|| wrong("entries"))?,
            first: hash(json, "first_entry_sha256").ok_or_else(|| wrong("first_entry_sha256"))?,
            last: (
                number(last, "entry_seq").ok_or_else(|| wrong("entry_seq"))?,
                hash(last, "entry_sha256").ok_or_else(|| wrong("entry_sha256"))?,
            ),
            missing: missing.collect::<Option<_>>().ok_or_else(|| wrong("missing"))?,
            files,
        })
    }
}

fn list<'a>(json: &'a Json, member: &str) -> Option<&'a [Json]> {
    match json.get(member)? {
        Json::List(items) => Some(items),
        _ => None,
    }
}

pub(super) fn number(json: &Json, member: &str) -> Option<u64> {
    json.get(member)?.as_whole().and_then(|n| u64::try_from(n).ok())
}

pub(super) fn hash(json: &Json, member: &str) -> Option<Hash> {
    json.get(member)?.as_text()?.parse().ok()
}
