//! Making the changes of a document again from its two tables.

use super::change::{Encoder, Head, check_keys, to_actor};
use super::document::{Changes, Operations, ROOT, Tables};
use super::error::Hex;
use super::first::{First, first_change};
use super::{Bounds, Change, Hash, Put, Unreadable};

/// Bytes of a change with one put, beside its dependencies, key and text: about as many as it has.
const CHANGE_BYTES: usize = 128;

/// What the tables of a document give.
pub(super) struct Rebuilt {
    /// All changes but the first.
    pub changes: Vec<Change>,
    /// The changes that no other depends on, each with its place among all, sorted.
    pub heads: Vec<(Hash, u32)>,
}

/// Makes all changes again. The numbers in the tables are in bounds.
pub(super) fn rebuild(
    first: &First,
    tables: &Tables,
    table: &Changes,
    operations: &Operations,
    bounds: &Bounds,
) -> Result<Rebuilt, Unreadable> {
    check_size(table, operations, bounds)?;
    let n = table.actor.len();
    let rows = Rows::new(operations, tables.actors.len());
    let mut next_row = rows.first_of_actor.clone();
    let mut histories = Histories { tables, table, latest: vec![0; tables.actors.len()] };
    let mut encoder = Encoder::default();
    let mut hashes: Vec<Hash> = Vec::with_capacity(n);
    hashes.push(first_change(first).0);
    let mut changes = Vec::with_capacity(n - 1);
    let mut is_head = vec![true; n];
    let mut puts: Vec<(&str, &str)> = Vec::new();
    let mut deps_from = 0;
    for k in 1..n {
        let author = table.actor[k] as usize;
        let actor = to_actor(tables.actors[author])?;
        let seq = table.seq[k];
        let fail = |why| Unreadable::History { actor: Hex(actor.to_vec()), seq, why };

        let own = rows.up_to(next_row[author], author, table.max_op[k]);
        next_row[author] += own.len();
        let start_op = contiguous(own, table.max_op[k])
            .ok_or_else(|| fail("its operations are not exactly those up to its last counter"))?;
        let deps = &table.deps[deps_from..deps_from + table.dep_count[k] as usize];
        deps_from += deps.len();
        histories.add(k, start_op, deps).map_err(fail)?;
        deps.iter().for_each(|dep| is_head[*dep as usize] = false);
        let deps: Vec<Hash> = deps.iter().map(|dep| hashes[*dep as usize]).collect();
        if !deps.is_sorted_by(|a, b| a < b) {
            return Err(fail("its dependencies are not in ascending order"));
        }

        puts.clear();
        puts.extend(own.iter().map(|row| operations.put(row.1)));
        check_keys(&actor, puts.iter().map(|put| put.0), bounds.key_bytes)?;
        let head = Head { actor: &actor, seq, start_op, deps: &deps, others: &[&first.day] };
        let (hash, bytes) = encoder.puts(&head, &puts);
        hashes.push(hash);
        let puts = puts.iter().map(|(key, text)| Put { key: (*key).to_owned(), text: (*text).to_owned() });
        changes.push(Change { hash, actor, seq, start_op, deps, puts: puts.collect(), bytes });
    }
    if next_row.iter().zip(&rows.first_of_actor[1..]).any(|(next, end)| next != end) {
        return Err(Unreadable::Foreign { what: "operations of no change" });
    }
    if histories.has_unused_actor(&first.day) {
        return Err(Unreadable::Foreign { what: "an actor without changes" });
    }
    let heads = is_head.iter().zip(hashes).zip(0..).filter(|((is_head, _), _)| **is_head);
    let mut heads: Vec<(Hash, u32)> = heads.map(|((_, hash), place)| (hash, place)).collect();
    heads.sort_unstable();
    Ok(Rebuilt { changes, heads })
}

/// The rules of how a change continues the history of its device.
struct Histories<'a> {
    tables: &'a Tables<'a>,
    table: &'a Changes,
    /// The latest change of each actor so far; 0, which is the first change, where it has none.
    latest: Vec<u32>,
}

impl Histories<'_> {
    /// Adds the next change.
    ///
    /// # Errors
    /// The rule that it breaks.
    fn add(&mut self, k: usize, start_op: u32, deps: &[u32]) -> Result<(), &'static str> {
        let Changes { actor, seq, max_op, .. } = self.table;
        let author = actor[k];
        if deps.is_empty() || deps.iter().any(|dep| *dep as usize >= k) {
            return Err("it depends on nothing, or on a later change");
        }
        let history = |actor: u32| {
            let bytes = self.tables.actors[actor as usize];
            (&bytes[..16], bytes[bytes.len() - 1] & 1)
        };
        let is_same = |dep: &u32| {
            let of = actor[*dep as usize];
            of == author || (*dep > 0 && history(of) == history(author))
        };
        if *deps != [0] && !deps.iter().all(is_same) {
            return Err("it depends on another device or another history");
        }
        if deps.iter().any(|dep| max_op[*dep as usize] >= start_op) {
            return Err("its counters are not larger than those that it depends on");
        }
        let follows = match self.latest[author as usize] {
            0 => seq[k] == 1, // no earlier change has this actor, so none of `deps` has
            before => seq[k] == seq[before as usize] + 1 && deps.contains(&before),
        };
        if !follows {
            return Err("it does not follow the previous change of its actor");
        }
        self.latest[author as usize] = k as u32; // bounded far below 2^32
        Ok(())
    }

    fn has_unused_actor(&self, day: &[u8; 16]) -> bool {
        self.latest.iter().zip(&self.tables.actors).any(|(latest, actor)| *latest == 0 && actor != day)
    }
}

/// Bounds the memory of the changes: in a few bytes, the tables can name a key or a dependency many times.
fn check_size(table: &Changes, operations: &Operations, bounds: &Bounds) -> Result<(), Unreadable> {
    let texts = operations.key.iter().chain(&operations.text).map(|text| text.len() as u64).sum::<u64>();
    let rest = table.deps.len() * size_of::<Hash>() + table.actor.len() * CHANGE_BYTES;
    let size = texts + rest as u64;
    if size > bounds.rebuilt as u64 {
        return Err(Unreadable::too_large("bytes in its changes", size, bounds.rebuilt));
    }
    Ok(())
}

/// The rows of all puts, each as its counter and where it is in the table, ordered by actor and counter.
struct Rows {
    sorted: Vec<(u32, u32)>,
    /// Where each actor's rows begin; one more than there are actors.
    first_of_actor: Vec<usize>,
}

impl Rows {
    fn new(operations: &Operations, actors: usize) -> Rows {
        let ids = || operations.actor.iter().zip(&operations.counter).zip(0..).skip(ROOT);
        let mut first_of_actor = vec![0; actors + 1];
        ids().for_each(|((actor, _), _)| first_of_actor[*actor as usize + 1] += 1);
        (1..=actors).for_each(|actor| first_of_actor[actor] += first_of_actor[actor - 1]);
        let mut next = first_of_actor.clone();
        let mut sorted = vec![(0, 0); first_of_actor[actors]];
        for ((actor, counter), row) in ids() {
            sorted[next[*actor as usize]] = (*counter, row);
            next[*actor as usize] += 1;
        }
        for ends in first_of_actor.windows(2) {
            // Fast where it is in order already, since keys and counters both grow with time.
            sorted[ends[0]..ends[1]].sort_unstable();
        }
        Rows { sorted, first_of_actor }
    }

    /// The rows of an actor from one on that have at most this counter.
    fn up_to(&self, from: usize, actor: usize, max_op: u32) -> &[(u32, u32)] {
        let rows = &self.sorted[from..self.first_of_actor[actor + 1]];
        &rows[..rows.iter().take_while(|row| row.0 <= max_op).count()]
    }
}

/// The first counter, if the rows have each counter from it to `max_op` once.
fn contiguous(rows: &[(u32, u32)], max_op: u32) -> Option<u32> {
    let start = rows.first()?.0;
    let each_once = rows.iter().zip(start..).all(|(row, counter)| row.0 == counter);
    (each_once && rows.last()?.0 == max_op).then_some(start)
}
