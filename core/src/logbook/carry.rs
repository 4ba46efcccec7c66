//! Carrying days between devices: packs out, packs in.

use super::watch::told;
use super::{CrewError, Logbook, LogbookError};
use crate::crew::Signing;
use crate::day::format::read_change;
use crate::day::{Cover, DayId, DeviceId};
use crate::exchange::{self, Manifest, PackError, PackedDay};
use crate::store::{Incoming, Keyring, StoreError, Taken};
use schemars::JsonSchema;
use serde::Serialize;

/// A pack, ready to be written to a file.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug)]
pub struct Packed {
    /// The file's content.
    pub bytes: Vec<u8>,
    /// The days in it.
    pub days: Vec<DayId>,
    /// Entries in it.
    pub entries: usize,
}

/// What merging one pack did.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Merged {
    /// Its days.
    pub days: Vec<DayMerged>,
    /// Who made the pack; absent for loose changes.
    pub made_by: Option<PackedBy>,
}

/// Who made a pack, as far as can be told here.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct PackedBy {
    /// The device that the pack names
    pub device: DeviceId,
    /// What the crew calls it
    pub label: Option<String>,
    /// What the signature is worth here
    pub signature: PackSignature,
}

/// What the signature of a pack is worth here.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum PackSignature {
    /// Of a device of this crew
    Member,
    /// In this crew's name, of a device that is not known here: it was let in elsewhere, or never
    Unknown,
    /// Of a device of another crew
    OtherCrew,
    /// It fits, but this device is in no crew and can't tell whose it is
    Unchecked,
    /// Nobody signed
    None,
}

/// What merging did to one day.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct DayMerged {
    /// The day.
    pub day: DayId,
    /// Every change of it was held already.
    pub known: bool,
    /// Entries first seen.
    pub new_entries: usize,
    /// Entries held before that are other now.
    pub amended: usize,
    /// Changes that wait for others or for a signature.
    pub waiting: usize,
    /// Changes withdrawn, since their key signed two histories.
    pub withdrawn: usize,
}

impl Merged {
    /// Nothing of it was new.
    #[must_use]
    pub fn known(&self) -> bool {
        self.days.iter().all(|d| d.known)
    }
}

impl Logbook {
    /// Packs days into one file; in a crew, signed by this device.
    ///
    /// # Errors
    /// A day that is not here, or a damaged one.
    pub fn pack(&self, days: &[DayId]) -> Result<Packed, LogbookError> {
        let rows = self.days()?;
        let mut packed = Vec::with_capacity(days.len());
        for (done, day) in days.iter().enumerate() {
            self.step(done, days.len())?;
            let area = rows.iter().find(|r| r.id == *day).map(|r| r.area.clone()).unwrap_or_default();
            packed.push(PackedDay { id: *day, area, content: self.store.content(*day)? });
        }
        let entries = packed.iter().map(PackedDay::entries).sum();
        let ring = Keyring::read(&**self.store.files(), self.device())?;
        let bytes = exchange::write(self.device(), &packed, ring.as_ref().map(|r| (&r.crew, &r.keys)))
            .map_err(StoreError::from)?;
        Ok(Packed { bytes, days: days.to_vec(), entries })
    }

    /// Packs days into one file that only devices of this crew can open.
    ///
    /// # Errors
    /// As [`Logbook::pack`], and [`LogbookError::Crew`] outside a crew.
    pub fn pack_for_crew(&self, days: &[DayId]) -> Result<Packed, LogbookError> {
        let ring = self.ring()?;
        let packed = self.pack(days)?;
        let sealed = ring.newest().and_then(|key| key.seal(&packed.bytes));
        Ok(Packed { bytes: sealed.ok_or(CrewError::NoKey)?, ..packed })
    }

    /// Takes a pack in, sealed or not, whole or not at all. With `dry_run` it only says what would happen.
    ///
    /// A pack of a device that was removed from this crew is refused. Any other is taken, and the answer says who signed it: a training day has
    /// guests, and what it holds says of each change which device wrote it.
    ///
    /// # Errors
    /// [`LogbookError::Pack`] for what is no good pack, [`LogbookError::Store`] for a day that is full; the store is then as before.
    pub fn merge(&mut self, bytes: &[u8], dry_run: bool) -> Result<Merged, LogbookError> {
        let ring = Keyring::read(&**self.store.files(), self.device())?;
        let opened = if exchange::is_sealed(bytes) {
            let keys = ring.as_ref().map(|r| r.crew_keys.as_slice()).unwrap_or_default();
            Some(exchange::unseal(bytes, keys)?)
        } else {
            None
        };
        let (manifest, days) = read_pack(opened.as_deref().unwrap_or(bytes))?;
        drop(opened);
        let made_by = self.made_by(&manifest, ring.as_ref())?;
        let incoming = days.into_iter().map(incoming).collect();
        Ok(Merged { made_by: Some(made_by), ..self.take_in(incoming, dry_run)? })
    }

    /// Makes the damaged days of this store whole with what a pack holds of them; other days of the pack are left alone. Returns the days.
    ///
    /// # Errors
    /// [`LogbookError::Pack`] for what is no good pack, else the store's; the store is then as before.
    pub fn repair(&mut self, bytes: &[u8]) -> Result<Vec<DayMerged>, LogbookError> {
        let (_, days) = read_pack(bytes)?;
        let mut repaired = Vec::new();
        for day in days {
            let damaged = match self.store.verify(day.id) {
                Ok(found) => !found.rows_equal,
                Err(StoreError::NoDay(_)) => false,
                Err(e) => return Err(e.into()),
            };
            if damaged {
                repaired.push(self.store.repair(incoming(day))?.into());
            }
        }
        Ok(repaired)
    }

    fn made_by(&self, manifest: &Manifest, ring: Option<&Keyring>) -> Result<PackedBy, LogbookError> {
        let device = manifest.device;
        let by =
            |label: Option<&str>, signature| PackedBy { device, label: label.map(str::to_owned), signature };
        let Some(ring) = ring else {
            let signed = manifest.signed().is_some();
            return Ok(by(None, if signed { PackSignature::Unchecked } else { PackSignature::None }));
        };
        let roster = self.roster(ring)?;
        let Some((crew, key)) = manifest.signed() else {
            // It can deny its key, and its name only by taking another one.
            return match roster.was_removed(device.0, None) {
                Some(m) => Err(PackError::Removed { label: m.label.clone(), device }.into()),
                None => Ok(by(roster.member(device.0).map(|m| m.label.as_str()), PackSignature::None)),
            };
        };
        match roster.signing_as(&key) {
            Signing::Removed(m, _) => Err(PackError::Removed { label: m.label.clone(), device }.into()),
            _ if crew != ring.crew => Ok(by(None, PackSignature::OtherCrew)),
            Signing::Member(m) if *m.device == device.0 => Ok(by(Some(&m.label), PackSignature::Member)),
            Signing::Member(_) | Signing::Unknown => Ok(by(None, PackSignature::Unknown)),
        }
    }

    /// Takes loose changes and covering signatures of a day in, in any order; those whose causes or signature are not here wait.
    ///
    /// # Errors
    /// As [`Logbook::merge`]; a change that can't be read refuses all.
    pub fn merge_changes(
        &mut self,
        day: DayId,
        changes: &[Vec<u8>],
        covers: Vec<Cover>,
    ) -> Result<Merged, LogbookError> {
        let read = changes.iter().map(|bytes| read_change(day.0, bytes)).collect::<Result<_, _>>();
        let changes = read.map_err(|why| PackError::Damaged(why.to_string()))?;
        self.take_in(vec![Incoming { day, beginning: None, changes, covers }], false)
    }

    fn take_in(&mut self, incoming: Vec<Incoming>, dry_run: bool) -> Result<Merged, LogbookError> {
        let Logbook { store, watch, .. } = self;
        let taken = store.take_in_steps(incoming, dry_run, |done, of| told(watch.as_deref(), done, of))?;
        Ok(Merged { days: taken.into_iter().map(DayMerged::from).collect(), made_by: None })
    }
}

impl From<Taken> for DayMerged {
    fn from(taken: Taken) -> DayMerged {
        DayMerged {
            day: taken.day,
            known: taken.new_changes == 0,
            new_entries: taken.new_entries,
            amended: taken.amended,
            waiting: taken.waiting,
            withdrawn: taken.withdrawn,
        }
    }
}

/// Reads a pack. A fault of a library ends here, with a sentence, and fails this file alone.
fn read_pack(bytes: &[u8]) -> Result<(Manifest, Vec<PackedDay>), PackError> {
    std::panic::catch_unwind(|| exchange::read(bytes))
        .unwrap_or_else(|_| Err(PackError::Damaged("reading it had to be stopped".to_owned())))
}

fn incoming(day: PackedDay) -> Incoming {
    let content = day.content;
    let changes = content.changes.into_iter().chain(content.aside).collect();
    Incoming { day: day.id, beginning: Some(content.beginning), changes, covers: content.covers }
}
