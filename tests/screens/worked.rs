//! The drill that DEVELOPERS.md works through by hand: the same sums here, from the printed entries, against the debrief and against the text.

use firnbook_tests::world::World;
use serde_json::Value;

struct Drill {
    entries: Vec<Value>,
    debrief: Value,
}

impl Drill {
    fn of_the_demo() -> Drill {
        let world = World::played();
        let entries = world.run("entries --drill 1 --json").json()["entries"].as_array().unwrap().clone();
        Drill { entries, debrief: world.run("debrief --drill 1 --json").json()["drills"][0].clone() }
    }

    /// The middle of when its writers wrote a step, in base time, s of the day.
    fn step_s(&self, step: &str) -> (f64, Vec<f64>) {
        let is =
            |e: &&Value| e["entry"]["step"] == step || step == "strike" && e["entry"]["kind"] == "strike";
        let mut at: Vec<f64> = self.entries.iter().filter(is).map(|e| of_day_s(&e["at_base"])).collect();
        at.sort_by(f64::total_cmp);
        ((at[(at.len() - 1) / 2] + at[at.len() / 2]) / 2.0, at)
    }

    /// Turns with how long they took, s.
    fn turns(&self) -> Vec<(Vec<&str>, f64)> {
        let turns = self.entries.iter().map(|e| &e["entry"]).filter(|e| e["kind"] == "rotation");
        turns
            .map(|turn| {
                let hands = turn["shovellers"].as_array().unwrap().iter().chain([&turn["front"]]);
                let took_s = of_day_s(&turn["ended_at"]) - of_day_s(&turn["at"]);
                (hands.map(|who| who.as_str().unwrap()).collect(), took_s)
            })
            .collect()
    }
}

/// Seconds since midnight of a time of day, wherever its zone.
fn of_day_s(time: &Value) -> f64 {
    let clock: Vec<f64> =
        time.as_str().unwrap()[11..23].split(':').map(|part| part.parse().unwrap()).collect();
    clock[0] * 3600.0 + clock[1] * 60.0 + clock[2]
}

fn near(told: &Value, by_hand: f64) {
    let told = told.as_f64().unwrap();
    assert!((told - by_hand).abs() < 1e-6, "the debrief says {told}, by hand it is {by_hand}");
}

/// The guide says this, however its lines are broken.
fn guide_says(text: &str) {
    let guide = include_str!("../../DEVELOPERS.md").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(guide.contains(text), "DEVELOPERS.md does not say: {text}");
}

#[test]
fn steps_by_hand() {
    let drill = Drill::of_the_demo();
    let line = &drill.debrief["targets"][0];
    let (start, starts) = drill.step_s("start");
    let mut spread_s = starts[2] - starts[0];
    let steps = ["signal", "coarse", "fine", "probing", "strike", "digging", "airway"];
    for step in steps {
        let (at, all) = drill.step_s(step);
        near(&line[format!("t_{step}_s")], at - start);
        spread_s = spread_s.max(all[all.len() - 1] - all[0]);
        guide_says(&format!("| {} s |", ((at - start) * 1e4).round() / 1e4));
    }
    near(&line["spread_s"], spread_s);
    guide_says(&format!("1.405 - 0.200 = {spread_s:.3} s"));
    near(&line["uncertainty_s"], 0.5 + 0.5);
    let durations: f64 = line["durations"].as_object().unwrap().values().map(|d| d.as_f64().unwrap()).sum();
    near(&line["t_airway_s"], durations);
    assert_eq!(line["slowest"], Value::Null);
}

#[test]
fn depth_by_hand() {
    let drill = Drill::of_the_demo();
    let (target, of) = (&drill.debrief["targets"][0], |kind: &str| {
        drill.entries.iter().map(|e| &e["entry"]).find(|e| e["kind"] == kind).unwrap()
    });
    let taped = of("depth")["depth_cm"].as_f64().unwrap();
    let set = of("target")["set_depth_cm"].as_f64().unwrap();
    near(&target["depth"]["headline"]["median_cm"], taped);
    near(&target["depth"]["found_minus_set_cm"], taped - set);
    let taped_value =
        target["depth"]["values"].as_array().unwrap().iter().find(|v| v["method"] == "tape").unwrap();
    near(&taped_value["vertical_cm"], taped / 30_f64.to_radians().cos());
    near(&target["reading_ratio"], 100.0 * of("strike")["lowest_reading_m"].as_f64().unwrap() / taped);
    guide_says(&format!("found less set is {} cm", taped - set));
    guide_says(&format!("121 / cos 30 = {:.1} cm", taped / 30_f64.to_radians().cos()));
    guide_says(&format!("130 / 121 = {:.3}", 130.0 / taped));
}

#[test]
fn digging_by_hand() {
    let drill = Drill::of_the_demo();
    let (digging, turns) = (&drill.debrief["digging"], drill.turns());
    let work_s =
        |who: &str| turns.iter().filter(|(hands, _)| hands.contains(&who)).map(|(_, s)| s).sum::<f64>();
    let people = digging["people"].as_array().unwrap();
    assert_eq!(people.len(), 4);
    for person in people {
        let who = person["call_sign"].as_str().unwrap();
        near(&person["work_s"], work_s(who));
        guide_says(&format!("= {:.0} s", work_s(who)));
    }
    let all_s: f64 = ["Fox", "Lynx", "Otter", "Marten"].map(work_s).iter().sum();
    let present_s: f64 = turns.iter().map(|(_, s)| s).sum();
    near(&digging["mean_work_s"], all_s / 4.0);
    near(&digging["idle_share"], 1.0 - all_s / (4.0 * present_s));
    guide_says(&format!("1 - {all_s:.0} / (4 x {present_s:.0}) = 25 %"));
    let snow = &digging["heads"][0]["snow"];
    let wedge_m3 = 1.21 * 1.21 / 2.0 * 1.2;
    let digging_s = drill.step_s("airway").0 - drill.step_s("digging").0;
    near(&snow["wedge_m3"], wedge_m3);
    near(&snow["snow_kg"], 400.0 * wedge_m3);
    near(&snow["kg_per_s"], 400.0 * wedge_m3 / digging_s);
    guide_says(&format!(
        "= {wedge_m3:.3} m3, at 400 kg/m3 {:.1} kg, over the {digging_s:.3} s of digging {:.3} kg/s",
        400.0 * wedge_m3,
        400.0 * wedge_m3 / digging_s
    ));
}

#[test]
fn search_by_hand() {
    let search = &Drill::of_the_demo().debrief["search"];
    let within_m2 = 40.0 * 36.0 + std::f64::consts::PI * 20.0 * 20.0 / 2.0;
    let covered_m2 = search["covered_m2"].as_f64().unwrap();
    assert!((covered_m2 - within_m2).abs() < 1e-3, "{covered_m2} against {within_m2} by hand");
    let gap_m2 = search["gaps"][0]["area_m2"].as_f64().unwrap();
    // The arc is as long as half a circle of 20 m, and the steps leave it by 1 cm at most.
    let (left_m2, most_m2) = (2400.0 - within_m2, 0.01 * std::f64::consts::PI * 20.0);
    assert!((left_m2..left_m2 + most_m2).contains(&gap_m2), "{gap_m2} against {left_m2} by hand");
    guide_says(&format!("= {within_m2:.2} m2, {:.1} % of 2400 m2", within_m2 / 24.0));
    guide_says(&format!("one gap above, {left_m2:.2} m2"));
    guide_says(&format!("holds {gap_m2:.2} m2"));
}
