//! Signing in and out, making a sign-in by a code, signing a phone in, and
//! whether a phone trusts this machine.

use axum::Router;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse as _, Redirect, Response};
use axum::routing::{get, post};
use base64::prelude::{BASE64_STANDARD, Engine as _};
use maud::{Markup, html};
use serde::Deserialize;

use super::guard::{Caller, Nothing, Open, Reads, Sent, Visitor, cookie_name};
use super::refusal::Refusal;
use super::shell::{self, Part, heads, open_page, token};
use super::site::{Shared, Site};
use super::words::Words;
use super::{local, role_words, scan_picture};
use crate::domain::{Hash, Language, Roles, Units};
use crate::office::{self, Asked, Joined, NewSession, PeopleError};

pub(super) fn router() -> Router<Shared> {
    Router::new()
        .route("/sign-in", get(sign_in_page).post(sign_in))
        .route("/join", get(join_page).post(join))
        .route("/pair", post(pair_device))
        .route("/you", get(you).post(prefer))
        .route("/you/phone", post(phone))
        .route("/you/end", post(end))
        .route("/sign-out", post(sign_out))
        .route("/trust", get(trust))
        .route("/trust/chalkhand.crt", get(certificate))
}

#[derive(Deserialize)]
struct To {
    #[serde(default)]
    to: String,
}

/// Where to go after signing in: a page of ours, or the start.
fn to_page(to: &str) -> &str {
    let ours = to.starts_with('/') && !to.starts_with("//") && !to.contains(['\\', '\r', '\n']);
    if ours { to } else { "/" }
}

async fn sign_in_page(Reads(words): Reads, Query(To { to }): Query<To>) -> Response {
    sign_in_form(words, &to, "", None)
}

fn sign_in_form(words: Words, to: &str, name: &str, wrong: Option<&str>) -> Response {
    let body = html! {
        h1 { (words.t("people.sign-in")) }
        @if let Some(wrong) = wrong { p.wrong role="alert" { (wrong) } }
        form method="post" action="/sign-in" {
            input type="hidden" name="to" value=(to_page(to));
            (field(words.t("people.name"), "name", name, words.t("people.name-told"), "username"))
            (secret(words, "current-password"))
            (device(words))
            button { (words.t("people.sign-in")) }
        }
        p { (words.t("people.no-account")) " " a href="/join" { (words.t("people.code-use")) } }
    };
    open_page(words, words.t("people.sign-in"), &body)
}

fn field(label: &str, name: &str, value: &str, told: &str, autocomplete: &str) -> Markup {
    let told_id = format!("{name}-told");
    html! {
        label for=(name) { (label) }
        p.told id=(told_id) { (told) }
        input id=(name) name=(name) value=(value) required maxlength="80"
            autocomplete=(autocomplete) aria-describedby=(told_id);
    }
}

fn secret(words: Words, autocomplete: &str) -> Markup {
    html! {
        label for="passphrase" { (words.t("people.passphrase")) }
        p.told id="passphrase-told" { (words.t("people.passphrase-told")) }
        input id="passphrase" name="passphrase" type="password" required minlength="6"
            maxlength="200" autocomplete=(autocomplete) aria-describedby="passphrase-told";
    }
}

fn device(words: Words) -> Markup {
    let (name, told) = (words.t("people.device"), words.t("people.device-told"));
    html! {
        label for="device" { (name) }
        p.told id="device-told" { (told) }
        input id="device" name="device" maxlength="60" autocomplete="off"
            aria-describedby="device-told";
    }
}

fn reading(words: Words, units: Units, language: Language) -> Markup {
    html! {
        label for="units" { (words.t("people.units")) }
        select id="units" name="units" {
            option value="us" selected[units == Units::Us] { (words.t("people.us")) }
            option value="metric" selected[units == Units::Metric] { (words.t("people.metric")) }
        }
        label for="language" { (words.t("people.language")) }
        select id="language" name="language" {
            @for (one, name) in Language::ALL.into_iter().zip(["English", "español"]) {
                option value=(one.code()) lang=(one.code()) selected[one == language] { (name) }
            }
        }
    }
}

#[derive(Deserialize)]
struct SignIn {
    name: String,
    passphrase: String,
    #[serde(default)]
    device: String,
    #[serde(default)]
    to: String,
}

async fn sign_in(
    State(site): State<Shared>,
    Reads(words): Reads,
    Caller(from): Caller,
    Open(form): Open<SignIn>,
) -> Result<Response, Refusal> {
    let who = [format!("name {}", form.name.trim()), from.clone()];
    let (to, name) = (form.to.clone(), form.name.clone());
    let begun = tried(&site, &who, move |store, site| {
        office::sign_in(store, &form.name, &form.passphrase, &form.device, site.now())
    });
    match begun.await? {
        Some(session) => Ok(signed_in(&site, &session, to_page(&to))),
        None => {
            let mut page = sign_in_form(words, &to, &name, Some(words.t("people.no-match")));
            *page.status_mut() = StatusCode::UNAUTHORIZED;
            Ok(page)
        }
    }
}

/// Tries a secret; who tried wrong ones too often waits.
async fn tried<T: Send + 'static>(
    site: &Shared,
    who: &[String],
    body: impl FnOnce(&mut crate::store::Store, &Site) -> Result<Option<T>, PeopleError>
    + Send
    + 'static,
) -> Result<Option<T>, Refusal> {
    let who: Vec<&str> = who.iter().map(String::as_str).collect();
    let now_ms = site.now().ms();
    let wait_ms = site.attempts(|attempts| attempts.wait_ms(&who, now_ms));
    if 0 < wait_ms {
        return Err(Refusal::Wait(wait_ms.saturating_add(999) / 1_000));
    }
    // Counted before the answer is known: many at once are many tries.
    site.attempts(|attempts| attempts.was_wrong(&who, now_ms));
    let done = site.log(body).await?;
    if done.is_some() {
        site.attempts(|attempts| attempts.was_right(&who));
    }
    Ok(done)
}

fn signed_in(site: &Shared, session: &NewSession, to: &str) -> Response {
    let networked = site.served.networked;
    let secure = if networked { "; Secure" } else { "" };
    let cookie = format!(
        "{}={}; Path=/; Max-Age={}; HttpOnly; SameSite=Strict{secure}",
        cookie_name(networked),
        session.token,
        session.lasts_s
    );
    ([(header::SET_COOKIE, cookie)], Redirect::to(to)).into_response()
}

#[derive(Deserialize)]
struct Code {
    #[serde(default)]
    code: String,
}

/// What a code is for. No code is as good as another, so wrong ones are counted.
async fn asked(site: &Shared, from: &str, code: String) -> Result<Option<Asked>, Refusal> {
    tried(site, &[from.to_owned()], move |store, site| {
        match office::asked(store, &code, site.now()) {
            Ok(asked) => Ok(Some(asked)),
            Err(PeopleError::NoCode) => Ok(None),
            Err(error) => Err(error),
        }
    })
    .await
}

async fn join_page(
    State(site): State<Shared>,
    Reads(words): Reads,
    Caller(from): Caller,
    Query(Code { code }): Query<Code>,
) -> Result<Response, Refusal> {
    if code.trim().is_empty() {
        return Ok(code_form(words, "", None));
    }
    Ok(match asked(&site, &from, code.clone()).await? {
        None => code_form(words, &code, Some(&words.not_joined(&PeopleError::NoCode))),
        Some(Asked::Pair(name)) => pair_form(words, &code, &name),
        Some(Asked::Join(roles)) => {
            let first = site.log(|store, _| office::any_person(store)).await?;
            join_form(words, &Join { code, ..Join::new(words) }, &roles, !first, None)
        }
    })
}

fn code_form(words: Words, code: &str, wrong: Option<&str>) -> Response {
    let body = html! {
        h1 { (words.t("people.join")) }
        @if let Some(wrong) = wrong { p.wrong role="alert" { (wrong) } }
        form method="get" action="/join" {
            (field(words.t("people.code"), "code", code, words.t("people.code-told"), "one-time-code"))
            button { (words.t("people.code-use")) }
        }
    };
    open_page(words, words.t("people.join"), &body)
}

fn pair_form(words: Words, code: &str, name: &str) -> Response {
    let title = words.t("people.pair-title");
    let body = html! {
        h1 { (title) }
        p { (words.fill("people.pair-told", &[("name", name)])) }
        form method="post" action="/pair" {
            input type="hidden" name="code" value=(code);
            (device(words))
            button { (words.fill("people.pair-do", &[("name", name)])) }
        }
    };
    open_page(words, title, &body)
}

#[derive(Deserialize)]
struct Join {
    code: String,
    name: String,
    passphrase: String,
    units: String,
    language: String,
    #[serde(default)]
    device: String,
}

impl Join {
    fn new(words: Words) -> Self {
        let (code, name, passphrase, device) = Default::default();
        let (units, language) = ("us".to_owned(), words.language.code().to_owned());
        Self { code, name, passphrase, units, language, device }
    }
}

fn units_of(text: &str) -> Units {
    if text == "metric" { Units::Metric } else { Units::Us }
}

fn join_form(
    words: Words,
    form: &Join,
    roles: &Roles,
    first: bool,
    wrong: Option<&str>,
) -> Response {
    let title = if first { words.t("people.first") } else { words.t("people.join") };
    let language = Language::of(&form.language).unwrap_or_default();
    let body = html! {
        h1 { (title) }
        @if first { p { (words.t("people.first-told")) } }
        @else { p { (words.fill("people.join-told", &[("roles", &role_words(words, roles))])) } }
        @if let Some(wrong) = wrong { p.wrong role="alert" { (wrong) } }
        form method="post" action="/join" {
            input type="hidden" name="code" value=(form.code);
            (field(words.t("people.name"), "name", &form.name, words.t("people.name-told"), "username"))
            (secret(words, "new-password"))
            (reading(words, units_of(&form.units), language))
            (device(words))
            button { (words.t("people.make")) }
        }
    };
    open_page(words, title, &body)
}

async fn join(
    State(site): State<Shared>,
    Reads(words): Reads,
    Caller(from): Caller,
    Open(form): Open<Join>,
) -> Result<Response, Refusal> {
    let Some(Asked::Join(roles)) = asked(&site, &from, form.code.clone()).await? else {
        return Ok(code_form(words, &form.code, Some(&words.not_joined(&PeopleError::NoCode))));
    };
    let done = site.log(move |store, site| {
        let joined = Joined {
            name: &form.name,
            passphrase: &form.passphrase,
            units: units_of(&form.units),
            language: Language::of(&form.language).unwrap_or_default(),
            device: &form.device,
        };
        match office::join(store, &form.code, &joined, site.now()) {
            Ok(session) => Ok(Ok(session)),
            Err(error @ (PeopleError::Store(_) | PeopleError::NoSecret(_))) => Err(error),
            Err(error) => Ok(Err((form, words.not_joined(&error), !office::any_person(store)?))),
        }
    });
    Ok(match done.await? {
        Ok(session) => signed_in(&site, &session, "/"),
        Err((form, wrong, first)) => {
            let mut page = join_form(words, &form, &roles, first, Some(&wrong));
            *page.status_mut() = StatusCode::UNPROCESSABLE_ENTITY;
            page
        }
    })
}

#[derive(Deserialize)]
struct Pair {
    code: String,
    #[serde(default)]
    device: String,
}

async fn pair_device(
    State(site): State<Shared>,
    Reads(words): Reads,
    Caller(from): Caller,
    Open(form): Open<Pair>,
) -> Result<Response, Refusal> {
    let code = form.code.clone();
    let who = [from];
    let begun = tried(&site, &who, move |store, site| {
        match office::sign_in_device(store, &form.code, &form.device, site.now()) {
            Ok(session) => Ok(Some(session)),
            Err(PeopleError::NoCode) => Ok(None),
            Err(error) => Err(error),
        }
    });
    Ok(match begun.await? {
        Some(session) => signed_in(&site, &session, "/"),
        None => code_form(words, &code, Some(&words.not_joined(&PeopleError::NoCode))),
    })
}

async fn you(State(site): State<Shared>, visitor: Visitor) -> Result<Response, Refusal> {
    your_page(&site, visitor, None).await
}

async fn your_page(
    site: &Shared,
    visitor: Visitor,
    code: Option<String>,
) -> Result<Response, Refusal> {
    let words = visitor.words;
    let person = visitor.session.person.clone();
    let sessions = site.log(move |store, site| store.sessions(Some(person.id), site.now())).await?;
    let person = &visitor.session.person;
    let title = words.fill("people.you", &[("name", &person.name)]);
    let address = site.served.address();
    let body = html! {
        h1 { (title) }
        p { (words.fill("people.roles-are", &[("roles", &role_words(words, &person.roles))])) }
        form method="post" action="/sign-out" {
            (token(&visitor))
            button { (words.t("people.sign-out")) }
        }
        h2 id="phone" { (words.t("people.pair")) }
        p { (words.t("people.pair-how")) }
        @if site.served.networked {
            p { (words.fill("people.trust", &[("address", &format!("{address}/trust"))])) }
        } @else {
            p { (words.t("people.pair-network")) }
        }
        @match code {
            Some(code) => {
                @let link = format!("{address}/join?code={code}");
                p.code { (words.fill("people.code-is", &[("code", &code)])) }
                p { (words.fill("people.code-at", &[("address", &format!("{address}/join"))])) }
                (scan_picture(&link, words.t("people.code-picture")))
            }
            None => form method="post" action="/you/phone#phone" {
                (token(&visitor))
                button { (words.t("people.pair-make")) }
            }
        }
        h2 { (words.t("people.reading")) }
        form method="post" action="/you" {
            (token(&visitor))
            (reading(words, person.units, person.language))
            button { (words.t("people.keep")) }
        }
        h2 { (words.t("people.devices")) }
        table {
            (heads(words, &["people.device", "people.since", "people.seen", "people.end"]))
            tbody {
                @for session in &sessions {
                    tr {
                        th scope="row" {
                            (session.device)
                            @if session.id == visitor.session.id { ", " (words.t("people.this-one")) }
                        }
                        td data-label=(words.t("people.since")) {
                            (local(session.since_ms)) ", "
                            @if session.paired { (words.t("people.paired")) }
                            @else { (words.t("people.by-passphrase")) }
                        }
                        td data-label=(words.t("people.seen")) { (local(session.seen_ms)) }
                        td {
                            form method="post" action="/you/end" {
                                (token(&visitor))
                                input type="hidden" name="id" value=(session.id);
                                button aria-label=(words.fill("people.end-of", &[("device", &session.device)])) {
                                    (words.t("people.end"))
                                }
                            }
                        }
                    }
                }
            }
        }
    };
    Ok(shell::page(&visitor, Part::Account, &title, &body))
}

async fn phone(
    State(site): State<Shared>,
    Sent(visitor, Nothing {}): Sent<Nothing>,
) -> Result<Response, Refusal> {
    let person = visitor.session.person.clone();
    let code = site.log(move |store, site| office::pair(store, &person, site.now())).await?;
    your_page(&site, visitor, Some(code)).await
}

#[derive(Deserialize)]
struct Prefer {
    units: String,
    language: String,
}

async fn prefer(
    State(site): State<Shared>,
    Sent(visitor, form): Sent<Prefer>,
) -> Result<Redirect, Refusal> {
    let id = visitor.session.person.id;
    let language = Language::of(&form.language).unwrap_or_default();
    site.log(move |store, _| store.prefer(id, units_of(&form.units), language)).await?;
    Ok(Redirect::to("/you"))
}

#[derive(Deserialize)]
struct Which {
    id: i64,
}

/// One's own sign-in, here or elsewhere.
async fn end(
    State(site): State<Shared>,
    Sent(visitor, Which { id }): Sent<Which>,
) -> Result<Redirect, Refusal> {
    let person = visitor.session.person.clone();
    site.log(move |store, site| {
        let own = store.sessions(Some(person.id), site.now())?;
        match own.into_iter().find(|session| session.id == id) {
            Some(session) => office::end(store, &session, &person.name, site.now()),
            None => Ok(false),
        }
    })
    .await?;
    Ok(Redirect::to("/you"))
}

async fn sign_out(
    State(site): State<Shared>,
    Sent(visitor, Nothing {}): Sent<Nothing>,
) -> Result<Response, Refusal> {
    let session = visitor.session.clone();
    site.log(move |store, site| office::end(store, &session, &session.person.name, site.now()))
        .await?;
    let name = cookie_name(site.served.networked);
    let secure = if site.served.networked { "; Secure" } else { "" };
    let gone = format!("{name}=; Path=/; Max-Age=0; HttpOnly; SameSite=Strict{secure}");
    // What the browser kept of the pages goes with it.
    let cleared = [(header::SET_COOKIE, gone)];
    Ok((cleared, Redirect::to("/sign-in")).into_response())
}

/// SHA-256 of a certificate, as phones show it.
#[must_use]
pub fn fingerprint(pem: &str) -> Option<String> {
    let body: String = pem.lines().filter(|line| !line.starts_with("-----")).collect();
    let der = BASE64_STANDARD.decode(body).ok()?;
    let digits = Hash::of(&der).to_string().to_uppercase();
    let pairs: Vec<&str> =
        (0..digits.len() / 2).filter_map(|n| digits.get(2 * n..2 * n + 2)).collect();
    Some(pairs.join(":"))
}

async fn trust(State(site): State<Shared>, Reads(words): Reads) -> Response {
    let title = words.t("people.trust-title");
    let fingerprint = site.served.authority_pem.as_deref().and_then(fingerprint);
    let body = html! {
        h1 { (title) }
        @if let Some(fingerprint) = fingerprint {
            p { (words.t("people.trust-told")) }
            p { a href="/trust/chalkhand.crt" { (words.t("people.trust-get")) } }
            p { (words.t("people.trust-check")) }
            p.hash { (fingerprint) }
            ul {
                li { (words.t("people.trust-android")) }
                li { (words.t("people.trust-ios")) }
                li { (words.t("people.trust-other")) }
            }
        } @else {
            p { (words.t("people.trust-none")) }
        }
    };
    open_page(words, title, &body)
}

async fn certificate(State(site): State<Shared>) -> Result<Response, Refusal> {
    let pem = site.served.authority_pem.clone().ok_or(Refusal::NotFound)?;
    Ok(([(header::CONTENT_TYPE, "application/x-x509-ca-cert")], pem).into_response())
}
