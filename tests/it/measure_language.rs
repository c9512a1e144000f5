//! What quantities and formulas read, print, compute and refuse, and the words
//! they refuse with.

#![expect(clippy::panic, reason = "a helper of tests fails the test")]

use std::collections::BTreeMap;

use chalkhand::measure::{
    Dimension, EvalError, Formula, Functions, Quantity, Ratio, Rounding, Style, System, Type, Unit,
    Value, Values, exact_text, in_order, parse_quantity, show, show_in,
};
use chalkhand::roof;
use proptest::prelude::*;

use crate::measure_outside::{Job, job, length, number, pitch, ratio, value};

const LENGTH: Dimension = Dimension::LENGTH;

/// Parses, or else checks; gives the first message and the text it points at.
fn complaint(text: &str) -> (String, String) {
    let error = match Formula::parse(text) {
        Err(error) => error,
        Ok(formula) => match formula.check(&job(), &roof::functions()) {
            Err(errors) => errors.first().unwrap().clone(),
            Ok(found) => panic!("{text}: accepted as {found:?}"),
        },
    };
    (error.message, text.get(error.at).unwrap().to_owned())
}

#[test]
fn shows_other_quantities() {
    let us = Style::default();
    let metric = Style { system: System::Metric, ..us };
    let show_text = |text, dimension, style| show(parse_quantity(text, dimension).unwrap(), style);
    let cases = [
        ("63 3/16 in", LENGTH, "5'-3 3/16\"", "1605 mm"),
        ("12.3456 m", LENGTH, "40'-6 1/16\"", "12.346 m"),
        ("1640 ft2", Dimension::AREA, "1640 ft2", "152.36 m2"),
        ("787.2 in2", Dimension::AREA, "787.2 in2", "5078.7 cm2"),
        ("9 in2/ft", Dimension::FREE_AREA_PER_LENGTH, "9 in2/ft", "190.5 cm2/m"),
        ("6 1/2", Dimension::PITCH, "6 1/2:12", "6 1/2:12"),
        ("1:3", Dimension::PITCH, "4:12", "4:12"),
        ("1:7", Dimension::PITCH, "1.71:12", "1.71:12"),
        ("40 degF", Dimension::TEMPERATURE, "40 degF", "4.4 degC"),
        ("25 mph", Dimension::SPEED, "25 mph", "40.2 km/h"),
        ("20 min", Dimension::TIME, "20 min", "20 min"),
        ("7/3", Dimension::NUMBER, "2.333", "2.333"),
        ("3", Dimension::NUMBER, "3", "3"),
    ];
    for (text, dimension, in_us, in_metric) in cases {
        assert_eq!(show_text(text, dimension, &us), in_us);
        assert_eq!(show_text(text, dimension, &metric), in_metric);
    }
    let area = parse_quantity("787.2 in2", Dimension::AREA).unwrap();
    assert_eq!(show_in(area, Unit::SquareInch, 1, Rounding::Up), "787.2 in2");
    assert_eq!(show_in(area, Unit::SquareInch, 2, Rounding::Up), "787.20 in2");
    assert_eq!(show_in(area, Unit::SquareInch, 0, Rounding::Up), "788 in2");
    assert_eq!(show_in(area, Unit::SquareInch, 0, Rounding::Down), "787 in2");
}

#[test]
fn reads_what_people_write() {
    let inches = [
        ("5'-0 3/8\"", 483, 8),
        ("5 ft 3 3/16 in", 1011, 16),
        ("5' 3\"", 63, 1),
        ("5'3\"", 63, 1),
        ("63 3/16", 1011, 16),
        ("4 1/2\"", 9, 2),
        ("1.5 in", 3, 2),
        ("3/16", 3, 16),
        ("0", 0, 1),
        ("4½\"", 9, 2),
        ("½", 1, 2),
        ("5′-3″", 63, 1),
        ("5’ 3 ⅛”", 505, 8),
        ("-4 1/2\"", -9, 2),
        ("5' - 3 1/2\"", 127, 2),
        ("5'-4-1/2\"", 129, 2),
        ("4-1/2 in", 9, 2),
        ("1 ft", 12, 1),
        ("5 FT 3 In", 63, 1),
        ("1 yd 2 ft 3 in", 63, 1),
        ("1,200 in", 1200, 1),
        (" 5 ft ", 60, 1),
        ("254 mm", 10, 1),
        ("2.54 m", 100, 1),
        ("1 m 27 cm", 50, 1),
        ("5 ft, 3 in", 63, 1),
        ("63 3⁄16 in", 1011, 16),
        ("5 feet 3 inches", 63, 1),
        (".5 in", 1, 2),
        ("12''", 12, 1),
        ("\u{2212}2 in", -2, 1),
    ];
    for (text, num, den) in inches {
        assert_eq!(length(text), Quantity::inches(ratio(num, den)), "{text}");
    }
    let pitches = [
        ("4:12", 4, 12),
        ("4/12", 4, 12),
        ("4 in 12", 4, 12),
        ("4 on 12", 4, 12),
        ("4", 4, 12),
        ("6 1/2", 13, 24),
        ("6 1/2:12", 13, 24),
        ("6.5 / 12", 13, 24),
        ("1:3", 1, 3),
        ("9 ½", 19, 24),
    ];
    for (text, num, den) in pitches {
        let found = parse_quantity(text, Dimension::PITCH)
            .unwrap_or_else(|error| panic!("{text}: {error}"));
        assert_eq!(found, Quantity::new(ratio(num, den), Dimension::PITCH), "{text}");
    }
    for text in ["1,640 ft2", "1640 sq ft", "1640 ft²", "1640 square feet", "236160 in2"] {
        let found =
            parse_quantity(text, Dimension::AREA).unwrap_or_else(|error| panic!("{text}: {error}"));
        assert_eq!(found.value, Ratio::int(236_160), "{text}");
    }
}

#[test]
fn refuses_what_is_unclear() {
    let cases = [
        ("", LENGTH, "", "expected a length"),
        ("five", LENGTH, "five", "expected a length"),
        ("1 640 mm", LENGTH, "640 mm", "cannot read"),
        ("4 in 1/2", LENGTH, "1/2", "write `4 1/2 in`"),
        ("5' 3", LENGTH, "3", "without a unit"),
        ("5 ft 14 in", LENGTH, "14 in", "carry it"),
        ("5 ft 12 in", LENGTH, "12 in", "carry it"),
        ("5 1/2 ft 3 in", LENGTH, "5 1/2 ft", "only the last part"),
        ("5 in 3 ft", LENGTH, "3 ft", "cannot follow"),
        ("5 ft 3 mm", LENGTH, "3 mm", "cannot follow"),
        ("63 17/16 in", LENGTH, "17/16", "less than 1"),
        ("3/0 in", LENGTH, "3/0", "divide by zero"),
        ("1,64 in", LENGTH, "1,64", "groups of three"),
        ("1640,000 in", LENGTH, "1640,000", "groups of three"),
        ("5 ft2", LENGTH, "5 ft2", "this is an area"),
        ("5 cubits", LENGTH, "cubits", "cannot read"),
        ("5 inx", LENGTH, "inx", "cannot read"),
        ("1640", Dimension::AREA, "1640", "a unit is missing"),
        ("40", Dimension::TEMPERATURE, "40", "a unit is missing"),
        ("40 degF", Dimension::TEMPERATURE_DIFFERENCE, "40 degF", "this is a temperature"),
        ("25", Dimension::SPEED, "25", "a unit is missing"),
        ("1/2", Dimension::PITCH, "1/2", "rise in twelve"),
        ("4:0", Dimension::PITCH, "4:0", "divide by zero"),
        ("4 in", Dimension::PITCH, "in", "cannot read"),
        (
            "99999999999999999999999999999999999999999",
            LENGTH,
            "99999999999999999999999999999999999999999",
            "too large",
        ),
    ];
    for (text, dimension, wrong, says) in cases {
        let error = parse_quantity(text, dimension).expect_err(text);
        assert_eq!(text.get(error.at.clone()), Some(wrong), "{text}: {error:?}");
        assert!(error.message.contains(says), "{text}: {error:?}");
    }
    let long = format!("1 in{}", " ".repeat(200));
    assert!(parse_quantity(&long, LENGTH).unwrap_err().message.contains("longer than 200 bytes"));
}

#[test]
fn exact_texts() {
    let cases = [
        ("63 3/16", LENGTH, "63 3/16 in"),
        ("1640 ft2", Dimension::AREA, "236160 in2"),
        ("6", Dimension::PITCH, "6/12"),
        ("3", Dimension::NUMBER, "3"),
        ("40 degF", Dimension::TEMPERATURE, "40 degF"),
        ("-1/3 in", LENGTH, "-1/3 in"),
        ("9 in2/ft", Dimension::FREE_AREA_PER_LENGTH, "3/4 in2/in"),
    ];
    for (text, dimension, exact) in cases {
        assert_eq!(exact_text(parse_quantity(text, dimension).unwrap()), exact);
    }
}

// ---- Formulas ----

#[test]
fn literals_in_formulas() {
    let cases = [
        ("5 ft 3 in", "63 in"),
        ("5 ft 3 3/16 in", "63 3/16 in"),
        ("5'-0 3/8\"", "60 3/8 in"),
        ("5'-3\"", "63 in"),
        ("5' - 3\"", "57 in"),
        ("5' 3\"", "63 in"),
        ("63 3/16 in", "63 3/16 in"),
        ("3/16 in", "3/16 in"),
        ("4 1/2\"", "4 1/2 in"),
        ("4½ in", "4 1/2 in"),
        ("1.5 in", "1 1/2 in"),
        ("300 mm", "300 mm"),
        ("5 ft - 3 in", "57 in"),
        ("10 ft/2", "60 in"),
        ("2*3/16 in", "3/8 in"),
        ("5'-overhang", "48 in"),
        ("5'-3'", "24 in"),
        ("5 ft-overhang", "48 in"),
    ];
    for (formula, expected) in cases {
        assert_eq!(number(formula), length(expected), "{formula}");
    }
    let numbers = [
        ("2 + 3 * 4", 14, 1),
        ("(2 + 3) * 4", 20, 1),
        ("7 / 2 / 2", 7, 4),
        ("10 - 4 - 3", 3, 1),
        ("12/3/4", 1, 1),
        ("63 3/16", 1011, 16),
        ("-2 * -3", 6, 1),
        ("- - 2", 2, 1),
        ("4-1/2", 7, 2),
    ];
    for (formula, num, den) in numbers {
        assert_eq!(number(formula), Quantity::number(ratio(num, den)), "{formula}");
    }
    assert_eq!(number("720 in2"), Quantity::new(Ratio::int(720), Dimension::AREA));
    assert_eq!(number("4:12"), pitch(4));
    assert_eq!(number("4 1/2:12"), Quantity::pitch_in_twelve(ratio(9, 2)).unwrap());
    assert_eq!(number("-40 degF"), parse_quantity("-40 degF", Dimension::TEMPERATURE).unwrap());
}

#[test]
fn the_language() {
    let yes = [
        "1 < 2",
        "2 <= 2",
        "3 > 2",
        "2 >= 2",
        "1 == 1",
        "1 != 2",
        "climate == \"cold\"",
        "climate == 'cold'",
        "climate != 'warm'",
        "snow",
        "snow == yes",
        "not no",
        "yes and not no",
        "no or yes",
        "yes or no and no",
        "not (yes and no)",
        "12 in == 1 ft",
        "air < 41 degF",
        "air - 30 degF == 10 Fdeg",
        "air + 5 Cdeg == 49 degF",
        "pitch == 6:12",
        "not 1 > 2",
        "min(3, 1, 2) == 1",
        "max(1 ft, 13 in) == 13 in",
        "ceil(1.1) == 2",
        "floor(-1.1) == -2",
        "round_to(60.374 in, 1/16 in) == 60 3/8 in",
        "round_up_to(1/100 in, 1/16 in) == 1/16 in",
        "round_down_to(1.99 in, 1/2 in) == 1 1/2 in",
        "abs(-3 in) == 3 in",
        "sqrt(9 in2) == 3 in",
        "sqrt(2) == 1.414213562",
        "sum(run.length) == 30 ft 6 in",
        "least(run.length) == 8 ft",
        "greatest(run.length) == 12 ft 6 in",
        "rows(run.length) == 3",
        "rows(hip.length) == 0",
        "(if pitch < 4:12 then 2 else 1) == 1",
        "1 + (if yes then 1 else 2) == 2",
        "(if no then 1 else if no then 2 else 3) == 3",
        "pitch * 10 ft == 5 ft",
        "5 ft / pitch == 10 ft",
        "pitch * pitch == 1/4",
        "10 ft * vent.rating == 90 in2",
        "90 in2 / vent.rating == 10 ft",
        "12 ft2 / 3 ft == 4 ft",
        "vent.rating / 9 in2/ft == 1",
        "2 * vent.rating == 18 in2/ft",
        "rise_for(10 ft, pitch) == 5 ft",
        "10 mph * 1 h > 9 ft",
        "720 in2 == 5 ft2",
    ];
    for formula in yes {
        assert_eq!(value(formula), Value::YesNo(true), "{formula}");
    }
    assert_eq!(value("if snow then 'wide' else \"narrow\""), Value::Text("wide".to_owned()));
}

#[test]
fn complaints_are_plain_and_point_at_the_place() {
    let cases = [
        ("overhang + attic", "+", "cannot add an area to a length"),
        ("overhang - 3", "-", "cannot subtract a plain number from a length; is a unit missing?"),
        ("overhang + vent.rating", "+", "cannot add a net free area per length to a length"),
        ("overhang < 3", "<", "cannot compare a length with a plain number; is a unit missing?"),
        ("pitch < 4/12", "<", "write a pitch as `4:12`"),
        ("air + air", "+", "cannot add two temperatures"),
        ("air * 2", "*", "cannot multiply a temperature by a plain number"),
        ("-air", "-", "cannot change the sign of a temperature"),
        ("air < 5 Fdeg", "<", "a difference is written in Fdeg"),
        ("vent.rating * attic", "*", "cannot multiply a net free area per length by an area"),
        ("overhnag", "overhnag", "no fact or measure named `overhnag`; did you mean `overhang`?"),
        ("overhan * 2", "overhan", "did you mean `overhang`?"),
        ("slope_facter(pitch)", "slope_facter", "did you mean `slope_factor`?"),
        ("zebra", "zebra", "no fact or measure named `zebra`"),
        ("sum(run.lenght)", "run.lenght", "did you mean `run.length`?"),
        ("sum(run)", "run", "one column of a table"),
        (
            "slope_factor(overhang)",
            "slope_factor",
            "value 1 of `slope_factor` must be a pitch, not a length",
        ),
        ("slope_factor()", "slope_factor", "takes 1 value(s) (a pitch), found 0"),
        ("ceil(overhang)", "ceil", "`ceil` takes a plain number, not a length"),
        (
            "round_to(overhang, 1/16)",
            "round_to",
            "needs a step that is a length, not a plain number",
        ),
        ("round_to(overhang)", "round_to", "takes a value and a step"),
        ("sqrt(overhang)", "sqrt", "cannot take the square root of a length"),
        ("min()", "min", "one value or more"),
        ("min(1, overhang)", "min", "cannot compare a plain number with a length"),
        ("climate + 1", "+", "cannot compute with a text"),
        ("climate < 'a'", "<", "use `==` or `!=`"),
        ("climate == snow", "==", "cannot compare a text with a yes or no"),
        ("if overhang then 1 else 2", "if", "`if` needs a yes or no, not a length"),
        ("if snow then 1 else 2 in", "if", "`then` gives a plain number but `else` gives a length"),
        ("snow and 1", "and", "`and` needs a yes or no, not a plain number"),
        ("not 1", "not", "`not` needs a yes or no"),
        ("4 in 1/2", "1/2", "write `4 1/2 in`"),
        ("4 in 12", "12", "without a unit or an operator"),
        ("5 ft-3 in", "-3 in", "spaces on both sides of it to subtract"),
        ("2 overhang", "overhang", "an operator such as `*` or `+` is missing before `overhang`"),
        ("overhang in", "in", "the unit `in` must directly follow a number"),
        ("overhang pitch", "pitch", "an operator"),
        ("4x", "x", "no unit named `x`"),
        ("overhang/3/16 in", "3/16 in", "put brackets"),
        ("1 < 2 < 3", "<", "compare two at a time"),
        ("(1 + 2", "(", "never closed"),
        ("1 + 2)", ")", "closes nothing"),
        ("max(1, 2", "max", "never closed"),
        ("1, 2", ",", "only between the values of a call"),
        ("1 +", "", "ends where a value is expected"),
        ("", "", "ends where a value is expected"),
        ("1 + * 2", "*", "a value is expected here, not `*`"),
        ("if 1 < 2 then 3", "", "`else` is missing"),
        ("if 1 < 2 3", "3", "`then` is missing"),
        ("climate = 'cold'", "=", "write `==` to compare"),
        ("Climate", "C", "small letters"),
        ("climate == 'cold", "'cold", "never closed"),
        ("2 ^ 3", "^", "as a product"),
        ("a..b", "a.", "a name must follow the dot"),
        ("4:0", "4:0", "divide by zero"),
        ("1/0 in", "1/0", "divide by zero"),
        ("🏠", "🏠", "has no meaning"),
    ];
    for (formula, wrong, says) in cases {
        let (message, at) = complaint(formula);
        assert!(message.contains(says), "{formula}: {message}");
        assert_eq!(at, wrong, "{formula}: {message}");
    }
}

#[test]
fn all_errors_are_found() {
    let formula = Formula::parse("zebra + (overhang + attic) * lion").unwrap();
    let errors = formula.check(&job(), &Functions::new()).unwrap_err();
    assert_eq!(errors.len(), 3, "{errors:?}");
}

#[test]
fn missing_names_are_all_named_and_only_those_needed() {
    let missing = |text: &str| match Formula::parse(text).unwrap().eval(&job(), &roof::functions())
    {
        Err(EvalError::Missing(names)) => names,
        other => panic!("{text}: {other:?}"),
    };
    assert_eq!(missing("a + b * overhang + a + max(c, 1)"), ["a", "b", "c"]);
    assert_eq!(missing("if a then b else c"), ["a"]);
    assert_eq!(missing("if snow then b else c"), ["b"]);
    assert_eq!(missing("a and b"), ["a", "b"]);
    assert_eq!(missing("snow and b"), ["b"]);
    assert_eq!(missing("sum(gable.length) + slope_factor(a)"), ["gable.length", "a"]);
    assert_eq!(missing("sum(hip.length)"), ["hip.length"]);
    assert_eq!(value("if snow then 1 in else overhang"), Value::Quantity(length("1 in")));
    assert_eq!(value("no and snow"), Value::YesNo(false));
    let known = |text: &str| Formula::parse(text).unwrap().eval(&job(), &roof::functions());
    assert_eq!(known("no and nobody_knows"), Ok(Value::YesNo(false)));
    assert_eq!(known("yes or nobody_knows"), Ok(Value::YesNo(true)));
    assert_eq!(known("if no then nobody_knows else 2"), Ok(Value::Quantity(Quantity::count(2))));
    // Where the caller knows the column's type, no rows add up to zero.
    let typed = job().typed();
    let sum = Formula::parse("sum(hip.length) + 1 in").unwrap();
    assert_eq!(sum.eval(&typed, &Functions::new()), Ok(Value::Quantity(length("1 in"))));
}

#[test]
fn no_exact_result_is_an_error_with_its_place() {
    let huge = "99999999999999999999999999999999999";
    for (text, says) in [
        ("1 / (2 - 2)".to_owned(), "divide by zero"),
        ("1 in / (2 in - 2 in)".to_owned(), "divide by zero"),
        ("sqrt(-1)".to_owned(), "negative"),
        ("round_to(1, 0)".to_owned(), "more than zero"),
        // Without a check before it, evaluation refuses by itself.
        ("slope_factor(overhang)".to_owned(), "needs a pitch, not a length"),
        ("slope_factor()".to_owned(), "takes 1 value"),
        ("overhang + 1".to_owned(), "cannot add a plain number to a length"),
        ("if 1 then 2 else 3".to_owned(), "a yes or no is needed"),
        (format!("{huge} * {huge}"), "too large"),
        (format!("{huge}999 * 9 + {huge}999 * 9"), "too large"),
    ] {
        match Formula::parse(&text).unwrap().eval(&job(), &roof::functions()) {
            Err(EvalError::Cannot { message, at }) => {
                assert!(message.contains(says), "{text}: {message}");
                assert!(!at.is_empty(), "{text}");
            }
            other => panic!("{text}: {other:?}"),
        }
    }
}

#[test]
fn length_and_nesting_are_bounded() {
    let nested = |levels: usize| format!("{}1{}", "(".repeat(levels), ")".repeat(levels));
    assert!(Formula::parse(&nested(32)).is_ok());
    assert!(Formula::parse(&nested(33)).unwrap_err().message.contains("nested more than 32"));
    for deep in
        ["-".repeat(1990) + "1", "not ".repeat(400) + "yes", "max(".repeat(400), "if ".repeat(600)]
    {
        assert!(
            Formula::parse(&deep).unwrap_err().message.contains("nested more than 32"),
            "{deep}"
        );
    }
    // A long chain is no nesting.
    let chain = "1+".repeat(999) + "1";
    assert_eq!(number(&chain), Quantity::count(1000));
    // Nor are many brackets beside each other.
    assert_eq!(number(&("(1)+".repeat(99) + "1")), Quantity::count(100));
    // Exponents are bounded too.
    assert!(complaint(&("1 in*".repeat(130) + "1 in")).0.contains("too large"));
    let longest = "1+".repeat(999) + "10";
    assert_eq!(longest.len(), 2000);
    assert!(Formula::parse(&longest).is_ok());
    assert!(Formula::parse(&(longest + "0")).unwrap_err().message.contains("at most 2000"));
}

/// Only the rows whose other column is equal count.
#[test]
fn rows_are_picked_by_a_column() {
    struct Vents;
    impl Values for Vents {
        fn value(&self, name: &str) -> Option<Value> {
            (name == "space.number").then(|| Value::Quantity(Quantity::count(2)))
        }
        fn column(&self, _: &str, column: &str) -> Option<Vec<Value>> {
            let count = |n: &i64| Value::Quantity(Quantity::count(*n));
            match column {
                "area" => Some([10, 20, 40].iter().map(count).collect()),
                "space" => Some([2, 1, 2].iter().map(count).collect()),
                "other" => Some([7, 7, 7].iter().map(count).collect()),
                _ => None,
            }
        }
        fn column_type(&self, _: &str, _: &str) -> Option<Type> {
            Some(Type::Quantity(Dimension::NUMBER))
        }
    }
    let run = |text: &str| Formula::parse(text).unwrap().eval(&Vents, &Functions::new());
    let number = |n: i64| Ok(Value::Quantity(Quantity::count(n)));
    assert_eq!(run("sum(vent.area where vent.space == space.number)"), number(50));
    assert_eq!(run("sum(vent.area)"), number(70));
    assert_eq!(run("greatest(vent.area where vent.space == space.number)"), number(40));
    assert_eq!(run("rows(vent.area where vent.space == space.number) + 1"), number(3));
    assert_eq!(run("sum(vent.area where vent.other == space.number)"), number(0));
    assert_eq!(
        run("sum(vent.area where vent.space == nobody)"),
        Err(EvalError::Missing(vec!["nobody".to_owned()]))
    );
    let formula = Formula::parse("sum(vent.area where vent.space == space.number)").unwrap();
    assert_eq!(formula.uses(), ["space.number", "vent.area", "vent.space"]);
    for wrong in ["sum(a.b where c)", "sum(a.b where a.c == 2)"] {
        let told = Formula::parse(wrong).unwrap_err().message;
        assert!(told.contains("where vents.space == space.number"), "{wrong}: {told}");
    }
}

#[test]
fn order_and_circles() {
    let uses = |text: &str| Formula::parse(text).unwrap().uses();
    let formulas = |pairs: &[(&str, &str)]| -> BTreeMap<String, Vec<String>> {
        pairs.iter().map(|(name, text)| ((*name).to_owned(), uses(text))).collect()
    };
    let fine = formulas(&[
        ("a", "b + c"),
        ("b", "c + pitch"),
        ("c", "1"),
        ("d", "sum(t.x)"),
        ("t.x", "a"),
    ]);
    let order = in_order(&fine).unwrap();
    assert_eq!(order, ["c", "b", "a", "t.x", "d"]);
    let circle = formulas(&[("a", "b"), ("b", "c + 1"), ("c", "2 * b")]);
    assert_eq!(in_order(&circle).unwrap_err(), ["b", "c", "b"]);
    assert_eq!(in_order(&formulas(&[("a", "a + 1")])).unwrap_err(), ["a", "a"]);
    // A chain as long as no stack would bear.
    let chain: BTreeMap<String, Vec<String>> =
        (0..20_000).map(|i| (format!("m{i}"), vec![format!("m{}", i + 1)])).collect();
    assert_eq!(in_order(&chain).unwrap().first(), Some(&"m19999"));
}

#[test]
fn texts_it_may_come_out_as() {
    let texts = |text: &str| -> Vec<String> {
        Formula::parse(text).unwrap().result_texts().map(str::to_owned).collect()
    };
    assert_eq!(texts("'dry'"), ["dry"]);
    assert_eq!(texts("if a == 'x' then 'dry' else if 'y' == a then 'wet' else b"), ["dry", "wet"]);
}

#[test]
fn names_come_with_their_bytes() {
    let text = "(overhang + run.clear) * slope_factor(pitch) + sum(run.length)";
    let formula = Formula::parse(text).unwrap();
    assert_eq!(formula.text(), text);
    let names: Vec<&str> = formula.names().map(|(name, _)| name).collect();
    assert_eq!(names, ["overhang", "run.clear", "pitch"]);
    assert!(formula.names().all(|(name, at)| text.get(at) == Some(name)));
    let columns: Vec<_> = formula.columns().map(|(table, column, _)| (table, column)).collect();
    assert_eq!(columns, [("run", "length")]);
}

// ---- Edges of 128 bits ----

#[test]
fn overflow_is_an_error_everywhere() {
    let most = ratio(i128::MAX, 1);
    let tiny = ratio(1, i128::MAX);
    assert!(most.plus(Ratio::ONE).is_err());
    assert!(most.neg().minus(Ratio::ONE).is_err());
    assert!(most.neg().minus(Ratio::int(2)).is_err());
    assert!(most.times(Ratio::int(2)).is_err());
    assert!(most.times(most).is_err());
    assert!(most.over(tiny).is_err());
    assert!(tiny.times(tiny).is_err());
    assert!(tiny.plus(ratio(1, i128::MAX - 1)).is_err());
    assert!(most.round_to(Ratio::int(2), Rounding::Up).is_err());
    assert!(Ratio::new(i128::MIN, 1).is_err());
    assert!(Ratio::new(1, i128::MIN).is_err());
    assert!(Ratio::new(1, 0).is_err());
    assert!(Ratio::from_decimal(&"9".repeat(60)).is_err());
    assert!(Ratio::from_decimal(&format!("0.{}", "1".repeat(60))).is_err());
    assert!(most.sqrt().is_err());
    assert_eq!(tiny.sqrt(), Ok(Ratio::ZERO));
    assert!(tiny < ratio(1, i128::MAX - 1));
    assert!(ratio(i128::MAX, 3) < ratio(i128::MAX, 2));
    assert!(ratio(-i128::MAX, 2) < ratio(-i128::MAX, 3));
    assert!(ratio(i128::MAX - 1, i128::MAX) < ratio(i128::MAX, i128::MAX - 1));
    for text in ["", "-", ".", "1.", "1e5", "+1", "1.2.3", "--1", "١"] {
        assert!(Ratio::from_decimal(text).is_err(), "{text}");
    }
    for style in [Style::default(), Style { system: System::Metric, ..Style::default() }] {
        for dimension in [LENGTH, Dimension::AREA, Dimension::PITCH, Dimension::NUMBER] {
            for value in [most, tiny, most.neg(), tiny.neg()] {
                let text = show(Quantity::new(value, dimension), &style);
                assert!(!text.is_empty());
            }
        }
    }
}

// ---- Properties ----

const DIMENSIONS: [Dimension; 12] = [
    Dimension::NUMBER,
    Dimension::LENGTH,
    Dimension::AREA,
    Dimension::VOLUME,
    Dimension::FREE_AREA_PER_LENGTH,
    Dimension::PITCH,
    Dimension::TEMPERATURE,
    Dimension::TEMPERATURE_DIFFERENCE,
    Dimension::SPEED,
    Dimension::MASS,
    Dimension::TIME,
    Dimension::PRESSURE,
];

fn any_ratio() -> impl Strategy<Value = Ratio> {
    let any = (-(1_i128 << 60)..(1_i128 << 60), 1_i128..(1_i128 << 40));
    let tape = (-100_000_i128..100_000, prop::sample::select(vec![1_i128, 2, 4, 8, 16, 32, 3, 10]));
    prop_oneof![any, tape].prop_map(|(num, den)| ratio(num, den))
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(2000) })]

    #[test]
    fn exact_text_reads_back(value in any_ratio(), dimension in prop::sample::select(DIMENSIONS.to_vec())) {
        let quantity = Quantity::new(value, dimension);
        let text = exact_text(quantity);
        prop_assert_eq!(parse_quantity(&text, dimension), Ok(quantity), "{}", text);
    }

    #[test]
    fn shown_lengths_read_back(sixteenths in -1_000_000_i64..1_000_000) {
        let quantity = Quantity::inches(ratio(i128::from(sixteenths), 16));
        let text = show(quantity, &Style::default());
        prop_assert_eq!(parse_quantity(&text, LENGTH), Ok(quantity), "{}", text);
        // And in a formula, where a minus is an operator.
        let formula = Formula::parse(&text).unwrap();
        prop_assert_eq!(formula.eval(&job(), &Functions::new()), Ok(Value::Quantity(quantity)), "{}", text);
    }

    #[test]
    fn rounding_stays_on_its_side(value in any_ratio(), den in 1_i128..64) {
        let step = ratio(1, den);
        let to = |how| value.round_to(step, how).unwrap();
        prop_assert!(to(Rounding::Down) <= value && value <= to(Rounding::Up));
        prop_assert!(to(Rounding::Up).minus(to(Rounding::Down)).unwrap() <= step);
        let off = to(Rounding::Nearest).minus(value).unwrap().abs();
        prop_assert!(off.plus(off).unwrap() <= step);
        for how in [Rounding::Up, Rounding::Down, Rounding::Nearest, Rounding::NearestEven] {
            prop_assert!(to(how).over(step).unwrap().is_integer());
        }
    }

    #[test]
    fn formulas_compute_as_ratios_do(a in any_ratio(), b in any_ratio(), c in any_ratio()) {
        let job = Job::default()
            .set("a", Value::Quantity(Quantity::number(a)))
            .set("b", Value::Quantity(Quantity::number(b)))
            .set("c", Value::Quantity(Quantity::number(c)));
        let cases = [
            ("a + b - c", a.plus(b).and_then(|x| x.minus(c))),
            ("a + b * c", b.times(c).and_then(|x| a.plus(x))),
            ("a * b / c", a.times(b).and_then(|x| x.over(c))),
            ("a / (b - c)", b.minus(c).and_then(|x| a.over(x))),
            ("-a - -b", a.neg().plus(b)),
        ];
        for (text, expected) in cases {
            let found = Formula::parse(text).unwrap().eval(&job, &Functions::new());
            match expected {
                Ok(value) => prop_assert_eq!(found, Ok(Value::Quantity(Quantity::number(value)))),
                Err(_) => {
                    let refused = matches!(found, Err(EvalError::Cannot { .. }));
                    prop_assert!(refused, "{}", text);
                }
            }
        }
    }

    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,60}") {
        for dimension in DIMENSIONS {
            if let Err(error) = parse_quantity(&text, dimension) {
                prop_assert!(text.get(error.at).is_some());
            }
        }
        if let Err(error) = Formula::parse(&text) {
            prop_assert!(text.get(error.at).is_some());
        }
    }
}
