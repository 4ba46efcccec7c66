//! What a command sits down at: the opened store, its settings, who writes, and the rules that say which day is meant.

use crate::args::{DayChoice, Global, Writer};
use crate::failure::Failure;
use crate::settings::Settings;
use crate::surroundings::{SharedClock, Surroundings};
use crate::ui::Ui;
use chrono::{FixedOffset, NaiveDate};
use firnbook_core::clock::Clock;
use firnbook_core::day::DayId;
use firnbook_core::entry::{Body, EntryId, Step, Time, TimeContext, fold};
use firnbook_core::insight::made::Made;
use firnbook_core::logbook::{Logbook, LogbookError};
use firnbook_core::review::{KitItem, KitState};
use firnbook_core::store::{DayRow, Filter, StoreError};
use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// An opened store with everything a command needs around it.
pub struct Desk {
    /// Speaks to the user.
    pub ui: Ui,
    /// The store.
    pub logbook: Logbook,
    /// This device's settings.
    pub settings: Settings,
    /// Where "now" comes from.
    pub clock: Arc<dyn Clock>,
    /// Something that awaits a person turned up; with `--strict` the exit status says so.
    pub awaits: bool,
}

/// The store that is meant: `--store`, else `FIRNBOOK_STORE`, else one in the platform's data folder.
///
/// # Errors
/// A machine without a data folder.
pub fn store_path(global: &Global, around: &Surroundings) -> Result<PathBuf, Failure> {
    let named = global
        .store
        .clone()
        .or_else(|| (around.env)("FIRNBOOK_STORE").filter(|v| !v.is_empty()).map(PathBuf::from));
    if let Some(path) = named {
        return Ok(path);
    }
    let folder = around.data_folder.as_ref().ok_or_else(|| {
        Failure::refused(
            "this machine says no folder for data; name a store with --store FILE or FIRNBOOK_STORE",
        )
    })?;
    Ok(folder.join("logbook.firnstore"))
}

impl Desk {
    /// Opens a store, making it where there is none, with the settings beside it.
    ///
    /// # Errors
    /// A store or settings that can't be opened.
    pub fn open(path: &Path, clock: &Arc<dyn Clock>) -> Result<(Logbook, Settings), Failure> {
        let logbook = Logbook::open(path, Box::new(SharedClock(clock.clone())))?;
        Ok((logbook, Settings::beside(path)?))
    }

    /// Now.
    #[must_use]
    pub fn now(&self) -> Time {
        self.clock.now()
    }

    /// Today's date, where the clock is.
    #[must_use]
    pub fn today(&self) -> NaiveDate {
        self.now().datetime().date_naive()
    }

    /// Who writes.
    ///
    /// # Errors
    /// Nobody said.
    pub fn writer(&self, writer: &Writer) -> Result<String, Failure> {
        let said =
            writer.by.as_deref().or(self.settings.text("me")).map(str::trim).filter(|by| !by.is_empty());
        said.map(str::to_owned).ok_or_else(|| {
            Failure::refused(
                "nobody said who writes; set your call sign once with `firnbook settings me CALLSIGN`, or add --by CALLSIGN",
            )
        })
    }

    /// The day that a reading command is about; says so where it is the default.
    ///
    /// # Errors
    /// No such day, or none at all.
    pub fn day_to_read(&mut self, choice: &DayChoice) -> Result<DayRow, Failure> {
        if let Some(wanted) = &choice.day {
            let id = self.logbook.find_day(wanted)?;
            return self.row(id);
        }
        let day = self.latest()?;
        self.ui.advise(format!("the latest day: {} {}", day.date, day.area));
        Ok(day)
    }

    /// The day that a writing command is about. The default is refused when it is not today's: what is written there by mistake is hard to find.
    ///
    /// # Errors
    /// No such day, none at all, or a default that is not today's.
    pub fn day_to_write(&mut self, choice: &DayChoice) -> Result<DayRow, Failure> {
        if let Some(wanted) = &choice.day {
            let id = self.logbook.find_day(wanted)?;
            return self.row(id);
        }
        let (day, today) = (self.latest()?, self.today());
        if day.date != today {
            return Err(Failure::refused(format!(
                "the latest day is {} {}, and today is {today}; to write into that day add --day {}, to begin today's type \
                 `firnbook day new --area {}`",
                day.date,
                day.area,
                day.date,
                quoted(&day.area)
            )));
        }
        Ok(day)
    }

    /// The entries that these texts name: any unique ending of an id, `last`, or `-` for ids on standard input, one a line.
    ///
    /// # Errors
    /// An ending that names none or several.
    pub fn entries_named(
        &mut self,
        wanted: &[String],
        choice: &DayChoice,
    ) -> Result<Vec<(DayId, EntryId)>, Failure> {
        let day = choice.day.as_deref().map(|d| self.logbook.find_day(d)).transpose()?;
        let mut texts = Vec::new();
        for text in wanted {
            if text == "-" {
                let input = String::from_utf8(self.ui.read_all()?)
                    .map_err(|e| Failure::refused(format!("standard input: {e}")))?;
                texts.extend(input.lines().filter_map(|l| l.split_whitespace().next()).map(str::to_owned));
            } else {
                texts.push(text.clone());
            }
        }
        let mut ids = self.logbook.resolve(&texts, day)?;
        let mut seen = std::collections::HashSet::new();
        ids.retain(|id| seen.insert(*id));
        Ok(ids)
    }

    /// Where every piece of kit is, over all days; what is in the snow first.
    ///
    /// # Errors
    /// The store's.
    pub fn kit(&self) -> Result<Vec<KitItem>, Failure> {
        Ok(self.logbook.kit()?)
    }

    /// Kit in the snow, of all days.
    ///
    /// # Errors
    /// The store's.
    pub fn kit_in_snow(&self) -> Result<Vec<KitItem>, Failure> {
        let mut items = self.kit()?;
        items.retain(|i| i.state == KitState::InSnow);
        Ok(items)
    }

    /// A day as a list shows it.
    ///
    /// # Errors
    /// It is not here.
    pub fn row(&self, id: DayId) -> Result<DayRow, Failure> {
        match self.logbook.day_row(id) {
            Err(LogbookError::Store(StoreError::NoDay(_))) => Err(Failure::refused(format!(
                "day {id} is not in this store; `firnbook day list` shows those that are"
            ))),
            row => Ok(row?),
        }
    }

    fn latest(&self) -> Result<DayRow, Failure> {
        self.logbook.latest_day()?.ok_or_else(|| {
            Failure::refused(format!(
                "{} holds no day yet; begin one with `firnbook day new --area \"NAME OF THE AREA\"`, or take packs in with `firnbook merge FILE`",
                self.logbook.path().display()
            ))
        })
    }

    /// What times typed today are measured from, where no day is chosen.
    #[must_use]
    pub fn times_today(&self) -> DayTimes {
        let now = self.now();
        DayTimes { now, date: self.today(), offset: *now.datetime().offset(), starts: HashMap::new() }
    }

    /// What typed times of a day are measured from.
    ///
    /// # Errors
    /// The store's.
    pub fn times(&self, day: &DayRow) -> Result<DayTimes, Failure> {
        let mut times = DayTimes { date: day.date, ..self.times_today() };
        let filter = Filter { day: Some(day.id), kind: Some("moment".to_owned()), ..Filter::default() };
        let rows = self.logbook.entries(&filter)?;
        // The zone in which the day was written, wherever its sheets are typed in.
        if let Some(at) = rows.iter().find_map(|row| row.noted.at()) {
            times.offset = *at.datetime().offset();
        }
        for row in rows {
            let Some(entry) = row.noted.counted() else { continue };
            if let (Body::Moment(m), Some(drill)) = (&entry.body, &entry.common.drill)
                && m.step == Step::Start
            {
                times.started(&drill.0, entry.common.at);
            }
        }
        Ok(times)
    }

    /// How an answer over these days was made.
    ///
    /// # Errors
    /// The store's.
    pub fn made(&self, days: &[DayId], filters: BTreeMap<String, String>) -> Result<Made, Failure> {
        let mut made = Made::from_heads(&self.logbook.heads_sha256(days)?);
        made.filters = filters;
        Ok(made)
    }
}

/// What typed times of one day are measured from: now, the date, and the start of each drill.
#[derive(Clone, Debug)]
pub struct DayTimes {
    /// Now.
    pub now: Time,
    /// The date of the day.
    pub date: NaiveDate,
    /// The offset from UTC of the place.
    pub offset: FixedOffset,
    /// The first start of each drill, by folded label.
    pub starts: HashMap<String, Time>,
}

impl DayTimes {
    /// Learns that a drill started; the first start counts.
    pub fn started(&mut self, drill: &str, at: Time) {
        let first = self.starts.entry(fold(drill)).or_insert(at);
        *first = at.min(*first);
    }

    /// What a time typed for an entry of this drill is measured from.
    #[must_use]
    pub fn of(&self, drill: Option<&str>) -> TimeContext {
        let drill_start = drill.and_then(|d| self.starts.get(&fold(d)).copied());
        TimeContext { now: self.now, date: self.date, offset: self.offset, drill_start }
    }
}

/// A text as a shell takes it: in quotes where it needs them.
#[must_use]
pub fn quoted(text: &str) -> String {
    let plain = !text.is_empty() && text.chars().all(|c| c.is_alphanumeric() || "-_.,/:".contains(c));
    if plain { text.to_owned() } else { format!("\"{}\"", text.replace('"', "\\\"")) }
}
