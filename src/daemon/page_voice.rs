//! The ear and mouth of a page's crew while a phone is worn: the hearing check,
//! what is said and heard, and what the log says of listening. The walk goes on
//! by touch whatever becomes of the phone.

use std::sync::mpsc::Receiver;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use jiff::tz::TimeZone;

use super::headset::{Playing, Speaker, Worn};
use super::{Hearer, Input, Listening, OpenEar, Reader, Utterance, ears};
use crate::config::Config;
use crate::domain::walk::{Expect, Prompt};
use crate::domain::{At, Clip, Draft, Keeps, Meaning, PhraseRead, ReadAs, Standing, Units, WalkId};
use crate::sound::Endpoints;
use crate::speech::{self, Decision, Wording};
use crate::store::{Clips, Store, StoreError};
use crate::voice::{Ear, Listened, MicEvent, Mouth, Recogniser, Stream, VoiceError};
use crate::web::{EarState, EarTrouble, ShownEar, ShownHeard};

/// How often it is looked whether a phone has played what it was sent.
pub(super) const LOOK_PLAYED: Duration = Duration::from_millis(20);

/// The recogniser of all walks; loaded when it is first needed.
#[derive(Clone, Default)]
pub(super) struct SharedRecogniser(Arc<Mutex<Option<Arc<Recogniser>>>>);

impl std::fmt::Debug for SharedRecogniser {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SharedRecogniser").finish_non_exhaustive()
    }
}

impl SharedRecogniser {
    fn get(&self, config: &Config) -> Result<Arc<Recogniser>, VoiceError> {
        let mut kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(recogniser) = &*kept {
            return Ok(Arc::clone(recogniser));
        }
        let recogniser = Arc::new(Recogniser::load(&config.models)?);
        *kept = Some(Arc::clone(&recogniser));
        Ok(recogniser)
    }
}

/// Of whom, in which walk.
pub(super) struct Whose {
    pub(super) job: String,
    pub(super) walk: WalkId,
    pub(super) by: String,
    pub(super) zone: TimeZone,
}

pub(super) struct PageVoice {
    config: Config,
    recogniser: SharedRecogniser,
    clock: fn(&TimeZone) -> At,
    whose: Whose,
    units: Units,
    wording: Wording,
    phones: Receiver<Worn>,
    on: Option<On>,
    /// It stays when a phone is taken off: what was dictated may still get its yes.
    hearer: Option<Hearer>,
    shown: ShownEar,
}

/// A phone that is worn.
struct On {
    mouth: Mouth,
    speaker: Speaker,
    ear: Option<Open>,
    /// Whether it did not play what it was sent, and has not said since that it is
    /// silent.
    was_lost: bool,
    news: Receiver<MicEvent>,
}

/// An ear that is open, as the log has it.
struct Open {
    ear: Ear<Stream>,
    log: OpenEar,
    /// The entry of the hearing check that it rests on.
    check: u64,
}

/// Why a hearing check was left.
#[derive(Debug)]
enum CheckLeft {
    Touched,
    Gone,
    /// It does not play what is said, and might later.
    Silent,
    Voice(VoiceError),
}

impl From<VoiceError> for CheckLeft {
    fn from(error: VoiceError) -> Self {
        Self::Voice(error)
    }
}

impl PageVoice {
    pub(super) fn new(
        config: Config,
        recogniser: SharedRecogniser,
        clock: fn(&TimeZone) -> At,
        whose: Whose,
        (units, wording): (Units, Wording),
        phones: Receiver<Worn>,
    ) -> Self {
        let can_hear = wording.check().is_ok_and(|file| file.heard);
        let call_word = wording.phrase(&Meaning::CallWord).to_owned();
        let window_s = config.window_s;
        let shown = ShownEar {
            state: EarState::Off,
            can_hear,
            call_word,
            window_s,
            read: None,
            trouble: None,
            heard: None,
        };
        let (on, hearer) = (None, None);
        Self { config, recogniser, clock, whose, units, wording, phones, on, hearer, shown }
    }

    /// How it stands, for the page.
    pub(super) fn shown(&self) -> ShownEar {
        self.shown.clone()
    }

    /// A phone that somebody wants to put on.
    pub(super) fn next(&self) -> Option<Worn> {
        self.phones.try_recv().ok()
    }

    /// Whether an ear is open.
    pub(super) fn hears(&self) -> bool {
        self.on.as_ref().is_some_and(|on| on.ear.is_some())
    }

    /// An answer was given by touch: what was told before is over.
    pub(super) fn answered(&mut self) {
        (self.shown.heard, self.shown.trouble) = (None, None);
    }

    /// Sends speech on its way; it is heard once [`PageVoice::playing`] says so.
    pub(super) fn say(&mut self, prompt: &Prompt) {
        let spoken = speech::line(prompt, self.units, &self.wording).spoken;
        if let Some(hearer) = &mut self.hearer {
            hearer.told(prompt);
        }
        self.speak(&spoken);
    }

    fn speak(&mut self, spoken: &str) {
        let Some(on) = &mut self.on else { return };
        if let Some(Open { ear, .. }) = &mut on.ear {
            // It does not listen while it speaks.
            ear.pause();
            on.mouth.noise(ear.noise_dbfs());
        }
        on.mouth.say(spoken);
        if let Some(trouble) = on.mouth.trouble() {
            self.shown.trouble = Some(EarTrouble::Other(trouble));
        }
    }

    /// Whether what was said last was sent to a phone's loudspeaker.
    pub(super) fn has_spoken(&self) -> bool {
        self.on.as_ref().is_some_and(|on| !on.mouth.is_muted())
    }

    /// How far the phone is with what was said.
    pub(super) fn playing(&mut self) -> Playing {
        let Some(on) = &mut self.on else { return Playing::Done };
        let playing = on.speaker.playing();
        on.was_lost &= playing != Playing::Done;
        playing
    }

    /// Nothing more is to be said now.
    pub(super) fn hush(&mut self) {
        if self.on.as_ref().is_some_and(|on| !on.speaker.hush()) {
            self.take_off();
        }
    }

    /// The phone has not played what it was sent: it is told to be silent, and taken
    /// off where it does not say that it is.
    pub(super) fn lost(&mut self) {
        let Some(on) = &mut self.on else { return };
        if std::mem::replace(&mut on.was_lost, true) {
            self.take_off();
        } else {
            self.hush();
        }
        self.shown.trouble = Some(EarTrouble::Silent);
    }

    /// Takes the phone off where it is gone, or where the person's hearing was
    /// checked anew elsewhere: that check says nothing of this microphone.
    pub(super) fn look(&mut self, standing: &Standing) {
        let Some(on) = &self.on else { return };
        let newest = standing.hearing.get(&self.whose.by).map(|checked| checked.seq);
        let is_other = |open: &Open| newest.is_some_and(|newest| open.check < newest);
        if on.speaker.is_gone() {
            self.take_off();
        } else if on.ear.as_ref().is_some_and(is_other) {
            self.take_off();
            self.shown.trouble = Some(EarTrouble::CheckedElsewhere);
        }
    }

    /// Takes the phone off, and says so in the log.
    pub(super) fn take_off(&mut self) {
        let Some(on) = self.on.take() else { return };
        if let Some(open) = on.ear {
            let closed = self.store().and_then(|mut store| open.log.close(&mut store, self.now()));
            if let Err(error) = closed {
                tracing::error!(%error, "the log does not say that the ear was closed");
            }
        }
        self.shown.state = EarState::Off;
        (self.shown.read, self.shown.trouble, self.shown.heard) = (None, None, None);
    }

    fn now(&self) -> At {
        (self.clock)(&self.whose.zone)
    }

    fn store(&self) -> Result<Store, StoreError> {
        Store::open(&self.config.log())
    }

    /// Puts a phone on: it speaks from now on, and is heard once a hearing check
    /// of this person with it holds. `touched` says whether somebody has answered
    /// by touch in the meantime; then the check is left. `publish` shows how it is.
    pub(super) fn put_on(
        &mut self,
        worn: Worn,
        mut touched: impl FnMut() -> bool,
        mut publish: impl FnMut(&ShownEar),
    ) {
        self.take_off();
        let Worn { name, stream, news, speaker } = worn;
        let mouth = super::mouth(&self.config, None, &self.wording, speaker.clone());
        self.on = Some(On { mouth, speaker, ear: None, was_lost: false, news });
        self.shown.state = EarState::Speaks;
        if let Some(stream) = stream.filter(|_| self.shown.can_hear)
            && let Err(why) = self.open_ear(&name, stream, &mut touched, &mut publish)
        {
            // The phone may be gone by now.
            if self.on.is_some() {
                (self.shown.state, self.shown.read) = (EarState::Speaks, None);
                self.shown.trouble = why;
            }
        }
        publish(&self.shown);
    }

    /// Opens the ear, after a hearing check where none holds.
    fn open_ear(
        &mut self,
        name: &str,
        stream: Stream,
        touched: &mut impl FnMut() -> bool,
        publish: &mut impl FnMut(&ShownEar),
    ) -> Result<(), Option<EarTrouble>> {
        let refused = |error: VoiceError| Some(EarTrouble::Other(error.to_string()));
        let recogniser = self.recogniser.get(&self.config).map_err(refused)?;
        let keeps = ears::keeps(self.config.keep_sound);
        let mut ear = Ear::new(stream, recogniser.vad(), Endpoints::default());
        let hearer = self.hearer.take().unwrap_or_else(|| {
            Hearer::new(recogniser).keeping(Clips::of(&self.config.data), keeps)
        });
        let opened = self.check_and_open(name, keeps, (&mut ear, &hearer), touched, publish);
        self.hearer = Some(hearer);
        let (log, check) = opened?;
        if let Some(on) = &mut self.on {
            on.ear = Some(Open { ear, log, check });
            (self.shown.state, self.shown.read) = (EarState::Hears, None);
        }
        Ok(())
    }

    /// The ear as the log has it, and the check it rests on.
    fn check_and_open(
        &mut self,
        name: &str,
        keeps: Keeps,
        (ear, hearer): (&mut Ear<Stream>, &Hearer),
        touched: &mut impl FnMut() -> bool,
        publish: &mut impl FnMut(&ShownEar),
    ) -> Result<(OpenEar, u64), Option<EarTrouble>> {
        let refused = |error: &dyn std::fmt::Display| Some(EarTrouble::Other(error.to_string()));
        let mut store = self.store().map_err(|error| refused(&error))?;
        let entries = store.entries(&self.whose.job, 0).map_err(|error| refused(&error))?;
        let standing = Standing::of(&entries);
        let (by, now) = (self.whose.by.clone(), self.now());
        let held = standing.checked_within(&by, now, self.config.hearing_check_h);
        let check = match held.filter(|held| held.check.source == name) {
            Some(held) => held.seq,
            None => {
                self.shown.state = EarState::Checking;
                let checking = &mut Checking { voice: self, ear, hearer, touched, publish };
                let found = match super::check_hearing(checking, name) {
                    Ok(found) => found,
                    Err(CheckLeft::Touched) => return Err(None),
                    Err(CheckLeft::Silent) => return Err(Some(EarTrouble::Silent)),
                    Err(CheckLeft::Gone) => {
                        self.take_off();
                        return Err(None);
                    }
                    Err(CheckLeft::Voice(error)) => return Err(refused(&error)),
                };
                let now = self.now();
                ears::log_check(&mut store, &self.whose.job, &by, now, found)
                    .map_err(|error| refused(&error))?
            }
        };
        let listening = Listening { source: name.to_owned(), keeps, check: Some(check) };
        let whose = (self.whose.job.as_str(), &self.whose.walk, by.as_str());
        let log = OpenEar::open(&mut store, whose, &listening, self.now())
            .map_err(|error| refused(&error))?;
        Ok((log, check))
    }

    /// Listens for an answer until `goes_on` says no or nobody has spoken for
    /// `quiet_ms`; none where the phone is gone.
    pub(super) fn listen(
        &mut self,
        expect: &Expect,
        quiet_ms: u64,
        goes_on: impl FnMut() -> bool,
    ) -> Option<Input> {
        match self.playing() {
            Playing::Done => {}
            // It was told to be silent and has not said yet that it is.
            Playing::Still => {
                std::thread::sleep(LOOK_PLAYED);
                return Some(Input::Nothing);
            }
            Playing::Lost => {
                self.lost();
                return None;
            }
        }
        let (on, hearer) = (self.on.as_mut()?, self.hearer.as_mut()?);
        let Open { ear, .. } = on.ear.as_mut()?;
        ear.resume();
        let heard = match ear.listen_while(Some(quiet_ms), goes_on) {
            Ok(Listened::Speech(segment)) => hearer.hear(segment, expect, &self.wording),
            Ok(Listened::Quiet) => return self.news(),
            Ok(Listened::End) => {
                self.take_off();
                return None;
            }
            Err(error) => Err(error),
        };
        match heard {
            Ok(Utterance { input, decision, .. }) => {
                self.shown.heard = Some(words(&decision));
                Some(input)
            }
            Err(error) => {
                self.take_off();
                self.shown.trouble = Some(EarTrouble::Other(error.to_string()));
                None
            }
        }
    }

    /// What the microphone tells of itself is shown.
    fn news(&mut self) -> Option<Input> {
        let on = self.on.as_ref()?;
        for event in on.news.try_iter() {
            tracing::warn!(?event, "a phone's microphone");
            self.shown.trouble = match event {
                MicEvent::Clipping { .. } => Some(EarTrouble::TooLoud),
                MicEvent::Dropped { ms } => Some(EarTrouble::SoundLost { ms }),
                MicEvent::Lost { .. } | MicEvent::Back { .. } => continue,
            };
        }
        Some(Input::Nothing)
    }

    pub(super) fn noise_tenth_dbfs(&self) -> Option<i32> {
        let open = self.on.as_ref()?.ear.as_ref()?;
        open.ear.noise_dbfs().map(speech::tenths)
    }

    /// As [`super::Crew::keep`] has it.
    pub(super) fn keep(&self, draft: &Draft) -> Result<Option<Clip>, String> {
        self.hearer.as_ref().map_or(Ok(None), |hearer| hearer.keep(draft))
    }
}

/// What was heard, as the page shows it.
fn words(decision: &Decision) -> ShownHeard {
    match decision {
        Decision::Accept { words, .. } => ShownHeard { words: words.clone(), taken: true },
        Decision::AskAgain { best, .. } => ShownHeard {
            words: best.as_ref().map_or_else(String::new, |(_, words, _)| words.clone()),
            taken: false,
        },
    }
}

/// A hearing check of the person at the phone.
struct Checking<'a, T, P> {
    voice: &'a mut PageVoice,
    ear: &'a mut Ear<Stream>,
    hearer: &'a Hearer,
    touched: &'a mut T,
    publish: &'a mut P,
}

impl<T: FnMut() -> bool, P: FnMut(&ShownEar)> Reader for Checking<'_, T, P> {
    type Error = CheckLeft;

    fn say(&mut self, prompt: &Prompt) -> Result<(), CheckLeft> {
        let line = speech::line(prompt, self.voice.units, &self.voice.wording);
        self.voice.shown.read = Some(line.shown);
        (self.publish)(&self.voice.shown);
        self.ear.pause();
        self.voice.speak(&line.spoken);
        loop {
            if (self.touched)() {
                self.voice.hush();
                return Err(CheckLeft::Touched);
            }
            match self.voice.playing() {
                Playing::Still => std::thread::sleep(LOOK_PLAYED),
                Playing::Done => return Ok(()),
                Playing::Lost if self.voice.on.as_ref().is_none_or(|on| on.speaker.is_gone()) => {
                    return Err(CheckLeft::Gone);
                }
                Playing::Lost => {
                    self.voice.hush();
                    return Err(CheckLeft::Silent);
                }
            }
        }
    }

    fn wait(&mut self, quiet_ms: u64) -> Result<Listened, CheckLeft> {
        self.ear.resume();
        let mut was_touched = false;
        let touched = &mut self.touched;
        let listened = self.ear.listen_while(Some(quiet_ms), || {
            was_touched = touched();
            !was_touched
        })?;
        if was_touched {
            return Err(CheckLeft::Touched);
        }
        match listened {
            Listened::End => Err(CheckLeft::Gone),
            listened => Ok(listened),
        }
    }

    fn noise_dbfs(&self) -> Option<f32> {
        self.ear.noise_dbfs()
    }

    fn decide(&self, samples: &[f32], expect: &Expect) -> Result<Decision, CheckLeft> {
        Ok(self.hearer.decide(samples, expect, &self.voice.wording)?)
    }

    fn note(&mut self, read: &PhraseRead) -> Result<(), CheckLeft> {
        let words = read.heard.as_ref().map_or_else(String::new, |heard| heard.words.clone());
        let taken = read.read_as == ReadAs::Right;
        self.voice.shown.heard = Some(ShownHeard { words, taken });
        (self.publish)(&self.voice.shown);
        Ok(())
    }
}

#[cfg(test)]
impl PageVoice {
    /// Of a page that nobody puts a phone on for.
    pub(super) fn nobody(wording: Wording) -> Self {
        let config = Config::read(Some(std::path::Path::new("nosuch")), |name| {
            (name == "HOME").then(|| "nosuch".into())
        });
        let whose = Whose {
            job: "EX-0001".to_owned(),
            walk: WalkId::first("a-walk"),
            by: "Installer Example".to_owned(),
            zone: TimeZone::UTC,
        };
        let (_, phones) = std::sync::mpsc::sync_channel(1);
        let recogniser = SharedRecogniser::default();
        Self::new(config.unwrap(), recogniser, super::now, whose, (Units::Us, wording), phones)
    }
}
