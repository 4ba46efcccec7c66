//! What moments that several clocks saw together tell of one of them: everybody presses a mark, or the start of a drill.

use crate::stats::describe::{mad, median};

/// A median absolute deviation times this estimates a standard deviation of normal errors: 1 / (quantile of the standard normal at 3/4).
pub const MAD_TO_SD: f64 = 1.4826;
/// No clock is known better than this from marks: a thumb in a glove. Human press, common practice, no source.
pub const MARK_FLOOR_MS: f64 = 500.0;
/// No clock is known better than this from starts, which are pressed on a call. Human press, common practice, no source.
pub const START_FLOOR_MS: f64 = 1_000.0;
/// No clock is known better than this from being read: its seconds, and the glance from one to the other. Common practice, no source.
pub const READ_FLOOR_MS: f64 = 1_000.0;

/// An offset out of shared moments.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shared {
    /// What is added to the clock's time, ms.
    pub offset_ms: f64,
    /// Half width, ms.
    pub uncertainty_ms: f64,
    /// Number of moments.
    pub n: usize,
}

/// Median of base time minus clock time over moments, uncertain by 1.4826 times their median absolute deviation, at least `floor_ms`.
///
/// `None` without a moment.
#[must_use]
pub fn shared_offset(base_minus_clock_ms: &[f64], floor_ms: f64) -> Option<Shared> {
    let offset_ms = median(base_minus_clock_ms).ok()?;
    let spread_ms = MAD_TO_SD * mad(base_minus_clock_ms).ok()?;
    Some(Shared { offset_ms, uncertainty_ms: spread_ms.max(floor_ms), n: base_minus_clock_ms.len() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_press_is_better_than_its_floor() {
        let steady = shared_offset(&[-7_100.0, -7_100.0, -7_101.0], MARK_FLOOR_MS).unwrap();
        assert_eq!((steady.offset_ms, steady.uncertainty_ms, steady.n), (-7_100.0, 500.0, 3));
        let loose = shared_offset(&[-5_000.0, -7_000.0, -10_000.0], START_FLOOR_MS).unwrap();
        assert_eq!((loose.offset_ms, loose.uncertainty_ms), (-7_000.0, 2_000.0 * MAD_TO_SD));
        assert_eq!(shared_offset(&[], MARK_FLOOR_MS), None);
    }
}
