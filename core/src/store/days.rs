//! The days of a store as lists show them. What a list says of a day's entries is kept until the day says something else, so that a list of a
//! season's days does not read their entries.

use super::{Kept, Store, StoreError, aside};
use crate::day::{DayId, DeviceId, Saying, live};
use chrono::NaiveDate;
use rusqlite::Connection;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// A day as a list shows it.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DayRow {
    /// Identity.
    pub id: DayId,
    /// The date.
    pub date: NaiveDate,
    /// The area, as it is spelled; empty if nobody spelled it.
    pub area: String,
    /// Entries held, void and opaque ones too.
    pub entries: usize,
    /// Entries that this version can't read.
    pub opaque: usize,
    /// Devices that wrote entries.
    pub devices: Vec<DeviceId>,
    /// Changes that wait for others or for a signature; they are in no figure.
    pub waiting: usize,
    /// Changes withdrawn, since their key signed two histories; they are in no figure.
    pub withdrawn: usize,
    /// Someone closed the day.
    pub closed: bool,
}

/// A day as answers name it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dated {
    /// Identity.
    pub id: DayId,
    /// The date.
    pub date: NaiveDate,
    /// The area, as it is spelled; empty if nobody spelled it.
    pub area: String,
}

/// What is kept of a day for lists.
#[derive(Serialize, Deserialize)]
struct Summary {
    area: String,
    entries: usize,
    opaque: usize,
    devices: Vec<[u8; 16]>,
    closed: bool,
}

const SUMMARY: &str = "day";

impl Store {
    /// All days, the latest last; of one date the one begun last here.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn days(&self) -> Result<Vec<DayRow>, StoreError> {
        self.day_rows(None)
    }

    /// A day.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn day_row(&self, day: DayId) -> Result<DayRow, StoreError> {
        self.day_rows(Some(day))?.pop().ok_or(StoreError::NoDay(day))
    }

    /// All days with date and area, the latest last.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn dated(&self) -> Result<Vec<Dated>, StoreError> {
        let dated = |d: DayRow| Dated { id: d.id, date: d.date, area: d.area };
        Ok(self.days()?.into_iter().map(dated).collect())
    }

    /// All days with nothing but their dates, the latest last.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn dates(&self) -> Result<Vec<(DayId, NaiveDate)>, StoreError> {
        let mut statement = self.conn.prepare_cached("SELECT id, date FROM day ORDER BY date, n")?;
        let mut rows = statement.query([])?;
        let mut days = Vec::new();
        while let Some(row) = rows.next()? {
            let word = |i: usize| row.get_ref(i).map(|v| v.as_str().unwrap_or_default());
            if let (Ok(id), Ok(date)) = (word(0)?.parse(), word(1)?.parse()) {
                days.push((id, date));
            }
        }
        Ok(days)
    }

    /// SHA-256 over what all days say: equal hashes, equal entries.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn digest(&self) -> Result<[u8; 32], StoreError> {
        let mut statement = self.conn.prepare_cached("SELECT id, heads FROM day ORDER BY n")?;
        let mut rows = statement.query([])?;
        let mut hash = Sha256::new();
        while let Some(row) = rows.next()? {
            hash.update(row.get_ref(0)?.as_str().unwrap_or_default());
            hash.update(row.get_ref(1)?.as_blob().unwrap_or_default());
        }
        Ok(hash.finalize().into())
    }

    fn day_rows(&self, only: Option<DayId>) -> Result<Vec<DayRow>, StoreError> {
        let sql = "SELECT d.n, d.id, d.date, d.heads, length(d.aside), k.made_from, k.rows FROM day d \
            LEFT JOIN kept k ON k.day = d.n AND k.question = ?1 WHERE ?2 IS NULL OR d.id = ?2 ORDER BY d.date, d.n";
        let mut statement = self.conn.prepare_cached(sql)?;
        let mut list = statement.query((SUMMARY, only.map(|day| day.to_string())))?;
        let (mut days, mut fresh) = (Vec::new(), Vec::new());
        while let Some(row) = list.next()? {
            let word = |i: usize| row.get_ref(i).map(|v| v.as_str().unwrap_or_default());
            let blob = |i: usize| row.get_ref(i).map(|v| v.as_blob().unwrap_or_default());
            let (Ok(id), Ok(date)) = (word(1)?.parse(), word(2)?.parse()) else { continue };
            let from: [u8; 32] =
                Sha256::new().chain_update(env!("FIRNBOOK_SOURCE")).chain_update(blob(3)?).finalize().into();
            let kept = Some(blob(6)?).filter(|_| blob(5).is_ok_and(|f| f == from));
            let summary = match kept.and_then(|rows| postcard::from_bytes::<Summary>(rows).ok()) {
                Some(summary) => summary,
                None => {
                    let summary = summary(&self.conn, row.get(0)?)?;
                    let rows = postcard::to_allocvec(&summary).unwrap_or_default();
                    fresh.push(Kept { day: id, question: SUMMARY, from, rows });
                    summary
                }
            };
            let any_aside = row.get::<_, i64>(4)? > 0;
            let (waiting, withdrawn) = if any_aside { aside::counts(&self.conn, id)? } else { (0, 0) };
            let Summary { area, entries, opaque, devices, closed } = summary;
            let devices = devices.into_iter().map(DeviceId).collect();
            days.push(DayRow { id, date, area, entries, opaque, devices, waiting, withdrawn, closed });
        }
        drop(list);
        // Where it can't be kept, it is made again the next time.
        if !fresh.is_empty() {
            self.keep(&fresh).ok();
        }
        Ok(days)
    }
}

fn summary(conn: &Connection, day: i64) -> Result<Summary, StoreError> {
    let sql = "SELECT substr(a.actor, 1, 16) AS device, count(*), sum(e.opaque) FROM entry e JOIN actor a ON a.n = e.actor \
        WHERE e.day = ?1 GROUP BY device ORDER BY device";
    let mut by_device = conn.prepare_cached(sql)?;
    let mut counts = by_device.query([day])?;
    let (mut entries, mut opaque, mut devices) = (0, 0, Vec::new());
    while let Some(row) = counts.next()? {
        devices.push(row.get(0)?);
        entries += usize::try_from(row.get::<_, i64>(1)?).unwrap_or(0);
        opaque += usize::try_from(row.get::<_, i64>(2)?).unwrap_or(0);
    }
    let closed = "SELECT 1 FROM register WHERE day = ?1 AND key >= 'day/closed:' AND key < 'day/closed;'";
    let closed = conn.prepare_cached(closed)?.exists([day])?;
    Ok(Summary { area: area(conn, day)?, entries, opaque, devices, closed })
}

/// The area of a day as it is spelled; of several spellings the first in the order of their bytes.
pub(super) fn area(conn: &Connection, day: i64) -> Result<String, StoreError> {
    let spelled = live(super::project::values(conn, day, "day/area")?);
    let spelled =
        spelled.iter().filter_map(|v| Saying::read(&v.text, v.device()).v.as_str().map(str::to_owned));
    Ok(spelled.min().unwrap_or_default())
}
