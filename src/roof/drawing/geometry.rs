//! From a plane's inches to millimetres on the plate, to one scale both ways.
//! Floating point is enough here: figures that people read come from the exact
//! lengths.

use super::super::{Edge, Plane, Point, Run, Vent};
use super::svg::{Area, Spot};

/// What the picture has to hold, in inches.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bounds {
    pub(super) along: (f64, f64),
    pub(super) up: (f64, f64),
}

/// Places a plane on the plate.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame {
    /// Millimetres on the plate for an inch of roof.
    pub(super) scale: f64,
    bounds: Bounds,
    left: f64,
    top: f64,
}

impl Bounds {
    /// Around a plane and its runs; none where there is nothing to draw.
    pub(super) fn of(plane: &Plane, runs: &[&Run], vent: &Vent) -> Option<Self> {
        let mut spots: Vec<Spot> = plane.edges.iter().map(|edge| spot(edge.from)).collect();
        spots.extend(plane.edges.iter().map(|edge| spot(edge.to)));
        for one in &plane.obstructions {
            spots.push((one.left.to_f64(), one.low.to_f64()));
            spots.push((one.right.to_f64(), one.high.to_f64()));
        }
        for run in runs {
            let (left, butt) = (run.left_at.to_f64(), run.course_butt.to_f64());
            let heights = [vent.vent_low, vent.vent_high, vent.slot_low, vent.slot_high];
            let ends = [run.vent_start, run.vent_end, run.slot_start, run.slot_end];
            spots.push((left, butt));
            spots.extend(heights.map(|height| (left, butt + height.to_f64())));
            spots.extend(ends.map(|end| (left + end.to_f64(), butt)));
        }
        let first = *spots.first()?;
        let start = Self { along: (first.0, first.0), up: (first.1.min(0.0), first.1.max(0.0)) };
        let all = spots.iter().fold(start, |b, (along, up)| Self {
            along: (b.along.0.min(*along), b.along.1.max(*along)),
            up: (b.up.0.min(*up), b.up.1.max(*up)),
        });
        let fine = |(low, high): (f64, f64)| (high - low).is_finite() && 0.01 < high - low;
        (fine(all.along) && fine(all.up)).then_some(all)
    }
}

impl Frame {
    /// The largest scale at which `bounds` fits `room` (width, height).
    pub(super) fn new(bounds: Bounds, left: f64, top: f64, room: (f64, f64)) -> Self {
        let width = bounds.along.1 - bounds.along.0;
        let height = bounds.up.1 - bounds.up.0;
        Self { scale: (room.0 / width).min(room.1 / height), bounds, left, top }
    }

    pub(super) fn x(&self, along: f64) -> f64 {
        self.left + (along - self.bounds.along.0) * self.scale
    }

    pub(super) fn y(&self, up: f64) -> f64 {
        self.top + (self.bounds.up.1 - up) * self.scale
    }

    pub(super) fn place(&self, (along, up): Spot) -> Spot {
        (self.x(along), self.y(up))
    }

    /// The picture on the plate.
    pub(super) fn area(&self) -> Area {
        Area {
            left: self.left,
            top: self.top,
            right: self.x(self.bounds.along.1),
            bottom: self.y(self.bounds.up.0),
        }
    }

    /// A rectangle of the roof on the plate.
    pub(super) fn rectangle(&self, along: (f64, f64), up: (f64, f64)) -> Area {
        let (a, b) = (self.x(along.0), self.x(along.1));
        let (c, d) = (self.y(up.0), self.y(up.1));
        Area { left: a.min(b), top: c.min(d), right: a.max(b), bottom: c.max(d) }
    }
}

/// A point of the roof as floating point inches.
pub(super) fn spot(point: Point) -> Spot {
    (point.along.to_f64(), point.up.to_f64())
}

/// Where the outline crosses a height: (along, drift per inch up), left to right.
pub(super) fn crossings(edges: &[Edge], up: f64) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = edges
        .iter()
        .filter_map(|edge| {
            let (from, to) = (spot(edge.from), spot(edge.to));
            let rise = to.1 - from.1;
            let between = from.1.min(to.1) <= up && up <= from.1.max(to.1);
            let drift = (to.0 - from.0) / rise;
            (rise != 0.0 && between).then_some((from.0 + (up - from.1) * drift, drift))
        })
        .collect();
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    found
}

/// The part of `subject` inside `mask`, which is convex.
pub(super) fn inside_of(subject: &[Spot], mask: &[Spot]) -> Vec<Spot> {
    let twice_area: f64 = pairs(mask).map(|(a, b)| a.0 * b.1 - b.0 * a.1).sum();
    let turn = if twice_area < 0.0 { -1.0 } else { 1.0 };
    let mut left: Vec<Spot> = subject.to_vec();
    for (a, b) in pairs(mask) {
        let off = |p: Spot| turn * ((b.0 - a.0) * (p.1 - a.1) - (b.1 - a.1) * (p.0 - a.0));
        let mut kept = Vec::new();
        for (p, q) in pairs(&left) {
            let (at_p, at_q) = (off(p), off(q));
            if 0.0 <= at_p {
                kept.push(p);
            }
            if (at_p < 0.0) != (at_q < 0.0) {
                let part = at_p / (at_p - at_q);
                kept.push((p.0 + (q.0 - p.0) * part, p.1 + (q.1 - p.1) * part));
            }
        }
        left = kept;
    }
    left
}

/// Every point with the one after it, round and round.
fn pairs(points: &[Spot]) -> impl Iterator<Item = (Spot, Spot)> {
    points.iter().copied().zip(points.iter().copied().cycle().skip(1))
}
