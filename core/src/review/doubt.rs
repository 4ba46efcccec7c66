//! Doubts: what is written and implausible. Each has a code word, so that it can be accepted as true (register `ULID!code`) and then rests.
//!
//! Here are those that one entry shows by itself; steps and turns stand in `steps`, labels that nobody declared in `labels`,
//! clocks that nobody compared in `clock`, what a removed device wrote in `removed`, what is held and does not count in `aside`. Opaque entries are
//! no doubt: they are counted and carried.

mod aside;
mod clock;
mod labels;
mod removed;
mod steps;

pub use aside::{Aside, set_aside};
pub use removed::after_removal;

use super::ground::Ground;
use super::item::{Item, Sort};
use super::twin::OneEvent;
use crate::day::{Key, Noted, Record, disagree};
use crate::entry::{Body, Entry, EntryId, Outcome, Time, check, kind};
use chrono::{NaiveTime, TimeDelta};
use serde_json::Value;
use std::collections::HashMap;

/// An entry may lie this far outside its day: a day that begins before midnight or ends after it is one day. Constant of the format.
const OUTSIDE: TimeDelta = TimeDelta::hours(12);

/// The doubts of a day that nobody accepted, in the order of the entries.
pub(super) fn items(ground: &Ground<'_>, one_event: &OneEvent) -> Vec<Item> {
    let record = ground.record;
    let mut found = Vec::new();
    for noted in &record.entries {
        match noted.counted() {
            Some(entry) => of_entry(ground, noted, entry, &mut found),
            None if noted.void.is_none() => found.extend(wrong_id(ground, noted)),
            None => {}
        }
    }
    found.extend(steps::doubts(ground, one_event));
    found.extend(labels::doubts(ground));
    found.extend(clock::doubts(ground));
    let at: HashMap<EntryId, usize> = record.entries.iter().enumerate().map(|(i, n)| (n.id, i)).collect();
    found.retain(|item| !is_accepted(record, &item.item));
    found.sort_by_cached_key(|i| (i.entries.first().and_then(|id| at.get(id)).copied(), i.item.clone()));
    found
}

/// Whether someone looked at the doubt of this key and called it true. Where people disagree about that, it is a conflict and no doubt.
fn is_accepted(record: &Record, key: &str) -> bool {
    let said = record.registers.all(&Key::read(key));
    disagree(said) || said.first().is_some_and(|s| s.v == Value::Bool(true))
}

/// The doubt `code` about entry `id`; the writer may know.
fn doubt(ground: &Ground<'_>, id: EntryId, code: &str, says: String) -> Item {
    let key = Key::Accept(id, code.to_owned());
    Item {
        entries: vec![id],
        ask: ground.writers(&[id]),
        ..Item::new(key, Sort::Doubt, ground.record.id, says)
    }
}

fn of_entry(ground: &Ground<'_>, noted: &Noted, entry: &Entry, found: &mut Vec<Item>) {
    let mut fields: Vec<String> = Vec::new();
    for fault in kind(entry.body.kind()).map(|k| check(k, &noted.json)).unwrap_or_default() {
        if fields.contains(&fault.field) {
            continue;
        }
        let word = if noted.json.get(&fault.field).is_none_or(Value::is_null) { "lacks" } else { "range" };
        let item = doubt(
            ground,
            noted.id,
            &format!("{word}:{}", fault.field),
            format!("{}: {fault}", ground.tell(noted)),
        );
        found.push(Item { field: Some(fault.field.clone()), ..item });
        fields.push(fault.field);
    }
    if matches!(&entry.body, Body::Strike(s) if s.outcome == Some(Outcome::Hit))
        && entry.common.target.is_none()
    {
        let says = format!(
            "{} is a hit, but of which target? Strike it out and write it anew with its target",
            ground.tell(noted)
        );
        found.push(doubt(ground, noted.id, "no_target", says));
    }
    if outside(ground, noted, entry) {
        let (at, date) = (entry.common.at, ground.record.date);
        let says = format!(
            "{} is at {at}, more than 12 h outside the day {date}: wrong clock, or wrong day (then move it)?",
            ground.tell(noted)
        );
        found.push(Item { field: Some("at".to_owned()), ..doubt(ground, noted.id, "outside_day", says) });
    }
}

/// More than 12 h before the day begins or after it ends, by the entry's own offset; a clock that is known to be off is corrected first. A
/// stopwatch tells no time of day.
fn outside(ground: &Ground<'_>, noted: &Noted, entry: &Entry) -> bool {
    let corrected =
        Time::from_millis(ground.clocks.at(noted).ms.round() as i64, entry.common.at.utc_offset_min());
    let at = corrected.unwrap_or(entry.common.at).datetime().naive_local();
    let begin = ground.record.date.and_time(NaiveTime::MIN);
    let (Some(first), Some(last)) =
        (begin.checked_sub_signed(OUTSIDE), begin.checked_add_signed(TimeDelta::days(1) + OUTSIDE))
    else {
        return false;
    };
    entry.common.clock.as_deref() != Some("stopwatch") && (at < first || at > last)
}

/// A body that names another id than the one it stands under can't be read as that entry.
fn wrong_id(ground: &Ground<'_>, noted: &Noted) -> Option<Item> {
    let id = noted.json.get("id").and_then(Value::as_str).unwrap_or_default();
    if noted.json.is_empty() || id == noted.id.to_string() {
        return None;
    }
    let says = format!("{} carries the id \"{id}\" inside, so it does not count", ground.tell(noted));
    Some(doubt(ground, noted.id, "id", says))
}

#[cfg(test)]
mod tests {
    use super::super::testing::{day, day_with, doubts, entry, id};
    use super::*;
    use crate::clock::RawClocks;

    pub(super) fn codes(record: &Record) -> Vec<String> {
        doubts(record, &RawClocks).into_iter().map(|i| i.item.split_once('!').unwrap().1.to_owned()).collect()
    }

    #[test]
    fn a_value_out_of_range_that_came_by_merge() {
        let lines =
            [entry(1, "Obs1", "10:00:00", "strike", r#""drill":"1","target":"A","depth_cm":-1,"holes":0"#)];
        let found = doubts(&day(&lines), &RawClocks);
        let depth = found.iter().find(|i| i.item == format!("{}!range:depth_cm", id(1))).unwrap();
        assert_eq!(depth.field.as_deref(), Some("depth_cm"));
        assert!(depth.says.contains("allowed is 0 to 1000 cm"), "{}", depth.says);
        let accepted = format!("{}!range:depth_cm", id(1));
        let rest = codes(&day_with(&lines, &[(&accepted, &[r#"{"v":true}"#])]));
        assert!(!rest.contains(&"range:depth_cm".to_owned()) && rest.contains(&"range:holes".to_owned()));
    }

    #[test]
    fn what_an_entry_needs_and_lacks() {
        let lines = [entry(1, "Obs1", "10:00:00", "depth", r#""drill":"1","depth_cm":90"#)];
        assert!(codes(&day(&lines)).contains(&"lacks:target".to_owned()));
    }

    #[test]
    fn a_hit_without_target() {
        let hit = |outcome: &str| {
            entry(1, "Obs1", "10:00:00", "strike", &format!(r#""drill":"1","outcome":"{outcome}""#))
        };
        assert!(codes(&day(&[hit("hit")])).contains(&"no_target".to_owned()));
        assert!(!codes(&day(&[hit("false_strike")])).contains(&"no_target".to_owned()));
    }

    #[test]
    fn the_day_ends_twelve_hours_after_midnight_in_the_entrys_own_offset() {
        let at = |at: &str| {
            vec![format!(r#"{{"id":"{}","kind":"note","at":"{at}","by":"Obs1","note":"x"}}"#, id(1))]
        };
        for inside in [
            "2027-02-05T12:00:00.000+01:00",
            "2027-02-07T12:00:00.000+01:00",
            "2027-02-07T12:00:00.000-10:00",
        ] {
            assert!(codes(&day(&at(inside))).is_empty(), "{inside}");
        }
        for outside in [
            "2027-02-05T11:59:59.999+01:00",
            "2027-02-07T12:00:00.001+01:00",
            "2027-02-07T12:00:00.001+14:00",
        ] {
            assert_eq!(codes(&day(&at(outside))), ["outside_day"], "{outside}");
        }
    }

    #[test]
    fn a_body_under_another_id() {
        let lie = entry(1, "Obs1", "10:00:00", "note", r#""note":"x""#);
        let mut record = day(std::slice::from_ref(&lie));
        record.entries[0] = crate::day::effective(
            id(2),
            &[crate::day::Body { text: lie, device: record.entries[0].device }],
            &record.registers,
        );
        assert_eq!(codes(&record), ["id"]);
    }

    #[test]
    fn opaque_and_void_entries_raise_no_doubt() {
        let opaque = entry(1, "Obs1", "10:00:00", "weather", r#""sky":"grey""#);
        let wrong = entry(2, "Obs1", "10:00:00", "strike", r#""drill":"1","target":"A","depth_cm":-1"#);
        let void = format!("{}/void", id(2));
        assert!(codes(&day_with(&[opaque, wrong], &[(&void, &[r#"{"v":"typo"}"#])])).is_empty());
    }
}
