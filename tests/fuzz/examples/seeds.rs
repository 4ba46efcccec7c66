//! Writes the first inputs of each target into the folder that is named: honest packs, sessions, ids and signatures.

use ciborium::Value;
use firnbook_core::crew::hex;
use firnbook_core::day::{Actor, Change, Cover, DayId, History, Key};
use firnbook_core::entry::EntryId;
use firnbook_core::exchange::wire::{Records, Signatures};
use firnbook_core::exchange::{Peer, Role, Session};
use firnbook_core::store::Store;
use firnbook_fuzz::devices::{self, Device};
use firnbook_fuzz::frames::{self, Frame};
use firnbook_fuzz::rogue::{Rogue, body, change, day};
use firnbook_fuzz::session::{Setting, Target};
use firnbook_fuzz::{sign, tree};
use serde_bytes::ByteBuf;
use std::io::Read;
use std::path::PathBuf;

/// The type of a frame with the time of a clock.
const CLOCK: u8 = 10;

fn main() -> std::io::Result<()> {
    let into = PathBuf::from(std::env::args_os().nth(1).unwrap_or_else(|| "corpus".into()));
    let targets = [
        ("pack", packs()),
        ("base", sessions(Target::Base)),
        ("caller", sessions(Target::Caller)),
        ("ids", ids()),
        ("signatures", signatures()),
    ];
    for (target, inputs) in targets {
        let folder = into.join(target);
        std::fs::create_dir_all(&folder)?;
        for (n, input) in inputs.iter().enumerate() {
            std::fs::write(folder.join(format!("seed-{n}")), input)?;
        }
    }
    Ok(())
}

/// Two histories of one key from the same change on: what follows is withdrawn.
fn fork(number: u8) -> (Vec<Change>, Vec<Cover>) {
    let device = Rogue::new(number);
    let one = device.change(1, None, &[body(1, 100)]);
    let lines = [body(2, 110), body(3, 120)].map(|entry| device.change(2, Some(&one), &[entry]));
    let covers = lines.iter().map(|line| device.cover(&[line])).collect();
    (std::iter::once(one).chain(lines).collect(), covers)
}

/// A change without a signature, and one whose cause is missing, with its signature.
fn waiting(number: u8) -> (Vec<Change>, Vec<Cover>) {
    let device = Rogue::new(number);
    let missing = device.change(1, None, &[body(11, 100)]);
    let after = device.change(2, Some(&missing), &[body(12, 110)]);
    let unsigned = change(Rogue::new(number + 1).actor(History::Entries), 1, None, &[body(13, 120)]);
    let cover = device.cover(&[&after]);
    (vec![after, unsigned], vec![cover])
}

fn packs() -> Vec<Vec<u8>> {
    let device = Rogue::new(devices::OTHER);
    let (forked, forked_covers) = fork(2);
    let (late, late_covers) = waiting(3);
    let (row, row_covers) = row(12);
    let adopted =
        (format!("{}/adopted", firnbook_fuzz::rogue::ulid(1)), r#"{"v":true,"by":"Rogue"}"#.to_owned());
    let adopts = change(device.actor(History::Registers), 1, None, &[adopted]);
    let adopt_cover = device.cover(&[&adopts]);
    let other = Device::new(devices::OTHER, true);
    let mut book = other.book();
    book.merge(devices::pack_of(devices::BASE), false).expect("a good pack");
    // A second day without entries: what a logbook writes has random ids.
    let mut store = Store::open(book.path()).expect("a store");
    let (second, _) = store.begin(firnbook_fuzz::date(), "Far Bowl").expect("a new day");
    let signed = |days: &[DayId]| book.pack(days).expect("days that are held").bytes;
    vec![
        devices::pack_of(devices::OTHER).to_vec(),
        Rogue::new(2).pack(vec![forked[0].clone()], forked_covers, forked[1..].to_vec()),
        Rogue::new(3).pack(vec![], late_covers, late),
        Rogue::new(2).pack(row, row_covers, vec![]),
        device.pack(vec![adopts], vec![adopt_cover], vec![]),
        signed(&[day()]),
        signed(&[day(), second]),
    ]
}

/// Changes of one device, one after another.
fn row(count: u32) -> (Vec<Change>, Vec<Cover>) {
    let device = Rogue::new(2);
    let mut changes: Vec<Change> = Vec::new();
    for n in 0..count {
        changes.push(device.change(n + 1, changes.last(), &[body(200 + n as usize, 60 + n)]));
    }
    let covers = changes.last().map(|last| device.cover(&[last])).into_iter().collect();
    (changes, covers)
}

/// What the third device holds beyond its own, when a session begins.
enum More {
    Nothing,
    Written((Vec<Change>, Vec<Cover>)),
    /// What the other side holds, and the other side what it holds.
    Same,
    SecondDay,
}

/// What the third device says in sessions, by how it is known and what it holds.
fn sessions(target: Target) -> Vec<Vec<u8>> {
    let scenes = [
        (0, More::Nothing),
        (1, More::Nothing),
        (3, More::Nothing),
        (1, More::Written(fork(2))),
        (0, More::Written(waiting(3))),
        (1, More::Written(row(40))),
        (0, More::Same),
        (1, More::SecondDay),
    ];
    let mut inputs: Vec<Vec<u8>> = scenes.iter().map(|(byte, more)| session(target, *byte, more)).collect();
    // An invited device says hello, and then what a member says.
    let (_, member) = frames::parse(&inputs[1]);
    inputs.push(frames::input(2, &member[1..]));
    // Types that may be skipped or are not known, content that is not deflated.
    let odd = [(0x91, 3), (12, 40), (frames::AS_IT_IS | 11, 4), (14, 2)];
    let odd = odd.map(|(number, length)| Frame { number, content: vec![0x60; length] });
    inputs.push(frames::input(1, &odd));
    inputs
}

fn session(target: Target, byte: u8, more: &More) -> Vec<u8> {
    let (setting, (number, role)) = (Setting::of(byte), target.checked());
    let in_crew = setting != Setting::Cable;
    let (other, device) = (Device::new(devices::OTHER, in_crew), Device::new(number, in_crew));
    let mut book = other.book();
    match more {
        More::Nothing => {}
        More::Written((changes, covers)) => {
            let pack = Rogue::new(2).pack(vec![], covers.clone(), changes.clone());
            book.merge(&pack, false).expect("a good pack");
        }
        More::Same => {
            book.merge(devices::pack_of(number), false).expect("a good pack");
            device.book().merge(devices::pack_of(devices::OTHER), false).expect("a good pack");
        }
        More::SecondDay => {
            let mut store = Store::open(book.path()).expect("a store");
            store.begin(firnbook_fuzz::date(), "Far Bowl").expect("a new day");
        }
    }
    let peer = match setting {
        Setting::Cable => Peer::Cable,
        _ => devices::peer(number, usize::from(setting == Setting::OldKey)),
    };
    let their_role = if role == Role::Base { Role::Caller } else { Role::Base };
    let mut theirs = Session::new(&other.host(), their_role, peer).expect("a session");
    let mut ours = Session::new(&device.host(), role, setting.peer()).expect("a session");
    let (mut said, mut clocks) = (Vec::new(), 0);
    let mut moved = true;
    while std::mem::take(&mut moved) {
        while let Some(bytes) = theirs.outgoing() {
            ours.incoming(&bytes);
            said.push(frame(&bytes));
            moved = true;
        }
        while let Some(bytes) = ours.outgoing() {
            theirs.incoming(&bytes);
            moved = true;
        }
    }
    // Clock exchanges say the same again and again.
    said.retain(|frame| {
        clocks += u8::from(frame.number == CLOCK);
        frame.number != CLOCK || clocks < 3
    });
    frames::input(byte, &said)
}

/// A frame as it was before it was deflated.
fn frame(bytes: &[u8]) -> Frame {
    let mut content = Vec::new();
    let inflated = flate2::read::DeflateDecoder::new(&bytes[5..]).read_to_end(&mut content);
    inflated.expect("a frame of this program");
    Frame { number: bytes[4], content }
}

fn ids() -> Vec<Vec<u8>> {
    let ulid = EntryId::from_bytes([0x5a; 16]).to_string();
    let device = devices::id(1).to_string();
    let actor = Actor::new(devices::id(1), [7; 8], History::Registers).to_string();
    let keys = [
        format!("{ulid}/depth_cm"),
        format!("{ulid}/void"),
        format!("{ulid}/body"),
        format!("{ulid}/adopted"),
        format!("{ulid}!order"),
        "drill:1/slope_deg".to_owned(),
        "target:1:a/set_depth_cm".to_owned(),
        "alias:target:1:anna".to_owned(),
        Key::Area.to_string(),
        format!("day/closed:{device}"),
        format!("{ulid}~7{}", &ulid[1..]),
    ];
    let texts = [ulid.clone(), device.clone(), actor, day().to_string(), device.to_uppercase()];
    texts.into_iter().chain(keys).map(String::into_bytes).chain([vec![0xa7; 24]]).collect()
}

fn signatures() -> Vec<Vec<u8>> {
    let cover =
        |number: u8, tips: u8| Cover::sign(&sign::key(number), day(), (0..tips).map(|n| [n; 32]).collect());
    let covers = [vec![cover(1, 1)], vec![cover(2, 2), cover(3, 1), cover(6, 2)], vec![cover(1, 64)]];
    let mut inputs: Vec<Vec<u8>> =
        covers.iter().map(|covers| encoded(&Signatures::of(day(), covers, false))).collect();
    let mut records = devices::records();
    records.push(devices::joining(devices::INVITED, devices::INVITATION));
    let bytes = records.iter().map(|record| ByteBuf::from(record.bytes().to_vec()));
    inputs.push(encoded(&Records { records: bytes.collect(), more: false }));
    inputs.extend(records.iter().map(|record| record.bytes().to_vec()));
    let unknown = Value::Map(vec![(Value::Text("act".to_owned()), Value::Text(hex(b"newer")))]);
    inputs.push(tree::bytes(&unknown));
    inputs
}

fn encoded(frame: &impl serde::Serialize) -> Vec<u8> {
    let mut bytes = Vec::new();
    // Writing into memory does not fail.
    let _ = ciborium::into_writer(frame, &mut bytes);
    bytes
}
