//! Sound as numbers: WAV files, resampling, frames, levels and where speech
//! begins and ends. It owns no device and no model; bytes and probabilities come
//! in, samples and segments go out. Samples run from -1 to 1.

mod endpoint;
mod frames;
mod resample;
mod wav;

pub use endpoint::{Endpointer, Endpoints, Spoken};
pub use frames::{FileFrames, Framer, Segment, clip_sha256, level_dbfs, to_i16, write_wav};
pub use resample::Resampler;
pub use wav::WavStream;

/// The sample rate inside the program, in samples per second.
pub const RATE_HZ: u32 = 16_000;

/// The length of one frame, in samples: 20 ms.
pub const FRAME: usize = 320;

/// The length of one voice-detector chunk, in samples: 32 ms.
pub const CHUNK: usize = 512;

/// What can be wrong with sound that comes in.
#[derive(Debug, thiserror::Error)]
pub enum SoundError {
    /// Nothing at all was in the file.
    #[error("the file is empty; record it again")]
    Empty,
    /// The bytes are not a WAV file.
    #[error("this is not a WAV file ({0}); give an uncompressed WAV recording")]
    NotWav(String),
    /// It is a WAV file, but not one that is read here.
    #[error("this WAV file cannot be used: {0}")]
    Unusable(String),
    /// Reading stopped part of the way.
    #[error("the sound stopped after {after_ms} ms: {why}")]
    Broken {
        /// How much was read, in milliseconds.
        after_ms: u64,
        /// The reader's own words.
        why: String,
    },
    /// The rates could not be matched.
    #[error("cannot change {from_hz} Hz into {to_hz} Hz: {why}")]
    Rate {
        /// The rate of the recording, in samples per second.
        from_hz: u32,
        /// The rate wanted, in samples per second.
        to_hz: u32,
        /// The resampler's own words.
        why: String,
    },
}
