//! Laws: what holds for any input and for the source itself. Each law has a file of its own.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a test is a failed test")]

mod clocks;
mod converge;
mod corpus;
mod depths;
mod fields;
mod fixtures;
mod floors;
mod histories;
mod kept;
mod limits;
mod logbook;
mod settling;
mod trust;
mod twins;
