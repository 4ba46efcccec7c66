//! What a person meets of changes that do not count: a guest who names another device, a key that signed two histories, a damaged day.

use firnbook_core::day::format::Change;
use firnbook_core::day::{Actor, History};
use firnbook_tests::rogue::{Rogue, body, change, ulid};
use firnbook_tests::world::World;
use firnbook_tests::{Phone, content, strike};
use serde_json::json;

fn schema_holds(name: &str, answer: &serde_json::Value) {
    let (_, schema) = firnbook::answers().into_iter().find(|(n, _)| *n == name).unwrap();
    let faults: Vec<String> = jsonschema::validator_for(&schema.to_value())
        .unwrap()
        .iter_errors(answer)
        .map(|e| e.to_string())
        .collect();
    assert!(faults.is_empty(), "{name}: {faults:?}");
}

#[test]
fn what_waits_and_what_is_withdrawn_is_shown_reviewed_and_taken_over() {
    let world = World::new();
    world.run("settings me Lead").ok();
    world.run("day new --area \"Upper Bowl\"").ok();
    world.run("log strike --drill 1 --target A --depth 95cm").ok();
    let rogue = Rogue::new(7);
    let one = rogue.change(1, None, &[body(1, 100)]);
    let lines = [body(2, 110), body(3, 120)].map(|b| rogue.change(2, Some(&one), &[b]));
    let honest = Rogue::new(8);
    let claimed = change(honest.actor(History::Entries), 1, None, &[body(4, 130)]);
    let left =
        rogue.pack(vec![one.clone(), lines[0].clone()], vec![rogue.cover(&[&lines[0]])], vec![claimed]);
    let right = rogue.pack(vec![one.clone(), lines[1].clone()], vec![rogue.cover(&[&lines[1]])], vec![]);
    world.file("left.firn", left);
    world.file("right.firn", right);
    world.run("merge @left.firn").ok();
    world.snapshot("aside-merge", &world.run("merge @right.firn").shown());
    world.snapshot("aside-day-list", &world.run("day list").shown());
    world.snapshot("aside-day-show", &world.run("day show").shown());
    world.snapshot("aside-review", &world.run("review").shown());
    world.snapshot("aside-entries", &world.run("entries").shown());
    assert_eq!(world.run("entries --json").json()["not_counted"], 3);
    world.snapshot("aside-show-withdrawn", &world.run(&format!("show {}", &ulid(2)[20..])).shown());
    world.snapshot("aside-show-waiting", &world.run(&format!("show {} --history", &ulid(4)[20..])).shown());
    let shown = world.run("day show --json").json();
    schema_holds("day-show", &shown);
    assert_eq!(shown["aside"].as_array().unwrap().len(), 3);
    let items = world.run("review --json").json();
    schema_holds("review", &items);
    let withdrawn = &items["items"]
        .as_array()
        .unwrap()
        .iter()
        .find(|i| i["item"].as_str().unwrap().ends_with("!withdrawn"));
    assert_eq!(withdrawn.unwrap()["entries"].as_array().unwrap().len(), 2);

    let ending = ulid(2)[20..].to_owned();
    let adopted = world.run(&format!("adopt {ending} --json")).json();
    schema_holds("adopt", &adopted);
    assert_eq!(adopted["changed"][0], ulid(2));
    world.snapshot("aside-adopt-again", &world.run(&format!("adopt {ending}")).shown());
    world.snapshot("aside-adopt-waiting", &world.run(&format!("adopt {}", &ulid(4)[20..])).shown());
    let entries = world.run("entries --json").json();
    let depths: Vec<_> =
        entries["entries"].as_array().unwrap().iter().map(|e| e["entry"]["depth_cm"].clone()).collect();
    assert!(
        depths.contains(&serde_json::json!(110)) && !depths.contains(&serde_json::json!(120)),
        "{depths:?}"
    );
    assert_eq!(world.run("verify --json").json()["ok"], true);
}

#[test]
fn what_is_withdrawn_after_a_day_was_closed_is_told_with_the_closing() {
    let world = World::new();
    world.run("settings me Lead").ok();
    world.run("day new --area \"Upper Bowl\"").ok();
    let rogue = Rogue::new(7);
    let one = rogue.change(1, None, &[body(1, 100)]);
    let [left, right] = [body(2, 110), body(3, 120)].map(|b| rogue.change(2, Some(&one), &[b]));
    let pack =
        |last: &Change| rogue.pack(vec![one.clone(), last.clone()], vec![rogue.cover(&[last])], vec![]);
    world.file("left.firn", pack(&left));
    world.file("right.firn", pack(&right));
    world.run("merge @left.firn").ok();
    world.run("day close --despite \"the test needs it closed\"").ok();
    let seal = || world.run("verify --json").json()["days"][0]["seals"][0].clone();
    assert_eq!((&seal()["after"], &seal()["missing"]), (&json!(0), &json!(0)));
    world.run("merge @right.firn").ok();
    assert_eq!((&seal()["after"], &seal()["missing"]), (&json!(0), &json!(1)));
    world.snapshot("aside-verify-closed", &world.run("verify").shown());
}

#[test]
fn a_damaged_day_is_named_leaves_the_others_alone_and_is_taken_from_a_pack() {
    let world = World::new();
    let mut phone = Phone::new("Obs1");
    for depth in 100..110 {
        phone.write(strike(depth));
    }
    world.file("team.firn", phone.pack());
    world.run("settings me Lead").ok();
    world.run("merge @team.firn").ok();
    world.run("day new --area \"Lower Bowl\"").ok();
    let conn = rusqlite::Connection::open(world.path("base.firnstore")).unwrap();
    let spoilt = "UPDATE change SET bytes = zeroblob(length(bytes)) WHERE seq IN (3, 4)";
    assert_eq!(conn.execute(spoilt, []).unwrap(), 2);
    drop(conn);
    let found = world.run("verify");
    assert_eq!(found.status, 1);
    world.snapshot("aside-verify-damaged", &found.shown());
    let lower = firnbook_core::day::DayId::of(firnbook_tests::date(), "Lower Bowl");
    world.run(&format!("log note --note \"this day works on\" --day {lower}")).ok();
    let repaired = world.run("verify --repair @team.firn --json").json();
    schema_holds("verify", &repaired);
    assert_eq!((&repaired["ok"], repaired["repaired"].as_array().unwrap().len()), (&true.into(), 1));
    let entries = world.run(&format!("entries --day {} --json", phone.day)).json();
    assert_eq!(entries["entries"].as_array().unwrap().len(), 10);
    assert!(content(&phone.pack()).changes.iter().any(|c| Actor(c.actor).device() == phone.book.device()));
}
