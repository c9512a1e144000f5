//! What the invented crew answers: the right thing, but for a few mishaps.

use std::sync::Arc;

use crate::domain::walk::{Expect, ExpectAnswer, Prompt};
use crate::domain::{
    Answer, Bound, Checklist, Facts, Given, JobFile, Known, Meaning, PointWhen, Sheet, StepRef,
    Units, plan, shown,
};
use crate::measure::{Dimension, Functions, Quantity, Ratio, Rounding, Value};
use crate::speech::{length_forms, phrases_for, words_for};

/// Mishaps that are still to happen.
#[derive(Clone, Copy, Debug)]
pub(in crate::cli) struct Mishaps {
    /// A confirmation nobody could understand.
    mumble: bool,
    /// A number said wrong and caught at the read-back.
    wrong_number: bool,
    /// A mark that is off its target and stays so.
    off_target: bool,
}

impl Mishaps {
    pub(in crate::cli) fn all() -> Self {
        Self { mumble: true, wrong_number: true, off_target: true }
    }

    pub(in crate::cli) fn none() -> Self {
        Self { mumble: false, wrong_number: false, off_target: false }
    }
}

/// One thing the crew conveys.
#[derive(Clone, Debug)]
pub(in crate::cli) struct Reply {
    /// As spoken.
    pub(in crate::cli) words: String,
    /// As typed.
    pub(in crate::cli) meaning: Meaning,
}

#[derive(Debug)]
pub(in crate::cli) struct Script {
    file: JobFile,
    checklist: Arc<Checklist>,
    functions: Arc<Functions>,
    found: Facts,
    pub(super) mishaps: Mishaps,
    /// The question that waits for an answer.
    question: Option<Prompt>,
    /// The step being asked.
    step: Option<StepRef>,
    /// What was meant by the last answer; none where it was said wrong.
    meant: Option<Given>,
    /// The crew goes to the screen.
    pub(super) touch: bool,
    /// How often it went there.
    pub(super) touched: u32,
    /// It was asked to say it in other words.
    reworded: bool,
    /// The words last dictated, where they are to be checked.
    dictated: Option<String>,
    /// Words are being dictated.
    dictating: bool,
    /// The step's work is still to be done.
    works: bool,
    /// Photos still to be taken.
    photos: u32,
}

impl Script {
    pub(in crate::cli) fn new(
        file: JobFile,
        checklist: Arc<Checklist>,
        functions: Arc<Functions>,
        found: Facts,
        mishaps: Mishaps,
    ) -> Self {
        let (question, step, meant) = (None, None, None);
        let (touch, works, photos) = (false, false, 0);
        Self {
            file,
            checklist,
            functions,
            found,
            mishaps,
            question,
            step,
            meant,
            touch,
            touched: 0,
            reworded: false,
            dictated: None,
            dictating: false,
            works,
            photos,
        }
    }

    /// Listens to what is said.
    pub(in crate::cli) fn hears(&mut self, prompt: &Prompt) {
        self.reworded = matches!(prompt, Prompt::Reworded { .. });
        match prompt {
            Prompt::Step { number, .. } => {
                let plan = self.with_known(&self.checklist, plan::plan);
                let step = number.checked_sub(1).and_then(|at| plan.get(at)).cloned();
                if step != self.step {
                    self.dictating = false;
                    self.works = true;
                    let asks = step.as_ref().and_then(|at| self.checklist.step(&at.id));
                    self.photos = asks.map_or(0, |step| step.photos);
                }
                self.step = step;
                self.question = Some(prompt.clone());
                self.touch = false;
            }
            Prompt::ReadBack { .. }
            | Prompt::OffTarget { .. }
            | Prompt::AskReason
            | Prompt::AskSkipReason
            | Prompt::SayNote
            | Prompt::WordsBack { .. }
            | Prompt::Held { .. } => {
                self.question = Some(prompt.clone());
                self.touch = false;
            }
            Prompt::UseTouch { .. } => {
                self.touch = true;
                self.touched = self.touched.saturating_add(1);
            }
            _ => {}
        }
    }

    /// How long the crew works before it answers, in seconds.
    pub(in crate::cli) fn works_s(&mut self) -> u32 {
        if !std::mem::take(&mut self.works) {
            return 4;
        }
        let step = self.step.as_ref().and_then(|at| self.checklist.step(&at.id));
        step.and_then(|step| step.least_s).map_or(9, |least| least + least / 3 + 2)
    }

    /// A fact the survey found, so that later questions know it.
    pub(in crate::cli) fn learns(&mut self, given: &Given) {
        if let Given::Fact(name, value) = given {
            self.file.standing.facts.set(name.clone(), value.clone());
        }
    }

    /// The answer to the question that waits; none while somebody else is
    /// waited for.
    pub(in crate::cli) fn reply(&mut self, expect: &Expect) -> Option<Reply> {
        match self.question.clone()? {
            Prompt::Held { .. } => None,
            Prompt::ReadBack { given, .. } => {
                let right = self.meant.as_ref() == Some(&given);
                if right {
                    self.learns(&given);
                }
                Some(command(if right { Meaning::Yes } else { Meaning::No }))
            }
            Prompt::WordsBack { words } => {
                let right = self.dictated.take().is_none_or(|meant| same_words(&meant, &words));
                Some(command(if right { Meaning::Yes } else { Meaning::No }))
            }
            Prompt::OffTarget { .. } => Some(command(Meaning::LogAsIs)),
            Prompt::AskReason | Prompt::AskSkipReason | Prompt::SayNote => {
                Some(self.dictate("it is the best we can do today"))
            }
            _ => self.photo().or_else(|| self.answer(expect)),
        }
    }

    /// The step being asked, and what answers it.
    pub(in crate::cli) fn asked(&self) -> Option<(&StepRef, &Answer)> {
        let at = self.step.as_ref()?;
        Some((at, &self.checklist.step(&at.id)?.answer))
    }

    /// What is right at the step being asked, and what is meant by it.
    pub(in crate::cli) fn right(&mut self, expect: &Expect) -> Option<(Reply, Given)> {
        self.meant = None;
        let reply = self.answer(expect)?;
        Some((reply, self.meant.take().unwrap_or(Given::Done)))
    }

    fn photo(&mut self) -> Option<Reply> {
        let at = self.step.as_ref()?;
        // The last photo of the day is forgotten: the day log will say so.
        if self.photos == 0 || at.id == "clean-up" {
            return None;
        }
        self.photos -= 1;
        self.meant = None;
        Some(command(Meaning::PhotoTaken))
    }

    fn answer(&mut self, expect: &Expect) -> Option<Reply> {
        let at = self.step.clone()?;
        let answer = self.checklist.step(&at.id)?.answer.clone();
        if answer == Answer::Done {
            self.meant = Some(Given::Done);
        }
        match answer {
            Answer::Done if self.mishaps.mumble && at.row.is_some() => {
                self.mishaps.mumble = false;
                Some(Reply { words: "hm the thing there".to_owned(), meaning: Meaning::StepDone })
            }
            Answer::Done => Some(command(Meaning::StepDone)),
            Answer::Note => Some(self.dictate("it is written on the sheet")),
            Answer::Measure { measure, tolerance } => {
                let mark = self.value(&measure, at.row)?;
                let Value::Quantity(mark) = mark else { return None };
                let measure = self.checklist.measure(&measure);
                let mark = measure.map_or(mark, |m| shown::to_tape(mark, m.bound, m.graduation));
                Some(self.read_tape(mark, tolerance, &at))
            }
            Answer::Count { measure } => {
                let target = measure.and_then(|measure| self.value(&measure, at.row));
                let count = match target {
                    Some(Value::Quantity(q)) => u32::try_from(q.value.ceil()).ok()?,
                    _ => self.bays(&at).unwrap_or(4),
                };
                self.meant = Some(Given::Counted(count));
                Some(Reply { words: words_for(count), meaning: Meaning::Count(count) })
            }
            Answer::Choice { options, wanted } => {
                let option = wanted.first().or(options.first())?.clone();
                let place = options.iter().position(|one| *one == option)?;
                self.meant = Some(Given::Chosen(option.clone()));
                Some(Reply { words: option, meaning: Meaning::Choice(place) })
            }
            Answer::Fact { fact } => self.fact(&fact, &at, expect),
        }
    }

    /// A reading of the tape, with the mishaps that are still to happen.
    fn read_tape(&mut self, mark: Quantity, tolerance: Quantity, at: &StepRef) -> Reply {
        let quarter = Ratio::new(1, 4).unwrap_or(Ratio::ONE);
        let shifted = |q: Quantity| {
            let off = tolerance.value.plus(quarter).and_then(|by| q.value.plus(by));
            // A mark is read to the sixteenth.
            let off = off.and_then(|off| off.round_to(Ratio::SIXTEENTH, Rounding::Nearest));
            Quantity::new(off.unwrap_or(q.value), q.dimension)
        };
        // Where somebody will have to look at it before the saw starts.
        let matters = self.checklist.steps.iter().any(|step| {
            let point = step.point.as_ref().filter(|_| step.tags.iter().any(|t| t == "cutting"));
            point.is_some_and(|point| {
                matches!(&point.when, PointWhen::OffTarget(steps) if steps.contains(&at.id))
            })
        });
        let (said, meant) = if self.mishaps.wrong_number {
            self.mishaps.wrong_number = false;
            (shifted(mark), mark)
        } else if self.mishaps.off_target && matters && at.row == Some(2) {
            self.mishaps.off_target = false;
            (shifted(mark), shifted(mark))
        } else {
            (mark, mark)
        };
        self.meant = Some(Given::Measured(meant));
        self.length(said)
    }

    /// A length in its first words; in others where it was asked for them.
    fn length(&self, q: Quantity) -> Reply {
        let spelled = |form: &String| !form.contains(|c: char| c.is_ascii_digit());
        let mut forms = length_forms(q.value).into_iter().filter(spelled);
        let words = if self.reworded { forms.next_back() } else { forms.next() };
        Reply { words: words.unwrap_or_default(), meaning: Meaning::Length(q.value) }
    }

    /// Words of the crew's own. Misheard ones are said once more.
    fn dictate(&mut self, text: &str) -> Reply {
        // What is misheard twice is taken as it is: the record calls it an
        // unverified transcript.
        let again = std::mem::replace(&mut self.dictating, true);
        self.dictated = (!again).then(|| text.to_owned());
        Reply { words: text.to_owned(), meaning: Meaning::Words(text.to_owned()) }
    }

    fn fact(&mut self, name: &str, at: &StepRef, expect: &Expect) -> Option<Reply> {
        let row = if name.contains('.') { at.row } else { None };
        let fact = self.checklist.fact(name)?.clone();
        // What the job file does not say is as the checklist takes it, or a fair day.
        let found = self.found.get(name, row).cloned().or_else(|| self.value(name, row));
        let value = found.or_else(|| match &fact.kind {
            crate::domain::FactKind::Temperature => {
                crate::domain::parse_answer("65 degF", &fact.kind).ok()
            }
            crate::domain::FactKind::Choice(options) => options.first().cloned().map(Value::Text),
            crate::domain::FactKind::YesNo => Some(Value::YesNo(true)),
            _ => fact.from.map(Value::Quantity),
        })?;
        let shown = shown::show_value(&value, Bound::Mark, Ratio::SIXTEENTH, Units::Us);
        let given =
            Given::Fact(crate::domain::FactName { name: name.to_owned(), row }, value.clone());
        self.meant = Some(given);
        Some(match (&value, &expect.answer) {
            (Value::Quantity(q), ExpectAnswer::Length { .. }) => {
                Reply { meaning: Meaning::Words(shown), ..self.length(*q) }
            }
            (Value::Text(text), ExpectAnswer::Choice(options)) => {
                let place = options.iter().position(|option| option == text)?;
                Reply { words: text.clone(), meaning: Meaning::Choice(place) }
            }
            (Value::YesNo(yes), _) => {
                let word = if *yes { "yes" } else { "no" };
                let meaning = Meaning::Choice(usize::from(!yes));
                Reply { words: word.to_owned(), meaning }
            }
            (Value::Quantity(q), ExpectAnswer::Count { unit, .. }) => {
                let spoken = spoken_count(*q, unit).map(words_for).unwrap_or_default();
                Reply { words: spoken, meaning: Meaning::Words(shown) }
            }
            _ => Reply { words: shown.clone(), meaning: Meaning::Words(shown) },
        })
    }

    /// How many bays the slot of a run opens into, by the checklist that lays it out:
    /// what the crew counts at a run has to fit the roof it is on.
    fn bays(&self, at: &StepRef) -> Option<u32> {
        if self.checklist.step(&at.id)?.each.as_deref() != Some("run") {
            return None;
        }
        let lays_out = |list: &Checklist| {
            list.table("run").is_some_and(|run| run.column("slot_end").is_some())
        };
        let list = self.file.checklists.iter().find(|list| lays_out(list))?;
        self.with_known(list, |known, _| {
            let value = |name, row| match known.value(name, row)? {
                Value::Quantity(quantity) => Some(quantity.value),
                _ => None,
            };
            let long =
                value("run.slot_end", at.row)?.minus(value("run.slot_start", at.row)?).ok()?;
            u32::try_from(long.over(value("member_spacing", None)?).ok()?.ceil()).ok()
        })
    }

    fn value(&self, name: &str, row: Option<u32>) -> Option<Value> {
        self.with_known(&self.checklist, |known, _| known.value(name, row))
    }

    fn with_known<T>(&self, checklist: &Checklist, look: impl Fn(Known<'_>, &Functions) -> T) -> T {
        let facts = &self.file.standing.facts;
        let profile = self.file.profile.as_deref();
        let sheet = Sheet::compute(checklist, facts, profile, &self.functions);
        let known = Known { checklist, facts, profile, sheet: &sheet };
        look(known, &self.functions)
    }
}

pub(in crate::cli) fn command(meaning: Meaning) -> Reply {
    let words = phrases_for(&meaning).first().copied().unwrap_or_default().to_owned();
    Reply { words, meaning }
}

/// The same words, whatever the recogniser makes of capitals and stops.
fn same_words(a: &str, b: &str) -> bool {
    let plain = |text: &str| -> String {
        text.to_lowercase().chars().filter(|c| c.is_alphanumeric()).collect()
    };
    plain(a) == plain(b)
}

/// The whole number a question about this quantity asks for, in its unit.
fn spoken_count(q: Quantity, unit: &str) -> Option<u32> {
    let offset = Ratio::new(45_967, 100).ok()?;
    let value = match q.dimension {
        Dimension::PITCH | Dimension::FREE_AREA_PER_LENGTH => q.value.times(Ratio::int(12)).ok()?,
        Dimension::AREA if unit == "square feet" => q.value.over(Ratio::int(144)).ok()?,
        Dimension::TEMPERATURE => q.value.minus(offset).ok()?,
        Dimension::SPEED => q.value.times(Ratio::new(3_600, 63_360).ok()?).ok()?,
        _ => q.value,
    };
    u32::try_from(value.round(Rounding::Nearest)).ok()
}
