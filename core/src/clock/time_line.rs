//! The time line of a day: which clocks can be compared with base, by what, and by how much each is off. Better sources go first, and a clock
//! that is known serves to know others: sync, then marks, then starts, then a watch read by hand.

use super::corrected::{Clocks, Corrected};
use super::mark::{MARK_FLOOR_MS, START_FLOOR_MS, shared_offset};
use super::name;
use super::offset::drifted;
use super::told::{Measured, Told};
use crate::day::{ClockName, DeviceId, Noted, Record};
use crate::stats::describe::median;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashMap};

/// Where a clock's offset comes from, the best first.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum), uniffi(name = "ClockSource"))]
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// it is base's own clock
    Base,
    /// measured in a live exchange
    Sync,
    /// marks pressed together
    Mark,
    /// starts of drills pressed on one call
    Start,
    /// read by hand beside a clock that is known
    Hand,
    /// never compared: its times stand only beside one another
    None,
}

/// One clock of a day.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClockLine {
    /// The device; null for a watch
    pub device: Option<DeviceId>,
    /// Which of that device's clocks: 1 is its first, 2 the one after it was moved; or the label of a watch
    pub clock: String,
    /// Call signs of those who wrote by it
    pub by: Vec<String>,
    /// What is added to its time to get base time, at its last entry, ms; null for none
    pub offset_ms: Option<f64>,
    /// Half width within which the true offset lies, the widest over its entries, ms; null for none
    pub uncertainty_ms: Option<f64>,
    /// Where that comes from
    pub from: Source,
    /// Exchanges, marks, starts or readings it comes from
    pub n: usize,
}

/// The clocks of a day on one line.
#[derive(Clone, Debug, Default)]
pub struct TimeLine {
    base: Option<ClockName>,
    known: HashMap<ClockName, Known>,
}

/// A clock that can be compared.
#[derive(Clone, Debug)]
struct Known {
    from: Source,
    n: usize,
    /// In the order of their times; one for all times but for sync.
    at: Vec<Step>,
}

/// An offset as it was at an instant.
#[derive(Clone, Copy, Debug)]
struct Step {
    /// Base time, ms.
    at_ms: f64,
    offset_ms: f64,
    uncertainty_ms: f64,
}

impl Known {
    fn always(from: Source, n: usize, offset_ms: f64, uncertainty_ms: f64) -> Known {
        Known { from, n, at: vec![Step { at_ms: 0.0, offset_ms, uncertainty_ms }] }
    }

    /// Offset and half width for what the clock showed as `raw_ms`: of several measurements the nearest in time.
    fn at(&self, raw_ms: f64) -> Option<(f64, f64)> {
        let apart = |s: &Step| (raw_ms + s.offset_ms - s.at_ms).abs();
        let nearest = self.at.iter().min_by(|a, b| apart(a).total_cmp(&apart(b)))?;
        let uncertainty_ms = match self.from {
            Source::Sync => drifted(nearest.uncertainty_ms, apart(nearest)),
            _ => nearest.uncertainty_ms,
        };
        Some((nearest.offset_ms, uncertainty_ms))
    }
}

/// An instant on the line with its half width, both ms.
#[derive(Clone, Copy)]
struct Instant {
    ms: f64,
    uncertainty_ms: f64,
}

impl TimeLine {
    /// The time line of a day, or of a day in some kinds as long as [`CLOCK_KINDS`](super::CLOCK_KINDS) are among them. Equal entries, equal
    /// line, in whatever order they came.
    #[must_use]
    pub fn of(record: &Record) -> TimeLine {
        let told = Told::of(record);
        let Some(base) = told.base() else { return TimeLine::default() };
        let known = HashMap::from([(base.clone(), Known::always(Source::Base, 0, 0.0, 0.0))]);
        let mut line = TimeLine { base: Some(base), known };
        // Each round asks the best source that tells something new, and judges by what was known before it.
        while let Some(found) = line.next(&told) {
            line.known.extend(found);
        }
        line
    }

    fn next(&self, told: &Told) -> Option<BTreeMap<ClockName, Known>> {
        let sources: [&dyn Fn() -> BTreeMap<ClockName, Known>; 4] = [
            &|| self.by_measurement(&told.measured),
            &|| self.by_presses(Source::Mark, told.marks.values(), MARK_FLOOR_MS),
            &|| self.by_presses(Source::Start, told.starts.values(), START_FLOOR_MS),
            &|| self.by_hand(told),
        ];
        sources.into_iter().map(|source| source()).find(|found| !found.is_empty())
    }

    /// The day's base: whose time the line is.
    #[must_use]
    pub fn base(&self) -> Option<DeviceId> {
        self.base.as_ref().map(|b| b.device)
    }

    /// How far the offsets of this line reach, ms: twice the largest correction and half width. No two entries whose clocks are known are
    /// moved against each other by more.
    #[must_use]
    pub fn reach_ms(&self) -> f64 {
        let steps = self.known.values().flat_map(|k| &k.at);
        2.0 * steps.map(|s| s.offset_ms.abs() + s.uncertainty_ms).fold(0.0, f64::max)
    }

    fn instant(&self, clock: &ClockName, raw_ms: f64) -> Option<Instant> {
        if name::is_base(clock) {
            return Some(Instant { ms: raw_ms, uncertainty_ms: 0.0 });
        }
        let (offset_ms, uncertainty_ms) = self.known.get(clock)?.at(raw_ms)?;
        Some(Instant { ms: raw_ms + offset_ms, uncertainty_ms })
    }

    fn is_known(&self, clock: &ClockName) -> bool {
        name::is_base(clock) || self.known.contains_key(clock)
    }

    /// What a measurement between a known clock and another one tells of that one, whichever of the two was base then.
    fn by_measurement(&self, measured: &[Measured]) -> BTreeMap<ClockName, Known> {
        let mut found: BTreeMap<ClockName, Vec<Step>> = BTreeMap::new();
        for m in measured {
            let (clock, seen_ms, step_ms, known, other_ms) =
                match (self.is_known(&m.clock), self.is_known(&m.base)) {
                    (false, true) => (&m.clock, m.at_ms - m.offset_ms, m.offset_ms, &m.base, m.at_ms),
                    (true, false) => (&m.base, m.at_ms, -m.offset_ms, &m.clock, m.at_ms - m.offset_ms),
                    _ => continue,
                };
            let Some(at) = self.instant(known, other_ms) else { continue };
            // `step_ms` leads to the known clock, and that one's own offset to base.
            let offset_ms = step_ms + (at.ms - other_ms);
            let uncertainty_ms = m.uncertainty_ms + at.uncertainty_ms;
            found.entry(clock.clone()).or_default().push(Step {
                at_ms: seen_ms + offset_ms,
                offset_ms,
                uncertainty_ms,
            });
        }
        let known = |mut at: Vec<Step>| {
            at.sort_by(|a, b| {
                (a.at_ms.total_cmp(&b.at_ms))
                    .then(a.uncertainty_ms.total_cmp(&b.uncertainty_ms))
                    .then(a.offset_ms.total_cmp(&b.offset_ms))
            });
            Known { from: Source::Sync, n: at.len(), at }
        };
        found.into_iter().map(|(clock, at)| (clock, known(at))).collect()
    }

    /// What moments pressed together tell of clocks that are not known yet: against base's own press; for a clock that shares none with base,
    /// against the median press of those that are known.
    fn by_presses<'t>(
        &self,
        from: Source,
        events: impl Iterator<Item = &'t BTreeMap<ClockName, i64>>,
        floor_ms: f64,
    ) -> BTreeMap<ClockName, Known> {
        let mut with_base: BTreeMap<&ClockName, Vec<(f64, f64)>> = BTreeMap::new();
        let mut with_others: BTreeMap<&ClockName, Vec<(f64, f64)>> = BTreeMap::new();
        for presses in events {
            let own = self.base.as_ref().and_then(|base| presses.get(base));
            let (into, reference) = match own {
                Some(ms) => (&mut with_base, Instant { ms: *ms as f64, uncertainty_ms: 0.0 }),
                None => match self.common_press(presses) {
                    Some(instant) => (&mut with_others, instant),
                    None => continue,
                },
            };
            for (clock, ms) in presses.iter().filter(|(clock, _)| !self.is_known(clock)) {
                into.entry(clock).or_default().push((reference.ms - *ms as f64, reference.uncertainty_ms));
            }
        }
        for (clock, told) in with_others {
            with_base.entry(clock).or_insert(told);
        }
        let known = |(clock, told): (&ClockName, Vec<(f64, f64)>)| {
            let shared = shared_offset(&told.iter().map(|(apart, _)| *apart).collect::<Vec<_>>(), floor_ms)?;
            let reference_ms = told.iter().map(|(_, u)| *u).fold(0.0, f64::max);
            let uncertainty_ms = shared.uncertainty_ms + reference_ms;
            Some((clock.clone(), Known::always(from, shared.n, shared.offset_ms, uncertainty_ms)))
        };
        with_base.into_iter().filter_map(known).collect()
    }

    /// When the known clocks that pressed say it was.
    fn common_press(&self, presses: &BTreeMap<ClockName, i64>) -> Option<Instant> {
        let told: Vec<Instant> =
            presses.iter().filter_map(|(clock, ms)| self.instant(clock, *ms as f64)).collect();
        let ms = median(&told.iter().map(|i| i.ms).collect::<Vec<_>>()).ok()?;
        Some(Instant { ms, uncertainty_ms: told.iter().map(|i| i.uncertainty_ms).fold(0.0, f64::max) })
    }

    /// What clocks read beside one another tell of the one that is not known.
    fn by_hand(&self, told: &Told) -> BTreeMap<ClockName, Known> {
        let mut found: BTreeMap<&ClockName, Vec<(f64, f64, f64)>> = BTreeMap::new();
        for read in &told.reads {
            let (clock, showed_ms, known, other_ms) =
                match (self.is_known(&read.watch), self.is_known(&read.beside)) {
                    (false, true) => (&read.watch, read.shows_ms, &read.beside, read.at_ms),
                    (true, false) => (&read.beside, read.at_ms, &read.watch, read.shows_ms),
                    _ => continue,
                };
            let Some(at) = self.instant(known, other_ms) else { continue };
            found.entry(clock).or_default().push((at.ms - showed_ms, at.uncertainty_ms, read.floor_ms));
        }
        let known = |(clock, told): (&ClockName, Vec<(f64, f64, f64)>)| {
            let finest_ms = told.iter().map(|(.., floor)| *floor).fold(f64::INFINITY, f64::min);
            let finest: Vec<_> = told.iter().filter(|(.., floor)| *floor == finest_ms).collect();
            let shared =
                shared_offset(&finest.iter().map(|(apart, ..)| *apart).collect::<Vec<_>>(), finest_ms)?;
            let uncertainty_ms =
                shared.uncertainty_ms + finest.iter().map(|(_, u, _)| *u).fold(0.0, f64::max);
            Some((clock.clone(), Known::always(Source::Hand, shared.n, shared.offset_ms, uncertainty_ms)))
        };
        found.into_iter().filter_map(known).collect()
    }

    /// The clocks by which the entries of a day were written, and those that were measured beside them; base first, then by device and number.
    #[must_use]
    pub fn table(&self, record: &Record) -> Vec<ClockLine> {
        let mut lines: BTreeMap<(bool, Option<DeviceId>, u64, ClockName), ClockLine> = BTreeMap::new();
        let key = |clock: &ClockName| {
            (Some(clock) != self.base.as_ref(), name::device(clock), name::number(clock), clock.clone())
        };
        for clock in self.known.keys() {
            lines.insert(key(clock), self.line(clock));
        }
        for noted in record.entries.iter().filter(|n| n.counted().is_some()) {
            let at = self.at(noted);
            let line = lines.entry(key(&at.clock)).or_insert_with(|| self.line(&at.clock));
            if let Some(uncertainty_ms) = at.uncertainty_ms {
                let raw_ms = noted.at().map_or(0, |t| t.millis()) as f64;
                line.offset_ms = Some(at.ms - raw_ms);
                line.uncertainty_ms = Some(line.uncertainty_ms.unwrap_or(0.0).max(uncertainty_ms));
            }
            let by = noted.entry.as_ref().map(|e| e.common.by.0.trim().to_owned());
            if let Some(by) = by.filter(|by| !line.by.contains(by)) {
                line.by.push(by);
                line.by.sort();
            }
        }
        lines.into_values().collect()
    }

    /// A clock before any of its entries is looked at.
    fn line(&self, clock: &ClockName) -> ClockLine {
        let known = self.known.get(clock);
        let last = known.and_then(|k| k.at.last());
        let from = match known {
            Some(known) => known.from,
            None if name::is_base(clock) => Source::Base,
            None => Source::None,
        };
        ClockLine {
            device: name::device(clock),
            clock: if clock.clock.is_empty() { "1".to_owned() } else { clock.clock.clone() },
            by: Vec::new(),
            offset_ms: last.map(|s| s.offset_ms),
            uncertainty_ms: last.map(|s| s.uncertainty_ms),
            from,
            n: known.map_or(0, |k| k.n),
        }
    }
}

impl Clocks for TimeLine {
    fn correct(&self, noted: &Noted, raw_ms: i64) -> Corrected {
        let clock = name::of(noted);
        match self.instant(&clock, raw_ms as f64) {
            Some(at) => {
                Corrected { ms: at.ms, uncertainty_ms: Some(at.uncertainty_ms), clock: clock.into_owned() }
            }
            None => Corrected { ms: raw_ms as f64, uncertainty_ms: None, clock: clock.into_owned() },
        }
    }
}

#[cfg(test)]
mod tests;
