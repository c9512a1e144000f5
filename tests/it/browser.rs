//! The pages in a real Chromium: every page in every size, dark, and with forced
//! colours, checked by axe-core against WCAG 2.2 AA; no request leaves the daemon.
//! `CHALKHAND_LOOK=FOLDER` keeps what was seen, to be looked at.

use std::path::Path;

use chalkhand::domain::{Hash, How, What};
use serde_json::{Value, json};

use crate::outside;
use crate::pages::first_code;
use crate::photo_files::jpeg;
use crate::photo_inbox::dated;
use crate::photos::file;
use crate::program::Home;
use crate::roof::{CHECKLIST, JOB, PATH, entries};
use crate::serve::Daemon;

pub(crate) const CHROMIUM: &str = "/usr/bin/chromium";

/// Looks at these pages, signed in as the first person; none where there is no
/// browser.
fn looked_at(daemon: &Daemon, pages: &[&str], pointed: Value) -> Option<Value> {
    let folder = outside::folder("the pages in a real browser")?;
    assert!(Path::new(CHROMIUM).exists(), "packaging/test installs it");
    let base = format!("http://{}", daemon.page);
    let asked = json!({
        "chromium": CHROMIUM,
        "base": base,
        "first": format!("{base}/join?code={}", first_code(daemon)),
        "pages": pages,
        "pointed": pointed,
        "shots": std::env::var("CHALKHAND_LOOK").ok(),
    });
    let told = outside::run(&folder, "browser.mjs", &asked.to_string());
    Some(serde_json::from_str(&told).unwrap())
}

#[test]
fn every_page_can_be_read_and_reached_by_everybody() {
    let home = Home::with_job();
    adopt_short(&home, "photo = 1");
    // A photo that waits, by the name it has in addresses.
    let untimed = dated(640, None, None);
    let path = home.path("data/inbox/untimed.jpg");
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::fs::write(path, &untimed).unwrap();
    let id = Hash::of(format!("{} untimed.jpg", Hash::of(&untimed)).as_bytes()).to_string();
    let waits = format!("/inbox/{}?job=EX-0001", &id[..16]);
    let daemon = Daemon::start(&home);
    let pages = [
        "/",
        "/job/EX-0001",
        "/day",
        "/desk",
        "/desk/EX-0001",
        "/roof/EX-0001/deck-intake",
        PATH,
        &waits,
        "/library",
        "/library/checklist/deck-intake/1.3.0",
        "/people",
        "/you",
        "/running",
        "/sign-in",
        "/join",
        "/trust",
    ];
    let Some(told) = looked_at(&daemon, &pages, Value::Null) else { return };
    for kind in ["violations", "errors", "outside", "wide"] {
        assert_eq!(told[kind], json!([]), "{kind}: {told:#}");
    }
    let tabbed = told["notes"]["tabbed"].to_string();
    assert!(tabbed.contains("\"name\"") && tabbed.contains("\"BUTTON\""), "{tabbed}");
}

/// The short walk and its job, with its first photo wanted so.
fn adopt_short(home: &Home, photos: &str) {
    let checklist = home.write("short-walk.toml", &CHECKLIST.replace("photo = 1", photos));
    home.run(["checklist", "adopt", checklist.to_str().unwrap()]).well();
    let job = home.write("short.toml", JOB);
    home.run(["job", "open", job.to_str().unwrap()]).well();
}

/// A photo taken without a connection waits on the phone, over a reload too; one
/// whose reply was lost is one photo; one that is refused can be saved.
#[test]
fn a_photo_of_the_roof_screen_is_not_lost() {
    let home = Home::new();
    adopt_short(&home, "photo = 2");
    let photos = [
        file(&home, "one.jpg", &jpeg(1, 800, 600)),
        file(&home, "two.jpg", &jpeg(6, 801, 600)),
        file(&home, "letter.jpg", b"to whom it may concern"),
        file(&home, "three.jpg", &jpeg(1, 802, 600)),
    ];
    let daemon = Daemon::start(&home);
    let Some(folder) = outside::folder("photos in a real browser") else { return };
    let base = format!("http://{}", daemon.page);
    let asked = json!({
        "chromium": CHROMIUM,
        "base": base,
        "first": format!("{base}/join?code={}", first_code(&daemon)),
        "roof": PATH,
        "photos": photos,
        "shots": std::env::var("CHALKHAND_LOOK").ok(),
    });
    let told = outside::run(&folder, "roof_photo.mjs", &asked.to_string());
    let told: Value = serde_json::from_str(&told).unwrap();
    for kind in ["violations", "errors", "wide"] {
        assert_eq!(told[kind], json!([]), "{kind}: {told:#}");
    }
    for state in ["unsent", "reloaded"] {
        let said = told["said"][state].as_str().unwrap();
        assert!(
            said.contains("Photo not sent yet, of: Wear. It is kept on this phone"),
            "{told:#}"
        );
    }
    let refused = told["said"]["refused"].as_str().unwrap();
    assert!(refused.contains("is no JPEG or PNG"), "{told:#}");
    assert_eq!((&told["saved"], &told["afterwards"]), (&json!("letter.jpg"), &json!(true)));
    assert_eq!(told["lost"], json!(1));
    let words: Vec<String> = entries(&home)
        .iter()
        .filter(|entry| entry.draft.how == How::Touch)
        .map(|entry| format!("{} {}", entry.draft.what.word(), entry.draft.what.step().unwrap()))
        .collect();
    let twice = ["photo-kept wear", "photo-taken wear"];
    assert_eq!(words, [&twice[..], &twice, &["photo-kept wear"]].concat(), "{told:#}");
    let widths = entries(&home).into_iter().filter_map(|entry| match entry.draft.what {
        What::PhotoKept { photo, .. } => Some(photo.width_px),
        _ => None,
    });
    assert_eq!(widths.collect::<Vec<_>>(), [800, 801, 802]);
}

/// Dates past and to come, a call with a visit planned, and the drawing pointed at.
#[test]
fn dates_and_the_drawing_can_be_reached_by_everybody() {
    let home = crate::feed::home();
    let add =
        ["calendar", "add", "EX-0001", "--on", "2020-02-05", "--title", "Call the owner back"];
    home.run(add.iter().chain(&["--who", "desk"])).well();
    let open = ["callback", "open", "EX-0001", "--by", "Desk Example", "--caller", "Owner Example"];
    home.run(open.iter().chain(&["--where", "above the stairs", "--run", "1"])).well();
    let daemon = Daemon::start(&home);
    let pages = [
        "/dates",
        "/dates?person=Foreman+Example&months=12",
        "/dates/EX-0001",
        "/desk/EX-0001",
        "/job/EX-0001",
    ];
    let pointed = json!({ "path": "/desk/EX-0001?water=stairs", "name": "run 1" });
    let Some(told) = looked_at(&daemon, &pages, pointed) else { return };
    for kind in ["violations", "errors", "outside", "wide"] {
        assert_eq!(told[kind], json!([]), "{kind}: {told:#}");
    }
    let to = json!("/desk/EX-0001?water=stairs&plane=1&run=1#first");
    assert_eq!(told["notes"]["pointed"], json!([to, to]));
}
