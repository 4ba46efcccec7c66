//! Answers: the debrief of a day, which days a season's answer is made from, the rows of the export's tables.

use super::reading::DayRead;
use super::season::{GROUND, RUNS};
use super::{Logbook, LogbookError};
use crate::clock::TimeLine;
use crate::day::{DayId, Groups, Record, sha256_hex};
use crate::entry::{Drill, Kind, fold};
use crate::insight::debrief::{self, Debrief, Given};
use crate::insight::events::{self, DisturbanceRow, MeasurementRow};
use crate::insight::left_out::Tally;
use crate::insight::made::Made;
use crate::insight::reference::Reference;
use crate::insight::site::{self, Site};
use crate::insight::tables::{self, RunRow, TargetRow};
use crate::insight::thresholds::Thresholds;
use crate::insight::view::View;
use crate::store::{CellRow, Dated, StoreError};
use chrono::NaiveDate;

/// What a debrief is asked for.
#[derive(Clone, Copy, Debug, Default)]
pub struct Ask<'a> {
    /// Only this drill, by label.
    pub drill: Option<&'a str>,
    /// The published survival curve whose marks stand beside the time lines, by name.
    pub curve: Option<&'a str>,
    /// The thresholds in force.
    pub thresholds: Thresholds,
}

/// Which days a season's answer is made from; what is absent does not narrow it.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, Default)]
pub struct Season {
    /// From this date on.
    pub since: Option<NaiveDate>,
    /// Up to this date, inclusive.
    pub until: Option<NaiveDate>,
    /// In this area, by label.
    pub area: Option<String>,
    /// Only this day.
    pub day: Option<DayId>,
}

/// The rows of one day in the export tables that no single entry holds.
#[derive(Clone, Debug)]
pub struct DayTables {
    /// One row a target.
    pub targets: Vec<TargetRow>,
    /// One row a run and target.
    pub runs: Vec<RunRow>,
    /// One row a depth of a target.
    pub measurements: Vec<MeasurementRow>,
    /// One row a disturbance.
    pub disturbances: Vec<DisturbanceRow>,
}

/// The days before this one that a team's own medians come from, at the most.
const EARLIER_DAYS: usize = 30;

impl Logbook {
    /// The debrief of a day.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn debrief(&self, day: DayId, ask: &Ask<'_>) -> Result<Debrief, LogbookError> {
        let reference = ask.curve.map(Reference::named).transpose().map_err(LogbookError::Usage)?;
        let read = DayRead::of(self.record(day)?);
        let (items, kit) = self.review_of(&read)?;
        Ok(debrief::debrief(
            &read.view(),
            Given {
                assumed_twins: read.one_event.proposed.len(),
                clocks: &read.clocks,
                thresholds: &ask.thresholds,
                kit,
                items,
                earlier_runs: &self.runs_before(&read.record, &ask.thresholds)?,
                only_drill: ask.drill,
                reference,
                heads_sha256: &self.heads_sha256(&[day])?,
            },
        ))
    }

    /// Where things lay and where people walked, one a drill.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn sites(&self, day: DayId, ask: &Ask<'_>) -> Result<Vec<Site>, LogbookError> {
        let kinds: Vec<&str> = GROUND.into_iter().chain(["strike", "depth", "track"]).collect();
        let record = self.store.record_of(day, &kinds)?;
        Ok(site::sites(&DayRead::of(record).view(), ask.drill, &ask.thresholds))
    }

    fn runs_before(&self, record: &Record, thresholds: &Thresholds) -> Result<Vec<RunRow>, LogbookError> {
        let (mut runs, mut fresh) = (Vec::new(), Vec::new());
        let days = self.store.dates()?;
        for (day, _) in days.iter().rev().filter(|(_, date)| *date < record.date).take(EARLIER_DAYS) {
            runs.extend(self.of_day(&RUNS, *day, thresholds, &mut fresh)?.rows);
        }
        self.keep(&mut fresh);
        Ok(runs)
    }

    /// The days of a season, the earliest first.
    ///
    /// # Errors
    /// The store's.
    pub fn days_of(&self, season: &Season) -> Result<Vec<Dated>, LogbookError> {
        let mut days = self.store.dated()?;
        days.retain(|d| {
            season.since.is_none_or(|since| d.date >= since)
                && season.until.is_none_or(|until| d.date <= until)
                && season.area.as_ref().is_none_or(|area| fold(area) == fold(&d.area))
                && season.day.is_none_or(|day| day == d.id)
        });
        Ok(days)
    }

    /// SHA-256 over the sorted heads of these days, hex: equal heads, equal entries.
    ///
    /// # Errors
    /// The store's.
    pub fn heads_sha256(&self, days: &[DayId]) -> Result<String, LogbookError> {
        let mut heads = Vec::new();
        for day in days {
            heads.extend(self.store.heads(*day)?.iter().map(|h| crate::crew::hex(h)));
        }
        heads.sort();
        Ok(sha256_hex(heads.join("\n").as_bytes()))
    }

    /// How an answer over these days was made.
    ///
    /// # Errors
    /// The store's.
    pub fn made(&self, season: &Season, days: &[Dated]) -> Result<Made, LogbookError> {
        let ids: Vec<DayId> = days.iter().map(|d| d.id).collect();
        let mut made = Made::from_heads(&self.heads_sha256(&ids)?);
        let filters = [
            ("since", season.since.map(|d| d.to_string())),
            ("until", season.until.map(|d| d.to_string())),
            ("area", season.area.clone()),
            ("day", season.day.map(|d| d.to_string())),
        ];
        made.filters.extend(filters.into_iter().filter_map(|(key, value)| Some((key.to_owned(), value?))));
        Ok(made)
    }

    /// The rows of the export tables of one day that no single entry holds.
    ///
    /// # Errors
    /// The store's.
    pub fn tables(&self, day: DayId) -> Result<DayTables, LogbookError> {
        let read = DayRead::of(self.record(day)?);
        let view = read.view();
        let mut left_out = Tally::default();
        Ok(DayTables {
            targets: tables::targets(&view, &mut left_out),
            runs: tables::runs(&view, &mut left_out),
            measurements: events::measurements(&view),
            disturbances: events::disturbances(&view),
        })
    }

    /// Every drill of a day as its entries together declare it.
    ///
    /// # Errors
    /// The store's.
    pub fn drills(&self, day: DayId) -> Result<Vec<Drill>, LogbookError> {
        let record = self.store.record_of(day, &["drill"])?;
        let groups = Groups::of(&record);
        let clocks = TimeLine::of(&record);
        let view = View::new(&record, &groups, &clocks);
        Ok(view.drills().iter().map(|folded| view.drill(folded)).collect())
    }

    /// Hands every entry of a kind that a day counts to `each`, as typed cells; stops at its first error.
    ///
    /// # Errors
    /// The store's, and what `each` says.
    pub fn cells<E: From<LogbookError>>(
        &self,
        day: DayId,
        kind: &Kind,
        mut each: impl FnMut(&CellRow<'_>) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut failed = None;
        let told = self.store.cells(day, kind, |row| {
            each(row).map_err(|e| {
                failed = Some(e);
                Halt::Each
            })
        });
        match (told, failed) {
            (Ok(()), _) => Ok(()),
            (Err(_), Some(e)) => Err(e),
            (Err(Halt::Store(e)), None) => Err(LogbookError::from(e).into()),
            (Err(Halt::Each), None) => Ok(()),
        }
    }
}

/// Why a scan of cells ended early.
enum Halt {
    Each,
    Store(StoreError),
}

impl From<StoreError> for Halt {
    fn from(error: StoreError) -> Halt {
        Halt::Store(error)
    }
}
