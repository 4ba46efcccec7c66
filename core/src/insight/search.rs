//! How a drill's field was searched: what share of it the tracks cover, where the gaps are, and how straight each searcher walked. The
//! geometry is in `field::coverage`.

use super::left_out::Tally;
use super::thresholds::Thresholds;
use super::timeline::DrillTimes;
use super::tracks::{Walk, walks};
use super::view::View;
use crate::entry::Drill;
use crate::field::coverage::{Gap, coverage, path_efficiency};
use crate::field::outline::Outline;
use crate::stats::total;
use schemars::JsonSchema;
use serde::Serialize;

/// The search of a drill.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Search {
    /// Share of the drill's field that lies within half a strip width of a way, 0 to 1; null with the reason beside it
    pub coverage: Option<f64>,
    /// Why the coverage is unknown
    pub coverage_why: Option<String>,
    /// Area searched within the field, m2
    pub covered_m2: Option<f64>,
    /// Area of the field along the surface, m2
    pub field_m2: Option<f64>,
    /// Width of the strip that each way covers, m
    pub strip_width_m: f64,
    /// Parts of the field that no way covers, largest first, in the drill's grid
    pub gaps: Vec<Gap>,
    /// Each way, from start to the walker's own first signal, else to the end
    pub walks: Vec<WalkLine>,
}

/// One way through the field.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
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
        thresholds: &Thresholds,
        left_out: &mut Tally,
    ) -> Search {
        let walks = walks(view, drill, setup, times, left_out);
        let strip_width_m = thresholds.strip_width_m;
        let walked = walks.iter().map(|walk| WalkLine::of(view, walk)).collect();
        let mut search = Search { walks: walked, strip_width_m, ..Search::default() };
        let tracks: Vec<Vec<[f64; 2]>> = walks.into_iter().map(|walk| walk.at_m).collect();
        let field = match field(setup) {
            Ok(field) => field,
            Err(why) => return Search { coverage_why: Some(why), ..search },
        };
        search.field_m2 = Some(field.area_m2());
        if tracks.is_empty() {
            search.coverage_why = Some("nobody's track of this search was written".to_owned());
            return search;
        }
        match coverage(&field, &tracks, strip_width_m) {
            Err(why) => search.coverage_why = Some(why.to_string()),
            Ok(covered) => {
                search.coverage = Some(covered.share);
                search.covered_m2 = Some(covered.covered_m2);
                search.gaps = covered.gaps;
            }
        }
        search
    }
}

impl WalkLine {
    fn of(view: &View<'_>, walk: &Walk) -> WalkLine {
        let apart = |a: &[f64; 2], b: &[f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
        let ends = walk.at_m.first().zip(walk.at_m.last());
        WalkLine {
            call_sign: view.call_sign(&walk.person),
            from_s: walk.t_s.first().copied().unwrap_or(0.0),
            to_s: walk.t_s.last().copied().unwrap_or(0.0),
            points: walk.at_m.len(),
            path_m: total(walk.at_m.windows(2).map(|pair| apart(&pair[0], &pair[1]))),
            straight_m: ends.map_or(0.0, |(first, last)| apart(first, last)),
            path_over_straight: path_efficiency(&walk.at_m).ok().flatten(),
        }
    }
}

/// The field of a drill: its outline, else its width and length.
pub(super) fn field(setup: &Drill) -> Result<Outline, String> {
    match (&setup.outline, setup.width_m, setup.length_m) {
        (Some(ring), _, _) => Outline::new(ring, &[]).map_err(|e| e.to_string()),
        (None, Some(width), Some(length)) => Outline::rectangle(width.0, length.0).map_err(|e| e.to_string()),
        _ => Err("neither an outline nor width and length of the field were written".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use crate::insight::testing::record;

    fn search(lines: &str) -> (Search, Tally) {
        let record = record(lines);
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let times = DrillTimes::of(&view, "1", &view.targets("1"));
        let mut left_out = Tally::default();
        (Search::of(&view, "1", &view.drill("1"), &times, &Thresholds::default(), &mut left_out), left_out)
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
            {"kind":"track","at":"10:00:00","drill":"1","person":"S1","frame":"lonlat","points":{"t_ms":[1801904400000],"x":[100000000],"y":[470000000]}}
        "#,
        );
        assert!(found.walks.is_empty());
        assert!(found.coverage_why.unwrap().contains("outline"));
        assert!(left_out.list()[0].reason.contains("origin"));
    }

    #[test]
    fn one_lane_of_two_leaves_half_the_field() {
        // A field of 80 x 100 m, walked once up its left lane at x = 20 m: 40 x 100 m searched, 40 x 100 m left.
        let (found, _) = search(
            r#"
            {"kind":"drill","at":"09:50:00","label":"1","width_m":80,"length_m":100}
            {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
            {"kind":"track","at":"10:00:00","drill":"1","person":"S1","points":{"t_ms":[1801904400000,60000],"x":[20,0],"y":[0,100]}}
        "#,
        );
        assert!((found.coverage.unwrap() - 0.5).abs() < 1e-6);
        assert_eq!((found.field_m2, found.gaps.len()), (Some(8000.0), 1));
        assert!((found.gaps[0].area_m2 - 4000.0).abs() < 0.1);
    }

    #[test]
    fn an_outline_that_crosses_itself_is_refused_in_words() {
        let (found, _) = search(
            r#"
            {"kind":"drill","at":"09:50:00","label":"1","outline":[[0,0],[10,10],[10,0],[0,10]]}
            {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
        "#,
        );
        assert!(found.coverage.is_none());
        assert!(found.coverage_why.unwrap().contains("5"), "the crossing point is named");
    }
}
