//! What of an outline is bare, out of the pieces of its edge: rings, polygons with holes, the gaps of a report.

use geo::{Area, BoundingRect, Contains, LineString, MultiPolygon, Point, Polygon};
use schemars::JsonSchema;
use serde::Serialize;

use super::swath::{Piece, Vector, distance, minus};

/// Farthest that a gap's polygon leaves the true edge, m. Areas of the whole are free of it.
pub const GAP_SAGITTA_M: f64 = 0.01;
/// Gaps smaller than this are counted in the area and not listed, m2.
pub const SMALLEST_GAP_M2: f64 = 0.01;

/// How far the end of one piece may lie from the start of the next, m: edges that graze one another meet no more
/// exactly than this.
const JOINT_M: f64 = 1e-4;

/// A connected part of the outline that no track searched.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Gap {
    /// Its area, m2.
    pub area_m2: f64,
    /// Its edge, `[x_m, y_m]`, not closed.
    pub ring: Vec<[f64; 2]>,
    /// Searched islands in it.
    pub holes: Vec<Vec<[f64; 2]>>,
}

/// What is bare, out of its edge alone: from one square to the next each piece goes on where another ended. `None` where that leaves an end
/// loose, or an area that is not `bare_m2`.
pub(super) fn joined(edge: &[Piece], bare_m2: f64) -> Option<MultiPolygon<f64>> {
    let rings: Vec<Vec<Vector>> = rings(edge)?.into_iter().map(straightened).collect();
    let length_m: f64 = rings.iter().flat_map(|r| r.windows(2)).map(|step| distance(step[0], step[1])).sum();
    let bare = MultiPolygon::new(polygons(rings));
    ((bare.unsigned_area() - bare_m2).abs() <= GAP_SAGITTA_M * length_m).then_some(bare)
}

/// A ring without the points that lie on the way from the one before to the one after.
fn straightened(ring: Vec<Vector>) -> Vec<Vector> {
    let mut kept: Vec<Vector> = Vec::with_capacity(ring.len());
    let n = ring.len();
    for (index, at) in ring.iter().enumerate() {
        let before = kept.last().copied().unwrap_or(ring[n - 1]);
        let (way, step) = (minus(ring[(index + 1) % n], before), minus(*at, before));
        let aside = (way[0] * step[1] - way[1] * step[0]).abs();
        if aside > JOINT_M * JOINT_M * way[0].hypot(way[1]) {
            kept.push(*at);
        }
    }
    kept
}

/// Joins directed pieces into rings, each piece to the nearest start; `None` if an end finds none near.
pub(super) fn rings(pieces: &[Piece]) -> Option<Vec<Vec<Vector>>> {
    let mut starts: Vec<(Vector, usize)> = pieces.iter().map(Piece::start).zip(0..).collect();
    starts.sort_unstable_by(|(a, _), (b, _)| a[0].total_cmp(&b[0]));
    let mut free = vec![true; pieces.len()];
    let next = |end: Vector, free: &[bool]| {
        let from = starts.partition_point(|(start, _)| start[0] < end[0] - JOINT_M);
        starts[from..]
            .iter()
            .take_while(|(start, _)| start[0] <= end[0] + JOINT_M)
            .filter(|(_, index)| free[*index])
            .map(|(start, index)| (distance(end, *start), *index))
            .filter(|(gap, _)| *gap <= JOINT_M)
            .min_by(|a, b| a.0.total_cmp(&b.0))
    };
    let mut rings = Vec::new();
    for first in 0..pieces.len() {
        if !free[first] {
            continue;
        }
        let (mut ring, mut at) = (Vec::new(), first);
        loop {
            free[at] = false;
            ring.extend(pieces[at].chain(GAP_SAGITTA_M));
            let end = pieces[at].end();
            let home = distance(end, pieces[first].start());
            match next(end, &free) {
                Some((gap, index)) if gap < home => at = index,
                _ if home <= JOINT_M => break,
                _ => return None,
            }
        }
        rings.push(ring);
    }
    Some(rings)
}

/// Rings as polygons: counter-clockwise ones bound, clockwise ones are holes of the least one around them.
pub(super) fn polygons(rings: Vec<Vec<Vector>>) -> Vec<Polygon<f64>> {
    let solid = |ring: Vec<Vector>| Polygon::new(LineString::from(ring), vec![]);
    let (mut bounds, holes): (Vec<_>, Vec<_>) =
        rings.into_iter().filter(|ring| ring.len() > 2).map(solid).partition(|ring| ring.signed_area() > 0.0);
    bounds.sort_by(|a, b| a.signed_area().total_cmp(&b.signed_area()));
    let boxes: Vec<_> = bounds.iter().map(BoundingRect::bounding_rect).collect();
    for hole in holes {
        let Some(at) = hole.exterior().coords().next().map(|at| Point::from(*at)) else { continue };
        let holds = |b: &usize| boxes[*b].is_some_and(|r| r.contains(&at)) && bounds[*b].contains(&at);
        if let Some(around) = (0..bounds.len()).find(holds) {
            bounds[around].interiors_push(hole.exterior().clone());
        }
    }
    bounds
}

/// The connected parts of what is bare, largest first.
pub(super) fn gaps(bare: &MultiPolygon<f64>) -> Vec<Gap> {
    let open = |ring: &LineString<f64>| {
        ring.coords().take(ring.0.len().saturating_sub(1)).map(|at| [at.x, at.y]).collect::<Vec<_>>()
    };
    let mut gaps: Vec<Gap> = bare
        .iter()
        .map(|polygon| Gap {
            area_m2: polygon.unsigned_area(),
            ring: open(polygon.exterior()),
            holes: polygon.interiors().iter().map(open).collect(),
        })
        .filter(|gap| gap.area_m2 >= SMALLEST_GAP_M2)
        .collect();
    gaps.sort_by(|a, b| b.area_m2.total_cmp(&a.area_m2));
    gaps
}
