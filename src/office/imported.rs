//! Records of jobs of other devices, read like jobs of this one. They are only
//! read: whether one may come in is decided where it is imported.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::known_jobs::{Jobs, KnownJob};
use super::{OfficeError, Why, job_of};
use crate::bundle;
use crate::config::Config;
use crate::domain::{Hash, JobFile, Pin, entry_json};
use crate::measure::Functions;
use crate::store::{self, ImportedJob, Lies, Store, StoreError};

/// An imported job: by its number, where no other has it, or by the name that `find`
/// shows.
///
/// # Errors
/// There is none, or there are several; or the log cannot be read.
pub fn imported(store: &Store, name: &str) -> Result<ImportedJob, OfficeError> {
    let jobs = store.imports()?.into_iter();
    let mut found: Vec<_> = jobs.filter(|j| j.number == name || j.name() == name).collect();
    if 1 < found.len() {
        let names: Vec<String> = found.iter().map(ImportedJob::name).collect();
        return Err(OfficeError::Refused(Why::Other(format!(
            "several imported jobs have the number {name}: say {}",
            names.join(" or ")
        ))));
    }
    found.pop().ok_or_else(|| OfficeError::NoJob(name.to_owned()))
}

/// The imported job of exactly that name, which is the one `find` shows.
///
/// # Errors
/// The log cannot be read.
pub fn import_named(store: &Store, name: &str) -> Result<Option<ImportedJob>, StoreError> {
    Ok(store.imports()?.into_iter().find(|job| job.name() == name))
}

/// An imported job with everything it pins, from the files of its bundle.
///
/// # Errors
/// This version cannot read what another one wrote, or what came was changed since.
pub fn imported_job(
    store: &Store,
    functions: &Functions,
    imported: &ImportedJob,
) -> Result<JobFile, OfficeError> {
    let mut texts = BTreeMap::new();
    for file in store.import_files(imported.id)? {
        if let Lies::Here(bytes) = file.lies
            && let Ok(text) = String::from_utf8(bytes)
        {
            texts.insert(file.path, text);
        }
    }
    let lines = texts.get(bundle::ENTRIES).map(String::as_str).unwrap_or_default().lines();
    let entry = |(at, line): (usize, &str)| {
        let hash = Hash::of(line.as_bytes());
        let entry = store::read_json(line).and_then(|json| entry_json::read(&json, hash).ok());
        let unread = || {
            let (at, name) = (at + 1, imported.name());
            let why = "cannot be read by this version";
            let why = format!("entry {at} of the imported job {name} {why}");
            OfficeError::Refused(Why::Other(why))
        };
        entry.ok_or_else(unread)
    };
    let entries = lines.enumerate().map(entry).collect::<Result<_, _>>()?;
    let body = |pin: &Pin| Ok(texts.get(&bundle::pin_name(pin)).cloned());
    job_of(&imported.number, entries, functions, body)
}

/// An imported job of exactly that name, as it was read before; none where there is
/// none.
///
/// # Errors
/// As [`imported_job`].
pub fn known_imported(
    store: &Store,
    functions: &Functions,
    name: &str,
) -> Result<Option<Arc<KnownJob>>, OfficeError> {
    let found = import_named(store, name)?;
    found.map(|job| Jobs::of(store, functions)?.imported(&job)).transpose()
}

/// Jobs with leak calls.
#[derive(Debug, Default)]
pub struct WithCalls {
    /// This device's own by their numbers, then imported ones.
    pub jobs: Vec<Arc<KnownJob>>,
    /// Imported ones that cannot be read here, and why.
    pub unread: Vec<(String, String)>,
    /// Whether more was not looked at.
    pub is_cut: bool,
}

/// Jobs with leak calls, or with open ones; at most so many.
///
/// # Errors
/// The log cannot be read, or something an own job pins is missing or changed.
pub fn jobs_with_calls(
    store: &Store,
    functions: &Functions,
    open: bool,
    most: usize,
) -> Result<WithCalls, OfficeError> {
    let known = Jobs::of(store, functions)?;
    let numbers = store.jobs_with_callbacks(open)?;
    let mut with = WithCalls { is_cut: most < numbers.len(), ..WithCalls::default() };
    for number in numbers.iter().take(most) {
        with.jobs.push(known.job(number)?);
    }
    for imported in store.imports_with_callbacks()? {
        if with.jobs.len() == most {
            with.is_cut = true;
            break;
        }
        match known.imported(&imported) {
            Ok(job) => {
                let mut calls = job.file.standing.callbacks.values();
                if calls.any(|call| !open || call.closed.is_none()) {
                    with.jobs.push(job);
                }
            }
            Err(why) => with.unread.push((imported.name(), why.to_string())),
        }
    }
    Ok(with)
}

/// A file of an imported record, as it came; `name` is the one `find` shows. None
/// where there is no such record, or no such file in it.
///
/// # Errors
/// The log or the file beside it cannot be read, or it was changed.
pub fn imported_file(
    config: &Config,
    store: &Store,
    name: &str,
    path: &str,
) -> Result<Option<Vec<u8>>, OfficeError> {
    let Some(job) = import_named(store, name)? else { return Ok(None) };
    let files = store.import_files(job.id)?;
    let Some(file) = files.into_iter().find(|file| file.path == path) else { return Ok(None) };
    match file.lies {
        Lies::Here(bytes) => Ok(Some(bytes)),
        Lies::Beside(kept) => {
            let path = config.data.join(kept);
            let wrong = |why: String| OfficeError::File { path: path.clone(), why };
            let bytes = std::fs::read(&path)
                .map_err(|error| wrong(format!("{error}: look for it in a backup")))?;
            if Hash::of(&bytes) != file.sha256 {
                return Err(wrong("it was changed: look for it in a backup".to_owned()));
            }
            Ok(Some(bytes))
        }
    }
}
