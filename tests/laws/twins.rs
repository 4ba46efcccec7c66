//! Twins on generated days whose truth is known: how many pairs that are proposed are right, how many that are right are proposed, over the gap
//! between like events; and that finding them stays near linear.

use cpu_time::ProcessTime;
use firnbook_core::clock::RawClocks;
use firnbook_core::day::{Body, DayId, DeviceId, Record, Registers, effective};
use firnbook_core::entry::{EntryId, Time};
use firnbook_core::review::{Ground, OneEvent};
use proptest::prelude::Rng;
use proptest::test_runner::{RngAlgorithm, TestRng};
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

const WRITERS: usize = 8;
/// Each clock is this far from true time at most.
const CLOCK_MS: i64 = 3_000;
/// From the event to the press.
const REACTION_MS: i64 = 1_000;
const EVENTS_A_STREAM: usize = 60;
/// 2027-02-06T09:00:00+01:00.
const MORNING_MS: i64 = 1_801_900_800_000;

/// Events that only their times keep apart: one target's, or one person's at the head of the hole.
const STREAMS: [(&str, &str, Option<&str>); 7] = [
    ("moment", r#"{"step":"signal"}"#, Some("A")),
    ("moment", r#"{"step":"signal"}"#, Some("B")),
    ("moment", r#"{"step":"strike"}"#, Some("A")),
    ("strike", r#"{"outcome":"hit"}"#, Some("B")),
    ("depth", r#"{"depth_cm":110,"method":"probe"}"#, Some("A")),
    ("rotation", r#"{"front":"Dig1"}"#, Some("A")),
    ("interference", r#"{"source":"radio"}"#, None),
];

struct Random(TestRng);

impl Random {
    fn new(seed: u8) -> Random {
        Random(TestRng::from_seed(RngAlgorithm::ChaCha, &[seed; 32]))
    }

    /// A number from `low` to `high`, both included.
    fn between(&mut self, low: i64, high: i64) -> i64 {
        let span = u64::try_from(high - low + 1).unwrap();
        low + i64::try_from(self.0.next_u64() % span).unwrap()
    }

    fn chance(&mut self, share: f64) -> bool {
        f64::from(self.0.next_u32()) < share * f64::from(u32::MAX)
    }
}

/// A day, and which true event each entry tells of.
struct Known {
    record: Record,
    event_of: BTreeMap<EntryId, usize>,
}

/// `doubled` of the events are told by two writers or more (of these a third by three to eight); a tenth of the entries lack their target.
/// Some writers press hits as the moment strike, some write them as a strike; nobody does both, since a writer's own moment and strike of one
/// target are one event by definition.
fn generated(seed: u8, doubled: f64, gap_s: (i64, i64)) -> Known {
    let mut random = Random::new(seed);
    let clocks: Vec<i64> = (0..WRITERS).map(|_| random.between(-CLOCK_MS, CLOCK_MS)).collect();
    let presses: Vec<bool> = (0..WRITERS).map(|_| random.chance(0.5)).collect();
    let (mut entries, mut event_of, mut events) = (Vec::new(), BTreeMap::new(), 0);
    for (kind, fields, target) in STREAMS {
        let mut at_ms = MORNING_MS + random.between(0, 60_000);
        for _ in 0..EVENTS_A_STREAM {
            at_ms += random.between(gap_s.0 * 1000, gap_s.1 * 1000);
            let told_by = match random.chance(doubled) {
                false => 1,
                true if random.chance(1.0 / 3.0) => random.between(3, 8),
                true => 2,
            };
            let mut writers = BTreeSet::new();
            while i64::try_from(writers.len()).unwrap() < told_by {
                writers.insert(usize::try_from(random.between(0, 7)).unwrap());
            }
            for writer in writers {
                let shown_ms = at_ms + clocks[writer] + random.between(0, REACTION_MS);
                let number = u32::try_from(entries.len()).unwrap().to_be_bytes();
                let mut low = [0; 10];
                low[6..].copy_from_slice(&number);
                let id = EntryId::new(shown_ms, low);
                let mut json: Value = serde_json::from_str(fields).unwrap();
                let strike = kind == "strike" || fields.contains("strike");
                let kind = match strike {
                    true if presses[writer] => "moment",
                    true => "strike",
                    false => kind,
                };
                if strike {
                    json =
                        if kind == "moment" { json!({"step": "strike"}) } else { json!({"outcome": "hit"}) };
                }
                json["id"] = json!(id);
                json["kind"] = json!(kind);
                json["at"] = json!(Time::from_millis(shown_ms, 60).unwrap());
                json["by"] = json!(format!("Obs{writer}"));
                json["drill"] = json!("1");
                if let Some(target) = target.filter(|_| !random.chance(0.1)) {
                    json["target"] = json!(target);
                }
                let body =
                    Body { text: json.to_string(), device: DeviceId([u8::try_from(writer).unwrap(); 16]) };
                entries.push(effective(id, &[body], &Registers::default()));
                event_of.insert(id, events);
            }
            events += 1;
        }
    }
    entries.sort_by_key(|n| (n.at().map(Time::millis), n.id));
    let date = "2027-02-06".parse().unwrap();
    let area = "Upper Bowl".to_owned();
    let record = Record { id: DayId::of(date, &area), date, area, entries, registers: Registers::default() };
    Known { record, event_of }
}

/// Pairs of entries: proposed and right, proposed, right.
#[derive(Clone, Copy, Default)]
struct Score {
    hits: usize,
    proposed: usize,
    truth: usize,
}

impl Score {
    fn of(known: &Known) -> Score {
        let groups = OneEvent::of(&Ground::of(&known.record, &RawClocks)).groups;
        let mut told: BTreeMap<EntryId, Vec<usize>> = BTreeMap::new();
        let mut of_event: BTreeMap<usize, usize> = BTreeMap::new();
        for (id, event) in &known.event_of {
            told.entry(groups.first(*id)).or_default().push(*event);
            *of_event.entry(*event).or_default() += 1;
        }
        let pairs = |n: usize| n * n.saturating_sub(1) / 2;
        let hits_in = |events: &Vec<usize>| {
            let mut same: BTreeMap<usize, usize> = BTreeMap::new();
            events.iter().for_each(|e| *same.entry(*e).or_default() += 1);
            same.into_values().map(pairs).sum::<usize>()
        };
        Score {
            hits: told.values().map(hits_in).sum(),
            proposed: told.values().map(|e| pairs(e.len())).sum(),
            truth: of_event.into_values().map(pairs).sum(),
        }
    }

    fn plus(self, other: Score) -> Score {
        Score {
            hits: self.hits + other.hits,
            proposed: self.proposed + other.proposed,
            truth: self.truth + other.truth,
        }
    }

    fn precision(self) -> f64 {
        self.hits as f64 / self.proposed.max(1) as f64
    }

    fn recall(self) -> f64 {
        self.hits as f64 / self.truth.max(1) as f64
    }
}

fn pooled(seeds: std::ops::Range<u8>, doubled: f64, gap_s: (i64, i64)) -> Score {
    seeds.map(|seed| Score::of(&generated(seed, doubled, gap_s))).fold(Score::default(), Score::plus)
}

#[test]
fn proposed_twins_are_right_and_few_are_missed() {
    println!("gap s   precision  recall   (40 % of the events doubled, fixed gap)");
    for gap in [5, 8, 10, 12, 15, 20, 30, 60, 120] {
        let score = pooled(0..4, 0.4, (gap, gap));
        println!("{gap:>5}   {:>9.4}  {:.4}", score.precision(), score.recall());
    }
    println!("doubled precision  recall   wrong pairs (gaps 15 to 120 s)");
    let mut all = Score::default();
    for doubled in [0.0, 0.1, 0.2, 0.3, 0.4] {
        let score = pooled(0..8, doubled, (15, 120));
        let wrong = score.proposed - score.hits;
        println!("{doubled:>7} {:>9.4}  {:.4}   {wrong}", score.precision(), score.recall());
        all = all.plus(score);
    }
    println!("    all {:>9.4}  {:.4}   n = {} true pairs", all.precision(), all.recall(), all.truth);
    assert!(all.precision() >= 0.97, "precision {}", all.precision());
    assert!(all.recall() >= 0.93, "recall {}", all.recall());
}

#[test]
fn any_two_writers_are_matched_one_to_one() {
    let known = generated(77, 0.4, (5, 20));
    let groups = OneEvent::of(&Ground::of(&known.record, &RawClocks)).groups;
    let mut writers: BTreeMap<(EntryId, String, bool), usize> = BTreeMap::new();
    for entry in known.record.entries.iter().filter_map(|n| n.counted()) {
        let written = entry.common.kind == "strike";
        *writers.entry((groups.first(entry.common.id), entry.common.by.0.clone(), written)).or_default() += 1;
    }
    assert!(writers.values().all(|n| *n == 1), "a group holds an event once a writer");
}

#[test]
fn finding_twins_stays_near_linear() {
    let dense = |n: usize| {
        let mut known = generated(5, 0.4, (15, 15));
        let pattern = known.record.entries.clone();
        known.record.entries = (0..n)
            .map(|i| {
                let mut noted = pattern[i % pattern.len()].clone();
                let mut low = [0; 10];
                low[6..].copy_from_slice(&u32::try_from(i).unwrap().to_be_bytes());
                noted.id = EntryId::new(MORNING_MS, low);
                let entry = noted.entry.as_mut().unwrap();
                entry.common.id = noted.id;
                entry.common.at = Time::from_millis(MORNING_MS + i64::try_from(i % 50).unwrap(), 60).unwrap();
                noted
            })
            .collect();
        known.record
    };
    let took = |record: &Record| {
        let once = || {
            let begun = ProcessTime::now();
            assert!(!OneEvent::of(&Ground::of(record, &RawClocks)).proposed.is_empty());
            begun.elapsed()
        };
        (0..3).map(|_| once()).min().unwrap_or(Duration::MAX)
    };
    let (small, large) = (took(&dense(2_000)), took(&dense(8_000)));
    println!("all within a second: 2,000 entries {small:?}, 8,000 entries {large:?}");
    assert!(large < small * 8, "4 times the entries took {small:?} and then {large:?}");
}
