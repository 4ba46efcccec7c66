//! A press becomes one stamped entry, in one transaction with what it ends; details come later; the last press can be undone for a while.

use super::open::common;
use super::sheet::{Mark, Sheet};
use super::{Recorder, UNDO_WINDOW_MS};
use crate::day::Key;
use crate::entry::{
    Body, Common, Depth, Entry, EntryId, Interference, Moment, Note, Outcome, ProbePass, Rotation, Step,
    Strike, Time,
};
use crate::logbook::{Logbook, LogbookError, write};
use serde_json::{Map, Value, json};

/// What can be pressed. Drill, target, time and writer are the recorder's to fill in.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Debug, PartialEq)]
pub enum Press {
    /// a step is reached: at the target in focus, or of the whole drill (start, pause, resume, end); an end ends every turn of this sheet
    Moment(Moment),
    /// a probe strikes, at the target in focus
    Strike(Strike),
    /// a depth is measured, of the target in focus
    Depth(Depth),
    /// someone goes to the head of the hole at the target in focus; this ends the turn before
    Turn(Rotation),
    /// the turn at the target in focus ends and nobody follows
    TurnOver,
    /// a probe line has passed over the field
    ProbePass(ProbePass),
    /// something disturbs a transceiver
    Interference(Interference),
    /// something is worth saying
    Note {
        /// The words
        text: String,
        /// What and whom they are about
        about: Note,
    },
}

/// What a press left in the log.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamped {
    /// The entry that was written; of [`Press::TurnOver`] the turn that was ended
    pub id: EntryId,
    /// The instant it carries
    pub at: Time,
    /// This step was pressed before at the same place; the first one counts
    pub again: bool,
}

/// What an undo took back.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Undone {
    /// The entry that is struck out now; of a turn's end the turn, which runs again
    pub id: EntryId,
    /// The press in words, for example "strike A"
    pub what: String,
    /// The instant it carried
    pub at: Time,
}

impl Press {
    /// A step, without further details.
    #[must_use]
    pub fn step(step: Step) -> Press {
        Press::Moment(Moment { step, why: None, person: None, reading_m: None })
    }

    /// A sure probe strike, its details to come.
    #[must_use]
    pub fn strike() -> Press {
        Press::Strike(Strike {
            depth_cm: None,
            outcome: Some(Outcome::Hit),
            person: None,
            direction: None,
            lowest_reading_m: None,
            from_mark_cm: None,
            holes: None,
        })
    }

    /// A turn at the head; `None`: nobody said yet who.
    #[must_use]
    pub fn turn(front: Option<String>) -> Press {
        Press::Turn(Rotation {
            front: front.map(|f| f.as_str().into()),
            shovellers: None,
            ended_at: None,
            hole_width_cm: None,
            manner: None,
            start_downhill_cm: None,
        })
    }

    /// The body of its entry and the words of a note; `None` for what only ends something.
    fn into_body(self) -> Option<(Body, Option<String>)> {
        Some(match self {
            Press::Moment(b) => (b.into(), None),
            Press::Strike(b) => (b.into(), None),
            Press::Depth(b) => (b.into(), None),
            Press::Turn(b) => (b.into(), None),
            Press::ProbePass(b) => (b.into(), None),
            Press::Interference(b) => (b.into(), None),
            Press::Note { text, about } => (about.into(), Some(text)),
            Press::TurnOver => return None,
        })
    }
}

impl Recorder {
    /// Writes a press down: one entry, with the turns that it ends, on the disk when this returns. `at` is the instant of the press by the
    /// device's clock; `None`: now. A second press of one millisecond is put one millisecond later, so that presses keep their order.
    ///
    /// A wrong order is written as it was pressed; review asks about it later.
    ///
    /// # Errors
    /// [`LogbookError::Refused`] for a value the door does not let in, [`LogbookError::Usage`] for the end of a turn where none runs.
    pub fn press(
        &mut self,
        book: &mut Logbook,
        at: Option<Time>,
        press: Press,
    ) -> Result<Stamped, LogbookError> {
        self.catch_up(book)?;
        let at = self.sheet.free_instant(at.unwrap_or_else(|| book.now()));
        let here = self.focus.clone();
        let running = |sheet: &Sheet| sheet.running_turn(here.as_deref());
        let ends: Vec<EntryId> = match &press {
            Press::Turn(_) | Press::TurnOver => running(&self.sheet).into_iter().collect(),
            Press::Moment(m) if m.step == Step::End => self.sheet.running_turns(),
            _ => Vec::new(),
        };
        let Some((body, text)) = press.into_body() else {
            let turn = *ends.first().ok_or_else(|| self.no_turn())?;
            self.put(book, None, &ends, at)?;
            return Ok(Stamped { id: turn, at, again: false });
        };
        if text.as_ref().is_some_and(|t| t.trim().is_empty()) {
            return Err(LogbookError::Usage("the note is empty; write a word or leave it".to_owned()));
        }
        let again = Sheet::step_of(&body).is_some_and(|step| self.sheet.has_step(step, here.as_deref()));
        let target = here.filter(|_| belongs_to_target(&body)).map(|t| self.target_label(&t).as_str().into());
        let common =
            Common { drill: Some(self.drill().as_str().into()), target, note: text, ..common(at, &self.me) };
        let json = json_of(common, body)?;
        let (id, json) = write::pressed(json, self.day, &self.me, &book.clocked()?)?;
        self.put(book, Some((id, json)), &ends, at)?;
        Ok(Stamped { id, at, again })
    }

    /// Adds details to an entry of this sheet, or corrects them: what `details` gives is set, what it leaves out stays as it is. The instant and the
    /// place of the entry stay.
    ///
    /// # Errors
    /// An entry of another kind or of another sheet, or a value the door does not let in; nothing was written then.
    pub fn add_details(
        &mut self,
        book: &mut Logbook,
        id: EntryId,
        details: Press,
    ) -> Result<(), LogbookError> {
        self.catch_up(book)?;
        let entry = self.sheet.entry(id).ok_or_else(|| LogbookError::NoEntry(id.to_string()))?;
        let wrong = |kind: &str| {
            LogbookError::Usage(format!(
                "these are details of a {kind}, and entry {id} is a {}; undo it and press anew",
                entry.common.kind
            ))
        };
        let Some((body, text)) = details.into_body() else { return Err(wrong("turn's end")) };
        if body.kind() != entry.common.kind {
            return Err(wrong(body.kind()));
        }
        let mut fields = json_of(Common { note: text, ..common(entry.common.at, &self.me) }, body)?;
        for fixed in ["id", "kind", "at", "by"] {
            fields.shift_remove(fixed);
        }
        book.amend(&[(self.day, id)], &fields, &self.me)?;
        self.take_back(book, &[id]);
        Ok(())
    }

    /// Strikes the last press of this sheet out, as long as it is not older than [`UNDO_WINDOW_MS`]; a turn that it had ended runs again. It stays
    /// in the log, void with the reason. The press before it is the last one then.
    ///
    /// # Errors
    /// [`LogbookError::Usage`] if there is no press, [`LogbookError::TooOld`] for one that is too old.
    pub fn undo(&mut self, book: &mut Logbook) -> Result<Undone, LogbookError> {
        self.catch_up(book)?;
        let none = || LogbookError::Usage("nothing to undo: nothing was pressed yet".to_owned());
        let last = self.sheet.last().ok_or_else(none)?;
        let what = self.tell(&last);
        let age_ms = book.now().millis() - last.at.millis();
        if age_ms > UNDO_WINDOW_MS {
            let limit_s = UNDO_WINDOW_MS / 1000;
            return Err(LogbookError::TooOld { what, age_s: age_ms / 1000, limit_s, id: last.id });
        }
        let me = self.me.clone();
        let day = self.day;
        let reopened = self.sheet.turns_ended_at(last.at);
        let reopen = book.clocked()?.register(Value::Null, &me).to_string();
        let reason = format!("undone at once, {} s after the press", age_ms.max(0) / 1000);
        let now = book.now();
        book.store.write::<_, LogbookError>(|seen| {
            let mut puts = Vec::new();
            if last.mark == Mark::Entry {
                let noted = seen.entry(day, last.id)?;
                let noted = noted.ok_or_else(|| LogbookError::NoEntry(last.id.to_string()))?;
                let text = json!({ "v": reason, "by": me, "at": now, "of": noted.seen_hash() }).to_string();
                puts.push((Key::Void(last.id), text));
            }
            let reopen = |id: &EntryId| (Key::Field(*id, "ended_at".to_owned()), reopen.clone());
            puts.extend(reopened.iter().map(reopen));
            Ok((vec![(day, puts)], ()))
        })?;
        let mut touched = reopened;
        touched.push(last.id);
        self.take_back(book, &touched);
        Ok(Undone { id: last.id, what, at: last.at })
    }

    /// One transaction: the entry, and the ends of turns that end with it.
    fn put(
        &mut self,
        book: &mut Logbook,
        entry: Option<(EntryId, Map<String, Value>)>,
        ends: &[EntryId],
        at: Time,
    ) -> Result<(), LogbookError> {
        let end = book.clocked()?.register(json!(at), &self.me).to_string();
        let mut touched = ends.to_vec();
        let mut puts: Vec<(Key, String)> =
            ends.iter().map(|id| (Key::Field(*id, "ended_at".to_owned()), end.clone())).collect();
        if let Some((id, json)) = entry {
            puts.push((Key::Entry(id), Value::Object(json).to_string()));
            touched.push(id);
        }
        let day = self.day;
        book.store.write::<_, LogbookError>(|_| Ok((vec![(day, puts)], ())))?;
        self.take_back(book, &touched);
        Ok(())
    }

    /// Takes what was just written back from the store. It is confirmed already: what can't be read now is read before the next press.
    fn take_back(&mut self, book: &Logbook, ids: &[EntryId]) {
        for id in ids {
            match book.store.entry(self.day, *id) {
                Ok(Some(noted)) => self.sheet.take(noted, &self.things, &self.drill),
                Ok(None) | Err(_) => self.unread.push(*id),
            }
        }
    }

    fn catch_up(&mut self, book: &Logbook) -> Result<(), LogbookError> {
        if self.unread.is_empty() { Ok(()) } else { self.refresh(book) }
    }

    fn no_turn(&self) -> LogbookError {
        let place = self.focus.as_deref().map(|t| format!(" at target {}", self.target_label(t)));
        LogbookError::Usage(format!(
            "no turn is running{}; a turn begins when someone goes to the head",
            place.unwrap_or_default()
        ))
    }
}

fn belongs_to_target(body: &Body) -> bool {
    match body {
        Body::Moment(m) => !matches!(m.step, Step::Start | Step::Pause | Step::Resume | Step::End),
        Body::Strike(_) | Body::Depth(_) | Body::Rotation(_) => true,
        _ => false,
    }
}

/// An entry as JSON, without an id: it gets one when it is written.
///
/// # Errors
/// [`LogbookError::Usage`] for a number that is none: JSON would lose it.
pub(super) fn json_of(common: Common, body: Body) -> Result<Map<String, Value>, LogbookError> {
    let entry = Entry::new(common, body);
    let mut json = entry.to_json();
    if Entry::from_json(&json).is_ok_and(|read| read != entry) {
        return Err(LogbookError::Usage(format!(
            "a {} has a value that is not a finite number; leave it out or give a number",
            entry.common.kind
        )));
    }
    json.shift_remove("id");
    Ok(json)
}
