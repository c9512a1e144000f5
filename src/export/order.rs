//! What of a record or a day belongs where and with what: shared by every
//! output, so that none of them leaves something out on its own.

use crate::domain::{
    About, Acceptance, Attention, Caution, DayJob, DeviationKind, FactName, How, Note, Record,
    RecordFact, RecordMeasure, RecordStep, RecordWalk, StepRef, Table, WalkId, desk,
};

use super::words;

/// The name of the step that needs attention, where the record has it; with which
/// walk where it is not the first of its checklist.
#[must_use]
pub fn title_in(record: &Record, attention: &Attention) -> Option<String> {
    step_in(record, attention).map(|step| in_walk(&attention.walk, &step.title))
}

/// The step that needs attention, where the record has it.
#[must_use]
pub fn step_in<'a>(record: &'a Record, attention: &Attention) -> Option<&'a RecordStep> {
    let at = attention.step.as_ref()?;
    let walk = record.walks.iter().find(|walk| walk.id == attention.walk)?;
    walk.steps.iter().find(|step| step.at == *at)
}

/// What stands behind something that needs attention: what was asked for and found
/// where it stands off its target, who logged it, and whether nobody has accepted it.
#[must_use]
pub fn behind(record: &Record, need: &Attention, accepted: bool) -> Option<String> {
    let settled = step_in(record, need)?.settled.as_ref();
    let settled = settled.filter(|settled| need.seq == Some(settled.seq))?;
    let found = match need.about {
        About::OffTarget { .. } => {
            format!("{} ", words::asked_and_found(settled, record.job.units))
        }
        _ => String::new(),
    };
    let open = DeviationKind::of(&need.about).is_some() && !accepted;
    let open = if open { "; nobody has accepted it" } else { "" };
    let (by, at) = (&settled.by, words::day_and_clock(settled.at));
    Some(format!("{found}Logged by {by}, {at}, entry {}{open}.", settled.seq))
}

/// What was conveyed for one entry: an answer and what confirmed it, or that a photo was
/// taken.
#[derive(Clone, Debug)]
pub struct Conveyed<'a> {
    /// For what.
    pub title: String,
    /// The entry.
    pub seq: u64,
    /// How, in order.
    pub how: Vec<&'a How>,
}

/// What was conveyed at each step, in order.
#[must_use]
pub fn conveyed(record: &Record) -> Vec<Conveyed<'_>> {
    let steps = record.walks.iter().flat_map(|walk| &walk.steps);
    let all = steps.flat_map(|step| {
        let photos = step.photos_said.iter().map(|said| Conveyed {
            title: format!("{}: photo said taken", step.title),
            seq: said.seq,
            how: vec![&said.how],
        });
        let settled = step.corrected.iter().chain(&step.settled).map(|settled| Conveyed {
            title: step.title.clone(),
            seq: settled.seq,
            how: std::iter::once(&settled.how).chain(&settled.confirmed).collect(),
        });
        photos.chain(settled)
    });
    all.collect()
}

/// What needs attention in a few words, and who accepted it, or that nobody has.
#[must_use]
pub fn briefly(record: &Record, need: &Attention) -> String {
    let sentence = words::attention(need, title_in(record, need).as_deref());
    let sentence = words::without_advice(&sentence);
    let sentence = sentence.trim_end_matches('.');
    let of = record.deviations.iter().find(|one| one.need == *need);
    match of.map(|deviation| &deviation.accepted) {
        None => sentence.to_owned(),
        Some(None) => format!("{sentence} (nobody has accepted it)"),
        Some(Some(Acceptance { by, seq, .. })) => {
            format!("{sentence} (accepted by {by}, entry {seq})")
        }
    }
}

/// How a caution was given, and before which steps, of every walk of that checklist.
#[must_use]
pub fn given_before(record: &Record, checklist: &str, caution: &Caution) -> String {
    let walks = record.walks.iter().filter(|walk| walk.id.checklist == checklist);
    let steps = walks.flat_map(|walk| &walk.steps);
    let given = steps.filter(|step| step.cautioned.said.contains(&caution.say));
    let given: Vec<&RecordStep> = given.collect();
    let ways = [(Some(true), "by voice "), (Some(false), "on the screen alone "), (None, "")];
    let ways = ways.into_iter().filter_map(|(spoken, how)| {
        let steps = given.iter().filter(|step| step.cautioned.spoken == spoken);
        let mut titles: Vec<&str> = steps.map(|step| step.title.as_str()).collect();
        titles.dedup();
        (!titles.is_empty()).then(|| format!("{how}before {}", titles.join(", ")))
    });
    let ways = ways.collect::<Vec<_>>().join("; ");
    if ways.is_empty() {
        "not given: no step with it was reached".to_owned()
    } else {
        format!("given {ways}")
    }
}

/// Who accepted how a step stands, each acceptance once.
#[must_use]
pub fn accepted<'a>(record: &'a Record, step: &RecordStep) -> Vec<&'a Acceptance> {
    let seq = step.settled.as_ref().map(|settled| settled.seq);
    let own = record.deviations.iter().filter(|one| seq.is_some() && one.need.seq == seq);
    let mut all: Vec<&Acceptance> = own.filter_map(|one| one.accepted.as_ref()).collect();
    all.dedup_by_key(|accepted| accepted.seq);
    all
}

/// The name of a step in a day, from the entries of that day.
#[must_use]
pub fn day_title<'a>(job: &'a DayJob, attention: &Attention) -> Option<&'a str> {
    let step = attention.step.as_ref()?;
    let same = job.entries.iter().find(|(entry, _)| {
        let draft = &entry.draft;
        draft.walk.as_ref() == Some(&attention.walk) && draft.what.step() == Some(step)
    });
    same.and_then(|(_, title)| title.as_deref())
}

/// A person with the roles the job gives them.
#[must_use]
pub fn with_roles(record: &Record, name: &str) -> String {
    let people = record.job.people.iter().filter(|person| person.name == name);
    let roles: Vec<&str> = people.map(|person| person.role.as_str()).collect();
    if roles.is_empty() { name.to_owned() } else { format!("{name} ({})", roles.join(", ")) }
}

/// Facts in the order the checklists ask them, then table by table and row by row;
/// those no checklist asks come last.
#[must_use]
pub fn facts(record: &Record) -> Vec<&RecordFact> {
    let asked: Vec<&str> = record
        .walks
        .iter()
        .flat_map(|walk| &walk.checklist.facts)
        .map(|fact| fact.name.as_str())
        .collect();
    let tables = tables(record);
    let place = |name: &FactName| {
        let at = asked.iter().position(|asked| *asked == name.name).unwrap_or(asked.len());
        let table = name.name.split_once('.').map(|(of, _)| {
            tables.iter().position(|table| table.name == of).unwrap_or(tables.len())
        });
        (table, name.row, at)
    };
    let mut facts: Vec<&RecordFact> = record.facts.iter().collect();
    facts.sort_by_cached_key(|fact| (place(&fact.name), fact.name.name.clone()));
    facts
}

/// Tables of every checklist of the record.
#[must_use]
pub fn tables(record: &Record) -> Vec<&Table> {
    record.walks.iter().flat_map(|walk| &walk.checklist.tables).collect()
}

/// Measures of a walk: those of the whole job, then row by row, each row with
/// its name.
#[must_use]
pub fn measures(walk: &RecordWalk) -> Vec<(Option<String>, Vec<&RecordMeasure>)> {
    let whole: Vec<_> = walk.measures.iter().filter(|m| m.name.row.is_none()).collect();
    let mut groups = vec![(None, whole)];
    let mut keys = Vec::new();
    for (at, table) in walk.checklist.tables.iter().enumerate() {
        for measure in &walk.measures {
            let own = measure.name.name.split_once('.').is_some_and(|(of, _)| of == table.name);
            if let Some(row) = measure.name.row.filter(|_| own)
                && !keys.contains(&(at, row))
            {
                keys.push((at, row));
            }
        }
    }
    keys.sort_unstable();
    for (at, row) in keys {
        let Some(table) = walk.checklist.tables.get(at) else { continue };
        let own = walk.measures.iter().filter(|m| {
            m.name.row == Some(row)
                && m.name.name.split_once('.').is_some_and(|(of, _)| of == table.name)
        });
        groups.push((Some(format!("{} {row}", table.title)), own.collect()));
    }
    groups.retain(|(_, measures)| !measures.is_empty());
    groups
}

/// Steps that keep water out, of every walk.
#[must_use]
pub fn waterproofing(record: &Record) -> Vec<&RecordStep> {
    with_tags(record, desk::is_water).map(|(_, step)| step).collect()
}

/// Steps with that tag, of every walk that was begun.
#[must_use]
pub fn tagged<'a>(record: &'a Record, tag: &str) -> Vec<&'a RecordStep> {
    with_tags(record, has(tag)).map(|(_, step)| step).collect()
}

/// Steps that ask for lots, by name, with what was noted at each.
#[must_use]
pub fn lots(record: &Record) -> Vec<(&str, Vec<&Note>)> {
    let noted = |walk: &RecordWalk, step: &RecordStep| {
        let here = |at: &(WalkId, StepRef)| at.0 == walk.id && at.1 == step.at;
        record.notes.iter().filter(|note| note.step.as_ref().is_some_and(here)).collect()
    };
    let steps = with_tags(record, has(LOT));
    steps.map(|(walk, step)| (step.title.as_str(), noted(walk, step))).collect()
}

fn has(tag: &str) -> impl Fn(&[String]) -> bool {
    move |tags| tags.iter().any(|one| one == tag)
}

/// The tag of a step at which lots are noted.
const LOT: &str = "lot";

/// Steps whose tags are wanted, with their walks, which were begun.
fn with_tags(
    record: &Record,
    wanted: impl Fn(&[String]) -> bool,
) -> impl Iterator<Item = (&RecordWalk, &RecordStep)> {
    let begun = record.walks.iter().filter(|walk| walk.begun.is_some());
    let steps = begun.flat_map(|walk| walk.steps.iter().map(move |step| (walk, step)));
    steps.filter(move |(_, step)| wanted(&step.tags))
}

/// A row's own name, `Run 2`, where the name is of a row.
#[must_use]
pub fn row_name(tables: &[&Table], name: &FactName) -> Option<String> {
    let (table, _) = name.name.split_once('.')?;
    let row = name.row?;
    let title = tables.iter().find(|t| t.name == table).map_or(table, |t| t.title.as_str());
    Some(format!("{title} {row}"))
}

/// The title of a measure, with its row where it is of one.
#[must_use]
pub fn measure_line(tables: &[&Table], measure: &RecordMeasure) -> String {
    match row_name(tables, &measure.name) {
        Some(row) => format!("{row}: {}", measure.title),
        None => measure.title.clone(),
    }
}

/// The title of a walk, with which time it is where it is not the first.
#[must_use]
pub fn walk_title(walk: &RecordWalk) -> String {
    in_walk(&walk.id, &walk.checklist.title)
}

/// A title with which walk it is of, where that is not the first of its checklist.
#[must_use]
pub fn in_walk(walk: &WalkId, title: &str) -> String {
    match walk.nth {
        1 => title.to_owned(),
        nth => format!("{title} (walk {nth})"),
    }
}
