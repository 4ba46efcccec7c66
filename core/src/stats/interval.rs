//! Intervals of 95 % confidence for a mean, a median and a share. Intervals that belong to one method (agreement,
//! ranks, survival, regression) are answered with that method.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

use super::describe::{Moments, Sample, sum};
use super::distribution::{Z, t};
use super::{Interval, LEVEL, Refused, at_least, paired};

/// Student's t interval of a mean, in the unit of the values.
///
/// # Errors
/// Fewer than two values and values that are not finite.
pub fn mean_interval(values: &[f64]) -> Result<Interval, Refused> {
    at_least("an interval of a mean", 2, values.len())?;
    let moments = Moments::of(values)?;
    Ok(Interval::around(moments.mean, moments.standard_error().map_or(0.0, |se| se * t(values.len() - 1))))
}

/// Interval of a mean that allows for values of one cluster being alike.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct ClusteredMean {
    /// Number of values.
    pub n: usize,
    /// Number of different clusters, at least 2.
    pub clusters: usize,
    /// Arithmetic mean over all values, in their unit.
    pub mean: f64,
    /// Standard error of the mean, robust to clusters (CR1).
    pub standard_error: f64,
    /// Interval of the mean by t with clusters - 1 degrees of freedom.
    pub mean_ci95: Interval,
}

/// Mean with a standard error robust to clusters, `clusters[i]` naming the cluster of `values[i]`: the residuals of a
/// cluster are summed before they are squared (Liang and Zeger 1986), times G / (G - 1) for G clusters (CR1).
///
/// # Errors
/// Values from fewer than two clusters, lists of different lengths and values that are not finite.
pub fn clustered_mean<C: Ord>(values: &[f64], clusters: &[C]) -> Result<ClusteredMean, Refused> {
    paired("values and their clusters", values.len(), clusters.len())?;
    let mean = Moments::of(values)?.mean;
    let mut residuals: BTreeMap<&C, f64> = BTreeMap::new();
    for (value, cluster) in values.iter().zip(clusters) {
        *residuals.entry(cluster).or_default() += value - mean;
    }
    let count = residuals.len();
    if count < 2 {
        let why =
            "all values are of one cluster, and the spread between clusters needs at least 2".to_owned();
        return Err(Refused::Undetermined { what: "a cluster-robust interval", why });
    }
    let (n, groups) = (values.len() as f64, count as f64);
    let squares = sum(residuals.values().map(|residual| residual * residual));
    let standard_error = (groups / (groups - 1.0) * squares).sqrt() / n;
    let mean_ci95 = Interval::around(mean, standard_error * t(count - 1));
    Ok(ClusteredMean { n: values.len(), clusters: count, mean, standard_error, mean_ci95 })
}

/// Interval of a median between two order statistics.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct MedianInterval {
    /// The order statistics, in the unit of the values.
    pub ci95: Interval,
    /// Rank of the lower one, counted from 1 at the smallest; the upper one has this rank from the largest.
    pub rank: usize,
    /// Probability that the interval covers the median of a continuous distribution: at least 0.95.
    pub coverage: f64,
}

/// The narrowest symmetric pair of order statistics that covers the median with at least 95 %, by the exact binomial
/// distribution (Thompson 1936). None below six values, where even the extremes cover it with less.
pub fn median_interval(sample: &Sample) -> Option<MedianInterval> {
    let n = sample.n();
    let (rank, coverage) = median_rank(n)?;
    let ci95 = Interval { lower: sample.sorted()[rank - 1], upper: sample.sorted()[n - rank] };
    Some(MedianInterval { ci95, rank, coverage })
}

/// A share of a count with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Share {
    /// How many have the property.
    pub k: usize,
    /// Out of how many, at least 1.
    pub n: usize,
    /// k / n, 0 to 1.
    pub share: f64,
    /// Interval of Wilson (1927), within 0 to 1.
    pub ci95: Interval,
}

/// Share of `k` out of `n` with the interval of Wilson (1927), without continuity correction.
///
/// # Errors
/// `n` of 0 and `k` above `n`.
pub fn share(k: usize, n: usize) -> Result<Share, Refused> {
    at_least("a share", 1, n)?;
    if k > n {
        let range = "at most the number it is counted in";
        return Err(Refused::OutOfRange { what: "the count of a share", value: k as f64, range });
    }
    let (count, share) = (n as f64, k as f64 / n as f64);
    let shrink = 1.0 + Z * Z / count;
    let centre = (share + Z * Z / (2.0 * count)) / shrink;
    let half = Z / shrink * (share * (1.0 - share) / count + Z * Z / (4.0 * count * count)).sqrt();
    // At k = 0 and k = n the formula gives exactly 0 and 1; rounding must not.
    let lower = if k == 0 { 0.0 } else { centre - half };
    let upper = if k == n { 1.0 } else { centre + half };
    Ok(Share { k, n, share, ci95: Interval { lower, upper } })
}

/// Largest rank whose order statistics cover the median of `n` values with at least 95 %, and their coverage:
/// probabilities of n fair coins, summed from the middle outwards.
fn median_rank(n: usize) -> Option<(usize, f64)> {
    let half = n / 2;
    let even_middle: f64 = (1..=half).map(|i| 1.0 - 0.5 / i as f64).product();
    let even = n.is_multiple_of(2);
    // n heads and tails: one most likely count if n is even, two equally likely ones if it is odd.
    let (mut at, mut coverage) = if even {
        (even_middle, even_middle)
    } else {
        let middle = even_middle * (n as f64) / (n as f64 + 1.0);
        (middle, 2.0 * middle)
    };
    for rank in (1..=half).rev() {
        if coverage >= LEVEL {
            return Some((rank, coverage));
        }
        at *= rank as f64 / (n - rank + 1) as f64;
        coverage += 2.0 * at;
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_interval_starts_at_six_values() {
        let ranks: Vec<_> = (1..=9).map(|n| median_rank(n).map(|(rank, _)| rank)).collect();
        assert_eq!(ranks, [None, None, None, None, None, Some(1), Some(1), Some(1), Some(2)]);
        assert_eq!(median_rank(6).map(|(_, coverage)| coverage), Some(1.0 - 2.0 / 64.0));
        let seven = Sample::new((1..=7).map(f64::from).collect()).expect("finite");
        let interval = median_interval(&seven).expect("seven are enough");
        assert_eq!(interval.ci95, Interval { lower: 1.0, upper: 7.0 });
    }

    #[test]
    fn a_million_values_need_no_patience() {
        let (rank, coverage) = median_rank(1_000_000).expect("many");
        assert!((500_000 - rank).abs_diff(980) <= 1, "half a normal interval is 0.98 sqrt(n), not {rank}");
        assert!((LEVEL..LEVEL + 0.001).contains(&coverage));
    }

    #[test]
    fn clusters_of_one_value_each_give_a_plain_t_interval() {
        let values = [104.0, 98.0, 131.0, 87.0, 120.0];
        let clustered = clustered_mean(&values, &[1, 2, 3, 4, 5]).expect("five clusters");
        let plain = mean_interval(&values).expect("five values");
        assert!((clustered.mean_ci95.lower - plain.lower).abs() < 1e-12);
        assert!((clustered.mean_ci95.upper - plain.upper).abs() < 1e-12);
    }

    #[test]
    fn one_cluster_tells_nothing_about_the_spread_between_clusters() {
        let refused = clustered_mean(&[1.0, 2.0], &["one day", "one day"]);
        assert!(matches!(refused, Err(Refused::Undetermined { .. })));
        assert!(matches!(
            clustered_mean(&[1.0, 2.0], &["a"]),
            Err(Refused::Unpaired { left: 2, right: 1, .. })
        ));
    }

    #[test]
    fn a_share_of_none_or_all_still_has_an_interval() {
        let none = share(0, 8).expect("eight");
        assert_eq!(none.ci95.lower, 0.0);
        assert!(none.ci95.upper > 0.3);
        assert_eq!(share(8, 8).expect("eight").ci95.upper, 1.0);
        assert!(share(9, 8).is_err() && share(0, 0).is_err());
    }
}
