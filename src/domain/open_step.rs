//! Which step of a job was open at a moment that has passed: where a photo taken
//! then belongs. Read from what was logged before and after it; where that does
//! not say one step, it names every step that it may be.

use std::collections::BTreeSet;

use crate::measure::Functions;

use super::{At, Entry, JobFile, Standing, StepRef, WalkId, What};

/// The steps that were open on a job at that moment, in order; `at` is to have the
/// offset of the job's address. A walk counts where it had begun and not ended, and
/// was worked on that day: one that was left open on another day says nothing about
/// this one. Open is its first step not settled then, and the step its next entry is
/// about where that is another: one that was being corrected, or asked of others.
#[must_use]
pub fn open_steps(file: &JobFile, at: At, functions: &Functions) -> Vec<(WalkId, StepRef)> {
    let entries: Vec<Entry> =
        file.entries.iter().filter(|entry| entry.draft.at.ms() <= at.ms()).cloned().collect();
    let then = JobFile {
        job: file.job.clone(),
        checklists: file.checklists.clone(),
        profile: file.profile.clone(),
        standing: Standing::of(&entries),
        entries,
    };
    let mut open = BTreeSet::new();
    for walk in then.record(functions).walks {
        let goes_on = walk.begun.is_some() && walk.ended.is_none();
        if !goes_on || !worked_on(file, &walk.id, at) {
            continue;
        }
        let first = walk.steps.iter().find(|step| step.settled.is_none());
        // Between its last step and its end nothing is asked.
        let Some(first) = first else { continue };
        open.insert((walk.id.clone(), first.at.clone()));
        open.extend(next(file, &walk.id, at).map(|step| (walk.id, step.clone())));
    }
    open.into_iter().collect()
}

/// Whether somebody walked it on that day; a photo brought later, a word of the
/// foreman's are no walking.
fn worked_on(file: &JobFile, walk: &WalkId, at: At) -> bool {
    let walked = |what: &What| {
        !matches!(what, What::PhotoKept { .. } | What::Accepted { .. } | What::Noted { .. })
    };
    file.entries.iter().any(|entry| {
        entry.draft.walk.as_ref() == Some(walk)
            && walked(&entry.draft.what)
            && entry.draft.at.date() == at.date()
    })
}

/// The step that the walk's next answer is about.
fn next<'a>(file: &'a JobFile, walk: &WalkId, at: At) -> Option<&'a StepRef> {
    let is_of = |entry: &&Entry| {
        at.ms() < entry.draft.at.ms()
            && entry.draft.walk.as_ref() == Some(walk)
            && matches!(
                entry.draft.what,
                What::Answered { .. } | What::Skipped { .. } | What::PhotoTaken { .. }
            )
    };
    file.entries.iter().find(is_of)?.draft.what.step()
}
