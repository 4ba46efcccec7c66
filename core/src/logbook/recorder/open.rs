//! Sitting down at a drill: which ones there are, setting one up, opening the recorder on it, moving the focus.

use super::sheet::Sheet;
use super::{Recorder, press};
use crate::day::{DayId, Key, Record, Things};
use crate::entry::{Body, Common, Drill, DrillForm, Entry, EntryId, Step, Target, Time, fold};
use crate::logbook::{Logbook, LogbookError};

/// The kinds a recorder reads.
const KINDS_READ: [&str; 10] = [
    "drill",
    "target",
    "person",
    "moment",
    "strike",
    "depth",
    "rotation",
    "interference",
    "probe_pass",
    "note",
];

/// A drill of the day, as a list to choose from shows it.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DrillOffer {
    /// Its label
    pub label: String,
    /// The team that runs it
    pub team: Option<String>,
    /// What it practises
    pub form: Option<DrillForm>,
    /// Labels of its targets
    pub targets: Vec<String>,
    /// Someone pressed its start
    pub started: bool,
    /// Someone pressed its end
    pub ended: bool,
    /// How many entries about it this person wrote on this device
    pub mine: u32,
    /// It is the one in which this person sat last on this device
    pub last: bool,
}

/// A drill to be set up, with its targets.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq)]
pub struct DrillSetup {
    /// The drill
    pub drill: Drill,
    /// What is buried in it
    pub targets: Vec<Target>,
}

impl Recorder {
    /// The drills of a day that someone declared, in the order in which they were.
    ///
    /// # Errors
    /// The store's, for a day that is not here too.
    pub fn offers(book: &Logbook, day: DayId, me: &str) -> Result<Vec<DrillOffer>, LogbookError> {
        let record = book.store.record_of(day, &KINDS_READ)?;
        let things = Things::of(&record);
        let last = book.store.recall(&seat_key(day, me))?.map(|label| things.drill(&label));
        let mut offers = Vec::new();
        for (folded, thing) in things.drills.iter().filter(|(_, d)| !d.declared_by.is_empty()) {
            let one = things.drill_as_one(folded);
            let pressed = |step: Step| {
                let is = |e: &Entry| matches!(&e.body, Body::Moment(m) if m.step == step);
                record.entries.iter().filter_map(|n| n.counted()).any(|e| is(e) && is_of(&things, e, folded))
            };
            let targets = things.targets_of(folded);
            let offer = DrillOffer {
                label: thing.label.clone(),
                team: one.as_ref().and_then(|d| d.team.clone()),
                form: one.as_ref().and_then(|d| d.form),
                targets: targets
                    .values()
                    .filter(|t| !t.declared_by.is_empty())
                    .map(|t| t.label.clone())
                    .collect(),
                started: pressed(Step::Start),
                ended: pressed(Step::End),
                mine: u32::try_from(Sheet::of(&record, &things, book.device(), me, folded).len())
                    .unwrap_or(u32::MAX),
                last: last.as_ref() == Some(folded),
            };
            offers.push((thing.declared_by.first().copied(), offer));
        }
        offers.sort_by_key(|(declared_by, _)| *declared_by);
        Ok(offers.into_iter().map(|(_, offer)| offer).collect())
    }

    /// Sets a drill up with its targets, all or nothing. To open a recorder on it is the next step.
    ///
    /// # Errors
    /// What the door says of a label or value. A label that the day has already is refused: a repetition is a drill of its own.
    pub fn set_up(
        book: &mut Logbook,
        day: DayId,
        me: &str,
        setup: DrillSetup,
    ) -> Result<Vec<EntryId>, LogbookError> {
        let label = setup.drill.label.clone();
        if Recorder::offers(book, day, me)?.iter().any(|o| fold(&o.label) == label.folded()) {
            return Err(LogbookError::Usage(format!(
                "drill {label} is set up already; open it, or give this one another label (a repetition is a drill of its own)"
            )));
        }
        let stamp = book.clocked()?;
        let at = stamp.at;
        let mut entries = vec![press::json_of(common(at, me), setup.drill.into())?];
        for target in setup.targets {
            entries.push(press::json_of(
                Common { drill: Some(label.clone()), ..common(at, me) },
                target.into(),
            )?);
        }
        let mut ready = Vec::new();
        for json in entries {
            ready.push(crate::logbook::write::pressed(json, day, me, &stamp)?);
        }
        let ids = ready.iter().map(|(id, _)| *id).collect();
        let puts =
            ready.into_iter().map(|(id, json)| (Key::Entry(id), serde_json::Value::Object(json).to_string()));
        let puts = puts.collect();
        book.store.write::<_, LogbookError>(|_| Ok((vec![(day, puts)], ())))?;
        Ok(ids)
    }

    /// Sits this person down at a drill of the day. The focus is where it was when they last sat there, else on the first target.
    /// `rotation_interval_s`: after how long a turn at the head is due to change.
    ///
    /// # Errors
    /// An empty call sign, or a drill that nobody declared; the sentence names those there are.
    pub fn open(
        book: &mut Logbook,
        day: DayId,
        me: &str,
        drill: &str,
        rotation_interval_s: f64,
    ) -> Result<Recorder, LogbookError> {
        if me.trim().is_empty() {
            return Err(LogbookError::Usage("the call sign is empty; say who is writing".to_owned()));
        }
        let record = book.store.record_of(day, &KINDS_READ)?;
        let things = Things::of(&record);
        let folded = things.drill(drill);
        let Some(thing) = things.drills.get(&folded).filter(|d| !d.declared_by.is_empty()) else {
            let there: Vec<String> =
                Recorder::offers(book, day, me)?.into_iter().map(|offer| offer.label).collect();
            let there = if there.is_empty() { "none yet".to_owned() } else { there.join(", ") };
            return Err(LogbookError::Usage(format!(
                "no drill \"{:.80}\" is set up in this day (set up: {there}); set it up first, or choose one of these",
                drill.trim()
            )));
        };
        book.store.remember(&seat_key(day, me), &thing.label)?;
        let mut recorder = Recorder {
            day,
            me: me.trim().to_owned(),
            focus: book.store.recall(&focus_key(day, me, &folded))?,
            drill: folded,
            rotation_interval_s,
            area: String::new(),
            things: Things::default(),
            start_of_others: None,
            sheet: Sheet::default(),
            unread: Vec::new(),
        };
        recorder.read(book, &record, things);
        Ok(recorder)
    }

    /// The label of the drill at which this person last sat on this device, for opening it again; `None` where there is none.
    ///
    /// # Errors
    /// The store's.
    pub fn last_drill(book: &Logbook, day: DayId, me: &str) -> Result<Option<String>, LogbookError> {
        Ok(Recorder::offers(book, day, me)?.into_iter().find(|o| o.last).map(|o| o.label))
    }

    /// Reads the store anew: to be called after a merge, or after this person's entries were changed by another way than this recorder.
    ///
    /// # Errors
    /// The store's.
    pub fn refresh(&mut self, book: &Logbook) -> Result<(), LogbookError> {
        let record = book.store.record_of(self.day, &KINDS_READ)?;
        let things = Things::of(&record);
        self.read(book, &record, things);
        Ok(())
    }

    /// Sets up one more target of the drill, and moves the focus there.
    ///
    /// # Errors
    /// What the door says of the label; a label that the drill has already.
    pub fn add_target(&mut self, book: &mut Logbook, target: Target) -> Result<EntryId, LogbookError> {
        let label = target.label.clone();
        if self.targets().contains(&self.things.target(&self.drill, &label.0).1) {
            return Err(LogbookError::Usage(format!(
                "target {label} is set up already; move the focus there"
            )));
        }
        let stamp = book.clocked()?;
        let at = stamp.at;
        let common = Common { drill: Some(self.drill().as_str().into()), ..common(at, &self.me) };
        let json = press::json_of(common, target.into())?;
        let (id, json) = crate::logbook::write::pressed(json, self.day, &self.me, &stamp)?;
        let puts = vec![(self.day, vec![(Key::Entry(id), serde_json::Value::Object(json).to_string())])];
        book.store.write::<_, LogbookError>(|_| Ok((puts, ())))?;
        self.refresh(book)?;
        self.focus_on(book, &label.0)?;
        Ok(id)
    }

    /// Moves the focus to another target: the presses that follow belong there. It stays there over a crash.
    ///
    /// # Errors
    /// A label that no target of this drill has.
    pub fn focus_on(&mut self, book: &mut Logbook, target: &str) -> Result<(), LogbookError> {
        let folded = self.things.target(&self.drill, target).1;
        let there = self.targets();
        if !there.contains(&folded) {
            let labels: Vec<String> = there.iter().map(|t| self.target_label(t)).collect();
            return Err(LogbookError::Usage(format!(
                "drill {} has no target \"{:.80}\"; it has {}",
                self.drill(),
                target.trim(),
                if labels.is_empty() { "none yet".to_owned() } else { labels.join(", ") }
            )));
        }
        book.store.remember(&focus_key(self.day, &self.me, &self.drill), &folded)?;
        self.focus = Some(folded);
        Ok(())
    }

    fn read(&mut self, book: &Logbook, record: &Record, things: Things) {
        self.sheet = Sheet::of(record, &things, book.device(), &self.me, &self.drill);
        self.unread.clear();
        self.area.clone_from(&record.area);
        let start = |e: &&Entry| matches!(&e.body, Body::Moment(m) if m.step == Step::Start);
        let me = things.person(&self.me);
        self.start_of_others = record
            .entries
            .iter()
            .filter_map(|n| n.counted())
            .filter(|e| is_of(&things, e, &self.drill) && things.person(&e.common.by.0) != me)
            .find(start)
            .map(|e| (e.common.at, e.common.by.0.clone()));
        self.things = things;
        let targets = self.targets();
        if self.focus.as_ref().is_none_or(|f| !targets.contains(f)) {
            self.focus = targets.first().cloned();
        }
    }
}

/// Whether an entry belongs to a drill.
pub(super) fn is_of(things: &Things, entry: &Entry, folded_drill: &str) -> bool {
    entry.common.drill.as_ref().is_some_and(|d| things.drill(&d.0) == folded_drill)
}

/// The common fields of a new entry; its id is given when it is written.
pub(super) fn common(at: Time, by: &str) -> Common {
    Common::at(EntryId::new(0, [0; 10]), at, by.into())
}

/// Under which key the store keeps at which drill a person sat last.
fn seat_key(day: DayId, me: &str) -> Vec<String> {
    vec!["recorder".to_owned(), day.to_string(), fold(me)]
}

/// Under which key the store keeps the target in focus.
fn focus_key(day: DayId, me: &str, drill: &str) -> Vec<String> {
    vec!["recorder".to_owned(), day.to_string(), fold(me), drill.to_owned()]
}
