//! The hearing check and clips from end to end: synthetic speech (espeak-ng) in
//! silence and in noise, through the real recogniser, by the program itself.

use std::path::{Path, PathBuf};

use chalkhand::sound::{FileFrames, write_wav};
use chalkhand::speech;
use serde_json::Value;

use crate::program::{Home, models_are_there};

const BY: [&str; 2] = ["--by", "Installer Example"];
const CHECK: [&str; 4] = ["hearing", "--job", "EX-0001", "--mute"];
const WALK: [&str; 4] = ["walk", "EX-0001", "deck-intake", "--mute"];

/// Speech of synthetic voices at 16 kHz.
fn spoken(home: &Home, words: &str) -> Vec<f32> {
    let path = home.path(&format!("{}.wav", words.replace(' ', "-")));
    chalkhand::voice::render(words, "en-us", 150, &path).expect("espeak-ng is there");
    let mut frames = FileFrames::new(std::fs::File::open(path).unwrap()).unwrap();
    let mut samples = Vec::new();
    while let Some(frame) = frames.next_frame().unwrap() {
        samples.extend(frame);
    }
    samples
}

fn silence(ms: usize) -> Vec<f32> {
    vec![0.0; ms * 16]
}

/// White noise of this loudness over everything, in decibels below full scale.
fn noisy(samples: &[f32], dbfs: f32) -> Vec<f32> {
    let peak = 10_f32.powf(dbfs / 20.0) * 3_f32.sqrt();
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut noise = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        f32::from(u16::try_from(state >> 48).unwrap()) / 32_768.0 - 1.0
    };
    samples.iter().map(|sample| (sample + peak * noise()).clamp(-1.0, 1.0)).collect()
}

fn write(home: &Home, name: &str, samples: &[f32]) -> PathBuf {
    let path = home.path(name);
    write_wav(std::fs::File::create(&path).unwrap(), samples).unwrap();
    path
}

/// Four seconds of the site, then every phrase of a check in its order.
fn reading(home: &Home) -> Vec<f32> {
    let mut sound = silence(4_000);
    for phrase in speech::check_phrases() {
        sound.extend(spoken(home, &phrase.words));
        sound.extend(silence(1_200));
    }
    sound
}

fn run(home: &Home, words: &[&str], wavs: &[&Path]) -> String {
    let mut all: Vec<&str> = words.to_vec();
    all.extend(BY);
    all.push("--wav");
    all.extend(wavs.iter().map(|wav| wav.to_str().unwrap()));
    home.run(all).well()
}

fn record(home: &Home) -> Value {
    let path = home.path("r.json");
    home.run(["record", "EX-0001", "-o", path.to_str().unwrap()]).well();
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

/// The day log of the day the ear was opened, by the clock of the address.
fn day(home: &Home) -> String {
    let record = record(home);
    let opened = record["sound"]["ear_open"][0]["opened_at"].as_str().unwrap();
    home.run(["day", &opened[..10]]).well()
}

/// Every sound file the program wrote.
fn sounds(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sounds(&path, into);
        } else if std::fs::read(&path).unwrap().starts_with(b"RIFF") {
            into.push(path);
        }
    }
}

#[test]
fn a_clear_voice_is_trusted_and_one_in_noise_is_not() {
    if !models_are_there() {
        return;
    }
    let home = Home::with_job();
    let reading = reading(&home);
    let step_done: Vec<f32> = [&silence(800)[..], &spoken(&home, "step done")].concat();
    let clean = write(&home, "clean.wav", &noisy(&reading, -75.0));
    // espeak-ng speaks at about -20 dBFS: that is much louder than the voice.
    let saw = write(&home, "saw.wav", &noisy(&reading, -12.0));
    let done = write(&home, "done.wav", &step_done);

    let out = run(&home, &CHECK, &[&saw]);
    assert!(out.contains("Be quiet for 3 seconds"), "{out}");
    assert!(out.contains("Commands: not trusted; "), "{out}");
    assert!(out.contains("Numbers: not trusted; "), "{out}");
    assert!(out.contains("wait for the noise to stop"), "{out}");
    // The walk goes by it, also where no new check is wanted.
    for extra in [&[][..], &["--no-check"]] {
        let out = run(&home, &[&WALK[..], extra].concat(), &[&done, &done]);
        assert!(out.contains("I cannot trust what I hear here."), "{out}");
        assert_eq!(out.matches("Logged.").count(), 0, "{out}");
    }

    let out = run(&home, &CHECK, &[&clean]);
    let verdict = "Commands: trusted; every phrase was heard clearly. \
                   Numbers: trusted; every phrase was heard clearly.";
    assert!(out.contains(verdict), "{out}");
    // The same words in a noise that came up since: recognised, not taken.
    let late: Vec<f32> = [&silence(6_000)[..], &step_done[..], &silence(1_500)].concat();
    let late = write(&home, "late.wav", &noisy(&late, -45.0));
    let out = run(&home, &WALK, &[&late]);
    assert!(out.contains("hears  \"Step done.\""), "{out}");
    assert!(out.contains("It is louder here than at the hearing check"), "{out}");
    assert_eq!(out.matches("Logged.").count(), 0, "{out}");
    let out = run(&home, &WALK, &[&done]);
    assert_eq!(out.matches("Logged.").count(), 1, "{out}");

    let record = record(&home);
    let checks = record["sound"]["hearing_checks"].as_array().unwrap();
    let trust: Vec<&str> =
        checks.iter().map(|check| check["commands"]["trust"].as_str().unwrap()).collect();
    assert_eq!(trust, ["not-trusted", "trusted"]);
    assert_eq!(checks[1]["phrases"].as_array().unwrap().len(), 7);
    let noise = checks[1]["noise_tenth_dbfs"].as_i64().unwrap();
    assert!((-800..=-700).contains(&noise), "{noise}");
    let noise = checks[0]["noise_tenth_dbfs"].as_i64().unwrap();
    assert!((-150..=-100).contains(&noise), "{noise}");
    let ears = record["sound"]["ear_open"].as_array().unwrap();
    assert_eq!(ears.len(), 4);
    assert!(ears.iter().all(|ear| ear["closed_at"].is_string() && ear["kept"] == "notes"));
    let attention = record["attention"].to_string();
    assert!(!attention.contains("Clock") && !attention.contains("ear"), "{attention}");
    let html = home.path("r.html");
    home.run(["record", "EX-0001", "-o", html.to_str().unwrap()]).well();
    let html = std::fs::read_to_string(html).unwrap();
    assert!(html.contains("When sound was listened to, and what was kept of it"));
    let mut kept = Vec::new();
    sounds(&home.path("data"), &mut kept);
    assert_eq!(kept, Vec::<PathBuf>::new(), "no note, no sound on the disk");
}

#[test]
fn a_walk_by_recordings_begins_with_the_check() {
    if !models_are_there() {
        return;
    }
    let home = Home::with_job();
    let mut sound = reading(&home);
    sound.extend(spoken(&home, "step done"));
    let all = write(&home, "all.wav", &noisy(&sound, -75.0));
    let out = run(&home, &WALK, &[&all]);
    let (check, walk) = out.split_once("Numbers: trusted").expect("a verdict");
    assert!(check.contains("Read: step done."), "{check}");
    assert_eq!(walk.matches("Logged.").count(), 1, "{walk}");
    // It holds; the next walk begins without.
    let done = write(&home, "done.wav", &spoken(&home, "step done"));
    let out = run(&home, &WALK, &[&done]);
    assert!(!out.contains("Hearing check") && !out.contains("not checked"), "{out}");
    let day = day(&home);
    let lines: Vec<&str> = day.lines().filter(|line| line.contains("Sound was listened")).collect();
    assert_eq!(lines.len(), 1, "one line a person: {day}");
    assert!(!day.contains("ear-"), "{day}");
}

#[test]
fn sound_is_kept_only_as_clips() {
    if !models_are_there() {
        return;
    }
    let words = "the felt is torn near the chimney";
    for (setting, clips, with_clip) in [("", 1, true), ("all", 2, true), ("none", 0, false)] {
        let home = Home::with_job();
        if !setting.is_empty() {
            home.write("data/chalkhand.toml", &format!("keep_sound = \"{setting}\"\n"));
        }
        let wavs = ["take a note", words, "yes that is right", "step done"]
            .map(|words| write(&home, &format!("{}.wav", words.len()), &spoken(&home, words)));
        let wavs: Vec<&Path> = wavs.iter().map(PathBuf::as_path).collect();
        let out = run(&home, &[&WALK[..], &["--no-check"]].concat(), &wavs);
        assert!(out.contains("Voice was not checked."), "{out}");
        assert_eq!(out.matches("Logged.").count(), 2, "{out}");
        let data = home.path("data");
        let mut kept = Vec::new();
        sounds(&data, &mut kept);
        assert_eq!(kept.len(), clips, "{setting}: {kept:?}");
        let record = record(&home);
        let note = &record["notes"][0];
        assert_eq!((&note["spoken"], &note["verified"]), (&Value::Bool(true), &Value::Bool(false)));
        // Which words the recogniser makes of the rest depends on the processor.
        assert!(note["text"].as_str().unwrap().to_lowercase().contains("felt is torn"), "{note}");
        assert_eq!(record["sound"]["ear_open"][0].get("hearing_check_seq"), None);
        let day = day(&home);
        assert!(day.contains("voice was not checked"), "{day}");
        let doctor = home.run(["doctor"]).well();
        let line = doctor.lines().find(|line| line.starts_with("clips")).unwrap();
        assert!(line.contains("works: "), "{line}");
        let Some(clip) = note.get("clip") else {
            assert!(!with_clip, "{note}");
            continue;
        };
        assert!(with_clip);
        let path = data.join(clip["path"].as_str().unwrap());
        assert!(kept.contains(&path), "{clip}");
        let length_ms = clip["length_ms"].as_u64().unwrap();
        assert!((1_000..6_000).contains(&length_ms), "{clip}");
        let tidy: String = day.split_whitespace().collect();
        assert!(tidy.contains(clip["sha256"].as_str().unwrap()), "{day}");
        // It can be heard again.
        let heard = home.run(["hear", "--json", path.to_str().unwrap()]).well();
        assert!(heard.contains(".wav"), "{heard}");
    }
}
