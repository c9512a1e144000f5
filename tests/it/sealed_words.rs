//! Words that a record holds for people: another version of the program may word
//! them otherwise, and nothing else.

use chalkhand::domain::{
    Call, DeviationKind, Finding, How, Json, Keeps, NamedStep, RowRef, WalkId, Warranty, What,
};
use chalkhand::export::check::Part;

use crate::example;
use crate::sealed::{
    again, at, checked, fails, key, leaves, list, logged_of, object, sealed, sealed_of, told,
};

/// Words that another version of the program makes may differ; values may not.
#[test]
fn another_version_may_word_it_otherwise() {
    let mut document = sealed();
    *at(&mut document, "log.program") = "chalkhand 0.0.9".into();
    let line = "notes.0.text";
    let steps = list(at(&mut document, "checklists.1.steps")).clone();
    let step = steps.iter().position(|step| step.get("settled").is_some()).unwrap();
    let shown = format!("checklists.1.steps.{step}.settled.line");
    *at(&mut document, &shown) = "worded otherwise".into();
    let document = again(document, &key(1));
    assert!(checked(&document).holds(), "{}", told(&checked(&document)));
    let mut changed = document;
    *at(&mut changed, line) = "another note".into();
    fails(&again(changed, &key(1)), Part::Shown, "`notes[0].text`");
}

/// The example with an accepted deviation, a leak call that was closed, another
/// that is open, and an ear that was open: every member with words of its own.
fn sealed_with_words() -> Json {
    let mut log = example::Log { job: example::job().number, entries: example::entries() };
    let (f, walk) = ("F. Foreman", Some("deck-intake"));
    let off = log.entries.iter().find(|entry| match &entry.draft.what {
        What::Answered { step, .. } => step.id == "seal",
        _ => false,
    });
    let (entry, step) = (off.unwrap().seq, off.unwrap().draft.what.step().unwrap().clone());
    let (kinds, role) = (vec![DeviationKind::OffTarget], "foreman".to_owned());
    let reason = "it will be warm tomorrow".to_owned();
    let accepted = What::Accepted { entry, step: step.clone(), kinds, role, reason };
    log.add(walk, "11:00:00.000", f, How::Keys, accepted);
    let (source, keeps) = ("headset".to_owned(), Keeps::Notes);
    log.add(walk, "11:01:00.000", f, How::Program, What::EarOpened { source, keeps, check: None });
    log.add(walk, "11:02:00.000", f, How::Program, What::EarClosed);
    let call = |id| Call {
        id,
        reported: example::at("11:00:00.000").date(),
        water: "over the porch".to_owned(),
        rows: vec![RowRef { table: "run".to_owned(), row: 1 }],
        edge: Some("valley".to_owned()),
        caller: "O. Householder".to_owned(),
        phone: Some("555-0111".to_owned()),
    };
    let opened = |id| What::CallbackOpened(Box::new(call(id)));
    log.add(None, "12:00:00.000", f, How::Command, opened(1));
    let visit = WalkId::first("leak-visit");
    log.add(None, "12:10:00.000", f, How::Command, What::CallbackVisited { id: 1, visit });
    let finding = Finding {
        id: 1,
        found: "a nail without sealant".to_owned(),
        cause: Some("it was forgotten".to_owned()),
        done: None,
        steps: vec![NamedStep { checklist: "deck-intake".to_owned(), step }],
        warranty: Warranty::Under,
        visit_left_open: None,
    };
    log.add(None, "12:30:00.000", f, How::Command, What::CallbackClosed(Box::new(finding)));
    log.add(None, "12:40:00.000", f, How::Command, opened(2));
    let (file, tree) = logged_of(log.entries);
    sealed_of(&file, &tree, &key(1)).json
}

/// Members with words made for a person, and whether the entries alone say them:
/// elsewhere a checklist has its part in them.
const WORDS: [(&str, bool); 9] = [
    ("line", false),
    ("shown", false),
    ("lines", true),
    ("sentence", false),
    ("asked_for", true),
    ("accepted_shown", true),
    ("water_shown", true),
    ("caller_shown", true),
    ("found_shown", true),
];

/// Each of them worded otherwise, or not there yet, one after another: another
/// version may do so, the same version never.
#[test]
fn all_words_for_people_may_be_another_versions() {
    let document = sealed_with_words();
    assert!(checked(&document).holds(), "{}", told(&checked(&document)));
    let mut older = document.clone();
    *at(&mut older, "log.program") = "chalkhand 0.0.9".into();
    let mut places = Vec::new();
    leaves(&document, "", &mut places);
    for (name, from_entries) in WORDS {
        let is_it = |place: &&String| {
            let mut parts = place.rsplit('.').filter(|part| part.parse::<usize>().is_err());
            !place.starts_with("log.") && parts.next() == Some(name)
        };
        let found: Vec<&String> = places.iter().filter(is_it).collect();
        assert!(!found.is_empty(), "the example has no `{name}`");
        for place in found {
            let edited = |document: &Json| {
                let mut edited = document.clone();
                *at(&mut edited, place) = "worded otherwise".into();
                checked(&again(edited, &key(1)))
            };
            let report = edited(&older);
            assert!(report.holds(), "{place}: {}", told(&report));
            assert!(!from_entries || !edited(&document).holds(), "{place} was changed");
        }
    }
    // No version says what was found at a call that is open.
    for mut says in [document, older.clone()] {
        object(at(&mut says, "callbacks.1")).insert("found_shown", "nothing".into());
        fails(&again(says, &key(1)), Part::Shown, "`callbacks[2].found_shown`");
    }
    // An older one had none of those that came later.
    let older = again(without(&older, &["asked_for", "accepted_shown", "water_shown"]), &key(1));
    assert!(checked(&older).holds(), "{}", told(&checked(&older)));
    // What they are made of may not differ.
    for place in ["callbacks.0.water", "callbacks.0.closed.found", "callbacks.0.visits.0.by"] {
        let mut changed = older.clone();
        *at(&mut changed, place) = "another".into();
        fails(&again(changed, &key(1)), Part::Shown, "is not what the entries say");
    }
}

/// The document without members of these names, outside the log.
fn without(json: &Json, names: &[&str]) -> Json {
    match json {
        Json::Object(members) => {
            let kept = members.iter().filter(|(name, _)| !names.contains(name));
            let kept = kept.map(|(name, value)| match name {
                "log" => (name, value.clone()),
                _ => (name, without(value, names)),
            });
            Json::Object(kept.collect())
        }
        Json::List(items) => Json::List(items.iter().map(|item| without(item, names)).collect()),
        other => other.clone(),
    }
}
