//! One burial depth in its two directions: square to the slope, as a probe goes in, and straight down, as a
//! plumb line hangs. Also what confusing the two costs, and how a transceiver's lowest reading compares.
//! All formulas are plane trigonometry on a uniform slope. How readings arise is in `dipole`.

use super::{FieldError, within};

/// Deepest burial accepted, in cm: far beyond any probe, so that only slips of unit are refused.
pub const MAX_DEPTH_CM: f64 = 100_000.0;
/// Steepest slope accepted, in degrees: beyond it the vertical depth grows without bound.
pub const MAX_SLOPE_DEG: f64 = 85.0;

/// Vertical depth in cm over a target that lies `normal_cm` under a slope of `slope_deg`: `normal / cos slope`.
///
/// # Errors
/// A depth or slope that is not finite or out of range (0 to [`MAX_DEPTH_CM`], 0 to [`MAX_SLOPE_DEG`]).
pub fn vertical_from_normal_cm(normal_cm: f64, slope_deg: f64) -> Result<f64, FieldError> {
    Ok(depth(normal_cm)? / slope_rad(slope_deg)?.cos())
}

/// Slope-normal depth in cm of a target that lies `vertical_cm` straight below a slope of `slope_deg`:
/// `vertical * cos slope`.
///
/// # Errors
/// As [`vertical_from_normal_cm`].
pub fn normal_from_vertical_cm(vertical_cm: f64, slope_deg: f64) -> Result<f64, FieldError> {
    Ok(depth(vertical_cm)? * slope_rad(slope_deg)?.cos())
}

/// How far downhill, in cm along the slope, the foot of the slope-normal lies from the point vertically above
/// the target: `normal * tan slope`.
///
/// # Errors
/// As [`vertical_from_normal_cm`].
pub fn foot_offset_along_slope_cm(normal_cm: f64, slope_deg: f64) -> Result<f64, FieldError> {
    Ok(depth(normal_cm)? * slope_rad(slope_deg)?.tan())
}

/// How far, in cm horizontally, a probe pushed straight down at the foot of the slope-normal passes the target:
/// `normal * sin slope`. The geometric reason for probing square to the slope.
///
/// # Errors
/// As [`vertical_from_normal_cm`].
pub fn vertical_probe_miss_cm(normal_cm: f64, slope_deg: f64) -> Result<f64, FieldError> {
    Ok(depth(normal_cm)? * slope_rad(slope_deg)?.sin())
}

/// Lowest reading over slope-normal depth, both of one target; 1 where the reading is the depth. A flat
/// transmitter under a device calibrated on the coaxial field gives 1.26 (see `dipole`).
///
/// # Errors
/// A reading outside 0 to 1000 m, a depth outside 1 to [`MAX_DEPTH_CM`] cm: a ratio to nothing has no meaning.
pub fn reading_depth_ratio(lowest_reading_m: f64, normal_depth_cm: f64) -> Result<f64, FieldError> {
    let reading_m = within("the lowest reading", lowest_reading_m, 0.0, 1000.0, "m")?;
    let depth_cm = within("the depth", normal_depth_cm, 1.0, MAX_DEPTH_CM, "cm")?;
    Ok(100.0 * reading_m / depth_cm)
}

fn depth(value_cm: f64) -> Result<f64, FieldError> {
    within("the depth", value_cm, 0.0, MAX_DEPTH_CM, "cm")
}

fn slope_rad(slope_deg: f64) -> Result<f64, FieldError> {
    Ok(within("the slope", slope_deg, 0.0, MAX_SLOPE_DEG, "degrees")?.to_radians())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn near(got: Result<f64, FieldError>, want: f64, tolerance: f64) {
        let got = got.unwrap();
        assert!((got - want).abs() <= tolerance, "{got} is not {want}");
    }

    #[test]
    fn section_3_slope_geometry_of_one_metre() {
        for (slope_deg, vertical_cm, along_cm, miss_cm) in
            [(30.0, 115.5, 57.7, 50.0), (35.0, 122.1, 70.0, 57.4), (0.0, 100.0, 0.0, 0.0)]
        {
            near(vertical_from_normal_cm(100.0, slope_deg), vertical_cm, 0.05);
            near(foot_offset_along_slope_cm(100.0, slope_deg), along_cm, 0.05);
            near(vertical_probe_miss_cm(100.0, slope_deg), miss_cm, 0.05);
        }
    }

    #[test]
    fn directions_convert_back() {
        for slope_deg in [0.0, 12.5, 38.0, 60.0, 85.0] {
            let vertical_cm = vertical_from_normal_cm(137.0, slope_deg).unwrap();
            near(normal_from_vertical_cm(vertical_cm, slope_deg), 137.0, 1e-9);
        }
    }

    #[test]
    fn section_3_reading_over_a_flat_transmitter() {
        near(reading_depth_ratio(1.26, 100.0), 1.26, 1e-12);
        near(reading_depth_ratio(1.89, 150.0), 1.26, 1e-12);
    }

    #[test]
    fn refuses_what_has_no_meaning() {
        assert!(matches!(vertical_from_normal_cm(f64::NAN, 10.0), Err(FieldError::NotFinite { .. })));
        assert!(matches!(vertical_from_normal_cm(-1.0, 10.0), Err(FieldError::OutOfRange { .. })));
        assert!(matches!(normal_from_vertical_cm(100.0, 90.0), Err(FieldError::OutOfRange { .. })));
        let error = reading_depth_ratio(1.0, 0.0).unwrap_err();
        assert_eq!(
            error.to_string(),
            "the depth is 0 cm, outside 1 to 100000 cm: check the value and its unit"
        );
    }
}
