//! A straight model with several terms, fitted by ordinary least squares. Robust lines are in `rank`.

use schemars::JsonSchema;
use serde::Serialize;

use super::describe::{Moments, sum};
use super::distribution::t;
use super::{Interval, Refused, at_least, finite, paired};

/// Share of a term's length that must be its own, not of the terms before it, for its coefficient to mean something.
const OWN_SHARE: f64 = 1e-10;

/// A fitted model: y = intercept + sum of coefficient * term.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Fit {
    /// Number of observations.
    pub n: usize,
    /// Residual degrees of freedom: observations less coefficients, at least 1.
    pub df: usize,
    /// The intercept first, then a coefficient for each term in the order given.
    pub coefficients: Vec<Coefficient>,
    /// Residual standard deviation, in the unit of y.
    pub residual_sd: f64,
    /// Share of the variance of y that the model explains, 0 to 1; null where y does not vary.
    pub r_squared: Option<f64>,
}

/// One coefficient of a fitted model, in the unit of y over the unit of its term.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Coefficient {
    /// Least-squares estimate.
    pub estimate: f64,
    /// Its standard error.
    pub standard_error: f64,
    /// Its interval by t with the residual degrees of freedom.
    pub ci95: Interval,
}

/// Fits `y` by an intercept and the named `terms`, by Householder's QR decomposition (Golub 1965).
///
/// # Errors
/// Terms of another length than y, values that are not finite, no more observations than coefficients, and terms that
/// the observations cannot tell apart: one that is constant or follows from those before it.
pub fn least_squares(y: &[f64], terms: &[(&str, &[f64])]) -> Result<Fit, Refused> {
    finite(y)?;
    for (_, term) in terms {
        paired("observations and a term of the model", y.len(), term.len())?;
        finite(term)?;
    }
    let width = terms.len() + 1;
    at_least("a model with this many terms", width + 1, y.len())?;

    // Terms are scaled to length 1, so that metres and years are told apart by direction alone.
    let mut columns = vec![vec![1.0; y.len()]];
    columns.extend(terms.iter().map(|(_, term)| term.to_vec()));
    let lengths: Vec<f64> = columns.iter().map(|column| length(column)).collect();
    for (column, length) in columns.iter_mut().zip(&lengths).filter(|(_, length)| **length > 0.0) {
        column.iter_mut().for_each(|value| *value /= length);
    }

    let design = columns.clone();
    let mut reflected = y.to_vec();
    for k in 0..width {
        let own = length(&columns[k][k..]);
        if own < OWN_SHARE {
            return Err(inseparable(terms, k));
        }
        let (before, after) = columns.split_at_mut(k + 1);
        let mirror = &mut before[k][k..];
        let diagonal = if mirror[0] > 0.0 { -own } else { own };
        mirror[0] -= diagonal;
        let mirror = mirror.to_vec();
        for column in after.iter_mut().chain([&mut reflected]) {
            reflect(&mut column[k..], &mirror);
        }
        before[k][k] = diagonal;
    }

    let scaled = solve(&columns, &reflected[..width]);
    let fitted = |row: usize| sum(design.iter().zip(&scaled).map(|(column, factor)| column[row] * factor));
    let unexplained = sum((0..y.len()).map(|row| (y[row] - fitted(row)).powi(2)));
    let df = y.len() - width;
    let residual_sd = (unexplained / df as f64).sqrt();
    let coefficients: Vec<Coefficient> = (0..width)
        .map(|k| {
            let estimate = scaled[k] / lengths[k];
            let standard_error = residual_sd * inverse_row_length(&columns, k) / lengths[k];
            Coefficient { estimate, standard_error, ci95: Interval::around(estimate, standard_error * t(df)) }
        })
        .collect();
    if coefficients.iter().any(|found| !(found.ci95.lower.is_finite() && found.ci95.upper.is_finite())) {
        let why = "a term is so small against y that its coefficient is beyond all numbers; give it in a smaller unit";
        return Err(Refused::Undetermined { what: "the model", why: why.to_owned() });
    }
    let mean = Moments::of(y)?.mean;
    let total = sum(y.iter().map(|value| (value - mean).powi(2)));
    let r_squared = (total > 0.0).then(|| (1.0 - unexplained / total).clamp(0.0, 1.0));
    Ok(Fit { n: y.len(), df, coefficients, residual_sd, r_squared })
}

fn inseparable(terms: &[(&str, &[f64])], column: usize) -> Refused {
    let (name, values) = terms[column - 1];
    let why = if values.iter().all(|value| *value == values[0]) {
        format!("{name} is the same in all {} observations; it takes some that differ in it", values.len())
    } else {
        let before = terms[..column - 1].iter().map(|(name, _)| *name).collect::<Vec<_>>().join(", ");
        let besides = if before.is_empty() { "a constant".to_owned() } else { before };
        format!("{name} follows from {besides}; it takes observations in which they vary independently")
    };
    Refused::Undetermined { what: "the model", why }
}

fn length(vector: &[f64]) -> f64 {
    let largest = vector.iter().fold(0.0_f64, |largest, value| largest.max(value.abs()));
    if largest == 0.0 {
        return 0.0;
    }
    largest * sum(vector.iter().map(|value| (value / largest).powi(2))).sqrt()
}

/// Mirrors `vector` at the plane square to `mirror`.
fn reflect(vector: &mut [f64], mirror: &[f64]) {
    let along = sum(vector.iter().zip(mirror).map(|(v, m)| v * m));
    let factor = 2.0 * along / sum(mirror.iter().map(|m| m * m));
    vector.iter_mut().zip(mirror).for_each(|(v, m)| *v -= factor * m);
}

/// Solves R x = right for the upper triangle R that `columns` hold; its diagonal is not 0.
fn solve(columns: &[Vec<f64>], right: &[f64]) -> Vec<f64> {
    let mut x = right.to_vec();
    for k in (0..x.len()).rev() {
        x[k] /= columns[k][k];
        for row in 0..k {
            x[row] -= columns[k][row] * x[k];
        }
    }
    x
}

/// Length of row `k` of the inverse of R: the root of the k-th diagonal element of (X'X)^-1.
fn inverse_row_length(columns: &[Vec<f64>], k: usize) -> f64 {
    let unit =
        |column: usize| (0..columns.len()).map(|i| f64::from(u8::from(i == column))).collect::<Vec<_>>();
    length(&(0..columns.len()).map(|column| solve(columns, &unit(column))[k]).collect::<Vec<_>>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_is_found_again() {
        let depth = [1.0, 2.0, 3.0, 4.0, 5.0];
        let people = [2.0, 1.0, 4.0, 3.0, 6.0];
        let y: Vec<f64> = depth.iter().zip(&people).map(|(d, p)| 7.0 + 2.0 * d - 3.0 * p).collect();
        let fit = least_squares(&y, &[("depth", &depth), ("people", &people)]).expect("a plane");
        for (coefficient, expected) in fit.coefficients.iter().zip([7.0, 2.0, -3.0]) {
            assert!((coefficient.estimate - expected).abs() < 1e-12);
        }
        assert!(fit.residual_sd < 1e-12 && fit.df == 2);
    }

    #[test]
    fn terms_that_cannot_be_told_apart_are_refused_by_name() {
        let reason = |depth: &[f64], people: &[f64]| {
            let y = [1.0, 2.0, 4.0, 3.0, 9.0];
            least_squares(&y, &[("depth", depth), ("people", people)]).expect_err("refused").to_string()
        };
        let varied = [1.0, 2.0, 3.0, 4.0, 6.0];
        assert!(reason(&varied, &[3.0; 5]).contains("people is the same in all 5"));
        assert!(reason(&[0.0; 5], &varied).contains("depth is the same in all 5"));
        assert!(
            reason(&varied, &varied.map(|value| 2.0 * value + 1.0)).contains("people follows from depth")
        );
    }

    #[test]
    fn as_many_coefficients_as_observations_leave_nothing_to_judge_by() {
        let refused = least_squares(&[1.0, 2.0], &[("depth", &[1.0, 3.0])]);
        assert!(matches!(refused, Err(Refused::TooFew { need: 3, have: 2, .. })));
    }
}
