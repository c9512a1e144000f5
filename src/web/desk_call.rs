//! What a leak call needs first, as a page: `domain::desk`'s order for a call that
//! was taken down, or for a place that somebody asks about before.

use maud::{Markup, html};
use serde::Deserialize;

use super::foreign::{plain, told};
use super::guard::Visitor;
use super::log_words::LogWords;
use super::names::Names;
use super::words::Words;
use super::{act, address, day::job_title, desk_drawing, shell, tame, visit};
use crate::domain::desk::{Desk, DeskStep, desk, rows};
use crate::domain::{
    At, Call, CallbackStanding, Due, JobFile, Logged, NamedStep, Record, RecordCallback,
    RecordPhoto, RowRef, StepRef, WalkId, Warranty, Working,
};
use crate::export::callback;
use crate::export::drawing::Plate;
use crate::export::words::{day_and_clock, without_advice};

/// Which call, or which place, the page is asked for.
#[derive(Clone, Debug, Default, Deserialize)]
pub(super) struct Asked {
    call: Option<u32>,
    #[serde(default)]
    pub(super) water: String,
    #[serde(default)]
    pub(super) plane: String,
    #[serde(default)]
    run: String,
    #[serde(default)]
    pub(super) edge: String,
}

/// What the page is made of.
pub(super) struct Of<'a> {
    pub(super) file: &'a JobFile,
    pub(super) names: Names,
    pub(super) record: Record,
    pub(super) due: Vec<Due>,
    pub(super) now: At,
    pub(super) drawn: Vec<Plate>,
    pub(super) working: Working,
}

/// The number of a call that nobody has taken down.
const NOT_YET: u32 = 0;

impl Asked {
    fn names_a_place(&self) -> bool {
        [&self.water, &self.plane, &self.run, &self.edge].iter().any(|text| !text.trim().is_empty())
    }

    /// The call there would be, with the rows that are known.
    fn call(&self, record: &Record, now: At) -> Call {
        let row = |table: &str, text: &str| {
            let row = text.trim().parse().ok()?;
            let known = rows(record, table).is_none_or(|known| 0 < row && row <= known);
            known.then(|| RowRef { table: table.to_owned(), row })
        };
        let named = [row("plane", &self.plane), row("run", &self.run)];
        Call {
            id: NOT_YET,
            reported: now.date(),
            water: self.water.clone(),
            rows: named.into_iter().flatten().collect(),
            edge: Some(self.edge.clone()).filter(|edge| !edge.trim().is_empty()),
            caller: String::new(),
            phone: None,
        }
    }
}

/// The page of a job for the desk.
pub(super) fn page(mut of: Of<'_>, asked: &Asked, who: &Visitor) -> Markup {
    let words = who.words;
    let job = &of.file.job;
    let calls: Vec<CallbackStanding> =
        of.record.callbacks.iter().map(|one| one.standing.clone()).collect();
    let newest_open = calls.iter().rev().find(|call| call.closed.is_none());
    let of_call = match (asked.call, asked.names_a_place()) {
        (Some(id), _) => Some(id),
        (None, true) => None,
        (None, false) => newest_open.map(|open| open.call.id),
    };
    let id = of_call.unwrap_or(NOT_YET);
    if id == NOT_YET {
        let call = asked.call(&of.record, of.now);
        let opened = Logged { seq: of.file.standing.last_seq, at: of.now, by: String::new() };
        let standing = CallbackStanding { call, opened, visits: Vec::new(), closed: None };
        of.record.callbacks.push(RecordCallback::of(&standing, &[]));
    }
    let view = desk(&of.record, id);
    let link = |below: &str| address::of_job(&job.number, below);
    html! {
        h1 { (job_title(&job.number, &job.address, words)) }
        @if job.invented { p.invented { (words.t("job.invented")) } }
        p { (tame(&job.owner)) ", " (tame(&job.phone)) }
        p.ways {
            a href=(link("")) { (words.t("desk.to-job")) } " "
            a href=(link("/record.pdf")) { (words.t("job.pdf")) } " "
            a href=(link("/record")) { (words.t("job.record")) } " "
            a href=(link("/sheet")) { (words.t("job.sheet")) } " "
            a href=(link("/files.zip")) { (words.t("job.zip")) }
            " " a href=(address::of_dates(&job.number)) { (words.t("dates.title")) }
            @if !of.due.is_empty() { " " a href=(link("/dates.ics")) { (words.t("job.dates")) } }
        }
        @if let Some(note) = shell::english_note(words) { p { (note) } }
        (all_calls(&of, &calls, of_call, who))
        h2 { (words.t("desk.where")) }
        p { (words.t("desk.where-told"))
            @if !of.drawn.is_empty() { " " a href="#drawing" { (words.t("desk.to-drawing")) } }
        }
        (place_form(&of, asked, words))
        @match &view {
            Some(view) => (first(&of, view, of_call.is_some(), who)),
            None => p { (words.t("desk.no-such-call")) },
        }
        (open_form(&of, asked, who))
        (desk_drawing::drawings(&of, asked, view.as_ref(), words))
    }
}

/// The job's calls; those that are open with the form that closes them.
fn all_calls(of: &Of<'_>, calls: &[CallbackStanding], shown: Option<u32>, who: &Visitor) -> Markup {
    let (words, number) = (who.words, &of.file.job.number);
    let log = who.log_words().with(&of.names);
    html! {
        h2 { (words.t("desk.calls")) }
        @if calls.is_empty() { p { (words.t("desk.no-calls")) } }
        ul {
            @for one in calls {
                @let (call, id) = (&one.call, one.call.id.to_string());
                li {
                    a href={ "/desk/" (address::part(number)) "?call=" (id) }
                        aria-current=[(shown == Some(call.id)).then_some("true")] {
                        (words.fill("desk.call", &[("id", &id), ("date", &call.reported.to_string())]))
                    }
                    ": " (told(&log.water(call))) ", " (tame(&callback::caller(call))) ". "
                    @for (walk, visited) in &one.visits {
                        (words.fill("desk.visited", &[("date", &visited.at.date().to_string()), ("by", &tame(&visited.by)), ("walk", &walk.to_string())])) " "
                    }
                    @match &one.closed {
                        Some((finding, closed)) => {
                            (words.fill("desk.closed", &[("date", &closed.at.date().to_string()), ("by", &tame(&closed.by))]))
                            " " (told(&log.finding(finding))) "."
                            (visit::still_planned(of.file, call.id, of.now, words))
                        },
                        None => {
                            strong { (words.t("desk.is-open")) }
                            (visit::of_call(of.file, one, of.now, &of.working, who))
                            (close_form(of, call, who))
                        },
                    }
                }
            }
        }
    }
}

fn close_form(of: &Of<'_>, call: &Call, who: &Visitor) -> Markup {
    let (words, id) = (who.words, call.id);
    let log = who.log_words().with(&of.names);
    let steps = desk(&of.record, id).map(|view| view.steps).unwrap_or_default();
    let steps = steps.into_iter().filter(|step| step.step.settled.is_some());
    let area = |name: &'static str, label: &'static str, needed: bool| {
        html! {
            label for={ (name) "-" (id) } { (words.t(label)) }
            textarea id={ (name) "-" (id) } name=(name) rows="2" maxlength="4000" required[needed] {}
        }
    };
    html! {
        details.act id={ "close-" (id) } {
            summary { (words.fill("desk.close", &[("id", &id.to_string())])) }
            form method="post" action="/desk/close" {
                (act::fields(who, &of.file.job.number, of.file.standing.last_seq))
                input type="hidden" name="id" value=(id);
                (area("found", "desk.finding", true))
                (area("cause", "desk.cause", false))
                (area("done", "desk.done", false))
                label for={ "warranty-" (id) } { (words.t("desk.warranty")) }
                select id={ "warranty-" (id) } name="warranty" {
                    option value=(Warranty::Undecided.word()) { (words.t("desk.undecided")) }
                    option value=(Warranty::Under.word()) { (words.t("desk.under")) }
                    option value=(Warranty::Outside.word()) { (words.t("desk.outside")) }
                }
                details id={ "steps-" (id) } {
                    summary { (words.t("desk.goes-back")) }
                    fieldset {
                        legend { (words.t("desk.goes-back-told")) }
                        @for step in steps {
                            @let named = NamedStep { checklist: step.walk.checklist.clone(), step: step.step.at.clone() };
                            label.choice {
                                input type="checkbox" name="step" value=(named);
                                span { (told(&log.step(&step.walk, &step.step.at))) " (" (step.walk) ")" }
                            }
                        }
                    }
                }
                button { (words.t("desk.close-do")) }
            }
        }
    }
}

/// What to look at first.
fn first(of: &Of<'_>, view: &Desk, is_call: bool, who: &Visitor) -> Markup {
    let (words, log) = (who.words, who.log_words().with(&of.names));
    let (record, call) = (&of.record, &view.callback.call);
    let name = |walk: &WalkId, step: Option<&StepRef>| step.map(|step| log.step(walk, step));
    html! {
        h2 id="first" {
            @if is_call { (words.fill("desk.first-of", &[("id", &call.id.to_string())])) }
            @else { (words.t("desk.first")) }
        }
        @if !call.water.is_empty() { p { (told(&log.water(call))) } }
        @if view.places.is_empty() { p { (words.t("desk.no-place")) } }
        @else {
            ul { @for place in &view.places {
                li { (told(&log.row(&place.at))) ": " (told(&log.because(place))) }
            } }
        }
        h3 { (words.t("desk.water-steps")) }
        (steps(&view.steps, record, log))
        h3 { (words.t("desk.deviations")) }
        @if view.deviations.is_empty() { p { (words.t("desk.none")) } }
        ul {
            @for (here, one) in &view.deviations {
                @let title = name(&one.need.walk, one.need.step.as_ref());
                @let line = log.on(Some(&one.need.walk)).attention(&one.need, title.as_deref());
                li {
                    @if *here { strong { (words.t("desk.at-the-place")) " " } }
                    @match &one.accepted {
                        None => (told(&line)),
                        Some(accepted) => {
                            (told(&without_advice(&line))) " "
                            (words.fill("log.it-was", &[("accepted", &tame(&log.accepted(accepted)))]))
                        },
                    }
                    @if let Some(seq) = one.need.seq { " " (entry(of, seq, words)) }
                }
            }
        }
        @if !view.open.is_empty() {
            h3 { (words.t("desk.open-matters")) }
            ul {
                @for (here, need) in &view.open {
                    @let title = name(&need.walk, need.step.as_ref());
                    li {
                        @if *here { strong { (words.t("desk.at-the-place")) " " } }
                        (told(&log.on(Some(&need.walk)).attention(need, title.as_deref())))
                    }
                }
            }
        }
        h3 { (words.t("desk.photos")) }
        (pictures(of, view, log))
        h3 { (words.t("desk.people")) }
        @if view.days.is_empty() { p { (words.t("desk.no-days")) } }
        ul {
            @for day in &view.days {
                @let people: Vec<String> = day.people.iter().map(|by| tame(&with_roles(record, by, words))).collect();
                li {
                    (day.date) ": " (people.join(", "))
                    @if !day.told.is_empty() {
                        ul {
                            @for (walk, step) in &day.told {
                                li { (told(&log.step(walk, &step.at))) " (" (walk) "): " (told(&log.on(Some(walk)).stands(step))) }
                            }
                        }
                    }
                }
            }
        }
        h3 { (words.t("desk.promised")) }
        @if of.due.is_empty() { p { (words.t("desk.nothing-promised")) } }
        ul {
            @for due in &of.due {
                li {
                    (told(&log.promised(due, &of.file.standing)))
                    @if due.start.ms() < of.now.ms() { " " (words.t("desk.is-past")) }
                }
            }
        }
        p { (words.t("desk.is-not")) }
    }
}

/// The number of an entry; the day log is not the desk's.
fn entry(of: &Of<'_>, seq: u64, words: Words) -> String {
    let at = of.file.entries.iter().find(|entry| entry.seq == seq);
    let (entry, date) = (seq.to_string(), at.map(|entry| entry.draft.at.date().to_string()));
    match date {
        Some(date) => words.fill("desk.entry", &[("entry", &entry), ("date", &date)]),
        None => words.fill("day.entry", &[("entry", &entry)]),
    }
}

/// A person with the roles the job gives them.
fn with_roles(record: &Record, name: &str, words: Words) -> String {
    let people = record.job.people.iter().filter(|person| person.name == name);
    let roles: Vec<String> = people.map(|person| words.role(&person.role)).collect();
    if roles.is_empty() { name.to_owned() } else { format!("{name} ({})", roles.join(", ")) }
}

/// Waterproofing steps in their order, under why they stand there.
fn steps(all: &[DeskStep], record: &Record, log: LogWords<'_>) -> Markup {
    let words = log.words;
    let is_first = |at: usize| {
        let before = at.checked_sub(1).and_then(|before| all.get(before));
        before.map(|step| step.rank) != all.get(at).map(|step| step.rank)
    };
    let asked = |step: &DeskStep| {
        let settled = step.step.settled.as_ref()?;
        Some(log.on(Some(&step.walk)).wanted(&settled.outcome))
    };
    let checked = record.walks.iter().any(|walk| walk.begun.is_some());
    html! {
        @if all.is_empty() {
            p { @if checked { (words.t("desk.no-steps")) } @else { (words.t("desk.not-walked")) } }
        }
        ul.steps {
            @for (at, step) in all.iter().enumerate() {
                @if is_first(at) { li.rank { strong { (log.rank(step.rank)) ":" } } }
                li {
                    (told(&log.step(&step.walk, &step.step.at))) " (" (step.walk) "): "
                    (told(&log.on(Some(&step.walk)).stands(&step.step)))
                    @if let Some(asked) = asked(step) {
                        ". " (told(&words.fill("desk.wanted", &[("wanted", &asked)])))
                    }
                    ". " (told(&log.why(step))) "."
                }
            }
        }
    }
}

/// Photos at those steps in their order, then the others.
fn pictures(of: &Of<'_>, view: &Desk, log: LogWords<'_>) -> Markup {
    let words = log.words;
    let place = |kept: &RecordPhoto| {
        let at = view.steps.iter().position(|step| {
            kept.step.as_ref() == Some(&step.step.at) && kept.walk.as_ref() == Some(&step.walk)
        });
        at.unwrap_or(usize::MAX)
    };
    let mut all: Vec<&RecordPhoto> = of.record.photos.iter().collect();
    all.sort_by_key(|kept| place(kept));
    let number = &of.file.job.number;
    html! {
        @if all.is_empty() { p { (words.t("desk.no-photos")) } }
        div.photos {
            @for kept in all {
                @let step = kept.walk.as_ref().zip(kept.step.as_ref());
                @let title = step.and_then(|(walk, at)| log.step_of(&walk.checklist, at));
                @let shows = kept.photo.caption.as_ref().or(title.as_ref());
                @let shows = shows.map_or_else(|| words.t("day.photo").to_owned(), |shows| plain(shows));
                figure {
                    a href=(address::photo(number, kept.photo.sha256)) {
                        img src=(address::photo(number, kept.photo.preview_sha256)) alt=(shows) loading="lazy";
                    }
                    figcaption {
                        @if let Some(title) = &title { (told(title)) ": " }
                        @if let Some(caption) = &kept.photo.caption { "“" (tame(caption)) "”, " }
                        (day_and_clock(kept.at)) ", " (tame(&kept.by)) ". "
                        (tame(&log.size(&kept.photo)))
                    }
                }
            }
        }
    }
}

/// Where, so that it is seen what lies there before anything is kept.
fn place_form(of: &Of<'_>, asked: &Asked, words: Words) -> Markup {
    let fields = [
        ("water", "desk.water", &asked.water),
        ("plane", "desk.plane", &asked.plane),
        ("run", "desk.run", &asked.run),
        ("edge", "desk.edge", &asked.edge),
    ];
    html! {
        form.place method="get" action={ "/desk/" (address::part(&of.file.job.number)) } {
            @for (name, label, value) in fields {
                div {
                    label for={ "see-" (name) } { (words.t(label)) }
                    @match rows(&of.record, name).filter(|_| matches!(name, "plane" | "run")) {
                        Some(known) => (row_choice(&format!("see-{name}"), name, None, known, value, words)),
                        None => input id={ "see-" (name) } name=(name) value=(value) maxlength="2000" autocomplete="off";,
                    }
                }
            }
            button { (words.t("desk.look-first")) }
        }
    }
}

/// A row of the plan: one of those there are, or none named.
fn row_choice(
    id: &str,
    name: &str,
    told: Option<&str>,
    known: u32,
    value: &str,
    words: Words,
) -> Markup {
    html! {
        select id=(id) name=(name) aria-describedby=[told] {
            option value="" { (words.t("desk.not-known")) }
            @for row in 1..=known {
                option value=(row) selected[value.trim() == row.to_string()] { (row) }
            }
        }
    }
}

fn open_form(of: &Of<'_>, asked: &Asked, who: &Visitor) -> Markup {
    let (words, number) = (who.words, &of.file.job.number);
    let field = |name: &'static str, label: &'static str, hint: &str, value: &str, needed: bool| {
        html! {
            label for=(name) { (words.t(label)) }
            p.told id={ (name) "-told" } { (hint) }
            input id=(name) name=(name) value=(value) maxlength="2000" required[needed]
                autocomplete="off" aria-describedby={ (name) "-told" };
        }
    };
    let row = |name: &'static str, label: &'static str, value: &str| match rows(&of.record, name) {
        None => field(name, label, words.t("desk.no-rows"), value, false),
        Some(known) => html! {
            label for=(name) { (words.t(label)) }
            p.told id={ (name) "-told" } { (words.t("desk.row-told")) }
            (row_choice(name, name, Some(&format!("{name}-told")), known, value, words))
        },
    };
    html! {
        h2 id="open" { (words.t("desk.open")) }
        form method="post" action="/desk/open" {
            (act::fields(who, number, of.file.standing.last_seq))
            (field("water", "desk.water", words.t("desk.water-told"), &asked.water, true))
            (row("plane", "desk.plane", &asked.plane))
            (row("run", "desk.run", &asked.run))
            (field("edge", "desk.edge", words.t("desk.edge-told"), &asked.edge, false))
            (field("caller", "desk.caller", words.t("desk.caller-told"), "", true))
            (field("phone", "job.phone", words.t("desk.phone-told"), "", false))
            label for="reported" { (words.t("desk.reported")) }
            input id="reported" name="reported" type="date" required value=(of.now.date()) max=(of.now.date());
            button { (words.t("desk.open-do")) }
        }
    }
}
