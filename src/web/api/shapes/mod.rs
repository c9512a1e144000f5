//! The shapes of what is answered, for the document alone: what is sent is written
//! by `export` and `office`, and tests hold the two together. Members that are not
//! known are left out. Times are RFC 3339 with the offset of the job's address.
#![expect(dead_code, reason = "nothing makes one: the document is read off them")]

mod entry;
mod lists;
mod record;

use utoipa::ToSchema;

pub(super) use entry::Entry;
pub(super) use lists::{
    AdoptedText, Calls, Changes, Checked, DayLog, DeskView, EntriesPage, Health, JobPhotos, Jobs,
    Library, Opened, People, You,
};
pub(super) use record::{Record, SealedRecord, Sheet};

/// The bytes of a file, which are no text.
#[derive(ToSchema)]
#[schema(value_type = String, format = Binary)]
pub(super) struct Bytes(Vec<u8>);

/// Why a request was refused (RFC 9457).
#[derive(ToSchema)]
pub(super) struct Problem {
    /// Stays the same whatever the sentence says.
    #[schema(example = "urn:chalkhand:not-found")]
    r#type: String,
    /// The same in words.
    #[schema(example = "not found")]
    title: String,
    /// The status of the answer.
    #[schema(minimum = 400, maximum = 599, example = 404)]
    status: u16,
    /// What was wrong and what to do, for a person.
    #[schema(example = "there is nothing of that name")]
    detail: String,
}

/// A value that loses nothing, with what a person reads.
#[derive(serde::Serialize, ToSchema)]
pub(super) struct Exact {
    /// `length`, `area`, `pitch`, `number`, `temperature`, `temperature-difference`,
    /// `speed`, `free-area-per-length`, `volume`, `other`; `yes-no`; `text`.
    #[schema(example = "length")]
    kind: String,
    /// A quantity with its unit, exact: `63 3/16 in`.
    #[schema(example = "9/2 in")]
    exact: Option<String>,
    /// Of a yes-no.
    yes: Option<bool>,
    /// Of a text.
    text: Option<String>,
    /// As a person reads it, in the units of the job.
    #[schema(example = "4 1/2\"")]
    shown: Option<String>,
}

/// A version of a checklist or profile that a job is judged by.
#[derive(ToSchema)]
pub(super) struct Pin {
    /// `checklist` or `profile`.
    #[schema(example = "checklist")]
    kind: String,
    #[schema(example = "deck-intake")]
    id: String,
    #[schema(example = "1.3.0")]
    version: String,
    /// SHA-256 of the file, in the record.
    file_sha256: Option<String>,
    /// The same, in an entry.
    sha256: Option<String>,
}

/// Somebody whom a job names.
#[derive(ToSchema)]
pub(super) struct JobPerson {
    #[schema(example = "Foreman Example")]
    name: String,
    #[schema(example = "foreman")]
    role: String,
    /// The language this person hears, in an entry.
    language: Option<String>,
}

/// A job as it was opened.
#[derive(ToSchema)]
pub(super) struct Job {
    #[schema(example = "EX-0001")]
    number: String,
    #[schema(example = "1 Example Lane, Sampletown")]
    address: String,
    #[schema(example = "Owner Example")]
    owner: String,
    phone: String,
    company: String,
    /// The zone of its address.
    #[schema(example = "America/New_York")]
    time_zone: String,
    #[schema(example = "IRC 2021")]
    code_edition: String,
    /// `us` or `metric`: what is shown.
    #[schema(example = "us")]
    units: String,
    people: Vec<JobPerson>,
    /// Whether it is an invented job, in an entry.
    invented: Option<bool>,
    /// What it pins, in an entry.
    pins: Option<Vec<Pin>>,
}

/// A row of a table: `plane` 1, `run` 2.
#[derive(ToSchema)]
pub(super) struct RowRef {
    #[schema(example = "run")]
    table: String,
    /// Counted from 1.
    #[schema(example = 2)]
    row: u32,
}

/// The last entry of a job.
#[derive(ToSchema)]
pub(super) struct ChainHead {
    #[schema(example = 17)]
    entry_seq: u64,
    entry_sha256: String,
}

/// A clip of sound.
#[derive(ToSchema)]
pub(super) struct Clip {
    sha256: String,
    length_ms: u32,
    /// Below the data folder, in the record.
    path: Option<String>,
}
