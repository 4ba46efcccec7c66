//! How a day begins: its date and area, from which its id and its first change follow, the same bytes on every device.

use super::document::DayError;
use super::format::{self, First, Hash};
use super::identity::DayId;
use crate::entry::fold;
use chrono::NaiveDate;

/// The highest operation of every first change; all other operations are above it.
pub const FIRST_MAX_OP: u32 = 5;

/// Date and area of a day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Beginning {
    /// The date.
    pub date: NaiveDate,
    /// The area, folded: the spelling that is shown is a register.
    pub area: String,
}

impl Beginning {
    /// The day on `date` in `area`.
    #[must_use]
    pub fn of(date: NaiveDate, area: &str) -> Beginning {
        Beginning { date, area: fold(area) }
    }

    /// Reads what a first change says and checks that it is the day's.
    ///
    /// # Errors
    /// [`DayError::NotThisDay`].
    pub fn read(day: DayId, date: &str, area: &str) -> Result<Beginning, DayError> {
        let not = |why: String| DayError::NotThisDay { named: day, why };
        let parsed: NaiveDate = date.parse().map_err(|_| not(format!("\"{date:.40}\" is no date")))?;
        let beginning = Beginning::of(parsed, area);
        if beginning.area != area || parsed.to_string() != date {
            return Err(not("its date or area is written in another form".to_owned()));
        }
        if beginning.id() != day {
            return Err(not("its id does not follow from its date and area".to_owned()));
        }
        Ok(beginning)
    }

    /// The id of the day.
    #[must_use]
    pub fn id(&self) -> DayId {
        DayId::of(self.date, &self.area)
    }

    /// Hash and bytes of the first change.
    #[must_use]
    pub fn first_change(&self) -> (Hash, Vec<u8>) {
        format::first_change(&First {
            day: self.id().0,
            date: self.date.format("%Y-%m-%d").to_string(),
            area: self.area.clone(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_beginning_is_read_back_only_under_its_own_id() {
        let day = Beginning::of(NaiveDate::from_ymd_opt(2027, 2, 6).unwrap(), "Upper  Bowl");
        assert_eq!(Beginning::read(day.id(), "2027-02-06", "upper bowl"), Ok(day.clone()));
        for (date, area) in [
            ("2027-02-07", "upper bowl"),
            ("2027-02-06", "lower bowl"),
            ("2027-02-06", "Upper Bowl"),
            ("x", ""),
        ] {
            assert!(Beginning::read(day.id(), date, area).is_err(), "{date} {area}");
        }
    }
}
