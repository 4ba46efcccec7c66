//! To which group a row belongs, and the rows of one group brought together. What can be grouped by, and how months and winters are called, is
//! in `group`.

use super::super::thresholds::Thresholds;
use super::group::{GroupBy, NOT_SAID, month, season};
use crate::entry::{DrillForm, Orientation, fold};
use chrono::NaiveDate;
use std::collections::HashMap;

/// What of a row says to which group it belongs. What a sort of rows never has is `None`; [`possible`] refuses to group by it.
#[derive(Clone, Copy, Debug)]
pub struct Keys<'a> {
    /// The date of the day.
    pub date: NaiveDate,
    /// The area of the day.
    pub area: &'a str,
    /// What was practised.
    pub form: Option<DrillForm>,
    /// The team.
    pub team: Option<&'a str>,
    /// How the target lay.
    pub orientation: Option<Orientation>,
    /// Who wrote it.
    pub writer: Option<&'a str>,
}

impl Keys<'_> {
    /// What the row's group is called; `None` if nobody said that.
    #[must_use]
    pub fn group(&self, by: GroupBy, thresholds: &Thresholds) -> Option<String> {
        match by {
            GroupBy::Form => self.form.map(|f| f.word()),
            GroupBy::Team => self.team.map(str::to_owned),
            GroupBy::Area => Some(self.area.to_owned()),
            GroupBy::Day => Some(self.date.to_string()),
            GroupBy::Month => Some(month(self.date)),
            GroupBy::Season => Some(season(self.date, thresholds.season_start_month as u32)),
            GroupBy::Orientation => self.orientation.map(|o| o.word()),
            GroupBy::Writer => self.writer.map(str::to_owned),
            GroupBy::Method | GroupBy::Datum => None,
        }
    }
}

/// A grouping that the rows of an answer do not allow.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{what} can't be grouped by {}: nothing in them says it; group by {}", .by.word(), words(.possible))]
pub struct NoSuchGroups {
    /// What was to be grouped.
    pub what: &'static str,
    /// By what.
    pub by: GroupBy,
    /// By what it can be.
    pub possible: &'static [GroupBy],
}

fn words(by: &[GroupBy]) -> String {
    by.iter().map(|by| by.word()).collect::<Vec<_>>().join(", ")
}

/// Refuses a grouping that is not among the possible ones.
///
/// # Errors
/// What was asked, and by what it can be grouped.
pub fn possible(
    what: &'static str,
    by: Option<GroupBy>,
    possible: &'static [GroupBy],
) -> Result<(), NoSuchGroups> {
    match by.filter(|by| !possible.contains(by)) {
        Some(by) => Err(NoSuchGroups { what, by, possible }),
        None => Ok(()),
    }
}

/// The rows of each group, groups by name and those of which nobody said it last; spellings that fold alike are one group, called as it was
/// first spelled.
pub fn grouped<T>(
    rows: impl IntoIterator<Item = T>,
    name: impl Fn(&T) -> Option<String>,
) -> Vec<(String, Vec<T>)> {
    let mut groups: Vec<(Option<String>, Vec<T>)> = Vec::new();
    let mut places: HashMap<Option<String>, usize> = HashMap::new();
    for row in rows {
        let name = name(&row);
        let place = *places.entry(name.as_deref().map(fold)).or_insert_with(|| {
            groups.push((name, Vec::new()));
            groups.len() - 1
        });
        groups[place].1.push(row);
    }
    groups.sort_by(|a, b| (a.0.is_none(), &a.0).cmp(&(b.0.is_none(), &b.0)));
    groups.into_iter().map(|(name, rows)| (name.unwrap_or_else(|| NOT_SAID.to_owned()), rows)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spellings_are_one_group_and_the_unsaid_come_last() {
        let rows = [Some("red"), None, Some("Blue"), Some(" RED "), Some("zinc")];
        let told: Vec<_> = grouped(rows, |r| r.map(str::to_owned))
            .into_iter()
            .map(|(name, rows)| (name, rows.len()))
            .collect();
        let expected = [("Blue", 1), ("red", 2), ("zinc", 1), (NOT_SAID, 1)].map(|(g, n)| (g.to_owned(), n));
        assert_eq!(told, expected);
    }

    #[test]
    fn a_grouping_that_rows_do_not_allow_is_refused_by_name() {
        let refused = possible("times", Some(GroupBy::Method), &[GroupBy::Team, GroupBy::Day]).unwrap_err();
        assert_eq!(
            refused.to_string(),
            "times can't be grouped by method: nothing in them says it; group by team, day"
        );
        assert!(possible("times", None, &[]).is_ok());
    }
}
