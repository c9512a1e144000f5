//! A crew that is heard: frames from any source through the ear, the recogniser
//! and the decision. A microphone takes exactly this path.

use std::cell::Cell;
use std::collections::VecDeque;
use std::io;
use std::rc::Rc;
use std::sync::Arc;
use std::sync::mpsc::Receiver;

use crate::daemon::{Crew, Input};
use crate::domain::walk::{Expect, Prompt};
use crate::domain::{Clip, Draft, Hash, How, Keeps, Meaning, Units, What};
use crate::sound::{Segment, write_wav};
use crate::speech::{self, Decision, Found, Grammar, Scores, Wording};
use crate::store::Clips;
use crate::voice::{
    Ear, FrameSource, Listened, MicEvent, Microphone, Mouth, Recogniser, VoiceError,
};

use super::super::out::Out;
use super::live;

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

    /// What to type, where the question does not say so.
    pub(super) fn offer(&mut self, expect: &Expect, held: Option<&str>) -> io::Result<()> {
        match speech::typed(expect, held, &self.wording) {
            Some(line) => self.out.line(&format!("         {line}")),
            None => Ok(()),
        }
    }

    pub(in crate::cli) fn say(&mut self, prompt: &Prompt) -> io::Result<()> {
        let line = speech::line(prompt, self.units, &self.wording);
        self.speak(&line.shown, &line.spoken)
    }

    /// Shows and speaks, and says what is wrong with the speaking.
    fn speak(&mut self, shown: &str, spoken: &str) -> io::Result<()> {
        self.out.line(&format!("  says   {shown}"))?;
        self.mouth.say(spoken);
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
/// The same with a live microphone, whose sound takes as long as it lasts.
const LOOK_AGAIN_LIVE_MS: u64 = 1_000;

pub(in crate::cli) struct SoundCrew<'a, S> {
    pub(super) screen: Screen<'a>,
    pub(super) recogniser: Arc<Recogniser>,
    pub(super) ear: Ear<S>,
    /// How much was heard, in milliseconds, for a clock that follows the sound.
    pub(super) heard_ms: Rc<Cell<u64>>,
    sounds: Sounds,
    /// What was heard last and was not clear.
    unclear: Option<(Grammar, Found)>,
    /// Whether the walk has asked the same again because of that.
    asked_again: bool,
    /// What a live microphone tells of itself.
    news: Option<Receiver<MicEvent>>,
    look_again_ms: u64,
}

impl<'a> SoundCrew<'a, Microphone> {
    /// A crew at a live microphone.
    pub(in crate::cli) fn live(
        screen: Screen<'a>,
        recogniser: Arc<Recogniser>,
        mut microphone: Microphone,
    ) -> Self {
        let news = microphone.news();
        let crew = SoundCrew::new(screen, recogniser, microphone);
        Self { news, look_again_ms: LOOK_AGAIN_LIVE_MS, ..crew }
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
        let length_ms = samples.len().saturating_mul(1_000) / crate::sound::RATE_HZ as usize;
        let length_ms = u32::try_from(length_ms).unwrap_or(u32::MAX);
        Ok(note.then_some(Clip { sound: heard.sound, length_ms }))
    }
}

impl<'a, S: FrameSource> SoundCrew<'a, S> {
    pub(in crate::cli) fn new(screen: Screen<'a>, recogniser: Arc<Recogniser>, source: S) -> Self {
        let ear = Ear::new(source, recogniser.vad(), crate::sound::Endpoints::default());
        Self {
            screen,
            recogniser,
            ear,
            heard_ms: Rc::default(),
            sounds: Sounds::none(),
            unclear: None,
            asked_again: false,
            news: None,
            look_again_ms: LOOK_AGAIN_MS,
        }
    }

    /// The same, keeping sound as clips.
    pub(in crate::cli) fn keeping(mut self, clips: Clips, keeps: Keeps) -> Self {
        (self.sounds.clips, self.sounds.keeps) = (Some(clips), keeps);
        self
    }

    /// Shows what happened to the microphone, and says what the crew must know.
    fn tell_news(&mut self) -> Result<(), CrewError> {
        let news: Vec<MicEvent> = self.news.iter().flat_map(Receiver::try_iter).collect();
        for event in &news {
            tracing::warn!(?event, "microphone");
            self.screen.note(&format!("  ({})", live::shown(event)))?;
        }
        if let Some(words) = news.iter().rev().find_map(live::spoken) {
            self.ear.pause();
            self.screen.speak(words, words)?;
        }
        Ok(())
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
        self.screen.mouth.noise(self.ear.noise_dbfs());
        self.screen.say(prompt)?;
        Ok(())
    }

    fn listen(&mut self, expect: &Expect) -> Result<Input, CrewError> {
        self.tell_news()?;
        self.ear.resume();
        let listened = self.ear.listen(Some(self.look_again_ms))?;
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
                let Scores { b, a, m } = scores.clone();
                self.screen.out.line(&format!(
                    "  hears  \"{words}\"  (b {b:.2}, a {a:.2}, m {m:.1}; {} ms)",
                    heard.took_ms
                ))?;
                // A digest of 64 digits always reads back.
                let sound = sound.parse().unwrap_or(Hash::START);
                let heard = speech::heard(&words, &scores, sound);
                self.sounds.heard(&meaning, sound, segment);
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

    fn noise_tenth_dbfs(&self) -> Option<i32> {
        self.ear.noise_dbfs().map(speech::tenths)
    }

    fn keep(&mut self, draft: &Draft) -> Result<Option<Clip>, String> {
        self.sounds.keep(draft)
    }
}
