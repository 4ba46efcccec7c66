//! Keys and membership: who belongs to a crew, as a set of signed records from which every device works out the same roster.
//!
//! Nothing here reads a file or a socket. Secrets never show in a debug print or an error.

mod invitation;
mod keys;
mod record;
mod roster;

pub use invitation::{Invitation, InvitationError};
pub use keys::{CrewKey, DeviceKeys, KeyId, Secrets, Ticket, seal_for, verify};
pub use record::{Act, Member, RECORD_BYTES, Record, RecordError, RecordId};
pub use roster::{CrewId, Joining, Roster, Signing};

/// Bytes as lower-case hexadecimal digits.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    ::hex::encode(bytes)
}

/// Exactly `N` bytes out of lower-case hexadecimal digits.
#[must_use]
pub fn unhex<const N: usize>(text: &str) -> Option<[u8; N]> {
    let mut bytes = [0; N];
    ::hex::decode_to_slice(text, &mut bytes).ok()?;
    (::hex::encode(bytes) == text).then_some(bytes)
}
