//! Follow-up dates as an iCalendar file (RFC 5545): what to walk, where, when,
//! with the time zone of the address spelled out. Sends nothing.
//!
//! `ical` writes the components; escaping, and folding at 75 octets, are done
//! here because the crate folds at 75 characters and escapes no values.

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

/// The dates of a job as one `VCALENDAR`, lines ended by CRLF.
///
/// # Errors
/// Where nothing is due, the zone has no name, or a date cannot be written.
pub fn ics(job: &Job, due: &[Due], zone: &TimeZone) -> Result<String, CalendarError> {
    let unnamed = || CalendarError::UnnamedZone { job: job.number.clone() };
    let name = zone.iana_name().filter(|name| is_plain(name)).ok_or_else(unnamed)?;
    let starts = due.iter().map(|due| due.start.instant());
    let (Some(first), Some(last)) = (starts.min(), due.iter().filter_map(end).max()) else {
        return Err(CalendarError::NoDates { job: job.number.clone() });
    };
    let mut calendar = IcalCalendar::new();
    calendar.properties = vec![
        property("VERSION", "2.0"),
        property("PRODID", "-//chalkhand//install record//EN"),
        property("CALSCALE", "GREGORIAN"),
        property("METHOD", "PUBLISH"),
    ];
    // RFC 5545 section 3.2.19: UTC is written with a Z and takes no TZID.
    let utc = matches!(name, "UTC" | "Etc/UTC");
    if !utc {
        calendar.timezones = vec![time_zone(name, zone, first, last)];
    }
    for due in due {
        let zone = if utc { None } else { Some((name, zone)) };
        calendar.events.push(event(job, due, zone)?);
    }
    Ok(fold(&calendar.generate()))
}

fn event(
    job: &Job,
    due: &Due,
    zone: Option<(&str, &TimeZone)>,
) -> Result<IcalEvent, CalendarError> {
    let invented = if job.invented { "INVENTED EXAMPLE: " } else { "" };
    let summary = format!("{invented}{} (job {})", due.title, job.number);
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
        property("STATUS", "CONFIRMED"),
        text("SUMMARY", &summary),
        text("LOCATION", &job.address),
        text("DESCRIPTION", &description(job, due)),
    ];
    end(due).ok_or_else(|| CalendarError::OutOfRange { uid: due.uid.clone() })?;
    // A duration has to be positive; a date without one is a moment.
    if 0 < due.lasts_min {
        event.properties.push(property("DURATION", &format!("PT{}M", due.lasts_min)));
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
    lines.push(match &due.checklist {
        Some(checklist) => format!("Walk the checklist {checklist} on job {}.", job.number),
        None => format!("{} on job {}.", due.title, job.number),
    });
    lines.push(format!("Owner: {}", job.owner));
    lines.push(format!("Phone: {}", job.phone));
    lines.push(format!("Installed by: {}", job.company));
    lines.join("\n")
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
