//! Conversions of units against Python `pint` 0.25.2, which carries the unit
//! definitions of the US and of the SI (public domain tables, exact in fractions).

use chalkhand::measure::{Dimension, Ratio, parse_quantity};

use crate::outside;

/// Our unit, pint's name for it, the base unit we keep, and the dimension.
const UNITS: &[(&str, &str, &str, Dimension)] = &[
    ("in", "inch", "inch", Dimension::LENGTH),
    ("ft", "foot", "inch", Dimension::LENGTH),
    ("yd", "yard", "inch", Dimension::LENGTH),
    ("mm", "millimeter", "inch", Dimension::LENGTH),
    ("cm", "centimeter", "inch", Dimension::LENGTH),
    ("m", "meter", "inch", Dimension::LENGTH),
    ("in2", "inch ** 2", "inch ** 2", Dimension::AREA),
    ("ft2", "foot ** 2", "inch ** 2", Dimension::AREA),
    ("yd2", "yard ** 2", "inch ** 2", Dimension::AREA),
    ("mm2", "millimeter ** 2", "inch ** 2", Dimension::AREA),
    ("cm2", "centimeter ** 2", "inch ** 2", Dimension::AREA),
    ("m2", "meter ** 2", "inch ** 2", Dimension::AREA),
    ("in2/ft", "inch ** 2 / foot", "inch", Dimension::FREE_AREA_PER_LENGTH),
    ("ft2/ft", "foot ** 2 / foot", "inch", Dimension::FREE_AREA_PER_LENGTH),
    ("cm2/m", "centimeter ** 2 / meter", "inch", Dimension::FREE_AREA_PER_LENGTH),
    ("mm2/m", "millimeter ** 2 / meter", "inch", Dimension::FREE_AREA_PER_LENGTH),
    ("mph", "mile / hour", "inch / second", Dimension::SPEED),
    ("km/h", "kilometer / hour", "inch / second", Dimension::SPEED),
    ("m/s", "meter / second", "inch / second", Dimension::SPEED),
    ("degF", "degF", "degR", Dimension::TEMPERATURE),
    ("degC", "degC", "degR", Dimension::TEMPERATURE),
];

#[test]
fn units_are_those_of_pint() {
    let Some(folder) = outside::folder("units by Python pint") else { return };
    let numbers = ["0", "1", "2.5", "9", "40", "1640", "0.0625", "123456.789"];
    let all = || UNITS.iter().flat_map(|unit| numbers.iter().map(move |number| (unit, number)));
    let input: String =
        all().map(|((_, pint, base, _), number)| format!("{number}\t{pint}\t{base}\n")).collect();
    let output = outside::run(&folder, "units.py", &input);
    assert_eq!(output.lines().count(), all().count());
    for (((ours, _, _, dimension), number), theirs) in all().zip(output.lines()) {
        let found = parse_quantity(&format!("{number} {ours}"), *dimension).unwrap().value;
        let (top, bottom) = theirs.split_once('/').unwrap_or((theirs, "1"));
        let theirs = Ratio::new(top.parse().unwrap(), bottom.parse().unwrap()).unwrap();
        assert_eq!(found, theirs, "{number} {ours}");
    }
}
