//! The builder of the listening bench's sounds, run as the bench runs it: the same
//! plan makes the same bytes, noise is as loud as stated, no voice is in two halves.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::{Value, json};

use crate::outside;

/// A Python with numpy: the outside programs bring it.
fn python(check: &str) -> Option<PathBuf> {
    Some(outside::folder(check)?.join("py/bin/python"))
}

fn builder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("packaging/hearing/corpus.py")
}

/// Two texts by the espeak voices of one half, no negatives; gives the list.
fn build(python: &Path, folder: &Path, more: &Value) -> Vec<Value> {
    std::fs::create_dir_all(folder).unwrap();
    let heard = |kind: &str, truth: &str| json!([{"kind": kind, "truth": truth, "grammar": "g"}]);
    let mut plan = json!({
        "half": "report",
        "engines": ["espeak"],
        "negatives": false,
        "say": [
            {"text": "step done", "as": heard("command", "step-done")},
            {"text": "five eighths", "as": heard("measure", "5/8")},
        ],
    });
    for (key, value) in more.as_object().unwrap() {
        plan[key] = value.clone();
    }
    let path = folder.join("plan.json");
    std::fs::write(&path, plan.to_string()).unwrap();
    let done = Command::new(python)
        .arg("-B")
        .arg(builder())
        .args([&path, folder, &folder.join("cache")])
        .output()
        .unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let list = std::fs::read_to_string(folder.join("list.jsonl")).unwrap();
    list.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn file(clip: &Value) -> PathBuf {
    PathBuf::from(clip["file"].as_str().unwrap())
}

#[test]
fn the_same_plan_makes_the_same_bytes() {
    let Some(python) = python("the sounds of the bench, twice") else { return };
    let (one, two) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let bytes = |folder: &Path| -> BTreeMap<String, Vec<u8>> {
        let list = build(&python, folder, &json!({}));
        let named = list.iter().map(|clip| {
            let path = file(clip);
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            (name, std::fs::read(&path).unwrap())
        });
        named.collect()
    };
    let (one, two) = (bytes(one.path()), bytes(two.path()));
    // Two texts, two voices, five conditions, two tries.
    assert!(40 <= one.len(), "{}", one.len());
    assert_eq!(one.values().collect::<BTreeSet<_>>().len(), one.len(), "no two are the same");
    assert!(one == two, "a file differs");
}

fn samples(path: &Path) -> Vec<f64> {
    let mut wav = hound::WavReader::open(path).unwrap();
    wav.samples::<i16>().map(|sample| f64::from(sample.unwrap()) / 32_768.0).collect()
}

fn power(samples: &[f64]) -> f64 {
    samples.iter().map(|sample| sample * sample).sum::<f64>() / samples.len() as f64
}

/// In decibels, the speech without its pauses: 20 ms pieces within 30 dB of the
/// loudest.
fn snr_db(speech: &Path, noise: &Path) -> f64 {
    let rate = hound::WavReader::open(speech).unwrap().spec().sample_rate;
    let speech = samples(speech);
    let pieces: Vec<f64> =
        speech.chunks_exact(usize::try_from(rate / 50).unwrap()).map(power).collect();
    let top = pieces.iter().copied().fold(0.0, f64::max);
    let spoken: Vec<f64> = pieces.into_iter().filter(|piece| top / 1_000.0 < *piece).collect();
    let level = spoken.iter().sum::<f64>() / spoken.len() as f64;
    10.0 * (level / power(&samples(noise))).log10()
}

#[test]
fn noise_is_as_loud_as_stated() {
    let Some(python) = python("the noise of the bench's sounds") else { return };
    let folder = tempfile::tempdir().unwrap();
    let list = build(&python, folder.path(), &json!({"parts": true}));
    let mut seen = BTreeSet::new();
    for clip in &list {
        let (condition, path) = (clip["condition"].as_str().unwrap(), file(clip));
        let (speech, noise) = (path.with_extension("speech"), path.with_extension("noise"));
        let whole = samples(&path);
        let parts = samples(&speech).into_iter().zip(samples(&noise));
        for (whole, (speech, noise)) in whole.iter().zip(parts) {
            assert!((whole - speech - noise).abs() < 2.5 / 32_768.0, "a part is missing");
        }
        let Some(stated) = condition.strip_suffix(" dB") else {
            // Rooms and the telephone are at 20 dB, clean has a room's own hiss.
            let stated = if condition == "clean" { continue } else { 20.0 };
            assert!((snr_db(&speech, &noise) - stated).abs() < 0.3, "{clip}");
            seen.insert("room");
            continue;
        };
        let (found, stated) = (snr_db(&speech, &noise), stated.parse::<f64>().unwrap());
        assert!((found - stated).abs() < 0.3, "{found} dB in {clip}");
        seen.insert(clip["noise"].as_str().unwrap());
    }
    assert!(5 < seen.len(), "{seen:?}");
}

#[test]
fn a_tenth_keeps_the_tries_of_a_thing_together() {
    let Some(python) = python("a tenth of the bench's sounds") else { return };
    let folder = tempfile::tempdir().unwrap();
    let heard = json!([{"kind": "command", "truth": "t", "grammar": "g"}]);
    let say: Vec<Value> =
        (0..30).map(|n| json!({"text": format!("number {n}"), "as": heard})).collect();
    let list = build(&python, folder.path(), &json!({"quick": true, "say": say}));
    let mut tries: BTreeMap<&str, BTreeSet<u64>> = BTreeMap::new();
    for clip in list.iter().filter(|clip| clip["condition"].as_str().unwrap() != "telephone") {
        let take = clip["try"].as_u64().unwrap();
        if !clip["condition"].as_str().unwrap().contains("attic") {
            tries.entry(clip["pair"].as_str().unwrap()).or_default().insert(take);
        }
    }
    // 30 texts, two voices, five conditions: 300 things, and a tenth of them.
    assert!((15..=50).contains(&tries.len()), "{}", tries.len());
    assert!(tries.values().all(|takes| takes.len() == 2), "{tries:?}");
}

#[test]
fn no_voice_is_in_two_halves() {
    let Some(python) = python("the voices of the bench") else { return };
    let done = Command::new(python).arg("-B").arg(builder()).arg("--voices").output().unwrap();
    let halves: BTreeMap<String, Vec<(String, String, u32)>> =
        serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(halves.keys().collect::<Vec<_>>(), ["fit", "report"]);
    let mut seen = BTreeSet::new();
    for (engine, name, _) in halves.values().flatten() {
        // The part before the last mark of a name is its language, not its speaker.
        assert!(seen.insert((engine, name)), "{engine} {name} twice");
    }
    assert!(16 <= seen.len());
}
