//! Which entries tell of one event: what people settled, made transitive.

use super::key::Key;
use super::record::{Record, disagree};
use crate::entry::EntryId;
use std::collections::BTreeMap;

/// The groups of entries that people called one event, and where they contradict one another.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Groups {
    parent: BTreeMap<EntryId, EntryId>,
    different: Vec<(EntryId, EntryId)>,
    /// Pairs settled as different that lie in one group all the same.
    pub contradictions: Vec<(EntryId, EntryId)>,
}

impl Groups {
    /// Reads the groups of a day. Where writers disagree about a pair, the value that stands counts.
    #[must_use]
    pub fn of(record: &Record) -> Groups {
        let mut groups = Groups::default();
        for (key, said) in &record.registers.0 {
            let (Key::Same(a, b), Some(stands)) = (key, said.first()) else { continue };
            match stands.v.as_bool() {
                Some(true) => groups.join(*a, *b),
                Some(false) => groups.different.push((*a, *b)),
                None => {}
            }
        }
        groups.contradictions =
            groups.different.iter().copied().filter(|(a, b)| groups.first(*a) == groups.first(*b)).collect();
        groups
    }

    /// Joins two entries and all that is joined to them.
    pub fn join(&mut self, a: EntryId, b: EntryId) {
        let (a, b) = (self.first(a), self.first(b));
        if a != b {
            self.parent.insert(a.max(b), a.min(b));
        }
    }

    /// The smallest id of the group of an entry: itself if it is alone.
    #[must_use]
    pub fn first(&self, id: EntryId) -> EntryId {
        let mut at = id;
        while let Some(up) = self.parent.get(&at) {
            at = *up;
        }
        at
    }

    /// Whether people said of this pair that it is one event, or that it is two; `None` if nobody did.
    #[must_use]
    pub fn verdict(&self, a: EntryId, b: EntryId) -> Option<bool> {
        if self.different.contains(&(a.min(b), a.max(b))) {
            return Some(false);
        }
        (self.first(a) == self.first(b)).then_some(true)
    }

    /// Pairs that people settled as different.
    #[must_use]
    pub fn different(&self) -> &[(EntryId, EntryId)] {
        &self.different
    }

    /// Pairs on which people disagree at the same time.
    #[must_use]
    pub fn disputed(record: &Record) -> Vec<(EntryId, EntryId)> {
        let pair = |key: &Key| if let Key::Same(a, b) = key { Some((*a, *b)) } else { None };
        record
            .registers
            .0
            .iter()
            .filter(|(_, said)| disagree(said))
            .filter_map(|(key, _)| pair(key))
            .collect()
    }
}
