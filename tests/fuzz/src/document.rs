//! A document, read here and by Automerge: whatever is read here Automerge reads as the same changes, and saves as the same bytes.

use crate::change::same;
use crate::chunk::{Chunk, bounds};
use crate::{DAY, library, memory};
use automerge::{Automerge, ROOT, ReadDoc};
use firnbook_core::day::Hash;
use firnbook_core::day::format::{first_change, read_change, read_document};

/// The most that reading a document within these bounds may allocate.
const MEMORY: usize = 2 << 20;

/// What Automerge makes of a document.
struct Theirs {
    changes: Vec<automerge::Change>,
    heads: Vec<Hash>,
    saved: Vec<u8>,
    /// Values in the map of entries, all of one key counted.
    values: usize,
}

fn theirs(bytes: &[u8]) -> Option<Theirs> {
    let document = Automerge::load(bytes).ok()?;
    let mut changes = document.get_changes(&[]);
    changes.sort_by_key(|change| change.hash().0);
    let (_, entries) = document.get(ROOT, "entries").ok()??;
    let keys: Vec<String> = document.keys(&entries).collect();
    let values = keys.iter().map(|key| document.get_all(&entries, key.as_str()).map_or(0, |all| all.len()));
    let mut heads: Vec<Hash> = document.get_heads().iter().map(|head| head.0).collect();
    heads.sort_unstable();
    Some(Theirs { changes, heads, saved: document.save_nocompress(), values: values.sum() })
}

/// Checks an input. `true`: it is a document that was read.
pub fn check(bytes: &[u8]) -> bool {
    let (read, peak) = memory::peak(|| read_document(DAY, bytes, &bounds()));
    assert!(peak <= MEMORY, "{peak} bytes allocated for {}", bytes.len());
    let Ok(read) = read else { return false };
    let mut theirs = library(|| theirs(bytes)).flatten().expect("Automerge reads what is read here");
    let plain = Chunk::parse(bytes).map(Chunk::plain);
    assert_eq!(Some(theirs.saved), plain, "Automerge saves the document in other bytes");

    let (hash, first) = first_change(&read.first);
    let at = theirs.changes.iter().position(|change| change.hash().0 == hash);
    let their_first = theirs.changes.remove(at.expect("Automerge has the first change"));
    assert_eq!(their_first.raw_bytes(), first);
    assert_eq!(theirs.heads, read.heads);
    assert_eq!(theirs.values, read.changes.iter().map(|change| change.puts.len()).sum::<usize>());

    let mut changes = read.changes;
    changes.sort_by_key(|change| change.hash);
    assert_eq!(changes.len(), theirs.changes.len());
    for (ours, theirs) in changes.iter().zip(&theirs.changes) {
        assert!(ours.bytes == theirs.raw_bytes() && same(ours, theirs), "Automerge reads another change");
        assert_eq!(read_change(DAY, &ours.bytes).as_ref(), Ok(ours), "read alone, it is another change");
    }
    true
}
