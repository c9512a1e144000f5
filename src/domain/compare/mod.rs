//! What differs between two checklists or two profiles, as data. How it is
//! told in sentences is the business of `export::changes`; comments and layout
//! of the files are not seen here.

mod parts;
mod weight;

use std::collections::BTreeSet;
use std::mem::discriminant;

use crate::measure::{Quantity, Value};

use super::{
    Answer, Bound, Checklist, FactKind, Piece, Point, PointKind, PointWhen, Profile, Version,
};
use parts::{Item, Parts};
pub use weight::{Advice, Raise, Rank, Weight, advice};

/// One difference.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// What it is about.
    pub thing: Thing,
    /// What became of it.
    pub what: What,
}

/// What a change is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Thing {
    /// What kind of thing.
    pub kind: ThingKind,
    /// Its identifier or name.
    pub id: String,
    /// Its title, with the identifier where another step has the same; empty
    /// where such things have none.
    pub title: String,
}

/// The kinds of things that change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ThingKind {
    /// The checklist or profile itself.
    Head,
    /// A hazard that is said.
    Caution,
    /// Something surveyed.
    Fact,
    /// A figure the profile has to give, asked by a checklist.
    Figure,
    /// A figure with its value, given by a profile.
    Given,
    /// Something computed.
    Measure,
    /// Things that come in rows.
    Table,
    /// What is told when something does not add up.
    Warning,
    /// A step.
    Step,
    /// A date after the job.
    FollowUp,
}

/// What became of a thing.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// It is new.
    Added {
        /// The thing of its kind before it; none where it is the first.
        after: Option<Thing>,
        /// What matters most about it: the point of a step, the formula of a
        /// measure.
        gist: Content,
    },
    /// It is no longer there.
    LeftOut {
        /// What mattered most about it.
        gist: Content,
    },
    /// It stands elsewhere among those that are in both.
    Moved {
        /// What it came after.
        from: Option<Thing>,
        /// What it comes after now.
        to: Option<Thing>,
    },
    /// A part of it differs.
    Changed {
        /// Which part.
        part: Part,
        /// What it was; nothing where it is new.
        old: Content,
        /// What it is now; nothing where it is gone.
        new: Content,
    },
}

/// A part of a thing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// One that a noun and a weight say all about.
    Plain(&'static str, Weight),
    /// The identifier of the whole: then two different things are compared.
    Id,
    /// The sentence of a step.
    Say,
    /// The value of a figure in a profile.
    Value,
    /// The cautions a step names.
    Cautions,
    /// The inspection point of a step.
    Point,
    /// Hold or witness.
    PointKind,
    /// Whom a point is for.
    Role,
    /// When a point applies.
    When,
    /// The steps that make a point apply.
    OffTarget,
    /// The rows a step is repeated for.
    Each,
    /// Where a step applies.
    OnlyIf,
    /// What can be answered.
    Options,
    /// The answers that are on target.
    Wanted,
    /// Where the figures come from.
    Sources,
    /// Words to find a step by.
    Tags,
}

/// What a part holds.
#[derive(Clone, Debug, PartialEq)]
pub enum Content {
    /// Nothing.
    Nothing,
    /// Words as written.
    Words(String),
    /// The name of a fact, measure, table or checklist.
    Name(String),
    /// The text of a formula.
    Formula(String),
    /// A sentence with values put in.
    Said(Vec<Piece>),
    /// Several words.
    List(Vec<String>),
    /// So many.
    Number(u32),
    /// A time in seconds.
    Seconds(u32),
    /// A time in minutes.
    Minutes(u32),
    /// A calendar time.
    Span(jiff::SpanFieldwise),
    /// A quantity.
    Amount(Quantity),
    /// A value of a profile.
    Value(Value),
    /// A direction of rounding.
    Bound(Bound),
    /// A kind of fact.
    Kind(FactKind),
    /// What confirms a step.
    Answer(Answer),
    /// An inspection point.
    Point(Point),
    /// Hold or witness.
    PointKind(PointKind),
    /// When a point applies.
    When(PointWhen),
    /// A version.
    Version(Version),
    /// Yes or no.
    Flag(bool),
}

/// What differs between two checklists: what can hurt or leak first, wording
/// last. Empty where their content is the same.
#[must_use]
pub fn compare(old: &Checklist, new: &Checklist) -> Vec<Change> {
    let mut out = Vec::new();
    items(ThingKind::Caution, &old.cautions, &new.cautions, &mut out);
    items(ThingKind::Fact, &old.facts, &new.facts, &mut out);
    items(ThingKind::Figure, &old.figures, &new.figures, &mut out);
    items(ThingKind::Measure, &old.measures, &new.measures, &mut out);
    items(ThingKind::Table, &old.tables, &new.tables, &mut out);
    items(ThingKind::Warning, &old.warnings, &new.warnings, &mut out);
    items(ThingKind::Step, &old.steps, &new.steps, &mut out);
    items(ThingKind::FollowUp, &old.follow_ups, &new.follow_ups, &mut out);
    changed(&head(&new.id), parts::checklist(old), parts::checklist(new), &mut out);
    in_order(out)
}

/// What differs between two profiles, figures first.
#[must_use]
pub fn compare_profiles(old: &Profile, new: &Profile) -> Vec<Change> {
    let mut out = Vec::new();
    let figures = |profile: &Profile| -> Vec<parts::Given> {
        let all = profile.figures.iter();
        all.map(|(name, (kind, value))| parts::Given(name.clone(), kind.clone(), value.clone()))
            .collect()
    };
    items(ThingKind::Given, &figures(old), &figures(new), &mut out);
    changed(&head(&new.id), parts::profile(old), parts::profile(new), &mut out);
    in_order(out)
}

fn head(id: &str) -> Thing {
    Thing { kind: ThingKind::Head, id: id.to_owned(), title: String::new() }
}

fn in_order(mut changes: Vec<Change>) -> Vec<Change> {
    changes.sort_by_key(Change::rank);
    changes
}

/// Compares things of one kind, matched by their identifiers.
fn items<T: Item>(kind: ThingKind, old: &[T], new: &[T], out: &mut Vec<Change>) {
    for item in old.iter().filter(|item| place(new, item.id()).is_none()) {
        let what = What::LeftOut { gist: item.gist() };
        out.push(Change { thing: thing(kind, old, item), what });
    }
    let places: Vec<usize> = new.iter().filter_map(|item| place(old, item.id())).collect();
    let steady = longest_ascending(&places);
    let before = |items: &[T], at: usize| {
        let item = items.get(at.checked_sub(1)?)?;
        Some(thing(kind, items, item))
    };
    for (at, item) in new.iter().enumerate() {
        let own = thing(kind, new, item);
        let found = place(old, item.id());
        let Some((was_at, was)) = found.and_then(|place| Some((place, old.get(place)?))) else {
            let what = What::Added { after: before(new, at), gist: item.gist() };
            out.push(Change { thing: own, what });
            continue;
        };
        // The order of measures follows from their formulas.
        if kind != ThingKind::Measure && !steady.contains(&was_at) {
            let what = What::Moved { from: before(old, was_at), to: before(new, at) };
            out.push(Change { thing: own.clone(), what });
        }
        changed(&own, was.parts(), item.parts(), out);
    }
}

fn place<T: Item>(items: &[T], id: &str) -> Option<usize> {
    items.iter().position(|item| item.id() == id)
}

fn thing<T: Item>(kind: ThingKind, all: &[T], item: &T) -> Thing {
    let (id, title) = (item.id(), item.title());
    let by_title = matches!(kind, ThingKind::Step | ThingKind::FollowUp);
    let another = all.iter().any(|other| other.title() == title && other.id() != id);
    let title = if by_title && another { format!("{title} ({id})") } else { title.to_owned() };
    Thing { kind, id: id.to_owned(), title }
}

/// A longest part of `places` that ascends: what is not in it was moved. Of
/// several the last is taken.
fn longest_ascending(places: &[usize]) -> BTreeSet<usize> {
    struct Run {
        ends: usize,
        length: usize,
        before: Option<usize>,
    }
    let longest = |runs: &[Run], below: usize| {
        let fitting = runs.iter().enumerate().filter(|(_, run)| run.ends < below);
        fitting.max_by_key(|(_, run)| run.length).map(|(at, _)| at)
    };
    let mut runs: Vec<Run> = Vec::new();
    for &ends in places {
        let before = longest(&runs, ends);
        let length = before.and_then(|at| runs.get(at)).map_or(0, |run| run.length) + 1;
        runs.push(Run { ends, length, before });
    }
    let mut steady = BTreeSet::new();
    let mut next = longest(&runs, usize::MAX);
    while let Some(run) = next.and_then(|at| runs.get(at)) {
        steady.insert(run.ends);
        next = run.before;
    }
    steady
}

/// Compares the same thing, then and now, part by part.
fn changed(thing: &Thing, old: Parts, new: Parts, out: &mut Vec<Change>) {
    for ((part, old), (_, new)) in old.into_iter().zip(new) {
        differ(part, old, new, &mut |part, old, new| {
            out.push(Change { thing: thing.clone(), what: What::Changed { part, old, new } });
        });
    }
}

/// Tells where two contents of a part differ, as finely as they allow.
fn differ(part: Part, old: Content, new: Content, tell: &mut dyn FnMut(Part, Content, Content)) {
    use Content::{Kind, List, Nothing, When, Words};
    match (old, new) {
        (old, new) if old == new => {}
        (Kind(FactKind::Choice(old)), Kind(FactKind::Choice(new))) => {
            differ(Part::Options, List(old), List(new), tell);
        }
        (When(PointWhen::OffTarget(old)), When(PointWhen::OffTarget(new))) => {
            differ(Part::OffTarget, List(old), List(new), tell);
        }
        (Content::Point(old), Content::Point(new)) => {
            pairs(parts::point(&old), parts::point(&new), tell);
        }
        (Content::Answer(old), Content::Answer(new))
            if discriminant(&old) == discriminant(&new) =>
        {
            pairs(parts::answer(&old), parts::answer(&new), tell);
        }
        // Without any that is wanted, every answer is on target: not the same
        // as one word less.
        (List(old), List(new)) if part == Part::Wanted && (old.is_empty() || new.is_empty()) => {
            tell(part, List(old), List(new));
        }
        (List(old), List(new)) => {
            let ((stay, gone), (stay_now, come)) = (split(&old, &new), split(&new, &old));
            gone.into_iter().for_each(|word| tell(part, Words(word), Nothing));
            come.into_iter().for_each(|word| tell(part, Nothing, Words(word)));
            if stay != stay_now {
                tell(part, List(stay), List(stay_now));
            }
        }
        (old, new) => tell(part, old, new),
    }
}

fn pairs(old: Parts, new: Parts, tell: &mut dyn FnMut(Part, Content, Content)) {
    for ((part, old), (_, new)) in old.into_iter().zip(new) {
        differ(part, old, new, tell);
    }
}

/// The words that the other list has too, and those that it lacks.
fn split(words: &[String], other: &[String]) -> (Vec<String>, Vec<String>) {
    let mut unmatched: Vec<&String> = other.iter().collect();
    words.iter().cloned().partition(|word| {
        let found = unmatched.iter().position(|left| *left == word);
        found.map(|at| unmatched.remove(at)).is_some()
    })
}
