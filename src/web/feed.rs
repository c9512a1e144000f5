//! `/calendar/SECRET.ics`: the dates of a person or of everybody, for a
//! calendar program that fetches them again and again. Fetching gives out what
//! is new, and the log says so.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::{Router, routing::get};
use jiff::tz::TimeZone;

use crate::config::Config;
use crate::domain::{At, Hash};
use crate::measure::Functions;
use crate::office::{self, Feeds, OfficeError};

/// What the feeds need.
#[derive(Clone, Debug)]
pub struct Calendars {
    /// Where everything is.
    pub config: Config,
    /// What formulas may call.
    pub functions: Arc<Functions>,
    /// The one clock.
    pub now: fn(&TimeZone) -> At,
}

/// The feeds alone.
pub(super) fn router(calendars: Calendars) -> Router {
    Router::new().route("/calendar/{name}", get(calendar)).with_state(Arc::new(calendars))
}

/// A feed's text; none where nobody has that address.
fn text(calendars: &Calendars, token: &str) -> Result<Option<String>, OfficeError> {
    let feeds = Feeds::read(&calendars.config)?;
    let Some(feed) = feeds.find(token) else { return Ok(None) };
    let Calendars { config, functions, now } = calendars;
    office::feed(config, functions, feed, now).map(Some)
}

async fn calendar(
    State(calendars): State<Arc<Calendars>>,
    Path(name): Path<String>,
    headers: HeaderMap,
) -> Response {
    let Some(token) = name.strip_suffix(".ics").map(str::to_owned) else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let made = tokio::task::spawn_blocking(move || text(&calendars, &token)).await;
    let text = match made {
        Ok(Ok(Some(text))) => text,
        Ok(Ok(None)) => return StatusCode::NOT_FOUND.into_response(),
        // The person sees a sentence, the log sees the cause. A feed that lacks
        // a job would make calendars forget its dates: rather none for now.
        Ok(Err(error)) => {
            tracing::error!(?error, "feed");
            let sentence = "The dates cannot be read now; see the daemon's log.";
            return (StatusCode::SERVICE_UNAVAILABLE, sentence).into_response();
        }
        Err(error) => {
            tracing::error!(?error, "feed");
            return StatusCode::SERVICE_UNAVAILABLE.into_response();
        }
    };
    let tag = format!("\"{}\"", Hash::of(text.as_bytes()));
    let kept = [(header::ETAG, tag.clone()), (header::CACHE_CONTROL, "private".to_owned())];
    if headers.get_all(header::IF_NONE_MATCH).iter().any(|sent| holds(sent.as_bytes(), &tag)) {
        return (StatusCode::NOT_MODIFIED, kept).into_response();
    }
    (kept, [(header::CONTENT_TYPE, "text/calendar; charset=utf-8")], text).into_response()
}

/// Whether a list of tags has this one or any; compared weakly, as RFC 9110
/// section 13.1.2 wants.
fn holds(sent: &[u8], tag: &str) -> bool {
    let Ok(sent) = std::str::from_utf8(sent) else { return false };
    sent.split(',').map(str::trim).any(|one| one == "*" || one.trim_start_matches("W/") == tag)
}
