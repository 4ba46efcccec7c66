//! Entries that are held and do not count: they wait for a signature, or their device's key is proven broken. A person should see that they exist.

use super::{doubt, is_accepted};
use crate::day::DeviceId;
use crate::entry::EntryId;
use crate::review::ground::Ground;
use crate::review::item::Item;

/// An entry that is held and does not count: its id, the device that it claims, and whether it was withdrawn; else it waits.
pub type Aside = (EntryId, DeviceId, bool);

/// One unclear item a device: at its first entry that waits, and at its first that was withdrawn.
#[must_use]
pub fn set_aside(ground: &Ground<'_>, aside: &[Aside]) -> Vec<Item> {
    let mut devices: Vec<(DeviceId, bool)> =
        aside.iter().map(|(_, device, withdrawn)| (*device, *withdrawn)).collect();
    devices.sort_unstable();
    devices.dedup();
    let one = |(device, withdrawn): (DeviceId, bool)| {
        let of = aside.iter().filter(|(_, d, w)| (*d, *w) == (device, withdrawn));
        let entries: Vec<EntryId> = of.map(|(id, ..)| *id).collect();
        let first = *entries.first()?;
        let what = match entries.len() {
            1 => "1 entry".to_owned(),
            n => format!("{n} entries"),
        };
        let (code, says) = if withdrawn {
            let why = "signed two different histories, so its entries from there on are withdrawn here and everywhere";
            (
                "withdrawn",
                format!(
                    "{what} of device {device}: its key {why}. Ask its owner, and take over what is true"
                ),
            )
        } else {
            let why = "named as the writer, and that device's signature is not here";
            (
                "waiting",
                format!(
                    "not counted yet: {what}. Device {device} is {why}. Ask its owner for a pack, or sync with it"
                ),
            )
        };
        let item = Item { entries, ..doubt(ground, first, code, says) };
        (!is_accepted(ground.record, &item.item)).then_some(item)
    };
    devices.into_iter().filter_map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::RawClocks;
    use crate::review::testing::{day, day_with, id};

    #[test]
    fn one_item_a_device_and_state_until_somebody_accepts_it() {
        let (one, other) = (DeviceId([1; 16]), DeviceId([2; 16]));
        let aside = [(id(1), one, false), (id(2), one, false), (id(3), one, true), (id(4), other, false)];
        let record = day(&[]);
        let found = set_aside(&Ground::of(&record, &RawClocks), &aside);
        let items: Vec<String> = found.iter().map(|i| i.item.clone()).collect();
        assert_eq!(
            items,
            [format!("{}!waiting", id(1)), format!("{}!withdrawn", id(3)), format!("{}!waiting", id(4))]
        );
        assert_eq!(found[0].entries, [id(1), id(2)]);
        assert!(found[0].says.starts_with("not counted yet: 2 entries."), "{}", found[0].says);
        let accepted = format!("{}!waiting", id(1));
        let record = day_with(&[], &[(&accepted, &[r#"{"v":true}"#])]);
        assert_eq!(set_aside(&Ground::of(&record, &RawClocks), &aside).len(), 2);
        assert!(set_aside(&Ground::of(&record, &RawClocks), &[]).is_empty());
    }
}
