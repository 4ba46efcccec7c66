//! Depths of a season from rows made by hand.

use super::*;

fn row(target: u64, day: u32, depth_cm: f64) -> DepthRow<'static> {
    DepthRow {
        depth_cm,
        method: Some(Method::Probe),
        datum: Some(Datum::FirstContact),
        direction: Some(Direction::SlopeNormal),
        slope_deg: Some(0.0),
        day,
        target,
        event: None,
        of_strike: false,
        unsettled: false,
        cancelled: false,
        group: None,
    }
}

fn stats(ask: DepthAsk, rows: &[DepthRow<'_>]) -> DepthStats {
    let mut depths = Depths::new(ask);
    rows.iter().for_each(|row| depths.push(row));
    depths.finish(Made::default())
}

fn left_out(stats: &DepthStats) -> Vec<(&str, usize)> {
    stats.left_out.iter().map(|l| (l.reason.as_str(), l.n)).collect()
}

#[test]
fn one_value_a_target_or_each() {
    // Target 1: first contact 100 and 110, airway 130: 105. Target 2: a strike of 90. Target 3: a strike of 70 beside a tape of 80.
    let strike = |target, depth_cm| DepthRow { of_strike: true, ..row(target, 1, depth_cm) };
    let rows = [
        row(1, 1, 100.0),
        row(1, 1, 110.0),
        DepthRow { datum: Some(Datum::Airway), method: Some(Method::Tape), ..row(1, 1, 130.0) },
        strike(2, 90.0),
        strike(3, 70.0),
        DepthRow { method: Some(Method::Tape), datum: None, ..row(3, 2, 80.0) },
    ];
    let one = stats(DepthAsk::default(), &rows);
    let f = &one.figures;
    assert_eq!((f.n, f.n_days, f.min_cm, f.median_cm, f.max_cm), (3, 2, Some(80.0), Some(90.0), Some(105.0)));
    assert!((f.mean_cm.unwrap() - 275.0 / 3.0).abs() < 1e-12);
    assert_eq!(left_out(&one), [(OF_ANOTHER_DATUM, 1)]);
    let counts: Vec<_> = f.datums.iter().map(|d| (d.datum, d.n)).collect();
    assert_eq!(counts, [(Datum::FirstContact, 2), (Datum::Unknown, 1)]);
    assert!(f.median_ci95.is_none() && f.why["median_ci95"].contains("n = 3"));
    let each = stats(DepthAsk { each: true, ..DepthAsk::default() }, &rows);
    assert_eq!((each.figures.n, each.figures.max_cm), (5, Some(130.0)));
    let airway = stats(DepthAsk { datum: Some(Datum::Airway), ..DepthAsk::default() }, &rows);
    assert_eq!((airway.figures.n, airway.figures.median_cm), (1, Some(130.0)));
    // By probe alone the strike of target 3 still stands back: the target has a depth entry.
    let probe = stats(DepthAsk { method: Some(Method::Probe), ..DepthAsk::default() }, &rows);
    assert_eq!((probe.figures.n, probe.figures.min_cm), (2, Some(90.0)));
}

#[test]
fn directions_are_converted_or_left_out() {
    let vertical =
        DepthRow { direction: Some(Direction::Vertical), slope_deg: Some(60.0), ..row(1, 1, 200.0) };
    let rows = [
        vertical,
        DepthRow { slope_deg: None, ..vertical },
        DepthRow { direction: None, ..row(3, 1, 50.0) },
        DepthRow { direction: None, method: Some(Method::Tape), slope_deg: Some(30.0), ..row(4, 1, 50.0) },
        DepthRow { unsettled: true, ..row(5, 1, 50.0) },
        DepthRow { cancelled: true, ..row(6, 1, 50.0) },
        row(7, 1, f64::NAN),
        row(8, 1, 1e200),
    ];
    let found = stats(DepthAsk::default(), &rows);
    // 200 cm straight down under 60 degrees are 100 cm square to the slope.
    assert_eq!((found.figures.n, found.figures.min_cm), (2, Some(50.0)));
    assert!((found.figures.max_cm.unwrap() - 100.0).abs() < 1e-9);
    assert_eq!(found.assumed_direction, 1);
    assert_eq!(
        left_out(&found),
        [(reason::ABSURD, 2), (reason::DIRECTION, 2), (reason::CANCELLED, 1), (reason::CONFLICT, 1)]
    );
}

#[test]
fn twins_count_once_and_readings_apart() {
    let reading = DepthRow { method: Some(Method::Reading), datum: None, ..row(1, 1, 126.0) };
    let rows = [
        DepthRow { event: Some(7), datum: None, ..row(1, 1, 100.0) },
        DepthRow { event: Some(7), method: None, ..row(1, 1, 104.0) },
        reading,
        DepthRow { target: 2, ..reading },
    ];
    let each = stats(DepthAsk { each: true, ..DepthAsk::default() }, &rows);
    assert_eq!((each.figures.n, each.figures.min_cm, each.figures.of_readings), (2, Some(102.0), 1));
    assert_eq!(each.figures.datums[0].datum, Datum::FirstContact);
    assert_eq!(left_out(&each), [(READING_BESIDE_DEPTH, 1)]);
}

#[test]
fn groups_have_figures_of_their_own() {
    let named = |group, row: DepthRow<'static>| DepthRow { group, ..row };
    let rows = [
        named(Some("Red"), row(1, 1, 100.0)),
        named(Some("Blue"), row(2, 1, 50.0)),
        named(Some("Red"), row(3, 2, 120.0)),
        named(None, row(4, 2, 10.0)),
    ];
    let found = stats(DepthAsk { group_by: Some(GroupBy::Team), ..DepthAsk::default() }, &rows);
    let told: Vec<_> =
        found.groups.iter().map(|g| (g.group.as_str(), g.figures.n, g.figures.median_cm)).collect();
    assert_eq!(told, [("Blue", 1, Some(50.0)), ("Red", 2, Some(110.0)), (NOT_SAID, 1, Some(10.0))]);
    assert_eq!(found.figures.n, 4);
}

#[test]
fn the_mean_may_allow_for_days() {
    let rows: Vec<_> =
        (0..8).map(|i| row(i, (i / 4) as u32, 100.0 + (i / 4) as f64 * 20.0 + i as f64)).collect();
    let plain = stats(DepthAsk::default(), &rows).figures;
    let clustered = stats(DepthAsk { cluster_day: true, ..DepthAsk::default() }, &rows).figures;
    let width = |f: &DepthFigures| f.mean_ci95.map(|ci| ci.upper - ci.lower).unwrap();
    assert!(width(&clustered) > 2.0 * width(&plain));
    let one_day: Vec<_> = rows.iter().map(|r| DepthRow { day: 1, ..*r }).collect();
    let refused = stats(DepthAsk { cluster_day: true, ..DepthAsk::default() }, &one_day).figures;
    assert!(refused.mean_ci95.is_none() && refused.why["mean_ci95"].contains("cluster"));
    assert!(plain.median_coverage.unwrap() >= 0.95);
}

#[test]
fn nothing_has_an_answer_without_figures() {
    let empty = serde_json::to_value(stats(DepthAsk::default(), &[])).unwrap();
    assert_eq!((&empty["n"], &empty["mean_cm"]), (&serde_json::json!(0), &serde_json::json!(null)));
    assert!(empty["why"]["mean_cm"].is_string() && !empty.to_string().contains("NaN"));
}
