//! Visits after leak calls: which walk the visit of a call is, linked to it in
//! the log, with its checklist pinned where the job was opened without it. For
//! the commands and for the pages; the walk itself is not here.

use super::calls::open_one;
use super::deeds::{Deed, refused};
use super::opening::{kinds_agree, newest, not_adopted};
use super::{OfficeError, Why, checklist, facts_are_known, job};
use crate::domain::{Checklist, Draft, JobFile, Key, Pin, PinKind, Standing, WalkId, What};
use crate::measure::Functions;
use crate::store::Store;

/// The checklist of a visit, where nobody names another.
pub const LEAK_VISIT: &str = "leak-visit";

/// The title of a planned visit, as the log keeps it; without water how it begins.
#[must_use]
pub fn title(id: u32, water: &str) -> String {
    format!("Visit after leak call {id}: {water}")
}

/// Which visit is wanted.
#[derive(Clone, Copy, Debug)]
pub struct Wanted<'a> {
    /// Which call of the job.
    pub id: u32,
    /// The checklist of the visit.
    pub checklist: &'a str,
    /// Whether a further visit begins where the last one has ended.
    pub further: bool,
}

/// A visit that can be walked.
#[derive(Clone, Debug)]
pub struct Visit {
    /// Its walk.
    pub walk: WalkId,
    /// What was pinned for it.
    pub pinned: Option<Pin>,
    /// The job as it stands by then.
    pub file: JobFile,
}

/// The visit of a call, linked in the log where it is new.
///
/// # Errors
/// The call is not open, the walk cannot begin or another one is open; or the log
/// cannot be written.
pub fn take_up(
    store: &mut Store,
    functions: &Functions,
    mut file: JobFile,
    wanted: Wanted<'_>,
    deed: &Deed<'_>,
) -> Result<Visit, OfficeError> {
    open_one(&file, wanted.id)?;
    let mut pinned = None;
    let (list, number) = (wanted.checklist, file.job.number.clone());
    if file.checklist(list).is_none() {
        // Nothing is pinned for a visit that could not begin.
        walk_of(&file, wanted)?;
        let pin = fitting_pin(store, functions, &file, list)?;
        let key = format!("pin/{number}/{list}");
        let entry = deed.draft(&file, None, What::Pinned(pin.clone()), key.clone());
        // The key of a form is that of the visit.
        let entry = Draft { key: Key(key), ..entry };
        store.append(&entry, Some(file.standing.last_seq))?;
        pinned = Some(pin);
        file = job(store, functions, &number)?;
    }
    let (walk, is_new) = walk_of(&file, wanted)?;
    if is_new {
        facts_are_known(functions, &file, super::pinned(&file, list)?)?;
        let what = What::CallbackVisited { id: wanted.id, visit: walk.clone() };
        let key = format!("callback/{number}/{}/visit/{walk}", wanted.id);
        let entry = deed.draft(&file, None, what, key);
        store.append(&entry, Some(file.standing.last_seq))?;
        file = job(store, functions, &number)?;
    }
    Ok(Visit { walk, pinned, file })
}

/// Whether a walk was walked to its end.
#[must_use]
pub fn has_ended(standing: &Standing, walk: &WalkId) -> bool {
    standing.walks.get(walk).is_some_and(|stood| stood.ended.is_some())
}

/// The call's visit that has not ended, or the next walk of the checklist and that
/// it is new.
fn walk_of(file: &JobFile, wanted: Wanted<'_>) -> Result<(WalkId, bool), OfficeError> {
    let callback = open_one(file, wanted.id)?;
    let has_ended = |walk: &WalkId| has_ended(&file.standing, walk);
    if let Some((walk, _)) = callback.visits.last().filter(|(walk, _)| !has_ended(walk)) {
        return Ok((walk.clone(), false));
    }
    if let Some((walk, _)) = callback.visits.last().filter(|_| !wanted.further) {
        return refused(Why::Visited { id: wanted.id, walk: walk.clone() });
    }
    let Some((newest, _)) = file.standing.walks_of(wanted.checklist).next_back() else {
        return Ok((WalkId::first(wanted.checklist), true));
    };
    if !has_ended(newest) {
        let mut calls = file.standing.callbacks.values();
        let of = calls.find(|call| call.visits.iter().any(|(walk, _)| walk == newest));
        // A call that was closed all the same stands in nobody's way.
        if of.is_none_or(|call| call.closed.is_none()) {
            let of = of.map(|call| call.call.id);
            return refused(Why::WalkOpen { walk: newest.clone(), of });
        }
    }
    Ok((newest.next(), true))
}

/// The newest adopted version, where it goes with what the job pins and knows.
fn fitting_pin(
    store: &Store,
    functions: &Functions,
    file: &JobFile,
    id: &str,
) -> Result<Pin, OfficeError> {
    let missing = || {
        let told = not_adopted(store, PinKind::Checklist, id, None);
        OfficeError::Refused(Why::NotAdopted { checklist: id.to_owned(), told })
    };
    let version = newest(store, PinKind::Checklist, id)?.ok_or_else(missing)?;
    let read = checklist(store, functions, id, version)?.ok_or_else(missing)?;
    let mut all: Vec<&Checklist> = file.checklists.iter().map(AsRef::as_ref).collect();
    all.push(&read);
    kinds_agree(&all)?;
    let knows = |name: &str| {
        file.profile.as_ref().is_some_and(|profile| profile.figures.contains_key(name))
    };
    let mut figures = read.figures.iter().filter(|figure| figure.default.is_none());
    if let Some(figure) = figures.find(|figure| !knows(&figure.name)) {
        let (checklist, figure) = (id.to_owned(), figure.name.clone());
        return refused(Why::NoFigure { checklist, figure, job: file.job.number.clone() });
    }
    facts_are_known(functions, file, &read)?;
    Ok(Pin { kind: PinKind::Checklist, id: id.to_owned(), version, hash: read.hash })
}
