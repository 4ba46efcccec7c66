//! How much snow was moved out of a hole, modelled from depth, slope, width and density: nobody weighed it.

use super::depth::TargetDepth;
use super::thresholds::Thresholds;
use crate::entry::Drill;
use crate::field::digging::{snow_kg, wedge_m3};
use crate::stats::describe::median;
use schemars::JsonSchema;
use serde::Serialize;

/// Snow moved out of a hole, modelled as a wedge from the surface downhill to the target: not measured.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Snow {
    /// Depth square to the slope, cm: the consensus of the target
    pub depth_cm: f64,
    /// Length of the hole along the slope, cm
    pub length_cm: f64,
    /// Width of the hole, cm
    pub width_cm: f64,
    /// Density of the snow, kg/m3
    pub density_kg_m3: f64,
    /// Width and density are defaults, not of this drill
    pub assumed: bool,
    /// Volume of the wedge, m3
    pub wedge_m3: f64,
    /// Mass, kg
    pub snow_kg: f64,
    /// Mass over the time from first stroke to airway, kg/s; null where that time is unknown
    pub kg_per_s: Option<f64>,
}

impl Snow {
    /// The snow of one hole: of the consensus depth, the widths written with the turns, the drill's slope and density.
    ///
    /// # Errors
    /// What is missing, in words.
    pub(super) fn of(
        setup: &Drill,
        widths_cm: &[f64],
        depth: Option<&TargetDepth>,
        digging_s: Option<f64>,
        thresholds: &Thresholds,
    ) -> Result<Snow, String> {
        let slope_deg = setup.slope_deg.map(|s| s.0).ok_or("the slope of the drill is not known")?;
        let depth = depth.and_then(|d| d.headline).filter(|h| !h.of_readings);
        let depth_cm = depth
            .and_then(|h| h.slope_normal_cm(Some(slope_deg)))
            .ok_or("no depth of this target was measured by probe or tape in a known direction")?;
        let length_cm = thresholds.hole_length_cm(depth_cm, slope_deg);
        let width_cm = median(widths_cm).unwrap_or(thresholds.hole_width_cm);
        let density_kg_m3 = setup.snow_kg_m3.map_or(thresholds.snow_kg_m3, |d| d.0);
        let wedge_m3 = wedge_m3(depth_cm, length_cm, width_cm).map_err(|e| e.to_string())?;
        let snow_kg = snow_kg(wedge_m3, density_kg_m3).map_err(|e| e.to_string())?;
        Ok(Snow {
            depth_cm,
            length_cm,
            width_cm,
            density_kg_m3,
            assumed: widths_cm.is_empty() || setup.snow_kg_m3.is_none(),
            wedge_m3,
            snow_kg,
            kg_per_s: digging_s.filter(|s| *s > 0.0).map(|s| snow_kg / s),
        })
    }
}
