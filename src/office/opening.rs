//! Opening a job from its file: versions are pinned, the job and the facts its
//! file gives are logged, all or nothing. And the invented job that ships.

use std::sync::Arc;

use jiff::tz::TimeZone;

use crate::domain::entry::{How, Key};
use crate::domain::{At, Checklist, Draft, Facts, Job, Pin, PinKind, Profile, Version, What};
use crate::files::{self, JobFile, Wanted};
use crate::measure::{Functions, Value};
use crate::store::Store;

use super::{OfficeError, checklist, library, profile, zone};

/// The file of the invented job.
pub const EXAMPLE_JOB: &str = include_str!("../../packaging/demo-data/job.toml");
/// The profile of the invented product it uses.
pub const EXAMPLE_PROFILE: &str = include_str!("../../packaging/demo-data/profile.toml");

/// Who opens a job, and how.
#[derive(Clone, Debug)]
pub struct Opener<'a> {
    /// Who.
    pub by: &'a str,
    /// How it was conveyed.
    pub how: How,
    /// The key a request was given; none where the job's number is key enough.
    pub key: Option<Key>,
}

/// The newest adopted version.
///
/// # Errors
/// The log cannot be read.
pub fn newest(store: &Store, kind: PinKind, id: &str) -> Result<Option<Version>, OfficeError> {
    Ok(store.versions(kind, id)?.into_iter().map(|(version, _)| version).max())
}

/// Says what is adopted instead of what was wanted.
#[must_use]
pub fn not_adopted(store: &Store, kind: PinKind, id: &str, version: Option<Version>) -> String {
    let word = kind.word();
    let versions = store.versions(kind, id).unwrap_or_default();
    let wanted = version.map_or_else(|| id.to_owned(), |version| format!("{id}@{version}"));
    if versions.is_empty() {
        return format!(
            "no {word} `{wanted}` is adopted (adopted: {}); \
             adopt its file with: chalkhand checklist adopt FILE",
            known(store, kind).unwrap_or_else(|| "none".to_owned())
        );
    }
    let versions: Vec<String> = versions.iter().map(|(v, _)| v.to_string()).collect();
    format!("no {word} `{wanted}` is adopted; adopted versions: {}", versions.join(", "))
}

/// What is adopted, each once; none where nothing is.
fn known(store: &Store, kind: PinKind) -> Option<String> {
    let known = store.adopted(kind).unwrap_or_default();
    let mut known: Vec<String> = known.into_iter().map(|adopted| adopted.id).collect();
    known.dedup();
    (!known.is_empty()).then(|| known.join(", "))
}

fn version(store: &Store, kind: PinKind, wanted: &Wanted) -> Result<Version, OfficeError> {
    let newest = match wanted.version {
        Some(version) => Some(version),
        None => newest(store, kind, &wanted.id)?,
    };
    newest.ok_or_else(|| OfficeError::Unfit(not_adopted(store, kind, &wanted.id, None)))
}

/// The checklists a job file asks for, in adopted versions.
///
/// # Errors
/// One of them is not adopted, or cannot be read.
pub fn wanted_checklists(
    store: &Store,
    functions: &Functions,
    file: &JobFile,
) -> Result<Vec<Arc<Checklist>>, OfficeError> {
    let wanted = file.checklists.iter().map(|wanted| {
        let version = version(store, PinKind::Checklist, wanted)?;
        let missing = || {
            OfficeError::Unfit(not_adopted(store, PinKind::Checklist, &wanted.id, Some(version)))
        };
        checklist(store, functions, &wanted.id, version)?.ok_or_else(missing)
    });
    wanted.collect()
}

/// Opens a job from its file: pins versions, logs the job and the facts it gives.
///
/// # Errors
/// Nothing was logged; the error says why.
pub fn open(
    store: &mut Store,
    functions: &Functions,
    (text, name): (&str, &str),
    opener: &Opener<'_>,
    now: impl Fn(&TimeZone) -> At,
) -> Result<Job, OfficeError> {
    let file = files::read_job(text, name)?;
    let checklists = wanted_checklists(store, functions, &file)?;
    let all: Vec<&Checklist> = checklists.iter().map(AsRef::as_ref).collect();
    kinds_agree(&all)?;
    let facts = file.facts(&all)?;
    let at = now(&zone(&file.job)?);
    open_with(store, functions, &file, &facts, opener, at)
}

/// Opens the invented job under the next free number, and adopts the invented
/// product's profile.
///
/// # Errors
/// The log cannot be written.
pub fn open_example(
    store: &mut Store,
    functions: &Functions,
    opener: &Opener<'_>,
    now: impl Fn(&TimeZone) -> At,
) -> Result<Job, OfficeError> {
    let mut file = files::read_job(EXAMPLE_JOB, "job.toml")?;
    file.job.number = next_example(store)?;
    let at = now(&zone(&file.job)?);
    library::adopt(store, functions, (EXAMPLE_PROFILE, "profile.toml"), opener.by, at)?;
    let checklists = wanted_checklists(store, functions, &file)?;
    let facts = file.facts(&checklists.iter().map(AsRef::as_ref).collect::<Vec<_>>())?;
    open_with(store, functions, &file, &facts, opener, at)
}

/// The next free number of an invented job.
///
/// # Errors
/// The log cannot be read.
pub fn next_example(store: &Store) -> Result<String, OfficeError> {
    let mut number = 1;
    loop {
        let name = format!("EX-{number:04}");
        if store.job(&name)?.is_none() {
            return Ok(name);
        }
        number += 1;
    }
}

/// Opens a job with these facts.
///
/// # Errors
/// Nothing was logged; the error says why.
pub fn open_with(
    store: &mut Store,
    functions: &Functions,
    file: &JobFile,
    facts: &Facts,
    opener: &Opener<'_>,
    at: At,
) -> Result<Job, OfficeError> {
    let unfit = |why: String| Err(OfficeError::Unfit(why));
    let mut job = file.job.clone();
    if store.job(&job.number)?.is_some() {
        return Err(OfficeError::IsOpen(job.number));
    }
    let checklists = wanted_checklists(store, functions, file)?;
    job.pins.extend(checklists.iter().map(|checklist| Pin {
        kind: PinKind::Checklist,
        id: checklist.id.clone(),
        version: checklist.version,
        hash: checklist.hash,
    }));
    if let Some(wanted) = &file.profile {
        let kind = PinKind::Profile;
        let version = version(store, kind, wanted)?;
        let read = profile(store, &wanted.id, version)?;
        let Some(read) = read else {
            return unfit(not_adopted(store, kind, &wanted.id, Some(version)));
        };
        job.pins.push(Pin { kind, id: wanted.id.clone(), version, hash: read.hash });
        for checklist in &checklists {
            figures_fit(checklist, &read)?;
        }
    }
    let needs = checklists.iter().find(|l| l.figures.iter().any(|f| f.default.is_none()));
    if let (None, Some(list)) = (&file.profile, needs) {
        return unfit(format!(
            "{} computes with a product's figures: add profile = \"ID\" to the job file \
             (adopted: {})",
            list.id,
            known(store, PinKind::Profile).unwrap_or_else(|| "none yet".to_owned())
        ));
    }
    let draft = |what, key: String| Draft {
        job: job.number.clone(),
        walk: None,
        at,
        by: opener.by.to_owned(),
        how: opener.how.clone(),
        confirmed: Vec::new(),
        what,
        corrects: None,
        key: Key(key),
    };
    let own = || format!("open/{}", job.number);
    let key = opener.key.clone().map_or_else(own, |Key(key)| key);
    let mut drafts = vec![draft(What::JobOpened(job.clone()), key)];
    for (name, value) in facts.iter() {
        let row = name.row.map_or_else(String::new, |row| format!("#{row}"));
        let key = format!("open/{}/{}{row}", job.number, name.name);
        drafts.push(draft(What::FactGiven(name.clone(), value.clone()), key));
    }
    store.open_job(&drafts)?;
    Ok(job)
}

/// A figure the checklist computes with has to be in the profile, of its kind.
fn figures_fit(checklist: &Checklist, profile: &Profile) -> Result<(), OfficeError> {
    let mut wrong = Vec::new();
    for figure in &checklist.figures {
        match profile.figures.get(&figure.name) {
            None if figure.default.is_some() => {}
            None => wrong.push(format!("`{}` is missing ({})", figure.name, figure.ask)),
            Some((kind, _)) if kind.word() != figure.kind.word() => wrong.push(format!(
                "`{}` is a {} and has to be a {}",
                figure.name,
                kind.word(),
                figure.kind.word()
            )),
            Some((_, Value::Quantity(q))) if !figure.believes(*q) => {
                wrong.push(format!("`{}` is hard to believe ({})", figure.name, figure.ask));
            }
            Some(_) => {}
        }
    }
    if wrong.is_empty() {
        return Ok(());
    }
    Err(OfficeError::Unfit(format!(
        "profile {} does not fit checklist {}: {}",
        profile.id,
        checklist.id,
        wrong.join("; ")
    )))
}

/// A fact means the same in every checklist of a job.
///
/// # Errors
/// Names the fact that does not.
pub fn kinds_agree(checklists: &[&Checklist]) -> Result<(), OfficeError> {
    for (at, a) in checklists.iter().enumerate() {
        for b in checklists.iter().skip(at + 1) {
            let clash = a
                .facts
                .iter()
                .find(|fact| b.fact(&fact.name).is_some_and(|other| other.kind != fact.kind));
            if let Some(fact) = clash {
                return Err(OfficeError::Unfit(format!(
                    "fact `{}` is not of the same kind in {} and {}: make them agree",
                    fact.name, a.id, b.id
                )));
            }
        }
    }
    Ok(())
}
