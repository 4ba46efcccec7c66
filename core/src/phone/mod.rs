//! How core's values cross to Kotlin, Swift and Python: what each plain type is there, and what is refused on the way in. Records and
//! enumerations cross by the derives at their own declarations; only what is no record stands here.

mod refused;

pub use refused::{FirnbookError, Sought};

use crate::crew::Invitation;
use crate::day::{DayId, DeviceId};
use crate::entry::{CallSign, DrillLabel, EntryId, ItemLabel, TargetLabel, Time};
use crate::exchange::LanError;
use crate::insight::season::footing::Why;
use crate::logbook::CrewError;
use crate::units::{Centimetres, Degrees, KilogramsPerCubicMetre, Metres, Milliseconds, Percent, Seconds};
use chrono::{DateTime, Datelike, NaiveDate, TimeDelta};
use serde_json::{Map, Value};
use std::collections::{BTreeMap, HashMap};
use std::net::IpAddr;

/// A calendar date; `datetime.date` in Python, `LocalDate` in Kotlin, text as 2027-02-06 in Swift.
pub type Date = NaiveDate;
/// How many.
pub type Count = usize;
/// Two numbers that belong together: a point, an interval, a length and a width.
pub type Two = [f64; 2];
/// The smallest and the largest of some counts.
pub type CountRange = [usize; 2];
/// Texts by name.
pub type Texts = BTreeMap<String, String>;
/// Numbers by name.
pub type Numbers = BTreeMap<String, f64>;
/// Any JSON value, as text.
pub type Json = Value;
/// A JSON object, as text: fields that this version has no name for.
pub type JsonObject = Map<String, Value>;

/// Words of the program itself. They only come out: no call takes them in.
pub type Words = &'static str;

uniffi::custom_type!(Words, String, {
    remote,
    lower: |words| words.to_owned(),
    try_lift: |text| Err(FirnbookError::value("Words", text, "only comes out of the log").into()),
});

macro_rules! quantities {
    ($($name:ident),+) => {
        $(uniffi::custom_type!($name, f64, {
            lower: |quantity| quantity.0,
            try_lift: |number| Ok($name(finite(number, stringify!($name))?)),
        });)+
    };
}

quantities!(Centimetres, Metres, Degrees, Percent, Seconds, Milliseconds, KilogramsPerCubicMetre);

/// JSON has no way to write them, and a field that silently goes missing is worse than a refusal.
fn finite(number: f64, what: &str) -> Result<f64, FirnbookError> {
    if number.is_finite() {
        return Ok(number);
    }
    Err(FirnbookError::value(what, number, "is no number that can be measured; leave the field out instead"))
}

macro_rules! texts {
    ($($name:ident),+) => {
        $(uniffi::custom_type!($name, String, {
            lower: |value| value.to_string(),
            try_lift: |text| text.parse::<$name>().map_err(|why| FirnbookError::value(stringify!($name), &text, why).into()),
        });)+
    };
}

texts!(DayId, DeviceId, EntryId);

macro_rules! labels {
    ($($name:ident),+) => {
        $(uniffi::custom_newtype!($name, String);)+
    };
}

uniffi::custom_type!(IpAddr, String, {
    remote,
    lower: |address| address.to_string(),
    try_lift: |text| text.parse().map_err(|why| FirnbookError::value("IpAddr", &text, why).into()),
});

// As it is shown and scanned; as secret as a key.
uniffi::custom_type!(Invitation, String, {
    lower: |invitation| invitation.to_text(),
    try_lift: |text| Invitation::read(&text).map_err(|why| FirnbookError::from(CrewError::from(why)).into()),
});

// As a sentence: it only tells how somebody else's exchange ended.
uniffi::custom_type!(LanError, String, {
    lower: |error| FirnbookError::from(error).to_string(),
    try_lift: |text| Err(FirnbookError::value("LanError", text, "only comes out of the log").into()),
});

labels!(CallSign, DrillLabel, TargetLabel, ItemLabel);

uniffi::custom_type!(Time, String, {
    lower: |time| time.to_string(),
    try_lift: |text| Ok(to_the_millisecond(&text).map_err(|why| FirnbookError::value("Time", &text, why))?),
});

/// Rounds: languages that keep an instant as a binary fraction hand over 0.1229999 s where 0.123 s is meant.
fn to_the_millisecond(text: &str) -> Result<Time, String> {
    let cut = Time::parse(text)?;
    let half = TimeDelta::microseconds(500);
    Ok(DateTime::parse_from_rfc3339(text)
        .ok()
        .and_then(|at| at.checked_add_signed(half))
        .map_or(cut, Time::new))
}

uniffi::custom_type!(Date, String, {
    remote,
    lower: |date| date.to_string(),
    try_lift: |text| {
        // Other languages have no dates beyond these years, and a time of the log has none either.
        let date = text.parse::<NaiveDate>().ok().filter(|date| (1..=9999).contains(&date.year()));
        date.ok_or_else(|| FirnbookError::value("Date", &text, "is no date of the years 1 to 9999; write it as 2027-02-06").into())
    },
});

uniffi::custom_type!(Count, u64, {
    remote,
    lower: |count| count as u64,
    try_lift: |count| usize::try_from(count).map_err(|_| FirnbookError::value("Count", count, "is more than this device can count").into()),
});

uniffi::custom_type!(Two, Vec<f64>, {
    remote,
    lower: |two| two.to_vec(),
    try_lift: |list| {
        let [a, b] = <[f64; 2]>::try_from(list).map_err(|list| {
            FirnbookError::value("Two", format!("{list:?}"), "must be two numbers")
        })?;
        Ok([finite(a, "Two")?, finite(b, "Two")?])
    },
});

uniffi::custom_type!(CountRange, Vec<u64>, {
    remote,
    lower: |range| range.iter().map(|n| *n as u64).collect(),
    try_lift: |list| {
        let counts: Vec<usize> = list.iter().filter_map(|n| usize::try_from(*n).ok()).collect();
        counts.try_into().map_err(|_| FirnbookError::value("CountRange", format!("{list:?}"), "must be two counts").into())
    },
});

// Names have no order of their own in a map of these languages.
uniffi::custom_type!(Texts, HashMap<String, String>, {
    remote,
    lower: |texts| texts.into_iter().collect(),
    try_lift: |texts| Ok(texts.into_iter().collect()),
});

uniffi::custom_type!(Numbers, HashMap<String, f64>, {
    remote,
    lower: |numbers| numbers.into_iter().collect(),
    try_lift: |numbers| Ok(numbers.into_iter().collect()),
});

uniffi::custom_type!(Why, HashMap<String, String>, {
    lower: |why| why.0.into_iter().collect(),
    try_lift: |texts| Ok(Why(texts.into_iter().collect())),
});

uniffi::custom_type!(Json, String, {
    remote,
    lower: |value| value.to_string(),
    try_lift: |text| serde_json::from_str(&text).map_err(|why| FirnbookError::value("Json", &text, why).into()),
});

uniffi::custom_type!(JsonObject, String, {
    remote,
    lower: |fields| Value::Object(fields).to_string(),
    try_lift: |text| serde_json::from_str(&text).map_err(|why| FirnbookError::value("JsonObject", &text, why).into()),
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_rounded_to_the_millisecond() {
        let read = |text: &str| to_the_millisecond(text).unwrap().to_string();
        assert_eq!(read("2027-02-06T10:00:00.1229999+01:00"), "2027-02-06T10:00:00.123+01:00");
        assert_eq!(read("2027-02-06T10:00:00.9996+01:00"), "2027-02-06T10:00:01.000+01:00");
        assert_eq!(read("2027-02-06T10:00:00.123+01:00"), "2027-02-06T10:00:00.123+01:00");
        assert!(to_the_millisecond("2027-02-06T10:00:00").is_err());
    }
}
