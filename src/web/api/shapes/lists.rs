//! Lists, the day log, what the desk sees, what a file is: everything else that is
//! answered.

use utoipa::ToSchema;

use super::record::{Attention, CallStanding, FollowUp, Logged, Sound};
use super::{Entry, RowRef};

/// Jobs that were found.
#[derive(ToSchema)]
pub(in super::super) struct Jobs {
    jobs: Vec<Found>,
}

/// A job that was found.
#[derive(ToSchema)]
struct Found {
    #[schema(example = "EX-0001")]
    number: String,
    #[schema(example = "1 Example Lane, Sampletown")]
    address: String,
    #[schema(example = "Owner Example")]
    owner: String,
    phone: String,
    /// The day it was opened, at its address.
    #[schema(example = "2026-11-26")]
    opened_on: String,
    /// Leak calls that are open.
    open_callbacks: u32,
    /// Where it is the record of another device: the name its papers are asked for by.
    imported_as: Option<String>,
}

/// A job that was opened.
#[derive(ToSchema)]
pub(in super::super) struct Opened {
    #[schema(example = "EX-0001")]
    number: String,
    /// Its entry.
    entry: Entry,
}

/// Some of a job's entries, in order.
#[derive(ToSchema)]
pub(in super::super) struct EntriesPage {
    #[schema(example = "EX-0001")]
    job: String,
    /// The last entry of the job, as in its `ETag`.
    #[schema(example = 17)]
    last_seq: u64,
    entries: Vec<Entry>,
    /// Where there are more: `after` of the next page.
    next_after: Option<u64>,
}

/// Photos of a job, in the order they were kept.
#[derive(ToSchema)]
pub(in super::super) struct JobPhotos {
    #[schema(example = "EX-0001")]
    job: String,
    photos: Vec<JobPhoto>,
}

/// A photo: as the record has it, with its walk and where it is fetched.
#[derive(ToSchema)]
struct JobPhoto {
    /// The entry that keeps it.
    entry_seq: u64,
    /// When it was kept.
    at: String,
    /// By whom.
    by: String,
    /// The walk it belongs to, from the second on with which: `start-of-day/2`.
    walk: Option<String>,
    checklist: Option<String>,
    /// The step, with its row where it repeats: `cut#2`.
    step: Option<String>,
    step_title: Option<String>,
    caption: Option<String>,
    /// What it shows, for those who cannot see it.
    line: String,
    /// SHA-256 of the file as it is kept.
    sha256: String,
    /// `image/jpeg` or `image/png`.
    #[schema(example = "image/jpeg")]
    media_type: String,
    size_bytes: u64,
    /// Upright.
    width_px: u32,
    /// Upright.
    height_px: u32,
    /// When it was taken, as the file says it; that clock may be wrong.
    taken_by_camera_clock: Option<String>,
    /// Whether what may hold the place it was taken at was left out.
    location_removed: bool,
    /// SHA-256 of the file as it was given, where that is another.
    given_sha256: Option<String>,
    /// Below the data folder, and in the files of the job.
    path: String,
    preview_sha256: String,
    preview_path: String,
    /// Where the file is fetched.
    href: String,
    /// Where the smaller picture is fetched.
    preview_href: String,
}

/// A day of all jobs: `chalkhand-day/1`.
#[derive(ToSchema)]
pub(in super::super) struct DayLog {
    #[schema(example = "chalkhand-day/1")]
    format: String,
    #[schema(example = "2026-11-26")]
    date: String,
    jobs: Vec<DayLogJob>,
    /// Imported jobs of that day that cannot be read here.
    unread: Option<Vec<Unread>>,
}

/// An imported job that cannot be read here.
#[derive(ToSchema)]
struct Unread {
    imported_as: String,
    why: String,
}

/// A job on a day.
#[derive(ToSchema)]
struct DayLogJob {
    number: String,
    /// The name under which the record of another device is read here.
    imported_as: Option<String>,
    address: String,
    invented: bool,
    attention: Vec<Attention>,
    sound: Option<Sound>,
    entries: Vec<Entry>,
}

/// Leak calls.
#[derive(ToSchema)]
pub(in super::super) struct Calls {
    calls: Vec<CallStanding>,
    /// In the list of all jobs: imported ones that cannot be read here.
    unread: Option<Vec<Unread>>,
}

/// What a leak call needs first: `chalkhand-callback/1`.
#[derive(ToSchema)]
pub(in super::super) struct DeskView {
    #[schema(example = "chalkhand-callback/1")]
    format: String,
    /// What it does not say.
    is_not: String,
    invented: bool,
    job: String,
    address: String,
    callback: DeskCall,
    open: bool,
    /// Rows of the plan that count as the place.
    places: Vec<Place>,
    /// Steps that keep water out, those to look at first before the others.
    waterproofing: Vec<DeskStep>,
    deviations: Vec<Attention>,
    attention: Vec<Attention>,
    /// Who was there on the days of these steps, and the weather as it was logged.
    days: Vec<DeskDay>,
    promised: Vec<FollowUp>,
}

/// The call as it was reported.
#[derive(ToSchema)]
struct DeskCall {
    id: u32,
    reported_on: String,
    water: String,
    rows: Vec<RowRef>,
    edge: Option<String>,
    caller: String,
    phone: Option<String>,
    opened: Logged,
}

/// A row that counts as the place, and why.
#[derive(ToSchema)]
struct Place {
    table: String,
    row: u32,
    because: String,
}

/// A step in the order it is looked at.
#[derive(ToSchema)]
struct DeskStep {
    walk: String,
    step: String,
    title: String,
    rank: String,
    because: Vec<String>,
    stands: String,
    photos_asked: u32,
    photos_said_taken: u32,
}

/// Who was there on a day.
#[derive(ToSchema)]
struct DeskDay {
    date: String,
    people: Vec<String>,
    told: Vec<DeskTold>,
}

/// What was logged of the weather.
#[derive(ToSchema)]
struct DeskTold {
    walk: String,
    step: String,
    title: String,
    stands: String,
}

/// Checklists and profiles.
#[derive(ToSchema)]
pub(in super::super) struct Library {
    adopted: Vec<AdoptedVersion>,
    /// Files in the watched folders, for the office alone.
    seen: Option<Vec<SeenFile>>,
}

/// An adopted version; its content never changes.
#[derive(ToSchema)]
struct AdoptedVersion {
    /// `checklist` or `profile`.
    #[schema(example = "checklist")]
    kind: String,
    #[schema(example = "deck-intake")]
    id: String,
    #[schema(example = "1.3.0")]
    version: String,
    /// SHA-256 of the file.
    sha256: String,
    adopted_at: String,
    adopted_by: String,
}

/// An adopted version with what it says.
#[derive(ToSchema)]
pub(in super::super) struct AdoptedText {
    kind: String,
    id: String,
    version: String,
    sha256: String,
    adopted_at: String,
    adopted_by: String,
    /// All adopted versions, in order.
    versions: Vec<String>,
    /// The whole of it as a person reads it.
    listing: String,
}

/// A file that was seen in the watched folders.
#[derive(ToSchema)]
struct SeenFile {
    path: String,
    kind: Option<String>,
    id: Option<String>,
    version: Option<String>,
    /// `offered`, `known`, `refused` or `broken`.
    verdict: String,
    why: String,
}

/// What differs between two versions.
#[derive(ToSchema)]
pub(in super::super) struct Changes {
    changes: Vec<Change>,
}

/// One difference.
#[derive(ToSchema)]
struct Change {
    /// Thing and part: `step-tolerance`, `caution-added`.
    kind: String,
    /// Identifier of the thing.
    what: String,
    sentence: String,
}

/// What a text is, or what is wrong with it.
#[derive(ToSchema)]
pub(in super::super) struct Checked {
    sound: bool,
    /// `checklist`, `profile` or `job`, where it is sound.
    kind: Option<String>,
    /// Its identifier, or the job's number.
    id: Option<String>,
    version: Option<String>,
    /// Everything that is wrong with it.
    problems: Option<Vec<FileProblem>>,
}

/// Something wrong in a file.
#[derive(ToSchema)]
struct FileProblem {
    /// Counted from 1; left out where it is about the file as a whole.
    line: Option<u32>,
    /// Counted from 1, in characters.
    column: Option<u32>,
    message: String,
    hint: Option<String>,
}

/// Who may sign in.
#[derive(ToSchema)]
pub(in super::super) struct People {
    people: Vec<Person>,
}

/// Somebody who signs in.
#[derive(ToSchema)]
struct Person {
    #[schema(example = "Foreman Example")]
    name: String,
    /// `installer`, `foreman`, `desk`, `office`.
    roles: Vec<String>,
    /// `us` or `metric`.
    units: String,
    /// `en` or `es`.
    language: String,
    /// Whether the person may no longer sign in.
    left: bool,
    /// Names of the devices that are signed in.
    devices: Vec<String>,
    /// Names of the keys that hold.
    keys: Vec<String>,
}

/// As whom the program asks.
#[derive(ToSchema)]
pub(in super::super) struct You {
    #[schema(example = "Office Example")]
    name: String,
    roles: Vec<String>,
    units: String,
    language: String,
    /// What the key, or the device that is signed in, is called.
    device: String,
    /// Of a page's sign-in: what `X-Form-Token` has to be where something is changed.
    token: Option<String>,
}

/// How the program is.
#[derive(ToSchema)]
pub(in super::super) struct Health {
    #[schema(example = "0.1.0")]
    version: String,
    /// Since when it runs.
    begun: String,
    /// Entries in the log.
    entries: u64,
    head_sha256: String,
    files: Vec<WatchedFile>,
}

/// A file in the watched folders.
#[derive(ToSchema)]
struct WatchedFile {
    path: String,
    verdict: String,
    why: String,
}
