//! Where things lay and where people walked in a drill, in metres of its grid: what a plan of the site is drawn from. How the search is
//! judged is in `search`; nothing is judged here.

use super::drill::DrillRead;
use super::left_out::Tally;
use super::search::field;
use super::thresholds::Thresholds;
use super::tracks::{grid, walks};
use super::view::{Told, View};
use crate::entry::{Body, Outcome, fold};
use crate::field::geo::DrillGrid;
use crate::field::lanes::{LaneSettings, plan_lanes};
use schemars::JsonSchema;
use serde::Serialize;

/// The site of a drill: x to the right and y uphill along the surface, m.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Site {
    /// Label of the drill
    pub drill: String,
    /// Corners of the field; empty where neither outline nor width and length were written
    pub outline_m: Vec<[f64; 2]>,
    /// Lanes that the strip width of the settings takes, lower and upper end; empty without a field
    pub lanes_m: Vec<[[f64; 2]; 2]>,
    /// The ways that were walked, from start to the walker's own first signal, else to the end
    pub tracks: Vec<SiteTrack>,
    /// Targets whose place was written
    pub targets: Vec<SitePoint>,
    /// Probe strikes whose place was written
    pub strikes: Vec<SiteStrike>,
}

/// A way.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SiteTrack {
    /// Who walked, by call sign
    pub call_sign: String,
    /// Its points, m
    pub points_m: Vec<[f64; 2]>,
}

/// A target.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SitePoint {
    /// Label of the target
    pub label: String,
    /// Where it lay, m
    pub at_m: [f64; 2],
}

/// A probe strike.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SiteStrike {
    /// Label of the target; null where nobody named it
    pub target: Option<String>,
    /// What it turned out to be
    pub outcome: Option<Outcome>,
    /// Where, m
    pub at_m: [f64; 2],
}

impl Site {
    /// Whether there is anything to draw: a plan of nothing is not drawn.
    #[must_use]
    pub fn is_bare(&self) -> bool {
        self.tracks.is_empty()
            && self.targets.is_empty()
            && self.strikes.is_empty()
            && self.outline_m.is_empty()
    }
}

/// The sites of a day's drills, or of one drill by label, in the order in which the drills were first written of.
#[must_use]
pub fn sites(view: &View<'_>, only_drill: Option<&str>, thresholds: &Thresholds) -> Vec<Site> {
    let wanted = only_drill.map(|label| view.things.drill(label));
    let drills = DrillRead::all(view).into_iter();
    let drills = drills.filter(|d| wanted.as_ref().is_none_or(|w| *w == d.folded));
    drills.map(|drill| site(view, &drill, thresholds)).collect()
}

fn site(view: &View<'_>, drill: &DrillRead, thresholds: &Thresholds) -> Site {
    let mut site = Site { drill: drill.setup.label.0.clone(), ..Site::default() };
    if let Ok(field) = field(&drill.setup) {
        let spacing_m = thresholds.strip_width_m;
        let settings = LaneSettings { spacing_m, edge_m: 0.5 * spacing_m, ..LaneSettings::default() };
        let lanes = plan_lanes(&field, settings).map(|plan| plan.lanes).unwrap_or_default();
        let ends = lanes
            .iter()
            .flat_map(|lane| lane.segments.iter().map(|s| [[lane.x_m, s.from_y_m], [lane.x_m, s.to_y_m]]));
        site.lanes_m = ends.collect();
        site.outline_m = corners(drill);
    }
    // What could not be used of tracks is told by the search.
    let walked = walks(view, &drill.folded, &drill.setup, &drill.times, &mut Tally::default());
    let track = |walk: super::tracks::Walk| SiteTrack {
        call_sign: view.call_sign(&walk.person),
        points_m: walk.at_m,
    };
    site.tracks = walked.into_iter().map(track).collect();
    let grid = grid(&drill.setup);
    for target in &drill.targets {
        let declares =
            |t: &&Told<'_>| matches!(&t.entry.body, Body::Target(b) if fold(&b.label.0) == target.folded);
        let place = view.of_drill(&target.home).iter().filter(declares).find_map(|t| place(t, grid.as_ref()));
        site.targets.extend(place.map(|at_m| SitePoint { label: target.label.clone(), at_m }));
    }
    let strikes = view.of_drill(&drill.folded).iter().copied();
    let strikes = view.once(strikes.filter(|t| matches!(t.entry.body, Body::Strike(_))));
    site.strikes.extend(strikes.into_iter().filter_map(|told| {
        let Body::Strike(strike) = &told.entry.body else { return None };
        let at_m = place(&told, grid.as_ref())?;
        let target = told.at_target.and_then(|i| drill.targets.get(i)).map(|t| t.label.clone());
        Some(SiteStrike { target: target.filter(|t| !t.is_empty()), outcome: strike.outcome, at_m })
    }));
    site
}

fn corners(drill: &DrillRead) -> Vec<[f64; 2]> {
    match (&drill.setup.outline, drill.setup.width_m, drill.setup.length_m) {
        (Some(ring), _, _) => ring.clone(),
        (None, Some(w), Some(l)) => vec![[0.0, 0.0], [w.0, 0.0], [w.0, l.0], [0.0, l.0]],
        _ => Vec::new(),
    }
}

/// Where an entry was written, in the drill's grid; `None` where nobody said, or only on the earth and the grid has no place there.
fn place(told: &Told<'_>, grid: Option<&DrillGrid>) -> Option<[f64; 2]> {
    let common = &told.entry.common;
    if let (Some(x), Some(y)) = (common.x_m, common.y_m) {
        return told.settled(&["x_m", "y_m"]).then_some([x.0, y.0]);
    }
    let (lat, lon) = (common.lat?.0, common.lon?.0);
    told.settled(&["lat", "lon"]).then(|| grid?.to_grid_m(lat, lon).ok())?
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use crate::insight::testing::record;

    #[test]
    fn a_site_holds_field_lanes_ways_targets_and_strikes() {
        let record = record(
            r#"
            {"kind":"drill","at":"10:00:00","label":"1","width_m":80,"length_m":50}
            {"kind":"target","at":"10:01:00","drill":"1","label":"A","x_m":12,"y_m":30}
            {"kind":"target","at":"10:01:00","drill":"1","label":"B"}
            {"kind":"moment","at":"10:05:00","drill":"1","step":"start"}
            {"kind":"track","at":"10:05:00","drill":"1","person":"S1","points":{"t_ms":[1801904700000,10000,10000],"x":[20,0,-8],"y":[0,25,5]}}
            {"kind":"strike","at":"10:08:20","drill":"1","target":"a","outcome":"hit","x_m":12.5,"y_m":29}
            {"kind":"strike","at":"10:08:00","drill":"1","target":"A","outcome":"false_strike"}
            {"kind":"moment","at":"12:00:00","drill":"2","step":"start"}
        "#,
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let sites = sites(&view, None, &Thresholds::default());
        assert_eq!(sites.len(), 2);
        let one = &sites[0];
        assert_eq!(one.outline_m.len(), 4);
        assert_eq!(one.lanes_m, [[[20.0, 0.0], [20.0, 50.0]], [[60.0, 0.0], [60.0, 50.0]]]);
        assert_eq!(one.tracks[0].points_m, [[20.0, 0.0], [20.0, 25.0], [12.0, 30.0]]);
        assert_eq!(one.targets, [SitePoint { label: "A".to_owned(), at_m: [12.0, 30.0] }]);
        assert_eq!(one.strikes.len(), 1);
        assert_eq!((one.strikes[0].target.as_deref(), one.strikes[0].at_m), (Some("A"), [12.5, 29.0]));
        assert!(sites[1].is_bare() && !one.is_bare());
        assert_eq!(super::sites(&view, Some("2"), &Thresholds::default()).len(), 1);
    }
}
