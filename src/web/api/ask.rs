//! What a request says: who asks, by a key or by a page's sign-in; its path, query
//! and body; which state of the job it was made from. Each refusal is a problem.

use axum::body::Bytes;
use axum::extract::{FromRequest, FromRequestParts, Path, Query, Request};
use axum::http::request::Parts;
use axum::http::{HeaderName, StatusCode, header};
use serde::de::{DeserializeOwned, IgnoredAny};
use utoipa::IntoParams;

use super::super::guard::{Visitor, text};
use super::super::refusal::Refusal;
use super::super::site::Shared;
use crate::office;

/// The header with the token of a page's sign-in, where something is changed.
pub(super) const TOKEN: &str = "X-Form-Token";
const ONCE: HeaderName = HeaderName::from_static("idempotency-key");

/// Who asks for something.
pub(super) struct Reads(pub(super) Visitor);

impl FromRequestParts<Shared> for Reads {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, site: &Shared) -> Result<Self, Refusal> {
        let Some(sent) = parts.headers.get(header::AUTHORIZATION) else {
            return Visitor::from_request_parts(parts, site).await.map(Self);
        };
        let bearer = sent.to_str().ok().and_then(|sent| sent.split_once(' '));
        let bearer = bearer.filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer"));
        let key = bearer.ok_or(Refusal::SignIn)?.1.trim().to_owned();
        let holder = site.log(move |store, site| office::key_holder(store, &key, site.now()));
        let holder = holder.await?.ok_or(Refusal::SignIn)?;
        Ok(Self(Visitor::by_key(holder)))
    }
}

/// Who changes something. A key is enough; a browser that is signed in, which
/// another site could make send something, has to name the token of that sign-in.
pub(super) struct Writes(pub(super) Visitor);

impl FromRequestParts<Shared> for Writes {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, site: &Shared) -> Result<Self, Refusal> {
        let Reads(visitor) = Reads::from_request_parts(parts, site).await?;
        let token = parts.headers.get(TOKEN).and_then(|token| token.to_str().ok());
        if !visitor.by_key && !visitor.has_token(token.unwrap_or_default()) {
            let why = "name the token of this sign-in in the header X-Form-Token, or use a key";
            return Err(Refusal::request(StatusCode::FORBIDDEN, "not-from-our-page", why));
        }
        Ok(Self(visitor))
    }
}

/// The parts of a path; one that cannot be is nothing that is there.
pub(super) struct At<T>(pub(super) T);

impl<T: DeserializeOwned + Send> FromRequestParts<Shared> for At<T> {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, site: &Shared) -> Result<Self, Refusal> {
        let read = Path::<T>::from_request_parts(parts, site).await;
        read.map(|Path(read)| Self(read)).map_err(|_| Refusal::NotFound)
    }
}

/// A query.
pub(super) struct Asked<T>(pub(super) T);

impl<T: DeserializeOwned> FromRequestParts<Shared> for Asked<T> {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, site: &Shared) -> Result<Self, Refusal> {
        let read = Query::<T>::from_request_parts(parts, site).await;
        read.map(|Query(read)| Self(read)).map_err(|error| bad(error.body_text()))
    }
}

/// A body of JSON.
pub(super) struct Body<T>(pub(super) T);

impl<T: DeserializeOwned> FromRequest<Shared> for Body<T> {
    type Rejection = Refusal;

    async fn from_request(request: Request, site: &Shared) -> Result<Self, Refusal> {
        let kind = text(request.headers(), &header::CONTENT_TYPE).unwrap_or_default();
        let kind = kind.split(';').next().unwrap_or_default().trim();
        if !kind.eq_ignore_ascii_case("application/json") {
            let why = "send JSON, and say so: Content-Type: application/json";
            let status = StatusCode::UNSUPPORTED_MEDIA_TYPE;
            return Err(Refusal::request(status, "no-json", why));
        }
        let bytes =
            Bytes::from_request(request, site).await.map_err(|error| match error.status() {
                StatusCode::PAYLOAD_TOO_LARGE => Refusal::request(
                    StatusCode::PAYLOAD_TOO_LARGE,
                    "too-large",
                    "it has more bytes than are read",
                ),
                _ => bad(error.body_text()),
            })?;
        serde_json::from_slice(&bytes).map(Self).map_err(|error| {
            // JSON of another shape, or none at all.
            match serde_json::from_slice::<IgnoredAny>(&bytes) {
                Ok(_) => Refusal::Unusable(error.to_string()),
                Err(error) => bad(format!("this is no JSON: {error}")),
            }
        })
    }
}

/// What a request says that changes a job.
#[derive(Clone, Debug, IntoParams)]
#[into_params(parameter_in = Header)]
pub(super) struct Once {
    /// A name of this request of your own making, such as a UUID. Sent again with the
    /// same name, after an answer was lost, it is done once and answered alike; another
    /// request under it is refused.
    #[param(
        rename = "Idempotency-Key",
        pattern = "^[A-Za-z0-9_-]{16,64}$",
        example = "6f1c0d2e-5b7a-4c38-9d10-2f4e6a8b0c12"
    )]
    pub(super) once: String,
}

/// From which state of the job a request that changes it was made.
#[derive(Clone, Debug, IntoParams)]
#[into_params(parameter_in = Header)]
pub(super) struct Known {
    /// The `ETag` of the job as it was read: others who wrote since are not passed over.
    #[param(
        rename = "If-Match", value_type = String, pattern = "^\"[0-9]{1,15}\"$",
        example = "\"17\""
    )]
    pub(super) seq: u64,
}

/// Whether it can be the name of a request or an answer.
pub(super) fn is_id(text: &str) -> bool {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b == b'-' || b == b'_';
    (1..=64).contains(&text.len()) && text.bytes().all(plain)
}

fn bad(why: impl Into<String>) -> Refusal {
    Refusal::request(StatusCode::BAD_REQUEST, "not-understood", why)
}

impl FromRequestParts<Shared> for Once {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, _: &Shared) -> Result<Self, Refusal> {
        let once = text(&parts.headers, &ONCE).unwrap_or_default();
        if once.len() < 16 || !is_id(once) {
            return Err(bad("name this request in the header Idempotency-Key: 16 to 64 letters, \
                            digits, - and _, such as a UUID"));
        }
        Ok(Self { once: once.to_owned() })
    }
}

impl FromRequestParts<Shared> for Known {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, _: &Shared) -> Result<Self, Refusal> {
        let Some(sent) = parts.headers.get(header::IF_MATCH) else {
            let why = "say from which state of the job this was made: If-Match with the ETag that \
                       reading the job gave";
            let status = StatusCode::PRECONDITION_REQUIRED;
            return Err(Refusal::request(status, "no-precondition", why));
        };
        let inner = sent.to_str().ok().and_then(|sent| sent.strip_prefix('"')?.strip_suffix('"'));
        let digits = |text: &&str| text.len() <= 15 && text.bytes().all(|b| b.is_ascii_digit());
        let seq = inner.filter(digits).and_then(|seq| seq.parse().ok());
        seq.map(|seq| Self { seq })
            .ok_or_else(|| bad("If-Match has one ETag of the job, such as \"17\""))
    }
}
