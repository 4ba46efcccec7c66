//! Firnbook core.

pub mod field;
pub mod stats;
