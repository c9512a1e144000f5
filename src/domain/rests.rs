//! What a measure rests on: the surveyed facts and the figures of the profile
//! behind it, through other measures, defaults and computed rows.

use std::collections::BTreeSet;

use crate::measure::{Formula, Functions};

use super::{Known, RowsFrom};

/// Something that has to be known before something else is.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Need {
    /// The value of a name.
    Name(String),
    /// How many rows a table has, and what they are where a function gives them.
    Rows(String),
}

/// What a formula needs; a fold over a column needs the rows too.
pub(super) fn needs(formula: &Formula) -> Vec<Need> {
    let mut needs: Vec<Need> =
        formula.names().map(|(name, _)| Need::Name(name.to_owned())).collect();
    for (table, column, _) in formula.columns() {
        needs.push(Need::Rows(table.to_owned()));
        if !column.is_empty() {
            needs.push(Need::Name(format!("{table}.{column}")));
        }
    }
    needs
}

/// Names of the surveyed facts and `profile.` figures behind these needs,
/// sorted. A fact that nobody gave is among them, with what its default takes.
pub(super) fn facts(known: Known<'_>, functions: &Functions, mut open: Vec<Need>) -> Vec<String> {
    let (mut seen, mut facts) = (BTreeSet::new(), BTreeSet::new());
    while let Some(need) = open.pop() {
        if !seen.insert(need.clone()) {
            continue;
        }
        match need {
            Need::Rows(table) => open.extend(behind_rows(known, functions, &table)),
            Need::Name(name) => match behind_name(known, &name) {
                Some(more) => open.extend(more),
                None => {
                    open.extend(behind_default(known, &name));
                    facts.insert(name);
                }
            },
        }
    }
    facts.into_iter().collect()
}

/// What a computed name comes from; none for facts and figures.
fn behind_name(known: Known<'_>, name: &str) -> Option<Vec<Need>> {
    if let Some(measure) = known.checklist.measure(name) {
        return Some(needs(&measure.formula));
    }
    let (table, column) = name.split_once('.').filter(|(table, _)| *table != "profile")?;
    let computed = known.checklist.table(table)?.column(column).is_some();
    if computed {
        return Some(vec![Need::Rows(table.to_owned())]);
    }
    // A row's own number rests on nothing that was surveyed.
    (column == "number").then(Vec::new)
}

fn behind_rows(known: Known<'_>, functions: &Functions, table: &str) -> Vec<Need> {
    let Some(declared) = known.checklist.table(table) else { return Vec::new() };
    let (function, with) = match &declared.rows {
        RowsFrom::Counted(fact) => return vec![Need::Name(fact.clone())],
        RowsFrom::Computed { function, with, .. } => (function, with),
    };
    let mut all: Vec<Need> = with.iter().flat_map(|(_, formula)| needs(formula)).collect();
    let reads = functions.rows(function).map(|function| function.reads).unwrap_or_default();
    for shape in reads.iter().filter(|shape| known.checklist.table(shape.name).is_some()) {
        all.push(Need::Rows(shape.name.to_owned()));
        let columns = shape.columns.iter().map(|c| format!("{}.{}", shape.name, c.name));
        all.extend(columns.filter(|c| known.checklist.kind_of(c).is_some()).map(Need::Name));
    }
    all
}

/// What the default takes that stands for a fact or figure nobody gave.
fn behind_default(known: Known<'_>, name: &str) -> Vec<Need> {
    // Defaults are computed only for what nobody gave.
    let stands = known.sheet.has(name);
    let list = known.checklist;
    let fact = match name.strip_prefix("profile.") {
        Some(figure) => list.figures.iter().find(|known| known.name == figure),
        None => list.fact(name),
    };
    let default = fact.and_then(|fact| fact.default.as_ref()).filter(|_| stands);
    default.map(needs).unwrap_or_default()
}
