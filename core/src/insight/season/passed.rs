//! Which drills pass a test. The test is data: its limit, the step that stops the clock, whether the limit itself still passes, and what it asks
//! of the field.

use super::super::left_out::{LeftOut, Tally, reason};
use super::super::tables::RunRow;
use super::super::thresholds::Thresholds;
use super::footing::{Why, few};
use super::group::GroupBy;
use super::keys::grouped;
use super::runs::{Watched, not_counted};
use crate::entry::{EndReason, Step, StopsAt};
use crate::stats::Interval;
use crate::stats::interval::share;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A test as its rules say it.
#[cfg_attr(feature = "uniffi", firnbook_across::record)]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TestDefinition {
    /// What the test is called
    pub name: String,
    /// Time limit from start, s
    #[schemars(range(min = 1, max = 86400))]
    pub limit_s: f64,
    /// The step that stops the clock, at the last target
    pub stops_at: StopsAt,
    /// Whether the limit itself still passes
    pub inclusive: bool,
    /// Number of transmitters; drills with another number of targets are not judged
    #[schemars(range(min = 1, max = 100))]
    pub transmitters: Option<u32>,
    /// Depth at which they lie, cm; printed, not judged
    pub depth_cm: Option<f64>,
    /// Length and width of the field, m; printed, not judged
    pub area_m: Option<[f64; 2]>,
    /// Largest length and width of a target for the probe, cm; printed, not judged
    pub target_cm: Option<[f64; 2]>,
    /// Whether found transmitters stay on; printed, not judged
    pub found_stay_on: Option<bool>,
    /// How often it may be tried; printed, not judged
    pub attempts: Option<u32>,
    /// Where the rules come from, and how far that was verified
    pub source: Option<String>,
}

/// A test definition that can't be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TestError {
    /// A limit that is no time.
    #[error("the limit of the test \"{name}\" is {limit_s} s; it must be at least 1 and at most 86400 s")]
    Limit {
        /// The test.
        name: String,
        /// The limit given.
        limit_s: f64,
    },
    /// A size or number that can't be.
    #[error("{field} of the test \"{name}\" is {value}; it must be above 0")]
    Size {
        /// The test.
        name: String,
        /// The field.
        field: &'static str,
        /// The value given.
        value: f64,
    },
}

impl TestDefinition {
    /// Tests that an association has published, each with its source.
    #[must_use]
    pub fn published() -> Vec<TestDefinition> {
        vec![TestDefinition {
            name: "four transmitters in eight minutes".to_owned(),
            limit_s: 480.0,
            stops_at: StopsAt::Strike,
            inclusive: true,
            transmitters: Some(4),
            depth_cm: Some(60.0),
            area_m: Some([30.0, 30.0]),
            target_cm: Some([30.0, 30.0]),
            found_stay_on: None,
            attempts: None,
            source: Some(
                "Canadian Ski Guide Association, Level 2 page, read: 4 transmitters, 60 cm, 30 x 30 m, at most 8 min, first found stays on, \
                 probe targets at most 30 x 30 cm. That the strike stops the clock is taken from the probe targets, not read."
                    .to_owned(),
            ),
        }]
    }

    /// Refuses a definition that can't be used.
    ///
    /// # Errors
    /// The field, its value and what it must be.
    pub fn check(&self) -> Result<(), TestError> {
        let name = || self.name.clone();
        if !(1.0..=86_400.0).contains(&self.limit_s) {
            return Err(TestError::Limit { name: name(), limit_s: self.limit_s });
        }
        let pair = |field, pair: Option<[f64; 2]>| pair.map(|p| (field, p[0].min(p[1])));
        let sizes = [
            self.transmitters.map(|n| ("transmitters", f64::from(n))),
            self.depth_cm.map(|cm| ("depth_cm", cm)),
            pair("area_m", self.area_m),
            pair("target_cm", self.target_cm),
            self.attempts.map(|n| ("attempts", f64::from(n))),
        ];
        match sizes.into_iter().flatten().find(|(_, value)| !(*value > 0.0 && value.is_finite())) {
            Some((field, value)) => Err(TestError::Size { name: name(), field, value }),
            None => Ok(()),
        }
    }
}

/// How many drills passed.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Passed {
    /// The test; null: each drill by its own `limit_s` and `stops_at`, the limit itself still passes
    pub test: Option<TestDefinition>,
    /// Drills that passed: every target of theirs was reached in time
    pub k: usize,
    /// Drills that were judged
    pub n: usize,
    /// k / n, 0 to 1
    pub share: Option<f64>,
    /// Interval of Wilson (1927)
    pub ci95: Option<Interval>,
    /// Drills that were not judged, by reason
    pub not_judged: Vec<LeftOut>,
    /// The same of each group, by name
    pub groups: Vec<PassedGroup>,
    /// Says that n is small
    pub few: Option<String>,
    /// Why a figure is null, by its name
    pub why: Why,
}

/// How many drills of a group passed.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PassedGroup {
    /// What the group is called
    pub group: String,
    /// Drills that passed
    pub k: usize,
    /// Drills that were judged
    pub n: usize,
    /// k / n, 0 to 1; null where none was judged
    pub share: Option<f64>,
    /// Interval of Wilson (1927); null where none was judged
    pub ci95: Option<Interval>,
    /// Says that n is small
    pub few: Option<String>,
}

/// Why a drill is not judged.
mod unjudged {
    pub(super) const NO_RULE: &str = "the drill has no limit or says not which step stops its clock";
    pub(super) const OTHER_TARGETS: &str = "another number of targets than the test asks for";
    pub(super) const STOPPED: &str = "stopped for safety or an emergency before the limit";
    pub(super) const SHORTER: &str = "ended by a limit of its own that is shorter than that of the test";
}

impl Passed {
    /// Judges the drills of runs that count.
    ///
    /// # Errors
    /// A test definition that can't be used.
    pub(super) fn of(
        runs: &[&RunRow],
        test: Option<&TestDefinition>,
        group_by: Option<GroupBy>,
        thresholds: &Thresholds,
    ) -> Result<Passed, TestError> {
        test.map_or(Ok(()), TestDefinition::check)?;
        let mut drills: BTreeMap<_, Vec<&RunRow>> = BTreeMap::new();
        for run in runs {
            drills.entry(run.drill_key()).or_default().push(run);
        }
        let mut not_judged = Tally::default();
        let mut judged: Vec<(&RunRow, bool)> = Vec::new();
        for drill in drills.values() {
            match judge(drill, test) {
                Ok(passed) => judged.push((drill[0], passed)),
                Err(why) => not_judged.add(why),
            }
        }
        let counts = |judged: &[(&RunRow, bool)]| (judged.iter().filter(|j| j.1).count(), judged.len());
        let (k, n) = counts(&judged);
        let mut why = Why::default();
        let found = why.kept("share", share(k, n));
        let groups = group_by.map(|by| grouped(judged, |(run, _)| run.keys().group(by, thresholds)));
        let groups = groups.into_iter().flatten().map(|(group, judged)| {
            let (k, n) = counts(&judged);
            let found = share(k, n).ok();
            PassedGroup {
                group,
                k,
                n,
                share: found.map(|s| s.share),
                ci95: found.map(|s| s.ci95),
                few: few(n),
            }
        });
        Ok(Passed {
            test: test.cloned(),
            k,
            n,
            share: found.map(|s| s.share),
            ci95: found.map(|s| s.ci95),
            not_judged: not_judged.list(),
            groups: groups.collect(),
            few: few(n),
            why,
        })
    }
}

/// Whether every target of a drill was reached in time; the runs are those of one drill, at least one.
///
/// # Errors
/// Why it can't be told.
fn judge(drill: &[&RunRow], test: Option<&TestDefinition>) -> Result<bool, &'static str> {
    let run = drill[0];
    let own = || run.limit_s.zip(run.stops_at).map(|(limit_s, stops_at)| (limit_s, stops_at, true));
    let (limit_s, stops_at, inclusive) =
        test.map_or_else(own, |t| Some((t.limit_s, t.stops_at, t.inclusive))).ok_or(unjudged::NO_RULE)?;
    let asked = test.and_then(|t| t.transmitters);
    if asked.is_some_and(|asked| asked as usize != run.targets) {
        return Err(unjudged::OTHER_TARGETS);
    }
    let stop = match stops_at {
        StopsAt::Strike => Step::Strike,
        StopsAt::Airway => Step::Airway,
    };
    let in_time = |t: f64| t < limit_s || (inclusive && t == limit_s);
    let mut all_in_time = true;
    let mut unknown = None;
    for run in drill {
        match run.watched(stop) {
            Watched::Reached(t) => all_in_time &= in_time(t),
            Watched::EndedBefore(end) if end >= limit_s => all_in_time = false,
            Watched::EndedBefore(_) => match run.ended_why {
                Some(EndReason::Safety | EndReason::Emergency) => unknown = Some(unjudged::STOPPED),
                Some(EndReason::Limit) | None if run.limit_s.is_some_and(|own| own < limit_s) => {
                    unknown = Some(unjudged::SHORTER);
                }
                _ => all_in_time = false,
            },
            Watched::Open => unknown = Some(not_counted::OPEN),
            Watched::Unwritten => unknown = Some(not_counted::UNWRITTEN),
            Watched::BeforeStart => unknown = Some(reason::ORDER),
        }
    }
    match unknown {
        // One target too late is enough to fail.
        Some(why) if all_in_time => Err(why),
        _ => Ok(all_in_time),
    }
}

#[cfg(test)]
mod tests {
    use super::super::runs::tests::run;
    use super::*;
    use serde_json::{Value, json};

    fn test() -> TestDefinition {
        let text = json!({"name": "eight minutes", "limit_s": 480, "stops_at": "strike", "inclusive": true});
        serde_json::from_value(text).unwrap()
    }

    fn passed(runs: &[RunRow], test: Option<&TestDefinition>) -> Passed {
        Passed::of(&runs.iter().collect::<Vec<_>>(), test, None, &Thresholds::default()).unwrap()
    }

    fn one(more: Value, test: &TestDefinition) -> Result<bool, String> {
        judge(&[&run(more)], Some(test)).map_err(str::to_owned)
    }

    #[test]
    fn the_limit_itself_passes_if_the_test_says_so() {
        // Rescue facts, section 8: 479.9 s pass, 480.0 s pass, 480.1 s fail.
        let strike = |t: f64, test: &TestDefinition| one(json!({"t_strike_s": t}), test);
        let inclusive = test();
        assert_eq!([479.9, 480.0, 480.1].map(|t| strike(t, &inclusive)), [Ok(true), Ok(true), Ok(false)]);
        let exclusive = TestDefinition { inclusive: false, ..test() };
        assert_eq!([479.9, 480.0, 480.1].map(|t| strike(t, &exclusive)), [Ok(true), Ok(false), Ok(false)]);
        let airway = TestDefinition { stops_at: StopsAt::Airway, ..test() };
        assert_eq!(one(json!({"t_strike_s": 100.0, "t_airway_s": 500.0}), &airway), Ok(false));
    }

    #[test]
    fn seven_of_ten_have_the_interval_of_wilson() {
        // Rescue facts, section 8: Wilson 95 % of 7 of 10 is 0.397 to 0.892.
        let runs: Vec<RunRow> = (0..10)
            .map(|i| run(json!({"drill": i.to_string(), "t_strike_s": if i < 7 { 400.0 } else { 500.0 }})))
            .collect();
        let passed = passed(&runs, Some(&test()));
        assert_eq!((passed.k, passed.n, passed.share), (7, 10, Some(0.7)));
        let ci = passed.ci95.unwrap();
        assert!((ci.lower - 0.397).abs() < 5e-4 && (ci.upper - 0.892).abs() < 5e-4);
    }

    #[test]
    fn a_drill_of_several_targets_passes_with_its_last() {
        let test = TestDefinition { transmitters: Some(2), ..test() };
        let two = |b: Value| {
            [run(json!({"targets": 2, "t_strike_s": 100.0})), {
                let mut b = b;
                b["targets"] = json!(2);
                b["target"] = json!("B");
                run(b)
            }]
        };
        assert_eq!(passed(&two(json!({"t_strike_s": 480.0})), Some(&test)).k, 1);
        let late = passed(&two(json!({"t_strike_s": 481.0})), Some(&test));
        assert_eq!((late.k, late.n), (0, 1));
        let never = passed(&two(json!({"ended_t_s": 300.0, "ended_why": "done"})), Some(&test));
        assert_eq!((never.k, never.n), (0, 1));
        let other = passed(&[run(json!({"t_strike_s": 100.0}))], Some(&test));
        assert_eq!(
            (other.n, other.share, other.not_judged[0].reason.as_str()),
            (0, None, unjudged::OTHER_TARGETS)
        );
        assert!(other.why.0["share"].contains("at least 1"));
    }

    #[test]
    fn what_can_not_be_known_is_not_judged() {
        let test = test();
        let refused = |more| one(more, &test).unwrap_err();
        assert_eq!(refused(json!({})), not_counted::OPEN);
        assert_eq!(refused(json!({"t_airway_s": 300.0})), not_counted::UNWRITTEN);
        assert_eq!(refused(json!({"ended_t_s": 200.0, "ended_why": "safety"})), unjudged::STOPPED);
        assert_eq!(refused(json!({"limit_s": 300.0})), unjudged::SHORTER);
        assert_eq!(
            refused(json!({"limit_s": 300.0, "ended_t_s": 301.0, "ended_why": "limit"})),
            unjudged::SHORTER
        );
        assert_eq!(one(json!({"limit_s": 600.0}), &test), Ok(false));
        assert_eq!(one(json!({"ended_t_s": 200.0, "ended_why": "done"}), &test), Ok(false));
    }

    #[test]
    fn without_a_test_each_drill_is_judged_by_its_own_limit() {
        let runs = [
            run(json!({"drill": "1", "limit_s": 300.0, "stops_at": "strike", "t_strike_s": 300.0})),
            run(
                json!({"drill": "2", "limit_s": 600.0, "stops_at": "airway", "t_strike_s": 100.0, "ended_t_s": 600.0}),
            ),
            run(json!({"drill": "3", "limit_s": 300.0, "t_strike_s": 100.0})),
        ];
        let passed = passed(&runs, None);
        assert_eq!((passed.k, passed.n, passed.not_judged[0].reason.as_str()), (1, 2, unjudged::NO_RULE));
    }

    #[test]
    fn a_definition_that_can_not_be_is_refused_with_its_field() {
        let refused = |t: TestDefinition| t.check().unwrap_err().to_string();
        assert!(refused(TestDefinition { limit_s: 0.0, ..test() }).contains("at least 1"));
        assert!(refused(TestDefinition { limit_s: f64::NAN, ..test() }).contains("NaN"));
        assert!(refused(TestDefinition { area_m: Some([30.0, 0.0]), ..test() }).contains("area_m"));
        let unknown =
            serde_json::from_value::<TestDefinition>(json!({"name": "x", "limits": 3})).unwrap_err();
        assert!(unknown.to_string().contains("limits"), "{unknown}");
        let silent = json!({"name": "x", "limit_s": 3, "stops_at": "strike"});
        assert!(
            serde_json::from_value::<TestDefinition>(silent).unwrap_err().to_string().contains("inclusive")
        );
        assert!(TestDefinition::published().iter().all(|t| t.check().is_ok() && t.source.is_some()));
    }
}
