//! The sheet as plain text for a printer and a terminal: what does not add up
//! first, then this roof's numbers in tape notation, then what they rest on.

use crate::domain::Record;

use super::page::Page;
use super::sheet_parts::{self, Cell, Part, Row, Single, Table};
use super::{order, words};

/// Every measure of a job as a person on the roof needs it, 80 columns wide.
#[must_use]
pub fn sheet(record: &Record) -> String {
    let mut page = Page::default();
    head(&mut page, record);
    warnings(&mut page, record);
    for part in sheet_parts::parts(record, &sheet_parts::singles(record)) {
        match part {
            Part::Rows(table) => rows(&mut page, &table, record),
            Part::Group(heading, measures) => group(&mut page, heading, &measures, record),
        }
    }
    facts(&mut page, record);
    attention(&mut page, record);
    cautions(&mut page, record);
    foundations(&mut page, record);
    page.into_string()
}

fn head(page: &mut Page, record: &Record) {
    let job = &record.job;
    if job.invented {
        page.paragraph(0, words::INVENTED);
        page.blank();
    }
    page.paragraph(0, &format!("SHEET for job {}", job.number));
    page.paragraph(0, &job.address);
    page.pair("Owner", &format!("{}, {}", job.owner, job.phone));
    page.pair("Company", &job.company);
    match &record.profile {
        Some(profile) => {
            let invented = if profile.invented { ", an invented product" } else { "" };
            page.pair("Product", &format!("{}{invented}", profile.title));
            let figures = format!("{}; profile {} {}", profile.source, profile.id, profile.version);
            page.pair("Figures from", &figures);
        }
        None => page.pair("Product", "no product profile"),
    }
    page.pair("Code edition", &job.code_edition);
}

fn warnings(page: &mut Page, record: &Record) {
    page.heading("WARNINGS");
    let (warnings, missing) = (sheet_parts::warnings(record), sheet_parts::missing(record));
    for warning in &warnings {
        page.hanging(2, 4, &format!("! {warning}"));
    }
    if !missing.is_empty() {
        page.hanging(2, 4, "! Not everything is known yet. To be answered before work begins:");
        for question in &missing {
            page.item(4, question);
        }
    }
    if warnings.is_empty() && missing.is_empty() {
        page.paragraph(2, sheet_parts::no_warning(record));
    }
    if record.facts.iter().any(|fact| fact.assumed) {
        page.paragraph(2, words::SOME_ASSUMED);
    }
}

/// Measures under one heading, each with the letter of its source where they
/// have several.
fn group(page: &mut Page, heading: &str, measures: &[&Single<'_>], record: &Record) {
    page.heading(heading);
    let mut sources: Vec<&str> = Vec::new();
    for source in measures.iter().map(|single| single.measure.source.as_str()) {
        if !source.is_empty() && !sources.contains(&source) {
            sources.push(source);
        }
    }
    let several = 1 < sources.len();
    let lines = measures.iter().map(|single| {
        let mut value = words::measure(single.measure, record.job.units);
        let source = sources.iter().position(|known| *known == single.measure.source);
        if let Some(at) = source.filter(|_| several) {
            value.push_str(&format!(" [{}]", letter(at)));
        }
        (title(single), value)
    });
    page.columns(&lines.collect::<Vec<_>>());
    for (at, source) in sources.iter().enumerate() {
        if several {
            page.hanging(4, 8, &format!("[{}] {source}", letter(at)));
        } else {
            page.hanging(4, 8, &format!("Source: {source}"));
        }
    }
}

/// Its title; its checklist too, where another one means something else by it.
fn title(single: &Single<'_>) -> String {
    if single.key == single.measure.name.name {
        return single.measure.title.clone();
    }
    format!("{} ({})", single.measure.title, single.checklist.title)
}

/// `a` to `z`, then `aa`.
fn letter(at: usize) -> String {
    let small = |at: usize| u8::try_from(at % 26).map_or('?', |at| char::from(b'a' + at));
    match at.checked_sub(26) {
        None => small(at).to_string(),
        Some(rest) => format!("{}{}", small(rest / 26), small(rest)),
    }
}

fn rows(page: &mut Page, table: &Table<'_>, record: &Record) {
    let rows = match &table.rows {
        Ok(rows) => rows,
        Err(why) => {
            page.heading(&format!("{}: rows", table.title));
            page.paragraph(2, why);
            return;
        }
    };
    page.heading(&match rows.len() {
        0 => format!("{}: none", table.title),
        1 => format!("{}: one", table.title),
        many => format!("{}: {many} in all", table.title),
    });
    let cells = |row: &Row<'_>| -> Vec<String> {
        let shown = |cell: &Cell<'_>| match cell {
            Cell::Fact(fact) if fact.assumed => format!("{} (assumed)", cell.shown(record)),
            _ => cell.shown(record),
        };
        row.cells.iter().map(shown).collect()
    };
    let titles: Vec<String> = table.columns.iter().map(|c| c.title.clone()).collect();
    let mut headings = vec![table.title.to_owned()];
    headings.extend(titles.iter().cloned());
    let lines = rows.iter().map(|row| {
        let mut line = vec![row.number.to_string()];
        line.extend(cells(row));
        line
    });
    if !page.table(&headings, &lines.collect::<Vec<_>>()) {
        // Too wide: one row, one block.
        for (at, row) in rows.iter().enumerate() {
            if 0 < at {
                page.blank();
            }
            page.paragraph(2, &row.name);
            page.columns(&titles.iter().cloned().zip(cells(row)).collect::<Vec<_>>());
        }
    }
    let sources = table.sources();
    if !sources.is_empty() {
        page.hanging(4, 8, &format!("Sources: {}", sources.join("; ")));
    }
}

fn facts(page: &mut Page, record: &Record) {
    if record.facts.is_empty() {
        return;
    }
    page.heading("Facts it was computed from");
    let tables = order::tables(record);
    let lines = sheet_parts::whole_facts(record).into_iter().map(|fact| {
        let assumed = if fact.assumed { " (assumed)" } else { "" };
        let value = words::value(&fact.value, record.job.units);
        (words::question(fact, &tables), format!("{value}{assumed}"))
    });
    page.columns(&lines.collect::<Vec<_>>());
}

fn attention(page: &mut Page, record: &Record) {
    if record.attention.is_empty() {
        return;
    }
    page.heading("What needs attention in the log");
    for need in &record.attention {
        let mut sentence = words::attention(need, order::title_in(record, need).as_deref());
        if let Some(behind) = order::behind(record, need, false) {
            sentence.push(' ');
            sentence.push_str(&behind);
        }
        page.item(2, &sentence);
    }
}

fn cautions(page: &mut Page, record: &Record) {
    let cautions = sheet_parts::cautions(record);
    if cautions.is_empty() {
        return;
    }
    page.heading("Cautions");
    for caution in cautions {
        page.item(2, &format!("{} ({})", caution.say, caution.source));
    }
}

fn foundations(page: &mut Page, record: &Record) {
    page.heading("What this sheet rests on, and what it is not");
    for walk in &record.walks {
        let list = &walk.checklist;
        page.hanging(2, 4, &format!("{}, {} {}.", list.title, list.id, list.version));
        page.paragraph(4, &format!("Yields to {}.", list.yields_to));
        if !list.sources.is_empty() {
            page.paragraph(4, &format!("Sources: {}.", list.sources.join("; ")));
        }
    }
    if let Some((seq, hash)) = record.head {
        page.paragraph(2, &format!("As of entry {seq} of the log, {}.", hash.short()));
    }
    page.blank();
    page.paragraph(2, words::ROUNDED);
    page.blank();
    page.paragraph(2, words::SHEET_IS_NOT);
}
