//! Which of this device's clocks it reads: the next number after the clock was moved. Kept in `meta` under the device, since the next opening
//! must go on with it; it never travels but on the entries.

use super::{Store, StoreError};
use crate::clock::SinceBoot;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior};
use serde::{Deserialize, Serialize};

/// A jump of the clock against the counter beyond this makes another clock of it, ms.
const JUMP_MS: i64 = 1_000;
/// Clock and counter may part slowly without a jump; what they parted by is put down once it is this much, ms.
const DRIFT_MS: i64 = 100;

/// The clock and its counter as they were seen last.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Last {
    /// Which of the device's clocks it is, from 1.
    number: u32,
    /// Which start of the machine.
    boot: String,
    /// The clock minus the counter, ms.
    ahead_ms: i64,
    /// The clock, ms since 1970 UTC.
    shown_ms: i64,
}

impl Last {
    /// What must be put down on seeing the clock and the counter now; `None` if what is held still holds.
    fn next(held: Option<&Last>, boot: &str, shown_ms: i64, counter_ms: i64) -> Option<Last> {
        let ahead_ms = shown_ms - counter_ms;
        let seen = |number| Some(Last { number, boot: boot.to_owned(), ahead_ms, shown_ms });
        let Some(held) = held else { return seen(1) };
        let moved_ms = (ahead_ms - held.ahead_ms).abs();
        // Another start of the machine counts anew, but a clock that shows less than it did has been set all the same.
        let (moved, worth) = match held.boot == boot {
            true => (moved_ms > JUMP_MS, moved_ms >= DRIFT_MS),
            false => (held.shown_ms - shown_ms > JUMP_MS, true),
        };
        if moved { seen(held.number + 1) } else { worth.then(|| seen(held.number)).flatten() }
    }
}

impl Store {
    /// The number of this device's clock as it shows `shown_ms` now: 1, and one more each time it was moved by more than a second within one
    /// start of the machine. Without a counter nothing is noticed.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn clock_number(&mut self, shown_ms: i64, counter: Option<&SinceBoot>) -> Result<u32, StoreError> {
        let key = format!("clock:{}", self.device());
        let held = last(&self.conn, &key)?;
        let Some(counter) = counter else { return Ok(held.map_or(1, |h| h.number)) };
        let this_opening = || crate::crew::hex(&self.opening);
        let boot: String = counter.boot.clone().unwrap_or_else(this_opening);
        let next = |held: Option<&Last>| Last::next(held, &boot, shown_ms, counter.ms);
        if next(held.as_ref()).is_none() {
            return Ok(held.map_or(1, |h| h.number));
        }
        let tx = self.conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
        // Another process may have noticed while this one waited.
        let held = last(&tx, &key)?;
        let Some(next) = next(held.as_ref()) else { return Ok(held.map_or(1, |h| h.number)) };
        let text = serde_json::to_string(&next).unwrap_or_default();
        tx.execute("INSERT OR REPLACE INTO meta VALUES (?1, ?2)", [&key, &text])?;
        tx.commit()?;
        Ok(next.number)
    }
}

fn last(conn: &Connection, key: &str) -> Result<Option<Last>, StoreError> {
    let mut statement = conn.prepare_cached("SELECT value FROM meta WHERE key = ?1")?;
    let text: Option<String> = statement.query_row([key], |r| r.get(0)).optional()?;
    Ok(text.and_then(|t| serde_json::from_str(&t).ok()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_jump_within_one_start_makes_another_clock() {
        let held = Last::next(None, "a", 10_000, 1_000).unwrap();
        assert_eq!(held.number, 1);
        let next = |boot, shown, counter| Last::next(Some(&held), boot, shown, counter).map(|l| l.number);
        assert_eq!(next("a", 70_099, 61_000), None, "time goes on");
        assert_eq!(next("a", 70_900, 61_000), Some(1), "drift is put down");
        assert_eq!(next("a", 71_000, 61_000), Some(1), "a second is no jump");
        assert_eq!(next("a", 71_001, 61_000), Some(2));
        assert_eq!(next("a", 68_999, 61_000), Some(2));
        assert_eq!(next("b", 999_000, 5), Some(1), "the machine was started anew");
        assert_eq!(next("b", 8_999, 5), Some(2), "and its clock shows less than before");
    }
}
