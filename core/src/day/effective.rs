//! From what was written to what stands: one entry's bodies and registers folded into a [`Noted`].

use super::identity::{DeviceId, sha256_hex};
use super::key::Key;
use super::record::{ClockName, Noted, Registers, Saying, disagree};
use crate::entry::{Entry, EntryId};
use serde_json::{Map, Value};
use std::ops::Bound;

/// A body as some device wrote it.
#[derive(Clone, Debug, PartialEq)]
pub struct Body {
    /// The JSON text.
    pub text: String,
    /// The device.
    pub device: DeviceId,
}

/// Folds the bodies of one id (the one that stands first) and what `registers` say of it.
///
/// Void wins over restore. Where writers disagree, the value that stands is the same on every device and the field is listed as unsettled.
#[must_use]
pub fn effective(id: EntryId, bodies: &[Body], registers: &Registers) -> Noted {
    let mut unsettled = Vec::new();
    let body = chosen_body(id, bodies, registers, &mut unsettled);
    let mut json = match serde_json::from_str(&body.text) {
        Ok(Value::Object(map)) => map,
        _ => Map::new(),
    };
    let clock =
        |json: &Map<String, Value>| json.get("clock").and_then(Value::as_str).unwrap_or_default().to_owned();
    let mut at_clock = ClockName { device: body.device, clock: clock(&json) };
    let amended = !json.is_empty() && amend(id, &mut json, registers, &mut unsettled, &mut at_clock);
    let text = if amended { Value::Object(json.clone()).to_string() } else { body.text.clone() };
    let (void, void_unsettled) = void(registers.all(&Key::Void(id)), &sha256_hex_of(&text));
    if void_unsettled {
        unsettled.push("void".to_owned());
    }
    // An id inside the body that is not the key would let one entry pass as another.
    let honest = json.get("id").and_then(Value::as_str) == Some(id.to_string().as_str());
    let entry = if honest { Entry::from_json(&json).ok() } else { None };
    Noted { id, entry, json, text, device: body.device, at_clock, void, unsettled }
}

fn sha256_hex_of(text: &str) -> impl Fn() -> String + '_ {
    move || sha256_hex(text.as_bytes())
}

fn chosen_body<'a>(
    id: EntryId,
    bodies: &'a [Body],
    registers: &Registers,
    unsettled: &mut Vec<String>,
) -> &'a Body {
    let Some((first, others)) = bodies.split_first() else { unreachable!("an entry has a body") };
    if others.iter().all(|b| b.text == first.text) {
        return first;
    }
    let said = registers.all(&Key::Body(id));
    if said.is_empty() || disagree(said) {
        unsettled.push("body".to_owned());
    }
    let wanted = said.first().and_then(|s| s.v.as_str());
    bodies.iter().find(|b| wanted == Some(&super::identity::short_code(&b.text))).unwrap_or(first)
}

fn amend(
    id: EntryId,
    json: &mut Map<String, Value>,
    registers: &Registers,
    unsettled: &mut Vec<String>,
    at_clock: &mut ClockName,
) -> bool {
    let from = Bound::Included(Key::Field(id, String::new()));
    let mut amended = false;
    for (key, said) in registers.0.range((from, Bound::Unbounded)) {
        let Key::Field(of, field) = key else { break };
        let (true, Some(stands)) = (*of == id, said.first()) else { break };
        amended = true;
        if disagree(said) {
            unsettled.push(field.clone());
        }
        if field == "at" {
            *at_clock = ClockName { device: stands.device, clock: stands.clock.clone() };
        }
        if stands.v.is_null() {
            json.shift_remove(field);
        } else {
            json.insert(field.clone(), stands.v.clone());
        }
    }
    amended
}

/// Whether an entry is struck out, and whether that needs a person: someone restored it at the same time, or it has changed since.
fn void(said: &[Saying], now: &dyn Fn() -> String) -> (Option<String>, bool) {
    let voids: Vec<&Saying> = said.iter().filter(|s| !s.v.is_null()).collect();
    let Some(stands) = voids.first() else { return (None, false) };
    let reason = stands.v.as_str().map_or_else(|| stands.v.to_string(), str::to_owned);
    let restored_too = voids.len() < said.len();
    let changed_since = voids.iter().all(|s| s.of.as_ref().is_some_and(|of| *of != now()));
    (Some(reason), restored_too || changed_since)
}
