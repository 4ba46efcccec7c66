//! The store: one SQLite file. Changes are the truth; rows are a view that follows from them and can be made again at any time.
//!
//! One write is one transaction: what another process wrote since is seen, the change and its rows go in together, and what is confirmed is on
//! the disk. No document is loaded for writing, merging or listing.

mod changes;
mod columns;
mod device;
mod error;
mod fold;
mod migrations;
mod rows;
mod verify;

pub use changes::{Incoming, Taken};
pub use columns::{columns, create_tables};
pub use device::{device_path, random};
pub use error::StoreError;
pub use migrations::store_sql;
pub use rows::{DayRow, EntryRow, Filter};
pub use verify::DayVerified;

use crate::day::change::{self, Place, Put};
use crate::day::{DayId, DeviceId, Document, Key, Noted, Opening};
use crate::entry::EntryId;
use automerge::ChangeHash;
use chrono::NaiveDate;
use rusqlite::{Connection, Transaction, TransactionBehavior};
use std::path::{Path, PathBuf};

/// A store, opened by this process. Not for several threads at once; open it twice instead.
#[derive(Debug)]
pub struct Store {
    conn: Connection,
    path: PathBuf,
    device: DeviceId,
    opening: Opening,
}

/// A day as a write sees it: what stands now, other processes' writes included.
pub struct Seen<'a> {
    tx: &'a Transaction<'a>,
    day: i64,
}

impl Seen<'_> {
    /// The entry of this id, if it is in the day.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn entry(&self, id: EntryId) -> Result<Option<Noted>, StoreError> {
        rows::noted(self.tx, self.day, id)
    }

    /// The text of the body that was written under this id, if there is one.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn body(&self, id: EntryId) -> Result<Option<String>, StoreError> {
        rows::body(self.tx, self.day, id)
    }
}

impl Store {
    /// Opens the store at `path`, or makes it. The device's file stands beside it.
    ///
    /// # Errors
    /// [`StoreError::NoStore`] for another kind of file, [`StoreError::Newer`] for a newer program's, else what the system says.
    pub fn open(path: &Path) -> Result<Store, StoreError> {
        let (conn, rebuild) = migrations::open(path)?;
        let device = device::device_id(path)?;
        let opening = Opening::new(device, random()?);
        let mut store = Store { conn, path: path.to_owned(), device, opening };
        if rebuild {
            store.rebuild()?;
        }
        Ok(store)
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// This device.
    #[must_use]
    pub fn device(&self) -> DeviceId {
        self.device
    }

    /// Begins the day on `date` in `area`, if it is not here yet. Returns its id and whether it was begun now.
    ///
    /// # Errors
    /// What the disk or SQLite says; then nothing was begun.
    pub fn begin(&mut self, date: NaiveDate, area: &str) -> Result<(DayId, bool), StoreError> {
        let id = DayId::of(date, area);
        let first = Document::begin(date, id)?.changes();
        let taken =
            self.take_in(vec![Incoming { day: id, changes: first, causally_complete: true }], false)?;
        Ok((id, taken.iter().any(|t| t.new_changes > 0)))
    }

    /// Writes what `plan` decides on seeing the day as it stands: one change, one transaction, on the disk when this returns. A plan without
    /// puts writes nothing.
    ///
    /// # Errors
    /// The plan's own error, or the store's; nothing was written then.
    pub fn write<T, E: From<StoreError>>(
        &mut self,
        day: DayId,
        plan: impl FnOnce(&Seen<'_>) -> Result<(Vec<(Key, String)>, T), E>,
    ) -> Result<T, E> {
        let tx =
            self.conn.transaction_with_behavior(TransactionBehavior::Immediate).map_err(StoreError::from)?;
        let mut history = changes::History::read(&tx, day)?.ok_or(StoreError::NoDay(day))?;
        let (puts, answer) = plan(&Seen { tx: &tx, day: history.n })?;
        if puts.is_empty() {
            return Ok(answer);
        }
        let mut with_seen = Vec::with_capacity(puts.len());
        for (key, text) in puts {
            let seen = fold::standing(&tx, history.n, &key)?;
            with_seen.push(Put { key, text, seen });
        }
        let seq = history.seq(&tx, &self.opening.0)? + 1;
        let place = Place {
            day,
            opening: self.opening,
            seq,
            max_op: history.max_op,
            heads: history.heads.iter().copied().collect(),
        };
        let change = change::build(place, with_seen);
        let mut folded = fold::Folded::default();
        history.add(&tx, &change, &mut folded)?;
        fold::refresh(&tx, history.n, &mut folded)?;
        history.keep(&tx)?;
        if let Err(e) = tx.commit() {
            // Whether it reached the disk is not known: this place in history must not be used again.
            self.opening = Opening::new(self.device, random()?);
            return Err(StoreError::from(e).into());
        }
        Ok(answer)
    }

    /// The document of a day, put together from its changes.
    ///
    /// # Errors
    /// [`StoreError::NoDay`], or a damaged change.
    pub fn document(&self, day: DayId) -> Result<Document, StoreError> {
        Ok(Document::from_changes(changes::all(&self.conn, day)?, day)?)
    }

    /// The heads of a day, sorted.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn heads(&self, day: DayId) -> Result<Vec<ChangeHash>, StoreError> {
        let history = changes::History::read(&self.conn, day)?.ok_or(StoreError::NoDay(day))?;
        Ok(history.heads.into_iter().collect())
    }

    /// Makes the rows of all days anew from the changes.
    ///
    /// # Errors
    /// What SQLite says, or a damaged change.
    pub fn rebuild(&mut self) -> Result<(), StoreError> {
        let tx = self.conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
        changes::rebuild(&tx)?;
        migrations::keep_rows_version(&tx)?;
        Ok(tx.commit()?)
    }
}
