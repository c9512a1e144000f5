//! Follows what a walk says and checks each draft by its own reckoning: was it
//! asked, told, read back and confirmed, in time and not past a hold point?

use std::collections::BTreeSet;

use chalkhand::domain::entry::Key;
use chalkhand::domain::walk::{Action, Event, Prompt};
use chalkhand::domain::{
    Answer, Checklist, Comparison, Draft, Given, How, Meaning, Outcome, PointKind, PointWhen,
    Standing, StepRef, Target, WalkId, What,
};
use chalkhand::measure::Value;

use crate::crew::{Happened, WINDOW_MS, World, said};

#[derive(Clone, Debug, Default)]
pub(crate) struct Witness {
    /// The step last told and its text; no text where facts were missing.
    asked: Option<(StepRef, Option<String>)>,
    /// What was read back last, and its target.
    back: Option<(Given, Option<Target>)>,
    /// Words read back last.
    words_back: Option<String>,
    /// What got a yes and waits for a reason.
    confirmed: Option<Given>,
    /// What words are asked for.
    purpose: Option<&'static str>,
    /// Whether all was said and nothing since.
    complete: bool,
    window: Option<(i64, i64)>,
    pub(crate) keys: BTreeSet<Key>,
    /// The draft handed over last.
    handed: Option<Key>,
    pub(crate) answers: usize,
}

impl Witness {
    fn admits(&self, happened: &Happened) -> bool {
        let open = self.window.is_some_and(|(from, to)| (from..=to).contains(&happened.ms));
        match &happened.event {
            Event::Said { how: How::Voice(_), .. } | Event::Unclear => open,
            Event::Said { .. } => self.complete,
            _ => true,
        }
    }

    pub(crate) fn see(&mut self, world: &World, happened: &Happened) {
        let admitted = self.admits(happened);
        let Happened { event, actions, .. } = happened;
        match event {
            Event::Said { meaning: Meaning::CallWord, .. } => {
                assert!(!actions.iter().any(|a| matches!(a, Action::Append(_))), "{actions:?}");
            }
            Event::Unclear if !admitted => assert_eq!(*actions, [], "unclear outside the window"),
            Event::Said { .. } if !admitted => {
                for action in actions {
                    let asked_again = matches!(
                        action,
                        Action::Listen(_)
                            | Action::Say(
                                Prompt::Step { .. }
                                    | Prompt::AskReason
                                    | Prompt::AskSkipReason
                                    | Prompt::SayNote
                            )
                    );
                    assert!(asked_again, "taken outside the window: {event:?} {action:?}");
                }
            }
            _ => {}
        }
        for prompt in said(actions) {
            if *prompt == Prompt::Logged {
                self.logged(event);
            }
        }
        // A yes to a value, in its time.
        let yes = matches!(event, Event::Said { meaning: Meaning::Yes, .. }) && admitted;
        if yes && let Some((given, _)) = &self.back {
            self.confirmed = Some(given.clone());
        }
        for action in actions {
            if let Action::Append(draft) = action {
                self.appended(world, happened, draft, admitted);
            }
        }
        self.remember(world, happened);
    }

    /// 1. "Logged" only where the log has just shown the entry.
    fn logged(&self, event: &Event) {
        let shown = match event {
            Event::Saved(entry) => self.handed.as_ref() == Some(&entry.draft.key),
            // The answer was lost and the entry was found in the log.
            Event::Others(all) => all.iter().any(|e| self.handed.as_ref() == Some(&e.draft.key)),
            _ => false,
        };
        assert!(shown, "\"Logged\" without an entry: {event:?}");
    }

    fn appended(&mut self, world: &World, happened: &Happened, draft: &Draft, admitted: bool) {
        let event = &happened.event;
        self.handed = Some(draft.key.clone());
        let fresh = self.keys.insert(draft.key.clone());
        let by_person = matches!(draft.how, How::Voice(_) | How::Keys);
        let known: Vec<_> = world.log.iter().filter(|e| e.seq <= happened.seen).collect();
        let standing = Standing::of(known.iter().copied());
        match &draft.what {
            // Kept until they are saved: they say nothing about the work.
            What::Paused | What::Resumed | What::WalkBegun { .. } | What::WalkEnded => return,
            What::Cautioned { .. } | What::PointReached { .. } => {
                assert_eq!(draft.how, How::Program);
                return;
            }
            What::Answered { .. }
            | What::Skipped { .. }
            | What::Noted { .. }
            | What::PhotoTaken { .. } => {}
            other => panic!("a walk never logs {other:?}"),
        }
        // 6. One confirmation, one draft, made by nothing but what was said.
        assert!(fresh, "the same confirmation twice: {draft:?}");
        assert!(by_person && admitted, "nobody said so: {draft:?}");
        let Event::Said { meaning, how } = event else { panic!("nobody said so: {draft:?}") };
        confirmed(draft, meaning, how);
        match &draft.what {
            What::Answered { step, given, target, reason, .. } => {
                self.answers += 1;
                assert!(!blocked(&world.checklist, &standing, step), "past a hold point: {step}");
                let (asked, text) = self.asked.clone().expect("nothing was asked");
                assert_eq!(asked, *step, "another step was asked");
                let now = text_of(world, &standing, step);
                assert_eq!(text, now, "told with other numbers than stand now");
                assert!(text.is_some(), "confirmed and never told: {step}");
                if *given == Given::Done && *meaning == Meaning::StepDone {
                    let stood = standing.step(&world.id, step);
                    let taken = stood.map_or(0, |stood| stood.said_taken());
                    let wanted = world.checklist.step(&step.id).unwrap().photos;
                    let all_taken = wanted <= taken;
                    assert!(!how.is_spoken() || all_taken, "a photo is wanted, and nobody asked");
                }
                self.answer(world, meaning, step, given, target.as_ref(), reason.as_ref());
            }
            What::Skipped { step, reason } => {
                assert!(!blocked(&world.checklist, &standing, step), "past a hold point: {step}");
                assert_eq!(self.asked.as_ref().map(|(at, _)| at), Some(step));
                assert_eq!(*meaning, Meaning::Yes);
                assert_eq!(self.purpose, Some("skip"));
                assert_eq!(self.words_back.as_ref(), Some(reason));
            }
            What::Noted { text, .. } => {
                assert_eq!(*meaning, Meaning::Yes);
                assert_eq!(self.purpose, Some("note"));
                assert_eq!(self.words_back.as_ref(), Some(text));
            }
            _ => assert_eq!(*meaning, Meaning::PhotoTaken),
        }
    }

    /// 2. What a step was answered with is what got the yes.
    fn answer(
        &self,
        world: &World,
        meaning: &Meaning,
        step: &StepRef,
        given: &Given,
        target: Option<&Target>,
        reason: Option<&String>,
    ) {
        let answer = &world.checklist.step(&step.id).unwrap().answer;
        match (answer, given) {
            (Answer::Done, Given::Done) if *meaning == Meaning::StepDone => return,
            (Answer::Done, Given::Done) => {}
            (Answer::Note, Given::Noted(words)) => {
                assert_eq!((meaning, self.purpose), (&Meaning::Yes, None));
                return assert_eq!(self.words_back.as_ref(), Some(words));
            }
            (Answer::Measure { .. }, Given::Measured(_)) => assert!(target.is_some()),
            (Answer::Count { measure }, Given::Counted(_)) => {
                assert_eq!(target.is_some(), measure.is_some());
            }
            (Answer::Choice { options, wanted }, Given::Chosen(option)) => {
                assert!(options.contains(option));
                assert_eq!(target.is_some(), !wanted.is_empty());
            }
            (Answer::Fact { fact }, Given::Fact(name, value)) => {
                assert_eq!((fact, step.row), (&name.name, name.row));
                let fact = world.checklist.fact(fact).unwrap();
                assert!(fact.kind.admits(value));
                if let Value::Quantity(q) = value {
                    assert!(fact.from.is_none_or(|from| from.value <= q.value));
                    assert!(fact.to.is_none_or(|to| q.value <= to.value));
                }
            }
            other => panic!("no answer to this step: {other:?}"),
        }
        assert_eq!(*meaning, Meaning::Yes);
        assert_eq!(self.confirmed.as_ref(), Some(given), "that very value got no yes");
        let off = target.is_some_and(|target| target.compare(given) != Comparison::On);
        if off {
            assert_eq!(self.purpose, Some("reason"));
            assert!(reason.is_some() && reason == self.words_back.as_ref());
        } else {
            let (read, told) = self.back.as_ref().expect("never read back");
            assert_eq!((read, told.as_ref(), reason), (given, target, None));
        }
    }

    fn remember(&mut self, world: &World, happened: &Happened) {
        if happened.event == Event::Spoken && !self.complete {
            self.complete = true;
            self.window = Some((happened.ms, happened.ms + WINDOW_MS));
        }
        for prompt in said(&happened.actions) {
            self.complete = false;
            self.window = None;
            match prompt {
                Prompt::Step { title, text, .. } => {
                    self.asks(world, title, Some(text.clone()));
                }
                Prompt::Missing { title, .. } => self.asks(world, title, None),
                Prompt::Held { .. } | Prompt::Paused | Prompt::Opening { .. } => {
                    let (keys, handed) = (std::mem::take(&mut self.keys), self.handed.take());
                    *self = Self { keys, handed, answers: self.answers, ..Self::default() };
                }
                Prompt::ReadBack { given, target, .. } => {
                    self.back = Some((given.clone(), target.clone()));
                    self.confirmed = None;
                }
                Prompt::WordsBack { words } => self.words_back = Some(words.clone()),
                Prompt::AskReason => self.purpose = Some("reason"),
                Prompt::AskSkipReason => self.purpose = Some("skip"),
                Prompt::SayNote => self.purpose = Some("note"),
                _ => {}
            }
            if !matches!(prompt, Prompt::WordsBack { .. }) && is_question(prompt) {
                self.words_back = None;
            }
        }
    }

    fn asks(&mut self, world: &World, title: &str, text: Option<String>) {
        let steps = world.checklist.steps.iter().flat_map(|step| {
            // `Run 2: Nail line` is of row 2.
            let head = title.split(':').next().unwrap_or_default();
            let row = head.rsplit(' ').next().and_then(|number| number.parse().ok());
            let rows = row.map(Some).into_iter().chain([None]);
            rows.map(|row| StepRef { id: step.id.clone(), row })
        });
        let mut found = steps.filter(|at| {
            let each = world.checklist.step(&at.id).is_some_and(|step| step.each.is_some());
            (each || at.row.is_none()) && world.checklist.title_of(at) == title
        });
        let step = found.next().expect("a title of no step");
        self.asked = Some((step, text));
        (self.back, self.confirmed, self.purpose) = (None, None, None);
    }
}

/// What was conveyed after an answer is logged with it, in order; the last is what made
/// the entry.
fn confirmed(draft: &Draft, meaning: &Meaning, how: &How) {
    let (yes, as_is) = (Meaning::Yes.word(), Meaning::LogAsIs.word());
    let words = Meaning::Words(String::new());
    let expected: &[&[&str]] = match &draft.what {
        _ if matches!(meaning, Meaning::StepDone | Meaning::PhotoTaken) => &[],
        What::Answered { reason: Some(reason), .. } => {
            &[&[yes], &[as_is], &[words.word(), reason], &[yes]]
        }
        _ => &[&[yes]],
    };
    assert_eq!(draft.confirmed.len(), expected.len(), "{draft:?}");
    for (words, confirmed) in expected.iter().zip(&draft.confirmed) {
        if let How::Voice(heard) = confirmed {
            assert!(words.contains(&heard.words.trim()), "{words:?} {draft:?}");
        }
    }
    assert_eq!(draft.confirmed.last().unwrap_or(&draft.how), how, "{draft:?}");
}

fn is_question(prompt: &Prompt) -> bool {
    !matches!(
        prompt,
        Prompt::AskAgain
            | Prompt::Reworded { .. }
            | Prompt::UseTouch { .. }
            | Prompt::Listening
            | Prompt::WhereAreWe { .. }
            | Prompt::Cautions { .. }
            | Prompt::NoCautions
            | Prompt::Reason { .. }
    )
}

fn text_of(world: &World, standing: &Standing, step: &StepRef) -> Option<String> {
    let (checklist, profile) = (&world.checklist, world.profile.as_deref());
    let facts = &standing.facts;
    let sheet = chalkhand::domain::Sheet::compute(checklist, facts, profile, &world.functions);
    let known = chalkhand::domain::Known { checklist, facts, profile, sheet: &sheet };
    let say = &checklist.step(&step.id)?.say;
    known.fill(say, step.row, chalkhand::domain::Units::Us).ok()
}

/// Property 4: whether work stops before this step, by the words of the design: a hold
/// point that applies and has no release after what it applies for.
/// The walk that is going on.
fn newest(standing: &Standing, checklist: &Checklist) -> WalkId {
    let walk = standing.walks_of(&checklist.id).next_back();
    walk.map_or_else(|| WalkId::first(&checklist.id), |(id, _)| id.clone())
}

pub(crate) fn blocked(checklist: &Checklist, standing: &Standing, step: &StepRef) -> bool {
    let Some(found) = checklist.step(&step.id) else { return false };
    let Some(point) = &found.point else { return false };
    if point.kind != PointKind::Hold {
        return false;
    }
    let reached =
        standing.step(&newest(standing, checklist), step).and_then(|stood| stood.point.as_ref());
    let released = reached.and_then(|reached| reached.released.as_ref());
    if reached.is_some() && released.is_none() {
        return true;
    }
    let (ids, only_skipped) = match &point.when {
        PointWhen::Always => return released.is_none(),
        PointWhen::OffTarget(ids) => (ids.clone(), false),
        PointWhen::Skipped(id) => (vec![id.clone()], true),
    };
    let Some(walk) = standing.walks.get(&newest(standing, checklist)) else { return false };
    walk.steps.iter().any(|(at, stood)| {
        let here =
            ids.contains(&at.id) && (at.row == step.row || at.row.is_none() || step.row.is_none());
        let Some(settled) = stood.settled.as_ref().filter(|_| here) else { return false };
        let deviates = match &settled.outcome {
            Outcome::Skipped { .. } => true,
            outcome => !only_skipped && outcome.off_target(),
        };
        deviates && released.is_none_or(|release| release.seq < settled.seq)
    })
}
