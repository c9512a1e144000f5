//! A leak call: what the caller said, the visits, the finding. What the desk
//! looks at first is the business of `desk`.

use jiff::civil::Date;

use super::{At, Entry, Hash, StepRef, WalkId};

/// A call, as it was reported. It is never changed: what turns out later is the
/// finding.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Call {
    /// Which call of the job, counted from 1.
    pub id: u32,
    /// The day it was reported.
    pub reported: Date,
    /// Where water came in, in the caller's words.
    pub water: String,
    /// Rows of the drawing that somebody named, such as plane 2.
    pub rows: Vec<RowRef>,
    /// The edge or thing that somebody named, such as a valley.
    pub edge: Option<String>,
    /// Who called.
    pub caller: String,
    /// How to reach the caller, where that is not the owner.
    pub phone: Option<String>,
}

/// A row of a table: `plane 2`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RowRef {
    /// The table.
    pub table: String,
    /// The row, counted from 1.
    pub row: u32,
}

impl std::fmt::Display for RowRef {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.table, self.row)
    }
}

/// What became of a call.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Which call of the job.
    pub id: u32,
    /// What was found.
    pub found: String,
    /// What caused it, where that is known.
    pub cause: Option<String>,
    /// What was done about it, where something was.
    pub done: Option<String>,
    /// The steps of the install that it goes back to.
    pub steps: Vec<NamedStep>,
    /// Whether it is under warranty.
    pub warranty: Warranty,
    /// Why it was closed although a visit was not walked to its end.
    pub visit_left_open: Option<String>,
}

/// A step of a checklist, in one row or in any.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NamedStep {
    /// Identifier of the checklist.
    pub checklist: String,
    /// Which step.
    pub step: StepRef,
}

impl std::fmt::Display for NamedStep {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}:{}", self.checklist, self.step)
    }
}

impl std::str::FromStr for NamedStep {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("`{text}` is no step of a checklist such as `deck-intake:cut#2`");
        let (checklist, step) = text.split_once(':').ok_or_else(wrong)?;
        let Ok(step) = step.parse();
        Ok(Self { checklist: checklist.to_owned(), step })
    }
}

/// Whether a finding is under warranty. The program decides nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Warranty {
    /// Somebody said it is.
    Under,
    /// Somebody said it is not.
    Outside,
    /// Nobody has decided.
    Undecided,
}

impl Warranty {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Under, Self::Outside, Self::Undecided];

    /// The word entries use.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Under => "under",
            Self::Outside => "outside",
            Self::Undecided => "undecided",
        }
    }
}

/// What stands of a call.
#[derive(Clone, Debug, PartialEq)]
pub struct CallbackStanding {
    /// As it was reported.
    pub call: Call,
    /// The entry that says so.
    pub opened: Logged,
    /// Its visits, in order.
    pub visits: Vec<(WalkId, Logged)>,
    /// The finding, once it was closed.
    pub closed: Option<(Finding, Logged)>,
}

/// Which entry, when and by whom.
#[derive(Clone, Debug, PartialEq)]
pub struct Logged {
    /// The entry.
    pub seq: u64,
    /// When.
    pub at: At,
    /// Who.
    pub by: String,
}

impl Logged {
    /// Of an entry.
    #[must_use]
    pub fn of(entry: &Entry) -> Self {
        Self { seq: entry.seq, at: entry.draft.at, by: entry.draft.by.clone() }
    }
}

/// A call in the record: an addendum, with what a seal over it needs.
#[derive(Clone, Debug)]
pub struct RecordCallback {
    /// What stands of it.
    pub standing: CallbackStanding,
    /// The last entry of the job before it, and its hash: the record it follows.
    pub follows: Option<(u64, Hash)>,
    /// The first and the last entry it covers: from its opening to its closing,
    /// or to the last entry of the job while it is open.
    pub covers: (u64, u64),
    /// The entries that belong to it, in order: its own and those of its visits.
    pub entries: Vec<Entry>,
}

impl RecordCallback {
    /// Of these entries of one job, in order.
    #[must_use]
    pub fn of(standing: &CallbackStanding, entries: &[Entry]) -> Self {
        let from = standing.opened.seq;
        let last = entries.last().map_or(from, |entry| entry.seq);
        let to = standing.closed.as_ref().map_or(last, |(_, logged)| logged.seq);
        let visits = |walk: &WalkId| standing.visits.iter().any(|(visit, _)| visit == walk);
        let own = [Some(from), standing.closed.as_ref().map(|(_, logged)| logged.seq)];
        let own = own.into_iter().flatten().chain(standing.visits.iter().map(|(_, l)| l.seq));
        let own: Vec<u64> = own.collect();
        let belongs = |entry: &&Entry| {
            own.contains(&entry.seq) || entry.draft.walk.as_ref().is_some_and(visits)
        };
        let before = entries.iter().rev().find(|entry| entry.seq < from);
        Self {
            standing: standing.clone(),
            follows: before.map(|entry| (entry.seq, entry.hash)),
            covers: (from, to),
            entries: entries.iter().filter(belongs).cloned().collect(),
        }
    }
}
