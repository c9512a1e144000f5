//! The sheet as one self-contained page for phone and paper: what does not add
//! up, the drawings, then this roof's numbers, and what they rest on.

use crate::domain::{Record, RecordFact};

use super::super::sheet_parts::{self, Cell, Column, Part, Single, Table};
use super::super::{order, words};
use super::writer::{Html, Row};
use super::{head, matters, pair, product};

/// A drawing to show on a sheet.
#[derive(Clone, Debug)]
pub struct Drawing {
    /// What it shows, in a few words.
    pub title: String,
    /// What can be read from it.
    pub description: String,
    /// SVG made by this program, put into the page as it is: nothing a person
    /// typed may stand in it unescaped.
    pub svg: String,
}

/// The page. Someone who has only this, printed, can mark the roof.
#[must_use]
pub fn sheet(record: &Record, drawings: &[Drawing]) -> String {
    let mut page = Html::default();
    head(&mut page, "Sheet", &record.job, include_str!("sheet.css"));
    page.raw("<main>\n<section>\n");
    front(&mut page, record);
    warnings(&mut page, record);
    page.raw("</section>\n");
    self::drawings(&mut page, drawings);
    for part in sheet_parts::parts(record, &sheet_parts::singles(record)) {
        match part {
            Part::Rows(table) => rows(&mut page, &table, record),
            Part::Group(heading, measures) => group(&mut page, heading, &measures, record),
        }
    }
    facts(&mut page, record);
    if !record.attention.is_empty() {
        page.raw("<section>\n<h2>What needs attention in the log</h2>\n");
        matters(&mut page, record);
        page.raw("</section>\n");
    }
    cautions(&mut page, record);
    foundations(&mut page, record);
    page.raw("</main>\n<footer>\n<h2>What this sheet is not</h2>\n");
    page.element("<p>", words::SHEET_IS_NOT, "</p>\n");
    page.raw("</footer>\n</body>\n</html>\n");
    page.into_string()
}

fn front(page: &mut Html, record: &Record) {
    let job = &record.job;
    if job.invented {
        page.element("<p class=\"invented\">", words::INVENTED, "</p>\n");
    }
    page.raw("<p class=\"kind\">Sheet, job ").text(&job.number).raw("</p>\n");
    page.element("<h1>", &job.address, "</h1>\n");
    page.raw("<hr class=\"snapped\">\n<dl class=\"facts\">\n");
    pair(page, "Product", &product(record));
    pair(page, "Code edition in force there", &Html::of(&job.code_edition));
    pair(page, "Owner and phone", &Html::of(&format!("{}, {}", job.owner, job.phone)));
    pair(page, "Installed by", &Html::of(&job.company));
    page.raw("</dl>\n");
}

fn warnings(page: &mut Html, record: &Record) {
    page.raw("<h2>Warnings</h2>\n<hr class=\"cut\">\n");
    let (warnings, missing) = (sheet_parts::warnings(record), sheet_parts::missing(record));
    if warnings.is_empty() && missing.is_empty() {
        page.element("<p>", sheet_parts::no_warning(record), "</p>\n");
    } else {
        page.raw("<ul class=\"warnings\">\n");
        for warning in warnings {
            page.element("<li>", warning, "</li>\n");
        }
        if !missing.is_empty() {
            page.raw("<li>Not everything is known yet. To be answered before work begins:<ul>\n");
            for question in &missing {
                page.element("<li>", question, "</li>\n");
            }
            page.raw("</ul></li>\n");
        }
        page.raw("</ul>\n");
    }
    if record.facts.iter().any(|fact| fact.assumed) {
        page.element("<p>", words::SOME_ASSUMED, "</p>\n");
    }
}

/// What was laid out, where anything was.
pub(super) fn drawings(page: &mut Html, drawings: &[Drawing]) {
    if drawings.is_empty() {
        return;
    }
    page.raw("<section class=\"drawings\">\n");
    for drawing in drawings {
        figure(page, drawing);
    }
    page.raw("</section>\n");
}

fn figure(page: &mut Html, drawing: &Drawing) {
    // The drawing has its title and its facts in words of its own; the caption is
    // for those who hear the page.
    page.raw("<figure>\n").drawing(&drawing.svg).raw("\n<figcaption>");
    page.element("<strong>", &drawing.title, "</strong> ").text(&drawing.description);
    page.raw("</figcaption>\n</figure>\n");
}

fn group(page: &mut Html, heading: &str, measures: &[&Single<'_>], record: &Record) {
    page.raw("<section>\n").element("<h2>", heading, "</h2>\n");
    let rows: Vec<Row> = measures
        .iter()
        .map(|single| {
            let measure = single.measure;
            let mut name = Html::of(&measure.title);
            if single.key != measure.name.name {
                name.text(&format!(" ({})", single.checklist.title));
            }
            source(&mut name, &measure.source);
            Row::Cells(vec![name, Html::of(&words::measure(measure, record.job.units))])
        })
        .collect();
    page.raw("<div class=\"two\">\n").table("pairs", &["Measure", "Value"], &rows);
    page.raw("</div>\n</section>\n");
}

fn source(name: &mut Html, source: &str) {
    if !source.is_empty() {
        name.element(" <span class=\"source\">", source, "</span>");
    }
}

/// Row by row: marks large, everything else in a table below.
fn rows(page: &mut Html, table: &Table<'_>, record: &Record) {
    page.raw("<section>\n<h2>").text(table.title).raw(", one by one</h2>\n");
    let rows = match &table.rows {
        Ok(rows) => rows,
        Err(why) => {
            page.element("<p>", why, "</p>\n</section>\n");
            return;
        }
    };
    if rows.is_empty() {
        page.raw("<p>None.</p>\n");
    }
    page.raw(if table.is_computed() { "<div>\n" } else { "<div class=\"two\">\n" });
    for row in rows {
        page.raw("<section class=\"row\">\n").element("<h3>", &row.name, "</h3>\n");
        let cells = || table.columns.iter().zip(&row.cells);
        if cells().any(|(column, _)| column.mark) {
            page.raw("<dl class=\"marks\">\n");
            for (column, cell) in cells().filter(|(column, _)| column.mark) {
                mark(page, column, *cell, record);
            }
            page.raw("</dl>\n");
        }
        let others: Vec<Row> = cells()
            .filter(|(column, _)| !column.mark)
            .map(|(column, cell)| other(column, *cell, record))
            .collect();
        if !others.is_empty() {
            page.table("pairs", &["Of this row", "Value"], &others);
        }
        page.raw("</section>\n");
    }
    page.raw("</div>\n");
    let sources = table.sources().join("; ");
    if !sources.is_empty() {
        page.raw("<p class=\"source\">Sources: ").text(&sources).raw("</p>\n");
    }
    page.raw("</section>\n");
}

fn mark(page: &mut Html, column: &Column<'_>, cell: Cell<'_>, record: &Record) {
    page.raw("<div><dt>").text(&column.title).raw("</dt>");
    page.raw(if cell.value().is_some() { "<dd>" } else { "<dd class=\"wait\">" });
    page.text(&cell.shown(record)).raw("</dd></div>\n");
}

fn other(column: &Column<'_>, cell: Cell<'_>, record: &Record) -> Row {
    let mut value = Html::of(&cell.shown(record));
    if let Cell::Fact(fact) = cell {
        assumed(&mut value, fact.assumed);
    }
    Row::Cells(vec![Html::of(&column.title), value])
}

fn assumed(value: &mut Html, assumed: bool) {
    value.raw(if assumed { " <span class=\"assumed\">(assumed)</span>" } else { "" });
}

fn facts(page: &mut Html, record: &Record) {
    if record.facts.is_empty() {
        return;
    }
    page.raw("<section>\n<h2>Facts it was computed from</h2>\n");
    let tables = order::tables(record);
    let row = |fact: &RecordFact| {
        let mut value = Html::of(&words::value(&fact.value, record.job.units));
        assumed(&mut value, fact.assumed);
        Row::Cells(vec![Html::of(&words::question(fact, &tables)), value])
    };
    let rows: Vec<Row> = sheet_parts::whole_facts(record).into_iter().map(row).collect();
    page.raw("<div class=\"two\">\n").table("pairs", &["Question", "Answer"], &rows);
    page.raw("</div>\n</section>\n");
}

fn cautions(page: &mut Html, record: &Record) {
    let cautions = sheet_parts::cautions(record);
    if cautions.is_empty() {
        return;
    }
    page.raw("<section>\n<h2>Cautions</h2>\n<ul>\n");
    for caution in cautions {
        page.element("<li>", &caution.say, "");
        let mut from = Html::default();
        source(&mut from, &caution.source);
        page.add(&from).raw("</li>\n");
    }
    page.raw("</ul>\n</section>\n");
}

fn foundations(page: &mut Html, record: &Record) {
    page.raw("<section>\n<h2>What this sheet rests on</h2>\n<ul>\n");
    for walk in &record.walks {
        let list = &walk.checklist;
        page.raw("<li>").text(&format!("{}, {} {}", list.title, list.id, list.version));
        page.raw(" yields to ").text(&list.yields_to).raw(". Sources: ");
        page.text(&list.sources.join("; ")).raw("</li>\n");
    }
    page.raw("</ul>\n").element("<p>", words::ROUNDED, "</p>\n");
    if let Some((seq, hash)) = record.head {
        let as_of = format!("As of entry {seq} of the log, whose SHA-256 begins {}.", hash.short());
        page.element("<p>", &as_of, "</p>\n");
    }
    page.raw("</section>\n");
}
