//! Hears a list of sound files and prints one JSON line for each, with all the
//! scores behind the decision. `packaging/hearing-table` makes the table of it.
//!
//! usage: cargo bench --bench hearing_table -- LIST
//! LIST has a line for each file: grammar, tab, path. Grammars: everything,
//! lengths, commands, counts, yes-no, confirm.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout, missing_docs)]

use std::path::Path;

use chalkhand::config::Config;
use chalkhand::measure::Ratio;
use chalkhand::sound::Endpoints;
use chalkhand::speech::{Decision, Found, Grammar, Meaning, Thresholds, decide};
use chalkhand::voice::{Ear, Listened, Recogniser, WavSource};
use serde_json::json;

fn grammar(name: &str) -> Grammar {
    let ratio = |top, bottom| Ratio::new(top, bottom).unwrap();
    let mut confirm = Grammar::commands_only(vec![
        Meaning::Yes,
        Meaning::No,
        Meaning::Repeat,
        Meaning::Back,
        Meaning::Pause,
        Meaning::WhereAreWe,
    ]);
    match name {
        "everything" => Grammar::everything(),
        "commands" => Grammar::all_commands(),
        "lengths" => Grammar::only_lengths(ratio(1, 16), ratio(60, 1), ratio(1, 16)),
        "short-lengths" => Grammar::only_lengths(ratio(1, 8), ratio(14, 1), ratio(1, 8)),
        "counts" => Grammar::only_counts(0, 120),
        "yes-no" => confirm,
        "step" => {
            confirm.commands = vec![
                Meaning::StepDone,
                Meaning::Repeat,
                Meaning::Back,
                Meaning::Pause,
                Meaning::WhereAreWe,
                Meaning::ReadCaution,
                Meaning::ReadReason,
                Meaning::TakeNote,
                Meaning::Skip,
                Meaning::WasWrong,
                Meaning::PhotoTaken,
            ];
            confirm
        }
        other => panic!("no grammar is called {other}"),
    }
}

fn value(meaning: &Meaning) -> String {
    match meaning {
        Meaning::Length(inches) => format!("{}/{}", inches.numerator(), inches.denominator()),
        Meaning::Count(count) => count.to_string(),
        other => other.word().to_owned(),
    }
}

fn main() {
    let Some(list) = std::env::args().skip(1).find(|arg| !arg.starts_with("--")) else {
        println!("give a list of files; packaging/hearing-table does");
        return;
    };
    let recogniser = Recogniser::load(&Config::of_environment(None).unwrap().models).unwrap();
    for line in std::fs::read_to_string(list).unwrap().lines() {
        let (name, path) = line.split_once('\t').unwrap();
        let trie = recogniser.prepare(&grammar(name)).unwrap();
        let source = WavSource::new([path.into()], 800);
        let mut ear = Ear::new(source, recogniser.vad(), Endpoints::default());
        let mut segments = Vec::new();
        while let Listened::Speech(segment) = ear.listen(None).unwrap() {
            let started = std::time::Instant::now();
            let found = recogniser.find(&segment.samples, &trie).unwrap();
            let ms = started.elapsed().as_secs_f64() * 1000.0;
            let decision = decide(&found, &trie, recogniser.tokens(), &Thresholds::default());
            let (accepted, best, why) = match &decision {
                Decision::Accept { meaning, words, scores } => {
                    (true, Some((meaning, words, scores)), "")
                }
                Decision::AskAgain { best, why } => {
                    (false, best.as_ref().map(|(m, w, s)| (m, w, s)), why.as_str())
                }
            };
            segments.push(json!({
                "ms": ms,
                "start_ms": segment.start_ms,
                "length_ms": segment.length_ms(),
                "level": segment.level_dbfs,
                "noise": segment.noise_dbfs,
                "accepted": accepted,
                "meaning": best.map(|(m, _, _)| value(m)),
                "kind": best.map(|(m, _, _)| m.word()),
                "words": best.map(|(_, w, _)| w),
                "b": best.map(|(_, _, s)| s.b),
                "a": best.map(|(_, _, s)| s.a),
                "m": best.map(|(_, _, s)| s.m),
                "why": why,
                "free": recogniser.tokens().text(&found.free),
                "raw": raw(&found, &trie),
            }));
        }
        let file = Path::new(path).display().to_string();
        println!("{}", json!({"file": file, "grammar": name, "segments": segments}));
    }
}

fn raw(found: &Found, trie: &chalkhand::speech::Trie) -> serde_json::Value {
    let hits: Vec<_> = found
        .hits
        .iter()
        .take(3)
        .map(|hit| {
            let meaning = trie.meaning(hit.place).unwrap();
            json!([value(meaning), hit.log_p, hit.best_log_p, hit.tokens.len() + 1])
        })
        .collect();
    json!({"hits": hits, "free_log_p": found.free_log_p, "free_count": found.free_count})
}
