//! Histories that fork: restored backups, copied stores, forged changes, a newer program's day.

use automerge::transaction::{CommitOptions, Transactable};
use automerge::{ActorId, Automerge, ROOT, ReadDoc};
use firnbook_core::day::{DayId, DeviceId, Document};
use firnbook_core::exchange::{self, PackedDay};
use firnbook_core::logbook::{Logbook, LogbookError};
use firnbook_core::store::StoreError;
use firnbook_tests::{Phone, TestClock, map, strike};
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

/// A pack of this document as some program wrote it.
fn pack_of(doc: &Automerge, day: DayId) -> Vec<u8> {
    let document = Document::load(&doc.save(), day).unwrap();
    exchange::write(DeviceId([9; 8]), &[PackedDay { id: day, area: "Upper Bowl".to_owned(), document }], None)
}

fn entries_of(doc: &Automerge) -> automerge::ObjId {
    doc.get(ROOT, "entries").unwrap().unwrap().1
}

fn raw(phone: &Phone) -> Automerge {
    let pack = phone.pack();
    let (_, days) = exchange::read(&pack).unwrap();
    Automerge::load(&days[0].document.save()).unwrap()
}

#[test]
fn a_forged_place_in_a_history_is_refused_whole() {
    let mut a = Phone::new("Obs1");
    let mut forged = raw(&a);
    a.write(strike(100));
    let actor = raw(&a).get_changes(&[]).last().unwrap().actor_id().clone();
    forged.set_actor(actor);
    let entries = entries_of(&forged);
    // The same writer and number with another content, and a good entry of somebody else beside it.
    let mut tx = forged.transaction();
    tx.put(&entries, "01KH5QX2M8Z4T6V9B3C1D7E0FG", "{}").unwrap();
    tx.commit();
    let before = a.book.record(a.day).unwrap();
    let error = a.book.merge(&pack_of(&forged, a.day), false).unwrap_err();
    assert!(matches!(error, LogbookError::Store(StoreError::Fork { .. })), "{error}");
    assert_eq!(a.book.record(a.day).unwrap(), before);
}

#[test]
fn a_change_that_writes_over_a_body_is_refused_whole() {
    let mut a = Phone::new("Obs1");
    let id = a.write(strike(100));
    let mut doc = raw(&a);
    doc.set_actor(ActorId::from([7; 16]));
    let entries = entries_of(&doc);
    let mut tx = doc.transaction();
    tx.put(&entries, id.to_string(), "{}").unwrap();
    tx.put(&entries, "01KH5QX2M8Z4T6V9B3C1D7E0FG", "{}").unwrap();
    tx.commit();
    let error = a.book.merge(&pack_of(&doc, a.day), false).unwrap_err().to_string();
    assert!(error.contains("written once"), "{error}");
    assert_eq!(a.book.record(a.day).unwrap().entries.len(), 1);
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

/// What a made-up newer program wrote: a kind, a field, a word of a choice, registers and forms of values that this version does not know.
fn newer() -> (Phone, Vec<u8>) {
    let phone = Phone::new("Obs9");
    let mut doc = raw(&phone);
    doc.set_actor(ActorId::from([5; 16]));
    let entries = entries_of(&doc);
    let mut tx = doc.transaction();
    let common = |id: &str, kind: &str| json!({ "id": id, "kind": kind, "at": "2027-02-06T10:08:20.000+01:00", "by": "Obs9", "drill": "1" });
    let with = |mut json: Value, field: &str, value: Value| {
        json[field] = value;
        json.to_string()
    };
    let (kind, field, word) =
        ("01KH5QX2M8Z4T6V9B3C1D7E0F1", "01KH5QX2M8Z4T6V9B3C1D7E0F2", "01KH5QX2M8Z4T6V9B3C1D7E0F3");
    tx.put(&entries, kind, with(common(kind, "drone_pass"), "height_m", json!(30))).unwrap();
    tx.put(&entries, field, with(common(field, "strike"), "probe_sound", json!("dull"))).unwrap();
    tx.put(&entries, word, with(common(word, "strike"), "outcome", json!("maybe"))).unwrap();
    tx.put(
        &entries,
        format!("{word}/probe_sound"),
        r#"{"v":"hard","by":"Obs9","at":"2027-02-06T10:09:00.000+01:00"}"#,
    )
    .unwrap();
    tx.put(&entries, "weather:noon/sky", r#"{"v":"blue","by":"Obs9"}"#).unwrap();
    tx.put(&entries, "tally", 7).unwrap();
    tx.put_object(&entries, "drawing", automerge::ObjType::Map).unwrap();
    tx.put(ROOT, "generation", 2).unwrap();
    tx.commit_with(CommitOptions::default().with_time(0));
    let pack = pack_of(&doc, phone.day);
    (phone, pack)
}

#[test]
fn a_newer_programs_day_is_carried_shown_as_opaque_and_handed_on() {
    let (theirs, pack) = newer();
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
    let mut back = theirs;
    back.merge(&a);
    let doc = raw(&back);
    let entries = entries_of(&doc);
    assert_eq!(doc.get(&entries, "tally").unwrap().unwrap().0.as_i64(), Some(7));
    assert!(doc.get(&entries, "drawing").unwrap().is_some());
    assert_eq!(doc.get(ROOT, "generation").unwrap().unwrap().0.as_i64(), Some(2));
}

#[test]
fn opaque_entries_come_back_from_their_json_lines() {
    let (_, pack) = newer();
    let mut a = Phone::new("Obs1");
    a.book.merge(&pack, false).unwrap();
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
fn loose_changes_wait_for_their_causes_in_any_order() {
    let mut a = Phone::new("Obs1");
    let id = a.write(strike(100));
    a.book.amend(&[(a.day, id)], &map(json!({ "depth_cm": 101 })), "Obs1").unwrap();
    a.write(strike(120));
    let changes: Vec<Vec<u8>> = raw(&a).get_changes(&[]).iter().map(|c| c.raw_bytes().to_vec()).collect();
    let (first, changes) = changes.split_at(changes.len() - 3);
    for order in [[0, 1, 2], [2, 1, 0], [1, 2, 0], [2, 0, 1]] {
        let mut b = Phone::bare("Obs2");
        let mut waiting = Vec::new();
        for n in order {
            waiting.push(b.book.merge_changes(b.day, vec![changes[n].clone()]).unwrap().days[0].waiting);
        }
        if order == [2, 1, 0] {
            // The last change came first and waited for the other two, which waited for theirs.
            assert_eq!(waiting, [1, 2, 3], "the beginning of the day is a change too and is still missing");
        }
        assert!(b.book.days().unwrap().is_empty());
        b.book.merge_changes(b.day, first.to_vec()).unwrap();
        assert_eq!(b.book.record(b.day).unwrap(), a.book.record(a.day).unwrap());
        assert_eq!(b.book.days().unwrap()[0].waiting, 0);
        assert!(b.book.verify().unwrap()[0].rows_equal);
    }
}

#[test]
fn a_loose_change_with_one_bit_flipped_is_refused() {
    let mut a = Phone::new("Obs1");
    a.write(strike(100));
    let good = raw(&a).get_changes(&[]).last().unwrap().raw_bytes().to_vec();
    let mut b = Phone::new("Obs2");
    let before = b.book.record(b.day).unwrap();
    for bit in 0..good.len() * 8 {
        let mut bad = good.clone();
        bad[bit / 8] ^= 1 << (bit % 8);
        assert!(b.book.merge_changes(b.day, vec![bad]).is_err(), "bit {bit}");
    }
    assert_eq!(b.book.record(b.day).unwrap(), before);
    assert_eq!(b.book.days().unwrap()[0].waiting, 0);
}
