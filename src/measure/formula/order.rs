//! Orders names by what each of them uses.

use std::collections::{BTreeMap, BTreeSet};

/// Orders names so that each comes after those it uses; names that are used and
/// not listed themselves are left out.
///
/// # Errors
/// When names use each other in a circle: the circle, its first name again at
/// the end.
pub fn in_order(names: &BTreeMap<String, Vec<String>>) -> Result<Vec<&str>, Vec<String>> {
    let mut ordered = Vec::with_capacity(names.len());
    let mut done: BTreeSet<&str> = BTreeSet::new();
    for (start, used) in names {
        if done.contains(start.as_str()) {
            continue;
        }
        // The path from `start` down to what is looked at, with what is left to
        // look at on each level; a list, so that a long chain needs no stack.
        let mut path = vec![(start.as_str(), listed(names, used))];
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
            if let Some((key, uses)) = names.get_key_value(used) {
                path.push((key.as_str(), listed(names, uses)));
            }
        }
    }
    Ok(ordered)
}

/// The listed names among those used, the first used last, as a stack wants it.
fn listed<'n>(names: &'n BTreeMap<String, Vec<String>>, used: &'n [String]) -> Vec<&'n str> {
    let known = used.iter().filter(|name| names.contains_key(*name));
    let mut known: Vec<&str> = known.map(String::as_str).collect();
    known.reverse();
    known
}
