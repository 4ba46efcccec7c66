//! Conflicts: people who did not know of one another put different things into one field, pair or label. Every one has the key of the register
//! that settles it. How the area is spelled and who closed the day are never items.

use super::ground::{Ground, listed};
use super::item::{Item, ItemValue, Sort, distinct};
use crate::day::{Groups, Key, Noted, Record, Thing, disagree, short_code};
use crate::entry::{Body, EntryId, LabelClass, kind};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// The conflicts of a day, in the order of their keys.
pub(super) fn items(ground: &Ground<'_>) -> Vec<Item> {
    let record = ground.record;
    let mut found: BTreeMap<Key, Item> = BTreeMap::new();
    for noted in &record.entries {
        for field in &noted.unsettled {
            let (key, item) = of_entry(ground, noted, field);
            found.extend(item.map(|item| (key, item)));
        }
    }
    let things = &ground.things;
    let drills = things.drills.iter().map(|(d, thing)| (LabelClass::Drill, vec![d.clone()], thing));
    let targets =
        things.targets.iter().map(|((d, t), thing)| (LabelClass::Target, vec![d.clone(), t.clone()], thing));
    let people = things.people.iter().map(|(p, thing)| (LabelClass::Person, vec![p.clone()], thing));
    for (class, path, thing) in drills.chain(targets).chain(people) {
        for field in thing.unsettled.keys() {
            let key = Key::Declared(class, path.clone(), field.clone());
            let item = declared(ground, &key, class, thing, field);
            found.insert(key, item);
        }
    }
    for (key, _) in record.registers.0.iter().filter(|(_, said)| disagree(said)) {
        let says = match key {
            Key::Same(a, b) => format!("{}: one event, or two?", both(ground, *a, *b)),
            Key::Accept(id, code) => format!("{}: is the doubt \"{code}\" true?", ground.tell_id(*id)),
            Key::Alias(class, path) => {
                format!("which {} is meant by {}?", class.word(), path.last().map_or("", String::as_str))
            }
            _ => continue,
        };
        found.insert(key.clone(), of_register(ground, key, says));
    }
    for (a, b) in contradictions(record) {
        let key = Key::same(a, b);
        let says =
            format!("{}: each is called one event with others that were called two", both(ground, a, b));
        found.entry(key.clone()).or_insert_with(|| of_register(ground, &key, says));
    }
    found.into_values().collect()
}

/// The conflict in one field of an entry; `None` where it is struck out or where the thing it declares has the conflict.
fn of_entry(ground: &Ground<'_>, noted: &Noted, field: &str) -> (Key, Option<Item>) {
    let id = noted.id;
    let told = ground.tell(noted);
    match field {
        "void" => {
            let key = Key::Void(id);
            let reason = noted.void.as_deref().unwrap_or_default();
            let says = format!(
                "{told} was struck out (\"{reason}\") while someone restored or changed it: does it count?"
            );
            let mut item = of_register(ground, &key, says);
            item.values = distinct(item.values.into_iter().chain([ItemValue::plain(Value::Null)]));
            (key, Some(item))
        }
        _ if noted.void.is_some() => (Key::Void(id), None),
        "body" => {
            let key = Key::Body(id);
            let mut item = of_register(
                ground,
                &key,
                format!("two different entries carry the id of {told}: which counts?"),
            );
            let said = ground.record.registers.all(&Key::Entry(id));
            item.values = distinct(said.iter().map(|s| ItemValue {
                value: serde_json::from_str(&s.text).unwrap_or_else(|_| Value::from(s.text.as_str())),
                code: short_code(&s.text),
                ..ItemValue::said(s)
            }));
            (key, Some(item))
        }
        _ => {
            let key = Key::Field(id, field.to_owned());
            let item =
                (!declares(noted, field)).then(|| of_register(ground, &key, format!("{field} of {told}")));
            (key, item.map(asks_which))
        }
    }
}

/// Whether this field belongs to the drill, target or person that the entry declares.
fn declares(noted: &Noted, field: &str) -> bool {
    let Some(entry) = &noted.entry else { return false };
    let thing = match &entry.body {
        Body::Drill(_) => true,
        Body::Target(_) => entry.common.drill.is_some(),
        Body::Person(_) => entry.common.drill.is_none(),
        _ => false,
    };
    let common =
        kind(entry.body.kind()).is_some_and(|k| k.fields.iter().any(|f| f.common && f.name == field));
    thing && !common
}

fn declared(ground: &Ground<'_>, key: &Key, class: LabelClass, thing: &Thing, field: &str) -> Item {
    let said = ground.record.registers.all(key);
    let values = if disagree(said) {
        distinct(said.iter().map(ItemValue::said))
    } else {
        distinct(
            thing
                .declared_by
                .iter()
                .filter_map(|id| ground.noted(*id))
                .flat_map(|n| written(ground, n, field)),
        )
    };
    let says = format!("{field} of {} {}", class.word(), thing.label);
    let mut item = Item::new(key, Sort::Conflict, ground.record.id, says);
    item.entries.clone_from(&thing.declared_by);
    item.field = Some(field.to_owned());
    item.ask = ground.people(values.iter().filter_map(|v| v.by.as_deref()));
    item.values = values;
    asks_which(item)
}

/// What one entry says about a field of the thing it declares; several values where amendments of it disagree.
fn written(ground: &Ground<'_>, noted: &Noted, field: &str) -> Vec<ItemValue> {
    if !declares(noted, field) {
        return Vec::new();
    }
    if noted.unsettled.iter().any(|f| f == field) {
        let key = Key::Field(noted.id, field.to_owned());
        return ground.record.registers.all(&key).iter().map(ItemValue::said).collect();
    }
    let value = noted.json.get(field).filter(|v| !v.is_null());
    let wrote = |v: &Value| ItemValue {
        device: Some(noted.device),
        by: super::ground::writer(noted).map(str::to_owned),
        at: noted.at(),
        ..ItemValue::plain(v.clone())
    };
    value.map(wrote).into_iter().collect()
}

/// An item with what stands in its register; whoever wrote there or wrote the entries may know.
fn of_register(ground: &Ground<'_>, key: &Key, says: String) -> Item {
    let values = distinct(ground.record.registers.all(key).iter().map(ItemValue::said));
    let entries: Vec<EntryId> = match key {
        Key::Same(a, b) => vec![*a, *b],
        other => other.entry().into_iter().collect(),
    };
    let field = match key {
        Key::Field(_, field) => Some(field.clone()),
        Key::Void(_) => Some("void".to_owned()),
        Key::Body(_) => Some("body".to_owned()),
        _ => None,
    };
    let mut ask = ground.writers(&entries);
    ask.extend(ground.people(values.iter().filter_map(|v| v.by.as_deref())));
    let ask = ground.people(ask.iter().map(String::as_str));
    Item { entries, field, values, ask, ..Item::new(key, Sort::Conflict, ground.record.id, says) }
}

fn asks_which(mut item: Item) -> Item {
    let value = |v: &ItemValue| {
        let shown = match &v.value {
            Value::Null => "nothing".to_owned(),
            Value::String(text) => text.clone(),
            other => other.to_string(),
        };
        v.by.as_ref().map_or_else(|| shown.clone(), |by| format!("{shown} by {by}"))
    };
    let values: Vec<String> = item.values.iter().map(value).collect();
    item.says = format!("{}: {}: which is right?", item.says, listed(&values));
    item
}

fn both(ground: &Ground<'_>, a: EntryId, b: EntryId) -> String {
    format!("{} and {}", ground.tell_id(a), ground.tell_id(b))
}

/// Pairs that can't all be right: one called two events, and the chain of pairs called one that joins them all the same.
fn contradictions(record: &Record) -> BTreeSet<(EntryId, EntryId)> {
    let groups = Groups::of(record);
    if groups.contradictions.is_empty() {
        return BTreeSet::new();
    }
    let mut same: BTreeMap<EntryId, BTreeSet<EntryId>> = BTreeMap::new();
    for (key, said) in &record.registers.0 {
        if let (Key::Same(a, b), Some(Value::Bool(true))) = (key, said.first().map(|s| &s.v)) {
            same.entry(*a).or_default().insert(*b);
            same.entry(*b).or_default().insert(*a);
        }
    }
    groups
        .contradictions
        .iter()
        .flat_map(|(a, b)| chain(&same, *a, *b).into_iter().chain([(*a, *b)]))
        .collect()
}

/// The shortest chain of pairs from `a` to `b`.
fn chain(same: &BTreeMap<EntryId, BTreeSet<EntryId>>, a: EntryId, b: EntryId) -> Vec<(EntryId, EntryId)> {
    let mut came_from: BTreeMap<EntryId, EntryId> = BTreeMap::new();
    let mut queue = VecDeque::from([a]);
    while let Some(at) = queue.pop_front() {
        if at == b {
            break;
        }
        for next in same.get(&at).into_iter().flatten() {
            if *next != a && !came_from.contains_key(next) {
                came_from.insert(*next, at);
                queue.push_back(*next);
            }
        }
    }
    let mut pairs = Vec::new();
    let mut at = b;
    while let Some(before) = came_from.get(&at) {
        pairs.push((at.min(*before), at.max(*before)));
        at = *before;
    }
    pairs
}

#[cfg(test)]
mod tests {
    use super::super::testing::{day, day_with, entry, id};
    use super::*;
    use crate::clock::RawClocks;

    fn conflicts(record: &Record) -> Vec<Item> {
        items(&Ground::of(record, &RawClocks))
    }

    fn keys(record: &Record) -> Vec<String> {
        conflicts(record).into_iter().map(|i| i.item).collect()
    }

    fn drill(n: u8, by: &str, slope: u8) -> String {
        entry(n, by, "10:00:00", "drill", &format!(r#""label":"1","slope_deg":{slope}"#))
    }

    #[test]
    fn two_amendments_of_one_field_are_a_conflict_unless_they_agree() {
        let strike = entry(1, "Obs1", "10:05:00", "strike", r#""drill":"1","target":"A","depth_cm":110"#);
        let key = format!("{}/depth_cm", id(1));
        let (a, b) = (r#"{"v":112,"by":"Lead"}"#, r#"{"v":115,"by":"Obs2"}"#);
        let found = conflicts(&day_with(std::slice::from_ref(&strike), &[(&key, &[a, b])]));
        assert_eq!(found.len(), 1);
        let item = &found[0];
        assert_eq!(
            (item.item.as_str(), item.field.as_deref(), item.values.len()),
            (key.as_str(), Some("depth_cm"), 2)
        );
        assert_eq!(item.ask, ["Lead", "Obs1", "Obs2"]);
        assert_eq!(
            item.says,
            "depth_cm of strike of target A in drill 1 (Obs1, 10:05:00): 112 by Lead and 115 by Obs2: which is right?"
        );
        let agreed = r#"{"v":112.0,"by":"Obs2"}"#;
        assert!(keys(&day_with(&[strike], &[(&key, &[a, agreed])])).is_empty());
    }

    #[test]
    fn a_thing_has_one_conflict_however_it_came() {
        let lines = [drill(1, "Lead", 30), drill(2, "Obs1", 31), drill(3, "Obs2", 31)];
        let found = conflicts(&day(&lines));
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].item.as_str(), found[0].values.len()), ("drill:1/slope_deg", 2));
        assert_eq!(found[0].says, "slope_deg of drill 1: 30 by Lead and 31 by Obs1: which is right?");
        let settled: (&str, &[&str]) = ("drill:1/slope_deg", &[r#"{"v":31}"#]);
        assert!(keys(&day_with(&lines, &[settled])).is_empty());
        let again: (&str, &[&str]) = ("drill:1/slope_deg", &[r#"{"v":31}"#, r#"{"v":30}"#]);
        assert_eq!(keys(&day_with(&lines, &[again])), ["drill:1/slope_deg"]);
        let amended = format!("{}/slope_deg", id(1));
        let amended: (&str, &[&str]) = (&amended, &[r#"{"v":32}"#, r#"{"v":33}"#]);
        let found = conflicts(&day_with(&lines[..1], &[amended]));
        assert_eq!((found.len(), found[0].item.as_str(), found[0].values.len()), (1, "drill:1/slope_deg", 2));
    }

    #[test]
    fn void_against_restore_and_void_of_what_changed_since() {
        let note = entry(1, "Obs1", "10:05:00", "note", r#""note":"wind""#);
        let key = format!("{}/void", id(1));
        let record = day_with(std::slice::from_ref(&note), &[(&key, &[r#"{"v":"typo"}"#, r#"{"v":null}"#])]);
        assert_eq!(conflicts(&record)[0].values.len(), 2);
        let stale: &[&str] = &[r#"{"v":"typo","of":"00"}"#];
        let found = conflicts(&day_with(std::slice::from_ref(&note), &[(&key, stale)]));
        assert_eq!((found[0].item.as_str(), found[0].values.len()), (key.as_str(), 2));
        let field = format!("{}/note", id(1));
        let record =
            day_with(&[note], &[(&key, &[r#"{"v":"typo"}"#]), (&field, &[r#"{"v":"a"}"#, r#"{"v":"b"}"#])]);
        assert!(keys(&record).is_empty(), "fields of a struck-out entry need nobody");
    }

    #[test]
    fn two_bodies_of_one_id() {
        let lines = [
            entry(1, "Obs1", "10:05:00", "note", r#""note":"wind""#),
            entry(1, "Obs2", "10:06:00", "note", r#""note":"snow""#),
        ];
        let found = conflicts(&day(&lines));
        let codes: Vec<&str> = found[0].values.iter().map(|v| v.code.as_str()).collect();
        assert_eq!(found[0].item, format!("{}/body", id(1)));
        assert_eq!(codes, [short_code(&lines[0]), short_code(&lines[1])]);
        let settled = format!(r#"{{"v":"{}"}}"#, codes[1]);
        let key = format!("{}/body", id(1));
        assert!(keys(&day_with(&lines, &[(&key, &[&settled])])).is_empty());
    }

    #[test]
    fn pairs_aliases_and_accepted_doubts_can_be_disputed_and_the_area_cannot() {
        let pair = format!("{}~{}", id(1), id(2));
        let accept = format!("{}!order", id(1));
        let two: &[&str] = &[r#"{"v":true}"#, r#"{"v":false}"#];
        let names: &[&str] = &[r#"{"v":"A"}"#, r#"{"v":"B"}"#];
        let record = day_with(
            &[],
            &[(&pair, two), (&accept, two), ("alias:target:1:anna", names), ("day/area", names)],
        );
        assert_eq!(keys(&record), [pair.clone(), accept.clone(), "alias:target:1:anna".to_owned()]);
    }

    #[test]
    fn a_false_inside_a_group_called_same_shows_all_pairs_that_clash() {
        let pair = |a: u8, b: u8| format!("{}~{}", id(a), id(b));
        let (yes, no): (&[&str], &[&str]) = (&[r#"{"v":true}"#], &[r#"{"v":false}"#]);
        let (p12, p23, p13, p45) = (pair(1, 2), pair(2, 3), pair(1, 3), pair(4, 5));
        let record = day_with(&[], &[(&p12, yes), (&p23, yes), (&p13, no), (&p45, yes)]);
        assert_eq!(keys(&record), [p12.clone(), p13.clone(), p23.clone()]);
        assert!(keys(&day_with(&[], &[(&p12, yes), (&p13, no), (&p23, no)])).is_empty());
    }
}
