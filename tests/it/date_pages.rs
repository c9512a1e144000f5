//! The pages of dates and visits: the follow-ups of all jobs and of one, changed
//! once and as the command changes them; feeds; a leak call's visit planned and
//! begun; places named on the drawing.

use chalkhand::daemon;
use chalkhand::domain::{How, What};
use jiff::ToSpan as _;
use jiff::tz::TimeZone;

use crate::calendar_outside::libical;
use crate::day_pages::{count, form, send, since, store};
use crate::drafts::note;
use crate::feed::{events, home, value};
use crate::outside;
use crate::pages::{Browser, Page, invited, invited_reading, office};
use crate::photos::begun;
use crate::program::Home;
use crate::serve::Daemon;

const JOB: &str = "EX-0001";

/// A day so many days from today, at the address.
fn day(ahead: i64) -> String {
    let today = daemon::now(&TimeZone::get("America/New_York").unwrap()).date();
    today.checked_add(ahead.days()).unwrap().to_string()
}

fn add(home: &Home, on: &str, title: &str, who: &[&str]) {
    let words = ["calendar", "add", JOB, "--on", on, "--title", title];
    home.run(words.iter().chain(who)).well();
}

/// Where a text stands on a page.
fn place(page: &Page, text: &str) -> usize {
    page.body.find(text).unwrap_or_else(|| panic!("no {text}: {}", page.body))
}

/// The identifier of the date with that title.
fn uid(home: &Home, title: &str) -> String {
    let ics = home.path("uid.ics");
    home.run(["calendar", JOB, "-o", ics.to_str().unwrap()]).well();
    let all = events(&std::fs::read_to_string(ics).unwrap());
    let event = all.iter().find(|event| value(event, "SUMMARY").contains(title));
    value(event.unwrap_or_else(|| panic!("no {title}")), "UID").to_owned()
}

#[test]
fn what_is_past_comes_first_and_by_person() {
    let home = home();
    add(&home, "2020-02-05", "Call the owner back", &["--who", "desk"]);
    add(&home, "2020-02-06", "Sold long ago", &[]);
    add(&home, &day(3), "Look at the gutter", &["--who", "foreman"]);
    let sold = uid(&home, "Sold long ago");
    home.run(["calendar", "cancel", JOB, &sold, "--by", "Office Example", "--why", "sold"]).well();
    let before = count(&home);
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let page = office.get("/dates");
    let past = place(&page, "Past, and not seen to: 1");
    let called = place(&page, "Call the owner back");
    let week = place(&page, "The next 7 days");
    assert!(
        past < called && called < week && week < place(&page, "Look at the gutter"),
        "{page:?}"
    );
    assert!(page.body.contains("For the desk: Desk Example."), "{page:?}");
    assert!(page.body.contains("href=\"/job/EX-0001\""), "{page:?}");
    assert!(!page.body.contains("Sold long ago"), "cancelled: {page:?}");
    assert!(!page.body.contains("Ten years on"), "far ahead: {page:?}");
    assert!(office.get("/dates?months=1200").body.contains("Ten years on"));
    let page = office.get("/dates?person=Foreman+Example&months=1200");
    assert!(page.body.contains("Look at the gutter"), "{page:?}");
    assert!(!page.body.contains("Call the owner back") && !page.body.contains("Ten years on"));
    // One leads to its job, where the cancelled one stands too.
    let link = page.body.split("href=\"/dates/EX-0001#").nth(1).unwrap().split('"').next().unwrap();
    let page = office.get("/dates/EX-0001");
    assert!(page.body.contains(&format!("<li id=\"{link}\">")), "{link} {page:?}");
    assert!(page.body.contains("<del>Sold long ago</del>"), "{page:?}");
    assert_eq!(count(&home), before, "nothing is given out by looking");
    assert_eq!(office.get("/dates/NONE").status, 404);
    let mut spanish = invited_reading(&mut office, "Encargada", &["foreman"], "metric", "es");
    let page = spanish.get("/dates");
    assert!(page.body.contains("Pasadas y sin atender: 1"), "{page:?}");
    assert!(page.body.contains("Los registros, las hojas"), "{page:?}");
}

/// A walk of its checklist sees to a date; nothing is past then.
#[test]
fn a_date_that_was_walked_is_seen_to() {
    let home = begun();
    home.run(["callback", "open", JOB, "--by", "D", "--caller", "O", "--where", "ridge"]).well();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let hidden = form(&office.get("/desk/EX-0001"), "/desk/plan", "that day");
    let said = [("day", "2020-02-05"), ("clock", "09:00"), ("who", "installer"), ("lasts", "60")];
    assert_eq!(send(&mut office, "/desk/plan", &hidden, &said).status, 303);
    assert!(office.get("/dates").body.contains("Past, and not seen to: 1"));
    let hidden = form(&office.get("/desk/EX-0001"), "/desk/visit", "Begin");
    assert_eq!(send(&mut office, "/desk/visit", &hidden, &[]).status, 303);
    // Begun is not walked.
    assert!(office.get("/dates").body.contains("Past, and not seen to: 1"));
    let walk = ["walk", JOB, "leak-visit", "--by", "Installer Example", "--keys", "--mute"];
    crate::cli::skip_through(&home, &walk);
    let page = office.get("/dates");
    assert!(page.body.contains("Nothing is past that was not seen to."), "{page:?}");
    let page = office.get("/dates/EX-0001");
    assert!(page.body.contains("Seen to on "), "{page:?}");
    assert!(page.body.contains("closing-inspection has not been walked"), "{page:?}");
}

#[test]
fn a_date_is_changed_once_and_calendars_are_told() {
    let home = home();
    home.write("data/calendar.toml", "calendar_from = \"mailto:office@example.com\"\n");
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    let before = count(&home);
    let page = desk.get("/dates/EX-0001");
    let fixed = page.body.split("<li id=").find(|li| li.contains("Ten years on")).unwrap();
    assert!(fixed.contains("stays on its day") && !fixed.contains("/dates/move"), "{fixed}");
    let first = "Look in the attic after the first good rain";
    let hidden = form(&page, "/dates/move", first);
    let said = [("day", "2030-12-07"), ("clock", "10:00"), ("why", "no rain <yet>")];
    for (name, value, says) in [
        ("day", "soon", "“soon” is no day"),
        ("clock", "noon", "“noon” is no hour"),
        ("why", " ", "say why"),
    ] {
        let fields = said.map(|(known, said)| (known, if known == name { value } else { said }));
        let refused = send(&mut desk, "/dates/move", &hidden, &fields);
        assert!(refused.status == 422 && refused.body.contains(says), "{name}: {refused:?}");
    }
    // The end of a term is refused whatever a form says, before anything is given out.
    let mut wrong = form(&page, "/dates/cancel", "Ten years on");
    let refused = send(&mut desk, "/dates/move", &wrong, &said);
    assert!(refused.status == 422 && refused.body.contains("stays on its day"), "{refused:?}");
    wrong.iter_mut().find(|(name, _)| name == "uid").unwrap().1 = "no-such".to_owned();
    let refused = send(&mut desk, "/dates/cancel", &wrong, &[("why", "x")]);
    assert!(refused.status == 422 && refused.body.contains("no date `no-such`"), "{refused:?}");
    let given_out = count(&home);
    if given_out != before {
        // A date nobody has is looked for among those given out.
        let page = desk.get("/dates/EX-0001");
        assert!(page.body.contains("No. 1."), "{page:?}");
    }
    let hidden = form(&desk.get("/dates/EX-0001"), "/dates/move", first);
    for _ in 0..2 {
        let done = send(&mut desk, "/dates/move", &hidden, &said);
        assert_eq!((done.status, done.to()), (303, "/dates/EX-0001"), "{done:?}");
    }
    let changes = |home: &Home| {
        let all = since(home, before).into_iter();
        all.filter(|entry| !matches!(entry.draft.what, What::FollowUpIssued { .. }))
            .collect::<Vec<_>>()
    };
    let written = changes(&home);
    let [entry] = &written[..] else { panic!("{written:?}") };
    let What::FollowUpMoved { reason, sequence, start, .. } = &entry.draft.what else {
        panic!("{entry:?}")
    };
    assert_eq!((reason.as_str(), *sequence), ("no rain <yet>", 1));
    assert_eq!(start.to_string(), "2030-12-07T10:00:00.000-05:00");
    assert_eq!((&entry.draft.how, entry.draft.by.as_str()), (&How::Touch, "Desk Example"));
    let page = desk.get("/dates/EX-0001");
    assert!(page.body.contains("2030-12-07 is not a working day."), "a Saturday: {page:?}");
    assert!(page.body.contains("“no rain &lt;yet&gt;”"), "{page:?}");

    // Others have written meanwhile.
    let season = "Look at the vents after the first month";
    let hidden = form(&page, "/dates/cancel", season);
    store(&home).append(&note(JOB, "meanwhile"), None).unwrap();
    assert_eq!(send(&mut desk, "/dates/cancel", &hidden, &[("why", "sold")]).status, 409);
    let hidden = form(&desk.get("/dates/EX-0001"), "/dates/cancel", season);
    let cancelled = hidden.iter().find(|(name, _)| name == "uid").unwrap().1.clone();
    assert_eq!(send(&mut desk, "/dates/cancel", &hidden, &[("why", "sold")]).status, 303);
    let hidden = form(&desk.get("/dates/EX-0001"), "/dates/cancel", "Ten years on");
    assert_eq!(hidden.iter().filter(|(name, _)| name == "uid").count(), 1);

    let hidden = form(&desk.get("/dates/EX-0001"), "/dates/add", "What it is");
    let said = [
        ("title", "Call the owner"),
        ("day", "2030-02-05"),
        ("clock", "09:30"),
        ("who", "foreman"),
        ("lasts", "45"),
    ];
    let refused = send(&mut desk, "/dates/add", &hidden, &[&said[..4], &[("lasts", "0")]].concat());
    assert!(refused.status == 422 && refused.body.contains("no number of minutes"), "{refused:?}");
    assert_eq!(send(&mut desk, "/dates/add", &hidden, &said).status, 303);

    // The same file as the command's; the cancelled date alone cancels.
    let file = desk.get("/job/EX-0001/dates.ics");
    let path = home.path("x.ics");
    home.run(["calendar", JOB, "-o", path.to_str().unwrap()]).well();
    assert_eq!(file.body, std::fs::read_to_string(path).unwrap());
    assert!(file.body.contains("METHOD:PUBLISH\r\n"), "{file:?}");
    let all = events(&file.body);
    let of = |part: &str| all.iter().find(|event| event.contains(part)).unwrap();
    assert_eq!(value(of("Moved by hand: no rain"), "SEQUENCE"), "1");
    assert_eq!(value(of("Call the owner"), "DTSTART"), "20300205T093000");
    let query = serde_urlencoded::to_string([("only", &cancelled)]).unwrap();
    let only = desk.get(&format!("/job/EX-0001/dates.ics?{query}"));
    assert!(only.body.contains("METHOD:CANCEL\r\n"), "{only:?}");
    let one = events(&only.body);
    assert_eq!((one.len(), value(&one[0], "STATUS")), (1, "CANCELLED"));
    assert_eq!((value(&one[0], "UID"), value(&one[0], "SEQUENCE")), (cancelled.as_str(), "1"));
    assert_eq!(desk.get("/job/EX-0001/dates.ics?only=no-such").status, 404);
    if let Some((_folder, program)) = libical() {
        for text in [&file.body, &only.body] {
            let found = outside::run_program(&program, text);
            assert!(found.starts_with("faults 0\n"), "{found}");
            assert!(found.contains(&format!("{cancelled} ")), "{found}");
            assert!(found.contains("sequence 1, cancelled"), "{found}");
        }
    }
}

#[test]
fn the_dates_are_for_desk_foreman_and_office() {
    let home = home();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let once = "0123456789abcdef0123456789abcdef";
    let last = store(&home).last_seq(JOB).unwrap().to_string();
    let fields = [
        ("job", JOB),
        ("once", once),
        ("known", last.as_str()),
        ("uid", "x"),
        ("day", "2030-01-07"),
        ("clock", "09:00"),
        ("why", "x"),
        ("title", "x"),
        ("lasts", "30"),
        ("id", "1"),
    ];
    let before = count(&home);
    for role in ["installer", "foreman", "desk", "office"] {
        let mut browser = invited(&mut office, &format!("Some {role}"), &[role]);
        let may = role != "installer";
        for path in ["/dates", "/dates/EX-0001"] {
            assert_eq!(browser.get(path).status, if may { 200 } else { 403 }, "{role} {path}");
            assert_eq!(Browser::new(&daemon).get(path).status, 303, "nobody {path}");
        }
        browser.get("/you");
        for path in ["/dates/move", "/dates/cancel", "/dates/add", "/desk/plan", "/dates/feed"] {
            if !may {
                assert_eq!(browser.send(path, &fields).status, 403, "{role} {path}");
            }
        }
        // Who walks nothing begins no visit.
        if matches!(role, "desk" | "office") {
            assert_eq!(browser.send("/desk/visit", &fields).status, 403, "{role}");
        }
    }
    assert_eq!(count(&home), before, "nothing was written");
}

#[test]
fn a_person_s_dates_are_fetched_from_a_secret_address() {
    let home = home();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut foreman = invited(&mut office, "Foreman Example", &["foreman"]);
    let mine = "/dates?person=Foreman+Example";
    let address = |page: &Page| {
        let text = page.body.split("<p class=\"hash\">").nth(1)?.split('<').next()?.to_owned();
        assert!(
            text.starts_with(&format!(
                "http://127.0.0.1:{}/calendar/",
                daemon.page.split(':').nth(1).unwrap()
            )),
            "{text}"
        );
        Some(text.split_once("/calendar/").unwrap().1.to_owned())
    };
    assert_eq!(address(&foreman.get(mine)), None, "none is made by looking");
    assert_eq!(foreman.send("/dates/feed", &[("person", "Foreman Example")]).status, 303);
    let first = address(&foreman.get(mine)).unwrap();
    let told = home.run(["calendar", "feed", "--for", "Foreman Example"]).well();
    assert!(told.contains(&first), "the command's is the same: {told}");
    let fetched = daemon.get(&format!("/calendar/{first}"));
    assert!(fetched.starts_with("HTTP/1.1 200") && fetched.contains("For: foreman"), "{fetched}");
    let anew = [("person", "Foreman Example"), ("anew", "yes")];
    assert_eq!(foreman.send("/dates/feed", &anew).status, 303);
    let second = address(&foreman.get(mine)).unwrap();
    assert_ne!(first, second);
    assert!(daemon.get(&format!("/calendar/{first}")).starts_with("HTTP/1.1 404"));
    assert!(daemon.get(&format!("/calendar/{second}")).starts_with("HTTP/1.1 200"));

    // What is another's is the office's, and so is everybody's.
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    let page = desk.get(mine);
    assert!(
        !page.body.contains(&second) && page.body.contains("is for that person and the office")
    );
    desk.get("/dates?person=Desk+Example");
    for person in ["Foreman Example", ""] {
        assert_eq!(desk.send("/dates/feed", &[("person", person), ("anew", "yes")]).status, 403);
    }
    assert!(office.get(mine).body.contains(&second));
    office.get("/dates");
    assert_eq!(office.send("/dates/feed", &[("person", "")]).status, 303);
    let all = address(&office.get("/dates")).unwrap();
    assert!(all != second && daemon.get(&format!("/calendar/{all}")).starts_with("HTTP/1.1 200"));
    let nobody = office.send("/dates/feed", &[("person", "Nobody")]);
    assert!(nobody.status == 422 && nobody.body.contains("No job names anybody"), "{nobody:?}");

    // The file is the one the command writes.
    let file = foreman.get("/dates.ics?person=Foreman+Example");
    let path = home.path("x.ics");
    home.run(["calendar", "--for", "Foreman Example", "-o", path.to_str().unwrap()]).well();
    assert_eq!(file.body, std::fs::read_to_string(path).unwrap());
    assert!(file.headers["content-disposition"].contains("Foreman_Example-dates.ics"), "{file:?}");
    assert_eq!(foreman.get("/dates.ics?person=Nobody").status, 404);
}

#[test]
fn a_visit_is_planned_and_begun_once() {
    let home = begun();
    let open = ["callback", "open", JOB, "--by", "Desk Example", "--caller", "Owner Example"];
    home.run([&open[..], &["--where", "above the <stairs>"]].concat()).well();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    let mut installer = invited(&mut office, "Installer Example", &["installer"]);
    let before = count(&home);
    let page = desk.get("/desk/EX-0001");
    assert!(!page.body.contains("action=\"/desk/visit\""), "the desk walks nothing: {page:?}");
    let hidden = form(&page, "/desk/plan", "that day");
    let on = day(4);
    let said = [("day", on.as_str()), ("clock", "13:30"), ("who", "installer"), ("lasts", "90")];
    for _ in 0..2 {
        let done = send(&mut desk, "/desk/plan", &hidden, &said);
        assert_eq!((done.status, done.to()), (303, "/desk/EX-0001?call=1"), "{done:?}");
    }
    let written = since(&home, before);
    let [entry] = &written[..] else { panic!("{written:?}") };
    let What::FollowUpAdded { title, checklist, callback, who, lasts_min, .. } = &entry.draft.what
    else {
        panic!("{entry:?}")
    };
    assert_eq!(title, "Visit after leak call 1: above the <stairs>");
    assert_eq!((checklist.as_deref(), *callback), (Some("leak-visit"), Some(1)));
    assert_eq!((who.as_deref(), *lasts_min), (Some("installer"), 90));
    let planned = format!("Visit planned for {on} 13:30");
    assert!(desk.get("/desk/EX-0001").body.contains(&planned));
    let page = desk.get("/dates?person=Installer+Example");
    assert!(page.body.contains("above the &lt;stairs&gt;"), "{page:?}");
    let ics = desk.get("/job/EX-0001/dates.ics").body.replace("\r\n ", "");
    assert!(ics.contains("DURATION:PT90M") || ics.contains("DTEND"), "{ics}");
    assert!(ics.contains("leak-visit"), "what to walk then: {ics}");

    // Whoever walks it begins it on the job's page.
    let before = count(&home);
    let page = installer.get("/job/EX-0001");
    assert!(page.body.contains(&planned), "{page:?}");
    let hidden = form(&page, "/desk/visit", "Begin the visit of call 1");
    for _ in 0..2 {
        let done = send(&mut installer, "/desk/visit", &hidden, &[]);
        assert_eq!((done.status, done.to()), (303, "/roof/EX-0001/leak-visit"), "{done:?}");
    }
    let written = since(&home, before);
    let [pinned, visited] = &written[..] else { panic!("{written:?}") };
    assert!(
        matches!(&pinned.draft.what, What::Pinned(pin) if pin.id == "leak-visit"),
        "{pinned:?}"
    );
    let What::CallbackVisited { id, visit } = &visited.draft.what else { panic!("{visited:?}") };
    assert_eq!((*id, visit.to_string().as_str()), (1, "leak-visit"));
    assert_eq!((&visited.draft.how, visited.draft.by.as_str()), (&How::Touch, "Installer Example"));
    let roof = installer.get("/roof/EX-0001/leak-visit");
    assert!(roof.status == 200 && roof.body.contains("Visit after a leak call"), "{roof:?}");
    let page = installer.get("/job/EX-0001");
    assert!(page.body.contains("Go on with the visit of call 1"), "{page:?}");
    assert!(!page.body.contains("action=\"/desk/visit\""), "{page:?}");
    assert!(desk.get("/desk/EX-0001").body.contains("Visited "));

    // Where it was walked to its end, a further one is another walk.
    let walk = ["walk", JOB, "leak-visit", "--by", "Installer Example", "--keys", "--mute"];
    crate::cli::skip_through(&home, &walk);
    let page = installer.get("/job/EX-0001");
    let hidden = form(&page, "/desk/visit", "Begin a further visit of call 1");
    assert_eq!(send(&mut installer, "/desk/visit", &hidden, &[]).status, 303);
    assert_eq!(installer.get("/roof/EX-0001/leak-visit").status, 200);
    let entries = store(&home).entries(JOB, 0).unwrap();
    let begun = entries.iter().rev().find(|e| matches!(e.draft.what, What::WalkBegun { .. }));
    assert_eq!(begun.unwrap().draft.walk.as_ref().unwrap().to_string(), "leak-visit/2");

    // Closed before the day that was planned: nobody is to drive there for nothing.
    let still = "a visit is still among the dates";
    assert!(!desk.get("/desk/EX-0001").body.contains(still));
    let close = ["callback", "close", JOB, "1", "--by", "Desk Example", "--finding", "dry"];
    home.run([&close[..], &["--unfinished", "not needed"]].concat()).well();
    let page = desk.get("/desk/EX-0001");
    assert!(page.body.contains(still) && page.body.contains(&planned), "{page:?}");
}

/// The numbers in a text.
fn numbers(text: &str) -> Vec<f64> {
    let parts = text.split([' ', ',']).filter(|part| !part.is_empty());
    parts.map(|part| part.parse().unwrap()).collect()
}

/// Left, top, right, bottom of points as SVG writes them.
fn bounds(points: &str) -> [f64; 4] {
    let all = numbers(points);
    let of = |place: usize| all.iter().skip(place).step_by(2).copied();
    let low = |place| of(place).fold(f64::INFINITY, f64::min);
    let high = |place| of(place).fold(f64::NEG_INFINITY, f64::max);
    [low(0), low(1), high(0), high(1)]
}

#[test]
fn a_place_on_the_drawing_says_where_water_came_in() {
    let home = begun();
    crate::day_pages::skip(&home, "shingles-over#1", "ran out");
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut desk = invited(&mut office, "Desk Example", &["desk"]);
    let page = desk.get("/desk/EX-0001?water=above+the+stairs");
    let plates: Vec<&str> = page.body.split("<figure class=\"drawing\"").skip(1).collect();
    let with_parts = plates.iter().filter(|plate| plate.contains("<svg class=\"parts\""));
    let mut seen = Vec::new();
    for plate in with_parts {
        let (drawn, rest) = plate.split_once("<svg class=\"parts\"").unwrap();
        let (parts, rest) = rest.split_once("</svg>").unwrap();
        let view = |text: &str| {
            text.split("viewBox=\"").nth(1).unwrap().split('"').next().unwrap().to_owned()
        };
        assert_eq!(view(drawn), view(parts), "one lies on the other");
        let list = rest.split("</ul>").next().unwrap();
        for part in parts.split("<a ").skip(1) {
            let href = part.split("href=\"").nth(1).unwrap().split('"').next().unwrap();
            let name = part.split("aria-label=\"").nth(1).unwrap().split('"').next().unwrap();
            assert!(list.contains(&format!("href=\"{href}\"")), "{name} has no link beside it");
            assert!(href.contains("water=above+the+stairs") && href.ends_with("#first"), "{href}");
            let points = part.split("points=\"").nth(1).unwrap().split('"').next().unwrap();
            let [left, top, right, bottom] = bounds(points);
            assert!(9.9 <= right - left && 9.9 <= bottom - top, "{name} is too small for a finger");
            // The vent that is drawn lies in the run that is pointed at.
            if name.starts_with("run") {
                let is_in = |polygon: &&str| {
                    let points = polygon.split("points=\"").nth(1).unwrap();
                    let [l, t, r, b] = bounds(points.split('"').next().unwrap());
                    polygon.contains("class=\"vent\"")
                        && left - 0.02 <= l
                        && r <= right + 0.02
                        && top - 0.02 <= t
                        && b <= bottom + 0.02
                };
                assert!(drawn.split("<polygon").skip(1).any(|p| is_in(&p)), "{name}");
            }
            seen.push((
                name.to_owned(),
                href.replace("&amp;", "&").trim_end_matches("#first").to_owned(),
            ));
        }
    }
    for kind in ["Plane 1", "run 1", "eave", "chimney"] {
        assert!(seen.iter().any(|(name, _)| name.contains(kind)), "no {kind}: {seen:?}");
    }
    let before = count(&home);
    let of = |kind: &str| seen.iter().find(|(name, _)| name.contains(kind)).unwrap().1.clone();
    // A run: it is named, looked at first for a reason, and in the form.
    let page = desk.get(&of("run 1"));
    assert!(page.body.contains("run 1 was named at the call"), "{page:?}");
    assert!(page.body.contains("look first: something is amiss, at the place"), "{page:?}");
    assert!(page.body.contains("<option value=\"1\" selected>1</option>"), "{page:?}");
    let here = page.body.split("<a ").find(|a| a.contains("class=\"here\"")).unwrap();
    assert!(here.contains("aria-current=\"true\""), "{here}");
    let runs = page
        .body
        .split("<a ")
        .filter(|a| a.contains("class=\"here\"") && a.contains("aria-label=\"run 1\""));
    assert_eq!(runs.count(), 1, "{page:?}");
    let page = desk.get(&of("chimney"));
    assert!(page.body.contains("obstruction 1: the caller said “chimney”"), "{page:?}");
    assert!(page.body.matches("name=\"edge\" value=\"chimney\"").count() == 2, "{page:?}");
    // The other plane's steps are elsewhere, and said to be.
    let page = desk.get(&of("Plane 2"));
    assert!(page.body.contains("plane 2 was named at the call"), "{page:?}");
    assert!(page.body.contains("elsewhere: run 1"), "{page:?}");
    for (_, href) in &seen {
        assert_eq!(desk.get(href).status, 200, "{href}");
    }
    assert_eq!(count(&home), before, "nothing is kept by looking");
}
