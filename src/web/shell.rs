//! What all pages have around them: the head, the way to the other pages, the
//! cautions at the foot.

use axum::response::{IntoResponse as _, Response};
use maud::{DOCTYPE, Markup, html};

use super::foreign;
use super::guard::Visitor;
use super::refusal::Refusal;
use super::words::Words;
use crate::domain::Right;

/// The parts of the site a person is in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    Jobs,
    Day,
    Dates,
    Desk,
    Library,
    People,
    Account,
}

/// A whole page.
pub(super) fn page(visitor: &Visitor, part: Part, title: &str, body: &Markup) -> Response {
    frame(visitor.words, title, Some((visitor, part)), body, &[])
}

/// A page with style sheets and scripts of its own.
pub(super) fn page_with(
    visitor: &Visitor,
    part: Part,
    title: &str,
    body: &Markup,
    look: &[&str],
) -> Response {
    frame(visitor.words, title, Some((visitor, part)), body, look)
}

/// A page for somebody who is not signed in.
pub(super) fn open_page(words: Words, title: &str, body: &Markup) -> Response {
    open_page_with(words, title, body, &[])
}

/// The same with style sheets and scripts of its own.
pub(super) fn open_page_with(words: Words, title: &str, body: &Markup, look: &[&str]) -> Response {
    frame(words, title, None, body, look)
}

fn frame(
    words: Words,
    title: &str,
    visitor: Option<(&Visitor, Part)>,
    body: &Markup,
    look: &[&str],
) -> Response {
    let page = html! {
        (DOCTYPE)
        html lang=(words.language.code()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " · chalkhand" }
                link rel="stylesheet" href=(super::look::path("page.css"));
                link rel="icon" href=(super::look::path("icon.svg")) type="image/svg+xml";
                link rel="apple-touch-icon" href=(super::look::path("icon-192.png"));
                link rel="manifest" href="/app.webmanifest";
                meta name="theme-color" content="#ffffff" media="(prefers-color-scheme: light)";
                meta name="theme-color" content="#16181a" media="(prefers-color-scheme: dark)";
                script src=(super::look::path("app.js")) defer {}
                @for name in look {
                    @if name.ends_with(".js") { script src=(super::look::path(name)) defer {} }
                    @else { link rel="stylesheet" href=(super::look::path(name)); }
                }
            }
            body {
                a.skip href="#main" { (words.t("shell.skip")) }
                @if let Some((visitor, part)) = visitor { (way(visitor, part)) }
                main id="main" { (body) }
                footer { p { (words.t("shell.cautions")) } }
            }
        }
    };
    page.into_response()
}

fn way(visitor: &Visitor, part: Part) -> Markup {
    let words = visitor.words;
    let ways = [
        (Part::Jobs, "/", words.t("shell.jobs"), Right::Read),
        (Part::Day, "/day", words.t("shell.day"), Right::Foreman),
        (Part::Dates, "/dates", words.t("shell.dates"), Right::Desk),
        (Part::Desk, "/desk", words.t("shell.desk"), Right::Desk),
        (Part::Library, "/library", words.t("shell.library"), Right::Read),
        (Part::People, "/people", words.t("shell.people"), Right::Office),
    ];
    html! {
        header {
            nav aria-label=(words.t("shell.way")) {
                @for (to, href, name, right) in ways {
                    @if visitor.may(right) {
                        a href=(href) aria-current=[(to == part).then_some("page")] { (name) }
                    }
                }
                a.you href="/you" aria-current=[(part == Part::Account).then_some("page")] {
                    (visitor.name())
                }
            }
        }
    }
}

/// Where pages are read in another language: what of them stays English.
pub(super) fn english_note(words: Words) -> Option<&'static str> {
    (!words.is_english()).then(|| words.t("shell.english"))
}

/// The heads of a table's columns.
pub(super) fn heads(words: Words, keys: &[&'static str]) -> Markup {
    html! { thead { tr { @for key in keys { th scope="col" { (words.t(key)) } } } } }
}

/// The hidden token of a form.
pub(super) fn token(visitor: &Visitor) -> Markup {
    html! { input type="hidden" name="token" value=(visitor.token); }
}

/// What was refused, as a page.
pub(super) fn refused(refusal: &Refusal, words: Words) -> Response {
    let (title, told) = match refusal {
        Refusal::NotFound => {
            (words.t("shell.not-found"), words.t("shell.not-found-told").to_owned())
        }
        Refusal::NotYours(right) => {
            let roles: Vec<&str> = right.roles().iter().map(|r| super::role(words, *r)).collect();
            (
                words.t("shell.not-yours"),
                words.fill("shell.not-yours-told", &[("roles", &roles.join(", "))]),
            )
        }
        Refusal::Strange => (words.t("shell.strange"), words.t("shell.strange-told").to_owned()),
        Refusal::Changed => (words.t("shell.changed"), words.t("shell.changed-told").to_owned()),
        Refusal::Wait(seconds) => (
            words.t("shell.wait"),
            words.fill("shell.wait-told", &[("seconds", &seconds.to_string())]),
        ),
        Refusal::TooLarge(most) => (
            words.t("photo.too-large"),
            words.fill(
                "photo.too-large-told",
                &[
                    ("most", &(most >> 20).to_string()),
                    ("together", &(super::upload::MOST_TOGETHER_BYTES >> 20).to_string()),
                ],
            ),
        ),
        Refusal::Refused(why) => (words.t("shell.not-done"), words.why(why)),
        Refusal::Unusable(why) | Refusal::WalkGone(why) => (words.t("shell.not-done"), why.clone()),
        Refusal::SignIn | Refusal::English(_) | Refusal::Broken(_) | Refusal::Request { .. } => {
            (words.t("shell.not-done"), words.kept_english(&refusal.sentence()))
        }
    };
    let body = html! {
        h1 { (title) }
        p { (foreign::told(&told)) }
        p { a href="/" { (words.t("shell.to-start")) } }
    };
    open_page(words, title, &body)
}
