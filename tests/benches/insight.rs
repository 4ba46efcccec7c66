//! What the mathematics of the debrief and the season costs: against the reference libraries of Python in the same run where there is one
//! (`peers.py`, with the interpreter named by `FIRNBOOK_PYTHON`), else against a bound.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a bench is a failed bench")]

mod common;

use common::{cpu_us, draft, drill, median, say, time};
use firnbook_core::field::coverage::coverage;
use firnbook_core::field::outline::Outline;
use firnbook_core::field::probing::{Body, Lattice};
use firnbook_core::logbook::Ask;
use firnbook_core::stats::survival::{Curve, Observation};
use firnbook_tests::Phone;
use serde_json::{Value, json};
use std::io::Write;
use std::process::{Command, Stdio};

const STRIP_M: f64 = 10.0;

fn main() {
    debrief();
    chances();
    let mut peers = Peers::start();
    let ways: Vec<Vec<[f64; 2]>> = (0..20).map(way).collect();
    let runs = runs(100_000);
    let field = Outline::rectangle(300.0, 400.0).unwrap();
    let mut covered_m2 = 0.0;
    let ours = best(5, || covered_m2 = coverage(&field, &ways, STRIP_M).unwrap().covered_m2);
    let theirs = peers.ask(&json!({"what": "coverage", "ways": ways, "strip_m": STRIP_M}));
    say(
        "coverage of 300 x 400 m by 20 ways of 5,000 points, against GEOS",
        ours / theirs["us"].as_f64().unwrap(),
        "x",
        1.0,
    );
    let apart = (covered_m2 / theirs["covered_m2"].as_f64().unwrap() - 1.0).abs();
    say("area of that coverage, off from GEOS, which simplifies", apart * 1e6, "ppm", 1_000.0);
    let thin: Vec<Vec<[f64; 2]>> = ways.iter().map(|way| way.iter().copied().step_by(50).collect()).collect();
    let want = peers.ask(&json!({"what": "round_area", "ways": thin, "strip_m": STRIP_M}));
    let got = coverage(&field, &thin, STRIP_M).unwrap().covered_m2;
    let apart = (got / want["covered_m2"].as_f64().unwrap() - 1.0).abs();
    say("area by every 50th point, off from GEOS extrapolated to round", apart * 1e6, "ppm", 1.0);
    let ours = best(5, || {
        assert_eq!(Curve::of(&runs).unwrap().n, runs.len());
    });
    let pairs: Vec<(f64, bool)> = runs.iter().map(|r| (r.time, r.reached)).collect();
    let theirs = peers.ask(&json!({"what": "curve", "runs": pairs}))["us"].as_f64().unwrap();
    say("a curve with bands of 100,000 runs, against lifelines", ours / theirs, "x", 0.1);
}

/// The debrief of a day of about 10,000 entries, with and without ways, and of half that day.
fn debrief() {
    let whole = day(111, true);
    let (plain, half) = (day(111, false), day(55, false));
    let work = |phone: &Phone| {
        let book = phone.open_again();
        let entries = book.days().unwrap()[0].entries;
        let ms = (0..5).map(|_| {
            let us = cpu_us(|| {
                book.debrief(phone.day, &Ask::default()).unwrap();
            });
            us / 1000.0
        });
        (entries, median(ms.collect()))
    };
    let ((n, ms), (plain_n, plain_ms), (half_n, half_ms)) = (work(&whole), work(&plain), work(&half));
    say(&format!("debrief of {n} entries with 20 ways of 5,000 points"), ms, "ms", 150.0);
    say(&format!("debrief of {plain_n} entries without ways"), plain_ms, "ms", 150.0);
    let entries = plain_n as f64 / half_n as f64;
    say("time of that over time of half of it, an entry", plain_ms / half_ms / entries, "x", 1.2);
}

fn day(drills: usize, ways: bool) -> Phone {
    let mut phone = Phone::new("Lead");
    let mut drafts: Vec<_> = (0..drills).flat_map(|label| drill(label, label * 1_200)).collect();
    if ways {
        drafts.push(draft(
            json!({"kind": "drill", "label": "field", "slope_deg": 25, "length_m": 400, "width_m": 300}),
            0,
        ));
        drafts.push(draft(json!({"kind": "moment", "drill": "field", "step": "start"}), 1));
        for n in 0..20 {
            let way = way(n);
            let delta =
                |axis: usize, i: usize| if i == 0 { way[0][axis] } else { way[i][axis] - way[i - 1][axis] };
            let points = json!({
                "t_ms": (0..way.len()).map(|i| if i == 0 { time(2).millis() } else { 200 }).collect::<Vec<_>>(),
                "x": (0..way.len()).map(|i| delta(0, i)).collect::<Vec<_>>(),
                "y": (0..way.len()).map(|i| delta(1, i)).collect::<Vec<_>>(),
            });
            drafts.push(draft(
                json!({"kind": "track", "drill": "field", "person": format!("W{n}"), "points": points}),
                1_100,
            ));
        }
        drafts.push(draft(json!({"kind": "moment", "drill": "field", "step": "end", "why": "done"}), 1_100));
    }
    phone.book.log(phone.day, "Lead", drafts, false).unwrap();
    phone
}

/// The worst of the stated bodies on the taught lattices.
fn chances() {
    let bodies = [(170.0, 45.0), (170.0, 30.0), (50.0, 30.0)];
    let lattices = [(50.0, 50.0), (60.0, 70.0), (75.0, 70.0), (25.0, 25.0)];
    let mut worst_ms: f64 = 0.0;
    for (length_cm, width_cm) in bodies {
        for (across, along) in lattices {
            let lattice = Lattice::new(across, along).unwrap();
            let us = best(5, || {
                let pod = lattice.body_pod(Body::Rectangle { length_cm, width_cm }, 2).unwrap();
                assert!(pod.any_orientation > 0.0);
            });
            worst_ms = worst_ms.max(us / 1000.0);
        }
    }
    say("chance of detection over all orientations, the slowest of 12", worst_ms, "ms", 20.0);
}

/// A walk through 300 x 400 m as a receiver writes it, five points a second, with noise.
fn way(n: usize) -> Vec<[f64; 2]> {
    let mut state = 88_172_645_463_325_252_u64 ^ (n as u64 * 0x9E37_79B9_7F4A_7C15);
    let mut chance = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    let (mut x, mut y, mut heading) = (15.0 * n as f64 + 7.0, 0.0, 1.5_f64);
    (0..5_000)
        .map(|_| {
            heading += 0.15 * (chance() - 0.5);
            x = (x + 0.25 * heading.cos()).clamp(0.0, 300.0);
            y += 0.25 * heading.sin();
            if !(0.0..=400.0).contains(&y) {
                heading = -heading;
                y = y.clamp(0.0, 400.0);
            }
            [x + 0.3 * (chance() - 0.5), y + 0.3 * (chance() - 0.5)]
        })
        .collect()
}

fn runs(count: usize) -> Vec<Observation> {
    (0..count as u64)
        .map(|n| Observation { time: ((n * 7919) % 90_000) as f64 / 50.0 + 1.0, reached: n % 4 != 0 })
        .collect()
}

/// The least processor time of several tries, microseconds.
fn best(tries: usize, mut work: impl FnMut()) -> f64 {
    (0..tries).map(|_| cpu_us(&mut work)).fold(f64::INFINITY, f64::min)
}

/// The reference libraries, in a process of their own that times them itself.
struct Peers(String);

impl Peers {
    fn start() -> Peers {
        Peers(std::env::var("FIRNBOOK_PYTHON").unwrap_or_else(|_| {
            panic!("FIRNBOOK_PYTHON names no interpreter with the reference libraries; `tests/run benches` brings one")
        }))
    }

    fn ask(&mut self, question: &Value) -> Value {
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/peers.py");
        let mut peer =
            Command::new(&self.0).arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
        peer.stdin.take().unwrap().write_all(question.to_string().as_bytes()).unwrap();
        let output = peer.wait_with_output().unwrap();
        assert!(output.status.success(), "peers.py failed");
        serde_json::from_slice(&output.stdout).unwrap()
    }
}
