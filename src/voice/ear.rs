//! Frames in, segments of speech out: the Silero voice detector on rten feeding
//! the pure endpointer. It keeps no more sound than the longest segment.

use std::collections::VecDeque;
use std::path::Path;
use std::sync::Arc;

use rten::{Model, NodeId};
use rten_tensor::prelude::*;
use rten_tensor::{NdTensor, Tensor};

use super::VoiceError;
use super::model::{Made, failed, load, node};
use super::source::{FrameSource, Missing};
use crate::sound::{
    CHUNK, Endpointer, Endpoints, FRAME, Framer, RATE_HZ, Segment, Spoken, level_dbfs,
};

/// Samples of the chunk before that the detector looks back at.
const LOOK_BACK: usize = 64;

/// The voice detector's network; it keeps no state of its own.
pub struct Vad {
    model: Model,
    sound_in: NodeId,
    state_in: NodeId,
    rate_in: NodeId,
    outputs: [NodeId; 2],
}

impl Vad {
    /// Loads the network.
    ///
    /// # Errors
    /// When the file is missing or is not the model expected.
    pub fn load(path: &Path) -> Result<Vad, VoiceError> {
        let model = load(path, Made::Quick)?;
        Ok(Vad {
            sound_in: node(&model, path, "input")?,
            state_in: node(&model, path, "state")?,
            rate_in: node(&model, path, "sr")?,
            outputs: [node(&model, path, "output")?, node(&model, path, "stateN")?],
            model,
        })
    }
}

/// What one stream has told the detector so far.
struct VadState {
    state: Tensor<f32>,
    before: [f32; LOOK_BACK],
}

impl VadState {
    fn new() -> VadState {
        VadState { state: Tensor::zeros(&[2, 1, 128]), before: [0.0; LOOK_BACK] }
    }

    fn push(&mut self, vad: &Vad, chunk: &[f32; CHUNK]) -> Result<f32, VoiceError> {
        let mut sound = self.before.to_vec();
        sound.extend_from_slice(chunk);
        let sound = NdTensor::from_data([1, CHUNK + LOOK_BACK], sound);
        let rate = i32::try_from(RATE_HZ).map_err(failed)?;
        let inputs = vec![
            (vad.sound_in, sound.into()),
            (vad.state_in, self.state.view().into()),
            (vad.rate_in, Tensor::from_scalar(rate).into()),
        ];
        let [probability, state] = vad.model.run_n(inputs, vad.outputs, None).map_err(failed)?;
        let probability: Tensor<f32> = probability.try_into().map_err(failed)?;
        self.state = state.try_into().map_err(failed)?;
        for (to, from) in self.before.iter_mut().zip(chunk.iter().skip(CHUNK - LOOK_BACK)) {
            *to = *from;
        }
        Ok(probability.iter().next().copied().unwrap_or(0.0))
    }
}

/// What listening came to.
#[derive(Debug)]
pub enum Listened {
    /// Someone spoke.
    Speech(Segment),
    /// Nobody spoke for as long as was asked, or it was not to go on.
    Quiet,
    /// The source has ended.
    End,
}

/// Listens to one source.
pub struct Ear<S> {
    source: S,
    vad: Arc<Vad>,
    state: VadState,
    endpointer: Endpointer,
    framer: Framer<CHUNK>,
    /// Chunks kept, the first being chunk `kept_from` of the stream.
    kept: VecDeque<[f32; CHUNK]>,
    kept_from: u64,
    ended: bool,
}

impl<S: FrameSource> Ear<S> {
    /// Begins at the start of a source.
    pub fn new(source: S, vad: Arc<Vad>, rules: Endpoints) -> Ear<S> {
        Ear {
            source,
            vad,
            state: VadState::new(),
            endpointer: Endpointer::new(rules),
            framer: Framer::default(),
            kept: VecDeque::new(),
            kept_from: 0,
            ended: false,
        }
    }

    /// Listens until someone has spoken, nobody has for `quiet_ms` milliseconds
    /// of sound, or the source ends. Someone still speaking is heard out.
    ///
    /// # Errors
    /// When the source or the detector fails.
    pub fn listen(&mut self, quiet_ms: Option<u64>) -> Result<Listened, VoiceError> {
        self.listen_while(quiet_ms, || true)
    }

    /// The same, left at once where `goes_on` says no, which is asked at each
    /// frame; somebody who speaks then is heard out the next time.
    ///
    /// # Errors
    /// When the source or the detector fails.
    pub fn listen_while(
        &mut self,
        quiet_ms: Option<u64>,
        mut goes_on: impl FnMut() -> bool,
    ) -> Result<Listened, VoiceError> {
        let mut quiet = quiet_ms.map(|ms| ms.saturating_mul(u64::from(RATE_HZ)) / 1_000);
        loop {
            while let Some(chunk) = self.framer.next_piece() {
                if let Some(segment) = self.take(chunk)? {
                    return Ok(Listened::Speech(segment));
                }
            }
            if self.ended {
                return Ok(Listened::End);
            }
            if !goes_on() || (quiet == Some(0) && !self.endpointer.in_speech()) {
                return Ok(Listened::Quiet);
            }
            match self.source.next_frame()? {
                Some(frame) => {
                    quiet = quiet.map(|left| left.saturating_sub(as_u64(FRAME)));
                    let missing = self.source.missing();
                    if missing != Missing::Nothing {
                        self.forget_half_heard();
                    }
                    if missing != Missing::All {
                        self.framer.push(&frame);
                    }
                }
                None => {
                    self.ended = true;
                    if let Some(chunk) = self.framer.last_piece()
                        && let Some(segment) = self.take(chunk)?
                    {
                        return Ok(Listened::Speech(segment));
                    }
                    if let Some(spoken) = self.endpointer.finish() {
                        return Ok(Listened::Speech(self.cut_out(&spoken)));
                    }
                }
            }
        }
    }

    /// Tells the source to stop while the mouth speaks, and forgets what was half
    /// heard.
    pub fn pause(&mut self) {
        self.source.pause();
        self.forget_half_heard();
    }

    fn forget_half_heard(&mut self) {
        self.endpointer.drop_open();
        self.framer.clear();
    }

    /// Tells the source to go on.
    pub fn resume(&mut self) {
        self.source.resume();
    }

    /// How much of the stream was heard, in milliseconds.
    pub fn heard_ms(&self) -> u64 {
        let chunks = self.kept_from.saturating_add(as_u64(self.kept.len()));
        chunks.saturating_mul(as_u64(CHUNK) * 1_000 / u64::from(RATE_HZ))
    }

    /// The level of the site between speech, in decibels below full scale.
    pub fn noise_dbfs(&self) -> Option<f32> {
        self.endpointer.noise_dbfs()
    }

    fn take(&mut self, chunk: [f32; CHUNK]) -> Result<Option<Segment>, VoiceError> {
        let probability = self.state.push(&self.vad, &chunk)?;
        self.kept.push_back(chunk);
        let spoken = self.endpointer.push(probability, level_dbfs(&chunk));
        let segment = spoken.map(|spoken| self.cut_out(&spoken));
        while self.kept_from < self.endpointer.keep_from() && self.kept.pop_front().is_some() {
            self.kept_from = self.kept_from.saturating_add(1);
        }
        Ok(segment)
    }

    fn cut_out(&self, spoken: &Spoken) -> Segment {
        let skip = usize::try_from(spoken.from.saturating_sub(self.kept_from)).unwrap_or(0);
        let count = usize::try_from(spoken.to.saturating_sub(spoken.from)).unwrap_or(0);
        let samples: Vec<f32> =
            self.kept.iter().skip(skip).take(count).flatten().copied().collect();
        let start = spoken.from.max(self.kept_from).saturating_mul(as_u64(CHUNK));
        Segment {
            level_dbfs: level_dbfs(&samples),
            samples,
            start_ms: start.saturating_mul(1_000) / u64::from(RATE_HZ),
            noise_dbfs: spoken.noise_dbfs,
            cut: spoken.cut,
        }
    }
}

fn as_u64(count: usize) -> u64 {
    u64::try_from(count).unwrap_or(u64::MAX)
}
