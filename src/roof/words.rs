//! Lengths and areas as they stand in the sentences for the crew.

use crate::measure::{Dimension, Quantity, Ratio, Rounding, Style, System, Unit, show, show_in};

/// Writes them in one system of units.
#[derive(Clone, Copy, Debug)]
pub(super) struct Words(pub(super) System);

impl Words {
    /// A length to the nearest mark of the tape.
    pub(super) fn tape(self, inches: Ratio) -> String {
        self.marked(inches, Ratio::SIXTEENTH, Rounding::Nearest)
    }

    /// A length that must not be more than it is.
    pub(super) fn at_most(self, inches: Ratio) -> String {
        self.marked(inches, Ratio::SIXTEENTH, Rounding::Down)
    }

    /// A length that must not be less than it is.
    pub(super) fn at_least(self, inches: Ratio) -> String {
        self.marked(inches, Ratio::SIXTEENTH, Rounding::Up)
    }

    /// A length that must not be less than it is, in whole inches or millimetres.
    pub(super) fn at_least_whole(self, inches: Ratio) -> String {
        self.marked(inches, Ratio::ONE, Rounding::Up)
    }

    fn marked(self, inches: Ratio, graduation: Ratio, rounding: Rounding) -> String {
        show(Quantity::inches(inches), &Style { system: self.0, graduation, rounding })
    }

    /// `400.0 in2`, `2581 cm2`
    pub(super) fn area(self, area: Ratio, rounding: Rounding) -> String {
        let (unit, decimals) = match self.0 {
            System::Us => (Unit::SquareInch, 1),
            System::Metric => (Unit::SquareCentimetre, 0),
        };
        show_in(Quantity::new(area, Dimension::AREA), unit, decimals, rounding)
    }
}
