//! Blocks of a live device as frames: changed to 16 kHz, levels looked at, silence
//! where nothing comes, deaf while we speak. Where the blocks come from is given
//! from outside.

use std::sync::mpsc::{RecvTimeoutError, SyncSender};
use std::time::Duration;

use super::VoiceError;
use super::capture::{Block, Meter, Outlet, Reading};
use super::microphone::{Leave, MicEvent};
use super::source::{FrameSource, Missing};
use crate::sound::{FRAME, Framer, Resampler};

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

/// Live sound as frames. It ends when nobody sends blocks any more, or somebody
/// wishes to leave.
pub struct Stream {
    blocks: Outlet,
    news: SyncSender<MicEvent>,
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

impl std::fmt::Debug for Stream {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Stream").field("reading", &self.reading).finish_non_exhaustive()
    }
}

impl Stream {
    /// These blocks; what happens to their sound is told to `news`.
    #[must_use]
    pub fn new(blocks: Outlet, news: SyncSender<MicEvent>, leave: Leave) -> Stream {
        Stream {
            blocks,
            news,
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
        }
    }

    /// The last second that was read.
    #[must_use]
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

fn unusable(source: crate::sound::SoundError) -> VoiceError {
    VoiceError::NoMicrophone(source.to_string())
}

impl FrameSource for Stream {
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
                Err(RecvTimeoutError::Disconnected) => return Ok(None),
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
