//! Changes of closed days, deflated: a season of closed days takes a fraction of the room. Whatever needs single changes of such a day unfolds it.

use super::history::{Histories, hashes};
use super::{Store, StoreError};
use crate::day::{Change, DayId, Hash};
use flate2::read::DeflateDecoder;
use flate2::write::DeflateEncoder;
use rusqlite::{Connection, OptionalExtension, params};
use sha2::{Digest, Sha256};
use std::io::{Read, Write};

impl Store {
    /// Folds the changes of a day, all or none.
    ///
    /// # Errors
    /// [`StoreError::NoDay`], a damaged change, or SQLite's; the day is then as before.
    pub fn fold(&mut self, day: DayId) -> Result<(), StoreError> {
        let tx = self.write_transaction()?;
        fold(&tx, day)?;
        Ok(tx.commit()?)
    }
}

fn fold(conn: &Connection, day: DayId) -> Result<(), StoreError> {
    let histories = Histories::read(conn, day)?.ok_or(StoreError::NoDay(day))?;
    let sql = "SELECT DISTINCT c.actor FROM change c JOIN actor a ON a.n = c.actor WHERE a.day = ?1";
    let mut actors = conn.prepare(sql)?;
    let actors: Vec<i64> = actors.query_map([histories.n], |r| r.get(0))?.collect::<Result<_, _>>()?;
    for actor in actors {
        let mut all =
            conn.prepare_cached("SELECT seq, hash, bytes FROM change WHERE actor = ?1 ORDER BY seq")?;
        let mut rows = all.query([actor])?;
        let (mut first, mut list, mut plain) = (None, Vec::new(), Vec::new());
        while let Some(row) = rows.next()? {
            let bytes = row.get_ref(2)?.as_blob().unwrap_or_default();
            let change = histories.parse(bytes)?;
            if row.get::<_, Hash>(1)? != change.hash {
                return Err(StoreError::AlteredChange { day, hash: crate::crew::hex(&change.hash) });
            }
            first = first.or(Some(row.get::<_, i64>(0)?));
            list.extend_from_slice(&change.hash);
            plain.extend_from_slice(&u32::try_from(bytes.len()).unwrap_or(u32::MAX).to_be_bytes());
            plain.extend_from_slice(bytes);
        }
        let mut deflater = DeflateEncoder::new(Vec::new(), flate2::Compression::best());
        let deflated = deflater.write_all(&plain).and_then(|()| deflater.finish());
        let deflated = deflated.map_err(|source| StoreError::File { path: "memory".into(), source })?;
        // What could not be read back must not take the place of what can.
        unfolded(&list, &deflated)?;
        let sql = "INSERT INTO folded (actor, first, hashes, bytes) VALUES (?1, ?2, ?3, ?4)";
        conn.execute(sql, params![actor, first, list, deflated])?;
        conn.execute("DELETE FROM change WHERE actor = ?1", [actor])?;
    }
    Ok(())
}

/// Whether changes of a day are folded.
pub(super) fn any(conn: &Connection, day: i64) -> Result<bool, StoreError> {
    let sql = "SELECT 1 FROM folded f JOIN actor a ON a.n = f.actor WHERE a.day = ?1 LIMIT 1";
    Ok(conn.prepare_cached(sql)?.exists([day])?)
}

/// Gives the changes of a day rows again.
pub(super) fn unfold(conn: &Connection, histories: &Histories<'_>) -> Result<(), StoreError> {
    if !any(conn, histories.n)? {
        return Ok(());
    }
    // Causes first, and all of them before what came after the day was folded: by the counter of the first operation.
    let mut all: Vec<(u32, i64, Change)> = Vec::new();
    for (actor, bytes) in held(conn, histories.n)? {
        let change = histories.parse(&bytes)?;
        all.push((change.start_op, actor, change));
    }
    let sql = "SELECT c.actor, c.bytes FROM change c JOIN actor a ON a.n = c.actor WHERE a.day = ?1";
    let mut statement = conn.prepare(sql)?;
    let mut rows = statement.query([histories.n])?;
    while let Some(row) = rows.next()? {
        let change = histories.parse(row.get_ref(1)?.as_blob().unwrap_or_default())?;
        all.push((change.start_op, row.get(0)?, change));
    }
    all.sort_by_key(|(start, actor, change)| (*start, *actor, change.seq));
    conn.execute("DELETE FROM change WHERE actor IN (SELECT n FROM actor WHERE day = ?1)", [histories.n])?;
    conn.execute("DELETE FROM folded WHERE actor IN (SELECT n FROM actor WHERE day = ?1)", [histories.n])?;
    for (_, actor, change) in all {
        conn.prepare_cached("INSERT INTO change (actor, seq, hash, bytes) VALUES (?1, ?2, ?3, ?4)")?
            .execute(params![actor, change.seq, change.hash, change.bytes])?;
    }
    Ok(())
}

/// The folded changes of a day, each with the number of its actor.
pub(super) fn held(conn: &Connection, day: i64) -> Result<Vec<(i64, Vec<u8>)>, StoreError> {
    let sql = "SELECT f.actor, f.hashes, f.bytes FROM folded f JOIN actor a ON a.n = f.actor WHERE a.day = ?1 ORDER BY f.n";
    let mut statement = conn.prepare_cached(sql)?;
    let mut rows = statement.query([day])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let actor = row.get(0)?;
        let list = unfolded(
            row.get_ref(1)?.as_blob().unwrap_or_default(),
            row.get_ref(2)?.as_blob().unwrap_or_default(),
        )?;
        all.extend(list.into_iter().map(|bytes| (actor, bytes)));
    }
    Ok(all)
}

/// The folded changes of a day that can still be read.
pub(super) fn readable(conn: &Connection, day: i64) -> Result<Vec<Vec<u8>>, StoreError> {
    let sql =
        "SELECT f.hashes, f.bytes FROM folded f JOIN actor a ON a.n = f.actor WHERE a.day = ?1 ORDER BY f.n";
    let mut statement = conn.prepare(sql)?;
    let mut rows = statement.query([day])?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        let (list, deflated) = (row.get_ref(0)?.as_blob(), row.get_ref(1)?.as_blob());
        all.extend(unfolded(list.unwrap_or_default(), deflated.unwrap_or_default()).unwrap_or_default());
    }
    Ok(all)
}

/// The hash of a folded change in this place.
pub(super) fn hash_at(conn: &Connection, actor: i64, seq: u32) -> Result<Option<Hash>, StoreError> {
    let sql = "SELECT hashes, first FROM folded WHERE actor = ?1 AND first <= ?2 ORDER BY first DESC LIMIT 1";
    let row = conn
        .prepare_cached(sql)?
        .query_row(params![actor, seq], |r| Ok((r.get::<_, Vec<u8>>(0)?, r.get::<_, u32>(1)?)));
    let Some((list, first)) = row.optional()? else { return Ok(None) };
    Ok(hashes(&list).nth((seq - first) as usize))
}

/// The bytes of a folded change in this place.
pub(super) fn at(conn: &Connection, actor: i64, seq: u32) -> Result<Option<Vec<u8>>, StoreError> {
    Ok(hash_at(conn, actor, seq)?.map(|hash| bytes_of(conn, actor, &hash)).transpose()?.flatten())
}

/// The bytes of a folded change of this actor.
pub(super) fn bytes_of(conn: &Connection, actor: i64, hash: &Hash) -> Result<Option<Vec<u8>>, StoreError> {
    let mut statement = conn.prepare_cached("SELECT hashes, bytes FROM folded WHERE actor = ?1")?;
    let mut rows = statement.query([actor])?;
    while let Some(row) = rows.next()? {
        let list = row.get_ref(0)?.as_blob().unwrap_or_default();
        if let Some(at) = hashes(list).position(|h| h == *hash) {
            return Ok(unfolded(list, row.get_ref(1)?.as_blob().unwrap_or_default())?.into_iter().nth(at));
        }
    }
    Ok(None)
}

/// Inflates folded changes and holds each against its hash.
fn unfolded(list: &[u8], deflated: &[u8]) -> Result<Vec<Vec<u8>>, StoreError> {
    let mut plain = Vec::new();
    DeflateDecoder::new(deflated).read_to_end(&mut plain).map_err(|_| StoreError::DamagedFold)?;
    let mut rest = plain.as_slice();
    let mut changes = Vec::with_capacity(list.len() / 32);
    for hash in hashes(list) {
        let (length, after) = rest.split_first_chunk::<4>().ok_or(StoreError::DamagedFold)?;
        let length = u32::from_be_bytes(*length) as usize;
        let (bytes, after) = after.split_at_checked(length).ok_or(StoreError::DamagedFold)?;
        // A change's hash is over all but its first 8 bytes: magic and checksum.
        if Sha256::digest(bytes.get(8..).unwrap_or_default()).as_slice() != hash {
            return Err(StoreError::DamagedFold);
        }
        changes.push(bytes.to_vec());
        rest = after;
    }
    if rest.is_empty() { Ok(changes) } else { Err(StoreError::DamagedFold) }
}
