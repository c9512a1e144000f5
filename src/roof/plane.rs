//! The roof planes: each with its outline and what stands on it. What is laid on
//! them is decided elsewhere.

use std::collections::BTreeMap;

use super::facts::Facts;
use super::obstruction::{must_lie_on, obstructions};
use super::outline::{Corner, Sides, from_corners, from_sides};
use super::{Edge, EdgeKind, Plane, Point};
use crate::measure::{Dimension, MeasureError, Quantity, Ratio, RowsInput, Value};

/// What the side of a plane can be that goes up from its eave.
const SIDES: [EdgeKind; 4] = [EdgeKind::Rake, EdgeKind::Hip, EdgeKind::Valley, EdgeKind::Wall];

/// The highest course that is believed.
const MOST_COURSES: u32 = 1000;

/// Reads and checks all planes.
pub(super) fn planes(input: &RowsInput) -> Result<Vec<Plane>, String> {
    let spaces = rows_in(input, "space");
    let count = rows_in(input, "plane");
    let mut corners: BTreeMap<u32, Vec<Corner>> = BTreeMap::new();
    for facts in Facts::rows(input, "edge") {
        corners.entry(facts.row_of("plane", count)?).or_default().push(corner(&facts)?);
    }
    let mut standing = BTreeMap::<u32, Vec<_>>::new();
    for (plane, obstruction) in obstructions(input, count)? {
        standing.entry(plane).or_default().push(obstruction);
    }
    Facts::rows(input, "plane")
        .map(|facts| {
            let edges = match corners.get(&facts.number) {
                Some(corners) => from_corners(facts.number, corners)?,
                None => outline_of_sides(&facts)?,
            };
            let mut plane = plane(&facts, spaces, edges)?;
            plane.obstructions = standing.remove(&facts.number).unwrap_or_default();
            for obstruction in &plane.obstructions {
                must_lie_on(plane.number, &plane.edges, obstruction)?;
            }
            if plane.usable {
                course_is_on_it(&facts, &plane)?;
            }
            Ok(plane)
        })
        .collect()
}

/// Says which outlines rest on an assumption.
pub(super) fn taken_for_square(input: &RowsInput, planes: &[Plane]) -> Option<String> {
    let leans = |edge: &Edge| matches!(edge.kind, EdgeKind::Hip | EdgeKind::Valley);
    let has_corners = |plane: &Plane| {
        let number = Value::Quantity(Quantity::count(i64::from(plane.number)));
        let mut rows = input.tables.get("edge").into_iter().flatten();
        rows.any(|row| row.get("plane") == Some(&number))
    };
    let numbers: Vec<String> = planes
        .iter()
        .filter(|plane| plane.edges.iter().any(leans) && !has_corners(plane))
        .map(|plane| plane.number.to_string())
        .collect();
    let plane = match numbers.len() {
        0 => return None,
        1 => "plane",
        _ => "planes",
    };
    Some(format!(
        "Hips and valleys of {plane} {} are taken for equal pitches and square corners; where the \
         roof differs, enter the corners as rows of `edge`.",
        numbers.join(", ")
    ))
}

/// How many rows a table has.
pub(super) fn rows_in(input: &RowsInput, table: &str) -> u32 {
    let rows = input.tables.get(table).map_or(0, Vec::len);
    u32::try_from(rows).unwrap_or(u32::MAX)
}

fn corner(facts: &Facts<'_>) -> Result<Corner, String> {
    Ok(Corner {
        number: facts.number,
        at: Point { along: facts.length("along")?, up: facts.length("up")? },
        kind: facts.edge_kind("kind", &EdgeKind::ALL)?,
    })
}

fn plane(facts: &Facts<'_>, spaces: u32, edges: Vec<Edge>) -> Result<Plane, String> {
    let most = format!("{MOST_COURSES} is the most; count the courses from the eave");
    Ok(Plane {
        number: facts.number,
        faces: facts.text_if_known("faces")?.unwrap_or_default().to_owned(),
        space: facts.row_of("space", spaces)?,
        usable: facts.yes_no("usable")?,
        edges,
        obstructions: Vec::new(),
        pitch: facts.positive("pitch", Dimension::PITCH)?,
        exposure: facts.positive("exposure", Dimension::LENGTH)?,
        past_edge: facts.distance("past_edge")?,
        course: facts.count("course", MOST_COURSES, &most)?,
        course_butt: facts.length("course_butt")?,
        joint_at: facts.length_if_known("joint_at")?,
    })
}

fn outline_of_sides(facts: &Facts<'_>) -> Result<Vec<Edge>, String> {
    let lengths = ["eave", "slope_length"];
    for column in lengths {
        match facts.length_if_known(column)? {
            None => return Err(no_outline(facts, column)),
            Some(length) if length <= Ratio::ZERO => {
                return Err(facts.wrong(column, "must be more than zero"));
            }
            Some(_) => {}
        }
    }
    for column in ["left", "right"] {
        if facts.text_if_known(column)?.is_none() {
            return Err(no_outline(facts, column));
        }
    }
    let pitch = facts.positive("pitch", Dimension::PITCH)?;
    let sides = Sides {
        eave: facts.length("eave")?,
        slope_length: facts.length("slope_length")?,
        left: facts.edge_kind("left", &SIDES)?,
        right: facts.edge_kind("right", &SIDES)?,
        pitch: Quantity::new(pitch, Dimension::PITCH),
    };
    from_sides(&sides).map_err(|error| facts.wrong("eave", error))
}

fn no_outline(facts: &Facts<'_>, column: &str) -> String {
    facts.wrong(
        column,
        "not known, so the plane has no outline; give its eave, slope_length, left and right, or \
         its corners as rows of `edge`",
    )
}

/// Says so when course or butt edge lie below or above a plane.
fn course_is_on_it(facts: &Facts<'_>, plane: &Plane) -> Result<(), String> {
    let ups = || plane.edges.iter().map(|edge| edge.from.up);
    let (bottom, top) = (ups().min().unwrap_or(Ratio::ZERO), ups().max().unwrap_or(Ratio::ZERO));
    if plane.course_butt < bottom {
        return Err(facts.wrong(
            "course_butt",
            "below the deck edge, where no vent can be measured in; choose a higher course",
        ));
    }
    if top <= plane.course_butt {
        return Err(facts.wrong(
            "course_butt",
            "not below the top of the plane; choose a lower course or measure again",
        ));
    }
    let starts = |plane: &Plane| -> Result<Ratio, MeasureError> {
        let below = Ratio::int(i64::from(plane.course)).minus(Ratio::ONE)?;
        below.times(plane.exposure)?.minus(plane.past_edge)
    };
    if top <= starts(plane).map_err(|error| facts.wrong("course", error))? {
        return Err(facts.wrong(
            "course",
            "with this exposure it would start above the top of the plane; count the courses \
             again from the eave",
        ));
    }
    Ok(())
}
