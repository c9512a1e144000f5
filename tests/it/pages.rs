//! The pages as a browser asks for them: signing in, codes, who may what, and
//! what comes from elsewhere.

use std::collections::BTreeMap;

use chalkhand::domain::{Entry, Language, Units, What};
use chalkhand::office::{Joined, PeopleError};
use chalkhand::store::Store;

use crate::program::Home;
use crate::serve::Daemon;

/// A browser: it keeps its cookie and the token of the last page.
pub(crate) struct Browser<'a> {
    pub(crate) daemon: &'a Daemon,
    pub(crate) cookie: String,
    pub(crate) token: String,
}

/// An answer.
#[derive(Debug)]
pub(crate) struct Page {
    pub(crate) status: u32,
    pub(crate) headers: BTreeMap<String, String>,
    pub(crate) body: String,
}

impl Page {
    pub(crate) fn of(answer: &str) -> Self {
        let (head, body) = answer.split_once("\r\n\r\n").unwrap();
        let (first, rest) = head.split_once("\r\n").unwrap();
        let headers = rest.lines().filter_map(|line| line.split_once(": "));
        let headers = headers.map(|(name, value)| (name.to_lowercase(), value.to_owned()));
        let status = first.split(' ').nth(1).unwrap().parse().unwrap();
        Self { status, headers: headers.collect(), body: body.to_owned() }
    }

    pub(crate) fn to(&self) -> &str {
        self.headers.get("location").map_or("", String::as_str)
    }
}

impl<'a> Browser<'a> {
    pub(crate) fn new(daemon: &'a Daemon) -> Self {
        Self { daemon, cookie: String::new(), token: String::new() }
    }

    fn took(&mut self, answer: &str) -> Page {
        let page = Page::of(answer);
        if let Some(cookie) = page.headers.get("set-cookie") {
            self.cookie = cookie.split(';').next().unwrap().to_owned();
        }
        if let Some((_, rest)) = page.body.split_once("name=\"token\" value=\"") {
            self.token = rest.split('"').next().unwrap().to_owned();
        }
        page
    }

    pub(crate) fn get(&mut self, path: &str) -> Page {
        let headers = format!("Accept: text/html\r\nCookie: {}\r\n", self.cookie);
        let answer = self.daemon.get_with(path, &headers);
        self.took(&answer)
    }

    /// Sends a form as the page it is on would.
    pub(crate) fn send(&mut self, path: &str, fields: &[(&str, &str)]) -> Page {
        let token = self.token.clone();
        let mut all = vec![("token", token.as_str())];
        all.extend(fields);
        self.send_from(&format!("http://{}", self.daemon.page), path, &all)
    }

    /// Sends exactly these fields, from a page of that origin.
    fn send_from(&mut self, origin: &str, path: &str, fields: &[(&str, &str)]) -> Page {
        let body = serde_urlencoded::to_string(fields).unwrap();
        let headers = format!(
            "Accept: text/html\r\nCookie: {}\r\nOrigin: {origin}\r\nContent-Length: {}\r\n\
             Content-Type: application/x-www-form-urlencoded\r\n",
            self.cookie,
            body.len()
        );
        let answer = self.daemon.ask("POST", path, &headers, &body);
        self.took(&answer)
    }

    /// Makes the sign-in of a code.
    pub(crate) fn join(&mut self, code: &str, name: &str) -> Page {
        self.join_reading(code, name, "us", "en")
    }

    /// The same, in these units and that language.
    fn join_reading(&mut self, code: &str, name: &str, units: &str, language: &str) -> Page {
        self.send(
            "/join",
            &[
                ("code", code),
                ("name", name),
                ("passphrase", PASSPHRASE),
                ("units", units),
                ("language", language),
                ("device", "test browser"),
            ],
        )
    }
}

pub(crate) const PASSPHRASE: &str = "ladder first";

/// The code the program prints while nobody signs in.
pub(crate) fn first_code(daemon: &Daemon) -> String {
    let said = daemon.says(&["join?code="]);
    said.split("join?code=").nth(1).unwrap().split_whitespace().next().unwrap().to_owned()
}

/// A daemon and a browser of the office, signed in.
pub(crate) fn office(daemon: &Daemon) -> Browser<'_> {
    let mut browser = Browser::new(daemon);
    let page = browser.join(&first_code(daemon), "Office Example");
    assert_eq!((page.status, page.to()), (303, "/"), "{page:?}");
    browser
}

/// Somebody else in these roles, invited by the office.
pub(crate) fn invited<'a>(office: &mut Browser<'a>, name: &str, roles: &[&str]) -> Browser<'a> {
    invited_reading(office, name, roles, "us", "en")
}

/// The same, in these units and that language.
pub(crate) fn invited_reading<'a>(
    office: &mut Browser<'a>,
    name: &str,
    roles: &[&str],
    units: &str,
    language: &str,
) -> Browser<'a> {
    office.get("/people");
    let fields: Vec<(&str, &str)> = roles.iter().map(|role| (*role, "yes")).collect();
    let page = office.send("/people/invite", &fields);
    assert_eq!(page.status, 200, "{page:?}");
    let code = code_on(&page);
    let mut browser = Browser::new(office.daemon);
    assert_eq!(browser.join_reading(&code, name, units, language).to(), "/");
    browser
}

fn code_on(page: &Page) -> String {
    let (_, rest) = page.body.split_once("The code: ").unwrap();
    rest.split('<').next().unwrap().to_owned()
}

fn log(home: &Home) -> Vec<Entry> {
    Store::open(&home.path("data/log.sqlite")).unwrap().entries("", 0).unwrap()
}

#[test]
fn the_first_person_signs_in_by_the_code_that_is_printed() {
    let home = Home::new();
    let daemon = Daemon::start(&home);
    let code = first_code(&daemon);
    let mut browser = Browser::new(&daemon);
    let page = browser.get("/");
    assert_eq!((page.status, page.to()), (303, "/sign-in?to=%2F"));
    assert_eq!(Page::of(&daemon.get("/")).status, 401, "a program is told");

    // As somebody types it from a screen.
    let typed = code.to_lowercase().replace('-', " ").replace('0', "o").replace('1', "l");
    let page = browser.get(&format!("/join?code={}", typed.replace(' ', "%20")));
    assert!(page.body.contains("Make the first sign-in"), "{page:?}");
    for (name, passphrase, says) in
        [("", PASSPHRASE, "write your name"), ("A", "short", "6 to 200 characters")]
    {
        let page = browser.send(
            "/join",
            &[
                ("code", &code),
                ("name", name),
                ("passphrase", passphrase),
                ("units", "us"),
                ("language", "es"),
            ],
        );
        assert!(page.status == 422 && page.body.contains(says), "{page:?}");
        assert!(!page.body.contains(PASSPHRASE), "a passphrase is never sent back");
    }
    let page = browser.join(&typed, "  Office   Example ");
    assert_eq!((page.status, page.to()), (303, "/"), "{page:?}");
    let cookie = &page.headers["set-cookie"];
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    let page = browser.get("/");
    assert!(page.status == 200 && page.body.contains("Office Example"), "{page:?}");
    assert!(
        !page.body.contains("http://") && !page.body.contains("https://"),
        "no outside request"
    );
    assert!(page.headers["content-security-policy"].contains("default-src 'none'"));
    assert!(!page.headers["content-security-policy"].contains("unsafe"));

    // The code is used up, and another start prints none.
    assert!(Browser::new(&daemon).join(&code, "Somebody Else").body.contains("was used"));
    let cookie = browser.cookie;
    drop(daemon);
    let daemon = Daemon::start(&home);
    assert!(!daemon.says(&["watching"]).contains("join?code="));
    // The sign-in outlives the daemon.
    let mut browser = Browser { cookie, ..Browser::new(&daemon) };
    assert_eq!(browser.get("/").status, 200);

    // Out, and in again by name and passphrase.
    browser.get("/you");
    assert_eq!(browser.send("/sign-out", &[]).to(), "/sign-in");
    let mut kept = Browser::new(&daemon);
    let wrong = [("name", "Office Example"), ("passphrase", "ladder last"), ("to", "/you")];
    let page = kept.send("/sign-in", &wrong);
    assert!(page.status == 401 && page.body.contains("do not belong together"), "{page:?}");
    let right = [("name", "Office Example"), ("passphrase", PASSPHRASE), ("to", "/you")];
    assert_eq!(kept.send("/sign-in", &right).to(), "/you");
    assert_eq!(kept.get("/you").status, 200);
    for elsewhere in ["//evil.example", "https://evil.example", "/\\evil.example", "you"] {
        let fields = [("name", "Office Example"), ("passphrase", PASSPHRASE), ("to", elsewhere)];
        assert_eq!(Browser::new(&daemon).send("/sign-in", &fields).to(), "/", "{elsewhere}");
    }

    let words: Vec<&str> = log(&home).iter().map(|entry| entry.draft.what.word()).collect();
    assert_eq!(words[..4], ["person-set", "signed-in", "sign-in-ended", "signed-in"]);
    assert!(log(&home).iter().all(|entry| entry.draft.by == "Office Example"));
    // No secret is in the log's file in the clear.
    let bytes = [home.path("data/log.sqlite"), home.path("data/log.sqlite-wal")].map(std::fs::read);
    let bytes: Vec<u8> = bytes.into_iter().flatten().flatten().collect();
    for secret in [PASSPHRASE, code.as_str(), kept.cookie.split_once('=').unwrap().1] {
        assert!(!bytes.windows(secret.len()).any(|part| part == secret.as_bytes()), "{secret}");
    }
    assert!(home.run(["day"]).well().contains("Nothing was logged"), "sign-ins are of no job");
    home.run(["doctor"]);
}

#[test]
fn roles_decide_and_the_office_ends() {
    let home = Home::new();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    let page = desk.get("/people");
    assert!(page.status == 403 && page.body.contains("This page is for: office"), "{page:?}");
    assert!(!desk.get("/").body.contains("/people"));
    desk.get("/you");
    for path in ["/people/invite", "/people/leave"] {
        let page = desk.send(path, &[("name", "Office Example"), ("office", "yes")]);
        assert_eq!(page.status, 403, "{path}: {page:?}");
    }
    office.get("/people");
    assert_eq!(office.send("/people/invite", &[]).status, 422, "no role");
    // The same name twice is told.
    let code = code_on(&office.send("/people/invite", &[("foreman", "yes")]));
    let page = Browser::new(&daemon).join(&code, "Desk Example");
    assert!(page.status == 422 && page.body.contains("signs in already"), "{page:?}");

    assert_eq!(office.send("/people/leave", &[("name", "Office Example")]).status, 422);
    assert_eq!(office.send("/people/leave", &[("name", "Desk Example")]).status, 303);
    assert_eq!(desk.get("/").to(), "/sign-in?to=%2F", "signed out everywhere");
    let again = [("name", "Desk Example"), ("passphrase", PASSPHRASE)];
    assert_eq!(Browser::new(&daemon).send("/sign-in", &again).status, 401);
    // Who left may come again, by an invitation.
    assert_eq!(Browser::new(&daemon).join(&code, "Desk Example").to(), "/");
    let entries = log(&home);
    let left = entries.iter().find(|entry| matches!(entry.draft.what, What::PersonLeft { .. }));
    assert_eq!(left.unwrap().draft.by, "Office Example");
}

#[test]
fn a_phone_is_signed_in_by_a_code_and_ended_by_its_owner() {
    let home = Home::new();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    office.get("/you");
    let code = code_on(&office.send("/you/phone", &[]));
    let mut phone = Browser::new(&daemon);
    assert!(
        phone
            .get(&format!("/join?code={code}"))
            .body
            .contains("signs this device in as Office Example")
    );
    // It makes no new person, whoever asks.
    let joined = Joined {
        name: "Somebody Else",
        passphrase: PASSPHRASE,
        units: Units::Us,
        language: Language::English,
        device: "",
    };
    let mut store = Store::open(&home.path("data/log.sqlite")).unwrap();
    let now = "2026-11-25T08:15:09.042-05:00".parse().unwrap();
    let refused = chalkhand::office::join(&mut store, &code, &joined, now);
    assert!(matches!(refused, Err(PeopleError::NoCode)));
    assert!(Browser::new(&daemon).join(&code, "Somebody Else").body.contains("ask for a new one"));
    let page = phone.send("/pair", &[("code", &code), ("device", "crew phone")]);
    assert_eq!(page.to(), "/", "{page:?}");
    assert!(page.headers["set-cookie"].contains("Max-Age=7776000"));
    assert_eq!(phone.get("/").status, 200);
    assert!(Browser::new(&daemon).send("/pair", &[("code", &code)]).body.contains("was used"));

    let page = office.get("/you");
    let id = page.body.split("End the sign-in on crew phone").next().unwrap();
    let id =
        id.rsplit("name=\"id\" value=\"").next().unwrap().split('"').next().unwrap().to_owned();
    // Somebody else cannot end it.
    let mut other = invited(&mut office, "Installer Example", &["installer"]);
    other.get("/you");
    other.send("/you/end", &[("id", &id)]);
    assert_eq!(phone.get("/").status, 200);
    office.get("/you");
    office.send("/you/end", &[("id", &id)]);
    assert_eq!(phone.get("/").status, 303);
}

#[test]
fn what_comes_from_elsewhere_changes_nothing() {
    let home = Home::new();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    office.get("/people");
    let token = office.token.clone();
    let before = log(&home).len();
    let fields = [("token", token.as_str()), ("desk", "yes")];
    let here = format!("http://{}", daemon.page);
    for origin in
        ["http://evil.example", "null", &here.replace("http", "https"), "http://127.0.0.1"]
    {
        assert_eq!(office.send_from(origin, "/people/invite", &fields).status, 403, "{origin}");
    }
    for wrong in [
        &[("desk", "yes")][..],
        &[("token", ""), ("desk", "yes")],
        &[("token", &token[1..]), ("desk", "yes")],
    ] {
        assert_eq!(office.send_from(&here, "/people/invite", wrong).status, 403, "{wrong:?}");
    }
    // The token of one sign-in is none for another.
    let mut other = invited(&mut office, "Second Office", &["office"]);
    other.get("/people");
    assert_ne!(other.token, token);
    assert_eq!(other.send_from(&here, "/people/invite", &fields).status, 403);
    // A name of somebody else that leads here.
    let rebound = "GET / HTTP/1.1\r\nHost: evil.example\r\nConnection: close\r\n\r\n";
    assert!(daemon.raw(rebound).starts_with("HTTP/1.1 403"));
    let rebound = rebound.replace("evil.example", "127.0.0.1.evil.example");
    assert!(daemon.raw(&rebound).starts_with("HTTP/1.1 403"));
    assert!(
        daemon
            .raw(&rebound.replace("127.0.0.1.evil.example", "LOCALHOST"))
            .starts_with("HTTP/1.1 401")
    );
    assert_eq!(log(&home).len(), before + 2, "the other's sign-in alone");
}

#[test]
fn who_guesses_waits() {
    let home = Home::new();
    let daemon = Daemon::start(&home);
    drop(office(&daemon));
    let wrong = [("name", "Office Example"), ("passphrase", "ladder last")];
    let mut browser = Browser::new(&daemon);
    for _ in 0..5 {
        assert_eq!(browser.send("/sign-in", &wrong).status, 401);
    }
    let page = browser.send("/sign-in", &wrong);
    assert!(page.status == 429 && page.body.contains("Too many tries"), "{page:?}");
    let wait: u32 = page.headers["retry-after"].parse().unwrap();
    assert!((1..=15).contains(&wait), "{wait}");
    // The right one has to wait as well, and so have codes from there.
    let right = [("name", "Office Example"), ("passphrase", PASSPHRASE)];
    assert_eq!(browser.send("/sign-in", &right).status, 429);
    assert_eq!(browser.get("/join?code=AAAA-AAAA-AAAA").status, 429);
}

#[test]
fn programs_get_problems_as_rfc_9457_has_them() {
    let home = Home::new();
    let daemon = Daemon::start(&home);
    let page = Page::of(&daemon.get("/people"));
    assert_eq!(page.headers["content-type"], "application/problem+json");
    let problem: serde_json::Value = serde_json::from_str(&page.body).unwrap();
    assert_eq!((page.status, &problem["status"]), (401, &401.into()));
    for member in ["type", "title", "detail"] {
        assert!(problem[member].is_string(), "{problem}");
    }
    assert_eq!(Page::of(&daemon.get("/nosuch")).status, 404);
    assert_eq!(Page::of(&daemon.get("/look/x/page.css")).status, 200);
}
