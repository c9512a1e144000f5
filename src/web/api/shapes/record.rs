//! The install record and the sheet: `chalkhand-record/1`, `chalkhand-sheet/1`.

use utoipa::ToSchema;

use super::{ChainHead, Clip, Exact, Job, Pin, RowRef};

/// What stands of a job, whole: `chalkhand-record/1`.
#[derive(ToSchema)]
pub(in super::super) struct Record {
    #[schema(example = "chalkhand-record/1")]
    format: String,
    /// What it does not say.
    is_not: String,
    /// Whether the job is invented.
    invented: bool,
    job: Job,
    profile: Option<Profile>,
    /// What somebody has to look at.
    attention: Vec<Attention>,
    chain_head: Option<ChainHead>,
    /// The program and its version.
    made_by: String,
    /// When its last entry was logged.
    made_at: Option<String>,
    drawings: Vec<Drawing>,
    pins: Vec<Pin>,
    facts: Vec<Fact>,
    /// The walks of each pinned checklist, with its measures and steps.
    checklists: Vec<Walk>,
    notes: Vec<Note>,
    photos: Vec<Photo>,
    sound: Option<Sound>,
    /// Which walks are not ended, or that none was begun; left out where all have ended.
    unfinished: Option<String>,
    /// Whether what stands on the first page rests on facts that nobody gave.
    first_page_assumed: Option<String>,
    /// Hold points that were reached, with why and who released each, and how many
    /// witness points were.
    points_reached: Vec<String>,
    /// How the steps of the install stand, in two sentences.
    steps_stand: Option<String>,
    /// That recordings answered more than once; left out where none did.
    recordings_reused: Option<String>,
    /// How many files of photos are missing or changed; left out where none is.
    photos_amiss: Option<String>,
    follow_ups: Vec<FollowUp>,
    deviations: Vec<Attention>,
    callbacks: Vec<CallStanding>,
    /// Who logged something, with their roles.
    hands: Vec<String>,
}

/// The same, sealed by this device: check it with public tools, as the README says.
#[derive(ToSchema)]
pub(in super::super) struct SealedRecord {
    #[schema(example = "chalkhand-record/1")]
    format: String,
    is_not: String,
    invented: bool,
    job: Job,
    profile: Option<Profile>,
    attention: Vec<Attention>,
    chain_head: Option<ChainHead>,
    made_by: String,
    made_at: Option<String>,
    drawings: Vec<Drawing>,
    pins: Vec<Pin>,
    facts: Vec<Fact>,
    checklists: Vec<Walk>,
    notes: Vec<Note>,
    photos: Vec<Photo>,
    sound: Option<Sound>,
    /// Which walks are not ended, or that none was begun; left out where all have ended.
    unfinished: Option<String>,
    /// Whether what stands on the first page rests on facts that nobody gave.
    first_page_assumed: Option<String>,
    /// Hold points that were reached, with why and who released each, and how many
    /// witness points were.
    points_reached: Vec<String>,
    /// How the steps of the install stand, in two sentences.
    steps_stand: Option<String>,
    /// That recordings answered more than once; left out where none did.
    recordings_reused: Option<String>,
    /// How many files of photos are missing or changed; left out where none is.
    photos_amiss: Option<String>,
    follow_ups: Vec<FollowUp>,
    deviations: Vec<Attention>,
    callbacks: Vec<CallStanding>,
    hands: Vec<String>,
    log: Log,
    seal: Seal,
}

/// The job's entries with proofs that they stand in the device's log.
#[derive(ToSchema)]
struct Log {
    program: String,
    /// The fingerprint of the device's key.
    device: String,
    head: LogHead,
    entries: Vec<LoggedEntry>,
    /// Hashes of the tree that the proofs name by their place.
    nodes: Vec<String>,
    /// Announcements of keys that took the place of others.
    #[schema(value_type = Option<Vec<Object>>)]
    keys: Option<Vec<String>>,
}

/// The head of the log (RFC 9162's tree), signed.
#[derive(ToSchema)]
struct LogHead {
    format: String,
    day: String,
    device: String,
    made_at: String,
    tree_size: u64,
    root_sha256: String,
    seal: Seal,
}

/// An entry of the job with its proof.
#[derive(ToSchema)]
struct LoggedEntry {
    /// As it was logged.
    #[schema(value_type = Object)]
    entry: String,
    sha256: String,
    /// Places in `nodes`.
    proof: Vec<u64>,
}

/// A detached signature (RFC 7515) by Ed25519.
#[derive(ToSchema)]
struct Seal {
    protected: String,
    signature: String,
}

/// The figures of one maker's product.
#[derive(ToSchema)]
struct Profile {
    id: String,
    version: String,
    title: String,
    source: String,
    invented: bool,
    file_sha256: String,
    figures: Vec<Figure>,
}

/// A figure from a product's printed instructions.
#[derive(ToSchema)]
struct Figure {
    name: String,
    /// The kind a checklist asks for it as.
    asked_as: String,
    value: Exact,
}

/// Something somebody has to look at, or a deviation with who accepted it.
#[derive(ToSchema)]
pub(super) struct Attention {
    /// `hold-waiting`, `off-target`, `skipped` and so on.
    kind: String,
    checklist: String,
    walk: String,
    step: Option<String>,
    entry_seq: Option<u64>,
    sentence: String,
    role: Option<String>,
    since: Option<String>,
    reason: Option<String>,
    asked: Option<String>,
    asked_now: Option<String>,
    photos_asked: Option<u32>,
    photos_said_taken: Option<u32>,
    /// Seconds.
    took_s: Option<i64>,
    /// Seconds.
    least_s: Option<u32>,
    /// Seconds.
    back_s: Option<i64>,
    open_steps: Option<u64>,
    overtaken: Option<bool>,
    pinned: Option<String>,
    newest: Option<String>,
    accepted: Option<Acceptance>,
    accepted_shown: Option<String>,
    /// What was asked for and found, who logged it, and whether nobody has accepted it.
    logged_shown: Option<String>,
    /// In a few words, and who accepted it, in a record.
    briefly: Option<String>,
    /// Whether it lies where water was said to come in, for the desk.
    at_place: Option<bool>,
}

/// Who accepted a deviation and why.
#[derive(ToSchema)]
struct Acceptance {
    entry_seq: u64,
    at: String,
    by: String,
    role: String,
    how: How,
    reason: String,
}

/// A drawing.
#[derive(ToSchema)]
struct Drawing {
    title: String,
    description: String,
    svg: String,
}

/// A fact, surveyed or assumed.
#[derive(ToSchema)]
#[schema(as = RecordFact)]
struct Fact {
    name: String,
    /// Counted from 1.
    row: Option<u32>,
    ask: String,
    /// Whether nobody gave it and a default was taken.
    assumed: bool,
    /// Whether that default is taken from others that were given.
    follows_from_others: Option<bool>,
    value: Exact,
    line: Option<String>,
}

/// A walk of a checklist with its measures and steps.
#[derive(ToSchema)]
struct Walk {
    id: String,
    version: String,
    title: String,
    file_sha256: String,
    yields_to: String,
    sources: Vec<String>,
    walk: String,
    walk_title: String,
    cautions: Vec<Caution>,
    begun_at: Option<String>,
    ended_at: Option<String>,
    warnings: Vec<String>,
    measures: Vec<Measure>,
    steps: Vec<Step>,
}

/// A caution.
#[derive(ToSchema)]
struct Caution {
    id: String,
    say: String,
    source: String,
    /// How it was given and before which steps, in a record.
    given_before: Option<String>,
}

/// A measure: its value, or what it waits for, or why it has none.
#[derive(ToSchema)]
struct Measure {
    name: String,
    row: Option<u32>,
    title: String,
    line: String,
    first_page: Option<bool>,
    formula: String,
    source: String,
    value: Option<Exact>,
    missing: Option<Vec<String>>,
    cannot: Option<String>,
}

/// A step and what stands of it.
#[derive(ToSchema)]
struct Step {
    id: String,
    row: Option<u32>,
    title: String,
    text: Option<String>,
    tags: Vec<String>,
    settled: Option<Settled>,
    corrected: Vec<Settled>,
    cautions_said: Vec<String>,
    /// Whether they were spoken; otherwise they were only shown.
    cautions_spoken: Option<bool>,
    /// How they were given, in words.
    cautions_given: Option<String>,
    photos_asked: u32,
    photos_said_taken: u32,
    /// Each time that somebody said that a photo was taken.
    photos_said: Vec<SaidTaken>,
    photos_kept: u32,
    /// How many photos are asked for and kept, in a sentence.
    photos_shown: Option<String>,
    /// Who accepted how it stands, in sentences without their full stops.
    accepted: Vec<String>,
    point: Option<Point>,
}

/// That somebody said that a photo was taken.
#[derive(ToSchema)]
#[schema(as = PhotoSaidTaken)]
struct SaidTaken {
    entry_seq: u64,
    at: String,
    by: String,
    how: How,
}

/// How a step was settled.
#[derive(ToSchema)]
struct Settled {
    entry_seq: u64,
    at: String,
    by: String,
    how: How,
    /// What was conveyed after it until it was logged: the yes to what was read back.
    confirmed: Vec<How>,
    /// The same in words, by what it was confirmed; none where nothing was read back.
    confirmed_shown: Option<String>,
    asked_for: String,
    line: String,
    given: Option<Given>,
    target: Option<Target>,
    comparison: Option<Comparison>,
    reason: Option<String>,
    left_out: Option<bool>,
}

/// How it was conveyed.
#[derive(ToSchema)]
#[schema(as = RecordHow)]
struct How {
    /// `voice`, `keys`, `touch`, `command`, `file`, `program`, `http`.
    by: String,
    heard: Option<Heard>,
    line: String,
}

/// What was heard; scores in thousandths of a nat for each token.
#[derive(ToSchema)]
#[schema(as = RecordHeard)]
struct Heard {
    words: String,
    b_thousandths_nat_per_token: i32,
    /// None where words of one's own were dictated.
    a_thousandths_nat_per_token: Option<i32>,
    /// None where words of one's own were dictated.
    m_thousandths_nat_per_token: Option<i32>,
    sound_sha256: String,
}

/// What was given: one of these.
#[derive(ToSchema)]
#[schema(as = RecordGiven)]
struct Given {
    done: Option<bool>,
    measured: Option<Exact>,
    counted: Option<u32>,
    chosen: Option<String>,
    fact: Option<GivenFact>,
    noted: Option<String>,
}

/// A fact that was given.
#[derive(ToSchema)]
struct GivenFact {
    name: String,
    row: Option<u32>,
    value: Exact,
}

/// What was asked for.
#[derive(ToSchema)]
#[schema(as = RecordTarget)]
struct Target {
    mark: Option<Exact>,
    tolerance_either_way: Option<Exact>,
    at_least: Option<u32>,
    one_of: Option<Vec<String>>,
}

/// How what was given compares with what was asked for.
#[derive(ToSchema)]
struct Comparison {
    /// `on-target`, `above`, `below`, `too-few`, `not-wanted`.
    result: String,
    /// By how much, or how many.
    #[schema(value_type = Value, required = false)]
    by: String,
}

/// A hold or witness point.
#[derive(ToSchema)]
struct Point {
    kind: String,
    role: String,
    reached_at: String,
    released: Option<Released>,
}

/// Who released a hold point.
#[derive(ToSchema)]
struct Released {
    entry_seq: u64,
    at: String,
    by: String,
    how: How,
}

/// Which entry, when and by whom.
#[derive(ToSchema)]
pub(super) struct Logged {
    entry_seq: u64,
    at: String,
    by: String,
}

/// A note.
#[derive(ToSchema)]
struct Note {
    entry_seq: u64,
    at: String,
    by: String,
    spoken: bool,
    verified: Option<bool>,
    checklist: Option<String>,
    walk: Option<String>,
    step: Option<String>,
    text: String,
    clip: Option<Clip>,
}

/// A photo.
#[derive(ToSchema)]
#[schema(as = RecordPhoto)]
struct Photo {
    entry_seq: u64,
    at: String,
    by: String,
    checklist: Option<String>,
    walk: Option<String>,
    step: Option<String>,
    step_title: Option<String>,
    caption: Option<String>,
    line: String,
    sha256: String,
    media_type: String,
    size_bytes: u64,
    width_px: u32,
    height_px: u32,
    taken_by_camera_clock: Option<String>,
    location_removed: bool,
    given_sha256: Option<String>,
    path: String,
    preview_sha256: String,
    preview_path: String,
    /// What of its file lay on the machine that made the record: `whole`, `missing` or
    /// `changed`; left out where nobody looked.
    file: Option<String>,
    /// What is amiss with its file.
    amiss: Option<String>,
}

/// When the ear was open, and the hearing checks.
#[derive(ToSchema)]
pub(super) struct Sound {
    ear_open: Vec<EarOpen>,
    hearing_checks: Vec<HearingCheck>,
    lines: Vec<String>,
}

/// A time when the ear was open.
#[derive(ToSchema)]
struct EarOpen {
    entry_seq: u64,
    by: String,
    source: String,
    opened_at: String,
    closed_at: Option<String>,
    kept: String,
    hearing_check_seq: Option<u64>,
}

/// A hearing check, in tenths of dBFS.
#[derive(ToSchema)]
struct HearingCheck {
    entry_seq: u64,
    at: String,
    source: String,
    noise_tenth_dbfs: i32,
    speech_tenth_dbfs: i32,
    commands: Trust,
    numbers: Trust,
    #[schema(value_type = Vec<Object>)]
    phrases: Vec<String>,
}

/// How far voice is trusted.
#[derive(ToSchema)]
struct Trust {
    trust: String,
    because: String,
}

/// A date after the job.
#[derive(ToSchema)]
pub(super) struct FollowUp {
    uid: String,
    start: String,
    /// Minutes.
    lasts_min: u32,
    title: String,
    checklist: Option<String>,
    /// The role that looks after it.
    who: Option<String>,
    /// Where the checklist puts it, where it is elsewhere.
    planned: Option<String>,
    /// Why it is elsewhere.
    placed_because: Option<String>,
    /// Why somebody moved it.
    moved_because: Option<String>,
    /// Why somebody cancelled it; left out where it stands.
    cancelled_because: Option<String>,
    /// Whom it is for and what became of it, in words.
    stands: Option<String>,
    /// Rises with each change (RFC 5545 section 3.8.7.4).
    sequence: u32,
    issued_at: String,
}

/// A leak call and what stands of it.
#[derive(ToSchema)]
pub(super) struct CallStanding {
    /// Of which job, in lists.
    job: Option<String>,
    /// The name under which the record of another device is read here, in lists.
    imported_as: Option<String>,
    /// Its address, in lists.
    address: Option<String>,
    id: u32,
    reported_on: String,
    /// Where water came in, in the caller's words.
    water: String,
    rows: Vec<RowRef>,
    edge: Option<String>,
    caller: String,
    phone: Option<String>,
    opened: Logged,
    open: bool,
    visits: Vec<Visit>,
    closed: Option<Closed>,
    water_shown: String,
    caller_shown: String,
    found_shown: Option<String>,
    addendum: Addendum,
    entries: Vec<CallEntry>,
    /// Who took it down, the visits that were begun, and who closed it, in sentences.
    course: Vec<String>,
}

/// A visit.
#[derive(ToSchema)]
struct Visit {
    entry_seq: u64,
    at: String,
    by: String,
    walk: String,
    walk_title: String,
}

/// The finding.
#[derive(ToSchema)]
struct Closed {
    entry_seq: u64,
    at: String,
    by: String,
    found: String,
    cause: Option<String>,
    done: Option<String>,
    steps: Vec<ClosedStep>,
    /// `under`, `outside` or `undecided`.
    warranty: String,
    visit_left_open: Option<String>,
    line: String,
}

/// A step that the finding goes back to.
#[derive(ToSchema)]
struct ClosedStep {
    checklist: String,
    step: String,
    title: String,
}

/// What the call adds to the record.
#[derive(ToSchema)]
struct Addendum {
    follows: Option<ChainHead>,
    from_entry: u64,
    to_entry: u64,
    /// Its own entries, among which those of another call may stand.
    line: String,
}

/// An entry of a call.
#[derive(ToSchema)]
struct CallEntry {
    entry_seq: u64,
    entry_sha256: String,
    at: String,
    line: String,
}

/// All measures of a job as plain numbers with units: `chalkhand-sheet/1`. The rows of
/// each table stand under its name and an `s`: `planes`, `runs`.
#[derive(ToSchema)]
pub(in super::super) struct Sheet {
    #[schema(example = "chalkhand-sheet/1")]
    format: String,
    is_not: String,
    invented: bool,
    job: Job,
    profile: Option<Profile>,
    attention: Vec<Attention>,
    chain_head: Option<ChainHead>,
    /// By name.
    measures: std::collections::HashMap<String, SheetMeasure>,
    /// By `table.column`.
    columns: std::collections::HashMap<String, SheetColumn>,
    facts: Vec<Fact>,
    warnings: Vec<String>,
    assumptions: Vec<String>,
    cautions: Vec<Caution>,
    checklists: Vec<Foundation>,
}

/// A measure on the sheet.
#[derive(ToSchema)]
struct SheetMeasure {
    /// A decimal number in `unit`, cut after nine places; yes or no; a text; `null` while
    /// it is not known.
    #[schema(value_type = Value)]
    value: String,
    /// `in`, `in2`, `in2/ft`, `in/ft` (a pitch), `degF`, `mph`; empty for plain numbers.
    #[schema(example = "in")]
    unit: String,
    /// As a person reads it, rounded to its safe side; `null` while it is not known.
    tape: Option<String>,
    facts: Vec<String>,
    title: String,
    group: String,
    formula: String,
    source: String,
    /// `minimum`: rounded up; `maximum`: down; `mark`: to the nearest.
    bound: String,
    checklist: String,
    missing: Option<Vec<String>>,
    cannot: Option<String>,
}

/// A column of a table.
#[derive(ToSchema)]
struct SheetColumn {
    unit: String,
    facts: Vec<String>,
    title: String,
    checklist: String,
    group: Option<String>,
    formula: Option<String>,
    source: Option<String>,
    bound: Option<String>,
    /// One a row.
    tape: Vec<Option<String>>,
}

/// What a checklist is and rests on.
#[derive(ToSchema)]
struct Foundation {
    id: String,
    version: String,
    title: String,
    file_sha256: String,
    yields_to: String,
    sources: Vec<String>,
}
