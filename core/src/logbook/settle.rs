//! What needs a person, over all days, and writing what a person decided.

use super::reading::DayRead;
use super::season::KIT;
use super::{Logbook, LogbookError, bounded};
use crate::day::{DayId, Key, Record};
use crate::entry::EntryId;
use crate::insight::thresholds::Thresholds;
use crate::review::{self, Choice, Item, KitItem, Settled, Verdict};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

impl Logbook {
    /// Every piece of kit of all days, in the snow first.
    ///
    /// # Errors
    /// The store's.
    pub fn kit(&self) -> Result<Vec<KitItem>, LogbookError> {
        let from =
            Sha256::digest([env!("FIRNBOOK_SOURCE").as_bytes(), &self.store.digest()?].concat()).into();
        let kept = self.store.kept_over(KIT.name, from)?;
        if let Some(kept) = kept.and_then(|rows| postcard::from_bytes(&rows).ok()) {
            return Ok(review::from_keys(kept));
        }
        let (mut events, mut fresh) = (Vec::new(), Vec::new());
        for (day, _) in self.store.dates()? {
            events.extend(self.of_day(&KIT, day, &Thresholds::default(), &mut fresh)?.rows);
        }
        self.keep(&mut fresh);
        let items = review::kit_ledger(events);
        if let Ok(rows) = postcard::to_allocvec(&review::with_keys(&items)) {
            // Where it can't be kept, it is made again the next time.
            self.store.keep_over(KIT.name, from, &rows).ok();
        }
        Ok(items)
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
        let dates = self.store.dates()?.into_iter();
        let others = dates.filter(|(id, date)| *date == record.date && *id != record.id);
        let others: Vec<Record> = others.map(|(id, _)| self.store.record(id)).collect::<Result<_, _>>()?;
        let others: Vec<&Record> = others.iter().collect();
        let ground = read.ground();
        let kit = self.kit()?;
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
