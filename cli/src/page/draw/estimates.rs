//! Estimates with their intervals under one another, on one scale: what groups of a season or two ways of measuring differ by.

use super::{Scale, WIDTH, axis_below, drawing, p};
use crate::view::shortened;
use maud::{Markup, html};

/// One estimate.
pub(in crate::page) struct Estimate {
    /// Of what.
    pub name: String,
    /// Number of values.
    pub n: usize,
    /// The estimate.
    pub value: Option<f64>,
    /// Lower and upper end of its interval.
    pub ends: [Option<f64>; 2],
}

const ROW: f64 = 26.0;
const LEFT: f64 = 172.0;

/// The estimates, marks as `show` writes them; `None` where none has a value. `zero` draws a line at 0.
pub(in crate::page) fn draw(
    estimates: &[Estimate],
    times: bool,
    zero: bool,
    name: &str,
    show: impl Fn(f64) -> String,
    says: &str,
) -> Option<Markup> {
    estimates.iter().find(|e| e.value.is_some())?;
    let values: Vec<f64> = estimates.iter().flat_map(|e| [e.value, e.ends[0], e.ends[1]]).flatten().collect();
    let zeroes = zero.then_some(0.0);
    let low = values.iter().copied().chain(zeroes).reduce(f64::min)?;
    let high = values.iter().copied().chain(zeroes).reduce(f64::max)?;
    let pad = 0.06 * (high - low).max(0.5 * high.abs()).max(1.0);
    let x = Scale::new(low - pad, high + pad, [LEFT, WIDTH - 16.0]);
    let bottom = 10.0 + ROW * estimates.len() as f64;
    let marks = if times { x.time_ticks(5) } else { x.ticks(5) };
    let ticks: Vec<(f64, String)> = marks.into_iter().map(|v| (v, show(v))).collect();
    let inside = html! {
        (axis_below(x, bottom, 4.0, &ticks, name))
        @if zero { path.mark d=(format!("M{} 4V{}", p(x.at(0.0)), p(bottom))) {} }
        @for (i, e) in estimates.iter().enumerate() {
            @let y = 18.0 + ROW * i as f64;
            text.name x="0" y=(p(y + 5.0)) { (shortened(&e.name, 16)) }
            text.end x=(p(LEFT - 6.0)) y=(p(y + 5.0)) { (e.n) }
            @if let [Some(from), Some(to)] = e.ends {
                path.whisker d=(format!("M{} {}v10m0-5H{}m0-5v10", p(x.at(from)), p(y - 5.0), p(x.at(to)))) {}
            }
            @if let Some(value) = e.value { circle.dot cx=(p(x.at(value))) cy=(p(y)) r="5" {} }
        }
    };
    Some(drawing(bottom + 42.0, says, &inside))
}
