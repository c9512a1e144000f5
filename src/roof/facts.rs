//! The figures handed in, read by name. An error names the table, the row and the
//! column. What the figures mean is decided elsewhere.

use std::fmt::Display;

use super::EdgeKind;
use crate::measure::{Dimension, Ratio, Row, RowsInput, Type, Value};

/// The single values, or one row of a table.
#[derive(Clone, Copy)]
pub(super) struct Facts<'r> {
    table: &'static str,
    /// Which row, counted from 1; zero for the single values.
    pub(super) number: u32,
    row: &'r Row,
}

impl<'r> Facts<'r> {
    pub(super) fn values(input: &'r RowsInput) -> Self {
        Self { table: "", number: 0, row: &input.values }
    }

    pub(super) fn rows(
        input: &'r RowsInput,
        table: &'static str,
    ) -> impl Iterator<Item = Self> + use<'r> {
        let rows = input.tables.get(table).map_or(&[][..], Vec::as_slice);
        (1..).zip(rows).map(move |(number, row)| Self { table, number, row })
    }

    /// `plane 2, pitch: …`
    pub(super) fn wrong(&self, column: &str, what: impl Display) -> String {
        match self.table {
            "" => format!("{column}: {what}"),
            table => format!("{table} {}, {column}: {what}", self.number),
        }
    }

    pub(super) fn length_if_known(&self, column: &str) -> Result<Option<Ratio>, String> {
        self.quantity_if_known(column, Dimension::LENGTH)
    }

    pub(super) fn length(&self, column: &str) -> Result<Ratio, String> {
        self.quantity(column, Dimension::LENGTH)
    }

    /// A length that must not be below zero.
    pub(super) fn distance(&self, column: &str) -> Result<Ratio, String> {
        let length = self.length(column)?;
        if length < Ratio::ZERO {
            return Err(self.wrong(column, "must not be below zero"));
        }
        Ok(length)
    }

    /// A quantity that must be more than zero.
    pub(super) fn positive(&self, column: &str, dimension: Dimension) -> Result<Ratio, String> {
        let value = self.quantity(column, dimension)?;
        if value <= Ratio::ZERO {
            return Err(self.wrong(column, "must be more than zero"));
        }
        Ok(value)
    }

    pub(super) fn quantity(&self, column: &str, dimension: Dimension) -> Result<Ratio, String> {
        self.quantity_if_known(column, dimension)?.ok_or_else(|| self.missing(column))
    }

    fn quantity_if_known(
        &self,
        column: &str,
        dimension: Dimension,
    ) -> Result<Option<Ratio>, String> {
        match self.row.get(column) {
            None => Ok(None),
            Some(Value::Quantity(found)) if found.dimension == dimension => Ok(Some(found.value)),
            Some(other) => Err(self.mistyped(column, Type::Quantity(dimension), other)),
        }
    }

    /// A whole number from 1 to `most`; `why` says what lies beyond.
    pub(super) fn count(&self, column: &str, most: u32, why: &str) -> Result<u32, String> {
        let value = self.quantity(column, Dimension::NUMBER)?;
        let whole = u32::try_from(value.numerator()).ok().filter(|_| value.is_integer());
        match whole {
            Some(count) if (1..=most).contains(&count) => Ok(count),
            Some(count) if most < count => Err(self.wrong(column, format!("{count}, but {why}"))),
            _ => {
                Err(self.wrong(column, format!("{value} is no whole number from 1 on, and {why}")))
            }
        }
    }

    /// The number of a row of another table, which has `rows` rows.
    pub(super) fn row_of(&self, column: &str, rows: u32) -> Result<u32, String> {
        let why = match rows {
            0 => format!("the table `{column}` has no rows: enter them first"),
            1 => format!("the table `{column}` has only row 1"),
            _ => format!("the table `{column}` has rows 1 to {rows}: give one of these"),
        };
        self.count(column, rows, &why)
    }

    pub(super) fn yes_no(&self, column: &str) -> Result<bool, String> {
        match self.row.get(column) {
            None => Err(self.missing(column)),
            Some(Value::YesNo(answer)) => Ok(*answer),
            Some(other) => Err(self.mistyped(column, Type::YesNo, other)),
        }
    }

    pub(super) fn text_if_known(&self, column: &str) -> Result<Option<&'r str>, String> {
        match self.row.get(column) {
            None => Ok(None),
            Some(Value::Text(text)) => Ok(Some(text)),
            Some(other) => Err(self.mistyped(column, Type::Text, other)),
        }
    }

    /// One of these words.
    pub(super) fn choice(
        &self,
        column: &str,
        words: &[&'static str],
    ) -> Result<&'static str, String> {
        let found = self.text_if_known(column)?.ok_or_else(|| self.missing(column))?;
        words.iter().find(|word| **word == found).copied().ok_or_else(|| {
            let hint = likely(found, words)
                .map_or_else(String::new, |word| format!("; did you mean `{word}`?"));
            let found: String = found.chars().take(40).collect();
            self.wrong(column, format!("`{found}` is none of {}{hint}", words.join(", ")))
        })
    }

    /// One of these kinds of edge.
    pub(super) fn edge_kind(&self, column: &str, kinds: &[EdgeKind]) -> Result<EdgeKind, String> {
        let words: Vec<_> = kinds.iter().map(|kind| kind.name()).collect();
        let word = self.choice(column, &words)?;
        let kind = kinds.iter().find(|kind| kind.name() == word);
        kind.copied().ok_or_else(|| self.missing(column))
    }

    fn missing(&self, column: &str) -> String {
        self.wrong(column, "not known yet; measure it and enter it")
    }

    fn mistyped(&self, column: &str, wanted: Type, found: &Value) -> String {
        self.wrong(column, format!("{} is needed, not {}", wanted.name(), found.type_of().name()))
    }
}

/// The word that starts most like the one found.
fn likely(found: &str, words: &[&'static str]) -> Option<&'static str> {
    let found = found.trim().to_lowercase();
    let alike = |word: &str| word.chars().zip(found.chars()).take_while(|(a, b)| a == b).count();
    words.iter().copied().filter(|word| 0 < alike(word)).max_by_key(|word| alike(word))
}
