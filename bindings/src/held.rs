//! The log as an app holds it: opened, shared between threads, listened to, shut.

use crate::listen::{AppClock, AppWatch, LogClock, LogListener, LongWork, asking};
use firnbook_core::clock::{Clock, MachineClock};
use firnbook_core::day::{DayId, DeviceId};
use firnbook_core::entry::{EntryId, Time};
use firnbook_core::logbook::{self as core, LogbookError};
use firnbook_core::phone::FirnbookError;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// The field log in one file. Safe to share between threads; every call that writes returns once it is on the disk.
#[derive(uniffi::Object)]
pub struct Logbook {
    path: PathBuf,
    clock: Option<Arc<dyn LogClock>>,
    held: Mutex<Option<core::Logbook>>,
    listeners: Mutex<Vec<Arc<dyn LogListener>>>,
}

#[uniffi::export]
impl Logbook {
    /// Opens the log at `path`, or makes it. With `clock` the app says what time it is; else the device does.
    #[uniffi::constructor(default(clock = None))]
    pub fn open(path: String, clock: Option<Arc<dyn LogClock>>) -> Result<Arc<Self>, FirnbookError> {
        let path = PathBuf::from(path);
        let held = open_core(&path, clock.as_ref())?;
        Ok(Arc::new(Logbook { path, clock, held: Mutex::new(Some(held)), listeners: Mutex::default() }))
    }

    /// Shuts the log; later calls are refused. Shutting twice is fine.
    pub fn shut(&self) -> Result<(), FirnbookError> {
        self.lock()?.take();
        Ok(())
    }

    /// This device.
    pub fn device(&self) -> Result<DeviceId, FirnbookError> {
        self.with(|log| Ok(log.device()))
    }

    /// The present instant by this log's clock.
    pub fn now(&self) -> Result<Time, FirnbookError> {
        self.with(|log| Ok(log.now()))
    }

    /// From now on `listener` is told what happens.
    pub fn listen(&self, listener: Arc<dyn LogListener>) {
        self.listeners().push(listener);
    }

    /// Nobody is told any more.
    pub fn listen_no_more(&self) {
        self.listeners().clear();
    }
}

impl Logbook {
    /// Does `work` on the log while no other thread does.
    pub(crate) fn with<T>(
        &self,
        work: impl FnOnce(&mut core::Logbook) -> Result<T, LogbookError>,
    ) -> Result<T, FirnbookError> {
        Ok(work(self.lock()?.as_mut().ok_or(FirnbookError::Shut)?)?)
    }

    /// As [`Logbook::with`], told to `watch` step by step.
    pub(crate) fn watched<T>(
        &self,
        watch: Option<Arc<dyn LongWork>>,
        work: impl FnOnce(&mut core::Logbook) -> Result<T, LogbookError>,
    ) -> Result<T, FirnbookError> {
        match watch {
            Some(watch) => self.with(|log| log.watched(Box::new(AppWatch(watch)), work)),
            None => self.with(work),
        }
    }

    /// Tells every listener that entries of a day are other than before. The log is free meanwhile, so that a listener may call it.
    pub(crate) fn tell_written(&self, day: DayId, ids: &[EntryId]) {
        if !ids.is_empty() {
            self.tell(|listener| listener.written(day, ids.to_vec()));
        }
    }

    pub(crate) fn tell<E>(&self, what: impl Fn(&dyn LogListener) -> Result<(), E>) {
        let listeners = self.listeners().clone();
        for listener in listeners {
            // What happened has happened; a listener that fails can't undo it.
            let _ = what(listener.as_ref());
        }
    }

    fn listeners(&self) -> MutexGuard<'_, Vec<Arc<dyn LogListener>>> {
        self.listeners.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn lock(&self) -> Result<MutexGuard<'_, Option<core::Logbook>>, FirnbookError> {
        if asking() {
            return Err(FirnbookError::Usage {
                says: "a clock or a watch over long work can't call the log that asks it; do it afterwards"
                    .to_owned(),
            });
        }
        match self.held.lock() {
            Ok(held) => Ok(held),
            Err(poisoned) => {
                // A call panicked half way. What it had confirmed is on the disk, so the log is opened anew from there.
                let mut held = poisoned.into_inner();
                if held.take().is_some() {
                    *held = Some(open_core(&self.path, self.clock.as_ref())?);
                }
                self.held.clear_poison();
                Ok(held)
            }
        }
    }
}

fn open_core(path: &Path, clock: Option<&Arc<dyn LogClock>>) -> Result<core::Logbook, LogbookError> {
    let clock: Box<dyn Clock> = match clock {
        Some(clock) => Box::new(AppClock(clock.clone())),
        None => Box::new(MachineClock),
    };
    core::Logbook::open(path, clock)
}
