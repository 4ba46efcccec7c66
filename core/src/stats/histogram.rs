//! Bins of a sample. Drawing them is the screen's business.

use schemars::JsonSchema;
use serde::Serialize;

use super::describe::Sample;

/// Most bins a histogram has; a sample with far outliers would otherwise get thousands.
pub const MOST_BINS: usize = 200;

/// Bins of equal width and how many values fall into each.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Histogram {
    /// Edges of the bins in the unit of the values, rising, one more than there are bins.
    pub edges: Vec<f64>,
    /// Values in each bin: from its lower edge up to but without its upper edge, the last bin with both.
    pub counts: Vec<usize>,
}

impl Histogram {
    /// Bins by the rule of Freedman and Diaconis (1981), width 2 IQR / cube root of n, with the edges that numpy's
    /// `histogram_bin_edges(values, "fd")` gives; at most [`MOST_BINS`]. Where the IQR is 0 the rule of Sturges
    /// (1926) decides; where all values are equal there is one bin of width 1 around them.
    pub fn of(sample: &Sample) -> Self {
        let (low, high) = (sample.min(), sample.max());
        if low == high {
            return Self { edges: vec![low - 0.5, high + 0.5], counts: vec![sample.n()] };
        }
        let range = high - low;
        let n = sample.n() as f64;
        let iqr = sample.quantile(0.75) - sample.quantile(0.25);
        let width = if iqr > 0.0 { 2.0 * iqr * n.powf(-1.0 / 3.0) } else { range / (n.log2() + 1.0) };
        let bins = (range / width).ceil().clamp(1.0, MOST_BINS as f64);
        let step = range / bins;
        let edge = |k: usize| if k as f64 == bins { high } else { low + k as f64 * step };
        let edges: Vec<f64> = (0..=bins as usize).map(edge).collect();
        Self { counts: counts(sample.sorted(), &edges), edges }
    }
}

fn counts(sorted: &[f64], edges: &[f64]) -> Vec<usize> {
    let inner = &edges[1..edges.len() - 1];
    let mut below: Vec<usize> =
        inner.iter().map(|edge| sorted.partition_point(|value| value < edge)).collect();
    below.insert(0, 0);
    below.push(sorted.len());
    below.windows(2).map(|pair| pair[1] - pair[0]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn histogram(values: Vec<f64>) -> Histogram {
        Histogram::of(&Sample::new(values).expect("finite"))
    }

    #[test]
    fn every_value_falls_into_one_bin() {
        let all = histogram((0..1000).map(|k| f64::from(k % 97)).collect());
        assert_eq!(all.counts.iter().sum::<usize>(), 1000);
        assert_eq!((all.edges[0], all.edges[all.counts.len()]), (0.0, 96.0));
    }

    #[test]
    fn equal_values_share_one_bin_of_width_one() {
        let one = histogram(vec![120.0; 4]);
        assert_eq!((one.edges, one.counts), (vec![119.5, 120.5], vec![4]));
    }

    #[test]
    fn without_a_spread_in_the_middle_sturges_decides() {
        let mut values = vec![100.0; 31];
        values.push(250.0);
        assert_eq!(histogram(values).counts.len(), 6);
    }

    #[test]
    fn far_outliers_do_not_make_thousands_of_bins() {
        let mut values: Vec<f64> = (0..100).map(f64::from).collect();
        values.push(1e9);
        assert_eq!(histogram(values).counts.len(), MOST_BINS);
    }
}
