//! How deep targets lie over a season: one value a target, or each value. Depths of training targets, buried by instructors.
//!
//! [`Depths`] takes rows one by one and keeps some forty bytes of each, so a million values need tens of megabytes.

use super::super::depth::BothWays;
use super::super::left_out::{LeftOut, Tally, reason};
use super::super::made::Made;
use super::group::{GroupBy, NOT_SAID};
use crate::entry::{Datum, Direction, Method};
use crate::field::depth::MAX_DEPTH_CM;
use crate::stats::Interval;
use crate::stats::describe::{EcdfPoint, Quantiles, Sample, median};
use crate::stats::histogram::Histogram;
use crate::stats::interval::{clustered_mean, mean_interval, median_interval};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashMap};

/// Which depths.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum DepthOf {
    /// measured when the target was found
    #[default]
    Found,
    /// as the target was buried
    Set,
}

/// What is asked.
#[cfg_attr(feature = "uniffi", firnbook_across::record(flags))]
#[derive(Clone, Debug, PartialEq)]
pub struct DepthAsk {
    /// Which depths; rows of the other sort must not be handed in.
    pub of: DepthOf,
    /// Every value instead of one a target.
    pub each: bool,
    /// The direction in which values are compared.
    pub direction: Direction,
    /// Only values of this method.
    pub method: Option<Method>,
    /// Only values to this point of the target.
    pub datum: Option<Datum>,
    /// The interval of the mean allows for values of one day being alike.
    pub cluster_day: bool,
    /// By what is grouped; the rows carry the group's name.
    pub group_by: Option<GroupBy>,
}

impl Default for DepthAsk {
    fn default() -> Self {
        DepthAsk {
            of: DepthOf::Found,
            each: false,
            direction: Direction::SlopeNormal,
            method: None,
            datum: None,
            cluster_day: false,
            group_by: None,
        }
    }
}

/// One value, as a store's columns or a day hand it over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DepthRow<'a> {
    /// The depth as written, cm.
    pub depth_cm: f64,
    /// How it was measured.
    pub method: Option<Method>,
    /// What point of the target it leads to.
    pub datum: Option<Datum>,
    /// Along which line it was measured, if someone said.
    pub direction: Option<Direction>,
    /// Steepness of the slope, degrees; `None` if unknown or in open conflict.
    pub slope_deg: Option<f64>,
    /// A number of the day: equal for values of one day.
    pub day: u32,
    /// A number of the target as it lay: equal for values of one target, also where a later drill used it again.
    pub target: u64,
    /// A number of the event: equal for values by which several writers tell of one measurement of a target. `None`: told by one.
    pub event: Option<u64>,
    /// A hit tells it, not a depth entry.
    pub of_strike: bool,
    /// A field of it is in open conflict.
    pub unsettled: bool,
    /// Its drill was called off.
    pub cancelled: bool,
    /// The name of its group; `None` if nobody said that.
    pub group: Option<&'a str>,
}

/// Takes depths and answers.
#[derive(Clone, Debug)]
pub struct Depths {
    ask: DepthAsk,
    kept: Vec<Kept>,
    groups: Vec<String>,
    group_of: HashMap<String, u32>,
    left_out: Tally,
    assumed_twins: usize,
    assumed_direction: usize,
}

/// The answer of `stats depth`.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct DepthStats {
    /// Whose depths these are: of targets buried by instructors, not of accident burials
    pub population: String,
    /// Found or set
    pub of: DepthOf,
    /// Every value counts, not one a target
    pub each: bool,
    /// The direction in which the values are compared
    pub direction: Direction,
    /// The figures over all values
    #[serde(flatten)]
    pub figures: DepthFigures,
    /// By what is grouped
    pub group_by: Option<GroupBy>,
    /// The figures of each group, by name
    pub groups: Vec<DepthGroup>,
    /// Values whose direction nobody said, taken as square to the slope, as a probe goes in
    pub assumed_direction: usize,
    /// What could not be used
    pub left_out: Vec<LeftOut>,
    /// Pairs counted as one event that nobody has settled yet
    pub assumed_twins: usize,
    /// What these answers are for, and what not
    pub cautions: Vec<String>,
    /// How it was made
    pub made: Made,
}

/// One group of depths.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct DepthGroup {
    /// What the group is called
    pub group: String,
    /// Its figures
    #[serde(flatten)]
    pub figures: DepthFigures,
}

/// The figures of a sample of depths. What does not exist is null, and `why` says why.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct DepthFigures {
    /// Number of values: targets, or with `each` measurements
    pub n: usize,
    /// Number of days they come from
    pub n_days: usize,
    /// How many of the values lead to each point of the target
    pub datums: Vec<DatumCount>,
    /// Values that are lowest readings, since the target has no others: not true depths
    pub of_readings: usize,
    /// Mean, cm
    pub mean_cm: Option<f64>,
    /// Standard deviation with n - 1, cm
    pub sd_cm: Option<f64>,
    /// Smallest value, cm
    pub min_cm: Option<f64>,
    /// Largest value, cm
    pub max_cm: Option<f64>,
    /// Median, cm
    pub median_cm: Option<f64>,
    /// Quantiles by definition 7 of Hyndman and Fan (1996), cm
    pub quantiles: Option<Quantiles>,
    /// Interval of the mean, cm: Student's t, or robust to days (CR1, t with days - 1)
    pub mean_ci95: Option<Interval>,
    /// Interval of the median between symmetric order statistics, cm
    pub median_ci95: Option<Interval>,
    /// Exact probability with which that interval covers the median, at least 0.95
    pub median_coverage: Option<f64>,
    /// Bins by the rule of Freedman and Diaconis, edges in cm
    pub histogram: Option<Histogram>,
    /// Empirical distribution, values in cm; at most 512 points
    pub ecdf: Vec<EcdfPoint>,
    /// Why a figure is null, by its name
    pub why: BTreeMap<String, String>,
}

/// How many values lead to a point of the target.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct DatumCount {
    /// The point
    pub datum: Datum,
    /// Number of values
    pub n: usize,
}

/// What is kept of a row.
#[derive(Clone, Copy, Debug)]
struct Kept {
    target: u64,
    event: u64,
    cm: f64,
    day: u32,
    group: u32,
    datum: Datum,
    method: Option<Method>,
    of_strike: bool,
}

impl Kept {
    fn is_reading(&self) -> bool {
        self.method == Some(Method::Reading)
    }

    /// Values of one event stand together, those whose datum is said first.
    fn order(&self) -> (u64, u64, bool, Datum) {
        (self.target, self.event, self.is_reading(), self.datum)
    }
}

/// A value that counts.
#[derive(Clone, Copy)]
struct Value {
    cm: f64,
    day: u32,
    datum: Datum,
    reading: bool,
}

const OF_ANOTHER_DATUM: &str = "depth to another point than most values of the target";
const READING_BESIDE_DEPTH: &str = "lowest reading of a target that was measured";

impl Depths {
    /// Nothing taken yet.
    #[must_use]
    pub fn new(ask: DepthAsk) -> Depths {
        Depths {
            ask,
            kept: Vec::new(),
            groups: Vec::new(),
            group_of: HashMap::new(),
            left_out: Tally::default(),
            assumed_twins: 0,
            assumed_direction: 0,
        }
    }

    /// Takes a value.
    pub fn push(&mut self, row: &DepthRow<'_>) {
        if row.cancelled || row.unsettled {
            self.left_out.add(if row.cancelled { reason::CANCELLED } else { reason::CONFLICT });
            return;
        }
        if !(0.0..=MAX_DEPTH_CM).contains(&row.depth_cm) {
            self.left_out.add(reason::ABSURD);
            return;
        }
        let assumed = row.direction.is_none() && matches!(row.method, Some(Method::Probe | Method::Reading));
        let direction = match row.direction {
            Some(said) => said,
            None if assumed => Direction::SlopeNormal,
            None => Direction::Unknown,
        };
        let along = if direction == self.ask.direction {
            Some(row.depth_cm)
        } else {
            BothWays::of(row.depth_cm, direction, row.slope_deg).along(self.ask.direction)
        };
        let Some(cm) = along else {
            self.left_out.add(reason::DIRECTION);
            return;
        };
        self.assumed_direction += usize::from(assumed && self.ask.of == DepthOf::Found);
        let group = if self.ask.group_by.is_some() { self.group(row.group.unwrap_or(NOT_SAID)) } else { 0 };
        self.kept.push(Kept {
            target: row.target,
            // Events told by one are numbered from the far end, where no caller's numbers are.
            event: row.event.unwrap_or(u64::MAX - self.kept.len() as u64),
            cm,
            day: row.day,
            group,
            datum: row.datum.unwrap_or(Datum::Unknown),
            method: row.method,
            of_strike: row.of_strike,
        });
    }

    /// Counts what the source of the rows left out before: struck-out and opaque entries, twins that were assumed.
    pub fn besides(&mut self, left_out: &Tally, assumed_twins: usize) {
        self.left_out.merge(left_out);
        self.assumed_twins += assumed_twins;
    }

    /// The answer.
    #[must_use]
    pub fn finish(mut self, made: Made) -> DepthStats {
        if !self.kept.is_sorted_by_key(Kept::order) {
            self.kept.sort_unstable_by_key(Kept::order);
        }
        self.keep_entries_before_strikes();
        let (method, datum) = (self.ask.method, self.ask.datum);
        self.kept
            .retain(|k| method.is_none_or(|m| k.method == Some(m)) && datum.is_none_or(|d| k.datum == d));
        let mut left_out = std::mem::take(&mut self.left_out);
        let all = self.values(&self.kept, &mut left_out);
        let figures = self.figures(&all);
        let groups = if self.ask.group_by.is_some() { self.grouped() } else { Vec::new() };
        DepthStats {
            population: "training_targets".to_owned(),
            of: self.ask.of,
            each: self.ask.each,
            direction: self.ask.direction,
            figures,
            group_by: self.ask.group_by,
            groups,
            assumed_direction: self.assumed_direction,
            left_out: left_out.list(),
            assumed_twins: self.assumed_twins,
            cautions: super::super::cautions::of_depths().into_iter().map(str::to_owned).collect(),
            made,
        }
    }

    fn group(&mut self, name: &str) -> u32 {
        if let Some(last) = self.kept.last().filter(|k| self.groups[k.group as usize] == name) {
            return last.group;
        }
        if let Some(known) = self.group_of.get(name) {
            return *known;
        }
        let next = self.groups.len() as u32;
        self.groups.push(name.to_owned());
        self.group_of.insert(name.to_owned(), next);
        next
    }

    /// Hits stand for depths only where a target has no depth entry by probe or tape.
    fn keep_entries_before_strikes(&mut self) {
        if !self.kept.iter().any(|k| k.of_strike) {
            return;
        }
        let mut kept = Vec::with_capacity(self.kept.len());
        for target in self.kept.chunk_by(|a, b| a.target == b.target) {
            let measured = target.iter().any(|k| !k.of_strike && !k.is_reading());
            kept.extend(target.iter().filter(|k| k.is_reading() || !k.of_strike || !measured));
        }
        self.kept = kept;
    }

    /// The values that count of rows sorted by target and event.
    fn values(&self, rows: &[Kept], left_out: &mut Tally) -> Vec<Value> {
        let mut values = Vec::new();
        let mut events = Vec::new();
        for target in rows.chunk_by(|a, b| a.target == b.target) {
            events.clear();
            events.extend(
                target.chunk_by(|a, b| a.event == b.event && a.is_reading() == b.is_reading()).map(one_event),
            );
            let readings = events.iter().filter(|v| v.reading).count();
            if readings < events.len() {
                events.retain(|v| !v.reading);
                left_out.add_n(READING_BESIDE_DEPTH, readings);
            }
            if self.ask.each {
                values.extend_from_slice(&events);
            } else {
                values.extend(consensus(&events, left_out));
            }
        }
        values
    }

    fn grouped(&self) -> Vec<DepthGroup> {
        let mut by_group: Vec<Vec<Kept>> = vec![Vec::new(); self.groups.len()];
        for row in &self.kept {
            by_group[row.group as usize].push(*row);
        }
        let told = by_group.iter().zip(&self.groups).filter(|(rows, _)| !rows.is_empty());
        // What is left out of a group is left out of the whole for another reason or not at all; it is told once, for the whole.
        let mut groups: Vec<DepthGroup> = told
            .map(|(rows, name)| DepthGroup {
                group: name.clone(),
                figures: self.figures(&self.values(rows, &mut Tally::default())),
            })
            .collect();
        groups.sort_by(|a, b| a.group.cmp(&b.group));
        groups
    }

    fn figures(&self, values: &[Value]) -> DepthFigures {
        let depths: Vec<f64> = values.iter().map(|v| v.cm).collect();
        let mut days: Vec<u32> = values.iter().map(|v| v.day).collect();
        let mut why = BTreeMap::new();
        let mut explained = |figure: &str, reason: String| {
            why.insert(figure.to_owned(), reason);
        };
        let mean_ci95 = if self.ask.cluster_day {
            clustered_mean(&depths, &days).map(|c| c.mean_ci95)
        } else {
            mean_interval(&depths)
        };
        let mean_ci95 = mean_ci95.map_err(|e| explained("mean_ci95", e.to_string())).ok();
        days.sort_unstable();
        days.dedup();
        let sample = Sample::new(depths).map_err(|e| explained("mean_cm", e.to_string())).ok();
        let summary = sample.as_ref().map(Sample::summary);
        let median_interval = sample.as_ref().and_then(median_interval);
        if median_interval.is_none() {
            let needs = format!(
                "below n = 6 even the extremes cover the median with less than 95 %; n = {}",
                values.len()
            );
            explained("median_ci95", needs);
        }
        let sd_cm = summary.and_then(|s| s.sd);
        if sd_cm.is_none() {
            explained("sd_cm", format!("a standard deviation needs 2 values; n = {}", values.len()));
        }
        DepthFigures {
            n: values.len(),
            n_days: days.len(),
            datums: datums(values),
            of_readings: values.iter().filter(|v| v.reading).count(),
            mean_cm: summary.map(|s| s.mean),
            sd_cm,
            min_cm: summary.map(|s| s.min),
            max_cm: summary.map(|s| s.max),
            median_cm: summary.map(|s| s.median),
            quantiles: summary.map(|s| s.quantiles),
            mean_ci95,
            median_ci95: median_interval.map(|m| m.ci95),
            median_coverage: median_interval.map(|m| m.coverage),
            histogram: sample.as_ref().map(Histogram::of),
            ecdf: sample.as_ref().map(Sample::ecdf).unwrap_or_default(),
            why,
        }
    }
}

/// One measurement: the median of what its writers wrote.
fn one_event(rows: &[Kept]) -> Value {
    let first = rows[0];
    let cm = match rows {
        [one] => one.cm,
        several => median(&several.iter().map(|r| r.cm).collect::<Vec<_>>()).unwrap_or(first.cm),
    };
    Value { cm, day: first.day, datum: first.datum, reading: first.is_reading() }
}

/// One value of a target: the median of the datum with most values; of equal ones first contact.
fn consensus(events: &[Value], left_out: &mut Tally) -> Option<Value> {
    if let [one] = events {
        return Some(*one);
    }
    let n = |datum: Datum| events.iter().filter(|v| v.datum == datum).count();
    let most = events.iter().map(|v| v.datum).max_by_key(|d| (n(*d), std::cmp::Reverse(*d)))?;
    left_out.add_n(OF_ANOTHER_DATUM, events.len() - n(most));
    let of_datum: Vec<&Value> = events.iter().filter(|v| v.datum == most).collect();
    let cm = median(&of_datum.iter().map(|v| v.cm).collect::<Vec<_>>()).ok()?;
    Some(Value { cm, ..*of_datum[0] })
}

fn datums(values: &[Value]) -> Vec<DatumCount> {
    let mut counts: BTreeMap<Datum, usize> = BTreeMap::new();
    for value in values {
        *counts.entry(value.datum).or_default() += 1;
    }
    counts.into_iter().map(|(datum, n)| DatumCount { datum, n }).collect()
}

#[cfg(test)]
mod tests;
