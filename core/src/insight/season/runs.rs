//! How a run counts in the statistics of a season: whether a step was reached, until when the run was watched if not, and its group. A run is a
//! drill with a start at one of its targets; the rows are those of the table `runs`.

use super::super::left_out::reason;
use super::super::tables::RunRow;
use super::group::GroupBy;
use super::keys::Keys;
use crate::entry::{EndReason, Step, fold};

/// By what runs can be grouped.
pub const GROUPS: &[GroupBy] = &[
    GroupBy::Form,
    GroupBy::Team,
    GroupBy::Area,
    GroupBy::Day,
    GroupBy::Month,
    GroupBy::Season,
    GroupBy::Orientation,
];

/// Why a run or a step of it does not count.
pub mod not_counted {
    /// No start, no times.
    pub const NO_START: &str = "nobody wrote the start of the drill";
    /// Neither reached nor ended.
    pub const OPEN: &str = "open: neither the step nor an end was written, and the drill has no limit";
    /// Reached at a time that nobody wrote.
    pub const UNWRITTEN: &str = "the step was not written although a later one was";
}

/// What a run says of one step, in seconds from start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Watched {
    /// It was reached then.
    Reached(f64),
    /// The run ended then without it, by its end or else by its limit.
    EndedBefore(f64),
    /// Neither the step nor an end was written, and there is no limit.
    Open,
    /// It was not written, but a later step was: it was reached or skipped at a time that nobody knows.
    Unwritten,
    /// It, or the end, lies before the start.
    BeforeStart,
}

impl RunRow {
    /// When a step was reached, s from start; `None` also for steps that belong to the drill.
    #[must_use]
    pub fn t_s(&self, step: Step) -> Option<f64> {
        match step {
            Step::Signal => self.t_signal_s,
            Step::Coarse => self.t_coarse_s,
            Step::Fine => self.t_fine_s,
            Step::Probing => self.t_probing_s,
            Step::Strike => self.t_strike_s,
            Step::Digging => self.t_digging_s,
            Step::Airway => self.t_airway_s,
            Step::Extricated => self.t_extricated_s,
            Step::Start
            | Step::TransmitterOff
            | Step::Suppressed
            | Step::Pause
            | Step::Resume
            | Step::End => None,
        }
    }

    /// What this run says of a step.
    #[must_use]
    pub fn watched(&self, step: Step) -> Watched {
        let later = super::super::timeline::STEPS.iter().skip_while(|s| **s != step).skip(1);
        let passed = || later.clone().any(|s| self.t_s(*s).is_some());
        match (self.t_s(step), self.ended_t_s.or(self.limit_s)) {
            (Some(t), _) if t < 0.0 => Watched::BeforeStart,
            (Some(t), _) => Watched::Reached(t),
            (None, _) if passed() => Watched::Unwritten,
            (None, Some(end)) if end < 0.0 => Watched::BeforeStart,
            (None, Some(end)) => Watched::EndedBefore(end),
            (None, None) => Watched::Open,
        }
    }

    /// Why this run is in no statistics of times; `None` if it is.
    #[must_use]
    pub fn not_counted(&self) -> Option<&'static str> {
        if self.ended_why == Some(EndReason::Cancelled) {
            Some(reason::CANCELLED)
        } else {
            self.started_at.is_none().then_some(not_counted::NO_START)
        }
    }

    /// What says to which group this run belongs.
    #[must_use]
    pub fn keys(&self) -> Keys<'_> {
        Keys {
            date: self.date,
            area: &self.area,
            form: self.form,
            team: self.team.as_deref(),
            orientation: self.orientation,
            writer: None,
        }
    }

    /// The drill of this run, the same for runs of one drill of one day.
    #[must_use]
    pub fn drill_key(&self) -> (crate::day::DayId, String) {
        (self.day, fold(&self.drill))
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use serde_json::{Value, json};

    /// A run of drill 1 on 6 February 2027 with a start, and what `more` says over it.
    pub(crate) fn run(more: Value) -> RunRow {
        let mut fields = json!({
            "day": "00112233445566778899aabbccddeeff", "date": "2027-02-06", "area": "Upper Bowl", "drill": "1",
            "target": "A", "targets": 1, "started_at": "2027-02-06T10:05:00.000+01:00", "paused_s": 0.0,
            "people_dug": 0
        });
        let map = fields.as_object_mut().unwrap();
        map.extend(more.as_object().unwrap().clone());
        serde_json::from_value(fields).unwrap()
    }

    #[test]
    fn a_run_is_watched_until_its_step_its_end_or_its_limit() {
        let strike = |more| run(more).watched(Step::Strike);
        assert_eq!(strike(json!({"t_strike_s": 200.0, "ended_t_s": 100.0})), Watched::Reached(200.0));
        assert_eq!(
            strike(json!({"t_fine_s": 90.0, "ended_t_s": 300.0, "limit_s": 600.0})),
            Watched::EndedBefore(300.0)
        );
        assert_eq!(strike(json!({"limit_s": 600.0})), Watched::EndedBefore(600.0));
        assert_eq!(strike(json!({"t_fine_s": 90.0})), Watched::Open);
        assert_eq!(strike(json!({"t_airway_s": 500.0, "ended_t_s": 510.0})), Watched::Unwritten);
        assert_eq!(strike(json!({"t_strike_s": -1.0})), Watched::BeforeStart);
        assert_eq!(strike(json!({"ended_t_s": -1.0})), Watched::BeforeStart);
    }

    #[test]
    fn a_run_called_off_or_without_a_start_does_not_count() {
        assert_eq!(run(json!({})).not_counted(), None);
        assert_eq!(run(json!({"ended_why": "cancelled"})).not_counted(), Some(reason::CANCELLED));
        assert_eq!(run(json!({"started_at": null})).not_counted(), Some(not_counted::NO_START));
    }
}
