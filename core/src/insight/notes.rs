//! What people wrote in words: by topic, safety apart, feedback only for the one it is about.

use super::left_out::{Tally, reason};
use super::view::{Told, View};
use crate::entry::{Body, EndReason, Step, Time, Topic};
use schemars::JsonSchema;
use serde::Serialize;

/// Something that was written in words.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct NoteLine {
    /// What it is about; general where nobody said
    pub topic: Topic,
    /// The text
    pub text: String,
    /// Who wrote it, by call sign
    pub by: String,
    /// When
    pub at: Time,
    /// Label of the drill
    pub drill: Option<String>,
    /// Label of the target
    pub target: Option<String>,
    /// Who it is about, by call sign
    pub person: Option<String>,
    /// The kind of entry that carries it
    pub kind: String,
}

/// The notes of a day.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Notes {
    /// Safety notes and drills that were stopped for safety or a real emergency, in the order of time.
    pub safety: Vec<NoteLine>,
    /// All other notes but feedback, by topic, then time.
    pub others: Vec<NoteLine>,
    /// Feedback, only for the sheet of the one it is about.
    pub feedback: Vec<NoteLine>,
}

impl Notes {
    /// The notes of a day. Of a note whose topic is in open conflict nothing is shown: it may be feedback.
    #[must_use]
    pub fn of(view: &View<'_>, left_out: &mut Tally) -> Notes {
        let mut notes = Notes::default();
        for told in view.told() {
            let Some((topic, text)) = words(told) else { continue };
            if !told.settled(&["topic", "note", "why", "person"]) {
                left_out.add(reason::CONFLICT);
                continue;
            }
            let line = line(view, told, topic, text);
            match topic {
                Topic::Safety => notes.safety.push(line),
                Topic::Feedback if line.person.is_none() => left_out.add(reason::FEEDBACK_TO_NOBODY),
                Topic::Feedback => notes.feedback.push(line),
                _ => notes.others.push(line),
            }
        }
        notes.others.sort_by_key(|n| n.topic);
        notes
    }
}

/// Topic and text of an entry that says something in words.
fn words(told: Told<'_>) -> Option<(Topic, String)> {
    let note = told.entry.common.note.as_ref().map(|n| n.trim().to_owned()).filter(|n| !n.is_empty());
    match &told.entry.body {
        Body::Note(n) => Some((n.topic.unwrap_or(Topic::General), note?)),
        Body::Moment(m) if m.step == Step::End => match m.why {
            Some(EndReason::Safety) => {
                Some((Topic::Safety, note.unwrap_or_else(|| "stopped for safety".to_owned())))
            }
            Some(EndReason::Emergency) => {
                Some((Topic::Safety, note.unwrap_or_else(|| "stopped for a real emergency".to_owned())))
            }
            _ => Some((Topic::General, note?)),
        },
        _ => Some((Topic::General, note?)),
    }
}

fn line(view: &View<'_>, told: Told<'_>, topic: Topic, text: String) -> NoteLine {
    let common = &told.entry.common;
    let person = match &told.entry.body {
        Body::Note(n) => n.person.as_ref(),
        Body::Check(c) => Some(&c.person),
        _ => None,
    };
    NoteLine {
        topic,
        text,
        by: view.call_sign(&view.things.person(&common.by.0)),
        at: common.at,
        drill: common.drill.as_ref().map(|d| d.0.clone()),
        target: common.target.as_ref().map(|t| t.0.clone()),
        person: person.map(|p| view.call_sign(&view.things.person(&p.0))),
        kind: common.kind.clone(),
    }
}
