//! The screens of what is worked out before a drill, and the files to carry.

use firnbook_tests::world::World;
use serde_json::Value;

#[test]
fn the_screens_of_a_plan() {
    let world = World::new();
    world.file("outline.json", "[[0,0],[120,0],[120,60],[60,60],[60,150],[0,150]]");
    for (name, line) in [
        ("plan-lanes", "plan lanes --width 100 --length 150 --searchers 2"),
        (
            "plan-lanes-outline",
            "plan lanes --outline @outline.json --spacing 30m --edge 15m --searchers 4 --pace 40",
        ),
        ("plan-probes", "plan probes --body 170x45,r20 --area 400 --probers 8 --seconds-a-hole 6"),
        ("plan-probes-spiral", "plan probes --across 60cm --along 70cm --passes 1 --spiral --out-to 50cm"),
        ("plan-dig", "plan dig --depth 150cm --slope 30 --people 1"),
        ("plan-dig-conveyor", "plan dig --depth 2m --people 4 --manner conveyor"),
        ("plan-reading", "plan reading --depth 2m --orientation tilted --tilt 12.5"),
        ("plan-reading-upright", "plan reading --depth 5ft --orientation upright"),
    ] {
        let ran = world.run(line);
        assert_eq!(ran.status, 0, "{line}: {}", ran.err);
        world.snapshot(name, &ran.shown());
        let wide = ran.out.lines().find(|l| l.chars().count() > 80);
        assert_eq!(wide, None, "{line} runs past 80 columns");
    }
    assert!(!world.path("base.firnstore").exists(), "a plan begins no store");
}

#[test]
fn lanes_to_carry_lie_where_they_were_planned() {
    let world = World::new();
    let line = "plan lanes --width 100 --length 150 --origin 47.0,10.0 --downhill 180 --geojson @lanes.json --gpx @lanes.gpx";
    world.run(line).ok();
    let lanes: Value =
        serde_json::from_str(&std::fs::read_to_string(world.path("lanes.json")).unwrap()).unwrap();
    let lanes = lanes["features"].as_array().unwrap();
    assert_eq!(lanes.len(), 3);
    // Uphill is north: lanes run along meridians, 150 m or 0.001349 degrees long (a degree of latitude at 47 degrees is 111,174 m, WGS 84).
    for lane in lanes {
        let at = |end: usize, axis: usize| lane["geometry"]["coordinates"][end][axis].as_f64().unwrap();
        assert!((at(0, 0) - at(1, 0)).abs() < 1e-7);
        assert!((at(1, 1) - at(0, 1) - 0.001_349_3).abs() < 1e-6);
        // The parallel bends away from the straight lower edge by x^2 tan(latitude) / 2R: half a millimetre at 80 m.
        assert!((at(0, 1) - 47.0).abs() < 1e-8 && at(0, 0) > 10.0);
    }
    let gpx = std::fs::read_to_string(world.path("lanes.gpx")).unwrap();
    assert_eq!((gpx.matches("<rte>").count(), gpx.matches("<rtept ").count()), (3, 6));
    let left: Vec<_> =
        std::fs::read_dir(world.folder.path()).unwrap().map(|f| f.unwrap().file_name()).collect();
    assert_eq!(left.len(), 2, "{left:?}");
}

#[test]
fn what_can_not_be_planned_is_said() {
    let world = World::new();
    world.file("knot.json", "[[0,0],[10,10],[10,0],[0,10]]");
    world.file("line.json", "[[0,0],[5,5],[10,10]]");
    world.file("text.json", "no outline");
    for (line, status, says) in [
        ("plan lanes", 2, "no field was given"),
        ("plan lanes --width 100", 2, "--length"),
        ("plan lanes --width 0 --length 10", 1, "the width is 0 m"),
        ("plan lanes --width -5 --length 10", 1, "the width is -5 m"),
        ("plan lanes --width 100 --length 100 --searchers 0", 1, "the number of searchers is 0"),
        ("plan lanes --width 100 --length 100 --spacing 0", 1, "the spacing is 0 m"),
        ("plan lanes --width 90000 --length 100 --spacing 0.1", 1, "more than 10000"),
        ("plan lanes --width 100 --length 100 --gpx @x.gpx", 2, "needs to know where the field lies"),
        ("plan lanes --width 100 --length 100 --origin 470", 2, "latitude and longitude"),
        ("plan lanes --width 100 --length 100 --origin 470,1 --downhill 0", 1, "the latitude is 470"),
        ("plan lanes --outline @knot.json", 1, "crosses or touches itself at x 5 m, y 5 m"),
        ("plan lanes --outline @line.json", 1, "encloses 0 m2"),
        ("plan lanes --outline @text.json", 1, "is no JSON"),
        ("plan lanes --outline @nowhere", 1, "is not there"),
        ("plan probes --across 0", 1, "the spacing across is 0 cm"),
        ("plan probes --across 0.5", 2, "0.5m"),
        ("plan probes --body 170", 2, "170x45"),
        ("plan probes --passes 0", 1, "the number of passes is 0"),
        ("plan probes --area 100", 2, "--probers"),
        ("plan dig --depth 150", 2, "--people"),
        ("plan dig --depth 150 --people 0", 1, "the number of people is 0"),
        ("plan dig --depth 150 --people 2 --slope 90", 1, "the slope is 90"),
        ("plan dig --depth 150 --people 2 --manner free", 2, "conveyor"),
        ("plan reading --depth 150 --orientation tilted", 1, "needs its tilt"),
        ("plan reading --depth 150 --tilt 91", 1, "the tilt is 91"),
        ("plan reading --depth 150kg", 2, "is no unit for this field"),
    ] {
        let ran = world.run(line);
        assert_eq!(ran.status, status, "{line}: {}{}", ran.out, ran.err);
        assert!(ran.err.contains(says), "{line}: {}", ran.err);
    }
    assert!(!world.path("x.gpx").exists());
}
