//! Histories and who may write them: restored backups, copied stores, forged and forked changes, a newer program's day.

use firnbook_core::day::format::encode;
use firnbook_core::day::{Actor, Change, DayId, History, Record};
use firnbook_core::logbook::{Logbook, LogbookError};
use firnbook_tests::rogue::{Rogue, body, change, first, ulid};
use firnbook_tests::{Phone, TestClock, content, map, strike};
use serde_json::{Value, json};
use std::path::Path;

/// Copies a store that no process has open, with its device file: a backup, or a second laptop made from the first.
fn copy_store(from: &Path, to: &Path) {
    for ending in ["", ".device", "-wal"] {
        let name = |path: &Path| format!("{}{ending}", path.display());
        if Path::new(&name(from)).exists() {
            std::fs::copy(name(from), name(to)).unwrap();
        }
    }
}

fn ids(book: &Logbook, day: DayId) -> Vec<String> {
    book.record(day).unwrap().entries.iter().map(|e| e.id.to_string()).collect()
}

#[test]
fn a_restored_backup_and_a_copied_store_meet_the_team_in_every_order() {
    let mut a = Phone::new("Obs1");
    a.write(strike(100));
    let backup = tempfile::tempdir().unwrap();
    let old = backup.path().join("store.firnbook");
    let path = a.path();
    copy_store(&path, &old);
    // The team got more from the first life of the store; then the phone fell into the snow.
    a.write(strike(110));
    a.book
        .amend(
            &[(a.day, a.book.record(a.day).unwrap().entries[0].id)],
            &map(json!({ "depth_cm": 101 })),
            "Obs1",
        )
        .unwrap();
    let first_life = a.pack();
    let mut restored = Logbook::open(&old, Box::new(TestClock::new())).unwrap();
    assert_eq!(restored.device(), a.book.device());
    let second = backup.path().join("second.firnbook");
    copy_store(&old, &second);
    let mut copied = Logbook::open(&second, Box::new(TestClock::new())).unwrap();
    for (book, depth) in [(&mut restored, 120), (&mut copied, 130)] {
        let draft = firnbook_core::logbook::Draft { json: map(strike(depth)), line: None };
        book.log(a.day, "Obs1", vec![draft], false).unwrap();
    }
    let packs = [first_life, restored.pack(&[a.day]).unwrap().bytes, copied.pack(&[a.day]).unwrap().bytes];
    let mut seen = Vec::new();
    for order in [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]] {
        let mut base = Phone::bare("Base");
        for n in order {
            base.book.merge(&packs[n], false).unwrap();
        }
        assert!(base.book.verify().unwrap()[0].rows_equal);
        seen.push(base.book.record(base.day).unwrap());
    }
    assert_eq!(seen[0].entries.len(), 4);
    assert!(seen.windows(2).all(|pair| pair[0] == pair[1]));
    restored.merge(&packs[0], false).unwrap();
    restored.merge(&packs[2], false).unwrap();
    assert_eq!(ids(&restored, a.day).len(), 4);
}

/// What every base says that merged these packs, in each of these orders; they must agree and hold together.
fn agreed(packs: &[&[u8]], orders: &[&[usize]]) -> (Phone, Record) {
    let mut seen: Vec<(Phone, Record)> = Vec::new();
    for order in orders {
        let mut base = Phone::bare("Base");
        for n in *order {
            base.book.merge(packs[*n], false).unwrap();
        }
        let verified = base.book.verify().unwrap();
        assert!(verified[0].rows_equal, "{order:?}: {verified:?}");
        let record = base.book.record(base.day).unwrap();
        seen.push((base, record));
    }
    assert!(seen.windows(2).all(|pair| pair[0].1 == pair[1].1), "the orders {orders:?} differ");
    seen.pop().unwrap()
}

/// All orders of two and of three.
const TWO: [&[usize]; 2] = [&[0, 1], &[1, 0]];
const THREE: [&[usize]; 6] = [&[0, 1, 2], &[0, 2, 1], &[1, 0, 2], &[1, 2, 0], &[2, 0, 1], &[2, 1, 0]];

#[test]
fn a_guest_who_claims_a_devices_place_keeps_nobody_out_whoever_comes_first() {
    let mut a = Phone::new("Obs1");
    a.write(strike(100));
    a.write(strike(120));
    let real = a.pack();
    let entries: Vec<Change> = content(&real).changes;
    let claimed = entries.iter().find(|c| Actor(c.actor).history() == History::Entries).unwrap();
    // The same writer and number with another content, signed by the guest's own key, and a good entry of the guest beside it.
    let guest = Rogue::new(7);
    let forged = change(Actor(claimed.actor), 1, None, &[body(1, 999)]);
    let own = guest.change(1, None, &[body(2, 50)]);
    let pack = guest.pack(vec![own.clone(), forged.clone()], vec![guest.cover(&[&own, &forged])], vec![]);
    let (base, record) = agreed(&[&real, &pack], &TWO);
    let by = |depth: u32| record.entries.iter().find(|e| e.json["depth_cm"] == depth).map(|e| e.device);
    assert_eq!([by(100), by(120)], [Some(a.book.device()); 2]);
    assert_eq!((by(50), record.entries.len()), (Some(guest.device()), 3));
    assert_eq!(
        base.book.days().unwrap()[0].waiting,
        1,
        "the forged one waits for a signature that never comes"
    );
    assert_eq!(base.book.entries_aside(base.day).unwrap()[0].json["depth_cm"], 999);
    // Handed on, it waits there too, and the device itself takes no harm from it.
    let (_, again) = agreed(&[&base.pack(), &real], &TWO);
    assert_eq!(again, record);
    a.book.merge(&base.pack(), false).unwrap();
    a.write(strike(130));
    assert!(a.book.verify().unwrap()[0].rows_equal);
}

#[test]
fn a_key_that_signs_two_changes_for_one_place_withdraws_them_everywhere_and_nobody_elses() {
    let rogue = Rogue::new(7);
    let one = rogue.change(1, None, &[body(1, 100)]);
    let two = rogue.change(2, Some(&one), &[body(2, 110)]);
    let (left, right) =
        (rogue.change(3, Some(&two), &[body(3, 120)]), rogue.change(3, Some(&two), &[body(4, 130)]));
    let after = rogue.change(4, Some(&left), &[body(5, 140)]);
    let packs = [
        rogue.pack(
            vec![one.clone(), two.clone(), left.clone(), after.clone()],
            vec![rogue.cover(&[&after])],
            vec![],
        ),
        rogue.pack(vec![one.clone(), two.clone(), right.clone()], vec![rogue.cover(&[&right])], vec![]),
    ];
    // An honest phone has amended what is withdrawn later, and written beside it.
    let mut honest = Phone::new("Obs1");
    honest.book.merge(&packs[0], false).unwrap();
    let id = ulid(3).parse().unwrap();
    honest.book.amend(&[(honest.day, id)], &map(json!({ "depth_cm": 121 })), "Obs1").unwrap();
    honest.write(strike(90));
    let packs = [&packs[0][..], &packs[1], &honest.pack()];
    let (mut base, record) = agreed(&packs, &THREE);
    let mut depths: Vec<u64> = record.entries.iter().map(|e| e.json["depth_cm"].as_u64().unwrap()).collect();
    depths.sort_unstable();
    assert_eq!(depths, [90, 100, 110], "up to the fork the key is believed");
    let row = &base.book.days().unwrap()[0];
    assert_eq!((row.waiting, row.withdrawn), (0, 3));
    // A base that saw both hands the proof on to one that saw one line only.
    let mut other = Phone::bare("Other");
    other.book.merge(packs[0], false).unwrap();
    assert_eq!(other.book.record(other.day).unwrap().entries.len(), 4);
    other.book.merge(&base.pack(), false).unwrap();
    assert_eq!(other.book.record(other.day).unwrap(), record);
    // A person takes an entry over: the same text, under the own key, and the claimed device stays named.
    let aside = base.book.entries_aside(base.day).unwrap();
    assert_eq!(aside.iter().map(|e| e.withdrawn).collect::<Vec<_>>(), [true; 3]);
    base.book.adopt(base.day, &[id], "Base").unwrap();
    let adopted = base.book.record(base.day).unwrap();
    let entry = adopted.entries.iter().find(|e| e.id == id).unwrap();
    assert_eq!(
        (entry.device, &entry.json["depth_cm"]),
        (base.book.device(), &json!(121)),
        "the amendment counts again"
    );
    let history = base.book.history(base.day, id).unwrap();
    let step = history.iter().find(|s| s.field == "adopted").unwrap();
    assert_eq!(step.v["device"], json!(rogue.device()));
    let again = base.book.adopt(base.day, &[id], "Base");
    assert!(matches!(again, Err(LogbookError::NotWithdrawn(_))));
    let strike = record.entries[0].id;
    assert!(matches!(base.book.adopt(base.day, &[strike], "Base"), Err(LogbookError::NotWithdrawn(_))));
    assert!(base.book.verify().unwrap()[0].rows_equal);
}

#[test]
fn a_device_whose_history_was_forked_by_a_copy_of_its_memory_goes_on_writing() {
    // A machine that was suspended with the program open, and two copies of it woken: the only way to one opening twice.
    let mut a = Phone::new("Obs1");
    a.write(strike(100));
    let held = content(&a.pack());
    let last = held.changes.iter().find(|c| Actor(c.actor).history() == History::Entries).unwrap();
    let file: Value =
        serde_json::from_slice(&std::fs::read(format!("{}.device", a.path().display())).unwrap()).unwrap();
    let key: [u8; 32] = firnbook_core::crew::unhex(file["key"].as_str().unwrap()).unwrap();
    let copy = Rogue { key: ed25519_dalek::SigningKey::from_bytes(&key), opening: [0; 8] };
    a.write(strike(110));
    let other_life = change(Actor(last.actor), 2, Some(last), &[body(1, 200)]);
    let pack = copy.pack(vec![last.clone(), other_life.clone()], vec![copy.cover(&[&other_life])], vec![]);
    a.book.merge(&pack, false).unwrap();
    let depths = |a: &Phone| -> Vec<u64> {
        let entries = a.book.record(a.day).unwrap().entries;
        let mut depths: Vec<u64> = entries.iter().map(|e| e.json["depth_cm"].as_u64().unwrap()).collect();
        depths.sort_unstable();
        depths
    };
    assert_eq!(depths(&a), [100]);
    a.write(strike(120));
    assert_eq!(depths(&a), [100, 120]);
    let ids: Vec<_> = a.book.entries_aside(a.day).unwrap().iter().map(|e| e.id).collect();
    a.book.adopt(a.day, &ids, "Obs1").unwrap();
    assert_eq!(depths(&a).len(), 4);
    let (_, record) = agreed(&[&a.pack(), &pack], &TWO);
    assert_eq!(record, a.book.record(a.day).unwrap());
}

#[test]
fn counters_near_their_end_brick_nothing() {
    let rogue = Rogue::new(7);
    let (key, text) = body(1, 100);
    for start in [1 << 29, (1 << 30) - 1, 1 << 30, (1 << 31) - 2] {
        let actor = rogue.actor(History::Registers);
        let (area, area_text) = ("day/area".to_owned(), r#"{"v":"Far Away","by":"Rogue"}"#.to_owned());
        let put = |key: &str, text: &str| {
            vec![firnbook_core::day::format::Put { key: key.to_owned(), text: text.to_owned() }]
        };
        let entry = encode(
            firnbook_tests::rogue::day().0,
            rogue.actor(History::Entries).0,
            1,
            start,
            vec![first()],
            put(&key, &text),
        );
        let register =
            encode(firnbook_tests::rogue::day().0, actor.0, 1, start, vec![first()], put(&area, &area_text));
        let cover = rogue.cover(&[&entry, &register]);
        let pack = rogue.pack(vec![entry, register], vec![cover], vec![]);
        let mut a = Phone::new("Obs1");
        a.book.merge(&pack, false).unwrap();
        for n in 0..3 {
            a.write(strike(100 + n));
            let id = ulid(1).parse().unwrap();
            a.book.amend(&[(a.day, id)], &map(json!({ "depth_cm": 200 + n })), "Obs1").unwrap();
        }
        let record = a.book.record(a.day).unwrap();
        assert_eq!(record.entries.len(), 4);
        let verified = a.book.verify().unwrap();
        assert!(verified[0].rows_equal, "{start}: {verified:?}");
        let mut b = Phone::bare("Base");
        b.book.merge(&a.pack(), false).unwrap();
        assert_eq!(b.book.record(b.day).unwrap(), record, "{start}");
        b.book.rebuild().unwrap();
        assert_eq!(b.book.record(b.day).unwrap(), record, "{start}");
    }
    // One more is no counter of a day: refused with the whole pack, and the store is as before.
    let put = vec![firnbook_core::day::format::Put { key, text }];
    let beyond = encode(
        firnbook_tests::rogue::day().0,
        rogue.actor(History::Entries).0,
        1,
        1 << 31,
        vec![first()],
        put,
    );
    let mut a = Phone::new("Obs1");
    let before = a.book.record(a.day).unwrap();
    assert!(
        a.book
            .merge_changes(a.day, std::slice::from_ref(&beyond.bytes), vec![rogue.cover(&[&beyond])])
            .is_err()
    );
    assert_eq!(a.book.record(a.day).unwrap(), before);
}

#[test]
fn two_bodies_of_one_id_are_a_conflict_and_not_a_loss() {
    let (mut a, mut b) = (Phone::new("Obs1"), Phone::new("Obs2"));
    let json = |depth: u32| json!({ "id": "01KH5QX2M8Z4T6V9B3C1D7E0FG", "kind": "strike", "at": "2027-02-06T10:00:00.000+01:00", "drill": "1", "by": "X", "depth_cm": depth });
    a.write(json(100));
    b.write(json(200));
    a.merge(&b);
    b.merge(&a);
    let record = a.book.record(a.day).unwrap();
    assert_eq!(record, b.book.record(b.day).unwrap());
    assert_eq!(record.entries[0].unsettled, ["body"]);
    assert_eq!(record.registers.0.len(), 2, "the area and the two bodies");
    assert!(a.book.verify().unwrap()[0].rows_equal);
}

/// What a made-up newer program wrote: a kind, a field, a word of a choice, and registers that this version does not know.
fn newer() -> Vec<u8> {
    let program = Rogue::new(5);
    let common = |n: usize, kind: &str| json!({ "id": ulid(n), "kind": kind, "at": "2027-02-06T10:08:20.000+01:00", "by": "Obs9", "drill": "1" });
    let with = |n: usize, mut json: Value, field: &str, value: Value| {
        json[field] = value;
        (ulid(n), json.to_string())
    };
    let entries = program.change(
        1,
        None,
        &[
            with(1, common(1, "drone_pass"), "height_m", json!(30)),
            with(2, common(2, "strike"), "probe_sound", json!("dull")),
            with(3, common(3, "strike"), "outcome", json!("maybe")),
        ],
    );
    let said = |key: &str, text: &str| (key.to_owned(), text.to_owned());
    let registers = change(
        program.actor(History::Registers),
        1,
        None,
        &[
            said(
                &format!("{}/probe_sound", ulid(3)),
                r#"{"v":"hard","by":"Obs9","at":"2027-02-06T10:09:00.000+01:00"}"#,
            ),
            said("weather:noon/sky", r#"{"v":"blue","by":"Obs9"}"#),
            said("tally", "7"),
        ],
    );
    let cover = program.cover(&[&entries, &registers]);
    program.pack(vec![entries, registers], vec![cover], vec![])
}

#[test]
fn a_newer_programs_day_is_carried_shown_as_opaque_and_handed_on() {
    let pack = newer();
    let mut a = Phone::new("Obs1");
    a.write(strike(100));
    assert_eq!(a.book.merge(&pack, false).unwrap().days[0].new_entries, 3);
    let record = a.book.record(a.day).unwrap();
    let opaque: Vec<bool> =
        record.entries.iter().filter(|e| e.json["by"] == "Obs9").map(|e| e.entry.is_none()).collect();
    assert_eq!(opaque, [true, false, true]);
    assert_eq!(record.entries.iter().find(|e| e.json.contains_key("height_m")).unwrap().json["height_m"], 30);
    let readable = record.entries.iter().find(|e| e.json["by"] == "Obs9" && e.entry.is_some()).unwrap();
    assert_eq!(readable.entry.as_ref().unwrap().rest["probe_sound"], "dull");
    assert!(
        record.entries.iter().any(|e| e.json.get("probe_sound") == Some(&json!("hard"))),
        "an amendment of an unknown field"
    );
    assert!(a.book.verify().unwrap()[0].rows_equal);
    // Handed on, nothing is missing: the newer program finds all it wrote.
    let (theirs, carried) = (content(&pack), content(&a.pack()));
    assert!(theirs.changes.iter().all(|c| carried.changes.contains(c)));
    assert!(theirs.covers.iter().all(|c| carried.covers.contains(c)));
}

#[test]
fn opaque_entries_come_back_from_their_json_lines() {
    let mut a = Phone::new("Obs1");
    a.book.merge(&newer(), false).unwrap();
    let record = a.book.record(a.day).unwrap();
    let mut b = Phone::new("Obs2");
    for noted in &record.entries {
        b.write(Value::Object(noted.json.clone()));
    }
    let texts = |p: &Phone| {
        p.book
            .record(p.day)
            .unwrap()
            .entries
            .iter()
            .map(|e| Value::Object(e.json.clone()))
            .collect::<Vec<_>>()
    };
    assert_eq!(texts(&a), texts(&b));
}

#[test]
fn loose_changes_wait_for_their_causes_and_their_signature_in_any_order() {
    let mut a = Phone::new("Obs1");
    a.write(strike(100));
    a.write(strike(110));
    let id = a.write(strike(120));
    a.book.amend(&[(a.day, id)], &map(json!({ "depth_cm": 101 })), "Obs1").unwrap();
    let held = content(&a.pack());
    let entries: Vec<&Change> =
        held.changes.iter().filter(|c| Actor(c.actor).history() == History::Entries).collect();
    let rest: Vec<Vec<u8>> = held
        .changes
        .iter()
        .filter(|c| Actor(c.actor).history() == History::Registers)
        .map(|c| c.bytes.clone())
        .collect();
    for order in THREE {
        let mut b = Phone::bare("Obs2");
        for n in order {
            let merged = b.book.merge_changes(b.day, &[entries[*n].bytes.clone()], Vec::new()).unwrap();
            assert_eq!(merged.days[0].new_entries, 0);
        }
        assert!(b.book.days().unwrap().is_empty());
        b.book.begin_day(firnbook_tests::date(), "Upper Bowl", "Obs2").unwrap();
        assert_eq!(b.book.days().unwrap()[0].waiting, 3, "no signature yet");
        b.book.merge_changes(b.day, &[], held.covers.clone()).unwrap();
        assert_eq!(b.book.record(b.day).unwrap().entries.len(), 3);
        b.book.merge_changes(b.day, &rest, Vec::new()).unwrap();
        let depths = |p: &Phone| p.book.record(p.day).unwrap().entries;
        assert_eq!(depths(&b), depths(&a));
        assert_eq!(b.book.days().unwrap()[0].waiting, 0);
        assert!(b.book.verify().unwrap()[0].rows_equal);
    }
}

#[test]
fn a_loose_change_with_one_bit_flipped_is_refused() {
    let mut a = Phone::new("Obs1");
    a.write(strike(100));
    let good = content(&a.pack()).changes.pop().unwrap().bytes;
    let mut b = Phone::new("Obs2");
    let before = b.book.record(b.day).unwrap();
    for bit in 0..good.len() * 8 {
        let mut bad = good.clone();
        bad[bit / 8] ^= 1 << (bit % 8);
        assert!(b.book.merge_changes(b.day, &[bad], Vec::new()).is_err(), "bit {bit}");
    }
    assert_eq!(b.book.record(b.day).unwrap(), before);
    assert_eq!(b.book.days().unwrap()[0].waiting, 0);
}
