//! `/day`: what the foreman reads, attention first, then each job with its
//! entries; the forms by which hold points are released and deviations accepted.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse as _, Redirect, Response};
use axum::routing::{get, post};
use jiff::civil::Date;
use maud::{Markup, html};
use serde::Deserialize;

use super::act::{self, Act};
use super::day_lines::{Kept, MANY_FACTS, are_facts, entry, facts, needs};
use super::feed::holds;
use super::foreign::{foreign, told};
use super::guard::{Sent, Visitor};
use super::names::{Named, Names, Reader};
use super::refusal::Refusal;
use super::shell::{self, Part};
use super::site::{Shared, Site};
use super::{address, inbox, look, tame};
use crate::domain::{
    About, Attention, Day, DayJob, Entry, Hash, JobFile, PinKind, Right, WalkId, What,
};
use crate::office::inbox::Waiting;
use crate::office::{self, KnownJob, Translations, deeds};
use crate::store::{Store, StoreError};

pub(super) fn router() -> Router<Shared> {
    Router::new()
        .route("/day", get(newest))
        .route("/day/{date}", get(named))
        .route("/day/release", post(release))
        .route("/day/accept", post(accept))
        .route("/day/witness", post(witness))
}

#[derive(Deserialize)]
struct Wanted {
    date: Option<String>,
}

async fn newest(
    State(site): State<Shared>,
    visitor: Visitor,
    Query(wanted): Query<Wanted>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    visitor.must(Right::Foreman)?;
    if let Some(date) = wanted.date.as_deref().and_then(|date| date.parse::<Date>().ok()) {
        return Ok(Redirect::to(&format!("/day/{date}")).into_response());
    }
    let today = site.now().date();
    let date = site.log(move |store, _| office::newest_day(store, today)).await?;
    answer(&site, visitor, date, &headers).await
}

async fn named(
    State(site): State<Shared>,
    visitor: Visitor,
    Path(date): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Refusal> {
    visitor.must(Right::Foreman)?;
    let date: Date = date.parse().map_err(|_| Refusal::NotFound)?;
    answer(&site, visitor, date, &headers).await
}

/// The page, or that it is still the same: whoever looks on asks often.
async fn answer(
    site: &Shared,
    visitor: Visitor,
    date: Date,
    headers: &HeaderMap,
) -> Result<Response, Refusal> {
    let who = visitor.clone();
    let tag = site.log(move |store, site| {
        let (photos, _) = site.served.inbox.waiting();
        tag(store, site, (date, photos), &who)
    });
    let tag = tag.await?;
    let quoted = format!("\"{tag}\"");
    let tags = headers.get_all(header::IF_NONE_MATCH);
    if tags.iter().any(|sent| holds(sent.as_bytes(), &quoted)) {
        return Ok((StatusCode::NOT_MODIFIED, [(header::ETAG, quoted)]).into_response());
    }
    let who = visitor.clone();
    let of = tag.clone();
    let body = site.log(move |store, site| {
        let shown = Shown::read(store, site, date, &who)?;
        Ok::<_, Refusal>(page(&shown, &who, &of))
    });
    let body = body.await?;
    let title = visitor.words.fill("day.title", &[("date", &date.to_string())]);
    let page = shell::page_with(&visitor, Part::Day, &title, &body, &["day_live.js"]);
    Ok(([(header::ETAG, quoted)], page).into_response())
}

/// Everything the page follows from, in one hash: the log's head, what was imported,
/// the versions adopted, their translations, which photos wait, who looks, and this program.
fn tag(
    store: &Store,
    site: &Site,
    (date, photos): (Date, u64),
    who: &Visitor,
) -> Result<String, StoreError> {
    let ((entries, head), imports) = (store.head()?, store.last_import()?);
    let adopted: Vec<String> = store
        .adopted(PinKind::Checklist)?
        .iter()
        .map(|adopted| format!("{}@{}", adopted.id, adopted.version))
        .collect();
    let (person, version) = (&who.session.person, look::path("day_live.js"));
    let translations = Translations::into(&site.served.config, person.language);
    let all = format!(
        "{version} {date} {entries} {head} {imports} {photos} {} {:?} {} {} {} {:?} {}",
        adopted.join(" "),
        translations.own_sha256(),
        person.name,
        person.roles,
        person.language.code(),
        person.units,
        who.token
    );
    Ok(Hash::of(all.as_bytes()).to_string().chars().take(32).collect())
}

/// Everything the page is made of.
struct Shown {
    day: Day,
    /// The jobs of the day, by the order in which they were read, with their names.
    files: Vec<(Arc<KnownJob>, Names)>,
    /// Jobs that rest, and wait for somebody.
    before: Vec<(Arc<KnownJob>, Names)>,
    beside: (Option<Date>, Option<Date>),
    /// Entries of no job.
    of_none: Vec<Entry>,
    kept: Kept,
    /// Photos that wait, of whatever day.
    waiting: Vec<Waiting>,
}

impl Shown {
    fn read(store: &Store, site: &Site, date: Date, who: &Visitor) -> Result<Self, Refusal> {
        let functions = &site.served.functions;
        let (day, files) = office::day(store, functions, date)?;
        let mut before = office::before(store, functions, date)?;
        before.retain(|known| !deeds::waiting(&known.file).is_empty());
        let mut of_none = store.entries("", 0)?;
        of_none.retain(|entry| entry.draft.at.date() == date);
        let shown = day.jobs.iter().flat_map(|job| &job.entries).map(|(entry, _)| entry);
        let kept = Kept::of(&site.served.config.data, shown);
        let (_, waiting) = site.served.inbox.waiting();
        let mut reader = Reader::of(&site.served.config, who.words.language);
        let mut named = |jobs: Vec<Arc<KnownJob>>| {
            let named = jobs.into_iter().map(|known| {
                let names = reader.names(&known.file.checklists);
                (known, names)
            });
            named.collect::<Vec<_>>()
        };
        let (files, before) = (named(files), named(before));
        Ok(Self { waiting, kept, day, files, before, beside: store.days_beside(date)?, of_none })
    }

    /// The job of that name with its names.
    fn job(&self, name: &str) -> Option<(&KnownJob, &[Named])> {
        let mut jobs = self.files.iter().map(|(known, names)| (known.as_ref(), names.as_slice()));
        jobs.find(|(known, _)| known.name() == name)
    }
}

/// What waits on a job that rests.
fn waits(file: &JobFile) -> Vec<Attention> {
    let waiting = deeds::waiting(file).into_iter();
    let need = |(walk, step, point): deeds::PointAt<'_>| Attention {
        walk: walk.clone(),
        step: Some(step.clone()),
        seq: None,
        about: About::HoldWaiting { role: point.role.clone(), since: point.reached },
    };
    waiting.map(need).collect()
}

fn page(shown: &Shown, who: &Visitor, tag: &str) -> Markup {
    let (words, date) = (who.words, shown.day.date);
    let attention = attention(shown, who);
    // Of what cannot be read nobody knows what waits.
    let (is_quiet, is_whole) = (attention.is_empty(), shown.day.unread.is_empty());
    html! {
        div id="day" data-tag=(tag) {
            h1 { (words.fill("day.title", &[("date", &date.to_string())])) }
            nav.beside aria-label=(words.t("day.days")) {
                @match shown.beside.0 {
                    Some(before) => a href={ "/day/" (before) } rel="prev" { (words.fill("day.before", &[("date", &before.to_string())])) },
                    None => span { (words.t("day.first")) },
                }
                @match shown.beside.1 {
                    Some(after) => a href={ "/day/" (after) } rel="next" { (words.fill("day.after", &[("date", &after.to_string())])) },
                    None => span { (words.t("day.last")) },
                }
                form method="get" action="/day" {
                    label for="date" { (words.t("day.other")) }
                    input id="date" name="date" type="date" value=(date);
                    button { (words.t("day.show")) }
                }
            }
            h2 { (words.t("day.attention")) }
            @if is_quiet && is_whole { p { (words.t("day.nothing-waits")) } }
            (attention)
            (inbox::section(&shown.waiting, words))
            (unread(&shown.day.unread, words))
            @if shown.day.jobs.is_empty() && is_whole { p { (words.t("day.nothing")) } }
            @for job in &shown.day.jobs { (of_job(shown, job, who)) }
            (of_none(shown, who))
        }
    }
}

/// Imported jobs that cannot be read here, and why.
pub(super) fn unread(jobs: &[(String, String)], words: super::words::Words) -> Markup {
    html! {
        @for (name, why) in jobs {
            p { (told(&words.fill("day.unread", &[("job", name), ("why", &foreign(why))]))) }
        }
    }
}

/// What somebody has to look at, job by job.
fn attention(shown: &Shown, who: &Visitor) -> AllNeeds {
    let date = shown.day.date;
    let mut all = Vec::new();
    for job in &shown.day.jobs {
        let Some((known, names)) = shown.job(job.name()) else { continue };
        all.extend(needs((known, names), &job.attention, date, who, true));
    }
    for (known, names) in &shown.before {
        all.extend(needs((known, names), &waits(&known.file), date, who, false));
    }
    AllNeeds(all)
}

/// The blocks of all jobs that have any.
struct AllNeeds(Vec<Markup>);

impl AllNeeds {
    fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl maud::Render for AllNeeds {
    fn render_to(&self, to: &mut String) {
        for one in &self.0 {
            one.render_to(to);
        }
    }
}

fn of_job(shown: &Shown, job: &DayJob, who: &Visitor) -> Markup {
    let words = who.words;
    let (known, names) = shown.job(job.name()).unzip();
    let log = who.log_words().with(names.unwrap_or_default());
    let title = job_title(job.name(), &job.address, words);
    html! {
        section.job aria-label=(title) {
            h2 { a href=(address::of_job(job.name(), "")) { (title) } }
            @if job.invented { p.invented { (words.t("job.invented")) } }
            @if job.imported_as.is_some() { p.told { (words.t("job.imported")) } }
            @for line in log.ears(&job.ears, &job.checks) { p { (told(&line)) } }
            ol.entries {
                @for run in job.entries.chunk_by(|(a, _), (b, _)| are_facts(a, b)) {
                    @if MANY_FACTS <= run.len() { (facts(run, known, &shown.kept, log)) }
                    @else {
                        @for (one, _) in run {
                            // Told above, in one line a person.
                            @if !matches!(one.draft.what, What::EarOpened { .. } | What::EarClosed) {
                                (entry(one, known, &shown.kept, log))
                            }
                        }
                    }
                }
            }
        }
    }
}

pub(super) fn job_title(number: &str, address: &str, words: super::words::Words) -> String {
    words.fill("day.job", &[("number", number), ("address", &tame(address))])
}

fn of_none(shown: &Shown, who: &Visitor) -> Markup {
    let (words, log) = (who.words, who.log_words());
    html! {
        @if !shown.of_none.is_empty() {
            section.job {
                h2 { (words.t("day.sign-ins")) }
                ol.entries {
                    @for one in &shown.of_none { (entry(one, None, &shown.kept, log)) }
                }
            }
        }
    }
}

#[derive(Clone, Debug, Deserialize)]
struct Release {
    job: String,
    once: String,
    known: u64,
    date: String,
    walk: String,
    step: String,
    role: String,
}

#[derive(Clone, Debug, Deserialize)]
struct Accept {
    job: String,
    once: String,
    known: u64,
    date: String,
    entry: u64,
    reason: String,
}

#[derive(Clone, Debug, Deserialize)]
struct Witness {
    job: String,
    once: String,
    known: u64,
    date: String,
    walk: String,
    step: String,
}

/// The page the form was on.
fn back(date: &str) -> Result<String, Refusal> {
    let date: Date = date.parse().map_err(|_| Refusal::Strange)?;
    Ok(format!("/day/{date}"))
}

fn walk_of(text: &str) -> Result<WalkId, Refusal> {
    text.parse().map_err(|_| Refusal::Strange)
}

async fn release(
    State(site): State<Shared>,
    Sent(visitor, form): Sent<Release>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Foreman)?;
    let (walk, to) = (walk_of(&form.walk)?, back(&form.date)?);
    let sent = Act::new("release", &form, (&form.job, &form.once, form.known));
    act::act(&site, &visitor, sent, move |file, _, deed| {
        Ok(deeds::release(file, Some(&walk), &form.step, &form.role, deed)?)
    })
    .await?;
    Ok(Redirect::to(&to))
}

async fn accept(
    State(site): State<Shared>,
    Sent(visitor, form): Sent<Accept>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Foreman)?;
    let to = back(&form.date)?;
    let sent = Act::new("accept", &form, (&form.job, &form.once, form.known));
    act::act(&site, &visitor, sent, move |file, functions, deed| {
        let record = file.record(functions);
        Ok(deeds::accept(file, &record, form.entry, &form.reason, deed)?)
    })
    .await?;
    Ok(Redirect::to(&to))
}

async fn witness(
    State(site): State<Shared>,
    Sent(visitor, form): Sent<Witness>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Foreman)?;
    let (walk, to) = (walk_of(&form.walk)?, back(&form.date)?);
    let sent = Act::new("witness", &form, (&form.job, &form.once, form.known));
    act::act(&site, &visitor, sent, move |file, _, deed| {
        Ok(deeds::witness(file, &walk, &form.step, deed)?)
    })
    .await?;
    Ok(Redirect::to(&to))
}
