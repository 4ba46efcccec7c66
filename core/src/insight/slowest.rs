//! The phase of a run that was slowest against what this team usually needs: its own median over its other runs, never another team's.

use super::tables::RunRow;
use super::thresholds::Thresholds;
use super::timeline::Durations;
use crate::day::DayId;
use crate::entry::{EndReason, fold};
use crate::stats::describe::median;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// A phase between neighbouring steps.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Phase {
    /// start to first signal
    Signal,
    /// signal to the end of the coarse search
    Coarse,
    /// coarse search to the mark of the lowest reading
    Fine,
    /// mark to strike
    Pinpoint,
    /// strike to airway
    StrikeToAirway,
}

/// The phase that took longest against the team's own median.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Slowest {
    /// The phase
    pub phase: Phase,
    /// How long it took, s
    pub took_s: f64,
    /// The team's own median over its other runs, s
    pub team_median_s: f64,
    /// Number of those runs
    pub n: usize,
    /// Time over median
    pub ratio: f64,
}

impl Phase {
    /// Every phase, in the order of a run.
    pub const ALL: [Phase; 5] =
        [Phase::Signal, Phase::Coarse, Phase::Fine, Phase::Pinpoint, Phase::StrikeToAirway];

    /// How long this phase took, s.
    #[must_use]
    pub fn took(self, d: &Durations) -> Option<f64> {
        match self {
            Phase::Signal => d.signal,
            Phase::Coarse => d.coarse,
            Phase::Fine => d.fine,
            Phase::Pinpoint => d.pinpoint,
            Phase::StrikeToAirway => d.strike_to_airway,
        }
    }

    fn took_in(self, run: &RunRow) -> Option<f64> {
        let (from, to) = match self {
            Phase::Signal => (Some(0.0), run.t_signal_s),
            Phase::Coarse => (run.t_signal_s, run.t_coarse_s),
            Phase::Fine => (run.t_coarse_s, run.t_fine_s),
            Phase::Pinpoint => (run.t_fine_s, run.t_strike_s),
            Phase::StrikeToAirway => (run.t_strike_s, run.t_airway_s),
        };
        Some(to? - from?).filter(|s| *s >= 0.0)
    }
}

impl Slowest {
    /// The slowest phase of a run against the team's `others`: runs of other drills or days.
    ///
    /// # Errors
    /// Why it can't be told, in words.
    pub fn of(durations: &Durations, others: &[&RunRow], thresholds: &Thresholds) -> Result<Slowest, String> {
        let least = thresholds.smallest_n as usize;
        let compared = Phase::ALL.iter().filter_map(|phase| {
            let took_s = phase.took(durations)?;
            let usual: Vec<f64> = others.iter().filter_map(|run| phase.took_in(run)).collect();
            let team_median_s = median(&usual).ok().filter(|m| *m > 0.0 && usual.len() >= least)?;
            let ratio = took_s / team_median_s;
            Some(Slowest { phase: *phase, took_s, team_median_s, n: usual.len(), ratio })
        });
        compared.max_by(|a, b| a.ratio.total_cmp(&b.ratio)).ok_or_else(|| {
            format!(
                "the team has fewer than {least} other runs with a phase of this one; n = {}",
                others.len()
            )
        })
    }
}

/// Runs by folded team; those that were called off and those without a team apart.
#[must_use]
pub fn by_team<'r>(runs: impl Iterator<Item = &'r RunRow>) -> BTreeMap<String, Vec<&'r RunRow>> {
    let mut teams: BTreeMap<String, Vec<&'r RunRow>> = BTreeMap::new();
    for run in runs.filter(|run| run.ended_why != Some(EndReason::Cancelled)) {
        if let Some(team) = &run.team {
            teams.entry(fold(team)).or_default().push(run);
        }
    }
    teams
}

/// A team's runs but those of one drill of one day, by its label as it is shown.
#[must_use]
pub fn others<'r>(of_team: &[&'r RunRow], day: DayId, drill: &str) -> Vec<&'r RunRow> {
    of_team.iter().filter(|run| run.day != day || run.drill != drill).copied().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use crate::insight::left_out::Tally;
    use crate::insight::tables::runs;
    use crate::insight::testing::record;
    use crate::insight::view::View;

    #[test]
    fn a_phase_is_slow_against_the_teams_own_median() {
        // Red's other runs: signal after 60, 50 and 70 s, strike 100 s after it each, without the steps between; Blue's count for nothing.
        let run = |drill: &str, team: &str, signal: &str, strike: &str| {
            format!(
                r#"{{"kind":"drill","at":"10:00:00","label":"{drill}","team":"{team}"}}
                {{"kind":"moment","at":"10:00:00","drill":"{drill}","step":"start"}}
                {{"kind":"moment","at":"{signal}","drill":"{drill}","step":"signal"}}
                {{"kind":"moment","at":"{strike}","drill":"{drill}","step":"coarse"}}
                "#
            )
        };
        let lines = run("1", "Red", "10:01:00", "10:02:40")
            + &run("2", "red", "10:00:50", "10:02:30")
            + &run("3", "Red", "10:01:10", "10:02:50")
            + &run("4", "Red", "10:01:30", "10:03:20")
            + &run("5", "Blue", "10:00:01", "10:00:02");
        let record = record(&lines);
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let rows = runs(&view, &mut Tally::default());
        let red = others(&by_team(rows.iter())["red"], record.id, "4");
        let durations = Durations { signal: Some(90.0), coarse: Some(110.0), ..Durations::default() };
        let slowest = Slowest::of(&durations, &red, &Thresholds::default()).unwrap();
        assert_eq!((slowest.phase, slowest.team_median_s, slowest.n), (Phase::Signal, 60.0, 3));
        assert_eq!(slowest.ratio, 1.5);
        let few = Slowest::of(&durations, &red[..2], &Thresholds::default());
        assert!(few.unwrap_err().contains("n = 2"));
    }
}
