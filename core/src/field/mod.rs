//! Geometry and physics of the search: depths on a slope, probe lattices, search lanes and their coverage,
//! digging lengths, the transmitter's magnetic field, the drill's grid, published survival curves. Pure
//! functions of plain numbers with their unit in the name; nothing here knows entries, days or files.
//! Numbers that a trade source gives stand in tables with the source and how far it was verified beside each.

pub mod depth;

use thiserror::Error;

/// Why a computation of the field floor was refused. The text says what, which value and what to do.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FieldError {
    /// A number is missing its meaning: NaN or infinite.
    #[error("{what} is {value}, which is no finite number: give a number in {unit}")]
    NotFinite {
        /// What was given.
        what: &'static str,
        /// The value as given.
        value: f64,
        /// The unit it is read in.
        unit: &'static str,
    },
    /// A number lies outside the range in which the formula holds.
    #[error("{what} is {value} {unit}, outside {min} to {max} {unit}: check the value and its unit")]
    OutOfRange {
        /// What was given.
        what: &'static str,
        /// The value as given.
        value: f64,
        /// Smallest value accepted.
        min: f64,
        /// Largest value accepted.
        max: f64,
        /// The unit it is read in.
        unit: &'static str,
    },
}

/// Passes `value` on if it is finite and within `min..=max`, else says which value was wrong and how.
pub(crate) fn within(
    what: &'static str,
    value: f64,
    min: f64,
    max: f64,
    unit: &'static str,
) -> Result<f64, FieldError> {
    if !value.is_finite() {
        return Err(FieldError::NotFinite { what, value, unit });
    }
    if value < min || value > max {
        return Err(FieldError::OutOfRange { what, value, min, max, unit });
    }
    Ok(value)
}
