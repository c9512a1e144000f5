//! Files that people and editors have mangled: whatever the text, reading ends
//! with a checklist or with problems that can be shown, and never panics.
//! `CHALKHAND_FUZZ_INPUTS` sets how many are tried.

use std::fs;

use chalkhand::files::{
    TRANSLATIONS, read_checklist, read_job, read_language, read_profile, read_translation,
};
use chalkhand::roof;

/// A small generator, so that a failing input is found again by its number.
pub(crate) struct Dice(u64);

impl Dice {
    pub(crate) fn new(seed: u64) -> Self {
        Self(seed)
    }

    pub(crate) fn roll(&mut self, sides: usize) -> usize {
        // SplitMix64.
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((z ^ (z >> 31)) % u64::try_from(sides.max(1)).unwrap()).unwrap()
    }
}

const SCRAPS: [&str; 28] = [
    "\"",
    "'",
    "\"\"\"",
    "'''",
    "[",
    "]",
    "[[step]]",
    "{",
    "}",
    "{{",
    "=",
    "\n",
    "\r\n",
    "\\u00bd",
    "½",
    "″",
    "\u{0}",
    "999999999999999999999999",
    "-",
    "1/0",
    "{run.number}",
    "each = \"run\"",
    "measure",
    "\u{202e}",
    "é",
    ",",
    "#",
    "off_target(",
];

fn mangle(text: &str, dice: &mut Dice) -> String {
    let mut letters: Vec<char> = text.chars().collect();
    for _ in 0..=dice.roll(4) {
        let at = dice.roll(letters.len());
        let to = (at + dice.roll(40)).min(letters.len());
        match dice.roll(6) {
            0 => {
                letters.drain(at..to);
            }
            1 => {
                let piece: Vec<char> = letters[at..to].to_vec();
                let place = dice.roll(letters.len());
                letters.splice(place..place, piece);
            }
            2 => letters.truncate(at),
            3 => {
                let scrap = SCRAPS[dice.roll(SCRAPS.len())];
                letters.splice(at..at, scrap.chars());
            }
            4 => {
                // Swaps one word for another of the file.
                let words: Vec<&str> = text.split_whitespace().chain(["x"]).collect();
                letters.splice(at..to, words[dice.roll(words.len())].chars());
            }
            _ if at < letters.len() => {
                letters[at] = char::from(u8::try_from(dice.roll(127)).unwrap())
            }
            _ => {}
        }
    }
    letters.into_iter().collect()
}

/// A small part of a large file goes faster and is mangled in more places.
fn cut(text: &str, dice: &mut Dice) -> String {
    if dice.roll(4) == 0 {
        return text.to_owned();
    }
    let blocks: Vec<&str> = text.split("\n\n").collect();
    let keep = |dice: &mut Dice| dice.roll(5) < 2;
    blocks.iter().filter(|_| keep(dice)).copied().collect::<Vec<_>>().join("\n\n")
}

#[test]
fn mangled_files_never_panic() {
    let inputs = std::env::var("CHALKHAND_FUZZ_INPUTS").ok().and_then(|n| n.parse().ok());
    let inputs: u64 = inputs.unwrap_or(2_000);
    let read = |path: &str| fs::read_to_string(path).unwrap();
    let lists: Vec<String> = chalkhand::files::SHIPPED
        .iter()
        .map(|(_, text)| (*text).to_owned())
        .chain([read("tests/it/data/deck-ledger.toml")])
        .collect();
    let (job, profile) =
        (read("packaging/demo-data/job.toml"), read("packaging/demo-data/profile.toml"));
    let functions = roof::functions();
    let whole: Vec<_> =
        lists.iter().filter_map(|text| read_checklist(text, "f", &functions).ok()).collect();
    let (mut good, mut bad) = (0, 0);
    for seed in 0..inputs {
        let mut dice = Dice(seed);
        let which = dice.roll(lists.len() + 2);
        let original =
            lists.get(which).unwrap_or(if which == lists.len() { &job } else { &profile });
        let text = cut(original, &mut dice);
        let text = mangle(&text, &mut dice);
        let problems = if which < lists.len() {
            read_checklist(&text, "f", &functions).err()
        } else if which == lists.len() {
            let whole: Vec<_> = whole.iter().collect();
            read_job(&text, "f").and_then(|file| file.facts(&whole)).err()
        } else {
            read_profile(&text, "f").err()
        };
        let Some(problems) = problems else {
            good += 1;
            continue;
        };
        bad += 1;
        assert!(!problems.list().is_empty());
        for problem in problems.list() {
            let lines = text.split('\n').count();
            assert!(1 <= problem.line && problem.line as usize <= lines, "input {seed}");
            assert!(problem.caret.start <= problem.caret.end, "input {seed}");
            assert!(!problem.message.is_empty() && problem.message.len() < 2_000, "input {seed}");
        }
        assert!(problems.to_string().len() < 4_000_000, "input {seed}");
    }
    // Neither all whole nor all broken, or nothing was tried.
    assert!(0 < good && 0 < bad, "{good} read, {bad} refused");
}

#[test]
fn mangled_languages_and_translations_never_panic() {
    let inputs = std::env::var("CHALKHAND_FUZZ_INPUTS").ok().and_then(|n| n.parse().ok());
    let inputs: u64 = inputs.unwrap_or(2_000);
    let translations: Vec<_> = TRANSLATIONS
        .iter()
        .map(|(_, name, text)| (crate::crew::shipped(name.trim_end_matches(".toml")), *text))
        .collect();
    let (mut good, mut bad) = (0, 0);
    for seed in 0..inputs {
        let mut dice = Dice(seed ^ 0x5eed);
        let which = dice.roll(translations.len() + chalkhand::speech::LANGUAGES.len());
        let (text, problems) = match translations.get(which) {
            Some((original, text)) => {
                let text = mangle(text, &mut dice);
                let problems = read_translation(&text, "f", original).err();
                (text, problems)
            }
            None => {
                let (_, text) = chalkhand::speech::LANGUAGES[which - translations.len()];
                let text = mangle(text, &mut dice);
                let problems = read_language(&text, "f", chalkhand::speech::SENTENCES).err();
                (text, problems)
            }
        };
        let Some(problems) = problems else {
            good += 1;
            continue;
        };
        bad += 1;
        for problem in problems.list() {
            let lines = text.split('\n').count();
            assert!(1 <= problem.line && problem.line as usize <= lines, "input {seed}");
            assert!(problem.caret.start <= problem.caret.end, "input {seed}");
            assert!(!problem.message.is_empty(), "input {seed}");
        }
    }
    assert!(0 < good && 0 < bad, "{good} read, {bad} refused");
}
