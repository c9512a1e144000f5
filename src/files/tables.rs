//! Tables: rows that are surveyed, as many as a count fact says, and rows that a
//! function of the trade computes from values and other tables.

use crate::domain::{ComputedColumn, Fact, FactKind, RowsFrom, Table};
use crate::measure::{Column, Formula, Functions, RowFunction, TableShape, Type};

use super::fact::check_name;
use super::measures::{check_formula, kind_of, say_formula_error};
use super::near;
use super::node::{Node, Text, as_text, clip, with_article};
use super::problem::Report;
use super::words::{NUMBER, PROFILE, Words};

/// A computed table before its formulas are checked.
pub(super) struct Computing {
    pub(super) name: String,
    /// Its place among the tables.
    pub(super) place: usize,
    /// The function as written.
    function: Text,
    /// The values it is given.
    with: Vec<(Text, Text, Formula)>,
}

/// Reads the head of a table: what one row is called, and where rows come from.
pub(super) fn read_table(
    name: &Text,
    node: &Node<'_>,
    facts: &[Fact],
    words: &mut Words,
    functions: &Functions,
) -> Option<(Table, Option<Computing>)> {
    let report = node.report();
    let title = node.need("title");
    let (rows, from) = (node.text("rows"), node.text("from"));
    if !check_name(name, report) {
        return None;
    }
    if name.value == PROFILE || words.has(&name.value) {
        report.say(name.letters(), format!("`{}` is taken; name the table otherwise", name.value));
        return None;
    }
    let (rows, computing) = match (rows, from) {
        (Some(rows), None) => (counted(&rows, facts, words, report), None),
        (None, Some(from)) => {
            let (rows, computing) = computed(name, from, node, words, functions)?;
            (rows, Some(computing))
        }
        (Some(_), Some(from)) => {
            report.say(from.letters(), "rows are counted or computed, not both");
            return None;
        }
        (None, None) => {
            node.missing("rows");
            return None;
        }
    };
    Some((Table { name: name.value.clone(), title: title?.value, rows }, computing))
}

/// Rows that a fact counts; rows within rows are not known.
fn counted(rows: &Text, facts: &[Fact], words: &Words, report: &Report<'_>) -> RowsFrom {
    let facts = facts.iter().filter(|fact| !fact.name.contains('.'));
    match facts.clone().find(|fact| fact.name == rows.value) {
        Some(fact) if fact.kind == FactKind::Count => {}
        Some(fact) => {
            let message =
                format!("`{}` is {}, not a count", fact.name, with_article(fact.kind.word()));
            report.say(rows.letters(), message);
        }
        None if words.is_wrong(&rows.value) => {}
        None => {
            let message = format!("no fact is named `{}`", clip(&rows.value));
            let counts = facts.filter(|fact| fact.kind == FactKind::Count);
            let hint = near::did_you_mean(&rows.value, counts.map(|f| f.name.as_str()));
            report.say_hint(rows.letters(), message, hint);
        }
    }
    RowsFrom::Counted(rows.value.clone())
}

fn computed(
    name: &Text,
    function: Text,
    node: &Node<'_>,
    words: &mut Words,
    functions: &Functions,
) -> Option<(RowsFrom, Computing)> {
    let report = node.report();
    let (given, titles) = (node.named("with"), node.named("columns"));
    let source = node.text("source").map_or_else(String::new, |text| text.value);
    let Some(found) = functions.rows(&function.value) else {
        let hint = near::did_you_mean(&function.value, functions.row_names());
        let message = format!("no function named `{}` gives rows", clip(&function.value));
        report.say_hint(function.letters(), message, hint);
        return None;
    };
    let mut with = Vec::new();
    for (key, value) in given {
        let Some(text) = as_text(value, report) else { continue };
        match Formula::parse(&text.value) {
            Ok(formula) => with.push((key, text, formula)),
            Err(error) => say_formula_error(&error, &text, None, report),
        }
    }
    let mut columns: Vec<ComputedColumn> = Vec::new();
    for column in found.gives {
        words.set(format!("{}.{}", name.value, column.name), Some(column.kind));
        columns.push(ComputedColumn {
            name: column.name.to_owned(),
            title: column.name.replace('_', " "),
            kind: kind_of(&column.kind)?,
        });
    }
    for (key, value) in titles {
        let Some(text) = as_text(value, report) else { continue };
        match columns.iter_mut().find(|column| column.name == key.value) {
            Some(column) => column.title = text.value,
            None => {
                let names = found.gives.iter().map(|column| column.name);
                let hint = near::did_you_mean(&key.value, names);
                let message = format!("`{}` gives no column `{}`", found.name, clip(&key.value));
                report.say_hint(key.letters(), message, hint);
            }
        }
    }
    let rows = RowsFrom::Computed {
        function: function.value.clone(),
        with: with.iter().map(|(key, _, f)| (key.value.clone(), f.clone())).collect(),
        columns,
        source,
    };
    let place = words.tables.len();
    Some((rows, Computing { name: name.value.clone(), place, function, with }))
}

impl Computing {
    /// All that has to be known before its rows are.
    pub(super) fn uses(&self, words: &Words, functions: &Functions) -> Vec<String> {
        let mut uses: Vec<String> =
            self.with.iter().flat_map(|(_, _, formula)| formula.uses()).collect();
        let reads = functions.rows(&self.function.value).map(|function| function.reads);
        for shape in reads.unwrap_or_default() {
            uses.extend(words.rows_of(shape.name));
            uses.extend(shape.columns.iter().map(|c| format!("{}.{}", shape.name, c.name)));
        }
        uses
    }

    /// Complains about values it does not take, values it lacks, and tables that
    /// are not as it reads them.
    pub(super) fn check(&self, words: &Words, functions: &Functions, report: &Report<'_>) {
        let Some(function) = functions.rows(&self.function.value) else { return };
        for (key, text, formula) in &self.with {
            let Some(takes) = function.takes.iter().find(|takes| takes.name == key.value) else {
                let names = function.takes.iter().map(|takes| takes.name);
                let hint = near::did_you_mean(&key.value, names);
                let message = format!("`{}` takes no `{}`", function.name, clip(&key.value));
                report.say_hint(key.letters(), message, hint);
                continue;
            };
            let sight = words.seen_from(None);
            let Some(found) = check_formula(formula, text, sight, functions, report) else {
                continue;
            };
            if found != takes.kind {
                let (takes, found) = (takes.kind.name(), found.name());
                report.say(text.letters(), format!("`{}` is {takes}, not {found}", key.value));
            }
        }
        for takes in function.takes.iter().filter(|takes| takes.needed) {
            if self.with.iter().all(|(key, _, _)| key.value != takes.name) {
                let message = format!(
                    "`{}` needs `{}`, {}; add it under `with`",
                    function.name,
                    takes.name,
                    takes.kind.name()
                );
                report.say(self.function.letters(), message);
            }
        }
        for shape in function.reads {
            self.check_table(function, shape, words, report);
        }
    }

    fn check_table(
        &self,
        function: &RowFunction,
        shape: &TableShape,
        words: &Words,
        report: &Report<'_>,
    ) {
        let at = || self.function.letters();
        if !words.has_table(shape.name) {
            if shape.needed {
                let message = format!("`{}` reads the table `{}`", function.name, shape.name);
                report.say(at(), format!("{message}, which this checklist does not have"));
            }
            return;
        }
        for Column { name, kind, needed } in shape.columns {
            let full = format!("{}.{name}", shape.name);
            let found = match (*name == NUMBER, words.kind(&full)) {
                (true, _) => Some(Type::Quantity(crate::measure::Dimension::NUMBER)),
                (false, found) => found,
            };
            match found {
                Some(found) if found != *kind => {
                    let (kind, found) = (kind.name(), found.name());
                    let message = format!("`{}` reads `{full}` as {kind}", function.name);
                    report.say(at(), format!("{message}; here it is {found}"));
                }
                None if *needed && !words.is_wrong(&full) => {
                    let message = format!("`{}` reads `{full}`", function.name);
                    report.say(at(), format!("{message}, which this checklist does not have"));
                }
                _ => {}
            }
        }
    }
}
