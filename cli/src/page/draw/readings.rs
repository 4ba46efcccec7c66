//! The lowest reading of a transceiver against the depth that was measured: a point a target, beside the line on which the two are equal.

use super::{Scale, WIDTH, axis_below, axis_left, drawing, p};
use crate::page::measure::Units;
use crate::page::words;
use crate::view::{number, shortened};
use maud::{Markup, html};

/// One target.
pub(in crate::page) struct Point {
    /// Drill and target.
    pub name: String,
    /// The same in few letters.
    pub short: String,
    /// Depth square to the slope, cm.
    pub depth_cm: f64,
    /// Lowest reading, m.
    pub reading_m: f64,
}

/// How many points may carry their names.
const NAMED: usize = 12;

/// The points; `None` without any.
pub(in crate::page) fn draw(points: &[Point], units: Units, says: &str) -> Option<Markup> {
    let value = |cm: f64| units.depth_value(cm);
    let largest =
        points.iter().flat_map(|q| [q.depth_cm, q.reading_m * 100.0]).map(value).fold(0.0, f64::max);
    if largest <= 0.0 {
        return None;
    }
    let x = Scale::new(0.0, largest * 1.08, [58.0, WIDTH - 60.0]);
    let y = Scale::new(0.0, largest * 1.08, [300.0, 24.0]);
    let ticks = |s: Scale| s.ticks(5).into_iter().map(|v| (v, number(v))).collect::<Vec<_>>();
    let top = largest * 1.08;
    let inside = html! {
        (axis_below(x, 300.0, 24.0, &ticks(x), &words::depth_axis(units)))
        (axis_left(y, 58.0, WIDTH - 60.0, &ticks(y)))
        text.begin x="0" y="14" { (words::reading_axis(units)) }
        path.mark d=(format!("M{} {}L{} {}", p(x.at(0.0)), p(y.at(0.0)), p(x.at(top)), p(y.at(top)))) {}
        text.end x=(p(WIDTH)) y="18" { (words::EQUAL) }
        @for q in points {
            circle.dot cx=(p(x.at(value(q.depth_cm)))) cy=(p(y.at(value(q.reading_m * 100.0)))) r="5" {
                title { (words::reading_point(&q.name, units, q.depth_cm, q.reading_m)) }
            }
            @if points.len() <= NAMED {
                text.begin x=(p(x.at(value(q.depth_cm)) + 8.0)) y=(p(y.at(value(q.reading_m * 100.0)) + 5.0)) { (shortened(&q.short, 12)) }
            }
        }
    };
    Some(drawing(340.0, says, &inside))
}
