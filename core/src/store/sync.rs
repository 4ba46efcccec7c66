//! What a session asks of the store: how far each actor's line is held, and which changes another device lacks. Look-ups, without a document.

use super::history::Histories;
use super::{SetAside, Store, StoreError, aside, changes, folded};
use crate::day::{Actor, Change, Cover, DayId, DeviceId, Hash};
use rusqlite::{TransactionBehavior, params};
use sha2::{Digest, Sha256};
use std::collections::{HashMap, HashSet};

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
    /// Of the changes that wait or are withdrawn, those that no other of their actor follows, where all before them are held.
    pub aside: Vec<Reached>,
    /// Covering signatures that do not follow from these: some of their changes are missing, or the key is broken.
    pub covers: Vec<[u8; 16]>,
}

/// How far another device holds a day, as it said. Of hashes the first 16 bytes.
#[derive(Clone, Debug, Default)]
pub struct TheirVector {
    /// By actor, the last change that counts.
    pub reached: HashMap<Actor, (u32, [u8; 16])>,
    /// The last ones of what waits or is withdrawn there; all before them are held too.
    pub aside: HashSet<(Actor, u32, [u8; 16])>,
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
        let Some(mut histories) = Histories::read(&tx, day)? else { return Ok(Vector::default()) };
        let mut vector = Vector::default();
        let mut statement = tx
            .prepare_cached("SELECT actor, seq, hash FROM actor WHERE day = ?1 AND seq > 0 ORDER BY actor")?;
        let mut rows = statement.query([histories.n])?;
        while let Some(row) = rows.next()? {
            vector.reached.push(Reached { actor: Actor(row.get(0)?), seq: row.get(1)?, hash: row.get(2)? });
        }
        let set_aside = aside::all(&tx, &histories)?;
        vector.aside = SetLines::of(&set_aside).ends(&mut histories)?;
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
        let lines_aside = SetLines::of(&set_aside);
        // What they hold of the changes that count here, and of those that do not: by hash, since anybody may have made waiting ones up.
        let mut from: HashMap<Actor, u32> = HashMap::new();
        let mut held: HashSet<Hash> = HashSet::new();
        let reached = theirs.reached.iter().map(|(actor, (seq, hash))| (*actor, *seq, *hash));
        for (actor, seq, hash) in reached.chain(theirs.aside.iter().copied()) {
            let counts = if histories.hash_at(actor, seq)?.is_some_and(|ours| short(&ours) == hash) {
                seq
            } else {
                lines_aside.back_from((actor, seq, hash), &mut histories, &mut held)?
            };
            let most = from.entry(actor).or_default();
            *most = (*most).max(counts);
        }
        for (actor, (seq, _)) in &theirs.reached {
            // A line that is longer there is no contradiction as long as nothing here is in that place.
            if !lines_aside.places.contains(&(*actor, *seq)) && histories.hash_at(*actor, *seq)?.is_none() {
                from.insert(*actor, *seq);
            }
        }
        let behind = |actor: Actor, seq: u32| from.get(&actor).copied().unwrap_or(0) < seq;

        let mut lacking = Lacking::default();
        let withdrawn: HashSet<DeviceId> =
            set_aside.iter().filter(|a| a.withdrawn).map(|a| Actor(a.change.actor).device()).collect();
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
        let ours: HashMap<Actor, u32> = lines.iter().map(|(_, actor, seq)| (*actor, *seq)).collect();
        let lacks = |a: &SetAside| {
            let actor = Actor(a.change.actor);
            let theirs = theirs.reached.get(&actor).map_or(0, |(seq, _)| *seq);
            // Who is ahead of this device in the line brings what is missing here now; what still waits then goes over next time.
            let brings = theirs > ours.get(&actor).copied().unwrap_or(0) && theirs >= a.change.seq;
            !held.contains(&a.change.hash) && (a.withdrawn || !brings)
        };
        lacking.aside = set_aside.iter().filter(|a| lacks(a)).map(|a| a.change.clone()).collect();
        drop(histories);
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

/// The lines that the changes held aside of one day form, each actor's by itself.
struct SetLines<'a> {
    changes: HashMap<(Actor, u32, [u8; 16]), &'a Change>,
    places: HashSet<(Actor, u32)>,
}

impl<'a> SetLines<'a> {
    fn of(set_aside: &'a [SetAside]) -> SetLines<'a> {
        let of = |a: &'a SetAside| ((Actor(a.change.actor), a.change.seq, short(&a.change.hash)), &a.change);
        let changes: HashMap<_, _> = set_aside.iter().map(of).collect();
        SetLines { places: changes.keys().map(|(actor, seq, _)| (*actor, *seq)).collect(), changes }
    }

    /// The change of the same actor before this one, where it is held aside too.
    fn before(&self, change: &Change) -> Option<&'a Change> {
        let at =
            |dep: &Hash| self.changes.get(&(Actor(change.actor), change.seq.checked_sub(1)?, short(dep)));
        change.deps.iter().find_map(at).copied()
    }

    /// The changes that no other follows, where all before them are held.
    fn ends(&self, histories: &mut Histories<'_>) -> Result<Vec<Reached>, StoreError> {
        let mut sorted: Vec<&Change> = self.changes.values().copied().collect();
        sorted.sort_by_key(|c| (c.actor, c.seq, c.hash));
        let (mut whole, mut followed) = (HashSet::new(), HashSet::new());
        for change in &sorted {
            let before = self.before(change);
            let is_whole = match before {
                Some(before) => whole.contains(&before.hash),
                None if change.seq == 1 => true,
                None => histories
                    .hash_at(Actor(change.actor), change.seq - 1)?
                    .is_some_and(|h| change.deps.contains(&h)),
            };
            if is_whole {
                whole.insert(change.hash);
                followed.extend(before.map(|b| b.hash));
            }
        }
        sorted.retain(|c| whole.contains(&c.hash) && !followed.contains(&c.hash));
        Ok(sorted.iter().map(|c| Reached { actor: Actor(c.actor), seq: c.seq, hash: c.hash }).collect())
    }

    /// Notes a change that another device holds and all before it as held; returns the number of the last one before it that counts here.
    fn back_from(
        &self,
        end: (Actor, u32, [u8; 16]),
        histories: &mut Histories<'_>,
        held: &mut HashSet<Hash>,
    ) -> Result<u32, StoreError> {
        let mut change = self.changes.get(&end).copied();
        while let Some(at) = change {
            if !held.insert(at.hash) {
                break;
            }
            change = self.before(at);
            let counts = |ours: Hash| change.is_none() && at.deps.contains(&ours);
            let before = at.seq.saturating_sub(1);
            if histories.hash_at(end.0, before)?.is_some_and(counts) {
                return Ok(before);
            }
        }
        Ok(0)
    }
}

/// What a vector says of a hash: its first 16 bytes.
fn short(hash: &Hash) -> [u8; 16] {
    let mut short = [0; 16];
    short.copy_from_slice(&hash[..16]);
    short
}
