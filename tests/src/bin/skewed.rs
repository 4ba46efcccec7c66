//! Firnbook by a clock that is off: this machine's and the milliseconds that stand in a file. The counter since the machine's start is the
//! machine's own, so that another number in the file is a clock that was moved.
//!
//! `skewed FILE ARGUMENT…`

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a test is a failed test")]

use firnbook::{Surroundings, run};
use firnbook_core::clock::{Clock, MachineClock, SinceBoot};
use firnbook_core::entry::Time;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

struct Skewed(PathBuf);

impl Clock for Skewed {
    fn now(&self) -> Time {
        let off_ms: i64 = std::fs::read_to_string(&self.0).unwrap().trim().parse().unwrap();
        let now = MachineClock.now();
        Time::from_millis(now.millis() + off_ms, now.utc_offset_min()).unwrap()
    }

    fn since_boot(&self) -> Option<SinceBoot> {
        MachineClock.since_boot()
    }
}

fn main() -> ExitCode {
    let mut around = Surroundings::of_this_process();
    let file = PathBuf::from(around.args.remove(1));
    ExitCode::from(run(Surroundings { clock: Arc::new(Skewed(file)), ..around }))
}
