//! Three devices of one crew whose stores have the same content in every run: a base and a phone that must come to no harm, and a third one whose
//! keys the fuzzer knows.

use crate::rogue::{Rogue, body, change};
use firnbook_core::clock::Clock;
use firnbook_core::crew::{Act, CrewKey, DeviceKeys, Member, Record, Ticket};
use firnbook_core::day::{Change, DayId, DeviceId, Hash, History};
use firnbook_core::entry::Time;
use firnbook_core::exchange::{self, Host, Peer};
use firnbook_core::logbook::Logbook;
use firnbook_core::store::{BesideStore, DEVICE_FILE, KEYS_FILE, Keyring, SmallFiles, Store};
use serde_bytes::{ByteArray, ByteBuf};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

/// The number of the base's key.
pub const BASE: u8 = 100;
/// The number of the phone's key.
pub const PHONE: u8 = 101;
/// The number of the key of the third device, which is a member of the crew.
pub const OTHER: u8 = 1;
/// The number of the key of a device that has an invitation and is no member yet.
pub const INVITED: u8 = 2;
/// The number of the ticket in that invitation.
pub const INVITATION: u8 = 4;
/// The key of the crew, and one that it does not have any more.
const CREW_KEYS: [[u8; 32]; 2] = [[0xc0; 32], [0xc1; 32]];
/// Opens what is sealed to any of the devices; nothing is in these tests.
const SEAL: &str = "AGE-SECRET-KEY-1PYYSJZGFPYYSJZGFPYYSJZGFPYYSJZGFPYYSJZGFPYYSJZGFPYYSTFVYXW";
/// Seconds since 1970 at which the crew was founded: 2027-02-06, 10:00 at UTC+1.
const AT: i64 = 1_801_904_400;

/// A clock that shows one instant.
pub struct Still;

impl Clock for Still {
    fn now(&self) -> Time {
        Time::from_millis(AT * 1000, 60).expect("a time of this century")
    }
}

/// The device whose key has this number.
#[must_use]
pub fn id(number: u8) -> DeviceId {
    Rogue::new(number).device()
}

/// The keys by which a crew knows a device.
#[must_use]
pub fn keys(number: u8) -> DeviceKeys {
    let hex = |byte: u8| firnbook_core::crew::hex(&[byte; 32]);
    let secrets = serde_json::json!({
        "sign": hex(number), "exchange_secret": hex(number), "exchange": hex(number | 0x80), "seal": SEAL,
    });
    let secrets = serde_json::from_value(secrets).expect("the keys of a device");
    DeviceKeys::read(&secrets).expect("the keys of a device")
}

/// How a device is known in a session.
#[must_use]
pub fn peer(number: u8, crew_key: usize) -> Peer {
    Peer::Key { exchange: keys(number).exchanges_as(), crew_key: CrewKey(CREW_KEYS[crew_key % 2]).id() }
}

fn member(number: u8) -> Member {
    Member::of(id(number).0, &format!("Device {number}"), &keys(number))
}

/// The record with which an invited device asks to be let in.
#[must_use]
pub fn joining(number: u8, ticket: u8) -> Record {
    Record::by_ticket(Act::Join { member: member(number), at: AT }, &Ticket::from_secret(&[ticket; 32]))
}

/// The records of the crew, the one that founded it first.
#[must_use]
pub fn records() -> Vec<Record> {
    let base = keys(BASE);
    let found = Act::Found { member: member(BASE), salt: ByteBuf::from(vec![7; 16]), at: AT };
    let invite = |ticket: u8| {
        let ticket = ByteArray::new(Ticket::from_secret(&[ticket; 32]).public());
        Record::by_device(Act::Invite { ticket, until: AT + 3600, at: AT }, &base)
    };
    let mut records = vec![Record::by_device(found, &base)];
    records.extend([5, 6, INVITATION].map(invite));
    records.extend([joining(PHONE, 5), joining(OTHER, 6)]);
    records
}

/// What a device wrote into the day: entries, registers and the signature over both.
#[must_use]
pub fn written(number: u8) -> Vec<Change> {
    let device = Rogue::new(number);
    let n = usize::from(number) * 100;
    let one = device.change(1, None, &[body(n, 100), body(n + 1, 110)]);
    let two = device.change(2, Some(&one), &[body(n + 2, 120)]);
    let depth = serde_json::json!({ "v": 105, "by": "Rogue", "at": "2027-02-06T10:20:00.000+01:00" });
    let key = format!("{}/depth_cm", crate::rogue::ulid(n));
    let said = change(device.actor(History::Registers), 1, None, &[(key, depth.to_string())]);
    vec![one, two, said]
}

/// A pack with what a device wrote.
#[must_use]
pub fn pack_of(number: u8) -> &'static [u8] {
    static PACKS: OnceLock<BTreeMap<u8, Vec<u8>>> = OnceLock::new();
    let packs = PACKS.get_or_init(|| {
        let pack = |number| {
            let changes = written(number);
            let cover = Rogue::new(number).cover(&[&changes[1], &changes[2]]);
            (number, Rogue::new(number).pack(changes, vec![cover], vec![]))
        };
        [BASE, PHONE, OTHER].map(pack).into()
    });
    &packs[&number]
}

/// The hashes of what a device wrote.
#[must_use]
pub fn own_changes(number: u8) -> BTreeSet<Hash> {
    written(number).iter().map(|change| change.hash).collect()
}

/// The changes that count in a store, by all its days; it must be sound.
#[must_use]
pub fn held(book: &Logbook) -> BTreeSet<Hash> {
    let mut held = BTreeSet::new();
    for found in book.verify().expect("a store that can be read") {
        assert!(found.rows_equal, "{:?}", found.faults);
        let pack = book.pack(&[found.day]).expect("a day that is held can be packed").bytes;
        for day in exchange::read(&pack).expect("a pack of this program can be read").1 {
            held.extend(day.content.changes.iter().map(|change| change.hash));
        }
    }
    held
}

/// A device with a store of its own, which is gone with it.
pub struct Device {
    number: u8,
    folder: tempfile::TempDir,
}

impl Device {
    /// The base, in the crew or in none.
    #[must_use]
    pub fn base(in_crew: bool) -> Device {
        Device::new(BASE, in_crew)
    }

    /// The device with this key, as it always begins.
    #[must_use]
    pub fn new(number: u8, in_crew: bool) -> Device {
        let beginning = Beginning::of(number);
        let device = Device { number, folder: folder() };
        let files = BesideStore::of(&device.path());
        let write = |path: &Path, content: &[u8]| std::fs::write(path, content).expect("room for a store");
        write(&device.path(), &beginning.store);
        write(&files.path(DEVICE_FILE), &beginning.device);
        if in_crew {
            write(&files.path(KEYS_FILE), &beginning.keys);
        }
        device
    }

    /// The number of its key.
    #[must_use]
    pub fn number(&self) -> u8 {
        self.number
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("store")
    }

    /// Its logbook.
    #[must_use]
    pub fn book(&self) -> Logbook {
        Logbook::open(&self.path(), Box::new(Still)).expect("a store")
    }

    /// The device as it takes part in sessions.
    #[must_use]
    pub fn host(&self) -> Arc<Host> {
        Host::open(&self.path(), Arc::new(Still), &format!("Device {}", self.number)).expect("a store")
    }

    /// What two devices compare of what it holds.
    #[must_use]
    pub fn digests(&self) -> Digests {
        let store = Store::open(&self.path()).expect("a store");
        let records = store.crew_record_count().expect("a store that can be read");
        Digests { days: store.all_digests().expect("a store that can be read"), records }
    }

    /// Whether it holds what it held in the beginning.
    #[must_use]
    pub fn is_as_in_the_beginning(&self) -> bool {
        self.digests() == Beginning::of(self.number).digests
    }
}

/// A folder in memory, where the system has one.
fn folder() -> tempfile::TempDir {
    let memory = Path::new("/dev/shm");
    let folder = if memory.is_dir() { tempfile::tempdir_in(memory) } else { tempfile::tempdir() };
    folder.expect("a temporary folder")
}

/// What two devices compare.
#[derive(PartialEq, Eq)]
pub struct Digests {
    /// A hash of what is held of each day.
    pub days: Vec<(DayId, Hash)>,
    records: i64,
}

/// The files with which a device begins, and what they hold.
struct Beginning {
    digests: Digests,
    store: Vec<u8>,
    device: Vec<u8>,
    keys: Vec<u8>,
}

impl Beginning {
    fn of(number: u8) -> &'static Beginning {
        static MADE: OnceLock<BTreeMap<u8, Beginning>> = OnceLock::new();
        &MADE.get_or_init(|| [BASE, PHONE, OTHER].map(|n| (n, Beginning::made(n))).into())[&number]
    }

    fn made(number: u8) -> Beginning {
        let folder = folder();
        let path = folder.path().join("store");
        let files = BesideStore::of(&path);
        let hex = firnbook_core::crew::hex(&[number; 32]);
        let device = serde_json::json!({ "device": id(number), "key": hex }).to_string().into_bytes();
        files.create(DEVICE_FILE, &device).expect("room for a key");
        let records = records();
        let ring = Keyring {
            device: id(number),
            keys: keys(number),
            crew: records[0].id(),
            crew_keys: CREW_KEYS.iter().rev().map(|key| CrewKey(*key)).collect(),
            joining: None,
            addresses: Vec::new(),
        };
        ring.write(&files).expect("room for keys");
        let mut store = Store::open(&path).expect("a new store");
        store.keep_crew_records(&records).expect("records of the crew");
        drop(store);
        let mut book = Logbook::open(&path, Box::new(Still)).expect("a new store");
        book.merge(pack_of(number), false).expect("a good pack");
        drop(book);
        let read = |path: &Path| std::fs::read(path).expect("a file just written");
        let (store, keys) = (read(&path), read(&files.path(KEYS_FILE)));
        let digests = Device { number, folder }.digests();
        Beginning { digests, store, device, keys }
    }
}
