//! What an earlier version wrote opens for ever: a pack, a store and the frames of a session, kept in `tests/fixtures`.
//!
//! `FIRNBOOK_FIXTURES=write` makes those that are missing and never touches one that is there.

use firnbook_core::day::Record;
use firnbook_core::exchange::wire::Frames;
use firnbook_core::exchange::{Peer, Role, Session};
use firnbook_core::logbook::Logbook;
use firnbook_tests::rogue::{Rogue, body, change};
use firnbook_tests::{Phone, TestClock, map, strike};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

/// Keeps a fixture that is missing, if that was asked for.
fn keep(name: &str, content: &[u8]) {
    let path = fixture(name);
    if !path.exists() && std::env::var("FIRNBOOK_FIXTURES").is_ok_and(|v| v == "write") {
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, content).unwrap();
    }
}

/// What a day says, as text that is compared: every entry with its state, and every register.
fn says(record: &Record) -> String {
    let entries = record.entries.iter().map(|n| {
        json!({ "id": n.id, "json": n.json, "device": n.device, "void": n.void, "unsettled": n.unsettled,
                "readable": n.entry.is_some(), "clock": [n.at_clock.device.to_string(), n.at_clock.clock] })
    });
    let registers = record.registers.0.iter().map(|(key, said)| {
        json!({ "key": key.to_string(), "says": said.iter().map(|s| (&s.v, &s.by, s.device)).collect::<Vec<_>>() })
    });
    let all: Vec<Value> = entries.chain(registers).collect();
    serde_json::to_string_pretty(&json!({ "date": record.date, "area": record.area, "says": all })).unwrap()
        + "\n"
}

/// A day with every kind, amendments, a conflict, a void, a pair, what waits, what is withdrawn, and its end.
fn written() -> Phone {
    let (mut base, mut other) = (Phone::new("Base"), Phone::new("Obs2"));
    for line in include_str!("../checks/entries.jsonl").lines() {
        let mut entry = map(serde_json::from_str(line).unwrap());
        entry.remove("id");
        base.write(Value::Object(entry));
    }
    let ids = [base.write(strike(110)), base.write(strike(111))];
    other.merge(&base);
    base.book.amend(&[(base.day, ids[0])], &map(json!({ "depth_cm": 112 })), "Base").unwrap();
    other.book.amend(&[(other.day, ids[0])], &map(json!({ "depth_cm": 115 })), "Obs2").unwrap();
    base.book.void(&[(base.day, ids[1])], Some("twice"), "Base").unwrap();
    base.book.call_same(base.day, ids[0], ids[1], true, "Base").unwrap();
    base.merge(&other);
    let rogue = Rogue::new(7);
    let one = rogue.change(1, None, &[body(1, 100)]);
    let lines = [body(2, 110), body(3, 120)].map(|b| rogue.change(2, Some(&one), &[b]));
    let claimed = change(Rogue::new(8).actor(firnbook_core::day::History::Entries), 1, None, &[body(4, 130)]);
    for (n, line) in lines.iter().enumerate() {
        let aside = if n == 0 { vec![claimed.clone()] } else { vec![] };
        let pack = rogue.pack(vec![one.clone(), line.clone()], vec![rogue.cover(&[line])], aside);
        base.book.merge(&pack, false).unwrap();
    }
    base.book.close_day(base.day, Some("TX07 is searched tomorrow"), "Base").unwrap();
    base.write(strike(120));
    base
}

/// Everything that a caller says to a base that holds nothing.
fn spoken(caller: &Phone) -> Vec<u8> {
    let base = Phone::new("Other");
    let mut one = Session::new(&caller.book.host("Base").unwrap(), Role::Caller, Peer::Cable).unwrap();
    let mut other = Session::new(&base.book.host("Other").unwrap(), Role::Base, Peer::Cable).unwrap();
    let mut bytes = Vec::new();
    loop {
        let before = bytes.len();
        while let Some(frame) = one.outgoing() {
            other.incoming(&frame);
            bytes.extend(frame);
        }
        while let Some(frame) = other.outgoing() {
            one.incoming(&frame);
        }
        if bytes.len() == before {
            return bytes;
        }
    }
}

fn opened(version: &str) -> (tempfile::TempDir, Logbook) {
    let folder = tempfile::tempdir().unwrap();
    for ending in ["", ".device"] {
        let from = fixture(&format!("{version}/store.firnbook{ending}"));
        std::fs::copy(&from, folder.path().join(from.file_name().unwrap())).unwrap();
    }
    let book = Logbook::open(&folder.path().join("store.firnbook"), Box::new(TestClock::new())).unwrap();
    (folder, book)
}

/// Every version whose files are kept.
const VERSIONS: [&str; 1] = ["0.1"];

#[test]
fn packs_stores_and_sessions_of_every_version_open() {
    let newest = VERSIONS.last().unwrap();
    if std::env::var("FIRNBOOK_FIXTURES").is_ok_and(|v| v == "write") {
        let base = written();
        let path = |name: &str| format!("{newest}/{name}");
        keep(&path("day.firn"), &base.pack());
        keep(&path("says.json"), says(&base.book.record(base.day).unwrap()).as_bytes());
        rusqlite::Connection::open(base.path())
            .unwrap()
            .execute_batch("PRAGMA wal_checkpoint(truncate)")
            .unwrap();
        for ending in ["", ".device"] {
            let from = PathBuf::from(format!("{}{ending}", base.path().display()));
            keep(&path(&format!("store.firnbook{ending}")), &std::fs::read(from).unwrap());
        }
        // Last, as the other side says something too.
        keep(&path("session.bin"), &spoken(&base));
    }
    for version in VERSIONS {
        let expected = std::fs::read_to_string(fixture(&format!("{version}/says.json"))).unwrap();
        let pack = std::fs::read(fixture(&format!("{version}/day.firn"))).unwrap();
        let mut base = Phone::bare("Base");
        base.book.merge(&pack, false).unwrap();
        assert_eq!(says(&base.book.record(base.day).unwrap()), expected, "{version}: the pack");
        let row = &base.book.days().unwrap()[0];
        assert_eq!((row.waiting, row.withdrawn, row.closed), (1, 2, true), "{version}");

        let (_folder, mut book) = opened(version);
        assert_eq!(says(&book.record(base.day).unwrap()), expected, "{version}: the store");
        assert!(book.verify().unwrap().iter().all(|d| d.rows_equal), "{version}");
        book.rebuild().unwrap();
        assert_eq!(says(&book.record(base.day).unwrap()), expected, "{version}: the store, rows made anew");
        let draft = firnbook_core::logbook::Draft { json: map(strike(99)), line: None };
        book.log(base.day, "Base", vec![draft], false).unwrap();
        base.book.merge(&book.pack(&[base.day]).unwrap().bytes, false).unwrap();
        let entries = base.book.record(base.day).unwrap().entries;
        assert!(
            entries.iter().any(|e| e.json.get("depth_cm") == Some(&json!(99))),
            "{version}: it is written on"
        );

        let mut frames = Frames::default();
        frames.push(&std::fs::read(fixture(&format!("{version}/session.bin"))).unwrap());
        let mut count = 0;
        while frames.next_frame().unwrap().is_some() {
            count += 1;
        }
        assert!(count > 4, "{version}: {count} frames");
    }
}
