//! Quantities, tape notation, formulas and roof functions against published figures
//! and independent arithmetic. The source stands beside each.

#![expect(clippy::panic, reason = "a helper of tests fails the test")]

use std::collections::BTreeMap;
use std::io::Write;
use std::process::{Command, Stdio};

use chalkhand::measure::{
    Dimension, EvalError, Formula, Quantity, Ratio, Rounding, Scope, Style, Type, Unit, Value,
    Values, parse_quantity, show, show_in,
};
use chalkhand::roof;

const LENGTH: Dimension = Dimension::LENGTH;

pub(crate) fn decimal(text: &str) -> Ratio {
    Ratio::from_decimal(text).unwrap()
}

pub(crate) fn ratio(num: i128, den: i128) -> Ratio {
    Ratio::new(num, den).unwrap()
}

pub(crate) fn length(text: &str) -> Quantity {
    parse_quantity(text, LENGTH).unwrap_or_else(|error| panic!("{text}: {error}"))
}

pub(crate) fn pitch(rise: i64) -> Quantity {
    Quantity::pitch_in_twelve(Ratio::int(rise)).unwrap()
}

/// Names with fixed values; a table is a name with a dot.
#[derive(Default)]
pub(crate) struct Job {
    facts: BTreeMap<String, Value>,
    columns: BTreeMap<String, Vec<Value>>,
    /// Whether columns without rows have a type.
    typed: bool,
}

impl Job {
    fn with(mut self, name: &str, text: &str, dimension: Dimension) -> Self {
        let value = parse_quantity(text, dimension).unwrap();
        self.facts.insert(name.to_owned(), Value::Quantity(value));
        self
    }

    pub(crate) fn typed(mut self) -> Self {
        self.typed = true;
        self
    }

    pub(crate) fn set(mut self, name: &str, value: Value) -> Self {
        self.facts.insert(name.to_owned(), value);
        self
    }

    fn rows(mut self, name: &str, rows: &[&str], dimension: Dimension) -> Self {
        let parse = |text: &&str| Value::Quantity(parse_quantity(text, dimension).unwrap());
        self.columns.insert(name.to_owned(), rows.iter().map(parse).collect());
        self
    }
}

impl Scope for Job {
    fn type_of(&self, name: &str) -> Option<Type> {
        self.facts.get(name).map(Value::type_of)
    }
    fn column(&self, table: &str, column: &str) -> Option<Type> {
        let rows = self.columns.get(&format!("{table}.{column}"))?;
        Some(rows.first().map_or(Type::Quantity(LENGTH), Value::type_of))
    }
    fn names(&self) -> Vec<String> {
        self.facts.keys().chain(self.columns.keys()).cloned().collect()
    }
}

impl Values for Job {
    fn value(&self, name: &str) -> Option<Value> {
        self.facts.get(name).cloned()
    }
    fn column(&self, table: &str, column: &str) -> Option<Vec<Value>> {
        self.columns.get(&format!("{table}.{column}")).cloned()
    }
    fn column_type(&self, table: &str, column: &str) -> Option<Type> {
        self.typed.then(|| Scope::column(self, table, column))?
    }
}

pub(crate) fn job() -> Job {
    Job::default()
        .with("overhang", "12 in", LENGTH)
        .with("pitch", "6:12", Dimension::PITCH)
        .with("attic", "1640 ft2", Dimension::AREA)
        .with("vent.rating", "9 in2/ft", Dimension::FREE_AREA_PER_LENGTH)
        .with("count", "3", Dimension::NUMBER)
        .with("air", "40 degF", Dimension::TEMPERATURE)
        .set("climate", Value::Text("cold".to_owned()))
        .set("snow", Value::YesNo(true))
        .rows("run.length", &["10 ft", "12 ft 6 in", "8 ft"], LENGTH)
        .rows("hip.length", &[], LENGTH)
}

/// The value, after the check has agreed with its type.
pub(crate) fn value(text: &str) -> Value {
    let (job, functions) = (job(), roof::functions());
    let formula = Formula::parse(text).unwrap_or_else(|error| panic!("{text}: {error:?}"));
    let checked =
        formula.check(&job, &functions).unwrap_or_else(|errors| panic!("{text}: {errors:?}"));
    let found = formula.eval(&job, &functions).unwrap_or_else(|error| panic!("{text}: {error:?}"));
    assert_eq!(checked, found.type_of(), "{text}");
    found
}

pub(crate) fn number(text: &str) -> Quantity {
    match value(text) {
        Value::Quantity(quantity) => quantity,
        other => panic!("{text}: {other:?}"),
    }
}

/// Within half of the last digit that the published figure shows.
fn agrees(found: Quantity, published: &str) {
    let places = published.split_once('.').map_or(0, |(_, after)| after.len());
    let shown = format!("{:.places$}", found.value.to_f64());
    assert_eq!(shown, published, "{found:?}");
}

// ---- Framing square ----

/// Rise in twelve; common and hip or valley length in inches per foot of common
/// run; common length per length of run.
///
/// sqrt(144 + n^2) and sqrt(288 + n^2), computed; rows 2 to 18 of the common
/// column match a published square table to the cent, and rows 13 and 16 the US
/// Army carpentry subcourse EN5156/EN0069.
const SQUARE: [(i64, &str, &str, &str); 24] = [
    (1, "12.04", "17.00", "1.003466"),
    (2, "12.17", "17.09", "1.013794"),
    (3, "12.37", "17.23", "1.030776"),
    (4, "12.65", "17.44", "1.054093"),
    (5, "13.00", "17.69", "1.083333"),
    (6, "13.42", "18.00", "1.118034"),
    (7, "13.89", "18.36", "1.157704"),
    (8, "14.42", "18.76", "1.201850"),
    (9, "15.00", "19.21", "1.250000"),
    (10, "15.62", "19.70", "1.301708"),
    (11, "16.28", "20.22", "1.356568"),
    (12, "16.97", "20.78", "1.414214"),
    (13, "17.69", "21.38", "1.474317"),
    (14, "18.44", "22.00", "1.536591"),
    (15, "19.21", "22.65", "1.600781"),
    (16, "20.00", "23.32", "1.666667"),
    (17, "20.81", "24.02", "1.734054"),
    (18, "21.63", "24.74", "1.802776"),
    (19, "22.47", "25.48", "1.872684"),
    (20, "23.32", "26.23", "1.943651"),
    (21, "24.19", "27.00", "2.015564"),
    (22, "25.06", "27.78", "2.088327"),
    (23, "25.94", "28.58", "2.161854"),
    (24, "26.83", "29.39", "2.236068"),
];

#[test]
fn framing_square_table() {
    let foot = length("1 ft");
    for (rise, common, hip, factor) in SQUARE {
        let slope = roof::slope_factor(pitch(rise)).unwrap();
        agrees(slope, factor);
        agrees(slope.times(foot).unwrap(), common);
        agrees(roof::hip_factor(pitch(rise)).unwrap().times(foot).unwrap(), hip);
    }
}

#[test]
fn rafters_worked_in_print() {
    let cases = [
        // US Army subcourse: run 10 ft 4 in at 13/12; 182.79 in print (17.69 per foot).
        ("10 ft 4 in * slope_factor(13:12)", "15'-2 13/16\""),
        // Griffith, Carpentry (1916): quarter pitch is 6/12, half pitch 12/12; common
        // and hip of a 25 ft span. Print uses 16.97 and 20.78; so do these.
        ("12.5 * 16.97 in", "17'-8 1/8\""),
        ("12.5 * 20.78 in", "21'-7 3/4\""),
    ];
    for (formula, tape) in cases {
        assert_eq!(show(number(formula), &Style::default()), tape, "{formula}");
    }
    agrees(number("25 ft / 2 * slope_factor(6:12)"), "167.7");
}

/// Computed from sqrt(1 + p^2): 36 in of vertical drop below the ridge, along the slope.
#[test]
fn upper_vents_within_36_inches_below_the_ridge() {
    let cases = [
        (3, "148.432"),
        (4, "113.842"),
        (5, "93.600"),
        (6, "80.498"),
        (7, "71.447"),
        (8, "64.900"),
        (9, "60.000"),
        (10, "56.234"),
        (12, "50.912"),
    ];
    for (rise, along) in cases {
        agrees(number(&format!("36 in / {rise}:12 * slope_factor({rise}:12)")), along);
    }
}

/// Computed; heel, insulation, rise, horizontal distance inside the wall line.
/// The one-inch air space is measured square to the deck.
#[test]
fn deck_clears_the_insulation() {
    let cases = [
        ("4 in", "14 in", 4, "33.162"),
        ("4 in", "14 in", 6, "22.236"),
        ("5.5 in", "16 in", 6, "23.236"),
        ("3.5 in", "12 in", 5, "23.000"),
        ("12 in", "17.5 in", 4, "19.662"),
        ("6 in", "10 in", 8, "7.803"),
        // A heel higher than the insulation and the air clears at once.
        ("20 in", "14 in", 6, "0.000"),
    ];
    for (heel, depth, rise, clear) in cases {
        agrees(number(&format!("insulation_clear_run({heel}, {depth}, 1 in, {rise}:12)")), clear);
    }
}

/// Computed; all along the slope from the eave edge. The thirds are of the clear
/// height, an assumption.
#[test]
fn bands_for_a_low_slot() {
    let cases = [
        (6, 168, 16, "4 in", 14, "42.749", "74.536", "44.721"),
        (4, 156, 12, "4 in", 14, "47.605", "59.029", "37.947"),
        (8, 144, 0, "6 in", 14, "16.589", "50.478", "28.844"),
        (3, 120, 18, "3.5 in", 15, "70.220", "50.164", "43.293"),
    ];
    for (rise, run, overhang, heel, depth, clear, third, barrier) in cases {
        agrees(
            number(&format!(
                "({overhang} in + insulation_clear_run({heel}, {depth} in, 1 in, {rise}:12)) * slope_factor({rise}:12)"
            )),
            clear,
        );
        agrees(
            number(&format!("bottom_third_to({heel}, {run} in, {overhang} in, {rise}:12)")),
            third,
        );
        agrees(number(&format!("ice_barrier_top({overhang} in, 0 in, 24 in, {rise}:12)")), barrier);
    }
}

/// R905.1.2 (24 in inside the wall line): overhang, wall, rise, distance up the
/// slope; computed, and 60.4 is a published worked figure.
#[test]
fn ice_barrier() {
    let cases = [
        (12, 0, 4, "37.947"),
        (12, 0, 6, "40.249"),
        (16, 0, 6, "44.721"),
        (0, 0, 8, "28.844"),
        (24, 6, 6, "60.374"),
        (24, 6, 6, "60.4"),
        (24, 6, 8, "64.900"),
        (6, 6, 12, "50.912"),
    ];
    for (overhang, wall, rise, top) in cases {
        agrees(
            number(&format!("ice_barrier_top({overhang} in, {wall} in, 24 in, {rise}:12)")),
            top,
        );
    }
    // The steep clause of R905.1.2 (8:12 and up) belongs to the formula.
    let steep = number(
        "max(ice_barrier_top(0 in, 0 in, 24 in, 8:12), if 8:12 >= 8:12 then 36 in else 0 in)",
    );
    assert_eq!(steep, length("36 in"));
}

/// IRC R806.2 ratios; computed as area * 144 / ratio, in square inches.
#[test]
fn attic_ventilation() {
    let cases = [
        (600, "576", "288", "115.2"),
        (900, "864", "432", "172.8"),
        (1000, "960", "480", "192"),
        (1200, "1152", "576", "230.4"),
        (1500, "1440", "720", "288"),
        (1640, "1574.4", "787.2", "314.88"),
        (2000, "1920", "960", "384"),
        (2413, "2316.48", "1158.24", "463.296"),
    ];
    for (area, one_fifty, three_hundred, upper) in cases {
        let free = |ratio: &str| number(&format!("required_free_area({area} ft2, {ratio})")).value;
        assert_eq!(free("150"), decimal(one_fifty));
        assert_eq!(free("300"), decimal(three_hundred));
        assert_eq!(free("300").times(ratio(2, 5)).unwrap(), decimal(upper));
    }
    // Computed: 1640 ft2 at 1/300 needs 44 ft of intake at 9 in2/ft, half of the whole.
    let intake = number("round_up_to(required_free_area(attic, 300) / 2 / vent.rating, 1 ft)");
    assert_eq!(intake, length("44 ft"));
    // Computed: 20 ft at 18 in2/ft and 30 ft at 9 in2/ft together are short of 720 in2.
    assert_eq!(value("20 ft * 18 in2/ft + 30 ft * 9 in2/ft >= 720 in2"), Value::YesNo(false));
    assert_eq!(value("20 ft * 18 in2/ft + 40 ft * 9 in2/ft >= 720 in2"), Value::YesNo(true));
}

#[test]
fn trade_functions_refuse_what_has_no_answer() {
    for text in [
        "slope_factor(-(4:12))",
        "hip_factor(-(4:12))",
        "insulation_clear_run(4 in, 9 in, 1 in, 0:12)",
        "bottom_third_to(4 in, 9 ft, 1 ft, 0:12)",
        "required_free_area(1 ft2, 0)",
        "required_free_area(1 ft2, -300)",
    ] {
        let error = Formula::parse(text).unwrap().eval(&job(), &roof::functions()).unwrap_err();
        let EvalError::Cannot { message, .. } = error else { panic!("{text}: {error:?}") };
        let plain = ["must be more than zero", "must not be negative"];
        assert!(plain.iter().any(|says| message.contains(says)), "{text}: {message}");
    }
}

// ---- Units ----

/// 16 CFR 500.19, all exact: 1 in = 25.4 mm, 1 ft = 304.8 mm, 1 in2 = 6.4516 cm2,
/// 1 ft2 = 929.0304 cm2.
#[test]
fn conversions_of_16_cfr_500_19() {
    let cases = [
        ("1 in", LENGTH, Unit::Millimetre, "25.4"),
        ("1 ft", LENGTH, Unit::Millimetre, "304.8"),
        ("1 ft", LENGTH, Unit::Metre, "0.3048"),
        ("1 yd", LENGTH, Unit::Centimetre, "91.44"),
        ("1 in2", Dimension::AREA, Unit::SquareCentimetre, "6.4516"),
        ("1 ft2", Dimension::AREA, Unit::SquareCentimetre, "929.0304"),
        ("1 ft2", Dimension::AREA, Unit::SquareMetre, "0.09290304"),
        // Computed from the above: 1/16 = 1.5875 mm, 3/16 = 4.7625 mm.
        ("1/16 in", LENGTH, Unit::Millimetre, "1.5875"),
        ("3/16 in", LENGTH, Unit::Millimetre, "4.7625"),
        // Computed from the above by powers.
        ("1 in2", Dimension::AREA, Unit::SquareMillimetre, "645.16"),
        ("1 ft3", Dimension::VOLUME, Unit::CubicMetre, "0.028316846592"),
        ("1 in2/m", Dimension::FREE_AREA_PER_LENGTH, Unit::SquareCentimetrePerMetre, "6.4516"),
        ("127 cm2/m", Dimension::FREE_AREA_PER_LENGTH, Unit::SquareInchPerFoot, "6"),
        ("100 mm2/m", Dimension::FREE_AREA_PER_LENGTH, Unit::SquareCentimetrePerMetre, "1"),
        ("1 m2/m", Dimension::FREE_AREA_PER_LENGTH, Unit::SquareCentimetrePerMetre, "10000"),
        ("1 ft2/ft", Dimension::FREE_AREA_PER_LENGTH, Unit::SquareInchPerInch, "12"),
        ("1 mph", Dimension::SPEED, Unit::KilometrePerHour, "1.609344"),
        ("1 mph", Dimension::SPEED, Unit::MetrePerSecond, "0.44704"),
        ("15 mph", Dimension::SPEED, Unit::FootPerSecond, "22"),
        // International pound, from memory; everyday thermometer points, from memory.
        ("1 lb", Dimension::MASS, Unit::Kilogram, "0.45359237"),
        ("1 d", Dimension::TIME, Unit::Minute, "1440"),
        ("32 degF", Dimension::TEMPERATURE, Unit::DegreeCelsius, "0"),
        ("212 degF", Dimension::TEMPERATURE, Unit::DegreeCelsius, "100"),
        ("-40 degF", Dimension::TEMPERATURE, Unit::DegreeCelsius, "-40"),
        ("-40 degC", Dimension::TEMPERATURE, Unit::DegreeFahrenheit, "-40"),
        ("5 Cdeg", Dimension::TEMPERATURE_DIFFERENCE, Unit::FahrenheitDifference, "9"),
    ];
    for (text, dimension, unit, expected) in cases {
        let found = parse_quantity(text, dimension).unwrap();
        assert_eq!(found.in_unit(unit), Ok(decimal(expected)), "{text}");
    }
    // NIST SP 811, from memory: 1 psi = 6894.757 Pa, so 1 lb/(in s2) through 1 kg/(m s2).
    let psi = parse_quantity("1 psi", Dimension::PRESSURE).unwrap().value;
    let pascals = psi.times(decimal("0.45359237")).unwrap().over(decimal("0.0254")).unwrap();
    assert_eq!(format!("{:.3}", pascals.to_f64()), "6894.757");
}

/// NIST LC 1137: 36 in is 91 cm and 40.1 in is 101.9 cm, to the precision of the original.
#[test]
fn conversions_rounded_as_nist_lc_1137() {
    let cm =
        |text, decimals| show_in(length(text), Unit::Centimetre, decimals, Rounding::NearestEven);
    assert_eq!(cm("36 in", 0), "91 cm");
    assert_eq!(cm("40.1 in", 1), "101.9 cm");
}

#[test]
fn every_unit_prints_a_symbol_it_reads() {
    let symbols = [
        "in", "ft", "yd", "mm", "cm", "m", "in2", "ft2", "yd2", "mm2", "cm2", "m2", "in3", "ft3",
        "yd3", "m3", "in2/ft", "in2/in", "in2/m", "ft2/ft", "cm2/m", "mm2/m", "m2/m", "lb", "kg",
        "s", "min", "h", "d", "degF", "degC", "Fdeg", "Cdeg", "mph", "km/h", "m/s", "ft/s", "in/s",
        "psi",
    ];
    for symbol in symbols {
        let unit = Unit::parse(symbol).unwrap_or_else(|| panic!("{symbol}"));
        assert_eq!(unit.symbol(), symbol);
        let one = parse_quantity(&format!("1 {symbol}"), unit.dimension()).unwrap();
        assert_eq!(one.in_unit(unit), Ok(Ratio::ONE), "{symbol}");
        assert_eq!(one.value, unit.factor().plus(unit.zero()).unwrap());
    }
    assert_eq!(Unit::parse("cubit"), None);
    assert_eq!(Unit::parse("ft "), None);
}

// ---- Tape notation ----

/// Common notation: fractions reduced, sixteen sixteenths and twelve inches carried.
/// Half-up vectors, computed.
#[test]
fn prints_as_a_tape_reads() {
    let cases = [
        ("60.374", "5'-0 3/8\""),
        ("40.249", "3'-4 1/4\""),
        ("212.125", "17'-8 1/8\""),
        ("259.75", "21'-7 3/4\""),
        ("23.999", "2'-0\""),
        ("143.97", "12'-0\""),
        ("53.666", "4'-5 11/16\""),
        ("0", "0\""),
        ("4.5", "4 1/2\""),
        ("11.99", "1'-0\""),
        ("-4.5", "-4 1/2\""),
        ("-60.374", "-5'-0 3/8\""),
        ("12", "1'-0\""),
        ("0.0625", "1/16\""),
    ];
    for (inches, tape) in cases {
        assert_eq!(show(Quantity::inches(decimal(inches)), &Style::default()), tape, "{inches}");
    }
}

/// A reading midway goes to the EVEN graduation in NIST Handbook 44 s10.3; 1/32 and
/// 3/32 in, computed. Minimums up and maximums down: common practice, no source.
#[test]
fn rounds_the_way_the_caller_says() {
    let tape = |num, den, rounding| {
        show(Quantity::inches(ratio(num, den)), &Style { rounding, ..Style::default() })
    };
    assert_eq!(tape(1, 32, Rounding::Nearest), "1/16\"");
    assert_eq!(tape(1, 32, Rounding::NearestEven), "0\"");
    assert_eq!(tape(3, 32, Rounding::Nearest), "1/8\"");
    assert_eq!(tape(3, 32, Rounding::NearestEven), "1/8\"");
    assert_eq!(tape(1, 1000, Rounding::Up), "1/16\"");
    assert_eq!(tape(1999, 16_000, Rounding::Down), "1/16\"");
    assert_eq!(tape(-1, 1000, Rounding::Up), "0\"");
    assert_eq!(tape(-1, 1000, Rounding::Down), "-1/16\"");
    assert_eq!(tape(2, 16, Rounding::Up), "1/8\"");
}

// ---- Exact arithmetic against Python's fractions module ----

const REFERENCE: &str = r#"
import sys, math
from fractions import Fraction as F
for line in sys.stdin:
    a, b, step = (F(x) for x in line.split())
    q = a / step
    up, down = math.ceil(q), math.floor(q)
    half = math.floor(q + F(1, 2))
    out = [a + b, a - b, a * b, a / b if b else None,
           up * step, down * step, half * step, round(q) * step,
           F(math.isqrt(int(4 * 10**18 * abs(a))) + 1) // 2 / F(10**9)]
    print(a < b, a == b, *out)
"#;

fn random(state: &mut u64) -> u64 {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    *state
}

/// Python standard library `fractions` (an independent implementation) on random
/// numbers, signs, sizes and rounding steps; `round` there goes to even on a tie.
#[test]
fn arithmetic_agrees_with_python_fractions() {
    let mut state = 0x9e37_79b9_7f4a_7c15;
    let mut pick = |limit: u64| i128::from(random(&mut state) % limit);
    let mut cases = Vec::new();
    for i in 0..3000_u64 {
        let size = [20, 1000, 1 << 20, 1 << 31][(i % 4) as usize];
        let a = ratio(pick(size) - i128::from(size / 2), pick(size) + 1);
        let b = ratio(pick(size) - i128::from(size / 2), pick(size) + 1);
        let step = ratio(pick(9) + 1, 1 << pick(7));
        cases.push((a, b, step));
        // Ties, which random numbers seldom hit.
        let tie = step.times(ratio(2 * pick(50) - 49, 2)).unwrap();
        cases.push((tie, b, step));
    }
    let input: String = cases.iter().map(|(a, b, step)| format!("{a} {b} {step}\n")).collect();
    let mut python = Command::new("python3")
        .args(["-c", REFERENCE])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python3 is needed for this check");
    let mut stdin = python.stdin.take().unwrap();
    let feeder = std::thread::spawn(move || stdin.write_all(input.as_bytes()).unwrap());
    let output = python.wait_with_output().unwrap();
    feeder.join().unwrap();
    let output = String::from_utf8(output.stdout).unwrap();
    assert_eq!(output.lines().count(), cases.len());
    for ((a, b, step), line) in cases.iter().zip(output.lines()) {
        let yes_no = |yes: bool| if yes { "True" } else { "False" }.to_owned();
        let text = |value: Ratio| value.to_string();
        let found = [
            yes_no(a < b),
            yes_no(a == b),
            text(a.plus(*b).unwrap()),
            text(a.minus(*b).unwrap()),
            text(a.times(*b).unwrap()),
            a.over(*b).map_or("None".to_owned(), text),
            text(a.round_to(*step, Rounding::Up).unwrap()),
            text(a.round_to(*step, Rounding::Down).unwrap()),
            text(a.round_to(*step, Rounding::Nearest).unwrap()),
            text(a.round_to(*step, Rounding::NearestEven).unwrap()),
            rational_root(*a).map_or_else(|| text(a.abs().sqrt().unwrap()), text),
        ];
        let mut expected: Vec<String> = line.split_whitespace().map(str::to_owned).collect();
        // A rational root is exact here, where Python's line rounds it to 1e-9.
        if let Some(root) = rational_root(*a) {
            assert_eq!(a.abs().sqrt(), Ok(root));
            expected[10] = root.to_string();
        }
        assert_eq!(found.as_slice(), expected.as_slice(), "{a} {b} {step}");
    }
}

fn rational_root(a: Ratio) -> Option<Ratio> {
    let (num, den) = (a.abs().numerator().isqrt(), a.denominator().isqrt());
    (num * num == a.abs().numerator() && den * den == a.denominator()).then(|| ratio(num, den))
}
