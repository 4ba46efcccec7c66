//! Drills with several targets: in which order they were found, whether two searchers were led to one while another lay unattended, whether a
//! found transmitter was switched off or suppressed before moving on, and who with a role in the drill was never written of.

use super::timeline::{DrillTimes, STEPS};
use super::view::{TargetRef, Told, View};
use crate::entry::{Body, CallSign, Outcome, Step};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// How several targets were worked through.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct SeveralTargets {
    /// The targets in the order of their strikes; those without a strike last
    pub order: Vec<OrderLine>,
    /// Where two people were at one target while another had nobody
    pub led_to_one: Vec<LedToOne>,
    /// People with a role in this drill of whom no step, strike, turn or track was written; leads, instructors and observers apart
    pub not_written_of: Vec<String>,
}

/// One target in the order of finding.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct OrderLine {
    /// Label of the target
    pub target: String,
    /// Strike, s from start
    pub t_strike_s: Option<f64>,
    /// What was done with its transmitter before the next target's first step: `transmitter_off`, `suppressed`, or null for neither
    pub silenced_by: Option<Step>,
    /// Whether that came before the next target's first step; null for the last target and where no later step was written
    pub silenced_before_next: Option<bool>,
}

/// Two people at one target while another had nobody.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct LedToOne {
    /// Label of the target to which they were led
    pub target: String,
    /// Who was there before its strike, by call sign
    pub people: Vec<String>,
    /// When the second of them came, s from start
    pub since_s: f64,
    /// Labels of the targets of which no step by anyone was written by then
    pub unattended: Vec<String>,
}

impl SeveralTargets {
    /// How a drill's targets were worked through; `None` for a drill of one target or without a start.
    #[must_use]
    pub fn of(
        view: &View<'_>,
        drill: &str,
        targets: &[TargetRef],
        times: &DrillTimes,
    ) -> Option<SeveralTargets> {
        if targets.len() < 2 {
            return None;
        }
        times.start.as_ref()?;
        let mut visits: BTreeMap<String, Vec<Visit>> = BTreeMap::new();
        for told in view.of_drill(drill) {
            let Some(target) = told.at_target.map(|at| targets[at].folded.clone()) else { continue };
            let Some((_, person)) = search_step(*told) else { continue };
            let Some(t_s) = times.since_start_s(view, *told, told.entry.common.at) else { continue };
            let person = person.map(|p| view.things.person(&p.0));
            visits.entry(target).or_default().push(Visit { t_s, person });
        }
        visits.values_mut().for_each(|v| v.sort_by(|a, b| a.t_s.total_cmp(&b.t_s)));
        Some(SeveralTargets {
            order: order(targets, times),
            led_to_one: led_to_one(view, targets, times, &visits),
            not_written_of: not_written_of(view, drill),
        })
    }
}

/// A step of the search at a target.
struct Visit {
    t_s: f64,
    /// Folded call sign, where the step says whose it was.
    person: Option<String>,
}

/// A step up to the strike, and whose it was.
fn search_step(told: Told<'_>) -> Option<(Step, Option<&CallSign>)> {
    let search =
        |step| matches!(step, Step::Signal | Step::Coarse | Step::Fine | Step::Probing | Step::Strike);
    match &told.entry.body {
        Body::Moment(m) if search(m.step) && told.settled(&["at", "step", "person"]) => {
            Some((m.step, m.person.as_ref()))
        }
        Body::Strike(s) if s.outcome == Some(Outcome::Hit) && told.settled(&["at", "outcome", "person"]) => {
            Some((Step::Strike, s.person.as_ref()))
        }
        _ => None,
    }
}

fn order(targets: &[TargetRef], times: &DrillTimes) -> Vec<OrderLine> {
    let first_s = |i: usize| STEPS.iter().filter_map(|s| times.targets[i].t_s(*s)).reduce(f64::min);
    let mut struck: Vec<usize> = (0..targets.len()).collect();
    let strike_s = |i: &usize| times.targets[*i].t_strike_s;
    struck.sort_by(|a, b| {
        strike_s(a).unwrap_or(f64::INFINITY).total_cmp(&strike_s(b).unwrap_or(f64::INFINITY))
    });
    let line = |(place, i): (usize, &usize)| {
        let own = &times.targets[*i];
        let silenced =
            [(Step::TransmitterOff, own.t_transmitter_off_s), (Step::Suppressed, own.t_suppressed_s)]
                .into_iter()
                .filter_map(|(step, t)| Some((t?, step)))
                .min_by(|a, b| a.0.total_cmp(&b.0));
        let next_s = struck.get(place + 1).and_then(|next| first_s(*next));
        let moved_on_s = next_s.filter(|_| own.t_strike_s.is_some());
        OrderLine {
            target: targets[*i].label.clone(),
            t_strike_s: own.t_strike_s,
            silenced_by: silenced.map(|s| s.1),
            silenced_before_next: moved_on_s.map(|next| silenced.is_some_and(|s| s.0 <= next)),
        }
    };
    struck.iter().enumerate().map(line).collect()
}

fn led_to_one(
    view: &View<'_>,
    targets: &[TargetRef],
    times: &DrillTimes,
    visits: &BTreeMap<String, Vec<Visit>>,
) -> Vec<LedToOne> {
    let mut found = Vec::new();
    for (i, target) in targets.iter().enumerate() {
        let until_s = times.targets[i].t_strike_s.unwrap_or(f64::INFINITY);
        let before = visits.get(&target.folded).into_iter().flatten().filter(|v| v.t_s <= until_s);
        let mut came: Vec<(&String, f64)> = Vec::new();
        for visit in before {
            if let Some(person) = visit.person.as_ref().filter(|p| came.iter().all(|(c, _)| c != p)) {
                came.push((person, visit.t_s));
            }
        }
        let Some((_, since_s)) = came.get(1) else { continue };
        let unattended = |other: &&TargetRef| {
            other.folded != target.folded
                && visits.get(&other.folded).and_then(|v| v.first()).is_none_or(|v| v.t_s > *since_s)
        };
        let unattended: Vec<String> = targets.iter().filter(unattended).map(|t| t.label.clone()).collect();
        if !unattended.is_empty() {
            let people = came.iter().map(|(who, _)| view.call_sign(who)).collect();
            found.push(LedToOne { target: target.label.clone(), people, since_s: *since_s, unattended });
        }
    }
    found
}

/// People with a working role in a drill of whom no work was written.
fn not_written_of(view: &View<'_>, drill: &str) -> Vec<String> {
    use crate::entry::Role;
    let mut seen = BTreeSet::new();
    for told in view.of_drill(drill) {
        let person = match &told.entry.body {
            Body::Moment(m) => m.person.as_ref(),
            Body::Strike(s) => s.person.as_ref(),
            Body::Track(t) => Some(&t.person),
            Body::Rotation(r) => {
                seen.extend(r.shovellers.iter().flatten().map(|s| view.things.person(&s.0)));
                r.front.as_ref()
            }
            _ => None,
        };
        seen.extend(person.map(|p| view.things.person(&p.0)));
    }
    let watches = |role: &Role| matches!(role, Role::Lead | Role::Instructor | Role::Observer);
    let of_drill = view.things.roles.iter().filter(|((d, _), role)| d == drill && !watches(role));
    of_drill.filter(|((_, who), _)| !seen.contains(who)).map(|((_, who), _)| view.call_sign(who)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use crate::insight::testing::record;

    #[test]
    fn two_were_led_to_one_while_another_had_nobody() {
        let record = record(
            r#"
            {"kind":"person","at":"09:00:00","call_sign":"S1","drill":"1","role":"searcher"}
            {"kind":"person","at":"09:00:00","call_sign":"S3","drill":"1","role":"searcher"}
            {"kind":"person","at":"09:00:00","call_sign":"Lead","drill":"1","role":"lead"}
            {"kind":"target","at":"09:00:00","drill":"1","label":"A"}
            {"kind":"target","at":"09:00:00","drill":"1","label":"B"}
            {"kind":"moment","at":"10:00:00","drill":"1","step":"start"}
            {"kind":"moment","at":"10:01:00","drill":"1","target":"A","step":"signal","person":"S1"}
            {"kind":"moment","at":"10:01:30","drill":"1","target":"A","step":"coarse","person":"s1"}
            {"kind":"moment","at":"10:02:00","drill":"1","target":"A","step":"coarse","person":"S2"}
            {"kind":"strike","at":"10:03:00","drill":"1","target":"A","outcome":"hit","person":"S1"}
            {"kind":"moment","at":"10:04:00","drill":"1","target":"B","step":"signal","person":"S2"}
            {"kind":"moment","at":"10:04:30","drill":"1","target":"A","step":"transmitter_off"}
            {"kind":"strike","at":"10:06:00","drill":"1","target":"B","outcome":"hit","person":"S2"}
        "#,
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let targets = view.targets("1");
        let times = DrillTimes::of(&view, "1", &targets);
        let several = SeveralTargets::of(&view, "1", &targets, &times).unwrap();
        let led = LedToOne {
            target: "A".to_owned(),
            people: vec!["S1".to_owned(), "S2".to_owned()],
            since_s: 120.0,
            unattended: vec!["B".to_owned()],
        };
        assert_eq!(several.led_to_one, [led]);
        assert_eq!(several.not_written_of, ["S3"]);
        let told: Vec<_> = several.order.iter().map(|o| (o.target.as_str(), o.t_strike_s)).collect();
        assert_eq!(told, [("A", Some(180.0)), ("B", Some(360.0))]);
        // A was switched off at 270 s, after B's signal at 240 s.
        assert_eq!(several.order[0].silenced_by, Some(Step::TransmitterOff));
        assert_eq!(several.order[0].silenced_before_next, Some(false));
        assert_eq!(several.order[1].silenced_before_next, None);
    }
}
