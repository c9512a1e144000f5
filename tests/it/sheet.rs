//! The sheet as JSON, text and page: on the invented job, and on another trade
//! whose rows a function of the test's own computes. `UPDATE=1` rewrites the
//! texts under `tests/it/data/export/`.

use std::sync::Arc;

use chalkhand::domain::{
    Checklist, FactName, Job, JobFile, Profile, Record, Standing, parse_answer,
};
use chalkhand::export::html::Drawing;
use chalkhand::export::{html, json, sheet_json, sheet_text};
use chalkhand::files::read_checklist;
use chalkhand::measure::Functions;
use chalkhand::roof;
use proptest::prelude::*;
use serde_json::{Value, json};

use super::computed::{functions, profile as tile_profile, text as tile_text};
use super::export::kept;
use super::{crew, example};

fn tiles(edit: impl Fn(String) -> String) -> Checklist {
    read_checklist(&edit(tile_text()), "tiles.toml", &functions()).unwrap()
}

fn record_of(
    lists: Vec<Checklist>,
    job: Job,
    profile: Profile,
    standing: Standing,
    functions: &Functions,
) -> Record {
    let checklists = lists.into_iter().map(Arc::new).collect();
    let profile = Some(Arc::new(profile));
    JobFile { job, checklists, profile, entries: Vec::new(), standing }.record(functions)
}

/// The tile job with facts as `name value` or `name#row value`.
fn tile_record(lists: Vec<Checklist>, facts: &[&str]) -> Record {
    let mut standing = Standing::default();
    for fact in facts {
        let (name, value) = fact.split_once(' ').unwrap();
        let (name, row) = match name.split_once('#') {
            Some((name, row)) => (name, Some(row.parse().unwrap())),
            None => (name, None),
        };
        let kind = &lists[0].fact(name).unwrap().kind;
        let value = parse_answer(value, kind).unwrap();
        standing.facts.set(FactName { name: name.to_owned(), row }, value);
    }
    let job = Job { pins: Vec::new(), ..example::job() };
    record_of(lists, job, tile_profile(""), standing, &functions())
}

fn tile(facts: &[&str]) -> Record {
    tile_record(vec![tiles(|text| text)], facts)
}

const WALLS: &[&str] =
    &["wall_count 2", "wall.height#1 8 ft", "wall.height#2 1 in", "wall.width#2 3 ft"];

/// The invented job as its file gives it.
fn demo() -> Record {
    let (job, facts) = crew::demo_job();
    let lists = ["site-survey", "deck-intake", "closing-inspection"].map(crew::shipped);
    let standing = Standing { facts, ..Standing::default() };
    record_of(lists.into(), job, crew::demo_profile(), standing, &roof::functions())
}

fn read(record: &Record) -> Value {
    serde_json::from_str(&sheet_json::sheet(record).canonical().unwrap()).unwrap()
}

#[test]
fn tiles_are_as_kept() {
    let record = tile(WALLS);
    kept("tiles.txt", &sheet_text::sheet(&record));
    kept("tiles.json", &json::pretty(&sheet_json::sheet(&record)));
    let svg = "<svg viewBox=\"0 0 4 1\"><path d=\"M0 0h4v1H0z\"/></svg>".to_owned();
    let drawing = Drawing { title: "Walls".into(), description: "From the front.".into(), svg };
    kept("tiles.html", &html::sheet(&record, &[drawing]));
}

/// Every name a checklist declares is there, whatever it is called and whether
/// it is known.
#[test]
fn the_json_of_the_demo_job_has_its_documented_shape() {
    let record = demo();
    let sheet = read(&record);
    assert_eq!(sheet["format"], "chalkhand-sheet/1");
    assert_eq!(sheet["job"]["number"], record.job.number.as_str());
    for member in ["is_not", "invented", "profile", "attention", "checklists", "columns"] {
        assert!(!sheet[member].is_null(), "{member}");
    }
    let mut seen = 0;
    for walk in &record.walks {
        let single = |name: &&str| !name.contains('.');
        for name in walk.checklist.measures.iter().map(|m| m.name.as_str()).filter(single) {
            let own = format!("{}.{name}", walk.checklist.id);
            let found = sheet["measures"].get(&own).unwrap_or(&sheet["measures"][name]);
            for member in ["unit", "formula", "title", "group", "source", "bound", "checklist"] {
                assert!(found[member].is_string(), "{name} {member}: {found}");
            }
            assert!(found["value"].is_null() == found["tape"].is_null(), "{name}: {found}");
            assert!(found.get("value").is_some(), "{name}: present even where not known");
            let waits = found.get("missing").is_some() || found.get("cannot").is_some();
            assert_eq!(found["value"].is_null(), waits, "{name}: {found}");
            for fact in found["facts"].as_array().unwrap() {
                let fact = fact.as_str().unwrap();
                let figure = fact.strip_prefix("profile.");
                let known = record.walks.iter().any(|walk| match figure {
                    Some(figure) => walk.checklist.figures.iter().any(|f| f.name == figure),
                    None => walk.checklist.fact(fact).is_some(),
                });
                assert!(known || fact == "code_edition", "{name} rests on {fact}, no fact");
            }
            seen += 1;
        }
        for table in &walk.checklist.tables {
            let rows = sheet[format!("{}s", table.name)].as_array().unwrap();
            for (number, row) in (1..).zip(rows) {
                assert_eq!(row["number"], number);
                let own = |name: &str| {
                    name.split_once('.')
                        .filter(|(of, _)| *of == table.name)
                        .map(|(_, c)| c.to_owned())
                };
                let facts = walk.checklist.facts.iter().filter_map(|f| own(&f.name));
                let measures = walk.checklist.measures.iter().filter_map(|m| own(&m.name));
                let computed = table.columns().iter().map(|c| c.name.clone());
                for column in facts.chain(measures).chain(computed) {
                    let value = row.get(&column).unwrap_or_else(|| panic!("{column} in {row}"));
                    assert!(!value.is_object() && !value.is_array(), "{column}: {value}");
                }
            }
        }
    }
    assert!(20 < seen, "{seen}");
}

/// What a measure rests on, followed by hand through `tests/it/data/tile-rows.toml`.
#[test]
fn what_a_measure_rests_on_is_followed_to_the_facts() {
    let sheet = read(&tile(&["wall.height#1 8 ft"]));
    let all =
        ["joint", "profile.joint_usual", "profile.tile", "wall.height", "wall.width", "wall_count"];
    assert_eq!(sheet["measures"]["covered"]["facts"], json!(all));
    assert_eq!(sheet["columns"]["band.end"]["facts"], json!(all));
    assert_eq!(sheet["columns"]["band.start"]["facts"], json!(all));
    // Who gives the joint takes the usual one out of it.
    let sheet = read(&tile(&["wall.height#1 8 ft", "joint 1/4 in"]));
    let given: Vec<_> = all.into_iter().filter(|name| *name != "profile.joint_usual").collect();
    assert_eq!(sheet["measures"]["covered"]["facts"], json!(given));
    let sheet = read(&example::record());
    let facts = |name: &str| sheet["measures"][name]["facts"].clone();
    assert_eq!(facts("pieces"), json!(["profile.piece_length", "run.available", "run_count"]));
    assert_eq!(facts("heel"), json!(["heel_height", "insulation"]));
    assert_eq!(facts("nails_per_piece"), json!([]));
}

#[test]
fn values_are_exact_decimals_in_their_units() {
    // Rows of 4 1/8 in fit 23 times into 96 in.
    let sheet = read(&tile(WALLS));
    let covered = &sheet["measures"]["covered"];
    assert_eq!((&covered["value"], &covered["unit"]), (&json!(94.875), &json!("in")));
    assert_eq!(covered["tape"], "7'-10 7/8\"");
    assert_eq!(sheet["measures"]["tiles_high"]["value"], json!(23));
    assert_eq!(sheet["measures"]["tiles_high"]["unit"], "");
    let band = json!({"number": 1, "wall": 1, "rows": 23, "start": 1, "end": 95.875});
    assert_eq!(sheet["bands"], json!([band]));
    let walls = json!([
        {"number": 1, "height": 96, "width": 192},
        {"number": 2, "height": 1, "width": 36},
    ]);
    assert_eq!(sheet["walls"], walls);
    assert_eq!(sheet["columns"]["wall.width"]["tape"], json!(["16'-0\"", "3'-0\""]));
    // 22 rows of 4 1/3 in: the text has nine places and no noise.
    let third = sheet_json::sheet(&tile(&["wall.height#1 8 ft", "joint 1/3 in"]));
    let text = third.canonical().unwrap();
    assert!(text.contains("\"value\":95.333333333}"), "{text}");
}

#[test]
fn what_is_not_known_is_there_as_null() {
    let sheet = read(&tile(&[]));
    assert_eq!(sheet["bands"], json!([]));
    assert_eq!(sheet["walls"], json!([{"number": 1, "height": null, "width": null}]));
    let covered = &sheet["measures"]["covered"];
    assert_eq!(covered["value"], Value::Null);
    assert_eq!(covered["missing"], json!(["wall.height"]));
    let sheet = read(&tile(&["wall.height#1 200 ft"]));
    assert_eq!(sheet["measures"]["covered"]["cannot"], "wall 1 is hardly a wall");
    assert_eq!(sheet["bands"], json!([]));
}

#[test]
fn warnings_assumptions_and_assumed_facts_are_told() {
    let record = tile(WALLS);
    let sheet = read(&record);
    assert_eq!(sheet["warnings"], json!(["Wall 2 takes no tile."]));
    let assumed = sheet["assumptions"].as_array().unwrap();
    let told = "Nobody has said yet: How wide are the joints? Taken as 1/8\".";
    assert!(assumed.contains(&json!(told)), "{assumed:?}");
    let figure = "The profile does not say: Which joint do the instructions name? Taken as 1/8\".";
    assert!(assumed.contains(&json!(figure)), "{assumed:?}");
    let fact = |name: &str, row: Option<u64>| {
        let facts = sheet["facts"].as_array().unwrap();
        let is = |f: &&Value| f["name"] == name && f.get("row").and_then(Value::as_u64) == row;
        facts.iter().find(is).unwrap()["assumed"].clone()
    };
    assert_eq!(fact("wall.width", Some(1)), true);
    assert_eq!(fact("wall.width", Some(2)), false);
    // The record tells them too.
    let page = html::record(&record, &[]);
    assert!(page.contains("<li>Wall 2 takes no tile.</li>"));
    assert!(page.contains("16&#39;-0&quot; (nobody gave it: taken from other answers)"));
    let tree = json::record(&record, &[]).canonical().unwrap();
    let tree: Value = serde_json::from_str(&tree).unwrap();
    assert_eq!(tree["checklists"][0]["warnings"], sheet["warnings"]);
    let measures = tree["checklists"][0]["measures"].as_array().unwrap();
    assert!(measures.iter().any(|m| m["name"] == "band.start"), "computed columns");
}

#[test]
fn a_name_that_means_two_things_is_told_apart() {
    let second = tiles(|text| {
        text.replacen("id = \"tile-rows\"", "id = \"tile-two\"", 1)
            .replacen("tiles_high = \"sum(band.rows)\"", "tiles_high = \"sum(band.rows) + 1\"", 1)
            .replacen("\"band.start + band.rows", "\"1 in + band.start + band.rows", 1)
    });
    let record = tile_record(vec![tiles(|text| text), second], WALLS);
    let sheet = read(&record);
    let keys: Vec<&String> = sheet["measures"].as_object().unwrap().keys().collect();
    assert_eq!(keys, ["covered", "tile-two.tiles_high", "tiles_high"]);
    assert_eq!(sheet["measures"]["tile-two.tiles_high"]["value"], 24);
    assert_eq!(sheet["bands"][0]["end"], 95.875);
    assert_eq!(sheet["bands"][0]["tile-two.end"], 96.875);
    assert_eq!(sheet["bands"][0].get("tile-two.start"), None, "the same is there once");
    assert_eq!(sheet["warnings"], json!(["Wall 2 takes no tile."]), "each once");
    assert!(sheet_text::sheet(&record).contains("tiles high (Tiles on walls)"));
}

/// Whoever has only the text or the page has every number, warnings first.
#[test]
fn text_and_page_hold_every_number() {
    for record in [demo(), tile(WALLS), example::record()] {
        let text = sheet_text::sheet(&record);
        let page = html::sheet(&record, &[]);
        let flat: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for measure in record.walks.iter().flat_map(|walk| &walk.measures) {
            let Some(shown) = &measure.shown else { continue };
            assert!(flat.contains(shown.as_str()), "{}: {shown}", measure.title);
            assert!(page.contains(&html::escape(shown)), "{}: {shown}", measure.title);
            assert!(page.contains(&html::escape(&measure.title)), "{}", measure.title);
        }
        for walk in &record.walks {
            for caution in &walk.checklist.cautions {
                assert!(page.contains(&html::escape(&caution.say)));
                assert!(flat.contains(&caution.say), "{}", caution.say);
            }
            for warning in &walk.warnings {
                assert!(flat.contains(warning), "{warning}");
            }
        }
        let first = text.find("WARNINGS").unwrap();
        assert!(text[..first].lines().count() < 14, "warnings come first");
        assert!(text.find("Facts it was computed from").is_none_or(|at| first < at));
    }
}

#[test]
fn drawings_stand_under_the_warnings_and_before_the_numbers() {
    let svg = "<svg viewBox=\"0 0 1 1\"></svg>".to_owned();
    let drawing = Drawing { title: "The <roof>".into(), description: "Seen".into(), svg };
    let page = html::sheet(&tile(WALLS), &[drawing]);
    let at = |what: &str| page.find(what).unwrap_or_else(|| panic!("{what}"));
    assert!(at("<h2>Warnings") < at("<svg viewBox"));
    assert!(at("<svg viewBox") < at("The &lt;roof&gt;"), "the caption follows the drawing");
    // What is marked comes first, what was surveyed after the numbers.
    assert!(at("The &lt;roof&gt;") < at("Band 1 on wall 1"));
    assert!(at("Band 1 on wall 1") < at("<h2>All walls"));
    assert!(at("<h2>All walls") < at("<h3>Wall 1"));
    assert!(at("<h3>Wall 1") < at("<h2>Also computed"));
}

/// Puts a text wherever a person types one.
fn typed(record: &mut Record, word: &str) {
    let job = &mut record.job;
    for field in [
        &mut job.number,
        &mut job.address,
        &mut job.owner,
        &mut job.phone,
        &mut job.company,
        &mut job.code_edition,
    ] {
        *field = word.to_owned();
    }
    for fact in &mut record.facts {
        fact.ask = word.to_owned();
        if let chalkhand::measure::Value::Text(text) = &mut fact.value {
            *text = word.to_owned();
        }
    }
    for walk in &mut record.walks {
        let list = Arc::make_mut(&mut walk.checklist);
        (list.title, list.yields_to) = (word.to_owned(), word.to_owned());
        list.sources.iter_mut().for_each(|source| *source = word.to_owned());
        list.tables.iter_mut().for_each(|table| table.title = word.to_owned());
        list.measures.iter_mut().for_each(|measure| measure.title = word.to_owned());
        list.facts.iter_mut().for_each(|fact| fact.ask = word.to_owned());
        for caution in &mut list.cautions {
            (caution.say, caution.source) = (word.to_owned(), word.to_owned());
        }
        walk.warnings.iter_mut().for_each(|warning| *warning = word.to_owned());
        for measure in &mut walk.measures {
            (measure.title, measure.source) = (word.to_owned(), word.to_owned());
            if !measure.group.is_empty() {
                measure.group = word.to_owned();
            }
        }
    }
}

#[test]
fn nothing_typed_becomes_markup() {
    for make in [demo, || tile(WALLS), || tile(&[]), example::record] {
        let tags = |word: &str| -> Vec<String> {
            let mut record = make();
            typed(&mut record, word);
            let page = html::sheet(&record, &[]);
            let body = page.split("</style>").nth(1).unwrap().to_owned();
            body.split('<').skip(1).map(|tag| tag.split('>').next().unwrap().to_owned()).collect()
        };
        let expected = tags("plain");
        assert!(60 < expected.len());
        for word in [example::HOSTILE, "\"><b>", "'><img>", "</td></table>", "</style>", "<!--"] {
            assert_eq!(tags(word), expected, "{word}");
        }
    }
    let page = html::sheet(&demo(), &[]).to_lowercase();
    for never in ["<script", "http:", "https:", "url(", "@import", "<img", " src=", " href="] {
        assert!(!page.contains(never), "{never}");
    }
    assert!(page.contains("default-src 'none'"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// Long words, long sentences, letters of every kind: no line is too long.
    #[test]
    fn no_line_of_the_text_is_longer_than_80(
        word in proptest::collection::vec("[a-z0-9\"'/é🏠\u{202e}]{1,120}", 1..12)
    ) {
        for mut record in [demo(), tile(WALLS), tile(&[]), example::record()] {
            typed(&mut record, &word.join(" "));
            for line in sheet_text::sheet(&record).lines() {
                prop_assert!(line.chars().count() <= 80, "{}", line);
            }
        }
    }
}
