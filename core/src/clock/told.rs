//! What the entries of a day tell of its clocks: what a base measured, moments that several clocks saw together, watches that were read.

use super::mark::READ_FLOOR_MS;
use super::name;
use crate::day::{ClockName, DeviceId, Groups, Key, Noted, Record, Things};
use crate::entry::{Body, EntryId, Step, Time, TimeContext, fold};
use std::collections::{BTreeMap, BTreeSet};

/// The kinds that a time line is made from: a day in these and any others gives the same one.
pub const CLOCK_KINDS: [&str; 3] = ["clock", "clock_mark", "moment"];

/// A watch read without its seconds may be anywhere in that minute.
const MINUTE_FLOOR_MS: f64 = 30_000.0;

/// Everything that is told.
#[derive(Default)]
pub(super) struct Told {
    /// What bases measured.
    pub measured: Vec<Measured>,
    /// Marks by label: each clock's first press, ms.
    pub marks: BTreeMap<String, BTreeMap<ClockName, i64>>,
    /// Starts by drill: each clock's first press, ms.
    pub starts: BTreeMap<String, BTreeMap<ClockName, i64>>,
    /// Watches that were read.
    pub reads: Vec<Read>,
    /// Every device that wrote, with its own clocks as far as they wrote.
    devices: BTreeMap<DeviceId, BTreeSet<ClockName>>,
    /// The same, seen in [`CLOCK_KINDS`].
    pressed: BTreeMap<DeviceId, BTreeSet<ClockName>>,
}

/// A base measured a device.
#[derive(Clone, Debug)]
pub(super) struct Measured {
    pub clock: ClockName,
    pub base: ClockName,
    /// Base's time of it, ms.
    pub at_ms: f64,
    /// Added to `clock`'s time it gives `base`'s, ms.
    pub offset_ms: f64,
    pub uncertainty_ms: f64,
}

/// A watch was read beside a device's clock.
#[derive(Clone, Debug)]
pub(super) struct Read {
    pub watch: ClockName,
    pub beside: ClockName,
    /// The device's time of it, ms.
    pub at_ms: f64,
    /// What the watch showed, ms.
    pub shows_ms: f64,
    pub floor_ms: f64,
}

impl Told {
    pub fn of(record: &Record) -> Told {
        let mut told = Told::default();
        let apart: BTreeSet<EntryId> =
            Groups::of(record).different().iter().flat_map(|(a, b)| [*a, *b]).collect();
        // Few days have labels that stand for others.
        let aliased = record.registers.0.keys().any(|k| matches!(k, Key::Alias(..)));
        let things = aliased.then(|| Things::of(record));
        let mut readings = Vec::new();
        for noted in &record.entries {
            let Some(entry) = noted.counted() else { continue };
            let clock = name::of(noted).into_owned();
            if name::is_own(&clock) {
                told.devices.entry(clock.device).or_default().insert(clock.clone());
            }
            let at_settled = !noted.unsettled.iter().any(|f| f == "at" || f == "body");
            match &entry.body {
                Body::ClockOffset(m) if noted.unsettled.is_empty() => {
                    told.measured.extend(measured(noted, m, &clock, entry.common.at));
                    told.saw(clock);
                }
                Body::ClockMark(m) if at_settled => match &m.shows {
                    Some(shows) => readings.push((noted, shows, entry.common.at)),
                    None => {
                        let presses = told.marks.entry(fold(&m.label)).or_default();
                        presses.entry(clock.clone()).or_insert(entry.common.at.millis());
                        told.saw(clock);
                    }
                },
                Body::Moment(m) if m.step == Step::Start && at_settled && !apart.contains(&noted.id) => {
                    let Some(drill) = &entry.common.drill else { continue };
                    let folded = things.as_ref().map_or_else(|| fold(&drill.0), |t| t.drill(&drill.0));
                    let presses = told.starts.entry(folded).or_default();
                    presses.entry(clock.clone()).or_insert(entry.common.at.millis());
                    told.saw(clock);
                }
                _ => {}
            }
        }
        let reads = readings.into_iter().filter_map(|(noted, shows, at)| told.read(noted, shows, at));
        told.reads = reads.collect();
        told
    }

    fn saw(&mut self, clock: ClockName) {
        if name::is_own(&clock) {
            self.pressed.entry(clock.device).or_default().insert(clock);
        }
    }

    /// What a watch showed beside the device's own clock. Which of several of the device's own is not written, so then it tells nothing.
    fn read(&self, noted: &Noted, shows: &str, at: Time) -> Option<Read> {
        let label = noted.entry.as_ref()?.common.clock.as_deref()?;
        let watch = name::labelled(noted.device, label);
        let beside = match self.pressed.get(&noted.device) {
            Some(clocks) if clocks.len() > 1 => return None,
            Some(clocks) => clocks.first()?.clone(),
            None => name::own(noted.device, ""),
        };
        let here = at.datetime();
        let context =
            TimeContext { now: at, date: here.date_naive(), offset: *here.offset(), drill_start: None };
        let shown = context.read(shows).ok()?;
        let off_ms = (shown.millis() - at.millis()) as f64;
        // A time of day has no date: the nearest one is meant.
        let day_ms = 86_400_000.0;
        let dated = shows.contains(['T', 't']);
        let off_ms = if dated { off_ms } else { off_ms - (off_ms / day_ms).round() * day_ms };
        let to_the_second = dated || shows.matches(':').count() > 1 || shows.trim().len() == 6;
        Some(Read {
            watch,
            beside,
            at_ms: at.millis() as f64,
            shows_ms: at.millis() as f64 + off_ms,
            floor_ms: if to_the_second { READ_FLOOR_MS } else { MINUTE_FLOOR_MS },
        })
    }

    /// The clock that counts as base time: of the device that most measurements name; without any, of the device with the most presses; of
    /// equals the one of smallest id. `None` for a day that no device wrote into.
    pub fn base(&self) -> Option<ClockName> {
        let mut count: BTreeMap<DeviceId, usize> = BTreeMap::new();
        for measured in &self.measured {
            *count.entry(measured.base.device).or_default() += 1;
        }
        if count.is_empty() {
            let presses = self.marks.values().chain(self.starts.values()).flat_map(BTreeMap::keys);
            for clock in presses.filter(|c| name::is_own(c)) {
                *count.entry(clock.device).or_default() += 1;
            }
        }
        if count.is_empty() {
            count.extend(self.devices.keys().map(|d| (*d, 0)));
        }
        let (device, _) = count.into_iter().rev().max_by_key(|(_, n)| *n)?;
        let own = [&self.pressed, &self.devices].into_iter().find_map(|of| of.get(&device));
        let first = own.and_then(|clocks| clocks.iter().min_by_key(|c| name::number(c)).cloned());
        Some(first.unwrap_or_else(|| name::own(device, "")))
    }
}

fn measured(
    noted: &Noted,
    m: &crate::entry::ClockOffset,
    at_clock: &ClockName,
    at: Time,
) -> Option<Measured> {
    let base: DeviceId = fold(&m.base).parse().ok()?;
    let clock = name::own(fold(&m.device).parse().ok()?, m.of.trim());
    // The base's own number stands on the entry; what another device wrote down for it is taken for its first clock.
    let base =
        if noted.device == base && name::is_own(at_clock) { at_clock.clone() } else { name::own(base, "") };
    let numbers = m.offset_ms.0.is_finite() && m.uncertainty_ms.0.is_finite() && m.uncertainty_ms.0 >= 0.0;
    (clock != base && name::is_own(&clock) && numbers).then(|| Measured {
        clock,
        base,
        at_ms: at.millis() as f64,
        offset_ms: m.offset_ms.0,
        uncertainty_ms: m.uncertainty_ms.0,
    })
}
