//! The answering half of a walk: what is done with what was understood.

use crate::measure::{Dimension, Quantity, Ratio, Value};

use super::super::entry::{Given, How, StepRef, What};
use super::super::{Answer, At, Comparison, FactKind, FactName, MOST_ROWS, Meaning, answer};
use super::asking::{is_small_area, step_answer};
use super::{Action, Conveyed, Prompt, Purpose, State, Then, Told, Walk};

impl Walk {
    pub(super) fn said(&mut self, now: At, meaning: Meaning, how: How, out: &mut Vec<Action>) {
        match (self.state.clone(), meaning) {
            (State::Idle | State::Saving { .. } | State::Finished, _) => {}
            (State::Dictating { step, purpose }, Meaning::Words(words)) => {
                self.dictated(step, purpose, &words, how, out);
            }
            (State::WordsBack { step, purpose, words, how: first }, Meaning::Yes) => {
                self.words_confirmed(now, step, purpose, words, (first, how), out);
            }
            (State::WordsBack { step, purpose, .. }, Meaning::No) => {
                self.dictate(step, purpose, out);
            }
            (State::ReadingBack { step, given, how: first }, Meaning::Yes) => {
                let (_, comparison) = self.comparison(&step, &given);
                let conveyed = Conveyed::from(first).then(how);
                if comparison == Comparison::On {
                    self.log_answer(now, step, given, conveyed, None, out);
                } else {
                    self.say_off_target(&step, given.clone(), out);
                    self.state = State::OffTarget { step, given, conveyed };
                    self.listen(out);
                }
            }
            (State::ReadingBack { step, .. }, Meaning::No)
            | (State::OffTarget { step, .. }, Meaning::MeasureAgain) => self.ask(now, step, out),
            (State::OffTarget { step, given, conveyed }, Meaning::LogAsIs) => {
                let conveyed = conveyed.then(how);
                self.dictate(step, Purpose::OffTarget { given, conveyed }, out);
            }
            (State::Paused(step), Meaning::Resume) => {
                let draft = self.draft(now, how, What::Resumed);
                self.save(draft, Then::Ask(step), out);
            }
            (State::Ended(last), Meaning::WasWrong) => self.correct(now, Some(last), out),
            (State::Ended(_), _) => self.repeat(now, out),
            (_, Meaning::Repeat) | (State::Unsaved { .. }, _) => self.repeat(now, out),
            (state, meaning) => self.command(now, &state, meaning, how, out),
        }
    }

    /// Commands that can be given at any question.
    fn command(
        &mut self,
        now: At,
        state: &State,
        meaning: Meaning,
        how: How,
        out: &mut Vec<Action>,
    ) {
        let Some(at) = self.current().cloned() else { return };
        // At the step's own question, and while its answer is read back.
        let asking = matches!(
            state,
            State::Asking(_) | State::Untold(_) | State::Dictating { purpose: Purpose::Answer, .. }
        );
        let backing = matches!(
            state,
            State::ReadingBack { .. } | State::WordsBack { purpose: Purpose::Answer, .. }
        );
        let told = matches!(state, State::Asking(_));
        match meaning {
            Meaning::WhereAreWe => {
                let (number, of, open) = (self.number(&at), self.plan.len(), self.open().count());
                let title = self.title(&at);
                out.push(Action::Say(Prompt::WhereAreWe { number, of, title, open }));
                self.listen(out);
            }
            Meaning::ReadCaution => {
                let said = self.cautions(&at);
                let none = said.is_empty();
                let prompt = if none { Prompt::NoCautions } else { Prompt::Cautions { said } };
                out.push(Action::Say(prompt));
                self.listen(out);
            }
            Meaning::ReadReason => {
                let why = self.step(&at).map(|step| step.why.clone()).unwrap_or_default();
                out.push(Action::Say(Prompt::Reason { why }));
                self.listen(out);
            }
            Meaning::Pause if !matches!(state, State::Paused(_)) => {
                let draft = self.draft(now, how, What::Paused);
                self.save(draft, Then::Pause(at), out);
            }
            Meaning::TakeNote if asking || self.is_held() => {
                self.dictate(at, Purpose::Note, out);
            }
            Meaning::PhotoTaken if asking => {
                let draft = self.draft(now, how, What::PhotoTaken { step: at.clone() });
                self.save(draft, Then::LoggedStay(at), out);
            }
            Meaning::Skip if asking || backing => self.dictate(at, Purpose::Skip, out),
            Meaning::Back if asking || backing || self.is_held() => {
                let place = self.number(&at).checked_sub(2);
                let before = place.and_then(|place| self.plan.get(place)).cloned();
                self.correct(now, before, out);
            }
            // Out of a reason or a note that is not wanted after all.
            Meaning::Back if matches!(state, State::Dictating { .. } | State::WordsBack { .. }) => {
                self.ask(now, at, out);
            }
            Meaning::WasWrong if asking || self.is_held() => {
                let walk = self.standing.walks.get(&self.setting.walk);
                let last = walk.and_then(|walk| walk.last.clone());
                self.correct(now, last.filter(|last| self.plan.contains(last)), out);
            }
            // What is being corrected stays as it was.
            Meaning::Resume if asking && self.settled(&at).is_some() => self.next(now, out),
            Meaning::StepDone if told && step_answer(self, &at) == Some(&Answer::Done) => {
                // While a photo is wanted two things are said here that a mumble
                // makes alike: "photo taken" without its beginning is heard as
                // "step done".
                if how.is_spoken() && 0 < self.photos_left(&at) {
                    return self.read_back(at, Given::Done, how, out);
                }
                self.log_answer(now, at, Given::Done, how, None, out);
            }
            meaning if told => self.given(now, at, &meaning, how, out),
            _ => self.unclear(now, how.is_spoken(), out),
        }
    }

    /// Asks a step again so that its new entry corrects the old one.
    fn correct(&mut self, now: At, step: Option<StepRef>, out: &mut Vec<Action>) {
        match step {
            Some(step) => {
                if self.settled(&step).is_some() {
                    let title = self.title(&step);
                    out.push(Action::Say(Prompt::Correcting { title }));
                }
                self.ask(now, step, out);
            }
            None => {
                out.push(Action::Say(Prompt::NothingBefore));
                self.repeat(now, out);
            }
        }
    }

    /// An answer with content: checked, then read back. Only a yes logs it.
    fn given(&mut self, now: At, at: StepRef, meaning: &Meaning, how: How, out: &mut Vec<Action>) {
        let given = match self.read(&at, meaning) {
            Ok(Some(given)) => given,
            Ok(None) => return self.unclear(now, how.is_spoken(), out),
            Err(prompt) => {
                out.push(Action::Say(*prompt));
                return self.listen(out);
            }
        };
        self.read_back(at, given, how, out);
    }

    /// Says what was heard. Only a yes logs it.
    fn read_back(&mut self, at: StepRef, given: Given, how: How, out: &mut Vec<Action>) {
        let (target, comparison) = self.comparison(&at, &given);
        self.tries = 0;
        out.push(Action::Say(Prompt::ReadBack { given: given.clone(), target, comparison }));
        self.state = State::ReadingBack { step: at, given, how };
        self.listen(out);
    }

    /// What was conveyed, as an answer to this step: `None` is no answer to it.
    fn read(&self, at: &StepRef, meaning: &Meaning) -> Result<Option<Given>, Box<Prompt>> {
        let not_understood = |why| Box::new(Prompt::NotUnderstood { why });
        let Some(answer) = step_answer(self, at) else { return Ok(None) };
        let kind = match answer {
            Answer::Done | Answer::Note => return Ok(None),
            Answer::Measure { tolerance, .. } if tolerance.dimension == Dimension::LENGTH => {
                FactKind::Length
            }
            Answer::Measure { measure, .. } => {
                let measure = self.setting.checklist.measure(measure);
                measure.map_or(FactKind::Number, |measure| measure.kind.clone())
            }
            Answer::Count { .. } => FactKind::Count,
            Answer::Choice { options, .. } => FactKind::Choice(options.clone()),
            Answer::Fact { fact } => match self.setting.checklist.fact(fact) {
                Some(fact) => fact.kind.clone(),
                None => return Ok(None),
            },
        };
        let value = match meaning {
            // A number typed without a unit is one spoken without a unit.
            Meaning::Words(text) => match (answer::parse_answer(text, &kind), bare_number(text)) {
                (Err(_), Some(n)) if kind != FactKind::Length => {
                    counted(n, &kind, self.is_small(answer))
                }
                (value, _) => Some(value.map_err(not_understood)?),
            },
            Meaning::Length(inches) => Some(Value::Quantity(Quantity::inches(*inches))),
            Meaning::Count(n) => counted(*n, &kind, self.is_small(answer)),
            Meaning::Choice(place) => chosen(*place, &kind),
            _ => None,
        };
        let Some(value) = value.filter(|value| kind.admits(value)) else { return Ok(None) };
        Ok(match (answer, value) {
            (Answer::Fact { fact }, value) => {
                let row = if fact.contains('.') { at.row } else { None };
                self.in_range(fact, &value, row)?;
                Some(Given::Fact(FactName { name: fact.clone(), row }, value))
            }
            (Answer::Count { .. }, Value::Quantity(q)) => {
                u32::try_from(q.value.numerator()).ok().map(Given::Counted)
            }
            (_, Value::Quantity(q)) => Some(Given::Measured(q)),
            (_, Value::Text(option)) => Some(Given::Chosen(option)),
            (_, Value::YesNo(_)) => None,
        })
    }

    fn is_small(&self, answer: &Answer) -> bool {
        let Answer::Fact { fact } = answer else { return false };
        self.setting.checklist.fact(fact).is_some_and(|fact| is_small_area(fact.to))
    }

    fn in_range(&self, name: &str, value: &Value, row: Option<u32>) -> Result<(), Box<Prompt>> {
        let Some(fact) = self.setting.checklist.fact(name) else { return Ok(()) };
        let Value::Quantity(q) = value else { return Ok(()) };
        let is_rows = self.setting.checklist.tables.iter().any(|t| t.counted_by() == Some(name));
        let most = Quantity::count(i64::from(MOST_ROWS));
        let to = fact.to.or(is_rows.then_some(most));
        let below = fact.from.is_some_and(|from| q.value < from.value);
        let above = to.is_some_and(|to| to.value < q.value);
        if below || above {
            let given = Given::Fact(FactName { name: name.to_owned(), row }, value.clone());
            return Err(Box::new(Prompt::OutOfRange { given, from: fact.from, to }));
        }
        Ok(())
    }

    fn log_answer(
        &mut self,
        now: At,
        step: StepRef,
        given: Given,
        conveyed: impl Into<Conveyed>,
        reason: Option<String>,
        out: &mut Vec<Action>,
    ) {
        // Only what was told can be answered; `told` is what was told last.
        let Ok(Told { text: asked, target }) = self.told.clone() else {
            return self.ask(now, step, out);
        };
        let what = What::Answered { step, asked, given, target, reason };
        let draft = self.draft(now, conveyed, what);
        self.save(draft, Then::LoggedNext, out);
    }

    fn dictate(&mut self, step: StepRef, purpose: Purpose, out: &mut Vec<Action>) {
        self.tries = 0;
        self.say_dictate(&step, &purpose, out);
        self.state = State::Dictating { step, purpose };
        self.listen(out);
    }

    fn dictated(
        &mut self,
        step: StepRef,
        purpose: Purpose,
        words: &str,
        how: How,
        out: &mut Vec<Action>,
    ) {
        let words = words.trim().to_owned();
        if words.is_empty() {
            return self.dictate(step, purpose, out);
        }
        out.push(Action::Say(Prompt::WordsBack { words: words.clone() }));
        self.state = State::WordsBack { step, purpose, words, how };
        self.listen(out);
    }

    fn words_confirmed(
        &mut self,
        now: At,
        step: StepRef,
        purpose: Purpose,
        words: String,
        (spoken, yes): (How, How),
        out: &mut Vec<Action>,
    ) {
        let conveyed = Conveyed::from(spoken.clone()).then(yes.clone());
        match purpose {
            Purpose::OffTarget { given, conveyed: value } => {
                let conveyed = value.then(spoken).then(yes);
                self.log_answer(now, step, given, conveyed, Some(words), out);
            }
            Purpose::Skip => {
                let what = What::Skipped { step, reason: words };
                let draft = self.draft(now, conveyed, what);
                self.save(draft, Then::LoggedNext, out);
            }
            Purpose::Note => {
                // Its sound is put beside it where the draft is appended.
                let what = What::Noted { step: Some(step.clone()), text: words, clip: None };
                let draft = self.draft(now, conveyed, what);
                self.save(draft, Then::LoggedStay(step), out);
            }
            Purpose::Answer => {
                self.log_answer(now, step, Given::Noted(words), conveyed, None, out);
            }
        }
    }
}

/// `1,200`: digits and nothing else that could mean something.
fn bare_number(text: &str) -> Option<u32> {
    text.trim().replace(',', "").parse().ok().filter(|_| !text.contains(['+', '-']))
}

/// A spoken whole number in the unit the question asked for.
fn counted(n: u32, kind: &FactKind, small: bool) -> Option<Value> {
    let n = Ratio::int(n.into());
    let value = match kind {
        FactKind::Count | FactKind::Number => n,
        FactKind::Pitch => n.over(Ratio::int(12)).ok()?,
        FactKind::Area if small => n,
        FactKind::Area => n.times(Ratio::int(144)).ok()?,
        FactKind::FreeAreaPerLength => n.over(Ratio::int(12)).ok()?,
        FactKind::Temperature => n.plus(Ratio::new(45_967, 100).ok()?).ok()?,
        FactKind::Speed => n.times(Ratio::new(63_360, 3_600).ok()?).ok()?,
        FactKind::Length | FactKind::Choice(_) | FactKind::YesNo | FactKind::Text => return None,
    };
    kind.dimension().map(|dimension| Value::Quantity(Quantity::new(value, dimension)))
}

fn chosen(place: usize, kind: &FactKind) -> Option<Value> {
    match kind {
        FactKind::Choice(options) => options.get(place).cloned().map(Value::Text),
        FactKind::YesNo => Some(Value::YesNo(place == 0)),
        _ => None,
    }
}
