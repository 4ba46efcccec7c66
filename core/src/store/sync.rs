//! What a session asks of the store: how far each actor's line is held, and which changes another device lacks. Look-ups, without a document.

use super::history::Histories;
use super::{SetAside, Store, StoreError, aside, changes, folded};
use crate::day::{Actor, Change, Cover, DayId, DeviceId, Hash};
use rusqlite::{TransactionBehavior, params};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, HashMap, HashSet};

/// How far the changes of one actor are held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reached {
    /// The actor.
    pub actor: Actor,
    /// Number of its last change in question.
    pub seq: u32,
    /// Hash of that change.
    pub hash: Hash,
}

/// How far a day is held.
#[derive(Clone, Debug, Default)]
pub struct Vector {
    /// By actor, the last change that counts.
    pub reached: Vec<Reached>,
    /// By actor, the last change that waits, where those before it are held without a gap.
    pub waiting: Vec<Reached>,
    /// Covering signatures that do not follow from these: some of their changes are missing, or the key is broken.
    pub covers: Vec<[u8; 16]>,
}

/// How far another device holds a day, as it said. Of hashes the first 16 bytes.
#[derive(Clone, Debug, Default)]
pub struct TheirVector {
    /// By actor, the last change that counts.
    pub reached: HashMap<Actor, (u32, [u8; 16])>,
    /// By actor, the last change that waits without a gap before it.
    pub waiting: HashMap<Actor, (u32, [u8; 16])>,
    /// Covering signatures that do not follow from these.
    pub covers: HashSet<[u8; 16]>,
}

/// What another device lacks of a day.
#[derive(Clone, Debug, Default)]
pub struct Lacking {
    /// Covering signatures.
    pub covers: Vec<Cover>,
    /// Changes that count: their numbers in this store and their bytes, causes first.
    pub changes: Vec<(i64, usize)>,
    /// Changes that wait or are withdrawn.
    pub aside: Vec<Change>,
}

impl Store {
    /// Every day with a hash of what is held of it: of its heads, and of what waits or is withdrawn.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn all_digests(&self) -> Result<Vec<(DayId, Hash)>, StoreError> {
        let mut statement = self.sql().prepare_cached("SELECT id, heads, aside FROM day ORDER BY id")?;
        let mut rows = statement.query([])?;
        let mut days = Vec::new();
        while let Some(row) = rows.next()? {
            let Ok(id) = row.get_ref(0)?.as_str().unwrap_or_default().parse() else { continue };
            let blob = |i| row.get_ref(i).map(|v| v.as_blob().unwrap_or_default());
            days.push((id, Sha256::new().chain_update(blob(1)?).chain_update(blob(2)?).finalize().into()));
        }
        Ok(days)
    }

    /// How far a day is held; nothing for a day that is not here.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`], or a damaged change among those that wait.
    pub fn vector(&self, day: DayId) -> Result<Vector, StoreError> {
        let tx = self.sql().unchecked_transaction()?;
        let Some(histories) = Histories::read(&tx, day)? else { return Ok(Vector::default()) };
        let mut vector = Vector::default();
        let mut statement = tx
            .prepare_cached("SELECT actor, seq, hash FROM actor WHERE day = ?1 AND seq > 0 ORDER BY actor")?;
        let mut rows = statement.query([histories.n])?;
        while let Some(row) = rows.next()? {
            vector.reached.push(Reached { actor: Actor(row.get(0)?), seq: row.get(1)?, hash: row.get(2)? });
        }
        let mut waiting: Vec<Change> =
            aside::all(&tx, &histories)?.into_iter().filter(|a| !a.withdrawn).map(|a| a.change).collect();
        waiting.sort_by_key(|c| (c.actor, c.seq));
        let mut ends: BTreeMap<Actor, (u32, Hash)> = BTreeMap::new();
        for change in waiting {
            let actor = Actor(change.actor);
            let reached = vector.reached.iter().find(|r| r.actor == actor).map(|r| (r.seq, r.hash));
            let (seq, hash) = ends.get(&actor).copied().or(reached).unwrap_or((0, [0; 32]));
            if change.seq == seq + 1 && (seq == 0 || change.deps.contains(&hash)) {
                ends.insert(actor, (change.seq, change.hash));
            }
        }
        vector.waiting = ends.into_iter().map(|(actor, (seq, hash))| Reached { actor, seq, hash }).collect();
        let sql = "SELECT key, tips, signature FROM cover WHERE day = ?1 AND (pending OR device IN \
            (SELECT substr(actor, 1, 16) FROM actor WHERE day = ?2 AND broken_at IS NOT NULL))";
        let mut statement = tx.prepare_cached(sql)?;
        for cover in statement.query_map(params![day.to_string(), histories.n], changes::cover)? {
            vector.covers.push(cover?.id());
        }
        Ok(vector)
    }

    /// What a device lacks that holds a day this far. Where what it says of an actor is not held here, the whole line of that actor is lacking:
    /// somebody signed it twice, and only both lines prove that.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`], or a damaged change.
    pub fn lacking(&mut self, day: DayId, theirs: &TheirVector) -> Result<Lacking, StoreError> {
        let tx = self.conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let Some(mut histories) = Histories::read(&tx, day)? else { return Ok(Lacking::default()) };
        let set_aside = aside::all(&tx, &histories)?;
        let is_aside = |actor: Actor, seq: u32, hash: &[u8; 16]| {
            let same = |c: &Change| c.actor == actor.0 && c.seq == seq && short(&c.hash) == *hash;
            set_aside.iter().any(|a| same(&a.change))
        };
        // What they hold of the changes that count here, and of those that wait here: by hash, since anybody may have made waiting ones up.
        let (mut from, mut from_aside): (HashMap<Actor, u32>, HashMap<Actor, u32>) = Default::default();
        let raise = |map: &mut HashMap<Actor, u32>, actor: Actor, seq: u32| {
            let held = map.entry(actor).or_default();
            *held = (*held).max(seq);
        };
        for (actor, (seq, hash)) in theirs.reached.iter().chain(&theirs.waiting) {
            if histories.hash_at(*actor, *seq)?.is_some_and(|ours| short(&ours) == *hash) {
                raise(&mut from, *actor, *seq);
            }
            if is_aside(*actor, *seq, hash) {
                raise(&mut from_aside, *actor, *seq);
            }
        }
        for (actor, (seq, _)) in &theirs.reached {
            // A line that is longer there is no contradiction as long as nothing here is in that place.
            let aside = set_aside.iter().any(|a| a.change.actor == actor.0 && a.change.seq == *seq);
            if !aside && histories.hash_at(*actor, *seq)?.is_none() {
                raise(&mut from, *actor, *seq);
            }
        }
        let behind = |actor: Actor, seq: u32| from.get(&actor).copied().unwrap_or(0) < seq;

        let mut lacking = Lacking::default();
        let withdrawn: HashSet<DeviceId> =
            set_aside.iter().filter(|a| a.withdrawn).map(|a| Actor(a.change.actor).device()).collect();
        let mut unaware: HashSet<DeviceId> = HashSet::new();
        for (actor, (seq, hash)) in &theirs.reached {
            if withdrawn.contains(&actor.device()) && is_aside(*actor, *seq, hash) {
                unaware.insert(actor.device());
            }
        }
        for cover in changes::covers(&tx, day)? {
            let device = cover.device();
            let mut lacks = withdrawn.contains(&device);
            for tip in &cover.tips {
                let place = histories.place_of(device, tip)?;
                let seen = place.is_some_and(|p| {
                    let reached = theirs.reached.get(&Actor(p.actor)).map_or(0, |(seq, _)| *seq);
                    reached >= p.seq && !behind(Actor(p.actor), p.seq)
                });
                lacks |= !seen;
            }
            if lacks && !theirs.covers.contains(&cover.id()) {
                unaware.insert(device);
                lacking.covers.push(cover);
            }
        }
        let mut statement =
            tx.prepare_cached("SELECT n, actor, seq FROM actor WHERE day = ?1 AND seq > 0")?;
        let lines: Vec<(i64, Actor, u32)> = statement
            .query_map([histories.n], |r| Ok((r.get(0)?, Actor(r.get(1)?), r.get(2)?)))?
            .collect::<Result<_, _>>()?;
        drop(statement);
        if lines.iter().any(|(_, actor, seq)| behind(*actor, *seq)) {
            folded::unfold(&tx, &histories)?;
            let sql = "SELECT n, length(bytes) FROM change WHERE actor = ?1 AND seq > ?2";
            let mut statement = tx.prepare_cached(sql)?;
            for (n, actor, _) in lines.iter().filter(|(_, actor, seq)| behind(*actor, *seq)) {
                let mut rows = statement.query(params![n, from.get(actor).copied().unwrap_or(0)])?;
                while let Some(row) = rows.next()? {
                    let bytes = usize::try_from(row.get::<_, i64>(1)?).unwrap_or(0);
                    lacking.changes.push((row.get(0)?, bytes));
                }
            }
            lacking.changes.sort_unstable();
        }
        let lacks = |a: &SetAside| {
            let actor = Actor(a.change.actor);
            let held = from_aside.get(&actor).copied().unwrap_or(0);
            let theirs = theirs.reached.get(&actor).map_or(0, |(seq, _)| *seq);
            let ours = lines.iter().find(|(_, a, _)| *a == actor).map_or(0, |(_, _, seq)| *seq);
            // Who is ahead of this device in the line brings what is missing here now; what still waits then goes over next time.
            let brings = theirs > ours && theirs >= a.change.seq;
            if a.withdrawn { unaware.contains(&actor.device()) } else { !brings && held < a.change.seq }
        };
        lacking.aside = set_aside.iter().filter(|a| lacks(a)).map(|a| a.change.clone()).collect();
        tx.commit()?;
        Ok(lacking)
    }

    /// The bytes of the changes of these numbers.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn changes_numbered(&self, numbers: &[i64]) -> Result<Vec<Vec<u8>>, StoreError> {
        let tx = self.sql().unchecked_transaction()?;
        let mut statement = tx.prepare_cached("SELECT bytes FROM change WHERE n = ?1")?;
        numbers.iter().map(|n| Ok(statement.query_row([n], |r| r.get(0))?)).collect()
    }
}

/// What a vector says of a hash: its first 16 bytes.
fn short(hash: &Hash) -> [u8; 16] {
    let mut short = [0; 16];
    short.copy_from_slice(&hash[..16]);
    short
}
