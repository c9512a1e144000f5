//! Photos brought to a step on the page of a job, and the list of steps they may be
//! brought to.

use axum::Router;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Redirect, Response};
use axum::routing::post;
use maud::{Markup, html};
use serde::Deserialize;

use super::guard::Visitor;
use super::refusal::Refusal;
use super::shell::{self, Part, token};
use super::site::Shared;
use super::upload::{self, Brought, LONGEST_CAPTION};
use super::words::Words;
use super::{address, tame};
use crate::domain::{JobFile, Right, StepRef, WalkId};
use crate::measure::Functions;
use crate::office::photos::{self, KeptAs, PhotoWalk};

pub(super) fn router() -> Router<Shared> {
    Router::new().route("/job/{number}/photos", post(bring))
}

/// Whoever walks may, and whoever reads the day log.
pub(super) fn may(visitor: &Visitor) -> bool {
    visitor.may(Right::Walk) || visitor.may(Right::Foreman)
}

/// The same for what brings one.
pub(super) fn must(visitor: &Visitor) -> Result<(), Refusal> {
    if may(visitor) { Ok(()) } else { Err(Refusal::NotYours(Right::Walk)) }
}

/// A list to choose from: no step, or one of the walks that were begun.
pub(super) fn choose(walks: &[PhotoWalk], words: Words) -> Markup {
    html! {
        label for="place" { (words.t("photo.place")) }
        select id="place" name="place" required {
            option value="" { (words.t("photo.choose")) }
            @for walk in walks {
                @let nth = walk.id.nth;
                @let title = tame(&walk.title);
                @let lang = (walk.language != words.language).then(|| walk.language.code());
                optgroup lang=[lang] label={ (title) @if 1 < nth { " (" (nth) ")" } } {
                    @for (step, name) in &walk.steps {
                        option value={ (walk.id) " " (step) } { (tame(name)) }
                    }
                }
            }
            option value="-" { (words.t("photo.no-step")) }
        }
    }
}

/// What was chosen of it.
pub(super) fn chosen(place: &str) -> Result<(Option<WalkId>, Option<StepRef>), Refusal> {
    if place == "-" {
        return Ok((None, None));
    }
    let (walk, step) = place.split_once(' ').ok_or(Refusal::Strange)?;
    let Ok(step): Result<StepRef, _> = step.parse();
    Ok((Some(walk.parse().map_err(|_| Refusal::Strange)?), Some(step)))
}

/// The part of the job's page.
pub(super) fn section(file: &JobFile, functions: &Functions, who: &Visitor) -> Markup {
    let (words, kept) = (who.words, file.standing.photos.len().to_string());
    html! {
        h2 id="photos" { (words.t("photo.title")) }
        p { (words.fill("photo.kept-so-far", &[("n", &kept)])) }
        @if may(who) {
            details {
                summary { (words.t("photo.add")) }
                form method="post" enctype="multipart/form-data"
                    action=(address::of_job(&file.job.number, "/photos")) {
                    (token(who))
                    (choose(&photos::places(file, functions), words))
                    label for="caption" { (words.t("photo.caption")) }
                    input id="caption" name="caption" maxlength=(LONGEST_CAPTION) autocomplete="off";
                    label for="photo" { (words.t("photo.files")) }
                    input id="photo" type="file" name="photo" accept="image/jpeg,image/png" multiple required;
                    button { (words.t("photo.add-do")) }
                }
            }
        }
    }
}

#[derive(Debug, Deserialize)]
struct Bring {
    place: String,
    #[serde(default)]
    caption: String,
}

async fn bring(
    State(site): State<Shared>,
    Path(number): Path<String>,
    Brought { visitor, form, files }: Brought<Bring>,
) -> Result<Response, Refusal> {
    must(&visitor)?;
    let words = visitor.words;
    let place = chosen(&form.place)?;
    if files.is_empty() {
        return Err(Refusal::Unusable(words.t("photo.none").to_owned()));
    }
    let caption = upload::caption(&form.caption, words)?;
    let (mut told, mut wrong) = (Vec::new(), false);
    for (called, bytes) in files {
        let ready = match upload::ready(&site, bytes, caption.clone()).await? {
            Ok(ready) => ready,
            Err(why) => {
                wrong = true;
                told.push((
                    called,
                    words.fill("photo.not-kept", &[("why", &upload::why(&why, words))]),
                ));
                continue;
            }
        };
        let place = place.clone();
        let kept = upload::keep(&site, &visitor, &number, place, ready, Refusal::from);
        let (kept, _) = kept.await?;
        let key = match kept {
            KeptAs::New(_) => "photo.kept",
            KeptAs::Before { .. } => {
                wrong = true;
                "photo.elsewhere"
            }
        };
        told.push((called, words.fill(key, &[("entry", &kept.seq().to_string())])));
    }
    let to = address::of_job(&number, "#photos");
    if !wrong {
        return Ok(Redirect::to(&to).into_response());
    }
    let body = html! {
        h1 { (words.t("photo.became")) }
        ul { @for (called, line) in &told { li { strong { (tame(called)) } ": " (line) } } }
        p { a href=(to) { (words.fill("job.title", &[("number", &number)])) } }
    };
    let mut page = shell::page(&visitor, Part::Jobs, words.t("photo.became"), &body);
    *page.status_mut() = StatusCode::UNPROCESSABLE_ENTITY;
    Ok(page)
}
