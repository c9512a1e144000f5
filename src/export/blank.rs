//! A job file to fill in: every key of these checklists with its question, what
//! is believable, and what is taken where nobody says otherwise.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use crate::domain::{Checklist, Fact, FactKind, Piece, RowsFrom, Units};
use crate::measure::Quantity;

use super::words;

const HEAD: &str = "\
# A job file. Lines that begin with # are not read: take the # off to say otherwise.
number = \"\"                  # the company's own number
address = \"\"
owner = \"\"
phone = \"\"
company = \"\"
time_zone = \"\"               # IANA name, such as America/Chicago
code_edition = \"\"            # as the local official says
# units = \"us\"               # or metric; how the sheet shows them
# invented = false           # true where nothing of it is real
";

/// The text of the file.
#[must_use]
pub fn job_file(checklists: &[&Checklist], profile: Option<&str>) -> String {
    let mut out = HEAD.to_owned();
    let edition = checklists.iter().find_map(|list| list.fact("code_edition"));
    if let Some(edition) = edition {
        let _ = writeln!(
            out,
            "#   {} Computed with: {}; other words: say in",
            edition.ask,
            kind(edition)
        );
        out.push_str("#   [facts] by which of these, as code_edition\n");
    }
    let ids: Vec<String> = checklists.iter().map(|list| format!("\"{}\"", list.id)).collect();
    let _ = writeln!(out, "checklists = [{}]", ids.join(", "));
    let profile = profile.unwrap_or_default();
    let _ =
        writeln!(out, "profile = \"{profile}\"                 # the product profile, by its id");
    out.push_str(
        "# [[people]]\n# name = \"\"\n# role = \"installer\"       # or foreman, desk, office\n\
         # language = \"en\"          # or es\n",
    );
    out.push_str("\n[facts]\n");
    let counts: BTreeSet<&str> =
        checklists.iter().flat_map(|l| &l.tables).filter_map(|t| t.counted_by()).collect();
    let mut said = BTreeSet::new();
    let mut facts = |out: &mut String, table: Option<&str>| {
        for fact in checklists.iter().flat_map(|list| &list.facts) {
            let of = fact.name.split_once('.').map(|(table, _)| table);
            // How many rows there are follows from the rows; the head says the edition.
            let follows = counts.contains(fact.name.as_str()) || fact.name == "code_edition";
            if of == table && !follows && said.insert(fact.name.clone()) {
                out.push_str(&key(fact));
            }
        }
    };
    facts(&mut out, None);
    let mut tables = BTreeSet::new();
    for table in checklists.iter().flat_map(|list| &list.tables) {
        if matches!(table.rows, RowsFrom::Counted(_)) && tables.insert(&table.name) {
            let _ = writeln!(
                out,
                "\n# {}: one block for each.\n# [[facts.{}]]",
                table.title, table.name
            );
            facts(&mut out, Some(&table.name));
        }
    }
    out
}

/// The question and the key of one fact; a key that has to be given stands
/// empty, one with a default or of a table behind a `#`.
fn key(fact: &Fact) -> String {
    let (name, in_table) = match fact.name.split_once('.') {
        Some((_, column)) => (column, true),
        None => (fact.name.as_str(), false),
    };
    let taken = fact.default.as_ref().map(|formula| format!("; taken: {}", formula.text()));
    let taken = taken.unwrap_or_else(|| "; no default".to_owned());
    let mark = if in_table || fact.default.is_some() { "# " } else { "" };
    let empty = match fact.kind {
        FactKind::Count => "0",
        FactKind::YesNo => "false",
        _ => "\"\"",
    };
    format!("# {}\n#   {}{taken}\n{mark}{name} = {empty}\n", fact.ask, kind(fact))
}

/// What a fact can be: its kind, its unit and what is believable.
#[must_use]
pub fn kind(fact: &Fact) -> String {
    let of = match &fact.kind {
        FactKind::Choice(options) => {
            let options: Vec<String> = options.iter().map(|o| format!("\"{o}\"")).collect();
            return format!("one of {}", options.join(", "));
        }
        FactKind::Length => "length, such as \"5 ft 3 3/16 in\" or \"1.2 m\"",
        FactKind::Area => "area, such as \"1640 ft2\" or \"12 in2\"",
        FactKind::Pitch => "pitch, such as \"6/12\"",
        FactKind::Count => "whole number",
        FactKind::Number => "number, such as \"1.5\"",
        FactKind::Temperature => "temperature, such as \"45 degF\"",
        FactKind::Speed => "speed, such as \"20 mph\"",
        FactKind::FreeAreaPerLength => "net free area per length, such as \"9 in2/ft\"",
        FactKind::YesNo => "true or false",
        FactKind::Text => "text",
    };
    let shown = |limit: Quantity| words::quantity(limit, Units::Us);
    match (fact.from, fact.to) {
        (Some(from), Some(to)) => format!("{of}; {} to {}", shown(from), shown(to)),
        (Some(from), None) => format!("{of}; {} or more", shown(from)),
        (None, Some(to)) => format!("{of}; at most {}", shown(to)),
        (None, None) => of.to_owned(),
    }
}

/// A sentence with its names in braces.
#[must_use]
pub fn template(pieces: &[Piece]) -> String {
    let piece = |piece: &Piece| match piece {
        Piece::Words(words) => words.clone(),
        Piece::Name(name) => format!("{{{name}}}"),
    };
    pieces.iter().map(piece).collect()
}
