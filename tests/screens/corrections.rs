//! Writing and correcting from the command line.

use firnbook_tests::world::World;
use serde_json::json;

fn begun() -> World {
    let world = World::new();
    world.run("settings me Lead").ok();
    world.run("day new --area \"Upper Bowl\"").ok();
    world
}

#[test]
fn what_is_typed_becomes_an_entry() {
    let world = begun();
    world.run("log drill --label 1 --slope 30° --limit 10min").ok();
    world.run("log moment --drill 1 --step start --at 13:40").ok();
    for depth in ["--depth 1.1m", "--depth-cm 110", "--depth_cm 110cm"] {
        let id =
            world.run(&format!("log strike --drill 1 {depth} --outcome hit --at +3:20 --json")).json()["ids"]
                [0]
            .clone();
        let entry = world.run(&format!("show {} --json", id.as_str().unwrap())).json()["entry"].clone();
        assert_eq!(entry["depth_cm"], json!(110));
        assert_eq!(entry["at"], json!("2027-02-06T13:43:20.000+01:00"));
        assert_eq!(entry["by"], json!("Lead"));
    }
    let listed = world.run("log kit --step issued --item TX01,TX02 --what transmitter --json").json();
    assert_eq!(listed["written"], json!(2));
    let turn = world
        .run("log rotation --drill 1 --front Fox --shovellers Lynx,Otter --shovellers Marten --json")
        .json();
    let shown = world.run(&format!("show {} --json", turn["ids"][0].as_str().unwrap())).json();
    assert_eq!(shown["entry"]["shovellers"], json!(["Lynx", "Otter", "Marten"]));
}

#[test]
fn last_is_what_was_written_last_and_not_what_happened_last() {
    let world = begun();
    world.run("log note --note afternoon --at 13:59").ok();
    world.run("log note --note morning --at 9:00").ok();
    assert_eq!(world.run("show last --json").json()["entry"]["note"], json!("morning"));
}

#[test]
fn amending_keeps_what_was_there() {
    let world = begun();
    world.run("log strike --drill 1 --depth 110 --note first").ok();
    world.it_is("2027-02-06T14:05:00+01:00");
    assert_eq!(
        world.run("amend last --depth 1.2m --clear note --json").json()["changed"].as_array().unwrap().len(),
        1
    );
    assert_eq!(world.run("amend last --depth 120 --json").json()["changed"], json!([]));
    world.run("void last --reason \"pressed by mistake\"").ok();
    let refused = world.run("amend last --depth 1.3m");
    assert!(refused.status == 1 && refused.err.contains("--restore"), "{}", refused.err);
    world.run("void last --restore").ok();
    world.snapshot("show-history", &world.run("show last --history").ok());
    assert_eq!(world.run("entries --json").json()["entries"][0]["entry"]["depth_cm"], json!(120));
}

#[test]
fn ids_come_by_ending_and_from_standard_input() {
    let world = begun();
    for n in 1..=3 {
        world.run(&format!("log note --note n{n}")).ok();
    }
    let ids = world.run("entries --ids").ok();
    assert_eq!(ids.lines().count(), 3);
    let changed = world.run_with("void - --reason practice --json", &ids).json();
    assert_eq!(changed["changed"].as_array().unwrap().len(), 3);
    assert!(world.run("show 000000").err.contains("no entry ends in \"000000\""));
    let ambiguous = world.run("show 0123456789 0");
    assert_eq!(ambiguous.status, 2);
}

#[test]
fn entries_move_to_the_day_they_belong_to() {
    let world = begun();
    world.run("log note --note here").ok();
    let right = world.run("day new --area \"Lower Bowl\" --json").json()["day"].as_str().unwrap().to_owned();
    let wrong = world.run("day list --json").json()["days"][0]["day"].as_str().unwrap().to_owned();
    assert_ne!(right, wrong);
    world.run(&format!("move --all --day {} --into {}", &wrong[..8], &right[..8])).ok();
    assert_eq!(
        world.run(&format!("entries --day {right} --json")).json()["entries"].as_array().unwrap().len(),
        1
    );
    let left = world.run(&format!("entries --day {wrong} --void --json")).json();
    assert!(left["entries"][0]["void"].as_str().unwrap().contains("moved to day"));
}

#[test]
fn the_first_word_of_a_choice_is_enough() {
    let world = begun();
    for typed in ["false", "false strike", "False-strike", "false_strike"] {
        world.run(&format!("log strike --drill 1 --depth 1.1m --outcome \"{typed}\"")).ok();
    }
    let entries = world.run("entries --kind strike --json").json()["entries"].clone();
    let outcomes: Vec<_> = entries.as_array().unwrap().iter().map(|e| &e["entry"]["outcome"]).collect();
    assert_eq!(outcomes, ["false_strike"; 4]);
}

#[test]
fn a_doubt_that_no_verdict_answers_says_what_to_type() {
    let world = begun();
    world.run("log moment --drill 1 --step start").ok();
    world.run("log moment --drill 1 --target A --step signal --clock \"Kestrel's watch\"").ok();
    let review = world.run("review").ok();
    assert!(review.contains("as the clock \"kestrel's watch\""), "{review}");
    assert!(
        review.contains("\n            firnbook log clock_mark --label read --clock NAME --shows HH:MM:SS\n"),
        "{review}"
    );
    let full = world.run("day list --json").json()["days"][0]["day"].as_str().unwrap().to_owned();
    let slip = world.run("day new --area \"Lower Bowl\" --json").json()["day"].as_str().unwrap().to_owned();
    world.run("log note --note there").ok();
    let review = world.run(&format!("review --day {slip}")).ok();
    assert!(
        review.contains(&format!("\n            firnbook move --all --day {slip} --into {full}\n")),
        "{review}"
    );
}
