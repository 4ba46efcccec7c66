//! What a person at a terminal meets: screens, errors, the JSON behind `--json`, the commands of the README.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a test is a failed test")]

mod answers;
mod aside;
mod bad_input;
mod binary;
mod checks;
mod corrections;
mod day;
mod intake;
mod live;
mod plan;
mod readme;
mod recorder;
mod round_trip;
mod round_trip_days;
mod season;
mod walk;
mod worked;
