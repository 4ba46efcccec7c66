//! The crew from the logbook's side: founding, inviting, joining, removing, another key.

use super::{CrewError, Logbook, LogbookError};
use crate::crew::{Act, CrewKey, DeviceKeys, Invitation, Member, Record, Roster, Ticket, hex};
use crate::day::{DayId, DeviceId};
use crate::exchange::rotation;
use crate::store::{KEYS_FILE, Keyring, StoreError, random};
use schemars::JsonSchema;
use serde::Serialize;
use serde_bytes::{ByteArray, ByteBuf};
use std::net::SocketAddr;

/// A device of the crew.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct CrewDevice {
    /// The device.
    pub device: DeviceId,
    /// What people call it.
    pub label: String,
    /// It is this device.
    pub here: bool,
    /// It was removed.
    pub removed: bool,
}

/// The crew as this device knows it.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct CrewShown {
    /// The crew's id.
    pub crew: String,
    /// Which key of the crew holds, shortly; it says nothing of the key itself.
    pub key: String,
    /// Nobody has let this device in yet; the next exchange with base does.
    pub joining: bool,
    /// The devices, removed ones last.
    pub devices: Vec<CrewDevice>,
}

/// No invitation is good for longer, in hours: whoever finds it later must not get in.
pub const INVITATION_HOURS_MAX: u32 = 24 * 14;

impl Logbook {
    /// The crew; `None` where this device is in none.
    ///
    /// # Errors
    /// Keys that can't be read, or the store's.
    pub fn crew(&self) -> Result<Option<CrewShown>, LogbookError> {
        let Some(ring) = Keyring::read(&**self.store.files(), self.device())? else { return Ok(None) };
        Ok(Some(self.shown(&ring, &self.roster(&ring)?)))
    }

    /// Founds a crew with this device as its first, called `label`.
    ///
    /// # Errors
    /// [`LogbookError::Crew`] where this device is in one already.
    pub fn found_crew(&mut self, label: &str) -> Result<CrewShown, LogbookError> {
        let label = checked_label(label)?;
        if Keyring::read(&**self.store.files(), self.device())?.is_some() {
            return Err(CrewError::InOne.into());
        }
        let keys = DeviceKeys::fresh().map_err(no_randomness)?;
        let member = Member::of(self.device().0, label, &keys);
        let salt = ByteBuf::from(random::<16>()?.to_vec());
        let record = Record::by_device(Act::Found { member, salt, at: self.seconds() }, &keys);
        let ring = Keyring {
            device: self.device(),
            keys,
            crew: record.id(),
            crew_keys: vec![CrewKey::fresh().map_err(no_randomness)?],
            joining: None,
            addresses: Vec::new(),
        };
        self.store.keep_crew_records(&[record])?;
        ring.write(&**self.store.files())?;
        Ok(self.shown(&ring, &self.roster(&ring)?))
    }

    /// Makes an invitation for one device, good for so many hours. It names where base listens, and the day that is on.
    ///
    /// # Errors
    /// [`LogbookError::Crew`] outside a crew or for a time out of bounds.
    pub fn invite(
        &mut self,
        hours: u32,
        addresses: Vec<SocketAddr>,
        day: Option<DayId>,
    ) -> Result<Invitation, LogbookError> {
        if !(1..=INVITATION_HOURS_MAX).contains(&hours) {
            return Err(CrewError::Hours { hours, most: INVITATION_HOURS_MAX }.into());
        }
        let (ring, _) = self.membership()?;
        let day = day.map(|d| self.day(d)).transpose()?.map(|d| (d.date, d.area));
        let ticket = Ticket::fresh().map_err(no_randomness)?;
        let now = self.seconds();
        let until = now + i64::from(hours) * 3600;
        let act = Act::Invite { ticket: ByteArray::new(ticket.public()), until, at: now };
        self.store.keep_crew_records(&[Record::by_device(act, &ring.keys)])?;
        let key = ring.newest().cloned().ok_or(CrewError::NoKey)?;
        Ok(Invitation { crew: ring.crew, key, ticket, until, addresses, day })
    }

    /// Takes an invitation up: this device will be let in at its next exchange with base. The day that the invitation names is begun here.
    ///
    /// # Errors
    /// [`LogbookError::Crew`] in a crew already or for an invitation whose time is over.
    pub fn join_crew(&mut self, invitation: &Invitation, label: &str) -> Result<CrewShown, LogbookError> {
        let label = checked_label(label)?;
        if let Some(ring) = Keyring::read(&**self.store.files(), self.device())?
            && ring.joining.is_none()
        {
            let same = ring.crew == invitation.crew;
            return Err(if same { CrewError::InThis } else { CrewError::InAnother }.into());
        }
        let now = self.seconds();
        invitation.check(now).map_err(CrewError::from)?;
        let keys = DeviceKeys::fresh().map_err(no_randomness)?;
        let member = Member::of(self.device().0, label, &keys);
        let record = Record::by_ticket(Act::Join { member, at: now }, &invitation.ticket);
        let ring = Keyring {
            device: self.device(),
            keys,
            crew: invitation.crew,
            crew_keys: vec![invitation.key.clone()],
            joining: Some(record.bytes().to_vec()),
            addresses: invitation.addresses.iter().map(ToString::to_string).collect(),
        };
        if let Some((date, area)) = &invitation.day {
            self.begin_day(*date, area, label)?;
        }
        ring.write(&**self.store.files())?;
        Ok(self.shown(&ring, &self.roster(&ring)?))
    }

    /// Leaves the crew: this device forgets its keys. What it holds stays; the others see it as a member until someone removes it.
    ///
    /// # Errors
    /// [`LogbookError::Crew`] outside a crew.
    pub fn leave_crew(&mut self) -> Result<(), LogbookError> {
        self.ring()?;
        let files = self.store.files();
        let failed = |source| StoreError::File { path: files.path(KEYS_FILE), source };
        Ok(files.remove(KEYS_FILE).map_err(failed)?)
    }

    /// Removes a device from the crew. Doors close to it; what it wrote stays, and what others carry of it is taken in as ever.
    ///
    /// # Errors
    /// [`LogbookError::Crew`] for a device that no member has, or this one.
    pub fn remove_from_crew(&mut self, wanted: &str) -> Result<CrewShown, LogbookError> {
        let (ring, roster) = self.membership()?;
        let target = find(&roster, wanted)?;
        if *target.device == self.device().0 {
            return Err(CrewError::This.into());
        }
        let keeps = roster.signed_by(&target.sign).iter().map(|id| ByteArray::new(*id)).collect();
        let act = Act::Remove { sign: target.sign, keeps, at: self.seconds() };
        self.store.keep_crew_records(&[Record::by_device(act, &ring.keys)])?;
        Ok(self.shown(&ring, &self.roster(&ring)?))
    }

    /// Gives the crew another key, handed to each member at its next exchange, sealed so that only members can read it.
    ///
    /// # Errors
    /// [`LogbookError::Crew`] outside a crew.
    pub fn rotate_crew_key(&mut self) -> Result<CrewShown, LogbookError> {
        let (mut ring, roster) = self.membership()?;
        let number = roster.rotation().map_or(1, |(n, _)| n + 1);
        let key = CrewKey::fresh().map_err(no_randomness)?;
        let record = rotation(number, &key, roster.members(), &ring, self.seconds());
        // The key is on the disk before anyone can hear of it.
        ring.crew_keys.push(key);
        ring.write(&**self.store.files())?;
        self.store.keep_crew_records(&[record])?;
        Ok(self.shown(&ring, &self.roster(&ring)?))
    }

    /// Devices that were removed and not invited anew, each with the instant in milliseconds, by the remover's clock.
    pub(super) fn removed_devices(&self) -> Result<Vec<(DeviceId, i64)>, LogbookError> {
        let Some(ring) = Keyring::read(&**self.store.files(), self.device())? else { return Ok(Vec::new()) };
        let roster = self.roster(&ring)?;
        let gone = roster.removed().filter(|(m, _)| roster.member(*m.device).is_none());
        Ok(gone.map(|(m, at_s)| (DeviceId(*m.device), at_s.saturating_mul(1000))).collect())
    }

    /// Where the other side was found last, or is said to be, the likeliest first.
    ///
    /// # Errors
    /// Keys that can't be read.
    pub fn base_addresses(&self) -> Result<Vec<String>, LogbookError> {
        Ok(Keyring::read(&**self.store.files(), self.device())?.map(|r| r.addresses).unwrap_or_default())
    }

    /// Remembers where base was found.
    ///
    /// # Errors
    /// Keys that can't be read or written.
    pub fn remember_base(&mut self, address: &str) -> Result<(), LogbookError> {
        const REMEMBERED: usize = 8;
        let mut ring = self.ring()?;
        if ring.addresses.first().is_some_and(|a| a == address) {
            return Ok(());
        }
        ring.addresses.retain(|a| a != address);
        ring.addresses.insert(0, address.to_owned());
        ring.addresses.truncate(REMEMBERED);
        Ok(ring.write(&**self.store.files())?)
    }

    pub(super) fn ring(&self) -> Result<Keyring, LogbookError> {
        Keyring::read(&**self.store.files(), self.device())?.ok_or(CrewError::InNone.into())
    }

    /// The keys and the roster of a device that is let in.
    fn membership(&self) -> Result<(Keyring, Roster), LogbookError> {
        let ring = self.ring()?;
        let roster = self.roster(&ring)?;
        if roster.exchanging_as(&ring.keys.exchanges_as()).is_some() {
            return Ok((ring, roster));
        }
        let removed = roster.was_removed([0; 16], Some(&ring.keys.exchanges_as())).is_some();
        Err(if removed { CrewError::Removed } else { CrewError::NotLetIn }.into())
    }

    pub(super) fn roster(&self, ring: &Keyring) -> Result<Roster, LogbookError> {
        Ok(Roster::of(ring.crew, &self.store.crew_records()?))
    }

    fn shown(&self, ring: &Keyring, roster: &Roster) -> CrewShown {
        let device = |m: &Member, removed: bool| CrewDevice {
            device: DeviceId(*m.device),
            label: m.label.clone(),
            here: *m.device == self.device().0,
            removed,
        };
        let mut devices: Vec<CrewDevice> = roster.members().map(|m| device(m, false)).collect();
        devices.sort_by(|a, b| a.label.cmp(&b.label));
        devices.extend(roster.removed().map(|(m, _)| device(m, true)));
        CrewShown {
            crew: hex(&ring.crew),
            key: ring.newest().map(|k| hex(&k.id())).unwrap_or_default(),
            joining: ring.joining.is_some() && roster.exchanging_as(&ring.keys.exchanges_as()).is_none(),
            devices,
        }
    }

    /// Now, in seconds since 1970 UTC.
    fn seconds(&self) -> i64 {
        self.now().millis().div_euclid(1000)
    }
}

/// The member of this name: its label, or the beginning of its id.
fn find<'a>(roster: &'a Roster, wanted: &str) -> Result<&'a Member, CrewError> {
    let wanted = wanted.trim();
    let folded = crate::entry::fold(wanted);
    let fits = |m: &&Member| {
        crate::entry::fold(&m.label) == folded
            || (wanted.len() >= 4 && hex(&*m.device).starts_with(&wanted.to_lowercase()))
    };
    let found: Vec<&Member> = roster.members().filter(fits).collect();
    match found.as_slice() {
        [one] => Ok(one),
        [] => Err(CrewError::NoDevice(wanted.to_owned())),
        several => Err(CrewError::SeveralDevices {
            wanted: wanted.to_owned(),
            found: several.iter().map(|m| format!("{} ({})", hex(&*m.device), m.label)).collect(),
        }),
    }
}

fn checked_label(label: &str) -> Result<&str, CrewError> {
    const CHARS: usize = 60;
    let label = label.trim();
    if label.is_empty() || label.chars().count() > CHARS || label.chars().any(char::is_control) {
        return Err(CrewError::Label { most: CHARS });
    }
    Ok(label)
}

fn no_randomness(error: getrandom::Error) -> CrewError {
    CrewError::NoRandomness(error.to_string())
}
