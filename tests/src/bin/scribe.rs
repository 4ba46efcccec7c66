//! Writes one entry after another into a store and prints each id once it is confirmed, with the milliseconds it took. To be killed.
//!
//! `scribe STORE BY COUNT [PAUSE_MS]`

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a test is a failed test")]

use firnbook_core::clock::MachineClock;
use firnbook_core::day::DayId;
use firnbook_core::logbook::{Draft, Logbook};
use firnbook_tests::{date, map, strike};
use std::io::Write;
use std::time::{Duration, Instant};

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let (store, by, count) = (&args[1], &args[2], args[3].parse::<usize>().unwrap());
    let pause = args.get(4).map_or(0, |ms| ms.parse().unwrap());
    let run = || {
        let mut book = Logbook::open(store.as_ref(), Box::new(MachineClock)).map_err(|e| e.to_string())?;
        book.begin_day(date(), "Upper Bowl", by).map_err(|e| e.to_string())?;
        for n in 0..count {
            let draft = Draft { json: map(strike(20 + n as u32 % 200)), line: None };
            let begun = Instant::now();
            let ids = book
                .log(DayId::of(date(), "Upper Bowl"), by, vec![draft], false)
                .map_err(|e| e.to_string())?
                .ids;
            let mut out = std::io::stdout().lock();
            writeln!(out, "{} {}", ids[0], begun.elapsed().as_millis())
                .and_then(|()| out.flush())
                .map_err(|e| e.to_string())?;
            std::thread::sleep(Duration::from_millis(pause));
        }
        Ok::<(), String>(())
    };
    if let Err(why) = run() {
        eprintln!("{why}");
        std::process::exit(1);
    }
}
