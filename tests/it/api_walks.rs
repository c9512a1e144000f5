//! Walks over the HTTP interface: taken up, answered once, the same as on the screen.

use chalkhand::domain::{How, What};
use serde_json::json;

use crate::api::{JOB, key};
use crate::day_pages::{count, since};
use crate::pages::{invited, office};
use crate::program::Home;
use crate::serve::Daemon;

#[test]
fn a_walk_is_taken_up_and_answered_as_on_the_screen() {
    let home = Home::with_job();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    let program = key(&mut office, "Installer Example");
    let path = format!("{JOB}/walks/deck-intake");
    let before = count(&home);
    program.get(&path).is(404, "not-found");
    assert_eq!(count(&home), before, "reading begins nothing");
    let taken = program.post(&path, &json!({}));
    assert_eq!(taken.status, 200, "{}", taken.json());
    let shown = taken.json();
    assert_eq!((&shown["job"], &shown["step"]["number"]), (&json!("EX-0001"), &json!(1)));
    assert_eq!(program.get(&path).json()["question"], shown["question"]);
    assert_eq!(program.post(&path, &json!({})).json()["question"], shown["question"]);
    program.post(&path, &json!({ "again": true })).is(409, "does-not-go");
    program.post(&format!("{JOB}/walks/none"), &json!({})).is(404, "not-found");

    // It is the walk of the person's screen.
    let page = crew.get("/roof/EX-0001/deck-intake");
    assert!(page.body.contains(shown["step"]["title"].as_str().unwrap()), "{page:?}");
    let answers = format!("{path}/answers");
    let question = shown["question"].as_str().unwrap();
    let answer = |id: &str, question: &str, meaning: &str| {
        program.post(&answers, &json!({ "id": id, "question": question, "meaning": meaning }))
    };
    answer("a", "another question", "step-done").is(409, "changed-meanwhile");
    answer("b", question, "no-such-meaning").is(422, "unusable");
    answer("", question, "step-done").is(422, "unusable");
    answer(&"x".repeat(65), question, "step-done").is(422, "unusable");
    let before = count(&home);
    let took = answer("once", question, "pause");
    assert_eq!((took.status, &took.json()["became"]), (200, &json!("taken")), "{}", took.json());
    let now = took.json()["shown"].clone();
    assert_ne!(now["question"], shown["question"]);
    let between = count(&home);
    assert_eq!(between, before + 1, "what it logs is on the disk before it is told");
    // The answer was lost: the same one twice is one.
    assert_eq!(answer("once", question, "pause").status, 200);
    assert_eq!(count(&home), between);
    answer("late", question, "pause").is(409, "changed-meanwhile");
}

/// A survey question answered over HTTP is an entry by touch, as on the screen.
#[test]
fn what_is_answered_is_logged_before_it_is_told() {
    let home = Home::with_job();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    invited(&mut office, "Installer Example", &["installer"]);
    let program = key(&mut office, "Installer Example");
    let path = format!("{JOB}/walks/deck-intake");
    let mut shown = program.post(&path, &json!({})).json();
    let before = count(&home);
    for n in 0..30 {
        let has = |meaning: &str| {
            shown["commands"].as_array().unwrap().iter().any(|c| c["meaning"] == meaning)
        };
        let (meaning, value) = match shown["answer"]["kind"].as_str().unwrap() {
            _ if has("step-done") => ("step-done", None),
            _ if has("photo-taken") => ("photo-taken", None),
            _ if has("yes") => ("yes", None),
            "choice" => ("choice", Some("0")),
            "count" => ("count", Some("4")),
            "length" => ("length", Some("5 in")),
            "words" => ("words", Some("two nails bent")),
            other => panic!("{other}: {shown}"),
        };
        let mut body =
            json!({ "id": format!("n{n}"), "question": shown["question"], "meaning": meaning });
        if let Some(value) = value {
            body["value"] = json!(value);
        }
        let told = program.post(&format!("{path}/answers"), &body);
        assert_eq!(told.status, 200, "{body} {}", told.json());
        shown = told.json()["shown"].clone();
        let answered = since(&home, before).into_iter();
        let mut answered = answered.filter(|e| matches!(e.draft.what, What::Answered { .. }));
        if let Some(entry) = answered.next_back() {
            assert_eq!(shown["logged"]["seq"], json!(entry.seq));
            assert_eq!(
                (&entry.draft.how, entry.draft.by.as_str()),
                (&How::Http, "Installer Example")
            );
            return;
        }
    }
    panic!("nothing was logged: {shown}");
}
