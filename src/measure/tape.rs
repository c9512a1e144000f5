//! Reads and prints quantities as a person writes them: `5'-0 3/8"`, `63 3/16 in`,
//! `1,640 ft2`, `4:12`, metric. Formulas are read elsewhere.

use super::literal::{Cursor, Literal, Place, literal, number, starts_number};
use super::{Dimension, MeasureError, ParseError, Quantity, Ratio, Rounding, Unit};

/// The longest text read as one quantity, in bytes.
const LONGEST: usize = 200;

/// Which units are shown.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum System {
    /// Feet, inches and fractions.
    #[default]
    Us,
    /// Metres and millimetres.
    Metric,
}

/// How quantities are shown.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Style {
    /// The units.
    pub system: System,
    /// The smallest mark of the tape in inches; metric lengths use 1 mm.
    pub graduation: Ratio,
    /// Up for minimums, down for maximums.
    pub rounding: Rounding,
}

impl Default for Style {
    fn default() -> Self {
        Self { system: System::Us, graduation: Ratio::reduced(1, 16), rounding: Rounding::Nearest }
    }
}

/// Reads one quantity of the dimension expected. Bare numbers are inches for a
/// length and the rise in twelve for a pitch; anything else needs its unit.
///
/// # Errors
/// When the text is something else, with the bytes that are wrong.
pub fn parse_quantity(text: &str, expected: Dimension) -> Result<Quantity, ParseError> {
    if LONGEST < text.len() {
        return Err(ParseError::new(0..0, format!("longer than {LONGEST} bytes")));
    }
    let end = text.trim_end().len();
    let mut cursor = Cursor::new(text.get(..end).unwrap_or(text), 0);
    cursor.spaces();
    let start = cursor.at;
    let negative = cursor.eat("-") || cursor.eat("\u{2212}");
    cursor.spaces();
    if !starts_number(cursor.rest()) {
        return Err(ParseError::new(cursor.at..end.max(cursor.at), wanted(expected)));
    }
    let (quantity, zero) = if expected == Dimension::PITCH {
        (pitch(&mut cursor)?, Ratio::ZERO)
    } else {
        let found = literal(&mut cursor, Place::Field, true)?;
        let zero = found.unit.map_or(Ratio::ZERO, Unit::zero);
        (of_dimension(&found, expected, start..cursor.at)?, zero)
    };
    cursor.spaces();
    if cursor.at < end {
        let rest = cursor.rest();
        return Err(ParseError::new(
            cursor.at..end,
            format!("cannot read `{rest}` here; {}", wanted(expected)),
        ));
    }
    if !negative {
        return Ok(quantity);
    }
    negate(quantity, zero).map_err(|error| ParseError::new(start..end, error.to_string()))
}

/// Mirrors a quantity at `zero`: minus forty degrees is not minus its Rankine value.
pub(super) fn negate(quantity: Quantity, zero: Ratio) -> Result<Quantity, MeasureError> {
    let value = zero.plus(zero)?.minus(quantity.value)?;
    Ok(Quantity::new(value, quantity.dimension))
}

fn of_dimension(
    found: &Literal,
    expected: Dimension,
    at: std::ops::Range<usize>,
) -> Result<Quantity, ParseError> {
    let quantity = found.quantity;
    if found.unit.is_none() && expected == Dimension::LENGTH {
        return Ok(Quantity::inches(quantity.value));
    }
    if quantity.dimension == expected {
        return Ok(quantity);
    }
    let what = if found.unit.is_none() {
        "a unit is missing".to_owned()
    } else {
        format!("this is {}", quantity.dimension.name())
    };
    Err(ParseError::new(at, format!("{what}; {}", wanted(expected))))
}

/// `4:12`, `4/12`, `4 in 12`, `4 on 12`, `6 1/2`: rise over run.
fn pitch(cursor: &mut Cursor<'_>) -> Result<Quantity, ParseError> {
    let start = cursor.at;
    let wrong = |at, error: &MeasureError| ParseError::new(at, error.to_string());
    let rise = number(cursor, Place::Field, false)?;
    cursor.spaces();
    let slash = cursor.eat("/");
    let run = if slash || cursor.eat(":") || cursor.eat("in ") || cursor.eat("on ") {
        cursor.spaces();
        number(cursor, Place::Field, false)?
    } else {
        Ratio::int(12)
    };
    // `1/2` may mean 1/2 in twelve or 6 in twelve, and in old books 12 in twelve.
    if slash && run != Ratio::int(12) {
        return Err(ParseError::new(
            start..cursor.at,
            "write the rise in twelve, such as `6:12` or `6 1/2`",
        ));
    }
    let value = rise.over(run).map_err(|error| wrong(start..cursor.at, &error))?;
    Ok(Quantity::new(value, Dimension::PITCH))
}

/// What was expected: its name, an example and the units that would be right.
fn wanted(dimension: Dimension) -> String {
    let units = Unit::symbols_of(dimension);
    let units = match units.len() {
        0 | 1 => String::new(),
        _ => format!(" (units: {})", units.join(", ")),
    };
    format!("expected {}, {}{units}", dimension.name(), example(dimension))
}

fn example(dimension: Dimension) -> &'static str {
    match dimension {
        Dimension::NUMBER => "such as `12`",
        Dimension::LENGTH => "such as `5 ft 3 3/16 in`",
        Dimension::AREA => "such as `1640 ft2`",
        Dimension::VOLUME => "such as `12 ft3`",
        Dimension::FREE_AREA_PER_LENGTH => "such as `9 in2/ft`",
        Dimension::PITCH => "such as `6:12`",
        Dimension::TEMPERATURE => "such as `40 degF`",
        Dimension::TEMPERATURE_DIFFERENCE => "such as `5 Fdeg`",
        Dimension::SPEED => "such as `25 mph`",
        Dimension::MASS => "such as `30 lb`",
        Dimension::TIME => "such as `20 min`",
        Dimension::PRESSURE => "such as `90 psi`",
        _ => "with its unit",
    }
}

/// Prints for a person, rounded as the style says.
pub fn show(quantity: Quantity, style: &Style) -> String {
    let us = style.system == System::Us;
    let pick = |yes: Unit, no: Unit| if us { yes } else { no };
    let (unit, decimals) = match quantity.dimension {
        Dimension::LENGTH => {
            return length(quantity.value, style).unwrap_or_else(|_| exact_text(quantity));
        }
        Dimension::PITCH => return show_pitch(quantity, style.rounding),
        Dimension::NUMBER => return decimal(quantity.value, 3, style.rounding, true),
        Dimension::AREA => return area(quantity, style),
        Dimension::VOLUME => (pick(Unit::CubicFoot, Unit::CubicMetre), 2),
        Dimension::FREE_AREA_PER_LENGTH => {
            (pick(Unit::SquareInchPerFoot, Unit::SquareCentimetrePerMetre), 2)
        }
        Dimension::TEMPERATURE => (pick(Unit::DegreeFahrenheit, Unit::DegreeCelsius), 1),
        Dimension::TEMPERATURE_DIFFERENCE => {
            (pick(Unit::FahrenheitDifference, Unit::CelsiusDifference), 1)
        }
        Dimension::SPEED => (pick(Unit::MilePerHour, Unit::KilometrePerHour), 1),
        Dimension::MASS => (pick(Unit::Pound, Unit::Kilogram), 2),
        Dimension::TIME => {
            let minutes = Ratio::int(60) <= quantity.value.abs();
            (if minutes { Unit::Minute } else { Unit::Second }, 1)
        }
        Dimension::PRESSURE => (Unit::PoundPerSquareInch, 1),
        _ => return exact_text(quantity),
    };
    in_unit(quantity, unit, decimals, style.rounding, true)
}

/// Prints in `unit` with so many decimal places: `787.2 in2`. A unit that
/// measures something else prints the exact text instead.
pub fn show_in(quantity: Quantity, unit: Unit, decimals: u32, rounding: Rounding) -> String {
    in_unit(quantity, unit, decimals, rounding, false)
}

fn in_unit(
    quantity: Quantity,
    unit: Unit,
    decimals: u32,
    rounding: Rounding,
    trim: bool,
) -> String {
    match quantity.in_unit(unit) {
        Ok(value) => format!("{} {}", decimal(value, decimals, rounding, trim), unit.symbol()),
        Err(_) => exact_text(quantity),
    }
}

fn area(quantity: Quantity, style: &Style) -> String {
    let large = |unit: Unit, many: i64| {
        quantity
            .in_unit(unit)
            .is_ok_and(|v| v.is_integer() && v != Ratio::ZERO || Ratio::int(many) <= v.abs())
    };
    let (unit, decimals) = match style.system {
        System::Us if large(Unit::SquareFoot, 100) => (Unit::SquareFoot, 2),
        System::Us => (Unit::SquareInch, 1),
        System::Metric if large(Unit::SquareMetre, 1) => (Unit::SquareMetre, 2),
        System::Metric => (Unit::SquareCentimetre, 1),
    };
    in_unit(quantity, unit, decimals, style.rounding, true)
}

fn length(inches: Ratio, style: &Style) -> Result<String, MeasureError> {
    if style.system == System::Metric {
        let millimetres = Quantity::inches(inches).in_unit(Unit::Millimetre)?;
        let rounded = millimetres.round_to(Ratio::ONE, style.rounding)?;
        return Ok(if rounded.abs() < Ratio::int(10_000) {
            format!("{rounded} mm")
        } else {
            format!("{} m", decimal(rounded.over(Ratio::int(1000))?, 3, style.rounding, false))
        });
    }
    let rounded = inches.round_to(style.graduation, style.rounding)?;
    let sign = if rounded < Ratio::ZERO { "-" } else { "" };
    let feet = rounded.abs().over(Ratio::int(12))?.floor();
    let rest = rounded.abs().minus(Ratio::from_whole(feet)?.times(Ratio::int(12))?)?;
    Ok(match feet {
        0 => format!("{sign}{}\"", mixed(rest)),
        // `5'-0 3/8"`, never `5'-3/8"`: the zero keeps the dash from reading as a minus.
        _ if rest < Ratio::ONE && rest != Ratio::ZERO => format!("{sign}{feet}'-0 {rest}\""),
        _ => format!("{sign}{feet}'-{}\"", mixed(rest)),
    })
}

fn show_pitch(quantity: Quantity, rounding: Rounding) -> String {
    match quantity.value.times(Ratio::int(12)) {
        Ok(rise) if [1, 2, 4, 8, 16].contains(&rise.denominator()) => format!("{}:12", mixed(rise)),
        Ok(rise) => format!("{}:12", decimal(rise, 2, rounding, true)),
        Err(_) => exact_text(quantity),
    }
}

/// `63 3/16`, `3/16`, `-2`.
fn mixed(value: Ratio) -> String {
    let whole = value.abs().floor();
    let sign = if value < Ratio::ZERO { "-" } else { "" };
    let (rest, den) = (value.abs().numerator() % value.denominator(), value.denominator());
    match (whole, rest) {
        (_, 0) => format!("{sign}{whole}"),
        (0, _) => format!("{sign}{rest}/{den}"),
        _ => format!("{sign}{whole} {rest}/{den}"),
    }
}

/// A decimal rounded once; `trim` drops zeros at the end.
fn decimal(value: Ratio, decimals: u32, rounding: Rounding, trim: bool) -> String {
    let decimals = decimals.min(12);
    let scale = 10_i128.pow(decimals);
    let Ok(scaled) = Ratio::from_whole(scale).and_then(|scale| value.times(scale)) else {
        return mixed(value);
    };
    let digits = scaled.round(rounding);
    let sign = if digits < 0 { "-" } else { "" };
    let (whole, rest) = (
        digits.unsigned_abs() / scale.unsigned_abs(),
        digits.unsigned_abs() % scale.unsigned_abs(),
    );
    if decimals == 0 {
        return format!("{sign}{whole}");
    }
    let text = format!("{sign}{whole}.{rest:0width$}", width = decimals as usize);
    if trim { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// The exact value, which `parse_quantity` reads back: `63 3/16 in`,
/// `236160 in2`, `6/12`, `40 degF`, `3`.
///
/// Dimensions without a unit of their own, such as in4, cannot be read back.
pub fn exact_text(quantity: Quantity) -> String {
    let unit = match quantity.dimension {
        Dimension::NUMBER => return mixed(quantity.value),
        Dimension::PITCH => return exact_pitch(quantity.value),
        Dimension::LENGTH => Unit::Inch,
        Dimension::AREA => Unit::SquareInch,
        Dimension::VOLUME => Unit::CubicInch,
        Dimension::FREE_AREA_PER_LENGTH => Unit::SquareInchPerInch,
        Dimension::TEMPERATURE => Unit::DegreeFahrenheit,
        Dimension::TEMPERATURE_DIFFERENCE => Unit::FahrenheitDifference,
        Dimension::SPEED => Unit::InchPerSecond,
        Dimension::MASS => Unit::Pound,
        Dimension::TIME => Unit::Second,
        Dimension::PRESSURE => Unit::PoundPerSquareInch,
        other => return format!("{} {}", mixed(quantity.value), other.base_units()),
    };
    match quantity.in_unit(unit) {
        Ok(value) => format!("{} {}", mixed(value), unit.symbol()),
        Err(_) => format!("{} {}", mixed(quantity.value), quantity.dimension.base_units()),
    }
}

fn exact_pitch(value: Ratio) -> String {
    match value.times(Ratio::int(12)) {
        Ok(rise) if rise.is_integer() => format!("{rise}/12"),
        // Numerator and denominator have no fraction of their own to confuse.
        _ => format!("{}:{}", value.numerator(), value.denominator()),
    }
}
