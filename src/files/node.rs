//! A TOML table as it is read: typed values with their place, and a complaint
//! about each key nobody asked for. Knows nothing of what the keys mean.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::near;
use super::problem::{Problems, Report, Source};

/// Largest file read, in bytes.
pub const MOST_BYTES: usize = 1 << 20;

/// A string of the file and where its letters are.
#[derive(Clone, Debug)]
pub(super) struct Text {
    pub(super) value: String,
    /// The string with its quotes.
    pub(super) at: Range<usize>,
    /// Where the first letter stands, if the letters stand as they are; none
    /// where the string is written with escapes.
    inside: Option<usize>,
}

impl Text {
    pub(super) fn new(whole: &str, value: &str, at: Range<usize>) -> Self {
        let raw = whole.get(at.clone()).unwrap_or("");
        let quote = ["\"\"\"", "'''", "\"", "'"].into_iter().find(|quote| raw.starts_with(quote));
        let inside = quote.and_then(|quote| {
            let mut from = quote.len();
            if quote.len() == 3 {
                // The line break right after the quotes is not part of the value.
                let after = raw.get(from..)?;
                from += ["\r\n", "\n"]
                    .iter()
                    .find(|nl| after.starts_with(**nl))
                    .map_or(0, |nl| nl.len());
            }
            raw.get(from..)?.starts_with(value).then_some(at.start + from)
        });
        Self { value: value.to_owned(), at, inside }
    }

    /// Another text that is spoken of at the same place.
    pub(super) fn renamed(&self, value: String) -> Self {
        Self { value, at: self.at.clone(), inside: None }
    }

    /// Where these bytes of the value stand in the file.
    pub(super) fn part(&self, bytes: Range<usize>) -> Range<usize> {
        match self.inside {
            Some(start) => {
                let end = start + bytes.end.min(self.value.len());
                (start + bytes.start).min(end)..end
            }
            None => self.at.start..self.at.start + 1,
        }
    }

    /// Where the letters stand, without the quotes.
    pub(super) fn letters(&self) -> Range<usize> {
        match self.inside {
            Some(_) if !self.value.is_empty() => self.part(0..self.value.len()),
            _ => self.at.clone(),
        }
    }
}

/// Any value with its place.
pub(super) type Any<'d> = &'d Spanned<DeValue<'d>>;

/// One table of the file.
pub(super) struct Node<'d> {
    table: &'d DeTable<'d>,
    /// Where to say that something is missing.
    pub(super) at: Range<usize>,
    /// What it is: "step", "fact".
    what: &'static str,
    report: &'d Report<'d>,
    asked: RefCell<Vec<&'static str>>,
}

/// Parses a file and hands its root table to `read`; syntax errors alone are
/// reported where there are any, since what follows them is guesswork.
pub(super) fn read_root<T>(
    source: &Source,
    what: &'static str,
    read: impl FnOnce(&Node<'_>) -> Option<T>,
) -> Result<T, Problems> {
    if MOST_BYTES < source.text.len() {
        let message = format!("the file is larger than {MOST_BYTES} bytes; split it");
        return Err(Problems::one(source.problem(0..0, message)));
    }
    let report = Report::new(source);
    let (root, errors) = DeTable::parse_recoverable(&source.text);
    for error in &errors {
        let at = error.span().unwrap_or(0..0);
        report.say(at, error.message().trim().to_lowercase());
    }
    if !report.is_clean() {
        return report.outcome(None);
    }
    let node = Node::new(root.get_ref(), 0..0, what, &report);
    let value = read(&node);
    report.outcome(value)
}

impl<'d> Node<'d> {
    pub(super) fn new(
        table: &'d DeTable<'d>,
        at: Range<usize>,
        what: &'static str,
        report: &'d Report<'d>,
    ) -> Self {
        Self { table, at, what, report, asked: RefCell::new(Vec::new()) }
    }

    pub(super) fn report(&self) -> &'d Report<'d> {
        self.report
    }

    pub(super) fn any(&self, key: &'static str) -> Option<Any<'d>> {
        let mut asked = self.asked.borrow_mut();
        if !asked.contains(&key) {
            asked.push(key);
        }
        self.table.get(key)
    }

    /// Keys with their places and values, in the order of the file.
    pub(super) fn entries(&self) -> Vec<(Text, Any<'d>)> {
        let mut entries: Vec<_> = self
            .table
            .iter()
            .map(|(key, value)| (Text::new(self.report.text(), key.get_ref(), key.span()), value))
            .collect();
        entries.sort_by_key(|(key, value)| (key.at.start, value.span().start));
        entries
    }

    /// Complains about keys that were not asked for.
    pub(super) fn finish(&self) {
        let asked = self.asked.borrow();
        for (key, _) in self.entries() {
            if !asked.contains(&key.value.as_str()) {
                let hint = near::did_you_mean(&key.value, asked.iter().copied());
                let hint = hint.unwrap_or_else(|| format!("known here: {}", asked.join(", ")));
                let message = format!("{} has no `{}`", with_article(self.what), clip(&key.value));
                self.report.say_hint(key.at, message, Some(hint));
            }
        }
    }

    /// Says that a key is missing.
    pub(super) fn missing(&self, key: &str) {
        self.report.say(self.at.clone(), format!("this {} has no `{key}`; add it", self.what));
    }

    pub(super) fn text(&self, key: &'static str) -> Option<Text> {
        as_text(self.any(key)?, self.report)
    }

    /// A text that has to be there and to say something.
    pub(super) fn need(&self, key: &'static str) -> Option<Text> {
        if self.any(key).is_none() {
            self.missing(key);
            return None;
        }
        let text = self.text(key)?;
        if text.value.trim().is_empty() {
            self.report.say(text.at, format!("`{key}` is empty"));
            return None;
        }
        Some(text)
    }

    pub(super) fn flag(&self, key: &'static str) -> Option<bool> {
        let value = self.any(key)?;
        let flag = value.get_ref().as_bool();
        if flag.is_none() {
            self.report.say(value.span(), format!("`{key}` is true or false"));
        }
        flag
    }

    /// A whole number from 0 to `most`.
    pub(super) fn whole(&self, key: &'static str, most: u32) -> Option<u32> {
        let value = self.any(key)?;
        let number = whole(value).and_then(|n| u32::try_from(n).ok()).filter(|n| *n <= most);
        if number.is_none() {
            self.report.say(value.span(), format!("`{key}` is a whole number from 0 to {most}"));
        }
        number
    }

    /// A list of texts; empty where the key is not there.
    pub(super) fn texts(&self, key: &'static str) -> Vec<Text> {
        self.any(key).map_or_else(Vec::new, |value| as_texts(value, self.report))
    }

    /// A table of tables that the user names: `[facts.pitch]`.
    pub(super) fn named(&self, key: &'static str) -> Vec<(Text, Any<'d>)> {
        let Some(value) = self.any(key) else { return Vec::new() };
        as_node(value, value.span(), key, self.report).map_or_else(Vec::new, |node| node.entries())
    }

    /// An array of tables: `[[step]]`.
    pub(super) fn each(&self, key: &'static str, what: &'static str) -> Vec<Node<'d>> {
        let Some(value) = self.any(key) else { return Vec::new() };
        let Some(rows) = value.get_ref().as_array() else {
            self.report.say(value.span(), format!("write each {what} under its own `[[{key}]]`"));
            return Vec::new();
        };
        rows.iter().filter_map(|row| as_node(row, row.span(), what, self.report)).collect()
    }
}

/// The value as a table.
pub(super) fn as_node<'d>(
    value: Any<'d>,
    at: Range<usize>,
    what: &'static str,
    report: &'d Report<'d>,
) -> Option<Node<'d>> {
    let Some(table) = value.get_ref().as_table() else {
        report.say(
            value.span(),
            format!("expected the table of {}, not {}", with_article(what), kind(value)),
        );
        return None;
    };
    Some(Node::new(table, at, what, report))
}

/// The value as a string.
pub(super) fn as_text(value: Any<'_>, report: &Report<'_>) -> Option<Text> {
    let text = value.get_ref().as_str();
    if text.is_none() {
        let message = format!("expected text in quotes, not {}", kind(value));
        report.say(value.span(), message);
    }
    text.map(|text| Text::new(report.text(), text, value.span()))
}

/// The value as a list of strings.
pub(super) fn as_texts(value: Any<'_>, report: &Report<'_>) -> Vec<Text> {
    match value.get_ref().as_array() {
        Some(list) => list.iter().filter_map(|item| as_text(item, report)).collect(),
        None => {
            report.say(value.span(), format!("expected a list of texts, not {}", kind(value)));
            Vec::new()
        }
    }
}

/// The value as a whole number.
pub(super) fn whole(value: Any<'_>) -> Option<i64> {
    let number = value.get_ref().as_integer()?;
    i64::from_str_radix(number.as_str(), number.radix()).ok()
}

/// What the value is, in words.
pub(super) fn kind(value: Any<'_>) -> &'static str {
    match value.get_ref() {
        DeValue::String(_) => "text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a decimal number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// The word with its article: "an area", "a length".
pub(super) fn with_article(word: &str) -> String {
    let vowel = word.starts_with(['a', 'e', 'i', 'o', 'u']);
    format!("{} {word}", if vowel { "an" } else { "a" })
}

/// A word of the user short enough for a message.
pub(super) fn clip(word: &str) -> String {
    let mut letters = word.chars();
    let start: String = letters.by_ref().take(60).collect();
    if letters.next().is_some() { format!("{start}…") } else { start }
}
