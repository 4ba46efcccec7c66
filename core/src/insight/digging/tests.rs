//! Turns and holes of days written by hand.

use super::*;
use crate::clock::RawClocks;
use crate::day::Groups;
use crate::insight::testing::record_with;
use serde_json::{Value, json};

fn digging(lines: &str, registers: &[(&str, Value)], thresholds: &Thresholds) -> Digging {
    let record = record_with(lines, registers);
    let groups = Groups::of(&record);
    let view = View::new(&record, &groups, &RawClocks);
    let targets = view.targets("1");
    let times = DrillTimes::of(&view, "1", &targets);
    let mut left_out = Tally::default();
    let slope_deg = view.drill("1").slope_deg.map(|s| s.0);
    let depths: Vec<TargetDepth> =
        targets.iter().map(|t| TargetDepth::of(&view, "1", t, &targets, slope_deg, &mut left_out)).collect();
    Digging::of(&view, "1", &targets, &times, &depths, thresholds, &mut left_out)
}

/// Turns of 240, 240, 60 and 60 s, section 11 of the trade facts, with 20 s without anyone before the last.
const DIG: &str = r#"
    {"kind":"drill","at":"09:50:00","label":"1","slope_deg":0,"snow_kg_m3":400}
    {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
    {"kind":"strike","at":"10:04:00","drill":"1","outcome":"hit","depth_cm":150,"direction":"slope_normal"}
    {"kind":"moment","at":"10:05:00","drill":"1","step":"digging"}
    {"kind":"rotation","at":"10:05:00","drill":"1","front":"P1"}
    {"kind":"rotation","at":"10:09:00","drill":"1","front":"P2"}
    {"kind":"rotation","at":"10:13:00","drill":"1","front":"P3","ended_at":"10:14:00","hole_width_cm":100}
    {"kind":"rotation","at":"10:14:20","drill":"1","front":"P4"}
    {"kind":"moment","at":"10:15:20","drill":"1","step":"airway"}
"#;

#[test]
fn work_is_shared_as_the_trade_facts_count_it() {
    let found = digging(DIG, &[], &Thresholds::default());
    assert_eq!((found.mean_work_s, found.max_over_mean), (Some(150.0), Some(1.6)));
    let head = &found.heads[0];
    assert_eq!(head.gaps, [Gap { from_s: 840.0, to_s: 860.0 }]);
    assert_eq!((head.unattended_s, head.people, head.overdue), (20.0, 4, 0));
    let ends: Vec<EndedBy> = head.turns.iter().map(|t| t.ended_by).collect();
    assert_eq!(ends, [EndedBy::NextTurn, EndedBy::NextTurn, EndedBy::Entry, EndedBy::Airway]);
    // Section 5: 1.5 m on the flat is a wedge of 2.25 m3 or 900 kg; dug in 620 s.
    let snow = head.snow.unwrap();
    assert!((snow.wedge_m3 - 2.25).abs() < 1e-12 && (snow.snow_kg - 900.0).abs() < 1e-9);
    assert!((snow.kg_per_s.unwrap() - 900.0 / 620.0).abs() < 1e-12 && !snow.assumed);
}

#[test]
fn overdue_is_strictly_longer_than_the_interval() {
    let mut thresholds = Thresholds::default();
    assert_eq!(digging(DIG, &[], &thresholds).heads[0].overdue, 0);
    thresholds.rotation_interval_s = 239.9;
    assert_eq!(digging(DIG, &[], &thresholds).heads[0].overdue, 2);
}

#[test]
fn shovellers_work_too_and_twins_count_once() {
    let lines = r#"
        {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
        {"kind":"rotation","at":"10:01:00","drill":"1","front":"P1","shovellers":["P2","p1"],"ended_at":"10:03:00"}
        {"kind":"rotation","at":"10:01:04","drill":"1","front":"p1","ended_at":"10:03:02","by":"Obs2"}
        {"kind":"rotation","at":"10:02:30","drill":"1","front":"P2","ended_at":"10:04:01"}
        {"kind":"person","at":"09:00:00","call_sign":"P1","drill":"1","role":"shoveller"}
        {"kind":"person","at":"09:00:00","call_sign":"P3","drill":"1","role":"trainee"}
        {"kind":"person","at":"09:00:00","call_sign":"Obs2","drill":"1","role":"observer"}
        {"kind":"person","at":"09:00:00","call_sign":"P3","left_at":"10:03:02"}
    "#;
    let found = digging(lines, &[("#2~#3", json!(true))], &Thresholds::default());
    let told: Vec<_> =
        found.people.iter().map(|p| (p.call_sign.as_str(), p.work_s, p.head_s, p.turns)).collect();
    // The linked turn runs from 62 s to 181 s; P2's own from 150 s to 241 s.
    assert_eq!(told, [("P1", 119.0, 119.0, 1), ("P2", 179.0, 91.0, 2)]);
    assert_eq!(found.heads[0].turns[0].front.as_deref(), Some("P1"));
    // Dug from 62 s to 241 s: P1 was there for 179 s, P3 until 182 s.
    let idle: Vec<_> = found.idle.iter().map(|i| (i.call_sign.as_str(), i.present_s, i.work_s)).collect();
    assert_eq!(idle, [("P1", 179.0, 119.0), ("P3", 120.0, 0.0)]);
    assert!((found.idle_share.unwrap() - (1.0 - 119.0 / 299.0)).abs() < 1e-12);
    assert!(found.heads[0].snow_why.as_ref().unwrap().contains("slope"));
}

#[test]
fn without_an_end_a_turn_has_no_length() {
    let lines = r#"
        {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
        {"kind":"rotation","at":"10:01:00","drill":"1","front":"P1"}
    "#;
    let found = digging(lines, &[], &Thresholds::default());
    assert_eq!(found.heads[0].turns[0].ended_by, EndedBy::Nothing);
    assert!(found.people.is_empty() && found.mean_work_s.is_none() && found.heads[0].gaps.is_empty());
}
