//! The only HTTP: the pages for roof, foreman, desk and office, and the feeds of
//! dates. On loopback as plain HTTP, on the local network by TLS alone; who
//! signs in is `office`'s matter, what stands of a job `domain`'s.

mod act;
mod address;
mod api;
mod attempts;
mod dates;
mod day;
mod day_lines;
mod desk;
mod desk_call;
mod desk_drawing;
mod feed;
mod foreign;
mod guard;
mod handed;
mod icon;
mod inbox;
mod installed;
mod job;
mod job_dates;
mod job_photos;
mod library;
mod log_words;
mod look;
mod names;
mod people;
mod program_keys;
mod refusal;
mod roof;
mod shell;
mod sign_in;
mod site;
mod start;
pub mod tls;
mod upload;
mod visit;
mod walks;
mod whys;
mod words;

use axum::extract::DefaultBodyLimit;
use axum::response::IntoResponse as _;
use axum::{Router, middleware};
use jiff::tz::TimeZone;
use maud::{Markup, PreEscaped, html};

use crate::domain::{Role, Roles};
use crate::export::scan::scan;
use crate::export::words::visible;
use words::Words;

pub use refusal::Refusal;
pub use sign_in::fingerprint;
pub use site::Served;
pub use walks::{
    Answer, Chalk, Command, EarState, EarTrouble, Field, Followed, Headset, Headsets, Hears, Held,
    NotWalked, NotWorn, Reply, Sent, Shown, ShownEar, ShownHeard, ShownLogged, ShownStep, Spoken,
    Walks, Wanted,
};

/// A form has no more bytes than this; uploads have limits of their own.
const MOST_FORM_BYTES: usize = 256 << 10;

/// All pages.
pub fn router(served: Served) -> Router {
    let site = site::Site::new(served);
    Router::new()
        .merge(start::router())
        .merge(sign_in::router())
        .merge(people::router())
        .merge(program_keys::router())
        .merge(library::router())
        .merge(job::router())
        .merge(job_photos::router())
        .merge(inbox::router())
        .merge(handed::router())
        .merge(day::router())
        .merge(desk::router())
        .merge(visit::router())
        .merge(dates::router())
        .merge(job_dates::router())
        .merge(look::router())
        .merge(installed::router())
        .merge(feed::router())
        .merge(roof::router())
        .merge(api::router())
        .fallback(async || Refusal::NotFound.into_response())
        .layer(DefaultBodyLimit::max(MOST_FORM_BYTES))
        .layer(middleware::from_fn_with_state(site.clone(), guard::guard))
        .with_state(site)
}

/// A role in words.
fn role(words: Words, role: Role) -> &'static str {
    match role {
        Role::Installer => words.t("shell.role-installer"),
        Role::Foreman => words.t("shell.role-foreman"),
        Role::Desk => words.t("shell.role-desk"),
        Role::Office => words.t("shell.role-office"),
    }
}

fn role_words(words: Words, roles: &Roles) -> String {
    roles.iter().map(|one| role(words, one)).collect::<Vec<_>>().join(", ")
}

/// What somebody typed: nobody reads something else than what is there.
fn tame(text: &str) -> String {
    text.chars().map(visible).collect()
}

/// A moment on this machine's clock, to the minute.
fn local(ms: i64) -> String {
    let at = jiff::Timestamp::from_millisecond(ms).unwrap_or_default();
    TimeZone::system().to_datetime(at).strftime("%Y-%m-%d %H:%M").to_string()
}

/// A text to be scanned, where it is short enough.
fn scan_picture(text: &str, shows: &str) -> Markup {
    let Ok(scan) = scan(text) else { return html! {} };
    html! {
        svg.scan role="img" aria-label=(shows) viewBox={ "0 0 " (scan.size) " " (scan.size) }
            shape-rendering="crispEdges" {
            (PreEscaped(format!("<path d=\"{}\" fill=\"#000\"/>", scan.path)))
        }
    }
}
