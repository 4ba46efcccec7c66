//! Rows typed in from paper. A sheet's letter and the number of its line are the row's key, so a file that is typed in again after a correction
//! amends what the first one wrote and doubles nothing.

use super::LogbookError;
use super::correct::never_changes;
use super::write::{Done, RowDone};
use crate::day::{DayId, Key, Noted, json_equal};
use crate::entry::{EntryId, fold};
use crate::store::Seen;
use chrono::NaiveDate;
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;

/// Where a row stands on paper.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct SheetRow {
    /// The letter of the sheet.
    pub sheet: String,
    /// The number of the line, from 1.
    pub line: u32,
}

/// Begins the reason for which a row is struck out whose kind, writer or labels were typed otherwise later.
const TYPED_ANEW: &str = "typed anew: ";

impl SheetRow {
    /// The id of a row: the same on every base. `turn` counts what was typed for this row with another kind, writer or labels.
    fn id(&self, day: DayId, date: NaiveDate, turn: u32) -> EntryId {
        let text = format!("{day}\nsheet {}\nline {}\nturn {turn}", fold(&self.sheet), self.line);
        let mut random = [0; 10];
        random.copy_from_slice(&Sha256::digest(text.as_bytes())[..10]);
        EntryId::new(date.and_time(chrono::NaiveTime::MIN).and_utc().timestamp_millis(), random)
    }
}

/// In a register: it was typed in from this line of a sheet, so that typing the sheet in again may take it back.
const TYPED: &str = "sheet_line";

/// Who types and when: what registers say of their writer.
pub(super) struct Typing<'a> {
    /// The call sign of who writes.
    pub by: &'a str,
    /// Now, as JSON.
    pub at: Value,
}

/// What a row does to the day: puts, and what is told of it.
pub(super) fn put(
    seen: &Seen<'_>,
    (day, date): (DayId, NaiveDate),
    row: &SheetRow,
    mut json: Map<String, Value>,
    typing: &Typing<'_>,
) -> Result<(Vec<(Key, String)>, RowDone), LogbookError> {
    let mut puts = Vec::new();
    let mut held: Option<Noted> = None;
    let mut turn = 0;
    while let Some(noted) = seen.entry(day, row.id(day, date, turn))? {
        turn += 1;
        if held.is_none() && is_same_thing(&noted.json, &json) {
            held = Some(noted);
        } else if noted.void.is_none() {
            let reason = format!("{TYPED_ANEW}sheet {}, line {}", row.sheet, row.line);
            let v = json!({ "v": reason, "by": typing.by, "at": typing.at, "of": noted.seen_hash() });
            puts.push((Key::Void(noted.id), v.to_string()));
        }
    }
    let Some(noted) = held else {
        let id = row.id(day, date, turn);
        json.insert("id".to_owned(), json!(id));
        let retyped = !puts.is_empty();
        puts.push((Key::Entry(id), Value::Object(json).to_string()));
        let done = if retyped { Done::Retyped } else { Done::Written };
        return Ok((puts, RowDone { done, ..RowDone::of(id) }));
    };
    let mut told = RowDone { done: Done::Known, ..RowDone::of(noted.id) };
    match &noted.void {
        Some(reason) if reason.starts_with(TYPED_ANEW) => {
            let v = json!({ "v": null, "by": typing.by, "at": typing.at, "of": noted.seen_hash() });
            puts.push((Key::Void(noted.id), v.to_string()));
            told.done = Done::Retyped;
        }
        // A person struck it out: it stays so.
        Some(_) => return Ok((puts, told)),
        None => {}
    }
    let body = seen.body(day, noted.id)?.and_then(|text| serde_json::from_str(&text).ok());
    let body: Map<String, Value> = body.unwrap_or_default();
    let kind = body.get("kind").and_then(Value::as_str).unwrap_or_default();
    let fields: BTreeSet<&String> = body.keys().chain(noted.json.keys()).chain(json.keys()).collect();
    for field in fields.into_iter().filter(|f| !never_changes(kind, f)) {
        let value = |map: &Map<String, Value>| map.get(field).cloned().unwrap_or(Value::Null);
        let (typed, was, stands) = (value(&json), value(&body), value(&noted.json));
        if json_equal(&typed, &stands) {
            continue;
        }
        if json_equal(&typed, &was) && !was_typed(seen, day, noted.id, field)? {
            // The paper says what it always said, and somebody settled it otherwise since.
            told.kept.push(field.clone());
            continue;
        }
        let v = json!({ "v": typed, "by": typing.by, "at": typing.at, "clock": "base", TYPED: row.line });
        puts.push((Key::Field(noted.id, field.clone()), v.to_string()));
        told.fields.push(field.clone());
        if told.done == Done::Known {
            told.done = Done::Amended;
        }
    }
    Ok((puts, told))
}

/// Whether the value that stands in a field was typed in from a sheet, and not amended by somebody.
fn was_typed(seen: &Seen<'_>, day: DayId, id: EntryId, field: &str) -> Result<bool, LogbookError> {
    let record = seen.record(day)?;
    let said = record.registers.all(&Key::Field(id, field.to_owned())).first();
    let said = said.and_then(|s| serde_json::from_str::<Map<String, Value>>(&s.text).ok());
    Ok(said.is_some_and(|register| register.contains_key(TYPED)))
}

/// Whether two rows tell of one thing: all that never changes of an entry is the same in both.
fn is_same_thing(held: &Map<String, Value>, typed: &Map<String, Value>) -> bool {
    let kind = typed.get("kind").and_then(Value::as_str).unwrap_or_default();
    let names = held.keys().chain(typed.keys());
    names.filter(|f| *f != "id" && never_changes(kind, f)).all(|f| {
        let value = |map: &Map<String, Value>| map.get(f).cloned().unwrap_or(Value::Null);
        json_equal(&value(held), &value(typed))
    })
}
