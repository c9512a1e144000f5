//! Photos over the HTTP interface: brought, listed and given back to the byte; kept
//! once and at one place; and the sounds of a job.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;

use chalkhand::domain::{Draft, Hash, How, Photo, WalkId, What};
use chalkhand::photo::MOST_BYTES;
use chalkhand::store::Photos;
use serde_json::{Value, json};

use crate::api::{JOB, Program, Told, ask, key};
use crate::bundle::{export, worked};
use crate::day_pages::{count, since, store};
use crate::drafts::{draft, job, note};
use crate::pages::{invited, office};
use crate::photo_files::{encoded, is_upright, jpeg};
use crate::photos::{begun, file, photos_of};
use crate::program::Home;
use crate::serve::Daemon;

const JPEG: &str = "Content-Type: image/jpeg\r\n";
/// At the first step of the walk that was begun.
const INSIDE: &str = "?walk=deck-intake&step=look-inside";

fn bring(program: &Program<'_>, below: &str, bytes: &[u8]) -> Told {
    program.ask("POST", &format!("{JOB}/photos{below}"), JPEG, bytes)
}

/// What an entry by this answer keeps, as it stands in the log.
fn kept(home: &Home, told: &Told) -> (Draft, Photo) {
    let seq = told.json()["seq"].as_u64().unwrap();
    let mut entries = since(home, 0).into_iter();
    let draft = entries.find(|entry| entry.seq == seq).unwrap().draft;
    match draft.what.clone() {
        What::PhotoKept { photo, .. } => (draft, *photo),
        other => panic!("{other:?}"),
    }
}

fn header<'a>(told: &'a Told, name: &str) -> &'a str {
    told.headers.get(name).map_or("", String::as_str)
}

#[test]
fn a_photo_is_brought_listed_and_given_back() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    invited(&mut office, "Installer Example", &["installer"]);
    let program = key(&mut office, "Installer Example");
    let empty = program.get(&format!("{JOB}/photos"));
    assert_eq!(empty.json(), json!({ "job": "EX-0001", "photos": [] }));

    let sent = jpeg(6, 80, 60);
    let caption = "d\u{ed}a \u{201c}1\u{201d} <b>#&";
    let asked = format!("{INSIDE}&caption=+d%C3%ADa%20%E2%80%9C1%E2%80%9D%20%3Cb%3E%23%26%20");
    let told = bring(&program, &asked, &sent);
    assert_eq!(told.status, 201, "{}", told.json());
    let (draft, photo) = kept(&home, &told);
    assert_eq!((&draft.how, draft.by.as_str()), (&How::Http, "Installer Example"));
    assert_eq!(draft.walk, Some(WalkId::first("deck-intake")));
    assert_eq!(draft.what.step().unwrap().to_string(), "look-inside");
    assert_eq!(photo.caption.as_deref(), Some(caption));
    // Exactly what the command makes of that file: one way in.
    let other = begun();
    let path = file(&other, "a.jpg", &sent);
    let words = ["photo", "EX-0001", path.to_str().unwrap(), "--by", "Installer Example"];
    other.run([&words[..], &["--step", "look-inside", "--caption", caption]].concat()).well();
    assert_eq!(photos_of(&other)[0].1, photo);
    assert!(photo.location_removed());

    let list = program.get(&format!("{JOB}/photos"));
    assert_eq!(list.headers["etag"], program.get(JOB).headers["etag"]);
    let shown = list.json()["photos"][0].clone();
    let mut of_record = program.get(JOB).json()["photos"][0].clone();
    let address = |hash: Hash| format!("{JOB}/photos/{hash}");
    of_record["walk"] = json!("deck-intake");
    of_record["href"] = json!(address(photo.sha256));
    of_record["preview_href"] = json!(address(photo.preview_sha256));
    assert_eq!(shown, of_record, "as the record has it");
    for (name, value) in [
        ("sha256", json!(photo.sha256.to_string())),
        ("caption", json!(caption)),
        ("step", json!("look-inside")),
        ("by", json!("Installer Example")),
        ("entry_seq", told.json()["seq"].clone()),
        ("size_bytes", json!(photo.size_bytes)),
        ("media_type", json!("image/jpeg")),
        ("taken_by_camera_clock", json!("2026-11-25T10:04:59")),
        ("width_px", json!(80)),
        ("height_px", json!(60)),
    ] {
        assert_eq!(shown[name], value, "{name}");
    }

    // The file to the byte, under the address it was given.
    assert_eq!(told.headers["location"], shown["href"]);
    let whole = program.get(shown["href"].as_str().unwrap());
    assert_eq!((whole.status, whole.media()), (200, "image/jpeg"));
    assert_eq!(Hash::of(&whole.bytes), photo.sha256);
    assert_eq!(json!(whole.bytes.len()), shown["size_bytes"]);
    for secret in [&b"12 Example Street"[..], b"41,13.95N"] {
        let has = |bytes: &[u8]| bytes.windows(secret.len()).any(|part| part == secret);
        assert!(has(&sent) && !has(&whole.bytes), "the place stays away");
    }
    let tag = format!("\"{}\"", photo.sha256);
    assert_eq!(header(&whole, "etag"), tag);
    assert_eq!(header(&whole, "x-content-type-options"), "nosniff");
    assert_eq!(header(&whole, "cache-control"), "private, max-age=600");
    let again = |more: &str| program.ask("GET", &address(photo.sha256), more, "");
    for known in [tag.clone(), format!("\"x\", W/{tag}"), "*".to_owned()] {
        let told = again(&format!("If-None-Match: {known}\r\n"));
        assert_eq!((told.status, told.bytes.len(), header(&told, "etag")), (304, 0, &tag[..]));
    }
    assert_eq!(again("If-None-Match: \"x\"\r\n").bytes, whole.bytes);
    let part = again("Range: bytes=0-2\r\n");
    assert_eq!((part.status, &part.bytes[..]), (206, &[0xff, 0xd8, 0xff][..]));
    // The smaller picture lies upright, however the file does.
    let preview = program.get(shown["preview_href"].as_str().unwrap());
    assert_eq!((preview.status, preview.media()), (200, "image/jpeg"));
    let picture = image::load_from_memory(&preview.bytes).unwrap().to_rgb8();
    assert_eq!(picture.dimensions(), (80, 60));
    assert!(is_upright(&picture));
    let lying = image::load_from_memory(&whole.bytes).unwrap().to_rgb8();
    assert!(!is_upright(&lying), "the file was turned");

    // The page of the job counts it, and its own address gives the same bytes.
    assert!(office.get("/job/EX-0001").body.contains("Photos kept: 1"));
    let page = crate::day_pages::bytes(
        &daemon,
        &office,
        &format!("/job/EX-0001/photo/{}", photo.sha256),
        "",
    );
    assert_eq!((page.0.status, page.1), (200, whole.bytes));
    assert_eq!(page.0.headers["etag"], tag);
    assert!(home.run(["doctor"]).out.contains("photos"));
}

#[test]
fn a_photo_is_one_however_often_it_is_sent() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let (office_key, cookie) = (key(&mut office, "Office Example"), office.cookie.clone());
    let bytes = jpeg(1, 60, 40);
    let first = bring(&office_key, &format!("{INSIDE}&caption=first"), &bytes);
    assert_eq!(first.status, 201, "{}", first.json());
    let before = count(&home);
    // The answer was lost; others wrote since, and the words were chosen anew.
    store(&home).append(&note("EX-0001", "meanwhile"), None).unwrap();
    for below in [format!("{INSIDE}&caption=first"), format!("{INSIDE}&caption=second")] {
        let again = bring(&office_key, &below, &bytes);
        assert_eq!((again.status, again.json()), (200, first.json()), "{below}");
        assert_eq!(again.headers["location"], first.headers["location"]);
        assert!(!again.headers.contains_key("etag"), "who asks need not know what others wrote");
    }
    // Its file as it is kept is the same photo.
    let without = office_key.get(&first.headers["location"]).bytes;
    assert_ne!(without, bytes);
    assert_eq!(bring(&office_key, INSIDE, &without).status, 200);
    // One photo belongs to one place.
    for below in ["", "?walk=deck-intake", "?walk=deck-intake&step=cut%231"] {
        let told = bring(&office_key, below, &bytes);
        told.is(409, "does-not-go");
        assert!(told.json()["detail"].as_str().unwrap().contains("kept already"), "{below}");
    }
    assert_eq!(count(&home), before + 1, "nothing but the note was added");
    assert_eq!(Photos::of(&home.path("data")).files().unwrap().len(), 2);

    // By a page's sign-in it was touched; of the job, of a walk, of a step with its row.
    let you = ask(&daemon, "GET", "/api/v1/you", &format!("Cookie: {cookie}\r\n"), "").json();
    let token = format!("X-Form-Token: {}\r\n", you["token"].as_str().unwrap());
    let by_page = format!("Cookie: {cookie}\r\n{JPEG}");
    let path = format!("{JOB}/photos?caption=%20");
    ask(&daemon, "POST", &path, &by_page, jpeg(1, 61, 40)).is(403, "not-from-our-page");
    let told = ask(&daemon, "POST", &path, &format!("{by_page}{token}"), jpeg(1, 61, 40));
    assert_eq!(told.status, 201, "{}", told.json());
    let (by_hand, photo) = kept(&home, &told);
    assert_eq!((by_hand.how, by_hand.walk, photo.caption), (How::Touch, None, None));
    let told = bring(&office_key, "?walk=deck-intake", &jpeg(1, 62, 40));
    let (of_walk, _) = kept(&home, &told);
    assert_eq!((of_walk.walk.is_some(), of_walk.what.step()), (true, None));
    // PNG, whatever the request calls it; after the walk has ended too.
    let pins = store(&home).job("EX-0001").unwrap().unwrap().pins;
    let pin = pins.into_iter().find(|pin| pin.id == "deck-intake").unwrap();
    let begun = What::WalkBegun { version: pin.version, hash: pin.hash };
    for (nth, key, what) in [(1, "ended", What::WalkEnded), (2, "begun again", begun)] {
        let walk = Some(WalkId { checklist: "deck-intake".to_owned(), nth });
        let entry = Draft { walk, ..draft("EX-0001", key, what) };
        store(&home).append(&entry, None).unwrap();
    }
    let png = encoded(&image::RgbImage::new(20, 10).into(), image::ImageFormat::Png);
    let told = bring(&office_key, "?walk=deck-intake&step=cut%231", &png);
    assert_eq!((told.status, &told.json()["photo"]["media_type"]), (201, &json!("image/png")));
    assert_eq!(told.json()["step"], json!("cut#1"));
    assert_eq!(office_key.get(&told.headers["location"]).media(), "image/png");
    let told = bring(&office_key, "?walk=deck-intake/2&step=look-inside", &jpeg(1, 63, 40));
    assert_eq!((told.status, &told.json()["walk"]), (201, &json!("deck-intake/2")));
    let list = office_key.get(&format!("{JOB}/photos")).json();
    let steps: Vec<(&Value, &Value)> = list["photos"]
        .as_array()
        .unwrap()
        .iter()
        .map(|photo| (&photo["walk"], &photo["step"]))
        .collect();
    let walk = json!("deck-intake");
    assert_eq!(
        steps,
        [
            (&walk, &json!("look-inside")),
            (&Value::Null, &Value::Null),
            (&walk, &Value::Null),
            (&walk, &json!("cut#1")),
            (&json!("deck-intake/2"), &json!("look-inside")),
        ]
    );
}

#[test]
fn what_is_no_photo_of_a_step_is_refused_and_nothing_is_kept() {
    let home = begun();
    // The record of another device, which is only read.
    let away = worked();
    let bundle = export(&away, "EX-0001", "bundle.zip");
    home.run(["import", bundle.to_str().unwrap()]).well();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    invited(&mut office, "Foreman Example", &["foreman"]);
    invited(&mut office, "Desk Example", &["desk"]);
    let [foreman, desk] = ["Foreman Example", "Desk Example"].map(|name| key(&mut office, name));
    let (bytes, before) = (jpeg(1, 64, 40), count(&home));
    let files = || Photos::of(&home.path("data")).files().unwrap();
    let imported_files = files();
    let imported = foreman.get("/api/v1/jobs").json();
    let imported = imported["jobs"].as_array().unwrap();
    let imported = imported.iter().find_map(|job| job["imported_as"].as_str()).unwrap();

    for (kind, status, word) in [
        ("", 415, "no-photo"),
        ("Content-Type: application/json\r\n", 415, "no-photo"),
        ("Content-Type: application/octet-stream\r\n", 415, "no-photo"),
        ("Content-Type: image/gif\r\n", 415, "no-photo"),
        ("Content-Type: multipart/form-data; boundary=image/png\r\n", 415, "no-photo"),
    ] {
        foreman.ask("POST", &format!("{JOB}/photos{INSIDE}"), kind, &bytes).is(status, word);
    }
    for (body, says) in [
        (&b""[..], "is no JPEG or PNG"),
        (b"no photo", "is no JPEG or PNG"),
        (&bytes[..900], "is damaged or not whole"),
    ] {
        let told = bring(&foreman, INSIDE, body);
        told.is(422, "unusable");
        assert!(told.json()["detail"].as_str().unwrap().contains(says), "{}", told.json());
    }
    let long = "x".repeat(201);
    for (below, status, word) in [
        ("?walk=deck-intake&step=nosuch".to_owned(), 409, "does-not-go"),
        ("?walk=deck-intake&step=cut%23999".to_owned(), 409, "does-not-go"),
        ("?walk=start-of-day&step=weather".to_owned(), 409, "does-not-go"),
        ("?walk=deck-intake/2&step=look-inside".to_owned(), 409, "does-not-go"),
        ("?walk=deck-intake/01".to_owned(), 409, "does-not-go"),
        ("?step=look-inside".to_owned(), 422, "unusable"),
        ("?walk=&step=look-inside".to_owned(), 422, "unusable"),
        ("?walk=deck-intake&step=".to_owned(), 422, "unusable"),
        (format!("?walk={long}"), 422, "unusable"),
        (format!("{INSIDE}&caption={long}"), 422, "unusable"),
        ("?walk=deck-intake&walk=deck-intake".to_owned(), 400, "not-understood"),
    ] {
        let told = bring(&foreman, &below, &bytes);
        assert_eq!(told.status, status, "{below}: {}", told.json());
        told.is(status, word);
    }
    for number in ["NONE", imported] {
        let path = format!("/api/v1/jobs/{number}/photos");
        foreman.ask("POST", &path, JPEG, &bytes).is(404, "not-found");
        foreman.get(&path).is(404, "not-found");
    }
    desk.ask("POST", &format!("{JOB}/photos{INSIDE}"), JPEG, &bytes).is(403, "not-your-role");
    ask(&daemon, "POST", &format!("{JOB}/photos{INSIDE}"), JPEG, &bytes).is(401, "sign-in-needed");
    let foreign = format!("{JPEG}Origin: https://evil.example\r\n");
    foreman.ask("POST", &format!("{JOB}/photos"), &foreign, &bytes).is(403, "not-from-our-page");

    // Larger than a photo may be: told, and not cut off. As large as it may be, it is looked at.
    let most = usize::try_from(MOST_BYTES).unwrap();
    let large = [&bytes[..], &vec![0; most]].concat();
    let told = bring(&foreman, INSIDE, &large);
    told.is(413, "too-large");
    let why = told.json()["detail"].as_str().unwrap().to_owned();
    assert!(why.contains("40 MiB") && !why.contains("form"), "{why}");
    bring(&foreman, INSIDE, &large[..=most]).is(413, "too-large");
    bring(&foreman, INSIDE, &vec![0; most]).is(422, "unusable");

    assert_eq!(count(&home), before);
    assert_eq!(files(), imported_files);
    // Each word of it was the longest there may be.
    let longest = format!("{INSIDE}&caption={}", "%C3%A9".repeat(200));
    assert_eq!(bring(&foreman, &longest, &bytes).status, 201);
}

/// Whoever may not bring one is told before a byte of it is sent (RFC 9110 section
/// 10.1.1: a client that expects `100-continue` waits for that).
#[test]
fn no_byte_is_read_for_whoever_may_not() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    invited(&mut office, "Desk Example", &["desk"]);
    let desk = key(&mut office, "Desk Example").key;
    let may = key(&mut office, "Office Example").key;
    for (key, kind, below, first) in [
        (desk.as_str(), "image/jpeg", "", "HTTP/1.1 403"),
        ("chalkhand_none", "image/jpeg", "", "HTTP/1.1 401"),
        (&may, "application/json", "", "HTTP/1.1 415"),
        (&may, "image/jpeg", "?step=cut%231", "HTTP/1.1 422"),
        (&may, "image/jpeg", "", "HTTP/1.1 100"),
    ] {
        let mut stream = TcpStream::connect(&daemon.page).unwrap();
        let head = format!(
            "POST {JOB}/photos{below} HTTP/1.1\r\nHost: {}\r\nAuthorization: Bearer {key}\r\n\
             Content-Type: {kind}\r\nContent-Length: 99\r\nExpect: 100-continue\r\n\r\n",
            daemon.page
        );
        stream.write_all(head.as_bytes()).unwrap();
        let mut answer = [0; 12];
        stream.read_exact(&mut answer).unwrap();
        assert_eq!(String::from_utf8_lossy(&answer), first, "{kind} {below}");
    }
}

#[test]
fn photos_and_sounds_go_out_under_their_own_job() {
    let home = worked();
    let slash = "2026/14";
    for number in ["EX-0002", slash] {
        store(&home).open_job(&[draft(number, number, What::JobOpened(job(number)))]).unwrap();
    }
    let [(_, photo), (_, other)] = photos_of(&home).try_into().unwrap();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    invited(&mut office, "Desk Example", &["desk"]);
    // Whoever reads a job reads these.
    let desk = key(&mut office, "Desk Example");
    let program = key(&mut office, "Office Example");
    let mut entries = desk.get(&format!("{JOB}/entries?limit=500")).json();
    let entries = entries["entries"].as_array_mut().unwrap();
    let clip = entries.iter().find_map(|entry| entry["clip"]["sha256"].as_str()).unwrap();
    let below = [
        format!("photos/{}", photo.sha256),
        format!("photos/{}", photo.preview_sha256),
        format!("photos/{}", other.sha256),
        format!("clips/{clip}"),
    ];
    for below in &below {
        let path = format!("{JOB}/{below}");
        let told = desk.get(&path);
        assert_eq!((told.status, header(&told, "x-content-type-options")), (200, "nosniff"));
        desk.get(&format!("/api/v1/jobs/EX-0002/{below}")).is(404, "not-found");
        desk.get(&format!("/api/v1/jobs/NONE/{below}")).is(404, "not-found");
        ask(&daemon, "GET", &path, "", "").is(401, "sign-in-needed");
    }
    for below in ["photos/x", "photos/..%2F..%2Fdevice.key", "clips/x", "photos/", "clips"] {
        desk.get(&format!("{JOB}/{below}")).is(404, "not-found");
    }
    // A clip is no photo, and the reverse.
    desk.get(&format!("{JOB}/photos/{clip}")).is(404, "not-found");
    desk.get(&format!("{JOB}/clips/{}", photo.sha256)).is(404, "not-found");
    let path = format!("{JOB}/{}", below[3]);
    let sound = desk.get(&path);
    assert_eq!((sound.media(), &sound.bytes[..4]), ("audio/wav", &b"RIFF"[..]));
    assert_eq!(chalkhand::sound::clip_sha256(&sound.bytes).as_deref(), Some(clip));
    assert_eq!(header(&sound, "etag"), format!("\"{clip}\""));
    let part = desk.ask("GET", &path, "Range: bytes=-4\r\n", "");
    assert_eq!((part.status, &part.bytes[..]), (206, &sound.bytes[sound.bytes.len() - 4..]));
    // One that is gone from the disk is not there.
    std::fs::remove_file(home.path("data").join(photo.path())).unwrap();
    desk.get(&format!("{JOB}/photos/{}", photo.sha256)).is(404, "not-found");

    // The same photo of another job is that job's own; its number is one part of a path.
    let told = program.ask("POST", "/api/v1/jobs/2026%2F14/photos", JPEG, jpeg(1, 60, 40));
    assert_eq!(told.status, 201, "{}", told.json());
    let place = format!("/api/v1/jobs/2026%2F14/photos/{}", photo.sha256);
    assert_eq!(told.headers["location"], place);
    assert_eq!(Hash::of(&program.get(&place).bytes), photo.sha256);
    let list = program.get("/api/v1/jobs/2026%2F14/photos").json();
    assert_eq!((&list["job"], &list["photos"][0]["href"]), (&json!(slash), &json!(place)));
}
