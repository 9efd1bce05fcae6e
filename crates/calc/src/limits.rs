//! What a formula says when it is asked outside its range.

/// A value outside the range of a formula.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{quantity} is {value} {unit}, but must lie between {low} and {high} {unit}")]
pub struct OutOfRange {
    /// What was asked for, in the trade's words, with the field's name where there is one.
    pub quantity: &'static str,
    /// The value that was given.
    pub value: f64,
    /// Lower limit.
    pub low: f64,
    /// Upper limit.
    pub high: f64,
    /// Unit of the three numbers.
    pub unit: &'static str,
}

/// Checks that a value is finite and inside a closed range.
///
/// # Errors
/// [`OutOfRange`] if the value is not a number or lies outside.
pub fn within(
    quantity: &'static str,
    value: f64,
    low: f64,
    high: f64,
    unit: &'static str,
) -> Result<f64, OutOfRange> {
    if value.is_finite() && value >= low && value <= high {
        Ok(value)
    } else {
        Err(OutOfRange { quantity, value, low, high, unit })
    }
}
