//! The ledger of kit over all days: every numbered piece, and every sending target without a number, with its last step. A transmitter left in
//! the snow calls out a real rescue, so what lies there comes first and only `dug_up`, `returned` or `lost` takes it out.

use super::ground::time_of_day;
use super::item::{Item, KIT, Sort};
use crate::clock::Clocks;
use crate::day::{DayId, Key, Record, Thing, Things};
use crate::entry::{Body, Entry, EntryId, KitSort, KitStep, LabelClass, Time, fold};
use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// Where a piece of kit is, the most pressing first.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum KitState {
    /// buried, and nobody said that it was dug up
    InSnow,
    /// given up as lost
    Lost,
    /// with someone: handed out or dug up
    Issued,
    /// handed back
    Returned,
}

/// One piece of kit.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct KitItem {
    /// The label on the piece; null for a target whose piece nobody named
    pub item: Option<String>,
    /// What it is
    pub what: Option<KitSort>,
    /// Where it is
    pub state: KitState,
    /// The day of its last step; of a piece in the snow, the day it was buried
    pub day: DayId,
    /// The date of that day
    pub date: NaiveDate,
    /// The area of that day
    pub area: String,
    /// The drill it was last seen in
    pub drill: Option<String>,
    /// The target it was last seen at
    pub target: Option<String>,
    /// Metres to the right in the drill's grid
    pub x_m: Option<f64>,
    /// Metres uphill in the drill's grid
    pub y_m: Option<f64>,
    /// Latitude, WGS 84
    pub lat: Option<f64>,
    /// Longitude, WGS 84
    pub lon: Option<f64>,
    /// Depth at which the target was set
    pub set_depth_cm: Option<f64>,
    /// Call sign of who wrote the last step
    pub by: String,
    /// When that was
    pub at: Time,
    /// The entry that says so
    pub entry: EntryId,
    #[serde(skip)]
    key: String,
}

/// What happened to kit on a day; read in some kinds only, `kit` and those that tell of drills, targets and clocks must be among them.
pub(crate) fn kit_events(day: &Record, things: &Things, clocks: &dyn Clocks) -> Vec<KitEvent> {
    Sight::over(day, things, clocks).events()
}

/// Where every piece of kit is after what happened to it on all days, what lies in the snow first. Steps follow each other by corrected times;
/// a clock that was never compared is taken at its word.
pub(crate) fn kit_ledger(mut events: Vec<KitEvent>) -> Vec<KitItem> {
    events.sort_by(|a, b| {
        let rest = |e: &KitEvent| (e.step, e.seen.entry);
        a.at_ms.total_cmp(&b.at_ms).then_with(|| rest(a).cmp(&rest(b))).then_with(|| a.piece.cmp(&b.piece))
    });
    let mut lines: BTreeMap<Piece, Line> = BTreeMap::new();
    for event in events {
        lines.entry(event.piece.clone()).or_default().take(event);
    }
    let mut found: Vec<KitItem> = lines.into_iter().filter_map(|(piece, line)| line.item(&piece)).collect();
    found.sort_by(|a, b| (a.state, a.date, &a.key).cmp(&(b.state, b.date, &b.key)));
    found
}

/// Pieces with their keys, which answers do not show, to be kept.
pub(crate) fn with_keys(items: &[KitItem]) -> Vec<(&str, &KitItem)> {
    items.iter().map(|item| (item.key.as_str(), item)).collect()
}

/// The pieces that were kept with their keys.
pub(crate) fn from_keys(kept: Vec<(String, KitItem)>) -> Vec<KitItem> {
    kept.into_iter().map(|(key, item)| KitItem { key, ..item }).collect()
}

/// Where every piece of kit is after these days.
#[cfg(test)]
pub(crate) fn kit(days: &[&Record]) -> Vec<KitItem> {
    let events = |day: &&Record| kit_events(day, &Things::of(day), &crate::clock::TimeLine::of(day));
    kit_ledger(days.iter().flat_map(events).collect())
}

/// The items of kit in the snow.
pub(super) fn items(kit: &[KitItem]) -> Vec<Item> {
    kit.iter().filter(|k| k.state == KitState::InSnow).cloned().map(KitItem::in_snow).collect()
}

impl KitItem {
    fn in_snow(self) -> Item {
        let what = match (&self.item, self.what) {
            (Some(label), Some(what)) => format!("{what} {label}"),
            (Some(label), None) => label.clone(),
            (None, _) => "a transmitter without a label".to_owned(),
        };
        let target = self.target.as_ref().map(|t| format!(" as target {t}")).unwrap_or_default();
        let drill = self.drill.as_ref().map(|d| format!(" in drill {d}")).unwrap_or_default();
        let depth = self.set_depth_cm.map(|d| format!(", {d} cm deep")).unwrap_or_default();
        let at = match (self.x_m.zip(self.y_m), self.lat.zip(self.lon)) {
            (Some((x, y)), _) => format!(", at x {x} m, y {y} m"),
            (_, Some((lat, lon))) => format!(", at {lat}, {lon}"),
            _ => String::new(),
        };
        let says = format!(
            "{what} is still in the snow{target}{drill} of {} in {}{depth}{at} (since {}, {})",
            self.date,
            self.area,
            time_of_day(self.at),
            self.by
        );
        let item = Item::new(self.key, Sort::Missing, self.day, says);
        Item { entries: vec![self.entry], field: Some("dug_up".to_owned()), ask: vec![self.by], ..item }
    }
}

/// What is followed: a numbered piece, or a target whose piece has no number.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
enum Piece {
    Item(String),
    At(DayId, String, String),
}

/// Something that happened to a piece. Targets count as buried.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) struct KitEvent {
    piece: Piece,
    step: KitStep,
    /// When, corrected, ms since 1970 UTC.
    at_ms: f64,
    seen: KitItem,
}

/// What is known of a piece so far.
#[derive(Default)]
struct Line {
    what: Option<KitSort>,
    label: Option<String>,
    now: Option<KitItem>,
}

impl Line {
    fn take(&mut self, event: KitEvent) {
        self.what = self.what.or(event.seen.what);
        self.label = self.label.take().or_else(|| event.seen.item.clone());
        let lies = self.now.as_ref().is_some_and(|n| n.state == KitState::InSnow);
        let stays = matches!(event.step, KitStep::Issued | KitStep::Buried) && lies;
        let known = matches!(event.piece, Piece::Item(_)) || event.step == KitStep::Buried || lies;
        if known && !stays {
            self.now = Some(event.seen);
        }
    }

    fn item(self, piece: &Piece) -> Option<KitItem> {
        let now = self.now?;
        let (key, shown) = match piece {
            Piece::Item(folded) => (format!("{KIT}{folded}"), true),
            Piece::At(day, drill, target) => {
                (format!("{KIT}{day}:{drill}:{target}"), now.state == KitState::InSnow)
            }
        };
        shown.then_some(KitItem { what: self.what, item: self.label, key, ..now })
    }
}

/// A day as the ledger sees it.
struct Sight<'a> {
    day: &'a Record,
    things: &'a Things,
    /// The entries that say where things are, with their corrected times, ms.
    entries: BTreeMap<EntryId, (&'a Entry, f64)>,
}

impl<'a> Sight<'a> {
    fn over(day: &'a Record, things: &'a Things, clocks: &dyn Clocks) -> Sight<'a> {
        let tells = |e: &&Entry| matches!(e.body, Body::Kit(_) | Body::Target(_) | Body::Drill(_));
        let entries = day.entries.iter();
        let entries = entries.filter_map(|n| Some((n.id, (n.counted().filter(tells)?, clocks.at(n).ms))));
        Sight { day, things, entries: entries.collect() }
    }

    fn events(&self) -> Vec<KitEvent> {
        let mut named: BTreeMap<(String, String), BTreeSet<String>> = BTreeMap::new();
        let mut events = Vec::new();
        for (entry, at_ms) in self.entries.values() {
            let at_ms = *at_ms;
            let Body::Kit(k) = &entry.body else { continue };
            let piece = Piece::Item(self.item(&k.item.0));
            let seen = self.seen(entry, state(k.step), Some(&k.item.0), k.what);
            if let Some((drill, target)) = self.origin_of(entry).filter(|_| may_send(k.what)) {
                if k.step == KitStep::Buried {
                    named.entry((drill.clone(), target.clone())).or_default().insert(k.item.0.clone());
                } else {
                    let piece = Piece::At(self.day.id, drill, target);
                    events.push(KitEvent {
                        piece,
                        step: k.step,
                        at_ms,
                        seen: KitItem { item: None, ..seen.clone() },
                    });
                }
            }
            events.push(KitEvent { piece, step: k.step, at_ms, seen });
        }
        for (at, thing) in &self.things.targets {
            if sends(thing) {
                events.extend(self.buried(at, thing, named.get(at)));
            }
        }
        events
    }

    /// A sending target puts its pieces into the snow; a drill that uses it again does so again.
    fn buried(
        &self,
        at: &(String, String),
        thing: &Thing,
        named: Option<&BTreeSet<String>>,
    ) -> Vec<KitEvent> {
        let mut labels: BTreeSet<String> = items_of(thing);
        if labels.is_empty() {
            labels.extend(named.into_iter().flatten().cloned());
        }
        let pieces: Vec<(Piece, Option<&str>)> = if labels.is_empty() {
            vec![(Piece::At(self.day.id, at.0.clone(), at.1.clone()), None)]
        } else {
            labels.iter().map(|l| (Piece::Item(self.item(l)), Some(l.as_str()))).collect()
        };
        let again = self.things.drills.iter().filter(|(drill, d)| {
            **drill != at.0
                && d.fields.contains_key("like")
                && self.things.targets_of(drill).get(&at.1).is_some_and(|t| std::ptr::eq(*t, thing))
        });
        let times =
            thing.declared_by.first().into_iter().chain(again.filter_map(|(_, d)| d.declared_by.first()));
        let by: Vec<(&Entry, f64)> = times.filter_map(|id| self.entries.get(id).copied()).collect();
        let mut declared = thing.declared_by.iter().filter_map(|id| Some(self.entries.get(id)?.0));
        let place = declared.find(|e| e.common.x_m.is_some() || e.common.lat.is_some()).map(|e| &e.common);
        let event = |((entry, at_ms), (piece, label)): (&(&Entry, f64), &(Piece, Option<&str>))| {
            let mut seen = self.seen(entry, KitState::InSnow, *label, Some(KitSort::Transmitter));
            seen.target = Some(thing.label.clone());
            seen.drill = match &entry.body {
                Body::Drill(d) => Some(d.label.0.clone()),
                _ => seen.drill,
            };
            seen.set_depth_cm = number(thing, "set_depth_cm");
            seen.x_m = place.and_then(|p| p.x_m).map(|x| x.0);
            seen.y_m = place.and_then(|p| p.y_m).map(|y| y.0);
            seen.lat = place.and_then(|p| p.lat).map(|l| l.0);
            seen.lon = place.and_then(|p| p.lon).map(|l| l.0);
            KitEvent { piece: piece.clone(), step: KitStep::Buried, at_ms: *at_ms, seen }
        };
        by.iter().flat_map(|e| pieces.iter().map(move |p| (e, p))).map(event).collect()
    }

    fn seen(&self, entry: &Entry, state: KitState, item: Option<&str>, what: Option<KitSort>) -> KitItem {
        let c = &entry.common;
        let target = c.drill.as_ref().zip(c.target.as_ref()).map(|(d, t)| self.things.target(&d.0, &t.0));
        let set = target.and_then(|(drill, target)| self.things.targets_of(&drill).get(&target).copied());
        KitItem {
            item: item.map(|i| i.trim().to_owned()),
            what,
            state,
            day: self.day.id,
            date: self.day.date,
            area: self.day.area.clone(),
            drill: c.drill.as_ref().map(|d| d.0.clone()),
            target: c.target.as_ref().map(|t| t.0.clone()),
            x_m: c.x_m.map(|x| x.0),
            y_m: c.y_m.map(|y| y.0),
            lat: c.lat.map(|l| l.0),
            lon: c.lon.map(|l| l.0),
            set_depth_cm: set.and_then(|t| number(t, "set_depth_cm")),
            by: c.by.0.clone(),
            at: c.at,
            entry: c.id,
            key: String::new(),
        }
    }

    /// The drill and target of an entry as they were first declared: a target used again is the one of the drill that it was set in.
    fn origin_of(&self, entry: &Entry) -> Option<(String, String)> {
        let (drill, target) = entry.common.drill.as_ref().zip(entry.common.target.as_ref())?;
        let (drill, target) = self.things.target(&drill.0, &target.0);
        let thing = *self.things.targets_of(&drill).get(&target)?;
        let here = self.things.targets.iter().find(|(_, t)| std::ptr::eq(*t, thing));
        here.map(|(at, _)| at.clone())
    }

    /// The folded label of a piece, aliases of this day followed.
    fn item(&self, label: &str) -> String {
        let folded = fold(label);
        let alias = self.day.registers.get(&Key::Alias(LabelClass::Item, vec![folded.clone()]));
        alias.and_then(|said| said.v.as_str()).map_or(folded, fold)
    }
}

/// The pieces that are said to lie at a target; where people disagree, all of them: one of them does.
fn items_of(thing: &Thing) -> BTreeSet<String> {
    let said = thing.unsettled.get("item").into_iter().flatten().map(|(v, _)| v);
    said.chain(thing.fields.get("item")).filter_map(Value::as_str).map(str::to_owned).collect()
}

/// A declared target sends unless all who speak of it say that it does not.
fn sends(target: &Thing) -> bool {
    let silent = target.fields.get("transmits") == Some(&Value::Bool(false));
    !target.declared_by.is_empty() && (!silent || target.unsettled.contains_key("transmits"))
}

fn may_send(what: Option<KitSort>) -> bool {
    matches!(what, None | Some(KitSort::Transmitter))
}

fn number(thing: &Thing, field: &str) -> Option<f64> {
    thing.fields.get(field).and_then(Value::as_f64)
}

fn state(step: KitStep) -> KitState {
    match step {
        KitStep::Buried => KitState::InSnow,
        KitStep::Issued | KitStep::DugUp => KitState::Issued,
        KitStep::Returned => KitState::Returned,
        KitStep::Lost => KitState::Lost,
    }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{day, day_of, day_with, entry};
    use super::*;

    fn target(n: u8, at: &str, more: &str) -> String {
        entry(n, "Lead", at, "target", &format!(r#""drill":"1","label":"A"{more}"#))
    }

    fn step(n: u8, at: &str, item: &str, step: &str, more: &str) -> String {
        entry(n, "Kit", at, "kit", &format!(r#""item":"{item}","step":"{step}"{more}"#))
    }

    fn states(days: &[&Record]) -> Vec<(Option<String>, KitState)> {
        kit(days).into_iter().map(|k| (k.item, k.state)).collect()
    }

    fn one(state: KitState) -> Vec<(Option<String>, KitState)> {
        vec![(Some("TX07".to_owned()), state)]
    }

    #[test]
    fn a_piece_lies_in_the_snow_until_it_is_dug_up_on_whatever_day() {
        let set = target(1, "10:00:00", r#","item":"TX07","set_depth_cm":110,"x_m":3,"y_m":8"#);
        let found = entry(2, "Obs1", "10:20:00", "moment", r#""drill":"1","target":"A","step":"extricated""#);
        let first = day(&[set, found]);
        let ledger = kit(&[&first]);
        assert_eq!(ledger.len(), 1);
        let k = &ledger[0];
        assert_eq!(
            (k.state, k.what, k.x_m, k.set_depth_cm),
            (KitState::InSnow, Some(KitSort::Transmitter), Some(3.0), Some(110.0))
        );
        let says = &items(&kit(&[&first]))[0].says;
        assert!(says.contains("TX07 is still in the snow as target A in drill 1"), "{says}");

        let dug = step(9, "09:00:00", "tx07", "dug_up", "").replace("2027-02-06", "2027-02-07");
        let later = day_of("2027-02-07", "Lower Bowl", &[dug], &[]);
        assert_eq!(states(&[&first, &later]), one(KitState::Issued));
        assert_eq!(states(&[&later, &first]), one(KitState::Issued));
    }

    #[test]
    fn a_target_without_label_on_its_piece_is_listed_until_it_is_dug_up() {
        let set = target(1, "10:00:00", "");
        assert_eq!(states(&[&day(std::slice::from_ref(&set))]), [(None, KitState::InSnow)]);
        let at = r#","drill":"1","target":"a""#;
        let dug = step(2, "11:00:00", "TX07", "dug_up", at);
        assert_eq!(states(&[&day(&[set.clone(), dug])]), one(KitState::Issued));
        let dummy = step(2, "11:00:00", "D1", "dug_up", &format!(r#"{at},"what":"dummy""#));
        assert!(states(&[&day(&[set.clone(), dummy])]).contains(&(None, KitState::InSnow)));
        let buried = step(2, "10:01:00", "TX07", "buried", at);
        assert_eq!(states(&[&day(&[set, buried])]), one(KitState::InSnow));
    }

    #[test]
    fn what_does_not_send_or_is_void_lies_nowhere() {
        assert!(kit(&[&day(&[target(1, "10:00:00", r#","item":"D1","transmits":false"#)])]).is_empty());
        let set = target(1, "10:00:00", r#","item":"TX07""#);
        let void = format!("{}/void", super::super::testing::id(1));
        assert!(kit(&[&day_with(&[set], &[(&void, &[r#"{"v":"wrong drill"}"#])])]).is_empty());
    }

    #[test]
    fn where_people_disagree_both_pieces_are_looked_for() {
        let lines = [target(1, "10:00:00", r#","item":"TX07""#), target(2, "10:01:00", r#","item":"TX08""#)];
        assert_eq!(kit(&[&day(&lines)]).len(), 2);
        let settled: (&str, &[&str]) = ("target:1:a/item", &[r#"{"v":"TX07"}"#]);
        assert_eq!(states(&[&day_with(&lines, &[settled])]), one(KitState::InSnow));
    }

    #[test]
    fn a_target_that_is_declared_twice_was_buried_once() {
        let lines = [
            target(1, "10:00:00", r#","item":"TX07""#),
            step(2, "11:00:00", "TX07", "dug_up", ""),
            target(3, "11:30:00", r#","item":"TX07","x_m":1,"y_m":2"#),
        ];
        assert_eq!(states(&[&day(&lines)]), one(KitState::Issued));
    }

    #[test]
    fn a_drill_that_uses_targets_again_buries_them_again() {
        let drill = entry(1, "Lead", "09:00:00", "drill", r#""label":"1""#);
        let set = target(2, "09:01:00", r#","item":"TX07""#);
        let dug = step(3, "11:00:00", "TX07", "dug_up", "");
        let again = entry(4, "Lead", "12:00:00", "drill", r#""label":"2","like":"1""#);
        let mut lines = vec![drill, set, dug, again];
        let ledger = kit(&[&day(&lines)]);
        assert_eq!((ledger[0].state, ledger[0].drill.as_deref()), (KitState::InSnow, Some("2")));
        lines.push(step(5, "13:00:00", "TX07", "returned", ""));
        assert_eq!(states(&[&day(&lines)]), one(KitState::Returned));
    }

    #[test]
    fn handing_out_does_not_take_out_of_the_snow_and_lost_is_said() {
        let mut lines =
            vec![step(1, "10:00:00", "TX07", "buried", ""), step(2, "10:05:00", "TX07", "issued", "")];
        assert_eq!(states(&[&day(&lines)]), one(KitState::InSnow));
        lines.push(step(3, "15:00:00", "TX07", "lost", ""));
        assert_eq!(states(&[&day(&lines)]), one(KitState::Lost));
    }

    #[test]
    fn an_alias_of_a_misspelt_label_is_followed() {
        let lines = [step(1, "10:00:00", "TX07", "buried", ""), step(2, "11:00:00", "TX7", "dug_up", "")];
        assert_eq!(kit(&[&day(&lines)]).len(), 2);
        let alias: (&str, &[&str]) = ("alias:item:tx7", &[r#"{"v":"TX07"}"#]);
        assert_eq!(states(&[&day_with(&lines, &[alias])]), one(KitState::Issued));
    }
}
