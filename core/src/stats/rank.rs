//! Lines and shifts from ranks, which a few wild values do not bend: the median of all slopes between pairs, and the
//! median of all differences between two groups.

use schemars::JsonSchema;
use serde::Serialize;

use super::describe::median;
use super::distribution::Z;
use super::selection::nth_difference;
use super::slopes::Slopes;
use super::{Interval, Refused, at_least, finite, paired};

/// Most ways to divide the pooled values into the two groups for which the exact distribution is counted out.
const ARRANGEMENTS: usize = 1_000_000;

/// Of this many arrangements the most extreme one alone is more than half of 5 %: no interval reaches 95 %.
const TAIL: usize = 40;

/// Robust line a = intercept + slope * b.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Line {
    /// Number of pairs.
    pub n: usize,
    /// Median of the slopes between all points that differ in b, in the unit of a over that of b.
    pub slope: f64,
    /// Median of a less slope times median of b, in the unit of a.
    pub intercept: f64,
    /// Interval of the slope; null where so few points allow none.
    pub slope_ci95: Option<Interval>,
}

/// Line of `a` on `b` by Theil (1950) with the interval of Sen (1968), the variance corrected for ties. Time and
/// memory grow with the number of points that differ, but for the logarithm of it.
///
/// # Errors
/// Fewer than two points, lists of different lengths, values that are not finite, and b that does not vary.
pub fn theil_sen(a: &[f64], b: &[f64]) -> Result<Line, Refused> {
    paired("two values of the same things", a.len(), b.len())?;
    at_least("a line", 2, a.len())?;
    finite(a)?;
    let (middle_a, middle_b) = (median(a)?, median(b)?);
    let all = Slopes::of(b.iter().copied().zip(a.iter().copied()));
    let slopes = all.count;
    if slopes == 0 {
        let why = "all values that it would rise with are the same".to_owned();
        return Err(Refused::Undetermined { what: "a line", why });
    }
    let spread = Z * kendall_sd(a, b);
    let above = ((slopes as f64 + spread) / 2.0).round_ties_even() as u64;
    let below = ((slopes as f64 - spread) / 2.0).round_ties_even();
    let has_interval = below >= 1.0 && above < slopes;
    let mut ranks = vec![(slopes - 1) / 2, slopes / 2];
    if has_interval {
        ranks.extend([below as u64 - 1, above]);
    }
    let chosen = ranks.into_iter().map(|rank| all.nth(rank)).collect::<Vec<_>>();
    let slope = f64::midpoint(chosen[0], chosen[1]);
    let intercept = middle_a - slope * middle_b;
    if !slope.is_finite() || !intercept.is_finite() || chosen.iter().any(|slope| !slope.is_finite()) {
        let why = "some values that it would rise with lie closer together than numbers resolve".to_owned();
        return Err(Refused::Undetermined { what: "a line", why });
    }
    let slope_ci95 = has_interval.then(|| Interval { lower: chosen[2], upper: chosen[3] });
    Ok(Line { n: a.len(), slope, intercept, slope_ci95 })
}

/// How far one group lies from another.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Shift {
    /// Number of values of the first group.
    pub n_a: usize,
    /// Number of values of the second group.
    pub n_b: usize,
    /// Median of all differences of a value of the first less one of the second, in the unit of the values.
    pub shift: f64,
    /// Interval of the shift; null where so few or so equal values allow none.
    pub ci95: Option<Interval>,
}

/// Shift of `a` against `b` by Hodges and Lehmann (1963). Its interval inverts the test of Mann and Whitney (1947)
/// between order statistics of the differences: by the exact distribution over all arrangements of the pooled
/// mid-ranks where these are at most a million, else by the normal distribution with the variance corrected for ties.
///
/// # Errors
/// An empty group and values that are not finite.
pub fn shift(a: &[f64], b: &[f64]) -> Result<Shift, Refused> {
    at_least("a shift between groups", 1, a.len().min(b.len()))?;
    finite(a)?;
    finite(b)?;
    let sorted = |values: &[f64]| {
        let mut values = values.to_vec();
        values.sort_unstable_by(f64::total_cmp);
        values
    };
    let (a, b) = (sorted(a), sorted(b));
    let differences = a.len() * b.len();
    let nth = |rank: usize| nth_difference(&a, &b, rank);
    let middle = f64::midpoint(nth(differences.div_ceil(2)), nth(differences / 2 + 1));
    let ci95 = shift_ranks(&a, &b)
        .map(|(low, high)| Interval { lower: nth(low), upper: nth(differences + 1 - high) });
    Ok(Shift { n_a: a.len(), n_b: b.len(), shift: middle, ci95 })
}

/// Ranks of the differences that bound the shift, the first from the smallest and the second from the largest,
/// counted from 1: the largest k with a probability of at most 2.5 % that fewer than k differences lie beyond.
fn shift_ranks(a: &[f64], b: &[f64]) -> Option<(usize, usize)> {
    let ranks = doubled_mid_ranks(a, b);
    let chosen = a.len().min(b.len());
    if ranks.first() == ranks.last() {
        return None;
    }
    let Some(arrangements) = arrangements(ranks.len(), chosen) else {
        let rank = normal_rank(a.len(), b.len(), &ranks)?;
        return Some((rank, rank));
    };
    if arrangements < TAIL {
        return None;
    }
    // Twice the Mann-Whitney statistic of the smaller group, which runs from 0 to twice the number of differences.
    let mut statistics = Vec::with_capacity(arrangements);
    rank_sums(&ranks, chosen, 0, &mut statistics);
    statistics.sort_unstable();
    let least = chosen * (chosen + 1);
    let from_least = (statistics[arrangements / TAIL] - least).div_ceil(2);
    let greatest = statistics[arrangements - 1 - arrangements / TAIL] - least;
    let from_greatest = (2 * a.len() * b.len() - greatest).div_ceil(2);
    // A statistic of `a` that is too great for a shift says that the shift is too small.
    let (low, high) =
        if a.len() <= b.len() { (from_greatest, from_least) } else { (from_least, from_greatest) };
    (low > 0 && high > 0).then_some((low, high))
}

fn normal_rank(a: usize, b: usize, doubled: &[usize]) -> Option<usize> {
    let (a, b, n) = (a as f64, b as f64, (a + b) as f64);
    let ties: f64 =
        doubled.chunk_by(|x, y| x == y).map(|tie| (tie.len() as f64).powi(3) - tie.len() as f64).sum();
    let sd = (a * b / 12.0 * (n + 1.0 - ties / (n * (n - 1.0)))).sqrt();
    let rank = (a * b / 2.0 + 0.5 - Z * sd).floor();
    (rank >= 1.0).then_some(rank as usize)
}

/// Twice the rank of every pooled value in rising order, equal values sharing the middle of their ranks.
fn doubled_mid_ranks(a: &[f64], b: &[f64]) -> Vec<usize> {
    let mut pooled = [a, b].concat();
    pooled.sort_unstable_by(f64::total_cmp);
    let mut before = 0;
    let mut ranks = Vec::with_capacity(pooled.len());
    for tie in pooled.chunk_by(|x, y| x == y) {
        ranks.extend(std::iter::repeat_n(2 * before + tie.len() + 1, tie.len()));
        before += tie.len();
    }
    ranks
}

/// Number of ways to choose `chosen` of `n`; none if there are more than [`ARRANGEMENTS`].
fn arrangements(n: usize, chosen: usize) -> Option<usize> {
    (1..=chosen).try_fold(1, |ways: usize, k| {
        let ways = ways.checked_mul(n - chosen + k)? / k;
        (ways <= ARRANGEMENTS).then_some(ways)
    })
}

/// Adds `so_far` plus the sum of every choice of `chosen` of `ranks` to `sums`.
fn rank_sums(ranks: &[usize], chosen: usize, so_far: usize, sums: &mut Vec<usize>) {
    if chosen == 1 {
        sums.extend(ranks.iter().map(|rank| so_far + rank));
        return;
    }
    for (index, rank) in ranks.iter().enumerate().take(ranks.len() + 1 - chosen) {
        rank_sums(&ranks[index + 1..], chosen - 1, so_far + rank, sums);
    }
}

/// Standard deviation of Kendall's statistic of all pairs, corrected for ties in either list.
fn kendall_sd(a: &[f64], b: &[f64]) -> f64 {
    let term = |n: f64| n * (n - 1.0) * (2.0 * n + 5.0);
    let ties = |values: &[f64]| {
        let mut values = values.to_vec();
        values.sort_unstable_by(f64::total_cmp);
        values.chunk_by(|x, y| x == y).map(|tie| term(tie.len() as f64)).sum::<f64>()
    };
    ((term(a.len() as f64) - ties(a) - ties(b)).max(0.0) / 18.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_wild_value_does_not_bend_the_line() {
        let b = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0];
        let line = theil_sen(&[3.0, 5.0, 7.0, 9.0, 11.0, 13.0, 500.0], &b).expect("seven points");
        assert_eq!((line.slope, line.intercept), (2.0, 1.0));
        assert_eq!(line.slope_ci95.map(|interval| interval.lower), Some(2.0));
        assert!(theil_sen(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0]).expect("a line").slope_ci95.is_none());
        assert!(matches!(theil_sen(&[1.0, 2.0], &[4.0, 4.0]), Err(Refused::Undetermined { .. })));
        assert!(matches!(theil_sen(&[1.0, 2.0], &[0.0, 1e-320]), Err(Refused::Undetermined { .. })));
    }

    #[test]
    fn a_shift_is_the_median_difference() {
        let moved = shift(&[12.0, 14.0, 19.0, 30.0, 33.0], &[2.0, 4.0, 9.0, 20.0, 23.0]).expect("two groups");
        assert_eq!(moved.shift, 10.0);
        let interval = moved.ci95.expect("252 arrangements");
        assert!(interval.lower < 10.0 && interval.upper > 10.0);
    }

    #[test]
    fn too_few_or_too_equal_values_have_a_shift_without_interval() {
        let few = shift(&[1.0, 2.0, 3.0], &[4.0, 5.0, 6.0]).expect("two groups");
        assert_eq!((few.shift, few.ci95), (-3.0, None));
        assert_eq!(shift(&[5.0; 20], &[5.0; 20]).expect("two groups").ci95, None);
        assert!(matches!(shift(&[], &[1.0]), Err(Refused::TooFew { .. })));
    }

    #[test]
    fn exact_and_normal_ranks_are_near_each_other() {
        let a: Vec<f64> = (0..11).map(|k| f64::from(k) * 1.7).collect();
        let b: Vec<f64> = (0..11).map(|k| f64::from(k) * 1.3 + 0.1).collect();
        let (low, high) = shift_ranks(&a, &b).expect("enough");
        let normal = normal_rank(11, 11, &doubled_mid_ranks(&a, &b)).expect("enough");
        assert_eq!(low, high);
        assert!(low.abs_diff(normal) <= 1);
    }
}
