//! Dates after the job: how they repeat, on which days they are put, what moves
//! them and what does not. Instants are checked by another way than they are
//! computed, over two centuries and in zones with and without summer time.

use std::collections::BTreeMap;

use chalkhand::domain::busy::{BusyCalendar, BusyEvent, Moment};
use chalkhand::domain::schedule::{self, CannotChange};
use chalkhand::domain::{
    At, Due, FollowUp, NewDate, Repeat, RepeatEnd, Standing, Working, entry_json,
};
use jiff::civil::{Date, DateTime, Time, date, time};
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Span, Timestamp, ToSpan};
use proptest::prelude::*;

use super::example;

/// With summer time, by half hours, southern, and without.
const ZONES: [&str; 7] = [
    "America/New_York",
    "America/Phoenix",
    "America/St_Johns",
    "Europe/Dublin",
    "Asia/Kolkata",
    "Australia/Lord_Howe",
    "America/Santiago",
];

fn follow_up(after: &str, repeats: Option<(&str, RepeatEnd)>) -> FollowUp {
    FollowUp {
        id: "look".to_owned(),
        after: after.parse().unwrap(),
        checklist: None,
        title: "Look again".to_owned(),
        lasts_min: 45,
        repeats: repeats.map(|(every, ends)| Repeat { every: every.parse().unwrap(), ends }),
        who: Some("foreman".to_owned()),
        fixed: false,
    }
}

fn any_day() -> impl Strategy<Value = Date> {
    (0_i64..73_000).prop_map(|days| date(2000, 1, 1) + days.days())
}

#[test]
fn the_end_of_a_month_stays_the_end_of_a_month() {
    let of = |after, every, ends, day: Date| {
        let days = follow_up(after, Some((every, ends))).days(day);
        days.iter().map(ToString::to_string).collect::<Vec<_>>()
    };
    assert_eq!(
        of("P1M", "P1M", RepeatEnd::Times(4), date(2027, 1, 31)),
        ["2027-02-28", "2027-03-31", "2027-04-30", "2027-05-31"]
    );
    assert_eq!(
        of("P1Y", "P1Y", RepeatEnd::Times(4), date(2028, 2, 29)),
        ["2029-02-28", "2030-02-28", "2031-02-28", "2032-02-29"]
    );
    assert_eq!(
        of("P6M", "P6M", RepeatEnd::Until("P2Y".parse().unwrap()), date(2026, 8, 31)),
        ["2027-02-28", "2027-08-31", "2028-02-29", "2028-08-31"]
    );
    // After whole days the months are counted from the first date.
    assert_eq!(
        of("P30D", "P1M", RepeatEnd::Times(3), date(2026, 10, 15)),
        ["2026-11-14", "2026-12-14", "2027-01-14"]
    );
}

/// The office as these properties draw it, with what is taken as the test itself
/// keeps it.
#[derive(Debug)]
struct Office {
    working: Working,
    taken: Vec<(Timestamp, Timestamp)>,
}

fn office(zone: &'static str) -> impl Strategy<Value = (Date, Office)> {
    let days = proptest::array::uniform7(any::<bool>());
    let hours = (0_i8..20, 1_i8..4).prop_map(|(from, long)| (from, from + long));
    let off = proptest::collection::vec(0_i64..20, 0..6);
    // Day, minute of it, and how long.
    let busy = proptest::collection::vec((0_i64..16, 0_i64..1440, 1_i64..2000), 0..12);
    (any_day(), days, hours, off, busy).prop_map(move |(day, mut days, (from, to), off, busy)| {
        days[0] |= !days.contains(&true);
        let place = TimeZone::get(zone).unwrap();
        let mut taken = Vec::new();
        let mut events = Vec::new();
        for (later, minute, lasts) in busy {
            let start = (day + later.days()).to_datetime(Time::midnight()) + minute.minutes();
            let begins = start.to_zoned_datetime(place.clone()).unwrap().timestamp();
            let utc = TimeZone::UTC.to_datetime(begins);
            taken.push((begins, begins + SignedDuration::from_mins(lasts)));
            events.push(BusyEvent {
                start: Moment::Zoned(utc, TimeZone::UTC),
                lasts: lasts.minutes(),
                rule: None,
                except: Vec::new(),
            });
        }
        let working = Working {
            days,
            opens: time(from, 0, 0, 0),
            closes: time(to, 0, 0, 0),
            days_off: off.into_iter().map(|later| day + later.days()).collect(),
            busy: BusyCalendar { events },
        };
        (day, Office { working, taken })
    })
}

impl Office {
    /// Whether a date may be held then, by the test's own reckoning.
    fn free(&self, at: DateTime, lasts_min: u32, zone: &TimeZone) -> bool {
        let start = at.to_zoned_datetime(zone.clone()).unwrap().timestamp();
        let end = start + SignedDuration::from_mins(lasts_min.into());
        let day = at.date();
        let weekday = day.weekday().to_monday_zero_offset();
        self.working.days[usize::try_from(weekday).unwrap()]
            && !self.working.days_off.contains(&day)
            && self.taken.iter().all(|(from, to)| end <= *from || *to <= start)
    }
}

fn check_placing(zone: &'static str, day: Date, office: &Office, lasts_min: u32) {
    let place = TimeZone::get(zone).unwrap();
    let planned = day.to_datetime(office.working.opens);
    let (at, placed) = office.working.place(planned, lasts_min, &place).unwrap();
    let local = place.to_datetime(at.instant());
    let instant = planned.to_zoned_datetime(place.clone()).unwrap().timestamp();
    // Every quarter of an hour that would do, the first one first.
    let opens = office.working.opens;
    let mut free = (0..=14_i64).flat_map(|later| {
        let opening = (day + later.days()).to_datetime(opens);
        (0..96_i64).map(move |quarter| opening + (15 * quarter).minutes())
    });
    let first = free.find(|at| {
        let closes = at.date().to_datetime(office.working.closes);
        let fits = at.time() == opens || *at + i64::from(lasts_min).minutes() <= closes;
        opens <= at.time() && *at < closes && fits && office.free(*at, lasts_min, &place)
    });
    match (first, placed) {
        (Some(first), None) => {
            assert_eq!(first, planned, "{zone}: the planned time is free");
            assert_eq!(at.instant(), instant);
        }
        (Some(first), Some(placed)) => {
            assert_ne!(first, planned);
            let expected = first.to_zoned_datetime(place.clone()).unwrap().timestamp();
            assert_eq!(at.instant(), expected, "{zone}: {local}, not {first}");
            assert!(placed.why.starts_with("moved from"), "{}", placed.why);
            assert_eq!(placed.planned.instant(), instant);
        }
        (None, placed) => {
            let placed = placed.expect("it says that nothing is free");
            assert!(placed.why.contains("nothing is free"), "{}", placed.why);
            assert_eq!(at.instant(), instant, "{zone}: nothing is free, so it stays");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    /// Each date has the day of the month the work ended on, or that month's last.
    #[test]
    fn months_keep_their_day(day in any_day(), after in 1_i64..30, every in 1_i64..30) {
        let repeats = Repeat { every: every.months(), ends: RepeatEnd::Times(24) };
        let mut follow_up = follow_up("P1M", None);
        (follow_up.after, follow_up.repeats) = (after.months(), Some(repeats));
        let days = follow_up.days(day);
        prop_assert_eq!(days.len(), 24);
        for (nth, found) in days.iter().enumerate() {
            let months = i64::from(day.year()) * 12 + i64::from(day.month()) - 1
                + after + every * i64::try_from(nth).unwrap();
            prop_assert_eq!(i64::from(found.year()), months.div_euclid(12));
            prop_assert_eq!(i64::from(found.month()), months.rem_euclid(12) + 1);
            prop_assert_eq!(found.day(), day.day().min(found.days_in_month()));
        }
    }

    /// Never on a closed day or a day off, never over what is taken, never more
    /// than 14 days later, never later than needed.
    #[test]
    fn a_date_goes_to_the_first_free_time(
        zone in 0..ZONES.len(),
        lasts in prop_oneof![Just(15_u32), Just(45), Just(120), 1_u32..600],
        drawn in (0..ZONES.len()).prop_flat_map(|zone| (Just(zone), office(ZONES[zone]))),
    ) {
        let _ = zone;
        let (zone, (day, office)) = drawn;
        check_placing(ZONES[zone], day, &office, lasts);
    }

    /// The sequence of a date never falls, rises whenever something a calendar
    /// shows changes, and what was given out is not moved by the office's calendar.
    #[test]
    fn the_sequence_only_rises(steps in proptest::collection::vec((0_u8..5, 0_i64..40, 0_usize..4), 1..14)) {
        let (job, zone) = (example::job(), example::zone());
        let mut intake = example::intake();
        intake.follow_ups.push(follow_up("P1M", Some(("P1M", RepeatEnd::Times(3)))));
        let mut log = example::Log { job: job.number.clone(), entries: example::entries() };
        let mut standing = example::ended(example::at("16:20:00.000"));
        let mut working = Working::default();
        let now = example::at("18:00:00.000");
        let mut before: BTreeMap<String, Due> = BTreeMap::new();
        let mut worked = false;
        for (step, days, which) in steps {
            let dues = schedule::due(&job, &[&intake], &standing, &zone, now, &working);
            let due = &dues[which % dues.len()];
            let draft = match step {
                0 => {
                    let end = example::at("16:20:00.000").instant() + SignedDuration::from_hours(24 * days);
                    standing.walks.get_mut(&chalkhand::domain::WalkId::first("deck-intake")).unwrap().ended = Some(At::new(end, &zone));
                    worked = true;
                    None
                }
                1 => {
                    working.days_off = (0..days).map(|day| date(2026, 11, 1) + day.days()).collect();
                    working.opens = time(i8::try_from(days % 9).unwrap(), 0, 0, 0);
                    None
                }
                2 if standing.issued.contains_key(&due.uid) => {
                    let to = At::new(due.start.instant() + SignedDuration::from_hours(days), &zone);
                    schedule::move_to(&job, due, to, "rain", now, "F. Foreman").ok()
                }
                3 if standing.issued.contains_key(&due.uid) => {
                    schedule::cancel(&job, due, "sold", now, "F. Foreman").ok()
                }
                4 => {
                    let start = At::new(due.start.instant(), &zone);
                    let new = NewDate { start, lasts_min: 30, title: "Call", who: Some("office"), visit: None };
                    Some(schedule::add(&job, &standing, &new, now, "office"))
                }
                _ => None,
            };
            let from = log.entries.len();
            if let Some(draft) = draft {
                log.add(None, "18:00:00.000", &draft.by, draft.how, draft.what);
            }
            log.entries[from..].iter().for_each(|entry| standing.apply(entry));
            let from = log.entries.len();
            let dues = schedule::due(&job, &[&intake], &standing, &zone, now, &working);
            for draft in schedule::issue(&job, &dues, &standing, now, "office") {
                log.add(None, "18:00:00.000", &draft.by, draft.how, draft.what);
            }
            log.entries[from..].iter().for_each(|entry| standing.apply(entry));
            let dues = schedule::due(&job, &[&intake], &standing, &zone, now, &working);
            prop_assert!(schedule::issue(&job, &dues, &standing, now, "office").is_empty());
            for due in &dues {
                if let Some(was) = before.get(&due.uid) {
                    prop_assert_eq!(was.number, due.number, "a number stays");
                    let same = was.start == due.start
                        && was.placed == due.placed
                        && was.title == due.title
                        && was.cancelled_because == due.cancelled_because;
                    if same {
                        prop_assert_eq!(was.sequence, due.sequence);
                    } else {
                        prop_assert!(was.sequence < due.sequence, "{was:?} {due:?}");
                    }
                    // Only the work's end and a person move a date.
                    if step == 1 {
                        prop_assert_eq!(was.start, due.start, "the office's calendar moved it");
                    }
                }
            }
            let numbers: std::collections::BTreeSet<_> = dues.iter().map(|due| due.number).collect();
            prop_assert_eq!(numbers.len(), dues.len(), "numbers are unique");
            before = dues.into_iter().map(|due| (due.uid.clone(), due)).collect();
            let _ = worked;
        }
        // What stands now is what the log says.
        prop_assert_eq!(Standing::of(&log.entries).issued, standing.issued);
    }
}

/// New York: 2027-03-14 02:30 does not exist, 2027-11-07 01:30 comes twice
/// (IANA tzdb). RFC 5545 section 3.3.5: the offset before the gap; the first.
#[test]
fn a_skipped_hour_and_a_double_one() {
    let zone = example::zone();
    let at = |day: Date, opens| {
        let working = Working { opens, ..Working::every_day() };
        let (at, placed) = working.place(day.to_datetime(opens), 30, &zone).unwrap();
        assert!(placed.is_none(), "{placed:?}");
        at.instant().to_string()
    };
    assert_eq!(at(date(2027, 3, 14), time(2, 30, 0, 0)), "2027-03-14T07:30:00Z");
    assert_eq!(at(date(2027, 11, 7), time(1, 30, 0, 0)), "2027-11-07T05:30:00Z");
}

#[test]
fn a_closed_day_moves_it_and_a_fixed_date_stays() {
    let (job, zone) = (example::job(), example::zone());
    let mut intake = example::intake();
    let end = example::at("16:20:00.000");
    let mut working = Working::default();
    working.days_off.insert(date(2026, 11, 16));
    let due = |intake: &chalkhand::domain::Checklist, working: &Working| {
        schedule::due(&job, &[intake], &example::ended(end), &zone, end, working)
    };
    let moved = due(&intake, &working);
    // 30 days after Thursday 2026-10-15 is a Saturday; the Monday after it is off.
    assert_eq!(moved[0].start.to_string(), "2026-11-17T09:00:00.000-05:00");
    let placed = moved[0].placed.as_ref().unwrap();
    assert_eq!(placed.why, "moved from 2026-11-14 09:00: Saturday 2026-11-14 is not a working day");
    let text = chalkhand::export::calendar::ics(&job, &moved, &zone).unwrap();
    let text = text.replace("\r\n ", "");
    assert!(
        text.contains("By the checklist it is due on 2026-11-14\\; moved from 2026-11-14"),
        "{text}"
    );
    intake.follow_ups[0].fixed = true;
    let fixed = due(&intake, &working);
    assert_eq!(fixed[0].start.to_string(), "2026-11-14T09:00:00.000-05:00");
    let refused = schedule::move_to(&job, &fixed[0], end, "rain", end, "office");
    assert!(matches!(refused, Err(CannotChange::Fixed(_))), "{refused:?}");
    // Nothing free in two weeks: it stays, and says so.
    working.days_off = (0..40).map(|day| date(2026, 11, 1) + day.days()).collect();
    intake.follow_ups[0].fixed = false;
    let stays = due(&intake, &working);
    assert_eq!(stays[0].start.date(), date(2026, 11, 14));
    assert!(stays[0].placed.as_ref().unwrap().why.contains("nothing is free in the 14 days"));
}

/// An entry of a date without a change is written as it always was.
#[test]
fn an_entry_without_a_change_keeps_its_members() {
    let (job, zone) = (example::job(), example::zone());
    let end = example::at("16:20:00.000");
    let (standing, working) = (example::ended(end), Working::every_day());
    let due = schedule::due(&job, &[&example::intake()], &standing, &zone, end, &working);
    let draft = schedule::issue(&job, &due, &standing, end, "office").remove(0);
    let json = entry_json::sealed(1, &draft, chalkhand::domain::Hash::START);
    let text = json.canonical().unwrap();
    for member in ["uid", "start", "title", "sequence"] {
        assert!(text.contains(&format!("\"{member}\":")), "{text}");
    }
    assert!(!text.contains("planned") && !text.contains("placed"), "{text}");
}

/// A rule that goes on for ever is looked at where it is asked about only.
#[test]
fn what_repeats_for_ever_is_taken_far_in_the_future() {
    let every_monday = super::busy::read_busy(
        b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nDTSTART;TZID=America/New_York:20260105T090000\r\n\
          DURATION:PT1H\r\nRRULE:FREQ=WEEKLY\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n",
    )
    .unwrap();
    assert_eq!(every_monday.left_out, Vec::<String>::new());
    let zone = example::zone();
    let working = Working { busy: every_monday.calendar, ..Working::default() };
    let monday = date(2199, 7, 1);
    let monday =
        monday + Span::new().days(i64::from((8 - monday.weekday().to_monday_one_offset()) % 7));
    let (at, placed) = working.place(monday.to_datetime(time(9, 0, 0, 0)), 45, &zone).unwrap();
    assert_eq!(zone.to_datetime(at.instant()), monday.to_datetime(time(10, 0, 0, 0)));
    assert!(placed.unwrap().why.contains("is taken in the office's calendar"));
}

/// What a file may say of a date that comes back, and what is told otherwise.
#[test]
fn a_file_says_how_a_date_comes_back() {
    let read = |lines: &str| {
        let text = format!(
            "id = \"x\"\nversion = \"1.0.0\"\ntitle = \"X\"\nyields_to = \"the code\"\n\
             [[step]]\nid = \"a\"\ntitle = \"A\"\nsay = \"Do it.\"\nwhy = \"So.\"\n\
             [[follow_up]]\nafter = \"P1M\"\ntitle = \"Look\"\n{lines}\n"
        );
        chalkhand::files::read_checklist(&text, "x.toml", &chalkhand::roof::functions())
    };
    let list = read("repeats = \"P1Y\"\ntimes = 5\nwho = \"foreman\"\nfixed = true").unwrap();
    let known = &list.follow_ups[0];
    assert!(known.fixed && known.who.as_deref() == Some("foreman"));
    assert_eq!(known.days(date(2026, 1, 31)).len(), 5);
    let list = read("repeats = \"P1Y\"\nuntil = \"P10Y\"").unwrap();
    assert_eq!(list.follow_ups[0].days(date(2026, 1, 31)).len(), 10);
    for (lines, says) in [
        ("repeats = \"P1Y\"", "says when it ends"),
        ("repeats = \"P1Y\"\ntimes = 2\nuntil = \"P9Y\"", "add either"),
        ("times = 5", "add `repeats`"),
        ("until = \"P9Y\"", "add `repeats`"),
        ("repeats = \"P1Y\"\ntimes = 1", "`times` is 2 to 120"),
        ("repeats = \"P1Y\"\ntimes = 121", "a whole number from 0 to 120"),
        ("repeats = \"PT1H\"\ntimes = 5", "whole days, weeks, months or years"),
        ("repeats = \"yearly\"\ntimes = 5", "`yearly` is not a time after the job"),
        ("repeats = \"P1D\"\nuntil = \"P1Y\"", "more than 120 dates"),
        ("who = \"\"", "`who` is empty"),
        ("fixed = 1", "`fixed` is true or false"),
        ("repeat = \"P1Y\"", "a follow-up has no `repeat`"),
    ] {
        let told = read(lines).unwrap_err().to_string();
        assert!(told.contains(says), "{lines}: {told}");
    }
}
