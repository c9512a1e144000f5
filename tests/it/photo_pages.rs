//! Photos brought on the pages: from the roof screen, where the walk hears of it,
//! and from the page of a job.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;

use chalkhand::domain::{Draft, How, Photo, WalkId, What};
use chalkhand::photo::MOST_BYTES;
use chalkhand::store::{Photos, Store};

use crate::drafts::draft;
use crate::pages::{Browser, Page, invited, invited_reading, office};
use crate::photo_files::jpeg;
use crate::program::Home;
use crate::roof::{CHECKLIST, JOB, PATH, entries, field, goes, short};
use crate::serve::Daemon;

/// A part of a form: its name, the name of its file where it is one, its bytes.
pub(crate) type Part<'a> = (&'a str, Option<&'a str>, &'a [u8]);

/// Sends a form with files (RFC 7578), as a browser would that wants `accept`.
pub(crate) fn bring(browser: &Browser<'_>, path: &str, accept: &str, parts: &[Part<'_>]) -> Page {
    let mut body = Vec::new();
    for (name, file, bytes) in parts {
        body.extend(b"--edge\r\n");
        let file = file.map(|file| format!("; filename=\"{file}\"\r\nContent-Type: image/jpeg"));
        let file = file.unwrap_or_default();
        body.extend(
            format!("Content-Disposition: form-data; name=\"{name}\"{file}\r\n\r\n").bytes(),
        );
        body.extend(*bytes);
        body.extend(b"\r\n");
    }
    body.extend(b"--edge--\r\n");
    let page = &browser.daemon.page;
    let mut stream = TcpStream::connect(page).unwrap();
    let head = format!(
        "POST {path} HTTP/1.1\r\nHost: {page}\r\nOrigin: http://{page}\r\nCookie: {}\r\n\
         Accept: {accept}\r\nContent-Length: {}\r\nConnection: close\r\n\
         Content-Type: multipart/form-data; boundary=edge\r\n\r\n",
        browser.cookie,
        body.len()
    );
    stream.write_all(head.as_bytes()).unwrap();
    // One who is refused at once is not read to the end.
    let _ = stream.write_all(&body);
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    Page::of(&answer)
}

/// The hidden fields of the form that takes a photo.
fn shot(page: &Page) -> Vec<(String, String)> {
    let (_, form) = page.body.split_once("<form class=\"shot\"").expect("a form for a photo");
    let form = form.split("</form>").next().unwrap();
    assert!(form.contains("enctype=\"multipart/form-data\""), "{form}");
    assert!(form.contains("accept=\"image/*\" capture=\"environment\""), "{form}");
    let inputs = form.split("<input type=\"hidden\" name=\"").skip(1).map(|input| {
        let mut parts = input.split('"');
        (parts.next().unwrap().to_owned(), parts.nth(1).unwrap().to_owned())
    });
    inputs.collect()
}

/// Takes a photo as the page's form would, with or without a script.
fn take(browser: &Browser<'_>, page: &Page, accept: &str, bytes: &[u8]) -> Page {
    let fields = shot(page);
    let mut parts: Vec<Part<'_>> =
        fields.iter().map(|(name, value)| (&name[..], None, value.as_bytes())).collect();
    parts.push(("photo", Some("image.jpg"), bytes));
    bring(browser, &format!("{PATH}/photo"), accept, &parts)
}

fn kept(home: &Home) -> Vec<(Draft, Photo)> {
    let kept = entries(home).into_iter().filter_map(|entry| match entry.draft.what.clone() {
        What::PhotoKept { photo, .. } => Some((entry.draft, *photo)),
        _ => None,
    });
    kept.collect()
}

/// How often the walk was told that a photo was taken.
fn told(home: &Home) -> usize {
    let is = |what: &What| matches!(what, What::PhotoTaken { .. });
    entries(home).iter().filter(|entry| is(&entry.draft.what)).count()
}

fn step_of(draft: &Draft) -> String {
    draft.what.step().map(ToString::to_string).unwrap_or_default()
}

/// The short walk with another text of its checklist.
fn short_with(from: &str, to: &str) -> Home {
    let home = Home::new();
    let checklist = home.write("short-walk.toml", &CHECKLIST.replace(from, to));
    home.run(["checklist", "adopt", checklist.to_str().unwrap()]).well();
    let job = home.write("job.toml", JOB);
    home.run(["job", "open", job.to_str().unwrap()]).well();
    home
}

#[test]
fn a_photo_taken_on_the_roof_is_kept_and_the_walk_hears_of_it() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    let page = crew.get(PATH);
    assert!(page.body.contains("Take a photo") && page.body.contains("Photos wanted: 1"));
    let bytes = jpeg(6, 80, 60);
    let sent = take(&crew, &page, "text/html", &bytes);
    assert_eq!((sent.status, sent.to()), (303, PATH), "{sent:?}");

    let [(draft, photo)] = &kept(&home)[..] else { panic!("one is kept: {:?}", kept(&home)) };
    assert_eq!((step_of(draft).as_str(), &draft.by[..]), ("wear", "Installer Example"));
    assert_eq!((&draft.walk, &draft.how), (&Some(WalkId::first("short-walk")), &How::Touch));
    assert_eq!((photo.width_px, photo.height_px), (80, 60), "upright");
    assert!(photo.location_removed());
    let photos = Photos::of(&home.path("data"));
    assert!(photos.original(photo).unwrap().is_some());
    assert!(photos.preview(photo.preview_sha256).unwrap().is_some());
    // The walk heard its own answer, by touch, after the photo was there.
    let words: Vec<String> =
        entries(&home).iter().map(|entry| entry.draft.what.word().to_owned()).collect();
    let at = words.iter().position(|word| word == "photo-kept").unwrap();
    assert_eq!(words[at + 1..], ["photo-taken"]);
    assert_eq!(entries(&home).last().unwrap().draft.how, How::Touch);
    let page = crew.get(PATH);
    assert!(!page.body.contains("Photos wanted") && page.body.contains("Logged."), "{page:?}");

    // Sent twice is one, by the form that was sent and by the one shown now.
    let again = take(&crew, &page, "application/json", &bytes);
    assert_eq!(again.status, 200, "{again:?}");
    assert!(again.body.contains("\"before\":true"), "{again:?}");
    assert_eq!((kept(&home).len(), told(&home)), (1, 1));

    // On a step that wants none it is kept; nothing is answered.
    let page = goes(&mut crew, &page, "step-done", "");
    assert!(page.body.contains("Add a photo to this step") && page.body.contains("Nail line"));
    let sent = take(&crew, &page, "application/json", &jpeg(1, 50, 40));
    assert!(sent.status == 200 && sent.body.contains("\"before\":false"), "{sent:?}");
    assert_eq!(step_of(&kept(&home)[1].0), "line");
    assert_eq!(told(&home), 1);
    assert!(crew.get(PATH).body.contains("Snap the line"));
    // The photo of one step is not that of another.
    let page = crew.get(PATH);
    let other = take(&crew, &page, "text/html", &bytes);
    assert!(other.status == 422 && other.body.contains("kept already"), "{other:?}");
    assert_eq!(kept(&home).len(), 2);
    home.run(["doctor"]);
}

#[test]
fn a_photo_sent_twice_is_not_two_that_the_step_wants() {
    let home = short_with("photo = 1", "photo = 2");
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    let first = crew.get(PATH);
    assert!(first.body.contains("Photos wanted: 2"), "{first:?}");
    let bytes = jpeg(1, 60, 40);
    assert_eq!(take(&crew, &first, "text/html", &bytes).status, 303);
    let second = crew.get(PATH);
    assert!(second.body.contains("Photos wanted: 1"), "{second:?}");
    // As a phone that heard no reply sends it, and under another name.
    for page in [&first, &second] {
        assert_eq!(take(&crew, page, "text/html", &bytes).status, 303);
    }
    assert_eq!((kept(&home).len(), told(&home)), (1, 1));
    assert!(crew.get(PATH).body.contains("Photos wanted: 1"));
    // And by a daemon that was started anew.
    let cookie = crew.cookie.clone();
    drop((office, crew));
    drop(daemon);
    let daemon = Daemon::start(&home);
    let mut crew = Browser::new(&daemon);
    crew.cookie = cookie;
    let page = crew.get(PATH);
    assert_eq!(take(&crew, &page, "text/html", &bytes).status, 303);
    assert_eq!((kept(&home).len(), told(&home)), (1, 1));
    let page = crew.get(PATH);
    assert_eq!(take(&crew, &page, "text/html", &jpeg(1, 61, 40)).status, 303);
    assert_eq!((kept(&home).len(), told(&home)), (2, 2));
    assert!(!crew.get(PATH).body.contains("Photos wanted"));
}

#[test]
fn a_photo_sent_late_stays_with_its_step() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    let first = crew.get(PATH);
    let next = goes(&mut crew, &first, "step-done", "");
    assert!(next.body.contains("Snap the line"), "{next:?}");
    // The connection is back: the walk has gone on, and is asked nothing.
    let sent = take(&crew, &first, "text/html", &jpeg(1, 60, 40));
    assert_eq!(sent.status, 303, "{sent:?}");
    assert_eq!((step_of(&kept(&home)[0].0).as_str(), told(&home)), ("wear", 0));
    assert!(crew.get(PATH).body.contains("Snap the line"));
}

#[test]
fn a_photo_of_another_day_begins_no_walk() {
    let home = short_with("version = \"1.0.0\"", "version = \"1.0.0\"\nrepeats = \"daily\"");
    let mut store = Store::open(&home.path("data/log.sqlite")).unwrap();
    let pin = store.job("SW-1").unwrap().unwrap().pins.remove(0);
    let what = What::WalkBegun { version: pin.version, hash: pin.hash };
    let walk = Some(WalkId::first("short-walk"));
    let at = "2026-05-04T08:00:00-04:00".parse().unwrap();
    store.append(&Draft { walk, at, ..draft("SW-1", "begin", what) }, None).unwrap();
    drop(store);
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    let bytes = jpeg(1, 60, 40);
    // Whoever may not walk may not here either, where no walk is taken up.
    for (who, status) in [(&mut desk, 403), (&mut crew, 303)] {
        let token = field(&who.get("/you"), "token").to_owned();
        let parts: [Part<'_>; 4] = [
            ("token", None, token.as_bytes()),
            ("walk", None, b"short-walk"),
            ("step", None, b"wear"),
            ("photo", Some("a.jpg"), &bytes),
        ];
        let sent = bring(who, &format!("{PATH}/photo"), "text/html", &parts);
        assert_eq!(sent.status, status, "{sent:?}");
        assert_eq!(kept(&home).len(), usize::from(status == 303));
    }
    let begun = |what: &What| matches!(what, What::WalkBegun { .. });
    assert_eq!(entries(&home).iter().filter(|entry| begun(&entry.draft.what)).count(), 1);
}

#[test]
fn what_is_no_photo_of_ours_is_refused_and_nothing_is_kept() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    let page = crew.get(PATH);
    let to = format!("{PATH}/photo");
    let token = field(&page, "token").to_owned();
    let of_desk = field(&desk.get("/you"), "token").to_owned();
    let bytes = jpeg(1, 60, 40);
    let photo: Part<'_> = ("photo", Some("a.jpg"), &bytes);
    let ours: Part<'_> = ("token", None, token.as_bytes());
    let (walk, step): (Part<'_>, Part<'_>) =
        (("walk", None, b"short-walk"), ("step", None, b"wear"));
    let before = entries(&home).len();
    let stranger = Browser::new(&daemon);
    let long = vec![b'x'; 5_000];
    for (who, parts, status, says) in [
        (&crew, &[walk, step, photo][..], 403, "not-from-our-page"),
        (&crew, &[photo, ours, walk, step], 403, "not-from-our-page"),
        (&crew, &[("token", None, of_desk.as_bytes()), walk, step, photo], 403, "not-from-our"),
        (&desk, &[("token", None, of_desk.as_bytes()), walk, step, photo], 403, "not-your-role"),
        (&stranger, &[ours, walk, step, photo], 401, "sign-in-needed"),
        (&crew, &[ours, walk, step], 422, "Choose one photo"),
        (&crew, &[ours, walk, step, ("photo", Some(""), b"")], 422, "Choose one photo"),
        (&crew, &[ours, walk, step, photo, photo], 422, "Choose one photo"),
        (&crew, &[ours, walk, step, ("photo", Some("a"), b"to whom")], 422, "is no JPEG or PNG"),
        (&crew, &[ours, walk, step, ("photo", Some("a"), &bytes[..900])], 422, "not whole"),
        (&crew, &[ours, walk, ("step", None, b"nosuch"), photo], 422, "no step `nosuch`"),
        (&crew, &[ours, ("walk", None, b"deck-intake"), step, photo], 403, "not-from-our-page"),
        (&crew, &[ours, ("walk", None, b"short-walk/2"), step, photo], 422, "was not begun"),
        (&crew, &[ours, walk, ("step", None, &long), photo], 403, "not-from-our-page"),
        (&crew, &[ours, photo], 422, "cannot be read"),
    ] {
        let refused = bring(who, &to, "application/json", parts);
        assert_eq!(refused.status, status, "{says}: {refused:?}");
        assert_eq!(refused.headers["content-type"], "application/problem+json", "RFC 9457");
        assert!(refused.body.contains(says), "{says}: {refused:?}");
    }
    // Larger than a photo may be: told, as a problem and as a page, and not cut off.
    let most = usize::try_from(MOST_BYTES).unwrap();
    let large = [&bytes[..], &vec![0; most]].concat();
    let parts = [ours, walk, step, ("photo", Some("a.jpg"), &large)];
    let refused = bring(&crew, &to, "application/json", &parts);
    assert!(
        refused.status == 413 && refused.body.contains("urn:chalkhand:too-large"),
        "{refused:?}"
    );
    let refused = bring(&crew, &to, "text/html", &parts);
    assert!(refused.status == 413 && refused.body.contains("may have 40 MiB"), "{refused:?}");
    assert_eq!(entries(&home).len(), before);
    assert_eq!(Photos::of(&home.path("data")).files().unwrap(), Vec::<std::path::PathBuf>::new());
    // A form that is none.
    let plain = crew.send(&to, &[("walk", "short-walk")]);
    assert_eq!(plain.status, 422, "{plain:?}");
}

#[test]
fn photos_are_brought_to_a_step_from_the_page_of_the_job() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut crew = invited(&mut office, "Installer Example", &["installer"]);
    let mut foreman = invited(&mut office, "Foreman Example", &["foreman"]);
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    crew.get(PATH);
    let page = desk.get("/job/SW-1");
    assert!(page.body.contains("Photos kept: 0") && !page.body.contains("Add photos"), "{page:?}");
    let files = [jpeg(1, 50, 40), jpeg(1, 51, 40), jpeg(1, 52, 40), jpeg(1, 53, 40)];
    let send = |who: &mut Browser<'_>, place: &str, photos: &[&[u8]]| {
        let page = who.get("/job/SW-1");
        let token = field(&who.get("/you"), "token").to_owned();
        let caption = "slot <b>open</b>".as_bytes();
        let mut parts: Vec<Part<'_>> = vec![
            ("token", None, token.as_bytes()),
            ("place", None, place.as_bytes()),
            ("caption", None, caption),
        ];
        parts.extend(photos.iter().map(|bytes| ("photo", Some("<i>.jpg"), *bytes)));
        (page, bring(who, "/job/SW-1/photos", "text/html", &parts))
    };
    let (page, sent) = send(&mut office, "short-walk cut", &[&files[0], &files[1]]);
    assert!(page.body.contains("value=\"short-walk cut\"") && page.body.contains("Add photos"));
    assert_eq!((sent.status, sent.to()), (303, "/job/SW-1#photos"), "{sent:?}");
    let (_, sent) = send(&mut foreman, "-", &[&files[2]]);
    assert_eq!(sent.status, 303, "{sent:?}");
    let all = kept(&home);
    let said: Vec<(String, &str, Option<&str>)> = all
        .iter()
        .map(|(draft, photo)| (step_of(draft), &draft.by[..], photo.caption.as_deref()))
        .collect();
    let caption = Some("slot <b>open</b>");
    assert_eq!(
        said,
        [
            ("cut".to_owned(), "Office Example", caption),
            ("cut".to_owned(), "Office Example", caption),
            (String::new(), "Foreman Example", caption),
        ]
    );
    assert_eq!(told(&home), 0, "nobody at the walk said so");
    // Each is told of: one is there, one is none, one is kept.
    let (_, sent) = send(&mut crew, "short-walk line", &[&files[0], b"no photo", &files[3]]);
    assert_eq!(sent.status, 422, "{sent:?}");
    for part in ["kept already", "is no JPEG or PNG", "Photo kept, entry", "&lt;i&gt;.jpg"] {
        assert!(sent.body.contains(part), "{part}: {sent:?}");
    }
    assert_eq!(kept(&home).len(), 4);
    for (place, status) in [("", 403), ("short-walk nosuch", 422), ("nosuch wear", 422)] {
        assert_eq!(send(&mut crew, place, &[&files[0]]).1.status, status, "{place}");
    }
    assert_eq!(send(&mut crew, "-", &[]).1.status, 422);
    assert_eq!(send(&mut desk, "-", &[&files[0]]).1.status, 403);
    let (token, long) = (field(&crew.get("/you"), "token").to_owned(), "é".repeat(201));
    let parts: [Part<'_>; 4] = [
        ("token", None, token.as_bytes()),
        ("place", None, b"-"),
        ("caption", None, long.as_bytes()),
        ("photo", Some("a.jpg"), &jpeg(1, 54, 40)),
    ];
    let sent = bring(&crew, "/job/SW-1/photos", "text/html", &parts);
    assert!(sent.status == 422 && sent.body.contains("longer than the log keeps"), "{sent:?}");
    assert_eq!(kept(&home).len(), 4);
    assert!(desk.get("/job/SW-1").body.contains("Photos kept: 4"));
}

#[test]
fn it_is_asked_for_in_each_language() {
    let home = short();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let roles = &["installer"][..];
    let mut crew = invited_reading(&mut office, "Instalador Example", roles, "us", "es");
    let page = crew.get(PATH);
    assert!(page.body.contains("Tomar una foto") && page.body.contains("Fotos que faltan: 1"));
    assert!(crew.get("/job/SW-1").body.contains("Fotos guardadas: 0"));
    let refused = take(&crew, &page, "text/html", b"no photo");
    assert!(refused.status == 422 && refused.body.contains("La foto no se guard"), "{refused:?}");
}
