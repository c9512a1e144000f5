//! What crosses between a page and a walk that runs: how it stands, whole, and
//! answers with what became of them. Who runs the walks is `daemon`'s matter.

use std::sync::Arc;
use std::sync::mpsc::SyncSender;

use serde::Serialize;
use tokio::sync::mpsc::Sender;
use tokio::sync::{oneshot, watch};
use utoipa::ToSchema;

use crate::domain::walk_id::StillOpen;
use crate::domain::{How, Language, Units};
use crate::office::OfficeError;

/// Who wants to walk what.
#[derive(Clone, Debug)]
pub struct Wanted {
    /// The job's number.
    pub job: String,
    /// The checklist.
    pub checklist: String,
    /// The person's name, as the log keeps it.
    pub by: String,
    /// Units on the person's tape.
    pub units: Units,
    /// The person's language.
    pub language: Language,
    /// Whether a further walk is to begin.
    pub again: bool,
}

/// Why no walk can be had.
#[derive(Debug, thiserror::Error)]
pub enum NotWalked {
    /// The job, the checklist or the log.
    #[error(transparent)]
    Office(#[from] OfficeError),
    /// A further one was asked for too early.
    #[error(transparent)]
    StillOpen(#[from] StillOpen),
    /// More run than this machine should.
    #[error("too many walks run now: close some pages and wait a minute")]
    TooMany,
    /// The daemon is being stopped, or gives no thread.
    #[error("walks cannot begin now: the daemon is stopping or out of threads")]
    Stopping,
}

/// Runs walks for pages.
pub trait Walks: std::fmt::Debug + Send + Sync {
    /// Begins the walk or goes on with it; the same person's pages share one.
    ///
    /// # Errors
    /// Nothing was begun.
    fn take_up(&self, wanted: &Wanted) -> Result<Followed, NotWalked>;

    /// The person's newest walk of that checklist, where it runs now; nothing is begun
    /// and nothing logged.
    fn running(&self, wanted: &Wanted) -> Option<Followed>;
}

/// A walk that runs, as a page follows it. While somebody holds one, it goes on.
#[derive(Clone, Debug)]
pub struct Followed {
    /// How it stands; none until it has begun. Closed when it no longer runs.
    pub shown: watch::Receiver<Option<Arc<Shown>>>,
    /// Where answers go.
    pub answers: SyncSender<Sent>,
    /// Where phones are put on as headsets.
    pub headsets: Arc<dyn Headsets>,
}

/// A phone that wants to be a headset.
#[derive(Debug)]
pub struct Headset {
    /// What it calls its microphone.
    pub name: String,
    /// The rate of its sound, in samples per second; none where it only speaks.
    pub rate_hz: Option<u32>,
    /// Where our speech goes. It is taken off once the other end is dropped.
    pub speaks: Sender<Spoken>,
}

/// What a phone is to play.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Spoken {
    /// Speech, after what was sent before it.
    Speech {
        /// Counted from 1; the phone says when it has played it.
        id: u32,
        /// In samples per second.
        rate_hz: u32,
        /// One channel.
        samples: Vec<i16>,
    },
    /// Nothing more of what was sent up to here; the phone says that it played it.
    Hush {
        /// The last that was sent.
        id: u32,
    },
}

/// Why a phone is no headset.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotWorn {
    /// Its sound cannot be used.
    #[error("a rate of sound that is not used here")]
    Rate,
    /// Another one is being put on.
    #[error("another phone is being put on")]
    Busy,
    /// The walk no longer runs here.
    #[error("the walk no longer runs")]
    Gone,
}

/// Puts phones on for a walk; the last one counts.
pub trait Headsets: std::fmt::Debug + Send + Sync {
    /// Puts it on.
    ///
    /// # Errors
    /// It was not put on.
    fn put_on(&self, headset: Headset) -> Result<Box<dyn Hears>, NotWorn>;
}

/// Takes what a phone hears, until it is dropped.
pub trait Hears: std::fmt::Debug + Send {
    /// Its sound: one channel, at its rate. Never waits.
    fn hear(&mut self, samples: &[i16]);

    /// It has played the speech of that number, and all before it.
    fn played(&mut self, id: u32);
}

/// An answer on its way.
#[derive(Debug)]
pub struct Sent {
    /// The answer.
    pub answer: Answer,
    /// How it was conveyed.
    pub how: How,
    /// What became of it, once it is on the disk or refused.
    pub reply: oneshot::Sender<Reply>,
}

/// What somebody touched or typed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Answer {
    /// Made by the page; the same one twice is one answer.
    pub id: String,
    /// The question it answers, as it was shown.
    pub question: String,
    /// A command's word, or `length`, `millimetres`, `count`, `words`, `choice`.
    pub meaning: String,
    /// What was typed, or the place of a choice.
    pub value: String,
}

/// What became of an answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Reply {
    /// The walk took it; what it logs is on the disk.
    Taken,
    /// Something else is asked by now.
    Changed,
    /// It is no answer to what is asked.
    NoAnswer,
    /// Nothing was typed.
    Empty,
    /// More was typed than is kept.
    TooLong,
    /// The log refused it: what the walk says of that.
    NotLogged(String),
    /// Others wait before it.
    Busy,
    /// The walk no longer runs here.
    Gone,
}

/// How a walk stands. Whole, and replaced whole.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Shown {
    /// Rises with each change.
    pub version: u64,
    /// Names exactly what is asked; an answer names it too.
    pub question: String,
    /// A word for what is asked: `step`, `read-back`, `off-target`, `held`…
    pub asks: &'static str,
    /// The job's number.
    pub job: String,
    /// Its address.
    pub address: String,
    /// The checklist's title.
    pub checklist: String,
    /// Which time it is walked, counted from 1.
    pub nth: u32,
    /// Whether the checklist is in English for want of a translation.
    pub untranslated: bool,
    /// The present step.
    pub step: Option<ShownStep>,
    /// Steps in all.
    pub of: usize,
    /// Steps not settled yet.
    pub open: usize,
    /// The question, where it is another than the step's own.
    pub ask: Option<String>,
    /// What else was said since the last answer.
    pub said: Vec<String>,
    /// Commands that make sense now.
    pub commands: Vec<Command>,
    /// The answer that makes sense now.
    pub answer: Field,
    /// Whether a phone is listened to and spoken to.
    pub ear: ShownEar,
    /// Who has to release the step.
    pub held: Option<Held>,
    /// Whether work is interrupted.
    pub paused: bool,
    /// Where every step is settled: how many off their target or left out.
    pub finished: Option<usize>,
    /// What was logged last in this walk.
    pub logged: Option<ShownLogged>,
}

/// How far a phone is a headset.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum EarState {
    /// None is worn.
    Off,
    /// It speaks, and is not listened to.
    Speaks,
    /// Phrases are read, to see how well it hears.
    Checking,
    /// It speaks and is listened to.
    Hears,
}

/// The phone that is worn.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ShownEar {
    /// How far.
    pub state: EarState,
    /// Whether this language is heard at all.
    pub can_hear: bool,
    /// What opens the ear once nobody has answered for long.
    pub call_word: String,
    /// How long an answer is waited for without it, in seconds.
    pub window_s: u32,
    /// What is to be read aloud.
    pub read: Option<String>,
    /// What is wrong with it.
    pub trouble: Option<EarTrouble>,
    /// What was heard last.
    pub heard: Option<ShownHeard>,
}

/// What is wrong with a phone that is worn.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case", tag = "kind", content = "detail")]
pub enum EarTrouble {
    /// It does not play what is said.
    Silent,
    /// The person's hearing was checked with another microphone since.
    CheckedElsewhere,
    /// Its microphone is set too loud.
    TooLoud,
    /// Sound did not come through.
    SoundLost {
        /// How much, in milliseconds.
        ms: u64,
    },
    /// Something else, in English.
    Other(String),
}

/// What was heard.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ShownHeard {
    /// The words, or the nearest to them; may be empty.
    pub words: String,
    /// Whether they were clear.
    pub taken: bool,
}

/// The present step.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ShownStep {
    /// Which, as the log writes it: `cut#2`.
    pub at: String,
    /// Its place, counted from 1.
    pub number: usize,
    /// Its name.
    pub title: String,
    /// What to do; none where facts are missing.
    pub text: Option<String>,
    /// Its cautions.
    pub cautions: Vec<String>,
    /// Why it matters; may be empty.
    pub why: String,
    /// Whether it lays out or cuts.
    pub chalk: Option<Chalk>,
    /// Photos it still wants.
    pub photos_left: u32,
    /// The next open step's name.
    pub next: Option<String>,
}

/// What the step is about, as real chalk is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Chalk {
    /// Lines to snap: blue.
    Layout,
    /// Where to cut: red.
    Cut,
}

/// A command as a button.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Command {
    /// Its word.
    pub meaning: &'static str,
    /// The phrase that is taught for it.
    pub words: String,
}

/// How an answer is given.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "kebab-case", tag = "kind")]
pub enum Field {
    /// By commands alone.
    None,
    /// One of these, by its place.
    Choice {
        /// In the person's language.
        options: Vec<String>,
    },
    /// A length on the tape.
    Length {
        /// The least that is expected.
        from: String,
        /// The greatest.
        to: String,
        /// Whether fractions of an inch are wanted.
        fractions: bool,
        /// Whether it may be feet.
        feet: bool,
        /// Whether the person reads millimetres.
        metric: bool,
    },
    /// A number.
    Count {
        /// The least that is expected.
        from: u32,
        /// The greatest.
        to: u32,
        /// In what; may be empty.
        unit: String,
    },
    /// Words.
    Words,
}

/// A hold point that waits.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct Held {
    /// The role as the checklist writes it.
    pub role: String,
    /// Since when, at the address: `2026-05-04 14:05`.
    pub since: String,
}

/// What was logged last.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ShownLogged {
    /// The entry.
    pub seq: u64,
    /// When, at the address: `08:47`.
    pub at: String,
    /// Who.
    pub by: String,
    /// The step's name.
    pub title: String,
}
