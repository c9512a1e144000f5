//! The pages as an app among the others of a phone: what the phone is told of it,
//! and the worker that says so where no page can be reached. It keeps the look and
//! that one page, never anything of a job.

use axum::Router;
use axum::extract::Query;
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;
use maud::html;
use serde::Deserialize;

use super::guard::Reads;
use super::refusal::Refusal;
use super::site::Shared;
use super::words::Words;
use super::{look, shell};
use crate::domain::{Json, Language};

pub(super) fn router() -> Router<Shared> {
    Router::new()
        .route("/app.webmanifest", get(manifest))
        .route("/worker.js", get(worker))
        .route("/unreachable", get(unreachable))
}

const NAME: &str = "chalkhand";
/// The paper of `look/page.css`.
const PAPER: &str = "#ffffff";

/// What a phone has to know (W3C, Web Application Manifest).
async fn manifest(Reads(words): Reads) -> Result<Response, Refusal> {
    let icon = |name: &str, kind: &'static str, sizes: &'static str, purpose: &'static str| {
        Json::object([
            ("src", Json::text(look::path(name))),
            ("type", kind.into()),
            ("sizes", sizes.into()),
            ("purpose", purpose.into()),
        ])
    };
    let manifest = Json::object([
        ("id", "/".into()),
        ("start_url", "/".into()),
        ("scope", "/".into()),
        ("name", NAME.into()),
        ("short_name", NAME.into()),
        ("description", Json::text(words.t("shell.app"))),
        ("lang", Json::text(words.language.code())),
        ("display", "standalone".into()),
        ("background_color", PAPER.into()),
        ("theme_color", PAPER.into()),
        (
            "icons",
            Json::from(vec![
                icon("icon.svg", "image/svg+xml", "any", "any"),
                icon("icon-192.png", "image/png", "192x192", "any"),
                icon("icon-512.png", "image/png", "512x512", "any"),
                icon("icon-512.png", "image/png", "512x512", "maskable"),
            ]),
        ),
    ]);
    let text = manifest.canonical().map_err(|error| Refusal::Broken(error.to_string()))?;
    Ok(([(header::CONTENT_TYPE, "application/manifest+json")], text).into_response())
}

#[derive(Deserialize)]
struct Which {
    /// What the page that asks is written in.
    #[serde(default)]
    language: String,
}

impl Which {
    fn words(&self) -> Words {
        Words::of(Language::of(&self.language).unwrap_or_default())
    }
}

async fn worker(Query(which): Query<Which>) -> Response {
    let code = which.words().language.code();
    let files = look::paths().map(|path| format!("\"{path}\"")).collect::<Vec<_>>().join(", ");
    let text = include_str!("look/worker.js")
        .replace("LANGUAGE", code)
        .replace("VERSION", look::version())
        .replace("\"FILES\"", &files);
    ([(header::CONTENT_TYPE, "text/javascript; charset=utf-8")], text).into_response()
}

/// What stands in the place of a page that cannot be reached.
async fn unreachable(Query(which): Query<Which>) -> Response {
    let words = which.words();
    let title = words.t("shell.unreachable");
    let body = html! {
        h1 { (title) }
        p { (words.t("shell.unreachable-told")) }
        p { (words.t("shell.unreachable-kept")) }
        p.ways { a href="" { (words.t("shell.unreachable-again")) } }
    };
    shell::open_page_with(words, title, &body, &["again.js"])
}
