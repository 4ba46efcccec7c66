//! A pack: altered part by part, read, and merged into a store that has a day of its own.

use crate::alter::Alter;
use crate::devices::{self, Device};
use crate::{chunk, memory, sign, tree};
use ciborium::Value as Cbor;
use firnbook_core::day::format::read_document;
use firnbook_core::exchange;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::io::{Read, Write};

/// What the bounds of a day allow to be allocated for one: the inflated columns, the changes made from them, and what is beside.
const MEMORY: usize = 512 << 20;
const BESIDE_BYTES: u64 = 1 << 20;
const HEADER: usize = 14;
const HASH_BYTES: usize = 32;
const SIGNATURE_BYTES: usize = 64;

/// Checks an input. `true`: it is a pack that was merged.
pub fn check(bytes: &[u8]) -> bool {
    let (read, peak) = memory::peak(|| exchange::read(bytes));
    assert!(peak <= MEMORY, "{peak} bytes allocated for {}", bytes.len());
    if read.is_err() {
        return false;
    }
    let base = Device::base(true);
    let mut book = base.book();
    let before = devices::held(&book);
    let merged = book.merge(bytes, false);
    let after = devices::held(&book);
    assert!(merged.is_ok() || after == before, "a pack was refused and something of it was taken");
    assert!(devices::own_changes(devices::BASE).is_subset(&after), "changes of this device are gone");
    book.merge(devices::pack_of(devices::PHONE), false).expect("a good pack merges afterwards");
    assert!(
        devices::own_changes(devices::PHONE).is_subset(&devices::held(&book)),
        "a good pack was not taken"
    );
    merged.is_ok()
}

/// A pack in its parts.
struct Parts {
    version: [u8; 2],
    manifest: Vec<u8>,
    /// Of each day the document and what is beside it.
    days: Vec<[Vec<u8>; 2]>,
    after: Vec<u8>,
}

impl Parts {
    fn parse(bytes: &[u8]) -> Option<Parts> {
        let body = bytes.get(..bytes.len().checked_sub(HASH_BYTES)?)?;
        let (header, rest) = body.split_at_checked(HEADER)?;
        let (magic, numbers) = header.split_at(exchange::MAGIC.len());
        let ([version @ .., a, b, c, d], true) =
            (<[u8; 6]>::try_from(numbers).ok()?, magic == exchange::MAGIC)
        else {
            return None;
        };
        let (manifest, mut rest) = rest.split_at_checked(u32::from_be_bytes([a, b, c, d]) as usize)?;
        let described: Value = serde_json::from_slice(manifest).ok()?;
        let mut days = Vec::new();
        for day in described["days"].as_array()? {
            let mut part = |name: &str| {
                let (part, after) = rest.split_at_checked(usize::try_from(day[name].as_u64()?).ok()?)?;
                rest = after;
                Some(part.to_vec())
            };
            days.push([part("length")?, part("beside")?]);
        }
        Some(Parts { version, manifest: manifest.to_vec(), days, after: rest.to_vec() })
    }

    /// The pack; lengths, hashes and checksum fit, and it is signed again where its key is known.
    fn bytes(mut self) -> Vec<u8> {
        let mut key = None;
        if let Ok(mut manifest) = serde_json::from_slice::<Value>(&self.manifest) {
            let described = days_of(&mut manifest).into_iter().flatten();
            for (described, [document, beside]) in described.zip(&self.days).filter(|(d, _)| d.is_object()) {
                let hash = Sha256::new().chain_update(document).chain_update(beside).finalize();
                described["length"] = json!(document.len());
                described["beside"] = json!(beside.len());
                described["sha256"] = json!(firnbook_core::crew::hex(&hash));
            }
            let named = manifest["key"].as_str().and_then(firnbook_core::crew::unhex::<32>);
            key = named.and_then(|key| sign::known(&key));
            self.manifest = manifest.to_string().into_bytes();
        }
        let mut bytes = exchange::MAGIC.to_vec();
        bytes.extend_from_slice(&self.version);
        bytes.extend_from_slice(&(self.manifest.len() as u32).to_be_bytes());
        bytes.extend_from_slice(&self.manifest);
        self.days.iter().flatten().for_each(|part| bytes.extend_from_slice(part));
        match key {
            Some(key) if self.after.len() == SIGNATURE_BYTES => bytes.extend(sign::pack(&key, &bytes)),
            _ => bytes.extend_from_slice(&self.after),
        }
        let hash = Sha256::digest(&bytes);
        bytes.extend_from_slice(&hash);
        bytes
    }

    /// The id of the n-th day.
    fn day(&self, n: usize) -> [u8; 16] {
        let manifest: Value = serde_json::from_slice(&self.manifest).unwrap_or_default();
        manifest["days"][n]["id"].as_str().and_then(firnbook_core::crew::unhex).unwrap_or_default()
    }

    fn alter(&mut self, alter: &mut Alter) {
        let at = alter.roll(self.days.len());
        let day = self.day(at);
        match (alter.roll(16), self.days.get_mut(at)) {
            (0, _) => alter.bytes(&mut self.after),
            (1, _) => alter.list(&mut self.days),
            (2, _) => alter.bytes(&mut self.manifest),
            (3, _) => self.alter_manifest(at, alter),
            (4, Some([document, beside])) => {
                let part = if alter.roll(2) == 0 { document } else { beside };
                alter.bytes(part);
            }
            (5..=7, Some([_, beside])) => {
                if let Some(mut value) = inflated(beside) {
                    tree::alter(&mut value, day, alter);
                    *beside = deflated(&value);
                }
            }
            (_, Some([document, _])) => {
                if let Some(altered) = chunk::altered_of(day, document, alter) {
                    *document = altered;
                }
            }
            (_, None) => {}
        }
    }

    /// The days in the manifest change places, or a number or a text in it becomes another of its kind.
    fn alter_manifest(&mut self, at: usize, alter: &mut Alter) {
        let Ok(mut manifest) = serde_json::from_slice::<Value>(&self.manifest) else { return };
        match alter.roll(4) {
            0 => days_of(&mut manifest).into_iter().for_each(|days| alter.list(days)),
            1 => drop(manifest.as_object_mut().map(|object| object.remove(["crew", "key"][alter.roll(2)]))),
            2 if manifest.is_object() => {
                manifest["key"] = json!(firnbook_core::crew::hex(sign::key(1).verifying_key().as_bytes()));
            }
            _ => {
                if let Some(entries) = manifest.pointer_mut(&format!("/days/{at}/entries")) {
                    *entries = json!(alter.roll(1 << 20));
                }
            }
        }
        self.manifest = manifest.to_string().into_bytes();
    }

    /// Signs what is beside each document again.
    fn sign(&mut self) {
        for n in 0..self.days.len() {
            let day = self.day(n);
            let [document, beside] = &mut self.days[n];
            let heads =
                read_document(day, document, &chunk::bounds()).map(|read| read.heads).unwrap_or_default();
            if let Some(mut value) = inflated(beside) {
                sign::histories(&mut value, &day, &heads);
                *beside = deflated(&value);
            }
        }
    }
}

/// What a manifest says of its days.
fn days_of(manifest: &mut Value) -> Option<&mut Vec<Value>> {
    manifest.get_mut("days")?.as_array_mut()
}

fn inflated(beside: &[u8]) -> Option<Cbor> {
    let mut bytes = Vec::new();
    flate2::read::DeflateDecoder::new(beside).take(BESIDE_BYTES).read_to_end(&mut bytes).ok()?;
    tree::parse(&bytes)
}

fn deflated(beside: &Cbor) -> Vec<u8> {
    let mut deflater = flate2::write::DeflateEncoder::new(Vec::new(), flate2::Compression::fast());
    // Writing into memory does not fail.
    let _ = deflater.write_all(&tree::bytes(beside));
    deflater.finish().unwrap_or_default()
}

/// Alters parts of a pack.
#[must_use]
pub fn altered(bytes: &[u8], alter: &mut Alter) -> Option<Vec<u8>> {
    let mut parts = Parts::parse(bytes)?;
    for _ in 0..=alter.roll(3) {
        parts.alter(alter);
    }
    if alter.roll(8) > 0 {
        parts.sign();
    }
    Some(parts.bytes())
}
