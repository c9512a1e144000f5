//! The asking half of a walk: which step is next, what is said for it, what is
//! listened for.

use crate::measure::{Dimension, Quantity, Ratio, Value};

use super::super::entry::{How, StepRef, Target, What};
use super::super::{
    Answer, At, Computed, FactKind, Language, Meaning, Outcome, Point, PointKind, PointWhen,
    StepStanding, shown,
};
use super::{Action, Expect, ExpectAnswer, Prompt, Purpose, State, Then, Told, Walk};

/// In the same words, then in other words, then by touch; after that the ear
/// waits for the call word.
const TRIES_IN_THE_SAME_WORDS: u32 = 1;
const TRIES_BEFORE_TOUCH: u32 = 2;
/// Call words with nothing taken between them before touch is offered.
const CALLS_BEFORE_TOUCH: u32 = 3;
const TRIES_IN_ALL: u32 = 3;

impl Walk {
    pub(super) fn begin(&mut self, now: At, out: &mut Vec<Action>) {
        if self.state != State::Idle {
            return;
        }
        let stood = self.standing.walks.get(&self.setting.walk);
        let (begun, paused) = stood.map_or((false, false), |w| (w.begun.is_some(), w.paused));
        let title = self.setting.checklist.title.clone();
        let open = self.open().count();
        out.push(Action::Say(Prompt::Opening { title, again: begun, open }));
        if !begun {
            let (version, hash) = (self.setting.checklist.version, self.setting.checklist.hash);
            let draft = self.draft(now, How::Program, What::WalkBegun { version, hash });
            self.save(draft, Then::Next, out);
        } else if let Some(last) = stood.filter(|w| w.ended.is_some()).and_then(|w| w.last.clone())
            && self.open().next().is_none()
        {
            out.push(Action::Say(Prompt::Ended));
            self.state = State::Ended(last);
            self.listen(out);
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
        let stood = self.standing.walks.get(&self.setting.walk);
        if stood.is_some_and(|walk| walk.ended.is_some()) {
            return self.finish(out);
        }
        let draft = self.draft(now, How::Program, What::WalkEnded);
        self.save(draft, Then::Next, out);
    }

    /// Asks a step: its inspection point and its cautions come first.
    pub(super) fn ask(&mut self, now: At, at: StepRef, out: &mut Vec<Action>) {
        let Some(step) = self.step(&at) else { return };
        // Who comes back, or comes new, hears the caution again.
        let is_cautioned = self.cautioned.contains(&at);
        let (has_cautions, point) = (!step.cautions.is_empty(), self.due_point(&at).cloned());
        self.asked_after = self.standing.last_seq;
        self.told = self.tell(&at);
        if let Some(Point { kind, role, .. }) = point {
            if kind == PointKind::Witness {
                let title = self.title(&at);
                out.push(Action::Say(Prompt::Witness { role: role.clone(), title }));
            }
            let what = What::PointReached { step: at.clone(), kind, role };
            let draft = self.draft(now, How::Program, what);
            return self.save(draft, Then::Ask(at), out);
        }
        if let Some(role) = self.holder(&at) {
            out.push(Action::Say(Prompt::Held { role: role.clone(), title: self.title(&at) }));
            self.state = State::Held { step: at, role };
            return self.listen(out);
        }
        if has_cautions && !is_cautioned {
            let said = self.cautions(&at);
            self.cautioned.insert(at.clone());
            out.push(Action::Say(Prompt::Cautions { said: said.clone() }));
            // Whether they were spoken is known where they are.
            let what = What::Cautioned { step: at.clone(), said, spoken: None };
            let draft = self.draft(now, How::Program, what);
            return self.save(draft, Then::Ask(at), out);
        }
        self.tries = 0;
        self.say_step(&at, out);
        self.state = match (&self.told, step_answer(self, &at)) {
            // A step that cannot be told cannot be confirmed.
            (Err(_), _) => State::Untold(at),
            (Ok(_), Some(Answer::Note)) => State::Dictating { step: at, purpose: Purpose::Answer },
            (Ok(_), _) => State::Asking(at),
        };
        self.listen(out);
    }

    /// Whether the step waits for an inspection point.
    pub(super) fn is_blocked(&self, at: &StepRef) -> bool {
        self.due_point(at).is_some_and(|point| point.kind.stops_work()) || self.holder(at).is_some()
    }

    /// Who has to release the step's hold point, once it was reached.
    fn holder(&self, at: &StepRef) -> Option<String> {
        let stood = self.standing.step(&self.setting.walk, at)?;
        let point = stood.point.as_ref()?;
        (point.kind.stops_work() && point.released.is_none()).then(|| point.role.clone())
    }

    /// The step's inspection point, where it applies and was not reached yet.
    fn due_point(&self, at: &StepRef) -> Option<&Point> {
        let point = self.step(at)?.point.as_ref()?;
        let stood = self.standing.step(&self.setting.walk, at);
        let reached = stood.and_then(|stood| stood.point.as_ref());
        let skipped = |o: &Outcome| matches!(o, Outcome::Skipped { .. });
        let since = match &point.when {
            PointWhen::Always => return reached.is_none().then_some(point),
            // What was left out is not known to be on target.
            PointWhen::OffTarget(ids) => {
                let causes = ids
                    .iter()
                    .filter_map(|id| self.cause(id, at, |o| o.off_target() || skipped(o)));
                causes.max()
            }
            PointWhen::Skipped(id) => self.cause(id, at, skipped),
        }?;
        let due = reached.is_none_or(|reached| match point.kind {
            // A deviation after the release wants a release of its own.
            PointKind::Hold => reached.released.as_ref().is_some_and(|r| r.seq < since),
            PointKind::Witness => false,
        });
        due.then_some(point)
    }

    /// The last entry that settled a step so: in the same row where both
    /// repeat, in any row otherwise.
    fn cause(&self, id: &str, at: &StepRef, is: impl Fn(&Outcome) -> bool) -> Option<u64> {
        let walk = self.standing.walks.get(&self.setting.walk)?;
        let same_row = |row: Option<u32>| row.is_none() || at.row.is_none() || row == at.row;
        let steps = walk.steps.iter().filter(|(of, _)| of.id == id && same_row(of.row));
        let settled = steps.filter_map(|(_, stood)| stood.settled.as_ref());
        settled.filter(|settled| is(&settled.outcome)).map(|settled| settled.seq).max()
    }

    pub(super) fn released(&self, at: &StepRef) -> Option<String> {
        let stood = self.standing.step(&self.setting.walk, at)?;
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

    /// The step with this job's numbers, or the facts that are missing.
    pub(super) fn tell(&self, at: &StepRef) -> Result<Told, Vec<String>> {
        let Some(step) = self.step(at) else { return Err(Vec::new()) };
        let table = step.each.as_ref().filter(|_| at.row.is_none());
        if let Some(table) = table {
            return Err(self.known().missing_rows(table));
        }
        let text = self.known().fill(&step.say, at.row, self.setting.units)?;
        let target = self.target(at);
        match &step.answer {
            Answer::Measure { measure, .. } | Answer::Count { measure: Some(measure) }
                if target.is_none() =>
            {
                Err(match self.sheet.get(measure, at.row) {
                    Some(Computed::Missing(names)) => names.clone(),
                    _ => vec![measure.clone()],
                })
            }
            _ => Ok(Told { text, target }),
        }
    }

    /// Photos that this step still wants.
    pub(super) fn photos_left(&self, at: &StepRef) -> u32 {
        let stood = self.standing.step(&self.setting.walk, at);
        let asked = self.step(at).map_or(0, |step| step.photos);
        asked.saturating_sub(stood.map_or(0, StepStanding::photos_taken))
    }

    pub(super) fn say_step(&self, at: &StepRef, out: &mut Vec<Action>) {
        let title = self.title(at);
        match self.tell(at) {
            Ok(Told { text, .. }) => {
                let (number, of) = (self.number(at), self.plan.len());
                out.push(Action::Say(Prompt::Step { number, of, title, text }));
                let left = self.photos_left(at);
                // Where free words are taken down, it would be one of them.
                if 0 < left && self.expected_answer(at) != ExpectAnswer::Words {
                    out.push(Action::Say(Prompt::Photos { left }));
                }
            }
            Err(names) => {
                let names = names.into_iter().map(|name| self.name_of(name)).collect();
                out.push(Action::Say(Prompt::Missing { title, names }));
            }
        }
    }

    /// What a fact is called: its name, or its question where names are in
    /// another language than the sentences.
    fn name_of(&self, name: String) -> String {
        let checklist = &self.setting.checklist;
        match checklist.fact(&name) {
            Some(fact) if checklist.language != Language::default() => fact.ask.clone(),
            _ => name,
        }
    }

    /// The step's place in the plan, counted from 1.
    pub(super) fn number(&self, at: &StepRef) -> usize {
        self.plan.iter().position(|step| step == at).map_or(0, |place| place + 1)
    }

    /// The call word: the window opens again.
    pub(super) fn called(&mut self, out: &mut Vec<Action>) {
        if self.expect() == Expect::default() {
            return;
        }
        self.tries = 0;
        self.calls = self.calls.saturating_add(1);
        // Who calls and calls is not understood when he goes on.
        out.push(Action::Say(match self.current() {
            Some(at) if CALLS_BEFORE_TOUCH < self.calls => {
                Prompt::UseTouch { title: self.title(at) }
            }
            _ => Prompt::Listening,
        }));
        self.listen(out);
    }

    /// Something that is no answer: again in the same words, in other words,
    /// then by touch. Nothing is ever guessed.
    pub(super) fn unclear(&mut self, now: At, spoken: bool, out: &mut Vec<Action>) {
        match self.state {
            State::Idle | State::Saving { .. } | State::Finished => return,
            // Nothing is asked of the crew, who may talk.
            State::Held { .. } | State::Paused(_) | State::Ended(_) if spoken => return,
            State::Unsaved { .. } => return self.repeat(now, out),
            _ => {}
        }
        self.tries = self.tries.saturating_add(1);
        if self.tries <= TRIES_IN_THE_SAME_WORDS {
            out.push(Action::Say(Prompt::AskAgain));
            return self.repeat(now, out);
        }
        let title = self.current().map(|at| self.title(at)).unwrap_or_default();
        if self.tries <= TRIES_BEFORE_TOUCH || !spoken {
            out.push(Action::Say(Prompt::Reworded { title, expect: self.expect() }));
        } else if self.tries <= TRIES_IN_ALL {
            out.push(Action::Say(Prompt::UseTouch { title }));
        } else {
            return;
        }
        self.listen(out);
    }

    /// The present question once more.
    pub(super) fn repeat(&mut self, now: At, out: &mut Vec<Action>) {
        match self.state.clone() {
            State::Asking(step) | State::Untold(step) => self.say_step(&step, out),
            State::ReadingBack { step, given, .. } => {
                let (target, comparison) = self.comparison(&step, &given);
                out.push(Action::Say(Prompt::ReadBack { given, target, comparison }));
            }
            State::OffTarget { step, given, .. } => self.say_off_target(&step, given, out),
            State::Dictating { step, purpose } => self.say_dictate(&step, &purpose, out),
            State::WordsBack { words, .. } => out.push(Action::Say(Prompt::WordsBack { words })),
            State::Held { step, .. } => return self.ask(now, step, out),
            State::Paused(_) => out.push(Action::Say(Prompt::Paused)),
            State::Ended(_) => out.push(Action::Say(Prompt::Ended)),
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
            State::Asking(step) | State::Untold(step) => {
                let told = self.told.is_ok();
                let answer = if told { self.expected_answer(step) } else { ExpectAnswer::None };
                let done = told && step_answer(self, step) == Some(&Answer::Done);
                let again = self.settled(step).is_some();
                let own = [M::Back, M::Pause, M::TakeNote, M::PhotoTaken, M::WasWrong, M::Skip];
                let first = done.then_some(M::StepDone);
                let last = again.then_some(M::Resume);
                let commands = first.into_iter().chain(own).chain(last).chain(always);
                return Expect { commands: commands.collect(), answer };
            }
            State::WordsBack { purpose: Purpose::Answer, .. } | State::ReadingBack { .. } => {
                (&[M::Yes, M::No, M::Back, M::Skip, M::Pause], ExpectAnswer::None)
            }
            State::WordsBack { .. } => (&[M::Yes, M::No, M::Back, M::Pause], ExpectAnswer::None),
            State::OffTarget { .. } => {
                (&[M::MeasureAgain, M::LogAsIs, M::Pause], ExpectAnswer::None)
            }
            State::Dictating { .. } => {
                return Expect { commands: Vec::new(), answer: ExpectAnswer::Words };
            }
            State::Held { .. } => {
                (&[M::Pause, M::TakeNote, M::Back, M::WasWrong], ExpectAnswer::None)
            }
            State::Paused(_) => (&[M::Resume], ExpectAnswer::None),
            State::Ended(_) => (&[M::WasWrong], ExpectAnswer::None),
            State::Unsaved { .. } => (&[], ExpectAnswer::None),
            State::Idle | State::Saving { .. } | State::Finished => return Expect::default(),
        };
        Expect { commands: own.iter().chain(&always).cloned().collect(), answer }
    }

    fn expected_answer(&self, at: &StepRef) -> ExpectAnswer {
        let checklist = &self.setting.checklist;
        match step_answer(self, at) {
            Some(Answer::Measure { measure, .. }) => match self.target(at) {
                Some(Target::Mark(mark, _)) if mark.dimension == Dimension::LENGTH => near(mark),
                _ => checklist.measure(measure).map_or(ExpectAnswer::None, |measure| {
                    expected_value(&measure.kind, None, None)
                }),
            },
            Some(Answer::Count { .. }) => {
                let most = match self.target(at) {
                    Some(Target::AtLeast(least)) => least.saturating_mul(2).max(12),
                    _ => 60,
                };
                ExpectAnswer::Count { from: 0, to: most, unit: "" }
            }
            Some(Answer::Choice { options, .. }) => ExpectAnswer::Choice(options.clone()),
            Some(Answer::Fact { fact }) => checklist
                .fact(fact)
                .map_or(ExpectAnswer::None, |fact| expected_value(&fact.kind, fact.from, fact.to)),
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
                    Some(m) => shown::to_tape(q, m.bound, m.graduation),
                    None => q,
                };
                Some(Target::Mark(mark, *tolerance))
            }
            Answer::Count { measure: Some(measure) } => {
                let Value::Quantity(q) = self.known().value(measure, at.row)? else { return None };
                u32::try_from(q.value.ceil().max(0)).ok().map(Target::AtLeast)
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

fn expected_value(kind: &FactKind, from: Option<Quantity>, to: Option<Quantity>) -> ExpectAnswer {
    let value = |q: Option<Quantity>, or: i64| q.map_or(Ratio::int(or), |q| q.value);
    let per = |unit: &'static str, scale: fn(Ratio) -> Ratio, most: i64| {
        let from = from.map_or(Ratio::ZERO, |q| scale(q.value));
        let to = to.map_or(Ratio::int(most), |q| scale(q.value));
        let whole = |n: i128| u32::try_from(n.max(0)).unwrap_or(0);
        ExpectAnswer::Count { from: whole(from.ceil()), to: whole(to.floor()), unit }
    };
    match kind {
        FactKind::Length => {
            let (from, to) = (value(from, 0), value(to, 60));
            let wide = to.minus(from).is_ok_and(|span| Ratio::int(60) < span);
            let step = if wide { Ratio::ONE } else { Ratio::SIXTEENTH };
            ExpectAnswer::Length { from: from.max(Ratio::ZERO), to, step }
        }
        FactKind::Pitch => per("in twelve", |p| p.times(Ratio::int(12)).unwrap_or(p), 24),
        FactKind::Count | FactKind::Number => per("", |n| n, 60),
        FactKind::Area if is_small_area(to) => per("square inches", |a| a, 5000),
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

/// Whether an area up to this one is spoken in square inches: vents are, floors
/// are not.
pub(super) fn is_small_area(to: Option<Quantity>) -> bool {
    to.is_some_and(|to| to.value <= Ratio::int(150 * 144))
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
