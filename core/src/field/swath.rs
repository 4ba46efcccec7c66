//! The ground that one step of a track searches: all points nearer than a radius to a straight segment. Its edge
//! is two lines and two half circles, kept exact; pieces of edge can be cut by another swath or by a line. What is
//! built of the pieces is in `coverage`.

use std::f64::consts::{PI, TAU};

/// A point or a vector, m.
pub(crate) type Vector = [f64; 2];

pub(crate) fn minus(a: Vector, b: Vector) -> Vector {
    [a[0] - b[0], a[1] - b[1]]
}

fn plus(a: Vector, scale: f64, b: Vector) -> Vector {
    [a[0] + scale * b[0], a[1] + scale * b[1]]
}

fn dot(a: Vector, b: Vector) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

fn cross(a: Vector, b: Vector) -> f64 {
    a[0] * b[1] - a[1] * b[0]
}

pub(crate) fn distance(a: Vector, b: Vector) -> f64 {
    let off = minus(a, b);
    dot(off, off).sqrt()
}

fn unit(angle: f64) -> Vector {
    let (sin, cos) = angle.sin_cos();
    [cos, sin]
}

/// A straight line: all points `p` with `normal . p = offset`, the normal of length 1.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Straight {
    pub(crate) normal: Vector,
    pub(crate) offset: f64,
}

/// All points nearer than `radius` to the segment from `a` to `b`.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Swath {
    a: Vector,
    b: Vector,
    radius: f64,
    along: Vector,
    length: f64,
}

impl Swath {
    /// A swath; `a` and `b` may be one point.
    pub(crate) fn new(a: Vector, b: Vector, radius: f64) -> Self {
        let length = distance(a, b);
        let along = if length > 0.0 { minus(b, a).map(|part| part / length) } else { [1.0, 0.0] };
        Self { a, b, radius, along, length }
    }

    /// From the nearest point of its segment to `p`.
    fn off(&self, p: Vector) -> Vector {
        let off = minus(p, self.a);
        let along = dot(off, self.along).clamp(0.0, self.length);
        plus(off, -along, self.along)
    }

    /// How far `p` lies outside; negative within.
    pub(crate) fn beyond(&self, p: Vector) -> f64 {
        let off = self.off(p);
        dot(off, off).sqrt() - self.radius
    }

    /// The same, and the unit vector from its segment to `p`, which is zero on the segment.
    pub(crate) fn beyond_and_away(&self, p: Vector) -> (f64, Vector) {
        let off = self.off(p);
        let length = dot(off, off).sqrt();
        (length - self.radius, if length > 0.0 { off.map(|part| part / length) } else { [0.0; 2] })
    }

    /// Start and end of its segment.
    pub(crate) fn ends(&self) -> [Vector; 2] {
        [self.a, self.b]
    }

    /// Its radius.
    pub(crate) fn radius(&self) -> f64 {
        self.radius
    }

    /// Its edge, with the swath to the right of each piece.
    pub(crate) fn edge(&self) -> [Piece; 4] {
        let normal = [-self.along[1], self.along[0]];
        let up = normal[1].atan2(normal[0]);
        let (left, right) = (self.radius, -self.radius);
        [
            Piece::Line(plus(self.b, right, normal), plus(self.a, right, normal)),
            Piece::Arc { centre: self.a, radius: self.radius, from: up - PI, sweep: -PI },
            Piece::Line(plus(self.a, left, normal), plus(self.b, left, normal)),
            Piece::Arc { centre: self.b, radius: self.radius, from: up, sweep: -PI },
        ]
    }

    fn sides(&self) -> [Straight; 2] {
        let normal = [-self.along[1], self.along[0]];
        let middle = dot(normal, self.a);
        [self.radius, -self.radius].map(|by| Straight { normal, offset: middle + by })
    }
}

/// A directed piece of an edge.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Piece {
    /// From one point straight to another.
    Line(Vector, Vector),
    /// Part of a circle from the angle `from` over `sweep`, negative clockwise, at most half a turn.
    Arc { centre: Vector, radius: f64, from: f64, sweep: f64 },
}

impl Piece {
    /// The point at `t` of 0 to 1 along it.
    pub(crate) fn at(&self, t: f64) -> Vector {
        match *self {
            Piece::Line(a, b) => plus(a, t, minus(b, a)),
            Piece::Arc { centre, radius, from, sweep } => plus(centre, radius, unit(from + t * sweep)),
        }
    }

    pub(crate) fn start(&self) -> Vector {
        self.at(0.0)
    }

    pub(crate) fn end(&self) -> Vector {
        match *self {
            Piece::Line(_, b) => b,
            Piece::Arc { .. } => self.at(1.0),
        }
    }

    fn part(&self, t0: f64, t1: f64) -> Self {
        match *self {
            Piece::Line(a, b) => {
                let end = if t1 == 1.0 { b } else { self.at(t1) };
                Piece::Line(if t0 == 0.0 { a } else { self.at(t0) }, end)
            }
            Piece::Arc { centre, radius, from, sweep } => {
                Piece::Arc { centre, radius, from: from + t0 * sweep, sweep: (t1 - t0) * sweep }
            }
        }
    }

    /// Farthest that a point of it lies from its middle.
    fn reach(&self) -> f64 {
        match *self {
            Piece::Line(a, b) => 0.5 * distance(a, b),
            Piece::Arc { radius, sweep, .. } => 2.0 * radius * (0.25 * sweep).sin().abs(),
        }
    }

    /// Its share of an area by Green's theorem, seen from `origin`: half the integral of x dy - y dx.
    pub(crate) fn area_share(&self, origin: Vector) -> f64 {
        match *self {
            Piece::Line(a, b) => 0.5 * cross(minus(a, origin), minus(b, origin)),
            Piece::Arc { centre, radius, from, sweep } => {
                let turn = minus(unit(from + sweep), unit(from));
                0.5 * radius * (radius * sweep + cross(minus(centre, origin), turn))
            }
        }
    }

    /// Its points from the start up to but without the end, so close that no chord leaves the arc by more than `sagitta`.
    pub(crate) fn chain(&self, sagitta: f64) -> Vec<Vector> {
        match *self {
            Piece::Line(a, _) => vec![a],
            Piece::Arc { radius, sweep, .. } => {
                let step = 2.0 * (1.0 - (sagitta / radius).min(1.0)).acos();
                let steps = (sweep.abs() / step).ceil().clamp(1.0, 1024.0) as u32;
                (0..steps).map(|i| self.at(f64::from(i) / f64::from(steps))).collect()
            }
        }
    }

    /// Adds to `out` what of this piece lies outside `swath`.
    pub(crate) fn outside(self, swath: &Swath, out: &mut Vec<Piece>) {
        if swath.beyond(self.at(0.5)) >= self.reach() {
            out.push(self);
        } else if !self.wholly_in(swath) {
            let mut cuts = Cuts::default();
            for side in swath.sides() {
                self.cut_by_line(side, &mut cuts);
            }
            self.cut_by_circle(swath.a, swath.radius, &mut cuts);
            self.cut_by_circle(swath.b, swath.radius, &mut cuts);
            self.keep(&mut cuts, |middle| swath.beyond(middle) >= 0.0, out);
        }
    }

    /// Adds to `out` the parts, cut by `lines`, of which the middle is to be kept.
    pub(crate) fn parted(
        self,
        lines: impl Iterator<Item = Straight>,
        kept: impl Fn(Vector) -> bool,
        out: &mut Vec<Piece>,
    ) {
        let mut cuts = Cuts::default();
        for line in lines {
            self.cut_by_line(line, &mut cuts);
        }
        self.keep(&mut cuts, kept, out);
    }

    /// Whether this piece can reach the disc round `centre`: false is certain, true is not.
    pub(crate) fn may_reach(&self, centre: Vector, disc: f64) -> bool {
        let ring = match *self {
            Piece::Line(..) => true,
            Piece::Arc { centre: own, radius, .. } => (distance(own, centre) - radius).abs() <= disc,
        };
        ring && distance(self.at(0.5), centre) <= self.reach() + disc
    }

    /// Swaths are convex, so the ends (and for an arc the corner of its tangents) decide; false is not certain.
    fn wholly_in(&self, swath: &Swath) -> bool {
        let within = |p| swath.beyond(p) < 0.0;
        match *self {
            Piece::Line(a, b) => within(a) && within(b),
            Piece::Arc { centre, radius, from, sweep } => {
                let tangents = || plus(centre, radius / (0.5 * sweep).cos(), unit(from + 0.5 * sweep));
                sweep.abs() < 2.0 && within(self.start()) && within(self.end()) && within(tangents())
            }
        }
    }

    fn keep(&self, cuts: &mut Cuts, kept: impl Fn(Vector) -> bool, out: &mut Vec<Piece>) {
        cuts.0.sort_by(f64::total_cmp);
        let mut start: Option<f64> = None;
        let mut last = 0.0;
        for t in cuts.0.iter().copied().chain([1.0]) {
            if t <= last {
                continue;
            }
            match (kept(self.at(0.5 * (last + t))), start) {
                (true, None) => start = Some(last),
                (false, Some(from)) => {
                    out.push(self.part(from, last));
                    start = None;
                }
                _ => {}
            }
            last = t;
        }
        if let Some(from) = start {
            out.push(self.part(from, 1.0));
        }
    }

    fn cut_by_line(&self, line: Straight, cuts: &mut Cuts) {
        match *self {
            Piece::Line(a, b) => {
                let (from, to) = (dot(line.normal, a) - line.offset, dot(line.normal, b) - line.offset);
                if from * to < 0.0 {
                    cuts.add(from / (from - to));
                }
            }
            Piece::Arc { centre, radius, from, sweep } => {
                let cos = (line.offset - dot(line.normal, centre)) / radius;
                cuts.add_angles(line.normal, cos, from, sweep);
            }
        }
    }

    fn cut_by_circle(&self, centre: Vector, radius: f64, cuts: &mut Cuts) {
        match *self {
            Piece::Line(a, b) => {
                let (step, off) = (minus(b, a), minus(a, centre));
                let (p, q, r) = (dot(step, step), dot(step, off), dot(off, off) - radius * radius);
                let under = q * q - p * r;
                if p > 0.0 && under > 0.0 {
                    let root = under.sqrt();
                    cuts.add((-q - root) / p);
                    cuts.add((-q + root) / p);
                }
            }
            Piece::Arc { centre: own, radius: own_radius, from, sweep } => {
                let towards = minus(centre, own);
                let apart = dot(towards, towards).sqrt();
                if apart > 0.0 {
                    let sum = (own_radius - radius) * (own_radius + radius);
                    let cos = (apart + sum / apart) / (2.0 * own_radius);
                    cuts.add_angles(towards, cos, from, sweep);
                }
            }
        }
    }
}

/// Places of cuts along a piece, strictly between 0 and 1.
#[derive(Default)]
struct Cuts(Vec<f64>);

impl Cuts {
    fn add(&mut self, t: f64) {
        if t > 0.0 && t < 1.0 {
            self.0.push(t);
        }
    }

    /// Adds the angles whose cosine against the direction of `axis` is `cos`, as places on an arc.
    fn add_angles(&mut self, axis: Vector, cos: f64, from: f64, sweep: f64) {
        if cos.abs() < 1.0 && sweep != 0.0 {
            let (axis, half) = (axis[1].atan2(axis[0]), cos.acos());
            for angle in [axis - half, axis + half] {
                self.add(((angle - from) * sweep.signum()).rem_euclid(TAU) / sweep.abs());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::tests::near;

    fn area(pieces: &[Piece]) -> f64 {
        -pieces.iter().map(|piece| piece.area_share([3.0, -2.0])).sum::<f64>()
    }

    #[test]
    fn the_edge_encloses_the_swath() {
        let swath = Swath::new([1.0, 2.0], [4.0, 6.0], 2.0);
        near(area(&swath.edge()), 5.0 * 4.0 + 4.0 * PI, 1e-12);
        near(area(&Swath::new([1.0, 2.0], [1.0, 2.0], 2.0).edge()), 4.0 * PI, 1e-12);
        near(swath.beyond([1.0, 2.0]), -2.0, 1e-12);
        near(swath.beyond([4.0, 9.0]), 1.0, 1e-12);
    }

    #[test]
    fn two_circles_cut_one_another() {
        let (a, b) = (Swath::new([0.0; 2], [0.0; 2], 1.0), Swath::new([1.0, 0.0], [1.0, 0.0], 1.0));
        let mut union = Vec::new();
        for (own, other) in [(a, b), (b, a)] {
            own.edge().into_iter().for_each(|piece| piece.outside(&other, &mut union));
        }
        let lens = 2.0 * PI / 3.0 - 0.75_f64.sqrt();
        near(area(&union), 2.0 * PI - lens, 1e-12);
    }
}
