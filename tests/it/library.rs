//! The pages of checklists and profiles: versions, what changed, adopting, and
//! whether a file is sound.

use chalkhand::domain::PinKind;
use chalkhand::store::Store;

use crate::pages::{invited, office};
use crate::program::{Home, repository};
use crate::serve::Daemon;

fn shipped() -> String {
    std::fs::read_to_string(repository("checklists/start-of-day.toml")).unwrap()
}

/// The shipped checklist one minor version further, with one title changed.
fn newer() -> String {
    let old = shipped();
    let line = old.lines().find(|line| line.starts_with("version = ")).unwrap().to_owned();
    old.replacen(&line, "version = \"7.1.0\"", 1).replacen("title = \"", "title = \"New: ", 1)
}

fn versions(home: &Home) -> Vec<String> {
    let store = Store::open(&home.path("data/log.sqlite")).unwrap();
    let versions = store.versions(PinKind::Checklist, "start-of-day").unwrap();
    versions.into_iter().map(|(version, _)| version.to_string()).collect()
}

#[test]
fn a_file_is_checked_and_adopted_by_the_office_alone() {
    let home = Home::new();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut foreman = invited(&mut office, "Foreman Example", &["foreman"]);
    office.get("/library");

    let broken = newer().replacen("version = \"7.1.0\"", "versoin = \"7.1.0\"", 1);
    let page = office.send("/library/check", &[("name", "mine.toml"), ("text", &broken)]);
    assert!(page.body.contains("mine.toml has to be mended"), "{page:?}");
    assert!(page.body.contains("mine.toml:") && page.body.contains("versoin"), "{page:?}");
    let page = office.send("/library/adopt", &[("name", "mine.toml"), ("text", &broken)]);
    assert_eq!(page.status, 422, "{page:?}");
    assert_eq!(versions(&home).len(), 1);

    // As a browser sends a text area: lines end with two bytes.
    let sent = newer().replace('\n', "\r\n");
    let page = office.send("/library/check", &[("name", "mine.toml"), ("text", &sent)]);
    assert!(page.body.contains("checklist start-of-day, version 7.1.0"), "{page:?}");
    assert_eq!(versions(&home).len(), 1, "checking adopts nothing");
    foreman.get("/you");
    for path in ["/library/check", "/library/adopt"] {
        let page = foreman.send(path, &[("name", "mine.toml"), ("text", &sent)]);
        assert_eq!(page.status, 403, "{path}");
    }
    let page = office.send("/library/adopt", &[("name", "mine.toml"), ("text", &sent)]);
    assert_eq!(page.to(), "/library/checklist/start-of-day/7.1.0", "{page:?}");
    let body = Store::open(&home.path("data/log.sqlite")).unwrap();
    let body = body.adopted_body(PinKind::Checklist, "start-of-day", "7.1.0".parse().unwrap());
    assert_eq!(body.unwrap().unwrap(), newer(), "to the byte as the file");
    // Another content under the same version is refused.
    let other = format!("{}# changed\n", newer());
    let page = office.send("/library/adopt", &[("name", "mine.toml"), ("text", &other)]);
    assert!(page.status == 422 && page.body.contains("7.1.0"), "{page:?}");

    // Everybody reads what there is and what changed.
    let page = foreman.get("/library");
    assert!(page.body.contains("start-of-day 7.1.0") && !page.body.contains("action=\"/library"));
    let page = foreman.get("/library/checklist/start-of-day/7.1.0");
    let link = page.body.split("href=\"").find(|rest| rest.contains("/7.1.0\"")).unwrap();
    let page = foreman.get(link.split('"').next().unwrap());
    assert!(page.body.contains("New: "), "{page:?}");
    for none in [
        "checklist/start-of-day/9.9.9",
        "profile/start-of-day/7.1.0",
        "boss/x/1.0.0",
        "checklist/x/1.0.0/2.0.0",
    ] {
        assert_eq!(foreman.get(&format!("/library/{none}")).status, 404, "{none}");
    }
    let page =
        office.send("/library/check", &[("text", "number = \"1\"\naddress = \"<script>\"\n")]);
    assert!(page.body.contains("file has to be mended") && !page.body.contains("<script>\""));
}

#[test]
fn the_first_person_opens_the_example_and_a_job_of_his_own() {
    let home = Home::new();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut installer = invited(&mut office, "Installer Example", &["installer"]);
    assert!(!installer.get("/").body.contains("action=\"/example\""));
    installer.get("/you");
    assert_eq!(installer.send("/example", &[]).status, 403);
    assert!(office.get("/").body.contains("Open the invented example"));
    assert_eq!(office.send("/example", &[]).to(), "/");
    assert!(office.get("/").body.contains("EX-0001"));
    let shown = home.run(["job", "show", "EX-0001"]).well();
    assert!(shown.contains("deck-intake@1.3.0"), "{shown}");
    assert!(home.run(["sheet", "EX-0001"]).well().contains("INVENTED"));

    office.get("/library");
    let file = Home::job_file();
    let page = office.send("/library/check", &[("name", "job.toml"), ("text", &file)]);
    assert!(page.body.contains("the file of job EX-0001"), "{page:?}");
    let page = office.send("/library/open", &[("name", "job.toml"), ("text", &file)]);
    assert!(page.status == 422 && page.body.contains("is open already"), "{page:?}");
    let own = file.replace("EX-0001", "EX-7000");
    assert_eq!(office.send("/library/open", &[("name", "job.toml"), ("text", &own)]).to(), "/");
    assert!(home.run(["job", "list"]).well().contains("EX-7000"));
}

#[test]
fn a_file_in_the_watched_folder_is_offered_and_taken() {
    let home = Home::new();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let path = home.path("data/checklists/start-of-day.toml");
    std::fs::write(&path, newer()).unwrap();
    daemon.says(&["start-of-day 7.1.0: offered"]);
    let page = office.get("/library");
    assert!(page.body.contains("Adopt start-of-day 7.1.0"), "{page:?}");
    // Nothing but an offered file is read from the disk.
    let secret = home.path("data/device.key");
    for other in [secret.to_str().unwrap(), "/etc/passwd", ""] {
        let page = office.send("/library/take", &[("path", other)]);
        assert!(page.status == 422 && page.body.contains("not offered any more"), "{page:?}");
    }
    let page = office.send("/library/take", &[("path", path.to_str().unwrap())]);
    assert_eq!(page.to(), "/library/checklist/start-of-day/7.1.0", "{page:?}");
    assert_eq!(versions(&home).len(), 2);
    assert!(office.get("/library").body.contains("No file in the watched folders"));
}
