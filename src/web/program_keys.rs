//! The keys with which programs act as a person: a part of the page of people, for
//! the office. A key is shown on the page that follows its making, and never again.

use axum::Router;
use axum::extract::State;
use axum::response::{Redirect, Response};
use axum::routing::post;
use maud::{Markup, html};
use serde::Deserialize;

use super::guard::{Sent, Visitor};
use super::people::{self, Done};
use super::refusal::Refusal;
use super::shell::{heads, token};
use super::site::Shared;
use super::{local, tame};
use crate::domain::Right;
use crate::office;
use crate::store::{Person, ProgramKey};

pub(super) fn router() -> Router<Shared> {
    Router::new().route("/people/key", post(make)).route("/people/key/end", post(end))
}

/// A key that was made now.
pub(super) struct Made {
    pub(super) name: String,
    pub(super) key: String,
}

/// All keys that hold, and the form that makes one.
pub(super) fn section(
    visitor: &Visitor,
    keys: &[ProgramKey],
    people: &[Person],
    made: Option<&Made>,
) -> Markup {
    let words = visitor.words;
    html! {
        h2 id="keys" { (words.t("people.keys")) }
        p { (words.t("people.keys-told")) }
        @if let Some(Made { name, key }) = made {
            p role="status" { strong { (words.fill("people.key-made", &[("name", name)])) } }
            p.code { (key) }
        }
        @if keys.is_empty() { p { (words.t("people.keys-none")) } }
        @else {
            table {
                (heads(words, &["people.key-called", "people.name", "people.key-since", "people.key-used", "people.end"]))
                tbody {
                    @for key in keys {
                        tr {
                            th scope="row" { (tame(&key.called)) }
                            td data-label=(words.t("people.name")) { (key.person.name) }
                            td data-label=(words.t("people.key-since")) { (local(key.since_ms)) }
                            td data-label=(words.t("people.key-used")) {
                                @match key.seen_ms {
                                    Some(seen_ms) => (local(seen_ms)),
                                    None => (words.t("people.key-never")),
                                }
                            }
                            td {
                                form method="post" action="/people/key/end" {
                                    (token(visitor))
                                    input type="hidden" name="id" value=(key.id);
                                    button aria-label=(words.fill("people.key-end-of", &[("called", &key.called), ("name", &key.person.name)])) {
                                        (words.t("people.end"))
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
        form method="post" action="/people/key#keys" {
            (token(visitor))
            label for="key-of" { (words.t("people.key-of")) }
            select id="key-of" name="name" {
                @for person in people.iter().filter(|person| !person.left) {
                    option value=(person.name) { (person.name) }
                }
            }
            label for="called" { (words.t("people.key-called")) }
            p.told id="called-told" { (words.t("people.key-called-told")) }
            input id="called" name="called" required maxlength="60" autocomplete="off"
                aria-describedby="called-told";
            button { (words.t("people.key-make")) }
        }
    }
}

#[derive(Deserialize)]
struct Wanted {
    name: String,
    called: String,
}

async fn make(
    State(site): State<Shared>,
    Sent(visitor, Wanted { name, called }): Sent<Wanted>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Office)?;
    let (by, of) = (visitor.name().to_owned(), name.clone());
    let made =
        site.log(move |store, site| office::make_key(store, &of, &called, &by, site.now())).await?;
    people::page(&site, visitor, Some(Done::KeyMade(Made { name, key: made }))).await
}

#[derive(Deserialize)]
struct Which {
    id: i64,
}

async fn end(
    State(site): State<Shared>,
    Sent(visitor, Which { id }): Sent<Which>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Office)?;
    let by = visitor.name().to_owned();
    site.log(move |store, site| office::end_key(store, id, &by, site.now())).await?;
    Ok(Redirect::to("/people#keys"))
}
