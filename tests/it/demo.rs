//! The demo from end to end: synthetic speech through the real recogniser,
//! the log, and everything that comes out.

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
