//! Questions to `core::entry` and `core::units`: times, ids, labels, typed quantities, and the door.

use firnbook_core::entry::{Entry, EntryId, KINDS, Time, check, entry_schema, fold, kind};
use firnbook_core::units::{Unit, read_quantity};
use serde_json::{Map, Value, json};

/// Answers `name` with the other members of `question` as its arguments.
pub fn answer(name: &str, question: &Value) -> Result<Value, String> {
    let text = || question["text"].as_str().ok_or("text is missing");
    match name {
        "time" => {
            let time = Time::parse(text()?)?;
            Ok(
                json!({ "millis": time.millis(), "utc_offset_min": time.utc_offset_min(), "written": time.to_string() }),
            )
        }
        "id" => {
            let random: Vec<u8> =
                serde_json::from_value(question["random"].clone()).map_err(|e| e.to_string())?;
            let random = random.try_into().map_err(|_| "random is ten bytes")?;
            let at_ms = question["at_ms"].as_i64().ok_or("at_ms is missing")?;
            Ok(json!(EntryId::new(at_ms, random).to_string()))
        }
        "id_read" => text()?.parse::<EntryId>().map(|id| json!(id.to_string())).map_err(|e| e.to_string()),
        "fold" => Ok(json!(fold(text()?))),
        "quantity" => {
            let unit = question["unit"].as_str().and_then(Unit::from_symbol).ok_or("unit is not known")?;
            read_quantity(text()?, unit).map(|value| json!(value)).map_err(|e| e.to_string())
        }
        "schema" => Ok(entry_schema(&KINDS)),
        "faults" => {
            let entry = object(question)?;
            let word = entry.get("kind").and_then(Value::as_str).unwrap_or_default();
            Ok(json!(check(kind(word).ok_or("kind is not known")?, entry)))
        }
        "read_and_written" => Entry::from_json(object(question)?).map(|entry| Value::Object(entry.to_json())),
        _ => Err(format!("entry does not answer {name}")),
    }
}

pub fn object(question: &Value) -> Result<&Map<String, Value>, &'static str> {
    question["entry"].as_object().ok_or("entry is no object")
}
