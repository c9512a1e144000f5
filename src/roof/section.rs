//! A plane cut level at one height: where its outline is there. What may be laid
//! at that height is not decided here.

use super::{Edge, EdgeKind};
use crate::measure::{MeasureError, Ratio};

/// The outer ends of a plane at one height, from the eave's left end.
#[derive(Clone, Copy, Debug)]
pub(super) struct Section {
    pub(super) left_at: Ratio,
    pub(super) left_kind: EdgeKind,
    pub(super) right_at: Ratio,
}

/// None where the plane does not reach that height.
pub(super) fn section(edges: &[Edge], height: Ratio) -> Result<Option<Section>, MeasureError> {
    let mut found: Option<(Section, Rank)> = None;
    for edge in edges {
        let Some((left, right)) = within(edge, height, height)? else { continue };
        let rank = rank(edge, height);
        let here = Section { left_at: left, left_kind: edge.kind, right_at: right };
        found = Some(match found {
            None => (here, rank),
            Some((mut known, mut known_rank)) => {
                if left < known.left_at || left == known.left_at && known_rank < rank {
                    (known.left_at, known.left_kind, known_rank) = (left, edge.kind, rank);
                }
                known.right_at = known.right_at.max(right);
                (known, known_rank)
            }
        });
    }
    Ok(found.map(|(section, _)| section))
}

/// Which edge names a corner: the one that goes on up from it, then any sloping one.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    Level,
    GoesDown,
    GoesUp,
}

fn rank(edge: &Edge, height: Ratio) -> Rank {
    match (edge.from.up == edge.to.up, height < edge.from.up.max(edge.to.up)) {
        (true, _) => Rank::Level,
        (_, true) => Rank::GoesUp,
        (_, false) => Rank::GoesDown,
    }
}

/// From where to where an edge lies, along the eave, between two heights and at them.
pub(super) fn within(
    edge: &Edge,
    low: Ratio,
    high: Ratio,
) -> Result<Option<(Ratio, Ratio)>, MeasureError> {
    let (bottom, top) = (edge.from.up.min(edge.to.up), edge.from.up.max(edge.to.up));
    if top < low || high < bottom {
        return Ok(None);
    }
    let (a, b) = if bottom == top {
        (edge.from.along, edge.to.along)
    } else {
        (along_at(edge, bottom.max(low))?, along_at(edge, top.min(high))?)
    };
    Ok(Some((a.min(b), a.max(b))))
}

/// Where an edge crosses a height; one that only comes down to it counts, one
/// that only comes up to it does not, so that every corner counts right.
pub(super) fn crossing(edge: &Edge, height: Ratio) -> Result<Option<Ratio>, MeasureError> {
    let (bottom, top) = (edge.from.up.min(edge.to.up), edge.from.up.max(edge.to.up));
    if bottom <= height && height < top { along_at(edge, height).map(Some) } else { Ok(None) }
}

/// Where an edge that is not level is at a height between its ends.
fn along_at(edge: &Edge, height: Ratio) -> Result<Ratio, MeasureError> {
    if edge.from.along == edge.to.along || height == edge.from.up {
        return Ok(edge.from.along);
    }
    if height == edge.to.up {
        return Ok(edge.to.along);
    }
    let lean = edge.to.along.minus(edge.from.along)?.over(edge.to.up.minus(edge.from.up)?)?;
    edge.from.along.plus(lean.times(height.minus(edge.from.up)?)?)
}
