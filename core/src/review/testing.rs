//! Days for the tests of review, put together from bodies and registers as a store does it.

use super::{Ground, Item, OneEvent, kit, review};
use crate::clock::{Clocks, RawClocks};
use crate::day::{Body, DayId, DeviceId, Key, Record, Registers, Saying, effective};
use crate::entry::EntryId;
use chrono::NaiveDate;
use serde_json::Value;
use std::collections::BTreeMap;

/// Id number `n` of a test.
pub fn id(n: u8) -> EntryId {
    EntryId::new(1_802_000_000_000, [0, 0, 0, 0, 0, 0, 0, 0, 0, n])
}

/// A line of JSON: entry `n` on 6 February 2027.
pub fn entry(n: u8, by: &str, at: &str, kind: &str, fields: &str) -> String {
    let comma = if fields.is_empty() { "" } else { "," };
    let id = id(n);
    format!(r#"{{"id":"{id}","kind":"{kind}","at":"2027-02-06T{at}.000+01:00","by":"{by}"{comma}{fields}}}"#)
}

/// The day 6 February 2027 in the Upper Bowl with these entries; each writer has a device.
pub fn day(lines: &[String]) -> Record {
    day_with(lines, &[])
}

/// A day with registers: (key, the values of concurrent writers).
pub fn day_with(lines: &[String], registers: &[(&str, &[&str])]) -> Record {
    day_of("2027-02-06", "Upper Bowl", lines, registers)
}

/// A day of any date and area.
pub fn day_of(date: &str, area: &str, lines: &[String], registers: &[(&str, &[&str])]) -> Record {
    let mut bodies: BTreeMap<EntryId, Vec<Body>> = BTreeMap::new();
    for line in lines {
        let json: Value = serde_json::from_str(line).unwrap();
        let mut device = [0; 16];
        for (to, from) in device.iter_mut().zip(json["by"].as_str().unwrap().bytes()) {
            *to = from;
        }
        let of = bodies.entry(json["id"].as_str().unwrap().parse().unwrap()).or_default();
        of.push(Body { text: line.clone(), device: DeviceId(device) });
        of.sort_by(|a, b| a.text.cmp(&b.text));
    }
    let said = |values: &&[&str]| -> Vec<Saying> {
        let device = |n: usize| DeviceId([u8::try_from(n).unwrap(); 16]);
        values.iter().enumerate().map(|(n, v)| Saying::read(v, device(n))).collect()
    };
    let mut registers = Registers(registers.iter().map(|(k, v)| (Key::read(k), said(v))).collect());
    let mut entries: Vec<_> = bodies.iter().map(|(id, b)| effective(*id, b, &registers)).collect();
    for (id, several) in bodies.iter().filter(|(_, b)| b.len() > 1) {
        let said = several.iter().map(|b| Saying::read(&b.text, b.device)).collect();
        registers.0.insert(Key::Entry(*id), said);
    }
    entries.sort_by_key(|n| (n.at().map(|at| at.millis()), n.id));
    let date: NaiveDate = date.parse().unwrap();
    Record { id: DayId::of(date, area), date, area: area.to_owned(), entries, registers }
}

/// The doubts of a day.
pub fn doubts(record: &Record, clocks: &dyn Clocks) -> Vec<Item> {
    let ground = Ground::of(record, clocks);
    super::doubt::items(&ground, &OneEvent::of(&ground))
}

/// Every item of a day alone, by clocks that are taken at their word.
pub fn items(record: &Record) -> Vec<Item> {
    let ground = Ground::of(record, &RawClocks);
    review(&ground, &OneEvent::of(&ground), &kit(&[record]), &[])
}
