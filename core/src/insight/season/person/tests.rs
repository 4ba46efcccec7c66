//! One person over a season, from rows made by hand and from days.

use super::super::super::testing::{record, record_with};
use super::*;
use crate::clock::RawClocks;
use crate::day::Groups;
use serde_json::json;

fn row(date: &str, value: f64) -> PersonRow {
    PersonRow {
        date: date.parse().unwrap(),
        area: "Upper Bowl".to_owned(),
        form: None,
        team: None,
        call_sign: "P1".to_owned(),
        what: Measure::StrikeS,
        value,
    }
}

fn told(rows: &[PersonRow]) -> PersonStats {
    person(rows, None, &Thresholds::default(), Basis::default()).unwrap()
}

#[test]
fn a_trend_is_told_from_five_values_of_several_days() {
    // 300 s on day 0 and 10 s less each day: slope -10 s a day, and one slow day does not bend it.
    let rows = [
        row("2027-01-01", 300.0),
        row("2027-01-11", 200.0),
        row("2027-01-16", 150.0),
        row("2027-01-21", 900.0),
        row("2027-01-26", 50.0),
        row("2027-01-29", 20.0),
    ];
    let trend = &told(&rows).trends[0];
    assert_eq!((trend.n, trend.n_days, trend.median, trend.slope_per_day), (6, 6, Some(175.0), Some(-10.0)));
    let four = &told(&rows[..4]).trends[0];
    assert_eq!((four.n, four.slope_per_day), (4, None));
    assert!(four.why.0["slope_per_day"].contains("n = 4"));
    let one_day = [1.0, 2.0, 3.0, 4.0, 5.0].map(|v| row("2027-01-01", v));
    let one_day = &told(&one_day).trends[0];
    assert!(one_day.slope_per_day.is_none() && one_day.why.0["slope_per_day"].contains("two days"));
    assert!(told(&[]).trends.is_empty());
}

#[test]
fn groups_part_the_values_and_only_those_that_values_have() {
    let mut rows = [row("2027-01-01", 300.0), row("2027-01-11", 200.0), row("2027-02-01", 100.0)];
    rows[0].team = Some("Red".to_owned());
    let by = |by| person(&rows, Some(by), &Thresholds::default(), Basis::default());
    let medians = |by_what| -> Vec<(String, usize, Option<f64>)> {
        let groups = by(by_what).unwrap().groups;
        groups.into_iter().map(|g| (g.group, g.trends[0].n, g.trends[0].median)).collect()
    };
    let said = |name: &str, n, median| (name.to_owned(), n, Some(median));
    assert_eq!(medians(GroupBy::Month), [said("2027-01", 2, 250.0), said("2027-02", 1, 100.0)]);
    assert_eq!(medians(GroupBy::Team), [said("Red", 1, 300.0), said("not said", 2, 150.0)]);
    assert!(by(GroupBy::Writer).unwrap_err().to_string().contains("form, team, area, day, month, season"));
    assert!(told(&rows).groups.is_empty());
}

#[test]
fn a_day_gives_the_own_figures_and_nobody_elses() {
    let record = record(
        r#"
        {"kind":"person","at":"08:00:00","call_sign":"P1","member":"m7"}
        {"kind":"person","at":"08:00:00","call_sign":"P2","member":"m8"}
        {"kind":"drill","at":"10:00:00","label":"1"}
        {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
        {"kind":"moment","at":"10:01:00","drill":"1","step":"signal","person":"p1"}
        {"kind":"moment","at":"10:02:00","drill":"1","step":"coarse","person":"P2"}
        {"kind":"moment","at":"10:03:00","drill":"1","step":"fine","person":"P1"}
        {"kind":"moment","at":"10:03:02","drill":"1","step":"fine","person":"P2","by":"Obs2"}
        {"kind":"strike","at":"10:04:00","drill":"1","outcome":"hit","person":"P1","from_mark_cm":20,"holes":3}
        {"kind":"rotation","at":"10:05:00","drill":"1","front":"P2","shovellers":["P1"],"ended_at":"10:06:00"}
        {"kind":"rotation","at":"10:06:00","drill":"1","front":"P2","ended_at":"10:08:00"}
        {"kind":"drill","at":"11:00:00","label":"2"}
        {"kind":"moment","at":"11:00:00","drill":"2","step":"start"}
        {"kind":"moment","at":"11:01:00","drill":"2","step":"signal","person":"P1"}
        {"kind":"moment","at":"11:02:00","drill":"2","step":"end","why":"cancelled"}
    "#,
    );
    let groups = Groups::of(&record);
    let view = View::new(&record, &groups, &RawClocks);
    let people = DayPeople::of(&view, &Thresholds::default());
    let heard = people.sighting(" P1").unwrap();
    let who = Who::of("P1", &[heard]).unwrap();
    assert_eq!((who.clone(), people.sighting("P9")), (Who::Member("m7".to_owned()), None));
    assert!(people.has_member("m8") && !people.has_member("m9"));
    let mut left_out = Tally::default();
    let rows = people.rows(&who, &mut left_out);
    let values: Vec<_> = rows.iter().map(|r| (r.what, r.value)).collect();
    let expected = [
        (Measure::SignalS, 60.0),
        (Measure::StrikeS, 240.0),
        (Measure::StrikeFromMarkCm, 20.0),
        (Measure::Holes, 3.0),
        (Measure::TurnS, 60.0),
    ];
    assert_eq!(values, expected);
    let besides: Vec<_> = left_out.list().into_iter().map(|l| (l.reason, l.n)).collect();
    assert_eq!(besides, [(reason::CANCELLED.to_owned(), 1), (OTHER_PERSON.to_owned(), 1)]);
    assert!(!serde_json::to_string(&told(&rows)).unwrap().contains("P2"));
}

#[test]
fn call_signs_of_one_member_and_other_names_for_them_are_one_person() {
    let record = record_with(
        r#"
        {"kind":"person","at":"08:00:00","call_sign":"P1","member":"m7"}
        {"kind":"person","at":"08:00:00","call_sign":"Owl","member":"m7"}
        {"kind":"person","at":"08:00:00","call_sign":"P2"}
        {"kind":"drill","at":"10:00:00","label":"1"}
        {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
        {"kind":"moment","at":"10:01:00","drill":"1","step":"signal","person":"owl"}
        {"kind":"moment","at":"10:02:00","drill":"1","step":"coarse","person":"P one"}
        {"kind":"moment","at":"10:03:00","drill":"1","step":"fine","person":"P2"}
    "#,
        &[("alias:person:p one", json!("P1"))],
    );
    let groups = Groups::of(&record);
    let people = DayPeople::of(&View::new(&record, &groups, &RawClocks), &Thresholds::default());
    let values = |name: &str| -> Vec<(Measure, f64)> {
        let who = Who::of(name, &people.sighting(name).into_iter().collect::<Vec<_>>()).unwrap();
        people.rows(&who, &mut Tally::default()).iter().map(|r| (r.what, r.value)).collect()
    };
    let of_member = [(Measure::SignalS, 60.0), (Measure::CoarseS, 120.0)];
    for name in ["P1", " OWL", "p  one"] {
        assert_eq!(values(name), of_member, "{name}");
    }
    assert_eq!(values("P2"), [(Measure::FineS, 180.0)]);
    let elsewhere = Who::CallSign(DayId([9; 16]), "P2".to_owned());
    assert!(people.rows(&elsewhere, &mut Tally::default()).is_empty());
}
