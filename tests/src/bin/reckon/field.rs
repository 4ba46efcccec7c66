//! Questions to `core::field`.

use firnbook_core::field::coverage::{coverage, path_efficiency};
use firnbook_core::field::curves::survival_curve;
use firnbook_core::field::dipole::{BuriedTransmitter, field_a_per_m, flux_line_way_ratio};
use firnbook_core::field::geo::{DrillGrid, geodesic};
use firnbook_core::field::lanes::{LaneSettings, plan_lanes};
use firnbook_core::field::outline::Outline;
use firnbook_core::field::probing::{Body, Lattice};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

type Ring = Vec<[f64; 2]>;

/// Answers `name` with the other members of `question` as its arguments.
pub fn answer(name: &str, question: &Value) -> Result<Value, String> {
    let number = |field: &str| take::<f64>(question, field);
    match name {
        "outline_area" => Ok(json!(outline(question)?.area_m2())),
        "lanes" => give(plan_lanes(
            &outline(question)?,
            LaneSettings {
                spacing_m: number("spacing_m")?,
                edge_m: number("edge_m")?,
                searchers: take(question, "searchers")?,
                ..LaneSettings::default()
            },
        )),
        "coverage" => give(coverage(
            &outline(question)?,
            &take::<Vec<Ring>>(question, "tracks")?,
            number("strip_width_m")?,
        )),
        "path_efficiency" => give(path_efficiency(&take::<Ring>(question, "track")?)),
        "pod" => give(lattice(question)?.body_pod(body(question)?, take(question, "passes")?)),
        "pod_at_angle" => give(lattice(question)?.pod_at_angle(body(question)?, number("angle_deg")?)),
        "staggered_pod" => give(lattice(question)?.staggered_pod(number("length_cm")?, number("width_cm")?)),
        "geodesic" => {
            give(geodesic(number("from_lat")?, number("from_lon")?, number("to_lat")?, number("to_lon")?))
        }
        "to_grid" => give(grid(question)?.to_grid_m(number("lat")?, number("lon")?)),
        "to_lat_lon" => give(grid(question)?.to_lat_lon(number("x_m")?, number("y_m")?)),
        "dipole" => give(field_a_per_m(take(question, "moment_a_m2")?, take(question, "from_dipole_m")?)),
        "surface_reading" => give(transmitter(question)?.surface_reading()),
        "reading" => give(transmitter(question)?.reading_m(number("x_m")?, number("y_m")?)),
        "flux_line_way" => give(flux_line_way_ratio(number("theta_deg")?)),
        "survival" => give(curve(question)?.at_pct(number("minutes")?)),
        "survival_mean" => give(curve(question)?.mean_pct(number("from_min")?, number("to_min")?)),
        "survival_nodes" => Ok(json!(curve(question)?.nodes)),
        _ => Err(format!("field does not answer {name}")),
    }
}

fn outline(question: &Value) -> Result<Outline, String> {
    said(Outline::new(&take::<Ring>(question, "outline")?, &take::<Vec<Ring>>(question, "holes")?))
}

fn lattice(question: &Value) -> Result<Lattice, String> {
    said(Lattice::new(take(question, "across_cm")?, take(question, "along_cm")?))
}

fn body(question: &Value) -> Result<Body, String> {
    Ok(match take::<Option<f64>>(question, "radius_cm")? {
        Some(radius_cm) => Body::Circle { radius_cm },
        None => {
            Body::Rectangle { length_cm: take(question, "length_cm")?, width_cm: take(question, "width_cm")? }
        }
    })
}

fn grid(question: &Value) -> Result<DrillGrid, String> {
    let number = |field: &str| take::<f64>(question, field);
    said(DrillGrid::new(
        number("origin_lat")?,
        number("origin_lon")?,
        number("downhill_deg")?,
        number("slope_deg")?,
    ))
}

fn transmitter(question: &Value) -> Result<BuriedTransmitter, String> {
    said(BuriedTransmitter::new(take(question, "depth_cm")?, take(question, "tilt_deg")?))
}

fn curve(question: &Value) -> Result<&'static firnbook_core::field::curves::SurvivalCurve, String> {
    let name: String = take(question, "curve")?;
    survival_curve(&name).ok_or_else(|| format!("there is no curve {name}"))
}

fn take<T: DeserializeOwned>(question: &Value, field: &str) -> Result<T, String> {
    serde_json::from_value(question[field].clone()).map_err(|error| format!("{field}: {error}"))
}

fn said<T>(result: Result<T, impl ToString>) -> Result<T, String> {
    result.map_err(|refused| refused.to_string())
}

fn give(result: Result<impl Serialize, impl ToString>) -> Result<Value, String> {
    said(result).map(|answer| json!(answer))
}
