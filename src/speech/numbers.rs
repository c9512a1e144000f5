//! Words and digits into an exact length or count. Every way to read the text is
//! tried; when two of them give different values, or none gives any, the answer
//! is None. It never guesses.

use super::forms::{ONES, TENS};
use crate::measure::Ratio;

use super::grammar::plus;

/// Longer text than any spoken measure is not read at all.
const MOST_BYTES: usize = 200;
const MOST_TOKENS: usize = 24;

#[derive(Clone, Debug, PartialEq)]
enum Token {
    /// Digits, with or without decimals.
    Number(Ratio),
    /// Digits over digits, below one.
    Fraction(Ratio),
    Word(String),
}

/// A value and how many tokens it took.
type Reading = (Ratio, usize);

/// Reads a length; the answer is in inches, exact.
pub fn parse_length(text: &str) -> Option<Ratio> {
    let tokens = tokens(text)?;
    let whole = |readings: Vec<Reading>| {
        readings.into_iter().filter(|(_, used)| *used == tokens.len()).map(|(value, _)| value)
    };
    agreed(whole(inches(&tokens)).chain(whole(feet_and_inches(&tokens))))
}

/// Reads a count.
pub fn parse_count(text: &str) -> Option<u32> {
    let tokens = tokens(text)?;
    let found = cardinals(&tokens).into_iter().filter(|(_, used)| *used == tokens.len());
    let value = agreed(found.map(|(value, _)| value))?;
    (value.denominator() == 1).then_some(())?;
    u32::try_from(value.numerator()).ok()
}

/// The one value that all readings share.
fn agreed(mut values: impl Iterator<Item = Ratio>) -> Option<Ratio> {
    let first = values.next()?;
    values.all(|value| value == first).then_some(first)
}

fn tokens(text: &str) -> Option<Vec<Token>> {
    if MOST_BYTES < text.len() {
        return None;
    }
    let mut tokens = Vec::new();
    let mut rest = text.trim();
    while let Some(first) = rest.chars().next() {
        if MOST_TOKENS < tokens.len() {
            return None;
        }
        let after_number = matches!(tokens.last(), Some(Token::Number(_) | Token::Fraction(_)));
        if first.is_ascii_digit() {
            let (token, left) = digits(rest)?;
            tokens.push(token);
            rest = left;
            continue;
        }
        if first.is_alphabetic() {
            let end = rest.find(|c: char| !c.is_alphabetic()).unwrap_or(rest.len());
            let (word, left) = rest.split_at(end);
            tokens.push(Token::Word(word.to_lowercase()));
            rest = left;
            continue;
        }
        if let Some(glyph) = glyph(first) {
            tokens.push(Token::Fraction(glyph));
        } else {
            match first {
                '\'' | '\u{2032}' | '\u{2019}' if after_number => {
                    tokens.push(Token::Word("feet".to_owned()));
                }
                '"' | '\u{2033}' | '\u{201d}' if after_number => {
                    tokens.push(Token::Word("inches".to_owned()));
                }
                ' ' | '\t' | '\n' | '-' | '\u{2010}' | '\u{2011}' | '\u{2013}' | ',' | '.'
                | '!' | '?' => {}
                _ => return None,
            }
        }
        rest = rest.get(first.len_utf8()..)?;
    }
    Some(tokens)
}

/// Reads "24", "4.5", "1,640" or "9/16" from the start of the text.
fn digits(text: &str) -> Option<(Token, &str)> {
    let (whole, mut rest) = run_of_digits(text);
    let mut whole = whole.to_owned();
    while let Some(group) = rest.strip_prefix(',').map(run_of_digits).filter(|(g, _)| g.len() == 3)
    {
        whole.push_str(group.0);
        rest = group.1;
    }
    let value: i128 = whole.parse().ok()?;
    if let Some(below) = rest.strip_prefix('/') {
        let (below, rest) = run_of_digits(below);
        let value = Ratio::new(value, below.parse().ok()?).ok()?;
        let proper = Ratio::int(0) < value && value < Ratio::int(1);
        return proper.then_some((Token::Fraction(value), rest));
    }
    if let Some((decimals, left)) =
        rest.strip_prefix('.').map(run_of_digits).filter(|(d, _)| !d.is_empty())
    {
        let scale = 10_i128.checked_pow(u32::try_from(decimals.len()).ok()?)?;
        let top = value.checked_mul(scale)?.checked_add(decimals.parse().ok()?)?;
        return Some((Token::Number(Ratio::new(top, scale).ok()?), left));
    }
    Some((Token::Number(Ratio::new(value, 1).ok()?), rest))
}

fn run_of_digits(text: &str) -> (&str, &str) {
    text.split_at(text.find(|c: char| !c.is_ascii_digit()).unwrap_or(text.len()))
}

fn glyph(glyph: char) -> Option<Ratio> {
    let (top, bottom) = match glyph {
        '½' => (1, 2),
        '¼' => (1, 4),
        '¾' => (3, 4),
        '⅛' => (1, 8),
        '⅜' => (3, 8),
        '⅝' => (5, 8),
        '⅞' => (7, 8),
        _ => return None,
    };
    Ratio::new(top, bottom).ok()
}

fn word(tokens: &[Token], at: usize) -> &str {
    match tokens.get(at) {
        Some(Token::Word(word)) => word,
        _ => "",
    }
}

fn after(at: usize, more: usize) -> usize {
    at.saturating_add(more)
}

fn below_twenty(word: &str) -> Option<i64> {
    ONES.iter().position(|known| *known == word).and_then(|at| i64::try_from(at).ok())
}

fn tens(word: &str) -> Option<i64> {
    let at = TENS.iter().position(|known| !known.is_empty() && *known == word)?;
    i64::try_from(at).ok()?.checked_mul(10)
}

/// A number below a hundred in words, the longest reading first.
fn below_hundred(tokens: &[Token], at: usize) -> Vec<(i64, usize)> {
    let first = word(tokens, at);
    if let Some(number) = below_twenty(first) {
        return vec![(number, after(at, 1))];
    }
    let Some(ten) = tens(first) else { return Vec::new() };
    let one = below_twenty(word(tokens, after(at, 1))).filter(|one| (1..10).contains(one));
    one.map(|one| (ten.saturating_add(one), after(at, 2)))
        .into_iter()
        .chain([(ten, after(at, 1))])
        .collect()
}

/// A whole number below a thousand in words: every reading.
fn below_thousand(tokens: &[Token], at: usize) -> Vec<(i64, usize)> {
    let mut found = below_hundred(tokens, at);
    let hundreds = match word(tokens, at) {
        "a" => Some(1),
        first => below_twenty(first).filter(|hundreds| (1..10).contains(hundreds)),
    };
    if let Some(hundreds) = hundreds.filter(|_| word(tokens, after(at, 1)) == "hundred") {
        let value = hundreds.saturating_mul(100);
        let next = after(at, 2);
        found.push((value, next));
        let rest = if word(tokens, next) == "and" { after(next, 1) } else { next };
        for (more, used) in below_hundred(tokens, rest) {
            if more != 0 {
                found.push((value.saturating_add(more), used));
            }
        }
    }
    found
}

/// Whole numbers from the first token on: every reading.
fn cardinals(tokens: &[Token]) -> Vec<Reading> {
    cardinals_at(tokens, 0)
}

fn cardinals_at(tokens: &[Token], at: usize) -> Vec<Reading> {
    if let Some(Token::Number(number)) = tokens.get(at) {
        return vec![(*number, after(at, 1))];
    }
    let mut found = Vec::new();
    for (value, next) in below_thousand(tokens, at) {
        found.push((Ratio::int(value), next));
        if word(tokens, next) == "thousand" && value != 0 {
            let value = value.saturating_mul(1_000);
            let next = after(next, 1);
            found.push((Ratio::int(value), next));
            for (rest, used) in below_thousand(tokens, next) {
                if rest != 0 {
                    found.push((Ratio::int(value.saturating_add(rest)), used));
                }
            }
        }
    }
    found
}

/// A fraction below one.
fn fractions(tokens: &[Token], at: usize) -> Vec<Reading> {
    if let Some(Token::Fraction(value)) = tokens.get(at) {
        return vec![(*value, after(at, 1))];
    }
    let mut found = Vec::new();
    let mut add = |top: i128, at: usize| {
        if let Some((bottom, used)) = denominator(tokens, at)
            && let Ok(value) = Ratio::new(top, bottom)
            && Ratio::int(0) < value
            && value < Ratio::int(1)
        {
            found.push((value, used));
        }
    };
    match word(tokens, at) {
        "a" | "an" => add(1, after(at, 1)),
        "half" | "quarter" => add(1, at),
        _ => {}
    }
    for (top, next) in cardinals_at(tokens, at) {
        if top.denominator() == 1 {
            add(top.numerator(), next);
        }
    }
    found
}

/// The name of a fraction and where it ends.
fn denominator(tokens: &[Token], at: usize) -> Option<(i128, usize)> {
    let bottom = match word(tokens, at) {
        "half" | "halves" => 2,
        "quarter" | "quarters" | "fourth" | "fourths" => 4,
        "eighth" | "eighths" => 8,
        "sixteenth" | "sixteenths" => 16,
        "thirty" => match word(tokens, after(at, 1)) {
            "second" | "seconds" => return Some((32, after(at, 2))),
            _ => return None,
        },
        _ => return None,
    };
    Some((bottom, after(at, 1)))
}

/// A number with or without a fraction, no unit.
fn mixed(tokens: &[Token], at: usize) -> Vec<Reading> {
    let mut found = Vec::new();
    for (whole, next) in cardinals_at(tokens, at) {
        found.push((whole, next));
        if whole.denominator() != 1 {
            continue;
        }
        let in_digits = matches!(tokens.get(at), Some(Token::Number(_)));
        let fraction_at = match word(tokens, next) {
            "and" => Some(after(next, 1)),
            // "twenty three eighths" is two lengths; "20 3/8" is one.
            _ if in_digits && matches!(tokens.get(next), Some(Token::Fraction(_))) => Some(next),
            _ => None,
        };
        for (fraction, used) in fraction_at.map(|at| fractions(tokens, at)).unwrap_or_default() {
            found.extend(plus(whole, fraction).map(|value| (value, used)));
        }
        if word(tokens, next) == "point"
            && let Some((decimals, used)) = spoken_decimals(tokens, after(next, 1))
        {
            found.extend(plus(whole, decimals).map(|value| (value, used)));
        }
    }
    found
}

/// The digits said after "point", up to six of them.
fn spoken_decimals(tokens: &[Token], mut at: usize) -> Option<Reading> {
    let (mut top, mut scale) = (0_i128, 1_i128);
    while scale < 1_000_000 {
        let digit = match word(tokens, at) {
            "oh" => Some(0),
            said => below_twenty(said).filter(|digit| *digit < 10),
        };
        let Some(digit) = digit else { break };
        top = top.checked_mul(10)?.checked_add(i128::from(digit))?;
        scale = scale.checked_mul(10)?;
        at = after(at, 1);
    }
    (1 < scale).then_some(())?;
    Some((Ratio::new(top, scale).ok()?, at))
}

fn inch_word(tokens: &[Token], at: usize) -> bool {
    matches!(word(tokens, at), "inch" | "inches" | "in")
}

/// A length in inches from the first token on: every reading.
fn inches(tokens: &[Token]) -> Vec<Reading> {
    let mut found = inches_at(tokens, 0);
    for (value, next) in fractions(tokens, 0) {
        found.push((value, next));
    }
    found
}

/// Everything but a bare fraction.
fn inches_at(tokens: &[Token], at: usize) -> Vec<Reading> {
    let mut found = Vec::new();
    for (value, next) in mixed(tokens, at) {
        found.push((value, next));
        if inch_word(tokens, next) {
            found.push((value, after(next, 1)));
            with_fraction(tokens, value, after(next, 1), &mut found);
        }
    }
    if matches!(word(tokens, at), "a" | "an") && inch_word(tokens, after(at, 1)) {
        found.push((Ratio::int(1), after(at, 2)));
        with_fraction(tokens, Ratio::int(1), after(at, 2), &mut found);
    }
    found.extend(inch_fractions(tokens, at));
    found
}

/// A fraction with its unit: "half inch", "half an inch", "3/8 of an inch".
fn inch_fractions(tokens: &[Token], at: usize) -> Vec<Reading> {
    let mut found = Vec::new();
    for (value, next) in fractions(tokens, at) {
        if inch_word(tokens, next) {
            found.push((value, after(next, 1)));
        }
        let article = if word(tokens, next) == "of" { after(next, 1) } else { next };
        if matches!(word(tokens, article), "a" | "an") && inch_word(tokens, after(article, 1)) {
            found.push((value, after(article, 2)));
        }
    }
    found
}

/// "two inches and three eighths", "an inch and a half".
fn with_fraction(tokens: &[Token], whole: Ratio, at: usize, found: &mut Vec<Reading>) {
    if whole.denominator() != 1 || word(tokens, at) != "and" {
        return;
    }
    for (fraction, used) in fractions(tokens, after(at, 1)) {
        found.extend(plus(whole, fraction).map(|value| (value, used)));
    }
}

/// A length that begins with feet: every reading.
fn feet_and_inches(tokens: &[Token]) -> Vec<Reading> {
    let mut found = Vec::new();
    let mut heads = mixed(tokens, 0);
    if word(tokens, 0) == "a" {
        heads.push((Ratio::int(1), 1));
    }
    for (value, next) in heads {
        if !matches!(word(tokens, next), "foot" | "feet" | "ft") {
            continue;
        }
        let Some(feet) = value
            .numerator()
            .checked_mul(12)
            .and_then(|top| Ratio::new(top, value.denominator()).ok())
        else {
            continue;
        };
        let next = after(next, 1);
        found.push((feet, next));
        if value.denominator() != 1 {
            continue;
        }
        let joined = word(tokens, next) == "and";
        let rest_at = if joined { after(next, 1) } else { next };
        let mut rest = inches_at(tokens, rest_at);
        for (fraction, used) in fractions(tokens, rest_at) {
            // "A foot and a half" is half a foot; a bare quarter after feet is
            // a quarter of nobody knows what.
            if 4 < fraction.denominator() {
                rest.push((fraction, used));
            } else if joined && fraction.denominator() == 2 {
                rest.push((Ratio::int(6), used));
            }
        }
        for (inches, used) in rest {
            if inches < Ratio::int(12) {
                found.extend(plus(feet, inches).map(|value| (value, used)));
            }
        }
    }
    found
}
