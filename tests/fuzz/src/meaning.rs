//! Changes altered by what they say, in the form that readers take: so more inputs come past the readers to what follows.

use crate::alter::Alter;
use crate::chunk::bounds;
use crate::library;
use crate::rogue::{Rogue, ulid};
use crate::sign::KNOWN;
use firnbook_core::crew::hex;
use firnbook_core::day::format::{Put, ReadDocument, encode, read_change, read_document};
use firnbook_core::day::{Actor, Beginning, Change, Document, Hash, History};
use serde_json::{Value, json};

/// Alters what a change or a document says; `None` where it is neither, or can't be put together any more.
#[must_use]
pub fn altered(day: [u8; 16], bytes: &[u8], alter: &mut Alter) -> Option<Vec<u8>> {
    if let Ok(change) = read_change(day, bytes) {
        return Some(alter_change(day, change, alter).bytes);
    }
    let ReadDocument { first, mut changes, .. } = read_document(day, bytes, &bounds()).ok()?;
    let mut renamed = Vec::new();
    for _ in 0..=alter.roll(2) {
        let at = alter.roll(changes.len());
        match changes.get(at).cloned() {
            Some(change) if alter.roll(4) > 0 => {
                let before = change.hash;
                changes[at] = alter_change(day, change, alter);
                renamed.push((before, changes[at].hash));
            }
            // The same place in a history is taken twice.
            Some(change) if alter.roll(2) == 0 => changes.push(alter_change(day, change, alter)),
            _ => alter.list(&mut changes),
        }
    }
    for change in &mut changes {
        let before = change.hash;
        *change = named_again(day, change, &renamed);
        if change.hash != before {
            renamed.push((before, change.hash));
        }
    }
    let beginning = Beginning::of(first.date.parse().ok()?, &first.area);
    library(|| Document::of(&beginning, &changes).ok().map(|document| document.save())).flatten()
}

/// The change, where it depends on or replaces what has another hash now.
fn named_again(day: [u8; 16], change: &Change, renamed: &[(Hash, Hash)]) -> Change {
    let mut again = change.clone();
    for (old, new) in renamed {
        again.deps.iter_mut().filter(|dep| *dep == old).for_each(|dep| *dep = *new);
        for put in &mut again.puts {
            put.text = put.text.replace(&hex(old), &hex(new));
        }
    }
    encoded(day, again)
}

fn encoded(day: [u8; 16], change: Change) -> Change {
    let Change { actor, seq, start_op, mut deps, puts, .. } = change;
    deps.sort_unstable();
    deps.dedup();
    encode(day, actor, seq, start_op, deps, puts)
}

fn alter_change(day: [u8; 16], mut change: Change, alter: &mut Alter) -> Change {
    let history = Actor(change.actor).history();
    let at = alter.roll(change.puts.len());
    let near = |number: u32, alter: &mut Alter| (number + alter.roll(3) as u32).saturating_sub(1);
    match alter.roll(16) {
        0 => change.seq = near(change.seq, alter),
        1 => change.start_op = near(change.start_op, alter),
        2 => change.actor = Rogue::new(known(alter)).actor(history).0,
        3 => alter.list(&mut change.deps),
        4 => alter.list(&mut change.puts),
        5 => change.puts.push(Put { key: key(history, alter), text: text(alter) }),
        6..=8 => change.puts[at].key = key(history, alter),
        9 => change.puts[at].text = text(alter),
        _ => alter_text(&mut change.puts[at].text, alter),
    }
    encoded(day, change)
}

/// The number of a key that the fuzzer may sign with.
fn known(alter: &mut Alter) -> u8 {
    KNOWN.start() + alter.roll(KNOWN.count()) as u8
}

/// One of the ids that entries of these tests have, mostly of an entry of the device with this number.
fn id(alter: &mut Alter) -> String {
    let device = [0, 1, 2, 100, 101][alter.roll(5)];
    ulid(device * 100 + alter.roll(4))
}

fn key(history: History, alter: &mut Alter) -> String {
    if history == History::Entries {
        return id(alter);
    }
    let (one, other) = (id(alter), id(alter));
    match alter.roll(12) {
        0 => format!("{one}/void"),
        1 => format!("{one}/body"),
        2 => format!("{one}/adopted"),
        3 => format!("{}~{}", one.clone().min(other.clone()), one.max(other)),
        4 => format!("{one}!order"),
        5 => "drill:1/slope_deg".to_owned(),
        6 => "target:1:a/set_depth_cm".to_owned(),
        7 => "alias:target:1:a".to_owned(),
        8 => "day/area".to_owned(),
        9 => format!("day/closed:{}", Rogue::new(known(alter)).device()),
        10 => format!(
            "{one}/{}",
            ["drill", "target", "outcome", "at", "by", "note", "kind", "id"][alter.roll(8)]
        ),
        _ => format!("{one}/depth_cm"),
    }
}

fn text(alter: &mut Alter) -> String {
    let id = id(alter);
    match alter.roll(6) {
        0 => String::new(),
        1 => value(alter).to_string(),
        2 => json!({ "v": value(alter), "by": "Rogue" }).to_string(),
        3 => json!({ "id": id, "kind": "strike", "by": "Rogue", "depth_cm": value(alter) }).to_string(),
        4 => json!({ "id": id, "kind": "note", "topic": "general", "note": "x" }).to_string(),
        _ => "{\"v\":1,\"v\":2}".to_owned(),
    }
}

fn value(alter: &mut Alter) -> Value {
    match alter.roll(12) {
        0 => json!(null),
        1 => json!(0),
        2 => json!(-1),
        3 => json!(1e300),
        4 => json!(u64::MAX),
        5 => json!(""),
        6 => json!("\u{202e}a\u{0}"),
        7 => json!([[], {}]),
        8 => json!(true),
        9 => json!("2027-02-06T10:08:20.000+01:00"),
        10 => json!(id(alter)),
        _ => json!("1"),
    }
}

/// A field of the object becomes another, goes, or comes; or the text is altered as bytes.
fn alter_text(text: &mut String, alter: &mut Alter) {
    match serde_json::from_str(text) {
        Ok(Value::Object(mut object)) if alter.roll(8) > 0 => {
            let names: Vec<String> = object.keys().cloned().collect();
            match names.get(alter.roll(names.len() + 1)) {
                Some(name) if alter.roll(4) == 0 => drop(object.remove(name)),
                Some(name) => object[name] = value(alter),
                None => drop(object.insert("over".to_owned(), json!([hex(&[7; 32])]))),
            }
            *text = Value::Object(object).to_string();
        }
        _ => {
            let mut bytes = std::mem::take(text).into_bytes();
            alter.bytes(&mut bytes);
            *text = String::from_utf8_lossy(&bytes).into_owned();
        }
    }
}
