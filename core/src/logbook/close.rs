//! Closing a day: saying that it is whole, as far as this device knows; in a crew under its signature. And reading such seals again.

use super::{DayBegun, Logbook, LogbookError, bounded};
use crate::crew::{Signing, hex, unhex, verify};
use crate::day::{Change, DayId, DeviceId, Hash, Key, Saying};
use crate::entry::Time;
use crate::insight::debrief::Awaited;
use crate::review::{KitItem, KitState};
use crate::store::Keyring;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Value, json};
use std::collections::{HashMap, HashSet};

/// What is signed begins with this, so that a signature over anything else never passes for a seal.
const CONTEXT: &[u8] = b"firnbook-day-closed-1\n";

/// One closing of a day.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Seal {
    /// The device that closed it
    pub device: DeviceId,
    /// What the crew calls that device
    pub label: Option<String>,
    /// Call sign of who closed it
    pub by: String,
    /// When, by that device's clock
    pub at: Option<Time>,
    /// What its signature is worth
    pub signature: SealSignature,
    /// Entries and corrections that came after it
    pub after: usize,
    /// Changes that it closed and that do not count here: they were withdrawn since, wait, or have not come
    pub missing: usize,
}

/// What the signature of a seal is worth here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum SealSignature {
    /// Of a device that belongs, or belonged, to this crew, over the day as it was then
    Good,
    /// It fits, of a device that this crew does not know
    Unknown,
    /// It does not fit: what it says was closed was altered
    False,
    /// Nobody signed: the device was in no crew
    None,
}

impl Logbook {
    /// Who should have handed in and of whom nothing has come.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn awaited(&self, day: DayId) -> Result<Vec<Awaited>, LogbookError> {
        Ok(self.debrief(day, &super::Ask::default())?.awaited)
    }

    /// Closes a day: its heads as they are now are put down. What comes later is merged all the same and shows as after the closing.
    ///
    /// # Errors
    /// [`LogbookError::StillOpen`] while kit is out or someone is awaited and no reason is given to close it despite that;
    /// [`LogbookError::Refused`] for a reason that is too long.
    pub fn close_day(
        &mut self,
        day: DayId,
        despite: Option<&str>,
        by: &str,
    ) -> Result<DayBegun, LogbookError> {
        let mut because = Vec::new();
        let out: Vec<_> =
            self.kit()?.into_iter().filter(|k| k.state == KitState::InSnow && k.day == day).collect();
        if !out.is_empty() {
            let label =
                |k: &KitItem| k.item.clone().or_else(|| Some(format!("target {}", k.target.as_ref()?)));
            let labels: Vec<String> = out.iter().filter_map(label).collect();
            because.push(format!("in the snow: {}", labels.join(", ")));
        }
        let awaited = self.awaited(day)?;
        if !awaited.is_empty() {
            let names: Vec<String> = awaited.iter().filter_map(|a| a.call_sign.clone()).collect();
            because.push(format!("not handed in: {}", names.join(", ")));
        }
        if !because.is_empty() && despite.is_none_or(|d| d.trim().is_empty()) {
            return Err(LogbookError::StillOpen { day, because });
        }
        let stamp = self.clocked()?;
        let device = self.device();
        let ring = Keyring::read(&**self.store.files(), device)?;
        self.store.write::<_, LogbookError>(|seen| {
            let heads = seen.heads(day)?;
            let names: Vec<String> = heads.iter().map(|h| hex(h)).collect();
            let mut v = json!({ "heads": names, "despite": despite });
            if let Some(ring) = &ring {
                v["key"] = json!(hex(&ring.keys.signs_as()));
                v["signature"] = json!(hex(&ring.keys.sign(&to_sign(day, &heads))));
            }
            let text = bounded("despite", &stamp.register(v, by))?;
            Ok((vec![(day, vec![(Key::Closed(device), text)])], ()))
        })?;
        // A closed day is read as a whole from now on, if at all.
        self.store.fold(day)?;
        self.day(day)
    }

    /// Every closing of a day, held against its signature and against what came since.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn seals(&self, day: DayId) -> Result<Vec<Seal>, LogbookError> {
        let registers = self.record(day)?.registers;
        let closings = registers.0.iter().filter(|(key, _)| matches!(key, Key::Closed(_)));
        let closings: Vec<&Saying> = closings.flat_map(|(_, sayings)| sayings).collect();
        if closings.is_empty() {
            return Ok(Vec::new());
        }
        let ring = Keyring::read(&**self.store.files(), self.device())?;
        let roster = ring.as_ref().map(|r| self.roster(r)).transpose()?;
        let changes = self.store.changes(day)?;
        let set_aside: Vec<Change> = self.store.set_aside(day)?.into_iter().map(|a| a.change).collect();
        let mut seals = Vec::with_capacity(closings.len());
        for closing in closings {
            let heads = heads(closing);
            let key = closing.v.get("key").and_then(Value::as_str).and_then(unhex::<32>);
            let known = match (&roster, &key) {
                (Some(roster), Some(key)) => match roster.signing_as(key) {
                    Signing::Member(m) | Signing::Removed(m, _) => Some(m),
                    Signing::Unknown => None,
                },
                _ => None,
            };
            let known = known.filter(|m| *m.device == closing.device.0);
            let signed = closing.v.get("signature").and_then(Value::as_str).and_then(unhex::<64>);
            let signature = match (&heads, key, signed) {
                (_, None, None) if closing.v.get("signature").is_none() => SealSignature::None,
                (Some(heads), Some(key), Some(signed)) if verify(&key, &to_sign(day, heads), &signed) => {
                    if known.is_some() {
                        SealSignature::Good
                    } else {
                        SealSignature::Unknown
                    }
                }
                _ => SealSignature::False,
            };
            let (after, missing) = since(&changes, &set_aside, &heads.unwrap_or_default());
            seals.push(Seal {
                device: closing.device,
                label: known.map(|m| m.label.clone()),
                by: closing.by.clone(),
                at: closing.at,
                signature,
                after,
                missing,
            });
        }
        Ok(seals)
    }
}

fn to_sign(day: DayId, heads: &[Hash]) -> Vec<u8> {
    heads.iter().fold([CONTEXT, &day.0].concat(), |message, head| [&message[..], head].concat())
}

fn heads(closing: &Saying) -> Option<Vec<Hash>> {
    let names = closing.v.get("heads")?.as_array()?;
    let mut heads: Vec<Hash> = names.iter().map(|name| unhex(name.as_str()?)).collect::<Option<_>>()?;
    heads.sort_unstable();
    Some(heads)
}

/// How many of the changes that count and speak of entries are neither among `heads` nor depended on by them; and how many of those that are do
/// not count, a head of which nothing is held being one.
fn since(changes: &[Change], set_aside: &[Change], heads: &[Hash]) -> (usize, usize) {
    let held: HashMap<Hash, &Change> = changes.iter().chain(set_aside).map(|c| (c.hash, c)).collect();
    let mut before: HashSet<Hash> = HashSet::new();
    let mut open: Vec<Hash> = heads.to_vec();
    while let Some(hash) = open.pop() {
        if before.insert(hash) {
            open.extend(held.get(&hash).into_iter().flat_map(|c| c.deps.iter().copied()));
        }
    }
    let of_entries = |c: &&Change| c.puts.iter().any(|put| Key::read(&put.key).entry().is_some());
    let after = changes.iter().filter(|c| !before.contains(&c.hash)).filter(of_entries).count();
    let unknown = heads.iter().filter(|head| !held.contains_key(*head)).count();
    (after, unknown + set_aside.iter().filter(|c| before.contains(&c.hash)).count())
}
