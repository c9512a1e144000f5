//! `/dates/NUMBER`: the dates of one job, given out or not, cancelled ones too;
//! the forms that move, cancel and add one. Each is one entry, as the command
//! writes it.

use axum::Router;
use axum::extract::{Path, State};
use axum::response::{Redirect, Response};
use axum::routing::{get, post};
use jiff::civil::{Date, Time};
use maud::{Markup, html};
use serde::Deserialize;

use super::act::{self, Act};
use super::dates::{for_whom, when};
use super::day::job_title;
use super::foreign::told;
use super::guard::{Sent, Visitor};
use super::log_words::LogWords;
use super::names::names;
use super::refusal::Refusal;
use super::shell::{self, Part};
use super::site::{Shared, Site};
use super::words::Words;
use super::{address, tame};
use crate::domain::agenda::{Stretch, seen_to};
use crate::domain::{At, Due, Entry, JobFile, Right, What, Working};
use crate::office::dates::{Change, change, undated, unusual};
use crate::office::{self, Deed, OfficeError};
use crate::store::Store;

/// How long a date takes where nobody says, in minutes.
const USUAL_MIN: u32 = 30;
/// No date takes longer, in minutes.
const MOST_MIN: u32 = 24 * 60;

pub(super) fn router() -> Router<Shared> {
    Router::new()
        .route("/dates/{number}", get(job))
        .route("/dates/move", post(moved))
        .route("/dates/cancel", post(cancelled))
        .route("/dates/add", post(added))
}

struct Shown {
    file: JobFile,
    due: Vec<Due>,
    now: At,
    working: Working,
}

async fn job(
    State(site): State<Shared>,
    visitor: Visitor,
    Path(number): Path<String>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Desk)?;
    let (of, who) = (number.clone(), visitor.clone());
    let body = site.log(move |store, site| {
        let file = office::job(store, &site.served.functions, &of)?;
        let settings = office::read_settings(&site.served.config)?;
        let now = (site.served.now)(&office::zone(&file.job)?);
        let due = office::dates(&file, &settings, now)?;
        let names = names(&site.served.config, who.words.language, &file.checklists);
        let log = who.log_words().with(&names);
        page(&Shown { file, due, now, working: settings.working }, &who, log)
    });
    Ok(shell::page(&visitor, Part::Dates, &number, &body.await?))
}

fn page(shown: &Shown, who: &Visitor, log: LogWords<'_>) -> Result<Markup, OfficeError> {
    let (words, job) = (who.words, &shown.file.job);
    let undated = undated(&shown.file);
    let mut dates = Vec::with_capacity(shown.due.len());
    for (place, due) in shown.due.iter().enumerate() {
        dates.push(one(shown, (place, due), who, log)?);
    }
    let not_given_out = shown.due.iter().any(|due| due.number.is_none());
    Ok(html! {
        h1 { (words.t("dates.title")) ": " (job_title(&job.number, &job.address, words)) }
        @if job.invented { p.invented { (words.t("job.invented")) } }
        p.ways {
            a href=(address::of_job(&job.number, "")) { (words.t("desk.to-job")) } " "
            @if !dates.is_empty() {
                a href=(address::of_job(&job.number, "/dates.ics")) { (words.t("job.dates")) } " "
            }
            a href="/dates" { (words.t("dates.of-all")) } " "
            a href="#add" { (words.t("dates.add")) }
        }
        @if let Some(note) = shell::english_note(words) { p { (note) } }
        @if dates.is_empty() { p { (words.t("dates.none")) } }
        @if not_given_out { p { (words.t("dates.not-given-out-told")) } }
        ol.dates { @for date in &dates { (date) } }
        @if !undated.is_empty() {
            h2 { (words.t("dates.undated")) }
            ul { @for one in &undated { li { (told(&log.undated(one))) } } }
        }
        (add_form(shown, who))
    })
}

fn one(
    shown: &Shown,
    (place, due): (usize, &Due),
    who: &Visitor,
    log: LogWords<'_>,
) -> Result<Markup, OfficeError> {
    let (words, job) = (who.words, &shown.file.job);
    let is_past = Stretch::of(due.start.date(), shown.now.date()) == Stretch::Past;
    let seen_to = seen_to(due, &shown.file.standing);
    let query = serde_urlencoded::to_string([("only", &due.uid)]).unwrap_or_default();
    let strange = unusual(job, &shown.file.standing, &shown.working, due)?;
    let stands = due.cancelled_because.is_none();
    let title = log.title(due, &shown.file.standing);
    let about = about(&title, due);
    Ok(html! {
        li id={ "d" (place) } {
            (when(due, words))
            div {
                h2 { @if stands { (told(&title)) } @else { del { (told(&title)) } } }
                p {
                    @if !stands { strong { (words.t("dates.is-cancelled")) } " " }
                    @else if let Some(at) = seen_to {
                        strong { (words.fill("dates.seen-to", &[("date", &at.date().to_string())])) } " "
                    }
                    @else if is_past { strong { (words.t("dates.is-past")) } " " }
                    (for_whom(job, due, words)) " "
                    @if let Some(checklist) = &due.checklist {
                        (words.fill("dates.walk", &[("checklist", &tame(checklist))])) " "
                    }
                    @match due.number {
                        Some(number) => (words.fill("dates.number", &[("n", &number.to_string())])),
                        None => (words.t("dates.not-given-out")),
                    }
                }
                @if let Some(placed) = &due.placed { p.told { (told(&log.placed(&placed.why))) "." } }
                @if let Some(why) = &due.moved_because {
                    p.told { (words.t("dates.was-moved")) " “" (tame(why)) "”" }
                }
                @if let Some(why) = &due.cancelled_because {
                    p.told { (words.t("dates.was-cancelled")) " “" (tame(why)) "”" }
                }
                @if stands { @for odd in &strange { p.told { (told(&log.unusual(odd))) "." } } }
                @if stands && due.fixed { p.told { (words.t("dates.fixed")) } }
                @if stands && !due.fixed { (move_form(shown, (place, due), &about, who)) }
                @if stands { (cancel_form(shown, (place, due), &about, who)) }
                p.told {
                    a href={ (address::of_job(&job.number, "/dates.ics")) "?" (query) } {
                        (words.t("dates.file"))
                        span.unseen { " " (told(&title)) ", " (due.start.date()) }
                    }
                }
            }
        }
    })
}

fn hidden(shown: &Shown, due: &Due, who: &Visitor) -> Markup {
    html! {
        (act::fields(who, &shown.file.job.number, shown.file.standing.last_seq))
        input type="hidden" name="uid" value=(due.uid);
    }
}

/// What a summary or button is about, for those who hear it alone.
fn about(title: &str, due: &Due) -> Markup {
    html! { span.unseen { ": " (told(title)) ", " (due.start.date()) } }
}

fn why_field(id: &str, words: Words) -> Markup {
    html! {
        label for=(id) { (words.t("dates.why")) }
        input id=(id) name="why" required maxlength="2000" autocomplete="off";
    }
}

fn move_form(shown: &Shown, (place, due): (usize, &Due), about: &Markup, who: &Visitor) -> Markup {
    let words = who.words;
    html! {
        details.act id={ "move-" (place) } {
            summary { (words.t("dates.move")) (about) }
            form method="post" action="/dates/move" {
                (hidden(shown, due, who))
                (day_and_clock(&format!("to-{place}"), due.start, words))
                (why_field(&format!("move-why-{place}"), words))
                p { (words.t("dates.move-told")) }
                button { (words.t("dates.move-do")) (about) }
            }
        }
    }
}

fn cancel_form(
    shown: &Shown,
    (place, due): (usize, &Due),
    about: &Markup,
    who: &Visitor,
) -> Markup {
    let words = who.words;
    html! {
        details.act id={ "cancel-" (place) } {
            summary { (words.t("dates.cancel")) (about) }
            form method="post" action="/dates/cancel" {
                (hidden(shown, due, who))
                (why_field(&format!("cancel-why-{place}"), words))
                p { (words.t("dates.cancel-told")) }
                button { (words.t("dates.cancel-do")) (about) }
            }
        }
    }
}

/// A day and an hour at the address.
pub(super) fn day_and_clock(id: &str, start: At, words: Words) -> Markup {
    let clock = start.clock();
    html! {
        div.pair {
            div {
                label for={ (id) "-day" } { (words.t("dates.day")) }
                input id={ (id) "-day" } name="day" type="date" required value=(start.date());
            }
            div {
                label for={ (id) "-clock" } { (words.t("dates.clock")) }
                input id={ (id) "-clock" } name="clock" type="time" required value=(clock);
            }
        }
    }
}

/// Who looks after it: a role that somebody has on the job, or nobody.
pub(super) fn role_field(id: &str, file: &JobFile, usual: &str, words: Words) -> Markup {
    let mut roles: Vec<&str> = file.job.people.iter().map(|one| one.role.as_str()).collect();
    roles.sort_unstable();
    roles.dedup();
    html! {
        label for=(id) { (words.t("dates.who")) }
        select id=(id) name="who" {
            option value="" { (words.t("dates.no-role")) }
            @for role in roles {
                option value=(role) selected[role == usual] { (tame(&words.role(role))) }
            }
        }
    }
}

pub(super) fn minutes_field(id: &str, usual: u32, words: Words) -> Markup {
    html! {
        label for=(id) { (words.t("dates.minutes")) }
        input id=(id) name="lasts" type="number" required min="1" max=(MOST_MIN) value=(usual);
    }
}

/// The next day on which the office works, when it opens.
pub(super) fn next_day(working: &Working, now: At, zone: &jiff::tz::TimeZone) -> At {
    let tomorrow = now.date().tomorrow().unwrap_or(now.date()).to_datetime(working.opens);
    let placed = working.place(tomorrow, USUAL_MIN, zone).map(|(start, _)| start);
    placed.unwrap_or(now)
}

fn add_form(shown: &Shown, who: &Visitor) -> Markup {
    let (words, job) = (who.words, &shown.file.job);
    let zone = office::zone(job).unwrap_or(jiff::tz::TimeZone::UTC);
    let start = next_day(&shown.working, shown.now, &zone);
    html! {
        h2 id="add" { (words.t("dates.add")) }
        form method="post" action="/dates/add" {
            (act::fields(who, &job.number, shown.file.standing.last_seq))
            label for="title" { (words.t("dates.what")) }
            input id="title" name="title" required maxlength="200" autocomplete="off";
            (day_and_clock("on", start, words))
            (role_field("who", &shown.file, "", words))
            (minutes_field("lasts", USUAL_MIN, words))
            button { (words.t("dates.add-do")) }
        }
    }
}

/// Day and hour as `office::dates` reads them.
pub(super) fn start(day: &str, clock: &str, words: Words) -> Result<String, Refusal> {
    let no_day = |_| Refusal::Unusable(words.fill("desk.no-day", &[("text", day)]));
    let no_hour = |_| Refusal::Unusable(words.fill("dates.no-hour", &[("text", clock)]));
    let day: Date = day.trim().parse().map_err(no_day)?;
    let clock: Time = clock.trim().parse().map_err(no_hour)?;
    Ok(format!("{day}T{}", clock.strftime("%H:%M")))
}

/// Minutes as they were typed.
pub(super) fn minutes(text: &str, words: Words) -> Result<u32, Refusal> {
    let minutes = text.trim().parse().ok().filter(|minutes| (1..=MOST_MIN).contains(minutes));
    let most = MOST_MIN.to_string();
    minutes.ok_or_else(|| {
        Refusal::Unusable(words.fill("dates.no-minutes", &[("text", text), ("most", &most)]))
    })
}

/// Writes a change, after what is new was given out; refused where others have
/// written meanwhile.
pub(super) fn write(
    store: &mut Store,
    site: &Site,
    mut file: JobFile,
    wanted: Change<'_>,
    deed: &Deed<'_>,
) -> Result<(), Refusal> {
    let (settings, known) = (office::read_settings(&site.served.config)?, file.standing.last_seq);
    let changed = change(store, &mut file, &settings, wanted, deed)?;
    let is_ours = |entry: &Entry| matches!(entry.draft.what, What::FollowUpIssued { .. });
    if !file.entries.iter().filter(|entry| known < entry.seq).all(is_ours) {
        return Err(Refusal::Changed);
    }
    store.append(&changed.draft, Some(file.standing.last_seq))?;
    Ok(())
}

#[derive(Clone, Debug, Deserialize)]
struct Move {
    job: String,
    once: String,
    known: u64,
    uid: String,
    day: String,
    clock: String,
    why: String,
}

async fn moved(
    State(site): State<Shared>,
    Sent(visitor, form): Sent<Move>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Desk)?;
    let to = start(&form.day, &form.clock, visitor.words)?;
    let back = address::of_dates(&form.job);
    let sent = Act::new("move", &form, (&form.job, &form.once, form.known));
    act::act_in_log(&site, &visitor, sent, move |store, site, file, deed| {
        let wanted = Change::Move { date: &form.uid, to: &to, why: &form.why };
        write(store, site, file, wanted, deed)
    })
    .await?;
    Ok(Redirect::to(&back))
}

#[derive(Clone, Debug, Deserialize)]
struct Cancel {
    job: String,
    once: String,
    known: u64,
    uid: String,
    why: String,
}

async fn cancelled(
    State(site): State<Shared>,
    Sent(visitor, form): Sent<Cancel>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Desk)?;
    let back = address::of_dates(&form.job);
    let sent = Act::new("cancel", &form, (&form.job, &form.once, form.known));
    act::act_in_log(&site, &visitor, sent, move |store, site, file, deed| {
        write(store, site, file, Change::Cancel { date: &form.uid, why: &form.why }, deed)
    })
    .await?;
    Ok(Redirect::to(&back))
}

#[derive(Clone, Debug, Deserialize)]
struct Add {
    job: String,
    once: String,
    known: u64,
    title: String,
    day: String,
    clock: String,
    #[serde(default)]
    who: String,
    lasts: String,
}

async fn added(
    State(site): State<Shared>,
    Sent(visitor, form): Sent<Add>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Desk)?;
    let on = start(&form.day, &form.clock, visitor.words)?;
    let lasts_min = minutes(&form.lasts, visitor.words)?;
    let back = address::of_dates(&form.job);
    let sent = Act::new("add-date", &form, (&form.job, &form.once, form.known));
    act::act_in_log(&site, &visitor, sent, move |store, site, file, deed| {
        let who = Some(form.who.trim()).filter(|who| !who.is_empty());
        let wanted = Change::Add { on: &on, lasts_min, title: &form.title, who, visit: None };
        write(store, site, file, wanted, deed)
    })
    .await?;
    Ok(Redirect::to(&back))
}
