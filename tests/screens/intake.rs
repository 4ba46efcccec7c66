//! What comes in from paper and from other programs' files: rows of sheets that amend and double nothing, tracks, outlines, and what is refused.

use firnbook_tests::world::World;
use serde_json::{Value, json};
use std::fmt::Write;

fn begun() -> World {
    let world = World::new();
    world.run("settings me Lead").ok();
    world.run("day new --area \"Upper Bowl\"").ok();
    world
}

fn entries(world: &World) -> Vec<Value> {
    let list = world.run("entries --json").json();
    list["entries"].as_array().unwrap().iter().map(|e| e["entry"].clone()).collect()
}

const SHEETS: &str = "\
form,sheet,line,observer,drill,watch,time,step,target,who,depth cm,outcome,note\n\
steps,A,1,Fox,1,Fox's watch,10:05,start,,,,,\n\
steps,A,2,,,,+3:20,fine,A,,,,\n\
strikes,A,3,,,,1008,,A,Lynx,112,hit,\n\
form,sheet,line,observer,drill,target,item,sends\n\
targets,B,1,Lynx,1,A,TX07,x\n";

#[test]
fn a_corrected_file_of_sheets_amends_and_doubles_nothing() {
    let world = begun();
    world.file("sheets.csv", SHEETS);
    let asked = world.run("log --from @sheets.csv --dry-run");
    assert!(
        asked.out.contains("line 4: new; strike: at 2027-02-06T10:08:00.000+01:00, by Fox"),
        "{}",
        asked.out
    );
    assert!(entries(&world).is_empty());
    let first = world.run("log --from @sheets.csv --json").json();
    assert_eq!((&first["written"], &first["known"]), (&json!(4), &json!(0)));
    let strike = entries(&world).into_iter().find(|e| e["kind"] == "strike").unwrap();
    assert_eq!([&strike["by"], &strike["clock"], &strike["person"]], ["Fox", "Fox's watch", "Lynx"]);
    let again = world.run("log --from @sheets.csv --json").json();
    assert_eq!((&again["written"], &again["known"], &again["amended"]), (&json!(0), &json!(4), &json!(0)));

    // A depth, a time and a note are corrected, a row is added: one amendment of each field, one new entry.
    let corrected =
        SHEETS.replace("1008,,A,Lynx,112,hit,", "10:08:30,,A,Lynx,115,hit,sure") + "targets,B,2,,,B,TX09,\n";
    world.file("sheets.csv", &corrected);
    let second = world.run("log --from @sheets.csv --json").json();
    assert_eq!((&second["written"], &second["known"], &second["amended"]), (&json!(1), &json!(3), &json!(1)));
    let now = entries(&world);
    assert_eq!(now.len(), 5);
    let strike = now.iter().find(|e| e["kind"] == "strike").unwrap();
    assert_eq!((&strike["depth_cm"], &strike["note"]), (&json!(115), &json!("sure")));
    assert_eq!(world.run("log --from @sheets.csv --json").json()["known"], 5);

    // A cell that is emptied takes the field away.
    world.file("sheets.csv", corrected.replace("hit,sure", "hit,"));
    world.run("log --from @sheets.csv").ok();
    assert!(entries(&world).iter().find(|e| e["kind"] == "strike").unwrap().get("note").is_none());
}

#[test]
fn another_target_on_a_line_is_another_entry_in_place_of_the_one_before() {
    let world = begun();
    for (target, written) in [("A", "1 entry"), ("B", "amended"), ("A", "amended"), ("A", "known")] {
        world.file(
            "sheets.csv",
            SHEETS
                .lines()
                .take(3)
                .collect::<Vec<_>>()
                .join("\n")
                .replace("fine,A", &format!("fine,{target}")),
        );
        let told = world.run("log --from @sheets.csv").ok();
        assert!(told.contains(written) || told.contains("2 entries"), "{told}");
        let fine: Vec<Value> = entries(&world).into_iter().filter(|e| e["step"] == "fine").collect();
        assert_eq!((fine.len(), &fine[0]["target"]), (1, &json!(target)));
    }
}

#[test]
fn what_was_settled_since_or_struck_out_by_a_person_stays() {
    let world = begun();
    world.file("sheets.csv", SHEETS);
    world.run("log --from @sheets.csv").ok();
    let strike = entries(&world).into_iter().find(|e| e["kind"] == "strike").unwrap();
    let id = strike["id"].as_str().unwrap();
    world.run(&format!("amend {id} --depth 110")).ok();
    let told = world.run("log --from @sheets.csv").ok();
    assert!(told.contains("line 4: known; depth_cm stays as it was amended since"), "{told}");
    world.run(&format!("void {id} --reason \"wrong drill\"")).ok();
    world.run("log --from @sheets.csv").ok();
    assert!(entries(&world).iter().all(|e| e["kind"] != "strike"));
}

#[test]
fn two_bases_that_type_the_same_sheets_have_the_same_entries() {
    let worlds = [begun(), begun()];
    let told = worlds.each_ref().map(|world| {
        world.file("sheets.csv", SHEETS);
        world.run("log --from @sheets.csv").ok();
        entries(world)
    });
    assert_eq!(told[0], told[1]);
    worlds[0].run("pack -o @one.firn").ok();
    std::fs::copy(worlds[0].path("one.firn"), worlds[1].path("one.firn")).unwrap();
    worlds[1].run("merge @one.firn").ok();
    assert_eq!(entries(&worlds[1]).len(), 4);
}

#[test]
fn every_fault_of_a_file_of_sheets_is_named_by_line_and_nothing_is_written() {
    let world = begun();
    world.file(
        "sheets.csv",
        SHEETS.replace("1008", "25:00").replace("fine,A", "finer,A").replace("targets,B", "targts,B"),
    );
    let refused = world.run("log --from @sheets.csv");
    for says in ["line 3: step", "line 4: at", "line 6: form"] {
        assert!(refused.err.contains(says), "{says}: {}", refused.err);
    }
    assert!(refused.status == 1 && entries(&world).is_empty());
}

#[test]
fn spreadsheets_of_other_habits_are_understood_and_said() {
    let world = begun();
    let text = "kind;at;drill;depth;lowest_reading\nstrike;10:08:20;1;112;1,3\n";
    let utf_16: Vec<u8> =
        std::iter::once(0xfeff).chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect();
    world.file("de.csv", utf_16);
    let ran = world.run("log --from @de.csv");
    for says in [
        "UTF-16LE",
        "semicolons",
        "decimal commas were read as points, the first in line 2",
        "+01:00, the zone of the day",
    ] {
        assert!(ran.err.contains(says), "{says}: {}", ran.err);
    }
    assert_eq!(entries(&world)[0]["lowest_reading_m"], 1.3);
}

fn gpx(points: usize) -> String {
    let mut text = "<?xml version=\"1.0\"?>\n<gpx xmlns=\"http://www.topografix.com/GPX/1/1\"><wpt lat=\"46.5\" lon=\"9.8\"><name>strike</name></wpt><trk><trkseg>".to_owned();
    for n in 0..points {
        let (minute, second) = (n / 60 % 60, n % 60);
        let _ = write!(
            text,
            "<trkpt lat=\"{:.7}\" lon=\"9.8\"><time>2027-02-06T{:02}:{minute:02}:{second:02}Z</time></trkpt>",
            46.5 + n as f64 * 1e-6,
            9 + n / 3600
        );
    }
    text + "</trkseg></trk></gpx>\n"
}

#[test]
fn a_long_track_is_split_and_comes_in_once() {
    let world = begun();
    world.file("walk.gpx", gpx(20_001));
    let ran = world.run("import gpx @walk.gpx --person Fox --drill 1");
    assert!(ran.out.contains("4 entries written") && ran.err.contains("3 tracks"), "{}{}", ran.out, ran.err);
    let told = world.run("import gpx @walk.gpx --person Fox --drill 1").ok();
    assert!(told.contains("0 entries written") && told.contains("4 known"), "{told}");
    let tracks: Vec<Value> = entries(&world).into_iter().filter(|e| e["kind"] == "track").collect();
    let points = |t: &Value| t["points"]["x"].as_array().unwrap().len();
    assert_eq!(tracks.iter().map(points).collect::<Vec<_>>(), [10_000, 10_000, 1]);
    let simple = world.run("import gpx @walk.gpx --person Fox --drill 2 --simplify-m 1 --dry-run");
    assert!(
        simple.err.contains("of 20001 points kept; none left out lies farther than 1 m"),
        "{}",
        simple.err
    );
}

#[test]
fn an_outline_comes_into_the_grid_of_its_drill() {
    let world = begun();
    world
        .run("log drill --label 1 --slope 30 --origin-lat 46.5 --origin-lon 9.8 --downhill 180 --at 09:00")
        .ok();
    world.file("field.geojson", r#"{"type":"Feature","properties":null,"geometry":{"type":"Polygon","coordinates":[[[9.8,46.5],[9.801,46.5],[9.801,46.501],[9.8,46.501],[9.8,46.5]]]}}"#);
    world.run("import geojson @field.geojson --drill 1").ok();
    assert!(world.run("import geojson @field.geojson --drill 1").ok().contains("1 known"));
    let outline = entries(&world).into_iter().find_map(|e| e.get("outline").cloned()).unwrap();
    assert_eq!(outline[0], json!([0.0, 0.0]));
    let x = outline[1][0].as_f64().unwrap();
    assert!((x - 76.8).abs() < 0.1, "{outline}");
    world.run("export --format geojson --full -o @shapes").ok();
    let shapes: Value =
        serde_json::from_slice(&std::fs::read(world.path("shapes/outlines.geojson")).unwrap()).unwrap();
    let corner = &shapes["features"][0]["geometry"]["coordinates"][0][1];
    assert!((corner[0].as_f64().unwrap() - 9.801).abs() < 2e-7, "{corner}");
}

#[test]
fn what_can_not_come_in_is_refused_and_leaves_the_store_alone() {
    let world = begun();
    world.file("bomb.gpx", "<?xml version=\"1.0\"?><!DOCTYPE gpx [<!ENTITY a \"aaaaaaaaaa\"><!ENTITY b \"&a;&a;&a;\">]><gpx><trk><name>&b;</name></trk></gpx>");
    world.file("secret.gpx", "<!DOCTYPE gpx [<!ENTITY x SYSTEM \"file:///etc/passwd\">]><gpx><wpt lat=\"1\" lon=\"1\"><name>&x;</name></wpt></gpx>");
    world.file("untimed.gpx", "<gpx><trk><trkseg><trkpt lat=\"46.5\" lon=\"9.8\"/></trkseg></trk></gpx>");
    world.file("swapped.gpx", "<gpx><wpt lat=\"146.5\" lon=\"9.8\"/></gpx>");
    world.file("cut.gpx", &gpx(10)[..400]);
    world.file("bow.geojson", r#"{"type":"Polygon","coordinates":[[[9.8,46.5],[9.801,46.501],[9.801,46.5],[9.8,46.501],[9.8,46.5]]]}"#);
    world.file("line.geojson", r#"{"type":"LineString","coordinates":[[9.8,46.5],[9.801,46.501]]}"#);
    world.file("open.csv", "kind,at,note\nnote,10:00,\"open\nnote,10:01,x\n");
    world
        .run("log drill --label 1 --slope 30 --origin-lat 46.5 --origin-lon 9.8 --downhill 180 --at 09:00")
        .ok();
    let before = entries(&world);
    for (line, says) in [
        ("import gpx @bomb.gpx --person Fox", "document type"),
        ("import gpx @secret.gpx --person Fox", "document type"),
        ("import gpx @untimed.gpx --person Fox", "1 points have no time"),
        ("import gpx @swapped.gpx --person Fox", "latitude 146.5 is out of range"),
        ("import gpx @cut.gpx --person Fox", "line 2"),
        ("import gpx @nowhere.gpx --person Fox", "is not there"),
        ("import geojson @bow.geojson --drill 1", "cross"),
        ("import geojson @bow.geojson --drill 9", "no origin"),
        ("import geojson @line.geojson --person Fox", "times"),
        ("import geojson @bomb.gpx --drill 1", "no GeoJSON"),
        ("log --from @open.csv", "line 2: a quote is opened"),
    ] {
        let refused = world.run(line);
        assert!(refused.status == 1 && refused.err.contains(says), "{line}: {}", refused.err);
    }
    assert_eq!(entries(&world), before);
    // Larger than any log, and sparse on the disk.
    let large = std::fs::File::create(world.path("large.csv")).unwrap();
    large.set_len(1 << 30).unwrap();
    let refused = world.run("log --from @large.csv");
    assert!(refused.status == 1 && refused.err.contains("larger than 256 MiB"), "{}", refused.err);
}
