//! The pages of the warranty desk: a job is found by what a caller says, calls
//! are taken down once and closed with a finding.

use chalkhand::domain::{How, Warranty, What};
use chalkhand::store::Store;

use crate::bundle::{export, worked};
use crate::day_pages::{bytes, count, form, send, since, skip, store};
use crate::drafts::note;
use crate::pages::{invited, office};
use crate::photos::begun;
use crate::program::Home;
use crate::serve::Daemon;

const JOB: &str = "EX-0001";

#[test]
fn a_job_is_found_by_any_part() {
    let home = begun();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    for words in ["sampletown", "1+exam", "owner", "0100", "ex-0001", "EXAMPLE+LANE"] {
        let page = desk.get(&format!("/desk?q={words}"));
        assert!(page.body.contains("href=\"/desk/EX-0001\""), "{words}: {page:?}");
        assert!(
            page.body.contains("1 job")
                && page.body.contains(&format!("value=\"{}\"", words.replace('+', " ")))
        );
    }
    let page = desk.get("/desk?q=elsewhere");
    assert!(page.body.contains("No job has all of these words"), "{page:?}");
    assert!(desk.get("/desk").body.contains("None is open."));
    assert_eq!(desk.get("/desk/NONE").status, 404);
}

#[test]
fn a_call_is_taken_down_once() {
    let home = begun();
    skip(&home, "shingles-over#1", "ran out");
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    // Before anything is kept the place can be looked at.
    let page = desk.get("/desk/EX-0001?water=above+the+stairs&plane=1&run=1");
    assert!(page.body.contains("run 1 was named at the call"), "{page:?}");
    assert!(page.body.contains("At the place. "), "{page:?}");
    assert!(page.body.contains("value=\"above the stairs\""), "{page:?}");
    let before = count(&home);
    let hidden = form(&page, "/desk/open", "water");
    let said = [
        ("water", "above the <b>stairs</b>"),
        ("plane", "1"),
        ("run", ""),
        ("edge", "the chimney"),
        ("caller", "Neighbor Example"),
        ("phone", "555-0101"),
        ("reported", "2026-11-26"),
    ];
    for (name, value, says) in [
        ("water", " ", "say where water came in"),
        ("caller", "", "say who called"),
        ("plane", "7", "no plane 7; they are 1 to 2"),
        ("run", "one", "“one” is no number"),
        ("reported", "May", "“May” is no day"),
        ("reported", "2999-01-01", "2999-01-01 is to come"),
    ] {
        let fields = said.map(|(known, said)| (known, if known == name { value } else { said }));
        let refused = send(&mut desk, "/desk/open", &hidden, &fields);
        assert!(refused.status == 422 && refused.body.contains(says), "{name}: {refused:?}");
    }
    assert_eq!(count(&home), before);
    for _ in 0..2 {
        let done = send(&mut desk, "/desk/open", &hidden, &said);
        assert_eq!((done.status, done.to()), (303, "/desk/EX-0001"), "{done:?}");
    }
    let written = since(&home, before);
    let [entry] = &written[..] else { panic!("{written:?}") };
    let What::CallbackOpened(call) = &entry.draft.what else { panic!("{entry:?}") };
    assert_eq!((call.id, call.water.as_str()), (1, "above the <b>stairs</b>"));
    assert_eq!(call.rows[0].to_string(), "plane 1");
    assert_eq!((&entry.draft.how, entry.draft.by.as_str()), (&How::Touch, "Desk Example"));
    // Other words in the same form are another call; the page is old by then.
    let mut other = said;
    other[0].1 = "in the kitchen";
    assert_eq!(send(&mut desk, "/desk/open", &hidden, &other).status, 409);

    let page = desk.get("/desk/EX-0001");
    assert!(page.body.contains("What to look at first, call 1"), "{page:?}");
    assert!(page.body.contains("obstruction 1: the caller said “chimney”"), "{page:?}");
    assert!(page.body.contains("above the &lt;b&gt;stairs&lt;/b&gt;"), "{page:?}");
    assert!(desk.get("/desk").body.contains("href=\"/desk/EX-0001?call=1\""));
    let page = desk.get("/desk/EX-0001?call=9");
    assert!(page.body.contains("The job has no call of that number."), "{page:?}");
    // What is shown first is what the command shows first.
    let shown = home.run(["callback", "show", JOB, "1"]).well();
    let shown = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(shown.contains("Look first: something is amiss, at the place"), "{shown}");
    let page = desk.get("/desk/EX-0001").body;
    assert!(page.contains("look first: something is amiss, at the place"), "{page}");
}

#[test]
fn a_call_is_closed_with_its_finding() {
    let home = begun();
    skip(&home, "shingles-over#1", "ran out");
    let open = ["callback", "open", JOB, "--by", "Desk Example", "--caller", "Owner Example"];
    home.run([&open[..], &["--where", "at the ridge"]].concat()).well();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    let before = count(&home);
    let hidden = form(&desk.get("/desk/EX-0001"), "/desk/close", "found");
    let said = [
        ("found", "a nail in the <valley>"),
        ("cause", ""),
        ("done", "sealed"),
        ("warranty", "under"),
        ("step", "deck-intake:shingles-over#1"),
        ("step", "deck-intake:look-inside"),
    ];
    let refused = send(&mut desk, "/desk/close", &hidden, &[("found", " "), ("warranty", "under")]);
    assert!(refused.status == 422 && refused.body.contains("say what was found"), "{refused:?}");
    let refused = send(&mut desk, "/desk/close", &hidden, &[said[0], ("warranty", "maybe")]);
    assert_eq!(refused.status, 403);
    let refused = send(&mut desk, "/desk/close", &hidden, &[said[0], said[3], ("step", "no:step")]);
    assert!(refused.status == 422 && refused.body.contains("has a step `no:step`"), "{refused:?}");
    store(&home).append(&note(JOB, "meanwhile"), None).unwrap();
    assert_eq!(send(&mut desk, "/desk/close", &hidden, &said).status, 409);
    let hidden = form(&desk.get("/desk/EX-0001"), "/desk/close", "found");
    for _ in 0..2 {
        let done = send(&mut desk, "/desk/close", &hidden, &said);
        assert_eq!(done.to(), "/desk/EX-0001?call=1", "{done:?}");
    }
    let written = since(&home, before + 1);
    let [entry] = &written[..] else { panic!("{written:?}") };
    let What::CallbackClosed(finding) = &entry.draft.what else { panic!("{entry:?}") };
    assert_eq!((finding.warranty, finding.steps.len()), (Warranty::Under, 2));
    assert_eq!((finding.cause.as_deref(), finding.done.as_deref()), (None, Some("sealed")));
    let page = desk.get("/desk/EX-0001?call=1");
    assert!(page.body.contains("found: a nail in the &lt;valley&gt;"), "{page:?}");
    assert!(!page.body.contains("action=\"/desk/close\""), "{page:?}");
}

/// The record of another device is found, and read as it came.
#[test]
fn an_imported_job_is_only_read() {
    let away = worked();
    let bundle = export(&away, JOB, "bundle.zip");
    let home = Home::new();
    home.run(["import", bundle.to_str().unwrap()]).well();
    let name = {
        let store = Store::open(&home.path("data/log.sqlite")).unwrap();
        store.imports().unwrap()[0].name()
    };
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let page = office.get("/desk?q=sampletown");
    assert!(page.body.contains(&format!("href=\"/job/{name}\"")), "{page:?}");
    let page = office.get(&format!("/job/{name}"));
    assert!(page.body.contains("the record of another device"), "{page:?}");
    assert!(page.body.contains("1 Example Lane, Sampletown"), "{page:?}");
    for below in ["record", "record.pdf", "record.json", "files.zip"] {
        assert!(page.body.contains(&format!("href=\"/job/{name}/{below}\"")), "{below}");
    }
    let (_, zip) = bytes(&daemon, &office, &format!("/job/{name}/files.zip"), "");
    assert!(zip == std::fs::read(&bundle).unwrap(), "it goes out as it came");
    let written = home.path("r.html");
    home.run(["record", &name, "-o", written.to_str().unwrap()]).well();
    let record = office.get(&format!("/job/{name}/record"));
    assert_eq!(record.body, std::fs::read_to_string(written).unwrap());
    assert!(record.headers["content-security-policy"].ends_with("sandbox"));
    assert_eq!(office.get(&format!("/job/{name}/sheet")).status, 404);
    assert_eq!(office.get(&format!("/desk/{name}")).status, 404);
    assert_eq!(office.get("/job/EX-0001").status, 404);
}
