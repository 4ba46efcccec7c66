//! Bad input is refused whole, in one clear sentence, and the store stays as it was.

use firnbook_tests::world::World;
use std::fmt::Write;

fn begun() -> World {
    let world = World::new();
    world.run("settings me Lead").ok();
    world.run("day new --area \"Upper Bowl\"").ok();
    world.run("log note --note first").ok();
    world
}

/// What of the store must not change: the days with their heads, and every entry.
fn state(world: &World) -> String {
    world.run("entries --void --json").ok()
}

#[test]
fn every_refusal_is_clear_and_leaves_the_store_alone() {
    let world = begun();
    let before = state(&world);
    let mut thousand: String = (0..1000).fold(String::new(), |mut text, n| {
        let _ =
            writeln!(text, "{{\"kind\":\"note\",\"at\":\"2027-02-06T10:00:00+01:00\",\"note\":\"n{n}\"}}");
        text
    });
    thousand = thousand.replacen("\"n499\"", "\"n499", 1);
    world.file("thousand.jsonl", thousand);
    world.file("latin1.csv", b"kind,at,note\nnote,10:00,gr\xfcn\n");
    world.file("header.csv", "kind,at,depht_cm\nstrike,10:00,110\n");
    world.file("nokind.csv", "at,depth_cm\n10:00,110\n");
    world.file("cells.csv", "kind,at,drill,depth_cm\nstrike,10:00,1,-1\nstrike,10:00,1,1.1\nstrike,25:00,1,1e999\nstrike,10:00\nstrike,10:00,,90\n");
    world.file("numbers.jsonl", "{\"kind\":\"strike\",\"at\":\"2027-02-06T10:00:00+01:00\",\"drill\":\"1\",\"depth_cm\":1e999}\n{\"kind\":\"strike\",\"at\":\"2027-02-06T10:00:00+01:00\",\"drill\":\"1\",\"depth_cm\":NaN}\n{\"kind\":\"strike\",\"at\":\"2027-02-06T10:00:00+01:00\",\"drill\":\"1\",\"depth_cm\":-1}\n{\"kind\":\"avalanche\",\"at\":\"2027-02-06T10:00:00+01:00\"}\n");
    world.file("list.json", "[{\"kind\":\"note\"}]");
    world.file("empty.csv", "");
    world.file("text.firn", "no pack at all");
    for (name, line, status) in [
        ("bad-depth", "log strike --drill 1 --depth -1", 1),
        ("bad-metres", "log strike --drill 1 --depth 1.1", 1),
        ("bad-unit", "log strike --drill 1 --depth 3kg", 1),
        ("bad-word", "log strike --drill 1 --outcome hitt", 1),
        ("bad-time", "log note --note x --at 25:00", 1),
        ("bad-missing", "log strike --depth 110", 1),
        ("bad-label", "log kit --step issued --item a/b", 1),
        ("bad-plus", "log moment --drill 9 --step strike --at +3:20", 1),
        ("bad-lists", "log target --drill 1 --label A,B --item TX1,TX2", 2),
        ("bad-kind", "log strikes --drill 1", 2),
        ("bad-flag", "log strike --drill 1 --depht 110", 2),
        ("bad-nothing", "log", 2),
        ("bad-thousand", "log --from @thousand.jsonl", 1),
        ("bad-utf8", "log --from @latin1.csv", 1),
        ("bad-header", "log --from @header.csv", 1),
        ("bad-nokind", "log --from @nokind.csv", 1),
        ("bad-cells", "log --from @cells.csv", 1),
        ("bad-numbers", "log --from @numbers.jsonl", 1),
        ("bad-list", "log --from @list.json", 1),
        ("bad-empty", "log --from @empty.csv", 1),
        ("bad-nofile", "log --from @nowhere.csv", 1),
        ("bad-pack", "merge @text.firn", 1),
        ("bad-nopack", "merge @nowhere.firn", 1),
        ("bad-day", "entries --day 2027-03-01", 1),
        ("bad-amend", "amend last --battery 50", 1),
        ("bad-amend-nothing", "amend last", 2),
        ("bad-amend-fixed", "amend last --clear at", 1),
        ("bad-settle", "settle zzzzzzzz --same", 1),
        ("bad-settle-nothing", "settle", 2),
        ("bad-setting", "settings battery 50", 2),
        ("bad-setting-value", "settings battery_pct 150", 1),
        ("bad-me", "settings me a/b", 1),
        ("bad-date", "day new --area x --date 2027-02-30", 2),
        ("bad-area", "day new --area \"\"", 1),
        ("bad-group", "stats depth --group-by mood", 2),
        ("bad-export", "export --format csv -o @", 1),
        ("bad-demo", "demo --dir @", 1),
        ("bad-store", "--store @text.firn", 1),
        ("bad-store-folder", "--store @", 1),
        ("bad-store-nowhere", "--store @no/such/folder/x.firnstore", 1),
    ] {
        let ran = world.run(line);
        assert_eq!(ran.status, status, "{line}: {}{}", ran.out, ran.err);
        assert!(
            ran.err.starts_with("firnbook: error: ") || ran.err.contains("\nfirnbook: error: "),
            "{line}: {}",
            ran.err
        );
        world.snapshot(name, &format!("firnbook {line}\n{}", ran.shown()));
        assert_eq!(state(&world), before, "{line} changed the store");
    }
    let left: Vec<_> = std::fs::read_dir(world.folder.path())
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    assert!(left.iter().all(|f| !f.starts_with(".firnbook") && !f.starts_with(".tmp")), "{left:?}");
}

#[test]
fn a_thousand_lines_with_one_bad_name_that_line_alone() {
    let world = begun();
    let text: String = (1..=1000).fold(String::new(), |mut text, n| {
        let depth = if n == 500 { 5000 } else { 110 };
        let _ = writeln!(text, "{{\"kind\":\"strike\",\"at\":\"2027-02-06T10:00:00+01:00\",\"drill\":\"{n}\",\"depth_cm\":{depth}}}");
        text
    });
    world.file("lines.jsonl", &text);
    let ran = world.run("log --from @lines.jsonl --json");
    let answer: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(answer["faults"].as_array().unwrap().len(), 1);
    assert_eq!(
        (&answer["faults"][0]["line"], &answer["faults"][0]["field"]),
        (&500.into(), &"depth_cm".into())
    );
    world.file("lines.jsonl", text.replace("5000", "110"));
    assert_eq!(world.run("log --from @lines.jsonl --json").json()["written"], 1000);
    assert_eq!(world.run("log --from @lines.jsonl --json").json()["known"], 1000);
}

#[test]
fn one_bad_pack_does_not_stop_the_others() {
    let world = begun();
    world.run("pack -o @good.firn").ok();
    let mut bytes = std::fs::read(world.path("good.firn")).unwrap();
    bytes.truncate(bytes.len() - 1);
    std::fs::create_dir(world.path("packs")).unwrap();
    world.file("packs/cut.firn", bytes);
    std::fs::copy(world.path("good.firn"), world.path("packs/good.firn")).unwrap();
    world.file("packs/notes.txt", "no pack");
    let ran = world.run("merge @packs --store @other.firnstore --json");
    let answer: serde_json::Value = serde_json::from_str(&ran.out).unwrap();
    let status: Vec<&str> =
        answer["files"].as_array().unwrap().iter().map(|f| f["status"].as_str().unwrap()).collect();
    assert_eq!((ran.status, status), (1, vec!["refused", "merged", "skipped"]));
    assert!(answer["files"][0]["error"].as_str().unwrap().contains("damaged"));
}
