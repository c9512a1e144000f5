//! A whole checklist file: its head, cautions, facts, figures, tables, measures,
//! steps and follow-ups, each checked against what the others define.

use std::collections::BTreeMap;

use jiff::SignedDuration;

use crate::domain::{Caution, Checklist, Fact, Hash, Language, Repeats};
use crate::measure::{Dimension, Functions, Type};

use super::fact::{check_id, check_name, need_id, need_version, read_fact};
use super::follow_up::read_follow_ups;
use super::measures::{DefaultOf, Draft, check_drafts, read_default, read_drafts};
use super::node::{Any, Node, Text, as_node, clip, read_root};
use super::problem::{Problems, Report, Source};
use super::steps::read_steps;
use super::tables::read_table;
use super::warnings::read_warnings;
use super::words::{NUMBER, PROFILE, Words};

/// Most steps in a checklist; nobody walks more.
const MOST_STEPS: usize = 2_000;

/// Reads a checklist file of that name; formulas may call these functions.
///
/// # Errors
///
/// All that is wrong with the file.
pub fn read_checklist(
    text: &str,
    file: &str,
    functions: &Functions,
) -> Result<Checklist, Problems> {
    let source = Source::new(file, text);
    read_root(&source, "checklist", |root| read(root, Hash::of(text.as_bytes()), functions))
}

fn read(root: &Node<'_>, hash: Hash, functions: &Functions) -> Option<Checklist> {
    let report = root.report();
    let (id, version) = (need_id(root), need_version(root));
    let (title, yields_to) = (root.need("title"), root.need("yields_to"));
    let sources = root.texts("sources").into_iter().map(|text| text.value).collect();
    let cautions = read_cautions(root);
    let repeats = root.text("repeats").and_then(|text| read_repeats(&text, report));

    let mut words = Words::default();
    let (mut facts, mut figures) = (Vec::new(), Vec::new());
    let mut drafts = Vec::new();
    read_facts(root.named("facts"), None, &mut facts, &mut drafts, &mut words, report);
    let given = root.named(PROFILE);
    read_facts(given, Some(PROFILE), &mut figures, &mut drafts, &mut words, report);
    drafts.extend(read_drafts(root.named("measures"), None, &mut words, report));
    let mut computing = Vec::new();
    for (name, value) in root.named("each") {
        let Some(node) = as_node(value, name.at.clone(), "table", report) else { continue };
        let Some((table, computed)) = read_table(&name, &node, &facts, &mut words, functions)
        else {
            continue;
        };
        computing.extend(computed);
        let row = table.name.clone();
        words.tables.push(table);
        words.set(format!("{row}.{NUMBER}"), Some(Type::Quantity(Dimension::NUMBER)));
        let given = node.named("facts");
        read_facts(given, Some(&row), &mut facts, &mut drafts, &mut words, report);
        drafts.extend(read_drafts(node.named("measures"), Some(&row), &mut words, report));
        node.finish();
    }
    let checked = check_drafts(drafts, &computing, &mut words, functions, report);
    for (of, formula) in checked.defaults {
        let fact = match of {
            DefaultOf::Fact(at) => facts.get_mut(at),
            DefaultOf::Figure(at) => figures.get_mut(at),
        };
        if let Some(fact) = fact {
            fact.default = Some(formula);
        }
    }
    let measures = checked.measures;
    let warnings = read_warnings(&root.each("warning", "warning"), &words, functions);

    let steps = root.each("step", "step");
    if steps.is_empty() && root.any("step").is_none() {
        report.say(root.at.clone(), "this checklist has no steps; add a `[[step]]`");
    }
    if let Some(step) = steps.get(MOST_STEPS) {
        report.say(step.at.clone(), format!("more than {MOST_STEPS} steps; split the checklist"));
        return None;
    }
    let steps = read_steps(&steps, &words, &facts, &measures, &cautions, functions);
    let follow_ups = read_follow_ups(&root.each("follow_up", "follow-up"));
    root.finish();
    Some(Checklist {
        id: id?.value,
        version: version?,
        title: title?.value,
        yields_to: yields_to?.value,
        sources,
        cautions,
        facts,
        figures,
        measures,
        tables: words.tables,
        order: checked.order,
        warnings,
        steps,
        repeats,
        follow_ups,
        hash,
        language: Language::default(),
        words: BTreeMap::new(),
    })
}

fn read_repeats(text: &Text, report: &Report<'_>) -> Option<Repeats> {
    let found = Repeats::ALL.into_iter().find(|repeats| repeats.word() == text.value);
    if found.is_none() {
        let message = format!("`{}` is no repetition", clip(&text.value));
        let hint = "expected \"daily\", or leave it out: then each further walk is asked for";
        report.say_hint(text.letters(), message, Some(hint.to_owned()));
    }
    found
}

fn read_cautions(root: &Node<'_>) -> Vec<Caution> {
    let report = root.report();
    let mut cautions = Vec::new();
    for (id, value) in root.named("cautions") {
        check_id(&id, report);
        let Some(node) = as_node(value, id.at.clone(), "caution", report) else { continue };
        let (say, source) = (node.need("say"), node.need("source"));
        node.finish();
        // One that is incomplete still exists for the steps that name it.
        let text = |text: Option<Text>| text.map_or_else(String::new, |text| text.value);
        cautions.push(Caution { id: id.value, say: text(say), source: text(source) });
    }
    cautions
}

/// Reads facts or figures; a prefix goes before their names in formulas, and
/// a table's also before the fact's own name.
fn read_facts(
    entries: Vec<(Text, Any<'_>)>,
    prefix: Option<&str>,
    facts: &mut Vec<Fact>,
    drafts: &mut Vec<Draft>,
    words: &mut Words,
    report: &Report<'_>,
) {
    for (name, value) in entries {
        let Some(node) = as_node(value, name.at.clone(), "fact", report) else { continue };
        if !check_name(&name, report) {
            continue;
        }
        let full = prefix.map_or_else(|| name.value.clone(), |p| format!("{p}.{}", name.value));
        if words.has(&full) {
            report.say(name.letters(), format!("`{full}` is given already"));
            continue;
        }
        let own = if prefix == Some(PROFILE) { name.value } else { full.clone() };
        let Some((fact, default)) = read_fact(&node, own) else {
            words.add(&full, None);
            continue;
        };
        words.add(&full, Some(&fact));
        if let Some(default) = default {
            let place = facts.len();
            let figure = prefix == Some(PROFILE);
            let of = if figure { DefaultOf::Figure(place) } else { DefaultOf::Fact(place) };
            drafts.extend(read_default(default, full, of, report));
        }
        facts.push(fact);
    }
}

/// An ISO 8601 duration of hours, minutes and seconds.
pub(super) fn read_duration(text: &Text, report: &Report<'_>) -> Option<SignedDuration> {
    let duration = text.value.parse::<SignedDuration>().ok();
    let duration = duration.filter(|d| text.value.starts_with('P') && d.is_positive());
    if duration.is_none() {
        let message = format!("`{}` is not a duration", clip(&text.value));
        let hint = "expected an ISO 8601 duration such as PT20S, PT5M or PT1H30M".to_owned();
        report.say_hint(text.letters(), message, Some(hint));
    }
    duration
}
