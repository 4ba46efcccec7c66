//! How changes travel between devices. What travels is always Automerge data of whole days; nothing is converted on the way.

mod bounds;
mod pack;

pub use bounds::{BoundError, LIMITS, Limits};
pub use pack::{MAGIC, Manifest, PackDay, PackError, PackedDay, VERSION, read, write};
