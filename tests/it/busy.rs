//! The office's calendar file: what it takes, what is said of the rest, what
//! others read in it, and that no text makes the reader fall over.

use chalkhand::domain::busy::BusyCalendar;
use chalkhand::files::{Busy, BusyError};
use jiff::Timestamp;
use jiff::ToSpan as _;
use jiff::civil::{Date, date};
use jiff::tz::TimeZone;

use super::files_fuzz::Dice;
use super::{example, outside};

pub(crate) fn read_busy(text: &[u8]) -> Result<Busy, BusyError> {
    chalkhand::files::read_busy(text, &|name| TimeZone::get(name).ok())
}

fn read(events: &str) -> Busy {
    let text = format!("BEGIN:VCALENDAR\nVERSION:2.0\n{events}\nEND:VCALENDAR\n");
    read_busy(text.as_bytes()).unwrap()
}

fn event(lines: &[&str]) -> String {
    format!("BEGIN:VEVENT\nSUMMARY:Roof\\, east\n{}\nEND:VEVENT", lines.join("\n"))
}

/// Starts in 2026 and 2027, as UTC.
fn starts(calendar: &BusyCalendar) -> Vec<String> {
    let mut all: Vec<Timestamp> = taken(calendar).into_iter().map(|(start, _)| start).collect();
    all.sort();
    all.iter().map(ToString::to_string).collect()
}

fn taken(calendar: &BusyCalendar) -> Vec<(Timestamp, Timestamp)> {
    let from: Timestamp = "2026-01-01T00:00:00Z".parse().unwrap();
    calendar.taken(from, "2028-01-01T00:00:00Z".parse().unwrap(), &example::zone())
}

fn starts_of(lines: &[&str]) -> Vec<String> {
    let read = read(&event(lines));
    assert_eq!(read.left_out, Vec::<String>::new());
    starts(&read.calendar)
}

#[test]
fn days_zones_and_lengths() {
    // New York is at -05:00 in January and at -04:00 in July.
    let at = |start: &str| starts_of(&[start, "DURATION:PT1H"]);
    assert_eq!(at("DTSTART:20260105T090000Z"), ["2026-01-05T09:00:00Z"]);
    assert_eq!(at("DTSTART:20260105T090000"), ["2026-01-05T14:00:00Z"]);
    assert_eq!(at("DTSTART;TZID=Europe/Madrid:20260705T090000"), ["2026-07-05T07:00:00Z"]);
    assert_eq!(at("DTSTART;TZID=\"America/New_York\":20260705T090000"), ["2026-07-05T13:00:00Z"]);
    assert_eq!(starts_of(&["DTSTART;VALUE=DATE:20260705"]), ["2026-07-05T04:00:00Z"]);
    let days = read(&event(&["DTSTART;VALUE=DATE:20260307", "DTEND;VALUE=DATE:20260310"]));
    let (from, to) = taken(&days.calendar)[0];
    // Three days with the change of the clock in them.
    assert_eq!(to.duration_since(from).as_hours(), 71);
    let none: [&[&str]; 4] = [
        &["DTSTART:20260105T090000Z"],
        &["DTSTART:20260105T090000Z", "DTEND:20260105T090000Z"],
        &["DTSTART:20260105T090000Z", "DURATION:PT1H", "TRANSP:TRANSPARENT"],
        &["DTSTART:20260105T090000Z", "DURATION:PT1H", "STATUS:CANCELLED"],
    ];
    for lines in none {
        assert_eq!(starts_of(lines), Vec::<String>::new(), "{lines:?}");
    }
}

#[test]
fn what_repeats() {
    let of = |rule: &str, more: &str| {
        starts_of(&["DTSTART:20260131T150000Z", "DURATION:PT1H", &format!("RRULE:{rule}"), more])
    };
    // RFC 5545 section 3.3.10: months without that day are passed over.
    assert_eq!(
        of("FREQ=MONTHLY;COUNT=3", "X-A:b"),
        ["2026-01-31T15:00:00Z", "2026-03-31T15:00:00Z", "2026-05-31T15:00:00Z"]
    );
    assert_eq!(
        of("FREQ=DAILY;INTERVAL=10;UNTIL=20260220T150000Z", "EXDATE:20260210T150000Z"),
        ["2026-01-31T15:00:00Z", "2026-02-20T15:00:00Z"]
    );
    assert_eq!(
        of("FREQ=WEEKLY;INTERVAL=2;WKST=SU;BYDAY=SA,SU;COUNT=4", "X-A:b"),
        // Weeks from Sunday: the 31st ends one, the 8th begins the one after next.
        [
            "2026-01-31T15:00:00Z",
            "2026-02-08T15:00:00Z",
            "2026-02-14T15:00:00Z",
            "2026-02-22T15:00:00Z"
        ]
    );
    assert_eq!(of("FREQ=YEARLY", "X-A:b"), ["2026-01-31T15:00:00Z", "2027-01-31T15:00:00Z"]);
    let replaced = read(&format!(
        "{}\n{}",
        event(&["UID:a", "DTSTART:20260105T150000Z", "DURATION:PT1H", "RRULE:FREQ=DAILY;COUNT=3"]),
        event(&[
            "UID:a",
            "RECURRENCE-ID:20260106T150000Z",
            "DTSTART:20260106T200000Z",
            "DURATION:PT1H"
        ]),
    ));
    assert_eq!(
        starts(&replaced.calendar),
        ["2026-01-05T15:00:00Z", "2026-01-06T20:00:00Z", "2026-01-07T15:00:00Z"]
    );
}

/// What is not understood is left out and said with its line.
#[test]
fn what_is_not_understood_is_said() {
    let at = "DTSTART:20260105T150000Z";
    let cases: [(&[&str], &str); 18] = [
        (&["DURATION:PT1H"], "has no DTSTART"),
        (&["DTSTART:soon", "DURATION:PT1H"], "`soon` is not a date or time"),
        (&["DTSTART:20260230", "DURATION:P1D"], "`20260230` is not a date"),
        (&["DTSTART;TZID=Eastern Standard Time:20260105T090000", "DURATION:PT1H"], "no IANA name"),
        (&["DTSTART;VALUE=PERIOD:20260105T090000", "DURATION:PT1H"], "VALUE=PERIOD"),
        (&[at, "DURATION:an hour"], "`an hour` is not a duration"),
        (&[at, "DURATION:P1M"], "`P1M` is not a duration"),
        (&[at, "DTEND;VALUE=DATE:20260106"], "not both days or both times"),
        (&[at, "DURATION:PT1H", "RDATE:20260106T150000Z"], "RDATE or EXRULE"),
        (&[at, "DURATION:PT1H", "RRULE:FREQ=HOURLY"], "FREQ=HOURLY"),
        (&[at, "DURATION:PT1H", "RRULE:FREQ=MONTHLY;BYDAY=1MO"], "BYDAY with FREQ=MONTHLY"),
        (&[at, "DURATION:PT1H", "RRULE:FREQ=WEEKLY;BYDAY=TU"], "on none of its BYDAY"),
        (&[at, "DURATION:PT1H", "RRULE:FREQ=WEEKLY;BYSETPOS=1"], "the part BYSETPOS"),
        (&[at, "DURATION:PT1H", "RRULE:FREQ=DAILY;INTERVAL=0"], "INTERVAL=0 is not from 1"),
        (&[at, "DURATION:PT1H", "RRULE:FREQ=DAILY;UNTIL=20260301"], "UNTIL=20260301 does not fit"),
        (
            &[at, "DURATION:PT1H", "RRULE:FREQ=DAILY;COUNT=2;UNTIL=20260301T000000Z"],
            "COUNT and UNTIL",
        ),
        (&[at, "DURATION:PT1H", "RRULE:FREQ=DAILY", "RRULE:FREQ=WEEKLY"], "several RRULE"),
        (&[at, "DURATION:PT1H", "RECURRENCE-ID;RANGE=THISANDFUTURE:20260105T150000Z"], "RANGE"),
    ];
    for (lines, why) in cases {
        let read = read(&event(lines));
        assert_eq!(read.calendar.events.len(), 0, "{lines:?}");
        assert_eq!(read.left_out.len(), 1, "{lines:?}: {:?}", read.left_out);
        let told = &read.left_out[0];
        assert!(told.contains(why) && told.contains("“Roof, east”"), "{told}");
        assert!(told.starts_with("line "), "{told}");
    }
    assert_eq!(read_busy(b"<html>").unwrap_err(), BusyError::NotACalendar);
    assert_eq!(read_busy(&vec![b'a'; (16 << 20) + 1]).unwrap_err(), BusyError::TooLarge);
}

/// Folds may stand within a character, beside white space and at tabs.
#[test]
fn folded_lines_are_joined_by_octets() {
    let text = "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nSUMMARY:Da\u{301}ch \r\n  und Stra\u{df}e\r\n\
                DTSTART:2026\r\n\t0105T1500\r\n 00Z\r\nDURATION:PT\r\n 1H\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n";
    let mut bytes = text.as_bytes().to_vec();
    let sharp = bytes.windows(2).position(|pair| pair == "\u{df}".as_bytes()).unwrap();
    bytes.splice(sharp + 1..sharp + 1, *b"\r\n ");
    let read = read_busy(&bytes).unwrap();
    assert_eq!(starts(&read.calendar), ["2026-01-05T15:00:00Z"]);
}

const LINES: [&str; 30] = [
    "BEGIN:VEVENT",
    "END:VEVENT",
    "BEGIN:VALARM",
    "END:VALARM",
    "DTSTART:20260131T090000Z",
    "DTSTART;TZID=America/New_York:20260308T023000",
    "DTSTART;VALUE=DATE:20280229",
    "DTSTART:99991231T235959Z",
    "DTSTART:00000101T000000",
    "DTEND:20260131T100000Z",
    "DTEND;VALUE=DATE:99991231",
    "DURATION:P9999999999W",
    "DURATION:PT1H",
    "DURATION:-PT1H",
    "RRULE:FREQ=DAILY;INTERVAL=10000;COUNT=10000",
    "RRULE:FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR,SA,SU;WKST=SU",
    "RRULE:FREQ=MONTHLY",
    "RRULE:FREQ=YEARLY;INTERVAL=9999",
    "EXDATE:20260131T090000Z,20260201T090000Z",
    "RECURRENCE-ID:20260131T090000Z",
    "UID:a",
    "X;=:",
    "X;A=\"",
    "X;A=\"b\":c",
    ";:",
    ":",
    " folded",
    "\t",
    "TRANSP:TRANSPARENT",
    "BEGIN:VCALENDAR",
];

/// One line in six is hurt.
fn mangled(line: &str, dice: &mut Dice) -> String {
    let mut line = line.as_bytes().to_vec();
    for _ in 0..(dice.roll(6) / 5) * (1 + dice.roll(3)) {
        let at = dice.roll(line.len());
        match dice.roll(3) {
            0 => line.insert(at, b";:=\"\\,\r\n \xff\x00TZ9"[dice.roll(14)]),
            1 if at < line.len() => drop(line.remove(at)),
            _ => line.truncate(at.max(3)),
        }
    }
    String::from_utf8_lossy(&line).into_owned()
}

/// `CHALKHAND_FUZZ_INPUTS` sets how many are tried.
#[test]
fn nothing_panics_in_a_mangled_calendar() {
    let tries = std::env::var("CHALKHAND_FUZZ_INPUTS").ok().and_then(|n| n.parse().ok());
    let place = example::zone();
    let (from, to) = ("2026-01-01T00:00:00Z", "2026-02-01T00:00:00Z");
    let (from, to): (Timestamp, Timestamp) = (from.parse().unwrap(), to.parse().unwrap());
    let mut understood = 0;
    for seed in 0..tries.unwrap_or(4_000_u64) {
        let mut dice = Dice::new(seed);
        let mut text = "BEGIN:VCALENDAR\r\n".to_owned();
        for _ in 0..dice.roll(4) {
            let mut lines = vec!["BEGIN:VEVENT", LINES[4 + dice.roll(5)]];
            lines.extend((0..dice.roll(6)).map(|_| LINES[dice.roll(LINES.len())]));
            lines.push("END:VEVENT");
            for line in lines {
                text.push_str(&mangled(line, &mut dice));
                text.push_str("\r\n");
            }
        }
        if let Ok(read) = read_busy(text.as_bytes()) {
            understood += read.calendar.events.len();
            for (start, end) in read.calendar.taken(from, to, &place) {
                assert!(start < to && from < end && start < end, "seed {seed}");
            }
        }
    }
    assert!(500 < understood, "the fuzz reaches events: {understood}");
}

/// Python `recurring-ical-events` 3.8.2 finds the same instants in calendars
/// drawn at random: all rules that are read, in four zones and none, by days,
/// over the changes of the clock.
#[test]
fn an_outside_reader_finds_the_same_times() {
    let Some(folder) = outside::folder("the office's calendar in recurring-ical-events") else {
        return;
    };
    let zones = ["", ";TZID=America/New_York", ";TZID=Europe/Madrid", ";TZID=Australia/Lord_Howe"];
    let mut dice = Dice::new(7);
    let mut text = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//a//b//EN\r\n".to_owned();
    for number in 0..300 {
        let day: Date = date(2025, 1, 1) + i64::try_from(dice.roll(900)).unwrap().days();
        let stamp = day.strftime("%Y%m%d").to_string();
        let all_day = dice.roll(4) == 0;
        let zone = dice.roll(zones.len() + 1);
        let utc = if zone == zones.len() { "Z" } else { "" };
        let clock = ["023000", "090000", "133000", "011500"][dice.roll(4)];
        let (start, ends) = match all_day {
            true => (format!(";VALUE=DATE:{stamp}"), format!("DURATION:P{}D", 1 + dice.roll(3))),
            false => {
                let zone = zones.get(zone).unwrap_or(&"");
                (format!("{zone}:{stamp}T{clock}{utc}"), "DURATION:PT15M".to_owned())
            }
        };
        let weekday = ["MO", "TU", "WE", "TH", "FR", "SA", "SU"];
        let own = weekday[usize::try_from(day.weekday().to_monday_zero_offset()).unwrap()];
        let other = weekday[dice.roll(7)];
        let freq = match dice.roll(6) {
            0 => "FREQ=DAILY".to_owned(),
            1 => "FREQ=WEEKLY".to_owned(),
            2 if own != other => format!("FREQ=WEEKLY;WKST=SU;BYDAY={own},{other}"),
            2 | 3 => format!("FREQ=WEEKLY;BYDAY={own}"),
            4 => "FREQ=MONTHLY".to_owned(),
            _ => "FREQ=YEARLY".to_owned(),
        };
        let until = day + i64::try_from(dice.roll(500)).unwrap().days();
        let until = until.strftime("%Y%m%d").to_string();
        let end = match dice.roll(3) {
            0 => String::new(),
            1 => format!(";COUNT={}", 1 + dice.roll(40)),
            _ if all_day => format!(";UNTIL={until}"),
            _ if zone == 0 => format!(";UNTIL={until}T235959"),
            _ => format!(";UNTIL={until}T235959Z"),
        };
        let left_out = match (dice.roll(3), all_day) {
            (0, _) => String::new(),
            (_, true) => format!("EXDATE;VALUE=DATE:{stamp}\r\n"),
            (_, false) => format!("EXDATE{start}\r\n"),
        };
        let interval = 1 + dice.roll(4);
        let rule = match dice.roll(5) {
            0 => String::new(),
            _ => format!("RRULE:{freq};INTERVAL={interval}{end}\r\n{left_out}"),
        };
        text.push_str(&format!(
            "BEGIN:VEVENT\r\nUID:{number}\r\nDTSTAMP:20250101T000000Z\r\nDTSTART{start}\r\n{ends}\r\n\
             {rule}END:VEVENT\r\n"
        ));
    }
    text.push_str("END:VCALENDAR\r\n");
    let read = read_busy(text.as_bytes()).unwrap();
    assert_eq!(read.left_out, Vec::<String>::new());
    assert_eq!(read.calendar.events.len(), 300);
    let (from, to) = (Timestamp::from_second(1_767_225_600), Timestamp::from_second(1_830_297_600));
    let (from, to) = (from.unwrap(), to.unwrap());
    let within = |start: i64| (from.as_second()..to.as_second()).contains(&start);
    let own = read.calendar.taken(from, to, &example::zone()).into_iter();
    let own = own.map(|(start, end)| (start.as_second(), end.as_second()));
    let mut own: Vec<(i64, i64)> = own.filter(|(start, _)| within(*start)).collect();
    own.sort_unstable();
    let theirs = outside::run(&folder, "read_busy.py", &text);
    let theirs: Vec<(i64, i64)> = serde_json::from_str(&theirs).unwrap();
    let theirs: Vec<_> = theirs.into_iter().filter(|(start, _)| within(*start)).collect();
    assert!(5_000 < own.len(), "{} times", own.len());
    let missing: Vec<_> = theirs.iter().filter(|time| !own.contains(time)).take(5).collect();
    let more: Vec<_> = own.iter().filter(|time| !theirs.contains(time)).take(5).collect();
    assert!(own == theirs, "missing {missing:?}, more {more:?}");
}
