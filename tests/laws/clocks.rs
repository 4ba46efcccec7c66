//! Clocks: one time line whatever the order of merging; a clock that is off, or moved in the middle of the day, changes no corrected duration
//! by more than is said.

use firnbook_core::clock::Source;
use firnbook_core::logbook::Ask;
use firnbook_tests::Phone;
use proptest::prelude::*;
use serde_json::json;

/// Three phones at one drill; phone `n` is `ahead_ms[n]` ahead and presses `late_ms` after the event, each in its turn. With `mark`, all press one first.
/// Phone 1's clock is set by `jump_ms` between start and signal.
fn day(ahead_ms: [i64; 3], late_ms: &[i64], mark: bool, jump_ms: i64) -> Vec<Phone> {
    let mut phones: Vec<Phone> = ["Lead", "Obs1", "Obs2"].map(Phone::new).into();
    let mut late = late_ms.iter().copied().cycle();
    for (n, phone) in phones.iter_mut().enumerate() {
        phone.clock.set_by_ms(ahead_ms[n]);
        let mut at = 0;
        let mut press = |phone: &mut Phone, true_ms: i64, entry: serde_json::Value| {
            let then = true_ms + late.next().unwrap();
            phone.clock.forward_ms(then - at);
            at = then;
            phone.write(entry);
        };
        if mark {
            press(phone, 60_000, json!({"kind": "clock_mark", "label": "morning"}));
        }
        let moment = |step: &str| json!({"kind": "moment", "drill": "1", "target": "A", "step": step});
        press(phone, 120_000, json!({"kind": "moment", "drill": "1", "step": "start"}));
        if n == 1 && jump_ms != 0 {
            phone.clock.set_by_ms(jump_ms);
            press(phone, 130_000, json!({"kind": "clock_mark", "label": "after"}));
        } else {
            press(phone, 130_000, json!({"kind": "clock_mark", "label": "after"}));
        }
        press(phone, 165_000, moment("signal"));
        press(phone, 220_000, moment("strike"));
    }
    phones
}

/// The first phone with all days merged, in this order.
fn merged(phones: Vec<Phone>, last_first: bool) -> Phone {
    let mut phones = phones.into_iter();
    let mut base = phones.next().unwrap();
    let mut others: Vec<Phone> = phones.collect();
    if last_first {
        others.reverse();
        let (first, rest) = others.split_at_mut(1);
        first[0].merge(&rest[0]);
    }
    others.iter().for_each(|other| base.merge(other));
    base
}

/// Of the only target: signal and strike in s from start, and the half width that is said.
fn told(phone: &Phone) -> (f64, f64, f64) {
    let debrief = phone.book.debrief(phone.day, &Ask::default()).unwrap();
    let line = &debrief.drills[0].targets[0].times;
    (line.t_signal_s.unwrap(), line.t_strike_s.unwrap(), line.uncertainty_s.unwrap())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, ..ProptestConfig::default() })]

    #[test]
    fn any_order_of_merging_gives_the_same_clocks(
        ahead in prop::array::uniform3(-5_000_i64..5_000), late in prop::collection::vec(0_i64..1_000, 5), mark: bool,
    ) {
        // One history, merged by two routes: the packs are the same bytes.
        let phones = day(ahead, &late, mark, 0);
        let mut other = Phone::bare("Base");
        for phone in phones.iter().rev() {
            other.merge(phone);
        }
        let one = merged(phones, true);
        let clocks = one.book.clocks(one.day).unwrap();
        prop_assert!(clocks.corrected);
        prop_assert_eq!(&clocks, &other.book.clocks(one.day).unwrap());
        prop_assert_eq!(one.book.review(one.day).unwrap(), other.book.review(one.day).unwrap());
    }

    #[test]
    fn a_clock_that_is_off_changes_no_duration_by_more_than_is_said(
        off in prop_oneof![-20_000_i64..20_000, Just(3_600_000), Just(-3_600_000), Just(-40_000_000)],
        late in prop::collection::vec(0_i64..900, 5), mark: bool, jump in prop_oneof![Just(0_i64), Just(3_600_000), Just(-7_000)],
    ) {
        let (signal, strike, width) = told(&merged(day([0, 0, 0], &late, mark, 0), false));
        let (signal_off, strike_off, width_off) = told(&merged(day([0, off, -off / 3], &late, mark, jump), false));
        prop_assert!((signal - signal_off).abs() <= width.max(width_off), "signal {signal} and {signal_off} ± {width_off}");
        prop_assert!((strike - strike_off).abs() <= width.max(width_off), "strike {strike} and {strike_off} ± {width_off}");
        // And both lie where the truth does: presses are at most 0.9 s late.
        prop_assert!((signal_off - 45.0).abs() <= 0.9 + width_off && (strike_off - 100.0).abs() <= 0.9 + width_off);
    }
}

#[test]
fn a_clock_that_is_moved_goes_on_as_another_one_by_itself() {
    let mut phone = Phone::new("Obs1");
    let note = || json!({"kind": "note", "note": "x"});
    let clock_of = |phone: &Phone, id| {
        phone.book.record(phone.day).unwrap().entries.into_iter().find(|n| n.id == id).unwrap().at_clock.clock
    };
    let first = phone.write(note());
    phone.clock.forward_ms(7_200_000);
    let later = phone.write(note());
    phone.clock.set_by_ms(900);
    let nudged = phone.write(note());
    phone.clock.set_by_ms(3_600_000);
    let moved = phone.write(note());
    phone.book.amend(&[(phone.day, moved)], &firnbook_tests::map(json!({"note": "y"})), "Obs1").unwrap();
    assert_eq!([first, later, nudged, moved].map(|id| clock_of(&phone, id)), ["", "", "", "2"]);
    let mut again = phone.open_again();
    let back = firnbook_core::logbook::Draft { json: firnbook_tests::map(note()), line: None };
    phone.clock.set_by_ms(-3_600_900);
    let id = again.log(phone.day, "Obs1", vec![back], false).unwrap().ids[0];
    assert_eq!(clock_of(&phone, id), "3");
    let clocks = phone.book.clocks(phone.day).unwrap().clocks;
    let told: Vec<(&str, Source)> = clocks.iter().map(|c| (c.clock.as_str(), c.from)).collect();
    assert_eq!(told, [("1", Source::Base), ("2", Source::None), ("3", Source::None)]);
}

#[test]
fn another_time_zone_is_no_jump() {
    use firnbook_core::clock::{Clock, SinceBoot};
    use firnbook_core::entry::Time;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicI64, Ordering};
    struct Zoned(Arc<AtomicI64>, Arc<AtomicI64>);
    impl Clock for Zoned {
        fn now(&self) -> Time {
            let zone = i32::try_from(self.1.load(Ordering::SeqCst)).unwrap();
            Time::from_millis(self.0.load(Ordering::SeqCst), zone).unwrap()
        }
        fn since_boot(&self) -> Option<SinceBoot> {
            Some(SinceBoot { ms: self.0.load(Ordering::SeqCst) - 1_801_900_000_000, boot: None })
        }
    }
    let folder = tempfile::tempdir().unwrap();
    let (ms, zone) = (Arc::new(AtomicI64::new(1_801_904_400_000)), Arc::new(AtomicI64::new(60)));
    let clock = Zoned(ms.clone(), zone.clone());
    let mut book = firnbook_core::logbook::Logbook::open(&folder.path().join("s"), Box::new(clock)).unwrap();
    let day = book.begin_day(firnbook_tests::date(), "Upper Bowl", "Obs1").unwrap().day;
    for minutes in [60, 120, 0] {
        zone.store(minutes, Ordering::SeqCst);
        ms.fetch_add(60_000, Ordering::SeqCst);
        let draft = firnbook_core::logbook::Draft {
            json: firnbook_tests::map(json!({"kind": "note", "note": "x"})),
            line: None,
        };
        book.log(day, "Obs1", vec![draft], false).unwrap();
    }
    assert!(book.record(day).unwrap().entries.iter().all(|n| n.at_clock.clock.is_empty()));
}
