//! The record on paper: read back by qpdf and poppler (Debian), and whatever a
//! person can type comes out. No PDF/A or PDF/UA validator was found in the
//! registries; what is checked is the structure, the fonts, the tags, the
//! attachment and the text.

use std::path::Path;
use std::process::Command;

use chalkhand::domain::{Clip, Computed, Due, Hash, Json, Record};
use chalkhand::export::pdf::{self, Paper};
use chalkhand::export::{json, words};
use proptest::prelude::*;

use super::{example, outside};

fn json_of(record: &Record) -> Json {
    json::record(record, &example::due())
}

fn pages(json: &Json, paper: Paper) -> Vec<u8> {
    pdf::record(&json::pretty(json), json, |_| None, paper).unwrap()
}

/// What a program of others prints about a file; it has to be content with it.
fn told(program: &str, arguments: &[&str], file: &Path) -> String {
    let out = Command::new(program).args(arguments).arg(file).output().unwrap();
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
    let wrong = String::from_utf8_lossy(&out.stderr).into_owned();
    // Some versions of pdfinfo take the /Suspects of a tagged file for an error.
    let wrong = wrong.replace("Syntax Error: Suspects object is wrong type (boolean)\n", "");
    assert!(out.status.success() && wrong.is_empty(), "{program}: {said}{wrong}");
    said
}

fn text_of(bytes: &[u8]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("record.pdf");
    std::fs::write(&file, bytes).unwrap();
    let out = Command::new("pdftotext").arg("-layout").arg(&file).arg("-").output().unwrap();
    assert!(out.status.success());
    String::from_utf8(out.stdout).unwrap()
}

#[test]
fn programs_of_others_read_it() {
    if outside::folder("the PDF by qpdf and poppler").is_none() {
        return;
    }
    let json = json_of(&example::record());
    let folder = tempfile::tempdir().unwrap();
    for (paper, size) in [(Paper::Letter, "612 x 792"), (Paper::A4, "595.276 x 841.89")] {
        let file = folder.path().join("record.pdf");
        std::fs::write(&file, pages(&json, paper)).unwrap();

        let checked = told("qpdf", &["--check"], &file);
        assert!(checked.contains("No syntax or stream encoding errors"), "{checked}");

        let info = told("pdfinfo", &[], &file);
        assert!(info.contains(&format!("Page size:       {size}")), "{info}");
        assert!(info.contains("Tagged:          yes"), "{info}");
        assert!(info.contains("Title:           Install record, job"), "{info}");
        let metadata = told("pdfinfo", &["-meta"], &file);
        // 10:40 at the address, four hours behind.
        assert!(metadata.contains("<xmp:CreateDate>2026-10-15T14:40:00"), "{metadata}");
        for claim in ["<pdfaid:part>3<", "<pdfaid:conformance>B<", "<pdfuaid:part>1<"] {
            assert!(metadata.contains(claim), "{metadata}");
        }

        // Every font is in the file.
        let fonts = told("pdffonts", &[], &file);
        for font in fonts.lines().skip(2) {
            let columns: Vec<&str> = font.split_whitespace().rev().collect();
            assert_eq!(columns[4], "yes", "{font}");
        }

        let listed = told("pdfdetach", &["-list"], &file);
        assert!(listed.contains("1 embedded files"), "{listed}");
        let into = folder.path().join("out.json");
        told("pdfdetach", &["-save", "1", "-o", into.to_str().unwrap()], &file);
        assert_eq!(std::fs::read_to_string(&into).unwrap(), json::pretty(&json));
    }
}

#[test]
fn the_same_record_gives_the_same_bytes() {
    let json = json_of(&example::record());
    let first = pages(&json, Paper::Letter);
    assert_eq!(first, pages(&json, Paper::Letter));
    if let Some(folder) = std::env::var_os("CHALKHAND_LOOK") {
        std::fs::write(Path::new(&folder).join("record.pdf"), &first).unwrap();
    }
    assert_ne!(first, pages(&json, Paper::A4));
}

/// What the record holds is on the pages: nothing is left out on paper.
#[test]
fn the_pages_say_what_the_record_says() {
    if outside::folder("the words of the PDF by poppler").is_none() {
        return;
    }
    let record = example::record();
    let json = json_of(&record);
    let squeeze = |text: &str| text.split_whitespace().collect::<String>();
    let text = squeeze(&text_of(&pages(&json, Paper::A4)));
    let on_paper = |wanted: &str| {
        assert!(text.contains(&squeeze(wanted)), "`{wanted}` is not on the pages");
    };
    on_paper(words::IS_NOT);
    on_paper(words::INVENTED);
    for need in &record.attention {
        on_paper(words::about(&need.about));
    }
    for walk in &record.walks {
        on_paper(&walk.checklist.hash.to_string());
        for caution in walk.checklist.cautions.iter() {
            on_paper(&caution.source);
        }
        for step in walk.steps.iter().filter(|step| step.settled.is_some()) {
            on_paper(step.title.split_whitespace().next().unwrap());
        }
        for measure in &walk.measures {
            on_paper(measure.shown.as_deref().unwrap_or_default());
        }
    }
    for was in record.walks.iter().flat_map(|walk| &walk.steps).flat_map(|step| &step.corrected) {
        on_paper(&format!("entry {}", was.seq));
    }
    on_paper("Corrected. Before:");
    // The yes to what was read back, with its own sound.
    on_paper("then “yes”");
    on_paper("Cautions given first, by voice: ");
    let yes = record.walks[1].steps.iter().find_map(|step| {
        let settled = step.settled.as_ref()?;
        settled.confirmed.iter().find_map(|how| Some(how.heard()?.sound.to_string()))
    });
    on_paper(&yes.unwrap()[..32]);
}

/// Of many dates the nearest stand on the first page, so that it tells all, and the
/// drawing begins the next; where it runs over all the same, the drawing goes on after.
#[test]
fn the_first_page_tells_all() {
    if outside::folder("the words of the PDF by poppler").is_none() {
        return;
    }
    let squeeze = |text: &str| text.split_whitespace().collect::<String>();
    let mut record = example::record();
    let many = |record: &Record, count: u32| {
        let due = example::due().remove(0);
        let due = (1..=count).map(|n| Due { title: format!("look number {n}."), ..due.clone() });
        let mut json = json::record(record, &due.collect::<Vec<_>>());
        let Json::Object(members) = &mut json else { panic!() };
        let svg = r#"<svg xmlns="http://www.w3.org/2000/svg" width="90mm" height="60mm" viewBox="0 0 90 60"><path d="M0 0H90"/></svg>"#;
        let drawing = [("title", "A roof"), ("description", "a line"), ("svg", svg)];
        let drawing = drawing.map(|(name, text)| (name, Json::from(text)));
        members.insert("drawings", Json::from(vec![Json::object(drawing)]));
        let text = text_of(&pages(&json, Paper::Letter));
        text.split('\u{c}').map(squeeze).collect::<Vec<_>>()
    };
    let paper = many(&record, 14);
    for seen in ["looknumber4.", "10lateronesstandunderalldates", &squeeze(words::IS_NOT)] {
        assert!(paper[0].contains(seen), "{seen}: {}", paper[0]);
    }
    assert!(!paper[0].contains("looknumber5.") && paper[1].contains("Thedrawing"), "{}", paper[1]);
    let all = paper.iter().find(|page| page.contains("Alldatesafterthejob")).unwrap();
    assert!((1..=14).all(|n| all.contains(&format!("looknumber{n}."))), "{all}");

    // However much room is left below it.
    let short = Record { attention: Vec::new(), deviations: Vec::new(), ..record.clone() };
    let paper = many(&short, 4);
    assert!(paper[0].contains("looknumber4."), "{}", paper[0]);
    assert!(!paper.concat().contains("Alldatesafterthejob"), "{paper:?}");
    let paper = many(&short, 1);
    assert!(!paper[0].contains("Thedrawing") && paper[1].starts_with("Installrecord"), "{paper:?}");
    assert!(paper[1].contains("Thedrawing"), "{}", paper[1]);

    record.job.company = "Example Roofing and Sheet Metal of Sampletown. ".repeat(60);
    let paper = many(&record, 6);
    assert!(!paper[0].contains(&squeeze(words::IS_NOT)));
    let after = paper[1].split_once(&squeeze(words::IS_NOT)).unwrap().1;
    assert!(after.contains("Thedrawing"), "{}", paper[1]);
}

/// However much stands above, it says as much as leaves it whole, and where the rest is.
#[test]
fn the_first_page_holds_what_fits() {
    if outside::folder("the words of the PDF by poppler").is_none() {
        return;
    }
    let squeeze = |text: &str| text.split_whitespace().collect::<String>();
    let mut left: Vec<u32> = Vec::new();
    let mut computed_later = false;
    for names in (0..=48).step_by(4) {
        let mut record = example::record();
        record.job.company = "Example Roofing and Sheet Metal of Sampletown. ".repeat(names);
        let text = text_of(&pages(&json_of(&record), Paper::Letter));
        let pages: Vec<String> = text.split('\u{c}').map(squeeze).collect();
        let first = &pages[0];
        assert!(first.contains(&squeeze(words::IS_NOT)), "{names}: {first}");
        let (before, after) = first.split_once("morestandunderallopenmatters(page").unwrap();
        let digits = |text: &str| text.parse::<u32>().ok();
        left.extend(digits(&before[before.len() - 1..]));
        let page = after.split_once(')').and_then(|(page, _)| page.parse::<usize>().ok()).unwrap();
        assert!(pages[page - 1].contains("Allopenmatters"), "{names}: {page}");
        // Below the running head.
        let begins = "12ExampleLane,Sampleton,NowhereFactssurveyedonthisjob";
        assert!(pages.iter().any(|page| page.contains(begins)), "{names}: {pages:?}");
        let computed = pages.iter().position(|page| page.contains("Whatwascomputed,astheplan"));
        computed_later |= computed == Some(1);
    }
    assert_eq!((left.len(), left[0]), (13, 5));
    assert!(left.contains(&6) && left.contains(&8) && computed_later, "{left:?}");
}

/// Emoji have a font; what has none is seen as its code point; nothing steers
/// the line it stands in; nothing is taken for the language of the template.
#[test]
fn whatever_is_typed_comes_out() {
    let mut record = example::record();
    let typed =
        "Dueña: ¿señal? 🏠 漢字 \u{202e}turned #panic() $x$ *b* _i_ <l> @ref `c` \\ [x] // y";
    for note in &mut record.notes {
        note.text = typed.to_owned();
    }
    record.job.address = typed.to_owned();
    record.job.number = "J 1 \u{0}\u{7}\t漢".to_owned();
    let json = json_of(&record);
    let made = pages(&json, Paper::A4);
    if outside::folder("the words of the PDF by poppler").is_none() {
        return;
    }
    let text = text_of(&made);
    for seen in ["Dueña: ¿señal?", "🏠", "[U+6F22][U+5B57]", "#panic() $x$ *b* _i_ <l> @ref"] {
        assert!(text.contains(seen), "{seen} in {text}");
    }
    assert!(!text.contains('\u{202e}'));
}

/// The hash on paper is of the record as it is, not as the fonts can show it.
#[test]
fn the_hash_on_paper_is_of_the_record_as_it_is() {
    let mut record = example::record();
    // Of the private use area, of cuneiform, of Linear B: no font has them.
    record.notes[0].text = "a mark \u{e000} \u{12000} \u{10000}".to_owned();
    record.job.owner = "Owner \u{f8ff}".to_owned();
    let mut json = json_of(&record);
    let hash = Hash::of(json.canonical().unwrap().as_bytes()).to_string();
    let Json::Object(members) = &mut json else { panic!() };
    // The seal is no part of what is hashed.
    members.insert("seal", "a seal".into());
    let text = json::pretty(&json);
    let made = pdf::sources(&text, &json, |_| None, Paper::A4).unwrap();
    let (_, view) = made.files.iter().find(|(path, _)| path == "/view.json").unwrap();
    let view: serde_json::Value = serde_json::from_slice(view).unwrap();
    assert!(view["record"]["job"]["owner"] == "Owner [U+F8FF]", "{}", view["record"]["job"]);
    assert_eq!(view["rests"][0][1], hash.as_str());
    if outside::folder("the words of the PDF by poppler").is_some() {
        let paper = text_of(&pages(&json, Paper::A4));
        assert!(paper.contains(&hash) && paper.contains("[U+E000]"), "{hash}: {paper}");
    }
}

/// A checklist that was walked again: each walk's measures under its own title,
/// its sources and cautions once.
#[test]
fn a_checklist_walked_again_has_its_sources_once() {
    let mut record = example::record();
    let mut again = record.walks[1].clone();
    again.id = again.id.next();
    record.walks.push(again);
    let made = pages(&json_of(&record), Paper::A4);
    if outside::folder("the words of the PDF by poppler").is_none() {
        return;
    }
    let text = text_of(&made).split_whitespace().collect::<Vec<_>>().join(" ");
    let times = |words: &str| text.matches(words).count();
    let title = &record.walks[1].checklist.title;
    assert_eq!(times(&format!("Measures: {title}")), 2, "{text}");
    assert_eq!(times(&format!("Measures: {title} (walk 2)")), 1, "{text}");
    assert_eq!(times(&format!("{title} yields to")), 1, "{text}");
    assert_eq!(times("29 CFR 1926.501(b)(13)"), 1, "{text}");
    assert_eq!(times("given by voice before Run 1: Cut"), 1, "{text}");
}

#[test]
fn photos_and_many_entries_come_out() {
    // A picture of one grey square (PNG), made with the image crate's own words:
    // signature, header, one deflated row, end.
    let grey: &[u8] = &[
        0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a, 0, 0, 0, 13, b'I', b'H', b'D', b'R', 0, 0,
        0, 1, 0, 0, 0, 1, 8, 0, 0, 0, 0, 0x3a, 0x7e, 0x9b, 0x55, 0, 0, 0, 10, b'I', b'D', b'A',
        b'T', 0x78, 0x9c, 0x63, 0x68, 0, 0, 0, 0x82, 0, 0x81, 0x77, 0xcd, 0x72, 0xb6, 0, 0, 0, 0,
        b'I', b'E', b'N', b'D', 0xae, 0x42, 0x60, 0x82,
    ];
    let mut json = json_of(&example::record());
    let Json::Object(members) = &mut json else { panic!() };
    let photo = |number: u32| {
        let preview = if number % 7 == 3 { "0".repeat(64) } else { format!("{number:064x}") };
        Json::object([
            ("line", Json::from(format!("Photo {number}: the nail line, 🏠"))),
            ("sha256", Json::from(format!("{number:064x}"))),
            ("preview_sha256", Json::from(preview)),
        ])
    };
    members.insert("photos", Json::List((1..=80).map(photo).collect()));
    let Some(Json::List(walks)) = members.get_mut("checklists") else { panic!() };
    for walk in walks {
        let Json::Object(walk) = walk else { panic!() };
        let Some(Json::List(steps)) = walk.get_mut("steps") else { panic!() };
        let most = steps.len().max(200);
        *steps = steps.iter().cycle().take(most).cloned().collect();
    }
    let preview = |hash: &str| match hash.trim_start_matches('0') {
        "" => None,
        "1" => Some(b"no picture".to_vec()),
        _ => Some(grey.to_vec()),
    };
    let pages = |paper| pdf::record(&json::pretty(&json), &json, preview, paper).unwrap();
    let made = pages(Paper::Letter);
    if outside::folder("the words of the PDF by poppler").is_none() {
        return;
    }
    let text = text_of(&made);
    what_stands_where(&text);
    // Below the running head; on one size of paper they may by chance.
    let begins = |page: &str| {
        page.lines().map(str::trim).filter(|line| !line.is_empty()).nth(1).map(str::to_owned)
    };
    for text in [&text, &text_of(&pages(Paper::A4))] {
        let begin: Vec<String> = text.split('\u{c}').filter_map(begins).collect();
        for part in ["Every step, in order", "Photos"] {
            assert!(begin.iter().any(|line| line == part), "{part}: {begin:?}");
        }
    }
    for number in 1..=80 {
        assert!(text.contains(&format!("Photo {number}: the nail line")), "{number}");
    }
    assert_eq!(text.matches("Its smaller picture was not there whole.").count(), 13);
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("record.pdf");
    std::fs::write(&file, made).unwrap();
    let pictures = told("pdfimages", &["-list"], &file);
    assert_eq!(pictures.lines().filter(|line| line.contains(" image ")).count(), 67);
}

/// A record of many pages says on which each part of it begins, and says so truly.
fn what_stands_where(text: &str) {
    let pages: Vec<&str> = text.split('\u{c}').collect();
    assert!(12 < pages.len(), "{} pages", pages.len());
    for part in ["Every step, in order", "Photos", "Pinned versions", "How the spoken answers"] {
        let begins = pages.iter().rposition(|page| page.lines().any(|line| line.starts_with(part)));
        let (_, list) = text.split_once("What stands on which page").unwrap();
        let (_, rest) = list.split_once(part).unwrap();
        let told = rest.split(|c: char| !c.is_ascii_digit()).find(|number| !number.is_empty());
        let told: usize = told.unwrap().parse().unwrap();
        assert_eq!(begins.map(|page| page + 1), Some(told), "{part}");
    }
}

/// A row stays together on a page; one that no page can hold goes on over several, and
/// its last word is there.
#[test]
fn long_words_go_on_over_pages() {
    if outside::folder("the words of the PDF by poppler").is_none() {
        return;
    }
    let long = |place: &str| format!("{} last-of-{place}", "and so it goes on ".repeat(500));
    let mut record = example::record();
    record.notes[0].text = long("a-note");
    let mut json = json_of(&record);
    // Names that are short alone and many together.
    let cycled = |steps: &mut Box<[Json]>| {
        *steps = steps.iter().cycle().take(500).cloned().collect();
        for (at, step) in steps.iter_mut().enumerate() {
            let Json::Object(step) = step else { panic!() };
            step.insert("title", Json::from(format!("Step number {at} of them")));
            if 30 < at {
                let _ = step.remove("settled");
                let _ = step.remove("point");
                step.insert("corrected", Json::from(Vec::new()));
            }
        }
    };
    member(&mut json, &["checklists", "0", "steps"], |steps| {
        let Json::List(steps) = steps else { panic!() };
        cycled(steps);
    });
    let places = [
        ("a-step", &["checklists", "1", "steps", "0", "text"][..]),
        ("an-answer", &["checklists", "1", "steps", "1", "settled", "line"]),
        ("a-source", &["checklists", "1", "cautions", "0", "source"]),
        ("a-formula", &["checklists", "1", "measures", "0", "formula"]),
        ("a-fact", &["facts", "0", "value", "shown"]),
        ("a-figure", &["profile", "figures", "0", "value", "shown"]),
        ("a-date", &["follow_ups", "1", "title"]),
    ];
    for (place, path) in places {
        member(&mut json, path, |text| *text = Json::from(long(place)));
    }
    let text = text_of(&pages(&json, Paper::Letter)).split_whitespace().collect::<String>();
    for place in places.map(|(place, _)| place).into_iter().chain(["a-note"]) {
        assert!(text.contains(&format!("last-of-{place}")), "{place} does not end on the pages");
    }
    assert!(text.contains("Stepnumber499ofthem"));
}

/// Changes a value inside of a record, by names of members and places in lists.
fn member(json: &mut Json, path: &[&str], change: impl FnOnce(&mut Json)) {
    let Some((name, rest)) = path.split_first() else { return change(json) };
    let inner = match json {
        Json::Object(members) => members.get_mut(name),
        Json::List(items) => items.get_mut(name.parse::<usize>().unwrap()),
        _ => None,
    };
    member(inner.unwrap_or_else(|| panic!("no `{name}`")), rest, change);
}

/// Whatever a record holds or lacks, it is laid out.
#[test]
fn every_shape_of_a_record_is_laid_out() {
    let full = example::record();
    let clip = Clip { sound: Hash::of(b"sound"), length_ms: 900 };
    let with_clips = |record: &mut Record| {
        record.notes.iter_mut().for_each(|note| note.clip = Some(clip.clone()));
    };
    let nothing_asked = |record: &mut Record| record.walks.clear();
    let steps_alone = |record: &mut Record| {
        for step in record.walks.iter_mut().flat_map(|walk| &mut walk.steps) {
            (step.text, step.settled, step.point) = (None, None, None);
        }
    };
    let missing = |record: &mut Record| {
        for (at, measure) in record.walks.iter_mut().flat_map(|walk| &mut walk.measures).enumerate()
        {
            measure.computed = match at % 2 {
                0 => Computed::Missing(vec!["pitch".to_owned()]),
                _ => Computed::Cannot("it is too flat".to_owned()),
            };
        }
    };
    let bare = |record: &mut Record| {
        (record.profile, record.head, record.last_at) = (None, None, None);
        record.facts.clear();
        record.job.pins.clear();
        record.attention.clear();
    };
    let changes: [&dyn Fn(&mut Record); 5] =
        [&with_clips, &nothing_asked, &steps_alone, &missing, &bare];
    for every in 0..1_u32 << changes.len() {
        let mut record = full.clone();
        for (at, change) in changes.iter().enumerate() {
            if every & 1 << at != 0 {
                change(&mut record);
            }
        }
        let due = if every % 2 == 0 { example::due() } else { Vec::new() };
        let json = json::record(&record, &due);
        let made = pdf::record(&json::pretty(&json), &json, |_| None, Paper::A4);
        assert!(made.is_ok(), "{every:05b}: {}", made.unwrap_err());
    }
}

/// Leak calls and what was accepted, as `export` writes them.
#[test]
fn calls_and_accepted_deviations_come_out() {
    let mut json = json_of(&example::record());
    let Json::Object(members) = &mut json else { panic!() };
    let seq = |n: u32| Json::object([("entry_seq", Json::from(n))]);
    let visit = Json::object([
        ("at", "2027-02-01T10:00:00-05:00".into()),
        ("by", "F. Foreman".into()),
        ("walk", "leak-visit".into()),
        ("walk_title", "A leak visit".into()),
    ]);
    let call = Json::object([
        ("id", Json::from(1)),
        ("open", Json::Bool(false)),
        ("reported_on", "2027-01-30".into()),
        ("caller_shown", "O. Householder, 555-0100".into()),
        ("water_shown", "“over the porch” (plane 1)".into()),
        ("visits", Json::from(vec![visit])),
        ("found_shown", "found: a nail without sealant".into()),
        ("course", Json::from(vec![Json::from("Taken down by D. Desk")])),
        (
            "addendum",
            Json::object([
                ("from_entry", Json::from(40)),
                ("to_entry", Json::from(44)),
                ("follows", seq(39)),
                ("line", "Addendum: entries 40, 44, after the record up to entry 39.".into()),
            ]),
        ),
    ]);
    let accepted = Json::object([
        ("sentence", "Left out: “Hose test”.".into()),
        ("accepted", seq(33)),
        ("accepted_shown", "It was accepted by F. Foreman (foreman)".into()),
    ]);
    members.insert("callbacks", Json::from(vec![call]));
    members.insert("deviations", Json::from(vec![accepted]));
    let made = pages(&json, Paper::A4);
    if outside::folder("the words of the PDF by poppler").is_none() {
        return;
    }
    let text = text_of(&made).split_whitespace().collect::<String>();
    for seen in [
        "“over the porch” (plane 1); closed: found: a nail without sealant",
        "“over the porch” (plane 1)",
        "found: a nail without sealant",
        "entries 40, 44, after the record up to entry 39",
        "It was accepted by F. Foreman (foreman)",
    ] {
        assert!(text.contains(&seen.split_whitespace().collect::<String>()), "{seen}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]
    /// Any text anywhere: always a PDF.
    #[test]
    fn any_text_gives_a_pdf(text in "\\PC{0,40}", more in any::<String>()) {
        let mut record = example::record();
        record.job.address = text.clone();
        record.job.owner = more.clone();
        record.job.company = format!("{text}{more}");
        record.job.number = more;
        for note in &mut record.notes {
            note.text = text.clone();
        }
        let json = json_of(&record);
        let made = pages(&json, Paper::Letter);
        prop_assert!(made.starts_with(b"%PDF-"));
    }
}
