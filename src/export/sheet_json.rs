//! The sheet as JSON for programs, `chalkhand-sheet/1`: a documented, stable
//! shape. Within a version members are only added.
//!
//! - `format`, `is_not`, `invented`, `job`, `profile`, `attention`,
//!   `chain_head`: as in the record.
//! - `measures`: name → one measure of the whole job, of all pinned checklists.
//!   Where two of them mean different values by one name, the later one stands
//!   under `checklist-id.name`. Each has
//!   - `value`: a decimal number, exact before any rounding and cut after nine
//!     places; `true` or `false`; a text; `null` while it is not known
//!   - `unit`: `in`, `in2`, `in2/ft`, `in/ft` (a pitch, as rise for each foot of
//!     run), `degF`, `mph` and so on; empty for plain numbers and words
//!   - `tape`: what a person reads, rounded in its safe direction; `null` while
//!     it is not known
//!   - `facts`: names of surveyed facts and `profile.` figures it rests on,
//!     however far back, sorted; a fact that is only assumed is among them, with
//!     those its default takes
//!   - `title`, `group`, `formula`, `source`, `checklist`, and `bound`: which way
//!     `tape` is rounded, `minimum` up, `maximum` down, `mark` to the nearest
//!   - `missing`: the facts and figures it waits for; or `cannot`: why it has no
//!     value.
//! - the rows of each table, in a list under its name and an `s`: `runs`,
//!   `planes` (`run_rows` where `runs` is a member of this list already). A row
//!   has `number`, counted from 1, and every column that is surveyed, assumed,
//!   measured or computed, as plain values in the units above; `null` while one
//!   is not known. The list is empty while the rows are not known.
//! - `columns`: `table.column` → what the measures have, without a `value` and
//!   with one `tape` a row.
//! - `facts`: surveyed ones and those assumed, as in the record.
//! - `warnings`, `assumptions`: sentences, each once.
//! - `cautions`: `id`, `say`, `source`.
//! - `checklists`: what was pinned, its sources, and what it yields to.

use crate::domain::{Bound, Computed, FactKind, Json, Members, Record, RecordMeasure};
use crate::measure::{Dimension, Quantity, Ratio, Rounding, Unit, Value};

use super::json::{caution, fact, foundation, head, list, object};
use super::sheet_parts::{self, Cell, Column, Single, Table};
use super::{order, words};

/// The whole sheet.
#[must_use]
pub fn sheet(record: &Record) -> Json {
    let units = record.job.units;
    let singles = sheet_parts::singles(record);
    let measures = singles.iter().map(|one| (one.key.clone(), measure(one)));
    let tables = sheet_parts::tables(record);
    let columns = tables.iter().flat_map(|table| columns(record, table));
    let mut members = head(record, "chalkhand-sheet/1");
    members.retain(|(name, _)| *name != "is_not");
    members.extend([
        ("is_not", words::SHEET_IS_NOT.into()),
        ("measures", Json::Object(measures.collect())),
        ("columns", Json::Object(columns.collect())),
        ("facts", list(order::facts(record).into_iter().map(|f| fact(f, units)))),
        ("warnings", list(sheet_parts::warnings(record).into_iter().map(Json::text))),
        ("assumptions", list(sheet_parts::assumptions(record).into_iter().map(Json::from))),
        ("cautions", list(sheet_parts::cautions(record).into_iter().map(caution))),
        ("checklists", list(record.walks.iter().map(|w| object(foundation(&w.checklist))))),
    ]);
    let mut sheet = object(members);
    if let Json::Object(members) = &mut sheet {
        for table in &tables {
            let taken = format!("{}s", table.name);
            let key =
                if members.contains_key(&taken) { format!("{}_rows", table.name) } else { taken };
            members.insert(key, rows(table));
        }
    }
    sheet
}

fn measure(single: &Single<'_>) -> Json {
    let measure = single.measure;
    let mut members = about(measure, &single.checklist.id);
    let value = match &measure.computed {
        Computed::Value(value) => plain(value),
        Computed::Missing(names) => {
            members.insert("missing", list(names.iter().map(Json::text)));
            Json::Null
        }
        Computed::Cannot(why) => {
            members.insert("cannot", Json::text(why));
            Json::Null
        }
    };
    members.insert("value", value);
    members.insert("tape", measure.shown.as_ref().map_or(Json::Null, Json::text));
    Json::Object(members)
}

fn about(measure: &RecordMeasure, checklist: &str) -> Members {
    Members::from([
        ("unit", Json::from(unit(&measure.kind))),
        ("formula", Json::text(&measure.formula)),
        ("facts", list(measure.facts.iter().map(Json::text))),
        ("title", Json::text(&measure.title)),
        ("group", Json::text(&measure.group)),
        ("source", Json::text(&measure.source)),
        ("bound", bound(measure.bound).into()),
        ("checklist", Json::text(checklist)),
    ])
}

fn columns(record: &Record, table: &Table<'_>) -> Vec<(String, Json)> {
    let rows = table.rows.as_deref().unwrap_or_default();
    let one = |(at, column): (usize, &Column<'_>)| {
        let cells: Vec<Cell<'_>> =
            rows.iter().filter_map(|row| row.cells.get(at)).copied().collect();
        let measured = cells.iter().find_map(|cell| match cell {
            Cell::Measure(measure) => Some(about(measure, &column.checklist.id)),
            _ => None,
        });
        let mut members = measured.unwrap_or_else(|| surveyed(column));
        let tape = cells.iter().map(|cell| match cell.value() {
            Some(_) => Json::from(cell.shown(record)),
            None => Json::Null,
        });
        members.insert("tape", list(tape));
        (format!("{}.{}", table.name, column.key), Json::Object(members))
    };
    table.columns.iter().enumerate().map(one).collect()
}

/// A column that is asked for, or that has no value in any row yet.
fn surveyed(column: &Column<'_>) -> Members {
    let asked = column.checklist.fact(&column.name).map(|fact| Json::text(&fact.ask));
    let facts = if column.surveyed { vec![Json::text(&column.name)] } else { Vec::new() };
    Members::from([
        ("unit", Json::from(unit(column.kind))),
        ("facts", Json::from(facts)),
        ("title", asked.unwrap_or_else(|| Json::text(&column.title))),
        ("checklist", Json::text(&column.checklist.id)),
    ])
}

fn rows(table: &Table<'_>) -> Json {
    let rows = table.rows.as_deref().unwrap_or_default();
    list(rows.iter().map(|row| {
        let values = row.cells.iter().map(|cell| cell.value().map_or(Json::Null, plain));
        let keys = table.columns.iter().map(|column| column.key.clone());
        let mut members: Members = keys.zip(values).collect();
        members.insert("number", row.number.into());
        Json::Object(members)
    }))
}

fn bound(bound: Bound) -> &'static str {
    match bound {
        Bound::Minimum => "minimum",
        Bound::Maximum => "maximum",
        Bound::Mark => "mark",
    }
}

/// A value as JSON has it, quantities in the unit of their dimension.
pub(super) fn plain(value: &Value) -> Json {
    match value {
        Value::YesNo(yes) => Json::Bool(*yes),
        Value::Text(text) => Json::text(text),
        Value::Quantity(q) => decimal(in_unit(*q)),
    }
}

fn in_unit(q: Quantity) -> Ratio {
    match q.dimension {
        // Rise over run, told as inches a foot.
        Dimension::PITCH => q.value.times(Ratio::int(12)).unwrap_or(q.value),
        dimension => known(dimension).and_then(|unit| q.in_unit(unit).ok()).unwrap_or(q.value),
    }
}

pub(super) fn unit(kind: &FactKind) -> String {
    symbol(kind.dimension())
}

/// The unit of a plain value; empty for plain numbers and words.
pub(super) fn symbol(dimension: Option<Dimension>) -> String {
    match dimension {
        None | Some(Dimension::NUMBER) => String::new(),
        Some(Dimension::PITCH) => "in/ft".to_owned(),
        Some(dimension) => {
            known(dimension).map_or_else(|| dimension.base_units(), |unit| unit.symbol().to_owned())
        }
    }
}

fn known(dimension: Dimension) -> Option<Unit> {
    Some(match dimension {
        Dimension::LENGTH => Unit::Inch,
        Dimension::AREA => Unit::SquareInch,
        Dimension::FREE_AREA_PER_LENGTH => Unit::SquareInchPerFoot,
        Dimension::TEMPERATURE => Unit::DegreeFahrenheit,
        Dimension::SPEED => Unit::MilePerHour,
        _ => return None,
    })
}

/// A decimal of at most nine places, read from its digits so that no binary
/// noise follows them.
fn decimal(value: Ratio) -> Json {
    let digits = value.times(Ratio::int(1_000_000_000)).map(|all| all.round(Rounding::Nearest));
    let exact = digits.ok().and_then(|digits| format!("{digits}e-9").parse().ok());
    Json::Number(exact.unwrap_or_else(|| value.to_f64()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn text(num: i128, den: i128) -> String {
        decimal(Ratio::new(num, den).unwrap()).canonical().unwrap()
    }

    #[test]
    fn decimals_are_exact_to_nine_places() {
        for (num, den, expected) in [
            (63 * 16 + 3, 16, "63.1875"),
            (1, 3, "0.333333333"),
            (-2, 3, "-0.666666667"),
            (1, 10, "0.1"),
            (3, 10, "0.3"),
            (1, 10_000_000_000, "0"),
            (236_160, 1, "236160"),
            (1_234_567_123_456_789, 1_000_000_000, "1234567.123456789"),
        ] {
            assert_eq!(text(num, den), expected);
        }
    }
}
