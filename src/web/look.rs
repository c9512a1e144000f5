//! Style sheets and scripts: inside the program, under names that change with
//! their content, so that a browser may keep them for ever.

use std::sync::OnceLock;

use axum::Router;
use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;

use super::refusal::Refusal;
use super::site::Shared;
use crate::domain::Hash;

const FILES: [(&str, &str, &str); 9] = [
    ("page.css", "text/css; charset=utf-8", include_str!("look/page.css")),
    ("roof.css", "text/css; charset=utf-8", include_str!("look/roof.css")),
    ("roof.js", "text/javascript; charset=utf-8", include_str!("look/roof.js")),
    ("headset.js", "text/javascript; charset=utf-8", include_str!("look/headset.js")),
    ("headset_blocks.js", "text/javascript; charset=utf-8", include_str!("look/headset_blocks.js")),
    ("photo.js", "text/javascript; charset=utf-8", include_str!("look/photo.js")),
    ("drop.js", "text/javascript; charset=utf-8", include_str!("look/drop.js")),
    ("day_live.js", "text/javascript; charset=utf-8", include_str!("look/day_live.js")),
    ("desk_find.js", "text/javascript; charset=utf-8", include_str!("look/desk_find.js")),
];

/// One hash over all of them.
fn version() -> &'static str {
    static VERSION: OnceLock<String> = OnceLock::new();
    VERSION.get_or_init(|| {
        let all: String = FILES.iter().map(|(name, _, text)| format!("{name}\n{text}\n")).collect();
        Hash::of(all.as_bytes()).to_string().chars().take(12).collect()
    })
}

/// Where a file is.
pub(super) fn path(name: &str) -> String {
    format!("/look/{}/{name}", version())
}

pub(super) fn router() -> Router<Shared> {
    Router::new().route("/look/{version}/{name}", get(file))
}

async fn file(Path((_, name)): Path<(String, String)>) -> Response {
    let Some((_, kind, text)) = FILES.iter().find(|(known, ..)| *known == name) else {
        return Refusal::NotFound.into_response();
    };
    let kept = [
        (header::CONTENT_TYPE, *kind),
        (header::CACHE_CONTROL, "public, max-age=31536000, immutable"),
    ];
    (kept, *text).into_response()
}
