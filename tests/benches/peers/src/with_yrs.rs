//! The work done with yrs.
//!
//! An event of the map names what an update brought. It is faster than reading a small document of the update alone. The first encoding is
//! decoded as fast as the second or faster.

use crate::KeyedEntry;
use crate::store::{begin, insert_entries, insert_update, measure};
use std::sync::{Arc, Mutex};
use std::time::Duration;
use yrs::types::EntryChange;
use yrs::updates::decoder::Decode;
use yrs::{Any, Doc, Map, Observable, Out, ReadTxn, StateVector, Transact, Update};

/// Key and text of an entry, as the library shares them.
type Text = (Arc<str>, Arc<str>);

/// What a device wrote, a transaction for every entry, as one update of all its history.
#[must_use]
pub fn yrs_device(client: u64, entries: &[KeyedEntry]) -> Vec<u8> {
    let doc = Doc::with_client_id(client);
    let map = doc.get_or_insert_map("entries");
    for (key, json) in entries {
        map.insert(&mut doc.transact_mut(), key.as_str(), json.as_str());
    }
    doc.transact().encode_state_as_update_v1(&StateVector::default())
}

/// Merges the updates of all devices into a new document and an empty store; the processor time it takes.
///
/// # Panics
/// If an update can't be applied, or a row is missing afterwards.
#[must_use]
pub fn yrs_merge(packs: &[Vec<u8>]) -> Duration {
    let entries = packs.iter().map(|pack| entries_of(pack)).sum();
    let doc = Doc::new();
    let map = doc.get_or_insert_map("entries");
    let took = measure(entries, |conn| {
        let found: Arc<Mutex<Vec<Text>>> = Arc::default();
        let in_event = Arc::clone(&found);
        map.observe("rows", move |tx, event| {
            let mut found = in_event.lock().unwrap();
            for (key, change) in event.keys(tx) {
                if let EntryChange::Inserted(Out::Any(Any::String(json))) = change {
                    found.push((Arc::clone(key), Arc::clone(json)));
                }
            }
        });
        for pack in packs {
            let tx = begin(conn);
            doc.transact_mut().apply_update(Update::decode_v1(pack).unwrap()).unwrap();
            let new = std::mem::take(&mut *found.lock().unwrap());
            insert_entries(&tx, new.iter().map(|(key, json)| (&**key, &**json)));
            insert_update(&tx, pack);
            tx.commit().unwrap();
        }
    });
    assert_eq!(map.len(&doc.transact()) as usize, entries, "entries of the merged document");
    took
}

fn entries_of(pack: &[u8]) -> usize {
    let doc = Doc::new();
    let map = doc.get_or_insert_map("entries");
    doc.transact_mut().apply_update(Update::decode_v1(pack).unwrap()).unwrap();
    map.len(&doc.transact()) as usize
}
