//! What needs a person, over all days, and writing what a person decided.

use super::reading::DayRead;
use super::{Logbook, LogbookError, bounded};
use crate::day::{DayId, Key, Record};
use crate::entry::EntryId;
use crate::review::{self, Choice, Item, KitItem, Settled, Verdict};
use crate::store::DayRow;
use serde_json::{Value, json};

/// The kinds that tell where kit is; of days of another date no others are looked at.
const KIT_KINDS: [&str; 7] = ["kit", "target", "drill", "moment", "strike", "clock", "clock_mark"];

impl Logbook {
    /// Every piece of kit of all days, in the snow first.
    ///
    /// # Errors
    /// The store's.
    pub fn kit(&self) -> Result<Vec<KitItem>, LogbookError> {
        let records: Vec<Record> =
            self.days()?.iter().map(|d| self.store.record_of(d.id, &KIT_KINDS)).collect::<Result<_, _>>()?;
        Ok(review::kit(&records.iter().collect::<Vec<_>>()))
    }

    /// What of a day needs a person, in the order in which people should look.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn review(&self, day: DayId) -> Result<Vec<Item>, LogbookError> {
        Ok(self.review_of(&DayRead::of(self.record(day)?))?.0)
    }

    /// What of a day needs a person, and the kit of all days.
    pub(super) fn review_of(&self, read: &DayRead) -> Result<(Vec<Item>, Vec<KitItem>), LogbookError> {
        let record = &read.record;
        let one = |d: &DayRow| {
            if d.date == record.date {
                self.store.record(d.id)
            } else {
                self.store.record_of(d.id, &KIT_KINDS)
            }
        };
        let others: Vec<Record> =
            self.days()?.iter().filter(|d| d.id != record.id).map(one).collect::<Result<_, _>>()?;
        let others: Vec<&Record> = others.iter().collect();
        let ground = read.ground();
        let kit = review::kit_with(&ground, &others);
        let mut items = review::review(&ground, &read.one_event, &kit, &others);
        items.extend(review::after_removal(&ground, &self.removed_devices()?));
        let aside: Vec<review::Aside> =
            self.entries_aside(record.id)?.iter().map(|e| (e.id, e.device, e.withdrawn)).collect();
        items.extend(review::set_aside(&ground, &aside));
        items.sort_by_key(|i| i.sort);
        Ok((items, kit))
    }

    /// Settles items of a day. What is settled travels like any entry: it is settled everywhere then. With `dry_run` it only says what would be
    /// written.
    ///
    /// # Errors
    /// [`LogbookError::Settle`] for a code that no item has or a verdict that does not fit, [`LogbookError::Refused`] for a note that is too
    /// long; nothing was written then.
    pub fn settle(
        &mut self,
        day: DayId,
        choice: Choice<'_>,
        verdict: &Verdict,
        by: &str,
        note: Option<&str>,
        dry_run: bool,
    ) -> Result<Vec<Settled>, LogbookError> {
        let items = self.review(day)?;
        let stamp = self.clocked()?;
        self.store.write(|seen| {
            let record = seen.record(day)?;
            let settled = review::plan(&record, &items, choice, verdict)?;
            let mut puts: Vec<(Key, String)> = Vec::new();
            for (key, v) in settled.iter().flat_map(|s| &s.writes) {
                let mut register = stamp.register(v.clone(), by);
                // A time that is settled is said at base, whoever's clock it was read from first.
                if matches!(key, Key::Field(_, field) if field == "at") {
                    register["clock"] = json!("base");
                }
                if let Some(note) = note {
                    register["note"] = json!(note);
                }
                if let (Key::Void(id), Value::String(_)) = (key, v)
                    && let Some(noted) = record.entries.iter().find(|n| n.id == *id)
                {
                    register["of"] = json!(noted.seen_hash());
                }
                puts.retain(|(k, _)| k != key);
                puts.push((key.clone(), bounded("note", &register)?));
            }
            Ok((if dry_run { Vec::new() } else { vec![(day, puts)] }, settled))
        })
    }

    /// Says that two entries tell of one event, or of two.
    ///
    /// # Errors
    /// [`LogbookError::NoEntry`] for an entry that is not here.
    pub fn call_same(
        &mut self,
        day: DayId,
        one: EntryId,
        other: EntryId,
        same: bool,
        by: &str,
    ) -> Result<(), LogbookError> {
        let text = self.clocked()?.register(json!(same), by).to_string();
        self.store.write(|seen| {
            for id in [one, other] {
                seen.entry(day, id)?.ok_or_else(|| LogbookError::NoEntry(id.to_string()))?;
            }
            Ok((vec![(day, vec![(Key::same(one, other), text)])], ()))
        })
    }
}
