//! Depths of a season are those of its days made anew, whatever was kept of an earlier answer.

use firnbook_core::clock::TimeLine;
use firnbook_core::entry::Direction;
use firnbook_core::insight::left_out::Tally;
use firnbook_core::insight::made::Made;
use firnbook_core::insight::season::depth::{DepthAsk, DepthOf, Depths};
use firnbook_core::insight::season::group::GroupBy;
use firnbook_core::insight::season::rows::DayDepths;
use firnbook_core::insight::thresholds::Thresholds;
use firnbook_core::insight::view::View;
use firnbook_core::logbook::{Draft, Season};
use firnbook_core::review::{Ground, OneEvent};
use firnbook_tests::{Phone, map};
use proptest::prelude::*;
use serde_json::{Value, json};

fn entry() -> impl Strategy<Value = Value> {
    let drill = prop::sample::select(vec!["1", "2", " 2", "3"]);
    let target = prop::sample::select(vec!["A", "a", "B"]);
    let by = prop::sample::select(vec!["Obs1", "Obs2", "Lead"]);
    let method = prop::sample::select(vec![None, Some("probe"), Some("tape"), Some("reading")]);
    let direction = prop::sample::select(vec![None, Some("slope_normal"), Some("vertical"), Some("unknown")]);
    (drill, target, by, method, direction, 0..400_i64, 30..200_u32, 0..9_u8).prop_map(
        |(drill, target, by, method, direction, s, depth_cm, what)| {
            let at = firnbook_core::entry::Time::from_millis(1_801_904_400_000 + s * 1000, 60).unwrap();
            match what {
                0 => json!({ "kind": "drill", "at": at, "by": by, "label": drill, "slope_deg": 25, "team": "Red" }),
                1 => json!({ "kind": "target", "at": at, "by": by, "drill": drill, "label": target, "set_depth_cm": depth_cm }),
                2 => json!({ "kind": "drill", "at": at, "by": by, "label": "3", "like": "1" }),
                3 => json!({ "kind": "moment", "at": at, "by": by, "drill": "2", "step": "end", "why": "cancelled" }),
                4 | 5 => json!({ "kind": "strike", "at": at, "by": by, "drill": drill, "target": target, "depth_cm": depth_cm, "outcome": "hit", "direction": direction, "lowest_reading_m": 1.5 }),
                6 => json!({ "kind": "strike", "at": at, "by": by, "drill": drill, "depth_cm": depth_cm, "outcome": "hit" }),
                _ => json!({ "kind": "depth", "at": at, "by": by, "drill": drill, "target": target, "depth_cm": depth_cm, "method": method, "datum": "first_contact", "direction": direction }),
            }
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, max_shrink_iters: 400, ..ProptestConfig::default() })]

    #[test]
    fn what_is_kept_is_what_is_made_anew(
        entries in prop::collection::vec(entry(), 1..40),
        each in any::<bool>(),
        vertical in any::<bool>(),
        by in prop::sample::select(vec![None, Some(GroupBy::Team), Some(GroupBy::Method), Some(GroupBy::Writer), Some(GroupBy::Month)]),
        of in prop::sample::select(vec![DepthOf::Found, DepthOf::Set]),
        call_same in any::<bool>(),
    ) {
        let mut phone = Phone::new("Lead");
        let drafts = entries.into_iter().map(|json| Draft { json: map(json), line: None }).collect();
        let day = phone.day;
        let ids = phone.book.log(day, "Lead", drafts, false).unwrap().ids;
        if call_same && ids.len() > 1 {
            phone.book.call_same(day, ids[0], ids[1], true, "Lead").unwrap();
        }
        let direction = if vertical { Direction::Vertical } else { Direction::SlopeNormal };
        let ask = DepthAsk { of, each, direction, group_by: by, ..DepthAsk::default() };
        let thresholds = Thresholds::default();
        let asked = |phone: &Phone| phone.book.depth(&Season::default(), ask.clone(), &thresholds).unwrap();
        let anew = |phone: &Phone| {
            let record = phone.book.record(day).unwrap();
            let clocks = TimeLine::of(&record);
            let one_event = OneEvent::of(&Ground::of(&record, &clocks));
            let mut depths = Depths::new(ask.clone());
            let view = View::new(&record, &one_event.groups, &clocks);
            DayDepths::of(&view, of, &mut Tally::default()).push(0, by, &thresholds, &mut depths);
            depths.finish(Made::default())
        };
        let first = asked(&phone);
        prop_assert_eq!(&asked(&phone), &first);
        prop_assert_eq!(&first.figures, &anew(&phone).figures);
        prop_assert_eq!(&first.groups, &anew(&phone).groups);
        phone.book.void(&[(day, ids[0])], Some("a slip"), "Lead").unwrap();
        let then = asked(&phone);
        prop_assert_eq!(&then.figures, &anew(&phone).figures);
        prop_assert_eq!(&then.groups, &anew(&phone).groups);
    }
}

#[test]
fn one_measurement_told_by_two_counts_once_and_by_one_twice() {
    let told = |writers: [&str; 2], apart_s: i64| {
        let mut phone = Phone::new("Lead");
        for (by, s) in [(writers[0], 0), (writers[1], apart_s)] {
            let at = firnbook_core::entry::Time::from_millis(1_801_904_400_000 + s * 1000, 60).unwrap();
            phone.write(json!({ "kind": "depth", "at": at, "by": by, "drill": "1", "target": "A", "depth_cm": 110, "method": "tape", "datum": "airway", "direction": "slope_normal" }));
        }
        let ask = DepthAsk { each: true, ..DepthAsk::default() };
        let depths = phone.book.depth(&Season::default(), ask, &Thresholds::default()).unwrap();
        (depths.figures.n, depths.assumed_twins)
    };
    assert_eq!(told(["Obs1", "Obs2"], 2), (1, 1));
    assert_eq!(told(["Obs1", "Obs1"], 2), (2, 0));
    assert_eq!(told(["Obs1", "Obs2"], 300), (2, 0));
}
