//! A WAV file read as a stream: one block at a time, averaged to one channel, at
//! the file's own rate. A two-hour recording takes no more memory than a word.

use std::io::{ErrorKind, Read};

use hound::{SampleFormat, WavReader};

use super::SoundError;

/// The rates read, in samples per second.
const RATES_HZ: std::ops::RangeInclusive<u32> = 4_000..=192_000;
/// More channels than any field recorder has.
const MOST_CHANNELS: u16 = 32;

/// A WAV recording being read.
pub struct WavStream<R: Read> {
    reader: WavReader<Rest<R>>,
    rate_hz: u32,
    channels: u16,
    format: SampleFormat,
    /// One over the largest value a whole-number sample can have.
    scale: f32,
    read: u64,
    ended: bool,
}

impl<R: Read> WavStream<R> {
    /// Reads the header.
    ///
    /// # Errors
    /// In plain words when the bytes are empty, are no WAV file, or are one with
    /// a rate, channel count or sample size that no recorder makes.
    pub fn new(mut bytes: R) -> Result<WavStream<R>, SoundError> {
        let head = head(&mut bytes)?;
        let reader = WavReader::new(Rest { head, at: 0, tail: bytes }).map_err(|e| match e {
            e if ran_out(&e) => SoundError::NotWav("it ends before any sound".to_owned()),
            hound::Error::Unsupported => SoundError::Unusable("it is compressed".to_owned()),
            e => SoundError::NotWav(e.to_string()),
        })?;
        let spec = reader.spec();
        if !RATES_HZ.contains(&spec.sample_rate) {
            let (low, high) = (RATES_HZ.start(), RATES_HZ.end());
            return Err(SoundError::Unusable(format!(
                "its rate is {} Hz; {low} to {high} Hz are read",
                spec.sample_rate
            )));
        }
        if spec.channels == 0 || MOST_CHANNELS < spec.channels {
            return Err(SoundError::Unusable(format!("it says it has {} channels", spec.channels)));
        }
        let scale = match (spec.sample_format, spec.bits_per_sample) {
            (SampleFormat::Float, 32) => 1.0,
            (SampleFormat::Int, 8) => 1.0 / 128.0,
            (SampleFormat::Int, 16) => 1.0 / 32_768.0,
            (SampleFormat::Int, 24) => 1.0 / 8_388_608.0,
            (SampleFormat::Int, 32) => 1.0 / 2_147_483_648.0,
            (_, bits) => {
                return Err(SoundError::Unusable(format!(
                    "its samples are {bits} bits; 8, 16, 24 and 32 are read"
                )));
            }
        };
        Ok(WavStream {
            rate_hz: spec.sample_rate,
            channels: spec.channels,
            format: spec.sample_format,
            scale,
            reader,
            read: 0,
            ended: false,
        })
    }

    /// The file's own rate, in samples per second.
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Adds at most `most` mono samples to `into`; gives how many were added, 0
    /// only at the end.
    ///
    /// # Errors
    /// When the file stops before the end its header promises; what was read so
    /// far is in `into`.
    pub fn read(&mut self, into: &mut Vec<f32>, most: usize) -> Result<usize, SoundError> {
        let before = into.len();
        if self.ended {
            return Ok(0);
        }
        let result = match self.format {
            SampleFormat::Float => {
                averaged(self.reader.samples::<f32>(), self.channels, most, into, |s| s)
            }
            SampleFormat::Int => {
                let scale = self.scale;
                #[expect(clippy::cast_precision_loss, reason = "24 bits are more than heard")]
                averaged(self.reader.samples::<i32>(), self.channels, most, into, |s| {
                    s as f32 * scale
                })
            }
        };
        let added = into.len().saturating_sub(before);
        self.read = self.read.saturating_add(u64::try_from(added).unwrap_or(u64::MAX));
        self.ended = added < most;
        match result {
            // A recorder that lost power leaves a header that promises more
            // than was written; what was written is still sound.
            Err(e) if ran_out(&e) => Ok(added),
            Err(e) => Err(SoundError::Broken {
                after_ms: self.read.saturating_mul(1_000) / u64::from(self.rate_hz),
                why: e.to_string(),
            }),
            Ok(()) => Ok(added),
        }
    }
}

/// Whether the bytes ended too early. The reader has no kind for it, only words.
fn ran_out(error: &hound::Error) -> bool {
    match error {
        hound::Error::IoError(e) => {
            e.kind() == ErrorKind::UnexpectedEof || e.to_string().contains("enough bytes")
        }
        _ => false,
    }
}

/// Averages the channels of at most `most` moments into `into`.
fn averaged<S, I: Iterator<Item = hound::Result<S>>>(
    mut samples: I,
    channels: u16,
    most: usize,
    into: &mut Vec<f32>,
    real: impl Fn(S) -> f32,
) -> hound::Result<()> {
    for _ in 0..most {
        let mut sum = 0.0;
        for _ in 0..channels {
            let Some(sample) = samples.next() else { return Ok(()) };
            let sample = real(sample?);
            sum += if sample.is_finite() { sample.clamp(-1.0, 1.0) } else { 0.0 };
        }
        into.push(sum / f32::from(channels));
    }
    Ok(())
}

/// The first bytes, already read and looked at, followed by the rest.
struct Rest<R> {
    head: Vec<u8>,
    at: usize,
    tail: R,
}

impl<R: Read> Read for Rest<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let Some(left) = self.head.get(self.at..).filter(|left| !left.is_empty()) else {
            return self.tail.read(buffer);
        };
        let mut left = left;
        let count = left.read(buffer)?;
        self.at = self.at.saturating_add(count);
        Ok(count)
    }
}

/// Reads the first 12 bytes and says in plain words what else they may be.
fn head(bytes: &mut impl Read) -> Result<Vec<u8>, SoundError> {
    let mut head = Vec::new();
    bytes
        .take(12)
        .read_to_end(&mut head)
        .map_err(|e| SoundError::Broken { after_ms: 0, why: e.to_string() })?;
    let looks = match head.as_slice() {
        [] => return Err(SoundError::Empty),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'A', b'V', b'E'] => return Ok(head),
        [b'R', b'I', b'F', b'X', ..] => "its bytes are in the other order",
        [b'R', b'F', b'6', b'4', ..] => "it is of the 64-bit kind",
        [b'O', b'g', b'g', b'S', ..] => "it is an Ogg file",
        [b'f', b'L', b'a', b'C', ..] => "it is a FLAC file",
        [b'I', b'D', b'3', ..] => "it is an MP3 file",
        _ => "its first bytes are not those of one",
    };
    Err(SoundError::NotWav(looks.to_owned()))
}
