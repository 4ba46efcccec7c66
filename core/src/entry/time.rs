//! Instants as entries hold them: RFC 3339 with milliseconds and the offset of the place.

use chrono::{DateTime, FixedOffset, NaiveDate, SecondsFormat};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de};
use std::borrow::Cow;

/// An instant, to the millisecond, with the offset from UTC at which it was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Time(DateTime<FixedOffset>);

impl Time {
    /// Rounds to the millisecond; a finer part is cut off.
    #[must_use]
    pub fn new(at: DateTime<FixedOffset>) -> Self {
        let ms = at.timestamp_millis();
        Time(DateTime::from_timestamp_millis(ms).map_or(at, |utc| utc.with_timezone(at.offset())))
    }

    /// From milliseconds since 1970 UTC and an offset in minutes east of UTC.
    ///
    /// `None` outside the years 1 to 9999 or for an offset of a day or more.
    #[must_use]
    pub fn from_millis(ms: i64, utc_offset_min: i32) -> Option<Self> {
        let offset = FixedOffset::east_opt(utc_offset_min.checked_mul(60)?)?;
        let at = DateTime::from_timestamp_millis(ms)?.with_timezone(&offset);
        in_calendar(at).then_some(Time(at))
    }

    /// Reads RFC 3339; a time without an offset is refused, it says nothing.
    ///
    /// # Errors
    /// A sentence that says what was read and how it is written right.
    pub fn parse(text: &str) -> Result<Self, String> {
        as_written_here(text)
            .or_else(|| DateTime::parse_from_rfc3339(text).ok())
            .filter(|at| in_calendar(*at))
            .map(Time::new)
            .ok_or_else(|| {
                format!("\"{text}\" is no time; write it as RFC 3339 with an offset, for example 2027-02-06T10:08:20.000+01:00")
            })
    }

    /// Milliseconds since 1970 UTC.
    #[must_use]
    pub fn millis(self) -> i64 {
        self.0.timestamp_millis()
    }

    /// Offset in minutes east of UTC; a part of a minute is cut off.
    #[must_use]
    pub fn utc_offset_min(self) -> i32 {
        self.0.offset().local_minus_utc() / 60
    }

    /// The same as a chrono value.
    #[must_use]
    pub fn datetime(self) -> DateTime<FixedOffset> {
        self.0
    }
}

/// Reads the form in which entries hold their times, `2027-02-06T10:08:20.000+01:00`: tables of a million rows hold several each. `None` for any other
/// form, and for what a general reader must judge.
fn as_written_here(text: &str) -> Option<DateTime<FixedOffset>> {
    const FORM: &[u8; 29] = b"0000-00-00T00:00:00.000+00:00";
    let text: &[u8; 29] = text.as_bytes().try_into().ok()?;
    let fits = |(at, byte): (usize, &u8)| match FORM[at] {
        b'0' => byte.is_ascii_digit(),
        b'+' => matches!(byte, b'+' | b'-'),
        mark => *byte == mark,
    };
    if !text.iter().enumerate().all(fits) {
        return None;
    }
    let number = |from: usize, to: usize| text[from..to].iter().fold(0, |n, b| n * 10 + u32::from(b - b'0'));
    let date = NaiveDate::from_ymd_opt(i32::try_from(number(0, 4)).ok()?, number(5, 7), number(8, 10))?;
    let local = date.and_hms_milli_opt(number(11, 13), number(14, 16), number(17, 19), number(20, 23))?;
    let (hours, minutes) = (number(24, 26), number(27, 29));
    let east_s = i32::try_from(hours * 3600 + minutes * 60).ok().filter(|_| hours < 24 && minutes < 60)?;
    let offset = FixedOffset::east_opt(if text[23] == b'-' { -east_s } else { east_s })?;
    local.and_local_timezone(offset).single()
}

fn in_calendar(at: DateTime<FixedOffset>) -> bool {
    use chrono::Datelike;
    (1..=9999).contains(&at.year()) && (1..=9999).contains(&at.naive_utc().year())
}

impl std::fmt::Display for Time {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0.to_rfc3339_opts(SecondsFormat::Millis, false))
    }
}

impl Serialize for Time {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Time {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        Time::parse(&Cow::<str>::deserialize(deserializer)?).map_err(de::Error::custom)
    }
}

impl JsonSchema for Time {
    fn inline_schema() -> bool {
        true
    }
    fn schema_name() -> Cow<'static, str> {
        "Time".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "format": "date-time" })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn examples_of_rfc_3339_section_5_8() {
        // Source: RFC 3339, section 5.8.
        for (text, millis) in [
            ("1985-04-12T23:20:50.52Z", 482_196_050_520),
            ("1996-12-19T16:39:57-08:00", 851_042_397_000),
            ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130),
        ] {
            assert_eq!(Time::parse(text).unwrap().millis(), millis, "{text}");
        }
    }

    #[test]
    fn what_is_written_is_read_again() {
        let at = Time::parse("2027-02-06T10:08:20.1239+01:00").unwrap();
        assert_eq!(at.to_string(), "2027-02-06T10:08:20.123+01:00");
        assert_eq!(Time::from_millis(at.millis(), at.utc_offset_min()), Some(at));
    }

    #[test]
    fn half_times_are_refused() {
        for text in [
            "",
            "2027-02-06",
            "2027-02-06T10:08:20",
            "2027-02-30T10:00:00Z",
            "10:08:20",
            "+10000-01-01T00:00:00Z",
        ] {
            assert!(Time::parse(text).is_err(), "{text}");
        }
    }

    proptest! {
        #[test]
        fn the_short_way_reads_what_the_general_one_does(
            digits in "[0-9]{4}-[01][0-9]-[0-3][0-9][Tt ][0-2][0-9]:[0-6][0-9]:[0-6][0-9][.,][0-9]{3}[+-][0-2][0-9]:[0-6][0-9]"
        ) {
            let general = DateTime::parse_from_rfc3339(&digits).ok();
            if let Some(at) = as_written_here(&digits) {
                prop_assert_eq!(Some(at), general);
                prop_assert_eq!(Some(at.offset()), general.as_ref().map(DateTime::offset));
            } else {
                // Leap seconds, other marks, and what is no time.
                let judged = general.is_none() || !digits.contains('T') || digits.contains(',') || digits[17..].starts_with("60");
                prop_assert!(judged, "{} is not read", digits);
            }
        }
    }
}
