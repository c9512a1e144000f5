//! The calendar file, read back by others: Python `icalendar` and
//! `recurring-ical-events`, npm `ical.js`, and the `icalendar` crate.

use chalkhand::domain::{Due, Job, WalkId, Working, schedule};
use chalkhand::export::calendar::{CalendarError, Dates, For, calendar as write, ics};
use icalendar::{Component as _, EventLike as _};
use jiff::tz::TimeZone;

use super::{example, outside};

fn calendar() -> String {
    ics(&example::job(), &example::due(), &example::zone()).unwrap()
}

/// A job and a date that try every rule of escaping and folding.
fn hostile() -> (Job, Vec<Due>) {
    let mut job = example::job();
    job.address = format!("{} {}", example::HOSTILE, "Straße am Dach 7, ".repeat(6));
    job.owner = "Ödön; Åsa, \\ \"Ny\"\r\nLine".to_owned();
    let mut due = example::due();
    due.first_mut().unwrap().title = format!("{} {}", "🏠".repeat(40), example::HOSTILE);
    (job, due)
}

/// RFC 5545 as far as a text shows it: CRLF, 75 octets, folds that lose nothing.
#[test]
fn lines_are_folded_and_ended_as_rfc_5545_wants() {
    let (job, due) = hostile();
    for text in [calendar(), ics(&job, &due, &example::zone()).unwrap()] {
        assert!(text.ends_with("END:VCALENDAR\r\n"));
        assert_eq!(text.matches('\n').count(), text.matches("\r\n").count());
        for line in text.split("\r\n") {
            assert!(line.len() <= 75, "{} octets: {line}", line.len());
        }
        let unfolded = text.replace("\r\n ", "");
        for name in ["UID:", "DTSTAMP:", "DTSTART;TZID=America/New_York:", "DURATION:PT60M"] {
            assert_eq!(unfolded.matches(&format!("\r\n{name}")).count(), 2, "{name}");
        }
    }
}

/// A month after the walk ended on 2026-12-16 is January; nine months after
/// 2026-10-15 is July. New York is at -05:00 and at -04:00 then (IANA tzdb).
#[test]
fn nine_in_the_morning_is_nine_in_january_and_in_july() {
    let due = winter_and_summer();
    let text = ics(&example::job(), &due, &example::zone()).unwrap();
    for expected in [
        "DTSTART;TZID=America/New_York:20270115T090000",
        "DTSTART;TZID=America/New_York:20270715T090000",
        "BEGIN:STANDARD\r\nDTSTART:20261101T020000\r\nTZOFFSETFROM:-0400\r\nTZOFFSETTO:-0500\r\n\
         TZNAME:EST\r\nEND:STANDARD",
        "BEGIN:DAYLIGHT\r\nDTSTART:20270314T020000\r\nTZOFFSETFROM:-0500\r\nTZOFFSETTO:-0400\r\n\
         TZNAME:EDT\r\nEND:DAYLIGHT",
    ] {
        assert!(text.contains(expected), "missing {expected} in\n{text}");
    }
    let starts: Vec<String> = due.iter().map(|due| due.start.instant().to_string()).collect();
    assert_eq!(starts, ["2027-01-15T14:00:00Z", "2027-07-15T13:00:00Z"]);
}

fn winter_and_summer() -> Vec<Due> {
    let mut intake = example::intake();
    intake.follow_ups.first_mut().unwrap().after = "P3M".parse().unwrap();
    let end = example::at("16:20:00.000");
    schedule::due(
        &example::job(),
        &[&intake],
        &example::ended(end),
        &example::zone(),
        end,
        &Working::every_day(),
    )
}

/// Every instant an event covers has an observance at or before it, in zones
/// with rules, with none, and with half hours.
#[test]
fn the_zone_is_spelled_out_for_every_event() {
    for name in [
        "America/New_York",
        "America/Phoenix",
        "Asia/Kolkata",
        "Europe/Dublin",
        "Australia/Lord_Howe",
        "Africa/Casablanca",
    ] {
        let zone = TimeZone::get(name).unwrap();
        let end = example::at("16:20:00.000");
        let mut intake = example::intake();
        intake.follow_ups[1].after = "P6Y".parse().unwrap();
        let (standing, working) = (example::ended(end), Working::every_day());
        let due = schedule::due(&example::job(), &[&intake], &standing, &zone, end, &working);
        assert_eq!(due.len(), 2);
        let text = ics(&example::job(), &due, &zone).unwrap();
        let onsets = observances(&text);
        for due in &due {
            // RFC 5545 section 3.6.5: the observance with the last onset not
            // after the local time is in force.
            let local = zone.to_datetime(due.start.instant());
            let in_force = onsets.iter().filter(|(at, _)| *at <= local).max().unwrap();
            let seconds = zone.to_offset(due.start.instant()).seconds();
            assert_eq!(in_force.1, seconds, "{name} at {local}");
        }
    }
}

/// Onsets and offsets in seconds, read from the text alone.
fn observances(text: &str) -> Vec<(jiff::civil::DateTime, i32)> {
    let mut all = Vec::new();
    let zone = text.split("END:VTIMEZONE").next().unwrap();
    let mut onset = None;
    for line in zone.split("\r\n") {
        if let Some(at) = line.strip_prefix("DTSTART:") {
            onset = Some(jiff::civil::DateTime::strptime("%Y%m%dT%H%M%S", at).unwrap());
        }
        if let Some(to) = line.strip_prefix("TZOFFSETTO:") {
            let sign = if to.starts_with('-') { -1 } else { 1 };
            let part = |at: usize| to.get(at..at + 2).unwrap().parse::<i32>().unwrap();
            all.push((onset.unwrap(), sign * (part(1) * 3600 + part(3) * 60)));
        }
    }
    all
}

/// RFC 5545 section 3.2.19: a time in UTC takes no TZID.
#[test]
fn utc_is_written_with_a_z() {
    let text = ics(&example::job(), &example::due(), &TimeZone::UTC).unwrap();
    assert!(text.contains("\r\nDTSTART:20261114T140000Z\r\n"), "{text}");
    assert!(!text.contains("TZID") && !text.contains("VTIMEZONE"));
}

#[test]
fn no_dates_and_no_name_are_said() {
    let job = example::job();
    let none = ics(&job, &[], &example::zone());
    assert_eq!(none, Err(CalendarError::NoDates { job: job.number.clone() }));
    let fixed = TimeZone::fixed(jiff::tz::offset(-5));
    let unnamed = ics(&job, &example::due(), &fixed);
    assert_eq!(unnamed, Err(CalendarError::UnnamedZone { job: job.number }));
}

/// RFC 5545 section 3.8.7.4: the sequence rises when a date changes, and only
/// then; the identifier stays.
#[test]
fn the_sequence_rises_when_a_date_changes() {
    let (job, zone, intake) = (example::job(), example::zone(), example::intake());
    let end = example::at("16:20:00.000");
    let mut standing = example::ended(end);
    let working = Working::every_day();
    let first = schedule::due(&job, &[&intake], &standing, &zone, end, &working);
    let mut log = example::Log { job: job.number.clone(), entries: example::entries() };
    let issue =
        |log: &mut example::Log, standing: &mut chalkhand::domain::Standing, due: &[Due]| {
            let before = log.entries.len();
            for draft in schedule::issue(&job, due, standing, end, "F. Foreman") {
                log.add(None, "16:21:00.000", &draft.by, draft.how, draft.what);
            }
            log.entries[before..].iter().for_each(|entry| standing.apply(entry));
            log.entries.len() - before
        };
    assert_eq!(issue(&mut log, &mut standing, &first), 2);
    let later = example::at("17:00:00.000");
    let same = schedule::due(&job, &[&intake], &standing, &zone, later, &working);
    assert_eq!(issue(&mut log, &mut standing, &same), 0);
    standing.walks.get_mut(&WalkId::first("deck-intake")).unwrap().ended =
        Some("2026-10-16T11:00:00.000-04:00".parse().unwrap());
    let moved = schedule::due(&job, &[&intake], &standing, &zone, later, &working);
    let sequences = |text: &str| -> Vec<String> {
        text.split("\r\n").filter_map(|l| l.strip_prefix("SEQUENCE:")).map(str::to_owned).collect()
    };
    let uids = |due: &[Due]| due.iter().map(|due| due.uid.clone()).collect::<Vec<_>>();
    assert_eq!(uids(&first), uids(&moved));
    assert_eq!(sequences(&ics(&job, &same, &zone).unwrap()), ["0", "0"]);
    assert_eq!(sequences(&ics(&job, &moved, &zone).unwrap()), ["1", "1"]);
    assert!(ics(&job, &same, &zone).unwrap().contains("DTSTAMP:20261015T202100Z"));
}

/// The crate `icalendar` reads the same events; it does no time zones.
#[test]
fn the_icalendar_crate_reads_it_back() {
    let (job, due) = hostile();
    let text = ics(&job, &due, &example::zone()).unwrap();
    let read: icalendar::Calendar = text.parse().unwrap();
    let events: Vec<_> = read.components.iter().filter_map(|c| c.as_event()).collect();
    assert_eq!(events.len(), 2);
    for (event, due) in events.iter().zip(&due) {
        assert_eq!(event.get_uid(), Some(due.uid.as_str()));
        assert_eq!(event.property_value("DURATION"), Some("PT60M"));
        assert_eq!(event.property_value("STATUS"), Some("CONFIRMED"));
        let summary = event.get_summary().unwrap();
        assert!(summary.contains(&plain(&due.title)), "{summary}");
        assert_eq!(event.get_location().unwrap(), plain(&job.address));
    }
}

/// As a reader gives it back: line ends as line feeds, direction marks shown.
fn plain(text: &str) -> String {
    text.replace("\r\n", "\n").replace('\u{202e}', "\u{fffd}")
}

/// Python `icalendar` 7.3.2 with `recurring-ical-events` 3.8.2, and npm
/// `ical.js` 2.2.1, agree on instants, texts, alarms and sequences; both take
/// the offsets from the file's own VTIMEZONE.
#[test]
fn outside_readers_find_the_same_events() {
    let Some(folder) = outside::folder("the calendar in Python icalendar and ical.js") else {
        return;
    };
    let (job, _) = hostile();
    let mut due = winter_and_summer();
    due[0].title = format!("{} {}", "🏠".repeat(40), example::HOSTILE);
    due[1].sequence = 3;
    let (zone, from) = (example::zone(), For::File(Some("mailto:office@example.com")));
    let text = write(&[Dates { job: &job, zone: &zone, due: &due }], from).unwrap();
    for script in ["read_ics.py", "read_ics.mjs"] {
        let read: serde_json::Value =
            serde_json::from_str(&outside::run(&folder, script, &text)).unwrap();
        assert_eq!(read["method"], "PUBLISH", "{script}");
        assert_eq!(read["version"], "2.0", "{script}");
        if script.ends_with(".py") {
            assert_eq!(read["errors"].as_array().unwrap().len(), 0, "{read:#}");
        }
        let events = read["events"].as_array().unwrap();
        assert_eq!(events.len(), 2, "{script}: {read:#}");
        let instants = ["2027-01-15T14:00:00Z", "2027-07-15T13:00:00Z"];
        for (due, instant) in due.iter().zip(instants) {
            let event = events.iter().find(|event| event["uid"] == due.uid.as_str()).unwrap();
            assert_eq!(event["start_utc"], instant, "{script}");
            match script.ends_with(".py") {
                true => assert_eq!(event["own_zone_utc"], instant, "{script}"),
                false => assert_eq!(event["own_zone"], true, "{script}"),
            }
            assert_eq!(event["minutes"].as_f64(), Some(60.0), "{script}");
            let alarms = event["alarm_minutes"].as_array().unwrap();
            let alarms: Vec<_> = alarms.iter().filter_map(|minutes| minutes.as_f64()).collect();
            assert_eq!(alarms, [-1440.0], "{script}");
            assert_eq!(event["sequence"], due.sequence, "{script}");
            assert_eq!(event["status"], "CONFIRMED", "{script}");
            let summary = format!("INVENTED EXAMPLE: {} (job 2026-014)", plain(&due.title));
            assert_eq!(event["summary"], summary.as_str(), "{script}");
            assert_eq!(event["location"], plain(&job.address).as_str(), "{script}");
            let description = event["description"].as_str().unwrap();
            assert!(description.contains(&format!("Owner: {}", plain(&job.owner))), "{script}");
            assert!(description.contains("Phone: 555-0100"), "{script}");
        }
    }
}

/// RFC 5546 sections 3.2.1 and 3.2.5 (from memory): PUBLISH and CANCEL want an
/// ORGANIZER in each event; without one there is no METHOD at all. A cancelled
/// date keeps its UID, says so and reminds nobody.
#[test]
fn a_method_comes_with_an_organizer_and_cancels_what_is_cancelled() {
    let (job, zone) = (example::job(), example::zone());
    let mut due = example::due();
    let of = |due: &[Due], from| write(&[Dates { job: &job, zone: &zone, due }], from).unwrap();
    let from = Some("mailto:office@example.com");
    let plain = of(&due, For::File(None));
    assert!(!plain.contains("METHOD") && !plain.contains("ORGANIZER"), "{plain}");
    let published = of(&due, For::File(from));
    assert!(published.contains("METHOD:PUBLISH\r\n"), "{published}");
    assert_eq!(published.matches("\r\nORGANIZER:mailto:office@example.com\r\n").count(), 2);
    due[0].cancelled_because = Some("sold; gone".to_owned());
    due[0].sequence = 4;
    let mixed = of(&due, For::File(from));
    assert!(mixed.contains("METHOD:PUBLISH\r\n"), "{mixed}");
    assert_eq!(mixed.matches("STATUS:CANCELLED").count(), 1);
    assert_eq!(mixed.matches("BEGIN:VALARM").count(), 1);
    let alone = of(&due[..1], For::File(from));
    assert!(alone.contains("METHOD:CANCEL\r\n") && alone.contains("SEQUENCE:4"), "{alone}");
    assert!(alone.replace("\r\n ", "").contains("Cancelled: sold\\; gone"), "{alone}");
    let feed = of(&due, For::Feed("Follow-ups"));
    assert!(!feed.contains("METHOD") && !feed.contains("ORGANIZER"), "{feed}");
    assert!(feed.contains("STATUS:CANCELLED") && feed.contains("STATUS:CONFIRMED"), "{feed}");
    assert!(feed.contains("REFRESH-INTERVAL;VALUE=DURATION:PT1H\r\nX-PUBLISHED-TTL:PT1H\r\n"));
}

/// One file, several zones: each is spelled out for the dates in it.
#[test]
fn several_zones_share_a_file() {
    let job = example::job();
    let zones = ["America/New_York", "Europe/Madrid", "America/Phoenix", "Australia/Lord_Howe"];
    let zones = zones.map(|name| TimeZone::get(name).unwrap());
    let end = example::at("16:20:00.000");
    let mut intake = example::intake();
    intake.follow_ups[1].after = "P40Y".parse().unwrap();
    let of_zone = |zone: &TimeZone| {
        let working = Working::every_day();
        schedule::due(&job, &[&intake], &example::ended(end), zone, end, &working)
    };
    let dues: Vec<Vec<Due>> = zones.iter().map(of_zone).collect();
    let all = zones.iter().zip(&dues).map(|(zone, due)| Dates { job: &job, zone, due });
    let text = write(&all.collect::<Vec<_>>(), For::File(None)).unwrap();
    assert_eq!(text.matches("BEGIN:VTIMEZONE").count(), 4);
    for (zone, due) in zones.iter().zip(&dues) {
        let name = zone.iana_name().unwrap();
        let own =
            text.split("BEGIN:VTIMEZONE").find(|part| part.contains(&format!("TZID:{name}\r")));
        let onsets = observances(own.unwrap());
        for due in due {
            let local = zone.to_datetime(due.start.instant());
            assert_eq!(local.strftime("%H:%M").to_string(), "09:00", "{name}");
            let in_force = onsets.iter().filter(|(at, _)| *at <= local).max().unwrap();
            assert_eq!(in_force.1, zone.to_offset(due.start.instant()).seconds(), "{name} {local}");
        }
    }
}
