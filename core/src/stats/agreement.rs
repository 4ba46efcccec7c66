//! How well two ways of measuring the same things agree: limits of agreement and concordance. The robust line between
//! them is in `rank`.

use schemars::JsonSchema;
use serde::Serialize;

use super::describe::{Moments, sum};
use super::distribution::t;
use super::{Interval, Refused, at_least, finite, paired};

/// Standard deviations from the bias to a limit of agreement (Bland and Altman 1999).
const LIMIT: f64 = 1.96;

/// Bias and limits of agreement of `a` minus `b`, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Agreement {
    /// Number of pairs, at least 2.
    pub n: usize,
    /// Mean of the differences a - b.
    pub bias: f64,
    /// Standard deviation of the differences, with n - 1.
    pub sd: f64,
    /// Lower limit of agreement, bias - 1.96 sd.
    pub lower: f64,
    /// Upper limit of agreement, bias + 1.96 sd.
    pub upper: f64,
    /// Interval of the bias, by t with n - 1 degrees of freedom.
    pub bias_ci95: Interval,
    /// Interval of the lower limit, by t with n - 1 degrees of freedom.
    pub lower_ci95: Interval,
    /// Interval of the upper limit, by t with n - 1 degrees of freedom.
    pub upper_ci95: Interval,
}

/// Bias and limits of agreement of two measurements of the same things (Bland and Altman 1999): the differences are
/// taken as roughly normal, and the standard error of a limit is sqrt(s2 / n + 1.96^2 s2 / (2 (n - 1))).
///
/// # Errors
/// Fewer than two pairs, lists of different lengths and values that are not finite.
pub fn limits_of_agreement(a: &[f64], b: &[f64]) -> Result<Agreement, Refused> {
    let too_few = Refused::TooFew { what: "agreement of two methods", need: 2, have: a.len() };
    let Moments { n, mean: bias, sd: Some(sd) } = Moments::of(&differences(a, b)?)? else {
        return Err(too_few);
    };
    let (lower, upper) = (bias - LIMIT * sd, bias + LIMIT * sd);
    let (count, t) = (n as f64, t(n - 1));
    let bias_half = t * sd / count.sqrt();
    let limit_half = t * sd * (1.0 / count + LIMIT * LIMIT / (2.0 * (count - 1.0))).sqrt();
    Ok(Agreement {
        n,
        bias,
        sd,
        lower,
        upper,
        bias_ci95: Interval::around(bias, bias_half),
        lower_ci95: Interval::around(lower, limit_half),
        upper_ci95: Interval::around(upper, limit_half),
    })
}

/// Concordance of two measurements of the same things, -1 to 1 (Lin 1989, variances and covariance with 1 / n): 1 only
/// if all pairs are equal, lower for scatter as well as for a shift.
///
/// # Errors
/// Fewer than two pairs, lists of different lengths, values that are not finite, and values that are all the same.
pub fn concordance(a: &[f64], b: &[f64]) -> Result<f64, Refused> {
    differences(a, b)?;
    at_least("a concordance", 2, a.len())?;
    let (mean_a, mean_b) = (Moments::of(a)?.mean, Moments::of(b)?.mean);
    let mean = |product: &dyn Fn(f64, f64) -> f64| {
        sum(a.iter().zip(b).map(|(a, b)| product(a - mean_a, b - mean_b))) / a.len() as f64
    };
    let shift = mean_a - mean_b;
    let spread = mean(&|a, _| a * a) + mean(&|_, b| b * b) + shift * shift;
    if spread == 0.0 {
        let why = "all values are the same; concordance needs things that differ".to_owned();
        return Err(Refused::Undetermined { what: "a concordance", why });
    }
    Ok(2.0 * mean(&|a, b| a * b) / spread)
}

fn differences(a: &[f64], b: &[f64]) -> Result<Vec<f64>, Refused> {
    paired("two measurements of the same things", a.len(), b.len())?;
    finite(a)?;
    finite(b)?;
    Ok(a.iter().zip(b).map(|(a, b)| a - b).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_constant_offset_is_all_bias() {
        let agreement =
            limits_of_agreement(&[105.0, 95.0, 165.0], &[100.0, 90.0, 160.0]).expect("three pairs");
        assert_eq!((agreement.bias, agreement.sd), (5.0, 0.0));
        assert_eq!(agreement.upper_ci95, Interval { lower: 5.0, upper: 5.0 });
    }

    #[test]
    fn concordance_is_one_for_equal_pairs_and_falls_with_a_shift() {
        let a = [80.0, 120.0, 150.0];
        assert_eq!(concordance(&a, &a), Ok(1.0));
        assert_eq!(concordance(&[1.0, -1.0], &[-1.0, 1.0]), Ok(-1.0));
        assert!(concordance(&a, &a.map(|value| value + 20.0)).expect("spread") < 0.9);
        assert!(matches!(concordance(&[3.0, 3.0], &[3.0, 3.0]), Err(Refused::Undetermined { .. })));
    }

    #[test]
    fn unpaired_and_single_values_are_refused() {
        assert!(matches!(limits_of_agreement(&[1.0], &[]), Err(Refused::Unpaired { .. })));
        assert!(matches!(limits_of_agreement(&[1.0], &[2.0]), Err(Refused::TooFew { need: 2, have: 1, .. })));
    }
}
