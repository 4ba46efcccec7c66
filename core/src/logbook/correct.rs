//! Correcting: amending, striking out, restoring, moving to the right day; and the history that all of it leaves.

use super::{Logbook, LogbookError, Stamp, bounded};
use crate::day::{Actor, DayId, DeviceId, Key, Noted, Saying};
use crate::entry::{Entry, EntryId, Fault, Time, check_value, kind};
use crate::store::Seen;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value, json};

/// What a correction changed.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Changed {
    /// The entries that were named.
    pub ids: Vec<EntryId>,
    /// Those that are other than before.
    pub changed: Vec<EntryId>,
}

/// One step in the history of an entry.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct HistoryStep {
    /// `written`, the field that was amended, or `void`.
    pub field: String,
    /// The value then; for `written` the whole body.
    pub v: Value,
    /// Who.
    pub by: String,
    /// When, by that device's clock.
    pub at: Option<Time>,
    /// On which device.
    pub device: DeviceId,
}

/// Fields that are what an entry is; another value would be another entry.
const FIXED: [&str; 7] = ["id", "kind", "by", "drill", "target", "label", "call_sign"];

/// Whether a field of a kind never changes.
pub(super) fn never_changes(kind: &str, field: &str) -> bool {
    FIXED.contains(&field) || (field == "item" && kind == "kit")
}

impl Logbook {
    /// Amends fields of entries; a null takes an optional field away. What another process amended a moment ago is seen, so that is no conflict.
    ///
    /// # Errors
    /// A field that the kind does not have or that never changes, a value out of range, an entry that is void or can't be read; nothing was
    /// written then.
    pub fn amend(
        &mut self,
        ids: &[(DayId, EntryId)],
        fields: &Map<String, Value>,
        by: &str,
    ) -> Result<Changed, LogbookError> {
        let stamp = self.clocked()?;
        let device = self.device();
        self.store.write(|seen| {
            let mut changed = Changed::default();
            let mut puts = Vec::new();
            for (day, id) in ids {
                let noted = held(seen, *day, *id)?;
                amendable(&noted, fields)?;
                changed.ids.push(*id);
                let new = fields.iter().filter(|(field, v)| {
                    let now = noted.json.get(*field).unwrap_or(&Value::Null);
                    !crate::day::json_equal(now, v) || noted.unsettled.contains(field)
                });
                let amended = |(field, v): (&String, &Value)| {
                    let mut register = stamp.register(v.clone(), by);
                    // Whoever puts another one's time right says it at base; one's own time stays by one's own clock.
                    if field == "at" && !is_own_time(&noted, device) {
                        register["clock"] = json!("base");
                    }
                    Ok((Key::Field(*id, field.clone()), bounded(field, &register)?))
                };
                let new: Vec<_> = new.map(amended).collect::<Result<_, Fault>>()?;
                if !new.is_empty() {
                    changed.changed.push(*id);
                    puts.push((*day, new));
                }
            }
            Ok((one_a_day(puts), changed))
        })
    }

    /// Strikes entries out, keeping them; without a reason it restores them.
    ///
    /// # Errors
    /// An entry that is not here, or a reason that is empty or too long; nothing was written then.
    pub fn void(
        &mut self,
        ids: &[(DayId, EntryId)],
        reason: Option<&str>,
        by: &str,
    ) -> Result<Changed, LogbookError> {
        if reason.is_some_and(|r| r.trim().is_empty()) {
            return Err(LogbookError::NoReason);
        }
        let stamp = self.clocked()?;
        self.store.write(|seen| {
            let mut changed = Changed::default();
            let mut puts = Vec::new();
            for (day, id) in ids {
                let noted = held(seen, *day, *id)?;
                changed.ids.push(*id);
                let settled = !noted.unsettled.iter().any(|f| f == "void");
                if settled && noted.void.is_some() == reason.is_some() {
                    continue;
                }
                let text = seen_register(&stamp, json!(reason), by, &noted)?;
                puts.push((*day, vec![(Key::Void(*id), text)]));
                changed.changed.push(*id);
            }
            Ok((one_a_day(puts), changed))
        })
    }

    /// Moves entries to the day they belong to: the same ids there, void here with the reason.
    ///
    /// # Errors
    /// An entry that is not here or is void, or a day that is not here; nothing was written then.
    pub fn move_to(
        &mut self,
        ids: &[(DayId, EntryId)],
        into: DayId,
        by: &str,
    ) -> Result<Changed, LogbookError> {
        let stamp = self.clocked()?;
        self.store.write(|seen| {
            seen.heads(into)?;
            let mut changed = Changed::default();
            let (mut there, mut here) = (Vec::new(), Vec::new());
            for (day, id) in ids.iter().filter(|(day, _)| *day != into) {
                let noted = held(seen, *day, *id)?;
                if noted.void.is_some() {
                    return Err(LogbookError::Void(id.to_string()));
                }
                match seen.entry(into, *id)? {
                    None => there.push((Key::Entry(*id), noted.text.clone())),
                    // It was there before and was moved away: it comes back as it stood there.
                    Some(back) if back.void.is_some() => {
                        let text = seen_register(&stamp, Value::Null, by, &back)?;
                        there.push((Key::Void(*id), text));
                    }
                    Some(_) => {}
                }
                let reason = format!("moved to day {into}");
                let text = seen_register(&stamp, json!(reason), by, &noted)?;
                here.push((*day, vec![(Key::Void(*id), text)]));
                changed.changed.push(*id);
            }
            changed.ids = ids.iter().map(|(_, id)| *id).collect();
            here.push((into, there));
            Ok((one_a_day(here), changed))
        })
    }

    /// The history of an entry: as written, then every amendment and void, in the order in which this store holds them (causes first).
    ///
    /// # Errors
    /// An entry that is not here.
    pub fn history(&self, day: DayId, id: EntryId) -> Result<Vec<HistoryStep>, LogbookError> {
        let mut steps = Vec::new();
        for change in self.store.changes(day)? {
            let device = Actor(change.actor).device();
            for put in &change.puts {
                let key = Key::read(&put.key);
                if key.entry() != Some(id) {
                    continue;
                }
                let field = match key {
                    Key::Entry(_) => {
                        steps.push(written(&put.text, device));
                        continue;
                    }
                    Key::Field(_, field) => field,
                    Key::Void(_) => "void".to_owned(),
                    Key::Body(_) => "body".to_owned(),
                    Key::Adopted(_) => "adopted".to_owned(),
                    other => other.to_string(),
                };
                let Saying { v, by, at, .. } = Saying::read(&put.text, device);
                steps.push(HistoryStep { field, v, by, at, device });
            }
        }
        if steps.is_empty() { Err(LogbookError::NoEntry(id.to_string())) } else { Ok(steps) }
    }
}

/// The step in which an entry was first written.
fn written(text: &str, device: DeviceId) -> HistoryStep {
    let v: Value = serde_json::from_str(text).unwrap_or(Value::Null);
    let word = |key: &str| v.get(key).and_then(Value::as_str).unwrap_or_default().to_owned();
    HistoryStep { field: "written".to_owned(), by: word("by"), at: Time::parse(&word("at")).ok(), v, device }
}

/// The text of a void or of its end: with what was seen of the entry.
fn seen_register(stamp: &Stamp, v: Value, by: &str, noted: &Noted) -> Result<String, Fault> {
    let mut register = stamp.register(v, by);
    register["of"] = json!(noted.seen_hash());
    bounded("reason", &register)
}

/// Whether this device wrote the entry and its time was read from one of its own clocks.
fn is_own_time(noted: &Noted, device: DeviceId) -> bool {
    let clock = &noted.at_clock;
    noted.device == device && clock.device == device && clock.clock.bytes().all(|b| b.is_ascii_digit())
}

fn held(seen: &Seen<'_>, day: DayId, id: EntryId) -> Result<Noted, LogbookError> {
    seen.entry(day, id)?.ok_or_else(|| LogbookError::NoEntry(id.to_string()))
}

fn amendable(noted: &Noted, fields: &Map<String, Value>) -> Result<(), LogbookError> {
    let id = noted.id.to_string();
    if noted.void.is_some() {
        return Err(LogbookError::Void(id));
    }
    let entry = noted.entry.as_ref().ok_or_else(|| LogbookError::Opaque(id.clone()))?;
    let Some(table) = kind(entry.body.kind()) else { return Err(LogbookError::Opaque(id)) };
    for (name, value) in fields {
        if never_changes(&table.name, name) {
            return Err(LogbookError::Fixed { field: name.clone(), id });
        }
        let Some(field) = table.fields.iter().find(|f| f.name == *name) else {
            let has = table
                .fields
                .iter()
                .map(|f| f.name.clone())
                .filter(|f| !FIXED.contains(&f.as_str()))
                .collect();
            return Err(LogbookError::NoField { kind: table.name.clone(), field: name.clone(), has });
        };
        let fault = match value {
            Value::Null if field.required => {
                Some(Fault::new(name, "", format!("can't be taken away; a {} needs it", table.name)))
            }
            Value::Null => None,
            value => check_value(field, value),
        };
        if let Some(fault) = fault {
            return Err(fault.into());
        }
    }
    let mut amended = noted.json.clone();
    amended.extend(fields.clone());
    amended.retain(|_, value| !value.is_null());
    // What can't be read could never be amended back.
    Entry::from_json(&amended).map(|_| ()).map_err(|why| {
        let names: Vec<&str> = fields.keys().map(String::as_str).collect();
        Fault::new(&names.join(", "), "", format!("can't be read then: {why}")).into()
    })
}

/// Puts of one day into one change.
fn one_a_day(puts: Vec<(DayId, Vec<(Key, String)>)>) -> crate::store::Puts {
    let mut days: std::collections::BTreeMap<DayId, Vec<(Key, String)>> = std::collections::BTreeMap::new();
    for (day, puts) in puts {
        days.entry(day).or_default().extend(puts);
    }
    days.into_iter().collect()
}
