//! What is computed: measures, defaults of facts, and the rows of computed
//! tables, put in an order in which each follows what it uses, and checked for
//! their dimensions at their place in the file.

use std::collections::BTreeMap;

use crate::domain::{Bound, Computes, FactKind, Measure};
use crate::measure::{
    Dimension, Formula, FormulaError, Functions, Ratio, Type, in_order, parse_quantity,
};

use super::fact::{check_name, say_misread};
use super::near;
use super::node::{Any, Node, Text, as_node, as_text, clip, with_article};
use super::problem::Report;
use super::tables::Computing;
use super::words::{PROFILE, Sight, Words};

/// A measure or a default before its formula is checked.
pub(super) struct Draft {
    /// Of which fact or figure it is the default; none for a measure.
    default_of: Option<DefaultOf>,
    /// The heading on the sheet.
    group: String,
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
    first_page: bool,
}

/// A fact or figure by its place in the checklist.
#[derive(Clone, Copy)]
pub(super) enum DefaultOf {
    Fact(usize),
    Figure(usize),
}

/// What came of the drafts.
#[derive(Default)]
pub(super) struct Checked {
    pub(super) measures: Vec<Measure>,
    pub(super) order: Vec<Computes>,
    pub(super) defaults: Vec<(DefaultOf, Formula)>,
}

/// Reads the default of a fact or figure.
pub(super) fn read_default(
    text: Text,
    full: String,
    of: DefaultOf,
    report: &Report<'_>,
) -> Option<Draft> {
    let formula = parse(&text, report)?;
    let table = full.split_once('.').map(|(table, _)| table).filter(|t| *t != PROFILE);
    Some(Draft {
        default_of: Some(of),
        table: table.map(str::to_owned),
        name: text.renamed(full.clone()),
        full,
        group: String::new(),
        title: String::new(),
        formula,
        bound: Bound::Mark,
        graduation: None,
        source: String::new(),
        first_page: false,
        text,
    })
}

fn parse(text: &Text, report: &Report<'_>) -> Option<Formula> {
    match Formula::parse(&text.value) {
        Ok(formula) => Some(formula),
        Err(error) => {
            say_formula_error(&error, text, None, report);
            None
        }
    }
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
    let (mut group, mut first_page) = (String::new(), false);
    let text = if value.get_ref().as_str().is_some() {
        as_text(value, report)?
    } else {
        let node = as_node(value, name.at.clone(), "measure", report)?;
        let text = node.need("formula");
        title = node.text("title").map_or(title, |title| title.value);
        source = node.text("source").map_or(source, |source| source.value);
        group = node.text("group").map_or(group, |group| group.value);
        bound = read_bound(&node);
        first_page = node.flag("first_page").unwrap_or(false);
        graduation = node.text("graduation").and_then(|text| read_graduation(&text, report));
        node.finish();
        text?
    };
    Some(Draft {
        default_of: None,
        full: full.to_owned(),
        table: table.map(str::to_owned),
        group,
        title,
        formula: parse(&text, report)?,
        bound,
        graduation,
        source,
        first_page,
        name,
        text,
    })
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

/// Checks drafts and computed tables and puts them in an order in which they can
/// be computed.
pub(super) fn check_drafts(
    drafts: Vec<Draft>,
    tables: &[Computing],
    words: &mut Words,
    functions: &Functions,
    report: &Report<'_>,
) -> Checked {
    let order = order(&drafts, tables, words, functions, report);
    let places: BTreeMap<String, usize> =
        drafts.iter().enumerate().map(|(at, draft)| (draft.full.clone(), at)).collect();
    let mut drafts: Vec<Option<Draft>> = drafts.into_iter().map(Some).collect();
    let mut checked = Checked::default();
    let mut measures: Vec<(usize, Measure)> = Vec::new();
    let mut computes: Vec<Result<Computes, usize>> = Vec::new();
    for name in order {
        if let Some(table) = tables.iter().find(|table| table.name == name) {
            table.check(words, functions, report);
            computes.push(Ok(Computes::Rows(table.place)));
            continue;
        }
        let Some(place) = places.get(&name).copied() else { continue };
        let Some(draft) = drafts.get_mut(place).and_then(Option::take) else { continue };
        let sight = words.seen_from(draft.table.as_deref());
        let Some(kind) = check_draft(&draft, sight, functions, report) else { continue };
        match draft.default_of {
            Some(of) => {
                if check_default(&draft, &kind, words, report) {
                    computes.push(Ok(match of {
                        DefaultOf::Fact(at) => Computes::Fact(at),
                        DefaultOf::Figure(at) => Computes::Figure(at),
                    }));
                    checked.defaults.push((of, draft.formula));
                }
            }
            None => {
                words.set(name, Some(kind.formula_type()));
                let Some(measure) = finish(draft, kind, report) else { continue };
                computes.push(Err(place));
                measures.push((place, measure));
            }
        }
    }
    // Measures stay in the order they were written in; that is how they are read.
    measures.sort_by_key(|(place, _)| *place);
    let at = |place: usize| measures.iter().position(|(other, _)| *other == place);
    let found = computes.into_iter().filter_map(|computes| match computes {
        Ok(computes) => Some(computes),
        Err(place) => at(place).map(Computes::Measure),
    });
    checked.order = found.collect();
    checked.measures = measures.into_iter().map(|(_, measure)| measure).collect();
    checked
}

fn finish(draft: Draft, kind: FactKind, report: &Report<'_>) -> Option<Measure> {
    let graduation = match (draft.graduation, &kind) {
        (Some((step, _)), FactKind::Length) => step,
        (Some((_, at)), _) => {
            let message =
                format!("a graduation is for lengths; this is {}", with_article(kind.word()));
            report.say(at, message);
            return None;
        }
        (None, _) => Ratio::SIXTEENTH,
    };
    Some(Measure {
        name: draft.full,
        title: draft.title,
        group: draft.group,
        formula: draft.formula,
        kind,
        bound: draft.bound,
        graduation,
        source: draft.source,
        first_page: draft.first_page,
    })
}

/// A default is of its fact's own kind, and for a choice one of its options.
fn check_default(draft: &Draft, kind: &FactKind, words: &Words, report: &Report<'_>) -> bool {
    let wanted = words.kind(&draft.full);
    if wanted.is_some_and(|wanted| wanted != kind.formula_type()) {
        let wanted = wanted.map_or_else(String::new, crate::measure::Type::name);
        let message = format!("the default of `{}` has to be {wanted}", draft.full);
        let hint = match kind {
            FactKind::Text => None,
            _ if wanted.contains("text") => {
                Some("write words in quotes inside: \"'dry'\"".to_owned())
            }
            _ => Some("write it with its unit, such as \"24 in\"".to_owned()),
        };
        report.say_hint(draft.text.letters(), message, hint);
        return false;
    }
    let Some(options) = words.options(&draft.full) else { return true };
    let mut good = true;
    for word in draft.formula.result_texts() {
        if !options.iter().any(|option| option == word) {
            let near = near::did_you_mean(word, options.iter().map(String::as_str));
            let hint = near.unwrap_or_else(|| format!("expected one of {}", options.join(", ")));
            let message = format!("`{}` is never `{}`", draft.full, clip(word));
            report.say_hint(draft.text.letters(), message, Some(hint));
            good = false;
        }
    }
    good
}

/// Names in an order in which each follows what it uses; circles are told and
/// left out.
fn order(
    drafts: &[Draft],
    tables: &[Computing],
    words: &Words,
    functions: &Functions,
    report: &Report<'_>,
) -> Vec<String> {
    let mut names: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for draft in drafts {
        let mut uses = draft.formula.uses();
        uses.extend(draft.table.as_ref().and_then(|table| words.rows_of(table)));
        names.insert(draft.full.clone(), uses);
    }
    for table in tables {
        names.insert(table.name.clone(), table.uses(words, functions));
    }
    // A column of a computed table is known once the table is.
    let computed: Vec<&str> = tables.iter().map(|table| table.name.as_str()).collect();
    let keys: Vec<String> = names.keys().cloned().collect();
    for uses in names.values_mut() {
        let mut more = Vec::new();
        for name in uses.iter() {
            let Some(table) = words.table_of(name) else { continue };
            if computed.contains(&table) && !keys.contains(name) {
                more.push(table.to_owned());
            }
            more.extend(words.rows_of(table));
        }
        uses.extend(more);
    }
    loop {
        match in_order(&names) {
            Ok(order) => return order.into_iter().map(str::to_owned).collect(),
            Err(cycle) => {
                say_cycle(&cycle, drafts, report);
                let before = names.len();
                names.retain(|name, _| !cycle.contains(name));
                if names.len() == before {
                    return Vec::new();
                }
            }
        }
    }
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
        // Known, but not from here; other complaints say themselves what is wrong.
        Some(sight)
            if sight.words.has(word) && !sight.sees(word) && error.message.starts_with("no ") =>
        {
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
    let message = format!("these use each other in a circle: {}", names.join(" → "));
    report.say(first.name.letters(), message);
}

pub(super) fn kind_of(found: &Type) -> Option<FactKind> {
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
