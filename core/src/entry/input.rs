//! What a person types, into the value a field keeps: flags, forms and CSV cells.

use super::check::{Fault, check_value};
use super::table::{Field, Shape};
use super::time::Time;
use crate::units::read_quantity;
use chrono::{FixedOffset, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, TimeZone};
use serde_json::{Number, Value, json};

/// What a typed time is measured from.
#[derive(Clone, Copy, Debug)]
pub struct TimeContext {
    /// The present instant, for `-0:30` (half a minute ago).
    pub now: Time,
    /// The date of the day, for `10:08:20` and `1008`.
    pub date: NaiveDate,
    /// The day's offset from UTC.
    pub offset: FixedOffset,
    /// The start of the drill, for `+8:20`.
    pub drill_start: Option<Time>,
}

impl TimeContext {
    /// Reads a time: RFC 3339 (without a zone: in that of the day), `10:08:20`, `10:08`, `1008`, `100820`, `+8:20` (since the drill's start), `-0:30` (ago).
    ///
    /// # Errors
    /// What was typed and what would be understood.
    pub fn read(&self, text: &str) -> Result<Time, String> {
        let text = text.trim();
        if let Some(since) = text.strip_prefix('+') {
            let start = self.drill_start.ok_or_else(|| {
                format!("\"{text}\" counts from the drill's start, and no start is known for it; write the time of day")
            })?;
            return span(since).and_then(|d| shift(start, d)).ok_or_else(|| not_understood(text));
        }
        if let Some(ago) = text.strip_prefix('-') {
            return span(ago).and_then(|d| shift(self.now, -d)).ok_or_else(|| not_understood(text));
        }
        if text.contains('T') || text.contains('t') || text.len() > 12 {
            return self.local(text).map_or_else(|| Time::parse(text), Ok);
        }
        let time = clock_time(text).ok_or_else(|| not_understood(text))?;
        let local = self.offset.from_local_datetime(&self.date.and_time(time)).single();
        local.map(Time::new).ok_or_else(|| not_understood(text))
    }

    /// A date with a time that says no zone, in that of the day.
    #[must_use]
    pub fn local(&self, text: &str) -> Option<Time> {
        let local = text.replacen([' ', 't'], "T", 1);
        let forms = ["%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%dT%H:%M"];
        let read = forms.iter().find_map(|form| NaiveDateTime::parse_from_str(&local, form).ok())?;
        self.offset.from_local_datetime(&read).single().map(Time::new)
    }
}

fn not_understood(text: &str) -> String {
    format!(
        "\"{text}\" is no time; write 10:08:20, 1008, +8:20 since start, -0:30 ago, or RFC 3339 with an offset"
    )
}

fn shift(at: Time, by: TimeDelta) -> Option<Time> {
    at.datetime().checked_add_signed(by).map(Time::new)
}

/// `8:20` is minutes and seconds, `1:08:20` hours, minutes and seconds; seconds may have a fraction.
fn span(text: &str) -> Option<TimeDelta> {
    let parts: Vec<&str> = text.split(':').collect();
    let (hours, minutes, seconds) = match parts.as_slice() {
        [m, s] => ("0", *m, *s),
        [h, m, s] => (*h, *m, *s),
        _ => return None,
    };
    let seconds: f64 = seconds.parse().ok().filter(|s| (0.0..60.0).contains(s))?;
    let whole = i64::from(hours.parse::<u16>().ok()?) * 3600 + i64::from(minutes.parse::<u16>().ok()?) * 60;
    Some(TimeDelta::seconds(whole) + TimeDelta::milliseconds((seconds * 1000.0).round() as i64))
}

fn clock_time(text: &str) -> Option<NaiveTime> {
    let digits = text.chars().all(|c| c.is_ascii_digit());
    let spelled = match (digits, text.len()) {
        (true, 3) => format!("0{}:{}:00", &text[..1], &text[1..]),
        (true, 4) => format!("{}:{}:00", &text[..2], &text[2..]),
        (true, 6) => format!("{}:{}:{}", &text[..2], &text[2..4], &text[4..]),
        (true, _) => return None,
        (false, _) if text.matches(':').count() == 1 => format!("{text}:00"),
        (false, _) => text.to_owned(),
    };
    NaiveTime::parse_from_str(&spelled, "%H:%M:%S%.f").ok()
}

/// Reads what a person typed for `field` and checks it; units are converted once, here.
///
/// # Errors
/// A [`Fault`] with what was typed, why it does not do and what would.
pub fn from_text(field: &Field, text: &str, times: &TimeContext) -> Result<Value, Fault> {
    let fault = |why: String| Fault::new(&field.name, text, why);
    let value = match &field.shape {
        Shape::Text(_) => json!(text),
        Shape::Label(_) => json!(text.trim()),
        Shape::Labels(_) => text.split([',', ';']).map(str::trim).filter(|s| !s.is_empty()).collect(),
        Shape::Time => json!(times.read(text).map_err(|why| Fault::new(&field.name, "", why))?),
        Shape::Number => number(match field.unit {
            Some(unit) => {
                read_quantity(text, unit).map_err(|e| Fault::new(&field.name, "", e.to_string()))?
            }
            None => text
                .trim()
                .parse()
                .ok()
                .filter(|n: &f64| n.is_finite())
                .ok_or_else(|| fault("is no number".to_owned()))?,
        }),
        Shape::Integer => {
            json!(text.trim().parse::<i64>().map_err(|_| fault("is no whole number".to_owned()))?)
        }
        Shape::Flag => match text.trim().to_lowercase().as_str() {
            "true" | "yes" | "y" | "1" => json!(true),
            "false" | "no" | "n" | "0" => json!(false),
            _ => return Err(fault("is neither yes nor no".to_owned())),
        },
        Shape::Choice(words) => json!(choice(words, text)),
        Shape::Json => serde_json::from_str(text).map_err(|e| fault(format!("is no JSON: {e}")))?,
    };
    match check_value(field, &value) {
        Some(found) => Err(found),
        None => Ok(value),
    }
}

/// The word that is typed; its beginning up to a space is enough where no other word begins so: `false` for `false_strike`.
fn choice(words: &[(String, String)], text: &str) -> String {
    let typed = text.trim().to_lowercase().replace([' ', '-'], "_");
    let is_word = words.iter().any(|(word, _)| *word == typed);
    let longer = |word: &&String| word.strip_prefix(&typed).is_some_and(|rest| rest.starts_with('_'));
    let begun: Vec<&String> = words.iter().map(|(word, _)| word).filter(longer).collect();
    match begun.as_slice() {
        [only] if !is_word => (*only).clone(),
        _ => typed,
    }
}

/// 110 and not 110.0: whole numbers are written without a fraction, as people write them.
fn number(n: f64) -> Value {
    if n.fract() == 0.0 && n.abs() < 9e15 {
        json!(n as i64)
    } else {
        Number::from_f64(n).map_or(Value::Null, Value::Number)
    }
}
