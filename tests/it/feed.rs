//! Dates given out, moved, cancelled, added and fetched, by the program as a
//! person runs it: the commands, the office's calendar, the daemon's feed.

use std::os::unix::fs::PermissionsExt as _;

use chalkhand::config::Config;
use chalkhand::office::Feeds;

use crate::program::Home;
use crate::serve::Daemon;

/// A job whose closing inspection is over, ended on the machine's today.
pub(crate) fn home() -> Home {
    let home = Home::with_job();
    // Every step left out: the dates come all the same.
    let walk =
        ["walk", "EX-0001", "closing-inspection", "--by", "Foreman Example", "--keys", "--mute"];
    crate::cli::skip_through(&home, &walk);
    home
}

pub(crate) fn events(ics: &str) -> Vec<String> {
    let ics = ics.replace("\r\n ", "");
    ics.split("BEGIN:VEVENT").skip(1).map(str::to_owned).collect()
}

pub(crate) fn value<'a>(event: &'a str, name: &str) -> &'a str {
    let line = event
        .lines()
        .find(|line| line.strip_prefix(name).is_some_and(|rest| rest.starts_with([':', ';'])));
    line.unwrap_or_else(|| panic!("no {name} in {event}")).split_once(':').unwrap().1
}

#[test]
fn dates_are_moved_cancelled_and_added() {
    let home = home();
    home.write("data/calendar.toml", "calendar_from = \"mailto:office@example.com\"\n");
    let ics = home.path("x.ics");
    let ics = ics.to_str().unwrap();
    let list = home.run(["calendar", "EX-0001"]).well();
    assert!(list.contains("   -  "), "nothing is given out by looking: {list}");
    home.run(["calendar", "EX-0001", "-o", ics]).well();
    let list = home.run(["calendar", "EX-0001"]).well();
    assert!(list.contains("   1  ") && !list.contains("   -  "), "{list}");

    let moved = home
        .run([
            "calendar",
            "move",
            "EX-0001",
            "1",
            "--to",
            "2030-12-03T10:00",
            "--by",
            "Office Example",
            "--why",
            "no rain yet",
        ])
        .well();
    assert!(
        moved.contains("was    1  ") && moved.contains("now    1  2030-12-03 10:00"),
        "{moved}"
    );
    // A Saturday: it is put there, and that is said.
    let saturday = home
        .run([
            "calendar",
            "move",
            "EX-0001",
            "2",
            "--to",
            "2030-12-07",
            "--by",
            "Office Example",
            "--why",
            "owner asks",
        ])
        .well();
    assert!(saturday.contains("2030-12-07 is not a working day; it was put there"), "{saturday}");
    home.run([
        "calendar",
        "cancel",
        "EX-0001",
        "3",
        "--by",
        "Office Example",
        "--why",
        "house sold",
    ])
    .well();
    let added = home
        .run([
            "calendar",
            "add",
            "EX-0001",
            "--on",
            "2030-02-05",
            "--title",
            "Call the owner",
            "--who",
            "foreman",
        ])
        .well();
    assert!(added.contains("2030-02-05 09:00: Call the owner; for the foreman"), "{added}");

    home.run(["calendar", "EX-0001", "-o", ics]).well();
    let text = std::fs::read_to_string(ics).unwrap();
    assert!(text.contains("METHOD:PUBLISH\r\n"), "{text}");
    let all = events(&text);
    assert_eq!(all.len(), 15);
    let of = |part: &str| all.iter().find(|event| event.contains(part)).unwrap();
    let first = of("Moved by hand: no rain yet");
    assert_eq!(value(first, "SEQUENCE"), "1");
    assert_eq!(value(first, "DTSTART"), "20301203T100000");
    let sold = of("Cancelled: house sold");
    assert_eq!((value(sold, "STATUS"), value(sold, "SEQUENCE")), ("CANCELLED", "1"));
    assert_eq!(value(of("Call the owner"), "SEQUENCE"), "0");
    let uid = value(sold, "UID").to_owned();
    home.run(["calendar", "EX-0001", "--only", &uid, "-o", ics]).well();
    let text = std::fs::read_to_string(ics).unwrap();
    assert!(text.contains("METHOD:CANCEL\r\n"), "{text}");
    assert_eq!(events(&text).len(), 1);

    let wrong = |words: &[&str], says: &str| {
        let by = ["--by", "Office Example", "--why", "x"];
        let told = home.run(words.iter().copied().chain(by)).fails(1);
        assert!(told.contains(says), "{told}");
    };
    wrong(&["calendar", "cancel", "EX-0001", "3"], "is cancelled");
    wrong(&["calendar", "move", "EX-0001", "3", "--to", "2030-01-01"], "is cancelled");
    wrong(&["calendar", "move", "EX-0001", "99", "--to", "2030-01-01"], "has no date `99`");
    wrong(&["calendar", "move", "EX-0001", "1", "--to", "soon"], "`soon` is no day");
    wrong(&["calendar", "move", "EX-0001", "1", "--to", "2030-12-03T10:00"], "already");
    let list = home.run(["calendar", "EX-0001"]).well();
    let fixed = list.lines().find(|line| line.contains("Warranty")).unwrap();
    let number = fixed.split_whitespace().next().unwrap();
    wrong(&["calendar", "move", "EX-0001", number, "--to", "2030-01-01"], "stays on its day");
    // The log tells it, and the record shows the cancelled one as cancelled.
    let day = home.run(["day"]).well();
    assert!(day.contains("reason: no rain yet") && day.contains("reason: house sold"), "{day}");
    let record = home.path("r.json");
    home.run(["record", "EX-0001", "-o", record.to_str().unwrap()]).well();
    let record = std::fs::read_to_string(record).unwrap();
    let record: serde_json::Value = serde_json::from_str(&record).unwrap();
    let dates = record["follow_ups"].as_array().unwrap();
    let cancelled = dates.iter().filter(|date| date.get("cancelled_because").is_some());
    assert_eq!((dates.len(), cancelled.count()), (15, 1));
}

#[test]
fn the_office_s_calendar_places_new_dates_only() {
    let home = home();
    // Everything is taken for ever, but what the file does not know is said.
    home.write(
        "data/office.ics",
        "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nDTSTART:20200101T000000Z\r\nDURATION:P1D\r\n\
         RRULE:FREQ=DAILY\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nSUMMARY:Odd\r\nDTSTART:20200101T000000Z\r\n\
         DURATION:PT1H\r\nRRULE:FREQ=SECONDLY\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n",
    );
    let ics = home.path("x.ics");
    let write = ["calendar", "EX-0001", "-o", ics.to_str().unwrap()];
    home.run(write).well();
    let first = std::fs::read_to_string(&ics).unwrap();
    home.write("data/calendar.toml", "busy = \"office.ics\"\n");
    let told = home.run(write).well();
    assert!(told.contains("! not understood: ") && told.contains("“Odd”: FREQ=SECONDLY"), "{told}");
    assert_eq!(std::fs::read_to_string(&ics).unwrap(), first, "what was given out stays");
    let home = self::home();
    home.write(
        "data/office.ics",
        "BEGIN:VCALENDAR\nBEGIN:VEVENT\nDTSTART;VALUE=DATE:20200101\nRRULE:FREQ=DAILY\nEND:VEVENT\n\
         END:VCALENDAR\n",
    );
    home.write("data/calendar.toml", "busy = \"office.ics\"\n");
    let told = home.run(["calendar", "EX-0001"]).well();
    assert!(told.contains("nothing is free in the 14 days after it"), "{told}");
    for (wrong, says) in [
        ("working_days = []\n", "working_days is empty"),
        ("working_days = [\"moonday\"]\n", "working_days has `moonday`"),
        ("opens = \"9\"\n", "opens is `9`"),
        ("opens = \"18:00\"\n", "one after the other"),
        ("holidays = [\"Christmas\"]\n", "write each as 2026-12-25"),
        ("busy = \"none.ics\"\n", "the office's calendar cannot be read"),
        ("busy = \"calendar.toml\"\n", "no `BEGIN:VCALENDAR`"),
        ("calendar_from = \"office\"\n", "mailto:office@example.com"),
        ("work = 1\n", "unknown field `work`"),
    ] {
        home.write("data/calendar.toml", wrong);
        let told = home.run(["calendar", "EX-0001"]).fails(1);
        assert!(told.contains(says), "{told}");
    }
}

#[test]
fn a_person_s_dates_come_from_all_jobs() {
    let home = home();
    let ics = home.path("x.ics");
    let ics = ics.to_str().unwrap();
    let told = home.run(["calendar", "--for", "Foreman Example", "-o", ics]).well();
    let all = events(&std::fs::read_to_string(ics).unwrap());
    assert!(!all.is_empty() && all.iter().all(|event| event.contains("For: foreman")), "{told}");
    assert!(told.contains("EX-0001  "), "{told}");
    let nobody = home.run(["calendar", "--for", "Nobody", "-o", ics]).fails(1);
    assert!(nobody.contains("check the name"), "{nobody}");
}

#[test]
fn the_feed_has_a_secret_address_and_knows_what_is_unchanged() {
    let home = home();
    let daemon = Daemon::start(&home);
    let of = |words: &[&str]| {
        let told = home.run(["calendar", "feed"].iter().chain(words)).well();
        let path = told.lines().next().unwrap().split_once("127.0.0.1:4717").unwrap().1;
        path.to_owned()
    };
    let all = of(&[]);
    assert_eq!(all.len(), "/calendar/.ics".len() + 32);
    assert_eq!(all, of(&[]), "it stays");
    let file = home.path("data/calendar-feeds");
    let mode = std::fs::metadata(&file).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);

    let answer = daemon.get(&all);
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    let head = head.to_lowercase();
    assert!(head.starts_with("http/1.1 200"), "{head}");
    assert!(head.contains("content-type: text/calendar; charset=utf-8"), "{head}");
    assert!(head.contains("cache-control: private"), "{head}");
    assert_eq!(events(body).len(), 14);
    assert!(body.contains("REFRESH-INTERVAL;VALUE=DURATION:PT1H") && !body.contains("METHOD"));
    // What it gave out is in the log, and nothing changes by itself.
    let list = home.run(["calendar", "EX-0001"]).well();
    assert!(!list.contains("   -  "), "{list}");
    let again = daemon.get(&all);
    assert_eq!(again.split_once("\r\n\r\n").unwrap().1, body);
    let tag = head.lines().find_map(|line| line.strip_prefix("etag: ")).unwrap();
    for sent in [tag.to_owned(), format!("W/{tag}"), format!("\"x\", {tag}"), "*".to_owned()] {
        let same = daemon.get_with(&all, &format!("If-None-Match: {sent}\r\n"));
        assert!(same.starts_with("HTTP/1.1 304"), "{sent}: {same}");
        assert!(same.to_lowercase().contains(&format!("etag: {tag}")), "{same}");
        assert!(!same.contains("VCALENDAR"), "{same}");
    }
    let other = daemon.get_with(&all, "If-None-Match: \"x\"\r\n");
    assert!(other.starts_with("HTTP/1.1 200"), "{other}");

    home.run(["calendar", "cancel", "EX-0001", "1", "--by", "O", "--why", "sold"]).well();
    let changed = daemon.get_with(&all, &format!("If-None-Match: {tag}\r\n"));
    assert!(changed.starts_with("HTTP/1.1 200"), "{changed}");
    assert_eq!(changed.matches("STATUS:CANCELLED").count(), 1);
    assert_eq!(events(&changed).len(), 14, "a cancelled date stays in the feed");

    let own = of(&["--for", "Foreman Example"]);
    assert_ne!(own, all);
    let theirs = events(&daemon.get(&own));
    assert!(!theirs.is_empty() && theirs.len() < 14);
    assert!(theirs.iter().all(|event| event.contains("For: foreman")));

    let new = of(&["--new"]);
    assert_ne!(new, all);
    assert!(daemon.get(&new).starts_with("HTTP/1.1 200"));
    assert!(daemon.get(&own).starts_with("HTTP/1.1 200"), "the other one stays");
    let nearly = format!("{}0.ics", &new[..new.len() - 5]);
    let wrong = if nearly == new { format!("{}1.ics", &new[..new.len() - 5]) } else { nearly };
    for unknown in [&all, &wrong, "/calendar/.ics", "/calendar/x", &new.replace(".ics", "")] {
        let answer = daemon.get(unknown);
        assert!(answer.starts_with("HTTP/1.1 404"), "{unknown}: {answer}");
        assert!(!answer.contains("VCALENDAR"));
    }
    let nobody = home.run(["calendar", "feed", "--for", "Nobody"]).fails(1);
    assert!(nobody.contains("nobody on any job"), "{nobody}");

    // 128 bits, different each time, found whole or not at all.
    let config = Config::read(Some(&home.path("data")), |_| None).unwrap();
    let mut feeds = Feeds::read(&config).unwrap();
    let mut seen = std::collections::BTreeSet::new();
    for _ in 0..100 {
        let token = feeds.of(None, true).unwrap().token;
        assert!(token.len() == 32 && token.bytes().all(|b| b.is_ascii_hexdigit()));
        assert!(feeds.find(&token).is_some() && feeds.find(&token[..31]).is_none());
        assert!(seen.insert(token));
    }
}

#[test]
fn imported_records_give_out_no_dates() {
    let other = crate::bundle::worked();
    let bundle = crate::bundle::export(&other, crate::bundle::JOB, "out.zip");
    let bundle = bundle.to_str().unwrap();
    // Another device's job of the same number lies beside one's own.
    let (own, desk) = (home(), Home::new());
    let ics = own.path("x.ics");
    let write = ["calendar", "--for", "Foreman Example", "-o", ics.to_str().unwrap()];
    own.run(write).well();
    let before = std::fs::read_to_string(&ics).unwrap();
    own.run(["import", bundle]).well();
    let told = own.run(write).well();
    assert_eq!(std::fs::read_to_string(&ics).unwrap(), before, "{told}");

    // A device with nothing but imported records.
    desk.run(["import", bundle]).well();
    desk.run(["callback", "summary"]).well();
    let feed = desk.run(["calendar", "feed"]).well();
    let path = feed.lines().next().unwrap().split_once("127.0.0.1:4717").unwrap().1.to_owned();
    let answer = Daemon::start(&desk).get(&path);
    assert!(answer.starts_with("HTTP/1.1 200") && events(&answer).is_empty(), "{answer}");
}
