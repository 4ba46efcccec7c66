//! Days for the tests of insight, from JSON lines as short as a person can check by hand.

use crate::day::{Body, DayId, DeviceId, Key, Record, Registers, Saying, effective};
use crate::entry::{EntryId, Time};
use serde_json::{Map, Value, json};

/// A day in an invented place. A line needs no `id`; `at` may be a time of day; `by` is Obs1 unless said.
pub(crate) fn record(lines: &str) -> Record {
    record_with(lines, &[])
}

/// As [`record`], with registers: key and value. `#3` in a key stands for the id of the third line.
pub(crate) fn record_with(lines: &str, registers: &[(&str, Value)]) -> Record {
    let date = "2027-02-06";
    let mut bodies: Vec<(EntryId, Map<String, Value>)> = Vec::new();
    for (n, line) in lines.lines().map(str::trim).filter(|l| !l.is_empty()).enumerate() {
        let mut map: Map<String, Value> =
            serde_json::from_str(line).unwrap_or_else(|e| panic!("{line}: {e}"));
        for field in ["at", "ended_at", "joined_at", "left_at"] {
            if let Some(clock) = map.get(field).and_then(Value::as_str).filter(|t| !t.contains('T')) {
                map.insert(field.to_owned(), json!(format!("{date}T{clock}+01:00")));
            }
        }
        let at = Time::parse(map["at"].as_str().unwrap()).unwrap();
        let mut random = [0; 10];
        random[8..].copy_from_slice(&(n as u16 + 1).to_be_bytes());
        let id = EntryId::new(at.millis(), random);
        map.insert("id".to_owned(), json!(id.to_string()));
        map.entry("by").or_insert_with(|| json!("Obs1"));
        bodies.push((id, map));
    }
    let mut said = Registers::default();
    for (key, value) in registers {
        let mut key = (*key).to_owned();
        for (n, (id, _)) in bodies.iter().enumerate().rev() {
            key = key.replace(&format!("#{}", n + 1), &id.to_string());
        }
        let text = json!({"v": value, "by": "Lead", "at": "2027-02-06T18:00:00.000+01:00"}).to_string();
        let key = match key.split_once('~') {
            Some((a, b)) => Key::same(a.parse().unwrap(), b.parse().unwrap()),
            None => Key::read(&key),
        };
        assert!(!matches!(key, Key::Other(_)), "{key}");
        said.0.entry(key).or_default().push(Saying::read(&text, DeviceId([9; 16])));
    }
    let mut entries: Vec<_> = bodies
        .iter()
        .map(|(id, map)| {
            let by = map["by"].as_str().unwrap();
            let device = DeviceId([by.bytes().fold(7, u8::wrapping_add); 16]);
            effective(*id, &[Body { text: Value::Object(map.clone()).to_string(), device }], &said)
        })
        .collect();
    assert!(entries.iter().all(|e| e.entry.is_some() || e.json["kind"] == "unheard_of"));
    entries.sort_by_key(|e| (e.at(), e.id));
    let date = date.parse().unwrap();
    Record {
        id: DayId::of(date, "Upper Bowl"),
        date,
        area: "Upper Bowl".to_owned(),
        entries,
        registers: said,
    }
}
