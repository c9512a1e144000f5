//! The HTTP interface for programs: keys, changes that are made once and not past
//! others, and that it answers what pages and commands do.

use std::collections::BTreeMap;
use std::io::{ErrorKind, Read as _, Write as _};
use std::net::TcpStream;

use chalkhand::domain::{How, PointKind, What};
use chalkhand::store::Store;
use serde_json::{Value, json};

use crate::bundle::{export, worked};
use crate::day_pages::{add, count, reach, since, skip, store};
use crate::drafts::note;
use crate::pages::{Browser, Page, invited, office};
use crate::photos::begun;
use crate::program::Home;
use crate::serve::Daemon;

pub(crate) const JOB: &str = "/api/v1/jobs/EX-0001";
const ONCE: &str = "0123456789abcdef";

/// A program with a key.
pub(crate) struct Program<'a> {
    pub(crate) daemon: &'a Daemon,
    pub(crate) key: String,
}

/// An answer to a program.
#[derive(Debug)]
pub(crate) struct Told {
    pub(crate) status: u32,
    pub(crate) headers: BTreeMap<String, String>,
    pub(crate) bytes: Vec<u8>,
}

impl Told {
    pub(crate) fn json(&self) -> Value {
        serde_json::from_slice(&self.bytes).unwrap_or_else(|_| panic!("{self:?}"))
    }

    pub(crate) fn media(&self) -> &str {
        self.headers["content-type"].split(';').next().unwrap()
    }

    /// What is wrong, and its word.
    fn why(&self) -> (u32, String) {
        assert_eq!(self.media(), "application/problem+json", "{self:?}");
        let problem = self.json();
        assert_eq!(problem["status"], json!(self.status));
        (self.status, problem["type"].as_str().unwrap().replace("urn:chalkhand:", ""))
    }

    pub(crate) fn is(&self, status: u32, word: &str) {
        assert_eq!(self.why(), (status, word.to_owned()), "{}", self.json());
    }
}

pub(crate) fn ask(
    daemon: &Daemon,
    method: &str,
    path: &str,
    headers: &str,
    body: impl AsRef<[u8]>,
) -> Told {
    let body = body.as_ref();
    let mut stream = TcpStream::connect(&daemon.page).unwrap();
    let head = format!(
        "{method} {path} HTTP/1.1\r\nHost: {}\r\n{headers}Content-Length: {}\r\n\
         Connection: close\r\n\r\n",
        daemon.page,
        body.len()
    );
    // Whoever refuses a request need not have read all of it: what it answered is there.
    let gone = |kind| matches!(kind, ErrorKind::BrokenPipe | ErrorKind::ConnectionReset);
    let mut bytes = Vec::new();
    let sent = stream.write_all(&[head.as_bytes(), body].concat());
    let read = stream.read_to_end(&mut bytes);
    for error in [sent.err(), read.err()].into_iter().flatten() {
        assert!(gone(error.kind()), "{error}");
    }
    let end = bytes.windows(4).position(|four| four == b"\r\n\r\n").unwrap() + 4;
    let body = bytes.split_off(end);
    let Page { status, headers, .. } = Page::of(&String::from_utf8(bytes).unwrap());
    Told { status, headers, bytes: body }
}

impl Program<'_> {
    pub(crate) fn ask(
        &self,
        method: &str,
        path: &str,
        headers: &str,
        body: impl AsRef<[u8]>,
    ) -> Told {
        let headers = format!("Authorization: Bearer {}\r\n{headers}", self.key);
        ask(self.daemon, method, path, &headers, body)
    }

    pub(crate) fn get(&self, path: &str) -> Told {
        self.ask("GET", path, "", "")
    }

    pub(crate) fn post(&self, path: &str, body: &Value) -> Told {
        self.ask("POST", path, JSON, body.to_string())
    }

    /// Changes the job, as it stands now.
    pub(crate) fn change(&self, path: &str, once: &str, body: &Value) -> Told {
        let known = self.get(JOB).headers["etag"].clone();
        self.change_knowing(path, (once, &known), body)
    }

    fn change_knowing(&self, path: &str, (once, known): (&str, &str), body: &Value) -> Told {
        let headers = format!("{JSON}Idempotency-Key: {once}\r\nIf-Match: {known}\r\n");
        self.ask("POST", path, &headers, body.to_string())
    }
}

const JSON: &str = "Content-Type: application/json\r\n";

/// A key for that person, made by the office on its page.
pub(crate) fn key<'a>(office: &mut Browser<'a>, name: &str) -> Program<'a> {
    office.get("/people");
    let page = office.send("/people/key", &[("name", name), ("called", "a test program")]);
    assert_eq!(page.status, 200, "{page:?}");
    let at = page.body.find("chalkhand_").unwrap();
    let key = page.body[at..].split('<').next().unwrap().to_owned();
    assert_eq!(key.len(), "chalkhand_".len() + 64);
    Program { daemon: office.daemon, key }
}

#[test]
fn a_key_is_shown_once_kept_as_its_hash_and_ended() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    for (name, called, says) in [
        ("Desk Example", " ", "write what the key is for"),
        ("Desk Example", "x\u{7}y", "write what the key is for"),
        ("Nobody Example", "a calendar", "nobody called Nobody Example signs in"),
    ] {
        office.get("/people");
        let page = office.send("/people/key", &[("name", name), ("called", called)]);
        assert!(page.status == 422 && page.body.contains(says), "{page:?}");
    }
    desk.get("/you");
    let fields = [("name", "Office Example"), ("called", "mine")];
    assert_eq!(desk.send("/people/key", &fields).status, 403, "the office alone makes them");
    assert_eq!(desk.send("/people/key/end", &[("id", "1")]).status, 403);

    let program = key(&mut office, "Desk Example");
    assert!(!office.get("/people").body.contains(&program.key), "it is shown once");
    assert!(office.get("/people").body.contains("<td data-label=\"Last used\">never"));
    let you = program.get("/api/v1/you").json();
    assert_eq!((&you["name"], &you["roles"]), (&json!("Desk Example"), &json!(["desk"])));
    assert_eq!((&you["device"], you.get("token")), (&json!("a test program"), None));
    assert!(!office.get("/people").body.contains("<td data-label=\"Last used\">never"));
    let spelled = format!("Authorization: bEARER  {}\r\n", program.key);
    assert_eq!(ask(&daemon, "GET", "/api/v1/you", &spelled, "").status, 200);
    let people = key(&mut office, "Office Example").get("/api/v1/people").json();
    assert_eq!(people["people"][0]["keys"], json!(["a test program"]), "{people}");

    // It opens no page, and a wrong one opens nothing.
    assert_eq!(program.get("/").status, 401);
    assert_eq!(program.get("/people").status, 401);
    for wrong in [
        "Authorization: Bearer chalkhand_0000\r\n".to_owned(),
        format!("Authorization: Basic {}\r\n", program.key),
        format!("Authorization: {}\r\n", program.key),
        "Authorization: Bearer\r\n".to_owned(),
        // A sign-in beside it helps no wrong key.
        format!("Authorization: Bearer x\r\nCookie: {}\r\n", office.cookie),
    ] {
        let told = ask(&daemon, "GET", "/api/v1/you", &wrong, "");
        told.is(401, "sign-in-needed");
        assert_eq!(told.headers["www-authenticate"], "Bearer");
    }
    // A browser's page is no problem of a program, whatever it takes.
    let told = ask(&daemon, "GET", "/api/v1/you", "Accept: text/html\r\n", "");
    told.is(401, "sign-in-needed");

    let keys = store(&home).keys().unwrap();
    let id = keys.iter().find(|key| key.person.name == "Desk Example");
    let id = id.unwrap().id.to_string();
    office.get("/people");
    for _ in 0..2 {
        assert_eq!(office.send("/people/key/end", &[("id", &id)]).to(), "/people#keys");
    }
    program.get("/api/v1/you").is(401, "sign-in-needed");
    // Who leaves takes the keys along, for good.
    let other = key(&mut office, "Desk Example");
    office.get("/people");
    office.send("/people/leave", &[("name", "Desk Example")]);
    other.get("/api/v1/you").is(401, "sign-in-needed");
    invited(&mut office, "Desk Example", &["desk"]);
    other.get("/api/v1/you").is(401, "sign-in-needed");

    let entries = store(&home).entries("", 0).unwrap();
    let told: Vec<String> = entries
        .iter()
        .filter_map(|entry| match &entry.draft.what {
            What::KeyMade { name, called } => Some(format!("made {called} {name}")),
            What::KeyEnded { name, called } => Some(format!("ended {called} {name}")),
            _ => None,
        })
        .collect();
    let expected = [
        "made a test program Desk Example",
        "made a test program Office Example",
        "ended a test program Desk Example",
        "made a test program Desk Example",
    ];
    assert_eq!(told, expected);
    assert!(entries.iter().all(|entry| entry.draft.by != "chalkhand"));
    for file in ["data/log.sqlite", "data/log.sqlite-wal"] {
        let bytes = std::fs::read(home.path(file)).unwrap_or_default();
        let secret = program.key.trim_start_matches("chalkhand_").as_bytes();
        assert!(!bytes.windows(secret.len()).any(|part| part == secret), "{file}");
    }
}

#[test]
fn a_hold_point_is_released_once_and_not_past_others() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    invited(&mut office, "Foreman Example", &["foreman"]);
    invited(&mut office, "Other Foreman", &["foreman"]);
    let [foreman, other] = ["Foreman Example", "Other Foreman"].map(|name| key(&mut office, name));
    reach(&home, "cut#1", PointKind::Hold);
    let path = format!("{JOB}/releases");
    let body = json!({ "walk": "deck-intake", "step": "cut#1", "role": "foreman" });
    let before = count(&home);

    let told = other.change(&path, ONCE, &body);
    told.is(409, "does-not-go");
    assert!(told.json()["detail"].as_str().unwrap().contains("Other Foreman is not a foreman"));
    let known = foreman.get(JOB).headers["etag"].clone();
    let named = format!("{JSON}Idempotency-Key: {ONCE}\r\n");
    let text = body.to_string();
    foreman.ask("POST", &path, &named, &text).is(428, "no-precondition");
    for wrong in ["*", "17", "\"x\"", "W/\"17\"", "\"1\", \"2\"", "\"\""] {
        let headers = format!("{named}If-Match: {wrong}\r\n");
        foreman.ask("POST", &path, &headers, &text).is(400, "not-understood");
    }
    let nameless = format!("{JSON}If-Match: {known}\r\n");
    foreman.ask("POST", &path, &nameless, &text).is(400, "not-understood");
    for wrong in ["short", "0123456789abcde/", &"x".repeat(65)] {
        foreman.change_knowing(&path, (wrong, &known), &body).is(400, "not-understood");
    }
    store(&home).append(&note("EX-0001", "meanwhile"), None).unwrap();
    foreman.change_knowing(&path, (ONCE, &known), &body).is(412, "changed-meanwhile");
    foreman.change_knowing(&path, (ONCE, "\"999999\""), &body).is(412, "changed-meanwhile");
    assert_eq!(count(&home), before + 1, "nothing was released");

    let known = foreman.get(JOB).headers["etag"].clone();
    let done = foreman.change_knowing(&path, (ONCE, &known), &body);
    assert_eq!(done.status, 201, "{}", done.json());
    assert_eq!(done.json()["how"], json!("http"));
    // The answer was lost: the same request, knowing what it knew.
    let again = foreman.change_knowing(&path, (ONCE, &known), &body);
    assert_eq!((again.status, again.json()), (201, done.json()));
    assert_eq!(again.headers["etag"], done.headers["etag"]);
    let read = foreman.get(&done.headers["location"]).json();
    assert_eq!(read["entries"], json!([done.json()]));
    let written = since(&home, before + 1);
    let [entry] = &written[..] else { panic!("{written:?}") };
    assert!(matches!(&entry.draft.what, What::Released { role, .. } if role == "foreman"));
    // What others wrote after it is not known to whoever is answered.
    store(&home).append(&note("EX-0001", "after it"), None).unwrap();
    let again = foreman.change_knowing(&path, (ONCE, &known), &body);
    assert_eq!(again.headers["etag"], done.headers["etag"]);
    assert_ne!(again.headers["etag"], foreman.get(JOB).headers["etag"]);
    assert_eq!((&entry.draft.how, entry.draft.by.as_str()), (&How::Http, "Foreman Example"));

    // The same name for something else, in any state; a new name for the same.
    let mut otherwise = body.clone();
    otherwise["step"] = json!("cut#2");
    foreman.change(&path, ONCE, &otherwise).is(409, "key-used");
    let accept = json!({ "entry": 1, "reason": "it is sound" });
    foreman.change(&format!("{JOB}/acceptances"), ONCE, &accept).is(409, "key-used");
    // Names of another person, and longer ones, are others.
    other.change(&path, ONCE, &otherwise).is(409, "does-not-go");
    foreman.change(&path, &format!("{ONCE}0"), &body).is(409, "does-not-go");
    assert_eq!(count(&home), before + 3);
}

#[test]
fn a_deviation_is_accepted_and_a_witness_point_looked_at() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    invited(&mut office, "Foreman Example", &["foreman"]);
    let foreman = key(&mut office, "Foreman Example");
    let seq = skip(&home, "look-inside", "no ladder");
    reach(&home, "cut#1", PointKind::Witness);
    let deviation = &foreman.get(JOB).json()["deviations"][0];
    assert_eq!((&deviation["entry_seq"], &deviation["kind"]), (&json!(seq), &json!("left-out")));

    let path = format!("{JOB}/acceptances");
    for wrong in [
        json!({ "entry": seq }),
        json!({ "entry": seq, "reason": " \n" }),
        json!({ "entry": 0, "reason": "it is sound" }),
        json!({ "entry": seq, "reason": "it is sound", "more": 1 }),
        json!({ "entry": seq, "reason": "x".repeat(4001) }),
        json!([]),
    ] {
        foreman.change(&path, ONCE, &wrong).is(422, "unusable");
    }
    let body = json!({ "entry": seq, "reason": "seen from the street" });
    assert_eq!(foreman.change(&path, ONCE, &body).status, 201);
    let deviation = &foreman.get(JOB).json()["deviations"][0];
    assert_eq!(deviation["accepted"]["reason"], json!("seen from the street"));
    foreman.change(&path, "another-name-0001", &body).is(409, "does-not-go");

    let path = format!("{JOB}/witnessings");
    let body = json!({ "walk": "deck-intake", "step": "cut#1" });
    let done = foreman.change(&path, "another-name-0002", &body);
    assert_eq!((done.status, &done.json()["what"]), (201, &json!("noted")), "{}", done.json());
    foreman.change(&path, "another-name-0003", &body).is(409, "does-not-go");
    let none = json!({ "walk": "deck-intake/01", "step": "cut#1" });
    foreman.change(&path, "another-name-0004", &none).is(409, "does-not-go");
}

#[test]
fn a_call_is_taken_down_read_and_closed() {
    let home = begun();
    skip(&home, "shingles-over#1", "ran out");
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    invited(&mut office, "Desk Example", &["desk"]);
    let desk = key(&mut office, "Desk Example");
    for words in ["sampletown", "EXAMPLE%20lane", "0100"] {
        let found = desk.get(&format!("/api/v1/desk?q={words}")).json();
        assert_eq!(found["jobs"][0]["number"], json!("EX-0001"), "{words}");
    }
    desk.get("/api/v1/desk?q=%20").is(422, "unusable");
    desk.get("/api/v1/desk").is(400, "not-understood");
    desk.get(&format!("/api/v1/desk?q={}", "x".repeat(201))).is(422, "unusable");

    let (path, calls) = (format!("{JOB}/calls"), format!("{JOB}/calls?open=true"));
    assert_eq!(desk.get(&calls).json(), json!({ "calls": [] }));
    let mut body = json!({
        "water": "above the stairs", "plane": 1.0, "edge": "the chimney",
        "caller": "Neighbor Example", "reported": "2026-11-26",
    });
    for (name, value, word) in [
        ("water", json!(""), "unusable"),
        ("caller", json!(7), "unusable"),
        ("plane", json!(1.5), "unusable"),
        ("reported", json!("May"), "unusable"),
        ("reported", json!("2999-01-01"), "does-not-go"),
        ("plane", json!(7), "does-not-go"),
    ] {
        let mut wrong = body.clone();
        wrong[name] = value;
        assert_eq!(desk.change(&path, ONCE, &wrong).why().1, word, "{name}");
    }
    let taken = desk.change(&path, ONCE, &body);
    assert_eq!((taken.status, &taken.json()["callback"]["id"]), (201, &json!(1)));
    body["water"] = json!("in the kitchen");
    desk.change(&path, ONCE, &body).is(409, "key-used");
    // As the commands have it.
    let listed: Value =
        serde_json::from_str(&home.run(["callback", "list", "--open", "--json"]).well()).unwrap();
    assert_eq!(desk.get(&calls).json()["calls"], listed);
    assert_eq!(desk.get("/api/v1/calls?open=true").json()["calls"], listed);
    let shown = home.run(["callback", "show", "EX-0001", "1", "--json"]).well();
    let shown: Value = serde_json::from_str(&shown).unwrap();
    assert_eq!(desk.get(&format!("{path}/1")).json(), shown);
    for none in ["2", "0", "-1", "x", "1.0", "99999999999"] {
        desk.get(&format!("{path}/{none}")).is(404, "not-found");
    }

    let path = format!("{path}/1/finding");
    let mut body = json!({
        "found": "a nail", "warranty": "under",
        "steps": [{ "checklist": "deck-intake", "step": "shingles-over#1" }],
    });
    body["warranty"] = json!("maybe");
    desk.change(&path, "another-name-0001", &body).is(422, "unusable");
    body["warranty"] = json!("under");
    body["steps"][0]["step"] = json!("no-such-step");
    desk.change(&path, "another-name-0001", &body).is(409, "does-not-go");
    body["steps"][0]["step"] = json!("shingles-over#1");
    let closed = desk.change(&path, "another-name-0001", &body);
    assert_eq!((closed.status, &closed.json()["what"]), (201, &json!("callback-closed")));
    assert_eq!(closed.json()["finding"]["warranty"], json!("under"));
    desk.change(&path, "another-name-0002", &body).is(409, "does-not-go");
    assert_eq!(desk.get(&calls).json(), json!({ "calls": [] }));
}

#[test]
fn a_job_is_opened_once() {
    let home = Home::new();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let office = key(&mut office, "Office Example");
    let open = |once: &str, body: &Value| {
        let headers = format!("{JSON}Idempotency-Key: {once}\r\n");
        office.ask("POST", "/api/v1/jobs", &headers, body.to_string())
    };
    let example = json!({ "example": {} });
    let opened = open(ONCE, &example);
    assert_eq!((opened.status, &opened.json()["number"]), (201, &json!("EX-0001")));
    assert_eq!(open(ONCE, &example).json(), opened.json(), "one job, however often it is sent");
    assert_eq!(opened.headers["location"], JOB);
    assert_eq!(office.get(JOB).headers["etag"], opened.headers["etag"]);
    assert_eq!(open("another-name-0001", &example).json()["number"], json!("EX-0002"));

    let text = Home::job_file().replace("EX-0001", "2026/14");
    let file = json!({ "file": { "name": "job.toml", "text": text } });
    open(ONCE, &file).is(409, "key-used");
    let opened = open("another-name-0002", &file);
    assert_eq!(
        (opened.status, opened.headers["location"].as_str()),
        (201, "/api/v1/jobs/2026%2F14")
    );
    assert_eq!(office.get(&opened.headers["location"]).json()["job"]["number"], json!("2026/14"));
    open("another-name-0003", &file).is(409, "does-not-go");
    let broken = json!({ "file": { "name": "job.toml", "text": "number = " } });
    let told = open("another-name-0004", &broken);
    told.is(422, "unusable");
    assert!(told.json()["detail"].as_str().unwrap().contains("job.toml:1:"), "{}", told.json());
    for wrong in [json!({}), json!({ "example": { "more": 1 } }), json!("example"), json!(null)] {
        open("another-name-0005", &wrong).is(422, "unusable");
    }
    let jobs = office.get("/api/v1/jobs").json();
    let listed: Value = serde_json::from_str(&home.run(["job", "list", "--json"]).well()).unwrap();
    assert_eq!(jobs["jobs"], listed);
    assert_eq!(office.get("/api/v1/jobs?limit=2").json()["jobs"].as_array().unwrap().len(), 2);
    assert_eq!(office.get("/api/v1/jobs?q=2026/14").json()["jobs"].as_array().unwrap().len(), 1);
}

/// What comes in is looked at before anything is done with it.
#[test]
fn what_is_no_request_is_refused_with_a_problem() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let program = key(&mut office, "Office Example");
    let check = "/api/v1/library/check";
    let body = json!({ "name": "a.toml", "text": "x" }).to_string();
    program.ask("POST", check, "", &body).is(415, "no-json");
    program.ask("POST", check, "Content-Type: text/plain\r\n", &body).is(415, "no-json");
    let kind = "Content-Type: APPLICATION/json; charset=utf-8\r\n";
    assert_eq!(program.ask("POST", check, kind, &body).status, 200);
    program.ask("POST", check, JSON, "{").is(400, "not-understood");
    program.ask("POST", check, JSON, "{\"name\":\"\\ud800\"}").is(422, "unusable");
    let long = json!({ "name": "a.toml", "text": "x".repeat(9 << 20) }).to_string();
    program.ask("POST", check, JSON, &long).is(413, "too-large");
    let long = json!({ "water": "x".repeat(300 << 10) });
    program.change(&format!("{JOB}/calls"), ONCE, &long).is(413, "too-large");
    for query in ["limit=0", "limit=501"] {
        program.get(&format!("/api/v1/jobs?{query}")).is(422, "unusable");
    }
    for query in ["limit=x", "limit=-1", "limit=1&limit=2"] {
        program.get(&format!("/api/v1/jobs?{query}")).is(400, "not-understood");
    }
    for path in ["/api", "/api/", "/api/v1", "/api/v1/jobs/", "/api/v2/jobs", "/api/v1/jobs/NONE"] {
        program.get(path).is(404, "not-found");
    }
    program.get("/api/v1/jobs/%FF").is(404, "not-found");
    let told = program.ask("DELETE", JOB, "", "");
    told.is(405, "not-this-method");
    assert_eq!(told.headers["allow"], "GET,HEAD");
    // Another name that leads here, and another site's page.
    let key = format!("Authorization: Bearer {}\r\n", program.key);
    let request =
        format!("GET /api/v1/you HTTP/1.1\r\nHost: evil.example\r\n{key}Connection: close\r\n\r\n");
    assert!(daemon.raw(&request).starts_with("HTTP/1.1 403"));
    let from = format!("{JSON}Origin: https://evil.example\r\n");
    program.ask("POST", check, &from, &body).is(403, "not-from-our-page");

    // A browser that is signed in reads, and has to name its token to change something.
    let cookie = format!("Cookie: {}\r\n", office.cookie);
    let you = ask(&daemon, "GET", "/api/v1/you", &cookie, "").json();
    let token = you["token"].as_str().unwrap();
    let sent = format!("{cookie}{JSON}");
    ask(&daemon, "POST", check, &sent, &body).is(403, "not-from-our-page");
    // Another last digit, whatever it was.
    let last = if token.ends_with('0') { '1' } else { '0' };
    let sent = format!("{cookie}{JSON}X-Form-Token: {}{last}\r\n", &token[..token.len() - 1]);
    ask(&daemon, "POST", check, &sent, &body).is(403, "not-from-our-page");
    let sent = format!("{cookie}{JSON}X-Form-Token: {token}\r\n");
    assert_eq!(ask(&daemon, "POST", check, &sent, &body).status, 200);
    // What a person changes by a page's sign-in was touched.
    let known = program.get(JOB).headers["etag"].clone();
    let sent = format!("{sent}Idempotency-Key: {ONCE}\r\nIf-Match: {known}\r\n");
    let call = json!({ "water": "w", "caller": "c", "reported": "2026-11-26" }).to_string();
    let taken = ask(&daemon, "POST", &format!("{JOB}/calls"), &sent, &call);
    assert_eq!((taken.status, &taken.json()["how"]), (201, &json!("touch")));
}

#[test]
fn papers_and_lists_are_what_pages_and_commands_give() {
    let home = worked();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let program = key(&mut office, "Office Example");
    let command =
        |words: &[&str]| -> Value { serde_json::from_str(&home.run(words).well()).unwrap() };
    let bytes = |name: &str| {
        let path = home.path(name);
        home.run(["record", "EX-0001", "-o", path.to_str().unwrap()]).well();
        std::fs::read(path).unwrap()
    };
    for (name, media) in [
        ("record.json", "application/json"),
        ("record.pdf", "application/pdf"),
        ("record.html", "text/html"),
    ] {
        let told = program.get(&format!("{JOB}/{name}"));
        assert_eq!((told.status, told.media()), (200, media));
        assert!(told.bytes == bytes(name), "{name} is another one than the command writes");
    }
    assert_eq!(
        program.get(&format!("{JOB}/sheet")).json(),
        command(&["sheet", "EX-0001", "--json"])
    );
    let job = program.get(JOB).json();
    let mut shown = command(&["job", "show", "EX-0001", "--json"]);
    shown["follow_ups"] = job["follow_ups"].clone();
    assert_eq!(job, shown);
    let day = command(&["day", "2026-11-25", "--json"]);
    assert!(!day["jobs"][0]["entries"].as_array().unwrap().is_empty());
    assert_eq!(program.get("/api/v1/day?date=2026-11-25").json(), day);
    assert_eq!(program.get("/api/v1/day").json()["format"], day["format"]);
    program.get("/api/v1/day?date=May").is(400, "not-understood");
    let mut list = command(&["checklist", "list", "--json"]);
    let mut library = program.get("/api/v1/library").json();
    for one in [&mut list, &mut library] {
        assert!(one["seen"].is_array());
        one["seen"] = Value::Null;
    }
    assert_eq!(library, list);
    program.get(&format!("{JOB}/dates.ics")).is(404, "not-found");

    // Page by page, every entry once.
    let (mut after, mut entries) = (0, Vec::new());
    loop {
        let page = program.get(&format!("{JOB}/entries?limit=7&after={after}")).json();
        entries.extend(page["entries"].as_array().unwrap().clone());
        match page.get("next_after") {
            Some(next) => after = next.as_u64().unwrap(),
            None => break,
        }
    }
    let seqs: Vec<u64> = entries.iter().map(|entry| entry["seq"].as_u64().unwrap()).collect();
    let known: Vec<u64> =
        store(&home).entries("EX-0001", 0).unwrap().iter().map(|e| e.seq).collect();
    assert_eq!(seqs, known);
    let of_day = day["jobs"][0]["entries"].as_array().unwrap();
    assert!(of_day.iter().all(|entry| entries.contains(entry)), "entries are as in the day log");

    // The record of another device, as it came.
    let bundle = export(&home, "EX-0001", "bundle.zip");
    let away = Home::new();
    away.run(["import", bundle.to_str().unwrap()]).well();
    let daemon = Daemon::start(&away);
    let mut office = crate::pages::office(&daemon);
    let program = key(&mut office, "Office Example");
    let found = program.get("/api/v1/jobs").json()["jobs"][0].clone();
    let name = found["imported_as"].as_str().unwrap();
    let told = program.get(&format!("/api/v1/jobs/{name}/record.json"));
    assert!(told.status == 200 && told.bytes == bytes("record.json"));
    program.get(&format!("/api/v1/jobs/{name}")).is(404, "not-found");
}

#[test]
fn versions_are_read_compared_and_checked() {
    let home = Home::with_job();
    let path = crate::program::repository("tests/it/data/changes-deck.toml");
    home.run(["checklist", "adopt", path.to_str().unwrap()]).well();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    invited(&mut office, "Installer Example", &["installer"]);
    let program = key(&mut office, "Office Example");
    let adopted = Store::open(&home.path("data/log.sqlite")).unwrap();
    let versions = adopted.versions(chalkhand::domain::PinKind::Checklist, "deck-intake").unwrap();
    let mut versions: Vec<_> = versions.into_iter().map(|(version, _)| version).collect();
    versions.sort();
    let [old, new] = &versions[..] else { panic!("{versions:?}") };
    let path = format!("/api/v1/library/checklist/deck-intake/{new}");
    let one = program.get(&path).json();
    assert_eq!(one["versions"], json!([old.to_string(), new.to_string()]));
    assert!(one["listing"].as_str().unwrap().contains("deck-intake"));
    let text = program.get(&format!("{path}/text"));
    let hash = chalkhand::domain::Hash::of(&text.bytes).to_string();
    assert_eq!((text.media(), json!(hash)), ("application/toml", one["sha256"].clone()));
    let changes = program.get(&format!("{path}/changes?since={old}")).json();
    let [old_file, new_file] = [("old.toml", old), ("new.toml", new)].map(|(file, version)| {
        let text = program.get(&format!("/api/v1/library/checklist/deck-intake/{version}/text"));
        home.write(file, &String::from_utf8(text.bytes).unwrap())
    });
    let told = home.run([
        "checklist",
        "diff",
        old_file.to_str().unwrap(),
        new_file.to_str().unwrap(),
        "--json",
    ]);
    assert_eq!(changes["changes"], serde_json::from_str::<Value>(&told.well()).unwrap());
    for none in [
        "checklist/deck-intake/9.9.9",
        "rule/deck-intake/1.3.0",
        "profile/deck-intake/1.3.0",
        "checklist/deck-intake/x",
    ] {
        program.get(&format!("/api/v1/library/{none}")).is(404, "not-found");
        program.get(&format!("/api/v1/library/{none}/text")).is(404, "not-found");
    }
    program.get(&format!("{path}/changes?since=9.9.9")).is(404, "not-found");
    program.get(&format!("{path}/changes?since=x")).is(422, "unusable");

    let check = |name: &str, text: &str| {
        let told = program.post("/api/v1/library/check", &json!({ "name": name, "text": text }));
        assert_eq!(told.status, 200);
        told.json()
    };
    let text = std::fs::read_to_string(&new_file).unwrap();
    let sound = json!({ "sound": true, "kind": "checklist", "id": "deck-intake", "version": new.to_string() });
    assert_eq!(check("new.toml", &text), sound);
    let sound = json!({ "sound": true, "kind": "job", "id": "EX-0001" });
    assert_eq!(check("job.toml", &Home::job_file()), sound);
    let wrong = check("list.toml", "id = \"a-list\"\nversion = \"x\"\n[[step]]\n");
    assert_eq!(wrong["sound"], json!(false));
    let problems = wrong["problems"].as_array().unwrap();
    assert!(problems.iter().any(|problem| problem["line"] == json!(2)), "{wrong}");
    // The files that were seen are the office's matter.
    let installer = key(&mut office, "Installer Example");
    assert_eq!(installer.get("/api/v1/library").json().get("seen"), None);
}

#[test]
fn health_is_told_to_the_office() {
    let home = begun();
    add(&home, What::Noted { step: None, text: "a note".to_owned(), clip: None });
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let program = key(&mut office, "Office Example");
    let health = program.get("/api/v1/health").json();
    assert_eq!(health["version"], json!(env!("CARGO_PKG_VERSION")));
    let page: Value = serde_json::from_str(&Page::of(&daemon.get("/health")).body).unwrap();
    assert_eq!(health["head_sha256"], page["head_sha256"]);
}
