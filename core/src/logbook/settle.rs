//! What needs a person, over days, and writing what a person decided.

use super::{Logbook, LogbookError};
use crate::day::{DayId, Key, Record};
use crate::entry::EntryId;
use crate::review::{self, KitItem};
use serde_json::json;

/// The kinds that tell where kit is.
const KIT_KINDS: [&str; 5] = ["kit", "target", "drill", "moment", "strike"];

impl Logbook {
    /// Every piece of kit of all days, in the snow first.
    ///
    /// # Errors
    /// The store's.
    pub fn kit(&self) -> Result<Vec<KitItem>, LogbookError> {
        let days = self.days()?;
        let records: Vec<Record> =
            days.iter().map(|d| self.store.record_of(d.id, &KIT_KINDS)).collect::<Result<_, _>>()?;
        Ok(review::kit(&records.iter().collect::<Vec<_>>()))
    }

    /// Says that two entries tell of one event, or of two.
    ///
    /// # Errors
    /// [`LogbookError::NoEntry`] for an entry that is not here.
    pub fn call_same(
        &mut self,
        day: DayId,
        one: EntryId,
        other: EntryId,
        same: bool,
        by: &str,
    ) -> Result<(), LogbookError> {
        let text = self.register(json!(same), by);
        self.store.write(|seen| {
            for id in [one, other] {
                seen.entry(day, id)?.ok_or_else(|| LogbookError::NoEntry(id.to_string()))?;
            }
            Ok((vec![(day, vec![(Key::same(one, other), text)])], ()))
        })
    }
}
