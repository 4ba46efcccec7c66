//! What an app may hand in: a listener that is told what happened, a clock, and a watch over long work.

use firnbook_core::clock::Clock;
use firnbook_core::day::DayId;
use firnbook_core::entry::{EntryId, Time};
use firnbook_core::exchange::{Progress, Report};
use firnbook_core::logbook::{Merged, TurnStanding, Watch};
use std::cell::Cell;
use std::sync::Arc;

/// A listener that could not do its part. What was written stays written.
#[derive(Debug, thiserror::Error, uniffi::Error)]
#[uniffi::export(Debug, Display)]
pub enum ListenerFailed {
    /// Why.
    #[error("{says}")]
    Failed {
        /// What it said.
        says: String,
    },
}

impl From<uniffi::UnexpectedUniFFICallbackError> for ListenerFailed {
    fn from(error: uniffi::UnexpectedUniFFICallbackError) -> Self {
        ListenerFailed::Failed { says: error.reason }
    }
}

/// Is told what happened, after it is on the disk, on the thread that did it. It may call the log. What it throws changes nothing.
#[uniffi::export(with_foreign)]
pub trait LogListener: Send + Sync {
    /// These entries were written, amended, struck out, restored or settled on this device.
    fn written(&self, day: DayId, ids: Vec<EntryId>) -> Result<(), ListenerFailed>;
    /// A pack was taken in.
    fn merged(&self, report: Merged) -> Result<(), ListenerFailed>;
    /// A live exchange is over, on this device as base or as the one that called.
    fn exchanged(&self, report: Report) -> Result<(), ListenerFailed>;
    /// A turn at the head has lasted as long as it should; told once a turn, when a recorder is asked where it stands.
    fn turn_over(&self, turn: TurnStanding) -> Result<(), ListenerFailed>;
}

/// Watches a live exchange and may stop it. It may call the log, which is free meanwhile.
#[uniffi::export(with_foreign)]
pub trait ExchangeWatch: Send + Sync {
    /// How far the exchange is. Return false to stop; what was confirmed before is kept.
    fn goes_on(&self, progress: Progress) -> Result<bool, ListenerFailed>;
}

/// Where "now" comes from; without one it is the device's own clock. It is asked in the middle of a call and must not call the log.
#[uniffi::export(with_foreign)]
pub trait LogClock: Send + Sync {
    /// The present instant, with the offset of the place.
    fn now(&self) -> Time;
}

/// Watches long work and may stop it. It is asked in the middle of a call and must not call the log.
#[uniffi::export(with_foreign)]
pub trait LongWork: Send + Sync {
    /// `done` of `of` steps are done. Return false to stop: nothing of the work is kept then.
    fn goes_on(&self, done: u64, of: u64) -> Result<bool, ListenerFailed>;
}

thread_local! {
    static ASKING: Cell<bool> = const { Cell::new(false) };
}

/// Whether this thread is inside a clock or a watch of the app, where calling the log would wait for itself.
pub(crate) fn asking() -> bool {
    ASKING.get()
}

/// Marks this thread as asking the app, until it is dropped.
struct Asks;

impl Asks {
    fn new() -> Asks {
        ASKING.set(true);
        Asks
    }
}

impl Drop for Asks {
    fn drop(&mut self) {
        ASKING.set(false);
    }
}

/// An app's clock as core asks it.
pub(crate) struct AppClock(pub Arc<dyn LogClock>);

impl Clock for AppClock {
    fn now(&self) -> Time {
        let _asks = Asks::new();
        self.0.now()
    }
}

/// An app's watch as core tells it.
pub(crate) struct AppWatch(pub Arc<dyn LongWork>);

impl Watch for AppWatch {
    fn step(&self, done: usize, of: usize) -> bool {
        let _asks = Asks::new();
        // A watch that throws has not asked to stop.
        self.0.goes_on(done as u64, of as u64).unwrap_or(true)
    }
}
