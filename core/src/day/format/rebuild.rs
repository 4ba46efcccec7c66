//! Making the changes of a document again from its two tables.

use super::change::{Encoder, Head, check_keys, to_actor};
use super::document::{Changes, Operations, ROOT, Tables};
use super::error::{Hex, ascending};
use super::first::{First, first_change};
use super::{Bounds, Change, Hash, Put, Unreadable};

/// Bytes of a change with one put, beside its dependencies, key and text: about as many as it has.
const CHANGE_BYTES: usize = 128;

/// All changes but the first, and the heads. The numbers in the tables are in bounds.
pub(super) fn rebuild(
    first: &First,
    tables: &Tables,
    table: &Changes,
    operations: &Operations,
    bounds: &Bounds,
) -> Result<(Vec<Change>, Vec<Hash>), Unreadable> {
    check_size(table, operations, bounds)?;
    let n = table.actor.len();
    let rows = Rows::new(operations, tables.actors.len());
    let mut next = rows.first_of_actor.clone();
    let mut latest = vec![0; tables.actors.len()]; // 0, the first change, where the actor has none
    let mut encoder = Encoder::default();
    let mut hashes: Vec<Hash> = Vec::with_capacity(n);
    hashes.push(first_change(first).0);
    let mut changes = Vec::with_capacity(n - 1);
    let mut is_head = vec![true; n];
    let mut deps_from = 0;
    for k in 1..n {
        let author = table.actor[k] as usize;
        let actor = to_actor(tables.actors[author])?;
        let (seq, max_op) = (table.seq[k], table.max_op[k]);
        let fail = |why| Err(Unreadable::History { actor: Hex(actor.to_vec()), seq, why });

        let own = rows.up_to(next[author], author, max_op);
        next[author] += own.len();
        let Some(start_op) = contiguous(own, max_op) else {
            return fail("its operations are not exactly those up to its last counter");
        };

        let deps = &table.deps[deps_from..deps_from + table.dep_count[k] as usize];
        deps_from += deps.len();
        if deps.is_empty() || deps.iter().any(|dep| *dep as usize >= k) {
            return fail("it depends on nothing, or on a later change");
        }
        let of = |dep: &u32| table.actor[*dep as usize] as usize;
        let same_history = |dep: &u32| *dep > 0 && history(tables.actors[of(dep)]) == history(&actor);
        if *deps != [0] && !deps.iter().all(same_history) {
            return fail("it depends on another device or another history");
        }
        if deps.iter().any(|dep| table.max_op[*dep as usize] >= start_op) {
            return fail("its counters are not larger than those that it depends on");
        }
        let before = latest[author];
        let follows = if before == 0 {
            seq == 1 && deps.iter().all(|dep| of(dep) != author)
        } else {
            seq == table.seq[before as usize] + 1 && deps.contains(&before)
        };
        if !follows {
            return fail("it does not follow the change before of the same actor");
        }
        latest[author] = k as u32; // bounded

        let dep_hashes: Vec<Hash> = deps.iter().map(|dep| hashes[*dep as usize]).collect();
        if !ascending(&dep_hashes) {
            return fail("its dependencies are out of order or twice");
        }
        deps.iter().for_each(|dep| is_head[*dep as usize] = false);

        let puts: Vec<(&str, &str)> = own.iter().map(|row| operations.put(row.2)).collect();
        check_keys(&actor, puts.iter().map(|put| put.0), bounds.key_bytes)?;
        let head = Head { actor: &actor, seq, start_op, deps: &dep_hashes, others: &[&first.day] };
        let (hash, bytes) = encoder.puts(&head, &puts);
        hashes.push(hash);
        let puts = puts.into_iter().map(|(key, text)| Put { key: key.to_owned(), text: text.to_owned() });
        changes.push(Change { hash, actor, seq, start_op, deps: dep_hashes, puts: puts.collect(), bytes });
    }
    if next.iter().zip(&rows.first_of_actor[1..]).any(|(next, end)| next != end) {
        return Err(Unreadable::Foreign { what: "operations of no change" });
    }
    if latest.iter().enumerate().any(|(actor, latest)| *latest == 0 && tables.actors[actor] != first.day) {
        return Err(Unreadable::Foreign { what: "an actor without changes" });
    }
    let heads = check_heads(&is_head, &hashes, tables)?;
    Ok((changes, heads))
}

/// Bounds what the changes take, of which the tables may name a key or a dependency many times in a few bytes.
fn check_size(table: &Changes, operations: &Operations, bounds: &Bounds) -> Result<(), Unreadable> {
    let texts = operations.key.iter().chain(&operations.text).map(|text| text.len() as u64).sum::<u64>();
    let rest = table.deps.len() * size_of::<Hash>() + table.actor.len() * CHANGE_BYTES;
    let size = texts + rest as u64;
    if size > bounds.rebuilt as u64 {
        return Err(Unreadable::too_large("bytes in its changes", size, bounds.rebuilt));
    }
    Ok(())
}

/// The rows of all puts, ordered by actor and counter.
struct Rows {
    /// Actor, counter, row.
    sorted: Vec<(u32, u32, u32)>,
    /// Where each actor's rows begin; one more than there are actors.
    first_of_actor: Vec<usize>,
}

impl Rows {
    fn new(operations: &Operations, actors: usize) -> Rows {
        let ids = operations.actor.iter().zip(&operations.counter).zip(0..).skip(ROOT);
        let mut sorted: Vec<(u32, u32, u32)> =
            ids.map(|((actor, counter), row)| (*actor, *counter, row)).collect();
        sorted.sort_unstable();
        let mut first_of_actor = Vec::with_capacity(actors + 1);
        let mut at = 0;
        for actor in 0..=actors as u32 {
            at += sorted[at..].iter().take_while(|row| row.0 < actor).count();
            first_of_actor.push(at);
        }
        Rows { sorted, first_of_actor }
    }

    /// The rows of an actor from one on that have at most this counter.
    fn up_to(&self, from: usize, actor: usize, max_op: u32) -> &[(u32, u32, u32)] {
        let rows = &self.sorted[from..self.first_of_actor[actor + 1]];
        &rows[..rows.iter().take_while(|row| row.1 <= max_op).count()]
    }
}

/// The first counter, if the rows have each counter from it to `max_op` once.
fn contiguous(rows: &[(u32, u32, u32)], max_op: u32) -> Option<u32> {
    let start = rows.first()?.1;
    let each_once = rows.iter().zip(start..).all(|(row, counter)| row.1 == counter);
    (each_once && rows.last()?.1 == max_op).then_some(start)
}

/// What says whose history a change is in: the device, and which of its two it is.
fn history(actor: &[u8]) -> (&[u8], u8) {
    (&actor[..16], actor[actor.len() - 1] & 1)
}

fn check_heads(is_head: &[bool], hashes: &[Hash], tables: &Tables) -> Result<Vec<Hash>, Unreadable> {
    let heads = is_head.iter().zip(hashes).zip(0..).filter(|((is_head, _), _)| **is_head);
    let mut heads: Vec<(Hash, u32)> = heads.map(|((_, hash), place)| (*hash, place)).collect();
    heads.sort_unstable();
    let named = tables.heads.iter().copied().zip(tables.places.iter().copied());
    if !heads.iter().copied().eq(named) {
        return Err(Unreadable::Heads);
    }
    Ok(heads.into_iter().map(|head| head.0).collect())
}
