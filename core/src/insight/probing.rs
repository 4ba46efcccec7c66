//! The probing of a drill: each pass of a probe line with its chance of detection, and each strike. The geometry is in `field::probing`.

use super::left_out::{Tally, reason};
use super::timeline::DrillTimes;
use super::view::{TargetRef, View};
use crate::entry::{self, EntryId, Outcome};
use crate::field::probing::{Body, BodyPod, Lattice};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// The bodies for which chances of detection are stated: lying adults, long side by short side, and an upright one. Sizes that were chosen
/// for this log; those behind the published figures are not known.
pub const BODIES: [Body; 3] = [
    Body::Rectangle { length_cm: 170.0, width_cm: 45.0 },
    Body::Rectangle { length_cm: 170.0, width_cm: 30.0 },
    Body::Rectangle { length_cm: 50.0, width_cm: 30.0 },
];

/// A pass of a probe line.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Pass {
    /// Spacing of the holes square to the walk, cm
    pub across_cm: f64,
    /// Spacing of the holes along the walk, cm
    pub along_cm: f64,
    /// People in the line
    pub probers: Option<u32>,
    /// Start, s from the drill's start
    pub from_s: Option<f64>,
    /// End, s from the drill's start
    pub to_s: Option<f64>,
    /// Area that was probed, m2
    pub area_m2: Option<f64>,
    /// How deep was probed, cm: chances hold for bodies no deeper
    pub depth_cm: Option<f64>,
    /// Holes as counted
    pub holes: Option<u32>,
    /// Holes that the area takes at this spacing
    pub holes_by_spacing: Option<f64>,
    /// Holes per m2 at this spacing
    pub holes_per_m2: Option<f64>,
    /// Time a prober took for one hole, s: modelled from holes, probers and the time of the pass
    pub seconds_a_hole: Option<f64>,
    /// Chance of detection of stated bodies, anywhere in the area with equal chance: an upper bound from plane geometry
    pub bodies: Vec<BodyPod>,
}

/// A probe strike at a target.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct StrikeLine {
    /// What it turned out to be; null if nobody said
    pub outcome: Option<Outcome>,
    /// When, s from start
    pub t_s: Option<f64>,
    /// Who probed, by call sign
    pub person: Option<String>,
    /// Depth read off the probe, cm
    pub depth_cm: Option<f64>,
    /// Distance of the strike from the mark of the lowest reading, cm
    pub from_mark_cm: Option<f64>,
    /// Probe holes up to and with this one
    pub holes: Option<u32>,
    /// Lowest distance the transceiver showed before probing, m
    pub lowest_reading_m: Option<f64>,
}

/// The passes of a drill, twins once, in the order of time.
#[must_use]
pub fn passes(view: &View<'_>, drill: &str, times: &DrillTimes, left_out: &mut Tally) -> Vec<Pass> {
    let told = view.of_drill(drill).iter().copied();
    let mut chances: BTreeMap<(u64, u64), Vec<BodyPod>> = BTreeMap::new();
    let mut passes = Vec::new();
    for told in view.once(told.filter(|t| matches!(t.entry.body, entry::Body::ProbePass(_)))) {
        let entry::Body::ProbePass(pass) = &told.entry.body else { continue };
        if !told.settled(&[
            "at",
            "across_cm",
            "along_cm",
            "probers",
            "length_m",
            "width_m",
            "holes",
            "ended_at",
        ]) {
            left_out.add(reason::CONFLICT);
            continue;
        }
        let (across_cm, along_cm) = (pass.across_cm.0, pass.along_cm.0);
        let lattice = Lattice::new(across_cm, along_cm).ok();
        let bodies = chances.entry((across_cm.to_bits(), along_cm.to_bits())).or_insert_with(|| {
            let of = |body| lattice.as_ref().and_then(|l| l.body_pod(body, 1).ok());
            BODIES.into_iter().filter_map(of).collect()
        });
        // The end was read off the same clock as the beginning.
        let from_s = times.since_start_s(view, told, told.entry.common.at);
        let to_s = pass.ended_at.and_then(|ended| times.since_start_s(view, told, ended));
        let area_m2 = pass.length_m.zip(pass.width_m).map(|(l, w)| l.0 * w.0);
        let holes_per_m2 = lattice.as_ref().map(Lattice::holes_per_m2);
        let holes_by_spacing = area_m2.zip(holes_per_m2).map(|(area, per_m2)| area * per_m2);
        let holes = pass.holes.map(f64::from).or(holes_by_spacing).filter(|h| *h > 0.0);
        let took_s = to_s.zip(from_s).map(|(to, from)| to - from).filter(|took| *took > 0.0);
        passes.push(Pass {
            across_cm,
            along_cm,
            probers: pass.probers,
            from_s,
            to_s,
            area_m2,
            depth_cm: pass.depth_cm.map(|d| d.0),
            holes: pass.holes,
            holes_by_spacing,
            holes_per_m2,
            seconds_a_hole: took_s
                .zip(holes)
                .zip(pass.probers)
                .map(|((took, holes), probers)| took * f64::from(probers) / holes),
            bodies: bodies.clone(),
        });
    }
    passes
}

/// The strikes at one target of a drill, twins once, in the order of time.
#[must_use]
pub fn strikes(
    view: &View<'_>,
    drill: &str,
    target: &TargetRef,
    targets: &[TargetRef],
    times: &DrillTimes,
) -> Vec<StrikeLine> {
    let at = target.place_in(targets);
    let of_target = view.of_drill(drill).iter().copied().filter(|t| at.is_some() && t.at_target == at);
    let mut events: BTreeMap<EntryId, StrikeLine> = BTreeMap::new();
    let mut order = Vec::new();
    for told in of_target {
        let entry::Body::Strike(strike) = &told.entry.body else { continue };
        let known = |field: &str| told.settled(&[field]);
        let t_s = times.since_start_s(view, told, told.entry.common.at);
        let person = strike.person.as_ref().filter(|_| known("person"));
        let line = StrikeLine {
            outcome: strike.outcome.filter(|_| known("outcome")),
            t_s: t_s.filter(|_| known("at")),
            person: person.map(|p| view.call_sign(&view.things.person(&p.0))),
            depth_cm: strike.depth_cm.map(|d| d.0).filter(|_| known("depth_cm")),
            from_mark_cm: strike.from_mark_cm.map(|d| d.0).filter(|_| known("from_mark_cm")),
            holes: strike.holes.filter(|_| known("holes")),
            lowest_reading_m: strike.lowest_reading_m.map(|r| r.0).filter(|_| known("lowest_reading_m")),
        };
        let group = view.groups.first(told.noted.id);
        match events.get_mut(&group) {
            Some(first) => first.complete(line),
            None => {
                order.push(group);
                events.insert(group, line);
            }
        }
    }
    order.iter().filter_map(|group| events.remove(group)).collect()
}

impl StrikeLine {
    /// Takes what only the twin says.
    fn complete(&mut self, twin: StrikeLine) {
        self.outcome = self.outcome.or(twin.outcome);
        self.t_s = self.t_s.or(twin.t_s);
        self.person = self.person.take().or(twin.person);
        self.depth_cm = self.depth_cm.or(twin.depth_cm);
        self.from_mark_cm = self.from_mark_cm.or(twin.from_mark_cm);
        self.holes = self.holes.or(twin.holes);
        self.lowest_reading_m = self.lowest_reading_m.or(twin.lowest_reading_m);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use crate::insight::testing::record;

    #[test]
    fn a_pass_states_its_chances() {
        let record = record(
            r#"
            {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
            {"kind":"probe_pass","at":"10:10:00","drill":"1","across_cm":50,"along_cm":50,"probers":5,"length_m":10,"width_m":5,"ended_at":"10:16:40"}
        "#,
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let times = DrillTimes::of(&view, "1", &view.targets("1"));
        let passes = passes(&view, "1", &times, &mut Tally::default());
        let pass = &passes[0];
        // 50 m2 at 4 holes a m2 are 200 holes; 400 s by 5 people are 10 s a hole.
        assert_eq!(
            (pass.area_m2, pass.holes_per_m2, pass.holes_by_spacing),
            (Some(50.0), Some(4.0), Some(200.0))
        );
        assert_eq!((pass.from_s, pass.to_s, pass.seconds_a_hole), (Some(600.0), Some(1000.0), Some(10.0)));
        // Trade facts, section 4: 170 x 45 cm on 50 x 50 cm is found with 0.90 where aligned, 0.99723 at any angle.
        assert!((pass.bodies[0].aligned.length_along - 0.90).abs() < 1e-9);
        assert!((pass.bodies[0].any_orientation - 0.99723).abs() < 1e-4);
        assert!((pass.bodies[2].any_orientation - 0.59223).abs() < 1e-4);
    }
}
