//! The screens of a season: eight invented days with figures that follow from plain rules, so that a few can be counted by hand.

use firnbook_tests::world::World;
use serde_json::{Value, json};

const DAYS: u32 = 8;

/// Two drills a day, one a team, on eight Saturdays. Red strikes after 240 s and 15 s later each week, Blue 45 s after that; three drills end at
/// their limit before the strike. Targets lie 80 cm deep and 10 cm deeper each week.
fn season() -> World {
    let world = World::new();
    world.run("settings me Lead").ok();
    let mut lines = String::new();
    for d in 0..DAYS {
        let date = (chrono::NaiveDate::from_ymd_opt(2026, 12, 5).unwrap()
            + chrono::Days::new(7 * u64::from(d)))
        .to_string();
        world.run(&format!("day new --area \"Quill Bowl\" --date {date}")).ok();
        for entry in day(d) {
            let mut entry = entry;
            entry["day"] = json!(date);
            entry["by"] = json!("Lead");
            let at = entry["at"].as_f64().unwrap();
            entry["at"] = json!(time(&date, at));
            if let Some(ended) = entry.get("ended_at").and_then(Value::as_f64) {
                entry["ended_at"] = json!(time(&date, ended));
            }
            lines.push_str(&format!("{entry}\n"));
        }
    }
    world.file("season.jsonl", lines);
    world.run("log --from @season.jsonl").ok();
    world
}

/// Seconds after nine o'clock.
fn time(date: &str, seconds: f64) -> String {
    let ms = (seconds * 1000.0).round() as u64;
    let (s, ms) = (ms / 1000, ms % 1000);
    format!("{date}T{:02}:{:02}:{:02}.{ms:03}+01:00", 9 + s / 3600, s / 60 % 60, s % 60)
}

fn day(d: u32) -> Vec<Value> {
    let week = f64::from(d);
    let mut entries = vec![
        json!({"kind": "person", "at": 0, "call_sign": "Fox", "member": "M1", "team": "Red", "role": "searcher"}),
        json!({"kind": "person", "at": 0, "call_sign": "Heron", "team": "Blue", "role": "searcher"}),
        json!({"kind": "check", "at": 60, "person": "Fox", "transmits": true, "receives": true, "battery_pct": 99 - 9 * d, "nearest_electronics_cm": 15 + 10 * d}),
        json!({"kind": "check", "at": 90, "person": "Heron", "transmits": d != 2, "receives": (d != 1).then_some(true), "battery_pct": 80}),
    ];
    for (n, who) in [(0, "Fox"), (1, "Heron")] {
        let start = 3600.0 * f64::from(n + 1);
        let drill = (n + 1).to_string();
        let strike_s = 240.0 + 15.0 * week + 45.0 * f64::from(n);
        let depth_cm = 80 + 10 * d;
        let mut add = |kind: &str, t_s: f64, rest: Value| {
            let mut entry = json!({"kind": kind, "at": start + t_s, "drill": drill});
            entry.as_object_mut().unwrap().extend(rest.as_object().unwrap().clone());
            entries.push(entry);
        };
        let mut setup = json!({"kind": "drill", "label": drill, "team": (["Red", "Blue"][n as usize]), "form": "scenario", "slope_deg": 25, "limit_s": 600, "stops_at": "strike"});
        setup["at"] = json!(start);
        add(
            "target",
            0.0,
            json!({"label": "A", "set_depth_cm": depth_cm, "orientation": if d.is_multiple_of(2) { "flat" } else { "upright" }}),
        );
        add("moment", 0.0, json!({"step": "start"}));
        add("moment", 60.0 + 5.0 * week, json!({"step": "signal", "target": "A", "person": who}));
        if d % 3 == n {
            add("interference", 30.0, json!({"source": "radio", "distance_cm": 20 + d}));
        }
        if (d + 3 * n) % 5 == 4 {
            add("moment", 600.0, json!({"step": "end", "why": "limit"}));
        } else {
            let probe_cm = depth_cm + [0, 2, 4][d as usize % 3];
            let reading_m = f64::from(depth_cm) * 1.2 / 100.0;
            add(
                "strike",
                strike_s,
                json!({"target": "A", "outcome": "hit", "person": who, "depth_cm": probe_cm, "lowest_reading_m": reading_m, "holes": 2 + d}),
            );
            add("moment", strike_s + 20.0, json!({"step": "digging", "target": "A"}));
            let (people, digs_s) = (2 + d % 3, 150.0 + 30.0 * week);
            for turn in 0..people {
                let from = strike_s + 20.0 + digs_s / f64::from(people) * f64::from(turn);
                let to = start + from + digs_s / f64::from(people);
                let front = [who, "Lynx", "Wren", "Swift"][turn as usize];
                add("rotation", from, json!({"target": "A", "front": front, "ended_at": to}));
            }
            add("moment", strike_s + 20.0 + digs_s, json!({"step": "airway", "target": "A", "person": who}));
            if n == 0 {
                add(
                    "depth",
                    strike_s + 300.0,
                    json!({"target": "A", "depth_cm": depth_cm + 1, "method": "tape", "datum": "first_contact", "direction": "slope_normal"}),
                );
            }
        }
        entries.push(setup);
    }
    entries
}

#[test]
fn the_screens_of_a_season() {
    let world = season();
    world.file("test.toml", "name = \"one in five minutes\"\nlimit_s = 300\nstops_at = \"strike\"\ninclusive = true\ntransmitters = 1\n");
    for (name, line) in [
        ("season-times", "stats times"),
        ("season-times-step", "stats times --step strike --group-by team --horizon 10min --test @test.toml"),
        ("season-depth", "stats depth --group-by team"),
        ("season-methods", "stats methods --group-by orientation"),
        ("season-checks", "stats checks --group-by team"),
        ("season-digging", "stats digging --group-by team"),
        ("season-interference", "stats interference --step signal"),
        ("season-person", "stats person Fox"),
        ("season-person-by-month", "stats person Fox --group-by month"),
        ("season-none", "stats times --since 2030-01-01"),
    ] {
        let ran = world.run(line);
        assert_eq!(ran.status, 0, "{line}: {}", ran.err);
        world.snapshot(name, &ran.shown());
        let wide = ran.out.lines().find(|l| l.chars().count() > 80);
        assert_eq!(wide, None, "{line} runs past 80 columns");
    }
}

#[test]
fn the_figures_are_those_of_the_rules() {
    let world = season();
    let times = world.run("stats times --step strike --group-by team --json").json();
    let strike = &times["steps"][0];
    assert_eq!(times["steps"].as_array().unwrap().len(), 1);
    // Of 16 runs, Red's of week 5 and Blue's of weeks 2 and 7 ended at 600 s without a strike.
    assert_eq!((&strike["n"], &strike["events"], &strike["censored"]), (&16.into(), &13.into(), &3.into()));
    // Red: 240 to 345 s but for 300 s. Half of 8 are left at 285 s and until 315 s: the middle is 300 s.
    let of = |name: &str| {
        strike["groups"].as_array().unwrap().iter().find(|g| g["group"] == name).unwrap().clone()
    };
    assert_eq!(of("Red")["median_s"], 300.0);
    assert_eq!((&times["passed"]["k"], &times["passed"]["n"]), (&13.into(), &16.into()));
    // Red strikes at 240, 255, 270 and 285 s, Blue at 285 s; every later one is over. 285 s itself passes where the limit is inclusive.
    for (inclusive, k) in [(true, 5), (false, 3)] {
        let test = json!({"name": "x", "limit_s": 285, "stops_at": "strike", "inclusive": inclusive});
        world.file("test.json", test.to_string());
        let passed = world.run("stats times --test @test.json --json").json()["passed"].clone();
        assert_eq!((&passed["k"], &passed["n"]), (&k.into(), &16.into()));
    }
    // Probe less tape, Red without week 5: probe is 0, 2 or 4 cm more than the set depth, tape 1 cm more.
    let methods = world.run("stats methods --json").json();
    let pair =
        methods["pairs"].as_array().unwrap().iter().find(|p| p["a"] == "probe" && p["b"] == "tape").unwrap();
    let differences = [-1.0, 1.0, 3.0, -1.0, 3.0, -1.0, 1.0];
    assert_eq!(pair["n"], 7);
    assert!((pair["bias_cm"].as_f64().unwrap() - differences.iter().sum::<f64>() / 7.0).abs() < 1e-9);
    // Fox's first signal comes 5 s later each week of 7 days.
    let fox = world.run("stats person M1 --json").json();
    assert!((fox["trends"][0]["slope_per_day"].as_f64().unwrap() - 5.0 / 7.0).abs() < 1e-9);
    assert!(!fox.to_string().contains("Heron"));
    let both = world.run("stats checks --json").json();
    assert_eq!((&both["failed"][0]["k"], &both["n"]), (&1.into(), &16.into()));
}

#[test]
fn what_a_season_can_not_tell_is_said() {
    let world = season();
    world.file("bad.toml", "name = \"x\"\nlimit = 5\n");
    world.file("late.json", r#"{"name": "x", "limit_s": 0, "stops_at": "strike", "inclusive": true}"#);
    for (line, status, says) in [
        ("stats person Heron", 1, "heard on 8 days without a member code"),
        ("stats person Fox --group-by writer", 2, "group by form, team, area, day, month, season"),
        ("stats person nobody", 1, "nobody is called \"nobody\""),
        ("stats times --group-by writer", 2, "can't be grouped by writer"),
        ("stats times --step start", 2, "write one of signal"),
        ("stats times --horizon 0", 2, "the horizon is 0 s"),
        ("stats times --test @bad.toml", 1, "is no test definition"),
        ("stats times --test @late.json", 2, "limit of the test \"x\" is 0 s"),
        ("stats times --test @nowhere", 1, "is not there"),
        ("stats digging --group-by datum", 2, "can't be grouped by datum"),
        ("stats interference --step pause", 2, "write one of signal"),
        ("stats checks --since 2026-13-01", 2, "--since"),
    ] {
        let ran = world.run(line);
        assert_eq!(ran.status, status, "{line}: {}{}", ran.out, ran.err);
        assert!(ran.err.contains(says), "{line}: {}", ran.err);
    }
    let heron = world.run("stats person Heron --day 2026-12-05 --json").json();
    assert_eq!(heron["n_days"], 1);
}
