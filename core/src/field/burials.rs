//! Walks of the searches taught for several buried people close together: circles round the one already found,
//! and narrow strips over the rest. Lengths only; lanes over an outline are in `lanes`.

use std::f64::consts::TAU;

use schemars::JsonSchema;
use serde::Serialize;

use super::lanes::lane_offsets_m;
use super::source::Source;
use super::{FieldError, within};

/// Radii in m of the three circles walked round a found person.
pub const CIRCLE_RADII_M: [f64; 3] = [3.0, 6.0, 9.0];
/// Where the circles come from.
pub const CIRCLES_SOURCE: Source = Source::quoted(
    "three circles of 3, 6 and 9 m round the found person; method attributed to Stopper and Mullen",
);
/// Where the spacing of narrow strips comes from: 2 to 5 m.
pub const MICRO_STRIPS_SOURCE: Source = Source::common_practice("narrow strips 2 to 5 m apart");

/// Circles to walk, innermost first.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct CircleWalk {
    /// Length of each circle, m.
    pub lengths_m: Vec<f64>,
    /// All of them together, m, without the steps from one to the next.
    pub total_m: f64,
}

/// Lengths of circles of the given radii round one point.
///
/// # Errors
/// A radius outside 0 to 1000 m.
pub fn circle_walk(radii_m: &[f64]) -> Result<CircleWalk, FieldError> {
    let lengths_m = radii_m
        .iter()
        .map(|radius| Ok(TAU * within("the radius of a circle", *radius, 0.0, 1000.0, "m")?))
        .collect::<Result<Vec<_>, FieldError>>()?;
    let total_m = lengths_m.iter().sum();
    Ok(CircleWalk { lengths_m, total_m })
}

/// Walk in m of one searcher over a rectangle in strips up and down: strips times length, plus the steps from one
/// to the next. Works for wide lanes and for narrow strips alike.
///
/// # Errors
/// As [`lane_offsets_m`]; a length outside 0 to 100,000 m.
pub fn strip_walk_m(width_m: f64, length_m: f64, spacing_m: f64, edge_m: f64) -> Result<f64, FieldError> {
    let offsets_m = lane_offsets_m(width_m, spacing_m, edge_m)?;
    let length_m = within("the length", length_m, 0.0, 100_000.0, "m")?;
    let sideways_m = offsets_m.last().zip(offsets_m.first()).map_or(0.0, |(last, first)| last - first);
    Ok(offsets_m.len() as f64 * length_m + sideways_m)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::tests::near;

    #[test]
    fn section_7_three_circles() {
        let walk = circle_walk(&CIRCLE_RADII_M).unwrap();
        for (got, want) in walk.lengths_m.iter().zip([18.8, 37.7, 56.5]) {
            near(*got, want, 0.05);
        }
        near(walk.total_m, 113.1, 0.05);
        assert!(circle_walk(&[f64::INFINITY]).is_err());
    }

    #[test]
    fn section_7_micro_strips() {
        near(strip_walk_m(20.0, 20.0, 4.0, 2.0).unwrap(), 116.0, 1e-9);
    }

    #[test]
    fn section_1_solo_zigzag() {
        near(strip_walk_m(100.0, 150.0, 40.0, 20.0).unwrap(), 510.0, 1e-9);
    }
}
