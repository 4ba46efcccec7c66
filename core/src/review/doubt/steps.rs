//! Doubts about the order of time: steps that come before those they follow, a second start, turns at the shovels that can't be.

use super::doubt;
use crate::clock::Corrected;
use crate::day::{ClockName, Noted};
use crate::entry::{Body, Entry, EntryId, Outcome, Step, Time};
use crate::review::ground::{Ground, time_of_day};
use crate::review::item::Item;
use crate::review::twin::{NEVER_COMPARED_MS, OneEvent, WINDOWS};
use std::collections::{BTreeMap, BTreeSet};

pub(super) fn doubts(ground: &Ground<'_>, one_event: &OneEvent) -> Vec<Item> {
    let mut sheets: BTreeMap<Sheet, Vec<Reached>> = BTreeMap::new();
    let mut started: BTreeSet<(String, String)> = BTreeSet::new();
    let mut found = Vec::new();
    let mut turns: BTreeMap<String, Vec<Turn>> = BTreeMap::new();
    for noted in &ground.record.entries {
        let Some(entry) = noted.counted() else { continue };
        found.extend(ends_before_begin(ground, noted, entry));
        if let Some((front, turn)) = Turn::of(ground, noted, entry) {
            turns.entry(front).or_default().push(turn);
        }
        let (Some(rank), Some(drill)) = (rank(entry), &entry.common.drill) else { continue };
        let writer = ground.things.person(&entry.common.by.0);
        let drill = ground.things.drill(&drill.0);
        if rank == Step::Start && !started.insert((writer.clone(), drill.clone())) {
            let says =
                format!("{} is a second start by the same writer; the first one counts", ground.tell(noted));
            found.push(doubt(ground, noted.id, "second_start", says));
            continue;
        }
        let target = entry.common.target.as_ref().map(|t| ground.things.target(&drill, &t.0).1);
        let reached = Reached { rank, target, at: entry.common.at, id: noted.id };
        sheets.entry((writer, noted.at_clock.clone(), drill)).or_default().push(reached);
    }
    let mut seen = BTreeSet::new();
    for ((_, _, drill), reached) in &sheets {
        let one_target = ground.things.targets_of(drill).len() <= 1;
        found.extend(
            out_of_order(ground, reached, one_target).into_iter().filter(|i| seen.insert(i.item.clone())),
        );
    }
    found.extend(turns.into_values().flat_map(|t| overlaps(ground, t, one_event)));
    found
}

/// What one person wrote by one clock in one drill: only there times can be compared to the second.
type Sheet = (String, ClockName, String);

struct Reached {
    rank: Step,
    target: Option<String>,
    at: Time,
    id: EntryId,
}

/// The place of an entry in the order of steps; steps outside that order have none.
fn rank(entry: &Entry) -> Option<Step> {
    match &entry.body {
        Body::Moment(m) if m.step <= Step::Extricated => Some(m.step),
        Body::Strike(s) if s.outcome == Some(Outcome::Hit) => Some(Step::Strike),
        _ => None,
    }
}

/// The fewest entries without which the steps of each target are in order.
fn out_of_order(ground: &Ground<'_>, reached: &[Reached], one_target: bool) -> Vec<Item> {
    let mut targets: BTreeSet<Option<&str>> = reached.iter().map(|r| r.target.as_deref()).collect();
    if targets.len() > 1 {
        targets.remove(&None);
    }
    let mut found = Vec::new();
    for target in targets {
        let of_all = |r: &Reached| r.target.is_none() && (one_target || r.rank == Step::Start);
        let mut steps: Vec<&Reached> = reached
            .iter()
            .filter(|r| (r.target.is_some() && r.target.as_deref() == target) || of_all(r))
            .collect();
        steps.sort_by_key(|r| (r.at, r.rank, r.id));
        let kept = longest_in_order(&steps);
        for (i, step) in steps.iter().enumerate().filter(|(i, _)| !kept.contains(i)) {
            let clash =
                |k: &&usize| if **k < i { steps[**k].rank > step.rank } else { steps[**k].rank < step.rank };
            let Some(other) = kept.iter().find(clash).map(|k| steps[*k]) else { continue };
            let order = if other.at < step.at { "after" } else { "before" };
            let (told, too) = (ground.tell_id(step.id), ground.tell_id(other.id));
            let says = format!("{told} comes {order} {too}, which can't be: wrong step, target or time?");
            let item = doubt(ground, step.id, "order", says);
            found.push(Item { entries: vec![step.id, other.id], field: Some("at".to_owned()), ..item });
        }
    }
    found
}

/// Indices of a longest run whose ranks never fall (patience sorting; of several the one with the smallest ends).
fn longest_in_order(steps: &[&Reached]) -> BTreeSet<usize> {
    let mut ends: Vec<usize> = Vec::new();
    let mut before: Vec<Option<usize>> = vec![None; steps.len()];
    for (i, step) in steps.iter().enumerate() {
        let length = ends.partition_point(|e| steps[*e].rank <= step.rank);
        before[i] = length.checked_sub(1).map(|l| ends[l]);
        ends.truncate(ends.len().max(length));
        match ends.get_mut(length) {
            Some(end) => *end = i,
            None => ends.push(i),
        }
    }
    let mut kept = BTreeSet::new();
    let mut at = ends.last().copied();
    while let Some(i) = at {
        kept.insert(i);
        at = before[i];
    }
    kept
}

/// A turn at the head of the hole, on the common time line.
struct Turn {
    id: EntryId,
    writer: String,
    begin: Corrected,
    length_ms: Option<f64>,
}

impl Turn {
    fn of(ground: &Ground<'_>, noted: &Noted, entry: &Entry) -> Option<(String, Turn)> {
        let Body::Rotation(r) = &entry.body else { return None };
        let length_ms = r.ended_at.map(|end| (end.millis() - entry.common.at.millis()) as f64);
        let writer = ground.things.person(&entry.common.by.0);
        let turn = Turn { id: noted.id, writer, begin: ground.clocks.at(noted), length_ms };
        Some((ground.things.person(&r.front.as_ref()?.0), turn))
    }

    fn end_ms(&self) -> Option<f64> {
        self.length_ms.map(|length| self.begin.ms + length)
    }

    /// How much of an overlap is only clocks: none within what one writer read from one clock.
    fn slack_ms(&self, other: &Turn) -> f64 {
        let unknown_ms = self.begin.unknown_ms(&other.begin).unwrap_or(NEVER_COMPARED_MS);
        let window = WINDOWS.iter().find(|w| w.kind == "rotation").map_or(0, |w| w.window_ms);
        if self.writer == other.writer { unknown_ms } else { window as f64 + unknown_ms }
    }
}

/// One person at the head in two turns at once.
fn overlaps(ground: &Ground<'_>, mut turns: Vec<Turn>, events: &OneEvent) -> Vec<Item> {
    turns.sort_by(|a, b| a.begin.ms.total_cmp(&b.begin.ms).then(a.id.cmp(&b.id)));
    let mut found = Vec::new();
    let mut longest: Option<&Turn> = None;
    for turn in &turns {
        if let Some(before) = longest {
            let one = events.groups.first(before.id) == events.groups.first(turn.id);
            if !one && before.end_ms().is_some_and(|end| end > turn.begin.ms + before.slack_ms(turn)) {
                let (told, too) = (ground.tell_id(turn.id), ground.tell_id(before.id));
                let says = format!("{told} begins before {too} has ended: one person at two heads?");
                let item = doubt(ground, turn.id, "overlap", says);
                found.push(Item { entries: vec![turn.id, before.id], field: Some("at".to_owned()), ..item });
            }
        }
        if longest.is_none_or(|l| l.end_ms() <= turn.end_ms()) {
            longest = Some(turn);
        }
    }
    found
}

fn ends_before_begin(ground: &Ground<'_>, noted: &Noted, entry: &Entry) -> Option<Item> {
    let ended = match &entry.body {
        Body::Rotation(r) => r.ended_at?,
        Body::ProbePass(p) => p.ended_at?,
        _ => return None,
    };
    (ended < entry.common.at).then(|| {
        let says = format!("{} ended before it began, at {}", ground.tell(noted), time_of_day(ended));
        Item { field: Some("ended_at".to_owned()), ..doubt(ground, noted.id, "ends_before_begin", says) }
    })
}

#[cfg(test)]
mod tests {
    use super::super::tests::codes;
    use crate::clock::RawClocks;
    use crate::review::testing::{day, doubts, entry, id};

    const SETUP: [&str; 3] = ["1", "A", "B"];

    fn with_setup(lines: &[String]) -> Vec<String> {
        let mut all = vec![
            entry(200, "Lead", "09:00:00", "drill", &format!(r#""label":"{}""#, SETUP[0])),
            entry(201, "Lead", "09:00:00", "target", &format!(r#""drill":"1","label":"{}""#, SETUP[1])),
        ];
        all.extend_from_slice(lines);
        all
    }

    fn moment(n: u8, by: &str, at: &str, step: &str) -> String {
        entry(n, by, at, "moment", &format!(r#""drill":"1","target":"A","step":"{step}""#))
    }

    #[test]
    fn the_fewest_entries_out_of_order_are_named() {
        let lines = with_setup(&[
            entry(1, "Obs1", "10:00:00", "moment", r#""drill":"1","step":"start""#),
            moment(2, "Obs1", "10:01:00", "airway"),
            moment(3, "Obs1", "10:02:00", "signal"),
            moment(4, "Obs1", "10:03:00", "coarse"),
            entry(5, "Obs1", "10:04:00", "strike", r#""drill":"1","target":"A","outcome":"hit""#),
        ]);
        let found = doubts(&day(&lines), &RawClocks);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].item, format!("{}!order", id(2)));
        assert_eq!(found[0].entries, [id(2), id(3)]);
        assert!(found[0].says.contains("comes before"), "{}", found[0].says);
    }

    #[test]
    fn other_writers_targets_and_equal_times_are_in_order() {
        let lines = with_setup(&[
            entry(202, "Lead", "09:00:00", "target", &format!(r#""drill":"1","label":"{}""#, SETUP[2])),
            moment(1, "Obs1", "10:01:00", "airway"),
            moment(2, "Obs2", "10:02:00", "signal"),
            entry(3, "Obs1", "10:03:00", "moment", r#""drill":"1","target":"B","step":"signal""#),
            entry(4, "Obs1", "10:03:00", "moment", r#""drill":"1","target":"B","step":"coarse""#),
        ]);
        assert!(codes(&day(&lines)).is_empty());
    }

    #[test]
    fn a_second_start_is_one_doubt_and_not_out_of_order() {
        let start = r#""drill":"1","step":"start""#;
        let lines = with_setup(&[
            entry(1, "Obs1", "10:00:00", "moment", start),
            moment(2, "Obs1", "10:01:00", "signal"),
            entry(3, "Obs1", "10:02:00", "moment", start),
            entry(4, "Obs2", "10:00:01", "moment", start),
        ]);
        assert_eq!(codes(&day(&lines)), ["second_start"]);
    }

    #[test]
    fn turns_that_overlap_or_end_before_they_begin() {
        let turn = |n: u8, by: &str, at: &str, end: &str, front: &str| {
            let fields = format!(r#""drill":"1","front":"{front}","ended_at":"2027-02-06T{end}.000+01:00""#);
            entry(n, by, at, "rotation", &fields)
        };
        let apart = with_setup(&[
            turn(1, "Obs1", "10:00:00", "10:02:00", "Dig1"),
            turn(2, "Obs1", "10:02:00", "10:04:00", "Dig1"),
            turn(3, "Obs2", "10:00:02", "10:02:05", "dig1"),
            turn(4, "Obs1", "10:01:00", "10:04:00", "Dig2"),
        ]);
        assert!(codes(&day(&apart)).is_empty(), "twins and slack between writers are no overlap");
        let over = with_setup(&[
            turn(1, "Obs1", "10:00:00", "10:02:00", "Dig1"),
            turn(2, "Obs1", "10:01:59", "10:04:00", "Dig1"),
            turn(3, "Obs1", "10:08:00", "10:07:00", "Dig2"),
        ]);
        assert_eq!(codes(&day(&over)), ["overlap", "ends_before_begin"]);
    }
}
