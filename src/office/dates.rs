//! What somebody does with the dates of a job: moves one, cancels one, adds one.
//! For the commands and for the pages; gives out what is new first, as a date has
//! its number from then on, and writes the change itself nowhere.

use jiff::ToSpan as _;
use jiff::civil::{Date, DateTime, Time};
use jiff::tz::TimeZone;

use super::deeds::{Deed, refused};
use super::settings::Settings;
use super::{Needed, OfficeError, Why, dates, give_out, zone};
use crate::domain::schedule::{self, CannotChange};
use crate::domain::{At, Draft, Due, Job, JobFile, NewDate, Standing, WalkId, Working};
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
        Self::Refused(why.into())
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
            let why = said(Needed::DateWhy, why)?;
            let draft = schedule::move_to(job, due, at(to, &zone)?, why, now, by)?;
            (draft, Some(due.clone()), odd_time(working, to, due.lasts_min, &zone, now))
        }
        Change::Cancel { date, why } => {
            let due = named(job, all, date)?;
            let draft = schedule::cancel(job, due, said(Needed::DateWhy, why)?, now, by)?;
            (draft, Some(due.clone()), Vec::new())
        }
        Change::Add { on, lasts_min, title, who, visit } => {
            let on = when(on, working.opens)?;
            let mut unusual = odd_time(working, on, lasts_min, &zone, now);
            unusual.extend(who.and_then(|role| nobody_is(job, role)).map(|odd| odd.to_string()));
            let (start, title) = (at(on, &zone)?, said(Needed::DateTitle, title)?);
            let new = NewDate { start, lasts_min, title, who, visit };
            (schedule::add(job, &file.standing, &new, now, by), None, unusual)
        }
    };
    let key = deed.key.clone().unwrap_or_else(|| draft.key.clone());
    Ok(Changed { draft: Draft { how: deed.how.clone(), key, ..draft }, was, unusual })
}

fn said(what: Needed, words: &str) -> Result<&str, OfficeError> {
    match words.trim() {
        "" => refused(Why::NotSaid(what)),
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
    all.iter()
        .find(fits)
        .ok_or_else(|| Why::NoDate { job: job.number.clone(), date: wanted.to_owned() }.into())
}

/// A day, or a day and an hour, at the address.
///
/// # Errors
/// It is neither.
pub fn when(text: &str, hour: Time) -> Result<DateTime, OfficeError> {
    let day = text.parse::<Date>().ok().filter(|_| text.len() == 10);
    let hours = || text.parse::<DateTime>().ok().filter(|_| (16..=19).contains(&text.len()));
    let day = day.map(|day| day.to_datetime(hour)).or_else(hours);
    day.ok_or_else(|| Why::NoDay(text.to_owned()).into())
}

fn at(local: DateTime, zone: &TimeZone) -> Result<At, OfficeError> {
    let outside = |_| Why::OutsideCalendar;
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
        .chain(outside_hours(working, to, lasts_min, zone).map(|odd| odd.to_string()))
        .map(|why| format!("{why}; it was put there all the same"))
        .collect()
}

/// What is unusual about a date that somebody put where it is; a sentence without
/// its full stop.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unusual {
    /// The office does not work then, as `Working::hinders` says it.
    #[error("{0}")]
    Hindered(String),
    /// It is not within the office's hours.
    #[error(
        "{} {}, {lasts_min} minutes long, is outside the office's hours, {} to {}",
        .at.date(),
        .at.strftime("%H:%M"),
        .opens.strftime("%H:%M"),
        .closes.strftime("%H:%M")
    )]
    OutsideHours {
        /// When it begins, at the address.
        at: DateTime,
        /// How long it takes, in minutes.
        lasts_min: u32,
        /// When the office opens.
        opens: Time,
        /// When it closes.
        closes: Time,
    },
    /// Nobody has its role on the job.
    #[error(
        "nobody on job {job} is its {role}, so the date is in nobody's own calendar; roles there: \
         {}",
        if .roles.is_empty() { "none".to_owned() } else { .roles.join(", ") }
    )]
    NobodyIs {
        /// The job's number.
        job: String,
        /// The role.
        role: String,
        /// The roles that somebody has.
        roles: Vec<String>,
    },
}

/// Why the office does not work at a time; none where it does.
fn outside_hours(
    working: &Working,
    at: DateTime,
    lasts_min: u32,
    zone: &TimeZone,
) -> Option<Unusual> {
    working.hinders(at, lasts_min, zone).map(Unusual::Hindered).or_else(|| {
        let (opens, closes) = (working.opens, working.closes);
        (!is_in_hours(working, at, lasts_min)).then_some(Unusual::OutsideHours {
            at,
            lasts_min,
            opens,
            closes,
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
) -> Result<Vec<Unusual>, OfficeError> {
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
fn nobody_is(job: &Job, role: &str) -> Option<Unusual> {
    if job.people.iter().any(|person| person.role == role) {
        return None;
    }
    let mut roles: Vec<String> = job.people.iter().map(|person| person.role.clone()).collect();
    roles.sort_unstable();
    roles.dedup();
    Some(Unusual::NobodyIs { job: job.number.clone(), role: role.to_owned(), roles })
}

/// A follow-up that has no date yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Undated<'a> {
    /// What it is.
    pub title: &'a str,
    /// Its checklist.
    pub checklist: &'a str,
    /// The walk that has not ended; none where none was begun.
    pub open: Option<&'a WalkId>,
}

impl std::fmt::Display for Undated<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { title, checklist, open } = self;
        match open {
            Some(walk) => write!(f, "{title}: the walk {walk} has not ended"),
            None => write!(f, "{title}: {checklist} has not been walked"),
        }
    }
}

/// The follow-ups that have no date yet, and why. Of a checklist that was walked
/// again only the newest walk counts: an older one that was left open ends no more.
#[must_use]
pub fn undated(file: &JobFile) -> Vec<Undated<'_>> {
    let mut all = Vec::new();
    for checklist in &file.checklists {
        let newest = file.standing.walks_of(&checklist.id).next_back();
        if newest.is_some_and(|(_, walk)| walk.ended.is_some()) {
            continue;
        }
        let (open, checklist_id) = (newest.map(|(id, _)| id), checklist.id.as_str());
        all.extend(checklist.follow_ups.iter().map(|one| Undated {
            title: &one.title,
            checklist: checklist_id,
            open,
        }));
    }
    all
}
