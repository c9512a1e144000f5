//! What a person can convey, by voice, keys or touch: one closed set.

use crate::measure::Ratio;

/// What was meant, however it was conveyed.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Meaning {
    /// The step just asked is done.
    StepDone,
    /// What was read back is right.
    Yes,
    /// What was read back is wrong.
    No,
    /// Say it once more.
    Repeat,
    /// To the step before.
    Back,
    /// Stop listening for answers.
    Pause,
    /// Go on after a pause.
    Resume,
    /// How far, and at which step.
    WhereAreWe,
    /// The cautions of this step.
    ReadCaution,
    /// Why this step matters.
    ReadReason,
    /// A note follows.
    TakeNote,
    /// A photo of this step was taken.
    PhotoTaken,
    /// What was logged last is wrong.
    WasWrong,
    /// Leave this step out.
    Skip,
    /// Log a reading off its target.
    LogAsIs,
    /// Read again.
    MeasureAgain,
    /// The word that opens the window again.
    CallWord,
    /// A length in inches.
    Length(Ratio),
    /// A whole number.
    Count(u32),
    /// One of the answers offered, counted from 0.
    Choice(usize),
    /// Free speech, heard without a grammar; or typed text.
    Words(String),
}

impl Meaning {
    /// Every command there is. Where two share a form, the first keeps it.
    pub const COMMANDS: [Self; 17] = [
        Self::StepDone,
        Self::Yes,
        Self::No,
        Self::Repeat,
        Self::Back,
        Self::Pause,
        Self::Resume,
        Self::WhereAreWe,
        Self::ReadCaution,
        Self::ReadReason,
        Self::TakeNote,
        Self::PhotoTaken,
        Self::WasWrong,
        Self::Skip,
        Self::LogAsIs,
        Self::MeasureAgain,
        Self::CallWord,
    ];

    /// Whether it settles something, or takes back what was settled.
    #[must_use]
    pub fn confirms(&self) -> bool {
        matches!(
            self,
            Self::StepDone
                | Self::Yes
                | Self::LogAsIs
                | Self::Skip
                | Self::PhotoTaken
                | Self::WasWrong
        )
    }

    /// The word the log and `--json` use.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Self::StepDone => "step-done",
            Self::Yes => "yes",
            Self::No => "no",
            Self::Repeat => "repeat",
            Self::Back => "back",
            Self::Pause => "pause",
            Self::Resume => "resume",
            Self::WhereAreWe => "where-are-we",
            Self::ReadCaution => "read-caution",
            Self::ReadReason => "read-reason",
            Self::TakeNote => "take-note",
            Self::PhotoTaken => "photo-taken",
            Self::WasWrong => "was-wrong",
            Self::Skip => "skip",
            Self::LogAsIs => "log-as-is",
            Self::MeasureAgain => "measure-again",
            Self::CallWord => "call-word",
            Self::Length(_) => "length",
            Self::Count(_) => "count",
            Self::Choice(_) => "choice",
            Self::Words(_) => "words",
        }
    }
}
