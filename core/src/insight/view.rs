//! One day as every question starts from it: its things, its groups of entries that tell of one event, and its entries by drill, put
//! together once. What the questions are is not known here.

use super::left_out::{Tally, reason};
use crate::clock::{Clocks, Corrected};
use crate::day::{Groups, Noted, Record, Thing, Things};
use crate::entry::{Body, Drill, DrillLabel, Entry};
use serde::Deserialize;
use serde_json::Value;
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// A day, indexed.
pub struct View<'a> {
    /// The day.
    pub record: &'a Record,
    /// Its drills, targets and people.
    pub things: Cow<'a, Things>,
    /// Entries that tell of one event, as settled or as proposed.
    pub groups: &'a Groups,
    /// How times are corrected.
    pub clocks: &'a dyn Clocks,
    by_drill: BTreeMap<String, OfDrill<'a>>,
    order: Vec<String>,
}

/// What belongs to one drill.
#[derive(Default)]
struct OfDrill<'a> {
    told: Vec<Told<'a>>,
    targets: Vec<TargetRef>,
}

/// An entry that counts, with the record it stands in.
#[derive(Clone, Copy)]
pub struct Told<'a> {
    /// The entry with what was said about it.
    pub noted: &'a Noted,
    /// The entry itself.
    pub entry: &'a Entry,
    /// Which of [`View::targets`] of its drill it belongs to: the one it names, or the only one there is. `None` where nobody can tell, and
    /// for what [`View::told`] gives, which knows no drill.
    pub at_target: Option<usize>,
}

impl Told<'_> {
    /// Whether none of these fields, nor which body counts, is in open conflict.
    #[must_use]
    pub fn settled(&self, fields: &[&str]) -> bool {
        !self.noted.unsettled.iter().any(|u| u == "body" || fields.contains(&u.as_str()))
    }
}

/// A target of a drill.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TargetRef {
    /// Folded label; empty where a drill has one target that nobody named.
    pub folded: String,
    /// The label as it is shown.
    pub label: String,
    /// The folded label of the drill that declares it: another one where the drill is like an earlier one.
    pub home: String,
}

impl TargetRef {
    /// Its place among the targets of a drill.
    #[must_use]
    pub fn place_in(&self, targets: &[TargetRef]) -> Option<usize> {
        targets.iter().position(|t| t.folded == self.folded)
    }
}

impl<'a> View<'a> {
    /// Indexes a day; linear in its entries.
    #[must_use]
    pub fn new(record: &'a Record, groups: &'a Groups, clocks: &'a dyn Clocks) -> View<'a> {
        View::over(record, Cow::Owned(Things::of(record)), groups, clocks)
    }

    /// Indexes a day whose things were put together already.
    #[must_use]
    pub fn over(
        record: &'a Record,
        things: Cow<'a, Things>,
        groups: &'a Groups,
        clocks: &'a dyn Clocks,
    ) -> View<'a> {
        let mut by_drill: BTreeMap<String, OfDrill<'a>> = BTreeMap::new();
        let mut order = Vec::new();
        for noted in &record.entries {
            let Some(entry) = noted.counted() else { continue };
            let label = match (&entry.body, &entry.common.drill) {
                (Body::Drill(d), _) => &d.label.0,
                (_, Some(drill)) => &drill.0,
                (_, None) => continue,
            };
            let of_drill = by_drill.entry(things.drill(label)).or_insert_with_key(|folded| {
                order.push(folded.clone());
                OfDrill::default()
            });
            of_drill.told.push(Told { noted, entry, at_target: None });
        }
        let mut view = View { record, things, groups, clocks, by_drill: BTreeMap::new(), order };
        for (drill, of_drill) in &mut by_drill {
            of_drill.targets = view.find_targets(drill);
            view.place(of_drill);
        }
        view.by_drill = by_drill;
        view
    }

    /// Says of each entry of a drill to which target it belongs.
    fn place(&self, of_drill: &mut OfDrill<'a>) {
        let only = self.only_target(&of_drill.targets);
        let mut known: HashMap<&str, Option<usize>> = HashMap::new();
        for told in &mut of_drill.told {
            let entry: &'a Entry = told.entry;
            told.at_target = match (&entry.common.drill, &entry.common.target) {
                (Some(drill), Some(label)) => *known.entry(&label.0).or_insert_with(|| {
                    let folded = self.things.target(&drill.0, &label.0).1;
                    of_drill.targets.iter().position(|t| t.folded == folded)
                }),
                _ => only,
            };
        }
    }

    /// Folded labels of the drills, in the order in which they were first written of.
    #[must_use]
    pub fn drills(&self) -> &[String] {
        &self.order
    }

    /// The entries of a drill that count, in the order of (at, id).
    #[must_use]
    pub fn of_drill(&self, folded: &str) -> &[Told<'a>] {
        self.by_drill.get(folded).map_or(&[], |d| &d.told)
    }

    /// Every entry that counts, in the order of (at, id).
    pub fn told(&self) -> impl Iterator<Item = Told<'a>> + use<'a> {
        self.record
            .entries
            .iter()
            .filter_map(|noted| Some(Told { noted, entry: noted.counted()?, at_target: None }))
    }

    /// A drill as set up, with what it takes from the drill it is like. Fields in open conflict are unknown; of a drill that nobody declared
    /// only the label is known.
    #[must_use]
    pub fn drill(&self, folded: &str) -> Drill {
        let label = self.things.drills.get(folded).map_or(folded, |t| t.label.as_str());
        let bare = || Value::from_iter([("label", label)]);
        let declared = self.things.drill_as_one(folded).and_then(|d| serde_json::to_value(d).ok());
        let mut fields = declared.unwrap_or_else(bare);
        if let Some(map) = fields.as_object_mut() {
            for field in self.in_conflict(folded) {
                map.remove(&field);
            }
            map.insert("label".to_owned(), label.into());
        }
        Drill::deserialize(&fields).unwrap_or_else(|_| Drill::named(DrillLabel(label.to_owned())))
    }

    /// Fields of a drill that are in open conflict, there or where the drill takes them from.
    fn in_conflict(&self, folded: &str) -> BTreeSet<String> {
        let mut found = BTreeSet::new();
        let mut known: BTreeSet<&String> = BTreeSet::new();
        for drill in self.like_chain(folded) {
            let Some(thing) = self.things.drills.get(&drill) else { continue };
            found.extend(thing.unsettled.keys().filter(|f| !known.contains(f)).cloned());
            known.extend(thing.fields.keys());
        }
        found
    }

    /// The drill, the one it is like, the one that is like, and so on.
    fn like_chain(&self, folded: &str) -> Vec<String> {
        let mut chain = vec![folded.to_owned()];
        let like = |drill: &String| {
            let label = self.things.drills.get(drill)?.fields.get("like")?.as_str()?;
            Some(self.things.drill(label))
        };
        while let Some(next) = chain.last().and_then(like).filter(|next| !chain.contains(next)) {
            chain.push(next);
        }
        chain
    }

    /// The targets of a drill: the declared ones, those of the drill it is like, and any that entries name. Where there is none, one target
    /// without a label, so that a run that nobody gave a target still has a time line.
    #[must_use]
    pub fn targets(&self, drill: &str) -> Vec<TargetRef> {
        self.by_drill.get(drill).map_or_else(|| self.find_targets(drill), |d| d.targets.clone())
    }

    fn find_targets(&self, drill: &str) -> Vec<TargetRef> {
        let mut targets: Vec<TargetRef> = self
            .things
            .targets_of(drill)
            .into_iter()
            .map(|(folded, thing)| TargetRef {
                label: thing.label.clone(),
                home: self.home(drill, &folded),
                folded,
            })
            .collect();
        if targets.is_empty() {
            targets.push(TargetRef { folded: String::new(), label: String::new(), home: drill.to_owned() });
        }
        targets
    }

    /// The drill of the chain that declares a target, else the drill itself.
    fn home(&self, drill: &str, target: &str) -> String {
        let declares = |d: &String| {
            self.things
                .targets
                .get(&(d.clone(), target.to_owned()))
                .is_some_and(|t| !t.declared_by.is_empty())
        };
        self.like_chain(drill).into_iter().find(declares).unwrap_or_else(|| drill.to_owned())
    }

    /// A target as it was set; `None` if nobody declared it. Fields in open conflict are unknown.
    #[must_use]
    pub fn target(&self, at: &TargetRef) -> Option<crate::entry::Target> {
        let thing: &Thing = self.things.targets.get(&(at.home.clone(), at.folded.clone()))?;
        if thing.declared_by.is_empty() {
            return None;
        }
        let mut fields = thing.fields.clone();
        fields.retain(|key, _| !thing.unsettled.contains_key(key));
        crate::entry::Target::deserialize(&fields).ok()
    }

    /// The only target of a drill: of the declared ones where any is declared.
    fn only_target(&self, targets: &[TargetRef]) -> Option<usize> {
        let declared: Vec<usize> = (0..targets.len()).filter(|i| self.is_declared(&targets[*i])).collect();
        match (declared.as_slice(), targets) {
            ([one], _) => Some(*one),
            ([], [_]) => Some(0),
            _ => None,
        }
    }

    fn is_declared(&self, target: &TargetRef) -> bool {
        let key = (target.home.clone(), target.folded.clone());
        self.things.targets.get(&key).is_some_and(|t| !t.declared_by.is_empty())
    }

    /// The first entry of each event: twins count once.
    #[must_use]
    pub fn once<'t>(&self, told: impl Iterator<Item = Told<'t>>) -> Vec<Told<'t>> {
        let mut seen = BTreeSet::new();
        told.filter(|t| seen.insert(self.groups.first(t.noted.id))).collect()
    }

    /// When an entry was written for, as it counts.
    #[must_use]
    pub fn time(&self, told: Told<'_>) -> Corrected {
        self.clocks.at(told.noted)
    }

    /// The call sign of a folded one, as it is shown.
    #[must_use]
    pub fn call_sign(&self, folded: &str) -> String {
        self.things.people.get(folded).map_or_else(|| folded.to_owned(), |t| t.label.clone())
    }

    /// What the day's answers leave out whatever the question: struck-out and opaque entries, and those of a drill that name none.
    #[must_use]
    pub fn not_counted(&self) -> Tally {
        let mut tally = Tally::default();
        for noted in &self.record.entries {
            match &noted.entry {
                _ if noted.void.is_some() => tally.add(reason::VOID),
                None => tally.add(reason::OPAQUE),
                Some(entry) if entry.common.drill.is_none() && is_of_a_drill(&entry.body) => {
                    tally.add(reason::NO_DRILL);
                }
                Some(_) => {}
            }
        }
        tally
    }
}

fn is_of_a_drill(body: &Body) -> bool {
    match body {
        Body::Target(_) | Body::Moment(_) | Body::Strike(_) | Body::Depth(_) => true,
        Body::Rotation(_) | Body::Track(_) | Body::ProbePass(_) => true,
        Body::Person(_) | Body::Check(_) | Body::Kit(_) | Body::Drill(_) | Body::Interference(_) => false,
        Body::ClockMark(_) | Body::ClockOffset(_) | Body::Note(_) => false,
    }
}
