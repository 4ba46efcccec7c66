//! Doubts about what a device wrote after it was removed from the crew: it is taken like any other change, or the order in which things arrive
//! would matter, but a person should look.

use super::{doubt, is_accepted};
use crate::day::DeviceId;
use crate::review::ground::Ground;
use crate::review::item::Item;

/// One doubt a device, at the first entry that its clock puts after the removal. `removed`: devices, and the instants in milliseconds.
#[must_use]
pub fn after_removal(ground: &Ground<'_>, removed: &[(DeviceId, i64)]) -> Vec<Item> {
    let record = ground.record;
    let one = |(device, at_ms): &(DeviceId, i64)| {
        let late = record.entries.iter().filter(|n| {
            n.device == *device && n.counted().is_some() && ground.clocks.at(n).ms > *at_ms as f64
        });
        let entries: Vec<_> = late.map(|n| n.id).collect();
        let first = *entries.first()?;
        let what = match entries.len() {
            1 => "1 entry is".to_owned(),
            n => format!("{n} entries are"),
        };
        let says = format!(
            "{what} of device {device}, dated after it was removed from the crew: written by whoever has it now? Strike out what is false, or \
             accept it"
        );
        let item = Item { entries, ..doubt(ground, first, "removed", says) };
        (!is_accepted(record, &item.item)).then_some(item)
    };
    removed.iter().filter_map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Record;
    use crate::review::testing::{day, day_with, entry, id};

    fn after(record: &Record, removed: &[(DeviceId, i64)]) -> Vec<Item> {
        after_removal(&Ground::of(record, &RawClocks), removed)
    }

    #[test]
    fn only_what_a_removed_device_wrote_afterwards() {
        let lines = [
            entry(1, "Obs1", "10:00:00", "strike", r#""drill":"1","outcome":"false_strike""#),
            entry(2, "Obs1", "10:10:00", "strike", r#""drill":"1","outcome":"false_strike""#),
            entry(3, "Obs1", "10:11:00", "strike", r#""drill":"1","outcome":"false_strike""#),
        ];
        let record = day(&lines);
        let device = record.entries[0].device;
        let removed_ms = record.entries[1].at().unwrap().millis() - 1_000;
        let found = after(&record, &[(device, removed_ms)]);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].entries, [record.entries[1].id, record.entries[2].id]);
        assert!(found[0].says.starts_with("2 entries are of device"), "{}", found[0].says);
        let after_all = record.entries[2].at().unwrap().millis();
        assert!(after(&record, &[(device, after_all)]).is_empty());
        assert!(after(&record, &[(DeviceId([7; 16]), 0)]).is_empty());
        let accepted = day_with(&lines, &[(&format!("{}!removed", id(2)), &[r#"{"v":true}"#])]);
        assert!(after(&accepted, &[(device, removed_ms)]).is_empty());
    }
}
