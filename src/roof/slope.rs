//! Lengths on a sloping roof. Every pitch is rise over horizontal run; square
//! roots are rounded once to 1e-9.

use crate::measure::{MeasureError, Quantity, Ratio};

const ONE: Quantity = Quantity::count(1);

/// Length along the slope for each length of horizontal run: a plain number.
///
/// # Errors
/// When `pitch` is no pitch, is negative, or the result does not fit.
pub fn slope_factor(pitch: Quantity) -> Result<Quantity, MeasureError> {
    not_negative(pitch)?;
    pitch.times(pitch)?.plus(ONE)?.sqrt()
}

/// Length of a hip or valley for each length of COMMON run (not of the hip's own
/// run): a plain number, for equal pitches and a square corner.
///
/// # Errors
/// When `pitch` is no pitch, is negative, or the result does not fit.
pub fn hip_factor(pitch: Quantity) -> Result<Quantity, MeasureError> {
    not_negative(pitch)?;
    pitch.times(pitch)?.plus(Quantity::count(2))?.sqrt()
}

/// Rise over a horizontal run, a length.
///
/// # Errors
/// When the dimensions are wrong or the result does not fit.
pub fn rise_for(run: Quantity, pitch: Quantity) -> Result<Quantity, MeasureError> {
    run.times(pitch)
}

/// Horizontal distance inside the outer wall line where the underside of the
/// deck clears the insulation and the air space, a length; zero where it already
/// does at the wall line.
///
/// The air space is measured square to the deck, the conservative reading:
/// `max(0, (insulation + air * slope_factor - heel) / pitch)`.
///
/// # Errors
/// When the pitch is not above zero, or the result does not fit.
pub fn insulation_clear_run(
    heel: Quantity,
    insulation: Quantity,
    air: Quantity,
    pitch: Quantity,
) -> Result<Quantity, MeasureError> {
    sloping(pitch)?;
    let needed = insulation.plus(air.times(slope_factor(pitch)?)?)?;
    not_below_zero(needed.minus(heel)?.over(pitch)?)
}

/// Distance up the slope from the eave edge to the end of the bottom third of
/// the attic's height, a length.
///
/// Thirds of the clear height `heel + run * pitch` are an assumption: the code
/// text does not say of what the third is taken.
///
/// # Errors
/// When the pitch is not above zero, or the result does not fit.
pub fn bottom_third_to(
    heel: Quantity,
    run: Quantity,
    overhang: Quantity,
    pitch: Quantity,
) -> Result<Quantity, MeasureError> {
    sloping(pitch)?;
    let third = heel.plus(run.times(pitch)?)?.over(Quantity::count(3))?;
    let inside = third.minus(heel)?.over(pitch)?;
    not_below_zero(overhang.plus(inside)?.times(slope_factor(pitch)?)?)
}

/// Distance up the slope from the eave edge to the top of the ice barrier, a
/// length; `wall` is zero where the wall's thickness does not count.
///
/// # Errors
/// When the dimensions are wrong or the result does not fit.
pub fn ice_barrier_top(
    overhang: Quantity,
    wall: Quantity,
    inside: Quantity,
    pitch: Quantity,
) -> Result<Quantity, MeasureError> {
    overhang.plus(wall)?.plus(inside)?.times(slope_factor(pitch)?)
}

fn not_below_zero(quantity: Quantity) -> Result<Quantity, MeasureError> {
    Ok(Quantity::new(quantity.value.max(Ratio::ZERO), quantity.dimension))
}

fn not_negative(pitch: Quantity) -> Result<(), MeasureError> {
    if pitch.value < Ratio::ZERO {
        return Err(MeasureError::NotPossible("the pitch must not be negative".to_owned()));
    }
    Ok(())
}

fn sloping(pitch: Quantity) -> Result<(), MeasureError> {
    if pitch.value <= Ratio::ZERO {
        return Err(MeasureError::NotPossible("the pitch must be more than zero".to_owned()));
    }
    Ok(())
}
