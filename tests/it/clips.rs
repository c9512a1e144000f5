//! Clips of sound: written once, named by what is in them, and what the doctor
//! says of one that is missing, changed or no entry's.

use std::io::Cursor;

use chalkhand::domain::{Clip, Draft, Hash, Heard, How, What, chain, entry_json};
use chalkhand::sound::{Segment, clip_sha256, write_wav};
use chalkhand::store::{ClipError, Clips, Store};
use proptest::prelude::*;

use crate::drafts::draft;
use crate::program::Home;

fn samples() -> Vec<f32> {
    (0..800_u16).map(|n| f32::from(n % 90) / 90.0 - 0.5).collect()
}

/// A clip's bytes and its hash, as the ear makes them.
fn clip() -> (Hash, Vec<u8>) {
    let segment = Segment {
        samples: samples(),
        start_ms: 0,
        level_dbfs: -20.0,
        noise_dbfs: -60.0,
        cut: false,
    };
    let mut wav = Cursor::new(Vec::new());
    write_wav(&mut wav, &segment.samples).unwrap();
    (segment.sha256().parse().unwrap(), wav.into_inner())
}

fn noted(sound: Hash, key: &str) -> Draft {
    let clip = Some(Clip { sound, length_ms: 50 });
    let text = "the felt is torn".to_owned();
    let heard = Heard { words: text.clone(), b_milli: -80, a_milli: 0, m_milli: 0, sound };
    let what = What::Noted { step: None, text, clip };
    Draft { how: How::Voice(heard), ..draft("EX-0001", key, what) }
}

#[test]
fn a_clip_is_written_once() {
    let folder = tempfile::tempdir().unwrap();
    let clips = Clips::of(folder.path());
    let (sound, bytes) = clip();
    assert_eq!((clips.read(sound).unwrap(), clips.files().unwrap().len()), (None, 0));
    clips.keep(sound, &bytes).unwrap();
    let path = clips.path(sound);
    let name = sound.to_string();
    assert!(path.ends_with(format!("clips/{}/{name}.wav", &name[..2])), "{}", path.display());
    assert_eq!(clips.read(sound).unwrap().as_deref(), Some(&bytes[..]));
    let written = std::fs::metadata(&path).unwrap().modified().unwrap();
    clips.keep(sound, &bytes).unwrap();
    assert_eq!(std::fs::metadata(&path).unwrap().modified().unwrap(), written, "left as it is");
    // Whatever somebody put there is never overwritten.
    std::fs::write(&path, "something else").unwrap();
    assert!(matches!(clips.keep(sound, &bytes), Err(ClipError::Other { .. })));
    assert_eq!(std::fs::read(&path).unwrap(), b"something else");
    let files: Vec<_> = clips.files().unwrap();
    assert_eq!(files, [(path, Some(sound))], "nothing half-written stays");
}

#[test]
fn a_clip_that_cannot_be_written_is_told() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("clips"), "in the way").unwrap();
    let (sound, bytes) = clip();
    let told = Clips::of(folder.path()).keep(sound, &bytes).unwrap_err().to_string();
    assert!(told.contains("could not be"), "{told}");
}

proptest! {
    /// One changed byte anywhere, or bytes more or less, and it is another sound
    /// or none.
    #[test]
    fn every_change_of_a_clip_is_seen(
        at in any::<proptest::sample::Index>(),
        by in 1_u8..=255,
        tail in proptest::collection::vec(any::<u8>(), 0..40),
        cut in 0_usize..60,
    ) {
        let (sound, bytes) = clip();
        let is_whole = |bytes: &[u8]| clip_sha256(bytes) == Some(sound.to_string());
        prop_assert!(is_whole(&bytes));
        let mut changed = bytes.clone();
        let at = at.index(bytes.len());
        changed[at] = changed[at].wrapping_add(by);
        prop_assert!(!is_whole(&changed), "byte {at}");
        let longer = [&bytes[..], &tail[..]].concat();
        prop_assert_eq!(is_whole(&longer), tail.is_empty());
        let shorter = &bytes[..bytes.len() - cut];
        prop_assert_eq!(is_whole(shorter), cut == 0);
    }

    #[test]
    fn any_bytes_are_no_clip(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        prop_assert_eq!(clip_sha256(&bytes), None);
    }
}

#[test]
fn the_doctor_compares_clips_with_entries() {
    let home = Home::with_job();
    let data = home.path("data");
    let says = || {
        // Its exit code is about what every walk needs.
        let ran = home.run(["doctor"]);
        assert_eq!(ran.code, 0, "{}{}", ran.out, ran.err);
        let line = ran.out.lines().find(|line| line.starts_with("clips")).unwrap().to_owned();
        (!line.contains("does not work"), line)
    };
    assert_eq!(says(), (true, "clips       works: none is kept here".to_owned()));
    let (sound, bytes) = clip();
    let clips = Clips::of(&data);
    clips.keep(sound, &bytes).unwrap();
    let (works, line) = says();
    assert!(!works && line.contains("no entry names the clip"), "{line}");
    let mut store = Store::open(&data.join("log.sqlite")).unwrap();
    let seq = store.append(&noted(sound, "a"), None).unwrap().entry().seq;
    drop(store);
    let (works, line) = says();
    assert!(works && line.contains("1 clip, as it was heard"), "{line}");
    let path = clips.path(sound);
    let mut changed = bytes.clone();
    changed[500] ^= 1;
    for (put, wanted) in [
        (Some(&changed[..]), format!("of entry {seq} was changed")),
        (Some(&bytes[..700]), format!("of entry {seq} was changed")),
        (Some(&b""[..]), format!("of entry {seq} was changed")),
        (None, format!("of the note in entry {seq} of job EX-0001 is missing")),
    ] {
        match put {
            Some(bytes) => std::fs::write(&path, bytes).unwrap(),
            None => std::fs::remove_file(&path).unwrap(),
        }
        let (works, line) = says();
        assert!(!works && line.contains(&wanted), "{wanted}: {line}");
    }
    clips.keep(sound, &bytes).unwrap();
    assert!(says().0);
    std::fs::write(data.join("clips/letter.txt"), "to whom it may concern").unwrap();
    let (works, line) = says();
    assert!(!works && line.contains("letter.txt` is no clip"), "{line}");
}

/// What an entry holds of a note with its sound; and one of before there were
/// clips reads as it did.
#[test]
fn a_note_says_that_its_words_are_not_verified() {
    let (sound, _) = clip();
    let (entry, text) = chain::link(noted(sound, "a"), 1, Hash::START).unwrap();
    let json: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(json["transcript"], "the felt is torn");
    assert_eq!(json["verified"], false);
    assert_eq!(json["clip"]["sha256"], sound.to_string());
    assert_eq!(json["clip"]["length_ms"], 50);
    assert_eq!(json.get("text"), None);
    assert_eq!(entry.draft.what.word(), "noted");

    let old = draft("J-1", "b", What::Noted { step: None, text: "words".to_owned(), clip: None });
    let json = entry_json::sealed(1, &old, Hash::START).canonical().unwrap();
    let before = "{\"at\":\"2026-11-25T08:15:09.042-05:00\",\"by\":\"Installer One\",\
                  \"how\":\"keys\",\"job\":\"J-1\",\"key\":\"b\",\"previous\":\"0000000000000000\
                  000000000000000000000000000000000000000000000000\",\"seq\":1,\"text\":\"words\",\
                  \"what\":\"noted\"}";
    assert_eq!(json, before, "a note without sound is written as it always was");
}
