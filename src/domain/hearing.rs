//! What a hearing check found, when the ear was open, and clips of sound: pure
//! data of the log. How a check is judged is the business of `speech`.

use super::{At, Entry, Hash, Heard, What};

/// How far spoken answers of one kind can be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Trust {
    /// Not at all: such an answer is touched or typed.
    Not,
    /// They are, and some will have to be said again.
    Repeats,
    /// They are.
    Trusted,
}

impl Trust {
    /// Every one, the least first.
    pub const ALL: [Self; 3] = [Self::Not, Self::Repeats, Self::Trusted];

    /// The word the log uses.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Not => "not-trusted",
            Self::Repeats => "trusted-with-repeats",
            Self::Trusted => "trusted",
        }
    }
}

/// Why a verdict is what it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Because {
    /// Every phrase was heard at once, with room to spare.
    Clear,
    /// Every phrase was heard at once, one of them only just.
    Barely,
    /// A phrase was heard only when it was read again.
    Again,
    /// A phrase was not heard in any try.
    Missed,
    /// A phrase was taken for another one.
    Mistaken,
}

impl Because {
    /// Every one.
    pub const ALL: [Self; 5] =
        [Self::Clear, Self::Barely, Self::Again, Self::Missed, Self::Mistaken];

    /// The word the log uses.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Clear => "clear",
            Self::Barely => "barely",
            Self::Again => "again",
            Self::Missed => "missed",
            Self::Mistaken => "mistaken",
        }
    }
}

/// How far one kind of answer can be trusted, and why.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Verdict {
    /// How far.
    pub trust: Trust,
    /// Why.
    pub because: Because,
}

/// The kinds of answers that are judged apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum AnswerKind {
    /// Commands, with those that settle something among them.
    Commands,
    /// Lengths and counts.
    Numbers,
}

impl AnswerKind {
    /// The word the log uses.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Commands => "commands",
            Self::Numbers => "numbers",
        }
    }
}

/// What became of a phrase that was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ReadAs {
    /// It was taken for what it is.
    Right,
    /// It was not clear enough to be taken.
    Unclear,
    /// It was taken for something else.
    Mistaken,
    /// No speech was heard.
    Nothing,
}

impl ReadAs {
    /// Every one.
    pub const ALL: [Self; 4] = [Self::Right, Self::Unclear, Self::Mistaken, Self::Nothing];

    /// The word the log uses.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Unclear => "unclear",
            Self::Mistaken => "mistaken",
            Self::Nothing => "nothing",
        }
    }
}

/// Scores less the limits they have to reach, in thousandths of a nat.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Margins {
    /// Of the score along the allowed phrases.
    pub b_milli: i32,
    /// Of the same less that of free recognition.
    pub a_milli: i32,
    /// Of the distance to the best hypothesis with another meaning.
    pub m_milli: i32,
}

impl Margins {
    /// By how much the sound fits better than it has to. The distance does not
    /// count: it is not followed further than half a nat above its limit.
    #[must_use]
    pub fn fit(self) -> i32 {
        self.b_milli.min(self.a_milli)
    }
}

/// One phrase read once.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct PhraseRead {
    /// The words to read.
    pub asked: String,
    /// What they belong to.
    pub kind: AnswerKind,
    /// What became of it.
    pub read_as: ReadAs,
    /// What the recogniser heard, taken or not.
    pub heard: Option<Heard>,
    /// By how much that reached its limits, or fell short of them.
    pub margins: Option<Margins>,
}

/// What a hearing check found.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct HearingCheck {
    /// The device, or the file.
    pub source: String,
    /// The noise floor, in tenths of a decibel below full scale.
    pub noise_tenth_dbfs: i32,
    /// The loudness of the voice, in tenths of a decibel below full scale.
    pub speech_tenth_dbfs: i32,
    /// What was read, in order; a phrase read again stands there again.
    pub phrases: Vec<PhraseRead>,
    /// How far commands are trusted.
    pub commands: Verdict,
    /// How far numbers are trusted.
    pub numbers: Verdict,
}

/// By how much it may be louder than at the check, in tenths of a decibel: 6 dB,
/// the double sound pressure. Between columns of the hearing table, which lie 5
/// dB apart in loud noise, up to 25 of 100 answers are lost: what a check found
/// at one loudness says nothing of the next.
pub const LOUDER_TENTH_DB: i32 = 60;

/// Noise that lies this far below the voice, in tenths of a decibel, does not
/// count however quiet the check was: at 30 dB sound is heard as well as clean.
pub const FAR_BELOW_TENTH_DB: i32 = 300;

/// Noise nearer to the voice than this, in tenths of a decibel, is what to mend
/// first.
pub const NEAR_TENTH_DB: i32 = 200;

impl HearingCheck {
    /// Whether it is so much louder now that this check says nothing any more.
    #[must_use]
    pub fn is_outgrown(&self, noise_tenth_dbfs: i32) -> bool {
        let above = noise_tenth_dbfs.saturating_sub(self.noise_tenth_dbfs);
        let below = self.speech_tenth_dbfs.saturating_sub(noise_tenth_dbfs);
        LOUDER_TENTH_DB < above && below < FAR_BELOW_TENTH_DB
    }

    /// Whether the noise is close to the voice.
    #[must_use]
    pub fn is_noisy(&self) -> bool {
        self.speech_tenth_dbfs.saturating_sub(self.noise_tenth_dbfs) < NEAR_TENTH_DB
    }
}

/// A hearing check in the log.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Checked {
    /// The entry.
    pub seq: u64,
    /// When.
    pub at: At,
    /// What it found.
    pub check: HearingCheck,
}

impl Checked {
    /// Of an entry, where it is of a hearing check.
    #[must_use]
    pub fn of(entry: &Entry) -> Option<Self> {
        match &entry.draft.what {
            What::HearingChecked(check) => {
                Some(Self { seq: entry.seq, at: entry.draft.at, check: check.as_ref().clone() })
            }
            _ => None,
        }
    }
}

/// Which sound is kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Keeps {
    /// Notes' alone.
    Notes,
    /// Notes' and that of every answer that was taken.
    All,
    /// None.
    Nothing,
}

impl Keeps {
    /// Every one.
    pub const ALL: [Self; 3] = [Self::Notes, Self::All, Self::Nothing];

    /// The word the log uses.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Notes => "notes",
            Self::All => "all",
            Self::Nothing => "none",
        }
    }
}

/// A time in which the ear was open.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EarOpen {
    /// The entry that opened it.
    pub seq: u64,
    /// Who walked.
    pub by: String,
    /// The device, or the files.
    pub source: String,
    /// Which sound was kept.
    pub keeps: Keeps,
    /// The entry of the hearing check it rests on; none where voice was not checked.
    pub check: Option<u64>,
    /// When it was opened.
    pub opened: At,
    /// When it was closed; none where the program was stopped before it could say.
    pub closed: Option<At>,
}

/// A clip of sound: one utterance as it was heard, 16 kHz, 16 bit, mono.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Clip {
    /// SHA-256 of its samples, 16-bit little-endian, which is its name.
    pub sound: Hash,
    /// How long it is, in milliseconds.
    pub length_ms: u32,
}

impl Clip {
    /// Where it lies in the data folder.
    #[must_use]
    pub fn path(&self) -> String {
        path_of(self.sound)
    }
}

/// Where the clip of that sound lies in the data folder.
#[must_use]
pub fn path_of(sound: Hash) -> String {
    let name = sound.to_string();
    format!("clips/{}/{name}.wav", name.get(..2).unwrap_or_default())
}
