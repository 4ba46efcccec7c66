//! The time line of a drill: a bar a target, a pattern a phase, how unsure each instant is, the limit, and published marks that are named.

use super::{Scale, WIDTH, axis_below, drawing, p};
use crate::page::words;
use crate::view::{shortened, stopwatch};
use firnbook_core::insight::slowest::Phase;
use maud::{Markup, html};

/// One target.
pub(in crate::page) struct Bar {
    /// Label of the target.
    pub name: String,
    /// When signal, coarse, fine, strike and airway were reached, s from start.
    pub ends_s: [Option<f64>; 5],
    /// Largest half width of an instant, s.
    pub uncertainty_s: Option<f64>,
    /// When the run ended before the airway, s from start.
    pub ended_s: Option<f64>,
    /// The phase to point out as the longest of the drill.
    pub longest: Option<Phase>,
}

/// A mark on the time line.
pub(in crate::page) struct Mark {
    /// When, s from start.
    pub t_s: f64,
    /// What it says.
    pub says: String,
}

/// A stretch of a bar between two known steps.
struct Piece {
    phase: Phase,
    from_s: f64,
    to_s: f64,
    /// Steps between were not written: more than one phase lies in it.
    several: bool,
}

const ROW: f64 = 46.0;
const LEFT: f64 = 62.0;
const RIGHT: f64 = WIDTH - 78.0;

/// Bars on one scale; `None` where no step of any target is known.
pub(in crate::page) fn draw(bars: &[Bar], marks: &[Mark], says: &str) -> Option<Markup> {
    let last = |b: &Bar| b.ends_s.into_iter().chain([b.ended_s]).flatten().fold(0.0, f64::max);
    let longest = bars.iter().map(last).chain(marks.iter().map(|m| m.t_s)).fold(0.0, f64::max);
    if longest <= 0.0 {
        return None;
    }
    let scale = Scale::new(0.0, longest, [LEFT, RIGHT]);
    let top = 8.0 + 16.0 * marks.len() as f64;
    let bottom = top + ROW * bars.len() as f64 + 4.0;
    let ticks: Vec<(f64, String)> =
        scale.time_ticks(6).into_iter().map(|t| (t, stopwatch(Some(t)))).collect();
    let inside = html! {
        (axis_below(scale, bottom, top, &ticks, words::FROM_START))
        @for (i, mark) in marks.iter().enumerate() { (reference(scale, mark, 8.0 + 16.0 * i as f64, bottom)) }
        @for (i, bar) in bars.iter().enumerate() {
            (lane(scale, bar, top + ROW * i as f64))
        }
        use href="#key-phases" y=(p(bottom + 52.0)) {}
    };
    Some(drawing(bottom + 60.0, says, &inside))
}

/// The pieces of a bar. A step that nobody wrote leaves its phase to the next one that is known.
fn pieces(bar: &Bar) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let (mut from_s, mut missing) = (0.0, false);
    for (end, phase) in bar.ends_s.into_iter().zip(Phase::ALL) {
        let Some(to_s) = end.filter(|t| *t >= from_s) else {
            missing = true;
            continue;
        };
        pieces.push(Piece { phase, from_s, to_s, several: missing });
        (from_s, missing) = (to_s, false);
    }
    pieces
}

fn lane(scale: Scale, bar: &Bar, y: f64) -> Markup {
    let pieces = pieces(bar);
    let reached_s = pieces.last().map_or(0.0, |q| q.to_s);
    let done = bar.ends_s[4].is_some();
    let open_to = bar.ended_s.filter(|end| !done && *end > reached_s);
    html! {
        text.name x="0" y=(p(y + 33.0)) { (shortened(&bar.name, 7)) }
        @for q in &pieces {
            @let (x, w) = (scale.at(q.from_s), scale.at(q.to_s) - scale.at(q.from_s));
            @let says = words::stretch(q.phase, q.to_s - q.from_s, q.several);
            @let most = bar.longest == Some(q.phase);
            rect class=(fill(q.phase)) x=(p(x)) y=(p(y + 18.0)) width=(p(w)) height="20" {
                title { (says) }
            }
            @if most {
                path.most d=(format!("M{} {}v-5h{}v5", p(x + 1.0), p(y + 15.0), p((w - 2.0).max(1.0)))) {}
                text.mid.strong x=(p((x + 0.5 * w).clamp(LEFT + 20.0, RIGHT - 10.0))) y=(p(y + 7.0)) { (stopwatch(Some(q.to_s - q.from_s))) }
            }
        }
        @if let Some(to) = open_to {
            rect.open x=(p(scale.at(reached_s))) y=(p(y + 18.0)) width=(p(scale.at(to) - scale.at(reached_s))) height="20" {
                title { (words::not_reached_until(to)) }
            }
        }
        @if let Some(u) = bar.uncertainty_s {
            path.whisker d=(pieces.iter().map(|q| whisker(scale, q.to_s, u, y + 42.0)).collect::<String>()) {}
        }
        text.end.strong x=(p(WIDTH)) y=(p(y + 33.0)) {
            @if done { (stopwatch(Some(reached_s))) } @else if open_to.is_some() { (words::NOT_REACHED) } @else { (stopwatch(Some(reached_s))) }
        }
    }
}

/// Where the instant may lie.
fn whisker(scale: Scale, t_s: f64, half_s: f64, y: f64) -> String {
    let (from, to) = (scale.at(t_s - half_s), scale.at(t_s + half_s));
    format!("M{} {}v5m0-2.5H{}m0-2.5v5", p(from), p(y), p(to))
}

fn reference(scale: Scale, mark: &Mark, y: f64, bottom: f64) -> Markup {
    let x = scale.at(mark.t_s);
    let (class, text_x) = if x > 0.6 * WIDTH { ("end", x - 4.0) } else { ("begin", x + 4.0) };
    html! {
        path.mark d=(format!("M{} {}V{}", p(x), p(y - 4.0), p(bottom))) {}
        text class=(class) x=(p(text_x)) y=(p(y + 8.0)) { (mark.says) }
    }
}

/// The pattern of a phase.
fn fill(phase: Phase) -> &'static str {
    match phase {
        Phase::Signal => "f1",
        Phase::Coarse => "f2",
        Phase::Fine => "f3",
        Phase::Pinpoint => "f4",
        Phase::StrikeToAirway => "f5",
    }
}

/// What the patterns mean, once a page.
pub(super) fn key() -> Markup {
    const PLACES: [f64; 5] = [0.0, 98.0, 188.0, 254.0, 396.0];
    html! {
        g id="key-phases" {
            @for (phase, x) in Phase::ALL.into_iter().zip(PLACES) {
                rect class=(fill(phase)) x=(p(x + 0.5)) y="-11" width="20" height="13" {}
                text x=(p(x + 26.0)) y="0" { (words::phase(phase)) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_that_nobody_wrote_is_no_zero() {
        let bar = Bar {
            name: "A".to_owned(),
            ends_s: [Some(40.0), None, Some(140.0), Some(200.0), None],
            uncertainty_s: Some(1.0),
            ended_s: Some(900.0),
            longest: Some(Phase::Signal),
        };
        let told = pieces(&bar);
        assert_eq!(told.len(), 3);
        assert_eq!(
            (told[1].phase, told[1].from_s, told[1].to_s, told[1].several),
            (Phase::Fine, 40.0, 140.0, true)
        );
        let svg = draw(&[bar], &[], "x").unwrap().into_string();
        assert!(
            svg.contains("class=\"open\"")
                && svg.matches("class=\"most\"").count() == 1
                && svg.contains(words::NOT_REACHED)
        );
        assert!(draw(&[], &[], "x").is_none());
    }
}
