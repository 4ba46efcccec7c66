//! Questions to `core::clock`: exchanges, shared moments, and the clocks of a whole day.

use super::entry::object;
use firnbook_core::clock::offset::{Exchange, Offset, drifted};
use firnbook_core::clock::{Clock, shared_offset};
use firnbook_core::entry::Time;
use firnbook_core::logbook::{Draft, Logbook};
use serde_json::{Value, json};

/// Answers `name` with the other members of `question` as its arguments.
pub fn answer(name: &str, question: &Value) -> Result<Value, String> {
    let numbers = |field: &str| -> Result<Vec<f64>, String> {
        serde_json::from_value(question[field].clone()).map_err(|e| format!("{field}: {e}"))
    };
    match name {
        "exchange" => Ok(json!(exchange(&question["t_ms"])?.offset())),
        "best" => {
            let all = question["exchanges"].as_array().ok_or("exchanges is missing")?;
            let all: Vec<Exchange> = all.iter().map(exchange).collect::<Result<_, _>>()?;
            Ok(json!(Offset::best(&all)))
        }
        "drifted" => {
            let number = |field: &str| question[field].as_f64().ok_or_else(|| format!("{field} is missing"));
            Ok(json!(drifted(number("uncertainty_ms")?, number("apart_ms")?)))
        }
        "shared" => {
            let floor_ms = question["floor_ms"].as_f64().ok_or("floor_ms is missing")?;
            let shared = shared_offset(&numbers("apart_ms")?, floor_ms).ok_or("no moment")?;
            Ok(
                json!({ "offset_ms": shared.offset_ms, "uncertainty_ms": shared.uncertainty_ms, "n": shared.n }),
            )
        }
        "table" => table(question),
        _ => Err(format!("clock does not answer {name}")),
    }
}

fn exchange(t_ms: &Value) -> Result<Exchange, String> {
    let [t1_ms, t2_ms, t3_ms, t4_ms]: [i64; 4] =
        serde_json::from_value(t_ms.clone()).map_err(|e| e.to_string())?;
    Ok(Exchange { t1_ms, t2_ms, t3_ms, t4_ms })
}

/// A clock that shows the morning of the day for ever; entries bring their own times.
struct Morning;

impl Clock for Morning {
    fn now(&self) -> Time {
        Time::from_millis(1_801_904_400_000, 60).unwrap_or_else(|| unreachable!("a time of this century"))
    }
}

/// The clocks of a day into which each phone of `phones` wrote its own entries, merged by the first.
fn table(question: &Value) -> Result<Value, String> {
    let phones = question["phones"].as_array().ok_or("phones is missing")?;
    let folder = tempfile::tempdir().map_err(|e| e.to_string())?;
    let date = chrono::NaiveDate::from_ymd_opt(2027, 2, 6).ok_or("no date")?;
    let mut books = Vec::new();
    for (n, entries) in phones.iter().enumerate() {
        let mut book = Logbook::open(&folder.path().join(format!("{n}")), Box::new(Morning))
            .map_err(|e| e.to_string())?;
        let day = book.begin_day(date, "Upper Bowl", "Obs").map_err(|e| e.to_string())?.day;
        let entries = entries.as_array().ok_or("a phone is a list of entries")?;
        let draft =
            |entry: &Value| Ok(Draft { json: object(&json!({ "entry": entry }))?.clone(), line: None });
        let drafts: Vec<Draft> = entries.iter().map(draft).collect::<Result<_, &str>>()?;
        book.log(day, &format!("Obs{n}"), drafts, false).map_err(|e| e.to_string())?;
        books.push((book, day));
    }
    let (mut base, day) = books.remove(0);
    for (book, day) in &books {
        let pack = book.pack(&[*day]).map_err(|e| e.to_string())?;
        base.merge(&pack.bytes, false).map_err(|e| e.to_string())?;
    }
    Ok(json!(base.clocks(day).map_err(|e| e.to_string())?))
}
