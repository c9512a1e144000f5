//! A live microphone as a source of frames: a device that drops is opened again
//! until it is back.
//! It tells what the crew has to know and decides nothing.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::{Duration, Instant};

use super::VoiceError;
use super::capture::{ROOM, Reading, queue};
use super::device::Inputs;
use super::link::{Opened, Opener, Order, Told, keep};
use super::source::{FrameSource, Missing};
use super::stream::Stream;
use crate::sound::FRAME;

/// What a microphone tells beside its sound.
#[derive(Clone, Debug, PartialEq)]
pub enum MicEvent {
    /// The device is gone, or silent.
    Lost {
        /// In the system's own words.
        why: String,
    },
    /// It is there again.
    Back {
        /// Which device.
        opened: Opened,
        /// For how long it was away, in milliseconds.
        away_ms: u64,
    },
    /// It is set too loud: speech is cut off at full scale.
    Clipping {
        /// Samples at full scale, in thousandths.
        permille: u32,
    },
    /// The program was too slow and sound was thrown away.
    Dropped {
        /// How much, in milliseconds.
        ms: u64,
    },
}

/// A wish to leave, made once and seen everywhere.
#[derive(Clone, Debug, Default)]
pub struct Leave(Arc<AtomicBool>);

impl Leave {
    /// Wishes to leave.
    pub fn ask(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    /// Whether somebody does.
    pub fn asked(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}

/// So long the first sound may take; several devices may be tried.
const FIRST_SOUND_WITHIN: Duration = Duration::from_secs(7);
/// Facts that wait to be asked for; more are forgotten, because nobody asks.
const NEWS: usize = 64;

/// A microphone that is open.
pub struct Microphone {
    stream: Stream,
    orders: SyncSender<Order>,
    opened: Opened,
    unread: Option<Receiver<MicEvent>>,
    leave: Leave,
}

impl std::fmt::Debug for Microphone {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Microphone").field("opened", &self.opened).finish_non_exhaustive()
    }
}

impl Microphone {
    /// Opens the device with this in its name, or the default one, and waits for
    /// its first sound. A wish to leave ends the source.
    ///
    /// # Errors
    /// When no such device gives any sound.
    pub fn open(wanted: Option<&str>, leave: Leave) -> Result<Microphone, VoiceError> {
        Microphone::with(Inputs::new(wanted), leave)
    }

    /// The same with any way to open a device.
    ///
    /// # Errors
    /// When it gives no sound.
    pub fn with<O>(opener: O, leave: Leave) -> Result<Microphone, VoiceError>
    where
        O: Opener + Send + 'static,
    {
        let (inlets, blocks) = queue(ROOM);
        let (orders, ordered) = sync_channel(16);
        let (tell, told) = sync_channel(NEWS);
        let tells = orders.clone();
        let (news, unread) = sync_channel(NEWS);
        let later = news.clone();
        // Not joined: a driver may hang, and nothing has to be put away.
        std::thread::Builder::new()
            .name("microphone".to_owned())
            .spawn(move || {
                let mut live = false;
                keep(opener, &inlets, (&tells, &ordered), |fact| {
                    tracing::debug!(?fact, "microphone");
                    if live {
                        return pass_on(fact, &later);
                    }
                    live = matches!(fact, Told::Live { .. });
                    tell.send(fact).is_ok()
                });
            })
            .map_err(|e| VoiceError::Speech(format!("no thread for the microphone: {e}")))?;
        let opened = first_sound(&told)?;
        let stream = Stream::new(blocks, news, leave.clone());
        Ok(Microphone { stream, orders, opened, unread: Some(unread), leave })
    }

    /// The device that was opened first.
    pub fn opened(&self) -> &Opened {
        &self.opened
    }

    /// Where it tells what happens to it; given out once.
    pub fn news(&mut self) -> Option<Receiver<MicEvent>> {
        self.unread.take()
    }

    /// The last second that was read.
    pub fn reading(&self) -> Option<Reading> {
        self.stream.reading()
    }
}

/// Waits for the first sound, or the reason why there is none.
fn first_sound(told: &Receiver<Told>) -> Result<Opened, VoiceError> {
    let begun = Instant::now();
    loop {
        let left = FIRST_SOUND_WITHIN.saturating_sub(begun.elapsed());
        match told.recv_timeout(left) {
            Ok(Told::Live { opened, .. }) => return Ok(opened),
            Ok(Told::Refused { why }) => return Err(VoiceError::NoMicrophone(why)),
            // Another of that name may be next.
            Ok(Told::Silent | Told::Lost { .. }) => {}
            Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => {
                let why = "it was opened and stayed silent".to_owned();
                return Err(VoiceError::NoMicrophone(why));
            }
        }
    }
}

fn pass_on(fact: Told, news: &SyncSender<MicEvent>) -> bool {
    let event = match fact {
        Told::Live { opened, away } => {
            let away_ms = away.map_or(0, |away| away.as_millis());
            MicEvent::Back { opened, away_ms: u64::try_from(away_ms).unwrap_or(u64::MAX) }
        }
        Told::Lost { why } => MicEvent::Lost { why },
        // The link goes on trying.
        Told::Silent | Told::Refused { .. } => return true,
    };
    // Full: nobody asks, and the microphone works all the same.
    !matches!(news.try_send(event), Err(std::sync::mpsc::TrySendError::Disconnected(_)))
}

impl FrameSource for Microphone {
    fn next_frame(&mut self) -> Result<Option<[f32; FRAME]>, VoiceError> {
        match self.stream.next_frame()? {
            None if !self.leave.asked() => {
                Err(VoiceError::NoMicrophone("it was closed".to_owned()))
            }
            frame => Ok(frame),
        }
    }

    fn missing(&mut self) -> Missing {
        self.stream.missing()
    }

    fn pause(&mut self) {
        self.stream.pause();
    }

    fn resume(&mut self) {
        self.stream.resume();
    }
}

impl Drop for Microphone {
    fn drop(&mut self) {
        // Full of lost streams: the thread ends when it next has news.
        let _ = self.orders.try_send(Order::Stop);
    }
}
