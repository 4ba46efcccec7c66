//! What travels beside the document of a day: the covering signatures, and the changes that wait or are withdrawn.

use super::bounds::LIMITS;
use super::deflate::{LEVEL, deflated, inflated};
use crate::day::format::read_change;
use crate::day::{Change, Cover, DayId, Hash, MAX_TIPS};
use serde::{Deserialize, Serialize};
use serde_bytes::{ByteArray, ByteBuf};

/// As CBOR (RFC 8949), deflated (RFC 1951).
#[derive(Serialize, Deserialize)]
struct Beside {
    signatures: Vec<SignedTips>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    aside: Vec<ByteBuf>,
}

/// A key, its signature, and what it signed.
#[derive(Serialize, Deserialize)]
struct SignedTips(ByteArray<32>, ByteArray<64>, Vec<Tip>);

/// A change: by its place among the document's heads, or by its hash.
#[derive(Serialize, Deserialize)]
#[serde(untagged)]
enum Tip {
    Head(u32),
    Hash(ByteArray<32>),
}

/// As it travels beside a document with these heads, sorted.
pub(super) fn write(heads: &[Hash], covers: &[Cover], aside: &[Change]) -> Vec<u8> {
    let tip = |hash: &Hash| match heads.binary_search(hash) {
        Ok(at) => Tip::Head(u32::try_from(at).unwrap_or(u32::MAX)),
        Err(_) => Tip::Hash(ByteArray::new(*hash)),
    };
    let signed = |c: &Cover| {
        SignedTips(ByteArray::new(c.key), ByteArray::new(c.signature), c.tips.iter().map(tip).collect())
    };
    let beside = Beside {
        signatures: covers.iter().map(signed).collect(),
        aside: aside.iter().map(|c| ByteBuf::from(c.bytes.clone())).collect(),
    };
    let mut bytes = Vec::new();
    // Plain data into memory: nothing of it can fail.
    let _ = ciborium::into_writer(&beside, &mut bytes);
    deflated(&bytes, LEVEL)
}

/// Reads it again; `None` where it is none. Signatures are not checked here: one that does not fit covers nothing.
pub(super) fn read(day: DayId, heads: &[Hash], bytes: &[u8]) -> Option<(Vec<Cover>, Vec<Change>)> {
    let plain = inflated(bytes, LIMITS.beside_bytes).ok()?;
    let beside: Beside = ciborium::from_reader(plain.as_slice()).ok()?;
    if beside.signatures.len() > LIMITS.covers {
        return None;
    }
    let cover = |SignedTips(key, signature, tips): &SignedTips| {
        if tips.len() > MAX_TIPS {
            return None;
        }
        let tip = |tip: &Tip| match tip {
            Tip::Head(at) => heads.get(usize::try_from(*at).ok()?).copied(),
            Tip::Hash(hash) => Some(**hash),
        };
        Some(Cover { key: **key, signature: **signature, tips: tips.iter().map(tip).collect::<Option<_>>()? })
    };
    let covers = beside.signatures.iter().map(cover).collect::<Option<_>>()?;
    let aside = beside.aside.iter().map(|c| read_change(day.0, c)).collect::<Result<_, _>>().ok()?;
    Some((covers, aside))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn covers_read_back_by_head_and_by_hash() {
        let heads = [[1; 32], [2; 32]];
        let cover = |tips: Vec<Hash>| Cover { key: [7; 32], tips, signature: [8; 64] };
        let covers = vec![cover(vec![[1; 32], [2; 32]]), cover(vec![[9; 32]])];
        let bytes = write(&heads, &covers, &[]);
        assert_eq!(read(DayId([0; 16]), &heads, &bytes), Some((covers, vec![])));
        assert_eq!(read(DayId([0; 16]), &heads[..1], &bytes), None, "a head that is not there");
        for cut in 0..bytes.len() {
            assert_eq!(read(DayId([0; 16]), &heads, &bytes[..cut]), None, "cut at {cut}");
        }
        let many = write(&heads, &[cover((0..=MAX_TIPS as u8).map(|n| [n; 32]).collect())], &[]);
        assert_eq!(read(DayId([0; 16]), &heads, &many), None);
    }
}
