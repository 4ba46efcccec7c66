//! What the drills of a day still lack, and who may know. Nothing here can be settled: it goes away when someone writes the entry. A drill that
//! was called off lacks nothing.

use super::ground::Ground;
use super::item::{Item, MISSING, Sort};
use crate::day::{Noted, Thing};
use crate::entry::{Body, EndReason, EntryId, Outcome, Step, StopsAt};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// What is missing, in the order of the drills' labels.
pub(super) fn items(ground: &Ground<'_>) -> Vec<Item> {
    let mut drills: BTreeMap<String, Told> = ground
        .things
        .drills
        .iter()
        .filter(|(_, d)| !d.declared_by.is_empty())
        .map(|(d, _)| (d.clone(), Told::default()))
        .collect();
    for noted in &ground.record.entries {
        let drill = noted.counted().and_then(|e| e.common.drill.as_ref()).map(|d| ground.things.drill(&d.0));
        if let Some(told) = drill.and_then(|d| drills.get_mut(&d)) {
            told.take(ground, noted);
        }
    }
    drills
        .iter()
        .filter(|(_, told)| !told.cancelled())
        .flat_map(|(drill, told)| lacks(ground, drill, told))
        .collect()
}

/// What the entries of one drill tell.
#[derive(Default)]
struct Told {
    steps: BTreeSet<Step>,
    ended: Vec<Option<EndReason>>,
    struck: BTreeSet<String>,
    reached: BTreeMap<String, BTreeSet<Step>>,
    measured: BTreeSet<String>,
    running: Vec<EntryId>,
    writers: BTreeSet<String>,
}

impl Told {
    fn take(&mut self, ground: &Ground<'_>, noted: &Noted) {
        let Some(entry) = noted.counted() else { return };
        let common = &entry.common;
        self.writers.insert(ground.things.person(&common.by.0));
        let place = common.drill.as_ref().zip(common.target.as_ref());
        let target = place.map(|(d, t)| ground.things.target(&d.0, &t.0).1);
        match &entry.body {
            Body::Moment(m) => {
                self.steps.insert(m.step);
                if m.step == Step::End {
                    self.ended.push(m.why);
                }
                if let Some(target) = target {
                    if m.step == Step::Strike {
                        self.struck.insert(target.clone());
                    }
                    self.reached.entry(target).or_default().insert(m.step);
                }
            }
            Body::Strike(s) if !matches!(s.outcome, Some(Outcome::False)) => {
                if let Some(target) = target {
                    self.measured.extend(s.depth_cm.map(|_| target.clone()));
                    self.reached.entry(target.clone()).or_default().insert(Step::Strike);
                    self.struck.insert(target);
                }
            }
            Body::Depth(_) => self.measured.extend(target),
            Body::Rotation(r) if r.ended_at.is_none() => self.running.push(noted.id),
            _ => {}
        }
    }

    fn cancelled(&self) -> bool {
        self.ended.contains(&Some(EndReason::Cancelled))
    }

    /// It ended before everything was found, so that a strike may never have been.
    fn cut_short(&self) -> bool {
        let early = [EndReason::Limit, EndReason::Safety, EndReason::Emergency];
        self.ended.iter().flatten().any(|why| early.contains(why))
    }

    /// The step that stops the clock was reached at every target.
    fn finished(&self, stops_at: StopsAt, targets: &BTreeMap<String, &Thing>) -> bool {
        let last = |steps: &BTreeSet<Step>| match stops_at {
            StopsAt::Strike => steps.contains(&Step::Strike),
            StopsAt::Airway => steps.contains(&Step::Airway) || steps.contains(&Step::Extricated),
        };
        match targets.len() {
            0 => last(&self.steps),
            1 => last(&self.steps) || self.reached.values().any(last),
            _ => targets.keys().all(|t| self.reached.get(t).is_some_and(last)),
        }
    }
}

fn lacks(ground: &Ground<'_>, drill: &str, told: &Told) -> Vec<Item> {
    let Some(thing) = ground.things.drills.get(drill) else { return Vec::new() };
    let roles = ground.things.roles.keys().filter(|(d, _)| d == drill).map(|(_, person)| person.as_str());
    let ask = ground.people(roles.chain(told.writers.iter().map(String::as_str)));
    let ask = if ask.is_empty() { ground.writers(&thing.declared_by) } else { ask };
    let item = |key: String, field: &str, entries: &[EntryId], says: String| Item {
        field: Some(field.to_owned()),
        entries: entries.to_vec(),
        ask: ask.clone(),
        ..Item::new(format!("{MISSING}{key}/{field}"), Sort::Missing, ground.record.id, says)
    };
    let label = &thing.label;
    let of_drill = |field: &str, says: &str| {
        item(format!("drill:{drill}"), field, &thing.declared_by, format!("drill {label} {says}"))
    };
    let as_one = ground.things.drill_as_one(drill);
    let targets: BTreeMap<String, &Thing> =
        ground.things.targets_of(drill).into_iter().filter(|(_, t)| !t.declared_by.is_empty()).collect();

    let mut found = Vec::new();
    if !told.steps.contains(&Step::Start) {
        found.push(of_drill("start", "has no start: zero of every duration"));
    }
    let stops_at = as_one.as_ref().and_then(|d| d.stops_at).unwrap_or(StopsAt::Airway);
    if told.ended.is_empty() && !told.finished(stops_at, &targets) {
        found.push(of_drill("end", "has neither an end nor the last step of every target"));
    }
    for (field, says) in [("team", "names no team"), ("slope_deg", "has no slope: depths can't be converted")]
    {
        let inherited = field == "slope_deg" && as_one.as_ref().is_some_and(|d| d.slope_deg.is_some());
        let known =
            thing.fields.get(field).is_some_and(|v| *v != Value::Null) || thing.unsettled.contains_key(field);
        if !known && !inherited {
            found.push(of_drill(field, says));
        }
    }
    for (target, set) in &targets {
        let of_target = |field: &str, says: &str| {
            let says = format!("target {} of drill {label} {says}", set.label);
            item(format!("target:{drill}:{target}"), field, &set.declared_by, says)
        };
        if told.measured.contains(target) {
        } else if told.struck.contains(target) {
            found.push(of_target("depth_cm", "was struck, but nobody wrote how deep"));
        } else if !told.cut_short() {
            found.push(of_target("strike", "has neither a strike nor a depth"));
        }
    }
    for id in &told.running {
        let says = format!("{} has no end", ground.tell_id(*id));
        let turn = item(format!("rotation:{id}"), "ended_at", &[*id], says);
        found.push(Item { ask: ground.writers(&[*id]), ..turn });
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::testing::{day, entry, id};
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Record;

    fn missing(record: &Record) -> Vec<Item> {
        items(&Ground::of(record, &RawClocks))
    }

    fn keys(lines: &[String]) -> Vec<String> {
        missing(&day(lines)).into_iter().map(|i| i.item).collect()
    }

    fn drill(more: &str) -> String {
        entry(1, "Lead", "09:00:00", "drill", &format!(r#""label":"1"{more}"#))
    }

    fn moment(n: u8, at: &str, more: &str) -> String {
        entry(n, "Obs1", at, "moment", &format!(r#""drill":"1",{more}"#))
    }

    #[test]
    fn a_bare_drill_lacks_everything_and_the_people_in_it_are_asked() {
        let lines = [
            drill(""),
            entry(2, "Lead", "09:01:00", "target", r#""drill":"1","label":"A""#),
            entry(3, "Lead", "09:02:00", "person", r#""drill":"1","call_sign":"Obs2","role":"observer""#),
            entry(4, "Obs1", "10:30:00", "rotation", r#""drill":"1","front":"Dig1""#),
        ];
        let turn = format!("missing:rotation:{}/ended_at", id(4));
        let wanted = [
            "missing:drill:1/start",
            "missing:drill:1/end",
            "missing:drill:1/team",
            "missing:drill:1/slope_deg",
            "missing:target:1:a/strike",
            &turn,
        ];
        assert_eq!(keys(&lines), wanted);
        let items = missing(&day(&lines));
        assert_eq!(items[0].ask, ["Lead", "Obs1", "Obs2"]);
        assert_eq!(items[5].ask, ["Obs1"]);
    }

    #[test]
    fn a_drill_told_in_full_lacks_nothing() {
        let lines = [
            drill(r#","team":"Red","slope_deg":30"#),
            entry(2, "Lead", "09:01:00", "target", r#""drill":"1","label":"A""#),
            moment(3, "10:00:00", r#""step":"start""#),
            entry(
                4,
                "Obs1",
                "10:05:00",
                "strike",
                r#""drill":"1","target":"A","outcome":"hit","depth_cm":110"#,
            ),
            moment(5, "10:20:00", r#""target":"A","step":"airway""#),
        ];
        assert!(keys(&lines).is_empty(), "{:?}", keys(&lines));
    }

    #[test]
    fn a_strike_without_depth_and_a_drill_cut_short() {
        let mut lines = vec![
            drill(r#","team":"Red","slope_deg":30"#),
            entry(2, "Lead", "09:01:00", "target", r#""drill":"1","label":"A""#),
            entry(3, "Lead", "09:01:00", "target", r#""drill":"1","label":"B""#),
            moment(4, "10:00:00", r#""step":"start""#),
            moment(5, "10:05:00", r#""target":"A","step":"strike""#),
            moment(6, "10:15:00", r#""step":"end","why":"limit""#),
        ];
        assert_eq!(keys(&lines), ["missing:target:1:a/depth_cm"]);
        lines.push(moment(7, "10:16:00", r#""step":"end","why":"cancelled""#));
        assert!(keys(&lines).is_empty());
    }

    #[test]
    fn slope_and_targets_of_an_earlier_drill_count() {
        let again = entry(9, "Lead", "11:00:00", "drill", r#""label":"2","like":"1","team":"Blue""#);
        let lines = [
            drill(r#","team":"Red","slope_deg":30"#),
            entry(2, "Lead", "09:01:00", "target", r#""drill":"1","label":"A""#),
            again,
        ];
        let found = keys(&lines);
        assert!(!found.contains(&"missing:drill:2/slope_deg".to_owned()));
        assert!(found.contains(&"missing:target:2:a/strike".to_owned()));
    }
}
