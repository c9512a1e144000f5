//! Facts and profile figures: kind, question, believable range; and the forms
//! that identifiers and names take.

use std::cmp::Ordering;

use crate::domain::{Fact, FactKind, Version};
use crate::measure::{Dimension, Formula, ParseError, Quantity, Value, parse_quantity};

use super::near;
use super::node::{Any, Node, Text, as_text, as_texts, clip, kind, whole, with_article};
use super::problem::Report;

const KINDS: [&str; 11] = [
    "length",
    "area",
    "pitch",
    "count",
    "number",
    "temperature",
    "speed",
    "free-area-per-length",
    "choice",
    "yes-no",
    "text",
];
/// Longest identifier or name, in bytes.
const LONGEST_NAME: usize = 60;

/// Whether a text is an identifier: `deck-intake`.
pub(super) fn is_id(text: &str) -> bool {
    is_word(text, b'-')
}

fn is_word(text: &str, joint: u8) -> bool {
    text.len() <= LONGEST_NAME
        && text.bytes().next().is_some_and(|b| b.is_ascii_lowercase())
        && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == joint)
}

/// Complains unless the text is an identifier.
pub(super) fn check_id(text: &Text, report: &Report<'_>) -> bool {
    let good = is_id(&text.value);
    if !good {
        let message = format!(
            "`{}` is not an identifier; write lower-case letters, digits and hyphens",
            clip(&text.value)
        );
        report.say(text.letters(), message);
    }
    good
}

/// Complains unless formulas can use the text as a name.
pub(super) fn check_name(text: &Text, report: &Report<'_>) -> bool {
    let name = text.value.as_str();
    let message = if !is_word(name, b'_') {
        format!("`{}` is not a name; write lower-case letters, digits and underscores", clip(name))
    } else if Formula::parse(name).is_ok_and(|formula| formula.names().any(|(n, _)| n == name)) {
        return true;
    } else {
        format!("`{name}` is a word of the formula language; take another name")
    };
    report.say(text.letters(), message);
    false
}

/// Reads an identifier that has to be there.
pub(super) fn need_id(node: &Node<'_>) -> Option<Text> {
    node.need("id").filter(|id| check_id(id, node.report()))
}

/// Reads a version that has to be there.
pub(super) fn need_version(node: &Node<'_>) -> Option<Version> {
    let text = node.need("version")?;
    match text.value.parse() {
        Ok(version) => Some(version),
        Err(message) => {
            node.report().say(text.letters(), message);
            None
        }
    }
}

/// Reads `kind` and, for a choice, `options`.
pub(super) fn read_kind(node: &Node<'_>) -> Option<FactKind> {
    let options = node.any("options");
    let word = node.need("kind")?;
    let kind = match word.value.as_str() {
        "length" => FactKind::Length,
        "area" => FactKind::Area,
        "pitch" => FactKind::Pitch,
        "count" => FactKind::Count,
        "number" => FactKind::Number,
        "temperature" => FactKind::Temperature,
        "speed" => FactKind::Speed,
        "free-area-per-length" => FactKind::FreeAreaPerLength,
        "choice" => {
            let Some(options) = options else {
                node.missing("options");
                return None;
            };
            return read_options(options, node.report()).map(FactKind::Choice);
        }
        "yes-no" => FactKind::YesNo,
        "text" => FactKind::Text,
        other => {
            let hint = near::did_you_mean(other, KINDS);
            let hint = hint.unwrap_or_else(|| format!("expected one of {}", KINDS.join(", ")));
            let message = format!("no kind of fact is called `{}`", clip(other));
            node.report().say_hint(word.letters(), message, Some(hint));
            return None;
        }
    };
    if let Some(options) = options {
        let message = format!("options belong to a choice, not to {}", with_article(kind.word()));
        node.report().say(options.span(), message);
    }
    Some(kind)
}

/// Words to choose among: some, none twice, none empty.
pub(super) fn read_options(list: Any<'_>, report: &Report<'_>) -> Option<Vec<String>> {
    let texts = as_texts(list, report);
    let mut options: Vec<String> = Vec::new();
    let mut good = list.get_ref().as_array().is_some_and(|list| list.len() == texts.len());
    for text in texts {
        let option = text.value.trim().to_owned();
        if option.is_empty() {
            report.say(text.at, "an option is empty");
            good = false;
        } else if options.iter().any(|known| known.eq_ignore_ascii_case(&option)) {
            report.say(text.letters(), format!("`{}` is an option already", clip(&option)));
            good = false;
        } else {
            options.push(option);
        }
    }
    if options.len() < 2 && good {
        report.say(list.span(), "a choice needs at least two options");
        return None;
    }
    good.then_some(options)
}

/// Reads a fact or figure of this name, and its default as written.
pub(super) fn read_fact(node: &Node<'_>, name: String) -> Option<(Fact, Option<Text>)> {
    let kind = read_kind(node);
    let ask = node.need("ask");
    let (from_at, to_at) = (node.any("from"), node.any("to"));
    let default = node.text("default");
    node.finish();
    let kind = kind?;
    let limit = |value: Option<Any<'_>>| value.and_then(|v| read_limit(v, &kind, node.report()));
    let (from, to) = (limit(from_at), limit(to_at));
    if let (Some(from), Some(to), Some(at)) = (&from, &to, to_at)
        && from.compare(to) == Ok(Ordering::Greater)
    {
        node.report().say(at.span(), "`to` is less than `from`");
    }
    Some((Fact { name, ask: ask?.value, from, to, kind, default: None }, default))
}

fn read_limit(value: Any<'_>, kind: &FactKind, report: &Report<'_>) -> Option<Quantity> {
    let Some(dimension) = kind.dimension() else {
        report.say(value.span(), format!("{} has no range", with_article(kind.word())));
        return None;
    };
    if let (Some(number), FactKind::Count | FactKind::Number) = (whole(value), kind) {
        return Some(Quantity::count(number));
    }
    let text = as_text(value, report)?;
    match parse_quantity(&text.value, dimension) {
        Ok(quantity) => Some(quantity),
        Err(error) => {
            say_misread(error, &text, dimension, report);
            None
        }
    }
}

/// Says why a quantity could not be read, and what was expected.
pub(super) fn say_misread(
    error: ParseError,
    text: &Text,
    expected: Dimension,
    report: &Report<'_>,
) {
    let said = error.message.contains("expected");
    let hint = (!said).then(|| format!("expected {}", expected.name()));
    report.say_hint(text.part(error.at), error.message, hint);
}

/// A value as files write it: text, true or false, or a whole number.
#[derive(Clone, Debug)]
pub(super) enum Raw {
    Text(Text),
    YesNo(bool),
    Whole(i64),
}

/// Reads a value before its kind is known.
pub(super) fn read_raw(value: Any<'_>, report: &Report<'_>) -> Option<Raw> {
    let raw = match value.get_ref() {
        toml::de::DeValue::String(_) => as_text(value, report).map(Raw::Text),
        toml::de::DeValue::Boolean(flag) => Some(Raw::YesNo(*flag)),
        _ => whole(value).map(Raw::Whole),
    };
    if raw.is_none() {
        let message = format!(
            "a value is text in quotes, true or false, or a whole number, not {}",
            kind(value)
        );
        report.say(value.span(), message);
    }
    raw
}

/// The value of a fact of that kind.
pub(super) fn value_of(raw: &Raw, kind: &FactKind) -> Result<Value, String> {
    let value = match raw {
        // Whoever types an answer is asked in a unit; a file has to say it.
        Raw::Text(text) if lacks_unit(&text.value, kind) => {
            return Err(match kind {
                FactKind::Pitch => "write a pitch as rise over run, such as \"6/12\"".to_owned(),
                _ => format!("{} needs a unit", with_article(kind.word())),
            });
        }
        Raw::Text(text) => return crate::domain::parse_answer(&text.value, kind),
        Raw::YesNo(flag) => Value::YesNo(*flag),
        Raw::Whole(number) => Value::Quantity(Quantity::count(*number)),
    };
    if kind.admits(&value) {
        return Ok(value);
    }
    Err(match (raw, kind) {
        (Raw::Whole(_), FactKind::Count) => "a count is never negative".to_owned(),
        (Raw::Whole(_), FactKind::Pitch) => {
            "write a pitch as rise over run, in quotes: \"6/12\"".to_owned()
        }
        (Raw::Whole(_), _) if kind.dimension().is_some() => {
            format!("{} needs a unit; write it as text in quotes", with_article(kind.word()))
        }
        _ => format!("expected {}; write it as text in quotes", with_article(kind.word())),
    })
}

/// Whether a quantity is written as a number alone.
fn lacks_unit(text: &str, kind: &FactKind) -> bool {
    let plain = kind.dimension().is_none_or(|dimension| dimension == Dimension::NUMBER);
    !plain && text.trim().bytes().all(|b| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b' '))
}
