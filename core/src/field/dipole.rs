//! The magnetic field of a transmitter and what a receiver makes of it above the snow. The transmitter is a static
//! magnetic dipole in empty space (standard physics), which holds near it, far below 457 kHz's wavelength / 2 pi of 104 m; the ground bends the field at
//! the distances of the signal search (Ayuso et al., Cold Reg Sci Technol 111:80-94, 2015). A receiver is an ideal device calibrated on the coaxial field: it shows the
//! distance at which that field on the dipole's axis would be as strong as what it measures.
//! Tilt is counted in degrees from level: 0 = lies flat, 90 = stands upright.

use std::f64::consts::PI;

use schemars::JsonSchema;
use serde::Serialize;

use super::{FieldError, within};

/// Field in A/m of a dipole of moment `moment_a_m2` at `from_dipole_m`: `H = [3 (m.r) r - m] / (4 pi r^3)`, r the unit vector.
///
/// # Errors
/// A moment beyond 1e6 A m2 or a place nearer than 1 cm or farther than 10 km.
pub fn field_a_per_m(moment_a_m2: [f64; 3], from_dipole_m: [f64; 3]) -> Result<[f64; 3], FieldError> {
    for part in moment_a_m2 {
        within("the moment", part, -1e6, 1e6, "A m2")?;
    }
    for part in from_dipole_m {
        within("the place", part, -FARTHEST_M, FARTHEST_M, "m")?;
    }
    let r = within("the distance from the transmitter", length(from_dipole_m), NEAREST_M, FARTHEST_M, "m")?;
    let axis = from_dipole_m.map(|part| part / r);
    let along = dot(moment_a_m2, axis);
    let scale = 1.0 / (4.0 * PI * r.powi(3));
    Ok(std::array::from_fn(|i| scale * (3.0 * along * axis[i] - moment_a_m2[i])))
}

/// Moment in A m2 of the dipole whose coaxial field at `distance_m` is `field_a_per_m`: `m = 2 pi r^3 H`.
///
/// # Errors
/// A distance outside 0.01 to 10,000 m, a field outside 0 to 1 A/m.
pub fn moment_a_m2(field_a_per_m: f64, distance_m: f64) -> Result<f64, FieldError> {
    let field = within("the field", field_a_per_m, 0.0, 1.0, "A/m")?;
    Ok(2.0 * PI * within("the distance", distance_m, NEAREST_M, FARTHEST_M, "m")?.powi(3) * field)
}

/// Distance in m at which the coaxial field of a dipole falls to `sensitivity_a_per_m`. A check of the physics, not
/// the range of a device: today's do better.
///
/// # Errors
/// A moment outside 0 to 1e6 A m2, a sensitivity outside 1e-12 to 1 A/m.
pub fn coaxial_range_m(moment_a_m2: f64, sensitivity_a_per_m: f64) -> Result<f64, FieldError> {
    let moment = within("the moment", moment_a_m2, 0.0, 1e6, "A m2")?;
    let field = within("the sensitivity", sensitivity_a_per_m, 1e-12, 1.0, "A/m")?;
    Ok((moment / (2.0 * PI * field)).cbrt())
}

/// Range across the dipole's axis over range along it: `2^(-1/3)`, because the field is half as strong there.
pub fn equatorial_range_ratio() -> f64 {
    0.5_f64.cbrt()
}

/// A transmitter in the snow, under the origin of the surface; x towards its raised end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BuriedTransmitter {
    depth_m: f64,
    sin: f64,
    cos: f64,
}

impl BuriedTransmitter {
    /// A transmitter `depth_cm` square below the surface, tilted `tilt_deg` against it.
    ///
    /// # Errors
    /// A depth outside 1 to 10,000 cm, a tilt outside 0 to 90 degrees.
    pub fn new(depth_cm: f64, tilt_deg: f64) -> Result<Self, FieldError> {
        let depth_m = within("the depth", depth_cm, 1.0, 10_000.0, "cm")? / 100.0;
        let tilt_deg = within("the tilt", tilt_deg, 0.0, 90.0, "degrees")?;
        let (sin, cos) = if tilt_deg == 90.0 { (1.0, 0.0) } else { tilt_deg.to_radians().sin_cos() };
        Ok(Self { depth_m, sin, cos })
    }

    /// What a receiver with three antennas reads, in m, on the surface at `x_m`, `y_m`:
    /// `r (2 / sqrt(1 + 3 cos^2 theta))^(1/3)`, theta the angle from the dipole's axis.
    ///
    /// # Errors
    /// A place beyond 10 km.
    pub fn reading_m(&self, x_m: f64, y_m: f64) -> Result<f64, FieldError> {
        let place = [surface(x_m)?, surface(y_m)?, self.depth_m];
        let r = length(place);
        let cos_theta = (place[0] * self.cos + place[2] * self.sin) / r;
        Ok(r * (2.0 / (1.0 + 3.0 * cos_theta * cos_theta).sqrt()).cbrt())
    }

    /// What a receiver that senses only along the surface reads there, in m; `None` where it senses nothing.
    ///
    /// # Errors
    /// As [`Self::reading_m`].
    pub fn surface_only_reading_m(&self, x_m: f64, y_m: f64) -> Result<Option<f64>, FieldError> {
        let place = [surface(x_m)?, surface(y_m)?, self.depth_m];
        let [hx, hy, _] = field_a_per_m([self.cos, 0.0, self.sin], place)?;
        let reading_m = (2.0 / (4.0 * PI * hx.hypot(hy))).cbrt();
        Ok((reading_m < FARTHEST_M).then_some(reading_m))
    }

    /// Where the field on the surface is strongest, m towards the raised end: the positive root of
    /// `(t^2 + 4) u^3 + 7 t u^2 + 5 t^2 u - t = 0`, u the offset over depth and t the tangent of the tilt. It follows
    /// from setting the slope of |H|^2 along x to zero; off that line the field is weaker. The cubic rises for all u,
    /// so there is one strongest place, at most a quarter of the depth away (at a tilt of 12.529 degrees).
    pub fn strongest_m(&self) -> f64 {
        let (s, c) = (self.sin, self.cos);
        let slope = |u: f64| ((s * s + 4.0 * c * c) * u + 7.0 * c * s) * u * u + 5.0 * s * s * u - c * s;
        let (mut low, mut high) = (0.0, 0.26);
        if slope(low) >= 0.0 {
            return 0.0;
        }
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if slope(middle) < 0.0 { low = middle } else { high = middle }
        }
        0.5 * (low + high) * self.depth_m
    }

    /// The answers a search on the surface would meet.
    ///
    /// # Errors
    /// None for a transmitter that was accepted; the signature follows from the readings it asks for.
    pub fn surface_reading(&self) -> Result<SurfaceReading, FieldError> {
        let x_m = self.strongest_m();
        let lowest_m = self.reading_m(x_m, 0.0)?;
        Ok(SurfaceReading {
            above_m: self.reading_m(0.0, 0.0)?,
            lowest_m,
            ratio: lowest_m / self.depth_m,
            maxima: vec![Maximum { x_m, y_m: 0.0, reading_m: lowest_m }],
            surface_only_ring_m: (self.cos == 0.0).then_some(0.5 * self.depth_m),
        })
    }

    /// Readings on a square map of the surface: rows of rising y, columns of rising x, both from `-half_width_m` to
    /// `half_width_m` in steps of `step_m`.
    ///
    /// # Errors
    /// A half width outside 0 to 1000 m, a step outside 0.001 to 1000 m, more than 1,000,000 readings.
    pub fn map_m(&self, half_width_m: f64, step_m: f64) -> Result<Vec<Vec<f64>>, FieldError> {
        let half_m = within("half the width of the map", half_width_m, 0.0, 1000.0, "m")?;
        let step_m = within("the step of the map", step_m, 0.001, 1000.0, "m")?;
        let steps = (half_m / step_m + 1e-9).floor();
        let count = (2.0 * steps + 1.0).powi(2);
        if count > MOST_READINGS as f64 {
            return Err(FieldError::TooMany {
                what: "readings",
                count,
                max: MOST_READINGS,
                remedy: "take a longer step or a smaller map",
            });
        }
        let steps = steps as i32;
        (-steps..=steps)
            .map(|row| {
                (-steps..=steps)
                    .map(|column| self.reading_m(f64::from(column) * step_m, f64::from(row) * step_m))
                    .collect()
            })
            .collect()
    }
}

/// What a search over one buried transmitter reads.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SurfaceReading {
    /// Reading straight above the transmitter, m.
    pub above_m: f64,
    /// Lowest reading on the surface, m.
    pub lowest_m: f64,
    /// Lowest reading over depth.
    pub ratio: f64,
    /// Where a receiver with three antennas finds the field strongest.
    pub maxima: Vec<Maximum>,
    /// Radius of the ring on which a receiver that senses only along the surface finds it strongest, m; upright
    /// transmitters only.
    pub surface_only_ring_m: Option<f64>,
}

/// A place of strongest field on the surface.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Maximum {
    /// Towards the raised end, m from above the transmitter.
    pub x_m: f64,
    /// Across, m.
    pub y_m: f64,
    /// The reading there, m.
    pub reading_m: f64,
}

/// Distance from the dipole over its flux line's farthest distance, at `theta_deg` from the axis: `sin^2 theta`.
///
/// # Errors
/// An angle outside 0 to 90 degrees.
pub fn flux_line_distance_ratio(theta_deg: f64) -> Result<f64, FieldError> {
    Ok(theta_rad(theta_deg)?.sin().powi(2))
}

/// Way along the flux line from `theta_deg` to the transmitter over the straight distance: `(near way, far way round)`.
/// The whole half line from the equator is `1 + asinh(sqrt 3) / (2 sqrt 3)` = 1.3802 times its farthest distance.
///
/// # Errors
/// An angle outside 1 to 90 degrees: on the axis there is no line.
pub fn flux_line_way_ratio(theta_deg: f64) -> Result<(f64, f64), FieldError> {
    let theta = within("the angle from the axis", theta_deg, 1.0, 90.0, "degrees")?.to_radians();
    let straight = theta.sin().powi(2);
    let from_equator = flux_line_way(theta.cos());
    let half = flux_line_way(1.0);
    Ok(((half - from_equator) / straight, (half + from_equator) / straight))
}

/// Integral of `sqrt(1 + 3 u^2)` from 0 to `cos_theta`: the way along the line from its equator, in units of its farthest distance.
fn flux_line_way(cos_theta: f64) -> f64 {
    let root3 = 3.0_f64.sqrt();
    0.5 * cos_theta * (1.0 + 3.0 * cos_theta * cos_theta).sqrt() + (root3 * cos_theta).asinh() / (2.0 * root3)
}

const NEAREST_M: f64 = 0.01;
const FARTHEST_M: f64 = 10_000.0;
const MOST_READINGS: usize = 1_000_000;

fn surface(value_m: f64) -> Result<f64, FieldError> {
    within("the place on the surface", value_m, -0.5 * FARTHEST_M, 0.5 * FARTHEST_M, "m")
}

fn theta_rad(theta_deg: f64) -> Result<f64, FieldError> {
    Ok(within("the angle from the axis", theta_deg, 0.0, 90.0, "degrees")?.to_radians())
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn length(a: [f64; 3]) -> f64 {
    dot(a, a).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::tests::near;

    fn buried(depth_cm: f64, tilt_deg: f64) -> BuriedTransmitter {
        BuriedTransmitter::new(depth_cm, tilt_deg).unwrap()
    }

    #[test]
    fn section_6_field_of_the_standard_transmitter() {
        let moment = moment_a_m2(0.5e-6, 10.0).unwrap();
        near(moment, 3.142e-3, 0.5e-6);
        for (distance_m, micro) in [(2.0, 62.5), (3.0, 18.52)] {
            let coaxial = length(field_a_per_m([0.0, 0.0, moment], [0.0, 0.0, distance_m]).unwrap());
            let across = length(field_a_per_m([0.0, 0.0, moment], [distance_m, 0.0, 0.0]).unwrap());
            near(coaxial * 1e6, micro, 0.005);
            near(across / coaxial, 0.5, 1e-12);
        }
    }

    #[test]
    fn section_6_ranges() {
        near(equatorial_range_ratio(), 0.794, 0.0005);
        for (micro, range_m) in [(0.5, 18.4), (2.23, 30.3)] {
            let moment = moment_a_m2(micro * 1e-6, 10.0).unwrap();
            near(coaxial_range_m(moment, 80e-9).unwrap(), range_m, 0.05);
        }
    }

    #[test]
    fn section_3_reading_above_flat_and_upright() {
        near(buried(100.0, 0.0).reading_m(0.0, 0.0).unwrap(), 1.26, 0.0005);
        near(buried(150.0, 0.0).reading_m(0.0, 0.0).unwrap(), 1.89, 0.0005);
        near(buried(100.0, 90.0).reading_m(0.0, 0.0).unwrap(), 1.0, 1e-12);
    }

    #[test]
    fn section_6_flux_line() {
        for (theta_deg, ratio) in [(90.0, 1.0), (60.0, 0.75), (45.0, 0.5), (30.0, 0.25)] {
            near(flux_line_distance_ratio(theta_deg).unwrap(), ratio, 1e-12);
        }
        near(flux_line_way_ratio(90.0).unwrap().0, 1.3802, 5e-5);
        near(flux_line_way_ratio(45.0).unwrap().1, 4.47, 0.005);
    }

    #[test]
    fn section_6_offset_of_the_maximum() {
        let worst_deg = (0.5_f64.atan() - 0.25_f64.atan()).to_degrees();
        near(worst_deg, 12.529, 0.0005);
        near(buried(200.0, worst_deg).strongest_m(), 0.5, 1e-9);
        near(buried(200.0, 0.0).strongest_m(), 0.0, 0.0);
        near(buried(200.0, 90.0).strongest_m(), 0.0, 0.0);
        let ring = buried(200.0, 90.0).surface_reading().unwrap().surface_only_ring_m.unwrap();
        near(ring, 1.0, 1e-12);
        let upright = buried(200.0, 90.0);
        let at = |x: f64| upright.surface_only_reading_m(x, 0.0).unwrap().unwrap();
        assert!(at(1.0) < at(0.99) && at(1.0) < at(1.01));
        assert_eq!(upright.surface_only_reading_m(0.0, 0.0), Ok(None));
    }

    #[test]
    fn section_6_flat_maximum_over_a_flat_transmitter() {
        let flat = buried(100.0, 0.0);
        let above_m = flat.reading_m(0.0, 0.0).unwrap();
        for (offset_m, along, across) in [(0.5, 1.034, 1.118), (1.0, 1.214, 1.414)] {
            near(flat.reading_m(offset_m, 0.0).unwrap() / above_m, along, 0.0005);
            near(flat.reading_m(0.0, offset_m).unwrap() / above_m, across, 0.0005);
        }
    }

    #[test]
    fn the_strongest_place_beats_a_map_for_every_tilt() {
        for tilt_deg in [0.0, 3.0, 12.529, 30.0, 45.0, 70.0, 89.0, 90.0] {
            let transmitter = buried(140.0, tilt_deg);
            let lowest_m = transmitter.surface_reading().unwrap().lowest_m;
            let map = transmitter.map_m(2.0, 0.05).unwrap();
            assert_eq!((map.len(), map[0].len()), (81, 81));
            let on_map_m = map.iter().flatten().copied().fold(f64::INFINITY, f64::min);
            assert!(lowest_m <= on_map_m + 1e-12, "tilt {tilt_deg}: {lowest_m} against {on_map_m}");
            near(lowest_m, on_map_m, 2e-3);
        }
    }

    #[test]
    fn refuses_what_has_no_meaning() {
        assert!(field_a_per_m([0.0, 0.0, 1.0], [0.0; 3]).is_err());
        assert!(BuriedTransmitter::new(f64::NAN, 0.0).is_err());
        assert!(BuriedTransmitter::new(100.0, 91.0).is_err());
        assert!(matches!(buried(100.0, 0.0).map_m(1000.0, 0.001), Err(FieldError::TooMany { .. })));
        assert!(flux_line_way_ratio(0.0).is_err());
    }
}
