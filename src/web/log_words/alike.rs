//! What the pages say in English is what the record says, to the letter; in
//! Spanish no sentence was left in English.

use super::super::foreign::foreign;
use super::*;
use crate::domain::Language;
use crate::domain::busy::{BusyEvent, Moment};
use crate::domain::desk::{DeskStep, Place, Rank, WhyPlace, WhyStep};
use crate::domain::{
    At, Cautions, Due, Hash, Heard, Media, Outcome, Pin, Placed, RecordStep, Roles, Settled,
    Version, Working, entry_json,
};
use crate::export::desk as export;
use crate::office::dates::{Undated, Unusual};

fn english() -> LogWords<'static> {
    LogWords { words: Words::of(Language::English), units: Units::Us, names: &[] }
}

fn at(text: &str) -> At {
    text.parse().unwrap()
}

fn step(text: &str) -> StepRef {
    let Ok(step) = text.parse();
    step
}

fn photo(taken: Option<&str>) -> Photo {
    Photo {
        sha256: Hash::of(b"a"),
        media: Media::Jpeg,
        size_bytes: 9,
        width_px: 640,
        height_px: 480,
        preview_sha256: Hash::of(b"b"),
        taken: taken.map(str::to_owned),
        caption: None,
        given_sha256: None,
    }
}

fn check(trust: Trust, because: Because) -> HearingCheck {
    HearingCheck {
        source: "Helmet".to_owned(),
        noise_tenth_dbfs: -523,
        speech_tenth_dbfs: 4,
        phrases: Vec::new(),
        commands: Verdict { trust, because },
        numbers: Verdict { trust: Trust::Trusted, because: Because::Clear },
    }
}

fn named() -> NamedStep {
    NamedStep { checklist: "deck-intake".to_owned(), step: step("cut#1") }
}

fn finding(cause: Option<&str>, warranty: Warranty) -> What {
    let cause = cause.map(str::to_owned);
    What::CallbackClosed(Box::new(Finding {
        id: 2,
        found: "a nail {step}".to_owned(),
        done: cause.clone(),
        visit_left_open: cause.clone(),
        steps: cause.iter().map(|_| named()).collect(),
        cause,
        warranty,
    }))
}

/// One of every kind that the old log has none of, and forms it has none of.
fn more() -> Vec<What> {
    let text = str::to_owned;
    let (uid, start) = (text("u@x"), at("2026-11-26T10:00:00-05:00"));
    let (title, reason) = (text("Look {when}"), text("it rained"));
    let entry = 7;
    let walk = || "leak-visit".parse().unwrap();
    let accepted = |kinds: &[DeviationKind]| What::Accepted {
        entry,
        step: step("cut#2"),
        role: text("foreman"),
        reason: text("sound"),
        kinds: kinds.to_vec(),
    };
    let call = Call {
        id: 2,
        reported: "2026-11-26".parse().unwrap(),
        water: text("by the {id} window"),
        rows: vec![RowRef { table: text("plane"), row: 2 }],
        edge: Some(text("valley")),
        caller: text("Owner Example"),
        phone: Some(text("555-0100")),
    };
    let device = text("a phone");
    let (name, called) = (text("Office Example"), text("script"));
    let mut all = vec![
        What::Pinned(Pin {
            kind: PinKind::Checklist,
            id: text("leak-visit"),
            version: "1.0.0".parse().unwrap(),
            hash: Hash::of(b"c"),
        }),
        What::HearingChecked(Box::new(check(Trust::Trusted, Because::Clear))),
        What::HearingChecked(Box::new(check(Trust::Repeats, Because::Barely))),
        What::HearingChecked(Box::new(check(Trust::Repeats, Because::Again))),
        What::HearingChecked(Box::new(check(Trust::Not, Because::Missed))),
        What::HearingChecked(Box::new(check(Trust::Not, Because::Mistaken))),
        What::EarClosed,
        What::Noted { step: None, text: text("“so”"), clip: None },
        What::Noted { step: Some(step("cut#2")), text: text("so"), clip: None },
        accepted(&[DeviationKind::OffTarget, DeviationKind::TooFast]),
        accepted(&[DeviationKind::Skipped, DeviationKind::PhotosMissing]),
        What::CallbackOpened(Box::new(call)),
        What::CallbackVisited { id: 2, visit: walk() },
        finding(None, Warranty::Undecided),
        finding(Some("age"), Warranty::Under),
        finding(Some("age"), Warranty::Outside),
        What::FollowUpIssued {
            uid: uid.clone(),
            start,
            title: title.clone(),
            sequence: 1,
            placed: None,
        },
        What::FollowUpMoved { uid: uid.clone(), start, reason: reason.clone(), sequence: 1 },
        What::FollowUpCancelled { uid: uid.clone(), reason, sequence: 2 },
        What::FollowUpAdded {
            uid,
            start,
            lasts_min: 30,
            title,
            who: None,
            checklist: None,
            callback: None,
        },
        What::PersonSet { name: name.clone(), roles: Roles::all() },
        What::PersonLeft { name: name.clone() },
        What::SignedIn { device: device.clone() },
        What::SignInEnded { name: name.clone(), device },
        What::KeyMade { name: name.clone(), called: called.clone() },
        What::KeyEnded { name, called },
    ];
    for keeps in Keeps::ALL {
        for check in [None, Some(3)] {
            all.push(What::EarOpened { source: text("{keeps}"), keeps, check });
        }
    }
    all
}

#[test]
fn in_english_the_pages_say_what_the_record_says() {
    let old = include_str!("../../../tests/it/data/old-entries.txt").lines().map(|line| {
        let (hash, body) = line.split_once(' ').unwrap();
        let json = crate::store::read_json(body).unwrap();
        entry_json::read(&json, hash.parse().unwrap()).unwrap().draft
    });
    let hows = [How::Keys, How::Touch, How::Command, How::File, How::Program, How::Http];
    for how in hows {
        assert_eq!(english().how(&how), told::how(&how));
    }
    let (mut seen, mut all) = (std::collections::BTreeSet::new(), more());
    all.extend(old.map(|draft| draft.what));
    for what in &all {
        seen.insert(what.word());
        for title in [None, Some("Cut {step} the slot")] {
            let record = told::what(what, title, Units::Us);
            assert_eq!(english().what(what, title), record, "{what:?}");
            if let What::Answered { target: Some(target), .. } = what {
                assert_eq!(english().target(target), told::target(target, Units::Us));
            }
        }
    }
    assert_eq!(seen.len(), 31, "every kind but photos, which lie nowhere here: {seen:?}");
    let kept = |step| What::PhotoKept { step, photo: Box::new(photo(None)) };
    assert_eq!(english().what(&kept(None), None), "photo kept");
    assert_eq!(english().what(&kept(Some(step("cut#1"))), None), "photo kept at cut, row 1");
    for taken in [None, Some("2026-11-25T10:04:00")] {
        assert_eq!(english().size(&photo(taken)), crate::export::photos::size(&photo(taken)));
    }
}

fn needs() -> Vec<Attention> {
    let text = str::to_owned;
    let version = |text: &str| -> Version { text.parse().unwrap() };
    let abouts = [
        About::HoldWaiting { role: text("foreman"), since: at("2026-11-26T10:00:00-05:00") },
        About::OffTarget { reason: Some(text("the board is {step}.")) },
        About::OffTarget { reason: None },
        About::AskedOtherwise { asked: text("Nail\n{now}"), now: text("Nail 2.") },
        About::Skipped { reason: text("no need.") },
        About::PhotosMissing { asked: 1, taken: 0 },
        About::PhotosMissing { asked: 2, taken: 1 },
        About::PhotosMissing { asked: 2, taken: 0 },
        About::TooFast { took_s: 3, least_s: 60 },
        About::ClockJump { back_s: 90 },
        About::NotBegun,
        About::Unfinished { open: 1, overtaken: false },
        About::Unfinished { open: 3, overtaken: true },
        About::NewerAdopted { pinned: version("1.0.0"), newest: version("1.1.0") },
    ];
    let steps = [None, Some(step("cut#2"))];
    let of = |about: &About, step: &Option<StepRef>| Attention {
        walk: "deck-intake".parse().unwrap(),
        step: step.clone(),
        seq: Some(3),
        about: about.clone(),
    };
    abouts.iter().flat_map(|about| steps.iter().map(|step| of(about, step))).collect()
}

#[test]
fn what_needs_attention_and_what_was_accepted_are_told_alike() {
    for need in needs() {
        for title in [None, Some("Cut")] {
            assert_eq!(english().attention(&need, title), told::attention(&need, title));
        }
    }
    let accepted = Acceptance {
        seq: 9,
        at: at("2026-11-26T10:00:00-05:00"),
        by: "Foreman {role}".to_owned(),
        role: "foreman".to_owned(),
        how: How::Command,
        reason: "sound".to_owned(),
        kinds: Vec::new(),
    };
    assert_eq!(english().accepted(&accepted), callback::accepted(&accepted));
}

#[test]
fn when_the_ear_was_open_is_told_alike() {
    let opened = at("2026-11-26T10:00:00-05:00");
    let days = ["2026-11-26T11:00:00-05:00", "2026-11-27T11:00:00-05:00"];
    let checks = [Checked { seq: 4, at: opened, check: check(Trust::Repeats, Because::Barely) }];
    let closed = [None, Some(at(days[0])), Some(at(days[1]))];
    let ears: Vec<EarOpen> = [None, Some(4), Some(5)]
        .into_iter()
        .zip(closed)
        .zip(Keeps::ALL)
        .enumerate()
        .map(|(nth, ((check, closed), keeps))| EarOpen {
            seq: 6,
            by: ["Installer Example", "Other"][nth % 2].to_owned(),
            source: "Helmet".to_owned(),
            keeps,
            check,
            opened,
            closed,
        })
        .collect();
    assert_eq!(english().ears(&ears, &checks), sound::by_person(&ears, &checks));
    assert_eq!(ears.len(), 3);
}

fn row(table: &str, row: u32) -> RowRef {
    RowRef { table: table.to_owned(), row }
}

/// One of each reason why a step stands where it stands, and a row is a place.
fn reasons() -> (Vec<WhyStep>, Vec<Place>) {
    let mut steps = vec![
        WhyStep::AskedOtherwise,
        WhyStep::NotLogged,
        WhyStep::Corrected,
        WhyStep::AtPlace(row("plane", 2)),
        WhyStep::Elsewhere(row("run", 1)),
        WhyStep::WholeRoof,
    ];
    for kind in DeviationKind::ALL {
        for accepted_by in [None, Some("Foreman {what}".to_owned())] {
            steps.push(WhyStep::Deviates { kind, accepted_by });
        }
    }
    let (words, column) = ("the {at} valley".to_owned(), "nearest_edge".to_owned());
    let places = [
        WhyPlace::Named,
        WhyPlace::Said,
        WhyPlace::SaidAs { words, column },
        WhyPlace::Under(row("obstruction", 3)),
        WhyPlace::On(row("plane", 1)),
    ];
    let place = |because| Place { at: row("plane", 2), because };
    (steps, places.map(place).to_vec())
}

const RANKS: [Rank; 6] = [
    Rank::AmissHere,
    Rank::AmissWhole,
    Rank::Here,
    Rank::AmissElsewhere,
    Rank::Whole,
    Rank::Elsewhere,
];

fn stood(outcome: Option<Outcome>) -> RecordStep {
    let at = at("2026-11-26T10:00:00-05:00");
    RecordStep {
        at: step("cut#2"),
        title: "Cut".to_owned(),
        text: None,
        tags: Vec::new(),
        settled: outcome.map(|outcome| Settled {
            seq: 5,
            at,
            by: "Installer {entry}".to_owned(),
            how: How::Touch,
            confirmed: Vec::new(),
            outcome,
            asked: None,
        }),
        corrected: Vec::new(),
        cautioned: Cautions::default(),
        photos_asked: 0,
        photos_taken: 0,
        photos_said: Vec::new(),
        photos_kept: 0,
        point: None,
    }
}

fn outcomes() -> Vec<Outcome> {
    let answered = |given, target| Outcome::Answered { given, target, reason: None };
    vec![
        answered(Given::Done, None),
        answered(Given::Counted(3), None),
        answered(Given::Counted(3), Some(Target::AtLeast(4))),
        Outcome::Answered {
            given: Given::Chosen("wet".to_owned()),
            target: Some(Target::OneOf(vec!["dry".to_owned(), "damp".to_owned()])),
            reason: Some("rain".to_owned()),
        },
        Outcome::Skipped { reason: "ran out".to_owned() },
    ]
}

#[test]
fn the_desk_is_told_alike() {
    let (steps, places) = reasons();
    for rank in RANKS {
        assert_eq!(english().rank(rank), export::rank(rank));
    }
    for why in &steps {
        assert_eq!(english().reason(why), export::reason(why));
    }
    for place in &places {
        assert_eq!(english().because(place), export::because(place));
    }
    for because in [Vec::new(), steps] {
        let rank = Rank::Here;
        let walk = "deck-intake".parse().unwrap();
        let of = DeskStep { walk, step: stood(None), rank, because };
        assert_eq!(english().why(&of), export::why(&of));
    }
    assert_eq!(english().stands(&stood(None)), callback::stands(&stood(None), Units::Us));
    for outcome in outcomes() {
        assert_eq!(english().wanted(&outcome), told::asked_for(&outcome, Units::Us));
        let of = stood(Some(outcome));
        assert_eq!(english().stands(&of), callback::stands(&of, Units::Us));
    }
    assert_eq!(Words::of(Language::English).t("desk.is-not"), export::IS_NOT);
}

/// As the office places dates: each reason there is, found by its calendar.
fn put_elsewhere() -> Vec<Placed> {
    let zone = jiff::tz::TimeZone::get("America/New_York").unwrap();
    let day = |day: i8| jiff::civil::date(2026, 12, day);
    let mut working = Working::default();
    working.days_off.insert(day(25));
    working.busy.events.push(BusyEvent {
        start: Moment::Day(day(22)),
        lasts: jiff::Span::new().days(1),
        rule: None,
        except: Vec::new(),
    });
    let never = Working { days: [false; 7], ..Working::default() };
    let days = [(&working, 25), (&working, 20), (&working, 22), (&never, 25)];
    days.map(|(working, of)| working.place(day(of).at(10, 0, 0, 0), 30, &zone).unwrap().1.unwrap())
        .to_vec()
}

fn promised(placed: Option<Placed>) -> Due {
    Due {
        uid: "u".to_owned(),
        number: None,
        start: at("2026-11-26T10:00:00-05:00"),
        lasts_min: 30,
        title: "Look {why}".to_owned(),
        checklist: placed.as_ref().map(|_| "leak-visit".to_owned()),
        who: placed.as_ref().map(|_| "foreman".to_owned()),
        fixed: false,
        moved_because: placed.as_ref().map(|_| "it rained.".to_owned()),
        cancelled_because: placed.as_ref().map(|_| "sold".to_owned()),
        placed,
        sequence: 0,
        issued: at("2026-11-26T10:00:00-05:00"),
    }
}

fn odd() -> [Unusual; 5] {
    let text = str::to_owned;
    let nobody = |roles: &[&str]| Unusual::NobodyIs {
        job: text("EX-1"),
        role: text("desk"),
        roles: roles.iter().map(|role| text(role)).collect(),
    };
    [
        Unusual::Hindered(text("2026-12-25 is a day off")),
        Unusual::Hindered(text("Sunday 2026-12-20 is not a working day")),
        Unusual::OutsideHours {
            at: jiff::civil::date(2026, 12, 3).at(18, 5, 0, 0),
            lasts_min: 30,
            opens: jiff::civil::time(9, 0, 0, 0),
            closes: jiff::civil::time(17, 0, 0, 0),
        },
        nobody(&[]),
        nobody(&["foreman", "office"]),
    ]
}

#[test]
fn dates_are_told_alike() {
    let standing = crate::domain::Standing::default();
    let placed = put_elsewhere();
    assert_eq!(placed.len(), 4);
    for one in placed.iter().cloned().map(Some).chain([None]) {
        let due = promised(one);
        assert_eq!(english().promised(&due, &standing), told::due(&due));
    }
    let spanish = LogWords { words: Words::of(Language::Spanish), ..english() };
    for one in &placed {
        assert_eq!(english().placed(&one.why), one.why);
        let told = spanish.placed(&one.why);
        assert!(told.contains(" día") || told.contains(" el ") && !told.contains(" is "), "{told}");
        assert_eq!(told, super::super::foreign::plain(&told), "a part stays English: {told}");
    }
    // A sentence of another version stays as it is, and is marked.
    let other = "moved from 2026-12-25 10:00: the office is closed";
    assert_eq!(spanish.placed(other), foreign(other));
    let walk = "deck-intake#2".parse().unwrap();
    for open in [None, Some(&walk)] {
        let of = Undated { title: "Look", checklist: "deck-intake", open };
        assert_eq!(english().undated(&of), of.to_string());
        assert_ne!(spanish.undated(&of), of.to_string());
    }
    for odd in odd() {
        assert_eq!(english().unusual(&odd), odd.to_string());
        let told = spanish.unusual(&odd);
        assert!(told != odd.to_string() && told == super::super::foreign::plain(&told), "{told}");
    }
}

/// A sentence that was left in English in the other file reads the same there.
#[test]
fn in_spanish_every_sentence_is_another() {
    let spanish = LogWords { words: Words::of(Language::Spanish), ..english() };
    for what in more() {
        assert_ne!(spanish.what(&what, None), english().what(&what, None), "{what:?}");
    }
    for need in needs() {
        assert_ne!(spanish.attention(&need, None), english().attention(&need, None));
    }
    let (steps, places) = reasons();
    for why in &steps {
        assert_ne!(spanish.reason(why), english().reason(why));
    }
    for place in &places {
        assert_ne!(spanish.because(place), english().because(place));
    }
    for rank in RANKS {
        assert_ne!(spanish.rank(rank), english().rank(rank));
    }
    for outcome in outcomes() {
        if !matches!(outcome, Outcome::Answered { target: Some(Target::OneOf(_)), .. }) {
            assert_ne!(spanish.wanted(&outcome), english().wanted(&outcome));
        }
        let of = stood(Some(outcome));
        assert_ne!(spanish.stands(&of), english().stands(&of));
    }
    let heard = |words: &str| Heard {
        words: words.to_owned(),
        b_milli: 0,
        a_milli: 0,
        m_milli: 0,
        sound: Hash::of(b"s"),
    };
    let how = How::Voice(heard("Step done"));
    assert_eq!(spanish.how(&how), "de viva voz, oído como «Step done»");
    assert_eq!(english().how(&how), told::how(&how));
}
