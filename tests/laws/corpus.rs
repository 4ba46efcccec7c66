//! What fuzzing found worth keeping: whatever is read here, Automerge reads too, with the same changes. The files are in `tests/fuzz/corpus`.

use automerge::Automerge;
use firnbook_core::day::format::{Bounds, read_change, read_document};

const DAY: [u8; 16] = [0x5a; 16];

fn files(folder: &str) -> impl Iterator<Item = Vec<u8>> {
    let folder = format!("{}/fuzz/corpus/{folder}", env!("CARGO_MANIFEST_DIR"));
    std::fs::read_dir(folder).unwrap().map(|file| std::fs::read(file.unwrap().path()).unwrap())
}

#[test]
fn changes_are_those_that_automerge_reads() {
    let mut read = 0;
    for bytes in files("change") {
        let Ok(change) = read_change(DAY, &bytes) else { continue };
        read += 1;
        let theirs = automerge::Change::from_bytes(bytes).unwrap();
        assert_eq!(change.bytes, theirs.raw_bytes());
        assert_eq!(change.hash, theirs.hash().0);
        assert_eq!(change.actor, theirs.actor_id().to_bytes());
        assert_eq!(u64::from(change.max_op()), theirs.max_op());
    }
    assert!(read > 5);
}

#[test]
fn documents_are_those_that_automerge_reads() {
    let bounds = Bounds { bytes: 1 << 16, ..Bounds::default() };
    let mut read = 0;
    for bytes in files("document") {
        let Ok(document) = read_document(DAY, &bytes, &bounds) else { continue };
        read += 1;
        let theirs = Automerge::load(&bytes).unwrap();
        let mut heads: Vec<[u8; 32]> = theirs.get_heads().iter().map(|head| head.0).collect();
        let theirs = theirs.get_changes(&[]);
        let mut theirs: Vec<&[u8]> = theirs.iter().skip(1).map(|change| change.raw_bytes()).collect();
        let mut ours: Vec<&[u8]> = document.changes.iter().map(|change| &*change.bytes).collect();
        theirs.sort_unstable();
        ours.sort_unstable();
        assert_eq!(ours, theirs);
        heads.sort_unstable();
        assert_eq!(document.heads, heads);
    }
    assert!(read > 5);
}
