//! The rows of the export tables that no entry holds: `targets`, one row a target, and `runs`, one row a run and target. Season's
//! statistics start from the same rows. Single measurements and disturbances are in `events`.

use super::depth::{Consensus, TargetDepth, values};
use super::drill::DrillRead;
use super::left_out::Tally;
use super::timeline::DrillTimes;
use super::view::{TargetRef, View};
use crate::day::DayId;
use crate::entry::{Body, Datum, Direction, DrillForm, EndReason, Orientation, StopsAt, Time};
use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;

/// One target: how it was set, and what the depths of every drill that used it agree on.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct TargetRow {
    /// The day
    pub day: DayId,
    /// Its date
    pub date: NaiveDate,
    /// Its area
    pub area: String,
    /// Label of the drill in which it was set
    pub drill: String,
    /// Label of the target; empty where nobody named it
    pub target: String,
    /// Team of that drill
    pub team: Option<String>,
    /// Number of runs that used it: drills like that one included
    pub runs: usize,
    /// Every run that used it was called off
    pub cancelled: bool,
    /// The piece of kit that lay there
    pub item: Option<String>,
    /// How it lay
    pub orientation: Option<Orientation>,
    /// Tilt of the transmitter's long axis from level, degrees
    pub tilt_deg: Option<f64>,
    /// It sent
    pub transmits: Option<bool>,
    /// Steepness of the slope, degrees
    pub slope_deg: Option<f64>,
    /// Depth at which it was buried, as written, cm
    pub set_depth_cm: Option<f64>,
    /// Direction of that depth
    pub set_direction: Option<Direction>,
    /// Depth at which it was buried, square to the slope, cm
    pub set_slope_normal_cm: Option<f64>,
    /// Depth at which it was buried, straight down, cm
    pub set_vertical_cm: Option<f64>,
    /// Values to the point of first contact
    pub first_contact_n: usize,
    /// Their median square to the slope, cm
    pub first_contact_slope_normal_cm: Option<f64>,
    /// Their median straight down, cm
    pub first_contact_vertical_cm: Option<f64>,
    /// Values to the airway
    pub airway_n: usize,
    /// Their median square to the slope, cm
    pub airway_slope_normal_cm: Option<f64>,
    /// Their median straight down, cm
    pub airway_vertical_cm: Option<f64>,
    /// Values to the highest point of the target
    pub top_n: usize,
    /// Their median square to the slope, cm
    pub top_slope_normal_cm: Option<f64>,
    /// Their median straight down, cm
    pub top_vertical_cm: Option<f64>,
    /// Values to a point that nobody said
    pub unknown_n: usize,
    /// Their median square to the slope, cm
    pub unknown_slope_normal_cm: Option<f64>,
    /// Their median straight down, cm
    pub unknown_vertical_cm: Option<f64>,
    /// The point with most values
    pub headline_datum: Option<Datum>,
    /// Its values
    pub headline_n: usize,
    /// Their median as compared, cm
    pub headline_cm: Option<f64>,
    /// The direction in which they were compared
    pub headline_direction: Option<Direction>,
    /// The headline is of lowest readings, since there are no other values
    pub headline_of_readings: bool,
    /// Lowest readings of transceivers
    pub reading_n: usize,
    /// Their median, m
    pub reading_median_m: Option<f64>,
    /// Lowest reading over slope-normal depth
    pub reading_ratio: Option<f64>,
}

/// One run at one target: when each step was reached.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RunRow {
    /// The day
    pub day: DayId,
    /// Its date
    pub date: NaiveDate,
    /// Its area
    pub area: String,
    /// Label of the drill
    pub drill: String,
    /// Label of the target; empty where nobody named it
    pub target: String,
    /// The team that ran it
    pub team: Option<String>,
    /// What was practised
    pub form: Option<DrillForm>,
    /// Label of the drill whose targets were used again
    pub like: Option<String>,
    /// How the target lay
    pub orientation: Option<Orientation>,
    /// Number of targets of the drill
    pub targets: usize,
    /// Steepness of the slope, degrees
    pub slope_deg: Option<f64>,
    /// Time limit from start, s
    pub limit_s: Option<f64>,
    /// The step that stops the clock
    pub stops_at: Option<StopsAt>,
    /// The start, median over its writers; null without a start
    pub started_at: Option<Time>,
    /// First stable signal, s from start
    pub t_signal_s: Option<f64>,
    /// Coarse search ended, s from start
    pub t_coarse_s: Option<f64>,
    /// Lowest reading marked, s from start
    pub t_fine_s: Option<f64>,
    /// First probe hole, s from start
    pub t_probing_s: Option<f64>,
    /// Sure strike, s from start
    pub t_strike_s: Option<f64>,
    /// First shovel stroke, s from start
    pub t_digging_s: Option<f64>,
    /// Airway exposed, s from start
    pub t_airway_s: Option<f64>,
    /// Out of the snow, s from start
    pub t_extricated_s: Option<f64>,
    /// Pauses taken out, s
    pub paused_s: f64,
    /// Largest half width of any step against start, s
    pub uncertainty_s: Option<f64>,
    /// Largest disagreement of writers about one step, s
    pub spread_s: Option<f64>,
    /// End of the drill, s from start
    pub ended_t_s: Option<f64>,
    /// Why it ended
    pub ended_why: Option<EndReason>,
    /// Depth of the target square to the slope, cm: the headline of this run's values
    pub depth_slope_normal_cm: Option<f64>,
    /// Different people who had a turn at this target
    pub people_dug: usize,
}

/// The targets of a day, in the order in which their drills were first written of.
#[must_use]
pub fn targets(view: &View<'_>, left_out: &mut Tally) -> Vec<TargetRow> {
    homes(view).iter().map(|(target, drills)| target_row(view, target, drills, left_out)).collect()
}

/// Each target of a day once, with the drills that used it.
pub(super) fn homes(view: &View<'_>) -> Vec<(TargetRef, Vec<String>)> {
    let mut homes: Vec<(TargetRef, Vec<String>)> = Vec::new();
    for drill in view.drills() {
        for target in view.targets(drill) {
            match homes.iter_mut().find(|(t, _)| t.home == target.home && t.folded == target.folded) {
                Some((_, drills)) => drills.push(drill.clone()),
                None => homes.push((target, vec![drill.clone()])),
            }
        }
    }
    homes
}

fn target_row(view: &View<'_>, target: &TargetRef, drills: &[String], left_out: &mut Tally) -> TargetRow {
    let mut found = Vec::new();
    for drill in drills {
        let slope_deg = view.drill(drill).slope_deg.map(|s| s.0);
        found.extend(values(view, drill, target, &view.targets(drill), slope_deg, left_out));
    }
    let setup = view.drill(&target.home);
    let slope_deg = setup.slope_deg.map(|s| s.0);
    let depth = TargetDepth::from_values(view, target, found, slope_deg, left_out);
    let set = view.target(target);
    let cancelled = |drill: &String| DrillTimes::of(view, drill, &view.targets(drill)).cancelled();
    let of = |datum| depth.consensus.iter().find(|c| c.datum == datum);
    let n = |datum| of(datum).map_or(0, |c| c.n);
    let normal = |datum| of(datum).and_then(|c: &Consensus| c.slope_normal_cm(slope_deg));
    let vertical = |datum| of(datum).and_then(|c: &Consensus| c.vertical_cm(slope_deg));
    TargetRow {
        day: view.record.id,
        date: view.record.date,
        area: view.record.area.clone(),
        drill: setup.label.0.clone(),
        target: target.label.clone(),
        team: setup.team.clone(),
        runs: drills.len(),
        cancelled: drills.iter().all(cancelled),
        item: set.as_ref().and_then(|t| t.item.as_ref()).map(|i| i.0.clone()),
        orientation: set.as_ref().and_then(|t| t.orientation),
        tilt_deg: set.as_ref().and_then(|t| t.tilt_deg).map(|d| d.0),
        transmits: set.as_ref().and_then(|t| t.transmits),
        slope_deg,
        set_depth_cm: depth.set.map(|s| s.depth_cm),
        set_direction: depth.set.map(|s| s.direction),
        set_slope_normal_cm: depth.set.and_then(|s| s.slope_normal_cm),
        set_vertical_cm: depth.set.and_then(|s| s.vertical_cm),
        first_contact_n: n(Datum::FirstContact),
        first_contact_slope_normal_cm: normal(Datum::FirstContact),
        first_contact_vertical_cm: vertical(Datum::FirstContact),
        airway_n: n(Datum::Airway),
        airway_slope_normal_cm: normal(Datum::Airway),
        airway_vertical_cm: vertical(Datum::Airway),
        top_n: n(Datum::Top),
        top_slope_normal_cm: normal(Datum::Top),
        top_vertical_cm: vertical(Datum::Top),
        unknown_n: n(Datum::Unknown),
        unknown_slope_normal_cm: normal(Datum::Unknown),
        unknown_vertical_cm: vertical(Datum::Unknown),
        headline_datum: depth.headline.map(|h| h.datum),
        headline_n: depth.headline.map_or(0, |h| h.n),
        headline_cm: depth.headline.map(|h| h.median_cm),
        headline_direction: depth.headline.map(|h| h.direction),
        headline_of_readings: depth.headline.is_some_and(|h| h.of_readings),
        reading_n: depth.reading.map_or(0, |r| r.n),
        reading_median_m: depth.reading.map(|r| r.median_m),
        reading_ratio: depth.reading.and_then(|r| r.ratio),
    }
}

/// The runs of a day, in the order in which their drills were first written of; those without a start too, with nulls.
#[must_use]
pub fn runs(view: &View<'_>, left_out: &mut Tally) -> Vec<RunRow> {
    let mut rows = Vec::new();
    for drill in DrillRead::all(view) {
        // What a depth leaves out is told with the targets.
        left_out.merge(&drill.times.left_out);
        rows.extend(runs_of(view, &drill));
    }
    rows
}

/// The runs of one drill, one a target.
#[must_use]
pub fn runs_of(view: &View<'_>, drill: &DrillRead) -> Vec<RunRow> {
    (0..drill.targets.len()).map(|at| run_row(view, drill, at)).collect()
}

fn run_row(view: &View<'_>, drill: &DrillRead, at: usize) -> RunRow {
    let (setup, times, line) = (&drill.setup, &drill.times, &drill.times.targets[at]);
    let slope_deg = setup.slope_deg.map(|s| s.0);
    let measured = drill.depths[at].headline.filter(|h| !h.of_readings);
    RunRow {
        day: view.record.id,
        date: view.record.date,
        area: view.record.area.clone(),
        drill: setup.label.0.clone(),
        target: line.label.clone(),
        team: setup.team.clone(),
        form: setup.form,
        like: setup.like.as_ref().map(|l| l.0.clone()),
        orientation: view.target(&drill.targets[at]).and_then(|t| t.orientation),
        targets: drill.targets.len(),
        slope_deg,
        limit_s: setup.limit_s.map(|l| l.0),
        stops_at: setup.stops_at,
        started_at: times.started_at,
        t_signal_s: line.t_signal_s,
        t_coarse_s: line.t_coarse_s,
        t_fine_s: line.t_fine_s,
        t_probing_s: line.t_probing_s,
        t_strike_s: line.t_strike_s,
        t_digging_s: line.t_digging_s,
        t_airway_s: line.t_airway_s,
        t_extricated_s: line.t_extricated_s,
        paused_s: line.paused_s,
        uncertainty_s: line.uncertainty_s,
        spread_s: line.spread_s,
        ended_t_s: line.ended.and_then(|e| e.t_s),
        ended_why: line.ended.and_then(|e| e.why),
        depth_slope_normal_cm: measured.and_then(|h| h.slope_normal_cm(slope_deg)),
        people_dug: people_dug(view, &drill.folded, at),
    }
}

fn people_dug(view: &View<'_>, drill: &str, at: usize) -> usize {
    let mut people = BTreeSet::new();
    for told in view.of_drill(drill).iter().filter(|told| told.at_target == Some(at)) {
        let Body::Rotation(turn) = &told.entry.body else { continue };
        let dug = turn.front.iter().chain(turn.shovellers.iter().flatten());
        people.extend(dug.map(|who| view.things.person(&who.0)));
    }
    people.len()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use crate::insight::testing::record;

    #[test]
    fn a_target_used_again_is_one_row_and_two_runs() {
        let record = record(
            r#"
            {"kind":"drill","at":"10:00:00","label":"1","team":"Red","slope_deg":0,"limit_s":600}
            {"kind":"target","at":"10:00:00","drill":"1","label":"A","set_depth_cm":110,"direction":"vertical"}
            {"kind":"moment","at":"10:05:00","drill":"1","step":"start"}
            {"kind":"strike","at":"10:08:00","drill":"1","target":"A","outcome":"hit","depth_cm":100}
            {"kind":"rotation","at":"10:09:00","drill":"1","front":"P1","shovellers":["P2","P1"]}
            {"kind":"drill","at":"11:00:00","label":"2","team":"Blue","like":"1"}
            {"kind":"moment","at":"11:05:00","drill":"2","step":"start"}
            {"kind":"strike","at":"11:09:00","drill":"2","target":"A","outcome":"hit","depth_cm":104}
            {"kind":"moment","at":"11:20:00","drill":"2","step":"end","why":"cancelled"}
        "#,
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let mut left_out = Tally::default();
        let targets = targets(&view, &mut left_out);
        assert_eq!(targets.len(), 1);
        let a = &targets[0];
        assert_eq!((a.drill.as_str(), a.target.as_str(), a.runs, a.cancelled), ("1", "A", 2, false));
        assert_eq!((a.first_contact_n, a.first_contact_vertical_cm), (2, Some(102.0)));
        assert_eq!((a.airway_n, a.airway_vertical_cm, a.set_slope_normal_cm), (0, None, Some(110.0)));
        let runs = runs(&view, &mut left_out);
        let told: Vec<_> = runs.iter().map(|r| (r.drill.as_str(), r.t_strike_s, r.people_dug)).collect();
        assert_eq!(told, [("1", Some(180.0), 2), ("2", Some(240.0), 0)]);
        assert_eq!((runs[1].limit_s, runs[1].team.as_deref()), (Some(600.0), Some("Blue")));
        assert_eq!(runs[1].ended_why, Some(EndReason::Cancelled));
        assert!(left_out.list().is_empty());
    }
}
