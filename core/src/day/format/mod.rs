//! The format of a day: the small part of Automerge's binary format in which a day's changes and documents are written.
//!
//! A day begins with one [first change](first_change), which follows from its date and area alone. Every other change puts texts into the one
//! map `entries` and does nothing else, so it is fully given by its day, actor, sequence number, start, dependencies, keys and texts. That is
//! why reading is simple and strict: the bytes are taken apart, encoded again, and compared. There is one spelling, and nothing else is read.
//!
//! Bytes come from other devices. Nothing is allocated for a number that they claim before the number is checked against [`Bounds`].

mod change;
mod columns;
mod document;
mod error;
mod first;
mod inflate;
mod leb;
mod rebuild;
#[cfg(test)]
mod sample;
#[cfg(test)]
mod tests;

pub use change::{encode, read_change};
#[cfg(fuzzing)]
pub use document::made_heads;
pub use document::{ReadDocument, read_document};
pub use error::{Hex, Unreadable};
pub use first::{First, first_change};

/// The SHA-256 of a change's chunk: its name.
pub type Hash = [u8; 32];

/// Counters of operations and sequence numbers are smaller than this.
pub const MAX_COUNTER: u32 = 1 << 31;

/// Bounds of what is read, checked before anything is allocated.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// Bytes of a change, of a document, and of a document's inflated columns.
    pub bytes: usize,
    /// Bytes of all changes that a document gives, with their texts.
    pub rebuilt: usize,
    /// Operations of a change or a document.
    pub operations: usize,
    /// Changes of a document.
    pub changes: usize,
    /// Actors of a document.
    pub actors: usize,
    /// Dependencies of a change.
    pub deps: usize,
    /// Bytes of a key.
    pub key_bytes: usize,
}

impl Default for Bounds {
    fn default() -> Bounds {
        Bounds {
            bytes: 64 << 20,
            rebuilt: 256 << 20,
            operations: 1_000_000,
            changes: 1_000_000,
            actors: 65_536,
            deps: 256,
            key_bytes: 8192,
        }
    }
}

/// One text put under one key of the map `entries`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Put {
    /// The key: a ULID in the history of entries, anything else in the history of registers.
    pub key: String,
    /// The text.
    pub text: String,
}

/// A change other than the first.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Its name, made from all of its bytes.
    pub hash: Hash,
    /// Who wrote it: 16 bytes of the device, 8 bytes of one opening of its store. The lowest bit of the last byte names the history.
    pub actor: [u8; 24],
    /// The number of this change among the actor's, from 1.
    pub seq: u32,
    /// The counter of its first operation.
    pub start_op: u32,
    /// The changes that it depends on, sorted.
    pub deps: Vec<Hash>,
    /// Its operations in order, at least one.
    pub puts: Vec<Put>,
    /// The chunk as Automerge writes it.
    pub bytes: Vec<u8>,
}

impl Change {
    /// The counter of its last operation.
    #[must_use]
    pub fn max_op(&self) -> u32 {
        // Puts are at least one, and reading has checked the sum.
        let more = self.puts.len().saturating_sub(1);
        self.start_op.saturating_add(u32::try_from(more).unwrap_or(u32::MAX))
    }
}
