//! Firnbook core.

pub mod field;
