//! A pack: days of one device in one file, to be handed over on a stick or by any messenger. The format is told in `schemas/pack.md`.
//!
//! Reading is strict: the checksum over the whole first, then each day within bounds, taken apart and rebuilt change by change, its beginning
//! compared with its id. A pack is read whole or not at all. Of a crew's device it is signed; whether the signer belongs to a crew is for
//! whoever has the roster.

use super::beside;
use super::bounds::{LIMITS, day_bounds};
use crate::crew::{CrewId, CrewKey, DeviceKeys, hex, unhex, verify};
use crate::day::format::{self, Unreadable};
use crate::day::{Actor, Beginning, DayError, DayId, DeviceId, Document, History, sha256_hex};
use crate::store::DayContent;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::collections::HashSet;

/// The first bytes of every pack.
pub const MAGIC: &[u8; 8] = b"FIRNPACK";
/// The version of the format that this program writes.
pub const VERSION: u16 = 2;

const HASH_BYTES: usize = 32;
const SIGNATURE_BYTES: usize = 64;
/// What is signed begins with this, so that a signature over anything else never passes for one over a pack.
const CONTEXT: &[u8] = b"firnbook-pack-2\n";
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
    /// Entries in it.
    pub entries: usize,
    /// Bytes of the document.
    pub length: u64,
    /// Bytes of what is beside the document.
    pub beside: u64,
    /// SHA-256 of the document and of what is beside it, hex.
    pub sha256: String,
}

/// A day on its way.
#[derive(Clone, Debug)]
pub struct PackedDay {
    /// Identity.
    pub id: DayId,
    /// The area, as it is spelled.
    pub area: String,
    /// What is held of it.
    pub content: DayContent,
}

impl PackedDay {
    /// Entries in it; several bodies of one id are one.
    #[must_use]
    pub fn entries(&self) -> usize {
        let bodies = self.content.changes.iter().filter(|c| Actor(c.actor).history() == History::Entries);
        bodies.flat_map(|c| c.puts.iter().map(|p| p.key.as_str())).collect::<HashSet<_>>().len()
    }
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
    /// It was written by a program that was never released.
    #[error(
        "this pack has format {0} from before the first release; ask for it again, written by the present program"
    )]
    Older(u16),
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
    /// Not a document of a day.
    #[error(transparent)]
    Unreadable(#[from] Unreadable),
    /// Of another day.
    #[error(transparent)]
    Document(#[from] DayError),
}

/// Writes a pack; with a crew and keys, signed.
///
/// # Errors
/// [`DayError::Automerge`] where a day can't be put together.
pub fn write(
    device: DeviceId,
    days: &[PackedDay],
    signer: Option<(&CrewId, &DeviceKeys)>,
) -> Result<Vec<u8>, DayError> {
    let (mut described, mut contents) = (Vec::with_capacity(days.len()), Vec::with_capacity(days.len()));
    for day in days {
        let document = Document::of(&day.content.beginning, &day.content.changes)?;
        let saved = document.save();
        let beside = beside::write(&document.heads(), &day.content.covers, &day.content.aside);
        let (length, beside_length) = (saved.len() as u64, beside.len() as u64);
        let content = [saved, beside].concat();
        described.push(PackDay {
            id: day.id,
            date: day.content.beginning.date,
            area: day.area.clone(),
            entries: day.entries(),
            length,
            beside: beside_length,
            sha256: sha256_hex(&content),
        });
        contents.push(content);
    }
    let manifest = Manifest {
        device,
        crew: signer.map(|(crew, _)| hex(crew)),
        key: signer.map(|(_, keys)| hex(&keys.signs_as())),
        days: described,
    };
    let manifest = serde_json::to_vec(&manifest).unwrap_or_default();
    let mut pack = Vec::with_capacity(
        HEADER_BYTES
            + manifest.len()
            + contents.iter().map(Vec::len).sum::<usize>()
            + SIGNATURE_BYTES
            + HASH_BYTES,
    );
    pack.extend_from_slice(MAGIC);
    pack.extend_from_slice(&VERSION.to_be_bytes());
    pack.extend_from_slice(&u32::try_from(manifest.len()).unwrap_or(u32::MAX).to_be_bytes());
    pack.extend_from_slice(&manifest);
    contents.iter().for_each(|d| pack.extend_from_slice(d));
    if let Some((_, keys)) = signer {
        let signature = keys.sign(&to_sign(&pack));
        pack.extend_from_slice(&signature);
    }
    let hash = Sha256::digest(&pack);
    pack.extend_from_slice(&hash);
    Ok(pack)
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
    if version < VERSION {
        return Err(PackError::Older(version));
    }
    let (body, hash) =
        bytes.split_at_checked(bytes.len().wrapping_sub(HASH_BYTES)).ok_or(damaged("it breaks off"))?;
    if Sha256::digest(body).as_slice() != hash {
        return Err(damaged("its checksum does not fit, so it was cut or changed on the way"));
    }
    let rest = body.get(MAGIC.len() + 2..).and_then(|b| b.split_first_chunk::<4>());
    let Some((length, rest)) = rest else {
        return Err(damaged("its header makes no sense"));
    };
    let length = usize::try_from(u32::from_be_bytes(*length)).unwrap_or(usize::MAX);
    let (manifest, mut rest) = rest.split_at_checked(length).ok_or(damaged("its manifest breaks off"))?;
    let manifest: Manifest =
        serde_json::from_slice(manifest).map_err(|e| PackError::Damaged(format!("its manifest: {e}")))?;
    let mut days = Vec::with_capacity(manifest.days.len().min(1000));
    for day in &manifest.days {
        let length = |n: u64| usize::try_from(n).unwrap_or(usize::MAX);
        let (document, after) =
            rest.split_at_checked(length(day.length)).ok_or(damaged("a day breaks off"))?;
        let (beside, after) =
            after.split_at_checked(length(day.beside)).ok_or(damaged("a day breaks off"))?;
        rest = after;
        days.push(read_day(day, document, beside)?);
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

/// A day out of the bytes of a document: within bounds, every change of it made again, and the day that it should be.
pub(super) fn document_of(day: DayId, bytes: &[u8]) -> Result<(DayContent, Vec<format::Hash>), DayRefused> {
    let read = format::read_document(day.0, bytes, &day_bounds())?;
    let beginning = Beginning::read(day, &read.first.date, &read.first.area)?;
    let content = DayContent { beginning, changes: read.changes, covers: Vec::new(), aside: Vec::new() };
    Ok((content, read.heads))
}

fn read_day(day: &PackDay, document: &[u8], beside: &[u8]) -> Result<PackedDay, PackError> {
    let damaged = |why: &str| PackError::Damaged(format!("day {}: {why}", day.id));
    let hash = Sha256::new().chain_update(document).chain_update(beside).finalize();
    if hex(&hash) != day.sha256 {
        return Err(damaged("its hash is not the one in the manifest"));
    }
    let read = document_of(day.id, document).map_err(|why| PackError::Day { day: day.id, why })?;
    let (mut content, heads) = read;
    if content.beginning.date != day.date {
        return Err(damaged("its date is not the one in the manifest"));
    }
    let read = beside::read(day.id, &heads, beside);
    (content.covers, content.aside) = read.ok_or(damaged("its signatures can't be read"))?;
    Ok(PackedDay { id: day.id, area: day.area.clone(), content })
}
