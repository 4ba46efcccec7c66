//! Lanes on their field in the terminal: uphill is up, an arrow at the end where each lane is left, below it the searcher who walks it.

use super::canvas::Canvas;
use firnbook_core::field::lanes::Lane;

/// Most rows of a picture.
const MOST_ROWS: f64 = 20.0;
/// A character is about twice as high as it is wide.
const HEIGHT_OVER_WIDTH: f64 = 2.0;

/// Draws the corners of a field with its lanes to scale, at most `columns` wide.
#[must_use]
pub fn draw(ring_m: &[[f64; 2]], lanes: &[Lane], columns: usize) -> String {
    let ends = |i: usize| {
        let of_ring = ring_m.iter().map(|at| at[i]);
        (of_ring.clone().fold(f64::INFINITY, f64::min), of_ring.fold(f64::NEG_INFINITY, f64::max))
    };
    let ((left, right), (bottom, top)) = (ends(0), ends(1));
    let room = columns.saturating_sub(4).clamp(20, 64) as f64;
    let scale_m = ((right - left) / (room - 1.0)).max((top - bottom) / (MOST_ROWS - 1.0) / HEIGHT_OVER_WIDTH);
    if !(scale_m > 0.0 && scale_m.is_finite()) {
        return String::new();
    }
    let column = |x: f64| ((x - left) / scale_m).round() as usize;
    let rows = ((top - bottom) / scale_m / HEIGHT_OVER_WIDTH).round() as usize;
    let row = |y: f64| rows - (((y - bottom) / scale_m / HEIGHT_OVER_WIDTH).round() as usize).min(rows);
    let mut canvas = Canvas::new(column(right) + 1, rows + 2);
    let next = ring_m.iter().cycle().skip(1);
    for (from, to) in ring_m.iter().zip(next) {
        let steps = ((to[0] - from[0]).abs().max((to[1] - from[1]).abs()) / scale_m * 2.0).ceil().max(1.0);
        for step in 0..=steps as usize {
            let share = step as f64 / steps;
            let at = |i: usize| from[i] + share * (to[i] - from[i]);
            canvas.put(column(at(0)), row(at(1)), '·');
        }
    }
    for lane in lanes {
        for segment in &lane.segments {
            (row(segment.to_y_m)..=row(segment.from_y_m)).for_each(|r| canvas.put(column(lane.x_m), r, '│'));
        }
        let uphill = lane.pass % 2 == 1;
        let end = if uphill { lane.segments.last() } else { lane.segments.first() };
        if let Some(end) = end {
            let (y, arrow) = if uphill { (end.to_y_m, '▲') } else { (end.from_y_m, '▼') };
            canvas.put(column(lane.x_m), row(y), arrow);
        }
    }
    label(&mut canvas, lanes, column, rows + 1);
    canvas.lines().map(|line| format!("  {line}").trim_end().to_owned() + "\n").collect()
}

/// Searchers under their lanes, where there is room for all of them.
fn label(canvas: &mut Canvas, lanes: &[Lane], column: impl Fn(f64) -> usize, row: usize) {
    let labels: Vec<(usize, String)> =
        lanes.iter().map(|lane| (column(lane.x_m), lane.searcher.to_string())).collect();
    if labels.windows(2).all(|two| two[0].0 + two[0].1.len() < two[1].0) {
        for (at, text) in labels {
            text.chars().enumerate().for_each(|(i, c)| canvas.put(at + i, row, c));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use firnbook_core::field::lanes::{LaneSettings, plan_lanes};
    use firnbook_core::field::outline::Outline;

    #[test]
    fn a_field_with_two_lanes_up_and_one_down() {
        let outline = Outline::rectangle(100.0, 40.0).unwrap();
        let settings = LaneSettings { searchers: 2, ..LaneSettings::default() };
        let plan = plan_lanes(&outline, settings).unwrap();
        let ring = [[0.0, 0.0], [100.0, 0.0], [100.0, 40.0], [0.0, 40.0]];
        let picture = draw(&ring, &plan.lanes, 25);
        assert_eq!(
            picture,
            "  ····▲·····▲·····│····\n  ·   │     │     │   ·\n  ·   │     │     │   ·\n  ·   │     │     │   ·\n  ····│·····│·····▼····\n      1     2     1\n"
        );
        let many = plan_lanes(&outline, LaneSettings { spacing_m: 5.0, edge_m: 2.0, ..settings }).unwrap();
        assert!(!draw(&ring, &many.lanes, 25).contains('1'), "no labels where they would touch");
        assert_eq!(draw(&[], &[], 80), "");
    }
}
