//! Every sentence and word that a reader of a page meets, in one place, so that another language can be added here. What people wrote is shown
//! as they wrote it; what core says of an item or as a caution comes from there.

mod drill;
mod season;
mod sheet;

pub use drill::*;
pub use season::*;
pub use sheet::*;

use super::day::Detail;
use super::measure::Units;
use crate::view::{clock_time, counted, number, stopwatch, word};
use firnbook_core::entry::{Datum, DrillForm, EndReason, Outcome, Step, Time, Topic};
use firnbook_core::insight::depth::TargetDepth;
use firnbook_core::insight::made::Made;
use firnbook_core::insight::reference::Reference;
use firnbook_core::insight::season::group::GroupBy;
use firnbook_core::insight::season::methods::Way;
use firnbook_core::insight::slowest::{Phase, Slowest};
use firnbook_core::review::KitItem;
use firnbook_core::stats::Interval;
use std::fmt::Display;

pub const LANGUAGE: &str = "en";

pub const TO_CONTENT: &str = "To the figures";
pub const ON_THIS_PAGE: &str = "On this page";
pub const AS_TABLE: &str = "The same as a table";
pub const FOOT: &str = "What this is, and what it is not";
pub const ALL_DRILLS: &str = "All drills";
pub const SHOW_ONLY: &str = "Show";
pub const POINT: &str = "Point at a bar or a line and its value stands here.";
pub const UNKNOWN: &str = "unknown";
pub const NONE: &str = "–";

pub const STILL_IN_THE_SNOW: &str = "Still in the snow";
pub const NOTHING_KNOWN_OUT: &str = "nothing known";
pub const TOOK_LONGEST: &str = "What took longest";
pub const NO_TIMES: &str = "No phase has both its ends written down.";
pub const IN_EACH_RUN: &str = "The longest phase of the other runs";
pub const SAFETY: &str = "Safety";
pub const NOT_HANDED_IN: &str = "Not handed in yet";
pub const DEPTHS: &str = "Depths of the day";
pub const CHECKS: &str = "Group check";
pub const NOT_CHECKED: &str = "Not checked";
pub const INTERFERENCE: &str = "Interference";
pub const MISSING: &str = "Missing: ask while they are here";
pub const TO_SETTLE: &str = "To settle";
pub const NOTHING_TO_SETTLE: &str = "Nothing is open.";
pub const NOTES: &str = "Notes";
pub const CLOCKS: &str = "Clocks";
pub const PROBE_LINE: &str = "Probe line";
pub const SEVERAL: &str = "Several targets";

pub const FROM_START: &str = "from start, minutes:seconds";
pub const UPHILL: &str = "uphill";
pub const AT_THE_HEAD: &str = "at the head";
pub const BEHIND: &str = "behind";
pub const NOBODY: &str = "nobody at the head";
pub const NOT_REACHED: &str = "not done";
pub const EQUAL: &str = "equal";

/// Column heads of the steps.
pub const STEP_HEADS: [&str; 11] = [
    "target",
    "signal",
    "coarse",
    "fine",
    "first hole",
    "strike",
    "digging",
    "airway",
    "out",
    "±",
    "writers apart",
];
pub const TURN_HEADS: [&str; 5] = ["at the head", "from", "to", "took", "behind"];
pub const DIGGER_HEADS: [&str; 5] = ["who", "work", "at the head", "turns", "longest turn"];
pub const SITE_HEADS: [&str; 3] = ["what", "right", "uphill"];
pub const WALK_HEADS: [&str; 5] = ["who", "from", "to", "way", "way / straight"];
pub const PASS_HEADS: [&str; 4] = ["pass", "holes", "area", "chance of detection"];
pub const READING_HEADS: [&str; 4] = ["drill, target", "lowest reading", "depth", "reading / depth"];
pub const CURVE_HEADS: [&str; 5] = ["from start", "under way", "reached", "not yet", "95 %"];
pub const GROUP_HEADS: [&str; 4] = ["group", "n", "median", "95 %"];
pub const STEP_SEASON_HEADS: [&str; 6] = ["step", "median", "95 %", "runs", "reached", "ended before"];
pub const PAIR_HEADS: [&str; 7] =
    ["a against b", "n", "a - b", "95 %", "limits of agreement", "concordance", "a / b"];
pub const TREND_HEADS: [&str; 5] = ["measure", "n", "days", "median", "change a day"];

/// Title of a day's page.
pub fn day_title(date: impl Display, area: &str) -> String {
    format!("Debrief {date}, {area}")
}

/// Where the page is cut to one drill.
pub fn only_drill(drill: &str) -> String {
    format!("Only drill {drill}; kit, checks and notes are of the whole day.")
}

/// How many entries of kit are out.
pub fn pieces(n: usize) -> String {
    counted(n, "piece", "pieces")
}

/// Name of a piece of kit.
pub fn kit_name(item: &KitItem) -> String {
    item.item.clone().unwrap_or_else(|| "a transmitter without a label".to_owned())
}

/// Where a piece lies.
pub fn kit_place(item: &KitItem, units: Units) -> String {
    let mut parts = Vec::new();
    parts.extend(item.drill.as_ref().map(|d| format!("drill {d}")));
    parts.extend(item.target.as_ref().map(|t| format!("target {t}")));
    parts.extend(item.set_depth_cm.map(|d| format!("{} deep", units.depth(d))));
    parts.extend(
        item.x_m.zip(item.y_m).map(|(x, y)| {
            format!("{} right and {} uphill of the corner", units.distance(x), units.distance(y))
        }),
    );
    parts.extend(item.lat.zip(item.lon).map(|(lat, lon)| format!("{lat:.5}, {lon:.5}")));
    parts.join(", ")
}

/// Since when, and who wrote it.
pub fn kit_since(item: &KitItem) -> String {
    format!("{} {}, since {}, by {}", item.date, item.area, item.at.datetime().format("%H:%M"), item.by)
}

/// A phase, short.
pub fn phase(phase: Phase) -> &'static str {
    match phase {
        Phase::Signal => "to signal",
        Phase::Coarse => "coarse",
        Phase::Fine => "fine",
        Phase::Pinpoint => "mark to strike",
        Phase::StrikeToAirway => "strike to airway",
    }
}

/// A phase as a sentence begins with it.
pub fn phase_long(phase: Phase) -> &'static str {
    match phase {
        Phase::Signal => "Start to first signal",
        Phase::Coarse => "Coarse search",
        Phase::Fine => "Fine search",
        Phase::Pinpoint => "Mark to strike",
        Phase::StrikeToAirway => "Strike to airway",
    }
}

/// A stretch of a time line.
pub fn stretch(of: Phase, took_s: f64, several: bool) -> String {
    let more = if several { ", with what before it was not written" } else { "" };
    format!("{} {}{more}", phase_long(of), stopwatch(Some(took_s)))
}

/// Which run a phase belongs to, and how much of it.
pub fn of_run(drill: &str, target: &str, took_s: f64, total_s: Option<f64>) -> String {
    let share = total_s.filter(|t| *t > 0.0).map(|total| {
        format!(
            ": {} % of the {} from start to airway",
            number((100.0 * took_s / total).round()),
            stopwatch(Some(total))
        )
    });
    format!("{}{}", run(drill, target), share.unwrap_or_default())
}

/// Drill and target.
pub fn run(drill: &str, target: &str) -> String {
    if target.is_empty() { format!("Drill {drill}") } else { format!("Drill {drill}, target {target}") }
}

/// The shovels' part of strike to airway.
pub fn digging_part(digging_s: f64) -> String {
    format!("of that, first shovel stroke to airway {}", stopwatch(Some(digging_s)))
}

/// A target that nobody struck.
pub fn never_struck(drill: &str, target: &str, ended_s: f64) -> String {
    format!("{}: not struck when the drill ended at {}", run(drill, target), stopwatch(Some(ended_s)))
}

/// Against the team's own habit.
pub fn slowest(slow: &Slowest) -> String {
    format!(
        "slowest against the team's own median: {} {}, usually {} (n {})",
        phase(slow.phase),
        stopwatch(Some(slow.took_s)),
        stopwatch(Some(slow.team_median_s)),
        slow.n
    )
}

/// Title of the depths.
pub fn depth_title(n: usize) -> String {
    format!("How deep targets lay, square to the slope (n {n})")
}
/// What it says.
pub fn depth_says(n: usize, median: Option<String>, least: Option<String>, most: Option<String>) -> String {
    let mut says = counted(n, "target", "targets");
    for (name, value) in [("median", median), ("shallowest", least), ("deepest", most)] {
        if let Some(value) = value {
            says.push_str(&format!(", {name} {value}"));
        }
    }
    says
}
/// What the two parts of it are.
pub const DEPTH_REMARK: &str = "Above: share of targets that lie no deeper. Below: number of targets in each span. Targets buried by instructors, not accident burials.";
/// Head of the table of depths.
pub fn depth_heads(units: Units) -> [String; 2] {
    [format!("depth, {}", units.depth_unit()), "targets".to_owned()]
}
/// Axis of depths.
pub fn depth_axis(units: Units) -> String {
    format!("depth, {}", units.depth_unit())
}
/// Axis of readings.
pub fn reading_axis(units: Units) -> String {
    format!("lowest reading, {}", units.depth_unit())
}
/// A median.
pub fn median(value: &str) -> String {
    format!("median {value}")
}
/// Title of readings against depths.
pub fn readings_title(n: usize) -> String {
    format!("Lowest reading against measured depth (n {n})")
}
/// What it is not.
pub const READINGS_REMARK: &str =
    "A lowest reading is no depth: it is a distance that depends on how the transmitter lies.";
/// A point of it.
pub fn reading_point(name: &str, units: Units, depth_cm: f64, reading_m: f64) -> String {
    format!("{name}: reading {}, depth {}", units.depth(reading_m * 100.0), units.depth(depth_cm))
}

/// How many checks.
pub fn checks(n: usize, people: usize) -> String {
    format!("{} of {}", counted(n, "check", "checks"), counted(people, "person", "people"))
}
/// A failed part.
pub fn failed(what: &str, fault: Option<&str>, later: bool) -> String {
    let fault = fault.map(|f| format!(" ({f})")).unwrap_or_default();
    let later = if later { ", passed later" } else { "" };
    format!("{what} failed{fault}{later}")
}
/// A part that was not tested.
pub fn not_tested(what: &str) -> String {
    format!("{what} not tested")
}
/// A low battery.
pub fn battery(pct: f64) -> String {
    format!("battery {} %", number(pct))
}
/// Electronics.
pub fn electronics(cm: f64, units: Units, to_send: bool) -> String {
    let to = if to_send { "sending and searching" } else { "searching" };
    format!("electronics {} away, too near for {to}", units.depth(cm))
}
/// Electronics, however far.
pub fn nearest_electronics(cm: f64, units: Units) -> String {
    format!("electronics {} away", units.depth(cm))
}
/// All in order.
pub const ALL_IN_ORDER: &str = "Nothing was found wrong.";
/// Time lost.
pub fn lost(s: f64) -> String {
    format!("{} s lost", number(s))
}
/// Away.
pub fn away(cm: f64, units: Units) -> String {
    format!("{} away", units.depth(cm))
}

/// Whom to ask.
pub fn ask(who: &[String]) -> String {
    format!("ask {}", who.join(", "))
}
/// What is open.
pub fn open(conflicts: usize, doubts: usize, twins: usize) -> Vec<String> {
    [
        (conflicts, "field that people wrote differently", "fields that people wrote differently"),
        (doubts, "thing that is implausible", "things that are implausible"),
        (twins, "pair that seems to be one event", "pairs that each seem to be one event"),
    ]
    .into_iter()
    .filter(|(n, ..)| *n > 0)
    .map(|(n, one, several)| counted(n, one, several))
    .collect()
}
/// How to settle.
pub const SETTLE: &str = "At the base laptop: firnbook settle";

/// A topic of notes.
pub fn topic(topic: Topic) -> String {
    match topic {
        Topic::WentWell => "Went well".to_owned(),
        Topic::NextTime => "Next time".to_owned(),
        other => {
            let text = word(&other);
            let mut chars = text.chars();
            chars.next().map(|c| c.to_uppercase().chain(chars).collect()).unwrap_or_default()
        }
    }
}
/// Who wrote a note, when, of what.
pub fn noted(by: &str, at: Time, drill: Option<&str>, target: Option<&str>) -> String {
    let drill =
        drill.map(|d| format!(", {}", run(d, target.unwrap_or_default()).to_lowercase())).unwrap_or_default();
    format!("{by} {}{drill}", at.datetime().format("%H:%M"))
}

/// Someone who has not handed in.
pub fn awaited(call_sign: Option<&str>, device: Option<String>, last_at: Option<Time>) -> String {
    let who = match (call_sign, device) {
        (Some(who), _) => who.to_owned(),
        (None, Some(device)) => format!("device {device}"),
        (None, None) => "a device".to_owned(),
    };
    last_at.map_or_else(|| who.clone(), |at| format!("{who} (last at {})", at.datetime().format("%H:%M")))
}

/// Times were corrected.
pub const CLOCKS_CORRECTED: &str = "Times stand on one time line, corrected from clock to clock.";

/// What was left out.
pub fn left_out(n: usize, reason: &str) -> String {
    format!("{n} left out: {reason}")
}
/// Twins.
pub fn assumed_twins(n: usize) -> String {
    format!("{} counted as one event, not settled yet", counted(n, "pair", "pairs"))
}
/// How it was made.
pub fn made(made: &Made) -> String {
    let list = |title: &str, items: Vec<String>| {
        if items.is_empty() { String::new() } else { format!(" {title}: {}.", items.join(", ")) }
    };
    let filters = made.filters.iter().map(|(k, v)| format!("{k} {v}")).collect();
    let settings =
        made.settings.iter().map(|(k, v)| format!("{} {}", k.replace('_', " "), number(*v))).collect();
    format!(
        "Made by Firnbook {} from entries {}.{}{}",
        made.version,
        made.heads_sha256.get(..16).unwrap_or(&made.heads_sha256),
        list("Of", filters),
        list("By", settings)
    )
}

/// The drawing of a figure, for a screen reader.
pub fn drawing(title: &str) -> String {
    format!("Drawing: {title}")
}
/// A table of people.
pub fn work(drill: &str) -> String {
    format!("Who dug how long in drill {drill}")
}
/// A table of ways.
pub fn walks(drill: &str) -> String {
    format!("Ways walked in drill {drill}")
}
