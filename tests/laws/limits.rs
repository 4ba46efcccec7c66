//! What is written can be read for ever: odd and endless values are refused when they are written. What arrives by merge is kept.

use firnbook_core::logbook::LogbookError;
use firnbook_core::review::{Choice, Sort, Verdict};
use firnbook_tests::rogue::{Rogue, body, ulid};
use firnbook_tests::{Phone, map, strike};
use serde_json::{Value, json};

/// Two bytes a character: more than an entry may have, less than a line of a file.
const ENDLESS: usize = 600_000;

fn endless() -> String {
    "é".repeat(ENDLESS)
}

fn refused(error: LogbookError, says: &str) {
    assert!(matches!(error, LogbookError::Refused(_)), "{error}");
    assert!(error.to_string().contains(says), "{error}");
}

#[test]
fn an_amendment_that_could_not_be_read_is_refused() {
    let mut a = Phone::new("Lead");
    let id = a.write(json!({ "kind": "drill", "label": "1", "outline": [[0, 0], [1, 0], [1, 1]] }));
    let mut amend = |value: Value| a.book.amend(&[(a.day, id)], &map(json!({ "outline": value })), "Lead");
    refused(amend(json!("abc")).unwrap_err(), "is no outline");
    refused(amend(json!({})).unwrap_err(), "is no outline");
    assert_eq!(amend(json!([[0, 0], [2, 0], [2, 2]])).unwrap().changed, [id]);
}

#[test]
fn an_entry_of_another_program_is_read_or_refused() {
    let mut a = Phone::new("Lead");
    let line = |holes: Value| {
        let at = "2027-02-06T10:08:20.000+01:00";
        json!({ "id": ulid(1), "kind": "strike", "at": at, "by": "Lead", "drill": "1", "holes": holes })
    };
    refused(a.try_write(line(json!(7.0))).unwrap_err(), "without a decimal point");
    a.write(line(json!(7)));
    assert!(a.book.record(a.day).unwrap().entries[0].entry.is_some());
}

#[test]
fn nothing_endless_is_written() {
    let mut a = Phone::new("Lead");
    let id = a.write(strike(110));
    let note = json!({ "kind": "note", "note": endless() });
    refused(a.try_write(note).unwrap_err(), "longer than 10,000 characters");
    let common =
        json!({ "id": ulid(1), "at": "2027-02-06T10:08:20.000+01:00", "by": "Lead", "tomorrow": endless() });
    for more in [json!({ "kind": "strike", "drill": "1" }), json!({ "kind": "kind_of_tomorrow" })] {
        let mut entry = map(common.clone());
        entry.extend(map(more));
        refused(a.try_write(Value::Object(entry)).unwrap_err(), "1 MiB");
    }
    refused(a.book.void(&[(a.day, id)], Some(&endless()), "Lead").unwrap_err(), "1 MiB");
    refused(a.book.close_day(a.day, Some(&endless()), "Lead").unwrap_err(), "1 MiB");
    refused(a.book.begin_day(firnbook_tests::date(), &endless(), "Lead").unwrap_err(), "200 characters");
    assert_eq!((a.book.days().unwrap().len(), a.book.record(a.day).unwrap().entries.len()), (1, 1));
    assert!(a.book.record(a.day).unwrap().entries[0].void.is_none());
}

#[test]
fn what_arrives_is_kept_whatever_it_holds() {
    let rogue = Rogue::new(7);
    let (id, text) = body(1, 110);
    let mut long = map(serde_json::from_str(&text).unwrap());
    long.insert("note".to_owned(), json!(endless()));
    long.insert("holes".to_owned(), json!(7.0));
    let change = rogue.change(1, None, &[(id, Value::Object(long).to_string())]);
    let cover = rogue.cover(&[&change]);
    let mut a = Phone::new("Lead");
    a.book.merge(&rogue.pack(vec![change], vec![cover], Vec::new()), false).unwrap();
    let held = a.book.record(a.day).unwrap();
    assert_eq!(held.entries[0].json["note"].as_str().map(str::len), Some(2 * ENDLESS));
    let mut b = Phone::new("Base");
    b.merge(&a);
    assert_eq!(b.book.record(b.day).unwrap().entries, held.entries);
}

#[test]
fn a_target_of_the_longest_labels_is_settled_like_any_other() {
    // Of all characters this one takes the most bytes when labels are compared.
    let label = "\u{1d160}".repeat(200);
    let target = |cm: u32| json!({ "kind": "target", "drill": label, "label": label, "set_depth_cm": cm });
    let (mut a, mut b) = (Phone::new("Obs1"), Phone::new("Obs2"));
    a.write(target(100));
    b.write(target(120));
    a.merge(&b);
    let items = a.book.review(a.day).unwrap();
    let conflict = items.iter().find(|i| i.sort == Sort::Conflict).unwrap();
    assert!(conflict.item.len() > 4_800, "{} bytes", conflict.item.len());
    let codes = [conflict.code.clone()];
    a.book.settle(a.day, Choice::These(&codes), &Verdict::Value(json!(110)), "Lead", None, false).unwrap();
    b.merge(&a);
    assert!(b.book.review(b.day).unwrap().iter().all(|i| i.sort != Sort::Conflict));
}

#[test]
fn an_area_is_one_line_that_an_invitation_can_carry() {
    let mut a = Phone::new("Lead");
    let date = "2027-02-07".parse().unwrap();
    for area in ["é".repeat(201), "Upper\nBowl".to_owned()] {
        let error = a.book.begin_day(date, &area, "Lead").unwrap_err();
        refused(error, "area");
    }
    a.book.begin_day(date, &"é".repeat(200), "Lead").unwrap();
}
