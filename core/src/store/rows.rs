//! Reading the rows: lists, one day as a [`Record`], one entry.

use super::changes;
use super::{Store, StoreError};
use crate::day::{ClockName, DayId, DeviceId, Key, Noted, Record, Registers, Written};
use crate::entry::{Entry, EntryId, fold};
use chrono::NaiveDate;
use rusqlite::{Connection, OptionalExtension, Row, params};
use serde_json::{Map, Value};

/// A day as a list shows it.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DayRow {
    /// Identity.
    pub id: DayId,
    /// The date.
    pub date: NaiveDate,
    /// The area, as it is spelled; empty if nobody spelled it.
    pub area: String,
    /// Entries held, void and opaque ones too.
    pub entries: usize,
    /// Entries that this version can't read.
    pub opaque: usize,
    /// Devices that wrote entries.
    pub devices: Vec<DeviceId>,
    /// Changes that wait for their causes.
    pub waiting: usize,
    /// Someone closed the day.
    pub closed: bool,
}

/// A day as answers name it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Dated {
    /// Identity.
    pub id: DayId,
    /// The date.
    pub date: NaiveDate,
    /// The area, as it is spelled; empty if nobody spelled it.
    pub area: String,
}

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

const ENTRY: &str =
    "SELECT e.id, e.device, e.clock_device, e.clock, e.json, e.void, e.unsettled FROM entry e";

impl Store {
    /// All days, the latest last.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn days(&self) -> Result<Vec<DayRow>, StoreError> {
        let mut days = Vec::new();
        for (n, Dated { id, date, area }) in self.numbered()? {
            let (mut entries, mut opaque, mut devices) = (0, 0, Vec::new());
            let sql = "SELECT device, count(*), sum(opaque) FROM entry WHERE day = ?1 GROUP BY device ORDER BY device";
            let mut by_device = self.conn.prepare_cached(sql)?;
            let mut counts = by_device.query([n])?;
            while let Some(row) = counts.next()? {
                devices.extend(row.get_ref(0)?.as_str().unwrap_or_default().parse::<DeviceId>());
                entries += usize::try_from(row.get::<_, i64>(1)?).unwrap_or(0);
                opaque += usize::try_from(row.get::<_, i64>(2)?).unwrap_or(0);
            }
            let closed =
                "SELECT 1 FROM scalar WHERE day = ?1 AND key >= 'day/closed:' AND key < 'day/closed;'";
            days.push(DayRow {
                id,
                date,
                area,
                entries,
                opaque,
                devices,
                waiting: changes::waiting_count(&self.conn, id)?,
                closed: self.conn.prepare_cached(closed)?.exists([n])?,
            });
        }
        Ok(days)
    }

    /// All days, the latest last, without a look at their entries.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`].
    pub fn dated(&self) -> Result<Vec<Dated>, StoreError> {
        Ok(self.numbered()?.into_iter().map(|(_, day)| day).collect())
    }

    fn numbered(&self) -> Result<Vec<(i64, Dated)>, StoreError> {
        let mut statement = self.conn.prepare_cached("SELECT n, id, date FROM day ORDER BY date, n")?;
        let mut rows = statement.query([])?;
        let mut days = Vec::new();
        while let Some(row) = rows.next()? {
            let n: i64 = row.get(0)?;
            let word = |i: usize| row.get_ref(i).map(|v| v.as_str().unwrap_or_default());
            if let (Ok(id), Ok(date)) = (word(1)?.parse(), word(2)?.parse()) {
                days.push((n, Dated { id, date, area: area(&self.conn, n)? }));
            }
        }
        Ok(days)
    }

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
        let sql = format!(
            "{ENTRY} JOIN day d ON d.n = e.day WHERE (?1 IS NULL OR d.id = ?1) AND (?2 IS NULL OR e.kind = ?2) \
             AND (?3 IS NULL OR e.at_ms >= ?3) AND (?4 IS NULL OR e.at_ms < ?4) AND (?5 OR e.void IS NULL) \
             ORDER BY d.date, e.day, e.at_ms, e.id"
        )
        .replace("e.unsettled FROM", "e.unsettled, d.id FROM");
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
            let day: String = row.get(7)?;
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
        let mut statement = self.conn.prepare_cached(
            "SELECT d.id, e.id FROM entry e JOIN day d ON d.n = e.day WHERE substr(e.id, -length(?1)) = ?1 LIMIT 50",
        )?;
        let rows = statement
            .query_map([ending.to_uppercase()], |r| Ok((r.get::<_, String>(0)?, r.get::<_, String>(1)?)))?;
        let rows: Vec<(String, String)> = rows.collect::<Result<_, _>>()?;
        Ok(rows.iter().filter_map(|(day, id)| Some((day.parse().ok()?, id.parse().ok()?))).collect())
    }

    /// The entry that this device wrote last, whatever time it tells of; with `day`, in that day.
    ///
    /// # Errors
    /// [`StoreError::Sqlite`], or a damaged change.
    pub fn last_written(&self, day: Option<DayId>) -> Result<Option<(DayId, EntryId)>, StoreError> {
        let mut statement = self.conn.prepare_cached(
            "SELECT d.id, c.bytes FROM change c JOIN day d ON d.n = c.day \
             WHERE (?1 IS NULL OR d.id = ?1) AND substr(c.actor, 1, 8) = ?2 ORDER BY c.n DESC",
        )?;
        let mut rows = statement.query(params![day.map(|d| d.to_string()), self.device.0])?;
        while let Some(row) = rows.next()? {
            let Ok(day) = row.get_ref(0)?.as_str().unwrap_or_default().parse() else { continue };
            let done = crate::day::change::read(day, &changes::parse(row.get(1)?)?)?;
            let entry = done.iter().rev().find_map(|d| match d.key {
                Key::Entry(id) => Some((day, id)),
                _ => None,
            });
            if entry.is_some() {
                return Ok(entry);
            }
        }
        Ok(None)
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
    let mut rows = statement.query(params![day, id.to_string()])?;
    Ok(rows.next()?.map(read).transpose()?.flatten())
}

pub(super) fn body(conn: &Connection, day: i64, id: EntryId) -> Result<Option<String>, StoreError> {
    let sql = "SELECT text FROM scalar WHERE day = ?1 AND key = ?2 ORDER BY counter DESC, actor DESC LIMIT 1";
    Ok(conn.prepare_cached(sql)?.query_row(params![day, id.to_string()], |r| r.get(0)).optional()?)
}

fn read(row: &Row<'_>) -> Result<Option<Noted>, StoreError> {
    let word = |i: usize| row.get_ref(i).map(|v| v.as_str().unwrap_or_default());
    let (Ok(id), Ok(device), Ok(clock_device)) = (word(0)?.parse(), word(1)?.parse(), word(2)?.parse())
    else {
        return Ok(None);
    };
    let text = word(4)?.to_owned();
    let json = match serde_json::from_str(&text) {
        Ok(Value::Object(map)) => map,
        _ => Map::new(),
    };
    let honest = json.get("id").and_then(Value::as_str) == Some(word(0)?);
    let entry = if honest { Entry::from_json(&json).ok() } else { None };
    let at_clock = ClockName { device: clock_device, clock: word(3)?.to_owned() };
    let unsettled = word(6)?.split_whitespace().map(str::to_owned).collect();
    Ok(Some(Noted { id, entry, json, text, device, at_clock, void: row.get(5)?, unsettled }))
}

/// Every register, and of entries that several bodies were written for, the bodies.
pub(super) fn registers(conn: &Connection, day: i64) -> Result<Registers, StoreError> {
    let mut statement = conn.prepare_cached(
        "SELECT key, counter, actor, text FROM scalar WHERE day = ?1 AND NOT body \
         UNION ALL SELECT s.key, s.counter, s.actor, s.text FROM entry e JOIN scalar s ON s.day = e.day AND s.key = e.id \
         WHERE e.day = ?1 AND e.bodies > 1 ORDER BY 1, 2 DESC, 3 DESC",
    )?;
    let mut rows = statement.query([day])?;
    let mut registers = Registers::default();
    while let Some(row) = rows.next()? {
        let key = Key::read(row.get_ref(0)?.as_str().unwrap_or_default());
        let written = Written { actor: row.get(2)?, text: row.get(3)? };
        registers.0.entry(key).or_default().push(written.saying());
    }
    Ok(registers)
}

/// The spelling of the area: of several the smallest.
fn area(conn: &Connection, day: i64) -> Result<String, StoreError> {
    let texts: Vec<String> =
        column(conn, "SELECT text FROM scalar WHERE day = ?1 AND key = 'day/area'", day)?;
    let spelled = texts.iter().map(|t| crate::day::Saying::read(t, DeviceId([0; 8])).v);
    Ok(spelled.filter_map(|v| v.as_str().map(str::to_owned)).min().unwrap_or_default())
}

fn column(conn: &Connection, sql: &str, day: i64) -> Result<Vec<String>, StoreError> {
    let mut statement = conn.prepare_cached(sql)?;
    let rows = statement.query_map([day], |r| r.get(0))?;
    Ok(rows.collect::<Result<_, _>>()?)
}
