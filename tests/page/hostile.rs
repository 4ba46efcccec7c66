//! What people write can't act on a page: hostile and private texts in every free field are shown as they were written, and stand only where
//! they may.

use super::found;
use firnbook_core::entry::{KINDS, Kind, Shape, TextForm};
use firnbook_tests::world::World;
use serde_json::{Map, Value, json};
use std::path::PathBuf;

/// Markup, a script, a closing tag, quotes, a formula of a spreadsheet, a control character, letters that turn the line around.
const HOSTILE: &str = "</title></script><script>window.acted='script'</script><img src=x onerror=\"window.acted='img'\"><svg onload=window.acted='svg'>'\"`=1+1\u{1}\u{202e}";

/// A value of a field's shape: hostile where a person writes freely. `n` keeps labels apart.
fn value(kind: &str, field: &firnbook_core::entry::Field, n: usize) -> Option<Value> {
    Some(match &field.shape {
        Shape::Text(TextForm::Label) => json!(format!("{}<i onmouseover=acted=1>{n}", field.name)),
        Shape::Text(form) if *form != TextForm::Free => return None,
        Shape::Text(_) => json!(format!("{kind} {} planted 0664-{n:07} {HOSTILE}", field.name)),
        Shape::Label(class) => json!(format!("{}<i onmouseover=acted=1>{n}", class.word())),
        Shape::Labels(class) => json!([format!("{}<u>{n}", class.word())]),
        Shape::Integer => json!(20),
        Shape::Number => {
            json!(field.min.unwrap_or(0.0).max(20.0).min(field.max.unwrap_or(20.0)))
        }
        Shape::Flag => json!(true),
        Shape::Choice(words) => json!(words.first()?.0),
        Shape::Time => json!("2027-02-06T10:00:30.000+01:00"),
        Shape::Json => return None,
    })
}

fn entry(kind: &Kind, n: usize) -> Value {
    let mut entry = Map::from_iter([("kind".to_owned(), json!(kind.name))]);
    for field in kind
        .fields
        .iter()
        .filter(|f| !["id", "kind", "by", "lat", "lon", "accuracy_m"].contains(&f.name.as_str()))
    {
        entry.extend(value(&kind.name, field, n).map(|v| (field.name.clone(), v)));
    }
    if kind.name == "track" {
        entry.insert(
            "points".to_owned(),
            json!({"t_ms": [1_801_904_430_000_i64, 1000], "x": [1, 5], "y": [1, 5]}),
        );
        entry.remove("frame");
    }
    Value::Object(entry)
}

/// A day on which every kind was written with hostile texts, and whatever else a page needs to have figures.
fn a_hostile_day() -> World {
    let world = World::new();
    world.run("day new --area \"Bowl<b>\" --date 2027-02-06 --by \"W<s>\"").ok();
    let mut lines: Vec<Value> = Vec::new();
    for (n, kind) in KINDS.iter().enumerate().filter(|(_, k)| k.name != "clock") {
        lines.push(entry(kind, 0));
        lines.push(entry(kind, n));
    }
    for (at, step) in [
        ("10:00:00", "start"),
        ("10:01:00", "signal"),
        ("10:02:00", "coarse"),
        ("10:03:00", "fine"),
        ("10:04:00", "strike"),
        ("10:09:00", "airway"),
    ] {
        let target = entry(firnbook_core::entry::kind("moment").unwrap(), 0);
        lines.push(json!({"kind": "moment", "at": format!("2027-02-06T{at}.000+01:00"), "step": step, "drill": target["drill"], "target": target["target"]}));
    }
    let of_one = |topic: &str, text: &str| json!({"kind": "note", "at": "2027-02-06T12:00:00.000+01:00", "topic": topic, "note": text, "person": lines[0]["call_sign"]});
    let other = json!({"kind": "person", "at": "2027-02-06T09:00:00.000+01:00", "call_sign": "Other<s>", "note": "of the other 0664-9998887"});
    let also = [
        other,
        of_one("feedback", "feedback for one alone 0664-1112223"),
        of_one("safety", "a cornice <b>above</b>"),
    ];
    let text: String = lines.iter().chain(&also).map(|l| format!("{l}\n")).collect();
    world.run_with("log --from - --by \"W<s>\"", &text).ok();
    world
}

#[test]
fn what_people_wrote_is_shown_and_never_acts() {
    let world = a_hostile_day();
    world.run("debrief --html @day.html --sheets @sheets").ok();
    world.run("stats times --html @season.html").ok();
    world.run("paper forms -o @forms.html").ok();
    let mut pages: Vec<PathBuf> = ["day.html", "season.html", "forms.html"].map(|n| world.path(n)).to_vec();
    let sheets = std::fs::read_dir(world.path("sheets")).unwrap().map(|f| f.unwrap().path());
    pages.extend(sheets);
    for page in &pages {
        let html = std::fs::read_to_string(page).unwrap();
        let scripts = html.matches("<script").count();
        assert!(scripts <= 1, "{} has {scripts} scripts", page.display());
        for planted in ["<img", "<svg onload", "<b>above", "<i onmouseover", "<u>", "\u{1}"] {
            assert!(!html.contains(planted), "{} has {planted}", page.display());
        }
    }
    assert_eq!(found("quiet", &pages), "");
    assert_eq!(found("structure", &pages), "");
    let read = |name: &str| std::fs::read_to_string(world.path(name)).unwrap();
    let day = read("day.html");
    assert!(
        day.contains("a cornice &lt;b&gt;above&lt;/b&gt;") && day.contains("note note planted 0664-"),
        "notes are the team's own"
    );
}

#[test]
fn feedback_and_notes_stand_only_where_they_may() {
    let world = a_hostile_day();
    world.run("debrief --html @day.html --sheets @sheets").ok();
    world.run("stats times --html @season.html").ok();
    let read = |path: PathBuf| std::fs::read_to_string(path).unwrap();
    let (day, season) = (read(world.path("day.html")), read(world.path("season.html")));
    assert!(!day.contains("0664-1112223"), "feedback is on the page of the day");
    assert!(
        !season.contains("0664-") && !season.contains("cornice"),
        "free text is on the page of the season"
    );
    let sheets: Vec<String> =
        std::fs::read_dir(world.path("sheets")).unwrap().map(|f| read(f.unwrap().path())).collect();
    assert!(sheets.len() > 1, "{} sheets", sheets.len());
    let with = sheets.iter().filter(|s| s.contains("0664-1112223")).count();
    assert_eq!(with, 1, "feedback is on {with} sheets");
}
