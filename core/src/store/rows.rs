//! Reading the rows: lists, one day as a [`Record`], one entry.

use super::days::area;
use super::project::{VALUE, value};
use super::{Store, StoreError};
use crate::day::{ClockName, DayId, DeviceId, Key, Noted, Record, Registers, Written, live};
use crate::entry::{Entry, EntryId, fold};
use rusqlite::{Connection, OptionalExtension, Row, params};
use serde_json::{Map, Value};

/// An entry as a list shows it.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq)]
pub struct EntryRow {
    /// The day.
    pub day: DayId,
    /// The entry.
    pub noted: Noted,
}

/// Which entries a list shows; what is absent does not narrow it.
#[cfg_attr(feature = "uniffi", firnbook_across::record(flags))]
#[derive(Clone, Debug, Default)]
pub struct Filter {
    /// One day.
    pub day: Option<DayId>,
    /// One kind.
    pub kind: Option<String>,
    /// One drill, by label.
    pub drill: Option<String>,
    /// One target, by label.
    pub target: Option<String>,
    /// One writer, by call sign.
    pub by: Option<String>,
    /// From this instant on.
    pub since_ms: Option<i64>,
    /// Up to this instant, exclusive.
    pub until_ms: Option<i64>,
    /// Show void entries too.
    pub void: bool,
}

const ENTRY: &str = "SELECT e.id, a.actor, e.clock_device, e.clock, e.json, e.void, e.unsettled, e.opaque FROM entry e JOIN actor a ON a.n = e.actor";

impl Store {
    /// Everything that a day says.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn record(&self, day: DayId) -> Result<Record, StoreError> {
        record(&self.conn, day, &[])
    }

    /// What a day says in entries of these kinds only, for answers over many days that need no others.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn record_of(&self, day: DayId, kinds: &[&str]) -> Result<Record, StoreError> {
        record(&self.conn, day, kinds)
    }

    /// The entries that a filter lets through, in the order of day and time.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn entries(&self, filter: &Filter) -> Result<Vec<EntryRow>, StoreError> {
        // Said only where a day is asked for, so that SQLite goes through its entries and no others.
        let of_day =
            if filter.day.is_some() { "e.day = (SELECT n FROM day WHERE id = ?1)" } else { "?1 IS NULL" };
        let sql = format!(
            "{ENTRY} JOIN day d ON d.n = e.day WHERE {of_day} AND (?2 IS NULL OR e.kind = ?2) \
             AND (?3 IS NULL OR e.at_ms >= ?3) AND (?4 IS NULL OR e.at_ms < ?4) AND (?5 OR e.void IS NULL) \
             ORDER BY d.date, e.day, e.at_ms, e.id"
        )
        .replace("e.opaque FROM", "e.opaque, d.id FROM");
        let mut statement = self.conn.prepare_cached(&sql)?;
        let day = filter.day.map(|d| d.to_string());
        let mut rows =
            statement.query(params![day, filter.kind, filter.since_ms, filter.until_ms, filter.void])?;
        let label = |noted: &Noted, field: &str, wanted: &Option<String>| {
            let own = noted.json.get("kind").and_then(Value::as_str) == Some(field);
            let value = if own { noted.json.get("label") } else { noted.json.get(field) };
            wanted.as_ref().is_none_or(|w| value.and_then(Value::as_str).is_some_and(|v| fold(v) == fold(w)))
        };
        let mut found = Vec::new();
        while let Some(row) = rows.next()? {
            let Some(noted) = read(row)? else { continue };
            let day: String = row.get(8)?;
            let fits = label(&noted, "drill", &filter.drill)
                && label(&noted, "target", &filter.target)
                && label(&noted, "by", &filter.by);
            if let (true, Ok(day)) = (fits, day.parse()) {
                found.push(EntryRow { day, noted });
            }
        }
        Ok(found)
    }

    /// The entries whose id ends in `ending`, each with its day.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn find(&self, ending: &str) -> Result<Vec<(DayId, EntryId)>, StoreError> {
        let mut statement =
            self.conn.prepare_cached("SELECT d.id, e.id FROM entry e JOIN day d ON d.n = e.day")?;
        let ending = ending.to_uppercase();
        let mut rows = statement.query([])?;
        let mut found = Vec::new();
        while let (Some(row), true) = (rows.next()?, found.len() < 50) {
            let id = EntryId::from_bytes(row.get(1)?);
            if let (true, Ok(day)) =
                (id.to_string().ends_with(&ending), row.get_ref(0)?.as_str().unwrap_or_default().parse())
            {
                found.push((day, id));
            }
        }
        Ok(found)
    }

    /// The entry that this device wrote last, whatever time it tells of; with `day`, in that day.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`], or a damaged change.
    pub fn last_written(&self, day: Option<DayId>) -> Result<Option<(DayId, EntryId)>, StoreError> {
        let sql = "SELECT d.id, e.id FROM entry e JOIN day d ON d.n = e.day JOIN actor a ON a.n = e.actor \
            WHERE (?1 IS NULL OR d.id = ?1) AND substr(a.actor, 1, 16) = ?2 ORDER BY e.n DESC LIMIT 1";
        let mut statement = self.conn.prepare_cached(sql)?;
        let day = day.map(|d| d.to_string());
        let row =
            statement.query_row(params![day, self.device().0], |r| Ok((r.get::<_, String>(0)?, r.get(1)?)));
        Ok(row.optional()?.and_then(|(day, id)| Some((day.parse().ok()?, EntryId::from_bytes(id)))))
    }

    /// One entry of a day.
    ///
    /// # Errors
    /// [`StoreError::NoDay`] or SQLite's.
    pub fn entry(&self, day: DayId, id: EntryId) -> Result<Option<Noted>, StoreError> {
        noted(&self.conn, number(&self.conn, day)?, id)
    }

    /// The connection, for the statistics' own scans.
    pub(crate) fn sql(&self) -> &Connection {
        &self.conn
    }
}

/// The number by which the rows name a day.
pub(super) fn number(conn: &Connection, day: DayId) -> Result<i64, StoreError> {
    let mut statement = conn.prepare_cached("SELECT n FROM day WHERE id = ?1")?;
    statement.query_row([day.to_string()], |r| r.get(0)).optional()?.ok_or(StoreError::NoDay(day))
}

/// A day in entries of `kinds`, or of all kinds where none are named.
pub(super) fn record(conn: &Connection, day: DayId, kinds: &[&str]) -> Result<Record, StoreError> {
    let n = number(conn, day)?;
    let date: String =
        conn.prepare_cached("SELECT date FROM day WHERE n = ?1")?.query_row([n], |r| r.get(0))?;
    let only = match kinds {
        [] => "?2 = '[]'",
        // One kind is read by the index; of several SQLite reads the day.
        [_] => "e.kind = json_extract(?2, '$[0]')",
        _ => "e.kind IN (SELECT value FROM json_each(?2))",
    };
    let mut statement =
        conn.prepare_cached(&format!("{ENTRY} WHERE e.day = ?1 AND {only} ORDER BY e.at_ms, e.id"))?;
    let mut rows = statement.query(params![n, serde_json::json!(kinds).to_string()])?;
    let mut entries = Vec::new();
    while let Some(row) = rows.next()? {
        entries.extend(read(row)?);
    }
    Ok(Record {
        id: day,
        date: date.parse().unwrap_or_default(),
        area: area(conn, n)?,
        entries,
        registers: registers(conn, n)?,
    })
}

pub(super) fn noted(conn: &Connection, day: i64, id: EntryId) -> Result<Option<Noted>, StoreError> {
    let mut statement = conn.prepare_cached(&format!("{ENTRY} WHERE e.day = ?1 AND e.id = ?2"))?;
    let mut rows = statement.query(params![day, id.to_bytes()])?;
    Ok(rows.next()?.map(read).transpose()?.flatten())
}

pub(super) fn body(conn: &Connection, day: DayId, id: EntryId) -> Result<Option<String>, StoreError> {
    let n = number(conn, day)?;
    let mut bodies = super::project::values(conn, n, &id.to_string())?;
    bodies.sort_by_key(|b| (b.counter, b.actor));
    if let Some(body) = bodies.pop() {
        return Ok(Some(body.text));
    }
    // Where nothing else is said of an entry, it is as it was written.
    let sql = "SELECT json FROM entry WHERE day = ?1 AND id = ?2";
    Ok(conn.prepare_cached(sql)?.query_row(params![n, id.to_bytes()], |r| r.get(0)).optional()?)
}

fn read(row: &Row<'_>) -> Result<Option<Noted>, StoreError> {
    let id = EntryId::from_bytes(row.get(0)?);
    let device = crate::day::Actor(row.get(1)?).device();
    let text = row.get_ref(4)?.as_str().unwrap_or_default().to_owned();
    let json = match serde_json::from_str(&text) {
        Ok(Value::Object(map)) => map,
        _ => Map::new(),
    };
    let entry = if row.get(7)? { None } else { Entry::from_json(&json).ok() };
    let at_clock = match row.get::<_, Option<[u8; 16]>>(2)? {
        Some(device) => ClockName { device: DeviceId(device), clock: row.get(3)? },
        None => {
            let clock = json.get("clock").and_then(Value::as_str).unwrap_or_default().to_owned();
            ClockName { device, clock }
        }
    };
    let unsettled =
        row.get_ref(6)?.as_str().unwrap_or_default().split_whitespace().map(str::to_owned).collect();
    Ok(Some(Noted { id, entry, json, text, device, at_clock, void: row.get(5)?, unsettled }))
}

/// Every register, and of entries that several bodies were written for, the bodies.
pub(super) fn registers(conn: &Connection, day: i64) -> Result<Registers, StoreError> {
    let mut statement = conn.prepare_cached(&format!("{VALUE} WHERE r.day = ?1 ORDER BY r.key"))?;
    let mut rows = statement.query([day])?;
    let mut said: Vec<(String, Vec<Written>)> = Vec::new();
    while let Some(row) = rows.next()? {
        let key = row.get_ref(4)?.as_str().unwrap_or_default();
        match said.last_mut() {
            Some((last, values)) if last == key => values.push(value(row)?),
            _ => said.push((key.to_owned(), vec![value(row)?])),
        }
    }
    let mut registers = Registers::default();
    for (key, mut values) in said {
        let key = Key::read(&key);
        if !matches!(key, Key::Entry(_)) {
            values = live(values);
        } else if values.len() < 2 {
            continue;
        } else {
            values.sort_by_key(|v| std::cmp::Reverse((v.counter, v.actor)));
        }
        registers.0.insert(key, values.iter().map(Written::saying).collect());
    }
    Ok(registers)
}
