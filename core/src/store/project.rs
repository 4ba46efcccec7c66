//! From changes to rows: each text that a change puts becomes an entry or a value of a register, and entries are brought up to what is said of them.

use super::StoreError;
use crate::day::{Actor, Body, Change, Hash, Key, Noted, Registers, Written, effective, live};
use crate::entry::{Entry, EntryId, Time};
use rusqlite::{CachedStatement, Connection, OptionalExtension, Row, params};
use std::collections::BTreeSet;

/// What a transaction did to the entries of a day.
#[derive(Default)]
pub(super) struct Projected<'c> {
    /// Entries about which something was said, or of which another body came.
    touched: BTreeSet<EntryId>,
    /// Whether any register of the day is about an entry; `None` before it was looked up.
    about_entries: Option<bool>,
    /// Held from one entry to the next: looking it up for each takes longer than binding it.
    insert: Option<CachedStatement<'c>>,
    /// Entries first seen.
    pub new: usize,
    /// Entries held before that are other now.
    pub amended: usize,
}

/// Puts the texts of a change into the rows of its day; [`refresh`] must follow.
pub(super) fn add<'c>(
    conn: &'c Connection,
    day: i64,
    actor: i64,
    change: &Change,
    projected: &mut Projected<'c>,
) -> Result<(), StoreError> {
    for (put, counter) in change.puts.iter().zip(change.start_op..) {
        let value = Value { counter, actor, hash: change.hash, text: &put.text };
        match Key::read(&put.key) {
            Key::Entry(id) => add_body(conn, day, id, change.seq, &value, projected)?,
            key => {
                value.insert(conn, day, &put.key)?;
                if let Some(id) = key.entry() {
                    projected.touched.insert(id);
                    projected.about_entries = Some(true);
                }
            }
        }
    }
    Ok(())
}

/// Takes the texts of a change out of the rows of its day; [`refresh`] must follow.
pub(super) fn remove(
    conn: &Connection,
    day: i64,
    change: &Change,
    projected: &mut Projected<'_>,
) -> Result<(), StoreError> {
    for put in &change.puts {
        let sql = "DELETE FROM register WHERE day = ?1 AND key = ?2 AND hash = ?3";
        conn.prepare_cached(sql)?.execute(params![day, put.key, change.hash])?;
        let Some(id) = Key::read(&put.key).entry() else { continue };
        projected.touched.insert(id);
        if put.key == id.to_string() && values(conn, day, &put.key)?.is_empty() {
            let sql = "DELETE FROM entry WHERE day = ?1 AND id = ?2";
            conn.prepare_cached(sql)?.execute(params![day, id.to_bytes()])?;
        }
    }
    Ok(())
}

struct Value<'a> {
    counter: u32,
    actor: i64,
    hash: Hash,
    text: &'a str,
}

impl Value<'_> {
    fn insert(&self, conn: &Connection, day: i64, key: &str) -> Result<(), StoreError> {
        let sql =
            "INSERT INTO register (day, key, counter, actor, hash, text) VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
        conn.prepare_cached(sql)?.execute(params![
            day,
            key,
            self.counter,
            self.actor,
            self.hash,
            self.text
        ])?;
        Ok(())
    }
}

/// An entry whose body came. Only where something else is said of it too does its body go into the registers' table.
fn add_body<'c>(
    conn: &'c Connection,
    day: i64,
    id: EntryId,
    seq: u32,
    value: &Value<'_>,
    projected: &mut Projected<'c>,
) -> Result<(), StoreError> {
    let read = Columns::of(value.text, id);
    let insert = match &mut projected.insert {
        Some(insert) => insert,
        none => none.insert(conn.prepare_cached(INSERT)?),
    };
    let new = insert.execute(params![
        day,
        id.to_bytes(),
        read.kind,
        read.at.map(Time::millis),
        read.at.map(Time::utc_offset_min),
        value.actor,
        seq,
        value.text,
        read.opaque
    ])?;
    if new == 0 {
        // A second body of one id, or one whose id came back.
        keep_body(conn, day, id)?;
        value.insert(conn, day, &id.to_string())?;
        projected.touched.insert(id);
        return Ok(());
    }
    projected.new += 1;
    if !projected.about_entries(conn, day)? {
        return Ok(());
    }
    let key = id.to_string();
    let said = "SELECT 1 FROM register WHERE day = ?1 AND key > ?2 AND key < ?2 || '~' LIMIT 1";
    if conn.prepare_cached(said)?.exists(params![day, key])? {
        value.insert(conn, day, &key)?;
        projected.touched.insert(id);
    }
    Ok(())
}

const INSERT: &str = "INSERT OR IGNORE INTO entry (day, id, kind, at_ms, utc_offset_min, actor, seq, json, opaque, bodies) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, 1)";

impl Projected<'_> {
    /// Whether any register of the day is about an entry: ids of entries begin with a digit below 8, and no other key does.
    fn about_entries(&mut self, conn: &Connection, day: i64) -> Result<bool, StoreError> {
        if let Some(known) = self.about_entries {
            return Ok(known);
        }
        let sql = "SELECT 1 FROM register WHERE day = ?1 AND key >= '0' AND key < '8' LIMIT 1";
        let found = conn.prepare_cached(sql)?.exists([day])?;
        self.about_entries = Some(found);
        Ok(found)
    }
}

/// Puts the body of an entry that is as it was first written among the registers.
fn keep_body(conn: &Connection, day: i64, id: EntryId) -> Result<(), StoreError> {
    let key = id.to_string();
    if !values(conn, day, &key)?.is_empty() {
        return Ok(());
    }
    let sql = "SELECT actor, seq, json FROM entry WHERE day = ?1 AND id = ?2";
    let row = conn.prepare_cached(sql)?.query_row(params![day, id.to_bytes()], |r| {
        Ok((r.get::<_, i64>(0)?, r.get::<_, u32>(1)?, r.get::<_, String>(2)?))
    });
    let Some((actor, seq, text)) = row.optional()? else { return Ok(()) };
    let change = super::changes::at(conn, day, actor, seq)?;
    let counter = change.puts.iter().zip(change.start_op..).find(|(put, _)| put.key == key);
    let Some((_, counter)) = counter else { return Err(StoreError::LostBody { entry: key }) };
    Value { counter, actor, hash: change.hash, text: &text }.insert(conn, day, &key)
}

/// Brings the rows of the touched entries up to what is said of them.
pub(super) fn refresh(conn: &Connection, day: i64, projected: &mut Projected<'_>) -> Result<(), StoreError> {
    for id in std::mem::take(&mut projected.touched) {
        keep_body(conn, day, id)?;
        let (bodies, registers) = about(conn, day, id)?;
        if bodies.is_empty() {
            // Something said of an entry whose body has not come.
            continue;
        }
        let sql = "SELECT json FROM entry WHERE day = ?1 AND id = ?2";
        let held: Option<String> =
            conn.prepare_cached(sql)?.query_row(params![day, id.to_bytes()], |r| r.get(0)).optional()?;
        let list: Vec<Body> = bodies.iter().map(|(_, written)| written.body()).collect();
        let noted = effective(id, &list, &registers);
        projected.amended += usize::from(held.is_some_and(|json| json != noted.text));
        let from = bodies.iter().find(|(_, w)| w.device() == noted.device).map_or(0, |(actor, _)| *actor);
        write(conn, day, &noted, from, bodies.len())?;
    }
    Ok(())
}

/// Bodies, each with the number of its actor, the one that is shown first, and the live registers of an entry.
fn about(conn: &Connection, day: i64, id: EntryId) -> Result<(Vec<(i64, Written)>, Registers), StoreError> {
    let mut statement = conn.prepare_cached(&format!(
        "{VALUE} WHERE r.day = ?1 AND r.key >= ?2 AND r.key < ?2 || '~' ORDER BY r.key"
    ))?;
    let mut rows = statement.query(params![day, id.to_string()])?;
    let mut bodies: Vec<(i64, Written)> = Vec::new();
    let mut said: Vec<(Key, Vec<Written>)> = Vec::new();
    while let Some(row) = rows.next()? {
        let (written, key) = (value(row)?, Key::read(row.get_ref(4)?.as_str().unwrap_or_default()));
        match (key, said.last_mut()) {
            (Key::Entry(_), _) => bodies.push((row.get(5)?, written)),
            (key, Some((last, values))) if *last == key => values.push(written),
            (key, _) => said.push((key, vec![written])),
        }
    }
    bodies.sort_by_key(|(_, w)| std::cmp::Reverse((w.counter, w.actor)));
    let sayings = |values| live(values).iter().map(Written::saying).collect();
    let registers = said.into_iter().map(|(key, values)| (key, sayings(values))).collect();
    Ok((bodies, Registers(registers)))
}

fn write(conn: &Connection, day: i64, noted: &Noted, actor: i64, bodies: usize) -> Result<(), StoreError> {
    let (at, kind) = (noted.at(), noted.json.get("kind").and_then(|v| v.as_str()).unwrap_or_default());
    let own = noted.json.get("clock").and_then(|v| v.as_str()).unwrap_or_default();
    let amended = noted.at_clock.device != noted.device || noted.at_clock.clock != own;
    let clock = amended.then_some((noted.at_clock.device.0, &noted.at_clock.clock));
    let unsettled = (!noted.unsettled.is_empty()).then(|| noted.unsettled.join(" "));
    let sql = "INSERT INTO entry (day, id, kind, at_ms, utc_offset_min, actor, seq, json, opaque, bodies, void, unsettled, clock_device, clock)
        VALUES (?1, ?2, ?3, ?4, ?5, ?6, 0, ?7, ?8, ?9, ?10, ?11, ?12, ?13)
        ON CONFLICT (day, id) DO UPDATE SET kind = ?3, at_ms = ?4, utc_offset_min = ?5, actor = ?6, json = ?7, opaque = ?8, bodies = ?9,
            void = ?10, unsettled = ?11, clock_device = ?12, clock = ?13";
    conn.prepare_cached(sql)?.execute(params![
        day,
        noted.id.to_bytes(),
        kind,
        at.map(Time::millis),
        at.map(Time::utc_offset_min),
        actor,
        noted.text,
        noted.entry.is_none(),
        bodies.cast_signed(),
        noted.void,
        unsettled,
        clock.map(|(device, _)| device),
        clock.map(|(_, clock)| clock),
    ])?;
    Ok(())
}

/// What the columns of an entry's row say, read from its text.
struct Columns {
    kind: String,
    at: Option<Time>,
    opaque: bool,
}

impl Columns {
    fn of(text: &str, id: EntryId) -> Columns {
        if let Some((kind, at)) = Entry::glance(text, id) {
            return Columns { kind, at: Some(at), opaque: false };
        }
        let noted = effective(
            id,
            &[Body { text: text.to_owned(), device: crate::day::DeviceId([0; 16]) }],
            &Registers::default(),
        );
        let kind = noted.json.get("kind").and_then(|v| v.as_str()).unwrap_or_default().to_owned();
        Columns { kind, at: noted.at(), opaque: noted.entry.is_none() }
    }
}

/// A value of a register: counter, actor, hash, text, key, number of the actor.
pub(super) const VALUE: &str =
    "SELECT r.counter, a.actor, r.hash, r.text, r.key, r.actor FROM register r JOIN actor a ON a.n = r.actor";

pub(super) fn value(row: &Row<'_>) -> rusqlite::Result<Written> {
    Ok(Written { counter: row.get(0)?, actor: Actor(row.get(1)?), hash: row.get(2)?, text: row.get(3)? })
}

/// Every value under a key that stands among the registers.
pub(super) fn values(conn: &Connection, day: i64, key: &str) -> Result<Vec<Written>, StoreError> {
    let mut statement = conn.prepare_cached(&format!("{VALUE} WHERE r.day = ?1 AND r.key = ?2"))?;
    let rows = statement.query_map(params![day, key], value)?;
    Ok(rows.collect::<Result<_, _>>()?)
}
