//! Lanes of the signal search: where searchers walk uphill or downhill so that nothing is farther from a walker than
//! half the spacing, or the edge distance at the flanks. Lanes are straight and parallel to y. A lane is walked as
//! far as any part of its strip lies in the outline, so the promise also holds where an outline bends, forks or
//! narrows beside the lane; how much of a lane then leaves the outline is said, not hidden.

use schemars::JsonSchema;
use serde::Serialize;

use super::outline::Outline;
use super::source::Source;
use super::{FieldError, within};

/// Spacing of lanes, m.
pub const SPACING_M: f64 = 40.0;
/// Distance of the outer lanes from the flanks, m.
pub const EDGE_M: f64 = 20.0;
/// Where [`SPACING_M`] and [`EDGE_M`] come from.
pub const SPACING_SOURCE: Source = Source::common_practice("40 m between searchers, 20 m from the flanks");
/// Walking speed on debris, m/min, where none was measured.
pub const WALK_M_PER_MIN: f64 = 50.0;
/// Where [`WALK_M_PER_MIN`] comes from.
pub const WALK_SOURCE: Source = Source::common_practice("3 km/h on debris while searching; measure your own");

/// Most lanes in one plan.
const MOST_LANES: usize = 10_000;

/// Where the lanes lie, in m from the left edge of an area `width_m` wide: one in the middle where the two edge distances
/// cover it, else evenly from edge to edge with at most `spacing_m` between. Counted in whole millimetres.
///
/// # Errors
/// A width or spacing outside 0.001 to 100,000 m, an edge outside 0 to 100,000 m, more than 10,000 lanes.
pub fn lane_offsets_m(width_m: f64, spacing_m: f64, edge_m: f64) -> Result<Vec<f64>, FieldError> {
    let width_m = within("the width", width_m, 0.001, 100_000.0, "m")?;
    let spacing_m = within("the spacing", spacing_m, 0.001, 100_000.0, "m")?;
    let edge_m = within("the edge distance", edge_m, 0.0, 100_000.0, "m")?;
    let between_m = width_m - 2.0 * edge_m;
    let millimetres = |metres: f64| (metres * 1000.0).round() as u64;
    if between_m <= 0.0 || millimetres(between_m) == 0 {
        return Ok(vec![0.5 * width_m]);
    }
    let gaps = millimetres(between_m).div_ceil(millimetres(spacing_m).max(1));
    if gaps >= MOST_LANES as u64 {
        return Err(FieldError::TooMany {
            what: "lanes",
            count: gaps as f64 + 1.0,
            max: MOST_LANES,
            remedy: "take a wider spacing",
        });
    }
    Ok((0..=gaps).map(|gap| edge_m + between_m * gap as f64 / gaps as f64).collect())
}

/// Spacing, edge, people and speed of a plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LaneSettings {
    /// Largest distance between lanes, m.
    pub spacing_m: f64,
    /// Distance of the outer lanes from the flanks, m.
    pub edge_m: f64,
    /// People who walk side by side.
    pub searchers: u32,
    /// How fast they walk, m/min.
    pub walk_m_per_min: f64,
}

impl Default for LaneSettings {
    fn default() -> Self {
        Self { spacing_m: SPACING_M, edge_m: EDGE_M, searchers: 1, walk_m_per_min: WALK_M_PER_MIN }
    }
}

/// Who walks where.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LanePlan {
    /// The lanes from left to right, as seen looking uphill.
    pub lanes: Vec<Lane>,
    /// How often the row walks.
    pub passes: u32,
    /// Distance between neighbouring lanes as planned, m; null with one lane.
    pub spacing_walked_m: Option<f64>,
    /// The longest walk of one searcher, m: lanes and the straight ways between them.
    pub longest_walk_m: f64,
    /// How long that takes, min.
    pub minutes: f64,
    /// Metres of all lanes that lie outside the outline or over a hole.
    pub outside_m: f64,
}

/// One lane.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Lane {
    /// From left to right, from 1.
    pub n: u32,
    /// From the outline's left end, m.
    pub offset_m: f64,
    /// In the grid, m.
    pub x_m: f64,
    /// Metres searched: all segments.
    pub length_m: f64,
    /// Of them outside the outline or over a hole, with outline beside.
    pub outside_m: f64,
    /// Who walks it, from 1.
    pub searcher: u32,
    /// In which pass, from 1.
    pub pass: u32,
    /// From bottom to top.
    pub segments: Vec<LaneSegment>,
}

/// A piece of a lane.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct LaneSegment {
    /// Its lower end, m.
    pub from_y_m: f64,
    /// Its upper end, m.
    pub to_y_m: f64,
}

/// Lays lanes over an outline. Every point of the outline is within half the spacing walked of a lane's segment, or within
/// the edge distance (half the width if one lane does) beyond the outer lanes.
///
/// # Errors
/// Settings out of range, more than 10,000 lanes.
pub fn plan_lanes(outline: &Outline, settings: LaneSettings) -> Result<LanePlan, FieldError> {
    let searchers =
        within("the number of searchers", f64::from(settings.searchers), 1.0, 1000.0, "people")? as u32;
    let speed = within("the walking speed", settings.walk_m_per_min, 1.0, 1000.0, "m/min")?;
    let ([left_m, right_m], _) = outline.extent_m();
    let offsets_m = lane_offsets_m(right_m - left_m, settings.spacing_m, settings.edge_m)?;
    let middle = |a: f64, b: f64| left_m + 0.5 * (a + b);
    let mut lanes = Vec::with_capacity(offsets_m.len());
    for (index, &offset_m) in offsets_m.iter().enumerate() {
        let from_x = index.checked_sub(1).map_or(left_m, |before| middle(offsets_m[before], offset_m));
        let to_x = offsets_m.get(index + 1).map_or(right_m, |after| middle(offset_m, *after));
        let x_m = left_m + offset_m;
        let segments = shadow(outline, from_x, to_x);
        let length_m = segments.iter().map(|segment| segment.to_y_m - segment.from_y_m).sum::<f64>();
        let index = index as u32;
        lanes.push(Lane {
            n: index + 1,
            offset_m,
            x_m,
            length_m,
            outside_m: (length_m - inside_m(outline, x_m)).max(0.0),
            searcher: index % searchers + 1,
            pass: index / searchers + 1,
            segments,
        });
    }
    let longest_walk_m = (1..=searchers).map(|who| walk_m(&lanes, who)).fold(0.0, f64::max);
    Ok(LanePlan {
        passes: (lanes.len() as u32).div_ceil(searchers),
        spacing_walked_m: offsets_m.get(1).map(|second| second - offsets_m[0]),
        longest_walk_m,
        minutes: longest_walk_m / speed,
        outside_m: lanes.iter().map(|lane| lane.outside_m).sum(),
        lanes,
    })
}

/// Walk of one searcher: up the first of their lanes, down the next, straight from the end of one to the start of
/// the other, and straight over the gaps within a lane.
fn walk_m(lanes: &[Lane], searcher: u32) -> f64 {
    let mut here: Option<[f64; 2]> = None;
    let mut walked_m = 0.0;
    for lane in lanes.iter().filter(|lane| lane.searcher == searcher) {
        let Some((bottom, top)) = lane.segments.first().zip(lane.segments.last()) else { continue };
        let ends = [bottom.from_y_m, top.to_y_m];
        let [start, end] = if lane.pass % 2 == 1 { ends } else { [ends[1], ends[0]] };
        walked_m += here.map_or(0.0, |[x, y]| (lane.x_m - x).hypot(start - y)) + (end - start).abs();
        here = Some([lane.x_m, end]);
    }
    walked_m
}

/// The outline between two x, seen from the side: which y it occupies, as joined segments from bottom to top.
fn shadow(outline: &Outline, from_x: f64, to_x: f64) -> Vec<LaneSegment> {
    let mut stops: Vec<f64> = Vec::new();
    for edge in outline.edges() {
        let (a, b) = (edge.start, edge.end);
        if from_x <= a.x && a.x <= to_x {
            stops.push(a.y);
        }
        for x in [from_x, to_x] {
            if (a.x < x) != (b.x < x) {
                stops.push(a.y + (x - a.x) / (b.x - a.x) * (b.y - a.y));
            }
        }
    }
    stops.sort_by(f64::total_cmp);
    stops.dedup();
    let mut segments: Vec<LaneSegment> = Vec::new();
    for pair in stops.windows(2) {
        let middle_y = 0.5 * (pair[0] + pair[1]);
        let row = crossings(outline, |p| [p[1], p[0]], middle_y);
        if !row.chunks_exact(2).any(|inside| inside[0] < to_x && inside[1] > from_x) {
            continue;
        }
        match segments.last_mut() {
            Some(last) if last.to_y_m == pair[0] => last.to_y_m = pair[1],
            _ => segments.push(LaneSegment { from_y_m: pair[0], to_y_m: pair[1] }),
        }
    }
    segments
}

/// How many metres of the line at `x_m` lie in the outline.
fn inside_m(outline: &Outline, x_m: f64) -> f64 {
    crossings(outline, |p| p, x_m).chunks_exact(2).map(|inside| inside[1] - inside[0]).sum()
}

/// Where the outline's edges cross the line `first = at`, as sorted second coordinates; `order` puts a point's
/// coordinates in that order. Two and two they bound the inside.
fn crossings(outline: &Outline, order: impl Fn([f64; 2]) -> [f64; 2], at: f64) -> Vec<f64> {
    let mut found: Vec<f64> = outline
        .edges()
        .filter_map(|edge| {
            let (a, b) = (order([edge.start.x, edge.start.y]), order([edge.end.x, edge.end.y]));
            ((a[0] < at) != (b[0] < at)).then(|| a[1] + (at - a[0]) / (b[0] - a[0]) * (b[1] - a[1]))
        })
        .collect();
    found.sort_by(f64::total_cmp);
    found
}

/// Strip width in m by `1.26 (r_max - 2 sigma)`: mean and standard deviation of the largest ranges in best coupling
/// (Schreilechner, Eck, Schober, ISSW 2009, for devices with three antennas; 1.26 is the cube root of 2).
///
/// # Errors
/// A range outside 0.1 to 1000 m, a deviation below 0 or half the range and more: nothing would be left.
pub fn strip_width_m(mean_range_m: f64, sd_m: f64) -> Result<f64, FieldError> {
    let range_m = within("the mean of the largest ranges", mean_range_m, 0.1, 1000.0, "m")?;
    let sd_m = within("the standard deviation of the ranges", sd_m, 0.0, 0.499 * range_m, "m")?;
    Ok(2.0_f64.cbrt() * (range_m - 2.0 * sd_m))
}

/// Strip width in m by twice the smallest range, antennas square to one another (common practice, no source).
///
/// # Errors
/// A range outside 0.1 to 1000 m.
pub fn careful_strip_width_m(smallest_range_m: f64) -> Result<f64, FieldError> {
    Ok(2.0 * within("the smallest range", smallest_range_m, 0.1, 1000.0, "m")?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::tests::near;

    fn plan(outline: &Outline, searchers: u32) -> LanePlan {
        plan_lanes(outline, LaneSettings { searchers, ..LaneSettings::default() }).unwrap()
    }

    #[test]
    fn section_1_lane_offsets() {
        for (width_m, want) in [
            (40.0, vec![20.0]),
            (80.0, vec![20.0, 60.0]),
            (81.0, vec![20.0, 40.5, 61.0]),
            (100.0, vec![20.0, 50.0, 80.0]),
            (120.0, vec![20.0, 60.0, 100.0]),
            (121.0, vec![20.0, 47.0, 74.0, 101.0]),
        ] {
            assert_eq!(lane_offsets_m(width_m, 40.0, 20.0).unwrap(), want);
        }
        assert_eq!(lane_offsets_m(0.9, 0.1, 0.3).unwrap().len(), 4);
    }

    #[test]
    fn section_1_passes_and_solo_walk() {
        let wide = plan(&Outline::rectangle(150.0, 200.0).unwrap(), 3);
        assert_eq!((wide.lanes.len(), wide.passes), (4, 2));
        let who: Vec<_> = wide.lanes.iter().map(|lane| (lane.searcher, lane.pass)).collect();
        assert_eq!(who, [(1, 1), (2, 1), (3, 1), (1, 2)]);
        let solo = plan(&Outline::rectangle(100.0, 150.0).unwrap(), 1);
        near(solo.longest_walk_m, 510.0, 1e-9);
        near(solo.minutes, 10.2, 1e-9);
        assert_eq!(solo.spacing_walked_m, Some(30.0));
        assert_eq!(solo.outside_m, 0.0);
    }

    #[test]
    fn section_1_strip_width() {
        near(strip_width_m(60.0, 5.0).unwrap(), 63.0, 0.05);
        near(strip_width_m(50.0, 4.0).unwrap(), 52.9, 0.05);
        near(careful_strip_width_m(20.0).unwrap(), 40.0, 0.0);
        assert!(strip_width_m(50.0, 25.0).is_err());
    }

    #[test]
    fn a_hole_over_a_whole_strip_parts_its_lane() {
        let hole = vec![[30.0, 60.0], [70.0, 60.0], [70.0, 80.0], [30.0, 80.0]];
        let ring = [[0.0, 0.0], [100.0, 0.0], [100.0, 150.0], [0.0, 150.0]];
        let parted = plan(&Outline::new(&ring, &[hole]).unwrap(), 1);
        let ends: Vec<_> = parted.lanes[1].segments.iter().map(|s| (s.from_y_m, s.to_y_m)).collect();
        assert_eq!(ends, [(0.0, 60.0), (80.0, 150.0)]);
        near(parted.lanes[1].length_m, 130.0, 1e-9);
        assert_eq!(parted.outside_m, 0.0);
    }

    #[test]
    fn a_spike_between_lanes_is_searched_from_the_nearest() {
        let ring = [
            [0.0, 0.0],
            [80.0, 0.0],
            [80.0, 100.0],
            [37.0, 100.0],
            [35.0, 190.0],
            [33.0, 100.0],
            [0.0, 100.0],
        ];
        let spiked = plan(&Outline::new(&ring, &[]).unwrap(), 1);
        let ends: Vec<_> = spiked.lanes.iter().map(|lane| lane.segments[0].to_y_m).collect();
        assert_eq!(ends, [190.0, 100.0]);
        near(spiked.lanes[0].outside_m, 90.0, 1e-9);
    }

    #[test]
    fn refuses_what_has_no_meaning() {
        assert!(lane_offsets_m(100.0, 0.0, 20.0).is_err());
        assert!(matches!(lane_offsets_m(100_000.0, 0.1, 20.0), Err(FieldError::TooMany { .. })));
        let outline = Outline::rectangle(100.0, 150.0).unwrap();
        assert!(plan_lanes(&outline, LaneSettings { searchers: 0, ..LaneSettings::default() }).is_err());
    }
}
