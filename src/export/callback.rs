//! Leak calls and deviations in words and as JSON: shared by the record, the day
//! log and the desk.

use crate::domain::{
    Acceptance, Call, CallbackStanding, Deviation, Finding, Json, Logged, NamedStep, Record,
    RecordCallback, Units, WalkId, Warranty,
};

use super::json::{chain_head, how, list, needed, object, option};
use super::told::Told;
use super::{order, words};

/// Where water came in: the caller's words and what was named.
#[must_use]
pub fn water(call: &Call) -> String {
    let mut named: Vec<String> = call.rows.iter().map(ToString::to_string).collect();
    named.extend(call.edge.clone());
    let named = if named.is_empty() { String::new() } else { format!(" ({})", named.join(", ")) };
    format!("“{}”{named}", call.water)
}

/// Who called, and how to reach them.
#[must_use]
pub fn caller(call: &Call) -> String {
    match &call.phone {
        Some(phone) => format!("{}, {phone}", call.caller),
        None => call.caller.clone(),
    }
}

/// Whether it is under warranty, as somebody said.
#[must_use]
pub fn warranty(warranty: Warranty) -> &'static str {
    match warranty {
        Warranty::Under => "said to be under warranty",
        Warranty::Outside => "said not to be under warranty",
        Warranty::Undecided => "warranty not decided",
    }
}

/// A finding in one sentence.
#[must_use]
pub fn finding(finding: &Finding) -> String {
    let mut text = format!("found: {}", finding.found);
    for (name, value) in [("cause", &finding.cause), ("done", &finding.done)] {
        if let Some(value) = value {
            text.push_str(&format!("; {name}: {value}"));
        }
    }
    if !finding.steps.is_empty() {
        let steps: Vec<String> = finding.steps.iter().map(ToString::to_string).collect();
        text.push_str(&format!("; goes back to {}", steps.join(", ")));
    }
    if let Some(why) = &finding.visit_left_open {
        text.push_str(&format!("; a visit was left unfinished: {why}"));
    }
    format!("{text}; {}", warranty(finding.warranty))
}

/// Who accepted a deviation, when and why.
#[must_use]
pub fn accepted(accepted: &Acceptance) -> String {
    format!(
        "accepted by {} ({}) {}, entry {}, for this reason: “{}”",
        accepted.by,
        accepted.role,
        words::day_and_clock(accepted.at),
        accepted.seq,
        accepted.reason
    )
}

/// Who took a call down, the visits that were begun, and who closed it, in sentences.
#[must_use]
pub fn course(record: &Record, standing: &CallbackStanding) -> Vec<String> {
    let logged = |what: &str, logged: &Logged| {
        let (by, at) = (&logged.by, words::day_and_clock(logged.at));
        format!("{what} by {by}, {at}, entry {}", logged.seq)
    };
    let mut all = vec![logged("Taken down", &standing.opened)];
    for (walk, visited) in &standing.visits {
        let found = record.walks.iter().find(|known| known.id == *walk);
        let settled =
            found.map_or(0, |walk| walk.steps.iter().filter(|s| s.settled.is_some()).count());
        let steps = found.map_or(0, |walk| walk.steps.len());
        let ended = match found.and_then(|walk| walk.ended) {
            Some(ended) => format!("ended {}", words::day_and_clock(ended)),
            None => format!("not ended, {settled} of {steps} steps settled"),
        };
        let begun = logged("begun in the program", visited);
        all.push(format!("Visit {begun}: {}, {ended}", walk_name(record, walk)));
    }
    if standing.visits.is_empty() {
        all.push("No visit is logged".to_owned());
    }
    match &standing.closed {
        Some((_, closed)) => all.push(logged("Closed", closed)),
        None => all.push("The call is open".to_owned()),
    }
    all
}

/// A step that a finding names, by its title where the record has it.
#[must_use]
pub fn step_name(record: &Record, named: &NamedStep) -> String {
    let walk = record.walks.iter().find(|walk| walk.checklist.id == named.checklist);
    walk.map_or_else(|| named.to_string(), |walk| walk.checklist.title_of(&named.step))
}

/// The title of a visit, where the record has the walk.
#[must_use]
pub fn walk_name(record: &Record, walk: &WalkId) -> String {
    let found = record.walks.iter().find(|known| known.id == *walk);
    found.map_or_else(|| walk.to_string(), order::walk_title)
}

/// A deviation with who accepted it.
pub(super) fn deviation(record: &Record, deviation: &Deviation) -> Json {
    let mut json = needed(record, &deviation.need, deviation.accepted.is_some());
    if let (Json::Object(members), Some(accepted)) = (&mut json, &deviation.accepted) {
        members.insert("accepted", acceptance(accepted));
        let (name, shown) = accepted_shown(accepted);
        members.insert(name.to_owned(), shown);
        if let Some(Json::Text(sentence)) = members.get_mut(Told::Sentence.name()) {
            *sentence = words::without_advice(sentence).into();
        }
    }
    json
}

/// Who accepted it, in a sentence.
pub(super) fn accepted_shown(acceptance: &Acceptance) -> (&'static str, Json) {
    Told::AcceptedShown.member(it_was(acceptance))
}

/// The same as a sentence of its own, without its full stop.
pub(super) fn it_was(acceptance: &Acceptance) -> String {
    format!("It was {}", accepted(acceptance))
}

pub(super) fn acceptance(accepted: &Acceptance) -> Json {
    Json::object([
        ("entry_seq", Json::whole(accepted.seq)),
        ("at", Json::text(accepted.at)),
        ("by", Json::text(&accepted.by)),
        ("role", Json::text(&accepted.role)),
        ("how", how(&accepted.how)),
        ("reason", Json::text(&accepted.reason)),
    ])
}

/// What an addendum consists of: its own entries, among which those of another call
/// may stand.
#[must_use]
pub fn covers(callback: &RecordCallback) -> String {
    let own = words::ranges(callback.entries.iter().map(|entry| entry.seq));
    let of = if callback.entries.len() == 1 { "entry" } else { "entries" };
    match callback.follows {
        Some((seq, _)) => format!("Addendum: {of} {own}, after the record up to entry {seq}."),
        None => format!("Addendum: {of} {own}."),
    }
}

/// A call as the record has it: an addendum with what it follows and covers.
pub(super) fn addendum(record: &Record, callback: &RecordCallback) -> Json {
    let standing = &callback.standing;
    let (from, to) = callback.covers;
    let entries = callback.entries.iter().map(|entry| {
        let walk = entry.draft.walk.as_ref();
        let walk = walk.and_then(|id| record.walks.iter().find(|walk| walk.id == *id));
        let title = walk.zip(entry.draft.what.step()).map(|(w, at)| w.checklist.title_of(at));
        Json::object([
            ("entry_seq", Json::whole(entry.seq)),
            ("entry_sha256", Json::text(entry.hash)),
            ("at", Json::text(entry.draft.at)),
            Told::Line.member(words::entry(entry, title.as_deref(), record.job.units)),
        ])
    });
    let mut members =
        stands_of(standing, |_, named| step_name(record, named), |_, walk| walk_name(record, walk));
    members.extend([
        (
            "addendum",
            Json::object([
                (
                    "follows",
                    callback.follows.map_or(Json::Null, |(seq, hash)| chain_head(seq, hash)),
                ),
                ("from_entry", Json::whole(from)),
                ("to_entry", Json::whole(to)),
                Told::Line.member(covers(callback)),
            ]),
        ),
        ("entries", list(entries)),
        ("course", list(course(record, standing).iter().map(Json::text))),
    ]);
    object(members)
}

/// What stands of a call: all of it that comes from entries. `title` is the name
/// of a step that the finding names, `walk_title` that of a visit, each by its place.
pub(super) fn stands_of(
    standing: &CallbackStanding,
    title: impl Fn(usize, &NamedStep) -> String,
    walk_title: impl Fn(usize, &WalkId) -> String,
) -> Vec<(&'static str, Json)> {
    let visits = standing.visits.iter().enumerate().map(|(at, (walk, visited))| {
        let mut members = logged(visited);
        members.push(("walk", Json::text(walk)));
        members.push(("walk_title", Json::from(walk_title(at, walk))));
        object(members)
    });
    let closed = standing.closed.as_ref();
    let mut members = call(&standing.call, &standing.opened);
    members.extend([
        ("open", Json::Bool(closed.is_none())),
        ("visits", list(visits)),
        (
            "closed",
            closed.map_or(Json::Null, |(found, closed)| {
                let mut members = logged(closed);
                members.extend(finding_members(found, title));
                object(members)
            }),
        ),
        Told::WaterShown.member(water(&standing.call)),
        Told::CallerShown.member(caller(&standing.call)),
        closed.map_or((Told::FoundShown.name(), Json::Null), |(found, _)| {
            Told::FoundShown.member(finding(found))
        }),
    ]);
    members
}

fn logged(logged: &Logged) -> Vec<(&'static str, Json)> {
    vec![
        ("entry_seq", Json::whole(logged.seq)),
        ("at", Json::text(logged.at)),
        ("by", Json::text(&logged.by)),
    ]
}

/// A call as it was reported.
pub(super) fn call(call: &Call, opened: &Logged) -> Vec<(&'static str, Json)> {
    let rows = call
        .rows
        .iter()
        .map(|at| Json::object([("table", Json::text(&at.table)), ("row", Json::from(at.row))]));
    vec![
        ("id", Json::from(call.id)),
        ("reported_on", Json::text(call.reported)),
        ("water", Json::text(&call.water)),
        ("rows", list(rows)),
        ("edge", option(call.edge.as_ref())),
        ("caller", Json::text(&call.caller)),
        ("phone", option(call.phone.as_ref())),
        ("opened", object(logged(opened))),
    ]
}

fn finding_members(
    found: &Finding,
    title: impl Fn(usize, &NamedStep) -> String,
) -> Vec<(&'static str, Json)> {
    let steps = found.steps.iter().enumerate().map(|(at, named)| {
        Json::object([
            ("checklist", Json::text(&named.checklist)),
            ("step", Json::text(&named.step)),
            ("title", Json::from(title(at, named))),
        ])
    });
    vec![
        ("found", Json::text(&found.found)),
        ("cause", option(found.cause.as_ref())),
        ("done", option(found.done.as_ref())),
        ("steps", list(steps)),
        ("warranty", found.warranty.word().into()),
        ("visit_left_open", option(found.visit_left_open.as_ref())),
        Told::Line.member(finding(found)),
    ]
}

/// The calls of a job, a line each, for a terminal.
#[must_use]
pub fn lines(record: &Record, open_only: bool) -> Vec<String> {
    let calls = record.callbacks.iter().map(|callback| &callback.standing);
    let calls = calls.filter(|standing| !open_only || standing.closed.is_none());
    let line = |standing: &CallbackStanding| {
        let call = &standing.call;
        let state = match (&standing.closed, standing.visits.as_slice()) {
            (Some((found, closed)), _) => {
                format!("closed {}: {}", closed.at.date(), finding(found))
            }
            (None, []) => "open, not visited".to_owned(),
            (None, [.., (walk, visited)]) => {
                format!("open, visited {} ({walk})", visited.at.date())
            }
        };
        let (id, reported, caller) = (call.id, call.reported, caller(call));
        format!("{id}  reported {reported} by {caller}: {}; {state}", water(call))
    };
    calls.map(|standing| words::one_line(&line(standing))).collect()
}

/// The calls of a job as JSON; `imported_as` is the name of a record of another device.
#[must_use]
pub fn json(record: &Record, imported_as: Option<&str>, open_only: bool) -> Json {
    let calls = record.callbacks.iter();
    let calls = calls.filter(|callback| !open_only || callback.standing.closed.is_none());
    list(calls.map(|callback| {
        let mut json = addendum(record, callback);
        if let Json::Object(members) = &mut json {
            members.insert("job", Json::text(&record.job.number));
            members.extend(imported_as.map(|name| ("imported_as", Json::text(name))));
            members.insert("address", Json::text(&record.job.address));
        }
        json
    }))
}

/// What stands of a step, in one line.
#[must_use]
pub fn stands(step: &crate::domain::RecordStep, units: Units) -> String {
    match &step.settled {
        None => "not logged".to_owned(),
        Some(settled) => format!(
            "{}; {} by {}, entry {}",
            words::outcome(&settled.outcome, units),
            words::day_and_clock(settled.at),
            settled.by,
            settled.seq
        ),
    }
}
