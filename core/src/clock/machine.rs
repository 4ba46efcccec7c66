//! The clock that a logbook is given at opening, so that tests and simulations own time.

use crate::entry::Time;
use chrono::Local;

/// Where "now" comes from.
pub trait Clock: Send + Sync {
    /// The present instant, with the offset of the place.
    fn now(&self) -> Time;
}

/// The clock of the machine, in its time zone.
#[derive(Clone, Copy, Debug, Default)]
pub struct MachineClock;

impl Clock for MachineClock {
    fn now(&self) -> Time {
        Time::new(Local::now().fixed_offset())
    }
}
