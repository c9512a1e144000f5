//! Visits after a leak call: planned for a day by the desk, begun on the roof
//! screen by whoever walks it. What the desk looks at first is `desk_call`.

use axum::Router;
use axum::extract::State;
use axum::response::Redirect;
use axum::routing::post;
use maud::{Markup, html};
use serde::Deserialize;

use super::act::{self, Act};
use super::address;
use super::foreign::told;
use super::guard::{Sent, Visitor};
use super::job_dates::{self, day_and_clock, minutes, minutes_field, next_day, role_field};
use super::log_words::LogWords;
use super::refusal::Refusal;
use super::site::Shared;
use super::words::Words;
use crate::domain::{At, CallbackStanding, JobFile, Right, Working};
use crate::office::dates::Change;
use crate::office::visits::{self, LEAK_VISIT};
use crate::office::{self, calls};

/// How long a visit takes where nobody says, in minutes.
const USUAL_MIN: u32 = 60;
/// The role that goes, where the job has it and nobody says otherwise.
const USUAL_ROLE: &str = "installer";
/// Letters of the caller's words that stand in a date's title.
const MOST_TITLE: usize = 120;

pub(super) fn router() -> Router<Shared> {
    Router::new().route("/desk/visit", post(begin)).route("/desk/plan", post(plan))
}

/// Days on which the visit of a call is to be, with their titles' dates, that stand.
fn planned(file: &JobFile, id: u32) -> Vec<At> {
    let of = |issued: &&crate::domain::Issued| {
        let added = issued.added.as_ref();
        added.is_some_and(|added| added.callback == Some(id)) && issued.cancelled_because.is_none()
    };
    let mut all: Vec<At> = file.standing.issued.values().filter(of).map(|one| one.start).collect();
    all.sort_by_key(|at| at.ms());
    all
}

/// Begins the visit of an open call, or goes on with it. Nothing for somebody who
/// walks no checklist.
fn begin_form(file: &JobFile, call: &CallbackStanding, who: &Visitor) -> Markup {
    let (words, number, id) = (who.words, &file.job.number, call.call.id.to_string());
    let last = call.visits.last().map(|(walk, _)| walk);
    let goes_on = last.filter(|walk| !visits::has_ended(&file.standing, walk));
    html! {
        @if let Some(walk) = goes_on {
            p { a href=(address::of_walk(number, &walk.checklist)) {
                (words.fill("desk.visit-on", &[("id", &id)]))
            } }
        } @else {
            form method="post" action="/desk/visit" {
                (act::fields(who, number, file.standing.last_seq))
                input type="hidden" name="id" value=(id);
                input type="hidden" name="further" value=(if last.is_some() { "yes" } else { "" });
                button {
                    @if last.is_some() { (words.fill("desk.visit-further", &[("id", &id)])) }
                    @else { (words.fill("desk.visit-begin", &[("id", &id)])) }
                }
            }
        }
    }
}

fn when_planned(file: &JobFile, id: u32, words: Words) -> Markup {
    html! {
        @for at in planned(file, id) {
            p {
                a href=(address::of_dates(&file.job.number)) {
                    (words.fill("desk.visit-planned", &[("date", &at.date().to_string()), ("clock", &at.clock())]))
                }
            }
        }
    }
}

/// Visits of a closed call that are still to come: somebody may drive there.
pub(super) fn still_planned(file: &JobFile, id: u32, now: At, words: Words) -> Markup {
    let to_come = planned(file, id).into_iter().any(|at| now.ms() < at.ms());
    html! {
        @if to_come {
            p { strong { (words.t("desk.still-planned")) } }
            (when_planned(file, id, words))
        }
    }
}

/// The visit of an open call on the desk's page.
pub(super) fn of_call(
    file: &JobFile,
    call: &CallbackStanding,
    now: At,
    working: &Working,
    who: &Visitor,
) -> Markup {
    let (words, id) = (who.words, call.call.id);
    let zone = office::zone(&file.job).unwrap_or(jiff::tz::TimeZone::UTC);
    let start = next_day(working, now, &zone);
    html! {
        (when_planned(file, id, words))
        @if who.may(Right::Walk) { (begin_form(file, call, who)) }
        @else { p.told { (words.t("desk.visit-others")) } }
        details.act id={ "plan-" (id) } {
            summary { (words.fill("desk.plan", &[("id", &id.to_string())])) }
            form method="post" action="/desk/plan" {
                (act::fields(who, &file.job.number, file.standing.last_seq))
                input type="hidden" name="id" value=(id);
                (day_and_clock(&format!("plan-{id}"), start, words))
                (role_field(&format!("plan-who-{id}"), file, USUAL_ROLE, words))
                (minutes_field(&format!("plan-lasts-{id}"), USUAL_MIN, words))
                p { (words.t("desk.plan-told")) }
                button { (words.fill("desk.plan-do", &[("id", &id.to_string())])) }
            }
        }
    }
}

/// The open calls of a job, for whoever walks their visits.
pub(super) fn on_job_page(file: &JobFile, who: &Visitor, log: LogWords<'_>) -> Markup {
    let words = who.words;
    let open = file.standing.callbacks.values().filter(|call| call.closed.is_none());
    let open: Vec<_> = open.collect();
    html! {
        @if who.may(Right::Walk) && !open.is_empty() {
            h2 { (words.t("desk.to-visit")) }
            ul {
                @for call in open {
                    @let (id, reported) = (call.call.id.to_string(), call.call.reported.to_string());
                    li {
                        (words.fill("desk.call", &[("id", &id), ("date", &reported)])) ": "
                        (told(&log.water(&call.call)))
                        (when_planned(file, call.call.id, words))
                        (begin_form(file, call, who))
                    }
                }
            }
        }
    }
}

#[derive(Clone, Debug, Deserialize)]
struct Begin {
    job: String,
    once: String,
    known: u64,
    id: u32,
    #[serde(default)]
    further: String,
}

async fn begin(
    State(site): State<Shared>,
    Sent(visitor, form): Sent<Begin>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Walk)?;
    let to = address::of_walk(&form.job, LEAK_VISIT);
    let sent = Act::new("visit", &form, (&form.job, &form.once, form.known));
    act::act_in_log(&site, &visitor, sent, move |store, site, file, deed| {
        let further = form.further == "yes";
        let wanted = visits::Wanted { id: form.id, checklist: LEAK_VISIT, further };
        visits::take_up(store, &site.served.functions, file, wanted, deed)?;
        Ok(())
    })
    .await?;
    Ok(Redirect::to(&to))
}

#[derive(Clone, Debug, Deserialize)]
struct Plan {
    job: String,
    once: String,
    known: u64,
    id: u32,
    day: String,
    clock: String,
    #[serde(default)]
    who: String,
    lasts: String,
}

async fn plan(
    State(site): State<Shared>,
    Sent(visitor, form): Sent<Plan>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Desk)?;
    let on = job_dates::start(&form.day, &form.clock, visitor.words)?;
    let lasts_min = minutes(&form.lasts, visitor.words)?;
    let to = format!("/desk/{}?call={}", address::part(&form.job), form.id);
    let sent = Act::new("plan", &form, (&form.job, &form.once, form.known));
    act::act_in_log(&site, &visitor, sent, move |store, site, file, deed| {
        let water = &calls::open_one(&file, form.id)?.call.water;
        let water: String = water.chars().take(MOST_TITLE).collect();
        let title = visits::title(form.id, water.trim());
        let who = Some(form.who.trim()).filter(|who| !who.is_empty());
        let visit = Some((form.id, LEAK_VISIT));
        let wanted = Change::Add { on: &on, lasts_min, title: &title, who, visit };
        job_dates::write(store, site, file, wanted, deed)
    })
    .await?;
    Ok(Redirect::to(&to))
}
