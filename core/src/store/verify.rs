//! Checking a store: every change against its hash, every row against the document's own reading.

use super::changes::{self, History};
use super::{Store, StoreError};
use crate::day::{DayId, Document, Key, Noted, Registers, effective};

/// What checking one day found.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DayVerified {
    /// The day.
    pub day: DayId,
    /// Changes held.
    pub changes: usize,
    /// Changes that wait for their causes.
    pub waiting: usize,
    /// The rows say what the document says.
    pub rows_equal: bool,
    /// What is wrong, one sentence each.
    pub faults: Vec<String>,
}

impl Store {
    /// Checks one day.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's; what is wrong with the day itself stands in the answer.
    pub fn verify(&self, day: DayId) -> Result<DayVerified, StoreError> {
        let history = History::read(&self.conn, day)?.ok_or(StoreError::NoDay(day))?;
        let count: i64 =
            self.conn.query_row("SELECT count(*) FROM change WHERE day = ?1", [history.n], |r| r.get(0))?;
        let mut found = DayVerified {
            day,
            changes: usize::try_from(count).unwrap_or(0),
            waiting: changes::waiting_count(&self.conn, day)?,
            rows_equal: false,
            faults: Vec::new(),
        };
        let document =
            match changes::all(&self.conn, day).and_then(|all| Ok(Document::from_changes(all, day)?)) {
                Ok(document) => document,
                Err(StoreError::Sqlite(e)) => return Err(e.into()),
                Err(e) => {
                    found.faults.push(e.to_string());
                    return Ok(found);
                }
            };
        if document.changes().len() != found.changes {
            found.faults.push(format!(
                "of {} changes {} hold together",
                found.changes,
                document.changes().len()
            ));
        }
        if document.heads() != history.heads.iter().copied().collect::<Vec<_>>() {
            found.faults.push("the heads that are noted are not those of the changes".to_owned());
        }
        let (entries, registers) = reading(&document)?;
        let record = self.record(day)?;
        let mut held = record.entries;
        held.sort_by_key(|n| n.id);
        if held != entries {
            found.faults.push(format!(
                "{} entries stand in rows, {} in the document, or they differ",
                held.len(),
                entries.len()
            ));
        }
        if record.registers != registers {
            found.faults.push("the registers in rows are not those of the document".to_owned());
        }
        let kinds = rows_of_kinds(self, history.n)?;
        let readable = entries.iter().filter(|n| n.entry.is_some()).count();
        if kinds != readable {
            found.faults.push(format!(
                "{kinds} rows stand in the tables of the kinds, {readable} entries are readable"
            ));
        }
        found.rows_equal = found.faults.is_empty();
        Ok(found)
    }
}

/// What the document says, read through Automerge.
fn reading(document: &Document) -> Result<(Vec<Noted>, Registers), StoreError> {
    let all = document.all()?;
    let mut registers = Registers::default();
    for (key, written) in &all {
        if !matches!(key, Key::Entry(_)) || written.len() > 1 {
            registers.0.insert(key.clone(), written.iter().map(crate::day::Written::saying).collect());
        }
    }
    let entries = all.iter().filter_map(|(key, written)| match key {
        Key::Entry(id) => Some(effective(
            *id,
            &written.iter().map(crate::day::Written::body).collect::<Vec<_>>(),
            &registers,
        )),
        _ => None,
    });
    Ok((entries.collect(), registers))
}

fn rows_of_kinds(store: &Store, day: i64) -> Result<usize, StoreError> {
    let mut sum = 0;
    for kind in crate::entry::KINDS.iter() {
        let sql = format!("SELECT count(*) FROM \"{}\" WHERE day = ?1", kind.name);
        sum += usize::try_from(store.sql().query_row(&sql, [day], |r| r.get::<_, i64>(0))?).unwrap_or(0);
    }
    Ok(sum)
}
