//! Jobs of other devices in the foreman's day and among the leak calls: read like
//! the own ones, told apart from them, and never in their way.

use chalkhand::domain::{Hash, PointKind, What};
use chalkhand::store::Store;
use jiff::civil::Date;
use rusqlite::params;
use serde_json::Value;

use crate::bundle::{JOB, export, worked};
use crate::day_pages::{DAY, bytes, reach, skip};
use crate::pages::{invited, office};
use crate::photo_files::jpeg;
use crate::photos::file;
use crate::program::Home;
use crate::serve::Daemon;

fn store(home: &Home) -> Store {
    Store::open(&home.path("data/log.sqlite")).unwrap()
}

/// A job with a leak call, imported where nothing else is; with its name there.
fn imported() -> (Home, Home, String) {
    let away = worked();
    let said = ["--where", "wet wall", "--caller", "Caller Example", "--by", "Desk Example"];
    let words = ["callback", "open", JOB].into_iter().chain(said);
    away.run(words.collect::<Vec<_>>()).well();
    let bundle = export(&away, JOB, "bundle.zip");
    let desk = Home::new();
    desk.run(["import", bundle.to_str().unwrap()]).well();
    let name = store(&desk).imports().unwrap()[0].name();
    (away, desk, name)
}

fn days(home: &Home) -> Vec<Date> {
    let entries = store(home).entries(JOB, 0).unwrap();
    let mut days: Vec<Date> = entries.iter().map(|entry| entry.draft.at.date()).collect();
    days.sort();
    days.dedup();
    days
}

fn day(home: &Home, date: Date) -> (String, Value) {
    let date = date.to_string();
    let json = home.run(["day", &date, "--json"]).well();
    (home.run(["day", &date]).well(), serde_json::from_str(&json).unwrap())
}

#[test]
fn a_day_holds_what_other_devices_logged() {
    let (away, desk, name) = imported();
    let all = days(&away);
    assert!(1 < all.len(), "{all:?}");
    for date in &all {
        let (text, json) = day(&desk, *date);
        let (_, own) = day(&away, *date);
        assert!(text.contains(&format!("Job {name}, 1 Example Lane")), "{text}");
        assert!(text.contains("(imported, only read here)"), "{text}");
        let [job] = &json["jobs"].as_array().unwrap()[..] else { panic!("{json}") };
        assert_eq!((&job["number"], &job["imported_as"]), (&JOB.into(), &name.as_str().into()));
        assert_eq!(job["entries"], own["jobs"][0]["entries"], "entries as the device itself has");
        assert_eq!(job["attention"], own["jobs"][0]["attention"]);
        assert!(own["jobs"][0].get("imported_as").is_none() && json.get("unread").is_none());
        assert_eq!(store(&desk).imports_on(*date).unwrap().len(), 1);
    }
    // Without a date the newest day with anything is shown.
    let newest = all.last().unwrap();
    assert!(desk.run(["day"]).well().starts_with(&format!("DAY LOG for {newest}")));
    let before = newest.tomorrow().unwrap();
    assert_eq!(store(&desk).days_beside(before).unwrap(), (Some(*newest), None));
    let after = all[0].yesterday().unwrap();
    assert_eq!(store(&desk).days_beside(after).unwrap(), (None, Some(all[0])));
}

#[test]
fn an_own_job_of_the_same_number_stands_beside() {
    let (away, _, name) = imported();
    let desk = Home::with_job();
    let bundle = export(&away, JOB, "again.zip");
    desk.run(["import", bundle.to_str().unwrap()]).well();
    for date in days(&desk) {
        let (_, json) = day(&desk, date);
        let names: Vec<_> = json["jobs"].as_array().unwrap().iter().collect();
        let imported = names.iter().filter(|job| job["imported_as"] == name).count();
        assert_eq!(imported, usize::from(days(&away).contains(&date)), "{json}");
        assert!(names.iter().any(|job| job.get("imported_as").is_none()), "{json}");
    }
}

#[test]
fn the_calls_of_other_devices_are_listed() {
    let (_, desk, name) = imported();
    for which in [&[][..], &["--open"]] {
        let words = |more: &[&'static str]| [&["callback", "list"], which, more].concat();
        let text = desk.run(words(&[])).well();
        assert!(text.contains(&format!("{name}  1 Example Lane")), "{text}");
        assert!(text.contains("imported, only read here") && text.contains("wet wall"), "{text}");
        let json: Value = serde_json::from_str(&desk.run(words(&["--json"])).well()).unwrap();
        let [call] = &json.as_array().unwrap()[..] else { panic!("{json}") };
        assert_eq!((&call["job"], &call["imported_as"]), (&JOB.into(), &name.as_str().into()));
    }
}

/// A log that was written before the days of imports were kept.
#[test]
fn days_of_earlier_imports_are_found() {
    let (away, desk, _) = imported();
    {
        let store = store(&desk);
        let log = store.raw();
        log.execute_batch(
            "drop table import_day; delete from refinery_schema_history where version = 7",
        )
        .unwrap();
    }
    let store = store(&desk);
    for date in days(&away) {
        assert_eq!(store.imports_on(date).unwrap().len(), 1, "{date}");
        let none = date.checked_sub(jiff::Span::new().years(1)).unwrap();
        assert_eq!(store.imports_on(none).unwrap(), []);
    }
    let raw = store.raw();
    let counted: u64 = raw.query_row("select count(*) from import_day", [], |r| r.get(0)).unwrap();
    assert_eq!(counted, days(&away).len() as u64);
    for change in ["update import_day set day = '2020-01-01'", "delete from import_day"] {
        let refused = raw.execute(change, []).unwrap_err().to_string();
        assert!(refused.contains("an import is never"), "{refused}");
    }
}

/// What cannot be read here hides nobody else's day, and is named.
#[test]
fn one_that_cannot_be_read_is_named() {
    let (away, _, name) = imported();
    let desk = Home::with_job();
    let bundle = export(&away, JOB, "again.zip");
    desk.run(["import", bundle.to_str().unwrap()]).well();
    {
        let text = b"id = \"of another version\"";
        let hash = Hash::of(text).to_string();
        let store = store(&desk);
        let log = store.raw();
        log.execute_batch("drop trigger import_file_is_never_updated").unwrap();
        let sql = "update import_file set body = ?1, sha256 = ?2 where path like 'checklists/%'";
        assert!(0 < log.execute(sql, params![text, hash]).unwrap());
    }
    for date in days(&away) {
        let (text, json) = day(&desk, date);
        assert!(text.contains(&format!("Job {name} (imported) cannot be shown: ")), "{text}");
        assert_eq!(json["unread"][0]["imported_as"], name);
        let own = usize::from(days(&desk).contains(&date));
        assert_eq!(json["jobs"].as_array().unwrap().len(), own);
        assert!(!text.contains("Nothing"), "nobody knows what waits on it: {text}");
    }
    let listed = desk.run(["callback", "list"]);
    assert_eq!(listed.out, "no callback was ever opened\n");
    assert!(listed.err.contains(&format!("job {name} (imported) cannot be shown")), "{listed:?}");
    let daemon = Daemon::start(&desk);
    let mut office = office(&daemon);
    let mut foreman = invited(&mut office, "Foreman Example", &["foreman", "desk"]);
    let told = format!("Job {name}, imported, cannot be shown: ");
    let last = days(&away).pop().unwrap();
    for path in ["/desk".to_owned(), format!("/day/{last}")] {
        let page = foreman.get(&path);
        assert!(page.body.contains(&told), "{path}: {}", page.body);
        for none in ["None is open.", "Nothing: no hold point", "Nothing was logged"] {
            assert!(!page.body.contains(none), "{path}: {none}");
        }
    }
}

/// The pages show what the commands do: nothing on another device's job can be
/// decided here, and its sounds and pictures are there.
#[test]
fn the_pages_show_them_and_decide_nothing() {
    let away = worked();
    reach(&away, "look-inside", PointKind::Hold);
    skip(&away, "look-inside", "no way in");
    let said = ["--where", "wet wall", "--caller", "Caller Example", "--by", "Desk Example"];
    let words = ["callback", "open", JOB].into_iter().chain(said);
    away.run(words.collect::<Vec<_>>()).well();
    let bundle = export(&away, JOB, "bundle.zip");

    // An own job of the same number: numbers of entries are those of another log.
    let home = worked();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut foreman = invited(&mut office, "Foreman Example", &["foreman", "desk"]);
    let before = foreman.get(DAY);
    home.run(["import", bundle.to_str().unwrap()]).well();
    let name = store(&home).imports().unwrap()[0].name();
    let page = foreman.get(DAY);
    assert_ne!(before.headers["etag"], page.headers["etag"], "an import is news");
    let of = page.body.split("<section").find(|part| {
        part.contains(&format!("<h2><a href=\"/job/{name}\">Job {name}, 1 Example Lane"))
    });
    let of = of.unwrap_or_else(|| panic!("{}", page.body));
    assert!(of.contains("This is the record of another device"), "{of}");
    let needs = page.body.split("<section class=\"needs\"").skip(1);
    let needs = needs.filter_map(|part| part.split("</section>").next());
    let needs: Vec<&str> = needs.filter(|part| part.contains(&name)).collect();
    let [needs] = needs[..] else { panic!("{needs:?}") };
    assert!(needs.contains("what waits is released and accepted there"), "{needs}");
    assert!(needs.contains("Hold point waiting") || needs.contains("no way in"), "{needs}");
    assert!(!needs.contains("<form"), "{needs}");

    let mut ids: Vec<&str> = page.body.split(" id=\"").skip(1).collect();
    ids.iter_mut().for_each(|id| *id = id.split('"').next().unwrap());
    let all = ids.len();
    ids.sort_unstable();
    ids.dedup();
    assert_eq!(ids.len(), all, "no place stands twice");
    for part in page.body.split("href=\"#").skip(1) {
        let to = part.split('"').next().unwrap();
        assert!(ids.contains(&to), "{to}");
    }

    let mut seen = 0;
    for kind in ["photo", "clip"] {
        for date in days(&away) {
            let page = foreman.get(&format!("/day/{date}"));
            for part in page.body.split(&format!("\"/job/{name}/{kind}/")).skip(1) {
                let hash = part.split('"').next().unwrap();
                let path = format!("/job/{name}/{kind}/{hash}");
                let (got, file) = bytes(&daemon, &foreman, &path, "");
                assert_eq!(got.status, 200);
                assert_eq!(got.headers["etag"].trim_matches('"'), hash);
                assert!(kind == "clip" || Hash::of(&file).to_string() == hash);
                let other = format!("/job/{name}/{kind}/{}", hash.replace(['0', '1'], "2"));
                assert_eq!(foreman.get(&other).status, 404);
                seen += 1;
            }
        }
    }
    assert!(3 <= seen, "{seen}: two photos with previews, and a clip");
    // What another job's entries name is not handed out under this one.
    let own = file(&home, "own.jpg", &jpeg(3, 60, 40));
    home.run(["photo", JOB, "--by", "Installer Example", own.to_str().unwrap()]).well();
    let own = store(&home).entries(JOB, 0).unwrap();
    let kept = own.iter().rev().find_map(|entry| match &entry.draft.what {
        What::PhotoKept { photo, .. } => Some(photo.sha256),
        _ => None,
    });
    let own = kept.unwrap();
    let (got, _) = bytes(&daemon, &foreman, &format!("/job/{JOB}/photo/{own}"), "");
    assert_eq!(got.status, 200);
    assert_eq!(foreman.get(&format!("/job/{name}/photo/{own}")).status, 404);

    // A newer state takes the place of what was read before.
    away.run([
        "callback",
        "close",
        JOB,
        "1",
        "--finding",
        "a cracked boot",
        "--by",
        "Desk Example",
    ])
    .well();
    let newer = export(&away, JOB, "newer.zip");
    home.run(["import", newer.to_str().unwrap()]).well();
    let last = days(&away).pop().unwrap();
    let page = foreman.get(&format!("/day/{last}"));
    let of = page.body.split("<section").find(|part| part.contains("a cracked boot"));
    assert!(of.is_some_and(|of| of.contains(&name)), "{}", page.body);
    let desk = foreman.get("/desk");
    assert!(!desk.body.contains(&name), "no call is open any more: {}", desk.body);
    let opened = ["--where", "wet sill", "--caller", "Caller Example", "--by", "Desk Example"];
    away.run(["callback", "open", JOB].into_iter().chain(opened).collect::<Vec<_>>()).well();
    let newest = export(&away, JOB, "newest.zip");
    home.run(["import", newest.to_str().unwrap()]).well();

    let desk = foreman.get("/desk");
    let call = format!("<a href=\"/job/{name}\">Job {name}, 1 Example Lane");
    assert!(desk.body.contains(&call), "{}", desk.body);
    assert!(desk.body.contains("imported, only read"), "{}", desk.body);
}

/// Facts of a job file are one line of the day, with each of them below.
#[test]
fn facts_of_a_job_file_are_one_line() {
    let home = Home::with_job();
    let entries = store(&home).entries(JOB, 0).unwrap();
    let given = |entry: &&chalkhand::domain::Entry| entry.draft.what.word() == "fact-given";
    let facts: Vec<u64> = entries.iter().filter(given).map(|entry| entry.seq).collect();
    let [first, .., last] = facts[..] else { panic!("{facts:?}") };
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut foreman = invited(&mut office, "Foreman Example", &["foreman"]);
    let page = foreman.get(&format!("/day/{}", entries[0].draft.at.date()));
    let line = format!("{} facts of the job file, given by", facts.len());
    let (_, rest) = page.body.split_once(&line).unwrap_or_else(|| panic!("{}", page.body));
    assert!(rest.contains(&format!("entries {first} to {last}.")), "{rest}");
    // What is opened stays open when the page is read anew.
    assert!(rest.contains(&format!("<details id=\"facts-e{first}\">")), "{rest}");
    let (within, _) = rest.split_once("</details>").unwrap();
    for seq in facts {
        assert!(within.contains(&format!("id=\"e{seq}\"")), "{seq}: {within}");
    }
}
