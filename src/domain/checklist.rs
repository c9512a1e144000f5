//! A versioned procedure as data: facts, measures, steps in order, follow-ups.
//! How it is written in a file is the business of `files`.

use std::collections::BTreeMap;
use std::fmt;

use crate::measure::{Formula, Quantity, Ratio};

use super::{FactKind, Hash, Language};

/// `major.minor.patch`, ordered.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Version {
    /// Changed when steps mean something else.
    pub major: u32,
    /// Changed when steps or measures are added.
    pub minor: u32,
    /// Changed when only wording differs.
    pub patch: u32,
}

impl fmt::Display for Version {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}.{}", self.major, self.minor, self.patch)
    }
}

impl std::str::FromStr for Version {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("`{text}` is not a version; write three numbers such as 1.0.0");
        let mut parts = text.split('.').map(|part| {
            let plain = !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
            part.parse::<u32>().ok().filter(|_| plain && (part == "0" || !part.starts_with('0')))
        });
        let mut next = || parts.next().flatten().ok_or_else(wrong);
        let version = Self { major: next()?, minor: next()?, patch: next()? };
        if parts.next().is_some() { Err(wrong()) } else { Ok(version) }
    }
}

/// A whole checklist, checked when it was read.
#[derive(Clone, Debug)]
pub struct Checklist {
    /// Identifier, lower case with hyphens.
    pub id: String,
    /// Version; once adopted its content never changes.
    pub version: Version,
    /// What the procedure is for.
    pub title: String,
    /// The instructions and codes that win over this checklist.
    pub yields_to: String,
    /// Where its figures come from.
    pub sources: Vec<String>,
    /// What can hurt, in the order written.
    pub cautions: Vec<Caution>,
    /// Facts of the job, in the order written.
    pub facts: Vec<Fact>,
    /// Figures the product profile has to give, without `profile.`.
    pub figures: Vec<Fact>,
    /// Computed values, in an order in which each follows what it uses.
    /// Names of row measures are `table.measure`.
    pub measures: Vec<Measure>,
    /// Things that come in rows.
    pub tables: Vec<Table>,
    /// What is computed, each after what it uses.
    pub order: Vec<Computes>,
    /// What the crew is told when something does not add up, in the order written.
    pub warnings: Vec<Warning>,
    /// The steps, in order.
    pub steps: Vec<Step>,
    /// How often it is walked on a job by itself; none where somebody asks for each
    /// further walk.
    pub repeats: Option<super::Repeats>,
    /// Dates after the job.
    pub follow_ups: Vec<FollowUp>,
    /// SHA-256 of the file.
    pub hash: Hash,
    /// The language of titles and sentences.
    pub language: Language,
    /// The words its values are said in, by their own words: empty where they
    /// are said as they are.
    pub words: BTreeMap<String, String>,
}

/// A hazard, said where it bites.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caution {
    /// Identifier within the checklist.
    pub id: String,
    /// What is said.
    pub say: String,
    /// Regulation, standard or "common practice, no source".
    pub source: String,
}

/// Something surveyed, or a figure from a profile.
#[derive(Clone, Debug)]
pub struct Fact {
    /// As formulas write it; `table.column` for a column.
    pub name: String,
    /// What kind of answer it takes.
    pub kind: FactKind,
    /// The question.
    pub ask: String,
    /// Least believable value.
    pub from: Option<Quantity>,
    /// Greatest believable value.
    pub to: Option<Quantity>,
    /// What is taken until somebody says otherwise; none where it has to be
    /// surveyed.
    pub default: Option<Formula>,
}

impl Fact {
    /// Whether a quantity lies within what is believable.
    #[must_use]
    pub fn believes(&self, q: Quantity) -> bool {
        self.from.is_none_or(|from| from.value <= q.value)
            && self.to.is_none_or(|to| q.value <= to.value)
    }
}

/// Which way a measure may be rounded to the tape.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    /// A least value: rounded up.
    Minimum,
    /// A greatest value: rounded down.
    Maximum,
    /// A mark to hit: rounded to the nearest graduation.
    Mark,
}

/// A value computed from facts and profile.
#[derive(Clone, Debug)]
pub struct Measure {
    /// As formulas write it; `table.measure` in rows.
    pub name: String,
    /// What it is, for the sheet.
    pub title: String,
    /// The heading it stands under on the sheet; may be empty.
    pub group: String,
    /// How it is computed.
    pub formula: Formula,
    /// What its result is.
    pub kind: FactKind,
    /// Safe direction of rounding.
    pub bound: Bound,
    /// Tape graduation it is rounded to, in inches.
    pub graduation: Ratio,
    /// Where the rule comes from.
    pub source: String,
    /// Whether it stands on the first page of the record.
    pub first_page: bool,
}

/// Rows such as roof planes or vent runs.
#[derive(Clone, Debug)]
pub struct Table {
    /// Name of one row: `run`.
    pub name: String,
    /// What one row is called aloud.
    pub title: String,
    /// Where the rows come from.
    pub rows: RowsFrom,
}

/// Where the rows of a table come from.
#[derive(Clone, Debug)]
pub enum RowsFrom {
    /// They are surveyed, as many as this count fact says.
    Counted(String),
    /// A function of the trade computes them.
    Computed {
        /// Its name.
        function: String,
        /// The single values it takes, by name.
        with: Vec<(String, Formula)>,
        /// The columns it gives.
        columns: Vec<ComputedColumn>,
        /// Where the rule comes from.
        source: String,
    },
}

/// A column that a function of the trade gives.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ComputedColumn {
    /// As formulas write it, without the table.
    pub name: String,
    /// What it is, for the sheet.
    pub title: String,
    /// What its values are.
    pub kind: FactKind,
}

impl Table {
    /// The computed column of this name.
    #[must_use]
    pub fn column(&self, name: &str) -> Option<&ComputedColumn> {
        self.columns().iter().find(|known| known.name == name)
    }

    /// The columns that a function of the trade gives.
    #[must_use]
    pub fn columns(&self) -> &[ComputedColumn] {
        match &self.rows {
            RowsFrom::Computed { columns, .. } => columns,
            RowsFrom::Counted(_) => &[],
        }
    }

    /// The count fact that says how many rows there are.
    #[must_use]
    pub fn counted_by(&self) -> Option<&str> {
        match &self.rows {
            RowsFrom::Counted(fact) => Some(fact),
            RowsFrom::Computed { .. } => None,
        }
    }
}

/// One thing that is computed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Computes {
    /// The measure at this place of `measures`.
    Measure(usize),
    /// The default of the fact at this place of `facts`.
    Fact(usize),
    /// The default of the figure at this place of `figures`.
    Figure(usize),
    /// The rows of the table at this place of `tables`.
    Rows(usize),
}

/// What the crew is told when something does not add up.
#[derive(Clone, Debug)]
pub struct Warning {
    /// Identifier within the checklist.
    pub id: String,
    /// The table whose rows are looked at one by one.
    pub each: Option<String>,
    /// When it is told: a yes.
    pub when: Formula,
    /// What is told.
    pub say: Vec<Piece>,
    /// Where the rule comes from.
    pub source: String,
}

/// A piece of a sentence: words, or a value to put in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Piece {
    /// As written.
    Words(String),
    /// The name of a fact, measure or figure.
    Name(String),
}

/// One thing to do, read, count, choose or note.
#[derive(Clone, Debug)]
pub struct Step {
    /// Identifier, lower case with hyphens.
    pub id: String,
    /// The table it is repeated for.
    pub each: Option<String>,
    /// Short name.
    pub title: String,
    /// What is said.
    pub say: Vec<Piece>,
    /// Why it matters, in one plain sentence.
    pub why: String,
    /// What confirms it.
    pub answer: Answer,
    /// Only where this holds.
    pub only_if: Option<Formula>,
    /// Identifiers of cautions said with it.
    pub cautions: Vec<String>,
    /// How many photos it asks for.
    pub photos: u32,
    /// Where work stops for somebody, or somebody is told.
    pub point: Option<Point>,
    /// Words to find it by: `layout`, `waterproofing`.
    pub tags: Vec<String>,
    /// Least time in seconds in which it can believably be done.
    pub least_s: Option<u32>,
}

/// What confirms a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// "Step done".
    Done,
    /// A reading compared with a measure.
    Measure {
        /// Name of the measure.
        measure: String,
        /// Allowed difference either way.
        tolerance: Quantity,
    },
    /// A number of things, compared with a measure where one is named.
    Count {
        /// Name of the measure; at least so many are needed.
        measure: Option<String>,
    },
    /// One of these words; others than the first are deviations where
    /// `wanted` says so.
    Choice {
        /// What can be said.
        options: Vec<String>,
        /// The answers that are on target; empty where any is.
        wanted: Vec<String>,
    },
    /// A fact of the job.
    Fact {
        /// Its name.
        fact: String,
    },
    /// Free words.
    Note,
}

/// Kind of inspection point, as inspection and test plans use the words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PointKind {
    /// Work stops until the role releases it.
    Hold,
    /// The role is told and may look; work goes on.
    Witness,
}

impl PointKind {
    /// The word files and entries use.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Hold => "hold",
            Self::Witness => "witness",
        }
    }
}

/// An inspection point before a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Point {
    /// Hold or witness.
    pub kind: PointKind,
    /// Who releases it or is told.
    pub role: String,
    /// When it applies.
    pub when: PointWhen,
}

/// When an inspection point applies.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PointWhen {
    /// At every walk.
    Always,
    /// When one of these steps stands off its target.
    OffTarget(Vec<String>),
    /// When that step was skipped.
    Skipped(String),
}

/// A date after the job.
#[derive(Clone, Debug)]
pub struct FollowUp {
    /// Identifier within the checklist.
    pub id: String,
    /// Calendar time after the walk was finished (ISO 8601 duration).
    pub after: jiff::Span,
    /// The checklist to walk then.
    pub checklist: Option<String>,
    /// What it is.
    pub title: String,
    /// How long it takes, in minutes.
    pub lasts_min: u32,
    /// How it comes back.
    pub repeats: Option<Repeat>,
    /// The role that looks after it.
    pub who: Option<String>,
    /// Whether it stays on its day: the end of a time set by law or a warranty.
    pub fixed: bool,
}

/// How a date after the job comes back.
#[derive(Clone, Debug)]
pub struct Repeat {
    /// The calendar time from one to the next.
    pub every: jiff::Span,
    /// When it stops.
    pub ends: RepeatEnd,
}

/// When a date stops coming back.
#[derive(Clone, Copy, Debug)]
pub enum RepeatEnd {
    /// After so many dates, the first one counted.
    Times(u32),
    /// Not later than this after the walk was finished.
    Until(jiff::Span),
}

impl Checklist {
    /// The step of this identifier.
    #[must_use]
    pub fn step(&self, id: &str) -> Option<&Step> {
        self.steps.iter().find(|step| step.id == id)
    }

    /// A step's name, with its row where it repeats.
    #[must_use]
    pub fn title_of(&self, at: &super::StepRef) -> String {
        let Some(step) = self.step(&at.id) else { return at.to_string() };
        let table = step.each.as_ref().and_then(|name| self.table(name));
        match (table, at.row) {
            (Some(table), Some(row)) => format!("{} {row}: {}", table.title, step.title),
            _ => step.title.clone(),
        }
    }

    /// The caution of this identifier.
    #[must_use]
    pub fn caution(&self, id: &str) -> Option<&Caution> {
        self.cautions.iter().find(|caution| caution.id == id)
    }

    /// The measure of this name.
    #[must_use]
    pub fn measure(&self, name: &str) -> Option<&Measure> {
        self.measures.iter().find(|measure| measure.name == name)
    }

    /// The fact of this name.
    #[must_use]
    pub fn fact(&self, name: &str) -> Option<&Fact> {
        self.facts.iter().find(|fact| fact.name == name)
    }

    /// What a name stands for: a fact, a measure or a computed column.
    #[must_use]
    pub fn kind_of(&self, name: &str) -> Option<&FactKind> {
        let fact = self.fact(name).map(|fact| &fact.kind);
        fact.or_else(|| self.measure(name).map(|measure| &measure.kind)).or_else(|| {
            let (table, column) = name.split_once('.')?;
            self.table(table)?.column(column).map(|column| &column.kind)
        })
    }

    /// The table of this name.
    #[must_use]
    pub fn table(&self, name: &str) -> Option<&Table> {
        self.tables.iter().find(|table| table.name == name)
    }
}
