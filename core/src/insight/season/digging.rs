//! Digging over a season: how long turns at the shovels were, and how the time to the airway rises with depth and falls with people. One drill's
//! digging is in `insight::digging`.

use super::super::depth::TargetDepth;
use super::super::digging::Digging;
use super::super::left_out::{Tally, reason};
use super::super::tables::RunRow;
use super::super::thresholds::Thresholds;
use super::super::timeline::DrillTimes;
use super::super::view::View;
use super::footing::{Basis, Footing, Why, few};
use super::group::GroupBy;
use super::keys::{Keys, NoSuchGroups, grouped, possible};
use super::runs::GROUPS;
use crate::entry::{DrillForm, Orientation};
use crate::stats::Interval;
use crate::stats::describe::median;
use crate::stats::regression::{Fit, least_squares};
use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Fewest digs from which the model is fitted (of this log, no source).
pub const FEWEST_DIGS: usize = 10;

/// A turn whose end nothing tells.
pub const NO_END: &str = "a turn whose end nothing tells";
/// A dig that lacks one of the three things.
pub const INCOMPLETE_DIG: &str = "a dig without its time, its depth square to the slope or its people";

/// One turn at the shovels of a hole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TurnRow {
    /// The date
    pub date: NaiveDate,
    /// The area
    pub area: String,
    /// What was practised
    pub form: Option<DrillForm>,
    /// The team that dug
    pub team: Option<String>,
    /// How the target lay; null where the turn names no target
    pub orientation: Option<Orientation>,
    /// How long it took, s
    pub length_s: f64,
}

/// The answer of `stats digging`.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SeasonDigging {
    /// The figures over all turns and digs
    #[serde(flatten)]
    pub figures: DiggingFigures,
    /// By what is grouped
    pub group_by: Option<GroupBy>,
    /// The figures of each group, by name
    pub groups: Vec<DiggingGroup>,
    /// What the answer stands on
    #[serde(flatten)]
    pub footing: Footing,
}

/// One group of turns and digs.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct DiggingGroup {
    /// What the group is called
    pub group: String,
    /// Its figures
    #[serde(flatten)]
    pub figures: DiggingFigures,
}

/// Turns and digs. What does not exist is null, and `why` says why.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct DiggingFigures {
    /// Turns at the shovels
    pub turns: Turns,
    /// Time to the airway by depth and people, or why it can't be modelled
    pub model: Model,
    /// Why a figure is null, by its name
    pub why: Why,
}

/// The turns at the shovels.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Turns {
    /// Number of turns with a known length
    pub n: usize,
    /// Median turn, s
    pub median_s: Option<f64>,
    /// Longest turn, s
    pub longest_s: Option<f64>,
    /// Turns strictly longer than the interval of the thresholds
    pub overdue: usize,
    /// Says that n is small
    pub few: Option<String>,
}

/// ln T = a + b ln D + c ln N by least squares: T seconds from the first stroke to the airway, D the depth square to the slope in m, N the
/// number of different people who had a turn. A model: it describes these digs and is not extrapolated.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum Model {
    /// The model
    Fitted(Fitted),
    /// Why there is none
    Refused {
        /// Number of digs with time, depth and people
        n: usize,
        /// Why it can't be fitted
        refused: String,
    },
}

/// A fitted model.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Fitted {
    /// Number of digs
    pub n: usize,
    /// ln of the seconds that one person takes for 1 m
    pub a: f64,
    /// Power of the depth: 1 means twice the depth takes twice as long
    pub b: f64,
    /// Power of the people: -1 means twice the people take half as long
    pub c: f64,
    /// Intervals by t with n - 3
    pub ci95: FittedCi,
    /// Residual standard deviation of ln T
    pub residual_sd: f64,
    /// Smallest and largest depth of the digs, m: the model says nothing beyond
    pub depth_m: [f64; 2],
    /// Smallest and largest number of people of the digs: the model says nothing beyond
    pub people: [usize; 2],
}

/// Intervals of the coefficients.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct FittedCi {
    /// Of a
    pub a: Interval,
    /// Of b
    pub b: Interval,
    /// Of c
    pub c: Interval,
}

/// The turns of a day, drills that were called off apart.
#[must_use]
pub fn turn_rows(view: &View<'_>, thresholds: &Thresholds, left_out: &mut Tally) -> Vec<TurnRow> {
    let mut rows = Vec::new();
    for drill in view.drills() {
        let (setup, targets) = (view.drill(drill), view.targets(drill));
        let times = DrillTimes::of(view, drill, &targets);
        // Turns need no depth; moved snow, which does, is no part of these rows.
        let depths = vec![TargetDepth::default(); targets.len()];
        let digging = Digging::of(view, drill, &targets, &times, &depths, thresholds, left_out);
        for head in &digging.heads {
            if times.cancelled() {
                left_out.add_n(reason::CANCELLED, head.turns.len());
                continue;
            }
            let target = targets.iter().find(|t| t.label == head.target);
            let orientation = target.and_then(|t| view.target(t)).and_then(|t| t.orientation);
            for turn in &head.turns {
                let Some(to_s) = turn.to_s else {
                    left_out.add(NO_END);
                    continue;
                };
                rows.push(TurnRow {
                    date: view.record.date,
                    area: view.record.area.clone(),
                    form: setup.form,
                    team: setup.team.clone(),
                    orientation,
                    length_s: to_s - turn.from_s,
                });
            }
        }
    }
    rows
}

/// The digging of a season.
///
/// # Errors
/// A grouping that turns and digs do not allow.
pub fn digging(
    turns: &[TurnRow],
    runs: &[RunRow],
    group_by: Option<GroupBy>,
    thresholds: &Thresholds,
    basis: Basis,
) -> Result<SeasonDigging, NoSuchGroups> {
    possible("digging", group_by, GROUPS)?;
    let mut left_out = Tally::default();
    let mut rows: Vec<Row<'_>> = turns.iter().map(Row::Turn).collect();
    for run in runs {
        match Dig::of(run) {
            Ok(Some(dig)) => rows.push(Row::Dig(run, dig)),
            Ok(None) => {}
            Err(why) => left_out.add(why),
        }
    }
    let figures = DiggingFigures::of(&rows, thresholds);
    let groups = group_by.map(|by| grouped(rows, |row| row.keys().group(by, thresholds)));
    let groups = groups
        .into_iter()
        .flatten()
        .map(|(group, rows)| DiggingGroup { group, figures: DiggingFigures::of(&rows, thresholds) })
        .collect();
    let settings = [("rotation_interval_s", thresholds.rotation_interval_s)];
    let footing = basis.footing(&left_out, &[], &settings);
    Ok(SeasonDigging { figures, group_by, groups, footing })
}

/// A dig whose time, depth and people are known.
#[derive(Clone, Copy)]
struct Dig {
    seconds: f64,
    depth_m: f64,
    people: usize,
}

impl Dig {
    /// `Ok(None)`: nobody dug there.
    fn of(run: &RunRow) -> Result<Option<Dig>, &'static str> {
        if run.t_digging_s.is_none() && run.people_dug == 0 {
            return Ok(None);
        }
        if let Some(why) = run.not_counted() {
            return Err(why);
        }
        let known = || {
            let seconds = run.t_airway_s? - run.t_digging_s?;
            Some((seconds, run.depth_slope_normal_cm? / 100.0)).filter(|_| run.people_dug > 0)
        };
        let (seconds, depth_m) = known().ok_or(INCOMPLETE_DIG)?;
        if seconds <= 0.0 {
            return Err(reason::ORDER);
        }
        if depth_m <= 0.0 {
            return Err(INCOMPLETE_DIG);
        }
        Ok(Some(Dig { seconds, depth_m, people: run.people_dug }))
    }
}

enum Row<'r> {
    Turn(&'r TurnRow),
    Dig(&'r RunRow, Dig),
}

impl Row<'_> {
    fn keys(&self) -> Keys<'_> {
        match self {
            Row::Turn(turn) => Keys {
                date: turn.date,
                area: &turn.area,
                form: turn.form,
                team: turn.team.as_deref(),
                orientation: turn.orientation,
                writer: None,
            },
            Row::Dig(run, _) => run.keys(),
        }
    }
}

impl DiggingFigures {
    fn of(rows: &[Row<'_>], thresholds: &Thresholds) -> DiggingFigures {
        let mut lengths_s = Vec::new();
        let mut digs = Vec::new();
        for row in rows {
            match row {
                Row::Turn(turn) => lengths_s.push(turn.length_s),
                Row::Dig(_, dig) => digs.push(*dig),
            }
        }
        let mut why = Why::default();
        let none = |_| "no turn with a known length; n = 0".to_owned();
        let median_s = why.kept("turns", median(&lengths_s).map_err(none));
        let overdue = lengths_s.iter().filter(|s| **s > thresholds.rotation_interval_s).count();
        let turns = Turns {
            n: lengths_s.len(),
            median_s,
            longest_s: median_s.and_then(|_| lengths_s.iter().copied().reduce(f64::max)),
            overdue,
            few: few(lengths_s.len()),
        };
        DiggingFigures { turns, model: Model::of(&digs), why }
    }
}

impl Model {
    fn of(digs: &[Dig]) -> Model {
        let n = digs.len();
        if n < FEWEST_DIGS {
            let refused = format!(
                "a model of digging needs at least {FEWEST_DIGS} digs with time, depth and people; n = {n}"
            );
            return Model::Refused { n, refused };
        }
        let ln = |value: &dyn Fn(&Dig) -> f64| digs.iter().map(|d| value(d).ln()).collect::<Vec<f64>>();
        let (seconds, depth, people) = (ln(&|d| d.seconds), ln(&|d| d.depth_m), ln(&|d| d.people as f64));
        match least_squares(&seconds, &[("depth", &depth), ("people", &people)]) {
            Ok(fit) => Model::Fitted(Fitted::of(&fit, digs)),
            Err(why) => Model::Refused { n, refused: why.to_string() },
        }
    }
}

impl Fitted {
    fn of(fit: &Fit, digs: &[Dig]) -> Fitted {
        let [a, b, c] = [fit.coefficients[0], fit.coefficients[1], fit.coefficients[2]];
        let depth = digs.iter().map(|d| d.depth_m);
        let people = digs.iter().map(|d| d.people);
        Fitted {
            n: fit.n,
            a: a.estimate,
            b: b.estimate,
            c: c.estimate,
            ci95: FittedCi { a: a.ci95, b: b.ci95, c: c.ci95 },
            residual_sd: fit.residual_sd,
            depth_m: [depth.clone().fold(f64::MAX, f64::min), depth.fold(0.0, f64::max)],
            people: [people.clone().min().unwrap_or(0), people.max().unwrap_or(0)],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::testing::record;
    use super::super::runs::tests::run;
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use serde_json::json;

    fn turn(team: &str, length_s: f64) -> TurnRow {
        TurnRow {
            date: "2027-02-06".parse().unwrap(),
            area: "Upper Bowl".to_owned(),
            form: None,
            team: Some(team.to_owned()),
            orientation: None,
            length_s,
        }
    }

    fn asked(turns: &[TurnRow], runs: &[RunRow], by: Option<GroupBy>) -> SeasonDigging {
        digging(turns, runs, by, &Thresholds::default(), Basis::default()).unwrap()
    }

    /// A dig of `seconds` after 60 s.
    fn dig(seconds: f64, depth_cm: f64, people: usize) -> RunRow {
        run(
            json!({"t_digging_s": 60.0, "t_airway_s": 60.0 + seconds, "depth_slope_normal_cm": depth_cm, "people_dug": people}),
        )
    }

    #[test]
    fn turns_have_a_median_and_a_longest() {
        // Rescue facts, section 11: turns of 240, 240, 60 and 60 s; 240 is not longer than the interval.
        let turns =
            [240.0, 240.0, 60.0, 60.0, 241.0].map(|s| turn(if s < 100.0 { "Blue" } else { "Red" }, s));
        let all = asked(&turns, &[], Some(GroupBy::Team));
        let t = &all.figures.turns;
        assert_eq!((t.n, t.median_s, t.longest_s, t.overdue), (5, Some(240.0), Some(241.0), 1));
        let groups: Vec<_> =
            all.groups.iter().map(|g| (g.group.as_str(), g.figures.turns.median_s)).collect();
        assert_eq!(groups, [("Blue", Some(60.0)), ("Red", Some(240.0))]);
        let none = asked(&[], &[], None).figures;
        assert_eq!((none.turns.n, none.turns.median_s, none.turns.longest_s), (0, None, None));
        assert!(none.why.0["turns"].contains("n = 0"));
    }

    #[test]
    fn digging_time_is_a_power_of_depth_and_people() {
        // T = 600 s * D^1.5 / N exactly.
        let runs: Vec<RunRow> = [
            (50.0, 1),
            (80.0, 2),
            (100.0, 3),
            (120.0, 2),
            (150.0, 4),
            (90.0, 1),
            (60.0, 3),
            (200.0, 5),
            (110.0, 2),
            (70.0, 4),
        ]
        .map(|(cm, n)| dig(600.0 * f64::powf(cm / 100.0, 1.5) / n as f64, cm, n))
        .into();
        let Model::Fitted(fit) = asked(&[], &runs, None).figures.model else { panic!("ten digs") };
        assert!(
            (fit.a - 600.0_f64.ln()).abs() < 1e-9 && (fit.b - 1.5).abs() < 1e-9 && (fit.c + 1.0).abs() < 1e-9
        );
        assert_eq!((fit.n, fit.depth_m, fit.people), (10, [0.5, 2.0], [1, 5]));
        let Model::Refused { n, refused } = asked(&[], &runs[..9], None).figures.model else {
            panic!("nine digs")
        };
        assert!(n == 9 && refused.contains("n = 9"));
        let alike: Vec<RunRow> = (0..12).map(|i| dig(300.0 + f64::from(i), 50.0 + f64::from(i), 3)).collect();
        let Model::Refused { refused, .. } = asked(&[], &alike, None).figures.model else {
            panic!("one crew size")
        };
        assert!(refused.contains("people is the same in all 12"), "{refused}");
    }

    #[test]
    fn digs_that_lack_something_are_counted() {
        let runs = [
            dig(300.0, 100.0, 0),
            dig(300.0, 0.0, 2),
            dig(-5.0, 100.0, 2),
            run(json!({"t_signal_s": 40.0})),
            run(json!({"t_digging_s": 60.0, "ended_why": "cancelled"})),
        ];
        let left_out = asked(&[], &runs, None).footing.left_out;
        let told: Vec<_> = left_out.iter().map(|l| (l.reason.as_str(), l.n)).collect();
        assert_eq!(told, [(INCOMPLETE_DIG, 2), (reason::CANCELLED, 1), (reason::ORDER, 1)]);
    }

    #[test]
    fn a_day_gives_its_turns() {
        let record = record(
            r#"
            {"kind":"drill","at":"10:00:00","label":"1","team":"Red","form":"digging"}
            {"kind":"target","at":"10:00:00","drill":"1","label":"A","orientation":"upright"}
            {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
            {"kind":"rotation","at":"10:01:00","drill":"1","target":"A","front":"P1"}
            {"kind":"rotation","at":"10:03:00","drill":"1","target":"A","front":"P2","ended_at":"10:04:30"}
            {"kind":"drill","at":"11:00:00","label":"2"}
            {"kind":"moment","at":"11:00:00","drill":"2","step":"start"}
            {"kind":"rotation","at":"11:01:00","drill":"2","front":"P1"}
            {"kind":"drill","at":"12:00:00","label":"3"}
            {"kind":"moment","at":"12:00:00","drill":"3","step":"start"}
            {"kind":"rotation","at":"12:01:00","drill":"3","front":"P1"}
            {"kind":"moment","at":"12:02:00","drill":"3","step":"end","why":"cancelled"}
        "#,
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let mut left_out = Tally::default();
        let rows = turn_rows(&view, &Thresholds::default(), &mut left_out);
        let told: Vec<_> = rows.iter().map(|r| (r.length_s, r.team.as_deref(), r.orientation)).collect();
        let red = (Some("Red"), Some(Orientation::Upright));
        assert_eq!(told, [(120.0, red.0, red.1), (90.0, red.0, red.1)]);
        let told: Vec<_> = left_out.list().into_iter().map(|l| (l.reason, l.n)).collect();
        assert_eq!(told, [(NO_END.to_owned(), 1), (reason::CANCELLED.to_owned(), 1)]);
    }
}
