//! What lists of days and of kit say is what they say with nothing kept, after each write, correction and merge.

use firnbook_core::day::DayId;
use firnbook_core::entry::EntryId;
use firnbook_core::logbook::Draft;
use firnbook_tests::{Phone, map};
use proptest::prelude::*;
use serde_json::{Value, json};

fn entry() -> impl Strategy<Value = Value> {
    let item = prop::sample::select(vec!["TX 1", "tx 1", "TX 2"]);
    let step = prop::sample::select(vec!["issued", "buried", "dug_up", "returned", "lost"]);
    let target = prop::sample::select(vec!["A", "B"]);
    (item, step, target, 0..400_i64, 0..4_u8).prop_map(|(item, step, target, s, what)| {
        let at = firnbook_core::entry::Time::from_millis(1_801_904_400_000 + s * 1000, 60).unwrap();
        match what {
            0 => json!({ "kind": "target", "at": at, "by": "Obs1", "drill": "1", "label": target, "set_depth_cm": 90, "item": item }),
            1 => json!({ "kind": "target", "at": at, "by": "Obs1", "drill": "1", "label": target, "transmits": false }),
            _ => json!({ "kind": "kit", "at": at, "by": "Obs1", "item": item, "what": "transmitter", "step": step, "drill": "1", "target": target }),
        }
    })
}

#[derive(Clone, Debug)]
enum Act {
    Write(usize, Value),
    Void(usize),
    Close(usize),
    Merge(Value),
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        6 => (0..3_usize, entry()).prop_map(|(day, json)| Act::Write(day, json)),
        2 => any::<usize>().prop_map(Act::Void),
        1 => (0..3_usize).prop_map(Act::Close),
        2 => entry().prop_map(Act::Merge),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, max_shrink_iters: 200, ..ProptestConfig::default() })]

    #[test]
    fn lists_of_days_and_kit_are_those_made_anew(acts in prop::collection::vec(act(), 1..14)) {
        let (mut base, mut other) = (Phone::new("Lead"), Phone::new("Obs2"));
        let more = ["2027-02-07", "2027-02-08"].map(|date| base.book.begin_day(date.parse().unwrap(), "Upper Bowl", "Lead").unwrap().day);
        let days = [base.day, more[0], more[1]];
        let mut written: Vec<(DayId, EntryId)> = Vec::new();
        for act in acts {
            match act {
                Act::Write(day, json) => {
                    let drafts = vec![Draft { json: map(json), line: None }];
                    let ids = base.book.log(days[day], "Lead", drafts, false).unwrap().ids;
                    written.extend(ids.into_iter().map(|id| (days[day], id)));
                }
                Act::Void(n) if !written.is_empty() => {
                    let one = written[n % written.len()];
                    base.book.void(&[one], Some("a slip"), "Lead").unwrap();
                }
                Act::Void(_) => {}
                Act::Close(day) => drop(base.book.close_day(days[day], Some("as it is"), "Lead").unwrap()),
                Act::Merge(json) => {
                    other.write(json);
                    base.merge(&other);
                }
            }
            let said = (base.book.days().unwrap(), base.book.kit().unwrap());
            rusqlite::Connection::open(base.path()).unwrap().execute("DELETE FROM kept", []).unwrap();
            let anew = base.open_again();
            prop_assert_eq!(&said, &(anew.days().unwrap(), anew.kit().unwrap()));
            // What was kept just now says the same when it is read.
            prop_assert_eq!(&said, &(anew.days().unwrap(), anew.kit().unwrap()));
        }
    }
}
