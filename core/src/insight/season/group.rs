//! By what the figures of a season can be grouped, and how a group is called.

use chrono::{Datelike, NaiveDate};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// By what figures are grouped.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum GroupBy {
    /// what was practised
    Form,
    /// the team
    Team,
    /// the area
    Area,
    /// the date
    Day,
    /// the month of a year
    Month,
    /// the winter
    Season,
    /// how a depth was measured
    Method,
    /// what point of the target a depth leads to
    Datum,
    /// how the target lay
    Orientation,
    /// who wrote it
    Writer,
}

impl GroupBy {
    /// Every way of grouping.
    pub const ALL: [GroupBy; 10] = [
        GroupBy::Form,
        GroupBy::Team,
        GroupBy::Area,
        GroupBy::Day,
        GroupBy::Month,
        GroupBy::Season,
        GroupBy::Method,
        GroupBy::Datum,
        GroupBy::Orientation,
        GroupBy::Writer,
    ];

    /// The word that stands for it in JSON and on the command line.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            GroupBy::Form => "form",
            GroupBy::Team => "team",
            GroupBy::Area => "area",
            GroupBy::Day => "day",
            GroupBy::Month => "month",
            GroupBy::Season => "season",
            GroupBy::Method => "method",
            GroupBy::Datum => "datum",
            GroupBy::Orientation => "orientation",
            GroupBy::Writer => "writer",
        }
    }
}

/// What a group is called where nobody said the thing by which it is grouped.
pub const NOT_SAID: &str = "not said";

/// The month of a date, as 2027-02.
#[must_use]
pub fn month(date: NaiveDate) -> String {
    date.format("%Y-%m").to_string()
}

/// The winter of a date, as 2026/27, where winters begin with the month `start_month` (1 to 12). A winter that begins with January is named
/// by its one year.
#[must_use]
pub fn season(date: NaiveDate, start_month: u32) -> String {
    let first = if date.month() >= start_month { date.year() } else { date.year() - 1 };
    if start_month <= 1 {
        date.year().to_string()
    } else {
        format!("{first}/{:02}", (first + 1).rem_euclid(100))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_winter_spans_the_new_year() {
        let on = |text: &str, start| season(text.parse().unwrap(), start);
        assert_eq!(on("2027-02-06", 9), "2026/27");
        assert_eq!(on("2026-09-01", 9), "2026/27");
        assert_eq!(on("2026-08-31", 9), "2025/26");
        assert_eq!(on("1999-12-01", 9), "1999/00");
        assert_eq!(on("2027-02-06", 1), "2027");
        assert_eq!(month("2027-02-06".parse().unwrap()), "2027-02");
    }

    #[test]
    fn words_are_those_of_the_json() {
        for by in GroupBy::ALL {
            assert_eq!(serde_json::to_value(by).unwrap(), by.word());
        }
    }
}
