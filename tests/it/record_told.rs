//! The record as an opponent reads it: what is open, who let it pass, what was
//! assumed, which photos are gone, and what belongs to which call.

use std::fs;
use std::path::PathBuf;

use serde_json::Value;

use crate::callbacks::CLOSING;
use crate::cli::skip_through;
use crate::outside;
use crate::photo_files::jpeg;
use crate::photos::{begun, file, photos_of};
use crate::program::Home;
use crate::record_pages::{TO_THE_LABEL, WALK, html_of, json, record};

/// Text without the breaks of lines.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The ratio, whether it is enough, and what nobody gave: in words, in both forms.
#[test]
fn the_first_page_says_what_the_figures_rest_on() {
    let home = Home::with_job();
    home.typed(WALK, TO_THE_LABEL).well();
    let json = json(&home);
    let assumed = json["first_page_assumed"].as_str().unwrap();
    let said = "vent ratio by the conditions; baffles no; barrier wall 0\"; ";
    assert!(assumed.contains(said) && assumed.contains("Plane 2"), "{assumed}");
    let html = html_of(&home);
    let said = [
        "Attic space 1: net free area to floor, the ratio applied",
        "1/300",
        "intake is enough",
        "exhaust is no more than intake",
        "Assumed for these figures, since nobody gave it",
    ];
    for words in said {
        assert!(html.contains(words), "{words} is not in {html}");
    }
    let lists = json["checklists"].as_array().unwrap();
    let list = lists.iter().find(|list| list["id"] == "deck-intake").unwrap();
    let measure = |name: &str| {
        let all = list["measures"].as_array().unwrap();
        all.iter().find(|measure| measure["name"] == name).unwrap()["value"]["shown"].clone()
    };
    // IRC 2021 R806.2: 1,200 ft2 of floor over 300 are 4 ft2, 576 in2.
    assert_eq!(measure("space.ratio_applied"), "1/300");
    assert_eq!(measure("required_nfa"), "576.0 in2");
    assert_eq!(measure("space.failing"), "nothing");
    if outside::folder("the pages of the record by poppler").is_none() {
        return;
    }
    let first = flat(&record(&home, "letter").remove(0));
    for words in said {
        assert!(first.contains(words), "{words} is not in {first}");
    }
}

#[test]
fn facts_stand_table_by_table() {
    let home = Home::with_job();
    let facts = json(&home)["facts"].as_array().unwrap().clone();
    let place = |fact: &serde_json::Value| {
        let table = fact["name"].as_str().unwrap().split_once('.').map(|(table, _)| table);
        (table.unwrap_or_default().to_owned(), fact["row"].as_u64())
    };
    let mut places: Vec<_> = facts.iter().map(place).collect();
    places.dedup();
    let mut once = places.clone();
    once.sort();
    once.dedup();
    assert_eq!(places.len(), once.len(), "each row stands in one place: {places:?}");
    assert!(5 < places.len(), "{places:?}");
}

/// Who released what, and what an open deviation was.
#[test]
fn holds_and_open_deviations_are_told_whole() {
    let home = Home::with_job();
    let close = TO_THE_LABEL
        .replace("lines are clear\nyes\n", "lines are close\nyes\nlog it as it is\nours\nyes\n");
    let held = home.typed(WALK, &format!("{close}label matches\nyes\n")).well();
    assert!(held.contains("chalkhand release"), "{held}");
    let holds = json(&home)["points_reached"].clone();
    let hold = holds[0].as_str().unwrap();
    assert!(hold.contains("for the foreman") && hold.contains(": NOT RELEASED"), "{holds}");
    let by = ["--by", "Foreman Example", "--role", "foreman"];
    home.run(["release", "EX-0001", "ladder"].iter().chain(&by)).well();
    let json = json(&home);
    let hold = json["points_reached"][0].as_str().unwrap();
    let released = "“Ladder set”, for the foreman, since “Power lines” stood off target: released \
                    by Foreman Example, ";
    assert!(hold.starts_with(released) && hold.ends_with(", by a command"), "{hold}");
    let who = json["hands"].to_string();
    assert!(who.contains("steps logged by Installer Example (installer)"), "{who}");
    assert!(who.contains("hold points released by Foreman Example (foreman)"), "{who}");
    let need = json["attention"].as_array().unwrap();
    let off = need.iter().find(|need| need["kind"] == "off-target").unwrap();
    let seq = off["entry_seq"].as_u64().unwrap();
    let logged = off["logged_shown"].as_str().unwrap();
    let found = "Asked for lines are clear; found lines are close, off target: not an answer that \
                 was wanted. Logged by Installer Example, ";
    assert!(logged.starts_with(found), "{logged}");
    assert!(logged.ends_with(&format!(", entry {seq}; nobody has accepted it.")), "{logged}");
    let html = html_of(&home);
    for words in [found, "nobody has accepted it", released] {
        assert!(html.contains(words), "{words} is not in {html}");
    }
    if outside::folder("the pages of the record by poppler").is_some() {
        let first = flat(&record(&home, "letter").remove(0));
        for words in [found, "nobody has accepted it", released] {
            assert!(first.contains(words), "{words} is not in {first}");
        }
    }
    let accept = ["accept", "EX-0001", &seq.to_string(), "--reason", "they are ours", "--by"];
    home.run(accept.iter().chain(&["Foreman Example"])).well();
    let after = crate::record_pages::json(&home);
    let all = after["deviations"].as_array().unwrap();
    let one = all.iter().find(|one| one["entry_seq"] == seq).unwrap();
    let logged = one["logged_shown"].as_str().unwrap();
    assert!(logged.starts_with(found) && !logged.contains("nobody"), "{logged}");
    // The step itself says so too.
    let lists = after["checklists"].as_array().unwrap();
    let mut steps = lists.iter().flat_map(|list| list["steps"].as_array().unwrap());
    let step = steps.find(|step| step["settled"]["entry_seq"] == seq).unwrap();
    let accepted = step["accepted"][0].as_str().unwrap();
    assert!(accepted.starts_with("It was accepted by Foreman Example (foreman) "), "{accepted}");
    let html = html_of(&home);
    let every = html.split(">Every step, in order</h2>").nth(1).unwrap();
    assert!(every.contains("It was accepted by Foreman Example (foreman) "), "{every}");
    // What was typed was confirmed at the keys, and nobody heard the cautions.
    let keys = serde_json::json!({"by": "keys", "line": "typed"});
    assert_eq!(step["settled"]["confirmed"], serde_json::json!([keys, keys, keys, keys]), "{step}");
    assert_eq!(step["settled"]["confirmed_shown"], "confirmed by keys", "{step}");
    assert_eq!(step["cautions_spoken"], false, "{step}");
    assert!(every.contains("Cautions given first, on the screen alone: "), "{every}");
    let cautions = after["checklists"][1]["cautions"].to_string();
    assert!(cautions.contains("given on the screen alone before "), "{cautions}");
    assert!(!cautions.contains("given before ") && !cautions.contains("by voice"), "{cautions}");
    let folder = crate::bundle::export(&home, "EX-0001", "tables");
    let entries = fs::read_to_string(folder.join("entries.csv")).unwrap();
    assert!(entries.contains(": cautions given first, on the screen alone: "), "{entries}");
    let tables = fs::read_to_string(folder.join("steps.csv")).unwrap();
    let line = tables.lines().find(|line| line.contains("lines are close")).unwrap();
    let accepted = &after["deviations"][0]["accepted"]["entry_seq"];
    assert!(line.ends_with(&format!(",{accepted},0")), "{line}");
}

/// A photo that is gone or was changed is told, on the first page too, and the pages
/// can still be checked against the record.
#[test]
fn photos_that_are_gone_or_changed_are_told() {
    let home = begun();
    for n in [1, 3, 6] {
        let path = file(&home, &format!("{n}.jpg"), &jpeg(n, 60, 40));
        let words = ["photo", "EX-0001", "--by", "Installer Example", path.to_str().unwrap()];
        let at: &[&str] = if n == 3 { &["--step", "look-inside"] } else { &[] };
        home.run(words.iter().chain(at)).well();
    }
    let whole = json(&home);
    assert!(whole["photos_amiss"].is_null(), "{whole}");
    assert_eq!(whole["photos"][2]["file"], "whole");
    let photos = photos_of(&home);
    let lies = |n: usize| home.path("data").join(photos[n].1.path());
    fs::remove_file(lies(0)).unwrap();
    fs::write(lies(1), jpeg(2, 60, 40)).unwrap();
    let json = json(&home);
    let told = "Of the files of 3 kept photos, 1 is missing on the machine that made this and 1 is \
                not what was kept: one of the whole job (entry 73), “Look from inside” (entry 74). \
                Look for them in a backup.";
    assert_eq!(json["photos_amiss"], told);
    let files: Vec<_> = (0..3).map(|n| json["photos"][n]["file"].as_str().unwrap()).collect();
    assert_eq!(files, ["missing", "changed", "whole"]);
    let html = html_of(&home);
    let marks = [
        told,
        "THE FILE IS MISSING",
        "THE FILE IS NOT WHAT WAS KEPT",
        "The picture is the smaller copy made when it was kept",
        "1 kept, of which 1 is MISSING OR CHANGED now",
    ];
    for words in marks {
        assert!(html.contains(words), "{words} is not in {html}");
    }
    let out = home.path("record.json");
    let checked = home.run(["seal", "check", out.to_str().unwrap()]).well();
    assert!(checked.contains(&format!("says of itself  {told}")), "{checked}");
    assert!(checked.contains("says of itself  NOT FINISHED."), "{checked}");
    call(&home, "over the porch", &[]);
    let show = flat(&home.run(["callback", "show", "EX-0001", "1"]).well());
    assert!(show.contains(told), "{show}");
    home.run(["export", "EX-0001", "-o", home.path("all").to_str().unwrap()]).well();
    let steps = fs::read_to_string(home.path("all/steps.csv")).unwrap();
    assert!(
        steps.lines().next().unwrap().ends_with(",kept_photo_files_missing_or_changed"),
        "{steps}"
    );
    for row in steps.lines().skip(1) {
        let amiss = if row.contains(",look-inside,") { ",1" } else { ",0" };
        assert!(row.ends_with(amiss), "{row}");
    }
    if outside::folder("the pages of the record by poppler").is_none() {
        return;
    }
    let all = record(&home, "letter");
    assert!(flat(&all[0]).contains(told), "{}", all[0]);
    let all = flat(&all.join("\n"));
    for words in marks {
        assert!(all.contains(words), "{words} is not in {all}");
    }
    let checked = home.run(["seal", "check", home.path("record.pdf").to_str().unwrap()]).well();
    assert!(checked.contains("they are those made of the record and its photos"), "{checked}");
}

/// A walk under way does not fill pages with what nobody has come to yet.
#[test]
fn open_steps_stand_together() {
    let home = Home::with_job();
    home.typed(WALK, TO_THE_LABEL).well();
    let html = html_of(&home);
    let steps = html.split(">Every step, in order</h2>").nth(1).unwrap();
    let steps = steps.split("</section>").next().unwrap();
    assert_eq!(steps.matches("open: not logged").count(), 1, "one row for all that follow");
    assert!(html.contains("Carton label; Ladder set; Tied off; Footing"), "{html}");
    if outside::folder("the pages of the record by poppler").is_some() {
        let all = record(&home, "letter").join("\n");
        let open = all.matches("open: not logged").count();
        assert_eq!(open, 2, "among all, and among those that keep water out: {all}");
    }
}

fn call(home: &Home, water: &str, more: &[&str]) -> String {
    let words = ["callback", "open", "EX-0001", "--where", water, "--caller", "Owner Example"];
    home.run(words.iter().chain(more).chain(&["--by", "Desk Example"])).well()
}

fn close(home: &Home, id: &str) {
    let words = ["callback", "close", "EX-0001", id, "--finding", "a nail", "--by", "Desk Example"];
    home.run(words).well();
}

/// Of two calls that run side by side each names its own entries.
#[test]
fn an_addendum_names_its_own_entries() {
    let home = Home::with_job();
    let known = call(&home, "over the porch", &["--edge", "Valley"]);
    assert!(!known.contains("nothing that is known"), "{known}");
    let told = call(&home, "at the back", &["--edge", "turret"]);
    assert!(told.contains("nothing that is known of this roof is called “turret”"), "{told}");
    close(&home, "1");
    close(&home, "2");
    let calls = json(&home)["callbacks"].clone();
    let own = |n: usize| {
        let entries = calls[n]["entries"].as_array().unwrap();
        let seqs = entries.iter().map(|entry| entry["entry_seq"].to_string());
        (seqs.collect::<Vec<_>>().join(", "), calls[n]["addendum"]["line"].as_str().unwrap())
    };
    for n in [0, 1] {
        let (seqs, line) = own(n);
        assert!(line.starts_with(&format!("Addendum: entries {seqs}, after ")), "{line}: {seqs}");
        assert!(html_of(&home).contains(line), "{line}");
    }
    assert_ne!(own(0).0, own(1).0);
}

#[test]
fn a_visit_is_named_by_its_title() {
    let home = Home::with_job();
    skip_through(&home, &CLOSING);
    call(&home, "over the porch", &[]);
    let visit =
        ["callback", "visit", "EX-0001", "1", "--by", "Foreman Example", "--keys", "--mute"];
    home.typed(visit, "where\n").well();
    let json = json(&home);
    let title = json["callbacks"][0]["visits"][0]["walk_title"].as_str().unwrap();
    let lists = json["checklists"].as_array().unwrap();
    let walk = lists.iter().find(|list| list["id"] == "leak-visit").unwrap();
    assert_eq!(walk["walk_title"], title);
    let told = format!(": {title}, not ended, 0 of ");
    assert!(html_of(&home).contains(&told), "{told}");
    let course = &json["callbacks"][0]["course"];
    assert!(course[1].as_str().unwrap().starts_with("Visit begun in the program by Foreman"));
    assert_eq!(course[2], "The call is open");
    let unfinished = json["unfinished"].as_str().unwrap();
    let under_way = format!(
        "VISIT UNDER WAY. What was begun of the install has ended; begun and not ended: {title}."
    );
    assert_eq!(unfinished, under_way);
}

/// A second walk of a checklist is told from the first wherever a step of it is named.
#[test]
fn what_is_amiss_in_a_second_walk_says_so() {
    let home = Home::with_job();
    home.typed(CLOSING, "where\n").well();
    skip_through(&home, &CLOSING);
    let again = [&CLOSING[..], &["--again"]].concat();
    home.typed(again, "skip\nnot today; rope was wet\nyes\n").well();
    let json = json(&home);
    let second = |list: &Value| -> Value {
        let needs = list.as_array().unwrap().iter();
        let mut left_out = needs.filter(|need| need["kind"] == "left-out");
        left_out.find(|need| need["walk"] == "closing-inspection/2").unwrap().clone()
    };
    let need = second(&json["attention"]);
    let sentence = need["sentence"].as_str().unwrap();
    let reason = "(walk 2)”, for this reason: “not today; rope was wet”";
    assert!(sentence.contains(reason), "{sentence}");
    // In a few words too nothing of it is cut, and what became of it is said.
    let briefly = need["briefly"].as_str().unwrap();
    assert!(briefly.ends_with(&format!("{reason} (nobody has accepted it)")), "{briefly}");
    let seq = need["entry_seq"].to_string();
    let accept = ["accept", "EX-0001", &seq, "--reason", "dry now", "--by", "Foreman Example"];
    home.run(accept).well();
    let after = crate::record_pages::json(&home);
    let briefly = second(&after["deviations"])["briefly"].as_str().unwrap().to_owned();
    assert!(briefly.contains(&format!("{reason} (accepted by Foreman Example, ")), "{briefly}");
    if outside::folder("the pages of the record by poppler").is_some() {
        let all = flat(&record(&home, "letter").join("\n"));
        let among = all.split("What deviates among the other steps:").nth(1);
        assert!(among.is_some_and(|rest| rest.contains(&briefly)), "{all}");
    }
}

/// Names of files and jobs: what is meant is taken, or said.
#[test]
fn names_that_are_nearly_right() {
    let home = Home::with_job();
    let out = |name: &str| home.path(name).to_str().unwrap().to_owned();
    home.run(["record", "EX-0001", "-o", &out("R.PDF")]).well();
    assert!(fs::read(home.path("R.PDF")).unwrap().starts_with(b"%PDF"));
    home.run(["export", "EX-0001", "-o", &out("A.ZIP")]).well();
    assert!(fs::read(home.path("A.ZIP")).unwrap().starts_with(b"PK"));
    let told = home.run(["export", "EX-0001", "-o", &out("a.tar")]).fails(1);
    assert!(told.contains("named as a file of another kind") && told.contains(".zip"), "{told}");
    assert!(!home.path("a.tar").exists());
    home.run(["export", "EX-0001", "-o", &out("job.v2")]).well();
    assert!(home.path("job.v2").is_dir());
    for words in [&["record", "ex-0001", "-o", &out("r.json")][..], &["job", "show", "ex-0001"]] {
        let told = home.run(words).fails(1);
        assert!(told.contains("there is no job `ex-0001`; did you mean `EX-0001`?"), "{told}");
    }
}

/// What is amiss with a file of a bundle is told once, by what it is.
#[test]
fn an_import_tells_what_was_changed_once() {
    let home = crate::bundle::worked();
    let folder = crate::bundle::export(&home, "EX-0001", "out");
    let clip = fs::read_dir(folder.join("clips")).unwrap().next().unwrap().unwrap().path();
    let changed: [PathBuf; 3] = [clip, folder.join("entries.jsonl"), folder.join("record.json")];
    for path in &changed {
        let kept = fs::read(path).unwrap();
        let mut bytes = kept.clone();
        *bytes.last_mut().unwrap() ^= 1;
        fs::write(path, &bytes).unwrap();
        let told = Home::new().run(["import", folder.to_str().unwrap()]).fails(1);
        assert!(told.contains("was changed: it has another SHA-256 than listed"), "{told}");
        for word in ["missing", "not there", "is not in"] {
            assert!(!told.contains(word), "{path:?}: {told}");
        }
        fs::write(path, kept).unwrap();
    }
    Home::new().run(["import", folder.to_str().unwrap()]).well();
}

/// Pages that were changed beside a record that holds: told apart.
#[test]
fn pages_that_were_changed_leave_the_attached_record() {
    let home = Home::with_job();
    let path = home.path("record.pdf");
    home.run(["record", "EX-0001", "-o", path.to_str().unwrap()]).well();
    let mut bytes = fs::read(&path).unwrap();
    // Something no reader looks at, after the end of the file.
    bytes.extend_from_slice(b"\n% more\n");
    fs::write(&path, bytes).unwrap();
    let told = home.run(["seal", "check", path.to_str().unwrap()]).fails(1);
    assert!(told.contains("do not rely on them. The record attached to it does, alone"), "{told}");
    assert!(!told.contains("do not rely on it,"), "{told}");
}

/// A page that has no seal names the record that has one; without a key, none.
#[test]
fn html_names_the_sealed_record() {
    let home = Home::with_job();
    let file = home.path("record.json");
    json(&home);
    let told = home.run(["seal", "check", file.to_str().unwrap()]).well();
    let hash = told.lines().find_map(|line| line.strip_prefix("record hash")).unwrap().trim();
    let html = html_of(&home);
    let key = json(&home)["log"]["device"].as_str().unwrap().to_owned();
    assert!(html.contains(hash) && html.contains(&key), "{hash}, {key}: {html}");
    assert!(html.contains("This page has no seal of its own."), "{html}");
    fs::remove_file(home.path("data/device.key")).unwrap();
    let html = html_of(&home);
    assert!(html.contains("This page has no seal: the PDF and the JSON"), "{html}");
}
