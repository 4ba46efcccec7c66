//! Long work, step by step: whoever asked for it may be told how far it is, and may stop it.

use super::{Logbook, LogbookError};

/// Is told of each step of long work.
pub trait Watch: Send {
    /// `done` of `of` steps are done; `false` stops the work, of which nothing is kept then.
    fn step(&self, done: usize, of: usize) -> bool;
}

impl Logbook {
    /// Does `work` while `watch` is told of its steps: days checked, read or packed, changes of a pack taken in.
    ///
    /// # Errors
    /// [`LogbookError::Stopped`] once `watch` says so, else those of the work.
    pub fn watched<T>(
        &mut self,
        watch: Box<dyn Watch>,
        work: impl FnOnce(&mut Logbook) -> Result<T, LogbookError>,
    ) -> Result<T, LogbookError> {
        self.watch = Some(watch);
        let done = work(self);
        self.watch = None;
        done
    }

    /// Tells the watch, if there is one, of a step that comes next.
    pub(super) fn step(&self, done: usize, of: usize) -> Result<(), LogbookError> {
        told(self.watch.as_deref(), done, of)
    }
}

/// As [`Logbook::step`], where the rest of the logbook is busy.
pub(super) fn told(watch: Option<&dyn Watch>, done: usize, of: usize) -> Result<(), LogbookError> {
    match watch {
        Some(watch) if !watch.step(done, of) => Err(LogbookError::Stopped { done, of }),
        _ => Ok(()),
    }
}
