//! Days for tests: changes of several devices, and the same built by Automerge.

use super::columns::read_directory;
use super::inflate::Inflater;
use super::leb::{Input, put_bytes, put_unsigned};
use super::{Change, First, Hash, Put, encode, first_change};
use automerge::legacy::{self, OpType};
use automerge::{ActorId, Automerge, ChangeHash, ExpandedChange, ScalarValue};
use sha2::{Digest, Sha256};
use std::num::NonZeroU64;

/// Numbers that look random and are the same every time.
pub struct Dice(pub u64);

impl Dice {
    pub fn below(&mut self, limit: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) % limit as u64) as usize
    }
}

pub fn first() -> First {
    First { day: [0x5a; 16], date: "2027-02-06".to_owned(), area: "upper bowl".to_owned() }
}

/// A ULID of a number.
pub fn ulid(n: usize) -> String {
    let digits = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
    let tail: String = (0..8).rev().map(|k| digits[(n >> (5 * k)) & 31] as char).collect();
    format!("01KH5QX2M8Z4T6V9B3{tail}")
}

/// One history of one device.
struct History {
    actor: [u8; 24],
    latest: Vec<usize>,
    seq: u32,
}

/// Changes of some devices, causes first. Histories branch and join as after a restored backup, counters jump, registers meet under one key.
pub fn changes(devices: u8, count: usize, dice: &mut Dice) -> Vec<Change> {
    let first_hash = first_change(&first()).0;
    let mut histories: Vec<History> = Vec::new();
    for device in 0..devices {
        for history in 0..2 {
            let mut actor = [device; 24];
            actor[16..].copy_from_slice(&[7, 0, 0, 0, 0, 0, 0, 2 | history]);
            histories.push(History { actor, latest: vec![], seq: 0 });
        }
    }
    let mut changes: Vec<Change> = Vec::new();
    for n in 0..count {
        let at = dice.below(histories.len());
        let history = &mut histories[at];
        if dice.below(12) == 0 && !history.latest.is_empty() {
            // A restored backup continues as another actor, from an earlier change; or all branches come together.
            let kind = |change: &Change| (change.actor[..16].to_vec(), change.actor[23] & 1);
            let mine = kind(&changes[history.latest[0]]);
            let own: Vec<usize> = (0..n).filter(|k| kind(&changes[*k]) == mine).collect();
            history.latest = if dice.below(2) == 0 {
                vec![own[dice.below(own.len())]]
            } else {
                let is_head =
                    |k: &usize| own.iter().all(|other| !changes[*other].deps.contains(&changes[*k].hash));
                own.iter().copied().filter(is_head).collect()
            };
            history.actor[16] = history.actor[16].wrapping_add(1);
            history.actor[17] = n as u8;
            history.actor[18] = (n >> 8) as u8;
            history.seq = 0;
        }
        let deps: Vec<Hash> = if history.latest.is_empty() {
            vec![first_hash]
        } else {
            history.latest.iter().map(|k| changes[*k].hash).collect()
        };
        let above = history.latest.iter().map(|k| changes[*k].max_op()).max().unwrap_or(5);
        let start_op = above + 1 + if dice.below(5) == 0 { dice.below(300) as u32 } else { 0 };
        let registers = history.actor[23] & 1 == 1;
        let mut puts = Vec::new();
        for k in 0..if dice.below(4) == 0 { 1 + dice.below(6) } else { 1 } {
            let key = if registers { format!("{}/note{k}", ulid(dice.below(20))) } else { ulid(n * 8 + k) };
            let text = "ä\"{note}".repeat(dice.below(30));
            puts.push(Put { key, text });
        }
        history.seq += 1;
        changes.push(encode(first().day, history.actor, history.seq, start_op, deps, puts));
        history.latest = vec![n];
    }
    changes
}

/// The same change, encoded by Automerge.
pub fn by_automerge(day: [u8; 16], change: &Change) -> automerge::Change {
    let map = legacy::ObjectId::Id(legacy::OpId(5, ActorId::from(&day[..])));
    let operations = change.puts.iter().map(|put| legacy::Op {
        action: OpType::Put(ScalarValue::Str(put.text.as_str().into())),
        obj: map.clone(),
        key: legacy::Key::Map(put.key.as_str().into()),
        pred: Vec::new().into(),
        insert: false,
    });
    expanded(change, operations.collect())
}

/// A change at the place of another one, with other operations.
pub fn expanded(place: &Change, operations: Vec<legacy::Op>) -> automerge::Change {
    automerge::Change::from(ExpandedChange {
        operations,
        actor_id: ActorId::from(&place.actor[..]),
        hash: None,
        seq: place.seq.into(),
        start_op: NonZeroU64::new(place.start_op.into()).unwrap(),
        time: 0,
        message: None,
        deps: place.deps.iter().map(|dep| ChangeHash(*dep)).collect(),
        extra_bytes: Vec::new(),
        author: None,
    })
}

/// A document of the first change and these.
pub fn document(changes: &[Change]) -> Automerge {
    let first = automerge::Change::from_bytes(first_change(&first()).1).unwrap();
    let rest = changes.iter().map(|change| automerge::Change::from_bytes(change.bytes.clone()).unwrap());
    let mut document = Automerge::new();
    document.apply_changes(std::iter::once(first).chain(rest)).unwrap();
    document
}

/// A chunk in its parts, to be changed and put together with the right lengths and checksum. Deflated columns are inflated.
#[derive(Clone)]
pub struct Parts {
    kind: u8,
    /// All before the directories of columns.
    pub before: Vec<u8>,
    /// The columns of a change; those of the changes and those of the operations of a document.
    pub columns: Vec<Vec<(u32, Vec<u8>)>>,
    /// All after the columns.
    pub after: Vec<u8>,
}

impl Parts {
    pub fn of(bytes: &[u8]) -> Parts {
        let kind = bytes[8];
        let body = body(bytes);
        let mut input = Input::new("The chunk", body);
        if kind == 1 {
            input.hashes("dependencies", 1000).unwrap();
            input.text_bytes();
            (0..3).for_each(|_| assert!(input.unsigned().is_ok()));
            input.text_bytes();
        }
        for _ in 0..input.unsigned().unwrap() {
            input.text_bytes();
        }
        if kind == 0 {
            input.hashes("heads", 1000).unwrap();
        }
        let before = body[..body.len() - input.left()].to_vec();
        let directories: Vec<_> = (0..2 - kind).map(|_| read_directory(&mut input).unwrap()).collect();
        let mut inflater = Inflater::new(1 << 26);
        let mut column = |(spec, length): (u32, u64)| {
            let data = input.take(length).unwrap();
            if kind == 0 && spec & 8 != 0 {
                (spec & !8, inflater.inflate(data).unwrap())
            } else {
                (spec, data.to_vec())
            }
        };
        let columns =
            directories.into_iter().map(|list| list.into_iter().map(&mut column).collect()).collect();
        Parts { kind, before, columns, after: body[body.len() - input.left()..].to_vec() }
    }

    /// The data of a column, which is added if it is missing.
    pub fn column(&mut self, list: usize, spec: u32) -> &mut Vec<u8> {
        let list = &mut self.columns[list];
        let at = list.iter().position(|column| column.0 >= spec).unwrap_or(list.len());
        if list.get(at).is_none_or(|column| column.0 != spec) {
            list.insert(at, (spec, Vec::new()));
        }
        &mut list[at].1
    }

    pub fn bytes(&self) -> Vec<u8> {
        sealed(self.kind, &self.body())
    }

    fn body(&self) -> Vec<u8> {
        let mut body = self.before.clone();
        for list in &self.columns {
            put_unsigned(&mut body, list.len() as u64);
            for (spec, data) in list {
                put_unsigned(&mut body, u64::from(*spec));
                put_unsigned(&mut body, data.len() as u64);
            }
        }
        self.columns.iter().flatten().for_each(|column| body.extend_from_slice(&column.1));
        body.extend_from_slice(&self.after);
        body
    }
}

impl Input<'_> {
    fn text_bytes(&mut self) {
        let length = self.unsigned().unwrap();
        self.take(length).unwrap();
    }
}

/// The content of a chunk.
pub fn body(chunk: &[u8]) -> &[u8] {
    let mut input = Input::new("The chunk", &chunk[9..]);
    input.unsigned().unwrap();
    &chunk[chunk.len() - input.left()..]
}

/// A chunk with this content and the right length and checksum.
pub fn sealed(kind: u8, body: &[u8]) -> Vec<u8> {
    let mut bytes = vec![0x85, 0x6f, 0x4a, 0x83, 0, 0, 0, 0, kind];
    put_bytes(&mut bytes, body);
    let hash = Sha256::digest(&bytes[8..]);
    bytes[4..8].copy_from_slice(&hash[..4]);
    bytes
}
