//! What can go wrong while computing or reading a quantity.

use std::ops::Range;

/// A computation that has no exact result.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MeasureError {
    /// A numerator or denominator left the range of 128 bits.
    #[error("the number is too large to compute exactly")]
    Overflow,
    /// Division by zero.
    #[error("cannot divide by zero")]
    DivisionByZero,
    /// A square root of a number below zero.
    #[error("cannot take the square root of a negative number")]
    NegativeRoot,
    /// A rounding step that is zero or negative.
    #[error("a rounding step must be more than zero")]
    Step,
    /// A text that is no decimal number.
    #[error("`{0}` is not a number")]
    NotANumber(String),
    /// Dimensions that do not go together, in plain words.
    #[error("{0}")]
    Dimensions(String),
    /// A value outside what a function can work with, in plain words.
    #[error("{0}")]
    NotPossible(String),
}

/// A text that is not the quantity expected.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{message}")]
pub struct ParseError {
    /// The bytes of the text that are wrong.
    pub at: Range<usize>,
    /// What is wrong and what to write, in plain words.
    pub message: String,
}

impl ParseError {
    pub(super) fn new(at: Range<usize>, message: impl Into<String>) -> Self {
        Self { at, message: message.into() }
    }
}
