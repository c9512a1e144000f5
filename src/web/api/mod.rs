//! The same over HTTP for programs: JSON in and out under `/api/v1`, described by
//! an OpenAPI document that is made from the handlers themselves. What may be done
//! and what follows from it is decided by `office` and `domain`, as for the pages.

mod ask;
mod calls;
mod deeds;
mod document;
mod jobs;
mod library;
mod papers;
mod photos;
mod shapes;
mod text;
mod this;
mod walks;

use std::sync::OnceLock;

use axum::Router;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use serde::Serialize;
use utoipa_axum::router::OpenApiRouter;
use utoipa_axum::routes;

use super::refusal::Refusal;
use super::site::{Shared, Site};
use crate::domain::{JobFile, Json};
use crate::office::{self, OfficeError};

/// Where all of it lies.
const ROOT: &str = "/api";

/// Whether a path is one of a program's.
pub(super) fn is_below(path: &str) -> bool {
    path.strip_prefix(ROOT).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

/// Handlers with what the document says of them: one list for both.
fn described() -> OpenApiRouter<Shared> {
    OpenApiRouter::with_openapi(document::about())
        .routes(routes!(described_here))
        .merge(this::routes())
        .merge(jobs::routes())
        .merge(papers::routes())
        .merge(photos::routes())
        .merge(deeds::routes())
        .merge(calls::routes())
        .merge(library::routes())
        .merge(walks::routes())
}

pub(super) fn router() -> Router<Shared> {
    let (router, _) = described().split_for_parts();
    router.method_not_allowed_fallback(async || {
        let why = "this address does not take that method: the header Allow says which it takes";
        Refusal::request(StatusCode::METHOD_NOT_ALLOWED, "not-this-method", why).into_response()
    })
}

/// The document of this API
///
/// OpenAPI 3.1, made from the program itself. It needs no sign-in.
#[utoipa::path(
    get, path = "/api/openapi.json", tag = "program", operation_id = "getDocument",
    security(()),
    responses((status = 200, description = "This document.", body = Object))
)]
async fn described_here(State(site): State<Shared>) -> Result<Response, Refusal> {
    static TEXTS: OnceLock<[Option<String>; 2]> = OnceLock::new();
    let networked = site.served.networked;
    let texts = TEXTS.get_or_init(|| {
        [false, true].map(|networked| document::text(described().into_openapi(), networked))
    });
    let text = texts.get(usize::from(networked)).and_then(Option::as_deref);
    let text = text.ok_or_else(|| Refusal::Broken("the document has no text".to_owned()))?;
    Ok(([(header::CONTENT_TYPE, JSON)], text).into_response())
}

const JSON: &str = "application/json";

/// An answer of the export's JSON.
fn json(json: &Json) -> Result<Response, Refusal> {
    let text = json.canonical().map_err(|error| Refusal::Broken(error.to_string()))?;
    Ok(([(header::CONTENT_TYPE, JSON)], text).into_response())
}

/// An answer of what serde writes.
fn written(value: &impl Serialize) -> Result<Response, Refusal> {
    let text = serde_json::to_string(value).map_err(|error| Refusal::Broken(error.to_string()))?;
    Ok(([(header::CONTENT_TYPE, JSON)], text).into_response())
}

/// The same with the state of the job, to be named before something is written.
fn with_state(mut response: Response, last_seq: u64) -> Response {
    if let Ok(tag) = format!("\"{last_seq}\"").parse() {
        response.headers_mut().insert(header::ETAG, tag);
    }
    response
}

/// What is read of a job, with its state.
async fn read_of_job(
    site: &Shared,
    number: String,
    read: impl FnOnce(&JobFile, &Site) -> Result<Json, Refusal> + Send + 'static,
) -> Result<Response, Refusal> {
    let read = site.log(move |store, site| {
        let file = office::job(store, &site.served.functions, &number)?;
        Ok::<_, Refusal>((read(&file, site)?, file.standing.last_seq))
    });
    let (body, last) = read.await?;
    Ok(with_state(json(&body)?, last))
}

/// What does not go with how a job stands is a conflict: a hold point that does not
/// wait, a call that is closed, a job that is open.
fn conflict(error: OfficeError) -> Refusal {
    match error {
        OfficeError::Refused(_) | OfficeError::IsOpen(_) => {
            Refusal::request(StatusCode::CONFLICT, "does-not-go", error.to_string())
        }
        error => error.into(),
    }
}
