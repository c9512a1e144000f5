//! Repeated walks, accepted deviations and leak calls in what stands: each walk
//! keeps its own, nothing is hidden, and what was written before reads as before.

use std::collections::BTreeSet;
use std::sync::Arc;

use chalkhand::domain::{
    Attention, Call, DeviationKind, Draft, Entry, FactName, Finding, Given, Hash, How, JobFile,
    Key, Pin, PinKind, Repeats, Standing, StepRef, Target, WalkId, Warranty, What, chain,
    entry_json, schedule, walk_id,
};
use chalkhand::export;
use chalkhand::measure::{Quantity, Ratio, Value};
use chalkhand::roof;
use jiff::civil::date;
use jiff::tz::TimeZone;
use proptest::prelude::*;

use crate::{crew, drafts};

/// A log by hand: every draft is committed.
#[derive(Default)]
struct Log(Vec<Entry>);

const MORNING_MS: i64 = 1_798_000_000_000;
const DAY_MS: i64 = 86_400_000;

impl Log {
    fn add(&mut self, walk: Option<&str>, ms: i64, what: What) -> u64 {
        let seq = self.0.len() as u64 + 1;
        let draft = Draft {
            job: "EX-0001".to_owned(),
            walk: walk.map(|walk| walk.parse().unwrap()),
            at: crew::at(MORNING_MS + ms),
            by: "Installer Example".to_owned(),
            how: How::Keys,
            confirmed: Vec::new(),
            what,
            corrects: None,
            key: Key(seq.to_string()),
        };
        let previous = self.0.last().map_or(Hash::START, |entry| entry.hash);
        self.0.push(chain::link(draft, seq, previous).unwrap().0);
        seq
    }

    fn standing(&self) -> Standing {
        Standing::of(&self.0)
    }
}

fn begun() -> What {
    let list = crew::shipped("start-of-day");
    What::WalkBegun { version: list.version, hash: list.hash }
}

fn at(step: &str) -> StepRef {
    StepRef { id: step.to_owned(), row: None }
}

fn wind(mph: i64) -> What {
    let speed = Quantity::new(
        Ratio::int(mph).times(Ratio::new(63_360, 3_600).unwrap()).unwrap(),
        chalkhand::measure::Dimension::SPEED,
    );
    let name = FactName { name: "wind_speed".to_owned(), row: None };
    What::Answered {
        step: at("wind"),
        asked: format!("asked at {mph}"),
        given: Given::Fact(name, Value::Quantity(speed)),
        target: None,
        reason: None,
    }
}

/// A job with these checklists, on which that was logged.
fn file(ids: &[&str], log: Log) -> JobFile {
    let (mut job, facts) = crew::demo_job();
    let checklists: Vec<_> = ids.iter().map(|id| Arc::new(crew::shipped(id))).collect();
    job.pins = checklists
        .iter()
        .map(|list| Pin {
            kind: PinKind::Checklist,
            id: list.id.clone(),
            version: list.version,
            hash: list.hash,
        })
        .collect();
    let mut whole = Log::default();
    for (name, value) in facts.iter() {
        whole.add(None, -1, What::FactGiven(name.clone(), value.clone()));
    }
    let by = whole.0.len() as u64;
    for entry in log.0 {
        let walk = entry.draft.walk.as_ref().map(ToString::to_string);
        let mut what = entry.draft.what;
        // Entries that point at others point at them here too.
        if let What::Accepted { entry, .. } = &mut what {
            *entry += by;
        }
        let at = entry.draft.at.ms() - MORNING_MS;
        whole.add(walk.as_deref(), at, what);
    }
    let standing = whole.standing();
    let profile = Some(Arc::new(crew::demo_profile()));
    JobFile { job, checklists, profile, entries: whole.0, standing }
}

#[test]
fn a_daily_walk_begins_anew_on_another_day() {
    let daily = crew::shipped("start-of-day");
    assert_eq!(daily.repeats, Some(Repeats::Daily));
    let taken = |log: &Log, again: bool, ms: i64| {
        walk_id::taken_up(&log.standing(), &daily, again, crew::at(MORNING_MS + ms))
            .map(|id| id.to_string())
    };
    let mut log = Log::default();
    assert_eq!(taken(&log, false, 0).unwrap(), "start-of-day");
    log.add(Some("start-of-day"), 0, begun());
    assert_eq!(taken(&log, false, 1_000).unwrap(), "start-of-day", "on the same day it goes on");
    assert!(taken(&log, true, 1_000).is_err(), "one of them is open");
    assert_eq!(taken(&log, false, DAY_MS).unwrap(), "start-of-day/2", "left open yesterday");
    log.add(Some("start-of-day"), 2_000, What::WalkEnded);
    assert_eq!(taken(&log, false, 3_000).unwrap(), "start-of-day", "ended today");
    assert_eq!(taken(&log, true, 3_000).unwrap(), "start-of-day/2", "asked for");
    assert_eq!(taken(&log, false, DAY_MS).unwrap(), "start-of-day/2");
    // A clock that was set back begins nothing.
    assert_eq!(taken(&log, false, -DAY_MS).unwrap(), "start-of-day");
    log.add(Some("start-of-day/2"), DAY_MS, begun());
    assert_eq!(taken(&log, false, DAY_MS + 1_000).unwrap(), "start-of-day/2");
}

#[test]
fn another_checklist_is_repeated_only_where_it_is_asked_for() {
    let list = crew::shipped("leak-visit");
    assert_eq!(list.repeats, None);
    let mut log = Log::default();
    log.add(Some("leak-visit"), 0, begun());
    let taken = |log: &Log, again| {
        let now = crew::at(MORNING_MS + 9 * DAY_MS);
        walk_id::taken_up(&log.standing(), &list, again, now).map(|id| id.to_string())
    };
    assert_eq!(taken(&log, false).unwrap(), "leak-visit");
    let open = taken(&log, true).unwrap_err();
    assert!(open.to_string().contains("leak-visit is open: finish it first"), "{open}");
    log.add(Some("leak-visit"), 1_000, What::WalkEnded);
    assert_eq!(taken(&log, false).unwrap(), "leak-visit");
    assert_eq!(taken(&log, true).unwrap(), "leak-visit/2");
}

/// Yesterday's numbers stay yesterday's; today's are the newest.
#[test]
fn an_earlier_walk_keeps_its_words_and_its_numbers() {
    let mut log = Log::default();
    log.add(Some("start-of-day"), 0, begun());
    log.add(Some("start-of-day"), 60_000, wind(8));
    log.add(Some("start-of-day"), 70_000, What::WalkEnded);
    log.add(Some("start-of-day/2"), DAY_MS, begun());
    log.add(Some("start-of-day/2"), DAY_MS + 60_000, wind(40));
    let file = file(&["start-of-day"], log);
    let record = file.record(&roof::functions());
    let ids: Vec<String> = record.walks.iter().map(|walk| walk.id.to_string()).collect();
    assert_eq!(ids, ["start-of-day", "start-of-day/2"]);
    let asked = |walk: usize| {
        let steps = &record.walks[walk].steps;
        let step = steps.iter().find(|step| step.at.id == "wind").unwrap();
        step.settled.as_ref().unwrap().asked.clone().unwrap()
    };
    assert_eq!((asked(0), asked(1)), ("asked at 8".to_owned(), "asked at 40".to_owned()));
    let stops = |walk: usize| record.walks[walk].steps.iter().any(|s| s.at.id == "wind-stop");
    assert!(!stops(0), "it was not too windy on the first day");
    assert!(stops(1), "it is today");
    let allows = |walk: usize| {
        let of = record.walks[walk].measures.iter().find(|m| m.name.name == "wind_allows");
        of.unwrap().shown.clone().unwrap()
    };
    assert_ne!(allows(0), allows(1));
    // A sheet has the numbers of now alone.
    let now = file.record_of_now(&roof::functions());
    let ids: Vec<String> = now.walks.iter().map(|walk| walk.id.to_string()).collect();
    assert_eq!(ids, ["start-of-day/2"]);
    let page = export::html::record(&record, &[]);
    assert!(page.contains("Start of the day on a roof (walk 2)"));
    let json = export::json::record(&record, &[]).canonical().unwrap();
    assert!(json.contains("\"walk\":\"start-of-day/2\""), "{json}");
}

/// Another day's weather asks nothing of a walk that had ended before.
#[test]
fn a_further_walk_does_not_reach_back_to_what_has_ended() {
    let air = |text: &str| {
        let name = FactName { name: "air_temperature".to_owned(), row: None };
        let kind = crew::shipped("deck-intake").fact("air_temperature").unwrap().kind.clone();
        (name, chalkhand::domain::parse_answer(text, &kind).unwrap())
    };
    let cold = |ms: i64| {
        let (name, value) = air("10 degF");
        let given = Given::Fact(name, value);
        let (step, asked) = (at("air"), String::new());
        (ms, What::Answered { step, asked, given, target: None, reason: None })
    };
    let asks = |ended: bool, walk: &str| {
        let mut log = Log::default();
        let (name, value) = air("70 degF");
        log.add(None, 0, What::FactGiven(name, value));
        log.add(Some("deck-intake"), 0, begun());
        if ended {
            log.add(Some("deck-intake"), 1_000, What::WalkEnded);
        }
        log.add(Some(walk), DAY_MS, begun());
        let (ms, what) = cold(DAY_MS + 1_000);
        log.add(Some(walk), ms, what);
        let file = file(&["start-of-day", "deck-intake"], log);
        let record = file.record(&roof::functions());
        let deck = record.walks.iter().find(|walk| walk.id.checklist == "deck-intake").unwrap();
        deck.steps.iter().any(|step| step.at.id == "hand-seal-cold")
    };
    assert!(asks(false, "start-of-day/2"), "an open walk goes by what is known now");
    assert!(asks(true, "start-of-day"), "so does one that ended before the first");
    assert!(!asks(true, "start-of-day/2"), "an ended one does not go by another day's cold");
}

#[test]
fn a_walk_that_was_overtaken_is_told_and_told_how_to_mend() {
    let mut log = Log::default();
    log.add(Some("start-of-day"), 0, begun());
    log.add(Some("start-of-day/2"), DAY_MS, begun());
    let record = file(&["start-of-day"], log).record(&roof::functions());
    let told: Vec<String> = record
        .attention
        .iter()
        .map(|need| export::words::attention(need, None))
        .filter(|line| line.starts_with("Not finished"))
        .collect();
    assert_eq!(told.len(), 2, "{told:?}");
    assert!(told.iter().any(|line| line.contains("a later walk of it was begun")), "{told:?}");
    assert!(told.iter().any(|line| line.contains("start-of-day/2")), "{told:?}");
}

#[test]
fn each_ended_walk_has_its_own_dates_and_the_first_keeps_its_names() {
    let mut log = Log::default();
    for (walk, days) in [("leak-visit", 0), ("leak-visit/2", 90)] {
        log.add(Some(walk), days * DAY_MS, begun());
        log.add(Some(walk), days * DAY_MS + 1_000, What::WalkEnded);
    }
    let (job, _) = crew::demo_job();
    let list = crew::shipped("leak-visit");
    let now = crew::at(MORNING_MS + 100 * DAY_MS);
    let due = schedule::due(
        &job,
        &[&list],
        &log.standing(),
        &TimeZone::UTC,
        now,
        &chalkhand::domain::Working::default(),
    );
    let uids: BTreeSet<&str> = due.iter().map(|due| due.uid.as_str()).collect();
    assert_eq!(
        uids,
        BTreeSet::from([
            "EX-0001.leak-visit.next-rain@chalkhand",
            "EX-0001.leak-visit.next-season@chalkhand",
            "EX-0001.leak-visit/2.next-rain@chalkhand",
            "EX-0001.leak-visit/2.next-season@chalkhand",
        ])
    );
    let start = |uid: &str| due.iter().find(|due| due.uid == uid).unwrap().start.date();
    let (first, second) = (
        start("EX-0001.leak-visit.next-rain@chalkhand"),
        start("EX-0001.leak-visit/2.next-rain@chalkhand"),
    );
    assert_eq!(first.until(second).unwrap().get_days(), 90);
}

fn off_target(step: &str) -> What {
    What::Answered {
        step: at(step),
        asked: "Fit to work?".to_owned(),
        given: Given::Chosen("too windy".to_owned()),
        target: Some(Target::OneOf(vec!["fit to work".to_owned()])),
        reason: Some("We wait.".to_owned()),
    }
}

fn accepted(entry: u64, kinds: &[DeviationKind]) -> What {
    What::Accepted {
        entry,
        step: at("weather"),
        kinds: kinds.to_vec(),
        role: "foreman".to_owned(),
        reason: "It stays dry.".to_owned(),
    }
}

/// Accepted is not open, and still told with who, when and why.
#[test]
fn what_was_accepted_is_no_longer_open_and_never_hidden() {
    let mut log = Log::default();
    log.add(Some("deck-intake"), 0, begun());
    let off = log.add(Some("deck-intake"), 60_000, off_target("weather"));
    let skip = What::Skipped { step: at("tied-off"), reason: "No rope.".to_owned() };
    log.add(Some("deck-intake"), 90_000, skip);
    // Of another kind than the entry shows: it accepts nothing.
    log.add(Some("deck-intake"), 95_000, accepted(off, &[DeviationKind::TooFast]));
    let has = |needs: &[Attention], step: &str| {
        needs.iter().any(|need| need.step.as_ref().is_some_and(|at| at.id == step))
    };
    let before = file(&["deck-intake"], Log(log.0.clone())).record(&roof::functions());
    assert!(has(&before.attention, "weather"), "{:?}", before.attention);
    log.add(Some("deck-intake"), 99_000, accepted(off, &[DeviationKind::OffTarget]));
    let after = file(&["deck-intake"], log).record(&roof::functions());
    assert!(!has(&after.attention, "weather"), "{:?}", after.attention);
    assert!(has(&after.attention, "tied-off"));
    assert_eq!(before.deviations.len(), after.deviations.len());
    let told = after.deviations.iter().find(|d| d.need.step == Some(at("weather"))).unwrap();
    assert_eq!(told.accepted.as_ref().unwrap().reason, "It stays dry.");
    let page = export::html::record(&after, &[]);
    assert!(page.contains("Deviations that were accepted"), "{page}");
    assert!(page.contains("It stays dry.") && page.contains("We wait."));
    let json = export::json::record(&after, &[]).canonical().unwrap();
    assert!(json.contains("\"reason\":\"It stays dry.\""));
}

/// Accepting lies beside the work: it makes no later step look too fast.
#[test]
fn accepting_makes_no_step_look_too_fast() {
    let list = crew::shipped("deck-intake");
    let slow = |step: &&chalkhand::domain::Step| step.least_s.is_some_and(|s| 10 <= s);
    let slow = list.steps.iter().filter(slow).find(|step| step.id != "weather").unwrap();
    let done = |step: &str| What::Answered {
        step: at(step),
        asked: String::new(),
        given: Given::Done,
        target: None,
        reason: None,
    };
    let too_fast = |accepts: bool, ms: i64| {
        let mut log = Log::default();
        log.add(Some("deck-intake"), 0, begun());
        let off = log.add(Some("deck-intake"), 1_000, off_target("weather"));
        if accepts {
            log.add(Some("deck-intake"), ms - 500, accepted(off, &[DeviationKind::OffTarget]));
        }
        log.add(Some("deck-intake"), ms, done(&slow.id));
        let record = file(&["deck-intake"], log).record(&roof::functions());
        let fast = |d: &&chalkhand::domain::Deviation| {
            DeviationKind::of(&d.need.about) == Some(DeviationKind::TooFast)
                && d.need.step == Some(at(&slow.id))
        };
        record.deviations.iter().filter(fast).count()
    };
    let long = 2_000 + i64::from(slow.least_s.unwrap()) * 1_000;
    assert_eq!(too_fast(false, 2_000), 1, "it is seen at all");
    assert_eq!((too_fast(false, long), too_fast(true, long)), (0, 0));
}

/// A version that was pinned stays pinned.
#[test]
fn what_is_pinned_later_replaces_nothing() {
    let pin = |version: &str| {
        let (kind, id) = (PinKind::Checklist, "leak-visit".to_owned());
        What::Pinned(Pin { kind, id, version: version.parse().unwrap(), hash: Hash::START })
    };
    let mut log = Log::default();
    log.add(None, 0, What::JobOpened(crew::demo_job().0));
    log.add(None, 1_000, pin("1.0.0"));
    log.add(None, 2_000, pin("2.0.0"));
    let job = log.standing().job.unwrap();
    let versions: Vec<String> = job.pins.iter().map(|pin| pin.version.to_string()).collect();
    assert_eq!(versions, ["1.0.0"]);
}

fn call(id: u32) -> What {
    What::CallbackOpened(Box::new(Call {
        id,
        reported: date(2026, 12, 23),
        water: "by the chimney".to_owned(),
        rows: Vec::new(),
        edge: None,
        caller: "Owner Example".to_owned(),
        phone: None,
    }))
}

fn closed(id: u32, found: &str) -> What {
    What::CallbackClosed(Box::new(Finding {
        id,
        found: found.to_owned(),
        cause: None,
        done: None,
        steps: Vec::new(),
        warranty: Warranty::Undecided,
        visit_left_open: None,
    }))
}

/// A call covers the entries from its opening to its closing, and names the
/// record it follows.
#[test]
fn a_call_is_an_addendum_to_the_record_before_it() {
    let mut log = Log::default();
    log.add(Some("leak-visit"), 0, begun());
    log.add(None, 1_000, call(1));
    let visit: WalkId = "leak-visit/2".parse().unwrap();
    log.add(None, 2_000, What::CallbackVisited { id: 1, visit: visit.clone() });
    log.add(Some("leak-visit/2"), 3_000, begun());
    log.add(Some("leak-visit"), 4_000, What::WalkEnded);
    log.add(None, 5_000, closed(1, "a nail"));
    log.add(None, 6_000, closed(1, "something else"));
    log.add(None, 7_000, call(2));
    log.add(Some("leak-visit/2"), 8_000, What::WalkEnded);
    let file = file(&["leak-visit"], log);
    let record = file.record(&roof::functions());
    let [first, second] = record.callbacks.as_slice() else { panic!("{:?}", record.callbacks) };
    let by = (file.entries.len() - 9) as u64;
    assert_eq!(first.covers, (by + 2, by + 6));
    let head = &file.entries[usize::try_from(by).unwrap()];
    assert_eq!(first.follows, Some((head.seq, head.hash)));
    let own: Vec<u64> = first.entries.iter().map(|entry| entry.seq - by).collect();
    assert_eq!(own, [2, 3, 4, 6, 9], "its own and those of its visit");
    assert_eq!(first.standing.closed.as_ref().unwrap().0.found, "a nail", "the first stands");
    assert_eq!(second.covers, (by + 8, by + 9), "open: to the last entry");
}

/// What the program wrote before there were repeated walks: the same entries,
/// the same text to the letter, the same hash.
#[test]
fn old_entries_read_as_before() {
    let text = include_str!("data/old-entries.txt");
    let mut entries: Vec<Entry> = Vec::new();
    for line in text.lines() {
        let (hash, body) = line.split_once(' ').unwrap();
        let json = drafts::json(body);
        let entry = entry_json::read(&json, hash.parse().unwrap()).unwrap();
        let again = entry_json::sealed(entry.seq, &entry.draft, entry.previous);
        assert_eq!(again.canonical().unwrap(), body);
        assert_eq!(Hash::of(body.as_bytes()).to_string(), hash);
        let walk = json.get("checklist").and_then(chalkhand::domain::Json::as_text);
        let read = entry.draft.walk.as_ref();
        assert_eq!(read.map(ToString::to_string).as_deref(), walk, "{body}");
        assert!(read.is_none_or(|walk| walk.nth == 1));
        entries.push(entry);
    }
    assert!(150 < entries.len());
    let standing = Standing::of(&entries);
    let walks: Vec<String> = standing.walks.keys().map(ToString::to_string).collect();
    assert_eq!(walks, ["closing-inspection", "deck-intake"]);
    assert!(standing.walks[&WalkId::first("closing-inspection")].ended.is_some());
    assert!(standing.callbacks.is_empty() && standing.accepted.is_empty());
}

/// Which walk an entry is of is never guessed.
#[test]
fn a_walk_that_is_not_its_checklists_is_refused() {
    let mut log = Log::default();
    log.add(Some("leak-visit/2"), 0, begun());
    let entry = &log.0[0];
    let good = entry_json::sealed(1, &entry.draft, entry.previous).canonical().unwrap();
    assert!(
        good.contains(r#""checklist":"leak-visit""#) && good.contains(r#""walk":"leak-visit/2""#)
    );
    assert!(entry_json::read(&drafts::json(&good), entry.hash).is_ok());
    for wrong in ["leak-visit", "deck-intake/2", "leak-visit/1", "leak-visit/02", "leak-visit/x"] {
        let bad = good.replace(r#""walk":"leak-visit/2""#, &format!(r#""walk":"{wrong}""#));
        let error = entry_json::read(&drafts::json(&bad), entry.hash).unwrap_err();
        assert_eq!(error.field, "walk", "{wrong}");
    }
}

// --- whatever is logged ---------------------------------------------------------

fn any_what() -> impl Strategy<Value = (Option<&'static str>, What)> {
    let walk = prop::sample::select(vec!["leak-visit", "leak-visit/2", "leak-visit/3"]);
    let step = prop::sample::select(vec!["weather", "tied-off", "ladder"]);
    let kinds = prop::collection::vec(prop::sample::select(DeviationKind::ALL.to_vec()), 0..3);
    let visit = prop::sample::select(vec!["leak-visit/2", "leak-visit/3"]);
    prop_oneof![
        2 => walk.clone().prop_map(|walk| (Some(walk), begun())),
        2 => walk.clone().prop_map(|walk| (Some(walk), What::WalkEnded)),
        4 => (walk.clone(), step.clone()).prop_map(|(walk, step)| (Some(walk), off_target(step))),
        2 => (walk.clone(), step).prop_map(|(walk, step)| {
            (Some(walk), What::Skipped { step: at(step), reason: "no".to_owned() })
        }),
        4 => (walk, 1_u64..20, kinds).prop_map(|(walk, entry, kinds)| {
            (Some(walk), accepted(entry, &kinds))
        }),
        1 => (1_u32..4).prop_map(|id| (None, call(id))),
        1 => (1_u32..4, visit).prop_map(|(id, visit)| {
            (None, What::CallbackVisited { id, visit: visit.parse().unwrap() })
        }),
        1 => (1_u32..4).prop_map(|id| (None, closed(id, "x"))),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// A walk stands as its own entries say, whatever is logged of others.
    #[test]
    fn each_walk_keeps_its_own(all in prop::collection::vec(any_what(), 0..24)) {
        let mut log = Log::default();
        for (n, (walk, what)) in (0_i64..).zip(all) {
            log.add(walk, n * 1_000, what);
        }
        let standing = log.standing();
        for (id, stands) in &standing.walks {
            let own = log.0.iter().filter(|entry| entry.draft.walk.as_ref() == Some(id));
            let alone = Standing::of(own);
            let alone = alone.walks.get(id).cloned().unwrap_or_default();
            prop_assert_eq!(stands, &alone, "{}", id);
        }
        // Entry by entry or at once: the same.
        let mut bit_by_bit = Standing::default();
        for entry in log.0.iter().chain(&log.0) {
            bit_by_bit.apply(entry);
        }
        prop_assert_eq!(bit_by_bit, standing);
    }

    /// Accepting takes from what is open exactly what was accepted, and takes
    /// nothing from what is told.
    #[test]
    fn accepting_hides_nothing(all in prop::collection::vec(any_what(), 0..24)) {
        let (mut log, mut without) = (Log::default(), Log::default());
        for (n, (walk, what)) in (0_i64..).zip(all) {
            // A note in its place, so that entries keep their numbers.
            let note = What::Noted { step: None, text: String::new(), clip: None };
            let kept = if matches!(what, What::Accepted { .. }) { note } else { what.clone() };
            log.add(walk, n * 1_000, what);
            without.add(walk, n * 1_000, kept);
        }
        let (log, without) = (file(&["leak-visit"], log), file(&["leak-visit"], without));
        let (with, before) =
            (log.record(&roof::functions()), without.record(&roof::functions()));
        let told = |record: &chalkhand::domain::Record| {
            record.deviations.iter().map(|d| d.need.clone()).collect::<Vec<_>>()
        };
        prop_assert_eq!(told(&with), told(&before));
        for need in &before.attention {
            let of = with.deviations.iter().find(|d| d.need == *need);
            let accepted = of.is_some_and(|d| d.accepted.is_some());
            prop_assert_eq!(with.attention.contains(need), !accepted, "{:?}", need);
        }
        for deviation in with.deviations.iter().filter(|d| d.accepted.is_some()) {
            let kind = DeviationKind::of(&deviation.need.about).unwrap();
            let of = deviation.need.seq.unwrap();
            let says = |entry: &&Entry| matches!(&entry.draft.what,
                What::Accepted { entry, kinds, .. } if *entry == of && kinds.contains(&kind));
            prop_assert!(log.entries.iter().any(|entry| says(&entry)));
        }
    }

    /// The first opening and the first closing of a call stand.
    #[test]
    fn a_call_is_opened_and_closed_once(all in prop::collection::vec(any_what(), 0..24)) {
        let mut log = Log::default();
        for (n, (walk, what)) in (0_i64..).zip(all) {
            log.add(walk, n * 1_000, what);
        }
        for (id, stands) in log.standing().callbacks {
            let opened = log.0.iter().find(|entry| {
                matches!(&entry.draft.what, What::CallbackOpened(call) if call.id == id)
            });
            let opened = opened.unwrap().seq;
            prop_assert_eq!(stands.opened.seq, opened);
            let closed = log.0.iter().filter(|entry| opened < entry.seq).find(|entry| {
                matches!(&entry.draft.what, What::CallbackClosed(finding) if finding.id == id)
            });
            prop_assert_eq!(stands.closed.map(|(_, l)| l.seq), closed.map(|entry| entry.seq));
        }
    }
}

#[test]
fn a_repetition_nobody_knows_is_told() {
    let (_, text) =
        chalkhand::files::SHIPPED.iter().find(|(n, _)| *n == "start-of-day.toml").unwrap();
    let wrong = text.replace("repeats = \"daily\"", "repeats = \"weekly\"");
    let problems =
        chalkhand::files::read_checklist(&wrong, "a.toml", &roof::functions()).unwrap_err();
    let told = problems.to_string();
    assert!(told.contains("`weekly` is no repetition"), "{told}");
    assert!(told.contains("a.toml:5:"), "{told}");
}
