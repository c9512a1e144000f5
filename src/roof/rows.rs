//! The function `vent_runs` of checklists: the tables of a roof in, its vent runs
//! out. How they are laid is decided elsewhere.

use super::facts::Facts;
use super::laying::lay_all;
use super::plane::{planes, taken_for_square};
use super::product::vent;
use super::words::Words;
use super::{Layout, Plane, Run};
use crate::measure::{
    Column, Dimension, Quantity, Ratio, Row, RowFunction, RowsInput, RowsOutput, TableShape, Type,
    Value,
};

const LENGTH: Type = Type::Quantity(Dimension::LENGTH);
const AREA: Type = Type::Quantity(Dimension::AREA);
const NUMBER: Type = Type::Quantity(Dimension::NUMBER);
const PITCH: Type = Type::Quantity(Dimension::PITCH);
const FREE_AREA_PER_LENGTH: Type = Type::Quantity(Dimension::FREE_AREA_PER_LENGTH);

/// The name of the function that lays vent runs.
pub const RUNS: &str = "vent_runs";

/// Vent runs from planes, edges and obstructions.
pub(super) const VENT_RUNS: RowFunction = RowFunction {
    name: RUNS,
    takes: &[
        Column::needed("piece_length", LENGTH),
        Column::needed("shortest_piece", LENGTH),
        Column::needed("stay_back", LENGTH),
        Column::needed("obstruction_stay_back", LENGTH),
        Column::needed("slot_inset", LENGTH),
        Column::needed("vent_low", LENGTH),
        Column::needed("vent_high", LENGTH),
        Column::needed("nail_line", LENGTH),
        Column::needed("slot_low", LENGTH),
        Column::needed("slot_high", LENGTH),
        Column::needed("member_spacing", LENGTH),
        Column::needed("member_width", LENGTH),
        Column::needed("free_area_per_length", FREE_AREA_PER_LENGTH),
        Column::needed("spread", Type::YesNo),
        Column::optional("shingle_width", LENGTH),
        Column::optional("rake_back", LENGTH),
    ],
    reads: &[
        TableShape { name: "space", needed: true, columns: &[Column::needed("to_lay", AREA)] },
        TableShape { name: "plane", needed: true, columns: PLANE },
        TableShape { name: "edge", needed: false, columns: EDGE },
        TableShape { name: "obstruction", needed: false, columns: OBSTRUCTION },
    ],
    gives: &[
        Column::needed("plane", NUMBER),
        Column::needed("space", NUMBER),
        Column::needed("course", NUMBER),
        Column::needed("pieces", NUMBER),
        Column::needed("reference", Type::Text),
        Column::needed("course_butt", LENGTH),
        Column::needed("vent_start", LENGTH),
        Column::needed("vent_end", LENGTH),
        Column::needed("slot_start", LENGTH),
        Column::needed("slot_end", LENGTH),
        Column::needed("length", LENGTH),
        Column::needed("field_cut", LENGTH),
        Column::needed("free_area", AREA),
    ],
    run: vent_runs,
};

const PLANE: &[Column] = &[
    Column::needed("usable", Type::YesNo),
    Column::needed("space", NUMBER),
    Column::needed("pitch", PITCH),
    Column::needed("exposure", LENGTH),
    Column::needed("past_edge", LENGTH),
    Column::needed("course_butt", LENGTH),
    Column::needed("course", NUMBER),
    Column::optional("faces", Type::Text),
    Column::optional("eave", LENGTH),
    Column::optional("slope_length", LENGTH),
    Column::optional("left", Type::Text),
    Column::optional("right", Type::Text),
    Column::optional("joint_at", LENGTH),
];

/// One row is a corner and the edge that goes from it to the next corner of the
/// same plane.
const EDGE: &[Column] = &[
    Column::needed("plane", NUMBER),
    Column::needed("kind", Type::Text),
    Column::needed("along", LENGTH),
    Column::needed("up", LENGTH),
];

const OBSTRUCTION: &[Column] = &[
    Column::needed("plane", NUMBER),
    Column::needed("kind", Type::Text),
    Column::needed("left", LENGTH),
    Column::needed("right", LENGTH),
    Column::needed("low", LENGTH),
    Column::needed("high", LENGTH),
];

/// Reads the tables that `vent_runs` takes and lays the runs.
///
/// # Errors
/// When a figure is missing or cannot be right: the message names the fact, what
/// is wrong with it and what to do.
pub fn layout_of(input: &RowsInput) -> Result<Layout, String> {
    let values = Facts::values(input);
    let vent = vent(&values)?;
    let spread = values.yes_no("spread")?;
    let to_lay = Facts::rows(input, "space").map(|facts| to_lay(&facts));
    let to_lay = to_lay.collect::<Result<Vec<_>, _>>()?;
    let planes = planes(input)?;
    let mut laying = lay_all(&planes, &vent, &to_lay, spread, Words(input.system))?;
    laying.notes.extend(taken_for_square(input, &planes));
    Ok(Layout { planes, vent, runs: laying.runs, left_out: laying.left_out, notes: laying.notes })
}

fn to_lay(facts: &Facts<'_>) -> Result<Ratio, String> {
    let needed = facts.quantity("to_lay", Dimension::AREA)?;
    if needed < Ratio::ZERO {
        return Err(facts.wrong("to_lay", "must not be below zero; it is zero where no vent goes"));
    }
    Ok(needed)
}

fn vent_runs(input: &RowsInput) -> Result<RowsOutput, String> {
    let layout = layout_of(input)?;
    let rows = layout.runs.iter().map(|run| row(run, &layout.planes)).collect::<Result<_, _>>()?;
    Ok(RowsOutput { rows, notes: layout.notes })
}

fn row(run: &Run, planes: &[Plane]) -> Result<Row, String> {
    let space = planes.iter().find(|plane| plane.number == run.plane).map_or(0, |p| p.space);
    let length = run.vent_end.minus(run.vent_start);
    let length = length.map_err(|error| format!("plane {}: {error}", run.plane))?;
    let quantity = |value, dimension| Value::Quantity(Quantity::new(value, dimension));
    let inches = |value| quantity(value, Dimension::LENGTH);
    let count = |value: u32| Value::Quantity(Quantity::count(i64::from(value)));
    Ok(Row::from([
        ("plane", count(run.plane)),
        ("space", count(space)),
        ("course", count(run.course)),
        ("pieces", count(run.pieces)),
        ("reference", Value::Text(run.left_kind.name().to_owned())),
        ("course_butt", inches(run.course_butt)),
        ("vent_start", inches(run.vent_start)),
        ("vent_end", inches(run.vent_end)),
        ("slot_start", inches(run.slot_start)),
        ("slot_end", inches(run.slot_end)),
        ("length", inches(length)),
        ("field_cut", inches(run.field_cut.unwrap_or(Ratio::ZERO))),
        ("free_area", quantity(run.free_area, Dimension::AREA)),
    ]))
}
