//! Leak calls counted over all jobs: by the step that a finding names, by the
//! checklist's version, and by whether the install had deviations. Counts, not
//! causes: a call says where somebody saw water, not what made it come in.

use std::collections::{BTreeMap, BTreeSet};

use super::{NamedStep, Record, StepRef, Version};

/// Under so many jobs a percentage says more than is known.
pub const LEAST_FOR_SHARE: u32 = 20;

/// One job, as far as it counts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct JobTally {
    /// Whether it is an example.
    pub invented: bool,
    /// Versions of checklists that were walked, without visits after a call.
    pub versions: BTreeSet<(String, Version)>,
    /// Steps that were settled, without their rows, with their titles.
    pub steps: BTreeMap<NamedStep, String>,
    /// Whether a deviation stands, accepted or not.
    pub deviates: bool,
    /// Calls, and those that are still open.
    pub calls: u32,
    /// Calls that are open.
    pub open: u32,
    /// Steps that its findings name, without their rows.
    pub named: BTreeSet<NamedStep>,
}

/// So many of so many jobs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Count {
    /// Jobs with a call.
    pub with_call: u32,
    /// Jobs in all.
    pub jobs: u32,
}

/// All jobs counted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Jobs on which something was walked.
    pub all: Count,
    /// Examples that were left out.
    pub invented: u32,
    /// Calls, and those that are still open.
    pub calls: u32,
    /// Calls that are open.
    pub open: u32,
    /// By step that a finding names: of the jobs on which it was settled.
    pub by_step: Vec<(NamedStep, String, Count)>,
    /// By version of a checklist that was walked.
    pub by_version: Vec<(String, Version, Count)>,
    /// Jobs with a deviation.
    pub deviating: Count,
    /// Jobs without one.
    pub as_written: Count,
}

impl JobTally {
    /// Of a job's record.
    #[must_use]
    pub fn of(record: &Record) -> Self {
        let visits = record.visits();
        let mut tally = Self { invented: record.job.invented, ..Self::default() };
        let walks = record.walks.iter().filter(|walk| walk.begun.is_some());
        for walk in walks.filter(|walk| !visits.contains(&walk.id)) {
            tally.versions.insert((walk.checklist.id.clone(), walk.checklist.version));
            for step in walk.steps.iter().filter(|step| step.settled.is_some()) {
                let title = walk.checklist.step(&step.at.id).map(|step| step.title.clone());
                let named = whole(&walk.checklist.id, &step.at);
                tally.steps.insert(named, title.unwrap_or_else(|| step.at.id.clone()));
            }
        }
        tally.deviates = record.deviations.iter().any(|d| !visits.contains(&d.need.walk));
        for callback in &record.callbacks {
            tally.calls = tally.calls.saturating_add(1);
            match &callback.standing.closed {
                None => tally.open = tally.open.saturating_add(1),
                Some((finding, _)) => {
                    let steps = finding.steps.iter();
                    tally.named.extend(steps.map(|named| whole(&named.checklist, &named.step)));
                }
            }
        }
        tally
    }
}

/// A step in any row.
fn whole(checklist: &str, at: &StepRef) -> NamedStep {
    let step = StepRef { id: at.id.clone(), row: None };
    NamedStep { checklist: checklist.to_owned(), step }
}

impl Count {
    fn add(&mut self, with_call: bool) {
        self.jobs = self.jobs.saturating_add(1);
        self.with_call = self.with_call.saturating_add(u32::from(with_call));
    }

    /// In whole percent, rounded to the nearest; none where there are too few jobs.
    #[must_use]
    pub fn percent(self) -> Option<u32> {
        let (with_call, jobs) = (u64::from(self.with_call), u64::from(self.jobs));
        if self.jobs < LEAST_FOR_SHARE {
            return None;
        }
        let percent = (with_call * 200 + jobs).checked_div(jobs * 2)?;
        u32::try_from(percent).ok()
    }
}

impl Tally {
    /// Of all jobs; examples count only where they are wanted, jobs on which
    /// nothing was walked do not.
    #[must_use]
    pub fn of(jobs: impl IntoIterator<Item = JobTally>, with_invented: bool) -> Self {
        let mut tally = Self::default();
        let (mut steps, mut versions) = (BTreeMap::new(), BTreeMap::new());
        let mut named_anywhere = BTreeSet::new();
        for job in jobs {
            if job.invented && !with_invented {
                tally.invented = tally.invented.saturating_add(1);
                continue;
            }
            tally.calls = tally.calls.saturating_add(job.calls);
            tally.open = tally.open.saturating_add(job.open);
            if job.versions.is_empty() {
                continue;
            }
            let called = 0 < job.calls;
            tally.all.add(called);
            if job.deviates { &mut tally.deviating } else { &mut tally.as_written }.add(called);
            for (id, version) in job.versions {
                versions.entry((id, version)).or_insert_with(Count::default).add(called);
            }
            for (step, title) in job.steps {
                let is_named = job.named.contains(&step);
                let counted = steps.entry(step).or_insert_with(|| (title, Count::default()));
                counted.1.add(is_named);
            }
            named_anywhere.extend(job.named);
        }
        tally.by_version =
            versions.into_iter().map(|((id, version), count)| (id, version, count)).collect();
        let named = named_anywhere.into_iter().map(|step| {
            let (title, count) = steps.remove(&step).unwrap_or_default();
            (step, title, count)
        });
        tally.by_step = named.collect();
        tally.by_step.sort_by_key(|(_, _, count)| std::cmp::Reverse(count.with_call));
        tally
    }
}
