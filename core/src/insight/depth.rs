//! How deep each target lay: every value with its method, datum and direction, in both directions where the slope is known, and what the
//! values agree on. The season's depths are in `season`.
//!
//! Values are depth entries; where a target has none by probe or tape, the depths of its probe strikes stand for them (method probe, datum
//! first contact). Probe and tape values pool, readings do not, unless they are all there is.

use super::left_out::{Tally, reason};
use super::view::{TargetRef, Told, View};
use crate::entry::{Body, Datum, Direction, EntryId, Method, Outcome};
use crate::field::depth::{
    MAX_DEPTH_CM, normal_from_vertical_cm, reading_depth_ratio, vertical_from_normal_cm,
};
use crate::stats::describe::{Sample, median};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// The depth of one target of a drill.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct TargetDepth {
    /// Every value, one an event, in the order in which they were written
    pub values: Vec<DepthValue>,
    /// What the values agree on, one a datum
    pub consensus: Vec<Consensus>,
    /// The consensus of the datum with most values; of equal ones first contact
    pub headline: Option<Consensus>,
    /// Depth as it was buried
    pub set: Option<BothWays>,
    /// Found minus set, both slope-normal, cm; null where one of the two is unknown
    pub found_minus_set_cm: Option<f64>,
    /// Lowest reading shown by a transceiver
    pub reading: Option<Reading>,
}

/// One measured depth.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct DepthValue {
    /// The depth as it was written, median where several writers wrote one event, cm
    pub depth_cm: f64,
    /// How it was measured; null if nobody said
    pub method: Option<Method>,
    /// What point of the target it leads to
    pub datum: Datum,
    /// Along which line it was measured
    pub direction: Direction,
    /// The direction was not said and is taken as square to the slope, as a probe goes in
    pub direction_assumed: bool,
    /// The same depth square to the slope, cm; null where direction or slope is unknown
    pub slope_normal_cm: Option<f64>,
    /// The same depth straight down, cm; null where direction or slope is unknown
    pub vertical_cm: Option<f64>,
    /// Call signs of the writers
    pub by: Vec<String>,
    /// The entries that tell it
    pub entries: Vec<EntryId>,
    /// It counts in the consensus
    pub counts: bool,
    /// A hit tells it, and no depth entry.
    #[serde(skip)]
    pub(super) of_strike: bool,
}

/// A depth in both directions.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct BothWays {
    /// The depth as it was written, cm
    pub depth_cm: f64,
    /// Along which line it was measured
    pub direction: Direction,
    /// Square to the slope, cm; null where direction or slope is unknown
    pub slope_normal_cm: Option<f64>,
    /// Straight down, cm; null where direction or slope is unknown
    pub vertical_cm: Option<f64>,
}

/// What the values of one datum agree on.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Consensus {
    /// The point of the target
    pub datum: Datum,
    /// The direction in which the values were compared: the one most of them are known in
    pub direction: Direction,
    /// Median, cm
    pub median_cm: f64,
    /// Number of values
    pub n: usize,
    /// Smallest and largest value, cm
    pub range_cm: [f64; 2],
    /// The values are lowest readings, since there are no others: not a true depth
    pub of_readings: bool,
}

/// Lowest readings of one target.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Reading {
    /// Median of the lowest readings, m
    pub median_m: f64,
    /// Number of readings
    pub n: usize,
    /// Lowest reading over slope-normal depth of the headline; null without a measured depth
    pub ratio: Option<f64>,
}

impl TargetDepth {
    /// The depth of a target of a drill, on a slope of `slope_deg` if that is known.
    #[must_use]
    pub fn of(
        view: &View<'_>,
        drill: &str,
        target: &TargetRef,
        targets: &[TargetRef],
        slope_deg: Option<f64>,
        left_out: &mut Tally,
    ) -> TargetDepth {
        let values = values(view, drill, target, targets, slope_deg, left_out);
        TargetDepth::from_values(view, target, values, slope_deg, left_out)
    }

    /// The depth of a target from the values of every drill that used it; `slope_deg` is that of the drill in which it was set.
    #[must_use]
    pub fn from_values(
        view: &View<'_>,
        target: &TargetRef,
        mut values: Vec<DepthValue>,
        slope_deg: Option<f64>,
        left_out: &mut Tally,
    ) -> TargetDepth {
        let consensus = consensus(&mut values, left_out);
        let most = |c: &Consensus| (c.n, std::cmp::Reverse(c.datum));
        let headline = consensus.iter().copied().max_by_key(most);
        let set = view.target(target).and_then(|t| {
            let direction = t.direction.unwrap_or(Direction::Unknown);
            Some(BothWays::of(t.set_depth_cm?.0, direction, slope_deg))
        });
        let found_cm = headline.filter(|h| !h.of_readings).and_then(|h| h.slope_normal_cm(slope_deg));
        let found_minus_set_cm = found_cm.and_then(|found| Some(found - set?.slope_normal_cm?));
        let reading = Reading::of(&values, found_cm);
        TargetDepth { values, consensus, headline, set, found_minus_set_cm, reading }
    }
}

/// Every value of a target of one drill, one an event, in the order in which they were written.
#[must_use]
pub fn values(
    view: &View<'_>,
    drill: &str,
    target: &TargetRef,
    targets: &[TargetRef],
    slope_deg: Option<f64>,
    left_out: &mut Tally,
) -> Vec<DepthValue> {
    let mut events: BTreeMap<(EntryId, bool), Event> = BTreeMap::new();
    let at = target.place_in(targets);
    for told in view.of_drill(drill).iter().filter(|told| at.is_some() && told.at_target == at) {
        for part in parts(*told, left_out) {
            if !(0.0..=MAX_DEPTH_CM).contains(&part.depth_cm) {
                left_out.add(reason::ABSURD);
                continue;
            }
            let is_reading = part.method == Some(Method::Reading);
            let event = events.entry((view.groups.first(told.noted.id), is_reading)).or_default();
            event.add(part, view.call_sign(&view.things.person(&told.entry.common.by.0)), told.noted.id);
        }
    }
    let mut values: Vec<DepthValue> = events.into_values().filter_map(|e| e.value(slope_deg)).collect();
    values.sort_by(|a, b| a.entries.cmp(&b.entries));
    values
}

impl BothWays {
    /// A depth of this direction on a slope of `slope_deg` if that is known. On level ground both directions are one.
    #[must_use]
    pub fn of(depth_cm: f64, direction: Direction, slope_deg: Option<f64>) -> BothWays {
        let level = slope_deg == Some(0.0);
        let (normal, vertical) = match direction {
            Direction::SlopeNormal => {
                (Some(depth_cm), slope_deg.and_then(|s| vertical_from_normal_cm(depth_cm, s).ok()))
            }
            Direction::Vertical => {
                (slope_deg.and_then(|s| normal_from_vertical_cm(depth_cm, s).ok()), Some(depth_cm))
            }
            Direction::Unknown => (level.then_some(depth_cm), level.then_some(depth_cm)),
        };
        BothWays { depth_cm, direction, slope_normal_cm: normal, vertical_cm: vertical }
    }

    /// The depth in one direction, cm; of unknown direction as it was written.
    #[must_use]
    pub fn along(&self, direction: Direction) -> Option<f64> {
        match direction {
            Direction::SlopeNormal => self.slope_normal_cm,
            Direction::Vertical => self.vertical_cm,
            Direction::Unknown => Some(self.depth_cm),
        }
    }
}

impl Consensus {
    /// The median square to the slope, cm; `None` where direction or slope is unknown.
    #[must_use]
    pub fn slope_normal_cm(&self, slope_deg: Option<f64>) -> Option<f64> {
        BothWays::of(self.median_cm, self.direction, slope_deg).slope_normal_cm
    }

    /// The median straight down, cm; `None` where direction or slope is unknown.
    #[must_use]
    pub fn vertical_cm(&self, slope_deg: Option<f64>) -> Option<f64> {
        BothWays::of(self.median_cm, self.direction, slope_deg).vertical_cm
    }
}

impl Reading {
    fn of(values: &[DepthValue], depth_cm: Option<f64>) -> Option<Reading> {
        let readings = values.iter().filter(|v| v.method == Some(Method::Reading));
        let readings_m: Vec<f64> = readings.map(|v| v.depth_cm / 100.0).collect();
        let median_m = median(&readings_m).ok()?;
        let ratio = depth_cm.and_then(|cm| reading_depth_ratio(median_m, cm).ok());
        Some(Reading { median_m, n: readings_m.len(), ratio })
    }
}

/// One number that an entry gives about a depth.
struct Part {
    depth_cm: f64,
    method: Option<Method>,
    datum: Option<Datum>,
    direction: Option<Direction>,
    of_strike: bool,
}

/// What an entry says of a depth: a depth entry one number, a hit up to two (the probe's depth and the lowest reading).
fn parts(told: Told<'_>, left_out: &mut Tally) -> Vec<Part> {
    let found = match &told.entry.body {
        Body::Depth(d) => vec![Part {
            depth_cm: d.depth_cm.0,
            method: d.method,
            datum: d.datum,
            direction: d.direction,
            of_strike: false,
        }],
        Body::Strike(s) if s.outcome == Some(Outcome::Hit) => {
            let probe = s.depth_cm.map(|depth| Part {
                depth_cm: depth.0,
                method: Some(Method::Probe),
                datum: Some(Datum::FirstContact),
                direction: s.direction,
                of_strike: true,
            });
            let reading = s.lowest_reading_m.map(|reading| Part {
                depth_cm: 100.0 * reading.0,
                method: Some(Method::Reading),
                datum: None,
                direction: None,
                of_strike: true,
            });
            probe.into_iter().chain(reading).collect()
        }
        _ => Vec::new(),
    };
    let fields = ["depth_cm", "method", "datum", "direction", "outcome", "lowest_reading_m"];
    if !found.is_empty() && !told.settled(&fields) {
        left_out.add_n(reason::CONFLICT, found.len());
        return Vec::new();
    }
    found
}

/// One measurement as one or several writers tell it.
#[derive(Default)]
struct Event {
    parts: Vec<Part>,
    by: Vec<String>,
    entries: Vec<EntryId>,
}

impl Event {
    fn add(&mut self, part: Part, by: String, id: EntryId) {
        self.parts.push(part);
        if !self.by.contains(&by) {
            self.by.push(by);
        }
        self.entries.push(id);
    }

    fn value(self, slope_deg: Option<f64>) -> Option<DepthValue> {
        let depths: Vec<f64> = self.parts.iter().map(|p| p.depth_cm).collect();
        let depth_cm = median(&depths).ok()?;
        let method = self.parts.iter().find_map(|p| p.method);
        let datum = self.parts.iter().find_map(|p| p.datum).unwrap_or(Datum::Unknown);
        let said = self.parts.iter().find_map(|p| p.direction);
        let assumed = said.is_none() && matches!(method, Some(Method::Probe | Method::Reading));
        let direction = said.unwrap_or(if assumed { Direction::SlopeNormal } else { Direction::Unknown });
        let both = BothWays::of(depth_cm, direction, slope_deg);
        Some(DepthValue {
            depth_cm,
            method,
            datum,
            direction,
            direction_assumed: assumed,
            slope_normal_cm: both.slope_normal_cm,
            vertical_cm: both.vertical_cm,
            by: self.by,
            counts: false,
            of_strike: self.parts.iter().all(|p| p.of_strike),
            entries: self.entries,
        })
    }
}

impl DepthValue {
    fn is_reading(&self) -> bool {
        self.method == Some(Method::Reading)
    }

    fn along(&self, direction: Direction) -> Option<f64> {
        match direction {
            Direction::SlopeNormal => self.slope_normal_cm,
            Direction::Vertical => self.vertical_cm,
            Direction::Unknown => Some(self.depth_cm),
        }
    }
}

/// Marks which values count, and pools them by datum.
fn consensus(values: &mut [DepthValue], left_out: &mut Tally) -> Vec<Consensus> {
    let measured = values.iter().any(|v| !v.of_strike && !v.is_reading());
    let readings_only = values.iter().all(DepthValue::is_reading);
    for value in values.iter_mut() {
        value.counts = if value.is_reading() { readings_only } else { !value.of_strike || !measured };
    }
    let mut by_datum: BTreeMap<Datum, Vec<&mut DepthValue>> = BTreeMap::new();
    for value in values.iter_mut().filter(|v| v.counts) {
        by_datum.entry(value.datum).or_default().push(value);
    }
    by_datum.into_iter().filter_map(|(datum, values)| pool(datum, values, readings_only, left_out)).collect()
}

/// The values of one datum in the direction in which most of them are known.
fn pool(
    datum: Datum,
    values: Vec<&mut DepthValue>,
    of_readings: bool,
    left_out: &mut Tally,
) -> Option<Consensus> {
    let known = |direction| values.iter().filter(|v| v.along(direction).is_some()).count();
    let direction = match (known(Direction::SlopeNormal), known(Direction::Vertical)) {
        (0, 0) => Direction::Unknown,
        (normal, vertical) if normal >= vertical => Direction::SlopeNormal,
        _ => Direction::Vertical,
    };
    let mut depths = Vec::new();
    for value in values {
        match value.along(direction) {
            Some(depth) => depths.push(depth),
            None => {
                value.counts = false;
                left_out.add(reason::DIRECTION);
            }
        }
    }
    let sample = Sample::new(depths).ok()?;
    Some(Consensus {
        datum,
        direction,
        median_cm: sample.median(),
        n: sample.n(),
        range_cm: [sample.min(), sample.max()],
        of_readings,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use crate::insight::testing::record_with;
    use serde_json::{Value, json};

    fn depth_with(lines: &str, registers: &[(&str, Value)]) -> (TargetDepth, Tally) {
        let record = record_with(lines, registers);
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let (targets, mut left_out) = (view.targets("1"), Tally::default());
        let slope_deg = view.drill("1").slope_deg.map(|s| s.0);
        (TargetDepth::of(&view, "1", &targets[0], &targets, slope_deg, &mut left_out), left_out)
    }

    fn depth(lines: &str) -> TargetDepth {
        depth_with(lines, &[]).0
    }

    const SLOPE_30: &str = r#"
        {"kind":"drill","at":"10:00:00","label":"1","slope_deg":30}
        {"kind":"target","at":"10:00:00","drill":"1","label":"A","set_depth_cm":110,"direction":"vertical"}
        {"kind":"strike","at":"10:08:20","drill":"1","target":"A","outcome":"hit","depth_cm":100,"lowest_reading_m":1.26}
    "#;

    #[test]
    fn a_strike_stands_for_a_depth_and_its_reading_for_itself() {
        let found = depth(SLOPE_30);
        let headline = found.headline.unwrap();
        assert_eq!((headline.datum, headline.direction), (Datum::FirstContact, Direction::SlopeNormal));
        assert_eq!((headline.median_cm, headline.n, headline.range_cm), (100.0, 1, [100.0, 100.0]));
        // Rescue facts, section 3: 1.00 m square to a slope of 30 degrees is 1.155 m straight down.
        assert!((headline.vertical_cm(Some(30.0)).unwrap() - 115.47).abs() < 0.005);
        assert!(found.values[0].direction_assumed);
        // Set 110 cm vertical is 95.26 cm slope-normal; the reading of a flat transmitter is 1.26 of its depth.
        assert!((found.found_minus_set_cm.unwrap() - 4.737).abs() < 0.001);
        let reading = found.reading.unwrap();
        assert_eq!((reading.n, reading.median_m), (1, 1.26));
        assert!((reading.ratio.unwrap() - 1.26).abs() < 1e-12);
    }

    #[test]
    fn the_headline_is_the_datum_with_most_values() {
        let found = depth(
            &(SLOPE_30.to_owned()
                + r#"
            {"kind":"depth","at":"10:20:00","drill":"1","target":"A","depth_cm":104,"method":"probe","datum":"first_contact","direction":"slope_normal"}
            {"kind":"depth","at":"10:21:00","drill":"1","target":"A","depth_cm":120,"method":"tape","datum":"airway","direction":"slope_normal"}
            {"kind":"depth","at":"10:22:00","drill":"1","target":"A","depth_cm":124,"method":"tape","datum":"airway","direction":"slope_normal"}
            {"kind":"depth","at":"10:23:00","drill":"1","target":"A","depth_cm":140,"method":"reading"}
        "#),
        );
        let headline = found.headline.unwrap();
        assert_eq!((headline.datum, headline.n, headline.median_cm), (Datum::Airway, 2, 122.0));
        assert_eq!(headline.range_cm, [120.0, 124.0]);
        // The strike's 100 cm no longer counts: there are depth entries by probe and tape.
        let first_contact = found.consensus.iter().find(|c| c.datum == Datum::FirstContact).unwrap();
        assert_eq!((first_contact.n, first_contact.median_cm), (1, 104.0));
        assert_eq!(found.values.iter().filter(|v| v.counts).count(), 3);
        assert_eq!(found.reading.unwrap().n, 2);
    }

    #[test]
    fn readings_pool_only_where_they_are_all_there_is() {
        let found = depth(
            r#"{"kind":"depth","at":"10:23:00","drill":"1","target":"A","depth_cm":140,"method":"reading"}"#,
        );
        let headline = found.headline.unwrap();
        assert!(headline.of_readings);
        assert_eq!((headline.median_cm, found.found_minus_set_cm), (140.0, None));
        assert_eq!(found.reading.unwrap().ratio, None);
    }

    #[test]
    fn a_depth_written_twice_counts_once() {
        let lines = r#"
            {"kind":"depth","at":"10:20:00","drill":"1","target":"A","depth_cm":104,"method":"tape","direction":"vertical"}
            {"kind":"depth","at":"10:20:10","drill":"1","target":"A","depth_cm":106,"method":"tape","direction":"vertical","by":"Obs2"}
            {"kind":"depth","at":"10:25:00","drill":"1","target":"A","depth_cm":90,"method":"tape","direction":"slope_normal"}
        "#;
        let (found, left_out) = depth_with(lines, &[("#1~#2", json!(true))]);
        assert_eq!((found.values.len(), found.values[0].depth_cm), (2, 105.0));
        assert_eq!(found.values[0].by, ["Obs1", "Obs2"]);
        // Without a slope the two directions can't be pooled; of equally many, slope-normal.
        let headline = found.headline.unwrap();
        assert_eq!((headline.direction, headline.median_cm, headline.n), (Direction::SlopeNormal, 90.0, 1));
        assert_eq!(left_out.list()[0].reason, reason::DIRECTION);
    }

    #[test]
    fn what_no_probe_can_measure_is_left_out() {
        let lines = SLOPE_30.replace(r#""depth_cm":100"#, r#""depth_cm":1e200"#);
        let (found, left_out) = depth_with(&lines, &[]);
        assert!(found.headline.is_some_and(|h| h.of_readings));
        assert_eq!(left_out.list()[0].reason, reason::ABSURD);
    }

    #[test]
    fn a_depth_in_open_conflict_is_unknown() {
        let conflict = [("#3/depth_cm", json!(100)), ("#3/depth_cm", json!(101))];
        let (found, left_out) = depth_with(SLOPE_30, &conflict);
        assert_eq!((found.headline, left_out.list()[0].n), (None, 2));
    }
}
