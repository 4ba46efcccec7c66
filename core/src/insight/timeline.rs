//! The time line of a drill: when each step of each target was reached, counted from the drill's start with pauses taken out.
//!
//! The instant of a step is the median over its writers of each one's first, not struck-out press; so is the start. A moment `strike` and a
//! strike with outcome `hit` are one step. Of presses that people settled as different
//! events only the earliest event counts. How presses are gathered is in `presses`.

use super::left_out::{Tally, reason};
use super::presses::Presses;
pub use super::presses::{Instant, Pauses};
use super::view::{TargetRef, Told, View};
use crate::day::ClockName;
use crate::entry::{Body, EndReason, Step, Time};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// The steps of a target after start, in the order in which they are reached.
pub const STEPS: [Step; 8] = [
    Step::Signal,
    Step::Coarse,
    Step::Fine,
    Step::Probing,
    Step::Strike,
    Step::Digging,
    Step::Airway,
    Step::Extricated,
];

/// When a drill was run, and its targets one by one.
#[derive(Clone, Debug, PartialEq)]
pub struct DrillTimes {
    /// The start; `None` if nobody wrote one.
    pub start: Option<Instant>,
    /// The start as a time of day.
    pub started_at: Option<Time>,
    /// Where the drill was halted.
    pub pauses: Pauses,
    /// The end, if someone wrote one.
    pub end: Option<Instant>,
    /// How the drill ended.
    pub ended: Option<Ended>,
    /// The targets, in the order of [`View::targets`].
    pub targets: Vec<TargetTimes>,
    /// The clock beside whose times this drill stands; `None` on the day's common time line.
    pub line: Option<ClockName>,
    /// What could not be used.
    pub left_out: Tally,
}

/// The steps of one target, in seconds from start; pauses are taken out.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct TargetTimes {
    /// Label of the target; empty where a drill has one target that nobody named
    pub label: String,
    /// First stable signal, s from start
    pub t_signal_s: Option<f64>,
    /// Coarse search ended, s from start
    pub t_coarse_s: Option<f64>,
    /// Lowest reading marked, s from start
    pub t_fine_s: Option<f64>,
    /// First probe hole, s from start
    pub t_probing_s: Option<f64>,
    /// Sure strike, s from start
    pub t_strike_s: Option<f64>,
    /// First shovel stroke, s from start
    pub t_digging_s: Option<f64>,
    /// Airway exposed, s from start
    pub t_airway_s: Option<f64>,
    /// Out of the snow, s from start
    pub t_extricated_s: Option<f64>,
    /// The found transmitter was switched off, s from start
    pub t_transmitter_off_s: Option<f64>,
    /// The found transmitter was suppressed on a searcher's device, s from start
    pub t_suppressed_s: Option<f64>,
    /// Time between neighbouring steps; where all are known they sum to the time to the airway
    pub durations: Durations,
    /// Parts of those durations
    pub within: Within,
    /// Pauses taken out between start and the last step reached (without a step, the end), s
    pub paused_s: f64,
    /// Largest half width of any step of this target against start, s; null with the reason beside it
    pub uncertainty_s: Option<f64>,
    /// Why the uncertainty is unknown
    pub uncertainty_why: Option<String>,
    /// Largest disagreement of writers about one step or the start, latest minus earliest, s; null where no step has two writers
    pub spread_s: Option<f64>,
    /// How the drill ended; null if nobody wrote an end
    pub ended: Option<Ended>,
    /// How many writers told of each step that was reached, start first
    pub writers: Vec<StepWriters>,
}

/// Seconds between neighbouring steps; null where one of the two is unknown or they are out of order.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Durations {
    /// Start to first signal, s
    pub signal: Option<f64>,
    /// Signal to the end of the coarse search, s
    pub coarse: Option<f64>,
    /// End of the coarse search to the mark of the lowest reading, s
    pub fine: Option<f64>,
    /// Mark of the lowest reading to the strike, s
    pub pinpoint: Option<f64>,
    /// Strike to airway, s
    pub strike_to_airway: Option<f64>,
}

/// Seconds between steps that lie within the durations; null where one of the two is unknown or they are out of order.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Within {
    /// Mark of the lowest reading to the first probe hole, s
    pub to_first_hole: Option<f64>,
    /// First probe hole to the strike, s
    pub probing: Option<f64>,
    /// Strike to the first shovel stroke, s
    pub to_first_stroke: Option<f64>,
    /// First shovel stroke to the airway, s
    pub digging: Option<f64>,
}

/// How a drill ended.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Ended {
    /// When, s from start; null without a start
    pub t_s: Option<f64>,
    /// Why; null if nobody said or it is in open conflict
    pub why: Option<EndReason>,
}

/// How many writers told of a step, and how far apart they are.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct StepWriters {
    /// The step
    pub step: Step,
    /// Number of writers
    pub n: usize,
    /// Latest minus earliest, s
    pub spread_s: f64,
}

impl TargetTimes {
    /// When a step was reached, s from start; `None` for steps that belong to the drill.
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
            Step::TransmitterOff => self.t_transmitter_off_s,
            Step::Suppressed => self.t_suppressed_s,
            Step::Start | Step::Pause | Step::Resume | Step::End => None,
        }
    }
}

impl DrillTimes {
    /// The time line of a drill.
    #[must_use]
    pub fn of(view: &View<'_>, drill: &str, targets: &[TargetRef]) -> DrillTimes {
        let mut left_out = Tally::default();
        let presses = Presses::of(view, drill, &mut left_out);
        let (start, end) = (presses.instant(Step::Start, None), presses.instant(Step::End, None));
        let pauses = presses.pauses(view, end.as_ref());
        let ended = end.as_ref().map(|end| Ended {
            t_s: start.as_ref().map(|start| pauses.seconds(start.ms, end.ms)),
            why: end_reason(view.of_drill(drill)),
        });
        let mut lines = Vec::new();
        for (at, target) in targets.iter().enumerate() {
            let instants = Instants {
                start: start.as_ref(),
                end: end.as_ref(),
                pauses: &pauses,
                steps: presses.steps(at),
            };
            lines.push(instants.told(&target.label, ended, &mut left_out));
        }
        let started_at =
            start.as_ref().and_then(|s| Time::from_millis(s.ms.round() as i64, presses.utc_offset_min));
        DrillTimes { started_at, pauses, ended, targets: lines, line: presses.line, left_out, start, end }
    }

    /// Seconds from start, pauses taken out, at which the clock of an entry showed `raw`; `None` without a start, and where that clock was
    /// never compared with those of the drill.
    #[must_use]
    pub fn since_start_s(&self, view: &View<'_>, told: Told<'_>, raw: Time) -> Option<f64> {
        let start = self.start.as_ref()?;
        Some(self.pauses.seconds(start.ms, self.on_line_ms(view, told, raw)?))
    }

    /// The same in ms since 1970 UTC on the drill's time line.
    #[must_use]
    pub fn on_line_ms(&self, view: &View<'_>, told: Told<'_>, raw: Time) -> Option<f64> {
        let at = view.clocks.correct(told.noted, raw.millis());
        (at.only_with() == self.line.as_ref()).then_some(at.ms)
    }

    /// Whether the drill was called off.
    #[must_use]
    pub fn cancelled(&self) -> bool {
        self.ended.is_some_and(|e| e.why == Some(EndReason::Cancelled))
    }
}

/// Why a drill ended: what its earliest end says that says it and is not in conflict.
fn end_reason(told: &[Told<'_>]) -> Option<EndReason> {
    told.iter().filter(|t| t.settled(&["step", "why"])).find_map(|t| match &t.entry.body {
        Body::Moment(m) if m.step == Step::End => m.why,
        _ => None,
    })
}

/// The instants that one target's line is made from.
struct Instants<'a> {
    start: Option<&'a Instant>,
    end: Option<&'a Instant>,
    pauses: &'a Pauses,
    steps: BTreeMap<Step, Instant>,
}

impl Instants<'_> {
    fn told(&self, label: &str, ended: Option<Ended>, left_out: &mut Tally) -> TargetTimes {
        let t_s = |step| Some(self.pauses.seconds(self.start?.ms, self.steps.get(&step)?.ms));
        let mut apart = |from: Option<f64>, to: Option<f64>| {
            let s = to? - from?;
            if s < 0.0 {
                left_out.add(reason::ORDER);
            }
            (s >= 0.0).then_some(s)
        };
        let zero = self.start.map(|_| 0.0);
        let durations = Durations {
            signal: apart(zero, t_s(Step::Signal)),
            coarse: apart(t_s(Step::Signal), t_s(Step::Coarse)),
            fine: apart(t_s(Step::Coarse), t_s(Step::Fine)),
            pinpoint: apart(t_s(Step::Fine), t_s(Step::Strike)),
            strike_to_airway: apart(t_s(Step::Strike), t_s(Step::Airway)),
        };
        let within = Within {
            to_first_hole: apart(t_s(Step::Fine), t_s(Step::Probing)),
            probing: apart(t_s(Step::Probing), t_s(Step::Strike)),
            to_first_stroke: apart(t_s(Step::Strike), t_s(Step::Digging)),
            digging: apart(t_s(Step::Digging), t_s(Step::Airway)),
        };
        let uncertainty_s = self.uncertainty_s();
        TargetTimes {
            label: label.to_owned(),
            t_signal_s: t_s(Step::Signal),
            t_coarse_s: t_s(Step::Coarse),
            t_fine_s: t_s(Step::Fine),
            t_probing_s: t_s(Step::Probing),
            t_strike_s: t_s(Step::Strike),
            t_digging_s: t_s(Step::Digging),
            t_airway_s: t_s(Step::Airway),
            t_extricated_s: t_s(Step::Extricated),
            t_transmitter_off_s: t_s(Step::TransmitterOff),
            t_suppressed_s: t_s(Step::Suppressed),
            durations,
            within,
            paused_s: self.paused_s(),
            uncertainty_why: uncertainty_s.is_none().then(|| self.uncertainty_why().to_owned()),
            uncertainty_s,
            spread_s: self.told_instants().filter(|i| i.n > 1).map(|i| i.spread_ms / 1000.0).reduce(f64::max),
            ended,
            writers: self.writers(),
        }
    }

    fn told_instants(&self) -> impl Iterator<Item = &Instant> {
        self.start.into_iter().chain(self.steps.values())
    }

    fn uncertainty_s(&self) -> Option<f64> {
        let start = self.start?;
        let steps: Option<Vec<f64>> = self.steps.values().map(|i| start.uncertainty_to_ms(i)).collect();
        steps?.into_iter().reduce(f64::max).map(|ms| ms / 1000.0)
    }

    fn uncertainty_why(&self) -> &'static str {
        match (self.start, self.steps.is_empty()) {
            (None, _) => "nobody wrote the start of this drill",
            (_, true) => "no step of this target was written",
            _ => "a clock of this drill was never compared with the others",
        }
    }

    fn paused_s(&self) -> f64 {
        let last_step = self.steps.values().map(|i| i.ms).reduce(f64::max);
        let last = last_step.or(self.end.map(|e| e.ms));
        match (self.start, last) {
            (Some(start), Some(last)) => self.pauses.between(start.ms, last) / 1000.0,
            _ => 0.0,
        }
    }

    fn writers(&self) -> Vec<StepWriters> {
        let line = |(step, i): (Step, &Instant)| StepWriters { step, n: i.n, spread_s: i.spread_ms / 1000.0 };
        let start = self.start.map(|i| (Step::Start, i));
        start.into_iter().chain(self.steps.iter().map(|(s, i)| (*s, i))).map(line).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::{Clocks, Corrected, RawClocks};
    use crate::day::{Groups, Record};
    use crate::insight::testing::{record, record_with};
    use serde_json::json;

    fn times_by(record: &Record, clocks: &dyn Clocks) -> DrillTimes {
        let groups = Groups::of(record);
        let view = View::new(record, &groups, clocks);
        DrillTimes::of(&view, "1", &view.targets("1"))
    }

    fn times(record: &Record) -> DrillTimes {
        times_by(record, &RawClocks)
    }

    /// The sums of one run, section "Wrong phase order" of the trade facts: 40 + 75 + 50 + 35 + 400 = 600 s.
    const RUN: &str = r#"
        {"kind":"drill","at":"10:00:00","label":"1","slope_deg":30}
        {"kind":"target","at":"10:00:00","drill":"1","label":"A"}
        {"kind":"moment","at":"10:05:00","drill":"1","step":"start"}
        {"kind":"moment","at":"10:05:40","drill":"1","target":"A","step":"signal"}
        {"kind":"moment","at":"10:06:55","drill":"1","target":"a","step":"coarse"}
        {"kind":"moment","at":"10:07:45","drill":"1","step":"fine"}
        {"kind":"strike","at":"10:08:20","drill":"1","target":"A","outcome":"hit","depth_cm":112}
        {"kind":"moment","at":"10:15:00","drill":"1","target":"A","step":"airway"}
        {"kind":"moment","at":"10:16:00","drill":"1","step":"end","why":"done"}
    "#;

    #[test]
    fn neighbouring_durations_sum_to_the_total() {
        let times = times(&record(RUN));
        let a = &times.targets[0];
        let d = a.durations;
        let parts = [d.signal, d.coarse, d.fine, d.pinpoint, d.strike_to_airway].map(Option::unwrap);
        assert_eq!(parts, [40.0, 75.0, 50.0, 35.0, 400.0]);
        assert_eq!((parts.iter().sum::<f64>(), a.t_airway_s), (600.0, Some(600.0)));
        assert_eq!(a.ended, Some(Ended { t_s: Some(660.0), why: Some(EndReason::Done) }));
        assert_eq!((a.paused_s, a.spread_s, a.uncertainty_s), (0.0, None, Some(0.0)));
        assert_eq!(times.started_at.unwrap().to_string(), "2027-02-06T10:05:00.000+01:00");
        assert_eq!(a.within, Within::default());
    }

    #[test]
    fn a_step_is_the_median_of_each_writers_first() {
        // Starts 0, +1 and +4 s: zero is +1 s. Strikes of Obs1: a moment at 200 s and a hit at 203 s, of which the first counts;
        // Obs2's at 206 s: 203 s of day, 202 s from start. The void press of Obs3 would have moved both.
        let lines = r#"
            {"kind":"target","at":"10:00:00","drill":"1","label":"A"}
            {"kind":"moment","at":"10:05:00","drill":"1","step":"start"}
            {"kind":"moment","at":"10:05:01","drill":"1","step":"start","by":"Obs2"}
            {"kind":"moment","at":"10:05:04","drill":"1","step":"start","by":"Obs3"}
            {"kind":"moment","at":"10:05:30","drill":"1","step":"start","by":"Obs2"}
            {"kind":"moment","at":"10:08:20","drill":"1","target":"A","step":"strike"}
            {"kind":"strike","at":"10:08:23","drill":"1","target":"A","outcome":"hit"}
            {"kind":"strike","at":"10:08:26","drill":"1","target":"A","outcome":"hit","by":"obs2"}
            {"kind":"moment","at":"10:07:00","drill":"1","target":"A","step":"strike","by":"Obs3"}
            {"kind":"strike","at":"10:06:00","drill":"1","target":"A","outcome":"false_strike"}
        "#;
        let times = times(&record_with(lines, &[("#9/void", json!("wrong drill"))]));
        let a = &times.targets[0];
        assert_eq!((a.t_strike_s, a.spread_s), (Some(202.0), Some(6.0)));
        let n: Vec<(Step, usize)> = a.writers.iter().map(|w| (w.step, w.n)).collect();
        assert_eq!(n, [(Step::Start, 3), (Step::Strike, 2)]);
    }

    #[test]
    fn of_presses_settled_as_different_the_earliest_counts() {
        let lines = r#"
            {"kind":"moment","at":"10:05:00","drill":"1","step":"start"}
            {"kind":"moment","at":"10:06:00","drill":"1","step":"signal"}
            {"kind":"moment","at":"10:06:30","drill":"1","step":"signal","by":"Obs2"}
            {"kind":"moment","at":"10:06:32","drill":"1","step":"signal","by":"Obs3"}
        "#;
        assert_eq!(times(&record(lines)).targets[0].t_signal_s, Some(90.0));
        let settled = record_with(lines, &[("#2~#3", json!(false)), ("#3~#4", json!(true))]);
        let settled = times(&settled);
        assert_eq!(settled.targets[0].t_signal_s, Some(60.0));
        assert_eq!(settled.left_out.list()[0].n, 2);
    }

    #[test]
    fn pauses_are_taken_out_and_said() {
        // Halted from 100 s to 160 s, which a second writer saw from 102 s to 162 s: linked, 101 to 161 s.
        let lines = r#"
            {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
            {"kind":"moment","at":"10:01:30","drill":"1","step":"signal"}
            {"kind":"moment","at":"10:01:40","drill":"1","step":"pause"}
            {"kind":"moment","at":"10:01:42","drill":"1","step":"pause","by":"Obs2"}
            {"kind":"moment","at":"10:02:40","drill":"1","step":"resume"}
            {"kind":"moment","at":"10:02:42","drill":"1","step":"resume","by":"Obs2"}
            {"kind":"moment","at":"10:03:00","drill":"1","step":"coarse"}
            {"kind":"moment","at":"10:04:00","drill":"1","step":"pause"}
            {"kind":"moment","at":"10:05:00","drill":"1","step":"end","why":"safety"}
        "#;
        let linked = [("#3~#4", json!(true)), ("#5~#6", json!(true))];
        let times = times(&record_with(lines, &linked));
        let only = &times.targets[0];
        assert_eq!((only.label.as_str(), only.t_signal_s, only.t_coarse_s), ("", Some(90.0), Some(120.0)));
        assert_eq!((only.durations.coarse, only.paused_s), (Some(30.0), 60.0));
        assert_eq!(only.ended, Some(Ended { t_s: Some(180.0), why: Some(EndReason::Safety) }));
    }

    #[test]
    fn what_can_not_be_placed_is_counted() {
        let lines = r#"
            {"kind":"target","at":"09:00:00","drill":"1","label":"A"}
            {"kind":"target","at":"09:00:00","drill":"1","label":"B"}
            {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
            {"kind":"moment","at":"10:01:30","drill":"1","step":"signal"}
            {"kind":"moment","at":"10:03:00","drill":"1","target":"B","step":"coarse"}
            {"kind":"moment","at":"10:02:00","drill":"1","target":"B","step":"fine"}
            {"kind":"moment","at":"10:04:00","drill":"1","target":"A","step":"coarse"}
        "#;
        let conflict =
            [("#7/at", json!("2027-02-06T10:05:00+01:00")), ("#7/at", json!("2027-02-06T10:06:00+01:00"))];
        let times = times(&record_with(lines, &conflict));
        assert_eq!((times.targets[0].t_coarse_s, times.targets[1].durations.fine), (None, None));
        assert_eq!(times.targets[1].t_fine_s, Some(120.0));
        let reasons: Vec<_> = times.left_out.list().into_iter().map(|l| (l.reason, l.n)).collect();
        let expected = [reason::CONFLICT, reason::NO_TARGET, reason::ORDER].map(|r| (r.to_owned(), 1));
        assert_eq!(reasons, expected);
    }

    #[test]
    fn without_a_start_there_are_no_times() {
        let times = times(&record(r#"{"kind":"moment","at":"10:01:30","drill":"1","step":"signal"}"#));
        assert_eq!((times.targets[0].t_signal_s, times.started_at), (None, None));
        assert!(times.targets[0].uncertainty_why.as_ref().unwrap().contains("start"));
    }

    /// Obs2's clock is 7.1 s ahead, known within half a second; the clock of Obs3 was never compared.
    struct Compared;

    impl Clocks for Compared {
        fn correct(&self, noted: &crate::day::Noted, raw_ms: i64) -> Corrected {
            let device = |by: &str| by.bytes().fold(7, u8::wrapping_add);
            let (raw, by) = (raw_ms as f64, noted.device.0[0]);
            let (ms, u) = if by == device("Obs2") { (raw - 7100.0, 500.0) } else { (raw, 10.0) };
            let uncertainty_ms = (by != device("Obs3")).then_some(u);
            Corrected { ms, uncertainty_ms, clock: noted.at_clock.clone() }
        }
    }

    #[test]
    fn corrected_times_carry_their_uncertainty() {
        let lines = r#"
            {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
            {"kind":"moment","at":"10:00:07.100","drill":"1","step":"start","by":"Obs2"}
            {"kind":"moment","at":"10:01:37.100","drill":"1","step":"signal","by":"Obs2"}
            {"kind":"moment","at":"10:01:00","drill":"1","step":"signal","by":"Obs3"}
        "#;
        let times = times_by(&record(lines), &Compared);
        let only = &times.targets[0];
        assert_eq!((only.t_signal_s, only.uncertainty_s), (Some(90.0), Some(1.0)));
        assert_eq!((only.spread_s, only.uncertainty_why.as_deref()), (Some(0.0), None));
        assert_eq!(times.left_out.list()[0].reason, reason::CLOCK);
    }
}
