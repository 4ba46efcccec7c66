//! Changes that are held and do not count: those that wait for others or for a signature, and those withdrawn. They are in no figure; they are
//! listed, and handed on with the rest.

use super::history::Histories;
use super::{Store, StoreError};
use crate::day::{Actor, Change, DayId, DeviceId, Hash};
use rusqlite::{Connection, params};
use sha2::{Digest, Sha256};
use std::collections::HashMap;

/// The most bytes of waiting changes that a day keeps. Beyond, those that came first go; they come again with the rest.
pub const WAITING_BYTES: i64 = 32 << 20;

/// What is held aside of one day, as a transaction works on it.
pub(super) struct Aside<'c> {
    conn: &'c Connection,
    day: DayId,
    altered: bool,
}

impl<'c> Aside<'c> {
    pub fn of(conn: &'c Connection, day: DayId) -> Aside<'c> {
        Aside { conn, day, altered: false }
    }

    /// Works out anew what is compared of it.
    pub fn touch(&mut self) {
        self.altered = true;
    }

    /// The devices that changes held aside claim.
    pub fn devices(&self) -> Result<Vec<DeviceId>, StoreError> {
        let mut statement = self.conn.prepare_cached("SELECT DISTINCT device FROM aside WHERE day = ?1")?;
        let rows = statement.query_map([self.day.to_string()], |r| r.get(0).map(DeviceId))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// The changes held aside that claim this device.
    pub fn of_device(&self, device: DeviceId, histories: &Histories<'_>) -> Result<Vec<Change>, StoreError> {
        let sql = "SELECT bytes FROM aside WHERE day = ?1 AND device = ?2 ORDER BY n";
        let mut statement = self.conn.prepare_cached(sql)?;
        let mut rows = statement.query(params![self.day.to_string(), device.0])?;
        let mut changes = Vec::new();
        while let Some(row) = rows.next()? {
            changes.push(histories.parse(row.get_ref(0)?.as_blob().unwrap_or_default())?);
        }
        Ok(changes)
    }

    /// Lets changes wait. Returns how many were not held.
    pub fn keep<'a>(&mut self, changes: impl Iterator<Item = &'a Change>) -> Result<usize, StoreError> {
        let mut new = 0;
        for change in changes {
            new += self.insert(change, false)?;
        }
        Ok(new)
    }

    /// Puts these in place of everything held aside of a device; what stays as it is is not written again.
    pub fn replace<'a>(
        &mut self,
        device: DeviceId,
        changes: impl Iterator<Item = (&'a Change, bool)>,
    ) -> Result<(), StoreError> {
        let sql = "SELECT hash, withdrawn FROM aside WHERE day = ?1 AND device = ?2";
        let mut statement = self.conn.prepare_cached(sql)?;
        let held =
            statement.query_map(params![self.day.to_string(), device.0], |r| Ok((r.get(0)?, r.get(1)?)))?;
        let mut held: HashMap<Hash, bool> = held.collect::<Result<_, _>>()?;
        self.altered = true;
        for (change, withdrawn) in changes {
            match held.remove(&change.hash) {
                Some(was) if was == withdrawn => {}
                Some(_) => {
                    let sql = "UPDATE aside SET withdrawn = ?3 WHERE day = ?1 AND hash = ?2";
                    let of = params![self.day.to_string(), change.hash, withdrawn];
                    self.conn.prepare_cached(sql)?.execute(of)?;
                }
                None => _ = self.insert(change, withdrawn)?,
            }
        }
        for hash in held.keys() {
            self.forget(hash)?;
        }
        Ok(())
    }

    fn insert(&mut self, change: &Change, withdrawn: bool) -> Result<usize, StoreError> {
        let sql =
            "INSERT OR IGNORE INTO aside (day, device, hash, withdrawn, bytes) VALUES (?1, ?2, ?3, ?4, ?5)";
        let device = Actor(change.actor).device().0;
        self.altered = true;
        let day = self.day.to_string();
        Ok(self.conn.prepare_cached(sql)?.execute(params![
            day,
            device,
            change.hash,
            withdrawn,
            change.bytes
        ])?)
    }

    /// A change that counts now, or never can.
    pub fn forget(&mut self, hash: &Hash) -> Result<(), StoreError> {
        let sql = "DELETE FROM aside WHERE day = ?1 AND hash = ?2";
        self.altered |= self.conn.prepare_cached(sql)?.execute(params![self.day.to_string(), hash])? > 0;
        Ok(())
    }

    /// Keeps what waits within its bound, and counts: changes that wait, changes withdrawn. `day`: its number, where it is here; what is held
    /// aside is then part of what two devices compare.
    pub fn bound_and_count(&mut self, day: Option<i64>) -> Result<(usize, usize), StoreError> {
        let id = self.day.to_string();
        if self.altered {
            self.drop_oldest(self.waiting_bytes()? - WAITING_BYTES)?;
        }
        if self.altered
            && let Some(n) = day
        {
            let mut hash = Sha256::new();
            let mut any = false;
            let mut waiting = self
                .conn
                .prepare_cached("SELECT hash FROM aside WHERE day = ?1 AND NOT withdrawn ORDER BY hash")?;
            let mut rows = waiting.query([&id])?;
            while let Some(row) = rows.next()? {
                (any, hash) = (true, hash.chain_update(row.get_ref(0)?.as_blob().unwrap_or_default()));
            }
            let sql =
                "SELECT actor, broken_at FROM actor WHERE day = ?1 AND broken_at IS NOT NULL ORDER BY actor";
            let mut broken = self.conn.prepare_cached(sql)?;
            let mut rows = broken.query([n])?;
            while let Some(row) = rows.next()? {
                let at: u32 = row.get(1)?;
                let actor = row.get_ref(0)?.as_blob().unwrap_or_default();
                (any, hash) = (true, hash.chain_update(actor).chain_update(at.to_be_bytes()));
            }
            let digest = if any { hash.finalize().to_vec() } else { Vec::new() };
            self.conn
                .prepare_cached("UPDATE day SET aside = ?2 WHERE n = ?1")?
                .execute(params![n, digest])?;
        }
        counts(self.conn, self.day)
    }

    /// Drops the waiting changes that came first, until so many bytes are gone: who floods a day must go on doing so to keep anybody out.
    fn drop_oldest(&self, mut bytes: i64) -> Result<(), StoreError> {
        let sql = "SELECT n, length(bytes) FROM aside WHERE day = ?1 AND NOT withdrawn ORDER BY n";
        let mut statement = self.conn.prepare_cached(sql)?;
        let mut rows = statement.query([self.day.to_string()])?;
        let mut last = None;
        while let (true, Some(row)) = (bytes > 0, rows.next()?) {
            (last, bytes) = (Some(row.get::<_, i64>(0)?), bytes - row.get::<_, i64>(1)?);
        }
        let Some(last) = last else { return Ok(()) };
        let sql = "DELETE FROM aside WHERE day = ?1 AND NOT withdrawn AND n <= ?2";
        self.conn.prepare_cached(sql)?.execute(params![self.day.to_string(), last])?;
        Ok(())
    }

    /// Bytes of everything held aside that claims a device.
    pub fn bytes_of_device(&self, device: DeviceId) -> Result<u64, StoreError> {
        let sql = "SELECT coalesce(sum(length(bytes)), 0) FROM aside WHERE day = ?1 AND device = ?2";
        let bytes: i64 = self
            .conn
            .prepare_cached(sql)?
            .query_row(params![self.day.to_string(), device.0], |r| r.get(0))?;
        Ok(bytes.cast_unsigned())
    }

    fn waiting_bytes(&self) -> Result<i64, StoreError> {
        let sql = "SELECT coalesce(sum(length(bytes)), 0) FROM aside WHERE day = ?1 AND NOT withdrawn";
        Ok(self.conn.prepare_cached(sql)?.query_row([self.day.to_string()], |r| r.get(0))?)
    }
}

/// How many changes of a day wait, and how many are withdrawn.
pub(super) fn counts(conn: &Connection, day: DayId) -> Result<(usize, usize), StoreError> {
    let sql = "SELECT count(*) - coalesce(sum(withdrawn), 0), coalesce(sum(withdrawn), 0) FROM aside WHERE day = ?1";
    let count = |n: i64| usize::try_from(n).unwrap_or(0);
    Ok(conn
        .prepare_cached(sql)?
        .query_row([day.to_string()], |r| Ok((count(r.get(0)?), count(r.get(1)?))))?)
}

/// A change that is held and does not count.
#[derive(Clone, Debug)]
pub struct SetAside {
    /// The change.
    pub change: Change,
    /// Its key signed two histories; else it waits.
    pub withdrawn: bool,
}

impl Store {
    /// The changes of a day that are held and do not count.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn set_aside(&self, day: DayId) -> Result<Vec<SetAside>, StoreError> {
        let histories = Histories::read(&self.conn, day)?.ok_or(StoreError::NoDay(day))?;
        all(&self.conn, &histories)
    }
}

/// Everything that is held aside of a day.
pub(super) fn all(conn: &Connection, histories: &Histories<'_>) -> Result<Vec<SetAside>, StoreError> {
    let mut statement =
        conn.prepare_cached("SELECT bytes, withdrawn FROM aside WHERE day = ?1 ORDER BY n")?;
    let mut rows = statement.query([histories.id.to_string()])?;
    let mut found = Vec::new();
    while let Some(row) = rows.next()? {
        let change = histories.parse(row.get_ref(0)?.as_blob().unwrap_or_default())?;
        found.push(SetAside { change, withdrawn: row.get(1)? });
    }
    Ok(found)
}
