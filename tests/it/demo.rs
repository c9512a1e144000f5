//! The demo from end to end: synthetic speech through the real recogniser,
//! the log, and everything that comes out.

use std::collections::BTreeSet;

use chalkhand::files::SHIPPED;
use serde_json::Value;

use crate::crew;
use crate::program::{Home, models_are_there};

#[test]
fn an_invented_install_is_walked_by_voice_and_recorded() {
    if !models_are_there() {
        return;
    }
    let home = Home::new();
    let out = home.run(["demo"]).well();
    for part in [
        "An invented install",
        "speech is synthetic",
        "hears  \"Step done.\"",
        "no that is wrong",
        "is off target",
        "log it as it is",
        "Hold point. Work stops",
        "Foreman Example looks and releases",
        "its chain holds",
    ] {
        assert!(out.contains(part), "`{part}` is missing in:\n{out}");
    }
    // The mumble was not taken for anything.
    let mumble = out.split("crew   \"hm the thing there\"").nth(1).expect("somebody mumbled");
    let answer = mumble.lines().find(|line| line.contains("hears")).unwrap();
    assert!(answer.contains("hears  ("), "{answer}");

    let folder = home.path("data/EX-0001");
    let read = |name: &str| std::fs::read_to_string(folder.join(name)).expect(name);
    let record: serde_json::Value = serde_json::from_str(&read("record.json")).unwrap();
    assert_eq!(record["format"], "chalkhand-record/1");
    let text = record.to_string();
    for part in ["\"words\":", "sound_sha256", "off-target", "Installer Example"] {
        assert!(text.contains(part), "`{part}` is missing in record.json");
    }
    // Where a photo was said to be taken a picture is kept, each another one.
    let walks = record["checklists"].as_array().unwrap().iter();
    let steps = walks.flat_map(|walk| walk["steps"].as_array().unwrap());
    let said = steps.map(|step| {
        assert_eq!(step["photos_kept"], step["photos_said_taken"], "{step}");
        step["photos_said_taken"].as_u64().unwrap()
    });
    let photos = record["photos"].as_array().unwrap();
    assert_eq!(photos.len() as u64, said.sum::<u64>());
    let hashes: BTreeSet<_> = photos.iter().map(|photo| photo["sha256"].as_str()).collect();
    assert!(5 < hashes.len() && hashes.len() == photos.len(), "{photos:?}");
    assert!(read("record.html").to_lowercase().starts_with("<!doctype html>"));
    assert!(read("follow-ups.ics").contains("BEGIN:VTIMEZONE"));
    assert!(read("sheet.txt").contains("INVENTED EXAMPLE"));
    assert!(read("day.txt").contains("What needs attention"));
    assert!(home.path("data/recordings/step-done.wav").is_file());
    // Every entry of a spoken answer says what was heard.
    let db = rusqlite::Connection::open(home.path("data/log.sqlite")).unwrap();
    let spoken: u32 = db
        .query_row("select count(*) from entry where body like '%\"voice\":%'", [], |row| {
            row.get(0)
        })
        .unwrap();
    assert!(60 < spoken, "{spoken} entries were spoken");
}

/// All shipped checklists, each from its first step to its last.
#[test]
fn every_shipped_checklist_is_walked_by_voice() {
    if !models_are_there() {
        return;
    }
    let home = Home::new();
    let out = home.run(["demo", "--whole"]).well();
    for (file, _) in SHIPPED {
        let id = file.trim_end_matches(".toml");
        let begun = format!("\n{id}, by voice:\n");
        let walk = out.split(&begun).nth(1).unwrap_or_else(|| panic!("{id} is not walked"));
        let walk = walk.split(", by voice:\n").next().unwrap();
        let title = crew::shipped(id).title;
        assert!(walk.contains(&format!("{title}: that was the last step")), "{id}: {walk}");
    }
    assert!(out.contains("its chain holds"));
    assert!(home.run(["doctor"]).out.contains("the chain holds"));

    // Nothing was settled by a guess: what was not heard was given by touch.
    let text = std::fs::read_to_string(home.path("data/EX-0001/record.json")).unwrap();
    let record: Value = serde_json::from_str(&text).unwrap();
    let steps = list(&record["checklists"]).flat_map(|checklist| list(&checklist["steps"]));
    let (mut settled, mut heard) = (0, 0);
    for step in steps.filter(|step| step["settled"].is_object()) {
        let how = &step["settled"]["how"];
        settled += 1;
        match how["by"].as_str() {
            Some("voice") => heard += usize::from(how["heard"]["words"].is_string()),
            by => assert_eq!(by, Some("keys"), "{step}"),
        }
    }
    // Measured: 329 of 342 steps (96 %) were heard.
    assert!(330 < settled, "{settled} steps are settled");
    assert!(settled * 94 < heard * 100, "{heard} of {settled} steps were heard");
}

fn list(value: &Value) -> impl Iterator<Item = &Value> {
    value.as_array().expect("a list").iter()
}
