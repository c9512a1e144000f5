//! What may be said, and what was meant: spoken numbers, phrases, the phrase
//! trie, the search along it, and the decision to accept or ask again. No sound,
//! no model: the model's steps come in through [`Steps`].

mod beam;
mod check;
mod decide;
mod english;
mod forms;
mod grammar;
mod listening;
mod numbering;
mod numbers;
mod prompts;
mod sentences;
mod spanish;
mod tokens;
mod trie;
mod wording;

pub use crate::domain::Meaning;
pub use beam::{Found, Hit, Row, Search, Steps, greedy, search};
pub use check::{
    CheckPhrase, QUIET_MS, TO_SPARE_MILLI, TRIES, check, check_phrases, heard, judge, read_phrase,
    tenths,
};
pub use decide::{Limits, Thresholds, decide, decide_again};
pub use forms::{count_forms, length_forms, say_count, say_length, words_for};
pub use grammar::{Grammar, Numbers};
pub use listening::{dictated, grammar};
pub use numbers::{parse_count, parse_length};
pub use prompts::{Line, line, typed};
pub use sentences::SENTENCES;
pub use spanish::words_for as words_for_spanish;
pub use tokens::{TokenError, Tokens};
pub use trie::{Trie, TrieError};
pub use wording::{LANGUAGES, Wording, call_word, phrases_for};

/// How well words fit the sound.
#[derive(Clone, Debug, PartialEq)]
pub struct Scores {
    /// Log-probability per token of the best allowed words, in nats.
    pub b: f32,
    /// That, less the same for the best words of any kind, in nats.
    pub a: f32,
    /// Distance to the best words that mean something else, in nats.
    pub m: f32,
}

/// What to do with an utterance.
#[derive(Clone, Debug, PartialEq)]
pub enum Decision {
    /// It is clear enough to act on.
    Accept {
        /// What was meant.
        meaning: Meaning,
        /// The words as the recogniser wrote them.
        words: String,
        /// How well they fit.
        scores: Scores,
    },
    /// It is not clear enough; the person is asked again.
    AskAgain {
        /// The best guess, never acted on.
        best: Option<(Meaning, String, Scores)>,
        /// Why it was not taken, in plain words.
        why: String,
    },
}
