//! What somebody does with the dates of a job: moves one, cancels one, adds one.
//! For the commands and for the pages; gives out what is new first, as a date has
//! its number from then on, and writes the change itself nowhere.

use jiff::ToSpan as _;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;

use super::deeds::{Deed, refused};
use super::settings::Settings;
use super::{OfficeError, dates, give_out, zone};
use crate::domain::schedule::{self, CannotChange};
use crate::domain::{At, Draft, Due, Job, JobFile, NewDate, Standing, Working};
use crate::store::Store;

/// What is to become of a date. Dates are named by their number or identifier;
/// days are written as [`when`] reads them.
#[derive(Clone, Copy, Debug)]
pub enum Change<'a> {
    /// It is put elsewhere; nothing else moves.
    Move {
        /// The date.
        date: &'a str,
        /// The new day, with an hour or at the same hour.
        to: &'a str,
        /// Why.
        why: &'a str,
    },
    /// It is cancelled; calendars that have it are told so.
    Cancel {
        /// The date.
        date: &'a str,
        /// Why.
        why: &'a str,
    },
    /// One that no checklist has.
    Add {
        /// The day, with an hour or when the office opens.
        on: &'a str,
        /// How long it takes, in minutes.
        lasts_min: u32,
        /// What it is.
        title: &'a str,
        /// The role that looks after it.
        who: Option<&'a str>,
        /// Of a visit: the leak call, and the checklist to walk then.
        visit: Option<(u32, &'a str)>,
    },
}

/// A change that can be written.
#[derive(Clone, Debug)]
pub struct Changed {
    /// Its entry.
    pub draft: Draft,
    /// The date as it was before.
    pub was: Option<Due>,
    /// What is unusual about it, in sentences.
    pub unusual: Vec<String>,
}

impl From<CannotChange> for OfficeError {
    fn from(why: CannotChange) -> Self {
        Self::Refused(why.to_string())
    }
}

/// Makes the entry of a change, with what is new given out before it. What cannot
/// be is refused before anything is given out, where the date is named by its
/// identifier.
///
/// # Errors
/// There is no such date, it cannot be changed so, something is not said, or the
/// log cannot be written.
pub fn change(
    store: &mut Store,
    file: &mut JobFile,
    settings: &Settings,
    change: Change<'_>,
    deed: &Deed<'_>,
) -> Result<Changed, OfficeError> {
    let now = dates(file, settings, deed.at)?;
    let named = |due: &Due| match change {
        Change::Move { date, .. } | Change::Cancel { date, .. } => due.uid == date,
        Change::Add { .. } => true,
    };
    if now.iter().any(named) {
        made(file, &now, &settings.working, change, deed)?;
    }
    let due = give_out(store, file, settings, deed.at, deed.by)?;
    made(file, &due, &settings.working, change, deed)
}

fn made(
    file: &JobFile,
    all: &[Due],
    working: &Working,
    change: Change<'_>,
    deed: &Deed<'_>,
) -> Result<Changed, OfficeError> {
    let (job, zone, now, by) = (&file.job, zone(&file.job)?, deed.at, deed.by);
    let (draft, was, unusual) = match change {
        Change::Move { date, to, why } => {
            let due = named(job, all, date)?;
            let same = due.start.instant().to_zoned_datetime(zone.clone()).time();
            let to = when(to, same)?;
            let why = said("why", why)?;
            let draft = schedule::move_to(job, due, at(to, &zone)?, why, now, by)?;
            (draft, Some(due.clone()), odd_time(working, to, due.lasts_min, &zone, now))
        }
        Change::Cancel { date, why } => {
            let due = named(job, all, date)?;
            let draft = schedule::cancel(job, due, said("why", why)?, now, by)?;
            (draft, Some(due.clone()), Vec::new())
        }
        Change::Add { on, lasts_min, title, who, visit } => {
            let on = when(on, working.opens)?;
            let mut unusual = odd_time(working, on, lasts_min, &zone, now);
            unusual.extend(who.and_then(|role| nobody_is(job, role)));
            let (start, title) = (at(on, &zone)?, said("what it is", title)?);
            let new = NewDate { start, lasts_min, title, who, visit };
            (schedule::add(job, &file.standing, &new, now, by), None, unusual)
        }
    };
    let key = deed.key.clone().unwrap_or_else(|| draft.key.clone());
    Ok(Changed { draft: Draft { how: deed.how.clone(), key, ..draft }, was, unusual })
}

fn said<'a>(what: &str, words: &'a str) -> Result<&'a str, OfficeError> {
    match words.trim() {
        "" => refused(format!("say {what}")),
        words => Ok(words),
    }
}

/// The date of that number or identifier.
///
/// # Errors
/// The job has none of it.
pub fn named<'a>(job: &Job, all: &'a [Due], wanted: &str) -> Result<&'a Due, OfficeError> {
    let number = wanted.parse::<u32>().ok();
    let fits = |due: &&Due| due.uid == wanted || (number.is_some() && due.number == number);
    all.iter().find(fits).ok_or_else(|| {
        let job = &job.number;
        OfficeError::Refused(format!(
            "job {job} has no date `{wanted}`; see them with: chalkhand calendar {job}"
        ))
    })
}

/// A day, or a day and an hour, at the address.
///
/// # Errors
/// It is neither.
pub fn when(text: &str, hour: Time) -> Result<DateTime, OfficeError> {
    let day = text.parse::<Date>().ok().filter(|_| text.len() == 10);
    let hours = || text.parse::<DateTime>().ok().filter(|_| (16..=19).contains(&text.len()));
    day.map(|day| day.to_datetime(hour)).or_else(hours).ok_or_else(|| {
        OfficeError::Refused(format!(
            "`{text}` is no day; write 2026-12-03, or 2026-12-03T10:00 at the address"
        ))
    })
}

fn at(local: DateTime, zone: &TimeZone) -> Result<At, OfficeError> {
    let outside = |_| OfficeError::Refused("the day lies outside the calendar".to_owned());
    Ok(At::new(local.to_zoned_datetime(zone.clone()).map_err(outside)?.timestamp(), zone))
}

/// What is unusual about a time; nothing where the office works then.
fn odd_time(
    working: &Working,
    to: DateTime,
    lasts_min: u32,
    zone: &TimeZone,
    now: At,
) -> Vec<String> {
    let (day, clock) = (to.date(), to.strftime("%H:%M"));
    let is_past = to < zone.to_datetime(now.instant());
    let past = is_past.then(|| format!("{day} {clock} is past"));
    past.into_iter()
        .chain(outside_hours(working, to, lasts_min, zone))
        .map(|why| format!("{why}; it was put there all the same"))
        .collect()
}

/// Why the office does not work at a time; none where it does.
fn outside_hours(
    working: &Working,
    to: DateTime,
    lasts_min: u32,
    zone: &TimeZone,
) -> Option<String> {
    working.hinders(to, lasts_min, zone).or_else(|| {
        (!is_in_hours(working, to, lasts_min)).then(|| {
            format!(
                "{} {}, {lasts_min} minutes long, is outside the office's hours, {} to {}",
                to.date(),
                to.strftime("%H:%M"),
                working.opens.strftime("%H:%M"),
                working.closes.strftime("%H:%M")
            )
        })
    })
}

/// Whether it begins and ends in the office's hours; what is longer than a day
/// begins when the office opens.
fn is_in_hours(working: &Working, to: DateTime, lasts_min: u32) -> bool {
    let closes = to.date().to_datetime(working.closes);
    let ends = to.checked_add(i64::from(lasts_min).minutes());
    let fits = to.time() == working.opens || ends.is_ok_and(|ends| ends <= closes);
    working.opens <= to.time() && to < closes && fits
}

/// What is unusual about a date that stands because somebody put it there: the
/// time, or a role that nobody has. Nothing of one the checklist has put.
///
/// # Errors
/// The machine does not know the time zone.
pub fn unusual(
    job: &Job,
    standing: &Standing,
    working: &Working,
    due: &Due,
) -> Result<Vec<String>, OfficeError> {
    let is_added = standing.issued.get(&due.uid).is_some_and(|issued| issued.added.is_some());
    let mut all = Vec::new();
    if due.moved_because.is_some() || is_added {
        let zone = zone(job)?;
        let at = zone.to_datetime(due.start.instant());
        all.extend(outside_hours(working, at, due.lasts_min, &zone));
    }
    if is_added {
        all.extend(due.who.as_deref().and_then(|role| nobody_is(job, role)));
    }
    Ok(all)
}

/// What to say of a role that nobody has on the job.
fn nobody_is(job: &Job, role: &str) -> Option<String> {
    if job.people.iter().any(|person| person.role == role) {
        return None;
    }
    let mut roles: Vec<&str> = job.people.iter().map(|person| person.role.as_str()).collect();
    roles.sort_unstable();
    roles.dedup();
    let roles = if roles.is_empty() { "none".to_owned() } else { roles.join(", ") };
    Some(format!(
        "nobody on job {} is its {role}, so the date is in nobody's own calendar; roles there: \
         {roles}",
        job.number
    ))
}

/// The follow-ups that have no date yet, a line each, and why. Of a checklist
/// that was walked again only the newest walk counts: an older one that was left
/// open ends no more.
#[must_use]
pub fn undated(file: &JobFile) -> Vec<String> {
    let mut lines = Vec::new();
    for checklist in &file.checklists {
        let newest = file.standing.walks_of(&checklist.id).next_back();
        let why = match newest {
            Some((_, walk)) if walk.ended.is_some() => continue,
            Some((id, _)) => format!("the walk {id} has not ended"),
            None => format!("{} has not been walked", checklist.id),
        };
        lines.extend(checklist.follow_ups.iter().map(|one| format!("{}: {why}", one.title)));
    }
    lines
}
