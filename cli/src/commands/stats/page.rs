//! The pages of `stats`: what is asked of the logbook for them, and the file.

use super::person::{PersonArgs, asked};
use crate::commands::Ran;
use crate::desk::Desk;
use crate::file::write_whole;
use crate::page::{self, Seasonal, Units, words};
use firnbook_core::insight::season::depth::DepthAsk;
use firnbook_core::insight::season::group::GroupBy;
use firnbook_core::insight::season::times::TimesAsk;
use firnbook_core::logbook::Season;
use std::path::Path;

/// Up to so many days trends go by day, beyond by month.
const BY_DAY: usize = 12;

/// Writes the page of a season.
pub(super) fn season(desk: &mut Desk, season: &Season, units: Units, file: &Path) -> Ran {
    let thresholds = desk.settings.thresholds()?;
    let days = desk.logbook.days_of(season)?.len();
    let by = if days <= BY_DAY { GroupBy::Day } else { GroupBy::Month };
    let depth_ask = DepthAsk { group_by: Some(by), ..DepthAsk::default() };
    let times_ask = TimesAsk { group_by: Some(by), thresholds, ..TimesAsk::default() };
    let made = page::season_page(&Seasonal {
        span: words::span(season.since, season.until, season.area.as_deref()),
        days,
        depth: &desk.logbook.depth(season, depth_ask, &thresholds)?,
        times: &desk.logbook.times(season, &times_ask)?,
        methods: &desk.logbook.methods(season, None, &thresholds)?,
        by,
        units,
    });
    write_whole(file, made.as_bytes())?;
    desk.ui.say(format!("the season's page: {}", file.display()));
    Ok(())
}

/// Writes the page of one person.
pub(super) fn person(desk: &mut Desk, args: &PersonArgs, units: Units, file: &Path) -> Ran {
    let made = page::person_page(&asked(desk, args)?, &args.person, units);
    write_whole(file, made.as_bytes())?;
    desk.ui.say(format!("the page of one person: {}", file.display()));
    Ok(())
}
