//! A saved document: inflating it, and making all of its changes again.
//!
//! A document does not contain the bytes of its changes. It has one table of changes and one table of operations. A change's hash follows from
//! its bytes, which are made from both tables. So every change is encoded again, and the document's heads must be those of the result.

use super::change::{DOCUMENT, OPERATIONS, PUT, chunk, sound, texts};
use super::columns::{Columns, Writer, count, deltas, read_directory, spec, values};
use super::error::Hex;
use super::first::{self, First};
use super::inflate::Inflater;
use super::leb::{Input, put_unsigned};
use super::rebuild::rebuild;
use super::{Bounds, Change, Hash, MAX_COUNTER, Unreadable};
use std::borrow::Cow;

const PART: &str = "The document";
const CHANGES: &str = "The table of changes";
/// Rows of the table of operations that are those of the first change, on the root.
pub(super) const ROOT: usize = first::ENTRIES as usize;
/// The length of extra bytes of a change, and their kind: none.
const NO_EXTRA: u64 = 7;

/// What a document contains.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadDocument {
    /// The first change.
    pub first: First,
    /// All other changes, each after those that it depends on.
    pub changes: Vec<Change>,
    /// The changes that no other depends on, sorted.
    pub heads: Vec<Hash>,
}

/// A document taken apart, its columns inflated.
pub(super) struct Tables<'a> {
    pub actors: Vec<&'a [u8]>,
    pub heads: Vec<Hash>,
    /// Where each head is among the changes.
    pub places: Vec<u32>,
    pub changes: Columns<'a>,
    pub operations: Columns<'a>,
    /// The values of all operations, one after another. They have no second spelling.
    pub operation_values: Cow<'a, [u8]>,
}

/// The table of changes.
pub(super) struct Changes {
    pub actor: Vec<u32>,
    pub seq: Vec<u32>,
    pub max_op: Vec<u32>,
    pub dep_count: Vec<u32>,
    /// The dependencies of all, one after another, as places in this table.
    pub deps: Vec<u32>,
}

/// The table of operations.
pub(super) struct Operations<'a> {
    pub actor: Vec<u32>,
    pub counter: Vec<u32>,
    pub key: Vec<&'a str>,
    /// The texts of the rows after the root's.
    pub text: Vec<&'a str>,
}

/// Reads a saved document, compressed or not, with nothing after it.
///
/// # Errors
/// [`Unreadable`] if it is damaged, larger than `bounds` allow, of another day, or anything else than a document of a day as Automerge writes
/// it, with changes that keep to the rules of the history.
pub fn read_document(day: [u8; 16], bytes: &[u8], bounds: &Bounds) -> Result<ReadDocument, Unreadable> {
    let input = chunk(PART, DOCUMENT, bytes, bounds.bytes)?;
    if !sound(bytes) {
        return Err(Unreadable::Damaged);
    }
    let tables = tables(input, bounds)?;
    let root = tables.actors.iter().position(|actor| **actor == day).ok_or_else(|| Unreadable::OtherDay {
        day: Hex(day.to_vec()),
        why: "the first change of this one is missing",
    })?;
    let changes = read_changes(&tables, root as u32, bounds)?;
    let (operations, first) = read_operations(day, &tables, root as u32, bounds)?;
    let rebuilt = rebuild(&first, &tables, &changes, &operations, bounds)?;
    let named = tables.heads.iter().copied().zip(tables.places.iter().copied());
    if !rebuilt.heads.into_iter().eq(named) {
        return Err(Unreadable::Heads);
    }
    Ok(ReadDocument { first, changes: rebuilt.changes, heads: tables.heads })
}

/// The heads that follow from the changes of a document, whatever it names as its heads, each with its place: so a fuzzer gets past that check.
#[cfg(fuzzing)]
pub fn made_heads(day: [u8; 16], bytes: &[u8], bounds: &Bounds) -> Option<Vec<(Hash, u32)>> {
    let tables = tables(chunk(PART, DOCUMENT, bytes, bounds.bytes).ok()?, bounds).ok()?;
    let root = tables.actors.iter().position(|actor| **actor == day)? as u32;
    let changes = read_changes(&tables, root, bounds).ok()?;
    let (operations, first) = read_operations(day, &tables, root, bounds).ok()?;
    rebuild(&first, &tables, &changes, &operations, bounds).ok().map(|rebuilt| rebuilt.heads)
}

/// Takes a document apart and inflates its columns.
fn tables<'a>(mut input: Input<'a>, bounds: &Bounds) -> Result<Tables<'a>, Unreadable> {
    let count = input.unsigned()?;
    if count > bounds.actors as u64 {
        return Err(Unreadable::too_large("actors", count, bounds.actors));
    }
    let mut actors = Vec::new();
    for _ in 0..count {
        let length = input.unsigned()?;
        actors.push(input.take(length)?);
    }
    if !actors.is_sorted_by(|a, b| a < b) {
        return Err(Unreadable::Foreign { what: "actors out of order" });
    }
    let heads = input.hashes("heads", bounds.changes)?;
    let (changes, operations) = (read_directory(&mut input)?, read_directory(&mut input)?);
    let mut inflater = Inflater::new(bounds.bytes);
    let mut inflate = |part, directory: Vec<(u32, u64)>| -> Result<Columns<'a>, Unreadable> {
        let list = directory.into_iter().map(|(spec, length)| {
            let data = input.take(length)?;
            Ok(if spec & spec::DEFLATED == 0 {
                (spec, Cow::Borrowed(inflater.plain(data)?))
            } else {
                (spec & !spec::DEFLATED, Cow::Owned(inflater.inflate(data)?))
            })
        });
        Ok(Columns { part, list: list.collect::<Result<_, Unreadable>>()? })
    };
    let (changes, mut operations) = (inflate(CHANGES, changes)?, inflate(OPERATIONS, operations)?);
    let operation_values = operations.take(spec::VALUE);
    let places = heads.iter().map(|_| input.below(MAX_COUNTER)).collect::<Result<_, Unreadable>>()?;
    input.end()?;
    Ok(Tables { actors, heads, places, changes, operations, operation_values })
}

/// The table of changes, with every index in it checked.
fn read_changes(tables: &Tables, root: u32, bounds: &Bounds) -> Result<Changes, Unreadable> {
    let columns = &tables.changes;
    let actors = tables.actors.len() as u32; // bounded
    let n = count(columns.get(spec::ACTOR), "changes", bounds.changes)?;
    let actor = values(columns.get(spec::ACTOR), n, |input| input.below(actors))?;
    let seq = deltas(columns.get(spec::SEQ), n, MAX_COUNTER)?;
    let max_op = deltas(columns.get(spec::MAX_OP), n, MAX_COUNTER)?;
    let most_deps = u32::try_from(bounds.deps).unwrap_or(u32::MAX);
    let dep_count =
        values(columns.get(spec::DEP_COUNT), n, |input| input.below(most_deps.saturating_add(1)))?;
    let total = dep_count.iter().map(|count| *count as usize).sum::<usize>();
    let most = bounds.rebuilt / size_of::<Hash>();
    if total > most {
        return Err(Unreadable::too_large("dependencies", total as u64, most));
    }
    let deps = deltas(columns.get(spec::DEP), total, MAX_COUNTER)?;

    let mut again = Writer::default();
    again.numbers(spec::ACTOR, n, |k| actor[k].into());
    again.deltas(spec::SEQ, n, |k| seq[k]);
    again.deltas(spec::MAX_OP, n, |k| max_op[k]);
    again.same(spec::TIME, 0, n, 0);
    again.numbers(spec::DEP_COUNT, n, |k| dep_count[k].into());
    again.deltas(spec::DEP, total, |k| deps[k]);
    again.same(spec::EXTRA, 0, n, NO_EXTRA);
    columns.equal(&again)?;

    let begins =
        actor.first() == Some(&root) && dep_count[0] == 0 && seq[0] == 1 && max_op[0] == first::ENTRIES;
    if !begins || actor[1..].contains(&root) {
        return Err(Unreadable::Foreign {
            what: "a document that does not begin with the one first change of its day",
        });
    }
    Ok(Changes { actor, seq, max_op, dep_count, deps })
}

/// The table of operations: first those of the first change, ordered by their keys, then all puts, ordered by key, counter and actor.
fn read_operations<'a>(
    day: [u8; 16],
    tables: &'a Tables,
    root: u32,
    bounds: &Bounds,
) -> Result<(Operations<'a>, First), Unreadable> {
    let columns = &tables.operations;
    let actors = tables.actors.len() as u32; // bounded
    let n = count(columns.get(spec::ID_ACTOR), "operations", bounds.operations)?;
    if n < ROOT {
        return Err(Unreadable::Foreign { what: "a first change with too few operations" });
    }
    let actor = values(columns.get(spec::ID_ACTOR), n, |input| input.below(actors))?;
    let counter = deltas(columns.get(spec::ID_COUNTER), n, MAX_COUNTER)?;
    let key = values(columns.get(spec::KEY), n, Input::text)?;
    let kind = values(columns.get(spec::VALUE_KIND), n, Input::unsigned)?;
    let mut input = Input::new(OPERATIONS, &tables.operation_values);
    let mut root_values = [&[][..]; ROOT];
    for (value, kind) in root_values.iter_mut().zip(&kind) {
        *value = input.take(kind >> 4)?;
    }
    let [area, date, _, _, id] = root_values;
    let (area, date, id) = (input.utf8(area)?, input.utf8(date)?, input.utf8(id)?);
    let text = texts(&kind[ROOT..], input)?;

    let mut of_root = first::operations(id, date, area);
    of_root.sort_unstable_by_key(|operation| operation.key);
    let mut again = Writer::default();
    again.same(spec::OBJECT_ACTOR, ROOT, n - ROOT, root.into());
    again.same(spec::OBJECT_COUNTER, ROOT, n - ROOT, first::ENTRIES.into());
    again.texts(spec::KEY, n, |k| of_root.get(k).map_or(key[k], |operation| operation.key));
    again.numbers(spec::ID_ACTOR, n, |k| actor[k].into());
    again.deltas(spec::ID_COUNTER, n, |k| of_root.get(k).map_or(counter[k], |operation| operation.counter));
    put_unsigned(&mut again.data, n as u64);
    again.close(spec::INSERT);
    again.numbers(spec::ACTION, n, |k| of_root.get(k).map_or(PUT, |operation| operation.action));
    again.numbers(spec::VALUE_KIND, n, |k| of_root.get(k).map_or(kind[k], |operation| operation.kind));
    again.same(spec::SUCCESSORS, 0, n, 0);
    columns.equal(&again)?;

    let only_root = actor[..ROOT].iter().all(|actor| *actor == root) && !actor[ROOT..].contains(&root);
    if !only_root || of_root.iter().map(|operation| operation.value).ne(root_values) {
        return Err(Unreadable::Foreign { what: "another first change than that of a day" });
    }
    let place = |k: usize| (key[k], counter[k], actor[k]);
    if !(ROOT + 1..n).all(|k| place(k - 1) < place(k)) {
        return Err(Unreadable::Foreign { what: "operations out of order or twice" });
    }
    let first = First::read(day, id, date, area)?;
    Ok((Operations { actor, counter, key, text }, first))
}

impl<'a> Operations<'a> {
    /// Key and text of a row after the root's.
    pub fn put(&self, row: u32) -> (&'a str, &'a str) {
        (self.key[row as usize], self.text[row as usize - ROOT])
    }
}
