//! Which walk: a checklist and which time it is walked on its job. Whether the
//! next one begins is decided here too; what is asked in it is not.

use std::fmt;
use std::str::FromStr;

use super::{At, Checklist, Standing};

/// One walk of a job. The first prints as the bare checklist, as every entry
/// wrote it before there were others; later ones as `start-of-day/2`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WalkId {
    /// Identifier of the checklist.
    pub checklist: String,
    /// Which time, counted from 1.
    pub nth: u32,
}

/// How often a checklist is walked on a job.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Repeats {
    /// Once on each calendar day at the address.
    Daily,
}

/// Why no further walk begins.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{open} is open: finish it first, the same command without --again goes on with it")]
pub struct StillOpen {
    /// The walk that has not ended.
    pub open: WalkId,
}

impl WalkId {
    /// The first walk of a checklist.
    #[must_use]
    pub fn first(checklist: impl Into<String>) -> Self {
        Self { checklist: checklist.into(), nth: 1 }
    }

    /// The one after this.
    #[must_use]
    pub fn next(&self) -> Self {
        Self { checklist: self.checklist.clone(), nth: self.nth.saturating_add(1) }
    }
}

impl fmt::Display for WalkId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.nth {
            1 => f.write_str(&self.checklist),
            nth => write!(f, "{}/{nth}", self.checklist),
        }
    }
}

impl FromStr for WalkId {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let Some((checklist, nth)) = text.rsplit_once('/') else { return Ok(Self::first(text)) };
        let plain = nth.bytes().all(|b| b.is_ascii_digit()) && !nth.starts_with('0');
        match nth.parse() {
            Ok(nth) if plain && 1 < nth => Ok(Self { checklist: checklist.to_owned(), nth }),
            _ => Err(format!("`{text}` is no walk; write `start-of-day`, or `start-of-day/2`")),
        }
    }
}

impl Repeats {
    /// All of them.
    pub const ALL: [Self; 1] = [Self::Daily];

    /// The word checklist files use.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Daily => "daily",
        }
    }
}

/// The walk that `walk JOB CHECKLIST` takes up: the newest one of the checklist,
/// or the one after it where it is asked for, or where the checklist is walked
/// daily and the newest began on an earlier day. That one may have been left
/// open: what was asked on another day says nothing about this one.
///
/// # Errors
/// Another one is asked for while the newest is open.
pub fn taken_up(
    standing: &Standing,
    checklist: &Checklist,
    again: bool,
    now: At,
) -> Result<WalkId, StillOpen> {
    let Some((newest, stood)) = standing.walks_of(&checklist.id).next_back() else {
        return Ok(WalkId::first(&checklist.id));
    };
    let begun = stood.begun.as_ref().map(|(at, ..)| at.date());
    let is_of_another_day = begun.is_some_and(|day| day < now.date());
    match checklist.repeats {
        Some(Repeats::Daily) if is_of_another_day => Ok(newest.next()),
        _ if again && stood.ended.is_none() => Err(StillOpen { open: newest.clone() }),
        _ if again => Ok(newest.next()),
        _ => Ok(newest.clone()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_is_the_bare_checklist() {
        assert_eq!(WalkId::first("leak-visit").to_string(), "leak-visit");
        assert_eq!(WalkId::first("leak-visit").next().to_string(), "leak-visit/2");
        assert_eq!("leak-visit/12".parse(), Ok(WalkId { checklist: "leak-visit".into(), nth: 12 }));
        assert_eq!("leak-visit".parse(), Ok(WalkId::first("leak-visit")));
        for wrong in ["a/", "a/0", "a/1", "a/02", "a/+2", "a/x", "a/4294967296"] {
            assert!(wrong.parse::<WalkId>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn they_stand_in_order() {
        let mut all: Vec<WalkId> =
            ["b", "a/10", "a/2", "a"].iter().map(|text| text.parse().unwrap()).collect();
        all.sort();
        let all: Vec<String> = all.iter().map(ToString::to_string).collect();
        assert_eq!(all, ["a", "a/2", "a/10", "b"]);
    }
}
