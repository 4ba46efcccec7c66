//! One change: encoding it, and reading it by taking it apart and encoding it again.

use super::columns::{Columns, Writer, count, first_difference, read_directory, spec, values};
use super::error::Hex;
use super::first;
use super::leb::{Input, put_bytes, put_signed, put_unsigned};
use super::{Bounds, Change, Hash, MAX_COUNTER, Put, Unreadable};
use sha2::{Digest, Sha256};
use std::borrow::Cow;

/// The first bytes of every chunk.
const MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];
/// Bytes before what is hashed: the first bytes and the checksum.
const UNHASHED: usize = 8;
/// A chunk that holds a document.
pub(super) const DOCUMENT: u8 = 0;
/// A chunk that holds a change.
const CHANGE: u8 = 1;
/// The action of an operation that puts a value.
pub(super) const PUT: u64 = 1;
/// The kind of a text, in the lowest four bits; its length is in the others.
pub(super) const TEXT: u64 = 6;
const PART: &str = "The change";
/// The part of a change or a document that its operations are, for errors.
pub(super) const OPERATIONS: &str = "The table of operations";

/// The fields of a change before its columns.
pub(super) struct Head<'a> {
    pub actor: &'a [u8],
    pub seq: u32,
    pub start_op: u32,
    pub deps: &'a [Hash],
    /// Actors that the columns name by their place, from 1. The change's own is 0.
    pub others: &'a [&'a [u8]],
}

/// Memory that encoding uses again for every change.
#[derive(Default)]
pub(super) struct Encoder {
    pub columns: Writer,
    head: Vec<u8>,
}

impl Encoder {
    /// A change of puts into the map `entries`.
    pub fn puts(&mut self, head: &Head, puts: &[(&str, &str)]) -> (Hash, Vec<u8>) {
        let n = puts.len();
        let columns = &mut self.columns;
        columns.clear();
        // The columns without keys and texts take some 20 bytes, and a few for each length.
        columns.data.reserve(32 + puts.iter().map(|put| put.0.len() + put.1.len() + 6).sum::<usize>());
        columns.same(spec::OBJECT_ACTOR, 0, n, 1);
        columns.same(spec::OBJECT_COUNTER, 0, n, first::ENTRIES.into());
        columns.texts(spec::KEY, n, |k| puts[k].0);
        put_unsigned(&mut columns.data, n as u64);
        columns.close(spec::INSERT);
        columns.same(spec::ACTION, 0, n, PUT);
        columns.numbers(spec::VALUE_KIND, n, |k| text_kind(puts[k].1));
        puts.iter().for_each(|put| columns.data.extend_from_slice(put.1.as_bytes()));
        columns.close(spec::VALUE);
        columns.same(spec::PREDECESSORS, 0, n, 0);
        self.chunk(head)
    }

    /// The chunk of a change whose columns are written.
    pub fn chunk(&mut self, head: &Head) -> (Hash, Vec<u8>) {
        let out = &mut self.head;
        out.clear();
        out.reserve(128 + head.deps.as_flattened().len());
        put_unsigned(out, head.deps.len() as u64);
        out.extend_from_slice(head.deps.as_flattened());
        put_bytes(out, head.actor);
        put_unsigned(out, head.seq.into());
        put_unsigned(out, head.start_op.into());
        put_signed(out, 0); // the time
        put_bytes(out, &[]); // the message
        put_unsigned(out, head.others.len() as u64);
        head.others.iter().for_each(|actor| put_bytes(out, actor));
        self.columns.put_directory(out);

        let length = self.head.len() + self.columns.data.len();
        let mut bytes = Vec::with_capacity(UNHASHED + 11 + length);
        bytes.extend_from_slice(&MAGIC);
        bytes.extend_from_slice(&[0; 4]);
        bytes.push(CHANGE);
        put_unsigned(&mut bytes, length as u64);
        bytes.extend_from_slice(&self.head);
        bytes.extend_from_slice(&self.columns.data);
        let hash: Hash = Sha256::digest(&bytes[UNHASHED..]).into();
        bytes[4..UNHASHED].copy_from_slice(&hash[..4]);
        (hash, bytes)
    }
}

/// The kind and length of a text, as the column of kinds has it.
#[inline]
pub(super) fn text_kind(text: &str) -> u64 {
    (text.len() as u64) << 4 | TEXT
}

/// Encodes a change in exactly the bytes that Automerge writes for it. `deps` are sorted here. The caller keeps to the rules that
/// [`read_change`] checks: what breaks them is encoded too, and then not read.
#[must_use]
pub fn encode(
    day: [u8; 16],
    actor: [u8; 24],
    seq: u32,
    start_op: u32,
    mut deps: Vec<Hash>,
    puts: Vec<Put>,
) -> Change {
    deps.sort_unstable();
    let head = Head { actor: &actor, seq, start_op, deps: &deps, others: &[&day] };
    let texts: Vec<(&str, &str)> = puts.iter().map(|put| (&*put.key, &*put.text)).collect();
    let (hash, bytes) = Encoder::default().puts(&head, &texts);
    Change { hash, actor, seq, start_op, deps, puts, bytes }
}

/// Reads the chunk of one change other than the first, with nothing after it.
///
/// The caller checks what needs the changes that it depends on: that they are held and whose they are, that the previous change of the actor is
/// one of them, and that `start_op` is larger than their counters.
///
/// # Errors
/// [`Unreadable`] if it is damaged, larger than [`Bounds::default`] allows, of another day, or anything else than a change of a day in the
/// bytes that Automerge writes for it.
pub fn read_change(day: [u8; 16], bytes: &[u8]) -> Result<Change, Unreadable> {
    let mut input = chunk(PART, CHANGE, bytes, Bounds::default().bytes)?;
    // For a damaged change, the first wrong number that the damage makes would say nothing.
    parse(day, bytes, &mut input).map_err(|error| if sound(bytes) { error } else { Unreadable::Damaged })
}

fn parse(day: [u8; 16], bytes: &[u8], input: &mut Input) -> Result<Change, Unreadable> {
    let bounds = Bounds::default();
    let deps = input.hashes("dependencies", bounds.deps)?;
    let length = input.unsigned()?;
    let author = input.take(length)?;
    if author == day {
        return Err(Unreadable::Foreign { what: "another change by the author of the day's first change" });
    }
    let actor = to_actor(author)?;
    let (seq, start_op) = (input.below(MAX_COUNTER)?, input.below(MAX_COUNTER)?);
    let fail = |why| Err(Unreadable::History { actor: Hex(author.to_vec()), seq, why });
    if deps.is_empty() {
        return fail("it has no dependencies");
    }
    if seq == 0 || start_op <= first::ENTRIES {
        return fail("sequence numbers begin at 1, and its counters follow those of the day's first change");
    }
    if input.signed()? != 0 || input.unsigned()? != 0 {
        return Err(Unreadable::Foreign { what: "a time or a message of a change" });
    }
    if input.unsigned()? != 1 {
        return Err(Unreadable::Foreign {
            what: "a change that names another number of actors than the day's",
        });
    }
    let length = input.unsigned()?;
    if input.take(length)? != day {
        return Err(Unreadable::OtherDay { day: Hex(day.to_vec()), why: "the change names another one" });
    }
    let directory = read_directory(input)?;
    let list = directory.into_iter().map(|(spec, length)| Ok((spec, Cow::Borrowed(input.take(length)?))));
    let columns = Columns { part: OPERATIONS, list: list.collect::<Result<_, Unreadable>>()? };
    if !input.is_empty() {
        return Err(Unreadable::Foreign { what: "extra bytes of a change" });
    }
    let (keys, kinds) = (columns.get(spec::KEY), columns.get(spec::VALUE_KIND));
    let n = count(kinds, "operations", bounds.operations)?;
    if n == 0 || n as u64 + u64::from(start_op) > u64::from(MAX_COUNTER) {
        return fail("it has no operations, or counters of 2^31 and more");
    }
    // Each key of a change is another one, so its bytes bound the number of operations too.
    if n > keys.left() {
        return Err(Unreadable::Foreign { what: "a change with more operations than keys" });
    }
    let keys = values(keys, n, Input::text)?;
    let kinds = values(kinds, n, Input::unsigned)?;
    let texts = texts(&kinds, columns.get(spec::VALUE))?;
    check_keys(&actor, keys.iter().copied(), bounds.key_bytes)?;

    let puts: Vec<(&str, &str)> = keys.into_iter().zip(texts).collect();
    let mut encoder = Encoder::default();
    let head = Head { actor: &actor, seq, start_op, deps: &deps, others: &[&day] };
    let (hash, again) = encoder.puts(&head, &puts);
    if again != bytes {
        columns.equal(&encoder.columns)?;
        return Err(Unreadable::Encoding { part: PART, at: first_difference(&again, bytes) });
    }
    let puts = puts.into_iter().map(|(key, text)| Put { key: key.to_owned(), text: text.to_owned() });
    Ok(Change { hash, actor, seq, start_op, deps, puts: puts.collect(), bytes: again })
}

/// The content of a chunk that is all of `bytes`. The checksum is not checked.
pub(super) fn chunk<'a>(
    part: &'static str,
    kind: u8,
    bytes: &'a [u8],
    most: usize,
) -> Result<Input<'a>, Unreadable> {
    if bytes.len() > most {
        return Err(Unreadable::too_large("bytes", bytes.len() as u64, most));
    }
    let mut input = Input::new(part, bytes);
    if input.array()? != MAGIC {
        return Err(Unreadable::Kind { part, found: "no data of Automerge" });
    }
    input.array::<4>()?;
    let found = input.byte()?;
    if found != kind {
        let found = match found {
            DOCUMENT => "a document",
            CHANGE => "a change",
            2 => "a compressed change",
            3 => "a bundle of changes",
            _ => "an unknown kind of data",
        };
        return Err(Unreadable::Kind { part, found });
    }
    let length = input.unsigned()?;
    let left = input.left() as u64;
    if length < left {
        return Err(Unreadable::Trailing { part, at: bytes.len() - (left - length) as usize });
    }
    if length > left {
        return Err(Unreadable::Cut { part, at: bytes.len() });
    }
    Ok(input)
}

/// Whether the checksum of a chunk matches.
pub(super) fn sound(chunk: &[u8]) -> bool {
    let hash = Sha256::digest(&chunk[UNHASHED.min(chunk.len())..]);
    chunk.get(4..UNHASHED) == Some(&hash[..4])
}

/// An actor other than that of the first change.
pub(super) fn to_actor(bytes: &[u8]) -> Result<[u8; 24], Unreadable> {
    bytes.try_into().map_err(|_| Unreadable::Foreign { what: "an actor of another length than 24 bytes" })
}

/// The texts that all values are, one after another.
pub(super) fn texts<'a>(kinds: &[u64], mut input: Input<'a>) -> Result<Vec<&'a str>, Unreadable> {
    let mut texts = Vec::with_capacity(kinds.len());
    for kind in kinds {
        if kind & 15 != TEXT {
            return Err(Unreadable::Foreign { what: "a value that is no text" });
        }
        let bytes = input.take(kind >> 4)?;
        texts.push(input.utf8(bytes)?);
    }
    input.end()?;
    Ok(texts)
}

/// Checks that the keys of a change belong into the actor's history and that none is there twice.
pub(super) fn check_keys<'a>(
    actor: &[u8; 24],
    keys: impl ExactSizeIterator<Item = &'a str> + Clone,
    most: usize,
) -> Result<(), Unreadable> {
    let registers = actor[23] & 1 == 1;
    for key in keys.clone() {
        if key.is_empty() || key.len() > most {
            return Err(Unreadable::key(key, "it is empty or too long"));
        }
        if is_ulid(key) == registers {
            let why = if registers {
                "the history of registers has no ULIDs as keys"
            } else {
                "the history of entries has only ULIDs as keys"
            };
            return Err(Unreadable::key(key, why));
        }
    }
    if keys.len() > 1 {
        let mut sorted: Vec<&str> = keys.collect();
        sorted.sort_unstable();
        if let Some(pair) = sorted.windows(2).find(|pair| pair[0] == pair[1]) {
            return Err(Unreadable::key(pair[0], "a change puts a key once"));
        }
    }
    Ok(())
}

/// Whether a key is a ULID in its one spelling: 26 digits of base 32 in upper case, below 2^128.
fn is_ulid(key: &str) -> bool {
    const DIGITS: [bool; 256] = {
        let (mut digits, mut k) = ([false; 256], 0);
        while k < 32 {
            digits[b"0123456789ABCDEFGHJKMNPQRSTVWXYZ"[k] as usize] = true;
            k += 1;
        }
        digits
    };
    let key = key.as_bytes();
    key.len() == 26 && key[0] <= b'7' && key.iter().fold(true, |all, byte| all & DIGITS[*byte as usize])
}
