//! Writing entries.

use crate::Logbook;
use firnbook_core::day::DayId;
use firnbook_core::entry::{Body, CallSign, Common, Entry, EntryId};
use firnbook_core::logbook::{DayBegun, Draft, LogReport};
use firnbook_core::phone::{Date, FirnbookError};
use serde_json::Value;

uniffi::use_remote_type!(firnbook_core::Date);

#[uniffi::export]
impl Logbook {
    /// Begins the day on `date` in `area`; the same day again is found, not begun twice.
    pub fn begin_day(&self, date: Date, area: String, by: CallSign) -> Result<DayBegun, FirnbookError> {
        self.with(|log| log.begin_day(date, &area, &by.0))
    }

    /// The fields that every entry has, stamped now: a fresh id, this instant, the writer. Add drill, target and the like, and write.
    pub fn stamp(&self, by: CallSign) -> Result<Common, FirnbookError> {
        self.with(|log| log.stamp(by))
    }

    /// Writes one entry; it is on the disk when this returns. The kind in `common` follows from the body.
    pub fn write(&self, day: DayId, common: Common, body: Body) -> Result<EntryId, FirnbookError> {
        let entry = Entry::new(common, body);
        let (id, by) = (entry.common.id, entry.common.by.0.clone());
        let draft = Draft { json: entry.to_json(), line: None };
        self.with(|log| log.log(day, &by, vec![draft], false))?;
        self.tell_written(day, &[id]);
        Ok(id)
    }

    /// Writes entries from JSON lines, all of them or none. The same lines again are the same entries.
    pub fn write_lines(&self, day: DayId, by: CallSign, lines: String) -> Result<LogReport, FirnbookError> {
        let drafts = lines.lines().enumerate().filter(|(_, text)| !text.trim().is_empty());
        let drafts = drafts.map(|(n, text)| draft(n + 1, text)).collect::<Result<Vec<_>, _>>()?;
        let report = self.with(|log| log.log(day, &by.0, drafts, false))?;
        self.tell_written(day, &report.ids);
        Ok(report)
    }
}

fn draft(line: usize, text: &str) -> Result<Draft, FirnbookError> {
    match serde_json::from_str(text) {
        Ok(Value::Object(json)) => Ok(Draft { json, line: Some(line) }),
        Ok(_) => Err(FirnbookError::value("line", line, "is no JSON object")),
        Err(why) => Err(FirnbookError::value("line", line, why)),
    }
}
