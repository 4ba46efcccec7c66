//! What an export keeps, what it leaves out, and that a full one comes back in as it was.

use firnbook_tests::world::World;
use serde_json::Value;
use std::path::Path;

/// The entries that count, by id.
fn entries(world: &World, store: &str) -> Vec<Value> {
    let list = world.run(&format!("entries --json {store}")).json();
    let mut entries: Vec<Value> =
        list["entries"].as_array().unwrap().iter().map(|e| e["entry"].clone()).collect();
    entries.sort_by_key(|e| e["id"].as_str().unwrap().to_owned());
    entries
}

#[test]
fn a_full_export_comes_back_in_as_it_was() {
    let world = World::played();
    world.run("log note --note \" two lines\nand a ; semicolon, a comma and \u{201c}quotes\u{201d}\" --topic snow").ok();
    world.run("log rotation --drill 1 --target A --front \"Fox; the elder\"").ok();
    world.run("log strike --drill 1 --depth 3.5ft --x 1.25 --y -2").ok();
    let before = entries(&world, "");
    for format in ["csv", "jsonl"] {
        world.run(&format!("export --format {format} --full -o @{format}")).ok();
        let other = format!("--store @{format}.firnstore");
        world.run(&format!("settings me Base {other}")).ok();
        world.run(&format!("day new --area \"Quillhorn East\" {other}")).ok();
        let mut files: Vec<_> =
            std::fs::read_dir(world.path(format)).unwrap().map(|e| e.unwrap().path()).collect();
        files.sort();
        let not_entries = ["datapackage", "days", "targets", "runs", "measurements", "disturbances"];
        for file in files.iter().filter(|f| !not_entries.contains(&f.file_stem().unwrap().to_str().unwrap()))
        {
            let kind = file.file_stem().unwrap().to_str().unwrap();
            let told = world.run(&format!("log --from @{format}/{kind}.{format} {other} --json")).json();
            assert!(told["written"].as_u64().unwrap() > 0, "{}", file.display());
        }
        assert_eq!(entries(&world, &other), before, "{format}");
        // The tables made from them are the same too: nothing that counts was lost.
        world.run(&format!("export --format {format} --full -o @{format}-again {other}")).ok();
        for table in ["targets", "runs"] {
            let read = |folder: &str| {
                std::fs::read_to_string(world.path(folder).join(format!("{table}.{format}"))).unwrap()
            };
            let sorted = |text: String| {
                let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
                lines.sort();
                lines
            };
            assert_eq!(sorted(read(format)).len(), sorted(read(&format!("{format}-again"))).len(), "{table}");
        }
    }
}

#[test]
fn lines_go_into_the_day_that_they_name_or_nowhere() {
    let world = World::played();
    world.run("export --format jsonl --full -o @out").ok();
    let other = "--store @other.firnstore";
    world.run(&format!("settings me Base {other}")).ok();
    world.run(&format!("day new --area Elsewhere {other}")).ok();
    let refused = world.run(&format!("log --from @out/strike.jsonl {other}"));
    assert!(refused.status == 1 && refused.err.contains("line 1: day:"), "{}", refused.err);
    assert_eq!(entries(&world, other), Vec::<Value>::new());
    world.run(&format!("day new --area \"Quillhorn East\" {other}")).ok();
    world.run(&format!("log --from @out/strike.jsonl {other}")).ok();
    let into = entries(&world, &format!("{other} --since 2027-02-06"));
    assert_eq!(into.len(), 5);
}

#[test]
fn without_more_said_no_call_sign_and_no_free_text_leaves() {
    let world = World::played();
    world.run("export --format csv -o @csv --codes @codes.csv").ok();
    world.run("export --format jsonl -o @jsonl --codes @again.csv").ok();
    let codes = std::fs::read_to_string(world.path("codes.csv")).unwrap();
    assert!(codes.starts_with("code,call_sign\nP-"), "{codes}");
    let signs: Vec<&str> = codes.lines().skip(1).map(|l| l.split_once(',').unwrap().1).collect();
    assert!(signs.contains(&"Larch") && signs.contains(&"Fox") && signs.len() >= 14, "{signs:?}");
    let all = |folder: &str| -> String {
        let files = std::fs::read_dir(world.path(folder)).unwrap();
        files.map(|f| std::fs::read_to_string(f.unwrap().path()).unwrap()).collect()
    };
    for folder in ["csv", "jsonl"] {
        let text = all(folder);
        for sign in &signs {
            assert!(!text.contains(sign), "{sign} stands in {folder}");
        }
        assert!(!text.contains("cornice") && !text.contains("gloves switched off"));
    }
    // The key beside the store is kept, so codes stay what they were; under another key they are others.
    assert_eq!(std::fs::read_to_string(world.path("again.csv")).unwrap(), codes);
    world.run("export --format csv -o @other --key @other.key --codes @other.csv").ok();
    assert_ne!(std::fs::read_to_string(world.path("other.csv")).unwrap(), codes);
    world.file("names.csv", "call_sign,name\nlarch,Planted Name\nNobody,Not There\n");
    world.run("export --format csv -o @named --names @names.csv").ok();
    let larch = codes.lines().find(|l| l.ends_with(",Larch")).unwrap().split(',').next().unwrap();
    let people = std::fs::read_to_string(world.path("named/people.csv")).unwrap();
    assert_eq!(people, format!("code,name\n{larch},Planted Name\n"));
    world.run("export --format csv -o @csv --notes --force").ok();
    assert!(all("csv").contains("cornice") && !all("csv").contains("Larch"));
}

#[test]
fn a_folder_that_is_not_empty_is_left_alone_unless_forced() {
    let world = World::played();
    world.run("export --format csv -o @out").ok();
    let refused = world.run("export --format jsonl -o @out");
    assert!(refused.status == 1 && refused.err.contains("export of before"), "{}", refused.err);
    world.run("export --format jsonl -o @out --force").ok();
    let has = |file: &str| Path::exists(&world.path("out").join(file));
    assert!(has("strike.jsonl") && !has("strike.csv") && has("datapackage.json"));
    world.file("out/mine.txt", "mine");
    let refused = world.run("export --format csv -o @out");
    assert!(refused.status == 1 && refused.err.contains("is not empty"), "{}", refused.err);
    world.run("export --format csv -o @out --force").ok();
    assert!(has("mine.txt") && has("strike.csv"));
}
