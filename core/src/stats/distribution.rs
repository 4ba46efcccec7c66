//! The few points of reference distributions that the intervals and tests need.

use statrs::function::{beta::inv_beta_reg, gamma::gamma_ur};

use super::LEVEL;

/// The two-sided 95 % point of the standard normal distribution.
pub(crate) const Z: f64 = 1.959_963_984_540_054;

/// Degrees of freedom from which the expansion around the normal point is the more exact one.
const EXPANSION_FROM: f64 = 500.0;

/// The two-sided 95 % point of the t distribution: the factor of a standard error with `df` degrees of freedom, at
/// least 1. From the inverse incomplete beta function, for many degrees of freedom from the expansion 26.7.5 of
/// Abramowitz and Stegun (1964); relative error below 1e-12 throughout.
pub(crate) fn t(df: usize) -> f64 {
    let df = df as f64;
    if df < EXPANSION_FROM { t_inverted(df) } else { t_expanded(df) }
}

fn t_inverted(df: f64) -> f64 {
    let y = inv_beta_reg(df / 2.0, 0.5, 1.0 - LEVEL);
    (df * (1.0 - y) / y).sqrt()
}

fn t_expanded(df: f64) -> f64 {
    let terms = [
        (4.0, [1.0, 1.0, 0.0, 0.0, 0.0]),
        (96.0, [3.0, 16.0, 5.0, 0.0, 0.0]),
        (384.0, [-15.0, 17.0, 19.0, 3.0, 0.0]),
        (92_160.0, [-945.0, -1920.0, 1482.0, 776.0, 79.0]),
    ];
    let odd = |coefficients: [f64; 5]| Z * coefficients.iter().rev().fold(0.0, |value, c| value * Z * Z + c);
    Z + terms.iter().rev().fold(0.0, |value, (divisor, odds)| (value + odd(*odds) / divisor) / df)
}

/// Probability that a chi-squared variable with `df` degrees of freedom, at least 1, exceeds `value`.
pub(crate) fn chi_squared_above(value: f64, df: usize) -> f64 {
    if value <= 0.0 { 1.0 } else { gamma_ur(df as f64 / 2.0, value / 2.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_ways_to_a_t_point_meet() {
        let close = |a: f64, b: f64| (a - b).abs() < 1e-9;
        assert!(close(t(1), 12.706_204_736_174_7));
        assert!(close(t(10), 2.228_138_851_986_27));
        assert!((t_inverted(EXPANSION_FROM) - t_expanded(EXPANSION_FROM)).abs() < 1e-12);
        assert!(close(t(100_000_000_000), Z));
    }
}
