//! The group checks of a season: shares of what failed, batteries, and how near electronics were. What one day's checks found is in
//! `insight::checks`.

use super::super::checks::{CheckPart, checks as checks_told};
use super::super::left_out::Tally;
use super::super::thresholds::Thresholds;
use super::super::view::View;
use super::footing::{Basis, Footing, Why, few};
use super::group::GroupBy;
use super::keys::{Keys, NoSuchGroups, grouped, possible};
use crate::entry::fold;
use crate::stats::Interval;
use crate::stats::describe::median;
use crate::stats::interval::share;
use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// By what checks can be grouped.
pub const GROUPS: &[GroupBy] =
    &[GroupBy::Team, GroupBy::Area, GroupBy::Day, GroupBy::Month, GroupBy::Season, GroupBy::Writer];

/// One check of one person.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CheckRow {
    /// The date
    pub date: NaiveDate,
    /// The area
    pub area: String,
    /// The team of the person
    pub team: Option<String>,
    /// Who wrote it, by call sign
    pub writer: String,
    /// Whose transceiver, by call sign
    pub call_sign: String,
    /// What failed
    pub failed: Vec<CheckPart>,
    /// What was not tested
    pub not_tested: Vec<CheckPart>,
    /// Battery as the device showed it, %
    pub battery_pct: Option<f64>,
    /// Distance to the nearest electronics or metal, cm
    pub nearest_electronics_cm: Option<f64>,
}

/// The answer of `stats checks`.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SeasonChecks {
    /// The figures over all checks
    #[serde(flatten)]
    pub figures: CheckFigures,
    /// By what is grouped
    pub group_by: Option<GroupBy>,
    /// The figures of each group, by name
    pub groups: Vec<ChecksGroup>,
    /// What the answer stands on
    #[serde(flatten)]
    pub footing: Footing,
}

/// One group of checks.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct ChecksGroup {
    /// What the group is called
    pub group: String,
    /// Its figures
    #[serde(flatten)]
    pub figures: CheckFigures,
}

/// The figures of a sample of checks. What does not exist is null, and `why` says why.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CheckFigures {
    /// Number of checks, the same check by two writers once
    pub n: usize,
    /// How many checks each part failed in
    pub failed: Vec<Failed>,
    /// Batteries, of each person and day the last one read
    pub battery: Battery,
    /// Distances to electronics, of each person and day the last one measured
    pub electronics: Vec<Electronics>,
    /// Says that n is small
    pub few: Option<String>,
    /// Why a figure is null, by its name
    pub why: Why,
}

/// How often a part of the check failed.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Failed {
    /// The part
    pub what: CheckPart,
    /// Checks in which it failed
    pub k: usize,
    /// Number of checks that tested it
    pub n: usize,
    /// Number of checks that did not test it
    pub not_tested: usize,
    /// k / n, 0 to 1; null where no check tested it
    pub share: Option<f64>,
    /// Interval of Wilson (1927); null where no check tested it
    pub ci95: Option<Interval>,
}

/// The batteries that were read.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Battery {
    /// Number of people and days with a reading
    pub n: usize,
    /// Median, %
    pub median_pct: Option<f64>,
    /// Those below the threshold
    pub below: Vec<Below>,
}

/// A battery below the threshold.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Below {
    /// The date
    pub date: NaiveDate,
    /// Whose transceiver, by call sign; across days a call sign may be another person
    pub call_sign: String,
    /// Battery as the device showed it, %
    pub pct: f64,
}

/// How many people and days had electronics in this class of distance.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Electronics {
    /// The class, by the thresholds of the answer
    pub class: Nearness,
    /// Number of people and days
    pub n: usize,
}

/// How near electronics were to a transceiver.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Nearness {
    /// nearer than the threshold for sending
    TooNearToSend,
    /// not nearer than the threshold for sending, but than that for searching
    TooNearToSearch,
    /// not nearer than either threshold
    FarEnough,
}

/// The checks of a day.
#[must_use]
pub fn check_rows(view: &View<'_>, left_out: &mut Tally) -> Vec<CheckRow> {
    let told = checks_told(view, left_out);
    let row = told.iter().map(|(who, told, check)| CheckRow {
        date: view.record.date,
        area: view.record.area.clone(),
        team: view.things.person_as_one(who).and_then(|p| p.team),
        writer: view.call_sign(&view.things.person(&told.entry.common.by.0)),
        call_sign: view.call_sign(who),
        failed: CheckPart::failed(check),
        not_tested: CheckPart::not_tested(check),
        battery_pct: check.battery_pct.map(|p| p.0),
        nearest_electronics_cm: check.nearest_electronics_cm.map(|c| c.0),
    });
    row.collect()
}

/// The checks of a season; rows of one day in the order of time.
///
/// # Errors
/// A grouping that checks do not allow.
pub fn checks(
    rows: &[CheckRow],
    group_by: Option<GroupBy>,
    thresholds: &Thresholds,
    basis: Basis,
) -> Result<SeasonChecks, NoSuchGroups> {
    possible("checks", group_by, GROUPS)?;
    let figures = CheckFigures::of(rows.iter(), thresholds);
    let groups = group_by.map(|by| grouped(rows, |row| row.keys().group(by, thresholds)));
    let groups = groups
        .into_iter()
        .flatten()
        .map(|(group, rows)| ChecksGroup { group, figures: CheckFigures::of(rows.into_iter(), thresholds) });
    let settings = [
        ("battery_pct", thresholds.battery_pct),
        ("electronics_send_cm", thresholds.electronics_send_cm),
        ("electronics_search_cm", thresholds.electronics_search_cm),
    ];
    let groups = groups.collect();
    let footing = basis.footing(&Tally::default(), &[], &settings);
    Ok(SeasonChecks { figures, group_by, groups, footing })
}

impl CheckRow {
    fn keys(&self) -> Keys<'_> {
        Keys {
            date: self.date,
            area: &self.area,
            form: None,
            team: self.team.as_deref(),
            orientation: None,
            writer: Some(&self.writer),
        }
    }
}

impl CheckFigures {
    fn of<'r>(rows: impl Iterator<Item = &'r CheckRow>, thresholds: &Thresholds) -> CheckFigures {
        let rows: Vec<&CheckRow> = rows.collect();
        let n = rows.len();
        let failed = CheckPart::ALL.map(|what| {
            let k = rows.iter().filter(|row| row.failed.contains(&what)).count();
            let not_tested = rows.iter().filter(|row| row.not_tested.contains(&what)).count();
            let found = share(k, n - not_tested).ok();
            let (share, ci95) = (found.map(|s| s.share), found.map(|s| s.ci95));
            Failed { what, k, n: n - not_tested, not_tested, share, ci95 }
        });
        let mut why = Why::default();
        why.some("failed", failed.iter().all(|part| part.n > 0).then_some(()), || match n {
            0 => "no checks; n = 0".to_owned(),
            _ => "no check tested a part; its n = 0".to_owned(),
        });
        let batteries = last_of_each(&rows, |row| row.battery_pct);
        let pct: Vec<f64> = batteries.iter().map(|(_, pct)| *pct).collect();
        let none = |_| "no battery was read; n = 0".to_owned();
        let median_pct = why.kept("battery", median(&pct).map_err(none));
        let weak = batteries.iter().filter(|(_, pct)| *pct < thresholds.battery_pct);
        let below =
            weak.map(|(row, pct)| Below { date: row.date, call_sign: row.call_sign.clone(), pct: *pct });
        let battery = Battery { n: batteries.len(), median_pct, below: below.collect() };
        let distances = last_of_each(&rows, |row| row.nearest_electronics_cm);
        let electronics =
            [Nearness::TooNearToSend, Nearness::TooNearToSearch, Nearness::FarEnough].map(|class| {
                let of_class = distances.iter().filter(|(_, cm)| Nearness::of(*cm, thresholds) == class);
                Electronics { class, n: of_class.count() }
            });
        CheckFigures { n, failed: failed.into(), battery, electronics: electronics.into(), few: few(n), why }
    }
}

impl Nearness {
    fn of(distance_cm: f64, thresholds: &Thresholds) -> Nearness {
        if distance_cm < thresholds.electronics_send_cm {
            Nearness::TooNearToSend
        } else if distance_cm < thresholds.electronics_search_cm {
            Nearness::TooNearToSearch
        } else {
            Nearness::FarEnough
        }
    }
}

/// Of each person and day the last value said, with its row.
fn last_of_each<'r>(
    rows: &[&'r CheckRow],
    value: impl Fn(&CheckRow) -> Option<f64>,
) -> Vec<(&'r CheckRow, f64)> {
    let mut last = BTreeMap::new();
    for row in rows {
        if let Some(value) = value(row).filter(|v| v.is_finite()) {
            last.insert((row.date, fold(&row.area), fold(&row.call_sign)), (*row, value));
        }
    }
    last.into_values().collect()
}

#[cfg(test)]
mod tests {
    use super::super::super::testing::record_with;
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use serde_json::json;

    #[test]
    fn checks_are_counted_and_of_each_person_the_last_battery() {
        let record = record_with(
            r#"
            {"kind":"person","at":"08:00:00","call_sign":"P1","team":"Red"}
            {"kind":"check","at":"09:00:00","person":"P1","transmits":true,"receives":false,"battery_pct":30}
            {"kind":"check","at":"09:00:04","person":"p1","transmits":true,"receives":false,"battery_pct":30,"by":"Obs2"}
            {"kind":"check","at":"09:10:00","person":"P1","transmits":true,"receives":true,"battery_pct":90,"nearest_electronics_cm":20}
            {"kind":"check","at":"09:20:00","person":"P2","transmits":true,"receives":true,"battery_pct":39,"nearest_electronics_cm":5}
            {"kind":"check","at":"09:30:00","person":"P3","transmits":false,"receives":true,"fault":"E3","by":"Obs2"}
        "#,
            &[("#2~#3", json!(true))],
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let mut left_out = Tally::default();
        let rows = check_rows(&view, &mut left_out);
        let thresholds = Thresholds::default();
        let asked = |by| checks(&rows, by, &thresholds, Basis::default()).unwrap();
        let all = asked(None);
        assert_eq!(all.figures.n, 4);
        let failed: Vec<_> = all.figures.failed.iter().map(|f| (f.what, f.k, f.share)).collect();
        let expected =
            [CheckPart::Transmits, CheckPart::Receives, CheckPart::Fault].map(|p| (p, 1, Some(0.25)));
        assert_eq!(failed, expected);
        let battery = &all.figures.battery;
        assert_eq!((battery.n, battery.median_pct), (2, Some(64.5)));
        let below: Vec<_> = battery.below.iter().map(|b| (b.call_sign.as_str(), b.pct)).collect();
        assert_eq!(below, [("P2", 39.0)]);
        let near: Vec<_> = all.figures.electronics.iter().map(|e| e.n).collect();
        assert_eq!(near, [1, 1, 0]);
        assert_eq!(all.footing.made.settings["battery_pct"], 40.0);
        let by_team: Vec<_> =
            asked(Some(GroupBy::Team)).groups.into_iter().map(|g| (g.group, g.figures.n)).collect();
        assert_eq!(by_team, [("Red".to_owned(), 2), (super::super::group::NOT_SAID.to_owned(), 2)]);
        let by_writer: Vec<_> =
            asked(Some(GroupBy::Writer)).groups.into_iter().map(|g| g.figures.n).collect();
        assert_eq!(by_writer, [3, 1]);
        assert!(checks(&rows, Some(GroupBy::Form), &thresholds, Basis::default()).is_err());
    }

    #[test]
    fn a_part_that_was_not_tested_has_an_n_of_its_own() {
        let record = record_with(
            r#"
            {"kind":"check","at":"09:00:00","person":"P1","transmits":true}
            {"kind":"check","at":"09:10:00","person":"P2","transmits":false}
            {"kind":"check","at":"09:20:00","person":"P3","transmits":true,"receives":false}
        "#,
            &[],
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let rows = check_rows(&view, &mut Tally::default());
        let figures =
            |rows: &[CheckRow]| checks(rows, None, &Thresholds::default(), Basis::default()).unwrap().figures;
        let failed: Vec<_> = figures(&rows).failed.iter().map(|f| (f.k, f.n, f.not_tested)).collect();
        assert_eq!(failed, [(1, 3, 0), (1, 1, 2), (0, 3, 0)]);
        let one = figures(&rows[..2]);
        assert_eq!((one.failed[1].n, one.failed[1].share), (0, None));
        assert!(one.why.0["failed"].contains("no check tested"));
    }

    #[test]
    fn no_checks_have_sentences() {
        let none = checks(&[], None, &Thresholds::default(), Basis::default()).unwrap().figures;
        assert_eq!((none.n, none.failed[0].share, none.battery.median_pct), (0, None, None));
        assert!(none.why.0["battery"].contains("n = 0") && none.why.0["failed"].contains("n = 0"));
    }
}
