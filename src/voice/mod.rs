//! The only models, sound files and sound devices: the recogniser, the microphone
//! and the ear that cuts speech out of a stream, the mouth and the loudspeaker.
//! What was meant and whether to believe it is decided in `speech`.

mod ahead;
mod capture;
mod device;
mod ear;
mod espeak;
mod hear_file;
mod link;
mod loudspeaker;
mod microphone;
mod model;
mod mouth;
mod natural;
mod recogniser;
mod source;
mod stream;

use std::path::PathBuf;

pub use ahead::{Ahead, MOST_KEPT};
pub use capture::{BLOCK, Block, Inlet, Inlets, Meter, Outlet, ROOM, Reading, queue};
pub use device::{DeviceName, Inputs, Way, meant, usable};
pub use ear::{Ear, Listened, Vad};
pub use espeak::{Espeak, render};
pub use hear_file::{HeardSegment, best_heard, hear_file};
pub use link::{Ends, Link, Next, Opened, Opener, Seen};
pub use loudspeaker::{Loudspeaker, Play, Sound};
pub use microphone::{Leave, MicEvent, Microphone};
pub use model::{Made, Moonshine, Utterance};
pub use mouth::{Mouth, Voice, louder, sentences};
pub use natural::Natural;
pub use recogniser::{Heard, Recogniser};
pub use source::{FrameSource, Missing, Queued, WavSource, length_ms};
pub use stream::Stream;

use crate::sound::SoundError;
use crate::speech::{TokenError, TrieError};

/// What can go wrong with hearing and speaking.
#[derive(Debug, thiserror::Error)]
pub enum VoiceError {
    /// A model file is not where it should be.
    #[error("no speech model at `{0}`; run packaging/models")]
    NoModel(PathBuf),
    /// The natural voice is not where it should be.
    #[error("no natural voice in `{0}`; run packaging/models --voice")]
    NoVoice(PathBuf),
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
    /// The system's sound library cannot be asked.
    #[error("the sound devices cannot be listed: {0}")]
    Devices(String),
    /// No device of that name.
    #[error("no sound device has `{wanted}` in its name; `chalkhand doctor` lists them")]
    NoDevice {
        /// The part of a name that was asked for.
        wanted: String,
    },
    /// A device refused.
    #[error("{name}: {why}")]
    Device {
        /// Its name.
        name: String,
        /// The system's own words.
        why: String,
    },
    /// No microphone gives any sound.
    #[error("no microphone is heard: {0}; `chalkhand doctor` lists the devices, --keys needs none")]
    NoMicrophone(String),
    /// No loudspeaker plays.
    #[error("no loudspeaker can be used: {0}")]
    NoLoudspeaker(String),
    /// Speech could not be made.
    #[error("cannot speak: {0}")]
    Speech(String),
}
