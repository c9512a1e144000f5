//! A walk by voice in a real Chromium: the microphone of the page, the sound by
//! its socket, speech back through the page. Recordings (synthetic, espeak-ng) are
//! played into the microphone; the browser's own fake one is tried beside it.

use std::collections::BTreeMap;

use chalkhand::domain::{Given, How, What};
use chalkhand::speech;
use serde_json::{Value, json};

use crate::browser::CHROMIUM;
use crate::outside;
use crate::pages::{Browser, invited, office};
use crate::program::models_are_there;
use crate::roof::{PATH, entries, short};
use crate::serve::Daemon;

const ANSWERS: [&str; 11] = [
    "photo taken",
    "step done",
    "four and a half inches",
    "yes that is right",
    "twelve",
    "yes that is right",
    "dry",
    "yes that is right",
    "step done",
    "the deck is dry and clean",
    "yes that is right",
];

fn walks(browser: &Browser<'_>, more: &Value) -> Option<Value> {
    let folder = outside::folder("a walk by voice in a real browser")?;
    if !models_are_there() {
        return None;
    }
    let mut asked = json!({
        "chromium": CHROMIUM,
        "base": format!("http://{}", browser.daemon.page),
        "path": PATH,
        "cookie": browser.cookie,
        "button": "Answer by voice",
        "off": "Stop the voice",
        "shots": std::env::var("CHALKHAND_LOOK").ok(),
    });
    asked.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    let told = outside::run(&folder, "voice_walk.mjs", &asked.to_string());
    Some(serde_json::from_str(&told).unwrap())
}

#[test]
fn a_crew_walks_by_voice_in_the_browser() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let crew = invited(&mut office, "Installer Example", &["installer"]);
    let mut recorded = BTreeMap::new();
    let phrases: Vec<String> = speech::check_phrases().into_iter().map(|one| one.words).collect();
    for words in phrases.iter().map(String::as_str).chain(ANSWERS) {
        let path = home.path(&format!("{}.wav", words.replace(' ', "-")));
        chalkhand::voice::render(words, "en-us", 150, &path).expect("espeak-ng is there");
        recorded.insert(words.to_owned(), path);
    }
    let more = json!({"recorded": recorded, "answers": ANSWERS});
    let Some(told) = walks(&crew, &more) else { return };
    assert_eq!(told["errors"], json!([]), "{told:#}");
    assert_eq!(told["asked"].as_array().unwrap().last().unwrap(), "Every step is settled");
    let answers = entries(&home).into_iter().filter(|entry| entry.draft.what.step().is_some());
    let how: Vec<String> = answers
        .filter(|entry| entry.draft.how != How::Program)
        .map(|entry| entry.draft.how.word().to_owned())
        .collect();
    assert_eq!(how, vec!["voice"; how.len()], "{told:#}");
    // What was read back was confirmed by voice; the caution stood on the page before the
    // phone was put on.
    let (mut confirmed, mut cautioned) = (0, 0);
    for entry in entries(&home) {
        match &entry.draft.what {
            What::Answered { given: Given::Done, .. } => {}
            What::Answered { .. } => {
                let yes = entry.draft.confirmed.last().and_then(How::heard).expect("a yes");
                assert!(yes.words.to_lowercase().contains("yes"), "{entry:?}");
                assert_ne!(Some(yes.sound), entry.draft.how.heard().map(|heard| heard.sound));
                confirmed += 1;
            }
            What::Cautioned { spoken, .. } => {
                assert_eq!(*spoken, Some(false), "{entry:?}");
                cautioned += 1;
            }
            _ => {}
        }
    }
    assert_eq!((confirmed, cautioned), (4, 1), "{told:#}");
    println!("from the end of speech to the reply, in milliseconds: {}", told["late_ms"]);
}

#[test]
fn the_browsers_own_microphone_is_heard() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let crew = invited(&mut office, "Installer Example", &["installer"]);
    let Some(told) = walks(&crew, &json!({})) else { return };
    assert_eq!(told["errors"], json!([]), "{told:#}");
    assert!(told["states"][0].as_str().unwrap().contains("Hearing check"), "{told:#}");
}
