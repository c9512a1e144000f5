//! The invented crew, typing or talking. Talk is synthesised to a recording,
//! played through the path a microphone takes, and kept.

use std::collections::{HashMap, VecDeque};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use super::super::walk::{CrewError, Screen, SoundCrew};
use super::clock::Clock;
use super::script::{Mishaps, Script};
use crate::daemon::{Crew, Input};
use crate::domain::walk::{Expect, Prompt};
use crate::domain::{Clip, Draft, How};
use crate::sound::FRAME;
use crate::speech::call_word;
use crate::voice::{FrameSource, Recogniser, VoiceError, WavSource, render};

/// The synthetic voice.
pub(super) const VOICE: &str = "en-us";
const WORDS_PER_MINUTE: u32 = 150;

/// Answers at a keyboard.
#[derive(Debug)]
pub(super) struct Typist<'a> {
    screen: Screen<'a>,
    script: Script,
    clock: Clock,
}

impl<'a> Typist<'a> {
    pub(super) fn new(screen: Screen<'a>, script: Script, clock: Clock) -> Self {
        Self { screen, script, clock }
    }
}

impl Crew for Typist<'_> {
    type Error = io::Error;

    fn say(&mut self, prompt: &Prompt) -> io::Result<()> {
        self.script.hears(prompt);
        self.screen.say(prompt)
    }

    fn has_spoken(&self) -> bool {
        self.screen.has_spoken()
    }

    fn listen(&mut self, expect: &Expect) -> io::Result<Input> {
        self.clock.pass_s(self.script.works_s());
        let Some(reply) = self.script.reply(expect) else { return Ok(Input::Gone) };
        self.screen.note(&format!("  types  {}", typed(&reply)))?;
        Ok(Input::Said { meaning: reply.meaning, how: How::Keys })
    }
}

fn typed(reply: &super::script::Reply) -> &str {
    match &reply.meaning {
        crate::domain::Meaning::Words(text) => text,
        _ => &reply.words,
    }
}

/// Recordings still to be played, shared between the crew and the ear.
type Queue = Arc<Mutex<VecDeque<PathBuf>>>;

/// Plays what is queued, and the quiet of the site in between.
struct Site {
    queue: Queue,
    playing: WavSource,
}

/// Silence after each recording, in milliseconds: longer than the pause that
/// ends an utterance.
const SILENCE_MS: u32 = 1_200;

impl FrameSource for Site {
    fn next_frame(&mut self) -> Result<Option<[f32; FRAME]>, VoiceError> {
        if let Some(frame) = self.playing.next_frame()? {
            return Ok(Some(frame));
        }
        let next = self.queue.lock().unwrap_or_else(PoisonError::into_inner).pop_front();
        match next {
            Some(file) => {
                self.playing.add(file);
                self.playing.next_frame()
            }
            None => Ok(Some([0.0; FRAME])),
        }
    }
}

/// Answers by voice.
pub(super) struct Talker<'a> {
    ears: SoundCrew<'a, Site>,
    script: Script,
    queue: Queue,
    folder: PathBuf,
    recorded: HashMap<String, PathBuf>,
    clock: Clock,
    /// Until when an answer counts without the call word, in seconds.
    window_s: u32,
    /// The window is closed, and the call word was said.
    called: bool,
}

impl<'a> Talker<'a> {
    pub(super) fn new(
        screen: Screen<'a>,
        script: Script,
        recogniser: Arc<Recogniser>,
        folder: &Path,
        clock: Clock,
        window_s: u32,
    ) -> Self {
        let queue = Queue::default();
        let playing = WavSource::new([], SILENCE_MS);
        let site = Site { queue: Arc::clone(&queue), playing };
        Self {
            ears: SoundCrew::new(screen, recogniser, site),
            script,
            queue,
            folder: folder.to_owned(),
            recorded: HashMap::new(),
            clock,
            window_s,
            called: false,
        }
    }

    /// Mishaps that have not happened yet.
    pub(super) fn mishaps(&self) -> Mishaps {
        self.script.mishaps
    }

    /// Questions that were not heard in any try.
    pub(super) fn touched(&self) -> u32 {
        self.script.touched
    }

    /// Says it and listens to it.
    fn hears(&mut self, words: &str, expect: &Expect) -> Result<Input, CrewError> {
        self.ears.note(&format!("  crew   \"{words}\""))?;
        let path = self.record(words)?;
        self.queue.lock().unwrap_or_else(PoisonError::into_inner).push_back(path);
        match self.ears.listen(expect)? {
            // Nothing in it that sounds like speech.
            Input::Nothing => Ok(Input::Unclear),
            input => Ok(input),
        }
    }

    fn record(&mut self, words: &str) -> Result<PathBuf, VoiceError> {
        if let Some(path) = self.recorded.get(words) {
            return Ok(path.clone());
        }
        let name: String =
            words.chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).take(80).collect();
        let path = self.folder.join(format!("{name}.wav"));
        render(words, VOICE, WORDS_PER_MINUTE, &path)?;
        self.recorded.insert(words.to_owned(), path.clone());
        Ok(path)
    }
}

impl Crew for Talker<'_> {
    type Error = CrewError;

    fn say(&mut self, prompt: &Prompt) -> Result<(), CrewError> {
        self.script.hears(prompt);
        self.ears.say(prompt)
    }

    fn listen(&mut self, expect: &Expect) -> Result<Input, CrewError> {
        // Work takes longer than the window: then the call word comes first.
        let works_s = self.script.works_s();
        self.clock.pass_s(works_s);
        self.called |= self.window_s < works_s && !self.script.touch;
        if self.called {
            let word = call_word();
            let input = self.hears(word, expect)?;
            self.called =
                !matches!(&input, Input::Said { meaning: crate::domain::Meaning::CallWord, .. });
            return Ok(input);
        }
        let Some(reply) = self.script.reply(expect) else { return Ok(Input::Gone) };
        if self.script.touch {
            self.ears.note(&format!("  types  {}", typed(&reply)))?;
            return Ok(Input::Said { meaning: reply.meaning, how: How::Keys });
        }
        self.hears(&reply.words, expect)
    }

    fn noise_tenth_dbfs(&self) -> Option<i32> {
        self.ears.noise_tenth_dbfs()
    }

    fn has_spoken(&self) -> bool {
        self.ears.has_spoken()
    }

    fn keep(&mut self, draft: &Draft) -> Result<Option<Clip>, String> {
        self.ears.keep(draft)
    }
}
