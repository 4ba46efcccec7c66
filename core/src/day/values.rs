//! What stands under a key of a day: of the texts that were put there, those that no other one replaces.

use super::effective::Body;
use super::format::{Change, Hash};
use super::identity::{Actor, DeviceId};
use super::key::Key;
use super::record::Saying;
use serde::Deserialize;
use std::collections::{BTreeMap, HashSet};

/// A text under a key, with where it comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// Counter of the operation that put it.
    pub counter: u32,
    /// The actor that put it.
    pub actor: Actor,
    /// Hash of the change that put it.
    pub hash: Hash,
    /// The text.
    pub text: String,
}

impl Written {
    /// The device that put it.
    #[must_use]
    pub fn device(&self) -> DeviceId {
        self.actor.device()
    }

    /// As a body of an entry.
    #[must_use]
    pub fn body(&self) -> Body {
        Body { text: self.text.clone(), device: self.device() }
    }

    /// As a value of a register.
    #[must_use]
    pub fn saying(&self) -> Saying {
        Saying::read(&self.text, self.device())
    }
}

#[derive(Deserialize)]
struct Over {
    #[serde(default)]
    over: Vec<String>,
}

/// The hashes of the changes whose values this text of a register replaces.
#[must_use]
pub fn over(text: &str) -> Vec<Hash> {
    let read = |hex: &String| crate::crew::unhex(hex);
    serde_json::from_str::<Over>(text)
        .map_or_else(|_| Vec::new(), |o| o.over.iter().filter_map(read).collect())
}

/// Of the values of one register, those that no other one replaces, the one that is shown first: that of the largest counter, then actor, as in
/// any Automerge map.
#[must_use]
pub fn live(mut values: Vec<Written>) -> Vec<Written> {
    if values.len() > 1 {
        let replaced: HashSet<Hash> = values.iter().flat_map(|v| over(&v.text)).collect();
        values.retain(|v| !replaced.contains(&v.hash));
        values.sort_by_key(|v| std::cmp::Reverse((v.counter, v.actor)));
    }
    values
}

/// Everything that changes put, by key: bodies all, registers only the live values.
#[must_use]
pub fn values<'a>(changes: impl IntoIterator<Item = &'a Change>) -> BTreeMap<Key, Vec<Written>> {
    let mut all: BTreeMap<Key, Vec<Written>> = BTreeMap::new();
    for change in changes {
        for (put, counter) in change.puts.iter().zip(change.start_op..) {
            all.entry(Key::read(&put.key)).or_default().push(Written {
                counter,
                actor: Actor(change.actor),
                hash: change.hash,
                text: put.text.clone(),
            });
        }
    }
    for (key, values) in &mut all {
        let put = std::mem::take(values);
        *values = if matches!(key, Key::Entry(_)) {
            let mut bodies = put;
            bodies.sort_by_key(|v| std::cmp::Reverse((v.counter, v.actor)));
            bodies
        } else {
            live(put)
        };
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(n: u8, counter: u32, over: &[u8]) -> Written {
        let over: Vec<String> = over.iter().map(|n| crate::crew::hex(&[*n; 32])).collect();
        let text = serde_json::json!({ "v": n, "over": over }).to_string();
        Written { counter, actor: Actor([n; 24]), hash: [n; 32], text }
    }

    #[test]
    fn a_value_is_hidden_by_any_that_is_over_it_even_a_hidden_one() {
        let hashes = |values: Vec<Written>| live(values).iter().map(|v| v.hash[0]).collect::<Vec<_>>();
        assert_eq!(hashes(vec![written(1, 9, &[]), written(2, 10, &[])]), [2, 1], "neither saw the other");
        assert_eq!(hashes(vec![written(1, 9, &[]), written(2, 10, &[1])]), [2]);
        assert_eq!(hashes(vec![written(3, 11, &[2]), written(1, 9, &[]), written(2, 10, &[1])]), [3]);
        assert_eq!(hashes(vec![written(1, 9, &[]), written(3, 11, &[2])]), [3, 1], "2 is not here");
        assert_eq!(hashes(vec![written(2, 5, &[1]), written(1, 9, &[])]), [2], "whatever the counters");
        assert_eq!(over("no object"), Vec::<Hash>::new());
        assert_eq!(over(r#"{"over":["XY"]}"#), Vec::<Hash>::new());
    }
}
