//! Record and day log as JSON of a documented, stable shape; the sheet is in
//! `sheet_json`.
//!
//! `"format"` names the shape and its version: `chalkhand-record/1`,
//! `chalkhand-day/1`. Within a version members are only
//! added. Quantities are `{kind, exact, shown}`: `exact` loses nothing and
//! carries its unit, `shown` is for a person. Times are RFC 3339 with the
//! offset of the address; members that are not known are left out.

use std::fmt::Display;

use crate::domain::entry_json;
use crate::domain::{
    About, Attention, Caution, Cautions, Checklist, Comparison, Computed, Day, Due, Entry,
    FactName, Given, Hash, Heard, How, Job, Json, Note, Outcome, Pin, PointStanding, Profile,
    Record, RecordFact, RecordMeasure, RecordStep, RecordWalk, SaidTaken, Settled, Table, Target,
    Units, sealing,
};
use crate::measure::{Quantity, Value};

use super::html::Drawing;
use super::told::Told;
use super::{callback, drawing, first_page, order, photos, sound, words};

/// The whole record, with the dates given out after it.
#[must_use]
pub fn record(record: &Record, due: &[Due]) -> Json {
    let units = record.job.units;
    let tables = order::tables(record);
    let mut members = head(record, "chalkhand-record/1");
    members.extend([
        ("made_by", sealing::PROGRAM.into()),
        ("made_at", option(record.last_at.as_ref())),
        ("unfinished", option(first_page::unfinished(record).as_ref())),
        ("first_page_assumed", option(first_page::assumed(record).as_ref())),
        ("steps_stand", option(first_page::stands(record).as_ref())),
        ("recordings_reused", option(first_page::reused(record).as_ref())),
        ("points_reached", list(first_page::points(record).iter().map(Json::text))),
        ("drawings", list(drawing::plates(record).into_iter().map(plate))),
        ("pins", list(record.job.pins.iter().map(pin))),
        ("facts", list(order::facts(record).into_iter().map(|f| asked(f, &tables, units)))),
        ("checklists", list(record.walks.iter().map(|w| walk(record, w, &tables)))),
        ("notes", list(record.notes.iter().map(note))),
        ("photos", list(record.photos.iter().map(photos::json))),
        ("photos_amiss", option(photos::all_amiss(record).as_ref())),
        ("sound", sound::json(&record.ears, &record.checks)),
        ("follow_ups", list(due.iter().map(follow_up))),
        ("deviations", list(record.deviations.iter().map(|d| callback::deviation(record, d)))),
        ("callbacks", list(record.callbacks.iter().map(|c| callback::addendum(record, c)))),
        ("hands", list(first_page::who(record).iter().map(Json::text))),
    ]);
    object(members)
}

/// A note; one that was spoken is not verified.
pub(super) fn note(note: &Note) -> Json {
    Json::object([
        ("entry_seq", Json::whole(note.seq)),
        ("at", Json::text(note.at)),
        ("by", Json::text(&note.by)),
        ("spoken", Json::Bool(note.spoken)),
        ("verified", if note.spoken { Json::Bool(false) } else { Json::Null }),
        ("checklist", option(note.step.as_ref().map(|(walk, _)| &walk.checklist))),
        ("walk", option(note.step.as_ref().map(|(walk, _)| walk))),
        ("step", option(note.step.as_ref().map(|(_, step)| step))),
        ("text", Json::text(&note.text)),
        ("clip", note.clip.as_ref().map_or(Json::Null, sound::clip_json)),
    ])
}

/// The day log. Entries are as they were sealed, with their hash, the name of
/// their step and the line a person reads.
#[must_use]
pub fn day(day: &Day) -> Json {
    let jobs = day.jobs.iter().map(|job| {
        let entries = job.entries.iter().map(|(one, title)| entry(one, title.as_deref()));
        let needs = job.attention.iter().map(|a| attention(a, order::day_title(job, a)));
        Json::object([
            ("number", Json::text(&job.number)),
            ("imported_as", option(job.imported_as.as_ref())),
            ("address", Json::text(&job.address)),
            ("invented", Json::Bool(job.invented)),
            ("attention", list(needs)),
            ("sound", sound::json(&job.ears, &job.checks)),
            ("entries", list(entries)),
        ])
    });
    Json::object([
        ("format", "chalkhand-day/1".into()),
        ("date", Json::text(day.date)),
        ("jobs", list(jobs)),
        ("unread", unread(&day.unread)),
    ])
}

/// Imported jobs that cannot be read here, and why; null where there are none.
#[must_use]
pub fn unread(jobs: &[(String, String)]) -> Json {
    let one = |(name, why): &(String, String)| {
        Json::object([("imported_as", Json::text(name)), ("why", Json::text(why))])
    };
    if jobs.is_empty() { Json::Null } else { list(jobs.iter().map(one)) }
}

/// An entry as it was sealed, with its hash, the name of its step and the line a
/// person reads.
#[must_use]
pub fn entry(entry: &Entry, title: Option<&str>) -> Json {
    let mut sealed = entry_json::sealed(entry.seq, &entry.draft, entry.previous);
    if let Json::Object(members) = &mut sealed {
        members.insert("entry_sha256", Json::text(entry.hash));
        if let Some(title) = title {
            members.insert("step_title", Json::text(title));
        }
    }
    Told::Line.put(&mut sealed, words::entry(entry, title, Units::Us));
    sealed
}

/// Indented text for a person; members in the order of the canonical text.
#[must_use]
pub fn pretty(json: &Json) -> String {
    let mut out = String::new();
    indent(json, 0, &mut out);
    out.push('\n');
    out
}

fn indent(json: &Json, depth: usize, out: &mut String) {
    match json {
        // Numbers of one list are read together.
        Json::List(items) if items.iter().any(|item| !matches!(item, Json::Number(_))) => {
            out.push('[');
            for (at, item) in items.iter().enumerate() {
                out.push_str(if at == 0 { "" } else { "," });
                line(depth + 1, out);
                indent(item, depth + 1, out);
            }
            line(depth, out);
            out.push(']');
        }
        Json::Object(members) if !members.is_empty() => {
            let mut members: Vec<_> = members.iter().collect();
            // They are sorted by UTF-8; RFC 8785 sorts by UTF-16, which is the same in ASCII.
            if !members.iter().all(|(key, _)| key.is_ascii()) {
                members.sort_by(|(a, _), (b, _)| a.encode_utf16().cmp(b.encode_utf16()));
            }
            out.push('{');
            for (at, (key, value)) in members.into_iter().enumerate() {
                out.push_str(if at == 0 { "" } else { "," });
                line(depth + 1, out);
                leaf(&key.into(), out);
                out.push_str(": ");
                indent(value, depth + 1, out);
            }
            line(depth, out);
            out.push('}');
        }
        json => leaf(json, out),
    }
}

fn line(depth: usize, out: &mut String) {
    out.push('\n');
    for _ in 0..depth {
        out.push_str("  ");
    }
}

/// A number that is not finite has no JSON text; `null` keeps the rest readable, and
/// nothing here makes one.
fn leaf(json: &Json, out: &mut String) {
    let before = out.len();
    if json.write_canonical(out).is_err() {
        out.truncate(before);
        out.push_str("null");
    }
}

/// The members every output about one job begins with.
pub(super) fn head(record: &Record, format: &str) -> Vec<(&'static str, Json)> {
    let needs = record.attention.iter().map(|need| needed(record, need, false));
    vec![
        ("format", format.into()),
        ("is_not", words::IS_NOT.into()),
        ("invented", Json::Bool(record.job.invented)),
        ("job", job(&record.job)),
        ("profile", record.profile.as_deref().map_or(Json::Null, |p| profile(p, record.job.units))),
        ("attention", list(needs)),
        ("chain_head", record.head.map_or(Json::Null, |(seq, hash)| chain_head(seq, hash))),
    ]
}

fn plate(plate: Drawing) -> Json {
    Json::object([
        ("title", Json::from(plate.title)),
        ("description", Json::from(plate.description)),
        ("svg", Json::from(plate.svg)),
    ])
}

/// The last entry of a job.
pub(super) fn chain_head(seq: u64, hash: Hash) -> Json {
    Json::object([("entry_seq", Json::whole(seq)), ("entry_sha256", Json::text(hash))])
}

/// What needs attention, in one word.
pub(super) fn kind(about: &About) -> String {
    words::about(about).to_lowercase().replace(' ', "-")
}

pub(super) fn job(job: &Job) -> Json {
    let people = job
        .people
        .iter()
        .map(|p| Json::object([("name", Json::text(&p.name)), ("role", Json::text(&p.role))]));
    Json::object([
        ("number", Json::text(&job.number)),
        ("address", Json::text(&job.address)),
        ("owner", Json::text(&job.owner)),
        ("phone", Json::text(&job.phone)),
        ("company", Json::text(&job.company)),
        ("time_zone", Json::text(&job.time_zone)),
        ("code_edition", Json::text(&job.code_edition)),
        ("units", (if job.units == Units::Us { "us" } else { "metric" }).into()),
        ("people", list(people)),
    ])
}

pub(super) fn pin(pin: &Pin) -> Json {
    Json::object([
        ("kind", pin.kind.word().into()),
        ("id", Json::text(&pin.id)),
        ("version", Json::text(pin.version)),
        ("file_sha256", Json::text(pin.hash)),
    ])
}

fn profile(profile: &Profile, units: Units) -> Json {
    let figures = profile.figures.iter().map(|(name, (kind, value))| {
        Json::object([
            ("name", Json::text(name)),
            ("asked_as", kind.word().into()),
            ("value", shown(value, words::value(value, units))),
        ])
    });
    Json::object([
        ("id", Json::text(&profile.id)),
        ("version", Json::text(profile.version)),
        ("title", Json::text(&profile.title)),
        ("source", Json::text(&profile.source)),
        ("invented", Json::Bool(profile.invented)),
        ("file_sha256", Json::text(profile.hash)),
        ("figures", list(figures)),
    ])
}

pub(super) fn fact(fact: &RecordFact, units: Units) -> Json {
    let mut members = name(&fact.name);
    members.extend([
        ("ask", Json::text(&fact.ask)),
        ("assumed", Json::Bool(fact.assumed)),
        ("follows_from_others", if fact.follows { Json::Bool(true) } else { Json::Null }),
        ("value", shown(&fact.value, words::value(&fact.value, units))),
    ]);
    object(members)
}

/// A fact with its question and its row, as a person reads it.
fn asked(of: &RecordFact, tables: &[&Table], units: Units) -> Json {
    let mut json = fact(of, units);
    Told::Line.put(&mut json, words::question(of, tables));
    json
}

fn name(name: &FactName) -> Vec<(&'static str, Json)> {
    vec![("name", Json::text(&name.name)), ("row", name.row.map_or(Json::Null, Json::from))]
}

fn walk(record: &Record, walk: &RecordWalk, tables: &[&Table]) -> Json {
    let units = record.job.units;
    let checklist: &Checklist = &walk.checklist;
    let cautions = checklist.cautions.iter().map(|of| {
        let mut json = caution(of);
        Told::GivenBefore.put(&mut json, order::given_before(record, &walk.id.checklist, of));
        json
    });
    let mut members = foundation(checklist);
    members.extend([
        ("walk", Json::text(&walk.id)),
        ("walk_title", Json::from(order::walk_title(walk))),
        ("cautions", list(cautions)),
        ("begun_at", option(walk.begun.as_ref())),
        ("ended_at", option(walk.ended.as_ref())),
        ("warnings", list(walk.warnings.iter().map(Json::text))),
        ("measures", list(walk.measures.iter().map(|m| measure(m, tables, units)))),
        ("steps", list(walk.steps.iter().map(|s| step(record, walk, s)))),
    ]);
    object(members)
}

/// What a checklist is and rests on.
pub(super) fn foundation(checklist: &Checklist) -> Vec<(&'static str, Json)> {
    vec![
        ("id", Json::text(&checklist.id)),
        ("version", Json::text(checklist.version)),
        ("title", Json::text(&checklist.title)),
        ("file_sha256", Json::text(checklist.hash)),
        ("yields_to", Json::text(&checklist.yields_to)),
        ("sources", list(checklist.sources.iter().map(Json::text))),
    ]
}

pub(super) fn caution(caution: &Caution) -> Json {
    Json::object([
        ("id", Json::text(&caution.id)),
        ("say", Json::text(&caution.say)),
        ("source", Json::text(&caution.source)),
    ])
}

fn measure(measure: &RecordMeasure, tables: &[&Table], units: Units) -> Json {
    let line = order::measure_line(tables, measure);
    let mut members = name(&measure.name);
    members.extend([
        ("title", Json::text(&measure.title)),
        Told::Line.member(line),
        ("first_page", if measure.first_page { Json::Bool(true) } else { Json::Null }),
        ("formula", Json::text(&measure.formula)),
        ("source", Json::text(&measure.source)),
    ]);
    members.push(match &measure.computed {
        Computed::Value(value) => ("value", shown(value, words::measure(measure, units))),
        Computed::Missing(names) => ("missing", list(names.iter().map(Json::text))),
        Computed::Cannot(why) => ("cannot", Json::text(why)),
    });
    object(members)
}

fn step(record: &Record, walk: &RecordWalk, step: &RecordStep) -> Json {
    let units = record.job.units;
    let accepted = order::accepted(record, step);
    let mut members = vec![
        ("id", Json::text(&step.at.id)),
        ("row", step.at.row.map_or(Json::Null, Json::from)),
        ("title", Json::text(&step.title)),
        ("text", option(step.text.as_ref())),
        ("tags", list(step.tags.iter().map(Json::text))),
        ("settled", step.settled.as_ref().map_or(Json::Null, |s| settled(s, units))),
        ("corrected", list(step.corrected.iter().map(|s| settled(s, units)))),
        ("photos_asked", Json::from(step.photos_asked)),
        ("photos_said_taken", Json::from(step.photos_taken)),
        ("photos_said", list(step.photos_said.iter().map(said_taken))),
        ("photos_kept", Json::from(step.photos_kept)),
        ("photos_shown", option(photos::counted(record, &walk.id, step).as_ref())),
        ("accepted", list(accepted.into_iter().map(|one| Json::text(callback::it_was(one))))),
        ("point", step.point.as_ref().map_or(Json::Null, point)),
    ];
    members.extend(cautions(&step.cautioned));
    object(members)
}

/// That somebody said that a photo was taken.
pub(super) fn said_taken(said: &SaidTaken) -> Json {
    Json::object([
        ("entry_seq", Json::whole(said.seq)),
        ("at", Json::text(said.at)),
        ("by", Json::text(&said.by)),
        ("how", how(&said.how)),
    ])
}

/// The cautions given with a step.
pub(super) fn cautions(given: &Cautions) -> [(&'static str, Json); 3] {
    let Cautions { said, spoken } = given;
    let how = (!said.is_empty()).then(|| words::cautions_given(*spoken));
    [
        ("cautions_said", list(said.iter().map(Json::text))),
        ("cautions_spoken", spoken.map_or(Json::Null, Json::Bool)),
        (Told::CautionsGiven.name(), option(how.as_ref())),
    ]
}

pub(super) fn settled(settled: &Settled, units: Units) -> Json {
    let mut members = vec![
        ("entry_seq", Json::whole(settled.seq)),
        ("at", Json::text(settled.at)),
        ("by", Json::text(&settled.by)),
        ("how", how(&settled.how)),
        ("confirmed", list(settled.confirmed.iter().map(how))),
        Told::AskedFor.member(words::asked_for(&settled.outcome, units)),
        Told::Line.member(words::outcome(&settled.outcome, units)),
    ];
    match &settled.outcome {
        Outcome::Answered { given: what, target: asked, reason } => members.extend([
            ("given", given(what, units)),
            ("target", asked.as_ref().map_or(Json::Null, |t| target(t, units))),
            (
                "comparison",
                asked.as_ref().map_or(Json::Null, |t| comparison(&t.compare(what), units)),
            ),
            ("reason", option(reason.as_ref())),
        ]),
        Outcome::Skipped { reason } => {
            members.extend([("left_out", Json::Bool(true)), ("reason", Json::text(reason))]);
        }
    }
    if let Some(confirmed) = words::confirmed(&settled.confirmed) {
        members.push(Told::ConfirmedShown.member(confirmed));
    }
    object(members)
}

fn given(given: &Given, units: Units) -> Json {
    match given {
        Given::Done => Json::object([("done", Json::Bool(true))]),
        Given::Measured(q) => Json::object([("measured", quantity(*q, units))]),
        Given::Counted(n) => Json::object([("counted", Json::from(*n))]),
        Given::Chosen(option) => Json::object([("chosen", Json::text(option))]),
        Given::Fact(of, value) => {
            let mut members = name(of);
            members.push(("value", shown(value, words::value(value, units))));
            Json::object([("fact", object(members))])
        }
        Given::Noted(text) => Json::object([("noted", Json::text(text))]),
    }
}

fn target(target: &Target, units: Units) -> Json {
    match target {
        Target::Mark(mark, tolerance) => Json::object([
            ("mark", quantity(*mark, units)),
            ("tolerance_either_way", quantity(*tolerance, units)),
        ]),
        Target::AtLeast(n) => Json::object([("at_least", Json::from(*n))]),
        Target::OneOf(options) => Json::object([("one_of", list(options.iter().map(Json::text)))]),
    }
}

fn comparison(comparison: &Comparison, units: Units) -> Json {
    let (word, by) = match comparison {
        Comparison::On => ("on-target", Json::Null),
        Comparison::Above(by) => ("above", quantity(*by, units)),
        Comparison::Below(by) => ("below", quantity(*by, units)),
        Comparison::TooFew(few) => ("too-few", Json::from(*few)),
        Comparison::NotWanted => ("not-wanted", Json::Null),
    };
    Json::object([("result", word.into()), ("by", by)])
}

pub(super) fn how(how: &How) -> Json {
    let heard = how.heard().map_or(Json::Null, |heard| {
        let Heard { words, b_milli, a_milli, m_milli, sound } = heard;
        // Words of one's own are compared with nothing.
        let compared = |milli: i32| match heard.is_dictated() {
            true => Json::Null,
            false => Json::Number(milli.into()),
        };
        Json::object([
            ("words", Json::text(words)),
            ("b_thousandths_nat_per_token", Json::Number((*b_milli).into())),
            ("a_thousandths_nat_per_token", compared(*a_milli)),
            ("m_thousandths_nat_per_token", compared(*m_milli)),
            ("sound_sha256", Json::text(sound)),
        ])
    });
    Json::object([("by", how.word().into()), ("heard", heard), Told::Line.member(words::how(how))])
}

pub(super) fn point(point: &PointStanding) -> Json {
    let released = point.released.as_ref().map_or(Json::Null, |release| {
        Json::object([
            ("entry_seq", Json::whole(release.seq)),
            ("at", Json::text(release.at)),
            ("by", Json::text(&release.by)),
            ("how", how(&release.how)),
        ])
    });
    Json::object([
        ("kind", point.kind.word().into()),
        ("role", Json::text(&point.role)),
        ("reached_at", Json::text(point.reached)),
        ("released", released),
    ])
}

/// What needs attention, or a deviation, with what stands behind it.
pub(super) fn needed(record: &Record, need: &Attention, accepted: bool) -> Json {
    let mut json = attention(need, order::title_in(record, need).as_deref());
    if let Some(behind) = order::behind(record, need, accepted) {
        Told::LoggedShown.put(&mut json, behind);
    }
    Told::Briefly.put(&mut json, order::briefly(record, need));
    json
}

pub(super) fn attention(need: &Attention, title: Option<&str>) -> Json {
    let mut members = vec![
        ("kind", Json::from(kind(&need.about))),
        ("checklist", Json::text(&need.walk.checklist)),
        ("walk", Json::text(&need.walk)),
        ("step", option(need.step.as_ref())),
        ("entry_seq", need.seq.map_or(Json::Null, Json::whole)),
        Told::Sentence.member(words::attention(need, title)),
    ];
    members.extend(match &need.about {
        About::HoldWaiting { role, since } => {
            vec![("role", Json::text(role)), ("since", Json::text(since))]
        }
        About::OffTarget { reason } => vec![("reason", option(reason.as_ref()))],
        About::AskedOtherwise { asked, now } => {
            vec![("asked", Json::text(asked)), ("asked_now", Json::text(now))]
        }
        About::NotBegun => Vec::new(),
        About::Skipped { reason } => vec![("reason", Json::text(reason))],
        About::PhotosMissing { asked, taken } => {
            vec![("photos_asked", Json::from(*asked)), ("photos_said_taken", Json::from(*taken))]
        }
        About::TooFast { took_s, least_s } => {
            vec![("took_s", signed(*took_s)), ("least_s", Json::from(*least_s))]
        }
        About::ClockJump { back_s } => vec![("back_s", signed(*back_s))],
        About::Unfinished { open, overtaken } => vec![
            ("open_steps", Json::whole(u64::try_from(*open).unwrap_or(u64::MAX))),
            ("overtaken", if *overtaken { Json::Bool(true) } else { Json::Null }),
        ],
        About::NewerAdopted { pinned, newest } => {
            vec![("pinned", Json::text(pinned)), ("newest", Json::text(newest))]
        }
    });
    object(members)
}

pub(super) fn follow_up(due: &Due) -> Json {
    Json::object([
        ("uid", Json::text(&due.uid)),
        ("start", Json::text(due.start)),
        ("lasts_min", Json::from(due.lasts_min)),
        ("title", Json::text(&due.title)),
        ("checklist", option(due.checklist.as_ref())),
        ("who", option(due.who.as_ref())),
        ("planned", option(due.placed.as_ref().map(|placed| &placed.planned))),
        ("placed_because", option(due.placed.as_ref().map(|placed| &placed.why))),
        ("moved_because", option(due.moved_because.as_ref())),
        ("cancelled_because", option(due.cancelled_because.as_ref())),
        ("stands", option(Some(words::due_stands(due)).filter(|text| !text.is_empty()).as_ref())),
        ("sequence", Json::from(due.sequence)),
        ("issued_at", Json::text(due.issued)),
    ])
}

fn quantity(q: Quantity, units: Units) -> Json {
    shown(&Value::Quantity(q), words::quantity(q, units))
}

/// The exact value with what a person reads beside it.
fn shown(value: &Value, shown: String) -> Json {
    let mut json = entry_json::value(value);
    Told::Shown.put(&mut json, shown);
    json
}

pub(super) fn list(items: impl Iterator<Item = Json>) -> Json {
    Json::List(items.collect())
}

/// Members that are not known are left out.
pub(super) fn object(members: Vec<(&'static str, Json)>) -> Json {
    let known = members.into_iter().filter(|(_, value)| *value != Json::Null);
    Json::Object(known.collect())
}

pub(super) fn option(value: Option<&impl Display>) -> Json {
    value.map_or(Json::Null, Json::text)
}

#[expect(clippy::cast_precision_loss, reason = "seconds between two entries stay below 2^53")]
fn signed(n: i64) -> Json {
    Json::Number(n as f64)
}
