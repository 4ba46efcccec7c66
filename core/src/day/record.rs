//! A day as it stands: what review, insight and exports start from. Plain data, equal wherever the same changes are held.

use super::identity::{DayId, DeviceId, sha256_hex, short_code};
use super::key::Key;
use crate::entry::{Entry, EntryId, Time};
use chrono::NaiveDate;
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// One day: its entries with everything that was said about them since, and the registers.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// Identity.
    pub id: DayId,
    /// The date.
    pub date: NaiveDate,
    /// The area, as it is spelled.
    pub area: String,
    /// Every entry, in the order of (`at`, id); void and opaque ones too.
    pub entries: Vec<Noted>,
    /// Every register.
    pub registers: Registers,
}

/// An entry with what was said about it since it was written.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq)]
pub struct Noted {
    /// Identity.
    pub id: EntryId,
    /// The entry as this version reads it, amended; `None` if it can't be read (opaque).
    pub entry: Option<Entry>,
    /// The effective JSON object: the body with every amendment. For a body that is no JSON object, empty.
    pub json: Map<String, Value>,
    /// `json` as one text, as it is hashed.
    pub text: String,
    /// The device that wrote the body.
    pub device: DeviceId,
    /// The device and clock by which the effective `at` was read.
    pub at_clock: ClockName,
    /// Struck out, with the reason.
    pub void: Option<String>,
    /// Fields on which concurrent amendments disagree (the effective value is one of them, the same everywhere); `void` and `body` stand for the
    /// registers of these names.
    pub unsettled: Vec<String>,
}

/// A clock: whose, and which of that device's.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ClockName {
    /// The device.
    pub device: DeviceId,
    /// As in the common field `clock`; empty for the device's first.
    pub clock: String,
}

impl Noted {
    /// The entry, if it counts: readable and not struck out.
    #[must_use]
    pub fn counted(&self) -> Option<&Entry> {
        self.entry.as_ref().filter(|_| self.void.is_none())
    }

    /// SHA-256 of the effective entry: what a void says it has seen.
    #[must_use]
    pub fn seen_hash(&self) -> String {
        sha256_hex(self.text.as_bytes())
    }

    /// The instant of the entry where it can be read, opaque entries included.
    #[must_use]
    pub fn at(&self) -> Option<Time> {
        match &self.entry {
            Some(entry) => Some(entry.common.at),
            None => self.json.get("at").and_then(Value::as_str).and_then(|t| Time::parse(t).ok()),
        }
    }
}

/// Every register of a day: what concurrent writers say, the one that stands first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Registers(pub BTreeMap<Key, Vec<Saying>>);

/// What one writer put into a register.
#[derive(Clone, Debug, PartialEq)]
pub struct Saying {
    /// The value.
    pub v: Value,
    /// Call sign of the writer; empty where a newer version wrote it in another way.
    pub by: String,
    /// When, by the clock that `clock` names.
    pub at: Option<Time>,
    /// As the common field `clock` of entries.
    pub clock: String,
    /// The device that wrote it.
    pub device: DeviceId,
    /// For a void: the hash of the effective entry that was seen.
    pub of: Option<String>,
    /// The whole, as written.
    pub text: String,
}

impl Saying {
    /// Reads what stands in a register; a text of another form counts as a value that nobody signed.
    #[must_use]
    pub fn read(text: &str, device: DeviceId) -> Saying {
        let map = match serde_json::from_str(text) {
            Ok(Value::Object(map)) => map,
            _ => Map::new(),
        };
        let word = |key: &str| map.get(key).and_then(Value::as_str);
        Saying {
            v: map.get("v").cloned().unwrap_or(Value::Null),
            by: word("by").unwrap_or_default().to_owned(),
            at: word("at").and_then(|t| Time::parse(t).ok()),
            clock: word("clock").unwrap_or_default().to_owned(),
            of: word("of").map(str::to_owned),
            device,
            text: text.to_owned(),
        }
    }

    /// The short code of the value, as a person types it after `--keep`.
    #[must_use]
    pub fn code(&self) -> String {
        short_code(&canonical(&self.v))
    }
}

impl Registers {
    /// What stands in a register: the value that is the same everywhere, in conflict or not.
    #[must_use]
    pub fn get(&self, key: &Key) -> Option<&Saying> {
        self.0.get(key).and_then(|s| s.first())
    }

    /// Everything that concurrent writers put into a register.
    #[must_use]
    pub fn all(&self, key: &Key) -> &[Saying] {
        self.0.get(key).map_or(&[], Vec::as_slice)
    }
}

/// Whether concurrent writers disagree: their values differ as parsed JSON.
#[must_use]
pub fn disagree(sayings: &[Saying]) -> bool {
    sayings.windows(2).any(|pair| !json_equal(&pair[0].v, &pair[1].v))
}

/// Equality of parsed JSON: the order of keys and the spelling of a number (110, 110.0) do not count.
#[must_use]
pub fn json_equal(a: &Value, b: &Value) -> bool {
    canonical(a) == canonical(b)
}

/// One text for all spellings of a JSON value: keys sorted, numbers in their shortest form.
#[must_use]
pub fn canonical(value: &Value) -> String {
    match value {
        Value::Object(map) => {
            let mut keys: Vec<_> = map.iter().collect();
            keys.sort_by_key(|(k, _)| *k);
            let inner: Vec<String> =
                keys.iter().map(|(k, v)| format!("{}:{}", Value::from(k.as_str()), canonical(v))).collect();
            format!("{{{}}}", inner.join(","))
        }
        Value::Array(list) => format!("[{}]", list.iter().map(canonical).collect::<Vec<_>>().join(",")),
        Value::Number(n) => match n.as_f64() {
            Some(f) if f.abs() < 9e15 => f.to_string(),
            _ => n.to_string(),
        },
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn json_is_equal_whatever_its_spelling() {
        assert!(json_equal(&json!({"a": 1, "b": [1.0]}), &json!({"b": [1], "a": 1.0})));
        assert!(!json_equal(&json!("1"), &json!(1)));
        assert!(!json_equal(&json!(null), &json!(false)));
        assert!(!json_equal(&json!(9_007_199_254_740_993_u64), &json!(9_007_199_254_740_992_u64)));
    }

    #[test]
    fn a_register_of_another_form_is_kept() {
        let saying = Saying::read("sunny", DeviceId([0; 16]));
        assert_eq!((saying.v, saying.text.as_str()), (Value::Null, "sunny"));
    }
}
