//! The store: one SQLite file. Changes are the truth; rows are a view that follows from them and can be made again at any time.
//!
//! One write is one transaction: what another process wrote since is seen, the change and its rows go in together, and what is confirmed is on
//! the disk. No document is loaded for writing, merging or listing.

mod cells;
mod changes;
mod columns;
mod crew;
mod device;
mod error;
mod fold;
mod kept;
mod keyring;
mod memory;
mod migrations;
mod own_clock;
mod received;
mod rows;
mod verify;

pub use cells::{Cell, CellRow};
pub use changes::{Incoming, Taken};
pub use columns::{columns, create_tables};
pub use device::{device_path, random};
pub use error::StoreError;
pub use kept::Kept;
pub use keyring::{Keyring, keyring_path};
pub use migrations::store_sql;
pub use received::{Reached, whole_change};
pub use rows::{Dated, DayRow, EntryRow, Filter};
pub use verify::DayVerified;

use crate::day::change::{self, Place, Put};
use crate::day::{DayId, DeviceId, Document, Key, Noted, Opening, Record};
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

/// The store as a write sees it: what stands now, other processes' writes included.
pub struct Seen<'a> {
    tx: &'a Transaction<'a>,
}

impl Seen<'_> {
    /// The entry of this id, if it is in the day.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn entry(&self, day: DayId, id: EntryId) -> Result<Option<Noted>, StoreError> {
        rows::noted(self.tx, rows::number(self.tx, day)?, id)
    }

    /// The text of the body that was written under this id, if there is one.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn body(&self, day: DayId, id: EntryId) -> Result<Option<String>, StoreError> {
        rows::body(self.tx, rows::number(self.tx, day)?, id)
    }

    /// Everything that a day says.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn record(&self, day: DayId) -> Result<Record, StoreError> {
        rows::record(self.tx, day, &[])
    }

    /// The heads of a day, sorted.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn heads(&self, day: DayId) -> Result<Vec<ChangeHash>, StoreError> {
        changes::heads(self.tx, day)
    }
}

/// What a write puts into the days: texts under keys.
pub type Puts = Vec<(DayId, Vec<(Key, String)>)>;

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

    /// Writes what `plan` decides on seeing the store as it stands: one change a day, one transaction, on the disk when this returns. A plan
    /// without puts writes nothing.
    ///
    /// # Errors
    /// The plan's own error, or the store's; nothing was written then.
    pub fn write<T, E: From<StoreError>>(
        &mut self,
        plan: impl FnOnce(&Seen<'_>) -> Result<(Puts, T), E>,
    ) -> Result<T, E> {
        let tx =
            self.conn.transaction_with_behavior(TransactionBehavior::Immediate).map_err(StoreError::from)?;
        let (puts, answer) = plan(&Seen { tx: &tx })?;
        let mut wrote = false;
        for (day, puts) in puts {
            if !puts.is_empty() {
                put(&tx, self.opening, day, puts)?;
                wrote = true;
            }
        }
        if wrote && let Err(e) = tx.commit() {
            // Whether it reached the disk is not known: this place in history must not be used again.
            self.opening = Opening::new(self.device, random()?);
            return Err(StoreError::from(e).into());
        }
        Ok(answer)
    }

    fn write_transaction(&mut self) -> Result<Transaction<'_>, StoreError> {
        Ok(self.conn.transaction_with_behavior(TransactionBehavior::Immediate)?)
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
        changes::heads(&self.conn, day)
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

/// Adds one change of this opening to a day, with its rows.
fn put(tx: &Connection, opening: Opening, day: DayId, puts: Vec<(Key, String)>) -> Result<(), StoreError> {
    let mut history = changes::History::read(tx, day)?.ok_or(StoreError::NoDay(day))?;
    let mut with_seen = Vec::with_capacity(puts.len());
    for (key, text) in puts {
        let seen = fold::standing(tx, history.n, &key)?;
        with_seen.push(Put { key, text, seen });
    }
    let seq = history.seq(tx, &opening.0)? + 1;
    let heads = history.heads.iter().copied().collect();
    let change = change::build(Place { day, opening, seq, max_op: history.max_op, heads }, with_seen);
    let mut folded = fold::Folded::default();
    history.add(tx, &change, &mut folded)?;
    fold::refresh(tx, history.n, &mut folded)?;
    history.keep(tx)
}
