//! One day: an Automerge document whose map holds entries, written once, and registers for everything that can change.
//!
//! [`Document`] is that document; [`Record`] is what it says, as plain data. How a register reads is told in `schemas/day.md`.

pub mod change;
mod document;
mod effective;
mod identity;
mod key;
mod record;
mod same;
mod things;

pub use document::{DayError, Document, FORMAT, Written};
pub use effective::{Body, effective};
pub use identity::{DayId, DeviceId, HexError, Opening, device_of, sha256_hex, short_code};
pub use key::Key;
pub use record::{ClockName, Noted, Record, Registers, Saying, canonical, disagree, json_equal};
pub use same::Groups;
pub use things::{Thing, Things};
