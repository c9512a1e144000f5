//! JSON as a tree and its canonical text after RFC 8785. Reading JSON is the
//! business of the borders.

use std::fmt;

use ecow::{EcoString, eco_format};

use super::Members;

/// A JSON value. Object keys are kept by Rust's order; the canonical text
/// sorts them as RFC 8785 wants. Short texts lie in the value itself, and nothing
/// takes more room than it needs: a record has hundreds of thousands of them.
#[derive(Clone, Debug, PartialEq)]
pub enum Json {
    /// `null`
    Null,
    /// `true` or `false`
    Bool(bool),
    /// A finite IEEE 754 double. Entries only hold whole numbers.
    Number(f64),
    /// Text
    Text(EcoString),
    /// A list
    List(Box<[Json]>),
    /// An object
    Object(Members),
}

impl Json {
    /// An object of these members; those that are `Null` are left out.
    #[must_use]
    pub fn object<const N: usize>(members: [(&str, Json); N]) -> Json {
        let some = members.into_iter().filter(|(_, value)| *value != Json::Null);
        Json::Object(some.collect())
    }

    /// Text of anything that prints.
    #[must_use]
    pub fn text(value: impl fmt::Display) -> Json {
        Json::Text(eco_format!("{value}"))
    }

    /// A whole number, which stays below 2^53.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "what is counted here stays below 2^53")]
    pub fn whole(n: u64) -> Json {
        Json::Number(n as f64)
    }

    /// The member of that name, where this is an object that has it.
    #[must_use]
    pub fn get(&self, key: &str) -> Option<&Json> {
        match self {
            Json::Object(members) => members.get(key),
            _ => None,
        }
    }

    /// The text, where this is one.
    #[must_use]
    pub fn as_text(&self) -> Option<&str> {
        match self {
            Json::Text(text) => Some(text),
            _ => None,
        }
    }

    /// The items, where this is a list.
    #[must_use]
    pub fn as_list(&self) -> Option<&[Json]> {
        match self {
            Json::List(items) => Some(items),
            _ => None,
        }
    }

    /// The whole number, where this is one that a double holds exactly.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, reason = "bounded to ±2^53 before")]
    pub fn as_whole(&self) -> Option<i64> {
        match self {
            Json::Number(n) if n.fract() == 0.0 && n.abs() <= 9_007_199_254_740_992.0 => {
                Some(*n as i64)
            }
            _ => None,
        }
    }

    /// The canonical text (RFC 8785).
    ///
    /// # Errors
    /// A number that is not finite has no JSON text.
    pub fn canonical(&self) -> Result<String, NotFinite> {
        let mut out = String::new();
        self.write_canonical(&mut out)?;
        Ok(out)
    }

    /// Adds the canonical text to a text.
    ///
    /// # Errors
    /// A number that is not finite has no JSON text; a part of it was added.
    pub fn write_canonical(&self, out: &mut String) -> Result<(), NotFinite> {
        self.write::<false>(out).map_err(|_| NotFinite)
    }

    /// Writes the canonical text without that member of this object.
    ///
    /// # Errors
    /// A number is not whole, or larger than every reader keeps exactly; or `out`
    /// took no more. A part of it was written.
    pub fn write_whole_without(&self, member: &str, out: &mut impl fmt::Write) -> fmt::Result {
        match self {
            Json::Object(members) => {
                let members = members.iter().filter(|(name, _)| *name != member);
                write_object::<true>(members, out)
            }
            _ => self.write::<true>(out),
        }
    }

    /// Where only whole numbers count, another one has no text.
    fn write<const WHOLE: bool>(&self, out: &mut impl fmt::Write) -> fmt::Result {
        match self {
            Json::Null => out.write_str("null"),
            Json::Bool(true) => out.write_str("true"),
            Json::Bool(false) => out.write_str("false"),
            Json::Number(n) if WHOLE && *n == 0.0 && n.is_sign_negative() => Err(fmt::Error),
            Json::Number(n) if n.fract() == 0.0 && n.abs() < 9_007_199_254_740_992.0 => {
                write_whole(*n, out)
            }
            Json::Number(n) if !WHOLE && n.is_finite() => {
                out.write_str(ryu_js::Buffer::new().format_finite(*n))
            }
            Json::Number(_) => Err(fmt::Error),
            Json::Text(text) => write_text(text, out),
            Json::List(items) => {
                out.write_char('[')?;
                for (at, item) in items.iter().enumerate() {
                    if 0 < at {
                        out.write_char(',')?;
                    }
                    item.write::<WHOLE>(out)?;
                }
                out.write_char(']')
            }
            Json::Object(members) => write_object::<WHOLE>(members.iter(), out),
        }
    }
}

fn write_object<'a, const WHOLE: bool>(
    members: impl Iterator<Item = (&'a str, &'a Json)> + Clone,
    out: &mut impl fmt::Write,
) -> fmt::Result {
    out.write_char('{')?;
    let mut write = |at: usize, key: &str, value: &Json| {
        if 0 < at {
            out.write_char(',')?;
        }
        write_text(key, out)?;
        out.write_char(':')?;
        value.write::<WHOLE>(out)
    };
    // RFC 8785 section 3.2.3: by UTF-16 code units, which differs from Rust's
    // order outside the basic plane.
    if members.clone().all(|(key, _)| key.is_ascii()) {
        for (at, (key, value)) in members.enumerate() {
            write(at, key, value)?;
        }
    } else {
        let mut members: Vec<_> = members.collect();
        members.sort_by(|(a, _), (b, _)| a.encode_utf16().cmp(b.encode_utf16()));
        for (at, (key, value)) in members.into_iter().enumerate() {
            write(at, key, value)?;
        }
    }
    out.write_char('}')
}

impl From<&str> for Json {
    fn from(text: &str) -> Self {
        Json::Text(text.into())
    }
}

impl From<String> for Json {
    fn from(text: String) -> Self {
        Json::Text(text.into())
    }
}

impl From<Vec<Json>> for Json {
    fn from(items: Vec<Json>) -> Self {
        Json::List(items.into())
    }
}

impl From<u32> for Json {
    fn from(n: u32) -> Self {
        Json::Number(n.into())
    }
}

/// A number without a JSON text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a number that is not finite has no JSON text")]
pub struct NotFinite;

/// A whole number that a double holds exactly; of the two zeros it is the one.
#[expect(clippy::cast_possible_truncation, reason = "bounded to ±2^53 before")]
fn write_whole(n: f64, out: &mut impl fmt::Write) -> fmt::Result {
    out.write_str(itoa::Buffer::new().format(n as i64))
}

fn write_text(text: &str, out: &mut impl fmt::Write) -> fmt::Result {
    out.write_char('"')?;
    let mut rest = text;
    // Long runs need no escape: they are copied whole.
    while let Some((plain, c, after)) = next_escaped(rest) {
        out.write_str(plain)?;
        match c {
            '"' => out.write_str("\\\"")?,
            '\\' => out.write_str("\\\\")?,
            '\u{8}' => out.write_str("\\b")?,
            '\t' => out.write_str("\\t")?,
            '\n' => out.write_str("\\n")?,
            '\u{c}' => out.write_str("\\f")?,
            '\r' => out.write_str("\\r")?,
            c => write!(out, "\\u{:04x}", u32::from(c))?,
        }
        rest = after;
    }
    out.write_str(rest)?;
    out.write_char('"')
}

/// What stands before the next character that is escaped, that one, and the rest.
fn next_escaped(text: &str) -> Option<(&str, char, &str)> {
    let escaped = |byte: &u8| *byte < b' ' || matches!(*byte, b'"' | b'\\');
    // Most texts have none: so many bytes at once are looked at without a branch.
    let none = |part: &&[u8]| !part.iter().fold(false, |any, byte| any | escaped(byte));
    let plain = text.as_bytes().chunks(PART).take_while(none).count() * PART;
    let at = plain + text.as_bytes().get(plain..)?.iter().position(escaped)?;
    let (plain, rest) = text.split_at_checked(at)?;
    let mut after = rest.chars();
    let c = after.next()?;
    Some((plain, c, after.as_str()))
}

/// Bytes that are looked at at once.
const PART: usize = 32;
