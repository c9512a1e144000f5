//! The first page: the jobs there are; and for the office how the program is.

use axum::Router;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use maud::html;

use super::address;
use super::guard::Visitor;
use super::job::{jobs_table, name};
use super::refusal::Refusal;
use super::shell::{self, Part, heads, token};
use super::site::Shared;
use crate::domain::{Json, Right};
use crate::store::{SeenFile, Store, StoreError};

/// Jobs shown at once; the desk looks for others by words.
const MOST_JOBS: u32 = 100;

pub(super) fn router() -> Router<Shared> {
    Router::new()
        .route("/", get(jobs))
        .route("/running", get(running))
        .route("/health", get(health))
}

async fn jobs(State(site): State<Shared>, visitor: Visitor) -> Result<Response, Refusal> {
    let jobs = site.log(|store, _| store.find(&[], MOST_JOBS)).await?;
    let words = visitor.words;
    let body = html! {
        h1 { (words.t("shell.jobs")) }
        @if jobs.is_empty() { p { (words.t("shell.no-jobs")) } }
        @if jobs.is_empty() && visitor.may(Right::Office) {
            form method="post" action="/example" {
                (token(&visitor))
                button { (words.t("shell.example")) }
            }
            p { (words.t("shell.own-job")) " " a href="/library#check" { (words.t("shell.library")) } }
        }
        @else {
            (jobs_table(&jobs, |job| address::of_job(name(job), ""), words))
        }
        @if visitor.may(Right::Office) {
            p { a href="/running" { (words.t("shell.running")) } }
        }
    };
    Ok(shell::page(&visitor, Part::Jobs, words.t("shell.jobs"), &body))
}

struct Found {
    entries: u64,
    head: String,
    seen: Vec<SeenFile>,
}

fn look(store: &Store) -> Result<Found, StoreError> {
    let (entries, head) = store.head()?;
    Ok(Found { entries, head: head.to_string(), seen: store.seen()? })
}

async fn running(State(site): State<Shared>, visitor: Visitor) -> Result<Response, Refusal> {
    visitor.must(Right::Office)?;
    let found = site.log(|store, _| look(store)).await?;
    let words = visitor.words;
    let told = words.fill(
        "shell.running-told",
        &[
            ("version", env!("CARGO_PKG_VERSION")),
            ("begun", &site.served.begun),
            ("entries", &found.entries.to_string()),
            ("head", &found.head),
        ],
    );
    let body = html! {
        h1 { (words.t("shell.running")) }
        p { (told) }
        h2 { (words.t("shell.files")) }
        @if found.seen.is_empty() { p { (words.t("shell.no-files")) } }
        @else {
            table {
                (heads(words, &["shell.file", "shell.became", "shell.why"]))
                tbody {
                    @for file in &found.seen {
                        tr {
                            th scope="row" { (file.path) }
                            td data-label=(words.t("shell.became")) { (file.verdict) }
                            td data-label=(words.t("shell.why")) {
                                @if !file.why.is_empty() { pre { (file.why) } }
                            }
                        }
                    }
                }
            }
        }
    };
    Ok(shell::page(&visitor, Part::Jobs, words.t("shell.running"), &body))
}

/// For programs on this machine; others on the network are not told.
async fn health(State(site): State<Shared>) -> Result<Response, Refusal> {
    if site.served.networked {
        return Err(Refusal::NotFound);
    }
    let text = health_json(&site).await?.canonical();
    let text = text.map_err(|error| Refusal::Broken(error.to_string()))?;
    Ok(([(header::CONTENT_TYPE, "application/json")], text).into_response())
}

/// How the program is: version, since when, the log's head, the files it watches.
pub(super) async fn health_json(site: &Shared) -> Result<Json, Refusal> {
    let found = site.log(|store, _| look(store)).await?;
    let files = found.seen.iter().map(|file| {
        Json::object([
            ("path", Json::text(&file.path)),
            ("verdict", Json::text(&file.verdict)),
            ("why", Json::text(&file.why)),
        ])
    });
    Ok(Json::object([
        ("version", env!("CARGO_PKG_VERSION").into()),
        ("begun", Json::text(&site.served.begun)),
        ("entries", u32::try_from(found.entries).map_or(Json::Null, Json::from)),
        ("head_sha256", Json::text(found.head)),
        ("files", Json::List(files.collect())),
    ]))
}
