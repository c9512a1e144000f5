//! The mouth of a command: the voice of the settings through a loudspeaker.

use crate::config::Config;
use crate::daemon::{self, NATURAL};
use crate::speech::Wording;
use crate::voice::{Leave, Loudspeaker, Mouth, Natural, VoiceError};

/// The mouth of the settings; the arguments of a command win.
pub(super) fn mouth(
    config: &Config,
    speaker: Option<&str>,
    voice: Option<&str>,
    wording: &Wording,
    leave: &Leave,
) -> Mouth {
    let speaker = speaker.or(config.loudspeaker.as_deref());
    daemon::mouth(config, voice, wording, Loudspeaker::new(speaker, leave.clone()))
}

/// What the natural voice says of itself, for `doctor`.
pub(super) fn natural(config: &Config) -> Result<Natural, VoiceError> {
    Natural::load(&config.models.join(NATURAL), config.words_per_minute)
}
