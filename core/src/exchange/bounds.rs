//! What is taken from outside at the most. Nothing is allocated for a size that bytes only claim.

use crate::day::format::Bounds;

/// Bounds of files, frames and days; constants, so that every device refuses alike.
#[derive(Clone, Debug)]
pub struct Limits {
    /// Bytes of a pack: a season of a large team is a few MiB; more is no pack of ours, and it must fit into memory.
    pub pack_bytes: usize,
    /// Bytes of what travels beside a day's document, inflated: signatures, and changes that wait.
    pub beside_bytes: usize,
    /// Covering signatures of one day in one pack or session; a device has one or two.
    pub covers: usize,
}

/// The bounds of this version. Those of a day's document and of one change are [`day_bounds`].
pub const LIMITS: Limits = Limits { pack_bytes: 256 << 20, beside_bytes: 64 << 20, covers: 65_536 };

/// The bounds of a day's document and of one change.
#[must_use]
pub fn day_bounds() -> Bounds {
    Bounds::default()
}
