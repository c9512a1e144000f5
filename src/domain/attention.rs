//! What somebody has to look at first.

use std::collections::BTreeMap;

use crate::measure::Value;

use super::{
    At, Checklist, Entry, Known, Outcome, Piece, Pin, PointKind, Standing, StepRef, Units, Version,
    WalkId, What,
};

/// One thing that needs a person's attention.
#[derive(Clone, Debug, PartialEq)]
pub struct Attention {
    /// The walk; the first one where it is about a checklist.
    pub walk: WalkId,
    /// The step, where it is about one.
    pub step: Option<StepRef>,
    /// The entry that shows it, where there is one.
    pub seq: Option<u64>,
    /// What it is.
    pub about: About,
}

/// Kinds of things that need attention, the most urgent first.
#[derive(Clone, Debug, PartialEq)]
pub enum About {
    /// A hold point waits for this role.
    HoldWaiting {
        /// Who releases it.
        role: String,
        /// Since when.
        since: At,
    },
    /// A step was logged off its target, and nobody has accepted it yet.
    OffTarget {
        /// The reason given; none where the target moved afterwards.
        reason: Option<String>,
    },
    /// It would be asked in other words now: a fact was changed afterwards.
    AskedOtherwise {
        /// As it was asked.
        asked: String,
        /// As it would be asked now.
        now: String,
    },
    /// A step was left out.
    Skipped {
        /// The reason given.
        reason: String,
    },
    /// Fewer photos than the step asks for.
    PhotosMissing {
        /// How many it asks for.
        asked: u32,
        /// How many somebody says were taken, or are kept.
        taken: u32,
    },
    /// Confirmed faster than it can believably be done.
    TooFast {
        /// Seconds since the step could be begun.
        took_s: i64,
        /// Least believable seconds.
        least_s: u32,
    },
    /// The clock went back between two entries.
    ClockJump {
        /// By how many seconds.
        back_s: i64,
    },
    /// A later checklist was begun and this one never was.
    NotBegun,
    /// A walk was begun and not ended.
    Unfinished {
        /// Steps not settled.
        open: usize,
        /// Whether a later walk of the checklist was begun.
        overtaken: bool,
    },
    /// A newer version was adopted than the one pinned.
    NewerAdopted {
        /// The pinned version.
        pinned: Version,
        /// The newest adopted one.
        newest: Version,
    },
}

/// What needs attention in one walk of a job, by urgency and the step's place in
/// the plan.
#[must_use]
pub fn of_walk(
    id: &WalkId,
    known: Known<'_>,
    units: Units,
    plan: &[StepRef],
    standing: &Standing,
    entries: &[Entry],
) -> Vec<Attention> {
    let checklist = known.checklist;
    let Some(walk) = standing.walks.get(id) else { return Vec::new() };
    let mut all = Vec::new();
    let mut add = |step: Option<&StepRef>, seq, about| {
        let (walk, step) = (id.clone(), step.cloned());
        all.push(Attention { walk, step, seq, about });
    };
    for (at, stood) in &walk.steps {
        let step = checklist.step(&at.id);
        if let Some(point) = &stood.point
            && point.kind == PointKind::Hold
            && point.released.is_none()
        {
            let (role, since) = (point.role.clone(), point.reached);
            add(Some(at), None, About::HoldWaiting { role, since });
        }
        let Some(settled) = &stood.settled else { continue };
        match &settled.outcome {
            Outcome::Answered { reason, .. } if settled.outcome.off_target() => {
                add(Some(at), Some(settled.seq), About::OffTarget { reason: reason.clone() });
            }
            Outcome::Skipped { reason } => {
                add(Some(at), Some(settled.seq), About::Skipped { reason: reason.clone() });
            }
            Outcome::Answered { .. } => {}
        }
        let now = step.and_then(|step| known.fill(&step.say, at.row, units).ok());
        if let (Some(asked), Some(now), Some(step)) = (&settled.asked, now, step)
            && *asked != now
            && is_otherwise(asked, &step.say, |name| match known.value(name, at.row)? {
                Value::Quantity(_) => known.show(name, at.row, units),
                _ => None,
            })
        {
            let asked = asked.clone();
            add(Some(at), Some(settled.seq), About::AskedOtherwise { asked, now });
        }
        let asked = step.map_or(0, |step| step.photos);
        if stood.photos_taken() < asked && !matches!(settled.outcome, Outcome::Skipped { .. }) {
            let taken = stood.photos_taken();
            add(Some(at), Some(settled.seq), About::PhotosMissing { asked, taken });
        }
    }
    // That sound is listened to says nothing about the work.
    let listens = |what: &What| matches!(what, What::EarOpened { .. } | What::EarClosed);
    let own = entries.iter().filter(|e| e.draft.walk.as_ref() == Some(id));
    let own = own.filter(|entry| !listens(&entry.draft.what));
    // Since when the step being answered was worked on.
    let mut since: Option<At> = None;
    let mut before: Option<At> = None;
    for entry in own {
        let (at, what) = (entry.draft.at, &entry.draft.what);
        if let Some(before) = before
            && at.ms() < before.ms()
        {
            let back_s = (before.ms() - at.ms()).div_euclid(1000);
            add(what.step(), Some(entry.seq), About::ClockJump { back_s });
            since = None;
        }
        before = Some(at);
        match what {
            // Beside the work, not before it.
            What::PhotoTaken { .. }
            | What::PhotoKept { .. }
            | What::Noted { .. }
            | What::Accepted { .. } => continue,
            What::Answered { step, .. } => {
                let least_s = checklist.step(&step.id).and_then(|step| step.least_s);
                let took_s = since.map(|since| (at.ms() - since.ms()).div_euclid(1000));
                if let (Some(least_s), Some(took_s)) = (least_s, took_s)
                    && took_s < least_s.into()
                {
                    add(Some(step), Some(entry.seq), About::TooFast { took_s, least_s });
                }
            }
            _ => {}
        }
        since = Some(at);
    }
    if walk.begun.is_some() && walk.ended.is_none() {
        let settled = |at: &&StepRef| walk.steps.get(*at).is_none_or(|s| s.settled.is_none());
        let open = plan.iter().filter(settled).count();
        let overtaken = standing.walks.contains_key(&id.next());
        add(None, None, About::Unfinished { open, overtaken });
    }
    // By the step's place; what the plan does not ask comes last.
    let places: BTreeMap<&StepRef, usize> = plan.iter().zip(0..).collect();
    let place = |step: &StepRef| places.get(step).copied().unwrap_or(plan.len());
    all.sort_by_key(|attention| {
        (attention.about.urgency(), attention.step.as_ref().map_or(plan.len(), place))
    });
    all
}

/// A checklist that was never begun, though a later one was.
#[must_use]
pub fn not_begun(checklist: &Checklist) -> Attention {
    let walk = WalkId::first(&checklist.id);
    Attention { walk, step: None, seq: None, about: About::NotBegun }
}

/// Whether a newer version than the pinned one was adopted.
#[must_use]
pub fn newer(pin: &Pin, newest: Version) -> Option<Attention> {
    (pin.version < newest).then(|| Attention {
        walk: WalkId::first(&pin.id),
        step: None,
        seq: None,
        about: About::NewerAdopted { pinned: pin.version, newest },
    })
}

impl About {
    fn urgency(&self) -> u8 {
        match self {
            Self::HoldWaiting { .. } => 0,
            Self::OffTarget { .. } => 1,
            Self::AskedOtherwise { .. } => 2,
            Self::Skipped { .. } => 3,
            Self::NotBegun => 4,
            Self::PhotosMissing { .. } => 5,
            Self::TooFast { .. } => 6,
            Self::ClockJump { .. } => 7,
            Self::Unfinished { .. } => 8,
            Self::NewerAdopted { .. } => 9,
        }
    }
}

/// Whether a sentence that is not to the letter what would be said now says other
/// numbers: in its own words it does, in another language's words where one of
/// the numbers is not in it.
fn is_otherwise(asked: &str, pieces: &[Piece], number: impl Fn(&str) -> Option<String>) -> bool {
    let mut rest = Some(asked);
    for piece in pieces {
        if let Piece::Words(words) = piece {
            rest = rest.and_then(|text| text.split_once(words.as_str())).map(|(_, rest)| rest);
        }
    }
    let is_own_words = rest.is_some();
    let numbers = pieces.iter().filter_map(|piece| match piece {
        Piece::Name(name) => number(name),
        Piece::Words(_) => None,
    });
    is_own_words || numbers.into_iter().any(|number| !says(asked, &number))
}

/// Whether a number stands in a text whole, not as the end or start of another.
fn says(text: &str, number: &str) -> bool {
    let joins = |c: char| c.is_alphanumeric() || matches!(c, '/' | '-' | '.' | ',' | '\'' | '"');
    text.match_indices(number).any(|(at, _)| {
        let before = text.get(..at).unwrap_or_default();
        let after = text.get(at.saturating_add(number.len())..).unwrap_or_default();
        let mut next = after.chars();
        let more = match (next.next(), next.next()) {
            (Some('.' | ','), Some(digit)) => digit.is_ascii_digit(),
            (Some('.' | ',' | '-' | '"' | '\''), _) | (None, _) => false,
            (Some(c), _) => joins(c),
        };
        let mixed = before.ends_with(' ')
            && before.trim_end().ends_with(|c: char| c.is_ascii_digit())
            && number.contains('/');
        !before.ends_with(joins) && !mixed && !more
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn other_words_are_no_other_numbers() {
        let pieces = [
            Piece::Words("Snap the line ".to_owned()),
            Piece::Name("line".to_owned()),
            Piece::Words(" up.".to_owned()),
        ];
        let otherwise =
            |asked: &str, now: &str| is_otherwise(asked, &pieces, |_| Some(now.to_owned()));
        assert!(otherwise("Snap the line 4 1/2\" up.", "5\""));
        assert!(otherwise("Tirar la línea a 4 1/2\".", "5\""));
        assert!(!otherwise("Tirar la línea a 4 1/2\".", "4 1/2\""));
        assert!(otherwise("Tirar la línea a 4 1/2\".", "1/2\""));
        assert!(otherwise("Tirar la línea a 1'-5\".", "5\""));
        assert!(otherwise("Contar hasta la hilada 12.", "2"));
        assert!(!otherwise("Contar hasta la hilada 12.", "12"));
        assert!(otherwise("A 12.5 mph.", "12"));
    }
}
