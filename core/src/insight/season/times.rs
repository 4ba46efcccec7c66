//! When steps are reached, over the runs of a season: curves of 'not yet reached' in which a run that ended before a step counts until then.
//! How a run counts is in `runs`; whether runs pass a test is judged in `passed`.

use super::super::cautions;
use super::super::left_out::{Tally, reason};
use super::super::tables::RunRow;
use super::super::thresholds::Thresholds;
use super::super::timeline::STEPS;
use super::footing::{Basis, Footing, Why, few};
use super::group::{GroupBy, NOT_SAID};
use super::keys::{NoSuchGroups, grouped, possible};
use super::passed::{Passed, TestDefinition, TestError};
use super::runs::{GROUPS, Watched};
use crate::entry::Step;
use crate::stats::Refused;
use crate::stats::survival::{Bounds, Curve, LogRank, Observation, common_horizon, log_rank};
use schemars::JsonSchema;
use serde::Serialize;

/// Most points a curve is answered with.
pub const CURVE_POINTS: usize = 512;

/// What is asked.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, Default)]
pub struct TimesAsk {
    /// By what is grouped.
    pub group_by: Option<GroupBy>,
    /// Up to when means are restricted, s from start; `None`: the smallest over the groups of the largest observed time.
    pub horizon_s: Option<f64>,
    /// The test by which drills are judged; `None`: each by its own limit and the step that stops its clock.
    pub test: Option<TestDefinition>,
    /// The thresholds in force.
    pub thresholds: Thresholds,
}

/// Why times were not answered.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TimesError {
    /// A grouping that runs do not allow.
    #[error(transparent)]
    Groups(#[from] NoSuchGroups),
    /// A test definition that can't be used.
    #[error(transparent)]
    Test(#[from] TestError),
    /// A horizon that is no time.
    #[error("the horizon is {0} s; give a time from start above 0, up to 86400 s")]
    Horizon(f64),
}

/// The answer of `stats times`.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Times {
    /// Each step after start
    pub steps: Vec<StepTimes>,
    /// How many drills passed their test
    pub passed: Passed,
    /// By what is grouped
    pub group_by: Option<GroupBy>,
    /// What the answer stands on
    #[serde(flatten)]
    pub footing: Footing,
}

/// The times of one step.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct StepTimes {
    /// The step
    pub step: Step,
    /// The figures over all runs
    #[serde(flatten)]
    pub figures: TimesFigures,
    /// The figures of each group, by name
    pub groups: Vec<TimesGroup>,
    /// Log-rank test between the groups that have a name, without continuity correction; null with the reason in `why`
    pub logrank: Option<LogRank>,
}

/// One group of runs.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct TimesGroup {
    /// What the group is called
    pub group: String,
    /// Its figures
    #[serde(flatten)]
    pub figures: TimesFigures,
}

/// When a step was reached. What does not exist is null, and `why` says why.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct TimesFigures {
    /// Number of runs, from start until the step or the end
    pub n: usize,
    /// Runs that reached it
    pub events: usize,
    /// Runs that ended before it, or reached their limit without an end
    pub censored: usize,
    /// Runs that count nowhere here: neither the step nor an end was written, and there is no limit
    pub open: usize,
    /// Runs that count nowhere here: a later step was written and this one not
    pub unwritten: usize,
    /// Time from start at which half had reached it, s; the middle where the curve stays at one half
    pub median_s: Option<f64>,
    /// Times at which the two bands of the curve are at one half, s; an end is null where its band stays above
    pub median_ci95: Bounds,
    /// Mean time from start without having reached it, up to the horizon, s
    pub restricted_mean_s: Option<f64>,
    /// The horizon, s from start: unless given, the smallest over the groups of the largest observed time
    pub horizon_s: Option<f64>,
    /// Kaplan-Meier curve of 'not yet reached'; of more than 512 steps evenly chosen ones, first and last included
    pub curve: Vec<CurvePoint>,
    /// Says that n is small
    pub few: Option<String>,
    /// Why a figure is null, by its name
    pub why: Why,
}

/// A step of a curve.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CurvePoint {
    /// Time from start, s
    pub t_s: f64,
    /// Runs still under way just before
    pub at_risk: usize,
    /// Runs that reached it at this time; 0 where runs only ended
    pub events: usize,
    /// Share that has not reached it after this time, 0 to 1
    pub not_yet: f64,
    /// Lower 95 % band by Greenwood's variance on the log-log scale; null where the curve is 0
    pub lo: Option<f64>,
    /// Upper 95 % band by Greenwood's variance on the log-log scale; null where the curve is 0
    pub hi: Option<f64>,
}

/// The times of a season's runs.
///
/// # Errors
/// A grouping that runs do not allow, a horizon that is no time, and a test definition that can't be used.
pub fn times(runs: &[RunRow], ask: &TimesAsk, basis: Basis) -> Result<Times, TimesError> {
    possible("times", ask.group_by, GROUPS)?;
    if let Some(horizon_s) = ask.horizon_s.filter(|h| !(*h > 0.0 && *h <= 86_400.0)) {
        return Err(TimesError::Horizon(horizon_s));
    }
    let mut left_out = Tally::default();
    let mut counted: Vec<&RunRow> = Vec::new();
    for run in runs {
        match run.not_counted() {
            Some(why) => left_out.add(why),
            None => counted.push(run),
        }
    }
    let passed = Passed::of(&counted, ask.test.as_ref(), ask.group_by, &ask.thresholds)?;
    let groups = match ask.group_by {
        Some(by) => grouped(counted.iter().copied(), |run| run.keys().group(by, &ask.thresholds)),
        None => vec![(NOT_SAID.to_owned(), counted)],
    };
    let steps = STEPS.iter().map(|step| StepTimes::of(*step, &groups, ask, &mut left_out)).collect();
    let settings = [("season_start_month", ask.thresholds.season_start_month)];
    let settings = if ask.group_by == Some(GroupBy::Season) { &settings[..] } else { &[] };
    let footing = basis.footing(&left_out, &[cautions::CLOCKS, cautions::CURVES], settings);
    Ok(Times { steps, passed, group_by: ask.group_by, footing })
}

/// What the runs of a group say of one step.
#[derive(Default)]
struct Seen {
    observed: Vec<Observation>,
    open: usize,
    unwritten: usize,
}

impl Seen {
    fn add(&mut self, watched: Watched, left_out: &mut Tally) {
        match watched {
            Watched::Reached(time) => self.observed.push(Observation { time, reached: true }),
            Watched::EndedBefore(time) => self.observed.push(Observation { time, reached: false }),
            Watched::Open => self.open += 1,
            Watched::Unwritten => self.unwritten += 1,
            Watched::BeforeStart => left_out.add(reason::ORDER),
        }
    }
}

impl StepTimes {
    fn of(step: Step, groups: &[(String, Vec<&RunRow>)], ask: &TimesAsk, left_out: &mut Tally) -> StepTimes {
        let mut all = Seen::default();
        let mut of_groups = Vec::new();
        for (name, runs) in groups {
            let mut seen = Seen::default();
            for run in runs {
                seen.add(run.watched(step), left_out);
            }
            all.open += seen.open;
            all.unwritten += seen.unwritten;
            all.observed.extend_from_slice(&seen.observed);
            of_groups.push((name, seen));
        }
        if ask.group_by.is_none() {
            of_groups.clear();
        }
        let curves: Vec<Curve> = of_groups.iter().filter_map(|(_, s)| Curve::of(&s.observed).ok()).collect();
        let horizon_s = ask.horizon_s.or_else(|| common_horizon(&curves.iter().collect::<Vec<_>>()));
        let mut figures = TimesFigures::of(&all, horizon_s);
        let logrank = figures.why.kept("logrank", between(&of_groups));
        let groups = of_groups
            .into_iter()
            .map(|(name, seen)| TimesGroup {
                group: name.clone(),
                figures: TimesFigures::of(&seen, horizon_s),
            })
            .collect();
        StepTimes { step, figures, groups, logrank }
    }
}

/// The test between the groups that have a name and runs.
fn between(groups: &[(&String, Seen)]) -> Result<LogRank, String> {
    let named = groups.iter().filter(|(name, seen)| *name != NOT_SAID && !seen.observed.is_empty());
    let observed: Vec<&[Observation]> = named.map(|(_, seen)| seen.observed.as_slice()).collect();
    if observed.len() < 2 {
        return Err(format!("a log-rank test compares groups, and there are {} with runs", observed.len()));
    }
    log_rank(&observed).map_err(|refused| refused.to_string())
}

impl TimesFigures {
    fn of(seen: &Seen, horizon_s: Option<f64>) -> TimesFigures {
        let mut why = Why::default();
        let nothing = |refused: Refused| match seen.observed.as_slice() {
            [] => "no run says when this step was reached or until when it was not; n = 0".to_owned(),
            _ => refused.to_string(),
        };
        let curve = why.kept("curve", Curve::of(&seen.observed).map_err(nothing));
        let curve = curve.as_ref();
        let never = || match curve {
            None => "there is no curve".to_owned(),
            Some(c) => {
                format!("by the last time observed less than half had reached it: {} of {}", c.events, c.n)
            }
        };
        let median_s = why.some("median_s", curve.and_then(|c| c.median), never);
        let median_ci95 = curve.map_or(Bounds { lower: None, upper: None }, |c| c.median_ci95);
        if median_ci95.lower.is_none() || median_ci95.upper.is_none() {
            let text = "where an end is null its band was never at one half while runs were watched";
            why.0.insert("median_ci95".to_owned(), text.to_owned());
        }
        let horizon_s = horizon_s.or(curve.map(Curve::horizon));
        let restricted_mean_s = match curve.zip(horizon_s) {
            Some((curve, horizon)) => why.kept("restricted_mean_s", curve.restricted_mean(horizon)),
            None => why.some("restricted_mean_s", None, || "there is no curve".to_owned()),
        };
        let n = seen.observed.len();
        TimesFigures {
            n,
            events: curve.map_or(0, |c| c.events),
            censored: curve.map_or(0, |c| c.censored),
            open: seen.open,
            unwritten: seen.unwritten,
            median_s,
            median_ci95,
            restricted_mean_s,
            horizon_s,
            curve: curve.map(points).unwrap_or_default(),
            few: few(n),
            why,
        }
    }
}

fn points(curve: &Curve) -> Vec<CurvePoint> {
    let steps = &curve.steps;
    let point = |i: usize| CurvePoint {
        t_s: steps[i].time,
        at_risk: steps[i].at_risk,
        events: steps[i].events,
        not_yet: steps[i].not_yet,
        lo: steps[i].lo,
        hi: steps[i].hi,
    };
    if steps.len() <= CURVE_POINTS {
        return (0..steps.len()).map(point).collect();
    }
    (0..CURVE_POINTS).map(|k| point(k * (steps.len() - 1) / (CURVE_POINTS - 1))).collect()
}

#[cfg(test)]
mod tests {
    use super::super::runs::tests::run;
    use super::*;
    use serde_json::json;

    fn asked(runs: &[RunRow], ask: TimesAsk) -> Times {
        times(runs, &ask, Basis::default()).unwrap()
    }

    fn of(times: &Times, step: Step) -> &StepTimes {
        times.steps.iter().find(|s| s.step == step).unwrap()
    }

    #[test]
    fn a_run_that_ended_before_the_step_counts_until_then() {
        // Strikes at 100 and 300 s; one ended at 200 s without; one open; one whose strike nobody wrote; one called off.
        // At 100 s: 3 under way, 2/3 left. At 300 s: the last one, 0 left. Median 300 s; mean up to 300 s: 100 + 200 * 2/3.
        let runs = [
            run(json!({"t_strike_s": 100.0})),
            run(json!({"t_strike_s": 300.0})),
            run(json!({"t_fine_s": 90.0, "ended_t_s": 200.0, "ended_why": "done"})),
            run(json!({"t_fine_s": 90.0})),
            run(json!({"t_airway_s": 500.0})),
            run(json!({"t_strike_s": 10.0, "ended_why": "cancelled"})),
        ];
        let times = asked(&runs, TimesAsk::default());
        let f = &of(&times, Step::Strike).figures;
        assert_eq!((f.n, f.events, f.censored, f.open, f.unwritten), (3, 2, 1, 1, 1));
        assert_eq!((f.median_s, f.horizon_s), (Some(300.0), Some(300.0)));
        assert!((f.restricted_mean_s.unwrap() - (100.0 + 200.0 * 2.0 / 3.0)).abs() < 1e-9);
        let curve: Vec<_> = f.curve.iter().map(|p| (p.t_s, p.at_risk, p.events)).collect();
        assert_eq!(curve, [(100.0, 3, 1), (200.0, 2, 0), (300.0, 1, 1)]);
        assert!(f.few.is_some() && f.why.0["logrank"].contains("groups"));
        assert_eq!(times.footing.left_out.iter().find(|l| l.reason == reason::CANCELLED).unwrap().n, 1);
    }

    #[test]
    fn all_censored_has_a_curve_and_a_sentence_for_a_median() {
        let runs = [run(json!({"limit_s": 600.0})), run(json!({"ended_t_s": 300.0}))];
        let times = asked(&runs, TimesAsk { horizon_s: Some(900.0), ..TimesAsk::default() });
        let f = &of(&times, Step::Airway).figures;
        assert_eq!((f.n, f.events, f.censored, f.median_s, f.restricted_mean_s), (2, 0, 2, None, None));
        assert!(f.curve.iter().all(|p| p.not_yet == 1.0));
        assert!(f.why.0["median_s"].contains("0 of 2"));
        assert!(f.why.0["restricted_mean_s"].contains("nothing is known beyond"));
    }

    #[test]
    fn nothing_has_an_answer_without_figures() {
        let times = asked(&[], TimesAsk { group_by: Some(GroupBy::Team), ..TimesAsk::default() });
        assert_eq!(times.steps.len(), 8);
        let f = &times.steps[0].figures;
        assert_eq!((f.n, f.median_s, f.horizon_s, f.curve.len()), (0, None, None, 0));
        assert!(f.why.0["curve"].contains("n = 0") && f.why.0.contains_key("median_s"));
        assert!(times.passed.why.0["share"].contains("0"));
    }

    #[test]
    fn groups_share_a_horizon_and_are_tested_against_one_another() {
        let red = [100.0, 150.0, 200.0].map(|t| run(json!({"team": "Red", "t_signal_s": t})));
        let blue = [300.0, 350.0].map(|t| run(json!({"team": "blue", "t_signal_s": t})));
        let runs: Vec<RunRow> =
            red.into_iter().chain(blue).chain([run(json!({"t_signal_s": 50.0}))]).collect();
        let times = asked(&runs, TimesAsk { group_by: Some(GroupBy::Team), ..TimesAsk::default() });
        let signal = of(&times, Step::Signal);
        let told: Vec<_> =
            signal.groups.iter().map(|g| (g.group.as_str(), g.figures.n, g.figures.horizon_s)).collect();
        // The one run without a team has the smallest of the largest times.
        assert_eq!(told, [("Red", 3, Some(50.0)), ("blue", 2, Some(50.0)), (NOT_SAID, 1, Some(50.0))]);
        // Log-rank by hand, Red against blue: at 100, 150 and 200 s 3, 2, 1 of 5, 4, 3 are Red; expected 0.6 + 0.5 + 1/3, variance
        // 0.24 + 0.25 + 2/9.
        let (excess, variance) = (3.0 - (0.6 + 0.5 + 1.0 / 3.0), 0.24 + 0.25 + 2.0 / 9.0);
        let logrank = signal.logrank.unwrap();
        assert!((logrank.chi2 - excess * excess / variance).abs() < 1e-12 && logrank.df == 1);
        let refused = times_error(TimesAsk { group_by: Some(GroupBy::Writer), ..TimesAsk::default() });
        assert!(refused.contains("group by form, team"), "{refused}");
        let refused = times_error(TimesAsk { horizon_s: Some(f64::NAN), ..TimesAsk::default() });
        assert!(refused.contains("above 0"), "{refused}");
    }

    fn times_error(ask: TimesAsk) -> String {
        times(&[], &ask, Basis::default()).unwrap_err().to_string()
    }

    #[test]
    fn a_long_curve_is_answered_at_evenly_chosen_steps() {
        let runs: Vec<RunRow> = (1..=2000).map(|t| run(json!({"t_signal_s": f64::from(t)}))).collect();
        let times = asked(&runs, TimesAsk::default());
        let curve = &of(&times, Step::Signal).figures.curve;
        assert_eq!((curve.len(), curve[0].t_s, curve[511].t_s), (CURVE_POINTS, 1.0, 2000.0));
        assert!(curve.windows(2).all(|w| w[0].t_s < w[1].t_s));
    }
}
