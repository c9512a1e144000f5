//! Pages stay small on a phone's network at the edge of a roof: what a job of sixty
//! steps weighs.

use std::fmt::Write as _;

use crate::pages::office;
use crate::program::Home;
use crate::serve::Daemon;

/// A page has no more bytes than this, without what a browser keeps.
const MOST_BYTES: usize = 50_000;
const STEPS: u32 = 60;

/// Steps with as much to read as the longest of the shipped ones.
fn sixty() -> String {
    let mut text = "id = \"sixty\"\nversion = \"1.0.0\"\ntitle = \"Sixty steps\"\n\
        yields_to = \"everything else\"\nsources = [\"invented for a test\"]\n\
        [cautions.eyes]\nsay = \"Glasses on before anything is cut.\"\n\
        source = \"invented for a test\"\n[measures]\nline = \"4 1/2 in\"\n"
        .to_owned();
    for n in 1..=STEPS {
        let say = "Snap the line {line} up from the butt edge and look along it. ".repeat(4);
        let why = "A line that is off leaks where nobody sees it.";
        write!(
            text,
            "[[step]]\nid = \"step-{n}\"\ntitle = \"Step {n} of the course, as long as names are\"\n\
             say = \"{say}\"\nwhy = \"{why}\"\ncaution = [\"eyes\"]\n",
        )
        .unwrap();
    }
    text
}

#[test]
fn the_pages_of_a_job_of_sixty_steps_stay_small() {
    let home = Home::new();
    let profile = crate::program::repository("packaging/demo-data/profile.toml");
    let checklist = home.write("sixty.toml", &sixty());
    for file in [&profile, &checklist] {
        home.run(["checklist", "adopt", file.to_str().unwrap()]).well();
    }
    let job =
        Home::job_file().replace("\"closing-inspection\"]", "\"closing-inspection\", \"sixty\"]");
    let job = home.write("job.toml", &job);
    home.run(["job", "open", job.to_str().unwrap()]).well();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    // All of its walks are begun, so that the job's page lists the steps of each.
    let walks = ["deck-intake", "closing-inspection", "sixty"];
    let mut pages = walks.map(|walk| format!("/roof/EX-0001/{walk}")).to_vec();
    pages.push("/job/EX-0001".to_owned());
    for path in pages {
        let page = office.get(&path);
        assert_eq!(page.status, 200, "{path}");
        println!("{path}: {} bytes", page.body.len());
        assert!(page.body.len() <= MOST_BYTES, "{path}: {} bytes", page.body.len());
    }
    let page = office.get("/job/EX-0001");
    assert!(page.body.contains("Step 60 of the course"), "the job's page lists its steps");
}
