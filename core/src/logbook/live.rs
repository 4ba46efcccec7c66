//! Live exchange from the logbook's side: the device as a host of sessions, and what base notes of clocks.

use super::{Draft, Logbook, LogbookError};
use crate::entry::OFFSET_MS_MAX;
use crate::exchange::{Host, Report};
use std::sync::Arc;

impl Logbook {
    /// This device as a host of sessions, which people call `label`. It opens the store anew, so that writing goes on beside it.
    ///
    /// # Errors
    /// The store's.
    pub fn host(&self, label: &str) -> Result<Arc<Host>, LogbookError> {
        Ok(Host::open(self.path(), self.clock.clone(), label)?)
    }

    /// Writes what a session told of the other device's clock into each day for which it brought changes, by base's call sign. Only a base does
    /// this, once a session is over. Returns how many entries were written: none for an offset that is larger than an entry may say, since a
    /// device with such a clock must not stop the others.
    ///
    /// # Errors
    /// The store's.
    pub fn note_clock(&mut self, report: &Report, by: &str) -> Result<usize, LogbookError> {
        let (Some(offset), Some(peer)) = (report.clock, report.peer) else { return Ok(0) };
        if offset.offset_ms.abs() > OFFSET_MS_MAX as f64 {
            return Ok(0);
        }
        let json = offset.entry(peer, report.peer_clock, self.device());
        let drafts: Vec<_> =
            report.days_received.iter().map(|day| (*day, Draft { json: json.clone(), line: None })).collect();
        if drafts.is_empty() {
            return Ok(0);
        }
        Ok(self.log_into_days(by, drafts, false)?.written)
    }
}
