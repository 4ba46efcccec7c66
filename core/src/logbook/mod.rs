//! The one door: a [`Logbook`] opens a store, writes entries, merges what others wrote, says what needs a person and answers.
//!
//! Phones and the command line stand on this alone. Nothing here prints, reads the environment or asks the wall clock by itself.

mod adopt;
mod answers;
mod carry;
mod close;
mod correct;
mod crew;
mod error;
mod live;
mod reading;
mod recorder;
mod season;
mod settle;
mod sheet;
mod watch;
mod write;

pub use adopt::EntryAside;
pub use answers::{Ask, DayTables, Season};
pub use carry::{DayMerged, Merged, PackSignature, Packed, PackedBy};
pub use close::{Seal, SealSignature};
pub use correct::{Changed, HistoryStep};
pub use crew::{CrewDevice, CrewShown, INVITATION_HOURS_MAX};
pub use error::{CrewError, LineFault, LogbookError};
pub use recorder::*;
pub use sheet::SheetRow;
pub use watch::Watch;
pub use write::{Done, Draft, LogReport, RowDone};

use crate::clock::Clock;
use crate::day::{DayId, DeviceId, Key, Record, json_equal};
use crate::entry::{ENTRY_BYTES_MAX, EntryId, Fault, KINDS, TextForm, Time, kind};
use crate::store::{DayRow, DayVerified, EntryRow, Filter, Store};
use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Value, json};
use std::path::Path;
use std::sync::Arc;

/// A store with a clock: what a phone or a base laptop works on. One thread at a time.
pub struct Logbook {
    store: Store,
    clock: Arc<dyn Clock>,
    watch: Option<Box<dyn Watch>>,
}

/// An instant as this device shows it.
#[derive(Clone, Debug)]
struct Stamp {
    at: Time,
    /// As the common field `clock` of entries: absent for the device's first.
    clock: Option<String>,
}

impl Stamp {
    /// A register: the value, who says so, when and by which clock.
    fn register(&self, v: Value, by: &str) -> Value {
        let mut register = json!({ "v": v, "by": by, "at": self.at });
        if let Some(clock) = &self.clock {
            register["clock"] = json!(clock);
        }
        register
    }
}

/// The text of an entry or of a register; `what` names it where it is refused.
///
/// # Errors
/// A text of more than [`ENTRY_BYTES_MAX`].
fn bounded(what: &str, json: &Value) -> Result<String, Fault> {
    let text = json.to_string();
    if text.len() <= ENTRY_BYTES_MAX {
        return Ok(text);
    }
    let why = format!("has {} bytes as JSON; write at most {ENTRY_BYTES_MAX}, which is 1 MiB", text.len());
    Err(Fault::new(what, "", why))
}

/// A day that was begun, or found begun already.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct DayBegun {
    /// Identity.
    pub day: DayId,
    /// The area, as it is spelled.
    pub area: String,
    /// The date.
    pub date: NaiveDate,
    /// Entries held.
    pub entries: usize,
    /// Hashes of the latest changes.
    pub heads: Vec<String>,
    /// Someone closed the day.
    pub closed: bool,
    /// It was begun by this call.
    pub begun: bool,
}

impl Logbook {
    /// Opens the store at `path`, or makes it.
    ///
    /// # Errors
    /// [`LogbookError::Store`] where the file is something else, newer, or can't be written.
    pub fn open(path: &Path, clock: Box<dyn Clock>) -> Result<Logbook, LogbookError> {
        Ok(Logbook { store: Store::open(path)?, clock: Arc::from(clock), watch: None })
    }

    /// This device.
    #[must_use]
    pub fn device(&self) -> DeviceId {
        self.store.device()
    }

    /// The file of the store.
    #[must_use]
    pub fn path(&self) -> &Path {
        self.store.path()
    }

    /// The present instant by this logbook's clock.
    #[must_use]
    pub fn now(&self) -> Time {
        self.clock.now()
    }

    /// Begins the day on `date` in `area`; the same day again is found, not begun twice. An area in another spelling is the same day.
    ///
    /// # Errors
    /// [`LogbookError::NoArea`] or [`LogbookError::Refused`], else the store's.
    pub fn begin_day(&mut self, date: NaiveDate, area: &str, by: &str) -> Result<DayBegun, LogbookError> {
        let area = area.trim();
        if area.is_empty() {
            return Err(LogbookError::NoArea);
        }
        if let Some(why) = TextForm::Line.fault(area) {
            return Err(Fault::new("area", area, why).into());
        }
        let (text, spelled) = (bounded("area", &self.clocked()?.register(json!(area), by))?, json!(area));
        let (day, begun) = self.store.begin(date, area)?;
        self.store.write::<_, LogbookError>(|seen| {
            let held = seen.record(day)?;
            let known =
                held.registers.all(&Key::Area).iter().any(|s| json_equal(&s.v, &spelled) || s.v.is_string());
            Ok((if known { Vec::new() } else { vec![(day, vec![(Key::Area, text)])] }, ()))
        })?;
        self.day(day).map(|d| DayBegun { begun, ..d })
    }

    /// One day, shortly.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn day(&self, day: DayId) -> Result<DayBegun, LogbookError> {
        let heads = self.store.heads(day)?.iter().map(|h| crate::crew::hex(h)).collect();
        let row = self.store.day_row(day)?;
        Ok(DayBegun {
            day,
            area: row.area,
            date: row.date,
            entries: row.entries,
            heads,
            closed: row.closed,
            begun: false,
        })
    }

    /// All days, the latest last.
    ///
    /// # Errors
    /// The store's.
    pub fn days(&self) -> Result<Vec<DayRow>, LogbookError> {
        Ok(self.store.days()?)
    }

    /// A day as a list shows it.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn day_row(&self, day: DayId) -> Result<DayRow, LogbookError> {
        Ok(self.store.day_row(day)?)
    }

    /// The ids of all days, the latest last.
    ///
    /// # Errors
    /// The store's.
    pub fn day_ids(&self) -> Result<Vec<DayId>, LogbookError> {
        Ok(self.store.dates()?.into_iter().map(|(day, _)| day).collect())
    }

    /// The day of the latest date; of several the one begun last here.
    ///
    /// # Errors
    /// The store's.
    pub fn latest_day(&self) -> Result<Option<DayRow>, LogbookError> {
        let latest = self.store.dates()?.pop();
        Ok(latest.map(|(day, _)| self.store.day_row(day)).transpose()?)
    }

    /// The day of this name: its id, the beginning of its id, or a date that only one day has.
    ///
    /// # Errors
    /// [`LogbookError::NoDay`] or [`LogbookError::SeveralDays`].
    pub fn find_day(&self, wanted: &str) -> Result<DayId, LogbookError> {
        let days = self.store.dates()?;
        let wanted_lower = wanted.trim().to_lowercase();
        let fits = |(id, date): &&(DayId, NaiveDate)| {
            !wanted_lower.is_empty()
                && (id.to_string().starts_with(&wanted_lower) || date.to_string() == wanted_lower)
        };
        let found: Vec<DayId> = days.iter().filter(fits).map(|(id, _)| *id).collect();
        let rows =
            |ids: &[DayId]| ids.iter().map(|id| self.store.day_row(*id)).collect::<Result<Vec<_>, _>>();
        match found.as_slice() {
            [day] => Ok(*day),
            [] => {
                let latest: Vec<DayId> = days.iter().rev().take(5).map(|(id, _)| *id).collect();
                let shown: Vec<String> =
                    rows(&latest)?.iter().map(|d| format!("{} ({})", d.date, d.area)).collect();
                let advice = if shown.is_empty() {
                    "it holds no day yet; begin one with `firnbook day new --area NAME`".to_owned()
                } else {
                    format!("the latest are {}", shown.join(", "))
                };
                Err(LogbookError::NoDay { wanted: wanted.to_owned(), advice })
            }
            several => Err(LogbookError::SeveralDays {
                wanted: wanted.to_owned(),
                found: rows(several)?.iter().map(|d| format!("{} ({})", d.id, d.area)).collect(),
            }),
        }
    }

    /// The entries that these texts name: any unique ending of an id, or `last` for the one that this device wrote last. With
    /// `day`, only that day's.
    ///
    /// # Errors
    /// [`LogbookError::NoEntry`] or [`LogbookError::SeveralEntries`].
    pub fn resolve(
        &self,
        wanted: &[String],
        day: Option<DayId>,
    ) -> Result<Vec<(DayId, EntryId)>, LogbookError> {
        let mut found = Vec::new();
        for text in wanted {
            if text == "last" {
                let none = "this device has written no entry yet; name one by the end of its id, `firnbook entries --ids` shows them";
                let last = self.store.last_written(day)?;
                found.push(last.ok_or_else(|| LogbookError::Usage(none.to_owned()))?);
                continue;
            }
            let mut here = self.store.find(text.trim())?;
            here.retain(|(d, _)| day.is_none_or(|wanted| wanted == *d));
            match here.as_slice() {
                [one] => found.push(*one),
                [] => return Err(self.no_entry(text, day)),
                several => {
                    let found = several.iter().map(|(day, id)| format!("{id} (day {day})")).collect();
                    return Err(LogbookError::SeveralEntries { wanted: text.clone(), found });
                }
            }
        }
        Ok(found)
    }

    /// Why no entry of this name counts.
    fn no_entry(&self, text: &str, day: Option<DayId>) -> LogbookError {
        let ending = text.trim().to_uppercase();
        let days = day.map_or_else(|| self.day_ids().unwrap_or_default(), |day| vec![day]);
        let aside = days.iter().filter_map(|day| self.entries_aside(*day).ok()).flatten();
        match aside.filter(|_| !ending.is_empty()).find(|e| e.id.to_string().ends_with(&ending)) {
            Some(entry) => LogbookError::NotCounted { id: entry.id, withdrawn: entry.withdrawn },
            None => LogbookError::NoEntry(text.to_owned()),
        }
    }

    /// The entries that a filter lets through, in the order of day and time.
    ///
    /// # Errors
    /// The store's.
    pub fn entries(&self, filter: &Filter) -> Result<Vec<EntryRow>, LogbookError> {
        Ok(self.store.entries(filter)?)
    }

    /// The entries of a kind that a filter lets through, as CSV with a header: every field as it was written, and in the column `rest` what this
    /// version has no name for. The door reads it again.
    ///
    /// # Errors
    /// [`LogbookError::Refused`] for a word that is no kind, else the store's.
    pub fn entries_csv(&self, kind_word: &str, filter: &Filter) -> Result<String, LogbookError> {
        let kind = kind(kind_word).ok_or_else(|| {
            let words: Vec<&str> = KINDS.iter().map(|k| k.name.as_str()).collect();
            let why = format!("is no kind; there are {}", words.join(", "));
            LogbookError::Refused(vec![LineFault { line: None, fault: Fault::new("kind", kind_word, why) }])
        })?;
        let mut writer = csv::Writer::from_writer(Vec::new());
        // Writing into memory does not fail, and every line has as many cells as the header.
        let _ = writer.write_record(kind.csv_headers());
        for row in self.entries(&Filter { kind: Some(kind.name.clone()), ..filter.clone() })? {
            if row.noted.entry.is_some() {
                let _ = writer.write_record(kind.csv_cells(&row.day.to_string(), &row.noted.json));
            }
        }
        Ok(String::from_utf8_lossy(&writer.into_inner().unwrap_or_default()).into_owned())
    }

    /// Everything that a day says.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn record(&self, day: DayId) -> Result<Record, LogbookError> {
        Ok(self.store.record(day)?)
    }

    /// Checks every day: changes against their hashes and signatures, rows against the changes.
    ///
    /// # Errors
    /// The store's; what is wrong with a day stands in the answer.
    pub fn verify(&self) -> Result<Vec<DayVerified>, LogbookError> {
        let days = self.days()?;
        let one = |(done, day): (usize, &DayRow)| {
            self.step(done, days.len())?;
            Ok(self.store.verify(day.id)?)
        };
        days.iter().enumerate().map(one).collect()
    }

    /// Makes the rows of all days anew from the changes.
    ///
    /// # Errors
    /// The store's.
    pub fn rebuild(&mut self) -> Result<(), LogbookError> {
        Ok(self.store.rebuild()?)
    }

    /// The present instant, and which of this device's clocks shows it.
    fn clocked(&mut self) -> Result<Stamp, LogbookError> {
        let at = self.clock.now();
        let number = self.store.clock_number(at.millis(), self.clock.since_boot().as_ref())?;
        Ok(Stamp { at, clock: (number > 1).then(|| number.to_string()) })
    }
}
