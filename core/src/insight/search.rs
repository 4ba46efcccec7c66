//! How a drill's field was walked: each searcher's way, and how straight it was.

use super::left_out::Tally;
use super::timeline::DrillTimes;
use super::tracks::walks;
use super::view::View;
use crate::entry::Drill;
use schemars::JsonSchema;
use serde::Serialize;

/// The search of a drill.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Search {
    /// Each way, from start to the walker's own first signal, else to the end
    pub walks: Vec<WalkLine>,
}

/// One way through the field.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct WalkLine {
    /// Who walked, by call sign
    pub call_sign: String,
    /// First point, s from start
    pub from_s: f64,
    /// Last point, s from start
    pub to_s: f64,
    /// Number of points
    pub points: usize,
    /// Length of the way along the surface, m
    pub path_m: f64,
    /// Straight distance from its first to its last point along the surface, m
    pub straight_m: f64,
    /// Way over straight distance, 1 or more; null where first and last point are one
    pub path_over_straight: Option<f64>,
}

impl Search {
    /// The search of a drill.
    #[must_use]
    pub fn of(
        view: &View<'_>,
        drill: &str,
        setup: &Drill,
        times: &DrillTimes,
        left_out: &mut Tally,
    ) -> Search {
        let walks = walks(view, drill, setup, times, left_out);
        let line = |walk: &super::tracks::Walk| {
            let apart = |a: &[f64; 2], b: &[f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
            let path_m: f64 = walk.at_m.windows(2).map(|pair| apart(&pair[0], &pair[1])).sum();
            let ends = walk.at_m.first().zip(walk.at_m.last());
            let straight_m = ends.map_or(0.0, |(first, last)| apart(first, last));
            WalkLine {
                call_sign: view.call_sign(&walk.person),
                from_s: walk.t_s.first().copied().unwrap_or(0.0),
                to_s: walk.t_s.last().copied().unwrap_or(0.0),
                points: walk.at_m.len(),
                path_m,
                straight_m,
                path_over_straight: (straight_m > 0.0).then(|| path_m / straight_m),
            }
        };
        Search { walks: walks.iter().map(line).collect() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::day::Groups;
    use crate::insight::clocks::RawClocks;
    use crate::insight::testing::record;

    fn search(lines: &str) -> (Search, Tally) {
        let record = record(lines);
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let times = DrillTimes::of(&view, "1", &view.targets("1"));
        let mut left_out = Tally::default();
        (Search::of(&view, "1", &view.drill("1"), &times, &mut left_out), left_out)
    }

    /// 2027-02-06T10:00:00+01:00 is 1801904400000 ms.
    #[test]
    fn a_way_counts_from_start_to_the_walkers_own_signal() {
        let (found, left_out) = search(
            r#"
            {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
            {"kind":"moment","at":"10:01:00","drill":"1","step":"signal","person":"S1"}
            {"kind":"moment","at":"10:00:30","drill":"1","step":"signal","person":"S2"}
            {"kind":"track","at":"09:59:50","drill":"1","person":"S1","points":{"t_ms":[1801904390000,20000,20000,-5000,25000,20000],"x":[0,0,30,500,-500,100],"y":[0,0,0,0,40,100]}}
        "#,
        );
        // Points at -10, 10, 30, 25 (gone back), 50 and 70 s: those at 10, 30 and 50 s count: 30 m right, 40 m up.
        let way = &found.walks[0];
        assert_eq!((way.call_sign.as_str(), way.points, way.from_s, way.to_s), ("S1", 3, 10.0, 50.0));
        assert_eq!((way.path_m, way.straight_m), (70.0, 50.0));
        assert_eq!(way.path_over_straight, Some(1.4));
        assert!(left_out.list().is_empty());
    }

    #[test]
    fn a_track_on_the_earth_needs_the_drills_place() {
        let (found, left_out) = search(
            r#"
            {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
            {"kind":"track","at":"10:00:00","drill":"1","person":"S1","frame":"lonlat_e7","points":{"t_ms":[1801904400000],"x":[100000000],"y":[470000000]}}
        "#,
        );
        assert!(found.walks.is_empty());
        assert!(left_out.list()[0].reason.contains("origin"));
    }
}
