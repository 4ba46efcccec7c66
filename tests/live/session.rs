//! Sessions by themselves: what moves, how much, and that nothing is lost or doubled wherever they are cut.

use super::link::{Cut, WHOLE, assert_equal, host, join, talk};
use firnbook_core::exchange::wire::{Changes, Days, Frame, Hello, Kept, PROTOCOL, Stamp};
use firnbook_core::exchange::{Peer, Role, Session};
use firnbook_core::logbook::Draft;
use firnbook_tests::rogue::{Rogue, body};
use firnbook_tests::{Phone, date, map, strike};
use serde_bytes::{ByteArray, ByteBuf};
use serde_json::json;

/// Two phones that have met and then each wrote something of their own.
fn apart() -> (Phone, Phone) {
    let (mut a, mut b) = (Phone::new("Obs1"), Phone::new("Base"));
    for n in 0..4 {
        a.write(strike(60 + n));
    }
    b.merge(&a);
    a.merge(&b);
    for n in 0..5 {
        a.write(strike(100 + n));
        b.write(strike(200 + n));
    }
    (a, b)
}

fn many(phone: &mut Phone, from: u32, count: u32) {
    let drafts = (from..from + count).map(|n| Draft {
        json: map(
            json!({ "kind": "strike", "drill": format!("{}", n % 6), "target": "A", "depth_cm": 40 + n % 150,
            "outcome": "hit", "note": format!("hole {n} of the third line") }),
        ),
        line: None,
    });
    phone.book.log(phone.day, &phone.name.clone(), drafts.collect(), false).unwrap();
}

#[test]
fn both_have_everything_afterwards() {
    let (a, b) = apart();
    let talked = talk(&host(&a), &host(&b), WHOLE, usize::MAX);
    let (caller, base) = (talked.caller.unwrap(), talked.base.unwrap());
    assert_equal(&a, &b);
    assert_eq!((caller.received, base.received), (5, 5));
    assert_eq!((caller.sent, base.sent), (base.received, caller.received));
    assert_eq!((caller.new_entries, base.new_entries), (5, 5));
    assert_eq!(caller.days, [a.day]);
    assert_eq!(base.peer_label, "Obs1");
    assert!(caller.clock.is_some_and(|c| c.offset_ms == 0.0) && base.clock.is_some());
}

#[test]
fn a_byte_at_a_time_does_as_well() {
    let (a, b) = apart();
    let talked = talk(&host(&a), &host(&b), WHOLE, 1);
    talked.caller.unwrap();
    talked.base.unwrap();
    assert_equal(&a, &b);
}

#[test]
fn equal_stores_say_so_in_two_frames_each_and_less_than_200_bytes_a_day() {
    let mut a = Phone::bare("Obs1");
    let b = Phone::bare("Base");
    let days = 100;
    for n in 0..days {
        let day = date() + chrono::Days::new(n);
        a.book.begin_day(day, "Upper Bowl", "Obs1").unwrap();
    }
    let (one, other) = (host(&a), host(&b));
    talk(&one, &other, WHOLE, usize::MAX).caller.unwrap();
    let talked = talk(&one, &other, WHOLE, usize::MAX);
    assert_eq!(talked.frames, [2, 2]);
    assert!(talked.out < 200 * 100 && talked.back < 200 * 100, "{} and {} bytes", talked.out, talked.back);
    let report = talked.base.unwrap();
    assert_eq!((report.days.len(), report.sent, report.received), (0, 0, 0));
    assert!(talked.caller.unwrap().clock.is_some());
}

#[test]
fn a_day_that_one_lacks_comes_whole() {
    let mut a = Phone::new("Obs1");
    many(&mut a, 0, 300);
    let b = Phone::bare("Base");
    let talked = talk(&host(&a), &host(&b), WHOLE, usize::MAX);
    assert_eq!(talked.base.unwrap().new_entries, 300);
    talked.caller.unwrap();
    assert_equal(&a, &b);
}

#[test]
fn a_large_change_goes_in_pieces() {
    let (mut a, b) = apart();
    many(&mut a, 0, 2_000);
    let talked = talk(&host(&a), &host(&b), WHOLE, usize::MAX);
    assert!(talked.frames[0] > 5, "{:?}", talked.frames);
    talked.caller.unwrap();
    talked.base.unwrap();
    assert_equal(&a, &b);
}

#[test]
fn a_cut_at_any_byte_loses_and_doubles_nothing() {
    let (mut a, mut b) = apart();
    let (one, other) = (host(&a), host(&b));
    let whole = talk(&one, &other, WHOLE, usize::MAX);
    let cuts = (0..=whole.out).map(|out| Cut { out, back: usize::MAX });
    let cuts = cuts.chain((0..=whole.back).map(|back| Cut { out: usize::MAX, back }));
    let mut cut_after_keeping = 0;
    for (i, cut) in cuts.enumerate() {
        a.write(strike(60 + i as u32 % 100));
        b.write(strike(60 + i as u32 % 100));
        let all = a.book.days().unwrap()[0].entries + 1;
        let first = talk(&one, &other, cut, usize::MAX);
        let held = [&a, &b].map(|p| p.book.days().unwrap()[0].entries);
        cut_after_keeping += usize::from(first.caller.is_err() && held.contains(&all));
        // A caller that heard the end does not call again, so base must know that this was it.
        assert!(first.caller.is_err() || first.base.is_ok(), "{cut:?}");
        let again = talk(&one, &other, WHOLE, usize::MAX);
        // What was kept is not sent again.
        let (caller, base) = (again.caller.unwrap(), again.base.unwrap());
        assert_eq!([caller.new_entries, base.new_entries], [all - held[0], all - held[1]], "{cut:?}");
        assert_eq!(a.book.day(a.day).unwrap().heads, b.book.day(b.day).unwrap().heads, "{cut:?}");
    }
    assert!(cut_after_keeping > 100, "{cut_after_keeping} cuts came between keeping and the end");
    assert_equal(&a, &b);
}

#[test]
fn a_link_that_is_cut_every_three_kilobytes_gets_on() {
    let (mut a, mut b) = (Phone::new("Obs1"), Phone::new("Base"));
    b.merge(&a);
    many(&mut a, 0, 400);
    for n in 0..60 {
        a.write(strike(20 + n));
        b.write(strike(120 + n));
    }
    let day = date().succ_opt().unwrap();
    a.book.begin_day(day, "Lower Bowl", "Obs1").unwrap();
    let (one, other) = (host(&a), host(&b));
    let mut tries = 0;
    loop {
        tries += 1;
        assert!(tries < 60, "not done after {tries} tries");
        let talked = talk(&one, &other, Cut { out: 3_000, back: 3_000 }, usize::MAX);
        if talked.caller.is_ok() && talked.base.is_ok() {
            break;
        }
    }
    assert_equal(&a, &b);
}

#[test]
fn numbers_that_the_other_side_only_claims_may_be_any() {
    let (a, b) = apart();
    let (day, base) = (ByteArray::new(b.day.0), host(&b));
    let mut session = Session::new(&base, Role::Base, Peer::Cable).unwrap();
    let hello = Hello {
        v: PROTOCOL,
        device: ByteArray::new(a.book.device().0),
        label: String::new(),
        clock: 1,
        crew: None,
        roster: None,
        join: None,
        old_key: false,
        stamp: Stamp { sent: 0, echo: None },
    };
    let begun = [1, 2].map(|n| (ByteArray::new([n; 32]), u64::MAX)).into();
    let days = Days { days: vec![(day, ByteArray::new([0; 16]))], begun, ..Days::default() };
    let kept = [u64::MAX, 0, u64::MAX].map(|changes| Frame::Kept(Kept { day, changes, complete: false }));
    let changes = Changes { day, changes: vec![ByteBuf::from(b"none")], left: u64::MAX };
    for frame in
        [Frame::Hello(hello), Frame::Days(days)].into_iter().chain(kept).chain([Frame::Changes(changes)])
    {
        session.incoming(&frame.encode());
        while session.outgoing().is_some() {}
    }
    let progress = session.progress();
    assert_eq!([progress.begun_there, progress.to_receive, session.so_far().sent], [u64::MAX; 3]);
    let mut sum = session.so_far().clone();
    sum.add(session.so_far().clone());
    assert_eq!(sum.sent, u64::MAX);
    talk(&host(&a), &base, WHOLE, usize::MAX).caller.unwrap();
    assert_equal(&a, &b);
}

#[test]
fn one_who_writes_meanwhile_is_not_disturbed() {
    let (a, mut b) = apart();
    let (one, other) = (host(&a), host(&b));
    let cut = talk(&one, &other, Cut { out: 700, back: usize::MAX }, usize::MAX);
    assert!(cut.base.is_err());
    b.write(strike(250));
    talk(&one, &other, WHOLE, 100).caller.unwrap();
    assert_equal(&a, &b);
}

#[test]
fn a_clock_that_lost_its_battery_is_noted_and_one_of_another_age_stops_nobody() {
    const YEAR_MS: i64 = 31_557_600_000;
    for (years, noted) in [(-57, 1), (60, 1), (-120, 0), (120, 0)] {
        let (mut a, mut b) = apart();
        a.clock.set_by_ms(years * YEAR_MS);
        a.write(strike(90));
        let report = talk(&host(&a), &host(&b), WHOLE, usize::MAX).base.unwrap();
        assert_eq!(b.book.note_clock(&report, "Base").unwrap(), noted, "{years} years");
    }
}

#[test]
fn a_session_says_which_of_its_clocks_a_device_reads() {
    let (mut a, mut b) = apart();
    let base_clock = b.clock.clone();
    let mut met = |a: &Phone| {
        let report = talk(&host(a), &host(&b), WHOLE, usize::MAX).base.unwrap();
        b.book.note_clock(&report, "Base").unwrap();
        (report.peer_clock, report.clock.unwrap().offset_ms)
    };
    assert_eq!(met(&a), (1, 0.0));
    // Set by hand, three hours back: another clock from now on, however often they meet.
    a.clock.set_by_ms(-10_800_000);
    assert_eq!(met(&a), (2, 10_800_000.0));
    a.write(strike(90));
    assert_eq!(met(&a), (2, 10_800_000.0));
    // Time that merely goes by makes no other clock of it.
    a.clock.forward_ms(60_000);
    base_clock.forward_ms(60_000);
    a.write(strike(91));
    assert_eq!(met(&a), (2, 10_800_000.0));
    a.clock.set_by_ms(1_500);
    a.write(strike(92));
    assert_eq!(met(&a), (3, 10_798_500.0));
    let clocks = b.book.clocks(b.day).unwrap().clocks;
    let of_a = clocks.iter().filter(|c| c.device == Some(a.book.device()));
    let told: Vec<_> = of_a.map(|c| (c.clock.as_str(), c.offset_ms)).collect();
    assert_eq!(told, [("1", Some(0.0)), ("2", Some(10_800_000.0)), ("3", Some(10_798_500.0))]);
}

#[test]
fn a_session_that_is_cut_tells_of_the_clock_as_well() {
    let (a, b) = apart();
    a.clock.set_by_ms(-7_100);
    let mut joined = join(&host(&a), &host(&b));
    while joined.base.so_far().received == 0 {
        assert!(joined.step());
    }
    let so_far = joined.base.so_far();
    assert_eq!(so_far.days_received, [b.day]);
    assert_eq!(so_far.clock.map(|c| c.offset_ms), Some(7_100.0));
}

#[test]
fn two_lines_of_one_key_meet_in_a_session_and_both_sides_withdraw_them() {
    let (mut a, b) = apart();
    let other_day = date().succ_opt().unwrap();
    let fine = a.book.begin_day(other_day, "Lower Bowl", "Obs1").unwrap().day;
    let rogue = Rogue::new(7);
    let one = rogue.change(1, None, &[body(1, 100)]);
    let lines = [body(2, 110), body(3, 120)].map(|b| rogue.change(2, Some(&one), &[b]));
    for (phone, line) in [(&a, &lines[0]), (&b, &lines[1])] {
        let pack = rogue.pack(vec![one.clone(), line.clone()], vec![rogue.cover(&[line])], vec![]);
        phone.open_again().merge(&pack, false).unwrap();
    }
    let (mut sessions, mut equal) = (0, false);
    while !equal {
        sessions += 1;
        assert!(sessions < 4, "they never agree");
        let talked = talk(&host(&a), &host(&b), WHOLE, usize::MAX);
        let (caller, base) = (talked.caller.unwrap(), talked.base.unwrap());
        assert!(caller.refused.is_empty() && base.refused.is_empty(), "{:?}", caller.refused);
        assert!(sessions > 1 || base.days.contains(&fine));
        equal = caller.days.is_empty();
    }
    for phone in [&a, &b] {
        let row = phone.book.days().unwrap().into_iter().find(|d| d.id == a.day).unwrap();
        assert_eq!(row.withdrawn, 2);
        assert!(phone.book.verify().unwrap().iter().all(|d| d.rows_equal));
    }
    assert_eq!(a.book.record(a.day).unwrap(), b.book.record(b.day).unwrap());
}

#[test]
fn a_hundred_entries_into_ten_thousand_take_three_round_trips_and_no_document() {
    let (mut a, b) = (Phone::new("Obs1"), Phone::new("Base"));
    for part in 0..10 {
        many(&mut a, part * 990, 990);
    }
    for n in 0..100 {
        a.write(strike(40 + n));
    }
    let (one, other) = (host(&a), host(&b));
    talk(&one, &other, WHOLE, usize::MAX).caller.unwrap();
    assert_eq!(b.book.day(b.day).unwrap().entries, 10_000);
    for n in 0..100 {
        a.write(strike(40 + n));
    }
    // Whoever puts the day together at base from now on finds most of it unreadable.
    let conn = rusqlite::Connection::open(b.path()).unwrap();
    let spoilt = "UPDATE change SET bytes = zeroblob(length(bytes)) WHERE length(bytes) > 10000";
    assert_eq!(conn.execute(spoilt, []).unwrap(), 10);
    assert!(b.book.pack(&[b.day]).is_err());
    let mut joined = join(&one, &other);
    let mut trips = 0;
    // All that is ready goes at once, as it does on a link with delay; what comes after the last entry is kept are clocks.
    while joined.base.so_far().new_entries < 100 || joined.caller.so_far().sent == 0 {
        trips += 1;
        let moved = joined.turn();
        assert!(moved, "not done after {trips} round trips: {:?}", joined.base.outcome());
    }
    assert!(trips <= 3, "{trips} round trips");
    while joined.turn() {}
    assert_eq!(joined.base.outcome().unwrap().new_entries, 100);
    joined.caller.outcome().unwrap();
    assert_eq!(b.book.day(b.day).unwrap().entries, 10_100);
}
