//! Sheet, day log and record as text, JSON and HTML, from one example job.
//! `UPDATE=1` rewrites the texts under `tests/it/data/export/`.

use std::path::PathBuf;

use chalkhand::domain::{
    About, Attention, Call, Day, Hash, Heard, How, Json, OfDay, PointKind, RowRef, StepRef,
    Version, What, chain,
    desk::{self, Rank},
    entry_json,
};
use chalkhand::export::{html, json, order, sheet_json, sheet_text, text, words};
use chalkhand::roof;

use super::example;

/// Holds a text against the one kept; `UPDATE=1` keeps the new one.
pub(crate) fn kept(name: &str, found: &str) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/it/data/export").join(name);
    if std::env::var_os("UPDATE").is_some() {
        std::fs::write(&path, found).unwrap();
    }
    let expected = std::fs::read_to_string(&path).unwrap_or_default();
    for (at, (expected, found)) in expected.lines().zip(found.lines()).enumerate() {
        assert_eq!(expected, found, "{name}, line {}; UPDATE=1 keeps the new text", at + 1);
    }
    assert_eq!(expected.len(), found.len(), "{name} is longer or shorter; UPDATE=1 keeps it");
}

fn day() -> Day {
    let file = example::file(example::entries());
    let newest =
        |id: &str| (id == "site-survey").then_some(Version { major: 1, minor: 1, patch: 0 });
    let attention = file.attention(&roof::functions());
    let of_day = OfDay { file: &file, attention, imported_as: None };
    Day::of(example::at("12:00:00.000").date(), [of_day], newest)
}

/// A job of another device follows what is adopted there.
#[test]
fn a_newer_version_here_is_nothing_to_a_job_of_another_device() {
    let newer = |day: &Day| {
        let needs = &day.jobs[0].attention;
        needs.iter().any(|need| matches!(need.about, About::NewerAdopted { .. }))
    };
    assert!(newer(&day()));
    let file = example::file(example::entries());
    let of_day = OfDay { file: &file, attention: Vec::new(), imported_as: Some("J@0123") };
    let newest = |_: &str| Some(Version { major: 9, minor: 0, patch: 0 });
    let imported = Day::of(example::at("12:00:00.000").date(), [of_day], newest);
    assert!(!newer(&imported), "{:?}", imported.jobs[0].attention);
    assert_eq!(imported.jobs[0].name(), "J@0123");
}

/// In the order of the plan, not of the names; what the plan does not ask is last.
#[test]
fn what_needs_attention_stands_in_the_order_of_the_plan() {
    let mut log = example::Log { job: example::job().number, entries: example::entries() };
    let skip = |id: &str| What::Skipped {
        step: StepRef { id: id.to_owned(), row: None },
        reason: "no need of it".to_owned(),
    };
    let (walk, a) = (Some("deck-intake"), "A. Installer");
    log.add(walk, "11:00:00.000", a, How::Keys, skip("aside"));
    log.add(walk, "11:01:00.000", a, How::Keys, skip("look-inside"));
    let call = Call {
        id: 1,
        reported: "2027-01-30".parse().unwrap(),
        water: "somewhere".to_owned(),
        rows: Vec::new(),
        edge: None,
        caller: "O. Householder".to_owned(),
        phone: None,
    };
    log.add(None, "12:00:00.000", a, How::Keys, What::CallbackOpened(Box::new(call)));
    let file = example::file(log.entries);
    let record = file.record(&roof::functions());
    assert_eq!(file.attention(&roof::functions()), record.attention, "the same without the rest");
    let asked: Vec<String> = record.walks[1].steps.iter().map(|s| s.at.to_string()).collect();
    let place = |at: &str| asked.iter().position(|asked| asked == at).unwrap();
    // As the checklist asks them, a row after the other.
    assert!(place("nails#1") < place("membrane#1") && place("membrane#1") < place("seal"));
    assert_eq!(place("aside"), asked.len() - 1);
    let off = ["nails#1", "membrane#1", "seal"];
    let left_out = ["look-inside", "hose", "aside"];
    let wanted: Vec<&str> = off.into_iter().chain(left_out).collect();
    let steps = |needs: &mut dyn Iterator<Item = &Attention>| -> Vec<String> {
        let needs = needs
            .filter(|need| matches!(need.about, About::OffTarget { .. } | About::Skipped { .. }));
        needs.map(|need| need.step.as_ref().unwrap().to_string()).collect()
    };
    assert_eq!(steps(&mut record.attention.iter()), wanted);
    assert_eq!(steps(&mut record.deviations.iter().map(|d| &d.need)), wanted);
    let desk = desk::desk(&record, 1).unwrap();
    assert_eq!(steps(&mut desk.deviations.iter().map(|(_, d)| &d.need)), wanted);
}

/// Of several places the one that was named at the call comes first, whatever else the
/// caller's words match.
#[test]
fn the_place_that_was_named_comes_first() {
    let mut log = example::Log { job: example::job().number, entries: example::entries() };
    let call = Call {
        id: 1,
        reported: "2027-01-30".parse().unwrap(),
        water: "somewhere by run 1".to_owned(),
        rows: vec![RowRef { table: "run".to_owned(), row: 2 }],
        edge: None,
        caller: "O. Householder".to_owned(),
        phone: None,
    };
    log.add(None, "12:00:00.000", "A. Installer", How::Keys, What::CallbackOpened(Box::new(call)));
    let record = example::file(log.entries).record(&roof::functions());
    let desk = desk::desk(&record, 1).unwrap();
    let places: Vec<u32> = desk.places.iter().map(|place| place.at.row).collect();
    assert_eq!(places, [2, 1]);
    let amiss = desk.steps.iter().filter(|step| step.rank == Rank::AmissHere);
    let rows: Vec<Option<u32>> = amiss.map(|step| step.step.at.row).collect();
    assert!(rows.contains(&Some(1)) && rows.contains(&Some(2)), "{rows:?}");
    assert!(rows.is_sorted_by_key(|row| std::cmp::Reverse(*row)), "{rows:?}");
}

#[test]
fn entries_are_told_in_order_once_and_ten_at_most() {
    let told = |seqs: &[u64]| words::entries(&seqs.iter().copied().collect());
    assert_eq!(told(&[]), "none");
    assert_eq!(told(&[9, 3, 9, 11]), "3, 9, 11");
    let ten: Vec<u64> = (1..=10).collect();
    assert_eq!(told(&ten), "1, 2, 3, 4, 5, 6, 7, 8, 9, 10");
    let twelve: Vec<u64> = (1..=12).rev().collect();
    assert_eq!(told(&twelve), "1, 2, 3, 4, 5, 6, 7, 8, 9, 10 and 2 more");
}

#[test]
fn texts_and_pages_are_as_kept() {
    let record = example::record();
    kept("sheet.txt", &sheet_text::sheet(&record));
    kept("sheet.html", &html::sheet(&record, &[]));
    kept("day.txt", &text::day(&day()));
    kept("record.json", &json::pretty(&json::record(&record, &example::due())));
    kept("sheet.json", &json::pretty(&sheet_json::sheet(&record)));
    kept("day.json", &json::pretty(&json::day(&day())));
    kept("record.html", &html::record(&record, &example::due()));
}

/// What a value may not do to a terminal: steer it, or break its line.
#[test]
fn no_text_steers_a_terminal() {
    let mut record = example::record();
    record.job.owner = "\u{1b}[2JGone\r\nINVENTED".to_owned();
    let sheet = sheet_text::sheet(&record);
    assert!(sheet.chars().all(|c| c == '\n' || !c.is_control()));
    assert!(sheet.contains("\u{fffd}[2JGone INVENTED"));
    assert!(!text::day(&day()).contains('\u{202e}'));
    for line in sheet.lines() {
        assert!(line.chars().count() <= 78, "{line}");
    }
}

#[test]
fn the_page_asks_for_nothing_and_runs_nothing() {
    let page = html::record(&example::record(), &example::due());
    // Links lead to parts of the page alone.
    let lower = page.to_lowercase().replace(" href=\"#", "");
    for never in [
        "<script",
        "http:",
        "https:",
        "url(",
        "@import",
        "<img",
        "<link",
        "<iframe",
        "<object",
        "<form",
        " src=",
        " href=",
        " srcset=",
        "javascript:",
    ] {
        assert!(!lower.contains(never), "{never}");
    }
    // What looks like a handler is inside escaped text only.
    assert!(page.contains("&lt;script&gt;alert(&#39;x&#39;)&lt;/script&gt;"));
    assert!(!page.contains('\u{202e}'));
    assert!(page.contains("default-src 'none'"));
}

/// A page with hostile values everywhere has the tags of one with plain values:
/// no value opens, closes or changes an element.
/// What the page lists is on it, each once.
#[test]
fn every_link_of_the_page_leads_to_a_part_of_it() {
    let page = html::record(&example::record(), &example::due());
    let links: Vec<&str> = page.split("<a href=\"#").skip(1).collect();
    assert!(10 <= links.len(), "{page}");
    for link in links {
        let (id, rest) = link.split_once("\">").unwrap();
        let (words, _) = rest.split_once("</a>").unwrap();
        let part = format!("<h2 id=\"{id}\">{words}</h2>");
        assert_eq!(page.matches(&part).count(), 1, "{part}");
        assert_eq!(page.matches(&format!("id=\"{id}\"")).count(), 1, "{id}");
    }
}

#[test]
fn hostile_values_leave_the_markup_as_it_is() {
    let plain = |record: &mut chalkhand::domain::Record, word: &str| {
        let job = &mut record.job;
        for field in [
            &mut job.number,
            &mut job.address,
            &mut job.owner,
            &mut job.phone,
            &mut job.company,
            &mut job.time_zone,
            &mut job.code_edition,
        ] {
            *field = word.to_owned();
        }
        record.notes.iter_mut().for_each(|note| {
            (note.text, note.by) = (word.to_owned(), word.to_owned());
        });
        record.facts.iter_mut().for_each(|fact| fact.ask = word.to_owned());
        for step in record.walks.iter_mut().flat_map(|walk| &mut walk.steps) {
            step.title = word.to_owned();
            step.text = Some(word.to_owned());
            step.settled.iter_mut().for_each(|settled| settled.by = word.to_owned());
        }
        for measure in record.walks.iter_mut().flat_map(|walk| &mut walk.measures) {
            (measure.title, measure.source) = (word.to_owned(), word.to_owned());
        }
    };
    let tags = |word: &str| -> Vec<String> {
        let mut record = example::record();
        plain(&mut record, word);
        let page = html::record(&record, &example::due());
        let body = page.split("</style>").nth(1).unwrap().to_owned();
        let open = body.split('<').skip(1);
        open.map(|tag| tag.split('>').next().unwrap().to_owned()).collect()
    };
    let expected = tags("plain");
    assert!(500 < expected.len());
    for word in ["\"><b>", "'><img>", "</td></tr></table>", "</style>", "<!--", "&lt;", "]]>"] {
        assert_eq!(tags(word), expected, "{word}");
    }
}

fn as_html(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{202e}' => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// Nothing that was logged is missing from the page: every entry's value, its
/// number, its hour and who logged it; every hash the record rests on.
#[test]
fn every_entry_is_on_the_page() {
    let (entries, record) = (example::entries(), example::record());
    let page = html::record(&record, &example::due()).replace("&nbsp;", " ");
    let units = record.job.units;
    let mut counted = 0;
    for entry in &entries {
        let mut wanted = Vec::new();
        match &entry.draft.what {
            What::Answered { given, reason, .. } => {
                wanted.extend([words::given(given, units), format!("entry {}", entry.seq)]);
                wanted.extend(reason.clone());
            }
            What::Skipped { reason, .. } => wanted.push(reason.clone()),
            What::FactGiven(_, value) => wanted.push(words::value(value, units)),
            What::Noted { text, .. } => wanted.push(text.clone()),
            What::Cautioned { said, .. } => wanted.extend(said.clone()),
            What::PointReached { .. } | What::Released { .. } => {}
            _ => continue,
        }
        if !matches!(entry.draft.what, What::FactGiven(..) | What::Cautioned { .. }) {
            wanted.extend([entry.draft.by.clone(), words::day_and_clock(entry.draft.at)]);
        }
        if let chalkhand::domain::How::Voice(heard) = &entry.draft.how
            && matches!(entry.draft.what, What::Answered { .. })
        {
            wanted.extend([heard.words.clone(), heard.sound.to_string()]);
        }
        for value in wanted {
            assert!(page.contains(&as_html(&value)), "entry {}: {value}", entry.seq);
            counted += 1;
        }
    }
    assert!(70 < counted, "{counted}");
    for pin in &record.job.pins {
        assert!(page.contains(&pin.hash.to_string()), "{}", pin.id);
    }
    let (seq, hash) = record.head.unwrap();
    assert_eq!((seq, hash), (entries.len() as u64, entries.last().unwrap().hash));
    assert!(page.contains(&hash.to_string()));
    assert!(page.contains(&as_html(words::IS_NOT)));
    for need in &record.attention {
        let sentence = words::after_about(need, order::title_in(&record, need).as_deref());
        assert!(page.contains(&as_html(&sentence)), "{sentence}");
    }
}

#[test]
fn a_correction_is_shown_as_a_correction() {
    let page = html::record(&example::record(), &example::due()).replace("&nbsp;", " ");
    let row = page.split("Run 1: Nail line").nth(1).unwrap();
    let row = row.split("</tr>").next().unwrap();
    let (now, before) = row.split_once("Corrected. Before: ").unwrap();
    assert!(now.contains("4 1/2&quot;, on target"), "{now}");
    assert!(before.contains("5 1/2&quot;, off target: 1&quot; above; reason: misread"), "{before}");
    assert!(before.contains("08:31") && before.contains("entry 14"), "{before}");
}

/// As a person reads it: a line for each member and item, one for all numbers of a list.
/// Words of one's own are compared with no phrase: that is told, not a nought.
#[test]
fn dictated_words_have_no_distance_to_others() {
    let mut record = example::record();
    let settled = record.walks[1].steps.iter_mut().find_map(|step| step.settled.as_mut()).unwrap();
    let (title, seq) = ("dictated, for a test", settled.seq);
    settled.how = How::Voice(Heard {
        words: title.to_owned(),
        b_milli: -36,
        a_milli: 0,
        m_milli: 0,
        sound: Hash::of(b"own words"),
    });
    let page = html::record(&record, &example::due());
    let of_it = |row: &&str| row.contains(title) && row.contains("data-label=\"Fit\"");
    let row = page.split("<tr").find(of_it).unwrap();
    assert!(row.contains(&format!("(entry {seq})")), "{row}");
    assert!(row.contains("Fit\">-36<") && row.contains("Beside free speech\">–<"), "{row}");
    assert!(row.contains("To the next meaning\">–<"), "{row}");
    let json = json::record(&record, &example::due()).canonical().unwrap();
    let heard = json.split(title).next().unwrap().rsplit("\"heard\":").next().unwrap();
    assert!(heard.contains("b_thousandths") && !heard.contains("m_thousandths"), "{heard}");
}

/// Who reads the first page learns which points nobody is known to have looked at.
#[test]
fn witness_points_are_named() {
    let mut record = example::record();
    let mut steps = record.walks.iter_mut().flat_map(|walk| &mut walk.steps);
    let step = steps.find(|step| step.point.is_some()).unwrap();
    step.point.as_mut().unwrap().kind = PointKind::Witness;
    let told = format!(
        "1 witness point was reached, “{}”; nothing in the log says that anybody looked",
        step.title
    );
    let points = json::record(&record, &[]).get("points_reached").unwrap().clone();
    let last = points.as_list().unwrap().last().unwrap().as_text().unwrap().to_owned();
    assert_eq!(last, told);
}

#[test]
fn a_list_of_numbers_is_one_line() {
    let numbers = Json::from(vec![1_u32.into(), 2_u32.into()]);
    let mixed = Json::from(vec![3_u32.into(), "four".into()]);
    let (none, nothing) = (Json::from(Vec::new()), Json::object([]));
    let all = [("a", numbers), ("b", mixed), ("c", none), ("d", nothing)];
    let text = "{\n  \"a\": [1,2],\n  \"b\": [\n    3,\n    \"four\"\n  ],\n  \"c\": [],\n  \"d\": {}\n}\n";
    assert_eq!(json::pretty(&Json::object(all)), text);
}

/// The JSON record has a canonical text, reads back the same, and says what the
/// entries say without loss.
#[test]
fn the_json_record_canonicalises_and_reads_back() {
    let record = example::record();
    let tree = json::record(&record, &example::due());
    let canonical = tree.canonical().unwrap();
    let read: serde_json::Value = serde_json::from_str(&canonical).unwrap();
    let pretty: serde_json::Value = serde_json::from_str(&json::pretty(&tree)).unwrap();
    assert_eq!(read, pretty);
    assert_eq!(read["format"], "chalkhand-record/1");
    assert_eq!(read["invented"], true);
    assert_eq!(read["is_not"], words::IS_NOT);
    assert_eq!(read["notes"][0]["text"], example::HOSTILE);
    assert_eq!(read["notes"][0]["verified"], false);
    let steps = read["checklists"][1]["steps"].as_array().unwrap();
    let step =
        |id: &str, row: u64| steps.iter().find(|s| s["id"] == id && s["row"] == row).unwrap();
    let line = step("nail-line", 1);
    assert_eq!(line["settled"]["given"]["measured"]["exact"], "4 1/2 in");
    assert_eq!(line["settled"]["target"]["mark"]["shown"], "4 1/2\"");
    assert_eq!(line["settled"]["comparison"]["result"], "on-target");
    assert_eq!(line["settled"]["how"]["heard"]["words"], "four and a half inches");
    assert_eq!(line["corrected"][0]["given"]["measured"]["exact"], "5 1/2 in");
    let cut = step("cut", 1);
    assert_eq!(cut["point"]["released"]["by"], "F. Foreman");
    assert!(step("cut", 2)["point"].get("released").is_none());
    assert_eq!(cut["cautions_said"][0], "Eye protection on: granules fly.");
    let hash = record.head.unwrap().1.to_string();
    assert_eq!(read["chain_head"]["entry_sha256"], hash.as_str());
    let missing = &read["checklists"][1]["measures"];
    let heel = missing.as_array().unwrap().iter().find(|m| m["name"] == "heel").unwrap();
    assert_eq!(heel["missing"], serde_json::json!(["heel_height"]));
}

/// Entries in the JSON day log are as they were sealed: anybody can take the
/// added members away and hash them again.
#[test]
fn entries_of_the_json_day_log_hash_to_what_they_say() {
    let tree = json::day(&day());
    let Some(Json::List(jobs)) = tree.get("jobs") else { panic!("no jobs") };
    let Some(Json::List(entries)) = jobs[0].get("entries") else { panic!("no entries") };
    assert_eq!(entries.len(), example::entries().len());
    let mut before = None;
    for entry in entries {
        let hash = entry.get("entry_sha256").and_then(Json::as_text).unwrap().parse().unwrap();
        let Json::Object(mut members) = entry.clone() else { panic!("not an object") };
        for added in ["entry_sha256", "line", "step_title"] {
            members.remove(added);
        }
        let sealed = Json::Object(members);
        let text = sealed.canonical().unwrap();
        let read = chain::follow(before.as_ref(), &sealed, &text, hash).unwrap();
        assert_eq!(entry_json::sealed(read.seq, &read.draft, read.previous), sealed);
        before = Some(read);
    }
}

/// Readings finer than the sheet's tape are not rounded in a record.
#[test]
fn a_reading_is_never_rounded() {
    let us = chalkhand::domain::Units::Us;
    let metric = chalkhand::domain::Units::Metric;
    for (text, shown) in [
        ("4 1/2 in", "4 1/2\""),
        ("13 3/32 in", "1'-1 3/32\""),
        ("63 3/64 in", "5'-3 3/64\""),
        ("1/3 in", "21/64\" (exactly 1/3 in)"),
    ] {
        assert_eq!(words::quantity(example::length(text), us), shown);
    }
    assert_eq!(words::quantity(example::length("120 mm"), metric), "120 mm");
    assert_eq!(words::quantity(example::length("1/2 in"), metric), "13 mm (exactly 1/2 in)");
}

#[test]
fn an_empty_day_and_an_empty_record_say_so() {
    let date = example::at("12:00:00.000").date();
    let none = Day::of(date, [], |_| None);
    assert_eq!(text::day(&none), "DAY LOG for 2026-10-15\nNothing was logged on this day.\n");
    let record = example::file(Vec::new()).record(&roof::functions());
    let page = html::record(&record, &[]);
    for expected in ["not begun", "nobody yet", "No entry has been logged", "NOT BEGUN."] {
        assert!(page.contains(expected), "{expected}");
    }
    // That nothing is wrong is said of work that is done, and of no other.
    assert!(!page.contains("None: every step"));
    let mut done = example::record();
    (done.attention, done.deviations) = (Vec::new(), Vec::new());
    let page = html::record(&done, &[]);
    assert!(page.contains("NOT FINISHED.") && !page.contains("None: every step"));
    done.walks.iter_mut().for_each(|walk| walk.ended = walk.ended.or(walk.begun));
    let page = html::record(&done, &[]);
    assert!(page.contains("None: every step") && !page.contains("NOT FINISHED."));
}
