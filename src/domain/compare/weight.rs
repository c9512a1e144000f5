//! How much a change matters: where it is told, and which part of the version
//! it calls for, as `Version` says. What wording means no program can tell.

use crate::domain::{Piece, Version};

use super::{Change, Content, Part, ThingKind, What};

/// Where a change is told: what can hurt or leak first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rank {
    /// What can hurt.
    Cautions,
    /// Where work stops or somebody is told.
    Points,
    /// What is measured, computed and believed.
    Figures,
    /// What is done, in which order.
    Steps,
    /// What proves it and what follows.
    Proof,
    /// Words only.
    Wording,
    /// Identifier and version.
    Head,
}

/// A part of a version, from the least to the greatest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Raise {
    /// Only wording differs.
    Patch,
    /// Something is added.
    Minor,
    /// Something means something else, or is gone.
    Major,
}

/// Where a change is told and what it calls for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Weight {
    /// Where it is told.
    pub rank: Rank,
    /// The part of the version it calls for; none for the version itself.
    pub raise: Option<Raise>,
}

impl Weight {
    /// How a hazard is said.
    pub const CAUTION: Self = Self::of(Rank::Cautions, Raise::Patch);
    /// A figure that somebody cuts or nails by.
    pub const FIGURE: Self = Self::of(Rank::Figures, Raise::Major);
    /// What is believable.
    pub const RANGE: Self = Self::of(Rank::Figures, Raise::Minor);
    /// What is to be done, and where.
    pub const MEANING: Self = Self::of(Rank::Steps, Raise::Major);
    /// What proves it or follows it.
    pub const PROOF: Self = Self::of(Rank::Proof, Raise::Minor);
    /// Words only.
    pub const WORDING: Self = Self::of(Rank::Wording, Raise::Patch);
    /// Calls for nothing.
    pub const NONE: Self = Self { rank: Rank::Head, raise: None };

    const fn of(rank: Rank, raise: Raise) -> Self {
        Self { rank, raise: Some(raise) }
    }
}

impl Change {
    /// Where it is told.
    #[must_use]
    pub fn rank(&self) -> Rank {
        self.weight().rank
    }

    /// The part of the version it calls for.
    #[must_use]
    pub fn raise(&self) -> Option<Raise> {
        self.weight().raise
    }

    fn weight(&self) -> Weight {
        let kind = self.thing.kind;
        match &self.what {
            What::Added { gist, .. } => Weight::of(rank_of(kind, gist), Raise::Minor),
            What::LeftOut { gist } => Weight::of(rank_of(kind, gist), Raise::Major),
            What::Moved { .. } if kind == ThingKind::Step => Weight::MEANING,
            What::Moved { .. } => Weight::WORDING,
            What::Changed { part, old, new } => of_part(*part, old, new),
        }
    }
}

fn rank_of(kind: ThingKind, gist: &Content) -> Rank {
    match (kind, gist) {
        (ThingKind::Caution, _) => Rank::Cautions,
        (ThingKind::Step, Content::Point(_)) => Rank::Points,
        (ThingKind::Step | ThingKind::Table, _) => Rank::Steps,
        (ThingKind::FollowUp, _) => Rank::Proof,
        (ThingKind::Warning, _) => Rank::Cautions,
        (ThingKind::Fact | ThingKind::Figure | ThingKind::Given | ThingKind::Measure, _) => {
            Rank::Figures
        }
        (ThingKind::Head, _) => Rank::Head,
    }
}

fn of_part(part: Part, old: &Content, new: &Content) -> Weight {
    // One that comes adds, one that goes takes away; an order is wording.
    let listed = match (old, new) {
        (Content::Nothing, _) => Raise::Minor,
        (_, Content::Nothing) => Raise::Major,
        _ => Raise::Patch,
    };
    match part {
        Part::Plain(_, weight) => weight,
        Part::Id => Weight::NONE,
        Part::Say if names(old) == names(new) => Weight::WORDING,
        Part::Say | Part::Value => Weight::FIGURE,
        Part::Cautions => Weight::of(Rank::Cautions, listed),
        Part::Point | Part::OffTarget => Weight::of(Rank::Points, listed),
        Part::PointKind | Part::Role | Part::When => Weight::of(Rank::Points, Raise::Major),
        Part::Each | Part::OnlyIf => Weight::MEANING,
        Part::Options => Weight::of(Rank::Steps, listed),
        Part::Wanted if is_order(old, new) => Weight::of(Rank::Steps, Raise::Patch),
        Part::Wanted => Weight::MEANING,
        Part::Sources | Part::Tags => Weight::WORDING,
    }
}

/// The same words in another order.
fn is_order(old: &Content, new: &Content) -> bool {
    match (old, new) {
        (Content::List(old), Content::List(new)) => !old.is_empty() && !new.is_empty(),
        _ => false,
    }
}

/// The values a sentence puts in, in their order.
fn names(said: &Content) -> Vec<&str> {
    let Content::Said(pieces) = said else { return Vec::new() };
    let mut names = Vec::new();
    for piece in pieces {
        if let Piece::Name(name) = piece {
            names.push(name.as_str());
        }
    }
    names
}

/// What is wrong with the newer version number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Advice {
    /// It is the same although the content differs.
    NotRaised {
        /// The part to raise.
        part: Raise,
        /// What it comes to.
        to: Version,
    },
    /// A lesser part was raised than the changes call for.
    RaisedTooLittle {
        /// The part to raise.
        part: Raise,
        /// What it comes to.
        to: Version,
    },
    /// It is lower than the older one.
    Lower,
}

/// What is wrong with the newer of two versions between which this changed;
/// nothing where they are of two different checklists or profiles.
#[must_use]
pub fn advice(old: Version, new: Version, changes: &[Change]) -> Option<Advice> {
    let other = |change: &Change| matches!(change.what, What::Changed { part: Part::Id, .. });
    if changes.iter().any(other) {
        return None;
    }
    if new < old {
        return Some(Advice::Lower);
    }
    let part = changes.iter().filter_map(Change::raise).max()?;
    let to = raised(old, part);
    let raised_part = match (old.major < new.major, old.minor < new.minor) {
        _ if old == new => return Some(Advice::NotRaised { part, to }),
        (true, _) => Raise::Major,
        (false, true) => Raise::Minor,
        (false, false) => Raise::Patch,
    };
    (raised_part < part).then_some(Advice::RaisedTooLittle { part, to })
}

fn raised(version: Version, part: Raise) -> Version {
    let Version { major, minor, patch } = version;
    match part {
        Raise::Major => Version { major: major.saturating_add(1), minor: 0, patch: 0 },
        Raise::Minor => Version { major, minor: minor.saturating_add(1), patch: 0 },
        Raise::Patch => Version { major, minor, patch: patch.saturating_add(1) },
    }
}
