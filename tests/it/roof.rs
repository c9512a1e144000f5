//! The roof screen through the real daemon: by forms alone, and by its socket.

use std::net::TcpStream;
use std::time::{Duration, Instant};

use chalkhand::domain::{Entry, Given, How, What};
use chalkhand::store::Store;
use serde_json::{Value, json};
use tungstenite::handshake::client::generate_key;
use tungstenite::{Message, WebSocket, http};

use crate::pages::{Browser, Page, invited, invited_reading, office};
use crate::program::Home;
use crate::serve::Daemon;

pub(crate) const PATH: &str = "/roof/SW-1/short-walk";

pub(crate) const CHECKLIST: &str = r#"
id = "short-walk"
version = "1.0.0"
title = "A short walk"
yields_to = "everything else"
sources = ["invented for a test"]

[cautions.eyes]
say = "Glasses on."
source = "invented for a test"

[measures]
nail_line = "4 1/2 in"

[[step]]
id = "wear"
title = "Wear"
say = "Glasses & gloves on."
why = "Eyes do not grow again."
caution = ["eyes"]
photo = 1

[[step]]
id = "line"
title = "Nail line"
say = "Snap the line {nail_line} up. Read me the mark."
answer = { measure = "nail_line", tolerance = "1/16 in" }
tags = ["layout"]

[[step]]
id = "nails"
title = "Nails"
say = "How many nails?"
answer = { count = true }

[[step]]
id = "look"
title = "Look"
say = "How is the deck?"
answer = { choice = ["dry", "wet"], wanted = ["dry"] }

[[step]]
id = "cut"
title = "Cut"
say = "Cut the slot."
tags = ["cut"]
point = { kind = "hold", role = "foreman", when = "off_target(look)" }

[[step]]
id = "left"
title = "Left to say"
say = "What is left to say?"
answer = "note"
"#;

pub(crate) const JOB: &str = r#"
number = "SW-1"
address = "1 Example Lane, Sampletown"
owner = "Owner Example"
company = "Example Roofing Company"
time_zone = "America/New_York"
code_edition = "IRC 2021"
units = "us"
invented = true
checklists = ["short-walk"]
[[people]]
name = "Foreman Example"
role = "foreman"
"#;

/// With the short walk's job open.
pub(crate) fn short() -> Home {
    let home = Home::new();
    let checklist = home.write("short-walk.toml", CHECKLIST);
    home.run(["checklist", "adopt", checklist.to_str().unwrap()]).well();
    let job = home.write("job.toml", JOB);
    home.run(["job", "open", job.to_str().unwrap()]).well();
    home
}

pub(crate) fn entries(home: &Home) -> Vec<Entry> {
    Store::open(&home.path("data/log.sqlite")).unwrap().entries("SW-1", 0).unwrap()
}

/// The answers and photos by hand, as step and what was given.
fn by_hand(home: &Home) -> Vec<(String, String)> {
    let entries = entries(home);
    let given = entries.iter().filter(|entry| entry.draft.how == How::Touch);
    let given = given.map(|entry| match &entry.draft.what {
        What::Answered { step, given, .. } => (step.to_string(), format!("{given:?}")),
        what => (what.step().map(ToString::to_string).unwrap_or_default(), what.word().to_owned()),
    });
    given.collect()
}

pub(crate) fn field<'a>(page: &'a Page, name: &str) -> &'a str {
    let (_, rest) = page.body.split_once(&format!("name=\"{name}\" value=\"")).unwrap();
    rest.split('"').next().unwrap()
}

/// Sends an answer to what the page asks, as its form would.
fn answer(browser: &mut Browser<'_>, page: &Page, meaning: &str, value: &str) -> Page {
    let (id, question) = (field(page, "id").to_owned(), field(page, "question").to_owned());
    let fields = [("id", &id[..]), ("question", &question), ("meaning", meaning), ("value", value)];
    browser.send(&format!("{PATH}/answer"), &fields)
}

/// The same where it is taken; gives the page that follows.
pub(crate) fn goes(browser: &mut Browser<'_>, page: &Page, meaning: &str, value: &str) -> Page {
    let sent = answer(browser, page, meaning, value);
    assert_eq!((sent.status, sent.to()), (303, PATH), "{sent:?}");
    browser.get(PATH)
}

pub(crate) fn until(what: &str, mut is: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !is() {
        assert!(begun.elapsed() < Duration::from_secs(20), "not within 20 s: {what}");
        std::thread::sleep(Duration::from_millis(100));
    }
}

#[test]
fn a_walk_by_forms_alone_from_begin_to_end() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    let page = crew.get(PATH);
    for part in
        ["Glasses &amp; gloves on.", "Glasses on.", "Step 1 of 6", "step done", "Photos wanted: 1"]
    {
        assert!(page.body.contains(part), "{part}: {page:?}");
    }
    assert!(page.body.contains("Next: Nail line") && page.body.contains("Eyes do not grow again."));
    assert!(!page.body.contains("<script>") && !page.body.contains("style="), "nothing inline");

    let page = goes(&mut crew, &page, "photo-taken", "");
    assert!(page.body.contains("Logged.") && !page.body.contains("Photos wanted"), "{page:?}");
    let page = goes(&mut crew, &page, "step-done", "");
    assert!(page.body.contains("Snap the line 4 1/2&quot; up."), "{page:?}");
    assert!(page.body.contains("Layout (chalk blue)"), "a word says which line it is");

    // Off its target: read back, told, and logged with a reason only.
    let page = goes(&mut crew, &page, "length", "4 3/4 in");
    assert!(page.body.contains("4 3/4&quot;, off target; right?"), "{page:?}");
    let page = goes(&mut crew, &page, "no", "");
    let page = goes(&mut crew, &page, "length", "4 3/4 in");
    let page = goes(&mut crew, &page, "yes", "");
    assert!(page.body.contains("1/4&quot; more than 4 1/2&quot;"), "{page:?}");
    assert!(page.body.contains("measure again") && page.body.contains("log it as it is"));
    let page = goes(&mut crew, &page, "log-as-is", "");
    let page = goes(&mut crew, &page, "words", "the line was there");
    assert!(page.body.contains("I heard: the line was there. Right?"), "{page:?}");
    assert_eq!(by_hand(&home).len(), 2, "nothing is logged before the yes");
    let page = goes(&mut crew, &page, "yes", "");
    let seq = entries(&home).last().unwrap().seq;
    assert!(page.body.contains(&format!("entry {seq}: Nail line")), "{page:?}");

    let page = goes(&mut crew, &page, "count", "12");
    let page = goes(&mut crew, &page, "yes", "");
    let page = goes(&mut crew, &page, "choice 1", "");
    let page = goes(&mut crew, &page, "yes", "");
    let page = goes(&mut crew, &page, "log-as-is", "");
    let page = goes(&mut crew, &page, "words", "rain");
    let page = goes(&mut crew, &page, "yes", "");
    // The hold point waits, whatever is sent, until the foreman releases it.
    assert!(page.body.contains("Waits for the foreman since 20"), "{page:?}");
    let refused = answer(&mut crew, &page, "step-done", "");
    assert!(refused.status == 422 && refused.body.contains("no answer to this question"));
    home.run(["release", "SW-1", "cut", "--by", "Foreman Example", "--role", "foreman"]).well();
    let mut page = page;
    until("the hold point goes on", || {
        page = crew.get(PATH);
        page.body.contains("Cut the slot.")
    });
    assert!(page.body.contains("Released by Foreman Example.") && page.body.contains("chalk red"));
    let page = goes(&mut crew, &page, "step-done", "");
    let page = goes(&mut crew, &page, "words", "swept");
    let page = goes(&mut crew, &page, "yes", "");
    assert!(page.body.contains("Every step is settled"), "{page:?}");
    assert!(page.body.contains("for the foreman to look at: 2."), "{page:?}");

    let logged = by_hand(&home);
    let steps: Vec<&str> = logged.iter().map(|(step, _)| step.as_str()).collect();
    assert_eq!(steps, ["wear", "wear", "line", "nails", "look", "cut", "left"]);
    assert_eq!(logged[3].1, format!("{:?}", Given::Counted(12)));
    assert_eq!(logged[4].1, format!("{:?}", Given::Chosen("wet".to_owned())));
    assert!(entries(&home).iter().any(|entry| entry.draft.what.word() == "walk-ended"));
    assert!(entries(&home).iter().all(|entry| entry.draft.how != How::Keys));

    // The last step can be corrected, and the checklist walked once more.
    let page = goes(&mut crew, &page, "was-wrong", "");
    assert!(page.body.contains("Correcting Left to say."), "{page:?}");
    let page = goes(&mut crew, &page, "words", "swept twice");
    let page = goes(&mut crew, &page, "yes", "");
    assert!(page.body.contains("Every step is settled"), "{page:?}");
    let corrected = entries(&home).into_iter().filter(|entry| entry.draft.corrects.is_some());
    let corrected: Vec<How> = corrected.map(|entry| entry.draft.how).collect();
    assert_eq!(corrected, [How::Touch]);
    assert_eq!(crew.send(&format!("{PATH}/again"), &[]).to(), PATH);
    let page = crew.get(PATH);
    assert!(page.body.contains("walk 2 of it") && page.body.contains("Step 1 of 6"), "{page:?}");
    let again = crew.send(&format!("{PATH}/again"), &[]);
    assert!(again.status == 422, "{again:?}");
    home.run(["doctor"]);
}

#[test]
fn an_answer_counts_once_and_for_its_question_alone() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    let first = crew.get(PATH);
    let second = goes(&mut crew, &first, "step-done", "");
    assert!(second.body.contains("Snap the line"));
    // The same again, as a phone sends it that heard no reply.
    let again = answer(&mut crew, &first, "step-done", "");
    assert_eq!((again.status, again.to()), (303, PATH), "{again:?}");
    assert_eq!(by_hand(&home).len(), 1);
    // The old question under a new name, and one nobody asked.
    for (id, question) in
        [("x1", field(&first, "question")), ("x2", ""), ("x3", "step:line:000000000000")]
    {
        let fields = [("id", id), ("question", question), ("meaning", "step-done")];
        let page = crew.send(&format!("{PATH}/answer"), &fields);
        assert!(page.status == 409 && page.body.contains("Something else is asked"), "{page:?}");
    }
    // A yes to one value is none to another.
    let four = goes(&mut crew, &second, "length", "4 1/2 in");
    let asked = goes(&mut crew, &four, "no", "");
    let five = goes(&mut crew, &asked, "length", "5 in");
    assert_ne!(field(&four, "question"), field(&five, "question"));
    let fields = [("id", "x4"), ("question", field(&four, "question")), ("meaning", "yes")];
    assert_eq!(crew.send(&format!("{PATH}/answer"), &fields).status, 409);
    assert_eq!(by_hand(&home).len(), 1);
    // What is no answer is refused and nothing moves.
    for (meaning, value) in
        [("step-done", ""), ("length", "5 in"), ("choice", "0"), ("", ""), ("call-me", "x")]
    {
        assert_eq!(answer(&mut crew, &five, meaning, value).status, 422, "{meaning}");
    }
    let asked = goes(&mut crew, &five, "no", "");
    assert_eq!(answer(&mut crew, &asked, "length", "  ").status, 422);
    assert_eq!(answer(&mut crew, &asked, "length", &"9".repeat(2_001)).status, 422);
    let page = goes(&mut crew, &asked, "length", "about five");
    assert!(page.body.contains("I cannot take that"), "{page:?}");
    assert_eq!(field(&page, "question"), field(&asked, "question"), "the same question");
    assert_eq!(by_hand(&home).len(), 1);
}

#[test]
fn a_killed_daemon_loses_no_entry_and_goes_on() {
    let home = short();
    let mut daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let crew = invited(&mut office, "Installer Example", &["installer"]);
    let (cookie, mut old) = (crew.cookie.clone(), None);
    drop((office, crew));
    for (meaning, value, logged) in [
        ("step-done", "", true),
        ("length", "4 1/2 in", false),
        ("length", "4 1/2 in", false),
        ("choice 0", "", false),
    ] {
        let mut crew = Browser::new(&daemon);
        crew.cookie.clone_from(&cookie);
        let page = crew.get(PATH);
        if let Some(old) = &old {
            // What was sent before it was killed and is sent once more.
            let again = answer(&mut crew, old, "step-done", "");
            assert_eq!(again.status, 409, "{again:?}");
        }
        let before = by_hand(&home).len();
        let sent = answer(&mut crew, &page, meaning, value);
        // The choice is no answer to the line: the same step is asked after each.
        let taken = if meaning.starts_with("choice") { 422 } else { 303 };
        assert_eq!(sent.status, taken, "{sent:?}");
        assert_eq!(by_hand(&home).len(), before + usize::from(logged));
        old.get_or_insert(page);
        drop(crew);
        drop(daemon);
        daemon = Daemon::start(&home);
    }
    assert_eq!(by_hand(&home), [("wear".to_owned(), format!("{:?}", Given::Done))]);
    home.run(["doctor"]);
}

#[test]
fn who_may_not_walk_is_refused_everywhere() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    desk.get("/you");
    assert_eq!(desk.get(PATH).status, 403);
    for path in ["answer", "again"] {
        assert_eq!(desk.send(&format!("{PATH}/{path}"), &[]).status, 403, "{path}");
    }
    assert_eq!(connect(&desk, PATH, None).err(), Some(403));
    assert_eq!(connect(&Browser::new(&daemon), PATH, None).err(), Some(401));
    assert!(entries(&home).iter().all(|entry| entry.draft.walk.is_none()), "nothing began");
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    for path in ["/roof/SW-1/nosuch", "/roof/NO-1/short-walk"] {
        assert_eq!(crew.get(path).status, 404, "{path}");
    }
    for origin in ["http://evil.example", "null", ""] {
        assert_eq!(connect(&crew, PATH, Some(origin)).err(), Some(403), "{origin}");
    }
    // A guess of the browser begins nothing.
    let headers = format!("Cookie: {}\r\nSec-Purpose: prefetch\r\n", crew.cookie);
    assert!(daemon.get_with(PATH, &headers).starts_with("HTTP/1.1 204"));
    assert!(entries(&home).iter().all(|entry| entry.draft.walk.is_none()), "nothing began");
}

#[test]
fn each_reads_it_in_his_own_language_and_units() {
    let home = Home::with_job();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let roles = &["installer"][..];
    let mut crew = invited_reading(&mut office, "Instalador Example", roles, "metric", "es");
    let page = crew.get("/roof/EX-0001/closing-inspection");
    for part in ["<html lang=\"es\">", "Paso 1 de", "paso terminado", "Cuidado", "tomar una nota"] {
        assert!(page.body.contains(part), "{part}: {page:?}");
    }
    assert!(!page.body.contains("step done") && !page.body.contains("Caution"), "{page:?}");
    drop(daemon);

    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = self::office(&daemon);
    let mut crew = invited_reading(&mut office, "Instalador Example", roles, "metric", "es");
    let page = crew.get(PATH);
    assert!(page.body.contains("no está traducida"), "{page:?}");
    assert!(page.body.contains("<p class=\"text\" lang=\"en\">"), "{page:?}");
    let page = goes(&mut crew, &page, "step-done", "");
    assert!(page.body.contains("milímetros") && page.body.contains("114"), "{page:?}");
    let page = goes(&mut crew, &page, "millimetres", "114");
    assert!(page.body.contains("114 mm, on target; right?"), "{page:?}");
    let page = goes(&mut crew, &page, "no", "");
    let page = goes(&mut crew, &page, "millimetres", "4 1/2 in");
    assert!(page.body.contains("on target; right?"), "{page:?}");
}

// --- by the socket -----------------------------------------------------------

pub(crate) type Socket = WebSocket<TcpStream>;

/// Opens the socket; the status where it is refused.
pub(crate) fn connect(
    browser: &Browser<'_>,
    path: &str,
    origin: Option<&str>,
) -> Result<Socket, u16> {
    let page = &browser.daemon.page;
    let here = format!("http://{page}");
    let request = http::Request::builder()
        .uri(format!("ws://{page}{path}/live"))
        .header("Host", page.as_str())
        .header("Origin", origin.unwrap_or(&here))
        .header("Cookie", &browser.cookie)
        .header("Connection", "Upgrade")
        .header("Upgrade", "websocket")
        .header("Sec-WebSocket-Version", "13")
        .header("Sec-WebSocket-Key", generate_key());
    let stream = TcpStream::connect(page).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    match tungstenite::client(request.body(()).unwrap(), stream) {
        Ok((socket, _)) => Ok(socket),
        Err(tungstenite::HandshakeError::Failure(tungstenite::Error::Http(answer))) => {
            Err(answer.status().as_u16())
        }
        Err(error) => panic!("{error}"),
    }
}

/// The next message that is so.
fn next(socket: &mut Socket, is: impl Fn(&Value) -> bool) -> Value {
    loop {
        match socket.read().unwrap() {
            Message::Text(text) => {
                let told: Value = serde_json::from_str(&text).unwrap();
                if is(&told) {
                    return told;
                }
            }
            Message::Close(_) => panic!("closed"),
            _ => {}
        }
    }
}

fn say(socket: &mut Socket, id: &str, question: &Value, meaning: &str) -> Value {
    let said = json!({"kind": "answer", "id": id, "question": question, "meaning": meaning});
    socket.send(Message::text(said.to_string())).unwrap();
    next(socket, |told| told["kind"] == "reply" && told["id"] == id)
}

#[test]
fn two_people_on_one_walk_see_each_other() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let one = invited(&mut office, "Installer Example", &["installer"]);
    let other = invited(&mut office, "Second Installer", &["installer"]);
    let (mut one, mut other) =
        (connect(&one, PATH, None).unwrap(), connect(&other, PATH, None).unwrap());
    let is_shown = |told: &Value| told["kind"] == "shown";
    let asked = next(&mut one, is_shown);
    let wear = |told: &Value| is_shown(told) && told["shown"]["step"]["title"] == "Wear";
    let seen = next(&mut other, wear);
    assert!(asked["html"].as_str().unwrap().contains("Glasses &amp; gloves on."), "{asked}");
    assert_eq!(asked["shown"]["answer"], json!({"kind": "none"}));

    let question = &asked["shown"]["question"];
    assert_eq!(say(&mut one, "a", question, "step-done")["taken"], true);
    // The same twice is one answer; by now something else is asked.
    assert_eq!(say(&mut one, "a", question, "step-done")["taken"], true);
    let refused = say(&mut one, "b", question, "step-done");
    assert!(refused["taken"] == false && refused["unknown"] == false, "{refused}");
    let logged =
        |told: &Value| is_shown(told) && told["shown"]["logged"]["by"] == "Installer Example";
    let told = next(&mut other, logged);
    assert_eq!(told["shown"]["step"]["title"], "Nail line", "{told}");
    let versions = [&seen, &told].map(|told| told["shown"]["version"].as_u64().unwrap());
    assert!(versions[0] < versions[1], "{versions:?}");
    // What the other was asked before is no question any more.
    let late = say(&mut other, "c", &seen["shown"]["question"], "step-done");
    assert_eq!(late["taken"], false, "{late}");
    assert!(late["sentence"].as_str().unwrap().contains("Something else is asked"));
    assert_eq!(by_hand(&home).len(), 1);
    let ping = Message::text(r#"{"kind":"ping"}"#);
    one.send(ping).unwrap();
    next(&mut one, |told| told["kind"] == "pong");
}

#[test]
fn a_socket_ends_with_the_sign_in_and_stands_any_noise() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    for noise in [
        Message::text(""),
        Message::text("{}"),
        Message::text(r#"{"kind":"answer"}"#),
        Message::text("[".repeat(10_000)),
        Message::binary(vec![0, 159, 146, 150]),
        Message::text("x".repeat(20_000)),
    ] {
        let mut socket = connect(&crew, PATH, None).unwrap();
        // It may be closed while this is written.
        let _ = socket.send(noise);
        until("the socket is closed", || !matches!(socket.read(), Ok(Message::Text(_))));
    }
    let mut socket = connect(&crew, PATH, None).unwrap();
    let asked = next(&mut socket, |told| told["kind"] == "shown");
    crew.get("/you");
    assert_eq!(crew.send("/sign-out", &[]).to(), "/sign-in");
    let question = &asked["shown"]["question"];
    let said = json!({"kind": "answer", "id": "a", "question": question, "meaning": "step-done"});
    socket.send(Message::text(said.to_string())).unwrap();
    until("the socket is closed", || !matches!(socket.read(), Ok(Message::Text(_))));
    assert_eq!(by_hand(&home), []);
}
