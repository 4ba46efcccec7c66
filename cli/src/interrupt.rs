//! Ctrl-C as a wish to stop: what is at work ends in order and the program still gives its answer.

use firnbook_core::exchange::Stop;
use std::sync::{Mutex, PoisonError};

static LATEST: Mutex<Option<Stop>> = Mutex::new(None);

/// A wish that Ctrl-C, or the system asking the program to end, makes come true.
#[must_use]
pub fn stop_when_interrupted() -> Stop {
    let stop = Stop::new();
    *LATEST.lock().unwrap_or_else(PoisonError::into_inner) = Some(stop.clone());
    // Where a handler stands already, it is this one of an earlier call, and it looks up the latest wish.
    let _ = ctrlc::set_handler(|| {
        if let Some(stop) = &*LATEST.lock().unwrap_or_else(PoisonError::into_inner) {
            stop.stop();
        }
    });
    stop
}
