//! Questions to `core::insight::season`: rows as they are in JSON, a row's missing members taken from an empty one.

use firnbook_core::entry::Step;
use firnbook_core::insight::season::checks::checks;
use firnbook_core::insight::season::digging::digging;
use firnbook_core::insight::season::footing::Basis;
use firnbook_core::insight::season::interference::interference;
use firnbook_core::insight::season::methods::methods;
use firnbook_core::insight::season::person::person;
use firnbook_core::insight::season::times::{TimesAsk, times};
use firnbook_core::insight::thresholds::Thresholds;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value, json};

/// Answers `name` with the other members of `question` as its arguments.
pub fn answer(name: &str, question: &Value) -> Result<Value, String> {
    let thresholds = Thresholds::default();
    let group_by = take(question, "group_by")?;
    let basis = Basis::default();
    match name {
        "times" => {
            let (horizon_s, test) = (take(question, "horizon_s")?, take(question, "test")?);
            give(times(&rows(question, "runs")?, &TimesAsk { group_by, horizon_s, test, thresholds }, basis))
        }
        "methods" => give(methods(&rows(question, "rows")?, group_by, &thresholds, basis)),
        "checks" => give(checks(&rows(question, "rows")?, group_by, &thresholds, basis)),
        "digging" => {
            give(digging(&rows(question, "turns")?, &rows(question, "runs")?, group_by, &thresholds, basis))
        }
        "interference" => {
            let (written, runs) = (rows(question, "rows")?, rows(question, "runs")?);
            give(interference(&written, &runs, Step::Strike, group_by, &thresholds, basis))
        }
        "person" => give(person(&rows(question, "rows")?, group_by, &thresholds, basis)),
        _ => Err(format!("season does not answer {name}")),
    }
}

/// The rows under `field`, each laid over a row of drill 1 on one day that says nothing else.
fn rows<T: DeserializeOwned>(question: &Value, field: &str) -> Result<Vec<T>, String> {
    let empty = json!({
        "day": "00112233445566778899aabbccddeeff", "date": "2027-02-06", "area": "Upper Bowl", "drill": "1", "target": "A", "targets": 1,
        "started_at": "2027-02-06T10:05:00.000+01:00", "paused_s": 0.0, "people_dug": 0, "writer": "Obs1", "call_sign": "P1", "failed": [], "not_tested": []
    });
    let laid = |row: Map<String, Value>| {
        let mut whole = empty.clone();
        whole.as_object_mut().into_iter().for_each(|map| map.extend(row.clone()));
        serde_json::from_value(whole).map_err(|error| format!("{field}: {error}"))
    };
    take::<Vec<Map<String, Value>>>(question, field)?.into_iter().map(laid).collect()
}

fn take<T: DeserializeOwned>(question: &Value, field: &str) -> Result<T, String> {
    serde_json::from_value(question[field].clone()).map_err(|error| format!("{field}: {error}"))
}

fn give(result: Result<impl Serialize, impl ToString>) -> Result<Value, String> {
    result.map(|answer| json!(answer)).map_err(|refused| refused.to_string())
}
