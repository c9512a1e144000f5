//! What was heard, counted: pure, from clips to numbers. The words of it are
//! `table`'s.

use std::collections::BTreeMap;

use super::listen::{Best, HeardClip, HeardPart};

/// A false one of these logs something that was not done.
const CONFIRMING: [&str; 6] = ["step-done", "yes", "log-as-is", "skip", "photo-taken", "was-wrong"];
const NUMBERS: [&str; 2] = ["length", "count"];

pub(super) const NEGATIVE: &str = "negative";
pub(super) const CALL_WORD_TALK: &str = "call word, talk";

/// What became of things said in one kind and condition.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Cell {
    /// First tries.
    pub(super) all: u64,
    pub(super) right: u64,
    pub(super) wrong: u64,
    /// The best guess was right, taken or not.
    pub(super) best_right: u64,
    /// No speech was found in it.
    pub(super) silent: u64,
    /// Things that were said twice.
    pub(super) pairs: u64,
    /// Of them, taken and right at the first try or, counted together with it, at
    /// the second.
    pub(super) within_two: u64,
}

/// What one clip came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Outcome {
    Right,
    Wrong,
    NotTaken,
}

/// The segment that counts: the accepted one that fits best, else the one that
/// fits best.
pub(super) fn counted(segments: &[HeardPart]) -> Option<(&HeardPart, &Best)> {
    let fits = segments.iter().filter_map(|part| Some((part, part.best.as_ref()?)));
    fits.max_by(|(a, fit_a), (b, fit_b)| {
        (a.accepted, fit_a.b)
            .partial_cmp(&(b.accepted, fit_b.b))
            .unwrap_or(std::cmp::Ordering::Equal)
    })
}

pub(super) fn outcome(heard: &HeardClip) -> Outcome {
    match counted(&heard.segments) {
        Some((part, best)) if part.accepted && best.meaning == heard.clip.truth => Outcome::Right,
        Some((part, _)) if part.accepted => Outcome::Wrong,
        _ => Outcome::NotTaken,
    }
}

/// Cells by any key.
pub(super) fn cells<'a, K: Ord>(
    heard: impl IntoIterator<Item = &'a HeardClip>,
    key: impl Fn(&'a HeardClip) -> Option<K>,
) -> BTreeMap<K, Cell> {
    let mut cells: BTreeMap<K, Cell> = BTreeMap::new();
    let mut tries: BTreeMap<(&str, &str, &str), BTreeMap<u32, &HeardClip>> = BTreeMap::new();
    for one in heard {
        let Some(key) = key(one) else { continue };
        let clip = &one.clip;
        tries.entry((&clip.pair, &clip.kind, &clip.grammar)).or_default().insert(clip.take, one);
        if clip.take != 1 {
            continue;
        }
        let cell = cells.entry(key).or_default();
        cell.all += 1;
        match outcome(one) {
            Outcome::Right => cell.right += 1,
            Outcome::Wrong => cell.wrong += 1,
            Outcome::NotTaken => {}
        }
        let best = counted(&one.segments).map(|(_, best)| &best.meaning);
        cell.best_right += u64::from(best == Some(&clip.truth));
        cell.silent += u64::from(one.segments.is_empty());
    }
    for tries in tries.values() {
        let (Some(&first), Some(&second)) = (tries.get(&1), tries.get(&2)) else { continue };
        let Some(cell) = key(first).and_then(|key| cells.get_mut(&key)) else { continue };
        cell.pairs += 1;
        cell.within_two += u64::from(match outcome(first) {
            Outcome::Right => true,
            // What was taken wrongly is not asked again.
            Outcome::Wrong => false,
            Outcome::NotTaken => outcome(second) == Outcome::Right,
        });
    }
    cells
}

/// What was taken out of sound that means nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Taken {
    pub(super) clips: u64,
    /// Of sound, in milliseconds.
    pub(super) sound_ms: u64,
    /// Of it, taken for speech, in milliseconds.
    pub(super) speech_ms: u64,
    pub(super) confirmations: u64,
    pub(super) commands: u64,
    pub(super) numbers: u64,
}

/// By any key, what was taken out of negatives.
pub(super) fn taken<'a, K: Ord>(
    heard: impl IntoIterator<Item = &'a HeardClip>,
    key: impl Fn(&'a HeardClip) -> Option<K>,
) -> BTreeMap<K, Taken> {
    let mut found: BTreeMap<K, Taken> = BTreeMap::new();
    for one in heard {
        let Some(key) = key(one) else { continue };
        let taken = found.entry(key).or_default();
        taken.clips += 1;
        taken.sound_ms += one.sound_ms;
        for part in &one.segments {
            taken.speech_ms += part.length_ms;
            let Some(best) = part.best.as_ref().filter(|_| part.accepted) else { continue };
            match best.word.as_str() {
                word if CONFIRMING.contains(&word) => taken.confirmations += 1,
                word if NUMBERS.contains(&word) => taken.numbers += 1,
                _ => taken.commands += 1,
            }
        }
    }
    found
}

/// The value that `share` hundredths of them are at or below: the nearest rank.
pub(super) fn percentile(values: &mut [f64], share: usize) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let rank = (values.len() * share).div_ceil(100).max(1);
    values.get(rank - 1).copied()
}

#[cfg(test)]
mod tests {
    use super::super::listen::Clip;
    use super::*;

    fn clip(
        kind: &str,
        truth: &str,
        take: u32,
        pair: &str,
        guesses: &[(&str, bool, f32)],
    ) -> HeardClip {
        let part = |(meaning, accepted, b): &(&str, bool, f32)| HeardPart {
            start_ms: 500,
            length_ms: 1_000,
            level_dbfs: -20.0,
            noise_dbfs: -50.0,
            ms: 40.0,
            bare_ms: Some(20.0),
            accepted: *accepted,
            why: String::new(),
            best: Some(Best {
                meaning: (*meaning).to_owned(),
                word: if meaning.contains('/') {
                    "length".to_owned()
                } else {
                    (*meaning).to_owned()
                },
                words: (*meaning).to_owned(),
                b: *b,
                a: 0.0,
                m: 3.5,
            }),
            free: (*meaning).to_owned(),
            raw: None,
        };
        HeardClip {
            clip: Clip {
                file: format!("{pair}-{take}.wav"),
                kind: kind.to_owned(),
                condition: "clean".to_owned(),
                noise: "none".to_owned(),
                text: truth.to_owned(),
                truth: truth.to_owned(),
                grammar: "everything".to_owned(),
                voice: "a".to_owned(),
                take,
                pair: pair.to_owned(),
            },
            segments: guesses.iter().map(part).collect(),
            sound_ms: 2_000,
            resident_kb: 0,
        }
    }

    fn one_cell(clips: &[HeardClip]) -> Cell {
        cells(clips, |_| Some(())).into_values().next().unwrap()
    }

    #[test]
    fn a_small_table_counted_by_hand() {
        let clips = [
            clip("command", "yes", 1, "p", &[("yes", true, -0.1)]),
            clip("command", "yes", 2, "p", &[("no", true, -0.1)]),
            clip("command", "no", 1, "q", &[("no", false, -0.9)]),
            clip("command", "no", 2, "q", &[("no", true, -0.1)]),
            clip("command", "back", 1, "r", &[("no", true, -0.1)]),
            clip("command", "back", 2, "r", &[("back", true, -0.1)]),
            clip("command", "skip", 1, "s", &[]),
        ];
        let cell = one_cell(&clips);
        let wanted = Cell {
            all: 4,
            right: 1,
            wrong: 1,
            best_right: 2,
            silent: 1,
            pairs: 3,
            // p at once, q at the second try; r was taken wrongly at the first.
            within_two: 2,
        };
        assert_eq!(cell, wanted);
    }

    #[test]
    fn what_is_taken_counts_before_what_fits_better() {
        let both = clip("command", "yes", 1, "p", &[("no", false, -0.1), ("yes", true, -0.5)]);
        assert_eq!(outcome(&both), Outcome::Right);
        let two = clip("command", "yes", 1, "p", &[("no", true, -0.1), ("yes", true, -0.5)]);
        assert_eq!(outcome(&two), Outcome::Wrong);
    }

    #[test]
    fn negatives_are_told_apart_by_what_they_would_do() {
        let clips = [
            clip(NEGATIVE, "", 1, "p", &[("yes", true, -0.1), ("9/2", true, -0.1)]),
            clip(NEGATIVE, "", 1, "q", &[("go", true, -0.1), ("yes", false, -0.1)]),
            clip(NEGATIVE, "", 1, "r", &[]),
        ];
        let found = taken(&clips, |_| Some(())).into_values().next().unwrap();
        let wanted = Taken {
            clips: 3,
            sound_ms: 6_000,
            speech_ms: 4_000,
            confirmations: 1,
            commands: 1,
            numbers: 1,
        };
        assert_eq!(found, wanted);
    }

    /// The nearest rank of five values: the example of Wikipedia's "Percentile"
    /// (15, 20, 35, 40, 50), from memory.
    #[test]
    fn percentiles_are_nearest_ranks() {
        let mut values = [35.0, 15.0, 50.0, 40.0, 20.0];
        for (share, wanted) in [(5, 15.0), (30, 20.0), (40, 20.0), (50, 35.0), (100, 50.0)] {
            assert_eq!(percentile(&mut values, share), Some(wanted), "{share}");
        }
        assert_eq!(percentile(&mut [], 50), None);
    }
}
