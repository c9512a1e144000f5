//! An entry as it was sealed. Which members it has goes by `what`.

use utoipa::ToSchema;

use super::{Clip, Exact, Job, Pin, RowRef};

/// One fact written to the log, never changed: its canonical JSON (RFC 8785) without
/// `entry_sha256`, `step_title` and `line` is what that hash is of.
#[derive(ToSchema)]
pub(in super::super) struct Entry {
    /// Its place in this device's log, counted from 1.
    #[schema(example = 17)]
    seq: u64,
    /// The job's number; empty for what is of no job.
    #[schema(example = "EX-0001")]
    job: String,
    /// When.
    #[schema(example = "2026-11-26T14:05:00.000-05:00")]
    at: String,
    /// Who.
    #[schema(example = "Installer Example")]
    by: String,
    /// `keys`, `touch`, `command`, `file`, `program`, `http`; or what was heard, with
    /// its scores.
    how: How,
    /// What was conveyed after it until it was logged: the yes to what was read back.
    confirmed: Option<Vec<How>>,
    /// What makes it one entry however often it is sent.
    key: String,
    /// `answered`, `released`, `callback-opened` and so on.
    #[schema(example = "answered")]
    what: String,
    /// SHA-256 of the entry before, of any job.
    previous: String,
    /// SHA-256 of this entry.
    entry_sha256: String,
    /// As a person reads it.
    line: String,
    /// The name of its step.
    step_title: Option<String>,
    /// Of which checklist.
    checklist: Option<String>,
    /// Which walk of it, from the second on: `start-of-day/2`.
    walk: Option<String>,
    /// The entry that this one corrects.
    corrects: Option<u64>,
    /// `job-opened`.
    opened: Option<Job>,
    /// `fact-given`.
    fact: Option<Fact>,
    /// `pinned`.
    pin: Option<Pin>,
    /// `walk-begun`.
    version: Option<String>,
    /// `walk-begun`.
    checklist_sha256: Option<String>,
    /// A step, with its row where it repeats: `cut#2`.
    step: Option<String>,
    /// The words a step was asked in.
    asked: Option<String>,
    /// With what a step was answered.
    given: Option<GivenOrDone>,
    /// What it asked for.
    target: Option<Target>,
    /// Why it was logged so, left out, accepted, moved.
    reason: Option<String>,
    /// Cautions that were given.
    said: Option<Vec<String>>,
    /// Whether they were spoken; otherwise they were only shown.
    spoken: Option<bool>,
    /// A note that was typed.
    text: Option<String>,
    /// A note that was spoken, as it was heard.
    transcript: Option<String>,
    /// Whether somebody compared the transcript with the sound: `false`.
    verified: Option<bool>,
    clip: Option<Clip>,
    /// `hearing-checked`: noise and speech in tenths of dBFS, phrases, trust.
    #[schema(value_type = Option<Object>)]
    check: Option<String>,
    /// `ear-opened`: the microphone.
    source: Option<String>,
    /// `ear-opened`: what is kept.
    keeps: Option<String>,
    /// `ear-opened`: the entry with the check it rests on.
    hearing_check: Option<u64>,
    photo: Option<Photo>,
    /// `hold` or `witness`.
    point: Option<String>,
    /// Who releases it, or in which role somebody did.
    role: Option<String>,
    /// `accepted`: the entry whose deviations were accepted.
    accepted_entry: Option<u64>,
    deviations: Option<Vec<String>>,
    /// `callback-opened`.
    callback: Option<Call>,
    callback_id: Option<u32>,
    visit: Option<String>,
    /// Of a visit that was planned: what is to be walked then.
    visit_checklist: Option<String>,
    /// `callback-closed`.
    finding: Option<Finding>,
    /// Of a date after the job.
    uid: Option<String>,
    start: Option<String>,
    title: Option<String>,
    sequence: Option<u32>,
    planned: Option<String>,
    placed_because: Option<String>,
    lasts_min: Option<u32>,
    who: Option<String>,
    /// Of a person.
    name: Option<String>,
    roles: Option<String>,
    device: Option<String>,
    /// What a key is called.
    called: Option<String>,
}

/// How something was conveyed.
#[derive(serde::Serialize, ToSchema)]
#[serde(untagged)]
enum How {
    /// A word.
    Word(String),
    /// What was heard.
    Voice { voice: Heard },
}

/// What the recogniser heard; scores in thousandths of a nat.
#[derive(serde::Serialize, ToSchema)]
struct Heard {
    words: String,
    b_milli: i32,
    a_milli: i32,
    m_milli: i32,
    /// SHA-256 of its samples.
    sound_sha256: String,
}

/// A fact with its value.
#[derive(serde::Serialize, ToSchema)]
struct Fact {
    name: String,
    row: Option<u32>,
    value: Exact,
}

/// `done`, or what was given.
#[derive(serde::Serialize, ToSchema)]
#[serde(untagged)]
enum GivenOrDone {
    /// `done`.
    Done(String),
    /// What was given: one of these.
    Given(Box<EntryGiven>),
}

/// What was given for a step: one of these.
#[derive(serde::Serialize, ToSchema)]
struct EntryGiven {
    measured: Option<Exact>,
    counted: Option<u32>,
    chosen: Option<String>,
    fact: Option<Fact>,
    noted: Option<String>,
}

/// What a step asked for: a mark with its tolerance, so many, or one of these.
#[derive(ToSchema)]
struct Target {
    mark: Option<Exact>,
    /// Either way.
    tolerance: Option<Exact>,
    at_least: Option<u32>,
    one_of: Option<Vec<String>>,
}

/// A photo that is kept.
#[derive(ToSchema)]
struct Photo {
    sha256: String,
    media_type: String,
    size_bytes: u64,
    width_px: u32,
    height_px: u32,
    preview_sha256: String,
    taken_by_camera_clock: Option<String>,
    caption: Option<String>,
    location_removed: bool,
    given_sha256: Option<String>,
}

/// A leak call as it was reported.
#[derive(ToSchema)]
struct Call {
    id: u32,
    reported: String,
    water: String,
    rows: Vec<RowRef>,
    edge: Option<String>,
    caller: String,
    phone: Option<String>,
}

/// What was found.
#[derive(ToSchema)]
struct Finding {
    id: u32,
    found: String,
    cause: Option<String>,
    done: Option<String>,
    steps: Vec<FindingStep>,
    /// `under`, `outside` or `undecided`.
    warranty: String,
    visit_left_open: Option<String>,
}

/// A step that a finding goes back to.
#[derive(ToSchema)]
struct FindingStep {
    checklist: String,
    step: String,
}
