//! Measures: formulas read, put in an order in which each follows what it uses,
//! and checked for their dimensions at their place in the file.

use std::collections::BTreeMap;

use crate::domain::{Bound, FactKind, Measure};
use crate::measure::{
    Dimension, Formula, FormulaError, Functions, Ratio, Type, in_order, parse_quantity,
};

use super::fact::{check_name, say_misread};
use super::near;
use super::node::{Any, Node, Text, as_node, as_text, clip, with_article};
use super::problem::Report;
use super::words::{Sight, Words};

/// A measure before its formula is checked.
pub(super) struct Draft {
    name: Text,
    /// Name with the table before it.
    full: String,
    table: Option<String>,
    title: String,
    text: Text,
    formula: Formula,
    bound: Bound,
    graduation: Option<(Ratio, std::ops::Range<usize>)>,
    source: String,
}

/// Reads the measures under one key; a table's name goes before theirs.
pub(super) fn read_drafts(
    entries: Vec<(Text, Any<'_>)>,
    table: Option<&str>,
    words: &mut Words,
    report: &Report<'_>,
) -> Vec<Draft> {
    let mut drafts = Vec::new();
    for (name, value) in entries {
        if !check_name(&name, report) {
            continue;
        }
        let full = table.map_or_else(|| name.value.clone(), |t| format!("{t}.{}", name.value));
        if words.has(&full) {
            report.say(name.letters(), format!("`{full}` is the name of a fact or table already"));
            continue;
        }
        let draft = read_draft(name, value, &full, table, report);
        // Known from here on, wrong until its formula has been checked.
        words.set(full, None);
        drafts.extend(draft);
    }
    drafts
}

fn read_draft(
    name: Text,
    value: Any<'_>,
    full: &str,
    table: Option<&str>,
    report: &Report<'_>,
) -> Option<Draft> {
    let mut title = name.value.replace('_', " ");
    let (mut bound, mut graduation, mut source) = (Bound::Mark, None, String::new());
    let text = if value.get_ref().as_str().is_some() {
        as_text(value, report)?
    } else {
        let node = as_node(value, name.at.clone(), "measure", report)?;
        let text = node.need("formula");
        title = node.text("title").map_or(title, |title| title.value);
        source = node.text("source").map_or(source, |source| source.value);
        bound = read_bound(&node);
        graduation = node.text("graduation").and_then(|text| read_graduation(&text, report));
        node.finish();
        text?
    };
    match Formula::parse(&text.value) {
        Ok(formula) => Some(Draft {
            full: full.to_owned(),
            table: table.map(str::to_owned),
            title,
            formula,
            bound,
            graduation,
            source,
            name,
            text,
        }),
        Err(error) => {
            say_formula_error(&error, &text, None, report);
            None
        }
    }
}

fn read_bound(node: &Node<'_>) -> Bound {
    let Some(word) = node.text("bound") else { return Bound::Mark };
    match word.value.as_str() {
        "minimum" => Bound::Minimum,
        "maximum" => Bound::Maximum,
        "mark" => Bound::Mark,
        other => {
            let message = format!("no bound is called `{}`", clip(other));
            let hint = Some("expected minimum, maximum or mark".to_owned());
            node.report().say_hint(word.letters(), message, hint);
            Bound::Mark
        }
    }
}

fn read_graduation(text: &Text, report: &Report<'_>) -> Option<(Ratio, std::ops::Range<usize>)> {
    match parse_quantity(&text.value, Dimension::LENGTH) {
        Ok(step) if Ratio::ZERO < step.value => Some((step.value, text.letters())),
        Ok(_) => {
            report.say(text.letters(), "a graduation is more than nothing");
            None
        }
        Err(error) => {
            say_misread(error, text, Dimension::LENGTH, report);
            None
        }
    }
}

/// Checks the drafts and puts them in an order in which they can be computed.
pub(super) fn check_drafts(
    drafts: Vec<Draft>,
    words: &mut Words,
    functions: &Functions,
    report: &Report<'_>,
) -> Vec<Measure> {
    let mut formulas: BTreeMap<String, Formula> =
        drafts.iter().map(|draft| (draft.full.clone(), draft.formula.clone())).collect();
    let order = loop {
        match in_order(&formulas) {
            Ok(order) => break order.into_iter().map(str::to_owned).collect::<Vec<_>>(),
            Err(cycle) => {
                say_cycle(&cycle, &drafts, report);
                let before = formulas.len();
                formulas.retain(|name, _| !cycle.contains(name));
                if formulas.len() == before {
                    break Vec::new();
                }
            }
        }
    };
    let mut by_name: BTreeMap<String, Draft> =
        drafts.into_iter().map(|draft| (draft.full.clone(), draft)).collect();
    let mut measures = Vec::new();
    for name in order {
        let Some(draft) = by_name.remove(&name) else { continue };
        let sight = words.seen_from(draft.table.as_deref());
        let Some(kind) = check_draft(&draft, sight, functions, report) else { continue };
        words.set(name, Some(kind.formula_type()));
        let graduation = match (draft.graduation, &kind) {
            (Some((step, _)), FactKind::Length) => step,
            (Some((_, at)), _) => {
                report.say(
                    at,
                    format!("a graduation is for lengths; this is {}", with_article(kind.word())),
                );
                continue;
            }
            (None, _) => Ratio::new(1, 16).unwrap_or(Ratio::ONE),
        };
        measures.push(Measure {
            name: draft.full,
            title: draft.title,
            formula: draft.formula,
            kind,
            bound: draft.bound,
            graduation,
            source: draft.source,
        });
    }
    measures
}

fn check_draft(
    draft: &Draft,
    sight: Sight<'_>,
    functions: &Functions,
    report: &Report<'_>,
) -> Option<FactKind> {
    let found = check_formula(&draft.formula, &draft.text, sight, functions, report)?;
    let kind = kind_of(&found);
    if kind.is_none() {
        let what = found.name();
        let message = format!("measure `{}` comes out as {what}, which nothing shows", draft.full);
        report.say(draft.name.letters(), message);
    }
    kind
}

/// The type of a formula, or nothing after saying what is wrong, or nothing at
/// all where it rests on a name that was found wrong before.
pub(super) fn check_formula(
    formula: &Formula,
    text: &Text,
    sight: Sight<'_>,
    functions: &Functions,
    report: &Report<'_>,
) -> Option<Type> {
    let folded = formula.columns().map(|(table, column, _)| format!("{table}.{column}"));
    if formula.names().any(|(name, _)| sight.words.is_wrong(name))
        || folded.into_iter().any(|name| sight.words.is_wrong(&name))
    {
        return None;
    }
    match formula.check(&sight, functions) {
        Ok(found) => check_choices(formula, text, sight, report).then_some(found),
        Err(errors) => {
            for error in &errors {
                say_formula_error(error, text, Some(sight), report);
            }
            None
        }
    }
}

/// Complains where a choice is compared with a word it can never be: such a
/// comparison would silently always come out the same.
fn check_choices(formula: &Formula, text: &Text, sight: Sight<'_>, report: &Report<'_>) -> bool {
    let mut good = true;
    for (name, at) in formula.names() {
        let Some(options) = sight.words.options(name) else { continue };
        let rest = text.value.get(at.end..).unwrap_or("");
        let compared = rest.trim_start();
        let Some(literal) = ["==", "!="].iter().find_map(|op| compared.strip_prefix(op)) else {
            continue;
        };
        let literal = literal.trim_start();
        let Some(quote) = literal.chars().next().filter(|c| matches!(c, '"' | '\'')) else {
            continue;
        };
        let Some(word) = literal.get(1..).and_then(|inner| inner.split(quote).next()) else {
            continue;
        };
        if !options.iter().any(|option| option == word) {
            let start = text.value.len() - literal.len() + 1;
            let near = near::did_you_mean(word, options.iter().map(String::as_str));
            let hint = near.unwrap_or_else(|| format!("expected one of {}", options.join(", ")));
            let message = format!("`{name}` is never `{}`", clip(word));
            report.say_hint(text.part(start..start + word.len()), message, Some(hint));
            good = false;
        }
    }
    good
}

/// Says what is wrong with a formula at its place in the file.
pub(super) fn say_formula_error(
    error: &FormulaError,
    text: &Text,
    sight: Option<Sight<'_>>,
    report: &Report<'_>,
) {
    let at = text.part(error.at.clone());
    let word = text.value.get(error.at.clone()).unwrap_or("");
    match sight {
        Some(sight) if sight.words.has(word) && !sight.sees(word) => {
            let (message, hint) = sight.complaint(word);
            report.say_hint(at, message, hint);
        }
        // A column; the formula itself suggests for all other names.
        Some(sight) if word.contains('.') && !error.message.contains("did you mean") => {
            report.say_hint(at, error.message.clone(), sight.words.nearest(word));
        }
        _ => report.say(at, error.message.clone()),
    }
}

fn say_cycle(cycle: &[String], drafts: &[Draft], report: &Report<'_>) {
    let in_file = drafts.iter().filter(|draft| cycle.contains(&draft.full));
    let Some(first) = in_file.min_by_key(|draft| draft.name.at.start) else { return };
    // Told from the measure that stands first in the file.
    let mut names: Vec<&str> = cycle.iter().map(String::as_str).collect();
    if 1 < names.len() && names.first() == names.last() {
        names.pop();
    }
    let start = names.iter().position(|name| *name == first.full).unwrap_or(0);
    names.rotate_left(start);
    names.push(&first.full);
    let message = format!("measures use each other in a circle: {}", names.join(" → "));
    report.say(first.name.letters(), message);
}

fn kind_of(found: &Type) -> Option<FactKind> {
    let kinds = [
        FactKind::Length,
        FactKind::Area,
        FactKind::Pitch,
        FactKind::Number,
        FactKind::Temperature,
        FactKind::Speed,
        FactKind::FreeAreaPerLength,
        FactKind::YesNo,
        FactKind::Text,
    ];
    kinds.into_iter().find(|kind| kind.formula_type() == *found)
}
