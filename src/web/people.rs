//! Who may sign in: the office invites, and ends.

use axum::Router;
use axum::extract::State;
use axum::response::{Redirect, Response};
use axum::routing::{get, post};
use maud::html;
use serde::Deserialize;

use super::guard::{Sent, Visitor};
use super::program_keys::{self, Made};
use super::refusal::Refusal;
use super::shell::{self, Part, heads, token};
use super::site::Shared;
use super::{role, role_words, scan_picture};
use crate::domain::{Right, Role, Roles};
use crate::office;

pub(super) fn router() -> Router<Shared> {
    Router::new()
        .route("/people", get(people))
        .route("/people/invite", post(invite))
        .route("/people/leave", post(leave))
}

async fn people(State(site): State<Shared>, visitor: Visitor) -> Result<Response, Refusal> {
    page(&site, visitor, None).await
}

/// What was done before the page is shown again.
pub(super) enum Done {
    /// Somebody was invited, in these roles by this code.
    Invited(Roles, String),
    /// A key was made.
    KeyMade(Made),
}

/// The page, with what is shown this once.
pub(super) async fn page(
    site: &Shared,
    visitor: Visitor,
    done: Option<Done>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Office)?;
    let read = site.log(|store, site| {
        let sessions = store.sessions(None, site.now())?;
        Ok::<_, Refusal>((store.people()?, sessions, store.keys()?))
    });
    let (people, sessions, keys) = read.await?;
    let made = if let Some(Done::KeyMade(made)) = &done { Some(made) } else { None };
    let words = visitor.words;
    let title = words.t("people.people");
    let address = site.served.address();
    let body = html! {
        h1 { (title) }
        table {
            (heads(words, &["people.name", "people.roles", "people.signed-in", "people.end"]))
            tbody {
                @for person in &people {
                    tr {
                        th scope="row" { (person.name) }
                        td data-label=(words.t("people.roles")) {
                            (role_words(words, &person.roles))
                            @if person.left { ", " (words.t("people.left")) }
                        }
                        td data-label=(words.t("people.signed-in")) {
                            @let devices: Vec<&str> = sessions.iter()
                                .filter(|session| session.person.id == person.id)
                                .map(|session| session.device.as_str()).collect();
                            @if devices.is_empty() { (words.t("people.nowhere")) }
                            @else { (devices.join(", ")) }
                        }
                        td {
                            @if !person.left && person.id != visitor.session.person.id {
                                form method="post" action="/people/leave" {
                                    (token(&visitor))
                                    input type="hidden" name="name" value=(person.name);
                                    button aria-label=(words.fill("people.leave-of", &[("name", &person.name)])) {
                                        (words.t("people.leave"))
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
        h2 id="invite" { (words.t("people.invite")) }
        @if let Some(Done::Invited(roles, code)) = &done {
            @let link = format!("{address}/join?code={code}");
            p { (words.fill("people.join-told", &[("roles", &role_words(words, roles))])) }
            p.code { (words.fill("people.code-is", &[("code", code)])) }
            p { (words.fill("people.code-at", &[("address", &format!("{address}/join"))])) }
            (scan_picture(&link, words.t("people.code-picture")))
        }
        p { (words.t("people.invite-told")) }
        form method="post" action="/people/invite#invite" {
            (token(&visitor))
            fieldset {
                legend { (words.t("people.roles")) }
                @for one in Role::ALL {
                    label.choice {
                        input type="checkbox" name=(one.word()) value="yes";
                        span { (role(words, one)) }
                    }
                }
            }
            button { (words.t("people.invite-do")) }
        }
        (program_keys::section(&visitor, &keys, &people, made))
    };
    Ok(shell::page(&visitor, Part::People, title, &body))
}

#[derive(Deserialize)]
struct Chosen {
    installer: Option<String>,
    foreman: Option<String>,
    desk: Option<String>,
    office: Option<String>,
}

async fn invite(
    State(site): State<Shared>,
    Sent(visitor, chosen): Sent<Chosen>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Office)?;
    let Chosen { installer, foreman, desk, office } = chosen;
    let chosen = [installer, foreman, desk, office];
    let roles = Role::ALL.into_iter().zip(chosen).filter(|(_, chosen)| chosen.is_some());
    let roles = Roles::new(roles.map(|(role, _)| role));
    let roles = roles.ok_or(Refusal::Unusable(visitor.words.t("people.no-role").to_owned()))?;
    let wanted = roles.clone();
    let code = site.log(move |store, site| office::invite(store, wanted, site.now())).await?;
    page(&site, visitor, Some(Done::Invited(roles, code))).await
}

#[derive(Deserialize)]
struct Who {
    name: String,
}

async fn leave(
    State(site): State<Shared>,
    Sent(visitor, Who { name }): Sent<Who>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Office)?;
    if name == visitor.name() {
        return Err(Refusal::Unusable(visitor.words.t("people.not-yourself").to_owned()));
    }
    let by = visitor.name().to_owned();
    let left = site.log(move |store, site| match store.person(&name)? {
        Some(person) => Ok(office::leave(store, &person, &by, site.now())?),
        None => Err(Refusal::NotFound),
    });
    left.await?;
    Ok(Redirect::to("/people"))
}
