//! Drawings as SVG. They are drawn in the ink of the page and told apart by pattern, so that they read in bright sun, in the dark, and
//! printed black on white. Here are scales and the signs that drawings share.

pub(super) mod depths;
pub(super) mod estimates;
pub(super) mod readings;
pub(super) mod site;
pub(super) mod steps;
pub(super) mod timeline;
pub(super) mod turns;

use maud::{Markup, html};

/// Width of every drawing in its own units; text is 14 high.
pub(super) const WIDTH: f64 = 560.0;

/// Values to places along one axis.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    from: f64,
    to: f64,
    at: [f64; 2],
}

impl Scale {
    /// A scale that leads `from` to the first place and `to` to the second.
    pub(super) fn new(from: f64, to: f64, at: [f64; 2]) -> Scale {
        let to = if to > from { to } else { from + 1.0 };
        Scale { from, to, at }
    }

    /// The place of a value, kept within the axis.
    pub(super) fn at(&self, value: f64) -> f64 {
        let share = ((value - self.from) / (self.to - self.from)).clamp(0.0, 1.0);
        self.at[0] + share * (self.at[1] - self.at[0])
    }

    /// Even marks along the axis, about as many as wanted, on round values.
    pub(super) fn ticks(&self, wanted: usize) -> Vec<f64> {
        let rough = (self.to - self.from) / wanted.max(1) as f64;
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|s| s * power).find(|s| *s >= rough * 0.9);
        self.every(step.unwrap_or(rough))
    }

    /// Marks at round times.
    pub(super) fn time_ticks(&self, wanted: usize) -> Vec<f64> {
        let rough = (self.to - self.from) / wanted.max(1) as f64;
        const ROUND_S: [f64; 12] =
            [5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0];
        let step = ROUND_S.into_iter().find(|s| *s >= rough);
        step.map_or_else(|| self.ticks(wanted), |step| self.every(step))
    }

    fn every(&self, step: f64) -> Vec<f64> {
        let first = (self.from / step).ceil();
        let last = (self.to / step + 1e-9).floor();
        (0..=(last - first).max(0.0) as usize).map(|i| (first + i as f64) * step).collect()
    }
}

/// A place to one decimal, as short as it can be written.
pub(super) fn p(place: f64) -> String {
    let tenths = (place * 10.0).round() / 10.0;
    if tenths == 0.0 { "0".to_owned() } else { tenths.to_string() }
}

/// A drawing of this height; `says` stands for it where it can't be seen.
pub(super) fn drawing(height: f64, says: &str, inside: &Markup) -> Markup {
    html! {
        svg viewBox=(format!("0 0 {} {}", p(WIDTH), p(height))) role="img" aria-label=(says) { (inside) }
    }
}

/// The horizontal axis below a drawing: a line, marks with their texts, and faint lines up to `top`.
pub(super) fn axis_below(scale: Scale, y: f64, top: f64, ticks: &[(f64, String)], name: &str) -> Markup {
    let lines: String =
        ticks.iter().map(|(v, _)| format!("M{} {}V{}", p(scale.at(*v)), p(top), p(y))).collect();
    html! {
        path.grid d=(lines) {}
        path.axis d=(format!("M{} {}H{}", p(scale.at[0]), p(y), p(scale.at[1]))) {}
        @for (v, text) in ticks { text.mid x=(p(scale.at(*v))) y=(p(y + 17.0)) { (text) } }
        @if !name.is_empty() { text.end x=(p(scale.at[1])) y=(p(y + 35.0)) { (name) } }
    }
}

/// The vertical axis at the left of a drawing.
pub(super) fn axis_left(scale: Scale, x: f64, right: f64, ticks: &[(f64, String)]) -> Markup {
    let lines: String =
        ticks.iter().map(|(v, _)| format!("M{} {}H{}", p(x), p(scale.at(*v)), p(right))).collect();
    html! {
        path.grid d=(lines) {}
        path.axis d=(format!("M{} {}V{}", p(x), p(scale.at[0]), p(scale.at[1]))) {}
        @for (v, text) in ticks { text.end x=(p(x - 6.0)) y=(p(scale.at(*v) + 5.0)) { (text) } }
    }
}

/// The patterns that drawings fill with and the keys to them, once a page. They take the ink of whatever they fill.
pub(super) fn patterns() -> Markup {
    let pattern = |id: &str, size: f64, d: &str| {
        html! {
            pattern id=(id) width=(p(size)) height=(p(size)) patternUnits="userSpaceOnUse" { path.ink d=(d) {} }
        }
    };
    html! {
        svg.patterns width="0" height="0" aria-hidden="true" focusable="false" {
            defs {
                (pattern("f2", 7.0, "M-1 1L1-1M0 7L7 0M6 8L8 6"))
                (pattern("f3", 5.0, "M0 2.5H5"))
                (pattern("f4", 6.0, "M0 0L6 6M6 0L0 6"))
                (timeline::key())
                (turns::key())
                (site::key())
                (pattern("f6", 9.0, "M-1 8L1 10M0 0L9 9M8-1L10 1"))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_stand_on_round_values_within_the_scale() {
        let depth = Scale::new(63.0, 171.0, [0.0, 100.0]);
        assert_eq!(depth.ticks(5), [80.0, 100.0, 120.0, 140.0, 160.0]);
        let time = Scale::new(0.0, 650.0, [50.0, 550.0]);
        assert_eq!(time.time_ticks(6), [0.0, 120.0, 240.0, 360.0, 480.0, 600.0]);
        assert_eq!((time.at(0.0), time.at(325.0), time.at(9999.0)), (50.0, 300.0, 550.0));
        assert_eq!(Scale::new(5.0, 5.0, [0.0, 1.0]).ticks(3).len(), 3);
        assert_eq!([p(12.34), p(-0.01), p(7.0)], ["12.3", "0", "7"].map(str::to_owned));
    }
}
