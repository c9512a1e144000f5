//! Whatever is said, typed, logged by others or refused by the log: nothing is
//! logged that was not confirmed, nothing confirmed is lost or logged twice.
//! The witness checks each draft.

use std::collections::BTreeSet;

use chalkhand::domain::entry::Key;
use chalkhand::domain::walk::{Event, ExpectAnswer};
use chalkhand::domain::{
    Answer, Checklist, Facts, Given, How, Meaning, Standing, Target, What, plan,
};
use chalkhand::measure::{Dimension, Quantity, Ratio, Value};
use chalkhand::{files, roof};
use proptest::prelude::*;

use crate::crew::{self, Happened, Store, WINDOW_MS, World};
use crate::witness::{Witness, blocked};

// --- what happens ------------------------------------------------------------

#[derive(Clone, Debug)]
pub(crate) enum Op {
    /// What the walk listens for, by voice or keys.
    Sensible(u32, bool),
    /// Anything at all.
    Any(Meaning, bool),
    Call,
    Unclear,
    Spoken,
    Time(i64),
    Store(Store),
    /// The late answers arrive.
    Deliver,
    /// The log is read.
    Poll,
    /// Answers to questions nobody asked.
    Stray(u8),
    Release,
    Settle(usize, u32),
    Learn(usize, u32),
    Remark(bool),
    Restart,
}

fn meaning() -> impl Strategy<Value = Meaning> {
    use Meaning as M;
    prop_oneof![
        10 => proptest::sample::select(vec![
            M::StepDone, M::Yes, M::No, M::Repeat, M::Back, M::Pause, M::Resume, M::WhereAreWe,
            M::ReadCaution, M::ReadReason, M::TakeNote, M::PhotoTaken, M::WasWrong, M::Skip,
            M::LogAsIs, M::MeasureAgain,
        ]),
        2 => (0_i64..2000, 1_i64..17).prop_map(|(n, d)| {
            M::Length(Ratio::int(n).over(Ratio::int(d)).unwrap())
        }),
        2 => prop_oneof![0_u32..20, Just(u32::MAX)].prop_map(M::Count),
        2 => prop_oneof![0_usize..4, Just(usize::MAX)].prop_map(M::Choice),
        3 => prop_oneof![
            Just(String::new()), Just("yes".to_owned()), Just("4 1/2".to_owned()),
            Just("-3 in".to_owned()), Just("99999999999999999999".to_owned()), "[a-z0-9 /'\"-]{0,12}",
        ].prop_map(M::Words),
    ]
}

pub(crate) fn op() -> impl Strategy<Value = Op> {
    let store = vec![
        Store::Commits,
        Store::Commits,
        Store::Commits,
        Store::Refuses,
        Store::Late,
        Store::Twice,
        Store::Loses,
        Store::LosesBlind,
    ];
    prop_oneof![
        40 => (0_u32..200, any::<bool>()).prop_map(|(n, voice)| Op::Sensible(n, voice)),
        40 => Just(Op::Spoken),
        12 => (meaning(), any::<bool>()).prop_map(|(meaning, voice)| Op::Any(meaning, voice)),
        2 => Just(Op::Call),
        2 => Just(Op::Unclear),
        4 => prop_oneof![0..WINDOW_MS, Just(WINDOW_MS + 1), Just(-5_000_i64)].prop_map(Op::Time),
        5 => proptest::sample::select(store).prop_map(Op::Store),
        4 => Just(Op::Deliver),
        8 => Just(Op::Poll),
        2 => (0_u8..4).prop_map(Op::Stray),
        4 => Just(Op::Release),
        3 => (0_usize..100, 0_u32..10).prop_map(|(n, how)| Op::Settle(n, how)),
        2 => (0_usize..10, 0_u32..10).prop_map(|(n, value)| Op::Learn(n, value)),
        1 => any::<bool>().prop_map(Op::Remark),
        1 => Just(Op::Restart),
    ]
}

pub(crate) fn apply(world: &mut World, op: &Op) -> Vec<Happened> {
    let said = |meaning: Meaning, voice: bool| {
        let how = if voice { crew::heard(meaning.word()) } else { How::Keys };
        Event::Said { meaning, how }
    };
    match op.clone() {
        Op::Sensible(n, voice) => {
            let meaning = world.sensible(n);
            world.event(said(meaning, voice))
        }
        Op::Any(meaning, voice) => world.event(said(meaning, voice)),
        Op::Call => world.event(said(Meaning::CallWord, true)),
        Op::Unclear => world.event(Event::Unclear),
        Op::Spoken => world.event(Event::Spoken),
        Op::Time(ms) => {
            world.now_ms += ms;
            Vec::new()
        }
        Op::Store(store) => {
            world.store = store;
            Vec::new()
        }
        Op::Deliver => {
            let late = std::mem::take(&mut world.late);
            late.into_iter().flat_map(|entry| world.event(Event::Saved(Box::new(entry)))).collect()
        }
        Op::Poll => {
            let unread = world.unread();
            world.event(Event::Others(unread))
        }
        Op::Stray(0) => world.event(Event::Others(world.log.clone())),
        Op::Stray(1) => {
            // Read before, whoever wrote it.
            let seen = world.walk.standing().last_seq;
            let read = world.log.iter().rfind(|entry| entry.seq <= seen).cloned();
            read.map(|entry| world.event(Event::Saved(Box::new(entry)))).unwrap_or_default()
        }
        Op::Stray(_) => {
            let (key, why) = (Key("no such draft".to_owned()), "no reason".to_owned());
            world.event(Event::NotSaved { key, why })
        }
        Op::Release => {
            world.release();
            Vec::new()
        }
        Op::Settle(n, how) => {
            settle(world, n, how);
            Vec::new()
        }
        Op::Learn(n, value) => {
            learn(world, n, value);
            Vec::new()
        }
        Op::Remark(photo) => {
            let step = world.first_open();
            let what = match step {
                Some(step) if photo => What::PhotoTaken { step },
                step => What::Noted { step, text: "a remark".to_owned(), clip: None },
            };
            let id = world.id.to_string();
            world.others(Some(&id), "Another", what);
            Vec::new()
        }
        Op::Restart => {
            world.restart();
            world.event(Event::Begin)
        }
    }
}

/// Another walker settles the step asked here, or any step.
fn settle(world: &mut World, n: usize, how: u32) {
    let steps = world.reckon(|known, _| plan::plan(known, &world.functions));
    let current = world.walk.current().cloned().filter(|_| n.is_multiple_of(2));
    let Some(step) = current.or_else(|| steps.get(n % steps.len().max(1)).cloned()) else { return };
    // Another walker stops at a hold point too.
    let standing = Standing::of(&world.log);
    if blocked(&world.checklist, &standing, &step) {
        return;
    }
    let Some(found) = world.checklist.step(&step.id) else { return };
    let (given, target) = match &found.answer {
        Answer::Choice { options, wanted } => (
            Given::Chosen(options[how as usize % options.len()].clone()),
            (!wanted.is_empty()).then(|| Target::OneOf(wanted.clone())),
        ),
        Answer::Measure { tolerance, .. } => {
            let mark = Quantity::inches(Ratio::int(4));
            let read = Quantity::inches(Ratio::int(i64::from(how)));
            (Given::Measured(read), Some(Target::Mark(mark, *tolerance)))
        }
        Answer::Done => (Given::Done, None),
        _ if how < 5 => (Given::Noted("by another".to_owned()), None),
        _ => {
            let id = world.id.to_string();
            let what = What::Skipped { step, reason: "left out by another".to_owned() };
            world.others(Some(&id), "Another", what);
            return;
        }
    };
    let id = world.id.to_string();
    world.others(
        Some(&id),
        "Another",
        What::Answered { step, asked: String::new(), given, target, reason: None },
    );
}

/// Somebody brings a fact.
fn learn(world: &mut World, n: usize, value: u32) {
    let facts: Vec<_> = world.checklist.facts.iter().filter(|f| !f.name.contains('.')).collect();
    let Some(fact) = facts.get(n % facts.len().max(1)) else { return };
    let value = match (fact.kind.dimension(), fact.kind.word()) {
        (Some(dimension), _) => {
            let from = fact.from.map_or(Ratio::ZERO, |from| from.value);
            // Rows by the hundred would make the walk long and teach nothing.
            let few = fact.kind.word() == "count";
            let to = fact.to.filter(|_| !few).map_or(Ratio::int(4), |to| to.value);
            let value = from.plus(Ratio::int(i64::from(value))).unwrap().min(to);
            Value::Quantity(Quantity::new(value, dimension))
        }
        (None, "yes-no") => Value::YesNo(value.is_multiple_of(2)),
        (None, "choice") => match &fact.kind {
            chalkhand::domain::FactKind::Choice(options) => {
                Value::Text(options[value as usize % options.len()].clone())
            }
            _ => unreachable!(),
        },
        (None, _) => Value::Text("as another says".to_owned()),
    };
    let name = crew::fact(&fact.name, None);
    world.others(None, "Another", What::FactGiven(name, value));
}

// --- the run -----------------------------------------------------------------

fn run(mut world: World, ops: &[Op]) -> World {
    let mut witness = Witness::default();
    let mut happened = world.event(Event::Begin);
    for op in ops {
        check(&world, &mut witness, &happened);
        happened = apply(&mut world, op);
    }
    check(&world, &mut witness, &happened);
    going_on_elsewhere(&world);
    finish(&mut world, &mut witness);
    world
}

/// 3. What the walk stands on is what the log says.
fn check(world: &World, witness: &mut Witness, happened: &[Happened]) {
    happened.iter().for_each(|happened| witness.see(world, happened));
    let seen = world.walk.standing().last_seq;
    let read = world.log.iter().filter(|entry| entry.seq <= seen);
    assert_eq!(*world.walk.standing(), Standing::of(read));
}

/// 3. Another session takes up the first step that nobody has settled.
fn going_on_elsewhere(world: &World) {
    let mut other = world.clone();
    other.store = Store::Commits;
    other.restart();
    let open = other.first_open();
    other.event(Event::Begin);
    assert_eq!(other.walk.current().cloned(), open);
    // Where none is open it ends, or had ended and waits for a correction.
    assert_eq!(other.left || other.walk.is_ended(), open.is_none());
}

/// 5. From here there is a way to the end, once the log works.
fn finish(world: &mut World, witness: &mut Witness) {
    world.store = Store::Commits;
    for n in 0..4_000_u32 {
        let unread = world.unread();
        let mut happened = world.event(Event::Others(unread));
        happened.extend(world.event(Event::Spoken));
        if world.left || world.walk.is_ended() {
            check(world, witness, &happened);
            let own = world.log.iter().filter(|entry| witness.keys.contains(&entry.draft.key));
            let answers = own.filter(|e| matches!(e.draft.what, What::Answered { .. })).count();
            // 6. Never more answers in the log than confirmations.
            assert!(answers <= witness.answers, "{answers} answers, {} given", witness.answers);
            return;
        }
        if world.walk.is_held() {
            assert_ne!(world.release(), 0, "held and nothing to release");
        } else {
            let voice = n % 2 == 0;
            if n % 3 == 0 {
                world.now_ms += WINDOW_MS + 1;
                let meaning = Meaning::CallWord;
                happened.extend(world.event(Event::Said { meaning, how: crew::heard("logbook") }));
                happened.extend(world.event(Event::Spoken));
            }
            let meaning = match world.sensible(n / 7) {
                // By voice, dictation knows no call word: it asks once more.
                Meaning::Words(words) if voice => {
                    let (meaning, how) = (Meaning::Words(words.clone()), crew::heard(&words));
                    happened.extend(world.event(Event::Said { meaning, how }));
                    happened.extend(world.event(Event::Spoken));
                    world.sensible(n / 7)
                }
                meaning => meaning,
            };
            let how = if voice { crew::heard(meaning.word()) } else { How::Keys };
            happened.extend(world.event(Event::Said { meaning, how }));
        }
        check(world, witness, &happened);
    }
    panic!("no way on from {:?}: {:?}", world.walk.current(), world.walk.expect());
}

// --- (a) small checklists with everything in them ----------------------------

#[derive(Clone, Debug)]
pub(crate) struct Sketch {
    pub(crate) kind: u8,
    pub(crate) each: bool,
    pub(crate) caution: bool,
    pub(crate) photo: u8,
    pub(crate) point: u8,
    pub(crate) only_if: bool,
    pub(crate) names: u8,
}

impl Sketch {
    /// A plain step that is done, of no kind but this.
    pub(crate) const DONE: Self =
        Self { kind: 0, each: false, caution: false, photo: 0, point: 9, only_if: false, names: 9 };
}

pub(crate) fn sketch() -> impl Strategy<Value = Sketch> {
    (0_u8..11, any::<bool>(), 0_u8..4, 0_u8..3, 0_u8..10, 0_u8..5, 0_u8..5).prop_map(
        |(kind, each, caution, photo, point, only_if, names)| {
            let (caution, only_if) = (caution == 0, only_if == 0);
            Sketch { kind, each, caution, photo, point, only_if, names }
        },
    )
}

const HEAD: &str = r#"
id = "small"
version = "1.0.0"
title = "Everything small"
yields_to = "everything"
sources = ["invented for a test"]
[cautions.sharp]
say = "It is sharp."
source = "invented for a test"
[facts.flag]
kind = "yes-no"
ask = "Is it so?"
[facts.wide]
kind = "length"
ask = "How wide is it?"
from = "0 in"
to = "20 in"
[facts.vent]
kind = "area"
ask = "How much air?"
from = "0 in2"
to = "900 in2"
[facts.remark]
kind = "text"
ask = "What else?"
[facts.run_count]
kind = "count"
ask = "How many runs?"
from = 0
to = 3
[each.run]
rows = "run_count"
title = "Run"
[each.run.facts.long]
kind = "length"
ask = "How long is it?"
from = "1 in"
to = "9 in"
[measures.mark]
formula = "wide + 1 in"
title = "the mark"
source = "invented for a test"
[measures.few]
formula = "run_count + 1"
title = "how many"
source = "invented for a test"
[each.run.measures.half]
formula = "run.long / 2"
title = "half of it"
source = "invented for a test"
"#;

pub(crate) fn small(sketches: &[Sketch]) -> Checklist {
    let mut text = HEAD.to_owned();
    // Earlier steps with a target, and all earlier steps.
    let (mut targets, mut earlier) = (Vec::<usize>::new(), Vec::<usize>::new());
    for (n, sketch) in sketches.iter().enumerate() {
        let each = sketch.each && ![4, 5, 8, 9].contains(&sketch.kind) || sketch.kind == 6;
        let answer = match sketch.kind {
            0 | 1 => None,
            2 if each => Some("{ measure = \"run.half\", tolerance = \"1/16 in\" }"),
            2 => Some("{ measure = \"mark\", tolerance = \"1/4 in\" }"),
            3 => Some("{ count = \"few\" }"),
            4 => Some("{ fact = \"wide\" }"),
            5 => Some("{ fact = \"flag\" }"),
            6 => Some("{ fact = \"run.long\" }"),
            7 => Some("{ choice = [\"good\", \"bad\"], wanted = [\"good\"] }"),
            8 => Some("{ fact = \"run_count\" }"),
            9 => Some(if n % 2 == 0 { "{ fact = \"remark\" }" } else { "{ fact = \"vent\" }" }),
            _ => Some("\"note\""),
        };
        let names = match sketch.names {
            0 => " {mark}",
            1 if each => " {run.long} {run.number}",
            2 => " {few}",
            _ => "",
        };
        text.push_str(&format!(
            "[[step]]\nid = \"s{n}\"\ntitle = \"Step {n}\"\nsay = \"Do{names}.\"\n"
        ));
        text.extend(answer.map(|answer| format!("answer = {answer}\n")));
        if each {
            text.push_str("each = \"run\"\n");
        }
        if sketch.caution {
            text.push_str("caution = \"sharp\"\n");
        }
        if sketch.only_if {
            text.push_str("only_if = \"flag\"\n");
        }
        text.push_str(&format!("photo = {}\n", sketch.photo));
        let pick =
            |from: &[usize]| from.get(usize::from(sketch.point) % from.len().max(1)).copied();
        let when = match sketch.point {
            0 => Some(("witness", String::new())),
            1 => Some(("hold", String::new())),
            2..=6 => pick(&targets).map(|n| ("hold", format!(", when = \"off_target(s{n})\""))),
            7 => pick(&earlier).map(|n| ("hold", format!(", when = \"skipped(s{n})\""))),
            _ => None,
        };
        text.extend(when.map(|(kind, when)| {
            format!("point = {{ kind = \"{kind}\", role = \"foreman\"{when} }}\n")
        }));
        earlier.push(n);
        if [2, 3, 7].contains(&sketch.kind) {
            targets.push(n);
        }
    }
    match files::read_checklist(&text, "small.toml", &roof::functions()) {
        Ok(checklist) => checklist,
        Err(problems) => panic!("{problems}\n{text}"),
    }
}

pub(crate) fn some_facts(which: u8) -> Facts {
    let mut facts = Facts::default();
    let inches = |n| Value::Quantity(Quantity::inches(Ratio::int(n)));
    if which & 1 == 0 {
        facts.set(crew::fact("wide", None), inches(3));
    }
    if which & 2 == 0 {
        facts.set(crew::fact("run_count", None), crew::count(2));
        facts.set(crew::fact("run.long", Some(1)), inches(5));
    }
    if which & 4 == 0 {
        facts.set(crew::fact("flag", None), Value::YesNo(true));
    }
    facts
}

pub(crate) fn config(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(config(1_500))]
    #[test]
    fn small_checklists(
        sketches in proptest::collection::vec(sketch(), 1..6),
        which in 0_u8..8,
        ops in proptest::collection::vec(op(), 1..120),
    ) {
        run(World::new(small(&sketches), None, &some_facts(which)), &ops);
    }
}

proptest! {
    #![proptest_config(config(84))]
    #[test]
    fn shipped_checklists(
        list in 0..files::SHIPPED.len(),
        known in any::<bool>(),
        ops in proptest::collection::vec(op(), 1..300),
    ) {
        let id = files::SHIPPED[list].0.trim_end_matches(".toml");
        let (_, facts) = crew::demo_job();
        let facts = if known { facts } else { Facts::default() };
        run(World::new(crew::shipped(id), Some(crew::demo_profile()), &facts), &ops);
    }
}

/// The witness sees all kinds of steps settled: were the sequences too wild to
/// get anywhere, the properties above would hold for nothing.
#[test]
fn every_kind_of_answer_is_reached() {
    let sketches: Vec<Sketch> = (0..11)
        .map(|kind| Sketch {
            kind,
            caution: kind == 0,
            photo: 1,
            point: if kind == 1 { 1 } else { 9 },
            ..Sketch::DONE
        })
        .collect();
    let mut words = BTreeSet::new();
    for n in 0..20 {
        let ops: Vec<Op> = (0..200)
            .flat_map(|m| [Op::Spoken, Op::Sensible(n * 7 + m, m % 2 == 0), Op::Release, Op::Poll])
            .collect();
        let world = run(World::new(small(&sketches), None, &some_facts(0)), &ops);
        for entry in &world.log {
            if let What::Answered { given, target, reason, .. } = &entry.draft.what {
                let kind = match given {
                    Given::Done => "done",
                    Given::Measured(_) => "measured",
                    Given::Counted(_) => "counted",
                    Given::Chosen(_) => "chosen",
                    Given::Fact(..) => "fact",
                    Given::Noted(_) => "noted",
                };
                words.insert((kind, target.is_some(), reason.is_some()));
            }
        }
    }
    let all = [
        ("chosen", true, false),
        ("chosen", true, true),
        ("counted", true, false),
        ("counted", true, true),
        ("done", false, false),
        ("fact", false, false),
        ("measured", true, false),
        ("measured", true, true),
        ("noted", false, false),
    ];
    assert_eq!(words, BTreeSet::from(all));
}

/// Vents are told in square inches and floors in square feet: a number said is
/// taken in the unit it was asked in. A flush edge is zero, and can be said.
#[test]
fn numbers_are_taken_in_the_unit_asked() {
    let air = Sketch { kind: 9, ..Sketch::DONE };
    let wide = Sketch { kind: 4, ..Sketch::DONE };
    let mut world = World::new(small(&[Sketch::DONE, air, wide]), None, &some_facts(0));
    let keys = |meaning| Event::Said { meaning, how: How::Keys };
    world.event(Event::Begin);
    for meaning in [Meaning::StepDone, Meaning::Count(300), Meaning::Yes] {
        world.event(Event::Spoken);
        if meaning == Meaning::Count(300) {
            let asked = ExpectAnswer::Count { from: 0, to: 900, unit: "square inches" };
            assert_eq!(world.walk.expect().answer, asked);
        }
        world.event(keys(meaning));
    }
    let air = Quantity::new(Ratio::int(300), Dimension::AREA);
    let standing = Standing::of(&world.log);
    assert_eq!(standing.facts.get("vent", None), Some(&Value::Quantity(air)));
    let grammar =
        chalkhand::speech::grammar(&world.walk.expect(), &chalkhand::speech::Wording::default());
    let zero = (Meaning::Length(Ratio::ZERO), "zero inches".to_owned());
    assert!(grammar.forms().contains(&zero));
}
