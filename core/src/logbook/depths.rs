//! The depths of a season, streamed from columns: entries are looked at whole only where two writers may have told one measurement.

use super::reading::DayRead;
use super::{Logbook, LogbookError, Season};
use crate::clock::TimeLine;
use crate::day::{Groups, Key};
use crate::entry::{Datum, Direction, Method};
use crate::insight::left_out::{Tally, reason};
use crate::insight::season::depth::{DepthAsk, DepthOf, DepthRow, DepthStats, Depths};
use crate::insight::season::group::{self, GroupBy};
use crate::insight::season::rows::depths_of;
use crate::insight::thresholds::Thresholds;
use crate::insight::timeline::DrillTimes;
use crate::insight::view::{TargetRef, View};
use crate::store::{DayRow, DepthLine, ValueOf};
use std::collections::HashMap;
use std::rc::Rc;

/// Kinds that say what a drill and its targets are, whether it was called off, and how far clocks are off.
const GROUND_KINDS: [&str; 5] = ["drill", "target", "moment", "clock", "clock_mark"];
/// Kinds that tell a depth, and with which others twins are told apart.
const TOLD_KINDS: [&str; 8] =
    ["drill", "target", "person", "moment", "strike", "depth", "clock", "clock_mark"];
/// Fields whose open conflict leaves a value out.
const FIELDS: [&str; 7] = ["depth_cm", "method", "datum", "direction", "outcome", "lowest_reading_m", "body"];
/// How far apart two writers' values of one target may lie by their own clocks before nobody need look closer, beyond what clocks are off: any
/// window of twins, that of clocks never compared included.
const NEAR_MS: i64 = 600_000;

impl Logbook {
    /// How deep targets lie over a season.
    ///
    /// # Errors
    /// The store's.
    pub fn depth(
        &self,
        season: &Season,
        ask: DepthAsk,
        thresholds: &Thresholds,
    ) -> Result<DepthStats, LogbookError> {
        let days = self.days_of(season)?;
        let mut made = self.made(season, &days)?;
        if ask.group_by == Some(GroupBy::Season) {
            made.settings.insert("season_start_month".to_owned(), thresholds.season_start_month);
        }
        let mut depths = Depths::new(ask.clone());
        for (n, day) in days.iter().enumerate() {
            self.step(n, days.len())?;
            let n = u32::try_from(n).unwrap_or(u32::MAX);
            let record = self.store.record_of(day.id, &GROUND_KINDS)?;
            let groups = Groups::of(&record);
            let clocks = TimeLine::of(&record);
            let view = View::new(&record, &groups, &clocks);
            if ask.of == DepthOf::Set {
                depths_of(&view, n, ask.of, ask.group_by, thresholds, &mut depths);
                continue;
            }
            let mut ground = Ground {
                view: &view,
                day,
                n,
                ask: &ask,
                thresholds,
                known: HashMap::new(),
                drills: HashMap::new(),
                targets: 0,
            };
            let near_ms = NEAR_MS.saturating_add(clocks.reach_ms() as i64);
            match self.plain_values(day, &mut ground, near_ms)? {
                Some(values) => values.iter().for_each(|v| ground.push(v, &mut depths)),
                None => self.whole_day(day, n, &ask, thresholds, &mut depths)?,
            }
            let mut left_out = Tally::default();
            left_out.add_n(reason::OPAQUE, day.opaque);
            left_out.add_n(reason::VOID, self.store.void_depths(day.id)?);
            depths.besides(&left_out, 0);
        }
        Ok(depths.finish(made))
    }

    /// The values of a day out of its columns; `None` where columns do not tell enough: a hit without a target, or two entries that may tell of
    /// one measurement.
    fn plain_values(
        &self,
        day: &DayRow,
        ground: &mut Ground<'_, '_>,
        near_ms: i64,
    ) -> Result<Option<Vec<Value>>, LogbookError> {
        let mut values = Vec::new();
        let mut plain = !ground.view.record.registers.0.keys().any(|k| matches!(k, Key::Same(..)));
        for of in [ValueOf::Depths, ValueOf::Hits, ValueOf::Readings] {
            self.store.depth_lines(day.id, of, |line| match line.target {
                Some(target) => values.push(ground.value(&line, target, of)),
                None => plain = false,
            })?;
        }
        Ok((plain && !may_be_told_twice(&values, near_ms)).then_some(values))
    }

    /// The values of a day out of its entries.
    fn whole_day(
        &self,
        day: &DayRow,
        n: u32,
        ask: &DepthAsk,
        thresholds: &Thresholds,
        depths: &mut Depths,
    ) -> Result<(), LogbookError> {
        let read = DayRead::of(self.store.record_of(day.id, &TOLD_KINDS)?);
        depths_of(&read.view(), n, ask.of, ask.group_by, thresholds, depths);
        depths.besides(&Tally::default(), read.one_event.proposed.len());
        Ok(())
    }
}

/// Whether two writers have values of one target near in time.
fn may_be_told_twice(values: &[Value], near_ms: i64) -> bool {
    let mut told: Vec<(u64, i64, u64)> = values.iter().map(|v| (v.lie.number, v.at_ms, v.by)).collect();
    told.sort_unstable();
    told.windows(2).any(|pair| {
        let ((target, at, by), (same_target, next, other)) = (pair[0], pair[1]);
        target == same_target && by != other && next - at < near_ms
    })
}

fn hash(text: &str) -> u64 {
    use std::hash::{DefaultHasher, Hash, Hasher};
    let mut hasher = DefaultHasher::new();
    text.hash(&mut hasher);
    hasher.finish()
}

/// One value of a day, until it is known whether others tell of it too.
struct Value {
    depth_cm: f64,
    at_ms: i64,
    by: u64,
    method: Option<Method>,
    datum: Option<Datum>,
    direction: Option<Direction>,
    of_strike: bool,
    unsettled: bool,
    lie: Rc<Lie>,
    group: Option<Rc<str>>,
}

/// How a target lies and what it belongs to.
struct Lie {
    number: u64,
    slope_deg: Option<f64>,
    cancelled: bool,
    group: Option<Rc<str>>,
}

/// A drill as it was set up.
struct Place {
    setup: crate::entry::Drill,
    targets: Vec<TargetRef>,
    cancelled: bool,
}

/// What is known of the drills and targets of one day.
struct Ground<'a, 'v> {
    view: &'a View<'v>,
    day: &'a DayRow,
    n: u32,
    ask: &'a DepthAsk,
    thresholds: &'a Thresholds,
    /// By the labels as written.
    known: HashMap<(String, String), Rc<Lie>>,
    /// By folded label.
    drills: HashMap<String, Rc<Place>>,
    /// Targets of this day numbered so far.
    targets: u64,
}

impl Ground<'_, '_> {
    fn value(&mut self, line: &DepthLine<'_>, target: &str, of: ValueOf) -> Value {
        let lie = self.lie(line.drill, target);
        let (method, datum) = match of {
            ValueOf::Depths => (word(line.method), word(line.datum)),
            ValueOf::Hits => (Some(Method::Probe), Some(Datum::FirstContact)),
            ValueOf::Readings => (Some(Method::Reading), None),
        };
        let group = match self.ask.group_by {
            Some(GroupBy::Method) => method.map(|m| Rc::from(m.word())),
            Some(GroupBy::Datum) => datum.map(|d| Rc::from(d.word())),
            Some(GroupBy::Writer) => Some(Rc::from(line.by)),
            _ => lie.group.clone(),
        };
        Value {
            depth_cm: line.depth_cm,
            at_ms: line.at_ms,
            by: hash(line.by),
            method,
            datum,
            direction: word(line.direction),
            of_strike: of != ValueOf::Depths,
            unsettled: !line.unsettled.is_empty() && line.unsettled.split(' ').any(|u| FIELDS.contains(&u)),
            lie,
            group,
        }
    }

    fn push(&self, value: &Value, depths: &mut Depths) {
        depths.push(&DepthRow {
            depth_cm: value.depth_cm,
            method: value.method,
            datum: value.datum,
            direction: value.direction,
            slope_deg: value.lie.slope_deg,
            day: self.n,
            target: value.lie.number,
            event: None,
            of_strike: value.of_strike,
            unsettled: value.unsettled,
            cancelled: value.lie.cancelled,
            group: value.group.as_deref(),
        });
    }

    fn lie(&mut self, drill: &str, target: &str) -> Rc<Lie> {
        let key = (drill.to_owned(), target.to_owned());
        if let Some(known) = self.known.get(&key) {
            return known.clone();
        }
        let (folded_drill, folded_target) = self.view.things.target(drill, target);
        let place = self.drill(&folded_drill);
        let at = place.targets.iter().find(|t| t.folded == folded_target);
        // A target that a later drill uses again is one target wherever it is named.
        let home = (format!("\n{}", at.map_or(&folded_drill, |t| &t.home)), folded_target.clone());
        let number = self.known.get(&home).map(|lie| lie.number).unwrap_or_else(|| {
            self.targets += 1;
            u64::from(self.n) << 32 | self.targets
        });
        let lie = Rc::new(Lie {
            number,
            slope_deg: place.setup.slope_deg.map(|s| s.0),
            cancelled: place.cancelled,
            group: self.group(&place.setup, at).map(Rc::from),
        });
        self.known.insert(home, lie.clone());
        self.known.insert(key, lie.clone());
        lie
    }

    fn drill(&mut self, folded: &str) -> Rc<Place> {
        if let Some(known) = self.drills.get(folded) {
            return known.clone();
        }
        let targets = self.view.targets(folded);
        let cancelled = DrillTimes::of(self.view, folded, &targets).cancelled();
        let place = Rc::new(Place { setup: self.view.drill(folded), targets, cancelled });
        self.drills.insert(folded.to_owned(), place.clone());
        place
    }

    fn group(&self, drill: &crate::entry::Drill, target: Option<&TargetRef>) -> Option<String> {
        match self.ask.group_by? {
            GroupBy::Form => drill.form.map(crate::entry::DrillForm::word),
            GroupBy::Team => drill.team.clone(),
            GroupBy::Area => Some(self.day.area.clone()),
            GroupBy::Day => Some(self.day.date.to_string()),
            GroupBy::Month => Some(group::month(self.day.date)),
            GroupBy::Season => Some(group::season(self.day.date, self.thresholds.season_start_month as u32)),
            GroupBy::Orientation => target
                .and_then(|t| self.view.target(t))
                .and_then(|t| t.orientation)
                .map(crate::entry::Orientation::word),
            GroupBy::Method | GroupBy::Datum | GroupBy::Writer => None,
        }
    }
}

/// The value of a choice whose word this is.
fn word<'t, T: serde::Deserialize<'t>>(text: Option<&'t str>) -> Option<T> {
    let text = text?;
    T::deserialize(serde::de::value::StrDeserializer::<serde::de::value::Error>::new(text)).ok()
}
