//! `/job/NUMBER`: who, where, what it pins, how far its walks are, and what is
//! handed out of it. An imported job is only read.

use std::borrow::Cow;

use axum::Router;
use axum::extract::{Path, State};
use axum::response::Response;
use axum::routing::get;
use maud::{Markup, html};

use super::foreign::told;
use super::guard::Visitor;
use super::log_words::LogWords;
use super::names::{Named, names};
use super::refusal::Refusal;
use super::shell::{self, Part, heads};
use super::site::{Shared, Site};
use super::words::Words;
use super::{address, job_photos, tame, visit};
use crate::domain::{JobFile, PinKind, Record, RecordWalk, Right};
use crate::export::words::day_and_clock;
use crate::office::{self, OfficeError, deeds};
use crate::store::{FoundJob, Store};

pub(super) fn router() -> Router<Shared> {
    Router::new().route("/job/{number}", get(job))
}

/// The name under which a job is asked for.
pub(super) fn name(job: &FoundJob) -> &str {
    job.imported.as_ref().unwrap_or(&job.number)
}

/// Jobs that were found, each leading where `to` says.
pub(super) fn jobs_table(
    jobs: &[FoundJob],
    to: impl Fn(&FoundJob) -> String,
    words: Words,
) -> Markup {
    html! {
        table {
            (heads(words, &["shell.job", "shell.address", "shell.owner", "shell.opened", "shell.open-calls"]))
            tbody {
                @for job in jobs {
                    tr {
                        th scope="row" { a href=(to(job)) { (name(job)) } }
                        td data-label=(words.t("shell.address")) { (tame(&job.address)) }
                        td data-label=(words.t("shell.owner")) { (tame(&job.owner)) ", " (tame(&job.phone)) }
                        td data-label=(words.t("shell.opened")) { (job.opened_on) }
                        td data-label=(words.t("shell.open-calls")) {
                            @if job.imported.is_some() { (words.t("desk.imported")) }
                            @else if job.open_callbacks == 0 { (words.t("shell.none")) }
                            @else { (job.open_callbacks) }
                        }
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
) -> Result<Response, Refusal> {
    visitor.must(Right::Read)?;
    let (of, who) = (number.clone(), visitor.clone());
    let made = site.log(move |store, site| match own(store, site, &of, &who) {
        Err(OfficeError::NoJob(_)) => imported(store, &of, who.words),
        made => Ok(made?),
    });
    let body = made.await?;
    Ok(shell::page(&visitor, Part::Jobs, &number, &body))
}

fn own(store: &Store, site: &Site, number: &str, who: &Visitor) -> Result<Markup, OfficeError> {
    let served = &site.served;
    let file = office::job(store, &served.functions, number)?;
    let record = file.record(&served.functions);
    let now = (served.now)(&office::zone(&file.job)?);
    let dates = !office::due(&served.config, &file, now)?.is_empty();
    let names = names(&served.config, who.words.language, &file.checklists);
    let log = who.log_words().with(&names);
    let photos = job_photos::section(&as_read(&file, &names), &served.functions, who);
    Ok(page(&file, &record, dates, &photos, (who, log)))
}

fn page(
    file: &JobFile,
    record: &Record,
    dates: bool,
    photos: &Markup,
    (who, log): (&Visitor, LogWords<'_>),
) -> Markup {
    let (job, words) = (&file.job, who.words);
    let link = |below: &str| address::of_job(&job.number, below);
    html! {
        h1 { (words.fill("job.title", &[("number", &job.number)])) }
        @if job.invented { p.invented { (words.t("job.invented")) } }
        dl.facts {
            dt { (words.t("shell.address")) } dd { (tame(&job.address)) }
            dt { (words.t("shell.owner")) } dd { (tame(&job.owner)) }
            dt { (words.t("job.phone")) } dd { (tame(&job.phone)) }
            dt { (words.t("job.company")) } dd { (tame(&job.company)) }
            dt { (words.t("job.code")) } dd { (tame(&job.code_edition)) }
            dt { (words.t("job.people")) }
            dd {
                @if job.people.is_empty() { (words.t("job.nobody")) }
                @for person in &job.people {
                    (tame(&person.name)) ", " (tame(&words.role(&person.role))) br;
                }
            }
        }
        @if !record.attention.is_empty() {
            p { strong { (words.fill("job.attention", &[("n", &record.attention.len().to_string())])) }
                @if who.may(Right::Foreman) && let Some(last) = record.last_at {
                    " " a href={ "/day/" (last.date()) } { (words.fill("job.day", &[("date", &last.date().to_string())])) }
                }
            }
        }
        @if let Some(note) = shell::english_note(words) { p { (note) } }
        (visit::on_job_page(file, who, log))
        h2 { (words.t("job.walks")) }
        table {
            thead { tr {
                th scope="col" { (words.t("job.checklist")) }
                th scope="col" { (words.t("job.state")) }
                @if who.may(Right::Walk) { th scope="col" { (words.t("job.on-the-roof")) } }
            } }
            tbody {
                @for walk in &record.walks {
                    tr {
                        th scope="row" { (told(&log.walk(&walk.id))) }
                        td data-label=(words.t("job.state")) { (told(&state(file, record, walk, log))) }
                        @if who.may(Right::Walk) {
                            td data-label=(words.t("job.on-the-roof")) {
                                @if is_newest(record, walk) {
                                    a href=(address::of_walk(&job.number, &walk.id.checklist)) {
                                        (words.t("job.walk"))
                                        span.unseen { " " (told(&log.walk(&walk.id))) }
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
        h2 { (words.t("job.papers")) }
        ul {
            li { a href=(link("/sheet")) { (words.t("job.sheet")) } ": " (words.t("job.sheet-told")) }
            li { a href=(link("/record")) { (words.t("job.record")) } ": " (words.t("job.record-told")) }
            li { a href=(link("/record.pdf")) { (words.t("job.pdf")) } ": " (words.t("job.sealed")) }
            li { a href=(link("/record.json")) { (words.t("job.json")) } ": " (words.t("job.sealed")) }
            li { a href=(link("/files.zip")) { (words.t("job.zip")) } ": " (words.t("job.zip-told")) }
            @if dates {
                li { a href=(link("/dates.ics")) { (words.t("job.dates")) } ": " (words.t("job.dates-told")) }
            }
            @if who.may(Right::Desk) {
                li { a href=(address::of_dates(&job.number)) { (words.t("job.all-dates")) } ": " (words.t("job.all-dates-told")) }
                li { a href={ "/desk/" (address::part(&job.number)) } { (words.t("job.desk")) }
                    ": " (words.fill("job.calls", &[("n", &record.callbacks.len().to_string())])) }
            }
        }
        (photos)
        h2 { (words.t("job.pins")) }
        p { (words.t("job.pins-told")) }
        table {
            (heads(words, &["job.pinned", "job.version", "job.hash"]))
            tbody {
                @for pin in &job.pins {
                    tr {
                        th scope="row" {
                            @match pin.kind {
                                PinKind::Checklist => (words.t("job.checklist")),
                                PinKind::Profile => (words.t("job.profile")),
                            }
                            " " (tame(&pin.id))
                        }
                        td data-label=(words.t("job.version")) { (pin.version) }
                        td.hash data-label=(words.t("job.hash")) { (pin.hash) }
                    }
                }
            }
        }
    }
}

/// Of a checklist that was walked several times the newest walk goes on.
fn is_newest(record: &Record, walk: &RecordWalk) -> bool {
    let newest = record.walks.iter().rev().find(|of| of.id.checklist == walk.id.checklist);
    newest.is_some_and(|newest| newest.id == walk.id)
}

/// The job with the names of its checklists as they are read: for lists to choose from.
pub(super) fn as_read<'a>(file: &'a JobFile, names: &[Named]) -> Cow<'a, JobFile> {
    if names.iter().all(Named::is_as_pinned) {
        return Cow::Borrowed(file);
    }
    let mut file = file.clone();
    file.checklists = names.iter().map(Named::read).collect();
    Cow::Owned(file)
}

/// How far a walk is, in words.
fn state(file: &JobFile, record: &Record, walk: &RecordWalk, log: LogWords<'_>) -> String {
    let words = log.words;
    let deviations = record.deviations.iter().filter(|of| of.need.walk == walk.id);
    let (all, accepted) = deviations.fold((0_u32, 0_u32), |(all, accepted), of| {
        (all + 1, accepted + u32::from(of.accepted.is_some()))
    });
    let with = match (all, accepted) {
        (0, _) => words.t("job.no-deviation").to_owned(),
        (1, 0) => words.t("job.one-deviation").to_owned(),
        (all, accepted) => {
            let (n, accepted) = (all.to_string(), accepted.to_string());
            words.fill("job.deviations", &[("n", &n), ("accepted", &accepted)])
        }
    };
    let held = deeds::waiting(file).into_iter().find(|(of, ..)| **of == walk.id);
    match (walk.begun, walk.ended, held) {
        (None, ..) => words.t("job.not-begun").to_owned(),
        (_, Some(ended), _) => {
            let ended = day_and_clock(ended);
            words.fill("job.ended", &[("when", &ended), ("with", &with)])
        }
        (_, _, Some((_, step, point))) => {
            let (title, role) = (log.step(&walk.id, step), log.role(&point.role));
            words.fill("job.held", &[("role", &role), ("step", &title), ("with", &with)])
        }
        (Some(_), None, None) => {
            let at = walk.steps.iter().position(|step| step.settled.is_none());
            let at = at.map_or(walk.steps.len(), |at| at.saturating_add(1)).to_string();
            let of = walk.steps.len().to_string();
            words.fill("job.at-step", &[("step", &at), ("of", &of), ("with", &with)])
        }
    }
}

/// The record of another device: what came with it.
fn imported(store: &Store, name: &str, words: Words) -> Result<Markup, Refusal> {
    let job = office::import_named(store, name)?.ok_or(Refusal::NotFound)?;
    let found = store.find(std::slice::from_ref(&job.number), 100)?;
    let found = found.into_iter().find(|found| found.imported.as_deref() == Some(name));
    let files = store.import_files(job.id)?;
    let has = |path: &str| files.iter().any(|file| file.path == path);
    let link = |below: &str| address::of_job(name, below);
    let (entries, last) = (job.entries.to_string(), job.last_at.clone());
    Ok(html! {
        h1 { (words.fill("job.title", &[("number", name)])) }
        p { (words.t("job.imported")) }
        @if let Some(note) = shell::english_note(words) { p { (note) } }
        dl.facts {
            @if let Some(found) = &found {
                dt { (words.t("shell.address")) } dd { (tame(&found.address)) }
                dt { (words.t("shell.owner")) } dd { (tame(&found.owner)) }
                dt { (words.t("job.phone")) } dd { (tame(&found.phone)) }
            }
            dt { (words.t("job.came")) }
            dd { (words.fill("job.came-told", &[("at", &job.imported_at), ("n", &entries), ("last", &last)])) }
        }
        h2 { (words.t("job.papers")) }
        ul {
            @if has("record.html") { li { a href=(link("/record")) { (words.t("job.record")) } } }
            @if has("record.pdf") { li { a href=(link("/record.pdf")) { (words.t("job.pdf")) } } }
            @if has("record.json") { li { a href=(link("/record.json")) { (words.t("job.json")) } } }
            li { a href=(link("/files.zip")) { (words.t("job.zip")) } ": " (words.t("job.zip-came")) }
        }
    })
}
