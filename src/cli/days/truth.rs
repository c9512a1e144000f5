//! What the invented installer meant, beside what the log says. An entry that
//! nobody meant is wrong, whatever the recogniser's scores were.

use serde::{Deserialize, Serialize};

use crate::domain::{Entry, Given, How, StepRef, What};

/// Something the installer wanted in the log when he said the last word of it.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Meant {
    Answer { step: StepRef, given: Given, reason: Option<String> },
    Skip { step: StepRef, reason: String },
    Note { text: String },
    Photo { step: StepRef },
}

/// One "Logged": what was meant by it, and what was said and heard before it.
#[derive(Clone, Debug)]
pub(super) struct Logged {
    /// None where he had confirmed nothing.
    pub(super) meant: Option<Meant>,
    /// He had said yes without listening.
    pub(super) careless: bool,
    pub(super) trail: Vec<String>,
}

/// An entry that is not what was meant.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(in crate::cli) struct Wrong {
    pub(super) entry: String,
    pub(super) meant: String,
    pub(super) careless: bool,
    pub(super) trail: Vec<String>,
}

/// How many entries a person caused, and which of them nobody meant. The walk
/// says "Logged" once for each.
pub(super) fn compare(entries: &[Entry], ledger: &[Logged]) -> (usize, Vec<Wrong>) {
    let caused: Vec<&Entry> = entries.iter().filter(|entry| is_compared(entry)).collect();
    let many = caused.len().max(ledger.len());
    let wrong = (0..many).filter_map(|at| {
        let (entry, logged) = (caused.get(at), ledger.get(at));
        let meant = logged.and_then(|logged| logged.meant.as_ref());
        let fits = entry.zip(meant).is_some_and(|(entry, meant)| meant.fits(&entry.draft.what));
        (!fits).then(|| Wrong {
            entry: entry.map_or_else(|| "none, and \"Logged\" was said".to_owned(), |e| told(e)),
            meant: meant.map_or_else(|| "nothing".to_owned(), |meant| format!("{meant:?}")),
            careless: logged.is_some_and(|logged| logged.careless),
            trail: logged.map(|logged| logged.trail.clone()).unwrap_or_default(),
        })
    });
    (caused.len(), wrong.collect())
}

fn is_compared(entry: &Entry) -> bool {
    let said = matches!(entry.draft.how, How::Voice(_) | How::Keys | How::Touch);
    let what = &entry.draft.what;
    said && matches!(
        what,
        What::Answered { .. } | What::Skipped { .. } | What::Noted { .. } | What::PhotoTaken { .. }
    )
}

fn told(entry: &Entry) -> String {
    let what = match &entry.draft.what {
        What::Answered { step, given, reason, .. } => {
            format!("{step} answered {given:?}, reason {reason:?}")
        }
        What::Skipped { step, reason } => format!("{step} skipped: {reason}"),
        What::Noted { text, .. } => format!("note: {text}"),
        What::PhotoTaken { step } => format!("photo of {step}"),
        other => other.word().to_owned(),
    };
    let how = match &entry.draft.how {
        How::Voice(heard) => format!(
            "heard \"{}\", b {} a {} m {} thousandths, sound {}",
            heard.words, heard.b_milli, heard.a_milli, heard.m_milli, heard.sound
        ),
        _ => "by touch".to_owned(),
    };
    format!("{} {what} ({how})", entry.seq)
}

impl Meant {
    fn fits(&self, what: &What) -> bool {
        match (self, what) {
            (
                Meant::Answer { step, given, reason },
                What::Answered { step: at, given: logged, reason: why, .. },
            ) => (step, given, reason) == (at, logged, why),
            (Meant::Skip { step, reason }, What::Skipped { step: at, reason: why }) => {
                (step, reason) == (at, why)
            }
            (Meant::Note { text }, What::Noted { text: logged, .. }) => text == logged,
            (Meant::Photo { step }, What::PhotoTaken { step: at }) => step == at,
            _ => false,
        }
    }

    /// Another thing than was meant, to see that it is found.
    pub(super) fn spoilt(self) -> Self {
        match self {
            Meant::Answer { step, .. } => Meant::Photo { step },
            Meant::Photo { step } | Meant::Skip { step, .. } => {
                Meant::Answer { step, given: Given::Done, reason: None }
            }
            Meant::Note { text } => Meant::Note { text: format!("not {text}") },
        }
    }
}

#[cfg(test)]
mod tests {
    use jiff::Timestamp;
    use jiff::tz::TimeZone;

    use super::*;
    use crate::domain::{At, Draft, Hash, Heard, Key, WalkId};
    use crate::measure::{Quantity, Ratio};

    fn step(id: &str) -> StepRef {
        StepRef { id: id.to_owned(), row: Some(1) }
    }

    fn inches(n: i64) -> Given {
        Given::Measured(Quantity::inches(Ratio::int(n)))
    }

    fn entry(seq: u64, how: How, what: What) -> Entry {
        let draft = Draft {
            job: "EX-0001".to_owned(),
            walk: Some(WalkId::first("deck-intake")),
            at: At::new(Timestamp::UNIX_EPOCH, &TimeZone::UTC),
            by: "Installer Example".to_owned(),
            how,
            confirmed: Vec::new(),
            what,
            corrects: None,
            key: Key(seq.to_string()),
        };
        Entry { seq, draft, previous: Hash::START, hash: Hash::START }
    }

    fn answered(given: Given, reason: Option<&str>) -> Entry {
        let (asked, target) = (String::new(), None);
        let (step, reason) = (step("blade"), reason.map(str::to_owned));
        let (b_milli, a_milli, m_milli) = (-100, -50, 3500);
        let (words, sound) = ("yes".to_owned(), Hash::START);
        let how = How::Voice(Heard { words, b_milli, a_milli, m_milli, sound });
        entry(7, how, What::Answered { step, asked, given, target, reason })
    }

    fn logged(meant: Option<Meant>) -> Logged {
        Logged { meant, careless: false, trail: vec!["he said it".to_owned()] }
    }

    fn answer(given: Given) -> Meant {
        Meant::Answer { step: step("blade"), given, reason: None }
    }

    #[test]
    fn what_was_meant_is_not_wrong() {
        let caution = What::Cautioned { step: step("blade"), said: Vec::new(), spoken: None };
        let entries = [entry(6, How::Program, caution), answered(inches(5), None)];
        let (compared, wrong) = compare(&entries, &[logged(Some(answer(inches(5))))]);
        assert_eq!((compared, wrong.len()), (1, 0));
    }

    /// Each way in which an entry can be wrong.
    #[test]
    fn what_nobody_meant_is_wrong() {
        let right = logged(Some(answer(inches(5))));
        let photo = || entry(8, How::Keys, What::PhotoTaken { step: step("blade") });
        let other_step = Meant::Answer { step: step("cut"), given: inches(5), reason: None };
        for (entries, ledger) in [
            (vec![answered(inches(6), None)], vec![right.clone()]),
            (vec![answered(inches(5), Some("wind"))], vec![right.clone()]),
            (vec![answered(inches(5), None)], vec![logged(Some(other_step))]),
            (vec![answered(inches(5), None)], vec![logged(None)]),
            (vec![answered(inches(5), None)], vec![]),
            (vec![answered(inches(5), None), photo()], vec![right.clone()]),
            (vec![], vec![right.clone()]),
            (vec![photo()], vec![right.clone()]),
            (vec![answered(inches(5), None)], vec![logged(Some(answer(inches(5)).spoilt()))]),
        ] {
            let (_, wrong) = compare(&entries, &ledger);
            assert_eq!(wrong.len(), 1, "{entries:?} {ledger:?}");
        }
    }

    #[test]
    fn a_wrong_entry_is_told_in_full() {
        let (_, wrong) = compare(&[answered(inches(6), None)], &[logged(None)]);
        let wrong = wrong.first().unwrap();
        for part in ["7 blade#1 answered", "heard \"yes\"", "b -100 a -50 m 3500", "sound "] {
            assert!(wrong.entry.contains(part), "{}", wrong.entry);
        }
        assert_eq!(wrong.meant, "nothing");
        assert_eq!(wrong.trail, ["he said it"]);
    }
}
