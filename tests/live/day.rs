//! A day out: a base and eight phones, each a process of its own by a clock that is off, three of which are moved in the middle of it. Midday
//! and evening they exchange over links that delay and cut. Where each clock stood is known here, so that what the program says of it is held
//! against that.

use super::devices::{Crew, firnbook, listen, run, set_clock};
use super::relay::{FAIR, Relay, Weather};
use chrono::{DateTime, Local, TimeDelta};
use serde_json::{Value, json};
use std::path::PathBuf;
use std::process::{Child, Stdio};
use std::sync::atomic::Ordering;
use std::time::Duration;

/// How far each phone's clock is ahead of base's, ms; two where it is moved in the middle of the day: an hour of summer time that is put right,
/// a clock of yesterday, and one that is moved before base ever heard of it.
const AHEAD_MS: [&[i64]; 8] = [
    &[0],
    &[-7_100],
    &[42_300],
    &[3_600_000, 0],
    &[-7_260_000],
    &[950],
    &[-86_400_000, 2_400],
    &[15_000, -45_000],
];
const PHONES: usize = AHEAD_MS.len();
/// From the start of a drill to what its other observer sees, s.
const SIGNAL_S: i64 = 75;
const STRIKE_S: i64 = 200;

fn start(drill: &str) -> [&str; 5] {
    ["moment", "--drill", drill, "--step", "start"]
}

struct Day {
    crew: Crew,
    date: String,
    begun: DateTime<Local>,
    /// By which of its clocks each phone goes.
    piece: [usize; PHONES],
}

impl Day {
    fn begin() -> Day {
        let crew = Crew::by_clocks(&AHEAD_MS.map(|pieces| Some(pieces[0])));
        let date = run(&crew.store("base"), &["day", "show"])["date"].as_str().unwrap().to_owned();
        Day { crew, date, begun: Local::now() - TimeDelta::hours(4), piece: [0; PHONES] }
    }

    fn phone(&self, n: usize) -> PathBuf {
        self.crew.phone(n % PHONES)
    }

    fn ahead_ms(&self, n: usize) -> i64 {
        AHEAD_MS[n % PHONES][self.piece[n % PHONES]]
    }

    fn moves_clock(&mut self, n: usize) {
        self.piece[n] += 1;
        set_clock(&self.phone(n), self.ahead_ms(n));
    }

    /// An instant of the day, as a clock that is so far ahead shows it.
    fn shown(&self, s: i64, ahead_ms: i64) -> String {
        let at = self.begun + TimeDelta::seconds(s) + TimeDelta::milliseconds(ahead_ms);
        at.fixed_offset().to_rfc3339_opts(chrono::SecondsFormat::Millis, false)
    }

    /// What a phone's owner sees at a second of the day, written by its clock.
    fn sees(&self, n: usize, s: i64, late_ms: i64, line: &[&str]) {
        let at = self.shown(s, self.ahead_ms(n) + late_ms);
        let line = [&["log"], line, &["--day", &self.date, "--at", &at]].concat();
        run(&self.phone(n), &line);
    }

    /// Eight drills, each started by one phone and watched by the next one; and one whose start everybody presses on a call, each a little late.
    fn write_half(&self, name: &str, from: i64) {
        let common = format!("{name}-all");
        run(
            &self.crew.store("base"),
            &[&["log"], &start(&common)[..], &["--at", &self.shown(from, 0)]].concat(),
        );
        for n in 0..PHONES {
            self.sees(n, from, n as i64 * 137 % 400, &start(&common));
            let (label, at) = (format!("{name}-{n}"), from + 600 * (n as i64 + 1));
            self.sees(n, at, 0, &start(&label));
            for (step, after) in [("signal", SIGNAL_S), ("strike", STRIKE_S)] {
                let line = ["moment", "--drill", &label, "--target", "A", "--step", step];
                self.sees(n + 1, at + after, 0, &line);
            }
            self.notes(n, at);
        }
    }

    /// So much more that links are cut in the middle of it.
    fn notes(&self, n: usize, s: i64) {
        let file = self.crew.folder.path().join(format!("notes{n}.jsonl"));
        let note = |i: i64| {
            let at = self.shown(s + i, self.ahead_ms(n));
            let clock = (self.piece[n] + 1).to_string();
            let text = format!("no {i} of phone {n}: {at}");
            format!("{}\n", json!({"kind": "note", "at": at, "clock": clock, "note": text}))
        };
        std::fs::write(&file, (0..120).map(note).collect::<String>()).unwrap();
        run(&self.phone(n), &["log", "--from", file.to_str().unwrap(), "--day", &self.date]);
    }

    /// All phones at once, over all kinds of weather; how many connections it took.
    fn meet(&self, seed: u64) -> usize {
        let base = listen(&self.crew.store("base"), PHONES);
        let weather = [
            FAIR,
            Weather { delay: Duration::from_millis(120), ..FAIR },
            Weather { cut_every: 5_000, seed, ..FAIR },
            Weather { rate: 16_000, delay: Duration::from_millis(20), ..FAIR },
        ];
        let relays: Vec<Relay> =
            (0..PHONES).map(|n| Relay::to(base.at, weather[n % weather.len()])).collect();
        let phones: Vec<Child> = relays
            .iter()
            .enumerate()
            .map(|(n, relay)| {
                let mut sync = firnbook(&self.phone(n), &["sync", &relay.at.to_string(), "--json"]);
                sync.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
            })
            .collect();
        for (n, phone) in phones.into_iter().enumerate() {
            let output = phone.wait_with_output().unwrap();
            assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
            let answer: Value = serde_json::from_slice(&output.stdout).unwrap();
            assert_offset(&answer["clock_offset_ms"], &answer["clock_uncertainty_ms"], self.ahead_ms(n));
        }
        base.ended();
        relays.iter().map(|r| r.connections.load(Ordering::SeqCst)).sum()
    }

    /// The lines that base's table of clocks has for a phone's own clocks, the first one first.
    fn clocks(&self, n: usize) -> Vec<Value> {
        let crew = run(&self.crew.store("base"), &["crew", "show"]);
        let label = format!("Obs{n}");
        let device =
            &crew["devices"].as_array().unwrap().iter().find(|d| d["label"] == label).unwrap()["device"];
        let table = run(&self.crew.store("base"), &["clock", "--day", &self.date]);
        table["clocks"].as_array().unwrap().iter().filter(|c| c["device"] == *device).cloned().collect()
    }
}

/// An offset is right to what is said of it, and that is little.
fn assert_offset(offset_ms: &Value, uncertainty_ms: &Value, ahead_ms: i64) {
    let (offset, within) = (offset_ms.as_f64().unwrap(), uncertainty_ms.as_f64().unwrap());
    let wrong = (offset + ahead_ms as f64).abs();
    assert!(wrong <= within && within <= 2_000.0, "{offset} ± {within} ms where it is {}", -ahead_ms);
}

#[test]
fn clocks_and_times_of_a_day_are_right_to_what_is_said_of_them() {
    let mut day = Day::begin();
    day.write_half("am", 0);
    // Base could not measure this one before: what was written until now is known by the start that all pressed.
    day.moves_clock(7);
    day.sees(7, 6_500, 0, &["note", "--note", "clock set by the radio"]);
    assert!(day.meet(11) > PHONES, "no connection was cut");
    day.moves_clock(3);
    day.moves_clock(6);
    day.write_half("pm", 7_000);
    assert!(day.meet(12) > PHONES, "no connection was cut");
    for (n, ahead_ms) in AHEAD_MS.iter().enumerate() {
        let clocks = day.clocks(n);
        assert_eq!(clocks.len(), ahead_ms.len(), "phone {n}: {clocks:#?}");
        for (piece, clock) in clocks.iter().enumerate() {
            assert_eq!(clock["clock"], (piece + 1).to_string());
            let from = if (n, piece) == (7, 0) { "start" } else { "sync" };
            assert_eq!(clock["from"], from, "phone {n}: {clock}");
            assert_offset(&clock["offset_ms"], &clock["uncertainty_ms"], ahead_ms[piece]);
        }
    }
    let debrief = run(&day.crew.store("base"), &["debrief", "--day", &day.date]);
    let mut told = 0;
    let watched = |drill: &&Value| !drill["label"].as_str().unwrap().ends_with("-all");
    for drill in debrief["drills"].as_array().unwrap().iter().filter(watched) {
        for target in drill["targets"].as_array().unwrap() {
            let within = target["uncertainty_s"].as_f64().unwrap_or_else(|| panic!("{drill}"));
            assert!(within <= 3.0, "{target}");
            for (step, truly) in [("t_signal_s", SIGNAL_S), ("t_strike_s", STRIKE_S)] {
                let t = target[step].as_f64().unwrap();
                assert!((t - truly as f64).abs() <= within, "{}: {step} {t} ± {within}", drill["label"]);
                told += 1;
            }
        }
    }
    assert_eq!(told, 2 * 2 * PHONES);
}
