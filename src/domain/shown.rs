//! Values as a person reads them: rounded in their safe direction, in the units
//! the person reads.

use crate::measure::{self, Dimension, Quantity, Ratio, Rounding, Style, Unit, Value};

use super::{Bound, Units};

/// Rounds a quantity of inches to the tape in the direction that is safe.
#[must_use]
pub fn to_tape(q: Quantity, bound: Bound, graduation: Ratio) -> Quantity {
    if q.dimension != Dimension::LENGTH {
        return q;
    }
    let rounded = q.value.round_to(graduation, rounding(bound));
    rounded.map_or(q, |value| Quantity::new(value, q.dimension))
}

fn rounding(bound: Bound) -> Rounding {
    match bound {
        Bound::Minimum => Rounding::Up,
        Bound::Maximum => Rounding::Down,
        Bound::Mark => Rounding::Nearest,
    }
}

/// A value as a person reads it: lengths in tape notation, net free area in
/// square inches, floors in square feet.
#[must_use]
pub fn show_value(value: &Value, bound: Bound, graduation: Ratio, units: Units) -> String {
    let q = match value {
        Value::YesNo(yes) => return (if *yes { "yes" } else { "no" }).to_owned(),
        Value::Text(text) => return text.clone(),
        Value::Quantity(q) => *q,
    };
    let us = units == Units::Us;
    let rounding = rounding(bound);
    match q.dimension {
        Dimension::LENGTH => {
            measure::show(q, &Style { system: units.system(), graduation, rounding })
        }
        Dimension::AREA if !us => {
            let big = Ratio::int(15_500) <= q.value.abs();
            let (unit, decimals) =
                if big { (Unit::SquareMetre, 2) } else { (Unit::SquareCentimetre, 0) };
            measure::show_in(q, unit, decimals, rounding)
        }
        Dimension::AREA => {
            let floor = Ratio::int(14_400) <= q.value.abs();
            let (unit, decimals) =
                if floor { (Unit::SquareFoot, 1) } else { (Unit::SquareInch, 1) };
            measure::show_in(q, unit, decimals, rounding)
        }
        Dimension::FREE_AREA_PER_LENGTH => measure::show_in(
            q,
            if us { Unit::SquareInchPerFoot } else { Unit::SquareCentimetrePerMetre },
            2,
            rounding,
        ),
        Dimension::TEMPERATURE => measure::show_in(
            q,
            if us { Unit::DegreeFahrenheit } else { Unit::DegreeCelsius },
            0,
            rounding,
        ),
        Dimension::SPEED => measure::show_in(
            q,
            if us { Unit::MilePerHour } else { Unit::KilometrePerHour },
            0,
            rounding,
        ),
        Dimension::NUMBER if !q.value.is_integer() => {
            let cut = q.value.round_to(Ratio::HUNDREDTH, rounding).unwrap_or(q.value);
            format!("{:.2}", cut.to_f64())
        }
        _ => measure::exact_text(q),
    }
}
