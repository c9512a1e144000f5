//! From the end of speech to the decision, against the bare model in the same
//! run. Prints the median and the 95th percentile, and their ratio.
//!
//! usage: cargo bench --bench hearing
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::print_stdout, missing_docs)]

use std::hint::black_box;
use std::time::{Duration, Instant};

use chalkhand::config::Config;
use chalkhand::measure::Ratio;
use chalkhand::sound::Endpoints;
use chalkhand::speech::{Grammar, Meaning};
use chalkhand::voice::{Ear, Listened, Recogniser, WavSource, render};
use criterion::Criterion;

const SAID: &[&str] = &[
    "step done",
    "yes that is right",
    "read the caution",
    "four and a half inches",
    "five eighths",
    "fifteen inches",
    "twenty four",
    "seven and three eighths",
];

fn utterances(recogniser: &Recogniser) -> Vec<Vec<f32>> {
    let folder = tempfile::tempdir().unwrap();
    let mut files = Vec::new();
    for (number, text) in SAID.iter().enumerate() {
        let path = folder.path().join(format!("{number}.wav"));
        render(text, "en-us", 160, &path).unwrap();
        files.push(path);
    }
    let mut ear = Ear::new(WavSource::new(files, 1_000), recogniser.vad(), Endpoints::default());
    let mut found = Vec::new();
    while let Listened::Speech(segment) = ear.listen(None).unwrap() {
        found.push(segment.samples);
    }
    found
}

fn step_grammar() -> Grammar {
    let ratio = |top, bottom| Ratio::new(top, bottom).unwrap();
    let mut grammar = Grammar::only_lengths(ratio(1, 8), ratio(24, 1), ratio(1, 16));
    grammar.commands = vec![
        Meaning::StepDone,
        Meaning::Yes,
        Meaning::No,
        Meaning::Repeat,
        Meaning::Back,
        Meaning::Pause,
        Meaning::WhereAreWe,
        Meaning::ReadCaution,
    ];
    grammar
}

/// The value below which `share` hundredths of the sorted times are.
fn percentile(times: &[Duration], share: usize) -> f64 {
    let at = (times.len() * share / 100).min(times.len() - 1);
    times[at].as_secs_f64() * 1_000.0
}

/// Resident memory, in megabytes, as Linux tells it.
fn resident_mb() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmRSS"))?;
    Some(line.split_whitespace().nth(1)?.parse::<u64>().ok()? / 1024)
}

fn main() {
    let Ok(recogniser) = Recogniser::load(&Config::of_environment(None).unwrap().models) else {
        println!("skipped: run packaging/models first");
        return;
    };
    let utterances = utterances(&recogniser);
    let grammar = step_grammar();
    recogniser.prepare(&grammar).unwrap();

    // Turn about, so that whatever else the machine does falls on both alike.
    let (mut whole, mut bare) = (Vec::new(), Vec::new());
    for _ in 0..12 {
        for samples in &utterances {
            let started = Instant::now();
            black_box(recogniser.transcribe(samples).unwrap());
            bare.push(started.elapsed());
            let started = Instant::now();
            black_box(recogniser.hear(samples, &grammar).unwrap());
            whole.push(started.elapsed());
        }
    }
    whole.sort();
    bare.sort();
    for (share, name) in [(50, "median"), (95, "95th percentile")] {
        let (whole, bare) = (percentile(&whole, share), percentile(&bare, share));
        println!("{name}: decision {whole:.0} ms, bare {bare:.0} ms, ratio {:.2}", whole / bare);
    }
    if let Some(resident) = resident_mb() {
        println!("resident: {resident} MB");
    }

    let mut criterion = Criterion::default().configure_from_args().sample_size(10);
    let mut group = criterion.benchmark_group("hearing");
    let samples = &utterances[0];
    group.bench_function("bare model", |b| {
        b.iter(|| recogniser.transcribe(black_box(samples)).unwrap());
    });
    group.bench_function("decision", |b| {
        b.iter(|| recogniser.hear(black_box(samples), &grammar).unwrap());
    });
    group.finish();
    criterion.bench_function("building the tree of everything", |b| {
        b.iter(|| {
            chalkhand::speech::Trie::new(&Grammar::everything(), recogniser.tokens()).unwrap()
        });
    });
    criterion.final_summary();
}
