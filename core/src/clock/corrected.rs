//! A time as it counts: corrected to the day's base time where its clock could be compared, else only beside times of the same clock.

use crate::day::{ClockName, Noted};

/// An instant as it counts.
#[derive(Clone, Debug, PartialEq)]
pub struct Corrected {
    /// Milliseconds since 1970 UTC: base time where the clock could be compared, else as the clock showed it.
    pub ms: f64,
    /// Half width within which the true time lies, in ms; `None` where the clock was never compared with the others.
    pub uncertainty_ms: Option<f64>,
    /// The clock that it was read from.
    pub clock: ClockName,
}

impl Corrected {
    /// The clock whose times this one may only be compared with; `None` on the day's common time line.
    #[must_use]
    pub fn only_with(&self) -> Option<&ClockName> {
        self.uncertainty_ms.is_none().then_some(&self.clock)
    }

    /// How far apart two instants are, in ms.
    #[must_use]
    pub fn apart_ms(&self, other: &Corrected) -> f64 {
        (self.ms - other.ms).abs()
    }

    /// What is not known of how far apart two instants are, in ms: nothing where one clock read both, `None` where their clocks were never
    /// compared.
    #[must_use]
    pub fn unknown_ms(&self, other: &Corrected) -> Option<f64> {
        if self.clock == other.clock {
            return Some(0.0);
        }
        Some(self.uncertainty_ms? + other.uncertainty_ms?)
    }
}

/// Puts times on one line; [`TimeLine`](super::TimeLine) is the one of a day, [`RawClocks`] corrects nothing.
pub trait Clocks {
    /// The instant at which the clock of an entry's `at` showed `raw_ms` (milliseconds since 1970 UTC).
    fn correct(&self, noted: &Noted, raw_ms: i64) -> Corrected;

    /// The `at` of an entry; 1970 for an opaque one that has none.
    fn at(&self, noted: &Noted) -> Corrected {
        self.correct(noted, noted.at().map_or(0, |at| at.millis()))
    }
}

/// Takes every clock at its word: as if all had been set to the millisecond.
#[derive(Clone, Copy, Debug, Default)]
pub struct RawClocks;

impl Clocks for RawClocks {
    fn correct(&self, noted: &Noted, raw_ms: i64) -> Corrected {
        Corrected { ms: raw_ms as f64, uncertainty_ms: Some(0.0), clock: noted.at_clock.clone() }
    }
}
