//! Examples of what the verdict says although one may not expect it.

use firnbook_core::day::{ChangeHead, Covered, FIRST_MAX_OP, Hash, Verdict, judge};

const FIRST: Hash = [0xff; 32];

fn hash(n: u8) -> Hash {
    [n; 32]
}

/// A change of the only device; without deps it depends on the first change.
fn change(n: u8, opening: u8, seq: u32, deps: &[u8]) -> ChangeHead {
    let mut actor = [1; 24];
    actor[16] = opening;
    let deps = if deps.is_empty() { vec![FIRST] } else { deps.iter().map(|dep| hash(*dep)).collect() };
    let start_op = FIRST_MAX_OP + u32::from(n);
    ChangeHead { hash: hash(n), actor, seq, start_op, max_op: start_op, deps }
}

fn cover(tip: u8) -> Covered {
    Covered { device: [1; 16], tips: vec![hash(tip)] }
}

fn judged(changes: &[ChangeHead], covers: &[Covered]) -> Verdict {
    judge(FIRST, FIRST_MAX_OP, &[], changes, covers)
}

#[test]
fn a_key_can_withdraw_all_that_it_wrote_on_a_day() {
    // Three openings, one after the other, and one signature by whoever stole the key.
    let mut changes = vec![change(1, 1, 1, &[]), change(2, 2, 1, &[1]), change(3, 3, 1, &[2])];
    assert_eq!(judged(&changes, &[cover(3)]).visible.len(), 3);
    changes.push(change(4, 1, 1, &[]));
    let verdict = judged(&changes, &[cover(3), cover(4)]);
    assert_eq!((verdict.visible.len(), verdict.withdrawn.len()), (0, 4));
}

#[test]
fn a_withdrawn_tip_may_cover_what_is_visible_and_must_be_kept() {
    // 3 and 4 fork a second opening on 2. The signature over 2 was dropped when that over 3 came.
    let changes = [change(1, 1, 1, &[]), change(2, 1, 2, &[1]), change(3, 2, 1, &[2]), change(4, 2, 1, &[2])];
    let covers = [cover(3), cover(4)];
    let verdict = judged(&changes, &covers);
    assert_eq!((verdict.visible.len(), verdict.withdrawn.len()), (2, 2));
    let without = judged(&changes[..2], &covers);
    assert_eq!((without.visible.len(), without.waiting.len()), (0, 2));
}

#[test]
fn the_newest_signature_of_a_device_is_not_enough() {
    // A backup that held 1 was restored and wrote 3; the lost 2 comes back from another device.
    let changes = [change(1, 1, 1, &[]), change(2, 1, 2, &[1]), change(3, 2, 1, &[1])];
    assert_eq!(judged(&changes, &[cover(2), cover(3)]).visible.len(), 3);
    assert_eq!(judged(&changes, &[cover(3)]).visible.len(), 2);
}
