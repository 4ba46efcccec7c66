//! Answers over the days of a season: rows of each day, and from them the figures. Days are read one after the other, never all at once.

use super::reading::DayRead;
use super::{Logbook, LogbookError, Season};
use crate::day::DayId;
use crate::entry::Step;
use crate::insight::season::checks::{self, SeasonChecks};
use crate::insight::season::digging::{self, SeasonDigging};
use crate::insight::season::footing::Basis;
use crate::insight::season::group::GroupBy;
use crate::insight::season::interference::{self, SeasonInterference};
use crate::insight::season::methods::{self, Methods};
use crate::insight::season::person::{self, PersonStats, Who, WhoError};
use crate::insight::season::times::{self, Times, TimesAsk};
use crate::insight::sheets::{self, Sheet};
use crate::insight::tables;
use crate::insight::thresholds::Thresholds;
use crate::insight::view::View;

/// Kinds that say who, where and by which clock, which every answer needs.
const GROUND: [&str; 6] = ["drill", "target", "person", "moment", "clock", "clock_mark"];

impl Logbook {
    /// Times from start to each step, in which a run that ended before counts until then.
    ///
    /// # Errors
    /// [`LogbookError::Usage`] for a grouping, horizon or test that can't be used, else the store's.
    pub fn times(&self, season: &Season, ask: &TimesAsk) -> Result<Times, LogbookError> {
        let mut runs = Vec::new();
        let basis = self.over_days(season, &["strike", "depth"], |view, basis| {
            runs.extend(tables::runs(view, &mut basis.left_out))
        })?;
        times::times(&runs, ask, basis).map_err(usage)
    }

    /// Ways of measuring a depth against each other.
    ///
    /// # Errors
    /// [`LogbookError::Usage`] for a grouping that targets do not allow, else the store's.
    pub fn methods(
        &self,
        season: &Season,
        by: Option<GroupBy>,
        thresholds: &Thresholds,
    ) -> Result<Methods, LogbookError> {
        let mut rows = Vec::new();
        let basis = self.over_days(season, &["strike", "depth"], |view, basis| {
            rows.extend(methods::method_rows(view, &mut basis.left_out))
        })?;
        methods::methods(&rows, by, thresholds, basis).map_err(usage)
    }

    /// The group checks.
    ///
    /// # Errors
    /// [`LogbookError::Usage`] for a grouping that checks do not allow, else the store's.
    pub fn checks(
        &self,
        season: &Season,
        by: Option<GroupBy>,
        thresholds: &Thresholds,
    ) -> Result<SeasonChecks, LogbookError> {
        let mut rows = Vec::new();
        let basis = self.over_days(season, &["check"], |view, basis| {
            rows.extend(checks::check_rows(view, &mut basis.left_out))
        })?;
        checks::checks(&rows, by, thresholds, basis).map_err(usage)
    }

    /// Turns at the shovels, and what digging times depend on.
    ///
    /// # Errors
    /// [`LogbookError::Usage`] for a grouping that turns do not allow, else the store's.
    pub fn digging(
        &self,
        season: &Season,
        by: Option<GroupBy>,
        thresholds: &Thresholds,
    ) -> Result<SeasonDigging, LogbookError> {
        let (mut turns, mut runs) = (Vec::new(), Vec::new());
        let basis = self.over_days(season, &["strike", "depth", "rotation"], |view, basis| {
            turns.extend(digging::turn_rows(view, thresholds, &mut basis.left_out));
            runs.extend(tables::runs(view, &mut basis.left_out));
        })?;
        digging::digging(&turns, &runs, by, thresholds, basis).map_err(usage)
    }

    /// What disturbed, and how runs with it compare with runs for which none was written, to `step`.
    ///
    /// # Errors
    /// [`LogbookError::Usage`] for a grouping that runs do not allow, else the store's.
    pub fn interference(
        &self,
        season: &Season,
        step: Step,
        by: Option<GroupBy>,
        thresholds: &Thresholds,
    ) -> Result<SeasonInterference, LogbookError> {
        let (mut rows, mut runs) = (Vec::new(), Vec::new());
        let basis = self.over_days(season, &["strike", "depth", "interference"], |view, basis| {
            rows.extend(interference::interference_rows(view, &mut basis.left_out));
            runs.extend(tables::runs(view, &mut basis.left_out));
        })?;
        interference::interference(&rows, &runs, step, by, thresholds, basis).map_err(usage)
    }

    /// One person over a season: `name` is a call sign or a member code. Days are joined by the member code alone.
    ///
    /// # Errors
    /// [`LogbookError::Usage`] for a name that stands for nobody or for several people, else the store's.
    pub fn person(
        &self,
        season: &Season,
        name: &str,
        thresholds: &Thresholds,
    ) -> Result<PersonStats, LogbookError> {
        let kinds = ["strike", "depth", "rotation"];
        let (mut heard, mut is_member) = (Vec::new(), false);
        self.over_days(season, &kinds, |view, _| {
            heard.extend(person::sighting(view, name));
            is_member |= person::has_member(view, name);
        })?;
        let who = match Who::of(name, &heard) {
            Err(WhoError::Nobody(member)) if is_member => Who::Member(member),
            told => told.map_err(usage)?,
        };
        let mut rows = Vec::new();
        let mut basis = self.over_days(season, &kinds, |view, basis| {
            rows.extend(person::person_rows(view, &who, thresholds, &mut basis.left_out))
        })?;
        basis.made.filters.insert("person".to_owned(), name.to_owned());
        Ok(person::person(&rows, basis))
    }

    /// A sheet for each person of a day, with that person's figures alone.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn sheets(&self, day: DayId, thresholds: &Thresholds) -> Result<Vec<Sheet>, LogbookError> {
        Ok(sheets::sheets(&DayRead::of(self.record(day)?).view(), thresholds))
    }

    /// Looks at each day of a season in entries of [`GROUND`] and of `kinds`.
    fn over_days(
        &self,
        season: &Season,
        kinds: &[&str],
        mut look: impl FnMut(&View<'_>, &mut Basis),
    ) -> Result<Basis, LogbookError> {
        let days = self.days_of(season)?;
        let mut basis = Basis { made: self.made(season, &days)?, ..Basis::default() };
        let kinds: Vec<&str> = GROUND.iter().chain(kinds).copied().collect();
        for (done, day) in days.iter().enumerate() {
            self.step(done, days.len())?;
            let read = DayRead::of(self.store.record_of(day.id, &kinds)?);
            basis.assumed_twins += read.one_event.proposed.len();
            look(&read.view(), &mut basis);
        }
        Ok(basis)
    }
}

fn usage(error: impl std::fmt::Display) -> LogbookError {
    LogbookError::Usage(error.to_string())
}
