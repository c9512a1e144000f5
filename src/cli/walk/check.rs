//! The hearing check: what it says, and how it is logged. What it finds is
//! judged in `speech`.

use jiff::tz::TimeZone;

use super::super::home::Home;
use super::sound::{CrewError, SoundCrew};
use crate::daemon::{self, Crew as _};
use crate::domain::walk::Prompt;
use crate::domain::{At, Draft, Hash, HearingCheck, How, Key, PhraseRead, ReadAs, What};
use crate::speech::{self, CheckPhrase, QUIET_MS, TRIES, Thresholds};
use crate::voice::{FrameSource, Listened};

/// How long a phrase is waited for, in milliseconds.
const PATIENCE_MS: u64 = 10_000;
/// How often quiet is asked for where somebody speaks into it.
const QUIETS: usize = 3;

impl<S: FrameSource> SoundCrew<'_, S> {
    /// Listens to the noise, then to each phrase, and once more at the end to those
    /// that were not taken.
    pub(in crate::cli) fn check_hearing(
        &mut self,
        source: &str,
    ) -> Result<HearingCheck, CrewError> {
        self.quiet()?;
        let noise_dbfs = self.ear.noise_dbfs().unwrap_or(-100.0);
        let phrases = speech::check_phrases();
        let (mut read, mut levels_dbfs): (Vec<PhraseRead>, _) = (Vec::new(), Vec::new());
        for nth in 0..TRIES {
            for phrase in &phrases {
                let taken =
                    |read: &PhraseRead| read.asked == phrase.words && read.read_as == ReadAs::Right;
                if !read.iter().any(taken) {
                    let Some(one) = self.read(phrase, 0 < nth, &mut levels_dbfs)? else { break };
                    read.push(one);
                }
            }
        }
        let check = speech::check(source.to_owned(), noise_dbfs, levels_dbfs, read);
        let (commands, numbers, noisy) = (check.commands, check.numbers, check.is_noisy());
        self.say(&Prompt::CheckVerdict { commands, numbers, noisy })?;
        Ok(check)
    }

    fn quiet(&mut self) -> Result<(), CrewError> {
        let quiet_s = usize::try_from(QUIET_MS / 1_000).unwrap_or(usize::MAX);
        for _ in 0..QUIETS {
            self.say(&Prompt::CheckQuiet { quiet_s })?;
            self.ear.resume();
            let listened = self.ear.listen(Some(QUIET_MS))?;
            self.heard_ms.set(self.ear.heard_ms());
            if !matches!(listened, Listened::Speech(_)) {
                break;
            }
        }
        Ok(())
    }

    /// One phrase read once; none where the sound has ended.
    fn read(
        &mut self,
        phrase: &CheckPhrase,
        again: bool,
        levels_dbfs: &mut Vec<f32>,
    ) -> Result<Option<PhraseRead>, CrewError> {
        let thresholds = Thresholds::default();
        self.say(&Prompt::CheckRead { phrase: phrase.words.clone(), again })?;
        self.ear.resume();
        let listened = self.ear.listen(Some(PATIENCE_MS))?;
        self.heard_ms.set(self.ear.heard_ms());
        let segment = match listened {
            Listened::Speech(segment) => segment,
            Listened::Quiet => {
                let nothing = speech::read_phrase(phrase, None, Hash::START, &thresholds);
                return Ok(Some(nothing));
            }
            Listened::End => return Ok(None),
        };
        levels_dbfs.push(segment.level_dbfs);
        let grammar = speech::grammar(&phrase.expect, &self.screen.wording);
        let decision = self.recogniser.hear(&segment.samples, &grammar)?.decision;
        let sound = segment.sha256().parse().unwrap_or(Hash::START);
        let read = speech::read_phrase(phrase, Some(&decision), sound, &thresholds);
        let words = read.heard.as_ref().map_or("nothing that fits", |heard| &heard.words);
        let least = read.margins.map_or(String::new(), |margins| {
            format!(", {:.2} to spare", f64::from(margins.fit()) / 1_000.0)
        });
        self.note(&format!("  hears  \"{words}\"  ({}{least})", read.read_as.word()))?;
        Ok(Some(read))
    }
}

/// Puts a check into the log of a job; gives its entry.
pub(in crate::cli) fn log_check(
    home: &mut Home,
    job: &str,
    by: &str,
    at: At,
    check: HearingCheck,
) -> anyhow::Result<u64> {
    let draft = Draft {
        job: job.to_owned(),
        walk: None,
        at,
        by: by.to_owned(),
        how: How::Program,
        what: What::HearingChecked(Box::new(check)),
        corrects: None,
        key: Key(format!("hearing/{}", uuid::Uuid::new_v4())),
    };
    Ok(home.store.append(&draft, None)?.entry().seq)
}

/// The check of this person that still holds, at most so many hours old. Its age
/// goes by the clock on the wall, not by that of a recording.
pub(super) fn holding(
    home: &Home,
    job: &str,
    by: &str,
    hours: u32,
    zone: &TimeZone,
) -> anyhow::Result<Option<u64>> {
    let standing = home.job(job)?.standing;
    let checked = standing.checked_within(by, daemon::now(zone), hours);
    Ok(checked.map(|checked| checked.seq))
}
