//! What kind of thing a quantity is, and which kinds go together.

use super::MeasureError;

/// Exponents of length, mass, time and temperature, and how the value is meant.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Dimension {
    length: i8,
    mass: i8,
    time: i8,
    temperature: i8,
    sense: Sense,
}

/// Tells apart what exponents alone do not.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
enum Sense {
    Plain,
    /// A net free area for each length: exponent 1, yet no length.
    Opening,
    /// Rise over run: no exponent, yet no plain number.
    Slope,
    /// A point on a thermometer, counted from absolute zero.
    Reading,
}

use Sense::{Opening, Plain, Reading, Slope};

impl Dimension {
    /// A plain number.
    pub const NUMBER: Self = Self::plain(0, 0, 0, 0);
    /// A length.
    pub const LENGTH: Self = Self::plain(1, 0, 0, 0);
    /// An area.
    pub const AREA: Self = Self::plain(2, 0, 0, 0);
    /// A volume.
    pub const VOLUME: Self = Self::plain(3, 0, 0, 0);
    /// A net free area per length of vent.
    pub const FREE_AREA_PER_LENGTH: Self = Self { sense: Opening, ..Self::LENGTH };
    /// Rise over run of a roof.
    pub const PITCH: Self = Self { sense: Slope, ..Self::NUMBER };
    /// A thermometer reading.
    pub const TEMPERATURE: Self = Self { sense: Reading, ..Self::TEMPERATURE_DIFFERENCE };
    /// A difference of two thermometer readings.
    pub const TEMPERATURE_DIFFERENCE: Self = Self::plain(0, 0, 0, 1);
    /// A speed.
    pub const SPEED: Self = Self::plain(1, 0, -1, 0);
    /// A mass.
    pub const MASS: Self = Self::plain(0, 1, 0, 0);
    /// A length of time.
    pub const TIME: Self = Self::plain(0, 0, 1, 0);
    /// A pressure.
    pub const PRESSURE: Self = Self::plain(-1, 1, -2, 0);

    const fn plain(length: i8, mass: i8, time: i8, temperature: i8) -> Self {
        Self { length, mass, time, temperature, sense: Plain }
    }

    /// The name with its article: "a length", "an area", "a net free area per length".
    pub fn name(self) -> String {
        let known = match self {
            Self::NUMBER => "a plain number",
            Self::LENGTH => "a length",
            Self::AREA => "an area",
            Self::VOLUME => "a volume",
            Self::FREE_AREA_PER_LENGTH => "a net free area per length",
            Self::PITCH => "a pitch",
            Self::TEMPERATURE => "a temperature",
            Self::TEMPERATURE_DIFFERENCE => "a temperature difference",
            Self::SPEED => "a speed",
            Self::MASS => "a mass",
            Self::TIME => "a time",
            Self::PRESSURE => "a pressure",
            _ => return format!("a quantity in {}", self.base_units()),
        };
        known.to_owned()
    }

    /// The base units with their exponents, such as `in3 s-1`.
    pub fn base_units(self) -> String {
        let parts =
            [("in", self.length), ("lb", self.mass), ("s", self.time), ("Fdeg", self.temperature)];
        let shown: Vec<String> = parts
            .iter()
            .filter(|(_, exponent)| *exponent != 0)
            .map(|(unit, exponent)| match exponent {
                1 => (*unit).to_owned(),
                _ => format!("{unit}{exponent}"),
            })
            .collect();
        shown.join(" ")
    }

    /// Whether this is a thermometer reading, which can only be compared and shifted.
    pub fn is_reading(self) -> bool {
        self.sense == Reading
    }

    pub(super) fn plus(self, other: Self) -> Result<Self, MeasureError> {
        match (self.sense, other.sense) {
            (Reading, Reading) => {
                refuse("cannot add two temperatures; add a difference, in Fdeg or Cdeg")
            }
            (Reading, Plain) if other == Self::TEMPERATURE_DIFFERENCE => Ok(self),
            (Plain, Reading) if self == Self::TEMPERATURE_DIFFERENCE => Ok(other),
            _ if self == other => Ok(self),
            _ => refuse(format!(
                "cannot add {} to {}{}",
                other.name(),
                self.name(),
                hint(self, other)
            )),
        }
    }

    pub(super) fn minus(self, other: Self) -> Result<Self, MeasureError> {
        match (self.sense, other.sense) {
            (Reading, Reading) => Ok(Self::TEMPERATURE_DIFFERENCE),
            (Reading, Plain) if other == Self::TEMPERATURE_DIFFERENCE => Ok(self),
            _ if self == other => Ok(self),
            _ => refuse(format!(
                "cannot subtract {} from {}{}",
                other.name(),
                self.name(),
                hint(self, other)
            )),
        }
    }

    pub(super) fn times(self, other: Self) -> Result<Self, MeasureError> {
        let fails = || refuse(format!("cannot multiply {} by {}", self.name(), other.name()));
        match (self.sense, other.sense) {
            (Plain, Plain) => self.combine(other, 1),
            (Slope, Slope) => Ok(Self::NUMBER),
            (Slope, Plain) if other == Self::NUMBER => Ok(self),
            (Plain, Slope) if self == Self::NUMBER => Ok(other),
            (Slope, Plain) => Ok(other),
            (Plain, Slope) => Ok(self),
            (Opening, Plain) if other == Self::NUMBER => Ok(self),
            (Plain, Opening) if self == Self::NUMBER => Ok(other),
            (Opening, Plain) if other == Self::LENGTH => Ok(Self::AREA),
            (Plain, Opening) if self == Self::LENGTH => Ok(Self::AREA),
            _ => fails(),
        }
    }

    pub(super) fn over(self, other: Self) -> Result<Self, MeasureError> {
        let fails = || refuse(format!("cannot divide {} by {}", self.name(), other.name()));
        match (self.sense, other.sense) {
            (Plain, Plain) => self.combine(other, -1),
            (Slope, Slope) | (Opening, Opening) => Ok(Self::NUMBER),
            (Slope | Opening, Plain) if other == Self::NUMBER => Ok(self),
            (Plain, Slope) => Ok(self),
            (Plain, Opening) if self == Self::AREA => Ok(Self::LENGTH),
            _ => fails(),
        }
    }

    pub(super) fn root(self) -> Result<Self, MeasureError> {
        let parts = [self.length, self.mass, self.time, self.temperature];
        if self.sense != Plain || parts.iter().any(|exponent| exponent % 2 != 0) {
            return refuse(format!("cannot take the square root of {}", self.name()));
        }
        Ok(Self::plain(self.length / 2, self.mass / 2, self.time / 2, self.temperature / 2))
    }

    pub(super) fn compare(self, other: Self) -> Result<(), MeasureError> {
        if self == other {
            return Ok(());
        }
        refuse(format!("cannot compare {} with {}{}", self.name(), other.name(), hint(self, other)))
    }

    fn combine(self, other: Self, sign: i8) -> Result<Self, MeasureError> {
        let add = |a: i8, b: i8| {
            b.checked_mul(sign).and_then(|b| a.checked_add(b)).ok_or(MeasureError::Overflow)
        };
        Ok(Self::plain(
            add(self.length, other.length)?,
            add(self.mass, other.mass)?,
            add(self.time, other.time)?,
            add(self.temperature, other.temperature)?,
        ))
    }
}

fn refuse<T>(message: impl Into<String>) -> Result<T, MeasureError> {
    Err(MeasureError::Dimensions(message.into()))
}

/// What most likely went wrong when two dimensions differ.
fn hint(a: Dimension, b: Dimension) -> &'static str {
    let pair = |x, y| (a, b) == (x, y) || (a, b) == (y, x);
    if pair(Dimension::PITCH, Dimension::NUMBER) {
        "; write a pitch as `4:12`"
    } else if pair(Dimension::TEMPERATURE, Dimension::TEMPERATURE_DIFFERENCE) {
        "; a difference is written in Fdeg or Cdeg, a temperature in degF or degC"
    } else if a == Dimension::NUMBER || b == Dimension::NUMBER {
        "; is a unit missing?"
    } else {
        ""
    }
}
