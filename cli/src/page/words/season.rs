//! The sentences of the season's page and of one person's.

use super::super::measure::Units;
use super::*;

/// Title of the season's page.
pub fn season_title(span: &str) -> String {
    if span.is_empty() { "All days".to_owned() } else { format!("The season {span}") }
}
/// From and until.
pub fn span(since: Option<impl Display>, until: Option<impl Display>, area: Option<&str>) -> String {
    let mut parts = Vec::new();
    parts.extend(since.map(|d| format!("from {d}")));
    parts.extend(until.map(|d| format!("until {d}")));
    parts.extend(area.map(|a| format!("in {a}")));
    parts.join(" ")
}
/// How many days.
pub fn days(n: usize) -> String {
    counted(n, "training day", "training days")
}
pub const SEASON_DEPTH: &str = "Depths";
pub const SEASON_TIMES: &str = "Times";
pub const STEPS_REACHED: &str = "When each step was reached";
pub const SEASON_METHODS: &str = "Ways of measuring";
pub const SEASON_TRENDS: &str = "Trends";
pub const NO_FIGURES: &str = "Nothing was written of this.";
/// The curve of a step.
pub fn curve(step: Step, n: usize, events: usize) -> String {
    format!("Runs that had not yet reached: {} (n {n}, reached {events})", word(&step))
}
pub const CURVE_REMARK: &str = "Kaplan-Meier; the band is 95 % by Greenwood on the log-log scale. A run that ended before the step counts until then (upright stroke).";
/// Steps in a table.
pub fn step(step: Step) -> String {
    word(&step)
}
/// Passed tests.
pub fn passed(k: usize, n: usize, ci95: Option<Interval>) -> String {
    let interval =
        ci95.map(|i| format!(" ({} to {} % at 95 %)", number(i.lower * 100.0), number(i.upper * 100.0)));
    let share = if n == 0 { String::new() } else { format!(": {} %", number(100.0 * k as f64 / n as f64)) };
    format!("{k} of {n} drills were done within their limit{share}{}", interval.unwrap_or_default())
}
/// A pair of ways.
pub fn pair(a: Way, b: Way) -> String {
    format!("{} / {}", word(&a), word(&b))
}
/// Title of the methods.
pub const METHODS_TITLE: &str =
    "What one way of measuring says more than another, with 95 % limits of agreement";
pub const METHODS_REMARK: &str = "First minus second, one pair a target, square to the slope. A lowest reading errs in proportion, so its ratio says more than its difference.";
/// Axis of differences.
pub fn difference_axis(units: Units) -> String {
    format!("difference, {}", units.depth_unit())
}
/// A trend of medians.
pub fn trend_title(what: &str, by: GroupBy) -> String {
    format!("{what} by {}", word(&by))
}
pub const TREND_REMARK: &str = "Dot: median; bracket: its 95 % interval, where n allows one. The number beside a name is n. No trend is claimed.";
pub const MEDIAN_DEPTH: &str = "Median depth";
/// Median time to a step.
pub fn median_time(step: Step) -> String {
    format!("Median time from start to {}", word(&step))
}

/// Title of a person's page.
pub fn person_title(names: &str, n_days: usize) -> String {
    format!("{names}: {}", counted(n_days, "day", "days"))
}
pub const ONLY_OWN: &str = "Own times, strikes and turns; nobody else's figures.";
/// Why a figure is not there.
pub fn no_figure(what: &str, why: &str) -> String {
    format!("{what}: {why}")
}
