//! Twins: two people wrote down one event. Proposed here, settled by a person, counted once by insight until then.
//!
//! Entries that could tell of one event are joined nearest first into clusters that hold each writer once, so between any two writers the
//! matching is one to one. What people settled comes first and is never proposed again.

use super::ground::Ground;
use super::item::{Item, Sort};
use crate::clock::Corrected;
use crate::day::{Groups, Key, Noted};
use crate::entry::{Body, Entry, EntryId, Outcome, Step};
use std::collections::{BTreeMap, HashMap, HashSet};

/// How far apart two entries of one event may be.
#[derive(Clone, Copy, Debug)]
pub struct Window {
    /// The kind of entry.
    pub kind: &'static str,
    /// The farthest, milliseconds; what is not known of the two clocks is added.
    pub window_ms: i64,
    /// Why.
    pub reason: &'static str,
}

/// The windows: constants of the format, since every device must propose the same twins. Common practice, no source.
///
/// Two clocks that are each within 3 s lie up to 6 s apart; like events of one target follow each other by 15 s or more.
pub const WINDOWS: [Window; 7] = [
    Window {
        kind: "moment",
        window_ms: 8_000,
        reason: "pressed on the instant: clocks, and a second to react each",
    },
    Window { kind: "strike", window_ms: 8_000, reason: "as the moment strike, with which it pools" },
    Window { kind: "rotation", window_ms: 8_000, reason: "turns change on a call that all hear" },
    Window { kind: "depth", window_ms: 10_000, reason: "read out once, then written down by each" },
    Window {
        kind: "interference",
        window_ms: 10_000,
        reason: "written once it is understood, not on the instant",
    },
    Window { kind: "check", window_ms: 10_000, reason: "called out once, then written down by each" },
    Window { kind: "probe_pass", window_ms: 10_000, reason: "begins on a call, but its form takes a while" },
];

/// By how much a window widens where two clocks were never compared, milliseconds: phones and watches that nobody has set for some weeks.
/// Common practice, no source. Constant of the format, as the windows are.
pub const NEVER_COMPARED_MS: f64 = 60_000.0;

/// Neighbours in time that are tried: four entries of each of eight writers. It keeps a day of any size near linear.
const NEIGHBOURS: usize = 32;

/// Which entries tell of one event, proposals taken as true.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OneEvent {
    /// The groups.
    pub groups: Groups,
    /// The pairs that are joined only because they seem to tell of one event and nobody has said anything about them; smaller id first, in the
    /// order of time.
    pub proposed: Vec<(EntryId, EntryId)>,
}

impl OneEvent {
    /// Of a day: settled so, so by definition (a writer's own moment strike and strike of one target; everybody's first start of a drill), or
    /// proposed.
    #[must_use]
    pub fn of(ground: &Ground<'_>) -> OneEvent {
        let Matching { by_definition, proposed } = Matching::of(ground);
        let mut groups = Groups::of(ground.record);
        for (a, b) in by_definition.iter().chain(&proposed) {
            groups.join(*a, *b);
        }
        OneEvent { groups, proposed }
    }
}

/// The items of proposed twins.
pub(super) fn items(ground: &Ground<'_>, one_event: &OneEvent) -> Vec<Item> {
    let item = |(a, b): &(EntryId, EntryId)| {
        let (one, other) = (ground.noted(*a)?, ground.noted(*b)?);
        let (told, too) = (ground.tell(one), ground.tell(other));
        let apart = apart(&ground.clocks.at(one), &ground.clocks.at(other));
        let says = format!("{told} and {too}, {apart}: one event, or two?");
        let entries = vec![*a, *b];
        let ask = ground.writers(&entries);
        Some(Item { entries, ask, ..Item::new(Key::same(*a, *b), Sort::Twin, ground.record.id, says) })
    };
    one_event.proposed.iter().filter_map(item).collect()
}

/// How far apart two instants are, in words, with what is not known of it.
fn apart(one: &Corrected, other: &Corrected) -> String {
    let apart_s = one.apart_ms(other) / 1000.0;
    match one.unknown_ms(other) {
        None => format!("{apart_s:.1} s apart by clocks that were never compared"),
        Some(0.0) => format!("{apart_s:.1} s apart"),
        Some(unknown_ms) => format!("{apart_s:.1} ± {:.1} s apart", unknown_ms / 1000.0),
    }
}

/// An entry that may have a twin.
struct Event<'a> {
    id: EntryId,
    entry: &'a Entry,
    at: Corrected,
    window_ms: i64,
    writer: String,
    /// What must be equal: the drill and what happened.
    class: (Option<String>, String),
    /// What must not contradict; an absent one fits anything. The target comes first.
    traits: [Option<String>; 3],
}

impl<'a> Event<'a> {
    fn of(ground: &Ground<'_>, noted: &'a Noted) -> Option<Event<'a>> {
        let entry = noted.counted()?;
        let window_ms = WINDOWS.iter().find(|w| w.kind == entry.body.kind())?.window_ms;
        let things = &ground.things;
        let person = |p: &Option<crate::entry::CallSign>| p.as_ref().map(|p| things.person(&p.0));
        let (what, traits) = match &entry.body {
            Body::Moment(m) if m.step == Step::Strike => ("strike".to_owned(), [person(&m.person), None]),
            Body::Moment(m) => (format!("moment {}", m.step), [person(&m.person), None]),
            Body::Strike(s) => ("strike".to_owned(), [person(&s.person), None]),
            Body::Depth(d) => ("depth".to_owned(), [d.method.map(|m| m.word()), d.datum.map(|d| d.word())]),
            Body::Rotation(r) => (format!("rotation {}", person(&r.front).unwrap_or_default()), [None, None]),
            Body::Interference(i) => (format!("interference {}", i.source), [person(&i.person), None]),
            Body::Check(c) => (format!("check {}", things.person(&c.person.0)), [None, None]),
            other => (other.kind().to_owned(), [None, None]),
        };
        let drill = entry.common.drill.as_ref();
        let target = drill.zip(entry.common.target.as_ref()).map(|(d, t)| things.target(&d.0, &t.0).1);
        let [one, other] = traits;
        Some(Event {
            id: noted.id,
            entry,
            at: ground.clocks.at(noted),
            window_ms,
            writer: things.person(&entry.common.by.0),
            class: (drill.map(|d| things.drill(&d.0)), what),
            traits: [target, one, other],
        })
    }

    fn is_start(&self) -> bool {
        matches!(&self.entry.body, Body::Moment(m) if m.step == Step::Start)
    }

    fn apart_ms(&self, other: &Event<'_>) -> f64 {
        self.at.apart_ms(&other.at)
    }

    fn near(&self, other: &Event<'_>) -> bool {
        let unknown_ms = self.at.unknown_ms(&other.at).unwrap_or(NEVER_COMPARED_MS);
        self.apart_ms(other) <= self.window_ms.max(other.window_ms) as f64 + unknown_ms
    }

    /// Whether the two say things that can't be true of one event.
    fn contradicts(&self, other: &Event<'_>) -> bool {
        let unsure = |e: &Event<'_>| matches!(&e.entry.body, Body::Strike(s) if matches!(s.outcome, Some(Outcome::False | Outcome::Unsure)));
        let pressed = |e: &Event<'_>| matches!(e.entry.body, Body::Moment(_));
        let differ = |(a, b): (&Option<String>, &Option<String>)| a.is_some() && b.is_some() && a != b;
        self.traits.iter().zip(&other.traits).any(differ)
            || (pressed(self) && unsure(other))
            || (unsure(self) && pressed(other))
    }

    /// A writer's own moment strike and strike hit of one target: one event by definition.
    fn own_strike(&self, other: &Event<'_>) -> bool {
        let kinds = match (&self.entry.body, &other.entry.body) {
            (Body::Moment(_), Body::Strike(s)) | (Body::Strike(s), Body::Moment(_)) => {
                s.outcome == Some(Outcome::Hit)
            }
            _ => false,
        };
        kinds && self.writer == other.writer && self.traits[0].is_some() && self.traits[0] == other.traits[0]
    }
}

/// The result for a day.
#[derive(Default)]
struct Matching {
    by_definition: Vec<(EntryId, EntryId)>,
    proposed: Vec<(EntryId, EntryId)>,
}

impl Matching {
    fn of(ground: &Ground<'_>) -> Matching {
        let settled = Groups::of(ground.record);
        let different: HashSet<(EntryId, EntryId)> = settled.different().iter().copied().collect();
        let mut classes: BTreeMap<(Option<String>, String), Vec<Event<'_>>> = BTreeMap::new();
        for noted in &ground.record.entries {
            if let Some(event) = Event::of(ground, noted) {
                classes.entry(event.class.clone()).or_default().push(event);
            }
        }
        let mut matching = Matching::default();
        for mut events in classes.into_values() {
            events.sort_by(|a, b| a.at.ms.total_cmp(&b.at.ms).then(a.id.cmp(&b.id)));
            if events[0].is_start() {
                matching.join_starts(&events, &different);
            } else {
                matching.join_near(&events, &settled, &different);
            }
        }
        let at: HashMap<EntryId, usize> =
            ground.record.entries.iter().enumerate().map(|(i, n)| (n.id, i)).collect();
        matching.proposed.sort_by_key(|(a, b)| (at[a].min(at[b]), *a, *b));
        matching
    }

    /// Everybody presses the start of a drill: each writer's first is one event at any distance.
    fn join_starts(&mut self, events: &[Event<'_>], different: &HashSet<(EntryId, EntryId)>) {
        let mut seen = HashSet::new();
        for event in events.iter().filter(|e| seen.insert(&e.writer)) {
            let pair = ordered(events[0].id, event.id);
            if pair.0 != pair.1 && !different.contains(&pair) {
                self.by_definition.push(pair);
            }
        }
    }

    fn join_near(&mut self, events: &[Event<'_>], settled: &Groups, different: &HashSet<(EntryId, EntryId)>) {
        let mut clusters = Clusters::of(events, different);
        let mut first_of: HashMap<EntryId, usize> = HashMap::new();
        for (i, event) in events.iter().enumerate() {
            let first = *first_of.entry(settled.first(event.id)).or_insert(i);
            clusters.join(first, i);
        }
        let mut own = candidates(events, |a, b| a.own_strike(b));
        own.retain(|(_, a, b)| !different.contains(&ordered(events[*a].id, events[*b].id)));
        let mut used = HashSet::new();
        for (_, a, b) in own {
            if !used.contains(&a) && !used.contains(&b) {
                used.extend([a, b]);
                clusters.join(a, b);
                self.by_definition.push(ordered(events[a].id, events[b].id));
            }
        }
        clusters.fix_knots();
        for (_, a, b) in candidates(events, |a, b| a.writer != b.writer && a.near(b) && !a.contradicts(b)) {
            let (root_a, root_b) = (clusters.root(a), clusters.root(b));
            if root_a != root_b && clusters.may_join(root_a, root_b) {
                clusters.join(root_a, root_b);
                self.proposed.push(ordered(events[a].id, events[b].id));
            }
        }
    }
}

fn ordered(a: EntryId, b: EntryId) -> (EntryId, EntryId) {
    (a.min(b), a.max(b))
}

/// Pairs that `fit`, nearest first. A pair of which only one names its target counts as farther by half a window, so that named ones match first.
fn candidates(
    events: &[Event<'_>],
    fit: impl Fn(&Event<'_>, &Event<'_>) -> bool,
) -> Vec<(f64, usize, usize)> {
    let mut found = Vec::new();
    for (i, one) in events.iter().enumerate() {
        for (j, other) in events.iter().enumerate().skip(i + 1).take(NEIGHBOURS) {
            if fit(one, other) {
                let half_known = one.traits[0].is_some() != other.traits[0].is_some();
                let cost = one.apart_ms(other) + if half_known { one.window_ms as f64 / 2.0 } else { 0.0 };
                found.push((cost, i, j));
            }
        }
    }
    let pair = |(_, i, j): &(f64, usize, usize)| ordered(events[*i].id, events[*j].id);
    found.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| pair(a).cmp(&pair(b))));
    found
}

/// Entries joined so far. A knot is what was joined before any proposal: it stands for one event, wherever its entries lie in time.
struct Clusters<'e, 'a> {
    events: &'e [Event<'a>],
    different: &'e HashSet<(EntryId, EntryId)>,
    parent: Vec<usize>,
    members: Vec<Vec<usize>>,
    knot: Vec<usize>,
}

impl<'e, 'a> Clusters<'e, 'a> {
    fn of(events: &'e [Event<'a>], different: &'e HashSet<(EntryId, EntryId)>) -> Self {
        let alone: Vec<usize> = (0..events.len()).collect();
        let members = alone.iter().map(|i| vec![*i]).collect();
        Clusters { events, different, parent: alone.clone(), members, knot: alone }
    }

    fn root(&mut self, of: usize) -> usize {
        let mut at = of;
        while self.parent[at] != at {
            self.parent[at] = self.parent[self.parent[at]];
            at = self.parent[at];
        }
        at
    }

    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.root(a), self.root(b));
        if a != b {
            let (small, large) = if self.members[a].len() < self.members[b].len() { (a, b) } else { (b, a) };
            let moved = std::mem::take(&mut self.members[small]);
            self.members[large].extend(moved);
            self.parent[small] = large;
        }
    }

    fn fix_knots(&mut self) {
        self.knot = (0..self.events.len()).map(|i| self.root(i)).collect();
    }

    /// Whether two clusters can be one event: no writer twice, nothing that contradicts, no pair settled as different, all knots near one another.
    fn may_join(&self, a: usize, b: usize) -> bool {
        let pairs = || self.members[a].iter().flat_map(|i| self.members[b].iter().map(move |j| (*i, *j)));
        let clash = |(i, j): (usize, usize)| {
            let (one, other) = (&self.events[i], &self.events[j]);
            one.writer == other.writer
                || one.contradicts(other)
                || self.different.contains(&ordered(one.id, other.id))
        };
        if pairs().any(clash) {
            return false;
        }
        let mut near: BTreeMap<(usize, usize), bool> = BTreeMap::new();
        for (i, j) in pairs() {
            *near.entry((self.knot[i], self.knot[j])).or_default() |= self.events[i].near(&self.events[j]);
        }
        near.into_values().all(|near| near)
    }
}

#[cfg(test)]
mod tests;
