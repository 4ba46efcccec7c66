//! Who dug how long at each hole of a drill: turns, gaps at the head, idle people, and the snow that was moved. Times are seconds from the
//! drill's start with pauses taken out. The season's model of digging times is in `season`.

use super::depth::TargetDepth;
use super::left_out::{Tally, reason};
use super::snow::Snow;
use super::thresholds::Thresholds;
use super::timeline::DrillTimes;
use super::view::{TargetRef, View};
use crate::entry::{Body, DigManner, EntryId, Role, Rotation};
use crate::stats::describe::{mean, median};
use crate::stats::total;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// The digging of a drill.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Digging {
    /// Everyone who had a turn, by call sign
    pub people: Vec<Digger>,
    /// The holes, one a target that has rotations
    pub heads: Vec<Head>,
    /// Mean work time of those who had a turn, s; null without turns
    pub mean_work_s: Option<f64>,
    /// Longest work time over the mean: 1 where all worked alike; null without turns
    pub max_over_mean: Option<f64>,
    /// People with a searching, probing, digging or learning role in this drill, and their work while the digging went on
    pub idle: Vec<Idle>,
    /// Share of the time of those people in which they had no turn, 0 to 1; null where nobody has such a role or nobody dug
    pub idle_share: Option<f64>,
}

/// One person's turns in a drill.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Digger {
    /// Call sign
    pub call_sign: String,
    /// Time with a shovel, overlapping turns once, s
    pub work_s: f64,
    /// Of that, time at the head of a hole, s
    pub head_s: f64,
    /// Number of turns
    pub turns: usize,
    /// Mean turn, s
    pub mean_turn_s: f64,
    /// Longest turn, s
    pub longest_turn_s: f64,
}

/// The digging of one hole.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Head {
    /// Label of the target; empty where nobody named it
    pub target: String,
    /// Turns at the head, in the order of time
    pub turns: Vec<Turn>,
    /// Stretches longer than the threshold without anyone at the head, between the first turn and the airway
    pub gaps: Vec<Gap>,
    /// Sum of all stretches without anyone at the head, short ones too, s
    pub unattended_s: f64,
    /// Different people who had a turn
    pub people: usize,
    /// Turns strictly longer than the interval of the thresholds
    pub overdue: usize,
    /// The snow that was moved; null with the reason beside it
    pub snow: Option<Snow>,
    /// Why the snow is unknown
    pub snow_why: Option<String>,
}

/// A turn at the shovels.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Turn {
    /// Who dug at the head; null if nobody said
    pub front: Option<String>,
    /// Who shovelled behind
    pub shovellers: Vec<String>,
    /// Start, s from the drill's start
    pub from_s: f64,
    /// End, s from the drill's start; null where nothing says when it ended
    pub to_s: Option<f64>,
    /// Where its end comes from
    pub ended_by: EndedBy,
    /// Strictly longer than the interval of the thresholds
    pub overdue: bool,
    /// How the hole was worked
    pub manner: Option<DigManner>,
    /// Start of the digging downhill of the probe, cm
    pub start_downhill_cm: Option<f64>,
}

/// What says when a turn ended.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum EndedBy {
    /// the entry itself
    Entry,
    /// the next turn at this hole
    NextTurn,
    /// the airway was exposed
    Airway,
    /// the drill ended
    End,
    /// nothing: its length is unknown and counts nowhere
    Nothing,
}

/// A stretch without anyone at the head.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record), uniffi(name = "HeadGap"))]
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Gap {
    /// Start, s from the drill's start
    pub from_s: f64,
    /// End, s from the drill's start
    pub to_s: f64,
}

/// How much of the digging one person with a role stood idle.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Idle {
    /// Call sign
    pub call_sign: String,
    /// Role in this drill
    pub role: Role,
    /// Time in which others dug and this person was there, s
    pub present_s: f64,
    /// Time with a shovel in it, s
    pub work_s: f64,
}

impl Digging {
    /// The digging of a drill whose times and depths are known.
    #[must_use]
    pub fn of(
        view: &View<'_>,
        drill: &str,
        targets: &[TargetRef],
        times: &DrillTimes,
        depths: &[TargetDepth],
        thresholds: &Thresholds,
        left_out: &mut Tally,
    ) -> Digging {
        let setup = view.drill(drill);
        let mut heads = Vec::new();
        let mut spans: BTreeMap<String, Spans> = BTreeMap::new();
        for (target, rotations) in rotations(view, drill, targets, times, left_out) {
            let at = targets.iter().position(|t| t.folded == target);
            let line = at.map(|i| &times.targets[i]);
            let end_s = times.ended.and_then(|e| e.t_s);
            let turns = turns(&rotations, line.and_then(|l| l.t_airway_s), end_s, thresholds);
            for turn in &turns {
                count_work(turn, &mut spans);
            }
            let label = at.map_or(String::new(), |i| targets[i].label.clone());
            let depth = at.map(|i| &depths[i]);
            let digging_s = line.and_then(|l| l.within.digging);
            let widths_cm: Vec<f64> = rotations.iter().filter_map(|r| r.hole_width_cm).collect();
            let snow = Snow::of(&setup, &widths_cm, depth, digging_s, thresholds);
            heads.push(Head::of(label, turns, line.and_then(|l| l.t_airway_s), snow, thresholds));
        }
        let people: Vec<Digger> = spans.iter().map(|(who, s)| s.digger(view, who)).collect();
        let work: Vec<f64> = people.iter().map(|p| p.work_s).collect();
        let mean_work_s = mean(&work).ok();
        let most = work.iter().copied().reduce(f64::max);
        let idle = idle(view, drill, times, &heads, &spans);
        heads.iter_mut().for_each(|head| head.show_call_signs(view));
        let present_s: f64 = idle.iter().map(|i| i.present_s).sum();
        let busy_s: f64 = idle.iter().map(|i| i.work_s).sum();
        Digging {
            people,
            heads,
            mean_work_s,
            max_over_mean: most
                .zip(mean_work_s)
                .filter(|(_, mean)| *mean > 0.0)
                .map(|(max, mean)| max / mean),
            idle_share: (present_s > 0.0).then(|| 1.0 - busy_s / present_s),
            idle,
        }
    }
}

/// One rotation as one or several writers tell it, in seconds from start.
#[derive(Default)]
struct Told {
    from_s: Vec<f64>,
    to_s: Vec<f64>,
    /// Folded call sign at the head.
    front: Option<String>,
    shovellers: Vec<String>,
    manner: Option<DigManner>,
    start_downhill_cm: Option<f64>,
    hole_width_cm: Option<f64>,
}

impl Told {
    fn add(&mut self, view: &View<'_>, rotation: &Rotation, from_s: f64, to_s: Option<f64>) {
        self.from_s.push(from_s);
        self.to_s.extend(to_s);
        let folded = |c: &crate::entry::CallSign| view.things.person(&c.0);
        self.front = self.front.take().or_else(|| rotation.front.as_ref().map(folded));
        for shoveller in rotation.shovellers.iter().flatten().map(folded) {
            if !self.shovellers.contains(&shoveller) {
                self.shovellers.push(shoveller);
            }
        }
        self.manner = self.manner.or(rotation.manner);
        self.start_downhill_cm = self.start_downhill_cm.or(rotation.start_downhill_cm.map(|c| c.0));
        self.hole_width_cm = self.hole_width_cm.or(rotation.hole_width_cm.map(|c| c.0));
    }

    fn starts_s(&self) -> f64 {
        median(&self.from_s).unwrap_or(0.0)
    }
}

/// The rotations of a drill by folded target (empty: none named), each event once, in the order of time.
fn rotations(
    view: &View<'_>,
    drill: &str,
    targets: &[TargetRef],
    times: &DrillTimes,
    left_out: &mut Tally,
) -> BTreeMap<String, Vec<Told>> {
    if times.start.is_none() {
        return BTreeMap::new();
    }
    let mut events: BTreeMap<(String, EntryId), Told> = BTreeMap::new();
    for told in view.of_drill(drill) {
        let Body::Rotation(rotation) = &told.entry.body else { continue };
        if !told.settled(&["at", "ended_at", "front", "shovellers", "hole_width_cm"]) {
            left_out.add(reason::CONFLICT);
            continue;
        }
        let Some(from_s) = times.since_start_s(view, *told, told.entry.common.at) else {
            left_out.add(reason::CLOCK);
            continue;
        };
        // The end was read off the same clock as the start of the turn.
        let to_s = rotation.ended_at.and_then(|ended| times.since_start_s(view, *told, ended));
        let target = told.at_target.map_or_else(String::new, |at| targets[at].folded.clone());
        let key = (target, view.groups.first(told.noted.id));
        events.entry(key).or_default().add(view, rotation, from_s, to_s);
    }
    let mut by_target: BTreeMap<String, Vec<Told>> = BTreeMap::new();
    for ((target, _), told) in events {
        by_target.entry(target).or_default().push(told);
    }
    for rotations in by_target.values_mut() {
        rotations.sort_by(|a, b| a.starts_s().total_cmp(&b.starts_s()));
    }
    by_target
}

fn turns(
    rotations: &[Told],
    airway_s: Option<f64>,
    end_s: Option<f64>,
    thresholds: &Thresholds,
) -> Vec<Turn> {
    let mut turns = Vec::new();
    for (i, told) in rotations.iter().enumerate() {
        let from_s = told.starts_s();
        let next_s = rotations.get(i + 1).map(Told::starts_s);
        let after = |t: Option<f64>| t.filter(|t| *t >= from_s);
        let (to_s, ended_by) = [
            (after(median(&told.to_s).ok()), EndedBy::Entry),
            (after(next_s), EndedBy::NextTurn),
            (after(airway_s), EndedBy::Airway),
            (after(end_s), EndedBy::End),
        ]
        .into_iter()
        .find(|(t, _)| t.is_some())
        .unwrap_or((None, EndedBy::Nothing));
        turns.push(Turn {
            front: told.front.clone(),
            shovellers: told.shovellers.clone(),
            from_s,
            to_s,
            ended_by,
            overdue: to_s.is_some_and(|to| to - from_s > thresholds.rotation_interval_s),
            manner: told.manner,
            start_downhill_cm: told.start_downhill_cm,
        });
    }
    turns
}

/// The spans in which one person worked, in seconds from start.
#[derive(Default)]
struct Spans {
    all: Vec<(f64, f64)>,
    head: Vec<(f64, f64)>,
}

impl Spans {
    fn digger(&self, view: &View<'_>, folded: &str) -> Digger {
        let lengths: Vec<f64> = self.all.iter().map(|(a, b)| b - a).collect();
        Digger {
            call_sign: view.call_sign(folded),
            work_s: covered(&self.all),
            head_s: covered(&self.head),
            turns: lengths.len(),
            mean_turn_s: mean(&lengths).unwrap_or(0.0),
            longest_turn_s: lengths.into_iter().fold(0.0, f64::max),
        }
    }
}

fn count_work(turn: &Turn, spans: &mut BTreeMap<String, Spans>) {
    let Some(to_s) = turn.to_s else { return };
    let span = (turn.from_s, to_s);
    if let Some(front) = &turn.front {
        let of = spans.entry(front.clone()).or_default();
        of.all.push(span);
        of.head.push(span);
    }
    for shoveller in turn.shovellers.iter().filter(|s| turn.front.as_ref() != Some(*s)) {
        spans.entry(shoveller.clone()).or_default().all.push(span);
    }
}

/// Spans made disjoint, rising.
fn joined(spans: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut sorted = spans.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut joined: Vec<(f64, f64)> = Vec::new();
    for (from, to) in sorted {
        match joined.last_mut() {
            Some(last) if from <= last.1 => last.1 = last.1.max(to),
            _ => joined.push((from, to)),
        }
    }
    joined
}

fn covered(spans: &[(f64, f64)]) -> f64 {
    total(joined(spans).iter().map(|(a, b)| b - a))
}

fn overlap(spans: &[(f64, f64)], within: &[(f64, f64)]) -> f64 {
    let within = joined(within);
    let both = |s: &(f64, f64), w: &(f64, f64)| (s.1.min(w.1) - s.0.max(w.0)).max(0.0);
    total(joined(spans).iter().flat_map(|s| within.iter().map(move |w| both(s, w))))
}

impl Head {
    fn of(
        target: String,
        turns: Vec<Turn>,
        airway_s: Option<f64>,
        snow: Result<Snow, String>,
        thresholds: &Thresholds,
    ) -> Head {
        let known: Vec<(f64, f64)> = turns.iter().filter_map(|t| Some((t.from_s, t.to_s?))).collect();
        let last_s = known.iter().map(|k| k.1).reduce(f64::max);
        let mut worked = joined(&known);
        worked.extend(airway_s.or(last_s).map(|end| (end, end)));
        let between = worked.windows(2).map(|w| Gap { from_s: w[0].1, to_s: w[1].0 });
        let between: Vec<Gap> = between.filter(|g| g.to_s > g.from_s).collect();
        let people: BTreeSet<&String> =
            turns.iter().flat_map(|t| t.front.iter().chain(&t.shovellers)).collect();
        Head {
            unattended_s: total(between.iter().map(|g| g.to_s - g.from_s)),
            gaps: between.into_iter().filter(|g| g.to_s - g.from_s > thresholds.head_gap_s).collect(),
            people: people.len(),
            overdue: turns.iter().filter(|t| t.overdue).count(),
            snow_why: snow.as_ref().err().cloned(),
            snow: snow.ok(),
            target,
            turns,
        }
    }

    fn show_call_signs(&mut self, view: &View<'_>) {
        for turn in &mut self.turns {
            for who in turn.front.iter_mut().chain(&mut turn.shovellers) {
                *who = view.call_sign(who);
            }
        }
    }
}

/// Those with a role that works in this drill, while anyone dug and they were there.
fn idle(
    view: &View<'_>,
    drill: &str,
    times: &DrillTimes,
    heads: &[Head],
    spans: &BTreeMap<String, Spans>,
) -> Vec<Idle> {
    let Some(start) = &times.start else { return Vec::new() };
    let dug: Vec<(f64, f64)> =
        heads.iter().flat_map(|h| &h.turns).filter_map(|t| Some((t.from_s, t.to_s?))).collect();
    let works = |role: &Role| matches!(role, Role::Searcher | Role::Prober | Role::Shoveller | Role::Trainee);
    let of_drill = view.things.roles.iter().filter(|((d, _), role)| d == drill && works(role));
    let mut idle = Vec::new();
    for ((_, who), role) in of_drill {
        let person = view.things.person_as_one(who);
        let at = |t: Option<crate::entry::Time>| t.map(|t| times.pauses.seconds(start.ms, t.millis() as f64));
        let from_s = at(person.as_ref().and_then(|p| p.joined_at)).unwrap_or(f64::NEG_INFINITY);
        let to_s = at(person.as_ref().and_then(|p| p.left_at)).unwrap_or(f64::INFINITY);
        let present_s = overlap(&dug, &[(from_s, to_s)]);
        if present_s > 0.0 {
            let work = spans.get(who).map_or(&[][..], |s| &s.all);
            let call_sign = view.call_sign(who);
            idle.push(Idle { call_sign, role: *role, present_s, work_s: overlap(work, &[(from_s, to_s)]) });
        }
    }
    idle
}

#[cfg(test)]
mod tests;
