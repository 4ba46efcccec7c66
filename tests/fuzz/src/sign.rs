//! The keys that the fuzzer may sign with, and signing again what it altered.

use crate::tree;
use ciborium::Value;
use ed25519_dalek::{Signer, SigningKey};
use firnbook_core::day::Hash;
use sha2::{Digest, Sha256};

/// The fuzzer knows the keys whose secret is 32 times one of these numbers. The devices that must come to no harm have others.
pub const KNOWN: std::ops::RangeInclusive<u8> = 1..=6;

/// What is signed begins with these, as `schemas/trust.md` and `schemas/session.md` say.
const HISTORY: &[u8] = b"firnbook-history-1\n";
const RECORD: &[u8] = b"firnbook-crew-record-1\n";
const PACK: &[u8] = b"firnbook-pack-2\n";

/// The signing key with this number.
#[must_use]
pub fn key(number: u8) -> SigningKey {
    SigningKey::from_bytes(&[number; 32])
}

/// The known key of which this is the public half.
#[must_use]
pub fn known(public: &[u8]) -> Option<SigningKey> {
    static KEYS: std::sync::OnceLock<Vec<SigningKey>> = std::sync::OnceLock::new();
    let keys = KEYS.get_or_init(|| KNOWN.map(key).collect());
    keys.iter().find(|key| key.verifying_key().as_bytes() == public).cloned()
}

/// A signature by a known key over latest changes of a day, in whatever order they are.
#[must_use]
pub fn history(key: &SigningKey, day: &[u8], tips: &[Hash]) -> [u8; 64] {
    key.sign(&[HISTORY, day, &tips.concat()].concat()).to_bytes()
}

/// A signature by a known key over a pack up to its signature.
#[must_use]
pub fn pack(key: &SigningKey, before: &[u8]) -> [u8; 64] {
    key.sign(&[PACK, Sha256::digest(before).as_slice()].concat()).to_bytes()
}

/// Signs every signature over histories in a value again, where the key is known. A tip is a hash, or its place among `heads`.
pub fn histories(value: &mut Value, day: &[u8], heads: &[Hash]) {
    tree::visit(value, &mut |node| {
        let Value::Array(parts) = node else { return };
        let [Value::Bytes(key), Value::Bytes(signature), tips] = parts.as_mut_slice() else { return };
        let (Some(key), 64, Some(tips)) = (known(key), signature.len(), tips_of(tips, heads)) else { return };
        *signature = history(&key, day, &tips).to_vec();
    });
}

fn tips_of(tips: &Value, heads: &[Hash]) -> Option<Vec<Hash>> {
    match tips {
        Value::Bytes(bytes) => Some(bytes.as_chunks::<32>().0.to_vec()),
        Value::Array(list) => list
            .iter()
            .map(|tip| match tip {
                Value::Integer(at) => heads.get(usize::try_from(*at).ok()?).copied(),
                Value::Bytes(hash) => hash.as_slice().try_into().ok(),
                _ => None,
            })
            .collect(),
        _ => None,
    }
}

/// A record of a crew, taken apart.
pub struct SignedRecord {
    /// What it says, as CBOR.
    pub act: Vec<u8>,
    by: Vec<u8>,
    signature: Vec<u8>,
}

impl SignedRecord {
    /// Takes it apart; `None` where it is none.
    #[must_use]
    pub fn parse(bytes: &[u8]) -> Option<SignedRecord> {
        let parts: [Value; 3] = tree::parse(bytes)?.into_array().ok()?.try_into().ok()?;
        let [Value::Bytes(act), Value::Bytes(by), Value::Bytes(signature)] = parts else { return None };
        (by.len() == 32 && signature.len() == 64).then_some(SignedRecord { act, by, signature })
    }

    /// The record, signed again where the key is known.
    #[must_use]
    pub fn bytes(self) -> Vec<u8> {
        let signature = match known(&self.by) {
            Some(key) => key.sign(&[RECORD, &self.act].concat()).to_vec(),
            None => self.signature,
        };
        tree::bytes(&Value::Array([self.act, self.by, signature].map(Value::Bytes).into()))
    }
}
