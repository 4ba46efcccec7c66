//! Merging is commutative, associative and idempotent: devices that hold the same changes hold the same day, whatever the order, the grouping, the
//! repetition or the route in which packs came.

use firnbook_core::day::Record;
use firnbook_core::entry::EntryId;
use firnbook_tests::{Phone, map};
use proptest::prelude::*;
use serde_json::json;

/// What a device does next; numbers choose among what is possible then.
#[derive(Clone, Debug)]
enum Act {
    Strike { device: usize, target: u8, depth_cm: u32, after_ms: i64 },
    Moment { device: usize, step: u8, after_ms: i64 },
    Declare { device: usize, slope_deg: u8 },
    Amend { device: usize, entry: usize, depth_cm: u32 },
    Void { device: usize, entry: usize },
    Restore { device: usize, entry: usize },
    Same { device: usize, one: usize, other: usize, same: bool },
    Carry { from: usize, to: usize },
    Reopen { device: usize },
}

fn act() -> impl Strategy<Value = Act> {
    let n = 0..6_usize;
    let e = 0..64_usize;
    prop_oneof![
        4 => (n.clone(), 0..3_u8, 20..200_u32, 0..40_000_i64).prop_map(|(device, target, depth_cm, after_ms)| Act::Strike { device, target, depth_cm, after_ms }),
        3 => (n.clone(), 0..6_u8, 0..40_000_i64).prop_map(|(device, step, after_ms)| Act::Moment { device, step, after_ms }),
        1 => (n.clone(), 20..40_u8).prop_map(|(device, slope_deg)| Act::Declare { device, slope_deg }),
        3 => (n.clone(), e.clone(), 20..200_u32).prop_map(|(device, entry, depth_cm)| Act::Amend { device, entry, depth_cm }),
        1 => (n.clone(), e.clone()).prop_map(|(device, entry)| Act::Void { device, entry }),
        1 => (n.clone(), e.clone()).prop_map(|(device, entry)| Act::Restore { device, entry }),
        1 => (n.clone(), e.clone(), e, any::<bool>()).prop_map(|(device, one, other, same)| Act::Same { device, one, other, same }),
        4 => (n.clone(), n.clone()).prop_map(|(from, to)| Act::Carry { from, to }),
        1 => n.prop_map(|device| Act::Reopen { device }),
    ]
}

/// The entry that a number chooses, of those the device knows.
fn chosen(phone: &Phone, n: usize) -> Option<EntryId> {
    let record = phone.book.record(phone.day).unwrap();
    (!record.entries.is_empty()).then(|| record.entries[n % record.entries.len()].id)
}

fn play(phones: &mut [Phone], act: &Act) {
    let count = phones.len();
    match *act {
        Act::Strike { device, target, depth_cm, after_ms } => {
            let phone = &mut phones[device % count];
            phone.clock.forward_ms(after_ms);
            let target = ["A", "B", "a "][target as usize];
            phone.write(json!({ "kind": "strike", "drill": "1", "target": target, "depth_cm": depth_cm, "outcome": "hit" }));
        }
        Act::Moment { device, step, after_ms } => {
            let phone = &mut phones[device % count];
            phone.clock.forward_ms(after_ms);
            let step = ["start", "signal", "coarse", "fine", "strike", "airway"][step as usize];
            phone.write(json!({ "kind": "moment", "drill": "1", "target": "A", "step": step }));
        }
        Act::Declare { device, slope_deg } => {
            phones[device % count]
                .write(json!({ "kind": "drill", "label": "1", "slope_deg": slope_deg, "team": "Red" }));
        }
        Act::Amend { device, entry, depth_cm } => {
            let phone = &mut phones[device % count];
            let Some(id) = chosen(phone, entry) else { return };
            // Refused for void entries and kinds without the field; that is as it should be.
            let _ = phone.book.amend(&[(phone.day, id)], &map(json!({ "depth_cm": depth_cm })), &phone.name);
        }
        Act::Void { device, entry } | Act::Restore { device, entry } => {
            let phone = &mut phones[device % count];
            let Some(id) = chosen(phone, entry) else { return };
            let reason = matches!(act, Act::Void { .. }).then_some("struck out");
            phone.book.void(&[(phone.day, id)], reason, &phone.name).unwrap();
        }
        Act::Same { device, one, other, same } => {
            let phone = &mut phones[device % count];
            let (Some(one), Some(other)) = (chosen(phone, one), chosen(phone, other)) else { return };
            if one != other {
                phone.book.call_same(phone.day, one, other, same, &phone.name).unwrap();
            }
        }
        Act::Carry { from, to } => {
            let pack = phones[from % count].pack();
            phones[to % count].book.merge(&pack, false).unwrap();
        }
        Act::Reopen { device } => {
            let phone = &mut phones[device % count];
            phone.book = phone.open_again();
        }
    }
}

/// What a device holds, in every way a user can see it.
fn seen(phone: &Phone) -> (Record, Vec<String>, String) {
    let record = phone.book.record(phone.day).unwrap();
    let heads = phone.book.day(phone.day).unwrap().heads;
    let answers = format!("{:?}\n{:?}", phone.book.review(phone.day).unwrap(), phone.book.kit().unwrap());
    (record, heads, answers)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, max_shrink_iters: 200, ..ProptestConfig::default() })]

    #[test]
    fn any_order_grouping_repetition_and_route_gives_one_day(
        devices in 2..=6_usize,
        acts in prop::collection::vec(act(), 1..40),
        route in prop::collection::vec((0..6_usize, 0..6_usize), 0..12),
        order in any::<prop::sample::Index>(),
    ) {
        let mut phones: Vec<Phone> = (0..devices).map(|n| Phone::new(&format!("Obs{n}"))).collect();
        for act in &acts {
            play(&mut phones, act);
        }
        // One base takes every pack as it stands now, in one order, twice.
        let packs: Vec<Vec<u8>> = phones.iter().map(Phone::pack).collect();
        let mut base = Phone::bare("Base");
        for pack in packs.iter().chain(&packs) {
            base.book.merge(pack, false).unwrap();
        }
        // Another takes them in another order, some of them by way of other phones.
        let mut other = Phone::bare("Base");
        for (from, to) in &route {
            let pack = phones[from % devices].pack();
            phones[to % devices].book.merge(&pack, false).unwrap();
        }
        let first = order.index(devices);
        for n in (0..devices).rev() {
            let pack = phones[(first + n) % devices].pack();
            other.book.merge(&pack, false).unwrap();
        }
        prop_assert_eq!(seen(&base), seen(&other));
        // And a phone that takes from the base has the same.
        phones[0].merge(&base);
        prop_assert_eq!(seen(&base), seen(&phones[0]));
        for phone in phones.iter().chain([&base, &other]) {
            let verified = phone.book.verify().unwrap();
            prop_assert!(verified.iter().all(|d| d.rows_equal), "{:?}", verified);
        }
        // Rows made anew are the rows that were there.
        let before = seen(&base);
        base.book.rebuild().unwrap();
        prop_assert_eq!(before, seen(&base));
    }
}
