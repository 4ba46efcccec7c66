//! Firnbook core: the field log of an avalanche-rescue training day, without any screen.
//!
//! The house has floors; a module uses only floors below it (see DEVELOPERS.md):
//! `phone` (only with the feature `uniffi`), then `logbook`, then `insight`, then `review` and `exchange`, then `store`, then `day`, then `entry`, then the pure mathematics.

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

pub mod clock;
pub mod crew;
pub mod day;
pub mod entry;
pub mod exchange;
pub mod field;
pub mod insight;
pub mod logbook;
#[cfg(feature = "uniffi")]
pub mod phone;
pub mod review;
pub mod stats;
pub mod store;
pub mod units;

#[cfg(feature = "uniffi")]
uniffi::setup_scaffolding!();
