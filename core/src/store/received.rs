//! What a live exchange asks of the store: how far it is in a day, which changes another one lacks, and taking in what comes. All of it are
//! look-ups; the document of a day is put together only for changes that are out of the ordinary.

use super::changes::{self, History, Incoming, Taken};
use super::{Store, StoreError, fold};
use crate::day::change::{self, OpName};
use crate::day::{DayError, DayId, Document, Key};
use automerge::{Change, ChangeHash};
use rusqlite::{Connection, OptionalExtension, params};
use std::collections::{BTreeSet, HashMap, HashSet};

/// How far one actor's changes are held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reached {
    /// The actor.
    pub actor: Vec<u8>,
    /// Number of its last change held.
    pub seq: u64,
    /// Hash of that change.
    pub hash: ChangeHash,
}

/// Reads one change strictly: Automerge leaves the checksum in its header unread, so it is held against the hash here.
///
/// # Errors
/// [`StoreError::DamagedChange`].
pub fn whole_change(bytes: Vec<u8>) -> Result<Change, StoreError> {
    let checksum = bytes.get(4..8).map(<[u8]>::to_vec);
    let change = changes::parse(bytes)?;
    if checksum.is_none_or(|sum| sum != change.hash().0[..4]) {
        return Err(StoreError::DamagedChange(change.hash().to_string()));
    }
    Ok(change)
}

impl Store {
    /// Every day with its heads, sorted.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn all_heads(&self) -> Result<Vec<(DayId, Vec<ChangeHash>)>, StoreError> {
        let mut statement = self.sql().prepare_cached("SELECT id, heads FROM day ORDER BY id")?;
        let mut rows = statement.query([])?;
        let mut days = Vec::new();
        while let Some(row) = rows.next()? {
            let Ok(id) = row.get_ref(0)?.as_str().unwrap_or_default().parse() else { continue };
            let mut heads: Vec<ChangeHash> = row
                .get_ref(1)?
                .as_blob()
                .unwrap_or_default()
                .chunks_exact(32)
                .filter_map(|h| ChangeHash::try_from(h).ok())
                .collect();
            heads.sort();
            days.push((id, heads));
        }
        Ok(days)
    }

    /// How far a day is held, by actor; nothing for a day that is not here.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn vector(&self, day: DayId) -> Result<Vec<Reached>, StoreError> {
        let Some(history) = History::read(self.sql(), day)? else { return Ok(Vec::new()) };
        let mut statement =
            self.sql().prepare_cached("SELECT actor, seq, hash FROM vector WHERE day = ?1 ORDER BY actor")?;
        let mut rows = statement.query([history.n])?;
        let mut reached = Vec::new();
        while let Some(row) = rows.next()? {
            let hash = row.get_ref(2)?.as_blob().unwrap_or_default();
            let Ok(hash) = ChangeHash::try_from(hash) else { continue };
            reached.push(Reached { actor: row.get(0)?, seq: row.get::<_, i64>(1)?.cast_unsigned(), hash });
        }
        Ok(reached)
    }

    /// The hashes of the changes of a day in these places (actor, number), where held.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn hashes_at<'a>(
        &self,
        day: DayId,
        places: impl Iterator<Item = (&'a [u8], u64)>,
    ) -> Result<Vec<Option<ChangeHash>>, StoreError> {
        // One transaction, or each look-up would take the locks of the file anew.
        let tx = self.sql().unchecked_transaction()?;
        let Some(history) = History::read(&tx, day)? else { return Ok(places.map(|_| None).collect()) };
        let sql = "SELECT hash FROM change WHERE day = ?1 AND actor = ?2 AND seq = ?3";
        let mut statement = tx.prepare_cached(sql)?;
        let mut hashes = Vec::new();
        for (actor, seq) in places {
            let hash: Option<Vec<u8>> =
                statement.query_row(params![history.n, actor, seq.cast_signed()], |r| r.get(0)).optional()?;
            hashes.push(hash.and_then(|h| ChangeHash::try_from(h.as_slice()).ok()));
        }
        Ok(hashes)
    }

    /// The changes of a day that are past this vector: their numbers in this store and their bytes, causes first.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn past(&self, day: DayId, held: &HashMap<Vec<u8>, u64>) -> Result<Vec<(i64, usize)>, StoreError> {
        let tx = self.sql().unchecked_transaction()?;
        let Some(history) = History::read(&tx, day)? else { return Ok(Vec::new()) };
        let mut numbers = Vec::new();
        let mut statement = tx.prepare_cached(
            "SELECT n, length(bytes) FROM change WHERE day = ?1 AND actor = ?2 AND seq > ?3",
        )?;
        for reached in self.vector(day)? {
            let theirs = held.get(&reached.actor).copied().unwrap_or(0);
            if theirs >= reached.seq {
                continue;
            }
            let mut rows = statement.query(params![history.n, reached.actor, theirs.cast_signed()])?;
            while let Some(row) = rows.next()? {
                numbers.push((row.get(0)?, usize::try_from(row.get::<_, i64>(1)?).unwrap_or(0)));
            }
        }
        numbers.sort_unstable();
        Ok(numbers)
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

    /// Takes changes of a day in, causes first, all or none, in one transaction; on the disk when this returns.
    ///
    /// # Errors
    /// [`StoreError::Fork`], a damaged or misplaced change, one whose causes are not here, or a day that is not; the store is then as before.
    pub fn receive(&mut self, day: DayId, bytes: Vec<Vec<u8>>) -> Result<Taken, StoreError> {
        let received: Vec<Change> = bytes.into_iter().map(whole_change).collect::<Result<_, _>>()?;
        let tx = self.write_transaction()?;
        let mut history = History::read(&tx, day)?.ok_or(StoreError::NoDay(day))?;
        let mut fresh: Vec<Change> = Vec::with_capacity(received.len());
        for change in received {
            match history.held(&tx, &change)? {
                Some(hash) if hash == change.hash().as_ref() => {}
                Some(_) => {
                    return Err(StoreError::Fork {
                        actor: change.actor_id().to_hex_string(),
                        seq: change.seq(),
                    });
                }
                None => fresh.push(change),
            }
        }
        if !ordinary(&tx, &history, &fresh)? {
            holds_together(&tx, &history, &fresh)?;
        }
        let mut taken = Taken { day: Some(day), new_changes: fresh.len(), ..Taken::default() };
        if !fresh.is_empty() {
            let mut folded = fold::Folded::default();
            for change in &fresh {
                history.add(&tx, change, &mut folded)?;
            }
            fold::refresh(&tx, history.n, &mut folded)?;
            history.keep(&tx)?;
            (taken.new_entries, taken.amended) = (folded.new, folded.amended);
        }
        taken.waiting = changes::waiting_count(&tx, day)?;
        tx.commit()?;
        if taken.waiting > 0 {
            // Their causes may have come now.
            let again = Incoming { day, changes: Vec::new(), causally_complete: false };
            for more in self.take_in(vec![again], false)? {
                taken.new_entries += more.new_entries;
                taken.amended += more.amended;
                taken.waiting = more.waiting;
            }
        }
        Ok(taken)
    }
}

/// Hash and bytes of the change in a place of a history.
type Placed = (Vec<u8>, Vec<u8>);

fn at_place(conn: &Connection, day: i64, actor: &[u8], seq: u64) -> Result<Option<Placed>, StoreError> {
    let sql = "SELECT hash, bytes FROM change WHERE day = ?1 AND actor = ?2 AND seq = ?3";
    let place = params![day, actor, seq.cast_signed()];
    Ok(conn.prepare_cached(sql)?.query_row(place, |r| Ok((r.get(0)?, r.get(1)?))).optional()?)
}

/// The largest operation counter of a change that is held.
fn max_op(conn: &Connection, day: i64, hash: &ChangeHash) -> Result<Option<u64>, StoreError> {
    let sql = "SELECT bytes FROM change WHERE day = ?1 AND hash = ?2";
    let bytes: Option<Vec<u8>> =
        conn.prepare_cached(sql)?.query_row(params![day, hash.as_ref()], |r| r.get(0)).optional()?;
    Ok(bytes.map(changes::parse).transpose()?.map(|c| c.max_op()))
}

/// These changes are of the kind that this program writes, and each stands where it may: its causes are here, it follows the one before of its
/// actor, its counters are past those of its causes, and it only puts texts into the map of entries, over texts that are there. Then they hold
/// together with the day, which need not be put together to see it.
fn ordinary(conn: &Connection, history: &History, fresh: &[Change]) -> Result<bool, StoreError> {
    let mut here: HashMap<ChangeHash, u64> = HashMap::new();
    let mut last: HashMap<&[u8], (u64, u64)> = HashMap::new();
    let mut put: HashSet<(String, OpName)> = HashSet::new();
    let sql = "SELECT 1 FROM scalar WHERE day = ?1 AND key = ?2 AND counter = ?3 AND actor = ?4";
    let mut stands = conn.prepare_cached(sql)?;
    for change in fresh {
        let actor = change.actor_id().to_bytes();
        if actor == history.id.0 || change.author().is_some() || change.deps().is_empty() {
            return Ok(false);
        }
        let mut before = 0;
        for cause in change.deps() {
            let counter = match here.get(cause) {
                Some(counter) => Some(*counter),
                None => max_op(conn, history.n, cause)?,
            };
            let Some(counter) = counter else { return Ok(false) };
            here.insert(*cause, counter);
            before = before.max(counter);
        }
        let (seq, counter) = match last.get(actor) {
            Some(reached) => *reached,
            None => match history.seq(conn, actor)? {
                0 => (0, 0),
                seq => {
                    let held = at_place(conn, history.n, actor, seq)?;
                    let Some((_, bytes)) = held else { return Ok(false) };
                    (seq, changes::parse(bytes)?.max_op())
                }
            },
        };
        if change.seq() != seq + 1 || change.start_op().get() <= before.max(counter) {
            return Ok(false);
        }
        let done = change::read(history.id, change)?;
        let mut keys: BTreeSet<&Key> = BTreeSet::new();
        if done.len() != change.len() {
            return Ok(false);
        }
        for op in &done {
            if op.text.is_none() || !keys.insert(&op.key) {
                return Ok(false);
            }
            let key = op.key.to_string();
            for (counter, writer) in &op.seen {
                let name = (*counter, writer.clone());
                let known = put.contains(&(key.clone(), name))
                    || stands.exists(params![history.n, key, counter.cast_signed(), writer])?;
                if !known || *counter >= op.name.0 {
                    return Ok(false);
                }
            }
        }
        put.extend(done.into_iter().map(|op| (op.key.to_string(), op.name)));
        here.insert(change.hash(), change.max_op());
        last.insert(actor, (change.seq(), change.max_op()));
    }
    Ok(true)
}

/// The same seen by putting the whole day together with these changes.
fn holds_together(conn: &Connection, history: &History, fresh: &[Change]) -> Result<(), StoreError> {
    let held = changes::all(conn, history.id)?;
    // Automerge takes it for granted that it knows every actor that a change speaks of.
    let actors: HashSet<_> = held.iter().chain(fresh).map(|c| c.actor_id().clone()).collect();
    if fresh.iter().flat_map(|c| c.other_actor_ids()).any(|actor| !actors.contains(actor)) {
        return Err(DayError::Damaged("a change speaks of a writer that is not here".to_owned()).into());
    }
    let count = held.len() + fresh.len();
    let document = Document::from_changes(held.into_iter().chain(fresh.iter().cloned()), history.id)?;
    if document.changes().len() != count {
        return Err(DayError::Damaged("a change does not fit the history of its writer".to_owned()).into());
    }
    Ok(())
}
