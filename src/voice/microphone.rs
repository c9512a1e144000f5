//! A live microphone as a source of frames: blocks from the device's callback,
//! changed to 16 kHz, with a device that drops opened again until it is back.
//! It tells what the crew has to know and decides nothing.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::{Duration, Instant};

use super::VoiceError;
use super::capture::{Block, Meter, Outlet, ROOM, Reading, queue};
use super::device::Inputs;
use super::link::{Opened, Opener, Order, Told, keep};
use super::source::{FrameSource, Missing};
use crate::sound::{FRAME, Framer, Resampler};

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
/// The length of a frame.
const FRAME_TIME: Duration = Duration::from_millis(20);
/// After so many frames without a block, silence stands for what is missing.
const PATIENCE: u32 = 25;
/// Frames thrown away after our own speech: its end still comes in.
const DEAF_FRAMES: u32 = 6;
/// From here on a second of sound counts as clipping, in thousandths.
const CLIPPING_PERMILLE: u32 = 10;
/// Clipping is told at most once in so many seconds of sound.
const CLIPPING_TOLD_S: u32 = 60;
/// Facts that wait to be asked for; more are forgotten, because nobody asks.
const NEWS: usize = 64;

/// A microphone that is open.
pub struct Microphone {
    blocks: Outlet,
    orders: SyncSender<Order>,
    opened: Opened,
    news: SyncSender<MicEvent>,
    unread: Option<Receiver<MicEvent>>,
    leave: Leave,
    resampler: Option<(u32, Resampler)>,
    framer: Framer<FRAME>,
    ready: Vec<f32>,
    meter: Meter,
    reading: Option<Reading>,
    clipping_for_s: u32,
    waited: u32,
    deaf: u32,
    paused: bool,
    missing: Missing,
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
        Ok(Microphone {
            blocks,
            orders,
            opened,
            news,
            unread: Some(unread),
            leave,
            resampler: None,
            framer: Framer::default(),
            ready: Vec::new(),
            meter: Meter::default(),
            reading: None,
            clipping_for_s: 0,
            waited: 0,
            deaf: 0,
            paused: false,
            missing: Missing::Nothing,
        })
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
        self.reading
    }

    fn take(&mut self, block: &Block) -> Result<(), VoiceError> {
        if let Some(reading) = self.meter.push(block) {
            self.look_at(reading);
        }
        let same_rate = self.resampler.as_ref().is_some_and(|(hz, _)| *hz == block.rate_hz);
        if block.after_gap || !same_rate {
            self.framer.clear();
            self.resampler = None;
            self.missing = Missing::Before;
        }
        let (_, resampler) = match &mut self.resampler {
            Some(known) => known,
            none => {
                let resampler = Resampler::new(block.rate_hz).map_err(unusable)?;
                none.insert((block.rate_hz, resampler))
            }
        };
        self.ready.clear();
        resampler.push(block.samples(), &mut self.ready).map_err(unusable)?;
        self.framer.push(&self.ready);
        Ok(())
    }

    fn look_at(&mut self, reading: Reading) {
        self.reading = Some(reading);
        let Reading { level_dbfs, clipped_permille: permille } = reading;
        tracing::trace!(level_dbfs, permille, "level");
        self.clipping_for_s = self.clipping_for_s.saturating_sub(1);
        if CLIPPING_PERMILLE <= permille && self.clipping_for_s == 0 {
            self.clipping_for_s = CLIPPING_TOLD_S;
            self.tell(MicEvent::Clipping { permille });
        }
        let ms = self.blocks.dropped_ms();
        if 0 < ms {
            self.tell(MicEvent::Dropped { ms });
        }
    }

    fn tell(&self, event: MicEvent) {
        // Nobody listens to news: nobody misses it.
        let _ = self.news.try_send(event);
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

fn unusable(source: crate::sound::SoundError) -> VoiceError {
    VoiceError::NoMicrophone(source.to_string())
}

impl FrameSource for Microphone {
    fn next_frame(&mut self) -> Result<Option<[f32; FRAME]>, VoiceError> {
        loop {
            if self.leave.asked() {
                return Ok(None);
            }
            if let Some(frame) = self.framer.next_piece() {
                self.deaf = self.deaf.saturating_sub(1);
                if self.deaf == 0 {
                    return Ok(Some(frame));
                }
                continue;
            }
            match self.blocks.block(FRAME_TIME) {
                Ok(block) => {
                    self.waited = 0;
                    self.take(&block)?;
                }
                Err(RecvTimeoutError::Timeout) => {
                    self.waited = self.waited.saturating_add(1);
                    if PATIENCE < self.waited {
                        self.missing = Missing::All;
                        return Ok(Some([0.0; FRAME]));
                    }
                }
                Err(RecvTimeoutError::Disconnected) => {
                    return Err(VoiceError::NoMicrophone("it was closed".to_owned()));
                }
            }
        }
    }

    fn missing(&mut self) -> Missing {
        std::mem::replace(&mut self.missing, Missing::Nothing)
    }

    fn pause(&mut self) {
        self.paused = true;
        self.blocks.pause();
    }

    fn resume(&mut self) {
        if std::mem::take(&mut self.paused) {
            self.framer.clear();
            self.blocks.resume();
            self.deaf = DEAF_FRAMES;
        }
    }
}

impl Drop for Microphone {
    fn drop(&mut self) {
        // Full of lost streams: the thread ends when it next has news.
        let _ = self.orders.try_send(Order::Stop);
    }
}
