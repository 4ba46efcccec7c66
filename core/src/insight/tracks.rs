//! Where people walked in a drill, in metres of the drill's grid, cut to the time that counts: from start to the person's own first signal,
//! else to the end.

use super::left_out::{Tally, reason};
use super::timeline::DrillTimes;
use super::view::{Told, View};
use crate::entry::{Body, Drill, Frame, Points, Step, Track};
use crate::field::geo::DrillGrid;
use std::collections::BTreeMap;

/// Reasons of this file.
const NO_GRID: &str =
    "track in longitude and latitude, and the drill's origin, fall line or slope is not known";
const NOT_IN_TIME: &str = "track without a point between start and the person's first signal";
const BROKEN: &str = "point of a track that is no place near the drill";

/// A walk within the time that counts.
#[derive(Clone, Debug, PartialEq)]
pub struct Walk {
    /// Folded call sign.
    pub person: String,
    /// Seconds from start of each point, rising.
    pub t_s: Vec<f64>,
    /// `[x, y]` in the drill's grid, m.
    pub at_m: Vec<[f64; 2]>,
}

/// The walks of a drill, in the order of time.
#[must_use]
pub fn walks(
    view: &View<'_>,
    drill: &str,
    setup: &Drill,
    times: &DrillTimes,
    left_out: &mut Tally,
) -> Vec<Walk> {
    let Some(start) = &times.start else { return Vec::new() };
    let end_ms = times.end.as_ref().map_or(f64::INFINITY, |e| e.ms);
    let signals = first_signals(view, drill, times);
    let grid = grid(setup);
    let mut walks = Vec::new();
    for told in view.of_drill(drill) {
        let Body::Track(track) = &told.entry.body else { continue };
        let person = view.things.person(&track.person.0);
        let until_ms = signals.get(&person).copied().filter(|ms| *ms >= start.ms).unwrap_or(end_ms);
        let raw = told.entry.common.at;
        let Some(moved_ms) = times.on_line_ms(view, *told, raw).map(|ms| ms - raw.millis() as f64) else {
            left_out.add(reason::CLOCK);
            continue;
        };
        let Some(points) = places(track, grid.as_ref(), left_out) else {
            left_out.add(NO_GRID);
            continue;
        };
        let mut walk = Walk { person, t_s: Vec::new(), at_m: Vec::new() };
        let mut last_ms = f64::NEG_INFINITY;
        for (ms, at) in points.into_iter().map(|(ms, at)| (ms + moved_ms, at)) {
            // A clock that went back within a track says nothing about order: such a point is not walked to.
            if ms >= start.ms && ms <= until_ms && ms >= last_ms {
                last_ms = ms;
                walk.t_s.push(times.pauses.seconds(start.ms, ms));
                walk.at_m.push(at);
            }
        }
        if walk.at_m.is_empty() {
            left_out.add(NOT_IN_TIME);
        } else {
            walks.push(walk);
        }
    }
    walks.sort_by(|a, b| a.t_s[0].total_cmp(&b.t_s[0]));
    walks
}

/// The grid of a drill whose place, fall line and slope are known.
#[must_use]
pub fn grid(setup: &Drill) -> Option<DrillGrid> {
    let (lat, lon) = (setup.origin_lat?.0, setup.origin_lon?.0);
    DrillGrid::new(lat, lon, setup.downhill_deg?.0, setup.slope_deg?.0).ok()
}

/// When each person's first signal was, in ms: said to be theirs, or written by themselves of nobody.
fn first_signals(view: &View<'_>, drill: &str, times: &DrillTimes) -> BTreeMap<String, f64> {
    let mut signals: BTreeMap<String, f64> = BTreeMap::new();
    let signal = |t: &&Told<'_>| matches!(&t.entry.body, Body::Moment(m) if m.step == Step::Signal);
    for told in view.of_drill(drill).iter().filter(signal).filter(|t| t.settled(&["at", "step", "person"])) {
        let Body::Moment(moment) = &told.entry.body else { continue };
        let who = view.things.person(&moment.person.as_ref().unwrap_or(&told.entry.common.by).0);
        let Some(ms) = times.on_line_ms(view, *told, told.entry.common.at) else { continue };
        signals.entry(who).and_modify(|first| *first = first.min(ms)).or_insert(ms);
    }
    signals
}

/// The points of a track with their times in ms; `None` if they are on the earth and the drill's grid is not known.
fn places(track: &Track, grid: Option<&DrillGrid>, left_out: &mut Tally) -> Option<Vec<(f64, [f64; 2])>> {
    let on_earth = track.frame == Some(Frame::LonLat);
    if on_earth && grid.is_none() {
        return None;
    }
    let mut places = Vec::new();
    for (ms, [x, y]) in absolute(&track.points) {
        let at = match (on_earth, grid) {
            (true, Some(grid)) => grid.to_grid_m(y / 1e7, x / 1e7).ok(),
            _ => Some([x, y]),
        };
        match at.filter(|[x, y]| x.abs() <= FARTHEST_M && y.abs() <= FARTHEST_M) {
            Some(at) => places.push((ms, at)),
            None => left_out.add(BROKEN),
        }
    }
    Some(places)
}

/// Farthest from the grid's origin that a point of a walk may lie, m, as for positions of entries.
const FARTHEST_M: f64 = 10_000.0;

/// The points with their times in ms, deltas undone.
pub fn absolute(points: &Points) -> impl Iterator<Item = (f64, [f64; 2])> {
    let (mut t_ms, mut x, mut y) = (0.0, 0.0, 0.0);
    points.t_ms.iter().zip(&points.x).zip(&points.y).map(move |((dt, dx), dy)| {
        t_ms += *dt as f64;
        x += dx;
        y += dy;
        (t_ms, [x, y])
    })
}
