//! The sheet: what one person wrote about one drill on one device, in the order of time. Pure reading; who puts entries in is `press`.

use super::open::is_of;
use crate::day::{DeviceId, Noted, Record, Things};
use crate::entry::{Body, Entry, EntryId, Outcome, Rotation, Step, Time};
use std::collections::HashSet;

/// Entries that count, in the order of (`at`, id), each with the folded label of its target.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Sheet(Vec<Line>);

/// One entry of the sheet.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    pub(super) id: EntryId,
    pub(super) entry: Entry,
    pub(super) target: Option<String>,
}

/// What a press left: an entry, or only the end of a turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mark {
    Entry,
    TurnOver,
}

/// A press, found again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Pressed {
    pub(super) at: Time,
    pub(super) id: EntryId,
    pub(super) mark: Mark,
}

impl Sheet {
    pub(super) fn of(record: &Record, things: &Things, device: DeviceId, me: &str, drill: &str) -> Sheet {
        let me = things.person(me);
        let mine = |n: &&Noted| {
            n.device == device
                && n.counted().is_some_and(|e| things.person(&e.common.by.0) == me && is_of(things, e, drill))
        };
        let mut sheet = Sheet::default();
        for noted in record.entries.iter().filter(mine) {
            sheet.0.extend(Line::of(noted, things));
        }
        sheet.0.sort_by_key(Line::place);
        sheet
    }

    /// Takes an entry in as it stands now, or out if it does not count any more.
    pub(super) fn take(&mut self, noted: Noted, things: &Things, drill: &str) {
        self.0.retain(|line| line.id != noted.id);
        let line = Line::of(&noted, things).filter(|l| is_of(things, &l.entry, drill));
        if let Some(line) = line {
            let at = self.0.partition_point(|l| l.place() < line.place());
            self.0.insert(at, line);
        }
    }

    pub(super) fn len(&self) -> usize {
        self.0.len()
    }

    pub(super) fn lines(&self) -> &[Line] {
        &self.0
    }

    pub(super) fn entry(&self, id: EntryId) -> Option<&Entry> {
        self.0.iter().find(|l| l.id == id).map(|l| &l.entry)
    }

    /// The turns of this sheet, in the order of time.
    pub(super) fn turns(&self) -> impl Iterator<Item = (&Line, &Rotation)> {
        self.0.iter().filter_map(|l| match &l.entry.body {
            Body::Rotation(r) => Some((l, r)),
            _ => None,
        })
    }

    /// Turns that run.
    pub(super) fn running_turns(&self) -> Vec<EntryId> {
        self.turns().filter(|(_, r)| r.ended_at.is_none()).map(|(l, _)| l.id).collect()
    }

    /// The turn that runs at a target, the latest of several.
    pub(super) fn running_turn(&self, target: Option<&str>) -> Option<EntryId> {
        let here = |(l, r): &(&Line, &Rotation)| r.ended_at.is_none() && l.target.as_deref() == target;
        self.turns().filter(here).last().map(|(l, _)| l.id)
    }

    pub(super) fn turns_ended_at(&self, at: Time) -> Vec<EntryId> {
        let ended = |r: &Rotation| r.ended_at.is_some_and(|e| e.millis() == at.millis());
        self.turns().filter(|(_, r)| ended(r)).map(|(l, _)| l.id).collect()
    }

    /// The step that an entry says was reached.
    pub(super) fn step_of(body: &Body) -> Option<Step> {
        match body {
            Body::Moment(m) => Some(m.step),
            Body::Strike(s) if s.outcome == Some(Outcome::Hit) => Some(Step::Strike),
            _ => None,
        }
    }

    /// Steps of the whole drill, or of a target, with their entries, in the order of time.
    pub(super) fn steps(&self, target: Option<&str>) -> impl Iterator<Item = (Step, &Line)> {
        let here = move |l: &&Line| l.target.as_deref() == target;
        self.0.iter().filter(here).filter_map(|l| Some((Sheet::step_of(&l.entry.body)?, l)))
    }

    /// The instant of the first press of a step of the whole drill.
    pub(super) fn first(&self, step: Step) -> Option<Time> {
        let of = |l: &&Line| Sheet::step_of(&l.entry.body) == Some(step);
        self.0.iter().find(of).map(|l| l.entry.common.at)
    }

    /// Whether a press of this step, once, makes another one a repetition.
    pub(super) fn has_step(&self, step: Step, target: Option<&str>) -> bool {
        match step {
            Step::Pause | Step::Resume => false,
            Step::Start | Step::End => self.first(step).is_some(),
            _ => self.steps(target).any(|(s, _)| s == step),
        }
    }

    /// The last press: entries, and ends of turns that nothing else was pressed for.
    pub(super) fn last(&self) -> Option<Pressed> {
        let entries = self.0.iter().map(|l| Pressed { at: l.entry.common.at, id: l.id, mark: Mark::Entry });
        let over = self.turns().filter_map(|(l, r)| {
            let at = r.ended_at?;
            let alone = self.0.iter().all(|o| o.entry.common.at.millis() != at.millis());
            alone.then_some(Pressed { at, id: l.id, mark: Mark::TurnOver })
        });
        entries.chain(over).max_by_key(|p| (p.at, p.id))
    }

    /// The first millisecond from `at` on that no press has.
    pub(super) fn free_instant(&self, at: Time) -> Time {
        let ended = |l: &Line| match &l.entry.body {
            Body::Rotation(r) => r.ended_at.map(Time::millis),
            _ => None,
        };
        let instants = self.0.iter().flat_map(|l| [Some(l.entry.common.at.millis()), ended(l)]).flatten();
        let taken: HashSet<i64> = instants.filter(|ms| *ms >= at.millis()).collect();
        let free = (at.millis()..).find(|ms| !taken.contains(ms)).filter(|ms| *ms != at.millis());
        free.and_then(|ms| Time::from_millis(ms, at.utc_offset_min())).unwrap_or(at)
    }

    /// The spans in which the drill was halted, ms since 1970 UTC; the last may be open.
    pub(super) fn pauses(&self) -> Vec<(i64, Option<i64>)> {
        let mut spans: Vec<(i64, Option<i64>)> = Vec::new();
        for (step, line) in self.steps(None) {
            let at_ms = line.entry.common.at.millis();
            match (step, spans.last_mut()) {
                (Step::Pause, Some((_, None))) => {}
                (Step::Pause, _) => spans.push((at_ms, None)),
                (Step::Resume, Some((_, open @ None))) => *open = Some(at_ms),
                _ => {}
            }
        }
        spans
    }
}

impl Line {
    fn of(noted: &Noted, things: &Things) -> Option<Line> {
        let entry = noted.counted()?.clone();
        if !is_pressed(&entry.body) {
            return None;
        }
        let place = entry.common.drill.as_ref().zip(entry.common.target.as_ref());
        let target = place.map(|(d, t)| things.target(&d.0, &t.0).1);
        Some(Line { id: noted.id, entry, target })
    }

    fn place(&self) -> (Time, EntryId) {
        (self.entry.common.at, self.id)
    }
}

/// Whether a body is of the kinds that are pressed; what sets a drill up is none of them.
fn is_pressed(body: &Body) -> bool {
    match body {
        Body::Moment(_) | Body::Strike(_) | Body::Depth(_) | Body::Rotation(_) => true,
        Body::ProbePass(_) | Body::Interference(_) | Body::Note(_) => true,
        Body::Person(_) | Body::Check(_) | Body::Kit(_) | Body::Drill(_) | Body::Target(_) => false,
        Body::Track(_) | Body::ClockMark(_) | Body::ClockOffset(_) => false,
    }
}
