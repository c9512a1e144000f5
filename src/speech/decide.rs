//! Accept, or ask again. The limits belong to the recogniser with its noise
//! adapter. They were fitted on voices that neither trained it nor are reported on
//! (`chalkhand hearing --bench --fit`): the middle of what lost hardly anything
//! said and took nothing wrongly. Numbers are read back, so theirs are wider.

use std::collections::BTreeSet;

use super::{Decision, Found, Hit, Meaning, Scores, Tokens, Trie, parse_count, parse_length};

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
    /// For two tries at one answer, as changes of the above: each try may fit
    /// less well, and the distance is that of both together.
    pub again: Limits,
}

impl Limits {
    /// These limits as a change of others.
    fn of(&self, limits: &Limits) -> Limits {
        Limits { b: limits.b + self.b, a: limits.a + self.a, m: limits.m + self.m }
    }
}

impl Default for Thresholds {
    fn default() -> Self {
        Thresholds {
            number: Limits { b: -1.6, a: -1.4, m: 2.0 },
            confirm: Limits { b: -1.0, a: -0.7, m: 3.0 },
            other: Limits { b: -1.5, a: -1.2, m: 2.0 },
            again: Limits { b: -0.5, a: -0.5, m: 0.5 },
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
    let other = found.hits.get(1);
    let m = other.map_or(FAR, |other| hit.log_p - other.log_p).min(FAR);
    let scores = scores(found, hit, m);
    let limits = thresholds.for_meaning(&meaning);
    let words = tokens.text(&hit.tokens);
    let why = if scores.m < limits.m {
        other.map(|other| format!("it may also be \"{}\"", tokens.text(&other.tokens)))
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

/// Decides on two tries at one answer, neither of which was clear enough alone.
/// The same meaning must be reached by both, and both together must set it
/// further apart from any other than one try has to; None where they do not.
pub fn decide_again(
    earlier: &Found,
    later: &Found,
    trie: &Trie,
    tokens: &Tokens,
    thresholds: &Thresholds,
) -> Option<Decision> {
    let (best, m) = together(earlier, later)?;
    let hit = |found: &Found| found.hits.iter().find(|hit| hit.place == best).cloned();
    let (first, second) = (hit(earlier)?, hit(later)?);
    let meaning = trie.meaning(best)?.clone();
    let limits = thresholds.again.of(thresholds.for_meaning(&meaning));
    let (first, scores) = (scores(earlier, &first, m), scores(later, &second, m));
    let both = Scores { b: first.b.min(scores.b), a: first.a.min(scores.a), m };
    let clear = limits.b <= both.b && limits.a <= both.a && limits.m <= both.m;
    let free = [earlier, later].map(|found| tokens.text(&found.free));
    if !clear || free.iter().any(|free| contradicted(&meaning, free).is_some()) {
        return None;
    }
    Some(Decision::Accept { meaning, words: tokens.text(&second.tokens), scores: both })
}

/// The place that two searches together find likeliest, and how far it is from
/// the next, in nats. What a search did not reach is at its margin: that far
/// below the best it was given up.
fn together(earlier: &Found, later: &Found) -> Option<(u32, f32)> {
    let log_p = |found: &Found, place: u32| {
        let best = found.hits.first().map_or(0.0, |hit| hit.log_p);
        let hit = found.hits.iter().find(|hit| hit.place == place);
        hit.map_or(-FAR, |hit| (hit.log_p - best).max(-FAR))
    };
    let places: BTreeSet<u32> =
        earlier.hits.iter().chain(&later.hits).map(|hit| hit.place).collect();
    let mut sums: Vec<(u32, f32)> =
        places.into_iter().map(|at| (at, log_p(earlier, at) + log_p(later, at))).collect();
    sums.sort_by(|a, b| b.1.total_cmp(&a.1));
    let (best, most) = *sums.first()?;
    let next = sums.get(1).map_or(-2.0 * FAR, |next| next.1);
    Some((best, most - next))
}

fn scores(found: &Found, hit: &Hit, m: f32) -> Scores {
    let per_token = |log_p: f32, count: usize| {
        #[expect(clippy::cast_precision_loss, reason = "a count of tokens in a phrase")]
        let count = count.max(1) as f32;
        log_p / count
    };
    let b = per_token(hit.log_p, hit.tokens.len().saturating_add(1));
    Scores { b, a: b - per_token(found.free_log_p, found.free_count), m }
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
