//! The product's figures and the members under the deck, and whether they go
//! together. They come from the user's profile, never from here.

use super::Vent;
use super::facts::Facts;
use crate::measure::{Dimension, MeasureError, Ratio};

/// Reads and checks them.
pub(super) fn vent(facts: &Facts<'_>) -> Result<Vent, String> {
    let stay_back = facts.distance("stay_back")?;
    let rake_back = facts.length_if_known("rake_back")?.unwrap_or(stay_back);
    let vent = Vent {
        piece_length: facts.positive("piece_length", Dimension::LENGTH)?,
        shortest_piece: facts.distance("shortest_piece")?,
        free_area_per_length: facts
            .positive("free_area_per_length", Dimension::FREE_AREA_PER_LENGTH)?,
        stay_back,
        rake_back: rake_back.max(stay_back),
        obstruction_stay_back: facts.distance("obstruction_stay_back")?,
        slot_inset: facts.distance("slot_inset")?,
        vent_low: facts.length("vent_low")?,
        vent_high: facts.length("vent_high")?,
        nail_line: facts.length("nail_line")?,
        slot_low: facts.length("slot_low")?,
        slot_high: facts.length("slot_high")?,
        shingle_width: shingle_width(facts)?,
        member_spacing: facts.positive("member_spacing", Dimension::LENGTH)?,
        member_width: facts.distance("member_width")?,
    };
    match mismatch(&vent).map_err(|error| facts.wrong("slot_inset", error))? {
        None => Ok(vent),
        Some((column, what)) => Err(facts.wrong(column, what)),
    }
}

fn shingle_width(facts: &Facts<'_>) -> Result<Option<Ratio>, String> {
    match facts.length_if_known("shingle_width")? {
        Some(width) if width < Ratio::ZERO => {
            Err(facts.wrong("shingle_width", "must not be below zero"))
        }
        width => Ok(width.filter(|width| *width != Ratio::ZERO)),
    }
}

/// The figure that does not go with another, and what to do.
fn mismatch(vent: &Vent) -> Result<Option<(&'static str, &'static str)>, MeasureError> {
    let covered = vent.slot_inset.plus(vent.slot_inset)?;
    let rules = [
        (
            vent.shortest_piece <= vent.piece_length,
            "shortest_piece",
            "more than piece_length; give the shortest piece that may be cut from one",
        ),
        (
            covered < vent.piece_length,
            "slot_inset",
            "half of piece_length or more, so that one piece leaves no slot; check both",
        ),
        (
            vent.slot_low < vent.slot_high,
            "slot_low",
            "not below slot_high; give the slot's low edge, then its high edge",
        ),
        (
            vent.nail_line < vent.slot_low,
            "nail_line",
            "not below slot_low, so the nails would stand in the cut; check both",
        ),
        (
            vent.vent_low <= vent.slot_low,
            "vent_low",
            "above slot_low, so the vent does not cover the slot; check both",
        ),
        (
            vent.slot_high <= vent.vent_high,
            "vent_high",
            "below slot_high, so the vent does not cover the slot; check both",
        ),
        (
            vent.member_width < vent.member_spacing,
            "member_width",
            "not less than member_spacing; the spacing is from centre to centre",
        ),
    ];
    let broken = rules.into_iter().find(|(holds, _, _)| !holds);
    Ok(broken.map(|(_, column, what)| (column, what)))
}
