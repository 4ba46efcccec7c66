//! From changes to rows, without a document: every operation of a change takes away what it has seen and puts its own value.
//!
//! That is what an Automerge map does; `verify` and the tests hold these rows against the document's own reading.

use super::StoreError;
use super::columns;
use crate::day::change::{self, OpName};
use crate::day::{Body, DayId, Key, Noted, Registers, Written, effective};
use crate::entry::{EntryId, KINDS};
use automerge::Change;
use rusqlite::{Connection, OptionalExtension, params, params_from_iter};
use std::collections::BTreeSet;

/// What folding changes did to the entries.
#[derive(Debug, Default)]
pub(super) struct Folded {
    /// Entries that changes spoke of.
    pub touched: BTreeSet<EntryId>,
    /// Entries first seen.
    pub new: usize,
    /// Entries held before whose effective JSON is another one now.
    pub amended: usize,
}

/// Folds one change into the scalars; entries are then refreshed by [`refresh`].
///
/// # Errors
/// For a change that writes over a body.
pub(super) fn fold(
    conn: &Connection,
    day: i64,
    id: DayId,
    change: &Change,
    folded: &mut Folded,
) -> Result<(), StoreError> {
    let mut drop = conn
        .prepare_cached("DELETE FROM scalar WHERE day = ?1 AND key = ?2 AND counter = ?3 AND actor = ?4")?;
    let mut put = conn.prepare_cached("INSERT OR REPLACE INTO scalar VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?;
    for done in change::read(id, change)? {
        let key = done.key.to_string();
        for (counter, actor) in &done.seen {
            drop.execute(params![day, key, counter.cast_signed(), actor])?;
        }
        if let (text @ Some(_), (counter, actor)) = (&done.text, &done.name) {
            put.execute(params![
                day,
                key,
                counter.cast_signed(),
                actor,
                text,
                matches!(done.key, Key::Entry(_))
            ])?;
        }
        folded.touched.extend(done.key.entry());
    }
    Ok(())
}

/// The operations that stand under a key.
pub(super) fn standing(conn: &Connection, day: i64, key: &Key) -> Result<Vec<OpName>, StoreError> {
    let mut statement =
        conn.prepare_cached("SELECT counter, actor FROM scalar WHERE day = ?1 AND key = ?2")?;
    let rows = statement
        .query_map(params![day, key.to_string()], |r| Ok((r.get::<_, i64>(0)?.cast_unsigned(), r.get(1)?)))?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// Makes the rows of the touched entries anew.
pub(super) fn refresh(conn: &Connection, day: i64, folded: &mut Folded) -> Result<(), StoreError> {
    let mut old = conn.prepare_cached("SELECT kind, json FROM entry WHERE day = ?1 AND id = ?2")?;
    for id in std::mem::take(&mut folded.touched) {
        let held: Option<(String, String)> =
            old.query_row(params![day, id.to_string()], |r| Ok((r.get(0)?, r.get(1)?))).optional()?;
        let (bodies, registers) = about(conn, day, id)?;
        if bodies.is_empty() {
            // A register of an entry whose body this version can't see.
            continue;
        }
        let noted = effective(id, &bodies, &registers);
        match &held {
            None => folded.new += 1,
            Some((kind, json)) => {
                folded.amended += usize::from(*json != noted.text);
                delete(conn, day, &id.to_string(), kind)?;
            }
        }
        insert(conn, day, &noted, bodies.len())?;
    }
    Ok(())
}

fn about(conn: &Connection, day: i64, id: EntryId) -> Result<(Vec<Body>, Registers), StoreError> {
    let mut statement = conn.prepare_cached(
        "SELECT key, actor, text FROM scalar WHERE day = ?1 AND key >= ?2 AND key < ?2 || '~' ORDER BY key, counter DESC, actor DESC",
    )?;
    let mut bodies = Vec::new();
    let mut registers = Registers::default();
    let mut rows = statement.query(params![day, id.to_string()])?;
    while let Some(row) = rows.next()? {
        let written = Written { actor: row.get(1)?, text: row.get(2)? };
        match Key::read(row.get_ref(0)?.as_str().unwrap_or_default()) {
            Key::Entry(_) => bodies.push(written.body()),
            key => registers.0.entry(key).or_default().push(written.saying()),
        }
    }
    Ok((bodies, registers))
}

fn delete(conn: &Connection, day: i64, id: &str, kind: &str) -> Result<(), StoreError> {
    conn.prepare_cached("DELETE FROM entry WHERE day = ?1 AND id = ?2")?.execute(params![day, id])?;
    if KINDS.iter().any(|k| k.name == kind) {
        conn.prepare_cached(&format!("DELETE FROM \"{kind}\" WHERE day = ?1 AND id = ?2"))?
            .execute(params![day, id])?;
    }
    Ok(())
}

fn insert(conn: &Connection, day: i64, noted: &Noted, bodies: usize) -> Result<(), StoreError> {
    let word = |key: &str| noted.json.get(key).and_then(|v| v.as_str()).unwrap_or_default();
    let at = noted.at();
    let id = noted.id.to_string();
    let unsettled = noted.unsettled.join(" ");
    conn.prepare_cached(
        "INSERT INTO entry VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
    )?
    .execute(params![
        id,
        day,
        word("kind"),
        at.map(crate::entry::Time::millis),
        at.map(crate::entry::Time::utc_offset_min),
        word("by"),
        noted.device.to_string(),
        noted.at_clock.device.to_string(),
        noted.at_clock.clock,
        noted.text,
        noted.entry.is_none(),
        noted.void,
        unsettled,
        bodies.cast_signed(),
    ])?;
    let Some(kind) = noted.entry.as_ref().and_then(|e| crate::entry::kind(e.body.kind())) else {
        return Ok(());
    };
    let ends = [noted.void.clone().into(), unsettled.into()];
    let fields = kind.fields.iter().map(|f| columns::value(f, &noted.json));
    let begins = [day.into(), at.map(crate::entry::Time::millis).into()];
    let row = begins.into_iter().chain(fields).chain(ends);
    conn.prepare_cached(&columns::insert(kind))?.execute(params_from_iter(row))?;
    Ok(())
}
