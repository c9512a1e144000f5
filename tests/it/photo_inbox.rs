//! Photos put into the inbox of a running daemon: kept at the step that was open
//! when they were taken, or told as waiting until somebody says where they belong.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

use chalkhand::domain::{Draft, Entry, Given, Hash, How, Photo, WalkId, What};
use chalkhand::photo::{Location, ready};
use chalkhand::store::Store;
use chalkhand::watch::{Dropped, watch_inbox};
use image::{DynamicImage, ImageFormat, RgbImage};
use jiff::Timestamp;
use jiff::tz::{Offset, TimeZone};
use proptest::prelude::*;

use crate::drafts::draft;
use crate::pages::{Browser, Page, invited, invited_reading, office};
use crate::photo_files::encoded;
use crate::photo_pages::{Part, bring};
use crate::program::Home;
use crate::roof::{JOB, short, until};
use crate::serve::Daemon;

/// A JPEG that says when it was taken as CIPA DC-008 (EXIF 2.32, from memory) has
/// it: DateTimeOriginal (0x9003), and OffsetTimeOriginal (0x9011) where it is given;
/// or DateTime (0x0132) alone, when the file was written.
pub(crate) fn dated(width: u32, original: Option<&str>, offset: Option<&str>) -> Vec<u8> {
    let plain = encoded(&DynamicImage::from(RgbImage::new(width, 30)), ImageFormat::Jpeg);
    let entry = |tag: u16, kind: u16, count: u32, value: u32| {
        [&tag.to_le_bytes()[..], &kind.to_le_bytes(), &count.to_le_bytes(), &value.to_le_bytes()]
            .concat()
    };
    // IFD0 at 8 has two entries and ends at 38, the EXIF part at 38 has so many.
    let texts: Vec<(u16, String)> = [(0x9003, original), (0x9011, offset)]
        .into_iter()
        .filter_map(|(tag, text)| Some((tag, format!("{}\0", text?))))
        .collect();
    let mut at = 38 + 2 + 12 * u32::try_from(texts.len()).unwrap() + 4;
    let written = b"2026:01:01 12:00:00\0";
    let mut tiff = [&b"II*\0\x08\0\0\0"[..], &2_u16.to_le_bytes()].concat();
    tiff.extend(entry(0x0132, 2, 20, at));
    tiff.extend(entry(0x8769, 4, 1, 38));
    tiff.extend(0_u32.to_le_bytes());
    tiff.extend(u16::try_from(texts.len()).unwrap().to_le_bytes());
    at += 20;
    for (tag, text) in &texts {
        let length = u32::try_from(text.len()).unwrap();
        tiff.extend(entry(*tag, 2, length, at));
        at += length;
    }
    tiff.extend(0_u32.to_le_bytes());
    tiff.extend(written);
    texts.iter().for_each(|(_, text)| tiff.extend(text.bytes()));
    let length = u16::try_from(tiff.len() + 8).unwrap().to_be_bytes();
    [&plain[..2], &[0xff, 0xe1], &length, b"Exif\0\0", &tiff, &plain[2..]].concat()
}

/// Taken at that clock on the day of the walk, five hours behind UTC.
fn at(width: u32, clock: &str) -> Vec<u8> {
    dated(width, Some(&format!("2026:11:25 {clock}")), Some("-05:00"))
}

fn store(home: &Home) -> Store {
    Store::open(&home.path("data/log.sqlite")).unwrap()
}

/// A walk on the day of the tests: begun at eight, "wear" done at ten past.
fn walked(home: &Home, job: &str) {
    let mut store = store(home);
    let pin = store.job(job).unwrap().unwrap().pins.remove(0);
    let given = Given::Done;
    let step = "wear".parse().unwrap();
    let asked = "Glasses on.".to_owned();
    for (clock, what) in [
        ("08:00:00", What::WalkBegun { version: pin.version, hash: pin.hash }),
        ("08:10:00", What::Answered { step, asked, given, target: None, reason: None }),
    ] {
        let at = format!("2026-11-25T{clock}-05:00").parse().unwrap();
        let walk = Some(WalkId::first("short-walk"));
        let key = format!("{job} {clock}");
        store.append(&Draft { walk, at, ..draft(job, &key, what) }, None).unwrap();
    }
}

/// Photos of a job, with the entry that keeps each.
fn kept(home: &Home, job: &str) -> Vec<(Entry, Photo)> {
    let entries = store(home).entries(job, 0).unwrap().into_iter();
    let kept = entries.filter_map(|entry| match entry.draft.what.clone() {
        What::PhotoKept { photo, .. } => Some((entry, *photo)),
        _ => None,
    });
    kept.collect()
}

fn inbox(home: &Home, name: &str) -> PathBuf {
    home.path("data/inbox").join(name)
}

fn drop_in(home: &Home, name: &str, bytes: &[u8]) {
    let path = inbox(home, name);
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::fs::write(path, bytes).unwrap();
}

fn files(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn a_photo_is_kept_at_the_step_that_was_open_when_it_was_taken() {
    let home = short();
    walked(&home, "SW-1");
    // There before the daemon began.
    drop_in(&home, "early.jpg", &at(40, "08:09:59"));
    let daemon = Daemon::start(&home);
    daemon.says(&["photos put into", "early.jpg: kept in entry", "at wear"]);
    drop_in(&home, "late.jpg", &at(41, "08:10:00"));
    daemon.says(&["late.jpg: kept in entry", "at line"]);
    // The same moment by a camera of another zone.
    drop_in(&home, "east.jpg", &dated(42, Some("2026:11:25 14:05:00"), Some("+01:00")));
    daemon.says(&["east.jpg: kept in entry", "at wear"]);
    // A camera that knows none has this machine's; a blank one is none.
    let moment: Timestamp = "2026-11-25T08:05:00-05:00".parse().unwrap();
    let here = TimeZone::system().to_datetime(moment).strftime("%Y:%m:%d %H:%M:%S").to_string();
    drop_in(&home, "here.jpg", &dated(43, Some(&here), None));
    drop_in(&home, "blank.jpg", &dated(44, Some(&here), Some("   :  ")));
    daemon.says(&["blank.jpg: kept in entry", "here.jpg: kept in entry"]);

    let all = kept(&home, "SW-1");
    let steps: Vec<String> =
        all.iter().map(|(entry, _)| entry.draft.what.step().unwrap().to_string()).collect();
    assert_eq!(steps, ["wear", "line", "wear", "wear", "wear"]);
    for (entry, photo) in &all {
        assert_eq!(entry.draft.walk, Some(WalkId::first("short-walk")));
        assert_eq!((&entry.draft.how, &entry.draft.by[..]), (&How::File, "photo inbox"));
        assert!(home.path("data").join(photo.path()).is_file());
    }
    // Moved, to the byte; nothing waits.
    let taken = files(&inbox(&home, "taken"));
    assert_eq!(taken, ["blank.jpg", "early.jpg", "east.jpg", "here.jpg", "late.jpg"]);
    assert_eq!(std::fs::read(inbox(&home, "taken/late.jpg")).unwrap(), at(41, "08:10:00"));
    assert_eq!(files(&inbox(&home, "")), ["taken"]);

    // The same photo again is not kept again; what lies there keeps its name.
    drop_in(&home, "late.jpg", &at(41, "08:10:00"));
    daemon.says(&["late.jpg: kept already, in entry"]);
    assert_eq!(kept(&home, "SW-1").len(), 5);
    assert!(inbox(&home, "taken/late-2.jpg").is_file() && inbox(&home, "taken/late.jpg").is_file());
    home.run(["doctor"]);
}

#[test]
fn a_photo_is_taken_once_it_is_whole() {
    let home = short();
    walked(&home, "SW-1");
    let daemon = Daemon::start(&home);
    let bytes = at(300, "08:05:00");
    let half = bytes.len() / 2;
    drop_in(&home, "slow.jpg", &bytes[..half]);
    // A copy that rests in the middle looks whole from outside: it is none yet.
    daemon.says(&["slow.jpg is damaged or not whole"]);
    assert_eq!(kept(&home, "SW-1").len(), 0);
    assert!(inbox(&home, "slow.jpg").is_file(), "it stays where it is");
    std::fs::write(inbox(&home, "slow.jpg"), &bytes).unwrap();
    daemon.says(&["slow.jpg: kept in entry"]);
    // What a program has not finished, or hides, is not looked at.
    for name in ["a.jpg.part", ".b.jpg", "c.jpg~", "d.tmp"] {
        drop_in(&home, name, &at(41, "08:05:00"));
    }
    std::os::unix::fs::symlink(inbox(&home, "taken/slow.jpg"), inbox(&home, "e.jpg")).unwrap();
    drop_in(&home, "deep/er/f.jpg", &at(42, "08:05:00"));
    std::thread::sleep(Duration::from_secs(3));
    assert_eq!(kept(&home, "SW-1").len(), 1);
    assert_eq!(files(&inbox(&home, "")).len(), 7);
    // Until it has its name.
    std::fs::rename(inbox(&home, "a.jpg.part"), inbox(&home, "a.jpg")).unwrap();
    daemon.says(&["a.jpg: kept in entry"]);
}

/// The page of the one that is called so.
fn page_of(browser: &mut Browser<'_>, name: &str) -> String {
    let day = browser.get("/day");
    let (before, _) =
        day.body.split_once(&format!("<span class=\"unseen\"> {name}</span>")).unwrap();
    before.rsplit("href=\"").next().unwrap().split('"').next().unwrap().to_owned()
}

fn line_of<'a>(day: &'a Page, name: &str) -> &'a str {
    let (_, rest) = day.body.split_once(&format!("<strong>{name}</strong>")).unwrap();
    rest.split("</li>").next().unwrap()
}

#[test]
fn what_cannot_be_placed_waits_for_somebody_to_say_where_it_belongs() {
    let home = short();
    walked(&home, "SW-1");
    let job = JOB.replace("SW-1", "SW-2");
    let job = home.write("other.toml", &job);
    home.run(["job", "open", job.to_str().unwrap()]).well();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut foreman = invited(&mut office, "Foreman Example", &["foreman"]);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    assert!(!foreman.get("/day").body.contains("Photos not placed"));
    drop_in(&home, "untimed.jpg", &dated(40, None, None));
    drop_in(&home, "evening.jpg", &dated(41, Some("2026:11:24 21:00:00"), Some("-05:00")));
    drop_in(&home, "letter.jpg", b"to whom it may concern");
    drop_in(&home, "NO-1/astray.jpg", &at(42, "08:05:00"));
    daemon.says(&["untimed.jpg", "evening.jpg", "letter.jpg", "astray.jpg"]);
    let mut day = foreman.get("/day");
    until("all four are told", || {
        day = foreman.get("/day");
        day.body.contains("Photos not placed") && day.body.contains("astray.jpg")
    });
    for (name, says) in [
        ("untimed.jpg", "does not say when it was taken"),
        ("evening.jpg", "no step was open when it was taken (2026-11-24 21:00)"),
        ("letter.jpg", "is no JPEG or PNG"),
        ("NO-1/astray.jpg", "called “NO-1”, and there is no such job"),
    ] {
        assert!(line_of(&day, name).contains(says), "{name}: {day:?}");
    }
    assert!(!line_of(&day, "letter.jpg").contains("/inbox/"), "nobody can place a letter");
    assert_eq!(kept(&home, "SW-1").len() + kept(&home, "SW-2").len(), 0, "nothing is guessed");
    // Whoever looks on is told without asking anew.
    let tag = day.headers["etag"].clone();
    drop_in(&home, "more.jpg", &dated(45, None, None));
    daemon.says(&["more.jpg"]);
    until("the page changes", || foreman.get("/day").headers["etag"] != tag);
    std::fs::remove_file(inbox(&home, "more.jpg")).unwrap();
    until("one that went away is not told", || !foreman.get("/day").body.contains("more.jpg"));

    // Two jobs on which a step was open: none is better than the other.
    walked(&home, "SW-2");
    drop_in(&home, "which.jpg", &at(43, "08:05:00"));
    daemon.says(&["which.jpg: open when it was taken: wear of short-walk on SW-1, wear of"]);
    let day = foreman.get("/day");
    assert!(line_of(&day, "which.jpg").contains("SW-1: short-walk wear, SW-2: short-walk wear"));
    // The name of its folder says which.
    drop_in(&home, "SW-2/named.jpg", &at(44, "08:05:00"));
    daemon.says(&["named.jpg: kept in entry", "of job SW-2 at wear"]);
    assert!(inbox(&home, "taken/SW-2/named.jpg").is_file());

    // The foreman says where it belongs: the job, then the step.
    let to = page_of(&mut foreman, "untimed.jpg");
    assert_eq!(crew.get(&to).status, 403);
    assert_eq!(crew.get(&format!("{to}/preview")).status, 403);
    let page = foreman.get(&to);
    assert!(page.status == 200 && !page.body.contains("Keep it there"), "{page:?}");
    let page = foreman.get(&format!("{to}?job=NO-9"));
    assert!(page.body.contains("There is no job NO-9."), "{page:?}");
    let page = foreman.get(&format!("{to}?job=SW-1"));
    assert!(page.body.contains("value=\"short-walk cut\""), "{page:?}");
    crew.get("/you");
    assert_eq!(crew.send(&to, &[("job", "SW-1"), ("place", "short-walk cut")]).status, 403);
    foreman.get(&to);
    for (job, place, status) in
        [("SW-1", "short-walk nosuch", 422), ("SW-1", "", 403), ("NO-9", "-", 404)]
    {
        assert_eq!(foreman.send(&to, &[("job", job), ("place", place)]).status, status, "{place}");
    }
    assert_eq!(kept(&home, "SW-1").len(), 0);
    let sent = foreman.send(&to, &[("job", "SW-1"), ("place", "short-walk cut")]);
    assert_eq!((sent.status, sent.to()), (303, "/day"), "{sent:?}");
    let [(entry, photo)] = &kept(&home, "SW-1")[..] else { panic!("one is kept") };
    assert_eq!((&entry.draft.how, &entry.draft.by[..]), (&How::Touch, "Foreman Example"));
    assert_eq!(entry.draft.what.step().unwrap().to_string(), "cut");
    assert_eq!(photo.given_sha256, Some(Hash::of(&dated(40, None, None))));
    assert!(inbox(&home, "taken/untimed.jpg").is_file());
    assert!(!foreman.get("/day").body.contains("untimed.jpg</strong>"));
    // Brought once more it needs no place: the job keeps it.
    drop_in(&home, "SW-1/untimed.jpg", &dated(40, None, None));
    daemon.says(&["untimed.jpg: kept already, in entry", "of job SW-1"]);
    assert!(inbox(&home, "taken/SW-1/untimed.jpg").is_file());
    std::fs::remove_dir(inbox(&home, "SW-1")).unwrap();
    // Sent twice, it waits no more and is one.
    assert_eq!(foreman.send(&to, &[("job", "SW-1"), ("place", "short-walk cut")]).status, 404);
    assert_eq!(kept(&home, "SW-1").len(), 1);
    // Nothing else was moved, and none was deleted.
    assert_eq!(
        files(&inbox(&home, "")),
        ["NO-1", "SW-2", "evening.jpg", "letter.jpg", "taken", "which.jpg"]
    );

    let mut spanish = invited_reading(&mut office, "Capataz Ejemplo", &["foreman"], "us", "es");
    let day = spanish.get("/day");
    assert!(day.body.contains("Fotos sin lugar"), "{day:?}");
    // So does the log: its words are the reader's, whoever wrote it.
    assert!(
        day.body.contains("foto guardada en <span lang=\"en\">Cut</span>")
            && !day.body.contains("photo kept"),
        "{day:?}"
    );
    assert!(line_of(&day, "evening.jpg").contains("ningún paso estaba abierto"), "{day:?}");
}

/// The daemon as somebody who may not read every file of others.
fn ordinary(home: &Home) -> Daemon {
    let serve = home.command(["serve", "--port", "0"]);
    if !rustix::process::geteuid().is_root() {
        return Daemon::of(serve);
    }
    let mut command = std::process::Command::new("setpriv");
    command.args(["--bounding-set=-dac_override,-dac_read_search"]);
    command.arg("--inh-caps=-dac_override,-dac_read_search");
    command.arg(serve.get_program()).args(serve.get_args());
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command.env_remove("CHALKHAND_DATA").env_remove("CHALKHAND_LOG");
    Daemon::of(command)
}

#[test]
fn one_that_stays_is_told_again_and_nothing_waits_for_a_burst_to_end() {
    let root = tempfile::tempdir().unwrap();
    let (send, told) = channel();
    let again = Duration::from_millis(300);
    let send = move |dropped| send.send((dropped, Instant::now())).unwrap();
    let _watch = watch_inbox(root.path(), "taken", again, send).unwrap();
    let over = AtomicBool::new(false);
    let next = || told.recv_timeout(Duration::from_secs(20)).unwrap();
    let path = root.path().join("a.jpg");
    std::thread::scope(|scope| {
        // A camera that is being copied goes on and on.
        scope.spawn(|| {
            let begun = Instant::now();
            while !over.load(Ordering::Relaxed) && begun.elapsed() < Duration::from_secs(40) {
                std::fs::write(root.path().join("b.part"), b"more").unwrap();
                std::thread::sleep(Duration::from_millis(20));
            }
        });
        std::fs::write(&path, b"whole").unwrap();
        let first = next();
        over.store(true, Ordering::Relaxed);
        assert_eq!(first.0, Dropped::Whole(path.clone()));
        let (second, third) = (next(), next());
        assert_eq!((&second.0, &third.0), (&first.0, &first.0));
        // Each time after twice as long.
        let waited = [second.1 - first.1, third.1 - second.1];
        assert!(again <= waited[0] && again * 2 <= waited[1], "{waited:?}");
    });
    std::fs::remove_file(&path).unwrap();
    assert_eq!(next().0, Dropped::Gone(path));
}

#[test]
fn a_folder_that_cannot_be_read_keeps_no_other_photo_waiting() {
    let home = short();
    walked(&home, "SW-1");
    let daemon = ordinary(&home);
    let mut office = office(&daemon);
    let may = |mode| {
        let mode = std::os::unix::fs::PermissionsExt::from_mode(mode);
        std::fs::set_permissions(inbox(&home, "locked"), mode).unwrap();
    };
    std::fs::create_dir_all(inbox(&home, "locked")).unwrap();
    may(0o000);
    daemon.says(&["inbox/locked` cannot be read: give"]);
    drop_in(&home, "b.jpg", &at(41, "08:05:00"));
    daemon.says(&["b.jpg: kept in entry"]);
    assert_eq!(kept(&home, "SW-1").len(), 1);
    drop_in(&home, "locked/a.jpg", &at(40, "08:05:00"));
    // It is no job's name, and waits for somebody once it can be read.
    may(0o755);
    daemon.says(&["a.jpg lies in a folder that is called like no job"]);
    // Not gone by being out of sight.
    may(0o000);
    drop_in(&home, "c.jpg", &at(42, "08:05:00"));
    daemon.says(&["cannot be read", "c.jpg: kept in entry"]);
    assert!(office.get("/day").body.contains("locked/a.jpg"));
    may(0o755);
}

#[test]
fn a_photo_has_one_place_whoever_says_it_first() {
    let home = short();
    walked(&home, "SW-1");
    let job = home.write("other.toml", &JOB.replace("SW-1", "SW-2"));
    home.run(["job", "open", job.to_str().unwrap()]).well();
    walked(&home, "SW-2");
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let names = ["Foreman Example", "Other Foreman"];
    let mut both = names.map(|name| invited(&mut office, name, &["foreman"]));
    for width in 40..44 {
        let name = format!("{width}.jpg");
        drop_in(&home, &name, &dated(width, None, None));
        daemon.says(&[&name]);
        let to = page_of(&mut both[0], &name);
        for (browser, job) in both.iter_mut().zip(["SW-1", "SW-2"]) {
            browser.get(&format!("{to}?job={job}"));
        }
        // Both are there before either is answered.
        let asked = [0, 1].map(|nth| {
            let (by, job) = (&both[nth], ["SW-1", "SW-2"][nth]);
            let body = format!("token={}&job={job}&place=short-walk+cut", by.token);
            let mut stream = TcpStream::connect(&daemon.page).unwrap();
            write!(
                stream,
                "POST {to} HTTP/1.1\r\nHost: {0}\r\nOrigin: http://{0}\r\nCookie: {1}\r\n\
                 Content-Type: application/x-www-form-urlencoded\r\nContent-Length: {2}\r\n\
                 Accept: text/html\r\nConnection: close\r\n\r\n{body}",
                daemon.page,
                by.cookie,
                body.len()
            )
            .unwrap();
            stream
        });
        let mut told = asked.map(|mut stream| {
            let mut answer = String::new();
            stream.read_to_string(&mut answer).unwrap();
            Page::of(&answer).status
        });
        told.sort_unstable();
        assert!(told[0] == 303 && [404, 422].contains(&told[1]), "{told:?}");
    }
    assert_eq!(kept(&home, "SW-1").len() + kept(&home, "SW-2").len(), 4);

    // It came by the page meanwhile, to another step: that is where it stays.
    let bytes = dated(50, None, None);
    drop_in(&home, "late.jpg", &bytes);
    daemon.says(&["late.jpg does not say"]);
    let [foreman, _] = &mut both;
    let to = page_of(foreman, "late.jpg");
    foreman.get("/job/SW-1");
    let token = foreman.token.clone();
    let form: [Part<'_>; 4] = [
        ("token", None, token.as_bytes()),
        ("place", None, b"short-walk wear"),
        ("caption", None, b""),
        ("photo", Some("late.jpg"), &bytes),
    ];
    let sent = bring(foreman, "/job/SW-1/photos", "text/html", &form);
    assert_eq!(sent.status, 303, "{sent:?}");
    let before = kept(&home, "SW-1").len();
    foreman.get(&format!("{to}?job=SW-1"));
    let sent = foreman.send(&to, &[("job", "SW-1"), ("place", "short-walk cut")]);
    assert!(sent.status == 422 && sent.body.contains("This photo is kept already"), "{sent:?}");
    assert_eq!(kept(&home, "SW-1").len(), before);

    // Kept, and its file in the way: it is told, and cannot be placed again.
    std::fs::rename(inbox(&home, "taken"), inbox(&home, "taken-away")).unwrap();
    drop_in(&home, "taken", b"no folder");
    drop_in(&home, "SW-1/stays.jpg", &at(60, "08:05:00"));
    daemon.says(&["SW-1/stays.jpg is kept in entry", "of job SW-1 and was not moved"]);
    let day = foreman.get("/day");
    let line = line_of(&day, "SW-1/stays.jpg");
    assert!(line.contains("its file was not moved") && !line.contains("/inbox/"), "{line}");
    std::fs::remove_file(inbox(&home, "taken")).unwrap();
    drop_in(&home, "SW-1/stays.jpg", &at(60, "08:05:00"));
    daemon.says(&["stays.jpg: kept already, in entry"]);
    assert!(inbox(&home, "taken/SW-1/stays.jpg").is_file());
}

#[test]
fn another_file_under_the_name_is_not_placed() {
    let home = short();
    walked(&home, "SW-1");
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    drop_in(&home, "a.jpg", &dated(40, None, None));
    daemon.says(&["a.jpg does not say when it was taken"]);
    let to = page_of(&mut office, "a.jpg");
    office.get(&format!("{to}?job=SW-1"));
    drop_in(&home, "a.jpg", &dated(41, None, None));
    let sent = office.send(&to, &[("job", "SW-1"), ("place", "-")]);
    // By then it may have been looked at again: it is another photo then too.
    assert!([404, 422].contains(&sent.status), "{sent:?}");
    assert_eq!(kept(&home, "SW-1").len(), 0);
    assert!(inbox(&home, "a.jpg").is_file());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Only what the standard writes is an offset, and it is that one.
    #[test]
    fn an_offset_is_one_or_none(text in prop_oneof!["[ -~]{0,9}", "[+-][0-9]{2}:[0-9]{2}"]) {
        let read = ready(dated(40, Some("2026:11:25 08:05:09"), Some(&text)), None, Location::Drop);
        let read = read.unwrap().moment.unwrap().offset;
        let text = text.trim();
        match read {
            Some(offset) => {
                let (sign, seconds) = if offset.is_negative() { ('-', -offset.seconds()) } else { (text.chars().next().unwrap(), offset.seconds()) };
                prop_assert_eq!(format!("{sign}{:02}:{:02}", seconds / 3_600, seconds / 60 % 60), text);
            }
            None => {
                let hours = text.get(1..3).and_then(|hours| hours.parse::<u32>().ok());
                let minutes = text.get(4..).and_then(|minutes| minutes.parse::<u32>().ok());
                let plain = text.len() == 6 && text.starts_with(['+', '-']) && &text[3..4] == ":"
                    && text.bytes().filter(u8::is_ascii_digit).count() == 4;
                prop_assert!(!plain || hours > Some(15) || minutes > Some(59), "{text}");
            }
        }
    }
}

/// What the file says of the moment, to the letter of the standard.
#[test]
fn the_moment_is_read_as_the_standard_writes_it() {
    let moment = |original: Option<&str>, offset: Option<&str>| {
        ready(dated(40, original, offset), None, Location::Drop).unwrap().moment
    };
    let (time, zone) = ("2026:11:25 08:05:09", TimeZone::get("America/New_York").unwrap());
    let west = moment(Some(time), Some("-05:00")).unwrap();
    assert_eq!(west.offset, Some(Offset::from_seconds(-5 * 3_600).unwrap()));
    assert_eq!(west.instant(&TimeZone::UTC).unwrap().to_string(), "2026-11-25T13:05:09Z");
    let half = moment(Some(time), Some("+05:30")).unwrap();
    assert_eq!(half.instant(&TimeZone::UTC).unwrap().to_string(), "2026-11-25T02:35:09Z");
    for none in
        [None, Some("   :  "), Some("-5:00"), Some("+24:00"), Some("+05:60"), Some("EST"), Some("")]
    {
        let read = moment(Some(time), none).unwrap();
        assert_eq!(read.offset, None, "{none:?}");
        assert_eq!(read.instant(&zone).unwrap().to_string(), "2026-11-25T13:05:09Z");
    }
    // When the file was written is not when the picture was made.
    for none in [None, Some("2026:11:25"), Some("    :  :     :  :  "), Some("2026:02:30 08:00:00")]
    {
        assert_eq!(moment(none, Some("-05:00")), None, "{none:?}");
    }
    // An hour that comes twice, or never, is no moment without its offset.
    for time in ["2026:11:01 01:30:00", "2026:03:08 02:30:00"] {
        assert_eq!(moment(Some(time), None).unwrap().instant(&zone), None, "{time}");
        assert!(moment(Some(time), Some("-05:00")).unwrap().instant(&zone).is_some());
    }
}
