//! The hearing check of a crew that is heard, as its screen shows it.

use jiff::tz::TimeZone;

use super::super::home::Home;
use super::sound::{CrewError, SoundCrew};
use crate::daemon::{self, Reader};
use crate::domain::walk::{Expect, Prompt};
use crate::domain::{Checked, PhraseRead};
use crate::speech::Decision;
use crate::voice::{FrameSource, Listened};

impl<S: FrameSource> Reader for SoundCrew<'_, S> {
    type Error = CrewError;

    fn say(&mut self, prompt: &Prompt) -> Result<(), CrewError> {
        daemon::Crew::say(self, prompt)
    }

    fn wait(&mut self, quiet_ms: u64) -> Result<Listened, CrewError> {
        self.ear.resume();
        let listened = self.ear.listen(Some(quiet_ms))?;
        self.heard_ms.set(self.ear.heard_ms());
        Ok(listened)
    }

    fn noise_dbfs(&self) -> Option<f32> {
        self.ear.noise_dbfs()
    }

    fn decide(&self, samples: &[f32], expect: &Expect) -> Result<Decision, CrewError> {
        Ok(self.hearer.decide(samples, expect, &self.screen.wording)?)
    }

    fn note(&mut self, read: &PhraseRead) -> Result<(), CrewError> {
        let words = read.heard.as_ref().map_or("nothing that fits", |heard| &heard.words);
        let least = read.margins.map_or(String::new(), |margins| {
            format!(", {:.2} to spare", f64::from(margins.fit()) / 1_000.0)
        });
        let line = format!("  hears  \"{words}\"  ({}{least})", read.read_as.word());
        Ok(self.screen.note(&line)?)
    }
}

/// The check of this person that still holds, at most so many hours old. Its age
/// goes by the clock on the wall, not by that of a recording.
pub(super) fn holding(
    home: &Home,
    job: &str,
    by: &str,
    hours: u32,
    zone: &TimeZone,
) -> anyhow::Result<Option<Checked>> {
    let standing = home.job(job)?.standing;
    Ok(standing.checked_within(by, daemon::now(zone), hours).cloned())
}
