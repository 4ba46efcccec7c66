//! The sentences of a drill: its facts, figures and people.

use super::super::measure::Units;
use super::*;

/// Heading of a drill.
pub fn drill(label: &str) -> String {
    format!("Drill {label}")
}

/// What a drill practises.
pub fn form(form: DrillForm) -> String {
    word(&form)
}

/// Facts of a drill.
pub fn team(team: &str) -> String {
    format!("team {team}")
}
/// Steepness.
pub fn slope(deg: f64) -> String {
    format!("slope {}°", number(deg))
}
/// The limit.
pub fn limit(s: f64) -> String {
    format!("limit {}", stopwatch(Some(s)))
}
/// The start.
pub fn started(at: Time) -> String {
    format!("start {}", clock_time(at))
}
/// The end.
pub fn ended(t_s: Option<f64>, why: Option<EndReason>) -> String {
    let why = why.map(|w| format!(" ({})", word(&w))).unwrap_or_default();
    format!("end {}{why}", stopwatch(t_s))
}

/// What a time line shows.
pub fn timeline(drill: &str) -> String {
    format!("Time line of drill {drill}")
}

/// A point of a published curve.
pub fn reference_mark(curve: &str, alive_pct: f64) -> String {
    format!("{curve}: {} % alive", number(alive_pct))
}

/// What the marks of a published curve are.
pub fn reference(reference: &Reference) -> String {
    let n = reference.n.map(|n| format!(", n {n}")).unwrap_or_default();
    format!("Marks: {}{n}; {}. Source: {}.", reference.curve, reference.says, reference.source.text)
}

/// What the whiskers mean.
pub fn uncertainty(half_s: f64) -> String {
    format!(
        "The brackets below a bar show how unsure each instant is: up to ± {} s against start.",
        number(half_s)
    )
}

/// Why the uncertainty is unknown.
pub fn uncertainty_unknown(why: &str) -> String {
    format!("How unsure the instants are is unknown: {why}.")
}

/// Two ends, never parted by the end of a line.
pub fn from_to(from: &str, to: &str) -> String {
    format!("{from}\u{a0}to\u{a0}{to}")
}

/// Writers who disagree.
pub fn spread(s: f64) -> String {
    format!("Where several wrote one step, its median stands; they lie up to {} s apart.", number(s))
}

/// Pauses.
pub fn paused(s: f64) -> String {
    format!("Pauses of {} are taken out.", stopwatch(Some(s)))
}

/// The end before a step.
pub fn not_reached_until(t_s: f64) -> String {
    format!("not done when the drill ended at {}", stopwatch(Some(t_s)))
}

/// Name of a target in a list.
pub fn target(label: &str) -> String {
    if label.is_empty() { "The target".to_owned() } else { format!("Target {label}") }
}

/// What is known of a target's depth.
pub fn depth(depth: &TargetDepth, units: Units) -> Vec<String> {
    let mut parts = Vec::new();
    if let Some(found) = &depth.headline {
        let what = if found.of_readings {
            "by lowest reading, which is no depth".to_owned()
        } else {
            datum(found.datum)
        };
        let values = if found.n == 1 {
            "1 value".to_owned()
        } else {
            format!(
                "{} values, {} to {}",
                found.n,
                units.depth(found.range_cm[0]),
                units.depth(found.range_cm[1])
            )
        };
        parts.push(format!("{} {what} ({values})", units.depth(found.median_cm)));
    }
    parts.extend(depth.set.map(|s| format!("set at {}", units.depth(s.depth_cm))));
    parts.extend(depth.found_minus_set_cm.map(|d| {
        let sign = if d < 0.0 { "less" } else { "more" };
        format!("found {} {sign} than set", units.depth(d.abs()))
    }));
    parts
}

/// The point that a depth leads to.
pub fn datum(datum: Datum) -> String {
    match datum {
        Datum::FirstContact => "to first contact",
        Datum::Airway => "to the airway",
        Datum::Top => "to the top",
        Datum::Unknown => "deep",
    }
    .to_owned()
}

/// Reading over depth.
pub fn ratio(ratio: f64) -> String {
    format!("lowest reading / depth {ratio:.2}")
}
/// Holes probed.
pub fn holes(holes: &[u32]) -> String {
    let all: Vec<String> = holes.iter().map(u32::to_string).collect();
    format!("{} probe holes", all.join(" or "))
}
/// From the mark.
pub fn from_mark(cm: f64, units: Units) -> String {
    format!("struck {} from the mark", units.depth(cm))
}

/// Order of finding.
pub fn found_in_order(targets: &[&str]) -> String {
    format!("Found in the order {}.", targets.join(", "))
}
/// A transmitter that still sent.
pub fn still_sending(target: &str) -> String {
    format!("Target {target} was still sending when the search moved on, as far as it was written down.")
}
/// Two at one target.
pub fn led_to_one(people: &[String], target: &str, since_s: f64, unattended: &[String]) -> String {
    format!(
        "{} were led to target {target} from {} on while {} lay unattended.",
        people.join(" and "),
        stopwatch(Some(since_s)),
        unattended.join(", ")
    )
}
/// People of whom nothing was written.
pub fn not_written_of(people: &[String]) -> String {
    format!("Nothing was written of {}.", people.join(", "))
}

/// Title of a site plan.
pub fn site(drill: &str) -> String {
    format!("Site plan of drill {drill}")
}
pub const KEY_TARGET: &str = "target";
pub const KEY_HIT: &str = "hit";
pub const KEY_OTHER: &str = "other strike";
pub const KEY_WAY: &str = "way";
pub const KEY_LANE: &str = "lane";
pub const KEY_GAP: &str = "not covered";
/// What the lines of a plan are.
pub fn site_lines(strip: &str) -> String {
    format!(
        "A way goes from start to its walker's first signal and is drawn to less than its own thickness; lanes are those of a strip of {strip}."
    )
}
/// Coverage.
pub fn coverage(share: f64, field: &str, gaps: usize) -> String {
    let gaps = if gaps == 0 { "no gap".to_owned() } else { counted(gaps, "gap", "gaps") };
    format!("{} % of the {field} field lies within half a strip of a way; {gaps}.", number(share * 100.0))
}
/// Why coverage is unknown.
pub fn coverage_unknown(why: &str) -> String {
    format!("How much was covered is unknown: {why}.")
}
/// A gap.
pub fn gap(units: Units, m2: f64) -> String {
    format!("not covered: {}", area(units, m2))
}
/// An area.
pub fn area(units: Units, m2: f64) -> String {
    let side = units.distance_value(1.0);
    format!("{} {}²", number((m2 * side * side).round()), units.distance_unit())
}
/// A strike on a plan.
pub fn strike(outcome: Option<Outcome>) -> String {
    match outcome {
        Some(Outcome::False) => "false strike".to_owned(),
        Some(outcome) => format!("strike: {}", word(&outcome)),
        None => "strike".to_owned(),
    }
}
/// Corner of a field in a table.
pub fn corner(n: usize) -> String {
    format!("corner {n} of the field")
}
/// A strike of a target in a table.
pub fn strike_at(target: Option<&str>, outcome: Option<Outcome>) -> String {
    let target = target.map(|t| format!(" at target {t}")).unwrap_or_default();
    format!("{}{target}", strike(outcome))
}

/// What a list leaves out that is longer than anybody reads.
pub(in crate::page) fn lines_more(n: usize) -> String {
    format!("and {} more, which firnbook debrief lists", n)
}

/// What a crowded page leaves out.
pub(in crate::page) fn less_than_all(detail: Detail) -> Option<&'static str> {
    match detail {
        Detail::All => None,
        Detail::Sums => Some(
            "A crowded day: of the turns at the shovels only the sums of each person stand here. The page of one drill \
             (firnbook debrief --drill LABEL --html FILE) shows each turn, firnbook export all of them.",
        ),
        Detail::Times => Some(
            "A crowded day: of each drill only times, findings and the work of each person stand here. The page of one drill \
             (firnbook debrief --drill LABEL --html FILE) shows the rest, firnbook export all of it.",
        ),
    }
}

/// Title of the turns of a hole.
pub fn turns(drill: &str, target: &str) -> String {
    format!("Turns at the head: {}", run(drill, target))
}
/// In a few words, for a screen reader.
pub fn turns_say(turns: usize, people: usize) -> String {
    format!("{} of {}", counted(turns, "turn", "turns"), counted(people, "person", "people"))
}
/// A gap at the head.
pub fn nobody_at_the_head(from_s: f64, to_s: f64) -> String {
    format!("nobody at the head from {} to {}", stopwatch(Some(from_s)), stopwatch(Some(to_s)))
}
/// Overdue turns.
pub fn overdue(n: usize, interval_s: f64) -> String {
    format!(
        "{} (!) longer than the interval of {}.",
        counted(n, "turn", "turns"),
        stopwatch(Some(interval_s))
    )
}
/// Snow moved.
pub fn snow(kg: f64, kg_per_s: Option<f64>, assumed: bool) -> String {
    let rate = kg_per_s.map(|r| format!(", {r:.1} kg/s")).unwrap_or_default();
    let how = if assumed { "modelled as a wedge, width and density assumed" } else { "modelled as a wedge" };
    format!("Snow moved: about {} kg{rate} ({how}).", number(kg.round()))
}
/// Idle.
pub fn idle(share: f64) -> String {
    format!(
        "People with a role stood idle for {} % of their time while others dug.",
        number((share * 100.0).round())
    )
}

/// A pass of a probe line.
pub fn spacing(across_cm: f64, along_cm: f64, units: Units) -> String {
    format!("{} × {}", units.depth(across_cm), units.depth(along_cm))
}

/// The chance of a pass to strike a body.
pub fn chance(length_cm: f64, width_cm: f64, share: f64, units: Units) -> String {
    format!(
        "{} × {}: {} % at best",
        units.depth(length_cm),
        units.depth(width_cm),
        number((share * 100.0).round())
    )
}
