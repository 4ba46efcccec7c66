//! A confirmed entry costs one sync of the write-ahead log: not none, or a power cut would lose it, and not two.

use super::program;
use std::process::Command;

/// How often a process that writes this many entries asks the disk to keep what it wrote, as the kernel is asked.
fn syncs(entries: usize) -> usize {
    let folder = tempfile::tempdir().unwrap();
    let trace = folder.path().join("trace");
    let output = Command::new("strace")
        .args(["-f", "-e", "trace=fsync,fdatasync,sync_file_range,syncfs", "-o", trace.to_str().unwrap()])
        .arg(program("scribe"))
        .args([folder.path().join("store.firnstore").to_str().unwrap(), "Obs1", &entries.to_string()])
        .output()
        .expect("strace is installed by tests/run");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    std::fs::read_to_string(trace)
        .unwrap()
        .lines()
        .filter(|l| l.contains("sync") && l.ends_with("= 0"))
        .count()
}

#[test]
fn an_entry_costs_exactly_one_sync() {
    let (few, many) = (syncs(5), syncs(25));
    assert_eq!(many - few, 20, "5 entries: {few} syncs, 25 entries: {many}");
}
