//! Entries, steps and materials of a job as tables for spreadsheets: RFC 4180,
//! UTF-8, lines ended by CRLF, a header whose names carry the unit where a column
//! has one.
//!
//! A spreadsheet takes a cell that begins with `=`, `+`, `-`, `@`, a tab or a
//! return for a formula. Such a cell of words, and one that begins with an
//! apostrophe, gets an apostrophe in front: take one leading apostrophe away and
//! what was logged is back. Numbers stay numbers.

use crate::domain::{
    Comparison, Given, How, JobFile, Json, Outcome, Record, RecordStep, Settled, Target,
};
use crate::measure::{Quantity, Value};

use super::{order, photos, sheet_json, sheet_parts, words};

/// The heading of measures that are materials, as checklists write it.
const MATERIALS: &str = "Materials";

/// One cell.
#[derive(Clone, Debug)]
enum Cell {
    Words(String),
    /// A number, or nothing.
    Number(String),
}

fn text(value: impl ToString) -> Cell {
    Cell::Words(value.to_string())
}

fn maybe(value: Option<impl ToString>) -> Cell {
    value.map_or(NOTHING, text)
}

fn number(n: impl ToString) -> Cell {
    Cell::Number(n.to_string())
}

const NOTHING: Cell = Cell::Number(String::new());

/// Every entry of the job, in order.
///
/// # Errors
/// Never for what a log holds: the writer of tables refuses nothing.
pub fn entries(file: &JobFile) -> Result<String, ::csv::Error> {
    let header = [
        "entry_seq",
        "at",
        "by",
        "how",
        "heard_as",
        "checklist",
        "step",
        "step_title",
        "what",
        "line",
        "corrects_entry_seq",
        "entry_sha256",
        "previous_sha256",
        "confirmed",
    ];
    let rows = file.entries.iter().map(|entry| {
        let draft = &entry.draft;
        let checklist = draft.walk.as_ref().and_then(|id| file.checklist(&id.checklist));
        let step = draft.what.step();
        let title = checklist.zip(step).map(|(list, at)| list.title_of(at));
        vec![
            number(entry.seq),
            text(draft.at),
            text(&draft.by),
            text(draft.how.word()),
            maybe(draft.how.heard().map(|heard| &heard.words)),
            maybe(draft.walk.as_ref()),
            maybe(step),
            maybe(title.as_ref()),
            text(draft.what.word()),
            text(words::what(&draft.what, title.as_deref(), file.job.units)),
            draft.corrects.map_or(NOTHING, number),
            text(entry.hash),
            text(entry.previous),
            text(confirmed(&draft.confirmed)),
        ]
    });
    table(&header, rows)
}

/// The words of what was spoken; of what was not, how it was conveyed.
fn confirmed(confirmed: &[How]) -> String {
    let words = |how: &How| match how.heard() {
        Some(heard) => format!("“{}”", heard.words),
        None => how.word().to_owned(),
    };
    confirmed.iter().map(words).collect::<Vec<_>>().join(", ")
}

/// Every step as it stands, of every walk. `given_value`, `mark_value` and
/// `tolerance_value` are decimal numbers in the unit that `unit` names.
///
/// # Errors
/// Never for what a log holds: the writer of tables refuses nothing.
pub fn steps(record: &Record) -> Result<String, ::csv::Error> {
    let header = [
        "checklist",
        "checklist_version",
        "step",
        "row",
        "title",
        "state",
        "given",
        "given_value",
        "mark_value",
        "tolerance_value",
        "unit",
        "at_least_count",
        "wanted",
        "result",
        "reason",
        "at",
        "by",
        "entry_seq",
        "corrected_times",
        "photos_asked",
        "photos_said_taken",
        "photos_kept",
        "point",
        "point_role",
        "point_released_by",
        "point_released_at",
        "tags",
        "accepted_by_entry",
        "kept_photo_files_missing_or_changed",
    ];
    let all = record.walks.iter().flat_map(|walk| walk.steps.iter().map(move |step| (walk, step)));
    let rows = all.map(|(walk, step)| {
        let mut row = vec![
            text(&walk.checklist.id),
            text(walk.checklist.version),
            text(&step.at.id),
            step.at.row.map_or(NOTHING, number),
            text(&step.title),
        ];
        row.extend(settled(step, record));
        let released = step.point.as_ref().and_then(|point| point.released.as_ref());
        row.extend([
            number(step.corrected.len()),
            number(step.photos_asked),
            number(step.photos_taken),
            number(step.photos_kept),
            maybe(step.point.as_ref().map(|point| point.kind.word())),
            maybe(step.point.as_ref().map(|point| &point.role)),
            maybe(released.map(|release| &release.by)),
            maybe(released.map(|release| release.at)),
            text(step.tags.join(" ")),
            order::accepted(record, step).first().map_or(NOTHING, |accepted| number(accepted.seq)),
            number(photos::amiss_at(record, &walk.id, step)),
        ]);
        row
    });
    table(&header, rows)
}

/// From `state` to `entry_seq`.
fn settled(step: &RecordStep, record: &Record) -> Vec<Cell> {
    let units = record.job.units;
    let Some(Settled { seq, at, by, outcome, .. }) = &step.settled else {
        let mut row = vec![text("open")];
        row.resize(13, NOTHING);
        return row;
    };
    let mut row = match outcome {
        Outcome::Skipped { reason } => {
            let mut row = vec![text("left out")];
            row.resize(9, NOTHING);
            row.push(text(reason));
            row
        }
        Outcome::Answered { given, target, reason } => {
            let (value, mut unit) = match given {
                Given::Measured(q) => (plain(*q), unit_of(*q)),
                Given::Counted(n) => (number(n), NOTHING),
                Given::Fact(_, Value::Quantity(q)) => (plain(*q), unit_of(*q)),
                _ => (NOTHING, NOTHING),
            };
            let (mut mark, mut tolerance, mut least, mut wanted) =
                (NOTHING, NOTHING, NOTHING, NOTHING);
            match target {
                Some(Target::Mark(at, by)) => {
                    (mark, tolerance, unit) = (plain(*at), plain(*by), unit_of(*at));
                }
                Some(Target::AtLeast(n)) => least = number(n),
                Some(Target::OneOf(options)) => wanted = text(options.join(" | ")),
                None => {}
            }
            let result = target.as_ref().map(|target| match target.compare(given) {
                Comparison::On => "on target",
                Comparison::Above(_) => "above",
                Comparison::Below(_) => "below",
                Comparison::TooFew(_) => "too few",
                Comparison::NotWanted => "not wanted",
            });
            vec![
                text("answered"),
                text(words::given(given, units)),
                value,
                mark,
                tolerance,
                unit,
                least,
                wanted,
                maybe(result),
                maybe(reason.as_ref()),
            ]
        }
    };
    row.extend([text(at), text(by), number(seq)]);
    row
}

/// What has to be there before the work begins: the measures under the heading
/// `Materials`, of every checklist. `value` is a decimal number, exact before any
/// rounding, in the unit beside it; `shown` is what a person reads.
///
/// # Errors
/// Never for what a log holds: the writer of tables refuses nothing.
pub fn materials(record: &Record) -> Result<String, ::csv::Error> {
    let header = ["checklist", "name", "title", "value", "unit", "shown", "source"];
    let singles = sheet_parts::singles(record);
    let rows = singles.iter().filter(|one| one.measure.group == MATERIALS).map(|one| {
        let measure = one.measure;
        let value = match &measure.computed {
            crate::domain::Computed::Value(Value::Quantity(q)) => plain(*q),
            crate::domain::Computed::Value(value) => text(words::value(value, record.job.units)),
            _ => NOTHING,
        };
        vec![
            text(&one.checklist.id),
            text(&measure.name.name),
            text(&measure.title),
            value,
            text(sheet_json::unit(&measure.kind)),
            text(words::measure(measure, record.job.units)),
            text(&measure.source),
        ]
    });
    table(&header, rows)
}

fn plain(q: Quantity) -> Cell {
    match sheet_json::plain(&Value::Quantity(q)) {
        Json::Number(n) => number(n),
        _ => NOTHING,
    }
}

fn unit_of(q: Quantity) -> Cell {
    text(sheet_json::symbol(Some(q.dimension)))
}

fn table(header: &[&str], rows: impl Iterator<Item = Vec<Cell>>) -> Result<String, ::csv::Error> {
    let mut csv =
        ::csv::WriterBuilder::new().terminator(::csv::Terminator::CRLF).from_writer(Vec::new());
    csv.write_record(header)?;
    for row in rows {
        csv.write_record(row.into_iter().map(harmless))?;
    }
    let bytes = csv.into_inner().map_err(|error| error.into_error())?;
    Ok(String::from_utf8(bytes).map_err(std::io::Error::other)?)
}

fn harmless(cell: Cell) -> String {
    match cell {
        Cell::Number(text) => text,
        Cell::Words(text) if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\'']) => {
            format!("'{text}")
        }
        Cell::Words(text) => text,
    }
}
