//! Pure statistics over slices of numbers, usable alone: description, intervals, survival, agreement, ranks and
//! regression. No units, no entries and no dates live here; whoever calls knows what the numbers mean.
//!
//! No function answers with NaN or infinity: what cannot be computed is [`Refused`] with the reason, and a part of
//! an answer that does not exist (the spread of one value) is `None`.

pub mod agreement;
pub mod describe;
mod distribution;
pub mod histogram;
pub mod interval;
pub mod rank;
pub mod regression;
mod selection;
mod slopes;
pub mod survival;

use schemars::JsonSchema;
use serde::Serialize;

/// Confidence of every interval in this module.
pub const LEVEL: f64 = 0.95;

/// Largest magnitude taken as a measurement. Its square still sums over any sample that fits in memory without
/// overflow, so finite input gives finite output.
pub const LARGEST: f64 = 1e100;

/// The sum, and 0 for no values: the standard library's sum of nothing is -0, which would show as such.
#[must_use]
pub fn total(values: impl IntoIterator<Item = f64>) -> f64 {
    values.into_iter().fold(0.0, |sum, value| sum + value)
}

/// Why a statistic was not computed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refused {
    /// A value is NaN, infinite or beyond [`LARGEST`].
    #[error(
        "value {index} is {value}: only finite numbers up to 1e100 can be counted; leave it out and say so"
    )]
    NotFinite {
        /// Position in the slice, from 0.
        index: usize,
        /// The value found there.
        value: f64,
    },
    /// Fewer values than the statistic is defined for.
    #[error("{what} needs at least {need} values and there are {have}; collect more or leave it out")]
    TooFew {
        /// The statistic asked for.
        what: &'static str,
        /// How many values it needs.
        need: usize,
        /// How many there are.
        have: usize,
    },
    /// Lists that belong together have different lengths.
    #[error("{what}: {left} and {right} values do not pair up; give one for each")]
    Unpaired {
        /// What should have been paired.
        what: &'static str,
        /// Length of the first list.
        left: usize,
        /// Length of the second list.
        right: usize,
    },
    /// A parameter lies outside its range.
    #[error("{what} is {value}; it must be {range}")]
    OutOfRange {
        /// The parameter.
        what: &'static str,
        /// The value given.
        value: f64,
        /// The range in words.
        range: &'static str,
    },
    /// The values do not determine the answer, whatever their number.
    #[error("{what} is not determined: {why}")]
    Undetermined {
        /// The statistic asked for.
        what: &'static str,
        /// What stands in the way, and what would help.
        why: String,
    },
}

/// An interval of 95 % confidence unless said otherwise; in JSON the pair `[lower, upper]`.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(into = "[f64; 2]")]
#[schemars(with = "[f64; 2]")]
pub struct Interval {
    /// Lower end, in the unit of the values.
    pub lower: f64,
    /// Upper end, in the unit of the values; never below `lower`.
    pub upper: f64,
}

impl Interval {
    /// The interval that reaches `half_width` to both sides of `centre`.
    pub fn around(centre: f64, half_width: f64) -> Self {
        Self { lower: centre - half_width, upper: centre + half_width }
    }
}

impl From<Interval> for [f64; 2] {
    fn from(interval: Interval) -> Self {
        [interval.lower, interval.upper]
    }
}

/// Refuses NaN, infinities and magnitudes beyond [`LARGEST`], naming the first one.
pub(crate) fn finite(values: &[f64]) -> Result<(), Refused> {
    match values.iter().position(|value| !(-LARGEST..=LARGEST).contains(value)) {
        Some(index) => Err(Refused::NotFinite { index, value: values[index] }),
        None => Ok(()),
    }
}

/// Refuses a sample smaller than the statistic is defined for.
pub(crate) fn at_least(what: &'static str, need: usize, have: usize) -> Result<(), Refused> {
    if have < need { Err(Refused::TooFew { what, need, have }) } else { Ok(()) }
}

/// Refuses two lists of different lengths.
pub(crate) fn paired(what: &'static str, left: usize, right: usize) -> Result<(), Refused> {
    if left == right { Ok(()) } else { Err(Refused::Unpaired { what, left, right }) }
}

#[cfg(test)]
mod tests {
    use std::fmt::Debug;

    use proptest::prelude::*;

    use super::survival::Observation;
    use super::*;

    /// Numbers of every size that is taken, with many ties.
    fn number() -> impl Strategy<Value = f64> {
        prop_oneof![
            Just(0.0),
            (-3..3_i8).prop_map(f64::from),
            -LARGEST..LARGEST,
            -1e-300..1e-300,
            (-100..100_i32, -1.0..1.0).prop_map(|(power, factor)| factor * 10_f64.powi(power)),
        ]
    }

    fn holds_only_numbers(answer: &impl Debug) -> Result<(), TestCaseError> {
        let written = format!("{answer:?}");
        prop_assert!(!written.contains("NaN") && !written.contains("inf"), "{written}");
        Ok(())
    }

    proptest! {
        #[test]
        fn no_answer_is_nan_or_infinite(pairs in prop::collection::vec((number(), number(), any::<bool>()), 0..30)) {
            let a: Vec<f64> = pairs.iter().map(|pair| pair.0).collect();
            let b: Vec<f64> = pairs.iter().map(|pair| pair.1).collect();
            let runs: Vec<_> =
                pairs.iter().map(|(time, _, reached)| Observation { time: time.abs(), reached: *reached }).collect();
            if let Ok(sample) = describe::Sample::new(a.clone()) {
                holds_only_numbers(&sample.summary())?;
                holds_only_numbers(&sample.ecdf())?;
                holds_only_numbers(&histogram::Histogram::of(&sample))?;
                holds_only_numbers(&interval::median_interval(&sample))?;
            }
            holds_only_numbers(&interval::mean_interval(&a))?;
            holds_only_numbers(&interval::clustered_mean(&a, &pairs.iter().map(|pair| pair.2).collect::<Vec<_>>()))?;
            holds_only_numbers(&agreement::limits_of_agreement(&a, &b))?;
            holds_only_numbers(&agreement::concordance(&a, &b))?;
            holds_only_numbers(&rank::theil_sen(&a, &b))?;
            holds_only_numbers(&rank::shift(&a[..a.len() / 3], &b))?;
            holds_only_numbers(&regression::least_squares(&a, &[("b", &b)]))?;
            holds_only_numbers(&survival::log_rank(&[&runs[..runs.len() / 2], &runs[runs.len() / 2..]]))?;
            if let Ok(curve) = survival::Curve::of(&runs) {
                holds_only_numbers(&curve)?;
                holds_only_numbers(&curve.restricted_mean(curve.horizon()))?;
            }
        }
    }
}
