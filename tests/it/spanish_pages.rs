//! Pages of a person who reads Spanish: no name, question, choice or reason of a shipped
//! checklist is left in English; one of one's own that has no translation keeps its
//! names, each marked with its language.

use std::collections::BTreeSet;

use chalkhand::domain::{
    Answer, Checklist, Draft, FactKind, FactName, Given, Piece, PointKind, StepRef, Target, WalkId,
    What,
};
use chalkhand::files::{TRANSLATIONS, read_translation};
use chalkhand::measure::Value;

use crate::crew;
use crate::day_pages::{DAY, add, form, reach, send, skip, store};
use crate::drafts::draft;
use crate::feed;
use crate::pages::{Browser, Page, invited_reading, office};
use crate::program::Home;
use crate::roof::CHECKLIST;
use crate::serve::Daemon;

const JOB: &str = "EX-0001";
const LISTS: [&str; 4] = ["site-survey", "deck-intake", "closing-inspection", "leak-visit"];
const ALL: [&str; 4] = ["installer", "foreman", "desk", "office"];

/// What a page says: its text, and what is read out of its attributes. Drawings are
/// pictures of the record, marked as English.
fn said(page: &Page) -> String {
    let (mut said, mut skipping) = (String::new(), false);
    for piece in page.body.split('<').skip(1) {
        let (tag, text) = piece.split_once('>').unwrap();
        if tag.starts_with("figure class=\"drawing\" lang=\"en\"") {
            skipping = true;
        }
        if tag == "/figure" {
            skipping = false;
        }
        if skipping {
            continue;
        }
        for name in [" alt=\"", " aria-label=\"", " label=\"", " placeholder=\""] {
            if let Some((_, rest)) = tag.split_once(name) {
                said.push_str(rest.split('"').next().unwrap());
                said.push('\n');
            }
        }
        said.push_str(text);
        said.push('\n');
    }
    said.replace("&amp;", "&").replace("&quot;", "\"")
}

/// Whether that stands there as words of its own.
fn says(said: &str, words: &str) -> bool {
    let joins = |c: char| c.is_alphanumeric();
    said.match_indices(words)
        .any(|(at, _)| !said[..at].ends_with(joins) && !said[at + words.len()..].starts_with(joins))
}

fn spanish(id: &str) -> Checklist {
    let file = format!("{id}.toml");
    let (_, _, text) = TRANSLATIONS.iter().find(|(_, name, _)| *name == file).unwrap();
    read_translation(text, &file, &crew::shipped(id)).unwrap_or_else(|why| panic!("{why}"))
}

/// What a checklist says on pages, in its order.
fn sayings(list: &Checklist) -> Vec<String> {
    let mut all = vec![list.title.clone()];
    all.extend(list.steps.iter().flat_map(|step| [step.title.clone(), step.why.clone()]));
    all.extend(list.tables.iter().map(|table| table.title.clone()));
    all.extend(list.follow_ups.iter().map(|date| date.title.clone()));
    all.extend(list.cautions.iter().map(|caution| caution.say.clone()));
    all.extend(list.facts.iter().map(|fact| fact.ask.clone()));
    let word = |option: &String| list.words.get(option).unwrap_or(option).clone();
    for step in &list.steps {
        if let Answer::Choice { options, .. } = &step.answer {
            all.extend(options.iter().map(word));
        }
    }
    for fact in &list.facts {
        if let FactKind::Choice(options) = &fact.kind {
            all.extend(options.iter().map(word));
        }
    }
    all
}

/// English that no Spanish page may have: all of the checklists that is another word
/// in Spanish, and what the record says about them.
fn english() -> BTreeSet<String> {
    let mut english = BTreeSet::new();
    let mut both = String::new();
    for id in LISTS {
        let (a, b) = (sayings(&crew::shipped(id)), sayings(&spanish(id)));
        assert_eq!(a.len(), b.len(), "{id}");
        both.push_str(&b.join("\n"));
        english.extend(a.into_iter().zip(b).filter(|(a, b)| a != b).map(|(a, _)| a));
    }
    // What is said at a step, from place to place.
    for step in LISTS.iter().flat_map(|id| crew::shipped(id).steps) {
        let words = step.say.iter().filter_map(|piece| match piece {
            Piece::Words(words) => Some(words.trim().to_owned()),
            Piece::Name(_) => None,
        });
        english.extend(words.filter(|words| 20 < words.len()));
    }
    // A word of both languages, such as "no".
    english.retain(|words| !words.is_empty() && !says(&both, words));
    assert!(300 < english.len(), "{}", english.len());
    let record = [
        "look first",
        "look early",
        "stands as asked",
        "accepted by",
        "nobody accepted",
        "was named at the call",
        "the caller said",
        "not logged",
        "of the whole roof",
        "elsewhere",
        "at the place",
        "lies on",
        "has not been walked",
        "has not ended",
        "moved from",
        "working day",
        "day off",
        "office's",
        "nobody on",
        "Entry",
        "entry",
        "Asked for",
        "past",
        "left out",
        "off target",
        "to be done",
        "for the",
        "It says",
        "Visit after",
        "foreman",
        "installer",
        "desk",
        "checklist",
        "yes",
        "none",
        "row",
    ];
    english.extend(record.map(str::to_owned));
    english
}

fn step(text: &str) -> StepRef {
    text.parse().unwrap()
}

/// A job on which one of everything has happened that pages tell of.
fn much_happened() -> Home {
    let home = feed::home();
    let list = crew::shipped("deck-intake");
    let mut store = store(&home);
    let pin = store.job(JOB).unwrap().unwrap().pins;
    let pin = pin.iter().find(|pin| pin.id == "deck-intake").unwrap();
    let begun = What::WalkBegun { version: pin.version, hash: pin.hash };
    let walk = Some(WalkId::first("deck-intake"));
    store.append(&Draft { walk, ..draft(JOB, "begin", begun) }, None).unwrap();
    for of in &list.steps {
        let at = StepRef { id: of.id.clone(), row: of.each.as_ref().map(|_| 1) };
        let asked = "Snap the line.".to_owned();
        match &of.answer {
            Answer::Choice { options, wanted } => {
                let given = options.iter().find(|one| !wanted.contains(one));
                let given = Given::Chosen(given.unwrap_or(&options[0]).clone());
                let target = Some(wanted.clone()).filter(|all| !all.is_empty());
                let target = target.map(Target::OneOf);
                let reason = Some("así estaba".to_owned());
                add(&home, What::Answered { step: at, asked, given, target, reason });
            }
            Answer::Done if of.tags.iter().any(|tag| tag == "flashing") => {
                let given = Given::Done;
                add(&home, What::Answered { step: at, asked, given, target: None, reason: None });
            }
            _ => {}
        }
    }
    let said = vec![list.cautions[0].say.clone()];
    add(&home, What::Cautioned { step: step("cut#1"), said, spoken: Some(true) });
    reach(&home, "cut#1", PointKind::Hold);
    reach(&home, "look-inside", PointKind::Witness);
    skip(&home, "shingles-over#1", "no alcanzó");
    for (name, row, value) in [
        ("ice_barrier", None, Value::Text("none".to_owned())),
        ("warm_side_retarder", None, Value::YesNo(true)),
        ("obstruction.what", Some(1), Value::Text("chimney".to_owned())),
    ] {
        let name = FactName { name: name.to_owned(), row };
        let what = What::FactGiven(name.clone(), value);
        store.append(&draft(JOB, &format!("fact {name:?}"), what), None).unwrap();
    }
    let open = ["callback", "open", JOB, "--by", "Desk Example", "--caller", "Owner Example"];
    let place = ["--where", "junto a la ventana", "--plane", "1", "--run", "1"];
    home.run([&open[..], &place].concat()).well();
    home
}

fn reader<'a>(office: &mut Browser<'a>, name: &str) -> Browser<'a> {
    invited_reading(office, name, &ALL, "us", "es")
}

#[test]
fn no_name_and_no_reason_is_left_in_english() {
    let home = much_happened();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut spanish = reader(&mut office, "Foreman Example");
    // A date that a visit is put on, one that was moved, one outside the hours.
    let hidden = form(&spanish.get("/desk/EX-0001"), "/desk/plan", "ese día");
    let said_there =
        [("day", "2020-02-02"), ("clock", "20:00"), ("who", "installer"), ("lasts", "60")];
    assert_eq!(send(&mut spanish, "/desk/plan", &hidden, &said_there).status, 303);
    let page = spanish.get("/dates/EX-0001");
    let hidden = form(&page, "/dates/move", "primer mes");
    let moved = [("day", "2027-02-06"), ("clock", "10:00"), ("why", "llueve")];
    assert_eq!(send(&mut spanish, "/dates/move", &hidden, &moved).status, 303);
    let english = english();
    let (mut told, mut left) = (String::new(), Vec::new());
    for path in [
        "/",
        DAY,
        "/day",
        "/job/EX-0001",
        "/desk",
        "/desk/EX-0001",
        "/dates?months=1200",
        "/desk/EX-0001?water=by+the+chimney+on+plane+1",
        "/dates/EX-0001",
        "/roof/EX-0001/deck-intake",
        "/roof/EX-0001/closing-inspection",
        "/people",
    ] {
        let page = spanish.get(path);
        assert_eq!(page.status, 200, "{path}");
        let said = said(&page);
        // What somebody typed stays as it was typed, and so does a person's name.
        let typed = ["Foreman Example", "Desk Example", "Office Example", "plane 1", "chimney"];
        let read = typed.iter().fold(said.clone(), |said, typed| said.replace(typed, "…"));
        for line in read.lines() {
            left.extend(
                english
                    .iter()
                    .filter(|words| says(line, words))
                    .map(|words| format!("{path}: {words:?} in: {line}")),
            );
        }
        assert!(!page.body.contains(['\u{fdd0}', '\u{fdd1}']), "{path}");
        told.push_str(&said);
    }
    assert!(left.is_empty(), "{}", left.join("\n"));
    for words in [
        "mirar primero: algo no está bien, en el lugar",
        "omitido, y nadie lo aceptó",
        "se nombró en la llamada: Plano",
        "Visita tras la llamada por gotera 1: junto a la ventana",
        "Revisar las ventilas después del primer mes",
        "Garantía: leer qué piden los documentos de este trabajo para este día (2 de 5)",
        "domingo 2020-02-02 no es día de trabajo",
        "sábado 2027-02-06 no es día de trabajo",
        "capataz",
    ] {
        assert!(told.contains(words), "{words} in:\n{told}");
    }
    // Another reads the same in English, and the record is nobody's language but its own.
    let page = office.get("/desk/EX-0001");
    assert!(page.body.contains("left out, and nobody accepted it"), "{page:?}");
    let record = spanish.get("/job/EX-0001/record.json").body;
    assert_eq!(record, office.get("/job/EX-0001/record.json").body);
    assert!(record.contains("Look at the vents after the first month"));
}

/// Each text of a page with the language it is in.
fn texts(page: &Page) -> Vec<(String, String)> {
    const EMPTY: [&str; 6] = ["!DOCTYPE", "meta", "link", "input", "img", "br"];
    let (mut within, mut texts): (Vec<String>, _) = (Vec::new(), Vec::new());
    for piece in page.body.split('<').skip(1) {
        let (tag, text) = piece.split_once('>').unwrap();
        let name = tag.split([' ', '>']).next().unwrap();
        let outer = within.last().cloned().unwrap_or_default();
        if tag.starts_with('/') {
            within.pop();
        } else if !EMPTY.contains(&name) {
            let lang = tag.split_once(" lang=\"").map(|(_, rest)| rest.split('"').next().unwrap());
            within.push(lang.map_or(outer, str::to_owned));
        }
        // The name of a window has no parts.
        if name != "title" {
            texts.push((within.last().cloned().unwrap_or_default(), text.to_owned()));
        }
    }
    assert!(within.is_empty(), "{within:?}");
    texts
}

/// Each time a name stands on a page it is in a part that says its language.
fn assert_marked(page: &Page, name: &str) {
    let texts: Vec<_> = texts(page).into_iter().filter(|(_, text)| says(text, name)).collect();
    assert!(!texts.is_empty(), "no {name}: {}", page.body);
    for (lang, text) in texts {
        assert_eq!(lang, "en", "{name} in {text}");
    }
}

#[test]
fn a_checklist_without_translation_keeps_its_names_marked() {
    let dated = format!(
        "{CHECKLIST}\n[[follow_up]]\nid = \"later\"\nafter = \"P7D\"\ntitle = \"Look again\"\n\
         lasts = \"PT30M\"\n"
    );
    let home = short_of(&dated);
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut spanish = reader(&mut office, "Foreman Example");
    let said = ["--by", "Foreman Example", "--keys", "--mute"];
    let walk = [&["walk", "SW-1", "short-walk"][..], &said].concat();
    home.typed(&walk, &"skip\nnot today\nyes\n".repeat(3)).well();
    for (path, names) in [
        ("/day", &["Wear", "Nail line", "Nails"][..]),
        ("/job/SW-1", &["A short walk", "Nail line"]),
        ("/desk/SW-1", &["Nail line"]),
        ("/dates/SW-1", &["Look again", "A short walk"]),
        ("/roof/SW-1/short-walk", &["A short walk", "Look"]),
    ] {
        let page = spanish.get(path);
        assert_eq!(page.status, 200, "{path}");
        for name in names {
            assert_marked(&page, name);
        }
        assert!(!page.body.contains(['\u{fdd0}', '\u{fdd1}']), "{path}");
        // On an English page nothing is another language.
        let page = office.get(path);
        assert!(!page.body.contains("<span lang="), "{path}: {page:?}");
    }
}

fn short_of(checklist: &str) -> Home {
    let home = Home::new();
    let file = home.write("short-walk.toml", checklist);
    home.run(["checklist", "adopt", file.to_str().unwrap()]).well();
    let job = home.write("job.toml", crate::roof::JOB);
    home.run(["job", "open", job.to_str().unwrap()]).well();
    home
}

/// A translation of one's own is read beside the checklist, and read anew once it was
/// changed: the day's page is another then.
#[test]
fn a_translation_of_ones_own_is_read_and_read_anew() {
    let home = short_of(CHECKLIST);
    let walk = ["walk", "SW-1", "short-walk", "--by", "Foreman Example", "--keys", "--mute"];
    home.typed(walk, "skip\nnot today\nyes\n").well();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut spanish = reader(&mut office, "Foreman Example");
    let mut translation = "checklist = \"short-walk\"\nversion = \"1.0.0\"\nlanguage = \"es\"\n\
        title = \"Recorrido corto\"\n[cautions.eyes]\nsay = \"Lentes.\"\n"
        .to_owned();
    for (id, say) in [
        ("wear", "Lentes."),
        ("line", "Marcar {nail_line}."),
        ("nails", "¿Cuántos?"),
        ("look", "¿Cómo está?"),
        ("cut", "Cortar."),
        ("left", "¿Qué queda?"),
    ] {
        let why = if id == "wear" { "why = \"Los ojos no vuelven.\"\n" } else { "" };
        let choice = if id == "look" { "choice = [\"seco\", \"mojado\"]\n" } else { "" };
        translation.push_str(&format!(
            "[steps.{id}]\ntitle = \"Paso {id}\"\nsay = \"{say}\"\n{why}{choice}"
        ));
    }
    let file = "data/checklists/es/short-walk.toml";
    std::fs::create_dir_all(home.path("data/checklists/es")).unwrap();
    let mut tags = BTreeSet::new();
    for (text, says) in [
        (None, "<span lang=\"en\">Wear</span>"),
        (Some(translation.clone()), "Paso wear: omitido"),
        (Some(translation.replace("Paso wear", "Vestirse")), "Vestirse: omitido"),
        (Some("checklist = ".to_owned()), "<span lang=\"en\">Wear</span>"),
        (Some(translation.replace("1.0.0", "1.0.1")), "<span lang=\"en\">Wear</span>"),
        (Some(translation.clone()), "Paso wear: omitido"),
    ] {
        if let Some(text) = &text {
            home.write(file, text);
        }
        let page = spanish.get("/day");
        assert!(page.status == 200 && page.body.contains(says), "{says}: {page:?}");
        tags.insert(page.headers["etag"].clone());
    }
    // The first translation and the last are the same page.
    assert_eq!(tags.len(), 5);
    assert_eq!(office.get("/day").body.matches("Wear: left out").count(), 1);
}

/// What is refused is told without the names of commands, and in the reader's language.
#[test]
fn what_is_refused_is_told_in_the_readers_words() {
    let home = much_happened();
    let daemon = Daemon::start(&home);
    let mut office = office(&daemon);
    let mut spanish = reader(&mut office, "Foreman Example");
    let hidden = form(&spanish.get("/desk/EX-0001"), "/desk/close", "Qué se encontró");
    let sent = |step| [("found", "nada"), ("warranty", "under"), ("step", step)];
    let page = send(&mut spanish, "/desk/close", &hidden, &sent("no:step"));
    assert!(page.status == 422, "{page:?}");
    assert!(page.body.contains("ninguna lista del trabajo EX-0001 tiene el paso «no:step»"));
    let hidden = form(&office.get("/desk/EX-0001"), "/desk/close", "What was found");
    let page = send(&mut office, "/desk/close", &hidden, &sent("no:step"));
    assert!(page.status == 422 && !page.body.contains("chalkhand checklist"), "{page:?}");
    // What is in English all the same says so.
    let page = spanish.send("/library/take", &[("path", "nowhere.toml")]);
    assert!(page.status != 200 && page.body.contains("<span lang=\"en\">"), "{page:?}");
}
