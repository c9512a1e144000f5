//! Times that are taken, as the office's own calendar file says them: events,
//! some repeated, and which instants they cover. Reading the file is the
//! business of `files`.

use jiff::civil::{Date, DateTime, Weekday};
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp, ToSpan, ZonedDateTime};

/// Most periods of a rule that are looked through at once: two centuries of days.
const MOST_PERIODS: usize = 80_000;

/// A moment as a calendar file writes it.
#[derive(Clone, Debug, PartialEq)]
pub enum Moment {
    /// A whole day.
    Day(Date),
    /// A local time without a zone: that of the place asked about.
    Local(DateTime),
    /// A local time in a zone; UTC is one.
    Zoned(DateTime, TimeZone),
}

impl Moment {
    /// The local date and time; midnight of a day.
    #[must_use]
    pub fn local(&self) -> DateTime {
        match self {
            Self::Day(day) => day.to_datetime(jiff::civil::Time::midnight()),
            Self::Local(local) | Self::Zoned(local, _) => *local,
        }
    }

    /// The zone it is read in.
    fn zone<'a>(&'a self, place: &'a TimeZone) -> &'a TimeZone {
        match self {
            Self::Zoned(_, zone) => zone,
            _ => place,
        }
    }

    /// The same kind of moment at another local time; a time that a change of
    /// the clock skips is taken by the offset before it (RFC 5545 section
    /// 3.3.5), one that comes twice is the first.
    fn at(&self, local: DateTime, place: &TimeZone) -> Option<ZonedDateTime> {
        local.to_zoned_datetime(self.zone(place).clone()).ok()
    }
}

/// How an event comes back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Every {
    /// After so many days.
    Day,
    /// On these days of the week, Monday first; weeks begin on that day.
    Week([bool; 7], Weekday),
    /// On the same day of the month, where there is one.
    Month,
    /// On the same day of the year, where there is one.
    Year,
}

/// When it stops coming back.
#[derive(Clone, Debug, PartialEq)]
pub enum Ends {
    /// It does not.
    Never,
    /// After so many times, the first one counted.
    Count(u32),
    /// Not after this moment.
    Until(Moment),
}

/// A rule of repetition.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// The period.
    pub every: Every,
    /// Every how many periods, at least 1.
    pub interval: u32,
    /// When it stops.
    pub ends: Ends,
}

/// One event that takes time.
#[derive(Clone, Debug)]
pub struct BusyEvent {
    /// The first start.
    pub start: Moment,
    /// How long, days by the calendar and hours by the clock.
    pub lasts: Span,
    /// How it comes back.
    pub rule: Option<Rule>,
    /// Starts that are left out.
    pub except: Vec<Moment>,
}

/// All that takes time.
#[derive(Clone, Debug, Default)]
pub struct BusyCalendar {
    /// The events.
    pub events: Vec<BusyEvent>,
}

impl BusyCalendar {
    /// What is taken between two instants, each from and to, in no order. Days
    /// and times without a zone are those of `place`.
    #[must_use]
    pub fn taken(
        &self,
        from: Timestamp,
        to: Timestamp,
        place: &TimeZone,
    ) -> Vec<(Timestamp, Timestamp)> {
        let mut taken = Vec::new();
        for event in &self.events {
            event.visit(from, to, place, |start| {
                let end = start.checked_add(event.lasts);
                let end = end.map_or(Timestamp::MAX, |end| end.timestamp());
                let start = start.timestamp();
                if start < to && from < end {
                    taken.push((start, end));
                }
            });
        }
        taken
    }
}

impl BusyEvent {
    /// Starts before that instant, in order, at least those that still last at
    /// the other.
    fn visit(
        &self,
        still: Timestamp,
        before: Timestamp,
        place: &TimeZone,
        mut found: impl FnMut(ZonedDateTime),
    ) {
        let first = self.start.local();
        let mut counted = 0_u32;
        // Whether to go on after this local start.
        let mut start = |local: DateTime| -> bool {
            let Some(zoned) = self.start.at(local, place) else { return false };
            if before <= zoned.timestamp() {
                return false;
            }
            match self.rule.as_ref().map(|rule| &rule.ends) {
                Some(Ends::Count(count)) if *count <= counted => return false,
                Some(Ends::Until(until)) if !within(&zoned, local, until) => return false,
                _ => counted = counted.saturating_add(1),
            }
            if !self.leaves_out(&zoned, local, place) {
                found(zoned);
            }
            true
        };
        let Some(rule) = &self.rule else {
            start(first);
            return;
        };
        // What is counted is counted from the start.
        let skipped = match rule.ends {
            Ends::Count(_) => 0,
            _ => self.periods_before(rule, still, place).unwrap_or(0),
        };
        for period in (skipped..).take(MOST_PERIODS) {
            let steps = period.saturating_mul(rule.interval.into());
            let Some(days) = rule.every.days(first.date(), steps) else { return };
            for day in days {
                if first.date() <= day && !start(day.to_datetime(first.time())) {
                    return;
                }
            }
        }
    }

    /// So many periods are over, with all that began in them, at that instant.
    fn periods_before(&self, rule: &Rule, still: Timestamp, place: &TimeZone) -> Option<i64> {
        let first = self.start.local();
        let start = self.start.at(first, place)?;
        let lasts = start.checked_add(self.lasts).ok()?.date();
        let lasts = i64::from(first.date().until(lasts).ok()?.get_days());
        let zone = self.start.zone(place);
        // A day for the change of zones and one for that of the clock.
        let day =
            zone.to_datetime(still).date().checked_sub(lasts.saturating_add(2).days()).ok()?;
        let units = rule.every.units(first.date(), day)?;
        Some((units / i64::from(rule.interval).max(1)).saturating_sub(1).max(0))
    }

    fn leaves_out(&self, zoned: &ZonedDateTime, local: DateTime, place: &TimeZone) -> bool {
        self.except.iter().any(|except| match except {
            Moment::Day(day) => local.date() == *day,
            other => other
                .at(other.local(), place)
                .is_some_and(|except| except.timestamp() == zoned.timestamp()),
        })
    }
}

/// Whether a start is not after the last moment of a rule.
fn within(zoned: &ZonedDateTime, local: DateTime, until: &Moment) -> bool {
    match until {
        Moment::Day(day) => local.date() <= *day,
        Moment::Local(last) => local <= *last,
        Moment::Zoned(last, zone) => last
            .to_zoned_datetime(zone.clone())
            .is_ok_and(|last| zoned.timestamp() <= last.timestamp()),
    }
}

impl Every {
    /// Whole days, weeks, months or years from one day to another.
    fn units(self, from: Date, to: Date) -> Option<i64> {
        let days = || from.until(to).map(|span| i64::from(span.get_days())).ok();
        let years = i64::from(to.year()) - i64::from(from.year());
        Some(match self {
            Self::Day => days()?,
            Self::Week(..) => days()? / 7,
            Self::Month => years * 12 + i64::from(to.month()) - i64::from(from.month()),
            Self::Year => years,
        })
    }

    /// The days of a period, in order; none past the calendar's end. A month or
    /// year without that day has none (RFC 5545 section 3.3.10).
    fn days(self, first: Date, steps: i64) -> Option<Vec<Date>> {
        let add = |date: Date, span: Result<Span, jiff::Error>| date.checked_add(span.ok()?).ok();
        match self {
            Self::Day => Some(vec![add(first, Span::new().try_days(steps))?]),
            Self::Week(on, begins) => {
                let back = first.weekday().since(begins);
                let week = first.checked_sub(i64::from(back).days()).ok()?;
                let week = add(week, Span::new().try_weeks(steps))?;
                let days = (0..7_i64).filter_map(|day| week.checked_add(day.days()).ok());
                let wanted = |day: &Date| {
                    let place = usize::try_from(day.weekday().to_monday_zero_offset());
                    place.ok().and_then(|place| on.get(place)).copied().unwrap_or(false)
                };
                Some(days.filter(wanted).collect())
            }
            Self::Month => {
                let month = add(first.first_of_month(), Span::new().try_months(steps))?;
                Some(month.with().day(first.day()).build().into_iter().collect())
            }
            Self::Year => {
                let month = add(first.first_of_month(), Span::new().try_years(steps))?;
                Some(month.with().day(first.day()).build().into_iter().collect())
            }
        }
    }
}
