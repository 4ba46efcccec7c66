//! `import`: tracks, places and outlines out of other programs' files.

use super::Ran;
use crate::args::{DayChoice, Writer};
use crate::desk::{DayTimes, Desk};
use crate::failure::Failure;
use crate::intake::gpx::{self, Fix, Waypoint, in_range};
use crate::intake::{bytes_of, text};
use firnbook_core::entry::{Drill, Frame, TRACK_POINTS_MAX, Time, fold};
use firnbook_core::field::geo::DrillGrid;
use firnbook_core::field::outline::Outline;
use firnbook_core::insight::tracks;
use firnbook_core::logbook::{Draft, LogReport, LogbookError};
use firnbook_core::store::DayRow;
use geojson::{Feature, GeoJson, GeometryValue, Position};
use serde_json::{Map, Value, json};
use std::path::PathBuf;

/// Bring tracks, places and outlines in from the files of other programs
///
/// A track becomes the walk of a person, in pieces of at most 10,000 points; every point stays as it is. The same file again writes nothing twice.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook import gpx walk.gpx --person Fox --drill 1\n  firnbook import geojson field.geojson --drill 1"
)]
pub struct ImportArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(clap::Subcommand, Debug)]
enum What {
    /// GPX 1.1: tracks with times, and waypoints
    ///
    /// Waypoints become notes with their place. Times without a zone are taken in that of the day.
    #[command(after_help = "Example:\n  firnbook import gpx walk.gpx --person Fox --drill 1")]
    Gpx(FileArgs),
    /// GeoJSON: a polygon is the outline of a drill, a line the walk of a person
    ///
    /// A line needs the times of its points, RFC 3339, in the property `times` or `coordTimes`.
    #[command(after_help = "Example:\n  firnbook import geojson field.geojson --drill 1")]
    Geojson(FileArgs),
}

#[derive(clap::Args, Debug)]
struct FileArgs {
    /// The file; - is standard input
    file: PathBuf,
    /// Who walked, by call sign; needed for tracks
    #[arg(long, value_name = "CALL SIGN")]
    person: Option<String>,
    /// The drill it belongs to, by label; needed for outlines
    #[arg(long, value_name = "LABEL")]
    drill: Option<String>,
    /// Leave out points that lie within this distance of the line through the others; without it every point is kept
    #[arg(long, value_name = "METRES", value_parser = metres)]
    simplify_m: Option<f64>,
    /// Only say what would be written
    #[arg(long)]
    dry_run: bool,
    #[command(flatten)]
    day: DayChoice,
    #[command(flatten)]
    writer: Writer,
}

fn metres(text: &str) -> Result<f64, String> {
    let number: Option<f64> = text.parse().ok();
    number.filter(|m| (0.01..=100.0).contains(m)).ok_or_else(|| "give metres from 0.01 to 100".to_owned())
}

/// Runs `import`.
pub fn run(desk: &mut Desk, args: &ImportArgs) -> Ran {
    let (What::Gpx(file) | What::Geojson(file)) = &args.what;
    let by = desk.writer(&file.writer)?;
    let day = desk.day_to_write(&file.day)?;
    let times = desk.times(&day)?;
    let largest = match &args.what {
        What::Gpx(_) => text::LARGEST,
        What::Geojson(_) => text::LARGEST_GEOJSON,
    };
    let (name, bytes) = bytes_of(desk, &file.file, largest)?;
    let mut remarks = Vec::new();
    let text = text::text_of(&name, &bytes, &mut remarks)?;
    let drill = match &file.drill {
        Some(label) => drill_of(desk, &day, label)?,
        None => None,
    };
    let mut import = Import { file, day: &day, times: &times, drill, lines: Vec::new(), remarks };
    match &args.what {
        What::Gpx(_) => import.gpx(&text),
        What::Geojson(_) => import.geojson(&text),
    }
    .map_err(|why| Failure::refused(format!("{name}: {why}; nothing was written")))?;
    let Import { lines, remarks, .. } = import;
    if lines.is_empty() {
        return Err(Failure::refused(format!(
            "{name} holds no track, place or outline; nothing was written"
        )));
    }
    remarks.iter().for_each(|remark| desk.ui.say(remark));
    // A line number makes the id follow from what is read, so that the same file again is the same entries.
    let drafts = (1..).zip(lines).map(|(n, json)| Draft { json, line: Some(n) }).collect();
    let report = desk.logbook.log(day.id, &by, drafts, file.dry_run).map_err(|e| match e {
        LogbookError::Refused(faults) => Failure::of_input(&name, faults),
        other => other.into(),
    })?;
    desk.ui.answer(&report, |r| tell(r, &day, file.dry_run))
}

fn tell(report: &LogReport, day: &DayRow, dry_run: bool) -> String {
    let verb = if dry_run { "would be written" } else { "written" };
    let entries =
        if report.written == 1 { "1 entry".to_owned() } else { format!("{} entries", report.written) };
    let known = if report.known > 0 { format!(", {} known already", report.known) } else { String::new() };
    format!("{entries} {verb} into {} {}{known}\n", day.date, day.area)
}

/// The drill of a label as it is declared so far.
fn drill_of(desk: &Desk, day: &DayRow, label: &str) -> Result<Option<Drill>, Failure> {
    let drills = desk.logbook.drills(day.id)?;
    Ok(drills.into_iter().find(|d| d.label.folded() == fold(label)))
}

/// What a file comes to.
struct Import<'a> {
    file: &'a FileArgs,
    day: &'a DayRow,
    times: &'a DayTimes,
    drill: Option<Drill>,
    lines: Vec<Map<String, Value>>,
    remarks: Vec<String>,
}

impl Import<'_> {
    fn gpx(&mut self, text: &str) -> Result<(), String> {
        let read = gpx::read(text, self.times)?;
        if read.without_zone > 0 {
            let zone = self.times.offset;
            self.remarks.push(format!(
                "{} times without a zone, taken as {zone}, the zone of the day",
                read.without_zone
            ));
        }
        if read.without_time > 0 {
            return Err(format!(
                "{} points have no time; a walk without times tells nothing of a search, so record it with times or bring the line in as GeoJSON",
                read.without_time
            ));
        }
        read.segments.into_iter().try_for_each(|segment| self.track(segment))?;
        read.waypoints.into_iter().for_each(|point| self.place(point));
        Ok(())
    }

    fn geojson(&mut self, text: &str) -> Result<(), String> {
        let read: GeoJson = text.parse().map_err(|e: geojson::Error| format!("no GeoJSON ({e})"))?;
        let features: Vec<Feature> = match read {
            GeoJson::FeatureCollection(collection) => collection.features,
            GeoJson::Feature(feature) => vec![feature],
            GeoJson::Geometry(geometry) => vec![Feature::from(geometry)],
        };
        for (n, feature) in (1..).zip(features) {
            self.feature(&feature).map_err(|why| format!("feature {n}: {why}"))?;
        }
        Ok(())
    }

    fn feature(&mut self, feature: &Feature) -> Result<(), String> {
        let Some(geometry) = &feature.geometry else { return Ok(()) };
        match &geometry.value {
            GeometryValue::Polygon { coordinates } => self.outline(coordinates),
            GeometryValue::LineString { coordinates } => self.line(coordinates, feature),
            GeometryValue::Point { coordinates } => {
                let name = feature.property("name").and_then(Value::as_str).unwrap_or_default().to_owned();
                self.place(Waypoint { at: fix(coordinates)?, name });
                Ok(())
            }
            other => Err(format!(
                "a {} is not understood; write polygons, lines and points one by one",
                other.type_name()
            )),
        }
    }

    /// A polygon is the outline of the drill: in its grid where that is known, else around an origin of its own.
    fn outline(&mut self, rings: &[Vec<Position>]) -> Result<(), String> {
        let label =
            self.file.drill.as_deref().ok_or("an outline belongs to a drill; name it with --drill LABEL")?;
        let [ring] = rings else { return Err("an outline has no holes".to_owned()) };
        let mut corners: Vec<[f64; 2]> = Vec::new();
        for at in ring {
            let at = fix(at)?;
            corners.push([at.lat, at.lon]);
        }
        if corners.first() == corners.last() {
            corners.pop();
        }
        let Some(grid) = self.drill.as_ref().and_then(tracks::grid) else {
            return Err(format!(
                "drill {label} has no origin, fall line and slope yet, so the outline has no grid to lie in; write them first, for example \
                 `firnbook log drill --label {label} --origin-lat 46.5 --origin-lon 9.8 --downhill 180 --slope 30`"
            ));
        };
        let in_grid = |[lat, lon]: &[f64; 2]| grid.to_grid_m(*lat, *lon).map_err(|e| e.to_string());
        let ring: Vec<[f64; 2]> = corners.iter().map(in_grid).collect::<Result<_, _>>()?;
        // A centimetre is finer than any outline is walked.
        let ring: Vec<[f64; 2]> =
            ring.iter().map(|at| at.map(|m| (m * 100.0).round() / 100.0 + 0.0)).collect();
        Outline::new(&ring, &[]).map_err(|e| e.to_string())?;
        let at = self.times.of(None).read("00:00:00")?;
        self.lines.push(object(json!({ "kind": "drill", "at": at, "label": label, "outline": ring })));
        Ok(())
    }

    /// A line is a walk, where its points have times.
    fn line(&mut self, line: &[Position], feature: &Feature) -> Result<(), String> {
        let times =
            feature.property("times").or_else(|| feature.property("coordTimes")).and_then(Value::as_array);
        let times = times.filter(|t| t.len() == line.len()).ok_or(
            "a line needs the times of its points, as many as points, in the property \"times\"; without them it tells nothing of a search",
        )?;
        let mut walk = Vec::with_capacity(line.len());
        let mut without_zone = 0;
        for (at, time) in line.iter().zip(times) {
            let text = time.as_str().ok_or("a time is no text")?;
            let ms = match self.times.of(None).local(text) {
                Some(local) => {
                    without_zone += 1;
                    local.millis()
                }
                None => Time::parse(text)?.millis(),
            };
            walk.push(Fix { ms: Some(ms), ..fix(at)? });
        }
        if without_zone > 0 {
            let zone = self.times.offset;
            self.remarks
                .push(format!("{without_zone} times without a zone, taken as {zone}, the zone of the day"));
        }
        self.track(walk)
    }

    /// A walk, in pieces that an entry holds.
    fn track(&mut self, mut walk: Vec<Fix>) -> Result<(), String> {
        let person = self
            .file
            .person
            .clone()
            .ok_or("a track belongs to a person; say who walked with --person CALL SIGN")?;
        let all = walk.len();
        if let Some(bound_m) = self.file.simplify_m {
            walk = simplified(&walk, bound_m);
            self.remarks.push(format!(
                "{} of {all} points kept; none left out lies farther than {bound_m} m from the line",
                walk.len()
            ));
        }
        if walk.windows(2).any(|pair| (pair[0].lon - pair[1].lon).abs() > 180.0) {
            self.remarks.push("the track crosses the antimeridian; its longitudes go on from 180 to -180 as the file has them".to_owned());
        }
        let pieces = walk.chunks(TRACK_POINTS_MAX).len();
        if pieces > 1 {
            self.remarks.push(format!(
                "{} points are written as {pieces} tracks of at most {TRACK_POINTS_MAX}",
                walk.len()
            ));
        }
        for piece in walk.chunks(TRACK_POINTS_MAX) {
            let at = piece
                .first()
                .and_then(|fix| Time::from_millis(fix.ms?, self.times.offset.local_minus_utc() / 60));
            let at = at.ok_or("a point without a time")?;
            let off_day = at.datetime().date_naive() != self.day.date;
            if off_day {
                let remark = format!(
                    "the track begins on {}, the day is {}",
                    at.datetime().date_naive(),
                    self.day.date
                );
                if !self.remarks.contains(&remark) {
                    self.remarks.push(remark);
                }
            }
            let mut line = json!({
                "kind": "track", "at": at, "person": person, "points": deltas(piece), "frame": Frame::LonLat,
                "source": self.file.file.file_name().map(|f| f.to_string_lossy()),
            });
            if let Some(drill) = &self.file.drill {
                line["drill"] = json!(drill);
            }
            self.lines.push(object(line));
        }
        Ok(())
    }

    /// A named point is a note with its place.
    fn place(&mut self, point: Waypoint) {
        let ms = point.at.ms.or_else(|| self.times.of(None).read("00:00:00").ok().map(Time::millis));
        let at = ms.and_then(|ms| Time::from_millis(ms, self.times.offset.local_minus_utc() / 60));
        let note = if point.name.is_empty() { "waypoint".to_owned() } else { point.name };
        let mut line =
            json!({ "kind": "note", "at": at, "note": note, "lat": point.at.lat, "lon": point.at.lon });
        if let Some(drill) = &self.file.drill {
            line["drill"] = json!(drill);
        }
        self.lines.push(object(line));
    }
}

fn object(value: Value) -> Map<String, Value> {
    if let Value::Object(map) = value { map } else { Map::new() }
}

fn fix(at: &Position) -> Result<Fix, String> {
    let &[lon, lat, ..] = at.as_slice() else {
        return Err("a position needs a longitude and a latitude".to_owned());
    };
    in_range(lat, lon)?;
    Ok(Fix { lat, lon, ms: None })
}

/// Points as an entry holds them: whole numbers of 1e-7 degrees, each less the one before.
fn deltas(points: &[Fix]) -> Value {
    let whole = |deg: f64| (deg * 1e7).round() as i64;
    let less_before = |values: Vec<i64>| {
        let before = std::iter::once(0).chain(values.iter().copied());
        values.iter().zip(before).map(|(now, before)| now - before).collect::<Vec<i64>>()
    };
    json!({
        "t_ms": less_before(points.iter().map(|p| p.ms.unwrap_or_default()).collect()),
        "x": less_before(points.iter().map(|p| whole(p.lon)).collect()),
        "y": less_before(points.iter().map(|p| whole(p.lat)).collect()),
    })
}

/// Fewer points, none left out farther than `bound_m` from the line through the others (Douglas and Peucker 1973), in plan around the first point.
fn simplified(walk: &[Fix], bound_m: f64) -> Vec<Fix> {
    let Some(grid) = walk.first().and_then(|first| DrillGrid::new(first.lat, first.lon, 180.0, 0.0).ok())
    else {
        return walk.to_vec();
    };
    let flat: Option<Vec<[f64; 2]>> = walk.iter().map(|p| grid.to_grid_m(p.lat, p.lon).ok()).collect();
    // A walk of more than 20 km is no search; it stays as it is.
    let Some(flat) = flat else { return walk.to_vec() };
    let mut keep = vec![false; walk.len()];
    let mut open = vec![(0, walk.len() - 1)];
    while let Some((from, to)) = open.pop() {
        (keep[from], keep[to]) = (true, true);
        let far = (from + 1..to)
            .map(|i| (distance_m(flat[i], flat[from], flat[to]), i))
            .max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((_, at)) = far.filter(|(far_m, _)| *far_m > bound_m) {
            open.extend([(from, at), (at, to)]);
        }
    }
    walk.iter().zip(keep).filter(|(_, keep)| *keep).map(|(fix, _)| *fix).collect()
}

/// Distance of a point from the straight way between two others, m.
fn distance_m(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let length2 = dx * dx + dy * dy;
    let along = if length2 > 0.0 {
        (((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / length2).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (p[0] - a[0] - along * dx).hypot(p[1] - a[1] - along * dy)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_left_out_lies_near_the_line() {
        let at = |n: i32, lat: f64| Fix { lat, lon: 9.8 + f64::from(n) * 1e-5, ms: Some(i64::from(n)) };
        let mut walk: Vec<Fix> = (0..100).map(|n| at(n, 46.5)).collect();
        walk[50].lat += 1e-4;
        let kept = simplified(&walk, 1.0);
        let told: Vec<_> = kept.iter().filter_map(|f| f.ms).collect();
        assert!(told.contains(&0) && told.contains(&50) && told.contains(&99) && told.len() <= 7, "{told:?}");
        assert_eq!(simplified(&walk[..1], 1.0).len(), 1);
    }

    #[test]
    fn points_are_deltas_of_whole_numbers() {
        let fix = |lat, lon, ms| Fix { lat, lon, ms: Some(ms) };
        let points = deltas(&[fix(46.5, 9.8, 1000), fix(46.500_001, 9.8, 2000)]);
        assert_eq!(points, json!({"t_ms": [1000, 1000], "x": [98_000_000, 0], "y": [465_000_000, 10]}));
    }
}
