//! A crew that is heard: frames from any source through the ear, the recogniser
//! and the decision. A microphone takes exactly this path.

use std::cell::Cell;
use std::io;
use std::rc::Rc;
use std::sync::Arc;

use crate::daemon::{Crew, Input};
use crate::domain::walk::{Expect, ExpectAnswer, Prompt};
use crate::domain::{Hash, Heard, Units};
use crate::speech::{self, Decision, Found, Grammar, Scores, Wording};
use crate::voice::{Ear, FrameSource, Listened, Mouth, Recogniser, VoiceError};

use super::super::out::Out;

/// Where a walk is shown and spoken.
pub(in crate::cli) struct Screen<'a> {
    pub(super) out: &'a mut Out,
    mouth: Mouth,
    units: Units,
    pub(super) wording: Wording,
}

impl std::fmt::Debug for Screen<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Screen").finish_non_exhaustive()
    }
}

impl<'a> Screen<'a> {
    pub(in crate::cli) fn new(
        out: &'a mut Out,
        mouth: Mouth,
        units: Units,
        wording: Wording,
    ) -> Self {
        Self { out, mouth, units, wording }
    }

    /// A line beside the conversation.
    pub(in crate::cli) fn note(&mut self, line: &str) -> io::Result<()> {
        self.out.line(line)
    }

    /// The words that can be chosen, where it is a choice.
    pub(super) fn offer(&mut self, expect: &Expect) -> io::Result<()> {
        match &expect.answer {
            ExpectAnswer::Choice(options) => {
                let options: Vec<&str> =
                    options.iter().map(|option| self.wording.choice(option)).collect();
                self.out.line(&format!("         one of: {}", options.join(" | ")))
            }
            _ => Ok(()),
        }
    }

    pub(in crate::cli) fn say(&mut self, prompt: &Prompt) -> io::Result<()> {
        let line = speech::line(prompt, self.units, &self.wording);
        self.out.line(&format!("  says   {}", line.shown))?;
        self.mouth.say(&line.spoken);
        if let Some(trouble) = self.mouth.trouble() {
            self.out.line(&format!("  ({trouble}; what would be said is shown)"))?;
        }
        Ok(())
    }
}

/// Why a crew cannot be heard or told any more.
#[derive(Debug, thiserror::Error)]
pub(in crate::cli) enum CrewError {
    #[error(transparent)]
    Voice(#[from] VoiceError),
    #[error("the conversation cannot be shown")]
    Out(#[from] io::Error),
}

/// How much sound without speech passes before looking whether others have
/// logged, in milliseconds.
const LOOK_AGAIN_MS: u64 = 5_000;

pub(in crate::cli) struct SoundCrew<'a, S> {
    screen: Screen<'a>,
    recogniser: Arc<Recogniser>,
    ear: Ear<S>,
    /// How much was heard, in milliseconds, for a clock that follows the sound.
    heard_ms: Rc<Cell<u64>>,
    /// What was heard last and was not clear.
    unclear: Option<(Grammar, Found)>,
    /// Whether the walk has asked the same again because of that.
    asked_again: bool,
}

impl<'a, S: FrameSource> SoundCrew<'a, S> {
    pub(in crate::cli) fn new(screen: Screen<'a>, recogniser: Arc<Recogniser>, source: S) -> Self {
        let ear = Ear::new(source, recogniser.vad(), crate::sound::Endpoints::default());
        let heard_ms = Rc::default();
        Self { screen, recogniser, ear, heard_ms, unclear: None, asked_again: false }
    }

    /// How much of its source was heard, in milliseconds.
    pub(in crate::cli) fn heard_ms(&self) -> Rc<Cell<u64>> {
        Rc::clone(&self.heard_ms)
    }

    /// A line beside the conversation.
    pub(in crate::cli) fn note(&mut self, line: &str) -> io::Result<()> {
        self.screen.note(line)
    }
}

impl<S: FrameSource> Crew for SoundCrew<'_, S> {
    type Error = CrewError;

    fn say(&mut self, prompt: &Prompt) -> Result<(), CrewError> {
        match prompt {
            Prompt::AskAgain | Prompt::Reworded { .. } => self.asked_again = true,
            Prompt::Logged | Prompt::OthersLogged | Prompt::OthersChanged => self.unclear = None,
            _ => {}
        }
        // It does not listen while it speaks.
        self.ear.pause();
        self.screen.say(prompt)?;
        Ok(())
    }

    fn listen(&mut self, expect: &Expect) -> Result<Input, CrewError> {
        self.ear.resume();
        let listened = self.ear.listen(Some(LOOK_AGAIN_MS))?;
        self.heard_ms.set(self.ear.heard_ms());
        let segment = match listened {
            Listened::Speech(segment) => segment,
            Listened::Quiet => return Ok(Input::Nothing),
            Listened::End => return Ok(Input::Gone),
        };
        let grammar = speech::grammar(expect, &self.screen.wording);
        let earlier =
            self.unclear.take().filter(|(before, _)| self.asked_again && *before == grammar);
        self.asked_again = false;
        let earlier = earlier.as_ref().map(|(_, found)| found);
        let heard = self.recogniser.hear_again(&segment.samples, &grammar, earlier)?;
        let sound = segment.sha256();
        tracing::info!(decision = ?heard.decision, free = %heard.transcript, %sound, "heard");
        match heard.decision {
            Decision::Accept { meaning, words, scores } => {
                let Scores { b, a, m } = scores;
                self.screen.out.line(&format!(
                    "  hears  \"{words}\"  (b {b:.2}, a {a:.2}, m {m:.1}; {} ms)",
                    heard.took_ms
                ))?;
                // A digest of 64 digits always reads back.
                let sound = sound.parse().unwrap_or(Hash::START);
                let (b_milli, a_milli, m_milli) = (milli(b), milli(a), milli(m));
                let heard = Heard { words, b_milli, a_milli, m_milli, sound };
                Ok(Input::Said { meaning, heard: Some(heard) })
            }
            Decision::AskAgain { best, why } => {
                let guess = best.map(|(_, words, _)| format!("perhaps \"{words}\": "));
                let guess = guess.unwrap_or_default();
                self.screen.out.line(&format!("  hears  ({guess}{why}; {} ms)", heard.took_ms))?;
                self.unclear = heard.found.map(|found| (grammar, found));
                Ok(Input::Unclear)
            }
        }
    }
}

/// Thousandths of a nat.
#[expect(clippy::cast_possible_truncation, reason = "clamped before")]
fn milli(nats: f32) -> i32 {
    (nats * 1000.0).round().clamp(-1e9, 1e9) as i32
}
