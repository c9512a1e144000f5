//! What may be said at a step and what each thing said means. A grammar is a
//! key: the trie built from it is kept for the next time it is asked for.

use crate::domain::Meaning;
use crate::measure::Ratio;

use super::forms::with_case;
use super::wording::{Wording, written};

/// Which numbers may be said.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Numbers {
    /// None.
    None,
    /// Lengths.
    Lengths {
        /// The smallest, in inches.
        from: Ratio,
        /// The largest, in inches.
        to: Ratio,
        /// The distance between two, in inches.
        step: Ratio,
        /// Whole inches are listened for from one up to here, too: a reading far
        /// off is heard as what it is, not as the nearest that makes sense.
        beyond: Ratio,
    },
    /// Counts.
    Counts {
        /// The smallest.
        from: u32,
        /// The largest.
        to: u32,
    },
}

/// What may be said at this step. The narrower, the better it is heard.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Grammar {
    /// The commands that make sense now.
    pub commands: Vec<Meaning>,
    /// The numbers that make sense now.
    pub numbers: Numbers,
    /// The step's own answers, as spoken.
    pub choices: Vec<String>,
    /// Free words instead of all of the above.
    pub dictation: bool,
    /// In which words commands and numbers are said.
    pub wording: Wording,
}

/// The most numbers one grammar holds: a person reads a tape, not a ruler of a
/// mile. More are left out from the top.
const MOST_NUMBERS: usize = 8_192;

impl Grammar {
    /// The given commands and nothing else.
    pub fn commands_only(commands: Vec<Meaning>) -> Grammar {
        Grammar {
            commands,
            numbers: Numbers::None,
            choices: Vec::new(),
            dictation: false,
            wording: Wording::default(),
        }
    }

    /// All commands.
    pub fn all_commands() -> Grammar {
        Grammar::commands_only(Meaning::COMMANDS.to_vec())
    }

    /// Lengths from `from` to `to` inches by `step` inches and nothing else.
    pub fn only_lengths(from: Ratio, to: Ratio, step: Ratio) -> Grammar {
        let mut grammar = Grammar::commands_only(Vec::new());
        grammar.numbers = Numbers::Lengths { from, to, step, beyond: Ratio::ZERO };
        grammar
    }

    /// Counts and nothing else.
    pub fn only_counts(from: u32, to: u32) -> Grammar {
        let mut grammar = Grammar::commands_only(Vec::new());
        grammar.numbers = Numbers::Counts { from, to };
        grammar
    }

    /// All commands, and all lengths to 60 inches by sixteenths.
    pub fn everything() -> Grammar {
        let sixteenth = Ratio::new(1, 16).unwrap_or(Ratio::int(1));
        let mut grammar = Grammar::only_lengths(sixteenth, Ratio::int(60), sixteenth);
        grammar.commands = Meaning::COMMANDS.to_vec();
        grammar
    }

    /// Free words.
    pub fn free() -> Grammar {
        let mut grammar = Grammar::commands_only(Vec::new());
        grammar.dictation = true;
        grammar
    }

    /// Every written form of everything that may be said, with its meaning. When
    /// two meanings share a form the first one keeps it.
    pub fn forms(&self) -> Vec<(Meaning, String)> {
        let (wording, numbering) = (&self.wording, self.wording.numbering());
        let mut forms = Vec::new();
        let mut add = |meaning: &Meaning, plain: Vec<String>| {
            for form in with_case(&plain) {
                forms.push((meaning.clone(), form));
            }
        };
        for command in &self.commands {
            for phrase in wording.phrases(command) {
                add(command, written(phrase, wording));
            }
        }
        for (place, choice) in self.choices.iter().enumerate() {
            let mut plain = vec![choice.clone(), choice.to_lowercase()];
            plain.dedup();
            add(&Meaning::Choice(place), plain);
        }
        match self.numbers {
            Numbers::None => {}
            Numbers::Counts { from, to } => {
                for count in (from..=to).take(MOST_NUMBERS) {
                    add(&Meaning::Count(count), numbering.count_forms(count));
                }
            }
            Numbers::Lengths { from, to, step, beyond } => {
                let beyond = lengths(Ratio::ONE, beyond, Ratio::ONE)
                    .filter(|inches| *inches < from || to < *inches);
                for inches in lengths(from, to, step).chain(beyond) {
                    add(&Meaning::Length(inches), numbering.length_forms(inches));
                }
            }
        }
        forms
    }
}

/// From `from` to `to`, both included, by `step`; nothing when they make no sense.
fn lengths(from: Ratio, to: Ratio, step: Ratio) -> impl Iterator<Item = Ratio> {
    let sensible = Ratio::int(0) < step;
    let mut next = sensible.then_some(from);
    std::iter::from_fn(move || {
        let now = next.filter(|now| *now <= to)?;
        next = plus(now, step);
        Some(now)
    })
    .take(MOST_NUMBERS)
}

/// The exact sum, when it can be held.
pub(super) fn plus(a: Ratio, b: Ratio) -> Option<Ratio> {
    let left = a.numerator().checked_mul(b.denominator())?;
    let right = b.numerator().checked_mul(a.denominator())?;
    let below = a.denominator().checked_mul(b.denominator())?;
    Ratio::new(left.checked_add(right)?, below).ok()
}
