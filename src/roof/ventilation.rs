//! Attic ventilation areas. The ratio is a setting of the job, never a constant here.

use crate::measure::{MeasureError, Quantity, Ratio};

/// Net free area needed for an attic of `area` at one in `ratio`, an area.
///
/// # Errors
/// When the ratio is not above zero or the result does not fit.
pub fn required_free_area(area: Quantity, ratio: Quantity) -> Result<Quantity, MeasureError> {
    if ratio.value <= Ratio::ZERO {
        return Err(MeasureError::NotPossible("the ratio must be more than zero".to_owned()));
    }
    area.over(ratio)
}
