//! One day: changes that put texts under keys. Entries are written once; registers hold everything that can change.
//!
//! [`mod@format`] reads and writes the bytes, [`judge()`] says which changes count, [`Record`] is what they say, as plain data, and [`Document`] the
//! same as an Automerge document. All is described in `schemas/day.md` and `schemas/trust.md`.

mod beginning;
mod cover;
mod document;
mod effective;
pub mod format;
mod identity;
mod judge;
mod key;
mod record;
mod same;
mod things;
mod values;

pub use beginning::{Beginning, FIRST_MAX_OP};
pub use cover::{Cover, MAX_TIPS};
pub use document::{DayError, Document};
pub use effective::{Body, effective};
pub use format::{Change, Hash, Unreadable};
pub use identity::{Actor, DayId, DeviceId, HexError, History, sha256_hex, short_code};
pub use judge::{ChangeHead, Covered, Verdict, judge};
pub(crate) use judge::{Standing, standings};
pub use key::Key;
pub use record::{ClockName, Noted, Record, Registers, Saying, canonical, disagree, json_equal};
pub use same::Groups;
pub use things::{Thing, Things};
pub use values::{Written, live, over, values};
