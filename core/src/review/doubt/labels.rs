//! Dangling labels: a drill, target or person that entries name and nobody declared, mostly a slip of the pen for one that somebody did.

use super::{doubt, is_accepted};
use crate::day::{Key, Thing};
use crate::entry::{EntryId, LabelClass};
use crate::review::ground::{Ground, listed, near};
use crate::review::item::{Item, ItemValue};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

pub(super) fn doubts(ground: &Ground<'_>) -> Vec<Item> {
    let things = &ground.things;
    let declared = |thing: &Thing| !thing.declared_by.is_empty();
    let labels = |all: &mut dyn Iterator<Item = &Thing>| -> Vec<String> {
        all.filter(|t| declared(t)).map(|t| t.label.clone()).collect()
    };
    let mut found = Vec::new();

    let known = labels(&mut things.drills.values());
    let mut drills: BTreeMap<String, (String, Vec<EntryId>)> = BTreeMap::new();
    for (drill, thing) in things.drills.iter().filter(|(_, t)| !declared(t)) {
        drills.insert(drill.clone(), (thing.label.clone(), thing.named_by.clone()));
    }
    for thing in things.drills.values().filter(|t| declared(t)) {
        let Some(like) = thing.fields.get("like").and_then(Value::as_str) else { continue };
        let folded = things.drill(like);
        if !things.drills.get(&folded).is_some_and(declared) {
            let (_, named) = drills.entry(folded).or_insert_with(|| (like.to_owned(), Vec::new()));
            named.extend(&thing.declared_by);
        }
    }
    for (drill, (label, named)) in &drills {
        found.extend(dangling(ground, LabelClass::Drill, std::slice::from_ref(drill), label, named, &known));
    }

    let in_drills: BTreeSet<&String> = things.targets.keys().map(|(drill, _)| drill).collect();
    for drill in in_drills.into_iter().filter(|d| !drills.contains_key(*d)) {
        let targets = things.targets_of(drill);
        let known = labels(&mut targets.values().copied());
        for (target, thing) in targets.iter().filter(|(_, t)| !declared(t)) {
            let path = [drill.clone(), target.clone()];
            found.extend(dangling(ground, LabelClass::Target, &path, &thing.label, &thing.named_by, &known));
        }
    }

    let known = labels(&mut things.people.values());
    if !known.is_empty() {
        for (person, thing) in things.people.iter().filter(|(_, t)| !declared(t)) {
            let path = std::slice::from_ref(person);
            found.extend(dangling(ground, LabelClass::Person, path, &thing.label, &thing.named_by, &known));
        }
    }
    found
}

/// One doubt a label, under the smallest id that names it; accepted at any of them it rests.
fn dangling(
    ground: &Ground<'_>,
    class: LabelClass,
    path: &[String],
    label: &str,
    named: &[EntryId],
    known: &[String],
) -> Option<Item> {
    let first = *named.iter().min()?;
    let code = format!("dangling:{}:{}", class.word(), path.join(":"));
    if named.iter().any(|id| is_accepted(ground.record, &Key::Accept(*id, code.clone()).to_string())) {
        return None;
    }
    let meant = near(label, known);
    let of = match path {
        [drill, _] => {
            format!(" of drill {}", ground.things.drills.get(drill).map_or(drill.as_str(), |d| &d.label))
        }
        _ => String::new(),
    };
    let n = named.iter().collect::<BTreeSet<_>>().len();
    let entries = if n == 1 { "1 entry names".to_owned() } else { format!("{n} entries name") };
    let perhaps = if meant.is_empty() { String::new() } else { format!(": is {} meant?", listed(&meant)) };
    let says = format!("{entries} {} {label}{of}, which nobody declared{perhaps}", class.word());
    Some(Item {
        values: meant.into_iter().map(|m| ItemValue::plain(Value::from(m))).collect(),
        ask: ground.writers(named),
        ..doubt(ground, first, &code, says)
    })
}

#[cfg(test)]
mod tests {
    use super::super::tests::codes;
    use crate::clock::RawClocks;
    use crate::review::testing::{day, day_with, doubts, entry, id};

    fn lines() -> Vec<String> {
        vec![
            entry(1, "Lead", "09:00:00", "drill", r#""label":"North""#),
            entry(2, "Lead", "09:00:00", "target", r#""drill":"North","label":"Anne""#),
            entry(3, "Obs1", "10:00:00", "moment", r#""drill":"north","target":"Anna","step":"signal""#),
            entry(4, "Obs1", "10:01:00", "moment", r#""drill":"north","target":"anna","step":"coarse""#),
            entry(5, "Obs1", "10:02:00", "moment", r#""drill":"Nroth","step":"signal""#),
        ]
    }

    #[test]
    fn one_doubt_a_label_with_the_near_ones_to_choose_from() {
        let found = doubts(&day(&lines()), &RawClocks);
        let keys: Vec<String> = found.iter().map(|i| i.item.clone()).collect();
        let (target, drill) =
            (format!("{}!dangling:target:north:anna", id(3)), format!("{}!dangling:drill:nroth", id(5)));
        assert_eq!(keys, [target, drill]);
        assert_eq!(
            found[0].says,
            "2 entries name target Anna of drill North, which nobody declared: is Anne meant?"
        );
        assert_eq!(found[1].values[0].value, "North");
    }

    #[test]
    fn an_alias_or_an_acceptance_at_any_entry_ends_it() {
        let accepted = format!("{}!dangling:target:north:anna", id(4));
        let registers: [(&str, &[&str]); 2] =
            [(&accepted, &[r#"{"v":true}"#]), ("alias:drill:nroth", &[r#"{"v":"North"}"#])];
        assert!(codes(&day_with(&lines(), &registers)).is_empty());
    }

    #[test]
    fn people_are_asked_for_only_where_people_are_declared() {
        let mut lines = vec![entry(1, "Obs1", "09:00:00", "note", r#""note":"x""#)];
        assert!(codes(&day(&lines)).is_empty());
        lines.push(entry(2, "Lead", "09:00:00", "person", r#""call_sign":"Lead","role":"lead""#));
        assert_eq!(codes(&day(&lines)), ["dangling:person:obs1"]);
    }

    #[test]
    fn a_target_used_again_does_not_dangle_and_a_drill_that_is_like_none_does() {
        let lines = [
            entry(1, "Lead", "09:00:00", "drill", r#""label":"1""#),
            entry(2, "Lead", "09:00:00", "target", r#""drill":"1","label":"A""#),
            entry(3, "Lead", "09:00:00", "drill", r#""label":"2","like":"1""#),
            entry(4, "Obs1", "10:00:00", "moment", r#""drill":"2","target":"A","step":"signal""#),
            entry(5, "Lead", "09:00:00", "drill", r#""label":"3","like":"9""#),
        ];
        assert_eq!(codes(&day(&lines)), ["dangling:drill:9"]);
    }
}
