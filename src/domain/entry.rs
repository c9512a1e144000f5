//! One fact written to the log: who, when, what, how it was conveyed. Added,
//! never changed; a correction is a new entry that points at the old one.

use crate::measure::{Quantity, Value};

use super::{
    At, Call, Clip, DeviationKind, FactName, Finding, Hash, HearingCheck, Job, Keeps, Photo, Pin,
    Placed, PointKind, Roles, Version, WalkId,
};

/// Idempotency key: appending the same key twice adds one entry.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key(pub String);

/// A step of a walk; `row` counts from 1 where the step repeats for rows.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StepRef {
    /// Identifier in the checklist.
    pub id: String,
    /// Row, counted from 1.
    pub row: Option<u32>,
}

impl std::fmt::Display for StepRef {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.row {
            Some(row) => write!(f, "{}#{row}", self.id),
            None => f.write_str(&self.id),
        }
    }
}

impl std::str::FromStr for StepRef {
    type Err = std::convert::Infallible;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let split = text.rsplit_once('#').and_then(|(id, row)| Some((id, row.parse().ok()?)));
        Ok(match split {
            Some((id, row)) => Self { id: id.to_owned(), row: Some(row) },
            None => Self { id: text.to_owned(), row: None },
        })
    }
}

/// An entry not yet in the log.
#[derive(Clone, Debug, PartialEq)]
pub struct Draft {
    /// The job's number; empty for what is of no job.
    pub job: String,
    /// The walk, where there is one.
    pub walk: Option<WalkId>,
    /// When, by the one clock reading of the event that caused it.
    pub at: At,
    /// Who.
    pub by: String,
    /// How it was conveyed.
    pub how: How,
    /// What was conveyed after it until it was logged, in order: the yes to what was
    /// read back; off target also "log it as it is", the reason, and the yes to that.
    pub confirmed: Vec<How>,
    /// What.
    pub what: What,
    /// The entry this one corrects.
    pub corrects: Option<u64>,
    /// Idempotency key.
    pub key: Key,
}

/// An entry in the log.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Place in the device's log, counted from 1 without a gap.
    pub seq: u64,
    /// What was appended.
    pub draft: Draft,
    /// Hash of the entry before, of any job.
    pub previous: Hash,
    /// SHA-256 of this entry's canonical JSON, which holds `previous`.
    pub hash: Hash,
}

/// How something was conveyed.
#[derive(Clone, Debug, PartialEq)]
pub enum How {
    /// By voice.
    Voice(Heard),
    /// Typed.
    Keys,
    /// Touched on a page.
    Touch,
    /// By a command of the program.
    Command,
    /// Written in a file.
    File,
    /// By the program itself.
    Program,
    /// Asked for over HTTP by another program, with a person's key.
    Http,
}

impl How {
    /// Whether a recogniser understood it.
    #[must_use]
    pub fn is_spoken(&self) -> bool {
        matches!(self, Self::Voice(_))
    }

    /// Whether a person who walks a checklist gave it.
    #[must_use]
    pub fn is_given(&self) -> bool {
        matches!(self, Self::Voice(_) | Self::Keys | Self::Touch | Self::Http)
    }

    /// The word entries use.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Self::Voice(_) => "voice",
            Self::Keys => "keys",
            Self::Touch => "touch",
            Self::Command => "command",
            Self::File => "file",
            Self::Program => "program",
            Self::Http => "http",
        }
    }

    /// What was heard, where it was by voice.
    #[must_use]
    pub fn heard(&self) -> Option<&Heard> {
        match self {
            Self::Voice(heard) => Some(heard),
            _ => None,
        }
    }
}

/// What the recogniser heard. Scores are in thousandths of a nat.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Heard {
    /// The words of the best hypothesis.
    pub words: String,
    /// Log-probability per token along the allowed phrases.
    pub b_milli: i32,
    /// The same less that of free recognition.
    pub a_milli: i32,
    /// Distance to the best hypothesis with another meaning.
    pub m_milli: i32,
    /// SHA-256 of the 16 kHz 16-bit little-endian samples.
    pub sound: Hash,
}

impl Heard {
    /// Whether these are a person's own words: nothing was allowed or likely beside them,
    /// so there is no distance to another meaning. A phrase is never taken without one.
    #[must_use]
    pub fn is_dictated(&self) -> bool {
        self.m_milli == 0
    }
}

/// What was given for a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Given {
    /// Done.
    Done,
    /// Read on the tape.
    Measured(Quantity),
    /// Counted.
    Counted(u32),
    /// Chosen among the answers offered.
    Chosen(String),
    /// A fact of the job.
    Fact(FactName, Value),
    /// Free words.
    Noted(String),
}

/// What a step asked for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Target {
    /// A mark, and the allowed difference either way.
    Mark(Quantity, Quantity),
    /// At least so many.
    AtLeast(u32),
    /// One of these answers.
    OneOf(Vec<String>),
}

/// What happened.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// The job was opened, with the versions it pins.
    JobOpened(Job),
    /// A fact came with the job file.
    FactGiven(FactName, Value),
    /// A version was pinned after the job was opened.
    Pinned(Pin),
    /// A walk began.
    WalkBegun {
        /// The pinned version.
        version: Version,
        /// Its content.
        hash: Hash,
    },
    /// Work was interrupted.
    Paused,
    /// Work went on.
    Resumed,
    /// The last step was settled.
    WalkEnded,
    /// A step was answered.
    Answered {
        /// Which.
        step: StepRef,
        /// The words it was asked in, with the numbers of that moment.
        asked: String,
        /// With what.
        given: Given,
        /// What it asked for.
        target: Option<Target>,
        /// Why it was logged off its target.
        reason: Option<String>,
    },
    /// A step was left out.
    Skipped {
        /// Which.
        step: StepRef,
        /// Why.
        reason: String,
    },
    /// Cautions were given with a step, in these words.
    Cautioned {
        /// Which.
        step: StepRef,
        /// What was said.
        said: Vec<String>,
        /// Whether they were spoken aloud; otherwise they were only shown. None in logs
        /// of a time in which that was not logged.
        spoken: Option<bool>,
    },
    /// Something worth keeping; spoken notes are unverified transcripts.
    Noted {
        /// At which step.
        step: Option<StepRef>,
        /// The words.
        text: String,
        /// The sound they were taken from, where it is kept.
        clip: Option<Clip>,
    },
    /// How well a person is heard here was looked at.
    HearingChecked(Box<HearingCheck>),
    /// From now on sound is listened to.
    EarOpened {
        /// The device, or the files.
        source: String,
        /// Which sound is kept.
        keeps: Keeps,
        /// The entry of the hearing check; none where voice was not checked.
        check: Option<u64>,
    },
    /// Sound is no longer listened to.
    EarClosed,
    /// Somebody says a photo was taken.
    PhotoTaken {
        /// Of which step.
        step: StepRef,
    },
    /// A photo is kept.
    PhotoKept {
        /// At which step.
        step: Option<StepRef>,
        /// The photo.
        photo: Box<Photo>,
    },
    /// An inspection point was reached.
    PointReached {
        /// Before which step.
        step: StepRef,
        /// Hold or witness.
        kind: PointKind,
        /// Who releases or is told.
        role: String,
    },
    /// A hold point was released.
    Released {
        /// Before which step.
        step: StepRef,
        /// In which role.
        role: String,
    },
    /// Somebody who may accepted deviations of an entry.
    Accepted {
        /// The entry.
        entry: u64,
        /// Its step.
        step: StepRef,
        /// Which of them.
        kinds: Vec<DeviationKind>,
        /// In which role.
        role: String,
        /// Why.
        reason: String,
    },
    /// A leak call was reported.
    CallbackOpened(Box<Call>),
    /// A visit after a leak call was begun.
    CallbackVisited {
        /// Which call.
        id: u32,
        /// The walk of the visit.
        visit: WalkId,
    },
    /// A leak call was closed.
    CallbackClosed(Box<Finding>),
    /// A follow-up date was given out.
    FollowUpIssued {
        /// Its stable identifier.
        uid: String,
        /// When it begins.
        start: At,
        /// What the calendar shows.
        title: String,
        /// Raised on every change (RFC 5545 SEQUENCE).
        sequence: u32,
        /// Where the checklist puts it, where the office's calendar put it
        /// elsewhere or could not.
        placed: Option<Placed>,
    },
    /// Somebody moved a follow-up date.
    FollowUpMoved {
        /// Its identifier.
        uid: String,
        /// When it begins now.
        start: At,
        /// Why.
        reason: String,
        /// Raised.
        sequence: u32,
    },
    /// Somebody cancelled a follow-up date.
    FollowUpCancelled {
        /// Its identifier.
        uid: String,
        /// Why.
        reason: String,
        /// Raised.
        sequence: u32,
    },
    /// Somebody added a date that no checklist has.
    FollowUpAdded {
        /// Its stable identifier.
        uid: String,
        /// When it begins.
        start: At,
        /// How long it takes, in minutes.
        lasts_min: u32,
        /// What the calendar shows.
        title: String,
        /// The role that looks after it.
        who: Option<String>,
        /// The checklist to walk then.
        checklist: Option<String>,
        /// The leak call whose visit it is.
        callback: Option<u32>,
    },
    /// From now on somebody may sign in to the pages, in these roles; of no job.
    PersonSet {
        /// Whose sign-in it is.
        name: String,
        /// In which roles.
        roles: Roles,
    },
    /// Somebody may no longer sign in; of no job.
    PersonLeft {
        /// Who.
        name: String,
    },
    /// Somebody signed in; of no job.
    SignedIn {
        /// What the person calls the device.
        device: String,
    },
    /// A sign-in was ended; of no job.
    SignInEnded {
        /// Whose.
        name: String,
        /// On which device.
        device: String,
    },
    /// A key was made with which a program acts as somebody; of no job.
    KeyMade {
        /// As whom.
        name: String,
        /// What the key is called.
        called: String,
    },
    /// Such a key was ended; of no job.
    KeyEnded {
        /// Whose.
        name: String,
        /// What the key is called.
        called: String,
    },
}

impl What {
    /// The word entries use for what happened.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Self::JobOpened(_) => "job-opened",
            Self::FactGiven(..) => "fact-given",
            Self::Pinned(_) => "pinned",
            Self::WalkBegun { .. } => "walk-begun",
            Self::Paused => "paused",
            Self::Resumed => "resumed",
            Self::WalkEnded => "walk-ended",
            Self::Answered { .. } => "answered",
            Self::Skipped { .. } => "skipped",
            Self::Cautioned { .. } => "cautioned",
            Self::Noted { .. } => "noted",
            Self::HearingChecked(_) => "hearing-checked",
            Self::EarOpened { .. } => "ear-opened",
            Self::EarClosed => "ear-closed",
            Self::PhotoTaken { .. } => "photo-taken",
            Self::PhotoKept { .. } => "photo-kept",
            Self::PointReached { .. } => "point-reached",
            Self::Released { .. } => "released",
            Self::Accepted { .. } => "accepted",
            Self::CallbackOpened(_) => "callback-opened",
            Self::CallbackVisited { .. } => "callback-visited",
            Self::CallbackClosed(_) => "callback-closed",
            Self::FollowUpIssued { .. } => "follow-up-issued",
            Self::FollowUpMoved { .. } => "follow-up-moved",
            Self::FollowUpCancelled { .. } => "follow-up-cancelled",
            Self::FollowUpAdded { .. } => "follow-up-added",
            Self::PersonSet { .. } => "person-set",
            Self::PersonLeft { .. } => "person-left",
            Self::SignedIn { .. } => "signed-in",
            Self::SignInEnded { .. } => "sign-in-ended",
            Self::KeyMade { .. } => "key-made",
            Self::KeyEnded { .. } => "key-ended",
        }
    }

    /// The identifier of the follow-up date it is about.
    #[must_use]
    pub fn date_uid(&self) -> Option<&str> {
        match self {
            Self::FollowUpIssued { uid, .. }
            | Self::FollowUpMoved { uid, .. }
            | Self::FollowUpCancelled { uid, .. }
            | Self::FollowUpAdded { uid, .. } => Some(uid),
            _ => None,
        }
    }

    /// The step it is about.
    #[must_use]
    pub fn step(&self) -> Option<&StepRef> {
        match self {
            Self::Answered { step, .. }
            | Self::Skipped { step, .. }
            | Self::Cautioned { step, .. }
            | Self::PhotoTaken { step }
            | Self::PointReached { step, .. }
            | Self::Released { step, .. }
            | Self::Accepted { step, .. } => Some(step),
            Self::Noted { step, .. } | Self::PhotoKept { step, .. } => step.as_ref(),
            _ => None,
        }
    }
}
