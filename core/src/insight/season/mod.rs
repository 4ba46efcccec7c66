//! What the entries of many days tell. Each room answers one question from plain rows, out of a store's columns or out of days
//! at hand; none knows where the rows come from.

pub mod checks;
pub mod depth;
pub mod digging;
pub mod footing;
pub mod group;
pub mod interference;
pub mod keys;
#[cfg(test)]
mod laws;
pub mod methods;
pub mod passed;
pub mod person;
pub mod rows;
pub mod runs;
pub mod times;
pub mod who;
