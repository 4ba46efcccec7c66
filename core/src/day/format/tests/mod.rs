//! Both ways: what Automerge writes is read, and what is not a day is refused.

mod damage;
mod foreign;
mod same;
mod size;
mod tables;

use super::columns::Writer;
use super::sample::{document, first, ulid};
use super::*;
use std::time::{Duration, Instant};

fn read(bytes: &[u8]) -> Result<Change, Unreadable> {
    quick(|| read_change(first().day, bytes))
}

fn read_saved(bytes: &[u8]) -> Result<ReadDocument, Unreadable> {
    quick(|| read_document(first().day, bytes, &Bounds::default()))
}

/// What is refused is refused at once.
fn quick<T>(run: impl FnOnce() -> T) -> T {
    let start = Instant::now();
    let out = run();
    assert!(start.elapsed() < Duration::from_secs(10));
    out
}

#[track_caller]
fn why(result: Result<impl Sized, Unreadable>) -> String {
    result.err().expect("it was accepted").to_string()
}

/// Asserts that something is refused for a reason that contains `part`.
#[track_caller]
fn refused(result: Result<impl Sized, Unreadable>, part: &str) {
    let why = why(result);
    assert!(why.contains(part), "{why:?} does not contain {part:?}");
}

/// The actor of a device: its number, an opening, and 0 for entries or 1 for registers.
fn actor(device: u8, opening: u8, history: u8) -> [u8; 24] {
    let mut actor = [device; 24];
    (actor[16], actor[23]) = (opening, history);
    actor
}

fn change(actor: [u8; 24], seq: u32, start_op: u32, deps: &[Hash], keys: &[&str]) -> Change {
    let puts = keys.iter().map(|key| Put { key: (*key).to_owned(), text: "text".to_owned() });
    encode(first().day, actor, seq, start_op, deps.to_vec(), puts.collect())
}

fn begin() -> Hash {
    first_change(&first()).0
}

fn plain(changes: &[Change]) -> Vec<u8> {
    document(changes).save_nocompress()
}

/// Two entries of one device.
fn two() -> Vec<Change> {
    let one = change(actor(1, 1, 0), 1, 6, &[begin()], &[&ulid(1)]);
    let two = change(actor(1, 1, 0), 2, 7, &[one.hash], &[&ulid(2)]);
    vec![one, two]
}

/// A column of unsigned numbers, as Automerge writes it.
fn numbers(values: &[u64]) -> Vec<u8> {
    let mut writer = Writer::default();
    writer.numbers(0, values.len(), |k| values[k]);
    writer.data
}

/// A column of numbers written as differences, as Automerge writes it.
fn deltas(values: &[u32]) -> Vec<u8> {
    let mut writer = Writer::default();
    writer.deltas(0, values.len(), |k| values[k]);
    writer.data
}
