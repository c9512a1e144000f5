//! A job's entries folded into what now stands. Everything that is shown,
//! walked or exported comes from this one fold.

use std::collections::BTreeMap;

use crate::measure::{Quantity, Ratio};

use super::entry::{Entry, Given, How, StepRef, Target, What};
use super::{
    Acceptance, At, CallbackStanding, Checked, Clip, DeviationKind, EarOpen, Facts, Hash, Issued,
    Job, KeptPhoto, Logged, PointKind, Version, WalkId, schedule,
};

/// What now stands of one job.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Standing {
    /// The job as opened.
    pub job: Option<Job>,
    /// Facts, the newest of each.
    pub facts: Facts,
    /// By checklist and which time.
    pub walks: BTreeMap<WalkId, WalkStanding>,
    /// By entry, who accepted deviations of it.
    pub accepted: BTreeMap<u64, Vec<Acceptance>>,
    /// Leak calls, by their number.
    pub callbacks: BTreeMap<u32, CallbackStanding>,
    /// Notes, in order.
    pub notes: Vec<Note>,
    /// Photos that are kept, in order.
    pub photos: Vec<KeptPhoto>,
    /// Follow-ups given out, by identifier.
    pub issued: BTreeMap<String, Issued>,
    /// By person, the latest hearing check.
    pub hearing: BTreeMap<String, Checked>,
    /// When the ear was open, in order.
    pub ears: Vec<EarOpen>,
    /// The last entry folded in.
    pub last_seq: u64,
}

/// What stands of one walk.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WalkStanding {
    /// When it began, and which version.
    pub begun: Option<(At, Version, Hash)>,
    /// When its last step was settled.
    pub ended: Option<At>,
    /// Whether work is interrupted.
    pub paused: bool,
    /// By step.
    pub steps: BTreeMap<StepRef, StepStanding>,
    /// The last step settled.
    pub last: Option<StepRef>,
}

/// What stands of one step.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StepStanding {
    /// How it was settled, the newest.
    pub settled: Option<Settled>,
    /// How it was settled before it was corrected, oldest first.
    pub corrected: Vec<Settled>,
    /// The cautions given with it, the last time they were.
    pub cautioned: Option<Cautions>,
    /// Each time that somebody said that a photo was taken, in order.
    pub photos_said: Vec<SaidTaken>,
    /// How many photos are kept at it.
    pub photos_kept: u32,
    /// Its inspection point, once reached.
    pub point: Option<PointStanding>,
}

/// That somebody said that a photo was taken.
#[derive(Clone, Debug, PartialEq)]
pub struct SaidTaken {
    /// The entry.
    pub seq: u64,
    /// When.
    pub at: At,
    /// Who.
    pub by: String,
    /// How it was conveyed.
    pub how: How,
}

/// Cautions that were given.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cautions {
    /// In these words.
    pub said: Vec<String>,
    /// Whether they were spoken aloud; otherwise they were only shown. None where that
    /// was not logged.
    pub spoken: Option<bool>,
}

/// An inspection point that was reached.
#[derive(Clone, Debug, PartialEq)]
pub struct PointStanding {
    /// Hold or witness.
    pub kind: PointKind,
    /// Who releases it or is told.
    pub role: String,
    /// When.
    pub reached: At,
    /// Its release, once given.
    pub released: Option<Release>,
}

/// The release of a hold point.
#[derive(Clone, Debug, PartialEq)]
pub struct Release {
    /// The entry.
    pub seq: u64,
    /// When.
    pub at: At,
    /// Who.
    pub by: String,
    /// How it was conveyed.
    pub how: How,
}

/// One way a step was settled.
#[derive(Clone, Debug, PartialEq)]
pub struct Settled {
    /// The entry.
    pub seq: u64,
    /// When.
    pub at: At,
    /// Who.
    pub by: String,
    /// How it was conveyed.
    pub how: How,
    /// What was conveyed after it until it was logged, as [`Draft::confirmed`](super::entry::Draft::confirmed).
    pub confirmed: Vec<How>,
    /// The words it was asked in; none where it was left out.
    pub asked: Option<String>,
    /// With what.
    pub outcome: Outcome,
}

/// With what a step was settled.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// Answered, against its target where it has one.
    Answered {
        /// With what.
        given: Given,
        /// What it asked for.
        target: Option<Target>,
        /// Why it was logged off its target.
        reason: Option<String>,
    },
    /// Left out.
    Skipped {
        /// Why.
        reason: String,
    },
}

/// Something worth keeping.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    /// The entry.
    pub seq: u64,
    /// When.
    pub at: At,
    /// Who.
    pub by: String,
    /// Whether it was spoken, and so is an unverified transcript.
    pub spoken: bool,
    /// At which step of which walk.
    pub step: Option<(WalkId, StepRef)>,
    /// The words.
    pub text: String,
    /// The sound they were taken from, where it is kept.
    pub clip: Option<Clip>,
}

/// How something given compares with its target.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Comparison {
    /// Within the tolerance, or among the wanted answers.
    On,
    /// More than the tolerance above the mark, by that much from the mark.
    Above(Quantity),
    /// More than the tolerance below the mark, by that much from the mark.
    Below(Quantity),
    /// So many too few.
    TooFew(u32),
    /// Not among the wanted answers.
    NotWanted,
}

impl Target {
    /// Compares what was given with the target. What cannot be compared is
    /// never on target.
    #[must_use]
    pub fn compare(&self, given: &Given) -> Comparison {
        match (self, given) {
            (Target::Mark(mark, tolerance), Given::Measured(read)) => {
                let Ok(by) = read.minus(*mark) else { return Comparison::NotWanted };
                if by.value.abs() <= tolerance.value {
                    Comparison::On
                } else if Ratio::ZERO < by.value {
                    Comparison::Above(by)
                } else {
                    Comparison::Below(Quantity::new(by.value.abs(), by.dimension))
                }
            }
            (Target::AtLeast(least), Given::Counted(n)) => match least.checked_sub(*n) {
                None | Some(0) => Comparison::On,
                Some(few) => Comparison::TooFew(few),
            },
            (Target::OneOf(wanted), Given::Chosen(option)) if wanted.contains(option) => {
                Comparison::On
            }
            _ => Comparison::NotWanted,
        }
    }
}

impl Outcome {
    /// Whether a step settled so stands off its target.
    #[must_use]
    pub fn off_target(&self) -> bool {
        match self {
            Outcome::Answered { given, target: Some(target), .. } => {
                target.compare(given) != Comparison::On
            }
            _ => false,
        }
    }
}

impl StepStanding {
    /// How many photos somebody says were taken.
    #[must_use]
    pub fn said_taken(&self) -> u32 {
        u32::try_from(self.photos_said.len()).unwrap_or(u32::MAX)
    }

    /// How many photos count as taken. One that is kept may be one that was
    /// said to be taken, so they are not added up.
    #[must_use]
    pub fn photos_taken(&self) -> u32 {
        self.said_taken().max(self.photos_kept)
    }
}

impl Standing {
    /// What stands after these entries of one job, in order.
    #[must_use]
    pub fn of<'a>(entries: impl IntoIterator<Item = &'a Entry>) -> Self {
        let mut standing = Self::default();
        entries.into_iter().for_each(|entry| standing.apply(entry));
        standing
    }

    /// The latest hearing check of that person, where it is at most so many hours
    /// old. One from the future says that a clock was set: it does not count.
    #[must_use]
    pub fn checked_within(&self, by: &str, now: At, hours: u32) -> Option<&Checked> {
        let checked = self.hearing.get(by)?;
        let age_ms = now.ms().checked_sub(checked.at.ms())?;
        (0..=i64::from(hours) * 3_600_000).contains(&age_ms).then_some(checked)
    }

    /// When the ear was open on that day.
    #[must_use]
    pub fn ears_on(&self, date: jiff::civil::Date) -> Vec<EarOpen> {
        self.ears.iter().filter(|ear| ear.opened.date() == date).cloned().collect()
    }

    /// What stands of that step.
    #[must_use]
    pub fn step(&self, walk: &WalkId, step: &StepRef) -> Option<&StepStanding> {
        self.walks.get(walk)?.steps.get(step)
    }

    /// The walks of a checklist, in order.
    pub fn walks_of(
        &self,
        checklist: &str,
    ) -> impl DoubleEndedIterator<Item = (&WalkId, &WalkStanding)> {
        let last = WalkId { checklist: checklist.to_owned(), nth: u32::MAX };
        self.walks.range(WalkId::first(checklist)..=last)
    }

    /// Who accepted that deviation of an entry.
    #[must_use]
    pub fn acceptance(&self, seq: u64, kind: DeviationKind) -> Option<&Acceptance> {
        self.accepted.get(&seq)?.iter().find(|accepted| accepted.kinds.contains(&kind))
    }

    /// Folds one more entry in; one that was folded in before changes nothing.
    pub fn apply(&mut self, entry: &Entry) {
        if entry.seq <= self.last_seq {
            return;
        }
        self.last_seq = entry.seq;
        let draft = &entry.draft;
        match &draft.what {
            What::JobOpened(job) => self.job = Some(job.clone()),
            What::Pinned(pin) => {
                // A version pinned before stays: what was walked was judged by it.
                let job = self.job.as_mut();
                let known = |job: &&mut Job| {
                    job.pins.iter().all(|p| (p.kind, &p.id) != (pin.kind, &pin.id))
                };
                if let Some(job) = job.filter(known) {
                    job.pins.push(pin.clone());
                }
            }
            What::Accepted { entry: of, kinds, role, reason, .. } => {
                let Logged { seq, at, by } = Logged::of(entry);
                let (role, reason, kinds) = (role.clone(), reason.clone(), kinds.clone());
                let how = draft.how.clone();
                let acceptance = Acceptance { seq, at, by, role, how, reason, kinds };
                self.accepted.entry(*of).or_default().push(acceptance);
            }
            What::CallbackOpened(call) => {
                let (opened, call) = (Logged::of(entry), call.as_ref().clone());
                let id = call.id;
                let callback = CallbackStanding { call, opened, visits: Vec::new(), closed: None };
                self.callbacks.entry(id).or_insert(callback);
            }
            What::CallbackVisited { id, visit } => {
                if let Some(callback) = self.callbacks.get_mut(id) {
                    callback.visits.push((visit.clone(), Logged::of(entry)));
                    // Nobody else takes that walk.
                    self.walks.entry(visit.clone()).or_default();
                }
            }
            What::CallbackClosed(finding) => {
                if let Some(callback) = self.callbacks.get_mut(&finding.id) {
                    let closed = (finding.as_ref().clone(), Logged::of(entry));
                    callback.closed.get_or_insert(closed);
                }
            }
            What::FactGiven(name, value) => self.facts.set(name.clone(), value.clone()),
            What::FollowUpIssued { .. }
            | What::FollowUpMoved { .. }
            | What::FollowUpCancelled { .. }
            | What::FollowUpAdded { .. } => schedule::fold(&mut self.issued, draft),
            What::Noted { step, text, clip } => self.notes.push(Note {
                seq: entry.seq,
                at: draft.at,
                by: draft.by.clone(),
                spoken: matches!(draft.how, How::Voice(_)),
                step: step.clone().and_then(|step| Some((draft.walk.clone()?, step))),
                text: text.clone(),
                clip: clip.clone(),
            }),
            What::PhotoKept { step, photo } => {
                self.photos.push(KeptPhoto {
                    seq: entry.seq,
                    at: draft.at,
                    by: draft.by.clone(),
                    walk: draft.walk.clone(),
                    step: step.clone(),
                    photo: photo.as_ref().clone(),
                });
                if let (Some(walk), Some(step)) = (&draft.walk, step) {
                    let walk = self.walks.entry(walk.clone()).or_default();
                    walk.step(step).photos_kept += 1;
                }
            }
            What::HearingChecked(_) => {
                let checked = Checked::of(entry).map(|checked| (draft.by.clone(), checked));
                self.hearing.extend(checked);
            }
            What::EarOpened { source, keeps, check } => self.ears.push(EarOpen {
                seq: entry.seq,
                by: draft.by.clone(),
                source: source.clone(),
                keeps: *keeps,
                check: *check,
                opened: draft.at,
                closed: None,
            }),
            What::EarClosed => {
                let own = self.ears.iter_mut().rev().find(|ear| ear.by == draft.by);
                if let Some(ear) = own {
                    ear.closed.get_or_insert(draft.at);
                }
            }
            What::Answered { given: Given::Fact(name, value), .. } => {
                self.facts.set(name.clone(), value.clone());
                self.apply_walk(entry);
            }
            _ => self.apply_walk(entry),
        }
    }

    fn apply_walk(&mut self, entry: &Entry) {
        let draft = &entry.draft;
        let Some(walk) = &draft.walk else { return };
        let walk = self.walks.entry(walk.clone()).or_default();
        let outcome = match &draft.what {
            What::WalkBegun { version, hash } => {
                walk.begun.get_or_insert((draft.at, *version, *hash));
                return;
            }
            What::Paused => return walk.paused = true,
            What::Resumed => return walk.paused = false,
            What::WalkEnded => return walk.ended = Some(draft.at),
            What::Cautioned { step, said, spoken } => {
                let given = Cautions { said: said.clone(), spoken: *spoken };
                return walk.step(step).cautioned = Some(given);
            }
            What::PhotoTaken { step } => {
                let (at, by, how) = (draft.at, draft.by.clone(), draft.how.clone());
                let said = SaidTaken { seq: entry.seq, at, by, how };
                return walk.step(step).photos_said.push(said);
            }
            What::PointReached { step, kind, role } => {
                let (kind, role) = (*kind, role.clone());
                let point = PointStanding { kind, role, reached: draft.at, released: None };
                return walk.step(step).point = Some(point);
            }
            What::Released { step, role } => {
                let point = walk.step(step).point.as_mut();
                if let Some(point) = point.filter(|point| point.role == *role) {
                    let (by, how) = (draft.by.clone(), draft.how.clone());
                    point.released = Some(Release { seq: entry.seq, at: draft.at, by, how });
                }
                return;
            }
            What::Answered { given, target, reason, .. } => Outcome::Answered {
                given: given.clone(),
                target: target.clone(),
                reason: reason.clone(),
            },
            What::Skipped { reason, .. } => Outcome::Skipped { reason: reason.clone() },
            _ => return,
        };
        let Some(step) = draft.what.step() else { return };
        let asked = match &draft.what {
            What::Answered { asked, .. } => Some(asked.clone()),
            _ => None,
        };
        let settled = Settled {
            seq: entry.seq,
            asked,
            at: draft.at,
            by: draft.by.clone(),
            how: draft.how.clone(),
            confirmed: draft.confirmed.clone(),
            outcome,
        };
        let standing = walk.step(step);
        standing.corrected.extend(standing.settled.replace(settled));
        walk.last = Some(step.clone());
        walk.ended = None;
    }
}

impl WalkStanding {
    fn step(&mut self, step: &StepRef) -> &mut StepStanding {
        self.steps.entry(step.clone()).or_default()
    }
}
