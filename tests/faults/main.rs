//! Faults: what is confirmed survives kills, what is damaged is refused whole, and a full or read-only disk is said.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a test is a failed test")]

mod damage;
mod disk;
mod exports;
mod kill;
mod mutants;
mod store_file;
mod syncs;
mod two_writers;

use firnbook_tests::program::program;

/// Everything that a store holds but answers that it kept, as one text: equal texts, equal stores.
fn dump(path: &std::path::Path) -> String {
    use rusqlite::types::ValueRef;
    let conn = rusqlite::Connection::open(path).unwrap();
    let mut text = String::new();
    let mut tables = conn
        .prepare("SELECT name FROM sqlite_schema WHERE type = 'table' AND name <> 'kept' ORDER BY name")
        .unwrap();
    let names: Vec<String> = tables.query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect();
    for name in names {
        let mut statement = conn.prepare(&format!("SELECT * FROM \"{name}\"")).unwrap();
        let columns = statement.column_count();
        let mut rows = statement.query([]).unwrap();
        while let Some(row) = rows.next().unwrap() {
            let cells: Vec<String> = (0..columns)
                .map(|i| match row.get_ref(i).unwrap() {
                    ValueRef::Text(t) => String::from_utf8_lossy(t).into_owned(),
                    other => format!("{other:?}"),
                })
                .collect();
            text.push_str(&format!("{name}: {}\n", cells.join(" | ")));
        }
    }
    text
}
