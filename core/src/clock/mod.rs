//! Time: the clock that a logbook is given at opening, and one time line out of the clocks of many devices. Raw times are never overwritten;
//! whoever compares times of several entries asks a [`TimeLine`] for them.

mod corrected;
mod machine;
mod mark;
mod name;
pub mod offset;
mod time_line;
mod told;

pub use corrected::{Clocks, Corrected, RawClocks};
pub use machine::{Clock, MachineClock, SinceBoot, implausible};
pub use mark::{MAD_TO_SD, MARK_FLOOR_MS, READ_FLOOR_MS, START_FLOOR_MS, Shared, shared_offset};
pub use time_line::{ClockLine, Source, TimeLine};
pub use told::CLOCK_KINDS;
