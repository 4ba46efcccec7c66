//! Entries that a person takes over: those of a device whose key signed two histories count no more, and their text may be true all the same.

use super::{Changed, Logbook, LogbookError};
use crate::day::{Actor, DayId, DeviceId, Key};
use crate::entry::EntryId;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value, json};

/// An entry that is held and does not count.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct EntryAside {
    /// Identity.
    pub id: EntryId,
    /// The device that it claims.
    pub device: DeviceId,
    /// Withdrawn, since the device's key signed two histories; else it waits for other changes or for a signature.
    pub withdrawn: bool,
    /// The entry as written; empty where it is no JSON object.
    pub json: Map<String, Value>,
    #[serde(skip)]
    #[schemars(skip)]
    text: String,
}

impl Logbook {
    /// The entries of a day that are held and do not count: they wait, or were withdrawn.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn entries_aside(&self, day: DayId) -> Result<Vec<EntryAside>, LogbookError> {
        let mut found = Vec::new();
        for aside in self.store.set_aside(day)? {
            let device = Actor(aside.change.actor).device();
            for put in aside.change.puts {
                let Key::Entry(id) = Key::read(&put.key) else { continue };
                let json = serde_json::from_str(&put.text).unwrap_or_default();
                found.push(EntryAside { id, device, withdrawn: aside.withdrawn, json, text: put.text });
            }
        }
        found.sort_by_key(|e| (e.id, e.device));
        Ok(found)
    }

    /// Takes withdrawn entries over: this device writes the same text under the same id, and says which device claimed it before.
    ///
    /// # Errors
    /// [`LogbookError::NotWithdrawn`] for an entry that counts, waits, or is not here; nothing was written then.
    pub fn adopt(&mut self, day: DayId, ids: &[EntryId], by: &str) -> Result<Changed, LogbookError> {
        let aside = self.entries_aside(day)?;
        let stamp = self.clocked()?;
        self.store.write(|seen| {
            let (mut puts, mut changed) = (Vec::new(), Changed::default());
            for id in ids {
                let withdrawn = aside.iter().find(|e| e.id == *id && e.withdrawn);
                let Some(entry) = withdrawn.filter(|_| !matches!(seen.entry(day, *id), Ok(Some(_)))) else {
                    return Err(LogbookError::NotWithdrawn(id.to_string()));
                };
                let register = stamp.register(json!({ "device": entry.device }), by);
                puts.push((Key::Entry(*id), entry.text.clone()));
                puts.push((Key::Adopted(*id), register.to_string()));
                changed.ids.push(*id);
                changed.changed.push(*id);
            }
            Ok((vec![(day, puts)], changed))
        })
    }
}
