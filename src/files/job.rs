//! Job files: who, where, which checklists and profile, and facts known before
//! the survey. Facts are checked once the checklists are there to say what
//! they are.

use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::ops::Range;

use jiff::tz::TimeZoneDatabase;

use crate::domain::{
    Checklist, Fact, FactKind, FactName, Facts, Job, MOST_ROWS, Person, Units, Version,
};
use crate::measure::{Quantity, Value};

use super::fact::{Raw, is_id, read_raw, value_of};
use super::language::read_code;
use super::near;
use super::node::{Node, Text, as_node, clip, read_root, with_article};
use super::problem::{Problems, Report, Source};

/// The fact that the head of the file answers.
const EDITION: &str = "code_edition";

/// A checklist or profile asked for: `deck-intake` or `deck-intake@1.0.0`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wanted {
    /// Identifier.
    pub id: String,
    /// Version; the newest adopted where none is given.
    pub version: Option<Version>,
}

/// A job file, read and checked as far as it can be without its checklists.
#[derive(Clone, Debug)]
pub struct JobFile {
    /// The job; nothing is pinned yet.
    pub job: Job,
    /// Checklists in the order they are walked.
    pub checklists: Vec<Wanted>,
    /// The product profile.
    pub profile: Option<Wanted>,
    facts: Vec<Given>,
    /// Where to say that checklists contradict each other.
    checklists_at: Range<usize>,
    edition_at: Range<usize>,
    source: Source,
}

/// A fact as the file gives it.
#[derive(Clone, Debug)]
struct Given {
    name: FactName,
    /// The key as written.
    key_at: Range<usize>,
    value_at: Range<usize>,
    raw: Raw,
}

/// Reads a job file of that name.
///
/// # Errors
///
/// All that is wrong with the file.
pub fn read_job(text: &str, file: &str) -> Result<JobFile, Problems> {
    let source = Source::new(file, text);
    read_root(&source, "job", |root| read(root, &source))
}

/// A job's number is a word on a command line and part of file names.
fn read_number(text: Text, report: &Report<'_>) -> Option<Text> {
    let plain = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '.' | '_' | '/');
    let starts = text.value.starts_with(|c: char| c.is_ascii_alphanumeric());
    if starts
        && text.value.len() <= 40
        && text.value.chars().all(plain)
        && !text.value.contains("..")
    {
        return Some(text);
    }
    let message = format!("`{}` is not a job number", clip(&text.value));
    let hint = "expected up to 40 letters, digits, `-`, `.`, `_`, `/`, beginning with one of \
                the first two";
    report.say_hint(text.letters(), message, Some(hint.to_owned()));
    None
}

fn read(root: &Node<'_>, source: &Source) -> Option<JobFile> {
    let report = root.report();
    let number = root.need("number").and_then(|text| read_number(text, report));
    let (address, owner) = (root.need("address"), root.need("owner"));
    let phone = root.text("phone").map_or_else(String::new, |text| text.value);
    let (company, code_edition) = (root.need("company"), root.need("code_edition"));
    let time_zone = root.need("time_zone").and_then(|text| read_time_zone(&text, report));
    let units = read_units(root);
    let invented = root.flag("invented").unwrap_or(false);
    let checklists_at = root.any("checklists").map_or(0..0, toml::Spanned::span);
    let mut checklists: Vec<Wanted> = Vec::new();
    for text in root.texts("checklists") {
        let Some(wanted) = read_wanted(&text, report) else { continue };
        if checklists.iter().any(|known| known.id == wanted.id) {
            report.say(text.letters(), format!("`{}` is listed already", wanted.id));
        } else {
            checklists.push(wanted);
        }
    }
    if root.any("checklists").is_none() {
        root.missing("checklists");
    } else if checklists.is_empty() && report.is_clean() {
        report.say(checklists_at.clone(), "a job needs at least one checklist");
    }
    let profile = root.text("profile").and_then(|text| read_wanted(&text, report));
    let people = read_people(root);
    let facts = read_facts(root);
    root.finish();
    let edition_at = code_edition.as_ref().map_or(0..0, Text::letters);
    let job = Job {
        number: number?.value,
        address: address?.value,
        owner: owner?.value,
        phone,
        time_zone: time_zone?,
        code_edition: code_edition?.value,
        company: company?.value,
        invented,
        units,
        people,
        pins: Vec::new(),
    };
    let source = source.clone();
    Some(JobFile { job, checklists, profile, facts, checklists_at, edition_at, source })
}

fn read_time_zone(text: &Text, report: &Report<'_>) -> Option<String> {
    // The database built in, so that a file reads the same on every machine.
    let zones = TimeZoneDatabase::bundled();
    match zones.get(&text.value) {
        Ok(zone) => Some(zone.iana_name().unwrap_or(&text.value).to_owned()),
        Err(_) => {
            let names: Vec<String> = zones.available().map(|name| name.to_string()).collect();
            let hint = near::did_you_mean(&text.value, names.iter().map(String::as_str));
            let hint =
                hint.unwrap_or_else(|| "expected an IANA name such as America/Chicago".to_owned());
            let message = format!("no time zone is called `{}`", clip(&text.value));
            report.say_hint(text.letters(), message, Some(hint));
            None
        }
    }
}

fn read_units(root: &Node<'_>) -> Units {
    let Some(text) = root.text("units") else { return Units::Us };
    match text.value.as_str() {
        "us" => Units::Us,
        "metric" => Units::Metric,
        other => {
            let message = format!("no units are called `{}`", clip(other));
            root.report().say_hint(
                text.letters(),
                message,
                Some("expected us or metric".to_owned()),
            );
            Units::Us
        }
    }
}

fn read_wanted(text: &Text, report: &Report<'_>) -> Option<Wanted> {
    let (id, version) = match text.value.split_once('@') {
        Some((id, version)) => (id, Some(version)),
        None => (text.value.as_str(), None),
    };
    if !is_id(id) {
        let message = format!("`{}` is not an identifier", clip(id));
        let hint = "expected a name such as deck-intake or deck-intake@1.0.0".to_owned();
        report.say_hint(text.letters(), message, Some(hint));
        return None;
    }
    let version = match version.map(str::parse).transpose() {
        Ok(version) => version,
        Err(message) => {
            let message: String = message;
            report.say(text.part(id.len() + 1..text.value.len()), message);
            return None;
        }
    };
    Some(Wanted { id: id.to_owned(), version })
}

fn read_people(root: &Node<'_>) -> Vec<Person> {
    let mut people: Vec<Person> = Vec::new();
    for node in root.each("people", "person") {
        let (name, role) = (node.need("name"), node.need("role"));
        let language = node.text("language");
        let language = language.and_then(|code| read_code(&code, root.report()));
        node.finish();
        let (Some(name), Some(role)) = (name, role) else { continue };
        let person = Person { name: name.value.trim().to_owned(), role: role.value, language };
        let same = |known: &Person| known.name == person.name && known.role == person.role;
        if people.iter().any(same) {
            let message = format!("`{}` is listed as {} already", clip(&person.name), person.role);
            root.report().say(name.at, message);
        } else {
            people.push(person);
        }
    }
    people
}

fn read_facts(root: &Node<'_>) -> Vec<Given> {
    let report = root.report();
    let mut facts = Vec::new();
    for (key, value) in root.named("facts") {
        let Some(rows) = value.get_ref().as_array() else {
            let Some(raw) = read_raw(value, report) else { continue };
            let name = FactName { name: key.value, row: None };
            facts.push(Given { name, key_at: key.at, value_at: value.span(), raw });
            continue;
        };
        for (row, value) in (1..).zip(rows.iter()) {
            let Some(node) = as_node(value, value.span(), "row", report) else { continue };
            for (column, value) in node.entries() {
                let Some(raw) = read_raw(value, report) else { continue };
                let name = format!("{}.{}", key.value, column.value);
                let name = FactName { name, row: Some(row) };
                facts.push(Given { name, key_at: column.at, value_at: value.span(), raw });
            }
        }
    }
    facts
}

impl JobFile {
    /// The facts of the file as these checklists understand them; how many
    /// rows a table has is learnt from the rows where the file does not say.
    ///
    /// # Errors
    ///
    /// All facts that no checklist knows, that are not of their kind or not
    /// believable, and checklists that contradict each other.
    pub fn facts(&self, checklists: &[&Checklist]) -> Result<Facts, Problems> {
        let report = Report::new(&self.source);
        let known = self.merge(checklists, &report);
        let mut facts = Facts::default();
        for given in &self.facts {
            let Some(fact) = known.get(given.name.name.as_str()) else {
                let hint = near::did_you_mean(&given.name.name, known.keys().copied());
                let message =
                    format!("no checklist of this job asks for `{}`", clip(&given.name.name));
                report.say_hint(given.key_at.clone(), message, hint);
                continue;
            };
            if given.name.row.is_some() != fact.name.contains('.') {
                let message = format!("`{}` is not given in rows", clip(&given.name.name));
                report.say(given.key_at.clone(), message);
                continue;
            }
            match value_of(&given.raw, &fact.kind).and_then(|value| believable(value, fact)) {
                Ok(value) => facts.set(given.name.clone(), value),
                Err(message) => report.say(given.value_at.clone(), message),
            }
        }
        self.count_rows(checklists, &mut facts, &report);
        self.learn_edition(&known, &mut facts, &report);
        report.outcome(Some(facts))
    }

    /// The facts of all checklists by name.
    fn merge<'c>(
        &self,
        checklists: &[&'c Checklist],
        report: &Report<'_>,
    ) -> BTreeMap<&'c str, &'c Fact> {
        let mut known: BTreeMap<&str, &Fact> = BTreeMap::new();
        for checklist in checklists {
            for fact in &checklist.facts {
                let first = known.entry(fact.name.as_str()).or_insert(fact);
                if first.kind != fact.kind {
                    let message = format!(
                        "checklist `{}` takes `{}` for {}, another for {}; they cannot share a job",
                        checklist.id,
                        fact.name,
                        with_article(fact.kind.word()),
                        with_article(first.kind.word())
                    );
                    report.say(self.checklists_at.clone(), message);
                }
            }
        }
        known
    }

    /// A checklist that computes by the code edition learns it from the head of
    /// the file, unless it is given among the facts.
    fn learn_edition(&self, known: &BTreeMap<&str, &Fact>, facts: &mut Facts, report: &Report<'_>) {
        let Some(Fact { kind: FactKind::Choice(options), .. }) = known.get(EDITION) else { return };
        if facts.get(EDITION, None).is_some() {
            return;
        }
        let edition = &self.job.code_edition;
        if options.contains(edition) {
            let name = FactName { name: EDITION.to_owned(), row: None };
            return facts.set(name, Value::Text(edition.clone()));
        }
        let message = format!("no checklist of this job computes by `{}`", clip(edition));
        let meant = near::did_you_mean(edition, options.iter().map(String::as_str));
        let hint = format!(
            "expected one of {}; or keep these words and say under [facts] by which of these it \
             is computed, as code_edition",
            options.join(", ")
        );
        report.say_hint(self.edition_at.clone(), message, Some(meant.unwrap_or(hint)));
    }

    fn count_rows(&self, checklists: &[&Checklist], facts: &mut Facts, report: &Report<'_>) {
        for table in checklists.iter().flat_map(|checklist| &checklist.tables) {
            let prefix = format!("{}.", table.name);
            let in_table = self.facts.iter().filter(|given| given.name.name.starts_with(&prefix));
            let Some(counted_by) = table.counted_by() else { continue };
            let Some(last) = in_table.max_by_key(|given| given.name.row) else { continue };
            let rows = last.name.row.unwrap_or(0);
            if MOST_ROWS < rows {
                let message = format!("more than {MOST_ROWS} rows of `{}`", table.name);
                report.say(last.key_at.clone(), message);
                continue;
            }
            match facts.count(counted_by) {
                None => facts.set(
                    FactName { name: counted_by.to_owned(), row: None },
                    Value::Quantity(Quantity::count(i64::from(rows))),
                ),
                Some(count) if count < rows => {
                    let message = format!("`{counted_by}` says {count}, but here is row {rows}");
                    report.say(last.key_at.clone(), message);
                }
                Some(_) => {}
            }
        }
    }
}

/// The value, unless it lies outside what the fact can believably be.
fn believable(value: Value, fact: &Fact) -> Result<Value, String> {
    let Value::Quantity(quantity) = &value else { return Ok(value) };
    let beyond = |limit: &Option<Quantity>, side: Ordering| {
        limit.as_ref().is_some_and(|limit| quantity.compare(limit) == Ok(side))
    };
    let shown =
        |limit: &Option<Quantity>| limit.map(crate::measure::exact_text).unwrap_or_default();
    if beyond(&fact.from, Ordering::Less) {
        return Err(format!("`{}` is not believable below {}", fact.name, shown(&fact.from)));
    }
    if beyond(&fact.to, Ordering::Greater) {
        return Err(format!("`{}` is not believable above {}", fact.name, shown(&fact.to)));
    }
    Ok(value)
}
