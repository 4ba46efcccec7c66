//! Which changes of a day are visible, as a pure function of what is held. This is the specification in code of schemas/trust.md: the store
//! asks it about what is new, on the base of what is visible already, and `verify` asks it about everything.
//!
//! Soundness depends on a change and its ancestors alone, so it never changes once it is decided. Covered and forked only grow with
//! what is held. Therefore neither order nor repetition of arrival can matter.

use super::cover::Cover;
use super::format::{Change, Hash};
use std::collections::{BTreeMap, BTreeSet, HashMap, VecDeque};

/// Sequence numbers and operation counters are below this.
const NUMBERS_END: u32 = 1 << 31;

/// Bytes of an actor that are the device id. The rest is one opening of the store and, in the lowest bit, the history.
const DEVICE_BYTES: usize = 16;

/// What the verdict needs from a change. The rules for its content (puts of text into `entries`, without preds) hold already: the decoder
/// refuses anything else.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChangeHead {
    /// Hash of the change, checked against its bytes.
    pub hash: Hash,
    /// Device id (16 bytes) and opening with history (8 bytes).
    pub actor: [u8; 24],
    /// Position among the actor's changes, from 1.
    pub seq: u32,
    /// Counter of the first operation.
    pub start_op: u32,
    /// Counter of the last operation.
    pub max_op: u32,
    /// Hashes of the changes that it depends on, in the order of its bytes.
    pub deps: Vec<Hash>,
}

impl From<&Change> for ChangeHead {
    fn from(change: &Change) -> ChangeHead {
        ChangeHead {
            hash: change.hash,
            actor: change.actor,
            seq: change.seq,
            start_op: change.start_op,
            max_op: change.max_op(),
            deps: change.deps.clone(),
        }
    }
}

impl ChangeHead {
    /// The device id that the actor begins with. Only a covering signature proves it.
    #[must_use]
    pub fn device(&self) -> &[u8] {
        &self.actor[..DEVICE_BYTES]
    }

    /// Whether both name the same device and the same of its two histories.
    fn shares_history(&self, other: &ChangeHead) -> bool {
        self.device() == other.device() && (self.actor[23] ^ other.actor[23]) & 1 == 0
    }
}

/// A covering signature that was verified already: day, key and device id fit.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Covered {
    /// The device whose key signed.
    pub device: [u8; DEVICE_BYTES],
    /// The changes that it signed. Each covers its ancestors through the hash chain.
    pub tips: Vec<Hash>,
}

impl From<&Cover> for Covered {
    fn from(cover: &Cover) -> Covered {
        Covered { device: cover.device().0, tips: cover.tips.clone() }
    }
}

/// Every held change is in exactly one of the four sets. The first change of the day is in none.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Verdict {
    /// In the document, the rows and the figures. All ancestors of a visible change are visible.
    pub visible: BTreeSet<Hash>,
    /// Ancestors or the covering signature are not held yet.
    pub waiting: BTreeSet<Hash>,
    /// All ancestors are held, and the change or an ancestor breaks a rule. It can never become visible.
    pub unsound: BTreeSet<Hash>,
    /// Covered, but at or after a fork of an actor.
    pub withdrawn: BTreeSet<Hash>,
    /// Actors with a fork, and the smallest sequence number at which two different changes are covered.
    pub forks: BTreeMap<[u8; 24], u32>,
}

/// The verdict over what is held of one day.
///
/// `first` is the hash of the day's first change and `first_max_op` the counter of its last operation. The first change always counts as
/// held. `base` are changes that are visible already and whose ancestors are left out here; the verdict does not name them. Without a base it is
/// the verdict over everything, and with one it is the same as long as it finds no fork. The order and repetitions make no difference.
#[must_use]
pub fn judge(
    first: Hash,
    first_max_op: u32,
    base: &[ChangeHead],
    changes: &[ChangeHead],
    covers: &[Covered],
) -> Verdict {
    let (standings, forks) = standings(first, first_max_op, base, changes, covers);
    let mut verdict = Verdict { forks, ..Verdict::default() };
    for (change, standing) in changes.iter().zip(standings) {
        let set = match standing {
            Standing::Settled => continue,
            Standing::Visible => &mut verdict.visible,
            Standing::Waiting => &mut verdict.waiting,
            Standing::Unsound => &mut verdict.unsound,
            Standing::Withdrawn => &mut verdict.withdrawn,
        };
        set.insert(change.hash);
    }
    verdict
}

/// Where a change stands: in which set of a [`Verdict`], or in none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Standing {
    /// It is the first change of the day, or one of the base.
    Settled,
    Visible,
    Waiting,
    Unsound,
    Withdrawn,
}

/// The verdict of [`judge`] as the standing of each of `changes`, and the forks.
pub(crate) fn standings(
    first: Hash,
    first_max_op: u32,
    base: &[ChangeHead],
    changes: &[ChangeHead],
    covers: &[Covered],
) -> (Vec<Standing>, BTreeMap<[u8; 24], u32>) {
    let graph = Graph::new(first, base, changes);
    let complete = graph.complete();
    let sound = graph.sound(&complete, first_max_op);
    let covered = graph.covered(&sound, covers);
    let forks = graph.forks(&covered);

    let mut standings = vec![Standing::Waiting; graph.changes.len()];
    // Causes come first in `complete`, so the standing of every dep is known.
    for &at in &complete {
        let change = graph.changes[at];
        let forked = || forks.get(&change.actor).is_some_and(|n| change.seq >= *n);
        let on_withdrawn = || graph.deps[at].iter().any(|dep| standings[*dep] == Standing::Withdrawn);
        standings[at] = if at < graph.settled {
            Standing::Settled
        } else if !covered[at] {
            if sound[at] { Standing::Waiting } else { Standing::Unsound }
        } else if forked() || on_withdrawn() {
            Standing::Withdrawn
        } else {
            Standing::Visible
        };
    }
    let place = |at: &Option<usize>| at.map_or(Standing::Settled, |at| standings[at]);
    (graph.places.iter().map(place).collect(), forks)
}

/// The held changes, each once and without the first change, and how they depend on each other. Changes are named by their index.
struct Graph<'a> {
    first: Hash,
    changes: Vec<&'a ChangeHead>,
    index: HashMap<Hash, usize>,
    /// Where each of the changes that are judged is among `changes`.
    places: Vec<Option<usize>>,
    /// The held deps of each change.
    deps: Vec<Vec<usize>>,
    /// How many deps of each change are neither held nor the first change.
    missing: Vec<usize>,
    /// How many of the changes, the foremost, are visible already.
    settled: usize,
}

impl<'a> Graph<'a> {
    fn new(first: Hash, base: &'a [ChangeHead], heads: &'a [ChangeHead]) -> Graph<'a> {
        let mut changes: Vec<&ChangeHead> = Vec::with_capacity(base.len() + heads.len());
        let mut index = HashMap::with_capacity(base.len() + heads.len());
        let mut add = |head: &'a ChangeHead| {
            let known = changes.len();
            let place = *index.entry(head.hash).or_insert(known);
            if place == known {
                changes.push(head);
            }
            place
        };
        let settled =
            base.iter().filter(|head| head.hash != first).map(&mut add).max().map_or(0, |at| at + 1);
        let places = heads.iter().map(|head| (head.hash != first).then(|| add(head))).collect();
        let (mut deps, mut missing) = (vec![Vec::new(); settled], vec![0; settled]);
        for head in &changes[settled..] {
            let held: Vec<usize> = head.deps.iter().filter_map(|dep| index.get(dep).copied()).collect();
            let of_first = head.deps.iter().filter(|dep| **dep == first).count();
            missing.push(head.deps.len() - held.len() - of_first);
            deps.push(held);
        }
        Graph { first, changes, index, places, deps, missing, settled }
    }

    /// The complete changes, causes first.
    fn complete(&self) -> Vec<usize> {
        let mut children = vec![Vec::new(); self.changes.len()];
        for (at, deps) in self.deps.iter().enumerate() {
            for &dep in deps {
                children[dep].push(at);
            }
        }
        let mut open: Vec<usize> = self.deps.iter().zip(&self.missing).map(|(d, m)| d.len() + m).collect();
        let mut ready: VecDeque<usize> = (0..open.len()).filter(|at| open[*at] == 0).collect();
        let mut complete = Vec::with_capacity(self.changes.len());
        while let Some(at) = ready.pop_front() {
            complete.push(at);
            for &child in &children[at] {
                open[child] -= 1;
                if open[child] == 0 {
                    ready.push_back(child);
                }
            }
        }
        complete
    }

    /// Whether each change is sound: it and all its ancestors keep the rules.
    fn sound(&self, complete: &[usize], first_max_op: u32) -> Vec<bool> {
        let mut sound = vec![false; self.changes.len()];
        for &at in complete {
            let ancestors = self.deps[at].iter().all(|dep| sound[*dep]);
            sound[at] = at < self.settled || (ancestors && self.keeps_rules(at, first_max_op));
        }
        sound
    }

    /// The rules for one complete change and its deps.
    fn keeps_rules(&self, at: usize, first_max_op: u32) -> bool {
        let change = self.changes[at];
        let numbers = 1 <= change.seq
            && change.seq < NUMBERS_END
            && change.start_op <= change.max_op
            && change.max_op < NUMBERS_END;
        if !numbers {
            return false;
        }
        if change.deps == [self.first] {
            return change.seq == 1 && change.start_op > first_max_op;
        }
        // The first change is no dep beside others: it is of no device.
        let sorted = change.deps.is_sorted_by(|a, b| a < b);
        if !sorted || change.deps.is_empty() || change.deps.contains(&self.first) {
            return false;
        }
        let deps = || self.deps[at].iter().map(|dep| self.changes[*dep]);
        let continues = if change.seq == 1 {
            deps().all(|dep| dep.actor != change.actor)
        } else {
            deps().any(|dep| dep.actor == change.actor && dep.seq == change.seq - 1)
        };
        continues && deps().all(|dep| dep.shares_history(change) && dep.max_op < change.start_op)
    }

    /// Whether each change is covered: a sound tip of a covering signature of its device, or an ancestor of one.
    fn covered(&self, sound: &[bool], covers: &[Covered]) -> Vec<bool> {
        let mut covered = vec![false; self.changes.len()];
        covered[..self.settled].fill(true);
        let mut reached: Vec<usize> = Vec::new();
        for cover in covers {
            for at in cover.tips.iter().filter_map(|tip| self.index.get(tip).copied()) {
                if sound[at] && self.changes[at].device() == cover.device {
                    reached.push(at);
                }
            }
        }
        while let Some(at) = reached.pop() {
            if !covered[at] {
                covered[at] = true;
                reached.extend(&self.deps[at]);
            }
        }
        covered
    }

    /// The forked actors, each with the smallest sequence number that two different covered changes have.
    fn forks(&self, covered: &[bool]) -> BTreeMap<[u8; 24], u32> {
        let covered = self.changes.iter().zip(covered).filter(|(_, covered)| **covered);
        let mut positions: Vec<([u8; 24], u32)> =
            covered.map(|(change, _)| (change.actor, change.seq)).collect();
        positions.sort_unstable();
        let mut forks = BTreeMap::new();
        for twice in positions.windows(2).filter(|pair| pair[0] == pair[1]) {
            forks.entry(twice[0].0).or_insert(twice[0].1);
        }
        forks
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FIRST: Hash = [0xff; 32];
    const FIRST_MAX_OP: u32 = 5;

    fn hash(n: u32) -> Hash {
        let mut hash = [0; 32];
        hash[..4].copy_from_slice(&n.to_be_bytes());
        hash
    }

    fn hashes(numbers: &[u32]) -> Vec<Hash> {
        numbers.iter().map(|n| hash(*n)).collect()
    }

    /// An actor of a device, with the opening and the history (0 or 1).
    fn actor(device: u8, opening: u8, history: u8) -> [u8; 24] {
        let mut actor = [0; 24];
        actor[..16].fill(device);
        actor[16] = opening;
        actor[23] = history;
        actor
    }

    /// A change of one operation in the entries of an opening; without deps it depends on the first change.
    fn change(n: u32, device: u8, opening: u8, seq: u32, deps: &[u32]) -> ChangeHead {
        let deps = if deps.is_empty() { vec![FIRST] } else { hashes(deps) };
        let start_op = FIRST_MAX_OP + n;
        let (hash, actor) = (hash(n), actor(device, opening, 0));
        ChangeHead { hash, actor, seq, start_op, max_op: start_op, deps }
    }

    fn cover(device: u8, tips: &[u32]) -> Covered {
        Covered { device: [device; 16], tips: hashes(tips) }
    }

    /// Changes 1 to `len` of one opening, each on the one before.
    fn line(len: u32) -> Vec<ChangeHead> {
        let deps = |n: u32| if n == 1 { vec![] } else { vec![n - 1] };
        (1..=len).map(|n| change(n, 1, 1, n, &deps(n))).collect()
    }

    fn judged(changes: &[ChangeHead], covers: &[Covered]) -> Verdict {
        judge(FIRST, FIRST_MAX_OP, &[], changes, covers)
    }

    fn set(numbers: &[u32]) -> BTreeSet<Hash> {
        hashes(numbers).into_iter().collect()
    }

    #[test]
    fn a_signature_covers_its_tip_and_all_before_it_and_nothing_after() {
        let verdict = judged(&line(4), &[cover(1, &[3])]);
        assert_eq!(verdict.visible, set(&[1, 2, 3]));
        assert_eq!(verdict.waiting, set(&[4]));
        assert!(verdict.unsound.is_empty() && verdict.withdrawn.is_empty() && verdict.forks.is_empty());
    }

    #[test]
    fn nothing_is_visible_after_a_gap() {
        let mut changes = line(4);
        changes.remove(1);
        let verdict = judged(&changes, &[cover(1, &[4])]);
        assert_eq!((verdict.visible, verdict.waiting), (set(&[]), set(&[1, 3, 4])));
    }

    #[test]
    fn a_signature_counts_only_for_its_own_device() {
        let verdict = judged(&line(2), &[cover(2, &[2])]);
        assert_eq!(verdict.waiting, set(&[1, 2]));
    }

    #[test]
    fn two_covered_changes_at_one_position_withdraw_all_from_there() {
        // 1 - 2 - 3 and 1 - 4 are of one opening; 5 is a later opening on 3, 6 one on 1.
        let mut changes = line(3);
        changes.push(change(4, 1, 1, 2, &[1]));
        changes.push(change(5, 1, 2, 1, &[3]));
        changes.push(change(6, 1, 3, 1, &[1]));
        let before = judged(&changes, &[cover(1, &[5, 6])]);
        assert_eq!((before.visible, before.waiting), (set(&[1, 2, 3, 5, 6]), set(&[4])));
        let verdict = judged(&changes, &[cover(1, &[5, 6]), cover(1, &[4])]);
        assert_eq!(verdict.visible, set(&[1, 6]));
        assert_eq!(verdict.withdrawn, set(&[2, 3, 4, 5]));
        assert_eq!(verdict.forks, BTreeMap::from([(actor(1, 1, 0), 2)]));
    }

    #[test]
    fn a_restored_backup_and_its_merge_are_no_fork() {
        let mut changes = line(2);
        changes.push(change(3, 1, 2, 1, &[1]));
        changes.push(change(4, 1, 3, 1, &[2, 3]));
        let verdict = judged(&changes, &[cover(1, &[2]), cover(1, &[4])]);
        assert_eq!(verdict.visible, set(&[1, 2, 3, 4]));
        assert!(verdict.forks.is_empty());
    }

    #[test]
    fn each_rule_makes_a_change_unsound_with_all_that_follows() {
        type Break = fn(&mut ChangeHead);
        let breaks: [(&str, Break); 16] = [
            ("seq 0", |c| (c.seq, c.deps) = (0, vec![FIRST])),
            ("seq beyond its range", |c| c.seq = 1 << 31),
            ("a gap in seq", |c| c.seq = 4),
            ("seq 1 on its own actor", |c| c.seq = 1),
            ("a later seq on the first change", |c| c.deps = vec![FIRST]),
            ("another opening goes on with this seq", |c| c.actor = actor(1, 2, 0)),
            ("no deps", |c| c.deps.clear()),
            ("the first change beside another", |c| c.deps = vec![hash(2), FIRST]),
            ("a dep twice", |c| c.deps = hashes(&[2, 2])),
            ("deps out of order", |c| (c.actor, c.seq, c.deps) = (actor(1, 2, 0), 1, hashes(&[2, 1]))),
            ("another device's dep", |c| c.deps = hashes(&[2, 10])),
            ("the other history's dep", |c| c.deps = hashes(&[2, 11])),
            ("only the other history's dep", |c| (c.actor, c.seq) = (actor(1, 2, 1), 1)),
            ("an operation not after its dep's", |c| c.start_op = FIRST_MAX_OP + 2),
            ("a counter beyond its range", |c| c.max_op = 1 << 31),
            ("no operation", |c| c.max_op = c.start_op - 1),
        ];
        let mut other_history = change(11, 1, 1, 1, &[]);
        other_history.actor = actor(1, 1, 1);
        let beside = [change(10, 2, 1, 1, &[]), other_history];
        let covers = [cover(1, &[2]), cover(1, &[3]), cover(1, &[4]), cover(1, &[11]), cover(2, &[10])];
        for (name, break_rule) in breaks {
            let mut changes = line(4);
            for other in &beside {
                changes.push(ChangeHead {
                    start_op: FIRST_MAX_OP + 1,
                    max_op: FIRST_MAX_OP + 1,
                    ..other.clone()
                });
            }
            assert_eq!(judged(&changes, &covers).visible, set(&[1, 2, 3, 4, 10, 11]));
            break_rule(&mut changes[2]);
            let verdict = judged(&changes, &covers);
            assert_eq!(verdict.unsound, set(&[3, 4]), "{name}");
            assert_eq!(verdict.visible, set(&[1, 2, 10, 11]), "{name}");
        }
        let mut early = line(1);
        (early[0].start_op, early[0].max_op) = (FIRST_MAX_OP, FIRST_MAX_OP);
        assert_eq!(
            judged(&early, &[cover(1, &[1])]).unsound,
            set(&[1]),
            "an operation of the first change's"
        );
    }

    #[test]
    fn an_unsound_change_waits_until_all_its_ancestors_are_held() {
        let mut changes = vec![change(1, 2, 1, 1, &[]), change(2, 1, 1, 1, &[1])];
        assert_eq!(judged(&changes, &[]).unsound, set(&[2]));
        changes.remove(0);
        assert_eq!(judged(&changes, &[]).waiting, set(&[2]));
    }

    #[test]
    fn on_a_base_the_verdict_is_that_over_everything() {
        let mut changes = line(4);
        changes.push(change(5, 1, 2, 1, &[2]));
        let covers = [cover(1, &[4, 5])];
        let whole = judged(&changes, &covers);
        let on_base = judge(FIRST, FIRST_MAX_OP, &changes[1..2], &changes[2..], &covers);
        assert_eq!(whole.visible, set(&[1, 2, 3, 4, 5]));
        assert_eq!(on_base.visible, set(&[3, 4, 5]));
        let fork = change(6, 1, 1, 2, &[1]);
        let on_base = judge(FIRST, FIRST_MAX_OP, &changes[..2], &[fork], &[cover(1, &[6])]);
        assert_eq!(on_base.forks, BTreeMap::from([(actor(1, 1, 0), 2)]));
    }

    #[test]
    fn long_lines_need_no_deep_stack() {
        let len = 100_000;
        let mut changes = line(len);
        changes.reverse();
        let verdict = judged(&changes, &[cover(1, &[len])]);
        assert_eq!(verdict.visible.len(), len as usize);
    }
}
