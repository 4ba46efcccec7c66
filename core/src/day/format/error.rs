//! Why bytes are not read.

use std::fmt;

/// Why bytes are not a change or a document of a day. Nothing of them was used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Unreadable {
    /// The checksum in the bytes does not match the rest of them.
    #[error("The data is damaged. Its checksum does not match its content.")]
    Damaged,
    /// The bytes end early.
    #[error("The data is incomplete. {part} breaks off at byte {at}.")]
    Cut {
        /// What was being read.
        part: &'static str,
        /// Where it breaks off.
        at: usize,
    },
    /// Bytes follow where there may be none.
    #[error("The data is longer than it may be. {part} is complete at byte {at}, and more bytes follow.")]
    Trailing {
        /// What was read.
        part: &'static str,
        /// Where it is complete.
        at: usize,
    },
    /// Bytes of another kind.
    #[error("The data is of another kind. {part} was expected, and {found} was found.")]
    Kind {
        /// What should be here.
        part: &'static str,
        /// What is here.
        found: &'static str,
    },
    /// More than is read, before anything was allocated for it.
    #[error("The data is too large. It has at least {found} {what}, and at most {most} are read.")]
    TooLarge {
        /// What there is too much of.
        what: &'static str,
        /// How much there is at least, or is claimed.
        found: u64,
        /// How much is read.
        most: u64,
    },
    /// A number that means nothing at its place.
    #[error("The data contains a wrong number. {part} has it at byte {at}: {why}.")]
    Number {
        /// What was being read.
        part: &'static str,
        /// Where the number ends.
        at: usize,
        /// What is wrong with it.
        why: &'static str,
    },
    /// A text that is not UTF-8.
    #[error("The data contains a text that is not UTF-8. {part} has it, ending at byte {at}.")]
    Utf8 {
        /// What was being read.
        part: &'static str,
        /// Where the text ends.
        at: usize,
    },
    /// Something that a day does not contain, though Automerge could.
    #[error("The data contains something that is not part of a day: {what}.")]
    Foreign {
        /// What it is.
        what: &'static str,
    },
    /// The meaning is allowed and its bytes are not those that Automerge writes for it.
    #[error(
        "The data is not encoded as Automerge encodes it. {part} differs at byte {at}, so that its hash would be another one."
    )]
    Encoding {
        /// What differs.
        part: &'static str,
        /// Where the first difference is within this part, after inflating.
        at: usize,
    },
    /// A key that may not be in this change.
    #[error("The key {key:?} is not allowed here: {why}.")]
    Key {
        /// The key, at most 80 characters of it.
        key: String,
        /// Why it is not.
        why: &'static str,
    },
    /// A change that does not fit its place in the history.
    #[error("Change {seq} of {actor} breaks a rule of the history: {why}.")]
    History {
        /// The actor.
        actor: Hex,
        /// Its sequence number.
        seq: u32,
        /// The rule.
        why: &'static str,
    },
    /// A document whose heads are not those of its changes.
    #[error("The document is inconsistent. Its heads are not the heads of its changes.")]
    Heads,
    /// Another day than the one that was expected.
    #[error("The data belongs to another day than {day}: {why}.")]
    OtherDay {
        /// The day that was expected.
        day: Hex,
        /// How it shows.
        why: &'static str,
    },
}

/// Bytes of an identity, shown as hexadecimal digits.
#[derive(Clone, PartialEq, Eq)]
pub struct Hex(pub Vec<u8>);

impl fmt::Display for Hex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Hex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl Unreadable {
    /// A key with what is wrong with it.
    pub(super) fn key(key: &str, why: &'static str) -> Unreadable {
        Unreadable::Key { key: key.chars().take(80).collect(), why }
    }

    /// More of something than is read.
    pub(super) fn too_large(what: &'static str, found: u64, most: usize) -> Unreadable {
        Unreadable::TooLarge { what, found, most: most as u64 }
    }
}
