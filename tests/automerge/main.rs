//! A pack is plain Automerge data: another program with another Automerge library reads every entry and register of it.
//!
//! Needs Node with the packages of `tests/env/node` in the folder that `FIRNBOOK_NODE` names: `tests/run automerge` brings them.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a test is a failed test")]

use firnbook_core::day::{DayId, values};
use firnbook_core::exchange;
use firnbook_tests::world::World;
use firnbook_tests::{Phone, map, strike};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

/// What the other program reads: by day and key the value that stands and all concurrent ones, sorted.
type Read = BTreeMap<(String, String), (String, Vec<String>)>;

fn read_by_node(pack: &[u8]) -> Read {
    let packages = std::env::var("FIRNBOOK_NODE").expect("FIRNBOOK_NODE is set; type: tests/run automerge");
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), pack).unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("automerge/read.mjs");
    let mut node = Command::new("node");
    let out = node.arg(script).arg(file.path()).env("FIRNBOOK_NODE", packages).output().unwrap();
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let lines = String::from_utf8(out.stdout).unwrap();
    let word = |line: &Value, key: &str| line[key].as_str().unwrap().to_owned();
    let read = |line: &str| {
        let line: Value = serde_json::from_str(line).unwrap();
        let values = serde_json::from_value(line["values"].clone()).unwrap();
        ((word(&line, "day"), word(&line, "key")), (word(&line, "value"), values))
    };
    lines.lines().map(read).collect()
}

/// Three phones, every kind of entry, amendments at odds, a void, text of many scripts, and a second day.
fn a_days_work() -> Phone {
    let mut base = Phone::new("Lead");
    let (mut one, mut two) = (Phone::new("Obs1"), Phone::new("Obs2"));
    for line in include_str!("../checks/entries.jsonl").lines() {
        let mut entry = map(serde_json::from_str(line).unwrap());
        entry.remove("id");
        one.write(Value::Object(entry));
    }
    let shared = one.write(strike(110));
    for note in ["Überm Grat", "雪崩 \u{1f9ba}", "line\nbreak \"quoted\" \\ \u{0}", "e\u{301} and é", " "]
    {
        two.write(json!({ "kind": "note", "note": note }));
    }
    two.merge(&one);
    one.book.amend(&[(one.day, shared)], &map(json!({ "depth_cm": 111 })), "Obs1").unwrap();
    two.book.amend(&[(two.day, shared)], &map(json!({ "depth_cm": 113.5, "note": "tape" })), "Obs2").unwrap();
    two.book.void(&[(two.day, shared)], Some("twice"), "Obs2").unwrap();
    base.merge(&one);
    base.merge(&two);
    let date = firnbook_tests::date().succ_opt().unwrap();
    base.book.begin_day(date, "Lower Bowl", "Lead").unwrap();
    base
}

#[test]
fn every_entry_and_register_is_read_by_another_program() {
    let base = a_days_work();
    let days: Vec<DayId> = base.book.days().unwrap().iter().map(|d| d.id).collect();
    assert_eq!(days.len(), 2);
    let pack = base.book.pack(&days).unwrap().bytes;
    let read = read_by_node(&pack);

    let mut expected = Read::new();
    for day in exchange::read(&pack).unwrap().1 {
        let mut put: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for text in day.content.changes.iter().flat_map(|c| &c.puts) {
            put.entry(text.key.clone()).or_default().push(text.text.clone());
        }
        for (key, live) in values(&day.content.changes) {
            let mut all = put.remove(&key.to_string()).unwrap();
            all.sort();
            // What a reader shows that does not look at what replaces what: here it is the value that counts.
            expected.insert((day.id.to_string(), key.to_string()), (live[0].text.clone(), all));
        }
        assert!(put.is_empty());
    }
    assert_eq!(read, expected);
    assert!(read.values().any(|(_, values)| values.len() == 2), "the amendments at odds stand side by side");

    let record = base.book.record(base.day).unwrap();
    assert_eq!(record.entries.len(), 22);
    for noted in record.entries.iter().filter(|e| e.unsettled.is_empty() && e.void.is_none()) {
        let (text, _) = &read[&(base.day.to_string(), noted.id.to_string())];
        assert_eq!(serde_json::from_str::<Value>(text).unwrap(), Value::Object(noted.json.clone()));
    }
}

/// An entry as another program would put it together from the page on the document of a day: the body, with what its registers say laid over it.
fn effective(read: &Read, day: &str, id: &str) -> Value {
    let standing = |key: &str| read.get(&(day.to_owned(), key.to_owned())).map(|(value, _)| json_of(value));
    let mut entry = map(standing(id).unwrap());
    for (_, key) in read.keys().filter(|(of, key)| of == day && key.starts_with(&format!("{id}/"))) {
        let field = &key[id.len() + 1..];
        if !["void", "body", "adopted"].contains(&field) {
            entry.insert(field.to_owned(), standing(key).unwrap()["v"].clone());
        }
    }
    Value::Object(entry)
}

fn json_of(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

#[test]
fn the_export_says_what_another_program_reads() {
    let world = World::played();
    world.run("pack --all -o @all.firn").ok();
    world.run("export --format jsonl --full -o @export").ok();
    let read = read_by_node(&std::fs::read(world.path("all.firn")).unwrap());
    let of_the_other_program =
        |(day, key): &(String, String)| (key.len() == 26).then(|| effective(&read, day, key));
    let expected: BTreeMap<String, Value> = read.keys().filter_map(of_the_other_program).map(by_id).collect();

    let mut exported = BTreeMap::new();
    for file in std::fs::read_dir(world.path("export")).unwrap().map(|f| f.unwrap().path()) {
        if file.extension().is_some_and(|e| e == "jsonl") {
            let entries = std::fs::read_to_string(&file).unwrap();
            let entries = entries.lines().map(json_of).filter(|e| e.get("id").is_some());
            exported.extend(entries.map(|mut entry| {
                entry.as_object_mut().unwrap().shift_remove("day");
                by_id(entry)
            }));
        }
    }
    assert!(expected.len() > 100, "{}", expected.len());
    assert_eq!(exported, expected);
}

fn by_id(entry: Value) -> (String, Value) {
    (entry["id"].as_str().unwrap().to_owned(), entry)
}
