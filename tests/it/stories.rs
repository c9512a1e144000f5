//! People at their work, from the sign-in to what they came for, in a real Chromium
//! on one program and one log: what stands there afterwards is what they did.

use std::path::Path;
use std::process::Command;

use chalkhand::daemon;
use chalkhand::domain::{At, Comparison, Entry, Given, How, What};
use chalkhand::measure::{Dimension, parse_quantity};
use chalkhand::store::Store;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};

use crate::browser::CHROMIUM;
use crate::bundle::export;
use crate::crew::shipped;
use crate::day_pages::{count, since, store};
use crate::outside;
use crate::pages::first_code;
use crate::program::{Home, repository};
use crate::serve::Daemon;
use crate::shipped_walks::Crew;

const JOB: &str = "EX-0001";
/// Slower than any step's least time.
const PACE_S: i64 = 130;

/// The invented job with its install walked before by keys, from its beginning up
/// to that step, at a believable pace; the last entry is so many minutes old.
/// `change` alters what was logged.
fn walked(until: &str, old_min: i64, change: impl Fn(&mut What)) -> Home {
    let rehearsal = Home::with_job();
    let mut crew = Crew::new("deck-intake", false);
    crew.walk();
    let walk = ["walk", JOB, "deck-intake", "--by", "Installer Example", "--keys", "--mute"];
    rehearsal.typed(walk, &crew.typed.concat()).well();

    let list = shipped("deck-intake");
    let mut drafts = Vec::new();
    for entry in store(&rehearsal).entries(JOB, 0).unwrap() {
        let mut draft = entry.draft;
        let step = draft.what.step().cloned();
        if step.as_ref().is_some_and(|at| at.to_string() == until) {
            break;
        }
        change(&mut draft.what);
        let photos = step.as_ref().and_then(|at| list.step(&at.id)).map_or(0, |step| step.photos);
        drafts.push(draft.clone());
        if let (What::Answered { .. }, Some(step)) = (&draft.what, step) {
            for n in 0..photos {
                let mut taken = draft.clone();
                taken.what = What::PhotoTaken { step: step.clone() };
                taken.key.0.push_str(&format!("/photo {n}"));
                drafts.push(taken);
            }
        }
    }
    let job = store(&rehearsal).job(JOB).unwrap().unwrap();
    let zone = TimeZone::get(&job.time_zone).unwrap();
    let walking = drafts.iter().filter(|draft| draft.walk.is_some()).count();
    let long_s = i64::try_from(walking).unwrap() * PACE_S + old_min * 60;
    let mut at: Timestamp = daemon::now(&zone).instant() - SignedDuration::from_secs(long_s);
    let home = Home::new();
    let profile = repository("packaging/demo-data/profile.toml");
    home.run(["checklist", "adopt", profile.to_str().unwrap()]).well();
    let mut log = store(&home);
    for mut draft in drafts {
        if draft.walk.is_some() {
            at += SignedDuration::from_secs(PACE_S);
        }
        draft.at = At::new(at, &zone);
        log.append(&draft, None).unwrap();
    }
    home
}

/// Has a story happen; none where there is no browser.
fn happens(daemon: &Daemon, story: &str, more: Value) -> Option<Value> {
    let folder = outside::folder("people at their work in a real browser")?;
    assert!(Path::new(CHROMIUM).exists(), "packaging/test installs it");
    let base = format!("http://{}", daemon.page);
    let mut asked = json!({
        "chromium": CHROMIUM,
        "base": base,
        "story": story,
        "first": format!("{base}/join?code={}", first_code(daemon)),
        "passphrases": {
            "Office Example": "ladder first",
            "Installer Example": "482913",
            "Foreman Example": "three chalk lines",
            "Desk Example": "rain on tuesday",
        },
        "shots": std::env::var("CHALKHAND_LOOK").ok(),
    });
    asked.as_object_mut().unwrap().extend(more.as_object().cloned().unwrap_or_default());
    let told = outside::run(&folder, "stories.mjs", &asked.to_string());
    let told: Value = serde_json::from_str(&told).unwrap();
    for kind in ["violations", "errors", "outside", "wide"] {
        assert_eq!(told[kind], json!([]), "{kind}: {told:#}");
    }
    Some(told)
}

/// What was written, by whom, at which step.
fn lines(entries: &[Entry]) -> Vec<String> {
    let line = |entry: &Entry| {
        let draft = &entry.draft;
        let step = draft.what.step().map(ToString::to_string).unwrap_or_default();
        format!("{} {step} {}", draft.what.word(), draft.by)
    };
    entries.iter().map(line).collect()
}

/// Who signed in and with which roles, in order.
fn signed_in(home: &Home) -> Vec<String> {
    let log = Store::open(&home.path("data/log.sqlite")).unwrap();
    lines(&log.entries("", 0).unwrap())
}

#[test]
fn whoever_is_first_sees_the_example_at_once() {
    let home = Home::new();
    let daemon = Daemon::start(&home);
    let Some(told) = happens(&daemon, "first", Value::Null) else { return };
    assert!(told["notes"]["invented"].as_str().unwrap().contains("Nothing in it is real"));
    let all = store(&home).entries(JOB, 0).unwrap();
    let (first, last) = (all.first().unwrap(), all.last().unwrap());
    assert_eq!((first.draft.what.word(), &first.draft.how), ("job-opened", &How::File));
    assert!(all.iter().all(|entry| entry.draft.by == "Office Example"));
    assert!(matches!(last.draft.what, What::WalkBegun { .. }), "{last:?}");
}

#[test]
fn a_foreman_reads_decides_and_prints_by_keys_alone() {
    let home = walked("mid-shingle#1", 5, |_| {});
    let second = Home::job_file().replace("EX-0001", "EX-0002").replace("1 Example", "2 Example");
    let second = home.write("second.toml", &second);
    home.run(["job", "open", second.to_str().unwrap()]).well();
    let before = count(&home);
    let daemon = Daemon::start(&home);
    let paper = home.path("day.pdf");
    let Some(told) = happens(&daemon, "evening", json!({ "paper": paper })) else { return };
    let notes = &told["notes"];
    let order = notes["order"].as_array().unwrap();
    assert_eq!(order[0], "What needs attention", "{order:?}");
    let needs = notes["needs"].to_string();
    let (held, off) =
        (needs.find("Hold point waiting").unwrap(), needs.find("Off target").unwrap());
    assert!(held < off, "{needs}");
    assert!(needs.contains("two old shingles are narrow here"), "{needs}");
    assert!(notes["entry"].as_str().unwrap().contains("hold point reached"), "{notes:#}");
    assert_eq!(notes["live"], true, "the roof screen followed without being loaded again");
    let after = notes["after"].to_string();
    assert!(!after.contains("Hold point") && !after.contains("Off target"), "{after}");
    let offline = notes["offline"].as_str().unwrap();
    assert!(offline.contains("Not logged yet: 4 1/2\""), "{offline}");
    assert_eq!(notes["online"], "", "nothing waits any more");

    let written = since(&home, before);
    assert_eq!(
        lines(&written),
        [
            "answered mid-shingle#1 Installer Example",
            "point-reached read-nail-line#1 Installer Example",
            "released read-nail-line#1 Foreman Example",
            "accepted mid-shingle#1 Foreman Example",
            "answered read-nail-line#1 Installer Example",
        ]
    );
    let What::Answered { given, reason, .. } = &written[0].draft.what else { panic!() };
    assert_eq!(given, &Given::Chosen("at a joint".to_owned()));
    assert_eq!(reason.as_deref(), Some("two old shingles are narrow here"));
    let What::Accepted { entry, role, reason, .. } = &written[3].draft.what else { panic!() };
    assert_eq!((*entry, role.as_str()), (written[0].seq, "foreman"));
    assert_eq!(reason, "held back by a hand, the joint is covered");
    let What::Answered { given, target: Some(target), .. } = &written[4].draft.what else {
        panic!()
    };
    assert_eq!(target.compare(given), Comparison::On);
    let by_hand = written.iter().filter(|entry| entry.draft.how == How::Touch);
    assert_eq!(by_hand.count(), 4, "all but the point that was reached");
    assert_eq!(
        signed_in(&home),
        [
            "person-set  Office Example",
            "signed-in  Office Example",
            "person-set  Installer Example",
            "signed-in  Installer Example",
            "person-set  Foreman Example",
            "signed-in  Foreman Example",
            "signed-in  Foreman Example",
        ]
    );

    // On paper each job begins a page, and no form is on it.
    let text = text_of(&paper);
    let pages: Vec<&str> = text.split('\u{c}').map(str::trim).collect();
    let begins = |words: &str| pages.iter().filter(|page| page.starts_with(words)).count();
    assert_eq!(begins("Day log"), 1, "{text}");
    assert_eq!((begins("Job EX-0001, 1 Ex"), begins("Job EX-0002, 2 Ex")), (1, 1), "{text}");
    for word in ["I have looked", "Accept entry", "Leak calls", "Foreman Example\n\nDay"] {
        assert!(!text.contains(word), "{word}: {text}");
    }
    assert!(text.contains("held back by a hand"), "{text}");
}

/// The text of a PDF, page by page.
fn text_of(path: &Path) -> String {
    let out = Command::new("pdftotext").arg("-layout").arg(path).arg("-").output().unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8(out.stdout).unwrap()
}

#[test]
fn a_leak_call_is_taken_down_planned_and_handed_on() {
    // Of the install three weeks ago one lap was logged short.
    let home = walked("no such step", 21 * 24 * 60, |what| {
        if let What::Answered { step, given, reason, .. } = what
            && step.to_string() == "membrane#1"
        {
            *given = Given::Measured(parse_quantity("5 in", Dimension::LENGTH).unwrap());
            *reason = Some("a nail plate is in the way".to_owned());
        }
    });
    let second = Home::job_file()
        .replace("EX-0001", "EX-0002")
        .replace("1 Example", "2 Example")
        .replace("555-0100", "555-0177");
    let second = home.write("second.toml", &second);
    home.run(["job", "open", second.to_str().unwrap()]).well();
    let before = count(&home);
    let daemon = Daemon::start(&home);
    let files = json!({
        "Record as PDF": home.path("record.pdf"),
        "All files as ZIP": home.path("files.zip"),
        "Dates for a calendar": home.path("dates.ics"),
    });
    let Some(told) = happens(&daemon, "call", json!({ "files": files })) else { return };
    let notes = &told["notes"];
    assert_eq!(notes["typed"], "/desk?q=555-0100");
    let steps = notes["steps"].as_str().unwrap();
    let first = "look first: something is amiss, at the place:Run 1: Membrane (deck-intake): 5\"";
    assert!(steps.starts_with(first), "{steps}");
    for reason in ["Asked for: 7\", give or take 1\"", "at the place: run 1", "elsewhere: run 2"] {
        assert!(steps.contains(reason), "{reason}: {steps}");
    }
    assert!(notes["deviations"].as_str().unwrap().contains("a nail plate is in the way"));
    let filled = json!({ "water": "kitchen ceiling", "plane": "1", "run": "1" });
    assert_eq!(notes["filled"], filled, "what was pointed at stands in the form");
    assert!(notes["planned"].as_str().unwrap().ends_with("09:00"), "{notes:#}");
    let listed = notes["listed"].as_str().unwrap();
    assert!(listed.contains("1 Example Lane") && listed.contains("“kitchen ceiling”"), "{listed}");
    assert_eq!(notes["call"], "What to look at first, call 1");

    let written = since(&home, before);
    let done = ["callback-opened  Desk Example", "follow-up-added  Desk Example"];
    assert_eq!(lines(&written), done);
    assert!(written.iter().all(|entry| entry.draft.how == How::Touch));
    let What::CallbackOpened(call) = &written[0].draft.what else { panic!() };
    let rows: Vec<String> = call.rows.iter().map(ToString::to_string).collect();
    assert_eq!(
        (call.water.as_str(), rows),
        ("kitchen ceiling", vec!["plane 1".into(), "run 1".into()])
    );
    assert_eq!((call.caller.as_str(), &call.phone), ("Owner Example", &None));
    let What::FollowUpAdded { callback, checklist, .. } = &written[1].draft.what else { panic!() };
    assert_eq!((*callback, checklist.as_deref()), (Some(1), Some("leak-visit")));

    // What was handed on says so, and is what the commands write.
    let pages = home.path("record.pdf");
    assert!(std::fs::read(&pages).unwrap().starts_with(b"%PDF"));
    let checked = Command::new("qpdf").arg("--check").arg(&pages).output().unwrap();
    assert!(checked.status.success(), "{checked:?}");
    assert!(text_of(&pages).contains("kitchen ceiling"));
    let zip = std::fs::read(home.path("files.zip")).unwrap();
    assert!(zip == std::fs::read(export(&home, JOB, "command.zip")).unwrap());
    let elsewhere = Home::new();
    elsewhere.run(["import", home.path("files.zip").to_str().unwrap()]).well();
    let dates = std::fs::read_to_string(home.path("dates.ics")).unwrap();
    let folder = outside::folder("the dates by ical.js").unwrap();
    let read: Value = serde_json::from_str(&outside::run(&folder, "read_ics.mjs", &dates)).unwrap();
    let events = read["events"].as_array().unwrap();
    let visit = "Visit after leak call 1: kitchen ceiling";
    let visits = events.iter().filter(|event| event["summary"].to_string().contains(visit));
    assert_eq!(visits.count(), 1, "{read:#}");
}

/// What keeps a browser from putting the pages among its apps: nothing; and what the
/// phone keeps of them holds nothing of a job.
#[test]
fn the_pages_are_an_app_that_says_when_it_cannot_be_reached() {
    for (locale, language, title) in
        [("en-US", "en", "The machine does not answer"), ("es-MX", "es", "La máquina no responde")]
    {
        let home = crate::roof::short();
        let daemon = Daemon::start(&home);
        let folder = home.path("browser");
        let more = json!({ "locale": locale, "folder": folder });
        let Some(told) = happens(&daemon, "installed", more) else { return };
        let notes = &told["notes"];
        assert_eq!((&notes["manifest"]["errors"], &notes["hindrances"]), (&json!([]), &json!([])));
        assert_eq!(notes["manifest"]["lang"], language);
        assert_eq!(notes["icons"].as_array().unwrap()[1..], ["192", "512", "512"]);
        let said = notes["unreachable"].as_str().unwrap();
        assert!(said.starts_with(title) && notes["language"] == language, "{notes:#}");
        assert_eq!(notes["question"][0], notes["question"][1], "the same step goes on");
        let kept = notes["kept"].as_array().unwrap();
        assert!(5 < kept.len(), "{kept:?}");
        for path in kept.iter().map(|path| path.as_str().unwrap()) {
            let known = path.starts_with("/look/") || path.starts_with("/unreachable?");
            assert!(known && !path.contains("SW-1"), "{path}");
        }
        // The answer that waited over the reload was sent, once.
        let all = crate::roof::entries(&home);
        let taken = all.iter().filter(|one| one.draft.what.word() == "photo-taken");
        assert_eq!(taken.count(), 1);
    }
}
