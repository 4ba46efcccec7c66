//! The group check: what was not tested is said, and nowhere counts as in order.

use firnbook_tests::world::World;

/// A day on which Fox's sending was tested, and both of Lynx.
fn checked() -> World {
    let world = World::new();
    world.run("settings me Lead").ok();
    world.run("day new --area \"Upper Bowl\" --date 2027-02-06").ok();
    for who in ["Fox", "Lynx"] {
        world.run(&format!("log person --call-sign {who}")).ok();
    }
    world.run("log check --person Fox --transmits yes").ok();
    world.run("log check --person Lynx --transmits yes --receives yes").ok();
    world
}

#[test]
fn what_was_not_tested_is_said_everywhere() {
    let world = checked();
    let debrief = world.run("debrief --html @day.html --sheets @sheets").ok();
    assert!(debrief.contains("receives not tested: Fox\n"), "{debrief}");
    let day = std::fs::read_to_string(world.path("day.html")).unwrap();
    assert!(day.contains("<b>receives not tested</b>: Fox"), "{day}");
    assert!(!day.contains("Nothing was found wrong"), "{day}");
    let sheets = std::fs::read_dir(world.path("sheets")).unwrap();
    let sheets = sheets.map(|file| std::fs::read_to_string(file.unwrap().path()).unwrap());
    let (mut in_order, mut not_tested) = (0, 0);
    for sheet in sheets {
        in_order += usize::from(sheet.contains(": in order"));
        not_tested += usize::from(sheet.contains(": receives not tested"));
    }
    assert_eq!((in_order, not_tested), (1, 1));
    let stats = world.run("stats checks").ok();
    assert!(stats.contains("not tested in 1"), "{stats}");
    let figures = world.run("stats checks --json").json();
    let counts: Vec<_> =
        (0..3).map(|i| &figures["failed"][i]).map(|f| [&f["k"], &f["n"], &f["not_tested"]]).collect();
    assert_eq!(counts, [[0, 2, 0], [0, 1, 1], [0, 2, 0]]);
}

#[test]
fn what_is_tested_later_is_tested() {
    let world = checked();
    world.run("log check --person Fox --receives yes").ok();
    let debrief = world.run("debrief --html @day.html").ok();
    assert!(debrief.contains("Group check") && !debrief.contains("not tested"), "{debrief}");
    let day = std::fs::read_to_string(world.path("day.html")).unwrap();
    assert!(day.contains("Nothing was found wrong"), "{day}");
}
