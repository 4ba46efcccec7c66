//! What the fuzz targets check, and how they alter their input so that it stays well formed. The laws replay the corpora with the same checks.
//!
//! A check panics where something is wrong. Only the module `fuzzer` uses the fuzzer's library.

pub mod alter;
pub mod change;
pub mod chunk;
pub mod devices;
pub mod document;
pub mod frames;
#[cfg(feature = "fuzzer")]
pub mod fuzzer;
pub mod ids;
pub mod meaning;
mod memory;
pub mod pack;
#[path = "../../src/rogue.rs"]
pub mod rogue;
pub mod session;
pub mod sign;
pub mod signatures;
pub mod tree;

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// The day of the inputs of the targets `change` and `document`.
pub const DAY: [u8; 16] = [0x5a; 16];

thread_local! {
    static MAY_PANIC: Cell<bool> = const { Cell::new(false) };
}

/// Runs code of the Automerge library, which panics at some inputs; `None` where it does.
fn library<T>(run: impl FnOnce() -> T) -> Option<T> {
    MAY_PANIC.set(true);
    let done = catch_unwind(AssertUnwindSafe(run)).ok();
    MAY_PANIC.set(false);
    done
}

/// The date of the day that is in packs and sessions.
#[must_use]
pub fn date() -> chrono::NaiveDate {
    chrono::NaiveDate::from_ymd_opt(2027, 2, 6).unwrap_or_default()
}
