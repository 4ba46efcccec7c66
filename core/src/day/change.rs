//! Changes of a day, built and read without its document: a change needs only its place in history, and the map needs only what each operation
//! puts and what it has seen. So a write costs the same on the first and on the ten-thousandth entry.

use super::document::DayError;
use super::identity::{DayId, Opening};
use super::key::Key;
use automerge::legacy::{self, OpType};
use automerge::{ActorId, Change, ChangeHash, ExpandedChange, ScalarValue};
use std::num::NonZeroU64;

/// Identity of an operation: its counter and the actor that made it. Of several values under one key the one with the largest stands.
pub type OpName = (u64, Vec<u8>);

/// Where a new change stands in the history of a day.
#[derive(Clone, Debug)]
pub struct Place {
    /// The day.
    pub day: DayId,
    /// Who writes.
    pub opening: Opening,
    /// Its how-manieth change this is, from 1.
    pub seq: u64,
    /// The largest counter of any operation of the day.
    pub max_op: u64,
    /// The heads that the writer has seen.
    pub heads: Vec<ChangeHash>,
}

/// A text to be put under a key.
#[derive(Clone, Debug)]
pub struct Put {
    /// The key.
    pub key: Key,
    /// The text.
    pub text: String,
    /// The operations that stand under the key now, which this one replaces.
    pub seen: Vec<OpName>,
}

/// What one operation of a change does to the map of entries.
#[derive(Clone, Debug, PartialEq)]
pub struct Done {
    /// The key.
    pub key: Key,
    /// Identity of the operation.
    pub name: OpName,
    /// The operations whose values it takes away.
    pub seen: Vec<OpName>,
    /// The text that it puts; `None` for a value that this version does not read.
    pub text: Option<String>,
}

/// The counter of the operation that makes the map of entries: the fourth of the first change, for ever.
pub(super) const ENTRIES_COUNTER: u64 = 4;

fn entries_map(day: DayId) -> legacy::ObjectId {
    legacy::ObjectId::Id(legacy::OpId(ENTRIES_COUNTER, ActorId::from(&day.0[..])))
}

/// Builds the change that puts these texts. Its time is 0: entries and registers carry their own.
#[must_use]
pub fn build(place: Place, puts: Vec<Put>) -> Change {
    let map = entries_map(place.day);
    let operations = puts.into_iter().map(|put| legacy::Op {
        action: OpType::Put(ScalarValue::Str(put.text.into())),
        obj: map.clone(),
        key: legacy::Key::Map(put.key.to_string().into()),
        pred: put
            .seen
            .into_iter()
            .map(|(counter, actor)| legacy::OpId(counter, ActorId::from(actor)))
            .collect(),
        insert: false,
    });
    let operations = operations.collect();
    let mut deps = place.heads;
    deps.sort();
    Change::from(ExpandedChange {
        operations,
        actor_id: ActorId::from(&place.opening.0[..]),
        hash: None,
        seq: place.seq,
        start_op: NonZeroU64::MIN.saturating_add(place.max_op),
        time: 0,
        message: None,
        deps,
        extra_bytes: Vec::new(),
        author: None,
    })
}

/// What a change does to the map of entries of its day; operations on anything else are a newer version's and are passed over.
///
/// # Errors
/// [`DayError::OverwritesBody`] where it writes over or deletes a body that it has seen.
pub fn read(day: DayId, change: &Change) -> Result<Vec<Done>, DayError> {
    let map = entries_map(day);
    let expanded = change.decode();
    let mut done = Vec::with_capacity(expanded.operations.len());
    for (i, op) in expanded.operations.into_iter().enumerate() {
        let legacy::Key::Map(key) = &op.key else { continue };
        if op.obj != map {
            continue;
        }
        let key = Key::read(key);
        if matches!(key, Key::Entry(_)) && !op.pred.is_empty() {
            return Err(DayError::OverwritesBody {
                change: change.hash().to_string(),
                entry: key.to_string(),
            });
        }
        let text = match op.action {
            OpType::Put(ScalarValue::Str(text)) => Some(text.to_string()),
            _ => None,
        };
        let seen = op.pred.iter().map(|legacy::OpId(counter, actor)| (*counter, actor.to_bytes().to_vec()));
        let name = (change.start_op().get() + i as u64, change.actor_id().to_bytes().to_vec());
        done.push(Done { key, name, seen: seen.collect(), text });
    }
    Ok(done)
}
