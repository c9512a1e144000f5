//! Orders formulas by what they use.

use std::collections::{BTreeMap, BTreeSet};

use super::Formula;

/// Orders formulas so that each comes after those it uses.
///
/// # Errors
/// When formulas use each other in a circle: the circle, its first name again at
/// the end.
pub fn in_order(formulas: &BTreeMap<String, Formula>) -> Result<Vec<&str>, Vec<String>> {
    let mut ordered = Vec::with_capacity(formulas.len());
    let mut done: BTreeSet<&str> = BTreeSet::new();
    for (start, formula) in formulas {
        if done.contains(start.as_str()) {
            continue;
        }
        // The path from `start` down to what is looked at, with what is left to
        // look at on each level; a list, so that a long chain needs no stack.
        let mut path = vec![(start.as_str(), uses(formulas, formula))];
        while let Some((name, left)) = path.last_mut() {
            let name = *name;
            let Some(used) = left.pop() else {
                done.insert(name);
                ordered.push(name);
                path.pop();
                continue;
            };
            if done.contains(used) {
                continue;
            }
            if let Some(first) = path.iter().position(|(on_path, _)| *on_path == used) {
                let circle = path.iter().skip(first).map(|(name, _)| *name).chain([used]);
                return Err(circle.map(str::to_owned).collect());
            }
            if let Some((key, formula)) = formulas.get_key_value(used) {
                path.push((key.as_str(), uses(formulas, formula)));
            }
        }
    }
    Ok(ordered)
}

/// The other formulas that one uses, the first used last, as a stack wants it.
fn uses<'f>(formulas: &'f BTreeMap<String, Formula>, formula: &'f Formula) -> Vec<&'f str> {
    let names = formula.names().map(|(name, _)| name);
    let columns = formula.columns().map(|(_, _, at)| formula.slice(&at));
    let mut used: Vec<&str> =
        names.chain(columns).filter(|name| formulas.contains_key(*name)).collect();
    used.reverse();
    used
}
