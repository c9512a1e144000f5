//! From a device's callback to the ear: a bounded queue of blocks that is never
//! waited for, what did not fit being counted, and the levels measured on the
//! way. It opens no device.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::Duration;

use cpal::{FromSample, Sample};

/// Samples of one block; 5 ms at 48 kHz.
pub const BLOCK: usize = 256;
/// Blocks that wait for the ear at most: 2.7 s at 48 kHz, more at lower rates.
pub const ROOM: usize = 512;
/// From here on a sample counts as full scale.
const FULL_SCALE: f32 = 0.999;

/// A little sound of one channel, at the device's own rate.
#[derive(Clone, Copy, Debug)]
pub struct Block {
    samples: [f32; BLOCK],
    count: usize,
    /// The device's rate, in samples per second.
    pub rate_hz: u32,
    /// Channels the device has.
    pub channels: u16,
    /// Samples at full scale, of all channels.
    pub full_scale: u32,
    /// Sound is missing before this block.
    pub after_gap: bool,
}

impl Block {
    fn empty(rate_hz: u32, channels: u16) -> Block {
        let samples = [0.0; BLOCK];
        Block { samples, count: 0, rate_hz, channels, full_scale: 0, after_gap: false }
    }

    /// The samples, channels averaged.
    pub fn samples(&self) -> &[f32] {
        self.samples.get(..self.count).unwrap_or(&self.samples)
    }
}

/// What the callback and the rest of the program both look at.
#[derive(Debug, Default)]
struct Shared {
    paused: AtomicBool,
    /// Sound is missing before the next block.
    gap: AtomicBool,
    /// Callbacks so far, of whatever stream.
    heard: AtomicU64,
    /// Sound that did not fit, in microseconds.
    dropped_us: AtomicU64,
}

/// The ear's end of the queue.
#[derive(Debug)]
pub struct Outlet {
    blocks: Receiver<Block>,
    shared: Arc<Shared>,
}

/// Makes callback ends; one for each stream that is opened.
#[derive(Clone, Debug)]
pub struct Inlets {
    to: SyncSender<Block>,
    shared: Arc<Shared>,
}

/// The callback's end of the queue, for one stream.
#[derive(Debug)]
pub struct Inlet {
    to: SyncSender<Block>,
    shared: Arc<Shared>,
    rate_hz: u32,
    channels: u16,
}

/// A queue of at most `room` blocks.
pub fn queue(room: usize) -> (Inlets, Outlet) {
    let (to, blocks) = sync_channel(room.max(1));
    let shared = Arc::new(Shared::default());
    (Inlets { to, shared: Arc::clone(&shared) }, Outlet { blocks, shared })
}

impl Inlets {
    /// An end for a stream of this rate and so many channels.
    pub fn inlet(&self, rate_hz: u32, channels: u16) -> Inlet {
        Inlet {
            to: self.to.clone(),
            shared: Arc::clone(&self.shared),
            rate_hz,
            channels: channels.max(1),
        }
    }

    /// Sound was lost before it reached us.
    pub fn gap(&self) {
        self.shared.gap.store(true, Ordering::Relaxed);
    }

    /// Callbacks so far; a count that stands still is a dead stream.
    pub fn heard(&self) -> u64 {
        self.shared.heard.load(Ordering::Relaxed)
    }
}

impl Inlet {
    /// Takes what a callback brought. Never waits and allocates nothing.
    pub fn hear<T>(&mut self, samples: &[T])
    where
        T: Sample,
        f32: FromSample<T>,
    {
        self.shared.heard.fetch_add(1, Ordering::Relaxed);
        if self.shared.paused.load(Ordering::Relaxed) {
            self.shared.gap.store(true, Ordering::Relaxed);
            return;
        }
        let mut block = Block::empty(self.rate_hz, self.channels);
        for moment in samples.chunks(usize::from(self.channels)) {
            let mut sum = 0.0;
            for sample in moment {
                let sample = f32::from_sample(*sample);
                let sample = if sample.is_finite() { sample.clamp(-1.0, 1.0) } else { 0.0 };
                block.full_scale += u32::from(FULL_SCALE <= sample.abs());
                sum += sample;
            }
            #[expect(clippy::cast_precision_loss, reason = "a number of channels")]
            let mean = sum / moment.len() as f32;
            if let Some(place) = block.samples.get_mut(block.count) {
                *place = mean;
                block.count += 1;
            }
            if block.count == BLOCK {
                self.send(&block);
                block = Block::empty(self.rate_hz, self.channels);
            }
        }
        if 0 < block.count {
            self.send(&block);
        }
    }

    fn send(&self, block: &Block) {
        let after_gap = self.shared.gap.swap(false, Ordering::Relaxed);
        if self.to.try_send(Block { after_gap, ..*block }).is_err() {
            self.shared.gap.store(true, Ordering::Relaxed);
            let count = u64::try_from(block.count).unwrap_or(0);
            let lost_us = count * 1_000_000 / u64::from(self.rate_hz.max(1));
            self.shared.dropped_us.fetch_add(lost_us, Ordering::Relaxed);
        }
    }
}

impl Outlet {
    /// The next block, when one comes within `wait`.
    ///
    /// # Errors
    /// When none came, or none can come any more.
    pub fn block(&self, wait: Duration) -> Result<Block, RecvTimeoutError> {
        self.blocks.recv_timeout(wait)
    }

    /// What is heard from now on is thrown away.
    pub fn pause(&self) {
        self.shared.paused.store(true, Ordering::Relaxed);
    }

    /// What is heard from now on counts; what still waits does not.
    pub fn resume(&self) {
        while self.blocks.try_recv().is_ok() {}
        self.shared.gap.store(true, Ordering::Relaxed);
        self.shared.paused.store(false, Ordering::Relaxed);
    }

    /// Sound that did not fit since the last call, in milliseconds.
    pub fn dropped_ms(&self) -> u64 {
        let us = self.shared.dropped_us.load(Ordering::Relaxed);
        let whole = us - us % 1_000;
        self.shared.dropped_us.fetch_sub(whole, Ordering::Relaxed);
        whole / 1_000
    }
}

/// What a second of sound was like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// The level, in decibels below full scale.
    pub level_dbfs: f32,
    /// Samples at full scale, in thousandths of all.
    pub clipped_permille: u32,
}

/// Measures second after second.
#[derive(Debug, Default)]
pub struct Meter {
    squares: f64,
    count: u32,
    full_scale: u32,
}

impl Meter {
    /// Takes a block in; gives a reading when a second of sound is together.
    pub fn push(&mut self, block: &Block) -> Option<Reading> {
        for sample in block.samples() {
            self.squares += f64::from(sample * sample);
            self.count = self.count.saturating_add(1);
        }
        self.full_scale = self.full_scale.saturating_add(block.full_scale);
        if self.count < block.rate_hz.max(1) {
            return None;
        }
        let all = u64::from(self.count) * u64::from(block.channels);
        let permille = u64::from(self.full_scale) * 1_000 / all.max(1);
        let mean = self.squares / f64::from(self.count);
        *self = Meter::default();
        #[expect(clippy::cast_possible_truncation, reason = "a level needs no more digits")]
        let level_dbfs = (10.0 * mean.max(1e-10).log10()) as f32;
        Some(Reading { level_dbfs, clipped_permille: u32::try_from(permille).unwrap_or(1_000) })
    }
}
