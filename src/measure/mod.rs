//! Exact quantities: rationals, dimensions, units, tape notation and formulas.
//!
//! Pure: no input or output, no clock, no randomness, and no knowledge of any
//! trade. Nothing here rounds unless the caller says which way.

mod dimension;
mod error;
mod formula;
mod literal;
mod quantity;
mod ratio;
mod rows;
mod tape;
mod unit;

pub use dimension::Dimension;
pub use error::{MeasureError, ParseError};
pub use formula::{
    EvalError, Formula, FormulaError, Function, Functions, Scope, Type, Value, Values, in_order,
};
pub use quantity::Quantity;
pub use ratio::{Ratio, Rounding};
pub use rows::{Column, Row, RowFunction, RowsInput, RowsOutput, TableShape};
pub use tape::{Style, System, exact_text, parse_quantity, show, show_in};
pub use unit::Unit;
