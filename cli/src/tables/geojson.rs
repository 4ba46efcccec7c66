//! The shapes of a day as GeoJSON (RFC 7946): outlines, lanes, tracks, targets, strikes, gaps. Longitude comes before latitude, outer rings run
//! counterclockwise, and what crosses the antimeridian is cut there (sections 3.1.1, 3.1.6, 3.1.9).

use super::veil::Veil;
use crate::failure::Failure;
use firnbook_core::entry::{Body, Drill, Entry, Frame, Outcome, fold};
use firnbook_core::field::geo::DrillGrid;
use firnbook_core::field::lanes::{LaneSettings, plan_lanes};
use firnbook_core::field::outline::Outline;
use firnbook_core::insight::debrief::Debrief;
use firnbook_core::insight::tracks;
use geojson::{Feature, Geometry, GeometryValue, JsonObject, Position};
use serde_json::{Value, json};
use std::collections::{BTreeMap, HashMap};

/// Digits behind the point: a centimetre on the ground.
const DIGITS: f64 = 1e7;
/// Degrees to which the origin of a drill is rounded unless everything leaves.
const COARSE_DEG: f64 = 0.1;

/// The features of an export, by table.
#[derive(Default)]
pub struct Shapes {
    tables: BTreeMap<&'static str, Vec<Feature>>,
    /// What could not be placed.
    pub not_placed: Vec<String>,
}

/// A drill that can be placed.
struct Place {
    label: String,
    grid: DrillGrid,
    /// The grid at its true place, to read positions on the earth.
    true_grid: DrillGrid,
}

impl Shapes {
    /// Adds the shapes of a day: its drills, what their fields and searches look like, and its entries that have a place.
    pub fn day<'e>(
        &mut self,
        veil: &mut Veil,
        date: &str,
        drills: &[Drill],
        debrief: &Debrief,
        entries: impl Iterator<Item = &'e Entry>,
    ) {
        let mut places: HashMap<String, Place> = HashMap::new();
        for drill in drills {
            let label = veil.text(super::Secret::Label("drill"), &drill.label.0).to_owned();
            match placed(drill, veil.is_lifted()) {
                Some((grid, true_grid)) => {
                    let place = Place { label, grid, true_grid };
                    self.field(veil, date, drill, &place, debrief);
                    places.insert(drill.label.folded(), place);
                }
                None => self.not_placed.push(format!(
                    "drill {label} of {date} has no place: its origin, fall line or slope is not written"
                )),
            }
        }
        for entry in entries {
            let drill = entry.common.drill.as_ref().map(|d| fold(&d.0));
            match drill.and_then(|d| places.get(&d)) {
                Some(place) => self.entry(veil, date, place, entry),
                None if veil.is_lifted() => self.on_earth(date, entry),
                None => {}
            }
        }
    }

    /// The outline of a drill, the lanes it would be searched in, and what its search left out.
    fn field(&mut self, veil: &mut Veil, date: &str, drill: &Drill, place: &Place, debrief: &Debrief) {
        let team = drill.team.as_deref().map(|t| veil.text(super::Secret::Label("team"), t).to_owned());
        let about = |more: Value| properties(date, place, more);
        if let Some(ring) = ring_of(drill) {
            if let Some(shape) = polygon(&place.grid, std::slice::from_ref(&ring)) {
                self.add("outlines", shape, about(json!({ "team": team, "slope_deg": drill.slope_deg })));
            }
            let lanes =
                Outline::new(&ring, &[]).and_then(|field| plan_lanes(&field, LaneSettings::default()));
            for lane in lanes.into_iter().flat_map(|plan| plan.lanes) {
                for segment in &lane.segments {
                    let line = [[lane.x_m, segment.from_y_m], [lane.x_m, segment.to_y_m]];
                    if let Some(shape) = line_of(&place.grid, &line) {
                        self.add("lanes", shape, about(json!({ "lane": lane.n, "planned": true })));
                    }
                }
            }
        }
        let searched = debrief.drills.iter().find(|d| fold(&d.label) == drill.label.folded());
        for gap in searched.into_iter().flat_map(|d| &d.search.gaps) {
            let rings: Vec<Vec<[f64; 2]>> =
                std::iter::once(gap.ring.clone()).chain(gap.holes.clone()).collect();
            if let Some(shape) = polygon(&place.grid, &rings) {
                self.add("gaps", shape, about(json!({ "area_m2": gap.area_m2 })));
            }
        }
    }

    /// An entry that has a place in the grid of its drill.
    fn entry(&mut self, veil: &mut Veil, date: &str, place: &Place, entry: &Entry) {
        let common = &entry.common;
        let target =
            common.target.as_ref().map(|t| veil.text(super::Secret::Label("target"), &t.0).to_owned());
        if let Body::Track(track) = &entry.body {
            let line: Vec<[f64; 2]> = tracks::absolute(&track.points)
                .filter_map(|(_, [x, y])| match track.frame {
                    Some(Frame::LonLat) => place.true_grid.to_grid_m(y / 1e7, x / 1e7).ok(),
                    Some(Frame::Grid) | None => Some([x, y]),
                })
                .map(|at| at.map(|m| veil.metres(m)))
                .collect();
            if let Some(shape) = line_of(&place.grid, &line) {
                let person = veil.text(super::Secret::Person("person"), &track.person.0).to_owned();
                self.add(
                    "tracks",
                    shape,
                    properties(date, place, json!({ "id": common.id, "person": person })),
                );
            }
            return;
        }
        let on_earth = || place.true_grid.to_grid_m(common.lat?.0, common.lon?.0).ok();
        let in_grid = common.x_m.zip(common.y_m).map(|(x, y)| [x.0, y.0]).or_else(on_earth);
        let Some(shape) = in_grid.and_then(|[x, y]| point(&place.grid, veil.metres(x), veil.metres(y)))
        else {
            return;
        };
        match &entry.body {
            Body::Target(t) => {
                let label = veil.text(super::Secret::Label("target"), &t.label.0).to_owned();
                let more = json!({ "id": common.id, "target": label, "set_depth_cm": t.set_depth_cm, "orientation": t.orientation });
                self.add("targets", shape, properties(date, place, more));
            }
            Body::Strike(s) => {
                let hit = s.outcome == Some(Outcome::Hit);
                let more = json!({ "id": common.id, "target": target, "hit": hit, "outcome": s.outcome, "depth_cm": s.depth_cm });
                self.add("strikes", shape, properties(date, place, more));
            }
            _ => {}
        }
    }

    /// A track of no drill, where it lies on the earth.
    fn on_earth(&mut self, date: &str, entry: &Entry) {
        let Body::Track(track) = &entry.body else { return };
        if track.frame == Some(Frame::LonLat) {
            let line: Vec<Position> =
                tracks::absolute(&track.points).map(|(_, [x, y])| at(y / 1e7, x / 1e7)).collect();
            if let Some(shape) = cut_line(&line) {
                let about = json!({ "date": date, "id": entry.common.id, "person": track.person });
                self.add("tracks", shape, object(about));
            }
        }
    }

    fn add(&mut self, table: &'static str, geometry: GeometryValue, properties: JsonObject) {
        self.tables.entry(table).or_default().push(Feature {
            bbox: None,
            geometry: Some(Geometry::new(geometry)),
            id: None,
            properties: Some(properties),
            foreign_members: None,
        });
    }

    /// The files, each with its name, its number of features and its text.
    ///
    /// # Errors
    /// A feature that can't be written.
    pub fn files(self) -> Result<Vec<(&'static str, usize, String)>, Failure> {
        let mut files = Vec::new();
        for (name, features) in self.tables {
            let rows = features.len();
            // One feature a line, so that a text tool can read along.
            let mut text = "{\"type\":\"FeatureCollection\",\"features\":[\n".to_owned();
            for (n, feature) in features.iter().enumerate() {
                text += &serde_json::to_string(feature).map_err(Failure::refused)?;
                text += if n + 1 < rows { ",\n" } else { "\n" };
            }
            text += "]}\n";
            files.push((name, rows, text));
        }
        Ok(files)
    }
}

fn properties(date: &str, place: &Place, more: Value) -> JsonObject {
    let mut about = object(json!({ "date": date, "drill": place.label }));
    about.extend(object(more).into_iter().filter(|(_, v)| !v.is_null()));
    about
}

fn object(value: Value) -> JsonObject {
    if let Value::Object(map) = value { map } else { JsonObject::new() }
}

/// The grid in which a drill is shown, and the one in which it lies.
fn placed(drill: &Drill, exactly: bool) -> Option<(DrillGrid, DrillGrid)> {
    let true_grid = tracks::grid(drill)?;
    if exactly {
        return Some((true_grid.clone(), true_grid));
    }
    let coarse = |deg: f64| (deg / COARSE_DEG).round() * COARSE_DEG;
    let (lat, lon) = (coarse(drill.origin_lat?.0), coarse(drill.origin_lon?.0));
    let shown = DrillGrid::new(lat, lon, drill.downhill_deg?.0, drill.slope_deg?.0).ok()?;
    Some((shown, true_grid))
}

/// The field of a drill: its outline, else its width and length.
fn ring_of(drill: &Drill) -> Option<Vec<[f64; 2]>> {
    match (&drill.outline, drill.width_m, drill.length_m) {
        (Some(ring), _, _) => Some(ring.clone()),
        (None, Some(width), Some(length)) => {
            Some(vec![[0.0, 0.0], [width.0, 0.0], [width.0, length.0], [0.0, length.0]])
        }
        _ => None,
    }
}

fn at(lat: f64, lon: f64) -> Position {
    let rounded = |deg: f64| (deg * DIGITS).round() / DIGITS;
    Position::from([rounded(lon), rounded(lat)])
}

fn places(grid: &DrillGrid, points: &[[f64; 2]]) -> Option<Vec<Position>> {
    points.iter().map(|[x, y]| grid.to_lat_lon(*x, *y).ok().map(|[lat, lon]| at(lat, lon))).collect()
}

fn point(grid: &DrillGrid, x_m: f64, y_m: f64) -> Option<GeometryValue> {
    let [lat, lon] = grid.to_lat_lon(x_m, y_m).ok()?;
    Some(GeometryValue::Point { coordinates: at(lat, lon) })
}

fn line_of(grid: &DrillGrid, points: &[[f64; 2]]) -> Option<GeometryValue> {
    cut_line(&places(grid, points)?)
}

/// A line, in pieces where it crosses the antimeridian; none of fewer than two points.
fn cut_line(line: &[Position]) -> Option<GeometryValue> {
    let mut pieces: Vec<Vec<Position>> = vec![Vec::new()];
    let mut before: Option<[f64; 2]> = None;
    for now in line.iter().map(|p| [p[0], p[1]]) {
        if let Some(last) = before.filter(|last| (last[0] - now[0]).abs() > 180.0) {
            let edge = 180.0_f64.copysign(last[0]);
            let beyond = now[0] + 2.0 * edge;
            let share = if beyond == last[0] { 0.0 } else { (edge - last[0]) / (beyond - last[0]) };
            let lat = last[1] + share * (now[1] - last[1]);
            if let Some(piece) = pieces.last_mut() {
                piece.push(at(lat, edge));
            }
            pieces.push(vec![at(lat, -edge)]);
        }
        if let Some(piece) = pieces.last_mut() {
            piece.push(Position::from(now));
        }
        before = Some(now);
    }
    pieces.retain(|piece| piece.len() > 1);
    match pieces.len() {
        0 => None,
        1 => pieces.pop().map(|coordinates| GeometryValue::LineString { coordinates }),
        _ => Some(GeometryValue::MultiLineString { coordinates: pieces }),
    }
}

/// A polygon of an outer ring and its holes, cut where it crosses the antimeridian.
fn polygon(grid: &DrillGrid, rings: &[Vec<[f64; 2]>]) -> Option<GeometryValue> {
    let mut placed: Vec<Vec<[f64; 2]>> = Vec::new();
    for ring in rings {
        placed.push(places(grid, ring)?.iter().map(|p| [p[0], p[1]]).collect());
    }
    let west = placed.iter().flatten().any(|p| p[0] < -90.0);
    let crosses = west && placed.iter().flatten().any(|p| p[0] > 90.0);
    if !crosses {
        return Some(GeometryValue::Polygon { coordinates: closed(&placed)? });
    }
    // Longitudes from 0 to 360, cut at 180.
    placed.iter_mut().flatten().filter(|p| p[0] < 0.0).for_each(|p| p[0] += 360.0);
    let half = |east: bool| -> Option<Vec<Vec<Position>>> {
        let mut cut: Vec<Vec<[f64; 2]>> = placed.iter().map(|ring| clipped(ring, east)).collect();
        if !east {
            cut.iter_mut().flatten().for_each(|p| p[0] -= 360.0);
        }
        cut.retain(|ring| ring.len() > 2);
        closed(&cut)
    };
    let coordinates: Vec<_> = [half(true), half(false)].into_iter().flatten().collect();
    Some(GeometryValue::MultiPolygon { coordinates })
}

/// The part of a ring on one side of 180 degrees (Sutherland and Hodgman 1974).
fn clipped(ring: &[[f64; 2]], east: bool) -> Vec<[f64; 2]> {
    let inside = |p: &[f64; 2]| if east { p[0] <= 180.0 } else { p[0] >= 180.0 };
    let mut kept = Vec::new();
    for (n, to) in ring.iter().enumerate() {
        let from = &ring[(n + ring.len() - 1) % ring.len()];
        if inside(from) != inside(to) {
            let share = (180.0 - from[0]) / (to[0] - from[0]);
            kept.push([180.0, from[1] + share * (to[1] - from[1])]);
        }
        if inside(to) {
            kept.push(*to);
        }
    }
    kept
}

/// Closed rings, the outer one counterclockwise and holes clockwise; `None` without an outer one.
fn closed(rings: &[Vec<[f64; 2]>]) -> Option<Vec<Vec<Position>>> {
    let outer_first = rings.iter().enumerate();
    let closed: Vec<Vec<Position>> = outer_first
        .map(|(n, ring)| {
            let mut ring = ring.clone();
            if ring.first() == ring.last() {
                ring.pop();
            }
            let twice: f64 = (0..ring.len())
                .map(|i| {
                    let (a, b) = (ring[i], ring[(i + 1) % ring.len()]);
                    // From the first corner, so that digits are not lost far from 0.
                    (a[0] - ring[0][0]) * (b[1] - ring[0][1]) - (b[0] - ring[0][0]) * (a[1] - ring[0][1])
                })
                .sum();
            if (twice > 0.0) != (n == 0) {
                ring.reverse();
            }
            ring.extend(ring.first().copied());
            ring.into_iter().map(|[lon, lat]| at(lat, lon)).collect()
        })
        .collect();
    (!closed.is_empty()).then_some(closed)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_crosses_the_antimeridian_is_cut_there() {
        let grid = DrillGrid::new(-16.9, 179.9999, 180.0, 0.0).unwrap();
        let square = vec![[-50.0, 0.0], [50.0, 0.0], [50.0, 60.0], [-50.0, 60.0]];
        let Some(GeometryValue::MultiPolygon { coordinates }) = polygon(&grid, &[square]) else { panic!() };
        assert_eq!(coordinates.len(), 2);
        let lons: Vec<Vec<f64>> = coordinates.iter().map(|p| p[0].iter().map(|at| at[0]).collect()).collect();
        assert!(lons[0].iter().all(|lon| *lon > 179.0) && lons[0].contains(&180.0));
        assert!(lons[1].iter().all(|lon| *lon < -179.0) && lons[1].contains(&-180.0));
        let Some(GeometryValue::MultiLineString { coordinates }) =
            line_of(&grid, &[[-50.0, 0.0], [50.0, 0.0]])
        else {
            panic!()
        };
        assert_eq!((coordinates[0][1][0], coordinates[1][0][0]), (180.0, -180.0));
        assert!(line_of(&grid, &[[0.0, 0.0]]).is_none());
    }

    #[test]
    fn outer_rings_run_counterclockwise() {
        let grid = DrillGrid::new(46.5, 9.8, 180.0, 30.0).unwrap();
        let clockwise = vec![[0.0, 0.0], [0.0, 60.0], [50.0, 60.0], [50.0, 0.0]];
        let Some(GeometryValue::Polygon { coordinates }) = polygon(&grid, &[clockwise]) else { panic!() };
        let ring = &coordinates[0];
        assert_eq!((ring.len(), &ring[0]), (5, &ring[4]));
        let twice: f64 = ring
            .windows(2)
            .map(|p| (p[0][0] - 9.8) * (p[1][1] - 46.5) - (p[1][0] - 9.8) * (p[0][1] - 46.5))
            .sum();
        assert!(twice > 0.0);
    }
}
