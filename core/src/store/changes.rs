//! The truth: changes in the order in which they came, and where each day's history stands.

use super::{Store, StoreError, fold};
use crate::day::{DayError, DayId, Document};
use automerge::{Change, ChangeHash};
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};
use std::collections::{BTreeSet, HashSet};

/// Changes of one day that come from outside.
#[derive(Debug)]
pub struct Incoming {
    /// The day.
    pub day: DayId,
    /// Its changes, causes first where `causally_complete`, else in any order. Each must match its own hash.
    pub changes: Vec<Change>,
    /// All causes of all changes are among them and hold together, as in a document that was loaded strictly. Otherwise they are tried on the
    /// day's document first, and those whose causes are not here wait.
    pub causally_complete: bool,
}

/// What taking changes in did to one day.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Taken {
    /// The day.
    pub day: Option<DayId>,
    /// Changes that were not held before.
    pub new_changes: usize,
    /// Entries first seen.
    pub new_entries: usize,
    /// Entries held before whose effective JSON changed.
    pub amended: usize,
    /// Changes that wait for their causes, those from before included.
    pub waiting: usize,
}

/// Where the history of a day stands.
pub(super) struct History {
    pub n: i64,
    pub id: DayId,
    pub heads: BTreeSet<ChangeHash>,
    pub max_op: u64,
}

impl History {
    pub fn read(conn: &Connection, id: DayId) -> Result<Option<History>, StoreError> {
        let mut statement = conn.prepare_cached("SELECT n, heads, max_op FROM day WHERE id = ?1")?;
        let row = statement.query_row([id.to_string()], |r| {
            let heads: Vec<u8> = r.get(1)?;
            let heads = heads.chunks_exact(32).filter_map(|h| ChangeHash::try_from(h).ok()).collect();
            Ok(History { n: r.get(0)?, id, heads, max_op: r.get::<_, i64>(2)?.cast_unsigned() })
        });
        Ok(row.optional()?)
    }

    fn begin(conn: &Connection, id: DayId, date: &str) -> Result<History, StoreError> {
        conn.execute(
            "INSERT INTO day (id, date, heads, max_op) VALUES (?1, ?2, x'', 0)",
            params![id.to_string(), date],
        )?;
        Ok(History { n: conn.last_insert_rowid(), id, heads: BTreeSet::new(), max_op: 0 })
    }

    /// The number of the last change of an actor, 0 for none.
    pub fn seq(&self, conn: &Connection, actor: &[u8]) -> Result<u64, StoreError> {
        let mut statement = conn.prepare_cached("SELECT seq FROM vector WHERE day = ?1 AND actor = ?2")?;
        let seq: Option<i64> = statement.query_row(params![self.n, actor], |r| r.get(0)).optional()?;
        Ok(seq.unwrap_or(0).cast_unsigned())
    }

    /// Adds a change whose causes are held, with its scalars.
    pub fn add(
        &mut self,
        conn: &Connection,
        change: &Change,
        folded: &mut fold::Folded,
    ) -> Result<(), StoreError> {
        let (actor, seq, hash) = (change.actor_id().to_bytes(), change.seq().cast_signed(), change.hash());
        conn.prepare_cached("INSERT INTO change (day, actor, seq, hash, bytes) VALUES (?1, ?2, ?3, ?4, ?5)")?
            .execute(params![self.n, actor, seq, hash.as_ref(), change.raw_bytes()])?;
        conn.prepare_cached("INSERT OR REPLACE INTO vector VALUES (?1, ?2, ?3, ?4)")?.execute(params![
            self.n,
            actor,
            seq,
            hash.as_ref()
        ])?;
        for cause in change.deps() {
            self.heads.remove(cause);
        }
        self.heads.insert(hash);
        self.max_op = self.max_op.max(change.max_op());
        fold::fold(conn, self.n, self.id, change, folded)
    }

    /// Keeps where the history stands now.
    pub fn keep(&self, conn: &Connection) -> Result<(), StoreError> {
        let heads: Vec<u8> = self.heads.iter().flat_map(|h| h.0).collect();
        conn.prepare_cached("UPDATE day SET heads = ?2, max_op = ?3 WHERE n = ?1")?.execute(params![
            self.n,
            heads,
            self.max_op.cast_signed()
        ])?;
        Ok(())
    }

    /// The hash held in this place of a history, if any.
    pub fn held(&self, conn: &Connection, change: &Change) -> Result<Option<Vec<u8>>, StoreError> {
        let mut statement =
            conn.prepare_cached("SELECT hash FROM change WHERE day = ?1 AND actor = ?2 AND seq = ?3")?;
        let place = params![self.n, change.actor_id().to_bytes(), change.seq().cast_signed()];
        Ok(statement.query_row(place, |r| r.get(0)).optional()?)
    }

    fn has(&self, conn: &Connection, hash: &ChangeHash) -> Result<bool, StoreError> {
        let mut statement = conn.prepare_cached("SELECT 1 FROM change WHERE day = ?1 AND hash = ?2")?;
        Ok(statement.exists(params![self.n, hash.as_ref()])?)
    }
}

impl Store {
    /// Takes changes in, all or none, in one transaction. With `dry_run` it only says what would happen.
    ///
    /// # Errors
    /// [`StoreError::Fork`], a change that writes over a body, or a damaged one; the store is then as before.
    pub fn take_in(&mut self, incoming: Vec<Incoming>, dry_run: bool) -> Result<Vec<Taken>, StoreError> {
        self.take_in_steps(incoming, dry_run, |_, _| Ok(()))
    }

    /// As [`Store::take_in`]; `step` is told, again and again, how many changes of how many are looked at, and may stop the work.
    ///
    /// # Errors
    /// Those of [`Store::take_in`], or what `step` says; the store is then as before.
    pub fn take_in_steps<E: From<StoreError>>(
        &mut self,
        incoming: Vec<Incoming>,
        dry_run: bool,
        mut step: impl FnMut(usize, usize) -> Result<(), E>,
    ) -> Result<Vec<Taken>, E> {
        let tx =
            self.conn.transaction_with_behavior(TransactionBehavior::Immediate).map_err(StoreError::from)?;
        let of = incoming.iter().map(|i| i.changes.len()).sum();
        let (mut done, mut taken) = (0, Vec::with_capacity(incoming.len()));
        step(done, of)?;
        for day in incoming {
            taken.push(take_in_day(&tx, day, || {
                done += 1;
                if done % CHANGES_A_STEP == 0 { step(done, of) } else { Ok(()) }
            })?);
        }
        if !dry_run {
            tx.commit().map_err(StoreError::from)?;
        }
        Ok(taken)
    }
}

/// How many changes are looked at between two words about them: some milliseconds' work.
const CHANGES_A_STEP: usize = 100;

/// Takes in what came of one day; `looked_at` is told of each change.
fn take_in_day<E: From<StoreError>>(
    conn: &Connection,
    incoming: Incoming,
    mut looked_at: impl FnMut() -> Result<(), E>,
) -> Result<Taken, E> {
    let mut taken = Taken { day: Some(incoming.day), ..Taken::default() };
    let (ready, waiting) = if incoming.causally_complete {
        (incoming.changes, Vec::new())
    } else {
        sort_out(conn, incoming.day, incoming.changes)?
    };
    let mut folded = fold::Folded::default();
    let mut history = match History::read(conn, incoming.day)? {
        Some(history) => Some(history),
        None if ready.is_empty() => None,
        None => Some(History::begin(conn, incoming.day, &date_of(incoming.day, &ready)?)?),
    };
    if let Some(history) = &mut history {
        for change in &ready {
            looked_at()?;
            match history.held(conn, change)? {
                Some(hash) if hash == change.hash().as_ref() => continue,
                Some(_) => {
                    let actor = change.actor_id().to_hex_string();
                    return Err(StoreError::Fork { actor, seq: change.seq() }.into());
                }
                None => {}
            }
            history.add(conn, change, &mut folded)?;
            taken.new_changes += 1;
        }
        if taken.new_changes > 0 {
            fold::refresh(conn, history.n, &mut folded)?;
            history.keep(conn)?;
        }
    }
    (taken.new_entries, taken.amended, taken.waiting) = (folded.new, folded.amended, waiting.len());
    keep_waiting(conn, incoming.day, &waiting)?;
    Ok(taken)
}

fn date_of(day: DayId, changes: &[Change]) -> Result<String, StoreError> {
    Ok(Document::from_changes(changes.to_vec(), day)?.date()?.to_string())
}

/// Parts changes into those whose causes are here or come with them (causes first), and those that must wait; the ones that waited before are
/// looked at again.
fn sort_out(
    conn: &Connection,
    day: DayId,
    changes: Vec<Change>,
) -> Result<(Vec<Change>, Vec<Change>), StoreError> {
    let history = History::read(conn, day)?;
    let mut pending: Vec<Change> = waiting(conn, day)?;
    pending.extend(changes);
    let mut ready: Vec<Change> = Vec::new();
    let mut here: HashSet<ChangeHash> = HashSet::new();
    let has = |hash: &ChangeHash| history.as_ref().map_or(Ok(false), |h| h.has(conn, hash));
    loop {
        let mut left = Vec::new();
        let before = ready.len();
        for change in pending {
            if here.contains(&change.hash()) {
                continue;
            }
            let mut complete = true;
            for cause in change.deps() {
                complete &= here.contains(cause) || has(cause)?;
            }
            if complete {
                here.insert(change.hash());
                ready.push(change);
            } else {
                left.push(change);
            }
        }
        pending = left;
        if ready.len() == before || pending.is_empty() {
            break;
        }
    }
    refuse_forks(conn, history.as_ref(), ready.iter().chain(&pending))?;
    let mut fresh = Vec::new();
    for change in &ready {
        if !has(&change.hash())? {
            fresh.push(change.clone());
        }
    }
    if !fresh.is_empty() {
        // Foreign changes must hold together with the day before they are believed.
        let all = history.is_some().then(|| all(conn, day)).transpose()?.unwrap_or_default();
        let held = all.len();
        let document = Document::from_changes(all.into_iter().chain(fresh.clone()), day)?;
        if document.changes().len() != held + fresh.len() {
            return Err(
                DayError::Damaged("a change does not fit the history of its writer".to_owned()).into()
            );
        }
    }
    let mut seen = HashSet::new();
    pending.retain(|c| seen.insert(c.hash()));
    Ok((ready, pending))
}

/// Two contents for one place of a history, here or within what comes, are refused.
fn refuse_forks<'a>(
    conn: &Connection,
    history: Option<&History>,
    changes: impl Iterator<Item = &'a Change>,
) -> Result<(), StoreError> {
    let mut places: std::collections::HashMap<(Vec<u8>, u64), ChangeHash> = std::collections::HashMap::new();
    for change in changes {
        let fork = || StoreError::Fork { actor: change.actor_id().to_hex_string(), seq: change.seq() };
        let place = (change.actor_id().to_bytes().to_vec(), change.seq());
        if places.insert(place, change.hash()).is_some_and(|other| other != change.hash()) {
            return Err(fork());
        }
        let held = history.map(|h| h.held(conn, change)).transpose()?.flatten();
        if held.is_some_and(|hash| hash != change.hash().as_ref()) {
            return Err(fork());
        }
    }
    Ok(())
}

fn waiting(conn: &Connection, day: DayId) -> Result<Vec<Change>, StoreError> {
    let mut statement = conn.prepare_cached("SELECT bytes FROM waiting WHERE day = ?1")?;
    let mut rows = statement.query([day.to_string()])?;
    let mut changes = Vec::new();
    while let Some(row) = rows.next()? {
        changes.push(parse(row.get(0)?)?);
    }
    Ok(changes)
}

fn keep_waiting(conn: &Connection, day: DayId, changes: &[Change]) -> Result<(), StoreError> {
    conn.prepare_cached("DELETE FROM waiting WHERE day = ?1")?.execute([day.to_string()])?;
    for change in changes {
        conn.prepare_cached("INSERT OR REPLACE INTO waiting VALUES (?1, ?2, ?3)")?.execute(params![
            day.to_string(),
            change.hash().as_ref(),
            change.raw_bytes()
        ])?;
    }
    Ok(())
}

/// The heads of a day, sorted.
pub(super) fn heads(conn: &Connection, day: DayId) -> Result<Vec<ChangeHash>, StoreError> {
    Ok(History::read(conn, day)?.ok_or(StoreError::NoDay(day))?.heads.into_iter().collect())
}

/// How many changes of a day wait for their causes.
pub(super) fn waiting_count(conn: &Connection, day: DayId) -> Result<usize, StoreError> {
    let n: i64 =
        conn.query_row("SELECT count(*) FROM waiting WHERE day = ?1", [day.to_string()], |r| r.get(0))?;
    Ok(usize::try_from(n).unwrap_or(0))
}

pub(super) fn parse(bytes: Vec<u8>) -> Result<Change, StoreError> {
    Change::from_bytes(bytes).map_err(|e| StoreError::DamagedChange(e.to_string()))
}

/// Every change of a day in the order in which it was taken in (causes first), each held against its hash.
pub(super) fn all(conn: &Connection, day: DayId) -> Result<Vec<Change>, StoreError> {
    let history = History::read(conn, day)?.ok_or(StoreError::NoDay(day))?;
    let mut statement = conn.prepare_cached("SELECT hash, bytes FROM change WHERE day = ?1 ORDER BY n")?;
    let mut rows = statement.query([history.n])?;
    let mut changes = Vec::new();
    while let Some(row) = rows.next()? {
        let hash: Vec<u8> = row.get(0)?;
        let change = parse(row.get(1)?)?;
        if change.hash().as_ref() != hash {
            return Err(StoreError::DamagedChange(change.hash().to_string()));
        }
        changes.push(change);
    }
    Ok(changes)
}

/// Makes the rows of all days anew.
pub(super) fn rebuild(conn: &Connection) -> Result<(), StoreError> {
    for table in ["scalar", "entry"].into_iter().chain(crate::entry::KINDS.iter().map(|k| k.name.as_str())) {
        conn.execute(&format!("DELETE FROM \"{table}\""), [])?;
    }
    let mut statement = conn.prepare("SELECT id FROM day ORDER BY n")?;
    let ids: Vec<String> = statement.query_map([], |r| r.get(0))?.collect::<Result<_, _>>()?;
    for id in ids {
        let Ok(day) = id.parse() else { continue };
        let Some(history) = History::read(conn, day)? else { continue };
        let mut folded = fold::Folded::default();
        for change in all(conn, day)? {
            fold::fold(conn, history.n, day, &change, &mut folded)?;
        }
        fold::refresh(conn, history.n, &mut folded)?;
    }
    Ok(())
}
