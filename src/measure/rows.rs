//! Functions of a trade that give rows: some values and some tables in, the
//! rows of another table out. Which facts go in is the checklist's business.

use std::collections::BTreeMap;

use super::{System, Type, Value};

/// A value or column by name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column {
    /// The name, as checklists write it.
    pub name: &'static str,
    /// What it is.
    pub kind: Type,
    /// Whether nothing can be computed without it.
    pub needed: bool,
}

impl Column {
    /// One that has to be there.
    #[must_use]
    pub const fn needed(name: &'static str, kind: Type) -> Self {
        Self { name, kind, needed: true }
    }

    /// One that may be left out.
    #[must_use]
    pub const fn optional(name: &'static str, kind: Type) -> Self {
        Self { name, kind, needed: false }
    }
}

/// A table a function reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TableShape {
    /// The table's name, as checklists write it.
    pub name: &'static str,
    /// Whether the checklist has to declare it; otherwise it may have no rows.
    pub needed: bool,
    /// The columns read.
    pub columns: &'static [Column],
}

/// One row: its values by column name. What is not known is left out.
pub type Row = BTreeMap<&'static str, Value>;

/// What a function is given: all that it needs is there and of its type.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RowsInput {
    /// The units its notes and errors are written in.
    pub system: System,
    /// The single values.
    pub values: Row,
    /// The rows of the tables, in order.
    pub tables: BTreeMap<&'static str, Vec<Row>>,
}

/// What a function gives.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RowsOutput {
    /// The rows, each with every column the function gives unless optional.
    pub rows: Vec<Row>,
    /// What the crew has to know about them, in sentences.
    pub notes: Vec<String>,
}

/// A function that gives rows.
#[derive(Clone, Copy, Debug)]
pub struct RowFunction {
    /// The name in checklists.
    pub name: &'static str,
    /// The single values it takes.
    pub takes: &'static [Column],
    /// The tables it reads.
    pub reads: &'static [TableShape],
    /// The columns of its rows.
    pub gives: &'static [Column],
    /// Computes the rows; an error names the fact and the reason.
    pub run: fn(&RowsInput) -> Result<RowsOutput, String>,
}
