//! What the invented installer knows and wants: the right answer at each step,
//! and by stated rates the slips of a working day. He listens to every read-back.

mod reading;

use std::collections::BTreeSet;

use fastrand::Rng;

use super::super::demo::script::{Reply, Script, command};
use super::talk::{NOTES, REASONS, alike};
use super::truth::Meant;
use crate::domain::walk::{Expect, Prompt};
use crate::domain::{Comparison, Given, Meaning, StepRef};

/// Of a hundred steps.
const OFF_TARGET: u32 = 5;
const MISSPOKEN: u32 = 4;
const SLIPS: u32 = 4;
const SKIPPED: u32 = 1;
const COMMANDS: u32 = 12;
/// Tries at a command before he lets it be.
const TRIES: u32 = 3;

/// One thing he says to the daemon.
#[derive(Clone, Debug)]
pub(super) struct Line {
    pub(super) words: String,
    pub(super) meaning: Meaning,
    /// What he wants in the log by it.
    pub(super) grant: Option<Meant>,
    /// He prefers the screen for this.
    pub(super) typed: bool,
    pub(super) careless: bool,
}

impl Line {
    pub(super) fn of(meaning: Meaning) -> Self {
        let Reply { words, meaning } = command(meaning);
        Self { words, meaning, grant: None, typed: false, careless: false }
    }

    fn granting(self, grant: Option<Meant>) -> Self {
        Self { grant, ..self }
    }
}

/// What is going to happen at this step.
#[derive(Clone, Debug, Default)]
struct Plans {
    off_target: bool,
    /// He will read it again when he hears that it is off.
    reads_again: bool,
    misspeaks: bool,
    /// He takes it for right and finds out at the next step.
    slips: bool,
    skips: bool,
    command: Option<Meaning>,
    tries: u32,
}

/// What is true at this step, and what he is about to say for it.
#[derive(Clone, Debug)]
struct Reading {
    reply: Reply,
    given: Given,
    /// Said in its place, once.
    instead: Option<Reply>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Purpose {
    Reason,
    Skip,
    Note,
}

/// What he did that is worth counting.
#[derive(Clone, Debug, Default)]
pub(super) struct Doings {
    pub(super) caught: u32,
    pub(super) caught_chatter: u32,
    pub(super) caught_slips: u32,
    pub(super) careless: u32,
    pub(super) off_target: u32,
    pub(super) corrected: u32,
    pub(super) skipped: u32,
}

pub(super) struct Mind {
    script: Script,
    rng: Rng,
    careless: u32,
    pub(super) step: Option<StepRef>,
    visited: BTreeSet<StepRef>,
    plans: Plans,
    reading: Option<Reading>,
    question: Option<Prompt>,
    photos: u32,
    purpose: Option<Purpose>,
    as_is: bool,
    noting: bool,
    dictated: Option<String>,
    misses: u32,
    /// The step before was settled wrong.
    to_correct: bool,
    /// He did not want to go back.
    strayed: bool,
    unclear: bool,
    /// He is refusing what was read back.
    refuses: bool,
    /// What was in the air last was not for the daemon.
    pub(super) chattered: bool,
    pub(super) doings: Doings,
}

impl Mind {
    pub(super) fn new(script: Script, rng: Rng, careless: u32) -> Self {
        Self {
            script,
            rng,
            careless,
            step: None,
            visited: BTreeSet::new(),
            plans: Plans::default(),
            reading: None,
            question: None,
            photos: 0,
            purpose: None,
            as_is: false,
            noting: false,
            dictated: None,
            misses: 0,
            to_correct: false,
            strayed: false,
            unclear: false,
            refuses: false,
            chattered: false,
            doings: Doings::default(),
        }
    }

    /// The walk is taken up again, with what stands by now.
    pub(super) fn takes_up(&mut self, script: Script) {
        self.script = script;
        self.question = None;
    }

    /// Steps he was asked.
    pub(super) fn steps(&self) -> usize {
        self.visited.len()
    }

    /// How long he works before he answers, in seconds; long only once a step.
    pub(super) fn works_s(&mut self) -> u32 {
        self.script.works_s()
    }

    /// Whether something is planned that does not go by the book.
    pub(super) fn has_mishap(&self) -> bool {
        let Plans { off_target, misspeaks, slips, skips, command, .. } = &self.plans;
        *off_target || *misspeaks || *slips || *skips || command.is_some()
    }

    pub(super) fn is_paused(&self) -> bool {
        matches!(self.question, Some(Prompt::Paused))
    }

    pub(super) fn hears(&mut self, prompt: &Prompt) {
        self.script.hears(prompt);
        let wanted = self.plans.command.clone();
        let is = |meaning: Meaning| wanted == Some(meaning);
        match prompt {
            Prompt::Step { .. } => {
                let step = self.script.asked().map(|(step, _)| step.clone());
                self.photos = 0;
                if step != self.step {
                    self.strayed &= self.step.is_none();
                    self.arrives(step);
                } else if is(Meaning::Repeat) && !self.unclear {
                    self.plans.command = None;
                }
                (self.unclear, self.refuses) = (false, false);
                self.question = Some(prompt.clone());
            }
            Prompt::Photos { left } => self.photos = *left,
            Prompt::AskAgain => self.unclear = true,
            Prompt::Reworded { .. } => {
                if let Some(reading) = self.reading.take() {
                    let reply = self.in_any_form(reading.reply);
                    self.reading = Some(Reading { reply, ..reading });
                }
            }
            Prompt::WhereAreWe { .. } if is(Meaning::WhereAreWe) => self.plans.command = None,
            Prompt::Cautions { .. } | Prompt::NoCautions if is(Meaning::ReadCaution) => {
                self.plans.command = None;
            }
            Prompt::Reason { .. } if is(Meaning::ReadReason) => self.plans.command = None,
            Prompt::NothingBefore => self.plans.command = None,
            Prompt::Correcting { .. } => {
                let back = is(Meaning::Back) && self.rng.bool();
                let corrects = is(Meaning::WasWrong) && self.to_correct;
                self.doings.corrected += u32::from(corrects);
                self.to_correct &= !corrects;
                self.strayed = !(back || corrects);
                self.plans.command = None;
                // What he says next is read anew, as it is in truth.
                self.step = None;
            }
            Prompt::SayNote => {
                self.noting = is(Meaning::TakeNote) || self.noting;
                self.plans.command = self.plans.command.take().filter(|c| *c != Meaning::TakeNote);
                self.asks_words(self.noting, Purpose::Note, prompt);
            }
            Prompt::AskReason => self.asks_words(self.as_is, Purpose::Reason, prompt),
            Prompt::AskSkipReason => self.asks_words(self.plans.skips, Purpose::Skip, prompt),
            Prompt::Paused => {
                self.plans.command = self.plans.command.take().filter(|c| *c != Meaning::Pause);
                self.question = Some(prompt.clone());
            }
            Prompt::Logged => {
                self.doings.skipped += u32::from(self.purpose == Some(Purpose::Skip));
                // What the steps to come depend on.
                if let Some(reading) = &self.reading {
                    self.script.learns(&reading.given);
                }
                (self.as_is, self.noting, self.purpose) = (false, false, None);
                (self.dictated, self.misses) = (None, 0);
            }
            Prompt::ReadBack { .. }
            | Prompt::OffTarget { .. }
            | Prompt::WordsBack { .. }
            | Prompt::Held { .. } => self.question = Some(prompt.clone()),
            _ => {}
        }
    }

    fn asks_words(&mut self, wanted: bool, purpose: Purpose, prompt: &Prompt) {
        self.purpose = wanted.then_some(purpose);
        self.question = Some(prompt.clone());
    }

    fn arrives(&mut self, step: Option<StepRef>) {
        self.reading = None;
        self.step.clone_from(&step);
        self.plans = Plans::default();
        let is_new = step.is_some_and(|step| self.visited.insert(step));
        if self.to_correct {
            self.plans.command = Some(Meaning::WasWrong);
        } else if is_new {
            self.plans = self.plan();
        }
    }

    fn plan(&mut self) -> Plans {
        let mut plans = Plans::default();
        let mut of_hundred = |rate: u32| self.rng.u32(0..100) < rate;
        if of_hundred(COMMANDS) {
            const ALL: [Meaning; 7] = [
                Meaning::Repeat,
                Meaning::WhereAreWe,
                Meaning::ReadCaution,
                Meaning::ReadReason,
                Meaning::TakeNote,
                Meaning::Pause,
                Meaning::Back,
            ];
            plans.command = self.rng.choice(ALL);
        } else if of_hundred(OFF_TARGET) {
            (plans.off_target, plans.reads_again) = (true, self.rng.bool());
        } else if of_hundred(MISSPOKEN) {
            plans.misspeaks = true;
        } else if of_hundred(SLIPS) {
            plans.slips = true;
        } else if of_hundred(SKIPPED) {
            plans.skips = true;
        }
        plans
    }

    /// What he says now; none while somebody else is waited for.
    pub(super) fn line(&mut self, expect: &Expect) -> Option<Line> {
        Some(match self.question.clone()? {
            Prompt::Held { .. } => return None,
            Prompt::Paused => Line::of(Meaning::Resume),
            Prompt::ReadBack { given, comparison, .. } => self.backs(given, &comparison),
            Prompt::OffTarget { given, .. } => self.off_target(&given),
            Prompt::AskReason | Prompt::AskSkipReason | Prompt::SayNote => self.dictates(),
            Prompt::WordsBack { words } => self.backs_words(words),
            _ if self.strayed => Line::of(Meaning::Resume),
            _ => return self.answers(expect),
        })
    }

    fn backs(&mut self, given: Given, comparison: &Comparison) -> Line {
        let meant = self.reading.as_ref().is_some_and(|reading| reading.given == given);
        if let (true, Some(step)) = (meant, self.step.clone()) {
            let grant = Meant::Answer { step, given, reason: None };
            let grant = (*comparison == Comparison::On).then_some(grant);
            self.to_correct |= self.plans.slips;
            return Line::of(Meaning::Yes).granting(grant);
        }
        if self.rng.u32(0..100) < self.careless {
            self.doings.careless += 1;
            return Line { careless: true, ..Line::of(Meaning::Yes) };
        }
        if !std::mem::replace(&mut self.refuses, true) {
            let doings = &mut self.doings;
            if self.chattered {
                doings.caught_chatter += 1;
            } else if std::mem::take(&mut self.plans.misspeaks) {
                doings.caught_slips += 1;
            } else {
                doings.caught += 1;
            }
        }
        Line::of(Meaning::No)
    }

    fn off_target(&mut self, given: &Given) -> Line {
        let meant = self.reading.as_ref().is_some_and(|reading| reading.given == *given);
        if meant && !self.plans.reads_again {
            self.doings.off_target += u32::from(!self.as_is);
            self.as_is = true;
            return Line::of(Meaning::LogAsIs);
        }
        if meant {
            // He does it again, and right.
            (self.plans.off_target, self.reading) = (false, None);
        }
        Line::of(Meaning::MeasureAgain)
    }

    fn dictates(&mut self) -> Line {
        let Some(purpose) = self.purpose else {
            let Line { words, .. } = Line::of(Meaning::Back);
            return Line { meaning: Meaning::Words(words.clone()), words, ..Line::of(Meaning::No) };
        };
        let texts: &[&str] = if purpose == Purpose::Note { &NOTES } else { &REASONS };
        let text = self.rng.choice(texts).copied().unwrap_or_default();
        let words = self.dictated.get_or_insert_with(|| text.to_owned()).clone();
        // What is misheard twice is typed.
        let typed = 2 <= self.misses;
        let meaning = Meaning::Words(words.clone());
        Line { words, meaning, grant: None, typed, careless: false }
    }

    fn backs_words(&mut self, words: String) -> Line {
        let meant = self.dictated.as_ref().is_some_and(|meant| alike(meant, &words));
        let (Some(purpose), Some(step)) = (self.purpose, self.step.clone()) else {
            return Line::of(Meaning::Back);
        };
        if !meant {
            self.misses += 1;
            return Line::of(Meaning::No);
        }
        let grant = match (purpose, &self.reading) {
            (Purpose::Reason, Some(Reading { given, .. })) => {
                Some(Meant::Answer { step, given: given.clone(), reason: Some(words) })
            }
            (Purpose::Reason, None) => None,
            (Purpose::Skip, _) => Some(Meant::Skip { step, reason: words }),
            (Purpose::Note, _) => Some(Meant::Note { text: words }),
        };
        Line::of(Meaning::Yes).granting(grant)
    }

    fn answers(&mut self, expect: &Expect) -> Option<Line> {
        let step = self.step.clone()?;
        if let Some(wanted) = self.plans.command.clone() {
            self.plans.tries += 1;
            if self.plans.tries <= TRIES || wanted == Meaning::WasWrong {
                let typed = TRIES < self.plans.tries;
                return Some(Line { typed, ..Line::of(wanted) });
            }
            self.plans.command = None;
        }
        if self.plans.skips {
            return Some(Line::of(Meaning::Skip));
        }
        if 0 < self.photos {
            return Some(Line::of(Meaning::PhotoTaken).granting(Some(Meant::Photo { step })));
        }
        if self.reading.is_none() {
            self.reading = Some(self.reads(expect)?);
        }
        let reading = self.reading.as_mut()?;
        let Reply { words, meaning } =
            reading.instead.take().unwrap_or_else(|| reading.reply.clone());
        let (given, reason) = (Given::Done, None);
        let is_done = meaning == Meaning::StepDone;
        let grant = is_done.then_some(Meant::Answer { step, given, reason });
        Some(Line { words, meaning, grant, typed: false, careless: false })
    }
}
