//! The rows of a season's statistics out of one day at hand, for days that are read whole. A store reads the same rows from its columns.

use super::super::thresholds::Thresholds;
use super::super::timeline::DrillTimes;
use super::super::view::{TargetRef, Told, View};
use super::depth::{DepthOf, DepthRow, Depths};
use super::group::{GroupBy, month, season};
use crate::entry::{Body, Datum, EntryId, Method, Outcome};
use std::collections::BTreeMap;

/// Hands the depths of a day to `depths`; `day` is its number.
pub fn depths_of(
    view: &View<'_>,
    day: u32,
    of: DepthOf,
    by: Option<GroupBy>,
    thresholds: &Thresholds,
    depths: &mut Depths,
) {
    let mut events = BTreeMap::new();
    let mut numbers: BTreeMap<(String, String), u64> = BTreeMap::new();
    for drill in view.drills() {
        let targets = view.targets(drill);
        let cancelled = DrillTimes::of(view, drill, &targets).cancelled();
        let slope_deg = view.drill(drill).slope_deg.map(|s| s.0);
        for (at, target) in targets.iter().enumerate() {
            let next = u64::from(day) << 32 | numbers.len() as u64;
            let known = numbers.get(&(target.home.clone(), target.folded.clone())).copied();
            let number = known.unwrap_or(next);
            numbers.insert((target.home.clone(), target.folded.clone()), number);
            let group = by.and_then(|by| group_of_target(view, drill, target, by, thresholds));
            let row = DepthRow {
                depth_cm: 0.0,
                method: None,
                datum: None,
                direction: None,
                slope_deg,
                day,
                target: number,
                event: None,
                of_strike: false,
                unsettled: false,
                cancelled,
                group: group.as_deref(),
            };
            match of {
                DepthOf::Set if known.is_none() => set_depth(view, target, row, depths),
                DepthOf::Set => {}
                DepthOf::Found => {
                    for told in view.of_drill(drill) {
                        if told.at_target == Some(at) {
                            found_depths(view, *told, row, by, &mut events, depths);
                        }
                    }
                }
            }
        }
    }
}

fn set_depth(view: &View<'_>, target: &TargetRef, row: DepthRow<'_>, depths: &mut Depths) {
    let Some(set) = view.target(target) else { return };
    if let Some(depth) = set.set_depth_cm {
        depths.push(&DepthRow { depth_cm: depth.0, direction: set.direction, ..row });
    }
}

fn found_depths(
    view: &View<'_>,
    told: Told<'_>,
    row: DepthRow<'_>,
    by: Option<GroupBy>,
    events: &mut BTreeMap<EntryId, u64>,
    depths: &mut Depths,
) {
    let fields = ["depth_cm", "method", "datum", "direction", "outcome", "lowest_reading_m"];
    let unsettled = !told.settled(&fields);
    let next = events.len() as u64;
    let event = Some(*events.entry(view.groups.first(told.noted.id)).or_insert(next));
    let mut push = |row: DepthRow<'_>| {
        let group = match by {
            Some(GroupBy::Method) => row.method.map(|m| m.word()),
            Some(GroupBy::Datum) => row.datum.map(|d| d.word()),
            Some(GroupBy::Writer) => Some(view.call_sign(&view.things.person(&told.entry.common.by.0))),
            _ => row.group.map(str::to_owned),
        };
        depths.push(&DepthRow { event, unsettled, group: group.as_deref(), ..row });
    };
    match &told.entry.body {
        Body::Depth(d) => push(DepthRow {
            depth_cm: d.depth_cm.0,
            method: d.method,
            datum: d.datum,
            direction: d.direction,
            ..row
        }),
        Body::Strike(s) if s.outcome == Some(Outcome::Hit) => {
            if let Some(depth) = s.depth_cm {
                let (method, datum) = (Some(Method::Probe), Some(Datum::FirstContact));
                let strike = DepthRow { depth_cm: depth.0, method, datum, direction: s.direction, ..row };
                push(DepthRow { of_strike: true, ..strike });
            }
            if let Some(reading) = s.lowest_reading_m {
                let method = Some(Method::Reading);
                push(DepthRow { depth_cm: 100.0 * reading.0, method, of_strike: true, ..row });
            }
        }
        _ => {}
    }
}

/// The group of a target's values, for groupings that depend on the target and its drill alone.
fn group_of_target(
    view: &View<'_>,
    drill: &str,
    target: &TargetRef,
    by: GroupBy,
    thresholds: &Thresholds,
) -> Option<String> {
    let date = view.record.date;
    match by {
        GroupBy::Form => view.drill(drill).form.map(|f| f.word()),
        GroupBy::Team => view.drill(drill).team,
        GroupBy::Area => Some(view.record.area.clone()),
        GroupBy::Day => Some(date.to_string()),
        GroupBy::Month => Some(month(date)),
        GroupBy::Season => Some(season(date, thresholds.season_start_month as u32)),
        GroupBy::Orientation => view.target(target).and_then(|t| t.orientation).map(|o| o.word()),
        GroupBy::Method | GroupBy::Datum | GroupBy::Writer => None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::left_out::Tally;
    use super::super::super::made::Made;
    use super::super::super::tables::targets;
    use super::super::super::testing::record_with;
    use super::super::depth::DepthAsk;
    use super::*;
    use crate::clock::RawClocks;
    use crate::day::Groups;
    use serde_json::json;

    #[test]
    fn a_season_of_one_day_says_what_its_targets_say() {
        let record = record_with(
            r#"
            {"kind":"drill","at":"10:00:00","label":"1","team":"Red","slope_deg":30}
            {"kind":"target","at":"10:00:00","drill":"1","label":"A","set_depth_cm":110,"direction":"vertical"}
            {"kind":"target","at":"10:00:00","drill":"1","label":"B","set_depth_cm":80,"direction":"slope_normal","orientation":"flat"}
            {"kind":"strike","at":"10:08:00","drill":"1","target":"A","outcome":"hit","depth_cm":100,"lowest_reading_m":1.3}
            {"kind":"depth","at":"10:20:00","drill":"1","target":"B","depth_cm":90,"method":"tape","datum":"top","direction":"vertical"}
            {"kind":"depth","at":"10:20:04","drill":"1","target":"B","depth_cm":92,"method":"tape","datum":"top","direction":"vertical","by":"Obs2"}
            {"kind":"depth","at":"10:22:00","drill":"1","target":"B","depth_cm":70,"method":"probe","datum":"first_contact"}
            {"kind":"drill","at":"11:00:00","label":"2","team":"Blue","like":"1"}
            {"kind":"depth","at":"11:22:00","drill":"2","target":"B","depth_cm":74,"method":"probe","datum":"first_contact"}
        "#,
            &[("#5~#6", json!(true))],
        );
        let groups = Groups::of(&record);
        let view = View::new(&record, &groups, &RawClocks);
        let thresholds = Thresholds::default();
        let season = |ask: DepthAsk| {
            let mut depths = Depths::new(ask.clone());
            depths_of(&view, 1, ask.of, ask.group_by, &thresholds, &mut depths);
            depths.finish(Made::default())
        };
        let found = season(DepthAsk::default());
        let rows = targets(&view, &mut Tally::default());
        let mut headlines: Vec<f64> = rows.iter().filter_map(|r| r.headline_cm).collect();
        headlines.sort_by(f64::total_cmp);
        // A: the strike of 100 cm. B: first contact 70 and 74 cm against one taped top of 91 cm vertical.
        assert_eq!(headlines, [72.0, 100.0]);
        let f = &found.figures;
        assert_eq!((f.n, f.min_cm, f.max_cm), (2, Some(72.0), Some(100.0)));
        let each = season(DepthAsk { each: true, ..DepthAsk::default() }).figures;
        assert_eq!((each.n, each.min_cm), (4, Some(70.0)));
        let set = season(DepthAsk { of: DepthOf::Set, ..DepthAsk::default() });
        assert_eq!((set.figures.n, set.figures.min_cm, set.assumed_direction), (2, Some(80.0), 0));
        let by_team = season(DepthAsk { group_by: Some(GroupBy::Team), ..DepthAsk::default() });
        let told: Vec<_> = by_team.groups.iter().map(|g| (g.group.as_str(), g.figures.n)).collect();
        assert_eq!(told, [("Blue", 1), ("Red", 2)]);
        let by_writer =
            season(DepthAsk { group_by: Some(GroupBy::Writer), each: true, ..DepthAsk::default() });
        let told: Vec<_> = by_writer.groups.iter().map(|g| (g.group.as_str(), g.figures.n)).collect();
        assert_eq!(told, [("Obs1", 4), ("Obs2", 1)]);
        let by_season = season(DepthAsk { group_by: Some(GroupBy::Season), ..DepthAsk::default() });
        assert_eq!(by_season.groups[0].group, "2026/27");
    }
}
