//! Writing entries: from flags, forms and files, all or nothing.

use super::sheet::{self, SheetRow, Typing};
use super::{LineFault, Logbook, LogbookError, Stamp, bounded};
use crate::day::{DayId, Key, canonical, json_equal};
use crate::entry::{CallSign, Common, Entry, EntryId, Fault, KINDS, Kind, Time, check, kind};
use crate::store::{StoreError, random};
use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, HashMap};

/// An entry to be written: its JSON, and the line of the file it was read from.
#[derive(Clone, Debug, Default)]
pub struct Draft {
    /// The fields. `id` and `by` may be absent, `at` too where there is no line.
    pub json: Map<String, Value>,
    /// The line, from 1; `None` for what was typed or pressed.
    pub line: Option<usize>,
}

/// What writing did.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct LogReport {
    /// Entries written.
    pub written: usize,
    /// Entries that were here already, word for word.
    pub known: usize,
    /// Entries amended by what came in.
    pub amended: usize,
    /// Ids, in the order of the input.
    pub ids: Vec<EntryId>,
    /// What was done with each line: of a file of sheets, and where it was only asked what would be done.
    pub rows: Vec<RowDone>,
}

/// What was done with one line.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RowDone {
    /// The line of the file, from 1.
    pub line: Option<usize>,
    /// The entry.
    pub id: EntryId,
    /// What was done.
    pub done: Done,
    /// Fields that are other than before.
    pub fields: Vec<String>,
    /// Fields that were left as somebody amended them since: the sheet says what it said before.
    pub kept: Vec<String>,
    /// What the line says, where it was only asked what would be done.
    pub entry: Option<Value>,
}

/// What is done with a line.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Done {
    /// written for the first time
    Written,
    /// here already
    Known,
    /// some of its fields are amended
    Amended,
    /// written anew with another kind, writer or labels, the one before struck out
    Retyped,
}

impl RowDone {
    /// A line that is here already.
    pub(super) fn of(id: EntryId) -> RowDone {
        RowDone { line: None, id, done: Done::Known, fields: Vec::new(), kept: Vec::new(), entry: None }
    }
}

impl Logbook {
    /// The fields that every kind has, stamped now: a fresh id, this instant, the writer. The kind follows when an entry is made of it.
    ///
    /// # Errors
    /// [`LogbookError::Store`] where the system gives no random numbers.
    pub fn stamp(&self, by: CallSign) -> Result<Common, LogbookError> {
        let at = self.clock.now();
        Ok(Common::at(EntryId::new(at.millis(), random()?), at, by))
    }

    /// Writes entries into a day, all of them or none; on the disk when this returns. With `dry_run` it only says what would be written.
    ///
    /// A draft without an id gets one: from a file it follows from the day and the line, so that the same file read twice, or at two bases, is the
    /// same entries; else it is fresh. A draft with an id comes out of a Firnbook, perhaps a newer one: fields, kinds and words that this version
    /// does not know are kept. Without an id they are refused as slips of the pen.
    ///
    /// # Errors
    /// [`LogbookError::Refused`] names every fault by line and field.
    pub fn log(
        &mut self,
        day: DayId,
        by: &str,
        drafts: Vec<Draft>,
        dry_run: bool,
    ) -> Result<LogReport, LogbookError> {
        self.log_into_days(by, drafts.into_iter().map(|draft| (day, draft)).collect(), dry_run)
    }

    /// Writes entries into the days they belong to, all of them or none, as [`Logbook::log`] does into one.
    ///
    /// # Errors
    /// As [`Logbook::log`]; nothing was written then, into no day.
    pub fn log_into_days(
        &mut self,
        by: &str,
        drafts: Vec<(DayId, Draft)>,
        dry_run: bool,
    ) -> Result<LogReport, LogbookError> {
        let rows = drafts.into_iter().map(|(day, draft)| (day, draft, None)).collect();
        self.log_rows(by, rows, dry_run)
    }

    /// Writes entries into the days they belong to, as [`Logbook::log_into_days`] does; those that stand on a sheet of paper amend what was typed in
    /// from the same line of it before.
    ///
    /// # Errors
    /// As [`Logbook::log`]; nothing was written then, into no day.
    pub fn log_rows(
        &mut self,
        by: &str,
        drafts: Vec<(DayId, Draft, Option<SheetRow>)>,
        dry_run: bool,
    ) -> Result<LogReport, LogbookError> {
        let now = self.clocked()?;
        let mut dates: HashMap<DayId, NaiveDate> = HashMap::new();
        // Only a sheet asks for them, and a press must not cost more the more days there are.
        if drafts.iter().any(|(_, _, row)| row.is_some()) {
            dates.extend(self.store.dates()?);
        }
        let mut repetitions: HashMap<DayId, HashMap<String, u32>> = HashMap::new();
        let mut ready = Vec::with_capacity(drafts.len());
        let mut faults = Vec::new();
        for (day, draft, row) in drafts {
            let line = draft.line;
            match prepare(draft, day, by, &now, repetitions.entry(day).or_default()) {
                Ok((id, json)) => ready.push((line, day, id, json, row)),
                Err(Prepare::Faults(found)) => {
                    faults.extend(found.into_iter().map(|fault| LineFault { line, fault }))
                }
                Err(Prepare::Store(e)) => return Err(e.into()),
            }
        }
        if !faults.is_empty() {
            return Err(LogbookError::Refused(faults));
        }
        self.store.write(|seen| {
            let mut report = LogReport::default();
            let mut puts: BTreeMap<DayId, Vec<(Key, String)>> = BTreeMap::new();
            let mut fresh: HashMap<(DayId, EntryId), Value> = HashMap::with_capacity(ready.len());
            let mut faults = Vec::new();
            let typing = Typing { by, at: json!(now.at) };
            for (line, day, id, mut json, row) in ready {
                if let Some(row) = row {
                    json.shift_remove("id");
                    let entry = dry_run.then(|| Value::Object(json.clone()));
                    let date = dates.get(&day).copied().unwrap_or_default();
                    let (put, told) = sheet::put(seen, (day, date), &row, json, &typing)?;
                    puts.entry(day).or_default().extend(put);
                    report.count(RowDone { line, entry, ..told }, true);
                    continue;
                }
                let json = Value::Object(json);
                let entry = dry_run.then(|| json.clone());
                let held = match fresh.get(&(day, id)) {
                    Some(json) => Some(vec![json.clone()]),
                    None => held_under(seen, day, id)?,
                };
                match held {
                    None => {
                        report.count(RowDone { line, entry, done: Done::Written, ..RowDone::of(id) }, dry_run);
                        puts.entry(day).or_default().push((Key::Entry(id), json.to_string()));
                        fresh.insert((day, id), json);
                    }
                    Some(held) if held.iter().any(|h| json_equal(h, &json)) => {
                        report.count(RowDone { line, entry, ..RowDone::of(id) }, dry_run);
                    }
                    Some(_) => {
                        let why = "another entry with this id is here; amend that one, or leave the id out to write a second one";
                        faults.push(LineFault { line, fault: Fault::new("id", id, why) });
                    }
                }
            }
            if !faults.is_empty() {
                return Err(LogbookError::Refused(faults));
            }
            puts.retain(|_, put| !put.is_empty());
            Ok((if dry_run { Vec::new() } else { puts.into_iter().collect() }, report))
        })
    }
}

impl LogReport {
    fn count(&mut self, row: RowDone, listed: bool) {
        match row.done {
            Done::Written => self.written += 1,
            Done::Known => self.known += 1,
            Done::Amended | Done::Retyped => self.amended += 1,
        }
        self.ids.push(row.id);
        if listed {
            self.rows.push(row);
        }
    }
}

/// What is held under an id: the body as written and the entry as it stands.
fn held_under(
    seen: &crate::store::Seen<'_>,
    day: DayId,
    id: EntryId,
) -> Result<Option<Vec<Value>>, StoreError> {
    let Some(body) = seen.body(day, id)? else { return Ok(None) };
    let stands = seen.entry(day, id)?.map(|n| Value::Object(n.json));
    Ok(Some(serde_json::from_str(&body).into_iter().chain(stands).collect()))
}

/// Completes and checks one entry that was pressed, not read from a file.
///
/// # Errors
/// [`LogbookError::Refused`] with every fault.
pub(super) fn pressed(
    json: Map<String, Value>,
    day: DayId,
    by: &str,
    now: &Stamp,
) -> Result<(EntryId, Map<String, Value>), LogbookError> {
    prepare(Draft { json, line: None }, day, by, now, &mut HashMap::new()).map_err(|why| match why {
        Prepare::Faults(found) => {
            LogbookError::Refused(found.into_iter().map(|fault| LineFault { line: None, fault }).collect())
        }
        Prepare::Store(e) => e.into(),
    })
}

enum Prepare {
    Faults(Vec<Fault>),
    Store(StoreError),
}

impl From<Fault> for Prepare {
    fn from(fault: Fault) -> Prepare {
        Prepare::Faults(vec![fault])
    }
}

/// Completes and checks one draft.
fn prepare(
    draft: Draft,
    day: DayId,
    by: &str,
    now: &Stamp,
    repetitions: &mut HashMap<String, u32>,
) -> Result<(EntryId, Map<String, Value>), Prepare> {
    let mut json = draft.json;
    json.retain(|_, v| !v.is_null());
    let line = canonical(&Value::Object(json.clone()));
    let from_firnbook = json.contains_key("id");
    let word = json.get("kind").and_then(Value::as_str).unwrap_or_default().to_owned();
    let table = kind(&word);
    if table.is_none() && !from_firnbook {
        let known: Vec<&str> = KINDS.iter().map(|k| k.name.as_str()).collect();
        return Err(Fault::new(
            "kind",
            word,
            format!("is no kind of entry; write one of {}", known.join(", ")),
        )
        .into());
    }
    json.entry("by").or_insert_with(|| json!(by));
    if draft.line.is_none() {
        json.entry("at").or_insert_with(|| json!(now.at));
        if let Some(clock) = &now.clock {
            json.entry("clock").or_insert_with(|| json!(clock));
        }
    }
    let at = match json.get("at").map(|v| v.as_str().map(Time::parse)) {
        Some(Some(Ok(at))) => at,
        Some(Some(Err(why))) => return Err(Fault::new("at", "", why).into()),
        Some(None) => return Err(Fault::new("at", "", "is no text").into()),
        None => return Err(Fault::new("at", "", "is missing; say when it happened").into()),
    };
    let id = match json.get("id") {
        Some(given) => {
            let text = given.as_str().unwrap_or_default();
            text.parse().map_err(|e: crate::entry::IdError| Fault::new("id", "", e.to_string()))?
        }
        None if draft.line.is_some() => {
            let repetition = repetitions.entry(line.clone()).or_insert(0);
            *repetition += 1;
            id_of_line(day, &line, *repetition, at)
        }
        None => EntryId::new(at.millis(), random().map_err(Prepare::Store)?),
    };
    json.insert("id".to_owned(), json!(id));
    if let Some(table) = table {
        let faults = faults_of(table, &json, from_firnbook);
        if !faults.is_empty() {
            return Err(Prepare::Faults(faults));
        }
        json = in_order(table, json);
    }
    bounded("entry", &Value::Object(json.clone()))?;
    match Entry::from_json(&json) {
        Err(why) if !from_firnbook => Err(Fault::new("kind", word, format!("can't be read: {why}")).into()),
        _ => Ok((id, json)),
    }
}

fn faults_of(table: &Kind, json: &Map<String, Value>, from_firnbook: bool) -> Vec<Fault> {
    let mut faults = check(table, json);
    if from_firnbook {
        // A word that a newer version added to a choice.
        let newer_word = |f: &Fault| {
            let field = table.fields.iter().find(|t| t.name == f.field);
            field.is_some_and(|t| matches!(t.shape, crate::entry::Shape::Choice(_)))
                && json.get(&f.field).is_some_and(Value::is_string)
        };
        faults.retain(|f| !newer_word(f));
    } else {
        let unknown = json.keys().filter(|k| *k != "kind" && !table.fields.iter().any(|f| f.name == **k));
        faults.extend(unknown.map(|key| {
            let near = table.field(key).map_or_else(String::new, |f| format!("; write {}", f.name));
            Fault::new(key, "", format!("is no field of a {}{near}", table.name))
        }));
    }
    faults
}

/// The id of a line of a file: its time, and a hash of the day, the line as read and how often the file said it before.
fn id_of_line(day: DayId, line: &str, repetition: u32, at: Time) -> EntryId {
    let hash = Sha256::digest(format!("{day}\n{line}\n{repetition}").as_bytes());
    let mut random = [0; 10];
    random.copy_from_slice(&hash[..10]);
    EntryId::new(at.millis(), random)
}

/// The fields in the order of the declaration, then those of a newer version.
fn in_order(table: &Kind, mut json: Map<String, Value>) -> Map<String, Value> {
    let mut ordered = Map::with_capacity(json.len());
    let kind = json.shift_remove("kind");
    for field in &table.fields {
        if let Some(value) = json.shift_remove(&field.name) {
            ordered.insert(field.name.clone(), value);
        }
        if field.name == "id"
            && let Some(kind) = &kind
        {
            ordered.insert("kind".to_owned(), kind.clone());
        }
    }
    ordered.extend(json);
    ordered
}
