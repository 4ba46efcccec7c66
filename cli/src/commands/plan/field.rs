//! The field that lanes are laid over: its outline out of a file or from width and length, and where it lies on the earth.

use crate::failure::Failure;
use firnbook_core::field::geo::DrillGrid;
use firnbook_core::field::outline::Outline;
use serde_json::Value;
use std::path::Path;

/// A field with, where it is known, its place on the earth.
pub struct Field {
    /// Its outline in the drill's grid.
    pub outline: Outline,
    /// The corners of the outer ring in the drill's grid, m.
    pub ring_m: Vec<[f64; 2]>,
    /// The grid on the earth.
    pub grid: Option<DrillGrid>,
}

/// Where the grid of a field lies, as it was said.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    /// Latitude and longitude of the lower left corner; a file of positions on the earth says it itself.
    pub origin: Option<[f64; 2]>,
    /// Compass bearing of the fall line.
    pub downhill_deg: Option<f64>,
    /// Steepness, degrees.
    pub slope_deg: f64,
}

impl Place {
    fn grid(self, origin: Option<[f64; 2]>) -> Result<Option<DrillGrid>, Failure> {
        let Some(([lat, lon], downhill_deg)) = origin.zip(self.downhill_deg) else { return Ok(None) };
        DrillGrid::new(lat, lon, downhill_deg, self.slope_deg).map(Some).map_err(Failure::refused)
    }
}

impl Field {
    /// A rectangle, its length along the fall line.
    pub fn rectangle(width_m: f64, length_m: f64, place: Place) -> Result<Field, Failure> {
        Ok(Field {
            outline: Outline::rectangle(width_m, length_m).map_err(Failure::refused)?,
            ring_m: vec![[0.0, 0.0], [width_m, 0.0], [width_m, length_m], [0.0, length_m]],
            grid: place.grid(place.origin)?,
        })
    }

    /// The field in a file: a JSON list of corners `[x_m, y_m]` as a drill's `outline` has them, or GeoJSON with one polygon.
    pub fn of_file(path: &Path, place: Place) -> Result<Field, Failure> {
        let text = std::fs::read_to_string(path).map_err(|e| Failure::file(path, &e))?;
        let name = path.display().to_string();
        let json: Value = serde_json::from_str(&text)
            .map_err(|e| Failure::refused(format!("{name} is no JSON: {e}; {ACCEPTED}")))?;
        if json.is_array() {
            let ring_m: Vec<[f64; 2]> = serde_json::from_value(json)
                .map_err(|e| Failure::refused(format!("{name} is no list of corners: {e}; {ACCEPTED}")))?;
            return Field::of_rings(ring_m, &[], place.grid(place.origin)?);
        }
        let mut polygons = Vec::new();
        collect_polygons(&json, &mut polygons);
        let [polygon] = polygons.as_slice() else {
            let n = polygons.len();
            return Err(Failure::refused(format!("{name} holds {n} polygons; {ACCEPTED}")));
        };
        let rings = positions(polygon).ok_or_else(|| {
            Failure::refused(format!(
                "{name}: the polygon's coordinates are no rings of [longitude, latitude]; {ACCEPTED}"
            ))
        })?;
        Field::of_earth(&rings, place)
    }

    fn of_earth(rings: &[Vec<[f64; 2]>], place: Place) -> Result<Field, Failure> {
        if place.origin.is_some() {
            return Err(Failure::Usage(
                "an outline of latitudes and longitudes says itself where it lies; leave --origin out"
                    .to_owned(),
            ));
        }
        let first = rings.first().and_then(|ring| ring.first()).copied();
        let Some(near) = place.grid(first.map(|[lon, lat]| [lat, lon]))? else {
            return Err(Failure::Usage(
                "an outline of latitudes and longitudes does not say which way is uphill; add --downhill DEG, the compass bearing of the fall line"
                    .to_owned(),
            ));
        };
        let in_grid = |grid: &DrillGrid| -> Result<Vec<Vec<[f64; 2]>>, Failure> {
            let ring =
                |ring: &Vec<[f64; 2]>| ring.iter().map(|[lon, lat]| grid.to_grid_m(*lat, *lon)).collect();
            rings.iter().map(ring).collect::<Result<_, _>>().map_err(Failure::refused)
        };
        // The grid begins at the lower left corner of the outline, which is known once there is a grid.
        let around = in_grid(&near)?;
        let lowest = |i: usize| around.iter().flatten().map(|at| at[i]).fold(f64::INFINITY, f64::min);
        let corner = near.to_lat_lon(lowest(0), lowest(1)).map_err(Failure::refused)?;
        let grid = place.grid(Some(corner))?.unwrap_or(near);
        let mut rings_m = in_grid(&grid)?.into_iter();
        let ring_m = rings_m.next().unwrap_or_default();
        Field::of_rings(ring_m, &rings_m.collect::<Vec<_>>(), Some(grid))
    }

    fn of_rings(
        ring_m: Vec<[f64; 2]>,
        holes: &[Vec<[f64; 2]>],
        grid: Option<DrillGrid>,
    ) -> Result<Field, Failure> {
        Ok(Field { outline: Outline::new(&ring_m, holes).map_err(Failure::refused)?, ring_m, grid })
    }
}

const ACCEPTED: &str =
    "give a list of corners in metres, like [[0,0],[80,0],[80,120],[0,120]], or GeoJSON with one polygon";

/// The polygons of a GeoJSON document (RFC 7946), wherever they stand in it.
fn collect_polygons<'j>(json: &'j Value, found: &mut Vec<&'j Value>) {
    match json["type"].as_str() {
        Some("Polygon") => found.push(&json["coordinates"]),
        Some("MultiPolygon") => found.extend(json["coordinates"].as_array().into_iter().flatten()),
        Some("Feature") => collect_polygons(&json["geometry"], found),
        Some("FeatureCollection") => {
            json["features"].as_array().into_iter().flatten().for_each(|f| collect_polygons(f, found));
        }
        Some("GeometryCollection") => {
            json["geometries"].as_array().into_iter().flatten().for_each(|g| collect_polygons(g, found));
        }
        _ => {}
    }
}

/// Rings of longitude and latitude; heights are left out.
fn positions(polygon: &Value) -> Option<Vec<Vec<[f64; 2]>>> {
    let position = |at: &Value| Some([at.get(0)?.as_f64()?, at.get(1)?.as_f64()?]);
    let ring = |ring: &Value| ring.as_array()?.iter().map(position).collect::<Option<Vec<_>>>();
    polygon.as_array()?.iter().map(ring).collect::<Option<Vec<_>>>().filter(|rings| !rings.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEVEL: Place = Place { origin: None, downhill_deg: Some(180.0), slope_deg: 0.0 };

    fn read(text: &str, place: Place) -> Result<Field, Failure> {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), text).unwrap();
        Field::of_file(file.path(), place)
    }

    #[test]
    fn an_outline_on_the_earth_begins_at_its_lower_left_corner() {
        // One thousandth of a degree of latitude at 47 degrees is 111.2 m (WGS 84, meridian arc 111,174 m a degree).
        let square = r#"{"type":"Feature","properties":{},"geometry":{"type":"Polygon","coordinates":
            [[[10.001,47.001,2100],[10.0,47.001,2100],[10.0,47.0,2050],[10.001,47.0,2050],[10.001,47.001,2100]]]}}"#;
        let field = read(square, LEVEL).unwrap();
        let ([left, right], [bottom, top]) = field.outline.extent_m();
        assert!(left.abs() < 0.01 && bottom.abs() < 0.01, "{left} {bottom}");
        assert!((top - 111.17).abs() < 0.02, "{top}");
        assert!((right - 76.06).abs() < 0.1, "{right}");
        // Seen uphill to the south, the field's lower left corner is its north-eastern one.
        let turned = read(square, Place { downhill_deg: Some(0.0), ..LEVEL }).unwrap();
        let [lat, lon] = turned.grid.unwrap().to_lat_lon(0.0, 0.0).unwrap();
        assert!((lat - 47.001).abs() < 1e-6 && (lon - 10.001).abs() < 1e-6, "{lat} {lon}");
        // On a slope of 60 degrees the surface is twice as long as its plan.
        let steep = read(square, Place { slope_deg: 60.0, ..LEVEL }).unwrap();
        assert!((steep.outline.extent_m().1[1] - 2.0 * top).abs() < 0.01);
    }

    #[test]
    fn what_is_no_field_is_refused_in_words() {
        let says = |text: &str, place| match read(text, place) {
            Err(Failure::Refused { says, .. } | Failure::Usage(says)) => says,
            _ => panic!("{text} was taken"),
        };
        assert!(says("[[0,0],[10,10],[10,0],[0,10]]", LEVEL).contains("crosses"));
        assert!(says("[[0,0],[1]]", LEVEL).contains("list of corners"));
        assert!(says("{}", LEVEL).contains("0 polygons"));
        assert!(says("{", LEVEL).contains("no JSON"));
        let point = r#"{"type":"Polygon","coordinates":[[["a"]]]}"#;
        assert!(says(point, LEVEL).contains("longitude"));
        let good = r#"{"type":"Polygon","coordinates":[[[10,47],[10.001,47],[10.001,47.001]]]}"#;
        assert!(says(good, Place { downhill_deg: None, ..LEVEL }).contains("--downhill"));
        assert!(says(good, Place { origin: Some([47.0, 10.0]), ..LEVEL }).contains("--origin"));
        assert!(read(good, LEVEL).is_ok());
        let carried = read("[[0,0],[80,0],[80,120]]", Place { origin: Some([47.0, 10.0]), ..LEVEL }).unwrap();
        assert!(carried.grid.is_some() && carried.outline.area_m2() == 4800.0);
    }
}
