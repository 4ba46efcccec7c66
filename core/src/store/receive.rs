//! Taking in what comes from others: changes that a signature covers count, the rest waits beside them. Whatever the order in which things come,
//! the same set gives the same day: [`judge`](crate::day::judge()) decides, asked about what is new on the base of what counts already.

use super::aside::Aside;
use super::history::Histories;
use super::project::{self, Projected};
use super::{Store, StoreError, changes, folded};
use crate::day::{
    Actor, Beginning, Change, ChangeHead, Cover, Covered, DayId, DeviceId, FIRST_MAX_OP, Hash, Standing,
    judge, standings,
};
use rusqlite::{Connection, params};
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

/// What came of one day, read strictly.
#[derive(Clone, Debug)]
pub struct Incoming {
    /// The day.
    pub day: DayId,
    /// Date and area, where they came; without them a day that is not here is not begun.
    pub beginning: Option<Beginning>,
    /// Changes, in any order.
    pub changes: Vec<Change>,
    /// Covering signatures, not yet checked.
    pub covers: Vec<Cover>,
}

/// What taking changes in did to one day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Taken {
    /// The day.
    pub day: DayId,
    /// Changes that were not held before.
    pub new_changes: usize,
    /// Entries first seen.
    pub new_entries: usize,
    /// Entries held before that are other now.
    pub amended: usize,
    /// Changes that wait for others or for a signature, those from before included.
    pub waiting: usize,
    /// Changes withdrawn, since their key signed two histories, those from before included.
    pub withdrawn: usize,
}

/// The most bytes of changes that a day takes in from others; a day must stay readable as one pack.
pub const DAY_BYTES: u64 = 60 << 20;
/// The most of it that one device may fill. An observer's longest day is below 3 MiB.
pub const DEVICE_BYTES: u64 = 16 << 20;
/// How many changes are looked at between two reports of progress: some milliseconds' work.
const CHANGES_A_STEP: usize = 100;

impl Store {
    /// Takes changes in, all or none, in one transaction. With `dry_run` it only says what would happen.
    ///
    /// # Errors
    /// [`StoreError::DayFull`], or SQLite's; the store is then as before.
    pub fn take_in(&mut self, incoming: Vec<Incoming>, dry_run: bool) -> Result<Vec<Taken>, StoreError> {
        self.take_in_steps(incoming, dry_run, |_, _| Ok(()))
    }

    /// As [`Store::take_in`]; `step` is called again and again with how many changes of how many are done, and may stop the work.
    ///
    /// # Errors
    /// Those of [`Store::take_in`], or what `step` says; the store is then as before.
    pub fn take_in_steps<E: From<StoreError>>(
        &mut self,
        incoming: Vec<Incoming>,
        dry_run: bool,
        mut step: impl FnMut(usize, usize) -> Result<(), E>,
    ) -> Result<Vec<Taken>, E> {
        let of = incoming.iter().map(|i| i.changes.len()).sum();
        let (mut done, mut taken) = (0, Vec::with_capacity(incoming.len()));
        step(done, of)?;
        let tx = self.write_transaction()?;
        for day in incoming {
            let looked_at = done + day.changes.len();
            let mut stepped =
                |new: usize| if new.is_multiple_of(CHANGES_A_STEP) { step(done + new, of) } else { Ok(()) };
            taken.push(take_in_day(&tx, day, &mut stepped)?);
            done = looked_at;
        }
        if !dry_run {
            tx.commit().map_err(StoreError::from)?;
        }
        Ok(taken)
    }
}

/// Takes in what came of one day.
pub(super) fn take_in_day<E: From<StoreError>>(
    conn: &Connection,
    incoming: Incoming,
    stepped: &mut dyn FnMut(usize) -> Result<(), E>,
) -> Result<Taken, E> {
    let Incoming { day, beginning, changes, covers } = incoming;
    let mut aside = Aside::of(conn, day);
    let histories = match (Histories::read(conn, day)?, beginning) {
        (Some(histories), _) => Some((histories, false)),
        (None, Some(beginning)) => Some((Histories::begin(conn, beginning)?, true)),
        (None, None) => None,
    };
    let Some((histories, begun)) = histories else {
        let new_changes = aside.keep(changes.iter())?;
        keep_covers(conn, day, covers)?;
        let (waiting, withdrawn) = aside.bound_and_count(None)?;
        return Ok(Taken { day, new_changes, new_entries: 0, amended: 0, waiting, withdrawn });
    };
    if begun {
        // What waited for the day to begin is part of what two devices compare from now on.
        aside.touch();
    }
    let mut admission = Admission {
        conn,
        histories,
        aside,
        projected: Projected::default(),
        new_changes: 0,
        room: DAY_BYTES.saturating_sub(bytes_of_day(conn, day)?),
    };
    admission.run(changes, covers, begun, stepped)?;
    project::refresh(conn, admission.histories.n, &mut admission.projected)?;
    admission.histories.keep()?;
    let (waiting, withdrawn) = admission.aside.bound_and_count(Some(admission.histories.n))?;
    Ok(Taken {
        day,
        new_changes: admission.new_changes,
        new_entries: admission.projected.new,
        amended: admission.projected.amended,
        waiting,
        withdrawn,
    })
}

/// The work of taking in what came of one day that is here.
struct Admission<'c> {
    conn: &'c Connection,
    histories: Histories<'c>,
    aside: Aside<'c>,
    projected: Projected<'c>,
    new_changes: usize,
    room: u64,
}

impl Admission<'_> {
    fn run<E: From<StoreError>>(
        &mut self,
        came: Vec<Change>,
        covers: Vec<Cover>,
        begun: bool,
        stepped: &mut dyn FnMut(usize) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut pool: BTreeMap<DeviceId, Vec<Change>> = BTreeMap::new();
        for change in self.unknown(came)? {
            pool.entry(Actor(change.actor).device()).or_default().push(change);
        }
        let mut good: BTreeMap<DeviceId, Vec<Cover>> = BTreeMap::new();
        for cover in covers {
            let device = cover.device();
            // A signature over what counts already says nothing new, and checking it is the dearest part of a repeated merge.
            let news = pool.contains_key(&device) || self.says_more(device, &cover)?;
            if news && cover.is_good(self.histories.id) {
                good.entry(device).or_default().push(cover);
            }
        }
        let mut devices: BTreeSet<DeviceId> = pool.keys().chain(good.keys()).copied().collect();
        if begun {
            devices.extend(self.aside.devices()?);
        }
        for device in devices {
            let new = (pool.remove(&device).unwrap_or_default(), good.remove(&device).unwrap_or_default());
            self.device(device, new.0, new.1, stepped)?;
        }
        Ok(())
    }

    /// Those of the changes that do not count here yet, each once.
    fn unknown(&mut self, came: Vec<Change>) -> Result<Vec<Change>, StoreError> {
        let mut by_actor: BTreeMap<[u8; 24], Vec<Change>> = BTreeMap::new();
        came.into_iter().for_each(|c| by_actor.entry(c.actor).or_default().push(c));
        let (mut unknown, mut seen) = (Vec::new(), HashSet::new());
        for (actor, changes) in by_actor {
            let line = self.histories.line(Actor(actor))?.clone();
            let chained =
                changes.windows(2).all(|p| p[1].seq == p[0].seq + 1 && p[1].deps.contains(&p[0].hash));
            // In a chain each change proves all before it, so one look settles for all up to the end of what is held.
            let held_to = changes.iter().rfind(|c| c.seq <= line.seq).filter(|_| chained);
            let held_to = match held_to {
                Some(c) if self.histories.hash_at(Actor(actor), c.seq)? == Some(c.hash) => c.seq,
                _ => 0,
            };
            for change in changes.into_iter().filter(|c| c.seq > held_to) {
                let held = change.seq <= line.seq
                    && self.histories.hash_at(Actor(actor), change.seq)? == Some(change.hash);
                if !held && seen.insert(change.hash) {
                    unknown.push(change);
                }
            }
        }
        Ok(unknown)
    }

    /// Whether a cover names a change that does not count here.
    fn says_more(&mut self, device: DeviceId, cover: &Cover) -> Result<bool, StoreError> {
        for tip in &cover.tips {
            if !self.histories.heads.contains(tip) && self.histories.place_of(device, tip)?.is_none() {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Decides about the changes of one device, those that waited included.
    fn device<E: From<StoreError>>(
        &mut self,
        device: DeviceId,
        came: Vec<Change>,
        new_covers: Vec<Cover>,
        stepped: &mut dyn FnMut(usize) -> Result<(), E>,
    ) -> Result<(), E> {
        let broken = self.histories.lines_of(device)?.iter().any(|(_, line)| line.broken_at.is_some());
        if broken && self.aside.bytes_of_device(device)? > DEVICE_BYTES {
            // What proves the key broken is held; more of it says nothing more.
            return Ok(());
        }
        let waited = self.aside.of_device(device, &self.histories)?;
        let held_aside: HashSet<Hash> = waited.iter().map(|c| c.hash).collect();
        self.new_changes += came.iter().filter(|c| !held_aside.contains(&c.hash)).count();
        let mut pool: Vec<Change> = waited;
        pool.extend(came.into_iter().filter(|c| !held_aside.contains(&c.hash)));
        let covers = with_held(self.conn, self.histories.id, device, new_covers)?;
        let signed: Vec<Covered> = covers.iter().map(|held| Covered::from(&held.cover)).collect();

        let standings = if broken {
            None
        } else {
            let heads: Vec<ChangeHead> = pool.iter().map(ChangeHead::from).collect();
            let base = self.base(device, &heads)?;
            let (standings, forks) = standings(self.histories.first, FIRST_MAX_OP, &base, &heads, &signed);
            forks.is_empty().then_some(standings)
        };
        match standings {
            Some(standings) => {
                let mut visible: Vec<Change> = Vec::with_capacity(pool.len());
                let mut rest: Vec<Change> = Vec::new();
                for (change, standing) in pool.into_iter().zip(standings) {
                    match standing {
                        Standing::Visible => visible.push(change),
                        Standing::Waiting => rest.push(change),
                        _ => self.aside.forget(&change.hash)?,
                    }
                }
                // Each operation is above those that it depends on.
                visible.sort_by_key(|c| (c.start_op, c.hash));
                let late = self.admit(device, visible, &held_aside, stepped)?;
                self.aside.keep(rest.iter().chain(&late).filter(|c| !held_aside.contains(&c.hash)))?;
            }
            None => self.settle_broken(device, pool, &signed)?,
        }
        let kept = self.needed(device, covers)?;
        replace_covers(self.conn, self.histories.id, device, &kept)?;
        Ok(())
    }

    /// What counts already of a device, as far as new changes lean on it or claim its place.
    fn base(&mut self, device: DeviceId, heads: &[ChangeHead]) -> Result<Vec<ChangeHead>, StoreError> {
        let first = self.histories.first;
        let here: HashSet<Hash> = heads.iter().map(|h| h.hash).chain([first]).collect();
        let mut base: HashMap<Hash, ChangeHead> = HashMap::new();
        for head in heads {
            for dep in head.deps.iter().filter(|d| !here.contains(*d)) {
                if !base.contains_key(dep)
                    && let Some(place) = self.histories.place_of(device, dep)?
                {
                    base.insert(*dep, place);
                }
            }
            if let Some(hash) = self.histories.hash_at(Actor(head.actor), head.seq)?
                && let Some(place) = self.histories.place_of(device, &hash)?
            {
                base.insert(hash, place);
            }
        }
        Ok(base.into_values().collect())
    }

    /// Adds changes that count, causes first. Returns those for which there is no room.
    fn admit<E: From<StoreError>>(
        &mut self,
        device: DeviceId,
        visible: Vec<Change>,
        held_aside: &HashSet<Hash>,
        stepped: &mut dyn FnMut(usize) -> Result<(), E>,
    ) -> Result<Vec<Change>, E> {
        let held: u64 = self.histories.lines_of(device)?.iter().map(|(_, line)| line.bytes).sum();
        let mut share = DEVICE_BYTES.saturating_sub(held);
        let mut list = visible.into_iter();
        for (at, change) in list.by_ref().enumerate() {
            let bytes = change.bytes.len() as u64;
            if bytes > share {
                return Ok(std::iter::once(change).chain(list).collect());
            }
            (share, self.room) =
                (share - bytes, self.room.checked_sub(bytes).ok_or(StoreError::DayFull(self.histories.id))?);
            let actor = self.histories.add(&change)?;
            project::add(self.conn, self.histories.n, actor, &change, &mut self.projected)?;
            if held_aside.contains(&change.hash) {
                self.aside.forget(&change.hash)?;
            }
            stepped(at + 1)?;
        }
        Ok(Vec::new())
    }

    /// Decides about everything held of a device whose key signed two histories: what counts no more goes aside, what counts stays.
    fn settle_broken(
        &mut self,
        device: DeviceId,
        pool: Vec<Change>,
        signed: &[Covered],
    ) -> Result<(), StoreError> {
        folded::unfold(self.conn, &self.histories)?;
        let held: Vec<Change> = changes::all(self.conn, &self.histories)?
            .into_iter()
            .filter(|c| Actor(c.actor).device() == device)
            .collect();
        let was: HashSet<Hash> = held.iter().map(|c| c.hash).collect();
        let everything: Vec<Change> =
            held.into_iter().chain(pool.into_iter().filter(|c| !was.contains(&c.hash))).collect();
        let heads: Vec<ChangeHead> = everything.iter().map(ChangeHead::from).collect();
        let verdict = judge(self.histories.first, FIRST_MAX_OP, &[], &heads, signed);

        // From the last to the first, so that no row is left over that another one leans on.
        for change in
            everything.iter().filter(|c| was.contains(&c.hash) && !verdict.visible.contains(&c.hash))
        {
            let line = self.histories.line(Actor(change.actor))?.n;
            let sql = "DELETE FROM change WHERE actor = ?1 AND seq = ?2";
            self.conn.prepare_cached(sql)?.execute(params![line, change.seq])?;
            project::remove(self.conn, self.histories.n, change, &mut self.projected)?;
        }
        for (actor, _) in self.histories.lines_of(device)? {
            let of_actor =
                everything.iter().filter(|c| c.actor == actor.0 && verdict.visible.contains(&c.hash));
            let end = of_actor.filter(|c| was.contains(&c.hash)).max_by_key(|c| c.seq);
            self.histories.cut(actor, end)?;
        }
        let mut visible: Vec<Change> =
            everything.iter().filter(|c| verdict.visible.contains(&c.hash)).cloned().collect();
        visible.sort_by_key(|c| (c.start_op, c.hash));
        for change in visible.iter().filter(|c| !was.contains(&c.hash)) {
            let actor = self.histories.add(change)?;
            project::add(self.conn, self.histories.n, actor, change, &mut self.projected)?;
        }
        for (actor, broken_at) in &verdict.forks {
            self.histories.break_line(Actor(*actor), *broken_at)?;
        }
        self.histories.set_heads(device, &everything, &visible)?;
        self.aside.replace(
            device,
            everything.iter().filter_map(|c| {
                let withdrawn = verdict.withdrawn.contains(&c.hash);
                (withdrawn || verdict.waiting.contains(&c.hash)).then_some((c, withdrawn))
            }),
        )
    }

    /// Those covers of a device without which something would not be covered: each is needed for a head that no later one names, or names
    /// a change that has not come. Of a broken key all are, as they prove it.
    fn needed(&mut self, device: DeviceId, covers: Vec<HeldCover>) -> Result<Vec<HeldCover>, StoreError> {
        let broken = self.histories.lines_of(device)?.iter().any(|(_, line)| line.broken_at.is_some());
        let mut named: HashSet<Hash> = HashSet::new();
        let (mut kept, mut incomplete) = (Vec::new(), 0);
        for HeldCover { cover, pending } in covers.into_iter().rev() {
            let (mut needed, mut missing) = (broken && kept.len() < COVERS_OF_A_BROKEN_KEY, false);
            for tip in &cover.tips {
                let head = self.histories.heads.contains(tip);
                missing |= pending && !head && self.histories.place_of(device, tip)?.is_none();
                needed |= head && named.insert(*tip);
            }
            if missing && !needed && incomplete < INCOMPLETE_COVERS {
                (needed, incomplete) = (true, incomplete + 1);
            }
            if needed {
                kept.push(HeldCover { cover, pending: missing });
            }
        }
        kept.reverse();
        Ok(kept)
    }
}

/// A covering signature, and whether it may name changes that have not come.
pub(super) struct HeldCover {
    pub cover: Cover,
    pub pending: bool,
}

/// The most covers of one device that are kept for changes that have not come.
const INCOMPLETE_COVERS: usize = 64;
/// The most covers of a broken key that are kept beyond those that cover something.
const COVERS_OF_A_BROKEN_KEY: usize = 1_000;

fn bytes_of_day(conn: &Connection, day: DayId) -> Result<u64, StoreError> {
    let sql = "SELECT coalesce(sum(a.bytes), 0) FROM actor a JOIN day d ON d.n = a.day WHERE d.id = ?1";
    let bytes: i64 = conn.prepare_cached(sql)?.query_row([day.to_string()], |r| r.get(0))?;
    Ok(bytes.cast_unsigned())
}

/// The covers of a device that are held, then the new ones, each once.
fn with_held(
    conn: &Connection,
    day: DayId,
    device: DeviceId,
    new: Vec<Cover>,
) -> Result<Vec<HeldCover>, StoreError> {
    let sql = "SELECT key, tips, signature, pending FROM cover WHERE day = ?1 AND device = ?2 ORDER BY n";
    let mut statement = conn.prepare_cached(sql)?;
    let held = |row: &rusqlite::Row<'_>| Ok(HeldCover { cover: changes::cover(row)?, pending: row.get(3)? });
    let rows = statement.query_map(params![day.to_string(), device.0], held)?;
    let mut covers: Vec<HeldCover> = rows.collect::<Result<_, _>>()?;
    for cover in new {
        if covers.iter().all(|held| held.cover != cover) {
            covers.push(HeldCover { cover, pending: true });
        }
    }
    Ok(covers)
}

/// Keeps the covers of a day that is not here.
fn keep_covers(conn: &Connection, day: DayId, covers: Vec<Cover>) -> Result<(), StoreError> {
    let mut by_device: BTreeMap<DeviceId, Vec<Cover>> = BTreeMap::new();
    for cover in covers.into_iter().filter(|c| c.is_good(day)) {
        by_device.entry(cover.device()).or_default().push(cover);
    }
    for (device, covers) in by_device {
        let mut all = with_held(conn, day, device, covers)?;
        all.drain(..all.len().saturating_sub(INCOMPLETE_COVERS));
        replace_covers(conn, day, device, &all)?;
    }
    Ok(())
}

/// Puts these covers of a device in place of those held.
pub(super) fn replace_covers(
    conn: &Connection,
    day: DayId,
    device: DeviceId,
    covers: &[HeldCover],
) -> Result<(), StoreError> {
    let day = day.to_string();
    conn.prepare_cached("DELETE FROM cover WHERE day = ?1 AND device = ?2")?
        .execute(params![day, device.0])?;
    let sql =
        "INSERT INTO cover (day, device, key, tips, signature, pending) VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
    for HeldCover { cover, pending } in covers {
        let tips = cover.tips.concat();
        conn.prepare_cached(sql)?.execute(params![
            day,
            device.0,
            cover.key,
            tips,
            cover.signature,
            pending
        ])?;
    }
    Ok(())
}

/// Puts a cover that this device just made in place of those that it goes beyond.
pub(super) fn keep_own_cover(
    conn: &Connection,
    histories: &mut Histories<'_>,
    cover: Cover,
) -> Result<(), StoreError> {
    let device = cover.device();
    let mut kept = with_held(conn, histories.id, device, Vec::new())?;
    // Those of a broken key prove that it is.
    let proof =
        kept.len() > 1 && histories.lines_of(device)?.iter().any(|(_, line)| line.broken_at.is_some());
    kept.retain(|held| {
        let goes_beyond = |t: &Hash| histories.heads.contains(t) && !cover.tips.contains(t);
        proof || held.pending || held.cover.tips.iter().any(goes_beyond)
    });
    kept.push(HeldCover { cover, pending: false });
    replace_covers(conn, histories.id, device, &kept)
}
