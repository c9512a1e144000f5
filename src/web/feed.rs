//! `/calendar/SECRET.ics`: the dates of a person or of everybody, for a
//! calendar program that fetches them again and again. Fetching gives out what
//! is new, and the log says so.

use axum::Router;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::get;

use super::site::{Shared, Site};
use crate::domain::Hash;
use crate::office::{self, Feeds, OfficeError};

/// The feeds alone.
pub(super) fn router() -> Router<Shared> {
    Router::new().route("/calendar/{name}", get(calendar))
}

/// A feed's text; none where nobody has that address.
fn text(site: &Site, token: &str) -> Result<Option<String>, OfficeError> {
    let served = &site.served;
    let feeds = Feeds::read(&served.config)?;
    let Some(feed) = feeds.find(token) else { return Ok(None) };
    office::feed(&served.config, &served.functions, feed, served.now).map(Some)
}

async fn calendar(
    State(site): State<Shared>,
    Path(name): Path<String>,
    headers: HeaderMap,
) -> Response {
    let Some(token) = name.strip_suffix(".ics").map(str::to_owned) else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let made = tokio::task::spawn_blocking(move || text(&site, &token)).await;
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
pub(super) fn holds(sent: &[u8], tag: &str) -> bool {
    let Ok(sent) = std::str::from_utf8(sent) else { return false };
    sent.split(',').map(str::trim).any(|one| one == "*" || one.trim_start_matches("W/") == tag)
}
