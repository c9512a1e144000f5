//! What the foreman reads: one day, all jobs, what needs attention first.

use jiff::civil::Date;

use super::{Attention, Checked, EarOpen, Entry, JobFile, Version, attention};

/// One day of all jobs.
#[derive(Clone, Debug)]
pub struct Day {
    /// The day, by the clock of each address.
    pub date: Date,
    /// Jobs with entries on that day.
    pub jobs: Vec<DayJob>,
}

/// One job on one day.
#[derive(Clone, Debug)]
pub struct DayJob {
    /// Its number.
    pub number: String,
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

impl Day {
    /// The day log of these jobs, each with what needs attention on it; those without
    /// entries on that day are left out. `newest` tells the newest adopted version of a
    /// checklist.
    #[must_use]
    pub fn of<'a>(
        date: Date,
        jobs: impl IntoIterator<Item = (&'a JobFile, Vec<Attention>)>,
        newest: impl Fn(&str) -> Option<Version>,
    ) -> Self {
        let mut days = Vec::new();
        for (file, mut needs) in jobs {
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
            for pin in &file.job.pins {
                needs.extend(newest(&pin.id).and_then(|newest| attention::newer(pin, newest)));
            }
            days.push(DayJob {
                number: file.job.number.clone(),
                address: file.job.address.clone(),
                invented: file.job.invented,
                attention: needs,
                ears: file.standing.ears_on(date),
                checks: file.checks(),
                entries,
            });
        }
        // Jobs that need attention come first.
        days.sort_by(|a, b| {
            (a.attention.is_empty(), &a.number).cmp(&(b.attention.is_empty(), &b.number))
        });
        Self { date, jobs: days }
    }
}
