//! Computed rows: what a function of the trade needs is gathered from facts,
//! figures and measures, and its rows become columns of the table.

use crate::measure::{Column, Formula, Functions, Row, RowFunction, RowsInput};

use super::FactName;
use super::sheet::{Computed, Known, MOST_ROWS, Rows};

/// The columns of a computed table, row by row, and what became of its rows.
pub(super) fn compute(
    known: Known<'_>,
    table: &str,
    function: &str,
    with: &[(String, Formula)],
    functions: &Functions,
) -> (Vec<(FactName, Computed)>, Rows) {
    let Some(found) = functions.rows(function) else {
        return (Vec::new(), Rows::Cannot(format!("no function named `{function}` gives rows")));
    };
    let input = match gather(known, found, with, functions) {
        Ok(input) => input,
        Err(rows) => return (Vec::new(), rows),
    };
    match (found.run)(&input) {
        Err(why) => (Vec::new(), Rows::Cannot(why)),
        Ok(output) if MOST_ROWS as usize <= output.rows.len() => {
            let why = format!("more than {MOST_ROWS} rows of `{table}`; look at the facts");
            (Vec::new(), Rows::Cannot(why))
        }
        Ok(output) => {
            let columns = (1..).zip(&output.rows).flat_map(|(number, row)| {
                row.iter().map(move |(column, value)| {
                    let name = FactName { name: format!("{table}.{column}"), row: Some(number) };
                    (name, Computed::Value(value.clone()))
                })
            });
            let count = u32::try_from(output.rows.len()).unwrap_or(MOST_ROWS);
            (columns.collect(), Rows::Known { count, input, notes: output.notes })
        }
    }
}

fn gather(
    known: Known<'_>,
    function: &RowFunction,
    with: &[(String, Formula)],
    functions: &Functions,
) -> Result<RowsInput, Rows> {
    let system = known.sheet.units().system();
    let mut input = RowsInput { system, ..RowsInput::default() };
    let mut missing = Vec::new();
    for column in function.takes {
        let formula = with.iter().find(|(name, _)| name == column.name).map(|(_, f)| f);
        let Some(formula) = formula else { continue };
        match known.evaluate(formula, None, functions) {
            Computed::Value(value) => {
                input.values.insert(column.name, value);
            }
            Computed::Missing(names) if column.needed => missing.extend(names),
            Computed::Missing(_) => {}
            Computed::Cannot(why) => return Err(Rows::Cannot(why)),
        }
    }
    for shape in function.reads {
        if known.checklist.table(shape.name).is_none() {
            continue;
        }
        match known.rows(shape.name) {
            None => missing.extend(known.missing_rows(shape.name)),
            Some(rows) => {
                let columns: Vec<(String, &Column)> = shape
                    .columns
                    .iter()
                    .map(|column| (format!("{}.{}", shape.name, column.name), column))
                    .collect();
                let rows =
                    (1..=rows).map(|row| read_row(known, shape.name, &columns, row, &mut missing));
                let rows: Result<Vec<Row>, Rows> = rows.collect();
                input.tables.insert(shape.name, rows?);
            }
        }
    }
    if missing.is_empty() {
        return Ok(input);
    }
    missing.sort();
    missing.dedup();
    Err(Rows::Missing(missing))
}

fn read_row(
    known: Known<'_>,
    table: &str,
    columns: &[(String, &Column)],
    row: u32,
    missing: &mut Vec<String>,
) -> Result<Row, Rows> {
    let mut read = Row::new();
    for (full, Column { name, needed, .. }) in columns {
        if let Some(value) = known.value(full, Some(row)) {
            read.insert(name, value);
            continue;
        }
        match known.sheet.get(full, Some(row)) {
            Some(Computed::Cannot(why)) => {
                return Err(Rows::Cannot(format!("{table} {row}: {why}")));
            }
            Some(Computed::Missing(names)) if *needed => missing.extend(names.iter().cloned()),
            None if *needed => missing.push(full.clone()),
            _ => {}
        }
    }
    Ok(read)
}
