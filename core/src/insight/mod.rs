//! What the entries tell: the debrief of a day and the statistics of a season, as pure functions from a day's [`Record`](crate::day::Record)
//! to plain structs that serialise to JSON. Nothing here reads a store, draws a screen or settles anything.
//!
//! Every figure carries its n and has its unit in its name; what can't be told is null, with the reason beside it or counted in `left_out`.

pub mod cautions;
pub mod checks;
pub mod debrief;
pub mod depth;
pub mod digging;
pub mod drill;
pub mod events;
pub mod interference;
pub mod left_out;
pub mod made;
pub mod notes;
pub mod plan;
mod presses;
pub mod probing;
pub mod reference;
pub mod search;
pub mod season;
pub mod several;
pub mod sheets;
pub mod site;
pub mod slowest;
pub mod snow;
pub mod tables;

#[cfg(test)]
mod testing;
pub mod thresholds;
pub mod timeline;
pub mod tracks;
pub mod view;
