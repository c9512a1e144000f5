//! Lays the runs of a job: for each plane what is free, for each attic space what
//! is chosen. The sentences for the crew come from here too.

use super::choice::{Candidate, lay};
use super::pieces::{Fit, Laid, fit};
use super::section::{Section, section};
use super::stretch::{Stretch, free_stretches};
use super::words::Words;
use super::{LeftOut, Plane, Run, Vent};
use crate::measure::{MeasureError, Ratio, Rounding};

/// What was laid, what not, and what the crew has to know.
#[derive(Debug, Default)]
pub(super) struct Laying {
    pub(super) runs: Vec<Run>,
    pub(super) left_out: Vec<LeftOut>,
    pub(super) notes: Vec<String>,
}

/// A stretch with what it can take.
struct Place<'p> {
    plane: &'p Plane,
    section: Section,
    stretch: Stretch,
    fit: Fit,
}

/// Lays what each space needs, in square inches, on its usable planes.
pub(super) fn lay_all(
    planes: &[Plane],
    vent: &Vent,
    to_lay: &[Ratio],
    on_every_plane: bool,
    words: Words,
) -> Result<Laying, String> {
    let mut laying = Laying::default();
    let mut places = Vec::new();
    for plane in planes.iter().filter(|plane| plane.usable) {
        look_at(plane, vent, words, &mut places, &mut laying).map_err(|error| {
            format!("plane {}: {error}; check its figures and those of the vent", plane.number)
        })?;
    }
    for (space, needed) in (1_u32..).zip(to_lay) {
        let here: Vec<&Place<'_>> =
            places.iter().filter(|place| place.plane.space == space).collect();
        lay_space(space, *needed, vent, &here, (on_every_plane, words), &mut laying)
            .map_err(|error| format!("space {space}, to_lay: {error}; check it"))?;
    }
    laying.runs.sort_by_key(|run| (run.plane, run.vent_start));
    laying.left_out.sort_by_key(|left_out| (left_out.plane, left_out.from_to));
    Ok(laying)
}

/// Finds the places of one plane, and the stretches that cannot be one.
fn look_at<'p>(
    plane: &'p Plane,
    vent: &Vent,
    words: Words,
    places: &mut Vec<Place<'p>>,
    laying: &mut Laying,
) -> Result<(), MeasureError> {
    let Some(section) = section(&plane.edges, plane.course_butt)? else { return Ok(()) };
    let width = section.right_at.minus(section.left_at)?;
    let stretches = free_stretches(plane, vent, &section)?;
    if stretches.is_empty() {
        let why = "edges, obstructions and what to stay back from them leave nothing free";
        leave_out(plane, (Ratio::ZERO, width), why, words, laying);
    }
    for stretch in stretches {
        match fit(plane, vent, stretch, width, words)? {
            Ok(fit) => places.push(Place { plane, section, stretch, fit }),
            Err(why) => leave_out(plane, stretch, &why, words, laying),
        }
    }
    Ok(())
}

fn leave_out(plane: &Plane, from_to: Stretch, why: &str, words: Words, laying: &mut Laying) {
    laying.notes.push(format!(
        "Plane {}, course {}: no vent from {} to {}: {why}.",
        plane.number,
        plane.course,
        words.tape(from_to.0),
        words.tape(from_to.1)
    ));
    laying.left_out.push(LeftOut { plane: plane.number, from_to, why: sentence(why) });
}

fn sentence(why: &str) -> String {
    let mut letters = why.chars();
    let first = letters.next().map(|letter| letter.to_ascii_uppercase());
    first.into_iter().chain(letters).chain(['.']).collect()
}

fn lay_space(
    space: u32,
    needed: Ratio,
    vent: &Vent,
    places: &[&Place<'_>],
    (on_every_plane, words): (bool, Words),
    laying: &mut Laying,
) -> Result<(), MeasureError> {
    let candidates: Vec<Candidate<'_>> = places
        .iter()
        .map(|place| Candidate { plane: place.plane.number, fit: &place.fit })
        .collect();
    let laid = lay(&candidates, needed, on_every_plane)?;
    let mut brought = Ratio::ZERO;
    let mut planes_with_runs = Vec::new();
    for (place, laid) in places.iter().zip(laid) {
        let plane = place.plane.number;
        let Some(laid) = laid else {
            let why = format!("Not needed: {}.", not_needed(space, needed));
            laying.left_out.push(LeftOut { plane, from_to: place.stretch, why });
            continue;
        };
        brought = brought.plus(laid.free_area)?;
        planes_with_runs.push(plane);
        note_what_is_bare(place, &laid, words, &mut laying.notes);
        laying.runs.push(run(place, &laid, vent)?);
    }
    note_shortfall(space, (needed, brought), vent, words, &mut laying.notes)?;
    planes_with_runs.dedup();
    if let [only] = planes_with_runs.as_slice()
        && let Some(other) = places.iter().find(|place| place.plane.number != *only)
    {
        laying.notes.push(format!(
            "Space {space}: all its runs lie on plane {only}, though plane {} could take one. \
             R806.1 asks to cross-ventilate each separate space: ask the building official.",
            other.plane.number
        ));
    }
    Ok(())
}

fn not_needed(space: u32, needed: Ratio) -> String {
    match needed == Ratio::ZERO {
        true => format!("space {space} has no vent to lay"),
        false => format!("the other runs of space {space} bring what it needs"),
    }
}

fn run(place: &Place<'_>, laid: &Laid, vent: &Vent) -> Result<Run, MeasureError> {
    let vent_start = place.fit.start;
    let vent_end = vent_start.plus(laid.length)?;
    Ok(Run {
        plane: place.plane.number,
        course: place.plane.course,
        course_butt: place.plane.course_butt,
        left_kind: place.section.left_kind,
        left_at: place.section.left_at,
        vent_start,
        vent_end,
        slot_start: vent_start.plus(vent.slot_inset)?,
        slot_end: vent_end.minus(vent.slot_inset)?,
        pieces: laid.pieces,
        field_cut: laid.field_cut,
        free_area: laid.free_area,
    })
}

/// A run that holds all it can and still leaves a rest too short for a piece.
fn note_what_is_bare(place: &Place<'_>, laid: &Laid, words: Words, notes: &mut Vec<String>) {
    if let Some(bare) = place.fit.too_short
        && laid.pieces == place.fit.greatest.pieces
    {
        notes.push(format!(
            "Plane {}: the run from {} leaves {} at its end bare, shorter than the shortest piece.",
            place.plane.number,
            words.tape(place.fit.start),
            words.at_most(bare)
        ));
    }
}

fn note_shortfall(
    space: u32,
    (needed, brought): (Ratio, Ratio),
    vent: &Vent,
    words: Words,
    notes: &mut Vec<String>,
) -> Result<(), MeasureError> {
    if needed <= brought {
        return Ok(());
    }
    let missing = needed.minus(brought)?;
    let length = missing.over(vent.free_area_per_length)?;
    notes.push(format!(
        "Space {space}: the runs bring {}, {} less than the {} needed: {} more vent, on another \
         plane or course, or as much free area of another intake.",
        words.area(brought, Rounding::Down),
        words.area(missing, Rounding::Up),
        words.area(needed, Rounding::Up),
        words.at_least_whole(length),
    ));
    Ok(())
}
