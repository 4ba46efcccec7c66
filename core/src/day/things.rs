//! The things of a day that entries name by label: drills, targets, people. Each is one thing, however many entries declare it.

use super::key::Key;
use super::record::{Record, disagree, json_equal};
use crate::entry::{Body, Drill, Entry, EntryId, LabelClass, Person, Role, Target, fold};
use serde::Deserialize;
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// One drill, target or person, put together from all entries that declare it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Thing {
    /// The label as it is shown: the first spelling by (at, id).
    pub label: String,
    /// The fields: of each the first value by (at, id), or what a register says.
    pub fields: Map<String, Value>,
    /// Fields on which entries disagree and no register speaks, or on whose register writers disagree.
    pub unsettled: BTreeMap<String, Vec<(Value, EntryId)>>,
    /// The entries that declare it, in the order of (at, id).
    pub declared_by: Vec<EntryId>,
    /// The entries that name it without declaring it.
    pub named_by: Vec<EntryId>,
}

/// Every thing of a day, by folded label.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Things {
    /// Drills by folded label.
    pub drills: BTreeMap<String, Thing>,
    /// Targets by folded labels of drill and target.
    pub targets: BTreeMap<(String, String), Thing>,
    /// People by folded call sign.
    pub people: BTreeMap<String, Thing>,
    /// Roles in one drill, by folded labels of drill and person.
    pub roles: BTreeMap<(String, String), Role>,
    aliases: BTreeMap<(LabelClass, Vec<String>), String>,
}

const COMMON: [&str; 13] =
    ["id", "kind", "at", "by", "drill", "target", "x_m", "y_m", "lat", "lon", "accuracy_m", "note", "clock"];

impl Things {
    /// Puts the things of a day together from the entries that count.
    #[must_use]
    pub fn of(record: &Record) -> Things {
        let mut things = Things { aliases: aliases(record), ..Things::default() };
        for noted in &record.entries {
            if let Some(entry) = noted.counted() {
                things.declare(entry, &noted.json, &noted.unsettled);
            }
        }
        for noted in &record.entries {
            if let Some(entry) = noted.counted() {
                things.name(entry);
            }
        }
        things.settle(record);
        things
    }

    /// The folded label of a drill, aliases followed.
    #[must_use]
    pub fn drill(&self, label: &str) -> String {
        self.meant(LabelClass::Drill, vec![fold(label)])
    }

    /// The folded label of a target of a drill, aliases followed.
    #[must_use]
    pub fn target(&self, drill: &str, label: &str) -> (String, String) {
        let drill = self.drill(drill);
        let target = self.meant(LabelClass::Target, vec![drill.clone(), fold(label)]);
        (drill, target)
    }

    /// The folded call sign of a person, aliases followed.
    #[must_use]
    pub fn person(&self, call_sign: &str) -> String {
        self.meant(LabelClass::Person, vec![fold(call_sign)])
    }

    /// Every folded name that stands for someone of the day, with the folded call sign of that person.
    #[must_use]
    pub fn names_of_people(&self) -> BTreeMap<String, String> {
        let aliases = self.aliases.keys().filter(|(class, _)| *class == LabelClass::Person);
        let names = self.people.keys().chain(aliases.flat_map(|(_, path)| path));
        let meant = names.map(|name| (name.clone(), self.person(name)));
        meant.filter(|(_, person)| self.people.contains_key(person)).collect()
    }

    /// A drill as one, with what it takes from the drill it is like; `None` if nobody declared it.
    #[must_use]
    pub fn drill_as_one(&self, folded: &str) -> Option<Drill> {
        let mut fields = self.drills.get(folded).filter(|t| !t.declared_by.is_empty())?.fields.clone();
        let mut seen = vec![folded.to_owned()];
        let mut like = fields.get("like").and_then(Value::as_str).map(|l| self.drill(l));
        while let Some(label) = like.take().filter(|l| !seen.contains(l)) {
            let Some(earlier) = self.drills.get(&label) else { break };
            for (key, value) in &earlier.fields {
                if !["label", "team", "instructor", "form", "like"].contains(&key.as_str())
                    && !fields.contains_key(key)
                {
                    fields.insert(key.clone(), value.clone());
                }
            }
            like = earlier.fields.get("like").and_then(Value::as_str).map(|l| self.drill(l));
            seen.push(label);
        }
        Drill::deserialize(&fields).ok()
    }

    /// The targets of a drill with the thing that each is, those of the drill it is like included.
    #[must_use]
    pub fn targets_of(&self, folded_drill: &str) -> BTreeMap<String, &Thing> {
        let mut found: BTreeMap<String, &Thing> = BTreeMap::new();
        let mut seen = Vec::new();
        let mut at = Some(folded_drill.to_owned());
        while let Some(drill) = at.take().filter(|d| !seen.contains(d)) {
            for ((of, label), thing) in &self.targets {
                let of_use = seen.is_empty() || !thing.declared_by.is_empty();
                if *of == drill && of_use && found.get(label).is_none_or(|t| t.declared_by.is_empty()) {
                    found.insert(label.clone(), thing);
                }
            }
            at = self
                .drills
                .get(&drill)
                .and_then(|d| d.fields.get("like"))
                .and_then(Value::as_str)
                .map(|l| self.drill(l));
            seen.push(drill);
        }
        found
    }

    /// A target as one; `None` if nobody declared it.
    #[must_use]
    pub fn target_as_one(&self, drill: &str, folded: &str) -> Option<Target> {
        let thing = *self.targets_of(drill).get(folded)?;
        (!thing.declared_by.is_empty()).then(|| Target::deserialize(&thing.fields).ok()).flatten()
    }

    /// A person as one; `None` if nobody declared them.
    #[must_use]
    pub fn person_as_one(&self, folded: &str) -> Option<Person> {
        let thing = self.people.get(folded)?;
        (!thing.declared_by.is_empty()).then(|| Person::deserialize(&thing.fields).ok()).flatten()
    }

    fn meant(&self, class: LabelClass, mut path: Vec<String>) -> String {
        if self.aliases.is_empty() {
            return path.pop().unwrap_or_default();
        }
        for _ in 0..8 {
            match self.aliases.get(&(class, path.clone())) {
                Some(to) => {
                    path.pop();
                    path.push(to.clone());
                }
                None => break,
            }
        }
        path.pop().unwrap_or_default()
    }

    fn declare(&mut self, entry: &Entry, json: &Map<String, Value>, unsettled: &[String]) {
        let (thing, label) = match &entry.body {
            Body::Drill(d) => {
                let folded = self.drill(&d.label.0);
                (self.drills.entry(folded).or_default(), &d.label.0)
            }
            Body::Target(t) => {
                let Some(drill) = &entry.common.drill else { return };
                let key = self.target(&drill.0, &t.label.0);
                (self.targets.entry(key).or_default(), &t.label.0)
            }
            Body::Person(p) => {
                let folded = self.person(&p.call_sign.0);
                if let (Some(drill), Some(role)) = (&entry.common.drill, p.role) {
                    let drill = self.drill(&drill.0);
                    self.roles.entry((drill, folded.clone())).or_insert(role);
                }
                let in_drill = entry.common.drill.is_some();
                let thing = self.people.entry(folded).or_default();
                if in_drill {
                    thing.first_named(&p.call_sign.0, entry.common.id, true);
                    return;
                }
                (thing, &p.call_sign.0)
            }
            _ => return,
        };
        thing.first_named(label, entry.common.id, true);
        for (key, value) in json.iter().filter(|(k, _)| !COMMON.contains(&k.as_str())) {
            match thing.fields.get(key) {
                None => {
                    thing.fields.insert(key.clone(), value.clone());
                }
                Some(first) if is_label(key) || json_equal(first, value) => {}
                Some(first) => {
                    let first = first.clone();
                    let at = thing.declared_by[0];
                    let values = thing.unsettled.entry(key.clone()).or_insert_with(|| vec![(first, at)]);
                    values.push((value.clone(), entry.common.id));
                }
            }
        }
        for field in
            unsettled.iter().filter(|f| !COMMON.contains(&f.as_str()) && *f != "void" && *f != "body")
        {
            let value = json.get(field).cloned().unwrap_or(Value::Null);
            thing.unsettled.entry(field.clone()).or_default().push((value, entry.common.id));
        }
    }

    fn name(&mut self, entry: &Entry) {
        let id = entry.common.id;
        if let Some(drill) = &entry.common.drill {
            let folded = self.drill(&drill.0);
            self.drills.entry(folded).or_default().first_named(&drill.0, id, false);
            if let Some(target) = &entry.common.target {
                let key = self.target(&drill.0, &target.0);
                self.targets.entry(key).or_default().first_named(&target.0, id, false);
            }
        }
        for call_sign in people_named(entry) {
            let folded = self.person(call_sign);
            self.people.entry(folded).or_default().first_named(call_sign, id, false);
        }
    }

    fn settle(&mut self, record: &Record) {
        for (key, said) in &record.registers.0 {
            let (Key::Declared(class, path, field), Some(stands)) = (key, said.first()) else { continue };
            let thing = match (class, path.as_slice()) {
                (LabelClass::Drill, [drill]) => self.drills.get_mut(drill),
                (LabelClass::Target, [drill, target]) => {
                    self.targets.get_mut(&(drill.clone(), target.clone()))
                }
                (LabelClass::Person, [person]) => self.people.get_mut(person),
                _ => None,
            };
            let Some(thing) = thing else { continue };
            thing.unsettled.remove(field);
            if stands.v.is_null() {
                thing.fields.remove(field);
            } else {
                thing.fields.insert(field.clone(), stands.v.clone());
            }
            if disagree(said) {
                let at = thing.declared_by.first().or(thing.named_by.first()).copied();
                let values = said.iter().filter_map(|s| Some((s.v.clone(), at?)));
                thing.unsettled.insert(field.clone(), values.collect());
            }
        }
    }
}

impl Thing {
    fn first_named(&mut self, label: &str, id: EntryId, declares: bool) {
        if self.label.is_empty() {
            label.trim().clone_into(&mut self.label);
        }
        if declares {
            self.declared_by.push(id);
        } else {
            self.named_by.push(id);
        }
    }
}

/// Fields whose spelling may differ without being a contradiction: they hold the label itself.
fn is_label(field: &str) -> bool {
    field == "label" || field == "call_sign"
}

/// Every call sign that an entry names, the writer first.
pub(crate) fn people_named(entry: &Entry) -> Vec<&str> {
    let mut named = vec![entry.common.by.0.as_str()];
    let person = match &entry.body {
        Body::Check(c) => Some(&c.person),
        Body::Moment(m) => m.person.as_ref(),
        Body::Strike(s) => s.person.as_ref(),
        Body::Interference(i) => i.person.as_ref(),
        Body::Track(t) => Some(&t.person),
        Body::Note(n) => n.person.as_ref(),
        Body::Drill(d) => d.instructor.as_ref(),
        Body::Person(p) => Some(&p.call_sign),
        Body::Rotation(r) => {
            named.extend(r.shovellers.iter().flatten().map(|s| s.0.as_str()));
            r.front.as_ref()
        }
        _ => None,
    };
    named.extend(person.map(|p| p.0.as_str()));
    named
}

fn aliases(record: &Record) -> BTreeMap<(LabelClass, Vec<String>), String> {
    let alias = |key: &Key, v: &Value| match (key, v.as_str()) {
        (Key::Alias(class, path), Some(to)) => Some(((*class, path.clone()), fold(to))),
        _ => None,
    };
    record.registers.0.iter().filter_map(|(key, said)| alias(key, &said.first()?.v)).collect()
}
