//! Times until something is reached, where some runs end before they reach it: Kaplan-Meier curves, their median and
//! restricted mean, and the log-rank test between groups. A curve says what share has not reached it yet.

use schemars::JsonSchema;
use serde::Serialize;

use super::distribution::{Z, chi_squared_above};
use super::{Refused, at_least, finite};

/// How near to one half a curve counts as one half, as in R's survival package: sums of fractions round.
const HALF_WIDTH: f64 = 1.5e-8;

/// One run, watched from its start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation {
    /// Time since the start, 0 or more.
    pub time: f64,
    /// Whether it was reached then; otherwise the run ended there without (right censored).
    pub reached: bool,
}

/// Kaplan-Meier curve (1958) of 'not yet reached'.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct Curve {
    /// Number of runs, at least 1.
    pub n: usize,
    /// Runs that reached it.
    pub events: usize,
    /// Runs that ended before.
    pub censored: usize,
    /// Time at which the curve is at one half, the middle where it stays at one half; null if it stays above.
    pub median: Option<f64>,
    /// Times at which the two bands are at one half.
    pub median_ci95: Bounds,
    /// A step for every different time, rising; before the first the curve is 1.
    pub steps: Vec<Step>,
}

/// One time of a curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Step {
    /// Time since the start.
    pub time: f64,
    /// Runs still under way just before.
    pub at_risk: usize,
    /// Runs that reached it at this time; 0 where runs only ended.
    pub events: usize,
    /// Share that has not reached it after this time, 0 to 1.
    pub not_yet: f64,
    /// Lower 95 % band by Greenwood's variance (1926) on the log-log scale; null where the curve is 0.
    pub lo: Option<f64>,
    /// Upper 95 % band by Greenwood's variance (1926) on the log-log scale; null where the curve is 0.
    pub hi: Option<f64>,
}

/// An interval of which either end may be unknown; in JSON `[lower, upper]` with null for an unknown end.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[serde(into = "[Option<f64>; 2]")]
#[schemars(with = "[Option<f64>; 2]")]
pub struct Bounds {
    /// Lower end, none if it was not reached while anyone was watched.
    pub lower: Option<f64>,
    /// Upper end, none if it was not reached while anyone was watched.
    pub upper: Option<f64>,
}

impl From<Bounds> for [Option<f64>; 2] {
    fn from(bounds: Bounds) -> Self {
        [bounds.lower, bounds.upper]
    }
}

impl Curve {
    /// The curve of `runs`. Where runs end at a time at which others reach it, those that end count as under way.
    ///
    /// # Errors
    /// No runs, and times that are negative or not finite.
    pub fn of(runs: &[Observation]) -> Result<Self, Refused> {
        let runs = in_order(runs)?;
        let (mut at_risk, mut not_yet, mut greenwood) = (runs.len(), 1.0, 0.0);
        let mut steps = Vec::new();
        for same_time in runs.chunk_by(|a, b| a.time == b.time) {
            let events = reached(same_time);
            let (risk, reaching) = (at_risk as f64, events as f64);
            not_yet *= (risk - reaching) / risk;
            greenwood += reaching / (risk * (risk - reaching));
            let (lo, hi) = bands(not_yet, greenwood).unzip();
            steps.push(Step { time: same_time[0].time, at_risk, events, not_yet, lo, hi });
            at_risk -= same_time.len();
        }
        let events = reached(&runs);
        Ok(Self {
            n: runs.len(),
            events,
            censored: runs.len() - events,
            median: at_half(&steps, |step| Some(step.not_yet)),
            median_ci95: Bounds {
                lower: at_half(&steps, |step| step.lo),
                upper: at_half(&steps, |step| step.hi),
            },
            steps,
        })
    }

    /// Largest time at which anyone was watched.
    pub fn horizon(&self) -> f64 {
        self.steps.last().map_or(0.0, |step| step.time)
    }

    /// Mean time spent without having reached it, up to `horizon`: the area under the curve.
    ///
    /// # Errors
    /// A negative horizon, and one after the last time watched unless all had reached it by then.
    pub fn restricted_mean(&self, horizon: f64) -> Result<f64, Refused> {
        let known = self.steps.last().is_some_and(|step| step.not_yet == 0.0) || horizon <= self.horizon();
        if !known || !(0.0..=super::LARGEST).contains(&horizon) {
            let range = "between 0 and the last time watched: nothing is known beyond it";
            return Err(Refused::OutOfRange {
                what: "the horizon of a restricted mean",
                value: horizon,
                range,
            });
        }
        let (mut area, mut since, mut height) = (0.0, 0.0, 1.0);
        for step in self.steps.iter().take_while(|step| step.time < horizon) {
            area += height * (step.time - since);
            (since, height) = (step.time, step.not_yet);
        }
        Ok(area + height * (horizon - since))
    }
}

/// Largest time up to which every curve is known: the horizon at which their restricted means can be compared. None
/// without curves.
pub fn common_horizon(curves: &[&Curve]) -> Option<f64> {
    curves.iter().map(|curve| curve.horizon()).min_by(f64::total_cmp)
}

/// Test whether groups reach it at different paces.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct LogRank {
    /// Test statistic, 0 or more.
    pub chi2: f64,
    /// Degrees of freedom: groups that were still watched when something was first reached, less 1.
    pub df: usize,
    /// Probability of a statistic at least as large if the groups do not differ.
    pub p: f64,
}

/// Log-rank test (Mantel 1966, Peto and Peto 1972) between two or more groups, without continuity correction.
///
/// # Errors
/// Empty groups, times that are negative or not finite, and groups that are never watched together while something is
/// reached.
pub fn log_rank(groups: &[&[Observation]]) -> Result<LogRank, Refused> {
    let groups = groups.iter().map(|runs| in_order(runs)).collect::<Result<Vec<_>, _>>()?;
    let mut times: Vec<f64> = groups.iter().flatten().filter(|run| run.reached).map(|run| run.time).collect();
    times.sort_unstable_by(f64::total_cmp);
    times.dedup();
    // All groups are under way at the start, so a group that is not at the first event is at none.
    let first = times.first().copied().unwrap_or(f64::INFINITY);
    let groups: Vec<_> =
        groups.into_iter().filter(|runs| runs.last().is_some_and(|run| run.time >= first)).collect();

    let others = groups.len().saturating_sub(1);
    let mut excess = vec![0.0; others];
    let mut covariance = vec![vec![0.0; others]; others];
    for time in times {
        let under_way = |runs: &Vec<Observation>| runs.len() - runs.partition_point(|run| run.time < time);
        let at_risk: Vec<f64> = groups.iter().map(|runs| under_way(runs) as f64).collect();
        let reaching = |runs: &Vec<Observation>| {
            let from = runs.partition_point(|run| run.time < time);
            reached(&runs[from..runs.partition_point(|run| run.time <= time)])
        };
        let events: Vec<f64> = groups.iter().map(|runs| reaching(runs) as f64).collect();
        let (n, d) = (at_risk.iter().sum::<f64>(), events.iter().sum::<f64>());
        let variance = if n > 1.0 { d * (n - d) / (n - 1.0) } else { 0.0 };
        for i in 0..others {
            excess[i] += events[i] - d * at_risk[i] / n;
            for j in 0..others {
                let same = if i == j { 1.0 } else { 0.0 };
                covariance[i][j] += variance * at_risk[i] / n * (same - at_risk[j] / n);
            }
        }
    }
    let Some(chi2) = quadratic(covariance, &excess).filter(|_| others > 0) else {
        let why = "no two groups are under way together while something is reached in one of them".to_owned();
        return Err(Refused::Undetermined { what: "a log-rank test", why });
    };
    Ok(LogRank { chi2, df: others, p: chi_squared_above(chi2, others) })
}

fn in_order(runs: &[Observation]) -> Result<Vec<Observation>, Refused> {
    at_least("a curve of times", 1, runs.len())?;
    finite(&runs.iter().map(|run| run.time).collect::<Vec<_>>())?;
    if let Some(run) = runs.iter().find(|run| run.time < 0.0) {
        return Err(Refused::OutOfRange {
            what: "a time since the start",
            value: run.time,
            range: "0 or more",
        });
    }
    let mut runs = runs.to_vec();
    runs.sort_unstable_by(|a, b| a.time.total_cmp(&b.time));
    Ok(runs)
}

fn reached(runs: &[Observation]) -> usize {
    runs.iter().filter(|run| run.reached).count()
}

fn bands(not_yet: f64, greenwood: f64) -> Option<(f64, f64)> {
    if not_yet <= 0.0 {
        return None;
    }
    if not_yet >= 1.0 {
        return Some((1.0, 1.0));
    }
    let stretch = (Z * greenwood.sqrt() / not_yet.ln()).exp();
    Some((not_yet.powf(1.0 / stretch), not_yet.powf(stretch)))
}

/// First time at which a falling curve is at most one half; where it stays at one half, the middle of that stretch.
fn at_half(steps: &[Step], height: impl Fn(&Step) -> Option<f64>) -> Option<f64> {
    let mut low = steps.iter().filter_map(|step| Some((step.time, height(step)?)));
    let (time, reached) = low.find(|(_, height)| *height < 0.5 + HALF_WIDTH)?;
    if (reached - 0.5).abs() >= HALF_WIDTH {
        return Some(time);
    }
    Some(low.find(|(_, height)| *height < reached).map_or(time, |(next, _)| f64::midpoint(time, next)))
}

/// x' M^-1 x for a symmetric positive definite M, by elimination; none if M is not.
fn quadratic(mut m: Vec<Vec<f64>>, x: &[f64]) -> Option<f64> {
    let mut x = x.to_vec();
    let mut total = 0.0;
    for pivot in 0..x.len() {
        if m[pivot][pivot] <= 0.0 {
            return None;
        }
        total += x[pivot] * x[pivot] / m[pivot][pivot];
        let (done, left) = m.split_at_mut(pivot + 1);
        let (top, over) = (&done[pivot], x[pivot]);
        for (row, value) in left.iter_mut().zip(&mut x[pivot + 1..]) {
            let factor = row[pivot] / top[pivot];
            *value -= factor * over;
            row.iter_mut().zip(top).for_each(|(cell, above)| *cell -= factor * above);
        }
    }
    Some(total)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Times in order; a negative one stands for a run that ended there without reaching it.
    fn runs(times: &[f64]) -> Vec<Observation> {
        times.iter().map(|time| Observation { time: time.abs(), reached: *time > 0.0 }).collect()
    }

    fn curve(times: &[f64]) -> Curve {
        Curve::of(&runs(times)).expect("times")
    }

    #[test]
    fn without_censoring_the_curve_counts_who_is_left() {
        let curve = curve(&[10.0, 20.0, 30.0, 40.0]);
        assert_eq!(curve.steps.iter().map(|step| step.not_yet).collect::<Vec<_>>(), [0.75, 0.5, 0.25, 0.0]);
        assert_eq!(curve.median, Some(25.0));
        assert_eq!(curve.restricted_mean(40.0), Ok(25.0));
        assert_eq!(curve.restricted_mean(1000.0), Ok(25.0));
        assert_eq!((curve.steps[3].lo, curve.steps[3].hi), (None, None));
    }

    #[test]
    fn a_run_that_ended_is_under_way_until_then() {
        let curve = curve(&[10.0, -10.0, 20.0, -30.0]);
        assert_eq!(curve.steps.iter().map(|step| step.at_risk).collect::<Vec<_>>(), [4, 2, 1]);
        assert_eq!(curve.steps.iter().map(|step| step.events).collect::<Vec<_>>(), [1, 1, 0]);
        assert_eq!((curve.n, curve.events, curve.censored), (4, 2, 2));
        assert_eq!(curve.median, Some(20.0));
    }

    #[test]
    fn what_was_not_reached_by_half_has_no_median() {
        let curve = curve(&[10.0, -20.0, -20.0]);
        assert_eq!((curve.median, curve.median_ci95.upper), (None, None));
        assert_eq!(curve.horizon(), 20.0);
        assert!(matches!(curve.restricted_mean(21.0), Err(Refused::OutOfRange { .. })));
    }

    #[test]
    fn a_curve_that_ends_at_one_half_has_its_median_there() {
        assert_eq!(curve(&[10.0, -20.0]).median, Some(10.0));
    }

    #[test]
    fn groups_that_never_meet_cannot_be_compared() {
        let early = runs(&[-1.0, -2.0]);
        let late = runs(&[5.0, 6.0]);
        assert!(matches!(log_rank(&[&early, &late]), Err(Refused::Undetermined { .. })));
        assert!(matches!(log_rank(&[&late]), Err(Refused::Undetermined { .. })));
        assert!(matches!(log_rank(&[&late, &[]]), Err(Refused::TooFew { .. })));
        let same = log_rank(&[&late, &late]).expect("two groups");
        assert_eq!((same.chi2, same.df, same.p), (0.0, 1, 1.0));
    }

    #[test]
    fn a_time_before_the_start_is_refused() {
        let before = [Observation { time: -1.0, reached: true }];
        assert!(matches!(Curve::of(&before), Err(Refused::OutOfRange { .. })));
    }
}
