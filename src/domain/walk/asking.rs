//! The asking half of a walk: which step is next, what is said for it, what is
//! listened for.

use crate::measure::{Quantity, Ratio, Value};

use super::super::entry::{How, StepRef, Target, What};
use super::super::{
    Answer, At, Fact, FactKind, Meaning, Outcome, Point, PointKind, PointWhen, sheet,
};
use super::{Action, Expect, ExpectAnswer, Prompt, Purpose, State, Then, Walk};

/// In the same words, then in other words, then by touch.
const TRIES_IN_THE_SAME_WORDS: u32 = 1;
const TRIES_BEFORE_TOUCH: u32 = 2;

impl Walk {
    pub(super) fn begin(&mut self, now: At, out: &mut Vec<Action>) {
        if self.state != State::Idle {
            return;
        }
        let stood = self.standing.walks.get(&self.setting.checklist.id);
        let (begun, paused) = stood.map_or((false, false), |w| (w.begun.is_some(), w.paused));
        let title = self.setting.checklist.title.clone();
        let open = self.open().count();
        out.push(Action::Say(Prompt::Opening { title, again: begun, open }));
        if !begun {
            let (version, hash) = (self.setting.checklist.version, self.setting.checklist.hash);
            let draft = self.draft(now, How::Program, What::WalkBegun { version, hash });
            self.save(draft, Then::Next, out);
        } else if paused {
            let draft = self.draft(now, How::Program, What::Resumed);
            self.save(draft, Then::Next, out);
        } else {
            self.next(now, out);
        }
    }

    /// The first open step, or the end.
    pub(super) fn next(&mut self, now: At, out: &mut Vec<Action>) {
        let open = self.open().next().cloned();
        if let Some(step) = open {
            return self.ask(now, step, out);
        }
        let stood = self.standing.walks.get(&self.setting.checklist.id);
        if stood.is_some_and(|walk| walk.ended.is_some()) {
            return self.finish(out);
        }
        let draft = self.draft(now, How::Program, What::WalkEnded);
        self.save(draft, Then::Finish, out);
    }

    /// Asks a step: its inspection point and its cautions come first.
    pub(super) fn ask(&mut self, now: At, at: StepRef, out: &mut Vec<Action>) {
        let Some(step) = self.step(&at) else { return };
        let stood = self.standing.step(&self.setting.checklist.id, &at);
        if let Some(point) = step.point.clone().filter(|point| self.point_due(point, &at)) {
            let then = match point.kind {
                PointKind::Hold => Then::Hold(at.clone()),
                PointKind::Witness => {
                    let title = self.title(&at);
                    out.push(Action::Say(Prompt::Witness { role: point.role.clone(), title }));
                    Then::Ask(at.clone())
                }
            };
            let what = What::PointReached { step: at, kind: point.kind, role: point.role };
            let draft = self.draft(now, How::Program, what);
            return self.save(draft, then, out);
        }
        if let Some(point) = stood.and_then(|stood| stood.point.as_ref())
            && point.kind.stops_work()
            && point.released.is_none()
        {
            return self.hold(now, at, out);
        }
        if !step.cautions.is_empty() && stood.is_none_or(|stood| stood.cautioned.is_none()) {
            let said = self.cautions(&at);
            out.push(Action::Say(Prompt::Cautions { said: said.clone() }));
            let draft = self.draft(now, How::Program, What::Cautioned { step: at.clone(), said });
            return self.save(draft, Then::Ask(at), out);
        }
        self.tries = 0;
        self.say_step(&at, out);
        self.state = match step_answer(self, &at) {
            Some(Answer::Note) => State::Dictating { step: at, purpose: Purpose::Answer },
            _ => State::Asking(at),
        };
        self.listen(out);
    }

    /// Whether an inspection point applies and was not reached for it yet.
    fn point_due(&self, point: &Point, at: &StepRef) -> bool {
        let checklist = &self.setting.checklist.id;
        let reached = self.standing.step(checklist, at).and_then(|stood| stood.point.as_ref());
        let cause = |id: &str, is: fn(&Outcome) -> bool| {
            let row = self.step(&StepRef { id: id.to_owned(), row: at.row });
            let row = row.and_then(|step| step.each.as_ref()).and(at.row);
            let settled = self.settled(&StepRef { id: id.to_owned(), row });
            settled.filter(|settled| is(&settled.outcome)).map(|settled| settled.seq)
        };
        let since = match &point.when {
            PointWhen::Always => return reached.is_none(),
            PointWhen::OffTarget(id) => cause(id, Outcome::off_target),
            PointWhen::Skipped(id) => cause(id, |o| matches!(o, Outcome::Skipped { .. })),
        };
        match (since, reached) {
            (None, _) => false,
            (Some(_), None) => true,
            // A deviation after the release wants a release of its own.
            (Some(seq), Some(point)) => {
                point.released.as_ref().is_some_and(|release| release.seq < seq)
            }
        }
    }

    pub(super) fn hold(&mut self, now: At, at: StepRef, out: &mut Vec<Action>) {
        let point = self.standing.step(&self.setting.checklist.id, &at);
        let Some(point) = point.and_then(|stood| stood.point.clone()) else {
            return self.ask(now, at, out);
        };
        out.push(Action::Say(Prompt::Held { role: point.role.clone(), title: self.title(&at) }));
        self.state = State::Held { step: at, role: point.role };
        self.listen(out);
    }

    pub(super) fn released(&self, at: &StepRef) -> Option<String> {
        let stood = self.standing.step(&self.setting.checklist.id, at)?;
        stood.point.as_ref()?.released.as_ref().map(|release| release.by.clone())
    }

    pub(super) fn cautions(&self, at: &StepRef) -> Vec<String> {
        let ids = self.step(at).map_or(&[][..], |step| &step.cautions);
        let known = ids.iter().filter_map(|id| self.setting.checklist.caution(id));
        known.map(|caution| caution.say.clone()).collect()
    }

    /// A step's name, with its row where it repeats.
    pub(super) fn title(&self, at: &StepRef) -> String {
        self.setting.checklist.title_of(at)
    }

    pub(super) fn say_step(&self, at: &StepRef, out: &mut Vec<Action>) {
        let Some(step) = self.step(at) else { return };
        let title = self.title(at);
        out.push(Action::Say(match self.known().fill(&step.say, at.row, self.setting.units) {
            Ok(text) => {
                let number = self.number(at);
                Prompt::Step { number, of: self.plan.len(), title, text }
            }
            Err(names) => Prompt::Missing { title, names },
        }));
    }

    /// The step's place in the plan, counted from 1.
    pub(super) fn number(&self, at: &StepRef) -> usize {
        self.plan.iter().position(|step| step == at).map_or(0, |place| place + 1)
    }

    /// Something below the thresholds: again in the same words, in other
    /// words, then by touch. Nothing is ever guessed.
    pub(super) fn unclear(&mut self, now: At, out: &mut Vec<Action>) {
        self.tries += 1;
        if self.tries <= TRIES_IN_THE_SAME_WORDS {
            out.push(Action::Say(Prompt::AskAgain));
            self.repeat(now, out);
            return;
        }
        let title = self.current().map(|at| self.title(at)).unwrap_or_default();
        out.push(Action::Say(if self.tries <= TRIES_BEFORE_TOUCH {
            Prompt::Reworded { title, expect: self.expect() }
        } else {
            Prompt::UseTouch { title }
        }));
        self.listen(out);
    }

    /// The present question once more.
    pub(super) fn repeat(&mut self, now: At, out: &mut Vec<Action>) {
        match self.state.clone() {
            State::Asking(step) => self.say_step(&step, out),
            State::ReadingBack { step, given, .. } => {
                let (target, comparison) = self.comparison(&step, &given);
                out.push(Action::Say(Prompt::ReadBack { given, target, comparison }));
            }
            State::OffTarget { step, given, .. } => self.say_off_target(&step, given, out),
            State::Dictating { step, purpose } => self.say_dictate(&step, &purpose, out),
            State::WordsBack { words, .. } => out.push(Action::Say(Prompt::WordsBack { words })),
            State::Held { step, .. } => return self.hold(now, step, out),
            State::Paused(_) => out.push(Action::Say(Prompt::Paused)),
            State::Unsaved { draft, then } => return self.save(draft, then, out),
            State::Idle | State::Saving { .. } | State::Finished => return,
        }
        self.listen(out);
    }

    pub(super) fn say_off_target(
        &self,
        step: &StepRef,
        given: super::super::Given,
        out: &mut Vec<Action>,
    ) {
        if let (Some(target), comparison) = self.comparison(step, &given) {
            out.push(Action::Say(Prompt::OffTarget { given, target, comparison }));
        }
    }

    pub(super) fn say_dictate(&self, step: &StepRef, purpose: &Purpose, out: &mut Vec<Action>) {
        match purpose {
            Purpose::OffTarget { .. } => out.push(Action::Say(Prompt::AskReason)),
            Purpose::Skip => out.push(Action::Say(Prompt::AskSkipReason)),
            Purpose::Note => out.push(Action::Say(Prompt::SayNote)),
            Purpose::Answer => self.say_step(step, out),
        }
    }

    pub(super) fn listen(&self, out: &mut Vec<Action>) {
        if !matches!(self.state, State::Saving { .. } | State::Finished | State::Idle) {
            out.push(Action::Listen(self.expect()));
        }
    }

    /// What makes sense now; everything else is not listened for.
    #[must_use]
    pub fn expect(&self) -> Expect {
        use Meaning as M;
        let always = [M::Repeat, M::WhereAreWe, M::ReadCaution, M::ReadReason, M::CallWord];
        let (own, answer): (&[Meaning], _) = match &self.state {
            State::Asking(step) => {
                let answer = self.expected_answer(step);
                let done = step_answer(self, step) == Some(&Answer::Done);
                let own: &[Meaning] = &[
                    M::StepDone,
                    M::Back,
                    M::Pause,
                    M::TakeNote,
                    M::PhotoTaken,
                    M::WasWrong,
                    M::Skip,
                ];
                (if done { own } else { own.get(1..).unwrap_or_default() }, answer)
            }
            State::ReadingBack { .. } | State::WordsBack { .. } => {
                (&[M::Yes, M::No, M::Pause], ExpectAnswer::None)
            }
            State::OffTarget { .. } => {
                (&[M::MeasureAgain, M::LogAsIs, M::Pause], ExpectAnswer::None)
            }
            State::Dictating { .. } => {
                return Expect { commands: Vec::new(), answer: ExpectAnswer::Words };
            }
            State::Held { .. } => (&[M::Pause, M::TakeNote], ExpectAnswer::None),
            State::Paused(_) => (&[M::Resume], ExpectAnswer::None),
            State::Unsaved { .. } => (&[], ExpectAnswer::None),
            State::Idle | State::Saving { .. } | State::Finished => return Expect::default(),
        };
        Expect { commands: own.iter().chain(&always).cloned().collect(), answer }
    }

    fn expected_answer(&self, at: &StepRef) -> ExpectAnswer {
        match step_answer(self, at) {
            Some(Answer::Measure { .. }) => match self.target(at) {
                Some(Target::Mark(mark, _)) => near(mark),
                _ => ExpectAnswer::None,
            },
            Some(Answer::Count { .. }) => {
                let most = match self.target(at) {
                    Some(Target::AtLeast(least)) => least.saturating_mul(2).max(12),
                    _ => 60,
                };
                ExpectAnswer::Count { from: 0, to: most, unit: "" }
            }
            Some(Answer::Choice { options, .. }) => ExpectAnswer::Choice(options.clone()),
            Some(Answer::Fact { fact }) => {
                self.setting.checklist.fact(fact).map_or(ExpectAnswer::None, expected_fact)
            }
            Some(Answer::Note) => ExpectAnswer::Words,
            Some(Answer::Done) | None => ExpectAnswer::None,
        }
    }

    /// The step's target with this job's numbers, rounded as it is spoken.
    pub(super) fn target(&self, at: &StepRef) -> Option<Target> {
        let checklist = &self.setting.checklist;
        match step_answer(self, at)? {
            Answer::Measure { measure, tolerance } => {
                let Value::Quantity(q) = self.known().value(measure, at.row)? else { return None };
                let mark = match checklist.measure(measure) {
                    Some(m) => sheet::to_tape(q, m.bound, m.graduation),
                    None => q,
                };
                Some(Target::Mark(mark, *tolerance))
            }
            Answer::Count { measure: Some(measure) } => {
                let Value::Quantity(q) = self.known().value(measure, at.row)? else { return None };
                u32::try_from(q.value.ceil()).ok().map(Target::AtLeast)
            }
            Answer::Choice { wanted, .. } if !wanted.is_empty() => {
                Some(Target::OneOf(wanted.clone()))
            }
            _ => None,
        }
    }
}

pub(super) fn step_answer<'a>(walk: &'a Walk, at: &StepRef) -> Option<&'a Answer> {
    walk.step(at).map(|step| &step.answer)
}

/// Lengths about a mark: half of it either way, at least 6 in and at most a
/// foot, so that the grammar stays narrow and a wrong mark is still heard.
fn near(mark: Quantity) -> ExpectAnswer {
    let six = Ratio::int(6);
    let half = mark.value.over(Ratio::int(2)).unwrap_or(six);
    let span = half.clamp(six, Ratio::int(12));
    let from = mark.value.minus(span).unwrap_or(Ratio::SIXTEENTH).max(Ratio::SIXTEENTH);
    let to = mark.value.plus(span).unwrap_or(mark.value);
    // The bounds lie on the graduation.
    let from = Ratio::int(i64::try_from(from.floor()).unwrap_or(0)).max(Ratio::SIXTEENTH);
    ExpectAnswer::Length { from, to, step: Ratio::SIXTEENTH }
}

fn expected_fact(fact: &Fact) -> ExpectAnswer {
    let value = |q: Option<Quantity>, or: i64| q.map_or(Ratio::int(or), |q| q.value);
    let whole = |r: Ratio, by: i64| {
        let scaled = r.times(Ratio::int(by)).unwrap_or(r);
        u32::try_from(scaled.ceil()).unwrap_or(0)
    };
    let per = |unit: &'static str, scale: fn(Ratio) -> Ratio, most: i64| {
        let from = fact.from.map_or(Ratio::ZERO, |q| scale(q.value));
        let to = fact.to.map_or(Ratio::int(most), |q| scale(q.value));
        ExpectAnswer::Count { from: whole(from, 1), to: whole(to, 1), unit }
    };
    match &fact.kind {
        FactKind::Length => {
            let (from, to) = (value(fact.from, 0), value(fact.to, 60));
            let wide = to.minus(from).is_ok_and(|span| Ratio::int(60) < span);
            let step = if wide { Ratio::ONE } else { Ratio::SIXTEENTH };
            ExpectAnswer::Length { from: from.max(step), to, step }
        }
        FactKind::Pitch => per("in twelve", |p| p.times(Ratio::int(12)).unwrap_or(p), 24),
        FactKind::Count | FactKind::Number => per("", |n| n, 60),
        FactKind::Area => per("square feet", |a| a.over(Ratio::int(144)).unwrap_or(a), 5000),
        FactKind::Temperature => per("degrees", fahrenheit, 140),
        FactKind::Speed => per("miles an hour", miles_an_hour, 60),
        FactKind::FreeAreaPerLength => {
            per("square inches a foot", |q| q.times(Ratio::int(12)).unwrap_or(q), 40)
        }
        FactKind::Choice(options) => ExpectAnswer::Choice(options.clone()),
        FactKind::YesNo => ExpectAnswer::Choice(vec!["yes".to_owned(), "no".to_owned()]),
        FactKind::Text => ExpectAnswer::Words,
    }
}

/// Rankine to Fahrenheit; readings are kept in degrees Rankine.
fn fahrenheit(rankine: Ratio) -> Ratio {
    let offset = Ratio::new(45_967, 100).unwrap_or(Ratio::ZERO);
    rankine.minus(offset).unwrap_or(rankine)
}

/// Inches a second to miles an hour.
fn miles_an_hour(speed: Ratio) -> Ratio {
    let mph = Ratio::new(3_600, 63_360).and_then(|factor| speed.times(factor));
    mph.unwrap_or(speed)
}
