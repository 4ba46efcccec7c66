//! A change, read here and by Automerge: whatever is read here Automerge reads as the same change, and whatever keeps to the rules is read.

use crate::{DAY, library, memory};
use automerge::legacy;
use firnbook_core::day::Hash;
use firnbook_core::day::format::{Change, Put, encode, read_change};
use sha2::{Digest, Sha256};

/// Checks an input: a chunk, or else a script from which a change is made. `true`: it is a change that was read.
pub fn check(bytes: &[u8]) -> bool {
    if bytes.first().is_some_and(|byte| *byte != 0x85) {
        return scripted(bytes).is_some_and(|change| check_made(&change));
    }
    check_chunk(bytes)
}

fn check_chunk(bytes: &[u8]) -> bool {
    let (read, peak) = memory::peak(|| read_change(DAY, bytes));
    assert!(peak <= 64 * bytes.len() + 65_536, "{peak} bytes allocated for {}", bytes.len());
    let theirs = || library(|| automerge::Change::from_bytes(bytes.to_vec()).ok()).flatten();
    match read {
        Ok(change) => {
            assert_eq!(change.bytes, bytes, "read, it has other bytes");
            let theirs = theirs().expect("Automerge reads what is read here");
            assert!(same(&change, &theirs), "Automerge reads another change");
            true
        }
        Err(error) => {
            if bytes.get(8) == Some(&1) && !claims_much(&bytes[bytes.len().min(90)..]) {
                let change = theirs().and_then(|theirs| library(|| in_format(&theirs)).flatten());
                let refused = change.is_some_and(|change| keeps_to_rules(&change));
                assert!(!refused, "what is encoded here is not read here: {error}");
            }
            false
        }
    }
}

/// What is encoded is read exactly if it keeps to the rules.
fn check_made(change: &Change) -> bool {
    match read_change(DAY, &change.bytes) {
        Ok(read) => {
            assert!(keeps_to_rules(change) && read == *change, "a change is read that should not be");
            check_chunk(&change.bytes)
        }
        Err(error) => {
            assert!(!keeps_to_rules(change), "a change that keeps to the rules is not read: {error}");
            false
        }
    }
}

/// Whether both readings say the same.
pub(crate) fn same(ours: &Change, theirs: &automerge::Change) -> bool {
    let decoded = theirs.decode();
    let map = legacy::ObjectId::Id(legacy::OpId(5, automerge::ActorId::from(&DAY[..])));
    let operations = decoded.operations.iter().zip(&ours.puts).all(|(operation, put)| {
        operation.obj == map
            && operation.key == legacy::Key::Map(put.key.as_str().into())
            && operation.pred.is_empty()
            && !operation.insert
            && operation.action == legacy::OpType::Put(automerge::ScalarValue::Str(put.text.as_str().into()))
    });
    operations
        && decoded.operations.len() == ours.puts.len()
        && ours.hash == theirs.hash().0
        && ours.actor == theirs.actor_id().to_bytes()
        && u64::from(ours.seq) == theirs.seq()
        && u64::from(ours.start_op) == theirs.start_op().get()
        && u64::from(ours.max_op()) == theirs.max_op()
        && ours.deps.iter().eq(theirs.deps().iter().map(|dep| &dep.0))
        && theirs.timestamp() == 0
        && theirs.message().is_none()
        && theirs.extra_bytes().is_empty()
}

/// The change again by the encoder here, if that gives the same bytes.
fn in_format(theirs: &automerge::Change) -> Option<Change> {
    let mut puts = Vec::new();
    for operation in &theirs.decode().operations {
        let (legacy::Key::Map(key), legacy::OpType::Put(automerge::ScalarValue::Str(text))) =
            (&operation.key, &operation.action)
        else {
            return None;
        };
        puts.push(Put { key: key.to_string(), text: text.to_string() });
    }
    let actor: [u8; 24] = theirs.actor_id().to_bytes().try_into().ok()?;
    let seq = u32::try_from(theirs.seq()).ok()?;
    let start_op = u32::try_from(theirs.start_op().get()).ok()?;
    let deps = theirs.deps().iter().map(|dep| dep.0).collect();
    let again = encode(DAY, actor, seq, start_op, deps, puts);
    (again.bytes == theirs.raw_bytes()).then_some(again)
}

/// Whether bytes may claim a run so long that Automerge would count for minutes.
fn claims_much(bytes: &[u8]) -> bool {
    bytes.windows(3).any(|window| window.iter().all(|byte| *byte >= 0x80))
}

/// A change made from a script: its numbers, then keys and texts cut from what follows.
fn scripted(data: &[u8]) -> Option<Change> {
    let (numbers, mut rest) = data.split_first_chunk::<34>()?;
    let (counters, _) = numbers.as_chunks::<4>();
    let shift = u32::from(numbers[33] % 32);
    let [seq, start_op] = [0, 1].map(|k| u32::from_le_bytes(counters[k]) >> shift);
    let mut puts = Vec::new();
    while let Some((lengths, after)) = rest.split_first_chunk::<3>() {
        rest = after;
        let mut cut = |length: u8| {
            let (text, after) = rest.split_at(usize::from(length).min(rest.len()));
            rest = after;
            String::from_utf8_lossy(text).into_owned()
        };
        let key = cut(lengths[0]);
        let key = if lengths[2] & 1 == 0 { format!("{:026}", lengths[0]) } else { key };
        puts.push(Put { key, text: cut(lengths[1]).repeat(1 + usize::from(lengths[2] >> 4)) });
    }
    let mut actor = [0; 24];
    actor.copy_from_slice(&numbers[8..32]);
    let deps: Vec<Hash> = (0..numbers[32] % 40).map(|k| Sha256::digest([k]).into()).collect();
    (!puts.is_empty()).then(|| encode(DAY, actor, seq, start_op, deps, puts))
}

/// The rules of a change again, said in another way.
fn keeps_to_rules(change: &Change) -> bool {
    let mut keys: Vec<&str> = change.puts.iter().map(|put| put.key.as_str()).collect();
    let is_ulid = |key: &str| {
        key.len() == 26
            && key.starts_with(|c: char| ('0'..='7').contains(&c))
            && key.chars().all(|c| c.is_ascii_digit() || (c.is_ascii_uppercase() && !"ILOU".contains(c)))
    };
    let fits =
        keys.iter().all(|key| is_ulid(key) != (change.actor[23] % 2 == 1) && (1..=8192).contains(&key.len()));
    keys.sort_unstable();
    keys.dedup();
    let last = u64::from(change.start_op) + (change.puts.len() as u64).saturating_sub(1);
    fits && keys.len() == change.puts.len()
        && !keys.is_empty()
        && (1..1 << 31).contains(&change.seq)
        && change.start_op > 5
        && last < 1 << 31
        && (1..=256).contains(&change.deps.len())
        && change.deps.windows(2).all(|pair| pair[0] < pair[1])
}
