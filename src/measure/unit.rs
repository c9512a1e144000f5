//! The units a person may write, with their exact factors.
//!
//! 16 CFR 500.19: 1 in = 25.4 mm, exact. 1 lb = 0.45359237 kg, standard gravity
//! 9.80665 m/s2 (both exact by international agreement; from memory).

use super::{Dimension, Ratio};

/// A unit. Base units are the inch, pound, second and degree Rankine.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
#[expect(missing_docs, reason = "each name says all there is to say")]
pub enum Unit {
    Inch,
    Foot,
    Yard,
    Millimetre,
    Centimetre,
    Metre,
    SquareInch,
    SquareFoot,
    SquareYard,
    SquareMillimetre,
    SquareCentimetre,
    SquareMetre,
    CubicInch,
    CubicFoot,
    CubicYard,
    CubicMetre,
    SquareInchPerFoot,
    SquareInchPerInch,
    SquareInchPerMetre,
    SquareFootPerFoot,
    SquareCentimetrePerMetre,
    SquareMillimetrePerMetre,
    SquareMetrePerMetre,
    Pound,
    Kilogram,
    Second,
    Minute,
    Hour,
    Day,
    DegreeFahrenheit,
    DegreeCelsius,
    FahrenheitDifference,
    CelsiusDifference,
    MilePerHour,
    KilometrePerHour,
    MetrePerSecond,
    FootPerSecond,
    InchPerSecond,
    PoundPerSquareInch,
}

use Unit::*;

/// Every spelling; the first one of a unit is the one printed.
const SPELLINGS: &[(&str, Unit)] = &[
    ("in", Inch),
    ("inch", Inch),
    ("inches", Inch),
    ("\"", Inch),
    ("''", Inch),
    ("\u{2033}", Inch),
    ("\u{201d}", Inch),
    ("\u{2032}\u{2032}", Inch),
    ("ft", Foot),
    ("foot", Foot),
    ("feet", Foot),
    ("'", Foot),
    ("\u{2032}", Foot),
    ("\u{2019}", Foot),
    ("yd", Yard),
    ("yard", Yard),
    ("yards", Yard),
    ("mm", Millimetre),
    ("cm", Centimetre),
    ("m", Metre),
    ("in2", SquareInch),
    ("in\u{b2}", SquareInch),
    ("sq in", SquareInch),
    ("in^2", SquareInch),
    ("square inches", SquareInch),
    ("square inch", SquareInch),
    ("ft2", SquareFoot),
    ("ft\u{b2}", SquareFoot),
    ("sq ft", SquareFoot),
    ("ft^2", SquareFoot),
    ("square feet", SquareFoot),
    ("square foot", SquareFoot),
    ("yd2", SquareYard),
    ("yd\u{b2}", SquareYard),
    ("sq yd", SquareYard),
    ("yd^2", SquareYard),
    ("mm2", SquareMillimetre),
    ("mm\u{b2}", SquareMillimetre),
    ("sq mm", SquareMillimetre),
    ("cm2", SquareCentimetre),
    ("cm\u{b2}", SquareCentimetre),
    ("sq cm", SquareCentimetre),
    ("m2", SquareMetre),
    ("m\u{b2}", SquareMetre),
    ("sq m", SquareMetre),
    ("m^2", SquareMetre),
    ("in3", CubicInch),
    ("in\u{b3}", CubicInch),
    ("cu in", CubicInch),
    ("ft3", CubicFoot),
    ("ft\u{b3}", CubicFoot),
    ("cu ft", CubicFoot),
    ("yd3", CubicYard),
    ("yd\u{b3}", CubicYard),
    ("cu yd", CubicYard),
    ("m3", CubicMetre),
    ("m\u{b3}", CubicMetre),
    ("in2/ft", SquareInchPerFoot),
    ("in\u{b2}/ft", SquareInchPerFoot),
    ("sq in/ft", SquareInchPerFoot),
    ("in2/in", SquareInchPerInch),
    ("in\u{b2}/in", SquareInchPerInch),
    ("sq in/in", SquareInchPerInch),
    ("in2/m", SquareInchPerMetre),
    ("in\u{b2}/m", SquareInchPerMetre),
    ("ft2/ft", SquareFootPerFoot),
    ("ft\u{b2}/ft", SquareFootPerFoot),
    ("sq ft/ft", SquareFootPerFoot),
    ("cm2/m", SquareCentimetrePerMetre),
    ("cm\u{b2}/m", SquareCentimetrePerMetre),
    ("mm2/m", SquareMillimetrePerMetre),
    ("mm\u{b2}/m", SquareMillimetrePerMetre),
    ("m2/m", SquareMetrePerMetre),
    ("m\u{b2}/m", SquareMetrePerMetre),
    ("lb", Pound),
    ("lbs", Pound),
    ("kg", Kilogram),
    ("s", Second),
    ("sec", Second),
    ("min", Minute),
    ("h", Hour),
    ("hr", Hour),
    ("d", Day),
    ("degF", DegreeFahrenheit),
    ("\u{b0}F", DegreeFahrenheit),
    ("deg F", DegreeFahrenheit),
    ("degC", DegreeCelsius),
    ("\u{b0}C", DegreeCelsius),
    ("deg C", DegreeCelsius),
    ("Fdeg", FahrenheitDifference),
    ("F\u{b0}", FahrenheitDifference),
    ("Cdeg", CelsiusDifference),
    ("C\u{b0}", CelsiusDifference),
    ("mph", MilePerHour),
    ("km/h", KilometrePerHour),
    ("m/s", MetrePerSecond),
    ("ft/s", FootPerSecond),
    ("in/s", InchPerSecond),
    ("psi", PoundPerSquareInch),
];

impl Unit {
    /// Base units in one of this unit (for readings: in one degree).
    pub fn factor(self) -> Ratio {
        match self {
            Inch | SquareInch | CubicInch | SquareInchPerInch | InchPerSecond => Ratio::ONE,
            Pound | Second | DegreeFahrenheit | FahrenheitDifference => Ratio::ONE,
            Foot | SquareFootPerFoot | FootPerSecond => Ratio::int(12),
            Yard => Ratio::int(36),
            Millimetre => Ratio::reduced(5, 127),
            Centimetre => Ratio::reduced(50, 127),
            Metre | SquareMetrePerMetre | MetrePerSecond => Ratio::reduced(5000, 127),
            SquareFoot => Ratio::int(144),
            SquareYard => Ratio::int(1296),
            SquareMillimetre => Ratio::reduced(25, 16_129),
            SquareCentimetre => Ratio::reduced(2500, 16_129),
            SquareMetre => Ratio::reduced(25_000_000, 16_129),
            CubicFoot => Ratio::int(1728),
            CubicYard => Ratio::int(46_656),
            CubicMetre => Ratio::reduced(125_000_000_000, 2_048_383),
            SquareInchPerFoot => Ratio::reduced(1, 12),
            SquareInchPerMetre => Ratio::reduced(127, 5000),
            SquareCentimetrePerMetre => Ratio::reduced(1, 254),
            SquareMillimetrePerMetre => Ratio::reduced(1, 25_400),
            Kilogram => Ratio::reduced(100_000_000, 45_359_237),
            Minute => Ratio::int(60),
            Hour => Ratio::int(3600),
            Day => Ratio::int(86_400),
            DegreeCelsius | CelsiusDifference => Ratio::reduced(9, 5),
            MilePerHour => Ratio::reduced(88, 5),
            KilometrePerHour => Ratio::reduced(12_500, 1143),
            PoundPerSquareInch => Ratio::reduced(196_133, 508),
        }
    }

    /// Base units at the zero of the scale: not zero for thermometer readings.
    pub fn zero(self) -> Ratio {
        match self {
            DegreeFahrenheit => Ratio::reduced(45_967, 100),
            DegreeCelsius => Ratio::reduced(49_167, 100),
            _ => Ratio::ZERO,
        }
    }

    /// What the unit measures.
    pub fn dimension(self) -> Dimension {
        match self {
            Inch | Foot | Yard | Millimetre | Centimetre | Metre => Dimension::LENGTH,
            SquareInch | SquareFoot | SquareYard | SquareMillimetre | SquareCentimetre
            | SquareMetre => Dimension::AREA,
            CubicInch | CubicFoot | CubicYard | CubicMetre => Dimension::VOLUME,
            SquareInchPerFoot
            | SquareInchPerInch
            | SquareInchPerMetre
            | SquareFootPerFoot
            | SquareCentimetrePerMetre
            | SquareMillimetrePerMetre
            | SquareMetrePerMetre => Dimension::FREE_AREA_PER_LENGTH,
            Pound | Kilogram => Dimension::MASS,
            Second | Minute | Hour | Day => Dimension::TIME,
            DegreeFahrenheit | DegreeCelsius => Dimension::TEMPERATURE,
            FahrenheitDifference | CelsiusDifference => Dimension::TEMPERATURE_DIFFERENCE,
            MilePerHour | KilometrePerHour | MetrePerSecond | FootPerSecond | InchPerSecond => {
                Dimension::SPEED
            }
            PoundPerSquareInch => Dimension::PRESSURE,
        }
    }

    /// How the unit is printed: `in`, `ft2`, `in2/ft`, `degF`.
    pub fn symbol(self) -> &'static str {
        SPELLINGS.iter().find(|(_, unit)| *unit == self).map_or("", |(text, _)| text)
    }

    /// How the units of a dimension are printed, each once.
    pub fn symbols_of(dimension: Dimension) -> Vec<&'static str> {
        let mut all: Vec<Unit> = Vec::new();
        for (_, unit) in SPELLINGS {
            if unit.dimension() == dimension && !all.contains(unit) {
                all.push(*unit);
            }
        }
        all.into_iter().map(Self::symbol).collect()
    }

    /// The unit with exactly this spelling; capitals do not matter.
    pub fn parse(text: &str) -> Option<Self> {
        scan(text).filter(|(_, length)| *length == text.len()).map(|(unit, _)| unit)
    }

    /// The unit that may stand in front of this one in `5 ft 3 in` or `1 h 30 min`.
    pub(super) fn follows(self, larger: Self) -> bool {
        const CHAINS: &[&[Unit]] =
            &[&[Yard, Foot, Inch], &[Metre, Centimetre, Millimetre], &[Day, Hour, Minute, Second]];
        CHAINS.iter().any(|chain| {
            let place = |unit| chain.iter().position(|other| *other == unit);
            matches!((place(larger), place(self)), (Some(a), Some(b)) if a < b)
        })
    }
}

/// The longest unit at the start of `text` and its length in bytes.
pub(super) fn scan(text: &str) -> Option<(Unit, usize)> {
    let mut best: Option<(Unit, usize)> = None;
    for (spelling, unit) in SPELLINGS {
        let length = spelling.len();
        let Some(start) = text.get(..length) else { continue };
        if !start.eq_ignore_ascii_case(spelling) || best.is_some_and(|(_, other)| length <= other) {
            continue;
        }
        // `in` is not a unit in `into` or `in2x`; a mark may stand against anything.
        let word = spelling.ends_with(|c: char| c.is_alphanumeric());
        let next = text.get(length..).and_then(|rest| rest.chars().next());
        if word && next.is_some_and(|c| c.is_alphanumeric() || c == '_' || c == '^') {
            continue;
        }
        best = Some((*unit, length));
    }
    best
}

/// Whether the unit at the start of `text` is a mark such as `'` or `"`.
pub(super) fn is_mark(text: &str) -> bool {
    text.starts_with(['\'', '"', '\u{2032}', '\u{2033}', '\u{2019}', '\u{201d}'])
}
