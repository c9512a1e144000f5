//! Sound cut into 20 ms frames, a file as frames, and the segment that is handed
//! to the recogniser. It does not decide where a segment begins.

use std::io::{Cursor, Read};

use sha2::{Digest, Sha256};

use super::{FRAME, RATE_HZ, Resampler, SoundError, WavStream};

/// Samples read from a file at a time.
const BLOCK: usize = 4_096;

/// Cuts samples into pieces of exactly `N`.
pub struct Framer<const N: usize> {
    waiting: Vec<f32>,
}

impl<const N: usize> Default for Framer<N> {
    fn default() -> Self {
        Framer { waiting: Vec::new() }
    }
}

impl<const N: usize> Framer<N> {
    /// Takes samples in.
    pub fn push(&mut self, samples: &[f32]) {
        self.waiting.extend_from_slice(samples);
    }

    /// The next whole piece, when there is one.
    pub fn next_piece(&mut self) -> Option<[f32; N]> {
        let piece: [f32; N] = self.waiting.get(..N)?.try_into().ok()?;
        self.waiting.drain(..N);
        Some(piece)
    }

    /// What is left, filled up with silence; None when nothing is left.
    pub fn last_piece(&mut self) -> Option<[f32; N]> {
        if self.waiting.is_empty() {
            return None;
        }
        let mut piece = [0.0; N];
        for (to, from) in piece.iter_mut().zip(&self.waiting) {
            *to = *from;
        }
        self.waiting.clear();
        Some(piece)
    }

    /// Forgets what is waiting.
    pub fn clear(&mut self) {
        self.waiting.clear();
    }
}

/// A WAV file as 20 ms frames at 16 kHz, read as it is needed.
pub struct FileFrames<R: Read> {
    wav: WavStream<R>,
    resampler: Resampler,
    framer: Framer<FRAME>,
    raw: Vec<f32>,
    ready: Vec<f32>,
    ended: bool,
}

impl<R: Read> FileFrames<R> {
    /// Reads the header.
    ///
    /// # Errors
    /// As [`WavStream::new`].
    pub fn new(bytes: R) -> Result<FileFrames<R>, SoundError> {
        let wav = WavStream::new(bytes)?;
        Ok(FileFrames {
            resampler: Resampler::new(wav.rate_hz())?,
            wav,
            framer: Framer::default(),
            raw: Vec::new(),
            ready: Vec::new(),
            ended: false,
        })
    }

    /// The next frame; the last one is filled up with silence; None after it.
    ///
    /// # Errors
    /// When the file cannot be read on.
    pub fn next_frame(&mut self) -> Result<Option<[f32; FRAME]>, SoundError> {
        loop {
            if let Some(frame) = self.framer.next_piece() {
                return Ok(Some(frame));
            }
            if self.ended {
                return Ok(self.framer.last_piece());
            }
            self.raw.clear();
            self.ready.clear();
            if self.wav.read(&mut self.raw, BLOCK)? == 0 {
                self.ended = true;
                self.resampler.finish(&mut self.ready)?;
            } else {
                self.resampler.push(&self.raw, &mut self.ready)?;
            }
            self.framer.push(&self.ready);
        }
    }
}

/// One piece of speech cut out of the stream, at 16 kHz.
#[derive(Clone, Debug)]
pub struct Segment {
    /// The samples, with a little before and after the speech.
    pub samples: Vec<f32>,
    /// Where it begins in the stream, in milliseconds.
    pub start_ms: u64,
    /// How loud the speech is, in decibels below full scale.
    pub level_dbfs: f32,
    /// How loud the site was before it, in decibels below full scale.
    pub noise_dbfs: f32,
    /// The talker went on past the longest segment, so it was cut.
    pub cut: bool,
}

impl Segment {
    /// The length, in milliseconds.
    pub fn length_ms(&self) -> u64 {
        u64::try_from(self.samples.len()).unwrap_or(0).saturating_mul(1_000) / u64::from(RATE_HZ)
    }

    /// SHA-256 over the samples as 16-bit little-endian numbers, as 64 hex digits.
    pub fn sha256(&self) -> String {
        sha256(self.samples.iter().map(|sample| to_i16(*sample)))
    }
}

fn sha256(samples: impl Iterator<Item = i16>) -> String {
    let mut hash = Sha256::new();
    samples.for_each(|sample| hash.update(sample.to_le_bytes()));
    hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The hash of the samples in a WAV that [`write_wav`] wrote, as
/// [`Segment::sha256`] gives it; none for any other bytes.
pub fn clip_sha256(wav: &[u8]) -> Option<String> {
    let reader = hound::WavReader::new(Cursor::new(wav)).ok()?;
    if reader.spec() != SPEC {
        return None;
    }
    let samples = reader.into_samples::<i16>().collect::<Result<Vec<i16>, _>>().ok()?;
    // Nothing may lie beside the samples: the file is as long as one that holds
    // them alone.
    let mut again = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut again, SPEC).ok()?;
    samples.iter().try_for_each(|sample| writer.write_sample(*sample)).ok()?;
    writer.finalize().ok()?;
    (again.into_inner() == wav).then(|| sha256(samples.into_iter()))
}

const SPEC: hound::WavSpec = hound::WavSpec {
    channels: 1,
    sample_rate: RATE_HZ,
    bits_per_sample: 16,
    sample_format: hound::SampleFormat::Int,
};

/// Writes samples at 16 kHz as a 16-bit mono WAV.
///
/// # Errors
/// When the writer refuses.
pub fn write_wav<W: std::io::Write + std::io::Seek>(
    to: W,
    samples: &[f32],
) -> Result<(), SoundError> {
    let refused = |e: hound::Error| SoundError::Broken { after_ms: 0, why: e.to_string() };
    let mut writer = hound::WavWriter::new(to, SPEC).map_err(refused)?;
    for sample in samples {
        writer.write_sample(to_i16(*sample)).map_err(refused)?;
    }
    writer.finalize().map_err(refused)
}

/// The level of samples, in decibels below full scale; -100 for silence.
pub fn level_dbfs(samples: &[f32]) -> f32 {
    if samples.is_empty() {
        return -100.0;
    }
    let sum: f32 = samples.iter().map(|s| s * s).sum();
    #[expect(clippy::cast_precision_loss, reason = "a count of samples in a segment")]
    let mean = sum / samples.len() as f32;
    (10.0 * mean.max(1e-10).log10()).max(-100.0)
}

/// A sample as 16-bit sound has it.
#[expect(clippy::cast_possible_truncation, reason = "clamped to the range just before")]
pub fn to_i16(sample: f32) -> i16 {
    (sample.clamp(-1.0, 1.0) * 32_767.0).round() as i16
}
