//! What somebody decides about a job: releases a hold point, accepts a deviation,
//! has looked at a witness point. Who may is decided here, for the commands and
//! for the pages; nothing is written.

use super::{Needed, OfficeError, Why};
use crate::domain::deviation::{may_accept, role_of};
use crate::domain::{
    At, Deviation, DeviationKind, Draft, How, JobFile, Key, Note, PointKind, PointStanding, Record,
    StepRef, WalkId, What,
};

/// Who does something, when and how.
#[derive(Clone, Debug)]
pub struct Deed<'a> {
    /// Who, as the job names them.
    pub by: &'a str,
    /// When, at the address.
    pub at: At,
    /// How it was conveyed.
    pub how: How,
    /// The key a form was given; none where what is done is key enough.
    pub key: Option<Key>,
}

impl Deed<'_> {
    pub(super) fn draft(
        &self,
        file: &JobFile,
        walk: Option<WalkId>,
        what: What,
        key: String,
    ) -> Draft {
        Draft {
            job: file.job.number.clone(),
            walk,
            at: self.at,
            by: self.by.to_owned(),
            how: self.how.clone(),
            confirmed: Vec::new(),
            what,
            corrects: None,
            key: self.key.clone().unwrap_or(Key(key)),
        }
    }
}

pub(super) fn refused<T>(why: Why) -> Result<T, OfficeError> {
    Err(why.into())
}

/// A point of a walk, and the step before which it stands.
pub type PointAt<'a> = (&'a WalkId, &'a StepRef, &'a PointStanding);

fn points(file: &JobFile) -> impl Iterator<Item = PointAt<'_>> {
    let walks = file.standing.walks.iter();
    let steps = walks.flat_map(|(id, walk)| walk.steps.iter().map(move |(at, s)| (id, at, s)));
    steps.filter_map(|(id, at, stood)| Some((id, at, stood.point.as_ref()?)))
}

/// Hold points that were reached and not released.
#[must_use]
pub fn waiting(file: &JobFile) -> Vec<PointAt<'_>> {
    let is_held = |point: &PointStanding| point.kind == PointKind::Hold && point.released.is_none();
    points(file).filter(|(_, _, point)| is_held(point)).collect()
}

/// Names of those who hold one of these roles on the job.
#[must_use]
pub fn holders(file: &JobFile, roles: &[&str]) -> Vec<String> {
    let people = file.job.people.iter().filter(|p| roles.contains(&p.role.as_str()));
    people.map(|person| person.name.clone()).collect()
}

/// The entry that releases a hold point. Where several walks wait at the step and
/// none is named, the newest is the one on the roof.
///
/// # Errors
/// Nothing waits there, or the job does not name the person in that role.
pub fn release(
    file: &JobFile,
    walk: Option<&WalkId>,
    step: &str,
    role: &str,
    deed: &Deed<'_>,
) -> Result<Draft, OfficeError> {
    let Ok(step): Result<StepRef, _> = step.parse();
    let waiting = waiting(file);
    let is = |at: &PointAt<'_>| *at.1 == step && walk.is_none_or(|walk| walk == at.0);
    let Some((walk, _, point)) = waiting.iter().rev().find(|at| is(at)) else {
        let waiting = waiting.iter().map(|(_, at, _)| at.to_string()).collect();
        let (step, job) = (step.to_string(), file.job.number.clone());
        return refused(Why::NoHold { step, job, waiting });
    };
    if point.role != role {
        let (step, not) = (step.to_string(), role.to_owned());
        return refused(Why::OthersRole { step, role: point.role.clone(), not });
    }
    held(file, deed.by, role)?;
    let key = format!("release/{}/{walk}/{step}/{}", file.job.number, point.reached);
    let what = What::Released { step: step.clone(), role: role.to_owned() };
    Ok(deed.draft(file, Some((*walk).clone()), what, key))
}

fn held(file: &JobFile, by: &str, role: &str) -> Result<(), OfficeError> {
    if file.job.holds(by, role) {
        return Ok(());
    }
    let (by, job, names) = (by.to_owned(), file.job.number.clone(), holders(file, &[role]));
    refused(Why::NotInRole { by, role: role.to_owned(), job, names })
}

/// The deviations of an entry, accepted or not.
pub fn deviations_of(record: &Record, seq: u64) -> impl Iterator<Item = &Deviation> {
    record.deviations.iter().filter(move |deviation| deviation.need.seq == Some(seq))
}

/// The entry that accepts every open deviation of that entry.
///
/// # Errors
/// It shows none that is open, or the person may not.
pub fn accept(
    file: &JobFile,
    record: &Record,
    seq: u64,
    reason: &str,
    deed: &Deed<'_>,
) -> Result<Draft, OfficeError> {
    let (number, by, reason) = (&file.job.number, deed.by, reason.trim());
    if reason.is_empty() {
        return refused(Why::NotSaid(Needed::MayStay));
    }
    let of: Vec<&Deviation> = deviations_of(record, seq).collect();
    let Some(first) = of.first() else {
        let (job, open) = (number.clone(), record.open_deviations());
        return refused(Why::NoDeviation { entry: seq, job, open });
    };
    let open: Vec<DeviationKind> = of
        .iter()
        .filter(|deviation| deviation.accepted.is_none())
        .filter_map(|deviation| DeviationKind::of(&deviation.need.about))
        .collect();
    if let (true, Some(before)) = (open.is_empty(), &first.accepted) {
        return refused(Why::AcceptedBefore {
            entry: seq,
            by: before.by.clone(),
            seq: before.seq,
            reason: before.reason.clone(),
        });
    }
    let walk = first.need.walk.clone();
    let checklist = file.checklist(&walk.checklist).map(AsRef::as_ref);
    let roles = may_accept(checklist, first.need.step.as_ref());
    let Some(role) = role_of(&file.job, by, &roles) else {
        let (job, names) = (number.clone(), holders(file, &roles));
        let roles = roles.iter().map(|role| (*role).to_owned()).collect();
        return refused(Why::MayNotAccept { by: by.to_owned(), roles, job, names });
    };
    let Some(step) = first.need.step.clone() else {
        return refused(Why::OfNoStep(seq));
    };
    let kinds: Vec<&str> = open.iter().map(|kind| kind.word()).collect();
    let key = format!("accept/{number}/{seq}/{}", kinds.join("+"));
    let what = What::Accepted {
        entry: seq,
        step,
        kinds: open,
        role: role.to_owned(),
        reason: reason.to_owned(),
    };
    Ok(deed.draft(file, Some(walk), what, key))
}

/// How the note begins that says somebody looked at a witness point: there is no
/// entry of its own for it.
const WITNESSED: &str = "Looked at the witness point as ";

/// Witness points that were reached, each with the note that says who looked.
#[must_use]
pub fn witness_points(file: &JobFile) -> Vec<(PointAt<'_>, Option<&Note>)> {
    let looked = |(walk, step, point): &PointAt<'_>| {
        let words = format!("{WITNESSED}{}.", point.role);
        file.standing.notes.iter().find(|note| {
            note.text == words
                && point.reached.ms() <= note.at.ms()
                && file.job.holds(&note.by, &point.role)
                && note.step.as_ref().is_some_and(|(of, at)| of == *walk && at == *step)
        })
    };
    let points = points(file).filter(|(_, _, point)| point.kind == PointKind::Witness);
    points.map(|at| (at, looked(&at))).collect()
}

/// The note that says somebody looked at a witness point.
///
/// # Errors
/// None was reached there, or the job does not name the person in its role.
pub fn witness(
    file: &JobFile,
    walk: &WalkId,
    step: &str,
    deed: &Deed<'_>,
) -> Result<Draft, OfficeError> {
    let Ok(step): Result<StepRef, _> = step.parse();
    let points = witness_points(file);
    let Some(((walk, step, point), looked)) =
        points.into_iter().find(|((of, at, _), _)| *of == walk && **at == step)
    else {
        let (step, job) = (step.to_string(), file.job.number.clone());
        return refused(Why::NoWitness { step, job });
    };
    held(file, deed.by, &point.role)?;
    if let Some(note) = looked {
        return refused(Why::LookedBefore { by: note.by.clone(), seq: note.seq });
    }
    let key = format!("witness/{}/{walk}/{step}/{}", file.job.number, point.reached);
    let text = format!("{WITNESSED}{}.", point.role);
    let what = What::Noted { step: Some(step.clone()), text, clip: None };
    Ok(deed.draft(file, Some(walk.clone()), what, key))
}
