//! Moonshine tiny on rten: sound to hidden states once, then one step at a time
//! for a batch of hypotheses. `packaging/models` splits its decoder in two: the
//! first token, and the steps after it.

use std::path::Path;

use rten::{Model, ModelOptions, NodeId, Value, ValueOrView};
use rten_tensor::prelude::*;
use rten_tensor::{NdTensor, Tensor};

use super::VoiceError;
use crate::speech::{Row, Steps, Tokens};

/// The decoder's layers, as the model was trained.
const LAYERS: usize = 6;
/// Samples that the encoder makes one hidden state of.
const SAMPLES_PER_STATE: usize = 384;

/// The recogniser's three networks and the names of their ends.
pub struct Moonshine {
    encoder: Model,
    first: Model,
    step: Model,
    sound_in: NodeId,
    sound_mask: NodeId,
    hidden_out: NodeId,
    first_ends: Ends,
    step_ends: Ends,
    past_in: Vec<NodeId>,
}

/// The ends that both decoders have.
struct Ends {
    tokens_in: NodeId,
    hidden_in: NodeId,
    hidden_mask: NodeId,
    /// The logits, then the keys and values made, in the order of `past_in`.
    outputs: Vec<NodeId>,
}

/// Whether weights are laid out for speed when a model is loaded, which doubles
/// the memory it takes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Made {
    /// For speed.
    Quick,
    /// For memory.
    Small,
}

pub(super) fn load(path: &Path, made: Made) -> Result<Model, VoiceError> {
    if !path.is_file() {
        return Err(VoiceError::NoModel(path.to_owned()));
    }
    ModelOptions::with_all_ops()
        .prepack_weights(made == Made::Quick)
        .load_file(path)
        .map_err(|e| VoiceError::BadModel { path: path.to_owned(), why: e.to_string() })
}

pub(super) fn node(model: &Model, path: &Path, name: &str) -> Result<NodeId, VoiceError> {
    model.find_node(name).ok_or_else(|| VoiceError::BadModel {
        path: path.to_owned(),
        why: format!("it has no `{name}`"),
    })
}

pub(super) fn failed(error: impl std::fmt::Display) -> VoiceError {
    VoiceError::Model(error.to_string())
}

impl Moonshine {
    /// Loads both networks from the folder that holds them.
    ///
    /// # Errors
    /// When a file is missing or is not the model expected.
    pub fn load(dir: &Path, made: Made) -> Result<Moonshine, VoiceError> {
        let encoder_path = dir.join("encoder_model.onnx");
        let first_path = dir.join("decoder_first.onnx");
        let step_path = dir.join("decoder_step.onnx");
        let encoder = load(&encoder_path, made)?;
        let first = load(&first_path, made)?;
        let step = load(&step_path, made)?;
        let ends = |model: &Model, path: &Path, made: &dyn Fn(usize) -> bool| {
            let mut outputs = vec![node(model, path, "logits")?];
            for (_, name) in memories().enumerate().filter(|(at, _)| made(*at)) {
                outputs.push(node(model, path, &format!("present.{name}"))?);
            }
            Ok::<Ends, VoiceError>(Ends {
                tokens_in: node(model, path, "input_ids")?,
                hidden_in: node(model, path, "encoder_hidden_states")?,
                hidden_mask: node(model, path, "encoder_attention_mask")?,
                outputs,
            })
        };
        Ok(Moonshine {
            sound_in: node(&encoder, &encoder_path, "input_values")?,
            sound_mask: node(&encoder, &encoder_path, "attention_mask")?,
            hidden_out: node(&encoder, &encoder_path, "last_hidden_state")?,
            first_ends: ends(&first, &first_path, &|_| true)?,
            step_ends: ends(&step, &step_path, &|at| !from_encoder(at))?,
            past_in: memories()
                .map(|name| node(&step, &step_path, &format!("past_key_values.{name}")))
                .collect::<Result<_, _>>()?,
            encoder,
            first,
            step,
        })
    }

    /// Runs the encoder over samples at 16 kHz.
    ///
    /// # Errors
    /// When the model fails.
    pub fn listen(&self, samples: Vec<f32>) -> Result<Utterance<'_>, VoiceError> {
        let length = samples.len();
        let sound = NdTensor::from_data([1, length], samples);
        let mask = NdTensor::from_data([1, length], vec![1_i32; length]);
        let inputs = vec![(self.sound_in, sound.into()), (self.sound_mask, mask.into())];
        let [hidden] = self.encoder.run_n(inputs, [self.hidden_out], None).map_err(failed)?;
        let hidden: NdTensor<f32, 3> = hidden.try_into().map_err(failed)?;
        // The decoder thins the mask out to its own steps, so it is given at the
        // rate of the sound; a shorter one fails on long utterances only.
        let heard = hidden.size(1).saturating_mul(SAMPLES_PER_STATE);
        let mask = NdTensor::from_data([1, heard], vec![1_i32; heard]);
        Ok(Utterance { model: self, hidden, mask, past: Vec::new() })
    }
}

/// What was heard, ready to be decoded.
pub struct Utterance<'a> {
    model: &'a Moonshine,
    hidden: NdTensor<f32, 3>,
    mask: NdTensor<i32, 2>,
    /// Keys and values, in the order of `past_in`. Those of the encoder are kept
    /// from the first step: the cached branch does not give them again.
    past: Vec<Tensor<f32>>,
}

impl Steps for Utterance<'_> {
    type Error = VoiceError;

    fn begin(&mut self) -> Result<Row, VoiceError> {
        let ends = &self.model.first_ends;
        let inputs: Vec<(NodeId, ValueOrView)> = vec![
            (ends.tokens_in, token_input(&[Tokens::BEGIN])?.into()),
            (ends.hidden_in, self.hidden.view().into()),
            (ends.hidden_mask, self.mask.view().into()),
        ];
        let made = self.model.first.run(inputs, &ends.outputs, None).map_err(failed)?;
        let mut made = made.into_iter();
        let rows = rows(made.next())?;
        self.past = made.map(|v| v.try_into().map_err(failed)).collect::<Result<_, _>>()?;
        rows.into_iter().next().ok_or_else(|| failed("a step gave no answer"))
    }

    fn advance(&mut self, parents: &[usize], tokens: &[u32]) -> Result<Vec<Row>, VoiceError> {
        let ends = &self.model.step_ends;
        for (at, past) in self.past.iter_mut().enumerate() {
            if !from_encoder(at) {
                *past = gather(past, parents);
            }
        }
        // The sound is the same for each row of the batch, so it is given once.
        let mut inputs: Vec<(NodeId, ValueOrView)> = vec![
            (ends.tokens_in, token_input(tokens)?.into()),
            (ends.hidden_in, self.hidden.view().into()),
            (ends.hidden_mask, self.mask.view().into()),
        ];
        for (past, node) in self.past.iter().zip(&self.model.past_in) {
            inputs.push((*node, past.view().into()));
        }
        let made = self.model.step.run(inputs, &ends.outputs, None).map_err(failed)?;
        let mut made = made.into_iter();
        let rows = rows(made.next())?;
        let own = self.past.iter_mut().enumerate().filter(|(at, _)| !from_encoder(*at));
        for ((_, past), value) in own.zip(made) {
            *past = value.try_into().map_err(failed)?;
        }
        Ok(rows)
    }
}

/// The names of the keys and values, in the order of `past_in`.
fn memories() -> impl Iterator<Item = String> {
    (0..LAYERS).flat_map(|layer| {
        ["decoder.key", "decoder.value", "encoder.key", "encoder.value"]
            .map(|end| format!("{layer}.{end}"))
    })
}

/// Whether the memory at a place of `past_in` is of the sound, not of the words.
fn from_encoder(place: usize) -> bool {
    2 <= place % 4
}

fn token_input(tokens: &[u32]) -> Result<NdTensor<i32, 2>, VoiceError> {
    let tokens: Vec<i32> = tokens
        .iter()
        .map(|token| i32::try_from(*token))
        .collect::<Result<_, _>>()
        .map_err(failed)?;
    Ok(NdTensor::from_data([tokens.len(), 1], tokens))
}

/// Takes whole rows of the first dimension, in the order given.
fn gather<T: Copy>(from: &Tensor<T>, rows: &[usize]) -> Tensor<T> {
    let mut shape = from.shape().to_vec();
    let mut data = Vec::new();
    let all = from.view();
    let all = all.to_contiguous();
    let flat = all.data();
    let size: usize = shape.iter().skip(1).product();
    for row in rows {
        let start = row.saturating_mul(size);
        if let Some(row) = flat.get(start..start.saturating_add(size)) {
            data.extend_from_slice(row);
        }
    }
    if let Some(first) = shape.first_mut() {
        *first = rows.len();
    }
    Tensor::from_data(&shape, data)
}

/// The last position's logits, one row a hypothesis.
fn rows(logits: Option<Value>) -> Result<Vec<Row>, VoiceError> {
    let logits = logits.ok_or_else(|| failed("a step gave no answer"))?;
    let logits: NdTensor<f32, 3> = logits.try_into().map_err(failed)?;
    let last = logits.size(1).saturating_sub(1);
    let rows = (0..logits.size(0)).map(|row| Row::new(logits.slice((row, last)).to_vec()));
    Ok(rows.collect())
}
