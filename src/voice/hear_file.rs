//! One sound file heard from end to end, the way a microphone would be.

use std::path::Path;

use super::ear::{Ear, Listened};
use super::source::{Queued, WavSource};
use super::{Heard, Recogniser, VoiceError};
use crate::sound::Endpoints;
use crate::speech::{Decision, Grammar};

/// One stretch of speech in a file and what was heard in it.
#[derive(Clone, Debug)]
pub struct HeardSegment {
    /// Where it begins, in milliseconds.
    pub start_ms: u64,
    /// How long it is, in milliseconds.
    pub length_ms: u64,
    /// How loud it is, in decibels below full scale.
    pub level_dbfs: f32,
    /// How loud the site was before it, in decibels below full scale.
    pub noise_dbfs: f32,
    /// What was heard.
    pub heard: Heard,
}

/// How often a long file's progress is told, in milliseconds of its sound.
const TELL_MS: u64 = 10_000;

/// Hears every stretch of speech in a file. `heard_ms` is told now and then how
/// many milliseconds of it were heard.
///
/// # Errors
/// When the file cannot be read or the recogniser fails.
pub fn hear_file(
    recogniser: &Recogniser,
    path: &Path,
    grammar: &Grammar,
    mut heard_ms: impl FnMut(u64),
) -> Result<Vec<HeardSegment>, VoiceError> {
    let source = Queued::start(WavSource::new([path.to_owned()], 800), Queued::ROOM)?;
    let mut ear = Ear::new(source, recogniser.vad(), Endpoints::default());
    let mut segments = Vec::new();
    loop {
        let listened = ear.listen(Some(TELL_MS))?;
        heard_ms(ear.heard_ms());
        let segment = match listened {
            Listened::Speech(segment) => segment,
            Listened::Quiet => continue,
            Listened::End => return Ok(segments),
        };
        segments.push(HeardSegment {
            start_ms: segment.start_ms,
            length_ms: segment.length_ms(),
            level_dbfs: segment.level_dbfs,
            noise_dbfs: segment.noise_dbfs,
            heard: recogniser.hear(&segment.samples, grammar)?,
        });
    }
}

/// The segment that counts for the whole file: the accepted one that fits best,
/// else the first.
pub fn best_heard(segments: &[HeardSegment]) -> Option<&HeardSegment> {
    let fit = |segment: &&HeardSegment| match &segment.heard.decision {
        Decision::Accept { scores, .. } => Some(scores.b),
        Decision::AskAgain { .. } => None,
    };
    segments
        .iter()
        .filter(|segment| fit(segment).is_some())
        .max_by(|a, b| fit(a).unwrap_or(f32::MIN).total_cmp(&fit(b).unwrap_or(f32::MIN)))
        .or_else(|| segments.first())
}
