//! The office's calendar file (RFC 5545) to the times it takes. Lines are
//! unfolded here and parsed by `ical`, which loses spaces at folds when it
//! unfolds itself. What is not understood is left out and said, never guessed.

use std::collections::BTreeMap;

use ical::PropertyParser;
use ical::property::Property;
use jiff::civil::{DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{Span, ToSpan};

use crate::domain::busy::{BusyCalendar, BusyEvent, Moment};

use super::node::clip;
use super::recurrence;

/// Largest file that is read, in bytes.
const MOST_BYTES: usize = 16 << 20;
/// Longest line after unfolding, in bytes; longer ones are left out.
const LONGEST_LINE: usize = 64 << 10;
/// Most events.
const MOST_EVENTS: usize = 50_000;
/// Most starts that one event leaves out.
const MOST_EXCEPTIONS: usize = 5_000;
/// Most remarks that are kept.
const MOST_REMARKS: usize = 50;

/// What a calendar file takes, and what of it was not understood.
#[derive(Clone, Debug, Default)]
pub struct Busy {
    /// The times.
    pub calendar: BusyCalendar,
    /// What was left out, each with its line and why.
    pub left_out: Vec<String>,
    /// How many more were left out than are told.
    pub more_left_out: usize,
}

/// A text that is no calendar at all.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BusyError {
    /// No `BEGIN:VCALENDAR`.
    #[error("no `BEGIN:VCALENDAR` in it: export the calendar as an .ics file")]
    NotACalendar,
    /// Too large.
    #[error("it has more than {MOST_BYTES} bytes: export fewer years")]
    TooLarge,
    /// Too many events.
    #[error("it has more than {MOST_EVENTS} events: export fewer years")]
    TooMany,
}

/// Finds a time zone by its IANA name.
pub type Zones<'a> = &'a dyn Fn(&str) -> Option<TimeZone>;

/// Reads a calendar file; `zones` knows the time zones.
///
/// # Errors
/// It is no calendar, or larger than any office's.
pub fn read_busy(text: &[u8], zones: Zones<'_>) -> Result<Busy, BusyError> {
    if MOST_BYTES < text.len() {
        return Err(BusyError::TooLarge);
    }
    let mut reader = Reader {
        zones,
        calendar: false,
        open: Vec::new(),
        event: None,
        events: Vec::new(),
        replaced: Vec::new(),
        out: Busy::default(),
    };
    // Some programs fold within a character: bytes are joined before they are read.
    for (number, line) in unfolded(text.strip_prefix("\u{feff}".as_bytes()).unwrap_or(text)) {
        let line = String::from_utf8_lossy(&line);
        reader.line(number, &line)?;
    }
    if !reader.calendar {
        return Err(BusyError::NotACalendar);
    }
    if let Some(event) = reader.event.take() {
        reader.say(event.line, "the file ends within it");
    }
    reader.overrides();
    let mut busy = reader.out;
    busy.calendar.events = reader.events.into_iter().map(|(_, event)| event).collect();
    Ok(busy)
}

/// Lines as they were before folding, with the number of their first.
fn unfolded(text: &[u8]) -> impl Iterator<Item = (usize, Vec<u8>)> {
    let mut lines = text.split(|byte| *byte == b'\n').enumerate().peekable();
    std::iter::from_fn(move || {
        let (number, first) = lines.next()?;
        let mut line = bare(first).to_vec();
        while let Some((_, more)) =
            lines.next_if(|(_, more)| more.starts_with(b" ") || more.starts_with(b"\t"))
        {
            if line.len() <= LONGEST_LINE {
                line.extend_from_slice(bare(more).get(1..).unwrap_or_default());
            }
        }
        Some((number + 1, line))
    })
}

fn bare(line: &[u8]) -> &[u8] {
    line.strip_suffix(b"\r").unwrap_or(line)
}

struct Reader<'a> {
    zones: Zones<'a>,
    calendar: bool,
    /// Components that are open, innermost last.
    open: Vec<String>,
    event: Option<Raw>,
    /// Events with their identifiers.
    events: Vec<(String, BusyEvent)>,
    /// Starts that another event of that identifier stands for.
    replaced: Vec<(String, Moment)>,
    out: Busy,
}

/// A property with the line it stands on.
type Found = (usize, Property);

#[derive(Default)]
struct Raw {
    line: usize,
    uid: String,
    summary: String,
    start: Option<Found>,
    end: Option<Found>,
    duration: Option<Found>,
    rule: Option<Found>,
    except: Vec<Found>,
    replaces: Option<Found>,
    more_dates: bool,
    two_rules: bool,
    free: bool,
}

impl Reader<'_> {
    fn say(&mut self, line: usize, why: &str) {
        if self.out.left_out.len() < MOST_REMARKS {
            self.out.left_out.push(format!("line {line}: {why}"));
        } else {
            self.out.more_left_out += 1;
        }
    }

    fn line(&mut self, number: usize, line: &str) -> Result<(), BusyError> {
        if line.trim().is_empty() {
            return Ok(());
        }
        if LONGEST_LINE < line.len() {
            self.say(number, "the line is too long to be looked at");
            return Ok(());
        }
        let parsed = PropertyParser::from_reader(line.as_bytes()).next();
        let Some(Ok(property)) = parsed else {
            if self.event.is_some() {
                self.say(number, "this is no property");
            }
            return Ok(());
        };
        let name = property.name.to_ascii_uppercase();
        let value = property.value.clone().unwrap_or_default();
        match name.as_str() {
            "BEGIN" => {
                let what = value.trim().to_ascii_uppercase();
                self.calendar |= what == "VCALENDAR";
                if what == "VEVENT" && self.event.is_none() {
                    if MOST_EVENTS <= self.events.len() {
                        return Err(BusyError::TooMany);
                    }
                    self.event = Some(Raw { line: number, ..Raw::default() });
                    self.open.clear();
                } else if self.event.is_some() && self.open.len() < 8 {
                    self.open.push(what);
                }
            }
            "END" => {
                let what = value.trim().to_ascii_uppercase();
                if what == "VEVENT" {
                    self.open.clear();
                    if let Some(event) = self.event.take() {
                        self.end(event);
                    }
                } else if self.open.last() == Some(&what) {
                    self.open.pop();
                }
            }
            _ if self.open.is_empty() => self.property(number, &name, &value, property),
            _ => {}
        }
        Ok(())
    }

    fn property(&mut self, number: usize, name: &str, value: &str, property: Property) {
        let Some(event) = &mut self.event else { return };
        let found = (number, property);
        let value = value.trim().to_ascii_uppercase();
        match name {
            "UID" => event.uid = found.1.value.unwrap_or_default(),
            "SUMMARY" => event.summary = unescape(&found.1.value.unwrap_or_default()),
            "DTSTART" => event.start = Some(found),
            "DTEND" => event.end = Some(found),
            "DURATION" => event.duration = Some(found),
            "RRULE" => {
                event.two_rules |= event.rule.is_some();
                event.rule = Some(found);
            }
            "EXDATE" => event.except.push(found),
            "RECURRENCE-ID" => event.replaces = Some(found),
            "RDATE" | "EXRULE" => event.more_dates = true,
            "TRANSP" => event.free |= value == "TRANSPARENT",
            "STATUS" => event.free |= value == "CANCELLED",
            _ => {}
        }
    }

    fn end(&mut self, event: Raw) {
        let (line, summary) = (event.line, clip(&event.summary));
        let what = match summary.is_empty() {
            true => "an event".to_owned(),
            false => format!("“{summary}”"),
        };
        // One that is free or cancelled still stands for the time it replaces.
        if let Some((at, replaces)) = &event.replaces {
            match moments(replaces, self.zones) {
                Ok(of) if !has(replaces, "RANGE") => {
                    let uid = event.uid.clone();
                    self.replaced.extend(of.into_iter().map(|moment| (uid.clone(), moment)));
                }
                Ok(_) => {
                    self.say(*at, &format!("{what}: RANGE is not understood; left out"));
                    return;
                }
                Err(why) => {
                    self.say(*at, &format!("{what}: {why}; left out"));
                    return;
                }
            }
        }
        if event.free {
            return;
        }
        if event.more_dates {
            self.say(line, &format!("{what}: RDATE or EXRULE is not understood; left out"));
            return;
        }
        let uid = event.uid.clone();
        match busy_event(event, self.zones) {
            Ok(Some(read)) => self.events.push((uid, read)),
            Ok(None) => {}
            Err((at, why)) => self.say(at, &format!("{what}: {why}; left out")),
        }
    }

    /// An event that stands for one time of another takes that time from it.
    fn overrides(&mut self) {
        let mut by_uid: BTreeMap<String, Vec<Moment>> = BTreeMap::new();
        for (uid, moment) in std::mem::take(&mut self.replaced) {
            by_uid.entry(uid).or_default().push(moment);
        }
        for (uid, event) in &mut self.events {
            let replaced = by_uid.get(uid).filter(|_| event.rule.is_some());
            if let Some(replaced) = replaced {
                event.except.extend(replaced.iter().take(MOST_EXCEPTIONS).cloned());
            }
        }
    }
}

/// None where it takes no time.
fn busy_event(event: Raw, zones: Zones<'_>) -> Result<Option<BusyEvent>, (usize, String)> {
    let line = event.line;
    let (at, start) = event.start.ok_or((line, "it has no DTSTART".to_owned()))?;
    let start = one_moment(&start, zones).map_err(|why| (at, why))?;
    let lasts = match (event.end, event.duration) {
        (Some(_), Some((at, _))) => return Err((at, "it has DTEND and DURATION".to_owned())),
        (Some((at, end)), None) => {
            let end = one_moment(&end, zones).map_err(|why| (at, why))?;
            between(&start, &end).map_err(|why| (at, why))?
        }
        (None, Some((at, duration))) => {
            let text = duration.value.unwrap_or_default();
            Some(
                read_duration(text.trim())
                    .ok_or_else(|| (at, format!("`{}` is not a duration", clip(&text))))?,
            )
        }
        // RFC 5545 section 3.6.1: a day is a day, a time without an end is a moment.
        (None, None) => matches!(start, Moment::Day(_)).then(|| 1.day()),
    };
    let Some(lasts) = lasts.filter(|lasts| lasts.is_positive()) else { return Ok(None) };
    let rule = match event.rule {
        None => None,
        Some((at, _)) if event.two_rules => return Err((at, "it has several RRULE".to_owned())),
        Some((at, rule)) => {
            let text = rule.value.unwrap_or_default();
            Some(recurrence::read_rule(&text, &start).map_err(|why| (at, why))?)
        }
    };
    let mut except = Vec::new();
    for (at, property) in &event.except {
        except.extend(moments(property, zones).map_err(|why| (*at, why))?);
        if MOST_EXCEPTIONS < except.len() {
            return Err((*at, "it leaves out too many dates".to_owned()));
        }
    }
    Ok(Some(BusyEvent { start, lasts, rule, except }))
}

/// From start to end, days by the calendar or seconds by the clock.
fn between(start: &Moment, end: &Moment) -> Result<Option<Span>, String> {
    match (start, end) {
        (Moment::Day(from), Moment::Day(to)) => {
            let days = from.until(*to).map(|span| span.get_days()).unwrap_or(0);
            // A day that ends on itself is taken as that day.
            Ok(Some(i64::from(days.max(1)).days()))
        }
        (Moment::Day(_), _) | (_, Moment::Day(_)) => {
            Err("its DTSTART and DTEND are not both days or both times".to_owned())
        }
        (Moment::Local(from), Moment::Local(to)) => Ok(from.until(*to).ok()),
        (Moment::Zoned(from, a), Moment::Zoned(to, b)) => {
            let from = from.to_zoned_datetime(a.clone()).map_err(|error| error.to_string())?;
            let to = to.to_zoned_datetime(b.clone()).map_err(|error| error.to_string())?;
            let exact = to.timestamp().duration_since(from.timestamp());
            Ok(Span::new().try_seconds(exact.as_secs()).ok())
        }
        _ => Err("one of its DTSTART and DTEND has a time zone and the other has none".to_owned()),
    }
}

fn has(property: &Property, name: &str) -> bool {
    parameter(property, name).is_some()
}

fn parameter<'a>(property: &'a Property, name: &str) -> Option<&'a str> {
    let (_, values) = property.params.as_ref()?.iter().find(|(key, _)| key == name)?;
    values.first().map(String::as_str)
}

fn one_moment(property: &Property, zones: Zones<'_>) -> Result<Moment, String> {
    let mut all = moments(property, zones)?;
    match (all.pop(), all.is_empty()) {
        (Some(moment), true) => Ok(moment),
        _ => Err(format!("{} is not one moment", clip(&property.name))),
    }
}

/// The moments of a property, by its VALUE and TZID.
fn moments(property: &Property, zones: Zones<'_>) -> Result<Vec<Moment>, String> {
    let kind = parameter(property, "VALUE").map(str::to_ascii_uppercase);
    if kind.as_deref().is_some_and(|kind| !matches!(kind, "DATE" | "DATE-TIME")) {
        return Err(format!("VALUE={} is not understood", clip(kind.as_deref().unwrap_or(""))));
    }
    let zone = parameter(property, "TZID").map(|name| read_zone(name, zones)).transpose()?;
    let value = property.value.as_deref().unwrap_or_default();
    value.split(',').map(|text| read_moment(text.trim(), zone.as_ref())).collect()
}

/// By its IANA name.
fn read_zone(name: &str, zones: Zones<'_>) -> Result<TimeZone, String> {
    let plain = name.trim().trim_matches('"');
    zones(plain).ok_or_else(|| {
        format!("the time zone `{}` is no IANA name such as America/New_York", clip(plain))
    })
}

pub(super) fn read_moment(text: &str, zone: Option<&TimeZone>) -> Result<Moment, String> {
    let wrong = || format!("`{}` is not a date or time", clip(text));
    if !text.is_ascii() {
        return Err(wrong());
    }
    if text.len() == 8 {
        let day = digits(text, 0, 4).zip(digits(text, 4, 6)).zip(digits(text, 6, 8));
        let ((year, month), day) = day.ok_or_else(wrong)?;
        let date = jiff::civil::Date::new(year, narrow(month)?, narrow(day)?);
        return date.map(Moment::Day).map_err(|_| wrong());
    }
    let (local, utc) = match text.strip_suffix(['Z', 'z']) {
        Some(local) => (local, true),
        None => (text, false),
    };
    let local = read_local(local).ok_or_else(wrong)?;
    Ok(match (utc, zone) {
        (true, _) => Moment::Zoned(local, TimeZone::UTC),
        (false, Some(zone)) => Moment::Zoned(local, zone.clone()),
        (false, None) => Moment::Local(local),
    })
}

fn narrow(number: i16) -> Result<i8, String> {
    i8::try_from(number).map_err(|error| error.to_string())
}

fn read_local(text: &str) -> Option<DateTime> {
    let (day, clock) = text.split_once(['T', 't'])?;
    if day.len() != 8 || clock.len() != 6 {
        return None;
    }
    let two = |text: &str, at: usize| i8::try_from(digits(text, at, at + 2)?).ok();
    let date = jiff::civil::Date::new(digits(day, 0, 4)?, two(day, 4)?, two(day, 6)?).ok()?;
    // A leap second is taken as the one before it.
    let second = two(clock, 4)?;
    let second = if second == 60 { 59 } else { second };
    let time = Time::new(two(clock, 0)?, two(clock, 2)?, second, 0).ok()?;
    Some(date.to_datetime(time))
}

fn digits(text: &str, from: usize, to: usize) -> Option<i16> {
    let part = text.get(from..to)?;
    if !part.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    part.parse().ok()
}

/// RFC 5545 section 3.3.6: weeks alone, or days and then a time.
fn read_duration(text: &str) -> Option<Span> {
    let plain = text.strip_prefix('+').unwrap_or(text);
    if !plain.starts_with('P') || plain.contains(['Y', '.', ',']) {
        return None;
    }
    let months = plain.split('T').next().is_some_and(|days| days.contains('M'));
    plain.parse::<Span>().ok().filter(|span| !months && !span.is_negative())
}

/// RFC 5545 section 3.3.11.
fn unescape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut letters = text.chars();
    while let Some(letter) = letters.next() {
        match letter {
            '\\' => match letters.next() {
                Some('n' | 'N') => out.push(' '),
                Some(other) => out.push(other),
                None => out.push('\\'),
            },
            other => out.push(other),
        }
    }
    out
}
