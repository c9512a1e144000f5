//! A phone worn as a headset: what it hears as blocks of live sound, what is
//! spoken to it, and how far it has played that. No HTTP here.

use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::mpsc::Sender;
use tokio::sync::mpsc::error::TrySendError as TrySend;

use crate::sound::to_i16;
use crate::voice::{Inlet, Leave, MicEvent, Play, ROOM, Sound, Stream, VoiceError, queue};
use crate::web::{Headset, Headsets, Hears, NotWorn, Spoken};

/// Rates that a phone's sound may have, in samples per second.
const RATES_HZ: std::ops::RangeInclusive<u32> = 8_000..=192_000;
/// What a phone's sound tells of itself and nobody has asked for yet.
const NEWS: usize = 8;
/// How much longer than the sound a phone may take to have played it.
const GRACE: Duration = Duration::from_secs(3);

/// Where phones are put on for one walk.
#[derive(Debug)]
pub(super) struct Phones {
    pub(super) to: SyncSender<Worn>,
}

/// A phone that was put on, for the walk's thread.
pub(super) struct Worn {
    /// What it calls its microphone.
    pub(super) name: String,
    /// Its sound; none where it only speaks.
    pub(super) stream: Option<Stream>,
    pub(super) news: Receiver<MicEvent>,
    pub(super) speaker: Speaker,
}

impl std::fmt::Debug for Worn {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Worn").field("name", &self.name).finish_non_exhaustive()
    }
}

/// The page's end of a phone.
struct Phone {
    inlet: Option<Inlet>,
    progress: Arc<Progress>,
}

impl std::fmt::Debug for Phone {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Phone").field("progress", &self.progress).finish_non_exhaustive()
    }
}

impl Headsets for Phones {
    fn put_on(&self, headset: Headset) -> Result<Box<dyn Hears>, NotWorn> {
        let Headset { name, rate_hz, speaks } = headset;
        if rate_hz.is_some_and(|rate_hz| !RATES_HZ.contains(&rate_hz)) {
            return Err(NotWorn::Rate);
        }
        let (inlets, blocks) = queue(ROOM);
        let (tells, news) = sync_channel(NEWS);
        let stream = rate_hz.map(|_| Stream::new(blocks, tells, Leave::default()));
        let progress = Arc::<Progress>::default();
        let speaker = Speaker { to: speaks, progress: Arc::clone(&progress) };
        match self.to.try_send(Worn { name, stream, news, speaker }) {
            Ok(()) => {}
            Err(TrySendError::Full(_)) => return Err(NotWorn::Busy),
            Err(TrySendError::Disconnected(_)) => return Err(NotWorn::Gone),
        }
        let inlet = rate_hz.map(|rate_hz| inlets.inlet(rate_hz, 1));
        Ok(Box::new(Phone { inlet, progress }))
    }
}

impl Hears for Phone {
    fn hear(&mut self, samples: &[i16]) {
        if let Some(inlet) = &mut self.inlet {
            inlet.hear(samples);
        }
    }

    fn played(&mut self, id: u32) {
        // Of another time, or of another's making.
        if id <= self.progress.sent.load(Ordering::Relaxed) {
            self.progress.played.fetch_max(id, Ordering::Relaxed);
        }
    }
}

/// How far a phone has played what was sent to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Playing {
    /// It plays.
    Still,
    /// All of it was played.
    Done,
    /// It should have been played long ago, or the phone is gone.
    Lost,
}

#[derive(Debug, Default)]
struct Progress {
    sent: AtomicU32,
    played: AtomicU32,
    /// When it ought to be played to its end.
    until: Mutex<Option<Instant>>,
}

/// Speech on its way to a phone. What is given to it is sent at once; who wants
/// to know when it was heard asks [`Speaker::playing`].
#[derive(Clone)]
pub(super) struct Speaker {
    to: Sender<Spoken>,
    progress: Arc<Progress>,
}

impl Speaker {
    /// How far it is.
    pub(super) fn playing(&self) -> Playing {
        let Progress { sent, played, until } = &*self.progress;
        if sent.load(Ordering::Relaxed) <= played.load(Ordering::Relaxed) {
            return Playing::Done;
        }
        let until = *until.lock().unwrap_or_else(PoisonError::into_inner);
        let late = until.is_none_or(|until| until + GRACE < Instant::now());
        if late || self.to.is_closed() { Playing::Lost } else { Playing::Still }
    }

    /// The phone is to be silent at once, and to say when it is: until then it is
    /// [`Playing::Still`]. No where it cannot be told so.
    #[must_use]
    pub(super) fn hush(&self) -> bool {
        let Progress { sent, until, .. } = &*self.progress;
        *until.lock().unwrap_or_else(PoisonError::into_inner) = Some(Instant::now());
        self.to.try_send(Spoken::Hush { id: sent.load(Ordering::Relaxed) }).is_ok()
    }

    pub(super) fn is_gone(&self) -> bool {
        self.to.is_closed()
    }
}

impl Play for Speaker {
    fn play(&mut self, sound: &Sound) -> Result<(), VoiceError> {
        let id = self.progress.sent.load(Ordering::Relaxed).saturating_add(1);
        let samples: Vec<i16> = sound.samples.iter().map(|sample| to_i16(*sample)).collect();
        let speech = Spoken::Speech { id, rate_hz: sound.rate_hz, samples };
        // Before it is on its way: the phone may be quick.
        self.progress.sent.store(id, Ordering::Relaxed);
        self.to.try_send(speech).map_err(|error| {
            let why = match error {
                TrySend::Closed(_) => "the phone is gone",
                TrySend::Full(_) => "the phone is too far behind",
            };
            VoiceError::NoLoudspeaker(why.to_owned())
        })?;
        let now = Instant::now();
        let mut until = self.progress.until.lock().unwrap_or_else(PoisonError::into_inner);
        *until = Some(until.map_or(now, |until| until.max(now)) + sound.length());
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_has_played_what_it_says_and_nothing_that_was_not_sent() {
        let (to, put_on) = sync_channel(1);
        let (speaks, mut spoken) = tokio::sync::mpsc::channel(4);
        let headset = Headset { name: String::new(), rate_hz: Some(16_000), speaks };
        let mut phone = Phones { to }.put_on(headset).unwrap();
        let mut speaker = put_on.recv().unwrap().speaker;
        assert_eq!(speaker.playing(), Playing::Done);
        let sound = Sound { samples: vec![0.5; 800], rate_hz: 16_000 };
        speaker.play(&sound).unwrap();
        for id in [0, 2, u32::MAX] {
            phone.played(id);
            assert_eq!(speaker.playing(), Playing::Still, "{id}");
        }
        phone.played(1);
        assert_eq!(speaker.playing(), Playing::Done);
        // Told to be silent it counts as silent once it says so.
        speaker.play(&sound).unwrap();
        assert!(speaker.hush());
        assert_eq!(speaker.playing(), Playing::Still);
        phone.played(2);
        assert_eq!(speaker.playing(), Playing::Done);
        let sent: Vec<Spoken> = std::iter::from_fn(|| spoken.try_recv().ok()).collect();
        assert_eq!(sent.last(), Some(&Spoken::Hush { id: 2 }));
        // A phone that is gone plays nothing.
        speaker.play(&sound).unwrap();
        drop(spoken);
        assert_eq!((speaker.playing(), speaker.hush()), (Playing::Lost, false));
        assert!(speaker.play(&sound).is_err());
    }
}
