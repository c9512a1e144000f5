//! A translation file: a checklist's sentences in another language, by the
//! checklist's own identifiers. It says no more and no less than the original:
//! the same places, as many choices, nothing left out. The original keeps its
//! hash, and its choices stay what the log writes.

use std::collections::{BTreeMap, BTreeSet};

use crate::domain::{Answer, Checklist, Fact, FactKind, Language, Piece, Version};

use super::fact::need_version;
use super::language::read_code;
use super::near;
use super::node::{Any, Node, Text, as_node, as_text, as_texts, clip, read_root};
use super::problem::{Problems, Report, Source};
use super::steps::cut;

/// What a translation file is of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TranslationOf {
    /// The checklist.
    pub checklist: String,
    /// Its version.
    pub version: Version,
    /// Into which language.
    pub language: Language,
}

/// Reads of what a file is a translation, and nothing else of it.
///
/// # Errors
///
/// What is wrong with the head of the file.
pub fn translation_of(text: &str, file: &str) -> Result<TranslationOf, Problems> {
    let source = Source::new(file, text);
    read_root(&source, "translation", |root| Some(read_head(root)?.0))
}

/// Reads a translation file of that name: the checklist with its sentences and
/// titles in the other language, and the words for its choices.
///
/// # Errors
///
/// All that is wrong with the file, and where it says other than the original.
pub fn read_translation(
    text: &str,
    file: &str,
    original: &Checklist,
) -> Result<Checklist, Problems> {
    let source = Source::new(file, text);
    read_root(&source, "translation", |root| read(root, original))
}

fn read_head(root: &Node<'_>) -> Option<(TranslationOf, Text, Text)> {
    let checklist = root.need("checklist");
    let version_at = root.text("version");
    let version = need_version(root);
    let language = root.need("language").and_then(|code| {
        let language = read_code(&code, root.report())?;
        if language == Language::English {
            root.report().say(code.letters(), "checklists are written in English already");
            return None;
        }
        Some(language)
    });
    let (checklist, version_at) = (checklist?, version_at?);
    let of = TranslationOf {
        checklist: checklist.value.clone(),
        version: version?,
        language: language?,
    };
    Some((of, checklist, version_at))
}

fn read(root: &Node<'_>, original: &Checklist) -> Option<Checklist> {
    let report = root.report();
    let (of, id_at, version_at) = read_head(root)?;
    if of.checklist != original.id {
        let message = format!("this is not of `{}`", original.id);
        report.say(id_at.letters(), message);
        return None;
    }
    if of.version != original.version {
        let message = format!("`{}` is {}, not {}", original.id, original.version, of.version);
        let hint = "translate what changed, then raise the version here too".to_owned();
        report.say_hint(version_at.letters(), message, Some(hint));
        return None;
    }
    let mut into = original.clone();
    into.language = of.language;
    if let Some(title) = root.need("title") {
        into.title = title.value;
    }
    let mut words = Words::default();
    let ids = |ids: Vec<&String>| ids.into_iter().cloned().collect::<Vec<String>>();

    let known = ids(original.cautions.iter().map(|caution| &caution.id).collect());
    by_id(root, "cautions", "caution", &known, |at, node| {
        if let (Some(say), Some(caution)) = (node.need("say"), into.cautions.get_mut(at)) {
            caution.say = say.value;
        }
    });
    let plain = |fact: &&Fact| !fact.name.contains('.');
    let known = ids(original.facts.iter().filter(plain).map(|fact| &fact.name).collect());
    by_id(root, "facts", "fact", &known, |at, node| {
        let Some(name) = known.get(at) else { return };
        let fact = into.facts.iter_mut().find(|fact| fact.name == *name);
        read_fact(node, fact, &mut words);
    });
    let known = ids(original.tables.iter().map(|table| &table.name).collect());
    by_id(root, "each", "table", &known, |at, node| {
        let Some(table) = into.tables.get_mut(at) else { return };
        if let Some(title) = node.need("title") {
            table.title = title.value;
        }
        let prefix = format!("{}.", table.name);
        let columns = original.facts.iter().filter_map(|f| f.name.strip_prefix(&prefix));
        let columns: Vec<String> = columns.map(str::to_owned).collect();
        by_id(node, "facts", "fact", &columns, |at, node| {
            let name = columns.get(at).map(|column| format!("{prefix}{column}"));
            let fact = into.facts.iter_mut().find(|fact| Some(&fact.name) == name.as_ref());
            read_fact(node, fact, &mut words);
        });
    });
    let known = ids(original.warnings.iter().map(|warning| &warning.id).collect());
    by_id(root, "warnings", "warning", &known, |at, node| {
        if let (Some(say), Some(warning)) = (node.need("say"), into.warnings.get_mut(at)) {
            warning.say = read_say(&say, &warning.say, report);
        }
    });
    let known = ids(original.steps.iter().map(|step| &step.id).collect());
    by_id(root, "steps", "step", &known, |at, node| {
        let Some(step) = into.steps.get_mut(at) else { return };
        if let Some(title) = node.need("title") {
            step.title = title.value;
        }
        if let Some(say) = node.need("say") {
            step.say = read_say(&say, &step.say, report);
        }
        if !step.why.is_empty()
            && let Some(why) = node.need("why")
        {
            step.why = why.value;
        }
        if let Answer::Choice { options, .. } = &step.answer {
            words.read(node, "choice", options);
        }
    });
    // Dates may be left out: they are read, and never said on a walk.
    if root.any("follow_ups").is_some() {
        let known = ids(original.follow_ups.iter().map(|follow_up| &follow_up.id).collect());
        by_id(root, "follow_ups", "follow-up", &known, |at, node| {
            if let (Some(title), Some(date)) = (node.need("title"), into.follow_ups.get_mut(at)) {
                date.title = title.value;
            }
        });
    }
    // Texts that formulas and functions of the trade give.
    for (key, value) in root.named("values") {
        if let Some(said) = as_text(value, report) {
            words.learn(&key.value, &said, report);
        }
    }
    root.finish();
    into.words = words.0;
    Some(into)
}

fn read_fact(node: &Node<'_>, fact: Option<&mut Fact>, words: &mut Words) {
    let Some(fact) = fact else { return };
    if let Some(ask) = node.need("ask") {
        fact.ask = ask.value;
    }
    if let FactKind::Choice(options) = &fact.kind {
        words.read(node, "options", options);
    }
}

/// The words for choices, by their words in the original.
#[derive(Default)]
struct Words(BTreeMap<String, String>);

impl Words {
    fn read(&mut self, node: &Node<'_>, key: &'static str, options: &[String]) {
        let report = node.report();
        let Some(value) = node.any(key) else { return node.missing(key) };
        let said = as_texts(value, report);
        if said.len() != options.len() {
            let message =
                format!("the original has {} choices, this has {}", options.len(), said.len());
            let hint = format!("in this order: {}", options.join(", "));
            return report.say_hint(value.span(), message, Some(hint));
        }
        let mut taken = BTreeSet::new();
        for (option, said) in options.iter().zip(&said) {
            if !taken.insert(said.value.trim().to_lowercase()) {
                report.say(said.letters(), format!("`{}` is a choice already", clip(&said.value)));
            }
            self.learn(option, said, report);
        }
    }

    fn learn(&mut self, option: &str, said: &Text, report: &Report<'_>) {
        let words = said.value.trim();
        if words.is_empty() {
            report.say(said.at.clone(), "a choice is empty");
            return;
        }
        match self.0.get(option) {
            Some(known) if known != words => {
                let message = format!("`{option}` is called `{}` before", clip(known));
                let hint = "one choice has one word in a checklist".to_owned();
                report.say_hint(said.letters(), message, Some(hint));
            }
            _ => {
                self.0.insert(option.to_owned(), words.to_owned());
            }
        }
    }
}

/// A table of things by the original's identifiers: each of them, no other.
fn by_id(
    root: &Node<'_>,
    key: &'static str,
    what: &'static str,
    known: &[String],
    mut read: impl FnMut(usize, &Node<'_>),
) {
    let report = root.report();
    let Some(value) = root.any(key) else {
        if !known.is_empty() {
            root.missing(key);
        }
        return;
    };
    let Some(table) = as_node(value, value.span(), key, report) else { return };
    let mut seen = BTreeSet::new();
    for (id, value) in table.entries() {
        let Some(at) = known.iter().position(|known| *known == id.value) else {
            let message = format!("the original has no {what} `{}`", clip(&id.value));
            let hint = near::did_you_mean(&id.value, known.iter().map(String::as_str));
            report.say_hint(id.letters(), message, hint);
            continue;
        };
        seen.insert(at);
        let value: Any<'_> = value;
        let Some(node) = as_node(value, id.at.clone(), what, report) else { continue };
        read(at, &node);
        node.finish();
    }
    for (at, id) in known.iter().enumerate() {
        if !seen.contains(&at) {
            report.say(value.span(), format!("{what} `{id}` is not translated; add it"));
        }
    }
}

/// A sentence with the places of the original, all of them and no other.
fn read_say(text: &Text, original: &[Piece], report: &Report<'_>) -> Vec<Piece> {
    let names: BTreeSet<&str> = original
        .iter()
        .filter_map(|piece| match piece {
            Piece::Name(name) => Some(name.as_str()),
            Piece::Words(_) => None,
        })
        .collect();
    let mut missing = names.clone();
    let pieces = cut(text, report, |name| {
        missing.remove(name);
        if names.contains(name) {
            return Ok(());
        }
        let hint = near::did_you_mean(name, names.iter().copied());
        Err((format!("the original does not say {{{}}} here", clip(name)), hint))
    });
    for name in missing {
        report.say(text.letters(), format!("the original says {{{name}}} here; put it in"));
    }
    pieces
}
