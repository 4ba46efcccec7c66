//! The SQLite file that a merge fills: rows of entries for questions, and the bytes that came from each device.

use cpu_time::ProcessTime;
use rusqlite::{Connection, Transaction, TransactionBehavior, params};
use serde::Deserialize;
use std::time::Duration;

const SCHEMA: &str = "
    PRAGMA journal_mode = wal;
    PRAGMA synchronous = full;
    PRAGMA cache_size = -16000;
    CREATE TABLE entry (
        n INTEGER PRIMARY KEY,
        day INTEGER NOT NULL,
        id TEXT NOT NULL,
        kind TEXT NOT NULL,
        at_ms INTEGER NOT NULL,
        utc_offset_min INTEGER NOT NULL,
        json TEXT NOT NULL
    );
    CREATE UNIQUE INDEX entry_id ON entry (day, id);
    CREATE INDEX entry_kind ON entry (day, kind, at_ms);
    CREATE TABLE \"update\" (n INTEGER PRIMARY KEY, bytes BLOB NOT NULL);
    CREATE TABLE change (
        n INTEGER PRIMARY KEY,
        actor INTEGER NOT NULL,
        seq INTEGER NOT NULL,
        hash BLOB NOT NULL,
        bytes BLOB NOT NULL
    );
    CREATE UNIQUE INDEX change_actor ON change (actor, seq);
";

/// Runs `work` on an empty store and returns its processor time, the kernel's part for it included. The making of the empty store and its
/// end are not measured.
///
/// # Panics
/// If the store does not hold `entries` rows of entries afterwards: work that was not done has no figure.
pub fn measure(entries: usize, work: impl FnOnce(&mut Connection)) -> Duration {
    let folder = tempfile::tempdir().unwrap();
    let mut conn = Connection::open(folder.path().join("merged.db")).unwrap();
    conn.execute_batch(SCHEMA).unwrap();
    let begun = ProcessTime::now();
    work(&mut conn);
    let took = begun.elapsed();
    let rows: i64 = conn.query_row("SELECT count(*) FROM entry", [], |row| row.get(0)).unwrap();
    assert_eq!(usize::try_from(rows), Ok(entries), "rows of entries");
    took
}

/// Begins what one device brings.
pub fn begin(conn: &mut Connection) -> Transaction<'_> {
    conn.transaction_with_behavior(TransactionBehavior::Immediate).unwrap()
}

/// What a row needs of an entry's JSON.
#[derive(Deserialize)]
struct Read<'a> {
    kind: &'a str,
    at: &'a str,
}

/// Inserts a row for every entry: key and JSON text.
pub fn insert_entries<'a>(tx: &Transaction<'_>, entries: impl Iterator<Item = (&'a str, &'a str)>) {
    let sql = "INSERT INTO entry (day, id, kind, at_ms, utc_offset_min, json) VALUES (1, ?, ?, ?, ?, ?)";
    let mut insert = tx.prepare_cached(sql).unwrap();
    for (id, json) in entries {
        let Read { kind, at } = serde_json::from_str(json).unwrap();
        let at = chrono::DateTime::parse_from_rfc3339(at).unwrap();
        let offset_min = at.offset().local_minus_utc() / 60;
        insert.execute(params![id, kind, at.timestamp_millis(), offset_min, json]).unwrap();
    }
}

/// Keeps the bytes that came from a device.
pub fn insert_update(tx: &Transaction<'_>, bytes: &[u8]) {
    tx.prepare_cached("INSERT INTO \"update\" (bytes) VALUES (?)").unwrap().execute([bytes]).unwrap();
}
