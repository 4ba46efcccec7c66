//! CBOR as a tree of values, of which one at a time is altered. Chunks and records of a crew within it are altered by their own forms.

use crate::alter::Alter;
use crate::chunk;
use crate::sign::SignedRecord;
use ciborium::Value;

/// Numbers at the bounds of what readers take.
const EDGES: [u64; 12] =
    [0, 1, 2, 15, 16, 64, 255, 65_536, (1 << 31) - 1, 1 << 31, u32::MAX as u64 + 1, u64::MAX];

/// Reads CBOR with nothing after it.
#[must_use]
pub fn parse(bytes: &[u8]) -> Option<Value> {
    let mut rest = bytes;
    let value = ciborium::from_reader(&mut rest).ok()?;
    rest.is_empty().then_some(value)
}

/// A value as CBOR.
#[must_use]
pub fn bytes(value: &Value) -> Vec<u8> {
    let mut bytes = Vec::new();
    // Writing into memory does not fail.
    let _ = ciborium::into_writer(value, &mut bytes);
    bytes
}

/// Calls `each` for every value of a tree, those within others first.
pub fn visit(value: &mut Value, each: &mut dyn FnMut(&mut Value)) {
    match value {
        Value::Array(list) => list.iter_mut().for_each(|value| visit(value, each)),
        Value::Map(entries) => entries.iter_mut().for_each(|(_, value)| visit(value, each)),
        Value::Tag(_, value) => visit(value, each),
        _ => {}
    }
    each(value);
}

/// Alters one value of a tree; chunks in it are of this day.
pub fn alter(value: &mut Value, day: [u8; 16], alter: &mut Alter) {
    let mut count = 0;
    visit(value, &mut |_| count += 1);
    let chosen = alter.roll(count);
    let mut at = 0;
    visit(value, &mut |node| {
        if at == chosen {
            alter_node(node, day, alter);
        }
        at += 1;
    });
}

fn alter_node(node: &mut Value, day: [u8; 16], alter: &mut Alter) {
    match node {
        Value::Bytes(bytes) => alter_bytes(bytes, day, alter),
        Value::Integer(number) => {
            let edge = EDGES[alter.roll(EDGES.len())];
            *number = match (alter.roll(4), u64::try_from(*number)) {
                (0, Ok(n)) => n.saturating_add(1).into(),
                (1, Ok(n)) => n.saturating_sub(1).into(),
                (2, _) => (-(edge as i64).saturating_abs()).into(),
                _ => edge.into(),
            };
        }
        Value::Bool(yes) => *yes = !*yes,
        Value::Text(text) => {
            let mut bytes = std::mem::take(text).into_bytes();
            alter.bytes(&mut bytes);
            *text = String::from_utf8_lossy(&bytes).into_owned();
        }
        Value::Array(list) => alter.list(list),
        Value::Map(entries) => alter.list(entries),
        other => *other = Value::Integer(0.into()),
    }
}

fn alter_bytes(bytes: &mut Vec<u8>, day: [u8; 16], alter: &mut Alter) {
    const UNIT: usize = 16;
    if alter.roll(16) > 0 {
        if bytes.starts_with(&chunk::MAGIC)
            && let Some(altered) = chunk::altered_of(day, bytes, alter)
        {
            return *bytes = altered;
        }
        if let Some(mut record) = SignedRecord::parse(bytes)
            && let Some(mut act) = parse(&record.act)
        {
            self::alter(&mut act, day, alter);
            record.act = self::bytes(&act);
            return *bytes = record.bytes();
        }
    }
    // Hashes, ids and keys stand in rows without anything between.
    if bytes.len() >= 2 * UNIT && bytes.len().is_multiple_of(UNIT) && alter.roll(2) == 0 {
        let mut units: Vec<[u8; UNIT]> = bytes.as_chunks().0.to_vec();
        alter.list(&mut units);
        return *bytes = units.concat();
    }
    alter.bytes(bytes);
}
