//! Scans numbers and quantities as a tape or a drawing writes them. Both the
//! formula lexer and `parse_quantity` read with this, so they cannot disagree.

use super::{MeasureError, ParseError, Quantity, Ratio, Unit, unit};

/// Where the text stands, which decides what is unambiguous.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// A field of its own: no arithmetic, so `4-1/2 in` and `1,640` can be read.
    Field,
    /// Inside a formula: `-`, `/` and `,` mean something else there.
    Formula,
}

/// A position in a text; never leaves a character boundary.
#[derive(Clone, Copy)]
pub(super) struct Cursor<'t> {
    text: &'t str,
    pub(super) at: usize,
}

impl<'t> Cursor<'t> {
    pub(super) fn new(text: &'t str, at: usize) -> Self {
        Self { text, at }
    }

    pub(super) fn rest(&self) -> &'t str {
        self.text.get(self.at..).unwrap_or("")
    }

    pub(super) fn peek(&self) -> Option<char> {
        self.rest().chars().next()
    }

    pub(super) fn eat(&mut self, wanted: &str) -> bool {
        let found = self.rest().starts_with(wanted);
        if found {
            self.at += wanted.len();
        }
        found
    }

    pub(super) fn spaces(&mut self) -> bool {
        !self.take(char::is_whitespace).is_empty()
    }

    /// The longest run of characters that `belongs` accepts.
    pub(super) fn take(&mut self, belongs: impl Fn(char) -> bool) -> &'t str {
        let rest = self.rest();
        let end = rest.find(|c| !belongs(c)).unwrap_or(rest.len());
        self.at += end;
        rest.get(..end).unwrap_or("")
    }

    fn glyph(&mut self) -> Option<Ratio> {
        let found = glyph(self.peek()?)?;
        self.take_one();
        Some(found)
    }

    fn take_one(&mut self) {
        self.at += self.peek().map_or(0, char::len_utf8);
    }
}

/// Whether a number starts here.
pub(super) fn starts_number(text: &str) -> bool {
    let mut chars = text.chars();
    match chars.next() {
        Some('.') => chars.next().is_some_and(|c| c.is_ascii_digit()),
        Some(c) => c.is_ascii_digit() || glyph(c).is_some(),
        None => false,
    }
}

fn glyph(c: char) -> Option<Ratio> {
    let (num, den) = match c {
        '\u{bd}' => (1, 2),
        '\u{bc}' => (1, 4),
        '\u{be}' => (3, 4),
        '\u{2153}' => (1, 3),
        '\u{2154}' => (2, 3),
        '\u{215b}' => (1, 8),
        '\u{215c}' => (3, 8),
        '\u{215d}' => (5, 8),
        '\u{215e}' => (7, 8),
        _ => return None,
    };
    Some(Ratio::reduced(num, den))
}

fn number_error(at: std::ops::Range<usize>, error: &MeasureError) -> ParseError {
    ParseError::new(at, error.to_string())
}

/// One number: `63`, `1.5`, `63 3/16`, `3/16`, with fraction glyphs too.
///
/// `fractions` says whether a lone `3/16` is one number here; `63 3/16` always is.
pub(super) fn number(
    cursor: &mut Cursor<'_>,
    place: Place,
    fractions: bool,
) -> Result<Ratio, ParseError> {
    let start = cursor.at;
    if let Some(value) = cursor.glyph() {
        return Ok(value);
    }
    let digits = whole_digits(cursor, place)?;
    let mut look = *cursor;
    if look.eat(".") && look.peek().is_some_and(|c| c.is_ascii_digit()) {
        let places = look.take(|c| c.is_ascii_digit());
        *cursor = look;
        return Ratio::from_decimal(&format!("{digits}.{places}"))
            .map_err(|error| number_error(start..cursor.at, &error));
    }
    if digits.is_empty() {
        return Err(ParseError::new(start..start, "expected a number"));
    }
    let whole =
        Ratio::from_decimal(&digits).map_err(|error| number_error(start..cursor.at, &error))?;
    let mut look = *cursor;
    if fractions && slash(&mut look) && look.peek().is_some_and(|c| c.is_ascii_digit()) {
        let below = look.take(|c| c.is_ascii_digit());
        *cursor = look;
        return fraction(whole, below, start..cursor.at);
    }
    let fraction = fraction_part(cursor, place)?;
    whole.plus(fraction).map_err(|error| number_error(start..cursor.at, &error))
}

/// Digits, and in a field also groups of three after commas.
fn whole_digits(cursor: &mut Cursor<'_>, place: Place) -> Result<String, ParseError> {
    let start = cursor.at;
    let mut digits = cursor.take(|c| c.is_ascii_digit()).to_owned();
    let mut groups = 0;
    loop {
        let mut look = *cursor;
        if place == Place::Formula
            || !(look.eat(",") && look.peek().is_some_and(|c| c.is_ascii_digit()))
        {
            break;
        }
        let group = look.take(|c| c.is_ascii_digit());
        let first = groups == 0 && !(1..=3).contains(&digits.len());
        if group.len() != 3 || first {
            return Err(ParseError::new(
                start..look.at,
                "commas stand between groups of three digits, as in `1,640`",
            ));
        }
        digits.push_str(group);
        groups += 1;
        *cursor = look;
    }
    Ok(digits)
}

fn slash(cursor: &mut Cursor<'_>) -> bool {
    cursor.eat("/") || cursor.eat("\u{2044}")
}

fn fraction(above: Ratio, below: &str, at: std::ops::Range<usize>) -> Result<Ratio, ParseError> {
    Ratio::from_decimal(below)
        .and_then(|below| above.over(below))
        .map_err(|error| number_error(at, &error))
}

/// The ` 3/16` of `63 3/16`, or zero where there is none.
fn fraction_part(cursor: &mut Cursor<'_>, place: Place) -> Result<Ratio, ParseError> {
    let mut look = *cursor;
    if let Some(value) = look.glyph() {
        *cursor = look;
        return Ok(value);
    }
    // In a formula `4-1/2` is a subtraction.
    let apart = look.spaces() || (place == Place::Field && look.eat("-"));
    if !apart {
        return Ok(Ratio::ZERO);
    }
    let start = look.at;
    if let Some(value) = look.glyph() {
        *cursor = look;
        return Ok(value);
    }
    let above = look.take(|c| c.is_ascii_digit());
    let below =
        if !above.is_empty() && slash(&mut look) { look.take(|c| c.is_ascii_digit()) } else { "" };
    if below.is_empty() || look.peek() == Some('.') {
        return Ok(Ratio::ZERO);
    }
    let at = start..look.at;
    let above = Ratio::from_decimal(above).map_err(|error| number_error(at.clone(), &error))?;
    let value = fraction(above, below, at.clone())?;
    if Ratio::ONE <= value {
        return Err(ParseError::new(at, "the fraction after a whole number must be less than 1"));
    }
    *cursor = look;
    Ok(value)
}

/// A number with its unit or units.
pub(super) struct Literal {
    /// The value in base units; in plain numbers where there is no unit.
    pub(super) quantity: Quantity,
    /// The unit that stands last, if any.
    pub(super) unit: Option<Unit>,
}

/// One number with its unit, or a chain such as `5 ft 3 3/16 in`.
pub(super) fn literal(
    cursor: &mut Cursor<'_>,
    place: Place,
    fractions: bool,
) -> Result<Literal, ParseError> {
    let start = cursor.at;
    let value = number(cursor, place, fractions)?;
    let Some(mut last) = unit_after(cursor, place) else {
        return Ok(Literal { quantity: Quantity::number(value), unit: None });
    };
    let mut quantity =
        Quantity::of(value, last).map_err(|error| number_error(start..cursor.at, &error))?;
    let mut value = value;
    loop {
        let mut look = *cursor;
        let joined = joiner(&mut look, place);
        if !starts_number(look.rest()) {
            break;
        }
        let part_start = look.at;
        let part = number(&mut look, place, true)?;
        let Some(unit) = unit_after(&mut look, place) else {
            if joined != Joined::Space {
                break;
            }
            return Err(unit_missing(part_start..look.at, value, part, last));
        };
        if !unit.follows(last) {
            if joined != Joined::Space {
                break;
            }
            return Err(ParseError::new(
                part_start..look.at,
                format!(
                    "`{}` cannot follow `{}`; an operator is missing, or the order is wrong",
                    unit.symbol(),
                    last.symbol()
                ),
            ));
        }
        if joined == Joined::WordDash {
            return Err(ParseError::new(
                cursor.at..look.at,
                "write a space instead of the dash for one length, or spaces on both sides of it to subtract",
            ));
        }
        let at = part_start..look.at;
        if !value.is_integer() {
            return Err(ParseError::new(
                start..cursor.at,
                format!(
                    "only the last part may have a fraction; `{}` is followed by another part",
                    last.symbol()
                ),
            ));
        }
        let added = Quantity::of(part, unit).map_err(|error| number_error(at.clone(), &error))?;
        if last.factor() <= added.value {
            return Err(ParseError::new(
                at,
                format!("this is one `{}` or more; carry it into the part before", last.symbol()),
            ));
        }
        quantity = quantity.plus(added).map_err(|error| number_error(at, &error))?;
        (value, last) = (part, unit);
        *cursor = look;
    }
    Ok(Literal { quantity, unit: Some(last) })
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Joined {
    Space,
    /// The dash of `5'-3"`.
    Dash,
    /// The dash of `5 ft-3 in`.
    WordDash,
}

/// What stands between two parts of one length.
fn joiner(cursor: &mut Cursor<'_>, place: Place) -> Joined {
    let after_mark = cursor.text.get(..cursor.at).is_some_and(|t| t.ends_with(FOOT_MARKS));
    if place == Place::Formula {
        let mut look = *cursor;
        if look.eat("-") && starts_number(look.rest()) {
            *cursor = look;
            return if after_mark { Joined::Dash } else { Joined::WordDash };
        }
        cursor.spaces();
        return Joined::Space;
    }
    cursor.spaces();
    let mut look = *cursor;
    if look.eat("-") || look.eat(",") {
        look.spaces();
        *cursor = look;
    }
    Joined::Space
}

const FOOT_MARKS: [char; 3] = ['\'', '\u{2032}', '\u{2019}'];

fn unit_missing(at: std::ops::Range<usize>, value: Ratio, part: Ratio, last: Unit) -> ParseError {
    let unit = last.symbol();
    if part < Ratio::ONE && value.is_integer() {
        return ParseError::new(
            at,
            format!("the fraction goes before the unit: write `{value} {part} {unit}`"),
        );
    }
    ParseError::new(at, format!("a number follows `{unit}` without a unit or an operator"))
}

/// The unit after a number. A mark belongs to the number only when it touches
/// it inside a formula, where a quote may also start a text.
fn unit_after(cursor: &mut Cursor<'_>, place: Place) -> Option<Unit> {
    let mut look = *cursor;
    let apart = look.spaces();
    if apart && place == Place::Formula && unit::is_mark(look.rest()) {
        return None;
    }
    let (unit, length) = unit::scan(look.rest())?;
    look.at += length;
    *cursor = look;
    Some(unit)
}
