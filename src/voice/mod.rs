//! The only models, sound files and loudspeaker: the recogniser, the ear that
//! cuts speech out of a stream, and the mouth. What was meant and whether to
//! believe it is decided in `speech`.

mod ear;
mod hear_file;
mod model;
mod mouth;
mod recogniser;
mod source;

use std::path::PathBuf;

pub use ear::{Ear, Listened, Vad};
pub use hear_file::{HeardSegment, best_heard, hear_file};
pub use model::{Moonshine, Utterance};
pub use mouth::{Mouth, render};
pub use recogniser::{Heard, Recogniser};
pub use source::{FrameSource, Queued, WavSource, length_ms};

use crate::sound::SoundError;
use crate::speech::{TokenError, TrieError};

/// What can go wrong with hearing and speaking.
#[derive(Debug, thiserror::Error)]
pub enum VoiceError {
    /// A model file is not where it should be.
    #[error("no speech model at `{0}`; run packaging/models")]
    NoModel(PathBuf),
    /// A model file is there but cannot be used.
    #[error("the speech model `{path}` cannot be used: {why}; run packaging/models again")]
    BadModel {
        /// The file.
        path: PathBuf,
        /// The runtime's own words.
        why: String,
    },
    /// A model stopped while it worked.
    #[error("the speech model failed: {0}")]
    Model(String),
    /// The token table cannot be read.
    #[error(transparent)]
    Tokens(#[from] TokenError),
    /// The step's grammar cannot be heard.
    #[error(transparent)]
    Grammar(#[from] TrieError),
    /// A sound file is not there or may not be read.
    #[error("cannot read `{path}`: {why}")]
    File {
        /// The file.
        path: PathBuf,
        /// The system's own words.
        why: String,
    },
    /// The sound in a file cannot be used.
    #[error("`{path}`: {source}")]
    Sound {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        source: SoundError,
    },
    /// Speech could not be made.
    #[error("cannot speak: {0}")]
    Speech(String),
}
