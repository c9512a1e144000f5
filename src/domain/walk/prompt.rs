//! What a walk says and what it listens for, as data: the words are chosen by
//! `speech`, so that another language is another table.

use crate::measure::{Quantity, Ratio};

use super::super::{Comparison, Given, Meaning, PointKind, Target, Verdict};

/// One thing to say.
#[derive(Clone, Debug, PartialEq)]
pub enum Prompt {
    /// The walk begins or goes on.
    Opening {
        /// The checklist.
        title: String,
        /// Whether it was begun before.
        again: bool,
        /// Steps not settled yet.
        open: usize,
    },
    /// A step.
    Step {
        /// Its place, counted from 1.
        number: usize,
        /// Of how many.
        of: usize,
        /// Its name, with the row where it repeats.
        title: String,
        /// What to do.
        text: String,
    },
    /// Photos the step asks for and nobody says were taken.
    Photos {
        /// How many.
        left: u32,
    },
    /// The step once more in other words: its name and what may be answered.
    Reworded {
        /// Its name.
        title: String,
        /// What may be answered.
        expect: Expect,
    },
    /// After three tries: shown, and touch offered.
    UseTouch {
        /// Its name.
        title: String,
    },
    /// Not understood; the same words follow.
    AskAgain,
    /// What was typed cannot be read.
    NotUnderstood {
        /// Why, and what is expected.
        why: String,
    },
    /// Outside what is believable.
    OutOfRange {
        /// What was given.
        given: Given,
        /// Least believable.
        from: Option<Quantity>,
        /// Greatest believable.
        to: Option<Quantity>,
    },
    /// Cautions of a step.
    Cautions {
        /// What is said.
        said: Vec<String>,
    },
    /// The step has no cautions.
    NoCautions,
    /// Why the step matters.
    Reason {
        /// One sentence.
        why: String,
    },
    /// What was given, for a yes.
    ReadBack {
        /// What was given.
        given: Given,
        /// What was asked for.
        target: Option<Target>,
        /// How they compare.
        comparison: Comparison,
    },
    /// Off target: measure again, or log it as it is.
    OffTarget {
        /// What was given.
        given: Given,
        /// What was asked for.
        target: Target,
        /// How they compare.
        comparison: Comparison,
    },
    /// Asks why something is logged off its target.
    AskReason,
    /// Asks why a step is left out.
    AskSkipReason,
    /// Asks for the words of a note.
    SayNote,
    /// Words as they were heard, for a yes.
    WordsBack {
        /// The words.
        words: String,
    },
    /// The store has committed.
    Logged,
    /// The store has not committed.
    NotLogged {
        /// Why.
        why: String,
    },
    /// What was not committed can be tried again.
    TryAgain,
    /// Work stops until the role releases it.
    Held {
        /// Who.
        role: String,
        /// The step that waits.
        title: String,
    },
    /// The hold point was released.
    Released {
        /// By whom.
        by: String,
    },
    /// The role is told and may look.
    Witness {
        /// Who.
        role: String,
        /// The step.
        title: String,
    },
    /// Work is interrupted.
    Paused,
    /// Where the walk stands.
    WhereAreWe {
        /// The step's place, counted from 1.
        number: usize,
        /// Of how many.
        of: usize,
        /// Its name.
        title: String,
        /// Steps not settled yet.
        open: usize,
    },
    /// The window is open again.
    Listening,
    /// The step is answered again; the new entry corrects the old one.
    Correcting {
        /// Its name.
        title: String,
    },
    /// The walk had ended; its last step can still be corrected.
    Ended,
    /// There is no step before.
    NothingBefore,
    /// The step needs facts that are not known.
    Missing {
        /// Its name.
        title: String,
        /// Facts and figures.
        names: Vec<String>,
    },
    /// The step asked was settled meanwhile.
    OthersLogged,
    /// Somebody else changed what this step rests on.
    OthersChanged,
    /// What was said is not taken by voice.
    NotTrusted {
        /// Why.
        doubt: Doubt,
        /// Whether it was said in full at this step before.
        again: bool,
    },
    /// This walk takes spoken answers without a hearing check.
    NotChecked,
    /// Hearing check: the noise is listened to.
    CheckQuiet {
        /// For how long, in seconds.
        quiet_s: usize,
    },
    /// Hearing check: a phrase to read.
    CheckRead {
        /// Which.
        phrase: String,
        /// Whether it was read before.
        again: bool,
    },
    /// Hearing check: what it came to.
    CheckVerdict {
        /// Of commands.
        commands: Verdict,
        /// Of numbers.
        numbers: Verdict,
        /// Whether the noise is close to the voice.
        noisy: bool,
    },
    /// Every step is settled.
    Finished {
        /// The checklist.
        title: String,
        /// Steps settled off their target or left out.
        deviations: usize,
    },
}

/// Why an answer is not taken by voice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Doubt {
    /// Answers of its kind were not heard well enough at the hearing check.
    NotHeardWell,
    /// It is louder now than at the hearing check.
    Louder,
    /// There was no hearing check.
    NotChecked,
}

/// What a walk listens for.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Default)]
pub struct Expect {
    /// Commands that make sense now.
    pub commands: Vec<Meaning>,
    /// The answer that makes sense now.
    pub answer: ExpectAnswer,
}

/// The answer that makes sense at a step.
#[derive(Clone, Debug, PartialEq, Eq, Hash, Default)]
pub enum ExpectAnswer {
    /// Commands only.
    #[default]
    None,
    /// A length in inches within these bounds, by this step.
    Length {
        /// Least, in inches.
        from: Ratio,
        /// Greatest, in inches.
        to: Ratio,
        /// Graduation, in inches.
        step: Ratio,
    },
    /// A whole number within these bounds, of this unit ("in twelve").
    Count {
        /// Least.
        from: u32,
        /// Greatest.
        to: u32,
        /// What is counted; empty for plain numbers.
        unit: &'static str,
    },
    /// One of these answers.
    Choice(Vec<String>),
    /// Free words.
    Words,
}

/// How a point is named in a sentence.
impl PointKind {
    /// Whether work stops.
    #[must_use]
    pub fn stops_work(self) -> bool {
        self == Self::Hold
    }
}
