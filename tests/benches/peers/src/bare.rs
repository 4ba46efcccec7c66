//! The same rows with no library that merges: what SQLite alone takes for entries and their changes.

use crate::KeyedEntry;
use crate::store::{begin, insert_entries, measure};
use rusqlite::params;
use std::time::Duration;

/// What a device wrote: its entries, and a change for each of them.
pub struct BareDevice {
    actor: i64,
    entries: Vec<KeyedEntry>,
    changes: Vec<Change>,
}

/// A change as wide as one of a document: its bytes, and the hash over them.
struct Change {
    hash: [u8; 32],
    bytes: [u8; 300],
}

impl BareDevice {
    /// The device `actor` with a change for every entry. SQLite does not look into hash and bytes: their content is made up.
    #[must_use]
    pub fn new(actor: i64, entries: Vec<KeyedEntry>) -> BareDevice {
        let change = |n: usize| {
            let byte = (n % 251) as u8;
            Change { hash: [byte; 32], bytes: [byte; 300] }
        };
        let changes = (0..entries.len()).map(change).collect();
        BareDevice { actor, entries, changes }
    }
}

/// Inserts rows and changes of all devices into an empty store; the processor time it takes.
///
/// # Panics
/// If a row is missing afterwards.
#[must_use]
pub fn bare_merge(devices: &[BareDevice]) -> Duration {
    let entries = devices.iter().map(|device| device.entries.len()).sum();
    measure(entries, |conn| {
        for device in devices {
            let tx = begin(conn);
            insert_entries(&tx, device.entries.iter().map(|(key, json)| (key.as_str(), json.as_str())));
            let sql = "INSERT INTO change (actor, seq, hash, bytes) VALUES (?, ?, ?, ?)";
            let mut insert = tx.prepare_cached(sql).unwrap();
            for (seq, change) in (1_i64..).zip(&device.changes) {
                insert.execute(params![device.actor, seq, change.hash, change.bytes.as_slice()]).unwrap();
            }
            drop(insert);
            tx.commit().unwrap();
        }
    })
}
