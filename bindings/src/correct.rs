//! Correcting what was written, and settling what people wrote differently.

use crate::Logbook;
use firnbook_core::day::DayId;
use firnbook_core::entry::{CallSign, EntryId};
use firnbook_core::logbook::{Changed, DayBegun, LogbookError};
use firnbook_core::phone::{FirnbookError, JsonObject};
use firnbook_core::review::{Choice, Item, Sort, Verdict};
use std::collections::BTreeSet;

uniffi::use_remote_type!(firnbook_core::JsonObject);

#[uniffi::export]
impl Logbook {
    /// Amends fields of an entry, given as a JSON object of field names and values; null takes an optional field away.
    pub fn amend(
        &self,
        day: DayId,
        id: EntryId,
        fields: JsonObject,
        by: CallSign,
    ) -> Result<Changed, FirnbookError> {
        self.changing(day, |log| log.amend(&[(day, id)], &fields, &by.0))
    }

    /// Strikes an entry out and keeps it, with the reason.
    pub fn void_entry(
        &self,
        day: DayId,
        id: EntryId,
        reason: String,
        by: CallSign,
    ) -> Result<Changed, FirnbookError> {
        self.changing(day, |log| log.void(&[(day, id)], Some(&reason), &by.0))
    }

    /// Brings back an entry that was struck out.
    pub fn restore(&self, day: DayId, id: EntryId, by: CallSign) -> Result<Changed, FirnbookError> {
        self.changing(day, |log| log.void(&[(day, id)], None, &by.0))
    }

    /// Moves an entry to the day it belongs to: the same id there, struck out here.
    pub fn move_entry(
        &self,
        day: DayId,
        id: EntryId,
        into: DayId,
        by: CallSign,
    ) -> Result<Changed, FirnbookError> {
        let changed = self.changing(day, |log| log.move_to(&[(day, id)], into, &by.0))?;
        self.tell_written(into, &changed.changed);
        Ok(changed)
    }

    /// What of a day needs a person, in the order in which people should look.
    pub fn review(&self, day: DayId) -> Result<Vec<Item>, FirnbookError> {
        self.with(|log| log.review(day))
    }

    /// Settles items by their short codes; answers the codes that are settled now.
    #[uniffi::method(default(note = None))]
    pub fn settle(
        &self,
        day: DayId,
        items: Vec<String>,
        verdict: Verdict,
        by: CallSign,
        note: Option<String>,
    ) -> Result<Vec<String>, FirnbookError> {
        self.settling(day, Choice::These(&items), &verdict, &by, note.as_deref())
    }

    /// Settles all items of a sort alike, for example all twins as the same.
    #[uniffi::method(default(note = None))]
    pub fn settle_all(
        &self,
        day: DayId,
        sort: Sort,
        verdict: Verdict,
        by: CallSign,
        note: Option<String>,
    ) -> Result<Vec<String>, FirnbookError> {
        self.settling(day, Choice::All(sort), &verdict, &by, note.as_deref())
    }

    /// Closes a day; while kit is out or someone is awaited only with a reason.
    #[uniffi::method(default(despite = None))]
    pub fn close_day(
        &self,
        day: DayId,
        by: CallSign,
        despite: Option<String>,
    ) -> Result<DayBegun, FirnbookError> {
        self.with(|log| log.close_day(day, despite.as_deref(), &by.0))
    }
}

impl Logbook {
    fn changing(
        &self,
        day: DayId,
        work: impl FnOnce(&mut firnbook_core::logbook::Logbook) -> Result<Changed, LogbookError>,
    ) -> Result<Changed, FirnbookError> {
        let changed = self.with(work)?;
        self.tell_written(day, &changed.changed);
        Ok(changed)
    }

    fn settling(
        &self,
        day: DayId,
        choice: Choice<'_>,
        verdict: &Verdict,
        by: &CallSign,
        note: Option<&str>,
    ) -> Result<Vec<String>, FirnbookError> {
        let settled = self.with(|log| log.settle(day, choice, verdict, &by.0, note, false))?;
        let ids: BTreeSet<EntryId> = settled.iter().flat_map(|s| &s.entries).copied().collect();
        self.tell_written(day, &ids.into_iter().collect::<Vec<_>>());
        Ok(settled.into_iter().map(|s| s.code).collect())
    }
}
