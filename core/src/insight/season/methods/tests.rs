//! Ways of measuring against each other, from rows made by hand.

use super::super::super::testing::record;
use super::*;
use crate::clock::RawClocks;
use crate::day::Groups;
use serde_json::json;

fn row(values: &[(Way, Datum, f64)]) -> MethodRow {
    let value = |(way, datum, slope_normal_cm): &(Way, Datum, f64)| MethodValue {
        way: *way,
        datum: *datum,
        slope_normal_cm: *slope_normal_cm,
    };
    MethodRow {
        date: "2027-02-06".parse().unwrap(),
        area: "Upper Bowl".to_owned(),
        form: None,
        team: None,
        orientation: None,
        values: values.iter().map(value).collect(),
    }
}

fn asked(rows: &[MethodRow]) -> Methods {
    methods(rows, None, &Thresholds::default(), Basis::default()).unwrap()
}

fn of(methods: &Methods, a: Way, b: Way) -> &Pair {
    methods.pairs.iter().find(|p| (p.a, p.b) == (a, b)).unwrap()
}

#[test]
fn one_pair_a_target_a_minus_b() {
    use Datum::{FirstContact, Unknown};
    let two = |a: f64, b: f64| row(&[(Way::Reading, Unknown, a), (Way::Probe, FirstContact, b)]);
    // Differences 20, 30 and 40 cm: bias 30, sd 10, limits 10.4 and 49.6; ratios 1.2, 1.25 and 1.4.
    let methods = asked(&[two(120.0, 100.0), two(150.0, 120.0), two(140.0, 100.0)]);
    let pair = of(&methods, Way::Reading, Way::Probe);
    assert_eq!((pair.n, pair.bias_cm, pair.sd_cm), (3, Some(30.0), Some(10.0)));
    assert!((pair.lower_cm.unwrap() - 10.4).abs() < 1e-9 && (pair.upper_cm.unwrap() - 49.6).abs() < 1e-9);
    assert_eq!((pair.ratio.n, pair.ratio.median, pair.ratio.ci95), (3, Some(1.25), None));
    assert!(pair.why.0["ratio_ci95"].contains("n = 3") && pair.few.is_some());
    // Slopes between targets that differ in b: (150 - 120) / 20 and (150 - 140) / 20; median 1; 140 - 1 * 100.
    assert_eq!((pair.slope, pair.intercept_cm), (Some(1.0), Some(40.0)));
    let none = of(&methods, Way::Tape, Way::Set);
    assert_eq!((none.n, none.bias_cm, none.ratio.median), (0, None, None));
    assert!(none.why.0["bias_cm"].contains("there are 0"));
}

#[test]
fn probe_and_tape_are_compared_at_one_point_of_the_target() {
    use Datum::{Airway, FirstContact, Top};
    let rows = [
        // Two points in common, the airway with more values.
        row(&[
            (Way::Probe, FirstContact, 100.0),
            (Way::Probe, Airway, 110.0),
            (Way::Tape, FirstContact, 99.0),
            (Way::Tape, Airway, 121.0),
            (Way::Tape, Airway, 123.0),
        ]),
        row(&[(Way::Probe, FirstContact, 100.0), (Way::Tape, Top, 90.0)]),
        row(&[(Way::Probe, Top, 80.0), (Way::Tape, Top, 90.0)]),
    ];
    let methods = asked(&rows);
    let pair = of(&methods, Way::Probe, Way::Tape);
    // 110 - 122 and 80 - 90.
    assert_eq!((pair.n, pair.bias_cm), (2, Some(-11.0)));
    assert_eq!(
        (methods.footing.left_out[0].reason.as_str(), methods.footing.left_out[0].n),
        (OTHER_DATUM, 1)
    );
}

#[test]
fn equal_and_zero_depths_have_sentences() {
    use Datum::Unknown;
    let zero = row(&[(Way::Reading, Unknown, 50.0), (Way::Set, Unknown, 0.0)]);
    let methods = asked(&vec![zero; 7]);
    let pair = of(&methods, Way::Reading, Way::Set);
    assert_eq!((pair.n, pair.bias_cm, pair.sd_cm, pair.slope), (7, Some(50.0), Some(0.0), None));
    assert!(pair.why.0["slope"].contains("same") && pair.why.0["ratio"].contains("above 0"));
    let equal = asked(&vec![row(&[(Way::Tape, Unknown, 50.0), (Way::Set, Unknown, 50.0)]); 7]);
    let pair = of(&equal, Way::Tape, Way::Set);
    assert!(pair.why.0["concordance"].contains("same"));
    assert_eq!((pair.ratio.median, pair.ratio.ci95.map(|c| c.upper)), (Some(1.0), Some(1.0)));
}

#[test]
fn a_day_gives_each_target_once() {
    let record = record(
        r#"
        {"kind":"drill","at":"10:00:00","label":"1","team":"Red","slope_deg":60}
        {"kind":"target","at":"10:00:00","drill":"1","label":"A","set_depth_cm":200,"direction":"vertical","orientation":"flat"}
        {"kind":"strike","at":"10:08:00","drill":"1","target":"A","outcome":"hit","depth_cm":96,"lowest_reading_m":1.3}
        {"kind":"depth","at":"10:20:00","drill":"1","target":"A","depth_cm":210,"method":"tape","datum":"first_contact","direction":"vertical"}
        {"kind":"drill","at":"11:00:00","label":"2","team":"Blue","like":"1"}
        {"kind":"strike","at":"11:08:00","drill":"2","target":"A","outcome":"hit","depth_cm":98}
        {"kind":"drill","at":"12:00:00","label":"3","team":"Blue","like":"1"}
        {"kind":"strike","at":"12:08:00","drill":"3","target":"A","outcome":"hit","depth_cm":20}
        {"kind":"moment","at":"12:09:00","drill":"3","step":"end","why":"cancelled"}
        {"kind":"depth","at":"12:20:00","drill":"2","target":"A","depth_cm":50,"direction":"slope_normal"}
    "#,
    );
    let groups = Groups::of(&record);
    let view = View::new(&record, &groups, &RawClocks);
    let mut left_out = Tally::default();
    let rows = method_rows(&view, &mut left_out);
    assert_eq!((rows.len(), rows[0].orientation), (1, Some(Orientation::Flat)));
    let methods = asked(&rows);
    let value = |a, b| rows[0].pair(a, b).unwrap().unwrap();
    // 200 cm straight down under 60 degrees are 100 square to the slope; the two hits have the median 97.
    assert!((value(Way::Probe, Way::Set).0 - 97.0).abs() < 1e-9);
    assert!((value(Way::Probe, Way::Set).1 - 100.0).abs() < 1e-9);
    assert!((value(Way::Probe, Way::Tape).1 - 105.0).abs() < 1e-9);
    assert_eq!(value(Way::Reading, Way::Probe).0, 130.0);
    assert_eq!(methods.n, 1);
    let told: Vec<_> = left_out.list().into_iter().map(|l| (l.reason, l.n)).collect();
    assert_eq!(told, [(NO_METHOD.to_owned(), 1), (reason::CANCELLED.to_owned(), 1)]);
    let by_writer = self::methods(&rows, Some(GroupBy::Writer), &Thresholds::default(), Basis::default());
    assert!(by_writer.unwrap_err().to_string().contains("methods can't be grouped by writer"));
    let answer = serde_json::to_value(&methods).unwrap();
    assert_eq!(answer["pairs"][0]["a"], json!("reading"));
}
