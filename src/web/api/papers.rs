//! What is handed out of a job: the record in its forms, and its dates; as the pages
//! hand them out.

use axum::extract::State;
use axum::response::Response;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::super::handed;
use super::super::refusal::Refusal;
use super::super::site::Shared;
use super::ask::{At, Reads};
use super::jobs::OfJob;
use super::shapes::{Bytes, SealedRecord};
use crate::domain::Right;
use crate::office::RecordForm;

pub(super) fn routes() -> OpenApiRouter<Shared> {
    OpenApiRouter::new()
        .routes(routes!(record_json))
        .routes(routes!(record_pdf))
        .routes(routes!(record_html))
        .routes(routes!(dates))
}

/// The record, sealed
///
/// JSON with the job's entries, proofs that they stand in this device's log, and its signature.
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}/record.json", tag = "papers",
    operation_id = "getSealedRecord", params(OfJob),
    responses((status = 200, description = "The sealed record.", body = SealedRecord))
)]
async fn record_json(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(OfJob { number }): At<OfJob>,
) -> Result<Response, Refusal> {
    let bytes = handed::record(&site, &visitor, &number, RecordForm::Json).await?;
    Ok(handed::file("application/json", &number, "record.json", bytes))
}

/// The record for paper
///
/// PDF with the sealed JSON attached.
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}/record.pdf", tag = "papers",
    operation_id = "getRecordPages", params(OfJob),
    responses((
        status = 200, description = "The pages.", body = inline(Bytes), content_type = "application/pdf"
    ))
)]
async fn record_pdf(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(OfJob { number }): At<OfJob>,
) -> Result<Response, Refusal> {
    let bytes = handed::record(&site, &visitor, &number, RecordForm::Pdf(None)).await?;
    Ok(handed::file("application/pdf", &number, "record.pdf", bytes))
}

/// The record as one page
///
/// HTML that loads nothing; not sealed.
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}/record.html", tag = "papers",
    operation_id = "getRecordPage", params(OfJob),
    responses((
        status = 200, description = "The page.", body = String, content_type = "text/html"
    ))
)]
async fn record_html(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(OfJob { number }): At<OfJob>,
) -> Result<Response, Refusal> {
    let bytes = handed::record(&site, &visitor, &number, RecordForm::Html).await?;
    let text = String::from_utf8(bytes);
    text.map(handed::apart).map_err(|_| Refusal::Broken("the record is no text".to_owned()))
}

/// The dates after the job
///
/// iCalendar. Whoever fetches them is given them: what is new is said in the log.
#[utoipa::path(
    get, path = "/api/v1/jobs/{number}/dates.ics", tag = "papers", operation_id = "getDates",
    params(OfJob),
    responses((
        status = 200, description = "The dates.", body = String, content_type = "text/calendar"
    ))
)]
async fn dates(
    State(site): State<Shared>,
    Reads(visitor): Reads,
    At(OfJob { number }): At<OfJob>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let text = handed::dates_text(&site, &visitor, &number, None).await?;
    Ok(handed::file(handed::CALENDAR, &number, "dates.ics", text.into_bytes()))
}
