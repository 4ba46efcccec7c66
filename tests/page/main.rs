//! Pages in a real browser: the page of a day, of a season and of a person, sheets to take home, forms to write on.
//!
//! Needs Chromium, Java, poppler's pdftotext, and Node with the packages of `tests/env/page` in the folder that `FIRNBOOK_NODE` names: `tests/run page`
//! brings them. Each check is a function in `check.mjs`; `bad.html` shows that each can fail. `shots.mjs` makes pictures for a person to look at.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a test is a failed test")]

mod hostile;

use firnbook_tests::crowd::{crowded_day, digging_day};
use firnbook_tests::world::World;
use std::path::{Path, PathBuf};
use std::process::Command;

/// What a check finds on pages, a line each.
fn found(check: &str, pages: &[PathBuf]) -> String {
    let packages = std::env::var("FIRNBOOK_NODE").expect("FIRNBOOK_NODE is set; type: tests/run page");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("page/check.mjs");
    let mut node = Command::new("node");
    let out = node.arg(script).arg(check).args(pages).env("FIRNBOOK_NODE", packages).output().unwrap();
    let said = String::from_utf8_lossy(&out.stdout).into_owned() + &String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.success(), said.is_empty(), "{check} did not run: {said}");
    said
}

/// The pages of the demo.
struct Pages {
    world: World,
    day: PathBuf,
    all: Vec<PathBuf>,
}

fn pages() -> Pages {
    let world = World::played();
    let answer = |line: &str| world.run(line).ok();
    answer("debrief --html @day.html --sheets @sheets");
    answer("debrief --units feet --curve \"Switzerland 1981-2020\" --html @feet.html");
    answer("stats times --html @season.html");
    answer("stats person Fox --html @person.html");
    answer("paper forms -o @forms.html");
    answer("paper forms --size a4 -o @forms-a4.html");
    let names =
        ["day.html", "season.html", "person.html", "forms.html", "forms-a4.html", "sheets/heron.html"];
    let all: Vec<PathBuf> = names.iter().map(|name| world.path(name)).collect();
    Pages { day: world.path("day.html"), all, world }
}

/// A check finds nothing on any page, and something on the page that is made to be found fault with.
fn holds(check: &str, pages: &[PathBuf]) {
    assert_eq!(found(check, pages), "");
    let bad = Path::new(env!("CARGO_MANIFEST_DIR")).join("page/bad.html");
    assert_ne!(found(check, &[bad]), "", "{check} finds nothing on a page full of faults");
}

#[test]
fn no_page_says_anything_on_the_console_or_asks_for_anything() {
    holds("quiet", &pages().all);
}

#[test]
fn the_keyboard_alone_reaches_everything() {
    holds("keyboard", &pages().all);
}

#[test]
fn nothing_serious_is_in_the_way_of_a_screen_reader_and_every_text_has_a_contrast_of_7() {
    holds("axe", &pages().all);
}

#[test]
fn every_figure_has_a_name_and_a_table() {
    holds("structure", &pages().all);
}

#[test]
fn no_page_is_wider_than_a_phone() {
    holds("widths", &pages().all);
}

#[test]
fn a_drawing_wider_than_the_screen_says_so() {
    holds("sideways", &pages().all);
}

#[test]
fn no_figure_is_cut_on_paper_and_a_form_fills_one_page() {
    holds("print", &pages().all);
}

#[test]
fn the_pages_are_html_as_two_validators_know_it() {
    let pages = pages();
    holds("html", &pages.all);
    holds("vnu", &pages.all);
}

#[test]
fn kit_in_the_snow_and_what_took_longest_are_seen_first() {
    let pages = pages();
    holds("first", std::slice::from_ref(&pages.day));
    let html = std::fs::read_to_string(&pages.day).unwrap();
    let place = |text: &str| html.find(text).unwrap_or_else(|| panic!("\"{text}\" is not on the page"));
    // What the demo leaves in the snow, and its longest phase: strike at 3:24, airway at 10:34 on the true clock.
    assert!(place("TX09") < place("What took longest"));
    assert!(place("Strike to airway <b>7:1") < place("id=\"drill-0\""));
}

#[test]
fn the_key_of_a_drawing_shows_its_patterns() {
    holds("keys", std::slice::from_ref(&pages().day));
}

#[test]
fn the_script_only_adds() {
    let pages = pages();
    holds("script", std::slice::from_ref(&pages.day));
}

#[test]
fn lengths_are_shown_in_the_units_that_were_asked_for() {
    let pages = pages();
    let read = |name: &str| std::fs::read_to_string(pages.world.path(name)).unwrap();
    // 70 cm are 27.6 inches of 2.54 cm.
    assert!(read("day.html").contains("70 cm deep") && read("feet.html").contains("27.6 in deep"));
    assert!(!read("feet.html").contains(" cm deep"));
    pages.world.run("settings units feet").ok();
    pages.world.run("debrief --html @set.html").ok();
    assert!(read("set.html").contains("27.6 in deep"));
    assert_eq!(pages.world.run("settings units furlongs").status, 1);
}

#[test]
fn a_named_curve_stands_with_its_source() {
    let pages = pages();
    let html = std::fs::read_to_string(pages.world.path("feet.html")).unwrap();
    assert!(html.contains("Switzerland 1981-2020: 91 % alive"), "the mark at 10 minutes");
    assert!(html.contains("no figure for a run or a person of this day"));
}

/// A store with one day of these lines, at least ten thousand, and the pages of that day and of the season.
fn crowded(lines: &str) -> (World, String) {
    let world = World::new();
    world.run("day new --area \"Upper Bowl\" --date 2027-02-06 --by Obs1").ok();
    let written = world.run_with("log --from - --by Obs1 --json", lines).json();
    assert!(written["written"].as_u64().unwrap() >= 10_000, "{written}");
    world.run("debrief --quiet --html @day.html").ok();
    world.run("stats times --quiet --html @season.html").ok();
    for name in ["day.html", "season.html"] {
        let bytes = std::fs::metadata(world.path(name)).unwrap().len();
        assert!(bytes < 1_000_000, "{name} has {bytes} bytes");
    }
    let day = std::fs::read_to_string(world.path("day.html")).unwrap();
    (world, day)
}

#[test]
fn a_day_of_ten_thousand_entries_fits_a_megabyte() {
    let (world, day) = crowded(&crowded_day());
    assert!(!day.contains("A crowded day"), "all of it fits");
    assert_eq!(found("quiet", &[world.path("day.html")]), "");
}

#[test]
fn a_day_of_ten_thousand_turns_or_notes_says_what_its_page_leaves_out() {
    let (world, day) = crowded(&digging_day());
    assert!(day.contains("A crowded day: of the turns"), "single turns are left out, and it is said");
    assert!(day.contains("P39") && !day.contains("Turns at the head:"), "each person's work stays");
    world.run("debrief --quiet --drill 3 --html @drill.html").ok();
    let drill = std::fs::read_to_string(world.path("drill.html")).unwrap();
    assert!(!drill.contains("A crowded day") && drill.len() < 1_000_000);

    let notes: String = (0..10_000)
        .map(|n| format!("{{\"kind\":\"note\",\"at\":\"2027-02-06T10:00:00.000+01:00\",\"topic\":\"snow\",\"note\":\"wind crust on the upper half {n}\"}}\n"))
        .collect();
    let (_, day) = crowded(&notes);
    assert_eq!(day.matches("wind crust on the upper half").count(), 300);
    assert!(day.contains("and 9700 more"));
}
