//! The time line of a drill in the terminal: one bar a target, a pattern a phase, so that it reads without colour too.

use super::{number, stopwatch};
use firnbook_core::insight::reference::Reference;
use firnbook_core::insight::timeline::TargetTimes;

/// The phases from start to airway with their patterns, in order; the step that ends each.
const PHASES: [(&str, char); 5] =
    [("signal", '·'), ("coarse", '░'), ("fine", '▒'), ("strike", '▓'), ("airway", '█')];

/// Bars of these targets on one scale, with the marks of a published curve and the legend under them; empty where no step is known.
#[must_use]
pub fn draw(targets: &[TargetTimes], reference: Option<&Reference>, columns: usize) -> String {
    let ends = |t: &TargetTimes| [t.t_signal_s, t.t_coarse_s, t.t_fine_s, t.t_strike_s, t.t_airway_s];
    let last = |t: &TargetTimes| ends(t).into_iter().flatten().fold(0.0, f64::max);
    let longest = targets.iter().map(last).fold(0.0, f64::max);
    if longest <= 0.0 {
        return String::new();
    }
    let name = targets.iter().map(|t| t.label.chars().count()).max().unwrap_or(0);
    let room = columns.saturating_sub(name + 20).clamp(20, 60);
    let at = |s: f64| (s.max(0.0) / longest * room as f64).round() as usize;
    let mut text = String::new();
    for target in targets.iter().filter(|t| last(t) > 0.0) {
        let mut bar = String::new();
        let mut reached = 0;
        for (end, (_, pattern)) in ends(target).into_iter().zip(PHASES) {
            // A step that nobody wrote leaves its phase to the next one that is known.
            let Some(end) = end.map(at) else { continue };
            bar.extend(std::iter::repeat_n(pattern, end.saturating_sub(reached)));
            reached = reached.max(end);
        }
        let width = target.uncertainty_s.filter(|s| *s > 0.0).map(|s| format!(" ± {} s", number(s)));
        let end = format!("{}{}", stopwatch(Some(last(target))), width.unwrap_or_default());
        text.push_str(&format!("  {:<name$}  {bar} {end}\n", target.label));
    }
    if let Some(reference) = reference {
        text.push_str(&marks(reference, name, longest, at));
    }
    let legend: Vec<String> = PHASES.iter().map(|(step, pattern)| format!("{pattern} to {step}")).collect();
    text.push_str(&format!("  {}  {}\n", " ".repeat(name), legend.join("  ")));
    text
}

/// The marks of a published curve that lie on the scale, each with its share beside it, and below them the name of the curve.
fn marks(reference: &Reference, name: usize, longest_s: f64, at: impl Fn(f64) -> usize) -> String {
    let mut line = String::new();
    for mark in reference.marks.iter().filter(|m| m.t_s <= longest_s) {
        let told = format!("{} {:.0} %", stopwatch(Some(mark.t_s)), mark.alive_pct);
        let place = at(mark.t_s);
        // At the end of the scale the text stands before its mark.
        let (before, text) = if place + told.len() < at(longest_s) {
            (place, format!("^ {told}"))
        } else {
            (place.saturating_sub(told.len() + 1), format!("{told} ^"))
        };
        let room = before.saturating_sub(line.chars().count());
        line.push_str(&format!("{}{text}", " ".repeat(room)));
    }
    if line.is_empty() {
        return String::new();
    }
    let indent = " ".repeat(name);
    format!("  {indent}  {line}\n  {indent}  ^ {}, see below\n", reference.curve)
}
