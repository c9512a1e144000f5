//! The outline of a plane: from its corners, or from eave, slope length and sides,
//! and whether a roof plane can have it. What stands on the plane is not here.

use std::cmp::Ordering;

use super::{Edge, EdgeKind, Point, slope_factor};
use crate::measure::{MeasureError, Quantity, Ratio};

/// One corner as it was recorded, and the edge from it to the next one.
#[derive(Clone, Copy, Debug)]
pub(super) struct Corner {
    /// Its row, counted from 1.
    pub(super) number: u32,
    pub(super) at: Point,
    pub(super) kind: EdgeKind,
}

/// A plane whose eave is level and whose top is cut off level.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sides {
    pub(super) eave: Ratio,
    pub(super) slope_length: Ratio,
    pub(super) left: EdgeKind,
    pub(super) right: EdgeKind,
    /// A pitch, rise over run.
    pub(super) pitch: Quantity,
}

/// The outline of a plane given by its sides.
///
/// Rakes and walls go straight up; a hip leans inward and a valley outward by
/// the run below it: equal pitches on both sides and a square corner. Sides that
/// meet below the slope length make an apex.
pub(super) fn from_sides(sides: &Sides) -> Result<Vec<Edge>, MeasureError> {
    let a_run = Ratio::ONE.over(slope_factor(sides.pitch)?.value)?;
    let inward = |kind| match kind {
        EdgeKind::Hip => a_run,
        EdgeKind::Valley => a_run.neg(),
        _ => Ratio::ZERO,
    };
    let (left, right) = (inward(sides.left), inward(sides.right));
    let closing = left.plus(right)?;
    let meets = Ratio::ZERO < closing && sides.eave <= closing.times(sides.slope_length)?;
    let top = if meets { sides.eave.over(closing)? } else { sides.slope_length };
    let top_left = Point { along: left.times(top)?, up: top };
    let top_right = Point { along: sides.eave.minus(right.times(top)?)?, up: top };
    let start = Point { along: Ratio::ZERO, up: Ratio::ZERO };
    let end = Point { along: sides.eave, up: Ratio::ZERO };
    let eave = Edge { from: start, to: end, kind: EdgeKind::Eave };
    if meets {
        return Ok(vec![
            eave,
            Edge { from: end, to: top_left, kind: sides.right },
            Edge { from: top_left, to: start, kind: sides.left },
        ]);
    }
    Ok(vec![
        eave,
        Edge { from: end, to: top_right, kind: sides.right },
        Edge { from: top_right, to: top_left, kind: EdgeKind::Ridge },
        Edge { from: top_left, to: start, kind: sides.left },
    ])
}

/// The outline of a plane given by its corners. One that goes clockwise is
/// turned round; the kinds stay with their edges.
pub(super) fn from_corners(plane: u32, corners: &[Corner]) -> Result<Vec<Edge>, String> {
    if corners.len() < 3 {
        return Err(format!(
            "plane {plane}: the table `edge` has {} of its corners; an outline needs 3 or more, \
             each a row",
            corners.len()
        ));
    }
    let following = corners.iter().cycle().skip(1);
    let edges: Vec<(u32, Edge)> = corners
        .iter()
        .zip(following)
        .map(|(one, next)| (one.number, Edge { from: one.at, to: next.at, kind: one.kind }))
        .collect();
    each_stands_alone(plane, &edges)?;
    let fits = |error: MeasureError| format!("plane {plane}: {error}; check its rows of `edge`");
    if on_one_line(&edges).map_err(fits)? {
        return Err(format!(
            "plane {plane}: its corners in the table `edge` lie on one line, so its area is zero; \
             measure them again"
        ));
    }
    if let Some((one, other)) = first_crossing(&edges).map_err(fits)? {
        return Err(format!(
            "plane {plane}: edge {one} and edge {other} cross or touch; enter the corners in the \
             order in which they follow each other round the plane"
        ));
    }
    let mut edges: Vec<Edge> = edges.into_iter().map(|(_, edge)| edge).collect();
    if is_clockwise(&edges).map_err(fits)? {
        edges.reverse();
        for edge in &mut edges {
            (edge.from, edge.to) = (edge.to, edge.from);
        }
    }
    Ok(edges)
}

/// What can be said of an edge without looking at the others, and the eave.
fn each_stands_alone(plane: u32, edges: &[(u32, Edge)]) -> Result<(), String> {
    for (number, edge) in edges {
        if edge.from == edge.to {
            return Err(format!(
                "edge {number}: the next corner of plane {plane} is at the same place; \
                 delete one of the two rows"
            ));
        }
        if edge.from.up < Ratio::ZERO {
            return Err(format!(
                "edge {number}, up: below the eave; measure up the slope from the deck edge at \
                 the eave"
            ));
        }
    }
    if edges.iter().all(|(_, edge)| edge.kind != EdgeKind::Eave) {
        return Err(format!(
            "plane {plane}: none of its rows of `edge` is an eave; give the low edge the kind eave"
        ));
    }
    Ok(())
}

fn on_one_line(edges: &[(u32, Edge)]) -> Result<bool, MeasureError> {
    let Some(((_, first), rest)) = edges.split_first() else { return Ok(true) };
    for (_, edge) in rest {
        if side(first, edge.to)? != Ordering::Equal {
            return Ok(false);
        }
    }
    Ok(true)
}

/// The rows of the first two edges that meet anywhere but at the corner between them.
fn first_crossing(edges: &[(u32, Edge)]) -> Result<Option<(u32, u32)>, MeasureError> {
    let last = edges.len().saturating_sub(1);
    for (i, (number, edge)) in edges.iter().enumerate() {
        for (j, (other_number, other)) in edges.iter().enumerate().skip(i.saturating_add(1)) {
            let wrong = if j == i.saturating_add(1) {
                folds_back(edge, other)?
            } else if i == 0 && j == last {
                folds_back(other, edge)?
            } else {
                touch(edge, other)?
            };
            if wrong {
                return Ok(Some((*number, *other_number)));
            }
        }
    }
    Ok(None)
}

/// Whether an edge runs back over the one before it.
fn folds_back(edge: &Edge, next: &Edge) -> Result<bool, MeasureError> {
    if side(edge, next.to)? != Ordering::Equal {
        return Ok(false);
    }
    // On one line: back where the next corner lies on the near side of this one.
    let beyond = |from: Ratio, to: Ratio, next: Ratio| (from < to) == (to < next);
    Ok(if edge.from.along == edge.to.along {
        !beyond(edge.from.up, edge.to.up, next.to.up)
    } else {
        !beyond(edge.from.along, edge.to.along, next.to.along)
    })
}

fn touch(one: &Edge, other: &Edge) -> Result<bool, MeasureError> {
    let apart = |a: (Ratio, Ratio), b: (Ratio, Ratio)| {
        a.0.max(a.1) < b.0.min(b.1) || b.0.max(b.1) < a.0.min(a.1)
    };
    let along = |edge: &Edge| (edge.from.along, edge.to.along);
    let up = |edge: &Edge| (edge.from.up, edge.to.up);
    if apart(along(one), along(other)) || apart(up(one), up(other)) {
        return Ok(false);
    }
    let same_side = |line: &Edge, edge: &Edge| {
        let (from, to) = (side(line, edge.from)?, side(line, edge.to)?);
        Ok(from == to && from != Ordering::Equal)
    };
    Ok(!same_side(one, other)? && !same_side(other, one)?)
}

/// On which side of an edge a point lies; greater is on the left.
fn side(edge: &Edge, point: Point) -> Result<Ordering, MeasureError> {
    let along = edge.to.along.minus(edge.from.along)?;
    let up = edge.to.up.minus(edge.from.up)?;
    let left = along.times(point.up.minus(edge.from.up)?)?;
    let right = up.times(point.along.minus(edge.from.along)?)?;
    Ok(left.cmp(&right))
}

fn is_clockwise(edges: &[Edge]) -> Result<bool, MeasureError> {
    let mut twice_the_area = Ratio::ZERO;
    for edge in edges {
        let part = edge.from.along.times(edge.to.up)?.minus(edge.to.along.times(edge.from.up)?)?;
        twice_the_area = twice_the_area.plus(part)?;
    }
    Ok(twice_the_area < Ratio::ZERO)
}
