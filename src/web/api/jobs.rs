//! Jobs: found, opened, what stands of one, its measures, its entries.

use axum::extract::{DefaultBodyLimit, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::{OpenApiRouter, UtoipaMethodRouterExt as _};
use utoipa_axum::routes;

use super::super::act::{Requested, requested_key};
use super::super::address;
use super::super::refusal::Refusal;
use super::super::site::Shared;
use super::ask::{Asked, At, Body, Once, Reads, Writes};
use super::shapes::{EntriesPage, Jobs, Opened, Record, Sheet};
use super::text::Line;
use super::{conflict, json, read_of_job, with_state};
use crate::domain::{Entry, How, JobFile, Json, Key, Right};
use crate::export;
use crate::office::opening::{self, Opener};
use crate::office::{self, OfficeError, lists};
use crate::store::{Store, StoreError};

/// The text of a file as JSON carries it: a byte may take six.
pub(super) const MOST_FILE_BYTES: usize = 8 << 20;
const MOST_FOUND: u32 = 500;
const FOUND: u32 = 100;
const MOST_ENTRIES: usize = 500;
const ENTRIES: usize = 100;

pub(super) fn routes() -> OpenApiRouter<Shared> {
    let sent = DefaultBodyLimit::max(MOST_FILE_BYTES);
    OpenApiRouter::new()
        .routes(routes!(list, open).layer(sent))
        .routes(routes!(one))
        .routes(routes!(sheet))
        .routes(routes!(entries))
}

/// Which job.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub(super) struct OfJob {
    /// The job's number, or the name of an imported record.
    #[param(min_length = 1, example = "EX-0001")]
    pub(super) number: String,
}

#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Looked {
    /// Words that begin so in number, address, owner, phone, company or opening day.
    /// Left out: all jobs.
    #[param(max_length = 200, example = "sampletown")]
    #[serde(default)]
    q: String,
    /// At most so many, the newest first.
    #[param(minimum = 1, maximum = 500, example = 20)]
    limit: Option<u32>,
}

/// At most so many; a number out of bounds is told.
fn at_most<T: PartialOrd + Copy + From<u8> + std::fmt::Display>(
    asked: Option<T>,
    usual: T,
    most: T,
) -> Result<T, Refusal> {
    match asked {
        None => Ok(usual),
        Some(asked) if T::from(1) <= asked && asked <= most => Ok(asked),
        Some(asked) => Err(Refusal::Unusable(format!("limit is {asked}: it may be 1 to {most}"))),
    }
}

/// The words of a search; long ones are no words of a caller.
pub(super) fn words(q: &str) -> Result<Vec<String>, Refusal> {
    if 200 < q.chars().count() {
        return Err(Refusal::Unusable("q has more than 200 characters".to_owned()));
    }
    Ok(q.split_whitespace().map(str::to_owned).collect())
}

/// Jobs that were found, as an answer.
pub(super) async fn found(
    site: &Shared,
    words: Vec<String>,
    most: u32,
) -> Result<Response, Refusal> {
    let jobs = site.log(move |store, _| store.find(&words, most)).await?;
    json(&Json::object([("jobs", Json::List(jobs.iter().map(lists::found).collect()))]))
}

/// Jobs
///
/// All jobs of this log and imported records, or those that have every word of `q`.
#[utoipa::path(
    get, path = "/api/v1/jobs", tag = "jobs", operation_id = "listJobs", params(Looked),
    responses((status = 200, description = "The newest first.", body = Jobs))
)]
async fn list(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    Asked(looked): Asked<Looked>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let most = at_most(looked.limit, FOUND, MOST_FOUND)?;
    found(&site, words(&looked.q)?, most).await
}

/// A job to open: from the text of its file, or the invented one that ships.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
enum JobWanted {
    /// The invented job, under the next free number.
    Example {},
    /// A job file.
    File {
        /// What the file is called where something is wrong with it.
        name: Line,
        /// The whole text, TOML.
        text: String,
    },
}

/// Opens a job
///
/// For the office. All or nothing: versions are pinned, the job and the facts of its file are logged.
#[utoipa::path(
    post, path = "/api/v1/jobs", tag = "jobs", operation_id = "openJob", params(Once),
    request_body(content = JobWanted, example = json!({ "example": {} })),
    responses((
        status = 201, description = "It is open.", body = Opened,
        headers(
            ("Location" = String, description = "Where it is read."),
            ("ETag" = String, description = "Its last entry, for `If-Match`.")
        )
    ))
)]
async fn open(
    State(site): State<Shared>,
    Writes(visitor): Writes,
    once: Once,
    Body(wanted): Body<JobWanted>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Office)?;
    let (person, by_key) = (visitor.session.person.clone(), visitor.by_key);
    let opened = site.log(move |store, site| {
        let said = format!("open-job {wanted:?}");
        let key = match requested_key(store, &person, (&once.once, &said))? {
            Requested::New(key) => key,
            // Its state is what it was when it began: who lost the answer reads first.
            Requested::Before(entry) => return Ok((entry.seq, *entry)),
        };
        // A job file is written in a file, whoever sends it.
        let how = if by_key { How::Http } else { How::File };
        let opener = Opener { by: &person.name, how, key: Some(key.clone()) };
        let (functions, now) = (&site.served.functions, site.served.now);
        let done = match &wanted {
            JobWanted::Example {} => opening::open_example(store, functions, &opener, now),
            JobWanted::File { name, text } => {
                opening::open(store, functions, (text, name.as_str()), &opener, now)
            }
        };
        done.map_err(not_opened)?;
        let entry = entry_of(store, &key)?;
        Ok::<_, Refusal>((store.last_seq(&entry.draft.job)?, entry))
    });
    let (last, entry) = opened.await?;
    let number = Json::text(&entry.draft.job);
    let body = [("number", number), ("entry", export::json::entry(&entry, None))];
    let place = format!("/api/v1/jobs/{}", address::part(&entry.draft.job));
    let headers = [(header::LOCATION, place)];
    Ok(with_state((StatusCode::CREATED, headers, json(&Json::object(body))?).into_response(), last))
}

fn entry_of(store: &Store, key: &Key) -> Result<Entry, Refusal> {
    let opened = store.entry_of(key)?;
    opened.ok_or_else(|| Refusal::Broken("the job was opened and is not in the log".to_owned()))
}

/// What is wrong with a file is told; a number that is taken is a conflict.
fn not_opened(error: OfficeError) -> Refusal {
    match error {
        OfficeError::IsOpen(_) => conflict(error),
        OfficeError::Store(StoreError::Stale) => Refusal::Changed,
        OfficeError::Store(error @ StoreError::Changed { .. }) => {
            Refusal::Unusable(error.to_string())
        }
        OfficeError::Store(error) => error.into(),
        error => Refusal::Unusable(error.to_string()),
    }
}

/// A job
///
/// Its facts, measures, walks, deviations, follow-ups and calls as they stand: the record without
/// its seal. Its `ETag` is what a change names in `If-Match`. An imported record is read as a paper.
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}", tag = "jobs", operation_id = "getJob", params(OfJob),
    responses((
        status = 200, description = "What stands.", body = Record,
        headers(("ETag" = String, description = "Its last entry, for `If-Match`."))
    ))
)]
async fn one(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(of): At<OfJob>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let read = read_of_job(&site, of.number, |file, site| {
        let served = &site.served;
        let record = file.record(&served.functions);
        let now = (served.now)(&office::zone(&file.job)?);
        let due = office::due_and_cancelled(&served.config, file, record.last_at.unwrap_or(now))?;
        Ok(export::json::record(&record, &due))
    });
    read.await
}

/// All measures of a job
///
/// As plain numbers with their units, and as a person on the roof reads them.
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}/sheet", tag = "jobs", operation_id = "getSheet",
    params(OfJob),
    responses((
        status = 200, description = "The sheet.", body = Sheet,
        headers(("ETag" = String, description = "The job's last entry, for `If-Match`."))
    ))
)]
async fn sheet(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(of): At<OfJob>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let read = read_of_job(&site, of.number, |file, site| {
        Ok(export::sheet_json::sheet(&file.record_of_now(&site.served.functions)))
    });
    read.await
}

#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct After {
    /// Entries after this one, by `seq`; 0 for all.
    #[param(maximum = 9007199254740991_u64, example = 0)]
    #[serde(default)]
    after: u64,
    /// At most so many.
    #[param(minimum = 1, maximum = 500, example = 50)]
    limit: Option<u32>,
}

/// Entries of a job
///
/// In order, by page: what was logged, who, when, how, with its hash.
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}/entries", tag = "jobs", operation_id = "listEntries",
    params(OfJob, After),
    responses((
        status = 200, description = "Some of them.", body = EntriesPage,
        headers(("ETag" = String, description = "The job's last entry, for `If-Match`."))
    ))
)]
async fn entries(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(of): At<OfJob>,
    Asked(asked): Asked<After>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let usual = u32::try_from(ENTRIES).unwrap_or(u32::MAX);
    let most = u32::try_from(MOST_ENTRIES).unwrap_or(u32::MAX);
    let limit = at_most(asked.limit, usual, most)?;
    if 9_007_199_254_740_991 < asked.after {
        return Err(Refusal::Unusable("after is no sequence number of a log".to_owned()));
    }
    read_of_job(&site, of.number, move |file, _| Ok(page(file, asked.after, limit))).await
}

fn page(file: &JobFile, after: u64, limit: u32) -> Json {
    let limit = usize::try_from(limit).unwrap_or(usize::MAX);
    let from = file.entries.partition_point(|entry| entry.seq <= after);
    let rest = file.entries.get(from..).unwrap_or_default();
    let shown = rest.get(..limit.min(rest.len())).unwrap_or_default();
    let more = shown.last().filter(|_| shown.len() < rest.len());
    let all = shown.iter().map(|entry| export::json::entry(entry, title(file, entry).as_deref()));
    Json::object([
        ("job", Json::text(&file.job.number)),
        ("last_seq", Json::whole(file.standing.last_seq)),
        ("entries", Json::List(all.collect())),
        ("next_after", more.map_or(Json::Null, |last| Json::whole(last.seq))),
    ])
}

/// The name of the step that an entry is about.
pub(super) fn title(file: &JobFile, entry: &Entry) -> Option<String> {
    let checklist = file.checklist(&entry.draft.walk.as_ref()?.checklist)?;
    Some(checklist.title_of(entry.draft.what.step()?))
}
