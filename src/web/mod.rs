//! The only HTTP, on the loopback address: a page that says how the daemon is,
//! which reads the log and changes nothing, and the feeds of dates.

mod feed;

use std::fmt::Write as _;
use std::path::PathBuf;
use std::sync::Arc;

use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use axum::{Router, routing::get};

use crate::domain::Json;
use crate::export::html::escape;
use crate::store::{SeenFile, Store, StoreError};

/// What the pages need.
#[derive(Clone, Debug)]
pub struct Health {
    /// The log.
    pub log: PathBuf,
    /// When the daemon began, RFC 3339 with offset.
    pub begun: String,
}

pub use feed::Calendars;

/// The pages: `/` for people, `/health` for programs, `/calendar/…` for calendars.
pub fn router(health: Health, calendars: Calendars) -> Router {
    let pages = Router::new().route("/", get(page)).route("/health", get(json));
    pages.with_state(Arc::new(health)).merge(feed::router(calendars))
}

struct Found {
    entries: u64,
    head: String,
    seen: Vec<SeenFile>,
}

async fn look(health: &Health) -> Result<Found, StoreError> {
    let log = health.log.clone();
    let looked = tokio::task::spawn_blocking(move || {
        let store = Store::open(&log)?;
        let (entries, head) = store.head()?;
        Ok(Found { entries, head: head.to_string(), seen: store.seen()? })
    });
    looked.await.unwrap_or_else(|_| Err(StoreError::Busy { path: health.log.clone() }))
}

/// The person sees a sentence, the log sees the cause.
fn not_available(error: &StoreError) -> Response {
    tracing::error!(?error, "page");
    let sentence = format!("The log cannot be read: {error}");
    (StatusCode::SERVICE_UNAVAILABLE, sentence).into_response()
}

async fn json(State(health): State<Arc<Health>>) -> Response {
    let found = match look(&health).await {
        Ok(found) => found,
        Err(error) => return not_available(&error),
    };
    let files = found.seen.iter().map(|file| {
        Json::object([
            ("path", Json::text(&file.path)),
            ("verdict", Json::text(&file.verdict)),
            ("why", Json::text(&file.why)),
        ])
    });
    let all = Json::object([
        ("version", env!("CARGO_PKG_VERSION").into()),
        ("begun", Json::text(&health.begun)),
        ("entries", u32::try_from(found.entries).map_or(Json::Null, Json::from)),
        ("head_sha256", Json::text(found.head)),
        ("files", Json::List(files.collect())),
    ]);
    match all.canonical() {
        Ok(text) => ([(header::CONTENT_TYPE, "application/json")], text).into_response(),
        Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

async fn page(State(health): State<Arc<Health>>) -> Response {
    let found = match look(&health).await {
        Ok(found) => found,
        Err(error) => return not_available(&error),
    };
    let mut files = String::new();
    for file in &found.seen {
        // Writing to a String does not fail.
        let _ = write!(
            files,
            "<tr><td>{}</td><td>{}</td><td><pre>{}</pre></td></tr>",
            escape(&file.path),
            escape(&file.verdict),
            escape(&file.why)
        );
    }
    let begun = escape(&health.begun);
    let (entries, head) = (found.entries, escape(&found.head));
    let version = env!("CARGO_PKG_VERSION");
    Html(format!(
        "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width\"><title>chalkhand</title>\
         <style>body{{font:1.1rem/1.5 system-ui,sans-serif;color:#111;background:#fdfcf9;\
         max-width:60rem;margin:2rem auto;padding:0 1rem}}td{{padding:.3rem 1rem .3rem 0;\
         vertical-align:top;border-top:1px solid #111}}th{{text-align:left}}table{{border-collapse:collapse}}h1{{border-bottom:3px solid #1f5fa8}}\
         pre{{margin:0;white-space:pre-wrap}}code{{overflow-wrap:anywhere}}</style>\
         <h1>chalkhand is running</h1>\
         <p>Version {version}, since {begun}. The log holds {entries} entries; the hash of the \
         last is <code>{head}</code>.</p><h2>Checklist and profile files</h2>\
         <table><tr><th scope=\"col\">File</th><th scope=\"col\">What became of it</th>\
         <th scope=\"col\">Why</th></tr>{files}</table></html>"
    ))
    .into_response()
}
