//! Opening the SQLite file: settings, tables, versions.

use super::StoreError;
use super::columns::create_views;
use crate::entry::{KINDS, Kind};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode};
use std::path::Path;
use std::time::Duration;

/// "FIRN": the mark in the header of a store's file.
const APPLICATION_ID: i64 = 0x4649_524E;
/// Version of what must never be lost: changes, signatures, and what belongs to them. Versions 1 and 2 were never released and are refused.
const STORE_VERSION: i64 = 3;
/// Version of the rows, which follow from the changes; a store with other rows gets new ones at opening. Raise it with every change of
/// the rows' tables or of how they follow from changes; new fields of a kind raise it by themselves (see [`rows_version`]).
const ROWS_VERSION: u32 = 1;

/// How long a writer waits for another one.
pub(super) const BUSY: Duration = Duration::from_secs(10);

/// The tables that must never be lost.
pub(super) const TRUTH: &str = "
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
-- area: folded; with the date it gives the first change. heads: 32 bytes each, sorted. max_op: the highest counter of any operation.
-- aside: a hash of what waits and is withdrawn, empty if nothing.
CREATE TABLE day (
    n INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    date TEXT NOT NULL,
    area TEXT NOT NULL,
    heads BLOB NOT NULL,
    max_op INTEGER NOT NULL,
    aside BLOB NOT NULL
);
-- Who wrote: 24 bytes; the last of its changes that counts; bytes of them all; head: no other change depends on that last one.
-- broken_at: the smallest number of a change that the actor signed twice.
CREATE TABLE actor (
    n INTEGER PRIMARY KEY,
    day INTEGER NOT NULL REFERENCES day,
    actor BLOB NOT NULL,
    seq INTEGER NOT NULL,
    hash BLOB NOT NULL,
    max_op INTEGER NOT NULL,
    bytes INTEGER NOT NULL,
    head INTEGER NOT NULL,
    broken_at INTEGER
);
CREATE UNIQUE INDEX actor_day ON actor (day, actor);
CREATE INDEX actor_head ON actor (day, actor) WHERE head;
-- The changes that count, but for the first of each day, which follows from date and area.
CREATE TABLE change (
    n INTEGER PRIMARY KEY,
    actor INTEGER NOT NULL REFERENCES actor,
    seq INTEGER NOT NULL,
    hash BLOB NOT NULL,
    bytes BLOB NOT NULL
);
CREATE UNIQUE INDEX change_place ON change (actor, seq);
-- Changes of closed days, deflated, in place of their rows: those of one actor from number first on; hashes: 32 bytes each.
CREATE TABLE folded (
    n INTEGER PRIMARY KEY,
    actor INTEGER NOT NULL REFERENCES actor,
    first INTEGER NOT NULL,
    hashes BLOB NOT NULL,
    bytes BLOB NOT NULL
);
CREATE INDEX folded_actor ON folded (actor);
-- Covering signatures. tips: 32 bytes each, sorted. pending: not all tips have come.
CREATE TABLE cover (
    n INTEGER PRIMARY KEY,
    day TEXT NOT NULL,
    device BLOB NOT NULL,
    key BLOB NOT NULL,
    tips BLOB NOT NULL,
    signature BLOB NOT NULL,
    pending INTEGER NOT NULL
);
CREATE INDEX cover_device ON cover (day, device);
-- Changes that do not count: those that wait for others or for a signature, and those withdrawn.
CREATE TABLE aside (
    n INTEGER PRIMARY KEY,
    day TEXT NOT NULL,
    device BLOB NOT NULL,
    hash BLOB NOT NULL,
    withdrawn INTEGER NOT NULL,
    bytes BLOB NOT NULL
);
CREATE UNIQUE INDEX aside_hash ON aside (day, hash);
CREATE TABLE crew_record (id BLOB PRIMARY KEY, bytes BLOB NOT NULL) WITHOUT ROWID;
";

/// The tables that follow from the changes, without the views of the kinds.
pub(super) const ROWS: &str = "
-- One row an entry. id: the 16 bytes of the ULID. actor and seq: the change of its body. json: the entry with its amendments. clock_device and clock: where `at` was amended.
CREATE TABLE entry (
    n INTEGER PRIMARY KEY,
    day INTEGER NOT NULL,
    id BLOB NOT NULL,
    kind TEXT NOT NULL,
    at_ms INTEGER,
    utc_offset_min INTEGER,
    actor INTEGER NOT NULL,
    seq INTEGER NOT NULL,
    json TEXT NOT NULL,
    opaque INTEGER NOT NULL,
    bodies INTEGER NOT NULL,
    void TEXT,
    unsettled TEXT,
    clock_device BLOB,
    clock TEXT
);
CREATE UNIQUE INDEX entry_id ON entry (day, id);
CREATE INDEX entry_kind ON entry (day, kind, at_ms);
-- Every value of every register, replaced ones too; and of entries that are not as they were first written, the bodies.
CREATE TABLE register (
    n INTEGER PRIMARY KEY,
    day INTEGER NOT NULL,
    key TEXT NOT NULL,
    counter INTEGER NOT NULL,
    actor INTEGER NOT NULL,
    hash BLOB NOT NULL,
    text TEXT NOT NULL
);
CREATE INDEX register_key ON register (day, key);
CREATE TABLE kept (
    day INTEGER NOT NULL,
    question TEXT NOT NULL,
    made_from BLOB NOT NULL,
    rows BLOB NOT NULL
);
CREATE UNIQUE INDEX kept_question ON kept (day, question);
";

/// Opens the file, makes or checks its tables. `true`: the rows must be rebuilt.
pub(super) fn open(path: &Path) -> Result<(Connection, bool), StoreError> {
    let no_store = |why: &str| StoreError::NoStore { path: path.to_owned(), why: why.to_owned() };
    if path.is_dir() {
        return Err(no_store("it is a folder"));
    }
    let mut conn = Connection::open(path)?;
    conn.busy_timeout(BUSY)?;
    let application: i64 = conn.query_row("PRAGMA application_id", [], |r| r.get(0)).map_err(|e| match e
        .sqlite_error_code()
    {
        Some(ErrorCode::NotADatabase) => no_store("it is another kind of file"),
        _ => e.into(),
    })?;
    let tables: i64 = conn.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get(0))?;
    if application != APPLICATION_ID && (application != 0 || tables > 0) {
        return Err(no_store("it is a database of another program"));
    }
    let found: i64 = conn.query_row("PRAGMA user_version", [], |r| r.get(0))?;
    if found > STORE_VERSION {
        return Err(StoreError::Newer { path: path.to_owned(), found, known: STORE_VERSION });
    }
    if (1..STORE_VERSION).contains(&found) {
        return Err(StoreError::Older { path: path.to_owned(), found, known: STORE_VERSION });
    }
    conn.pragma_update(None, "journal_mode", "wal")?;
    conn.pragma_update(None, "synchronous", "full")?;
    #[cfg(target_vendor = "apple")]
    conn.pragma_update(None, "fullfsync", true)?;
    conn.pragma_update(None, "cache_size", -16_000)?;
    // The numbers by which rows name days and actors are given here and nowhere else.
    conn.pragma_update(None, "foreign_keys", false)?;
    // Without this a statement that a partial index might serve is planned anew each time that a value is bound to it.
    conn.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    conn.set_prepared_statement_cache_capacity(64);

    let mut rebuild = false;
    if found < STORE_VERSION || rows_version_held(&conn)? != rows_version() {
        let tx = conn.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
        // Another process may have done it while this one waited.
        let found: i64 = tx.query_row("PRAGMA user_version", [], |r| r.get(0))?;
        if found == 0 {
            tx.execute_batch(TRUTH)?;
            tx.pragma_update(None, "application_id", APPLICATION_ID)?;
        }
        tx.pragma_update(None, "user_version", STORE_VERSION)?;
        if rows_version_held(&tx)? != rows_version() {
            rebuild = found > 0;
            drop_rows(&tx)?;
            tx.execute_batch(ROWS)?;
            tx.execute_batch(&create_views(&KINDS))?;
            if !rebuild {
                keep_rows_version(&tx)?;
            }
        }
        tx.commit()?;
    }
    Ok((conn, rebuild))
}

/// Says that the rows are those of this program.
pub(super) fn keep_rows_version(conn: &Connection) -> Result<(), StoreError> {
    conn.execute("INSERT OR REPLACE INTO meta VALUES ('rows_version', ?1)", [rows_version()])?;
    Ok(())
}

fn rows_version_held(conn: &Connection) -> Result<String, StoreError> {
    let has_meta: bool =
        conn.query_row("SELECT count(*) FROM sqlite_schema WHERE name = 'meta'", [], |r| r.get(0))?;
    if !has_meta {
        return Ok(String::new());
    }
    let held = conn.query_row("SELECT value FROM meta WHERE key = 'rows_version'", [], |r| r.get(0));
    match held {
        Err(rusqlite::Error::QueryReturnedNoRows) => Ok(String::new()),
        other => Ok(other?),
    }
}

/// The version of the rows' tables, the kinds' columns included.
fn rows_version() -> String {
    let tables = format!("{ROWS}{}", create_views(&KINDS));
    format!("{ROWS_VERSION}-{}", crate::day::short_code(&tables))
}

fn drop_rows(conn: &Connection) -> Result<(), StoreError> {
    let truth = ["meta", "day", "actor", "change", "folded", "cover", "aside", "crew_record"];
    let mut statement = conn.prepare(
        "SELECT type, name FROM sqlite_schema WHERE type IN ('table', 'view') AND name NOT LIKE 'sqlite_%'",
    )?;
    let names: Vec<(String, String)> =
        statement.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<Result<_, _>>()?;
    for (what, name) in names.iter().filter(|(_, name)| !truth.contains(&name.as_str())) {
        conn.execute(&format!("DROP {what} \"{name}\""), [])?;
    }
    Ok(())
}

/// The SQL of the whole store with these kinds, as documentation and for tests.
#[must_use]
pub fn store_sql(kinds: &[Kind]) -> String {
    format!(
        "-- What must never be lost.{TRUTH}\n-- Rows: they follow from the changes, and are made anew when this program's version of them is another one.{ROWS}\n\
         -- Views, for people who open the store with another program: one a kind, one column a field. day is day.n.\n{}",
        create_views(kinds)
    )
}
