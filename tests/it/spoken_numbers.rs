//! Spoken numbers into exact lengths and back, and against a published reader.
#![allow(clippy::print_stdout)]

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::process::{Command, Stdio};

use chalkhand::measure::Ratio;
use chalkhand::speech::{
    Grammar, Meaning, count_forms, length_forms, parse_count, parse_length, say_count, say_length,
    words_for,
};
use proptest::prelude::*;

fn inches(top: i128, bottom: i128) -> Ratio {
    Ratio::new(top, bottom).unwrap()
}

/// All lengths to 60 inches by sixteenths.
fn tape() -> impl Iterator<Item = Ratio> {
    (1..=60 * 16).map(|sixteenths| inches(sixteenths, 16))
}

#[test]
fn people_say_lengths_in_many_ways() {
    let said = [
        ("four and a half inches", 9, 2),
        ("Four and a half inches.", 9, 2),
        ("a foot and a half", 18, 1),
        ("one and a half feet", 18, 1),
        ("one foot six", 18, 1),
        ("three sixteenths", 3, 16),
        ("Three-sixteenths of an inch.", 3, 16),
        ("twenty four", 24, 1),
        ("Twenty-four.", 24, 1),
        ("24.", 24, 1),
        ("4 and 9/16", 73, 16),
        ("4-9/16", 73, 16),
        ("4 1/2", 9, 2),
        ("4.5", 9, 2),
        ("four point two five inches", 17, 4),
        ("4½\"", 9, 2),
        ("five eighths", 5, 8),
        ("half an inch", 1, 2),
        ("a half inch", 1, 2),
        ("three quarters of an inch", 3, 4),
        ("an inch and a quarter", 5, 4),
        ("two inches and three eighths", 19, 8),
        ("sixty three and three sixteenths", 1011, 16),
        ("five feet three and three sixteenths inches", 1011, 16),
        ("5 feet 3 3/16 inches", 1011, 16),
        ("5' 3 3/16\"", 1011, 16),
        ("five feet three eighths", 483, 8),
        ("five feet and a half inch", 121, 2),
        ("five feet and a half", 66, 1),
        ("one hundred twenty inches", 120, 1),
        ("a hundred and twenty", 120, 1),
        ("1,640 inches", 1640, 1),
    ];
    for (text, top, bottom) in said {
        assert_eq!(parse_length(text), Some(inches(top, bottom)), "{text}");
    }
}

#[test]
fn what_may_mean_two_lengths_is_none() {
    for text in [
        "",
        "inches",
        "five six",
        "twenty three eighths",
        "five feet and a quarter",
        "five feet fourteen inches",
        "nine eighths",
        "four and",
        "four and five",
        "and a half",
        "4/0",
        "four five eighths inches feet",
        "step done",
        "a",
        "99999999999999999999999999999999999999999999",
        "1/340282366920938463463374607431768211455",
    ] {
        assert_eq!(parse_length(text), None, "{text}");
    }
}

#[test]
fn every_form_of_every_length_means_that_length() {
    let mut forms_seen = 0;
    for length in tape().chain([Ratio::int(0)]) {
        let forms = length_forms(length);
        assert!(2 <= forms.len(), "{length:?}");
        for form in forms {
            assert_eq!(parse_length(&form), Some(length), "{form}");
            forms_seen += 1;
        }
    }
    assert!(20_000 < forms_seen, "{forms_seen}");
}

#[test]
fn no_written_form_stands_for_two_things() {
    let mut owners: BTreeMap<String, Meaning> = BTreeMap::new();
    for (meaning, form) in Grammar::everything().forms() {
        if let Some(owner) = owners.insert(form.clone(), meaning.clone()) {
            assert_eq!(owner, meaning, "{form}");
        }
    }
    assert!(40_000 < owners.len());
}

#[test]
fn every_count_reads_back_from_its_forms() {
    for count in 0..=1_100 {
        for form in count_forms(count) {
            assert_eq!(parse_count(&form), Some(count), "{form}");
        }
    }
    assert_eq!(parse_count("four and a half"), None);
    assert_eq!(parse_count("four inches"), None);
}

#[test]
fn teens_and_tens_are_read_back_digit_by_digit() {
    assert_eq!(say_count(15), "one-five");
    assert_eq!(say_count(50), "five-oh");
    assert_eq!(say_count(12), "twelve");
    assert_eq!(say_count(63), "sixty three");
    assert_eq!(say_length(Ratio::int(15)), "one-five inches");
    assert_eq!(say_length(inches(9, 2)), "four and a half inches");
    assert_eq!(say_length(inches(3, 16)), "three sixteenths of an inch");
    assert_eq!(say_length(inches(1, 8)), "an eighth of an inch");
    assert_eq!(say_length(inches(1011, 16)), "sixty three and three sixteenths inches");
    let spoken: BTreeSet<String> = tape().map(say_length).collect();
    assert_eq!(spoken.len(), 960, "two lengths are read back in the same words");
}

#[test]
fn a_narrow_grammar_holds_only_its_numbers() {
    let grammar = Grammar::only_lengths(inches(4, 1), inches(5, 1), inches(1, 8));
    let meanings: BTreeSet<Meaning> = grammar.forms().into_iter().map(|(m, _)| m).collect();
    assert_eq!(meanings.len(), 9);
    assert!(meanings.contains(&Meaning::Length(inches(37, 8))));
    let backwards = Grammar::only_lengths(inches(5, 1), inches(4, 1), inches(1, 8));
    assert!(backwards.forms().is_empty());
    let still = Grammar::only_lengths(inches(4, 1), inches(5, 1), inches(0, 1));
    assert!(still.forms().is_empty());
}

proptest! {
    #[test]
    fn reading_any_text_never_panics(text in "\\PC{0,240}") {
        let _ = parse_length(&text);
        let _ = parse_count(&text);
    }

    #[test]
    fn reading_any_heap_of_number_words_never_panics(
        words in prop::collection::vec(prop::sample::select(vec![
            "a", "an", "and", "half", "quarter", "three", "four", "eighths", "sixteenths",
            "twenty", "thirty", "second", "sixty", "hundred", "thousand", "foot", "feet",
            "inch", "inches", "of", "point", "oh", "4", "1/2", "9/16", "12", "0.5", "½", "'",
            "\"", "170141183460469231731687303715884105727",
        ]), 0..24)
    ) {
        let text = words.join(" ");
        if let Some(length) = parse_length(&text) {
            prop_assert!(Ratio::int(0) <= length);
        }
        let _ = parse_count(&text);
    }

    #[test]
    fn saying_any_length_never_panics(top in any::<i128>(), bottom in 1..i64::MAX) {
        if let Ok(length) = Ratio::new(top / 2, i128::from(bottom)) {
            let _ = say_length(length);
            let _ = length_forms(length);
        }
    }
}

/// Reads one line a number: the whole part's words, a tab, the fraction's words.
/// Answers with the whole part, the fraction's top and its bottom.
const OUTSIDE_READER: &str = r#"
import re, sys
from text_to_num import alpha2digit, text2num
for line in sys.stdin:
    whole, fraction = line.rstrip("\n").split("\t")
    top, bottom = 0, 1
    if fraction:
        fraction = re.sub(r"^(a|an)\b", "one", fraction)
        words = fraction.split(" ")
        top = text2num(words[0], "en")
        # The library reads ordinals, but knows no halves and quarters.
        small = {"half": 2, "quarter": 4, "quarters": 4}
        bottom = small.get(words[1]) or int(
            re.match(r"(\d+)", alpha2digit("the " + words[1], "en").split(" ")[1])[1])
    print(text2num(whole, "en") if whole else 0, top, bottom)
"#;

/// Outside check: text2num 3.1.0 (PyPI, MIT), a published words-to-number reader.
#[test]
fn a_published_reader_reads_our_words_as_the_same_numbers() {
    let Some(outside) = std::env::var_os("CHALKHAND_OUTSIDE") else {
        println!("skipped: CHALKHAND_OUTSIDE is not set; packaging/test installs the tools");
        return;
    };
    let own = std::path::Path::new(&outside).join("py/bin/python");
    let python = if own.is_file() { own } else { "python3".into() };
    let mut child = Command::new(python)
        .args(["-c", OUTSIDE_READER])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("python3 runs");
    let mut asked = Vec::new();
    let mut lines = String::new();
    for length in tape() {
        let spoken = say_plainly(length);
        lines.push_str(&format!("{}\t{}\n", spoken.0, spoken.1));
        asked.push(length);
    }
    let mut to = child.stdin.take().unwrap();
    let writer = std::thread::spawn(move || to.write_all(lines.as_bytes()));
    let answer = child.wait_with_output().unwrap();
    writer.join().unwrap().unwrap();
    assert!(answer.status.success(), "install it with: pip install text2num==3.1.0");
    let answers = String::from_utf8(answer.stdout).unwrap();
    assert_eq!(answers.lines().count(), asked.len());
    for (line, length) in answers.lines().zip(asked) {
        let numbers: Vec<i128> = line.split(' ').map(|n| n.parse().unwrap()).collect();
        let [whole, top, bottom] = numbers[..] else { panic!("{line}") };
        assert_eq!(inches(whole * bottom + top, bottom), length, "{line}");
    }
}

/// The whole part and the fraction in the words that are read back.
fn say_plainly(length: Ratio) -> (String, String) {
    let whole = length.numerator() / length.denominator();
    let rest = inches(length.numerator() % length.denominator(), length.denominator());
    let whole_words =
        if whole == 0 { String::new() } else { words_for(u32::try_from(whole).unwrap()) };
    let fraction = if rest == Ratio::int(0) {
        String::new()
    } else {
        say_length(rest).trim_end_matches(" of an inch").to_owned()
    };
    // What is asked outside is what is said: both parts stand in the read-back.
    let said = say_length(length);
    assert!(said.contains(&fraction), "{said}");
    (whole_words, fraction)
}
