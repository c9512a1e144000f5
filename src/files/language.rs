//! A language file: every command's phrases, every sentence with its places,
//! words, units and roles. What the sentences are for is the caller's business:
//! it brings their keys and places.

use std::collections::BTreeMap;

use crate::domain::{Language, Meaning, Piece};

use super::near;
use super::node::{Any, Node, Text, as_node, as_texts, clip, read_root};
use super::problem::{Problems, Report, Source};
use super::steps::cut;

/// A sentence every language has: its key and the places it has to hold. A
/// place `why?` may be left out.
pub type Sentence = (&'static str, &'static [&'static str]);

/// A word that follows a number, as in `4 feet`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Noun {
    /// After one.
    pub one: String,
    /// After any other number.
    pub many: String,
    /// Whether numbers before it are feminine.
    pub feminine: bool,
}

/// All words of one language.
#[derive(Clone, Debug)]
pub struct LanguageFile {
    /// Which.
    pub language: Language,
    /// Its name, in English.
    pub name: String,
    /// The voice of the speaking program.
    pub voice: String,
    /// Whether there is a recogniser that hears it.
    pub heard: bool,
    /// What the keyboard's help says.
    pub help: String,
    /// Command and its phrases, the first being the one that is taught.
    pub phrases: Vec<(Meaning, Vec<String>)>,
    /// What may be typed for a command beside its phrases.
    pub keys: Vec<(Meaning, Vec<String>)>,
    /// Sentences by key.
    pub sentences: BTreeMap<&'static str, Vec<Piece>>,
    /// Single words by key.
    pub words: BTreeMap<&'static str, String>,
    /// Units by their sign, the longest sign first.
    pub units: Vec<(&'static str, Noun)>,
    /// In what a whole number is asked for, by its English words.
    pub asked_in: BTreeMap<&'static str, String>,
    /// Roles of people by their English word, as the sentences name them.
    pub roles: BTreeMap<String, String>,
}

/// Single words a language has.
const WORDS: [&str; 5] = ["yes", "no", "done", "or", "on-target"];

/// Units that are spoken after a number, by the sign that is shown. The last
/// three may be left to the speaking program.
const UNITS: [&str; 13] =
    ["in2/ft", "cm2/m", "in2", "ft2", "cm2", "m2", "degF", "degC", "mph", "km/h", "mm", "cm", "m"];
const UNITS_NEEDED: usize = 10;

/// In what whole numbers are asked for.
const ASKED_IN: [&str; 6] = [
    "in twelve",
    "square inches",
    "square feet",
    "degrees",
    "miles an hour",
    "square inches a foot",
];

/// Reads a language file of that name that has to hold these sentences.
///
/// # Errors
///
/// All that is wrong with the file: a sentence, phrase or word that is missing,
/// a key or a place nobody knows.
pub fn read_language(
    text: &str,
    file: &str,
    sentences: &[Sentence],
) -> Result<LanguageFile, Problems> {
    let source = Source::new(file, text);
    read_root(&source, "language", |root| read(root, sentences))
}

fn read(root: &Node<'_>, wanted: &[Sentence]) -> Option<LanguageFile> {
    let language = root.need("language").and_then(|code| read_code(&code, root.report()));
    let (name, voice, help) = (root.need("name"), root.need("voice"), root.need("help"));
    let heard = root.flag("heard");
    if root.any("heard").is_none() {
        root.missing("heard");
    }
    let phrases = read_commands(root, "phrases", true);
    let keys = read_commands(root, "keys", false);
    let sentences = table(root, "sentences", |node| {
        let read = |(key, places): &Sentence| {
            let text = node.need(key)?;
            Some((*key, read_sentence(&text, key, places, node.report())))
        };
        wanted.iter().filter_map(read).collect()
    });
    let plain = |node: &Node<'_>, keys: &[&'static str]| {
        keys.iter().filter_map(|key| Some((*key, node.need(key)?.value))).collect()
    };
    let words = table(root, "words", |node| plain(node, &WORDS));
    let asked_in = table(root, "asked-in", |node| plain(node, &ASKED_IN));
    let mut units: Vec<(&str, Noun)> = table(root, "units", |node| {
        UNITS.into_iter().enumerate().filter_map(|(at, sign)| unit(node, at, sign)).collect()
    });
    units.sort_by_key(|(sign, _)| std::cmp::Reverse(sign.len()));
    let roles = root.named("roles").into_iter().filter_map(|(key, value)| {
        let text = super::node::as_text(value, root.report())?;
        Some((key.value, text.value))
    });
    let roles = roles.collect();
    root.finish();
    Some(LanguageFile {
        language: language?,
        name: name?.value,
        voice: voice?.value,
        heard: heard?,
        help: help?.value,
        phrases,
        keys,
        sentences,
        words,
        units,
        asked_in,
        roles,
    })
}

/// The language of a code.
pub(super) fn read_code(code: &Text, report: &Report<'_>) -> Option<Language> {
    let language = Language::of(&code.value);
    if language.is_none() {
        let known: Vec<&str> = Language::ALL.into_iter().map(Language::code).collect();
        let message = format!("no language is called `{}`", clip(&code.value));
        let hint = format!("expected one of {}", known.join(", "));
        report.say_hint(code.letters(), message, Some(hint));
    }
    language
}

/// A table that has to be there, read whole.
fn table<T: Default>(root: &Node<'_>, key: &'static str, read: impl FnOnce(&Node<'_>) -> T) -> T {
    let Some(value) = root.any(key) else {
        root.missing(key);
        return T::default();
    };
    let Some(node) = as_node(value, value.span(), key, root.report()) else { return T::default() };
    let read = read(&node);
    node.finish();
    read
}

/// Phrases by command; where all are needed, none of them may be missing.
fn read_commands(root: &Node<'_>, key: &'static str, all: bool) -> Vec<(Meaning, Vec<String>)> {
    let report = root.report();
    let mut taken: Vec<String> = Vec::new();
    table(root, key, |node| {
        let mut commands = Vec::new();
        for command in Meaning::COMMANDS {
            let Some(value) = node.any(command.word()) else {
                if all {
                    node.missing(command.word());
                }
                continue;
            };
            let mut phrases = Vec::new();
            for text in as_texts(value, report) {
                let phrase = text.value.trim().to_lowercase();
                if phrase.is_empty() || phrase != text.value {
                    report.say(
                        text.letters(),
                        "a phrase is written in lower case, without spaces about it",
                    );
                } else if taken.contains(&phrase) {
                    report.say(text.letters(), format!("`{}` is taken already", clip(&phrase)));
                } else {
                    taken.push(phrase.clone());
                    phrases.push(phrase);
                }
            }
            if phrases.is_empty() {
                report.say(value.span(), format!("`{}` has no phrase", command.word()));
            }
            commands.push((command, phrases));
        }
        commands
    })
}

fn read_sentence(
    text: &Text,
    key: &str,
    places: &[&'static str],
    report: &Report<'_>,
) -> Vec<Piece> {
    let mut missing: Vec<&str> = places.iter().copied().filter(|p| !p.ends_with('?')).collect();
    let pieces = cut(text, report, |name| {
        missing.retain(|place| *place != name);
        let own = || places.iter().map(|place| place.trim_end_matches('?'));
        let commands = || Meaning::COMMANDS.iter().map(Meaning::word);
        if own().chain(commands()).any(|known| known == name) {
            return Ok(());
        }
        let hint = near::did_you_mean(name, own().chain(commands()));
        let known = || own().map(|place| format!("{{{place}}}")).collect::<Vec<_>>().join(" ");
        let hint = hint.unwrap_or_else(|| format!("places of `{key}`: {}", known()));
        Err((format!("`{key}` has no place `{}`", clip(name)), Some(hint)))
    });
    for place in missing {
        report.say(text.letters(), format!("`{key}` does not say {{{place}}}; put it in"));
    }
    pieces
}

/// A unit: `"square feet"`, or `{ one = …, many = …, feminine = true }`.
fn unit(node: &Node<'_>, at: usize, sign: &'static str) -> Option<(&'static str, Noun)> {
    let Some(value) = node.any(sign) else {
        if at < UNITS_NEEDED {
            node.missing(sign);
        }
        return None;
    };
    Some((sign, noun(node, sign, value)?))
}

fn noun(node: &Node<'_>, sign: &'static str, value: Any<'_>) -> Option<Noun> {
    if value.get_ref().as_table().is_none() {
        let word = node.need(sign)?.value;
        return Some(Noun { one: word.clone(), many: word, feminine: false });
    }
    let node = as_node(value, value.span(), "unit", node.report())?;
    let (one, many) = (node.need("one"), node.need("many"));
    let feminine = node.flag("feminine").unwrap_or(false);
    node.finish();
    Some(Noun { one: one?.value, many: many?.value, feminine })
}
