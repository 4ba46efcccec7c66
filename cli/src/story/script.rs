//! What happens on the invented day, in order. Times are the true ones; the phones write what their clocks show.

use super::phone::Phone;
use crate::failure::Failure;
use firnbook_core::entry::EntryId;
use firnbook_core::store::Filter;
use serde_json::{Value, json};

const RED: [&str; 4] = ["Fox", "Lynx", "Otter", "Marten"];
const BLUE: [&str; 4] = ["Heron", "Swift", "Raven", "Wren"];

/// The phones and midnight. Observers are numbered from 0; numbers that are not there wrap around.
struct Stage<'a> {
    phones: &'a mut [Phone],
    midnight_ms: i64,
}

impl Stage<'_> {
    fn ms(&self, hour: i64, minute: i64, second: f64) -> i64 {
        self.midnight_ms + (hour * 60 + minute) * 60_000 + (second * 1000.0).round() as i64
    }

    fn observer(&mut self, n: usize) -> &mut Phone {
        let observers = self.phones.len() - 1;
        &mut self.phones[1 + n % observers]
    }

    fn lead(&mut self, at: i64, entry: Value) -> Result<EntryId, Failure> {
        self.phones[0].write(at, entry)
    }

    /// Several see the same and each presses it.
    fn seen(&mut self, by: &[usize], at: i64, entry: &Value) -> Result<(), Failure> {
        by.iter().try_for_each(|n| self.observer(*n).press(at, entry.clone()).map(|_| ()))
    }
}

/// Plays the day on the phones.
///
/// # Errors
/// The stores'.
pub fn play(phones: &mut [Phone], midnight_ms: i64) -> Result<(), Failure> {
    let mut stage = Stage { phones, midnight_ms };
    morning(&mut stage)?;
    first_drill(&mut stage)?;
    probe_line(&mut stage)?;
    second_drill(&mut stage)?;
    noon(&mut stage)
}

/// Who is there, the group check, the kit.
fn morning(stage: &mut Stage<'_>) -> Result<(), Failure> {
    let at = stage.ms(8, 30, 0.0);
    stage.lead(at, json!({"kind": "person", "call_sign": "Larch", "role": "lead"}))?;
    let observers: Vec<&str> = stage.phones[1..].iter().map(|p| p.call_sign).collect();
    for (i, call_sign) in (1..).zip(observers) {
        stage.lead(at + 4_000 * i, json!({"kind": "person", "call_sign": call_sign, "role": "observer"}))?;
    }
    // All press on one call, so that the phones' clocks can be compared.
    let mark = json!({"kind": "clock_mark", "label": "morning"});
    stage.lead(stage.ms(8, 35, 0.4), mark.clone())?;
    let all: Vec<usize> = (0..stage.phones.len() - 1).collect();
    stage.seen(&all, stage.ms(8, 35, 0.0), &mark)?;
    let teams = RED.map(|member| (member, "Red")).into_iter().chain(BLUE.map(|member| (member, "Blue")));
    for (i, (call_sign, team)) in (0..).zip(teams) {
        let person = json!({"kind": "person", "call_sign": call_sign, "team": team, "role": "trainee"});
        stage.lead(at + 120_000 + 4_000 * i, person)?;
    }
    let batteries = [92, 71, 35, 88, 64, 97, 83, 58];
    for (i, (person, battery)) in (0..).zip(RED.into_iter().chain(BLUE).zip(batteries)) {
        let mut check = json!({"kind": "check", "person": person, "transmits": true, "receives": true, "battery_pct": battery});
        if person == "Swift" {
            check["nearest_electronics_cm"] = json!(12);
            check["note"] = json!("radio in the chest pocket, moved to the pack");
        }
        let at = stage.ms(8, 40, 25.0 * f64::from(i));
        stage.observer(0).write(at, check)?;
    }
    for n in 1..=9 {
        let at = stage.ms(9, 0, 2.0 * f64::from(n));
        let item = format!("TX{n:02}");
        stage.lead(at, json!({"kind": "kit", "item": item, "step": "issued", "what": "transmitter"}))?;
    }
    Ok(())
}

/// One target, found and dug out; heated gloves disturb the search.
fn first_drill(stage: &mut Stage<'_>) -> Result<(), Failure> {
    let at = stage.ms(9, 30, 0.0);
    let drill = json!({"kind": "drill", "label": "1", "form": "single", "team": "Red", "slope_deg": 30,
                       "limit_s": 900, "stops_at": "airway", "length_m": 60, "width_m": 40});
    stage.lead(at, drill)?;
    let target = json!({"kind": "target", "drill": "1", "label": "A", "item": "TX02", "set_depth_cm": 110,
                        "direction": "slope_normal", "orientation": "flat", "transmits": true, "x_m": 24, "y_m": 37});
    stage.lead(at + 60_000, target)?;
    roles(stage, "1", &RED, &[0, 1])?;
    let zero = stage.ms(10, 5, 0.0);
    let t = |s: f64| zero + (s * 1000.0) as i64;
    let moment = |step: &str| json!({"kind": "moment", "drill": "1", "target": "A", "step": step});
    let start = json!({"kind": "moment", "drill": "1", "step": "start"});
    stage.lead(t(0.2), start.clone())?;
    stage.seen(&[0, 1], t(0.3), &start)?;
    let gloves = json!({"kind": "interference", "drill": "1", "source": "heated_clothing", "mode": "search",
                        "effect": "unsteady_reading", "person": "Fox", "distance_cm": 25, "lost_s": 15,
                        "remedy": "gloves switched off"});
    stage.observer(1).write(t(31.0), gloves)?;
    // Fox goes straight up the middle of the field until the first signal.
    let way = stage.observer(1).clock.shows(t(2.0)).millis();
    let track = json!({"kind": "track", "drill": "1", "person": "Fox", "source": "position receiver",
                       "points": {"t_ms": [way, 13_000, 13_000, 13_000], "x": [20, 0, 0, 0], "y": [0, 12, 12, 12]}});
    stage.observer(1).write(t(43.0), track)?;
    for (s, step) in [(42.0, "signal"), (97.0, "coarse"), (146.0, "fine"), (161.0, "probing")] {
        stage.seen(&[0, 1], t(s), &moment(step))?;
    }
    for (n, depth_cm) in [(0, 112), (1, 115)] {
        let strike = json!({"kind": "strike", "drill": "1", "target": "A", "person": "Lynx", "depth_cm": depth_cm,
                            "outcome": "hit", "direction": "slope_normal", "lowest_reading_m": 1.3, "holes": 6,
                            "from_mark_cm": 35});
        stage.observer(n).press(t(204.0), strike)?;
    }
    stage.seen(&[0], t(231.0), &moment("digging"))?;
    turns(stage, 2, ("1", "A"), &RED, &[231.0, 342.0, 455.0, 561.0, 640.0].map(t))?;
    stage.seen(&[0, 1], t(634.0), &moment("airway"))?;
    stage.seen(&[0], t(655.0), &moment("transmitter_off"))?;
    stage.lead(t(720.0), json!({"kind": "moment", "drill": "1", "step": "end", "why": "done"}))?;
    let tape = json!({"kind": "depth", "drill": "1", "target": "A", "depth_cm": 121, "method": "tape",
                      "datum": "airway", "direction": "slope_normal"});
    stage.observer(2).write(t(780.0), tape)?;
    stage.lead(
        t(840.0),
        json!({"kind": "kit", "item": "TX02", "step": "dug_up", "drill": "1", "target": "A"}),
    )?;
    Ok(())
}

/// A probe line looks for a target that does not send.
fn probe_line(stage: &mut Stage<'_>) -> Result<(), Failure> {
    let at = stage.ms(10, 30, 0.0);
    let drill = json!({"kind": "drill", "label": "3", "form": "probe_line", "team": "Red", "slope_deg": 20,
                       "stops_at": "strike", "length_m": 10, "width_m": 6});
    stage.lead(at, drill)?;
    let target = json!({"kind": "target", "drill": "3", "label": "A", "set_depth_cm": 90, "direction": "slope_normal",
                        "orientation": "flat", "transmits": false, "x_m": 3, "y_m": 7});
    stage.lead(at + 45_000, target)?;
    let zero = stage.ms(10, 45, 0.0);
    let t = |s: f64| zero + (s * 1000.0) as i64;
    let start = json!({"kind": "moment", "drill": "3", "step": "start"});
    stage.lead(t(0.2), start.clone())?;
    stage.seen(&[0], t(0.3), &start)?;
    stage.seen(&[0], t(50.0), &json!({"kind": "moment", "drill": "3", "target": "A", "step": "probing"}))?;
    let strike = json!({"kind": "strike", "drill": "3", "target": "A", "person": "Marten", "depth_cm": 92,
                        "outcome": "hit", "direction": "slope_normal", "holes": 164});
    stage.observer(0).write(t(461.0), strike)?;
    let ended_at = stage.observer(0).clock.shows(t(650.0));
    let pass = json!({"kind": "probe_pass", "drill": "3", "across_cm": 50, "along_cm": 50, "probers": 4, "length_m": 10,
                      "width_m": 6, "depth_cm": 150, "holes": 240, "ended_at": ended_at});
    stage.observer(0).write(t(50.0), pass)?;
    stage.lead(t(660.0), json!({"kind": "moment", "drill": "3", "step": "end", "why": "done"}))?;
    Ok(())
}

/// Three targets, of which one stays in the snow.
fn second_drill(stage: &mut Stage<'_>) -> Result<(), Failure> {
    let at = stage.ms(11, 10, 0.0);
    let drill = json!({"kind": "drill", "label": "2", "form": "multiple", "team": "Blue", "slope_deg": 28,
                       "limit_s": 900, "stops_at": "airway"});
    stage.lead(at, drill)?;
    // Cedar measured the slope too, and read another value.
    stage.observer(2).write(at + 90_000, json!({"kind": "drill", "label": "2", "slope_deg": 33}))?;
    let targets = [
        ("A", "TX04", 90, 12, 40, "flat"),
        ("B", "TX05", 140, 31, 22, "upright"),
        ("C", "TX09", 70, 44, 51, "flat"),
    ];
    for (i, (label, item, depth_cm, x_m, y_m, orientation)) in (2..).zip(targets) {
        let target = json!({"kind": "target", "drill": "2", "label": label, "item": item, "set_depth_cm": depth_cm,
                            "direction": "slope_normal", "orientation": orientation, "transmits": true, "x_m": x_m,
                            "y_m": y_m});
        stage.lead(at + 60_000 * i, target)?;
    }
    roles(stage, "2", &BLUE, &[2, 3, 4])?;
    let zero = stage.ms(11, 40, 0.0);
    let t = |s: f64| zero + (s * 1000.0) as i64;
    let start = json!({"kind": "moment", "drill": "2", "step": "start"});
    stage.lead(t(0.1), start.clone())?;
    stage.seen(&[2, 3], t(0.4), &start)?;
    let steps = [
        ("A", "Heron", 35.0, "signal"),
        ("A", "Heron", 74.0, "coarse"),
        ("A", "Swift", 118.0, "fine"),
        ("A", "Heron", 131.0, "probing"),
        ("A", "Raven", 196.0, "digging"),
        ("A", "Raven", 388.0, "airway"),
        ("B", "Swift", 221.0, "signal"),
        ("B", "Swift", 268.0, "coarse"),
        ("B", "Swift", 342.0, "fine"),
        ("B", "Raven", 361.0, "probing"),
        ("B", "Wren", 448.0, "digging"),
        ("C", "Heron", 512.0, "signal"),
    ];
    for (target, person, s, step) in steps {
        let moment =
            json!({"kind": "moment", "drill": "2", "target": target, "person": person, "step": step});
        stage.seen(if target == "B" { &[3, 4] } else { &[2] }, t(s), &moment)?;
    }
    let strike = |target: &str, person: &str, depth_cm: u32, reading_m: f64, holes: u32| {
        json!({"kind": "strike", "drill": "2", "target": target, "person": person, "depth_cm": depth_cm,
               "outcome": "hit", "direction": "slope_normal", "lowest_reading_m": reading_m, "holes": holes})
    };
    stage.observer(2).press(t(163.0), strike("A", "Heron", 88, 1.0, 4))?;
    stage.observer(3).press(t(405.0), strike("B", "Raven", 144, 2.1, 11))?;
    stage.observer(4).press(t(405.0), strike("B", "Raven", 145, 2.1, 11))?;
    // Cedar's thumb: there is no target D in this drill.
    stage
        .observer(2)
        .write(t(540.0), json!({"kind": "moment", "drill": "2", "target": "D", "step": "coarse"}))?;
    turns(stage, 3, ("2", "B"), &BLUE, &[448.0, 690.0, 800.0, 884.0].map(t))?;
    stage.lead(t(900.0), json!({"kind": "moment", "drill": "2", "step": "end", "why": "limit"}))?;
    let cornice = "cornice above the upper edge has cracked; nobody goes above the poles";
    stage.lead(t(960.0), json!({"kind": "note", "topic": "safety", "note": cornice}))?;
    for (s, item, target) in [(1_200.0, "TX04", "A"), (1_260.0, "TX05", "B")] {
        stage.lead(
            t(s),
            json!({"kind": "kit", "item": item, "step": "dug_up", "drill": "2", "target": target}),
        )?;
    }
    Ok(())
}

/// Two phones meet at the hut; both then correct the same depth without knowing of one another. What is back is counted.
fn noon(stage: &mut Stage<'_>) -> Result<(), Failure> {
    let at = stage.ms(12, 20, 0.0);
    let pack = stage.observer(0).pack()?;
    stage.observer(2).logbook.merge(&pack, false)?;
    let hut = json!({"kind": "note", "topic": "general", "note": "Alder's log taken over at the hut"});
    stage.observer(2).write(at + 20_000, hut)?;
    if let Some(id) = hit_of_drill_1(stage.observer(0))? {
        stage.observer(0).correct(at + 60_000, id, "depth_cm", json!(108))?;
        stage.observer(2).correct(at + 95_000, id, "depth_cm", json!(118))?;
    }
    let note = |drill: &str, topic: &str, note: &str| json!({"kind": "note", "topic": topic, "drill": drill, "note": note});
    stage
        .observer(0)
        .write(at + 120_000, note("1", "went_well", "clear calls at every change of the head"))?;
    stage
        .observer(3)
        .write(at + 130_000, note("2", "next_time", "leave one searcher free for the third signal"))?;
    for n in [1, 3, 6, 7, 8] {
        let at = stage.ms(12, 30, 2.0 * f64::from(n));
        stage.lead(at, json!({"kind": "kit", "item": format!("TX{n:02}"), "step": "returned"}))?;
    }
    Ok(())
}

/// Who does what in a drill.
fn roles(stage: &mut Stage<'_>, drill: &str, team: &[&str; 4], observers: &[usize]) -> Result<(), Failure> {
    let at = stage.ms(9, 35, 0.0);
    let mut cast: Vec<(&str, &str)> =
        team.iter().copied().zip(["searcher", "prober", "shoveller", "shoveller"]).collect();
    for n in observers {
        cast.push((stage.observer(*n).call_sign, "observer"));
    }
    for (i, (person, role)) in (0..).zip(cast) {
        stage.lead(
            at + 3_000 * i,
            json!({"kind": "person", "call_sign": person, "drill": drill, "role": role}),
        )?;
    }
    Ok(())
}

/// Turns at the head, written by one observer: each begins where the one before ends.
fn turns(
    stage: &mut Stage<'_>,
    observer: usize,
    (drill, target): (&str, &str),
    team: &[&str; 4],
    changes_ms: &[i64],
) -> Result<(), Failure> {
    for (i, change) in changes_ms.windows(2).enumerate() {
        let behind: Vec<&str> = (1..3).map(|k| team[(i + k) % 4]).collect();
        let phone = stage.observer(observer);
        let ended_at = phone.clock.shows(change[1]);
        let turn = json!({"kind": "rotation", "drill": drill, "target": target, "front": team[i % 4],
                          "shovellers": behind, "ended_at": ended_at, "manner": "conveyor", "hole_width_cm": 120});
        phone.write(change[0], turn)?;
    }
    Ok(())
}

/// The hit that this phone wrote in drill 1.
fn hit_of_drill_1(phone: &Phone) -> Result<Option<EntryId>, Failure> {
    let filter = Filter {
        kind: Some("strike".to_owned()),
        drill: Some("1".to_owned()),
        by: Some(phone.call_sign.to_owned()),
        ..Filter::default()
    };
    Ok(phone.logbook.entries(&filter)?.first().map(|row| row.noted.id))
}
