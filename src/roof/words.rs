//! Lengths and areas as they stand in the sentences for the crew.

use crate::measure::{Dimension, Quantity, Ratio, Rounding, Style, Unit, show, show_in};

/// A length to the nearest mark of the tape.
pub(super) fn tape(inches: Ratio) -> String {
    marked(inches, Rounding::Nearest)
}

/// A length that must not be more than it is.
pub(super) fn at_most(inches: Ratio) -> String {
    marked(inches, Rounding::Down)
}

/// A length that must not be less than it is.
pub(super) fn at_least(inches: Ratio) -> String {
    marked(inches, Rounding::Up)
}

/// A length that must not be less than it is, in whole inches.
pub(super) fn at_least_whole(inches: Ratio) -> String {
    let style = Style { graduation: Ratio::ONE, rounding: Rounding::Up, ..Style::default() };
    show(Quantity::inches(inches), &style)
}

fn marked(inches: Ratio, rounding: Rounding) -> String {
    show(Quantity::inches(inches), &Style { rounding, ..Style::default() })
}

/// `400.0 in2`
pub(super) fn square_inches(area: Ratio, rounding: Rounding) -> String {
    show_in(Quantity::new(area, Dimension::AREA), Unit::SquareInch, 1, rounding)
}
