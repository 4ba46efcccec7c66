//! A phone of the story: a store of its own, a clock that is a little off, and someone who is never quite as quick as the event.

use super::chance::Chance;
use crate::failure::Failure;
use chrono::NaiveDate;
use firnbook_core::clock::Clock;
use firnbook_core::day::DayId;
use firnbook_core::entry::{EntryId, Time};
use firnbook_core::logbook::{Draft, Logbook};
use serde_json::{Map, Value, json};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

/// The true time of the story, milliseconds since 1970 UTC; every clock in it reads this and is off in its own way.
pub type TrueTime = Arc<AtomicI64>;

/// A clock that is off by so much.
pub struct StoryClock {
    true_ms: TrueTime,
    off_ms: i64,
    utc_offset_min: i32,
}

impl StoryClock {
    /// A clock at a place with this offset from UTC; `off_ms` is how far it is ahead.
    #[must_use]
    pub fn new(true_ms: TrueTime, off_ms: i64, utc_offset_min: i32) -> StoryClock {
        StoryClock { true_ms, off_ms, utc_offset_min }
    }

    /// What the clock shows at a true time; the year 1970 for times that no calendar has.
    #[must_use]
    pub fn shows(&self, true_ms: i64) -> Time {
        let shown = Time::from_millis(true_ms + self.off_ms, self.utc_offset_min);
        shown.unwrap_or_else(|| Time::new(chrono::DateTime::UNIX_EPOCH.fixed_offset()))
    }
}

impl Clock for StoryClock {
    fn now(&self) -> Time {
        self.shows(self.true_ms.load(Ordering::Relaxed))
    }
}

/// A phone and who holds it.
pub struct Phone {
    /// The holder's call sign.
    pub call_sign: &'static str,
    /// The store.
    pub logbook: Logbook,
    /// Its clock.
    pub clock: StoryClock,
    day: DayId,
    chance: Chance,
}

impl Phone {
    /// Takes a phone out of the pocket and begins the day on it.
    ///
    /// # Errors
    /// The store's.
    pub fn new(
        path: &Path,
        call_sign: &'static str,
        clock: impl Fn() -> StoryClock,
        (date, area): (NaiveDate, &str),
        chance: Chance,
    ) -> Result<Phone, Failure> {
        let mut logbook = Logbook::open(path, Box::new(clock()))?;
        let day = logbook.begin_day(date, area, call_sign)?.day;
        Ok(Phone { call_sign, logbook, clock: clock(), day, chance })
    }

    /// Presses what happens at a true time, up to a second late.
    ///
    /// # Errors
    /// The store's.
    pub fn press(&mut self, true_ms: i64, entry: Value) -> Result<EntryId, Failure> {
        let late_ms = self.chance.up_to(1_000);
        self.write(true_ms + late_ms, entry)
    }

    /// Writes something down in quiet: the time is as good as the clock.
    ///
    /// # Errors
    /// The store's.
    pub fn write(&mut self, true_ms: i64, entry: Value) -> Result<EntryId, Failure> {
        self.clock.true_ms.store(true_ms, Ordering::Relaxed);
        let at = self.clock.shows(true_ms);
        let id = EntryId::new(at.millis(), self.chance.bytes());
        let Value::Object(mut json) = entry else { return Err(Failure::refused("the story wrote no entry")) };
        json.insert("id".to_owned(), json!(id));
        json.insert("at".to_owned(), json!(at));
        self.logbook.log(self.day, self.call_sign, vec![Draft { json, line: None }], false)?;
        Ok(id)
    }

    /// Corrects a field of an entry at a true time.
    ///
    /// # Errors
    /// The store's.
    pub fn correct(&mut self, true_ms: i64, id: EntryId, field: &str, value: Value) -> Result<(), Failure> {
        self.clock.true_ms.store(true_ms, Ordering::Relaxed);
        let fields = Map::from_iter([(field.to_owned(), value)]);
        self.logbook.amend(&[(self.day, id)], &fields, self.call_sign)?;
        Ok(())
    }

    /// The day as a pack.
    ///
    /// # Errors
    /// The store's.
    pub fn pack(&self) -> Result<Vec<u8>, Failure> {
        Ok(self.logbook.pack(&[self.day])?.bytes)
    }
}
