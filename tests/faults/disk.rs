//! A full disk and a read-only one: said in a sentence, nothing lost, nothing half written. Needs the right to mount a small file system; without
//! it a limit on the size of files stands in for the full disk.

use super::{dump, program};
use firnbook_core::insight::season::depth::DepthAsk;
use firnbook_core::insight::thresholds::Thresholds;
use firnbook_core::logbook::{Draft, Logbook, Season};
use firnbook_core::store::Filter;
use firnbook_tests::small_disk::SmallDisk;
use firnbook_tests::{TestClock, map, strike};
use std::path::Path;
use std::process::{Command, Output};

fn scribe(store: &Path, limit_files: bool) -> Output {
    let line = format!("exec {} {} Obs1 100000", program("scribe").display(), store.display());
    // 512 blocks of 1 KiB, and the signal for it ignored so that the write itself fails.
    let line = if limit_files { format!("trap '' XFSZ; ulimit -f 512; {line}") } else { line };
    Command::new("bash").args(["-c", &line]).output().unwrap()
}

#[test]
fn a_full_disk_is_said_and_loses_nothing() {
    let disk = SmallDisk::of_mib(1);
    let folder = tempfile::tempdir().unwrap();
    let path = disk.as_ref().map_or(folder.path(), |d| d.path()).join("store.firnbook");
    let output = scribe(&path, disk.is_none());
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(1), "{said}");
    let expected = if disk.is_some() { "the disk is full" } else { "disk" };
    assert!(said.contains(expected), "{said}");
    let text = String::from_utf8(output.stdout).unwrap();
    let confirmed: Vec<&str> = text.lines().filter_map(|l| l.split_once(' ')).map(|(id, _)| id).collect();
    assert!(confirmed.len() >= 10, "{} were written before the disk was full", confirmed.len());
    // With room again, everything is there. The copy is made as a person would: all files of the store.
    let rescued = folder.path().join("rescued.firnbook");
    for ending in ["", "-wal", ".device"] {
        let from = format!("{}{ending}", path.display());
        if Path::new(&from).exists() {
            std::fs::copy(&from, format!("{}{ending}", rescued.display())).unwrap();
        }
    }
    let book = Logbook::open(&rescued, Box::new(TestClock::new())).unwrap();
    let held: Vec<String> =
        book.entries(&Filter::default()).unwrap().iter().map(|e| e.noted.id.to_string()).collect();
    assert!(confirmed.iter().all(|id| held.iter().any(|h| h == id)));
    assert!(book.verify().unwrap()[0].rows_equal);
}

#[test]
fn a_read_only_disk_is_said() {
    let Some(disk) = SmallDisk::of_mib(1) else {
        // Without that right, the folder's own mode does it.
        let folder = tempfile::tempdir().unwrap();
        let mut mode = std::fs::metadata(folder.path()).unwrap().permissions();
        mode.set_readonly(true);
        std::fs::set_permissions(folder.path(), mode).unwrap();
        assert!(Logbook::open(&folder.path().join("store.firnbook"), Box::new(TestClock::new())).is_err());
        return;
    };
    let path = disk.path().join("store.firnbook");
    let book = Logbook::open(&path, Box::new(TestClock::new())).unwrap();
    drop(book);
    let before = dump(&path);
    disk.read_only();
    let error = match Logbook::open(&path, Box::new(TestClock::new())) {
        Err(e) => e,
        Ok(mut book) => book.begin_day(firnbook_tests::date(), "Upper Bowl", "Lead").unwrap_err(),
    };
    let said = error.to_string();
    assert!(said.contains("read-only") || said.contains("can't be opened"), "{said}");
    assert!(!before.is_empty());
}

#[test]
fn a_season_is_answered_without_room_to_keep_its_rows() {
    let Some(disk) = SmallDisk::of_mib(1) else {
        eprintln!("SKIPPED: answers on a full disk; mounting a small file system needs root");
        return;
    };
    let mut book = Logbook::open(&disk.path().join("store.firnbook"), Box::new(TestClock::new())).unwrap();
    let day = book.begin_day(firnbook_tests::date(), "Upper Bowl", "Lead").unwrap().day;
    let drafts = (0..400).map(|n| Draft { json: map(strike(60 + n % 90)), line: None }).collect();
    book.log(day, "Lead", drafts, false).unwrap();
    let asked =
        |book: &Logbook| book.depth(&Season::default(), DepthAsk::default(), &Thresholds::default()).unwrap();
    let kept = || -> i64 {
        let conn = rusqlite::Connection::open(book.path()).unwrap();
        conn.query_row("SELECT count(*) FROM kept WHERE question <> 'day'", [], |row| row.get(0)).unwrap()
    };
    let filler = disk.path().join("filler");
    let full = std::fs::write(&filler, vec![7_u8; 2 << 20]);
    assert!(full.is_err(), "the disk is full");
    let without_room = asked(&book);
    assert!(without_room.figures.n > 0);
    assert_eq!((asked(&book), kept()), (without_room.clone(), 0));
    std::fs::remove_file(&filler).unwrap();
    assert_eq!((asked(&book), kept()), (without_room, 1));
    assert!(book.verify().unwrap()[0].rows_equal);
}
