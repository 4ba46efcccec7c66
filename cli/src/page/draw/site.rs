//! The plan of a site: the field with its lanes, where people walked, what they left out, where targets lay and probes struck. Uphill is up.

use super::{Scale, WIDTH, drawing, p};
use crate::page::measure::Units;
use crate::page::words;
use crate::view::shortened;
use firnbook_core::entry::Outcome;
use firnbook_core::field::coverage::Gap;
use firnbook_core::insight::site::Site;
use maud::{Markup, html};

const TALLEST: f64 = 430.0;
const MARGIN: f64 = 34.0;
/// How far a drawn way may lie from the walked one, in units of the drawing: less than the width of its line.
const TRUE_TO: f64 = 1.2;

/// What the signs mean, once a page.
pub(super) fn key() -> Markup {
    html! {
        g id="key-site" {
            circle.target cx="9" cy="-5" r="7" {}
            text x="22" y="0" { (words::KEY_TARGET) }
            path.strike d="M86-10l10 10m0-10l-10 10" {}
            text x="104" y="0" { (words::KEY_HIT) }
            path.strike d="M140-5h10m-5-5v10" {}
            text x="158" y="0" { (words::KEY_OTHER) }
            path.track d="M252-5h28" {}
            text x="286" y="0" { (words::KEY_WAY) }
            path.lane d="M326-5h36" {}
            text x="368" y="0" { (words::KEY_LANE) }
            rect.gap x="416" y="-12" width="24" height="13" {}
            text x="447" y="0" { (words::KEY_GAP) }
        }
    }
}

/// Where metres lie in the drawing.
struct Plan {
    x: Scale,
    y: Scale,
    per_m: f64,
    height: f64,
}

/// The plan; `None` where nothing of the site is known.
pub(in crate::page) fn draw(site: &Site, gaps: &[Gap], units: Units, says: &str) -> Option<Markup> {
    if site.is_bare() {
        return None;
    }
    let plan = Plan::of(site);
    let ring = |points: &[[f64; 2]]| format!("{}z", plan.line(&simplified(points, TRUE_TO / plan.per_m)));
    let inside = html! {
        @for gap in gaps {
            path.gap fill-rule="evenodd" d=(std::iter::once(&gap.ring).chain(&gap.holes).map(|r| ring(r)).collect::<String>()) {
                title { (words::gap(units, gap.area_m2)) }
            }
        }
        @if !site.tracks.is_empty() { path.lane d=(site.lanes_m.iter().map(|l| plan.line(l)).collect::<String>()) {} }
        @if !site.outline_m.is_empty() { path.outline d=(ring(&site.outline_m)) {} }
        @for (i, track) in site.tracks.iter().enumerate() {
            path class=(format!("track t{}", i % 4)) d=(plan.line(&simplified(&track.points_m, TRUE_TO / plan.per_m))) {
                title { (track.call_sign) }
            }
            @if let Some(first) = track.points_m.first() {
                text.begin x=(p(plan.x.at(first[0]) + 6.0)) y=(p(plan.y.at(first[1]) + 5.0)) { (shortened(&track.call_sign, 10)) }
            }
        }
        @for strike in &site.strikes { (cross(&plan, strike.at_m, strike.outcome)) }
        @for target in &site.targets {
            circle.target cx=(p(plan.x.at(target.at_m[0]))) cy=(p(plan.y.at(target.at_m[1]))) r="8" {}
            text.begin.strong x=(p(plan.x.at(target.at_m[0]) + 12.0)) y=(p(plan.y.at(target.at_m[1]) + 5.0)) { (shortened(&target.label, 10)) }
        }
        use href="#key-site" y=(p(plan.height + 18.0)) {}
        (plan.ruler(units))
        path.axis d=(format!("M{} {}v-24l-5 9m5-9l5 9", p(WIDTH - 12.0), p(plan.height - 8.0))) {}
        text.end x=(p(WIDTH - 22.0)) y=(p(plan.height - 10.0)) { (words::UPHILL) }
    };
    Some(drawing(plan.height + 26.0, says, &inside))
}

impl Plan {
    fn of(site: &Site) -> Plan {
        let points = site.outline_m.iter().copied();
        let points = points.chain(site.tracks.iter().flat_map(|t| t.points_m.iter().copied()));
        let points =
            points.chain(site.targets.iter().map(|t| t.at_m)).chain(site.strikes.iter().map(|s| s.at_m));
        let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        for point in points {
            for i in 0..2 {
                low[i] = low[i].min(point[i]);
                high[i] = high[i].max(point[i]);
            }
        }
        let size = [0, 1].map(|i| (high[i] - low[i]).max(10.0));
        // Targets alone need no room to measure in.
        let tallest =
            if site.outline_m.is_empty() && site.tracks.is_empty() { 0.4 * TALLEST } else { TALLEST };
        let per_m = ((WIDTH - 2.0 * MARGIN - 40.0) / size[0]).min(tallest / size[1]);
        let (wide, high_px) = (size[0] * per_m, size[1] * per_m);
        let left = 0.5 * (WIDTH - wide);
        Plan {
            x: Scale::new(low[0], low[0] + size[0], [left, left + wide]),
            y: Scale::new(low[1], low[1] + size[1], [16.0 + high_px, 16.0]),
            per_m,
            height: high_px + 62.0,
        }
    }

    /// A line through points, in tenths of a unit from point to point: shorter than places, and no error adds up.
    fn line(&self, points: &[[f64; 2]]) -> String {
        let tenths = |at: &[f64; 2]| [self.x.at(at[0]), self.y.at(at[1])].map(|v| (v * 10.0).round());
        let mut d = String::new();
        let mut last: Option<[f64; 2]> = None;
        for at in points.iter().map(tenths) {
            match last {
                None => d.push_str(&format!("M{} {}", p(at[0] / 10.0), p(at[1] / 10.0))),
                Some(before) => {
                    let [dx, dy] = [0, 1].map(|i| p((at[i] - before[i]) / 10.0));
                    let between = if dy.starts_with('-') { "" } else { " " };
                    d.push_str(&format!("l{dx}{between}{dy}"));
                }
            }
            last = Some(at);
        }
        d
    }

    /// A length to measure by.
    fn ruler(&self, units: Units) -> Markup {
        let unit_px = self.per_m / units.distance_value(1.0);
        let length = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0]
            .into_iter()
            .rfind(|l| l * unit_px <= 160.0)
            .unwrap_or(1.0);
        let y = self.height - 12.0;
        html! {
            path.axis d=(format!("M2 {}v8m0-4h{}m0-4v8", p(y - 4.0), p(length * unit_px))) {}
            text.begin x=(p(length * unit_px + 10.0)) y=(p(y + 5.0)) { (format!("{length} {}", units.distance_unit())) }
        }
    }
}

fn cross(plan: &Plan, at_m: [f64; 2], outcome: Option<Outcome>) -> Markup {
    let (x, y) = (plan.x.at(at_m[0]), plan.y.at(at_m[1]));
    let d = match outcome {
        Some(Outcome::Hit) => format!("M{} {}l10 10m0-10l-10 10", p(x - 5.0), p(y - 5.0)),
        _ => format!("M{} {}h10m-5-5v10", p(x - 5.0), p(y)),
    };
    html! { path.strike d=(d) { title { (words::strike(outcome)) } } }
}

/// The line with points left out that lie within `within_m` of it (Douglas and Peucker 1973).
fn simplified(points: &[[f64; 2]], within_m: f64) -> Vec<[f64; 2]> {
    let mut keep = vec![false; points.len()];
    let mut spans = vec![(0, points.len().saturating_sub(1))];
    while let Some((from, to)) = spans.pop() {
        for end in [from, to] {
            if let Some(kept) = keep.get_mut(end) {
                *kept = true;
            }
        }
        let apart = |i: usize| distance_m(points[i], points[from], points[to]);
        let far = (from + 1..to).map(|i| (i, apart(i))).max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((i, _)) = far.filter(|(_, d)| *d > within_m) {
            spans.extend([(from, i), (i, to)]);
        }
    }
    points.iter().zip(keep).filter_map(|(at, kept)| kept.then_some(*at)).collect()
}

/// Distance of a point from a stretch of a line, m.
fn distance_m(at: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let length2 = dx * dx + dy * dy;
    let along = if length2 == 0.0 { 0.0 } else { ((at[0] - a[0]) * dx + (at[1] - a[1]) * dy) / length2 };
    let along = along.clamp(0.0, 1.0);
    (at[0] - a[0] - along * dx).hypot(at[1] - a[1] - along * dy)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_stays_within_its_bound() {
        let walked: Vec<[f64; 2]> =
            (0..2000).map(|i| [f64::from(i) * 0.1, (f64::from(i) * 0.03).sin() * 8.0]).collect();
        let drawn = simplified(&walked, 0.5);
        assert!(drawn.len() < 200, "{}", drawn.len());
        for at in &walked {
            let nearest = drawn.windows(2).map(|w| distance_m(*at, w[0], w[1])).fold(f64::INFINITY, f64::min);
            assert!(nearest <= 0.5 + 1e-9);
        }
        assert_eq!(simplified(&[[1.0, 1.0]], 0.5), [[1.0, 1.0]]);
        assert!(simplified(&[], 0.5).is_empty());
    }
}
