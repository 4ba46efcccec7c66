//! A day read for an answer: what it says, its clocks on one time line, and which of its entries tell of one event.

use super::{Logbook, LogbookError};
use crate::clock::{CLOCK_KINDS, Clocks, Corrected, TimeLine};
use crate::day::{DayId, Record, Things};
use crate::insight::debrief::ClocksUsed;
use crate::insight::view::View;
use crate::review::{Ground, OneEvent};
use crate::store::EntryRow;
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// A day, read. In some kinds only, those of [`CLOCK_KINDS`] must be among them.
pub(super) struct DayRead {
    pub record: Record,
    pub clocks: TimeLine,
    pub one_event: OneEvent,
    things: Things,
}

impl DayRead {
    pub fn of(record: Record) -> DayRead {
        let clocks = TimeLine::of(&record);
        let things = Things::of(&record);
        let one_event = OneEvent::of(&Ground::over(&record, Cow::Borrowed(&things), &clocks));
        DayRead { record, clocks, one_event, things }
    }

    /// As questions start from it.
    pub fn view(&self) -> View<'_> {
        let things = Cow::Borrowed(&self.things);
        View::over(&self.record, things, &self.one_event.groups, &self.clocks)
    }

    /// As its review starts from it.
    pub fn ground(&self) -> Ground<'_> {
        Ground::over(&self.record, Cow::Borrowed(&self.things), &self.clocks)
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
