//! Which entries tell of one event, on days written by hand.

use super::super::testing::{day, day_with, entry, id};
use super::*;
use crate::clock::{Clocks, RawClocks};
use crate::day::Record;

fn one_event_groups(record: &Record, clocks: &dyn Clocks) -> OneEvent {
    OneEvent::of(&Ground::of(record, clocks))
}

fn twins(record: &Record, clocks: &dyn Clocks) -> Vec<Item> {
    items(&Ground::of(record, clocks), &one_event_groups(record, clocks))
}

const A: &str = r#""drill":"1","target":"A","step":"signal""#;

/// Clocks that are as uncertain as this.
struct Unsure(Option<f64>);

impl Clocks for Unsure {
    fn correct(&self, noted: &Noted, raw_ms: i64) -> Corrected {
        Corrected { uncertainty_ms: self.0, ..RawClocks.correct(noted, raw_ms) }
    }
}

fn pairs(record: &Record) -> Vec<(EntryId, EntryId)> {
    one_event_groups(record, &RawClocks).proposed
}

#[test]
fn nearest_first_and_one_to_one() {
    let record = day(&[
        entry(1, "Obs1", "10:05:00", "moment", A),
        entry(2, "Obs1", "10:05:06", "moment", A),
        entry(3, "Obs2", "10:05:05", "moment", A),
        entry(4, "Obs2", "10:05:30", "moment", A),
    ]);
    assert_eq!(pairs(&record), [(id(2), id(3))]);
    let items = twins(&record, &RawClocks);
    assert_eq!(items[0].item, format!("{}~{}", id(2), id(3)));
    assert_eq!(items[0].ask, ["Obs1", "Obs2"]);
    assert!(items[0].says.contains("1.0 s apart"), "{}", items[0].says);
}

#[test]
fn other_targets_steps_drills_and_own_entries_are_no_twins() {
    let record = day(&[
        entry(1, "Obs1", "10:05:00", "moment", A),
        entry(2, "Obs1", "10:05:01", "moment", A),
        entry(3, "Obs2", "10:05:00", "moment", r#""drill":"1","target":"B","step":"signal""#),
        entry(4, "Obs3", "10:05:00", "moment", r#""drill":"1","target":"A","step":"coarse""#),
        entry(5, "Obs4", "10:05:00", "moment", r#""drill":"2","target":"A","step":"signal""#),
        entry(6, "obs1", "10:05:00", "moment", A),
    ]);
    assert_eq!(pairs(&record), []);
}

#[test]
fn eight_writers_of_one_event_are_one_group() {
    let lines: Vec<String> =
        (0..8).map(|n| entry(n, &format!("Obs{n}"), &format!("10:05:0{}", n % 7), "moment", A)).collect();
    let one = one_event_groups(&day(&lines), &RawClocks);
    assert_eq!(one.proposed.len(), 7);
    assert!((0..8).all(|n| one.groups.first(id(n)) == id(0)));
}

#[test]
fn an_entry_without_target_goes_to_the_nearest_and_never_joins_two_targets() {
    let record = day(&[
        entry(1, "Obs1", "10:05:00", "moment", A),
        entry(2, "Obs2", "10:05:01", "moment", r#""drill":"1","step":"signal""#),
        entry(3, "Obs3", "10:05:03", "moment", r#""drill":"1","target":"B","step":"signal""#),
    ]);
    assert_eq!(pairs(&record), [(id(1), id(2))]);
}

#[test]
fn moment_strike_and_hit_pool_and_own_ones_are_one_by_definition() {
    let moment = r#""drill":"1","target":"A","step":"strike""#;
    let hit = r#""drill":"1","target":"A","outcome":"hit","depth_cm":110"#;
    let record = day(&[
        entry(1, "Obs1", "10:05:00", "moment", moment),
        entry(2, "Obs1", "10:05:40", "strike", hit),
        entry(3, "Obs2", "10:05:42", "strike", hit),
        entry(4, "Obs3", "10:05:02", "strike", r#""drill":"1","target":"A","outcome":"false_strike""#),
    ]);
    let one = one_event_groups(&record, &RawClocks);
    assert_eq!(pairs(&record), [(id(2), id(3))]);
    assert_eq!((one.groups.first(id(3)), one.proposed.len()), (id(1), 1));
}

#[test]
fn everybodys_first_start_is_one_event_and_no_item() {
    let start = r#""drill":"1","step":"start""#;
    let record = day(&[
        entry(1, "Obs1", "10:05:00", "moment", start),
        entry(2, "Obs2", "10:45:00", "moment", start),
        entry(3, "Obs2", "10:46:00", "moment", start),
    ]);
    let one = one_event_groups(&record, &RawClocks);
    assert_eq!(one.groups.first(id(2)), id(1));
    assert_eq!(one.groups.first(id(3)), id(3));
    assert!(pairs(&record).is_empty());
}

#[test]
fn what_is_settled_is_not_proposed_and_holds() {
    let lines = [
        entry(1, "Obs1", "10:05:00", "moment", A),
        entry(2, "Obs2", "10:05:01", "moment", A),
        entry(3, "Obs3", "10:05:02", "moment", A),
    ];
    let same = format!("{}~{}", id(1), id(2));
    let record = day_with(&lines, &[(&same, &[r#"{"v":true}"#])]);
    assert_eq!(pairs(&record), [(id(2), id(3))]);
    let record = day_with(&lines, &[(&same, &[r#"{"v":false}"#])]);
    assert_eq!(pairs(&record), [(id(2), id(3))]);
    let far = format!("{}~{}", id(1), id(3));
    let record = day_with(&lines, &[(&same, &[r#"{"v":false}"#]), (&far, &[r#"{"v":true}"#])]);
    assert_eq!(pairs(&record), [], "2 can't join 3, which is one with 1");
}

#[test]
fn void_entries_have_no_twins() {
    let void = format!("{}/void", id(1));
    let lines = [entry(1, "Obs1", "10:05:00", "moment", A), entry(2, "Obs2", "10:05:01", "moment", A)];
    assert_eq!(pairs(&day_with(&lines, &[(&void, &[r#"{"v":"typo"}"#])])), []);
}

#[test]
fn an_uncertain_clock_widens_the_window() {
    let record = day(&[entry(1, "Obs1", "10:05:00", "moment", A), entry(2, "Obs2", "10:05:20", "moment", A)]);
    assert!(pairs(&record).is_empty());
    assert_eq!(one_event_groups(&record, &Unsure(Some(6_000.0))).proposed.len(), 1);
    assert!(twins(&record, &Unsure(Some(6_000.0)))[0].says.contains("20.0 ± 12.0 s apart"));
}

#[test]
fn clocks_that_were_never_compared_widen_it_further_and_it_is_said() {
    let lines = |at: &str| [entry(1, "Obs1", "10:05:00", "moment", A), entry(2, "Obs2", at, "moment", A)];
    let near = twins(&day(&lines("10:06:08")), &Unsure(None));
    assert!(near[0].says.contains("68.0 s apart by clocks that were never compared"), "{}", near[0].says);
    assert!(twins(&day(&lines("10:06:09")), &Unsure(None)).is_empty());
    let one_phone = day(&lines("10:05:09")[..1]);
    assert!(twins(&one_phone, &Unsure(None)).is_empty());
}

#[test]
fn turns_need_one_front_and_depths_one_method() {
    let record = day(&[
        entry(1, "Obs1", "10:05:00", "rotation", r#""drill":"1","front":"Dig1""#),
        entry(2, "Obs2", "10:05:01", "rotation", r#""drill":"1","front":"Dig2""#),
        entry(3, "Obs3", "10:05:02", "rotation", r#""drill":"1","front":"dig2""#),
        entry(4, "Obs1", "10:09:00", "depth", r#""drill":"1","target":"A","depth_cm":90,"method":"tape""#),
        entry(5, "Obs2", "10:09:00", "depth", r#""drill":"1","target":"A","depth_cm":90,"method":"probe""#),
    ]);
    assert_eq!(pairs(&record), [(id(2), id(3))]);
}

#[test]
fn every_window_is_of_a_kind_that_exists() {
    assert!(WINDOWS.iter().all(|w| crate::entry::kind(w.kind).is_some()));
}
