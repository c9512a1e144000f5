//! Suggests the name somebody may have meant.

/// The nearest of these names, where it is near enough to be a slip.
pub(super) fn nearest<'n>(
    meant: &str,
    names: impl IntoIterator<Item = &'n str>,
) -> Option<&'n str> {
    // Names are short; a hostile one is not worth the square of its length.
    if 64 < meant.len() {
        return None;
    }
    let letters = meant.chars().count();
    let allowed = (letters / 2).min(1 + letters / 5);
    let near =
        names.into_iter().filter(|name| name.len() <= 64).map(|name| (slips(meant, name), name));
    near.filter(|(slips, _)| *slips <= allowed).min().map(|(_, name)| name)
}

/// `; did you mean …?` or nothing.
pub(super) fn did_you_mean<'n>(
    meant: &str,
    names: impl IntoIterator<Item = &'n str>,
) -> Option<String> {
    nearest(meant, names).map(|name| format!("did you mean `{name}`?"))
}

/// Letters added, lost, changed or swapped with their neighbour.
fn slips(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let mut before_last: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, y) in b.iter().enumerate() {
            let at = |row: &[usize], j: usize| row.get(j).copied().unwrap_or(usize::MAX / 2);
            let changed = at(&last, j) + usize::from(x != y);
            let mut best = changed.min(at(&last, j + 1) + 1).min(at(&row, j) + 1);
            let swapped = 0 < i && 0 < j && a.get(i - 1) == Some(y) && b.get(j - 1) == Some(x);
            if swapped {
                best = best.min(at(&before_last, j - 1) + 1);
            }
            row.push(best);
        }
        before_last = std::mem::replace(&mut last, row);
    }
    last.last().copied().unwrap_or(a.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_names() {
        let names = ["overhang", "pitch", "heel_height", "when"];
        assert_eq!(nearest("overhnag", names), Some("overhang"));
        assert_eq!(nearest("heelheight", names), Some("heel_height"));
        assert_eq!(nearest("pich", names), Some("pitch"));
        assert_eq!(nearest("insulation", names), None);
        assert_eq!(nearest("", names), None);
        assert_eq!(nearest("m", ["n"]), None, "one letter for another is no slip");
        assert_eq!(slips("abc", "abc"), 0);
        assert_eq!(slips("", "abc"), 3);
        assert_eq!(slips("ab", "ba"), 1);
    }
}
