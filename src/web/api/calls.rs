//! The desk: jobs by what a caller says, leak calls from the call to the finding.

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::refusal::Refusal;
use super::super::site::Shared;
use super::ask::{Asked, At, Body, Known, Once, Reads, Writes};
use super::deeds::{Change, change};
use super::jobs::{OfJob, found, words};
use super::shapes::{Calls, DeskView, Entry, Jobs};
use super::text::{Day, Line, Row, Said};
use super::{conflict, json, read_of_job};
use crate::domain::{Json, NamedStep, Right, StepRef, Warranty, desk};
use crate::export;
use crate::office::calls::{self, NewCall, NewFinding};
use crate::office::{self, OfficeError};

/// Jobs found at once.
const MOST_FOUND: u32 = 30;
/// Jobs whose calls are listed at once.
const MOST_JOBS: usize = 200;

pub(super) fn routes() -> OpenApiRouter<Shared> {
    OpenApiRouter::new()
        .routes(routes!(look))
        .routes(routes!(all))
        .routes(routes!(of_job, open))
        .routes(routes!(one))
        .routes(routes!(close))
}

#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct CallerSays {
    /// What the caller says: any words of number, address, owner, phone, company or day.
    #[param(min_length = 1, max_length = 200, pattern = r"\S", example = "example lane")]
    q: String,
}

/// Finds a job by what a caller says
///
/// At most thirty, this device's own before imported ones, the newest first.
#[utoipa::path(
    get, path = "/api/v1/desk", tag = "calls", operation_id = "findJob", params(CallerSays),
    responses((status = 200, description = "Jobs that have every word.", body = Jobs))
)]
async fn look(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    Asked(CallerSays { q }): Asked<CallerSays>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Desk)?;
    let words = words(&q)?;
    if words.is_empty() {
        return Err(Refusal::Unusable(
            "q is blank: name a word of what the caller says".to_owned(),
        ));
    }
    found(&site, words, MOST_FOUND).await
}

#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Open {
    /// Only those that are open.
    #[param(example = true)]
    #[serde(default)]
    open: bool,
}

/// Leak calls of all jobs
#[utoipa::path(
    get, path = "/api/v1/calls", tag = "calls", operation_id = "listAllCalls", params(Open),
    responses((status = 200, description = "Of at most two hundred jobs.", body = Calls))
)]
async fn all(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    Asked(Open { open }): Asked<Open>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Desk)?;
    let read = site.log(move |store, site| {
        let functions = &site.served.functions;
        let mut calls = Vec::new();
        let with = office::jobs_with_calls(store, functions, open, MOST_JOBS)?;
        for known in &with.jobs {
            let record = known.file.record(functions);
            let imported_as = known.imported_as.as_deref();
            calls.extend(listed(export::callback::json(&record, imported_as, open)));
        }
        let unread = export::json::unread(&with.unread);
        Ok::<_, OfficeError>(Json::object([("calls", Json::from(calls)), ("unread", unread)]))
    });
    json(&read.await?)
}

fn listed(json: Json) -> Box<[Json]> {
    match json {
        Json::List(calls) => calls,
        _ => Box::default(),
    }
}

/// Leak calls of a job
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}/calls", tag = "calls", operation_id = "listCalls",
    params(OfJob, Open),
    responses((
        status = 200, description = "In order.", body = Calls,
        headers(("ETag" = String, description = "The job's last entry, for `If-Match`."))
    ))
)]
async fn of_job(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(of): At<OfJob>,
    Asked(Open { open }): Asked<Open>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Desk)?;
    let read = read_of_job(&site, of.number, move |file, site| {
        let calls = export::callback::json(&file.record(&site.served.functions), None, open);
        Ok(Json::object([("calls", calls)]))
    });
    read.await
}

/// Which call of which job.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
struct OfCall {
    /// The job's number.
    #[param(min_length = 1, example = "EX-0001")]
    number: String,
    /// The call's number on that job, counted from 1.
    #[param(minimum = 1, example = 1)]
    id: u32,
}

/// What a leak call needs first
///
/// Where water was said to come in, the steps to look at first and why, deviations, who was there,
/// what was promised.
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}/calls/{id}", tag = "calls", operation_id = "getCall",
    params(OfCall),
    responses((
        status = 200, description = "The desk's view.", body = DeskView,
        headers(("ETag" = String, description = "The job's last entry, for `If-Match`."))
    ))
)]
async fn one(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(of): At<OfCall>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Desk)?;
    let read = read_of_job(&site, of.number, move |file, site| {
        let served = &site.served;
        let record = file.record(&served.functions);
        let view = desk::desk(&record, of.id).ok_or(Refusal::NotFound)?;
        let now = (served.now)(&office::zone(&file.job)?);
        let due = office::due(&served.config, file, now)?;
        Ok(export::desk::json(&record, &view, &due))
    });
    read.await
}

/// A call as it is taken down.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct CallTaken {
    /// Where water came in, in the caller's words.
    water: Said,
    /// The plane of the drawing, where somebody knows it.
    plane: Option<Row>,
    /// The run of the drawing, where somebody knows it.
    run: Option<Row>,
    /// The edge or thing it is near.
    edge: Option<Line>,
    /// Who called.
    caller: Line,
    /// How to reach the caller, where that is not the owner.
    phone: Option<Line>,
    /// The day it was reported, not one to come.
    reported: Day,
}

/// Takes a leak call down
#[utoipa::path(
    post, path = "/api/v1/jobs/{number}/calls", tag = "calls", operation_id = "openCall",
    params(OfJob, Once, Known), request_body(content = CallTaken, example = json!({
        "water": "above the stairs, after the storm", "plane": 1, "run": 1, "edge": "chimney",
        "caller": "Owner Example", "phone": "555-0100", "reported": "2026-11-26"
    })),
    responses((
        status = 201, description = "It is open; the entry names its number.", body = Entry,
        headers(
            ("Location" = String, description = "Where the entry is read."),
            ("ETag" = String, description = "The job's last entry, for `If-Match`.")
        )
    ))
)]
async fn open(
    State(site): State<Shared>,
    Writes(visitor): Writes,
    At(OfJob { number }): At<OfJob>,
    once: Once,
    known: Known,
    Body(body): Body<CallTaken>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Desk)?;
    let sent = body.clone();
    let asked = Change { visitor, number, once, known };
    change(&site, asked, ("open-call", &body), move |file, functions, deed| {
        let new = NewCall {
            water: sent.water.as_str(),
            plane: sent.plane.map(|row| row.0),
            run: sent.run.map(|row| row.0),
            edge: sent.edge.as_ref().map(Line::as_str),
            caller: sent.caller.as_str(),
            phone: sent.phone.as_ref().map(Line::as_str),
            reported: sent.reported.0,
        };
        let record = file.record_of_now(functions);
        let (_, draft, _) = calls::open_call(file, &record, &new, deed).map_err(conflict)?;
        Ok(draft)
    })
    .await
}

/// Whether a finding is under warranty; the program decides nothing.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
enum UnderWarranty {
    /// Somebody said it is.
    Under,
    /// Somebody said it is not.
    Outside,
    /// Nobody has decided.
    Undecided,
}

/// What was found after a call.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct FindingTaken {
    /// What was found, or that nothing was.
    found: Said,
    /// What caused it.
    cause: Option<Said>,
    /// What was done about it.
    done: Option<Said>,
    /// The steps of the install that it goes back to.
    #[serde(default)]
    #[schema(max_items = 200)]
    steps: Vec<StepTaken>,
    warranty: UnderWarranty,
    /// Why its open visit is left unfinished, where there is one.
    unfinished: Option<Said>,
}

/// A step of the install.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
struct StepTaken {
    /// The checklist.
    checklist: Line,
    /// Its step; without a row it is of any row.
    step: Line,
}

/// Closes a leak call with its finding
#[utoipa::path(
    post, path = "/api/v1/jobs/{number}/calls/{id}/finding", tag = "calls",
    operation_id = "closeCall", params(OfCall, Once, Known), request_body(content = FindingTaken, example = json!({
        "found": "a nail beside the valley, invented", "cause": "driven beside the line",
        "done": "drawn, sealed, the course laid again",
        "steps": [{ "checklist": "deck-intake", "step": "shingles-over#1" }],
        "warranty": "under"
    })),
    responses((
        status = 201, description = "It is closed.", body = Entry,
        headers(
            ("Location" = String, description = "Where the entry is read."),
            ("ETag" = String, description = "The job's last entry, for `If-Match`.")
        )
    ))
)]
async fn close(
    State(site): State<Shared>,
    Writes(visitor): Writes,
    At(OfCall { number, id }): At<OfCall>,
    once: Once,
    known: Known,
    Body(body): Body<FindingTaken>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Desk)?;
    if 200 < body.steps.len() {
        return Err(Refusal::Unusable("steps has more than 200".to_owned()));
    }
    let sent = body.clone();
    let word = format!("close-call {id}");
    let asked = Change { visitor, number, once, known };
    change(&site, asked, (&word, &body), move |file, functions, deed| {
        let record = file.record(functions);
        let steps = sent.steps.iter().map(|named| {
            let Ok(step): Result<StepRef, _> = named.step.as_str().parse();
            NamedStep { checklist: named.checklist.as_str().to_owned(), step }
        });
        let steps = steps.map(|named| calls::named_step(&record, &named.to_string()));
        let new = NewFinding {
            id,
            found: sent.found.as_str(),
            cause: sent.cause.as_ref().map(Said::as_str),
            done: sent.done.as_ref().map(Said::as_str),
            steps: steps.collect::<Result<_, _>>().map_err(conflict)?,
            warranty: match sent.warranty {
                UnderWarranty::Under => Warranty::Under,
                UnderWarranty::Outside => Warranty::Outside,
                UnderWarranty::Undecided => Warranty::Undecided,
            },
            unfinished: sent.unfinished.as_ref().map(Said::as_str),
        };
        calls::close_call(file, &new, deed).map_err(conflict)
    })
    .await
}
