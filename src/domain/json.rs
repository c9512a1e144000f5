//! JSON as a tree and its canonical text after RFC 8785. Reading JSON is the
//! business of the borders.

use std::fmt::Write as _;

use super::Members;

/// A JSON value. Object keys are kept by Rust's order; the canonical text
/// sorts them as RFC 8785 wants.
#[derive(Clone, Debug, PartialEq)]
pub enum Json {
    /// `null`
    Null,
    /// `true` or `false`
    Bool(bool),
    /// A finite IEEE 754 double. Entries only hold whole numbers.
    Number(f64),
    /// Text
    Text(String),
    /// A list
    List(Vec<Json>),
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
    pub fn text(value: impl ToString) -> Json {
        Json::Text(value.to_string())
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
        self.write::<false>(out)
    }

    /// The canonical text without that member of this object. None where a number
    /// is not whole, or larger than every reader keeps exactly.
    #[must_use]
    pub fn whole_without(&self, member: &str) -> Option<String> {
        let mut out = String::new();
        match self {
            Json::Object(members) => {
                let members = members.iter().filter(|(name, _)| *name != member);
                write_object::<true>(members, &mut out).ok()?;
            }
            _ => self.write::<true>(&mut out).ok()?,
        }
        Some(out)
    }

    /// Where only whole numbers count, another one has no text.
    fn write<const WHOLE: bool>(&self, out: &mut String) -> Result<(), NotFinite> {
        match self {
            Json::Null => out.push_str("null"),
            Json::Bool(true) => out.push_str("true"),
            Json::Bool(false) => out.push_str("false"),
            Json::Number(n) if WHOLE && *n == 0.0 && n.is_sign_negative() => return Err(NotFinite),
            Json::Number(n) if n.fract() == 0.0 && n.abs() < 9_007_199_254_740_992.0 => {
                write_whole(*n, out);
            }
            Json::Number(n) if !WHOLE && n.is_finite() => {
                out.push_str(ryu_js::Buffer::new().format_finite(*n));
            }
            Json::Number(_) => return Err(NotFinite),
            Json::Text(text) => write_text(text, out),
            Json::List(items) => {
                out.push('[');
                for (at, item) in items.iter().enumerate() {
                    if 0 < at {
                        out.push(',');
                    }
                    item.write::<WHOLE>(out)?;
                }
                out.push(']');
            }
            Json::Object(members) => write_object::<WHOLE>(members.iter(), out)?,
        }
        Ok(())
    }
}

fn write_object<'a, const WHOLE: bool>(
    members: impl Iterator<Item = (&'a str, &'a Json)> + Clone,
    out: &mut String,
) -> Result<(), NotFinite> {
    out.push('{');
    let mut write = |at: usize, key: &str, value: &Json| {
        if 0 < at {
            out.push(',');
        }
        write_text(key, out);
        out.push(':');
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
    out.push('}');
    Ok(())
}

impl From<&str> for Json {
    fn from(text: &str) -> Self {
        Json::Text(text.to_owned())
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
fn write_whole(n: f64, out: &mut String) {
    // Writing to a String does not fail.
    let _ = write!(out, "{}", n as i64);
}

fn write_text(text: &str, out: &mut String) {
    out.push('"');
    let mut rest = text;
    // Long runs need no escape: they are copied whole.
    while let Some((plain, c, after)) = next_escaped(rest) {
        out.push_str(plain);
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\u{8}' => out.push_str("\\b"),
            '\t' => out.push_str("\\t"),
            '\n' => out.push_str("\\n"),
            '\u{c}' => out.push_str("\\f"),
            '\r' => out.push_str("\\r"),
            c => {
                // Writing to a String does not fail.
                let _ = write!(out, "\\u{:04x}", u32::from(c));
            }
        }
        rest = after;
    }
    out.push_str(rest);
    out.push('"');
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
