//! `chalkhand hear`: recordings through the path a microphone takes, outside
//! any job.

use std::path::{Path, PathBuf};

use anyhow::bail;

use super::out::{Out, Progress, complain};
use crate::config::Config;
use crate::domain::{Json, Members};
use crate::measure::Ratio;
use crate::speech::{Decision, Grammar, Meaning};
use crate::voice::{HeardSegment, Recogniser, best_heard, hear_file};

#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// Recordings
    #[arg(required = true, value_name = "FILE.wav")]
    files: Vec<PathBuf>,
    /// What may be said in them
    #[arg(long, value_enum, default_value = "both")]
    expect: Expect,
    /// One line of JSON a file
    #[arg(long)]
    json: bool,
}

#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum Expect {
    Commands,
    Lengths,
    Both,
}

pub(super) fn run(config: &Config, arguments: &Arguments, out: &mut Out) -> anyhow::Result<()> {
    let recogniser = Recogniser::load(&config.models)?;
    let grammar = match arguments.expect {
        Expect::Commands => Grammar::all_commands(),
        Expect::Lengths => Grammar { commands: Vec::new(), ..Grammar::everything() },
        Expect::Both => Grammar::everything(),
    };
    let mut progress = Progress::new("heard", arguments.files.len());
    let mut unheard = 0;
    for (at, file) in arguments.files.iter().enumerate() {
        progress.done(at);
        let told =
            |heard_ms: u64| progress.note(at, &format!(", {} s of this one", heard_ms / 1000));
        match hear_file(&recogniser, file, &grammar, told) {
            Ok(segments) => {
                let best = best_heard(&segments);
                if arguments.json {
                    out.json_line(&json(file, best))?;
                } else if segments.is_empty() {
                    out.line(&format!("{}: no speech", file.display()))?;
                } else {
                    for segment in &segments {
                        out.line(&text(file, segment))?;
                    }
                }
            }
            // The others are heard all the same.
            Err(error) => {
                unheard += 1;
                complain(&format!("chalkhand: {error}"));
            }
        }
    }
    if 0 < unheard {
        bail!("{unheard} of {} recordings could not be heard", arguments.files.len());
    }
    Ok(())
}

fn inches(meaning: &Meaning) -> Option<Ratio> {
    match meaning {
        Meaning::Length(inches) => Some(*inches),
        _ => None,
    }
}

/// One utterance: where it begins in the file, and what was heard.
fn text(file: &Path, segment: &HeardSegment) -> String {
    let name = format!("{} at {:.1} s", file.display(), seconds(segment.start_ms));
    match &segment.heard.decision {
        Decision::Accept { meaning, words, scores } => {
            let meaning = inches(meaning)
                .map_or_else(|| meaning.word().to_owned(), |inches| format!("{inches} in"));
            format!(
                "{name}: {meaning}  \"{words}\"  (b {:.2}, a {:.2}, m {:.1}; {} ms)",
                scores.b, scores.a, scores.m, segment.heard.took_ms
            )
        }
        Decision::AskAgain { why, .. } => format!("{name}: would ask again: {why}"),
    }
}

fn json(file: &Path, segment: Option<&HeardSegment>) -> Json {
    let file = Json::text(file.display());
    let (accepted, best) = match segment.map(|segment| &segment.heard.decision) {
        Some(Decision::Accept { meaning, words, scores }) => (true, Some((meaning, words, scores))),
        Some(Decision::AskAgain { best, .. }) => {
            (false, best.as_ref().map(|(meaning, words, scores)| (meaning, words, scores)))
        }
        None => (false, None),
    };
    let meaning = best.map(|(meaning, ..)| meaning);
    let length = meaning.and_then(inches);
    let kind = meaning.map(|_| if length.is_some() { "length" } else { "command" });
    let score = |score: fn(&crate::speech::Scores) -> f32| {
        best.map_or(Json::Null, |(_, _, scores)| Json::Number(rounded(score(scores))))
    };
    let took = segment.map(|segment| segment.heard.took_ms);
    let ms = took.and_then(|ms| u32::try_from(ms).ok());
    // Every member is there in every line, null where there is nothing.
    Json::Object(Members::from([
        ("file", file),
        ("accepted", Json::Bool(accepted)),
        ("kind", kind.map_or(Json::Null, Json::from)),
        ("meaning", meaning.map_or(Json::Null, |meaning| Json::from(meaning.word()))),
        ("inches", length.map_or(Json::Null, |inches| Json::Number(inches.to_f64()))),
        ("words", best.map_or(Json::Null, |(_, words, _)| Json::text(words))),
        ("b", score(|scores| scores.b)),
        ("a", score(|scores| scores.a)),
        ("m", score(|scores| scores.m)),
        ("ms", ms.map_or(Json::Null, Json::from)),
    ]))
}

/// Scores to a thousandth, so that a line stays readable.
fn rounded(score: f32) -> f64 {
    (f64::from(score) * 1000.0).round() / 1000.0
}

#[expect(clippy::cast_precision_loss, reason = "a recording is shorter than ages")]
fn seconds(ms: u64) -> f64 {
    ms as f64 / 1000.0
}
