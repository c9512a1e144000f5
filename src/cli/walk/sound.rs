//! A crew that is heard: frames from any source through the ear, the recogniser
//! and the decision. A microphone takes exactly this path.

use std::cell::Cell;
use std::io;
use std::rc::Rc;
use std::sync::Arc;
use std::sync::mpsc::Receiver;

use crate::daemon::{Crew, Hearer, Input, Utterance};
use crate::domain::walk::{Expect, Prompt};
use crate::domain::{Clip, Draft, Keeps, Units};
use crate::speech::{self, Decision, Scores, Wording};
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

    /// Whether what was said last was spoken, and not only shown.
    pub(in crate::cli) fn has_spoken(&self) -> bool {
        !self.mouth.is_muted()
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
    pub(super) hearer: Hearer,
    pub(super) ear: Ear<S>,
    /// How much was heard, in milliseconds, for a clock that follows the sound.
    pub(super) heard_ms: Rc<Cell<u64>>,
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

impl<'a, S: FrameSource> SoundCrew<'a, S> {
    pub(in crate::cli) fn new(screen: Screen<'a>, recogniser: Arc<Recogniser>, source: S) -> Self {
        let ear = Ear::new(source, recogniser.vad(), crate::sound::Endpoints::default());
        Self {
            screen,
            hearer: Hearer::new(recogniser),
            ear,
            heard_ms: Rc::default(),
            news: None,
            look_again_ms: LOOK_AGAIN_MS,
        }
    }

    /// The same, keeping sound as clips.
    pub(in crate::cli) fn keeping(mut self, clips: Clips, keeps: Keeps) -> Self {
        self.hearer = self.hearer.keeping(clips, keeps);
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
        self.hearer.told(prompt);
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
        let Utterance { input, decision, took_ms } =
            self.hearer.hear(segment, expect, &self.screen.wording)?;
        let line = match decision {
            Decision::Accept { words, scores: Scores { b, a, m }, .. } => {
                format!("\"{words}\"  (b {b:.2}, a {a:.2}, m {m:.1}; {took_ms} ms)")
            }
            Decision::AskAgain { best, why } => {
                let guess = best.map(|(_, words, _)| format!("perhaps \"{words}\": "));
                format!("({}{why}; {took_ms} ms)", guess.unwrap_or_default())
            }
        };
        self.screen.out.line(&format!("  hears  {line}"))?;
        Ok(input)
    }

    fn noise_tenth_dbfs(&self) -> Option<i32> {
        self.ear.noise_dbfs().map(speech::tenths)
    }

    fn has_spoken(&self) -> bool {
        self.screen.has_spoken()
    }

    fn keep(&mut self, draft: &Draft) -> Result<Option<Clip>, String> {
        self.hearer.keep(draft)
    }
}
