//! When the office works: days, hours, days off and times that are taken, and
//! where a date goes that falls outside. Knows no holidays by itself.

use std::collections::BTreeSet;

use jiff::civil::{Date, DateTime, Time, Weekday, time};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp, ToSpan};

use super::At;
use super::busy::BusyCalendar;

/// How many days after the planned one are tried.
pub const DAYS_TRIED: i64 = 14;
/// Dates begin at whole quarters of an hour after opening.
const STEP_MIN: i64 = 15;

/// The office's days and hours.
#[derive(Clone, Debug)]
pub struct Working {
    /// Days of the week, Monday first.
    pub days: [bool; 7],
    /// When a day begins.
    pub opens: Time,
    /// When a day ends.
    pub closes: Time,
    /// Days off.
    pub days_off: BTreeSet<Date>,
    /// Times that are taken.
    pub busy: BusyCalendar,
}

impl Default for Working {
    /// Monday to Friday, from nine to five, nothing off and nothing taken.
    fn default() -> Self {
        Self {
            days: [true, true, true, true, true, false, false],
            opens: time(9, 0, 0, 0),
            closes: time(17, 0, 0, 0),
            days_off: BTreeSet::new(),
            busy: BusyCalendar::default(),
        }
    }
}

/// A date that is not where the checklist puts it, or could not be put elsewhere.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Placed {
    /// Where the checklist puts it.
    pub planned: At,
    /// Why it is not there, or stays there all the same; a sentence without its
    /// full stop.
    pub why: String,
}

impl Working {
    /// Every day of the week.
    #[must_use]
    pub fn every_day() -> Self {
        Self { days: [true; 7], ..Self::default() }
    }

    /// Whether the office works on that day.
    #[must_use]
    pub fn works(&self, day: Date) -> bool {
        self.is_working_day(day.weekday()) && !self.days_off.contains(&day)
    }

    fn is_working_day(&self, day: Weekday) -> bool {
        let place = usize::try_from(day.to_monday_zero_offset()).ok();
        place.and_then(|place| self.days.get(place)).copied().unwrap_or(false)
    }

    /// Why a date cannot be held then; none where it can.
    #[must_use]
    pub fn hinders(&self, at: DateTime, lasts_min: u32, zone: &TimeZone) -> Option<String> {
        let day = at.date();
        if !self.is_working_day(day.weekday()) {
            return Some(format!("{} {day} is not a working day", day.strftime("%A")));
        }
        if self.days_off.contains(&day) {
            return Some(format!("{day} is a day off"));
        }
        let (start, end) = covers(at, lasts_min, zone)?;
        let free = self.busy.taken(start, end, zone).is_empty();
        let clock = at.strftime("%H:%M");
        (!free).then(|| format!("{day} {clock} is taken in the office's calendar"))
    }

    /// The first free time from the planned one on, at most [`DAYS_TRIED`] days
    /// later, and why it is another; the planned one where nothing is free.
    #[must_use]
    pub fn place(
        &self,
        planned: DateTime,
        lasts_min: u32,
        zone: &TimeZone,
    ) -> Option<(At, Option<Placed>)> {
        let at = |local: DateTime| {
            Some(At::new(local.to_zoned_datetime(zone.clone()).ok()?.timestamp(), zone))
        };
        let planned_at = at(planned)?;
        let Some(why) = self.hinders(planned, lasts_min, zone) else {
            return Some((planned_at, None));
        };
        for later in 0..=DAYS_TRIED {
            let Ok(day) = planned.date().checked_add(later.days()) else { break };
            let from = if later == 0 { planned.time() } else { self.opens };
            if let Some(free) = self.free_on(day, from, lasts_min, zone) {
                let why = format!("moved from {} {}: {why}", planned.date(), clock(planned));
                return Some((at(free)?, Some(Placed { planned: planned_at, why })));
            }
        }
        let why = format!("{why}, and nothing is free in the {DAYS_TRIED} days after it");
        Some((planned_at, Some(Placed { planned: planned_at, why })))
    }

    fn free_on(&self, day: Date, from: Time, lasts_min: u32, zone: &TimeZone) -> Option<DateTime> {
        if !self.works(day) {
            return None;
        }
        let closes = day.to_datetime(self.closes);
        let opens = day.to_datetime(self.opens);
        let mut at = opens;
        while at.date() == day && at < closes {
            // One that is longer than the day is held from opening on.
            let ends = at.checked_add(i64::from(lasts_min).minutes()).ok()?;
            let fits = at == opens || ends <= closes;
            if !fits {
                return None;
            }
            if from <= at.time() {
                let (start, end) = covers(at, lasts_min, zone)?;
                if self.busy.taken(start, end, zone).is_empty() {
                    return Some(at);
                }
            }
            at = at.checked_add(STEP_MIN.minutes()).ok()?;
        }
        None
    }
}

/// The instants a date covers; a moment takes a minute.
fn covers(at: DateTime, lasts_min: u32, zone: &TimeZone) -> Option<(Timestamp, Timestamp)> {
    let start = at.to_zoned_datetime(zone.clone()).ok()?.timestamp();
    let lasts = SignedDuration::from_mins(lasts_min.max(1).into());
    Some((start, start.checked_add(lasts).ok()?))
}

fn clock(at: DateTime) -> String {
    at.strftime("%H:%M").to_string()
}
