//! The record as somebody reads it who was not there: which page it is and of what,
//! whether the work is done, which lots, and what became of the dates.

use std::path::Path;
use std::process::Command;

use crate::outside;
use crate::program::Home;

/// The text of each page, by poppler.
fn pages(file: &Path) -> Vec<String> {
    let out = Command::new("pdftotext").arg("-layout").arg(file).arg("-").output().unwrap();
    assert!(out.status.success());
    let text = String::from_utf8(out.stdout).unwrap();
    text.trim_end_matches('\u{c}').split('\u{c}').map(str::to_owned).collect()
}

pub(crate) fn record(home: &Home, paper: &str) -> Vec<String> {
    let file = home.path("record.pdf");
    let _ = std::fs::remove_file(&file);
    let out = file.to_str().unwrap();
    home.run(["record", "EX-0001", "-o", out, "--paper", paper]).well();
    pages(&file)
}

pub(crate) fn json(home: &Home) -> serde_json::Value {
    let file = home.path("record.json");
    let _ = std::fs::remove_file(&file);
    home.run(["record", "EX-0001", "-o", file.to_str().unwrap()]).well();
    serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap()
}

pub(crate) fn html_of(home: &Home) -> String {
    let file = home.path("record.html");
    let _ = std::fs::remove_file(&file);
    home.run(["record", "EX-0001", "-o", file.to_str().unwrap()]).well();
    std::fs::read_to_string(file).unwrap()
}

pub(crate) const WALK: [&str; 7] =
    ["walk", "EX-0001", "deck-intake", "--by", "Installer Example", "--keys", "--mute"];

pub(crate) const TO_THE_LABEL: &str = "done\nfit to work\nyes\n65\nyes\nnothing in the way\nyes\n\
                           lines are clear\nyes\n";

/// Each page says which it is and, but for the first, of which job.
fn numbered(pages: &[String]) {
    for (at, page) in pages.iter().enumerate() {
        let number = format!("Page {} of {}", at + 1, pages.len());
        assert!(page.contains(&number), "{number} is not on it: {page}");
        let head = page.contains("Install record, job EX-0001");
        assert_eq!(head, 0 < at, "{number}: {page}");
    }
}

#[test]
fn every_page_says_which_it_is() {
    if outside::folder("the pages of the record by poppler").is_none() {
        return;
    }
    let home = Home::with_job();
    for begun in [false, true] {
        for paper in ["letter", "a4"] {
            numbered(&record(&home, paper));
        }
        if !begun {
            home.typed(
                WALK,
                &format!(
                    "{TO_THE_LABEL}note\nlot 24-117 and lot 24-118\nyes\nlabel matches\nyes\n"
                ),
            )
            .well();
        }
    }
}

#[test]
fn work_under_way_is_not_taken_for_work_done() {
    if outside::folder("the pages of the record by poppler").is_none() {
        return;
    }
    let home = Home::with_job();
    let first = record(&home, "letter").remove(0);
    assert!(first.contains("NOT BEGUN. Nothing is logged of this work yet."), "{first}");
    assert!(first.contains("To be installed by") && !first.contains("Installed by"), "{first}");
    assert!(!first.contains("every step that was asked stands"), "{first}");
    let html = html_of(&home);
    assert!(html.contains("NOT BEGUN.") && html.contains("To be installed by"), "{html}");
    assert!(!html.contains("every step that was asked stands"), "{html}");
    home.typed(WALK, TO_THE_LABEL).well();
    let first = record(&home, "letter").remove(0);
    let open = "NOT FINISHED. Begun and not ended: Deck-mounted intake vent on a shingle roof.";
    assert!(first.contains(open), "{first}");
    assert!(html_of(&home).contains(open));
    assert_eq!(json(&home)["unfinished"], open);
    assert!(first.contains("Carton label: no lot number is noted"), "{first}");
    assert!(first.contains("Their hashes stand under"), "{first}");
}

/// The lots stand beside the product on the first page, in the PDF and in HTML.
#[test]
fn the_lots_stand_on_the_first_page() {
    if outside::folder("the pages of the record by poppler").is_none() {
        return;
    }
    let home = Home::with_job();
    home.typed(
        WALK,
        &format!("{TO_THE_LABEL}note\nlot 24-117 and lot 24-118\nyes\nlabel matches\nyes\n"),
    )
    .well();
    let first = record(&home, "letter").remove(0);
    assert!(first.contains("Carton label: “lot 24-117 and lot 24-118”"), "{first}");
    let html = html_of(&home);
    assert!(html.contains("Carton label: “lot 24-117 and lot 24-118” (typed, entry "), "{html}");
    let materials = html.split(">Materials and lots</h2>").nth(1).unwrap();
    assert!(materials.split("<h2").next().unwrap().contains("label matches"), "{materials}");
}

/// What became of a date is shown as a correction is: what is cancelled stays there.
#[test]
fn moved_and_cancelled_dates_stand_in_the_record() {
    let home = Home::with_job();
    for (day, title) in [("2031-03-04", "Look at the gutter"), ("2031-04-01", "Call the owner")] {
        let add = ["calendar", "add", "EX-0001", "--on", day, "--title", title];
        home.run(add.iter().chain(&["--who", "desk"])).well();
    }
    json(&home);
    let uid = |title: &str| {
        let all = json(&home)["follow_ups"].as_array().unwrap().clone();
        all.iter().find(|date| date["title"] == title).unwrap()["uid"].as_str().unwrap().to_owned()
    };
    let (gutter, owner) = (uid("Look at the gutter"), uid("Call the owner"));
    let by = ["--by", "Office Example", "--why"];
    let moved = ["calendar", "move", "EX-0001", &gutter, "--to", "2031-03-11"];
    home.run(moved.iter().chain(&by).chain(&["the street is closed"])).well();
    home.run(["calendar", "cancel", "EX-0001", &owner].iter().chain(&by).chain(&["he sold it"]))
        .well();
    let all = json(&home)["follow_ups"].clone();
    let date = |uid: &str| all.as_array().unwrap().iter().find(|date| date["uid"] == uid).unwrap();
    let (gutter, owner) = (date(&gutter), date(&owner));
    assert!(gutter["start"].as_str().unwrap().starts_with("2031-03-11"), "{gutter}");
    assert_eq!(gutter["moved_because"], "the street is closed");
    assert_eq!(
        (&owner["cancelled_because"], &owner["who"]),
        (&"he sold it".into(), &"desk".into())
    );
    assert_eq!(owner["stands"], "for the desk; CANCELLED: he sold it");
    let html = html_of(&home);
    assert!(
        html.contains("CANCELLED: he sold it") && html.contains("the street is closed"),
        "{html}"
    );
    if outside::folder("the pages of the record by poppler").is_none() {
        return;
    }
    let all = record(&home, "letter").join("\n");
    assert!(all.contains("CANCELLED: he sold it") && all.contains("moved by hand"), "{all}");
}

/// A log that was cut after a head of it was signed is not sealed again.
#[test]
fn a_cut_log_is_not_sealed_anew() {
    let home = Home::with_job();
    home.typed(WALK, TO_THE_LABEL).well();
    home.run(["seal", "day"]).well();
    json(&home);
    let db = rusqlite::Connection::open(home.path("data/log.sqlite")).unwrap();
    let last: u64 = db.query_row("select max(seq) from entry", [], |row| row.get(0)).unwrap();
    db.execute_batch(
        "drop trigger entry_is_never_deleted; drop trigger entry_is_never_updated;
         pragma foreign_keys = off; delete from entry where seq = (select max(seq) from entry);",
    )
    .unwrap();
    for (word, name) in [("record", "again.json"), ("export", "again")] {
        let file = home.path(name);
        let words = [word, "EX-0001", "-o", file.to_str().unwrap()];
        let told = home.run(words).fails(3);
        let says = format!("the log had {last} entries, and the {} it has now", last - 1);
        assert!(told.contains("nothing was sealed") && told.contains(&says), "{told}");
        assert!(!file.exists(), "{words:?}");
    }
}
