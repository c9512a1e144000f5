//! The dates of all jobs: computed, given out in the log, gathered for a
//! person or a feed.

use std::collections::BTreeSet;

use jiff::tz::TimeZone;

use crate::config::Config;
use crate::domain::{At, Due, Job, JobFile, schedule};
use crate::export::calendar::{self, Dates, For};
use crate::measure::Functions;
use crate::store::Store;

use super::feeds::Feed;
use super::settings::{Settings, read_settings};
use super::{OfficeError, job, zone};

/// A job with its dates.
#[derive(Clone, Debug)]
pub struct JobDates {
    /// The job.
    pub job: Job,
    /// The time zone of its address.
    pub zone: TimeZone,
    /// Its dates, in order.
    pub due: Vec<Due>,
}

impl JobDates {
    /// As exports take it.
    #[must_use]
    pub fn as_dates(&self) -> Dates<'_> {
        Dates { job: &self.job, zone: &self.zone, due: &self.due }
    }
}

/// The job's dates as they stand; nothing is given out.
///
/// # Errors
/// The machine does not know the time zone.
pub fn dates(file: &JobFile, settings: &Settings, now: At) -> Result<Vec<Due>, OfficeError> {
    let checklists: Vec<_> = file.checklists.iter().map(AsRef::as_ref).collect();
    let (zone, working) = (zone(&file.job)?, &settings.working);
    Ok(schedule::due(&file.job, &checklists, &file.standing, &zone, now, working))
}

/// Gives out what is new or changed and says so in the log; the dates as they
/// then stand, each with its number.
///
/// # Errors
/// The log cannot be written.
pub fn give_out(
    store: &mut Store,
    file: &mut JobFile,
    settings: &Settings,
    now: At,
    by: &str,
) -> Result<Vec<Due>, OfficeError> {
    let due = dates(file, settings, now)?;
    let drafts = schedule::issue(&file.job, &due, &file.standing, now, by);
    if drafts.is_empty() {
        return Ok(due);
    }
    for draft in drafts {
        store.append(&draft, None)?;
    }
    // Others may have written meanwhile: what is in the log stands.
    for entry in store.entries(&file.job.number, file.standing.last_seq)? {
        file.standing.apply(&entry);
        file.entries.push(entry);
    }
    dates(file, settings, now)
}

/// The dates a person looks after: those of a role that this person has on
/// the job.
#[must_use]
pub fn of_person(job: &Job, due: Vec<Due>, name: &str) -> Vec<Due> {
    let theirs = |due: &Due| due.who.as_ref().is_some_and(|role| job.holds(name, role));
    due.into_iter().filter(theirs).collect()
}

/// What a person is given of all jobs.
#[derive(Clone, Debug, Default)]
pub struct OfPerson {
    /// The jobs with dates of this person.
    pub all: Vec<JobDates>,
    /// Jobs this person is on without a date, each with the roles there.
    pub without: Vec<String>,
    /// Dates of all these jobs that are for no role.
    pub for_nobody: usize,
}

/// Gives out what is new on every job a person is on; the dates of this person.
///
/// # Errors
/// Where the log, a setting or a job is at fault.
pub fn of_person_on_all_jobs(
    (store, functions): (&mut Store, &Functions),
    settings: &Settings,
    person: &str,
    now: impl Fn(&TimeZone) -> At,
    by: &str,
) -> Result<OfPerson, OfficeError> {
    let mut found = OfPerson::default();
    for number in store.own_jobs()? {
        let mut file = job(store, functions, &number)?;
        if file.job.people.iter().all(|known| known.name != person) {
            continue;
        }
        let zone = zone(&file.job)?;
        let due = give_out(store, &mut file, settings, now(&zone), by)?;
        found.for_nobody += due.iter().filter(|due| due.who.is_none()).count();
        let due = of_person(&file.job, due, person);
        if due.is_empty() {
            let known = file.job.people.iter().filter(|known| known.name == person);
            let roles: Vec<&str> = known.map(|known| known.role.as_str()).collect();
            found.without.push(format!("{number} ({})", roles.join(", ")));
        } else {
            found.all.push(JobDates { zone, job: file.job, due });
        }
    }
    Ok(found)
}

/// Whether a job names that person. A name that cannot stand in a line is
/// nobody's.
///
/// # Errors
/// The log cannot be read.
pub fn is_on_a_job(store: &Store, name: &str) -> Result<bool, OfficeError> {
    Ok(!name.chars().any(char::is_control) && people_on_jobs(store)?.contains(name))
}

/// Everybody whom a job names.
///
/// # Errors
/// The log cannot be read.
pub fn people_on_jobs(store: &Store) -> Result<BTreeSet<String>, OfficeError> {
    let mut names = BTreeSet::new();
    for number in store.own_jobs()? {
        let job = store.job(&number)?;
        names.extend(job.into_iter().flat_map(|job| job.people).map(|person| person.name));
    }
    Ok(names)
}

/// A feed as text: what is new is given out first, by the program.
///
/// # Errors
/// Where the log, a setting or a date is at fault.
pub fn feed(
    config: &Config,
    functions: &Functions,
    feed: &Feed,
    now: impl Fn(&TimeZone) -> At,
) -> Result<String, OfficeError> {
    let settings = read_settings(config)?;
    for remark in &settings.remarks {
        tracing::warn!(remark, "not understood in the office's calendar");
    }
    let mut store = Store::open(&config.log())?;
    let mut all = Vec::new();
    for number in store.own_jobs()? {
        let mut file = job(&store, functions, &number)?;
        let zone = zone(&file.job)?;
        let now = now(&zone);
        let due = give_out(&mut store, &mut file, &settings, now, "chalkhand")?;
        let due = match &feed.person {
            Some(person) => of_person(&file.job, due, person),
            None => due,
        };
        if !due.is_empty() {
            all.push(JobDates { job: file.job, zone, due });
        }
    }
    let dates: Vec<Dates<'_>> = all.iter().map(JobDates::as_dates).collect();
    let name = match &feed.person {
        Some(person) => format!("Follow-ups of {person}"),
        None => "Follow-ups".to_owned(),
    };
    Ok(calendar::calendar(&dates, For::Feed(&name))?)
}
