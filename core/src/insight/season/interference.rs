//! What disturbed transceivers over a season, and whether runs with a source took longer than runs for which nobody wrote any. What one day's
//! entries say is in `insight::interference`.

use super::super::cautions;
use super::super::interference::DayInterference;
use super::super::left_out::{Tally, reason};
use super::super::tables::RunRow;
use super::super::thresholds::Thresholds;
use super::super::timeline::DrillTimes;
use super::super::view::View;
use super::footing::{Basis, Footing, Why, few};
use super::group::GroupBy;
use super::keys::{NoSuchGroups, grouped, possible};
use super::runs::{GROUPS, Watched};
use crate::day::DayId;
use crate::entry::{InterferenceSource, Step, fold};
use crate::stats::Interval;
use crate::stats::describe::median;
use crate::stats::rank::shift;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// What these comparisons are worth.
pub const NONE_WRITTEN: &str = "'None written' is not 'none there': it means that nobody wrote a disturbance for that drill. Drills were not assigned by chance, \
     so a shift is no proof of a cause.";

/// A disturbance of no drill.
pub const NO_DRILL: &str = "a disturbance of no drill, counted but compared with no times";

/// One disturbance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct InterferenceRow {
    /// The day
    pub day: DayId,
    /// Label of the drill; null where nobody named one
    pub drill: Option<String>,
    /// What disturbed
    pub source: InterferenceSource,
    /// Distance from the source to the transceiver, cm
    pub distance_cm: Option<f64>,
}

/// The answer of `stats interference`.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SeasonInterference {
    /// The step whose times are compared
    pub step: Step,
    /// What the comparisons are worth
    pub says: String,
    /// Each source that was written, and the runs with it
    pub sources: Vec<SourceFigures>,
    /// By what the runs are grouped
    pub group_by: Option<GroupBy>,
    /// The same among the runs of each group, by name
    pub groups: Vec<InterferenceGroup>,
    /// What the answer stands on
    #[serde(flatten)]
    pub footing: Footing,
}

/// The disturbances in the runs of one group.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct InterferenceGroup {
    /// What the group is called
    pub group: String,
    /// Each source that was written for its drills
    pub sources: Vec<SourceFigures>,
}

/// One source. What does not exist is null, and `why` says why.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SourceFigures {
    /// What disturbed
    pub source: InterferenceSource,
    /// Number of disturbances by it
    pub n: usize,
    /// Median distance to the transceiver, of those that say it, cm
    pub median_distance_cm: Option<f64>,
    /// Number of those that say it
    pub distance_n: usize,
    /// Runs of drills for which it was written
    pub times_with: RunTimes,
    /// Runs of drills for which no disturbance of any source was written
    pub none_written: RunTimes,
    /// Median of all differences of a time with it less one with none written (Hodges and Lehmann 1963), s
    pub shift_s: Option<f64>,
    /// Interval of the shift, s
    pub shift_ci95: Option<Interval>,
    /// Says that n is small
    pub few: Option<String>,
    /// Why a figure is null, by its name
    pub why: Why,
}

/// The times of some runs to the step.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct RunTimes {
    /// Runs that reached it
    pub n: usize,
    /// Runs that are known not to have reached it; they are in no figure here, so these times may flatter
    pub not_reached: usize,
    /// Their median time from start, s; null without runs
    pub median_s: Option<f64>,
}

/// The disturbances of a day.
#[must_use]
pub fn interference_rows(view: &View<'_>, left_out: &mut Tally) -> Vec<InterferenceRow> {
    let cancelled = |drill: &str| DrillTimes::of(view, drill, &view.targets(drill)).cancelled();
    let mut rows = Vec::new();
    for event in DayInterference::of(view, left_out).events {
        let drill = event.drill.as_ref().map(|label| view.things.drill(label));
        if drill.as_ref().is_some_and(|d| cancelled(d)) {
            left_out.add(reason::CANCELLED);
            continue;
        }
        rows.push(InterferenceRow {
            day: view.record.id,
            drill: drill.map(|d| view.drill(&d).label.0),
            source: event.source,
            distance_cm: event.distance_cm,
        });
    }
    rows
}

/// The disturbances of a season against the times of its runs to `step`.
///
/// # Errors
/// A grouping that runs do not allow.
pub fn interference(
    rows: &[InterferenceRow],
    runs: &[RunRow],
    step: Step,
    group_by: Option<GroupBy>,
    thresholds: &Thresholds,
    basis: Basis,
) -> Result<SeasonInterference, NoSuchGroups> {
    possible("interference", group_by, GROUPS)?;
    let mut left_out = Tally::default();
    left_out.add_n(NO_DRILL, rows.iter().filter(|row| row.drill.is_none()).count());
    let mut counted: Vec<&RunRow> = Vec::new();
    for run in runs {
        match run.not_counted() {
            Some(why) => left_out.add(why),
            None => counted.push(run),
        }
    }
    let written: Vec<(Option<Drill>, &InterferenceRow)> =
        rows.iter().map(|row| (row.drill_key(), row)).collect();
    let sources = sources(&written, &counted, step);
    let groups = group_by.map(|by| grouped(counted, |run| run.keys().group(by, thresholds)));
    let groups = groups.into_iter().flatten().map(|(group, runs)| {
        let drills: BTreeSet<Drill> = runs.iter().map(|run| run.drill_key()).collect();
        let here = |(drill, _): &&(Option<Drill>, &InterferenceRow)| {
            drill.as_ref().is_some_and(|d| drills.contains(d))
        };
        let written: Vec<_> = written.iter().filter(here).cloned().collect();
        InterferenceGroup { group, sources: self::sources(&written, &runs, step) }
    });
    let groups = groups.collect();
    let footing = basis.footing(&left_out, &[cautions::CLOCKS], &[]);
    Ok(SeasonInterference { step, says: NONE_WRITTEN.to_owned(), sources, group_by, groups, footing })
}

/// A drill of a day, by folded label.
type Drill = (DayId, String);

impl InterferenceRow {
    fn drill_key(&self) -> Option<Drill> {
        self.drill.as_ref().map(|drill| (self.day, fold(drill)))
    }
}

fn sources(
    written: &[(Option<Drill>, &InterferenceRow)],
    runs: &[&RunRow],
    step: Step,
) -> Vec<SourceFigures> {
    let mut by_drill: BTreeMap<&Drill, BTreeSet<InterferenceSource>> = BTreeMap::new();
    let mut by_source: BTreeMap<InterferenceSource, Vec<&InterferenceRow>> = BTreeMap::new();
    for (drill, row) in written {
        if let Some(drill) = drill {
            by_drill.entry(drill).or_default().insert(row.source);
        }
        by_source.entry(row.source).or_default().push(row);
    }
    let mut none_written = Taken::default();
    let mut with: BTreeMap<InterferenceSource, Taken> = BTreeMap::new();
    for run in runs {
        let watched = run.watched(step);
        match by_drill.get(&run.drill_key()) {
            None => none_written.add(watched),
            Some(sources) => sources.iter().for_each(|s| with.entry(*s).or_default().add(watched)),
        }
    }
    let figures = by_source.into_iter().map(|(source, rows)| {
        SourceFigures::of(source, &rows, with.get(&source).unwrap_or(&Taken::default()), &none_written)
    });
    figures.collect()
}

/// What runs took to the step.
#[derive(Default)]
struct Taken {
    seconds: Vec<f64>,
    not_reached: usize,
}

impl Taken {
    fn add(&mut self, watched: Watched) {
        match watched {
            Watched::Reached(t) => self.seconds.push(t),
            Watched::EndedBefore(_) => self.not_reached += 1,
            Watched::Open | Watched::Unwritten | Watched::BeforeStart => {}
        }
    }

    fn told(&self) -> RunTimes {
        let Taken { seconds, not_reached } = self;
        RunTimes { n: seconds.len(), not_reached: *not_reached, median_s: median(seconds).ok() }
    }
}

impl SourceFigures {
    fn of(
        source: InterferenceSource,
        rows: &[&InterferenceRow],
        with: &Taken,
        none_written: &Taken,
    ) -> SourceFigures {
        let mut why = Why::default();
        let distances: Vec<f64> = rows.iter().filter_map(|row| row.distance_cm).collect();
        let none = |_| "nobody wrote a distance; n = 0".to_owned();
        let median_distance_cm = why.kept("median_distance_cm", median(&distances).map_err(none));
        let shift = why.kept("shift_s", shift(&with.seconds, &none_written.seconds));
        let few_runs = "so few or so equal times allow no interval";
        let shift_ci95 = shift.and_then(|s| {
            why.some("shift_ci95", s.ci95, || format!("{few_runs}; n = {} and {}", s.n_a, s.n_b))
        });
        SourceFigures {
            source,
            n: rows.len(),
            median_distance_cm,
            distance_n: distances.len(),
            times_with: with.told(),
            none_written: none_written.told(),
            shift_s: shift.map(|s| s.shift),
            shift_ci95,
            few: few(with.seconds.len().min(none_written.seconds.len())),
            why,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::tables::runs as runs_of;
    use super::super::super::testing::record;
    use super::super::runs::tests::run;
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use serde_json::json;

    fn row(drill: &str, source: InterferenceSource, distance_cm: Option<f64>) -> InterferenceRow {
        let day = "00112233445566778899aabbccddeeff".parse().unwrap();
        InterferenceRow { day, drill: Some(drill.to_owned()), source, distance_cm }
    }

    fn asked(rows: &[InterferenceRow], runs: &[RunRow], by: Option<GroupBy>) -> SeasonInterference {
        interference(rows, runs, Step::Strike, by, &Thresholds::default(), Basis::default()).unwrap()
    }

    #[test]
    fn runs_with_a_source_against_runs_with_none_written() {
        let strike = |drill: &str, t: f64| run(json!({"drill": drill, "team": drill[..1], "t_strike_s": t}));
        let runs = [
            strike("a1", 200.0),
            strike("a2", 260.0),
            strike("b1", 100.0),
            strike("b2", 120.0),
            strike("b3", 140.0),
            run(json!({"drill": "b4", "team": "b", "ended_t_s": 300.0})),
            // Disturbed by another source: neither with a phone nor with none written.
            strike("b5", 999.0),
        ];
        let rows = [
            row("a1", InterferenceSource::Phone, Some(30.0)),
            row("A1", InterferenceSource::Phone, Some(10.0)),
            row("a2", InterferenceSource::Phone, None),
            row("b5", InterferenceSource::Radio, None),
        ];
        let answer = asked(&rows, &runs, Some(GroupBy::Team));
        let phone = answer.sources.iter().find(|s| s.source == InterferenceSource::Phone).unwrap();
        assert_eq!((phone.n, phone.median_distance_cm, phone.distance_n), (3, Some(20.0), 2));
        assert_eq!(phone.times_with, RunTimes { n: 2, not_reached: 0, median_s: Some(230.0) });
        assert_eq!(phone.none_written, RunTimes { n: 3, not_reached: 1, median_s: Some(120.0) });
        // Differences 100, 80, 60, 160, 140, 120: median 110. Ten arrangements allow no interval.
        assert_eq!((phone.shift_s, phone.shift_ci95), (Some(110.0), None));
        assert!(phone.why.0["shift_ci95"].contains("n = 2 and 3"));
        let radio = answer.sources.iter().find(|s| s.source == InterferenceSource::Radio).unwrap();
        assert!(radio.why.0["median_distance_cm"].contains("n = 0"));
        assert!(answer.says.contains("not 'none there'"));
        let in_a = &answer.groups.iter().find(|g| g.group == "a").unwrap().sources;
        assert_eq!((in_a.len(), in_a[0].none_written.n, in_a[0].shift_s), (1, 0, None));
        assert!(in_a[0].why.0["shift_s"].contains("there are 0"));
    }

    #[test]
    fn a_day_gives_its_disturbances_by_drill() {
        let record = record(
            r#"
            {"kind":"drill","at":"10:00:00","label":"1"}
            {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
            {"kind":"moment","at":"10:02:00","drill":"1","step":"strike"}
            {"kind":"interference","at":"10:01:00","drill":" 1","source":"phone","distance_cm":15}
            {"kind":"interference","at":"10:01:00","source":"radio"}
            {"kind":"drill","at":"11:00:00","label":"2"}
            {"kind":"interference","at":"11:01:00","drill":"2","source":"phone"}
            {"kind":"moment","at":"11:02:00","drill":"2","step":"end","why":"cancelled"}
        "#,
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let mut left_out = Tally::default();
        let rows = interference_rows(&view, &mut left_out);
        assert_eq!(left_out.list()[0].reason, reason::CANCELLED);
        let answer = asked(&rows, &runs_of(&view, &mut Tally::default()), None);
        let told: Vec<_> = answer.sources.iter().map(|s| (s.source, s.n, s.times_with.median_s)).collect();
        let expected = [(InterferenceSource::Phone, 1, Some(120.0)), (InterferenceSource::Radio, 1, None)];
        assert_eq!(told, expected);
        assert!(answer.footing.left_out.iter().any(|l| l.reason == NO_DRILL && l.n == 1));
    }
}
