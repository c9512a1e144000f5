//! What stands on the planes: chimneys, skylights and the like, each a rectangle
//! that has to lie on its plane.

use super::facts::Facts;
use super::section::crossing;
use super::{Edge, Obstruction};
use crate::measure::{MeasureError, Ratio, RowsInput};

const KINDS: [&str; 5] = ["chimney", "skylight", "pipe", "dormer", "other"];

/// Each with the number of its plane.
pub(super) fn obstructions(
    input: &RowsInput,
    planes: u32,
) -> Result<Vec<(u32, Obstruction)>, String> {
    Facts::rows(input, "obstruction").map(|facts| obstruction(&facts, planes)).collect()
}

fn obstruction(facts: &Facts<'_>, planes: u32) -> Result<(u32, Obstruction), String> {
    let plane = facts.row_of("plane", planes)?;
    let kind = facts.choice("kind", &KINDS)?.to_owned();
    let (left, right) = (facts.length("left")?, facts.length("right")?);
    let (low, high) = (facts.length("low")?, facts.length("high")?);
    if right <= left {
        return Err(facts
            .wrong("left", "not less than its right; measure both from the left end of the eave"));
    }
    if high <= low {
        return Err(
            facts.wrong("low", "not less than its high; measure both up from the deck edge")
        );
    }
    Ok((plane, Obstruction { number: facts.number, kind, left, right, low, high }))
}

/// Says so when a rectangle is not on its plane. A part of it may reach over a
/// sloping edge, as a chimney on a hip does, but not past the plane's ends.
pub(super) fn must_lie_on(
    plane: u32,
    edges: &[Edge],
    obstruction: &Obstruction,
) -> Result<(), String> {
    let number = obstruction.number;
    let corners = || edges.iter().map(|edge| edge.from);
    let within = |least: Option<Ratio>, from, to, greatest: Option<Ratio>| {
        least.is_some_and(|least| least <= from) && greatest.is_some_and(|greatest| to <= greatest)
    };
    let alongs = || corners().map(|corner| corner.along);
    let ups = || corners().map(|corner| corner.up);
    if !within(alongs().min(), obstruction.left, obstruction.right, alongs().max()) {
        return Err(format!(
            "obstruction {number}, left and right: it reaches past the ends of plane {plane}; \
             check its plane, or give only the part on it"
        ));
    }
    if !within(ups().min(), obstruction.low, obstruction.high, ups().max()) {
        return Err(format!(
            "obstruction {number}, low and high: it reaches below or above plane {plane}; \
             check its plane, or give only the part on it"
        ));
    }
    let on_it = covers_some(edges, obstruction)
        .map_err(|error| format!("obstruction {number}: {error}; check its figures"))?;
    if !on_it {
        return Err(format!(
            "obstruction {number}: it lies outside the outline of plane {plane}; check its plane \
             and where it stands"
        ));
    }
    Ok(())
}

/// Whether rectangle and plane share more than a border.
fn covers_some(edges: &[Edge], obstruction: &Obstruction) -> Result<bool, MeasureError> {
    for edge in edges {
        if passes_through(edge, obstruction)? {
            return Ok(true);
        }
    }
    // No edge inside: all of the rectangle is on the plane or none of it.
    let half = |a: Ratio, b: Ratio| a.plus(b)?.over(Ratio::int(2));
    let (along, up) =
        (half(obstruction.left, obstruction.right)?, half(obstruction.low, obstruction.high)?);
    let mut to_the_left = 0_u32;
    for edge in edges {
        if crossing(edge, up)?.is_some_and(|at| at < along) {
            to_the_left = to_the_left.saturating_add(1);
        }
    }
    Ok(to_the_left % 2 == 1)
}

/// Whether a part of an edge lies inside a rectangle, its border not counted.
fn passes_through(edge: &Edge, obstruction: &Obstruction) -> Result<bool, MeasureError> {
    let sides = [
        (edge.from.along, edge.to.along, obstruction.left, obstruction.right),
        (edge.from.up, edge.to.up, obstruction.low, obstruction.high),
    ];
    let passes_by = |(from, to, least, greatest): &(Ratio, Ratio, Ratio, Ratio)| {
        *from.max(to) <= *least || *greatest <= *from.min(to)
    };
    if sides.iter().any(passes_by) {
        return Ok(false);
    }
    // The part of the edge, from 0 to 1, that is between left and right and between low and high.
    let (mut enters, mut leaves) = (Ratio::ZERO, Ratio::ONE);
    for (from, to, least, greatest) in sides {
        if from == to {
            continue;
        }
        let length = to.minus(from)?;
        let (a, b) = (least.minus(from)?.over(length)?, greatest.minus(from)?.over(length)?);
        enters = enters.max(a.min(b));
        leaves = leaves.min(a.max(b));
    }
    Ok(enters < leaves)
}
