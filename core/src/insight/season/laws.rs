//! What must hold for every answer of a season whatever the rows: no figure is NaN or infinite, and a figure that is null says why.

use super::super::tables::RunRow;
use super::super::thresholds::Thresholds;
use super::checks::{CheckRow, checks};
use super::digging::{TurnRow, digging};
use super::footing::Basis;
use super::group::GroupBy;
use super::interference::{InterferenceRow, interference};
use super::methods::{MethodRow, methods};
use super::person::{Measure, PersonRow, person};
use super::runs::tests::run;
use super::times::{TimesAsk, times};
use crate::entry::Step;
use proptest::prelude::*;
use serde::Serialize;
use serde_json::{Value, json};

/// Numbers as rows may hold them, with many ties, zeros and sizes that no entry has.
fn number() -> impl Strategy<Value = f64> {
    prop_oneof![Just(0.0), (-2..4_i8).prop_map(f64::from), 0.0..1000.0, -1e300..1e300, -1e-300..1e-300,]
}

fn maybe() -> impl Strategy<Value = Option<f64>> {
    prop::option::of(number())
}

fn word(words: &'static [&'static str]) -> impl Strategy<Value = Option<String>> {
    prop::option::of(prop::sample::select(words).prop_map(str::to_owned))
}

prop_compose! {
    fn a_run()(
        (drill, team) in ("[1-5]", word(&["Red", "blue"])),
        (signal, fine, strike, digging, airway) in (maybe(), maybe(), maybe(), maybe(), maybe()),
        (end, limit, depth, people) in (maybe(), maybe(), maybe(), 0..4_usize),
        (why, stops_at) in (word(&["done", "limit", "safety", "cancelled"]), word(&["strike", "airway"])),
    ) -> RunRow {
        run(json!({
            "drill": drill, "team": team, "t_signal_s": signal, "t_fine_s": fine, "t_strike_s": strike, "t_digging_s": digging,
            "t_airway_s": airway, "ended_t_s": end, "ended_why": why, "limit_s": limit, "stops_at": stops_at,
            "depth_slope_normal_cm": depth, "people_dug": people
        }))
    }
}

/// A row of plain JSON on one of two days.
fn row<T: serde::de::DeserializeOwned>(day: bool, more: Value) -> T {
    let date = if day { "2027-02-06" } else { "2027-03-09" };
    let mut fields = json!({"date": date, "area": "Upper Bowl"});
    let map = fields.as_object_mut().expect("an object");
    map.extend(more.as_object().expect("an object").clone());
    serde_json::from_value(fields).expect("a row")
}

/// Every number of an answer is one, and figures that are null say why. The words of the debug text are looked at because JSON writes NaN and
/// infinity as null.
fn holds(answer: &(impl Serialize + std::fmt::Debug)) -> Result<(), TestCaseError> {
    let written = format!("{answer:?}");
    let words = written.split(|c: char| !(c.is_alphanumeric() || c == '-' || c == '_'));
    for word in words {
        prop_assert!(!matches!(word, "NaN" | "inf" | "-inf"), "{written}");
    }
    nulls_say_why(&serde_json::to_value(answer).expect("an answer"))
}

/// In an object that has a `why`, each of these figures that is null is named there.
fn nulls_say_why(value: &Value) -> Result<(), TestCaseError> {
    const FIGURES: [&str; 11] = [
        "median_s",
        "restricted_mean_s",
        "logrank",
        "share",
        "bias_cm",
        "concordance",
        "slope",
        "median_distance_cm",
        "shift_s",
        "slope_per_day",
        "median",
    ];
    match value {
        Value::Array(values) => values.iter().try_for_each(nulls_say_why),
        Value::Object(map) => {
            if let Some(why) = map.get("why").and_then(Value::as_object) {
                for figure in FIGURES.iter().filter(|f| map.get(**f) == Some(&Value::Null)) {
                    prop_assert!(why.contains_key(*figure), "{figure} is null without a reason in {value}");
                }
            }
            map.values().try_for_each(nulls_say_why)
        }
        _ => Ok(()),
    }
}

proptest! {
    #[test]
    fn times_hold_only_numbers(
        runs in prop::collection::vec(a_run(), 0..25),
        by in prop::option::of(prop::sample::select(super::runs::GROUPS)),
        horizon in prop::option::of(0.1..90_000.0),
    ) {
        let ask = TimesAsk { group_by: by, horizon_s: horizon, ..TimesAsk::default() };
        if let Ok(answer) = times(&runs, &ask, Basis::default()) {
            holds(&answer)?;
        }
    }

    #[test]
    fn digging_and_interference_hold_only_numbers(
        runs in prop::collection::vec(a_run(), 0..40),
        lengths in prop::collection::vec(number(), 0..12),
        written in prop::collection::vec(("[1-5]", maybe()), 0..8),
    ) {
        let turns: Vec<TurnRow> = lengths.iter().map(|s| row(true, json!({"length_s": s}))).collect();
        let by = Some(GroupBy::Team);
        let thresholds = Thresholds::default();
        holds(&digging(&turns, &runs, by, &thresholds, Basis::default()).expect("by team"))?;
        let day = run(json!({})).day;
        let written: Vec<InterferenceRow> = written
            .into_iter()
            .map(|(drill, cm)| row(true, json!({"day": day, "drill": drill, "source": "phone", "distance_cm": cm})))
            .collect();
        let answer = interference(&written, &runs, Step::Strike, by, &thresholds, Basis::default());
        holds(&answer.expect("by team"))?;
    }

    #[test]
    fn methods_checks_and_a_person_hold_only_numbers(
        targets in prop::collection::vec((any::<bool>(), prop::collection::vec((0..4_usize, 0..3_usize, number()), 0..5)), 0..20),
        battery in prop::collection::vec((any::<bool>(), maybe(), maybe()), 0..12),
        values in prop::collection::vec((any::<bool>(), number()), 0..12),
    ) {
        let thresholds = Thresholds::default();
        let ways = ["reading", "probe", "tape", "set"];
        let datums = ["first_contact", "airway", "unknown"];
        let value = |(way, datum, cm): &(usize, usize, f64)| json!({"way": ways[*way], "datum": datums[*datum], "slope_normal_cm": cm});
        let rows: Vec<MethodRow> = targets
            .iter()
            .map(|(day, values)| row(*day, json!({"values": values.iter().map(value).collect::<Vec<_>>()})))
            .collect();
        holds(&methods(&rows, Some(GroupBy::Month), &thresholds, Basis::default()).expect("by month"))?;
        let rows: Vec<CheckRow> = battery
            .iter()
            .map(|(day, pct, cm)| row(*day, json!({
                "writer": "Obs1", "call_sign": "P1", "failed": ["fault"], "not_tested": ["receives"], "battery_pct": pct, "nearest_electronics_cm": cm
            })))
            .collect();
        holds(&checks(&rows, Some(GroupBy::Day), &thresholds, Basis::default()).expect("by day"))?;
        let rows: Vec<PersonRow> = values
            .iter()
            .map(|(day, value)| row(*day, json!({"call_sign": "P1", "what": Measure::StrikeS, "value": value})))
            .collect();
        holds(&person(&rows, Some(GroupBy::Month), &thresholds, Basis::default()).expect("by month"))?;
    }
}
