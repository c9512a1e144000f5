//! Broken formulas and quantities by the hundred thousand: none may panic, and
//! every error points inside its text. `CHALKHAND_FUZZ_INPUTS` sets how many.

#![expect(
    clippy::cast_possible_truncation,
    clippy::indexing_slicing,
    reason = "random bytes are cut on purpose; indices stay below the length"
)]

use chalkhand::measure::{
    Dimension, EvalError, Formula, Quantity, Ratio, Scope, Style, Type, Value, Values, exact_text,
    parse_quantity, show,
};
use chalkhand::roof;

struct Xorshift(u64);

impl Xorshift {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, limit: usize) -> usize {
        (self.next() % limit as u64) as usize
    }

    fn pick<'p>(&mut self, from: &[&'p str]) -> &'p str {
        from[self.below(from.len())]
    }
}

const ATOMS: &[&str] = &[
    "pitch",
    "overhang",
    "attic",
    "count",
    "air",
    "climate",
    "snow",
    "vent.rating",
    "unknown",
    "5 ft 3 3/16 in",
    "63 3/16 in",
    "3/16 in",
    "5'-0 3/8\"",
    "5' 3\"",
    "4:12",
    "1640 ft2",
    "9 in2/ft",
    "40 degF",
    "-40 degC",
    "25 mph",
    "300 mm",
    "1.5 in",
    "0",
    "1",
    "2",
    "300",
    "1/3",
    "99999999999999999999999999999999999999",
    "0.00000000000000000000000000001",
    "4½\"",
    "'cold'",
    "\"warm\"",
    "yes",
    "no",
    "5 Fdeg",
    "90 psi",
    "2 h 30 min",
    "1 0/0 in",
];
const OPERATORS: &[&str] =
    &["+", "-", "*", "/", "<", "<=", ">", ">=", "==", "!=", " and ", " or ", " ", "", "-", "/"];
const CALLS: &[&str] = &[
    "min",
    "max",
    "ceil",
    "floor",
    "round_to",
    "round_up_to",
    "round_down_to",
    "abs",
    "sqrt",
    "slope_factor",
    "hip_factor",
    "rise_for",
    "required_free_area",
    "insulation_clear_run",
    "bottom_third_to",
    "ice_barrier_top",
    "nothing_known",
];
const FOLDS: &[&str] = &["sum", "least", "greatest", "rows"];
const COLUMNS: &[&str] =
    &["run.length", "plane.area", "hip.length", "run.name", "none.such", "run"];
const SCRAPS: &[&str] = &[
    "(", ")", ",", ":", "'", "\"", "½", "′", "″", "⁄", "/", ".", "-", "in", "ft", "if ", "then ",
    "else ", "not ", "é", "\u{0}", "🏠", " ", "1", "0", "12", "m2", "°F", "²", "1,640",
];

/// Facts of every type, some never known.
struct Facts(Vec<(&'static str, Value)>, Vec<(&'static str, Vec<Value>)>);

fn facts() -> Facts {
    fn of(text: &str, dimension: Dimension) -> Value {
        Value::Quantity(parse_quantity(text, dimension).unwrap())
    }
    let rows = |texts: &[&str], dimension| texts.iter().map(|text| of(text, dimension)).collect();
    Facts(
        vec![
            ("pitch", of("6:12", Dimension::PITCH)),
            ("overhang", of("12 in", Dimension::LENGTH)),
            ("attic", of("1640 ft2", Dimension::AREA)),
            ("count", of("3", Dimension::NUMBER)),
            ("air", of("40 degF", Dimension::TEMPERATURE)),
            ("climate", Value::Text("cold".to_owned())),
            ("snow", Value::YesNo(true)),
            ("vent.rating", of("9 in2/ft", Dimension::FREE_AREA_PER_LENGTH)),
        ],
        vec![
            ("run.length", rows(&["10 ft", "8 ft 3 in"], Dimension::LENGTH)),
            ("plane.area", rows(&["800 ft2", "840 ft2"], Dimension::AREA)),
            ("run.name", vec![Value::Text("north".to_owned())]),
            ("hip.length", vec![]),
        ],
    )
}

impl Scope for Facts {
    fn type_of(&self, name: &str) -> Option<Type> {
        self.value(name).map(|value| value.type_of())
    }
    fn column(&self, table: &str, column: &str) -> Option<Type> {
        let rows = Values::column(self, table, column)?;
        Some(rows.first().map_or(Type::Quantity(Dimension::LENGTH), Value::type_of))
    }
    fn names(&self) -> Vec<String> {
        self.0.iter().map(|(name, _)| (*name).to_owned()).collect()
    }
}

impl Values for Facts {
    fn value(&self, name: &str) -> Option<Value> {
        self.0.iter().find(|(known, _)| *known == name).map(|(_, value)| value.clone())
    }
    fn column(&self, table: &str, column: &str) -> Option<Vec<Value>> {
        let full = format!("{table}.{column}");
        self.1.iter().find(|(known, _)| *known == full).map(|(_, rows)| rows.clone())
    }
}

/// A formula that is mostly well formed.
fn grow(random: &mut Xorshift, depth: usize, into: &mut String) {
    match if depth == 0 { 0 } else { random.below(10) } {
        0..=2 => into.push_str(random.pick(ATOMS)),
        3..=5 => {
            grow(random, depth - 1, into);
            let operator = random.pick(OPERATORS);
            let spaced = random.below(2) == 0;
            into.push_str(if spaced { " " } else { "" });
            into.push_str(operator);
            into.push_str(if spaced { " " } else { "" });
            grow(random, depth - 1, into);
        }
        6 => {
            into.push_str(random.pick(&["(", "-(", "not (", "-", "not "]));
            let opened = into.ends_with('(');
            grow(random, depth - 1, into);
            into.push_str(if opened { ")" } else { "" });
        }
        7 => {
            into.push_str(random.pick(CALLS));
            into.push('(');
            for i in 0..random.below(5) {
                into.push_str(if i == 0 { "" } else { ", " });
                grow(random, depth - 1, into);
            }
            into.push(')');
        }
        8 => {
            into.push_str(random.pick(FOLDS));
            into.push('(');
            into.push_str(random.pick(COLUMNS));
            if random.below(3) == 0 {
                into.push_str(" where ");
                into.push_str(random.pick(COLUMNS));
                into.push_str(" == ");
                into.push_str(random.pick(ATOMS));
            }
            into.push(')');
        }
        _ => {
            into.push_str("if ");
            grow(random, depth - 1, into);
            into.push_str(" then ");
            grow(random, depth - 1, into);
            into.push_str(" else ");
            grow(random, depth - 1, into);
        }
    }
}

/// Breaks the text in a few places, on character boundaries or with raw bytes.
fn mutate(random: &mut Xorshift, text: &mut String) {
    for _ in 0..random.below(4) {
        let boundary = |random: &mut Xorshift, text: &str| {
            let mut at = random.below(text.len() + 1);
            while !text.is_char_boundary(at) {
                at -= 1;
            }
            at
        };
        let at = boundary(random, text);
        match random.below(5) {
            0 => text.insert_str(at, random.pick(SCRAPS)),
            1 if at < text.len() => {
                text.remove(at);
            }
            2 => text.truncate(at),
            3 => {
                let copy = text.split_off(at);
                text.insert_str(boundary(random, text), &copy);
            }
            _ => {
                let scrap = random.pick(SCRAPS).repeat(random.below(40));
                text.insert_str(at, &scrap);
            }
        }
    }
}

fn input(random: &mut Xorshift, text: &mut String) {
    text.clear();
    match random.below(16) {
        0 => {
            let bytes: Vec<u8> = (0..random.below(64)).map(|_| random.next() as u8).collect();
            text.push_str(&String::from_utf8_lossy(&bytes));
        }
        1 => (0..random.below(24)).for_each(|_| text.push_str(random.pick(SCRAPS))),
        kind => {
            let depth = 1 + random.below(4);
            grow(random, depth, text);
            if kind < 10 {
                mutate(random, text);
            }
        }
    }
}

const EXPECTED: [Dimension; 6] = [
    Dimension::LENGTH,
    Dimension::PITCH,
    Dimension::AREA,
    Dimension::TEMPERATURE,
    Dimension::NUMBER,
    Dimension::FREE_AREA_PER_LENGTH,
];

#[derive(Debug, Default)]
struct Tally {
    refused: u64,
    wrong: u64,
    values: u64,
    missing: u64,
    cannot: u64,
    quantities: u64,
}

#[test]
fn nothing_panics() {
    let inputs: u64 = std::env::var("CHALKHAND_FUZZ_INPUTS")
        .map_or(200_000, |text| text.parse().expect("CHALKHAND_FUZZ_INPUTS is a number"));
    let (facts, functions) = (facts(), roof::functions());
    let mut random = Xorshift(0x2545_f491_4f6c_dd1d);
    let mut text = String::new();
    let mut tally = Tally::default();
    for _ in 0..inputs {
        input(&mut random, &mut text);
        let expected = EXPECTED[random.below(EXPECTED.len())];
        match parse_quantity(&text, expected) {
            Ok(quantity) => {
                tally.quantities += 1;
                assert_eq!(quantity.dimension, expected, "{text:?}");
                show(quantity, &Style::default());
                // What is exact within 100 bits comes back; beyond, reading may overflow.
                let parts = [quantity.value.numerator(), quantity.value.denominator()];
                if parts.iter().all(|part| part.abs() < 1 << 100) {
                    let exact = exact_text(quantity);
                    assert_eq!(parse_quantity(&exact, expected), Ok(quantity), "{text:?}: {exact}");
                }
            }
            Err(error) => assert!(text.get(error.at.clone()).is_some(), "{text:?}: {error:?}"),
        }
        let formula = match Formula::parse(&text) {
            Ok(formula) => formula,
            Err(error) => {
                assert!(text.get(error.at.clone()).is_some(), "{text:?}: {error:?}");
                tally.refused += 1;
                continue;
            }
        };
        let checked = formula.check(&facts, &functions);
        let found = formula.eval(&facts, &functions);
        match (&checked, &found) {
            (Ok(checked), Ok(value)) => assert_eq!(*checked, value.type_of(), "{text:?}"),
            (Ok(_), Err(EvalError::Cannot { message, .. })) => assert!(
                !message.contains("cannot add") && !message.contains("cannot compare"),
                "{text:?}: the check let a mismatch through: {message}"
            ),
            (Err(errors), _) => {
                assert!(!errors.is_empty(), "{text:?}");
                assert!(errors.iter().all(|e| text.get(e.at.clone()).is_some()), "{text:?}");
            }
            (Ok(_), Err(EvalError::Missing(names))) => assert!(!names.is_empty(), "{text:?}"),
        }
        tally.wrong += u64::from(checked.is_err());
        match found {
            Ok(_) => tally.values += 1,
            Err(EvalError::Missing(_)) => tally.missing += 1,
            Err(EvalError::Cannot { .. }) => tally.cannot += 1,
        }
    }
    // The generator must reach every outcome often, or it proves nothing.
    let reached =
        [tally.refused, tally.wrong, tally.values, tally.missing, tally.cannot, tally.quantities];
    assert!(reached.iter().all(|count| inputs / 200 < *count), "{tally:?} of {inputs}");
}

/// The result of `(a op b) op c` on huge and tiny ratios is right or an error.
#[test]
fn extreme_ratios_are_exact_or_refused() {
    let mut random = Xorshift(0x1234_5678_9abc_def1);
    let mut both = [0_u32; 2];
    for _ in 0..50_000 {
        let mut part = |_| {
            let wide = i128::from(random.next()) << 64 | i128::from(random.next());
            wide >> random.below(126)
        };
        let [a, b, c, d] = [0; 4].map(&mut part);
        let (Ok(x), Ok(y)) = (Ratio::new(a, b), Ratio::new(c, d)) else { continue };
        if let Ok(sum) = x.plus(y) {
            both[0] += 1;
            assert_eq!(x.cmp(&sum), Ratio::ZERO.cmp(&y), "{x} {y}");
            // Going back may overflow, but must not go elsewhere.
            assert!(sum.minus(y).is_ok_and(|back| back == x) || sum.minus(y).is_err());
        } else {
            both[1] += 1;
        }
        if let (Ok(product), false) = (x.times(y), y == Ratio::ZERO) {
            assert!(product.over(y).is_ok_and(|back| back == x) || product.over(y).is_err());
            Quantity::inches(product).sqrt().ok();
        }
        assert_eq!(x.cmp(&y), y.cmp(&x).reverse());
    }
    assert!(both.iter().all(|count| 1000 < *count), "{both:?}");
}
