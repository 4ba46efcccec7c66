//! Files that are no store, a newer store, and a store whose rows were made by another version.

use super::dump;
use firnbook_core::logbook::Logbook;
use firnbook_tests::{Phone, TestClock, strike};

fn open(path: &std::path::Path) -> Result<Logbook, String> {
    Logbook::open(path, Box::new(TestClock::new())).map_err(|e| e.to_string())
}

#[test]
fn another_kind_of_file_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let text = folder.path().join("notes.txt");
    std::fs::write(&text, "snow 300 cm\n".repeat(1000)).unwrap();
    assert!(open(&text).err().unwrap().contains("is no Firnbook store"));
    assert_eq!(std::fs::read_to_string(&text).unwrap(), "snow 300 cm\n".repeat(1000));
    let database = folder.path().join("other.db");
    rusqlite::Connection::open(&database)
        .unwrap()
        .execute_batch("CREATE TABLE t (x); INSERT INTO t VALUES (1)")
        .unwrap();
    assert!(open(&database).err().unwrap().contains("another program"));
    assert!(open(folder.path()).err().unwrap().contains("is a folder"));
    assert!(open(&folder.path().join("missing/store")).is_err());
}

#[test]
fn a_newer_store_is_refused_and_unchanged() {
    let mut a = Phone::new("Obs1");
    a.write(strike(100));
    let before = dump(&a.path());
    rusqlite::Connection::open(a.path()).unwrap().pragma_update(None, "user_version", 99).unwrap();
    let error = open(&a.path()).err().unwrap();
    assert!(error.contains("version 99") && error.contains("newer program"), "{error}");
    assert_eq!(dump(&a.path()), before);
}

#[test]
fn rows_of_another_version_are_made_anew() {
    let mut a = Phone::new("Obs1");
    a.write(strike(100));
    a.write(strike(120));
    let before = dump(&a.path());
    let conn = rusqlite::Connection::open(a.path()).unwrap();
    conn.execute_batch("UPDATE meta SET value = 'old' WHERE key = 'rows_version'; DROP VIEW strike; DELETE FROM entry; CREATE TABLE gone (x)").unwrap();
    drop(conn);
    let book = open(&a.path()).unwrap();
    assert!(book.verify().unwrap()[0].rows_equal);
    assert_eq!(dump(&a.path()), before);
}

#[test]
fn verify_sees_a_row_and_a_change_that_were_tampered_with() {
    let mut a = Phone::new("Obs1");
    a.write(strike(100));
    let conn = rusqlite::Connection::open(a.path()).unwrap();
    conn.execute("UPDATE entry SET json = replace(json, '100', '101')", []).unwrap();
    assert!(!a.book.verify().unwrap()[0].rows_equal);
    a.book.rebuild().unwrap();
    assert!(a.book.verify().unwrap()[0].rows_equal);
    conn.execute("UPDATE change SET bytes = (SELECT bytes FROM change ORDER BY n LIMIT 1)", []).unwrap();
    let verified = a.book.verify().unwrap();
    assert!(!verified[0].faults.is_empty() && !verified[0].rows_equal, "{verified:?}");
}

#[test]
fn the_device_file_is_its_owners_alone() {
    use std::os::unix::fs::PermissionsExt;
    let a = Phone::new("Obs1");
    let path = std::path::PathBuf::from(format!("{}.device", a.path().display()));
    assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    let first = a.book.device();
    assert_eq!(a.open_again().device(), first);
    std::fs::remove_file(&path).unwrap();
    assert_ne!(a.open_again().device(), first, "a store found without its file is a new device");
    std::fs::write(&path, "{").unwrap();
    assert!(open(&a.path()).err().unwrap().contains("device's key is damaged"));
}

#[test]
fn sqlites_own_shell_finds_the_store_whole() {
    // Source: SQLite's own command line shell, PRAGMA integrity_check and foreign_key_check.
    let mut a = Phone::new("Obs1");
    for depth in 20..60 {
        a.write(strike(depth));
    }
    let path = a.path();
    let output = std::process::Command::new("sqlite3")
        .args([
            path.to_str().unwrap(),
            "PRAGMA integrity_check; PRAGMA foreign_key_check; SELECT count(*) FROM strike;",
        ])
        .output()
        .expect("sqlite3 is installed by tests/run");
    assert_eq!(String::from_utf8(output.stdout).unwrap(), "ok\n40\n");
}
