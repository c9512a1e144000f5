//! What can be laid in one free stretch: where it starts, and with how many
//! pieces it brings how much. How much is needed is not known here.

use super::stretch::Stretch;
use super::words::Words;
use super::{Plane, Vent};
use crate::measure::{MeasureError, Ratio, Rounding};

/// More pieces in one run than anybody lays: a slip in a length.
const MOST_PIECES: i128 = 1000;

/// So many pieces in a row.
#[derive(Clone, Copy, Debug)]
pub(super) struct Laid {
    pub(super) pieces: u32,
    /// Length of the one that is cut.
    pub(super) field_cut: Option<Ratio>,
    pub(super) length: Ratio,
    pub(super) free_area: Ratio,
}

/// The run that a stretch can take.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    /// From the plane's left edge.
    pub(super) start: Ratio,
    /// From fewest to most pieces; each brings more free area than the one
    /// before. Never empty.
    pub(super) choices: Vec<Laid>,
    pub(super) greatest: Laid,
    /// What stays bare after the last piece because it is shorter than the
    /// shortest piece.
    pub(super) too_short: Option<Ratio>,
}

/// What can be laid in a stretch, or why nothing can.
pub(super) fn fit(
    plane: &Plane,
    vent: &Vent,
    stretch: Stretch,
    plane_width: Ratio,
    words: Words,
) -> Result<Result<Fit, String>, MeasureError> {
    let start = start(plane, vent, stretch.0)?;
    let room = room(stretch, start, plane_width)?;
    let whole = room.over(vent.piece_length)?.floor();
    if whole < 1 {
        return Ok(Err(too_narrow(vent, stretch, (start, room), words)?));
    }
    if MOST_PIECES < whole {
        return Err(MeasureError::NotPossible(format!(
            "more than {MOST_PIECES} pieces would fit in one run"
        )));
    }
    let rest = room.minus(Ratio::new(whole, 1)?.times(vent.piece_length)?)?;
    let rest = rest.round_to(Ratio::SIXTEENTH, Rounding::Down)?;
    let can_be_cut = Ratio::ZERO < rest && vent.shortest_piece <= rest;
    let choices = choices(vent, whole, can_be_cut.then_some(rest))?;
    let Some(greatest) = choices.last().copied() else {
        return Ok(Err(
            "a slot there may lie over a rafter or truss for all of its length, so it \
                       would let no air in"
                .to_owned(),
        ));
    };
    let too_short = (Ratio::ZERO < rest && !can_be_cut).then_some(rest);
    Ok(Ok(Fit { start, choices, greatest, too_short }))
}

/// Where a run starts: a mark of the tape, and the middle of a shingle where a
/// joint was measured.
fn start(plane: &Plane, vent: &Vent, from: Ratio) -> Result<Ratio, MeasureError> {
    let from = from.round_to(Ratio::SIXTEENTH, Rounding::Up)?;
    let (Some(joint), Some(width)) = (plane.joint_at, vent.shingle_width) else {
        return Ok(from);
    };
    let first_middle = joint.plus(width.over(Ratio::int(2))?)?;
    let shingles = Ratio::new(from.minus(first_middle)?.over(width)?.ceil(), 1)?;
    let middle = first_middle.plus(shingles.times(width)?)?;
    middle.round_to(Ratio::SIXTEENTH, Rounding::Up)
}

/// How long a run may be: to the last mark of the tape in the stretch, whichever
/// end of the plane it is measured from.
fn room((from, to): Stretch, start: Ratio, plane_width: Ratio) -> Result<Ratio, MeasureError> {
    let down = |length: Ratio| length.round_to(Ratio::SIXTEENTH, Rounding::Down);
    let up = |length: Ratio| length.round_to(Ratio::SIXTEENTH, Rounding::Up);
    let from_the_left = down(to)?.minus(start)?;
    let from_the_right = down(plane_width.minus(from)?)?.minus(up(plane_width.minus(to)?)?)?;
    Ok(from_the_left.min(from_the_right))
}

fn too_narrow(
    vent: &Vent,
    (from, to): Stretch,
    (start, room): (Ratio, Ratio),
    words: Words,
) -> Result<String, MeasureError> {
    let free = to.minus(from)?;
    let piece = words.tape(vent.piece_length);
    if free < vent.piece_length {
        return Ok(format!(
            "{} is free, less than one whole piece of {piece}",
            words.at_most(free)
        ));
    }
    Ok(format!(
        "{} is free, but a run that starts at the mark {} has {} of it, less than one whole piece \
         of {piece}",
        words.at_most(free),
        words.at_least(start),
        words.at_most(room.max(Ratio::ZERO)),
    ))
}

/// All lengths worth laying, a cut piece last.
fn choices(vent: &Vent, whole: i128, cut: Option<Ratio>) -> Result<Vec<Laid>, MeasureError> {
    let mut choices: Vec<Laid> = Vec::new();
    let mut add = |pieces: i128, length: Ratio, field_cut| -> Result<(), MeasureError> {
        let free_area = free_area(vent, length)?;
        if choices.last().map_or(Ratio::ZERO, |last| last.free_area) < free_area {
            let pieces = u32::try_from(pieces).map_err(|_| MeasureError::Overflow)?;
            choices.push(Laid { pieces, field_cut, length, free_area });
        }
        Ok(())
    };
    let length_of = |pieces: i128| Ratio::new(pieces, 1)?.times(vent.piece_length);
    for pieces in 1..=whole {
        add(pieces, length_of(pieces)?, None)?;
    }
    if let Some(cut) = cut {
        add(whole.saturating_add(1), length_of(whole)?.plus(cut)?, Some(cut))?;
    }
    Ok(choices)
}

/// What vent and slot both let through, in square inches.
///
/// As many members as can lie under the slot are taken off its length. Only the
/// deck is cut, never a truss or rafter, so the slot is no wider than the clear
/// space between two of them.
pub(super) fn free_area(vent: &Vent, length: Ratio) -> Result<Ratio, MeasureError> {
    let slot_length = length.minus(vent.slot_inset.plus(vent.slot_inset)?)?;
    let members =
        Ratio::new(slot_length.over(vent.member_spacing)?.floor(), 1)?.plus(Ratio::ONE)?;
    let open = slot_length.minus(members.times(vent.member_width)?)?;
    let between = vent.member_spacing.minus(vent.member_width)?;
    let width = vent.slot_high.minus(vent.slot_low)?.min(between);
    let slot = open.max(Ratio::ZERO).times(width)?;
    Ok(length.times(vent.free_area_per_length)?.min(slot))
}
