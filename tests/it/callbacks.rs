//! The commands for repeated walks, accepted deviations and leak calls, as people
//! and scripts use them.

use chalkhand::domain::{At, Draft, How, Key, WalkId, What};
use chalkhand::store::Store;
use serde_json::Value;

use crate::cli::skip_through;
use crate::program::Home;
use crate::shipped_walks::Crew;

pub(crate) const CLOSING: [&str; 7] =
    ["walk", "EX-0001", "closing-inspection", "--by", "Foreman Example", "--keys", "--mute"];
const DAY: [&str; 7] =
    ["walk", "EX-0001", "start-of-day", "--by", "Installer Example", "--keys", "--mute"];

fn home(checklists: &str) -> Home {
    let job: Vec<String> = Home::job_file()
        .lines()
        .map(|line| match line.starts_with("checklists =") {
            true => format!("checklists = [{checklists}]"),
            false => line.to_owned(),
        })
        .collect();
    Home::with_job_file(&job.join("\n"))
}

fn record(home: &Home) -> Value {
    let path = home.path("r.json");
    home.run(["record", "EX-0001", "-o", path.to_str().unwrap()]).well();
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn page(home: &Home) -> String {
    let path = home.path("r.html");
    home.run(["record", "EX-0001", "-o", path.to_str().unwrap()]).well();
    std::fs::read_to_string(path).unwrap()
}

fn list<'a>(json: &'a Value, name: &str) -> &'a Vec<Value> {
    json[name].as_array().unwrap_or_else(|| panic!("no list {name} in {json:#}"))
}

/// Walks a shipped checklist to its end with its own answers.
fn walk_through(home: &Home, id: &str, words: &[&str]) -> String {
    let mut crew = Crew::new(id, false);
    crew.walk();
    let mut out = String::new();
    for lines in &crew.typed {
        out = home.typed(words, lines).well();
        for line in out.lines().filter(|line| line.contains("chalkhand release ")) {
            let step = line.split_whitespace().skip_while(|w| *w != "EX-0001").nth(1).unwrap();
            let role = line.split("--role ").nth(1).unwrap().trim();
            let by = if role == "foreman" { "Foreman Example" } else { "Desk Example" };
            home.run(["release", "EX-0001", step, "--by", by, "--role", role]).well();
        }
    }
    assert!(out.contains("that was the last step"), "{id}: {out}");
    out
}

#[test]
fn a_further_walk_is_asked_for_and_has_its_own_entries_and_dates() {
    let home = home("\"site-survey\", \"deck-intake\", \"closing-inspection\"");
    home.typed(CLOSING, "where\n").well();
    let again = [&CLOSING[..], &["--again"]].concat();
    let err = home.run(&again).fails(1);
    assert!(err.contains("closing-inspection is open: finish it first"), "{err}");
    skip_through(&home, &CLOSING);
    let ended = home.typed(CLOSING, "where\n").well();
    assert!(
        ended.contains("(closing-inspection has ended; a further walk begins with:"),
        "{ended}"
    );
    assert!(ended.contains("chalkhand walk EX-0001 closing-inspection --again"), "{ended}");
    let second = home.typed(&again, "skip\nnot today\nyes\n").well();
    assert!(second.contains("(closing-inspection/2: walk 2"), "{second}");
    // From now on the plain command goes on with the second.
    let on = home.typed(CLOSING, "where\n").well();
    assert!(on.contains("closing-inspection/2") && on.contains("going on"), "{on}");
    let day = home.run(["day"]).well();
    assert!(day.contains("closing-inspection/2: walk begun"), "{day}");
    skip_through(&home, &CLOSING);
    let ics = home.path("f.ics");
    home.run(["calendar", "EX-0001", "-o", ics.to_str().unwrap()]).well();
    let ics = std::fs::read_to_string(&ics).unwrap().replace("\r\n ", "");
    assert_eq!(ics.matches("UID:EX-0001.closing-inspection.").count(), 14, "{ics}");
    assert_eq!(ics.matches("UID:EX-0001.closing-inspection/2.").count(), 14, "{ics}");
    let walks: Vec<String> = list(&record(&home), "checklists")
        .iter()
        .map(|walk| walk["walk"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(walks, ["site-survey", "deck-intake", "closing-inspection", "closing-inspection/2"]);
    let shown = home.run(["job", "show", "EX-0001"]).well();
    assert!(shown.contains("  closing-inspection/2: "), "{shown}");
    home.run(["sheet", "EX-0001"]).well();
}

/// Yesterday's is in the log; today's begins by itself.
#[test]
fn the_start_of_the_day_begins_each_day() {
    let home = home("\"site-survey\", \"start-of-day\", \"deck-intake\", \"closing-inspection\"");
    let mut store = Store::open(&home.path("data/log.sqlite")).unwrap();
    let job = store.job("EX-0001").unwrap().unwrap();
    let pin = job.pins.iter().find(|pin| pin.id == "start-of-day").unwrap();
    let at: At = "2026-01-05T07:30:00.000-05:00".parse().unwrap();
    store
        .append(
            &Draft {
                job: "EX-0001".to_owned(),
                walk: Some(WalkId::first("start-of-day")),
                at,
                by: "Installer Example".to_owned(),
                how: How::Program,
                confirmed: Vec::new(),
                what: What::WalkBegun { version: pin.version, hash: pin.hash },
                corrects: None,
                key: Key("yesterday".to_owned()),
            },
            None,
        )
        .unwrap();
    drop(store);
    let first = home.typed(DAY, "where\n").well();
    assert!(first.contains("start-of-day/2") && !first.contains("going on"), "{first}");
    let second = home.typed(DAY, "where\n").well();
    assert!(second.contains("start-of-day/2") && second.contains("going on"), "{second}");
    let day = home.run(["day"]).well();
    let day = day.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(day.contains("a later walk of it was begun"), "{day}");
}

#[test]
fn a_deviation_is_accepted_by_who_may_and_stays_in_the_record() {
    let home = home("\"site-survey\", \"deck-intake\", \"closing-inspection\"");
    home.typed(CLOSING, "skip\nno ladder today\nyes\n").well();
    let before = record(&home);
    let needs = |record: &Value, kind: &str| -> Vec<u64> {
        let all = list(record, "attention").iter().filter(|need| need["kind"] == kind);
        all.map(|need| need["entry_seq"].as_u64().unwrap()).collect()
    };
    let [seq] = needs(&before, "left-out")[..] else { panic!("{before:#}") };
    let entry = seq.to_string();
    let accept = |by: &str, entry: &str, reason: &str| {
        home.run(["accept", "EX-0001", entry, "--by", by, "--reason", reason])
    };
    let err = accept("Installer Example", &entry, "fine").fails(1);
    assert!(err.contains("Installer Example may not accept it"), "{err}");
    assert!(err.contains("foreman of job EX-0001, who is: Foreman Example"), "{err}");
    let err = accept("Foreman Example", "1", "fine").fails(1);
    assert!(err.contains("entry 1 of job EX-0001 shows no deviation"), "{err}");
    assert!(err.contains(&format!("those that do: {seq}")), "{err}");
    let err = accept("Foreman Example", &entry, "  ").fails(1);
    assert!(err.contains("say why it may stay"), "{err}");
    assert_eq!(needs(&record(&home), "left-out"), [seq], "nothing was accepted so far");
    let out = accept("Foreman Example", &entry, "I looked from the lift.").well();
    assert!(out.contains(&format!("accepted entry {seq}")) && out.contains("Left out"), "{out}");
    let after = record(&home);
    assert!(needs(&after, "left-out").is_empty(), "{after:#}");
    let told = list(&after, "deviations").iter().find(|d| d["entry_seq"] == seq).unwrap();
    assert_eq!(told["accepted"]["by"], "Foreman Example");
    assert_eq!(told["accepted"]["role"], "foreman");
    assert_eq!(told["accepted"]["reason"], "I looked from the lift.");
    let page = page(&home);
    assert!(page.contains("Deviations that were accepted"), "{page}");
    assert!(page.contains("no ladder today") && page.contains("I looked from the lift."));
    let err = accept("Foreman Example", &entry, "again").fails(1);
    assert!(err.contains("was accepted before, by Foreman Example"), "{err}");
    skip_through(&home, &CLOSING);
    let err = accept("Foreman Example", "1", "fine").fails(1);
    let (_, open) = err.trim().split_once("those that do: ").unwrap();
    let (first, more) = open.split_once(" and ").unwrap();
    let first: Vec<u64> = first.split(", ").map(|seq| seq.parse().unwrap()).collect();
    assert!(first.len() == 10 && first.is_sorted_by(|a, b| a < b), "{err}");
    assert!(more.ends_with(" more"), "{err}");
    let day = home.run(["day"]).well();
    let day = day.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(day.contains(&format!("entry {seq} accepted as foreman (skipped)")), "{day}");
}

fn open(home: &Home, more: &[&str]) -> String {
    let base = ["callback", "open", "EX-0001", "--caller", "Owner Example", "--by", "Desk Example"];
    home.run([&base[..], more].concat()).well()
}

#[test]
fn a_call_is_taken_down_shown_visited_and_closed() {
    let home = home("\"site-survey\", \"deck-intake\", \"closing-inspection\"");
    home.typed(
        ["walk", "EX-0001", "deck-intake", "--by", "Installer Example", "--keys", "--mute"],
        "done\nfit to work\nyes\n65\nyes\n",
    )
    .well();
    skip_through(&home, &CLOSING);
    assert!(home.run(["callback", "list"]).well().contains("no callback was ever opened"));
    let before = record(&home)["chain_head"]["entry_seq"].as_u64().unwrap();
    let opened = open(&home, &["--where", "Over the bedroom, north side", "--phone", "555-0111"]);
    assert!(opened.contains("opened callback 1 of job EX-0001"), "{opened}");
    assert!(home.run(["find", "example"]).well().contains("1 open callback"));
    assert!(home.run(["callback", "list", "--open"]).well().contains("open, not visited"));

    // What the desk sees: the place first, the steps there before the others.
    let shown = home.run(["callback", "show", "EX-0001", "1"]).well();
    let line = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(line.contains("“Over the bedroom, north side”"), "{shown}");
    assert!(
        line.contains("plane 2: the caller said “north”, and on the plan that is plane 2 (faces)"),
        "{shown}"
    );
    assert!(line.contains("run 2: run 2 lies on plane 2"), "{shown}");
    let place = |words: &str| line.find(words).unwrap_or_else(|| panic!("{words}: {shown}"));
    let headings = [
        "Where water was said to come in",
        "Waterproofing steps",
        "Deviations",
        "Photos",
        "Who was there",
        "What was promised",
    ];
    assert!(headings.is_sorted_by_key(|words| place(words)), "{shown}");
    assert!(place("Run 2: Ends of the run") < place("Run 1: Ends of the run"), "{shown}");
    assert!(line.contains("Foreman Example (foreman)"), "{shown}");
    assert!(line.contains("left out, and nobody accepted it; at the place: run 2"), "{shown}");
    assert!(line.contains("Weather (deck-intake): fit to work"), "{shown}");
    assert!(line.contains("Temperature (deck-intake): 65"), "{shown}");
    assert!(line.contains("It finds no cause"), "{shown}");
    let json = home.run(["callback", "show", "EX-0001", "1", "--json"]).well();
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["format"], "chalkhand-callback/1");
    let first = &list(&json, "waterproofing")[0];
    assert!(first["rank"].as_str().unwrap().starts_with("look first"), "{first}");
    assert!(first["step"].as_str().unwrap().ends_with("#2"), "{first}");
    assert!(!list(&json, "promised").is_empty());

    // The visit: pinned by an entry of its own, linked to the call.
    let visit =
        ["callback", "visit", "EX-0001", "1", "--by", "Installer Example", "--keys", "--mute"];
    let out = home.typed(visit, "where\n").well();
    assert!(out.contains("pinned leak-visit@1.0.0"), "{out}");
    assert!(out.contains("visit of callback 1: the walk leak-visit"), "{out}");
    let close = |more: &[&str]| {
        let base = ["callback", "close", "EX-0001", "1", "--by", "Desk Example", "--finding"];
        home.run([&base[..], more].concat())
    };
    let err = close(&["a lifted end"]).fails(1);
    assert!(err.contains("its visit leak-visit is open"), "{err}");
    open(&home, &["--where", "in the kitchen", "--plane", "1"]);
    let other =
        ["callback", "visit", "EX-0001", "2", "--by", "Installer Example", "--keys", "--mute"];
    let err = home.run(other).fails(1);
    assert!(err.contains("leak-visit of callback 1 is open: finish it first"), "{err}");
    let again = walk_through(&home, "leak-visit", &visit);
    assert!(!again.contains("pinned"), "{again}");

    let err = close(&["a lifted end", "--step", "roof-light"]).fails(1);
    assert!(err.contains("no checklist of job EX-0001 has a step `roof-light`"), "{err}");
    let err = close(&[" "]).fails(1);
    assert!(err.contains("say what was found"), "{err}");
    let out = close(&[
        "a lifted end",
        "--cause",
        "no sealant",
        "--done",
        "sealed and nailed",
        "--step",
        "cover-ends#2",
        "--warranty",
        "under",
    ])
    .well();
    assert!(
        out.contains("goes back to deck-intake:cover-ends#2; said to be under warranty"),
        "{out}"
    );
    let err = close(&["another"]).fails(1);
    assert!(err.contains("callback 1 was closed"), "{err}");
    let open_now = home.run(["callback", "list", "--open"]).well();
    assert!(open_now.contains("in the kitchen") && !open_now.contains("bedroom"), "{open_now}");

    // The second call's visit is the second walk.
    let out = home.typed(other, "where\n").well();
    assert!(out.contains("the walk leak-visit/2"), "{out}");

    let record = record(&home);
    let calls = list(&record, "callbacks");
    assert_eq!(calls.len(), 2);
    assert_eq!(calls[0]["closed"]["warranty"], "under");
    assert_eq!(calls[0]["visits"][0]["walk"], "leak-visit");
    assert_eq!(calls[0]["addendum"]["follows"]["entry_seq"], before);
    assert_eq!(calls[0]["addendum"]["from_entry"], before + 1);
    assert_eq!(calls[0]["addendum"]["to_entry"], calls[0]["closed"]["entry_seq"]);
    assert!(20 < list(&calls[0], "entries").len());
    assert!(list(&record, "pins").iter().any(|pin| pin["id"] == "leak-visit"));
    let page = page(&home);
    assert!(page.contains("What was reported and found at leak calls"), "{page}");
    assert!(page.contains("sealed and nailed") && page.contains("Addendum: entries"));
    let day = home.run(["day"]).well();
    let day = day.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(day.contains("callback 1: water was said to come in at “Over the bedroom"), "{day}");
    assert!(day.contains("callback 1 closed; found: a lifted end"), "{day}");
    assert!(home.run(["doctor"]).out.contains("the chain holds"));
}

#[test]
fn what_a_call_lacks_is_told() {
    let home = Home::with_job();
    let base = ["callback", "open", "EX-0001", "--by", "Desk Example", "--caller", "Owner Example"];
    let fails = |more: &[&str]| home.run([&base[..], more].concat()).fails(1);
    assert!(fails(&["--where", " "]).contains("say where water came in"));
    assert!(
        fails(&["--where", "here", "--plane", "7"]).contains("no plane 7; its planes are 1 to 2")
    );
    assert!(fails(&["--where", "here", "--reported", "2999-01-01"]).contains("is to come"));
    assert!(fails(&["--where", "here", "--reported", "May"]).contains("`May` is no day"));
    let err = home.run(["callback", "show", "EX-0001", "1"]).fails(1);
    assert!(err.contains("job EX-0001 has no callback yet"), "{err}");
    open(&home, &["--where", "somewhere in the house"]);
    let err = home.run(["callback", "show", "EX-0001", "9"]).fails(1);
    assert!(err.contains("it has: 1"), "{err}");
    let shown = home.run(["callback", "show", "EX-0001", "1"]).well();
    assert!(shown.contains("every row counts alike"), "{shown}");
}

/// What stands on the plan where the caller saw water: a chimney is on a plane,
/// and a run lies on that plane.
#[test]
fn a_thing_on_a_plane_leads_to_the_runs_there() {
    let home = Home::with_job();
    open(&home, &["--where", "below the window", "--edge", "chimney"]);
    let shown = home.run(["callback", "show", "EX-0001", "1"]).well();
    let line = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(line.contains("obstruction 1: the caller said “chimney”"), "{shown}");
    assert!(line.contains("plane 1: obstruction 1 is on plane 1"), "{shown}");
    assert!(line.contains("run 1: run 1 lies on plane 1"), "{shown}");
    assert!(!line.contains("run 2 lies"), "{shown}");
}

#[test]
fn the_summary_counts_and_gives_no_share_of_few() {
    let home = home("\"site-survey\", \"deck-intake\", \"closing-inspection\"");
    home.typed(CLOSING, "skip\nno ladder\nyes\n").well();
    open(&home, &["--where", "at the ridge"]);
    let none = home.run(["callback", "summary"]).well();
    assert!(none.contains("Invented examples left out: 1"), "{none}");
    assert!(none.contains("Jobs with a call: 0 of 0 jobs."), "{none}");
    let close =
        ["callback", "close", "EX-0001", "1", "--by", "Desk Example", "--finding", "a nail"];
    home.run([&close[..], &["--step", "closing-inspection:safe-access"]].concat()).well();
    let out = home.run(["callback", "summary", "--invented"]).well();
    assert!(out.contains("Calls: 1, of which 0 open."), "{out}");
    assert!(out.contains("closing-inspection:safe-access"), "{out}");
    assert!(out.contains("closing-inspection 1.1.1: 1 of 1 job"), "{out}");
    assert!(out.contains("with a deviation: 1 of 1 job") && !out.contains('%'), "{out}");
    assert!(out.contains("A percentage is given from 20 jobs on"), "{out}");
    let json = home.run(["callback", "summary", "--invented", "--json"]).well();
    let json: Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["by_step"][0]["with_call"], 1);
    assert!(json["all"].get("percent").is_none());
}

/// Counted by hand: 21 jobs, of which seven had a call.
#[test]
fn a_share_is_given_of_enough_jobs() {
    use chalkhand::domain::tally::{Count, JobTally, Tally};
    let version = || "1.0.0".parse().unwrap();
    let job = |called: bool, deviates: bool| JobTally {
        versions: [("deck-intake".to_owned(), version())].into(),
        calls: u32::from(called),
        deviates,
        ..JobTally::default()
    };
    let jobs = (0..21).map(|n| job(n < 7, n < 10));
    let nothing_walked = JobTally { calls: 1, ..JobTally::default() };
    let invented = JobTally { invented: true, ..job(true, true) };
    let tally = Tally::of(jobs.chain([nothing_walked, invented]), false);
    assert_eq!(tally.all, Count { with_call: 7, jobs: 21 });
    assert_eq!((tally.calls, tally.invented), (8, 1));
    assert_eq!(tally.all.percent(), Some(33));
    assert_eq!(tally.deviating, Count { with_call: 7, jobs: 10 });
    assert_eq!(tally.deviating.percent(), None);
    assert_eq!(tally.as_written, Count { with_call: 0, jobs: 11 });
    assert_eq!(Count { with_call: 1, jobs: 19 }.percent(), None);
    assert_eq!(Count { with_call: 1, jobs: 20 }.percent(), Some(5));
    assert_eq!(Count { with_call: 0, jobs: 0 }.percent(), None);
}
