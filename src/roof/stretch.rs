//! What is free for a vent on a plane's course: the stretches between edges and
//! obstructions. Whether a run fits in one is decided elsewhere.

use super::section::{Section, crossing, within};
use super::{Edge, EdgeKind, Plane, Vent};
use crate::measure::{MeasureError, Ratio};

/// A part of a course, from the plane's left edge at the course's butt edge.
pub(super) type Stretch = (Ratio, Ratio);

/// The free stretches, from left to right.
///
/// The vent takes up a strip of the plane. Every edge that touches the strip
/// blocks as much of it as the edge reaches over, and the stay-back on both
/// sides, measured along the course (common practice, no source). An eave that
/// the vent only stands on does not block. Obstructions block with their own
/// stay-back on all four sides. No stretch reaches past the plane's ends at the butt edge, where
/// the crew measures.
pub(super) fn free_stretches(
    plane: &Plane,
    vent: &Vent,
    section: &Section,
) -> Result<Vec<Stretch>, MeasureError> {
    let low = plane.course_butt.plus(vent.vent_low)?;
    let high = plane.course_butt.plus(vent.vent_high)?;
    let blocked = blocked(plane, vent, low, high)?;
    let across = crossings(&plane.edges, low.plus(high)?.over(Ratio::int(2))?)?;
    let mut free = Vec::new();
    let mut reached: Option<Ratio> = None;
    for (from, to) in blocked {
        if let Some(gap_from) = reached
            && gap_from < from
            && is_inside(&across, gap_from)
        {
            let gap = (gap_from.max(section.left_at), from.min(section.right_at));
            if gap.0 < gap.1 {
                free.push((gap.0.minus(section.left_at)?, gap.1.minus(section.left_at)?));
            }
        }
        reached = Some(reached.map_or(to, |so_far| so_far.max(to)));
    }
    Ok(free)
}

/// What is blocked between two heights, by where it starts; parts may overlap.
fn blocked(
    plane: &Plane,
    vent: &Vent,
    low: Ratio,
    high: Ratio,
) -> Result<Vec<(Ratio, Ratio)>, MeasureError> {
    let mut blocked = Vec::with_capacity(plane.edges.len());
    for edge in plane.edges.iter().filter(|edge| !only_stands_on(edge, low, high)) {
        if let Some(range) = within(edge, low, high)? {
            blocked.push(widened(range, vent.stays_back_from(edge.kind))?);
        }
    }
    // What stands close above or below the vent blocks as well: its flashing
    // reaches into the courses that are lifted.
    for it in &plane.obstructions {
        let (from, to) = widened((it.low, it.high), vent.obstruction_stay_back)?;
        if from <= high && low <= to {
            blocked.push(widened((it.left, it.right), vent.obstruction_stay_back)?);
        }
    }
    blocked.sort_unstable();
    Ok(blocked)
}

/// Whether this is an eave at the very edge of the strip.
fn only_stands_on(edge: &Edge, low: Ratio, high: Ratio) -> bool {
    let up = edge.from.up;
    edge.kind == EdgeKind::Eave && up == edge.to.up && (up == low || up == high)
}

fn widened((from, to): (Ratio, Ratio), by: Ratio) -> Result<(Ratio, Ratio), MeasureError> {
    Ok((from.minus(by)?, to.plus(by)?))
}

fn crossings(edges: &[Edge], height: Ratio) -> Result<Vec<Ratio>, MeasureError> {
    let mut found = Vec::new();
    for edge in edges {
        found.extend(crossing(edge, height)?);
    }
    found.sort_unstable();
    Ok(found)
}

/// Whether what comes right after `along` is on the plane: an odd number of
/// edges lie before it.
fn is_inside(across: &[Ratio], along: Ratio) -> bool {
    across.partition_point(|at| *at <= along) % 2 == 1
}
