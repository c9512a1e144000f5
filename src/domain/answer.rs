//! A typed or tapped answer as a value of its kind. What was heard is read by
//! `speech`; both come out as the same values.

use crate::measure::{Quantity, Value, parse_quantity};

use super::FactKind;

/// Longest answer in words, in bytes.
const LONGEST_TEXT: usize = 2_000;

/// Reads an answer of that kind. Lengths without a unit are inches, a pitch
/// without a run is in twelve; counts are whole and never negative.
///
/// # Errors
///
/// What is wrong with it and what was expected, in one sentence for a person.
pub fn parse_answer(text: &str, kind: &FactKind) -> Result<Value, String> {
    let text = text.trim();
    if text.is_empty() {
        return Err(format!("nothing was given; expected a {}", kind.word()));
    }
    match kind {
        FactKind::Choice(options) => {
            let found = options.iter().find(|option| option.eq_ignore_ascii_case(text));
            let wrong = || format!("`{}` is not one of {}", clip(text), options.join(", "));
            found.map(|option| Value::Text(option.clone())).ok_or_else(wrong)
        }
        FactKind::YesNo => match text.to_ascii_lowercase().as_str() {
            "yes" | "true" => Ok(Value::YesNo(true)),
            "no" | "false" => Ok(Value::YesNo(false)),
            _ => Err(format!("`{}` is neither yes nor no", clip(text))),
        },
        FactKind::Text if LONGEST_TEXT < text.len() => {
            Err(format!("longer than {LONGEST_TEXT} bytes"))
        }
        FactKind::Text => Ok(Value::Text(text.to_owned())),
        FactKind::Count => {
            let digits = text.bytes().all(|byte| byte.is_ascii_digit());
            let count = text.parse::<i64>().ok().filter(|_| digits);
            let wrong = || format!("`{}` is not a count; give a whole number", clip(text));
            count.map(|count| Value::Quantity(Quantity::count(count))).ok_or_else(wrong)
        }
        measured => {
            let Some(dimension) = measured.dimension() else {
                return Err(format!("a {} is not measured", measured.word()));
            };
            let wrong = |message: String| format!("`{}`: {message}", clip(text));
            parse_quantity(text, dimension).map(Value::Quantity).map_err(|e| wrong(e.message))
        }
    }
}

fn clip(text: &str) -> String {
    let start: String = text.chars().take(60).collect();
    if start.len() < text.len() { format!("{start}…") } else { start }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{Dimension, Ratio};

    fn options() -> FactKind {
        FactKind::Choice(vec!["dry".to_owned(), "wet or soft".to_owned()])
    }

    #[test]
    fn reads_each_kind() {
        let quantity =
            |value: Ratio, dimension| Ok(Value::Quantity(Quantity::new(value, dimension)));
        let ratio = |n, d| Ratio::new(n, d).unwrap();
        let table = [
            ("5 ft 3 3/16 in", FactKind::Length, quantity(ratio(1011, 16), Dimension::LENGTH)),
            ("16", FactKind::Length, quantity(ratio(16, 1), Dimension::LENGTH)),
            ("1200 ft2", FactKind::Area, quantity(ratio(172_800, 1), Dimension::AREA)),
            ("6", FactKind::Pitch, quantity(ratio(1, 2), Dimension::PITCH)),
            (" 12 ", FactKind::Count, quantity(ratio(12, 1), Dimension::NUMBER)),
            ("2.5", FactKind::Number, quantity(ratio(5, 2), Dimension::NUMBER)),
            (
                "9 in2/ft",
                FactKind::FreeAreaPerLength,
                quantity(ratio(3, 4), Dimension::FREE_AREA_PER_LENGTH),
            ),
            ("YES", FactKind::YesNo, Ok(Value::YesNo(true))),
            ("no", FactKind::YesNo, Ok(Value::YesNo(false))),
            ("Wet or soft", options(), Ok(Value::Text("wet or soft".to_owned()))),
            (" a note ", FactKind::Text, Ok(Value::Text("a note".to_owned()))),
        ];
        for (text, kind, expected) in table {
            let read = parse_answer(text, &kind);
            assert_eq!(read, expected, "{text:?} as {}", kind.word());
            assert!(kind.admits(&read.unwrap()));
        }
    }

    #[test]
    fn refuses_what_is_not_of_the_kind() {
        let table = [
            ("", FactKind::Length, "nothing was given; expected a length"),
            ("-3", FactKind::Count, "`-3` is not a count; give a whole number"),
            ("2.5", FactKind::Count, "`2.5` is not a count; give a whole number"),
            ("99999999999999999999", FactKind::Count, "give a whole number"),
            ("maybe", FactKind::YesNo, "`maybe` is neither yes nor no"),
            ("damp", options(), "`damp` is not one of dry, wet or soft"),
            ("1200", FactKind::Area, "`1200`: "),
            ("4 ft2", FactKind::Length, "`4 ft2`: "),
        ];
        for (text, kind, expected) in table {
            let message = parse_answer(text, &kind).expect_err(text);
            assert!(message.contains(expected), "{text:?}: {message}");
        }
        let long = "é".repeat(1_001);
        assert!(parse_answer(&long, &FactKind::Text).is_err());
        assert!(parse_answer(&long, &FactKind::YesNo).unwrap_err().len() < 200);
    }
}
