//! Carrying days between devices: packs out, packs in.

use super::{Logbook, LogbookError};
use crate::day::DayId;
use crate::exchange::{self, PackedDay};
use crate::store::{Incoming, whole_change};
use schemars::JsonSchema;
use serde::Serialize;

/// A pack, ready to be written to a file.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug)]
pub struct Packed {
    /// The file's content.
    pub bytes: Vec<u8>,
    /// The days in it.
    pub days: Vec<DayId>,
    /// Entries in it.
    pub entries: usize,
}

/// What merging one pack did.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Merged {
    /// Its days.
    pub days: Vec<DayMerged>,
}

/// What merging did to one day.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct DayMerged {
    /// The day.
    pub day: DayId,
    /// Every change of it was held already.
    pub known: bool,
    /// Entries first seen.
    pub new_entries: usize,
    /// Entries held before that are other now.
    pub amended: usize,
    /// Changes that wait for their causes.
    pub waiting: usize,
}

impl Merged {
    /// Nothing of it was new.
    #[must_use]
    pub fn known(&self) -> bool {
        self.days.iter().all(|d| d.known)
    }
}

impl Logbook {
    /// Packs days into one file.
    ///
    /// # Errors
    /// A day that is not here, or a damaged one.
    pub fn pack(&self, days: &[DayId]) -> Result<Packed, LogbookError> {
        let rows = self.days()?;
        let mut packed = Vec::with_capacity(days.len());
        for (done, day) in days.iter().enumerate() {
            self.step(done, days.len())?;
            let area = rows.iter().find(|r| r.id == *day).map(|r| r.area.clone()).unwrap_or_default();
            packed.push(PackedDay { id: *day, area, document: self.store.document(*day)? });
        }
        let entries = packed.iter().map(|d| d.document.entry_count()).sum();
        Ok(Packed { bytes: exchange::write(self.device(), &packed), days: days.to_vec(), entries })
    }

    /// Takes a pack in, whole or not at all. With `dry_run` it only says what would happen.
    ///
    /// # Errors
    /// [`LogbookError::Pack`] for what is no good pack, [`LogbookError::Store`] for a forged or forked history; the store is then as before.
    pub fn merge(&mut self, bytes: &[u8], dry_run: bool) -> Result<Merged, LogbookError> {
        let (_, days) = exchange::read(bytes)?;
        self.step(0, 1)?;
        let incoming = days.into_iter().map(|d| Incoming {
            day: d.id,
            changes: d.document.changes(),
            causally_complete: true,
        });
        self.take_in(incoming.collect(), dry_run)
    }

    /// Takes loose changes of a day in, in any order; those whose causes are not here wait for them.
    ///
    /// # Errors
    /// As [`Logbook::merge`]; a change that can't be read refuses all.
    pub fn merge_changes(&mut self, day: DayId, changes: Vec<Vec<u8>>) -> Result<Merged, LogbookError> {
        let changes = changes.into_iter().map(whole_change).collect::<Result<_, _>>()?;
        self.take_in(vec![Incoming { day, changes, causally_complete: false }], false)
    }

    fn take_in(&mut self, incoming: Vec<Incoming>, dry_run: bool) -> Result<Merged, LogbookError> {
        let taken = self.store.take_in(incoming, dry_run)?;
        let days = taken.into_iter().filter_map(|t| {
            let day = t.day?;
            Some(DayMerged {
                day,
                known: t.new_changes == 0,
                new_entries: t.new_entries,
                amended: t.amended,
                waiting: t.waiting,
            })
        });
        Ok(Merged { days: days.collect() })
    }
}
