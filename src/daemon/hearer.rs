//! An utterance under a question: what is decided, with a second try counted
//! together with the first, and which sound may have to be kept.

use std::collections::VecDeque;
use std::io;
use std::sync::Arc;

use super::Input;
use crate::domain::walk::{Expect, Prompt};
use crate::domain::{Clip, Draft, Hash, How, Keeps, Meaning, What};
use crate::sound::{RATE_HZ, Segment, write_wav};
use crate::speech::{self, Decision, Found, Grammar, Wording};
use crate::store::Clips;
use crate::voice::{Recogniser, VoiceError};

/// Hears utterances, one question after the other.
pub struct Hearer {
    recogniser: Arc<Recogniser>,
    sounds: Sounds,
    /// What was heard last and was not clear.
    unclear: Option<(Grammar, Found)>,
    /// Whether the walk has asked the same again because of that.
    asked_again: bool,
}

/// What came of an utterance.
#[derive(Debug)]
pub struct Utterance {
    /// What it conveys.
    pub input: Input,
    /// Why.
    pub decision: Decision,
    /// From its end to the decision, in milliseconds.
    pub took_ms: u64,
}

impl Hearer {
    /// Keeps no sound.
    #[must_use]
    pub fn new(recogniser: Arc<Recogniser>) -> Self {
        Self { recogniser, sounds: Sounds::none(), unclear: None, asked_again: false }
    }

    /// The same, keeping sound as clips.
    #[must_use]
    pub fn keeping(mut self, clips: Clips, keeps: Keeps) -> Self {
        (self.sounds.clips, self.sounds.keeps) = (Some(clips), keeps);
        self
    }

    /// What would be decided on a sound alone; nothing is remembered of it.
    ///
    /// # Errors
    /// As [`Hearer::hear`].
    pub fn decide(
        &self,
        samples: &[f32],
        expect: &Expect,
        wording: &Wording,
    ) -> Result<Decision, VoiceError> {
        Ok(self.recogniser.hear(samples, &speech::grammar(expect, wording))?.decision)
    }

    /// The walk says this: whether what comes next is a second try.
    pub fn told(&mut self, prompt: &Prompt) {
        match prompt {
            Prompt::AskAgain | Prompt::Reworded { .. } => self.asked_again = true,
            Prompt::Logged | Prompt::OthersLogged | Prompt::OthersChanged => self.unclear = None,
            _ => {}
        }
    }

    /// Hears an utterance as an answer to what is expected.
    ///
    /// # Errors
    /// A model fails, or nothing may be said now.
    pub fn hear(
        &mut self,
        segment: Segment,
        expect: &Expect,
        wording: &Wording,
    ) -> Result<Utterance, VoiceError> {
        let grammar = speech::grammar(expect, wording);
        let earlier =
            self.unclear.take().filter(|(before, _)| self.asked_again && *before == grammar);
        self.asked_again = false;
        let earlier = earlier.as_ref().map(|(_, found)| found);
        let heard = self.recogniser.hear_again(&segment.samples, &grammar, earlier)?;
        let sound = segment.sha256();
        tracing::info!(decision = ?heard.decision, free = %heard.transcript, %sound, "heard");
        let input = match &heard.decision {
            Decision::Accept { meaning, words, scores } => {
                // A digest of 64 digits always reads back.
                let sound = sound.parse().unwrap_or(Hash::START);
                let said = speech::heard(words, scores, sound);
                self.sounds.heard(meaning, sound, segment);
                Input::Said { meaning: meaning.clone(), how: How::Voice(said) }
            }
            Decision::AskAgain { .. } => {
                self.unclear = heard.found.map(|found| (grammar, found));
                Input::Unclear
            }
        };
        Ok(Utterance { input, decision: heard.decision, took_ms: heard.took_ms })
    }

    /// Puts the sound of a draft on the disk, where it is to be kept, and says
    /// which clip belongs to the entry.
    ///
    /// # Errors
    /// A sentence why it could not be kept.
    pub fn keep(&self, draft: &Draft) -> Result<Option<Clip>, String> {
        self.sounds.keep(draft)
    }
}

/// Utterances that may have to be kept: in memory, and no more than a few.
struct Sounds {
    clips: Option<Clips>,
    keeps: Keeps,
    dictated: Option<(Hash, Vec<f32>)>,
    answers: VecDeque<(Hash, Vec<f32>)>,
}

/// Answers that may still get their yes; twelve seconds each at most.
const MOST_ANSWERS: usize = 6;

impl Sounds {
    fn none() -> Self {
        Self { clips: None, keeps: Keeps::Nothing, dictated: None, answers: VecDeque::new() }
    }

    fn heard(&mut self, meaning: &Meaning, sound: Hash, segment: Segment) {
        match (self.keeps, meaning) {
            (Keeps::Nothing, _) => {}
            (_, Meaning::Words(_)) => self.dictated = Some((sound, segment.samples)),
            (Keeps::Notes, _) => {}
            (Keeps::All, _) => {
                self.answers.push_back((sound, segment.samples));
                if MOST_ANSWERS < self.answers.len() {
                    self.answers.pop_front();
                }
            }
        }
    }

    fn keep(&self, draft: &Draft) -> Result<Option<Clip>, String> {
        let (Some(clips), How::Voice(heard)) = (&self.clips, &draft.how) else { return Ok(None) };
        let note = matches!(draft.what, What::Noted { .. });
        let wanted = match self.keeps {
            Keeps::Nothing => false,
            Keeps::Notes => note,
            Keeps::All => true,
        };
        if !wanted {
            return Ok(None);
        }
        let mut known = self.dictated.iter().chain(&self.answers);
        let Some((_, samples)) = known.find(|(sound, _)| *sound == heard.sound) else {
            if note {
                return Err("the sound of the note is gone; say it again".to_owned());
            }
            tracing::warn!(sound = %heard.sound, "the sound of an answer was not kept");
            return Ok(None);
        };
        let mut wav = io::Cursor::new(Vec::new());
        write_wav(&mut wav, samples).map_err(|error| error.to_string())?;
        clips.keep(heard.sound, &wav.into_inner()).map_err(|error| error.to_string())?;
        let length_ms = samples.len().saturating_mul(1_000) / RATE_HZ as usize;
        let length_ms = u32::try_from(length_ms).unwrap_or(u32::MAX);
        Ok(note.then_some(Clip { sound: heard.sound, length_ms }))
    }
}
