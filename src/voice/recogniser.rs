//! One utterance in, one decision out. It holds the models and the trees of the
//! grammars asked for so far.

use std::collections::HashMap;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use super::VoiceError;
use super::ear::Vad;
use super::model::{Made, Moonshine};
use crate::sound::RATE_HZ;
use crate::speech::{
    Decision, Found, Grammar, Scores, Search, Thresholds, Tokens, Trie, Wording, decide,
    decide_again, dictated, greedy, search,
};

/// What was heard in one utterance.
#[derive(Clone, Debug)]
pub struct Heard {
    /// Accept, or ask again.
    pub decision: Decision,
    /// The words heard without any grammar; never acted on.
    pub transcript: String,
    /// From the samples to the decision, in milliseconds.
    pub took_ms: u64,
    /// What the search found, for a second try; None for words of one's own.
    pub found: Option<Found>,
}

/// The recogniser, its voice detector and its trees.
pub struct Recogniser {
    /// With the noise adapter: for what may be said at a step.
    noisy: Moonshine,
    /// As it was published: for words of one's own, which the adapter spoils.
    plain: Moonshine,
    vad: Arc<Vad>,
    tokens: Tokens,
    thresholds: Thresholds,
    rules: Search,
    tries: Mutex<HashMap<Grammar, Arc<Trie>>>,
}

/// Silence put before and after an utterance, in samples: the model was taught
/// on sound that begins and ends in quiet.
const PADDING: usize = 3_200;
/// The peak an utterance is brought to, full scale being 1.
const PEAK: f32 = 0.5;
/// A peak below this is no sound at all.
const SILENT: f32 = 1e-4;
/// Trees kept; a checklist has fewer kinds of step.
const MOST_TRIES: usize = 64;

impl Recogniser {
    /// Loads the models that `packaging/models` puts into `dir`.
    ///
    /// # Errors
    /// When one is missing or damaged; it says which.
    pub fn load(dir: &Path) -> Result<Recogniser, VoiceError> {
        let table = dir.join("tiny/tokenizer.bin");
        if !table.is_file() {
            return Err(VoiceError::NoModel(table));
        }
        let bytes = std::fs::read(&table)
            .map_err(|e| VoiceError::File { path: table.clone(), why: e.to_string() })?;
        Ok(Recogniser {
            tokens: Tokens::read(&bytes)?,
            plain: Moonshine::load(&dir.join("tiny"), Made::Small)?,
            noisy: Moonshine::load(&dir.join("noisy"), Made::Quick)?,
            vad: Arc::new(Vad::load(&dir.join("silero/silero_vad_16k_op15.onnx"))?),
            thresholds: Thresholds::default(),
            rules: Search::default(),
            tries: Mutex::new(HashMap::new()),
        })
    }

    /// The voice detector, for an [`super::Ear`].
    pub fn vad(&self) -> Arc<Vad> {
        Arc::clone(&self.vad)
    }

    /// The token table.
    pub fn tokens(&self) -> &Tokens {
        &self.tokens
    }

    /// Builds a grammar's tree ahead, so that the first answer is not late.
    ///
    /// # Errors
    /// When nothing may be said or a phrase cannot be spelled.
    pub fn prepare(&self, grammar: &Grammar) -> Result<Arc<Trie>, VoiceError> {
        let mut tries = self.tries.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(trie) = tries.get(grammar) {
            return Ok(Arc::clone(trie));
        }
        let trie = Arc::new(Trie::new(grammar, &self.tokens)?);
        if MOST_TRIES <= tries.len() {
            tries.clear();
        }
        tries.insert(grammar.clone(), Arc::clone(&trie));
        Ok(trie)
    }

    /// Hears one utterance at 16 kHz under a grammar.
    ///
    /// # Errors
    /// When the grammar cannot be heard or a model fails.
    pub fn hear(&self, samples: &[f32], grammar: &Grammar) -> Result<Heard, VoiceError> {
        self.hear_again(samples, grammar, None)
    }

    /// Hears an utterance that may be the second try at the same answer, the
    /// first not having been clear. What spoke for a meaning then counts too.
    ///
    /// # Errors
    /// When the grammar cannot be heard or a model fails.
    pub fn hear_again(
        &self,
        samples: &[f32],
        grammar: &Grammar,
        earlier: Option<&Found>,
    ) -> Result<Heard, VoiceError> {
        if grammar.dictation {
            return self.dictate(samples, &grammar.wording);
        }
        let trie = self.prepare(grammar)?;
        let started = Instant::now();
        let found = self.find(samples, &trie)?;
        let mut decision = decide(&found, &trie, &self.tokens, &self.thresholds);
        if let (Decision::AskAgain { .. }, Some(earlier)) = (&decision, earlier) {
            let both = decide_again(earlier, &found, &trie, &self.tokens, &self.thresholds);
            decision = both.unwrap_or(decision);
        }
        let transcript = self.tokens.text(&found.free);
        Ok(Heard { decision, transcript, took_ms: ms_since(started), found: Some(found) })
    }

    /// Runs the search and gives its books: for measuring, and for a second try.
    ///
    /// # Errors
    /// When a model fails.
    pub fn find(&self, samples: &[f32], trie: &Trie) -> Result<Found, VoiceError> {
        let mut utterance = self.noisy.listen(prepared(samples))?;
        let rules = Search { most_free: most_tokens(samples), ..self.rules.clone() };
        search(&mut utterance, trie, &rules)
    }

    fn dictate(&self, samples: &[f32], wording: &Wording) -> Result<Heard, VoiceError> {
        let started = Instant::now();
        let found = self.transcribe(samples)?;
        let words = self.tokens.text(&found.free);
        #[expect(clippy::cast_precision_loss, reason = "a count of tokens in a note")]
        let b = found.free_log_p / found.free_count.max(1) as f32;
        let decision = if words.is_empty() {
            Decision::AskAgain { best: None, why: "no words were heard".to_owned() }
        } else {
            let scores = Scores { b, a: 0.0, m: 0.0 };
            Decision::Accept {
                meaning: dictated(words.clone(), wording),
                words: words.clone(),
                scores,
            }
        };
        Ok(Heard { decision, transcript: words, took_ms: ms_since(started), found: None })
    }

    /// Words of one's own, from the model as it was published.
    fn transcribe(&self, samples: &[f32]) -> Result<Found, VoiceError> {
        let mut utterance = self.plain.listen(prepared(samples))?;
        greedy(&mut utterance, most_tokens(samples))
    }

    /// Runs the model that hears steps, bare: encoder and free hypothesis. For
    /// measuring what the rest costs.
    ///
    /// # Errors
    /// When a model fails.
    pub fn bare(&self, samples: &[f32]) -> Result<Found, VoiceError> {
        let mut utterance = self.noisy.listen(prepared(samples))?;
        greedy(&mut utterance, most_tokens(samples))
    }
}

/// Silence around it and one loudness: the model's first layer is not linear, so
/// a quiet microphone would be another voice to it.
fn prepared(samples: &[f32]) -> Vec<f32> {
    let peak = samples.iter().fold(0.0_f32, |peak, sample| peak.max(sample.abs()));
    let gain = if SILENT < peak { PEAK / peak } else { 1.0 };
    let mut prepared = vec![0.0; PADDING];
    prepared.extend(samples.iter().map(|sample| sample * gain));
    prepared.resize(prepared.len().saturating_add(PADDING), 0.0);
    prepared
}

/// Nobody says more than 6.5 tokens a second; a model that goes on is looping.
fn most_tokens(samples: &[f32]) -> usize {
    let rate = usize::try_from(RATE_HZ).unwrap_or(usize::MAX);
    samples.len().saturating_mul(13).div_ceil(rate.saturating_mul(2)).saturating_add(4)
}

fn ms_since(started: Instant) -> u64 {
    u64::try_from(started.elapsed().as_millis()).unwrap_or(u64::MAX)
}
