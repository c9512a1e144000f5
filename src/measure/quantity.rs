//! A value with its dimension, in base units.

use std::cmp::Ordering;

use super::{Dimension, MeasureError, Ratio, Unit};

/// An exact value in base units: inches, pounds, seconds, degrees Rankine and
/// their products; a pitch is rise over run.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Quantity {
    /// The value in base units.
    pub value: Ratio,
    /// What kind of quantity it is.
    pub dimension: Dimension,
}

impl Quantity {
    /// A value in the base units of `dimension`.
    pub const fn new(value: Ratio, dimension: Dimension) -> Self {
        Self { value, dimension }
    }

    /// A length in inches.
    pub const fn inches(value: Ratio) -> Self {
        Self::new(value, Dimension::LENGTH)
    }

    /// A length in feet.
    ///
    /// # Errors
    /// When the value does not fit in inches.
    pub fn feet(value: Ratio) -> Result<Self, MeasureError> {
        Ok(Self::inches(value.times(Ratio::int(12))?))
    }

    /// A plain number.
    pub const fn number(value: Ratio) -> Self {
        Self::new(value, Dimension::NUMBER)
    }

    /// A plain whole number.
    pub const fn count(value: i64) -> Self {
        Self::number(Ratio::int(value))
    }

    /// A pitch of `rise` in twelve.
    ///
    /// # Errors
    /// When the value does not fit.
    pub fn pitch_in_twelve(rise: Ratio) -> Result<Self, MeasureError> {
        Ok(Self::new(rise.over(Ratio::int(12))?, Dimension::PITCH))
    }

    /// `value` of `unit`, so many degrees on the scale for thermometer readings.
    ///
    /// # Errors
    /// When the value does not fit in base units.
    pub fn of(value: Ratio, unit: Unit) -> Result<Self, MeasureError> {
        Ok(Self::new(value.times(unit.factor())?.plus(unit.zero())?, unit.dimension()))
    }

    /// The value in `unit`.
    ///
    /// # Errors
    /// When `unit` measures something else or the value does not fit.
    pub fn in_unit(self, unit: Unit) -> Result<Ratio, MeasureError> {
        self.dimension.compare(unit.dimension())?;
        self.value.minus(unit.zero())?.over(unit.factor())
    }

    /// `self + other`.
    ///
    /// # Errors
    /// When the dimensions differ or the sum does not fit.
    pub fn plus(self, other: Self) -> Result<Self, MeasureError> {
        let dimension = self.dimension.plus(other.dimension)?;
        Ok(Self::new(self.value.plus(other.value)?, dimension))
    }

    /// `self - other`.
    ///
    /// # Errors
    /// When the dimensions differ or the difference does not fit.
    pub fn minus(self, other: Self) -> Result<Self, MeasureError> {
        let dimension = self.dimension.minus(other.dimension)?;
        Ok(Self::new(self.value.minus(other.value)?, dimension))
    }

    /// `self * other`; a pitch times a length is a length.
    ///
    /// # Errors
    /// When the dimensions cannot be multiplied or the product does not fit.
    pub fn times(self, other: Self) -> Result<Self, MeasureError> {
        let dimension = self.dimension.times(other.dimension)?;
        Ok(Self::new(self.value.times(other.value)?, dimension))
    }

    /// `self / other`; an area over a net free area per length is a length.
    ///
    /// # Errors
    /// When the dimensions cannot be divided, `other` is zero, or the quotient
    /// does not fit.
    pub fn over(self, other: Self) -> Result<Self, MeasureError> {
        let dimension = self.dimension.over(other.dimension)?;
        Ok(Self::new(self.value.over(other.value)?, dimension))
    }

    /// Compares two quantities of one dimension.
    ///
    /// # Errors
    /// When the dimensions differ.
    pub fn compare(&self, other: &Self) -> Result<Ordering, MeasureError> {
        self.dimension.compare(other.dimension)?;
        Ok(self.value.cmp(&other.value))
    }

    /// The square root; of an area it is a length.
    ///
    /// # Errors
    /// When the value is negative or the dimension has no root.
    pub fn sqrt(self) -> Result<Self, MeasureError> {
        Ok(Self::new(self.value.sqrt()?, self.dimension.root()?))
    }
}
