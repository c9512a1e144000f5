//! Why something that somebody wants is not done, as data: told in English by the
//! commands and the API, put into the reader's words by the pages.

use std::collections::BTreeSet;

use jiff::civil::Date;

use crate::domain::WalkId;
use crate::domain::schedule::CannotChange;
use crate::export::words::entries;

/// Why something was refused, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Why {
    /// Something was left empty.
    #[error("say {}", .0.words())]
    NotSaid(Needed),
    /// No hold point waits there.
    #[error("no hold point waits at `{step}` on job {job}; waiting: {}", listed(.waiting, "none"))]
    NoHold {
        /// The step asked for.
        step: String,
        /// The job's number.
        job: String,
        /// Steps at which one waits.
        waiting: Vec<String>,
    },
    /// Another role releases it.
    #[error("`{step}` is released by the {role}, not by the {not}")]
    OthersRole {
        /// The step.
        step: String,
        /// The role that does.
        role: String,
        /// The role that was named.
        not: String,
    },
    /// The person does not have the role.
    #[error("{by} is not a {role} of job {job}; who is: {}", listed(.names, NOBODY))]
    NotInRole {
        /// The person.
        by: String,
        /// The role.
        role: String,
        /// The job's number.
        job: String,
        /// Those who have it.
        names: Vec<String>,
    },
    /// The entry shows no deviation.
    #[error(
        "entry {entry} of job {job} shows no deviation that stands; those that do: {}",
        entries(.open)
    )]
    NoDeviation {
        /// The entry.
        entry: u64,
        /// The job's number.
        job: String,
        /// Those with an open one.
        open: BTreeSet<u64>,
    },
    /// It was accepted.
    #[error("entry {entry} was accepted before, by {by} in entry {seq}: {reason}")]
    AcceptedBefore {
        /// The entry.
        entry: u64,
        /// Who accepted it.
        by: String,
        /// The entry that says so.
        seq: u64,
        /// Why it may stay.
        reason: String,
    },
    /// Others may accept it.
    #[error(
        "{by} may not accept it: that is for the {} of job {job}, who is: {}",
        .roles.join(" or the "),
        listed(.names, NOBODY)
    )]
    MayNotAccept {
        /// The person.
        by: String,
        /// The roles that may.
        roles: Vec<String>,
        /// The job's number.
        job: String,
        /// Those who have one of them.
        names: Vec<String>,
    },
    /// The entry is of no step.
    #[error("entry {0} is of no step")]
    OfNoStep(u64),
    /// No witness point was reached there.
    #[error("no witness point was reached at `{step}` on job {job}")]
    NoWitness {
        /// The step.
        step: String,
        /// The job's number.
        job: String,
    },
    /// Somebody looked at it.
    #[error("{by} looked at it before, in entry {seq}")]
    LookedBefore {
        /// Who.
        by: String,
        /// The entry that says so.
        seq: u64,
    },
    /// The drawing has no such row.
    #[error("job {job} has no {table} {row}; its {table}s are 1 to {known}")]
    NoRow {
        /// The job's number.
        job: String,
        /// The table.
        table: String,
        /// The row.
        row: u32,
        /// The last there is.
        known: u32,
    },
    /// A call is reported on a day that is to come.
    #[error("{0} is to come: say the day on which it was reported")]
    ToCome(Date),
    /// The job has no such call.
    #[error("{}", no_call(.job, *.id, .known))]
    NoCall {
        /// The job's number.
        job: String,
        /// The call.
        id: u32,
        /// Those it has.
        known: Vec<u32>,
    },
    /// The call was closed.
    #[error(
        "callback {id} was closed {on} by {by}; a new call is opened with: chalkhand callback open"
    )]
    CallClosed {
        /// The call.
        id: u32,
        /// The day on which it was closed.
        on: Date,
        /// By whom.
        by: String,
    },
    /// A visit of the call was not walked to its end.
    #[error(
        "its visit {walk} is open, which was not walked to its end: go on with it with: \
         chalkhand callback visit {job} {id} --by NAME; or close the call all the same \
         and say why: --unfinished \"…\""
    )]
    VisitOpen {
        /// The visit.
        walk: WalkId,
        /// The job's number.
        job: String,
        /// The call.
        id: u32,
    },
    /// No visit is open that could be left unfinished.
    #[error("no visit of callback {0} is open: leave --unfinished out")]
    NoVisitOpen(u32),
    /// No checklist has that step.
    #[error(
        "no checklist of job {job} has a step `{step}`; see them with: chalkhand checklist show"
    )]
    NoSuchStep {
        /// The job's number.
        job: String,
        /// The step asked for.
        step: String,
    },
    /// Several checklists have that step.
    #[error("several checklists have a step `{step}`: write {}", .all.join(" or "))]
    SeveralSteps {
        /// The step asked for.
        step: String,
        /// With each of the checklists before it.
        all: Vec<String>,
    },
    /// The call was visited.
    #[error(
        "callback {id} was visited, and the walk {walk} has ended; close it with: chalkhand \
         callback close, or begin a further visit with --further"
    )]
    Visited {
        /// The call.
        id: u32,
        /// The visit.
        walk: WalkId,
    },
    /// Another walk has to end first.
    #[error("{walk}{} is open: finish it first", .of.map_or_else(String::new, of_callback))]
    WalkOpen {
        /// The walk.
        walk: WalkId,
        /// The call whose visit it is.
        of: Option<u32>,
    },
    /// The checklist of a visit is not adopted.
    #[error("{told}")]
    NotAdopted {
        /// The checklist.
        checklist: String,
        /// Which versions there are, in English.
        told: String,
    },
    /// The job's profile lacks a figure.
    #[error("{checklist} computes with the figure `{figure}`, which job {job} has no profile for")]
    NoFigure {
        /// The checklist.
        checklist: String,
        /// The figure.
        figure: String,
        /// The job's number.
        job: String,
    },
    /// A walk whose steps could not be told.
    #[error(
        "{checklist} cannot begin: job {job} does not know yet: {missing}. Give facts in the job \
         file or walk the survey first; figures named profile.… come from the product profile"
    )]
    CannotBegin {
        /// The checklist.
        checklist: String,
        /// The job's number.
        job: String,
        /// Facts and figures, with their questions, in English.
        missing: String,
    },
    /// The walk was not begun.
    #[error("{walk} was not begun on job {job}")]
    NotBegun {
        /// The walk.
        walk: WalkId,
        /// The job's number.
        job: String,
    },
    /// The walk never had that step.
    #[error("{walk} of job {job} has no step `{step}`")]
    NotOfWalk {
        /// The walk.
        walk: WalkId,
        /// The job's number.
        job: String,
        /// The step.
        step: String,
    },
    /// A step without its walk.
    #[error("a step belongs to a walk: name it too")]
    NoWalk,
    /// A photo does not wait any more.
    #[error("this photo does not wait any more: load the page again")]
    WaitsNoMore,
    /// Its file went away.
    #[error("the file went away")]
    FileGone,
    /// Its file was replaced.
    #[error("the file is another by now: load the page again")]
    FileChanged,
    /// The job has no such date.
    #[error("job {job} has no date `{date}`; see them with: chalkhand calendar {job}")]
    NoDate {
        /// The job's number.
        job: String,
        /// The date asked for.
        date: String,
    },
    /// No day.
    #[error("`{0}` is no day; write 2026-12-03, or 2026-12-03T10:00 at the address")]
    NoDay(String),
    /// A day that no calendar has.
    #[error("the day lies outside the calendar")]
    OutsideCalendar,
    /// A date that cannot be changed so.
    #[error(transparent)]
    Date(#[from] CannotChange),
    /// Something else, in English.
    #[error("{0}")]
    Other(String),
}

/// What has to be said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Needed {
    /// Why a deviation may stay.
    MayStay,
    /// Where water came in.
    Water,
    /// Who called.
    Caller,
    /// What was found.
    Found,
    /// Why a visit is left unfinished.
    Unfinished,
    /// Why a date is moved or cancelled.
    DateWhy,
    /// What a date is.
    DateTitle,
}

impl Needed {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::MayStay,
        Self::Water,
        Self::Caller,
        Self::Found,
        Self::Unfinished,
        Self::DateWhy,
        Self::DateTitle,
    ];

    fn words(self) -> &'static str {
        match self {
            Self::MayStay => "why it may stay",
            Self::Water => "where water came in",
            Self::Caller => "who called",
            Self::Found => "what was found",
            Self::Unfinished => "why the visit is left unfinished",
            Self::DateWhy => "why",
            Self::DateTitle => "what it is",
        }
    }
}

const NOBODY: &str = "nobody on this job";

fn listed(all: &[String], none: &str) -> String {
    if all.is_empty() { none.to_owned() } else { all.join(", ") }
}

fn of_callback(id: u32) -> String {
    format!(" of callback {id}")
}

fn no_call(job: &str, id: u32, known: &[u32]) -> String {
    let all: Vec<String> = known.iter().map(u32::to_string).collect();
    match known {
        [] => format!("job {job} has no callback yet"),
        _ => format!("job {job} has no callback {id}; it has: {}", all.join(", ")),
    }
}
