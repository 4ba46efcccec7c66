//! Opening the SQLite file: settings, tables, versions.

use super::StoreError;
use super::columns::create_tables;
use crate::entry::{KINDS, Kind};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode};
use std::path::Path;
use std::time::Duration;

/// "FIRN": the mark in the header of a store's file.
const APPLICATION_ID: i64 = 0x4649_524E;
/// Version of what must never be lost: changes and what belongs to them.
const STORE_VERSION: i64 = 2;
/// Version of the rows, which are a view of the changes; a store with other rows is given new ones at opening. Raise it with every change of
/// the rows' tables or of how they follow from changes; new fields of a kind raise it by themselves (see [`rows_version`]).
const ROWS_VERSION: u32 = 1;

/// How long a writer waits for another one.
const BUSY: Duration = Duration::from_secs(10);

/// The tables that hold the truth.
pub(super) const TRUTH: &str = "
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE day (
    n INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE,
    date TEXT NOT NULL,
    heads BLOB NOT NULL,
    max_op INTEGER NOT NULL
);
CREATE TABLE change (
    n INTEGER PRIMARY KEY,
    day INTEGER NOT NULL REFERENCES day,
    actor BLOB NOT NULL,
    seq INTEGER NOT NULL,
    hash BLOB NOT NULL,
    bytes BLOB NOT NULL
);
CREATE UNIQUE INDEX change_actor ON change (day, actor, seq);
CREATE UNIQUE INDEX change_hash ON change (day, hash);
CREATE TABLE waiting (day TEXT NOT NULL, hash BLOB NOT NULL, bytes BLOB NOT NULL, PRIMARY KEY (day, hash)) WITHOUT ROWID;
CREATE TABLE vector (day INTEGER NOT NULL, actor BLOB NOT NULL, seq INTEGER NOT NULL, hash BLOB NOT NULL, PRIMARY KEY (day, actor)) WITHOUT ROWID;
";

/// What version 2 added: the signed records of the crew (see `crew::Record`).
pub(super) const CREW: &str = "
CREATE TABLE crew_record (id BLOB PRIMARY KEY, bytes BLOB NOT NULL) WITHOUT ROWID;
";

/// The tables that follow from the changes, without those of the kinds.
pub(super) const VIEW: &str = "
CREATE TABLE scalar (
    day INTEGER NOT NULL,
    key TEXT NOT NULL,
    counter INTEGER NOT NULL,
    actor BLOB NOT NULL,
    text TEXT NOT NULL,
    body INTEGER NOT NULL,
    PRIMARY KEY (day, key, counter, actor)
) WITHOUT ROWID;
CREATE TABLE entry (
    id TEXT NOT NULL,
    day INTEGER NOT NULL,
    kind TEXT NOT NULL,
    at_ms INTEGER,
    utc_offset_min INTEGER,
    by TEXT NOT NULL,
    device TEXT NOT NULL,
    clock_device TEXT NOT NULL,
    clock TEXT NOT NULL,
    json TEXT NOT NULL,
    opaque INTEGER NOT NULL,
    void TEXT,
    unsettled TEXT NOT NULL,
    bodies INTEGER NOT NULL,
    PRIMARY KEY (day, id)
) WITHOUT ROWID;
CREATE TABLE kept (
    day INTEGER NOT NULL,
    question TEXT NOT NULL,
    made_from BLOB NOT NULL,
    rows BLOB NOT NULL
);
CREATE UNIQUE INDEX kept_question ON kept (day, question);
CREATE INDEX entry_kind ON entry (day, kind, at_ms, device, opaque);
CREATE INDEX entry_bodies ON entry (day, id) WHERE bodies > 1;
CREATE INDEX scalar_register ON scalar (day, key) WHERE NOT body;
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
    conn.pragma_update(None, "journal_mode", "wal")?;
    conn.pragma_update(None, "synchronous", "full")?;
    #[cfg(target_vendor = "apple")]
    conn.pragma_update(None, "fullfsync", true)?;
    conn.pragma_update(None, "cache_size", -16_000)?;
    // Without this a statement that a partial index might serve is planned anew each time that a value is bound to it.
    conn.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    conn.set_prepared_statement_cache_capacity(64);

    let found: i64 = conn.query_row("PRAGMA user_version", [], |r| r.get(0))?;
    if found > STORE_VERSION {
        return Err(StoreError::Newer { path: path.to_owned(), found, known: STORE_VERSION });
    }
    let mut rebuild = false;
    if found < STORE_VERSION || rows_version_held(&conn)? != rows_version() {
        let tx = conn.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
        // Another process may have done it while this one waited.
        let found: i64 = tx.query_row("PRAGMA user_version", [], |r| r.get(0))?;
        if found == 0 {
            tx.execute_batch(TRUTH)?;
            tx.pragma_update(None, "application_id", APPLICATION_ID)?;
        }
        if found < 2 {
            tx.execute_batch(CREW)?;
        }
        tx.pragma_update(None, "user_version", STORE_VERSION)?;
        if rows_version_held(&tx)? != rows_version() {
            rebuild = found > 0;
            drop_view(&tx)?;
            tx.execute_batch(VIEW)?;
            tx.execute_batch(&create_tables(&KINDS))?;
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
    let tables = format!("{VIEW}{}", create_tables(&KINDS));
    format!("{ROWS_VERSION}-{}", crate::day::short_code(&tables))
}

fn drop_view(conn: &Connection) -> Result<(), StoreError> {
    let truth = ["meta", "day", "change", "waiting", "vector", "crew_record"];
    let mut statement =
        conn.prepare("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'")?;
    let names: Vec<String> = statement.query_map([], |r| r.get(0))?.collect::<Result<_, _>>()?;
    for name in names.iter().filter(|n| !truth.contains(&n.as_str())) {
        conn.execute(&format!("DROP TABLE \"{name}\""), [])?;
    }
    Ok(())
}

/// The SQL of the whole store with these kinds, as documentation and for tests.
#[must_use]
pub fn store_sql(kinds: &[Kind]) -> String {
    format!(
        "-- The truth.{TRUTH}{CREW}\n-- Rows: a view of the changes, rebuilt when this program's version of them is another one.{VIEW}{}",
        create_tables(kinds)
    )
}
