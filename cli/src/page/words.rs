//! Every sentence and word that a reader of a page meets, in one place, so that another language can be added here. What people wrote is shown
//! as they wrote it; what core says of an item or as a caution comes from there.

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
pub(super) fn lines_more(n: usize) -> String {
    format!("and {} more, which firnbook debrief lists", n)
}

/// What a crowded page leaves out.
pub(super) fn less_than_all(detail: Detail) -> Option<&'static str> {
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

/// A sheet to take home.
pub fn sheet_title(call_sign: &str, date: impl Display, area: &str) -> String {
    format!("{call_sign}, {date}, {area}")
}
pub const SHEET_HEADS: [&str; 3] = ["drill, target", "step", "from start"];
pub const SHEET_TURN_HEADS: [&str; 5] = ["drill", "work", "at the head", "turns", "longest"];
pub const SHEET_STRIKE_HEADS: [&str; 5] = ["drill, target", "from start", "outcome", "depth", "from mark"];
pub const SHEET_WALK_HEADS: [&str; 3] = ["drill", "way", "way / straight"];
pub const SHEET_ROLES: &str = "Roles";
pub const SHEET_TIMES: &str = "Own times";
pub const SHEET_TURNS: &str = "Own turns";
pub const SHEET_STRIKES: &str = "Own strikes";
pub const SHEET_WALKS: &str = "Own ways";
pub const SHEET_CHECKS: &str = "Own checks";
pub const SHEET_FEEDBACK: &str = "Feedback";
pub const SIGNATURE: &str = "Seen with the instructor";
/// Present.
pub fn present(joined: Option<Time>, left: Option<Time>, hours: Option<f64>) -> String {
    let clock =
        |t: Option<Time>| t.map_or_else(|| NONE.to_owned(), |t| t.datetime().format("%H:%M").to_string());
    let hours = hours.map(|h| format!(", {} h", number(h))).unwrap_or_default();
    format!("here from {} to {}{hours}", clock(joined), clock(left))
}
/// A role.
pub fn role(role: &str, drill: Option<&str>) -> String {
    drill.map_or_else(|| role.to_owned(), |d| format!("{role} in drill {d}"))
}
/// A check without fault.
pub const IN_ORDER: &str = "in order";
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
