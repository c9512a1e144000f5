//! Follow-up dates as people go through them: what is past and was not seen to
//! first, then by week, then by month. Which dates there are is `schedule`'s
//! matter.

use jiff::civil::Date;

use super::{At, Due, Standing};

/// A stretch of the list; the first is looked at first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stretch {
    /// Before today.
    Past,
    /// Today and the six days after it.
    Week,
    /// The seven days after those.
    NextWeek,
    /// Later, by the month: the year and the month of it, counted from 1.
    Month(i16, i8),
}

impl Stretch {
    /// Where a day stands, seen from another.
    #[must_use]
    pub fn of(day: Date, today: Date) -> Self {
        let ahead = day.duration_since(today).as_hours().div_euclid(24);
        match ahead {
            ..0 => Self::Past,
            0..7 => Self::Week,
            7..14 => Self::NextWeek,
            _ => Self::Month(day.year(), day.month()),
        }
    }
}

/// When a date was seen to, as far as the log says: its checklist was walked to
/// the end on its day or later; of a visit, one of the call's was walked to its end
/// since the date was given, or the call was closed. Nothing else in the log settles a date.
#[must_use]
pub fn seen_to(due: &Due, standing: &Standing) -> Option<At> {
    let added = standing.issued.get(&due.uid).and_then(|issued| issued.added.as_ref());
    if let Some(id) = added.and_then(|added| added.callback) {
        let callback = standing.callbacks.get(&id)?;
        let visits = callback.visits.iter().filter_map(|(walk, _)| standing.walks.get(walk));
        let visited = visits.filter_map(|walk| walk.ended);
        let closed = callback.closed.iter().map(|(_, logged)| logged.at);
        return visited.chain(closed).find(|at| due.issued.ms() <= at.ms());
    }
    let ended = standing.walks_of(due.checklist.as_deref()?).filter_map(|(_, walk)| walk.ended);
    ended.filter(|ended| due.start.date() <= ended.date()).min_by_key(|at| at.ms())
}

#[cfg(test)]
mod tests {
    use jiff::ToSpan as _;
    use jiff::civil::date;
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_day_stands_in_its_week_or_month() {
        let today = date(2026, 11, 27);
        for (day, stretch) in [
            (date(2020, 2, 29), Stretch::Past),
            (date(2026, 11, 26), Stretch::Past),
            (today, Stretch::Week),
            (date(2026, 12, 3), Stretch::Week),
            (date(2026, 12, 4), Stretch::NextWeek),
            (date(2026, 12, 10), Stretch::NextWeek),
            (date(2026, 12, 11), Stretch::Month(2026, 12)),
            (date(2036, 1, 1), Stretch::Month(2036, 1)),
        ] {
            assert_eq!(Stretch::of(day, today), stretch, "{day}");
        }
    }

    proptest! {
        #[test]
        fn later_days_stand_later(a in 0_i32..20_000, b in 0_i32..20_000) {
            let (start, today) = (date(2000, 1, 1), date(2027, 2, 28));
            let day = |days: i32| start.checked_add(days.days()).unwrap();
            let (first, then) = (day(a.min(b)), day(a.max(b)));
            prop_assert!(Stretch::of(first, today) <= Stretch::of(then, today));
        }
    }
}
