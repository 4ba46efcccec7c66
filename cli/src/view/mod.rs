//! How answers look in a terminal: tables, bars, time lines, and the spelling of ids, times and numbers.

pub mod canvas;
pub mod field;
pub mod forest;
pub mod histogram;
pub mod lanes;
pub mod steps;
pub mod table;
pub mod timeline;

use firnbook_core::entry::{EntryId, Time};
use serde::Serialize;
use serde_json::Value;

/// How many characters of the end of an id are shown: enough to be unique in a store of any real size.
const ENDING: usize = 6;

/// The end of an id, as it is shown and typed.
#[must_use]
pub fn id(id: EntryId) -> String {
    id.to_string().split_off(26 - ENDING)
}

/// The ends of several ids.
#[must_use]
pub fn ids(several: &[EntryId]) -> String {
    several.iter().map(|i| id(*i)).collect::<Vec<_>>().join(" ")
}

/// The time of day, to the second.
#[must_use]
pub fn clock_time(at: Time) -> String {
    at.datetime().format("%H:%M:%S").to_string()
}

/// Minutes and seconds, as a stopwatch shows them; a dash where there are none.
#[must_use]
pub fn stopwatch(seconds: Option<f64>) -> String {
    let Some(seconds) = seconds else { return "–".to_owned() };
    let whole = seconds.abs().round() as u64;
    format!("{}{}:{:02}", if seconds < 0.0 && whole > 0 { "-" } else { "" }, whole / 60, whole % 60)
}

/// A number with at most one decimal, without a needless one.
#[must_use]
pub fn number(n: f64) -> String {
    // Adding nothing makes -0 a plain 0.
    let rounded = (n * 10.0).round() / 10.0 + 0.0;
    rounded.to_string()
}

/// A number or a dash.
#[must_use]
pub fn maybe(n: Option<f64>) -> String {
    n.map_or_else(|| "–".to_owned(), number)
}

/// "1 entry", "2 entries".
#[must_use]
pub fn counted(n: usize, one: &str, several: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {several}") }
}

/// A JSON value as a person reads it.
#[must_use]
pub fn value(value: &Value) -> String {
    match value {
        Value::Null => "nothing".to_owned(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        Value::String(text) => text.clone(),
        // 112.0 is written down where a program had a fraction to write and there was none.
        Value::Number(number) if number.is_f64() => number.as_f64().unwrap_or_default().to_string(),
        Value::Array(list) if list.iter().all(Value::is_string) => {
            list.iter().filter_map(Value::as_str).collect::<Vec<_>>().join(", ")
        }
        other => shortened(&other.to_string(), 60),
    }
}

/// A word of one of the log's own lists, as a person reads it.
#[must_use]
pub fn word(of: &impl Serialize) -> String {
    let json = serde_json::to_value(of).ok();
    json.as_ref().and_then(Value::as_str).unwrap_or_default().replace('_', " ")
}

/// A text cut to so many characters, with a mark where it was cut.
#[must_use]
pub fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    text.chars().take(most.saturating_sub(1)).chain(['…']).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_as_a_stopwatch_shows_them() {
        assert_eq!(stopwatch(Some(0.4)), "0:00");
        assert_eq!(stopwatch(Some(200.0)), "3:20");
        assert_eq!(stopwatch(Some(3725.0)), "62:05");
        assert_eq!(stopwatch(Some(-3.0)), "-0:03");
        assert_eq!(stopwatch(Some(-0.3)), "0:00");
        assert_eq!(stopwatch(None), "–");
    }

    #[test]
    fn numbers_without_needless_decimals() {
        assert_eq!([number(110.0), number(110.26), number(-0.04)], ["110", "110.3", "0"].map(str::to_owned));
    }
}
