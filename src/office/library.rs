//! Checklists and profiles as the office keeps them: what a text is, adopting it,
//! what differs between two versions. Used by the commands and by the pages.

use std::path::Path;
use std::sync::Arc;

use crate::domain::{At, Checklist, Hash, Json, PinKind, Profile, Version};
use crate::export::changes::{self, Told};
use crate::files::{self, Kind, Problems};
use crate::measure::Functions;
use crate::store::{AdoptedVersion, SeenFile, Store};

use super::{OfficeError, checklist, profile, read_text};

/// A text that is sound.
#[derive(Clone, Debug)]
pub enum Sound {
    /// A checklist.
    Checklist(Box<Checklist>),
    /// A product profile.
    Profile(Profile),
    /// A job file: its number.
    Job(String),
}

/// Reads a text as what it means to be.
///
/// # Errors
/// Everything that is wrong with it; a translation is read beside its checklist,
/// by `chalkhand checklist check`.
pub fn read(text: &str, name: &str, functions: &Functions) -> Result<Sound, OfficeError> {
    Ok(match files::kind_of(text) {
        Kind::Checklist => {
            Sound::Checklist(Box::new(files::read_checklist(text, name, functions)?))
        }
        Kind::Profile => Sound::Profile(files::read_profile(text, name)?),
        Kind::Job => Sound::Job(files::read_job(text, name)?.job.number),
        Kind::Translation => return Err(not_here(name)),
    })
}

fn not_here(name: &str) -> OfficeError {
    let why = "it is a translation: put it into the folder of its language beside the checklists, \
               and check it with: chalkhand checklist check FILE";
    OfficeError::File { path: name.into(), why: why.to_owned() }
}

/// Adopts a checklist or a profile for new jobs; its content never changes
/// afterwards.
///
/// # Errors
/// Nothing was adopted; the error says why.
pub fn adopt(
    store: &mut Store,
    functions: &Functions,
    (text, name): (&str, &str),
    by: &str,
    at: At,
) -> Result<(PinKind, String, Version), OfficeError> {
    let (kind, id, version, hash): (_, _, _, Hash) = match read(text, name, functions)? {
        Sound::Checklist(list) => (PinKind::Checklist, list.id, list.version, list.hash),
        Sound::Profile(profile) => (PinKind::Profile, profile.id, profile.version, profile.hash),
        Sound::Job(number) => {
            let why = format!("it is the file of job {number}: open it as a job");
            return Err(OfficeError::File { path: name.into(), why });
        }
    };
    let (adopted_at, adopted_by) = (at.to_string(), by.to_owned());
    let adopted = AdoptedVersion { kind, id: id.clone(), version, hash, adopted_at, adopted_by };
    store.adopt(&adopted, text)?;
    Ok((kind, id, version))
}

/// An adopted version.
#[derive(Clone, Debug)]
pub enum Adopted {
    /// A checklist.
    Checklist(Arc<Checklist>),
    /// A product profile.
    Profile(Arc<Profile>),
}

/// An adopted version, read again; none where it is not adopted.
///
/// # Errors
/// The log cannot be read, or the text in it does not read any more.
pub fn adopted(
    store: &Store,
    functions: &Functions,
    kind: PinKind,
    id: &str,
    version: Version,
) -> Result<Option<Adopted>, OfficeError> {
    Ok(match kind {
        PinKind::Checklist => checklist(store, functions, id, version)?.map(Adopted::Checklist),
        PinKind::Profile => profile(store, id, version)?.map(Adopted::Profile),
    })
}

/// What differs between two adopted versions; none where they are not both
/// checklists or both profiles.
#[must_use]
pub fn differences(old: &Adopted, new: &Adopted) -> Option<Vec<Told>> {
    match (old, new) {
        (Adopted::Checklist(old), Adopted::Checklist(new)) => Some(changes::checklists(old, new)),
        (Adopted::Profile(old), Adopted::Profile(new)) => Some(changes::profiles(old, new)),
        _ => None,
    }
}

/// Files that were seen in the watched folders and may be adopted.
///
/// # Errors
/// The log cannot be read.
pub fn offered(store: &Store) -> Result<Vec<SeenFile>, OfficeError> {
    let seen = store.seen()?;
    Ok(seen.into_iter().filter(|file| file.verdict == "offered").collect())
}

/// The text of a file that was seen and may be adopted.
///
/// # Errors
/// It is not one of those, or cannot be read.
pub fn offered_text(store: &Store, path: &str) -> Result<String, OfficeError> {
    if !offered(store)?.iter().any(|file| file.path == path) {
        let why = "it is not offered any more: load the page again".to_owned();
        return Err(OfficeError::File { path: path.into(), why });
    }
    read_text(Path::new(path))
}

/// Remembers that an offered file was adopted.
///
/// # Errors
/// The log cannot be written.
pub fn taken(store: &mut Store, path: &str, at: At) -> Result<(), OfficeError> {
    for file in offered(store)?.into_iter().filter(|file| file.path == path) {
        let known = SeenFile { verdict: "known".to_owned(), why: String::new(), ..file };
        store.saw(&known, at)?;
    }
    Ok(())
}

/// What a text is, as JSON; or everything that is wrong with it, each with its place
/// where it has one.
#[must_use]
pub fn checked(read: &Result<Sound, OfficeError>) -> Json {
    let sound = |kind: &str, id: &str, version: Json| {
        Json::object([
            ("sound", Json::Bool(true)),
            ("kind", kind.into()),
            ("id", Json::text(id)),
            ("version", version),
        ])
    };
    let error = match read {
        Ok(Sound::Checklist(list)) => {
            return sound("checklist", &list.id, Json::text(list.version));
        }
        Ok(Sound::Profile(profile)) => {
            return sound("profile", &profile.id, Json::text(profile.version));
        }
        Ok(Sound::Job(number)) => return sound("job", number, Json::Null),
        Err(error) => error,
    };
    let placed = |problem: &files::Problem| {
        Json::object([
            ("line", Json::from(problem.line)),
            ("column", Json::from(problem.col)),
            ("message", Json::text(&problem.message)),
            ("hint", problem.hint.as_ref().map_or(Json::Null, Json::text)),
        ])
    };
    let all = match problems(error) {
        Some(problems) => problems.list().iter().map(placed).collect(),
        None => vec![Json::object([("message", Json::text(error))])],
    };
    Json::object([("sound", Json::Bool(false)), ("problems", Json::from(all))])
}

/// The problems of a text, where that is what is wrong.
#[must_use]
pub fn problems(error: &OfficeError) -> Option<&Problems> {
    match error {
        OfficeError::Files(problems) => Some(problems),
        _ => None,
    }
}
