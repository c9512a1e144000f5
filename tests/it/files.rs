//! What files are refused for, and how it is said. Cases and answers stand in
//! `data/file-problems.txt`; `UPDATE=1` rewrites the answers, to be read before
//! they are kept.

use std::fmt::Write;
use std::fs;

use chalkhand::domain::{
    Answer, Bound, Checklist, Computes, FactKind, PointKind, PointWhen, Units, parse_answer,
};
use chalkhand::files::{Problems, read_checklist, read_job, read_profile};
use chalkhand::measure::{Dimension, Quantity, Ratio, Value};
use chalkhand::roof;

const CASES: &str = "tests/it/data/file-problems.txt";
const HEAD: &str = "id = \"x\"\nversion = \"1.0.0\"\ntitle = \"X\"\nyields_to = \"the code\"\n";
const STEP: &str = "[[step]]\nid = \"go\"\ntitle = \"Go\"\nsay = \"Go.\"\n";
const JOB: &str = "number = \"1\"\naddress = \"a\"\nowner = \"o\"\ncompany = \"c\"\n\
    code_edition = \"IRC 2021\"\ntime_zone = \"America/New_York\"\nchecklists = [\"survey\"]\n";
const PROFILE: &str =
    "id = \"p\"\nversion = \"1.0.0\"\ntitle = \"P\"\nsource = \"made up\"\ninvented = true\n";
/// What the facts of job files are checked against.
const SURVEY: &str = r#"
[facts.pitch]
kind = "pitch"
ask = "?"
from = "1/12"
to = "21/12"
[facts.attic_area]
kind = "area"
ask = "?"
[facts.runs]
kind = "count"
ask = "?"
from = 1
to = 9
[facts.cold]
kind = "yes-no"
ask = "?"
[facts.cover]
kind = "choice"
ask = "?"
options = ["tile", "shingle"]
[each.run]
rows = "runs"
title = "Run"
[each.run.facts.length]
kind = "length"
ask = "?"
from = "0 in"
to = "100 ft"
"#;

fn body(fragment: &str) -> String {
    let step = if fragment.contains("[[step]]") { "" } else { STEP };
    format!("{HEAD}{fragment}{step}")
}

fn read(text: &str) -> Result<Checklist, Problems> {
    read_checklist(text, "x.toml", &roof::functions())
}

fn good(fragment: &str) -> Checklist {
    read(&body(fragment)).unwrap_or_else(|problems| panic!("{problems}"))
}

fn answer_to(kind: &str, text: &str) -> String {
    let refused = match kind {
        "checklist" => read(text).err(),
        "body" => read(&body(text)).err(),
        "profile" => read_profile(&format!("{PROFILE}{text}"), "x.toml").err(),
        "job" => {
            let survey = good(SURVEY);
            let file = read_job(&format!("{JOB}{text}"), "x.toml");
            file.and_then(|file| file.facts(&[&survey])).err()
        }
        "file" => read_job(text, "x.toml").err(),
        other => panic!("no kind of case is called {other}"),
    };
    refused.map_or_else(|| "reads".to_owned(), |problems| problems.to_string())
}

/// Each case is a line `## kind: what`, the text, `--`, and the answer.
#[test]
fn problems_are_said_as_written_down() {
    let cases = fs::read_to_string(CASES).unwrap();
    let mut again = String::new();
    let mut count = 0;
    for case in cases.split("## ").skip(1) {
        let (title, rest) = case.split_once('\n').unwrap();
        let (text, _) = rest.split_once("--\n").unwrap();
        let (kind, _) = title.split_once(':').unwrap();
        let answer = answer_to(kind, text);
        let answer: String = answer.lines().fold(String::new(), |mut all, line| {
            writeln!(all, "{}", line.trim_end()).unwrap();
            all
        });
        assert_ne!(answer.trim(), "reads", "{title}: nothing is wrong with it");
        writeln!(again, "## {title}\n{text}--\n{answer}").unwrap();
        count += 1;
    }
    let again = format!("{}\n", again.trim_end());
    if std::env::var_os("UPDATE").is_some() {
        fs::write(CASES, again).unwrap();
    } else {
        similar(&cases, &again);
    }
    assert!(55 < count, "only {count} cases");
}

fn similar(written: &str, found: &str) {
    for (number, (written, found)) in written.lines().zip(found.lines()).enumerate() {
        assert_eq!(written, found, "line {} of {CASES}", number + 1);
    }
    assert_eq!(written.lines().count(), found.lines().count(), "{CASES}");
}

#[test]
fn a_checklist_comes_out_as_written() {
    let list = good(
        r#"sources = ["here", "there"]
[cautions.zeal]
say = "Slowly."
source = "common practice, no source"
[cautions.air]
say = "Air."
source = "from memory"
[facts.zinc]
kind = "length"
ask = "How long?"
from = "0 in"
to = "5 ft 3 3/16 in"
[facts.apples]
kind = "count"
ask = "How many?"
from = 1
[profile.piece]
kind = "length"
ask = "Piece?"
[measures]
late = "early * 2"
early = "zinc + profile.piece"
[measures.least_row]
formula = "least(row.twice)"
title = "the least"
bound = "maximum"
graduation = "1/8 in"
source = "here"
[each.row]
rows = "apples"
title = "Row"
[each.row.facts.width]
kind = "length"
ask = "How wide?"
[each.row.measures]
twice = "row.width * 2 + early + row.number * 1 in"
[[step]]
id = "first"
title = "First"
each = "row"
say = "Row {row.number} of {apples}: {row.twice} {{ {profile.piece}"
why = "Because."
answer = { measure = "row.twice", tolerance = "1/16 in" }
caution = ["air", "zeal"]
photo = 2
tags = ["a", "b"]
least = "PT1M30S"
[[step]]
id = "second"
title = "Second"
say = "Choose."
answer = { choice = ["dry", "wet"], wanted = ["dry"] }
point = { kind = "witness", role = "foreman", when = "skipped(first)" }
only_if = "3 <= apples and zinc < 2 ft"
[[follow_up]]
after = "P1Y6M"
title = "Look again!"
checklist = "x"
lasts = "PT1H"
"#,
    );
    let names = |names: Vec<&String>| names.into_iter().cloned().collect::<Vec<_>>();
    assert_eq!(list.sources, ["here", "there"]);
    let ids = names(list.cautions.iter().map(|caution| &caution.id).collect());
    assert_eq!(ids, ["zeal", "air"], "in the order of the file");
    let facts = names(list.facts.iter().map(|fact| &fact.name).collect());
    assert_eq!(facts, ["zinc", "apples", "row.width"]);
    assert_eq!(list.facts[0].to, Some(Quantity::inches(Ratio::new(1011, 16).unwrap())));
    assert_eq!(list.figures[0].name, "piece");
    // Measures are read in the order written and computed in the order needed.
    let at = |name: &str| list.measures.iter().position(|measure| measure.name == name).unwrap();
    let when = |name: &str| {
        list.order.iter().position(|computes| *computes == Computes::Measure(at(name))).unwrap()
    };
    assert!(at("late") < at("early") && at("least_row") < at("row.twice"));
    assert!(when("early") < when("late") && when("row.twice") < when("least_row"));
    let measure = list.measure("least_row").unwrap();
    assert_eq!((measure.bound, measure.graduation), (Bound::Maximum, Ratio::new(1, 8).unwrap()));
    assert_eq!((measure.kind.clone(), measure.title.as_str()), (FactKind::Length, "the least"));
    let plain = list.measure("row.twice").unwrap();
    assert_eq!((plain.bound, plain.graduation), (Bound::Mark, Ratio::new(1, 16).unwrap()));
    let first = list.step("first").unwrap();
    assert_eq!(first.say.len(), 8);
    assert_eq!((first.photos, first.least_s, first.each.as_deref()), (2, Some(90), Some("row")));
    assert_eq!(first.cautions, ["air", "zeal"]);
    let tolerance = Quantity::inches(Ratio::new(1, 16).unwrap());
    assert_eq!(first.answer, Answer::Measure { measure: "row.twice".to_owned(), tolerance });
    let second = list.step("second").unwrap();
    let point = second.point.clone().unwrap();
    assert_eq!(point.kind, PointKind::Witness);
    assert_eq!(point.when, PointWhen::Skipped("first".to_owned()));
    let follow_up = &list.follow_ups[0];
    assert_eq!((follow_up.id.as_str(), follow_up.lasts_min), ("look-again", 60));
    assert_eq!(follow_up.after.to_string(), "P1Y6M");
}

#[test]
fn the_hash_is_of_the_very_bytes() {
    let one = good("");
    let other = read(&format!("{}\n", body(""))).unwrap();
    assert_ne!(one.hash, other.hash);
    assert_eq!(one.hash, chalkhand::domain::Hash::of(body("").as_bytes()));
}

/// Where a formula is written in each of TOML's ways of quoting, the caret
/// stands under the very letters.
#[test]
fn carets_stand_under_the_letters() {
    let cases = [
        ("m = \"½ * oops\"", "oops"),
        ("m = '1 in + oops'", "oops"),
        ("m = '''\n1 in +\n  oops'''", "oops"),
        ("m = \"\"\"\r\n1 in + oops\"\"\"", "oops"),
        // With an escape the letters do not stand in the file one for one.
        ("m = \"1 in \\u002b oops\"", "\""),
        ("m = \"\"\"1 in + \\\n   oops\"\"\"", "\""),
    ];
    for (measure, under) in cases {
        let text = body(&format!("[measures]\n{measure}\n"));
        let problems = read(&text).unwrap_err();
        let problem = &problems.list()[0];
        let letters: String =
            problem.line_text.chars().skip(problem.caret.start).take(problem.caret.len()).collect();
        assert_eq!(letters, under, "{measure:?}: {problem}");
    }
}

#[test]
fn sizes_are_bounded() {
    let filler = format!("{}# {}\n", body(""), "x".repeat(1 << 20));
    assert!(read(&filler).unwrap_err().to_string().contains("larger than 1048576 bytes"));
    let steps = |count: usize| {
        (0..count).fold(String::new(), |mut all, n| {
            write!(all, "[[step]]\nid = \"s{n}\"\ntitle = \"S\"\nsay = \"S.\"\n").unwrap();
            all
        })
    };
    assert_eq!(good(&steps(2_000)).steps.len(), 2_000);
    let problems = read(&body(&steps(2_001))).unwrap_err();
    assert!(problems.to_string().contains("more than 2000 steps"), "{problems}");
    let bad: String = (0..500).map(|n| format!("k{n} = 1\n")).collect();
    let problems = read(&body(&bad)).unwrap_err();
    assert_eq!(problems.list().len(), 500);
    let listed = problems.to_string();
    assert!(listed.ends_with("500 problems, the first 200 shown"));
    assert_eq!(listed.matches("x.toml:").count(), 200);
}

#[test]
fn a_job_file_comes_out_as_written() {
    let text = format!(
        "{}{}",
        JOB.replace("\"survey\"", "\"survey\", \"install@1.2.3\""),
        r#"phone = "555-0100"
units = "metric"
profile = "vent@2.0.0"
[[people]]
name = "A"
role = "foreman"
[facts]
pitch = "6/12"
attic_area = "1,200 ft2"
cold = true
cover = "Shingle"
[[facts.run]]
length = "10 ft"
[[facts.run]]
length = "63 3/16"
"#
    );
    let file = read_job(&text, "x.toml").unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(file.job.units, Units::Metric);
    assert!(!file.job.invented && file.job.pins.is_empty());
    assert_eq!(file.checklists[0].version, None);
    assert_eq!(file.checklists[1].version.unwrap().to_string(), "1.2.3");
    assert_eq!(file.profile.as_ref().unwrap().id, "vent");
    let survey = good(SURVEY);
    let facts = file.facts(&[&survey]).unwrap_or_else(|problems| panic!("{problems}"));
    assert_eq!(facts.count("runs"), Some(2), "learnt from the rows");
    let length = facts.get("run.length", Some(2)).unwrap();
    assert_eq!(*length, parse_answer("5 ft 3 3/16 in", &FactKind::Length).unwrap());
    assert_eq!(facts.get("cold", None), Some(&Value::YesNo(true)));
    assert_eq!(facts.get("cover", None), Some(&Value::Text("shingle".to_owned())));
}

#[test]
fn a_profile_comes_out_as_written() {
    let text = format!("{PROFILE}[figures]\nn = {{ kind = \"count\", value = 9 }}\n");
    let profile = read_profile(&text, "x.toml").unwrap();
    let nine = Value::Quantity(Quantity::new(Ratio::int(9), Dimension::NUMBER));
    assert_eq!(profile.figures.get("n"), Some(&(FactKind::Count, nine)));
    assert!(profile.invented);
}

/// Checklists that take one name for different things cannot share a job.
#[test]
fn checklists_of_a_job_agree() {
    let other = good("[facts.pitch]\nkind = \"length\"\nask = \"?\"\n");
    let file = read_job(JOB, "x.toml").unwrap();
    let problems = file.facts(&[&good(SURVEY), &other]).unwrap_err().to_string();
    assert!(problems.contains("takes `pitch` for a length, another for a pitch"), "{problems}");
    assert!(problems.starts_with("x.toml:7:14: "), "{problems}");
}
