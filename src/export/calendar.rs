//! Follow-up dates as an iCalendar file (RFC 5545): what to walk, where, when,
//! with the time zone of the address spelled out. Sends nothing.
//!
//! `ical` writes the components; escaping, and folding at 75 octets, are done
//! here because the crate folds at 75 characters and escapes no values.

use std::collections::BTreeMap;

use ical::generator::{Emitter, IcalCalendar, IcalEvent, Property};
use ical::parser::ical::component::{
    IcalAlarm, IcalTimeZone, IcalTimeZoneTransition, IcalTimeZoneTransitionType,
};
use jiff::civil::DateTime;
use jiff::tz::{Offset, TimeZone};
use jiff::{SignedDuration, Timestamp};

use crate::domain::{Due, Job};

use super::words;

/// Octets of a line before it is folded, without its line end.
const LINE_OCTETS: usize = 75;

/// Why there is no calendar.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CalendarError {
    /// Nothing is due.
    #[error("job {job} has no dates yet: they come once a walk with follow-ups has ended")]
    NoDates {
        /// The job's number.
        job: String,
    },
    /// A calendar has to name its time zone.
    #[error(
        "the time zone of job {job} has no IANA name a calendar can carry; write one such as \
         America/New_York in the job file"
    )]
    UnnamedZone {
        /// The job's number.
        job: String,
    },
    /// Outside the years a calendar can hold.
    #[error("the date {uid} lies outside the calendar")]
    OutOfRange {
        /// The date's identifier.
        uid: String,
    },
}

/// The dates of one job, at its address.
#[derive(Clone, Copy, Debug)]
pub struct Dates<'a> {
    /// The job.
    pub job: &'a Job,
    /// The time zone of its address.
    pub zone: &'a TimeZone,
    /// The dates.
    pub due: &'a [Due],
}

/// What a calendar is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum For<'a> {
    /// A file somebody is given, from this calendar address (`mailto:…`).
    ///
    /// RFC 5546 section 3.2 wants an ORGANIZER in each event of a METHOD:PUBLISH
    /// or METHOD:CANCEL. Without an address there is no METHOD: such a file is
    /// plain events, and readers take it in all the same.
    File(Option<&'a str>),
    /// A feed that is fetched again and again, of this name. A feed is no
    /// message, and a calendar server would take an ORGANIZER for a meeting:
    /// neither METHOD nor ORGANIZER.
    Feed(&'a str),
}

/// How often a feed is worth fetching (RFC 7986 section 5.7, RFC 5545 section
/// 3.3.6).
const REFRESH: &str = "PT1H";

/// The dates of a job as one `VCALENDAR`, lines ended by CRLF.
///
/// # Errors
/// Where nothing is due, the zone has no name, or a date cannot be written.
pub fn ics(job: &Job, due: &[Due], zone: &TimeZone) -> Result<String, CalendarError> {
    if due.is_empty() {
        return Err(CalendarError::NoDates { job: job.number.clone() });
    }
    calendar(&[Dates { job, zone, due }], For::File(None))
}

/// The dates of several jobs as one `VCALENDAR`, with every time zone spelled
/// out for the dates in it. A feed may be empty.
///
/// # Errors
/// Where a zone has no name, or a date cannot be written.
pub fn calendar(all: &[Dates<'_>], what_for: For<'_>) -> Result<String, CalendarError> {
    let mut calendar = IcalCalendar::new();
    calendar.properties = vec![
        property("VERSION", "2.0"),
        property("PRODID", "-//chalkhand//install record//EN"),
        property("CALSCALE", "GREGORIAN"),
    ];
    let organizer = match what_for {
        For::File(organizer) => organizer.filter(|address| is_address(address)),
        For::Feed(name) => {
            let mut refresh = property("REFRESH-INTERVAL", REFRESH);
            refresh.params = Some(vec![("VALUE".to_owned(), vec!["DURATION".to_owned()])]);
            calendar.properties.extend([
                text("NAME", name),
                text("X-WR-CALNAME", name),
                refresh,
                property("X-PUBLISHED-TTL", REFRESH),
            ]);
            None
        }
    };
    if organizer.is_some() {
        // A file of nothing but cancelled dates cancels them.
        let mut due = all.iter().flat_map(|dates| dates.due).peekable();
        let some = due.peek().is_some();
        let cancels = some && due.all(|due| due.cancelled_because.is_some());
        calendar.properties.push(property("METHOD", if cancels { "CANCEL" } else { "PUBLISH" }));
    }
    // By name: the zone, the first and the last instant it has to cover.
    let mut zones: BTreeMap<&str, (&TimeZone, Timestamp, Timestamp)> = BTreeMap::new();
    for dates in all {
        let unnamed = || CalendarError::UnnamedZone { job: dates.job.number.clone() };
        let name = dates.zone.iana_name().filter(|name| is_plain(name)).ok_or_else(unnamed)?;
        // RFC 5545 section 3.2.19: UTC is written with a Z and takes no TZID.
        let zone = if matches!(name, "UTC" | "Etc/UTC") { None } else { Some((name, dates.zone)) };
        for due in dates.due {
            calendar.events.push(event(dates.job, due, zone, organizer)?);
            let (Some((name, zone)), Some(ends)) = (zone, end(due)) else { continue };
            let starts = due.start.instant();
            let (_, first, last) = zones.entry(name).or_insert((zone, starts, ends));
            (*first, *last) = ((*first).min(starts), (*last).max(ends));
        }
    }
    calendar.timezones = zones
        .into_iter()
        .map(|(name, (zone, first, last))| time_zone(name, zone, first, last))
        .collect();
    Ok(fold(&calendar.generate()))
}

fn event(
    job: &Job,
    due: &Due,
    zone: Option<(&str, &TimeZone)>,
    organizer: Option<&str>,
) -> Result<IcalEvent, CalendarError> {
    let invented = if job.invented { "INVENTED EXAMPLE: " } else { "" };
    let cancelled = due.cancelled_because.is_some();
    let mark = if cancelled { "CANCELLED: " } else { "" };
    let summary = format!("{mark}{invented}{} (job {})", due.title, job.number);
    let start = match zone {
        None => property("DTSTART", &format!("{}Z", date_time(utc(due.start.instant())))),
        Some((name, zone)) => {
            let local = zone.to_datetime(due.start.instant());
            let mut start = property("DTSTART", &date_time(local));
            start.params = Some(vec![("TZID".to_owned(), vec![name.to_owned()])]);
            start
        }
    };
    let mut event = IcalEvent::new();
    event.properties = vec![
        text("UID", &due.uid),
        property("DTSTAMP", &format!("{}Z", date_time(utc(due.issued.instant())))),
        start,
        property("SEQUENCE", &due.sequence.to_string()),
        property("STATUS", if cancelled { "CANCELLED" } else { "CONFIRMED" }),
        text("SUMMARY", &summary),
        text("LOCATION", &job.address),
        text("DESCRIPTION", &description(job, due)),
    ];
    if let Some(address) = organizer {
        event.properties.push(property("ORGANIZER", address));
    }
    end(due).ok_or_else(|| CalendarError::OutOfRange { uid: due.uid.clone() })?;
    // A duration has to be positive; a date without one is a moment.
    if 0 < due.lasts_min {
        event.properties.push(property("DURATION", &format!("PT{}M", due.lasts_min)));
    }
    if cancelled {
        // Nobody is reminded of what is not going to happen.
        event.properties.push(property("TRANSP", "TRANSPARENT"));
        return Ok(event);
    }
    let mut alarm = IcalAlarm::new();
    alarm.properties = vec![
        property("ACTION", "DISPLAY"),
        text("DESCRIPTION", &format!("Tomorrow: {summary}")),
        property("TRIGGER", "-P1D"),
    ];
    event.alarms.push(alarm);
    Ok(event)
}

fn description(job: &Job, due: &Due) -> String {
    let mut lines = Vec::new();
    if job.invented {
        lines.push(words::INVENTED.to_owned());
    }
    if let Some(why) = &due.cancelled_because {
        lines.push(format!("Cancelled: {why}"));
    }
    lines.push(match &due.checklist {
        Some(checklist) => format!("Walk the checklist {checklist} on job {}.", job.number),
        None => format!("{} on job {}.", due.title, job.number),
    });
    if let Some(placed) = &due.placed {
        lines.push(format!(
            "By the checklist it is due on {}; {}.",
            placed.planned.date(),
            placed.why
        ));
    }
    if let Some(why) = &due.moved_because {
        lines.push(format!("Moved by hand: {why}"));
    }
    if due.fixed {
        lines.push(
            "This day stays as it is: the end of a time set by law or by a warranty.".to_owned(),
        );
    }
    if let Some(role) = &due.who {
        let names = job.people.iter().filter(|person| person.role == *role);
        let names: Vec<&str> = names.map(|person| person.name.as_str()).collect();
        let names =
            if names.is_empty() { String::new() } else { format!(", {}", names.join(", ")) };
        lines.push(format!("For: {role}{names}"));
    }
    lines.push(format!("Owner: {}", job.owner));
    lines.push(format!("Phone: {}", job.phone));
    lines.push(format!("Installed by: {}", job.company));
    lines.join("\n")
}

/// Whether a text can stand as a calendar address: `mailto:` and something
/// with an at sign, without white space, controls or what ends a value.
#[must_use]
pub fn is_address(address: &str) -> bool {
    let mail = address.strip_prefix("mailto:").and_then(|mail| mail.split_once('@'));
    mail.is_some_and(|(name, host)| !name.is_empty() && !host.is_empty())
        && address
            .bytes()
            .all(|byte| byte.is_ascii_graphic() && !matches!(byte, b'"' | b'\\' | b',' | b';'))
}

fn end(due: &Due) -> Option<Timestamp> {
    let lasts = SignedDuration::from_mins(due.lasts_min.into());
    due.start.instant().checked_add(lasts).ok()
}

/// The observances in force from the first to the last instant, each written
/// out: no rule is guessed, and nothing is claimed about other years.
fn time_zone(name: &str, zone: &TimeZone, first: Timestamp, last: Timestamp) -> IcalTimeZone {
    let mut zone_out = IcalTimeZone::new();
    zone_out.properties = vec![property("TZID", name)];
    // The one in force at the first instant began at or before it.
    let just_after = first.checked_add(SignedDuration::from_nanos(1)).unwrap_or(first);
    let begins = zone.preceding(just_after).next().map(|t| t.timestamp());
    let changes = zone.following(first).map(|t| t.timestamp()).take_while(|at| *at <= last);
    for at in begins.into_iter().chain(changes) {
        let before = at.checked_sub(SignedDuration::from_nanos(1)).unwrap_or(at);
        zone_out.transitions.push(observance(zone, at, zone.to_offset(before)));
    }
    if begins.is_none() {
        // A zone that never changed, or not before these dates.
        let offset = zone.to_offset(first);
        zone_out.transitions.insert(0, observance(zone, Timestamp::UNIX_EPOCH.min(first), offset));
    }
    zone_out
}

fn observance(zone: &TimeZone, at: Timestamp, from: Offset) -> IcalTimeZoneTransition {
    let info = zone.to_offset_info(at);
    let mut out = IcalTimeZoneTransition::new(if info.dst().is_dst() {
        IcalTimeZoneTransitionType::DAYLIGHT
    } else {
        IcalTimeZoneTransitionType::STANDARD
    });
    out.properties = vec![
        // RFC 5545 section 3.6.5: the onset is local time before the change.
        property("DTSTART", &date_time(from.to_datetime(at))),
        property("TZOFFSETFROM", &offset(from)),
        property("TZOFFSETTO", &offset(info.offset())),
        text("TZNAME", info.abbreviation()),
    ];
    out
}

fn offset(offset: Offset) -> String {
    let seconds = offset.seconds();
    let (sign, all) = (if seconds < 0 { '-' } else { '+' }, seconds.abs());
    let (hours, minutes, rest) = (all / 3600, all / 60 % 60, all % 60);
    let rest = if rest == 0 { String::new() } else { format!("{rest:02}") };
    format!("{sign}{hours:02}{minutes:02}{rest}")
}

fn utc(at: Timestamp) -> DateTime {
    Offset::UTC.to_datetime(at)
}

fn date_time(at: DateTime) -> String {
    at.strftime("%Y%m%dT%H%M%S").to_string()
}

/// Names that need no quoting where they stand as a parameter.
fn is_plain(name: &str) -> bool {
    !name.is_empty()
        && name.bytes().all(|b| b.is_ascii_alphanumeric() || matches!(b, b'/' | b'_' | b'-' | b'+'))
}

fn property(name: &str, value: &str) -> Property {
    Property { name: name.to_owned(), params: None, value: Some(value.to_owned()) }
}

fn text(name: &str, value: &str) -> Property {
    property(name, &escape(value))
}

/// RFC 5545 section 3.3.11: backslash, semicolon, comma and line end are
/// escaped; other controls are not allowed at all and become visible.
fn escape(text: &str) -> String {
    let text = text.replace("\r\n", "\n");
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' => out.push_str("\\\\"),
            ';' => out.push_str("\\;"),
            ',' => out.push_str("\\,"),
            '\n' | '\r' => out.push_str("\\n"),
            c => out.push(words::visible(c)),
        }
    }
    out
}

/// Folds every line again at 75 octets (RFC 5545 section 3.1), never inside a
/// character and never beside white space, where readers are known to lose it.
fn fold(generated: &str) -> String {
    let mut out = String::with_capacity(generated.len() + generated.len() / 32);
    for line in generated.replace("\r\n ", "").split_terminator("\r\n") {
        let mut rest = line;
        let mut room = LINE_OCTETS;
        while let Some((this, more)) = break_at(rest, room) {
            out.push_str(this);
            out.push_str("\r\n ");
            rest = more;
            room = LINE_OCTETS - 1;
        }
        out.push_str(rest);
        out.push_str("\r\n");
    }
    out
}

/// What fits and what is left; none where all of it fits.
fn break_at(line: &str, room: usize) -> Option<(&str, &str)> {
    if line.len() <= room {
        return None;
    }
    let cuts = (1..=room).rev().filter(|at| line.is_char_boundary(*at));
    let split = |at: usize| line.split_at_checked(at);
    let dry = |(before, after): &(&str, &str)| {
        !before.ends_with(char::is_whitespace) && !after.starts_with(char::is_whitespace)
    };
    // A line of nothing but white space has no better place.
    cuts.clone().filter_map(split).find(dry).or_else(|| cuts.filter_map(split).next())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn unfold(text: &str) -> String {
        text.replace("\r\n ", "")
    }

    #[test]
    fn folds_by_octets_and_never_beside_white_space() {
        let long = "DESCRIPTION:".to_owned() + &"Dachfläche über 🏠 Süd — naïve ".repeat(20);
        let folded = fold(&format!("{long}\r\nEND:X\r\n"));
        assert_eq!(unfold(&folded), format!("{long}\r\nEND:X\r\n"));
        for line in folded.split("\r\n") {
            assert!(line.len() <= 75, "{} octets: {line}", line.len());
        }
        let lines: Vec<&str> = folded.split("\r\n").collect();
        for (line, next) in lines.iter().zip(lines.iter().skip(1)) {
            if let Some(next) = next.strip_prefix(' ') {
                assert!(!line.ends_with(char::is_whitespace), "{line:?}");
                assert!(!next.starts_with(char::is_whitespace), "{next:?}");
            }
        }
    }

    #[test]
    fn a_line_of_75_octets_stays_whole_and_one_of_76_does_not() {
        let line = |octets: usize| "X:".to_owned() + &"a".repeat(octets - 2) + "\r\n";
        assert_eq!(fold(&line(75)), line(75));
        assert_eq!(fold(&line(76)), format!("X:{}\r\n a\r\n", "a".repeat(73)));
    }

    #[test]
    fn white_space_alone_still_folds() {
        let line = "X:".to_owned() + &" ".repeat(200) + "\r\n";
        let folded = fold(&line);
        assert!(folded.split("\r\n").all(|line| line.len() <= 75));
        assert_eq!(unfold(&folded), line);
    }

    /// RFC 5545 section 3.3.11.
    #[test]
    fn escapes_text() {
        assert_eq!(escape("a;b,c\\d\ne\r\nf\rg\u{7}"), "a\\;b\\,c\\\\d\\ne\\nf\\ng\u{fffd}");
    }

    /// Offsets east, west, by half hours and by seconds (RFC 5545 section 3.3.14).
    #[test]
    fn writes_offsets() {
        let of = |seconds| offset(Offset::from_seconds(seconds).unwrap());
        assert_eq!(of(-18_000), "-0500");
        assert_eq!(of(20_700), "+0545");
        assert_eq!(of(0), "+0000");
        assert_eq!(of(-17_762), "-045602");
    }
}
