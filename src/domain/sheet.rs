//! All measures of a job, computed exactly; rounding to the tape happens only
//! where a value is shown or becomes a target.

use std::collections::BTreeMap;

use crate::measure::{
    EvalError, Formula, Functions, Quantity, Ratio, RowsInput, Type, Value, Values,
};

use super::facts::ByName;
use super::shown::show_value;
use super::{
    Bound, Checklist, Computes, FactKind, FactName, Facts, Piece, Profile, RowsFrom, Table, Units,
    rows,
};

/// Most rows a table has: every row has steps of its own.
pub const MOST_ROWS: u32 = 500;

/// What a measure came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Computed {
    /// A value.
    Value(Value),
    /// These names are not known yet.
    Missing(Vec<String>),
    /// It cannot be computed, and why.
    Cannot(String),
}

/// What became of the rows of a computed table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Rows {
    /// They were computed.
    Known {
        /// How many there are.
        count: u32,
        /// What they were computed from.
        input: RowsInput,
        /// What the crew has to know about them, in sentences.
        notes: Vec<String>,
    },
    /// These names are not known yet.
    Missing(Vec<String>),
    /// They cannot be computed, and why.
    Cannot(String),
}

/// The computed measures of one checklist on one job.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Sheet {
    /// The units the notes of computed rows are written in.
    units: Units,
    computed: ByName<Computed>,
    rows: BTreeMap<String, Rows>,
    /// Places in `warnings` of the checklist, with the row.
    told: Vec<(usize, Option<u32>)>,
}

/// Everything a name can mean on one job: facts, figures, measures.
#[derive(Clone, Copy, Debug)]
pub struct Known<'a> {
    /// The checklist that declares the names.
    pub checklist: &'a Checklist,
    /// Facts of the job.
    pub facts: &'a Facts,
    /// Figures of the product.
    pub profile: Option<&'a Profile>,
    /// Measures computed so far.
    pub sheet: &'a Sheet,
}

impl Sheet {
    /// Computes everything, in the order of the checklist; notes are in US units.
    #[must_use]
    pub fn compute(
        checklist: &Checklist,
        facts: &Facts,
        profile: Option<&Profile>,
        functions: &Functions,
    ) -> Self {
        Self::compute_for(Units::Us, checklist, facts, profile, functions)
    }

    /// The same with notes in the units somebody reads.
    #[must_use]
    pub fn compute_for(
        units: Units,
        checklist: &Checklist,
        facts: &Facts,
        profile: Option<&Profile>,
        functions: &Functions,
    ) -> Self {
        let mut sheet = Self { units, ..Self::default() };
        for computes in &checklist.order {
            let known = Known { checklist, facts, profile, sheet: &sheet };
            let (computed, table) = known.computed(computes, functions);
            computed.into_iter().for_each(|(name, value)| sheet.computed.insert(name, value));
            sheet.rows.extend(table);
        }
        let known = Known { checklist, facts, profile, sheet: &sheet };
        sheet.told = known.told(functions);
        sheet
    }

    /// What this measure, column or default came to.
    #[must_use]
    pub fn get(&self, name: &str, row: Option<u32>) -> Option<&Computed> {
        self.computed.get(name, row)
    }

    /// The units the notes of computed rows are written in.
    #[must_use]
    pub fn units(&self) -> Units {
        self.units
    }

    /// Whether anything of that name was computed, in whatever row.
    pub(super) fn has(&self, name: &str) -> bool {
        self.computed.has(name)
    }

    /// What became of the rows of a computed table.
    #[must_use]
    pub fn rows(&self, table: &str) -> Option<&Rows> {
        self.rows.get(table)
    }

    /// All that was computed, by name and row.
    pub fn iter(&self) -> impl Iterator<Item = (&FactName, &Computed)> {
        self.computed.iter()
    }
}

type Found = (Vec<(FactName, Computed)>, Option<(String, Rows)>);

impl Known<'_> {
    /// What one of the things in order comes to: names, or rows of a table.
    fn computed(&self, computes: &Computes, functions: &Functions) -> Found {
        let list = self.checklist;
        match computes {
            Computes::Measure(at) => {
                let Some(measure) = list.measures.get(*at) else { return Found::default() };
                let rows = self.rows_of(&measure.name);
                let one = |row| {
                    let name = FactName { name: measure.name.clone(), row };
                    (name, self.evaluate(&measure.formula, row, functions))
                };
                (rows.into_iter().map(one).collect(), None)
            }
            Computes::Fact(at) => {
                let Some(fact) = list.facts.get(*at) else { return Found::default() };
                let Some(formula) = &fact.default else { return Found::default() };
                let unknown = self.rows_of(&fact.name).into_iter();
                let unknown = unknown.filter(|row| self.facts.get(&fact.name, *row).is_none());
                let one = |row| {
                    let name = FactName { name: fact.name.clone(), row };
                    (name, fits(self.evaluate(formula, row, functions), &fact.kind))
                };
                (unknown.map(one).collect(), None)
            }
            Computes::Figure(at) => {
                let Some(figure) = list.figures.get(*at) else { return Found::default() };
                let Some(formula) = &figure.default else { return Found::default() };
                if self.profile.is_some_and(|p| p.figures.contains_key(&figure.name)) {
                    return Found::default();
                }
                let name = FactName { name: format!("profile.{}", figure.name), row: None };
                (vec![(name, fits(self.evaluate(formula, None, functions), &figure.kind))], None)
            }
            Computes::Rows(at) => match list.tables.get(*at) {
                Some(Table { name, rows: RowsFrom::Computed { function, with, .. }, .. }) => {
                    let (columns, rows) = rows::compute(*self, name, function, with, functions);
                    (columns, Some((name.clone(), rows)))
                }
                _ => Found::default(),
            },
        }
    }

    /// The rows a name has values in: one without a number, or those of its table.
    fn rows_of(&self, name: &str) -> Vec<Option<u32>> {
        match table_of(name) {
            None => vec![None],
            Some(table) => (1..=self.rows(table).unwrap_or(0)).map(Some).collect(),
        }
    }

    /// What a formula comes to in a row.
    pub(super) fn evaluate(
        &self,
        formula: &Formula,
        row: Option<u32>,
        functions: &Functions,
    ) -> Computed {
        match formula.eval(&InRow { known: *self, row }, functions) {
            Ok(value) => Computed::Value(value),
            Err(EvalError::Missing(names)) => match self.cannot(&names, row) {
                Some(why) => Computed::Cannot(why),
                None => Computed::Missing(self.roots(names, row)),
            },
            Err(EvalError::Cannot { message, .. }) => Computed::Cannot(message),
        }
    }

    /// Why one of these names can never be known as things are.
    fn cannot(&self, names: &[String], row: Option<u32>) -> Option<String> {
        names.iter().find_map(|name| {
            let table = table_of(name);
            if let Some(Rows::Cannot(why)) = table.and_then(|table| self.sheet.rows(table)) {
                return Some(why.clone());
            }
            // A fold looks at every row.
            let rows = match (table, row) {
                (None, _) => vec![None],
                (Some(_), Some(row)) => vec![Some(row)],
                (Some(_), None) => self.rows_of(name),
            };
            rows.into_iter().find_map(|row| match self.sheet.get(name, row) {
                Some(Computed::Cannot(why)) => Some(why.clone()),
                _ => None,
            })
        })
    }

    /// How many rows a table has, once that is known.
    #[must_use]
    pub fn rows(&self, table: &str) -> Option<u32> {
        let declared = self.checklist.table(table)?;
        let count = match &declared.rows {
            RowsFrom::Computed { .. } => match self.sheet.rows(table)? {
                Rows::Known { count, .. } => *count,
                _ => return None,
            },
            RowsFrom::Counted(fact) => match self.value(fact, None)? {
                Value::Quantity(q) if q.value.is_integer() => {
                    u32::try_from(q.value.numerator()).ok()?
                }
                _ => return None,
            },
        };
        Some(count.min(MOST_ROWS))
    }

    /// The value of a name, in a row where it has one.
    #[must_use]
    pub fn value(&self, name: &str, row: Option<u32>) -> Option<Value> {
        if let Some(figure) = name.strip_prefix("profile.") {
            let given = self.profile.and_then(|profile| profile.figures.get(figure));
            return match (given, self.sheet.get(name, None)) {
                (Some((_, value)), _) | (None, Some(Computed::Value(value))) => Some(value.clone()),
                _ => None,
            };
        }
        let row = if name.contains('.') { Some(row?) } else { None };
        if let (Some(row), Some((_, "number"))) = (row, name.split_once('.')) {
            return Some(Value::Quantity(Quantity::count(row.into())));
        }
        match self.sheet.get(name, row) {
            Some(Computed::Value(value)) => Some(value.clone()),
            Some(_) => None,
            None => self.facts.get(name, row).cloned(),
        }
    }

    /// The facts and figures behind missing names.
    pub(super) fn roots(&self, names: Vec<String>, row: Option<u32>) -> Vec<String> {
        let mut roots = Vec::new();
        for name in names {
            let row = if name.contains('.') { row } else { None };
            if let (Some(table), None) = (table_of(&name), row) {
                match self.rows(table) {
                    Some(rows) => (1..=rows).for_each(|row| {
                        if self.value(&name, Some(row)).is_none() {
                            roots.extend(self.roots(vec![name.clone()], Some(row)));
                        }
                    }),
                    None => roots.extend(self.missing_rows(table)),
                }
                continue;
            }
            match self.sheet.get(&name, row) {
                Some(Computed::Missing(more)) => roots.extend(more.iter().cloned()),
                _ => roots.push(name),
            }
        }
        roots.sort();
        roots.dedup();
        roots
    }

    /// What the rows of a table wait for: its count, the facts its function
    /// needs, or columns that are not filled in.
    #[must_use]
    pub fn missing_rows(&self, table: &str) -> Vec<String> {
        match (self.checklist.table(table).map(|table| &table.rows), self.sheet.rows(table)) {
            (_, Some(Rows::Missing(names))) => names.clone(),
            (Some(RowsFrom::Counted(fact)), _) => vec![fact.clone()],
            _ => vec![table.to_owned()],
        }
    }

    /// The warnings that are due.
    fn told(&self, functions: &Functions) -> Vec<(usize, Option<u32>)> {
        let mut told = Vec::new();
        for (at, warning) in self.checklist.warnings.iter().enumerate() {
            let rows = match &warning.each {
                None => vec![None],
                Some(table) => (1..=self.rows(table).unwrap_or(0)).map(Some).collect(),
            };
            let due = |row: &Option<u32>| {
                self.evaluate(&warning.when, *row, functions) == Computed::Value(Value::YesNo(true))
            };
            told.extend(rows.into_iter().filter(due).map(|row| (at, row)));
        }
        told
    }

    /// What does not add up, in sentences: the checklist's warnings that are
    /// due, then what the computed rows have to say.
    #[must_use]
    pub fn warnings(&self, units: Units) -> Vec<String> {
        let mut all = Vec::new();
        for (at, row) in &self.sheet.told {
            let Some(warning) = self.checklist.warnings.get(*at) else { continue };
            // A value that is missing is named in its place.
            let text = warning.say.iter().map(|piece| match piece {
                Piece::Words(words) => words.clone(),
                Piece::Name(name) => {
                    self.show(name, *row, units).unwrap_or_else(|| format!("({name}: not known)"))
                }
            });
            all.push(text.collect());
        }
        for rows in self.sheet.rows.values() {
            match rows {
                Rows::Known { notes, .. } => all.extend(notes.iter().cloned()),
                Rows::Cannot(why) => all.push(why.clone()),
                Rows::Missing(_) => {}
            }
        }
        all
    }

    /// A value as a person reads it, measures rounded in their safe direction.
    #[must_use]
    pub fn show(&self, name: &str, row: Option<u32>, units: Units) -> Option<String> {
        let value = self.value(name, row)?;
        let (bound, graduation) = self
            .checklist
            .measure(name)
            .map_or((Bound::Mark, Ratio::SIXTEENTH), |m| (m.bound, m.graduation));
        Some(show_value(&value, bound, graduation, units))
    }

    /// A template with its values put in.
    ///
    /// # Errors
    /// The facts and figures that are not known yet.
    pub fn fill(
        &self,
        pieces: &[Piece],
        row: Option<u32>,
        units: Units,
    ) -> Result<String, Vec<String>> {
        let (mut text, mut missing) = (String::new(), Vec::new());
        for piece in pieces {
            match piece {
                Piece::Words(words) => text.push_str(words),
                Piece::Name(name) => match self.show(name, row, units) {
                    Some(shown) => {
                        let words = self
                            .checklist
                            .words
                            .get(&shown)
                            .filter(|_| matches!(self.value(name, row), Some(Value::Text(_))));
                        text.push_str(words.unwrap_or(&shown));
                    }
                    None => missing.push(name.clone()),
                },
            }
        }
        if missing.is_empty() { Ok(text) } else { Err(self.roots(missing, row)) }
    }
}

/// The table a name is a column of.
fn table_of(name: &str) -> Option<&str> {
    name.split_once('.').map(|(table, _)| table).filter(|table| *table != "profile")
}

/// A default only where it is something the fact can be.
fn fits(computed: Computed, kind: &FactKind) -> Computed {
    match computed {
        Computed::Value(value) if !kind.admits(&value) => {
            Computed::Cannot(format!("its default is not {}", kind.word()))
        }
        other => other,
    }
}

/// The names a formula sees from one row, or from none.
#[derive(Clone, Copy, Debug)]
pub struct InRow<'a> {
    /// Everything that is known.
    pub known: Known<'a>,
    /// The row, counted from 1.
    pub row: Option<u32>,
}

impl Values for InRow<'_> {
    fn value(&self, name: &str) -> Option<Value> {
        self.known.value(name, self.row)
    }

    fn column(&self, table: &str, column: &str) -> Option<Vec<Value>> {
        let rows = self.known.rows(table)?;
        let name = format!("{table}.{column}");
        (1..=rows).map(|row| self.known.value(&name, Some(row))).collect()
    }

    fn column_type(&self, table: &str, column: &str) -> Option<Type> {
        self.known.checklist.kind_of(&format!("{table}.{column}")).map(FactKind::formula_type)
    }
}
