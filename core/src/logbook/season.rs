//! Answers over the days of a season: rows of each day, and from them the figures. Days are read one after the other, never all at once, and the
//! rows are kept with the day, so that the next answer reads again only the days that say something else.

use super::reading::DayRead;
use super::{Logbook, LogbookError, Season};
use crate::day::{DayId, Noted};
use crate::entry::{EntryId, Step};
use crate::insight::left_out::{Tally, reason};
use crate::insight::season::checks::{self, CheckRow, SeasonChecks};
use crate::insight::season::depth::{DepthAsk, DepthOf, DepthStats, Depths};
use crate::insight::season::digging::{self, SeasonDigging, TurnRow};
use crate::insight::season::footing::Basis;
use crate::insight::season::group::GroupBy;
use crate::insight::season::interference::{self, InterferenceRow, SeasonInterference};
use crate::insight::season::methods::{self, MethodRow, Methods};
use crate::insight::season::person::{self, DayPeople, PersonStats};
use crate::insight::season::rows::DayDepths;
use crate::insight::season::times::{self, Times, TimesAsk};
use crate::insight::season::who::{Who, WhoError};
use crate::insight::sheets::{self, Sheet};
use crate::insight::tables::{self, RunRow};
use crate::insight::thresholds::Thresholds;
use crate::insight::view::View;
use crate::review::{self, KitEvent};
use crate::store::Kept;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;

/// Kinds that say who, where and by which clock, which every question needs.
pub(super) const GROUND: [&str; 6] = ["drill", "target", "person", "moment", "clock", "clock_mark"];

/// What a question takes from a day.
pub(super) struct Question<R> {
    pub name: &'static str,
    /// The kinds that tell it, besides those of [`GROUND`]; of twins these count.
    kinds: &'static [&'static str],
    rows: fn(&View<'_>, &Thresholds, &mut Tally) -> R,
}

impl<R> Question<R> {
    fn is_told_by(&self, noted: &Noted) -> bool {
        noted.entry.as_ref().is_some_and(|e| self.kinds.contains(&e.body.kind()))
    }
}

/// The rows of a day, and what of it is not in them.
#[derive(Serialize, Deserialize)]
pub(super) struct OfDay<R> {
    pub rows: R,
    left_out: Tally,
    assumed_twins: usize,
}

pub(super) const KIT: Question<Vec<KitEvent>> = Question {
    name: "kit",
    kinds: &["kit", "strike"],
    rows: |view, _, _| review::kit_events(view.record, &view.things, view.clocks),
};

pub(super) const RUNS: Question<Vec<RunRow>> = Question {
    name: "runs",
    kinds: &["strike", "depth"],
    rows: |view, _, left_out| tables::runs(view, left_out),
};
const FOUND: Question<DayDepths> = Question {
    name: "found",
    kinds: &["strike", "depth"],
    rows: |view, _, left_out| DayDepths::of(view, DepthOf::Found, left_out),
};
const SET: Question<DayDepths> = Question {
    name: "set",
    kinds: &[],
    rows: |view, _, left_out| DayDepths::of(view, DepthOf::Set, left_out),
};
const METHODS: Question<Vec<MethodRow>> = Question {
    name: "methods",
    kinds: &["strike", "depth"],
    rows: |view, _, left_out| methods::method_rows(view, left_out),
};
const CHECKS: Question<Vec<CheckRow>> = Question {
    name: "checks",
    kinds: &["check"],
    rows: |view, _, left_out| checks::check_rows(view, left_out),
};
const DIGGING: Question<(Vec<TurnRow>, Vec<RunRow>)> = Question {
    name: "digging",
    kinds: &["moment", "strike", "depth", "rotation"],
    rows: |view, thresholds, left_out| {
        (digging::turn_rows(view, thresholds, left_out), tables::runs(view, left_out))
    },
};
const INTERFERENCE: Question<(Vec<InterferenceRow>, Vec<RunRow>)> = Question {
    name: "interference",
    kinds: &["moment", "strike", "depth", "interference"],
    rows: |view, _, left_out| (interference::interference_rows(view, left_out), tables::runs(view, left_out)),
};

const PEOPLE: Question<DayPeople> = Question {
    name: "people",
    kinds: &["moment", "strike", "depth", "rotation"],
    rows: |view, thresholds, _| DayPeople::of(view, thresholds),
};

/// Days whose rows are kept in one transaction, at the most.
const KEPT_AT_ONCE: usize = 64;

impl Logbook {
    /// How deep targets lie.
    ///
    /// # Errors
    /// The store's.
    pub fn depth(
        &self,
        season: &Season,
        ask: DepthAsk,
        thresholds: &Thresholds,
    ) -> Result<DepthStats, LogbookError> {
        let question = match ask.of {
            DepthOf::Found => &FOUND,
            DepthOf::Set => &SET,
        };
        let by = ask.group_by;
        let (mut depths, mut day) = (Depths::new(ask), 0);
        let mut basis = self.over_days(season, question, thresholds, |rows| {
            rows.push(day, by, thresholds, &mut depths);
            day += 1;
        })?;
        if by == Some(GroupBy::Season) {
            basis.made.settings.insert("season_start_month".to_owned(), thresholds.season_start_month);
        }
        depths.besides(&basis.left_out, basis.assumed_twins);
        Ok(depths.finish(basis.made))
    }

    /// Times from start to each step, in which a run that ended before counts until then.
    ///
    /// # Errors
    /// [`LogbookError::Usage`] for a grouping, horizon or test that can't be used, else the store's.
    pub fn times(&self, season: &Season, ask: &TimesAsk) -> Result<Times, LogbookError> {
        let mut runs = Vec::new();
        let basis = self.over_days(season, &RUNS, &ask.thresholds, |rows| runs.extend(rows))?;
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
        let mut targets = Vec::new();
        let basis = self.over_days(season, &METHODS, thresholds, |rows| targets.extend(rows))?;
        methods::methods(&targets, by, thresholds, basis).map_err(usage)
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
        let mut all = Vec::new();
        let basis = self.over_days(season, &CHECKS, thresholds, |rows| all.extend(rows))?;
        checks::checks(&all, by, thresholds, basis).map_err(usage)
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
        let basis = self.over_days(season, &DIGGING, thresholds, |(of_day, in_runs)| {
            turns.extend(of_day);
            runs.extend(in_runs);
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
        let (mut disturbances, mut runs) = (Vec::new(), Vec::new());
        let basis = self.over_days(season, &INTERFERENCE, thresholds, |(of_day, in_runs)| {
            disturbances.extend(of_day);
            runs.extend(in_runs);
        })?;
        interference::interference(&disturbances, &runs, step, by, thresholds, basis).map_err(usage)
    }

    /// One person over a season: `name` is a call sign or a member code. Days are joined by the member code alone.
    ///
    /// # Errors
    /// [`LogbookError::Who`] for a name that stands for nobody or for several people, [`LogbookError::Usage`] for a grouping that values of one
    /// person do not allow, else the store's.
    pub fn person(
        &self,
        season: &Season,
        name: &str,
        by: Option<GroupBy>,
        thresholds: &Thresholds,
    ) -> Result<PersonStats, LogbookError> {
        let (mut heard, mut is_member) = (Vec::new(), false);
        self.over_days(season, &PEOPLE, thresholds, |people| {
            heard.extend(people.sighting(name));
            is_member |= people.has_member(name);
        })?;
        let who = match Who::of(name, &heard) {
            Err(WhoError::Nobody(member)) if is_member => Who::Member(member),
            told => told?,
        };
        let (mut rows, mut left_out) = (Vec::new(), Tally::default());
        let mut basis = self.over_days(season, &PEOPLE, thresholds, |people| {
            rows.extend(people.rows(&who, &mut left_out));
        })?;
        basis.left_out.merge(&left_out);
        basis.made.filters.insert("person".to_owned(), name.to_owned());
        person::person(&rows, by, thresholds, basis).map_err(usage)
    }

    /// A sheet for each person of a day, with that person's figures alone.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn sheets(&self, day: DayId, thresholds: &Thresholds) -> Result<Vec<Sheet>, LogbookError> {
        Ok(sheets::sheets(&DayRead::of(self.record(day)?).view(), thresholds))
    }

    /// What a day gives to a question: kept rows where it still says the same, else new ones, which are added to `fresh`.
    pub(super) fn of_day<R: Serialize + DeserializeOwned>(
        &self,
        question: &Question<R>,
        day: DayId,
        thresholds: &Thresholds,
        fresh: &mut Vec<Kept>,
    ) -> Result<OfDay<R>, LogbookError> {
        let heads = self.store.heads(day)?;
        let made_with = format!("{} {thresholds:?}", env!("FIRNBOOK_SOURCE"));
        let from = Sha256::new().chain_update(made_with).chain_update(heads.as_flattened()).finalize().into();
        let kept = self.store.kept(day, question.name, from)?;
        if let Some(of_day) = kept.and_then(|rows| postcard::from_bytes(&rows).ok()) {
            return Ok(of_day);
        }
        let kinds: Vec<&str> = GROUND.iter().chain(question.kinds).copied().collect();
        let read = DayRead::of(self.store.record_of(day, &kinds)?);
        let mut left_out = Tally::default();
        let rows = (question.rows)(&read.view(), thresholds, &mut left_out);
        left_out.add_n(reason::OPAQUE, self.store.opaque(day)?);
        let telling: BTreeSet<EntryId> =
            read.record.entries.iter().filter(|e| question.is_told_by(e)).map(|e| e.id).collect();
        let assumed_twins = read.one_event.proposed.iter().filter(|(one, _)| telling.contains(one)).count();
        let of_day = OfDay { rows, left_out, assumed_twins };
        if let Ok(rows) = postcard::to_allocvec(&of_day) {
            fresh.push(Kept { day, question: question.name, from, rows });
        }
        Ok(of_day)
    }

    /// Keeps rows for the next time. Where that fails, on a full disk say, they are made again then.
    pub(super) fn keep(&self, fresh: &mut Vec<Kept>) {
        self.store.keep(fresh).ok();
        fresh.clear();
    }

    /// Hands what each day of a season gives to a question to `each`.
    fn over_days<R: Serialize + DeserializeOwned>(
        &self,
        season: &Season,
        question: &Question<R>,
        thresholds: &Thresholds,
        mut each: impl FnMut(R),
    ) -> Result<Basis, LogbookError> {
        let days = self.days_of(season)?;
        let mut basis = Basis { made: self.made(season, &days)?, ..Basis::default() };
        let mut fresh = Vec::new();
        for (done, day) in days.iter().enumerate() {
            self.step(done, days.len())?;
            let of_day = self.of_day(question, day.id, thresholds, &mut fresh)?;
            basis.left_out.merge(&of_day.left_out);
            basis.assumed_twins += of_day.assumed_twins;
            each(of_day.rows);
            if fresh.len() >= KEPT_AT_ONCE || done + 1 == days.len() {
                self.keep(&mut fresh);
            }
        }
        Ok(basis)
    }
}

fn usage(error: impl std::fmt::Display) -> LogbookError {
    LogbookError::Usage(error.to_string())
}

#[cfg(test)]
mod tests;
