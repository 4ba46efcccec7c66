//! Geometry and physics of the search: depths on a slope, probe lattices, search lanes and their coverage,
//! digging lengths, the transmitter's magnetic field, the drill's grid, published survival curves. Pure
//! functions of plain numbers with their unit in the name; nothing here knows entries, days or files.
//! Numbers that a trade source gives stand in tables with the source and how far it was verified beside each.
//!
//! No function answers with NaN or infinity: what cannot be computed is a [`FieldError`], and a part of an answer
//! that does not exist is `None`.

pub mod burials;
mod convex;
pub mod coverage;
pub mod curves;
pub mod depth;
pub mod digging;
pub mod dipole;
mod gaps;
pub mod geo;
pub mod lanes;
pub mod outline;
pub mod probing;
pub mod pulses;
pub mod source;
mod swath;

use thiserror::Error;

/// Why a computation of the field floor was refused. The text says what, which value and what to do.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FieldError {
    /// A number is NaN or infinite.
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
    /// A line or ring has too few different points.
    #[error("{what} has {have} different points and needs at least {need}: add points")]
    TooFewPoints {
        /// What was given.
        what: &'static str,
        /// How many different points it has.
        have: usize,
        /// How many it needs.
        need: usize,
    },
    /// A ring of an outline crosses or touches itself or another ring.
    #[error("the outline crosses or touches itself at x {x_m} m, y {y_m} m: put its points in walking order")]
    CrossesItself {
        /// Where, to the right of the origin.
        x_m: f64,
        /// Where, uphill of the origin.
        y_m: f64,
    },
    /// A ring encloses nothing.
    #[error("{what} encloses {area_m2} m2: its points lie on one line; give the corners of an area")]
    NoArea {
        /// Which ring.
        what: &'static str,
        /// The area it encloses.
        area_m2: f64,
    },
    /// A hole lies outside the outline or within another hole.
    #[error("hole {hole} lies outside the outline's area at x {x_m} m, y {y_m} m: leave it out")]
    HoleOutside {
        /// Which hole, from 1.
        hole: usize,
        /// A point of it, to the right of the origin.
        x_m: f64,
        /// A point of it, uphill of the origin.
        y_m: f64,
    },
    /// The answer would be absurdly long.
    #[error("this would make {count} {what}, more than {max}: {remedy}")]
    TooMany {
        /// What there would be too many of.
        what: &'static str,
        /// How many.
        count: f64,
        /// How many are accepted.
        max: usize,
        /// What to change.
        remedy: &'static str,
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

#[cfg(test)]
pub(crate) mod tests {
    /// Fails unless `got` is within `tolerance` of `want`.
    #[track_caller]
    pub(crate) fn near(got: f64, want: f64, tolerance: f64) {
        assert!((got - want).abs() <= tolerance, "{got} is not {want} within {tolerance}");
    }
}
