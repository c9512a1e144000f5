//! Cuts a formula into tokens. Numbers and units are read as `literal` reads
//! them everywhere else.

use std::ops::Range;

use super::super::literal::{Cursor, Place, literal, number, starts_number};
use super::super::unit;
use super::super::{Dimension, ParseError, Quantity, Ratio, Unit};
use super::FormulaError;

#[derive(Clone, Debug, PartialEq)]
pub(super) enum Token {
    /// A quantity, and the zero of its scale if it is a thermometer reading.
    Literal(Quantity, Ratio),
    Text(String),
    Name,
    Word(&'static str),
    Sign(&'static str),
}

const WORDS: [&str; 9] = ["if", "then", "else", "and", "or", "not", "yes", "no", "where"];
// Longer signs first.
const SIGNS: [&str; 13] = ["<=", ">=", "==", "!=", "<", ">", "+", "-", "*", "/", "(", ")", ","];

pub(super) fn tokens(text: &str) -> Result<Vec<(Token, Range<usize>)>, FormulaError> {
    let mut found: Vec<(Token, Range<usize>)> = Vec::new();
    let mut cursor = Cursor::new(text, 0);
    loop {
        cursor.spaces();
        let start = cursor.at;
        let Some(first) = cursor.peek() else { return Ok(found) };
        let token = if starts_number(cursor.rest()) {
            let after_slash = matches!(found.last(), Some((Token::Sign("/"), _)));
            numeral(&mut cursor, after_slash)?
        } else if first.is_ascii_lowercase() {
            name(&mut cursor)?
        } else if first == '"' || first == '\'' {
            quoted(&mut cursor, first)?
        } else if let Some(sign) = SIGNS.iter().find(|sign| cursor.eat(sign)) {
            Token::Sign(sign)
        } else if cursor.eat("\u{2212}") {
            Token::Sign("-")
        } else {
            return Err(unexpected(start, first));
        };
        found.push((token, start..cursor.at));
    }
}

fn unexpected(start: usize, found: char) -> FormulaError {
    let at = start..start + found.len_utf8();
    let message = match found {
        'A'..='Z' => "names are written in small letters".to_owned(),
        '=' => "write `==` to compare".to_owned(),
        '&' => "write `and`".to_owned(),
        '|' => "write `or`".to_owned(),
        '!' => "write `not`".to_owned(),
        '\u{d7}' => "write `*` to multiply".to_owned(),
        '\u{f7}' => "write `/` to divide".to_owned(),
        '^' => "write a power as a product, such as `x * x`".to_owned(),
        _ => format!("`{}` has no meaning in a formula", found.escape_debug()),
    };
    FormulaError::new(at, message)
}

fn name(cursor: &mut Cursor<'_>) -> Result<Token, FormulaError> {
    let start = cursor.at;
    let word = cursor.take(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_');
    if let Some(word) = WORDS.iter().find(|known| **known == word) {
        return Ok(Token::Word(word));
    }
    while cursor.eat(".") {
        if !cursor.peek().is_some_and(|c| c.is_ascii_lowercase()) {
            return Err(FormulaError::new(start..cursor.at, "a name must follow the dot"));
        }
        cursor.take(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_');
    }
    if cursor.peek().is_some_and(char::is_alphanumeric) {
        return Err(FormulaError::new(
            start..cursor.at,
            "names are small letters a to z, digits and `_`",
        ));
    }
    Ok(Token::Name)
}

fn quoted(cursor: &mut Cursor<'_>, quote: char) -> Result<Token, FormulaError> {
    let start = cursor.at;
    cursor.eat(if quote == '"' { "\"" } else { "'" });
    let text = cursor.take(|c| c != quote).to_owned();
    if cursor.eat(if quote == '"' { "\"" } else { "'" }) {
        return Ok(Token::Text(text));
    }
    Err(FormulaError::new(
        start..cursor.at,
        "this quote is never closed; an inch or foot mark touches its number, as in `5'-3\"`",
    ))
}

fn numeral(cursor: &mut Cursor<'_>, after_slash: bool) -> Result<Token, FormulaError> {
    let start = cursor.at;
    let fraction = fraction_with_unit(*cursor);
    if let (Some(end), true) = (fraction, after_slash) {
        return Err(FormulaError::new(
            start..end,
            "put brackets round this fraction: two divisions in a row can be read two ways",
        ));
    }
    let found = literal(cursor, Place::Formula, fraction.is_some()).map_err(to_formula)?;
    if let Some(unit) = found.unit {
        return Ok(Token::Literal(found.quantity, unit.zero()));
    }
    let rise = found.quantity.value;
    let mut look = *cursor;
    look.spaces();
    if look.eat(":") {
        look.spaces();
        let run = number(&mut look, Place::Formula, false).map_err(to_formula)?;
        let value =
            rise.over(run).map_err(|error| FormulaError::new(start..look.at, error.to_string()))?;
        *cursor = look;
        return Ok(Token::Literal(Quantity::new(value, Dimension::PITCH), Ratio::ZERO));
    }
    unknown_unit(*cursor)?;
    Ok(Token::Literal(found.quantity, Ratio::ZERO))
}

/// Where `3/16 in` ends when the text here is a fraction directly before a unit:
/// only then is the slash part of the number.
fn fraction_with_unit(mut look: Cursor<'_>) -> Option<usize> {
    let digits = |look: &mut Cursor<'_>| !look.take(|c| c.is_ascii_digit()).is_empty();
    if !(digits(&mut look) && (look.eat("/") || look.eat("\u{2044}")) && digits(&mut look)) {
        return None;
    }
    let apart = look.spaces();
    let (_, length) = unit::scan(look.rest())?;
    let quote = apart && unit::is_mark(look.rest());
    (!quote).then_some(look.at + length)
}

/// A word touching a number, or a unit in the wrong place, is said here, where
/// it is known that a unit was meant.
fn unknown_unit(mut look: Cursor<'_>) -> Result<(), FormulaError> {
    let start = look.at;
    let word = look.take(|c| c.is_alphanumeric() || c == '_' || c == '\u{b0}');
    if word.is_empty() {
        return Ok(());
    }
    Err(FormulaError::new(
        start..look.at,
        format!(
            "no unit named `{word}`; units are such as in, ft, mm, m, in2, ft2, in2/ft, degF, mph"
        ),
    ))
}

fn to_formula(error: ParseError) -> FormulaError {
    FormulaError { at: error.at, message: error.message }
}

/// Whether a word is a unit, which a hint mentions.
pub(super) fn is_unit(word: &str) -> bool {
    Unit::parse(word).is_some()
}
