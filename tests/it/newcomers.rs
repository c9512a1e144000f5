//! What newcomers stumbled on: the program says what is unusual, what is missing
//! and what to type, in one plain sentence.

use std::fs;

use chalkhand::domain::walk::{Expect, ExpectAnswer};
use chalkhand::domain::{DeviceKey, Language, Meaning};
use chalkhand::measure::{Dimension, parse_quantity};
use chalkhand::speech::{Wording, typed};

use crate::cli::skip_through;
use crate::program::Home;

const CLOSING: [&str; 7] =
    ["walk", "EX-0001", "closing-inspection", "--by", "Foreman Example", "--keys", "--mute"];
const INTAKE: [&str; 7] =
    ["walk", "EX-0001", "deck-intake", "--by", "Installer Example", "--keys", "--mute"];
const VISIT: [&str; 8] =
    ["callback", "visit", "EX-0001", "1", "--by", "Installer Example", "--keys", "--mute"];

fn open(home: &Home) -> String {
    let by = ["--caller", "Owner Example", "--by", "Desk Example"];
    home.run(["callback", "open", "EX-0001", "--where", "at the chimney"].iter().chain(&by)).well()
}

fn close(home: &Home, more: &[&str]) -> crate::program::Ran {
    let base = ["callback", "close", "EX-0001", "1", "--by", "Desk Example", "--finding", "a nail"];
    home.run([&base[..], more].concat())
}

#[test]
fn what_has_no_date_yet_is_listed_with_the_reason() {
    let home = Home::with_job();
    let list = || home.run(["calendar", "EX-0001"]).well();
    let told = list();
    assert!(told.contains("not dated yet:"), "{told}");
    assert!(told.contains(": closing-inspection has not been walked"), "{told}");
    home.typed(CLOSING, "where\nnote\nwindy\nyes\n").well();
    let told = list();
    assert!(told.contains(": the walk closing-inspection has not ended"), "{told}");
    let none = home.run(["calendar", "EX-0001", "-o", "f.ics"]).fails(1);
    assert!(none.contains("no follow-ups yet") && none.contains("has not ended"), "{none}");
    skip_through(&home, &CLOSING);
    let told = list();
    assert!(!told.contains("closing-inspection has not"), "{told}");
}

#[test]
fn an_unusual_date_is_taken_and_said() {
    let home = Home::with_job();
    let add = |on: &str, more: &[&str]| {
        let base = ["calendar", "add", "EX-0001", "--on", on, "--title", "Look again"];
        home.run([&base[..], more].concat()).well()
    };
    let usual = add("2030-02-05T10:00", &["--who", "foreman", "--by", "Foreman Example"]);
    assert!(!usual.contains('!'), "{usual}");
    let late = add("2030-02-05T16:45", &[]);
    let hours = "2030-02-05 16:45, 30 minutes long, is outside the office's hours, 09:00 to 17:00";
    assert!(late.contains(hours) && late.contains("put there all the same"), "{late}");
    assert!(add("2030-02-05T05:00", &[]).contains("outside the office's hours"));
    let past = add("2020-02-05T10:00", &[]);
    assert!(past.contains("! 2020-02-05 10:00 is past; it was put there"), "{past}");
    let role = add("2030-02-06T10:00", &["--who", "plumber"]);
    assert!(role.contains("! nobody on job EX-0001 is its plumber"), "{role}");
    assert!(role.contains("foreman") && role.contains("installer"), "{role}");
    let by = add("2030-02-07T10:00", &["--by", "Nobody Example"]);
    assert!(by.contains("! Nobody Example is not among the people of this job"), "{by}");
    let empty = ["calendar", "add", "EX-0001", "--on", "2030-02-05", "--title", " "];
    assert!(home.run(empty).fails(1).contains("say what it is: --title"));
}

#[test]
fn nothing_for_a_person_is_not_an_unknown_name() {
    let home = Home::with_job();
    let of = |name: &str| {
        let ics = home.path("f.ics");
        home.run(["calendar", "--for", name, "-o", ics.to_str().unwrap()]).fails(1)
    };
    let told = of("Foreman Example");
    assert!(
        told.contains("no date is for Foreman Example, who is on job EX-0001 (foreman"),
        "{told}"
    );
    let told = of("Nobody");
    assert!(told.contains("nobody on any job is called `Nobody`; check the name"), "{told}");
}

#[test]
fn a_call_is_closed_over_an_open_visit_only_with_a_reason() {
    let home = Home::with_job();
    let told = open(&home);
    assert!(told.contains("no walk of job EX-0001 has ended"), "{told}");
    let err = close(&home, &["--unfinished", "sold"]).fails(1);
    assert!(err.contains("no visit of callback 1 is open"), "{err}");
    home.typed(VISIT, "where\n").well();
    let err = close(&home, &[]).fails(1);
    assert!(err.contains("its visit leak-visit is open"), "{err}");
    assert!(err.contains("chalkhand callback visit EX-0001 1 --by NAME"), "{err}");
    assert!(err.contains("--unfinished"), "{err}");
    let err = close(&home, &["--unfinished", " "]).fails(1);
    assert!(err.contains("say why the visit is left unfinished"), "{err}");
    let told = close(&home, &["--unfinished", "the owner sold the house"]).well();
    assert!(told.contains("a visit was left unfinished: the owner sold the house"), "{told}");
    // It is in the sealed record, and the next call's visit can begin.
    let record = home.path("record.json");
    home.run(["record", "EX-0001", "-o", record.to_str().unwrap()]).well();
    home.run(["seal", "check", record.to_str().unwrap()]).well();
    let json: serde_json::Value = serde_json::from_slice(&fs::read(&record).unwrap()).unwrap();
    let closed = &json["callbacks"][0]["closed"];
    assert_eq!(closed["visit_left_open"], "the owner sold the house", "{closed}");
    assert!(!open(&home).is_empty());
    let mut second = VISIT;
    second[3] = "2";
    let told = home.typed(second, "where\n").well();
    assert!(told.contains("the walk leak-visit/2"), "{told}");
    // An install that has ended is not doubted.
    let home = Home::with_job();
    skip_through(&home, &CLOSING);
    assert!(!open(&home).contains("has ended"));
}

/// Every file named with `-o` takes the place of one of that name, whole.
#[test]
fn a_file_of_that_name_is_replaced() {
    let home = Home::with_job();
    let to = |words: &[&str], name: &str| {
        let path = home.path(name);
        let ran = home.run([words, &["EX-0001", "-o", path.to_str().unwrap()]].concat());
        (path, ran)
    };
    let files =
        [("record", "r.json"), ("record", "r.pdf"), ("sheet", "s.html"), ("export", "e.zip")];
    for (command, name) in files {
        let (path, ran) = to(&[command], name);
        ran.well();
        let whole = fs::read(&path).unwrap();
        fs::write(&path, "another file").unwrap();
        to(&[command], name).1.well();
        assert!(fs::read(&path).unwrap() == whole, "{name}");
        let folder = format!("folder-{name}");
        fs::create_dir(home.path(&folder)).unwrap();
        to(&[command], &folder).1.fails(1);
        assert!(!home.path(&format!(".{folder}.part")).exists(), "nothing half-written stays");
    }
}

/// Reading works on an imported job; what would log says why not.
#[test]
fn an_imported_job_is_read() {
    let home = Home::with_job();
    open(&home);
    skip_through(&home, &CLOSING);
    let zip = home.path("a.zip");
    home.run(["export", "EX-0001", "-o", zip.to_str().unwrap()]).well();
    let desk = Home::new();
    let said = desk.run(["import", zip.to_str().unwrap()]).well();
    let name = said.split_whitespace().nth(2).unwrap().trim_end_matches(':').to_owned();
    for words in [
        &["job", "show", "EX-0001"][..],
        &["sheet", &name],
        &["callback", "show", "EX-0001", "1"],
        &["calendar", &name],
    ] {
        let own = [&words[..words.len()], &[]].concat().join(" ").replace(&name, "EX-0001");
        let own = home.run(own.split(' ')).well();
        let told = desk.run(words).well();
        let (first, rest) = told.split_once('\n').unwrap();
        assert!(first.contains(&format!("job {name} is the record of another device")), "{first}");
        if words[0] != "calendar" {
            assert_eq!(rest, own, "{words:?}: as on the device it comes from");
        }
    }
    let dates = desk.run(["calendar", "EX-0001"]).well();
    assert!(dates.contains("were not given out by the device this job comes from"), "{dates}");
    assert!(desk.run(["callback", "summary", "--invented"]).well().contains("Calls: 1"));
    let err = desk.run(VISIT).fails(1);
    assert!(err.contains("is only read here: log on that device"), "{err}");
    // Where a job of the device's own has that number, what is wrong with it is
    // said, and the imported one does not stand in for it.
    let both = Home::with_job();
    both.run(["import", zip.to_str().unwrap()]).well();
    assert!(!both.run(["job", "show", "EX-0001"]).well().contains("another device"));
    let db = rusqlite::Connection::open(both.path("data/log.sqlite")).unwrap();
    db.execute_batch(
        "drop trigger adopted_is_never_updated;
         update adopted set body = replace(body, 'why = \"', 'why = \"So: ') where id = 'deck-intake'",
    )
    .unwrap();
    drop(db);
    for words in [&["job", "show", "EX-0001"][..], &INTAKE] {
        let err = both.run(words).fails(3);
        assert!(err.contains("deck-intake 1.3.0 in the log"), "{err}");
    }
}

#[test]
fn an_import_is_held_against_the_key_that_is_expected() {
    let home = Home::with_job();
    let zip = home.path("a.zip");
    home.run(["export", "EX-0001", "-o", zip.to_str().unwrap()]).well();
    let key = home.run(["seal", "key"]).well();
    let print = key.lines().next().unwrap().split_whitespace().nth(1).unwrap();
    let file = home.write("key.txt", &key);
    let json = home.write("key.json", &home.run(["seal", "key", "--json"]).well());
    let zip = zip.to_str().unwrap();
    let desk = Home::new();
    let wrong = DeviceKey::of(&[7; 32]).public().fingerprint().to_string();
    let err = desk.run(["import", zip, "--key", &wrong]).fails(1);
    assert!(
        err.contains("nothing was imported") && err.contains("not by the expected key"),
        "{err}"
    );
    assert!(desk.run(["find", "example"]).fails(1).contains("no job has all of these words"));
    desk.run(["import", zip, "--key", "nowhere.txt"]).fails(2);
    for key in [print, file.to_str().unwrap(), json.to_str().unwrap()] {
        let desk = Home::new();
        let told = desk.run(["import", zip, "--key", key]).well();
        assert!(told.contains(&format!("signed by {print}, the key that was expected")), "{told}");
        assert!(told.contains("0 photos"), "{told}");
    }
    let record = home.path("r.json");
    home.run(["record", "EX-0001", "-o", record.to_str().unwrap()]).well();
    let check = ["seal", "check", record.to_str().unwrap(), "--key", file.to_str().unwrap()];
    assert!(home.run(check).well().contains("the key that was expected"));
}

/// At the keys every question that does not say what to type has a line that does.
#[test]
fn what_to_type_is_shown() {
    let expect = |commands: &[Meaning], answer| Expect { commands: commands.to_vec(), answer };
    let held = [Meaning::Pause, Meaning::TakeNote, Meaning::Back, Meaning::WasWrong];
    for language in Language::ALL {
        let wording = Wording::of(language);
        let of = |expect: &Expect| typed(expect, Some("foreman"), &wording);
        let at_hold = of(&expect(&held, ExpectAnswer::None)).unwrap();
        assert!(at_hold.contains("Ctrl-D"), "{at_hold}");
        for meaning in &held {
            let key = wording.keys(meaning)[0];
            assert!(at_hold.contains(key), "{at_hold}: {key}");
        }
        let words = of(&expect(&[], ExpectAnswer::Words)).unwrap();
        let repeat = wording.keys(&Meaning::Repeat)[0];
        assert!(words.contains(&format!("/{repeat}")), "{words}");
        assert_eq!(of(&expect(&[Meaning::Yes, Meaning::No], ExpectAnswer::None)), None);
        assert_eq!(typed(&expect(&held, ExpectAnswer::None), None, &wording), None);
    }
    let home = Home::with_job();
    let told = home.typed(INTAKE, "note\nit is windy\nyes\n").well();
    assert!(told.contains("type your own words; a command has / before it"), "{told}");
}

#[test]
fn a_missing_unit_is_answered_with_those_that_are_right() {
    for (text, dimension, units) in [
        ("1640", Dimension::AREA, "(units: in2, ft2, yd2, mm2, cm2, m2)"),
        ("1640 ft", Dimension::AREA, "ft2"),
        ("25", Dimension::SPEED, "(units: mph, km/h, m/s, ft/s, in/s)"),
        ("4 parsec", Dimension::LENGTH, "(units: in, ft, yd, mm, cm, m)"),
    ] {
        let message = parse_quantity(text, dimension).unwrap_err().message;
        assert!(message.contains(units), "{text}: {message}");
        // Each of them is one that is taken.
        let named = message.split("(units: ").nth(1).unwrap().trim_end_matches(')');
        for unit in named.split(", ") {
            parse_quantity(&format!("4 {unit}"), dimension).unwrap();
        }
    }
}
