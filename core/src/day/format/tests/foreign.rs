//! Changes and operations that a day does not contain, and histories that break its rules.

use super::super::columns::spec;
use super::super::sample::{Parts, by_automerge, document, expanded, first, ulid};
use super::*;
use automerge::legacy::{self, OpType};
use automerge::{ActorId, ObjType, ScalarValue};

#[test]
fn other_operations_are_refused() {
    use OpType::{Delete, Increment, Make, Put};
    let place = change(actor(1, 1, 1), 1, 9, &[begin()], &["key"]);
    let map = |counter| legacy::ObjectId::Id(legacy::OpId(counter, ActorId::from(&first().day[..])));
    let text = || Put(ScalarValue::Str("text".into()));
    let op = |action: OpType| legacy::Op {
        action,
        obj: map(5),
        key: legacy::Key::Map("key".into()),
        pred: Vec::new().into(),
        insert: false,
    };
    let pred = vec![legacy::OpId(4, ActorId::from(&first().day[..]))];
    let own_pred = vec![legacy::OpId(8, ActorId::from(&place.actor[..]))];
    let foreign = [
        op(Put(ScalarValue::Int(1))),
        op(Put(ScalarValue::Uint(1))),
        op(Put(ScalarValue::F64(1.0))),
        op(Put(ScalarValue::Null)),
        op(Put(ScalarValue::Boolean(true))),
        op(Put(ScalarValue::Bytes(vec![1]))),
        op(Put(ScalarValue::counter(1))),
        op(Put(ScalarValue::Timestamp(1))),
        op(Put(ScalarValue::Unknown { type_code: 11, bytes: vec![1] })),
        op(Make(ObjType::Map)),
        op(Make(ObjType::List)),
        op(Make(ObjType::Text)),
        op(Increment(1)),
        legacy::Op { pred: pred.clone().into(), ..op(Delete) },
        legacy::Op { pred: pred.into(), ..op(text()) },
        legacy::Op { pred: own_pred.into(), ..op(text()) },
        legacy::Op { obj: legacy::ObjectId::Root, ..op(text()) },
        legacy::Op { obj: map(4), ..op(text()) },
        legacy::Op { key: legacy::Key::Seq(legacy::ElementId::Head), insert: true, ..op(text()) },
        legacy::Op { insert: true, ..op(text()) },
        legacy::Op { key: legacy::Key::Map("".into()), ..op(text()) },
    ];
    assert_eq!(expanded(&place, vec![op(text())]).raw_bytes(), place.bytes);
    for foreign in foreign {
        let alone = expanded(&place, vec![foreign.clone()]);
        assert!(!why(read(alone.raw_bytes())).contains("damaged"), "{foreign:?}");
        let among = legacy::Op { key: legacy::Key::Map("other".into()), ..op(text()) };
        assert!(read(expanded(&place, vec![among, foreign.clone()]).raw_bytes()).is_err(), "{foreign:?}");
        let mut document = document(&two());
        // Not all of them can be applied; what can is saved and refused.
        let applied =
            std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| document.apply_changes([alone])));
        if matches!(applied, Ok(Ok(()))) {
            assert!(read_saved(&document.save_nocompress()).is_err(), "{foreign:?}");
        }
    }
}

#[test]
fn other_heads_of_changes_are_refused() {
    let [good, _] = two().try_into().unwrap();
    let day = first().day;
    let with = |edit: &dyn Fn(&mut automerge::ExpandedChange)| {
        let mut expanded = by_automerge(day, &good).decode();
        edit(&mut expanded);
        automerge::Change::from(expanded)
    };
    let foreign = [
        with(&|change| change.time = 1),
        with(&|change| change.time = -1),
        with(&|change| change.message = Some("hello".to_owned())),
        with(&|change| change.extra_bytes = vec![0]),
        with(&|change| change.actor_id = ActorId::from(&day[..])),
        with(&|change| change.actor_id = ActorId::from(&[1; 23][..])),
        with(&|change| change.actor_id = ActorId::from(&[1; 25][..])),
        with(&|change| change.actor_id = ActorId::from(&[1; 16][..])),
        with(&|change| change.operations.clear()),
    ];
    for (k, foreign) in foreign.iter().enumerate() {
        assert!(!why(read(foreign.raw_bytes())).contains("damaged"), "{k}");
        let mut document = document(&[]);
        if document.apply_changes([foreign.clone()]).is_ok() {
            assert!(read_saved(&document.save_nocompress()).is_err(), "{k}");
        }
    }
    refused(read(with(&|change| change.deps.clear()).raw_bytes()), "no dependencies");
    let mut empty = Parts::of(&good.bytes);
    empty.columns[0] = vec![(spec::INSERT, vec![0])];
    refused(read(&empty.bytes()), "no operations");
    refused(read(with(&|change| change.seq = 0).raw_bytes()), "begin at 1");
    refused(read(with(&|change| change.seq = 1 << 31).raw_bytes()), "too large");
    refused(read(&first_change(&first()).1), "author of the day's first change");
    let other = encode([7; 16], good.actor, 1, 6, good.deps.clone(), good.puts.clone());
    refused(read(&other.bytes), "another day");
    refused(read_document([7; 16], &plain(&two()), &Bounds::default()), "another day");
}

#[test]
fn counters_are_below_their_bound() {
    let last = MAX_COUNTER - 1;
    let at = |start_op, keys: &[&str]| change(actor(1, 1, 1), 1, start_op, &[begin()], keys);
    assert_eq!(read(&at(last, &["a"]).bytes), Ok(at(last, &["a"])));
    assert_eq!(read(&at(last - 1, &["a", "b"]).bytes).map(|change| change.max_op()), Ok(last));
    for (start_op, keys) in [
        (last, &["a", "b"][..]),
        (last + 1, &["a"]),
        (u32::MAX, &["a"]),
        (u32::MAX - 1, &["a", "b"]),
        (5, &["a"]),
        (0, &["a"]),
    ] {
        assert!(read(&at(start_op, keys).bytes).is_err(), "{start_op}");
    }
    // Far above what it depends on is allowed, and kept through a document.
    let jump = change(actor(2, 1, 1), 1, 2_000_000_000, &[begin()], &["a"]);
    let saved = plain(std::slice::from_ref(&jump));
    assert_eq!(read_saved(&saved).map(|read| read.changes), Ok(vec![jump]));
    for seq in [1, last] {
        let change = change(actor(1, 1, 1), seq, 6, &[begin()], &["a"]);
        assert_eq!(read(&change.bytes), Ok(change));
    }
}

#[test]
fn keys_belong_into_their_history() {
    let id = ulid(1);
    let long = "k".repeat(Bounds::default().key_bytes + 1);
    for (history, key) in [
        (0, "note"),
        (0, &id.to_lowercase()),
        (0, &id[1..]),
        (0, ""),
        (1, &id),
        (1, ""),
        (1, &long),
        (0, "81KH5QX2M8Z4T6V9B300000001"),
        (0, "01KH5QX2M8Z4T6V9B30000000U"),
    ] {
        let change = change(actor(1, 1, history), 1, 6, &[begin()], &[key]);
        refused(read(&change.bytes), "is not allowed here");
        if !key.is_empty() {
            refused(read_saved(&plain(&[change])), "is not allowed here");
        }
    }
    for (history, key) in [(0, &*id), (1, &id.to_lowercase()), (1, &long[1..]), (1, "a\0b"), (1, "ü")] {
        let change = change(actor(1, 1, history), 1, 6, &[begin()], &[key]);
        assert_eq!(read(&change.bytes), Ok(change));
    }
    refused(read(&change(actor(1, 1, 1), 1, 6, &[begin()], &["a", "b", "a"]).bytes), "puts a key once");
    refused(
        read_saved(&plain(&[change(actor(1, 1, 1), 1, 6, &[begin()], &["a", "b", "a"])])),
        "puts a key once",
    );
}

#[test]
fn histories_are_of_one_device_and_kind() {
    let base = two();
    let (one, two) = (base[0].hash, base[1].hash);
    let id = ulid(9);
    let cases: [(Change, &str); 7] = [
        (change(actor(2, 1, 0), 1, 9, &[two], &[&id]), "another device or another history"),
        (change(actor(1, 2, 1), 1, 9, &[two], &["note"]), "another device or another history"),
        (change(actor(1, 2, 0), 1, 9, &[begin(), two], &[&id]), "another device or another history"),
        (change(actor(1, 2, 0), 1, 7, &[two], &[&id]), "counters are not larger"),
        (change(actor(1, 2, 0), 1, 6, &[one], &[&id]), "counters are not larger"),
        (change(actor(2, 1, 0), 1, 5, &[begin()], &[&id]), "counters are not larger"),
        (change(actor(2, 1, 0), 1, 1, &[begin()], &[&id]), "counters are not larger"),
    ];
    for (bad, part) in cases {
        let mut all = base.clone();
        all.push(bad);
        refused(read_saved(&plain(&all)), part);
    }
    let mut all = base.clone();
    all.push(change(actor(1, 2, 0), 1, 7, &[one], &[&id]));
    all.push(change(actor(1, 3, 0), 1, 8, &[two, all[2].hash], &[&ulid(10)]));
    all.push(change(actor(1, 1, 1), 1, 6, &[begin()], &["note"]));
    assert_eq!(read_saved(&plain(&all)).map(|read| read.changes.len()), Ok(5));
}
