//! What a device brings to its sessions and they share: the store, the crew's keys and roster, and what came half or was sent lately.

use super::segment::{Segment, Segments};
use crate::clock::Clock;
use crate::crew::{Act, CrewKey, Member, Record, Roster, seal_for};
use crate::day::{Change, Cover, DayId, DeviceId, Document, Hash};
use crate::store::{Keyring, Store, StoreError};
use serde_bytes::{ByteArray, ByteBuf};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// What half-come documents and changes may take up in memory, all together. Beyond, the oldest begin anew.
const BEGUN_BYTES: usize = 64 << 20;

/// A device that exchanges: one store for all its sessions, which take turns.
pub struct Host {
    shelf: Mutex<Shelf>,
    clock: Arc<dyn Clock>,
    label: String,
    device: DeviceId,
}

/// What the sessions of one device share.
pub(super) struct Shelf {
    pub store: Store,
    crew: Option<Crew>,
    begun: Vec<Begun>,
    served: Option<Served>,
    segments: Segments,
}

/// This device's place in its crew, as it stands now.
#[derive(Clone, Debug)]
pub struct Crew {
    /// Its keys.
    pub ring: Keyring,
    /// Who belongs to it.
    pub roster: Arc<Roster>,
    records: i64,
}

/// Something large of which the beginning is here.
struct Begun {
    sha256: [u8; 32],
    bytes: Vec<u8>,
}

/// A document that was put together for someone.
#[derive(Clone)]
pub(super) struct Served {
    day: DayId,
    heads: Vec<Hash>,
    /// SHA-256 of the bytes.
    pub sha256: [u8; 32],
    /// The saved document.
    pub bytes: Arc<Vec<u8>>,
    /// The covering signatures.
    pub covers: Vec<Cover>,
    /// The changes that wait or are withdrawn.
    pub aside: Vec<Change>,
}

impl Host {
    /// Opens the store at `path` for exchange. `label` is what people call this device.
    ///
    /// # Errors
    /// The store's, or keys that can't be read.
    pub fn open(path: &Path, clock: Arc<dyn Clock>, label: &str) -> Result<Arc<Host>, StoreError> {
        let store = Store::open(path)?;
        let device = store.device();
        let shelf =
            Shelf { store, crew: None, begun: Vec::new(), served: None, segments: Segments::default() };
        Ok(Arc::new(Host { shelf: Mutex::new(shelf), clock, label: label.to_owned(), device }))
    }

    /// What people call this device.
    #[must_use]
    pub fn label(&self) -> &str {
        &self.label
    }

    /// This device.
    #[must_use]
    pub fn device(&self) -> DeviceId {
        self.device
    }

    /// Its clock.
    #[must_use]
    pub fn clock(&self) -> &dyn Clock {
        &*self.clock
    }

    /// Now, in milliseconds since 1970 UTC.
    pub(super) fn now_ms(&self) -> i64 {
        self.clock.now().millis()
    }

    /// Which of this device's clocks it reads now, as in the entries' field `clock`.
    ///
    /// # Errors
    /// The store's.
    pub(super) fn clock_number(&self) -> Result<u32, StoreError> {
        self.shelf().store.clock_number(self.now_ms(), self.clock.since_boot().as_ref())
    }

    /// The crew as it stands now; `None` where this device is in none.
    ///
    /// # Errors
    /// Keys or records that can't be read.
    pub fn crew(&self) -> Result<Option<Crew>, StoreError> {
        self.shelf().crew()
    }

    pub(super) fn shelf(&self) -> MutexGuard<'_, Shelf> {
        // The store rolls a transaction back that did not end, and nothing else here can be half done.
        self.shelf.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Shelf {
    /// The crew as it stands now, other processes' work included.
    pub fn crew(&mut self) -> Result<Option<Crew>, StoreError> {
        let Some(mut ring) = Keyring::read(&**self.store.files(), self.store.device())? else {
            self.crew = None;
            return Ok(None);
        };
        let records = self.store.crew_record_count()?;
        let held = self.crew.take().filter(|c| c.records == records && c.ring.crew == ring.crew);
        let roster = match held {
            Some(held) => held.roster,
            None => Arc::new(Roster::of(ring.crew, &self.store.crew_records()?)),
        };
        if learn(&mut ring, &roster) {
            ring.write(&**self.store.files())?;
        }
        self.crew = Some(Crew { ring, roster, records });
        Ok(self.crew.clone())
    }

    /// Sees to it that a member can read the key that holds now.
    pub fn hand_key_to(&mut self, member: &Member, now_s: i64) -> Result<(), StoreError> {
        let Some(crew) = self.crew()? else { return Ok(()) };
        let (Some((number, key)), Some(newest)) = (crew.roster.rotation(), crew.ring.newest()) else {
            return Ok(());
        };
        if crew.roster.sealed_to(*member.device).is_some() || newest.id() != key {
            return Ok(());
        }
        let record = rotation(number, newest, [member], &crew.ring, now_s);
        self.store.keep_crew_records(&[record])
    }

    /// The document of a day as bytes, from memory if it was asked for lately.
    pub fn document(&mut self, day: DayId) -> Result<Served, StoreError> {
        let heads = self.store.heads(day)?;
        if let Some(served) = self.served.as_ref().filter(|s| s.day == day && s.heads == heads) {
            return Ok(served.clone());
        }
        self.served = None;
        let content = self.store.content(day)?;
        let bytes = Document::of(&content.beginning, &content.changes)?.save();
        let served = Served {
            day,
            heads,
            sha256: Sha256::digest(&bytes).into(),
            bytes: Arc::new(bytes),
            covers: content.covers,
            aside: content.aside,
        };
        self.served = Some(served.clone());
        Ok(served)
    }

    /// Changes of these numbers, deflated, from memory if someone lacked the same lately.
    pub fn segment(&mut self, numbers: &[i64]) -> Result<Arc<Segment>, StoreError> {
        self.segments.get(numbers, || self.store.changes_numbered(numbers))
    }

    /// What came half: SHA-256 and bytes here.
    pub fn begun(&self) -> Vec<([u8; 32], usize)> {
        self.begun.iter().map(|b| (b.sha256, b.bytes.len())).collect()
    }

    /// Adds a piece that begins at `at`; the whole if it is complete now. `None` also where a piece before it is missing.
    pub fn piece(
        &mut self,
        sha256: [u8; 32],
        length: usize,
        at: usize,
        bytes: &[u8],
    ) -> Result<Option<Vec<u8>>, Gap> {
        let i = match self.begun.iter().position(|b| b.sha256 == sha256) {
            Some(i) => i,
            None => {
                self.begun.push(Begun { sha256, bytes: Vec::new() });
                self.begun.len() - 1
            }
        };
        let begun = &mut self.begun[i];
        let here = begun.bytes.len();
        let end = at.checked_add(bytes.len()).filter(|end| *end <= length && at <= here).ok_or(Gap)?;
        if end > here {
            begun.bytes.extend_from_slice(&bytes[here - at..]);
        }
        if begun.bytes.len() == length {
            return Ok(Some(self.begun.swap_remove(i).bytes));
        }
        while self.begun.len() > 1 && self.begun.iter().map(|b| b.bytes.len()).sum::<usize>() > BEGUN_BYTES {
            let oldest = usize::from(self.begun[0].sha256 == sha256);
            self.begun.remove(oldest);
        }
        Ok(None)
    }
}

/// A piece does not follow those before it.
#[derive(Debug)]
pub(super) struct Gap;

/// Takes over what the roster says about this device: the key that holds now, and that it was let in. `true`: the file is to be written.
fn learn(ring: &mut Keyring, roster: &Roster) -> bool {
    let mut learned = false;
    if ring.joining.is_some() && roster.exchanging_as(&ring.keys.exchanges_as()).is_some() {
        ring.joining = None;
        learned = true;
    }
    let Some((_, id)) = roster.rotation() else { return learned };
    if ring.newest().is_some_and(|k| k.id() == id) {
        return learned;
    }
    if let Some(i) = ring.crew_keys.iter().position(|k| k.id() == id) {
        let key = ring.crew_keys.remove(i);
        ring.crew_keys.push(key);
        return true;
    }
    let opened = roster.sealed_to(ring.device.0).and_then(|sealed| ring.keys.open(sealed));
    let key = opened.and_then(|bytes| Some(CrewKey(bytes.try_into().ok()?))).filter(|k| k.id() == id);
    learned |= key.is_some();
    ring.crew_keys.extend(key);
    learned
}

/// The record that hands a key of the crew to these devices.
pub fn rotation<'a>(
    number: u64,
    key: &CrewKey,
    to: impl IntoIterator<Item = &'a Member>,
    ring: &Keyring,
    now_s: i64,
) -> Record {
    let sealed: BTreeMap<String, ByteBuf> = to
        .into_iter()
        .filter_map(|m| Some((crate::crew::hex(&*m.device), ByteBuf::from(seal_for(&m.seal, &key.0)?))))
        .collect();
    let act = Act::Rotate { number, key: ByteArray::new(key.id()), sealed, at: now_s };
    Record::by_device(act, &ring.keys)
}
