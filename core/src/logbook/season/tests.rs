//! Rows that are kept: they are taken instead of new ones while the day says the same, and are the same.

use super::*;
use crate::clock::MachineClock;
use crate::logbook::Draft;
use serde_json::{Value, json};

const LINES: [&str; 13] = [
    r#"{"kind":"person","at":"08:00:00","call_sign":"P1","member":"m7","team":"Red"}"#,
    r#"{"kind":"check","at":"08:10:00","person":"P1","transmits":true,"receives":false,"battery_pct":39}"#,
    r#"{"kind":"drill","at":"10:00:00","label":"1","team":"Red","form":"single","slope_deg":30,"limit_s":600,"stops_at":"strike"}"#,
    r#"{"kind":"target","at":"10:00:00","drill":"1","label":"A","set_depth_cm":110,"direction":"slope_normal","orientation":"flat"}"#,
    r#"{"kind":"moment","at":"10:00:00","drill":"1","step":"start"}"#,
    r#"{"kind":"moment","at":"10:01:00","drill":"1","target":"A","step":"signal","person":"P1"}"#,
    r#"{"kind":"interference","at":"10:02:00","drill":"1","source":"phone","distance_cm":20,"lost_s":5}"#,
    r#"{"kind":"strike","at":"10:04:00","drill":"1","target":"A","outcome":"hit","depth_cm":112,"lowest_reading_m":1.3,"person":"P1"}"#,
    r#"{"kind":"depth","at":"10:08:00","drill":"1","target":"A","depth_cm":114.5,"method":"tape","datum":"top","direction":"vertical"}"#,
    r#"{"kind":"depth","at":"10:08:02","drill":"1","target":"A","depth_cm":115,"method":"tape","datum":"top","direction":"vertical","by":"Obs2"}"#,
    r#"{"kind":"rotation","at":"10:05:00","drill":"1","target":"A","front":"P1","ended_at":"10:06:00"}"#,
    r#"{"kind":"moment","at":"10:09:00","drill":"1","target":"A","step":"airway","person":"P1"}"#,
    r#"{"kind":"strike","at":"10:10:00","drill":"1","outcome":"unsure","holes":3}"#,
];

fn day() -> (tempfile::TempDir, Logbook, DayId) {
    let folder = tempfile::tempdir().unwrap();
    let mut book = Logbook::open(&folder.path().join("s"), Box::new(MachineClock)).unwrap();
    let day = book.begin_day("2027-02-06".parse().unwrap(), "Upper Bowl", "Obs1").unwrap().day;
    let drafts = LINES.iter().map(|line| {
        let mut json: Value = serde_json::from_str(line).unwrap();
        for field in ["at", "ended_at"] {
            if let Some(time) = json.get(field).and_then(Value::as_str) {
                json[field] = json!(format!("2027-02-06T{time}.000+01:00"));
            }
        }
        Draft { json: json.as_object().unwrap().clone(), line: None }
    });
    book.log(day, "Obs1", drafts.collect(), false).unwrap();
    (folder, book, day)
}

/// What a day gives to a question as JSON, and whether it was made anew; what is made is kept.
fn asked<R: Serialize + DeserializeOwned>(
    book: &Logbook,
    question: &Question<R>,
    day: DayId,
) -> (Value, bool) {
    let mut fresh = Vec::new();
    let of_day = book.of_day(question, day, &Thresholds::default(), &mut fresh).unwrap();
    let anew = !fresh.is_empty();
    book.keep(&mut fresh);
    (serde_json::to_value(&of_day).unwrap(), anew)
}

fn is_kept<R: Serialize + DeserializeOwned>(question: &Question<R>) {
    let (_folder, mut book, day) = day();
    let (first, anew) = asked(&book, question, day);
    assert!(anew && first["rows"].to_string().len() > 20, "{}: {first}", question.name);
    assert_eq!(asked(&book, question, day), (first, false), "{}", question.name);
    let later = json!({"kind": "note", "at": "2027-02-06T12:00:00.000+01:00", "note": "clear calls"});
    let later = Draft { json: later.as_object().unwrap().clone(), line: None };
    book.log(day, "Obs1", vec![later], false).unwrap();
    assert!(asked(&book, question, day).1, "{}: the day says more", question.name);
}

#[test]
fn rows_are_kept_for_every_question_while_the_day_says_the_same() {
    is_kept(&RUNS);
    is_kept(&FOUND);
    is_kept(&SET);
    is_kept(&METHODS);
    is_kept(&CHECKS);
    is_kept(&DIGGING);
    is_kept(&INTERFERENCE);
    is_kept(&PEOPLE);
}
