//! The hearing check: what it says and in which order it listens. What it finds
//! is judged in `speech`; who says and hears it is given from outside.

use crate::domain::walk::{Expect, Prompt};
use crate::domain::{Hash, HearingCheck, PhraseRead, ReadAs};
use crate::speech::{self, CheckPhrase, Decision, QUIET_MS, TRIES, Thresholds};
use crate::voice::{Listened, VoiceError};

/// How long a phrase is waited for, in milliseconds.
const PATIENCE_MS: u64 = 10_000;
/// How often quiet is asked for where somebody speaks into it.
const QUIETS: usize = 3;

/// Somebody who can be told what to read, and is heard.
pub trait Reader {
    /// Why the check cannot go on.
    type Error: From<VoiceError>;

    /// Says one thing and returns when it is said.
    ///
    /// # Errors
    /// Nobody is reached any more.
    fn say(&mut self, prompt: &Prompt) -> Result<(), Self::Error>;

    /// Listens for so many milliseconds without speech at most.
    ///
    /// # Errors
    /// Nothing is heard any more.
    fn wait(&mut self, quiet_ms: u64) -> Result<Listened, Self::Error>;

    /// How loud it is without speech, in decibels below full scale.
    fn noise_dbfs(&self) -> Option<f32>;

    /// What was heard, as a walk would hear it.
    ///
    /// # Errors
    /// A model fails.
    fn decide(&self, samples: &[f32], expect: &Expect) -> Result<Decision, Self::Error>;

    /// One phrase was read.
    ///
    /// # Errors
    /// Nobody is reached any more.
    fn note(&mut self, read: &PhraseRead) -> Result<(), Self::Error>;
}

/// Listens to the noise, then to each phrase, and once more at the end to those
/// that were not taken. `source` is what is listened to, as the log names it.
///
/// # Errors
/// The reader's own.
pub fn check_hearing<R: Reader>(reader: &mut R, source: &str) -> Result<HearingCheck, R::Error> {
    quiet(reader)?;
    let noise_dbfs = reader.noise_dbfs().unwrap_or(-100.0);
    let phrases = speech::check_phrases();
    let (mut read, mut levels_dbfs): (Vec<PhraseRead>, _) = (Vec::new(), Vec::new());
    for nth in 0..TRIES {
        for phrase in &phrases {
            let taken =
                |read: &PhraseRead| read.asked == phrase.words && read.read_as == ReadAs::Right;
            if !read.iter().any(taken) {
                let Some(one) = self::read(reader, phrase, 0 < nth, &mut levels_dbfs)? else {
                    break;
                };
                read.push(one);
            }
        }
    }
    let check = speech::check(source.to_owned(), noise_dbfs, levels_dbfs, read);
    let (commands, numbers, noisy) = (check.commands, check.numbers, check.is_noisy());
    reader.say(&Prompt::CheckVerdict { commands, numbers, noisy })?;
    Ok(check)
}

fn quiet<R: Reader>(reader: &mut R) -> Result<(), R::Error> {
    let quiet_s = usize::try_from(QUIET_MS / 1_000).unwrap_or(usize::MAX);
    for _ in 0..QUIETS {
        reader.say(&Prompt::CheckQuiet { quiet_s })?;
        if !matches!(reader.wait(QUIET_MS)?, Listened::Speech(_)) {
            break;
        }
    }
    Ok(())
}

/// One phrase read once; none where the sound has ended.
fn read<R: Reader>(
    reader: &mut R,
    phrase: &CheckPhrase,
    again: bool,
    levels_dbfs: &mut Vec<f32>,
) -> Result<Option<PhraseRead>, R::Error> {
    let thresholds = Thresholds::default();
    reader.say(&Prompt::CheckRead { phrase: phrase.words.clone(), again })?;
    let segment = match reader.wait(PATIENCE_MS)? {
        Listened::Speech(segment) => segment,
        Listened::Quiet => {
            return Ok(Some(speech::read_phrase(phrase, None, Hash::START, &thresholds)));
        }
        Listened::End => return Ok(None),
    };
    levels_dbfs.push(segment.level_dbfs);
    let decision = reader.decide(&segment.samples, &phrase.expect)?;
    let sound = segment.sha256().parse().unwrap_or(Hash::START);
    let read = speech::read_phrase(phrase, Some(&decision), sound, &thresholds);
    reader.note(&read)?;
    Ok(Some(read))
}
