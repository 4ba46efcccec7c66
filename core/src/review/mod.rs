//! What of a day needs a person, and what settling it writes. Everything here is a pure function of [`Record`](crate::day::Record)s: equal changes, equal items,
//! whatever the order in which they came. It proposes; a person settles; settling writes registers of the day, so it travels like any entry.

#![allow(dead_code, reason = "the rooms that put kit and entries into items follow")]

mod ground;
mod item;
mod kit;
#[cfg(test)]
mod testing;
mod twin;

pub use item::{Item, ItemValue, Sort};
pub use kit::{KitItem, KitState, kit};
pub use twin::{Clocks, Corrected, OneEvent, WINDOWS, Window, one_event_groups, proposed, raw_clocks, twins};
