//! What a walk needs before it begins: the job has the checklist, and every step
//! can be told.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::{OfficeError, Why};
use crate::domain::{Answer, Checklist, JobFile, Known, plan};
use crate::measure::Functions;

/// A checklist the job pins.
///
/// # Errors
/// It pins none of that name.
pub fn pinned<'a>(file: &'a JobFile, checklist: &str) -> Result<&'a Arc<Checklist>, OfficeError> {
    file.checklist(checklist).ok_or_else(|| {
        let pinned: Vec<&str> = file.checklists.iter().map(|list| list.id.as_str()).collect();
        OfficeError::NotPinned {
            job: file.job.number.clone(),
            checklist: checklist.to_owned(),
            pinned: pinned.join(", "),
        }
    })
}

/// A walk starts only where every step can be told, or where its own steps ask
/// for what is missing.
///
/// # Errors
/// Names what is missing.
pub fn facts_are_known(
    functions: &Functions,
    file: &JobFile,
    checklist: &Checklist,
) -> Result<(), OfficeError> {
    let asked: BTreeSet<&str> = checklist
        .steps
        .iter()
        .filter_map(|step| match &step.answer {
            Answer::Fact { fact } => Some(fact.as_str()),
            _ => None,
        })
        .collect();
    let sheet = file.sheet(checklist, functions);
    let known = Known {
        checklist,
        facts: &file.standing.facts,
        profile: file.profile.as_deref(),
        sheet: &sheet,
    };
    let mut missing = BTreeSet::new();
    for at in plan::plan(known, functions) {
        let say = checklist.step(&at.id).map(|step| &step.say[..]).unwrap_or_default();
        missing.extend(known.fill(say, at.row, file.job.units).err().into_iter().flatten());
    }
    for table in &checklist.tables {
        if known.rows(&table.name).is_none() {
            missing.extend(known.missing_rows(&table.name));
        }
    }
    missing.retain(|name| !asked.contains(name.as_str()));
    if missing.is_empty() {
        return Ok(());
    }
    let names: Vec<String> = missing
        .iter()
        .map(|name| match checklist.fact(name) {
            Some(fact) => format!("{name} ({})", fact.ask),
            None => name.clone(),
        })
        .collect();
    Err(OfficeError::Refused(Why::CannotBegin {
        checklist: checklist.id.clone(),
        job: file.job.number.clone(),
        missing: names.join("; "),
    }))
}
