//! Follow-up dates: computed from what stands, put on working days, given out
//! with a sequence that rises whenever a date changes. One that was given out
//! moves only when the work did, or when somebody moves it.

use std::collections::BTreeMap;

use jiff::Span;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::entry::{How, Key};
use super::working::{Placed, Working};
use super::{At, Checklist, Draft, FollowUp, Job, RepeatEnd, Standing, What};

/// Most dates of one follow-up.
pub const MOST_REPEATS: u32 = 120;

/// A follow-up that is due.
#[derive(Clone, Debug, PartialEq)]
pub struct Due {
    /// Stable identifier.
    pub uid: String,
    /// Its number on this job, from the day it was first given out on.
    pub number: Option<u32>,
    /// The local day and hour it begins.
    pub start: At,
    /// How long it takes, in minutes.
    pub lasts_min: u32,
    /// What it is.
    pub title: String,
    /// The checklist to walk then.
    pub checklist: Option<String>,
    /// The role that looks after it.
    pub who: Option<String>,
    /// Whether it stays on its day whatever the office does.
    pub fixed: bool,
    /// Where the checklist puts it, and why it is elsewhere.
    pub placed: Option<Placed>,
    /// Why somebody moved it.
    pub moved_because: Option<String>,
    /// Why somebody cancelled it; none where it stands.
    pub cancelled_because: Option<String>,
    /// RFC 5545 SEQUENCE.
    pub sequence: u32,
    /// When it was given out with this sequence (RFC 5545 DTSTAMP).
    pub issued: At,
}

/// A follow-up that was given out.
#[derive(Clone, Debug, PartialEq)]
pub struct Issued {
    /// Counted from 1 in the order first given out.
    pub number: u32,
    /// When it begins.
    pub start: At,
    /// What the calendar shows.
    pub title: String,
    /// RFC 5545 SEQUENCE.
    pub sequence: u32,
    /// When it was given out.
    pub at: At,
    /// Where the checklist put it, where it was put elsewhere.
    pub placed: Option<Placed>,
    /// Why somebody moved it.
    pub moved_because: Option<String>,
    /// Why somebody cancelled it.
    pub cancelled_because: Option<String>,
    /// Of one that no checklist has.
    pub added: Option<Added>,
}

/// What is known of a date that no checklist has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Added {
    /// How long it takes, in minutes.
    pub lasts_min: u32,
    /// The role that looks after it.
    pub who: Option<String>,
    /// The checklist to walk then.
    pub checklist: Option<String>,
    /// The leak call whose visit it is.
    pub callback: Option<u32>,
}

/// A date that no checklist has, to be added.
#[derive(Clone, Copy, Debug)]
pub struct NewDate<'a> {
    /// When it begins.
    pub start: At,
    /// How long it takes, in minutes.
    pub lasts_min: u32,
    /// What it is.
    pub title: &'a str,
    /// The role that looks after it.
    pub who: Option<&'a str>,
    /// Of a visit: the leak call, and the checklist to walk then.
    pub visit: Option<(u32, &'a str)>,
}

impl Issued {
    /// The day the checklist put it on.
    fn planned_day(&self) -> Date {
        self.placed.as_ref().map_or(self.start, |placed| placed.planned).date()
    }
}

/// Follow-ups of every walk of the job that has ended, on the office's working
/// days at the address, and those that were added. `now` dates those that are
/// new or changed.
#[must_use]
pub fn due(
    job: &Job,
    checklists: &[&Checklist],
    standing: &Standing,
    zone: &TimeZone,
    now: At,
    working: &Working,
) -> Vec<Due> {
    let mut all = Vec::new();
    for checklist in checklists {
        for (id, walk) in standing.walks_of(&checklist.id) {
            let Some(ended) = walk.ended else { continue };
            let day = ended.instant().to_zoned_datetime(zone.clone()).date();
            for follow_up in &checklist.follow_ups {
                let days = follow_up.days(day);
                let of = days.len();
                for (at, day) in days.into_iter().enumerate() {
                    let nth = if at == 0 { String::new() } else { format!(".{}", at + 1) };
                    let uid = format!("{}.{id}.{}{nth}@chalkhand", job.number, follow_up.id);
                    let title = match of {
                        1 => follow_up.title.clone(),
                        _ => format!("{} ({} of {of})", follow_up.title, at + 1),
                    };
                    all.extend(one(uid, title, follow_up, day, standing, zone, now, working));
                }
            }
        }
    }
    all.extend(standing.issued.iter().filter_map(|(uid, issued)| {
        let Added { lasts_min, who, checklist, .. } = issued.added.clone()?;
        Some(Due {
            uid: uid.clone(),
            number: Some(issued.number),
            start: issued.start,
            lasts_min,
            title: issued.title.clone(),
            checklist,
            who,
            fixed: false,
            placed: None,
            moved_because: issued.moved_because.clone(),
            cancelled_because: issued.cancelled_because.clone(),
            sequence: issued.sequence,
            issued: issued.at,
        })
    }));
    all.sort_by(|a, b| (a.start.ms(), &a.uid).cmp(&(b.start.ms(), &b.uid)));
    all
}

/// One date. None past the calendar's end: nobody can keep it.
#[expect(clippy::too_many_arguments, reason = "one call, one loop")]
fn one(
    uid: String,
    title: String,
    follow_up: &FollowUp,
    day: Date,
    standing: &Standing,
    zone: &TimeZone,
    now: At,
    working: &Working,
) -> Option<Due> {
    let issued = standing.issued.get(&uid);
    // What was given out stays where it is, whatever the office's calendar says
    // by now, unless the work ended on another day.
    let keeps = issued.filter(|issued| {
        issued.moved_because.is_some()
            || issued.cancelled_because.is_some()
            || issued.planned_day() == day
    });
    let planned = day.to_datetime(working.opens);
    let (start, placed) = match keeps {
        Some(issued) => (issued.start, issued.placed.clone()),
        None if follow_up.fixed => {
            (At::new(planned.to_zoned_datetime(zone.clone()).ok()?.timestamp(), zone), None)
        }
        None => working.place(planned, follow_up.lasts_min, zone)?,
    };
    let cancelled_because = issued.and_then(|issued| issued.cancelled_because.clone());
    let same = issued.filter(|issued| {
        cancelled_because.is_some()
            || (issued.start == start && issued.title == title && issued.placed == placed)
    });
    Some(Due {
        uid,
        number: issued.map(|issued| issued.number),
        start,
        lasts_min: follow_up.lasts_min,
        title,
        checklist: follow_up.checklist.clone(),
        who: follow_up.who.clone(),
        fixed: follow_up.fixed,
        placed,
        moved_because: issued.and_then(|issued| issued.moved_because.clone()),
        cancelled_because,
        sequence: match (same, issued) {
            (Some(same), _) => same.sequence,
            (None, Some(before)) => before.sequence.saturating_add(1),
            (None, None) => 0,
        },
        issued: same.map_or(now, |same| same.at),
    })
}

impl FollowUp {
    /// The days it falls on when the walk ended on that day, in order. Each is
    /// counted from the same day, so that a month's end stays one: the last of
    /// January, of February, the 31st of March. Days past the calendar's end
    /// are left out.
    #[must_use]
    pub fn days(&self, ended: Date) -> Vec<Date> {
        let Some(first) = ended.checked_add(self.after).ok() else { return Vec::new() };
        let Some(repeat) = &self.repeats else { return vec![first] };
        let (times, last) = match repeat.ends {
            RepeatEnd::Times(times) => (times.min(MOST_REPEATS), None),
            RepeatEnd::Until(until) => (MOST_REPEATS, ended.checked_add(until).ok()),
        };
        // Months are counted from the day of the work; after whole days or weeks
        // they are counted from the first date.
        let whole_months = self.after.get_days() == 0 && self.after.get_weeks() == 0;
        let from = if whole_months { ended } else { first };
        let mut days = Vec::new();
        for nth in 0..times {
            let times = i64::from(nth);
            let span =
                repeat.every.checked_mul(times).ok().and_then(|span| {
                    if whole_months { plus(self.after, span) } else { Some(span) }
                });
            let Some(day) = span.and_then(|span| from.checked_add(span).ok()) else { break };
            if last.is_some_and(|last| last < day) {
                break;
            }
            days.push(day);
        }
        days
    }
}

/// Field by field, so that months stay months.
fn plus(a: Span, b: Span) -> Option<Span> {
    let years = i64::from(a.get_years()).checked_add(b.get_years().into())?;
    let months = i64::from(a.get_months()).checked_add(b.get_months().into())?;
    let weeks = i64::from(a.get_weeks()).checked_add(b.get_weeks().into())?;
    let days = i64::from(a.get_days()).checked_add(b.get_days().into())?;
    let span = Span::new().try_years(years).ok()?.try_months(months).ok()?;
    span.try_weeks(weeks).ok()?.try_days(days).ok()
}

fn draft(job: &Job, now: At, by: &str, what: What, key: String) -> Draft {
    Draft {
        job: job.number.clone(),
        walk: None,
        at: now,
        by: by.to_owned(),
        how: How::Command,
        confirmed: Vec::new(),
        what,
        corrects: None,
        key: Key(key),
    }
}

/// The entries that give out what is new or changed.
#[must_use]
pub fn issue(job: &Job, due: &[Due], standing: &Standing, now: At, by: &str) -> Vec<Draft> {
    let changed = due.iter().filter(|due| {
        standing.issued.get(&due.uid).is_none_or(|issued| issued.sequence != due.sequence)
    });
    changed
        .map(|due| {
            let what = What::FollowUpIssued {
                uid: due.uid.clone(),
                start: due.start,
                title: due.title.clone(),
                sequence: due.sequence,
                placed: due.placed.clone(),
            };
            draft(job, now, by, what, format!("issue/{}/{}", due.uid, due.sequence))
        })
        .collect()
}

/// Why a date cannot be changed as somebody wants.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CannotChange {
    /// It is cancelled.
    #[error("`{0}` is cancelled; give a new date with: chalkhand calendar add")]
    Cancelled(String),
    /// It is the end of a time that is set by others.
    #[error(
        "`{0}` is the end of a time set by law or by a warranty and stays on its day; add a date \
         before it with: chalkhand calendar add"
    )]
    Fixed(String),
    /// It is there already.
    #[error("`{0}` is on that day and hour already")]
    Same(String),
}

/// The entry that moves a date that was given out.
///
/// # Errors
/// It is cancelled, fixed, or there already.
pub fn move_to(
    job: &Job,
    due: &Due,
    to: At,
    why: &str,
    now: At,
    by: &str,
) -> Result<Draft, CannotChange> {
    if due.cancelled_because.is_some() {
        return Err(CannotChange::Cancelled(due.title.clone()));
    }
    if due.fixed {
        return Err(CannotChange::Fixed(due.title.clone()));
    }
    if due.start.instant() == to.instant() {
        return Err(CannotChange::Same(due.title.clone()));
    }
    let sequence = due.sequence.saturating_add(1);
    let (uid, reason) = (due.uid.clone(), why.to_owned());
    let key = format!("move/{uid}/{sequence}");
    Ok(draft(job, now, by, What::FollowUpMoved { uid, start: to, reason, sequence }, key))
}

/// The entry that cancels a date that was given out.
///
/// # Errors
/// It is cancelled already.
pub fn cancel(job: &Job, due: &Due, why: &str, now: At, by: &str) -> Result<Draft, CannotChange> {
    if due.cancelled_because.is_some() {
        return Err(CannotChange::Cancelled(due.title.clone()));
    }
    let sequence = due.sequence.saturating_add(1);
    let (uid, reason) = (due.uid.clone(), why.to_owned());
    let key = format!("cancel/{uid}/{sequence}");
    Ok(draft(job, now, by, What::FollowUpCancelled { uid, reason, sequence }, key))
}

/// The entry that adds a date no checklist has.
#[must_use]
pub fn add(job: &Job, standing: &Standing, new: &NewDate<'_>, now: At, by: &str) -> Draft {
    let uid = format!("{}.added-{}@chalkhand", job.number, standing.issued.len().saturating_add(1));
    let key = format!("add/{uid}");
    let what = What::FollowUpAdded {
        uid,
        start: new.start,
        lasts_min: new.lasts_min,
        title: new.title.to_owned(),
        who: new.who.map(str::to_owned),
        checklist: new.visit.map(|(_, checklist)| checklist.to_owned()),
        callback: new.visit.map(|(callback, _)| callback),
    };
    draft(job, now, by, what, key)
}

/// Folds an entry into what was given out.
pub(super) fn fold(all: &mut BTreeMap<String, Issued>, entry: &Draft) {
    let number = u32::try_from(all.len()).map_or(u32::MAX, |many| many.saturating_add(1));
    match &entry.what {
        What::FollowUpIssued { uid, start, title, sequence, placed } => {
            let before = all.remove(uid);
            let issued = Issued {
                number: before.as_ref().map_or(number, |before| before.number),
                start: *start,
                title: title.clone(),
                sequence: *sequence,
                at: entry.at,
                placed: placed.clone(),
                moved_because: before.as_ref().and_then(|before| before.moved_because.clone()),
                cancelled_because: None,
                added: before.and_then(|before| before.added),
            };
            all.insert(uid.clone(), issued);
        }
        What::FollowUpAdded { uid, start, lasts_min, title, who, checklist, callback } => {
            all.entry(uid.clone()).or_insert_with(|| Issued {
                number,
                start: *start,
                title: title.clone(),
                sequence: 0,
                at: entry.at,
                placed: None,
                moved_because: None,
                cancelled_because: None,
                added: Some(Added {
                    lasts_min: *lasts_min,
                    who: who.clone(),
                    checklist: checklist.clone(),
                    callback: *callback,
                }),
            });
        }
        What::FollowUpMoved { uid, start, reason, sequence } => {
            if let Some(issued) = all.get_mut(uid) {
                issued.start = *start;
                issued.sequence = *sequence;
                issued.at = entry.at;
                issued.placed = None;
                issued.moved_because = Some(reason.clone());
            }
        }
        What::FollowUpCancelled { uid, reason, sequence } => {
            if let Some(issued) = all.get_mut(uid) {
                issued.sequence = *sequence;
                issued.at = entry.at;
                issued.cancelled_because = Some(reason.clone());
            }
        }
        _ => {}
    }
}
