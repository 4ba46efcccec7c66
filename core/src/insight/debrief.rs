//! The debrief of a day: everything that its entries tell, in the order in which a team should hear it. Each part is computed in a room of its
//! own; here they are put together.

use super::cautions;
use super::checks::Checks;
use super::depth::TargetDepth;
use super::digging::Digging;
use super::drill::DrillRead;
use super::interference::DayInterference;
use super::left_out::{LeftOut, Tally};
use super::made::Made;
use super::notes::{NoteLine, Notes};
use super::probing::{Pass, StrikeLine, passes, strikes};
use super::reference::Reference;
use super::search::Search;
use super::several::SeveralTargets;
use super::slowest::{Slowest, by_team, others};
use super::tables::{RunRow, runs_of};
use super::thresholds::{TABLE, Thresholds};
use super::timeline::{Ended, TargetTimes};
use super::view::View;
use crate::clock::{ClockLine, Source, TimeLine};
use crate::day::{DayId, Record};
use crate::entry::{DrillForm, Role, Time, fold};
use crate::review::{Item, KitItem, KitState, Sort};
use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// What a debrief starts from besides the day.
pub struct Given<'a> {
    /// Pairs of entries that count as one event only because they seem to be.
    pub assumed_twins: usize,
    /// How times are corrected.
    pub clocks: &'a TimeLine,
    /// The thresholds in force.
    pub thresholds: &'a Thresholds,
    /// Kit of all days.
    pub kit: Vec<KitItem>,
    /// What of this day needs a person.
    pub items: Vec<Item>,
    /// Runs of other days, for the team's own medians; empty is allowed.
    pub earlier_runs: &'a [RunRow],
    /// Only this drill, by label.
    pub only_drill: Option<&'a str>,
    /// Marks to stand beside the time lines.
    pub reference: Option<Reference>,
    /// SHA-256 over the day's sorted heads, hex.
    pub heads_sha256: &'a str,
}

/// The day's answers.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Debrief {
    /// The day
    pub day: DayId,
    /// Its date
    pub date: NaiveDate,
    /// Its area
    pub area: String,
    /// Kit of any day that is still in the snow: a transmitter left there calls out a real rescue
    pub kit_out: Vec<KitItem>,
    /// What is known of kit, and from how many of the expected writers
    pub kit_says: String,
    /// Safety notes, and drills that were stopped for safety
    pub safety: Vec<NoteLine>,
    /// Who should have written and of whom nothing has come
    pub awaited: Vec<Awaited>,
    /// The drills, in the order in which they were first written of
    pub drills: Vec<DrillAnswer>,
    /// Marks of a published survival curve beside the time lines; null unless one was named
    pub reference: Option<Reference>,
    /// The group checks
    pub checks: Checks,
    /// What disturbed transceivers
    pub interference: DayInterference,
    /// How the times were read
    pub clocks: ClocksUsed,
    /// What the day still lacks, and whom to ask
    pub missing: Vec<Item>,
    /// Notes by topic; feedback stands only on the sheet of the one it is about
    pub notes: Vec<NoteLine>,
    /// What these answers are for, and what not
    pub cautions: Vec<String>,
    /// How many items need a person
    pub to_settle: ToSettle,
    /// How it was made
    pub made: Made,
    /// Pairs counted as one event that nobody has settled yet
    pub assumed_twins: usize,
    /// What could not be used
    pub left_out: Vec<LeftOut>,
}

/// Someone of whom nothing has come.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Awaited {
    /// Call sign; null for a device whose holder is not known
    pub call_sign: Option<String>,
    /// The device, where a crew is known
    pub device: Option<crate::day::DeviceId>,
    /// When it last handed in; null for never
    pub last_at: Option<Time>,
}

/// How many items need a person.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct ToSettle {
    /// Fields that people wrote differently
    pub conflicts: usize,
    /// Pairs that seem to tell of one event
    pub twins: usize,
    /// Things that are implausible
    pub doubts: usize,
    /// Things that the day still lacks
    pub missing: usize,
}

/// How times were read.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ClocksUsed {
    /// The device whose time all times are; null for a day that no device wrote into
    pub base: Option<crate::day::DeviceId>,
    /// Every clock could be compared with it
    pub corrected: bool,
    /// Which could not, and what that means
    pub why: Option<String>,
    /// Each clock with its offset
    pub clocks: Vec<ClockLine>,
}

impl ClocksUsed {
    /// The clocks of a day.
    #[must_use]
    pub fn of(line: &TimeLine, record: &Record) -> ClocksUsed {
        let clocks = line.table(record);
        let alone: Vec<String> =
            clocks.iter().filter(|c| c.from == Source::None).map(|c| c.by.join(", ")).collect();
        let why = (!alone.is_empty()).then(|| {
            format!(
                "the clock of {} was never compared with the others: its times stand only beside one another",
                alone.join("; of ")
            )
        });
        ClocksUsed { base: line.base(), corrected: why.is_none(), why, clocks }
    }
}

/// One drill.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct DrillAnswer {
    /// Its label
    pub label: String,
    /// The team that ran it
    pub team: Option<String>,
    /// What was practised
    pub form: Option<DrillForm>,
    /// Steepness of the slope, degrees
    pub slope_deg: Option<f64>,
    /// Time limit from start, s
    pub limit_s: Option<f64>,
    /// The start; null if nobody wrote one
    pub started_at: Option<Time>,
    /// How it ended; null if nobody wrote an end
    pub ended: Option<Ended>,
    /// Its targets
    pub targets: Vec<TargetAnswer>,
    /// How several targets were worked through; null for one target
    pub several: Option<SeveralTargets>,
    /// Who dug how long
    pub digging: Digging,
    /// How the field was walked
    pub search: Search,
    /// Passes of a probe line
    pub probing: Vec<Pass>,
}

/// One target of a drill.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct TargetAnswer {
    /// When its steps were reached
    #[serde(flatten)]
    pub times: TargetTimes,
    /// How deep it lay
    pub depth: TargetDepth,
    /// Lowest reading over slope-normal depth; null without both
    pub reading_ratio: Option<f64>,
    /// Probe strikes, hits and others
    pub strikes: Vec<StrikeLine>,
    /// The phase that was slowest against the team's own median
    pub slowest: Option<Slowest>,
    /// Why no slowest phase can be told
    pub slowest_why: Option<String>,
}

/// The debrief of a day.
#[must_use]
pub fn debrief(view: &View<'_>, given: Given<'_>) -> Debrief {
    let record = view.record;
    let mut left_out = view.not_counted();
    let notes = Notes::of(view, &mut left_out);
    let reads = DrillRead::all(view);
    let own_runs: Vec<RunRow> = reads.iter().flat_map(|drill| runs_of(view, drill)).collect();
    let teams = by_team(own_runs.iter().chain(given.earlier_runs));
    let wanted = given.only_drill.map(|label| view.things.drill(label));
    let mut drills = Vec::new();
    for drill in reads.into_iter().filter(|d| wanted.as_ref().is_none_or(|w| *w == d.folded)) {
        drills.push(drill_answer(view, drill, &teams, given.thresholds, &mut left_out));
    }
    let kit_out: Vec<KitItem> = given.kit.into_iter().filter(|k| k.state == KitState::InSnow).collect();
    let (awaited, expected) = awaited(view);
    let mut made = Made::from_heads(given.heads_sha256);
    made.filters.insert("day".to_owned(), record.id.to_string());
    made.filters.extend(given.only_drill.map(|d| ("drill".to_owned(), d.to_owned())));
    let in_force = TABLE.iter().filter_map(|t| Some((t.key.to_owned(), given.thresholds.get(t.key)?)));
    made.settings = in_force.filter(|(key, _)| USED.contains(&key.as_str())).collect();
    Debrief {
        day: record.id,
        date: record.date,
        area: record.area.clone(),
        kit_says: kit_says(kit_out.len(), expected - awaited.len(), expected),
        kit_out,
        safety: notes.safety,
        awaited,
        drills,
        reference: given.reference,
        checks: Checks::of(view, given.thresholds, &mut left_out),
        interference: DayInterference::of(view, &mut left_out),
        clocks: ClocksUsed::of(given.clocks, record),
        to_settle: ToSettle::of(&given.items),
        missing: given.items.into_iter().filter(|i| i.sort == Sort::Missing).collect(),
        notes: notes.others,
        cautions: cautions::of_a_debrief().into_iter().map(str::to_owned).collect(),
        made,
        assumed_twins: given.assumed_twins,
        left_out: left_out.list(),
    }
}

/// The thresholds that a debrief uses.
const USED: [&str; 12] = [
    "battery_pct",
    "rotation_interval_s",
    "head_gap_s",
    "strip_width_m",
    "electronics_send_cm",
    "electronics_search_cm",
    "snow_kg_m3",
    "hole_width_cm",
    "hole_length_flat_pct",
    "hole_length_steep_pct",
    "steep_from_deg",
    "smallest_n",
];

fn drill_answer(
    view: &View<'_>,
    drill: DrillRead,
    teams: &BTreeMap<String, Vec<&RunRow>>,
    thresholds: &Thresholds,
    left_out: &mut Tally,
) -> DrillAnswer {
    left_out.merge(&drill.left_out);
    let DrillRead { folded, setup, targets, times, depths, .. } = drill;
    let digging = Digging::of(view, &folded, &targets, &times, &depths, thresholds, left_out);
    let of_team = setup.team.as_ref().and_then(|team| teams.get(&fold(team)));
    let of_team = of_team.map(|runs| others(runs, view.record.id, &setup.label.0));
    let told = targets.iter().zip(&times.targets).zip(depths).map(|((target, line), depth)| {
        let slowest = match &of_team {
            Some(others) => Slowest::of(&line.durations, others, thresholds),
            None => Err("the team of this drill is not known".to_owned()),
        };
        TargetAnswer {
            reading_ratio: depth.reading.and_then(|r| r.ratio),
            depth,
            strikes: strikes(view, &folded, target, &targets, &times),
            slowest_why: slowest.as_ref().err().cloned(),
            slowest: slowest.ok(),
            times: line.clone(),
        }
    });
    DrillAnswer {
        targets: told.collect(),
        several: SeveralTargets::of(view, &folded, &targets, &times),
        digging,
        search: Search::of(view, &folded, &setup, &times, thresholds, left_out),
        probing: passes(view, &folded, &times, left_out),
        started_at: times.started_at,
        ended: times.ended,
        slope_deg: setup.slope_deg.map(|s| s.0),
        limit_s: setup.limit_s.map(|l| l.0),
        form: setup.form,
        label: setup.label.0,
        team: setup.team,
    }
}

/// Those with a role that writes of whom nothing has come, and how many writers there are with them.
fn awaited(view: &View<'_>) -> (Vec<Awaited>, usize) {
    let mut writers: BTreeMap<String, bool> = BTreeMap::new();
    let writes = |role: &Role| matches!(role, Role::Lead | Role::Instructor | Role::Observer);
    for ((_, who), _) in view.things.roles.iter().filter(|(_, role)| writes(role)) {
        writers.insert(who.clone(), false);
    }
    for who in view.things.people.keys() {
        if view.things.person_as_one(who).and_then(|p| p.role).is_some_and(|r| writes(&r)) {
            writers.insert(who.clone(), false);
        }
    }
    for noted in &view.record.entries {
        if let Some(by) = noted.json.get("by").and_then(serde_json::Value::as_str) {
            writers.insert(view.things.person(by), true);
        }
    }
    let out = writers.iter().filter(|(_, came)| !**came);
    let awaited =
        out.map(|(who, _)| Awaited { call_sign: Some(view.call_sign(who)), device: None, last_at: None });
    (awaited.collect(), writers.len())
}

/// Never "all back": only what is known, and from whom.
fn kit_says(in_snow: usize, came: usize, expected: usize) -> String {
    let known = match in_snow {
        0 => "nothing known to be out".to_owned(),
        1 => "1 piece still in the snow".to_owned(),
        n => format!("{n} pieces still in the snow"),
    };
    format!("{known}, from {came} of {expected} writers")
}

impl ToSettle {
    fn of(items: &[Item]) -> ToSettle {
        let n = |sort| items.iter().filter(|i| i.sort == sort).count();
        ToSettle {
            conflicts: n(Sort::Conflict),
            twins: n(Sort::Twin),
            doubts: n(Sort::Doubt),
            missing: n(Sort::Missing),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::insight::left_out::reason;
    use crate::insight::testing::record;
    use crate::review::{Ground, OneEvent, kit};
    use serde_json::json;

    fn debrief_of(lines: &str, only_drill: Option<&str>) -> serde_json::Value {
        let record = record(lines);
        let clocks = TimeLine::of(&record);
        let one_event = OneEvent::of(&Ground::of(&record, &clocks));
        let given = Given {
            assumed_twins: one_event.proposed.len(),
            clocks: &clocks,
            thresholds: &Thresholds::default(),
            kit: kit(&[&record]),
            items: Vec::new(),
            earlier_runs: &[],
            only_drill,
            reference: None,
            heads_sha256: "00",
        };
        let view = View::new(&record, &one_event.groups, &clocks);
        serde_json::to_value(debrief(&view, given)).unwrap()
    }

    const DAY: &str = r#"
        {"kind":"person","at":"08:00:00","by":"Lead","call_sign":"Lead","role":"lead"}
        {"kind":"person","at":"08:00:00","by":"Lead","call_sign":"Obs1","role":"observer"}
        {"kind":"person","at":"08:00:00","by":"Lead","call_sign":"Obs2","role":"observer"}
        {"kind":"person","at":"08:00:00","by":"Lead","call_sign":"S1","team":"Red"}
        {"kind":"check","at":"08:10:00","by":"Lead","person":"S1","transmits":true,"receives":false,"battery_pct":39}
        {"kind":"check","at":"08:12:00","by":"Lead","person":"S1","transmits":true,"receives":true,"nearest_electronics_cm":20}
        {"kind":"drill","at":"10:00:00","by":"Lead","label":"1","team":"Red","slope_deg":30,"limit_s":600}
        {"kind":"target","at":"10:00:00","by":"Lead","drill":"1","label":"A","item":"TX07","set_depth_cm":110,"direction":"slope_normal"}
        {"kind":"moment","at":"10:05:00","drill":"1","step":"start"}
        {"kind":"moment","at":"10:05:00","by":"Lead","drill":"1","step":"start"}
        {"kind":"strike","at":"10:08:20","drill":"1","target":"A","depth_cm":112,"outcome":"hit","lowest_reading_m":1.3,"holes":7,"from_mark_cm":40}
        {"kind":"moment","at":"10:08:21","by":"Lead","drill":"1","target":"A","step":"strike"}
        {"kind":"interference","at":"10:06:00","drill":"1","source":"phone","lost_s":20}
        {"kind":"note","at":"11:00:00","note":"probe line drifted","topic":"next_time"}
        {"kind":"note","at":"11:01:00","note":"cornice above lane 2","topic":"safety"}
        {"kind":"note","at":"11:02:00","note":"look up from the screen","topic":"feedback","person":"S1"}
        {"kind":"note","at":"11:03:00","note":"whose was this","topic":"feedback"}
        {"kind":"moment","at":"12:00:00","drill":"2","step":"start"}
        {"kind":"moment","at":"12:00:00","step":"signal"}
        {"kind":"unheard_of","at":"12:00:00"}
    "#;

    #[test]
    fn a_day_end_to_end() {
        let told = debrief_of(DAY, None);
        assert_eq!(told["kit_out"][0]["item"], json!("TX07"));
        assert_eq!(told["kit_says"], json!("1 piece still in the snow, from 2 of 3 writers"));
        assert_eq!(told["awaited"], json!([{"call_sign": "Obs2", "device": null, "last_at": null}]));
        assert_eq!(told["safety"][0]["text"], json!("cornice above lane 2"));
        assert_eq!(told["notes"].as_array().unwrap().len(), 1);
        assert!(!told.to_string().contains("look up"), "feedback is only for the one it is about");
        let a = &told["drills"][0]["targets"][0];
        assert_eq!((&a["label"], &a["t_strike_s"]), (&json!("A"), &json!(200.5)));
        // Two presses of start make the clocks comparable, each known within a second at the best.
        assert_eq!((&a["uncertainty_s"], &a["spread_s"]), (&json!(2.0), &json!(1.0)));
        assert_eq!(
            (&told["clocks"]["corrected"], &told["clocks"]["clocks"][1]["from"]),
            (&json!(true), &json!("start"))
        );
        assert_eq!(a["depth"]["headline"]["median_cm"], json!(112.0));
        assert_eq!(a["reading_ratio"], json!(130.0 / 112.0));
        assert_eq!((&a["strikes"][0]["holes"], &a["strikes"][0]["from_mark_cm"]), (&json!(7), &json!(40.0)));
        assert!(a["slowest_why"].as_str().unwrap().contains("fewer than 3"));
        assert_eq!(told["assumed_twins"], json!(1));
        let left_out: Vec<_> =
            told["left_out"].as_array().unwrap().iter().map(|l| l["reason"].as_str().unwrap()).collect();
        assert_eq!(left_out, [reason::FEEDBACK_TO_NOBODY, reason::NO_DRILL, reason::OPAQUE]);
        let checks = &told["checks"];
        assert_eq!((&checks["n"], &checks["people"]), (&json!(2), &json!(1)));
        assert_eq!(checks["failed"][0]["what"], json!("receives"));
        assert_eq!(checks["failed"][0]["passed_later"], json!(true));
        assert_eq!(checks["battery_below"], json!([{"call_sign": "S1", "pct": 39.0}]));
        // 20 cm is not nearer than 20 cm, but nearer than 50 cm.
        assert_eq!(checks["electronics"][0]["too_near_to_send"], json!(false));
        assert_eq!(checks["electronics"][0]["too_near_to_search"], json!(true));
        assert_eq!(checks["not_checked"], json!(["Lead", "Obs1", "Obs2"]));
        assert_eq!((&told["interference"]["n"], &told["interference"]["lost_s"]), (&json!(1), &json!(20.0)));
        assert_eq!(told["made"]["settings"]["battery_pct"], json!(40.0));
        assert!(told["cautions"][0].as_str().unwrap().contains("not for directing a live rescue"));
    }

    #[test]
    fn one_drill_alone() {
        let told = debrief_of(DAY, Some(" 2"));
        assert_eq!(told["drills"].as_array().unwrap().len(), 1);
        assert_eq!(told["drills"][0]["label"], json!("2"));
        assert_eq!(told["made"]["filters"]["drill"], json!(" 2"));
    }

    #[test]
    fn an_empty_day_has_an_answer() {
        let told = debrief_of("", None);
        assert_eq!(told["kit_says"], json!("nothing known to be out, from 0 of 0 writers"));
        assert_eq!(told["drills"], json!([]));
    }

    #[test]
    fn every_figure_is_described() {
        let schema = schemars::schema_for!(Debrief).to_value();
        let properties = schema["$defs"]["TargetAnswer"]["properties"].as_object().unwrap();
        assert!(properties.contains_key("t_airway_s") && properties.contains_key("strikes"));
        assert!(properties.values().all(|p| p.get("description").is_some()), "{properties:?}");
    }
}
