//! Until when a record is to be kept: counted from its last entry, by the rules
//! of the user's own file. The program knows no law and deletes nothing.

use jiff::civil::Date;

/// A rule that applies to a job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Kept {
    /// The last day it is to be kept.
    pub until: Date,
    /// For how many years.
    pub years: u32,
    /// What says so: the name of the rule and its source; none for the general
    /// setting.
    pub rule: Option<(String, String)>,
}

/// The longest of the general setting and every rule whose name is the job's
/// code edition, or a state that its address names. A rule is its name, its
/// years and its source.
#[must_use]
pub fn kept<'a>(
    last: Date,
    code_edition: &str,
    address: &str,
    keep_years: u32,
    rules: impl IntoIterator<Item = (&'a str, u32, &'a str)>,
) -> Kept {
    let mut longest = (keep_years, None);
    for (name, years, source) in rules {
        let applies = name == code_edition || state(address).is_some_and(|state| state == name);
        if applies && longest.0 <= years {
            longest = (years, Some((name.to_owned(), source.to_owned())));
        }
    }
    let (years, rule) = longest;
    let span = i64::from(years);
    // A date past the calendar's end is the calendar's end.
    let until = jiff::Span::new().try_years(span).ok();
    let until = until.and_then(|span| last.checked_add(span).ok()).unwrap_or(Date::MAX);
    Kept { until, years, rule }
}

/// The two capital letters of a state, at the end of an address or before its
/// postal code.
fn state(address: &str) -> Option<&str> {
    let tail = address.rsplit(',').next()?;
    let mut words = tail.split_whitespace().rev();
    let mut state = words.next()?;
    let postal = |word: &str| word.chars().all(|c| c.is_ascii_digit() || c == '-');
    if postal(state) {
        state = words.next()?;
    }
    (state.len() == 2 && state.chars().all(|c| c.is_ascii_uppercase())).then_some(state)
}

#[cfg(test)]
mod tests {
    use super::*;

    const RULES: [(&str, u32, &str); 3] =
        [("VT", 12, "counsel, 2026"), ("IRC 2021", 40, "our insurer"), ("ME", 5, "counsel")];

    fn until(last: &str, edition: &str, address: &str) -> (String, Option<String>) {
        let kept = kept(last.parse().unwrap(), edition, address, 10, RULES);
        (kept.until.to_string(), kept.rule.map(|(name, _)| name))
    }

    #[test]
    fn the_longest_that_applies_holds() {
        let general = ("2036-11-25".to_owned(), None);
        assert_eq!(until("2026-11-25", "invented", "1 Example Lane, Sampletown"), general);
        let state = |address| until("2026-11-25", "invented", address);
        let vermont = ("2038-11-25".to_owned(), Some("VT".to_owned()));
        assert_eq!(state("1 Example Lane, Sampletown, VT"), vermont);
        assert_eq!(state("1 Example Lane, Sampletown VT 05401"), vermont);
        assert_eq!(state("1 Example Lane, Sampletown, VT 05401-1234"), vermont);
        assert_eq!(state("1 Example Lane, Sampletown, ME"), general, "shorter than the setting");
        assert_eq!(state("1 VT Lane, Sampletown"), general, "no state");
        let code = ("2066-11-25".to_owned(), Some("IRC 2021".to_owned()));
        assert_eq!(until("2026-11-25", "IRC 2021", "1 Example Lane, Sampletown, VT"), code);
    }

    #[test]
    fn odd_dates_have_an_end() {
        assert_eq!(until("2028-02-29", "invented", "").0, "2038-02-28");
        assert_eq!(until("9999-12-31", "invented", "").0, "9999-12-31");
    }
}
