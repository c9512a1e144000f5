//! Warnings: what the crew is told when something does not add up.

use crate::domain::Warning;
use crate::measure::Functions;

use super::fact::check_id;
use super::node::Node;
use super::steps::{check_table, read_condition, read_say};
use super::words::Words;

/// Reads the warnings in their order.
pub(super) fn read_warnings(
    nodes: &[Node<'_>],
    words: &Words,
    functions: &Functions,
) -> Vec<Warning> {
    let mut warnings: Vec<Warning> = Vec::new();
    for node in nodes {
        let report = node.report();
        let id = node.need("id").filter(|id| check_id(id, report));
        let each = node.text("each").filter(|text| check_table(text, words, report));
        let each = each.map(|text| text.value);
        let sight = words.seen_from(each.as_deref());
        let when = node.need("when");
        let when = when.and_then(|text| read_condition(&text, "when", sight, functions, report));
        let say = node.need("say").map(|text| read_say(&text, sight, report));
        let source = node.need("source");
        node.finish();
        let (Some(id), Some(when), Some(say), Some(source)) = (id, when, say, source) else {
            continue;
        };
        if warnings.iter().any(|known| known.id == id.value) {
            report.say(id.letters(), format!("a warning `{}` is given already", id.value));
            continue;
        }
        warnings.push(Warning { id: id.value, each, when, say, source: source.value });
    }
    warnings
}
