//! Why something was refused, in the reader's words. The commands and the API say it
//! as `office::Why` does, with the commands that help; a page names none.

use super::words::Words;
use crate::domain::schedule::CannotChange;
use crate::office::{
    LEAST_PASSPHRASE, MOST_CALLED, MOST_NAME, MOST_PASSPHRASE, Needed, PeopleError, Why,
};

impl Words {
    /// People, one after the other, or that there is nobody.
    pub(super) fn people(self, names: &[String]) -> String {
        if names.is_empty() { self.t("day.nobody").to_owned() } else { names.join(", ") }
    }

    /// Why somebody cannot join or sign in.
    pub(super) fn not_joined(self, why: &PeopleError) -> String {
        match why {
            PeopleError::NoCode => self.t("why.no-code").to_owned(),
            PeopleError::NoName => self.filled("why.no-name", &[("most", &MOST_NAME)]),
            PeopleError::NoKeyName => self.filled("why.no-key-name", &[("most", &MOST_CALLED)]),
            PeopleError::Nobody(name) => self.filled("why.nobody-called", &[("name", name)]),
            PeopleError::NameTaken(name) => self.filled("why.name-taken", &[("name", name)]),
            PeopleError::Passphrase => self.filled(
                "why.passphrase",
                &[("least", &LEAST_PASSPHRASE), ("most", &MOST_PASSPHRASE)],
            ),
            // Of this machine, not of what somebody wants.
            PeopleError::Store(_) | PeopleError::NoSecret(_) => self.kept_english(&why.to_string()),
        }
    }

    /// The sentence; what of it is in English all the same is marked.
    pub(super) fn why(self, why: &Why) -> String {
        match why {
            Why::NotSaid(needed) => self
                .t(match needed {
                    Needed::MayStay => "why.say-may-stay",
                    Needed::Water => "why.say-water",
                    Needed::Caller => "why.say-caller",
                    Needed::Found => "why.say-found",
                    Needed::Unfinished => "why.say-unfinished",
                    Needed::DateWhy => "why.say-date-why",
                    Needed::DateTitle => "why.say-date-title",
                })
                .to_owned(),
            Why::NoHold { step, job, .. } => {
                self.filled("why.no-hold", &[("step", step), ("job", job)])
            }
            Why::OthersRole { step, role, not } => self.filled(
                "why.others-role",
                &[("step", step), ("role", &self.role(role)), ("not", &self.role(not))],
            ),
            Why::NotInRole { by, role, job, names } => self.filled(
                "why.not-in-role",
                &[
                    ("by", by),
                    ("role", &self.role(role)),
                    ("job", job),
                    ("names", &self.people(names)),
                ],
            ),
            Why::NoDeviation { entry, job, .. } => {
                self.filled("why.no-deviation", &[("entry", entry), ("job", job)])
            }
            Why::AcceptedBefore { entry, by, seq, reason } => self.filled(
                "why.accepted-before",
                &[("entry", entry), ("by", by), ("seq", seq), ("reason", reason)],
            ),
            Why::MayNotAccept { by, roles, job, names } => {
                let roles: Vec<String> = roles.iter().map(|role| self.role(role)).collect();
                let (roles, names) = (roles.join(self.t("why.or-roles")), self.people(names));
                self.filled(
                    "why.may-not-accept",
                    &[("by", by), ("roles", &roles), ("job", job), ("names", &names)],
                )
            }
            Why::OfNoStep(entry) => self.filled("why.of-no-step", &[("entry", entry)]),
            Why::NoWitness { step, job } => {
                self.filled("why.no-witness", &[("step", step), ("job", job)])
            }
            Why::LookedBefore { by, seq } => {
                self.filled("why.looked-before", &[("by", by), ("seq", seq)])
            }
            Why::NoRow { job, table, row, known } => {
                let table = match table.as_str() {
                    "plane" => self.t("desk.plane").to_lowercase(),
                    "run" => self.t("desk.run").to_lowercase(),
                    table => self.kept_english(table),
                };
                self.filled(
                    "why.no-row",
                    &[("job", job), ("table", &table), ("row", row), ("known", known)],
                )
            }
            Why::ToCome(day) => self.filled("why.to-come", &[("day", day)]),
            Why::NoCall { job, id, known } if known.is_empty() => {
                self.filled("why.no-call-yet", &[("job", job), ("id", id)])
            }
            Why::NoCall { job, id, known } => {
                let known: Vec<String> = known.iter().map(u32::to_string).collect();
                let known = known.join(", ");
                self.filled("why.no-call", &[("job", job), ("id", id), ("known", &known)])
            }
            Why::CallClosed { id, on, by } => {
                self.filled("why.call-closed", &[("id", id), ("on", on), ("by", by)])
            }
            Why::VisitOpen { walk, job, id } => {
                self.filled("why.visit-open", &[("walk", walk), ("job", job), ("id", id)])
            }
            Why::NoVisitOpen(id) => self.filled("why.no-visit-open", &[("id", id)]),
            Why::NoSuchStep { job, step } => {
                self.filled("why.no-such-step", &[("job", job), ("step", step)])
            }
            Why::SeveralSteps { step, all } => self.filled(
                "why.several-steps",
                &[("step", step), ("all", &all.join(self.t("log.or")))],
            ),
            Why::Visited { id, walk } => self.filled("why.visited", &[("id", id), ("walk", walk)]),
            Why::WalkOpen { walk, of: None } => self.filled("why.walk-open", &[("walk", walk)]),
            Why::WalkOpen { walk, of: Some(id) } => {
                self.filled("why.walk-open-of", &[("walk", walk), ("id", id)])
            }
            Why::NotAdopted { checklist, .. } => {
                self.filled("why.not-adopted", &[("checklist", checklist)])
            }
            Why::NoFigure { checklist, figure, job } => self.filled(
                "why.no-figure",
                &[("checklist", checklist), ("figure", figure), ("job", job)],
            ),
            Why::CannotBegin { checklist, job, missing } => self.filled(
                "why.cannot-begin",
                &[("checklist", checklist), ("job", job), ("missing", &self.kept_english(missing))],
            ),
            Why::NotBegun { walk, job } => {
                self.filled("why.not-begun", &[("walk", walk), ("job", job)])
            }
            Why::NotOfWalk { walk, job, step } => {
                self.filled("why.not-of-walk", &[("walk", walk), ("job", job), ("step", step)])
            }
            Why::NoWalk => self.t("why.no-walk").to_owned(),
            Why::WaitsNoMore => self.t("why.waits-no-more").to_owned(),
            Why::FileGone => self.t("why.file-gone").to_owned(),
            Why::FileChanged => self.t("why.file-changed").to_owned(),
            Why::NoDate { job, date } => {
                self.filled("why.no-date", &[("job", job), ("date", date)])
            }
            Why::NoDay(text) => self.filled("desk.no-day", &[("text", text)]),
            Why::OutsideCalendar => self.t("why.outside-calendar").to_owned(),
            // The title of a date is the log's.
            Why::Date(CannotChange::Cancelled(_)) => self.t("why.date-cancelled").to_owned(),
            Why::Date(CannotChange::Fixed(_)) => self.t("why.date-fixed").to_owned(),
            Why::Date(CannotChange::Same(_)) => self.t("why.date-same").to_owned(),
            Why::Other(english) => self.kept_english(english),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::foreign::{foreign, plain};
    use super::*;
    use crate::domain::Language;

    /// One of each; a new one is missed by the count.
    fn all() -> Vec<Why> {
        let text = str::to_owned;
        let names = |names: &[&str]| names.iter().map(|name| text(name)).collect::<Vec<_>>();
        let walk = || "leak-visit#2".parse().unwrap();
        let (job, step, by) = (|| text("EX-1"), || text("cut#1"), || text("Pat {job}"));
        let mut all: Vec<Why> = Needed::ALL.map(Why::NotSaid).to_vec();
        all.extend([
            Why::NoHold { step: step(), job: job(), waiting: names(&["look"]) },
            Why::OthersRole { step: step(), role: text("foreman"), not: text("desk") },
            Why::NotInRole { by: by(), role: text("foreman"), job: job(), names: names(&[]) },
            Why::NoDeviation { entry: 3, job: job(), open: [7].into() },
            Why::AcceptedBefore { entry: 3, by: by(), seq: 9, reason: text("sound") },
            Why::MayNotAccept {
                by: by(),
                roles: names(&["foreman", "office"]),
                job: job(),
                names: names(&["Ann"]),
            },
            Why::OfNoStep(3),
            Why::NoWitness { step: step(), job: job() },
            Why::LookedBefore { by: by(), seq: 9 },
            Why::NoRow { job: job(), table: text("plane"), row: 7, known: 2 },
            Why::ToCome("2026-12-03".parse().unwrap()),
            Why::NoCall { job: job(), id: 2, known: Vec::new() },
            Why::NoCall { job: job(), id: 2, known: vec![1, 3] },
            Why::CallClosed { id: 2, on: "2026-12-03".parse().unwrap(), by: by() },
            Why::VisitOpen { walk: walk(), job: job(), id: 2 },
            Why::NoVisitOpen(2),
            Why::NoSuchStep { job: job(), step: step() },
            Why::SeveralSteps { step: step(), all: names(&["a:cut", "b:cut"]) },
            Why::Visited { id: 2, walk: walk() },
            Why::WalkOpen { walk: walk(), of: None },
            Why::WalkOpen { walk: walk(), of: Some(2) },
            Why::NotAdopted { checklist: text("leak-visit"), told: text("chalkhand adopt") },
            Why::NoFigure { checklist: text("a"), figure: text("piece"), job: job() },
            Why::CannotBegin { checklist: text("a"), job: job(), missing: text("pitch") },
            Why::NotBegun { walk: walk(), job: job() },
            Why::NotOfWalk { walk: walk(), job: job(), step: step() },
            Why::NoWalk,
            Why::WaitsNoMore,
            Why::FileGone,
            Why::FileChanged,
            Why::NoDate { job: job(), date: text("9") },
            Why::NoDay(text("May")),
            Why::OutsideCalendar,
            Why::Date(CannotChange::Cancelled(text("Look"))),
            Why::Date(CannotChange::Fixed(text("Look"))),
            Why::Date(CannotChange::Same(text("Look"))),
        ]);
        all
    }

    #[test]
    fn each_refusal_is_told_in_each_language_and_names_no_command() {
        let [english, spanish] = Language::ALL.map(Words::of);
        assert_eq!(all().len(), 43);
        for why in all() {
            let (ours, theirs) = (english.why(&why), spanish.why(&why));
            assert_ne!(ours, theirs, "{why:?}");
            for told in [&ours, &theirs] {
                assert!(!told.contains("chalkhand") && !told.contains("--"), "{told}");
                assert!(!told.contains('{') || told.contains("Pat {job}"), "{told}");
            }
            // Only the names of facts are in English there.
            let is_whole = !matches!(why, Why::CannotBegin { .. });
            assert_eq!(plain(&theirs) == theirs, is_whole, "{theirs}");
        }
        for why in [
            PeopleError::NoCode,
            PeopleError::NoName,
            PeopleError::NoKeyName,
            PeopleError::Nobody("Pat {most}".to_owned()),
            PeopleError::NameTaken("Pat".to_owned()),
            PeopleError::Passphrase,
        ] {
            assert_eq!(english.not_joined(&why), why.to_string());
            assert_ne!(spanish.not_joined(&why), why.to_string());
        }
        let other = Why::Other("the file is none".to_owned());
        assert_eq!(english.why(&other), "the file is none");
        assert_eq!(spanish.why(&other), foreign("the file is none"));
    }
}
