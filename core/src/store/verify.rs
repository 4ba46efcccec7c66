//! Checking a store: every change read again, what counts against the rules, every row against what the changes say, and all of it against
//! Automerge's own reading.

use super::history::Histories;
use super::{Store, StoreError, aside, changes};
use crate::day::{
    Actor, Change, ChangeHead, Covered, DayId, Document, FIRST_MAX_OP, Hash, Key, Noted, Registers, Written,
    effective, judge, values,
};
use std::collections::{BTreeMap, BTreeSet};

/// What checking one day found.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DayVerified {
    /// The day.
    pub day: DayId,
    /// Changes that count.
    pub changes: usize,
    /// Changes that wait for others or for a signature.
    pub waiting: usize,
    /// Changes withdrawn, since their key signed two histories.
    pub withdrawn: usize,
    /// The rows are those that follow from the changes.
    pub rows_equal: bool,
    /// What is wrong, one sentence each.
    pub faults: Vec<String>,
}

impl Store {
    /// Checks one day.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's; what is wrong with the day itself is in the answer.
    pub fn verify(&self, day: DayId) -> Result<DayVerified, StoreError> {
        let tx = self.conn.unchecked_transaction()?;
        let (waiting, withdrawn) = aside::counts(&tx, day)?;
        let mut found =
            DayVerified { day, changes: 0, waiting, withdrawn, rows_equal: false, faults: Vec::new() };
        let read = || -> Result<_, StoreError> {
            let histories = Histories::read(&tx, day)?.ok_or(StoreError::NoDay(day))?;
            let all = changes::all(&tx, &histories)?;
            let document = Document::of(&histories.beginning, &all)?;
            Ok((
                histories,
                all,
                document,
                aside::all(&tx, &Histories::read(&tx, day)?.ok_or(StoreError::NoDay(day))?)?,
            ))
        };
        let (histories, all, document, set_aside) = match read() {
            Ok(read) => read,
            Err(e @ (StoreError::Sqlite(_) | StoreError::NoDay(_))) => return Err(e),
            Err(e) => {
                found.faults.push(e.to_string());
                return Ok(found);
            }
        };
        found.changes = all.len();
        let covers = self.covers(day)?;
        let bad = covers.iter().filter(|c| !c.is_good(day)).count();
        if bad > 0 {
            found.faults.push(format!("{bad} signatures do not fit what they are said to sign"));
        }
        let signed: Vec<Covered> = covers.iter().filter(|c| c.is_good(day)).map(Covered::from).collect();
        let heads: Vec<ChangeHead> =
            all.iter().chain(set_aside.iter().map(|a| &a.change)).map(ChangeHead::from).collect();
        let verdict = judge(histories.first, FIRST_MAX_OP, &[], &heads, &signed);
        let visible: BTreeSet<Hash> = all.iter().map(|c| c.hash).collect();
        if visible != verdict.visible {
            let (held, follow) = (visible.len(), verdict.visible.len());
            found.faults.push(format!(
                "{held} changes count here, and by the signatures {follow} do, or they are other ones"
            ));
        }
        let withdrawn: BTreeSet<Hash> =
            set_aside.iter().filter(|a| a.withdrawn).map(|a| a.change.hash).collect();
        if withdrawn != verdict.withdrawn {
            found.faults.push("what is withdrawn here is not what the signatures say".to_owned());
        }
        if document.heads() != histories.heads.iter().copied().collect::<Vec<_>>() {
            found.faults.push("the heads that are noted are not those of the changes".to_owned());
        }
        self.check_rows(day, &all, &mut found)?;
        check_document(&document, &all, &mut found)?;
        found.rows_equal = found.faults.is_empty();
        Ok(found)
    }

    fn check_rows(&self, day: DayId, all: &[Change], found: &mut DayVerified) -> Result<(), StoreError> {
        let (entries, registers) = reading(all);
        let record = self.record(day)?;
        let mut held = record.entries;
        held.sort_by_key(|n| n.id);
        if held != entries {
            let (rows, read) = (held.len(), entries.len());
            found
                .faults
                .push(format!("there are {rows} entries in rows, {read} in the changes, or they differ"));
        }
        if record.registers != registers {
            found.faults.push("the registers in rows are not those of the changes".to_owned());
        }
        Ok(())
    }
}

/// What the changes say, without any row.
fn reading(all: &[Change]) -> (Vec<Noted>, Registers) {
    let values = values(all);
    let mut registers = Registers::default();
    for (key, written) in &values {
        if !matches!(key, Key::Entry(_)) || written.len() > 1 {
            registers.0.insert(key.clone(), written.iter().map(Written::saying).collect());
        }
    }
    let entries = values.iter().filter_map(|(key, written)| match key {
        Key::Entry(id) => {
            Some(effective(*id, &written.iter().map(Written::body).collect::<Vec<_>>(), &registers))
        }
        _ => None,
    });
    (entries.collect(), registers)
}

/// Holds every text of the changes against what Automerge reads under its key.
fn check_document(document: &Document, all: &[Change], found: &mut DayVerified) -> Result<(), StoreError> {
    let mut put: BTreeMap<String, Vec<(Actor, String)>> = BTreeMap::new();
    for change in all {
        for text in &change.puts {
            put.entry(text.key.clone()).or_default().push((Actor(change.actor), text.text.clone()));
        }
    }
    put.values_mut().for_each(|texts| texts.sort());
    if document.values()? != put {
        found.faults.push("the document of the day does not hold the texts of its changes".to_owned());
    }
    Ok(())
}
