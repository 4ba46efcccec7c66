//! A pack: days of one device in one file, to be handed over on a stick or by any messenger. The format is told in `schemas/pack.md`.
//!
//! Reading is strict: the checksum over the whole first, then each day within bounds, loaded into a scratch document, its first change and its
//! heads compared with what the manifest says. A pack is taken whole or not at all. Of a crew's device it is signed; whether the signer belongs
//! to a crew is for whoever has the roster.

use super::bounds::{BoundError, LIMITS, check_document};
use crate::crew::{CrewId, CrewKey, DeviceKeys, hex, unhex, verify};
use crate::day::{DayError, DayId, DeviceId, Document, sha256_hex};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// The first bytes of every pack.
pub const MAGIC: &[u8; 8] = b"FIRNPACK";
/// The version of the format that this program writes.
pub const VERSION: u16 = 1;

const HASH_BYTES: usize = 32;
const SIGNATURE_BYTES: usize = 64;
/// What is signed begins with this, so that a signature over anything else never passes for one over a pack.
const CONTEXT: &[u8] = b"firnbook-pack-1\n";
/// How a sealed pack begins: as every file of age does.
const SEALED: &[u8] = b"age-encryption.org/v1\n";
/// The largest file that can be a pack: sealing adds a header, and 16 bytes to each 64 KiB.
pub const LARGEST_FILE: usize = LIMITS.pack_bytes + (1 << 20);
const HEADER_BYTES: usize = MAGIC.len() + 2 + 4;

/// What a pack says of itself.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Manifest {
    /// The device that packed.
    pub device: DeviceId,
    /// Its crew; absent where there is none, and then nobody signed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crew: Option<String>,
    /// The key that signed it, hex.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
    /// The days, in the order of their documents.
    pub days: Vec<PackDay>,
}

impl Manifest {
    /// The crew in whose name it was signed, and the key that did; `None` for one that nobody signed.
    #[must_use]
    pub fn signed(&self) -> Option<(CrewId, [u8; 32])> {
        Some((unhex(self.crew.as_deref()?)?, unhex(self.key.as_deref()?)?))
    }
}

/// What a pack says of one of its days.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PackDay {
    /// Identity.
    pub id: DayId,
    /// The date.
    pub date: NaiveDate,
    /// The area, as it is spelled.
    pub area: String,
    /// The heads of the document, hex, sorted.
    pub heads: Vec<String>,
    /// Entries in it.
    pub entries: usize,
    /// Bytes of the document.
    pub length: u64,
    /// SHA-256 of the document, hex.
    pub sha256: String,
}

/// A day on its way.
#[derive(Debug)]
pub struct PackedDay {
    /// Identity.
    pub id: DayId,
    /// The area, as it is spelled.
    pub area: String,
    /// The document.
    pub document: Document,
}

/// Why a pack was refused; nothing of it was taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PackError {
    /// Another kind of file.
    #[error("this is no Firnbook pack: it does not begin with {}", String::from_utf8_lossy(MAGIC))]
    NoPack,
    /// The file is longer than any pack.
    #[error("this pack has {bytes} bytes, more than the {limit} that are read; pack fewer days at a time")]
    TooLarge {
        /// Its size.
        bytes: usize,
        /// The bound.
        limit: usize,
    },
    /// It was written by a newer program.
    #[error(
        "this pack has format {found}, this program reads up to {known}; install the newer program that wrote it"
    )]
    Newer {
        /// Its format.
        found: u16,
        /// The newest that is known here.
        known: u16,
    },
    /// It was cut or changed on the way.
    #[error("this pack is damaged: {0}; ask for the file again")]
    Damaged(String),
    /// Its signature is of another content or another key.
    #[error(
        "this pack's signature does not fit its content: someone changed it after it was signed; ask who packed it for the file again"
    )]
    Forged,
    /// It was packed by a device that was removed from the crew.
    #[error(
        "this pack was made by {label} ({device}), which was removed from the crew; what that device wrote before comes with the packs of others"
    )]
    Removed {
        /// What the crew called it.
        label: String,
        /// The device.
        device: DeviceId,
    },
    /// It is sealed, and no key here opens it.
    #[error(
        "this pack is sealed and opens to no key here: it is for another crew, was changed on the way, or the crew has a newer key, which the next exchange with base brings"
    )]
    Sealed,
    /// It is sealed, and there is no key.
    #[error(
        "this pack is sealed for a crew, and this device is in none; join it with `firnbook crew join CODE`, or ask for the pack unsealed"
    )]
    SealedForOthers,
    /// One of its days does not do.
    #[error("day {day} in this pack: {why}")]
    Day {
        /// The day.
        day: DayId,
        /// Why.
        why: DayRefused,
    },
}

/// Why a day of a pack does not do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DayRefused {
    /// Out of bounds.
    #[error(transparent)]
    Bounds(#[from] BoundError),
    /// Not a good document.
    #[error(transparent)]
    Document(#[from] DayError),
}

/// Writes a pack; with a crew and keys, signed.
#[must_use]
pub fn write(device: DeviceId, days: &[PackedDay], signer: Option<(&CrewId, &DeviceKeys)>) -> Vec<u8> {
    let documents: Vec<Vec<u8>> = days.iter().map(|d| d.document.save()).collect();
    let manifest = Manifest {
        device,
        crew: signer.map(|(crew, _)| hex(crew)),
        key: signer.map(|(_, keys)| hex(&keys.signs_as())),
        days: days.iter().zip(&documents).map(|(day, bytes)| describe(day, bytes)).collect(),
    };
    let manifest = serde_json::to_vec(&manifest).unwrap_or_default();
    let mut pack = Vec::with_capacity(
        HEADER_BYTES
            + manifest.len()
            + documents.iter().map(Vec::len).sum::<usize>()
            + SIGNATURE_BYTES
            + HASH_BYTES,
    );
    pack.extend_from_slice(MAGIC);
    pack.extend_from_slice(&VERSION.to_be_bytes());
    pack.extend_from_slice(&u32::try_from(manifest.len()).unwrap_or(u32::MAX).to_be_bytes());
    pack.extend_from_slice(&manifest);
    documents.iter().for_each(|d| pack.extend_from_slice(d));
    if let Some((_, keys)) = signer {
        let signature = keys.sign(&to_sign(&pack));
        pack.extend_from_slice(&signature);
    }
    let hash = Sha256::digest(&pack);
    pack.extend_from_slice(&hash);
    pack
}

fn to_sign(before: &[u8]) -> Vec<u8> {
    [CONTEXT, Sha256::digest(before).as_slice()].concat()
}

/// These bytes begin as a pack or a sealed one.
#[must_use]
pub fn is_pack(bytes: &[u8]) -> bool {
    bytes.starts_with(MAGIC) || is_sealed(bytes)
}

/// These bytes begin as a sealed pack.
#[must_use]
pub fn is_sealed(bytes: &[u8]) -> bool {
    bytes.starts_with(SEALED)
}

/// Opens a sealed pack with the first of these keys that does.
///
/// # Errors
/// [`PackError::Sealed`], [`PackError::SealedForOthers`] without a key, [`PackError::TooLarge`].
pub fn unseal(sealed: &[u8], keys: &[CrewKey]) -> Result<Vec<u8>, PackError> {
    if sealed.len() > LARGEST_FILE {
        return Err(PackError::TooLarge { bytes: sealed.len(), limit: LARGEST_FILE });
    }
    if keys.is_empty() {
        return Err(PackError::SealedForOthers);
    }
    keys.iter().rev().find_map(|key| key.open(sealed)).ok_or(PackError::Sealed)
}

fn describe(day: &PackedDay, bytes: &[u8]) -> PackDay {
    PackDay {
        id: day.id,
        date: day.document.date().unwrap_or_default(),
        area: day.area.clone(),
        heads: day.document.heads().iter().map(ToString::to_string).collect(),
        entries: day.document.entry_count(),
        length: bytes.len() as u64,
        sha256: sha256_hex(bytes),
    }
}

/// Reads a pack, strictly.
///
/// # Errors
/// [`PackError`] says what is wrong with it.
pub fn read(bytes: &[u8]) -> Result<(Manifest, Vec<PackedDay>), PackError> {
    if !bytes.starts_with(MAGIC) {
        return Err(PackError::NoPack);
    }
    if bytes.len() > LIMITS.pack_bytes {
        return Err(PackError::TooLarge { bytes: bytes.len(), limit: LIMITS.pack_bytes });
    }
    let damaged = |why: &str| PackError::Damaged(why.to_owned());
    let Some((version, _)) = bytes[MAGIC.len()..].split_first_chunk::<2>() else {
        return Err(damaged("it breaks off"));
    };
    let version = u16::from_be_bytes(*version);
    if version > VERSION {
        return Err(PackError::Newer { found: version, known: VERSION });
    }
    let (body, hash) =
        bytes.split_at_checked(bytes.len().wrapping_sub(HASH_BYTES)).ok_or(damaged("it breaks off"))?;
    if Sha256::digest(body).as_slice() != hash {
        return Err(damaged("its checksum does not fit, so it was cut or changed on the way"));
    }
    let rest = body.get(MAGIC.len() + 2..).and_then(|b| b.split_first_chunk::<4>());
    let Some((length, rest)) = rest.filter(|_| version == VERSION) else {
        return Err(damaged("its header makes no sense"));
    };
    let length = usize::try_from(u32::from_be_bytes(*length)).unwrap_or(usize::MAX);
    let (manifest, mut rest) = rest.split_at_checked(length).ok_or(damaged("its manifest breaks off"))?;
    let manifest: Manifest =
        serde_json::from_slice(manifest).map_err(|e| PackError::Damaged(format!("its manifest: {e}")))?;
    let mut days = Vec::with_capacity(manifest.days.len().min(1000));
    for day in &manifest.days {
        let length = usize::try_from(day.length).unwrap_or(usize::MAX);
        let (bytes, after) = rest.split_at_checked(length).ok_or(damaged("a day breaks off"))?;
        rest = after;
        days.push(read_day(day, bytes)?);
    }
    if manifest.crew.is_some() || manifest.key.is_some() {
        let (_, key) = manifest.signed().ok_or(damaged("its manifest names no signer that can be"))?;
        let signature = rest.split_first_chunk::<SIGNATURE_BYTES>();
        let (signature, after) = signature.ok_or(damaged("its signature breaks off"))?;
        if !verify(&key, &to_sign(&body[..body.len() - rest.len()]), signature) {
            return Err(PackError::Forged);
        }
        rest = after;
    }
    if rest.is_empty() { Ok((manifest, days)) } else { Err(damaged("something follows the last day")) }
}

/// The document of a day out of foreign bytes: within bounds, loaded strictly, and the day that it should be.
pub(super) fn day_of(bytes: &[u8], day: DayId) -> Result<Document, DayRefused> {
    check_document(bytes, &LIMITS)?;
    Ok(Document::load(bytes, day)?)
}

fn read_day(day: &PackDay, bytes: &[u8]) -> Result<PackedDay, PackError> {
    let damaged = |why: &str| PackError::Damaged(format!("day {}: {why}", day.id));
    if sha256_hex(bytes) != day.sha256 {
        return Err(damaged("its hash is not the one in the manifest"));
    }
    let refused = |why: DayRefused| PackError::Day { day: day.id, why };
    let document = day_of(bytes, day.id).map_err(refused)?;
    if document.heads().iter().map(ToString::to_string).collect::<Vec<_>>() != day.heads {
        return Err(damaged("its heads are not those in the manifest"));
    }
    if document.date().map_err(|e| refused(e.into()))? != day.date {
        return Err(damaged("its date is not the one in the manifest"));
    }
    Ok(PackedDay { id: day.id, area: day.area.clone(), document })
}
