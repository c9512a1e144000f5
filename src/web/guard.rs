//! Who asks, and whether it comes from a page of ours: the cookie, the form's
//! token, the names the pages go by, the headers every answer has.

use std::net::{IpAddr, SocketAddr};

use axum::body::Bytes;
use axum::extract::{ConnectInfo, FromRequest, FromRequestParts, Request, State};
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, Uri, header};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Redirect, Response};
use serde::de::DeserializeOwned;
use subtle::ConstantTimeEq as _;

use super::api;
use super::log_words::LogWords;
use super::refusal::Refusal;
use super::shell;
use super::site::Shared;
use super::words::Words;
use crate::domain::{Hash, How, Language, Right};
use crate::store::{ProgramKey, Session};

/// Somebody who is signed in.
#[derive(Clone, Debug)]
pub(super) struct Visitor {
    pub(super) session: Session,
    /// Goes into every form.
    pub(super) token: String,
    pub(super) words: Words,
    /// Whether a program acts with a key of this person.
    pub(super) by_key: bool,
}

impl Visitor {
    /// As whom a program acts with a key; the key's name stands for the device.
    pub(super) fn by_key(key: ProgramKey) -> Self {
        let words = Words::of(key.person.language);
        let session = Session {
            // Of no row: nobody ends it but by ending the key.
            id: 0,
            person: key.person,
            device: key.called,
            paired: false,
            since_ms: key.since_ms,
            seen_ms: key.seen_ms.unwrap_or(key.since_ms),
        };
        Self { session, token: String::new(), words, by_key: true }
    }

    /// The log in the person's language and units.
    pub(super) fn log_words(&self) -> LogWords<'static> {
        LogWords { words: self.words, units: self.session.person.units, names: &[] }
    }

    /// How what the person does was conveyed.
    pub(super) fn how(&self) -> How {
        if self.by_key { How::Http } else { How::Touch }
    }

    /// Whether this is the token of that sign-in; a key has none.
    pub(super) fn has_token(&self, token: &str) -> bool {
        !self.token.is_empty() && bool::from(token.as_bytes().ct_eq(self.token.as_bytes()))
    }

    pub(super) fn name(&self) -> &str {
        &self.session.person.name
    }

    pub(super) fn may(&self, right: Right) -> bool {
        self.session.person.roles.may(right)
    }

    pub(super) fn must(&self, right: Right) -> Result<(), Refusal> {
        if self.may(right) { Ok(()) } else { Err(Refusal::NotYours(right)) }
    }
}

/// What the browser reads, before anybody is signed in.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reads(pub(super) Words);

/// The name of the cookie. The prefix keeps other ports and hosts from setting it.
pub(super) fn cookie_name(networked: bool) -> &'static str {
    if networked { "__Host-chalkhand" } else { "chalkhand" }
}

/// A form's token follows from the cookie that no other site can read.
fn form_token(secret: &str) -> String {
    Hash::of(format!("form/{secret}").as_bytes()).to_string().chars().take(32).collect()
}

pub(super) fn text<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}

fn cookie<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut pairs = cookies.flat_map(|line| line.split(';')).filter_map(|p| p.split_once('='));
    pairs.find(|(key, _)| key.trim() == name).map(|(_, value)| value.trim())
}

impl FromRequestParts<Shared> for Reads {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &Shared) -> Result<Self, Self::Rejection> {
        let asked = text(&parts.headers, &header::ACCEPT_LANGUAGE);
        Ok(Self(Words::of(Words::asked_for(asked))))
    }
}

impl FromRequestParts<Shared> for Visitor {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, site: &Shared) -> Result<Self, Refusal> {
        if let Some(visitor) = parts.extensions.get::<Self>() {
            return Ok(visitor.clone());
        }
        let name = cookie_name(site.served.networked);
        let secret = cookie(&parts.headers, name).ok_or(Refusal::SignIn)?.to_owned();
        let hash = Hash::of(secret.as_bytes());
        let session = site.log(move |store, site| store.session(hash, site.now())).await?;
        let session = session.ok_or(Refusal::SignIn)?;
        let words = Words::of(session.person.language);
        let visitor = Self { session, token: form_token(&secret), words, by_key: false };
        parts.extensions.insert(visitor.clone());
        Ok(visitor)
    }
}

/// A form of ours, sent by whoever is signed in.
#[derive(Clone, Debug)]
pub(super) struct Sent<T>(pub(super) Visitor, pub(super) T);

#[derive(serde::Deserialize)]
struct Token {
    #[serde(default)]
    token: String,
}

impl<T: DeserializeOwned> FromRequest<Shared> for Sent<T> {
    type Rejection = Refusal;

    async fn from_request(request: Request, site: &Shared) -> Result<Self, Refusal> {
        let (mut parts, body) = request.into_parts();
        let visitor = Visitor::from_request_parts(&mut parts, site).await?;
        let body = form_bytes(Request::from_parts(parts, body), site).await?;
        let sent: Token = serde_urlencoded::from_bytes(&body).map_err(|_| Refusal::Strange)?;
        if !visitor.has_token(&sent.token) {
            return Err(Refusal::Strange);
        }
        Ok(Self(visitor, read_form(&body)?))
    }
}

/// A form with nothing to fill in.
#[derive(Clone, Copy, Debug, serde::Deserialize)]
pub(super) struct Nothing {}

/// A form of ours, sent by somebody who is not signed in yet.
#[derive(Clone, Debug)]
pub(super) struct Open<T>(pub(super) T);

impl<T: DeserializeOwned> FromRequest<Shared> for Open<T> {
    type Rejection = Refusal;

    async fn from_request(request: Request, site: &Shared) -> Result<Self, Refusal> {
        let body = form_bytes(request, site).await?;
        read_form(&body).map(Self)
    }
}

async fn form_bytes(request: Request, site: &Shared) -> Result<Bytes, Refusal> {
    let kind = text(request.headers(), &header::CONTENT_TYPE).unwrap_or_default();
    if !kind.starts_with("application/x-www-form-urlencoded") {
        return Err(Refusal::English("a form is sent as a form".to_owned()));
    }
    let body = Bytes::from_request(request, site).await;
    body.map_err(|error| Refusal::English(error.body_text()))
}

fn read_form<T: DeserializeOwned>(body: &[u8]) -> Result<T, Refusal> {
    serde_urlencoded::from_bytes(body)
        .map_err(|error| Refusal::English(format!("the form cannot be read: {error}")))
}

/// Looks at every request before anything else does, and at every answer after.
pub(super) async fn guard(State(site): State<Shared>, request: Request, next: Next) -> Response {
    let method = request.method().clone();
    let uri = request.uri().clone();
    let reads = Words::asked_for(text(request.headers(), &header::ACCEPT_LANGUAGE));
    // Programs are told of a problem whatever else they take.
    let program = api::is_below(uri.path());
    let page = text(request.headers(), &header::ACCEPT).is_some_and(|a| a.contains("text/html"));
    let page = page && !program;
    let from = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|from| from.0.ip());
    let secret = cookie(request.headers(), cookie_name(site.served.networked));
    let mut secret = secret.map(|secret| Hash::of(secret.as_bytes()));
    let mut response = match admitted(&site, &request, from) {
        Ok(()) => next.run(request).await,
        Err(refusal) => {
            // Whoever that is, the log is not asked.
            secret = None;
            refusal.into_response()
        }
    };
    if page && let Some(refusal) = response.extensions().get::<Refusal>().cloned() {
        let wait = response.headers_mut().remove(header::RETRY_AFTER);
        let chosen = language(&site, secret).await;
        response = for_people(&refusal, &method, &uri, Words::of(chosen.unwrap_or(reads)));
        response.headers_mut().extend(wait.map(|wait| (header::RETRY_AFTER, wait)));
    }
    let signs_in = program && response.status() == StatusCode::UNAUTHORIZED;
    let headers = response.headers_mut();
    if signs_in {
        headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
    }
    for (name, value) in HEADERS {
        headers.entry(HeaderName::from_static(name)).or_insert(HeaderValue::from_static(value));
    }
    response
}

/// What every answer says, where the page does not say otherwise: nothing comes
/// from elsewhere, nothing is written into the page by others, nothing is kept.
const HEADERS: [(&str, &str); 7] = [
    (
        "content-security-policy",
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; \
         connect-src 'self'; manifest-src 'self'; worker-src 'self'; media-src 'self' blob:; \
         form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    ),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    (
        "permissions-policy",
        "microphone=(self), camera=(self), screen-wake-lock=(self), geolocation=()",
    ),
    ("cache-control", "no-store"),
];

fn admitted(site: &Shared, request: &Request, from: Option<IpAddr>) -> Result<(), Refusal> {
    let host = request.uri().authority().map(|authority| authority.as_str().to_owned());
    let host = host.or_else(|| text(request.headers(), &header::HOST).map(str::to_owned));
    let host = host.unwrap_or_default();
    // Another name that leads here belongs to somebody else's page.
    let name = host.rsplit_once(':').filter(|(_, port)| !port.contains(']'));
    let name = name.map_or(host.as_str(), |(name, _)| name);
    let name = name.trim_start_matches('[').trim_end_matches(']').to_ascii_lowercase();
    if !site.served.names.contains(&name) {
        return Err(Refusal::Strange);
    }
    let changes = !matches!(*request.method(), Method::GET | Method::HEAD);
    let socket = request.headers().contains_key(header::UPGRADE);
    if changes || socket {
        let scheme = if site.served.networked { "https" } else { "http" };
        match text(request.headers(), &header::ORIGIN) {
            Some(origin) if origin == format!("{scheme}://{host}") => {}
            // A program that is no browser names no origin; it has no cookie
            // by accident either.
            None if !socket => {}
            _ => return Err(Refusal::Strange),
        }
    }
    let now_ms = site.now().ms();
    match from {
        Some(from) if !site.attempts(|attempts| attempts.page(from, now_ms)) => {
            Err(Refusal::Wait(1))
        }
        _ => Ok(()),
    }
}

/// The language that whoever is signed in chose.
async fn language(site: &Shared, secret: Option<Hash>) -> Option<Language> {
    let hash = secret?;
    let session = site.log(move |store, site| store.session(hash, site.now())).await;
    session.ok().flatten().map(|session| session.person.language)
}

/// The same refusal as a page; who is not signed in is asked to, and comes back.
fn for_people(refusal: &Refusal, method: &Method, uri: &Uri, words: Words) -> Response {
    if *refusal == Refusal::SignIn {
        let to = uri.path_and_query().map_or("/", |to| to.as_str());
        let to = if *method == Method::GET { to } else { "/" };
        let query = serde_urlencoded::to_string([("to", to)]).unwrap_or_default();
        return Redirect::to(&format!("/sign-in?{query}")).into_response();
    }
    let mut page = shell::refused(refusal, words);
    *page.status_mut() = refusal.status();
    page
}

/// From which address somebody tries, as it is counted.
#[derive(Clone, Debug)]
pub(super) struct Caller(pub(super) String);

impl FromRequestParts<Shared> for Caller {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, _: &Shared) -> Result<Self, Self::Rejection> {
        let from = parts.extensions.get::<ConnectInfo<SocketAddr>>();
        let from = from.map_or_else(|| "elsewhere".to_owned(), |from| from.0.ip().to_string());
        Ok(Self(format!("address {from}")))
    }
}
