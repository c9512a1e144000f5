//! Which runs are laid and how long: the fewest that bring what is needed, on as
//! many planes as that allows, no longer than needed. Knows areas, no geometry.

use std::cmp::{Ordering, Reverse};
use std::collections::{BTreeMap, BTreeSet};

use super::pieces::{Fit, Laid};
use crate::measure::{MeasureError, Ratio};

/// A run that could be laid.
#[derive(Clone, Copy, Debug)]
pub(super) struct Candidate<'f> {
    pub(super) plane: u32,
    pub(super) fit: &'f Fit,
}

/// For each candidate what is laid there, if anything. `on_every_plane`: each
/// plane that can take a run gets one.
pub(super) fn lay(
    candidates: &[Candidate<'_>],
    needed: Ratio,
    on_every_plane: bool,
) -> Result<Vec<Option<Laid>>, MeasureError> {
    let mut laid = vec![None; candidates.len()];
    if needed <= Ratio::ZERO {
        return Ok(laid);
    }
    let ranked = Ranked::of(candidates);
    let chosen = ranked.choose(needed, on_every_plane)?;
    if ranked.sum(&chosen)? <= needed {
        for index in chosen {
            set(&mut laid, index, candidates.get(index).map(|candidate| candidate.fit.greatest));
        }
        return Ok(laid);
    }
    piece_by_piece(candidates, &chosen, needed, &mut laid)?;
    Ok(laid)
}

/// The candidates by what they can bring, most first.
struct Ranked<'c> {
    candidates: &'c [Candidate<'c>],
    order: Vec<usize>,
    /// The best of each plane, most first.
    best: Vec<usize>,
}

impl<'c> Ranked<'c> {
    fn of(candidates: &'c [Candidate<'c>]) -> Self {
        let key = |index: &usize| {
            let greatest = candidates.get(*index).map(|candidate| &candidate.fit.greatest);
            Reverse(greatest.map(|laid| (laid.free_area, laid.length)))
        };
        let mut order: Vec<usize> = (0..candidates.len()).collect();
        order.sort_by_key(key);
        let mut seen = BTreeSet::new();
        let is_first = |index: &usize| {
            candidates.get(*index).is_some_and(|candidate| seen.insert(candidate.plane))
        };
        let best = order.iter().copied().filter(is_first).collect();
        Self { candidates, order, best }
    }

    /// The fewest that bring what is needed, on as many planes as that many can;
    /// all of them where they do not bring it.
    fn choose(&self, needed: Ratio, on_every_plane: bool) -> Result<Vec<usize>, MeasureError> {
        let least_planes = if on_every_plane { self.best.len() } else { 1 };
        let all = self.pick(least_planes, self.order.len());
        let Some(runs) = self.fewest(&all, needed, least_planes)? else { return Ok(all) };
        for planes in (least_planes..=runs.min(self.best.len())).rev() {
            let picked = self.pick(planes, runs);
            if needed <= self.sum(&picked)? {
                return Ok(picked);
            }
        }
        Ok(all)
    }

    /// How many of these, from the first on, bring what is needed.
    fn fewest(
        &self,
        picked: &[usize],
        needed: Ratio,
        least: usize,
    ) -> Result<Option<usize>, MeasureError> {
        let mut sum = Ratio::ZERO;
        for (runs, index) in (1..).zip(picked) {
            sum = sum.plus(self.greatest(*index))?;
            if needed <= sum && least <= runs {
                return Ok(Some(runs));
            }
        }
        Ok(None)
    }

    /// The runs that bring most of all choices of so many runs on at least so
    /// many planes: the best of the best planes, then whatever brings most.
    fn pick(&self, planes: usize, runs: usize) -> Vec<usize> {
        let first: Vec<usize> = self.best.iter().copied().take(planes).collect();
        let others = self.order.iter().copied().filter(|index| !first.contains(index));
        first.iter().copied().chain(others).take(runs).collect()
    }

    fn sum(&self, picked: &[usize]) -> Result<Ratio, MeasureError> {
        picked.iter().try_fold(Ratio::ZERO, |sum, index| sum.plus(self.greatest(*index)))
    }

    fn greatest(&self, index: usize) -> Ratio {
        let candidate = self.candidates.get(index);
        candidate.map_or(Ratio::ZERO, |candidate| candidate.fit.greatest.free_area)
    }
}

/// Lays the chosen runs a piece at a time, on the plane that has least, until
/// there is enough and none of them is empty.
fn piece_by_piece(
    candidates: &[Candidate<'_>],
    chosen: &[usize],
    needed: Ratio,
    laid: &mut [Option<Laid>],
) -> Result<(), MeasureError> {
    let mut on_plane: BTreeMap<u32, Ratio> = BTreeMap::new();
    let mut growing: Vec<Growing<'_>> = chosen
        .iter()
        .filter_map(|index| candidates.get(*index).map(|one| Growing::new(*index, one)))
        .collect();
    let mut sum = Ratio::ZERO;
    loop {
        if needed <= sum && growing.iter().all(|run| run.laid.is_some()) {
            break;
        }
        let area_on = |plane| on_plane.get(&plane).copied().unwrap_or(Ratio::ZERO);
        let by_need = |a: &&mut Growing<'_>, b: &&mut Growing<'_>| {
            a.is_cut_next()
                .cmp(&b.is_cut_next())
                .then_with(|| area_on(a.plane).cmp(&area_on(b.plane)))
                .then(a.plane.cmp(&b.plane))
                .then_with(|| a.before(b))
        };
        let next = growing.iter_mut().filter(|run| !run.rest.is_empty()).min_by(by_need);
        let Some(run) = next else { break };
        let gain = run.grow()?;
        sum = sum.plus(gain)?;
        let area = on_plane.entry(run.plane).or_insert(Ratio::ZERO);
        *area = area.plus(gain)?;
    }
    for run in growing {
        set(laid, run.index, run.laid);
    }
    Ok(())
}

/// A run while it is laid.
struct Growing<'f> {
    index: usize,
    plane: u32,
    laid: Option<Laid>,
    /// The longer ones, each with a piece more.
    rest: &'f [Laid],
    length_at_most: Ratio,
}

impl<'f> Growing<'f> {
    fn new(index: usize, candidate: &Candidate<'f>) -> Self {
        let fit = candidate.fit;
        Self {
            index,
            plane: candidate.plane,
            laid: None,
            rest: &fit.choices,
            length_at_most: fit.greatest.length,
        }
    }

    fn is_cut_next(&self) -> bool {
        self.rest.first().is_some_and(|next| next.field_cut.is_some())
    }

    fn area(&self) -> Ratio {
        self.laid.map_or(Ratio::ZERO, |laid| laid.free_area)
    }

    /// Which of two runs on one plane comes first: the one that has less, then
    /// the one that can be longer, then the left one.
    fn before(&self, other: &Self) -> Ordering {
        self.area()
            .cmp(&other.area())
            .then(other.length_at_most.cmp(&self.length_at_most))
            .then(self.index.cmp(&other.index))
    }

    /// Lays one piece more and says how much more that brings.
    fn grow(&mut self) -> Result<Ratio, MeasureError> {
        let Some((next, rest)) = self.rest.split_first() else { return Ok(Ratio::ZERO) };
        let gain = next.free_area.minus(self.area())?;
        self.laid = Some(*next);
        self.rest = rest;
        Ok(gain)
    }
}

fn set(laid: &mut [Option<Laid>], index: usize, what: Option<Laid>) {
    if let Some(place) = laid.get_mut(index) {
        *place = what;
    }
}
