//! The two tables of a document, forged.

use super::super::columns::spec;
use super::super::leb::put_unsigned;
use super::super::sample::{Parts, ulid};
use super::*;

#[test]
fn tables_that_do_not_fit_are_refused() {
    let base = Parts::of(&plain(&two()));
    let with = |list: usize, spec: u32, data: Vec<u8>| {
        let mut parts = base.clone();
        *parts.column(list, spec) = data;
        read_saved(&parts.bytes())
    };
    // Three changes: by the day, which is actor 1, then two by the device, which is actor 0.
    assert!(with(0, spec::ACTOR, numbers(&[1, 0, 0])).is_ok());
    assert!(with(0, spec::SEQ, deltas(&[1, 1, 2])).is_ok());
    assert!(with(0, spec::MAX_OP, deltas(&[5, 6, 7])).is_ok());
    assert!(with(0, spec::DEP_COUNT, numbers(&[0, 1, 1])).is_ok());
    assert!(with(0, spec::DEP, deltas(&[0, 1])).is_ok());
    for seq in [[1, 1, 1], [1, 1, 3], [1, 2, 2], [1, 2, 3], [1, 0, 1], [1, 2, 1]] {
        refused(with(0, spec::SEQ, deltas(&seq)), "does not follow");
    }
    refused(with(0, spec::SEQ, deltas(&[2, 1, 2])), "first change of its day");
    for actor in [[0, 0, 0], [0, 1, 0], [1, 0, 1], [1, 1, 1], [1, 1, 0]] {
        refused(with(0, spec::ACTOR, numbers(&actor)), "first change of its day");
    }
    refused(with(0, spec::ACTOR, numbers(&[1, 0, 2])), "too large");
    for max_op in [[5, 6, 8], [5, 7, 7], [5, 7, 8], [5, 5, 7], [5, 7, 6], [5, 6, 6], [5, 0, 7]] {
        refused(with(0, spec::MAX_OP, deltas(&max_op)), "operations are not exactly");
    }
    refused(with(0, spec::MAX_OP, deltas(&[5, 6, MAX_COUNTER])), "out of bounds");
    refused(with(0, spec::MAX_OP, deltas(&[6, 6, 7])), "first change of its day");
    refused(with(0, spec::DEP, deltas(&[0, 0])), "does not follow");
    refused(with(0, spec::DEP, deltas(&[0, 2])), "later change");
    refused(with(0, spec::DEP, deltas(&[1, 0])), "later change");
    refused(with(0, spec::DEP, deltas(&[0, u32::MAX])), "out of bounds");
    refused(with(0, spec::DEP_COUNT, numbers(&[0, 1, 0])), "beyond the last row");
    refused(with(0, spec::DEP_COUNT, numbers(&[0, 1, 2])), "too few rows");
    refused(with(0, spec::DEP_COUNT, numbers(&[0, 0, 2])), "depends on nothing");
    refused(with(0, spec::DEP_COUNT, numbers(&[1, 1, 0])), "first change of its day");
    refused(with(0, spec::TIME, deltas(&[0, 1, 0])), "not encoded");
    refused(with(0, spec::EXTRA, numbers(&[7, 7, 0x17])), "not encoded");
    refused(with(0, 0x35, vec![0, 2, 0x7f, 1, b'a']), "other columns");
    refused(with(0, 0x57, vec![1]), "other columns");
    // The operations: five of the first change, ordered by key, and two.
    assert!(with(1, spec::ID_COUNTER, deltas(&[3, 2, 5, 4, 1, 6, 7])).is_ok());
    for pair in [[6, 6], [7, 7], [7, 6], [6, 8], [5, 7]] {
        let counter = [&[3, 2, 5, 4, 1][..], &pair].concat();
        let part = if pair == [7, 6] { "heads" } else { "operations are not exactly" };
        refused(with(1, spec::ID_COUNTER, deltas(&counter)), part);
    }
    refused(with(1, spec::ID_COUNTER, deltas(&[2, 3, 5, 4, 1, 6, 7])), "not encoded");
    refused(with(1, spec::ID_ACTOR, numbers(&[1, 1, 1, 1, 1, 1, 0])), "another first change");
    refused(with(1, spec::ID_ACTOR, numbers(&[1, 1, 1, 1, 0, 0, 0])), "another first change");
    refused(with(1, spec::ID_ACTOR, numbers(&[1, 1, 1, 1, 1, 0])), "beyond the last row");
    refused(with(1, spec::ID_ACTOR, numbers(&[1, 1, 1, 1])), "too few operations");
    refused(with(1, spec::SUCCESSORS, numbers(&[0, 0, 0, 0, 0, 0, 1])), "not encoded");
    refused(with(1, spec::ACTION, numbers(&[1, 1, 0, 1, 1, 1, 3])), "not encoded");
    refused(with(1, spec::OBJECT_COUNTER, vec![0, 5, 2, 4]), "not encoded");
    refused(with(1, spec::OBJECT_COUNTER, vec![0, 6, 0x7f, 5]), "not encoded");
    refused(with(1, spec::OBJECT_ACTOR, vec![0, 5, 2, 0]), "not encoded");
    refused(with(1, spec::INSERT, vec![6, 1]), "not encoded");
    refused(with(1, 0x11, numbers(&[0; 7])), "other columns");
    refused(with(1, 0x81, numbers(&[0, 0])), "other columns");
    // One meaning in another spelling.
    assert_eq!(deltas(&[0, 0, 0]), [3, 0]);
    for spelling in [&[2, 0, 0x7f, 0][..], &[1, 0, 2, 0], &[0x7d, 0, 0, 0], &[0x83, 0, 0], &[3, 0x80, 0]] {
        refused(with(0, spec::TIME, spelling.to_vec()), "not encoded");
        refused(with(0, spec::ACTOR, [&[0x7f, 1][..], &[0x7f, 0, 0x7f, 0]].concat()), "not encoded");
    }
}

#[test]
fn operations_of_a_change_are_contiguous() {
    let base = Parts::of(&plain(&[change(actor(1, 1, 1), 1, 6, &[begin()], &["a", "b"])]));
    let with = |max_op: u32, counters: [u32; 2]| {
        let mut parts = base.clone();
        *parts.column(0, spec::MAX_OP) = deltas(&[5, max_op]);
        *parts.column(1, spec::ID_COUNTER) = deltas(&[&[3, 2, 5, 4, 1][..], &counters].concat());
        read_saved(&parts.bytes())
    };
    assert!(with(7, [6, 7]).is_ok());
    refused(with(6, [6, 7]), "operations of no change");
    refused(with(8, [6, 8]), "operations are not exactly");
    refused(with(7, [7, 7]), "operations are not exactly");
    refused(with(8, [6, 7]), "operations are not exactly");
    // One higher, and as contiguous: another change, with another hash.
    refused(with(8, [7, 8]), "heads");
}

#[test]
fn dependencies_are_in_ascending_order() {
    let mut all = two();
    all.push(change(actor(1, 2, 0), 1, 7, &[all[0].hash], &[&ulid(3)]));
    all.push(change(actor(1, 3, 0), 1, 8, &[all[1].hash, all[2].hash], &[&ulid(4)]));
    let base = Parts::of(&plain(&all));
    let with = |last: [u32; 2]| {
        let mut parts = base.clone();
        *parts.column(0, spec::DEP) = deltas(&[&[0, 1, 1][..], &last].concat());
        read_saved(&parts.bytes())
    };
    let order = if all[1].hash < all[2].hash { [2, 3] } else { [3, 2] };
    assert!(with(order).is_ok());
    refused(with([order[1], order[0]]), "not in ascending order");
    refused(with([2, 2]), "not in ascending order");
}

#[test]
fn rows_and_values_that_do_not_fit_are_refused() {
    let base = Parts::of(&plain(&two()));
    let with = |edit: &dyn Fn(&mut Parts)| {
        let mut parts = base.clone();
        edit(&mut parts);
        read_saved(&parts.bytes())
    };
    // The last key becomes smaller than the one before it, then equal.
    let last_key = |byte: u8| move |parts: &mut Parts| *parts.column(1, spec::KEY).last_mut().unwrap() = byte;
    refused(with(&last_key(b'0')), "out of order or twice");
    refused(with(&last_key(b'1')), "not encoded");
    refused(with(&last_key(b'3')), "heads");
    refused(with(&last_key(0xff)), "UTF-8");
    let value = |at: usize, byte: u8| move |parts: &mut Parts| parts.column(1, spec::VALUE)[at] = byte;
    let date = "upper bowl".len();
    let format = date + "2027-02-06".len();
    refused(with(&value(0, b'U')), "heads");
    refused(with(&value(date, b'3')), "heads");
    refused(with(&value(date, b'x')), "year-month-day");
    refused(with(&value(date + 4, b'/')), "year-month-day");
    refused(with(&value(format, 2)), "another first change");
    refused(with(&value(format + 1, b'0')), "another id");
    refused(with(&value(format + 33, b'T')), "heads");
    refused(with(&value(format + 33, 0xff)), "UTF-8");
    refused(with(&|parts| parts.column(1, spec::VALUE).push(0)), "more bytes follow");
    refused(with(&|parts| parts.column(1, spec::VALUE).truncate(60)), "incomplete");
    refused(with(&|parts| parts.columns[1].swap(0, 1)), "out of order");
    refused(with(&|parts| drop(parts.columns[1].remove(2))), "too few rows");
    refused(with(&|parts| parts.columns[0].insert(1, (spec::ACTOR, vec![3, 0]))), "out of order");
    let kinds = |last: u64| numbers(&[10 << 4 | 6, 10 << 4 | 6, 0, 0x14, 32 << 4 | 6, 4 << 4 | 6, last]);
    assert!(with(&|parts| *parts.column(1, spec::VALUE_KIND) = kinds(4 << 4 | 6)).is_ok());
    for kind in [4 << 4 | 7, 4 << 4 | 4, 4 << 4 | 8, 4 << 4 | 15, 0, 1, 2] {
        refused(with(&|parts| *parts.column(1, spec::VALUE_KIND) = kinds(kind)), "no text");
    }
    refused(with(&|parts| *parts.column(1, spec::VALUE_KIND) = kinds(3 << 4 | 6)), "more bytes follow");
    refused(with(&|parts| *parts.column(1, spec::VALUE_KIND) = kinds(1 << 60 | 6)), "incomplete");
}

#[test]
fn actors_and_heads_are_exactly_those_needed() {
    let base = two();
    let (mut parts, begin) = (Parts::of(&plain(&base)), begin());
    let heads = |parts: &Parts, heads: &[Hash], places: &[u8]| {
        let mut parts = parts.clone();
        parts.before.truncate(1 + 25 + 17);
        put_unsigned(&mut parts.before, heads.len() as u64);
        heads.iter().for_each(|head| parts.before.extend_from_slice(head));
        parts.after = places.to_vec();
        read_saved(&parts.bytes())
    };
    let head = base[1].hash;
    assert!(heads(&parts, &[head], &[2]).is_ok());
    refused(heads(&parts, &[head], &[1]), "heads");
    refused(heads(&parts, &[head], &[]), "incomplete");
    refused(heads(&parts, &[head], &[2, 0]), "more bytes follow");
    refused(heads(&parts, &[base[0].hash], &[1]), "heads");
    refused(heads(&parts, &[begin], &[0]), "heads");
    refused(heads(&parts, &[head, head], &[2, 2]), "ascending order");
    let mut both = [(head, 2), (begin, 0)];
    both.sort();
    refused(heads(&parts, &both.map(|head| head.0), &both.map(|head| head.1)), "heads");
    refused(heads(&parts, &[], &[]), "heads");
    // The two actors in the other order, and all that names them.
    let mut swapped = parts.clone();
    swapped.before[1..1 + 25 + 17].rotate_left(25);
    *swapped.column(0, spec::ACTOR) = numbers(&[0, 1, 1]);
    *swapped.column(1, spec::ID_ACTOR) = numbers(&[0, 0, 0, 0, 0, 1, 1]);
    *swapped.column(1, spec::OBJECT_ACTOR) = vec![0, 5, 2, 0];
    refused(read_saved(&swapped.bytes()), "actors out of order");
    // A third actor, last of all, that nothing is by.
    parts.before[0] = 3;
    let mut third = vec![24];
    third.extend_from_slice(&[0xff; 24]);
    parts.before.splice(1 + 25 + 17..1 + 25 + 17, third);
    refused(read_saved(&parts.bytes()), "actor without changes");
}
