//! A photo taken at a step of the roof screen: kept at that step whatever is asked
//! by now, and told to the walk as "photo taken" where the walk still asks for it.

use axum::Json;
use axum::extract::{Path, State};
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse as _, Redirect, Response};
use maud::{Markup, html};
use serde::{Deserialize, Serialize};

use super::super::guard::Visitor;
use super::super::refusal::Refusal;
use super::super::shell::token;
use super::super::site::Shared;
use super::super::upload::{self, Brought};
use super::super::walks::{Answer, Followed, Reply, Shown, ShownStep};
use super::super::words::Words;
use super::{Given, Which, present, send, take_up};
use crate::domain::{How, Right, StepRef, WalkId, walk_id};
use crate::office::photos::{KeptAs, PhotoPlace};
use crate::office::{self};
use crate::photo::MOST_BYTES;

/// The word by which a walk hears of it.
const TAKEN: &str = "photo-taken";

/// The control: whole without a script; with one the photo goes as soon as it is
/// taken, and is kept on the phone until the log has it.
pub(super) fn form(
    visitor: &Visitor,
    which: &Which,
    shown: &Shown,
    step: &ShownStep,
    id: &str,
) -> Markup {
    let words = visitor.words;
    let walk = WalkId { checklist: which.checklist.clone(), nth: shown.nth };
    html! {
        form.shot method="post" enctype="multipart/form-data" action={ (which.address()) "/photo" }
            data-step=(step.title) data-wanted=[(0 < step.photos_left).then_some("")] {
            (token(visitor))
            input type="hidden" name="id" value=(id);
            input type="hidden" name="walk" value=(walk);
            input type="hidden" name="step" value=(step.at);
            input type="hidden" name="question" value=(shown.question);
            label.take {
                span { (words.t("photo.take")) }
                input type="file" name="photo" accept="image/*" capture="environment" required;
            }
            button { (words.t("photo.send")) }
        }
    }
}

/// Where the script says what is not sent yet.
pub(super) fn unsent(words: Words) -> Markup {
    html! {
        div #photos role="status" hidden data-most=(MOST_BYTES)
            data-unsent=(words.t("photo.unsent")) data-sending=(words.t("photo.sending"))
            data-memory=(words.t("photo.in-page")) data-kept=(words.t("photo.kept"))
            data-refused=(words.t("photo.refused")) data-signed-out=(words.t("photo.signed-out"))
            data-large=(words.fill("photo.large", &[("most", &(MOST_BYTES >> 20).to_string())]))
            data-save=(words.t("photo.save")) data-drop=(words.t("photo.drop")) {}
    }
}

/// The fields beside the photo.
#[derive(Debug, Deserialize)]
pub(super) struct Taken {
    #[serde(default)]
    id: String,
    walk: String,
    step: String,
    #[serde(default)]
    question: String,
}

/// What a script is told.
#[derive(Serialize)]
struct Told {
    /// The entry that keeps it.
    entry: u64,
    /// Whether it was kept before.
    before: bool,
}

pub(super) async fn photo(
    State(site): State<Shared>,
    Path(which): Path<Which>,
    headers: HeaderMap,
    Brought { visitor, form, files }: Brought<Taken>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Walk)?;
    let words = visitor.words;
    let mut files = files.into_iter();
    let (Some((_, bytes)), None) = (files.next(), files.next()) else {
        return Err(Refusal::Unusable(words.t("photo.none").to_owned()));
    };
    let walk: WalkId = form.walk.parse().map_err(|_| Refusal::Strange)?;
    if walk.checklist != which.checklist {
        return Err(Refusal::Strange);
    }
    let Ok(step): Result<StepRef, _> = form.step.parse();
    let ready = upload::ready(&site, bytes, None).await?;
    let ready =
        ready.map_err(|why| Refusal::Unusable(told_why(words, &upload::why(&why, words))))?;
    // Whether it is wanted is asked before it is kept: afterwards it is there.
    // A walk that cannot be had is no reason to lose a photo.
    let asking = asking(&site, &visitor, &which, &walk, &form.question).await;
    let asking = asking.unwrap_or_else(|refusal| {
        tracing::warn!(?refusal, "a walk cannot be told of a photo");
        None
    });

    let place = (Some(walk), Some(step));
    let kept = upload::keep(&site, &visitor, &which.job, place, ready, Refusal::from);
    let (kept, place) = kept.await?;
    let before = is_elsewhere(&kept, &place, words)?;
    // One that was there before was told before.
    if let (false, Some(followed)) = (before, &asking) {
        let given = Given {
            id: form.id,
            question: form.question,
            meaning: TAKEN.to_owned(),
            value: String::new(),
        };
        let answer: Answer = given.answer();
        let reply = send(followed, answer, How::Touch).await;
        if reply != Reply::Taken {
            // It is kept at its step all the same, and counts there.
            tracing::info!(?reply, "a walk did not hear of a photo");
        }
    }
    let accepts = headers.get(header::ACCEPT).and_then(|accept| accept.to_str().ok());
    if accepts.is_some_and(|accepts| accepts.contains("text/html")) {
        return Ok(Redirect::to(&which.address()).into_response());
    }
    Ok(Json(Told { entry: kept.seq(), before }).into_response())
}

fn told_why(words: Words, why: &str) -> String {
    words.fill("photo.not-kept", &[("why", why)])
}

/// Whether it was kept before; one photo belongs to one place.
fn is_elsewhere(kept: &KeptAs, wanted: &PhotoPlace, words: Words) -> Result<bool, Refusal> {
    match kept {
        KeptAs::New(_) => Ok(false),
        KeptAs::Before { place, .. } if place == wanted => Ok(true),
        KeptAs::Before { seq, .. } => {
            Err(Refusal::Unusable(words.fill("photo.elsewhere", &[("entry", &seq.to_string())])))
        }
    }
}

/// The walk, where it still asks that question and wants a photo there. A photo of
/// a walk that another followed since begins none and goes on with none.
async fn asking(
    site: &Shared,
    visitor: &Visitor,
    which: &Which,
    walk: &WalkId,
    question: &str,
) -> Result<Option<Followed>, Refusal> {
    let (number, of) = (which.job.clone(), walk.clone());
    let is_current = site.log(move |store, site| {
        let file = office::job(store, &site.served.functions, &number)?;
        let pinned = office::pinned(&file, &of.checklist)?;
        let now = (site.served.now)(&office::zone(&file.job)?);
        let current = walk_id::taken_up(&file.standing, pinned, false, now);
        Ok::<_, Refusal>(current.is_ok_and(|current| current == of))
    });
    if !is_current.await? {
        return Ok(None);
    }
    let mut followed = take_up(site, visitor, which, false).await?;
    let shown = present(&mut followed, visitor.words).await?;
    let wants =
        shown.question == question && shown.commands.iter().any(|command| command.meaning == TAKEN);
    Ok(wants.then_some(followed))
}
