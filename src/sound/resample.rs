//! Any sample rate to 16 kHz or another, block by block. The result lines up with what came
//! in: the filter's own delay is cut off at the start and made up at the end.

use rubato::audioadapter_buffers::direct::SequentialSliceOfVecs;
use rubato::{Fft, FixedSync, Indexing, Resampler as _};

use super::{RATE_HZ, SoundError};

/// Samples asked of the resampler at a time; about 20 ms at 48 kHz.
const BLOCK: usize = 1_024;

/// Changes one channel from its own rate to 16 kHz, or another.
pub struct Resampler {
    from_hz: u32,
    to_hz: u32,
    /// None when the rates are the same already.
    inner: Option<Inner>,
}

struct Inner {
    fft: Fft<f32>,
    pending: Vec<Vec<f32>>,
    out: Vec<Vec<f32>>,
    /// Samples of the filter's delay still to be cut off.
    skip: usize,
    taken: u64,
    given: u64,
}

impl Resampler {
    /// Makes a resampler from `from_hz` samples per second to 16 kHz.
    ///
    /// # Errors
    /// When no filter can be built for the rate.
    pub fn new(from_hz: u32) -> Result<Resampler, SoundError> {
        Resampler::between(from_hz, RATE_HZ)
    }

    /// Makes a resampler from `from_hz` to `to_hz` samples per second.
    ///
    /// # Errors
    /// When no filter can be built for the rates.
    pub fn between(from_hz: u32, to_hz: u32) -> Result<Resampler, SoundError> {
        if from_hz == to_hz {
            return Ok(Resampler { from_hz, to_hz, inner: None });
        }
        let refuse = |why: String| SoundError::Rate { from_hz, to_hz, why };
        let from = usize::try_from(from_hz).map_err(|e| refuse(e.to_string()))?;
        let to = usize::try_from(to_hz).map_err(|e| refuse(e.to_string()))?;
        if from == 0 || to == 0 {
            return Err(refuse("there are no samples in a second".to_owned()));
        }
        let fft = Fft::<f32>::new(from, to, BLOCK, 1, FixedSync::Both)
            .map_err(|e| refuse(e.to_string()))?;
        Ok(Resampler {
            from_hz,
            to_hz,
            inner: Some(Inner {
                skip: fft.output_delay(),
                out: vec![vec![0.0; fft.output_frames_max()]],
                pending: vec![Vec::new()],
                fft,
                taken: 0,
                given: 0,
            }),
        })
    }

    /// Takes samples at the old rate and adds those ready at the new one to `into`.
    ///
    /// # Errors
    /// When the resampler refuses a block, which no input should cause.
    pub fn push(&mut self, samples: &[f32], into: &mut Vec<f32>) -> Result<(), SoundError> {
        let Some(inner) = &mut self.inner else {
            into.extend_from_slice(samples);
            return Ok(());
        };
        inner.taken = inner.taken.saturating_add(as_u64(samples.len()));
        let (from_hz, to_hz) = (self.from_hz, self.to_hz);
        inner.push(samples, into).map_err(|why| SoundError::Rate { from_hz, to_hz, why })
    }

    /// Adds what is still inside, so that as much time comes out as went in.
    ///
    /// # Errors
    /// As [`Resampler::push`].
    pub fn finish(&mut self, into: &mut Vec<f32>) -> Result<(), SoundError> {
        let (from_hz, to_hz) = (self.from_hz, self.to_hz);
        let Some(inner) = &mut self.inner else { return Ok(()) };
        let due = inner
            .taken
            .saturating_mul(u64::from(to_hz))
            .div_ceil(u64::from(from_hz.max(1)))
            .saturating_sub(inner.given);
        let due = usize::try_from(due).unwrap_or(0);
        let mut tail = Vec::new();
        let silence = vec![0.0; inner.fft.input_frames_next()];
        // Each block of silence gives a block of sound, so this ends.
        while tail.len() < due {
            inner.push(&silence, &mut tail).map_err(|why| SoundError::Rate {
                from_hz,
                to_hz,
                why,
            })?;
        }
        into.extend(tail.iter().take(due));
        Ok(())
    }
}

impl Inner {
    fn push(&mut self, samples: &[f32], into: &mut Vec<f32>) -> Result<(), String> {
        let Some(pending) = self.pending.first_mut() else { return Ok(()) };
        pending.extend_from_slice(samples);
        let mut done = 0;
        loop {
            let need = self.fft.input_frames_next();
            let have = self.pending.first().map_or(0, Vec::len);
            if have.saturating_sub(done) < need {
                break;
            }
            let room = self.out.first().map_or(0, Vec::len);
            let input =
                SequentialSliceOfVecs::new(&self.pending, 1, have).map_err(|e| e.to_string())?;
            let mut output = SequentialSliceOfVecs::new_mut(&mut self.out, 1, room)
                .map_err(|e| e.to_string())?;
            let at = Indexing::new().input_offset(done);
            let (used, made) = self
                .fft
                .process_into_buffer(&input, &mut output, Some(&at))
                .map_err(|e| e.to_string())?;
            done = done.saturating_add(used);
            let skipped = made.min(self.skip);
            self.skip = self.skip.saturating_sub(skipped);
            if let Some(ready) = self.out.first().and_then(|out| out.get(skipped..made)) {
                into.extend_from_slice(ready);
                self.given = self.given.saturating_add(as_u64(ready.len()));
            }
            if used == 0 {
                break;
            }
        }
        if let Some(pending) = self.pending.first_mut() {
            pending.drain(..done.min(pending.len()));
        }
        Ok(())
    }
}

fn as_u64(count: usize) -> u64 {
    u64::try_from(count).unwrap_or(u64::MAX)
}
