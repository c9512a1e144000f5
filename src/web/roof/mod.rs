//! The roof screen: a walk by touch. A page that is whole without any script,
//! the same forms over a socket where there is one. What a walk asks and logs is
//! decided elsewhere.

mod live;
mod photo;
mod screen;

use std::sync::Arc;
use std::sync::mpsc::TrySendError;
use std::time::Duration;

use axum::Router;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse as _, Redirect, Response};
use axum::routing::{get, post};
use serde::Deserialize;
use tokio::sync::oneshot;
use uuid::Uuid;

use super::address;
use super::guard::{Nothing, Sent as Form, Visitor};
use super::refusal::Refusal;
use super::site::Shared;
use super::walks::{Answer, Followed, NotWalked, Reply, Sent, Shown, Wanted};
use super::words::Words;
use crate::domain::{How, Right};

/// How long a walk may take to ask its first question, or to log an answer.
const PATIENCE: Duration = Duration::from_secs(15);
/// As long as the name of an answer may be, in bytes.
const LONGEST_ID: usize = 64;

pub(super) fn router() -> Router<Shared> {
    Router::new()
        .route("/roof/{job}/{checklist}", get(page))
        .route("/roof/{job}/{checklist}/again", post(again))
        .route("/roof/{job}/{checklist}/answer", post(answer))
        .route("/roof/{job}/{checklist}/live", get(live::live))
        .route("/roof/{job}/{checklist}/photo", post(photo::photo))
}

/// Which walk an address names.
#[derive(Clone, Debug, Deserialize)]
pub(super) struct Which {
    pub(super) job: String,
    pub(super) checklist: String,
}

impl Which {
    /// The address of its page.
    fn address(&self) -> String {
        address::of_walk(&self.job, &self.checklist)
    }
}

async fn take_up(
    site: &Shared,
    visitor: &Visitor,
    which: &Which,
    again: bool,
) -> Result<Followed, Refusal> {
    match taken(site, visitor, which, again).await? {
        Err(NotWalked::StillOpen(_)) => {
            Err(Refusal::Unusable(visitor.words.t("roof.still-open").to_owned()))
        }
        taken => Ok(taken?),
    }
}

/// The same, with why no walk can be had.
pub(super) async fn taken(
    site: &Shared,
    visitor: &Visitor,
    which: &Which,
    again: bool,
) -> Result<Result<Followed, NotWalked>, Refusal> {
    visitor.must(Right::Walk)?;
    let (walks, wanted) = (Arc::clone(&site.served.walks), wanted(visitor, which, again));
    let taken = tokio::task::spawn_blocking(move || walks.take_up(&wanted)).await;
    taken.map_err(|error| {
        tracing::error!(?error, "roof");
        Refusal::WalkGone(visitor.words.t("roof.gone").to_owned())
    })
}

/// The person's walk, where it runs now; nothing is begun.
pub(super) async fn running(
    site: &Shared,
    visitor: &Visitor,
    which: &Which,
) -> Result<Followed, Refusal> {
    visitor.must(Right::Walk)?;
    let (walks, wanted) = (Arc::clone(&site.served.walks), wanted(visitor, which, false));
    let running = tokio::task::spawn_blocking(move || walks.running(&wanted)).await;
    running.ok().flatten().ok_or(Refusal::NotFound)
}

fn wanted(visitor: &Visitor, which: &Which, again: bool) -> Wanted {
    let person = &visitor.session.person;
    Wanted {
        job: which.job.clone(),
        checklist: which.checklist.clone(),
        by: person.name.clone(),
        units: person.units,
        language: person.language,
        again,
    }
}

/// How the walk stands, once it stands.
pub(super) async fn present(followed: &mut Followed, words: Words) -> Result<Arc<Shown>, Refusal> {
    let shown = followed.shown.wait_for(Option::is_some);
    let shown = match tokio::time::timeout(PATIENCE, shown).await {
        Ok(Ok(shown)) => shown.clone(),
        Ok(Err(_)) | Err(_) => None,
    };
    shown.ok_or_else(|| Refusal::WalkGone(words.t("roof.gone").to_owned()))
}

async fn page(
    State(site): State<Shared>,
    Path(which): Path<Which>,
    headers: HeaderMap,
    visitor: Visitor,
) -> Result<Response, Refusal> {
    // A browser that only guesses where its person goes begins no walk.
    if headers.contains_key("sec-purpose") {
        return Ok(StatusCode::NO_CONTENT.into_response());
    }
    let mut followed = take_up(&site, &visitor, &which, false).await?;
    let shown = present(&mut followed, visitor.words).await?;
    Ok(screen::page(&visitor, &which, &shown, None))
}

async fn again(
    State(site): State<Shared>,
    Path(which): Path<Which>,
    Form(visitor, Nothing {}): Form<Nothing>,
) -> Result<Redirect, Refusal> {
    let mut followed = take_up(&site, &visitor, &which, true).await?;
    // The next page finds it begun.
    present(&mut followed, visitor.words).await?;
    Ok(Redirect::to(&which.address()))
}

/// An answer as a form has it: a choice has its place behind the word.
#[derive(Deserialize)]
struct Given {
    #[serde(default)]
    id: String,
    #[serde(default)]
    question: String,
    #[serde(default)]
    meaning: String,
    #[serde(default)]
    value: String,
}

impl Given {
    fn answer(self) -> Answer {
        let Self { id, question, meaning, value } = self;
        let (meaning, value) = match meaning.split_once(' ') {
            Some((meaning, place)) => (meaning.to_owned(), place.to_owned()),
            None => (meaning, value),
        };
        let named = !id.is_empty() && id.len() <= LONGEST_ID;
        let id = if named { id } else { Uuid::new_v4().to_string() };
        Answer { id, question, meaning, value }
    }
}

async fn answer(
    State(site): State<Shared>,
    Path(which): Path<Which>,
    Form(visitor, given): Form<Given>,
) -> Result<Response, Refusal> {
    let mut followed = take_up(&site, &visitor, &which, false).await?;
    // What is asked has to stand before it can be answered.
    present(&mut followed, visitor.words).await?;
    let reply = send(&followed, given.answer(), visitor.how()).await;
    let Some(why) = sentence(&reply, visitor.words) else {
        return Ok(Redirect::to(&which.address()).into_response());
    };
    let shown = present(&mut followed, visitor.words).await?;
    let status = match reply {
        Reply::Changed => StatusCode::CONFLICT,
        Reply::Busy | Reply::Gone | Reply::NotLogged(_) => StatusCode::SERVICE_UNAVAILABLE,
        _ => StatusCode::UNPROCESSABLE_ENTITY,
    };
    let mut page = screen::page(&visitor, &which, &shown, Some(&why));
    *page.status_mut() = status;
    Ok(page)
}

/// Hands an answer to the walk and waits until it is on the disk or refused.
pub(super) async fn send(followed: &Followed, answer: Answer, how: How) -> Reply {
    let (reply, replied) = oneshot::channel();
    match followed.answers.try_send(Sent { answer, how, reply }) {
        Ok(()) => {}
        Err(TrySendError::Full(_)) => return Reply::Busy,
        Err(TrySendError::Disconnected(_)) => return Reply::Gone,
    }
    match tokio::time::timeout(PATIENCE, replied).await {
        Ok(Ok(reply)) => reply,
        Ok(Err(_)) | Err(_) => Reply::Gone,
    }
}

/// Why an answer was not taken; none where it was.
pub(super) fn sentence(reply: &Reply, words: Words) -> Option<String> {
    let key = match reply {
        Reply::Taken => return None,
        Reply::NotLogged(why) => return Some(why.clone()),
        Reply::Changed => "roof.changed",
        Reply::NoAnswer => "roof.no-answer",
        Reply::Empty => "roof.empty",
        Reply::TooLong => "roof.too-long",
        Reply::Busy => "roof.busy",
        Reply::Gone => "roof.gone",
    };
    Some(words.t(key).to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_choice_has_its_place_behind_the_word() {
        let given = |id: &str, meaning: &str, value: &str| {
            let (id, meaning, value) = (id.to_owned(), meaning.to_owned(), value.to_owned());
            Given { id, question: String::new(), meaning, value }.answer()
        };
        let choice = given("a", "choice 2", "");
        assert_eq!((choice.meaning.as_str(), choice.value.as_str()), ("choice", "2"));
        let words = given("a", "words", "two nails bent");
        assert_eq!((words.meaning.as_str(), words.value.as_str()), ("words", "two nails bent"));
        assert_eq!(words.id, "a");
        assert_ne!(given("", "yes", "").id, given("", "yes", "").id);
        assert_ne!(given(&"x".repeat(65), "yes", "").id.len(), 65);
    }
}
