//! The work done with loro.
//!
//! An event of the document names what an import brought. It is faster than reading a small document of the update alone, and than the
//! difference of two versions.

use crate::KeyedEntry;
use crate::store::{begin, insert_entries, insert_update, measure};
use loro::event::{Diff, DiffEvent};
use loro::{ExportMode, LoroDoc, LoroStringValue, LoroValue, ValueOrContainer};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// What a device wrote, a commit for every entry, as one update of all its history.
#[must_use]
pub fn loro_device(peer: u64, entries: &[KeyedEntry]) -> Vec<u8> {
    let doc = LoroDoc::new();
    doc.set_peer_id(peer).unwrap();
    let map = doc.get_map("entries");
    for (key, json) in entries {
        map.insert(key, json.as_str()).unwrap();
        doc.commit();
    }
    doc.export(ExportMode::all_updates()).unwrap()
}

/// Merges the updates of all devices into a new document and an empty store; the processor time it takes.
///
/// # Panics
/// If an update can't be imported, or a row is missing afterwards.
#[must_use]
pub fn loro_merge(packs: &[Vec<u8>]) -> Duration {
    let entries = packs.iter().map(|pack| entries_of(pack)).sum();
    let doc = LoroDoc::new();
    let took = measure(entries, |conn| {
        let found: Arc<Mutex<Vec<(String, LoroStringValue)>>> = Arc::default();
        let in_event = Arc::clone(&found);
        let _subscription =
            doc.subscribe_root(Arc::new(move |event| in_event.lock().unwrap().extend(texts(event))));
        for pack in packs {
            let tx = begin(conn);
            doc.import(pack).unwrap();
            let new = std::mem::take(&mut *found.lock().unwrap());
            insert_entries(&tx, new.iter().map(|(key, json)| (key.as_str(), json.as_str())));
            insert_update(&tx, pack);
            tx.commit().unwrap();
        }
    });
    assert_eq!(doc.get_map("entries").len(), entries, "entries of the merged document");
    took
}

/// The new keys of an event, each with its text.
fn texts(event: DiffEvent<'_>) -> impl Iterator<Item = (String, LoroStringValue)> {
    let maps = event.events.into_iter().filter_map(|container| match container.diff {
        Diff::Map(map) => Some(map),
        _ => None,
    });
    maps.flat_map(|map| map.updated).filter_map(|(key, value)| match value {
        Some(ValueOrContainer::Value(LoroValue::String(json))) => Some((key.into_owned(), json)),
        _ => None,
    })
}

fn entries_of(pack: &[u8]) -> usize {
    let doc = LoroDoc::new();
    doc.import(pack).unwrap();
    doc.get_map("entries").len()
}
