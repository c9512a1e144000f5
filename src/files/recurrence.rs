//! Rules of repetition in a calendar file: those that offices use. A part that
//! is not known here makes the whole rule not understood.

use jiff::civil::Weekday;

use crate::domain::busy::{Ends, Every, Moment, Rule};

use super::busy::read_moment;
use super::node::clip;

/// Greatest INTERVAL and COUNT.
const MOST: u32 = 10_000;

/// Reads a rule for an event that first starts then.
pub(super) fn read_rule(text: &str, start: &Moment) -> Result<Rule, String> {
    let mut parts = Parts::default();
    for part in text.trim().split(';').filter(|part| !part.is_empty()) {
        let (name, value) = part.split_once('=').unwrap_or((part, ""));
        let (name, value) = (name.trim().to_ascii_uppercase(), value.trim().to_ascii_uppercase());
        let given = match name.as_str() {
            "FREQ" => &mut parts.freq,
            "INTERVAL" => &mut parts.interval,
            "COUNT" => &mut parts.count,
            "UNTIL" => &mut parts.until,
            "BYDAY" => &mut parts.by_day,
            "BYMONTHDAY" => &mut parts.by_month_day,
            "BYMONTH" => &mut parts.by_month,
            "WKST" => &mut parts.week_start,
            _ => return Err(format!("the part {} of its RRULE is not understood", clip(&name))),
        };
        if given.replace(value).is_some() {
            return Err(format!("its RRULE has {} twice", clip(&name)));
        }
    }
    parts.rule(start)
}

#[derive(Default)]
struct Parts {
    freq: Option<String>,
    interval: Option<String>,
    count: Option<String>,
    until: Option<String>,
    by_day: Option<String>,
    by_month_day: Option<String>,
    by_month: Option<String>,
    week_start: Option<String>,
}

impl Parts {
    fn rule(self, start: &Moment) -> Result<Rule, String> {
        let first = start.local();
        let begins = self.week_start.as_deref().map_or(Ok(Weekday::Monday), weekday)?;
        let freq = self.freq.as_deref().unwrap_or_default();
        let every = match freq {
            "DAILY" => Every::Day,
            "WEEKLY" => {
                let mut days = [false; 7];
                let mut on = |day: Weekday| {
                    let place = usize::try_from(day.to_monday_zero_offset()).ok();
                    if let Some(place) = place.and_then(|place| days.get_mut(place)) {
                        *place = true;
                    }
                };
                match self.by_day.as_deref() {
                    None => on(first.weekday()),
                    Some(list) => {
                        let list: Result<Vec<_>, _> = list.split(',').map(weekday).collect();
                        let list = list?;
                        // RFC 5545 section 3.8.5.3 leaves open what that means.
                        if !list.contains(&first.weekday()) {
                            return Err("its DTSTART is on none of its BYDAY".to_owned());
                        }
                        list.into_iter().for_each(&mut on);
                    }
                }
                Every::Week(days, begins)
            }
            "MONTHLY" => Every::Month,
            "YEARLY" => Every::Year,
            other => return Err(format!("FREQ={} is not understood", clip(other))),
        };
        if self.by_day.is_some() && freq != "WEEKLY" {
            return Err(format!("BYDAY with FREQ={freq} is not understood"));
        }
        // These say only what the start says already, or they are not understood.
        let month_day_fits = freq == "MONTHLY" || (freq == "YEARLY" && self.by_month.is_some());
        let same = |part: Option<&str>, fits: bool, own: i8, name: &str| match part {
            None => Ok(()),
            Some(value) if fits && value.parse() == Ok(own) => Ok(()),
            Some(value) => Err(format!("{name}={} is not understood", clip(value))),
        };
        same(self.by_month_day.as_deref(), month_day_fits, first.day(), "BYMONTHDAY")?;
        same(self.by_month.as_deref(), freq == "YEARLY", first.month(), "BYMONTH")?;
        let interval = self.interval.as_deref().map_or(Ok(1), |n| number("INTERVAL", n))?;
        let ends = match (self.count.as_deref(), self.until.as_deref()) {
            (None, None) => Ends::Never,
            (Some(count), None) => Ends::Count(number("COUNT", count)?),
            (None, Some(until)) => Ends::Until(read_until(until, start)?),
            (Some(_), Some(_)) => return Err("its RRULE has COUNT and UNTIL".to_owned()),
        };
        Ok(Rule { every, interval, ends })
    }
}

/// RFC 5545 section 3.3.10: a day with a day, a local time with a local time,
/// UTC with a time in a zone.
fn read_until(text: &str, start: &Moment) -> Result<Moment, String> {
    let until = read_moment(text, None)?;
    let fits = matches!(
        (start, &until),
        (Moment::Day(_), Moment::Day(_))
            | (Moment::Local(_), Moment::Local(_))
            | (Moment::Zoned(..), Moment::Zoned(..))
    );
    match fits {
        true => Ok(until),
        false => Err(format!("UNTIL={} does not fit its DTSTART", clip(text))),
    }
}

fn number(name: &str, text: &str) -> Result<u32, String> {
    let number = text.parse().ok().filter(|n| (1..=MOST).contains(n));
    number.ok_or_else(|| format!("{name}={} is not from 1 to {MOST}", clip(text)))
}

fn weekday(text: &str) -> Result<Weekday, String> {
    Ok(match text.trim() {
        "MO" => Weekday::Monday,
        "TU" => Weekday::Tuesday,
        "WE" => Weekday::Wednesday,
        "TH" => Weekday::Thursday,
        "FR" => Weekday::Friday,
        "SA" => Weekday::Saturday,
        "SU" => Weekday::Sunday,
        other => return Err(format!("the day {} is not understood", clip(other))),
    })
}
