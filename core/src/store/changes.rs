//! Reading the changes that are held: those that count, those that wait and those withdrawn.

use super::history::Histories;
use super::{Store, StoreError, aside, folded};
use crate::day::format::read_change;
use crate::day::{Change, Cover, DayId, Hash};
use rusqlite::{Connection, OptionalExtension, params};

/// Everything that is held of a day, as it travels.
#[derive(Clone, Debug)]
pub struct DayContent {
    /// Date and area.
    pub beginning: crate::day::Beginning,
    /// The changes that count, causes first, but for the first of the day.
    pub changes: Vec<Change>,
    /// The covering signatures.
    pub covers: Vec<Cover>,
    /// Changes that wait or are withdrawn.
    pub aside: Vec<Change>,
}

impl Store {
    /// The changes of a day that count, causes first, each held against its hash.
    ///
    /// # Errors
    /// [`StoreError::NoDay`], a damaged change, or SQLite's.
    pub fn changes(&self, day: DayId) -> Result<Vec<Change>, StoreError> {
        let histories = Histories::read(&self.conn, day)?.ok_or(StoreError::NoDay(day))?;
        all(&self.conn, &histories)
    }

    /// Everything that is held of a day.
    ///
    /// # Errors
    /// As [`Store::changes`].
    pub fn content(&self, day: DayId) -> Result<DayContent, StoreError> {
        let tx = self.conn.unchecked_transaction()?;
        let histories = Histories::read(&tx, day)?.ok_or(StoreError::NoDay(day))?;
        let changes = all(&tx, &histories)?;
        let aside = aside::all(&tx, &histories)?.into_iter().map(|a| a.change).collect();
        Ok(DayContent { changes, covers: covers(&tx, day)?, aside, beginning: histories.beginning })
    }

    /// The covering signatures of a day that are held.
    ///
    /// # Errors
    /// SQLite's.
    pub fn covers(&self, day: DayId) -> Result<Vec<Cover>, StoreError> {
        covers(&self.conn, day)
    }
}

/// The changes of a day that count, causes first, each held against its hash.
pub(super) fn all(conn: &Connection, histories: &Histories<'_>) -> Result<Vec<Change>, StoreError> {
    let mut changes: Vec<Change> = Vec::new();
    for (_, bytes) in folded::held(conn, histories.n)? {
        changes.push(histories.parse(&bytes)?);
    }
    let was_folded = !changes.is_empty();
    let sql =
        "SELECT c.hash, c.bytes FROM change c JOIN actor a ON a.n = c.actor WHERE a.day = ?1 ORDER BY c.n";
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query([histories.n])?;
    while let Some(row) = rows.next()? {
        let change = histories.parse(row.get_ref(1)?.as_blob().unwrap_or_default())?;
        if row.get::<_, Hash>(0)? != change.hash {
            let hash = crate::crew::hex(&change.hash);
            return Err(StoreError::AlteredChange { day: histories.id, hash });
        }
        changes.push(change);
    }
    if was_folded {
        // Each operation is above those it depends on.
        changes.sort_by_key(|c| c.start_op);
    }
    Ok(changes)
}

/// The covering signatures of a day.
pub(super) fn covers(conn: &Connection, day: DayId) -> Result<Vec<Cover>, StoreError> {
    let mut statement =
        conn.prepare_cached("SELECT key, tips, signature FROM cover WHERE day = ?1 ORDER BY n")?;
    let rows = statement.query_map([day.to_string()], cover)?;
    Ok(rows.collect::<Result<_, _>>()?)
}

pub(super) fn cover(row: &rusqlite::Row<'_>) -> rusqlite::Result<Cover> {
    let tips: Vec<u8> = row.get(1)?;
    Ok(Cover { key: row.get(0)?, tips: super::history::hashes(&tips).collect(), signature: row.get(2)? })
}

/// The change in a place of an actor's line, by the numbers of day and actor.
pub(super) fn at(conn: &Connection, day: i64, actor: i64, seq: u32) -> Result<Change, StoreError> {
    let id: String =
        conn.prepare_cached("SELECT id FROM day WHERE n = ?1")?.query_row([day], |r| r.get(0))?;
    let lost = || StoreError::LostChange { day: id.clone(), seq };
    let mut statement = conn.prepare_cached("SELECT bytes FROM change WHERE actor = ?1 AND seq = ?2")?;
    let row: Option<Vec<u8>> = statement.query_row(params![actor, seq], |r| r.get(0)).optional()?;
    let bytes = match row {
        Some(bytes) => bytes,
        None => folded::at(conn, actor, seq)?.ok_or_else(lost)?,
    };
    let day: DayId = id.parse().map_err(|_| lost())?;
    read_change(day.0, &bytes).map_err(|why| StoreError::DamagedChange { day, why })
}
