//! The names a checklist's formulas and sentences may use, and where each may
//! be seen: rows see the job, the job sees rows only through folds.

use std::collections::BTreeMap;

use crate::domain::{Fact, FactKind, RowsFrom, Table};
use crate::measure::{Scope, Type};

use super::near;

/// The prefix of figures that the product profile gives.
pub(super) const PROFILE: &str = "profile";
/// The column every row has: its number, counted from 1.
pub(super) const NUMBER: &str = "number";

/// Names and their types.
#[derive(Default)]
pub(super) struct Words {
    /// No type where the name is known but what it stands for is wrong, so
    /// that one mistake is not told again at every use.
    types: BTreeMap<String, Option<Type>>,
    /// What a choice can be, by its name.
    options: BTreeMap<String, Vec<String>>,
    pub(super) tables: Vec<Table>,
}

impl Words {
    pub(super) fn set(&mut self, name: String, kind: Option<Type>) {
        self.types.insert(name, kind);
    }

    /// Makes a fact or figure known, wrong where it could not be read.
    pub(super) fn add(&mut self, name: &str, fact: Option<&Fact>) {
        if let Some(FactKind::Choice(options)) = fact.map(|fact| &fact.kind) {
            self.options.insert(name.to_owned(), options.clone());
        }
        self.set(name.to_owned(), fact.map(|fact| fact.kind.formula_type()));
    }

    /// What that choice can be; nothing for other names.
    pub(super) fn options(&self, name: &str) -> Option<&[String]> {
        self.options.get(name).map(Vec::as_slice)
    }

    pub(super) fn has(&self, name: &str) -> bool {
        self.types.contains_key(name)
    }

    pub(super) fn is_wrong(&self, name: &str) -> bool {
        matches!(self.types.get(name), Some(None))
    }

    pub(super) fn has_table(&self, name: &str) -> bool {
        self.tables.iter().any(|table| table.name == name)
    }

    /// The table a name is a column of.
    pub(super) fn table_of<'n>(&self, name: &'n str) -> Option<&'n str> {
        let (table, _) = name.split_once('.')?;
        (table != PROFILE).then_some(table)
    }

    /// What has to be known before the rows of a table are: the fact that counts
    /// them, or the table where it is computed.
    pub(super) fn rows_of(&self, table: &str) -> Option<String> {
        let table = self.tables.iter().find(|known| known.name == table)?;
        Some(match &table.rows {
            RowsFrom::Counted(fact) => fact.clone(),
            RowsFrom::Computed { .. } => table.name.clone(),
        })
    }

    /// What a name stands for, wherever it is seen.
    pub(super) fn kind(&self, name: &str) -> Option<Type> {
        self.types.get(name).copied().flatten()
    }

    /// What may have been meant, of all names.
    pub(super) fn nearest(&self, name: &str) -> Option<String> {
        near::did_you_mean(name, self.types.keys().map(String::as_str))
    }

    /// What is seen from a row of that table, or from the job.
    pub(super) fn seen_from<'w>(&'w self, row: Option<&'w str>) -> Sight<'w> {
        Sight { words: self, row }
    }
}

/// What can be seen from one place.
#[derive(Clone, Copy)]
pub(super) struct Sight<'w> {
    pub(super) words: &'w Words,
    pub(super) row: Option<&'w str>,
}

impl Sight<'_> {
    pub(super) fn sees(&self, name: &str) -> bool {
        let table = self.words.table_of(name);
        table.is_none() || table == self.row
    }

    pub(super) fn knows(&self, name: &str) -> bool {
        self.words.has(name) && self.sees(name)
    }

    /// Why a name cannot be used here, and what may have been meant.
    pub(super) fn complaint(&self, name: &str) -> (String, Option<String>) {
        if self.words.has(name) && !self.sees(name) {
            let table = self.words.table_of(name).unwrap_or_default();
            let message = format!("`{name}` is another value in each {table}");
            let mut hint = format!("use it in rows of `{table}`");
            if name.split_once('.').is_some_and(|(_, column)| column != NUMBER) {
                hint = format!("{hint}, or fold it, such as sum({name}) or greatest({name})");
            }
            return (message, Some(hint));
        }
        let names = self.names();
        let message = format!("no fact, measure or figure is named `{}`", super::node::clip(name));
        (message, near::did_you_mean(name, names.iter().map(String::as_str)))
    }
}

impl Scope for Sight<'_> {
    fn type_of(&self, name: &str) -> Option<Type> {
        if self.sees(name) { self.words.types.get(name).copied().flatten() } else { None }
    }

    fn column(&self, table: &str, column: &str) -> Option<Type> {
        if !self.words.has_table(table) || column == NUMBER {
            return None;
        }
        self.words.types.get(&format!("{table}.{column}")).copied().flatten()
    }

    fn names(&self) -> Vec<String> {
        self.words.types.keys().filter(|name| self.sees(name)).cloned().collect()
    }
}
