//! The rows of the export tables that hold single events, each once however many people wrote it: `measurements`, one row a depth of a target,
//! and `disturbances`, one row a disturbance. What they come to over a season is in `season`.

use super::depth::{TargetDepth, values};
use super::interference::DayInterference;
use super::left_out::Tally;
use super::tables::homes;
use super::timeline::DrillTimes;
use super::view::{TargetRef, View};
use crate::day::DayId;
use crate::entry::{Datum, Direction, InterferenceSource, Method};
use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::Serialize;

/// One depth of a target.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct MeasurementRow {
    /// The day
    pub day: DayId,
    /// Its date
    pub date: NaiveDate,
    /// Label of the drill in which the target was set
    pub drill: String,
    /// Label of the target; empty where nobody named it
    pub target: String,
    /// How it is known: reading, probe, tape, set, or unknown
    pub way: String,
    /// What point of the target it leads to
    pub datum: Datum,
    /// A hit tells it, and no depth entry
    pub of_strike: bool,
    /// The depth as written, median where several writers wrote one event, cm
    pub depth_cm: f64,
    /// Along which line it was measured
    pub direction: Direction,
    /// The same depth square to the slope, cm
    pub slope_normal_cm: Option<f64>,
    /// The same depth straight down, cm
    pub vertical_cm: Option<f64>,
    /// The drill in which it was measured was called off
    pub cancelled: bool,
}

/// One disturbance of a transceiver.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct DisturbanceRow {
    /// The day
    pub day: DayId,
    /// Its date
    pub date: NaiveDate,
    /// Label of the drill; null where nobody named one
    pub drill: Option<String>,
    /// What disturbed
    pub source: InterferenceSource,
    /// Distance from the source to the transceiver, cm
    pub distance_cm: Option<f64>,
    /// Time it cost, s
    pub lost_s: Option<f64>,
    /// The drill was called off
    pub cancelled: bool,
}

/// The depths of a day, target by target.
#[must_use]
pub fn measurements(view: &View<'_>) -> Vec<MeasurementRow> {
    homes(view).iter().flat_map(|(target, drills)| of_target(view, target, drills)).collect()
}

fn of_target(view: &View<'_>, target: &TargetRef, drills: &[String]) -> Vec<MeasurementRow> {
    let setup = view.drill(&target.home);
    let slope_deg = setup.slope_deg.map(|s| s.0);
    // What is left out is told with the targets.
    let mut left_out = Tally::default();
    let buried = TargetDepth::from_values(view, target, Vec::new(), slope_deg, &mut left_out).set;
    let blank = MeasurementRow {
        day: view.record.id,
        date: view.record.date,
        drill: setup.label.0,
        target: target.label.clone(),
        way: "set".to_owned(),
        datum: Datum::Unknown,
        of_strike: false,
        depth_cm: 0.0,
        direction: Direction::Unknown,
        slope_normal_cm: None,
        vertical_cm: None,
        cancelled: drills.iter().all(|drill| cancelled(view, drill)),
    };
    let set = buried.map(|set| MeasurementRow {
        depth_cm: set.depth_cm,
        direction: set.direction,
        slope_normal_cm: set.slope_normal_cm,
        vertical_cm: set.vertical_cm,
        ..blank.clone()
    });
    let mut rows: Vec<MeasurementRow> = set.into_iter().collect();
    for drill in drills {
        let slope_deg = view.drill(drill).slope_deg.map(|s| s.0);
        let cancelled = cancelled(view, drill);
        for value in values(view, drill, target, &view.targets(drill), slope_deg, &mut left_out) {
            rows.push(MeasurementRow {
                way: value.method.map_or_else(|| "unknown".to_owned(), Method::word),
                datum: value.datum,
                of_strike: value.of_strike,
                depth_cm: value.depth_cm,
                direction: value.direction,
                slope_normal_cm: value.slope_normal_cm,
                vertical_cm: value.vertical_cm,
                cancelled,
                ..blank.clone()
            });
        }
    }
    rows
}

/// The disturbances of a day, in the order of time.
#[must_use]
pub fn disturbances(view: &View<'_>) -> Vec<DisturbanceRow> {
    let mut left_out = Tally::default();
    let events = DayInterference::of(view, &mut left_out).events.into_iter();
    let row = |event: super::interference::Disturbance| {
        let drill = event.drill.as_ref().map(|label| view.things.drill(label));
        DisturbanceRow {
            day: view.record.id,
            date: view.record.date,
            drill: drill.as_ref().map(|d| view.drill(d).label.0),
            source: event.source,
            distance_cm: event.distance_cm,
            lost_s: event.lost_s,
            cancelled: drill.is_some_and(|d| cancelled(view, &d)),
        }
    };
    events.map(row).collect()
}

fn cancelled(view: &View<'_>, drill: &str) -> bool {
    DrillTimes::of(view, drill, &view.targets(drill)).cancelled()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use crate::insight::testing::record;

    #[test]
    fn each_depth_and_each_disturbance_is_a_row() {
        let record = record(
            r#"
            {"kind":"drill","at":"10:00:00","label":"1","slope_deg":60}
            {"kind":"target","at":"10:00:00","drill":"1","label":"A","set_depth_cm":200,"direction":"vertical"}
            {"kind":"strike","at":"10:08:00","drill":"1","target":"A","outcome":"hit","depth_cm":96,"lowest_reading_m":1.3}
            {"kind":"depth","at":"10:20:00","drill":"1","target":"A","depth_cm":50,"direction":"unknown"}
            {"kind":"interference","at":"10:07:00","drill":"1","source":"phone","distance_cm":15}
            {"kind":"interference","at":"10:09:00","source":"radio"}
        "#,
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let told: Vec<_> =
            measurements(&view).into_iter().map(|r| (r.way, r.of_strike, r.slope_normal_cm)).collect();
        let near = |cm: Option<f64>, to: f64| cm.is_some_and(|cm| (cm - to).abs() < 1e-9);
        assert!(told[0].0 == "set" && near(told[0].2, 100.0), "{told:?}");
        let of = |way: &str| told.iter().find(|t| t.0 == way).unwrap().clone();
        assert_eq!((of("probe").1, of("probe").2), (true, Some(96.0)));
        assert_eq!(of("reading").2, Some(130.0));
        assert_eq!(of("unknown").2, None);
        let told: Vec<_> = disturbances(&view).into_iter().map(|r| (r.drill, r.distance_cm)).collect();
        assert_eq!(told, [(Some("1".to_owned()), Some(15.0)), (None, None)]);
    }
}
