//! What he reads at a step: what is true there, or by plan something beside it.

use super::super::super::demo::script::Reply;
use super::{Mind, Reading};
use crate::domain::walk::Expect;
use crate::domain::{Answer, Given, Meaning};
use crate::measure::{Quantity, Ratio};
use crate::speech::{length_forms, parse_count, words_for};

impl Mind {
    /// Looks, and reads what is there.
    pub(super) fn reads(&mut self, expect: &Expect) -> Option<Reading> {
        let (mut reply, given) = self.script.right(expect)?;
        // What would be typed with its unit is said as a bare number.
        if let (Meaning::Words(_), Some(count)) = (&reply.meaning, parse_count(&reply.words)) {
            reply.meaning = Meaning::Count(count);
        }
        let answer = self.script.asked().map(|(_, answer)| answer.clone())?;
        let reply = self.in_any_form(reply);
        let right = Reading { reply, given, instead: None };
        if self.plans.off_target {
            return Some(self.beside(&right, &answer, true).unwrap_or(right));
        }
        if self.plans.misspeaks {
            let instead = self.beside(&right, &answer, true).map(|off| off.reply);
            self.plans.misspeaks = instead.is_some();
            return Some(Reading { instead, ..right });
        }
        if self.plans.slips {
            let near = self.beside(&right, &answer, false);
            self.plans.slips = near.is_some();
            return Some(near.unwrap_or(right));
        }
        Some(right)
    }

    /// A length in any of the ways people say it.
    pub(super) fn in_any_form(&mut self, reply: Reply) -> Reply {
        let Meaning::Length(inches) = reply.meaning else { return reply };
        let mut forms = length_forms(inches);
        forms.retain(|form| !form.contains(|c: char| c.is_ascii_digit()));
        let words = self.rng.choice(forms).unwrap_or(reply.words);
        Reply { words, meaning: Meaning::Length(inches) }
    }

    /// Another reading than the right one: off its target, or near it.
    fn beside(&mut self, right: &Reading, answer: &Answer, far: bool) -> Option<Reading> {
        let (meaning, words, given) = match (&right.given, answer) {
            (Given::Measured(q), Answer::Measure { tolerance, .. }) => {
                let sixteenths = Ratio::new(self.rng.i32(2..10).into(), 16).ok()?;
                let by = if far {
                    tolerance.value.plus(sixteenths).ok()?
                } else {
                    Ratio::SIXTEENTH.min(tolerance.value)
                };
                let low = q.value.minus(by).ok().filter(|low| Ratio::ONE < *low);
                let low = low.filter(|_| self.rng.bool());
                let value = low.or_else(|| q.value.plus(by).ok())?;
                let given = Given::Measured(Quantity::new(value, q.dimension));
                (Meaning::Length(value), String::new(), given)
            }
            (Given::Counted(n), Answer::Count { .. }) => {
                let n = if far { n.checked_sub(1).filter(|n| 0 < *n)? } else { n + 1 };
                (Meaning::Count(n), words_for(n), Given::Counted(n))
            }
            (Given::Chosen(_), Answer::Choice { options, wanted }) if far => {
                let others = options.iter().enumerate().filter(|(_, one)| !wanted.contains(one));
                let (place, option) = self.rng.choice(others.collect::<Vec<_>>())?;
                (Meaning::Choice(place), option.clone(), Given::Chosen(option.clone()))
            }
            _ => return None,
        };
        let reply = self.in_any_form(Reply { words, meaning });
        Some(Reading { reply, given, instead: None })
    }
}
