//! What a team writes down: plain data. No input or output, no document, no SQL.
//!
//! An entry is one JSON object. This version reads it as [`Entry`]; what a newer version added stays in [`Entry::rest`], and a body that can't
//! be read at all stays JSON (see [`Entry::from_json`]).

mod check;
mod csv;
mod form;
mod id;
mod input;
mod kinds;
mod label;
mod table;
mod time;

pub use check::{Fault, check, check_value};
pub use csv::csv_cell;
pub use form::TextForm;
pub use id::{EntryId, IdError};
pub use input::{TimeContext, from_text};
pub use kinds::*;
pub use label::{CallSign, DrillLabel, ItemLabel, LabelClass, TargetLabel, fold};
pub use table::{Field, Kind, Shape, entry_schema, kinds_of};
pub use time::Time;

use crate::units::{Degrees, Metres};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

/// The most labels that a list of labels holds.
pub const LABELS_MAX: usize = 200;

/// The most bytes of an entry, or of the text of a register, as JSON. What is longer is refused when it is written; what arrives by merge is kept.
pub const ENTRY_BYTES_MAX: usize = 1 << 20;

/// The fields that every kind has.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Common {
    /// ULID of the entry
    #[schemars(extend("x-check" = "entry_id"))]
    pub id: EntryId,
    /// The kind of entry
    pub kind: String,
    /// When it happened, by the clock that `clock` names
    pub at: Time,
    /// Call sign of the writer
    pub by: CallSign,
    /// The drill it belongs to
    pub drill: Option<DrillLabel>,
    /// The target it belongs to
    pub target: Option<TargetLabel>,
    /// Metres along the surface across the fall line in the drill's grid; positive is right when you look uphill
    #[schemars(range(min = -10000, max = 10000))]
    pub x_m: Option<Metres>,
    /// Metres along the surface up the fall line in the drill's grid
    #[schemars(range(min = -10000, max = 10000))]
    pub y_m: Option<Metres>,
    /// Latitude, WGS 84
    #[schemars(range(min = -90, max = 90))]
    pub lat: Option<Degrees>,
    /// Longitude, WGS 84
    #[schemars(range(min = -180, max = 180))]
    pub lon: Option<Degrees>,
    /// Radius around the position within which the true one lies with 68%, as phones give it
    #[schemars(range(min = 0, max = 10000))]
    pub accuracy_m: Option<Metres>,
    /// Free text; no names
    pub note: Option<String>,
    /// The clock of every time in this entry: absent is this device's first clock; 2, 3 … this device after its clock was moved; base;
    /// stopwatch; or the label of a watch. An imported track has none: its times are those of the file and count as this device's
    #[schemars(extend("x-check" = "line"))]
    pub clock: Option<String>,
}

impl Common {
    /// What one press says: who, and when. The kind follows when an entry is made of it.
    #[must_use]
    pub fn at(id: EntryId, at: Time, by: CallSign) -> Common {
        Common {
            id,
            kind: String::new(),
            at,
            by,
            drill: None,
            target: None,
            x_m: None,
            y_m: None,
            lat: None,
            lon: None,
            accuracy_m: None,
            note: None,
            clock: None,
        }
    }
}

/// One entry as this version understands it.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The fields every kind has.
    pub common: Common,
    /// The fields of its kind.
    pub body: Body,
    /// Fields of a newer version, kept as they came.
    pub rest: Map<String, Value>,
}

impl Entry {
    /// Makes an entry of `body` from its common fields; `common.kind` is set to fit.
    #[must_use]
    pub fn new(mut common: Common, body: Body) -> Entry {
        body.kind().clone_into(&mut common.kind);
        Entry { common, body, rest: Map::new() }
    }

    /// Reads an entry. Values out of range are read as they are: they are refused at the door by [`check()`], not here.
    ///
    /// # Errors
    /// The reason why this version can't read it: an unknown kind, a value of another type or an unknown word. Such an entry is opaque and
    /// is kept as JSON.
    pub fn from_json(json: &Map<String, Value>) -> Result<Entry, String> {
        let common = Common::deserialize(json).map_err(|e| e.to_string())?;
        let body = Body::from_json(&common.kind, json).map_err(|e| e.to_string())?;
        let body = body.ok_or_else(|| format!("kind \"{}\" is not known to this version", common.kind))?;
        let table = kind(body.kind());
        let known =
            |key: &str| key == "kind" || table.is_some_and(|t| t.fields.iter().any(|f| f.name == key));
        let rest = json.iter().filter(|(k, _)| !known(k)).map(|(k, v)| (k.clone(), v.clone())).collect();
        Ok(Entry { common, body, rest })
    }

    /// Kind and instant of the entry `id` in this text, without building it, where that is plain: `None` where it must be read as a whole, by
    /// [`Entry::from_json`].
    #[must_use]
    pub fn glance(text: &str, id: EntryId) -> Option<(String, Time)> {
        let common: Common = serde_json::from_str(text).ok()?;
        (common.id == id && Body::is_plain(&common.kind, text)).then_some((common.kind, common.at))
    }

    /// The entry as the document holds it: fields in the order of the declaration, absent ones left out, then those of a newer version.
    #[must_use]
    pub fn to_json(&self) -> Map<String, Value> {
        let mut json = Map::new();
        for part in [serde_json::to_value(&self.common), self.body.to_json()] {
            if let Ok(Value::Object(fields)) = part {
                json.extend(fields.into_iter().filter(|(_, v)| !v.is_null()));
            }
        }
        json.extend(self.rest.clone());
        json
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_glance_says_what_reading_the_whole_says() {
        let mut plain = 0;
        for line in include_str!("../../../tests/checks/entries.jsonl").lines() {
            let json: Map<String, Value> = serde_json::from_str(line).unwrap();
            let id: EntryId = json["id"].as_str().unwrap().parse().unwrap();
            let odd = [
                ("", Value::Null),
                ("at", "soon".into()),
                ("drill", 1.into()),
                ("kind", "x".into()),
                ("newer", 1.into()),
            ];
            for (field, value) in odd {
                let mut json = json.clone();
                json.insert(field.to_owned(), value);
                let text = Value::Object(json.clone()).to_string();
                let Some((kind, at)) = Entry::glance(&text, id) else { continue };
                let entry = Entry::from_json(&json).unwrap();
                assert_eq!((kind.as_str(), at), (entry.body.kind(), entry.common.at), "{text}");
                plain += 1;
            }
            assert!(Entry::glance(line, EntryId::new(1, [0; 10])).is_none(), "another id");
            let twice = line.replacen('{', r#"{"kind":"note","#, 1);
            assert!(Entry::glance(&twice, id).is_none(), "a field twice: {twice}");
        }
        assert!(plain > 20, "{plain}");
    }
}
