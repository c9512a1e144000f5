//! The sheet and the day log as plain text for a terminal or a printer: one
//! column, no colour, nothing that needs a font.

use crate::domain::{Day, DayJob, Record, RecordWalk, Units};

use super::{order, words};

/// Columns a printed page and a small terminal have.
const WIDTH: usize = 78;

/// Every measure of a job as a person on the roof needs it.
#[must_use]
pub fn sheet(record: &Record) -> String {
    let job = &record.job;
    let mut page = Page::default();
    if job.invented {
        page.paragraph(0, words::INVENTED);
        page.blank();
    }
    page.paragraph(0, &format!("SHEET for job {}", job.number));
    page.paragraph(0, &job.address);
    page.pair("Owner", &format!("{}, {}", job.owner, job.phone));
    page.pair("Company", &job.company);
    if let Some(profile) = &record.profile {
        let invented = if profile.invented { ", an invented product" } else { "" };
        page.pair("Product", &format!("{}{invented}", profile.title));
        page.pair("Figures from", &profile.source);
    }
    page.pair("Code edition", &job.code_edition);
    attention(&mut page, record);
    let materials = order::materials(record);
    if !materials.is_empty() {
        page.heading("Materials");
        let lines = materials.iter().map(|m| (m.title.clone(), words::measure(m, job.units)));
        page.columns(&lines.collect::<Vec<_>>());
    }
    for walk in &record.walks {
        measures(&mut page, walk, job.units);
    }
    facts(&mut page, record);
    for walk in &record.walks {
        cautions(&mut page, walk);
    }
    page.heading("What this sheet yields to");
    for walk in &record.walks {
        let checklist = &walk.checklist;
        page.paragraph(2, &format!("{}: {}.", checklist.title, checklist.yields_to));
    }
    page.blank();
    page.paragraph(2, words::IS_NOT);
    page.text
}

/// What the foreman reads: attention first, then the jobs with their entries.
/// Lengths are in the units of the trade's tapes, since a day spans jobs.
#[must_use]
pub fn day(day: &Day) -> String {
    let mut page = Page::default();
    page.paragraph(0, &format!("DAY LOG for {}", day.date));
    if day.jobs.is_empty() {
        page.paragraph(0, "Nothing was logged on this day.");
        return page.text;
    }
    page.heading("What needs attention");
    if day.jobs.iter().all(|job| job.attention.is_empty()) {
        page.paragraph(2, "Nothing.");
    }
    for job in day.jobs.iter().filter(|job| !job.attention.is_empty()) {
        page.paragraph(2, &job_name(job));
        for need in &job.attention {
            page.item(4, &words::attention(need, order::day_title(job, need)));
        }
    }
    for job in &day.jobs {
        page.heading(&job_name(job));
        for (entry, title) in &job.entries {
            let line = words::entry(entry, title.as_deref(), Units::Us);
            let line = format!("{}  {line}", entry.draft.at.clock());
            page.hanging(2, 9, &line);
        }
    }
    page.text
}

fn job_name(job: &DayJob) -> String {
    let invented = if job.invented { " (INVENTED EXAMPLE)" } else { "" };
    format!("Job {}, {}{invented}", job.number, job.address)
}

fn attention(page: &mut Page, record: &Record) {
    page.heading("What needs attention");
    if record.attention.is_empty() {
        page.paragraph(2, "Nothing: no deviation, no hold point, no photo missing.");
    }
    for need in &record.attention {
        let mut sentence = words::attention(need, order::title_in(record, need));
        if let Some(found) = order::off_target(record, need) {
            sentence.push(' ');
            sentence.push_str(&words::asked_and_found(found, record.job.units));
        }
        page.item(2, &sentence);
    }
}

fn measures(page: &mut Page, walk: &RecordWalk, units: Units) {
    if walk.measures.is_empty() {
        return;
    }
    page.heading(&walk.checklist.title);
    for (row, measures) in order::measures(walk) {
        if let Some(row) = row {
            page.blank();
            page.paragraph(2, &row);
        }
        let lines = measures.iter().map(|m| (m.title.clone(), words::measure(m, units)));
        page.columns(&lines.collect::<Vec<_>>());
    }
}

fn facts(page: &mut Page, record: &Record) {
    if record.facts.is_empty() {
        return;
    }
    page.heading("Facts it was computed from");
    let tables = order::tables(record);
    let lines = order::facts(record)
        .into_iter()
        .map(|fact| (words::question(fact, &tables), words::value(&fact.value, record.job.units)));
    page.columns(&lines.collect::<Vec<_>>());
}

fn cautions(page: &mut Page, walk: &RecordWalk) {
    if walk.checklist.cautions.is_empty() {
        return;
    }
    page.heading(&format!("Cautions: {}", walk.checklist.title));
    for caution in &walk.checklist.cautions {
        page.item(2, &format!("{} ({})", caution.say, caution.source));
    }
}

/// A page of plain text.
#[derive(Default)]
struct Page {
    text: String,
}

impl Page {
    fn blank(&mut self) {
        self.text.push('\n');
    }

    fn heading(&mut self, title: &str) {
        self.blank();
        self.paragraph(0, title);
        let length = words::one_line(title).chars().count().min(WIDTH);
        self.text.push_str(&"-".repeat(length));
        self.blank();
    }

    fn pair(&mut self, name: &str, value: &str) {
        if !value.trim().is_empty() {
            self.hanging(0, 14, &format!("{:14}{}", format!("{name}:"), words::one_line(value)));
        }
    }

    fn item(&mut self, indent: usize, text: &str) {
        self.hanging(indent, indent + 2, &format!("- {text}"));
    }

    fn paragraph(&mut self, indent: usize, text: &str) {
        self.hanging(indent, indent, text);
    }

    /// Wraps at the page's width; lines after the first start at `rest`.
    fn hanging(&mut self, first: usize, rest: usize, text: &str) {
        let mut line = " ".repeat(first);
        let mut empty = true;
        // Runs of spaces that align columns inside the first line are kept.
        for (at, word) in text.split(' ').enumerate() {
            let word = words::one_line(word);
            let space = usize::from(0 < at && (!empty || word.is_empty()));
            if !empty && WIDTH < line.chars().count() + space + word.chars().count() {
                self.line(&line);
                line = " ".repeat(rest);
                line.push_str(&word);
            } else {
                line.push_str(&" ".repeat(space));
                line.push_str(&word);
            }
            empty = empty && word.is_empty();
        }
        self.line(&line);
    }

    /// Names to the left, values in one column to the right of them.
    fn columns(&mut self, lines: &[(String, String)]) {
        let name_width = lines.iter().map(|(name, _)| words::one_line(name).chars().count());
        let at = name_width.max().unwrap_or(0).clamp(12, 50) + 4;
        for (name, value) in lines {
            let (name, value) = (words::one_line(name), words::one_line(value));
            if at < name.chars().count() + 4 {
                self.hanging(2, 4, &name);
                self.hanging(at, at, &value);
            } else {
                self.hanging(2, at, &format!("{name:width$}{value}", width = at - 2));
            }
        }
    }

    fn line(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }
}
