//! How an answer asks for the time of an entry: as its clock showed it, or corrected to the day's base time. How clocks are compared is not
//! decided here.

use crate::day::ClockName;

/// A time as it counts in an answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Corrected {
    /// Milliseconds since 1970 UTC, corrected where the clock could be compared.
    pub ms: f64,
    /// Half width within which the true time lies, in ms; `None` where the clock was never compared.
    pub uncertainty_ms: Option<f64>,
    /// `None`: on the day's common time line. Else the clock whose times may only be compared with one another.
    pub only_with: Option<ClockName>,
}

/// Corrects times; see [`RawClocks`] for the one that corrects nothing.
pub trait Clocks {
    /// The time that `clock` showed as `raw_ms` (milliseconds since 1970 UTC), as it counts.
    fn correct(&self, clock: &ClockName, raw_ms: i64) -> Corrected;

    /// Why uncertainties are unknown, for a person to read; `None` where they are known.
    fn uncertainty_why(&self) -> Option<&str>;
}

/// Takes every time as its device showed it, and all devices for comparable.
#[derive(Clone, Copy, Debug, Default)]
pub struct RawClocks;

impl Clocks for RawClocks {
    fn correct(&self, _: &ClockName, raw_ms: i64) -> Corrected {
        Corrected { ms: raw_ms as f64, uncertainty_ms: None, only_with: None }
    }

    fn uncertainty_why(&self) -> Option<&str> {
        Some("times are as the devices showed them; their clocks have not been compared")
    }
}
