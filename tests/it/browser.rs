//! The pages in a real Chromium: every page in every size, dark, and with forced
//! colours, checked by axe-core against WCAG 2.2 AA; no request leaves the daemon.
//! `CHALKHAND_LOOK=FOLDER` keeps what was seen, to be looked at.

use std::path::Path;

use serde_json::{Value, json};

use crate::outside;
use crate::pages::first_code;
use crate::program::Home;
use crate::serve::Daemon;

pub(crate) const CHROMIUM: &str = "/usr/bin/chromium";

/// Looks at these pages, signed in as the first person; none where there is no
/// browser.
fn looked_at(daemon: &Daemon, pages: &[&str]) -> Option<Value> {
    let folder = outside::folder("the pages in a real browser")?;
    assert!(Path::new(CHROMIUM).exists(), "packaging/test installs it");
    let base = format!("http://{}", daemon.page);
    let asked = json!({
        "chromium": CHROMIUM,
        "base": base,
        "first": format!("{base}/join?code={}", first_code(daemon)),
        "pages": pages,
        "shots": std::env::var("CHALKHAND_LOOK").ok(),
    });
    let told = outside::run(&folder, "browser.mjs", &asked.to_string());
    Some(serde_json::from_str(&told).unwrap())
}

#[test]
fn every_page_can_be_read_and_reached_by_everybody() {
    let home = Home::with_job();
    let daemon = Daemon::start(&home);
    let pages = [
        "/",
        "/job/EX-0001",
        "/day",
        "/desk",
        "/desk/EX-0001",
        "/roof/EX-0001/deck-intake",
        "/library",
        "/library/checklist/deck-intake/1.1.0",
        "/people",
        "/you",
        "/running",
        "/sign-in",
        "/join",
        "/trust",
    ];
    let Some(told) = looked_at(&daemon, &pages) else { return };
    for kind in ["violations", "errors", "outside", "wide"] {
        assert_eq!(told[kind], json!([]), "{kind}: {told:#}");
    }
    let tabbed = told["notes"]["tabbed"].to_string();
    assert!(tabbed.contains("\"name\"") && tabbed.contains("\"BUTTON\""), "{tabbed}");
}
