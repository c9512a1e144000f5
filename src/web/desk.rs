//! `/desk`: finds a job by any part of what a caller says, shows what a leak call
//! needs first, takes calls down and closes them.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, Query, State};
use axum::response::{Redirect, Response};
use axum::routing::{get, post};
use jiff::civil::Date;
use maud::{Markup, html};
use serde::Deserialize;

use super::act::{self, Act};
use super::address;
use super::day::{job_title, unread};
use super::desk_call::{self, Asked};
use super::foreign;
use super::guard::{Sent, Visitor};
use super::job::jobs_table;
use super::log_words::LogWords;
use super::names::{Names, Reader, names};
use super::refusal::Refusal;
use super::shell::{self, Part};
use super::site::Shared;
use super::words::Words;
use crate::domain::{Right, Warranty};
use crate::export::drawing::plates_with_parts;
use crate::office::calls::{self, NewCall, NewFinding};
use crate::office::{self, KnownJob, OfficeError, WithCalls};
use crate::store::FoundJob;

/// Jobs shown at once.
const MOST_FOUND: u32 = 30;
/// Jobs with open calls shown before anything is asked for.
const MOST_OPEN: usize = 50;

pub(super) fn router() -> Router<Shared> {
    Router::new()
        .route("/desk", get(look))
        .route("/desk/{number}", get(job))
        .route("/desk/open", post(open))
        .route("/desk/close", post(close))
}

#[derive(Deserialize)]
struct Looked {
    #[serde(default)]
    q: String,
}

async fn look(
    State(site): State<Shared>,
    visitor: Visitor,
    Query(Looked { q }): Query<Looked>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Desk)?;
    let (words, log) = (visitor.words, visitor.log_words());
    let said: Vec<String> = q.split_whitespace().map(str::to_owned).collect();
    let results = site.log(move |store, site| {
        if !said.is_empty() {
            let jobs = store.find(&said, MOST_FOUND)?;
            return Ok::<_, Refusal>(found(&jobs, words));
        }
        let mut open = Vec::new();
        let mut reader = Reader::of(&site.served.config, words.language);
        let with = office::jobs_with_calls(store, &site.served.functions, true, MOST_OPEN)?;
        for known in &with.jobs {
            let names = reader.names(&known.file.checklists);
            open.push((Arc::clone(known), names));
        }
        Ok(open_calls(&with, &open, log))
    });
    let results = results.await?;
    let title = words.t("desk.title");
    let body = html! {
        h1 { (title) }
        form id="look" role="search" method="get" action="/desk" {
            label for="q" { (words.t("desk.find")) }
            p.told id="q-told" { (words.t("desk.find-told")) }
            input id="q" name="q" type="search" value=(q) maxlength="200" autofocus
                autocomplete="off" aria-describedby="q-told";
            button { (words.t("desk.find-do")) }
        }
        div id="results" aria-live="polite" { (results) }
    };
    Ok(shell::page_with(&visitor, Part::Desk, title, &body, &["desk_find.js"]))
}

fn found(jobs: &[FoundJob], words: Words) -> Markup {
    let most = usize::try_from(MOST_FOUND).unwrap_or(usize::MAX);
    html! {
        h2 {
            @match jobs.len() {
                0 => (words.t("desk.none-found")),
                1 => (words.t("desk.one-found")),
                n if n < most => (words.fill("desk.found", &[("n", &n.to_string())])),
                n => (words.fill("desk.many-found", &[("n", &n.to_string())])),
            }
        }
        @if jobs.is_empty() { p { (words.t("desk.none-told")) } }
        @else {
            (jobs_table(jobs, of_found, words))
        }
    }
}

/// An imported job is only read.
fn of_found(job: &FoundJob) -> String {
    match &job.imported {
        Some(name) => address::of_job(name, ""),
        None => format!("/desk/{}", address::part(&job.number)),
    }
}

/// An imported job has no page of the desk.
fn of_call(known: &KnownJob, id: u32) -> String {
    match &known.imported_as {
        Some(name) => address::of_job(name, ""),
        None => format!("/desk/{}?call={id}", address::part(&known.file.job.number)),
    }
}

fn open_calls(with: &WithCalls, jobs: &[(Arc<KnownJob>, Names)], log: LogWords<'_>) -> Markup {
    let words = log.words;
    html! {
        h2 { (words.t("desk.open-calls")) }
        (unread(&with.unread, words))
        @if with.is_cut { p { (words.t("desk.more-open-calls")) } }
        @else if jobs.is_empty() && with.unread.is_empty() { p { (words.t("desk.no-open-calls")) } }
        ul {
            @for (known, names) in jobs {
                @let file = &known.file;
                @for standing in file.standing.callbacks.values().filter(|call| call.closed.is_none()) {
                    @let id = standing.call.id;
                    li {
                        a href=(of_call(known, id)) {
                            (job_title(known.name(), &file.job.address, words))
                        }
                        @if known.imported_as.is_some() { ", " (words.t("desk.imported")) }
                        ", " (words.fill("desk.call", &[("id", &id.to_string()), ("date", &standing.call.reported.to_string())]))
                        ": " (foreign::told(&log.with(names).water(&standing.call)))
                    }
                }
            }
        }
    }
}

async fn job(
    State(site): State<Shared>,
    visitor: Visitor,
    Path(number): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Desk)?;
    let (of, who) = (number.clone(), visitor.clone());
    let body = site.log(move |store, site| {
        let served = &site.served;
        let file = office::job(store, &served.functions, &of)?;
        let record = file.record(&served.functions);
        let now = (served.now)(&office::zone(&file.job)?);
        let due = office::due(&served.config, &file, now)?;
        let working = office::read_settings(&served.config)?.working;
        let drawn = plates_with_parts(&file.record_of_now(&served.functions));
        let names = names(&served.config, who.words.language, &file.checklists);
        let of = desk_call::Of { file: &file, names, record, due, now, drawn, working };
        Ok::<_, OfficeError>(desk_call::page(of, &asked, &who))
    });
    Ok(shell::page(&visitor, Part::Desk, &number, &body.await?))
}

#[derive(Clone, Debug, Deserialize)]
struct Open {
    job: String,
    once: String,
    known: u64,
    water: String,
    #[serde(default)]
    plane: String,
    #[serde(default)]
    run: String,
    #[serde(default)]
    edge: String,
    caller: String,
    #[serde(default)]
    phone: String,
    reported: String,
}

/// A row as it was typed; none where nothing was.
fn row(text: &str, words: Words) -> Result<Option<u32>, Refusal> {
    match text.trim() {
        "" => Ok(None),
        text => text
            .parse()
            .map(Some)
            .map_err(|_| Refusal::Unusable(words.fill("desk.no-number", &[("text", text)]))),
    }
}

async fn open(
    State(site): State<Shared>,
    Sent(visitor, form): Sent<Open>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Desk)?;
    let words = visitor.words;
    let (plane, run) = (row(&form.plane, words)?, row(&form.run, words)?);
    let no_day = || Refusal::Unusable(words.fill("desk.no-day", &[("text", &form.reported)]));
    let reported: Date = form.reported.trim().parse().map_err(|_| no_day())?;
    let to = format!("/desk/{}", address::part(&form.job));
    let sent = Act::new("open", &form, (&form.job, &form.once, form.known));
    act::act(&site, &visitor, sent, move |file, functions, deed| {
        let new = NewCall {
            water: &form.water,
            plane,
            run,
            edge: Some(&form.edge),
            caller: &form.caller,
            phone: Some(&form.phone),
            reported,
        };
        let record = file.record_of_now(functions);
        let (_, draft, _) = calls::open_call(file, &record, &new, deed)?;
        Ok(draft)
    })
    .await?;
    Ok(Redirect::to(&to))
}

#[derive(Clone, Debug, Default)]
struct Close {
    job: String,
    once: String,
    known: u64,
    id: u32,
    found: String,
    cause: String,
    done: String,
    warranty: String,
    steps: Vec<String>,
}

impl Close {
    /// Of a form in which steps may be ticked any number of times.
    fn of(pairs: Vec<(String, String)>) -> Result<Self, Refusal> {
        let mut close = Self::default();
        for (name, value) in pairs {
            match name.as_str() {
                "job" => close.job = value,
                "once" => close.once = value,
                "known" => close.known = value.parse().map_err(|_| Refusal::Strange)?,
                "id" => close.id = value.parse().map_err(|_| Refusal::Strange)?,
                "found" => close.found = value,
                "cause" => close.cause = value,
                "done" => close.done = value,
                "warranty" => close.warranty = value,
                "step" => close.steps.push(value),
                _ => {}
            }
        }
        Ok(close)
    }
}

async fn close(
    State(site): State<Shared>,
    Sent(visitor, pairs): Sent<Vec<(String, String)>>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Desk)?;
    let form = Close::of(pairs)?;
    let warranty = Warranty::ALL.into_iter().find(|known| known.word() == form.warranty);
    let warranty = warranty.ok_or(Refusal::Strange)?;
    let to = format!("/desk/{}?call={}", address::part(&form.job), form.id);
    let sent = Act::new("close", &form, (&form.job, &form.once, form.known));
    act::act(&site, &visitor, sent, move |file, functions, deed| {
        let record = file.record(functions);
        let steps = form.steps.iter().map(|text| calls::named_step(&record, text));
        let new = NewFinding {
            id: form.id,
            found: &form.found,
            cause: Some(&form.cause),
            done: Some(&form.done),
            steps: steps.collect::<Result<_, _>>()?,
            warranty,
            unfinished: None,
        };
        Ok(calls::close_call(file, &new, deed)?)
    })
    .await?;
    Ok(Redirect::to(&to))
}
