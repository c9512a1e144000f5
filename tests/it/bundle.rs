//! A job as files for others and back: checked with public tools, taken over
//! whole or not at all, given out again to the byte.

use std::collections::BTreeMap;
use std::fs;
use std::io::{Cursor, Write as _};
use std::path::{Path, PathBuf};
use std::process::Command;

use chalkhand::bundle::{ZipSource, check};
use chalkhand::domain::{Clip, Draft, Given, Hash, Heard, How, StepRef, What};
use chalkhand::sound::{Segment, write_wav};
use chalkhand::store::{Clips, Store, read_json};
use proptest::prelude::*;
use serde_json::Value;
use zip::write::SimpleFileOptions;

use crate::drafts::draft;
use crate::outside;
use crate::photo_files::jpeg;
use crate::photos::{begun, file};
use crate::program::Home;

pub(crate) const JOB: &str = "EX-0001";

fn store(home: &Home) -> Store {
    Store::open(&home.path("data/log.sqlite")).unwrap()
}

fn add(home: &Home, key: &str, what: What) {
    let walk = Some(chalkhand::domain::WalkId::first("deck-intake"));
    store(home).append(&Draft { walk, ..draft(JOB, key, what) }, None).unwrap();
}

fn note(home: &Home, text: &str) {
    add(home, text, What::Noted { step: None, text: text.to_owned(), clip: None });
}

/// A job with answers, a spoken note with its sound, and two photos; and words
/// that spreadsheets, shells and pages might take for something else.
pub(crate) fn worked() -> Home {
    let home = begun();
    let step = StepRef { id: "look-inside".to_owned(), row: None };
    let reason = Some("=HYPERLINK(\"x\"), \"quoted\",\r\nsecond line".to_owned());
    let asked = "Look inside.".to_owned();
    add(&home, "1", What::Answered { step, asked, given: Given::Done, target: None, reason });
    for text in ["=1+1", "+1", "-1", "@SUM(A1)", "\ttab", "'quoted'", "a;b,c\"d\"", "día \u{2014}"]
    {
        note(&home, text);
    }
    let segment = Segment {
        samples: (0..800_u16).map(|n| f32::from(n % 90) / 90.0 - 0.5).collect(),
        start_ms: 0,
        level_dbfs: -20.0,
        noise_dbfs: -60.0,
        cut: false,
    };
    let mut wav = Cursor::new(Vec::new());
    write_wav(&mut wav, &segment.samples).unwrap();
    let sound: Hash = segment.sha256().parse().unwrap();
    Clips::of(&home.path("data")).keep(sound, wav.get_ref()).unwrap();
    let text = "the felt is torn".to_owned();
    let heard = Heard { words: text.clone(), b_milli: -80, a_milli: 0, m_milli: 0, sound };
    let what = What::Noted { step: None, text, clip: Some(Clip { sound, length_ms: 50 }) };
    let noted = Draft { how: How::Voice(heard), ..draft(JOB, "spoken", what) };
    store(&home).append(&noted, None).unwrap();
    for (n, more) in [(1, &["--step", "look-inside", "--caption", "@inside"][..]), (6, &[])] {
        let path = file(&home, &format!("{n}.jpg"), &jpeg(n, 60, 40));
        let mut words = vec!["photo", JOB, "--by", "Installer Example", path.to_str().unwrap()];
        words.extend(more);
        home.run(words).well();
    }
    home
}

pub(crate) fn export(home: &Home, job: &str, name: &str) -> PathBuf {
    let path = home.path(name);
    home.run(["export", job, "-o", path.to_str().unwrap()]).well();
    path
}

fn import(home: &Home, path: &Path) -> crate::program::Ran {
    home.run(["import", path.to_str().unwrap()])
}

pub(crate) fn tree(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().to_str().unwrap().to_owned();
                files.insert(name, fs::read(&path).unwrap());
            }
        }
    }
    files
}

pub(crate) fn put(folder: &Path, files: &BTreeMap<String, Vec<u8>>) {
    for (name, bytes) in files {
        let path = folder.join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
}

/// The manifest made to fit the files again, as somebody would who changes one.
pub(crate) fn listed_anew(files: &mut BTreeMap<String, Vec<u8>>) {
    let mut manifest: Value = serde_json::from_slice(&files["manifest.json"]).unwrap();
    let list = files.iter().filter(|(name, _)| *name != "manifest.json").map(|(name, bytes)| {
        serde_json::json!({
            "path": name, "sha256": Hash::of(bytes).to_string(), "size_bytes": bytes.len()
        })
    });
    manifest["files"] = list.collect::<Vec<_>>().into();
    let lines = String::from_utf8_lossy(&files["entries.jsonl"]).into_owned();
    let lines: Vec<&str> = lines.lines().collect();
    let hash = |line: &&str| Hash::of(line.as_bytes()).to_string();
    manifest["entries"] = lines.len().into();
    manifest["first_entry_sha256"] = lines.first().map(hash).unwrap().into();
    manifest["last_entry"]["entry_sha256"] = lines.last().map(hash).unwrap().into();
    files.insert("manifest.json".to_owned(), serde_json::to_vec(&manifest).unwrap());
}

/// Nothing of a refused bundle is kept.
pub(crate) fn refused(home: &Home, path: &Path) -> String {
    let before = tree(&home.path("data"));
    let told = import(home, path);
    assert_eq!(told.code, 1, "{}{}", told.out, told.err);
    let plain = |mut files: BTreeMap<String, Vec<u8>>| {
        files.retain(|name, _| !name.starts_with("log.sqlite"));
        files
    };
    assert_eq!(plain(tree(&home.path("data"))), plain(before), "{}", told.err);
    assert_eq!(store(home).imports().unwrap(), []);
    told.err
}

#[test]
fn public_tools_read_and_check_a_bundle() {
    let home = worked();
    let folder = export(&home, JOB, "out");
    let files = tree(&folder);
    let named = |start: &str| files.keys().filter(|name| name.starts_with(start)).count();
    assert_eq!((named("photos/"), named("previews/"), named("clips/")), (2, 2, 1));
    assert_eq!((named("checklists/"), named("profiles/")), (3, 1));
    assert!(files.keys().any(|name| name.starts_with("photos/001-look-inside-")));
    let readme = String::from_utf8(files["README.txt"].clone()).unwrap();
    assert!(readme.contains("INVENTED") && readme.contains("record.html"));
    assert!(!readme.contains("record.pdf") || files.contains_key("record.pdf"));
    let texts = store(&home).texts(JOB).unwrap();
    let lines = String::from_utf8(files["entries.jsonl"].clone()).unwrap();
    assert_eq!(lines.lines().collect::<Vec<_>>(), texts);
    if outside::folder("a bundle's README followed in a shell").is_none() {
        return;
    }
    // The commands are run as the README gives them.
    let shell = |command: &str| {
        let ran = Command::new("sh").args(["-c", command]).current_dir(&folder).output().unwrap();
        assert!(ran.status.success(), "{command}: {}", String::from_utf8_lossy(&ran.stderr));
        String::from_utf8(ran.stdout).unwrap()
    };
    let commands: Vec<&str> =
        readme.lines().filter(|line| line.starts_with("  ")).map(str::trim).collect();
    let command = |word: &str| *commands.iter().find(|line| line.contains(word)).unwrap();
    let all = shell(command("sha256sum -c"));
    assert_eq!(all.lines().filter(|line| line.ends_with(": OK")).count(), files.len() - 1, "{all}");
    let third = Hash::of(texts[2].as_bytes()).to_string();
    assert!(shell(command("sed -n 3p")).starts_with(&third));
    for line in shell(command("sha256sum photos/*")).lines() {
        let (hash, name) = line.split_once("  ").unwrap();
        assert!(name.contains(hash), "{line}");
    }
    let clip = files.keys().find(|name| name.starts_with("clips/")).unwrap();
    let hash = shell(&command("tail -c +45").replace("clips/FILE.wav", clip));
    assert!(clip.contains(hash.split(' ').next().unwrap()), "{clip}: {hash}");
    // And they see a change.
    fs::write(folder.join("steps.csv"), "x").unwrap();
    let mut again = Command::new("sh");
    let ran = again.args(["-c", command("sha256sum -c")]).current_dir(&folder).output().unwrap();
    assert!(!ran.status.success());
}

#[test]
fn the_same_log_gives_the_same_zip() {
    let home = worked();
    let (a, b) = (export(&home, JOB, "a.zip"), export(&home, JOB, "b.zip"));
    let bytes = fs::read(&a).unwrap();
    assert!(bytes == fs::read(b).unwrap());
    let mut source = ZipSource::new(Cursor::new(bytes)).unwrap();
    let mut files = BTreeMap::new();
    for name in chalkhand::bundle::Source::names(&source) {
        let bytes = chalkhand::bundle::Source::read(&mut source, &name, 1 << 30).unwrap();
        files.insert(name, bytes);
    }
    assert_eq!(files, tree(&export(&home, JOB, "out")), "folder and file hold the same");
    let told = home.run(["export", JOB, "-o", home.path("out").to_str().unwrap()]).fails(1);
    assert!(told.contains("is not empty"), "{told}");
    let Some(folder) = outside::folder("a ZIP file read by unzip and Python") else { return };
    let tested = Command::new("unzip").arg("-tq").arg(&a).output().unwrap();
    assert!(tested.status.success(), "{}", String::from_utf8_lossy(&tested.stdout));
    let read = outside::run(&folder, "read_zip.py", a.to_str().unwrap());
    let read: Value = serde_json::from_str(&read).unwrap();
    assert_eq!(read["bad"], Value::Null);
    let names: Vec<&str> =
        read["names"].as_array().unwrap().iter().map(|n| n.as_str().unwrap()).collect();
    assert!(names.is_sorted() && names.len() == files.len());
    assert_eq!(read["times"], serde_json::json!([[1980, 1, 1, 0, 0, 0]]));
}

#[test]
fn tables_read_back_as_what_was_logged() {
    let home = worked();
    let files = tree(&export(&home, JOB, "out"));
    let text = |name: &str| String::from_utf8(files[name].clone()).unwrap();
    for name in ["entries.csv", "steps.csv", "materials.csv"] {
        let table = text(name);
        assert!(table.replace("\r\n", "").find('\n').is_none() || table.contains("second line"));
        assert!(table.ends_with("\r\n"), "{name}");
    }
    let Some(folder) = outside::folder("tables read by Python's csv") else { return };
    let tables: BTreeMap<&str, String> =
        ["entries.csv", "steps.csv", "materials.csv"].map(|name| (name, text(name))).into();
    let read = outside::run(&folder, "read_csv.py", &serde_json::to_string(&tables).unwrap());
    let read: BTreeMap<String, Vec<BTreeMap<String, String>>> =
        serde_json::from_str(&read).unwrap();
    // A cell back to what it was.
    let cell = |row: &BTreeMap<String, String>, name: &str| {
        let text = &row[name];
        assert!(!text.starts_with(['=', '+', '@', '\t', '\r']), "{text}");
        assert!(!text.starts_with('-') || text[1..].parse::<f64>().is_ok(), "{text}");
        text.strip_prefix('\'').unwrap_or(text).to_owned()
    };
    let entries = store(&home).entries(JOB, 0).unwrap();
    assert_eq!(read["entries.csv"].len(), entries.len());
    let mut notes = 0;
    for (row, entry) in read["entries.csv"].iter().zip(&entries) {
        assert_eq!(cell(row, "entry_seq"), entry.seq.to_string());
        assert_eq!(cell(row, "entry_sha256"), entry.hash.to_string());
        assert_eq!(cell(row, "by"), entry.draft.by);
        assert_eq!(cell(row, "what"), entry.draft.what.word());
        let confirmed = entry.draft.confirmed.iter().map(How::word).collect::<Vec<_>>();
        assert_eq!(cell(row, "confirmed"), confirmed.join(", "), "all was typed");
        if let What::Noted { text, .. } = &entry.draft.what {
            assert!(cell(row, "line").contains(text.as_str()), "{row:?}");
            notes += 1;
        }
    }
    assert_eq!(notes, 9);
    let record: Value = serde_json::from_slice(&files["record.json"]).unwrap();
    let lists = record["checklists"].as_array().unwrap();
    let steps: Vec<&Value> = lists.iter().flat_map(|l| l["steps"].as_array().unwrap()).collect();
    assert_eq!(read["steps.csv"].len(), steps.len());
    for (row, step) in read["steps.csv"].iter().zip(&steps) {
        assert_eq!(cell(row, "step"), step["id"].as_str().unwrap());
        assert_eq!(cell(row, "title"), step["title"].as_str().unwrap());
        assert_eq!(cell(row, "photos_kept"), step["photos_kept"].to_string());
        let state = if step["settled"].is_null() { "open" } else { "answered" };
        assert_eq!(cell(row, "state"), state);
        let reason = step["settled"]["reason"].as_str().unwrap_or_default();
        assert_eq!(cell(row, "reason"), reason, "with its line end, to the letter");
    }
    assert!(!read["materials.csv"].is_empty());
    let sheet: Value = serde_json::from_str(&home.run(["sheet", JOB, "--json"]).well()).unwrap();
    for row in &read["materials.csv"] {
        let measure = &sheet["measures"][cell(row, "name")];
        assert_eq!(cell(row, "unit"), measure["unit"].as_str().unwrap());
        assert_eq!(cell(row, "title"), measure["title"].as_str().unwrap());
        match measure["value"].as_f64() {
            Some(value) => assert_eq!(cell(row, "value").parse::<f64>().unwrap(), value),
            None => assert_eq!(cell(row, "value"), measure["value"].as_str().unwrap_or_default()),
        }
    }
}

#[test]
fn an_imported_job_goes_out_as_it_came_in() {
    let home = worked();
    let (zip, folder) = (export(&home, JOB, "a.zip"), export(&home, JOB, "a"));
    for path in [&zip, &folder] {
        let desk = Home::new();
        let said = import(&desk, path).well();
        assert!(said.contains("imported job EX-0001@") && said.contains("2 photos"), "{said}");
        let name = said.split_whitespace().nth(2).unwrap().trim_end_matches(':').to_owned();
        // The log of this device holds nothing of it.
        assert_eq!(store(&desk).head().unwrap().0, 0);
        assert!(import(&desk, path).well().contains("is here already; nothing was added"));
        assert_eq!(store(&desk).imports().unwrap().len(), 1);
        assert!(import(&desk, &zip).well().contains("is here already"));
        for job in [JOB, &name] {
            let out = desk.path(&format!("{}.zip", job.replace('@', "-")));
            desk.run(["export", job, "-o", out.to_str().unwrap()]).well();
            assert!(fs::read(&out).unwrap() == fs::read(&zip).unwrap(), "{job}");
        }
        assert_eq!(tree(&export(&desk, JOB, "again")), tree(&folder));
        for ending in ["json", "html"] {
            let out = desk.path(&format!("r.{ending}"));
            desk.run(["record", JOB, "-o", out.to_str().unwrap()]).well();
            let came = fs::read(folder.join(format!("record.{ending}"))).unwrap();
            assert!(fs::read(out).unwrap() == came);
        }
        let found = desk.run(["find", "example", "lane"]).well();
        assert!(found.contains(&name) && found.contains("imported, only read"), "{found}");
        let found: Value =
            serde_json::from_str(&desk.run(["find", "0100", "--json"]).well()).unwrap();
        assert_eq!(found[0]["imported_as"], name);
        for words in [
            vec!["walk", JOB, "deck-intake", "--by", "A", "--keys"],
            vec!["photo", JOB, zip.to_str().unwrap(), "--by", "A"],
            vec!["calendar", JOB, "-o", "x.ics"],
        ] {
            let told = desk.run(words).fails(1);
            assert!(told.contains("is only read"), "{told}");
        }
        let doctor = desk.run(["doctor"]).out;
        assert!(!doctor.contains("photos      does not"), "{doctor}");
        assert!(doctor.contains("clips       works: 1 clip"), "{doctor}");
    }
    let own = import(&home, &zip).well();
    assert!(own.contains("is here already; nothing was added"), "{own}");
}

#[test]
fn a_newer_state_is_taken_and_a_fork_is_not() {
    let home = worked();
    let first = export(&home, JOB, "1.zip");
    // Another data folder with a copy of the log, on which somebody goes on.
    let copy = Home::new();
    put(&copy.path("data"), &tree(&home.path("data")));
    let key = copy.path("data/device.key");
    fs::set_permissions(key, std::os::unix::fs::PermissionsExt::from_mode(0o600)).unwrap();
    note(&home, "the sun came out");
    let second = export(&home, JOB, "2.zip");
    note(&copy, "it rained");
    let other = export(&copy, JOB, "3.zip");

    let desk = Home::new();
    import(&desk, &first).well();
    assert!(import(&desk, &second).well().contains("anew: 1 entry is new"));
    assert!(import(&desk, &first).well().contains("nothing was added"));
    let told = import(&desk, &other).fails(3);
    assert!(told.contains("go apart"), "{told}");
    let imports = store(&desk).imports().unwrap();
    assert_eq!(imports.len(), 1, "one job in its newest state");
    assert_eq!(fs::read(export(&desk, JOB, "x.zip")).unwrap(), fs::read(&second).unwrap());
    assert_eq!(desk.run(["find", "example"]).well().lines().count(), 1);
    // On the device itself.
    assert!(import(&home, &first).well().contains("in a newer state"));
    assert!(import(&home, &other).fails(3).contains("go apart"));
    assert!(import(&copy, &second).fails(3).contains("go apart"));

    // Another job of that number is another job.
    let stranger = Home::with_job();
    let theirs = export(&stranger, JOB, "t.zip");
    assert!(import(&desk, &theirs).well().contains("imported job EX-0001@"));
    let told = desk.run(["record", JOB, "-o", "x.json"]).fails(1);
    assert!(told.contains("several imported jobs"), "{told}");
    assert_eq!(store(&desk).imports().unwrap().len(), 2);
}

#[test]
fn every_change_is_seen_and_all_are_told() {
    let home = worked();
    let files = tree(&export(&home, JOB, "a"));
    let desk = Home::new();
    desk.run(["job", "list"]).well();
    for (at, name) in files.keys().enumerate() {
        let mut changed = files.clone();
        let bytes = changed.get_mut(name).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 1;
        let folder = desk.path(&format!("changed{at}"));
        put(&folder, &changed);
        let told = refused(&desk, &folder);
        // What the changed list says no longer fits any more.
        let named = name == "manifest.json" || told.contains(name);
        assert!(told.contains("nothing was imported") && named, "{name}: {told}");
    }
    let mut changed = files.clone();
    changed.remove("steps.csv");
    changed.insert("record.html".to_owned(), b"<p>All is well.</p>".to_vec());
    changed.insert("more.txt".to_owned(), b"x".to_vec());
    let folder = desk.path("three");
    put(&folder, &changed);
    let told = refused(&desk, &folder);
    for what in ["`steps.csv` is missing", "`record.html` was changed", "`more.txt` is not in"] {
        assert!(told.contains(what), "{told}");
    }
}

/// Somebody who makes the list of files fit again is seen all the same.
#[test]
fn what_does_not_hold_together_is_refused() {
    let home = worked();
    let files = tree(&export(&home, JOB, "a"));
    let desk = Home::new();
    desk.run(["job", "list"]).well();
    let lines = String::from_utf8(files["entries.jsonl"].clone()).unwrap();
    let lines: Vec<&str> = lines.lines().collect();
    let with = |lines: Vec<String>| {
        let mut changed = files.clone();
        let text: String = lines.iter().map(|line| format!("{line}\n")).collect();
        changed.insert("entries.jsonl".to_owned(), text.into_bytes());
        changed
    };
    let own = || lines.iter().map(|line| (*line).to_owned()).collect::<Vec<String>>();
    let mut one_less = own();
    one_less.remove(5);
    let mut reworded = own();
    let at = reworded.iter().position(|line| line.contains("\"=1+1\"")).unwrap();
    reworded[at] = reworded[at].replace("=1+1", "=1+2");
    let mut spaced = own();
    let last = spaced.pop().unwrap();
    spaced.push(last.replacen('{', "{ ", 1));
    let mut swapped = own();
    swapped.swap(3, 4);
    let mut of_another = own();
    let last = of_another.pop().unwrap();
    of_another.push(last.replace("\"job\":\"EX-0001\"", "\"job\":\"EX-0002\""));
    let mut no_photo = files.clone();
    no_photo.retain(|name, _| !name.starts_with("photos/002"));
    let mut no_clip = files.clone();
    no_clip.retain(|name, _| !name.starts_with("clips/"));
    let mut other_list = files.clone();
    let list = other_list.keys().find(|name| name.starts_with("checklists/")).unwrap().clone();
    other_list.get_mut(&list).unwrap().push(b'\n');
    let mut other_record = files.clone();
    let record = String::from_utf8(files["record.json"].clone()).unwrap();
    let record = record.replace("\"number\": \"EX-0001\"", "\"number\": \"EX-0009\"");
    other_record.insert("record.json".to_owned(), record.into_bytes());
    let cases = [
        (with(reworded), "does not follow"),
        (with(spaced), "not written as entries are"),
        (with(swapped), "does not come after"),
        (with(of_another), "is of another job"),
        (with(vec!["{}".to_owned()]), "is no entry"),
        (no_photo, "a photo, is missing"),
        (no_clip, "the clip of the note in entry"),
        (other_list, "is not what the job pins"),
        (other_record, "is not the record of these entries"),
    ];
    // An entry that was taken out leaves a number out, as one of another job does:
    // only how many there are tells.
    let mut shorter = with(one_less);
    let count = shorter["manifest.json"].clone();
    listed_anew(&mut shorter);
    let count: Value = serde_json::from_slice(&count).unwrap();
    let mut manifest: Value = serde_json::from_slice(&shorter["manifest.json"]).unwrap();
    manifest["entries"] = count["entries"].clone();
    shorter.insert("manifest.json".to_owned(), serde_json::to_vec(&manifest).unwrap());
    let folder = desk.path("shorter");
    put(&folder, &shorter);
    assert!(refused(&desk, &folder).contains("does not hold the entries"));
    for (at, (mut changed, wanted)) in cases.into_iter().enumerate() {
        listed_anew(&mut changed);
        let folder = desk.path(&format!("case{at}"));
        put(&folder, &changed);
        let told = refused(&desk, &folder);
        assert!(told.contains(wanted), "{wanted}: {told}");
    }
}

fn zipped(files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        zip.start_file(*name, SimpleFileOptions::default()).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

#[test]
fn hostile_archives_are_refused() {
    let home = worked();
    let files = tree(&export(&home, JOB, "a"));
    let good: Vec<(&str, &[u8])> =
        files.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
    let desk = Home::new();
    desk.run(["job", "list"]).well();
    let try_it = |bytes: &[u8]| {
        let path = file(&desk, "hostile.zip", bytes);
        refused(&desk, &path)
    };
    for name in [
        "../outside.txt",
        "/etc/outside.txt",
        "a/../../outside.txt",
        "a\\..\\outside.txt",
        "C:outside.txt",
        ".hidden",
        "-rf",
        "a//b",
        "a/b/c/d",
        "nul.txt",
        "photos/con",
        "a b.txt",
        "caf\u{e9}.txt",
        "a\u{202e}txt.exe",
        "a\nb",
        "README.TXT",
    ] {
        let mut files = good.clone();
        files.push((name, b"x"));
        let told = try_it(&zipped(&files));
        let shown = name.escape_debug().to_string();
        // Either of two that differ in capitals is one too many.
        let capitals = name == "README.TXT" && told.contains("but for its capitals");
        assert!(
            told.contains(&format!("`{shown}` ")) && name != "README.TXT" || capitals,
            "{told}"
        );
    }
    // Listed in the list of files it is refused just so.
    let mut listed = files.clone();
    listed.insert("../outside.txt".to_owned(), b"x".to_vec());
    listed_anew(&mut listed);
    let pieces: Vec<(&str, &[u8])> =
        listed.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
    assert!(try_it(&zipped(&pieces)).contains("leads out of the bundle"));
    assert!(!desk.path("outside.txt").exists() && !desk.path("data/outside.txt").exists());

    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in &good {
        zip.start_file(*name, SimpleFileOptions::default()).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.add_symlink("link", "/etc/passwd", SimpleFileOptions::default()).unwrap();
    let linked = zip.finish().unwrap().into_inner();
    assert!(try_it(&linked).contains("`link` is a link"));

    // Two files of one name: the second name is changed to the first by hand.
    let mut files = good.clone();
    files.push(("steps.csw", b"x"));
    let mut twice = zipped(&files);
    while let Some(at) = twice.windows(9).position(|name| name == b"steps.csw") {
        twice[at + 8] = b'v';
    }
    assert!(try_it(&twice).contains("two files of one name"));

    // A file of 64 MiB of nothing, packed into almost nothing.
    let bomb = vec![0; 64 << 20];
    let mut listed: BTreeMap<String, Vec<u8>> = tree(&home.path("a"));
    listed.retain(|name, _| !name.starts_with("photos/") && !name.starts_with("previews/"));
    listed.insert("bomb.bin".to_owned(), bomb);
    listed_anew(&mut listed);
    let pieces: Vec<(&str, &[u8])> =
        listed.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
    assert!(try_it(&zipped(&pieces)).contains("not believable"));
    // And one that says it is small.
    let manifest = String::from_utf8(listed["manifest.json"].clone()).unwrap();
    let manifest = manifest.replace(&(64 << 20).to_string(), "5");
    listed.insert("manifest.json".to_owned(), manifest.into_bytes());
    let pieces: Vec<(&str, &[u8])> =
        listed.iter().map(|(name, bytes)| (name.as_str(), bytes.as_slice())).collect();
    assert!(try_it(&zipped(&pieces)).contains("has more than 5 bytes"));

    for other in [&b""[..], b"PK\x05\x06", b"to whom it may concern", &linked[..linked.len() / 2]] {
        assert!(try_it(other).contains("no whole ZIP file"));
    }
    assert!(try_it(&zipped(&[("a.txt", b"x")])).contains("no bundle of this program"));
    let folder = desk.path("linked");
    put(&folder, &tree(&home.path("a")));
    std::os::unix::fs::symlink("/etc/passwd", folder.join("link.txt")).unwrap();
    assert!(refused(&desk, &folder).contains("`link.txt` is a link"));
    fs::remove_file(folder.join("link.txt")).unwrap();
    fs::remove_file(folder.join("steps.csv")).unwrap();
    std::os::unix::fs::symlink(home.path("a/steps.csv"), folder.join("steps.csv")).unwrap();
    assert!(refused(&desk, &folder).contains("`steps.csv` is a link"));
}

fn inputs() -> u32 {
    std::env::var("CHALKHAND_FUZZ_INPUTS").map_or(300, |n| n.parse().unwrap())
}

#[test]
fn changed_archives_are_the_same_or_refused() {
    let home = worked();
    let bytes = fs::read(export(&home, JOB, "a.zip")).unwrap();
    let wanted = check(&mut ZipSource::new(Cursor::new(bytes.clone())).unwrap(), read_json);
    let wanted = wanted.unwrap().manifest_sha256;
    let some = || any::<proptest::sample::Index>();
    let flips = proptest::collection::vec((some(), any::<u8>()), 1..5);
    let (mut taken, mut refused) = (0, 0);
    let config = ProptestConfig::with_cases(inputs());
    let mut runner = proptest::test_runner::TestRunner::new(config);
    let ran = runner.run(&(flips, any::<bool>(), some()), |(flips, ends, cut)| {
        let mut changed = bytes.clone();
        // Names, sizes and times stand at the end, and are hit as often as the rest.
        let tail = if ends { bytes.len() - 4_000 } else { 0 };
        for (at, byte) in flips {
            let at = tail + at.index(bytes.len() - tail);
            changed[at] = byte;
        }
        if cut.index(4) == 0 {
            changed.truncate(cut.index(bytes.len()));
        }
        let checked = ZipSource::new(Cursor::new(changed))
            .and_then(|mut source| check(&mut source, read_json));
        if let Ok(checked) = checked {
            prop_assert_eq!(checked.manifest_sha256, wanted);
        }
        Ok(())
    });
    ran.unwrap();
    // Once more by hand, so that both kinds were seen.
    for at in (0..bytes.len()).step_by(bytes.len() / 200) {
        let mut changed = bytes.clone();
        changed[at] ^= 0x10;
        let checked = ZipSource::new(Cursor::new(changed))
            .and_then(|mut source| check(&mut source, read_json));
        match checked {
            Ok(checked) => {
                assert_eq!(checked.manifest_sha256, wanted);
                taken += 1;
            }
            Err(_) => refused += 1,
        }
    }
    assert!(100 < refused, "{taken} taken, {refused} refused");
}

#[test]
fn an_import_is_never_changed() {
    let home = worked();
    let zip = export(&home, JOB, "a.zip");
    let desk = Home::new();
    import(&desk, &zip).well();
    let store = store(&desk);
    for (sql, wanted) in [
        ("update import set job = 'x'", "never changed"),
        ("delete from import", "never deleted"),
        ("insert or replace into import select * from import", "never replaced"),
        ("update import_file set body = x'00'", "never changed"),
        ("delete from import_file", "never deleted"),
        ("insert or replace into import_file select * from import_file", "never replaced"),
    ] {
        let told = store.raw().execute(sql, []).unwrap_err().to_string();
        assert!(told.contains(wanted), "{sql}: {told}");
    }
    // Whoever holds the file can drop a trigger; the hash shows it.
    let sql = "drop trigger import_file_is_never_updated;
               update import_file set body = cast('x' as blob) where path = 'record.json'";
    store.raw().execute_batch(sql).unwrap();
    drop(store);
    let out = desk.path("r.json");
    let told = desk.run(["record", JOB, "-o", out.to_str().unwrap()]).fails(3);
    assert!(
        told.contains("`record.json` of an imported job") && told.contains("tampered"),
        "{told}"
    );
}

#[test]
fn what_is_missing_is_said_and_does_not_stop_an_export() {
    let home = worked();
    let photo = crate::photos::photos_of(&home).remove(0).1;
    fs::remove_file(home.path("data").join(photo.path())).unwrap();
    let out = home.path("a.zip");
    let said = home.run(["export", JOB, "-o", out.to_str().unwrap()]).well();
    assert!(said.contains(&photo.path()) && said.contains("is not in it"), "{said}");
    let desk = Home::new();
    let said = import(&desk, &out).well();
    assert!(said.contains("was missing or changed on the device"), "{said}");
    assert_eq!(fs::read(export(&desk, JOB, "b.zip")).unwrap(), fs::read(out).unwrap());
}

#[test]
fn retention_lists_and_deletes_nothing() {
    let home = worked();
    let zip = export(&home, JOB, "a.zip");
    let said = home.run(["retention"]).well();
    assert!(said.contains("keep until 20") && said.contains("30 years by keep_years"), "{said}");
    assert!(said.contains("Nothing is deleted"), "{said}");
    assert!(home.run(["retention", "--passed"]).well().contains("nothing has passed"));
    let rule = "keep_years = 2\n[retention.\"IRC 2021\"]\nyears = 9\nsource = \"counsel\"\n";
    home.write("data/chalkhand.toml", rule);
    let said = home.run(["retention", "--json"]).well();
    let read: Value = serde_json::from_str(&said).unwrap();
    assert_eq!((&read[0]["rule"], &read[0]["source"]), (&"IRC 2021".into(), &"counsel".into()));
    assert_eq!((&read[0]["keep_years"], &read[0]["passed"]), (&9.into(), &false.into()));
    // A record whose last entry is long ago, here and on the desk.
    let what = What::Noted { step: None, text: "late".to_owned(), clip: None };
    let at = "2016-11-25T08:15:09.042-05:00".parse().unwrap();
    store(&home).append(&Draft { at, ..draft(JOB, "late", what) }, None).unwrap();
    let passed = home.run(["retention", "--passed"]).well();
    assert!(passed.contains("keep until 2025-11-25, passed"), "{passed}");
    let desk = Home::new();
    import(&desk, &zip).well();
    desk.write("data/chalkhand.toml", rule);
    let said = desk.run(["retention", "--json"]).well();
    let read: Value = serde_json::from_str(&said).unwrap();
    assert!(read[0]["job"].as_str().unwrap().starts_with("EX-0001@"));
}
