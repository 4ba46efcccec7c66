//! The recorder: one observer at one drill, one press one entry.

use crate::Logbook;
use firnbook_core::day::DayId;
use firnbook_core::entry::{CallSign, EntryId, Target, Time};
use firnbook_core::logbook::{
    self as core, DrillOffer, DrillSetup, LogbookError, Press, Stamped, Standing, Undone,
};
use firnbook_core::phone::FirnbookError;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// One observer at one drill. It holds no truth of its own: opened again after a crash it stands where it stood.
#[derive(uniffi::Object)]
pub struct Recorder {
    log: Arc<Logbook>,
    recorder: Mutex<core::Recorder>,
    /// Turns whose end was told, so that each is told once.
    told: Mutex<Vec<EntryId>>,
}

#[uniffi::export]
impl Logbook {
    /// The drills of a day that someone declared, in the order in which they were.
    pub fn drill_offers(&self, day: DayId, me: CallSign) -> Result<Vec<DrillOffer>, FirnbookError> {
        self.with(|log| core::Recorder::offers(log, day, &me.0))
    }

    /// Sets a drill up with its targets, all or nothing.
    pub fn set_up_drill(
        &self,
        day: DayId,
        me: CallSign,
        setup: DrillSetup,
    ) -> Result<Vec<EntryId>, FirnbookError> {
        let ids = self.with(|log| core::Recorder::set_up(log, day, &me.0, setup))?;
        self.tell_written(day, &ids);
        Ok(ids)
    }

    /// Sits a person down at a drill. A turn at the head is due to change after `rotation_interval_s` seconds, by default the threshold.
    #[uniffi::method(default(rotation_interval_s = None))]
    pub fn recorder(
        self: Arc<Self>,
        day: DayId,
        me: CallSign,
        drill: String,
        rotation_interval_s: Option<f64>,
    ) -> Result<Arc<Recorder>, FirnbookError> {
        let interval = rotation_interval_s.unwrap_or(crate::read::default_thresholds().rotation_interval_s);
        if !(interval.is_finite() && interval > 0.0) {
            return Err(FirnbookError::value("rotation_interval_s", interval, "must be a time above 0"));
        }
        let recorder = self.with(|log| core::Recorder::open(log, day, &me.0, &drill, interval))?;
        Ok(Arc::new(Recorder { log: self, recorder: Mutex::new(recorder), told: Mutex::default() }))
    }
}

#[uniffi::export]
impl Recorder {
    /// One press, one stamped entry; it is on the disk when this returns. `at` is the time of the press; without it, now.
    #[uniffi::method(default(at = None))]
    pub fn press(&self, press: Press, at: Option<Time>) -> Result<Stamped, FirnbookError> {
        let (stamped, day) = self.change(|recorder, log| recorder.press(log, at, press))?;
        self.log.tell_written(day, &[stamped.id]);
        Ok(stamped)
    }

    /// Adds what was learnt later to a stamped entry: a press of the same sort with the fields that are known now.
    pub fn add_details(&self, id: EntryId, details: Press) -> Result<(), FirnbookError> {
        let (_, day) = self.change(|recorder, log| recorder.add_details(log, id, details))?;
        self.log.tell_written(day, &[id]);
        Ok(())
    }

    /// Takes back the last press, within 30 s; it stays in the log, struck out.
    pub fn undo(&self) -> Result<Undone, FirnbookError> {
        let (undone, day) = self.change(|recorder, log| recorder.undo(log))?;
        self.log.tell_written(day, &[undone.id]);
        Ok(undone)
    }

    /// Moves the focus to another target: the presses that follow belong there.
    pub fn focus_on(&self, target: String) -> Result<(), FirnbookError> {
        self.change(|recorder, log| recorder.focus_on(log, &target)).map(|_| ())
    }

    /// Sets up one more target of the drill, and moves the focus there.
    pub fn add_target(&self, target: Target) -> Result<EntryId, FirnbookError> {
        let (id, day) = self.change(|recorder, log| recorder.add_target(log, target))?;
        self.log.tell_written(day, &[id]);
        Ok(id)
    }

    /// Reads the log anew: to be called after a merge.
    pub fn refresh(&self) -> Result<(), FirnbookError> {
        self.change(|recorder, log| recorder.refresh(log)).map(|_| ())
    }

    /// Where this observer stands now: to be asked once a second while a screen shows it. Listeners are told of each turn that is over, once.
    pub fn standing(&self) -> Result<Standing, FirnbookError> {
        let (standing, _) = self.change(|recorder, log| Ok(recorder.standing(log.now())))?;
        let mut told = self.told.lock().unwrap_or_else(PoisonError::into_inner);
        let over: Vec<_> =
            standing.turns.iter().filter(|t| t.due_in_ms <= 0 && !told.contains(&t.id)).cloned().collect();
        told.extend(over.iter().map(|t| t.id));
        drop(told);
        for turn in over {
            self.log.tell(|listener| listener.turn_over(turn.clone()));
        }
        Ok(standing)
    }
}

impl Recorder {
    fn change<T>(
        &self,
        work: impl FnOnce(&mut core::Recorder, &mut core::Logbook) -> Result<T, LogbookError>,
    ) -> Result<(T, DayId), FirnbookError> {
        // The log first, always: so two threads can't wait for one another.
        self.log.with(|log| {
            let mut recorder = self.own(log)?;
            Ok((work(&mut recorder, log)?, recorder.day()))
        })
    }

    /// The recorder; after a panic inside it reads the log anew.
    fn own(&self, log: &core::Logbook) -> Result<MutexGuard<'_, core::Recorder>, LogbookError> {
        match self.recorder.lock() {
            Ok(recorder) => Ok(recorder),
            Err(poisoned) => {
                let mut recorder = poisoned.into_inner();
                recorder.refresh(log)?;
                self.recorder.clear_poison();
                Ok(recorder)
            }
        }
    }
}
