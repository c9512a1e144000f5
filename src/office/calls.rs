//! Leak calls: what is taken down when one comes in, and what closes it. The
//! rules for the commands and for the pages; nothing is written.

use jiff::civil::Date;

use super::deeds::{Deed, refused};
use super::{Needed, OfficeError, Why};
use crate::domain::{
    Call, CallbackStanding, Draft, Finding, JobFile, NamedStep, Record, RowRef, StepRef, WalkId,
    Warranty, What, desk,
};

/// A call as it was taken down.
#[derive(Clone, Copy, Debug)]
pub struct NewCall<'a> {
    /// Where water came in, in the caller's words.
    pub water: &'a str,
    /// The plane of the drawing, where somebody knows it.
    pub plane: Option<u32>,
    /// The run of the drawing, where somebody knows it.
    pub run: Option<u32>,
    /// The edge or thing it is near.
    pub edge: Option<&'a str>,
    /// Who called.
    pub caller: &'a str,
    /// How to reach the caller, where that is not the owner.
    pub phone: Option<&'a str>,
    /// The day it was reported.
    pub reported: Date,
}

/// What was found after a call.
#[derive(Clone, Debug)]
pub struct NewFinding<'a> {
    /// Which call of the job.
    pub id: u32,
    /// What was found, or that nothing was.
    pub found: &'a str,
    /// What caused it.
    pub cause: Option<&'a str>,
    /// What was done about it.
    pub done: Option<&'a str>,
    /// The steps of the install that it goes back to.
    pub steps: Vec<NamedStep>,
    /// Whether it is under warranty.
    pub warranty: Warranty,
    /// Why its open visit is left unfinished, where there is one.
    pub unfinished: Option<&'a str>,
}

fn needed(what: Needed, words: &str) -> Result<String, OfficeError> {
    match words.trim() {
        "" => refused(Why::NotSaid(what)),
        words => Ok(words.to_owned()),
    }
}

fn said(words: Option<&str>) -> Option<String> {
    words.map(str::trim).filter(|words| !words.is_empty()).map(str::to_owned)
}

/// The rows that were named, and what is to be said of those nobody can check.
///
/// # Errors
/// The drawing has no such row.
pub fn named_rows(
    record: &Record,
    plane: Option<u32>,
    run: Option<u32>,
) -> Result<(Vec<RowRef>, Vec<String>), OfficeError> {
    let (mut rows, mut remarks) = (Vec::new(), Vec::new());
    for (table, row) in [("plane", plane), ("run", run)] {
        let Some(row) = row else { continue };
        match desk::rows(record, table) {
            None => remarks.push(format!(
                "no {table} of this job is known; {table} {row} is kept as it was said"
            )),
            Some(known) if row == 0 || known < row => {
                let (job, table) = (record.job.number.clone(), table.to_owned());
                return refused(Why::NoRow { job, table, row, known });
            }
            Some(_) => {}
        }
        rows.push(RowRef { table: table.to_owned(), row });
    }
    Ok((rows, remarks))
}

/// The entry that opens a call, and remarks to whoever takes it down. `record` is
/// that of now.
///
/// # Errors
/// Something is not said, or cannot be.
pub fn open_call(
    file: &JobFile,
    record: &Record,
    new: &NewCall<'_>,
    deed: &Deed<'_>,
) -> Result<(u32, Draft, Vec<String>), OfficeError> {
    if deed.at.date() < new.reported {
        return refused(Why::ToCome(new.reported));
    }
    let (rows, mut remarks) = named_rows(record, new.plane, new.run)?;
    if let Some(edge) = said(new.edge).filter(|edge| !desk::is_known(record, edge)) {
        let number = &file.job.number;
        remarks.push(format!(
            "nothing that is known of this roof is called “{edge}”, so it points at no place of \
             the drawing; it is kept as it was said. See the words in use with: chalkhand sheet \
             {number}"
        ));
    }
    let id = file.standing.callbacks.keys().max().map_or(1, |last| last.saturating_add(1));
    let call = Call {
        id,
        reported: new.reported,
        water: needed(Needed::Water, new.water)?,
        rows,
        edge: said(new.edge),
        caller: needed(Needed::Caller, new.caller)?,
        phone: said(new.phone),
    };
    let key = format!("callback/{}/{id}/open", file.job.number);
    Ok((id, deed.draft(file, None, What::CallbackOpened(Box::new(call)), key), remarks))
}

/// The call of that number.
///
/// # Errors
/// The job has none of it.
pub fn call(file: &JobFile, id: u32) -> Result<&CallbackStanding, OfficeError> {
    let calls = &file.standing.callbacks;
    calls.get(&id).ok_or_else(|| {
        let (job, known) = (file.job.number.clone(), calls.keys().copied().collect());
        Why::NoCall { job, id, known }.into()
    })
}

/// The same, where it is open.
///
/// # Errors
/// The job has none of it, or it was closed.
pub fn open_one(file: &JobFile, id: u32) -> Result<&CallbackStanding, OfficeError> {
    let callback = call(file, id)?;
    match &callback.closed {
        None => Ok(callback),
        Some((_, closed)) => {
            refused(Why::CallClosed { id, on: closed.at.date(), by: closed.by.clone() })
        }
    }
}

/// The entry that closes a call with its finding.
///
/// # Errors
/// It is not open, a visit of it is, or something is not said.
pub fn close_call(
    file: &JobFile,
    new: &NewFinding<'_>,
    deed: &Deed<'_>,
) -> Result<Draft, OfficeError> {
    let (id, number) = (new.id, &file.job.number);
    let is_open = |walk: &WalkId| {
        let stood = file.standing.walks.get(walk);
        stood.is_some_and(|walk| walk.begun.is_some() && walk.ended.is_none())
    };
    let mut visits = open_one(file, id)?.visits.iter().map(|(walk, _)| walk);
    let visit_left_open = match (visits.find(|walk| is_open(walk)), new.unfinished) {
        (Some(walk), None) => {
            return refused(Why::VisitOpen { walk: walk.clone(), job: number.clone(), id });
        }
        (Some(_), Some(why)) => Some(needed(Needed::Unfinished, why)?),
        (None, Some(_)) => {
            return refused(Why::NoVisitOpen(id));
        }
        (None, None) => None,
    };
    let finding = Finding {
        id,
        found: needed(Needed::Found, new.found)?,
        cause: said(new.cause),
        done: said(new.done),
        steps: new.steps.clone(),
        warranty: new.warranty,
        visit_left_open,
    };
    let key = format!("callback/{number}/{id}/close");
    Ok(deed.draft(file, None, What::CallbackClosed(Box::new(finding)), key))
}

/// A step that the record has, by its name alone where only one checklist has
/// it; without a row it is of any row.
///
/// # Errors
/// No checklist has it, or several have.
pub fn named_step(record: &Record, text: &str) -> Result<NamedStep, OfficeError> {
    let (of, step) = match text.split_once(':') {
        Some((checklist, step)) => (Some(checklist), step),
        None => (None, text),
    };
    let Ok(step): Result<StepRef, _> = step.parse();
    let has = |at: &StepRef| at.id == step.id && (step.row.is_none() || step.row == at.row);
    let mut lists: Vec<&str> = record
        .walks
        .iter()
        .filter(|walk| of.is_none_or(|of| walk.id.checklist == of))
        .filter(|walk| walk.steps.iter().any(|known| has(&known.at)))
        .map(|walk| walk.id.checklist.as_str())
        .collect();
    lists.dedup();
    match lists.as_slice() {
        [checklist] => Ok(NamedStep { checklist: (*checklist).to_owned(), step }),
        [] => refused(Why::NoSuchStep { job: record.job.number.clone(), step: text.to_owned() }),
        many => {
            let all = many.iter().map(|list| format!("{list}:{step}")).collect();
            refused(Why::SeveralSteps { step: step.to_string(), all })
        }
    }
}
