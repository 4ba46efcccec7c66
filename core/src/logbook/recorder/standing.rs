//! Where an observer stands at a drill: all that a screen shows, worked out from the sheet at an instant. Times are ms; pauses are taken out.

use super::sheet::{Line, Mark, Pressed};
use super::{Lack, Recorder, UNDO_WINDOW_MS, lacks};
use crate::day::DayId;
use crate::entry::{Body, DrillForm, EndReason, EntryId, Outcome, Role, Step, StopsAt, Time};
use std::collections::BTreeMap;

/// Where one observer stands at one drill.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// The day it is written into
    pub day: DayId,
    /// The day's area
    pub area: String,
    /// Call sign of the observer
    pub me: String,
    /// Label of the drill
    pub drill: String,
    /// The team that runs it
    pub team: Option<String>,
    /// What it practises
    pub form: Option<DrillForm>,
    /// Its time limit, s
    pub limit_s: Option<f64>,
    /// Label of the target in focus; none in a drill without targets
    pub focus: Option<String>,
    /// Every target; of a drill without targets one without a label
    pub targets: Vec<TargetStanding>,
    /// When the avalanche stopped: this observer's first start, else the first one of others that is known here
    pub started_at: Option<Time>,
    /// Call sign of who pressed that start, if it was not this observer
    pub started_by: Option<String>,
    /// Time since the start without pauses, ms; it stands still in a pause and after the end
    pub since_start_ms: Option<i64>,
    /// The drill is halted
    pub paused: bool,
    /// Length of all pauses since the start, ms
    pub paused_ms: i64,
    /// When this observer pressed the end
    pub ended_at: Option<Time>,
    /// Why it ended
    pub ended_why: Option<EndReason>,
    /// The step to expect next, at the target in focus or of the whole drill; none if it lies at another target
    pub next: Option<Step>,
    /// Where the focus is done with: the next target that is not
    pub next_target: Option<String>,
    /// The turns that run, one a head
    pub turns: Vec<TurnStanding>,
    /// Who may go to the head: the people with a role in this drill, else those of its team, else all of the day, and those who had a turn
    pub people: Vec<PersonStanding>,
    /// What this sheet still lacks, the most important first
    pub lacks: Vec<Lack>,
    /// The last press that counts
    pub last: Option<LastPress>,
    /// How many presses of this sheet count
    pub presses: u32,
}

/// A target, as far as this observer wrote about it.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq)]
pub struct TargetStanding {
    /// Its label; empty where the drill has no targets
    pub label: String,
    /// It is in focus
    pub focus: bool,
    /// The steps reached, each by its first press, in the order of time
    pub reached: Vec<Reached>,
    /// Depths written so far, cm, in the order of time
    pub depths_cm: Vec<f64>,
    /// The last sure strike, to which a depth may be added
    pub strike: Option<EntryId>,
    /// The step to expect next; none if it is done
    pub next: Option<Step>,
    /// The step that stops the clock, or a later one, is reached
    pub done: bool,
}

/// A step that was reached.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reached {
    /// The step
    pub step: Step,
    /// From the start, ms without pauses; none without a start, negative before it
    pub t_ms: Option<i64>,
    /// Its entry
    pub id: EntryId,
}

/// A turn that runs at a head.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TurnStanding {
    /// Its entry
    pub id: EntryId,
    /// Label of the target; empty where the drill has no targets
    pub target: String,
    /// It is at the target in focus
    pub focus: bool,
    /// Who digs at the head; none if nobody said
    pub front: Option<String>,
    /// Who shovels behind
    pub shovellers: Vec<String>,
    /// How long it has run, ms without pauses
    pub since_ms: i64,
    /// When a change is due, ms from now; negative: overdue
    pub due_in_ms: i64,
}

/// Someone who may go to the head.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PersonStanding {
    /// Call sign
    pub call_sign: String,
    /// Turns at the head on this sheet
    pub turns: u32,
    /// Is at the head of a turn that runs
    pub digging: bool,
}

/// The last press.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LastPress {
    /// Its entry; of the end of a turn that turn
    pub id: EntryId,
    /// In words, for example "strike A"
    pub what: String,
    /// When it was pressed
    pub at: Time,
    /// How long it can still be undone, ms; 0: no more
    pub undo_left_ms: i64,
    /// Details may be added to it: it is an entry, not the end of a turn
    pub is_entry: bool,
}

/// The steps of a target in their order; `extricated` may follow but is not waited for.
const STEPS: [Step; 7] =
    [Step::Signal, Step::Coarse, Step::Fine, Step::Probing, Step::Strike, Step::Digging, Step::Airway];

impl Recorder {
    /// Where it stands at an instant. It changes nothing and costs little: to be asked as often as a screen is drawn.
    #[must_use]
    pub fn standing(&self, now: Time) -> Standing {
        let drill = self.things.drill_as_one(&self.drill);
        let zero = self.zero();
        let started_at = zero.as_ref().map(|z| z.0);
        let end = self.end();
        let until_ms = end.map_or(now.millis(), |(at, _)| at.millis().min(now.millis()));
        let clock = DrillClock { pauses: self.sheet.pauses(), until_ms };
        let targets: Vec<TargetStanding> = match self.targets().as_slice() {
            [] => vec![self.target_standing(None, started_at, &clock)],
            several => several.iter().map(|t| self.target_standing(Some(t), started_at, &clock)).collect(),
        };
        let mut next_target = None;
        let next = match (started_at, end, targets.iter().find(|t| t.focus).and_then(|t| t.next)) {
            (_, Some(_), _) => None,
            (None, ..) => Some(Step::Start),
            (_, _, Some(step)) => Some(step),
            _ => {
                next_target = targets.iter().find(|t| t.next.is_some()).map(|t| t.label.clone());
                next_target.is_none().then_some(Step::End)
            }
        };
        let lacks = lacks::of(self, &targets, started_at.is_some());
        Standing {
            day: self.day,
            area: self.area.clone(),
            me: self.me.clone(),
            drill: self.drill(),
            team: drill.as_ref().and_then(|d| d.team.clone()),
            form: drill.as_ref().and_then(|d| d.form),
            limit_s: drill.as_ref().and_then(|d| d.limit_s.map(|s| s.0)),
            focus: self.focus.as_deref().map(|f| self.target_label(f)),
            started_by: zero.and_then(|z| z.1),
            since_start_ms: started_at.map(|start| clock.between(start.millis(), until_ms).max(0)),
            paused: end.is_none() && matches!(clock.pauses.last(), Some((_, None))),
            paused_ms: started_at.map_or(0, |start| clock.halted(start.millis(), until_ms)),
            started_at,
            ended_at: end.map(|e| e.0),
            ended_why: end.and_then(|e| e.1),
            next,
            next_target,
            turns: self.turn_standings(&clock),
            people: self.people(),
            lacks,
            last: self.sheet.last().map(|last| self.last_press(&last, now)),
            presses: u32::try_from(self.sheet.len()).unwrap_or(u32::MAX),
            targets,
        }
    }

    /// The start that is zero here, and who else pressed it.
    fn zero(&self) -> Option<(Time, Option<String>)> {
        let mine = self.sheet.first(Step::Start).map(|at| (at, None));
        mine.or_else(|| self.start_of_others.clone().map(|(at, by)| (at, Some(by))))
    }

    /// This observer's end of the drill: the first, as everywhere.
    pub(super) fn end(&self) -> Option<(Time, Option<EndReason>)> {
        self.sheet.lines().iter().find_map(|l| match &l.entry.body {
            Body::Moment(m) if m.step == Step::End => Some((l.entry.common.at, m.why)),
            _ => None,
        })
    }

    /// The steps to expect at a target, in their order.
    pub(super) fn expected(&self, target: Option<&str>) -> Vec<Step> {
        let drill = self.things.drill_as_one(&self.drill);
        let silent = target
            .and_then(|t| self.things.target_as_one(&self.drill, t))
            .is_some_and(|t| t.transmits == Some(false));
        let from = match drill.as_ref().and_then(|d| d.form) {
            Some(DrillForm::Digging) => Step::Digging,
            Some(DrillForm::ProbeLine) => Step::Probing,
            _ if silent => Step::Probing,
            _ => Step::Signal,
        };
        let to = match drill.and_then(|d| d.stops_at) {
            Some(StopsAt::Strike) => Step::Strike,
            Some(StopsAt::Airway) | None => Step::Airway,
        };
        STEPS.into_iter().filter(|s| (from..=to.max(from)).contains(s)).collect()
    }

    fn target_standing(
        &self,
        target: Option<&str>,
        start: Option<Time>,
        clock: &DrillClock,
    ) -> TargetStanding {
        let mut reached: Vec<Reached> = Vec::new();
        for (step, line) in self.sheet.steps(target) {
            let of_drill = matches!(step, Step::Start | Step::Pause | Step::Resume | Step::End);
            if of_drill || reached.iter().any(|r| r.step == step) {
                continue;
            }
            let at_ms = line.entry.common.at.millis();
            let t_ms = start.map(|s| clock.between(s.millis(), at_ms));
            reached.push(Reached { step, t_ms, id: line.id });
        }
        let here = || self.sheet.lines().iter().filter(|l| l.target.as_deref() == target);
        let depth = |l: &Line| match &l.entry.body {
            Body::Strike(s) if s.outcome != Some(Outcome::False) => s.depth_cm.map(|d| d.0),
            Body::Depth(d) => Some(d.depth_cm.0),
            _ => None,
        };
        let expected = self.expected(target);
        let furthest = reached.iter().map(|r| r.step).filter(|s| *s <= Step::Extricated).max();
        let next = expected.iter().copied().find(|s| furthest.is_none_or(|f| *s > f));
        TargetStanding {
            label: target.map_or_else(String::new, |t| self.target_label(t)),
            focus: self.focus.as_deref() == target,
            depths_cm: here().filter_map(depth).collect(),
            strike: here()
                .rfind(|l| matches!(&l.entry.body, Body::Strike(s) if s.outcome == Some(Outcome::Hit)))
                .map(|l| l.id),
            done: furthest.is_some_and(|f| expected.last().is_none_or(|last| f >= *last)),
            reached,
            next,
        }
    }

    fn turn_standings(&self, clock: &DrillClock) -> Vec<TurnStanding> {
        let interval_ms = (self.rotation_interval_s * 1000.0).round() as i64;
        let running = self.sheet.turns().filter(|(_, r)| r.ended_at.is_none());
        let standing = |(line, r): (&Line, &crate::entry::Rotation)| {
            let since_ms = clock.between(line.entry.common.at.millis(), clock.until_ms).max(0);
            TurnStanding {
                id: line.id,
                target: line.target.as_deref().map_or_else(String::new, |t| self.target_label(t)),
                focus: line.target == self.focus,
                front: r.front.as_ref().map(|f| f.0.clone()),
                shovellers: r.shovellers.iter().flatten().map(|s| s.0.clone()).collect(),
                since_ms,
                due_in_ms: interval_ms - since_ms,
            }
        };
        running.map(standing).collect()
    }

    fn people(&self) -> Vec<PersonStanding> {
        let me = self.things.person(&self.me);
        let digs = |role: Role| !matches!(role, Role::Lead | Role::Instructor | Role::Observer);
        let mut people: BTreeMap<String, String> = BTreeMap::new();
        let in_drill =
            self.things.roles.iter().filter(|((drill, _), role)| *drill == self.drill && digs(**role));
        people.extend(in_drill.map(|((_, person), _)| (person.clone(), person.clone())));
        let team =
            self.things.drills.get(&self.drill).and_then(|d| d.fields.get("team")).and_then(|t| t.as_str());
        let of_day = || self.things.people.iter().filter(|(_, p)| !p.declared_by.is_empty());
        let in_team = |p: &crate::day::Thing| p.fields.get("team").and_then(|t| t.as_str()) == team;
        for only_team in [true, false] {
            if people.is_empty() && (team.is_some() || !only_team) {
                let chosen = of_day().filter(|(folded, p)| **folded != me && (!only_team || in_team(p)));
                people.extend(chosen.map(|(folded, _)| (folded.clone(), folded.clone())));
            }
        }
        for folded in people.clone().into_keys() {
            if let Some(thing) = self.things.people.get(&folded).filter(|p| !p.declared_by.is_empty()) {
                people.insert(folded, thing.label.clone());
            }
        }
        let mut turns: BTreeMap<String, (u32, bool)> = BTreeMap::new();
        for (_, turn) in self.sheet.turns() {
            for (place, person) in turn.front.iter().chain(turn.shovellers.iter().flatten()).enumerate() {
                let folded = self.things.person(&person.0);
                people.entry(folded.clone()).or_insert_with(|| person.0.clone());
                let had = turns.entry(folded).or_default();
                if place == 0 && turn.front.is_some() {
                    had.0 += 1;
                    had.1 |= turn.ended_at.is_none();
                }
            }
        }
        people
            .into_iter()
            .map(|(folded, call_sign)| {
                let (turns, digging) = turns.get(&folded).copied().unwrap_or_default();
                PersonStanding { call_sign, turns, digging }
            })
            .collect()
    }

    fn last_press(&self, last: &Pressed, now: Time) -> LastPress {
        let left_ms = last.at.millis() + UNDO_WINDOW_MS - now.millis();
        LastPress {
            id: last.id,
            what: self.tell(last),
            at: last.at,
            undo_left_ms: left_ms.clamp(0, UNDO_WINDOW_MS),
            is_entry: last.mark == Mark::Entry,
        }
    }

    /// A press in words: "strike A", "turn of Dig1 at A", "note".
    pub(super) fn tell(&self, press: &Pressed) -> String {
        let Some(line) = self.sheet.lines().iter().find(|l| l.id == press.id) else { return String::new() };
        let what = match &line.entry.body {
            Body::Moment(m) => m.step.word().replace('_', " "),
            Body::Strike(s) => match s.outcome {
                Some(Outcome::False) => "false strike".to_owned(),
                Some(Outcome::Unsure) => "unsure strike".to_owned(),
                Some(Outcome::Hit) | None => "strike".to_owned(),
            },
            Body::Rotation(r) => {
                let front = r.front.as_ref().map(|f| format!(" of {f}")).unwrap_or_default();
                let over = if press.mark == Mark::TurnOver { "end of the turn" } else { "turn" };
                format!("{over}{front}")
            }
            Body::ProbePass(_) => "probe pass".to_owned(),
            other => other.kind().to_owned(),
        };
        match &line.target {
            Some(target) if self.targets().len() > 1 => format!("{what} {}", self.target_label(target)),
            _ => what,
        }
    }
}

/// The time of a drill as it counts: halted in pauses and at the end.
struct DrillClock {
    pauses: Vec<(i64, Option<i64>)>,
    until_ms: i64,
}

impl DrillClock {
    /// Pause between two instants, ms.
    fn halted(&self, from_ms: i64, to_ms: i64) -> i64 {
        let part =
            |(a, b): &(i64, Option<i64>)| (b.unwrap_or(i64::MAX).min(to_ms) - (*a).max(from_ms)).max(0);
        self.pauses.iter().map(part).sum()
    }

    /// Time between two instants without pauses, ms; negative where the second lies before the first.
    fn between(&self, from_ms: i64, to_ms: i64) -> i64 {
        let halted = self.halted(from_ms.min(to_ms), from_ms.max(to_ms));
        let apart = to_ms - from_ms;
        apart - halted * apart.signum()
    }
}
