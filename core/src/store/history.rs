//! The histories of one day within one transaction: which changes count, who wrote them, and where each actor's line ends.

use super::receive::DEVICE_BYTES;
use super::{StoreError, folded};
use crate::day::format::{self, Put, read_change};
use crate::day::{Actor, Beginning, Change, ChangeHead, DayId, DeviceId, FIRST_MAX_OP, Hash, History};
use rusqlite::{CachedStatement, Connection, OptionalExtension, Row, params};
use std::collections::{BTreeSet, HashMap, HashSet};

/// One actor's line of changes.
#[derive(Clone, Debug)]
pub(super) struct Line {
    /// The number by which rows name the actor.
    pub n: i64,
    /// Number of its last change that counts, 0 for none.
    pub seq: u32,
    /// Hash of that change.
    pub hash: Hash,
    /// Its highest operation.
    pub max_op: u32,
    /// Bytes of all its changes that count.
    pub bytes: u64,
    /// No other change depends on the last one.
    pub head: bool,
    /// The smallest number of a change that the actor signed twice.
    pub broken_at: Option<u32>,
    altered: bool,
}

/// A day as a transaction works on it.
pub(super) struct Histories<'c> {
    conn: &'c Connection,
    /// The number by which rows name the day.
    pub n: i64,
    /// The day.
    pub id: DayId,
    /// Date and area.
    pub beginning: Beginning,
    /// Hash of the first change.
    pub first: Hash,
    /// The latest changes of all.
    pub heads: BTreeSet<Hash>,
    max_op: u32,
    lines: HashMap<Actor, Line>,
    whole_devices: BTreeSet<DeviceId>,
    /// Held from one change to the next: looking it up for each takes longer than binding it.
    insert: Option<CachedStatement<'c>>,
}

impl<'c> Histories<'c> {
    /// The histories of a day; `None` for a day that is not here.
    pub fn read(conn: &'c Connection, id: DayId) -> Result<Option<Histories<'c>>, StoreError> {
        let mut statement =
            conn.prepare_cached("SELECT n, date, area, heads, max_op FROM day WHERE id = ?1")?;
        let row = statement.query_row([id.to_string()], |r| {
            let heads: Vec<u8> = r.get(3)?;
            Ok((r.get(0)?, r.get::<_, String>(1)?, r.get::<_, String>(2)?, heads, r.get(4)?))
        });
        let Some((n, date, area, heads, max_op)) = row.optional()? else { return Ok(None) };
        let beginning = Beginning::read(id, &date, &area)?;
        let first = beginning.first_change().0;
        let heads = hashes(&heads).collect();
        Ok(Some(Histories {
            conn,
            n,
            id,
            beginning,
            first,
            heads,
            max_op,
            lines: HashMap::new(),
            whole_devices: BTreeSet::new(),
            insert: None,
        }))
    }

    /// Begins a day that is not here.
    pub fn begin(conn: &'c Connection, beginning: Beginning) -> Result<Histories<'c>, StoreError> {
        let (id, first) = (beginning.id(), beginning.first_change().0);
        conn.execute(
            "INSERT INTO day (id, date, area, heads, max_op, aside) VALUES (?1, ?2, ?3, ?4, ?5, x'')",
            params![id.to_string(), beginning.date.to_string(), beginning.area, first, FIRST_MAX_OP],
        )?;
        Ok(Histories {
            conn,
            n: conn.last_insert_rowid(),
            id,
            beginning,
            first,
            heads: BTreeSet::from([first]),
            max_op: FIRST_MAX_OP,
            lines: HashMap::new(),
            whole_devices: BTreeSet::new(),
            insert: None,
        })
    }

    /// The line of an actor; one without changes for an actor that has written nothing here.
    pub fn line(&mut self, actor: Actor) -> Result<&mut Line, StoreError> {
        if !self.lines.contains_key(&actor) {
            let sql = format!("{LINE} WHERE day = ?1 AND actor = ?2");
            let held =
                self.conn.prepare_cached(&sql)?.query_row(params![self.n, actor.0], line).optional()?;
            let line = held.map_or_else(Line::empty, |(_, line)| line);
            self.lines.insert(actor, line);
        }
        Ok(self.lines.entry(actor).or_insert_with(Line::empty))
    }

    /// The actors of a device whose last change is a head, in one history.
    pub fn own_heads(&mut self, device: DeviceId, history: History) -> Result<Vec<Actor>, StoreError> {
        let (from, to) = actors_of(device);
        let sql = format!("{LINE} WHERE day = ?1 AND actor BETWEEN ?2 AND ?3 AND head");
        let mut statement = self.conn.prepare_cached(&sql)?;
        for row in statement.query_map(params![self.n, from, to], line)? {
            let (actor, line) = row?;
            self.lines.entry(actor).or_insert(line);
        }
        let heads =
            self.lines.iter().filter(|(a, l)| l.head && a.device() == device && a.history() == history);
        let mut heads: Vec<Actor> = heads.map(|(actor, _)| *actor).collect();
        heads.sort_unstable();
        Ok(heads)
    }

    /// Every line of a device.
    pub fn lines_of(&mut self, device: DeviceId) -> Result<Vec<(Actor, Line)>, StoreError> {
        self.load(device)?;
        let lines = self.lines.iter().filter(|(actor, line)| actor.device() == device && line.n > 0);
        Ok(lines.map(|(actor, line)| (*actor, line.clone())).collect())
    }

    fn load(&mut self, device: DeviceId) -> Result<(), StoreError> {
        if self.whole_devices.insert(device) {
            let (from, to) = actors_of(device);
            let sql = format!("{LINE} WHERE day = ?1 AND actor BETWEEN ?2 AND ?3");
            let mut statement = self.conn.prepare_cached(&sql)?;
            for row in statement.query_map(params![self.n, from, to], line)? {
                let (actor, line) = row?;
                self.lines.entry(actor).or_insert(line);
            }
        }
        Ok(())
    }

    /// The hash of the change in this place of an actor's line, if it counts here.
    pub fn hash_at(&mut self, actor: Actor, seq: u32) -> Result<Option<Hash>, StoreError> {
        let line = self.line(actor)?.clone();
        if seq == 0 || seq > line.seq {
            return Ok(None);
        }
        if seq == line.seq {
            return Ok(Some(line.hash));
        }
        let mut statement =
            self.conn.prepare_cached("SELECT hash FROM change WHERE actor = ?1 AND seq = ?2")?;
        match statement.query_row(params![line.n, seq], |r| r.get(0)).optional()? {
            Some(hash) => Ok(Some(hash)),
            None => folded::hash_at(self.conn, line.n, seq),
        }
    }

    /// The change of this hash among those of a device that count. Of one that ends a line its dependencies are left out.
    pub fn place_of(&mut self, device: DeviceId, hash: &Hash) -> Result<Option<ChangeHead>, StoreError> {
        self.load(device)?;
        let lines = &self.lines;
        let of_device = |(actor, line): &(&Actor, &Line)| actor.device() == device && line.seq > 0;
        if let Some((actor, line)) = lines.iter().filter(of_device).find(|(_, line)| line.hash == *hash) {
            let (seq, max_op) = (line.seq, line.max_op);
            return Ok(Some(ChangeHead {
                hash: *hash,
                actor: actor.0,
                seq,
                start_op: max_op,
                max_op,
                deps: Vec::new(),
            }));
        }
        // Only the dependency of a branch lies further back: a store that was restored and went on.
        for (_, line) in lines.iter().filter(of_device) {
            let sql = "SELECT bytes FROM change WHERE actor = ?1 AND hash = ?2";
            let mut statement = self.conn.prepare_cached(sql)?;
            let row: Option<Vec<u8>> = statement.query_row(params![line.n, hash], |r| r.get(0)).optional()?;
            let bytes = match row {
                Some(bytes) => Some(bytes),
                None => folded::bytes_of(self.conn, line.n, hash)?,
            };
            if let Some(bytes) = bytes {
                return Ok(Some(ChangeHead::from(&self.parse(&bytes)?)));
            }
        }
        Ok(None)
    }

    /// Reads a change of this day that is held here.
    pub fn parse(&self, bytes: &[u8]) -> Result<Change, StoreError> {
        read_change(self.id.0, bytes).map_err(|why| StoreError::DamagedChange { day: self.id, why })
    }

    /// Adds a change whose dependencies count. Returns the number by which rows name its actor.
    pub fn add(&mut self, change: &Change) -> Result<i64, StoreError> {
        let actor = Actor(change.actor);
        for dep in &change.deps {
            if self.heads.remove(dep) && *dep != self.first {
                let own = self.lines.get_mut(&actor).filter(|line| line.hash == *dep);
                let on = match own {
                    Some(line) => Some(line),
                    None => self.lines.values_mut().find(|line| line.hash == *dep),
                };
                if let Some(line) = on {
                    (line.head, line.altered) = (false, true);
                }
            }
        }
        self.heads.insert(change.hash);
        self.max_op = self.max_op.max(change.max_op());
        let n = self.number(actor)?;
        let line = self.line(actor)?;
        line.n = n;
        (line.seq, line.hash, line.max_op) = (change.seq, change.hash, change.max_op());
        line.bytes += change.bytes.len() as u64;
        (line.head, line.altered) = (true, true);
        let insert = match &mut self.insert {
            Some(insert) => insert,
            none => none.insert(self.conn.prepare_cached(INSERT)?),
        };
        insert.execute(params![n, change.seq, change.hash, change.bytes])?;
        Ok(n)
    }

    /// Puts back the end of an actor's line, where later changes do not count any more.
    pub fn cut(&mut self, actor: Actor, end: Option<&Change>) -> Result<(), StoreError> {
        let line = self.line(actor)?;
        (line.seq, line.max_op) = end.map_or((0, 0), |c| (c.seq, c.max_op()));
        line.hash = end.map_or([0; 32], |c| c.hash);
        line.altered = true;
        Ok(())
    }

    /// Notes that an actor signed two changes for one place of its line.
    pub fn break_line(&mut self, actor: Actor, broken_at: u32) -> Result<(), StoreError> {
        let n = self.number(actor)?;
        let line = self.line(actor)?;
        (line.n, line.broken_at, line.altered) = (n, Some(broken_at), true);
        Ok(())
    }

    /// The next change of an actor of this device, which puts these texts: on all that the device holds of its own history, and
    /// above every operation that is held of the day, so that any Automerge reader shows the newer value of a register. It is read again as others will read it, so that nothing is confirmed that can't be.
    pub fn next(&mut self, actor: Actor, puts: Vec<Put>) -> Result<Change, StoreError> {
        let mut lines = vec![self.line(actor)?.clone()];
        for head in self.own_heads(actor.device(), actor.history())? {
            lines.push(self.line(head)?.clone());
        }
        lines.retain(|line| line.seq > 0);
        let seq = self.line(actor)?.seq + 1;
        let mut deps: Vec<Hash> = lines.iter().map(|line| line.hash).collect();
        if deps.is_empty() {
            deps.push(self.first);
        }
        deps.sort_unstable();
        deps.dedup();
        let before = lines.iter().map(|line| line.max_op).max().unwrap_or(0).max(FIRST_MAX_OP);
        let start = if self.max_op < HIGHEST_FOLLOWED { before.max(self.max_op) } else { before } + 1;
        let bytes: usize = puts.iter().map(|p| p.key.len() + p.text.len()).sum();
        if self.line(actor)?.bytes + bytes as u64 > DEVICE_BYTES {
            return Err(StoreError::DayFull(self.id));
        }
        let change = format::encode(self.id.0, actor.0, seq, start, deps, puts);
        self.parse(&change.bytes)
    }

    /// The number by which rows name an actor, given now if it has none.
    fn number(&mut self, actor: Actor) -> Result<i64, StoreError> {
        let held = self.line(actor)?.n;
        if held > 0 {
            return Ok(held);
        }
        let sql =
            "INSERT INTO actor (day, actor, seq, hash, max_op, bytes, head) VALUES (?1, ?2, 0, ?3, 0, 0, 0)";
        self.conn.prepare_cached(sql)?.execute(params![self.n, actor.0, [0_u8; 32]])?;
        Ok(self.conn.last_insert_rowid())
    }

    /// Works out the ends of a device's histories anew: of its changes that are held, `visible` are those that count.
    pub fn set_heads(
        &mut self,
        device: DeviceId,
        held: &[Change],
        visible: &[Change],
    ) -> Result<(), StoreError> {
        for change in held {
            self.heads.remove(&change.hash);
        }
        let on: HashSet<&Hash> = visible.iter().flat_map(|c| &c.deps).collect();
        self.heads.extend(visible.iter().map(|c| c.hash).filter(|hash| !on.contains(hash)));
        for (actor, _) in self.lines_of(device)? {
            let line = self.line(actor)?;
            line.head = line.seq > 0 && !on.contains(&line.hash);
            line.bytes = visible.iter().filter(|c| c.actor == actor.0).map(|c| c.bytes.len() as u64).sum();
            line.altered = true;
        }
        if self.heads.is_empty() {
            self.heads.insert(self.first);
        }
        Ok(())
    }

    /// Writes down where the histories end now.
    pub fn keep(&mut self) -> Result<(), StoreError> {
        let sql = "UPDATE actor SET seq = ?2, hash = ?3, max_op = ?4, bytes = ?5, head = ?6, broken_at = ?7 WHERE n = ?1";
        let mut statement = self.conn.prepare_cached(sql)?;
        for line in self.lines.values_mut().filter(|l| l.altered && l.n > 0) {
            let bytes = line.bytes.cast_signed();
            statement.execute(params![
                line.n,
                line.seq,
                line.hash,
                line.max_op,
                bytes,
                line.head,
                line.broken_at
            ])?;
            line.altered = false;
        }
        let heads: Vec<u8> = self.heads.iter().flatten().copied().collect();
        let mut day = self.conn.prepare_cached("UPDATE day SET heads = ?2, max_op = ?3 WHERE n = ?1")?;
        day.execute(params![self.n, heads, self.max_op])?;
        Ok(())
    }
}

/// Counters of others are followed up to here; beyond lie only those of a program that means harm.
const HIGHEST_FOLLOWED: u32 = 1 << 30;

const INSERT: &str = "INSERT INTO change (actor, seq, hash, bytes) VALUES (?1, ?2, ?3, ?4)";
const LINE: &str = "SELECT actor, n, seq, hash, max_op, bytes, head, broken_at FROM actor";

impl Line {
    fn empty() -> Line {
        Line {
            n: 0,
            seq: 0,
            hash: [0; 32],
            max_op: 0,
            bytes: 0,
            head: false,
            broken_at: None,
            altered: false,
        }
    }
}

fn line(row: &Row<'_>) -> rusqlite::Result<(Actor, Line)> {
    let line = Line {
        n: row.get(1)?,
        seq: row.get(2)?,
        hash: row.get(3)?,
        max_op: row.get(4)?,
        bytes: row.get::<_, i64>(5)?.cast_unsigned(),
        head: row.get(6)?,
        broken_at: row.get(7)?,
        altered: false,
    };
    Ok((Actor(row.get(0)?), line))
}

/// The smallest and the largest actor that a device can have.
pub(super) fn actors_of(device: DeviceId) -> ([u8; 24], [u8; 24]) {
    let (mut from, mut to) = ([0; 24], [0xff; 24]);
    from[..16].copy_from_slice(&device.0);
    to[..16].copy_from_slice(&device.0);
    (from, to)
}

/// The hashes that stand one behind the other in a blob.
pub(super) fn hashes(blob: &[u8]) -> impl Iterator<Item = Hash> + '_ {
    blob.as_chunks::<32>().0.iter().copied()
}
