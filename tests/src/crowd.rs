//! Days of ten thousand entries, as JSON lines. One of forty-four drills of three targets on four fields, six observers who each press every step,
//! turns told by two of them, ways, notes; and one that is turns at the shovels nearly all through.

use serde_json::{Value, json};

/// Number of drills.
const DRILLS: i64 = 44;
const OBSERVERS: [&str; 6] = ["Obs1", "Obs2", "Obs3", "Obs4", "Obs5", "Obs6"];
const STEPS: [&str; 8] = ["signal", "coarse", "fine", "probing", "strike", "digging", "airway", "extricated"];

/// The lines.
#[must_use]
pub fn crowded_day() -> String {
    let mut lines: Vec<Value> = Vec::new();
    for n in 0..24 {
        lines.push(at(0, json!({"kind": "person", "call_sign": person(n), "team": format!("Team {}", n % 6), "role": "trainee"})));
        lines.push(at(60, json!({"kind": "check", "person": person(n), "transmits": true, "receives": n != 3, "battery_pct": 30 + 2 * n})));
    }
    for drill in 0..DRILLS {
        lines.extend(a_drill(drill));
    }
    lines.iter().map(|line| format!("{line}\n")).collect()
}

/// The lines of a day of ten drills, each of two holes at which forty people take a thousand turns in an hour.
#[must_use]
pub fn digging_day() -> String {
    let mut lines: Vec<Value> = Vec::new();
    for n in 0..10 {
        let (label, begun) = (n.to_string(), 3_600 * n);
        lines.push(at(begun, json!({"kind": "drill", "label": label, "form": "multiple", "team": "Red"})));
        lines.push(at(begun + 1, json!({"kind": "moment", "drill": label, "step": "start"})));
        for target in ["A", "B"] {
            let moment = |step: &str, s: i64| {
                at(begun + s, json!({"kind": "moment", "drill": label, "target": target, "step": step}))
            };
            lines.extend([moment("strike", 60), moment("digging", 62), moment("airway", 3_580)]);
            lines.extend((0..500).map(|turn| {
                at(
                    begun + 63 + 7 * turn,
                    json!({"kind": "rotation", "drill": label, "target": target, "front": person(turn % 40),
                    "shovellers": [person((turn + 7) % 40), person((turn + 13) % 40)]}),
                )
            }));
        }
    }
    lines.iter().map(|line| format!("{line}\n")).collect()
}

fn person(n: i64) -> String {
    format!("P{n:02}")
}

/// An entry at so many seconds after eight in the morning.
fn at(seconds: i64, mut entry: Value) -> Value {
    let time = firnbook_core::entry::Time::from_millis(1_801_897_200_000 + seconds * 1000, 60)
        .expect("a time of that day");
    entry["at"] = json!(time);
    entry
}

fn a_drill(n: i64) -> Vec<Value> {
    let begun = 600 + n * 420;
    let label = n.to_string();
    let mut lines = vec![at(
        begun,
        json!({"kind": "drill", "label": label, "form": "multiple", "team": format!("Team {}", n % 6),
        "slope_deg": 20 + n % 20, "limit_s": 900, "width_m": 60, "length_m": 80}),
    )];
    let start = begun + 60;
    for by in OBSERVERS {
        lines.push(at(start, json!({"kind": "moment", "by": by, "drill": label, "step": "start"})));
    }
    for (t, target) in (0i64..).zip(["A", "B", "C"]) {
        lines.push(at(
            begun + 10 + t,
            json!({"kind": "target", "drill": label, "label": target, "set_depth_cm": 60 + 20 * t + n,
            "direction": "slope_normal", "x_m": 10 + 15 * t, "y_m": 20 + 10 * t}),
        ));
        for (k, step) in (0i64..).zip(STEPS) {
            for (o, by) in (0i64..).zip(OBSERVERS) {
                let s = start + 40 + 60 * t + 35 * k + (n * 7 + k) % 11 + o % 2;
                lines.push(at(
                    s,
                    json!({"kind": "moment", "by": by, "drill": label, "target": target, "step": step}),
                ));
            }
        }
        for (o, by) in (0i64..).zip(OBSERVERS) {
            lines.push(at(start + 180 + 60 * t + o, json!({"kind": "strike", "by": by, "drill": label, "target": target, "outcome": "hit",
                "depth_cm": 62 + 20 * t + n + o % 3, "lowest_reading_m": 0.9, "holes": 3 + o, "person": person((n + t) % 24), "x_m": 11 + 15 * t, "y_m": 20 + 10 * t})));
        }
        lines.push(at(
            start + 400 + 60 * t,
            json!({"kind": "depth", "drill": label, "target": target, "depth_cm": 64 + 20 * t + n,
            "method": "tape", "datum": "airway", "direction": "slope_normal"}),
        ));
        for (turn, by) in (0..6).flat_map(|turn| ["Obs1", "Obs2"].map(|by| (turn, by))) {
            let from = start + 215 + 60 * t + 12 * turn;
            let ended = firnbook_core::entry::Time::from_millis(1_801_897_200_000 + (from + 11) * 1000, 60)
                .expect("a time of that day");
            lines.push(at(from, json!({"kind": "rotation", "by": by, "drill": label, "target": target, "front": person((n + turn) % 24),
                "shovellers": [person((n + turn + 1) % 24), person((n + turn + 2) % 24)], "ended_at": ended})));
        }
    }
    for walker in 0..4 {
        // Up a lane, across, and down the next, a point a second, the place a little off.
        let off = |i: i64| (i * 7 + walker * 3) % 5 - 2;
        let way = |i: i64| {
            if i < 60 {
                [100 * walker, 12 * i]
            } else {
                [100 * walker + 60.min(12 * (i - 60)), 720 - 12 * (i - 65).max(0)]
            }
        };
        let place = |i: i64| {
            let [x, y] = way(i);
            [x + off(i), y + off(i + 1)].map(|dm| dm as f64 / 10.0)
        };
        let step =
            |i: i64, axis: usize| if i == 0 { place(0)[axis] } else { place(i)[axis] - place(i - 1)[axis] };
        let mut t_ms: Vec<i64> = vec![1000; 120];
        t_ms[0] = 1_801_897_200_000 + (start + 1) * 1000;
        let along = |axis: usize| (0..120).map(|i| step(i, axis)).collect::<Vec<f64>>();
        lines.push(at(
            start,
            json!({"kind": "track", "drill": label, "person": person((n + walker) % 24),
            "points": {"t_ms": t_ms, "x": along(0), "y": along(1)}}),
        ));
    }
    for k in 0..12 {
        lines.push(at(start + 700 + k, json!({"kind": "note", "drill": label, "topic": "next_time", "note": format!("observation {k} of drill {n}: call out readings")})));
    }
    lines
}
