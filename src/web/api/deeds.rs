//! The day log, and what a foreman decides: a hold point is released, a deviation
//! accepted, a witness point looked at. Who may is `office::deeds`'s matter.

use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::act::{self, Act};
use super::super::address;
use super::super::guard::Visitor;
use super::super::refusal::Refusal;
use super::super::site::Shared;
use super::ask::{Asked, At, Body, Known, Once, Reads, Writes};
use super::jobs::{OfJob, title};
use super::shapes::{DayLog, Entry};
use super::text::{Day, Line, Said, Seq};
use super::{conflict, json, with_state};
use crate::domain::{self, Draft, JobFile, Json, Right, WalkId};
use crate::export;
use crate::measure::Functions;
use crate::office::{self, Deed, deeds};

pub(super) fn routes() -> OpenApiRouter<Shared> {
    OpenApiRouter::new()
        .routes(routes!(day))
        .routes(routes!(release))
        .routes(routes!(accept))
        .routes(routes!(witness))
}

#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Wanted {
    /// Which day; left out, today, or the nearest one on which something was logged.
    #[param(value_type = Option<String>, format = Date, example = "2026-11-26")]
    date: Option<Day>,
}

/// A day of all jobs
///
/// What the foreman reads, attention first, then each entry.
#[utoipa::path(
    get, path = "/api/v1/day", tag = "deeds", operation_id = "getDay", params(Wanted),
    responses((status = 200, description = "The day log.", body = DayLog))
)]
async fn day(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    Asked(Wanted { date }): Asked<Wanted>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Foreman)?;
    let today = site.now().date();
    let made = site.log(move |store, site| {
        let date = match date {
            Some(Day(date)) => date,
            None => office::newest_day(store, today)?,
        };
        let (day, _) = office::day(store, &site.served.functions, date)?;
        Ok::<_, Refusal>(export::json::day(&day))
    });
    json(&made.await?)
}

/// What a change is made of: who asks, of which job, under which name, knowing what.
pub(super) struct Change {
    pub(super) visitor: Visitor,
    pub(super) number: String,
    pub(super) once: Once,
    pub(super) known: Known,
}

/// Appends what `draft` makes of a request, and answers with the entry.
pub(super) async fn change(
    site: &Shared,
    change: Change,
    (word, body): (&str, &impl std::fmt::Debug),
    draft: impl FnOnce(&JobFile, &Functions, &Deed<'_>) -> Result<Draft, Refusal> + Send + 'static,
) -> Result<Response, Refusal> {
    let Change { visitor, number, once, known } = change;
    let act = Act::requested(word, body, (&number, &once.once, known.seq));
    let entry: domain::Entry = act::act(site, &visitor, act, draft).await?;
    let seq = entry.seq;
    let (_, told) = logged(site, &number, seq).await?;
    let before = seq.saturating_sub(1);
    let place = format!("/api/v1/jobs/{}/entries?after={before}&limit=1", address::part(&number));
    let headers = [(header::LOCATION, place)];
    // What others wrote since, whoever asked has not read.
    Ok(with_state((StatusCode::CREATED, headers, json(&told)?).into_response(), seq))
}

/// An entry of a job, as it is answered.
pub(super) async fn logged(
    site: &Shared,
    number: &str,
    seq: u64,
) -> Result<(domain::Entry, Json), Refusal> {
    let of = number.to_owned();
    let read = site.log(move |store, site| {
        let file = office::job(store, &site.served.functions, &of)?;
        let entry = file.entries.iter().find(|entry| entry.seq == seq);
        let missing = || Refusal::Broken("the entry is not found in the log".to_owned());
        let entry = entry.ok_or_else(missing)?;
        let json = export::json::entry(entry, title(&file, entry).as_deref());
        Ok::<_, Refusal>((entry.clone(), json))
    });
    read.await
}

/// Which walk; one that cannot be waits for nobody.
pub(super) fn walk_id(text: &str) -> Result<WalkId, Refusal> {
    let no_walk = |why| Refusal::request(StatusCode::CONFLICT, "does-not-go", why);
    text.parse().map_err(|why: String| no_walk(why))
}

/// A hold point to be released.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Release {
    /// The walk, as the job's `attention` has it.
    walk: Line,
    /// The step, with its row where it repeats.
    step: Line,
    /// The role it waits for, which the job gives this person.
    role: Line,
}

/// Releases a hold point
///
/// Work may go on. The job has to name the person in that role.
#[utoipa::path(
    post, path = "/api/v1/jobs/{number}/releases", tag = "deeds", operation_id = "release",
    params(OfJob, Once, Known), request_body(content = Release, example = json!({ "walk": "deck-intake", "step": "cut#1", "role": "foreman" })),
    responses((
        status = 201, description = "It is released.", body = Entry,
        headers(
            ("Location" = String, description = "Where the entry is read."),
            ("ETag" = String, description = "The job's last entry, for `If-Match`.")
        )
    ))
)]
async fn release(
    State(site): State<Shared>,
    Writes(visitor): Writes,
    At(OfJob { number }): At<OfJob>,
    once: Once,
    known: Known,
    Body(body): Body<Release>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Foreman)?;
    let (id, sent) = (walk_id(body.walk.as_str())?, body.clone());
    let asked = Change { visitor, number, once, known };
    change(&site, asked, ("release", &body), move |file, _, deed| {
        let (step, role) = (sent.step.as_str(), sent.role.as_str());
        deeds::release(file, Some(&id), step, role, deed).map_err(conflict)
    })
    .await
}

/// A deviation to be accepted.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Accept {
    /// The entry that shows it.
    entry: Seq,
    /// Why it may stay.
    reason: Said,
}

/// Accepts a deviation
///
/// All that the entry shows now; it stays in the record, with who accepted it and why.
#[utoipa::path(
    post, path = "/api/v1/jobs/{number}/acceptances", tag = "deeds", operation_id = "accept",
    params(OfJob, Once, Known), request_body(content = Accept, example = json!({ "entry": 17, "reason": "invented: the board is sound and stays" })),
    responses((
        status = 201, description = "It is accepted.", body = Entry,
        headers(
            ("Location" = String, description = "Where the entry is read."),
            ("ETag" = String, description = "The job's last entry, for `If-Match`.")
        )
    ))
)]
async fn accept(
    State(site): State<Shared>,
    Writes(visitor): Writes,
    At(OfJob { number }): At<OfJob>,
    once: Once,
    known: Known,
    Body(body): Body<Accept>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Foreman)?;
    let sent = body.clone();
    let asked = Change { visitor, number, once, known };
    change(&site, asked, ("accept", &body), move |file, functions, deed| {
        let record = file.record(functions);
        let (seq, reason) = (sent.entry.0, sent.reason.as_str());
        deeds::accept(file, &record, seq, reason, deed).map_err(conflict)
    })
    .await
}

/// A witness point that was looked at.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct Witness {
    /// The walk.
    walk: Line,
    /// The step, with its row where it repeats.
    step: Line,
}

/// Notes that somebody looked at a witness point
///
/// The job has to name the person in its role.
#[utoipa::path(
    post, path = "/api/v1/jobs/{number}/witnessings", tag = "deeds", operation_id = "witness",
    params(OfJob, Once, Known), request_body(content = Witness, example = json!({ "walk": "deck-intake", "step": "cut#1" })),
    responses((
        status = 201, description = "It is noted.", body = Entry,
        headers(
            ("Location" = String, description = "Where the entry is read."),
            ("ETag" = String, description = "The job's last entry, for `If-Match`.")
        )
    ))
)]
async fn witness(
    State(site): State<Shared>,
    Writes(visitor): Writes,
    At(OfJob { number }): At<OfJob>,
    once: Once,
    known: Known,
    Body(body): Body<Witness>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Foreman)?;
    let (id, sent) = (walk_id(body.walk.as_str())?, body.clone());
    let asked = Change { visitor, number, once, known };
    change(&site, asked, ("witness", &body), move |file, _, deed| {
        deeds::witness(file, &id, sent.step.as_str(), deed).map_err(conflict)
    })
    .await
}
