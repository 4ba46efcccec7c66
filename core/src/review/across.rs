//! Days that may be one: of one date, with people in common or with areas that differ by a slip of the pen. What was written into the wrong one
//! is moved, never merged by itself.

use super::item::{Item, Sort};
use crate::day::{Key, Record};
use crate::entry::{Body, EntryId, fold};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// A doubt for every two of these days that may be one. It belongs to the day with fewer entries, which would be moved.
#[must_use]
pub fn across(days: &[&Record]) -> Vec<Item> {
    let mut dates: BTreeMap<_, Vec<&Record>> = BTreeMap::new();
    for day in days {
        let of_date = dates.entry(day.date).or_default();
        if counted(day) > 0 && of_date.iter().all(|d| d.id != day.id) {
            of_date.push(day);
        }
    }
    let mut found = Vec::new();
    for mut of_date in dates.into_values() {
        of_date.sort_by_key(|d| (counted(d), d.id));
        for (i, less) in of_date.iter().enumerate() {
            found.extend(of_date[i + 1..].iter().filter_map(|more| doubt(less, more)));
        }
    }
    found
}

fn doubt(less: &Record, more: &Record) -> Option<Item> {
    let (here, there) = (people(less), people(more));
    let common: Vec<String> = here
        .iter()
        .filter(|(folded, _)| there.contains_key(*folded))
        .map(|(_, shown)| shown.clone())
        .collect();
    let near = near_areas(&less.area, &more.area);
    if common.is_empty() && !near {
        return None;
    }
    let why = match (near, common.len()) {
        (true, _) => "their areas are spelled nearly alike".to_owned(),
        (false, n) => format!(
            "{n} people are in both ({})",
            common.iter().take(5).cloned().collect::<Vec<_>>().join(", ")
        ),
    };
    let code = format!("one_day:{}", more.id);
    let ids: BTreeSet<EntryId> =
        less.entries.iter().filter(|n| n.counted().is_some()).map(|n| n.id).collect();
    let first = *ids.first()?;
    let accepted = |id: &EntryId| {
        less.registers.get(&Key::Accept(*id, code.clone())).is_some_and(|s| s.v == Value::Bool(true))
    };
    if less.entries.iter().any(|n| accepted(&n.id)) {
        return None;
    }
    let says = format!(
        "{} in {} and in {} may be one day: {why}; if so, move every entry of {} to {}",
        less.date, less.area, more.area, less.area, more.area
    );
    let ask = if common.is_empty() { here.into_values().collect() } else { common };
    Some(Item {
        entries: vec![first],
        ask,
        ..Item::new(Key::Accept(first, code), Sort::Doubt, less.id, says)
    })
}

fn counted(day: &Record) -> usize {
    day.entries.iter().filter(|n| n.counted().is_some()).count()
}

/// Call signs of those who wrote entries that count or are declared by one, by fold.
fn people(day: &Record) -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    for entry in day.entries.iter().filter_map(|n| n.counted()) {
        let declared = if let Body::Person(p) = &entry.body { Some(&p.call_sign) } else { None };
        for person in declared.into_iter().chain([&entry.common.by]) {
            found.entry(person.folded()).or_insert_with(|| person.0.trim().to_owned());
        }
    }
    found
}

/// One slip of the pen a five letters: "Uper Bowl" for "Upper Bowl".
fn near_areas(a: &str, b: &str) -> bool {
    let (a, b) = (fold(a), fold(b));
    let letters = a.chars().count().min(b.chars().count());
    letters > 0 && strsim::damerau_levenshtein(&a, &b) <= (letters / 5).max(1)
}

#[cfg(test)]
mod tests {
    use super::super::testing::{day_of, entry, id};
    use super::*;

    fn in_area(area: &str, by: &str, n: u8, registers: &[(&str, &[&str])]) -> Record {
        let lines: Vec<String> =
            (0..n).map(|i| entry(i + 1, by, "10:00:00", "note", r#""note":"x""#)).collect();
        day_of("2027-02-06", area, &lines, registers)
    }

    #[test]
    fn areas_spelled_nearly_alike_or_people_in_common() {
        let main = in_area("Upper Bowl", "Lead", 3, &[]);
        let slip = in_area("Uper Bowl", "Obs1", 1, &[]);
        let found = across(&[&main, &slip]);
        assert_eq!(found, across(&[&slip, &main]));
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].day, slip.id);
        assert_eq!(found[0].item, format!("{}!one_day:{}", id(1), main.id));
        let asks = "; if so, move every entry of Uper Bowl to Upper Bowl";
        assert!(found[0].says.ends_with(asks), "{}", found[0].says);
        assert_eq!(found[0].doubt(), Some(format!("one_day:{}", main.id).as_str()));
        let same_people = in_area("Hut Field", "lead", 1, &[]);
        assert!(across(&[&main, &same_people])[0].says.contains("people are in both"));
        let others = in_area("Hut Field", "Obs9", 1, &[]);
        assert!(across(&[&main, &others]).is_empty());
    }

    #[test]
    fn other_dates_moved_days_and_accepted_doubts_rest() {
        let main = in_area("Upper Bowl", "Lead", 3, &[]);
        let next =
            day_of("2027-02-07", "Uper Bowl", &[entry(1, "Lead", "10:00:00", "note", r#""note":"x""#)], &[]);
        assert!(across(&[&main, &next]).is_empty());
        let void = format!("{}/void", id(1));
        assert!(
            across(&[&main, &in_area("Uper Bowl", "Lead", 1, &[(&void, &[r#"{"v":"moved"}"#])])]).is_empty()
        );
        let accepted = format!("{}!one_day:{}", id(1), main.id);
        assert!(
            across(&[&main, &in_area("Uper Bowl", "Lead", 1, &[(&accepted, &[r#"{"v":true}"#])])]).is_empty()
        );
    }
}
