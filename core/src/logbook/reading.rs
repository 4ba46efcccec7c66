//! A day read for an answer: what it says, its clocks on one time line, and which of its entries tell of one event.

use super::{Logbook, LogbookError};
use crate::clock::{CLOCK_KINDS, Clocks, Corrected, TimeLine};
use crate::day::{DayId, Record};
use crate::insight::debrief::ClocksUsed;
use crate::insight::view::View;
use crate::review::{self, OneEvent};
use crate::store::EntryRow;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// A day, read. In some kinds only, those of [`CLOCK_KINDS`] must be among them.
pub(super) struct DayRead {
    pub record: Record,
    pub clocks: TimeLine,
    pub one_event: OneEvent,
}

impl DayRead {
    pub fn of(record: Record) -> DayRead {
        let clocks = TimeLine::of(&record);
        let one_event = review::one_event_groups(&record, &clocks);
        DayRead { record, clocks, one_event }
    }

    pub fn view(&self) -> View<'_> {
        View::new(&self.record, &self.one_event.groups, &self.clocks)
    }
}

impl Logbook {
    /// The clocks of a day: the device whose time is base time, and each clock with its offset to it.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn clocks(&self, day: DayId) -> Result<ClocksUsed, LogbookError> {
        let record = self.record(day)?;
        Ok(ClocksUsed::of(&TimeLine::of(&record), &record))
    }

    /// The times of entries on the time lines of their days, in the same order.
    ///
    /// # Errors
    /// The store's.
    pub fn corrected(&self, rows: &[EntryRow]) -> Result<Vec<Corrected>, LogbookError> {
        let mut lines: BTreeMap<DayId, TimeLine> = BTreeMap::new();
        for row in rows {
            if let Entry::Vacant(place) = lines.entry(row.day) {
                place.insert(TimeLine::of(&self.store.record_of(row.day, &CLOCK_KINDS)?));
            }
        }
        Ok(rows.iter().map(|row| lines[&row.day].at(&row.noted)).collect())
    }
}
