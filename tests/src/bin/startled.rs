//! Opens the recorder on a terminal with a clock that panics after a while, to see what becomes of the terminal.
//!
//! `startled STORE`

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a test is a failed test")]

use firnbook::record::{Look, Post, terminal};
use firnbook_core::clock::{Clock, MachineClock};
use firnbook_core::entry::Time;
use firnbook_core::logbook::Logbook;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

/// Tells the time forty times.
struct Tired(AtomicU32);

impl Clock for Tired {
    fn now(&self) -> Time {
        assert!(self.0.fetch_add(1, Ordering::SeqCst) < 40, "a clock that has stopped");
        MachineClock.now()
    }
}

fn main() {
    let store = std::env::args().nth(1).unwrap();
    let mut book = Logbook::open(store.as_ref(), Box::new(MachineClock)).unwrap();
    let day = book.begin_day(MachineClock.now().datetime().date_naive(), "Quillhorn", "Obs1").unwrap().day;
    let clock = Arc::new(Tired(AtomicU32::new(0)));
    let mut post = Post::new(&mut book, clock, day, "Obs1", None, 240.0).unwrap();
    terminal::show(&mut post, Look { colour: true }).unwrap();
}
