//! Style sheets and scripts: inside the program, under names that change with
//! their content, so that a browser may keep them for ever.

use std::sync::OnceLock;

use axum::Router;
use axum::body::Bytes;
use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use axum::routing::get;

use super::icon;
use super::refusal::Refusal;
use super::site::Shared;
use crate::domain::Hash;

const FILES: [(&str, &str, &str); 11] = [
    ("page.css", "text/css; charset=utf-8", include_str!("look/page.css")),
    ("app.js", "text/javascript; charset=utf-8", include_str!("look/app.js")),
    ("again.js", "text/javascript; charset=utf-8", include_str!("look/again.js")),
    ("roof.css", "text/css; charset=utf-8", include_str!("look/roof.css")),
    ("roof.js", "text/javascript; charset=utf-8", include_str!("look/roof.js")),
    ("headset.js", "text/javascript; charset=utf-8", include_str!("look/headset.js")),
    ("headset_blocks.js", "text/javascript; charset=utf-8", include_str!("look/headset_blocks.js")),
    ("photo.js", "text/javascript; charset=utf-8", include_str!("look/photo.js")),
    ("drop.js", "text/javascript; charset=utf-8", include_str!("look/drop.js")),
    ("day_live.js", "text/javascript; charset=utf-8", include_str!("look/day_live.js")),
    ("desk_find.js", "text/javascript; charset=utf-8", include_str!("look/desk_find.js")),
];

/// Pictures of the icon, as large as phones ask for.
const ICONS: [(&str, u32); 2] = [("icon-192.png", 192), ("icon-512.png", 512)];

/// One hash over all of them, and the drawing that the icons come from.
pub(super) fn version() -> &'static str {
    static VERSION: OnceLock<String> = OnceLock::new();
    VERSION.get_or_init(|| {
        let all: String = FILES.iter().map(|(name, _, text)| format!("{name}\n{text}\n")).collect();
        Hash::of(format!("{all}{}", icon::svg()).as_bytes()).to_string().chars().take(12).collect()
    })
}

/// Where a file is.
pub(super) fn path(name: &str) -> String {
    format!("/look/{}/{name}", version())
}

/// Where all of them are but the icons, which phones keep themselves.
pub(super) fn paths() -> impl Iterator<Item = String> {
    FILES.iter().map(|(name, ..)| path(name))
}

pub(super) fn router() -> Router<Shared> {
    Router::new().route("/look/{version}/{name}", get(file))
}

async fn file(Path((_, name)): Path<(String, String)>) -> Response {
    let Some((kind, body)) = found(&name) else {
        return Refusal::NotFound.into_response();
    };
    let kept = [
        (header::CONTENT_TYPE, kind),
        (header::CACHE_CONTROL, "public, max-age=31536000, immutable"),
    ];
    (kept, body).into_response()
}

fn found(name: &str) -> Option<(&'static str, Bytes)> {
    static PICTURES: [OnceLock<Option<Bytes>>; ICONS.len()] =
        [const { OnceLock::new() }; ICONS.len()];
    if let Some((_, kind, text)) = FILES.iter().find(|(known, ..)| *known == name) {
        return Some((kind, Bytes::from_static(text.as_bytes())));
    }
    if name == "icon.svg" {
        return Some(("image/svg+xml", icon::svg().into()));
    }
    let mut pictures = ICONS.iter().zip(&PICTURES);
    let ((_, size_px), picture) = pictures.find(|((known, _), _)| *known == name)?;
    let picture = picture.get_or_init(|| icon::png(*size_px).map(Bytes::from));
    Some(("image/png", picture.clone()?))
}
