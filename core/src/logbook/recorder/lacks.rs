//! What a sheet still lacks: steps that were passed over, a strike without its depth, a turn whose digger nobody named, a start, an end. What
//! the whole day lacks is `review`'s to say.

use super::{Recorder, TargetStanding};
use crate::entry::{Body, EndReason, EntryId, Step};

/// Something that this sheet lacks.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lack {
    /// What
    pub what: Lacking,
    /// Label of the target, where it is about one
    pub target: Option<String>,
    /// The entry that wants a detail, where it is a detail
    pub entry: Option<EntryId>,
    /// The same as a short sentence
    pub says: String,
}

/// What a sheet may lack.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lacking {
    /// nobody pressed the start: zero of every duration
    Start,
    /// a later step of this target was pressed, or the drill has ended in full; this one was not
    Step(Step),
    /// a strike without a depth
    Depth,
    /// a turn of which nobody said who is at the head
    Front,
    /// a target of which nothing was written
    Target,
    /// the end of the drill
    End,
    /// why it ended
    Why,
}

/// What the sheet lacks, the most important first. A drill that was called off lacks nothing.
pub(super) fn of(recorder: &Recorder, targets: &[TargetStanding], started: bool) -> Vec<Lack> {
    let end = recorder.end();
    if end.is_some_and(|(_, why)| why == Some(EndReason::Cancelled)) {
        return Vec::new();
    }
    // Cut short, the last steps may never have been.
    let ended_in_full = end.is_some_and(|(_, why)| matches!(why, None | Some(EndReason::Done)));
    let mut found = Vec::new();
    let mut add = |what: Lacking, target: Option<&TargetStanding>, entry: Option<EntryId>, says: &str| {
        let target = target.map(|t| t.label.clone()).filter(|l| !l.is_empty());
        let says = match &target {
            Some(label) => format!("{label}: {says}"),
            None => says.to_owned(),
        };
        found.push(Lack { what, target, entry, says });
    };
    if !started {
        add(Lacking::Start, None, None, "start");
    }
    for target in targets {
        if target.strike.is_some() && target.depths_cm.is_empty() {
            add(Lacking::Depth, Some(target), target.strike, "depth of the strike");
        }
    }
    for (line, turn) in recorder.sheet.turns().filter(|(_, r)| r.front.is_none()) {
        let at = targets
            .iter()
            .find(|t| Some(&t.label) == line.target.as_ref().map(|f| recorder.target_label(f)).as_ref());
        let says = if turn.ended_at.is_none() { "who is at the head" } else { "who was at the head" };
        add(Lacking::Front, at, Some(line.id), says);
    }
    for (target, folded) in targets.iter().zip(folded_labels(recorder)) {
        let Some(furthest) = target.reached.iter().map(|r| r.step).filter(|s| *s <= Step::Extricated).max()
        else {
            continue;
        };
        for step in recorder.expected(folded.as_deref()).into_iter().filter(|s| *s < furthest) {
            if target.reached.iter().all(|r| r.step != step) {
                add(Lacking::Step(step), Some(target), None, &step.word().replace('_', " "));
            }
        }
        if let (true, Some(last)) =
            (ended_in_full && !target.done, recorder.expected(folded.as_deref()).last())
        {
            add(Lacking::Step(*last), Some(target), None, &last.word().replace('_', " "));
        }
    }
    for target in targets.iter().filter(|t| !t.label.is_empty()) {
        let written = recorder
            .sheet
            .lines()
            .iter()
            .any(|l| l.target.as_ref().is_some_and(|f| recorder.target_label(f) == target.label));
        if !written {
            add(Lacking::Target, Some(target), None, "nothing yet");
        }
    }
    match end {
        None => add(Lacking::End, None, None, "end"),
        Some((_, None)) => add(Lacking::Why, None, end_entry(recorder), "why it ended"),
        Some(_) => {}
    }
    found
}

/// The folded labels of the targets, one a standing.
fn folded_labels(recorder: &Recorder) -> Vec<Option<String>> {
    let targets = recorder.targets();
    if targets.is_empty() { vec![None] } else { targets.into_iter().map(Some).collect() }
}

fn end_entry(recorder: &Recorder) -> Option<EntryId> {
    let is_end = |body: &Body| matches!(body, Body::Moment(m) if m.step == Step::End);
    recorder.sheet.lines().iter().find(|l| is_end(&l.entry.body)).map(|l| l.id)
}
