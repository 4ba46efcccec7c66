//! Firnbook core.
