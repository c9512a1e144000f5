//! What the foreman reads: one day, all jobs, what needs attention first.

use jiff::civil::Date;

use super::attention::newer;
use super::{Attention, Checked, EarOpen, Entry, JobFile, Version};

/// One day of all jobs.
#[derive(Clone, Debug)]
pub struct Day {
    /// The day, by the clock of each address.
    pub date: Date,
    /// Jobs with entries on that day.
    pub jobs: Vec<DayJob>,
    /// Imported jobs of that day that cannot be read here, and why.
    pub unread: Vec<(String, String)>,
}

/// A job of which a day may hold entries.
#[derive(Clone, Debug)]
pub struct OfDay<'a> {
    /// The job with everything it pins.
    pub file: &'a JobFile,
    /// What needs attention on it.
    pub attention: Vec<Attention>,
    /// The name it was imported under; none where it is this device's own.
    pub imported_as: Option<&'a str>,
}

/// One job on one day.
#[derive(Clone, Debug)]
pub struct DayJob {
    /// Its number.
    pub number: String,
    /// The name under which the record of another device is read here; none for a
    /// job of this one.
    pub imported_as: Option<String>,
    /// Its address.
    pub address: String,
    /// Whether it is an example.
    pub invented: bool,
    /// What needs attention now.
    pub attention: Vec<Attention>,
    /// That day's entries, in order, each with the name of its step.
    pub entries: Vec<(Entry, Option<String>)>,
    /// When the ear was open on that day, in order.
    pub ears: Vec<EarOpen>,
    /// Hearing checks those rest on.
    pub checks: Vec<Checked>,
}

impl DayJob {
    /// The name under which the job is asked for.
    #[must_use]
    pub fn name(&self) -> &str {
        self.imported_as.as_ref().unwrap_or(&self.number)
    }
}

impl Day {
    /// The day log of these jobs, each with what needs attention on it; those without
    /// entries on that day are left out. `newest` tells the newest version of a checklist
    /// adopted here, which is nothing to a job of another device.
    #[must_use]
    pub fn of<'a>(
        date: Date,
        jobs: impl IntoIterator<Item = OfDay<'a>>,
        newest: impl Fn(&str) -> Option<Version>,
    ) -> Self {
        let mut days = Vec::new();
        for OfDay { file, mut attention, imported_as } in jobs {
            let that_day = file.entries.iter().filter(|entry| entry.draft.at.date() == date);
            let entries: Vec<_> = that_day
                .map(|entry| {
                    let walk = entry.draft.walk.as_ref();
                    let checklist = walk.and_then(|walk| file.checklist(&walk.checklist));
                    let step = entry.draft.what.step();
                    let title = checklist.zip(step).map(|(list, at)| list.title_of(at));
                    (entry.clone(), title)
                })
                .collect();
            if entries.is_empty() {
                continue;
            }
            for pin in file.job.pins.iter().filter(|_| imported_as.is_none()) {
                attention.extend(newest(&pin.id).and_then(|newest| newer(pin, newest)));
            }
            days.push(DayJob {
                number: file.job.number.clone(),
                imported_as: imported_as.map(str::to_owned),
                address: file.job.address.clone(),
                invented: file.job.invented,
                attention,
                ears: file.standing.ears_on(date),
                checks: file.checks(),
                entries,
            });
        }
        // Jobs that need attention come first.
        days.sort_by(|a, b| {
            let of = |day: &DayJob| (day.attention.is_empty(), day.name().to_owned());
            of(a).cmp(&of(b))
        });
        Self { date, jobs: days, unread: Vec::new() }
    }
}
