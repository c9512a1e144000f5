//! Which step was open at a moment that has passed, held against a walk that was
//! there: whatever it asked at that moment is what the log says of it afterwards.

use std::collections::BTreeSet;
use std::sync::Arc;

use chalkhand::domain::walk::Event;
use chalkhand::domain::{
    Draft, Facts, How, JobFile, Meaning, Standing, StepRef, WalkId, What, open_steps,
};
use proptest::collection::vec;
use proptest::prelude::*;

use crate::crew::{World, at};
use crate::drafts;
use crate::walk_properties::{Sketch, sketch, small};

/// What a walk asked, and from when on.
type Asked = (i64, Option<StepRef>);

fn world(sketches: &[Sketch]) -> World {
    World::new(small(sketches), None, &Facts::default())
}

/// The job as its log says it, up to that moment or whole.
fn file(world: &World, until_ms: Option<i64>) -> JobFile {
    let said = |ms: i64| until_ms.is_none_or(|until| ms <= until);
    let entries: Vec<_> =
        world.log.iter().filter(|entry| said(entry.draft.at.ms())).cloned().collect();
    JobFile {
        job: drafts::job("EX-0001"),
        checklists: vec![Arc::clone(&world.checklist)],
        profile: None,
        standing: Standing::of(&entries),
        entries,
    }
}

fn open(world: &World, ms: i64, until_ms: Option<i64>) -> Vec<StepRef> {
    let steps = open_steps(&file(world, until_ms), at(ms), &world.functions);
    assert!(steps.iter().all(|(walk, _)| *walk == world.id));
    steps.into_iter().map(|(_, step)| step).collect()
}

/// Walks, an event a second, and says what was asked when.
fn walked(world: &mut World, ops: &[(u8, u32)], corrects: bool) -> Vec<Asked> {
    use Meaning as M;
    let mut asked = vec![(world.now_ms - 1_000, None)];
    world.event(Event::Begin);
    for (op, n) in ops {
        world.event(Event::Spoken);
        asked.push((world.now_ms, world.walk.current().cloned()));
        world.now_ms += 1_000;
        if world.left || world.walk.is_ended() {
            break;
        }
        if world.walk.is_held() {
            world.release();
            let unread = world.unread();
            world.event(Event::Others(unread));
            continue;
        }
        let meaning = match op {
            0 => M::PhotoTaken,
            1 => M::Pause,
            2 => M::Skip,
            3 => M::TakeNote,
            4 if corrects => M::Back,
            5 if corrects => M::WasWrong,
            _ => world.sensible(*n),
        };
        world.event(Event::Said { meaning, how: How::Keys });
    }
    asked
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// Where each step is asked once and in order, the log says exactly what was
    /// asked: afterwards, and with nothing but what was logged until then.
    #[test]
    fn the_log_says_what_was_asked(
        sketches in vec(sketch(), 1..7),
        ops in vec((0_u8..16, 0_u32..50), 1..60),
    ) {
        let mut world = world(&sketches);
        for (ms, asked) in walked(&mut world, &ops, false) {
            let then = ms + 500;
            let expected: Vec<StepRef> = asked.into_iter().collect();
            prop_assert_eq!(open(&world, then, None), expected.clone(), "at {}", then);
            prop_assert_eq!(open(&world, then, Some(then)), expected, "at {} then", then);
        }
    }

    /// Where steps are corrected in between it may name several; where it names
    /// one, that one was asked.
    #[test]
    fn one_step_is_named_only_where_it_was_asked(
        sketches in vec(sketch(), 1..7),
        ops in vec((0_u8..10, 0_u32..50), 1..60),
    ) {
        let mut world = world(&sketches);
        let asked = walked(&mut world, &ops, true);
        let answers = world.log.iter().filter(|entry| {
            matches!(
                entry.draft.what,
                What::Answered { .. } | What::Skipped { .. } | What::PhotoTaken { .. }
            )
        });
        // A correction that nobody has answered yet stands nowhere.
        let last_ms = answers.map(|entry| entry.draft.at.ms()).max().unwrap_or(0);
        for (ms, asked) in asked.into_iter().filter(|(ms, _)| ms + 500 < last_ms) {
            let open = open(&world, ms + 500, None);
            let Some(asked) = asked else { continue };
            prop_assert!(!open.is_empty());
            prop_assert!(1 < open.len() || open == [asked.clone()], "{open:?} at {ms}, asked {asked}");
        }
    }
}

fn step(text: &str) -> StepRef {
    text.parse().unwrap()
}

/// A walk of two plain steps: the first answered at ten seconds.
fn two_steps() -> (World, i64) {
    let plain = Sketch { names: 4, ..Sketch::DONE };
    let mut world = world(&[plain.clone(), plain]);
    let begun_ms = world.now_ms;
    world.event(Event::Begin);
    world.event(Event::Spoken);
    world.now_ms += 10_000;
    world.event(Event::Said { meaning: Meaning::StepDone, how: How::Keys });
    (world, begun_ms)
}

#[test]
fn to_the_millisecond() {
    let (world, begun_ms) = two_steps();
    let open = |after_ms: i64| open(&world, begun_ms + after_ms, None);
    assert_eq!(open(-1), []);
    assert_eq!(open(0), [step("s0")]);
    assert_eq!(open(9_999), [step("s0")]);
    // Settled at that moment, it is not open any more.
    assert_eq!(open(10_000), [step("s1")]);
}

#[test]
fn a_walk_left_open_is_not_open_on_another_day() {
    const DAY_MS: i64 = 86_400_000;
    let (mut world, begun_ms) = two_steps();
    assert_eq!(open(&world, begun_ms + DAY_MS, None), []);
    // Somebody bringing a photo or a note on that day walks nothing.
    world.now_ms = begun_ms + DAY_MS + 60_000;
    let id = world.id.to_string();
    let note = What::Noted { step: None, text: "rain".to_owned(), clip: None };
    world.others(Some(&id), "Foreman Example", note);
    assert_eq!(open(&world, begun_ms + DAY_MS, None), []);
    // It goes on that day: before that, too, the step was open.
    world.others(Some(&id), "Installer Example", What::Paused);
    assert_eq!(open(&world, begun_ms + DAY_MS, None), [step("s1")]);
}

#[test]
fn two_walks_are_two_steps() {
    let (mut world, begun_ms) = two_steps();
    let again = world.id.next();
    let begun = world.log.iter().find(|entry| matches!(entry.draft.what, What::WalkBegun { .. }));
    let what = begun.unwrap().draft.what.clone();
    let key = chalkhand::domain::Key("again".to_owned());
    let draft = Draft { walk: Some(again.clone()), ..drafts::draft("EX-0001", "again", what) };
    world.commit(Draft { at: at(world.now_ms), key, ..draft });
    let steps = open_steps(&file(&world, None), at(begun_ms + 20_000), &world.functions);
    let walks: BTreeSet<WalkId> = steps.into_iter().map(|(walk, _)| walk).collect();
    assert_eq!(walks, BTreeSet::from([world.id.clone(), again]));
}
