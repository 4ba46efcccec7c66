//! The depths that one day gives to a season, whatever of them is asked.

use super::super::left_out::{Tally, reason};
use super::super::thresholds::Thresholds;
use super::super::timeline::DrillTimes;
use super::super::view::{Told, View};
use super::depth::{DepthOf, DepthRow, Depths};
use super::group::GroupBy;
use super::keys::Keys;
use crate::day::Noted;
use crate::entry::{Body, Datum, Direction, DrillForm, EntryId, Method, Orientation, Outcome};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::collections::BTreeMap;

/// The depths of one day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DayDepths {
    date: NaiveDate,
    area: String,
    lies: Vec<Lie>,
    /// Call signs of those who wrote the values.
    writers: Vec<String>,
    values: Vec<DepthValue>,
}

/// How a target lay in a drill.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Lie {
    /// Equal where a later drill used the target again.
    target: u32,
    slope_deg: Option<f64>,
    cancelled: bool,
    form: Option<DrillForm>,
    team: Option<String>,
    orientation: Option<Orientation>,
}

#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
struct DepthValue {
    /// Place of the target's lie.
    lie: u32,
    depth_cm: f64,
    method: Option<Method>,
    datum: Option<Datum>,
    direction: Option<Direction>,
    /// Equal for values by which several writers tell of one measurement.
    event: Option<u64>,
    of_strike: bool,
    unsettled: bool,
    /// Place among the day's writers.
    writer: u32,
}

impl DayDepths {
    /// As they were measured when targets were found, or as targets were buried, each once. `left_out` counts what is struck out.
    #[must_use]
    pub fn of(view: &View<'_>, of: DepthOf, left_out: &mut Tally) -> DayDepths {
        let record = view.record;
        let (mut lies, mut values) = (Vec::new(), Vec::new());
        let mut common = Numbers::default();
        let mut numbers: BTreeMap<(String, String), u32> = BTreeMap::new();
        if of == DepthOf::Found {
            left_out
                .add_n(reason::VOID, record.entries.iter().filter(|e| e.void.is_some() && tells(e)).count());
        }
        for drill in view.drills() {
            let (setup, targets) = (view.drill(drill), view.targets(drill));
            let cancelled = DrillTimes::of(view, drill, &targets).cancelled();
            for (at, target) in targets.iter().enumerate() {
                let next = numbers.len() as u32;
                let number = *numbers.entry((target.home.clone(), target.folded.clone())).or_insert(next);
                let set = view.target(target);
                let lie = lies.len() as u32;
                match of {
                    DepthOf::Set => values.extend(set.as_ref().filter(|_| number == next).and_then(|set| {
                        let depth_cm = set.set_depth_cm?.0;
                        Some(DepthValue { lie, depth_cm, direction: set.direction, ..DepthValue::default() })
                    })),
                    DepthOf::Found => {
                        let told = view.of_drill(drill).iter().filter(|told| told.at_target == Some(at));
                        told.for_each(|told| found(view, *told, lie, &mut common, &mut values));
                    }
                }
                lies.push(Lie {
                    target: number,
                    slope_deg: setup.slope_deg.map(|s| s.0),
                    cancelled,
                    form: setup.form,
                    team: setup.team.clone(),
                    orientation: set.and_then(|t| t.orientation),
                });
            }
        }
        DayDepths { date: record.date, area: record.area.clone(), lies, writers: common.writers, values }
    }

    /// Hands the values to `depths`; `day` is the number of the day.
    pub fn push(&self, day: u32, by: Option<GroupBy>, thresholds: &Thresholds, depths: &mut Depths) {
        let by_lie: Vec<Option<String>> =
            self.lies.iter().map(|lie| self.keys(lie).group(by?, thresholds)).collect();
        for value in &self.values {
            let Some(lie) = self.lies.get(value.lie as usize) else { continue };
            let group = match by {
                Some(GroupBy::Method) => value.method.map(|m| Cow::Owned(m.word())),
                Some(GroupBy::Datum) => value.datum.map(|d| Cow::Owned(d.word())),
                Some(GroupBy::Writer) => {
                    self.writers.get(value.writer as usize).map(|writer| Cow::Borrowed(writer.as_str()))
                }
                _ => by_lie[value.lie as usize].as_deref().map(Cow::Borrowed),
            };
            depths.push(&DepthRow {
                depth_cm: value.depth_cm,
                method: value.method,
                datum: value.datum,
                direction: value.direction,
                slope_deg: lie.slope_deg,
                day,
                target: u64::from(day) << 32 | u64::from(lie.target),
                event: value.event,
                of_strike: value.of_strike,
                unsettled: value.unsettled,
                cancelled: lie.cancelled,
                group: group.as_deref(),
            });
        }
    }

    fn keys<'a>(&'a self, lie: &'a Lie) -> Keys<'a> {
        Keys {
            date: self.date,
            area: &self.area,
            form: lie.form,
            team: lie.team.as_deref(),
            orientation: lie.orientation,
            writer: None,
        }
    }
}

/// Whether an entry would give a depth if it were not struck out.
fn tells(noted: &Noted) -> bool {
    match noted.entry.as_ref().map(|e| &e.body) {
        Some(Body::Depth(_)) => true,
        Some(Body::Strike(s)) => s.outcome == Some(Outcome::Hit) && s.depth_cm.is_some(),
        _ => false,
    }
}

/// Numbers of what the values of a day have in common.
#[derive(Default)]
struct Numbers {
    events: BTreeMap<EntryId, u64>,
    writers: Vec<String>,
}

impl Numbers {
    fn event(&mut self, first: EntryId) -> u64 {
        let next = self.events.len() as u64;
        *self.events.entry(first).or_insert(next)
    }

    fn writer(&mut self, call_sign: String) -> u32 {
        let known = self.writers.iter().position(|writer| *writer == call_sign);
        known.unwrap_or_else(|| {
            self.writers.push(call_sign);
            self.writers.len() - 1
        }) as u32
    }
}

fn found(view: &View<'_>, told: Told<'_>, lie: u32, numbers: &mut Numbers, values: &mut Vec<DepthValue>) {
    let value = DepthValue {
        lie,
        event: Some(numbers.event(view.groups.first(told.noted.id))),
        unsettled: !told.settled(&[
            "depth_cm",
            "method",
            "datum",
            "direction",
            "outcome",
            "lowest_reading_m",
        ]),
        writer: numbers.writer(view.call_sign(&view.things.person(&told.entry.common.by.0))),
        ..DepthValue::default()
    };
    match &told.entry.body {
        Body::Depth(d) => values.push(DepthValue {
            depth_cm: d.depth_cm.0,
            method: d.method,
            datum: d.datum,
            direction: d.direction,
            ..value
        }),
        Body::Strike(s) if s.outcome == Some(Outcome::Hit) => {
            let hit = DepthValue { of_strike: true, ..value };
            values.extend(s.depth_cm.map(|depth| DepthValue {
                depth_cm: depth.0,
                method: Some(Method::Probe),
                datum: Some(Datum::FirstContact),
                direction: s.direction,
                ..hit.clone()
            }));
            values.extend(s.lowest_reading_m.map(|reading| DepthValue {
                depth_cm: 100.0 * reading.0,
                method: Some(Method::Reading),
                ..hit
            }));
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
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
            let of_day = DayDepths::of(&view, ask.of, &mut Tally::default());
            of_day.push(1, ask.group_by, &thresholds, &mut depths);
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
