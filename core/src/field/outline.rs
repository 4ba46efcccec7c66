//! The outline of a search area: a ring of points in the drill's grid, possibly with holes, that is known to be
//! sound. Whoever holds an [`Outline`] need not check it again. What is done on it is in `lanes` and `coverage`.

use geo::algorithm::line_intersection::{LineIntersection, line_intersection};
use geo::orient::{Direction, Orient};
use geo::{Area, Contains, Coord, Line, LineString, Point, Polygon};

use super::{FieldError, within};

/// Farthest coordinate accepted, in m from the origin of the grid.
pub const FARTHEST_M: f64 = 100_000.0;
/// Smallest area accepted, m2: below it an outline is a slip.
pub const SMALLEST_M2: f64 = 1e-6;

/// A sound outline: finite, no crossings, positive area, holes within.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    polygon: Polygon<f64>,
}

impl Outline {
    /// Checks a ring of `[x_m, y_m]` in either direction, closed or not, and its holes. Repeated points are dropped.
    ///
    /// # Errors
    /// Coordinates not finite or beyond [`FARTHEST_M`], fewer than 3 different points, a ring that crosses or
    /// touches itself or another (with the place), no area, a hole outside.
    pub fn new(ring: &[[f64; 2]], holes: &[Vec<[f64; 2]>]) -> Result<Self, FieldError> {
        let exterior = sound_ring(ring, "the outline")?;
        let interiors =
            holes.iter().map(|hole| sound_ring(hole, "a hole")).collect::<Result<Vec<_>, FieldError>>()?;
        refuse_crossings(&exterior, &interiors)?;
        refuse_strays(&exterior, &interiors)?;
        Ok(Self { polygon: Polygon::new(exterior, interiors).orient(Direction::Default) })
    }

    /// A rectangle with its lower left corner at the origin.
    ///
    /// # Errors
    /// A side that is not finite, below 1 mm or beyond [`FARTHEST_M`].
    pub fn rectangle(width_m: f64, length_m: f64) -> Result<Self, FieldError> {
        let x = within("the width", width_m, 0.001, FARTHEST_M, "m")?;
        let y = within("the length", length_m, 0.001, FARTHEST_M, "m")?;
        Self::new(&[[0.0, 0.0], [x, 0.0], [x, y], [0.0, y]], &[])
    }

    /// Its area without the holes, m2.
    pub fn area_m2(&self) -> f64 {
        self.polygon.unsigned_area()
    }

    /// Smallest and largest x and y: `([x, x], [y, y])`, m.
    pub fn extent_m(&self) -> ([f64; 2], [f64; 2]) {
        let start = ([f64::INFINITY, f64::NEG_INFINITY], [f64::INFINITY, f64::NEG_INFINITY]);
        self.polygon
            .exterior()
            .coords()
            .fold(start, |(x, y), at| ([x[0].min(at.x), x[1].max(at.x)], [y[0].min(at.y), y[1].max(at.y)]))
    }

    /// The edges of ring and holes, the area to the left of each.
    pub(crate) fn edges(&self) -> impl Iterator<Item = Line<f64>> {
        std::iter::once(self.polygon.exterior()).chain(self.polygon.interiors()).flat_map(LineString::lines)
    }
}

fn sound_ring(points: &[[f64; 2]], what: &'static str) -> Result<LineString<f64>, FieldError> {
    let mut ring: Vec<Coord<f64>> = Vec::with_capacity(points.len() + 1);
    for [x, y] in points {
        let x = within("a coordinate of the outline", *x, -FARTHEST_M, FARTHEST_M, "m")?;
        let y = within("a coordinate of the outline", *y, -FARTHEST_M, FARTHEST_M, "m")?;
        ring.push(Coord { x, y });
    }
    ring.dedup();
    while ring.len() > 1 && ring.first() == ring.last() {
        ring.pop();
    }
    if ring.len() < 3 {
        return Err(FieldError::TooFewPoints { what, have: ring.len(), need: 3 });
    }
    ring.push(ring[0]);
    let ring = LineString::new(ring);
    let area_m2 = Polygon::new(ring.clone(), vec![]).unsigned_area();
    let on_one_line = ring.lines().all(|edge| collinear(ring.0[0], ring.0[1], edge.end));
    if on_one_line {
        return Err(FieldError::NoArea { what, area_m2 });
    }
    refuse_crossings(&ring, &[])?;
    if area_m2 < SMALLEST_M2 {
        return Err(FieldError::NoArea { what, area_m2 });
    }
    Ok(ring)
}

fn collinear(a: Coord<f64>, b: Coord<f64>, c: Coord<f64>) -> bool {
    (b.x - a.x) * (c.y - a.y) == (b.y - a.y) * (c.x - a.x)
}

/// An edge with the ring it belongs to and its place in that ring of `len` edges.
struct Edge {
    line: Line<f64>,
    ring: usize,
    place: usize,
    len: usize,
}

impl Edge {
    fn follows(&self, other: &Edge) -> bool {
        self.ring == other.ring && (other.place + 1) % other.len == self.place
    }
}

/// Compares edges whose spans in x overlap; neighbours in a ring may share their corner and nothing more.
fn refuse_crossings(exterior: &LineString<f64>, interiors: &[LineString<f64>]) -> Result<(), FieldError> {
    let mut edges: Vec<Edge> = std::iter::once(exterior)
        .chain(interiors)
        .enumerate()
        .flat_map(|(ring, string)| {
            let len = string.0.len() - 1;
            string.lines().enumerate().map(move |(place, line)| Edge { line, ring, place, len })
        })
        .collect();
    let left = |edge: &Edge| edge.line.start.x.min(edge.line.end.x);
    let right = |edge: &Edge| edge.line.start.x.max(edge.line.end.x);
    edges.sort_by(|a, b| left(a).total_cmp(&left(b)));
    for (index, edge) in edges.iter().enumerate() {
        for other in edges[index + 1..].iter().take_while(|other| left(other) <= right(edge)) {
            if let Some(at) = forbidden_contact(edge, other) {
                return Err(FieldError::CrossesItself { x_m: at.x, y_m: at.y });
            }
        }
    }
    Ok(())
}

fn forbidden_contact(a: &Edge, b: &Edge) -> Option<Coord<f64>> {
    let shared = match (b.follows(a), a.follows(b)) {
        (true, _) => Some(a.line.end),
        (_, true) => Some(b.line.end),
        _ => None,
    };
    match line_intersection(a.line, b.line)? {
        LineIntersection::SinglePoint { intersection, is_proper } => {
            (is_proper || shared.is_none()).then_some(intersection)
        }
        LineIntersection::Collinear { intersection } => {
            let only_the_corner = shared.is_some() && intersection.start == intersection.end;
            (!only_the_corner).then_some(intersection.start)
        }
    }
}

fn refuse_strays(exterior: &LineString<f64>, interiors: &[LineString<f64>]) -> Result<(), FieldError> {
    let solid = |ring: &LineString<f64>| Polygon::new(ring.clone(), vec![]);
    let around = solid(exterior);
    for (index, hole) in interiors.iter().enumerate() {
        let at = hole.0[0];
        let in_another = interiors
            .iter()
            .enumerate()
            .any(|(other, ring)| other != index && solid(ring).contains(&Point::from(at)));
        if in_another || !around.contains(&Point::from(at)) {
            return Err(FieldError::HoleOutside { hole: index + 1, x_m: at.x, y_m: at.y });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::tests::near;

    fn refused(ring: &[[f64; 2]]) -> FieldError {
        Outline::new(ring, &[]).unwrap_err()
    }

    #[test]
    fn a_rectangle_with_a_hole() {
        let hole = vec![[10.0, 10.0], [20.0, 10.0], [20.0, 30.0], [10.0, 30.0]];
        let ring = [[0.0, 0.0], [100.0, 0.0], [100.0, 150.0], [0.0, 150.0], [0.0, 0.0]];
        near(Outline::new(&ring, &[hole]).unwrap().area_m2(), 15_000.0 - 200.0, 1e-9);
        near(Outline::rectangle(100.0, 150.0).unwrap().area_m2(), 15_000.0, 1e-9);
    }

    #[test]
    fn a_bow_tie_is_refused_with_its_crossing() {
        let error = refused(&[[0.0, 0.0], [10.0, 10.0], [10.0, 0.0], [0.0, 10.0]]);
        assert_eq!(error, FieldError::CrossesItself { x_m: 5.0, y_m: 5.0 });
        assert!(error.to_string().contains("x 5 m, y 5 m"));
    }

    #[test]
    fn touching_and_doubling_back_are_refused() {
        let touch = refused(&[[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [5.0, 0.0], [0.0, 10.0]]);
        assert_eq!(touch, FieldError::CrossesItself { x_m: 5.0, y_m: 0.0 });
        let back = refused(&[[0.0, 0.0], [10.0, 0.0], [5.0, 0.0], [5.0, 5.0]]);
        assert!(matches!(back, FieldError::CrossesItself { .. }));
    }

    #[test]
    fn no_area_and_too_few_points_are_refused() {
        assert!(matches!(refused(&[[0.0, 0.0], [5.0, 5.0], [9.0, 9.0]]), FieldError::NoArea { .. }));
        let two = [[0.0, 0.0], [1.0, 0.0], [1.0, 0.0], [0.0, 0.0]];
        assert_eq!(refused(&two), FieldError::TooFewPoints { what: "the outline", have: 2, need: 3 });
        assert!(matches!(refused(&[[f64::NAN, 0.0], [1.0, 0.0], [1.0, 1.0]]), FieldError::NotFinite { .. }));
    }

    #[test]
    fn holes_must_lie_within_and_apart() {
        let ring = [[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]];
        let square =
            |x: f64, y: f64, side: f64| vec![[x, y], [x + side, y], [x + side, y + side], [x, y + side]];
        let with = |holes: &[Vec<[f64; 2]>]| Outline::new(&ring, holes);
        assert!(matches!(with(&[square(200.0, 0.0, 5.0)]), Err(FieldError::HoleOutside { hole: 1, .. })));
        assert!(matches!(with(&[square(95.0, 10.0, 10.0)]), Err(FieldError::CrossesItself { .. })));
        let nested = with(&[square(10.0, 10.0, 50.0), square(20.0, 20.0, 5.0)]);
        assert!(matches!(nested, Err(FieldError::HoleOutside { hole: 2, .. })));
        assert!(with(&[square(10.0, 10.0, 5.0), square(20.0, 20.0, 5.0)]).is_ok());
    }
}
