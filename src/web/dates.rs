//! `/dates`: the follow-ups of all jobs as a list, past first, then by week and
//! month, for everybody or one person; that person's dates as a file and as a
//! feed. Dates of one job, and what changes them, are `job_dates`.

use std::collections::BTreeSet;
use std::sync::{Mutex, PoisonError};

use axum::Router;
use axum::extract::{Query, State};
use axum::response::{Redirect, Response};
use axum::routing::{get, post};
use jiff::ToSpan as _;
use jiff::civil::{Date, Weekday};
use maud::{Markup, html};
use serde::Deserialize;

use super::day::job_title;
use super::foreign::told;
use super::guard::{Sent, Visitor};
use super::handed::{self, CALENDAR};
use super::log_words::LogWords;
use super::names::Reader;
use super::refusal::Refusal;
use super::shell::{self, Part, token};
use super::site::{Shared, Site};
use super::words::Words;
use super::{address, tame};
use crate::domain::agenda::{Stretch, seen_to};
use crate::domain::{Due, Job, Right};
use crate::export::calendar::{Dates, For, calendar};
use crate::office::{self, Feed, Feeds, JobDates, OfficeError};
use crate::store::Store;

/// Months ahead that are shown where nobody asks for more.
const FEW_MONTHS: u16 = 3;
/// As far as anybody asks for: a hundred years.
const ALL_MONTHS: u16 = 1_200;

/// One at a time: the file of the feeds is written as a whole.
static FEEDS: Mutex<()> = Mutex::new(());

pub(super) fn router() -> Router<Shared> {
    Router::new()
        .route("/dates", get(list))
        .route("/dates.ics", get(file))
        .route("/dates/feed", post(feed))
}

#[derive(Clone, Debug, Deserialize)]
struct Asked {
    /// Whose; empty for everybody's.
    #[serde(default)]
    person: String,
    months: Option<u16>,
}

impl Asked {
    fn person(&self) -> Option<&str> {
        Some(self.person.as_str()).filter(|person| !person.is_empty())
    }
}

/// A date in the list.
struct Row {
    job: Job,
    /// Its place among the dates of its job.
    place: usize,
    due: Due,
    /// What it is, as it is read.
    title: String,
    stretch: Stretch,
}

struct Found {
    rows: Vec<Row>,
    people: BTreeSet<String>,
    feed: Option<Feed>,
}

/// Dates that stand, and were not seen to where they are past.
fn find(
    store: &Store,
    site: &Site,
    asked: &Asked,
    log: LogWords<'_>,
) -> Result<Found, OfficeError> {
    let (served, mut rows) = (&site.served, Vec::new());
    let settings = office::read_settings(&served.config)?;
    let months = i32::from(asked.months.unwrap_or(FEW_MONTHS).min(ALL_MONTHS));
    let mut people = BTreeSet::new();
    let mut reader = Reader::of(&served.config, log.words.language);
    for number in store.own_jobs()? {
        let file = office::job(store, &served.functions, &number)?;
        people.extend(file.job.people.iter().map(|person| person.name.clone()));
        let names = reader.names(&file.checklists);
        let now = (served.now)(&office::zone(&file.job)?);
        let today = now.date();
        let last = today.checked_add(months.months()).unwrap_or(Date::MAX);
        for (place, due) in office::dates(&file, &settings, now)?.into_iter().enumerate() {
            let role = due.who.as_deref();
            let is_theirs = |name| role.is_some_and(|role| file.job.holds(name, role));
            let stretch = Stretch::of(due.start.date(), today);
            let shown = due.cancelled_because.is_none()
                && due.start.date() <= last
                && asked.person().is_none_or(is_theirs)
                && (stretch != Stretch::Past || seen_to(&due, &file.standing).is_none());
            if shown {
                let title = log.with(&names).title(&due, &file.standing);
                rows.push(Row { job: file.job.clone(), place, due, title, stretch });
            }
        }
    }
    rows.sort_by(|a, b| {
        let place = |row: &Row| (row.stretch, row.due.start.ms());
        (place(a), &a.due.uid).cmp(&(place(b), &b.due.uid))
    });
    let feed = Feeds::read(&served.config)?.known(asked.person()).cloned();
    Ok(Found { rows, people, feed })
}

async fn list(
    State(site): State<Shared>,
    visitor: Visitor,
    Query(asked): Query<Asked>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Desk)?;
    let (of, log) = (asked.clone(), visitor.log_words());
    let found = site.log(move |store, site| find(store, site, &of, log)).await?;
    let address = site.served.address();
    let body = page(&found, &asked, &address, &visitor);
    Ok(shell::page(&visitor, Part::Dates, visitor.words.t("dates.title"), &body))
}

fn page(found: &Found, asked: &Asked, address: &str, who: &Visitor) -> Markup {
    let words = who.words;
    let nothing = |stretch: Stretch| found.rows.iter().all(|row| row.stretch != stretch);
    let is_first = |at: usize| {
        let before = at.checked_sub(1).and_then(|before| found.rows.get(before));
        before.map(|row| row.stretch) != found.rows.get(at).map(|row| row.stretch)
    };
    let past = found.rows.iter().filter(|row| row.stretch == Stretch::Past).count();
    html! {
        h1 { (words.t("dates.title")) }
        p { (words.t("dates.told")) }
        (filter(found, asked, words))
        @if let Some(note) = shell::english_note(words) { p { (note) } }
        @if nothing(Stretch::Past) { p { (words.t("dates.nothing-past")) } }
        @if nothing(Stretch::Week) { p { (words.t("dates.nothing-soon")) } }
        @for (at, first) in found.rows.iter().enumerate().filter(|(at, _)| is_first(*at)) {
            section.dates.past[first.stretch == Stretch::Past] {
                h2 {
                    @match first.stretch {
                        Stretch::Past => (words.fill("dates.past", &[("n", &past.to_string())])),
                        Stretch::Week => (words.t("dates.week")),
                        Stretch::NextWeek => (words.t("dates.next-week")),
                        Stretch::Month(year, month) => { (month_name(words, month)) " " (year) },
                    }
                }
                ol.dates {
                    @for row in found.rows.iter().skip(at).take_while(|row| row.stretch == first.stretch) {
                        li {
                            (when(&row.due, words))
                            div {
                                a href={ (address::of_dates(&row.job.number)) "#d" (row.place) } { (told(&row.title)) }
                                p.told {
                                    (for_whom(&row.job, &row.due, words)) " "
                                    a href=(address::of_job(&row.job.number, "")) {
                                        (job_title(&row.job.number, &row.job.address, words))
                                    }
                                    @if row.job.invented { " " (words.t("dates.invented")) }
                                }
                            }
                        }
                    }
                }
            }
        }
        (handed_out(found, asked, address, who))
    }
}

/// For whom, and how far ahead.
fn filter(found: &Found, asked: &Asked, words: Words) -> Markup {
    let months = asked.months.unwrap_or(FEW_MONTHS);
    let spans = [
        (FEW_MONTHS, words.t("dates.few-months")),
        (12, words.t("dates.a-year")),
        (ALL_MONTHS, words.t("dates.all")),
    ];
    html! {
        form.pick method="get" action="/dates" {
            div {
                label for="person" { (words.t("dates.whose")) }
                select id="person" name="person" {
                    option value="" { (words.t("dates.everybody")) }
                    @for name in &found.people {
                        option value=(name) selected[asked.person() == Some(name)] { (tame(name)) }
                    }
                }
            }
            div {
                label for="months" { (words.t("dates.how-far")) }
                select id="months" name="months" {
                    @for (span, name) in spans {
                        option value=(span) selected[months == span] { (name) }
                    }
                }
            }
            button { (words.t("dates.show")) }
        }
    }
}

/// Whether the address of these dates is this person's to know.
fn may_feed(who: &Visitor, person: Option<&str>) -> bool {
    who.may(Right::Office) || person == Some(who.name())
}

/// The dates for calendar programs: a file, and an address to fetch them from.
fn handed_out(found: &Found, asked: &Asked, address: &str, who: &Visitor) -> Markup {
    let (words, person) = (who.words, asked.person());
    let is_on_a_job = person.is_none_or(|person| found.people.contains(person));
    let whose = person.map_or_else(|| words.t("dates.everybody").to_owned(), tame);
    html! {
        h2 id="calendar" { (words.t("dates.calendar")) }
        @if !is_on_a_job { p { (words.fill("dates.nobody", &[("name", &whose)])) } }
        @else {
            @if let Some(person) = person {
                @let query = serde_urlencoded::to_string([("person", person)]).unwrap_or_default();
                p { a href={ "/dates.ics?" (query) } { (words.fill("dates.file-of", &[("name", &whose)])) }
                    ": " (words.t("dates.file-told")) }
            }
            @if !may_feed(who, person) { p { (words.t("dates.not-your-feed")) } }
            @else {
                @match &found.feed {
                    Some(feed) => {
                        p { (words.fill("dates.feed", &[("name", &whose)])) }
                        p.hash { (address) (feed.path()) }
                        p { (words.t("dates.feed-told")) }
                        details.act id="anew" {
                            summary { (words.t("dates.anew")) }
                            form method="post" action="/dates/feed" {
                                (token(who))
                                input type="hidden" name="person" value=(asked.person);
                                input type="hidden" name="anew" value="yes";
                                p { (words.t("dates.anew-told")) }
                                button { (words.t("dates.anew-do")) }
                            }
                        }
                    },
                    None => form method="post" action="/dates/feed" {
                        (token(who))
                        input type="hidden" name="person" value=(asked.person);
                        p { (words.t("dates.no-feed")) }
                        button { (words.fill("dates.feed-do", &[("name", &whose)])) }
                    },
                }
            }
        }
    }
}

/// A person's dates of all jobs as a file. Fetching gives out what is new, and the
/// log says so, as the command does.
async fn file(
    State(site): State<Shared>,
    visitor: Visitor,
    Query(asked): Query<Asked>,
) -> Result<Response, Refusal> {
    visitor.must(Right::Desk)?;
    let (person, by) = (asked.person.clone(), visitor.name().to_owned());
    let text = site.log(move |store, site| {
        let served = &site.served;
        let settings = office::read_settings(&served.config)?;
        let given = office::of_person_on_all_jobs(
            (store, &served.functions),
            &settings,
            &person,
            served.now,
            &by,
        )?;
        if given.all.is_empty() {
            return Err(Refusal::NotFound);
        }
        let dates: Vec<Dates<'_>> = given.all.iter().map(JobDates::as_dates).collect();
        let text = calendar(&dates, For::File(settings.from.as_deref()));
        Ok(text.map_err(OfficeError::from)?)
    });
    Ok(handed::file(CALENDAR, &asked.person, "dates.ics", text.await?.into_bytes()))
}

#[derive(Debug, Deserialize)]
struct NewFeed {
    #[serde(default)]
    person: String,
    #[serde(default)]
    anew: String,
}

async fn feed(
    State(site): State<Shared>,
    Sent(visitor, form): Sent<NewFeed>,
) -> Result<Redirect, Refusal> {
    visitor.must(Right::Desk)?;
    let person = Some(form.person).filter(|person| !person.is_empty());
    if !may_feed(&visitor, person.as_deref()) {
        return Err(Refusal::NotYours(Right::Office));
    }
    let query = serde_urlencoded::to_string([("person", person.as_deref().unwrap_or_default())]);
    let to = format!("/dates?{}#calendar", query.unwrap_or_default());
    let (words, anew) = (visitor.words, form.anew == "yes");
    site.log(move |store, site| {
        if let Some(name) = &person
            && !office::is_on_a_job(store, name)?
        {
            let why = words.fill("dates.nobody", &[("name", &tame(name))]);
            return Err(Refusal::Unusable(why));
        }
        let _one = FEEDS.lock().unwrap_or_else(PoisonError::into_inner);
        Feeds::read(&site.served.config)?.of(person.as_deref(), anew)?;
        Ok(())
    })
    .await?;
    Ok(Redirect::to(&to))
}

/// A day of the week, whole.
pub(super) fn whole_week_day(words: Words, day: Weekday) -> &'static str {
    match day {
        Weekday::Monday => words.t("dates.on-monday"),
        Weekday::Tuesday => words.t("dates.on-tuesday"),
        Weekday::Wednesday => words.t("dates.on-wednesday"),
        Weekday::Thursday => words.t("dates.on-thursday"),
        Weekday::Friday => words.t("dates.on-friday"),
        Weekday::Saturday => words.t("dates.on-saturday"),
        Weekday::Sunday => words.t("dates.on-sunday"),
    }
}

/// Day and hour at the address, with the day of the week.
pub(super) fn when(due: &Due, words: Words) -> Markup {
    let (day, clock) = (due.start.date(), due.start.clock());
    let week_day = match day.weekday() {
        Weekday::Monday => words.t("dates.monday"),
        Weekday::Tuesday => words.t("dates.tuesday"),
        Weekday::Wednesday => words.t("dates.wednesday"),
        Weekday::Thursday => words.t("dates.thursday"),
        Weekday::Friday => words.t("dates.friday"),
        Weekday::Saturday => words.t("dates.saturday"),
        Weekday::Sunday => words.t("dates.sunday"),
    };
    html! { time datetime=(due.start) { (week_day) " " strong { (day) } " " (clock) } }
}

fn month_name(words: Words, month: i8) -> &'static str {
    match month {
        1 => words.t("dates.january"),
        2 => words.t("dates.february"),
        3 => words.t("dates.march"),
        4 => words.t("dates.april"),
        5 => words.t("dates.may"),
        6 => words.t("dates.june"),
        7 => words.t("dates.july"),
        8 => words.t("dates.august"),
        9 => words.t("dates.september"),
        10 => words.t("dates.october"),
        11 => words.t("dates.november"),
        _ => words.t("dates.december"),
    }
}

/// The role that looks after it, and who that is on the job.
pub(super) fn for_whom(job: &Job, due: &Due, words: Words) -> String {
    let Some(role) = &due.who else { return words.t("dates.for-nobody").to_owned() };
    let people = job.people.iter().filter(|person| person.role == *role);
    let names: Vec<&str> = people.map(|person| person.name.as_str()).collect();
    match names.as_slice() {
        [] => words.fill("dates.for-role", &[("role", &tame(&words.role(role)))]),
        names => {
            let names = tame(&names.join(", "));
            words.fill("dates.for", &[("role", &tame(&words.role(role))), ("names", &names)])
        }
    }
}
