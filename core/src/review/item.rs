//! One thing that needs a person: what it is called, what it says, whom to ask.

use crate::day::{DayId, DeviceId, Saying, canonical, short_code};
use crate::entry::{EntryId, Time};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// What sort of item it is, in the order in which people should look.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Sort {
    /// something that the day still lacks, kit in the snow first
    Missing,
    /// people wrote different things into one field
    Conflict,
    /// something implausible
    Doubt,
    /// two entries that seem to tell of one event
    Twin,
}

impl Sort {
    /// Every sort, in the order of the declaration.
    pub const ALL: [Sort; 4] = [Sort::Missing, Sort::Conflict, Sort::Doubt, Sort::Twin];

    /// The word that stands for it in JSON.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Sort::Missing => "missing",
            Sort::Conflict => "conflict",
            Sort::Doubt => "doubt",
            Sort::Twin => "twin",
        }
    }
}

/// Something that needs a person.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Item {
    /// The key of the register that settles it; what is missing has a key of the same form that no register has
    pub item: String,
    /// The short code of `item`: the same on every device and for ever
    pub code: String,
    /// What sort it is
    pub sort: Sort,
    /// The day it belongs to
    pub day: DayId,
    /// The entries it is about
    pub entries: Vec<EntryId>,
    /// The field it is about, if it is about one
    pub field: Option<String>,
    /// The values to choose from
    pub values: Vec<ItemValue>,
    /// What it is, in a sentence
    pub says: String,
    /// Call signs of those who may know
    pub ask: Vec<String>,
}

/// A value to choose from.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ItemValue {
    /// The value
    pub value: Value,
    /// Its short code, by which a verdict names it
    pub code: String,
    /// The device that wrote it
    pub device: Option<DeviceId>,
    /// Call sign of who wrote it
    pub by: Option<String>,
    /// When it was written
    pub at: Option<Time>,
}

/// Key prefix of what is missing.
pub(super) const MISSING: &str = "missing:";
/// Key prefix of kit that lies in the snow.
pub(super) const KIT: &str = "missing:kit:";

impl Item {
    pub(super) fn new(key: impl ToString, sort: Sort, day: DayId, says: String) -> Item {
        let item = key.to_string();
        let code = short_code(&item);
        Item { item, code, sort, day, entries: vec![], field: None, values: vec![], says, ask: vec![] }
    }

    /// Whether this is kit that lies in the snow: it comes before everything else.
    #[must_use]
    pub fn is_kit(&self) -> bool {
        self.item.starts_with(KIT)
    }

    /// The code word of a doubt, for example `order`; `None` of any other sort.
    #[must_use]
    pub fn doubt(&self) -> Option<&str> {
        let accepted = self.item.split_once('!').filter(|_| self.sort == Sort::Doubt);
        accepted.map(|(_, code)| code)
    }
}

impl ItemValue {
    /// A value that nobody wrote yet.
    pub(super) fn plain(value: Value) -> ItemValue {
        let code = short_code(&canonical(&value));
        ItemValue { value, code, device: None, by: None, at: None }
    }

    pub(super) fn said(saying: &Saying) -> ItemValue {
        let by = Some(saying.by.clone()).filter(|by| !by.is_empty());
        ItemValue { device: Some(saying.device), by, at: saying.at, ..ItemValue::plain(saying.v.clone()) }
    }
}

/// Keeps the first of values that are equal as JSON.
pub(super) fn distinct(values: impl IntoIterator<Item = ItemValue>) -> Vec<ItemValue> {
    let mut kept: Vec<ItemValue> = Vec::new();
    for value in values {
        if kept.iter().all(|k| k.code != value.code) {
            kept.push(value);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn sorts_are_written_as_they_are_read() {
        for sort in Sort::ALL {
            assert_eq!(serde_json::to_value(sort).unwrap(), json!(sort.word()));
        }
    }

    #[test]
    fn spellings_of_one_number_are_one_value() {
        let values = distinct([json!(110), json!(110.0), json!(111)].map(ItemValue::plain));
        assert_eq!(values.len(), 2);
    }
}
