//! Live exchange over a network: calling a base, and being one. The log stays free meanwhile.

use crate::Logbook;
use crate::crew::socket;
use crate::listen::ExchangeWatch;
use firnbook_core::exchange::{Base, Called, Event, Stop, call};
use firnbook_core::phone::FirnbookError;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Stops a live exchange, from any thread.
#[derive(uniffi::Object, Default)]
pub struct Stopper(Stop);

#[uniffi::export]
impl Stopper {
    /// One that nobody has used yet.
    #[uniffi::constructor]
    pub fn new() -> Arc<Stopper> {
        Arc::default()
    }

    /// Stops what it was handed to; what was confirmed is kept.
    pub fn stop(&self) {
        self.0.stop();
    }
}

/// A base that listens until it is ended.
#[derive(uniffi::Object)]
pub struct LiveBase {
    log: Arc<Logbook>,
    label: String,
    stop: Stop,
    addresses: Vec<String>,
    base: Mutex<Base>,
}

#[uniffi::export]
impl Logbook {
    /// Exchanges all days with the base at one of these addresses, the first that answers; without any, where it was last. People call this
    /// device `label`. A connection that breaks is made anew and goes on where it was.
    #[uniffi::method(default(addresses = [], watch = None, stopper = None))]
    pub fn sync(
        &self,
        label: String,
        addresses: Vec<String>,
        watch: Option<Arc<dyn ExchangeWatch>>,
        stopper: Option<Arc<Stopper>>,
    ) -> Result<Called, FirnbookError> {
        let (host, known) = self.with(|log| Ok((log.host(&label)?, log.base_addresses()?)))?;
        let addresses = if addresses.is_empty() { known } else { addresses };
        let stop = stopper.map_or_else(Stop::new, |s| s.0.clone());
        let called = call(&host, &addresses, &stop, &mut |progress| {
            // A watch that throws has not asked to stop.
            if watch.as_ref().is_some_and(|w| matches!(w.goes_on(progress.clone()), Ok(false))) {
                stop.stop();
            }
        })?;
        self.with(|log| log.remember_base(&called.address))?;
        self.tell(|listener| listener.exchanged(called.report.clone()));
        Ok(called)
    }

    /// Listens as base, called `label`, at an address with a port; without one at port 45460 of every address of this device.
    #[uniffi::method(default(at = None))]
    pub fn open_base(
        self: Arc<Self>,
        label: String,
        at: Option<String>,
    ) -> Result<Arc<LiveBase>, FirnbookError> {
        let at = at.as_deref().map(socket).transpose()?;
        let host = self.with(|log| log.host(&label))?;
        let stop = Stop::new();
        let base = Base::listen(&host, at, &stop)?;
        let addresses = base.addresses().iter().map(ToString::to_string).collect();
        Ok(Arc::new(LiveBase { log: self, label, stop, addresses, base: Mutex::new(base) }))
    }
}

#[uniffi::export]
impl LiveBase {
    /// Where it listens.
    pub fn addresses(&self) -> Vec<String> {
        self.addresses.clone()
    }

    /// What happens next; nothing after `patience_ms` milliseconds without anything. To be asked again and again, also after the end, until
    /// nothing comes: an exchange that is over is noted here, with the clock of the other device, and listeners are told.
    pub fn next_event(&self, patience_ms: u32) -> Result<Option<Event>, FirnbookError> {
        let event = self.base().next_event(Duration::from_millis(patience_ms.into()));
        if let Some(Event::Ended { report, .. }) = &event {
            self.log.with(|log| log.note_clock(report, &self.label))?;
            self.log.tell(|listener| listener.exchanged(report.clone()));
        }
        Ok(event)
    }

    /// It listens no more, and no exchange is on.
    pub fn ended(&self) -> bool {
        self.base().ended()
    }

    /// Ends in order: no more calls, exchanges stop at their next step, what they confirmed is kept.
    pub fn end(&self) {
        // Before the base itself is to be had: whoever waits for an event has it.
        self.stop.stop();
        self.base().end();
    }
}

impl LiveBase {
    fn base(&self) -> MutexGuard<'_, Base> {
        self.base.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
