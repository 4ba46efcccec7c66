//! Reading: days, entries with their history, kit, the answers of a day, the whole as JSON lines, and whether the file is sound.

use crate::Logbook;
use crate::listen::LongWork;
use firnbook_core::day::DayId;
use firnbook_core::entry::EntryId;
use firnbook_core::insight::debrief::Debrief;
use firnbook_core::insight::sheets::Sheet;
use firnbook_core::insight::tables::{RunRow, TargetRow};
use firnbook_core::insight::thresholds::Thresholds;
use firnbook_core::logbook::{Ask, HistoryStep};
use firnbook_core::phone::FirnbookError;
use firnbook_core::review::KitItem;
use firnbook_core::store::{DayRow, DayVerified, EntryRow, Filter};
use serde_json::Value;
use std::sync::Arc;

/// The thresholds where a team sets none of its own.
#[uniffi::export]
pub fn default_thresholds() -> Thresholds {
    Thresholds::default()
}

#[uniffi::export]
impl Logbook {
    /// All days, the latest last.
    pub fn days(&self) -> Result<Vec<DayRow>, FirnbookError> {
        self.with(|log| log.days())
    }

    /// The day of this name: its id, the beginning of its id, or a date that only one day has.
    pub fn find_day(&self, wanted: String) -> Result<DayId, FirnbookError> {
        self.with(|log| log.find_day(&wanted))
    }

    /// The entries that a filter lets through, in the order of day and time.
    pub fn entries(&self, filter: Filter) -> Result<Vec<EntryRow>, FirnbookError> {
        self.with(|log| log.entries(&filter))
    }

    /// The entries that a filter lets through as JSON lines, which `write_lines` and the command line read again.
    pub fn export_lines(&self, filter: Filter) -> Result<String, FirnbookError> {
        let lines =
            self.entries(filter)?.into_iter().map(|row| format!("{}\n", Value::Object(row.noted.json)));
        Ok(lines.collect())
    }

    /// The entries of a kind that a filter lets through as CSV, every field as it was written; the command line reads it again.
    pub fn export_csv(&self, kind: String, filter: Filter) -> Result<String, FirnbookError> {
        self.with(|log| log.entries_csv(&kind, &filter))
    }

    /// Who changed what of an entry, when and on which device; as written first.
    pub fn history(&self, day: DayId, id: EntryId) -> Result<Vec<HistoryStep>, FirnbookError> {
        self.with(|log| log.history(day, id))
    }

    /// Every piece of kit of all days, in the snow first.
    pub fn kit(&self) -> Result<Vec<KitItem>, FirnbookError> {
        self.with(|log| log.kit())
    }

    /// The answers of a day; with `drill` of that drill alone, with `curve` beside the marks of that published survival curve.
    #[uniffi::method(default(drill = None, curve = None, thresholds = None))]
    pub fn debrief(
        &self,
        day: DayId,
        drill: Option<String>,
        curve: Option<String>,
        thresholds: Option<Thresholds>,
    ) -> Result<Debrief, FirnbookError> {
        let thresholds = thresholds.unwrap_or_default();
        self.with(|log| {
            log.debrief(day, &Ask { drill: drill.as_deref(), curve: curve.as_deref(), thresholds })
        })
    }

    /// A sheet for each person of a day, with that person's figures alone.
    #[uniffi::method(default(thresholds = None))]
    pub fn sheets(&self, day: DayId, thresholds: Option<Thresholds>) -> Result<Vec<Sheet>, FirnbookError> {
        self.with(|log| log.sheets(day, &thresholds.unwrap_or_default()))
    }

    /// One row a target of a day: how it was set, and what its depths agree on.
    pub fn targets(&self, day: DayId) -> Result<Vec<TargetRow>, FirnbookError> {
        self.with(|log| Ok(log.tables(day)?.targets))
    }

    /// One row a run and target of a day: when each step was reached.
    pub fn runs(&self, day: DayId) -> Result<Vec<RunRow>, FirnbookError> {
        self.with(|log| Ok(log.tables(day)?.runs))
    }

    /// Checks every day: changes against their hashes, rows against the documents.
    #[uniffi::method(default(watch = None))]
    pub fn verify(&self, watch: Option<Arc<dyn LongWork>>) -> Result<Vec<DayVerified>, FirnbookError> {
        self.watched(watch, |log| log.verify())
    }
}
