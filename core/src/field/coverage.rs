//! How much of an outline a set of tracks searched, what they left, and how straight they went. A track searches all points nearer
//! than half the strip width. The area is that of exact arcs and lines: the outline is quartered until a square is searched
//! by one step alone, or touched by so few that the edge of what is bare can be cut out and integrated (Green's theorem).
//!
//! The geometry library's buffers give the same area but take seconds to a minute for recorded tracks, which turn at every
//! point; steps whose swath lies within others' never come to be cut here.

use geo::{Polygon, unary_union};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::HashSet;
use std::ops::Range;

pub use super::gaps::Gap;
use super::gaps::{gaps, joined, polygons, rings};
use super::outline::{FARTHEST_M, Outline};
use super::swath::{Piece, Straight, Swath, Vector, distance, minus};
use super::{FieldError, within};

/// What of an outline was searched.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Coverage {
    /// Searched area over area of the outline, 0 to 1.
    pub share: f64,
    /// Searched area within the outline, m2.
    pub covered_m2: f64,
    /// Area of the outline, m2.
    pub outline_m2: f64,
    /// Strip width used, m.
    pub strip_width_m: f64,
    /// What was left, largest first.
    pub gaps: Vec<Gap>,
}

/// Area of the outline within half of `strip_width_m` of any of the `tracks` (points `[x_m, y_m]`, joined straight), to 1e-6
/// m times the length of the searched area's edge.
///
/// # Errors
/// A strip width outside 0.1 to 1000 m, a coordinate that is not finite or beyond 100 km.
pub fn coverage(
    outline: &Outline,
    tracks: &[Vec<[f64; 2]>],
    strip_width_m: f64,
) -> Result<Coverage, FieldError> {
    let strip_width_m = within("the strip width", strip_width_m, 0.1, 1000.0, "m")?;
    for coordinate in tracks.iter().flatten().flatten() {
        within("a coordinate of a track", *coordinate, -FARTHEST_M, FARTHEST_M, "m")?;
    }
    let ground = searched_ground(outline, tracks, strip_width_m);
    let outline_m2 = outline.area_m2();
    let covered_m2 = (outline_m2 - ground.bare_m2).clamp(0.0, outline_m2);
    Ok(Coverage {
        share: covered_m2 / outline_m2,
        covered_m2,
        outline_m2,
        strip_width_m,
        gaps: gaps(&joined(&ground.edge, ground.bare_m2).unwrap_or_else(|| unary_union(&ground.bare))),
    })
}

/// The outline, quartered by what the tracks searched of it.
fn searched_ground<'a>(outline: &'a Outline, tracks: &[Vec<[f64; 2]>], strip_width_m: f64) -> Ground<'a> {
    let (mut ground, root, edges) = ground(outline, tracks, strip_width_m);
    let bundles = bundles(&ground.swaths, 0.5 * strip_width_m);
    ground.search_bundles(root, &bundles.iter().collect::<Vec<_>>(), &edges);
    ground
}

/// The outline before anything of it was looked at, with a square around it, and its edges.
fn ground<'a>(
    outline: &'a Outline,
    tracks: &[Vec<[f64; 2]>],
    strip_width_m: f64,
) -> (Ground<'a>, Square, Vec<Edge>) {
    let ([left, right], [bottom, top]) = outline.extent_m();
    let side = (right - left).max(top - bottom);
    let root = Square {
        corner: [left - OFF_GRID[0] * side, bottom - OFF_GRID[1] * side],
        size: (1.0 + OFF_GRID[2]) * side,
    };
    let ground = Ground {
        outline,
        swaths: swaths(tracks, 0.5 * strip_width_m),
        smallest: (strip_width_m / 512.0).max(side / 65_536.0),
        bare_m2: 0.0,
        edge: Vec::new(),
        bare: Vec::new(),
    };
    let edges = outline.edges().map(|e| Edge::new([e.start.x, e.start.y], [e.end.x, e.end.y])).collect();
    (ground, root, edges)
}

/// Walked length over the straight distance from first to last point, at least 1; `None` where the two are one place.
///
/// # Errors
/// A coordinate that is not finite or beyond 100 km.
pub fn path_efficiency(track: &[[f64; 2]]) -> Result<Option<f64>, FieldError> {
    for coordinate in track.iter().flatten() {
        within("a coordinate of the track", *coordinate, -FARTHEST_M, FARTHEST_M, "m")?;
    }
    let walked_m: f64 = track.windows(2).map(|step| distance(step[0], step[1])).sum();
    let straight_m = track.first().zip(track.last()).map_or(0.0, |(first, last)| distance(*first, *last));
    Ok((straight_m > SAME_PLACE_M).then(|| (walked_m / straight_m).max(1.0)))
}

/// Start and end nearer than this are one place, m.
const SAME_PLACE_M: f64 = 0.001;

/// Sets the squares off the round numbers of outlines, so that no side of a square runs along one.
const OFF_GRID: [f64; 3] = [0.031_271_9, 0.027_182_8, 0.073_451_2];

/// A square touched by at most this many swaths is cut out.
const FEW: usize = 12;

/// A square reached by at most this many steps is searched step by step, no more in bundles.
const MANY: usize = 100;

/// Widest difference between the radii of swaths, m. Each gets one of its own, so that edges that would run along
/// one another (a way there and back, two people in one trail) are told apart.
const RADIUS_SPREAD_M: f64 = 1e-6;

fn swaths(tracks: &[Vec<[f64; 2]>], radius_m: f64) -> Vec<Swath> {
    let mut steps: Vec<(Vector, Vector)> = Vec::new();
    for track in tracks {
        let before = steps.len();
        steps.extend(track.windows(2).filter(|step| step[0] != step[1]).map(|step| (step[0], step[1])));
        if steps.len() == before {
            steps.extend(track.first().map(|only| (*only, *only)));
        }
    }
    // A receiver at rest repeats itself, and a way back is the way there; a step taken before adds nothing.
    let mut taken = HashSet::with_capacity(steps.len());
    steps.retain(|(a, b)| {
        let (a, b) = (a.map(f64::to_bits), b.map(f64::to_bits));
        taken.insert((a.min(b), a.max(b)))
    });
    let spread = RADIUS_SPREAD_M / steps.len() as f64;
    let radius = |index: usize| radius_m + spread * (index + 1) as f64;
    steps.iter().enumerate().map(|(index, (a, b))| Swath::new(*a, *b, radius(index))).collect()
}

/// Steps that follow one another closely, seen as one.
struct Bundle {
    /// The disc that holds the swaths of them all; of a step alone its own swath.
    hull: Swath,
    /// Places of their swaths.
    steps: Range<u32>,
    /// How much wider the disc is than a swath, m.
    slack_m: f64,
}

/// Widest that the disc of a bundle may be, over the radius of a swath.
const SLACK: f64 = 0.06;

fn bundles(swaths: &[Swath], radius_m: f64) -> Vec<Bundle> {
    let mut bundles = Vec::new();
    let mut from = 0;
    while from < swaths.len() {
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        let mut to = from;
        while to < swaths.len() {
            let ends = swaths[to].ends();
            let grown_low = [0, 1].map(|axis| low[axis].min(ends[0][axis]).min(ends[1][axis]));
            let grown_high = [0, 1].map(|axis| high[axis].max(ends[0][axis]).max(ends[1][axis]));
            if to > from && 0.5 * distance(grown_low, grown_high) > SLACK * radius_m {
                break;
            }
            (low, high, to) = (grown_low, grown_high, to + 1);
        }
        let (hull, slack_m) = if to == from + 1 {
            (swaths[from], 0.0)
        } else {
            let (middle, slack_m) =
                ([0, 1].map(|axis| 0.5 * (low[axis] + high[axis])), 0.5 * distance(low, high));
            (Swath::new(middle, middle, slack_m + swaths[to - 1].radius()), slack_m)
        };
        bundles.push(Bundle { hull, steps: from as u32..to as u32, slack_m });
        from = to;
    }
    bundles
}

#[derive(Debug, Clone, Copy)]
struct Square {
    corner: Vector,
    size: f64,
}

impl Square {
    fn middle(&self) -> Vector {
        self.corner.map(|at| at + 0.5 * self.size)
    }

    /// From the middle to a corner.
    fn half_diagonal(&self) -> f64 {
        std::f64::consts::FRAC_1_SQRT_2 * self.size
    }

    fn quarters(&self) -> [Square; 4] {
        let size = 0.5 * self.size;
        [[0.0, 0.0], [size, 0.0], [0.0, size], [size, size]]
            .map(|by| Square { corner: [self.corner[0] + by[0], self.corner[1] + by[1]], size })
    }

    /// Its sides, the square to their left.
    fn sides(&self) -> [Piece; 4] {
        let ([x, y], size) = (self.corner, self.size);
        let corners = [[x, y], [x + size, y], [x + size, y + size], [x, y + size]];
        std::array::from_fn(|i| Piece::Line(corners[i], corners[(i + 1) % 4]))
    }

    fn lines(&self) -> [Straight; 4] {
        let ([x, y], size) = (self.corner, self.size);
        let upright = |offset| Straight { normal: [1.0, 0.0], offset };
        let level = |offset| Straight { normal: [0.0, 1.0], offset };
        [upright(x), upright(x + size), level(y), level(y + size)]
    }

    fn holds(&self, p: Vector) -> bool {
        (0..2).all(|axis| self.corner[axis] <= p[axis] && p[axis] <= self.corner[axis] + self.size)
    }
}

/// An edge of the outline with the line it lies on.
#[derive(Debug, Clone, Copy)]
struct Edge {
    piece: Piece,
    line: Straight,
}

impl Edge {
    fn new(a: Vector, b: Vector) -> Self {
        let (step, length) = (minus(b, a), distance(a, b));
        let normal = [-step[1] / length, step[0] / length];
        Self {
            piece: Piece::Line(a, b),
            line: Straight { normal, offset: normal[0] * a[0] + normal[1] * a[1] },
        }
    }
}

/// A swath seen from the middle of a square.
struct Seen<T> {
    what: T,
    /// How far the middle lies outside it.
    beyond: f64,
    /// Unit vector from it to the middle.
    away: Vector,
}

impl<T> Seen<T> {
    fn of(what: T, swath: &Swath, middle: Vector) -> Self {
        let (beyond, away) = swath.beyond_and_away(middle);
        Self { what, beyond, away }
    }
}

/// Leaves out what within `half` of the middle lies wholly in `best`, a swath of this radius.
/// How far `p` lies outside a swath is convex in `p`, so it is at least its tangent at the middle; and it bends by at most 1
/// over the distance to the segment, so for the best it is at most its tangent and half that bend.
fn leave_out_outdone<T>(seen: &mut Vec<Seen<T>>, best: &Seen<u32>, radius: f64, half: f64) {
    let nearest = best.beyond + radius - half;
    if nearest > 0.0 {
        let bend = 0.5 * half * half / nearest;
        seen.retain(|other| other.beyond - best.beyond <= half * distance(other.away, best.away) + bend);
    }
}

/// The edges that can come within `half` of the middle.
fn reached(edges: &[Edge], middle: Vector, half: f64) -> Vec<Edge> {
    edges.iter().copied().filter(|edge| edge.piece.may_reach(middle, half)).collect()
}

struct Ground<'a> {
    outline: &'a Outline,
    swaths: Vec<Swath>,
    smallest: f64,
    bare_m2: f64,
    /// Edges of swaths and of the outline along what is bare, cut at the sides of squares.
    edge: Vec<Piece>,
    /// What is bare, square by square.
    bare: Vec<Polygon<f64>>,
}

impl Ground<'_> {
    /// Adds up what is bare in `square`, which only the bundles `near` and the outline's `edges` can reach.
    fn search_bundles(&mut self, square: Square, near: &[&Bundle], edges: &[Edge]) {
        let (middle, half) = (square.middle(), square.half_diagonal());
        let mut seen: Vec<Seen<&Bundle>> = near.iter().map(|b| Seen::of(*b, &b.hull, middle)).collect();
        seen.retain(|bundle| bundle.beyond < half);
        if let Some(first) = seen.iter().min_by(|a, b| a.beyond.total_cmp(&b.beyond)) {
            let of_swath = |index| Seen::of(index, &self.swaths[index as usize], middle);
            let steps = first.what.steps.clone().map(of_swath);
            if let Some(best) = steps.min_by(|a, b| a.beyond.total_cmp(&b.beyond)) {
                if best.beyond < -half {
                    return;
                }
                leave_out_outdone(&mut seen, &best, self.swaths[best.what as usize].radius(), half);
            }
        }
        let edges = reached(edges, middle, half);
        if edges.is_empty() && !self.in_outline(middle) {
            return;
        }
        let steps: usize = seen.iter().map(|bundle| bundle.what.steps.len()).sum();
        let slack_m = seen.iter().map(|bundle| bundle.what.slack_m).fold(0.0, f64::max);
        if steps <= MANY || half < slack_m {
            let near: Vec<u32> = seen.iter().flat_map(|bundle| bundle.what.steps.clone()).collect();
            return self.search(square, &near, &edges);
        }
        let near: Vec<&Bundle> = seen.iter().map(|bundle| bundle.what).collect();
        square.quarters().into_iter().for_each(|quarter| self.search_bundles(quarter, &near, &edges));
    }

    /// Adds up what is bare in `square`, which only the swaths `near` and the outline's `edges` can reach.
    fn search(&mut self, square: Square, near: &[u32], edges: &[Edge]) {
        let (middle, half) = (square.middle(), square.half_diagonal());
        let mut seen: Vec<Seen<u32>> = Vec::new();
        for &index in near {
            let swath = Seen::of(index, &self.swaths[index as usize], middle);
            if swath.beyond < -half {
                return;
            }
            if swath.beyond < half {
                seen.push(swath);
            }
        }
        seen.sort_by(|a, b| a.beyond.total_cmp(&b.beyond));
        if let Some(best) = seen.first().map(|first| Seen { ..*first }) {
            leave_out_outdone(&mut seen, &best, self.swaths[best.what as usize].radius(), half);
        }
        let touching: Vec<u32> = seen.iter().map(|swath| swath.what).collect();
        let edges = reached(edges, middle, half);
        if edges.is_empty() && !self.in_outline(middle) {
            return;
        }
        let can_part = square.size > self.smallest;
        if (touching.len() > FEW || edges.len() > FEW) && can_part {
            return square.quarters().into_iter().for_each(|quarter| self.search(quarter, &touching, &edges));
        }
        let (pieces, sides) = self.bare_edge(square, &touching, &edges);
        let rings = rings(&pieces);
        if rings.is_none() && can_part {
            return square.quarters().into_iter().for_each(|quarter| self.search(quarter, &touching, &edges));
        }
        self.bare_m2 += pieces.iter().map(|piece| piece.area_share(middle)).sum::<f64>();
        self.edge.extend_from_slice(&pieces[sides..]);
        self.bare.extend(polygons(rings.unwrap_or_default()));
    }

    /// The edge of what is bare in a square, the bare ground to the left: sides of the square, and from the place that is given on edges of
    /// the outline and of the swaths.
    fn bare_edge(&self, square: Square, touching: &[u32], edges: &[Edge]) -> (Vec<Piece>, usize) {
        let (middle, half) = (square.middle(), square.half_diagonal());
        let mut pieces = Vec::new();
        for side in square.sides() {
            self.keep_bare(vec![side], touching, None, edges, &mut pieces);
        }
        let sides = pieces.len();
        let within_square = |piece: Piece| {
            let mut parts = Vec::new();
            if piece.may_reach(middle, half) {
                piece.parted(square.lines().into_iter(), |p| square.holds(p), &mut parts);
            }
            parts
        };
        for edge in edges {
            self.keep_bare(within_square(edge.piece), touching, None, &[], &mut pieces);
        }
        for &own in touching {
            for piece in self.swaths[own as usize].edge() {
                self.keep_bare(within_square(piece), touching, Some(own), edges, &mut pieces);
            }
        }
        (pieces, sides)
    }

    /// Adds to `out` what of `parts` no swath but `own` covers and, where outline `edges` are near, lies in the outline.
    fn keep_bare(
        &self,
        mut parts: Vec<Piece>,
        touching: &[u32],
        own: Option<u32>,
        edges: &[Edge],
        out: &mut Vec<Piece>,
    ) {
        let mut left = Vec::new();
        for &other in touching.iter().filter(|other| Some(**other) != own) {
            if parts.is_empty() {
                return;
            }
            parts.drain(..).for_each(|part| part.outside(&self.swaths[other as usize], &mut left));
            std::mem::swap(&mut parts, &mut left);
        }
        if edges.is_empty() {
            return out.append(&mut parts);
        }
        for part in parts {
            part.parted(edges.iter().map(|edge| edge.line), |p| self.in_outline(p), out);
        }
    }

    /// Even-odd rule.
    fn in_outline(&self, p: Vector) -> bool {
        let crossed = self.outline.edges().filter(|edge| {
            let (a, b) = (edge.start, edge.end);
            (a.y <= p[1]) != (b.y <= p[1]) && p[0] < a.x + (p[1] - a.y) / (b.y - a.y) * (b.x - a.x)
        });
        crossed.count() % 2 == 1
    }
}

#[cfg(test)]
mod tests;
