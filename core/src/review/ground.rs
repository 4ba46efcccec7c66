//! What every room of review stands on: a day with its things, its clocks and an index of its entries, and how these are put into words.

use crate::clock::Clocks;
use crate::day::{Noted, Record, Things};
use crate::entry::{Body, CallSign, EntryId, Time, fold};
use std::borrow::Cow;
use std::collections::{BTreeMap, HashMap};

/// A day made ready for review.
pub struct Ground<'a> {
    pub(super) record: &'a Record,
    pub(super) things: Cow<'a, Things>,
    pub(super) clocks: &'a dyn Clocks,
    by_id: HashMap<EntryId, &'a Noted>,
}

impl<'a> Ground<'a> {
    /// A day by itself. `clocks` puts instants on one time line: the day's own, [`TimeLine`](crate::clock::TimeLine).
    #[must_use]
    pub fn of(record: &'a Record, clocks: &'a dyn Clocks) -> Ground<'a> {
        Ground::over(record, Cow::Owned(Things::of(record)), clocks)
    }

    /// A day whose things were put together already.
    #[must_use]
    pub fn over(record: &'a Record, things: Cow<'a, Things>, clocks: &'a dyn Clocks) -> Ground<'a> {
        let by_id = record.entries.iter().map(|n| (n.id, n)).collect();
        Ground { record, things, clocks, by_id }
    }

    pub(super) fn noted(&self, id: EntryId) -> Option<&'a Noted> {
        self.by_id.get(&id).copied()
    }

    /// A call sign as it is shown.
    pub(super) fn spelled(&self, call_sign: &str) -> String {
        let shown = self.things.people.get(&self.things.person(call_sign)).map(|p| p.label.clone());
        shown.unwrap_or_else(|| call_sign.trim().to_owned())
    }

    /// Call signs as they are shown, each once, in the order of their folds.
    pub(super) fn people<'s>(&self, call_signs: impl IntoIterator<Item = &'s str>) -> Vec<String> {
        let mut shown: BTreeMap<String, String> = BTreeMap::new();
        for call_sign in call_signs.into_iter().filter(|c| !c.trim().is_empty()) {
            let spelled = self.spelled(call_sign);
            let one = shown.entry(self.things.person(call_sign)).or_insert_with(|| spelled.clone());
            *one = spelled.min(std::mem::take(one));
        }
        shown.into_values().collect()
    }

    /// Who wrote these entries.
    pub(super) fn writers(&self, entries: &[EntryId]) -> Vec<String> {
        self.people(entries.iter().filter_map(|id| writer(self.noted(*id)?)))
    }

    /// "strike of target A in drill 1 (Obs1, 10:08:20)".
    pub(super) fn tell(&self, noted: &Noted) -> String {
        let Some(entry) = &noted.entry else {
            let by = writer(noted).map(|by| format!(" by {}", self.spelled(by))).unwrap_or_default();
            return format!("entry {}{by}", noted.id);
        };
        let what = match &entry.body {
            Body::Moment(m) => m.step.word().replace('_', " "),
            Body::Check(c) => format!("check of {}", self.spelled(&c.person.0)),
            Body::Kit(k) => format!("{} of {}", k.step.word().replace('_', " "), k.item),
            Body::Rotation(r) => turn_of(r.front.as_ref()),
            other => other.kind().replace('_', " "),
        };
        let target = entry.common.target.as_ref().map(|t| format!(" of target {t}")).unwrap_or_default();
        let drill = entry.common.drill.as_ref().map(|d| format!(" in drill {d}")).unwrap_or_default();
        let by = self.spelled(&entry.common.by.0);
        format!("{what}{target}{drill} ({by}, {})", time_of_day(entry.common.at))
    }

    pub(super) fn tell_id(&self, id: EntryId) -> String {
        self.noted(id).map_or_else(|| format!("entry {id}"), |n| self.tell(n))
    }
}

fn turn_of(front: Option<&CallSign>) -> String {
    front.map_or_else(|| "shovel turn".to_owned(), |f| format!("shovel turn of {f}"))
}

/// Call sign of the writer, of an opaque entry too.
pub(super) fn writer(noted: &Noted) -> Option<&str> {
    match &noted.entry {
        Some(entry) => Some(&entry.common.by.0),
        None => noted.json.get("by").and_then(serde_json::Value::as_str),
    }
}

/// "10:08:20", by the offset at which it was written.
pub(super) fn time_of_day(at: Time) -> String {
    at.datetime().format("%H:%M:%S").to_string()
}

/// "a", "a and b", "a, b and c".
pub(super) fn listed(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [others @ .., last] => format!("{} and {last}", others.join(", ")),
    }
}

/// Up to three of `known` that `label` may be a slip of the pen for, the nearest first.
pub(super) fn near(label: &str, known: &[String]) -> Vec<String> {
    let label = fold(label);
    let mut found: Vec<(usize, &String)> =
        known.iter().map(|k| (strsim::damerau_levenshtein(&label, &fold(k)), k)).collect();
    found.retain(|(distance, k)| *distance <= (k.chars().count() / 3).max(1));
    found.sort();
    found.into_iter().take(3).map(|(_, k)| k.clone()).collect()
}
