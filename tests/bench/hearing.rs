//! From the end of speech to the decision, against the bare model in the same
//! run. Prints the median and the 95th percentile, and their ratio; what listening
//! to silence takes of one core.
//!
//! usage: cargo bench --bench hearing
//!
//! `cargo bench --bench hearing voices` measures the voices instead: time for a
//! sentence, and memory.
//!
//! CHALKHAND_SOAK_HOURS=24 lets the ear listen to so many hours of a quiet site
//! with a word now and then, as fast as it goes, and watches the memory.
#![allow(clippy::unwrap_used, clippy::indexing_slicing, clippy::print_stdout, missing_docs)]

use std::hint::black_box;
use std::time::{Duration, Instant};

use chalkhand::config::Config;
use chalkhand::measure::Ratio;
use chalkhand::sound::{Endpoints, FRAME};
use chalkhand::speech::{Grammar, Meaning};
use chalkhand::voice::{
    Ear, Espeak, FrameSource, Listened, Natural, Recogniser, Voice, VoiceError, WavSource, render,
};
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

/// CPU seconds this process has used, of all its threads, as Linux tells it.
fn cpu_s() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap();
    let fields: Vec<&str> = stat.rsplit(')').next().unwrap().split_whitespace().collect();
    // User and system time, in hundredths of a second.
    (fields[11].parse::<f64>().unwrap() + fields[12].parse::<f64>().unwrap()) / 100.0
}

/// A quiet site: soft noise, and a word every so many frames.
struct Site {
    frames_left: u64,
    every: u64,
    state: u32,
    word: Vec<f32>,
    at: usize,
}

impl Site {
    fn new(hours: f64, every_s: u64, word: Vec<f32>) -> Site {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "hours")]
        let frames_left = (hours * 3_600.0 * 50.0) as u64;
        let at = word.len();
        Site { frames_left, every: every_s * 50, state: 1, word, at }
    }
}

impl FrameSource for Site {
    fn next_frame(&mut self) -> Result<Option<[f32; FRAME]>, VoiceError> {
        if self.frames_left == 0 {
            return Ok(None);
        }
        self.frames_left -= 1;
        if self.frames_left.is_multiple_of(self.every) {
            self.at = 0;
        }
        let mut frame = [0.0; FRAME];
        for sample in &mut frame {
            self.state ^= self.state << 13;
            self.state ^= self.state >> 17;
            self.state ^= self.state << 5;
            let noise = f32::from(u8::try_from(self.state % 256).unwrap()) / 256.0 - 0.5;
            // About 55 decibels below full scale.
            *sample = noise * 0.006 + self.word.get(self.at).copied().unwrap_or(0.0);
            self.at = self.at.saturating_add(1);
        }
        Ok(Some(frame))
    }
}

/// What the ear takes of one core while nobody speaks.
fn silence(recogniser: &Recogniser) {
    let site = Site::new(1.0 / 30.0, 1_000_000, Vec::new());
    let mut ear = Ear::new(site, recogniser.vad(), Endpoints::default());
    let (cpu, wall) = (cpu_s(), Instant::now());
    assert!(matches!(ear.listen(None).unwrap(), Listened::End));
    let (cpu, wall) = (cpu_s() - cpu, wall.elapsed().as_secs_f64());
    let share = cpu / 120.0 * 100.0;
    println!("listening to silence: {share:.2} % of one core ({wall:.1} s for 120 s of sound)");
}

/// Hours of listening, as fast as it goes.
fn soak(recogniser: &Recogniser, hours: f64, word: &[f32]) {
    let site = Site::new(hours, 60, word.to_vec());
    let mut ear = Ear::new(site, recogniser.vad(), Endpoints::default());
    let grammar = step_grammar();
    let (mut words, mut shown) = (0_u32, Instant::now());
    println!("soak: {hours} hours of sound, resident {} MB", resident_mb().unwrap_or(0));
    loop {
        match ear.listen(Some(5_000)).unwrap() {
            Listened::Speech(segment) => {
                black_box(recogniser.hear(&segment.samples, &grammar).unwrap());
                words += 1;
            }
            Listened::Quiet => {}
            Listened::End => break,
        }
        if Duration::from_secs(20) < shown.elapsed() {
            shown = Instant::now();
            let (minutes, mb) = (ear.heard_ms() / 60_000, resident_mb().unwrap_or(0));
            println!("soak: after {minutes} minutes of sound {words} words, resident {mb} MB");
        }
    }
    println!("soak: end, {words} words, resident {} MB", resident_mb().unwrap_or(0));
}

const SENTENCES: &[&str] = &[
    "Logged.",
    "I did not get that.",
    "one-five inches, on target; right?",
    "Step 4 of 30. Nail line. Snap the nail line four and a half inches up. Read me the mark.",
];

/// What a voice takes for each sentence, and the program's memory afterwards.
fn voice(name: &str, voice: &mut dyn Voice) {
    for text in SENTENCES {
        voice.speak(text).unwrap();
        let mut times: Vec<Duration> = Vec::new();
        let mut length = Duration::ZERO;
        for _ in 0..7 {
            let started = Instant::now();
            length = black_box(voice.speak(text).unwrap()).length();
            times.push(started.elapsed());
        }
        times.sort();
        let (median, length) = (percentile(&times, 50), length.as_secs_f64());
        println!("voice {name}: {median:.0} ms for {length:.1} s of speech: {text}");
    }
    println!("voice {name}: resident {} MB", resident_mb().unwrap_or(0));
}

fn main() {
    let models = Config::of_environment(None).unwrap().models;
    if std::env::args().any(|word| word == "voices") {
        println!("resident before any voice: {} MB", resident_mb().unwrap_or(0));
        voice("espeak", &mut Espeak::new("en-us", 165).unwrap());
        match Natural::load(&models.join("joe"), 165) {
            Ok(mut natural) => voice("joe", &mut natural),
            Err(why) => println!("{why}"),
        }
        return;
    }
    let Ok(recogniser) = Recogniser::load(&models) else {
        println!("skipped: run packaging/models first");
        return;
    };
    if let Ok(hours) = std::env::var("CHALKHAND_SOAK_HOURS") {
        let words = utterances(&recogniser);
        return soak(&recogniser, hours.parse().unwrap(), &words[0]);
    }
    silence(&recogniser);
    let utterances = utterances(&recogniser);
    let grammar = step_grammar();
    recogniser.prepare(&grammar).unwrap();

    // Turn about, so that whatever else the machine does falls on both alike.
    let (mut whole, mut bare) = (Vec::new(), Vec::new());
    for _ in 0..12 {
        for samples in &utterances {
            let started = Instant::now();
            black_box(recogniser.bare(samples).unwrap());
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
        b.iter(|| recogniser.bare(black_box(samples)).unwrap());
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
