//! The recorder without a terminal: keys pressed on it, its screens kept at two sizes, with colour and without.

use firnbook::record::{Look, Post, Pressed, draw};
use firnbook_tests::Phone;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;
use ratatui::style::{Color, Modifier};
use serde_json::{Value, json};
use std::sync::Arc;

const INTERVAL_S: f64 = 240.0;
const SMALL: (u16, u16) = (40, 20);
const LARGE: (u16, u16) = (80, 24);
const PLAIN: Look = Look { colour: false };
const COLOURED: Look = Look { colour: true };

/// A phone with a drill, two targets and people who dig.
fn phone() -> Phone {
    let mut phone = Phone::new("Obs1");
    phone.write(json!({ "kind": "drill", "label": "1", "team": "Red", "form": "scenario", "limit_s": 900 }));
    for label in ["A", "B"] {
        phone.write(json!({ "kind": "target", "drill": "1", "label": label }));
    }
    for call_sign in ["Alder", "Birch", "Cedar"] {
        phone.write(json!({ "kind": "person", "call_sign": call_sign, "team": "Red", "role": "shoveller" }));
    }
    phone
}

/// A post on a phone; `script` is a key a character: `\n` Enter, `\x1b` Escape, `\x08` Backspace, `↑ ↓`, and `…` lets a second pass.
struct At<'a> {
    post: Post<'a>,
    clock: firnbook_tests::TestClock,
}

fn at<'a>(phone: &'a mut Phone, drill: Option<&str>) -> At<'a> {
    let clock = phone.clock.clone();
    let post = Post::new(&mut phone.book, Arc::new(clock.clone()), phone.day, "Obs1", drill, INTERVAL_S);
    At { post: post.unwrap(), clock }
}

impl At<'_> {
    fn wait(&mut self, seconds: i64) -> &mut Self {
        self.clock.forward_ms(seconds * 1000);
        self
    }

    fn keys(&mut self, script: &str) -> &mut Self {
        for c in script.chars() {
            match c {
                '\n' => self.post.key(Pressed::Enter),
                '\x1b' => self.post.key(Pressed::Esc),
                '\x08' => self.post.key(Pressed::Backspace),
                '↑' => self.post.key(Pressed::Up),
                '↓' => self.post.key(Pressed::Down),
                '…' => drop(self.wait(1)),
                c => self.post.key(Pressed::Char(c)),
            }
        }
        self
    }

    fn drawn(&self, (width, height): (u16, u16), look: Look) -> Buffer {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
        terminal.draw(|frame| draw(frame, &self.post, look)).unwrap();
        terminal.backend().buffer().clone()
    }

    fn text(&self, size: (u16, u16)) -> String {
        text(&self.drawn(size, PLAIN))
    }

    /// Keeps the screen at both sizes.
    fn kept(&self, name: &str) {
        let mut settings = insta::Settings::clone_current();
        settings.set_snapshot_path(concat!(env!("CARGO_MANIFEST_DIR"), "/screens/kept"));
        settings.set_prepend_module_to_snapshot(false);
        settings.set_omit_expression(true);
        settings.bind(|| {
            for size in [SMALL, LARGE] {
                insta::assert_snapshot!(format!("record-{name}-{}", size.0), self.text(size));
                assert_eq!(text(&self.drawn(size, COLOURED)), self.text(size), "colour changes no character");
            }
        });
    }

    fn says(&self) -> String {
        self.post.message.as_ref().map_or_else(String::new, |m| m.text.clone())
    }
}

/// The characters of a screen, a line a row, framed so that its edges show.
fn text(buffer: &Buffer) -> String {
    let width = usize::from(buffer.area.width);
    let rows: Vec<String> = buffer
        .content
        .chunks(width)
        .map(|row| format!("|{}|", row.iter().map(ratatui::buffer::Cell::symbol).collect::<String>()))
        .collect();
    rows.join("\n")
}

/// What the day holds of a kind, without ids, in the order of time.
fn written(phone: &Phone, kind: &str) -> Vec<Value> {
    let filter = firnbook_core::store::Filter { kind: Some(kind.to_owned()), ..Default::default() };
    let rows = phone.book.entries(&filter).unwrap();
    rows.into_iter().map(|r| Value::Object(r.noted.json)).collect()
}

#[test]
fn a_drill_from_the_first_key_to_the_last() {
    let mut phone = phone();
    {
        let mut at = at(&mut phone, None);
        at.kept("drills");
        at.keys("1").kept("before");
        at.keys(" ").wait(42).keys("g").wait(48).keys(" ").wait(31).keys("f").kept("search");
        at.wait(20).keys("p").wait(25).keys("h").wait(2).keys("11").kept("depth");
        at.keys("2\n").wait(10).keys("d…r").kept("front");
        at.keys("1").wait(217).kept("soon");
        at.wait(30).keys("i1").kept("overdue");
        at.keys("r2").wait(90).keys("\t").wait(2).keys("g").wait(1).keys("nwind from the west").kept("note");
        at.keys("\n\t").wait(5).keys("a.").wait(30).kept("paused");
        at.keys(".").wait(8).keys("e").kept("why");
        at.keys("1").kept("ended");
        at.keys("?").kept("keys");
        at.keys("x").keys("q").kept("leave");
        assert!(!at.post.left());
        at.keys("q");
        assert!(at.post.left());
    }
    let steps: Vec<Value> =
        written(&phone, "moment").into_iter().map(|m| json!([m["step"], m["target"]])).collect();
    let expected = json!([
        ["start", null],
        ["signal", "A"],
        ["coarse", "A"],
        ["fine", "A"],
        ["probing", "A"],
        ["digging", "A"],
        ["signal", "B"],
        ["airway", "A"],
        ["pause", null],
        ["resume", null],
        ["end", null]
    ]);
    assert_eq!(json!(steps), expected);
    let strike = &written(&phone, "strike")[0];
    assert_eq!(
        (&strike["depth_cm"], &strike["outcome"], &strike["target"]),
        (&json!(112.0), &json!("hit"), &json!("A"))
    );
    let turns: Vec<Value> = written(&phone, "rotation").into_iter().map(|r| r["front"].clone()).collect();
    // Who has dug stands behind those who have not: 2 is Cedar in the second list.
    assert_eq!(json!(turns), json!(["Alder", "Cedar"]));
    assert_eq!(written(&phone, "moment")[10]["why"], json!("done"));
    assert_eq!(written(&phone, "interference")[0]["source"], json!("phone"));
    assert_eq!(written(&phone, "note")[0]["note"], json!("wind from the west"));
}

#[test]
fn without_colour_nothing_is_coloured_and_what_matters_stands_out_all_the_same() {
    let mut phone = phone();
    let mut at = at(&mut phone, Some("1"));
    at.keys(" ").wait(5).keys("r1").wait(300);
    for size in [SMALL, LARGE] {
        let plain = at.drawn(size, PLAIN);
        assert!(plain.content.iter().all(|c| c.fg == Color::Reset && c.bg == Color::Reset));
        assert!(at.drawn(size, COLOURED).content.iter().any(|c| c.bg == Color::Red));
        let shown = text(&plain);
        let (row, line) = shown.lines().enumerate().find(|(_, l)| l.contains("CHANGE")).unwrap();
        let column = line.chars().position(|c| c == 'C').unwrap() - 1;
        let cell = &plain[(u16::try_from(column).unwrap(), u16::try_from(row).unwrap())];
        assert!(cell.modifier.contains(Modifier::REVERSED), "{line}");
    }
}

#[test]
fn it_draws_at_any_size() {
    let mut phone = phone();
    let mut at = at(&mut phone, Some("1"));
    at.keys(" …g…r");
    for pane in ["\x1b", "1", "\x1bn", "\x1b?", "q", "\x1bb"] {
        at.keys(pane);
        for width in [1, 2, 7, 20, 39, 40, 71, 72, 73, 80, 200] {
            for height in [1, 2, 5, 12, 17, 18, 19, 20, 23, 24, 60] {
                assert_eq!(at.drawn((width, height), COLOURED).area.width, width);
            }
        }
    }
}

#[test]
fn the_bell_rings_when_a_rotation_is_due_and_again_while_it_is_not_done() {
    let mut phone = phone();
    let mut at = at(&mut phone, Some("1"));
    at.keys(" …r1");
    at.wait(239);
    assert!(!at.post.rings());
    at.wait(1);
    assert_eq!([at.post.rings(), at.post.rings()], [true, false]);
    at.wait(29);
    assert!(!at.post.rings());
    at.wait(1);
    assert!(at.post.rings());
    at.keys("r2");
    assert!(!at.post.rings(), "the next one has just begun");
    at.wait(240);
    assert!(at.post.rings());
    at.keys("t");
    assert!(!at.post.rings());
}

#[test]
fn a_held_key_is_one_press() {
    let mut phone = phone();
    {
        let mut at = at(&mut phone, Some("1"));
        at.keys("s");
        for _ in 0..40 {
            at.clock.forward_ms(30);
            at.keys("s");
        }
        at.wait(2).keys("S");
        assert!(at.says().contains("start again: the first one counts"), "{}", at.says());
        at.keys("u");
        assert_eq!(at.says(), "taken back: start");
    }
    assert_eq!(written(&phone, "moment").len(), 1);
}

#[test]
fn a_step_counts_more_than_what_is_half_typed() {
    let mut phone = phone();
    {
        let mut at = at(&mut phone, Some("1"));
        at.keys(" …h…11d");
        assert!(at.text(SMALL).contains("depth of the strike of A"), "{}", at.text(SMALL));
        at.keys("8\n");
        assert_eq!(at.says(), "strike A 118 cm");
        // Another one is a measurement of its own; TAB says how it was made.
        at.keys("120\t\n");
        assert_eq!(at.says(), "written: depth A 120 cm by tape");
        at.keys("5\n");
        assert!(at.says().contains("write"), "{}", at.says());
        at.keys("\x08\x1b9999\n");
        assert!(at.says().contains("out of range"), "{}", at.says());
        at.keys("\x1b");
    }
    assert_eq!(written(&phone, "depth").len(), 1);
    assert_eq!(written(&phone, "moment")[1]["step"], json!("digging"));
    assert_eq!(written(&phone, "strike")[0]["depth_cm"], json!(118.0));
}

#[test]
fn details_of_the_last_press_are_asked_one_by_one() {
    let mut phone = phone();
    {
        let mut at = at(&mut phone, Some("1"));
        at.keys(" …hl");
        at.kept("details");
        // Depth, person, direction, lowest reading: 1.3; the rest is passed over.
        at.keys("1.1m\nAlder\nsideways\n");
        assert!(at.says().contains("sideways"), "{}", at.says());
        for _ in "sideways".chars() {
            at.keys("\x08");
        }
        at.keys("slope_normal\n1.3\n\n7\n");
        assert_eq!(at.says(), "nothing more to add");
    }
    let strike = written(&phone, "strike")[0].clone();
    for (field, value) in [
        ("depth_cm", json!(110)),
        ("person", json!("Alder")),
        ("lowest_reading_m", json!(1.3)),
        ("holes", json!(7)),
    ] {
        let (is, want) = (&strike[field], value);
        assert!(is == &want || is.as_f64() == want.as_f64() && is.is_number(), "{field}: {is}");
    }
}

#[test]
fn what_lacks_is_filled_in() {
    let mut phone = phone();
    let mut at = at(&mut phone, Some("1"));
    at.keys(" …h…r\x1b");
    assert!(
        at.text(LARGE).contains("LACKS A: depth of the strike · A: who is at the head"),
        "{}",
        at.text(LARGE)
    );
    at.keys("w95\nw");
    at.keys("+Elm\n");
    assert_eq!(at.says(), "Elm is at the head");
    at.keys("…e\x1bw4");
    assert_eq!(at.says(), "ended: cancelled");
    assert!(!at.text(LARGE).contains("LACKS"), "{}", at.text(LARGE));
}

#[test]
fn a_drill_is_set_up_here_and_set_up_again() {
    let mut phone = Phone::new("Obs1");
    {
        let mut at = at(&mut phone, None);
        at.kept("no-drill");
        at.keys("+\n1Blue\nx\n");
        assert!(at.says().contains("no number of degrees"), "{}", at.says());
        at.keys("\x0830\nA, B\n");
        assert!(at.says().contains("drill 1 is set up"), "{}", at.says());
        assert!(at.text(SMALL).contains("DRILL 1  Blue"), "{}", at.text(SMALL));
        at.keys(" …e1b=\nGreen\n");
        assert!(at.text(SMALL).contains("DRILL 2  Green"), "{}", at.text(SMALL));
        assert!(at.text(SMALL).contains("TARGET  A   B"), "{}", at.text(SMALL));
        at.keys("+C\n");
        assert_eq!(at.says(), "in focus: new target C");
        at.keys("+c\n");
        assert!(at.says().contains("is set up already"), "{}", at.says());
        at.keys("\x1bb");
        at.kept("two-drills");
    }
    let drills = written(&phone, "drill");
    assert_eq!((&drills[0]["slope_deg"], &drills[0]["form"]), (&json!(30.0), &json!("single")));
    assert_eq!((&drills[1]["like"], &drills[1]["team"]), (&json!("1"), &json!("Green")));
}

#[test]
fn without_a_terminal_a_day_or_a_name_it_says_what_to_type() {
    let mut world = firnbook_tests::world::World::new();
    assert!(world.run("record").err.contains("needs a terminal"));
    let ran = world.run("record --json");
    assert_eq!(ran.status, 2, "{}", ran.err);
    world.terminal = firnbook::Terminal { stdin: true, stdout: true, stderr: true, columns: Some(80) };
    assert!(world.run("record").err.contains("firnbook settings me CALLSIGN"));
    let ran = world.run("record --as Obs1");
    assert!(ran.err.contains("firnbook day new --area"), "{}", ran.err);
    world.run("day new --area \"Upper Bowl\" --by Obs1").ok();
    let ran = world.run("record --as Obs1 --drill 7");
    assert!(ran.err.contains("no drill \"7\""), "{}", ran.err);
}
