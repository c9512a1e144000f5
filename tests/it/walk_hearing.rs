//! What a hearing check does to a walk: nothing is settled by voice that cannot
//! be trusted, whatever happens in whatever order; keys never notice.

use chalkhand::domain::walk::{Action, Doubt, Event, Hearing, Prompt};
use chalkhand::domain::{Given, How, Meaning, StepRef, Trust, What};
use chalkhand::measure::Value;
use proptest::prelude::*;

use crate::crew::{self, Happened, World, said};
use crate::walk_properties::{Op, Sketch, apply, config, op, sketch, small, some_facts};

/// The voice was at -30 dBFS and the noise at -60 when it was checked.
const LOUD: i32 = -539;

/// Whether a draft settles something, or says that a photo was taken.
fn settles(what: &What) -> bool {
    matches!(
        what,
        What::Answered { .. } | What::Skipped { .. } | What::PhotoTaken { .. } | What::Noted { .. }
    )
}

fn is_number(what: &What) -> bool {
    match what {
        What::Answered { given, .. } => matches!(
            given,
            Given::Measured(_) | Given::Counted(_) | Given::Fact(_, Value::Quantity(_))
        ),
        _ => false,
    }
}

/// What no answer may do while voice is not trusted with commands, or numbers.
fn check(happened: &[Happened], commands: bool, numbers: bool) {
    for Happened { event, actions, .. } in happened {
        for action in actions {
            let Action::Append(draft) = action else { continue };
            let spoken = matches!(event, Event::Said { how: How::Voice(_), .. });
            assert!(commands || !spoken || !settles(&draft.what), "{event:?}: {draft:?}");
            let by_voice = matches!(draft.how, How::Voice(_));
            assert!(numbers || !by_voice || !is_number(&draft.what), "{event:?}: {draft:?}");
        }
    }
}

/// Runs a walk of somebody who was checked; `noise` before each step of it.
fn run(mut world: World, trust: (Trust, Trust), ops: &[(Op, i32)]) -> World {
    world.checked(trust.0, trust.1);
    world.restart();
    let (commands, numbers) = (trust.0 != Trust::Not, trust.1 != Trust::Not);
    check(&world.event(Event::Begin), commands, numbers);
    for (op, tenth_dbfs) in ops {
        world.event(Event::Noise { tenth_dbfs: *tenth_dbfs });
        let loud = -540 < *tenth_dbfs;
        let happened = apply(&mut world, op);
        // A number that was heard while it was quiet may be typed a yes to later.
        check(&happened, commands && !loud, numbers);
    }
    world
}

fn trust() -> impl Strategy<Value = Trust> {
    proptest::sample::select(Trust::ALL.to_vec())
}

fn noise() -> impl Strategy<Value = i32> {
    prop_oneof![6 => Just(-600), 2 => Just(LOUD), 1 => -700_i32..-200]
}

proptest! {
    #![proptest_config(config(1_500))]
    #[test]
    fn nothing_is_settled_by_a_voice_that_is_not_trusted(
        sketches in proptest::collection::vec(sketch(), 1..6),
        which in 0_u8..8,
        trust in (trust(), trust()),
        ops in proptest::collection::vec((op(), noise()), 1..120),
    ) {
        run(World::new(small(&sketches), None, &some_facts(which)), trust, &ops);
    }

    /// Where no check was made though one has to be, nothing is taken at all.
    #[test]
    fn nothing_is_settled_by_a_voice_that_was_not_checked(
        sketches in proptest::collection::vec(sketch(), 1..6),
        which in 0_u8..8,
        ops in proptest::collection::vec(op(), 1..80),
    ) {
        let mut world = World::new(small(&sketches), None, &some_facts(which));
        world.hearing = Hearing::Checked;
        world.restart();
        check(&world.event(Event::Begin), false, false);
        for op in &ops {
            let happened = apply(&mut world, op);
            check(&happened, false, false);
        }
    }

    /// By keys a walk is the same whatever the ear is worth.
    #[test]
    fn keys_never_notice(
        sketches in proptest::collection::vec(sketch(), 1..6),
        which in 0_u8..8,
        ops in proptest::collection::vec(op(), 1..120),
    ) {
        let mut deaf = World::new(small(&sketches), None, &some_facts(which));
        let mut free = deaf.clone();
        deaf.checked(Trust::Not, Trust::Not);
        // An entry that says nothing, so that those after it have the same numbers.
        free.others(None, "Installer Example", What::EarClosed);
        deaf.restart();
        free.restart();
        prop_assert_eq!(told(&deaf.event(Event::Begin)), told(&free.event(Event::Begin)));
        for op in &ops {
            let op = match op.clone() {
                Op::Sensible(n, _) => Op::Sensible(n, false),
                Op::Any(meaning, _) => Op::Any(meaning, false),
                op => op,
            };
            prop_assert_eq!(told(&apply(&mut deaf, &op)), told(&apply(&mut free, &op)));
        }
    }
}

fn told(happened: &[Happened]) -> Vec<Action> {
    happened.iter().flat_map(|happened| happened.actions.clone()).collect()
}

fn doing() -> World {
    let wide = Sketch { kind: 4, ..Sketch::DONE };
    World::new(small(&[Sketch::DONE, wide, Sketch::DONE]), None, &some_facts(0))
}

fn says(world: &mut World, meaning: Meaning) -> Vec<Prompt> {
    world.event(Event::Spoken);
    let how = crew::heard(meaning.word());
    let happened = world.event(Event::Said { meaning, how });
    happened
        .iter()
        .flat_map(|happened| said(&happened.actions).cloned().collect::<Vec<_>>())
        .collect()
}

fn types(world: &mut World, meaning: Meaning) {
    world.event(Event::Spoken);
    world.event(Event::Said { meaning, how: How::Keys });
}

fn at(world: &World) -> Option<StepRef> {
    world.walk.current().cloned()
}

/// In full once a step, then short; what confirms nothing still works; what is
/// typed is taken.
#[test]
fn it_says_so_in_full_once_a_step() {
    let mut world = doing();
    world.checked(Trust::Not, Trust::Trusted);
    world.restart();
    world.event(Event::Begin);
    let doubt = Doubt::NotHeardWell;
    let (full, short) = (
        vec![Prompt::NotTrusted { doubt, again: false }],
        vec![Prompt::NotTrusted { doubt, again: true }],
    );
    let first = at(&world);
    assert_eq!(says(&mut world, Meaning::StepDone), full);
    assert_eq!(says(&mut world, Meaning::StepDone), short);
    assert_eq!(says(&mut world, Meaning::Skip), short);
    assert!(matches!(says(&mut world, Meaning::Repeat)[..], [Prompt::Step { .. }]));
    assert!(matches!(
        says(&mut world, Meaning::Back)[..],
        [Prompt::NothingBefore, Prompt::Step { .. }]
    ));
    assert_eq!(at(&world), first, "nothing was settled");
    types(&mut world, Meaning::StepDone);
    assert_ne!(at(&world), first, "typed it is taken");
    // A number is heard well; the yes to it is not.
    let length = Meaning::Length(chalkhand::measure::Ratio::int(3));
    assert!(matches!(says(&mut world, length)[..], [Prompt::ReadBack { .. }]));
    assert_eq!(says(&mut world, Meaning::Yes), full, "another step: in full again");
    types(&mut world, Meaning::Yes);
    assert!(matches!(
        world.log.last().unwrap().draft.what,
        What::Answered { given: Given::Fact(..), .. }
    ));
}

/// Louder than at the check: not taken, until it is quiet or checked again.
#[test]
fn it_is_not_taken_where_it_is_louder_than_at_the_check() {
    let mut world = doing();
    world.checked(Trust::Trusted, Trust::Trusted);
    world.restart();
    world.event(Event::Begin);
    world.event(Event::Noise { tenth_dbfs: LOUD });
    let first = at(&world);
    let louder = Prompt::NotTrusted { doubt: Doubt::Louder, again: false };
    assert_eq!(says(&mut world, Meaning::StepDone), [louder]);
    assert_eq!(at(&world), first);
    world.event(Event::Noise { tenth_dbfs: LOUD - 1 });
    says(&mut world, Meaning::StepDone);
    assert_ne!(at(&world), first, "exactly as much louder as may be");
    // Another check, made elsewhere, is read from the log.
    let second = at(&world);
    world.checked(Trust::Trusted, Trust::Not);
    let unread = world.unread();
    world.event(Event::Others(unread));
    let length = Meaning::Length(chalkhand::measure::Ratio::int(3));
    let doubt = Doubt::NotHeardWell;
    assert_eq!(says(&mut world, length), [Prompt::NotTrusted { doubt, again: false }]);
    assert_eq!(at(&world), second);
}
