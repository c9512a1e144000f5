//! Accepted deviations and leak calls on the record's page.

use crate::domain::{Record, RecordCallback};

use super::super::{callback, order, words};
use super::writer::{Html, Row};

/// What somebody accepted: no longer open, never hidden.
pub(super) fn accepted(page: &mut Html, record: &Record) {
    let found = record.deviations.iter().filter_map(|d| Some((&d.need, d.accepted.as_ref()?)));
    let found: Vec<_> = found.collect();
    if found.is_empty() {
        return;
    }
    page.raw("<h2>Deviations that were accepted</h2>\n<ul>\n");
    for (need, accepted) in found {
        let title = order::title_in(record, need);
        page.element("<li><strong>", words::about(&need.about), ":</strong> ");
        page.text(&words::without_advice(&words::after_about(need, title.as_deref())));
        if let Some(behind) = order::behind(record, need, true) {
            page.raw(" ").text(&behind);
        }
        page.raw(" It was ").text(&callback::accepted(accepted)).raw("</li>\n");
    }
    page.raw("</ul>\n");
}

/// Calls after the install: each is an addendum to the record before it.
pub(super) fn callbacks(page: &mut Html, record: &Record) {
    if record.callbacks.is_empty() {
        return;
    }
    page.raw("<section id=\"calls\">\n").heading("What was reported and found at leak calls");
    let rows: Vec<Row> = record.callbacks.iter().map(|one| row(record, one)).collect();
    let headings = &["Reported", "Where water was said to come in", "What was found and done"];
    page.table("callbacks", headings, &rows).raw("</section>\n");
}

fn row(record: &Record, one: &RecordCallback) -> Row {
    let (standing, call) = (&one.standing, &one.standing.call);
    let mut reported = Html::of(&format!("call {}, {}", call.id, call.reported));
    reported.raw("<p class=\"said\">").text(&callback::caller(call)).raw("</p>");
    let mut found = Html::default();
    if let Some((finding, _)) = &standing.closed {
        found.text(&callback::finding(finding));
        for named in &finding.steps {
            let name = callback::step_name(record, named);
            found.element("<p class=\"said\">step: ", &name, "</p>");
        }
    }
    for line in callback::course(record, standing) {
        found.element("<p class=\"said\">", &line, ".</p>");
    }
    found.element("<p class=\"said\">", &callback::covers(one), "</p>");
    if let Some((seq, hash)) = one.follows {
        found.raw("<p class=\"said\">entry ").text(&seq.to_string()).raw(": <span class=\"hash\">");
        found.text(&hash.to_string()).raw("</span></p>");
    }
    Row::Cells(vec![reported, Html::of(&callback::water(call)), found])
}
