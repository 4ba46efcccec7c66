//! A full export read into an empty store gives the same answers, for random days: 12 unless `FIRNBOOK_DAYS` says how many;
//! `tests/run round-trip-long` takes 1,000.

use firnbook_tests::world::World;
use proptest::prelude::*;
use serde_json::{Value, json};

/// Commands whose answers must not change, but for how they were made.
const ANSWERS: [&str; 9] = [
    "entries",
    "debrief",
    "kit",
    "stats depth",
    "stats depth --of set --group-by team",
    "stats times --group-by form",
    "stats methods",
    "stats interference",
    "stats digging",
];

/// What CSV has no place for: nothing of what is written here.
const FORMS: [&str; 2] = ["jsonl", "csv"];

/// One entry; numbers choose among what is possible.
fn entry() -> impl Strategy<Value = Value> {
    let drill = prop::sample::select(vec!["1", "2", "Two; of them"]);
    let target = prop::sample::select(vec!["A", "b", "C 3"]);
    let step = prop::sample::select(vec![
        "start",
        "signal",
        "coarse",
        "fine",
        "probing",
        "strike",
        "digging",
        "airway",
        "extricated",
        "pause",
        "resume",
        "end",
    ]);
    let who = prop::sample::select(vec!["Fox", "Lynx", "Obs 1"]);
    let note = prop::sample::select(vec!["", " a, \"b\";\nc ", "plain", "ü;é"]);
    (0..9_u8, drill, target, step, who, note, 0..7200_u32, 0..220_u32, 0..400_u32).prop_map(
        |(kind, drill, target, step, who, note, after_s, cm, tenth)| {
            let mut entry = match kind {
                0 => json!({"kind": "drill", "label": drill, "team": who, "form": "scenario", "slope_deg": cm % 61, "limit_s": tenth + 60, "outline": [[0, 0], [20.5, 0], [20, tenth]]}),
                1 => json!({"kind": "target", "drill": drill, "label": target, "item": format!("TX{cm}"), "set_depth_cm": cm, "direction": "vertical"}),
                2 | 3 => json!({"kind": "moment", "drill": drill, "target": target, "step": step}),
                4 => json!({"kind": "strike", "drill": drill, "target": target, "outcome": "hit", "depth_cm": cm, "lowest_reading_m": f64::from(tenth) / 10.0, "x_m": f64::from(tenth) / 8.0, "y_m": -1.5}),
                5 => json!({"kind": "depth", "drill": drill, "target": target, "depth_cm": f64::from(tenth) / 3.0, "method": "tape", "datum": "airway"}),
                6 => json!({"kind": "rotation", "drill": drill, "target": target, "front": who, "shovellers": ["Fox", "Otter"]}),
                7 => json!({"kind": "interference", "drill": drill, "source": "phone", "distance_cm": cm}),
                _ => json!({"kind": "note", "topic": "snow", "note": if note.is_empty() { "x" } else { note }}),
            };
            if kind == 3 && step == "start" {
                entry.as_object_mut().unwrap().shift_remove("target");
            }
            if !note.is_empty() {
                entry["note"] = json!(note);
            }
            let seconds = after_s % 60;
            entry["at"] = json!(format!("2027-02-06T{:02}:{:02}:{seconds:02}.{:03}+01:00", 9 + after_s / 3600, after_s / 60 % 60, tenth));
            entry["by"] = json!(who);
            entry
        },
    )
}

/// An answer without how it was made.
fn answer(world: &World, line: &str, store: &str) -> Value {
    let mut answer = world.run(&format!("{line} --json --store @{store}")).json();
    if let Some(map) = answer.as_object_mut() {
        map.shift_remove("made");
        map.shift_remove("awaited");
    }
    let mut of_the_store = |pointer: &str, keys: &[&str]| {
        let rows = match answer.pointer_mut(pointer) {
            Some(Value::Array(rows)) => rows.iter_mut().collect(),
            Some(one) => vec![one],
            None => vec![],
        };
        for row in rows {
            if let Some(map) = row.as_object_mut() {
                keys.iter().for_each(|key| drop(map.shift_remove(*key)));
            }
        }
    };
    of_the_store("/entries", &["device", "at_clock"]);
    of_the_store("/clocks", &["base"]);
    of_the_store("/clocks/clocks", &["device"]);
    answer
}

fn days() -> u32 {
    std::env::var("FIRNBOOK_DAYS").ok().and_then(|n| n.parse().ok()).unwrap_or(12)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: days(), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_full_export_gives_the_same_answers(entries in prop::collection::vec(entry(), 1..40), amended in 0..200_u32) {
        let world = World::new();
        let lines: Vec<String> = entries.iter().map(Value::to_string).collect();
        world.file("day.jsonl", lines.join("\n"));
        world.run("settings me Lead").ok();
        world.run("day new --area \"Upper Bowl\"").ok();
        world.run("log --from @day.jsonl").ok();
        // Some of what was measured is amended since.
        let strikes = world.run("entries --kind strike --json").json();
        if let Some(id) = strikes["entries"][0]["entry"]["id"].as_str() {
            world.run(&format!("amend {id} --depth {}", amended + 10)).ok();
        }
        let before = ANSWERS.map(|line| answer(&world, line, "base.firnstore"));
        for form in FORMS {
            world.run(&format!("export --format {form} --full -o @{form}")).ok();
            let store = format!("{form}.firnstore");
            world.run(&format!("settings me Base --store @{store}")).ok();
            world.run(&format!("day new --area \"Upper Bowl\" --store @{store}")).ok();
            let package: Value = serde_json::from_slice(&std::fs::read(world.path(form).join("datapackage.json")).unwrap()).unwrap();
            for resource in package["resources"].as_array().unwrap() {
                let name = resource["name"].as_str().unwrap();
                if firnbook_core::entry::kind(name).is_some() {
                    world.run(&format!("log --from @{form}/{name}.{form} --store @{store}")).ok();
                }
            }
            for (line, before) in ANSWERS.iter().zip(&before) {
                prop_assert_eq!(&answer(&world, line, &store), before, "{} of {}", line, form);
            }
        }
    }
}
