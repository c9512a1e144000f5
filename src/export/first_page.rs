//! What the first page of a record says in sentences: whether the work is done, by
//! whom, who let it go on, how much of it stands as asked, and what nobody gave.

use std::collections::{BTreeMap, BTreeSet};

use crate::domain::{
    Hash, How, Outcome, PointKind, PointStanding, PointWhen, Record, RecordFact, RecordMeasure,
    RecordStep, RecordWalk, Release, desk,
};

use super::{order, words};

/// What nobody may take for work done: which walks are not ended, or that none was
/// begun; none where all that was begun has ended. A visit after a leak call is no
/// part of the install.
#[must_use]
pub fn unfinished(record: &Record) -> Option<String> {
    let visits = record.visits();
    let begun: Vec<&RecordWalk> = record.walks.iter().filter(|walk| walk.begun.is_some()).collect();
    if begun.is_empty() {
        return Some("NOT BEGUN. Nothing is logged of this work yet.".to_owned());
    }
    let (visiting, install): (Vec<&RecordWalk>, Vec<&RecordWalk>) = begun
        .into_iter()
        .filter(|walk| walk.ended.is_none())
        .partition(|walk| visits.contains(&walk.id));
    let named = |walks: &[&RecordWalk]| {
        walks.iter().map(|walk| order::walk_title(walk)).collect::<Vec<_>>().join(", ")
    };
    match (install.is_empty(), visiting.is_empty()) {
        (true, true) => None,
        (false, _) => Some(format!(
            "NOT FINISHED. Begun and not ended: {}.",
            named(&[install, visiting].concat())
        )),
        (true, false) => Some(format!(
            "VISIT UNDER WAY. What was begun of the install has ended; begun and not ended: {}.",
            named(&visiting)
        )),
    }
}

/// Who logged what, as the program was told: steps of the install, releases of hold
/// points, visits after leak calls.
#[must_use]
pub fn who(record: &Record) -> Vec<String> {
    let visits = record.visits();
    let (mut install, mut released, mut visited) = (Vec::new(), Vec::new(), Vec::new());
    for walk in &record.walks {
        let to = if visits.contains(&walk.id) { &mut visited } else { &mut install };
        for step in &walk.steps {
            to.extend(step.corrected.iter().chain(&step.settled).map(|s| s.by.as_str()));
            let point = step.point.as_ref().and_then(|point| point.released.as_ref());
            released.extend(point.map(|release| release.by.as_str()));
        }
    }
    let lines = [
        ("steps logged by", install),
        ("hold points released by", released),
        ("visits after leak calls logged by", visited),
    ];
    let lines = lines.into_iter().filter(|(_, names)| !names.is_empty());
    let lines = lines.map(|(what, names)| {
        let mut once: Vec<&str> = Vec::new();
        for name in names {
            if !once.contains(&name) {
                once.push(name);
            }
        }
        let names: Vec<String> =
            once.into_iter().map(|name| order::with_roles(record, name)).collect();
        format!("{what} {}", names.join(", "))
    });
    lines.collect()
}

/// Every hold point that was reached, with why and who released it; then how many
/// witness points were.
#[must_use]
pub fn points(record: &Record) -> Vec<String> {
    let mut all = Vec::new();
    let mut witness = Vec::new();
    for walk in &record.walks {
        for step in &walk.steps {
            match &step.point {
                Some(point) if point.kind == PointKind::Hold => {
                    all.push(hold(walk, step, point));
                }
                Some(_) => {
                    witness.push(format!("“{}”", order::in_walk(&walk.id, &step.title)));
                }
                None => {}
            }
        }
    }
    let (count, more) = (witness.len(), witness.len().saturating_sub(MOST_NAMED));
    witness.truncate(MOST_NAMED);
    let more = if more == 0 { String::new() } else { format!(" and {more} more") };
    if 0 < count {
        let was = if count == 1 { "witness point was" } else { "witness points were" };
        let named = witness.join(", ");
        all.push(format!(
            "{count} {was} reached, {named}{more}; nothing in the log says that anybody looked"
        ));
    }
    all
}

/// So many witness points are named.
const MOST_NAMED: usize = 3;

fn hold(walk: &RecordWalk, step: &RecordStep, point: &PointStanding) -> String {
    let title = order::in_walk(&walk.id, &step.title);
    let why = held_for(walk, step);
    let why = if why.is_empty() {
        String::new()
    } else {
        format!(", since {} stood off target", why.join(" and "))
    };
    let became = match &point.released {
        Some(release) => released(release),
        None => format!("NOT RELEASED, waits since {}", words::day_and_clock(point.reached)),
    };
    format!("“{title}”, for the {}{why}: {became}", point.role)
}

/// Who released a hold point, when and how.
#[must_use]
pub fn released(release: &Release) -> String {
    format!(
        "released by {}, {}, entry {}, {}",
        release.by,
        words::day_and_clock(release.at),
        release.seq,
        words::how(&release.how)
    )
}

/// The steps off their target that a hold point was there for.
fn held_for(walk: &RecordWalk, step: &RecordStep) -> Vec<String> {
    let point = walk.checklist.step(&step.at.id).and_then(|known| known.point.as_ref());
    let Some(PointWhen::OffTarget(ids)) = point.map(|point| &point.when) else { return Vec::new() };
    let off = walk.steps.iter().filter(|one| {
        let same = one.at.row.is_none() || one.at.row == step.at.row;
        let off = one.settled.as_ref().is_some_and(|settled| settled.outcome.off_target());
        same && off && ids.contains(&one.at.id)
    });
    off.map(|one| format!("“{}”", one.title)).collect()
}

/// How the steps of the install stand, in two sentences; none where none was begun.
#[must_use]
pub fn stands(record: &Record) -> Option<String> {
    let visits = record.visits();
    let begun = record.walks.iter().filter(|w| w.begun.is_some() && !visits.contains(&w.id));
    let steps: Vec<&RecordStep> = begun.flat_map(|walk| &walk.steps).collect();
    if steps.is_empty() {
        return None;
    }
    let water: Vec<&RecordStep> =
        steps.iter().copied().filter(|step| desk::is_water(&step.tags)).collect();
    let mut text = format!("As logged, of {} steps {}.", steps.len(), counted(&steps));
    if !water.is_empty() {
        text.push_str(&format!(
            " Of the {} waterproofing steps among them {}.",
            water.len(),
            counted(&water)
        ));
    }
    Some(text)
}

fn counted(steps: &[&RecordStep]) -> String {
    let count = |is: fn(&Outcome) -> bool| {
        let outcomes = steps.iter().filter_map(|step| step.settled.as_ref());
        outcomes.filter(|settled| is(&settled.outcome)).count()
    };
    let with_target = |outcome: &Outcome| {
        matches!(outcome, Outcome::Answered { target: Some(_), .. }) && !outcome.off_target()
    };
    let open = steps.iter().filter(|step| step.settled.is_none()).count();
    let parts = [
        (count(with_target), "on target"),
        (count(|o| matches!(o, Outcome::Answered { target: None, .. })), "done or answered"),
        (count(Outcome::off_target), "off target"),
        (count(|outcome| matches!(outcome, Outcome::Skipped { .. })), "left out"),
        (open, "open"),
    ];
    let parts = parts.into_iter().filter(|(count, _)| 0 < *count);
    parts.map(|(count, what)| format!("{count} {what}")).collect::<Vec<_>>().join(", ")
}

/// That recordings answered more than once, where they did: a live voice never says
/// the same sound again.
#[must_use]
pub fn reused(record: &Record) -> Option<String> {
    let mut times: BTreeMap<Hash, usize> = BTreeMap::new();
    for heard in
        order::conveyed(record).into_iter().flat_map(|told| told.how).filter_map(How::heard)
    {
        *times.entry(heard.sound).or_default() += 1;
    }
    let utterances: usize = times.values().sum();
    let most = times.values().max().copied().unwrap_or_default();
    (1 < most).then(|| {
        format!(
            "{utterances} utterances (answers, what confirmed them, “photo taken”) rest on {} \
             recordings: one was heard {most} times. A live voice never makes the same sound twice, so \
             recordings were played.",
            times.len()
        )
    })
}

/// Whether what stands on the first page rests on facts that nobody gave, in a
/// sentence; none where nothing stands there.
#[must_use]
pub fn assumed(record: &Record) -> Option<String> {
    const MOST: usize = 6;
    let measures = record.walks.iter().flat_map(|walk| &walk.measures);
    let first: Vec<&RecordMeasure> = measures.filter(|m| m.first_page).collect();
    if first.is_empty() {
        return None;
    }
    let behind: BTreeSet<&str> =
        first.iter().flat_map(|measure| &measure.facts).map(String::as_str).collect();
    let counts = |fact: &&RecordFact| {
        fact.assumed && !fact.follows && behind.contains(fact.name.name.as_str())
    };
    let (rowed, whole): (Vec<&RecordFact>, Vec<&RecordFact>) =
        order::facts(record).into_iter().filter(counts).partition(|fact| fact.name.row.is_some());
    let shown = |fact: &&RecordFact| {
        let value = words::value(&fact.value, record.job.units);
        format!("{} {value}", words::fact_name(&fact.name))
    };
    let mut said: Vec<String> = whole.iter().take(MOST).map(shown).collect();
    let more = whole.len().saturating_sub(MOST);
    said.extend((0 < more).then(|| format!("{more} more of the whole job")));
    let tables = order::tables(record);
    let mut of: Vec<String> = Vec::new();
    for name in rowed.iter().filter_map(|fact| order::row_name(&tables, &fact.name)) {
        if !of.contains(&name) {
            of.push(name);
        }
    }
    said.extend((!of.is_empty()).then(|| format!("{} of {}", rowed.len(), of.join(", "))));
    Some(match said.is_empty() {
        true => "Every fact behind these figures was given, or is taken from others that were."
            .to_owned(),
        false => format!(
            "Assumed for these figures, since nobody gave it: {}. Marked among the facts.",
            said.join("; ")
        ),
    })
}
