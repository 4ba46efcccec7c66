//! When two transmitters pulse at nearly the same time: how much of one is hit by the other, and for how long the
//! two stay together. Plain arithmetic of two periodic signals.

use super::{FieldError, within};

/// Share, 0 to 1, of one transmitter's pulses that a pulse of the other touches, over a long time: the two pulse
/// lengths together over the other's period, never more than 1.
///
/// # Errors
/// A pulse outside 1 to 10,000 ms, a period outside 1 to 10,000 ms.
pub fn overlap_share(pulse_ms: f64, other_pulse_ms: f64, other_period_ms: f64) -> Result<f64, FieldError> {
    let both_ms = pulse(pulse_ms)? + pulse(other_pulse_ms)?;
    Ok((both_ms / period(other_period_ms)?).min(1.0))
}

/// How many cycles an overlap lasts once it began: the two pulse lengths together over the difference of the
/// periods. `None` if the periods are equal, for then it never ends by itself.
///
/// # Errors
/// As [`overlap_share`].
pub fn overlap_spell_cycles(
    pulse_ms: f64,
    other_pulse_ms: f64,
    period_ms: f64,
    other_period_ms: f64,
) -> Result<Option<f64>, FieldError> {
    let both_ms = pulse(pulse_ms)? + pulse(other_pulse_ms)?;
    let drift_ms = (period(period_ms)? - period(other_period_ms)?).abs();
    let cycles = both_ms / drift_ms;
    Ok(cycles.is_finite().then_some(cycles))
}

fn pulse(value_ms: f64) -> Result<f64, FieldError> {
    within("the pulse", value_ms, 1.0, 10_000.0, "ms")
}

fn period(value_ms: f64) -> Result<f64, FieldError> {
    within("the period", value_ms, 1.0, 10_000.0, "ms")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::tests::near;

    #[test]
    fn section_6_pulse_overlap() {
        near(overlap_share(70.0, 70.0, 1000.0).unwrap(), 0.14, 1e-12);
        near(overlap_share(100.0, 100.0, 1000.0).unwrap(), 0.20, 1e-12);
        near(overlap_spell_cycles(70.0, 70.0, 1000.0, 1010.0).unwrap().unwrap(), 14.0, 1e-12);
    }

    #[test]
    fn equal_periods_have_no_end() {
        assert_eq!(overlap_spell_cycles(70.0, 70.0, 1000.0, 1000.0), Ok(None));
        assert!(overlap_share(0.0, 70.0, 1000.0).is_err());
        assert_eq!(overlap_share(600.0, 600.0, 1000.0), Ok(1.0));
    }
}
