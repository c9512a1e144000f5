//! Photos that wait in the inbox: told on the page of the day, each with a page on
//! which somebody says to which job and step it belongs.

use axum::Router;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse as _, Redirect, Response};
use axum::routing::get;
use maud::{Markup, html};
use serde::Deserialize;

use super::guard::{Sent, Visitor};
use super::job::as_read;
use super::job_photos::{choose, chosen};
use super::names::names;
use super::refusal::Refusal;
use super::shell::{self, Part, token};
use super::site::{Shared, Site};
use super::words::Words;
use super::{tame, upload};
use crate::domain::{How, JobFile, Right};
use crate::office::inbox::{Became, Desk, Waiting, WhyWaiting};
use crate::office::photos::{self, Bringing};
use crate::office::{self, OfficeError};
use crate::store::Store;

pub(super) fn router() -> Router<Shared> {
    Router::new()
        .route("/inbox/{id}", get(one).post(bring))
        .route("/inbox/{id}/preview", get(preview))
}

/// The part of the day's page; nothing where none waits.
pub(super) fn section(waiting: &[Waiting], words: Words) -> Markup {
    html! {
        @if !waiting.is_empty() {
            h2 id="inbox" { (words.t("photo.inbox")) }
            section.needs {
                ul { @for one in waiting {
                    li {
                        strong { (tame(&one.name)) } ": " (why(one, words)) " "
                        @if one.why.is_photo() {
                            a href={ "/inbox/" (one.id) } { (words.t("photo.say-where"))
                                span.unseen { " " (tame(&one.name)) } }
                        }
                    }
                } }
            }
        }
    }
}

/// Why it waits.
fn why(one: &Waiting, words: Words) -> Markup {
    match &one.why {
        WhyWaiting::NotAPhoto(why) => html! { (upload::why(why, words)) "." },
        WhyWaiting::NoTime => html! { (words.t("photo.no-time")) },
        WhyWaiting::NoJob => {
            let job = one.job.as_deref().unwrap_or_default();
            html! { (words.fill("photo.no-job", &[("job", &tame(job))])) }
        }
        WhyWaiting::NoneOpen => html! { (words.fill("photo.none-open", &[("at", &taken(one))])) },
        WhyWaiting::Several(open) => {
            let open: Vec<String> =
                open.iter().map(|(job, walk, step)| format!("{job}: {walk} {step}")).collect();
            let places = [("at", taken(one)), ("open", tame(&open.join(", ")))];
            let places = places.each_ref().map(|(place, value)| (*place, value.as_str()));
            html! { (words.fill("photo.several", &places)) }
        }
        WhyWaiting::NotKept(why) => html! { span lang="en" { (tame(why)) } },
        WhyWaiting::NotMoved { job, seq, why } => {
            let places = [("job", tame(job)), ("entry", seq.to_string())];
            let places = places.each_ref().map(|(place, value)| (*place, value.as_str()));
            html! { (words.fill("photo.not-moved", &places)) " " span lang="en" { (tame(why)) } }
        }
    }
}

/// When it was taken, by the camera's clock.
fn taken(one: &Waiting) -> String {
    one.taken.map_or_else(String::new, |taken| taken.local.strftime("%Y-%m-%d %H:%M").to_string())
}

fn waiting(site: &Site, id: &str) -> Result<Waiting, Refusal> {
    site.served.inbox.find(id).filter(|one| one.why.is_photo()).ok_or(Refusal::NotFound)
}

async fn preview(
    State(site): State<Shared>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Foreman)?;
    let one = waiting(&site, &id)?;
    let bytes = upload::unpack(move || site.served.inbox.preview(&one)).await?;
    let bytes = bytes.ok_or(Refusal::NotFound)?;
    Ok(([(header::CONTENT_TYPE, "image/jpeg")], bytes).into_response())
}

#[derive(Deserialize)]
struct Wanted {
    #[serde(default)]
    job: String,
}

/// Asks for the job first, then for the step.
async fn one(
    State(site): State<Shared>,
    visitor: Visitor,
    Path(id): Path<String>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Foreman)?;
    let one = waiting(&site, &id)?;
    let number = wanted.job.trim().to_owned();
    let number = if number.is_empty() { one.job.clone().unwrap_or_default() } else { number };
    let (of, at) = (number.clone(), one.clone());
    let read = site.log(move |store, site| {
        let near = near(store, &at, site)?;
        match office::job(store, &site.served.functions, &of) {
            Ok(file) => Ok((near, Some(file))),
            Err(OfficeError::NoJob(_)) => Ok((near, None)),
            Err(error) => Err(Refusal::from(error)),
        }
    });
    let (near, file) = read.await?;
    let words = visitor.words;
    let title = words.fill("photo.where", &[("name", &tame(&one.name))]);
    let body = html! {
        h1 { (title) }
        p { strong { (tame(&one.name)) } ": " (why(&one, words)) }
        figure { img src={ "/inbox/" (id) "/preview" } alt=(words.t("photo.preview")); }
        form method="get" action={ "/inbox/" (id) } {
            label for="job" { (words.t("photo.which-job")) }
            input id="job" name="job" value=(number) required autocomplete="off" list="near";
            datalist id="near" { @for number in &near { option value=(number) {} } }
            button { (words.t("photo.show-steps")) }
        }
        @match &file {
            Some(file) => (place(&site, &visitor, &id, file)),
            None if number.is_empty() => {}
            None => p.wrong { (words.fill("photo.no-such-job", &[("job", &tame(&number))])) },
        }
        p { a href="/day" { (words.t("photo.to-day")) } }
    };
    Ok(shell::page(&visitor, Part::Day, &title, &body))
}

fn place(site: &Site, visitor: &Visitor, id: &str, file: &JobFile) -> Markup {
    let words = visitor.words;
    let names = names(&site.served.config, words.language, &file.checklists);
    html! {
        form method="post" action={ "/inbox/" (id) } {
            (token(visitor))
            input type="hidden" name="job" value=(file.job.number);
            h2 { (words.fill("day.job", &[("number", &file.job.number), ("address", &tame(&file.job.address))])) }
            (choose(&photos::places(&as_read(file, &names), &site.served.functions), words))
            button { (words.t("photo.keep-there")) }
        }
    }
}

/// Jobs with entries on the day it was taken, or else on the newest day.
fn near(store: &Store, one: &Waiting, site: &Site) -> Result<Vec<String>, Refusal> {
    let date = match one.taken {
        Some(taken) => taken.local.date(),
        None => office::newest_day(store, site.now().date())?,
    };
    Ok(store.jobs_on(date)?)
}

#[derive(Debug, Deserialize)]
struct Bring {
    job: String,
    place: String,
}

async fn bring(
    State(site): State<Shared>,
    Path(id): Path<String>,
    Sent(visitor, form): Sent<Bring>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Foreman)?;
    waiting(&site, &id)?;
    let (walk, step) = chosen(&form.place)?;
    let (by, at) = (visitor.name().to_owned(), Shared::clone(&site));
    let kept = upload::unpack(move || {
        let served = &at.served;
        let mut store = Store::open(&served.config.log())?;
        let file = office::job(&store, &served.functions, &form.job)?;
        let place = photos::place(&file, &served.functions, walk, step)?;
        let bringing =
            Bringing { by, how: How::Touch, at: (served.now)(&office::zone(&file.job)?) };
        let mut desk = Desk {
            config: &served.config,
            store: &mut store,
            functions: &served.functions,
            now: served.now,
        };
        let became = served.inbox.bring(&mut desk, &id, &place, &bringing)?;
        Ok::<_, Refusal>((became, place))
    });
    let (became, wanted) = kept.await??;
    match became {
        Became::Kept { before: true, place, seq } if place != wanted => {
            let entry = seq.to_string();
            Err(Refusal::Unusable(visitor.words.fill("photo.elsewhere", &[("entry", &entry)])))
        }
        _ => Ok(Redirect::to("/day")),
    }
}
