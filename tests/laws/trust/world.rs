//! Honest devices with their stores, dishonest ones, and the links between all of them.

use super::replica::Replica;
use super::toy::{self, DAY, Dice, FIRST, Secret, Signed};
use firnbook_core::day::{ChangeHead, FIRST_MAX_OP, Hash};
use std::collections::{BTreeMap, BTreeSet};

const HONEST: usize = 2;
const MOST_STORES: usize = 5;

/// Something that a link carries.
#[derive(Clone, Debug)]
pub enum Item {
    Change(ChangeHead),
    Signed(Signed),
}

/// One opening of a store: its actor in each history, and how far each has come.
#[derive(Clone)]
struct Opening {
    actors: [[u8; 24]; 2],
    seqs: [u32; 2],
    last: [Option<Hash>; 2],
}

/// A store of an honest device. A copied store is another one of the same device.
pub struct Store {
    secret: Secret,
    pub replica: Replica,
    opening: Option<Opening>,
    backup: Option<Replica>,
}

/// What an honest device wrote and signed, with everything that it builds upon.
pub struct Written {
    pub device: [u8; 16],
    pub history: BTreeSet<Hash>,
}

/// Every change and signature that was ever made, and the stores.
pub struct World {
    pub stores: Vec<Store>,
    pub honest: BTreeMap<Hash, Written>,
    /// All that can arrive anywhere at any time: networks lose, repeat, delay and reorder.
    pub air: Vec<Item>,
    pub changes: Vec<ChangeHead>,
    pub signed: Vec<Signed>,
    pub cheats: Vec<Secret>,
    /// Changes of dishonest devices that keep the rules, and build on such.
    pub lawful: Vec<ChangeHead>,
    /// Pairs of lawful changes at one position, both signed.
    pub forks: Vec<(Hash, Hash)>,
    /// Changes that are signed and kept back until the end.
    pub late: Vec<ChangeHead>,
    texts: u64,
    /// What the writes of honest devices came to.
    pub situations: BTreeSet<&'static str>,
}

impl Store {
    pub fn secret(&self) -> Secret {
        self.secret
    }

    /// Keeps a change of its own and the signature over its latest changes.
    fn commit(&mut self, change: &ChangeHead, history: usize) -> Signed {
        if let Some(opening) = &mut self.opening {
            opening.seqs[history] = change.seq;
            opening.last[history] = Some(change.hash);
        }
        self.replica.take(change);
        let device = self.secret.device();
        let heads = [own_heads(&self.replica, device, 0), own_heads(&self.replica, device, 1)].concat();
        let mut tips: Vec<Hash> = heads.iter().map(|head| head.hash).collect();
        tips.retain(|tip| !change.deps.contains(tip));
        tips.push(change.hash);
        let signed = self.secret.sign(DAY, tips);
        self.replica.take_signed(&signed);
        signed
    }
}

impl World {
    pub fn new() -> World {
        let store = |n| Store { secret: Secret(n), replica: Replica::default(), opening: None, backup: None };
        World {
            stores: (1..=HONEST as u64).map(store).collect(),
            honest: BTreeMap::new(),
            air: Vec::new(),
            changes: Vec::new(),
            signed: Vec::new(),
            cheats: vec![Secret(101), Secret(102)],
            lawful: Vec::new(),
            forks: Vec::new(),
            late: Vec::new(),
            texts: 0,
            situations: BTreeSet::new(),
        }
    }

    /// Puts a change where links can carry it.
    pub fn send(&mut self, change: ChangeHead) {
        self.changes.push(change.clone());
        self.air.push(Item::Change(change));
    }

    pub fn send_signed(&mut self, signed: Signed) {
        self.signed.push(signed.clone());
        self.air.push(Item::Signed(signed));
    }

    /// A number that makes each change another one.
    pub fn text(&mut self) -> u64 {
        self.texts += 1;
        self.texts
    }

    /// An actor of a new opening.
    pub fn actor(&mut self, device: [u8; 16], history: usize) -> [u8; 24] {
        let mut actor = [0; 24];
        actor[..16].copy_from_slice(&device);
        actor[16..].copy_from_slice(&toy::toy_hash(self.text())[..8]);
        actor[23] = actor[23] & !1 | history as u8;
        actor
    }

    /// An honest device writes: one change on what is visible, and in the same transaction the signature over its latest changes.
    /// A kill before the commit leaves nothing behind, and the next write is one of another opening.
    pub fn write(&mut self, store: usize, history: usize, dice: &mut Dice, killed: bool) {
        let device = self.stores[store].secret.device();
        let heads = own_heads(&self.stores[store].replica, device, history);
        self.prepare_opening(store, history, &heads, dice);
        let Store { replica, opening: Some(opening), .. } = &self.stores[store] else { unreachable!() };
        let (actor, seq) = (opening.actors[history], opening.seqs[history] + 1);
        let last = opening.last[history];
        let mut deps: Vec<Hash> = last.into_iter().collect();
        deps.extend(heads.iter().map(|head| head.hash).filter(|head| Some(*head) != last));
        let mut past: BTreeSet<Hash> = BTreeSet::new();
        for dep in &deps {
            assert!(replica.verdict.visible.contains(dep), "a write depends on what is not visible");
            let written = self.honest.get(dep);
            assert!(written.is_some(), "a write depends on what no honest device wrote");
            past.extend(written.iter().flat_map(|written| &written.history));
        }
        let of_deps = replica.changes().filter(|change| deps.contains(&change.hash)).map(|dep| dep.max_op);
        let start_op = of_deps.max().unwrap_or(FIRST_MAX_OP) + 1 + dice.below(3) as u32;
        deps.sort_unstable();
        if deps.len() > 1 {
            self.situations.insert("a write joined branches");
        }
        if deps.is_empty() {
            deps.push(FIRST);
        }
        let ops = (start_op, start_op + dice.below(3) as u32);
        let change = toy::change(actor, seq, ops, deps, self.text());
        if killed {
            self.stores[store].opening = None;
            return;
        }
        past.insert(change.hash);
        self.honest.insert(change.hash, Written { device, history: past });
        let signed = self.stores[store].commit(&change, history);
        self.send(change);
        self.send_signed(signed);
    }

    /// Takes a new opening where there is none or the one there is cannot go on.
    fn prepare_opening(&mut self, store: usize, history: usize, heads: &[ChangeHead], dice: &mut Dice) {
        let Store { secret, replica, opening, .. } = &mut self.stores[store];
        if let Some(last) = opening.as_ref().and_then(|opening| opening.last[history]) {
            let is_head = heads.iter().any(|head| head.hash == last);
            if !replica.verdict.visible.contains(&last) {
                self.situations.insert("a backup replaced the file under a running process");
                *opening = None;
            } else if !is_head {
                // Either a new opening goes on, or its last change is named beside the heads.
                self.situations.insert("a copy built on the last change of an open store");
                *opening = opening.take().filter(|_| dice.below(2) == 0);
            }
        }
        if opening.is_none() {
            let device = secret.device();
            let actors = [self.actor(device, 0), self.actor(device, 1)];
            self.stores[store].opening = Some(Opening { actors, seqs: [0; 2], last: [None; 2] });
        }
    }

    /// The store's process ends; the next write is one of another opening.
    pub fn kill(&mut self, store: usize) {
        self.stores[store].opening = None;
    }

    pub fn back_up(&mut self, store: usize) {
        self.stores[store].backup = Some(self.stores[store].replica.clone());
    }

    /// Goes back to the backup, whatever was written since. Sometimes the file is replaced under a running process, which remembers
    /// its opening and its last changes.
    pub fn restore(&mut self, store: usize, is_running: bool) {
        let store = &mut self.stores[store];
        if let Some(backup) = &store.backup {
            store.replica = backup.clone();
            if !is_running {
                store.opening = None;
            }
        }
    }

    /// Copies a store with its key; both go on.
    pub fn copy(&mut self, store: usize) {
        if self.stores.len() < MOST_STORES {
            let Store { secret, ref replica, .. } = self.stores[store];
            let replica = replica.clone();
            self.stores.push(Store { secret, replica, opening: None, backup: None });
        }
    }

    /// What a store hands on: all changes that it holds, and the signatures that it keeps.
    pub fn hands_on(&self, store: usize) -> Vec<Item> {
        let replica = &self.stores[store].replica;
        let mut changes: Vec<ChangeHead> = replica.changes().cloned().collect();
        changes.sort_by_key(|change| change.hash);
        let signed = replica.kept.values().cloned().map(Item::Signed);
        changes.into_iter().map(Item::Change).chain(signed).collect()
    }

    pub fn arrive(&mut self, store: usize, items: &[Item]) {
        let replica = &mut self.stores[store].replica;
        for item in items {
            match item {
                Item::Change(change) => replica.take(change),
                Item::Signed(signed) => replica.take_signed(signed),
            }
        }
    }

    /// Drops some of what waits, and of what can never be visible.
    pub fn evict(&mut self, store: usize, dice: &mut Dice) {
        let replica = &mut self.stores[store].replica;
        let dropped: Vec<Hash> = replica.verdict.waiting.union(&replica.verdict.unsound).copied().collect();
        for hash in dice.some_of(&dropped, 50) {
            replica.evict(hash);
        }
    }
}

/// The visible changes of a history of a device on which no visible change of it builds.
fn own_heads(replica: &Replica, device: [u8; 16], history: usize) -> Vec<ChangeHead> {
    let is_own = |change: &&ChangeHead| {
        change.device() == device
            && usize::from(change.actor[23] & 1) == history
            && replica.verdict.visible.contains(&change.hash)
    };
    let own: Vec<&ChangeHead> = replica.changes().filter(is_own).collect();
    let followed: BTreeSet<Hash> = own.iter().flat_map(|change| change.deps.iter().copied()).collect();
    own.into_iter().filter(|change| !followed.contains(&change.hash)).cloned().collect()
}
