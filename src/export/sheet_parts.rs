//! What a sheet holds and in which order, shared by its JSON, text and page:
//! measures of all pinned checklists by heading, rows, warnings, what is not
//! known. How it looks is the business of those.

use crate::domain::{
    Answer, Bound, Caution, Checklist, Computed, FactKind, Record, RecordFact, RecordMeasure,
    RecordWalk,
};
use crate::measure::Value;

use super::{order, words};

/// The heading of measures that are only steps towards others.
const STEPS: &str = "Also computed";

/// A measure of the whole job, with the checklist it is of.
#[derive(Clone, Debug)]
pub(super) struct Single<'a> {
    /// Its name; with its checklist before it where another one means
    /// something else by it.
    pub key: String,
    pub checklist: &'a Checklist,
    pub measure: &'a RecordMeasure,
}

/// A part of the numbers of a sheet.
#[derive(Clone, Debug)]
pub(super) enum Part<'a> {
    /// Rows of one name.
    Rows(Table<'a>),
    /// Measures under a heading.
    Group(&'a str, Vec<&'a Single<'a>>),
}

/// Rows of one name, of all checklists.
#[derive(Clone, Debug)]
pub(super) struct Table<'a> {
    pub name: &'a str,
    pub title: &'a str,
    /// The rows, or why there are none, in a sentence.
    pub rows: Result<Vec<Row<'a>>, String>,
    pub columns: Vec<Column<'a>>,
    computed: bool,
}

/// What is told of every row.
#[derive(Clone, Debug)]
pub(super) struct Column<'a> {
    /// Its name without the table; with its checklist before it where another
    /// one means something else by it.
    pub key: String,
    /// As formulas write it.
    pub name: String,
    pub title: String,
    pub kind: &'a FactKind,
    pub checklist: &'a Checklist,
    /// Whether it is surveyed.
    pub surveyed: bool,
    /// Whether it is a length that is marked on the roof.
    pub mark: bool,
}

/// One row.
#[derive(Clone, Debug)]
pub(super) struct Row<'a> {
    pub number: u32,
    /// `Run 2 on plane 1`.
    pub name: String,
    /// One for each column.
    pub cells: Vec<Cell<'a>>,
}

/// What a column came to in one row.
#[derive(Clone, Copy, Debug)]
pub(super) enum Cell<'a> {
    Measure(&'a RecordMeasure),
    Fact(&'a RecordFact),
    /// Not surveyed, or not given by the function.
    None,
}

impl<'a> Table<'a> {
    /// Whether the trade computes its rows, rather than somebody surveying them.
    pub(super) fn is_computed(&self) -> bool {
        self.computed
    }

    /// Where the rules of its columns come from, each once.
    pub(super) fn sources(&self) -> Vec<&'a str> {
        let rows = self.rows.as_deref().unwrap_or_default();
        let sources = rows.iter().flat_map(|row| &row.cells).filter_map(|cell| match cell {
            Cell::Measure(measure) => Some(measure.source.as_str()),
            _ => None,
        });
        once(sources.filter(|source| !source.is_empty()))
    }
}

impl<'a> Cell<'a> {
    /// The exact value.
    pub(super) fn value(self) -> Option<&'a Value> {
        match self {
            Cell::Measure(RecordMeasure { computed: Computed::Value(value), .. }) => Some(value),
            Cell::Fact(fact) => Some(&fact.value),
            _ => None,
        }
    }

    /// As a person reads it.
    pub(super) fn shown(self, record: &Record) -> String {
        match self {
            Cell::Measure(measure) => words::measure(measure, record.job.units),
            Cell::Fact(fact) => words::value(&fact.value, record.job.units),
            Cell::None => "not known".to_owned(),
        }
    }
}

/// Measures of the whole job, each once.
pub(super) fn singles(record: &Record) -> Vec<Single<'_>> {
    let mut all: Vec<Single<'_>> = Vec::new();
    for walk in &record.walks {
        let checklist = walk.checklist.as_ref();
        for measure in walk.measures.iter().filter(|measure| measure.name.row.is_none()) {
            let name = &measure.name.name;
            let key = match all.iter().find(|known| known.key == *name) {
                Some(known) if known.measure.computed == measure.computed => continue,
                Some(_) => format!("{}.{name}", checklist.id),
                None => name.clone(),
            };
            all.push(Single { key, checklist, measure });
        }
    }
    all
}

/// The numbers of a sheet in the order they are read.
pub(super) fn parts<'a>(record: &'a Record, singles: &'a [Single<'a>]) -> Vec<Part<'a>> {
    let group = |(heading, measures)| Part::Group(heading, measures);
    let (computed, surveyed): (Vec<_>, Vec<_>) =
        tables(record).into_iter().partition(Table::is_computed);
    let (steps, groups): (Vec<_>, Vec<_>) =
        groups(singles).into_iter().partition(|(heading, _)| *heading == STEPS);
    // What is marked on the roof comes first, what was surveyed after the numbers.
    let parts = computed.into_iter().map(Part::Rows).chain(groups.into_iter().map(group));
    let parts = parts.chain(surveyed.into_iter().map(Part::Rows));
    parts.chain(steps.into_iter().map(group)).collect()
}

/// The facts of the job as a whole; those of rows stand with their rows.
pub(super) fn whole_facts(record: &Record) -> Vec<&RecordFact> {
    order::facts(record).into_iter().filter(|fact| fact.name.row.is_none()).collect()
}

/// Those measures under their headings; steps towards others come last.
fn groups<'a>(singles: &'a [Single<'a>]) -> Vec<(&'a str, Vec<&'a Single<'a>>)> {
    let mut groups: Vec<(&str, Vec<&Single<'_>>)> = Vec::new();
    let heading = |single: &'a Single<'a>| single.measure.group.as_str();
    for single in singles {
        match groups.iter_mut().find(|(group, _)| *group == heading(single)) {
            Some((_, measures)) => measures.push(single),
            None => groups.push((heading(single), vec![single])),
        }
    }
    let alone = groups.len() == 1;
    groups.sort_by_key(|(group, _)| group.is_empty());
    for (group, _) in groups.iter_mut().filter(|(group, _)| group.is_empty()) {
        *group = if alone { "Measures" } else { STEPS };
    }
    groups
}

/// All tables with their rows, in the order of the checklists.
pub(super) fn tables(record: &Record) -> Vec<Table<'_>> {
    let mut names: Vec<(&str, &str)> = Vec::new();
    for table in order::tables(record) {
        if names.iter().all(|(name, _)| *name != table.name) {
            names.push((&table.name, &table.title));
        }
    }
    names.into_iter().map(|(name, title)| table(record, name, title)).collect()
}

fn table<'a>(record: &'a Record, name: &'a str, title: &'a str) -> Table<'a> {
    let mut columns: Vec<Column<'a>> = Vec::new();
    let walks = || record.walks.iter().filter(|walk| walk.checklist.table(name).is_some());
    // Where the trade computes the rows, they are what it says.
    let computes = |walk: &&RecordWalk| {
        walk.checklist.table(name).is_some_and(|table| table.counted_by().is_none())
    };
    let count = match walks().find(computes) {
        Some(walk) => count(walk, name),
        None => walks().filter_map(|walk| count(walk, name)).max(),
    };
    for walk in walks() {
        for mut column in declared(walk.checklist.as_ref(), name) {
            let same = columns.iter().find(|known| known.key == column.key);
            let differs = same.is_some_and(|known| {
                (1..=count.unwrap_or(0)).any(|row| {
                    cell(record, known, row).value() != cell(record, &column, row).value()
                })
            });
            if differs {
                column.key = format!("{}.{}", column.checklist.id, column.key);
            }
            if differs || same.is_none() {
                columns.push(column);
            }
        }
    }
    let rows = match count {
        None => Err(walks().find_map(|walk| not_known(record, walk, name)).unwrap_or_default()),
        Some(count) => Ok((1..=count)
            .map(|number| {
                let cells: Vec<_> = columns.iter().map(|c| cell(record, c, number)).collect();
                let name = row_name(record, title, number, &columns, &cells);
                Row { number, name, cells }
            })
            .collect()),
    };
    let computed = walks().any(|walk| computes(&walk));
    Table { name, title, rows, columns, computed }
}

fn count(walk: &RecordWalk, table: &str) -> Option<u32> {
    match walk.rows.get(table)? {
        Computed::Value(Value::Quantity(q)) => u32::try_from(q.value.floor()).ok(),
        _ => None,
    }
}

fn not_known(record: &Record, walk: &RecordWalk, table: &str) -> Option<String> {
    Some(match walk.rows.get(table)? {
        Computed::Missing(names) => {
            let names: Vec<String> = names.iter().map(|name| asked(record, name)).collect();
            format!("Not known yet; missing: {}", names.join("; "))
        }
        Computed::Cannot(why) => format!("Cannot be computed: {why}"),
        Computed::Value(_) => return None,
    })
}

/// The columns of a table in one checklist: computed, measured, surveyed.
fn declared<'a>(checklist: &'a Checklist, table: &str) -> Vec<Column<'a>> {
    let own = |name: &'a str| {
        name.split_once('.').filter(|(of, _)| *of == table).map(|(_, column)| column)
    };
    let column = |name: &str, title: String, kind: &'a FactKind| Column {
        key: name.to_owned(),
        name: format!("{table}.{name}"),
        title,
        kind,
        checklist,
        surveyed: false,
        mark: *kind == FactKind::Length,
    };
    let mut all = Vec::new();
    if let Some(computed) = checklist.table(table) {
        all.extend(computed.columns().iter().map(|c| column(&c.name, c.title.clone(), &c.kind)));
    }
    for measure in &checklist.measures {
        let Some(name) = own(&measure.name) else { continue };
        let mark = measure.kind == FactKind::Length && measure.bound == Bound::Mark;
        all.push(Column { mark, ..column(name, measure.title.clone(), &measure.kind) });
    }
    for fact in &checklist.facts {
        let Some(name) = own(&fact.name) else { continue };
        let title = name.replace('_', " ");
        all.push(Column { surveyed: true, mark: false, ..column(name, title, &fact.kind) });
    }
    all
}

fn cell<'a>(record: &'a Record, column: &Column<'_>, row: u32) -> Cell<'a> {
    let is = |name: &crate::domain::FactName| name.name == column.name && name.row == Some(row);
    if column.surveyed {
        return record.facts.iter().find(|fact| is(&fact.name)).map_or(Cell::None, Cell::Fact);
    }
    let own = |walk: &&RecordWalk| {
        walk.checklist.id == column.checklist.id
            && walk.checklist.version == column.checklist.version
    };
    let walk = record.walks.iter().find(own);
    let found = walk.and_then(|walk| walk.measures.iter().find(|measure| is(&measure.name)));
    found.map_or(Cell::None, Cell::Measure)
}

/// `Run 2 on plane 1`, where a column of the row is named after another table.
fn row_name(
    record: &Record,
    title: &str,
    number: u32,
    columns: &[Column<'_>],
    cells: &[Cell<'_>],
) -> String {
    let tables = order::tables(record);
    for (column, cell) in columns.iter().zip(cells) {
        let on = tables.iter().find(|table| table.name == column.key);
        if let (Some(on), Some(Value::Quantity(q))) = (on, cell.value()) {
            return format!("{title} {number} on {} {}", on.title.to_lowercase(), q.value);
        }
    }
    format!("{title} {number}")
}

/// The warnings of all checklists, each once.
pub(super) fn warnings(record: &Record) -> Vec<&str> {
    let all = record.walks.iter().flat_map(|walk| &walk.warnings);
    once(all.map(String::as_str))
}

/// What to say where no warning is due.
pub(super) fn no_warning(record: &Record) -> &'static str {
    let silent = record.walks.iter().all(|walk| walk.checklist.warnings.is_empty());
    if silent { words::NO_CHECKS } else { words::NO_WARNING }
}

/// The cautions of all checklists, each once.
pub(super) fn cautions(record: &Record) -> Vec<&Caution> {
    once(record.walks.iter().flat_map(|walk| &walk.checklist.cautions))
}

fn once<T: PartialEq>(all: impl Iterator<Item = T>) -> Vec<T> {
    let mut once = Vec::new();
    for one in all {
        if !once.contains(&one) {
            once.push(one);
        }
    }
    once
}

/// What was taken because nobody said otherwise, in sentences.
pub(super) fn assumptions(record: &Record) -> Vec<String> {
    let tables = order::tables(record);
    let assumed = order::facts(record).into_iter().filter(|fact| fact.assumed);
    let sentence = |fact: &RecordFact| {
        let nobody = if fact.name.name.starts_with("profile.") {
            "The profile does not say"
        } else {
            "Nobody has said yet"
        };
        let value = words::value(&fact.value, record.job.units);
        format!("{nobody}: {} Taken as {value}.", ended(&words::question(fact, &tables)))
    };
    assumed.map(sentence).collect()
}

/// A question or a name with a mark at its end.
fn ended(text: &str) -> String {
    let text = text.trim();
    if text.ends_with(['?', '.', '!']) { text.to_owned() } else { format!("{text}.") }
}

/// Questions whose answers are missing, each once.
pub(super) fn missing(record: &Record) -> Vec<String> {
    let mut names: Vec<&String> = Vec::new();
    for walk in &record.walks {
        let rows = walk.rows.values();
        for computed in rows.chain(walk.measures.iter().map(|measure| &measure.computed)) {
            if let Computed::Missing(missing) = computed {
                names.extend(missing.iter().filter(|name| !asks(walk, name)));
            }
        }
    }
    once(names.into_iter().map(|name| asked(record, name)))
}

/// Whether the walk itself asks for a fact: nothing waits for it before.
fn asks(walk: &RecordWalk, name: &str) -> bool {
    let steps = &walk.checklist.steps;
    steps.iter().any(|step| matches!(&step.answer, Answer::Fact { fact } if fact == name))
}

/// The question behind a name; the name in words where nothing asks it.
fn asked(record: &Record, name: &str) -> String {
    let figure = name.strip_prefix("profile.");
    let ask = record.walks.iter().find_map(|walk| match figure {
        Some(figure) => walk.checklist.figures.iter().find(|known| known.name == figure),
        None => walk.checklist.fact(name),
    });
    let words = name.replace(['_', '.'], " ");
    ask.map(|fact| fact.ask.trim()).filter(|ask| !ask.is_empty()).map_or(words, str::to_owned)
}
