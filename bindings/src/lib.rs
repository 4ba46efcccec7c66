//! The field log for apps in Kotlin, Swift and Python: one object, [`Logbook`], over `firnbook_core`. No logic of its own and no copies of
//! core's records; they cross by the derives at their own declarations.
//!
//! Every call blocks and may come from any thread; an app calls from its background thread. Calls of one log wait for one another.

#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

mod ask;
mod carry;
mod correct;
mod crew;
mod held;
mod listen;
mod live;
mod read;
mod record;
mod write;

pub use held::Logbook;
pub use listen::{ExchangeWatch, ListenerFailed, LogClock, LogListener, LongWork};
pub use live::{LiveBase, Stopper};
pub use record::Recorder;

uniffi::setup_scaffolding!();
