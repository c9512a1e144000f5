//! Clips heard by the path a microphone takes, one process a core: rten keeps one
//! pool of threads a process, so a thread for each core needs a process for each.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use anyhow::{Context, bail};
use serde::{Deserialize, Serialize};

use super::super::out::Progress;
use super::said::{Said, value};
use crate::config::Config;
use crate::sound::Endpoints;
use crate::speech::{Decision, Found, Meaning, Scores, Trie};
use crate::voice::{Ear, Listened, Recogniser, WavSource};

/// One thing to hear, as the corpus builder lists it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Clip {
    pub(super) file: String,
    pub(super) kind: String,
    pub(super) condition: String,
    pub(super) noise: String,
    pub(super) text: String,
    /// What it means; empty where it means nothing.
    pub(super) truth: String,
    pub(super) grammar: String,
    pub(super) voice: String,
    /// Counted from 1.
    #[serde(rename = "try")]
    pub(super) take: u32,
    /// The same for the tries of one thing.
    pub(super) pair: String,
}

/// What was heard in one clip.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct HeardClip {
    #[serde(flatten)]
    pub(super) clip: Clip,
    pub(super) segments: Vec<HeardPart>,
    /// Its length, in milliseconds.
    pub(super) sound_ms: u64,
    /// Memory of the process that heard it, in kilobytes.
    pub(super) resident_kb: u64,
}

/// One stretch of speech in it.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct HeardPart {
    pub(super) start_ms: u64,
    pub(super) length_ms: u64,
    pub(super) level_dbfs: f32,
    pub(super) noise_dbfs: f32,
    /// From its end to the decision, in milliseconds.
    pub(super) ms: f64,
    /// The bare model on the same sound, in milliseconds, where it was measured.
    pub(super) bare_ms: Option<f64>,
    pub(super) accepted: bool,
    pub(super) why: String,
    pub(super) best: Option<Best>,
    /// The words heard without any grammar.
    pub(super) free: String,
    /// The books of the search, where they were asked for.
    #[serde(skip_serializing_if = "Option::is_none", default)]
    pub(super) raw: Option<Raw>,
}

/// The best guess, taken or not.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Best {
    /// As [`value`] writes it.
    pub(super) meaning: String,
    /// The word of its kind.
    pub(super) word: String,
    pub(super) words: String,
    pub(super) b: f32,
    pub(super) a: f32,
    pub(super) m: f32,
}

/// Log-probabilities in nats; tokens with the end mark.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct Raw {
    pub(super) hits: Vec<RawHit>,
    pub(super) free_log_p: f32,
    pub(super) free_tokens: usize,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct RawHit {
    pub(super) meaning: String,
    pub(super) word: String,
    pub(super) words: String,
    pub(super) log_p: f32,
    pub(super) best_log_p: f32,
    pub(super) tokens: usize,
}

/// Hears all clips, on all cores, in the order given.
pub(super) fn hear_all(
    config: &Config,
    clips: &[Clip],
    raw: bool,
    folder: &Path,
) -> anyhow::Result<Vec<HeardClip>> {
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    // Clips of one grammar lie together, so that its tree is built once, and the
    // tries of one thing follow each other in one process.
    let mut order: Vec<&Clip> = clips.iter().collect();
    order.sort_by_key(|clip| (&clip.grammar, &clip.kind, &clip.pair, clip.take));
    let things: Vec<&[&Clip]> = order
        .chunk_by(|a, b| (&a.grammar, &a.kind, &a.pair) == (&b.grammar, &b.kind, &b.pair))
        .collect();
    let done = AtomicUsize::new(0);
    let mut progress = Progress::new("heard", clips.len());
    let parts = std::thread::scope(|scope| {
        let mut workers = Vec::new();
        for core in 0..cores {
            let list = folder.join(format!("part-{core}.jsonl"));
            let mine: Vec<&Clip> =
                things.iter().skip(core).step_by(cores).copied().flatten().copied().collect();
            let done = &done;
            workers.push(scope.spawn(move || hear_part(config, &mine, raw, &list, done)));
        }
        while !workers.iter().all(std::thread::ScopedJoinHandle::is_finished) {
            progress.done(done.load(Ordering::Relaxed));
            std::thread::sleep(std::time::Duration::from_millis(200));
        }
        let joined = workers.into_iter().map(|worker| {
            worker.join().map_err(|_| anyhow::anyhow!("a thread that heard clips stopped"))?
        });
        joined.collect::<anyhow::Result<Vec<Vec<HeardClip>>>>()
    })?;
    Ok(parts.into_iter().flatten().collect())
}

/// Has a process of its own hear some clips.
fn hear_part(
    config: &Config,
    clips: &[&Clip],
    raw: bool,
    list: &Path,
    done: &AtomicUsize,
) -> anyhow::Result<Vec<HeardClip>> {
    let mut text = String::new();
    for clip in clips {
        text.push_str(&serde_json::to_string(clip)?);
        text.push('\n');
    }
    std::fs::write(list, text).with_context(|| format!("`{}`: no room", list.display()))?;
    let mut command = Command::new(std::env::current_exe()?);
    command.arg("hearing").arg("--clips").arg(list);
    if raw {
        command.arg("--fit");
    }
    let mut child = command
        .env("RTEN_NUM_THREADS", "1")
        .env("CHALKHAND_MODELS", &config.models)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .context("no process to hear clips in")?;
    let stdout = child.stdout.take().context("its output is gone")?;
    let mut heard = Vec::with_capacity(clips.len());
    for line in BufReader::new(stdout).lines() {
        heard.push(serde_json::from_str(&line?)?);
        done.fetch_add(1, Ordering::Relaxed);
    }
    if !child.wait()?.success() || heard.len() != clips.len() {
        bail!("{} of {} clips were heard; its own words are above", heard.len(), clips.len());
    }
    Ok(heard)
}

/// The work of one such process: a list in, a line of JSON for each clip out.
pub(crate) fn hear_clips(config: &Config, list: &Path, raw: bool) -> anyhow::Result<()> {
    let recogniser = Recogniser::load(&config.models)?;
    let said = Said::all()?;
    let text = std::fs::read_to_string(list)?;
    let mut out = std::io::stdout().lock();
    let mut earlier: Option<(String, Found)> = None;
    for (at, line) in text.lines().enumerate() {
        let clip: Clip = serde_json::from_str(line)?;
        let grammar = said
            .grammars
            .get(&clip.grammar)
            .with_context(|| format!("no grammar is called `{}`", clip.grammar))?;
        // Building the tree is not part of a decision.
        let trie = recogniser.prepare(grammar)?;
        let source = WavSource::new([clip.file.clone().into()], 800);
        let mut ear = Ear::new(source, recogniser.vad(), Endpoints::default());
        let mut segments = Vec::new();
        let (second, mut unclear) = (1 < clip.take, None);
        while let Listened::Speech(segment) = ear.listen(None)? {
            // One in 8, so that the bare model is measured among the decisions.
            let bare = at % 8 == 0;
            // A second try counts together with a first that was not clear.
            let first = earlier.as_ref().filter(|(pair, _)| second && *pair == clip.pair);
            let started = Instant::now();
            let heard =
                recogniser.hear_again(&segment.samples, grammar, first.map(|(_, found)| found))?;
            let ms = ms_since(started);
            let found = heard.found.as_ref();
            let raw = found.filter(|_| raw).map(|found| books(found, &trie, &recogniser));
            let started = Instant::now();
            let bare_ms = if bare {
                recogniser.bare(&segment.samples)?;
                Some(ms_since(started))
            } else {
                None
            };
            let (accepted, best, why) = match heard.decision {
                Decision::Accept { meaning, words, scores } => {
                    unclear = None;
                    (true, Some(guess(&meaning, words, &scores)), String::new())
                }
                Decision::AskAgain { best, why } => {
                    unclear = heard.found;
                    let guess = |(meaning, words, scores)| guess(&meaning, words, &scores);
                    (false, best.map(guess), why)
                }
            };
            segments.push(HeardPart {
                start_ms: segment.start_ms,
                length_ms: segment.length_ms(),
                level_dbfs: segment.level_dbfs,
                noise_dbfs: segment.noise_dbfs,
                ms,
                bare_ms,
                accepted,
                why,
                best,
                free: heard.transcript,
                raw,
            });
        }
        earlier = unclear.map(|found| (clip.pair.clone(), found));
        let heard =
            HeardClip { clip, segments, sound_ms: ear.heard_ms(), resident_kb: resident_kb() };
        writeln!(out, "{}", serde_json::to_string(&heard)?)?;
    }
    Ok(())
}

fn guess(meaning: &Meaning, words: String, scores: &Scores) -> Best {
    let Scores { b, a, m, .. } = *scores;
    Best { meaning: value(meaning), word: meaning.word().to_owned(), words, b, a, m }
}

fn books(found: &Found, trie: &Trie, recogniser: &Recogniser) -> Raw {
    let hits = found.hits.iter().take(4).filter_map(|hit| {
        let meaning = trie.meaning(hit.place)?;
        Some(RawHit {
            meaning: value(meaning),
            word: meaning.word().to_owned(),
            words: recogniser.tokens().text(&hit.tokens),
            log_p: hit.log_p,
            best_log_p: hit.best_log_p,
            tokens: hit.tokens.len().saturating_add(1),
        })
    });
    Raw { hits: hits.collect(), free_log_p: found.free_log_p, free_tokens: found.free_count }
}

fn ms_since(started: Instant) -> f64 {
    started.elapsed().as_secs_f64() * 1000.0
}

/// As Linux tells it; 0 elsewhere.
fn resident_kb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|rest| rest.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}
