//! What the log costs by itself, without a layer above it. For each line of its input one round, and one line with microseconds:
//!
//! `fill STORE COUNT` writes a day of so many entries, `press STORE COUNT` confirms so many presses of a recorder one by one and answers the median,
//! `open STORE` opens it and sits down at the drill of its first day.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a test is a failed test")]

use firnbook_core::clock::MachineClock;
use firnbook_core::day::DayId;
use firnbook_core::entry::Strike;
use firnbook_core::logbook::{Draft, Logbook, Press, Recorder};
use firnbook_tests::{date, map};
use serde_json::json;
use std::collections::HashMap;
use std::io::{BufRead, Write};
use std::time::Instant;

const BY: &str = "Obs1";

fn opened(store: &str) -> (Logbook, DayId) {
    let mut log = Logbook::open(store.as_ref(), Box::new(MachineClock)).unwrap();
    let day = log.begin_day(date(), "Upper Bowl", BY).unwrap().day;
    (log, day)
}

fn fill(log: &mut Logbook, day: DayId, count: usize) {
    let declared =
        [json!({"kind": "drill", "label": "1"}), json!({"kind": "target", "drill": "1", "label": "A"})];
    let strikes =
        (2..count).map(|n| json!({"kind": "strike", "drill": "1", "target": "A", "depth_cm": 40 + n % 150}));
    let drafts = declared.into_iter().chain(strikes).map(|json| Draft { json: map(json), line: None });
    log.log(day, BY, drafts.collect(), false).unwrap();
}

fn seated(store: &str) -> (Logbook, Recorder) {
    let mut log = Logbook::open(store.as_ref(), Box::new(MachineClock)).unwrap();
    let day = log.days().unwrap()[0].id;
    let recorder = Recorder::open(&mut log, day, BY, "1", 240.0).unwrap();
    (log, recorder)
}

fn us(work: impl FnOnce()) -> f64 {
    let begun = Instant::now();
    work();
    begun.elapsed().as_secs_f64() * 1e6
}

fn main() {
    let mut held: HashMap<String, (Logbook, Recorder)> = HashMap::new();
    for line in std::io::stdin().lock().lines() {
        let line = line.unwrap();
        let mut words = line.split(' ');
        let (what, store) = (words.next().unwrap(), words.next().unwrap());
        let count = words.next().map_or(0, |count| count.parse().unwrap());
        let took_us = match what {
            "open" => us(|| {
                let (log, recorder) = seated(store);
                std::hint::black_box(recorder.standing(log.now()));
            }),
            "fill" => {
                let (mut log, day) = opened(store);
                us(|| fill(&mut log, day, count))
            }
            _ => {
                let (log, recorder) = held.entry(store.to_owned()).or_insert_with(|| seated(store));
                let strike: Strike = serde_json::from_value(json!({"depth_cm": 100.0})).unwrap();
                let mut press = || {
                    us(|| {
                        recorder.press(log, None, Press::Strike(strike.clone())).unwrap();
                    })
                };
                let mut each: Vec<f64> = (0..count).map(|_| press()).collect();
                each.sort_by(f64::total_cmp);
                each[count / 2]
            }
        };
        println!("{took_us}");
        std::io::stdout().flush().unwrap();
    }
}
