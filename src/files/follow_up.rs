//! The follow-ups of a checklist file: when after the job, how often, for whom.

use jiff::Span;
use jiff::civil::date;

use crate::domain::schedule::MOST_REPEATS;
use crate::domain::{FollowUp, Repeat, RepeatEnd};

use super::checklist::read_duration;
use super::fact::check_id;
use super::node::{Node, Text, clip};
use super::problem::Report;

/// A day in minutes, the longest an appointment lasts.
const DAY_MIN: i64 = 24 * 60;

pub(super) fn read_follow_ups(nodes: &[Node<'_>]) -> Vec<FollowUp> {
    let mut follow_ups: Vec<FollowUp> = Vec::new();
    for node in nodes {
        let report = node.report();
        let (id, title, after) = (node.text("id"), node.need("title"), node.need("after"));
        let checklist = node.text("checklist").filter(|id| check_id(id, report));
        let lasts_min = node.text("lasts").and_then(|text| read_lasts(&text, report));
        let repeats = read_repeat(node, report);
        let who = node.any("who").and_then(|_| node.need("who"));
        let fixed = node.flag("fixed").unwrap_or(false);
        node.finish();
        let after = after.and_then(|text| read_after(&text, report));
        let (Some(title), Some(after)) = (title, after) else { continue };
        let id_text = match id {
            Some(id) if !check_id(&id, report) => continue,
            Some(id) => id,
            None => title.renamed(id_of(&title.value)),
        };
        if follow_ups.iter().any(|known| known.id == id_text.value) {
            let message = format!("a follow-up `{}` is given already; give an id", id_text.value);
            report.say(id_text.at, message);
            continue;
        }
        follow_ups.push(FollowUp {
            id: id_text.value,
            after,
            checklist: checklist.map(|text| text.value),
            title: title.value,
            lasts_min: lasts_min.unwrap_or(30),
            repeats,
            who: who.map(|text| text.value),
            fixed,
        });
    }
    follow_ups
}

/// An identifier made of the words of a title.
fn id_of(title: &str) -> String {
    let lower = title.to_lowercase();
    let words = lower.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty());
    let id = words.collect::<Vec<_>>().join("-");
    let id = if id.starts_with(|c: char| c.is_ascii_lowercase()) { id } else { format!("on-{id}") };
    id.chars().take(60).collect::<String>().trim_end_matches('-').to_owned()
}

fn read_after(text: &Text, report: &Report<'_>) -> Option<Span> {
    let span = text.value.parse::<Span>().ok();
    let span = span.filter(|span| text.value.starts_with('P') && span.is_positive());
    if span.is_none() {
        let message = format!("`{}` is not a time after the job", clip(&text.value));
        let hint = "expected an ISO 8601 duration such as P30D, P6M or P1Y".to_owned();
        report.say_hint(text.letters(), message, Some(hint));
    }
    span
}

/// `repeats` with `times` or `until`.
fn read_repeat(node: &Node<'_>, report: &Report<'_>) -> Option<Repeat> {
    let every = node.text("repeats");
    let times = node.whole("times", MOST_REPEATS);
    let until = node.text("until");
    let Some(every) = every else {
        if times.is_some() || until.is_some() {
            let message = "`times` and `until` say when `repeats` ends; add `repeats`";
            report.say(node.at.clone(), message);
        }
        return None;
    };
    let span = read_after(&every, report)?;
    if span.get_hours() != 0 || span.get_minutes() != 0 || span.get_seconds() != 0 {
        report.say(every.letters(), "dates come back after whole days, weeks, months or years");
        return None;
    }
    let ends = match (times, until) {
        (Some(times), None) if 2 <= times => RepeatEnd::Times(times),
        (Some(_), None) => {
            let message = format!("`times` is 2 to {MOST_REPEATS}, the first date counted");
            report.say(node.at.clone(), message);
            return None;
        }
        (None, Some(until)) => {
            let last = read_after(&until, report)?;
            let begin = date(2001, 1, 31);
            let many = i64::from(MOST_REPEATS);
            let after = span.checked_mul(many).ok().and_then(|span| begin.checked_add(span).ok());
            let ends = begin.checked_add(last).ok();
            if after.zip(ends).is_none_or(|(after, ends)| after <= ends) {
                let message = format!("more than {MOST_REPEATS} dates; repeat it less often");
                report.say(until.letters(), message);
                return None;
            }
            RepeatEnd::Until(last)
        }
        _ => {
            let message = "a date that comes back says when it ends: add either `times = 5` or \
                           `until = \"P10Y\"`";
            report.say(every.letters(), message);
            return None;
        }
    };
    Some(Repeat { every: span, ends })
}

fn read_lasts(text: &Text, report: &Report<'_>) -> Option<u32> {
    let minutes = read_duration(text, report)?.as_mins();
    let minutes = u32::try_from(minutes).ok().filter(|m| (1..=DAY_MIN).contains(&i64::from(*m)));
    if minutes.is_none() {
        report.say(text.letters(), "an appointment lasts from a minute to a day");
    }
    minutes
}
