//! A checklist, a profile and a job's standing as text for a person.

use std::fmt::Write as _;

use super::blank::{kind, template};
use super::words;
use crate::domain::{
    Answer, Checklist, Fact, PinKind, PointWhen, Profile, Record, RepeatEnd, RowsFrom, Units,
};

/// A checklist as a person reads it through.
#[must_use]
pub fn checklist(list: &Checklist) -> String {
    let mut out = String::new();
    let mut line = |text: &str| {
        out.push_str(text);
        out.push('\n');
    };
    line(&format!("{} {}  {}", list.id, list.version, list.title));
    line(&format!("SHA-256 {}", list.hash));
    line(&format!("It yields to {}.", list.yields_to));
    if let Some(repeats) = list.repeats {
        line(&format!("It is walked {}.", repeats.word()));
    }
    line("\nCautions");
    for caution in &list.cautions {
        line(&format!("  {}: {} [{}]", caution.id, caution.say, caution.source));
    }
    line("\nFacts");
    for fact in &list.facts {
        line(&format!("  {}: {} ({})", fact.name, fact.ask, believed(fact)));
    }
    if !list.figures.is_empty() {
        line("\nFigures of the product profile");
    }
    for figure in &list.figures {
        line(&format!("  profile.{}: {} ({})", figure.name, figure.ask, believed(figure)));
    }
    if !list.measures.is_empty() {
        line("\nMeasures");
    }
    for measure in &list.measures {
        let source = &measure.source;
        let source = if source.is_empty() { String::new() } else { format!(" [{source}]") };
        line(&format!("  {} = {}{source}", measure.name, measure.formula.text()));
    }
    for table in &list.tables {
        line(&match &table.rows {
            RowsFrom::Counted(fact) => format!("  {}: as many as {fact} says", table.name),
            RowsFrom::Computed { function, source, .. } => {
                format!("  {}: computed by {function} [{source}]", table.name)
            }
        });
    }
    if !list.warnings.is_empty() {
        line("\nWarnings");
    }
    for warning in &list.warnings {
        let each = warning.each.as_ref().map_or_else(String::new, |e| format!(", each {e}"));
        line(&format!("  {}{each}: when {}", warning.id, warning.when.text()));
        line(&format!("     {} [{}]", template(&warning.say), warning.source));
    }
    line("\nSteps");
    for (at, step) in list.steps.iter().enumerate() {
        let each = step.each.as_ref().map_or_else(String::new, |each| format!(", each {each}"));
        line(&format!("{:>3}. {} ({}{each})", at + 1, step.title, step.id));
        line(&format!("     {}", template(&step.say)));
        line(&format!("     Answer: {}.", answer(&step.answer)));
        if !step.why.is_empty() {
            line(&format!("     Why: {}", step.why));
        }
        if let Some(condition) = &step.only_if {
            line(&format!("     Only if {}.", condition.text()));
        }
        if let Some(point) = &step.point {
            let when = match &point.when {
                PointWhen::Always => String::new(),
                PointWhen::OffTarget(ids) => {
                    format!(", when {} is off target", ids.join(" or "))
                }
                PointWhen::Skipped(id) => format!(", when {id} was skipped"),
            };
            line(&format!("     {} point for the {}{when}.", point.kind.word(), point.role));
        }
        if !step.cautions.is_empty() {
            line(&format!("     Cautions: {}.", step.cautions.join(", ")));
        }
        if 0 < step.photos {
            line(&format!("     Photos: {}.", step.photos));
        }
    }
    if !list.follow_ups.is_empty() {
        line("\nFollow-ups");
    }
    for follow_up in &list.follow_ups {
        let mut more = String::new();
        if let Some(repeat) = &follow_up.repeats {
            more.push_str(&match repeat.ends {
                RepeatEnd::Times(times) => format!(", then every {}, {times} in all", repeat.every),
                RepeatEnd::Until(until) => format!(", then every {} until {until}", repeat.every),
            });
        }
        if let Some(who) = &follow_up.who {
            more.push_str(&format!(", {who}"));
        }
        if follow_up.fixed {
            more.push_str(", stays on its day");
        }
        line(&format!("  after {}{more}: {}", follow_up.after, follow_up.title));
    }
    line("\nSources");
    for source in &list.sources {
        line(&format!("  {source}"));
    }
    out
}

/// What a fact can be, and what is taken where nobody says.
fn believed(fact: &Fact) -> String {
    let taken = fact.default.as_ref().map(|formula| format!("; taken: {}", formula.text()));
    format!("{}{}", kind(fact), taken.unwrap_or_default())
}

/// What confirms a step.
pub(super) fn answer(answer: &Answer) -> String {
    match answer {
        Answer::Done => "done".to_owned(),
        Answer::Measure { measure, tolerance } => {
            let tolerance = words::quantity(*tolerance, Units::Us);
            format!("a reading of {measure}, {tolerance} either way")
        }
        Answer::Count { measure: Some(measure) } => format!("a count, at least {measure}"),
        Answer::Count { measure: None } => "a count".to_owned(),
        Answer::Choice { options, wanted } if wanted.is_empty() => options.join(" | "),
        Answer::Choice { options, wanted } => {
            format!("{}; wanted: {}", options.join(" | "), wanted.join(", "))
        }
        Answer::Fact { fact } => format!("the fact {fact}"),
        Answer::Note => "words".to_owned(),
    }
}

/// A profile as a person reads it through.
#[must_use]
pub fn profile(profile: &Profile) -> String {
    let mut out = format!(
        "{} {}  {}\nSHA-256 {}\nFrom {}\n",
        profile.id, profile.version, profile.title, profile.hash, profile.source
    );
    if profile.invented {
        out.push_str("INVENTED: no such product exists.\n");
    }
    for (name, (kind, value)) in &profile.figures {
        // Writing to a String does not fail.
        let _ = writeln!(out, "  {name} ({}): {}", kind.word(), words::value(value, Units::Us));
    }
    out
}

/// A job as it stands, in a dozen lines.
#[must_use]
pub fn job(record: &Record) -> String {
    let job = &record.job;
    let mut out = String::new();
    let mut line = |text: &str| {
        out.push_str(text);
        out.push('\n');
    };
    line(&format!("Job {}  {}", job.number, job.address));
    if job.invented {
        line("INVENTED EXAMPLE: nothing in it is real.");
    }
    line(&format!("Owner {}, {}", job.owner, job.phone));
    line(&format!("Company {}; code edition {}", job.company, job.code_edition));
    for person in &job.people {
        line(&format!("  {} ({})", person.name, person.role));
    }
    for pin in &job.pins {
        let kind = if pin.kind == PinKind::Profile { "profile" } else { "checklist" };
        line(&format!("  pins {kind} {}@{} ({})", pin.id, pin.version, pin.hash.short()));
    }
    line(&format!("{} facts are known", record.facts.len()));
    for walk in &record.walks {
        let settled = walk.steps.iter().filter(|step| step.settled.is_some()).count();
        line(&format!(
            "  {}: {} of {} steps settled; {}",
            walk.id,
            settled,
            walk.steps.len(),
            match (walk.begun, walk.ended) {
                (None, _) => "not begun".to_owned(),
                (Some(begun), None) => format!("open since {}", words::day_and_clock(begun)),
                (_, Some(ended)) => format!("ended {}", words::day_and_clock(ended)),
            }
        ));
    }
    for call in super::callback::lines(record, false) {
        line(&format!("  callback {call}"));
    }
    if record.attention.is_empty() {
        line("Nothing needs attention.");
    } else {
        line("Needs attention");
    }
    for need in &record.attention {
        let title = super::order::title_in(record, need);
        line(&format!("  {}", words::numbered(need, title.as_deref())));
    }
    out
}
