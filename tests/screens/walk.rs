//! The walk through everything that needs settling, as someone at a terminal answers it.

use firnbook::Terminal;
use firnbook_tests::world::World;
use serde_json::json;

fn at_a_terminal() -> World {
    let mut world = World::played();
    world.terminal = Terminal { stdin: true, stdout: true, stderr: true, columns: Some(80) };
    world
}

fn open(world: &World) -> usize {
    let items = world.run("review --json").json()["items"].as_array().unwrap().clone();
    items.iter().filter(|i| i["sort"] != json!("missing")).count()
}

#[test]
fn every_question_can_be_answered() {
    let world = at_a_terminal();
    assert_eq!(open(&world), 9);
    // Two conflicts, the label that was meant, then the pairs; a key that is none of those offered is asked again.
    let answers = "1\n= 30\nwhat?\n= C\ny\nn\ny\ny\ny\ny\n";
    let ran = world.run_with("settle --color never", answers);
    assert_eq!(ran.status, 0, "{}", ran.err);
    assert!(
        ran.out.contains("\"what?\" is none of these") && ran.out.contains("9 items settled, 0 left"),
        "{}",
        ran.out
    );
    assert_eq!(open(&world), 0);
    let drill = world.run("debrief --drill 2 --json").json();
    assert_eq!(drill["drills"][0]["slope_deg"], json!(30.0));
    world.snapshot("walk", ran.out.split("\u{1b}[2J\u{1b}[H").nth(1).unwrap());
}

#[test]
fn the_walk_is_left_at_any_point_and_what_was_settled_stays() {
    let world = at_a_terminal();
    world.run_with("settle", "1\nq\n").ok();
    assert_eq!(open(&world), 8);
    world.run_with("settle", "\n\n").ok();
    assert_eq!(open(&world), 8, "later is not never");
    world.run_with("settle", "").ok();
    assert_eq!(open(&world), 8);
}

#[test]
fn single_items_are_settled_by_their_codes() {
    let world = World::played();
    let items = world.run("review --json").json()["items"].clone();
    let of =
        |sort: &str| items.as_array().unwrap().iter().find(|i| i["sort"] == json!(sort)).unwrap().clone();
    let conflict = of("conflict");
    let (code, keep) = (conflict["code"].as_str().unwrap(), conflict["values"][1]["code"].as_str().unwrap());
    let told = world.run(&format!("settle {} --keep {keep} --json", &code[..5])).json();
    assert_eq!(told["items"][0]["settled"][0]["v"], conflict["values"][1]["value"]);
    let twin = of("twin");
    let (code, entry) = (twin["code"].as_str().unwrap(), twin["entries"][0].as_str().unwrap());
    world.run(&format!("settle {code} --void {entry} --note \"pressed twice\"")).ok();
    assert!(world.run(&format!("show {entry}")).ok().contains("struck out: pressed twice"));
    world.run(&format!("settle {} --accept", of("doubt")["code"].as_str().unwrap())).ok();
    assert_eq!(open(&world), 6);
    world.snapshot("settle-all-twins", &world.run("settle --sort twin --same").shown());
    assert_eq!(open(&world), 1);
}

#[test]
fn what_is_settled_at_base_is_settled_on_the_phone() {
    let world = World::played();
    world.run("settle --sort twin --same").ok();
    world.run("pack -o @back.firn").ok();
    world.run("merge @back.firn --store @phones/birch.firnstore").ok();
    let phone = world.run("review --sort twin --json --store @phones/birch.firnstore").json();
    assert_eq!(phone["items"], json!([]));
}
