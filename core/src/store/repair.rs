//! Making a damaged day whole: what can still be read of it and what a pack of the day holds are taken in again from nothing.

use super::history::Histories;
use super::receive::take_in_day;
use super::{Incoming, Store, StoreError, Taken, changes, folded};
use crate::day::format::read_change;
use crate::day::{Change, DayId, Hash};
use rusqlite::{Connection, params};

impl Store {
    /// Puts a day together again from what is readable here and from `incoming`, in one transaction. Changes that are readable in neither are
    /// gone here; whoever holds them brings them back.
    ///
    /// # Errors
    /// [`StoreError::NoDay`], or SQLite's; the day is then as before.
    pub fn repair(&mut self, incoming: Incoming) -> Result<Taken, StoreError> {
        let tx = self.write_transaction()?;
        let day = incoming.day;
        let n: i64 = super::rows::number(&tx, day)?;
        let mut all = incoming;
        // The date and area that are held may be what is damaged.
        if all.beginning.is_none() {
            all.beginning = Histories::read(&tx, day)?.map(|h| h.beginning);
        }
        all.changes.extend(readable(&tx, day, n)?);
        all.covers.extend(changes::covers(&tx, day)?);
        for sql in [
            "DELETE FROM change WHERE actor IN (SELECT n FROM actor WHERE day = ?1)",
            "DELETE FROM folded WHERE actor IN (SELECT n FROM actor WHERE day = ?1)",
            "DELETE FROM entry WHERE day = ?1",
            "DELETE FROM register WHERE day = ?1",
            "DELETE FROM kept WHERE day IN (0, ?1)",
            "DELETE FROM actor WHERE day = ?1",
            "DELETE FROM day WHERE n = ?1",
        ] {
            tx.execute(sql, [n])?;
        }
        for table in ["aside", "cover"] {
            tx.execute(&format!("DELETE FROM {table} WHERE day = ?1"), [day.to_string()])?;
        }
        let taken = take_in_day::<StoreError>(&tx, all, &mut |_| Ok(()))?;
        tx.commit()?;
        // Where this opening ended is not known any more.
        self.opening = super::random()?;
        self.written.clear();
        Ok(taken)
    }
}

/// Every change of a day, counting or not, whose bytes are those of its hash.
fn readable(conn: &Connection, day: DayId, n: i64) -> Result<Vec<Change>, StoreError> {
    let mut found = Vec::new();
    let mut keep = |hash: Option<Hash>, bytes: &[u8]| {
        let change = read_change(day.0, bytes).ok();
        found.extend(change.filter(|c| hash.is_none_or(|hash| c.hash == hash)));
    };
    for sql in [
        "SELECT c.hash, c.bytes FROM change c JOIN actor a ON a.n = c.actor WHERE a.day = ?1 ORDER BY c.n",
        "SELECT s.hash, s.bytes FROM aside s JOIN day d ON d.id = s.day WHERE d.n = ?1 ORDER BY s.n",
    ] {
        let mut statement = conn.prepare(sql)?;
        let mut rows = statement.query(params![n])?;
        while let Some(row) = rows.next()? {
            keep(row.get(0).ok(), row.get_ref(1)?.as_blob().unwrap_or_default());
        }
    }
    folded::readable(conn, n)?.iter().for_each(|bytes| keep(None, bytes));
    Ok(found)
}
