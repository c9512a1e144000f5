//! The pages of a job and of the day: who may read and decide what, that a form
//! is one entry, and that what goes out is what the commands write.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;

use chalkhand::domain::{Draft, Entry, How, PointKind, StepRef, WalkId, What};
use chalkhand::store::Store;

use crate::bundle::{export, worked};
use crate::drafts::{draft, job as invented_job, note};
use crate::pages::{Browser, Page, invited, office};
use crate::photos::{begun, photos_of};
use crate::program::Home;
use crate::serve::Daemon;

const JOB: &str = "EX-0001";
pub(crate) const DAY: &str = "/day/2026-11-25";

pub(crate) fn store(home: &Home) -> Store {
    Store::open(&home.path("data/log.sqlite")).unwrap()
}

fn step(text: &str) -> StepRef {
    text.parse().unwrap()
}

/// Adds an entry of the walk `deck-intake`.
pub(crate) fn add(home: &Home, what: What) -> Entry {
    let key = format!("test {what:?}");
    let walk = Some(WalkId::first("deck-intake"));
    store(home).append(&Draft { walk, ..draft(JOB, &key, what) }, None).unwrap().entry()
}

pub(crate) fn reach(home: &Home, at: &str, kind: PointKind) {
    add(home, What::PointReached { step: step(at), kind, role: "foreman".to_owned() });
}

pub(crate) fn skip(home: &Home, at: &str, reason: &str) -> u64 {
    add(home, What::Skipped { step: step(at), reason: reason.to_owned() }).seq
}

/// The entries of the job after that many.
pub(crate) fn since(home: &Home, before: usize) -> Vec<Entry> {
    store(home).entries(JOB, 0).unwrap().split_off(before)
}

pub(crate) fn count(home: &Home) -> usize {
    store(home).entries(JOB, 0).unwrap().len()
}

/// The hidden fields of the first form to that address whose text has these words.
pub(crate) fn form(page: &Page, action: &str, with: &str) -> Vec<(String, String)> {
    let forms = page.body.split("<form").skip(1).filter_map(|rest| rest.split("</form>").next());
    let mut forms = forms.filter(|form| form.contains(&format!("action=\"{action}\"")));
    let form = forms.find(|form| form.contains(with));
    let form = form.unwrap_or_else(|| panic!("no form {action} with {with}: {}", page.body));
    let inputs = form.split("<input type=\"hidden\" name=\"").skip(1);
    let inputs = inputs.map(|input| {
        let mut parts = input.split('"');
        (parts.next().unwrap().to_owned(), parts.nth(1).unwrap().to_owned())
    });
    inputs.filter(|(name, _)| name != "token").collect()
}

pub(crate) fn send(
    browser: &mut Browser<'_>,
    path: &str,
    hidden: &[(String, String)],
    more: &[(&str, &str)],
) -> Page {
    let mut fields: Vec<(&str, &str)> =
        hidden.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    fields.extend(more);
    browser.send(path, &fields)
}

/// An answer as bytes: its head and what follows.
pub(crate) fn bytes(
    daemon: &Daemon,
    browser: &Browser<'_>,
    path: &str,
    more: &str,
) -> (Page, Vec<u8>) {
    let mut stream = TcpStream::connect(&daemon.page).unwrap();
    let (host, cookie) = (&daemon.page, &browser.cookie);
    let request = format!(
        "GET {path} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\n{more}Connection: close\r\n\r\n"
    );
    stream.write_all(request.as_bytes()).unwrap();
    let mut all = Vec::new();
    stream.read_to_end(&mut all).unwrap();
    let end = all.windows(4).position(|four| four == b"\r\n\r\n").unwrap() + 4;
    let body = all.split_off(end);
    (Page::of(&String::from_utf8(all).unwrap()), body)
}

#[test]
fn each_role_reads_what_is_its_own() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut all: Vec<(&str, Browser<'_>)> = Vec::new();
    for role in ["installer", "foreman", "desk", "office"] {
        let browser = invited(&mut office, &format!("Some {role}"), &[role]);
        all.push((role, browser));
    }
    for (path, may) in [
        ("/job/EX-0001", "installer foreman desk office"),
        ("/job/EX-0001/sheet", "installer foreman desk office"),
        ("/job/EX-0001/record", "installer foreman desk office"),
        ("/job/EX-0001/record.json", "installer foreman desk office"),
        ("/day", "foreman office"),
        (DAY, "foreman office"),
        ("/desk", "desk foreman office"),
        ("/desk/EX-0001", "desk foreman office"),
    ] {
        for (role, browser) in &mut all {
            let status = if may.contains(*role) { 200 } else { 403 };
            assert_eq!(browser.get(path).status, status, "{role} {path}");
        }
        assert_eq!(Browser::new(&daemon).get(path).status, 303, "nobody {path}");
    }
    let once = "0123456789abcdef0123456789abcdef";
    let fields = [
        ("job", JOB),
        ("once", once),
        ("known", "999999"),
        ("date", "2026-11-25"),
        ("walk", "deck-intake"),
        ("step", "cut#1"),
        ("role", "foreman"),
        ("entry", "1"),
        ("reason", "x"),
        ("water", "x"),
        ("caller", "x"),
        ("reported", "2026-11-25"),
        ("id", "1"),
        ("found", "x"),
        ("warranty", "under"),
    ];
    let before = count(&home);
    for (path, not) in [
        ("/day/release", "installer desk"),
        ("/day/accept", "installer desk"),
        ("/day/witness", "installer desk"),
        ("/desk/open", "installer"),
        ("/desk/close", "installer"),
    ] {
        for (role, browser) in all.iter_mut().filter(|(role, _)| not.contains(*role)) {
            browser.get("/you");
            assert_eq!(browser.send(path, &fields).status, 403, "{role} {path}");
        }
    }
    assert_eq!(count(&home), before, "nothing was written");
    // The links go where somebody may.
    for (role, browser) in &mut all {
        let page = browser.get("/job/EX-0001");
        assert_eq!(
            page.body.contains("/roof/EX-0001/deck-intake"),
            "installer foreman".contains(*role)
        );
        assert_eq!(page.body.contains("href=\"/desk/EX-0001\""), *role != "installer", "{role}");
        assert!(browser.get("/").body.contains("href=\"/job/EX-0001\""));
        assert_eq!(browser.get("/job/NONE").status, 404);
        assert_eq!(browser.get("/job/NONE/record").status, 404);
    }
}

#[test]
fn a_hold_point_is_released_once_by_who_may() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut foreman = invited(&mut office, "Foreman Example", &["foreman"]);
    let mut other = invited(&mut office, "Other Foreman", &["foreman"]);
    reach(&home, "cut#1", PointKind::Hold);
    let page = foreman.get("/job/EX-0001");
    assert!(page.body.contains("Held for the foreman before"), "{page:?}");
    let before = count(&home);

    let strange = other.get(DAY);
    assert!(strange.body.contains("Hold point waiting"), "{strange:?}");
    assert!(strange.body.contains("This is for the foreman of the job, who is: Foreman Example."));
    assert!(!strange.body.contains("action=\"/day/release\""));
    let page = foreman.get(DAY);
    assert!(page.body.contains("you have looked at the place yourself, and work may go on"));
    let hidden = form(&page, "/day/release", "cut#1");
    other.get("/you");
    let refused = send(&mut other, "/day/release", &hidden, &[]);
    assert_eq!(refused.status, 422, "{refused:?}");
    assert!(refused.body.contains("Other Foreman is not a foreman of job EX-0001"), "{refused:?}");
    assert_eq!(count(&home), before);

    for _ in 0..2 {
        let done = send(&mut foreman, "/day/release", &hidden, &[]);
        assert_eq!((done.status, done.to()), (303, DAY), "{done:?}");
    }
    let written = since(&home, before);
    let [entry] = &written[..] else { panic!("{written:?}") };
    assert_eq!(entry.draft.how, How::Touch);
    assert_eq!(entry.draft.by, "Foreman Example");
    let released = What::Released { step: step("cut#1"), role: "foreman".to_owned() };
    assert_eq!(entry.draft.what, released);
    assert!(
        home.run(["release", JOB, "cut#1", "--by", "Foreman Example", "--role", "foreman"])
            .fails(1)
            .contains("no hold point waits")
    );
    // A form without its number, or with one that was made up.
    for once in ["", "zz23456789abcdef0123456789abcdef", "0123"] {
        let made_up: Vec<_> = hidden
            .iter()
            .map(|(name, value)| {
                (name.clone(), if name == "once" { once } else { value }.to_owned())
            })
            .collect();
        assert_eq!(send(&mut foreman, "/day/release", &made_up, &[]).status, 403, "{once}");
    }
}

#[test]
fn who_decides_on_an_old_page_is_asked_again() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut foreman = invited(&mut office, "Foreman Example", &["foreman"]);
    reach(&home, "cut#1", PointKind::Hold);
    let hidden = form(&foreman.get(DAY), "/day/release", "cut#1");
    store(&home).append(&note(JOB, "meanwhile"), None).unwrap();
    let before = count(&home);
    let stale = send(&mut foreman, "/day/release", &hidden, &[]);
    assert!(stale.status == 409 && stale.body.contains("Others have written"), "{stale:?}");
    assert_eq!(count(&home), before);
    let hidden = form(&foreman.get(DAY), "/day/release", "cut#1");
    assert_eq!(send(&mut foreman, "/day/release", &hidden, &[]).status, 303);
}

#[test]
fn a_deviation_is_accepted_with_a_reason() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut foreman = invited(&mut office, "Foreman Example", &["foreman"]);
    let mut other = invited(&mut office, "Other Foreman", &["office"]);
    let seq = skip(&home, "look-inside", "no hatch");
    let page = foreman.get(DAY);
    assert!(page.body.contains(&format!("href=\"#e{seq}\"")), "{page:?}");
    assert!(page.body.contains(&format!("id=\"e{seq}\"")));
    let hidden = form(&page, "/day/accept", &format!("value=\"{seq}\""));
    let before = count(&home);
    let refused = send(&mut foreman, "/day/accept", &hidden, &[("reason", "  ")]);
    assert!(refused.status == 422 && refused.body.contains("say why it may stay"), "{refused:?}");
    assert!(!other.get(DAY).body.contains("action=\"/day/accept\""));
    other.get("/you");
    let refused = send(&mut other, "/day/accept", &hidden, &[("reason", "fine")]);
    assert!(refused.body.contains("Other Foreman may not accept it"), "{refused:?}");
    assert_eq!(count(&home), before);
    foreman.get(DAY);
    for _ in 0..2 {
        let done = send(&mut foreman, "/day/accept", &hidden, &[("reason", "seen from below")]);
        assert_eq!(done.status, 303, "{done:?}");
    }
    let written = since(&home, before);
    let [entry] = &written[..] else { panic!("{written:?}") };
    let What::Accepted { entry: of, reason, role, .. } = &entry.draft.what else { panic!() };
    assert_eq!((*of, reason.as_str(), role.as_str()), (seq, "seen from below", "foreman"));
    assert_eq!(entry.draft.how, How::Touch);
    let page = foreman.get(DAY);
    assert!(page.body.contains("It was accepted by Foreman Example (foreman)"), "{page:?}");
    assert!(!page.body.contains("action=\"/day/accept\""), "{page:?}");
    // The same form with other words is no second click: others have written.
    let again = send(&mut foreman, "/day/accept", &hidden, &[("reason", "another reason")]);
    assert_eq!(again.status, 409);
}

#[test]
fn a_witness_point_is_noted_as_looked_at() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut foreman = invited(&mut office, "Foreman Example", &["foreman"]);
    let mut other = invited(&mut office, "Other Foreman", &["foreman"]);
    reach(&home, "underlayment#1", PointKind::Witness);
    assert!(other.get(DAY).body.contains("Nobody has said that he looked."));
    let hidden = form(&foreman.get(DAY), "/day/witness", "underlayment#1");
    let before = count(&home);
    other.get("/you");
    let refused = send(&mut other, "/day/witness", &hidden, &[]);
    assert!(refused.status == 422 && refused.body.contains("is not a foreman"), "{refused:?}");
    assert_eq!(send(&mut foreman, "/day/witness", &hidden, &[]).status, 303);
    assert_eq!(send(&mut foreman, "/day/witness", &hidden, &[]).status, 303);
    let written = since(&home, before);
    let [entry] = &written[..] else { panic!("{written:?}") };
    let What::Noted { step: at, text, .. } = &entry.draft.what else { panic!("{entry:?}") };
    assert_eq!(at.as_ref(), Some(&step("underlayment#1")));
    assert_eq!(text, "Looked at the witness point as foreman.");
    let page = foreman.get(DAY);
    assert!(page.body.contains("Foreman Example looked at it"), "{page:?}");
}

/// What waits on a job that rests is told on the days after.
#[test]
fn a_hold_point_is_not_forgotten_over_night() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut foreman = invited(&mut office, "Foreman Example", &["foreman"]);
    reach(&home, "cut#1", PointKind::Hold);
    let page = foreman.get("/day/2026-12-02");
    assert!(page.body.contains("Hold point waiting"), "{page:?}");
    assert!(page.body.contains("href=\"/day/2026-11-25#e"), "{page:?}");
    let hidden = form(&page, "/day/release", "cut#1");
    assert_eq!(send(&mut foreman, "/day/release", &hidden, &[]).to(), "/day/2026-12-02");
    assert!(!foreman.get("/day/2026-12-03").body.contains("Hold point waiting"));
}

#[test]
fn nothing_somebody_typed_becomes_markup() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let name = "<script>alert(1)</script>\"'";
    let mut foreman = invited(&mut office, name, &["foreman"]);
    skip(&home, "look-inside", "</li><script>alert('2')</script>\u{202e}");
    let what =
        What::Noted { step: None, text: "\"><img src=x onerror=alert(3)>".to_owned(), clip: None };
    add(&home, what);
    let today = foreman.get("/day").body;
    let day = foreman.get(DAY).body;
    let job = foreman.get("/job/EX-0001").body;
    let desk = foreman.get("/desk/EX-0001?water=%22%3E%3Cscript%3E&plane=%3Cb%3E").body;
    let found = foreman.get("/desk?q=%22%3E%3Cscript%3E").body;
    for page in [&today, &day, &job, &desk, &found] {
        assert!(!page.contains("<script>"), "{page}");
        assert!(!page.contains("<img src=x") && !page.contains('\u{202e}'), "{page}");
        assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt;&quot;"), "who is signed in");
    }
    assert!(day.contains("&lt;script&gt;alert('2')"), "{day}");
    assert!(desk.contains("value=\"&quot;&gt;&lt;script&gt;\""), "{desk}");
}

#[test]
fn the_papers_are_what_the_command_writes() {
    let home = worked();
    let daemon = Daemon::start(&home);
    let office = office(&daemon);
    for (name, kind) in [("record.pdf", "application/pdf"), ("record.json", "application/json")] {
        let path = home.path(name);
        home.run(["record", JOB, "-o", path.to_str().unwrap()]).well();
        let (head, body) = bytes(&daemon, &office, &format!("/job/EX-0001/{name}"), "");
        assert_eq!((head.status, head.headers["content-type"].as_str()), (200, kind));
        assert!(head.headers["content-disposition"].contains(&format!("\"EX-0001-{name}\"")));
        assert!(body == std::fs::read(path).unwrap(), "{name} is another");
    }
    for (path, command) in [("/job/EX-0001/record", "record"), ("/job/EX-0001/sheet", "sheet")] {
        let written = home.path("page.html");
        home.run([command, JOB, "-o", written.to_str().unwrap()]).well();
        let (head, body) = bytes(&daemon, &office, path, "");
        let policy = &head.headers["content-security-policy"];
        assert!(body == std::fs::read(&written).unwrap(), "{command} is another");
        assert!(policy.contains("default-src 'none'") && policy.ends_with("sandbox"), "{policy}");
        assert!(policy.contains("style-src 'sha256-") && !policy.contains("unsafe"), "{policy}");
    }
    let written = std::fs::read(export(&home, JOB, "command.zip")).unwrap();
    let (head, body) = bytes(&daemon, &office, "/job/EX-0001/files.zip", "");
    assert_eq!((head.status, head.headers["content-type"].as_str()), (200, "application/zip"));
    assert_eq!(head.headers["content-length"], written.len().to_string());
    assert!(body == written, "the ZIP file is another");
    assert_eq!(Browser::new(&daemon).get("/job/EX-0001/files.zip").status, 303);
    let left = std::fs::read_dir(home.path("data")).unwrap();
    let left =
        left.filter(|one| one.as_ref().unwrap().file_name().to_string_lossy().contains("part"));
    assert_eq!(left.count(), 0, "nothing stays in the data folder");
    let (head, body) = bytes(&daemon, &office, "/job/EX-0001/dates.ics", "");
    assert!(head.status == 404 || body.starts_with(b"BEGIN:VCALENDAR"), "{head:?}");
}

#[test]
fn photos_and_clips_go_out_under_their_own_job() {
    let home = worked();
    store(&home)
        .open_job(&[draft("EX-0002", "open", What::JobOpened(invented_job("EX-0002")))])
        .unwrap();
    let [(_, photo), (_, other)] = photos_of(&home).try_into().unwrap();
    // The other job has a photo of its own.
    let kept = What::PhotoKept { step: None, photo: Box::new(other) };
    store(&home).append(&draft("EX-0002", "photo", kept), None).unwrap();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let page = office.get(DAY);
    for (hash, kind) in [(photo.sha256, "image/jpeg"), (photo.preview_sha256, "image/jpeg")] {
        let path = format!("/job/EX-0001/photo/{hash}");
        let (head, body) = bytes(&daemon, &office, &path, "");
        assert_eq!((head.status, head.headers["content-type"].as_str()), (200, kind));
        assert_eq!(chalkhand::domain::Hash::of(&body), hash);
        assert_eq!(head.headers["x-content-type-options"], "nosniff");
        assert_eq!(office.get(&format!("/job/EX-0002/photo/{hash}")).status, 404);
        assert_eq!(Browser::new(&daemon).get(&path).status, 303);
    }
    let today = office.get("/day").body;
    assert!(
        today.contains(&format!("src=\"/job/EX-0001/photo/{}\"", photo.preview_sha256)),
        "{today}"
    );
    let clip = page.body.split("/job/EX-0001/clip/").nth(1).unwrap().split('"').next().unwrap();
    assert!(page.body.contains("<audio controls"), "{page:?}");
    let path = format!("/job/EX-0001/clip/{clip}");
    let (head, whole) = bytes(&daemon, &office, &path, "");
    assert_eq!((head.status, head.headers["content-type"].as_str()), (200, "audio/wav"));
    assert!(whole.starts_with(b"RIFF"));
    let (head, part) = bytes(&daemon, &office, &path, "Range: bytes=0-3\r\n");
    assert_eq!((head.status, part.as_slice()), (206, &b"RIFF"[..]));
    assert_eq!(head.headers["content-range"], format!("bytes 0-3/{}", whole.len()));
    assert_eq!(office.get(&format!("/job/EX-0002/clip/{clip}")).status, 404);
    for wrong in ["/job/EX-0001/clip/x", "/job/EX-0001/photo/..%2F..%2Fdevice.key"] {
        assert_eq!(office.get(wrong).status, 404, "{wrong}");
    }
}

#[test]
fn a_page_that_is_still_the_same_is_not_sent_again() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let page = office.get(DAY);
    let tag = page.headers["etag"].clone();
    assert!(page.body.contains(&format!("data-tag=\"{}\"", tag.trim_matches('"'))), "{page:?}");
    let again = |browser: &Browser<'_>| {
        bytes(&daemon, browser, DAY, &format!("Accept: text/html\r\nIf-None-Match: {tag}\r\n"))
    };
    let (head, body) = again(&office);
    assert_eq!((head.status, head.headers["etag"].as_str(), body.len()), (304, tag.as_str(), 0));
    // Somebody else's page is another one, with other forms.
    let foreman = invited(&mut office, "Foreman Example", &["foreman"]);
    assert_eq!(again(&foreman).0.status, 200);
    let tag = office.get(DAY).headers["etag"].clone();
    store(&home).append(&note(JOB, "new"), None).unwrap();
    let changed = office.get(DAY);
    assert_ne!(changed.headers["etag"], tag);
    assert!(changed.body.contains("note new"));
}

/// A number may have a stroke in it.
#[test]
fn days_lead_to_each_other_and_numbers_are_one_part() {
    let home = begun();
    let mut opened = draft("26/7", "open", What::JobOpened(invented_job("26/7")));
    opened.at = "2026-11-20T08:00:00.000-05:00".parse().unwrap();
    store(&home).open_job(&[opened]).unwrap();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let page = office.get("/day/2026-11-20");
    assert!(page.body.contains("href=\"/job/26%2F7\""), "{page:?}");
    assert!(page.body.contains("No earlier day has entries."), "{page:?}");
    assert!(page.body.contains("href=\"/day/2026-11-25\""), "{page:?}");
    assert!(office.get("/job/26%2F7").body.contains("12 Example Street"));
    assert_eq!(office.get("/job/26%2F7/record").status, 200);
    assert_eq!(office.get("/desk/26%2F7").status, 200);
    assert_eq!(office.get("/day?date=2026-11-20").to(), "/day/2026-11-20");
    assert_eq!(office.get("/day/tomorrow").status, 404);
    // Somebody signed in today: that is at the end of the day, and no day of a job.
    let signed_in = store(&home).entries("", 0).unwrap()[1].draft.at.date();
    let today = office.get(&format!("/day/{signed_in}"));
    assert!(today.body.contains("signed in on test browser"), "{today:?}");
    assert!(office.get("/day").body.contains("<section class=\"job\" aria-label=\"Job EX-0001"));
}

/// Jobs are remembered between two looks; a log that was changed behind the daemon's
/// back is told all the same.
#[test]
fn what_was_changed_in_the_log_is_not_hidden_by_what_was_read_before() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let before = office.get(DAY);
    assert!(before.status == 200 && before.body.contains("walk begun"), "{before:?}");
    assert_eq!(office.get(DAY).body, before.body);
    let added = add(&home, What::Noted { step: None, text: "now".to_owned(), clip: None });
    let after = office.get(DAY);
    assert!(after.body.contains("note: “now”"), "{after:?}");
    let store = store(&home);
    let change = format!(
        "drop trigger entry_is_never_updated;
         update entry set body = replace(body, 'now', 'new') where seq = {}",
        added.seq
    );
    store.raw().execute_batch(&change).unwrap();
    let changed = office.get(DAY);
    assert!(changed.status == 503 && changed.body.contains("log cannot be used"), "{changed:?}");
    store
        .raw()
        .execute_batch(
            &change
                .replace("drop trigger entry_is_never_updated;", "")
                .replace("'now', 'new'", "'new', 'now'"),
        )
        .unwrap();
    assert_eq!(office.get(DAY).status, 200);
    let change = "drop trigger adopted_is_never_updated; update adopted set body = 'tent'";
    store.raw().execute_batch(change).unwrap();
    assert_eq!(office.get(DAY).status, 503);
}

#[test]
fn a_long_day_is_one_page() {
    let home = Home::new();
    home.run(["day"]).well();
    let mut store = store(&home);
    for n in 0..50 {
        let number = format!("EX-{n:04}");
        let opened = draft(&number, &format!("open {n}"), What::JobOpened(invented_job(&number)));
        let mut all = vec![opened];
        all.extend((1..60).map(|at| note(&number, &format!("{n}/{at}"))));
        store.open_job(&all).unwrap();
    }
    drop(store);
    let daemon = Daemon::start(&home);
    let page = office(&daemon).get(DAY);
    assert_eq!(page.status, 200);
    assert_eq!(page.body.matches("<li id=\"e").count(), 3_000);
    assert_eq!(page.body.matches("<section class=\"job\"").count(), 50);
}

#[test]
fn whoever_reads_spanish_is_told_what_stays_english() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    office.get("/you");
    office.send("/you", &[("units", "metric"), ("language", "es")]);
    let day = office.get(DAY).body;
    assert!(day.contains("<html lang=\"es\">") && !day.contains("inglés"), "{day}");
    assert!(day.contains("deck-intake: recorrido empezado, versión 1.3.0. <span"), "{day}");
    assert!(day.contains("66 pasos de la lista deck-intake quedan abiertos"), "{day}");
    let desk = office.get("/desk/EX-0001").body;
    assert!(
        desk.contains("Los registros, las hojas y los archivos para guardar están en inglés."),
        "{desk}"
    );
    assert!(office.get("/job/EX-0001").body.contains("Sin empezar"));
}
