//! Steps: what is said with its names put in, what confirms it, and the points,
//! cautions and earlier steps it refers to.

use std::collections::BTreeMap;

use std::ops::Range;

use crate::domain::{
    Answer, Caution, Fact, FactKind, Measure, Piece, Point, PointKind, PointWhen, Step,
};
use crate::measure::{Dimension, Formula, Functions, Ratio, Type, parse_quantity};

use super::checklist::read_duration;
use super::fact::{need_id, read_options, say_misread};
use super::measures::{check_formula, say_formula_error};
use super::near;
use super::node::{Any, Node, Text, as_node, as_text, as_texts, clip, kind, with_article};
use super::problem::Report;
use super::words::{Sight, Words};

/// Most photos a step asks for.
const MOST_PHOTOS: u32 = 20;

/// What the steps may refer to.
struct Known<'k> {
    words: &'k Words,
    facts: &'k [Fact],
    measures: &'k [Measure],
    cautions: &'k [Caution],
    functions: &'k Functions,
    /// Earlier steps: the table each is repeated for, and whether it has a
    /// target.
    earlier: BTreeMap<String, (Option<String>, bool)>,
    /// All steps, to tell a later one from one that is not there.
    all: Vec<String>,
}

impl Known<'_> {
    /// What a target of that name is.
    fn target(&self, name: &str) -> Option<&FactKind> {
        let measure = self.measures.iter().find(|measure| measure.name == name);
        measure.map(|measure| &measure.kind).or_else(|| {
            let (table, column) = name.split_once('.')?;
            let table = self.words.tables.iter().find(|known| known.name == table)?;
            table.column(column).map(|column| &column.kind)
        })
    }
}

/// Reads the steps in their order.
pub(super) fn read_steps(
    nodes: &[Node<'_>],
    words: &Words,
    facts: &[Fact],
    measures: &[Measure],
    cautions: &[Caution],
    functions: &Functions,
) -> Vec<Step> {
    let ids = nodes.iter().filter_map(|node| node.any("id")?.get_ref().as_str());
    let all = ids.map(str::to_owned).collect();
    let earlier = BTreeMap::new();
    let mut known = Known { words, facts, measures, cautions, functions, earlier, all };
    let mut steps = Vec::new();
    for node in nodes {
        let step = read_step(node, &mut known);
        node.finish();
        steps.extend(step);
    }
    steps
}

fn read_step(node: &Node<'_>, known: &mut Known<'_>) -> Option<Step> {
    let report = node.report();
    let id = need_id(node);
    let title = node.need("title");
    let say = node.need("say");
    let why = node.text("why").map_or_else(String::new, |text| text.value);
    let each = node.text("each").filter(|text| check_table(text, known.words, report));
    let each = each.map(|text| text.value);
    let sight = known.words.seen_from(each.as_deref());
    let say = say.map(|text| read_say(&text, sight, report));
    let answer = read_answer(node, sight, known);
    let only_if = node
        .text("only_if")
        .and_then(|text| read_condition(&text, "only_if", sight, known.functions, report));
    let cautions = read_caution_ids(node, known.cautions);
    let photos = node.whole("photo", MOST_PHOTOS).unwrap_or(0);
    let point =
        node.any("point").and_then(|value| read_point(value, each.as_deref(), known, report));
    let tags = node.texts("tags").into_iter().map(|text| text.value).collect();
    let least_s = node.text("least").and_then(|text| {
        let seconds = read_duration(&text, report)?.as_secs();
        u32::try_from(seconds).ok()
    });
    let id = id?;
    if known.earlier.contains_key(&id.value) {
        report.say(id.letters(), format!("a step `{}` is given already", id.value));
        return None;
    }
    let has_target = answer.as_ref().is_none_or(has_target);
    known.earlier.insert(id.value.clone(), (each.clone(), has_target));
    Some(Step {
        id: id.value,
        each,
        title: title?.value,
        say: say?,
        why,
        answer: answer?,
        only_if,
        cautions,
        photos,
        point,
        tags,
        least_s,
    })
}

fn has_target(answer: &Answer) -> bool {
    match answer {
        Answer::Measure { .. } | Answer::Count { measure: Some(_) } => true,
        Answer::Choice { wanted, .. } => !wanted.is_empty(),
        Answer::Done | Answer::Count { measure: None } | Answer::Fact { .. } | Answer::Note => {
            false
        }
    }
}

pub(super) fn check_table(text: &Text, words: &Words, report: &Report<'_>) -> bool {
    let good = words.has_table(&text.value);
    if !good {
        let hint =
            near::did_you_mean(&text.value, words.tables.iter().map(|table| table.name.as_str()));
        let message = format!("no table is named `{}`", clip(&text.value));
        report.say_hint(text.letters(), message, hint);
    }
    good
}

/// Cuts a sentence at its `{names}`.
pub(super) fn read_say(text: &Text, sight: Sight<'_>, report: &Report<'_>) -> Vec<Piece> {
    cut(text, report, |name| if sight.knows(name) { Ok(()) } else { Err(sight.complaint(name)) })
}

/// Cuts a sentence at its `{names}`; `knows` says of each name why it cannot
/// stand here, and what may have been meant.
pub(super) fn cut(
    text: &Text,
    report: &Report<'_>,
    mut knows: impl FnMut(&str) -> Result<(), (String, Option<String>)>,
) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut words = String::new();
    let mut at = 0;
    while let Some(rest) = text.value.get(at..).filter(|rest| !rest.is_empty()) {
        let Some(open) = rest.find('{') else {
            words.push_str(rest);
            break;
        };
        words.push_str(rest.get(..open).unwrap_or(""));
        let inside = rest.get(open + 1..).unwrap_or("");
        if inside.starts_with('{') {
            words.push('{');
            at += open + 2;
            continue;
        }
        let start = at + open;
        let Some(length) = inside.find('}') else {
            let hint = Some("write {{ for a brace that is said".to_owned());
            report.say_hint(text.part(start..start + 1), "a `{` is never closed", hint);
            break;
        };
        let name = inside.get(..length).unwrap_or("");
        if name.is_empty() {
            report.say(text.part(start..start + 2), "these braces name nothing");
        } else if let Err((message, hint)) = knows(name) {
            report.say_hint(text.part(start + 1..start + 1 + length), message, hint);
        } else {
            if !words.is_empty() {
                pieces.push(Piece::Words(std::mem::take(&mut words)));
            }
            pieces.push(Piece::Name(name.to_owned()));
        }
        at = start + length + 2;
    }
    if !words.is_empty() {
        pieces.push(Piece::Words(words));
    }
    pieces
}

/// A formula that has to come out as yes or no.
pub(super) fn read_condition(
    text: &Text,
    key: &str,
    sight: Sight<'_>,
    functions: &Functions,
    report: &Report<'_>,
) -> Option<Formula> {
    let formula = match Formula::parse(&text.value) {
        Ok(formula) => formula,
        Err(error) => {
            say_formula_error(&error, text, Some(sight), report);
            return None;
        }
    };
    if check_formula(&formula, text, sight, functions, report)? != Type::YesNo {
        report.say(text.letters(), format!("`{key}` has to come out as yes or no"));
        return None;
    }
    Some(formula)
}

fn read_caution_ids(node: &Node<'_>, cautions: &[Caution]) -> Vec<String> {
    let report = node.report();
    let Some(value) = node.any("caution") else { return Vec::new() };
    let texts = match value.get_ref().as_str() {
        Some(_) => as_text(value, report).into_iter().collect(),
        None => as_texts(value, report),
    };
    let known = |text: &Text| {
        let good = cautions.iter().any(|caution| caution.id == text.value);
        if !good {
            let hint = near::did_you_mean(&text.value, cautions.iter().map(|c| c.id.as_str()));
            let message = format!("no caution is called `{}`", clip(&text.value));
            report.say_hint(text.letters(), message, hint);
        }
        good
    };
    texts.into_iter().filter(known).map(|text| text.value).collect()
}

fn read_answer(node: &Node<'_>, sight: Sight<'_>, known: &Known<'_>) -> Option<Answer> {
    let report = node.report();
    let Some(value) = node.any("answer") else { return Some(Answer::Done) };
    if value.get_ref().as_str().is_some() {
        let word = as_text(value, report)?;
        return match word.value.as_str() {
            "done" => Some(Answer::Done),
            "note" => Some(Answer::Note),
            other => {
                let hint = "expected \"done\", \"note\", or { measure = … }, { count = … }, \
                            { choice = … }, { fact = … }";
                let message = format!("no answer is called `{}`", clip(other));
                report.say_hint(word.letters(), message, Some(hint.to_owned()));
                None
            }
        };
    }
    let table = as_node(value, value.span(), "answer", report)?;
    let keys = ["measure", "count", "choice", "fact"];
    let given: Vec<&str> = keys.into_iter().filter(|key| table.any(key).is_some()).collect();
    let answer = match given.as_slice() {
        ["measure"] => read_measure_answer(&table, sight, known),
        ["count"] => read_count_answer(&table, sight, known),
        ["choice"] => read_choice_answer(&table),
        ["fact"] => read_fact_answer(&table, sight, known),
        _ => {
            report.say(value.span(), format!("an answer has one of {}", keys.join(", ")));
            return None;
        }
    };
    // The keys of the other kinds are misplaced rather than unknown.
    for (key, owner) in [("tolerance", "measure"), ("wanted", "choice")] {
        if let Some(value) = table.any(key).filter(|_| !given.contains(&owner)) {
            report.say(value.span(), format!("`{key}` belongs to a {owner}"));
        }
    }
    table.finish();
    answer
}

/// What is computed under that name, where it can be seen: a measure or a column
/// of a computed table.
fn find_target(
    text: &Text,
    sight: Sight<'_>,
    known: &Known<'_>,
    report: &Report<'_>,
) -> Option<FactKind> {
    let name = text.value.as_str();
    if let Some(kind) = known.target(name) {
        if sight.sees(name) {
            return Some(kind.clone());
        }
    } else if known.words.is_wrong(name) {
        return None;
    } else if known.words.has(name) {
        let message = format!("`{name}` is not a measure");
        let hint = "only what is computed is a target; give it a measure of its own".to_owned();
        report.say_hint(text.letters(), message, Some(hint));
        return None;
    }
    let (message, hint) = if known.words.has(name) {
        sight.complaint(name)
    } else {
        let names = known.measures.iter().map(|measure| measure.name.as_str());
        let hint = near::did_you_mean(name, names.filter(|name| sight.sees(name)));
        (format!("no measure is named `{}`", clip(name)), hint)
    };
    report.say_hint(text.letters(), message, hint);
    None
}

fn read_measure_answer(table: &Node<'_>, sight: Sight<'_>, known: &Known<'_>) -> Option<Answer> {
    let report = table.report();
    let name = table.text("measure");
    let tolerance = table.need("tolerance");
    let (name, tolerance) = (name?, tolerance?);
    let kind = find_target(&name, sight, known, report)?;
    let Some(dimension) = kind.dimension() else {
        report.say(name.letters(), format!("`{}` is not read off a tool", name.value));
        return None;
    };
    // Readings of a thermometer differ by degrees, not by a reading.
    let dimension = match dimension {
        Dimension::TEMPERATURE => Dimension::TEMPERATURE_DIFFERENCE,
        other => other,
    };
    let tolerance_read = parse_quantity(&tolerance.value, dimension);
    match tolerance_read {
        Ok(quantity) if quantity.value < Ratio::ZERO => {
            report.say(tolerance.letters(), "a tolerance is never negative");
            None
        }
        Ok(quantity) => Some(Answer::Measure { measure: name.value, tolerance: quantity }),
        Err(error) => {
            say_misread(error, &tolerance, dimension, report);
            None
        }
    }
}

fn read_count_answer(table: &Node<'_>, sight: Sight<'_>, known: &Known<'_>) -> Option<Answer> {
    let report = table.report();
    let value = table.any("count")?;
    match value.get_ref().as_bool() {
        Some(true) => return Some(Answer::Count { measure: None }),
        Some(false) => {
            report.say(value.span(), "`count` is true, or the name of a measure");
            return None;
        }
        None => {}
    }
    let name = as_text(value, report)?;
    let kind = find_target(&name, sight, known, report)?;
    if kind.dimension() != Some(Dimension::NUMBER) {
        let message = format!("`{}` is {}, not a number", name.value, with_article(kind.word()));
        report.say(name.letters(), message);
        return None;
    }
    Some(Answer::Count { measure: Some(name.value) })
}

fn read_choice_answer(table: &Node<'_>) -> Option<Answer> {
    let report = table.report();
    let options = read_options(table.any("choice")?, report);
    let wanted = table.texts("wanted");
    let options = options?;
    let mut good = Vec::new();
    for text in wanted {
        if options.contains(&text.value) {
            good.push(text.value);
        } else {
            let hint = near::did_you_mean(&text.value, options.iter().map(String::as_str));
            let message = format!("`{}` is not one of the options", clip(&text.value));
            report.say_hint(text.letters(), message, hint);
        }
    }
    if table.any("wanted").is_some() && good.len() == options.len() {
        report.say(table.at.clone(), "all options are wanted; leave `wanted` out");
    }
    Some(Answer::Choice { options, wanted: good })
}

fn read_fact_answer(table: &Node<'_>, sight: Sight<'_>, known: &Known<'_>) -> Option<Answer> {
    let report = table.report();
    let text = table.text("fact")?;
    let name = text.value.as_str();
    let Some(fact) = known.facts.iter().find(|fact| fact.name == name) else {
        if !known.words.is_wrong(name) {
            let names = known.facts.iter().map(|fact| fact.name.as_str());
            let hint = near::did_you_mean(name, names);
            report.say_hint(text.letters(), format!("no fact is named `{}`", clip(name)), hint);
        }
        return None;
    };
    let table_of = known.words.table_of(name);
    if table_of != sight.row {
        let hint = match table_of {
            Some(table) => format!("add each = \"{table}\" to the step"),
            None => "take `each` off the step, or it would be asked for every row".to_owned(),
        };
        let message = format!("fact `{name}` does not belong to what this step is repeated for");
        report.say_hint(text.letters(), message, Some(hint));
        return None;
    }
    Some(Answer::Fact { fact: fact.name.clone() })
}

fn read_point(
    value: Any<'_>,
    each: Option<&str>,
    known: &Known<'_>,
    report: &Report<'_>,
) -> Option<Point> {
    if value.get_ref().as_table().is_none() {
        let message = format!("a point is a table, not {}", kind(value));
        let hint = "expected { kind = \"hold\", role = \"foreman\" }".to_owned();
        report.say_hint(value.span(), message, Some(hint));
        return None;
    }
    let node = as_node(value, value.span(), "point", report)?;
    let (kind, role, when) = (node.need("kind"), node.need("role"), node.text("when"));
    node.finish();
    let when = match when {
        Some(text) => read_when(&text, each, known, report),
        None => Some(PointWhen::Always),
    };
    let kind = kind?;
    let kind = match kind.value.as_str() {
        "hold" => PointKind::Hold,
        "witness" => PointKind::Witness,
        other => {
            let message = format!("no point is called `{}`", clip(other));
            let hint = Some("expected hold or witness".to_owned());
            report.say_hint(kind.letters(), message, hint);
            return None;
        }
    };
    Some(Point { kind, role: role?.value, when: when? })
}

fn read_when(
    text: &Text,
    each: Option<&str>,
    known: &Known<'_>,
    report: &Report<'_>,
) -> Option<PointWhen> {
    let inner = |head: &str| text.value.strip_prefix(head)?.strip_suffix(')');
    let (off_target, steps) = match (inner("off_target("), inner("skipped(")) {
        (Some(steps), _) => (true, steps),
        (_, Some(step)) => (false, step),
        _ => {
            let hint = Some("expected off_target(a-step, …) or skipped(a-step)".to_owned());
            let message = format!("`{}` is not a condition of a point", clip(&text.value));
            report.say_hint(text.letters(), message, hint);
            return None;
        }
    };
    let mut from = text.value.find('(').map_or(0, |open| open + 1);
    let mut all = Vec::new();
    // One after another, so that every wrong one is told.
    for step in if off_target { steps.split(',').collect() } else { vec![steps] } {
        let indent = step.len() - step.trim_start().len();
        let at = from + indent..from + indent + step.trim().len();
        all.push(earlier_step(step.trim(), text.part(at), off_target, each, known, report));
        from += step.len() + 1;
    }
    let all: Option<Vec<String>> = all.into_iter().collect();
    let mut all = all?;
    if off_target { Some(PointWhen::OffTarget(all)) } else { all.pop().map(PointWhen::Skipped) }
}

/// A step a point depends on: before it, of its rows, with a target where it
/// can be off one.
fn earlier_step(
    step: &str,
    at: Range<usize>,
    off_target: bool,
    each: Option<&str>,
    known: &Known<'_>,
    report: &Report<'_>,
) -> Option<String> {
    let Some((table, has_target)) = known.earlier.get(step) else {
        let message = if known.all.iter().any(|id| id == step) {
            format!("step `{step}` does not come before this one")
        } else {
            format!("no step is called `{}`", clip(step))
        };
        let hint = near::did_you_mean(step, known.earlier.keys().map(String::as_str));
        report.say_hint(at, message, hint.filter(|_| !known.all.iter().any(|id| id == step)));
        return None;
    };
    if off_target && !has_target {
        let message = format!("step `{step}` has no target to be off");
        report.say(at, message);
        return None;
    }
    if let (Some(here), Some(there)) = (each, table.as_deref())
        && here != there
    {
        let message = format!("step `{step}` is repeated for `{there}`, this one for `{here}`");
        report.say(at, message);
        return None;
    }
    Some(step.to_owned())
}
