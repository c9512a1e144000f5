//! Accept, or ask again. The limits were fitted on some synthetic voices and
//! checked on others; `packaging/hearing-table` repeats the check.

use super::{Decision, Found, Meaning, Scores, Tokens, Trie, parse_count, parse_length};

/// The least scores that are accepted, in nats.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// For [`Scores::b`].
    pub b: f32,
    /// For [`Scores::a`].
    pub a: f32,
    /// For [`Scores::m`].
    pub m: f32,
}

/// The limits for each kind of thing said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Thresholds {
    /// Lengths and counts.
    pub number: Limits,
    /// What logs something: a false one is worst of all.
    pub confirm: Limits,
    /// Other commands, and the step's own choices.
    pub other: Limits,
}

impl Default for Thresholds {
    fn default() -> Self {
        Thresholds {
            number: Limits { b: -1.0, a: -0.8, m: 3.0 },
            confirm: Limits { b: -1.3, a: -1.0, m: 3.0 },
            other: Limits { b: -1.5, a: -1.2, m: 2.0 },
        }
    }
}

impl Thresholds {
    /// The limits that hold for a meaning.
    pub fn for_meaning(&self, meaning: &Meaning) -> &Limits {
        match meaning {
            Meaning::Length(_) | Meaning::Count(_) => &self.number,
            Meaning::StepDone
            | Meaning::Yes
            | Meaning::LogAsIs
            | Meaning::Skip
            | Meaning::PhotoTaken
            | Meaning::WasWrong => &self.confirm,
            _ => &self.other,
        }
    }
}

/// The margin reported when nothing else was reached, in nats.
const FAR: f32 = 3.5;

/// Decides on what a search found.
pub fn decide(found: &Found, trie: &Trie, tokens: &Tokens, thresholds: &Thresholds) -> Decision {
    let best = found.hits.first().and_then(|hit| Some((hit, trie.meaning(hit.place)?.clone())));
    let Some((hit, meaning)) = best else {
        return Decision::AskAgain { best: None, why: "nothing that may be said now".to_owned() };
    };
    let per_token = |log_p: f32, count: usize| {
        #[expect(clippy::cast_precision_loss, reason = "a count of tokens in a phrase")]
        let count = count.max(1) as f32;
        log_p / count
    };
    let b = per_token(hit.log_p, hit.tokens.len().saturating_add(1));
    let free = per_token(found.free_log_p, found.free_count);
    let m = found.hits.get(1).map_or(FAR, |other| hit.log_p - other.log_p).min(FAR);
    let scores = Scores { b, a: b - free, m };
    let words = tokens.text(&hit.tokens);
    let limits = thresholds.for_meaning(&meaning);
    let why = if scores.m < limits.m {
        found.hits.get(1).map(|other| format!("it may also be \"{}\"", tokens.text(&other.tokens)))
    } else if scores.b < limits.b || scores.a < limits.a {
        Some("the sound does not fit the words well".to_owned())
    } else {
        contradicted(&meaning, &tokens.text(&found.free))
    };
    match why {
        Some(why) => Decision::AskAgain { best: Some((meaning, words, scores)), why },
        None => Decision::Accept { meaning, words, scores },
    }
}

/// A number that the free hypothesis hears as another number is not taken.
fn contradicted(meaning: &Meaning, free: &str) -> Option<String> {
    let other = match meaning {
        Meaning::Length(inches) => parse_length(free).is_some_and(|other| other != *inches),
        Meaning::Count(count) => parse_count(free).is_some_and(|other| other != *count),
        _ => false,
    };
    other.then(|| format!("heard freely it is \"{free}\""))
}
