//! A record of a crew: one act, signed. Records are never changed and never taken away; a crew is the set of them.

use super::keys::{DeviceKeys, KeyId, Ticket, verify};
use serde::{Deserialize, Serialize};
use serde_bytes::{ByteArray, ByteBuf};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

/// The most that one record may weigh. The largest is a new key, sealed to some hundred devices at 220 bytes each.
pub const RECORD_BYTES: usize = 64 << 10;

/// Identity of a record: the first 16 bytes of SHA-256 over it.
pub type RecordId = [u8; 16];

/// A device as the crew knows it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Member {
    /// Its id.
    pub device: ByteArray<16>,
    /// What people call it.
    pub label: String,
    /// Its key for signatures.
    pub sign: ByteArray<32>,
    /// Its key in a live exchange.
    pub exchange: ByteArray<32>,
    /// Its key for what is sealed to it, as age writes it.
    pub seal: String,
}

impl Member {
    /// The device with these keys.
    #[must_use]
    pub fn of(device: [u8; 16], label: &str, keys: &DeviceKeys) -> Member {
        Member {
            device: ByteArray::new(device),
            label: label.to_owned(),
            sign: ByteArray::new(keys.signs_as()),
            exchange: ByteArray::new(keys.exchanges_as()),
            seal: keys.seals_as(),
        }
    }
}

/// What a record says. Times are seconds since 1970 UTC by the clock of who signs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "act", rename_all = "snake_case")]
pub enum Act {
    /// The crew begins, with this device; signed by it. The id of this record is that of the crew.
    Found {
        /// The first device.
        member: Member,
        /// 16 random bytes, so that two crews of one device are two.
        salt: ByteBuf,
        /// When.
        at: i64,
    },
    /// A device may join with this ticket; signed by a member.
    Invite {
        /// The public half of the ticket.
        ticket: ByteArray<32>,
        /// Up to when a door opens for it.
        until: i64,
        /// When.
        at: i64,
    },
    /// A device joins; signed with the ticket.
    Join {
        /// The device.
        member: Member,
        /// When.
        at: i64,
    },
    /// A device is removed; signed by a member.
    Remove {
        /// Its key for signatures: invited anew, a device comes with other keys.
        sign: ByteArray<32>,
        /// Records by that device that still count: those that the signer knew. Whatever else it signs or signed does not.
        keeps: Vec<ByteArray<16>>,
        /// When.
        at: i64,
    },
    /// The crew has another key; signed by a member. Several records of one number and key add up.
    Rotate {
        /// One more than that of the key before; 0 is the key the crew began with.
        number: u64,
        /// Which key.
        key: ByteArray<8>,
        /// The key, sealed to each device, by device id in hexadecimal digits.
        sealed: BTreeMap<String, ByteBuf>,
        /// When.
        at: i64,
    },
    /// What a newer version does; carried, and not looked into.
    #[serde(skip)]
    Unknown,
}

/// A signed act.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record {
    /// What it says.
    pub act: Act,
    /// The key that signed it: of a device, for `join` of a ticket.
    pub by: [u8; 32],
    bytes: Vec<u8>,
}

/// Why bytes are no record.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RecordError {
    /// Not readable.
    #[error("a record of the crew is damaged")]
    Damaged,
    /// Its signature does not fit.
    #[error("a record of the crew carries a signature that does not fit")]
    Forged,
}

#[derive(Serialize, Deserialize)]
struct Signed(ByteBuf, ByteArray<32>, ByteArray<64>);

/// What is signed begins with this, so that a signature over anything else never passes for one over a record.
const CONTEXT: &[u8] = b"firnbook-crew-record-1\n";

impl Record {
    /// An act that a device signs.
    #[must_use]
    pub fn by_device(act: Act, keys: &DeviceKeys) -> Record {
        Record::signed(act, keys.signs_as(), |message| keys.sign(message))
    }

    /// An act that is signed with a ticket.
    #[must_use]
    pub fn by_ticket(act: Act, ticket: &Ticket) -> Record {
        Record::signed(act, ticket.public(), |message| ticket.sign(message))
    }

    fn signed(act: Act, by: [u8; 32], sign: impl FnOnce(&[u8]) -> [u8; 64]) -> Record {
        let body = cbor(&act);
        let signature = sign(&[CONTEXT, &body].concat());
        let bytes = cbor(&Signed(ByteBuf::from(body), ByteArray::new(by), ByteArray::new(signature)));
        Record { act, by, bytes }
    }

    /// Reads a record and checks its signature. Whether the signer may say so is for the roster.
    ///
    /// # Errors
    /// [`RecordError`].
    pub fn read(bytes: &[u8]) -> Result<Record, RecordError> {
        if bytes.len() > RECORD_BYTES {
            return Err(RecordError::Damaged);
        }
        let Signed(body, by, signature) = ciborium::from_reader(bytes).map_err(|_| RecordError::Damaged)?;
        // Only the shortest spelling of itself: else one act had many ids.
        if cbor(&Signed(body.clone(), by, signature)) != bytes {
            return Err(RecordError::Damaged);
        }
        if !verify(&by, &[CONTEXT, &body].concat(), &signature) {
            return Err(RecordError::Forged);
        }
        Record::kept(bytes).ok_or(RecordError::Damaged)
    }

    /// A record that was checked before it was kept: its signature is not looked at again, as a crew of 30 would cost milliseconds each time.
    #[must_use]
    pub fn kept(bytes: &[u8]) -> Option<Record> {
        let Signed(body, by, _) = ciborium::from_reader(bytes).ok()?;
        let act = ciborium::from_reader(body.as_slice()).unwrap_or(Act::Unknown);
        Some(Record { act, by: *by, bytes: bytes.to_vec() })
    }

    /// As it travels and is kept.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// Its id.
    #[must_use]
    pub fn id(&self) -> RecordId {
        let mut id = [0; 16];
        id.copy_from_slice(&Sha256::digest(&self.bytes)[..16]);
        id
    }
}

/// Which key a number of a rotation names.
pub(super) type Rotation = (u64, KeyId);

fn cbor(value: &impl Serialize) -> Vec<u8> {
    let mut bytes = Vec::new();
    // Plain data into memory: nothing of it can fail.
    let _ = ciborium::into_writer(value, &mut bytes);
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_record_reads_back_and_no_bit_of_it_can_be_turned() {
        let keys = DeviceKeys::fresh().unwrap();
        let act = Act::Found {
            member: Member::of([7; 16], "Base", &keys),
            salt: ByteBuf::from(vec![1; 16]),
            at: 1_801_904_400,
        };
        let record = Record::by_device(act, &keys);
        assert_eq!(Record::read(record.bytes()).unwrap(), record);
        for at in 0..record.bytes().len() {
            let mut altered = record.bytes().to_vec();
            altered[at] ^= 1 << (at % 8);
            assert!(Record::read(&altered).is_err(), "byte {at}");
        }
        let mut longer = record.bytes().to_vec();
        longer.push(0);
        assert_eq!(Record::read(&longer), Err(RecordError::Damaged));
    }

    #[test]
    fn what_a_newer_version_does_is_carried() {
        #[derive(Serialize)]
        struct Newer {
            act: &'static str,
            colour: u8,
        }
        let keys = DeviceKeys::fresh().unwrap();
        let body = cbor(&Newer { act: "paint", colour: 3 });
        let signature = keys.sign(&[CONTEXT, &body].concat());
        let bytes =
            cbor(&Signed(ByteBuf::from(body), ByteArray::new(keys.signs_as()), ByteArray::new(signature)));
        let record = Record::read(&bytes).unwrap();
        assert_eq!((record.act.clone(), record.bytes()), (Act::Unknown, bytes.as_slice()));
    }
}
