//! Live exchange: sessions over links that cut, delay and lie; crews; the LAN; a base and its phones as processes of their own.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a test is a failed test")]

mod attack;
mod carriers;
mod crew;
mod day;
mod devices;
mod lan;
mod link;
mod noise;
mod packs;
mod processes;
mod relay;
mod session;
mod weather;
