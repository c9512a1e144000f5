//! Dates after the job in the reader's words: what they are, why one is not where its
//! checklist puts it, what is unusual, which have no date yet. Why one was put
//! elsewhere is in the log as a sentence; it is known again by how it is made.

use jiff::civil::{Date, Time};

use super::LogWords;
use crate::domain::working::DAYS_TRIED;
use crate::domain::{Due, Standing, WalkId};
use crate::office::dates::{Undated, Unusual};
use crate::office::visits;

impl LogWords<'_> {
    /// What a date is.
    pub(crate) fn title(self, due: &Due, standing: &Standing) -> String {
        let added = standing.issued.get(&due.uid).and_then(|issued| issued.added.as_ref());
        self.date_of(added.and_then(|added| added.callback), &due.title)
    }

    /// The same of a date that may be the visit of a call.
    pub(super) fn date_of(self, call: Option<u32>, title: &str) -> String {
        match call.and_then(|id| Some((id, title.strip_prefix(&visits::title(id, ""))?))) {
            Some((id, water)) => self.fill("log.visit-of", &[("id", &id), ("water", &water)]),
            None => self.date(title),
        }
    }

    /// Why a date is not where its checklist puts it, or stays there all the same.
    pub(crate) fn placed(self, why: &str) -> String {
        self.placed_told(why).unwrap_or_else(|| self.kept_english(why))
    }

    fn placed_told(self, why: &str) -> Option<String> {
        if let Some(rest) = why.strip_prefix("moved from ") {
            let (from, hindered) = rest.split_once(": ")?;
            let (day, clock) = from.split_once(' ')?;
            let (day, clock) = (a_day(day)?, a_clock(clock)?);
            let why = self.hindered_told(hindered)?;
            return Some(
                self.fill("dates.moved-from", &[("day", &day), ("clock", &clock), ("why", &why)]),
            );
        }
        let end = format!(", and nothing is free in the {DAYS_TRIED} days after it");
        let why = self.hindered_told(why.strip_suffix(&end)?)?;
        Some(self.fill("dates.nothing-free", &[("why", &why), ("days", &DAYS_TRIED)]))
    }

    fn hindered_told(self, why: &str) -> Option<String> {
        if let Some(day) = why.strip_suffix(" is not a working day") {
            let (_, day) = day.split_once(' ')?;
            let (week_day, day) = (a_day(day)?.weekday(), a_day(day)?);
            let week_day = super::super::dates::whole_week_day(self.words, week_day);
            return Some(self.fill("dates.no-work", &[("weekday", &week_day), ("day", &day)]));
        }
        if let Some(day) = why.strip_suffix(" is a day off") {
            return Some(self.fill("dates.day-off", &[("day", &a_day(day)?)]));
        }
        let (day, clock) =
            why.strip_suffix(" is taken in the office's calendar")?.split_once(' ')?;
        Some(self.fill("dates.taken", &[("day", &a_day(day)?), ("clock", &a_clock(clock)?)]))
    }

    /// What is unusual about a date that somebody put where it is.
    pub(crate) fn unusual(self, odd: &Unusual) -> String {
        let clock = |time: Time| time.strftime("%H:%M").to_string();
        match odd {
            Unusual::Hindered(why) => {
                self.hindered_told(why).unwrap_or_else(|| self.kept_english(why))
            }
            Unusual::OutsideHours { at, lasts_min, opens, closes } => self.fill(
                "dates.outside-hours",
                &[
                    ("day", &at.date()),
                    ("clock", &clock(at.time())),
                    ("minutes", lasts_min),
                    ("opens", &clock(*opens)),
                    ("closes", &clock(*closes)),
                ],
            ),
            Unusual::NobodyIs { job, role, roles } => {
                let there: Vec<String> = roles.iter().map(|role| self.role(role)).collect();
                let none = self.t("dates.no-roles").to_owned();
                let there = if there.is_empty() { none } else { there.join(", ") };
                let places: [(&str, &dyn ToString); 3] =
                    [("job", job), ("role", &self.role(role)), ("roles", &there)];
                self.fill("dates.nobody-is", &places)
            }
        }
    }

    /// A follow-up that has no date yet, and why.
    pub(crate) fn undated(self, of: &Undated<'_>) -> String {
        let title = self.date(of.title);
        let walk = |walk: &WalkId| {
            if self.is_english() { walk.to_string() } else { self.walk(walk) }
        };
        match of.open {
            Some(open) => self.fill("dates.not-ended", &[("title", &title), ("walk", &walk(open))]),
            None => {
                let list = walk(&WalkId::first(of.checklist));
                self.fill("dates.not-walked", &[("title", &title), ("walk", &list)])
            }
        }
    }
}

/// A day as the log writes it.
fn a_day(text: &str) -> Option<Date> {
    text.parse().ok().filter(|day: &Date| day.to_string() == text)
}

fn a_clock(text: &str) -> Option<String> {
    let clock: Time = text.parse().ok()?;
    Some(clock.strftime("%H:%M").to_string()).filter(|told| told == text)
}
