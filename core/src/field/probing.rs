//! The chance that a probe line finds a body, and the holes it costs. A pass is a lattice of holes: `along` the way
//! the line walks, `across` square to it. A body is a flat shape that lies anywhere with equal chance; it is found
//! if at least one hole falls within it. That chance is the area of the shape folded into one cell of the lattice,
//! over the area of the cell (plane geometry; for shapes that no two holes can hit at once it is area over area). Real probes are
//! pushed past bodies and bodies curl: these are upper bounds. The published figures (70, 76, 88, 95 %) rest on other
//! body models and are not comparable with these or one another.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use schemars::JsonSchema;
use serde::Serialize;

use super::convex::{Corner, area, take_away};
use super::curves::SurvivalCurve;
use super::source::Source;
use super::{FieldError, within};

/// The holes of one pass.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Lattice {
    across_cm: f64,
    along_cm: f64,
}

/// A body as a flat shape.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum), uniffi(name = "ProbedBody"))]
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Body {
    /// A rectangle.
    Rectangle {
        /// Its long side, cm.
        length_cm: f64,
        /// Its short side, cm.
        width_cm: f64,
    },
    /// A circle.
    Circle {
        /// Its radius, cm.
        radius_cm: f64,
    },
}

/// Chance of detection of an aligned body.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct AlignedPod {
    /// With its length the way the line walks, 0 to 1.
    pub length_along: f64,
    /// With its length square to that, 0 to 1.
    pub length_across: f64,
}

/// Chance of detection after several passes, all orientations equally likely.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct PassesPod {
    /// How many passes.
    pub k: u32,
    /// Each pass moved across by a k-th of a cell against the one before, 0 to 1.
    pub shifted: f64,
    /// Passes laid without regard to one another, 0 to 1. The body keeps its angle between passes.
    pub independent: f64,
}

/// Chance of detection of one body on one lattice.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct BodyPod {
    /// The body.
    pub body: Body,
    /// Lying square to the line.
    pub aligned: AlignedPod,
    /// Lying at any angle with equal chance, 0 to 1.
    pub any_orientation: f64,
    /// After one pass, two passes, and so on.
    pub passes: Vec<PassesPod>,
}

/// A lattice in use, with its source.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct TaughtLattice {
    /// What it is called.
    pub name: &'static str,
    /// Spacing square to the way the line walks, cm.
    pub across_cm: f64,
    /// Spacing the way it walks, cm.
    pub along_cm: f64,
    /// Where it comes from.
    pub source: Source,
}

/// Lattices that are taught.
pub const TAUGHT_LATTICES: [TaughtLattice; 4] = [
    TaughtLattice {
        name: "one hole a step",
        across_cm: 75.0,
        along_cm: 70.0,
        source: Source::read("Jamieson and Auger, Improved Probing for Avalanche Victims"),
    },
    TaughtLattice {
        name: "three holes a step",
        across_cm: 60.0,
        along_cm: 70.0,
        source: Source::read("paper on three-hole probing, ISSW 1996, p. 259"),
    },
    TaughtLattice {
        name: "slalom",
        across_cm: 50.0,
        along_cm: 50.0,
        source: Source::read("ICAR Avalanche Rescue Commission, AVA-REC0011 Probing Strategies, 2015"),
    },
    TaughtLattice {
        name: "fine",
        across_cm: 25.0,
        along_cm: 25.0,
        source: Source::quoted("a participant's public summary of a search-and-rescue course"),
    },
];

impl Lattice {
    /// A lattice of holes.
    ///
    /// # Errors
    /// A spacing outside 1 to 1000 cm.
    pub fn new(across_cm: f64, along_cm: f64) -> Result<Self, FieldError> {
        Ok(Self {
            across_cm: within("the spacing across", across_cm, 1.0, 1000.0, "cm")?,
            along_cm: within("the spacing along", along_cm, 1.0, 1000.0, "cm")?,
        })
    }

    /// Holes per m2.
    pub fn holes_per_m2(&self) -> f64 {
        1e4 / (self.across_cm * self.along_cm)
    }

    /// Minutes that a pass over `area_m2` takes when each of `probers` needs `seconds_a_hole`.
    ///
    /// # Errors
    /// An area outside 0 to 1e9 m2, no prober, a time outside 0 to 3600 s.
    pub fn pass_minutes(&self, area_m2: f64, probers: u32, seconds_a_hole: f64) -> Result<f64, FieldError> {
        let area_m2 = within("the area", area_m2, 0.0, 1e9, "m2")?;
        let probers = within("the number of probers", f64::from(probers), 1.0, 1e6, "people")?;
        let seconds = within("the time a hole", seconds_a_hole, 0.0, 3600.0, "s")?;
        Ok(area_m2 * self.holes_per_m2() * seconds / probers / 60.0)
    }

    /// Everything one body has to do with this lattice, up to `passes` passes.
    ///
    /// # Errors
    /// A side or radius outside 1 to 1000 cm, passes outside 1 to 20.
    pub fn body_pod(&self, body: Body, passes: u32) -> Result<BodyPod, FieldError> {
        body.check()?;
        within("the number of passes", f64::from(passes), 1.0, 20.0, "passes")?;
        let any_orientation = self.mean_pod(body, 1);
        Ok(BodyPod {
            body,
            aligned: AlignedPod {
                length_along: self.pod_at(body, FRAC_PI_2),
                length_across: self.pod_at(body, 0.0),
            },
            any_orientation,
            passes: (1..=passes)
                .map(|k| match k {
                    1 => PassesPod { k, shifted: any_orientation, independent: any_orientation },
                    _ => PassesPod {
                        k,
                        shifted: self.moved_across(k).mean_pod(body, 1),
                        independent: self.mean_pod(body, k),
                    },
                })
                .collect(),
        })
    }

    /// Chance of detection of a rectangle at one angle, 0 = its length lies across, 90 = along.
    ///
    /// # Errors
    /// A side outside 1 to 1000 cm, an angle outside -360 to 360 degrees.
    pub fn pod_at_angle(&self, body: Body, angle_deg: f64) -> Result<f64, FieldError> {
        body.check()?;
        Ok(self.pod_at(body, within("the angle", angle_deg, -360.0, 360.0, "degrees")?.to_radians()))
    }

    /// Chance of detection of a rectangle of any orientation by two passes, the second moved by half a cell both ways.
    ///
    /// # Errors
    /// A side outside 1 to 1000 cm.
    pub fn staggered_pod(&self, length_cm: f64, width_cm: f64) -> Result<f64, FieldError> {
        Body::Rectangle { length_cm, width_cm }.check()?;
        let shifts = [[0.0, 0.0], [0.5 * self.across_cm, 0.5 * self.along_cm]];
        Ok(mean_over_angles(|angle| self.folded(length_cm, width_cm, angle, &shifts)))
    }

    /// `k` passes, each moved across by a k-th of a cell, are one lattice that much closer.
    fn moved_across(&self, k: u32) -> Self {
        Self { across_cm: self.across_cm / f64::from(k), along_cm: self.along_cm }
    }

    /// Mean over orientations of `1 - (1 - p)^k`.
    fn mean_pod(&self, body: Body, k: u32) -> f64 {
        let exponent = f64::from(k);
        let found = |p: f64| 1.0 - (1.0 - p).powf(exponent);
        match body {
            Body::Circle { .. } => found(self.pod_at(body, 0.0)),
            Body::Rectangle { .. } => mean_over_angles(|angle| found(self.pod_at(body, angle))),
        }
    }

    fn pod_at(&self, body: Body, angle_rad: f64) -> f64 {
        match body {
            Body::Circle { radius_cm } => self.circle_pod(radius_cm),
            Body::Rectangle { length_cm, width_cm } => {
                let (across, along) = (self.across_cm, self.along_cm);
                if angle_rad == 0.0 {
                    return (length_cm / across).min(1.0) * (width_cm / along).min(1.0);
                }
                if angle_rad == FRAC_PI_2 {
                    return (width_cm / across).min(1.0) * (length_cm / along).min(1.0);
                }
                self.folded(length_cm, width_cm, angle_rad, &[[0.0, 0.0]])
            }
        }
    }

    /// A point is hit by the nearest hole or by none: the part of a quarter cell within the radius of its corner.
    fn circle_pod(&self, radius_cm: f64) -> f64 {
        let (x, y, r) = (0.5 * self.across_cm, 0.5 * self.along_cm, radius_cm);
        if r >= x.hypot(y) {
            return 1.0;
        }
        let cap = |edge: f64| {
            if r > edge { r * r * (edge / r).acos() - edge * (r * r - edge * edge).sqrt() } else { 0.0 }
        };
        let within_quarter = 0.25 * PI * r * r - 0.5 * (cap(x) + cap(y));
        within_quarter / (x * y)
    }

    /// Share of the cell that the rectangle, repeated by the lattice and by `shifts_cm`, covers: the cell less every
    /// copy that reaches it.
    fn folded(&self, length_cm: f64, width_cm: f64, angle_rad: f64, shifts_cm: &[Corner]) -> f64 {
        let cell = [self.across_cm, self.along_cm];
        let (sin, cos) = angle_rad.sin_cos();
        let corner = |u: f64, v: f64| {
            let (u, v) = (0.5 * u * length_cm, 0.5 * v * width_cm);
            [0.5 * cell[0] + u * cos - v * sin, 0.5 * cell[1] + u * sin + v * cos]
        };
        let body = [corner(-1.0, -1.0), corner(1.0, -1.0), corner(1.0, 1.0), corner(-1.0, 1.0)];
        let half = [
            0.5 * (length_cm * cos.abs() + width_cm * sin.abs()),
            0.5 * (length_cm * sin.abs() + width_cm * cos.abs()),
        ];
        let reach = |axis: usize| (half[axis] / cell[axis] + 1.5) as i32;
        let whole = cell[0] * cell[1];
        let mut bare = vec![vec![[0.0, 0.0], [cell[0], 0.0], cell, [0.0, cell[1]]]];
        for shift in shifts_cm {
            for column in -reach(0)..=reach(0) {
                for row in -reach(1)..=reach(1) {
                    let by = [shift[0] + f64::from(column) * cell[0], shift[1] + f64::from(row) * cell[1]];
                    let copy = body.map(|at| [at[0] + by[0], at[1] + by[1]]);
                    bare = take_away(bare, &copy, 1e-14 * whole);
                    if bare.is_empty() {
                        return 1.0;
                    }
                }
            }
        }
        1.0 - bare.iter().map(|piece| area(piece)).sum::<f64>() / whole
    }
}

impl Body {
    fn check(&self) -> Result<(), FieldError> {
        let side = |what, value| within(what, value, 1.0, 1000.0, "cm").map(|_| ());
        match *self {
            Body::Rectangle { length_cm, width_cm } => {
                side("the length of the body", length_cm)?;
                side("the width of the body", width_cm)
            }
            Body::Circle { radius_cm } => side("the radius of the body", radius_cm),
        }
    }
}

/// Mean over a quarter turn, which by symmetry is the mean over all: adaptive Simpson, halving where a panel and its
/// halves differ.
fn mean_over_angles(value: impl Fn(f64) -> f64) -> f64 {
    let width = FRAC_PI_2 / f64::from(PANELS);
    let total: f64 = (0..PANELS)
        .map(|panel| {
            let start = f64::from(panel) * width;
            let ends = [value(start), value(start + 0.5 * width), value(start + width)];
            simpson(&value, start, width, ends, ANGLE_TOLERANCE / f64::from(PANELS), 12)
        })
        .sum();
    (total / FRAC_PI_2).clamp(0.0, 1.0)
}

const PANELS: u32 = 12;
const ANGLE_TOLERANCE: f64 = 1e-5;

fn simpson(
    value: &impl Fn(f64) -> f64,
    start: f64,
    width: f64,
    [from, middle, to]: [f64; 3],
    tolerance: f64,
    depth: u32,
) -> f64 {
    let whole = width / 6.0 * (from + 4.0 * middle + to);
    let (first, third) = (value(start + 0.25 * width), value(start + 0.75 * width));
    let halves = width / 12.0 * (from + 4.0 * first + 2.0 * middle + 4.0 * third + to);
    let off = halves - whole;
    if depth == 0 || off.abs() <= 15.0 * tolerance {
        return halves + off / 15.0;
    }
    let (half, tolerance, depth) = (0.5 * width, 0.5 * tolerance, depth - 1);
    simpson(value, start, half, [from, first, middle], tolerance, depth)
        + simpson(value, start + half, half, [middle, third, to], tolerance, depth)
}

/// Chance of detection after `k` independent passes of chance `pod` each, for ONE body and angle: `1 - (1 - p)^k`.
/// Of a mean over orientations it is too high: see [`PassesPod::independent`].
///
/// # Errors
/// A chance outside 0 to 1.
pub fn after_passes(pod: f64, k: u32) -> Result<f64, FieldError> {
    Ok(1.0 - (1.0 - within("the chance of detection", pod, 0.0, 1.0, "(share)")?).powf(f64::from(k)))
}

/// People expected found alive, of one buried anywhere in an area swept evenly from `from_min` to `to_min` after burial:
/// chance of detection times the curve's mean in that time, 0 to 1. `None` where the curve's source is silent.
///
/// # Errors
/// A chance outside 0 to 1, times in the wrong order or out of range.
pub fn expected_live_finds(
    pod: f64,
    curve: &SurvivalCurve,
    from_min: f64,
    to_min: f64,
) -> Result<Option<f64>, FieldError> {
    let pod = within("the chance of detection", pod, 0.0, 1.0, "(share)")?;
    Ok(curve.mean_pct(from_min, to_min)?.map(|alive_pct| pod * alive_pct / 100.0))
}

/// A hole of the spiral round the lowest reading.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct RingHole {
    /// In the order of probing, from 1.
    pub n: u32,
    /// Its ring; 0 is the middle.
    pub ring: u32,
    /// To the right of the lowest reading, cm.
    pub x_cm: f64,
    /// Uphill of the lowest reading, cm.
    pub y_cm: f64,
}

/// Holes round a lowest reading: the middle, then rings `spacing_cm` apart out to `out_to_cm`, each of floor(2 pi k)
/// holes evenly spread (spacing of 25 to 30 cm: common practice, no source).
///
/// # Errors
/// A spacing outside 5 to 200 cm, an end outside 0 to 1000 cm.
pub fn ring_holes(spacing_cm: f64, out_to_cm: f64) -> Result<Vec<RingHole>, FieldError> {
    let spacing_cm = within("the spacing of the rings", spacing_cm, 5.0, 200.0, "cm")?;
    let out_to_cm = within("the outermost ring", out_to_cm, 0.0, 1000.0, "cm")?;
    let rings = (out_to_cm / spacing_cm + 1e-9).floor() as u32;
    let mut holes = vec![RingHole { n: 1, ring: 0, x_cm: 0.0, y_cm: 0.0 }];
    for ring in 1..=rings {
        let radius_cm = f64::from(ring) * spacing_cm;
        let count = (TAU * f64::from(ring)).floor() as u32;
        for hole in 0..count {
            let (sin, cos) = (TAU * f64::from(hole) / f64::from(count)).sin_cos();
            let n = holes.len() as u32 + 1;
            holes.push(RingHole { n, ring, x_cm: radius_cm * sin, y_cm: radius_cm * cos });
        }
    }
    Ok(holes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::curves::survival_curve;
    use crate::field::tests::near;

    fn lattice(across_cm: f64, along_cm: f64) -> Lattice {
        Lattice::new(across_cm, along_cm).unwrap()
    }

    fn rectangle(length_cm: f64, width_cm: f64) -> Body {
        Body::Rectangle { length_cm, width_cm }
    }

    fn aligned(grid: Lattice, body: Body) -> f64 {
        grid.body_pod(body, 1).unwrap().aligned.length_across
    }

    #[test]
    fn section_4_aligned_bodies() {
        near(aligned(lattice(50.0, 50.0), rectangle(170.0, 45.0)), 0.90, 1e-12);
        near(aligned(lattice(50.0, 50.0), rectangle(50.0, 30.0)), 0.60, 1e-12);
        near(aligned(lattice(25.0, 25.0), Body::Circle { radius_cm: 12.5 }), 0.785, 0.0005);
        near(aligned(lattice(50.0, 50.0), Body::Circle { radius_cm: 20.0 }), 0.503, 0.0005);
    }

    #[test]
    fn section_4_any_orientation() {
        let grids = [lattice(50.0, 50.0), lattice(60.0, 70.0), lattice(75.0, 70.0)];
        for (body, pods) in [
            (rectangle(170.0, 45.0), [0.99723, 0.95762, 0.91756]),
            (rectangle(170.0, 30.0), [0.94970, 0.82024, 0.73615]),
            (rectangle(50.0, 30.0), [0.59223, 0.35714, 0.28571]),
        ] {
            for (grid, pod) in grids.iter().zip(pods) {
                near(grid.body_pod(body, 1).unwrap().any_orientation, pod, 1.5e-5);
            }
        }
    }

    #[test]
    fn section_4_passes() {
        near(after_passes(0.88, 2).unwrap(), 0.9856, 1e-12);
        near(after_passes(0.76, 2).unwrap(), 0.9424, 1e-12);
        let grid = lattice(50.0, 50.0);
        let lying = grid.body_pod(rectangle(170.0, 30.0), 2).unwrap();
        let upright = grid.body_pod(rectangle(50.0, 30.0), 2).unwrap();
        near(lying.passes[1].shifted, 0.98212, 1.5e-5);
        near(upright.passes[1].shifted, 0.85145, 1.5e-5);
        near(lying.passes[1].independent, 0.98795, 1.5e-5);
        near(grid.staggered_pod(170.0, 30.0).unwrap(), 0.99610, 1.5e-5);
        near(grid.staggered_pod(50.0, 30.0).unwrap(), 0.94284, 1.5e-5);
        let across = |grid: Lattice| aligned(grid, rectangle(170.0, 30.0));
        near(across(grid.moved_across(2)), across(grid), 0.0);
    }

    #[test]
    fn section_4_holes_per_m2() {
        for (across, along, density) in
            [(50.0, 50.0, 4.00), (60.0, 70.0, 2.38), (75.0, 70.0, 1.90), (25.0, 25.0, 16.0)]
        {
            near(lattice(across, along).holes_per_m2(), density, 0.005);
        }
        near(lattice(50.0, 50.0).pass_minutes(100.0, 8, 12.0).unwrap(), 10.0, 1e-12);
    }

    #[test]
    fn section_4_rings() {
        for (spacing_cm, out_to_cm, count) in [(25.0, 50.0, 19), (25.0, 100.0, 62), (30.0, 90.0, 37)] {
            let holes = ring_holes(spacing_cm, out_to_cm).unwrap();
            assert_eq!(holes.len(), count);
            let farthest = holes.iter().map(|hole| hole.x_cm.hypot(hole.y_cm)).fold(0.0, f64::max);
            near(farthest, out_to_cm, 1e-9);
        }
    }

    #[test]
    fn section_4_expected_live_finds() {
        let curve = survival_curve("Switzerland 1981-1991").unwrap();
        near(expected_live_finds(0.88, curve, 15.0, 35.0).unwrap().unwrap(), 0.537, 0.0005);
        let short = survival_curve("Switzerland 1981-2020").unwrap();
        assert_eq!(expected_live_finds(0.88, short, 15.0, 35.0), Ok(None));
    }

    #[test]
    fn a_fold_agrees_with_the_exact_answer_near_square_angles() {
        let grid = lattice(50.0, 60.0);
        for body in [rectangle(170.0, 45.0), rectangle(40.0, 30.0), rectangle(300.0, 20.0)] {
            near(grid.pod_at(body, 1e-9), grid.pod_at(body, 0.0), 1e-6);
            near(grid.pod_at(body, FRAC_PI_2 - 1e-9), grid.pod_at(body, FRAC_PI_2), 1e-6);
        }
    }

    #[test]
    fn a_circle_that_overlaps_its_neighbours() {
        let grid = lattice(50.0, 50.0);
        near(grid.circle_pod(25.0), PI / 4.0, 1e-12);
        near(grid.circle_pod(36.0), 1.0, 0.0);
        assert!(grid.circle_pod(30.0) > PI / 4.0 && grid.circle_pod(30.0) < 1.0);
        near(grid.circle_pod(35.355), 1.0, 1e-6);
    }

    #[test]
    fn refuses_what_has_no_meaning() {
        assert!(Lattice::new(0.0, 50.0).is_err());
        assert!(lattice(50.0, 50.0).body_pod(rectangle(f64::NAN, 1.0), 1).is_err());
        assert!(lattice(50.0, 50.0).body_pod(rectangle(50.0, 30.0), 0).is_err());
        assert!(lattice(50.0, 50.0).pass_minutes(100.0, 0, 12.0).is_err());
        assert!(ring_holes(0.0, 50.0).is_err());
        assert!(after_passes(1.1, 2).is_err());
    }
}
