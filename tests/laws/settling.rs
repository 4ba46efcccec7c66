//! Settled on one device, settled everywhere; settled differently at once, a conflict that shows.

use firnbook_core::review::{Choice, Item, Sort, Verdict};
use firnbook_tests::{Phone, map, strike};
use serde_json::{Value, json};

fn items(phone: &Phone, sort: Sort) -> Vec<Item> {
    phone.book.review(phone.day).unwrap().into_iter().filter(|i| i.sort == sort).collect()
}

fn settle(phone: &mut Phone, code: &str, verdict: &Verdict) {
    let codes = [code.to_owned()];
    phone.book.settle(phone.day, Choice::These(&codes), verdict, "Lead", None, false).unwrap();
}

/// Two phones that amended one depth apart and hold both amendments.
fn in_conflict() -> (Phone, Phone) {
    let (mut a, mut b) = (Phone::new("Obs1"), Phone::new("Obs2"));
    let id = a.write(strike(110));
    b.merge(&a);
    a.book.amend(&[(a.day, id)], &map(json!({ "depth_cm": 111 })), "Obs1").unwrap();
    b.book.amend(&[(b.day, id)], &map(json!({ "depth_cm": 113 })), "Obs2").unwrap();
    a.merge(&b);
    b.merge(&a);
    (a, b)
}

fn depth(phone: &Phone) -> Value {
    phone.book.record(phone.day).unwrap().entries[0].json["depth_cm"].clone()
}

#[test]
fn a_conflict_settled_on_one_device_is_settled_everywhere() {
    let (mut a, mut b) = in_conflict();
    let found = items(&a, Sort::Conflict);
    assert_eq!(found, items(&b, Sort::Conflict), "the same items with the same codes");
    assert_eq!((found.len(), found[0].field.as_deref(), found[0].values.len()), (1, Some("depth_cm"), 2));
    let keep = found[0].values.iter().find(|v| v.value == json!(113)).unwrap().code.clone();
    settle(&mut a, &found[0].code, &Verdict::Keep(keep));
    b.merge(&a);
    for phone in [&a, &b] {
        assert!(items(phone, Sort::Conflict).is_empty());
        assert_eq!(depth(phone), json!(113));
    }
}

#[test]
fn two_people_settling_differently_at_once_is_a_conflict_that_shows() {
    let (mut a, mut b) = in_conflict();
    let code = items(&a, Sort::Conflict)[0].code.clone();
    settle(&mut a, &code, &Verdict::Value(json!(112)));
    settle(&mut b, &code, &Verdict::Value(json!(114)));
    a.merge(&b);
    b.merge(&a);
    let again = items(&a, Sort::Conflict);
    assert_eq!(again, items(&b, Sort::Conflict));
    assert_eq!((again.len(), again[0].code.clone()), (1, code), "the same item with the same code");
    let mut values: Vec<i64> = again[0].values.iter().map(|v| v.value.as_i64().unwrap()).collect();
    values.sort_unstable();
    assert_eq!(values, [112, 114]);
}

#[test]
fn twins_settled_in_bulk_are_gone_everywhere_and_a_dry_run_writes_nothing() {
    let (mut a, mut b) = (Phone::new("Obs1"), Phone::new("Obs2"));
    a.write(json!({ "kind": "drill", "label": "1" }));
    a.write(json!({ "kind": "target", "drill": "1", "label": "A" }));
    for n in 0..5 {
        let step = ["signal", "coarse", "fine", "strike", "airway"][n];
        for phone in [&mut a, &mut b] {
            phone.clock.forward_ms(60_000);
            phone.write(json!({ "kind": "moment", "drill": "1", "target": "A", "step": step }));
        }
    }
    a.merge(&b);
    assert_eq!(items(&a, Sort::Twin).len(), 5);
    let day = a.day;
    let told = a.book.settle(day, Choice::All(Sort::Twin), &Verdict::Same, "Lead", None, true).unwrap();
    assert_eq!((told.len(), items(&a, Sort::Twin).len()), (5, 5));
    a.book
        .settle(day, Choice::All(Sort::Twin), &Verdict::Same, "Lead", Some("heard the same call"), false)
        .unwrap();
    b.merge(&a);
    assert!(items(&a, Sort::Twin).is_empty() && items(&b, Sort::Twin).is_empty());
}

#[test]
fn an_accepted_doubt_is_not_raised_again() {
    let mut a = Phone::new("Obs1");
    a.write(json!({ "kind": "drill", "label": "1" }));
    a.write(json!({ "kind": "strike", "drill": "1", "depth_cm": 100, "outcome": "hit" }));
    let doubts = items(&a, Sort::Doubt);
    assert!(!doubts.is_empty());
    for doubt in doubts {
        settle(&mut a, &doubt.code, &Verdict::Accept);
    }
    assert!(items(&a, Sort::Doubt).is_empty());
    let mut b = Phone::bare("Obs2");
    b.merge(&a);
    assert!(items(&b, Sort::Doubt).is_empty());
}
