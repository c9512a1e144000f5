//! The same clips heard in two other ways: by PocketSphinx 5 along the same
//! phrases, and by the bare model, its free words taken for the nearest phrase.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::Context;
use serde_json::json;

use super::count::{Outcome, outcome};
use super::listen::HeardClip;
use super::said::{Said, fraction, value};
use super::setup::Builder;
use crate::speech::{Grammar, parse_length, phrases_for, words_for};

/// How alike free words and a phrase have to be.
const ALIKE: f32 = 0.85;

/// Right and wrong of so many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Score {
    pub(super) all: u64,
    pub(super) right: u64,
    pub(super) wrong: u64,
}

impl Score {
    fn add(&mut self, outcome: Outcome) {
        self.all += 1;
        self.right += u64::from(outcome == Outcome::Right);
        self.wrong += u64::from(outcome == Outcome::Wrong);
    }
}

/// This program, PocketSphinx and free words on the same clips.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Three {
    pub(super) ours: Score,
    pub(super) sphinx: Score,
    pub(super) free: Score,
}

/// One in 4 of the first tries heard under everything, as PocketSphinx is slow.
fn is_compared(heard: &HeardClip) -> bool {
    let clip = &heard.clip;
    let part = u8::from_str_radix(clip.pair.get(..2).unwrap_or_default(), 16).unwrap_or(0);
    clip.grammar == "everything" && clip.take == 1 && !clip.truth.is_empty() && part % 4 == 0
}

/// By kind and condition.
pub(super) fn compare(
    heard: &[HeardClip],
    said: &Said,
    builder: &Builder,
    folder: &Path,
) -> anyhow::Result<BTreeMap<(String, String), Three>> {
    let compared: Vec<&HeardClip> = heard.iter().filter(|one| is_compared(one)).collect();
    let files: Vec<&str> = compared.iter().map(|one| one.clip.file.as_str()).collect();
    let (ask, answer) = (folder.join("others.json"), folder.join("others.jsonl"));
    let meant = commands();
    let given = json!({
        "files": files,
        "commands": meant.keys().collect::<Vec<_>>(),
        "wholes": (1..=60).map(words_for).collect::<Vec<_>>(),
        "fractions": fractions(),
    });
    std::fs::write(&ask, given.to_string())?;
    builder.run("others.py", &[&ask, &answer])?;
    let mut sphinx = BTreeMap::new();
    for line in std::fs::read_to_string(&answer)?.lines() {
        let line: serde_json::Value = serde_json::from_str(line)?;
        let word = |key: &str| line.get(key).and_then(|v| v.as_str()).map(str::to_owned);
        sphinx.insert(word("file").context("no file")?, word("heard").unwrap_or_default());
    }
    let everything = said.grammars.get("everything").context("no grammar of everything")?;
    let phrases = phrases(everything);
    let mut threes: BTreeMap<(String, String), Three> = BTreeMap::new();
    for one in compared {
        let clip = &one.clip;
        let three = threes.entry((clip.kind.clone(), clip.condition.clone())).or_default();
        three.ours.add(outcome(one));
        let words = sphinx.get(&clip.file).map_or("", String::as_str);
        let heard = meant.get(words).cloned().or_else(|| parse_length(words).map(fraction));
        three.sphinx.add(judged(heard.as_deref(), &clip.truth));
        let free: Vec<&str> = one.segments.iter().map(|part| part.free.as_str()).collect();
        three.free.add(judged(nearest(&free.join(" "), &phrases), &clip.truth));
    }
    Ok(threes)
}

fn judged(heard: Option<&str>, truth: &str) -> Outcome {
    match heard {
        Some(heard) if heard == truth => Outcome::Right,
        Some(_) => Outcome::Wrong,
        None => Outcome::NotTaken,
    }
}

/// Each command's phrases, and what they mean.
fn commands() -> BTreeMap<String, String> {
    let commands = Grammar::all_commands().commands;
    let phrases = commands.iter().flat_map(|command| {
        phrases_for(command).into_iter().map(move |phrase| (phrase.to_owned(), value(command)))
    });
    phrases.collect()
}

fn fractions() -> Vec<String> {
    let mut fractions: Vec<String> =
        ["a half", "one half", "a quarter", "one quarter", "three quarters"]
            .map(str::to_owned)
            .to_vec();
    for (below, name) in [(8_u32, "eighth"), (16, "sixteenth")] {
        for top in (1..below).step_by(2) {
            let plural = if top == 1 { "" } else { "s" };
            fractions.push(format!("{} {name}{plural}", words_for(top)));
        }
    }
    fractions
}

/// Written alike whatever the case, the stops and the hyphens.
fn plain(text: &str) -> String {
    let kept: String = text
        .to_lowercase()
        .chars()
        .map(|c| if c == '-' { ' ' } else { c })
        .filter(|c| !matches!(c, '.' | ',' | '?' | '!'))
        .collect();
    kept.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn phrases(grammar: &Grammar) -> BTreeMap<String, String> {
    let mut phrases = BTreeMap::new();
    for (meaning, form) in grammar.forms() {
        phrases.entry(plain(&form)).or_insert_with(|| value(&meaning));
    }
    phrases
}

/// The meaning of the phrase most like the words, if one is like enough.
fn nearest<'a>(words: &str, phrases: &'a BTreeMap<String, String>) -> Option<&'a str> {
    let words = plain(words);
    if words.is_empty() {
        return None;
    }
    if let Some(meaning) = phrases.get(&words) {
        return Some(meaning);
    }
    // What differs more than this in length cannot be alike.
    let close = |phrase: &&str| {
        let (a, b) = (phrase.len().min(words.len()), phrase.len().max(words.len()));
        b * 7 <= a * 10
    };
    let among: Vec<&str> = phrases.keys().map(String::as_str).filter(close).collect();
    let found = similar::get_close_matches(words.as_str(), &among, 1, ALIKE);
    found.first().and_then(|phrase| phrases.get(*phrase)).map(String::as_str)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn free_words_are_taken_for_the_nearest_phrase() {
        let phrases = phrases(&Grammar::everything());
        let taken = |words: &str| nearest(words, &phrases);
        assert_eq!(taken("Step done."), Some("step-done"));
        assert_eq!(taken("Step dome."), Some("step-done"));
        assert_eq!(taken("Yes, that is right!"), Some("yes"));
        assert_eq!(taken("Four and nine-sixteenths."), Some("73/16"));
        assert_eq!(taken("the dog is in the van"), None);
        assert_eq!(taken(""), None);
    }

    #[test]
    fn each_fraction_is_read_back() {
        assert_eq!(fractions().len(), 5 + 4 + 8);
        for words in fractions() {
            assert!(parse_length(&format!("four and {words} inches")).is_some(), "{words}");
        }
    }
}
