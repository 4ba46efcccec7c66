//! A store in the model. It takes changes and signatures in one by one and moves only what they touch, as a real store does.

use super::toy::{DAY, FIRST, Signed};
use firnbook_core::day::{ChangeHead, Covered, FIRST_MAX_OP, Hash, Verdict};
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// What a replica has found out about one change.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// So many of its deps are not complete.
    Incomplete(usize),
    Unsound,
    Sound,
    Visible,
    Withdrawn,
}

#[derive(Clone)]
struct Node {
    head: ChangeHead,
    state: State,
}

#[derive(Clone, Default)]
pub struct Replica {
    nodes: HashMap<Hash, Node>,
    /// The held changes that depend on a change, whether that one is held or not.
    children: HashMap<Hash, Vec<Hash>>,
    /// Covered changes by actor and sequence number.
    covered: BTreeMap<([u8; 24], u32), Vec<Hash>>,
    /// The signatures that are kept: those that say nothing beyond others are dropped.
    pub kept: BTreeMap<Covered, Signed>,
    /// All signatures that ever came, for the comparison with `judge`.
    pub received: BTreeSet<Covered>,
    /// Kept up to date by each input.
    pub verdict: Verdict,
    /// What was visible when it was last compared with `judge`.
    pub settled: BTreeSet<Hash>,
    /// What its inputs came to.
    pub situations: BTreeSet<&'static str>,
}

impl Replica {
    pub fn holds(&self, hash: &Hash) -> bool {
        *hash == FIRST || self.nodes.contains_key(hash)
    }

    pub fn changes(&self) -> impl Iterator<Item = &ChangeHead> {
        self.nodes.values().map(|node| &node.head)
    }

    /// Takes in one change.
    pub fn take(&mut self, head: &ChangeHead) {
        if self.holds(&head.hash) {
            return;
        }
        let open = head.deps.iter().filter(|dep| !self.is_complete(dep)).count();
        for dep in &head.deps {
            self.children.entry(*dep).or_default().push(head.hash);
        }
        let node = Node { head: head.clone(), state: State::Incomplete(open) };
        self.nodes.insert(head.hash, node);
        self.verdict.waiting.insert(head.hash);
        if open == 0 {
            self.complete(head.hash);
        }
        self.drop_superseded(device_of(head));
    }

    /// Takes in one signature, if it is good.
    pub fn take_signed(&mut self, signed: &Signed) {
        let Some(cover) = signed.verified(DAY) else { return };
        self.received.insert(cover.clone());
        if self.kept.insert(cover.clone(), signed.clone()).is_some() {
            return;
        }
        let tips = cover.tips.iter().filter(|tip| {
            self.nodes.get(*tip).is_some_and(|n| n.state == State::Sound && n.head.device() == cover.device)
        });
        for tip in tips.copied().collect::<Vec<_>>() {
            self.cover(tip);
        }
        self.drop_superseded(cover.device);
    }

    /// Drops a change that is not covered, as a store does whose bound for waiting bytes is reached.
    pub fn evict(&mut self, hash: Hash) {
        let Some(node) = self.nodes.get(&hash) else { return };
        if matches!(node.state, State::Visible | State::Withdrawn) {
            return;
        }
        let was_complete = self.is_complete(&hash);
        let deps = node.head.deps.clone();
        self.nodes.remove(&hash);
        self.verdict.waiting.remove(&hash);
        self.verdict.unsound.remove(&hash);
        for dep in deps {
            self.children.entry(dep).or_default().retain(|child| *child != hash);
        }
        let mut incomplete = if was_complete { vec![hash] } else { vec![] };
        while let Some(hash) = incomplete.pop() {
            for child in self.children.get(&hash).cloned().unwrap_or_default() {
                match self.nodes[&child].state {
                    State::Incomplete(open) => self.set(child, State::Incomplete(open + 1)),
                    _ => {
                        self.set(child, State::Incomplete(1));
                        incomplete.push(child);
                    }
                }
            }
        }
    }

    fn is_complete(&self, hash: &Hash) -> bool {
        let held = self.nodes.get(hash);
        *hash == FIRST || held.is_some_and(|node| !matches!(node.state, State::Incomplete(_)))
    }

    fn set(&mut self, hash: Hash, state: State) {
        let verdict = &mut self.verdict;
        let all = [&mut verdict.visible, &mut verdict.waiting, &mut verdict.unsound, &mut verdict.withdrawn];
        all.into_iter().for_each(|set| {
            set.remove(&hash);
        });
        match state {
            State::Visible => verdict.visible.insert(hash),
            State::Incomplete(_) | State::Sound => verdict.waiting.insert(hash),
            State::Unsound => verdict.unsound.insert(hash),
            State::Withdrawn => verdict.withdrawn.insert(hash),
        };
        self.nodes.get_mut(&hash).unwrap().state = state;
    }

    /// A change whose last dep became complete, and those that waited for it.
    fn complete(&mut self, hash: Hash) {
        let mut ready = vec![hash];
        while let Some(hash) = ready.pop() {
            let is_sound = self.is_sound(&self.nodes[&hash].head);
            self.set(hash, if is_sound { State::Sound } else { State::Unsound });
            let device = device_of(&self.nodes[&hash].head);
            let named = |cover: &Covered| cover.device == device && cover.tips.contains(&hash);
            if is_sound && self.kept.keys().any(named) {
                self.situations.insert("a change came after its signature");
                self.cover(hash);
            }
            for child in self.children.get(&hash).cloned().unwrap_or_default() {
                let State::Incomplete(open) = self.nodes[&child].state else { unreachable!() };
                self.set(child, State::Incomplete(open - 1));
                if open == 1 {
                    ready.push(child);
                }
            }
        }
    }

    /// Whether this change, whose deps are complete, is sound.
    fn is_sound(&self, head: &ChangeHead) -> bool {
        let ChangeHead { actor, seq, start_op, max_op, .. } = *head;
        let mut least_op = FIRST_MAX_OP + 1;
        let mut last_of_actor = 0;
        let mut previous: Option<Hash> = None;
        let mut of_actor = 0;
        for dep in head.deps.iter().filter(|_| head.deps != [FIRST]) {
            // The first change is no dep beside others.
            let Some(node) = self.nodes.get(dep) else { return false };
            let one_history =
                node.head.actor[..16] == actor[..16] && node.head.actor[23] % 2 == actor[23] % 2;
            if !one_history || node.state == State::Unsound || previous >= Some(*dep) {
                return false;
            }
            previous = Some(*dep);
            least_op = least_op.max(node.head.max_op + 1);
            if node.head.actor == actor {
                of_actor += 1;
                if node.head.seq + 1 == seq {
                    last_of_actor = node.head.seq;
                }
            }
        }
        let follows = if seq == 1 { of_actor == 0 } else { last_of_actor > 0 };
        let counted =
            start_op >= least_op && max_op >= start_op && max_op < 1 << 31 && seq > 0 && seq < 1 << 31;
        !head.deps.is_empty() && follows && counted
    }

    /// Makes a sound change and its ancestors covered, and withdraws what that proves forked.
    fn cover(&mut self, tip: Hash) {
        let mut open = vec![tip];
        let mut withdraw = Vec::new();
        let visible = self.verdict.visible.len();
        while let Some(hash) = open.pop() {
            if hash == FIRST || self.nodes[&hash].state != State::Sound {
                continue;
            }
            self.set(hash, State::Visible);
            let ChangeHead { actor, seq, ref deps, .. } = self.nodes[&hash].head;
            open.extend(deps);
            if deps.iter().any(|dep| self.verdict.withdrawn.contains(dep)) {
                withdraw.push(hash);
            }
            let position = self.covered.entry((actor, seq)).or_default();
            position.push(hash);
            if position.len() > 1 {
                let n = self.verdict.forks.entry(actor).or_insert(seq);
                *n = seq.min(*n);
            }
            if let Some(n) = self.verdict.forks.get(&actor) {
                withdraw.extend(self.covered.range((actor, *n)..=(actor, u32::MAX)).flat_map(|(_, at)| at));
            }
        }
        while let Some(hash) = withdraw.pop() {
            if self.nodes[&hash].state == State::Visible {
                self.set(hash, State::Withdrawn);
                if self.verdict.visible.len() < visible {
                    self.situations.insert("a visible change was withdrawn later");
                }
                withdraw.extend(self.children.get(&hash).into_iter().flatten());
            }
        }
    }

    /// Drops the device's signatures that cover nothing which others do not cover, and never can.
    fn drop_superseded(&mut self, device: [u8; 16]) {
        let of_device = Covered { device, tips: vec![] };
        let kept: Vec<Covered> = self
            .kept
            .range(of_device..)
            .map(|(c, _)| c)
            .take_while(|c| c.device == device)
            .cloned()
            .collect();
        for cover in &kept {
            let says_nothing = cover.tips.iter().all(|tip| {
                let others = || self.kept.keys().filter(|other| *other != cover && other.device == device);
                self.nodes.get(tip).is_some_and(|node| match node.state {
                    State::Incomplete(_) => false,
                    State::Unsound => true,
                    _ if node.head.device() != device => true,
                    _ => self.has_covered_child(tip) || others().any(|other| other.tips.contains(tip)),
                })
            });
            if says_nothing {
                self.kept.remove(cover);
                self.situations.insert("a signature was superseded");
            }
        }
    }

    fn has_covered_child(&self, hash: &Hash) -> bool {
        let is_covered = |child: &Hash| matches!(self.nodes[child].state, State::Visible | State::Withdrawn);
        self.children.get(hash).into_iter().flatten().any(is_covered)
    }
}

pub fn device_of(head: &ChangeHead) -> [u8; 16] {
    head.actor[..16].try_into().unwrap()
}
