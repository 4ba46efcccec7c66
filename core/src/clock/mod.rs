//! Time: the clock that a logbook is given at opening, and one time line out of the clocks of many devices.

mod machine;
pub mod offset;

pub use machine::{Clock, MachineClock};
