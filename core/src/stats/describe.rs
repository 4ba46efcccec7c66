//! What a sample looks like: mean, spread, extremes, quantiles and the empirical distribution. Intervals of the
//! mean and the median are in `interval`, bins in `histogram`.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Refused, at_least, finite};

/// Most points an empirical distribution is answered with.
pub const ECDF_POINTS: usize = 512;

/// Mean and standard deviation of a sample, the part of its description that needs no order.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Moments {
    /// Number of values.
    pub n: usize,
    /// Arithmetic mean, in the unit of the values.
    pub mean: f64,
    /// Standard deviation with n - 1, in the unit of the values; null for a single value.
    pub sd: Option<f64>,
}

impl Moments {
    /// Mean and standard deviation in two passes of compensated sums (Neumaier 1974) with the corrected
    /// two-pass variance (Chan, Golub and LeVeque 1983), so that a large common offset costs no digits.
    ///
    /// # Errors
    /// An empty slice and values that are not finite.
    pub fn of(values: &[f64]) -> Result<Self, Refused> {
        at_least("a mean", 1, values.len())?;
        finite(values)?;
        let n = values.len() as f64;
        let rough = sum(values.iter().copied()) / n;
        let mean = rough + sum(values.iter().map(|value| value - rough)) / n;
        let sd = (values.len() > 1).then(|| {
            let squares = sum(values.iter().map(|value| (value - mean) * (value - mean)));
            let leftover = sum(values.iter().map(|value| value - mean));
            ((squares - leftover * leftover / n).max(0.0) / (n - 1.0)).sqrt()
        });
        Ok(Self { n: values.len(), mean, sd })
    }

    /// Standard error of the mean, in the unit of the values; none for a single value.
    pub fn standard_error(&self) -> Option<f64> {
        self.sd.map(|sd| sd / (self.n as f64).sqrt())
    }
}

/// Arithmetic mean, in the unit of the values.
///
/// # Errors
/// An empty slice and values that are not finite.
pub fn mean(values: &[f64]) -> Result<f64, Refused> {
    Moments::of(values).map(|moments| moments.mean)
}

/// Standard deviation with n - 1, in the unit of the values.
///
/// # Errors
/// Fewer than two values and values that are not finite.
pub fn sd(values: &[f64]) -> Result<f64, Refused> {
    let too_few = Refused::TooFew { what: "a standard deviation", need: 2, have: values.len() };
    Moments::of(values)?.sd.ok_or(too_few)
}

/// Median of an unsorted slice, in the unit of the values; see [`Sample`] when more than one quantile is wanted.
///
/// # Errors
/// An empty slice and values that are not finite.
pub fn median(values: &[f64]) -> Result<f64, Refused> {
    at_least("a median", 1, values.len())?;
    finite(values)?;
    let mut values = values.to_vec();
    let rank = (values.len() - 1) / 2;
    let even = values.len().is_multiple_of(2);
    let (_, low, above) = values.select_nth_unstable_by(rank, f64::total_cmp);
    let low = *low;
    if !even {
        return Ok(low);
    }
    let high = above.iter().copied().fold(f64::INFINITY, f64::min);
    Ok(between(low, high, 0.5))
}

/// Median absolute deviation: the median of how far the values lie from their median, in the unit of the values.
///
/// # Errors
/// An empty slice and values that are not finite.
pub fn mad(values: &[f64]) -> Result<f64, Refused> {
    let middle = median(values)?;
    median(&values.iter().map(|value| (value - middle).abs()).collect::<Vec<_>>())
}

/// A sample sorted once, from which every order statistic is read.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    sorted: Vec<f64>,
}

impl Sample {
    /// Takes the values and sorts them.
    ///
    /// # Errors
    /// An empty list and values that are not finite.
    pub fn new(mut values: Vec<f64>) -> Result<Self, Refused> {
        at_least("a sample", 1, values.len())?;
        finite(&values)?;
        values.sort_unstable_by(f64::total_cmp);
        Ok(Self { sorted: values })
    }

    /// The values, smallest first; never empty.
    pub fn sorted(&self) -> &[f64] {
        &self.sorted
    }

    /// Number of values, at least 1.
    pub fn n(&self) -> usize {
        self.sorted.len()
    }

    /// Smallest value.
    pub fn min(&self) -> f64 {
        self.sorted[0]
    }

    /// Largest value.
    pub fn max(&self) -> f64 {
        self.sorted[self.sorted.len() - 1]
    }

    /// Quantile by definition 7 of Hyndman and Fan (1996): linear between the order statistics around
    /// `share * (n - 1)`, rounded as numpy rounds it. A share outside 0 to 1 counts as the nearer end.
    pub fn quantile(&self, share: f64) -> f64 {
        let place = (self.sorted.len() - 1) as f64 * share.clamp(0.0, 1.0);
        let below = place as usize;
        let above = (below + 1).min(self.sorted.len() - 1);
        between(self.sorted[below], self.sorted[above], place - below as f64)
    }

    /// The middle value, or the mean of the two middle ones.
    pub fn median(&self) -> f64 {
        self.quantile(0.5)
    }

    /// How many values are at most `value`.
    pub fn at_most(&self, value: f64) -> usize {
        self.sorted.partition_point(|other| *other <= value)
    }

    /// Mean, spread, extremes and quantiles.
    pub fn summary(&self) -> Summary {
        // A sample was found finite and not empty when it was made.
        let moments = Moments::of(&self.sorted).unwrap_or(Moments { n: 1, mean: self.sorted[0], sd: None });
        Summary {
            n: moments.n,
            mean: moments.mean,
            sd: moments.sd,
            min: self.min(),
            max: self.max(),
            median: self.median(),
            quantiles: Quantiles {
                p10: self.quantile(0.10),
                p25: self.quantile(0.25),
                p75: self.quantile(0.75),
                p90: self.quantile(0.90),
            },
        }
    }

    /// The empirical distribution as its steps: every distinct value with the share of values at most as large.
    /// A sample with more than [`ECDF_POINTS`] distinct values is answered at that many evenly spaced ranks, first
    /// and last included; each point lies on the full curve.
    pub fn ecdf(&self) -> Vec<EcdfPoint> {
        let n = self.sorted.len();
        let distinct = || self.sorted.chunk_by(|a, b| a == b);
        if distinct().take(ECDF_POINTS + 1).count() <= ECDF_POINTS {
            let mut seen = 0;
            return distinct()
                .map(|step| {
                    seen += step.len();
                    EcdfPoint { value: step[0], share: seen as f64 / n as f64 }
                })
                .collect();
        }
        let mut values: Vec<f64> =
            (0..ECDF_POINTS).map(|k| self.sorted[k * (n - 1) / (ECDF_POINTS - 1)]).collect();
        values.dedup();
        let share = |value| self.at_most(value) as f64 / n as f64;
        values.into_iter().map(|value| EcdfPoint { value, share: share(value) }).collect()
    }
}

/// Description of a sample; every figure but `n` in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Summary {
    /// Number of values, at least 1.
    pub n: usize,
    /// Arithmetic mean.
    pub mean: f64,
    /// Standard deviation with n - 1; null for a single value.
    pub sd: Option<f64>,
    /// Smallest value.
    pub min: f64,
    /// Largest value.
    pub max: f64,
    /// Median.
    pub median: f64,
    /// Quantiles by definition 7 of Hyndman and Fan (1996).
    pub quantiles: Quantiles,
}

/// Four quantiles around the median, by definition 7 of Hyndman and Fan (1996).
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Quantiles {
    /// A tenth of the values lies below.
    pub p10: f64,
    /// A quarter of the values lies below.
    pub p25: f64,
    /// Three quarters of the values lie below.
    pub p75: f64,
    /// Nine tenths of the values lie below.
    pub p90: f64,
}

/// A point of the empirical distribution.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct EcdfPoint {
    /// A value of the sample, in its unit.
    pub value: f64,
    /// Share of the values that are at most as large, above 0 up to 1.
    pub share: f64,
}

/// Compensated sum (Neumaier 1974): the rounding error of each step is carried along and added at the end.
pub(crate) fn sum(values: impl Iterator<Item = f64>) -> f64 {
    let (mut total, mut lost) = (0.0_f64, 0.0_f64);
    for value in values {
        let next = total + value;
        lost += if total.abs() >= value.abs() { (total - next) + value } else { (value - next) + total };
        total = next;
    }
    total + lost
}

/// Linear between two values, from the nearer one, so that both ends are exact.
fn between(low: f64, high: f64, part: f64) -> f64 {
    let gap = high - low;
    if part < 0.5 { low + gap * part } else { high - gap * (1.0 - part) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(values: &[f64]) -> Sample {
        Sample::new(values.to_vec()).expect("finite")
    }

    #[test]
    fn a_large_offset_costs_no_digits() {
        let values = [1e9 + 4.0, 1e9 + 7.0, 1e9 + 13.0, 1e9 + 16.0];
        let moments = Moments::of(&values).expect("finite");
        assert_eq!(moments.mean, 1e9 + 10.0);
        assert_eq!(moments.sd, Some(30.0_f64.sqrt()));
    }

    #[test]
    fn quantiles_lie_between_order_statistics() {
        let four = sample(&[4.0, 1.0, 3.0, 2.0]);
        assert_eq!([0.0, 0.25, 0.5, 1.0].map(|share| four.quantile(share)), [1.0, 1.75, 2.5, 4.0]);
        assert_eq!(median(&[4.0, 1.0, 3.0, 2.0]), Ok(2.5));
        assert_eq!(median(&[9.0, 1.0, 3.0]), Ok(3.0));
        assert_eq!(sample(&[7.0]).summary().sd, None);
    }

    #[test]
    fn the_empirical_distribution_climbs_to_one() {
        let few = sample(&[1.0, 2.0, 2.0, 5.0]).ecdf();
        let pairs: Vec<_> = few.iter().map(|point| (point.value, point.share)).collect();
        assert_eq!(pairs, [(1.0, 0.25), (2.0, 0.75), (5.0, 1.0)]);

        let many = sample(&(0..10_000).map(f64::from).collect::<Vec<_>>()).ecdf();
        assert_eq!(many.len(), ECDF_POINTS);
        assert!(many.windows(2).all(|pair| pair[0].value < pair[1].value && pair[0].share < pair[1].share));
        assert_eq!((many[0].share, many[ECDF_POINTS - 1].share), (0.0001, 1.0));
    }

    #[test]
    fn what_is_no_number_is_refused_by_its_place() {
        assert!(matches!(mean(&[1.0, f64::NAN]), Err(Refused::NotFinite { index: 1, .. })));
        assert!(matches!(Sample::new(vec![f64::INFINITY]), Err(Refused::NotFinite { index: 0, .. })));
        assert!(matches!(mean(&[1e101]), Err(Refused::NotFinite { index: 0, .. })));
        assert!(matches!(mean(&[]), Err(Refused::TooFew { need: 1, have: 0, .. })));
        assert!(matches!(sd(&[1.0]), Err(Refused::TooFew { need: 2, have: 1, .. })));
    }
}
