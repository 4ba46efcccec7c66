//! A curve of 'not yet reached' in the terminal: share against time, with its band.

use super::{canvas::Canvas, stopwatch};
use firnbook_core::insight::season::times::CurvePoint;

/// Rows from 100 % down to 0.
const ROWS: usize = 11;

/// Draws a curve from start to `end_s`; empty without points.
#[must_use]
pub fn draw(curve: &[CurvePoint], end_s: f64, columns: usize) -> String {
    if curve.is_empty() || end_s <= 0.0 {
        return String::new();
    }
    let room = columns.saturating_sub(10).clamp(20, 64);
    let mut canvas = Canvas::new(room, ROWS);
    let row = |share: f64| ((1.0 - share.clamp(0.0, 1.0)) * (ROWS - 1) as f64).round() as usize;
    let mut before = 0;
    for column in 0..room {
        let t_s = end_s * column as f64 / (room - 1) as f64;
        let reached = curve.partition_point(|point| point.t_s <= t_s);
        let point = reached.checked_sub(1).map(|last| curve[last]);
        if let Some((lo, hi)) = point.and_then(|p| p.lo.zip(p.hi)) {
            (row(hi)..=row(lo)).for_each(|r| canvas.put(column, r, '░'));
        }
        let here = point.map_or(0, |p| row(p.not_yet));
        if here == before {
            canvas.put(column, here, '━');
        } else {
            (before..here).for_each(|r| canvas.put(column, r, '┃'));
            canvas.put(column, before, '┓');
            canvas.put(column, here, '┗');
        }
        before = here;
    }
    let mut text = String::new();
    for (i, line) in canvas.lines().enumerate() {
        let share = 100 - 100 * i / (ROWS - 1);
        let label = if i % 5 == 0 { format!("{share} %") } else { String::new() };
        text.push_str(format!("  {label:>5} {line}").trim_end());
        text.push('\n');
    }
    let (middle, end) = (stopwatch(Some(end_s / 2.0)), stopwatch(Some(end_s)));
    text.push_str(&format!("        0:00{middle:>0$}{end:>1$}\n", room / 2 - 3, room - room / 2 - 1));
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_falls_in_steps_and_its_band_lies_around_it() {
        let point = |t_s, not_yet, band: Option<[f64; 2]>| CurvePoint {
            t_s,
            at_risk: 2,
            events: 1,
            not_yet,
            lo: band.map(|b| b[0]),
            hi: band.map(|b| b[1]),
        };
        let curve = [point(100.0, 0.5, Some([0.3, 0.8])), point(200.0, 0.0, None)];
        let text = draw(&curve, 200.0, 30);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines[0], "  100 % ━━━━━━━━━━┓");
        assert_eq!(lines[2], "                  ┃░░░░░░░░");
        assert_eq!(lines[5], "   50 %           ┗━━━━━━━━┓");
        assert_eq!(lines[10], "    0 %                    ┗");
        assert_eq!(lines[11], "        0:00   1:40     3:20");
        assert_eq!(draw(&[], 200.0, 30), "");
    }
}
