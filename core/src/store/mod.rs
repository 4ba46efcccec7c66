//! The store: one SQLite file. Changes are the truth; rows follow from them and can be made again at any time.
//!
//! One write is one transaction: what another process wrote since is seen, the changes, the device's signature over them and the rows go in
//! together, and what is confirmed is on the disk. No document is loaded for writing, merging or listing.

mod aside;
mod cells;
mod changes;
mod columns;
mod crew;
mod days;
mod device;
mod error;
mod files;
mod folded;
mod history;
mod kept;
mod keyring;
mod memory;
mod migrations;
mod own_clock;
mod project;
mod receive;
mod repair;
mod rows;
mod sync;
mod verify;

pub use aside::{SetAside, WAITING_BYTES};
pub use cells::{Cell, CellRow};
pub use changes::DayContent;
pub use columns::{columns, create_views};
pub use days::{Dated, DayRow};
pub use device::{DEVICE_FILE, random};
pub use error::StoreError;
pub use files::{BesideStore, SmallFiles};
pub use kept::Kept;
pub use keyring::{KEYS_FILE, Keyring};
pub use migrations::store_sql;
pub use receive::{DAY_BYTES, DEVICE_BYTES, Incoming, Taken};
pub use rows::{EntryRow, Filter};
pub use sync::{Lacking, Reached, TheirVector, Vector};
pub use verify::DayVerified;

use crate::day::format::Put;
use crate::day::{Actor, Beginning, Cover, DayId, DeviceId, Hash, History, Key, Noted, Record};
use crate::entry::EntryId;
use chrono::NaiveDate;
use ed25519_dalek::SigningKey;
use history::Histories;
use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior};
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A store, opened by this process. Not for several threads at once; open it twice instead.
#[derive(Debug)]
pub struct Store {
    conn: Connection,
    path: PathBuf,
    files: Arc<dyn SmallFiles>,
    key: SigningKey,
    device: DeviceId,
    opening: [u8; 8],
    written: HashMap<(DayId, History), u32>,
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
        rows::body(self.tx, day, id)
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
    pub fn heads(&self, day: DayId) -> Result<Vec<Hash>, StoreError> {
        heads(self.tx, day)
    }
}

/// What a write puts into the days: texts under keys. The text of a register is a JSON object, to which the values that it replaces are added.
pub type Puts = Vec<(DayId, Vec<(Key, String)>)>;

impl Store {
    /// Opens the store at `path`, or makes it. The device's key is in a file beside it.
    ///
    /// # Errors
    /// [`StoreError::NoStore`] for another kind of file, [`StoreError::Newer`] or [`StoreError::Older`] for another program's, else what the
    /// system says.
    pub fn open(path: &Path) -> Result<Store, StoreError> {
        Store::open_with(path, Arc::new(BesideStore::of(path)))
    }

    /// Opens the store at `path`, whose small files are kept by `files`.
    ///
    /// # Errors
    /// As [`Store::open`].
    pub fn open_with(path: &Path, files: Arc<dyn SmallFiles>) -> Result<Store, StoreError> {
        let (conn, rebuild) = migrations::open(path)?;
        let key = device::device_key(&*files)?;
        let device = DeviceId::of_key(&key.verifying_key().to_bytes());
        let mut store = Store {
            conn,
            path: path.to_owned(),
            files,
            key,
            device,
            opening: random()?,
            written: HashMap::new(),
        };
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

    /// The small files beside it.
    #[must_use]
    pub fn files(&self) -> &Arc<dyn SmallFiles> {
        &self.files
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
        let beginning = Beginning::of(date, area);
        let day = beginning.id();
        if Histories::read(&self.conn, day)?.is_some() {
            return Ok((day, false));
        }
        let first = Incoming { day, beginning: Some(beginning), changes: Vec::new(), covers: Vec::new() };
        self.take_in(vec![first], false)?;
        Ok((day, true))
    }

    /// Writes what `plan` decides on seeing the store as it stands: one change a day and history, one transaction, on the disk when this
    /// returns. A plan without puts writes nothing.
    ///
    /// # Errors
    /// The plan's own error, or the store's; nothing was written then.
    pub fn write<T, E: From<StoreError>>(
        &mut self,
        plan: impl FnOnce(&Seen<'_>) -> Result<(Puts, T), E>,
    ) -> Result<T, E> {
        // Not `write_transaction`, which would borrow all of the store.
        let tx = Transaction::new_unchecked(&self.conn, TransactionBehavior::Immediate)
            .map_err(StoreError::from)?;
        let (puts, answer) = plan(&Seen { tx: &tx })?;
        let mut written = Vec::new();
        for (day, puts) in puts {
            if !puts.is_empty() {
                let mut histories = Histories::read(&tx, day)?.ok_or(StoreError::NoDay(day))?;
                if !self.goes_on(&mut histories)? {
                    self.opening = random()?;
                    self.written.clear();
                }
                put(&tx, &mut histories, &self.key, self.opening, puts)?;
                for history in History::ALL {
                    let actor = Actor::new(self.device, self.opening, history);
                    written.push(((day, history), histories.line(actor)?.seq));
                }
            }
        }
        if !written.is_empty()
            && let Err(e) = tx.commit()
        {
            // Whether it reached the disk is not known: this place in history must not be used again.
            self.opening = random()?;
            self.written.clear();
            return Err(StoreError::from(e).into());
        }
        self.written.extend(written);
        Ok(answer)
    }

    /// Whether this opening may write on: nothing else wrote in its name, and the file was not replaced by an older one meanwhile.
    fn goes_on(&self, histories: &mut Histories<'_>) -> Result<bool, StoreError> {
        for history in History::ALL {
            let written = self.written.get(&(histories.id, history)).copied().unwrap_or(0);
            let line = histories.line(Actor::new(self.device, self.opening, history))?;
            if line.broken_at.is_some() || line.seq != written {
                return Ok(false);
            }
        }
        Ok(true)
    }

    fn write_transaction(&mut self) -> Result<Transaction<'_>, StoreError> {
        Ok(self.conn.transaction_with_behavior(TransactionBehavior::Immediate)?)
    }

    /// The heads of a day, sorted.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn heads(&self, day: DayId) -> Result<Vec<Hash>, StoreError> {
        heads(&self.conn, day)
    }

    /// Makes the rows of all days anew from the changes. A day whose changes can't be read stays without rows; [`Store::verify`] names it.
    ///
    /// # Errors
    /// What SQLite says.
    pub fn rebuild(&mut self) -> Result<(), StoreError> {
        let tx = self.conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
        for table in ["register", "entry", "kept"] {
            tx.execute(&format!("DELETE FROM {table}"), [])?;
        }
        let ids: Vec<String> = tx
            .prepare("SELECT id FROM day ORDER BY n")?
            .query_map([], |r| r.get(0))?
            .collect::<Result<_, _>>()?;
        for id in ids {
            // A day that can't be read stays without rows; what SQLite says stops all.
            if let Err(StoreError::Sqlite(e)) = id.parse().map_or(Ok(()), |day| rows_of_day(&tx, day)) {
                return Err(e.into());
            }
        }
        migrations::keep_rows_version(&tx)?;
        Ok(tx.commit()?)
    }
}

/// Makes the rows of a day that has none.
fn rows_of_day(conn: &Connection, day: DayId) -> Result<(), StoreError> {
    let Some(mut histories) = Histories::read(conn, day)? else { return Ok(()) };
    let changes = changes::all(conn, &histories)?;
    let mut projected = project::Projected::default();
    for change in &changes {
        let actor = histories.line(Actor(change.actor))?.n;
        project::add(conn, histories.n, actor, change, &mut projected)?;
    }
    project::refresh(conn, histories.n, &mut projected)
}

fn heads(conn: &Connection, day: DayId) -> Result<Vec<Hash>, StoreError> {
    let mut statement = conn.prepare_cached("SELECT heads FROM day WHERE id = ?1")?;
    let held = statement.query_row([day.to_string()], |r| {
        Ok(history::hashes(r.get_ref(0)?.as_blob().unwrap_or_default()).collect())
    });
    held.optional()?.ok_or(StoreError::NoDay(day))
}

/// Adds one change to each history of this device that something is put into, signed, with its rows.
fn put(
    tx: &Connection,
    histories: &mut Histories<'_>,
    key: &SigningKey,
    opening: [u8; 8],
    puts: Vec<(Key, String)>,
) -> Result<(), StoreError> {
    let device = DeviceId::of_key(&key.verifying_key().to_bytes());
    let (bodies, said): (Vec<_>, Vec<_>) =
        puts.into_iter().partition(|(key, _)| matches!(key, Key::Entry(_)));
    let mut projected = project::Projected::default();
    for (history, puts) in [(History::Entries, bodies), (History::Registers, said)] {
        if puts.is_empty() {
            continue;
        }
        let mut texts = Vec::with_capacity(puts.len());
        for (key, text) in puts {
            let key = key.to_string();
            let text = if history == History::Registers {
                over_those_held(tx, histories.n, &key, text)?
            } else {
                text
            };
            texts.push(Put { key, text });
        }
        let change = histories.next(Actor::new(device, opening, history), texts)?;
        let actor = histories.add(&change)?;
        project::add(tx, histories.n, actor, &change, &mut projected)?;
    }
    project::refresh(tx, histories.n, &mut projected)?;
    histories.keep()?;
    let mut tips = Vec::new();
    for history in History::ALL {
        for actor in histories.own_heads(device, history)? {
            tips.push(histories.line(actor)?.hash);
        }
    }
    receive::keep_own_cover(tx, histories, Cover::sign(key, histories.id, tips))
}

/// The text of a register with the hashes of the changes whose values it replaces.
fn over_those_held(tx: &Connection, day: i64, key: &str, text: String) -> Result<String, StoreError> {
    let live = crate::day::live(project::values(tx, day, key)?);
    if live.is_empty() {
        return Ok(text);
    }
    let over: Vec<String> = live.iter().map(|v| crate::crew::hex(&v.hash)).collect();
    Ok(match serde_json::from_str(&text) {
        Ok(serde_json::Value::Object(mut register)) => {
            register.insert("over".to_owned(), over.into());
            serde_json::Value::Object(register).to_string()
        }
        _ => text,
    })
}
