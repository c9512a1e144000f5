//! Roof geometry and ventilation: the trade functions that formulas may call.
//!
//! Pure. Knows quantities only; which facts go in is the checklist's business.

mod choice;
mod drawing;
mod facts;
mod laying;
mod layout;
mod obstruction;
mod outline;
mod pieces;
mod plane;
mod product;
mod rows;
mod section;
mod slope;
mod stretch;
mod ventilation;
mod words;

pub use drawing::{Place, Plate, Pointed, plates, sheet};
pub use layout::{Edge, EdgeKind, Layout, LeftOut, Obstruction, Plane, Point, Run, Vent};
pub use rows::{RUNS, layout_of};
pub use slope::{
    bottom_third_to, hip_factor, ice_barrier_top, insulation_clear_run, rise_for, slope_factor,
};
pub use ventilation::required_free_area;

use crate::measure::{Dimension, Function, Functions, MeasureError, Quantity};

const LENGTH: Dimension = Dimension::LENGTH;
const PITCH: Dimension = Dimension::PITCH;

/// All trade functions, by the names formulas use.
pub fn functions() -> Functions {
    Functions::new()
        .with(Function {
            name: "slope_factor",
            takes: &[PITCH],
            gives: Dimension::NUMBER,
            run: |values| values_of(values, |[pitch]| slope_factor(pitch)),
        })
        .with(Function {
            name: "hip_factor",
            takes: &[PITCH],
            gives: Dimension::NUMBER,
            run: |values| values_of(values, |[pitch]| hip_factor(pitch)),
        })
        .with(Function {
            name: "rise_for",
            takes: &[LENGTH, PITCH],
            gives: LENGTH,
            run: |values| values_of(values, |[run, pitch]| rise_for(run, pitch)),
        })
        .with(Function {
            name: "required_free_area",
            takes: &[Dimension::AREA, Dimension::NUMBER],
            gives: Dimension::AREA,
            run: |values| values_of(values, |[area, ratio]| required_free_area(area, ratio)),
        })
        .with(Function {
            name: "insulation_clear_run",
            takes: &[LENGTH, LENGTH, LENGTH, PITCH],
            gives: LENGTH,
            run: |values| {
                values_of(values, |[heel, depth, air, pitch]| {
                    insulation_clear_run(heel, depth, air, pitch)
                })
            },
        })
        .with(Function {
            name: "bottom_third_to",
            takes: &[LENGTH, LENGTH, LENGTH, PITCH],
            gives: LENGTH,
            run: |values| {
                values_of(values, |[heel, run, overhang, pitch]| {
                    bottom_third_to(heel, run, overhang, pitch)
                })
            },
        })
        .with(Function {
            name: "ice_barrier_top",
            takes: &[LENGTH, LENGTH, LENGTH, PITCH],
            gives: LENGTH,
            run: |values| {
                values_of(values, |[overhang, wall, inside, pitch]| {
                    ice_barrier_top(overhang, wall, inside, pitch)
                })
            },
        })
        .with_rows(rows::VENT_RUNS)
}

/// Hands the values over by name, however the caller came by them.
fn values_of<const N: usize>(
    values: &[Quantity],
    run: fn([Quantity; N]) -> Result<Quantity, MeasureError>,
) -> Result<Quantity, MeasureError> {
    let values = values
        .try_into()
        .map_err(|_| MeasureError::NotPossible(format!("{N} values are needed")))?;
    run(values)
}
