//! The depths of a season, streamed from columns: entries are looked at whole only where two writers may have told one measurement.

use super::{Logbook, LogbookError, Season};
use crate::day::{DayId, Groups, Key};
use crate::entry::{Datum, Direction, Method};
use crate::insight::clocks::RawClocks;
use crate::insight::left_out::{Tally, reason};
use crate::insight::season::depth::{DepthAsk, DepthOf, DepthRow, DepthStats, Depths};
use crate::insight::season::group::{self, GroupBy};
use crate::insight::thresholds::Thresholds;
use crate::insight::timeline::DrillTimes;
use crate::insight::view::{TargetRef, View};
use crate::review::{self, OneEvent};
use crate::store::{DayRow, DepthLine, ValueOf};
use std::collections::{HashMap, HashSet};
use std::rc::Rc;

/// Kinds that say what a drill and its targets are, and whether it was called off.
const GROUND_KINDS: [&str; 3] = ["drill", "target", "moment"];
/// Kinds in which a depth can be told twice, and what they need.
const TWIN_KINDS: [&str; 4] = ["depth", "strike", "drill", "target"];
/// How far apart two writers' values of one target may lie before nobody need look closer: any window of twins, with room for clocks.
const NEAR_MS: i64 = 600_000;

impl Logbook {
    /// How deep targets lie over a season. Values are streamed from columns; entries are looked at whole only on days on which two writers may
    /// have told one measurement.
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
        let mut targets = 0;
        for (n, day) in days.iter().enumerate() {
            let record = self.store.record_of(day.id, &GROUND_KINDS)?;
            let groups = Groups::of(&record);
            let view = View::new(&record, &groups, &RawClocks);
            let mut ground =
                Ground { view: &view, day, n, ask: &ask, thresholds, known: HashMap::new(), targets };
            match ask.of {
                DepthOf::Set => ground.set_depths(&mut depths),
                DepthOf::Found => self.found_depths(day, &mut ground, &mut depths)?,
            }
            targets = ground.targets;
        }
        Ok(depths.finish(made))
    }

    fn found_depths(
        &self,
        day: &DayRow,
        ground: &mut Ground<'_, '_>,
        depths: &mut Depths,
    ) -> Result<(), LogbookError> {
        let mut values = Vec::new();
        let mut without_target = 0;
        for of in [ValueOf::Depths, ValueOf::Hits] {
            self.store.depth_lines(day.id, of, |line| match ground.value(&line, of) {
                Some(value) => values.push(value),
                None => without_target += 1,
            })?;
        }
        let settled = ground.view.record.registers.0.keys().any(|k| matches!(k, Key::Same(..)));
        let events =
            if settled || may_be_told_twice(&values) { self.events(day.id, depths)? } else { Vec::new() };
        for (i, value) in values.iter().enumerate() {
            ground.push(value, events.get(i).copied(), depths);
        }
        let mut left_out = Tally::default();
        left_out.add_n(reason::OPAQUE, day.opaque);
        left_out.add_n(reason::VOID, self.store.void_depths(day.id)?);
        left_out.add_n(reason::NO_TARGET, without_target);
        depths.besides(&left_out, 0);
        Ok(())
    }

    /// For each value of a day, in the order of [`Logbook::found_depths`], the event that it tells of.
    fn events(&self, day: DayId, depths: &mut Depths) -> Result<Vec<u64>, LogbookError> {
        let record = self.store.record_of(day, &TWIN_KINDS)?;
        let OneEvent { groups, assumed_twins } = review::one_event_groups(&record, &review::raw_clocks);
        depths.besides(&Tally::default(), assumed_twins);
        let mut numbers = HashMap::new();
        let mut events = Vec::new();
        for of in [ValueOf::Depths, ValueOf::Hits] {
            self.store.depth_lines(day, of, |line| {
                let next = numbers.len() as u64;
                events.extend(line.id.parse().map(|id| *numbers.entry(groups.first(id)).or_insert(next)));
            })?;
        }
        Ok(events)
    }
}

/// Whether two writers have values of one target near in time.
fn may_be_told_twice(values: &[Value]) -> bool {
    let mut told: Vec<(u64, i64, u64)> = values.iter().map(|v| (v.lie.number, v.at_ms, v.by)).collect();
    told.sort_unstable();
    told.windows(2).any(|pair| {
        let ((target, at, by), (same_target, next, other)) = (pair[0], pair[1]);
        target == same_target && by != other && next - at < NEAR_MS
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

/// What is known of the drills and targets of one day.
struct Ground<'a, 'v> {
    view: &'a View<'v>,
    day: &'a DayRow,
    n: usize,
    ask: &'a DepthAsk,
    thresholds: &'a Thresholds,
    /// By the labels as written.
    known: HashMap<(String, String), Option<Rc<Lie>>>,
    /// Targets numbered so far, over all days.
    targets: u64,
}

impl Ground<'_, '_> {
    /// `None` for a hit whose target nobody can tell.
    fn value(&mut self, line: &DepthLine<'_>, of: ValueOf) -> Option<Value> {
        let lie = self.lie(line.drill, line.target)?;
        let of_strike = of == ValueOf::Hits;
        let method = if of_strike { Some(Method::Probe) } else { word(line.method) };
        let datum = if of_strike { Some(Datum::FirstContact) } else { word(line.datum) };
        let group = match self.ask.group_by {
            Some(GroupBy::Method) => method.map(|m| Rc::from(m.word())),
            Some(GroupBy::Datum) => datum.map(|d| Rc::from(d.word())),
            Some(GroupBy::Writer) => Some(Rc::from(line.by)),
            _ => lie.group.clone(),
        };
        Some(Value {
            depth_cm: line.depth_cm,
            at_ms: line.at_ms,
            by: hash(line.by),
            method,
            datum,
            direction: word(line.direction),
            of_strike,
            unsettled: !line.unsettled.is_empty(),
            lie,
            group,
        })
    }

    fn push(&self, value: &Value, event: Option<u64>, depths: &mut Depths) {
        depths.push(&DepthRow {
            depth_cm: value.depth_cm,
            method: value.method,
            datum: value.datum,
            direction: value.direction,
            slope_deg: value.lie.slope_deg,
            day: u32::try_from(self.n).unwrap_or(u32::MAX),
            target: value.lie.number,
            event,
            of_strike: value.of_strike,
            unsettled: value.unsettled,
            cancelled: value.lie.cancelled,
            group: value.group.as_deref(),
        });
    }

    fn set_depths(&mut self, depths: &mut Depths) {
        let mut seen = HashSet::new();
        for drill in self.view.drills().to_vec() {
            for target in self.view.targets(&drill) {
                let Some(lie) = self.lie(&drill, Some(&target.folded)) else { continue };
                let Some(as_one) = self.view.target(&target).filter(|_| seen.insert(lie.number)) else {
                    continue;
                };
                let Some(set) = as_one.set_depth_cm else { continue };
                depths.push(&DepthRow {
                    depth_cm: set.0,
                    method: None,
                    datum: None,
                    direction: as_one.direction,
                    slope_deg: lie.slope_deg,
                    day: u32::try_from(self.n).unwrap_or(u32::MAX),
                    target: lie.number,
                    event: None,
                    of_strike: false,
                    unsettled: false,
                    cancelled: lie.cancelled,
                    group: lie.group.as_deref(),
                });
            }
        }
    }

    fn lie(&mut self, drill: &str, target: Option<&str>) -> Option<Rc<Lie>> {
        let key = (drill.to_owned(), target.unwrap_or_default().to_owned());
        if let Some(known) = self.known.get(&key) {
            return known.clone();
        }
        let found = self.look(drill, target);
        self.known.insert(key, found.clone());
        found
    }

    fn look(&mut self, drill: &str, target: Option<&str>) -> Option<Rc<Lie>> {
        let folded_drill = self.view.things.drill(drill);
        let targets = self.view.targets(&folded_drill);
        let wanted = match target {
            Some(label) => self.view.things.target(drill, label).1,
            None => match targets.as_slice() {
                [only] => only.folded.clone(),
                _ => return None,
            },
        };
        let at = targets.iter().find(|t| t.folded == wanted);
        // A target that a later drill uses again is one target wherever it is named.
        let home = (format!("\n{}", at.map_or(&folded_drill, |t| &t.home)), wanted.clone());
        let number = match self.known.get(&home) {
            Some(Some(lie)) => lie.number,
            _ => {
                self.targets += 1;
                self.targets
            }
        };
        let setup = self.view.drill(&folded_drill);
        let lie = Rc::new(Lie {
            number,
            slope_deg: setup.slope_deg.map(|s| s.0),
            cancelled: DrillTimes::of(self.view, &folded_drill, &targets).cancelled(),
            group: self.group(&setup, at).map(Rc::from),
        });
        self.known.insert(home, Some(lie.clone()));
        Some(lie)
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
