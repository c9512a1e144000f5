//! The hearing check: which phrases a person reads, and how far spoken answers
//! can be trusted by what was heard. No sound and no clock: what was heard comes
//! in, a verdict goes out.
//!
//! The rule. Each phrase is listened for with what a walk would listen for where
//! it belongs, and may be read twice. Commands and numbers are judged apart:
//!
//! | what happened | verdict |
//! |---|---|
//! | a phrase was taken for another one | not trusted |
//! | a phrase was not taken in two tries | not trusted |
//! | a phrase was taken at the second try | trusted with repeats |
//! | a phrase fitted its sound by less than [`TO_SPARE_MILLI`] to spare | trusted with repeats |
//! | all else | trusted |

use crate::domain::walk::{Expect, ExpectAnswer};
use crate::domain::{
    AnswerKind, Because, Hash, Heard, HearingCheck, Margins, Meaning, PhraseRead, ReadAs, Trust,
    Verdict,
};
use crate::measure::Ratio;

use super::{Decision, Scores, Thresholds, length_forms, phrases_for, words_for};

/// How often a phrase is read at most.
pub const TRIES: usize = 2;

/// By how much more than it has to a phrase must fit its sound to count as clear,
/// in thousandths of a nat. A judgement, not a measurement.
pub const TO_SPARE_MILLI: i32 = 250;

/// How long the noise is listened to, in milliseconds.
pub const QUIET_MS: u64 = 3_000;

/// A phrase to read.
#[derive(Clone, Debug, PartialEq)]
pub struct CheckPhrase {
    /// The words.
    pub words: String,
    /// What they mean.
    pub meaning: Meaning,
    /// What they are judged with.
    pub kind: AnswerKind,
    /// What a walk would listen for.
    pub expect: Expect,
}

/// The phrases of a hearing check, in the order they are read.
#[must_use]
pub fn check_phrases() -> Vec<CheckPhrase> {
    use Meaning as M;
    let always = [M::Repeat, M::WhereAreWe, M::ReadCaution, M::ReadReason, M::CallWord];
    let step = [M::Back, M::Pause, M::TakeNote, M::PhotoTaken, M::WasWrong, M::Skip];
    let expect = |own: &[Meaning], answer| Expect {
        commands: own.iter().chain(&always).cloned().collect(),
        answer,
    };
    let about = |inches: i64| ExpectAnswer::Length {
        from: Ratio::int(inches - 6).max(Ratio::SIXTEENTH),
        to: Ratio::int(inches + 6),
        step: Ratio::SIXTEENTH,
    };
    let doing = [&[M::StepDone], &step[..]].concat();
    let backing = [M::Yes, M::No, M::Back, M::Skip, M::Pause];
    let command = |meaning: Meaning, expect| CheckPhrase {
        words: phrases_for(&meaning).first().copied().unwrap_or_default().to_owned(),
        meaning,
        kind: AnswerKind::Commands,
        expect,
    };
    let number = |meaning: Meaning, words: Option<String>, answer| CheckPhrase {
        words: words.unwrap_or_default(),
        meaning,
        kind: AnswerKind::Numbers,
        expect: expect(&step, answer),
    };
    let length = |inches: Ratio, near| {
        let words = length_forms(inches).into_iter().find(|form| form.ends_with("inches"));
        number(M::Length(inches), words, about(near))
    };
    let eighths = Ratio::new(43, 8).unwrap_or(Ratio::ONE);
    let count = ExpectAnswer::Count { from: 0, to: 60, unit: "" };
    vec![
        command(M::StepDone, expect(&doing, ExpectAnswer::None)),
        command(M::Yes, expect(&backing, ExpectAnswer::None)),
        command(M::No, expect(&backing, ExpectAnswer::None)),
        command(M::Repeat, expect(&step, about(5))),
        length(eighths, 5),
        length(Ratio::int(15), 15),
        number(M::Count(24), Some(words_for(24)), count),
    ]
}

/// What became of one reading. `sound` is the hash of the samples; no decision
/// where no speech was heard.
#[must_use]
pub fn read_phrase(
    phrase: &CheckPhrase,
    decision: Option<&Decision>,
    sound: Hash,
    thresholds: &Thresholds,
) -> PhraseRead {
    let (read_as, best) = match decision {
        None => (ReadAs::Nothing, None),
        Some(Decision::Accept { meaning, words, scores }) => {
            let right = *meaning == phrase.meaning;
            let read_as = if right { ReadAs::Right } else { ReadAs::Mistaken };
            (read_as, Some((meaning, words, scores)))
        }
        Some(Decision::AskAgain { best, .. }) => (
            ReadAs::Unclear,
            best.as_ref().map(|(meaning, words, scores)| (meaning, words, scores)),
        ),
    };
    PhraseRead {
        asked: phrase.words.clone(),
        kind: phrase.kind,
        read_as,
        margins: best.map(|(meaning, _, scores)| margins(meaning, scores, thresholds)),
        heard: best.map(|(_, words, scores)| heard(words, scores, sound)),
    }
}

/// A recogniser's words and scores as the log holds them.
#[must_use]
pub fn heard(words: &str, scores: &Scores, sound: Hash) -> Heard {
    let Scores { b, a, m } = *scores;
    let (b_milli, a_milli, m_milli) = (milli(b), milli(a), milli(m));
    Heard { words: words.to_owned(), b_milli, a_milli, m_milli, sound }
}

fn margins(meaning: &Meaning, scores: &Scores, thresholds: &Thresholds) -> Margins {
    let limits = thresholds.for_meaning(meaning);
    Margins {
        b_milli: milli(scores.b - limits.b),
        a_milli: milli(scores.a - limits.a),
        m_milli: milli(scores.m - limits.m),
    }
}

/// Thousandths of a nat.
#[expect(clippy::cast_possible_truncation, reason = "clamped before")]
fn milli(nats: f32) -> i32 {
    (nats * 1000.0).round().clamp(-1e9, 1e9) as i32
}

/// Tenths of a decibel.
#[must_use]
#[expect(clippy::cast_possible_truncation, reason = "clamped before")]
pub fn tenths(decibels: f32) -> i32 {
    (decibels * 10.0).round().clamp(-1e6, 1e6) as i32
}

/// What a check found: where it was made, how loud it was, the loudness of each
/// reading in decibels below full scale, and what became of each in order.
#[must_use]
pub fn check(
    source: String,
    noise_dbfs: f32,
    mut levels_dbfs: Vec<f32>,
    phrases: Vec<PhraseRead>,
) -> HearingCheck {
    levels_dbfs.sort_by(f32::total_cmp);
    let middle = levels_dbfs.get(levels_dbfs.len() / 2).copied();
    HearingCheck {
        source,
        noise_tenth_dbfs: tenths(noise_dbfs),
        speech_tenth_dbfs: tenths(middle.unwrap_or(noise_dbfs)),
        commands: judge(AnswerKind::Commands, &phrases),
        numbers: judge(AnswerKind::Numbers, &phrases),
        phrases,
    }
}

/// How far one kind of answer can be trusted, by everything that was read.
#[must_use]
pub fn judge(kind: AnswerKind, read: &[PhraseRead]) -> Verdict {
    let (mut again, mut barely) = (false, false);
    if read.iter().any(|read| read.kind == kind && read.read_as == ReadAs::Mistaken) {
        return Verdict { trust: Trust::Not, because: Because::Mistaken };
    }
    for phrase in check_phrases().iter().filter(|phrase| phrase.kind == kind) {
        let tries = read.iter().filter(|read| read.asked == phrase.words).take(TRIES);
        let mut right = tries.enumerate().filter(|(_, read)| read.read_as == ReadAs::Right);
        let Some((nth, read)) = right.next() else {
            return Verdict { trust: Trust::Not, because: Because::Missed };
        };
        again |= 0 < nth;
        barely |= read.margins.is_none_or(|margins| margins.fit() < TO_SPARE_MILLI);
    }
    match (again, barely) {
        (true, _) => Verdict { trust: Trust::Repeats, because: Because::Again },
        (false, true) => Verdict { trust: Trust::Repeats, because: Because::Barely },
        (false, false) => Verdict { trust: Trust::Trusted, because: Because::Clear },
    }
}

#[cfg(test)]
mod tests {
    use super::super::Limits;
    use super::*;
    use proptest::prelude::*;

    fn read(phrase: &CheckPhrase, read_as: ReadAs, least: i32) -> PhraseRead {
        PhraseRead {
            asked: phrase.words.clone(),
            kind: phrase.kind,
            read_as,
            heard: None,
            margins: Some(Margins { b_milli: least, a_milli: least + 10, m_milli: 500 }),
        }
    }

    fn all(least: i32) -> Vec<PhraseRead> {
        check_phrases().iter().map(|phrase| read(phrase, ReadAs::Right, least)).collect()
    }

    fn both(read: &[PhraseRead]) -> (Verdict, Verdict) {
        (judge(AnswerKind::Commands, read), judge(AnswerKind::Numbers, read))
    }

    #[test]
    fn the_phrases_are_what_a_walk_teaches() {
        let words: Vec<String> = check_phrases().into_iter().map(|phrase| phrase.words).collect();
        assert_eq!(
            words,
            [
                "step done",
                "yes that is right",
                "no that is wrong",
                "repeat that",
                "five and three eighths inches",
                "fifteen inches",
                "twenty four",
            ]
        );
        for phrase in check_phrases() {
            let forms =
                crate::speech::grammar(&phrase.expect, &crate::speech::Wording::default()).forms();
            let own = (phrase.meaning.clone(), phrase.words.clone());
            assert!(forms.contains(&own), "{own:?} is not listened for");
        }
    }

    #[test]
    fn confirmations_have_the_limits_of_confirmations() {
        let thresholds = Thresholds::default();
        for meaning in crate::speech::Grammar::all_commands().commands {
            let strict = *thresholds.for_meaning(&meaning) == thresholds.confirm;
            assert_eq!(strict, meaning.confirms(), "{meaning:?}");
        }
    }

    #[test]
    fn the_rule_by_its_table() {
        let (commands, numbers) = both(&all(TO_SPARE_MILLI));
        let clear = Verdict { trust: Trust::Trusted, because: Because::Clear };
        assert_eq!((commands, numbers), (clear, clear));
        let phrases = check_phrases();
        let cases = [
            (vec![(ReadAs::Mistaken, 900)], Trust::Not, Because::Mistaken),
            (vec![(ReadAs::Mistaken, 900), (ReadAs::Right, 900)], Trust::Not, Because::Mistaken),
            (vec![(ReadAs::Right, 900), (ReadAs::Mistaken, 900)], Trust::Not, Because::Mistaken),
            (vec![], Trust::Not, Because::Missed),
            (vec![(ReadAs::Unclear, -90)], Trust::Not, Because::Missed),
            (vec![(ReadAs::Nothing, 0); 2], Trust::Not, Because::Missed),
            (
                vec![(ReadAs::Unclear, -90), (ReadAs::Nothing, 0), (ReadAs::Right, 900)],
                Trust::Not,
                Because::Missed,
            ),
            (vec![(ReadAs::Unclear, -90), (ReadAs::Right, 900)], Trust::Repeats, Because::Again),
            (vec![(ReadAs::Right, TO_SPARE_MILLI - 1)], Trust::Repeats, Because::Barely),
            (vec![(ReadAs::Right, TO_SPARE_MILLI)], Trust::Trusted, Because::Clear),
        ];
        for (place, phrase) in phrases.iter().enumerate() {
            for (tries, trust, because) in &cases {
                let mut readings = all(900);
                let tries = tries.iter().map(|(read_as, least)| read(phrase, *read_as, *least));
                readings.splice(place..=place, tries);
                let (commands, numbers) = both(&readings);
                let (own, other) = match phrase.kind {
                    AnswerKind::Commands => (commands, numbers),
                    AnswerKind::Numbers => (numbers, commands),
                };
                let wanted = Verdict { trust: *trust, because: *because };
                assert_eq!((own, other), (wanted, clear), "{}: {readings:?}", phrase.words);
            }
        }
    }

    #[test]
    fn nothing_read_is_nothing_trusted() {
        let missed = Verdict { trust: Trust::Not, because: Because::Missed };
        assert_eq!(both(&[]), (missed, missed));
        let found = check("a file".to_owned(), -52.34, Vec::new(), Vec::new());
        assert_eq!((found.noise_tenth_dbfs, found.speech_tenth_dbfs), (-523, -523));
        let levels = vec![-20.0, -30.0, -24.04];
        assert_eq!(check(String::new(), -52.0, levels, Vec::new()).speech_tenth_dbfs, -240);
    }

    #[test]
    fn a_reading_is_taken_for_what_was_heard() {
        let phrase = &check_phrases()[0];
        let scores = Scores { b: -0.5, a: -0.25, m: 3.5 };
        let accept =
            |meaning| Decision::Accept { meaning, words: "W".to_owned(), scores: scores.clone() };
        let confirm = Limits { b: -1.3, a: -1.0, m: 3.0 };
        let thresholds = Thresholds { confirm, ..Thresholds::default() };
        let of =
            |decision: Option<&Decision>| read_phrase(phrase, decision, Hash::START, &thresholds);
        let right = of(Some(&accept(Meaning::StepDone)));
        assert_eq!(right.read_as, ReadAs::Right);
        let margins = Margins { b_milli: 800, a_milli: 750, m_milli: 500 };
        assert_eq!((right.margins, margins.fit()), (Some(margins), 750));
        assert_eq!(of(Some(&accept(Meaning::Back))).read_as, ReadAs::Mistaken);
        let again = Decision::AskAgain { best: None, why: String::new() };
        assert_eq!(of(Some(&again)).read_as, ReadAs::Unclear);
        assert_eq!(of(None).read_as, ReadAs::Nothing);
    }

    fn any_reading() -> impl Strategy<Value = PhraseRead> {
        let phrase = proptest::sample::select(check_phrases());
        let read_as = proptest::sample::select(ReadAs::ALL.to_vec());
        (phrase, read_as, -2_000_i32..2_000)
            .prop_map(|(phrase, read_as, least)| read(&phrase, read_as, least))
    }

    proptest! {
        /// Nothing that goes worse ever raises a verdict.
        #[test]
        fn worse_is_never_trusted_more(
            base in proptest::bool::ANY,
            more in proptest::collection::vec(any_reading(), 0..12),
            place in any::<proptest::sample::Index>(),
            worse in proptest::sample::select(vec![ReadAs::Unclear, ReadAs::Mistaken, ReadAs::Nothing]),
            less in 0_i32..2_000,
        ) {
            let mut readings = if base { all(900) } else { Vec::new() };
            readings.extend(more);
            prop_assume!(!readings.is_empty());
            let (commands, numbers) = both(&readings);
            let at = place.index(readings.len());
            let mut thinner = readings.clone();
            let margins = thinner[at].margins.as_mut().unwrap();
            margins.b_milli -= less;
            let mut failed = readings.clone();
            if failed[at].read_as != ReadAs::Mistaken { failed[at].read_as = worse; }
            for worse in [thinner, failed] {
                let (c, n) = both(&worse);
                prop_assert!(c.trust <= commands.trust && n.trust <= numbers.trust);
            }
            // A mistake spoils its kind whatever else was heard.
            for (kind, verdict) in [(AnswerKind::Commands, commands), (AnswerKind::Numbers, numbers)] {
                let mistaken = readings.iter().any(|r| r.kind == kind && r.read_as == ReadAs::Mistaken);
                prop_assert!(!mistaken || verdict.trust == Trust::Not);
            }
        }
    }
}
