//! How deep targets lie: how many in each span of depth, and above it the share that lies no deeper.

use super::{Scale, WIDTH, axis_below, axis_left, drawing, p};
use crate::page::measure::Units;
use crate::page::words;
use crate::view::number;
use firnbook_core::insight::season::depth::DepthFigures;
use maud::{Markup, html};

/// Both; `None` without values.
pub(in crate::page) fn draw(figures: &DepthFigures, units: Units, says: &str) -> Option<Markup> {
    let histogram = figures.histogram.as_ref()?;
    let (first, last) = (*histogram.edges.first()?, *histogram.edges.last()?);
    let most = histogram.counts.iter().copied().max()? as f64;
    let value = |cm: f64| units.depth_value(cm);
    let x = Scale::new(value(first), value(last), [52.0, WIDTH - 16.0]);
    let (share, count) = (Scale::new(0.0, 1.0, [136.0, 14.0]), Scale::new(0.0, most, [310.0, 176.0]));
    let ticks: Vec<(f64, String)> = x.ticks(6).into_iter().map(|v| (v, number(v))).collect();
    let bars: String = histogram
        .counts
        .iter()
        .zip(histogram.edges.windows(2))
        .filter(|(n, _)| **n > 0)
        .map(|(n, edge)| {
            let (from, to) = (x.at(value(edge[0])), x.at(value(edge[1])));
            let top = count.at(*n as f64);
            format!("M{} 310V{}H{}V310z", p(from), p(top), p(to))
        })
        .collect();
    let mut steps = format!("M{} {}", p(x.at(value(first))), p(share.at(0.0)));
    for point in &figures.ecdf {
        steps.push_str(&format!("H{}V{}", p(x.at(value(point.value))), p(share.at(point.share))));
    }
    steps.push_str(&format!("H{}", p(x.at(value(last)))));
    let whole = |v: &f64| v.fract() == 0.0;
    let counts: Vec<(f64, String)> =
        count.ticks(4).into_iter().filter(whole).map(|v| (v, number(v))).collect();
    let shares: Vec<(f64, String)> =
        [0.0, 0.5, 1.0].into_iter().map(|s| (s, format!("{} %", number(s * 100.0)))).collect();
    let median = figures.median_cm.map(|m| x.at(value(m)));
    let inside = html! {
        (axis_below(x, 310.0, 14.0, &ticks, &words::depth_axis(units)))
        (axis_left(share, 52.0, WIDTH - 16.0, &shares))
        (axis_left(count, 52.0, WIDTH - 16.0, &counts))
        path.line d=(steps) {}
        path.bar d=(bars) {}
        @if let (Some(at), Some(cm)) = (median, figures.median_cm) {
            path.mark d=(format!("M{} 14V310", p(at))) {}
            @if at > 0.7 * WIDTH { text.end x=(p(at - 5.0)) y="164" { (words::median(&units.depth(cm))) } }
            @else { text.begin x=(p(at + 5.0)) y="164" { (words::median(&units.depth(cm))) } }
        }
    };
    Some(drawing(350.0, says, &inside))
}
