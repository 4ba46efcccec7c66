//! What the tests share: logbooks in temporary folders with a clock that the test owns, and short ways to write entries.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a test is a failed test")]

pub mod crowd;
pub mod dictionary;
pub mod program;
pub mod rogue;
pub mod small_disk;
pub mod world;

use firnbook_core::clock::{Clock, SinceBoot};
use firnbook_core::day::DayId;
use firnbook_core::entry::{EntryId, Time};
use firnbook_core::logbook::{Draft, Logbook, LogbookError};
use serde_json::{Map, Value, json};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

/// A clock that stands still until the test moves it.
#[derive(Clone, Debug)]
pub struct TestClock(Arc<AtomicI64>, Arc<AtomicI64>);

impl TestClock {
    /// 2027-02-06, 10:00 at UTC+1.
    #[must_use]
    pub fn new() -> TestClock {
        TestClock(Arc::new(AtomicI64::new(1_801_904_400_000)), Arc::new(AtomicI64::new(5_000)))
    }

    /// Lets time go on.
    pub fn forward_ms(&self, ms: i64) {
        self.0.fetch_add(ms, Ordering::SeqCst);
        self.1.fetch_add(ms, Ordering::SeqCst);
    }

    /// Sets the clock by hand: it jumps, and no time goes by.
    pub fn set_by_ms(&self, ms: i64) {
        self.0.fetch_add(ms, Ordering::SeqCst);
    }
}

impl Default for TestClock {
    fn default() -> Self {
        TestClock::new()
    }
}

impl Clock for TestClock {
    fn now(&self) -> Time {
        Time::from_millis(self.0.load(Ordering::SeqCst), 60).expect("a time of this century")
    }

    fn since_boot(&self) -> Option<SinceBoot> {
        Some(SinceBoot { ms: self.1.load(Ordering::SeqCst), boot: Some("one start".to_owned()) })
    }
}

/// A device of a test: a store in a folder of its own.
pub struct Phone {
    /// The logbook.
    pub book: Logbook,
    /// Its clock.
    pub clock: TestClock,
    /// Who writes.
    pub name: String,
    /// The day of 2027-02-06.
    pub day: DayId,
    folder: tempfile::TempDir,
}

/// The date of the tests' day.
#[must_use]
pub fn date() -> chrono::NaiveDate {
    chrono::NaiveDate::from_ymd_opt(2027, 2, 6).expect("a date")
}

impl Phone {
    /// A new device whose owner has this call sign, with the day begun.
    #[must_use]
    pub fn new(name: &str) -> Phone {
        let mut phone = Phone::bare(name);
        phone.book.begin_day(date(), "Upper Bowl", name).expect("a day");
        phone
    }

    /// A new device that has no day yet.
    #[must_use]
    pub fn bare(name: &str) -> Phone {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let clock = TestClock::new();
        let book = Logbook::open(&folder.path().join("store.firnbook"), Box::new(clock.clone()))
            .expect("a new store");
        Phone { book, clock, name: name.to_owned(), day: DayId::of(date(), "Upper Bowl"), folder }
    }

    /// The file of the store.
    #[must_use]
    pub fn path(&self) -> PathBuf {
        self.folder.path().join("store.firnbook")
    }

    /// The folder of the store.
    #[must_use]
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Opens the same store once more, as another process would.
    #[must_use]
    pub fn open_again(&self) -> Logbook {
        Logbook::open(&self.path(), Box::new(self.clock.clone())).expect("the store")
    }

    /// Writes one entry.
    ///
    /// # Panics
    /// Where it is refused.
    pub fn write(&mut self, json: Value) -> EntryId {
        self.try_write(json).expect("an entry that passes the door")
    }

    /// Writes one entry, or says why not.
    ///
    /// # Errors
    /// What the logbook says.
    pub fn try_write(&mut self, json: Value) -> Result<EntryId, LogbookError> {
        let report =
            self.book.log(self.day, &self.name, vec![Draft { json: map(json), line: None }], false)?;
        Ok(report.ids[0])
    }

    /// This device's day as a pack.
    #[must_use]
    pub fn pack(&self) -> Vec<u8> {
        self.book.pack(&[self.day]).expect("a pack").bytes
    }

    /// Takes another device's day in.
    pub fn merge(&mut self, other: &Phone) {
        self.book.merge(&other.pack(), false).expect("a good pack");
    }
}

/// Every change that counts in a device's day and every signature, as they are read from its pack.
///
/// # Panics
/// Where the pack can't be read.
#[must_use]
pub fn content(pack: &[u8]) -> firnbook_core::store::DayContent {
    firnbook_core::exchange::read(pack).expect("a good pack").1.remove(0).content
}

/// The object in a JSON value.
#[must_use]
pub fn map(json: Value) -> Map<String, Value> {
    match json {
        Value::Object(map) => map,
        other => panic!("{other} is no object"),
    }
}

/// A strike on target A of drill 1.
#[must_use]
pub fn strike(depth_cm: u32) -> Value {
    json!({ "kind": "strike", "drill": "1", "target": "A", "depth_cm": depth_cm, "outcome": "hit" })
}
