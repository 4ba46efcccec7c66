//! From coordinates of the earth to a drill's grid and back. The grid lies on the slope surface, as a tape does:
//! origin at the drill's origin, x to the right as seen looking uphill, y uphill. In plan it is the azimuthal
//! equidistant view from the origin on the WGS 84 ellipsoid; y is stretched by 1 / cos slope. Geodesics are those of
//! Karney, Algorithms for geodesics, Journal of Geodesy 87, 2013, as the library `geographiclib-rs` computes them. Heights are not
//! taken in: a grid 3,000 m above the ellipsoid is 0.05 % wider than computed here.

use geographiclib_rs::{DirectGeodesic, Geodesic, InverseGeodesic};
use schemars::JsonSchema;
use serde::Serialize;

use super::depth::MAX_SLOPE_DEG;
use super::{FieldError, within};

/// Farthest point from the origin accepted, in m along the slope or in plan: beyond it latitude and longitude are likely swapped.
pub const FARTHEST_FROM_ORIGIN_M: f64 = 20_000.0;

/// The shortest way between two places on the ellipsoid.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Geodesic84 {
    /// Its length, m.
    pub distance_m: f64,
    /// Compass bearing at which it leaves the first place, 0 to 360.
    pub bearing_deg: f64,
}

/// Length and first bearing of the shortest way from one place to another.
///
/// # Errors
/// A latitude outside -90 to 90, a longitude outside -180 to 180.
pub fn geodesic(from_lat: f64, from_lon: f64, to_lat: f64, to_lon: f64) -> Result<Geodesic84, FieldError> {
    let (from_lat, from_lon) = place(from_lat, from_lon)?;
    let (to_lat, to_lon) = place(to_lat, to_lon)?;
    let (distance_m, bearing_deg, _, _): (f64, f64, f64, f64) =
        Geodesic::wgs84().inverse(from_lat, from_lon, to_lat, to_lon);
    Ok(Geodesic84 { distance_m, bearing_deg: bearing_deg.rem_euclid(360.0) })
}

/// The grid of one drill.
#[derive(Debug, Clone)]
pub struct DrillGrid {
    lat: f64,
    lon: f64,
    uphill_deg: f64,
    cos_slope: f64,
    ellipsoid: Geodesic,
}

impl DrillGrid {
    /// The grid with its origin at the given place, on a slope whose fall line has the compass bearing `downhill_deg`.
    ///
    /// # Errors
    /// A latitude outside -90 to 90, a longitude outside -180 to 180, a bearing outside 0 to 360, a slope outside 0 to
    /// [`MAX_SLOPE_DEG`].
    pub fn new(
        origin_lat: f64,
        origin_lon: f64,
        downhill_deg: f64,
        slope_deg: f64,
    ) -> Result<Self, FieldError> {
        let (lat, lon) = place(origin_lat, origin_lon)?;
        let uphill_deg = within("the downhill bearing", downhill_deg, 0.0, 360.0, "degrees")? + 180.0;
        let slope_deg = within("the slope", slope_deg, 0.0, MAX_SLOPE_DEG, "degrees")?;
        let cos_slope = slope_deg.to_radians().cos();
        Ok(Self { lat, lon, uphill_deg, cos_slope, ellipsoid: Geodesic::wgs84() })
    }

    /// A place as `[x_m, y_m]` of the grid.
    ///
    /// # Errors
    /// A latitude or longitude out of range, a place farther in plan than [`FARTHEST_FROM_ORIGIN_M`].
    pub fn to_grid_m(&self, lat: f64, lon: f64) -> Result<[f64; 2], FieldError> {
        let (lat, lon) = place(lat, lon)?;
        let (distance_m, bearing_deg, _, _): (f64, f64, f64, f64) =
            self.ellipsoid.inverse(self.lat, self.lon, lat, lon);
        let distance_m = near_origin(distance_m)?;
        let (sin, cos) = (bearing_deg - self.uphill_deg).to_radians().sin_cos();
        Ok([distance_m * sin, distance_m * cos / self.cos_slope])
    }

    /// The place at `x_m`, `y_m` of the grid as `[latitude, longitude]`, longitude from -180 to 180.
    ///
    /// # Errors
    /// A coordinate that is not finite, a point farther from the origin than [`FARTHEST_FROM_ORIGIN_M`].
    pub fn to_lat_lon(&self, x_m: f64, y_m: f64) -> Result<[f64; 2], FieldError> {
        let far = FARTHEST_FROM_ORIGIN_M;
        let right_m = within("x in the grid", x_m, -far, far, "m")?;
        let uphill_m =
            within("y in the grid", y_m, -far / self.cos_slope, far / self.cos_slope, "m")? * self.cos_slope;
        let distance_m = near_origin(right_m.hypot(uphill_m))?;
        let bearing_deg = right_m.atan2(uphill_m).to_degrees() + self.uphill_deg;
        let (lat, lon): (f64, f64) = self.ellipsoid.direct(self.lat, self.lon, bearing_deg, distance_m);
        Ok([lat, lon])
    }
}

fn place(lat: f64, lon: f64) -> Result<(f64, f64), FieldError> {
    Ok((
        within("the latitude", lat, -90.0, 90.0, "degrees")?,
        within("the longitude", lon, -180.0, 180.0, "degrees")?,
    ))
}

fn near_origin(distance_m: f64) -> Result<f64, FieldError> {
    within("the distance from the drill's origin", distance_m, 0.0, FARTHEST_FROM_ORIGIN_M, "m")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::field::tests::near;

    #[test]
    fn axes_point_right_and_uphill() {
        // Falls to the south: uphill is north, right is east.
        let grid = DrillGrid::new(46.5, 9.8, 180.0, 30.0).unwrap();
        let [x, y] = grid.to_grid_m(46.501, 9.8).unwrap();
        near(x, 0.0, 1e-6);
        near(y * 30.0_f64.to_radians().cos(), 111.16, 0.05);
        let [x, y] = grid.to_grid_m(46.5, 9.801).unwrap();
        near(x, 76.8, 0.1);
        near(y, 0.0, 0.01);
    }

    #[test]
    fn places_come_back_across_the_antimeridian_and_at_a_pole() {
        for (lat, lon) in [(46.5, 9.8), (-16.9, 179.9999), (-16.9, -179.9999), (89.9999, 20.0), (-90.0, 0.0)]
        {
            let grid = DrillGrid::new(lat, lon, 237.0, 38.0).unwrap();
            for [x_m, y_m] in [[0.0, 0.0], [250.0, -300.0], [-480.0, 499.0]] {
                let [lat, lon] = grid.to_lat_lon(x_m, y_m).unwrap();
                assert!((-180.0..=180.0).contains(&lon));
                let [x, y] = grid.to_grid_m(lat, lon).unwrap();
                near(x, x_m, 1e-6);
                near(y, y_m, 1e-6);
            }
        }
    }

    #[test]
    fn refuses_what_is_no_place() {
        assert!(DrillGrid::new(91.0, 0.0, 0.0, 0.0).is_err());
        assert!(DrillGrid::new(0.0, 180.5, 0.0, 0.0).is_err());
        let grid = DrillGrid::new(46.5, 9.8, 180.0, 30.0).unwrap();
        let swapped = grid.to_grid_m(9.8, 46.5).unwrap_err();
        assert!(swapped.to_string().starts_with("the distance from the drill's origin is"));
        assert!(grid.to_lat_lon(f64::INFINITY, 0.0).is_err());
    }
}
