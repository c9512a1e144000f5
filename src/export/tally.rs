//! Leak calls counted over all jobs, as text and as JSON
//! (`chalkhand-callbacks/1`).

use crate::domain::Json;
use crate::domain::tally::{Count, LEAST_FOR_SHARE, Tally};

use super::json::{list, object};
use super::page::Page;

/// What such counts are not.
const IS_NOT: &str = "Counts, not causes. Jobs without a call may leak unseen, newer jobs had less \
time to, and a finding names the steps that somebody named.";

/// For a terminal.
#[must_use]
pub fn text(tally: &Tally) -> String {
    let mut page = Page::default();
    page.paragraph(0, "CALLBACKS of all jobs");
    let (calls, open) = (tally.calls, tally.open);
    page.paragraph(2, &format!("Calls: {calls}, of which {open} open."));
    page.paragraph(2, &format!("Jobs with a call: {}.", share(tally.all)));
    if 0 < tally.invented {
        let left = tally.invented;
        page.paragraph(2, &format!("Invented examples left out: {left} (--invented counts them)."));
    }
    page.heading("By the step that a finding names, of the jobs on which it was logged");
    if tally.by_step.is_empty() {
        page.paragraph(2, "No finding names a step.");
    }
    for (step, title, count) in &tally.by_step {
        let title = if title.is_empty() { "logged on no job" } else { title };
        page.item(2, &format!("{step} ({title}): {}", share(*count)));
    }
    page.heading("By version of the checklists walked");
    for (id, version, count) in &tally.by_version {
        page.item(2, &format!("{id} {version}: {}", share(*count)));
    }
    page.heading("With deviations, accepted or not, and without");
    page.item(2, &format!("with a deviation: {}", share(tally.deviating)));
    page.item(2, &format!("without one: {}", share(tally.as_written)));
    page.blank();
    page.paragraph(0, &few());
    page.paragraph(0, IS_NOT);
    page.into_string()
}

fn few() -> String {
    format!(
        "A percentage is given from {LEAST_FOR_SHARE} jobs on: of fewer, one call more or less \
         would change it by more than it says."
    )
}

fn share(count: Count) -> String {
    let (n, m) = (count.with_call, count.jobs);
    let jobs = if m == 1 { "job" } else { "jobs" };
    match count.percent() {
        Some(percent) => format!("{n} of {m} {jobs}, {percent} %"),
        None => format!("{n} of {m} {jobs}"),
    }
}

/// The same as JSON.
#[must_use]
pub fn json(tally: &Tally) -> Json {
    let steps = tally.by_step.iter().map(|(step, title, n)| {
        let mut members = count(*n);
        members.extend([
            ("checklist", Json::text(&step.checklist)),
            ("step", Json::text(&step.step)),
            ("title", Json::text(title)),
        ]);
        object(members)
    });
    let versions = tally.by_version.iter().map(|(id, version, n)| {
        let mut members = count(*n);
        members.extend([("checklist", Json::text(id)), ("version", Json::text(version))]);
        object(members)
    });
    object(vec![
        ("format", "chalkhand-callbacks/1".into()),
        ("is_not", IS_NOT.into()),
        ("percent_from_jobs", Json::from(LEAST_FOR_SHARE)),
        ("calls", Json::from(tally.calls)),
        ("open", Json::from(tally.open)),
        ("invented_left_out", Json::from(tally.invented)),
        ("all", object(count(tally.all))),
        ("by_step", list(steps)),
        ("by_version", list(versions)),
        ("with_deviation", object(count(tally.deviating))),
        ("without_deviation", object(count(tally.as_written))),
    ])
}

fn count(count: Count) -> Vec<(&'static str, Json)> {
    vec![
        ("with_call", Json::from(count.with_call)),
        ("jobs", Json::from(count.jobs)),
        ("percent", count.percent().map_or(Json::Null, Json::from)),
    ]
}
