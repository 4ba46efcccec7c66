//! What Automerge writes is read, and what is encoded here is what Automerge writes.

use super::super::sample::{Dice, by_automerge, changes, document, first, ulid};
use super::super::*;
use automerge::transaction::{CommitOptions, Transactable};
use automerge::{ActorId, Automerge, ObjType, ROOT};
use proptest::prelude::*;

#[test]
fn the_first_change_is_the_one_that_automerge_writes() {
    for area in ["upper bowl", "", "ten chars.", "Öst"] {
        let first = First { area: area.to_owned(), ..first() };
        let mut document = Automerge::new();
        document.set_actor(ActorId::from(&first.day[..]));
        let mut tx = document.transaction();
        tx.put(ROOT, "id", "5a".repeat(16)).unwrap();
        tx.put(ROOT, "date", &*first.date).unwrap();
        tx.put(ROOT, "area", &*first.area).unwrap();
        tx.put(ROOT, "format", 1_i64).unwrap();
        tx.put_object(ROOT, "entries", ObjType::Map).unwrap();
        tx.commit_with(CommitOptions::default().with_time(0));
        let theirs = document.get_changes(&[]).pop().unwrap();
        let (hash, bytes) = first_change(&first);
        assert_eq!(bytes, theirs.raw_bytes());
        assert_eq!(hash, theirs.hash().0);
        for saved in [document.save(), document.save_nocompress()] {
            let read = read_document(first.day, &saved, &Bounds::default()).unwrap();
            assert_eq!(read, ReadDocument { first: first.clone(), changes: vec![], heads: vec![hash] });
        }
    }
}

#[test]
fn a_change_is_the_one_that_automerge_encodes() {
    let day = first().day;
    for seed in 0..20 {
        for change in changes(3, 60, &mut Dice(seed)) {
            let theirs = by_automerge(day, &change);
            assert_eq!(change.bytes, theirs.raw_bytes());
            assert_eq!(change.hash, theirs.hash().0);
            assert_eq!(u64::from(change.max_op()), theirs.max_op());
            assert_eq!(read_change(day, &change.bytes).unwrap(), change);
        }
    }
}

#[test]
fn a_change_is_the_one_that_a_transaction_makes() {
    let mut theirs = document(&[]);
    let (_, entries) = automerge::ReadDoc::get(&theirs, ROOT, "entries").unwrap().unwrap();
    let (mut deps, mut start_op) = (vec![first_change(&first()).0], 6);
    let actor = [2; 24];
    theirs.set_actor(ActorId::from(&actor[..]));
    for (seq, puts) in (1..).zip([1, 1, 3, 2, 12, 10_001]) {
        let put = |k| Put { key: ulid(seq as usize * 20_000 + k), text: "{}".repeat(k % 7 * seq as usize) };
        let puts: Vec<Put> = (0..puts).map(put).collect();
        let mut tx = theirs.transaction();
        puts.iter().for_each(|put| tx.put(&entries, &*put.key, &*put.text).unwrap());
        tx.commit_with(CommitOptions::default().with_time(0));
        let ours = encode(first().day, actor, seq, start_op, deps, puts);
        assert_eq!(ours.bytes, theirs.get_last_local_change().unwrap().raw_bytes());
        assert_eq!(read_change(first().day, &ours.bytes).unwrap(), ours);
        (deps, start_op) = (vec![ours.hash], ours.max_op() + 1);
    }
}

#[test]
fn a_document_gives_back_its_changes() {
    for seed in 0..40 {
        let mut dice = Dice(seed);
        let count = dice.below(200);
        let mut changes = changes(1 + (seed % 5) as u8, count, &mut dice);
        let document = document(&changes);
        let mut heads: Vec<Hash> = document.get_heads().iter().map(|head| head.0).collect();
        heads.sort();
        changes.sort_by_key(|change| change.hash);
        for saved in [document.save(), document.save_nocompress()] {
            let mut read = read_document(first().day, &saved, &Bounds::default()).unwrap();
            let causes_first = read.changes.iter().enumerate().all(|(k, change)| {
                let earlier = |dep: &Hash| read.changes[..k].iter().any(|other| other.hash == *dep);
                change.deps.iter().all(|dep| *dep == first_change(&first()).0 || earlier(dep))
            });
            assert!(causes_first);
            read.changes.sort_by_key(|change| change.hash);
            assert_eq!(read.first, first());
            assert_eq!(read.heads, heads);
            assert!(read.changes == changes, "seed {seed}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn any_texts_and_numbers_come_back(
        puts in prop::collection::btree_map("[^0-9]\\PC{0,20}|.{1,5}", ".{0,40}|a{200,300}|", 1..12),
        actor in any::<[u8; 23]>(),
        seq in 1..MAX_COUNTER,
        start_op in 6..MAX_COUNTER - 12,
        deps in prop::collection::btree_set(any::<Hash>(), 1..9),
    ) {
        let mut full = [1; 24];
        full[..23].copy_from_slice(&actor);
        let puts = puts.into_iter().map(|(key, text)| Put { key, text }).collect();
        let change = encode(first().day, full, seq, start_op, deps.into_iter().collect(), puts);
        let theirs = by_automerge(first().day, &change);
        prop_assert_eq!(theirs.raw_bytes(), &change.bytes[..]);
        prop_assert_eq!(read_change(first().day, &change.bytes), Ok(change));
    }
}
