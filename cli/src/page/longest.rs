//! What took longest: the longest phase of each run, the longest of the day first, and targets that nobody struck.
//!
//! The time to the first signal of a target that came after another target's strike is no phase of work: others were searched and dug out in it.
//! It is left out of this comparison.

use super::words;
use crate::view::stopwatch;
use firnbook_core::insight::debrief::{Debrief, DrillAnswer, TargetAnswer};
use firnbook_core::insight::slowest::Phase;
use maud::{Markup, html};

/// The longest phase of one run.
#[derive(Clone, Copy)]
struct Longest<'a> {
    drill: &'a DrillAnswer,
    target: &'a TargetAnswer,
    phase: Phase,
    took_s: f64,
}

/// How many runs are listed beside the longest.
const LISTED: usize = 5;

/// The panel.
pub(super) fn panel(debrief: &Debrief) -> Markup {
    let runs = || debrief.drills.iter().flat_map(|d| d.targets.iter().map(move |t| (d, t)));
    let mut longest: Vec<Longest<'_>> = runs().filter_map(|(d, t)| of_run(d, t)).collect();
    longest.sort_by(|a, b| b.took_s.total_cmp(&a.took_s));
    let never = runs().filter_map(|(d, t)| {
        let ended = t.times.ended?.t_s?;
        t.times.t_strike_s.is_none().then(|| words::never_struck(&d.label, &t.times.label, ended))
    });
    let never: Vec<String> = never.take(LISTED).collect();
    html! {
        section.panel aria-labelledby="longest" {
            h2 id="longest" { (words::TOOK_LONGEST) }
            @match longest.split_first() {
                None => p { (words::NO_TIMES) },
                Some((first, others)) => {
                    p.big { (words::phase_long(first.phase)) " " b { (stopwatch(Some(first.took_s))) } }
                    p { (words::of_run(&first.drill.label, &first.target.times.label, first.took_s, first.target.times.t_airway_s)) }
                    @if let (Phase::StrikeToAirway, Some(digging)) = (first.phase, first.target.times.within.digging) {
                        p { (words::digging_part(digging)) }
                    }
                    @if let Some(slow) = &first.target.slowest { p { (words::slowest(slow)) } }
                    @if !others.is_empty() {
                        h3 { (words::IN_EACH_RUN) }
                        ul {
                            @for run in others.iter().take(LISTED) {
                                li {
                                    (words::run(&run.drill.label, &run.target.times.label)) ": "
                                    (words::phase(run.phase)) " " b { (stopwatch(Some(run.took_s))) }
                                }
                            }
                        }
                    }
                }
            }
            @if !never.is_empty() { ul { @for line in &never { li.alarm { (line) } } } }
        }
    }
}

fn of_run<'a>(drill: &'a DrillAnswer, target: &'a TargetAnswer) -> Option<Longest<'a>> {
    let struck_before = |signal_s: f64| {
        drill
            .targets
            .iter()
            .any(|t| t.times.label != target.times.label && t.times.t_strike_s.is_some_and(|s| s < signal_s))
    };
    let waited = target.times.t_signal_s.is_some_and(struck_before);
    let phases = Phase::ALL.into_iter().filter(|phase| *phase != Phase::Signal || !waited);
    let took = phases.filter_map(|phase| Some((phase, phase.took(&target.times.durations)?)));
    let (phase, took_s) = took.max_by(|a, b| a.1.total_cmp(&b.1))?;
    Some(Longest { drill, target, phase, took_s })
}

/// The longest phase of a drill, and the number of its target.
pub(super) fn of_drill(drill: &DrillAnswer) -> Option<(usize, Phase)> {
    let runs = drill.targets.iter().enumerate().filter_map(|(i, t)| Some((i, of_run(drill, t)?)));
    runs.max_by(|a, b| a.1.took_s.total_cmp(&b.1.took_s)).map(|(i, longest)| (i, longest.phase))
}
