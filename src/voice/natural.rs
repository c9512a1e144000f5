//! A natural voice on rten: phonemes from espeak-ng, their numbers from the
//! voice's own table, one run of its network. It fetches nothing and keeps
//! nothing; `Ahead` does the keeping.

use std::collections::HashMap;
use std::path::Path;

use rten::{Model, NodeId};
use rten_tensor::prelude::*;
use rten_tensor::{NdTensor, Tensor};

use super::VoiceError;
use super::espeak::phonemes;
use super::loudspeaker::Sound;
use super::model::{Made, failed, load, node};
use super::mouth::{Voice, sentences};

/// Words per minute of the voice as it was made; about that of espeak-ng.
const OWN_WORDS_PER_MINUTE: f32 = 165.0;
/// Phonemes of one run; a longer sentence is cut at a clause.
const MOST_PHONEMES: usize = 400;
/// Silence between two sentences, in parts of a second.
const PAUSES_PER_S: u32 = 5;

/// The table that comes with the network.
#[derive(serde::Deserialize)]
struct Table {
    audio: Audio,
    espeak: Spoken,
    inference: Scales,
    phoneme_id_map: HashMap<String, Vec<i32>>,
}

#[derive(serde::Deserialize)]
struct Audio {
    sample_rate: u32,
}

#[derive(serde::Deserialize)]
struct Spoken {
    voice: String,
}

#[derive(Clone, Copy, serde::Deserialize)]
struct Scales {
    noise_scale: f32,
    length_scale: f32,
    noise_w: f32,
}

/// The voice, ready to speak.
pub struct Natural {
    model: Model,
    inputs: [NodeId; 3],
    output: NodeId,
    table: Table,
    slower: f32,
}

impl Natural {
    /// Loads `voice.onnx` and `voice.json` from a folder.
    ///
    /// # Errors
    /// When a file is missing or is not what it should be.
    pub fn load(folder: &Path, words_per_minute: u32) -> Result<Natural, VoiceError> {
        let path = folder.join("voice.onnx");
        let table = folder.join("voice.json");
        if !path.is_file() || !table.is_file() {
            return Err(VoiceError::NoVoice(folder.to_owned()));
        }
        let bad = |why: String| VoiceError::BadModel { path: table.clone(), why };
        let text = std::fs::read_to_string(&table).map_err(|e| bad(e.to_string()))?;
        let table: Table = serde_json::from_str(&text).map_err(|e| bad(e.to_string()))?;
        let model = load(&path, Made::Quick)?;
        #[expect(clippy::cast_precision_loss, reason = "a few hundred words")]
        let wanted = words_per_minute.clamp(80, 330) as f32;
        Ok(Natural {
            inputs: [
                node(&model, &path, "input")?,
                node(&model, &path, "input_lengths")?,
                node(&model, &path, "scales")?,
            ],
            output: node(&model, &path, "output")?,
            slower: OWN_WORDS_PER_MINUTE / wanted,
            model,
            table,
        })
    }

    fn run(&self, ids: Vec<i32>) -> Result<Vec<f32>, VoiceError> {
        let count = ids.len();
        let length = i32::try_from(count).map_err(failed)?;
        let Scales { noise_scale, length_scale, noise_w } = self.table.inference;
        let scales = vec![noise_scale, length_scale * self.slower, noise_w];
        let [ids_in, lengths_in, scales_in] = self.inputs;
        let inputs = vec![
            (ids_in, NdTensor::from_data([1, count], ids).into()),
            (lengths_in, NdTensor::from_data([1], vec![length]).into()),
            (scales_in, NdTensor::from_data([3], scales).into()),
        ];
        let [sound] = self.model.run_n(inputs, [self.output], None).map_err(failed)?;
        let sound: Tensor<f32> = sound.try_into().map_err(failed)?;
        Ok(sound.iter().copied().collect())
    }
}

impl Voice for Natural {
    fn speak(&mut self, text: &str) -> Result<Sound, VoiceError> {
        let rate_hz = self.table.audio.sample_rate;
        let mut sound = Sound { samples: Vec::new(), rate_hz };
        let pause = usize::try_from(rate_hz / PAUSES_PER_S).unwrap_or(0);
        for sentence in sentences(text) {
            if !sound.samples.is_empty() {
                let longer = sound.samples.len().saturating_add(pause);
                sound.samples.resize(longer, 0.0);
            }
            let spoken = spelled(sentence, &self.table.espeak.voice)?;
            for ids in numbered(&spoken, &self.table.phoneme_id_map) {
                sound.samples.extend(self.run(ids)?);
            }
        }
        Ok(sound)
    }
}

/// A sentence in phonemes, each clause with the mark that ends it.
fn spelled(sentence: &str, voice: &str) -> Result<String, VoiceError> {
    let mut spelled = String::new();
    for clause in clauses(sentence) {
        let mark = clause.chars().last().filter(|c| MARKS.contains(c));
        let said = phonemes(clause, voice)?;
        let said: Vec<&str> = said.split_whitespace().collect();
        if said.is_empty() {
            continue;
        }
        if !spelled.is_empty() {
            spelled.push(' ');
        }
        spelled.push_str(&said.join(" "));
        spelled.extend(mark);
    }
    Ok(spelled)
}

/// What ends a clause when something else follows.
const MARKS: [char; 6] = [',', ';', ':', '.', '?', '!'];

/// A mark inside a number ends nothing.
fn clauses(sentence: &str) -> Vec<&str> {
    let mut clauses = Vec::new();
    let mut from = 0;
    for (at, c) in sentence.char_indices() {
        let end = at + c.len_utf8();
        let ends = sentence.get(end..).is_none_or(|rest| rest.starts_with(char::is_whitespace));
        if MARKS.contains(&c) && ends {
            clauses.extend(sentence.get(from..end));
            from = end;
        }
    }
    clauses.extend(sentence.get(from..).filter(|rest| !rest.trim().is_empty()));
    clauses
}

/// The numbers of phonemes as the network wants them: a beginning, a pad after
/// each, an end; what the table lacks is left out.
fn numbered(spelled: &str, table: &HashMap<String, Vec<i32>>) -> Vec<Vec<i32>> {
    let of = |name: &str| table.get(name).map_or(&[][..], Vec::as_slice);
    let mut name = [0; 4];
    let known: Vec<&[i32]> = spelled
        .chars()
        .map(|c| of(c.encode_utf8(&mut name)))
        .filter(|ids| !ids.is_empty())
        .collect();
    let run = |piece: &[&[i32]]| {
        let mut ids = [of("^"), of("_")].concat();
        for phoneme in piece {
            ids.extend_from_slice(phoneme);
            ids.extend_from_slice(of("_"));
        }
        ids.extend_from_slice(of("$"));
        ids
    };
    known.chunks(MOST_PHONEMES).map(run).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_inside_a_number_ends_no_clause() {
        assert_eq!(clauses("12.50, on target; right?"), ["12.50,", " on target;", " right?"]);
        assert_eq!(clauses("nine"), ["nine"]);
    }

    #[test]
    fn phonemes_are_numbered_with_pads_and_unknown_ones_left_out() {
        let table = [("^", 1), ("_", 0), ("$", 2), ("a", 14), ("b", 15)]
            .map(|(name, id)| (name.to_owned(), vec![id]))
            .into();
        assert_eq!(numbered("a\u{1f528}b", &table), [vec![1, 0, 14, 0, 15, 0, 2]]);
        assert_eq!(numbered(&"a".repeat(900), &table).len(), 3);
    }
}
