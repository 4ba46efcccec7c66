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
    use std::fmt::Write;
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, b| {
        let _ = write!(text, "{b:02x}");
        text
    })
}

/// Exactly `N` bytes out of hexadecimal digits.
#[must_use]
pub fn unhex<const N: usize>(text: &str) -> Option<[u8; N]> {
    let mut bytes = [0; N];
    if text.len() != 2 * N || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    for (i, byte) in bytes.iter_mut().enumerate() {
        *byte = u8::from_str_radix(&text[2 * i..2 * i + 2], 16).ok()?;
    }
    Some(bytes)
}
