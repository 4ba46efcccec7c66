//! A chunk of Automerge's binary format, taken apart, so that a part can be altered and the rest fits again.

use crate::alter::Alter;
use crate::{DAY, meaning};
use firnbook_core::day::Hash;
use firnbook_core::day::format::Bounds;
use sha2::{Digest, Sha256};
use std::io::{Read, Write};

/// How every chunk begins.
pub const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];
const HEADER: usize = 8;
const DOCUMENT: u8 = 0;
const CHANGE: u8 = 1;
/// This bit of a column's number says that it is deflated.
const DEFLATED: u32 = 8;
const COLUMN_BYTES: u64 = 1 << 16;

/// Bounds that keep one input fast.
#[must_use]
pub fn bounds() -> Bounds {
    Bounds {
        bytes: 1 << 16,
        rebuilt: 1 << 18,
        operations: 2000,
        changes: 1000,
        actors: 100,
        deps: 32,
        key_bytes: 64,
    }
}

fn unsigned(bytes: &mut &[u8]) -> Option<u64> {
    let (mut value, mut shift) = (0, 0);
    loop {
        let (byte, rest) = bytes.split_first()?;
        *bytes = rest;
        value |= u64::from(byte & 0x7f) << shift;
        if *byte < 0x80 {
            return Some(value);
        }
        shift += 7;
        if shift > 56 {
            return None;
        }
    }
}

fn take<'a>(bytes: &mut &'a [u8], count: u64) -> Option<&'a [u8]> {
    let (taken, rest) = bytes.split_at_checked(usize::try_from(count).ok()?)?;
    *bytes = rest;
    Some(taken)
}

fn put_unsigned(out: &mut Vec<u8>, mut value: u64) {
    while value >= 0x80 {
        out.push(value as u8 | 0x80);
        value >>= 7;
    }
    out.push(value as u8);
}

/// A column of one of a chunk's tables.
struct Column {
    spec: u32,
    data: Vec<u8>,
}

/// A chunk in its parts; deflated columns are inflated.
pub struct Chunk {
    kind: u8,
    /// All before the tables.
    before: Vec<u8>,
    /// Where in `before` the heads of a document begin.
    heads_at: usize,
    /// The tables: one of a change, two of a document.
    columns: Vec<Vec<Column>>,
    after: Vec<u8>,
}

impl Chunk {
    /// Takes a chunk apart; `None` where that can't be done.
    #[must_use]
    pub fn parse(bytes: &[u8]) -> Option<Chunk> {
        let kind = *bytes.get(HEADER)?;
        let mut rest = &bytes[HEADER + 1..];
        unsigned(&mut rest)?;
        let body = rest;
        if kind == CHANGE {
            let deps = unsigned(&mut rest)?;
            take(&mut rest, deps.checked_mul(32)?)?;
            let actor = unsigned(&mut rest)?;
            take(&mut rest, actor)?;
            for _ in 0..3 {
                unsigned(&mut rest)?;
            }
            let message = unsigned(&mut rest)?;
            take(&mut rest, message)?;
        }
        for _ in 0..unsigned(&mut rest)? {
            let actor = unsigned(&mut rest)?;
            take(&mut rest, actor)?;
        }
        let heads_at = body.len() - rest.len();
        if kind == DOCUMENT {
            let heads = unsigned(&mut rest)?;
            take(&mut rest, heads.checked_mul(32)?)?;
        }
        let before = body[..body.len() - rest.len()].to_vec();
        let mut directories = Vec::new();
        for _ in 0..if kind == DOCUMENT { 2 } else { 1 } {
            let mut directory = Vec::new();
            for _ in 0..unsigned(&mut rest)? {
                directory.push((u32::try_from(unsigned(&mut rest)?).ok()?, unsigned(&mut rest)?));
            }
            directories.push(directory);
        }
        let mut column = |(spec, length): (u32, u64)| {
            let data = take(&mut rest, length)?;
            if kind != DOCUMENT || spec & DEFLATED == 0 {
                return Some(Column { spec, data: data.to_vec() });
            }
            let mut inflated = Vec::new();
            flate2::read::DeflateDecoder::new(data).take(COLUMN_BYTES).read_to_end(&mut inflated).ok()?;
            Some(Column { spec, data: inflated })
        };
        let columns = directories.into_iter().map(|list| list.into_iter().map(&mut column).collect());
        let columns = columns.collect::<Option<_>>()?;
        Some(Chunk { kind, before, heads_at, columns, after: rest.to_vec() })
    }

    /// Whether it is a document.
    #[must_use]
    pub fn is_document(&self) -> bool {
        self.kind == DOCUMENT
    }

    /// The chunk, with lengths and checksum that fit.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        let mut body = self.before.clone();
        let mut all = Vec::new();
        for list in &self.columns {
            put_unsigned(&mut body, list.len() as u64);
            for column in list {
                let at = all.len();
                if self.is_document() && column.spec & DEFLATED != 0 {
                    let mut deflater =
                        flate2::write::DeflateEncoder::new(&mut all, flate2::Compression::fast());
                    // Writing into memory does not fail.
                    let _ = deflater.write_all(&column.data);
                    let _ = deflater.finish();
                } else {
                    all.extend_from_slice(&column.data);
                }
                put_unsigned(&mut body, column.spec.into());
                put_unsigned(&mut body, (all.len() - at) as u64);
            }
        }
        body.extend_from_slice(&all);
        body.extend_from_slice(&self.after);
        let mut bytes = MAGIC.to_vec();
        bytes.extend_from_slice(&[0, 0, 0, 0, self.kind]);
        put_unsigned(&mut bytes, body.len() as u64);
        bytes.extend_from_slice(&body);
        fit(&mut bytes);
        bytes
    }

    /// The document, saved without compression.
    #[must_use]
    pub fn plain(mut self) -> Vec<u8> {
        self.columns.iter_mut().flatten().for_each(|column| column.spec &= !DEFLATED);
        self.bytes()
    }

    /// The same document with these heads, each with its place among the changes.
    #[must_use]
    pub fn with_heads(mut self, heads: &[(Hash, u32)]) -> Chunk {
        self.before.truncate(self.heads_at);
        put_unsigned(&mut self.before, heads.len() as u64);
        self.after.clear();
        for (hash, place) in heads {
            self.before.extend_from_slice(hash);
            put_unsigned(&mut self.after, (*place).into());
        }
        self
    }

    fn alter(&mut self, alter: &mut Alter) {
        match alter.roll(16) {
            0 => alter.bytes(&mut self.before),
            1 => alter.bytes(&mut self.after),
            choice => {
                let list = alter.roll(self.columns.len());
                let Some(list) = self.columns.get_mut(list) else { return };
                let at = alter.roll(list.len());
                if choice == 2 {
                    return alter_columns(list, at, alter);
                }
                let Some(column) = list.get_mut(at) else { return };
                if choice == 3 && !column.data.is_empty() {
                    // In a column of small numbers, two rows change places.
                    let length = column.data.len();
                    column.data.swap(alter.roll(length), alter.roll(length));
                } else {
                    alter.bytes(&mut column.data);
                }
            }
        }
    }
}

fn alter_columns(list: &mut Vec<Column>, at: usize, alter: &mut Alter) {
    let choice = alter.roll(4);
    if choice == 1 {
        list.insert(at, Column { spec: alter.roll(0xb0) as u32, data: vec![0x7f, alter.roll(9) as u8] });
    } else if choice == 0 && !list.is_empty() {
        list.remove(at);
    } else if let Some(column) = list.get_mut(at) {
        column.spec ^= if choice == 2 { 1 << alter.roll(8) } else { DEFLATED };
    }
}

/// Whether bytes are one chunk from its first byte to its last.
#[must_use]
pub fn is_whole(bytes: &[u8]) -> bool {
    let mut rest = bytes.get(HEADER + 1..).unwrap_or_default();
    bytes.starts_with(&MAGIC) && unsigned(&mut rest).is_some_and(|length| length == rest.len() as u64)
}

/// Makes the checksum of a chunk fit its content.
pub fn fit(chunk: &mut [u8]) {
    if chunk.len() > HEADER {
        let hash = Sha256::digest(&chunk[HEADER..]);
        chunk[4..HEADER].copy_from_slice(&hash[..4]);
    }
}

/// Alters parts of a chunk of the day of this module's targets.
#[must_use]
pub fn altered(bytes: &[u8], alter: &mut Alter) -> Option<Vec<u8>> {
    altered_of(DAY, bytes, alter)
}

/// Alters a chunk of a day, by what it says or by its parts. Lengths and the checksum fit again, and mostly a document's heads.
#[must_use]
pub fn altered_of(day: [u8; 16], bytes: &[u8], alter: &mut Alter) -> Option<Vec<u8>> {
    if alter.roll(2) == 0
        && let Some(altered) = meaning::altered(day, bytes, alter)
    {
        return Some(altered);
    }
    let mut chunk = Chunk::parse(bytes)?;
    for _ in 0..=alter.roll(3) {
        chunk.alter(alter);
    }
    let altered = chunk.bytes();
    if !chunk.is_document() || alter.roll(8) == 0 {
        return Some(altered);
    }
    Some(match made_heads(day, &altered) {
        Some(heads) => chunk.with_heads(&heads).bytes(),
        None => altered,
    })
}

#[cfg(fuzzing)]
fn made_heads(day: [u8; 16], document: &[u8]) -> Option<Vec<(Hash, u32)>> {
    firnbook_core::day::format::made_heads(day, document, &bounds())
}

/// Core makes them only for the fuzzer.
#[cfg(not(fuzzing))]
fn made_heads(_: [u8; 16], _: &[u8]) -> Option<Vec<(Hash, u32)>> {
    None
}
