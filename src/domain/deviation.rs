//! Deviations and who accepted them. Accepting hides nothing: what was accepted
//! is no longer open, and every output goes on showing it.

use super::{About, At, Attention, Checklist, How, Job, StepRef};

/// The kinds of deviation that somebody may accept.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum DeviationKind {
    /// Logged off its target.
    OffTarget,
    /// Left out.
    Skipped,
    /// Confirmed faster than it can believably be done.
    TooFast,
    /// Fewer photos than the step asks for.
    PhotosMissing,
}

impl DeviationKind {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::OffTarget, Self::Skipped, Self::TooFast, Self::PhotosMissing];

    /// The word entries use.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::OffTarget => "off-target",
            Self::Skipped => "skipped",
            Self::TooFast => "too-fast",
            Self::PhotosMissing => "photos-missing",
        }
    }

    /// The kind of deviation that needs attention, where it is one.
    #[must_use]
    pub fn of(about: &About) -> Option<Self> {
        match about {
            About::OffTarget { .. } => Some(Self::OffTarget),
            About::Skipped { .. } => Some(Self::Skipped),
            About::TooFast { .. } => Some(Self::TooFast),
            About::PhotosMissing { .. } => Some(Self::PhotosMissing),
            _ => None,
        }
    }
}

/// That somebody accepted a deviation.
#[derive(Clone, Debug, PartialEq)]
pub struct Acceptance {
    /// The entry that says so.
    pub seq: u64,
    /// When.
    pub at: At,
    /// Who.
    pub by: String,
    /// In which role.
    pub role: String,
    /// How it was conveyed.
    pub how: How,
    /// Why.
    pub reason: String,
    /// Which deviations of the entry.
    pub kinds: Vec<DeviationKind>,
}

/// A deviation, accepted or not.
#[derive(Clone, Debug, PartialEq)]
pub struct Deviation {
    /// What it is.
    pub need: Attention,
    /// Who accepted it, once somebody did.
    pub accepted: Option<Acceptance>,
}

/// Who may accept on every job.
pub const FOREMAN: &str = "foreman";

/// The roles that may accept a deviation of a step: the foreman, and whoever
/// the checklist lets release the step's own hold point.
#[must_use]
pub fn may_accept<'a>(checklist: Option<&'a Checklist>, step: Option<&StepRef>) -> Vec<&'a str> {
    let step = checklist.zip(step).and_then(|(list, at)| list.step(&at.id));
    let point = step.and_then(|step| step.point.as_ref()).filter(|point| point.kind.stops_work());
    let mut roles = vec![FOREMAN];
    roles.extend(point.map(|point| point.role.as_str()).filter(|role| *role != FOREMAN));
    roles
}

/// The role in which somebody may, where one of these is theirs on the job.
#[must_use]
pub fn role_of<'a>(job: &Job, by: &str, roles: &[&'a str]) -> Option<&'a str> {
    roles.iter().copied().find(|role| job.holds(by, role))
}
