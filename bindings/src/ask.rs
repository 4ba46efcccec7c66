//! The answers of a season.

use crate::Logbook;
use crate::listen::LongWork;
use firnbook_core::entry::Step;
use firnbook_core::insight::season::checks::SeasonChecks;
use firnbook_core::insight::season::depth::{DepthAsk, DepthStats};
use firnbook_core::insight::season::digging::SeasonDigging;
use firnbook_core::insight::season::group::GroupBy;
use firnbook_core::insight::season::interference::SeasonInterference;
use firnbook_core::insight::season::methods::Methods;
use firnbook_core::insight::season::person::PersonStats;
use firnbook_core::insight::season::times::{Times, TimesAsk};
use firnbook_core::insight::thresholds::Thresholds;
use firnbook_core::logbook::Season;
use firnbook_core::phone::FirnbookError;
use std::sync::Arc;

#[uniffi::export]
impl Logbook {
    /// How deep targets lie.
    #[uniffi::method(default(thresholds = None, watch = None))]
    pub fn depth_stats(
        &self,
        season: Season,
        ask: DepthAsk,
        thresholds: Option<Thresholds>,
        watch: Option<Arc<dyn LongWork>>,
    ) -> Result<DepthStats, FirnbookError> {
        self.watched(watch, |log| log.depth(&season, ask, &thresholds.unwrap_or_default()))
    }

    /// Times from start to each step.
    #[uniffi::method(default(watch = None))]
    pub fn times_stats(
        &self,
        season: Season,
        ask: TimesAsk,
        watch: Option<Arc<dyn LongWork>>,
    ) -> Result<Times, FirnbookError> {
        self.watched(watch, |log| log.times(&season, &ask))
    }

    /// Ways of measuring a depth against each other.
    #[uniffi::method(default(group_by = None, thresholds = None, watch = None))]
    pub fn methods_stats(
        &self,
        season: Season,
        group_by: Option<GroupBy>,
        thresholds: Option<Thresholds>,
        watch: Option<Arc<dyn LongWork>>,
    ) -> Result<Methods, FirnbookError> {
        self.watched(watch, |log| log.methods(&season, group_by, &thresholds.unwrap_or_default()))
    }

    /// The group checks.
    #[uniffi::method(default(group_by = None, thresholds = None, watch = None))]
    pub fn checks_stats(
        &self,
        season: Season,
        group_by: Option<GroupBy>,
        thresholds: Option<Thresholds>,
        watch: Option<Arc<dyn LongWork>>,
    ) -> Result<SeasonChecks, FirnbookError> {
        self.watched(watch, |log| log.checks(&season, group_by, &thresholds.unwrap_or_default()))
    }

    /// Turns at the shovels, and what digging times depend on.
    #[uniffi::method(default(group_by = None, thresholds = None, watch = None))]
    pub fn digging_stats(
        &self,
        season: Season,
        group_by: Option<GroupBy>,
        thresholds: Option<Thresholds>,
        watch: Option<Arc<dyn LongWork>>,
    ) -> Result<SeasonDigging, FirnbookError> {
        self.watched(watch, |log| log.digging(&season, group_by, &thresholds.unwrap_or_default()))
    }

    /// What disturbed, and how runs with it compare with runs for which none was written, to `step`.
    #[uniffi::method(default(group_by = None, thresholds = None, watch = None))]
    pub fn interference_stats(
        &self,
        season: Season,
        step: Step,
        group_by: Option<GroupBy>,
        thresholds: Option<Thresholds>,
        watch: Option<Arc<dyn LongWork>>,
    ) -> Result<SeasonInterference, FirnbookError> {
        self.watched(watch, |log| log.interference(&season, step, group_by, &thresholds.unwrap_or_default()))
    }

    /// One person, by call sign or member code.
    #[uniffi::method(default(group_by = None, thresholds = None, watch = None))]
    pub fn person_stats(
        &self,
        season: Season,
        name: String,
        group_by: Option<GroupBy>,
        thresholds: Option<Thresholds>,
        watch: Option<Arc<dyn LongWork>>,
    ) -> Result<PersonStats, FirnbookError> {
        self.watched(watch, |log| log.person(&season, &name, group_by, &thresholds.unwrap_or_default()))
    }
}
