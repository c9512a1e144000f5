//! What the desk looks at first after a leak call: the place against the plan,
//! then the waterproofing steps in an order whose reasons are told. It finds
//! nothing out: it only says what the record holds, and where to look.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;

use crate::measure::{Quantity, Value};

use super::{
    CallbackStanding, Computed, Deviation, DeviationKind, Record, RecordStep, RecordWalk, RowRef,
    StepRef, WalkId,
};

/// Tags of steps that keep water out.
pub const WATER: [&str; 2] = ["waterproofing", "flashing"];
/// The tag of steps that say what the weather was.
const WEATHER: &str = "weather";
/// The tag of steps that say who was there.
const PEOPLE: &str = "people";

/// The view of one call.
#[derive(Clone, Debug)]
pub struct Desk {
    /// The call.
    pub callback: CallbackStanding,
    /// Rows of the plan that it matches, and why.
    pub places: Vec<Place>,
    /// Waterproofing steps, those to look at first before the others.
    pub steps: Vec<DeskStep>,
    /// Deviations, those at the place first.
    pub deviations: Vec<(bool, Deviation)>,
    /// Other open matters, those at the place first.
    pub open: Vec<(bool, super::Attention)>,
    /// The days on which those steps were logged.
    pub days: Vec<DeskDay>,
    /// The other calls of the job.
    pub others: Vec<CallbackStanding>,
}

/// A row of the plan that a call matches.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Which.
    pub at: RowRef,
    /// Why.
    pub because: WhyPlace,
}

/// Why a row of the plan is a place of a call.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WhyPlace {
    /// It was named at the call.
    Named,
    /// The caller said its name.
    Said,
    /// The caller said what stands on the plan in one of its columns.
    SaidAs {
        /// The words.
        words: String,
        /// The column.
        column: String,
    },
    /// It is what a place is on.
    Under(RowRef),
    /// It lies on this one.
    On(RowRef),
}

/// Where a step stands in the order; the first is looked at first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rank {
    /// Something is amiss with it, at the place.
    AmissHere,
    /// Something is amiss with it, and it is of the whole roof.
    AmissWhole,
    /// Nothing is amiss, at the place.
    Here,
    /// Something is amiss with it, elsewhere.
    AmissElsewhere,
    /// Nothing is amiss, and it is of the whole roof.
    Whole,
    /// Nothing is amiss, elsewhere.
    Elsewhere,
}

/// A waterproofing step with why it stands where it stands.
#[derive(Clone, Debug)]
pub struct DeskStep {
    /// The walk.
    pub walk: WalkId,
    /// The step.
    pub step: RecordStep,
    /// Its place in the order.
    pub rank: Rank,
    /// Why; nothing where it stands as asked and no place is known.
    pub because: Vec<WhyStep>,
}

/// Why a step stands where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WhyStep {
    /// It deviates.
    Deviates {
        /// How.
        kind: DeviationKind,
        /// Who accepted that.
        accepted_by: Option<String>,
    },
    /// Facts were changed after it was answered.
    AskedOtherwise,
    /// It was not logged.
    NotLogged,
    /// Its entry was corrected.
    Corrected,
    /// It is of a row that is a place of the call.
    AtPlace(RowRef),
    /// It is of another row.
    Elsewhere(RowRef),
    /// It is of no row.
    WholeRoof,
}

/// A day of the install.
#[derive(Clone, Debug)]
pub struct DeskDay {
    /// The day.
    pub date: Date,
    /// Who logged a step or released a point on it, in order.
    pub people: Vec<String>,
    /// Steps of that day that say what the weather was or who was there.
    pub told: Vec<(WalkId, RecordStep)>,
}

/// The view of that call, where the record has it.
#[must_use]
pub fn desk(record: &Record, id: u32) -> Option<Desk> {
    let (mine, others): (Vec<_>, Vec<_>) =
        record.callbacks.iter().map(|c| c.standing.clone()).partition(|c| c.call.id == id);
    let callback = mine.into_iter().next()?;
    let visits = record.visits();
    let walks: Vec<&RecordWalk> =
        record.walks.iter().filter(|walk| !visits.contains(&walk.id)).collect();
    let places = places(record, &walks, &callback);
    let here = |walk: &WalkId, step: Option<&StepRef>| {
        let found = walks.iter().find(|known| known.id == *walk);
        let row = step.and_then(|at| row_of(found?, at));
        row.is_some_and(|row| places.iter().any(|place| place.at == row))
    };
    let mut steps: Vec<DeskStep> = walks
        .iter()
        .flat_map(|walk| walk.steps.iter().map(move |step| (*walk, step)))
        .filter(|(walk, step)| is_water(&step.tags) && walk.begun.is_some())
        .map(|(walk, step)| ranked(record, walk, step, &places))
        .collect();
    // Of several places the one that was named comes first.
    let place_of = |step: &DeskStep| {
        step.because.iter().find_map(|why| match why {
            WhyStep::AtPlace(row) => places.iter().position(|place| place.at == *row),
            _ => None,
        })
    };
    steps.sort_by_key(|step| (step.rank, place_of(step)));
    let mut deviations: Vec<(bool, Deviation)> = record
        .deviations
        .iter()
        .filter(|deviation| !visits.contains(&deviation.need.walk))
        .map(|d| (here(&d.need.walk, d.need.step.as_ref()), d.clone()))
        .collect();
    deviations.sort_by_key(|(here, deviation)| (!here, deviation.accepted.is_some()));
    let is_deviation = |need: &super::Attention| record.deviations.iter().any(|d| d.need == *need);
    let open = record.attention.iter().filter(|need| !is_deviation(need));
    let mut open: Vec<_> =
        open.map(|need| (here(&need.walk, need.step.as_ref()), need.clone())).collect();
    open.sort_by_key(|(here, _)| !here);
    let days = days(&walks, &steps);
    Some(Desk { callback, places, steps, deviations, open, days, others })
}

/// Whether a step with these tags keeps water out.
#[must_use]
pub fn is_water(tags: &[String]) -> bool {
    tags.iter().any(|tag| WATER.contains(&tag.as_str()))
}

/// The row a step is of.
fn row_of(walk: &RecordWalk, at: &StepRef) -> Option<RowRef> {
    let table = walk.checklist.step(&at.id)?.each.clone()?;
    Some(RowRef { table, row: at.row? })
}

fn ranked(record: &Record, walk: &RecordWalk, step: &RecordStep, places: &[Place]) -> DeskStep {
    let mut because = Vec::new();
    let mut amiss = false;
    let of = |need: &super::Attention| need.walk == walk.id && need.step.as_ref() == Some(&step.at);
    for deviation in record.deviations.iter().filter(|d| of(&d.need)) {
        amiss = true;
        let kind = DeviationKind::of(&deviation.need.about);
        because.push(WhyStep::Deviates {
            kind: kind.unwrap_or(DeviationKind::PhotosMissing),
            accepted_by: deviation.accepted.as_ref().map(|accepted| accepted.by.clone()),
        });
    }
    let otherwise =
        |need: &&super::Attention| matches!(need.about, super::About::AskedOtherwise { .. });
    if record.attention.iter().filter(otherwise).any(of) {
        amiss = true;
        because.push(WhyStep::AskedOtherwise);
    }
    if step.settled.is_none() {
        amiss = true;
        because.push(WhyStep::NotLogged);
    }
    if !step.corrected.is_empty() {
        because.push(WhyStep::Corrected);
    }
    let row = row_of(walk, &step.at);
    let place = row.as_ref().and_then(|row| places.iter().find(|place| place.at == *row));
    let rank = match (&row, place, amiss) {
        (_, Some(_), true) => Rank::AmissHere,
        (_, Some(_), false) => Rank::Here,
        (None, None, true) => Rank::AmissWhole,
        (None, None, false) => Rank::Whole,
        (Some(_), None, true) => Rank::AmissElsewhere,
        (Some(_), None, false) => Rank::Elsewhere,
    };
    match (&row, place) {
        (Some(row), Some(_)) => because.push(WhyStep::AtPlace(row.clone())),
        (Some(row), None) if !places.is_empty() => {
            because.push(WhyStep::Elsewhere(row.clone()));
        }
        (Some(_), None) => {}
        (None, _) => because.push(WhyStep::WholeRoof),
    }
    DeskStep { walk: walk.id.clone(), step: step.clone(), rank, because }
}

fn days(walks: &[&RecordWalk], steps: &[DeskStep]) -> Vec<DeskDay> {
    let settled = steps.iter().filter_map(|step| step.step.settled.as_ref());
    let dates: BTreeSet<Date> = settled.map(|settled| settled.at.date()).collect();
    let on = |date: Date| {
        let (mut people, mut told) = (Vec::new(), Vec::new());
        for (walk, step) in walks.iter().flat_map(|w| w.steps.iter().map(move |s| (w, s))) {
            let settled = step.corrected.iter().chain(&step.settled).map(|s| (s.at, &s.by));
            let released = step.point.iter().filter_map(|point| point.released.as_ref());
            for (at, by) in settled.chain(released.map(|release| (release.at, &release.by))) {
                if at.date() == date && !people.contains(by) {
                    people.push(by.clone());
                }
            }
            let is_told = step.tags.iter().any(|tag| tag == WEATHER || tag == PEOPLE);
            if is_told && step.settled.as_ref().is_some_and(|s| s.at.date() == date) {
                told.push((walk.id.clone(), step.clone()));
            }
        }
        DeskDay { date, people, told }
    };
    dates.into_iter().map(on).collect()
}

/// How many rows of that table are known; none where none is.
#[must_use]
pub fn rows(record: &Record, table: &str) -> Option<u32> {
    let walks: Vec<&RecordWalk> = record.walks.iter().collect();
    plan(record, &walks).keys().filter(|at| at.table == table).map(|at| at.row).max()
}

/// Whether anything surveyed or computed of the roof goes by one of these words.
#[must_use]
pub fn is_known(record: &Record, said: &str) -> bool {
    let walks: Vec<&RecordWalk> = record.walks.iter().collect();
    let said = words(said);
    plan(record, &walks).iter().any(|(at, columns)| {
        let text = |value: &Value| matches!(value, Value::Text(text) if says(&said, &words(text)));
        says(&said, &words(&at.to_string())) || columns.values().any(text)
    })
}

/// What is known of each row of the plan, column by column.
type Plan = BTreeMap<RowRef, BTreeMap<String, Value>>;

fn plan(record: &Record, walks: &[&RecordWalk]) -> Plan {
    let mut plan = Plan::new();
    let mut learn = |name: &super::FactName, value: &Value| {
        if let (Some((table, column)), Some(row)) = (name.name.split_once('.'), name.row) {
            let at = RowRef { table: table.to_owned(), row };
            plan.entry(at).or_default().insert(column.to_owned(), value.clone());
        }
    };
    for measure in walks.iter().flat_map(|walk| &walk.measures) {
        if let Computed::Value(value) = &measure.computed {
            learn(&measure.name, value);
        }
    }
    // What somebody surveyed counts before what was computed.
    for fact in &record.facts {
        learn(&fact.name, &fact.value);
    }
    plan
}

/// The row that a value is the number of.
fn number(value: &Value) -> Option<u32> {
    match value {
        Value::Quantity(Quantity { value, .. }) if value.is_integer() => {
            u32::try_from(value.numerator()).ok()
        }
        _ => None,
    }
}

/// The rows a call matches: those that were named, those whose own words the
/// caller used, and those that lie on one of these.
fn places(record: &Record, walks: &[&RecordWalk], callback: &CallbackStanding) -> Vec<Place> {
    let plan = plan(record, walks);
    let call = &callback.call;
    let mut found: Vec<Place> = Vec::new();
    let mut add = |at: &RowRef, because: WhyPlace| add_to(&mut found, at, because);
    for at in &call.rows {
        add(at, WhyPlace::Named);
    }
    let said = words(&format!("{} {}", call.water, call.edge.as_deref().unwrap_or_default()));
    for (at, columns) in &plan {
        if says(&said, &words(&at.to_string())) {
            add(at, WhyPlace::Said);
        }
        for (column, value) in columns {
            if let Value::Text(text) = value
                && says(&said, &words(text))
            {
                let (words, column) = (text.clone(), column.clone());
                add(at, WhyPlace::SaidAs { words, column });
            }
        }
    }
    // The tables that those steps are repeated for, and those their rows lie on.
    let repeated: BTreeSet<&str> = walks
        .iter()
        .flat_map(|walk| &walk.checklist.steps)
        .filter(|step| is_water(&step.tags))
        .filter_map(|step| step.each.as_deref())
        .collect();
    let lies_on: BTreeSet<&str> = plan
        .iter()
        .filter(|(at, _)| repeated.contains(at.table.as_str()))
        .flat_map(|(_, columns)| columns.keys().map(String::as_str))
        .collect();
    for at in found.iter().map(|place| place.at.clone()).collect::<Vec<_>>() {
        if repeated.contains(at.table.as_str()) {
            continue;
        }
        let mut on = vec![at.clone()];
        if !lies_on.contains(at.table.as_str()) {
            let columns = plan.get(&at).into_iter().flatten();
            let up = columns.filter(|(column, _)| lies_on.contains(column.as_str()));
            let up = up.filter_map(|(table, value)| {
                Some(RowRef { table: table.clone(), row: number(value)? })
            });
            on = up.filter(|up| plan.contains_key(up)).collect();
            for up in &on {
                add_to(&mut found, up, WhyPlace::Under(at.clone()));
            }
        }
        for base in &on {
            for (row, columns) in &plan {
                let lies = columns.get(&base.table).and_then(number) == Some(base.row);
                if repeated.contains(row.table.as_str()) && lies {
                    add_to(&mut found, row, WhyPlace::On(base.clone()));
                }
            }
        }
    }
    found
}

fn add_to(found: &mut Vec<Place>, at: &RowRef, because: WhyPlace) {
    if found.iter().all(|place| place.at != *at) {
        found.push(Place { at: at.clone(), because });
    }
}

/// The words of a text, lower case, without what stands between them.
fn words(text: &str) -> Vec<String> {
    let lower = text.to_lowercase();
    let words = lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    words.map(str::to_owned).collect()
}

/// Whether these words were said, one after the other.
fn says(said: &[String], words: &[String]) -> bool {
    !words.is_empty() && said.windows(words.len()).any(|window| window == words)
}
