//! The share of runs that have not yet reached a step, with its band: a curve that falls in steps. Runs that ended before count until then.

use super::{Scale, WIDTH, axis_below, axis_left, drawing, p};
use crate::page::words;
use crate::view::{number, stopwatch};
use firnbook_core::insight::season::times::{CurvePoint, TimesFigures};
use maud::{Markup, html};

/// The curve; `None` without runs.
pub(in crate::page) fn draw(figures: &TimesFigures, says: &str) -> Option<Markup> {
    let last = figures.curve.last()?.t_s;
    let x = Scale::new(0.0, last, [52.0, WIDTH - 16.0]);
    let y = Scale::new(0.0, 1.0, [230.0, 16.0]);
    let ticks: Vec<(f64, String)> = x.time_ticks(6).into_iter().map(|t| (t, stopwatch(Some(t)))).collect();
    let shares: Vec<(f64, String)> =
        [0.0, 0.25, 0.5, 0.75, 1.0].into_iter().map(|s| (s, format!("{} %", number(s * 100.0)))).collect();
    let ended: String = figures
        .curve
        .iter()
        .filter(|c| c.events == 0)
        .map(|c| format!("M{} {}v10", p(x.at(c.t_s)), p(y.at(c.not_yet) - 5.0)))
        .collect();
    let inside = html! {
        (axis_below(x, 230.0, 16.0, &ticks, words::FROM_START))
        (axis_left(y, 52.0, WIDTH - 16.0, &shares))
        path.band d=(band(&figures.curve, x, y)) {}
        path.line d=(curve(&figures.curve, x, y)) {}
        path.axis d=(ended) {}
        @if let Some(median) = figures.median_s {
            path.mark d=(format!("M52 {}H{}V230", p(y.at(0.5)), p(x.at(median)))) {}
            text.begin x=(p((x.at(median) + 5.0).min(WIDTH - 120.0))) y=(p(y.at(0.5) - 6.0)) { (words::median(&stopwatch(Some(median)))) }
        }
    };
    Some(drawing(270.0, says, &inside))
}

fn curve(points: &[CurvePoint], x: Scale, y: Scale) -> String {
    let mut d = format!("M{} {}", p(x.at(0.0)), p(y.at(1.0)));
    for c in points {
        d.push_str(&format!("H{}V{}", p(x.at(c.t_s)), p(y.at(c.not_yet))));
    }
    d
}

/// From the upper edge forward to the lower edge back; where the band does not exist it closes on the curve.
fn band(points: &[CurvePoint], x: Scale, y: Scale) -> String {
    let mut d = format!("M{} {}", p(x.at(0.0)), p(y.at(1.0)));
    for c in points {
        d.push_str(&format!("H{}V{}", p(x.at(c.t_s)), p(y.at(c.hi.unwrap_or(c.not_yet)))));
    }
    for pair in points.windows(2).rev() {
        let lower = |c: &CurvePoint| y.at(c.lo.unwrap_or(c.not_yet));
        d.push_str(&format!("V{}H{}", p(lower(&pair[1])), p(x.at(pair[1].t_s))));
        d.push_str(&format!("V{}H{}", p(lower(&pair[0])), p(x.at(pair[0].t_s))));
    }
    d.push_str(&format!("V{}z", p(y.at(1.0))));
    d
}
