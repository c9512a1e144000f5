//! What the desk is told first, in the reader's words: where a step stands and why,
//! how it was settled, what was promised. The order is `domain::desk`'s; in English
//! it is said as `export::desk` says it.

use super::LogWords;
use crate::domain::desk::{DeskStep, Place, Rank, WhyPlace, WhyStep};
use crate::domain::{Call, DeviationKind, Due, Given, Outcome, RecordStep, Standing};
use crate::export::words::{bare, day_and_clock};

impl LogWords<'_> {
    /// Where a step stands in the order.
    pub(crate) fn rank(self, rank: Rank) -> &'static str {
        self.t(match rank {
            Rank::AmissHere => "desk.amiss-here",
            Rank::AmissWhole => "desk.amiss-whole",
            Rank::Here => "desk.rank-here",
            Rank::AmissElsewhere => "desk.amiss-elsewhere",
            Rank::Whole => "desk.whole",
            Rank::Elsewhere => "desk.elsewhere",
        })
    }

    /// Why a step stands there.
    pub(crate) fn why(self, step: &DeskStep) -> String {
        if step.because.is_empty() {
            return self.t("desk.as-asked").to_owned();
        }
        step.because.iter().map(|why| self.reason(why)).collect::<Vec<_>>().join("; ")
    }

    pub(super) fn reason(self, why: &WhyStep) -> String {
        let key = match why {
            WhyStep::Deviates { kind, accepted_by } => {
                let what = self.t(match kind {
                    DeviationKind::OffTarget => "desk.why-off",
                    DeviationKind::Skipped => "desk.why-left-out",
                    DeviationKind::TooFast => "desk.why-fast",
                    DeviationKind::PhotosMissing => "desk.why-photos",
                });
                return match accepted_by {
                    None => self.fill("desk.why-open", &[("what", &what)]),
                    Some(by) => self.fill("desk.why-accepted", &[("what", &what), ("by", by)]),
                };
            }
            WhyStep::AtPlace(row) => {
                return self.fill("desk.why-place", &[("row", &self.row(row))]);
            }
            WhyStep::Elsewhere(row) => {
                return self.fill("desk.why-elsewhere", &[("row", &self.row(row))]);
            }
            WhyStep::AskedOtherwise => "desk.why-asked",
            WhyStep::NotLogged => "desk.not-logged",
            WhyStep::Corrected => "desk.why-corrected",
            WhyStep::WholeRoof => "desk.why-whole",
        };
        self.t(key).to_owned()
    }

    /// Why a row of the plan is a place of the call.
    pub(crate) fn because(self, place: &Place) -> String {
        let at = self.row(&place.at);
        match &place.because {
            WhyPlace::Named => self.fill("desk.place-named", &[("at", &at)]),
            WhyPlace::Said => {
                let said = self.kept_english(&place.at.to_string());
                self.fill("desk.place-said", &[("at", &said)])
            }
            WhyPlace::SaidAs { words, column } => {
                let name = format!("{}.{column}", place.at.table);
                // In English as the record's words have it: by the column's own name.
                let question = self.question(&name).filter(|_| !self.is_english());
                let column = question.unwrap_or_else(|| column.replace('_', " "));
                let words = self.kept_english(words);
                let places: [(&str, &dyn ToString); 3] =
                    [("words", &words), ("at", &at), ("column", &column)];
                self.fill("desk.place-said-as", &places)
            }
            WhyPlace::Under(on) => {
                self.fill("desk.place-under", &[("on", &self.row(on)), ("at", &at)])
            }
            WhyPlace::On(base) => {
                self.fill("desk.place-on", &[("at", &at), ("base", &self.row(base))])
            }
        }
    }

    /// What stands of a step, in one line.
    pub(crate) fn stands(self, step: &RecordStep) -> String {
        let Some(settled) = &step.settled else { return self.t("desk.not-logged").to_owned() };
        self.fill(
            "desk.stands",
            &[
                ("outcome", &self.outcome(&settled.outcome)),
                ("when", &day_and_clock(settled.at)),
                ("by", &settled.by),
                ("entry", &settled.seq),
            ],
        )
    }

    fn outcome(self, outcome: &Outcome) -> String {
        match outcome {
            Outcome::Answered { given, target, reason } => {
                self.answered(given, target.as_ref(), reason.as_deref())
            }
            Outcome::Skipped { reason } => self.fill("desk.left-out", &[("reason", reason)]),
        }
    }

    /// What a step asked for, in a word or two.
    pub(crate) fn wanted(self, outcome: &Outcome) -> String {
        let key = match outcome {
            Outcome::Answered { target: Some(asked), .. } => return self.target(asked),
            Outcome::Answered { given: Given::Done, .. } => "desk.to-be-done",
            Outcome::Answered { .. } => "desk.an-answer",
            Outcome::Skipped { .. } => "desk.to-be-settled",
        };
        self.t(key).to_owned()
    }

    /// Where water came in: the caller's words and what was named.
    pub(crate) fn water(self, call: &Call) -> String {
        let mut named: Vec<String> = call.rows.iter().map(|row| self.row(row)).collect();
        named.extend(call.edge.clone());
        let quoted = self.fill("log.quoted", &[("text", &call.water)]);
        if named.is_empty() { quoted } else { format!("{quoted} ({})", named.join(", ")) }
    }

    /// A date after the job in one line.
    pub(crate) fn promised(self, due: &Due, standing: &Standing) -> String {
        let mut more = String::new();
        if let Some(id) = &due.checklist {
            more.push_str(&self.fill("desk.due-walk", &[("checklist", id)]));
        }
        if let Some(who) = &due.who {
            more.push_str(&self.fill("desk.due-for", &[("role", &self.role(who))]));
        }
        if let Some(placed) = &due.placed {
            more.push_str("; ");
            more.push_str(&self.placed(&placed.why));
        }
        for (key, why) in
            [("desk.due-moved", &due.moved_because), ("desk.due-cancelled", &due.cancelled_because)]
        {
            if let Some(why) = why {
                more.push_str(&self.fill(key, &[("why", &bare(why))]));
            }
        }
        format!("{}: {}{more}", day_and_clock(due.start), self.title(due, standing))
    }
}
