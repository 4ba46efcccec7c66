//! Who pressed what when in one drill, and the instant that several writers' presses of one step tell. What the instants mean for a target
//! is in `timeline`.

use super::left_out::{Tally, reason};
use super::view::{Told, View};
use crate::clock::Corrected;
use crate::day::{ClockName, Groups};
use crate::entry::{Body, EntryId, Outcome, Step};
use crate::stats::describe::median;
use crate::stats::total;
use std::collections::{BTreeMap, BTreeSet};

/// An instant as its writers told it.
#[derive(Clone, Debug, PartialEq)]
pub struct Instant {
    /// Median over the writers, in ms since 1970 UTC.
    pub ms: f64,
    /// Largest half width of the presses it comes from, in ms; `None` where their clock was never compared with the others.
    pub uncertainty_ms: Option<f64>,
    /// The clock that all of them were read from; `None` where there were several.
    pub clock: Option<ClockName>,
    /// Latest minus earliest writer, in ms.
    pub spread_ms: f64,
    /// Number of writers.
    pub n: usize,
}

/// The spans in which a drill was halted, in ms since 1970 UTC, rising and apart.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pauses(Vec<(f64, f64)>);

impl Instant {
    /// Half width of the time from this instant to another one, in ms: errors of two clocks may add up, one clock's own error is in both.
    pub(crate) fn uncertainty_to_ms(&self, other: &Instant) -> Option<f64> {
        if self.clock.is_some() && self.clock == other.clock {
            return Some(0.0);
        }
        Some(self.uncertainty_ms? + other.uncertainty_ms?)
    }
}

impl Pauses {
    /// Pause that lies between two instants, in ms.
    #[must_use]
    pub fn between(&self, from_ms: f64, to_ms: f64) -> f64 {
        total(self.0.iter().map(|(a, b)| (b.min(to_ms) - a.max(from_ms)).max(0.0)))
    }

    /// Time between two instants without pauses, in seconds; negative where the second lies before the first.
    #[must_use]
    pub fn seconds(&self, from_ms: f64, to_ms: f64) -> f64 {
        let paused = self.between(from_ms.min(to_ms), from_ms.max(to_ms));
        let apart = to_ms - from_ms;
        (apart - paused.copysign(apart)) / 1000.0
    }
}

/// The presses of one drill that count, by step and target, on one time line.
pub(crate) struct Presses {
    /// By step and, for steps of a target, which of the drill's targets.
    by_step: BTreeMap<(Step, Option<usize>), Vec<Press>>,
    /// Offset from UTC at which the drill was written, in minutes.
    pub(crate) utc_offset_min: i32,
    /// The clock beside whose times these stand; `None` on the day's common time line.
    pub(crate) line: Option<ClockName>,
}

/// One writer's word that a step was reached.
#[derive(Clone, Debug)]
struct Press {
    id: EntryId,
    writer: String,
    at: Corrected,
}

impl Presses {
    pub(crate) fn of(view: &View<'_>, drill: &str, left_out: &mut Tally) -> Presses {
        let mut by_step: BTreeMap<_, Vec<Press>> = BTreeMap::new();
        let mut utc_offset_min = 0;
        for told in view.of_drill(drill) {
            let Some(step) = step_of(*told, left_out) else { continue };
            let target = told.at_target.filter(|_| !of_drill(step));
            if target.is_none() && !of_drill(step) {
                left_out.add(reason::NO_TARGET);
                continue;
            }
            utc_offset_min = told.entry.common.at.utc_offset_min();
            by_step.entry((step, target)).or_default().push(Press {
                id: told.noted.id,
                writer: view.things.person(&told.entry.common.by.0),
                at: view.time(*told),
            });
        }
        let mut presses = Presses { by_step, utc_offset_min, line: None };
        presses.keep_one_time_line(left_out);
        presses.keep_earliest_events(view.groups, left_out);
        presses
    }

    /// Times of a clock that was never compared stand only beside one another: the line is that of the day where a start stands on it, else
    /// that of the clock with most starts.
    fn keep_one_time_line(&mut self, left_out: &mut Tally) {
        let mut starts: BTreeMap<Option<ClockName>, usize> = BTreeMap::new();
        for press in self.by_step.get(&(Step::Start, None)).into_iter().flatten() {
            *starts.entry(press.at.only_with().cloned()).or_default() += 1;
        }
        let most = starts.iter().rev().max_by_key(|(_, n)| **n).and_then(|(line, _)| line.clone());
        let line = if starts.contains_key(&None) { None } else { most };
        for presses in self.by_step.values_mut() {
            let all = presses.len();
            presses.retain(|p| p.at.only_with() == line.as_ref());
            left_out.add_n(reason::CLOCK, all - presses.len());
        }
        self.line = line;
    }

    /// Of presses settled as different events only those stay that may tell of the earliest.
    fn keep_earliest_events(&mut self, groups: &Groups, left_out: &mut Tally) {
        if groups.different().is_empty() {
            return;
        }
        let apart: BTreeSet<(EntryId, EntryId)> = groups
            .different()
            .iter()
            .flat_map(|(a, b)| {
                let (a, b) = (groups.first(*a), groups.first(*b));
                [(a, b), (b, a)]
            })
            .collect();
        for (_, presses) in self.by_step.iter_mut().filter(|((step, _), _)| !may_repeat(*step)) {
            presses.sort_by(|a, b| a.at.ms.total_cmp(&b.at.ms).then(a.id.cmp(&b.id)));
            let mut kept: Vec<Press> = Vec::new();
            for press in presses.drain(..) {
                let group = groups.first(press.id);
                if kept.iter().any(|k| apart.contains(&(groups.first(k.id), group))) {
                    left_out.add(reason::LATER);
                } else {
                    kept.push(press);
                }
            }
            *presses = kept;
        }
    }

    /// The instant of a step: of the drill, or of one of its targets.
    pub(crate) fn instant(&self, step: Step, target: Option<usize>) -> Option<Instant> {
        pooled(self.by_step.get(&(step, target))?)
    }

    /// Every step of a target that was reached.
    pub(crate) fn steps(&self, target: usize) -> BTreeMap<Step, Instant> {
        let of_target = self.by_step.iter().filter(|((_, of), _)| *of == Some(target));
        of_target.filter_map(|((step, _), presses)| Some((*step, pooled(presses)?))).collect()
    }

    /// The spans from a pause to the next resume, or to the end of the drill; presses of one event count as one. A pause within a pause and
    /// a resume without one say nothing new.
    pub(crate) fn pauses(&self, view: &View<'_>, end: Option<&Instant>) -> Pauses {
        let mut events: Vec<(f64, Step)> = [Step::Pause, Step::Resume]
            .into_iter()
            .flat_map(|step| self.events(step, view.groups).into_iter().map(move |ms| (ms, step)))
            .collect();
        events.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let mut spans = Vec::new();
        let mut since = None;
        for (ms, step) in events {
            match (since, step) {
                (None, Step::Pause) => since = Some(ms),
                (Some(from), Step::Resume) => {
                    spans.push((from, ms));
                    since = None;
                }
                _ => {}
            }
        }
        if let (Some(from), Some(end)) = (since, end.filter(|e| Some(e.ms) > since)) {
            spans.push((from, end.ms));
        }
        Pauses(spans)
    }

    /// The instants of a step of the drill that may be reached many times, one an event.
    fn events(&self, step: Step, groups: &Groups) -> Vec<f64> {
        let mut by_event: BTreeMap<EntryId, Vec<Press>> = BTreeMap::new();
        for press in self.by_step.get(&(step, None)).into_iter().flatten() {
            by_event.entry(groups.first(press.id)).or_default().push(press.clone());
        }
        by_event.values().filter_map(|presses| Some(pooled(presses)?.ms)).collect()
    }
}

/// The step an entry tells of, if it tells of one that is not in conflict.
fn step_of(told: Told<'_>, left_out: &mut Tally) -> Option<Step> {
    let (step, field) = match &told.entry.body {
        Body::Moment(m) => (m.step, "step"),
        Body::Strike(s) if s.outcome == Some(Outcome::Hit) => (Step::Strike, "outcome"),
        _ => return None,
    };
    if !told.settled(&["at", field]) {
        left_out.add(reason::CONFLICT);
        return None;
    }
    Some(step)
}

fn of_drill(step: Step) -> bool {
    matches!(step, Step::Start | Step::Pause | Step::Resume | Step::End)
}

fn may_repeat(step: Step) -> bool {
    matches!(step, Step::Pause | Step::Resume)
}

/// Median over the writers, each by their first press.
fn pooled(presses: &[Press]) -> Option<Instant> {
    let mut firsts: BTreeMap<&str, &Press> = BTreeMap::new();
    for press in presses {
        let first = firsts.entry(&press.writer).or_insert(press);
        if press.at.ms < first.at.ms {
            *first = press;
        }
    }
    let ms: Vec<f64> = firsts.values().map(|p| p.at.ms).collect();
    let uncertain: Option<Vec<f64>> = firsts.values().map(|p| p.at.uncertainty_ms).collect();
    let earliest = ms.iter().copied().reduce(f64::min)?;
    let latest = ms.iter().copied().reduce(f64::max)?;
    let mut clocks = firsts.values().map(|p| &p.at.clock);
    let clock = clocks.next().filter(|first| clocks.all(|c| c == *first)).cloned();
    Some(Instant {
        clock,
        ms: median(&ms).ok()?,
        uncertainty_ms: uncertain.and_then(|u| u.into_iter().reduce(f64::max)),
        spread_ms: latest - earliest,
        n: ms.len(),
    })
}
