//! Photos of a job: kept once, with the entry that names them, in the record,
//! and what the doctor says of one that is missing, changed or no entry's.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::Duration;

use base64::Engine as _;
use chalkhand::domain::{Draft, Hash, Photo, StepRef, What};
use chalkhand::store::{BlobError, Photos, Store};
use serde_json::Value;

use crate::drafts::draft;
use crate::photo_files::jpeg;
use crate::program::{Home, Ran};

const JOB: &str = "EX-0001";

/// A job on which `deck-intake` was begun.
pub(crate) fn begun() -> Home {
    let home = Home::with_job();
    let mut store = Store::open(&home.path("data/log.sqlite")).unwrap();
    let job = store.job(JOB).unwrap().unwrap();
    let pin = job.pins.iter().find(|pin| pin.id == "deck-intake").unwrap();
    let what = What::WalkBegun { version: pin.version, hash: pin.hash };
    let walk = Some(chalkhand::domain::WalkId::first("deck-intake"));
    store.append(&Draft { walk, ..draft(JOB, "begin", what) }, None).unwrap();
    home
}

pub(crate) fn file(home: &Home, name: &str, bytes: &[u8]) -> PathBuf {
    let path = home.path(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

fn keep(home: &Home, files: &[&Path], more: &[&str]) -> Ran {
    let mut words = vec!["photo", JOB, "--by", "Installer Example"];
    words.extend(files.iter().map(|path| path.to_str().unwrap()));
    words.extend(more);
    home.run(words)
}

pub(crate) fn photos_of(home: &Home) -> Vec<(Option<StepRef>, Photo)> {
    let store = Store::open(&home.path("data/log.sqlite")).unwrap();
    let kept = store.with_photo().unwrap().into_iter().map(|entry| match entry.draft.what {
        What::PhotoKept { step, photo } => (step, *photo),
        other => panic!("{other:?}"),
    });
    kept.collect()
}

fn record(home: &Home) -> (Value, String) {
    let (json, html) = (home.path("record.json"), home.path("record.html"));
    for path in [&json, &html] {
        home.run(["record", JOB, "-o", path.to_str().unwrap()]).well();
    }
    let text = std::fs::read_to_string(json).unwrap();
    (serde_json::from_str(&text).unwrap(), std::fs::read_to_string(html).unwrap())
}

fn doctor(home: &Home) -> String {
    let ran = home.run(["doctor"]);
    ran.out.lines().find(|line| line.starts_with("photos")).unwrap().to_owned()
}

#[test]
fn a_photo_is_kept_once_and_shown() {
    let home = begun();
    let a = file(&home, "a.jpg", &jpeg(6, 80, 60));
    let said = keep(
        &home,
        &[&a],
        &["--step", "look-inside", "--caption", "insulation <b>\"against\"</b> the deck"],
    );
    let said = said.well();
    assert!(said.contains("80 x 60 pixels") && said.contains("without its location"), "{said}");
    let again = keep(&home, &[&a], &[]).well();
    assert!(again.contains("kept already, in entry") && again.contains("nothing was added"));
    let [(step, photo)] = &photos_of(&home)[..] else { panic!("one entry") };
    assert_eq!(step.as_ref().unwrap().id, "look-inside");
    let kept = Photos::of(&home.path("data"));
    let original = kept.original(photo).unwrap().unwrap();
    let preview = kept.preview(photo.preview_sha256).unwrap().unwrap();
    assert_eq!(photo.sha256, Hash::of(&original));
    assert_eq!(kept.files().unwrap().len(), 2);

    let (json, html) = record(&home);
    let shown = &json["photos"][0];
    assert_eq!(shown["sha256"], photo.sha256.to_string());
    assert_eq!(shown["preview_sha256"], photo.preview_sha256.to_string());
    assert_eq!(shown["caption"], "insulation <b>\"against\"</b> the deck");
    assert_eq!(
        (&shown["step"], &shown["checklist"]),
        (&"look-inside".into(), &"deck-intake".into())
    );
    assert_eq!(shown["location_removed"], true);
    assert_eq!(shown["taken_by_camera_clock"], "2026-11-25T10:04:59");
    let lists = json["checklists"].as_array().unwrap();
    let list = lists.iter().find(|list| list["id"] == "deck-intake").unwrap();
    let step = list["steps"].as_array().unwrap().iter().find(|s| s["id"] == "look-inside").unwrap();
    assert_eq!((&step["photos_said_taken"], &step["photos_kept"]), (&0.into(), &1.into()));
    assert_eq!(shown["step_title"], step["title"]);

    assert!(!html.contains("<b>"), "no words become markup, in the picture's name neither");
    assert!(html.contains("insulation &lt;b&gt;&quot;against&quot;&lt;/b&gt; the deck"));
    let data = html.split("src=\"data:image/jpeg;base64,").nth(1).unwrap().split('"').next();
    let data = base64::prelude::BASE64_STANDARD.decode(data.unwrap()).unwrap();
    assert_eq!(data, preview, "the picture is in the page");
    // The name of the drawing's language is no address.
    let fetched = html.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
    assert!(!fetched.contains("http://") && !fetched.contains("https://"), "nothing is fetched");
    assert!(html.contains(&photo.sha256.to_string()));
    // Without the file the page says so and still comes.
    std::fs::remove_file(home.path("data").join(photo.preview_path())).unwrap();
    assert!(record(&home).1.contains("Its smaller picture was not there whole."));
}

#[test]
fn a_kept_photo_counts_as_one_taken() {
    let home = begun();
    let a = file(&home, "a.jpg", &jpeg(1, 80, 60));
    let answered = |key: &str, what| {
        let mut store = Store::open(&home.path("data/log.sqlite")).unwrap();
        let walk = Some(chalkhand::domain::WalkId::first("deck-intake"));
        store.append(&Draft { walk, ..draft(JOB, key, what) }, None).unwrap();
    };
    let step = StepRef { id: "look-inside".to_owned(), row: None };
    let given = chalkhand::domain::Given::Done;
    let asked = "Look inside.".to_owned();
    answered(
        "done",
        What::Answered { step: step.clone(), asked, given, target: None, reason: None },
    );
    let missing = || {
        let (record, _) = record(&home);
        let mut needs = record["attention"].as_array().unwrap().iter();
        needs.any(|need| need["kind"] == "photos-missing" && need["step"] == "look-inside")
    };
    assert!(missing());
    keep(&home, &[&a], &["--step", "look-inside"]).well();
    assert!(!missing(), "the step asks for one and one is kept");
    // The one said to be taken may be the one that is kept.
    answered("said", What::PhotoTaken { step });
    assert!(!missing());
}

#[test]
fn what_is_said_twice_is_not_counted_twice() {
    use chalkhand::domain::Standing;
    let step = StepRef { id: "full-shingles".to_owned(), row: Some(1) };
    let store = |drafts: &[Draft]| {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(&folder.path().join("log.sqlite")).unwrap();
        for draft in drafts {
            store.append(draft, None).unwrap();
        }
        let standing = Standing::of(&store.entries("J-1", 0).unwrap());
        standing.step(&chalkhand::domain::WalkId::first("list"), &step).unwrap().clone()
    };
    let on = |key: &str, what| Draft {
        walk: Some(chalkhand::domain::WalkId::first("list")),
        ..draft("J-1", key, what)
    };
    let photo = Photo {
        sha256: Hash::of(b"a"),
        media: chalkhand::domain::Media::Jpeg,
        size_bytes: 1,
        width_px: 1,
        height_px: 1,
        preview_sha256: Hash::of(b"b"),
        taken: None,
        caption: None,
        given_sha256: None,
    };
    let kept = What::PhotoKept { step: Some(step.clone()), photo: Box::new(photo) };
    let said = What::PhotoTaken { step: step.clone() };
    let stood = store(&[on("1", said.clone()), on("2", kept.clone())]);
    assert_eq!((stood.said_taken(), stood.photos_kept, stood.photos_taken()), (1, 1, 1));
    let stood = store(&[on("1", said.clone()), on("2", kept), on("3", said)]);
    assert_eq!((stood.said_taken(), stood.photos_kept, stood.photos_taken()), (2, 1, 2));
}

#[test]
fn what_cannot_be_kept_is_said_and_the_rest_is_kept() {
    let home = begun();
    let good = file(&home, "good.jpg", &jpeg(1, 40, 30));
    let note = file(&home, "note.jpg", b"to whom it may concern");
    let gone = home.path("gone.jpg");
    let ran = keep(&home, &[&note, &good, &gone], &[]);
    assert!(ran.out.contains("good.jpg: kept in entry"), "{}", ran.out);
    let told = ran.fails(1);
    assert!(told.contains("note.jpg` is no JPEG or PNG") && told.contains("gone.jpg`"), "{told}");
    assert_eq!(photos_of(&home).len(), 1);
    for (more, wanted) in [
        (&["--step", "looking"][..], "no checklist of job EX-0001 asks step `looking`"),
        (&["--step", "cut"], "say cut#1 or cut#2"),
        (&["--step", "deck"], "checklist site-survey was not begun"),
        (&["--walk", "baffles"], "pins no checklist `baffles`"),
        (&["--walk", "site-survey", "--step", "look-inside"], "asks step `look-inside`"),
    ] {
        let told = keep(&home, &[&good], more).fails(1);
        assert!(told.contains(wanted), "{told}");
    }
    assert_eq!(photos_of(&home).len(), 1);
}

#[test]
fn location_is_kept_where_it_is_wanted() {
    let home = begun();
    home.write("data/chalkhand.toml", "photo_location = \"keep\"\n");
    let bytes = jpeg(6, 40, 30);
    let a = file(&home, "a.jpg", &bytes);
    let said = keep(&home, &[&a], &[]).well();
    assert!(!said.contains("without"), "{said}");
    let (_, photo) = photos_of(&home).remove(0);
    assert_eq!((photo.sha256, photo.given_sha256), (Hash::of(&bytes), None));
    // The same photo under the other setting is the same photo.
    home.write("data/chalkhand.toml", "photo_location = \"drop\"\n");
    assert!(keep(&home, &[&a], &[]).well().contains("kept already"));
}

#[test]
fn the_doctor_compares_photos_with_entries() {
    let home = begun();
    assert_eq!(doctor(&home), "photos      works: none is kept here");
    let a = file(&home, "a.jpg", &jpeg(1, 40, 30));
    keep(&home, &[&a], &[]).well();
    assert_eq!(doctor(&home), "photos      works: 1 photo, as it was kept");
    let (_, photo) = photos_of(&home).remove(0);
    let data = home.path("data");
    for path in [data.join(photo.path()), data.join(photo.preview_path())] {
        let bytes = std::fs::read(&path).unwrap();
        let mut changed = bytes.clone();
        changed[100] ^= 1;
        std::fs::write(&path, &changed).unwrap();
        let line = doctor(&home);
        assert!(line.contains("does not work") && line.contains("was changed"), "{line}");
        // It is never overwritten.
        let photos = Photos::of(&data);
        let kept = photos.keep(&photo, &bytes, &bytes);
        assert!(matches!(kept, Err(BlobError::Other { .. })), "{kept:?}");
        assert_eq!(std::fs::read(&path).unwrap(), changed);
        std::fs::remove_file(&path).unwrap();
        let line = doctor(&home);
        assert!(line.contains("is missing") && line.contains("of job EX-0001"), "{line}");
        std::fs::write(&path, &bytes).unwrap();
        assert!(doctor(&home).contains("works: 1 photo"));
    }
    std::fs::write(data.join("photos/letter.txt"), "to whom it may concern").unwrap();
    let line = doctor(&home);
    assert!(line.contains("no entry names") && line.contains("letter.txt"), "{line}");
}

/// Killed at any moment, no entry stands without its photo and its preview.
#[test]
fn a_kill_leaves_no_entry_without_its_photo() {
    let home = begun();
    let files: Vec<PathBuf> = (0..24_u16)
        .map(|n| file(&home, &format!("{n}.jpg"), &jpeg(1, 60 + u32::from(n), 40)))
        .collect();
    let mut words = vec!["photo", JOB, "--by", "Installer Example"];
    words.extend(files.iter().map(|path| path.to_str().unwrap()));
    let (mut kills, mut between) = (0, 0);
    for round in 0..60 {
        let mut child = home.command(words.clone()).spawn().unwrap();
        std::thread::sleep(Duration::from_millis(20 + 7 * (round * 5 % 13)));
        let ended = child.try_wait().unwrap().is_some();
        child.kill().unwrap();
        child.wait().unwrap();
        kills += usize::from(!ended);
        let photos = Photos::of(&home.path("data"));
        let named = photos_of(&home);
        for (_, photo) in &named {
            assert!(photos.original(photo).unwrap().is_some(), "round {round}");
            assert!(photos.preview(photo.preview_sha256).unwrap().is_some(), "round {round}");
        }
        between += usize::from(2 * named.len() < photos.files().unwrap().len());
        if named.len() == files.len() {
            break;
        }
    }
    assert!(0 < kills, "no kill came in time");
    println!("{kills} kills, {between} of them between a file and its entry");
    // Once more without a kill: every photo has one entry, and nothing is left.
    home.run(words).well();
    let hashes: BTreeSet<Hash> = photos_of(&home).iter().map(|(_, photo)| photo.sha256).collect();
    assert_eq!((hashes.len(), photos_of(&home).len()), (files.len(), files.len()));
}

/// The pages are made again from the record that is attached and the photos that
/// are shown, and compared byte by byte.
#[test]
fn the_pages_are_checked_against_the_record() {
    let home = begun();
    let photo = file(&home, "a.jpg", &jpeg(6, 800, 600));
    keep(&home, &[&photo], &["--caption", "the slot is open"]).well();
    let pdf = home.path("r.pdf");
    let name = pdf.to_str().unwrap();
    for paper in ["letter", "a4"] {
        home.run(["record", JOB, "-o", name, "--paper", paper]).well();
        let told = home.run(["seal", "check", name]).well();
        assert!(told.contains("pages: they are those made of the record"), "{told}");
    }
    let made = std::fs::read(&pdf).unwrap();
    // A word in the file's own description, a byte of the photo, one at its end.
    let at = |word: &[u8]| made.windows(word.len()).position(|part| part == word).unwrap();
    for spoilt in [at(b"Example Lane"), at(b"\xff\xd8\xff") + 900, made.len() - 3] {
        let mut other = made.clone();
        other[spoilt] ^= 1;
        std::fs::write(&pdf, other).unwrap();
        let ran = home.run(["seal", "check", name]);
        assert_eq!(ran.code, 1, "{}{}", ran.out, ran.err);
    }
    // Another photo in its place: the record holds, the pages do not.
    let mut other = made.clone();
    other[at(b"\xff\xd8\xff") + 900] ^= 1;
    std::fs::write(&pdf, other).unwrap();
    let told = home.run(["seal", "check", name]).out;
    let wrong: Vec<&str> = told.lines().filter(|line| line.starts_with("DOES NOT")).collect();
    assert!(wrong.len() == 1 && wrong[0].contains("pages:"), "{told}");
}
